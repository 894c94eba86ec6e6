"""A complaint and the stops since its repair, in words: how hard each stop was, what they show and what they do not."""

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from hotfuel.report import words
from hotfuel.risk.level import is_beyond
from hotfuel.study.drive.complaint import Judgement, Stop
from hotfuel.study.drive.restarts import Easier, Hardness, Proof
from hotfuel.text import is_nothing
from hotfuel.units import Shown, expanded

_EASIER = {
    Easier.COOLER_OUTSIDE: "it was cooler outside",
    Easier.OUTSIDE_UNKNOWN: "the outside temperature is not known",
    Easier.HIGHER_LIMIT: "the fuel or the air pressure was easier",
    Easier.LIMIT_UNKNOWN: "the limit is not known",
    Easier.STOOD_SHORTER: "it stood for a shorter time",
    Easier.DRIVEN_SHORTER: "it was driven for a shorter time before",
    Easier.DRIVEN_UNKNOWN: "how long it was driven before is not known",
    Easier.DRIVEN_SLOWER: "it was driven less hard before",
}


def easier(ways: Sequence[Easier]) -> str:
    """In which ways a stop was easier than the complaint's."""
    return "; ".join(_EASIER[way] for way in ways)


def hardness(one: Hardness, shown: Shown) -> str:
    """How hard a hot soak was, in the reader's units; unknown conditions are named."""
    if np.isfinite(one.driven_min):
        driven = f" after {one.driven_min:.0f} min of running"
        driven += f", {one.high_speed_min:.0f} min of that at high engine speed" if one.high_speed_min >= 0.5 else ""
    else:
        driven = ", how long it was driven before is not known"
    parts = [f"{one.soak_min:.0f} min standing{driven}"]
    outside = shown.text(one.ambient_degc, "temperature", 0)
    parts.append(f"{outside} outside" if np.isfinite(one.ambient_degc) else "outside temperature not known")
    if np.isfinite(one.limit_degc):
        parts.append(f"{shown.text(one.limit_degc, 'temperature', 0)} as this fuel's limit in open air")
    if np.isfinite(one.peak_degc):
        parts.append(f"fuel up to {shown.text(one.peak_degc, 'temperature', 0)}")
    return ", ".join(parts)


def proof(found: Proof) -> str:
    """What the stops since a repair show."""
    if found.failures:
        return f"The trouble came back in {found.failures} of {found.stops} stop{'s' if found.stops > 1 else ''}."
    if not found.hard_enough:
        return f"Not shown: no stop after the repair was as hard as the complaint's, because {easier(found.easier)}."
    return (
        f"No trouble in {found.hard_enough} stop{'s' if found.hard_enough > 1 else ''} at least as hard as the complaint's; by counting alone that still "
        f"allows trouble in up to {100 * found.still_possible:.0f} % of such stops (95 % bound), so the margin is the better argument."
    )


def judgement(one: Judgement, shown: Shown, plain: bool = False) -> list[str]:
    """What the stops were compared with, what they show, and what weakens that. plain: as in `words.quantity`."""
    return list(_judgement(one, shown, plain))


def as_dict(one: Judgement, shown: Shown) -> dict[str, Any]:
    """Plain fields for JSON, with the sentences."""
    plain: dict[str, Any] = {**one.as_dict(), "sentences": judgement(one, shown)}
    for part in (plain["complaint"], *plain["stops"], *([plain["proof"]] if plain["proof"] else [])):
        part["easier"] = [_EASIER[way] for way in part["easier"]]
    return plain


def _judgement(one: Judgement, shown: Shown, plain: bool) -> Iterator[str]:
    variant, hard, held, found = one.variant, one.complaint, one.stops, one.proof
    whose = f"With {variant}, compared" if variant else "Compared"
    marked = f'marked "{hard.mark}"' if hard.mark else "its hottest stop, as no trouble is marked there"
    stop = f'"{hard.run}", {words.phase(hard.phase, plain)}; {marked}'
    yield f"{whose} with the complaint's stop ({stop}): {hardness(hard.hardness, shown)}."
    if found is not None:
        yield proof(found)
    elif held:
        yield "Not shown: no start after a hot stop is in the recording; start the engine hot while it is recorded, and mark what it does."
    else:
        yield "Not shown: there is no hot stop in the recording; record one at least as hard as the complaint's, and the start after it."
    unmarked, tried = sum(stop.unmarked for stop in held), sum(stop.trouble is not None for stop in held)
    if unmarked:
        which = (
            f"{unmarked} of these {tried} stops {'are' if unmarked > 1 else 'is'}"
            if unmarked < tried
            else f"{'These stops are' if tried > 1 else 'This stop is'}"
        )
        yield f"{which} without marks: taken as no trouble only because nothing was marked."
    untried = sum(stop.trouble is None for stop in held)
    if found is not None and untried:
        yield f"{untried} stop{'s' if untried > 1 else ''} without a start afterwards {'are' if untried > 1 else 'is'} left out."
    limited = [stop for stop in held if np.isfinite(stop.margin_degc)]
    if limited and np.isfinite(hard.margin_degc):
        least = min(limited, key=lambda stop: stop.margin_degc)
        now, before = (_room(shown, stop) for stop in (least, hard))
        still = "; the limit is still passed" if is_beyond(least.margin_degc) else ""
        yield f"The place nearest to boiling was {now} now, and {before} at the complaint's stop{still}."


def _room(shown: Shown, stop: Stop) -> str:
    """The smallest margin of a stop, no finer than its uncertainty."""
    doubt_degc = next(
        (float(expanded(one.uncertainty_degc)) for one in stop.places if one.smallest_margin_degc == stop.margin_degc), np.nan
    )
    size = shown.no_finer(abs(stop.margin_degc), "temperature difference", doubt_degc)
    if is_nothing(size):
        return "at its limit"
    return f"{size} {'beyond' if is_beyond(stop.margin_degc) else 'below'} its limit"
