"""A question in a person's words: its parts, and the nearest questions where it is not understood."""

import difflib
from collections.abc import Sequence

from hotfuel.errors import InputError, UsageError
from hotfuel.places import place_from_words, place_words
from hotfuel.study.drive.phases import PULL, SOAK, checked
from hotfuel.study.fixes.summaries import MARGIN, MEAN, PEAK, WHOLE_RUN, Cell

_QUANTITIES = {"margin": MARGIN, "least margin": MARGIN, "average": MEAN, "peak": PEAK, "maximum": PEAK, "highest": PEAK}
_PHASES = {"pull": PULL, "pulls": PULL, "soak": SOAK, "stop": SOAK}
_NEAREST = 3


def parse(text: str) -> Cell:
    """The cell of "smallest margin at pump, hot soak". Raises UsageError for a question without these three parts."""
    quantity, at, rest = text.strip().partition(" at ")
    place, comma, phase = rest.rpartition(",")
    if not (at and comma and place.strip() and phase.strip()):
        raise UsageError(f'--question "{text}" is not understood; write it like "smallest margin at pump, hot soak"')
    quantity, phase = quantity.strip().casefold(), phase.strip().casefold()
    return Cell(_QUANTITIES.get(quantity, quantity), place_from_words(place), _PHASES.get(phase, phase))


def phase(text: str) -> str:
    """The phase that a person named; "whole run" counts as one. Raises UsageError for any other word."""
    return WHOLE_RUN if text.strip().casefold() == WHOLE_RUN else checked(text)


def unknown(asked: Cell, cells: Sequence[Cell], without: Sequence[str]) -> InputError:
    """The error for a question that not every run can answer: the runs that lack it, the three nearest questions, and the words that exist."""
    known = {cell.words(): cell for cell in cells}
    nearest = difflib.get_close_matches(asked.words(), list(known), n=_NEAREST, cutoff=0.0)
    parts = "; ".join(
        f"{name}: {', '.join(dict.fromkeys(words))}"
        for name, words in (
            ("what", [cell.quantity for cell in cells]),
            ("where", [place_words(cell.place) for cell in cells]),
            ("when", [cell.phase for cell in cells]),
        )
    )
    runs = ", ".join(without[:_NEAREST]) + (f" and {len(without) - _NEAREST} more" if len(without) > _NEAREST else "")
    return InputError(
        f'not every run has "{asked.words()}" ({runs} without): leave these out, or ask the nearest, {"; ".join(nearest)}. A question is made of {parts}'
    )
