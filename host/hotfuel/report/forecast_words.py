"""A forecast in sentences: what a change would do to the temperatures, the margins, the fuel in a pull and the power."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from hotfuel.places import place_words
from hotfuel.report import assumption_words, words
from hotfuel.report.first_words import interval
from hotfuel.report.line_words import in_words
from hotfuel.report.unknown_words import named
from hotfuel.risk.level import is_beyond
from hotfuel.study.fixes.summaries import MARGIN
from hotfuel.study.line.assumed import PumpMoved
from hotfuel.study.line.forecast import Forecast, Gain, Row
from hotfuel.text import directed, is_nothing
from hotfuel.units import Shown


def as_dict(one: Forecast, shown: Shown) -> dict[str, Any]:
    """A forecast's fields for JSON, with its sentences and its assumptions as sentences."""
    return in_words(one.as_dict()) | {"sentences": sentences(one, shown), "assumptions": assumptions(one, shown)}


def assumptions(one: Forecast, shown: Shown) -> list[str]:
    """What the forecast assumes, a sentence each."""
    return [assumption_words.sentence(each, shown) for each in one.assumptions]


@dataclass(frozen=True)
class Said:
    """What a change would do, a sentence each; "" where there is nothing to say."""

    margin: str = ""
    """The smallest margin of the whole car, before and after, and where."""
    was_least: str = ""
    """The margin at the place that had the smallest before, if that is another place."""
    tank: str = ""
    """Why a pump in the tank takes room there."""
    moved: str = ""
    """The temperature it moves most."""
    margin_there: str = ""
    """The margin where the temperature moves most, if that is another place."""
    doubt: str = ""
    """What most of the uncertainty is."""
    in_pull: str = ""
    power: str = ""

    def lines(self) -> list[str]:
        """The sentences there are, in order."""
        margins = (self.margin, self.was_least, self.tank, self.margin_there, self.doubt)
        return [text for text in (*margins, self.moved, self.in_pull, self.power) if text]


def said(one: Forecast, shown: Shown, plain: bool = False) -> Said:
    """What the change would do, sentence by sentence. plain: in the words of a first page (`words.quantity`)."""
    gain, ceiling = one.smallest, one.power_ceiling_percent
    moved = max(
        one.rows,
        key=lambda row: abs(row.running_degc - row.running_before_degc) if np.isfinite(row.running_degc) else -1.0,
        default=None,
    )
    limited = [row for row in one.rows if np.isfinite(row.margin_degc)]
    worst = min(limited, key=lambda row: row.margin_degc, default=None)
    if gain is not None:
        worst = next((row for row in limited if row.place == gain.place), worst)
    was = min(
        (row for row in limited if np.isfinite(row.margin_before_degc)), key=lambda row: row.margin_before_degc, default=None
    )
    there = moved if moved is not None and moved in limited and _moves(moved) and moved not in (worst, was) else None
    return Said(
        moved=_moved(one.change, moved, shown) if moved is not None else "",
        margin=f"With {one.change}, {_whole(gain, was, worst, shown, plain)}" if worst is not None else "",
        was_least=f"At the {place_words(was.place)} {_margin(was, shown, plain, named=False)}"
        if was is not None and was is not worst
        else "",
        tank=_tank(one, limited, shown),
        margin_there=f"At the {place_words(there.place)} {_margin(there, shown, plain, named=False)}"
        if there is not None
        else "",
        doubt=f"Most of that doubt is {named(gain.degc.carried_by)}."
        if gain and gain.degc.carried_by and gain.degc.half >= 0.5
        else "",
        in_pull=_in_pull(one.in_pull, shown) if one.in_pull is not None else "",
        power=(
            f"Power: about {one.power_square_root_percent:+.1f} % by the square-root law, {ceiling:+.1f} % at the very most; "
            "a fixed jet's mixture shift is not included."
            if np.isfinite(ceiling) and abs(ceiling) >= 0.05
            else ""
        ),
    )


def sentences(one: Forecast, shown: Shown) -> list[str]:
    """What the change would do."""
    return said(one, shown).lines()


