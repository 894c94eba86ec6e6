"""What was fitted on each side, and from it which side the others are compared with: the order in which they are named must not change an answer."""

from collections.abc import Mapping, Sequence

from hotfuel.errors import InputError
from hotfuel.fix_words import kinds_gone
from hotfuel.places import place_from_words
from hotfuel.study.fixes.cut import Stretch
from hotfuel.study.fixes.fitted import Fitted, Question, at, kind_of
from hotfuel.text import listed


def fixes_of(stretches: Sequence[Stretch], stated: Mapping[str, Fitted]) -> dict[str, Fitted]:
    """{variant: its fix}: as stated now, else by a session's metadata, else by its car file, else by the variant's name; without those of which nothing
    is known. Raises InputError where one is stated of no variant."""
    names = list(dict.fromkeys(one.variant for one in stretches))
    if strange := [name for name in stated if name not in names]:
        raise InputError(f'"{strange[0]}" is none of the variants: they are {", ".join(names)}')
    noted = {one.variant: fix for one in reversed(stretches) if (fix := _noted(one)) is not None}
    return {name: fix for name in names if (fix := stated.get(name) or noted.get(name)) is not None}


def _noted(stretch: Stretch) -> Fitted | None:
    noted, car = stretch.session.metadata, stretch.course.car
    texts = ((noted.get("fix"), noted.get("before")), (car.fix, car.before) if car is not None else (None, None))
    gone = kinds_gone(noted.get("fix") or "")  # of the car file's, what was not there on that drive
    for what, where in texts:
        kind = kind_of(what or "")
        if kind is not None and kind not in gone:
            return at(kind, what or "", place_from_words(where) if where else "")
    kind = kind_of(stretch.variant)
    return None if kind is None else Fitted(kind, guessed=True)


def without_fix(names: Sequence[str], *known: Mapping[str, object]) -> str | None:
    """The only variant without a fix, by the first of these that leaves just one; None where none does."""
    left = [[name for name in names if name not in fixes] for fixes in known]
    return next((each[0] for each in left if len(each) == 1), None)


def require_one(names: Sequence[str], known: Mapping[str, Fitted], asked: Sequence[Question]) -> None:
    """Raises InputError where no variant was named to compare with and the answer would depend on which is taken. asked: the questions of all fixes."""
    left = [name for name in names if name not in known]
    if known and left:
        raise InputError(
            f"nothing says what was fitted with {listed(left)}, so it is not clear which of them the others are compared with: "
            f'name it, as in --baseline "{left[0]}"'
        )
    if len(asked) > 1:
        raise InputError(
            f"a fix is known of {listed(names)}, and each of them asks something else ({'; '.join(one.cells[0].words() for one in asked)}): "
            f'name the one that the others are compared with, as in --baseline "{names[0]}"'
        )
