"""A complaint's sheet: every place at the complaint's stop and since the repair, the place it was aimed at first. Renders a judgement made elsewhere."""

import contextlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from hotfuel.errors import InputError
from hotfuel.places import place_words
from hotfuel.report import study_figures
from hotfuel.report.chart import INK, LEFT_PX, WIDTH_PX, Chart, Range
from hotfuel.report.figures import ACT, COLOURS
from hotfuel.report.table import Table
from hotfuel.report.words import LEAST_ROOM, rough, where
from hotfuel.risk.level import is_beyond
from hotfuel.study.drive.complaint import Judgement, PlaceAtStop
from hotfuel.study.fixes.fitted import parse
from hotfuel.text import first_upper
from hotfuel.units import Shown, expanded

_ROW_PX, _BESIDE = 36, 0.1  # the two markers of a row are offset vertically, so that equal ones can be told apart
CAPTION = (
    "Hollow: the complaint's stop; filled: since the repair, the nearest to boiling of the stops that were as hard (of all, where none was). "
    "To the right is more room; at the red line none is left. ± of a change takes both as independent; single stops differ by a few degrees, too."
)
CAPTION_DEGREES = (
    "Hollow: the complaint's stop; filled: since the repair, the hottest of the stops that were as hard (of all, where none was)."
)


@dataclass(frozen=True)
class Pair:
    """A place at the complaint's stop and since the repair, None where it was not measured."""

    place: str
    before: PlaceAtStop | None
    after: PlaceAtStop | None
    aimed: bool


def aimed_at(known: Mapping[str, Any]) -> str:
    """The place a session's metadata says its fix was put before, "" where it does not."""
    fix, before = str(known.get("fix") or ""), str(known.get("before") or "")
    with contextlib.suppress(InputError):
        return parse(f"{fix} before {before}" if before and " before " not in fix else fix).before
    return ""


def headline(judgement: Judgement) -> str:
    """Whether the trouble is gone, in a sentence or two. Fuel beyond its limit by more than the doubt, at the complaint's stop and since, is trouble
    that is there: an easier stop only makes that plainer."""
    proof = judgement.proof
    with_it = f" with {judgement.variant}" if judgement.variant else ""
    still = still_boiling(judgement)
    boils = f"the fuel still boils {where(still)}{with_it}" if still else ""
    if proof is not None and proof.failures:
        return f"The trouble came back{with_it} in {proof.failures} of {proof.stops} stop{'s' if proof.stops > 1 else ''}."
    if boils and (proof is None or not proof.hard_enough):
        return f"No: {boils}."
    if proof is None:
        return f"Whether the trouble is gone{with_it} is not shown: no start after a hot stop is in the recording."
    if not proof.hard_enough:
        return f"Whether the trouble is gone{with_it} is not shown: no stop since the repair was as hard as the complaint's."
    count = f"{proof.hard_enough} stop{'s' if proof.hard_enough > 1 else ''}"
    few = "; so few starts prove little" if proof.still_possible > 0.5 else ""
    but = f"{first_upper(boils)}. " if boils else ""
    return f"{but}No trouble{with_it} in {count} as hard as the complaint's{few}."


def still_boiling(judgement: Judgement) -> str:
    """The place that was beyond its limit by more than the doubt at the complaint's stop and is since, the furthest now; "" for none."""
    before = {one.place for one in judgement.complaint.places if _boiled(one)}
    now = [one for stop in judgement.stops for one in stop.places if one.place in before and _boiled(one)]
    return min(now, key=lambda one: one.smallest_margin_degc).place if now else ""


def _boiled(one: PlaceAtStop) -> bool:
    return bool(one.smallest_margin_degc <= -float(expanded(one.uncertainty_degc)))


def pairs(judgement: Judgement, aimed: str = "") -> list[Pair]:
    """Every place of either side: the one aimed at first, then in the fuel's direction."""
    hard = [stop for stop in judgement.stops if not stop.easier] or list(judgement.stops)
    before = {one.place: one for one in judgement.complaint.places}
    after: dict[str, PlaceAtStop] = {}
    for stop in hard:
        for one in stop.places:
            worst = after.get(one.place)
            after[one.place] = one if worst is None else _worse(worst, one)
    order = sorted(dict.fromkeys([*before, *after]), key=lambda place: place != aimed)
    return [Pair(place, before.get(place), after.get(place), place == aimed) for place in order]


def _worse(one: PlaceAtStop, other: PlaceAtStop) -> PlaceAtStop:
    nearest = other if other.smallest_margin_degc < one.smallest_margin_degc or np.isnan(one.smallest_margin_degc) else one
    return replace(nearest, hottest_degc=float(np.fmax(one.hottest_degc, other.hottest_degc)))


def table(found: Sequence[Pair], shown: Shown) -> Table | None:
    """A row a place: hottest fuel and room to boiling at the complaint's stop and now, and what changed."""
    if not found:
        return None
    made = Table(("Place", "Hottest then", "Room then", "Hottest now", "Room now", "Change"), numbers=(1, 3))
    for one in found:
        name = place_words(one.place) + (" (aimed at)" if one.aimed else "")
        made.rows.append((name, *_side(one.before, shown), *_side(one.after, shown), _change(one, shown)))
    return made


