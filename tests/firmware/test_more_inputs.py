"""Voltages behind an ADS1115 and flow meters' pulses, on the stand-in board, under the real MicroPython and under CPython."""

from itertools import pairwise

import pytest
from chips import ads1115
from hotfuel.simulator import chips as models
from hotfuel.simulator.machine.world import ANALOGUE_UV
from hotfuel_wire import more
from hotfuel_wire.messages import EVENTS, FAILED, OUTCOMES
from settings import ROWS
from test_application import only, run  # noqa: F401 - the fixture


def test_only_named_inputs_are_read_and_a_converter_that_goes_away_is_reported_and_comes_back(run):  # noqa: F811
    messages, found = run("more_inputs", "board_more.py", "448K")
    assert found["default"] == [[], False, False]  # a new board has none of them in its settings, and spends no memory on them
    assert found["let_go"] == [False]
    marks = [at for at, (name, values) in enumerate(messages) if name == "event" and values["detail"] in (b"less", b"none")]
    first, second, last = messages[: marks[0]], messages[marks[0] : marks[1]], messages[marks[1] :]
    rows = [{one["input"]: one["value"] for one in values["inputs"]} for values in only(first, "more_inputs")]
    assert 13 <= len(rows) <= 15
    # 1.0 and 3.2 V at 125 uV a code (datasheet SBAS444, 4.096 V over 32768), calculated by hand; a corrupted read is repeated
    assert {row[1] for row in rows if 1 in row} == {8000}
    assert {row[4] for row in rows if 4 in row} == {25600}
    silent = [row for row in rows if 1 not in row and 4 not in row]
    assert 2 <= len(silent) <= 6
    assert all({17, 18} <= set(row) for row in rows), "the flow meters keep counting while the converter is away"
    for number, step in ((17, 37), (18, 5)):
        steps = {after[number] - before[number] for before, after in pairwise(rows)}
        assert steps <= {0, step, 2 * step}
        assert rows[-1][number] == pytest.approx(14 * step, abs=2 * step)
    assert found["gone"] == FAILED["more_inputs"]
    assert found["mended"] == 0
    check, without = (dict(line.split("=") for line in found[name].split("\n")) for name in ("check", "check_gone"))
    assert check["fitted"] == "analogue_1,analogue_4,flow_1,flow_2"
    assert (check["analogue_1"], check["analogue_4"]) == ("8000", "25600")
    assert int(check["flow_1"]) == pytest.approx(14 * 37, abs=37)
    assert (without["analogue_1"], without["analogue_4"]) == ("silent", "silent")
    codes = {code: name for name, code in EVENTS.items()}
    told = [codes[values["code"]] for values in only(first, "event") if values["detail"] == b"ADS1115"]
    assert told == ["chip_lost", "chip_found"]
    for values in only(second, "more_inputs")[1:]:
        assert [one["input"] for one in values["inputs"]] == [4, 18]
    assert len(only(last, "more_inputs")) <= 1  # one may have been waiting
    assert [values["outcome"] for values in only(last, "reply")] == [OUTCOMES["done"], *[OUTCOMES["bad_argument"]] * 4]
    assert found["still"] == []
    readings = only(messages, "reading")
    assert readings[-1]["tick"] - readings[0]["tick"] + 1 - len(readings) <= 5 * 4, (
        "apart from the ticks that new settings cost, none is lost"
    )


def test_every_input_in_the_settings_has_a_number_on_the_wire():
    assert ROWS["more_inputs"][2] == tuple(more.INPUTS)
    assert ROWS["more_inputs"][0] == ()
    assert len(set(more.INPUTS.values())) == len(more.INPUTS)


class Bus:
    """I2C with one chip model on it."""

    def __init__(self, chip):
        self.chip = chip
        self.transfers = 0

    def writeto(self, address, data):
        self.transfers += 1
        self.chip.write(bytes(data))

    def readfrom_mem_into(self, address, register, into):
        self.transfers += 1
        self.chip.write(bytes([register]))
        self.chip.read_into(into)


class World:
    def __init__(self, volts):
        self.volts = volts

    def input(self, column, _at_us):
        return round(1e6 * self.volts[column - ANALOGUE_UV])


class Clock:
    now_us = 0


@pytest.mark.parametrize(("volts", "code"), [(0.0, 0), (1.6, 12800), (3.2, 25600), (-0.05, -400), (4.0, 26400)])
def test_a_conversion_takes_its_time_and_gives_the_datasheets_code(volts, code):
    """125 uV a code; the chip does not read above its supply of 3.3 V: 26400."""
    world, clock = World([0.3, volts, 0.7, 1.1]), Clock()
    chip = models.model("ADS1115")(world, 0, clock)
    driver = ads1115.Chip(Bus(chip), 0x48)
    driver.begin(1)
    assert not driver.done()
    clock.now_us += 61_000
    assert not driver.done()
    clock.now_us += 2_000  # 16 a second: 62.5 ms
    assert driver.done()
    assert driver.code() == code


def test_a_chip_that_lost_its_settings_or_keeps_flipping_bits_gives_nothing():
    world, clock = World([1.0] * 4), Clock()
    chip = models.model("ADS1115")(world, 0, clock)
    driver = ads1115.Chip(Bus(chip), 0x48)
    driver.begin(0)
    chip.power_on()  # the supply dipped
    with pytest.raises(OSError, match="settings lost"):
        driver.done()
    driver.begin(0)
    clock.now_us += 100_000
    assert driver.done()
    reads = iter(range(1, 100))
    whole = type(chip).read_into

    def noisy(into):
        chip.flip = next(reads)
        whole(chip, into)

    chip.read_into = noisy
    with pytest.raises(OSError, match="bit errors"):
        driver.code()
