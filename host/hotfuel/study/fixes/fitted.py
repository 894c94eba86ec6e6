"""What was fitted, and where: it fixes the question of a comparison before any answer is seen."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from hotfuel.errors import InputError
from hotfuel.places import place_from_words, place_words
from hotfuel.study.drive.phases import DRIVE, IDLE, LAP, PULL, SOAK
from hotfuel.study.fixes.summaries import MARGIN, MEAN, PEAK, Cell
from hotfuel.text import listed


@dataclass(frozen=True)
class Kind:
    """A kind of fix: the phase in which it acts, and the words by which it is known in a name."""

    phase: str
    words: tuple[str, ...]


# The order matters: a fan-blown cooler is a cooler, an ice can in the return line is an ice can. Where each acts: common practice, no source.
KINDS: dict[str, Kind] = {
    "ice": Kind(PULL, ("ice", "iced")),
    "cooler": Kind(PULL, ("cooler", "chiller", "heat exchanger")),
    "spray": Kind(PULL, ("spray", "sprayed")),
    "spacer": Kind(SOAK, ("spacer", "phenolic")),
    "shield": Kind(SOAK, ("shield", "shielded", "heat shield")),
    "insulation": Kind(DRIVE, ("insulation", "insulated", "sleeve", "sleeved", "wrap", "wrapped")),
    "return": Kind(IDLE, ("return", "return line")),
    "fan": Kind(SOAK, ("fan", "fan run-on")),
    "pump": Kind(SOAK, ("pump",)),
    "fuel": Kind(SOAK, ("fuel", "gasoline", "petrol")),
}


_IN_THE_LINE = (
    "ice",
    "cooler",
    "spray",
    "spacer",
    "insulation",
)  # they act on the fuel that passes, not on what lies before them

_ANYWHERE = ("fan", "fuel", "pump", "return")  # these need no place: they act on all of the line


@dataclass(frozen=True)
class Fitted:
    """One fix: its kind and the place just behind it ("" where nobody said), and how that is known."""

    kind: str
    before: str = ""
    guessed: bool = False


@dataclass(frozen=True)
class Question:
    """One question: the cells in the order in which they are tested, the variants it is asked of, and where it comes from.

    untouched: places before the fix in the fuel's direction, which it cannot reach.
    """

    cells: tuple[Cell, ...]
    variants: tuple[str, ...]
    said: str
    untouched: tuple[str, ...] = ()


def kind_of(words: str) -> str | None:
    """The kind of fix a text names, None where it names none. Example: kind_of("fan-blown cooler") -> "cooler"."""
    return next(iter(kinds_of(words)), None)


def kinds_of(words: str) -> tuple[str, ...]:
    """All the kinds of fix that a text names. Example: kinds_of("ice can in the return") -> ("ice", "return")."""
    text = words.casefold().replace("_", " ")
    return tuple(name for name, kind in KINDS.items() if any(re.search(rf"\b{re.escape(w)}\b", text) for w in kind.words))


def parse(text: str) -> Fitted:
    """What a person wrote, "cooler before carb_inlet" or "shield". Raises InputError, one sentence, for an unknown kind."""
    what, _, where = text.partition(" before ")
    kind = kind_of(what)
    if kind is None:
        raise InputError(
            f'"{text}" names no kind of fix: write one of {", ".join(KINDS)}, with the place behind it: "cooler before carb_inlet"'
        )
    return Fitted(kind, place_from_words(where) if where else "")


def questions(
    fitted: Mapping[str, Fitted | None],
    places: Sequence[str],
    *,
    pulled: bool = True,
    phase: str | None = None,
    lapped: bool = False,
) -> tuple[list[Question], list[str]]:
    """(one question for each place and phase, the variants of which nothing is known).

    fitted: {variant: its fix}, without the baseline. places: in the fuel's direction. pulled: whether this car is driven at full throttle at all.
    phase: named by the person, for all. lapped: whether every run was driven in laps, on which what acts on the moving car is asked of the lap: its
    hottest first. Temperature comes first, the margin only behind a decided temperature. The phase goes by the kind of fix,
    never by what the recordings happen to hold.
    """
    found: dict[tuple[str, str], list[str]] = {}
    guessed: dict[tuple[str, str], list[str]] = {}
    placed: dict[tuple[str, str], list[str]] = {}
    unknown = []
    for name, fix in fitted.items():
        if fix is None:
            unknown.append(name)
            continue
        place = fix.before or places[-1]
        if place not in places:
            raise InputError(
                f"{name} was fitted before {place_words(place)}, which not every session measured: there are {', '.join(places)}"
            )
        when = phase or KINDS[fix.kind].phase
        if phase is None and lapped and when in (PULL, DRIVE):
            when = LAP
        key = (place, DRIVE if when == PULL and not pulled and phase is None else when)
        found.setdefault(key, []).append(name)
        if fix.guessed:
            guessed.setdefault(key, []).append(f"{name} as {fix.kind}")
        elif not fix.before and fix.kind not in _ANYWHERE:
            placed.setdefault(key, []).append(name)
    made = []
    for (place, when), names in found.items():
        told, unplaced = guessed.get((place, when)), placed.get((place, when))
        how = "Asked by a guess at what was fitted" if told else "Asked beforehand, by what was fitted"
        what = "the hottest on the lap, mean of a run's laps," if when == LAP else "the temperature"
        said = f"{how}: {what} at the {place_words(place)} ({when}), then its margin, for {listed(names)}."
        if told:
            said += f" Guessed from the name: {', '.join(told)}."
        if unplaced:
            said += f" Where {listed(unplaced)} stands was not said: the {place_words(place)} is the last place of the line."
        in_line = all((fix := fitted[name]) is not None and fix.kind in _IN_THE_LINE for name in names)
        before = tuple(places[: list(places).index(place)]) if in_line else ()
        made.append(
            Question((Cell(PEAK if when == LAP else MEAN, place, when), Cell(MARGIN, place, when)), tuple(names), said, before)
        )
    return made, unknown
