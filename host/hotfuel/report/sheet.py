"""Long texts typed by a person: cut on the customer's page, complete in the technical part."""

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from hotfuel.places import place_words
from hotfuel.report import words
from hotfuel.report.words import Clock
from hotfuel.session import Session
from hotfuel.text import first_upper
from hotfuel.units import Shown

_NOTHING_DONE = ("as built", "none", "no", "nothing", "standard", "stock", "as delivered")  # in place of a fix
# key of the metadata, label, most characters: a person's account of a repair is seldom longer
_TEXTS = (("complaint", "Complaint", 320), ("work_done", "What was done", 640))
_MORE = " … (continued in the technical part)"


def complaint_and_work(known: Mapping[str, Any], share: float = 1.0) -> tuple[str, str]:
    """Complaint and work done, from a session's metadata, as shown on the page, with a note where one was cut. share: of the room they have."""
    complaint, work_done = (
        textwrap.shorten(str(known.get(key) or ""), int(most * share), placeholder=_MORE) for key, _, most in _TEXTS
    )
    return complaint, work_done


def fitted(known: Mapping[str, Any]) -> list[str]:
    """The fix that a session's metadata names, as a line of what was done; none for a car as it was built."""
    fix = str(known.get("fix") or "").strip()
    before = place_words(str(known.get("before") or ""))
    where = f" before {before}" if before and " before " not in fix else ""
    return [f"Fitted: {fix}{where}."] if fix and fix.lower() not in _NOTHING_DONE else []


def simulated(sessions: Sequence[Session]) -> dict[str, Any]:
    """What a `Sheet` says about simulated sessions: its fields `simulated` and `simulated_words`."""
    unique = {id(session): session for session in sessions}.values()
    count = sum(bool(session.metadata.get("simulated")) for session in unique)
    part = f"{count} of {len(unique)} sessions " if count < len(unique) else ""
    return {"simulated": count > 0, "simulated_words": f"{part}simulated, no real car"}


def driven(sessions: Iterable[Session], shown: Shown) -> list[str]:
    """When these sessions were driven, in what air, at what height and with which fuel, in one line: what is known of it."""
    unique = list({id(session): session for session in sessions}.values())
    known = (s for s in unique if s.ticks.timeline.anchored and len(s.ticks.seconds))
    began = sorted(((s.ticks.index[0], s) for s in known), key=lambda one: one[0])
    days = [Clock(True, s.metadata.get("utc_offset_min")).day(at) for at, s in began]
    ambient = [float(s.metadata["ambient_degc"]) for s in unique if s.metadata.get("ambient_degc") is not None]
    heights = sorted({s.car.altitude_m for s in unique if s.car is not None and s.car.altitude_m is not None})
    fuels = sorted({s.fuel.name for s in unique if s.car is not None})
    parts = [f"driven {words.on_days(days[0], days[-1])}" if days else "", _air(ambient, shown) if ambient else ""]
    parts += [f"altitude about {_span(*(shown.text(heights[end], 'length', 0) for end in (0, -1)))}"] if heights else []
    parts += [f"fuel: {', '.join(fuels)}"] if fuels else []
    told = "; ".join(filter(None, parts))
    return [f"{first_upper(told)}."] if told else []


def _span(first: str, last: str) -> str:
    return first if first == last else f"{first} to {last}"


def _air(ambient_degc: list[float], shown: Shown) -> str:
    low, high = (shown.text(end(ambient_degc), "temperature", 0) for end in (min, max))
    return f"outside air {_span(low, high)}"


def in_full(known: Mapping[str, Any], *on_page: str) -> list[tuple[str, str]]:
    """(label, whole text) of those that were cut. on_page: as `complaint_and_work` gave them."""
    return [(label, str(known[key])) for (key, label, _), text in zip(_TEXTS, on_page, strict=True) if text.endswith(_MORE)]
