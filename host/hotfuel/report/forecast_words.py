"""A forecast in sentences: what a change would do to the temperatures, the margins, the fuel in a pull and the power."""

from typing import Any

import numpy as np

from hotfuel.places import place_words
from hotfuel.report import assumption_words
from hotfuel.study.line.forecast import Forecast, Row
from hotfuel.text import is_nothing
from hotfuel.units import Shown


def as_dict(one: Forecast, shown: Shown) -> dict[str, Any]:
    """A forecast's fields for JSON, with its sentences and its assumptions as sentences."""
    return one.as_dict() | {"sentences": sentences(one, shown), "assumptions": assumptions(one, shown)}


def assumptions(one: Forecast, shown: Shown) -> list[str]:
    """What the forecast assumes, a sentence each."""
    return [assumption_words.sentence(each, shown) for each in one.assumptions]


def sentences(one: Forecast, shown: Shown) -> list[str]:
    """What the change would do."""
    lines = []
    gain, pulled, ceiling = one.smallest, one.in_pull, one.power_ceiling_percent
    moved = max(
        one.rows,
        key=lambda row: abs(row.running_degc - row.running_before_degc) if np.isfinite(row.running_degc) else -1.0,
        default=None,
    )
    if moved is not None and abs(moved.running_degc - moved.running_before_degc) >= 0.5:
        lines.append(
            f"With {one.change}, the fuel at the {place_words(moved.place)} would be at "
            f"{shown.no_finer(moved.running_degc, 'temperature', moved.running.half)} instead of "
            f"{shown.no_finer(moved.running_before_degc, 'temperature', moved.running.half)} while the engine runs "
            f"(median; ±{shown.no_finer(moved.running.half, 'temperature difference', moved.running.half)})."
        )
    limited = [row for row in one.rows if np.isfinite(row.margin_degc)]
    if limited:
        worst = min(limited, key=lambda row: row.margin_degc)
        lines.append(f"With {one.change}, {_margin(worst, shown)}")
        if moved is not None and moved in limited and moved is not worst:
            lines.append(f"At the {place_words(moved.place)} {_margin(moved, shown, named=False)}")
    if gain is not None and gain.degc.carried_by and gain.degc.half >= 0.5:
        lines.append(f"Most of that doubt is {gain.degc.carried_by}.")
    if pulled is not None:
        size = shown.no_finer(abs(pulled.degc.middle), "temperature difference", pulled.degc.half)
        way = "cooler" if pulled.degc.middle >= 0 else "hotter"
        size = "as hot as before" if is_nothing(size) else f"{size} {way}"
        lines.append(
            f"In full-throttle pulls the fuel at the {place_words(pulled.place)} would be {size} "
            f"(±{shown.no_finer(pulled.degc.half, 'temperature difference', pulled.degc.half)})."
        )
    if np.isfinite(ceiling) and abs(ceiling) >= 0.05:
        lines.append(
            f"Power: about {one.power_square_root_percent:+.1f} % by the square-root law, {ceiling:+.1f} % at the very most; "
            "a fixed jet's mixture shift is not included."
        )
    return lines


def _margin(row: Row, shown: Shown, named: bool = True) -> str:
    """A place's smallest margin, or how far the fuel comes beyond its limit where it is negative. named: whether to name the place."""
    where = f" at the {place_words(row.place)}" if named else ""
    gained, half = row.margin_degc - row.margin_before_degc, row.margin.half
    still = abs(gained) < 0.05 and half < 0.1
    size = shown.text(abs(row.margin_degc), "temperature difference", 0)
    size = size if still else shown.no_finer(abs(row.margin_degc), "temperature difference", half)
    beyond = row.margin_degc < 0 and not is_nothing(size)
    if still:
        stays = f"the fuel would stay {size} beyond its limit" if beyond else f"the smallest margin would stay at {size}"
        return f"{stays}{where} ({row.phase}), because nothing in this change reaches it."
    more = shown.no_finer(abs(gained), "temperature difference", half)
    if is_nothing(more):  # at the precision of the doubt printed beside it
        more = "no change there"
    else:
        more = f"{more} {'more' if gained >= 0 else 'less'} {'room' if beyond else 'there'}"
    doubt = shown.no_finer(half, "temperature difference", half)
    boils = "; past the onset of boiling the boiling itself holds the temperature down, so the state there is known no better than that"
    comes = f"the fuel would come to {size} beyond its limit" if beyond else f"the smallest margin would be {size}"
    return f"{comes}{where} ({row.phase}; ±{doubt} for the forecast, 95 in 100), {more}{boils if row.boils else ''}."
