"""The flash: what it can and cannot do by itself, and power cuts under the real littlefs."""

from pathlib import Path

import pytest
from hotfuel.simulator.firmware_sources import simulator_folder
from hotfuel.simulator.machine.clock import clock
from hotfuel.simulator.machine.flash import BLOCK_BYTES, PAGE_WRITE_US, Flash, FlashFile, PowerLost


def test_writing_only_clears_bits_and_erasing_sets_them():
    flash = Flash(blocks=2)
    flash.writeblocks(1, b"\xf0\x0f", 10)
    flash.writeblocks(1, b"\x3c\x3c", 10)
    into = bytearray(3)
    flash.readblocks(1, into, 10)
    assert bytes(into) == b"\x30\x0c\xff"
    flash.ioctl(6, 1)
    flash.readblocks(1, into, 10)
    assert bytes(into) == b"\xff\xff\xff"
    assert (flash.ioctl(4, 0), flash.ioctl(5, 0)) == (2, BLOCK_BYTES)


def test_a_pico_has_352_blocks_of_4096():
    flash = Flash()
    assert (flash.ioctl(4, 0), flash.ioctl(5, 0), len(flash.image)) == (352, 4096, 352 * 4096)


def test_power_fails_in_the_middle_of_the_nth_change():
    flash = Flash(blocks=1, stop_after=2)
    flash.writeblocks(0, b"\x00" * 4, 0)
    with pytest.raises(PowerLost):
        flash.writeblocks(0, b"\x00" * 4, 8)
    assert flash.image[:14] == b"\x00" * 4 + b"\xff" * 4 + b"\x00" * 2 + b"\xff" * 4
    with pytest.raises(PowerLost):
        flash.ioctl(6, 0)
    assert flash.image[0] == 0  # it stays off


def test_an_erase_takes_its_time_with_interrupts_off(bench):
    flash = Flash(blocks=1, erase_ms=45)
    flash.ioctl(6, 0)
    flash.writeblocks(0, bytes(512), 0)
    assert clock.now_us == 45_000 + 2 * PAGE_WRITE_US


def test_a_file_keeps_the_flash_contents_over_a_reset(tmp_path):
    path = str(tmp_path / "flash.img")
    FlashFile(path, blocks=4).writeblocks(3, b"kept", 100)
    into = bytearray(4)
    FlashFile(path, blocks=4).readblocks(3, into, 100)
    assert bytes(into) == b"kept"
    assert (tmp_path / "flash.img").stat().st_size == 4 * BLOCK_BYTES


def test_littlefs_survives_a_power_cut_at_every_write_and_erase(micropython):
    output = micropython(Path(__file__).parent / "board_power_cut.py", simulator_folder(), heap="2M")
    # Files left open when power failed are closed by the garbage collector, which reports errors of the dead flash.
    lines = [line for line in output.splitlines() if line.startswith(("changes", "trials", "took", "no cut"))]
    words = lines[0].split()
    changes, erases = int(words[1]), int(words[3])
    assert changes > 60
    assert erases >= 3
    assert lines[1:] == [f"trials {changes} lost 0", "took 100800"]
