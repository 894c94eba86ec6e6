"""What was fitted, and where: it fixes the question of a comparison before any answer is seen."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from hotfuel.errors import InputError
from hotfuel.fix_words import kinds_of
from hotfuel.places import place_from_words, place_words
from hotfuel.study.drive.phases import DRIVE, IDLE, LAP, PULL, SOAK
from hotfuel.study.fixes.summaries import MARGIN, MEAN, PEAK, Cell

NAMED, FITTED, HARDEST = "named", "by what was fitted", "hardest"  # how a question came about


@dataclass(frozen=True)
class Kind:
    """A kind of fix: the phase in which it acts; `hotfuel.fix_words` has the words by which it is known in a name.

    in_line: it acts on the fuel that passes, not on what lies before it. anywhere: it needs no place, because it acts on the whole line.
    """

    phase: str
    in_line: bool = False
    anywhere: bool = False


# Where each acts: common practice, no source. In the order of FIX_WORDS.
KINDS: dict[str, Kind] = {
    "ice": Kind(PULL, in_line=True),
    "cooler": Kind(PULL, in_line=True),
    "spray": Kind(PULL, in_line=True),
    "spacer": Kind(SOAK, in_line=True),
    "shield": Kind(SOAK),
    "insulation": Kind(DRIVE, in_line=True),
    "return": Kind(IDLE, anywhere=True),
    "fan": Kind(SOAK, anywhere=True),
    "pump": Kind(SOAK, anywhere=True),
    "fuel": Kind(SOAK, anywhere=True),
}


@dataclass(frozen=True)
class Fitted:
    """One fix: its kind and the place just behind it ("" where it was not stated). guessed: the kind was read from the variant's name. said: what was
    fitted in a person's words, several parts where they were fitted together; kind and place are the first one's."""

    kind: str
    before: str = ""
    guessed: bool = False
    said: tuple[str, ...] = field(default=(), compare=False)  # two that differ in words alone are one fix


@dataclass(frozen=True)
class Question:
    """One question: the cells in the order in which they are tested, the variants it is asked of, and how it came about.

    how: NAMED by a person beforehand, FITTED (it follows from what was fitted), or HARDEST (nothing says what was fitted, so it is the smallest margin).
    untouched: places before the fix in the fuel's direction, which it cannot reach. guessed: (variant, kind read from its name). unplaced: variants whose
    place was not stated, so it is the last of the line.
    """

    cells: tuple[Cell, ...]
    variants: tuple[str, ...]
    how: str = FITTED
    untouched: tuple[str, ...] = ()
    guessed: tuple[tuple[str, str], ...] = ()
    unplaced: tuple[str, ...] = ()


def kind_of(words: str) -> str | None:
    """The kind of fix a text names, None where it names none. Example: kind_of("fan-blown cooler") -> "cooler"."""
    return next(iter(kinds_of(words)), None)


def what_and_where(text: str) -> tuple[str, str]:
    """What a person wrote, taken apart: "cooler before carb_inlet" -> ("cooler", "carb_inlet"); the place is "" where none is named."""
    what, _, where = text.strip().partition(" before ")
    return what, where.strip()


def parse(text: str) -> Fitted:
    """What a person wrote, "cooler before carb_inlet" or "shield". Raises InputError, one sentence, for an unknown kind."""
    what, where = what_and_where(text)
    kind = kind_of(what)
    if kind is None:
        raise InputError(
            f'"{text}" names no kind of fix: write one of {", ".join(KINDS)}, with the place behind it: "cooler before carb_inlet"'
        )
    return at(kind, what, place_from_words(where) if where else "")


def at(kind: str, what: str, place: str) -> Fitted:
    """A fix of that kind, in a person's words, before a place, "" where none was named."""
    return Fitted(kind, place, said=(f"{what.strip()} before the {place_words(place)}" if place else what.strip(),))


def together(texts: Sequence[str]) -> Fitted:
    """What was fitted together, asked by the first. Raises InputError as `parse`, and for the same words twice."""
    parts = [parse(text) for text in texts]
    said = [one.said[0] for one in parts]
    if twice := next((one for number, one in enumerate(said) if one in said[:number]), None):
        raise InputError(f'"{twice}" was said to be fitted twice: leave one out')
    return replace(parts[0], said=tuple(said))


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
    phase: named by the person, for all fixes. lapped: whether every run was driven in laps; then a fix that acts on the moving car is asked of the lap, its
    hottest first. Temperature comes first, the margin only after a decided temperature. The phase follows from the kind of fix, never from what the
    recordings happen to hold. Raises InputError for a fix before a place that not every session measured.
    """
    found: dict[tuple[str, str], list[str]] = {}
    guessed: dict[tuple[str, str], list[tuple[str, str]]] = {}
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
            guessed.setdefault(key, []).append((name, fix.kind))
        elif not fix.before and not KINDS[fix.kind].anywhere:
            placed.setdefault(key, []).append(name)
    made = []
    for (place, when), names in found.items():
        in_line = all((fix := fitted[name]) is not None and KINDS[fix.kind].in_line for name in names)
        before = tuple(places[: list(places).index(place)]) if in_line else ()
        made.append(
            Question(
                (Cell(PEAK if when == LAP else MEAN, place, when), Cell(MARGIN, place, when)),
                tuple(names),
                untouched=before,
                guessed=tuple(guessed.get((place, when), ())),
                unplaced=tuple(placed.get((place, when), ())),
            )
        )
    return made, unknown
