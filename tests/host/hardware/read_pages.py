"""The hardware pages and programs as the tests read them."""

import csv
import re
import runpy
import xml.etree.ElementTree as ElementTree
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent.parent
HARDWARE = ROOT / "hardware"
PAGES = sorted(HARDWARE.glob("*.md"))
SVG = "{http://www.w3.org/2000/svg}"

PINS = runpy.run_path(str(ROOT / "firmware" / "pins.py"))
FIN = runpy.run_path(str(HARDWARE / "fin.py"))
SUPPLY = runpy.run_path(str(HARDWARE / "supply.py"))
LAMP = runpy.run_path(str(ROOT / "firmware" / "lamp.py"))
SETTINGS = runpy.run_path(str(ROOT / "firmware" / "settings.py"))


def page(name):
    return (HARDWARE / name).read_text(encoding="utf-8")


def tables(name):
    """Every table of a page: a list of lists of cells, header first, without the rule."""
    found, rows = [], []
    for line in [*page(name).splitlines(), ""]:
        if line.startswith("|"):
            cells = [cell.strip() for cell in line.strip("|").split("|")]
            if set("".join(cells)) - set("-: "):
                rows.append(cells)
        elif rows:
            found.append(rows)
            rows = []
    return found


def table(name, head):
    return next(rows for rows in tables(name) if rows[0][: len(head)] == head)


def number(text):
    return float(re.search(r"[-−]?\d+(?:\.\d+)?", text).group().replace("−", "-"))


def drawn(name):
    return ElementTree.parse(HARDWARE / name).getroot()


def bom():
    with open(HARDWARE / "bom.csv", encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def ohms(mark):
    text = next(row["value"] for row in bom() if mark in row["marks"].split(","))
    return float(re.match(r"[\d.]+", text).group()) * (1000 if re.match(r"[\d.]+k", text) else 1)