def _side(one: PlaceAtStop | None, shown: Shown) -> tuple[str, str]:
    if one is None:
        return "not measured", ""
    return shown.text(one.hottest_degc, "temperature", 0), _room(one, shown)


def _room(one: PlaceAtStop, shown: Shown) -> str:
    margin_degc = one.smallest_margin_degc
    if not np.isfinite(margin_degc):
        return "no limit known"
    side = "beyond" if is_beyond(margin_degc) else "left"
    return f"{shown.text(abs(margin_degc), 'temperature difference', 0)} {side}{_doubt(one.uncertainty_degc, shown)}"


def _doubt(uncertainty_degc: float, shown: Shown) -> str:
    """ ", ±9 °F", "" where it is not known."""
    expanded_degc = float(expanded(uncertainty_degc))
    return f", ±{rough(shown, expanded_degc, expanded_degc)}" if np.isfinite(expanded_degc) else ""


def _change(one: Pair, shown: Shown) -> str:
    if one.before is None or one.after is None:
        return "–"
    unit = shown.unit("temperature difference")

    def size(degc: float, more: str, less: str) -> str:
        text = shown.text(abs(degc), "temperature difference", 0)
        return "as before" if text == f"0 {unit}" else f"{text} {more if degc > 0 else less}"

    room = one.after.smallest_margin_degc - one.before.smallest_margin_degc
    cooler = one.before.hottest_degc - one.after.hottest_degc
    if not np.isfinite(room):
        return size(cooler, "cooler", "hotter")
    return size(room, "more room", "less room") + _doubt(
        float(np.hypot(one.before.uncertainty_degc, one.after.uncertainty_degc)), shown
    )


def chart(found: Sequence[Pair], shown: Shown, width: int = WIDTH_PX) -> tuple[Chart, str] | None:
    """(the picture, its caption): a row a place, hollow at the complaint's stop and filled since; by room to boiling where a limit is known, else by the
    hottest fuel. None where there is nothing to draw."""
    by_room = any(_known(one.before) or _known(one.after) for one in found)
    rows = [one for one in found if not by_room or _known(one.before) or _known(one.after)]
    dimension = "temperature difference" if by_room else "temperature"
    unit = shown.unit(dimension)

    def value(one: PlaceAtStop | None) -> float:
        degc = np.nan if one is None else one.smallest_margin_degc if by_room else one.hottest_degc
        return float(shown.value(degc, dimension))

    ends = np.array([[value(one.before), value(one.after)] for one in rows])
    if not np.isfinite(ends).any():
        return None
    low, high = float(np.nanmin(ends)), float(np.nanmax(ends))
    low, high = (min(low, 0.0), max(high, 0.0)) if by_room else (low, high)
    spare = 0.08 * max(high - low, 2.0)
    told = "; ".join(
        f"{place_words(one.place)} {study_figures.draw_number(then)} then, {study_figures.draw_number(now)} now"
        for one, (then, now) in zip(rows, ends.tolist(), strict=True)
    ).replace("nan", "not known")
    what = f"{LEAST_ROOM if by_room else 'hottest fuel'}, {unit}"
    title = f"{what} (○ then, ■ now{'; minus: beyond it' if by_room else ''})"  # a card has no caption
    plot = Chart(
        "places" if width == WIDTH_PX else "card", _ROW_PX * len(rows) + 4, Range(low - spare, high + spare), Range(-0.4, len(rows) - 0.3), title,
        f"Each place at the complaint's stop and since the repair, {what}: {told}.", show_y=False, width=width,
    )  # fmt: skip
    plot.clear = [(row - 0.38, row + 0.28) for row in range(len(rows))]
    if by_room:
        plot.upright(0.0, ACT, 1.6, spans=plot.clear)
    for number, (one, (then, now)) in enumerate(zip(rows, ends.tolist(), strict=True)):
        row, colour = len(rows) - 1 - number, COLOURS[number % 8]
        name = place_words(one.place)
        if np.isfinite(then) and np.isfinite(now):
            plot.box((min(then, now), max(then, now)), (row - 0.02, row + 0.02), fill=colour, fill_opacity=0.5)
        for end, hollow, when, aside in ((then, True, "complaint's stop", _BESIDE), (now, False, "since the repair", -_BESIDE)):
            if np.isfinite(end):
                tip = f"{name}, {when}: {study_figures.draw_number(end)} {unit}"
                plot.marker(end, row + aside, "circle" if hollow else "square", colour, tip, hollow=hollow)
        plot.label(name + (" (aimed at)" if one.aimed else ""), LEFT_PX + 2, float(plot.py(row + 0.34)), look="bold")
    plot.level(-0.4, INK, 0.5)
    return plot, CAPTION if by_room else CAPTION_DEGREES


def _known(one: PlaceAtStop | None) -> bool:
    return one is not None and bool(np.isfinite(one.smallest_margin_degc))