def _whole(gain: Gain | None, was: Row | None, worst: Row, shown: Shown, plain: bool) -> str:
    """The smallest margin of the whole car before and after; the three numbers as printed add up."""
    if gain is None or was is None or (gain.degc.half < 0.1 and abs(gain.degc.middle) < 0.05):
        return _margin(worst, shown, plain)
    dimension, half = "temperature difference", gain.degc.half
    decimals = 0 if float(shown.value(half, dimension)) >= 1 else 1
    before = round(float(shown.value(was.margin_before_degc, dimension)), decimals)
    after = before + round(float(shown.value(gain.degc.middle, dimension)), decimals)
    was_text, then_text = (
        f"{abs(x):.{decimals}f} {shown.unit(dimension)}{' beyond the limit' if x < 0 else ''}" for x in (before, after)
    )
    boils = "; past the onset of boiling the boiling itself holds the temperature down" if worst.boils else ""
    return (
        f"the {words.quantity(MARGIN, plain)} of the whole car would be {then_text}, at the {place_words(worst.place)} "
        f"({words.phase(gain.phase, plain)}), instead of {was_text}, at the {place_words(was.place)}: "
        f"{interval(gain.degc, shown, ('more room', 'less room'))}{boils}."
    )


def _tank(one: Forecast, limited: list[Row], shown: Shown) -> str:
    pump = next((each for each in one.assumptions if isinstance(each, PumpMoved) and each.submerged), None)
    row = next((row for row in limited if pump is not None and row.place == pump.tank), None)
    if row is None or not row.margin_before_degc - row.margin_degc >= 0.5:
        return ""
    less = shown.text(row.margin_before_degc - row.margin_degc, "temperature difference", 0)
    return f"The tank has {less} less room, because its fuel then has the limit of a pump's suction."


def _moves(row: Row) -> bool:
    return abs(row.running_degc - row.running_before_degc) >= 0.5


def _moved(change: str, row: Row, shown: Shown) -> str:
    """How far the temperature moves where it moves most; "" below 0.5 degC."""
    if not _moves(row):
        return ""
    half = row.running.half
    return (
        f"With {change}, the fuel at the {place_words(row.place)} would be at {shown.no_finer(row.running_degc, 'temperature', half)} "
        f"instead of {shown.no_finer(row.running_before_degc, 'temperature', half)} while the engine runs "
        f"(median{_give(half, shown)})."
    )


def _in_pull(pulled: Gain, shown: Shown) -> str:
    size = shown.no_finer(abs(pulled.degc.middle), "temperature difference", pulled.degc.half)
    way = "cooler" if pulled.degc.middle >= 0 else "hotter"
    half = shown.no_finer(pulled.degc.half, "temperature difference", pulled.degc.half)
    doubt = "" if is_nothing(half) else f" (±{half})"
    return f"In full-throttle pulls the fuel at the {place_words(pulled.place)} would be {directed(size, way, 'as hot as before')}{doubt}."


def _give(half: float, shown: Shown) -> str:
    doubt = shown.no_finer(half, "temperature difference", half)
    return "" if is_nothing(doubt) else f"; ±{doubt}"


def _margin(row: Row, shown: Shown, plain: bool, named: bool = True) -> str:
    """A place's smallest margin, or how far the fuel comes beyond its limit where it is negative. named: whether to name the place."""
    where = f" at the {place_words(row.place)}" if named else ""
    room, phase = words.quantity(MARGIN, plain), words.phase(row.phase, plain)
    gained, half = row.margin_degc - row.margin_before_degc, row.margin.half
    still = abs(gained) < 0.05 and half < 0.1
    size = shown.text(abs(row.margin_degc), "temperature difference", 0)
    size = size if still else shown.no_finer(abs(row.margin_degc), "temperature difference", half)
    beyond = is_beyond(row.margin_degc) and not is_nothing(size)
    if still:
        stays = f"the fuel would stay {size} beyond its limit" if beyond else f"the {room} would stay at {size}"
        return f"{stays}{where} ({phase}), because nothing in this change reaches it."
    way = f"{'more' if gained >= 0 else 'less'} {'room' if beyond else 'there'}"
    # at the precision of the doubt printed beside it
    more = directed(shown.no_finer(abs(gained), "temperature difference", half), way, "no change there")
    boils = "; past the onset of boiling the boiling itself holds the temperature down, so the state there is known no better than that"
    doubt = f"{_give(half, shown)} for the forecast, 95 in 100" if _give(half, shown) else ""
    comes = f"the fuel would come to {size} beyond its limit" if beyond else f"the {room} would be {size}"
    return f"{comes}{where} ({phase}{doubt}), {more}{boils if row.boils else ''}."
