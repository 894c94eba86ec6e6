"""Runs every case in ngspice and writes the results: simulated.csv, waveforms.svg. python hardware/simulate.py (about two minutes)"""

import csv
import dataclasses
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE)]

import cases  # noqa: E402  the path is set first
import numpy as np  # noqa: E402
import spice  # noqa: E402
from pen import GROUPS, INK, QUIET, Sheet  # noqa: E402

COLUMNS = ("group", "name", "vin_v", "low_3v3_v", "amp", "a2s", "r1_joule", "r1_degc", "tv_joule", "tv_degc", "troubles")
DIGITS = {"vin_v": 1, "low_3v3_v": 2, "amp": 2, "a2s": 3, "r1_joule": 2, "r1_degc": 0, "tv_joule": 2, "tv_degc": 0}


def written(row):
    """A cases.Row as the cells of simulated.csv."""
    values = dataclasses.asdict(row) | {"troubles": "; ".join(row.troubles)}
    return {name: f"{abs(values[name]):.{DIGITS[name]}f}" if name in DIGITS else values[name] for name in COLUMNS}


def kept():
    """The rows of simulated.csv."""
    with open(HERE / "simulated.csv", encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


PANELS = (
    ("load dump", "Load dump A: 101 V, 4 Ω, 400 ms", 0.6, -5, 105),
    ("starting", "Starting profile II: dip to 4.5 V, 6.5 V while the starter turns", 1.7, -1, 14),
    ("pulse 1", "Pulse 1: −150 V, 10 Ω, 2 ms", 0.03, -160, 20),
)
TRACES = (("v(battery)", "battery lead", INK), ("v(vin)", "behind R1", GROUPS["supply"]), ("v(3v3)", "3.3 V", GROUPS["SPI"]))


def waveforms():
    """The sheet with three cases, time to the right, volts upwards."""
    sheet = Sheet(1180, 380, "Simulated waveforms")
    sheet.text(24, 32, "What the supply does to three pulses: simulated, not measured", 16, weight="bold")
    for number, (name, title, end_s, low, high) in enumerate(PANELS):
        x0, y0, width, height = 60 + number * 380, 72, 320, 250
        wave = cases.waves(name)
        sheet.text(x0, 60, title, 11.5, weight="bold")
        sheet.rect(x0, y0, width, height, stroke="#c3c7cc", radius=0)
        y = lambda volts, y0=y0, height=height, low=low, high=high: round(y0 + height * (high - volts) / (high - low), 1)  # noqa: E731
        step = 20 if high > 50 else 2 if high < 50 and low > -50 else 40
        for tick in range(int(np.ceil(low / step)) * step, high + 1, step):
            sheet.wire((x0, y(tick)), (x0 + width, y(tick)), colour="#e6e9ed", width=1)
            sheet.text(x0 - 6, y(tick) + 4, f"{tick}", 10, "end", QUIET)
        for part in range(5):
            unit, scale = ("ms", 1000) if end_s < 1 else ("s", 1)
            sheet.text(x0 + width * part / 4, y0 + height + 16, f"{end_s * scale * part / 4:.3g} {unit}", 10, "middle", QUIET)
        grid = np.linspace(0, end_s, 641)
        for key, _, colour in TRACES:
            volts = np.clip(np.interp(grid, wave["time"], wave[key]), low, high)
            points = [(round(x0 + width * t / end_s, 1), y(v)) for t, v in zip(grid, volts, strict=True)]
            sheet.wire(*points, colour=colour, width=1.6)
    for number, (_, words, colour) in enumerate(TRACES):
        sheet.wire((60 + number * 150, 362), (84 + number * 150, 362), colour=colour, width=2.4)
        sheet.text(90 + number * 150, 366, words, 11.5)
    return sheet


def main():
    """Runs all cases and writes both files; returns 1 if a part is over its rating."""
    if not spice.available():
        print("ngspice is not installed here; on Debian: apt-get install ngspice")
        return 2
    rows = [written(row) for row in [*cases.load_dump_rows(), *cases.pulse_rows(), *cases.fault_rows()]]
    with open(HERE / "simulated.csv", "w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    (HERE / "waveforms.svg").write_text(waveforms().svg(), encoding="utf-8")
    for row in rows:
        print(f"{row['name']}: {row['vin_v']} V behind R1, {row['amp']} A, TV1 {row['tv_degc']} °C {row['troubles']}")
    return 1 if any(row["troubles"] for row in rows) else 0


if __name__ == "__main__":
    sys.exit(main())
