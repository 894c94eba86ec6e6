"""Writes the tables of the pages that follow from data, between their markers: python hardware/pages.py [--check]"""

import re
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE)]

import netlist  # noqa: E402  the path is set first
import numpy as np  # noqa: E402
import pulses as standard_pulses  # noqa: E402
import rules  # noqa: E402
import simulate  # noqa: E402
import thermal  # noqa: E402

STOPS = {
    "load dump A": "R1, TV1, TV2",
    "pulse 1": "D1 blocks",
    "pulse 2a": "R1, C1, C2",
    "pulse 2b": "nothing to stop: the supply ends",
    "pulse 3a": "D1, C1",
    "pulse 3b": "R1, C1",
    "load dump B": "R1, TV1, TV2",
    "jump": "below the 24 V stand-off",
    "overvoltage": "below the 24 V stand-off",
    "reversed": "D1 blocks",
    "starting": "C2 and U2 from 4.5 V",
}
ENDS = ("pulse 2b", "reversed")  # cases in which the supply itself drops out


def _table(head, rows):
    lines = [f"| {' | '.join(head)} |", "|" + "---|" * len(head)]
    return "\n".join([*lines, *(f"| {' | '.join(row)} |" for row in rows)])


def _goes_on(row):
    if row["name"].startswith(ENDS):
        return "off, then starts anew"
    return "goes on" if float(row["low_3v3_v"]) >= 3.0 else "may restart"


def _known(name):
    return "simulated; level from memory" if name.startswith(standard_pulses.MEMORY) else "simulated"


def pulses():
    """The supply lead's table."""
    rows = []
    for row in simulate.kept():
        if row["group"] == "pulse":
            stops = next(words for name, words in STOPS.items() if row["name"].startswith(name))
            heat = (row["r1_degc"], row["tv_degc"]) if "dump" in row["name"] else ("–", "–")
            cells = (f"{row['vin_v']} V", f"{row['amp']} A", f"{row['a2s']} A²s", f"{row['r1_joule']} J", f"{row['tv_joule']} J")
            rows.append(
                (row["name"], stops, *cells, *(f"{t} °C" if t != "–" else t for t in heat), _goes_on(row), _known(row["name"]))
            )
    head = (
        "case",
        "what stops it",
        "behind R1",
        "peak current",
        "through F1",
        "in R1",
        "in TV1, TV2 each",
        "R1",
        "TV1 junction",
        "box",
        "how known",
    )
    return _table(head, rows)


def faults():
    """The shorted wires' table."""
    lost = {"lamp's feed to battery": "the lamp may die; nothing else"}
    rows = []
    for row in simulate.kept():
        if row["group"] == "fault":
            result = lost.get(row["name"], "all parts within their derated ratings" if not row["troubles"] else row["troubles"])
            rows.append((row["name"], f"{row['amp']} A", result, "simulated"))
    return _table(("short", "from the battery", "result", "how known"), rows)


def short():
    """A short behind R1: what happens at 14.4 V in still air."""
    sweep = thermal.short_sweep(step_s=0.5)
    rows = []
    for number, (ohm, volt, ambient, film) in enumerate(sweep.cases):
        if ohm in (0.0, 15.0, 47.0) and volt == 16.0 and ambient in (-20.0, 25.0, 85.0) and film == 5.0:
            opened = sweep.opened_s[number]
            opens = f"after {opened / 60:.0f} min" if np.isfinite(opened) else "no need"
            cells = (f"{sweep.r1_w[number]:.1f} W", f"{sweep.r1_degc[number]:.0f} °C", f"{sweep.wall_degc[number]:.0f} °C")
            rows.append((f"{ohm:g} Ω", f"{ambient:g} °C", *cells, f"{sweep.diode_degc[number]:.0f} °C", opens, "simulated"))
    return _table(("fault", "outside", "R1", "R1 hottest", "pod's wall", "D1 junction", "F2 opens", "how known"), rows)


def selects():
    """One line on the selects."""
    volts = rules.select_low_v("R23")
    return f"A select held low is {volts:.2f} V at a module with its own 10k pull-up (R23 is {netlist.PARTS['R23'].value}; 0.8 V allowed)."


TABLES = {"SUPPLY.md": {"pulses": pulses, "faults": faults, "short": short}, "README.md": {"selects": selects}}


def _between(text, name, table, page):
    begin, end = f"<!-- {name} -->", f"<!-- /{name} -->"
    new, count = re.subn(re.escape(begin) + ".*?" + re.escape(end), lambda _: f"{begin}\n{table}\n{end}", text, flags=re.S)
    if not count:
        raise SystemExit(f"{page} has no place for the table {name}: put {begin} and {end} into it")
    return new


def main(arguments):
    """Writes the tables; with --check only lists pages that are out of date."""
    stale = []
    for page, tables in TABLES.items():
        path = HERE / page
        text = path.read_text(encoding="utf-8")
        new = text
        for name, made in tables.items():
            new = _between(new, name, made(), page)
        if new != text:
            stale.append(page)
            if "--check" not in arguments:
                path.write_text(new, encoding="utf-8")
    print("\n".join(stale) or "all tables are as made now")
    return 1 if stale and "--check" in arguments else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
