"""The emulated board's flash: a littlefs image made from files and read back, and power that fails in the middle of a write or an erase.

A cut leaves the page or the block half done: the first half of a page written, the first half of a block erased. Erasing and
writing take time, during which the chip reports busy and the board waits with interrupts off.
"""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from littlefs import LittleFS, LittleFSError, UserContext

READ_STATUS, SECTOR_ERASE, BLOCK_ERASE, PAGE_PROGRAM = 0x05, 0x20, 0xD8, 0x02
BUSY = 1  # in the status register
# Typical times of a W25Q16JV, the Pico's flash (Winbond's data sheet, AC characteristics; at most 400, 2000 and 3 ms), ms
TAKES_MS = {SECTOR_ERASE: 45.0, BLOCK_ERASE: 150.0, PAGE_PROGRAM: 0.4}
PROGRAM_BYTES = 256
FLUSH_APART_NS = 0.3e9  # writes closer together belong to one flush
SSI = 0x18000  # the flash's serial interface among the emulator's peripherals: its address without the last three digits
DISK_VERSION = 0x00020000  # what MicroPython 1.26 formats


def folder_files(folder: Path) -> dict[str, bytes]:
    """A folder's files by their path on the board."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and "__pycache__" not in path.parts
    }


class Flash:
    """The file system's part of the flash. `takes_ms`: duration of erasing and writing. `hangs`: it reports busy for ever.

    `writes`: pages written and blocks erased since power-on; `flushes`: bursts of them. `cut_at`: the write at which the power
    fails; `on_cut` is called then.
    """

    def __init__(self, mcu: Any, layout: Any, on_cut: Callable[[], None] = lambda: None) -> None:
        self._mcu = mcu
        self._layout = layout
        self._size = layout.fs_blocksize * layout.fs_blockcount
        self.writes = 0
        self.flushes = 0
        self._last_ns = -FLUSH_APART_NS
        self.cut_at: int | None = None
        self.is_cut = False
        self._on_cut = on_cut
        self.takes_ms = dict(TAKES_MS)
        self.hangs = False
        self._busy_until_ns = 0.0
        self._ssi = mcu.peripherals[SSI]
        self._apply, self._shift = self._ssi._apply_command, self._ssi._shift_byte
        self._ssi._apply_command, self._ssi._shift_byte = self._command, self._byte

    def put(self, files: Mapping[str, bytes]) -> None:
        """Replace it by a new file system that holds these files."""
        context = UserContext(buffsize=self._size)
        system = LittleFS(
            context=context,
            block_size=self._layout.fs_blocksize,
            block_count=self._layout.fs_blockcount,
            prog_size=PROGRAM_BYTES,
            disk_version=DISK_VERSION,
        )
        for name, content in files.items():
            if "/" in name:
                system.makedirs(name.rpartition("/")[0], exist_ok=True)
            with system.open(name, "wb") as file:
                file.write(content)
        system.unmount()
        self.image = bytes(context.buffer)

    def erase(self) -> None:
        """Make it blank, as new from the factory: the board formats it at its first start."""
        self.image = b"\xff" * self._size

    @property
    def image(self) -> bytes:
        """The file system's bytes."""
        start = self._layout.fs_start
        return bytes(self._mcu.flash[start : start + self._size])

    @image.setter
    def image(self, content: bytes) -> None:
        start = self._layout.fs_start
        self._mcu.flash[start : start + len(content)] = content

    def fill(self, blocks_left: int) -> None:
        """Fill all of the file system but so many blocks with a file of the owner's."""
        context, system = self._mounted()
        block, count = self._layout.fs_blocksize, self._layout.fs_blockcount
        with system.open("owners.bin", "wb"):
            pass
        size = max(1, (count - system.used_block_count - blocks_left - 4) * (block - 64))
        while count - system.used_block_count > blocks_left:
            try:
                with system.open("owners.bin", "ab") as file:
                    file.write(b"\x55" * size)
            except LittleFSError:  # no block is left for its last bytes
                break
            size = block // 4
        system.unmount()
        self.image = bytes(context.buffer)

    def _mounted(self) -> tuple[Any, Any]:
        context = UserContext(buffsize=self._size)
        context.buffer = bytearray(self.image)
        system = LittleFS(
            context=context,
            block_size=self._layout.fs_blocksize,
            block_count=self._layout.fs_blockcount,
            prog_size=PROGRAM_BYTES,
        )
        return context, system

    def files(self) -> dict[str, bytes]:
        """Every file as it is in flash now, without what is not flushed yet."""
        _, system = self._mounted()
        found: dict[str, bytes] = {}
        for folder, _, names in system.walk("/"):
            for name in names:
                path = f"{folder.rstrip('/')}/{name}"
                with system.open(path, "rb") as file:
                    found[path.lstrip("/")] = file.read()
        return found

    def _byte(self, out: int) -> int:
        answer = self._shift(out)
        sent = self._ssi._tx_buffer
        if len(sent) > 1 and sent[0] == READ_STATUS and (self.hangs or self._mcu.clock.nanos < self._busy_until_ns):
            return answer | BUSY
        return answer

    def _command(self) -> None:
        """One whole command to the flash chip; one that changes something is counted, and may be the one at which the power fails."""
        sent = self._ssi._tx_buffer
        if self.is_cut:
            sent.clear()
            return
        if sent and sent[0] in self.takes_ms and self._ssi._write_enabled:
            self._busy_until_ns = self._mcu.clock.nanos + 1e6 * self.takes_ms[sent[0]]
            self.writes += 1
            now_ns = self._mcu.clock.nanos
            self.flushes += now_ns - self._last_ns > FLUSH_APART_NS
            self._last_ns = now_ns
            if self.writes == self.cut_at:
                self._half(sent)
                self.is_cut = True
                sent.clear()
                self._on_cut()
                return
        self._apply()

    def _half(self, sent: bytearray) -> None:
        address = sent[1] << 16 | sent[2] << 8 | sent[3]
        if sent[0] == PAGE_PROGRAM:
            for at, byte in enumerate(sent[4 : 4 + PROGRAM_BYTES // 2]):
                self._mcu.flash[address + at] &= byte
        else:
            size = 4096 if sent[0] == SECTOR_ERASE else 65536
            address &= ~(size - 1)
            self._mcu.flash[address : address + size // 2] = b"\xff" * (size // 2)
