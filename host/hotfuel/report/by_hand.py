"""Readings by hand beside the results of a comparison, in words."""

from collections.abc import Sequence

from hotfuel.places import place_words
from hotfuel.study.fixes.read_by_hand import Column, columns, of_variant
from hotfuel.study.fixes.summaries import Run
from hotfuel.text import first_upper, listed
from hotfuel.units import Shown


def heading(column: Column) -> str:
    """For example "Block, by hand"."""
    name = place_words(column.place)
    return f"{first_upper(name)}, by hand"


def text(value: float, column: Column, shown: Shown) -> str:
    """One value with its unit: temperatures in whole degrees, as a hand-held thermometer reads."""
    return shown.text(value, column.dimension, 0 if column.dimension == "temperature" else None)


def sentence(runs: Sequence[Run], variants: Sequence[str], phase: str, shown: Shown) -> str:
    """All of it, "" where nobody read: "By hand, in the hot soak: block 183 °F (as built, 3 runs) and 165 °F (shield, 2 runs)."."""
    told = []
    for column in columns(runs, phase):
        parts = []
        for variant in variants:
            value, count = of_variant(runs, variant, column, phase)
            if count:
                parts.append(f"{text(value, column, shown)} ({variant}, {count} run{'' if count == 1 else 's'})")
        told.append(f"{place_words(column.place)} {listed(parts)}")
    return f"By hand, in the {phase}: {'; '.join(told)}; shown, and counted in nothing." if told else ""
