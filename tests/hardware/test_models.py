"""The diode models of the circuit simulator against their makers' published figures, and every pulse names the source of its level."""

import math
import re

import pytest

THERMAL_MV = 25.85  # kT/q at 300 K, mV

# Name, A, V at most at 25 degC. BAS70: Taiwan Semiconductor DS_S1404012. BAT54: Rectron, 2006. BAT46: STMicroelectronics, BAT46 series, July 2006.
# SCHOTTKY1A: Diodes 1N5819HW (DS30217). RECTIFIER: 1N5400 to 1N5408.
PUBLISHED = [
    ("BAS70", 1e-3, 0.41),
    ("BAS70", 10e-3, 0.75),
    ("BAT54", 0.1e-3, 0.24),
    ("BAT54", 10e-3, 0.40),
    ("BAT46", 0.1e-3, 0.25),
    ("BAT46", 10e-3, 0.45),
    ("BAT46", 250e-3, 1.0),
    ("SCHOTTKY1A", 1.0, 0.45),
    ("RECTIFIER", 3.0, 1.2),
]


@pytest.mark.parametrize(("name", "amp", "most_v"), PUBLISHED)
def test_diode_drops_are_those_of_the_data_sheets(hardware, name, amp, most_v):
    given = {key: value for key, value in re.findall(r"(\w+)=([\d.e+-]+[munp]?)", hardware.models.MODELS[name][0])}
    scale = {"m": 1e-3, "u": 1e-6, "n": 1e-9, "p": 1e-12}
    of = lambda key: float(given[key].rstrip("munp")) * scale.get(given[key][-1], 1.0)  # noqa: E731
    volt = of("N") * THERMAL_MV / 1000 * math.log(amp / of("IS") + 1) + amp * of("RS")
    assert 0.7 * most_v < volt < 1.1 * most_v


def test_every_pulse_names_the_source_of_its_level(hardware):
    pulses = hardware.pulses
    cases = [pulse.name for pulse in pulses.pulses()] + [pulses.load_dump(*corner).name for corner in pulses.LOAD_DUMP_CORNERS]
    for name in cases:
        found = [words for beginning, words in pulses.LEVELS.items() if name.startswith(beginning)]
        assert len(found) == 1, name
        assert ("level from memory" in found[0]) == name.startswith(pulses.MEMORY), name


def test_levels_from_memory_are_inside_published_ones(hardware):
    level = {name: (dip, turning) for name, dip, turning, *_ in hardware.pulses.STARTING}
    for name in ("I", "II", "IV"):
        assert all(mine >= deepest for mine, deepest in zip(level[name], level["III"], strict=True))
    volts = {pulse.name.split(",")[0]: max(v for _, v in pulse.points) for pulse in hardware.pulses.pulses()}
    assert volts["overvoltage"] <= volts["jump start"] == 24.0
    assert hardware.pulses.DIP_S == 0.05
