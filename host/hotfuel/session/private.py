"""Sessions for sharing: names of people, cars and places are left out; the numbers stay as they are.

Rows of the registry that name a person or place are removed. Text that a person typed stays, without the names in those rows and without what looks
like an address, a number plate, a telephone number or a position; not everything can be recognised, so read it before sending it.
"""

import re
from collections.abc import Callable, Iterable
from typing import Any

import pandas as pd

from hotfuel.session.recording import Session

_PERSONS, _PLACES = ("customer", "technician"), ("shop", "venue", "car", "title")
_DROPPED = (*_PERSONS, *_PLACES, "board_id", "port")
_TYPED = ("complaint", "work_done", "note", "weather", "fix", "before", "test_day", "start_when")
LEFT_OUT = "…"
_STANDARDS = r"(?!(?:ASTM ?)?D\d{4}\b|EN ?\d{3}\b|SAE ?J\d{4}\b|J\d{4}\b|RAL ?\d{4}\b|(?:RON|MON|AKI|DOT) ?\d+\b)"
_LOOKS_PERSONAL = tuple(
    re.compile(pattern)
    for pattern in (
        r"\S+@\S+\.\w+",  # an address
        r"(?:https?://|www\.)\S+",
        r"(?:/home/|/Users/|[A-Z]:\\Users\\)\S+",
        r"\b[A-HJ-NPR-Z0-9]{17}\b",  # a vehicle's identification number, ISO 3779: 17 characters without I, O and Q
        r"[-+−]?\d{1,3}[.,]\d{3,}\s*°?\s*[NSEWO]?\s*[,;/ ]\s*[-+−]?\d{1,3}[.,]\d{3,}\s*°?\s*[NSEWO]?\b",  # degrees with decimals
        r"\d{1,3}\s*°\s*\d{1,2}(?:[.,]\d+)?\s*['′](?:\s*\d{1,2}(?:[.,]\d+)?\s*[\"″])?\s*[NSEWO]\b",  # degrees, minutes, seconds
        r"(?<![\w.])(?:\+\d|\(?0\d)[\d ()/.-]{5,}\d(?!\w)",  # telephone numbers
        r"(?<![\w.])\(?\d{3}\)?[-. ]\d{3}[-. ]\d{4}(?!\w)",
        _STANDARDS
        + r"\b(?=(?:[ -]?[A-Z0-9]){5,9}\b)(?:[A-Z]{1,3}[ -]?)+\d{1,4}(?:[ -]?[A-Z]{1,3})?\b",  # number plates: letters, then figures
        r"\b\d{1,4}[ -]?[A-Z]{2,3}[ -]?\d{2,4}\b",  # ... and figures first
    )
)

_PLATES = _LOOKS_PERSONAL[-2:]


def hider(names: Iterable[str]) -> Callable[[str], str]:
    """A function that removes these names, and what looks personal, from a text."""
    known = sorted({name.strip() for name in names if len(name.strip()) > 1}, key=len, reverse=True)
    spelt = [rf"(?<!\w){re.escape(name)}(?:['’]?s|['’])?(?!\w)" for name in known]  # Anna, Anna's, Annas
    spelt += [_plate_anyhow(plate) for name in known for plate in _plates(name)]
    named = re.compile("|".join(spelt), re.IGNORECASE) if known else None

    def hide(text: str) -> str:
        for pattern in (*([named] if named else []), *_LOOKS_PERSONAL):
            text = pattern.sub(LEFT_OUT, text)
        return text

    return hide


def _plates(text: str) -> list[str]:
    """The parts of a text that look like a number plate."""
    return [found for pattern in _PLATES for found in pattern.findall(text)]


def _plate_anyhow(plate: str) -> str:
    """The pattern of a known plate, with blanks, hyphens or nothing between its letters and figures."""
    signs = "[ -]?".join(sign for sign in plate if sign.isalnum())
    return rf"(?<!\w){signs}(?!\w)"


def hide(sessions: Iterable[Session]) -> None:
    """Remove names, plates and positions from these sessions, in place: from metadata, car, marks and notes. Cars stay distinguishable, as A, B ..."""
    every = list(sessions)
    names: set[str] = set()
    for session in every:
        said = {key: str(session.metadata.get(key) or "") for key in (*_PERSONS, *_PLACES)}
        names |= {*said.values(), session.name, session.car.name if session.car else ""}
        names |= {word for key in _PERSONS for word in re.findall(r"[^\W\d_]{3,}", said[key])}
    take_out = hider(names)
    cars = sorted({session.car.name for session in every if session.car})
    for session in every:
        title = _title(session)
        if session.car is not None:
            letter = chr(ord("A") + cars.index(session.car.name) % 26)
            session.car = session.car.model_copy(update={"name": "the car" if len(cars) == 1 else f"car {letter}"})
        session.car_text = ""
        session.metadata = {
            key: take_out(value) if key in _TYPED else value for key, value in session.metadata.items() if key not in _DROPPED
        } | {"title": title}
        session.take_out = take_out


def _title(session: Session) -> str:
    began: Any = session.ticks.index[0] if len(session.ticks.seconds) else None
    return f"session of {began:%Y-%m-%d %H:%M:%S} UTC" if isinstance(began, pd.Timestamp) else "session without a date"
