"""Text from outside, made safe to show and to store: file names that are not UTF-8, control characters, characters that change the reading direction.

Characters that a terminal or page would obey instead of showing are shown as their code, like \\x1b or \\u202e; so are those that a file could not contain.
Below that, what sentences share: sizes, signs, lists, capitals.
"""

import math
import os
import re
import shlex
from collections.abc import Callable, Sequence

from hotfuel.errors import InputError

# Controls but tab and line feed; the separators that end a line invisibly; marks that change the reading direction (UAX 9); halves of surrogate
# pairs, which represent bytes of a file name that are not UTF-8.
_UNSAFE = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufeff]")
# What is typed again: in quotes, an option's number. Then a hyphen that means minus, not one of a file, an option or what somebody typed.
_TYPED = r"""(?<!\w)'[^'\n]*'(?!\w)|"[^"\n]*"|--[\w-]+ -\d"""
_HYPHEN = re.compile(rf"""({_TYPED})|(?<![\w\-/\\'"=])-(?=\d)(?![\w.-]*([/\\]|\.[a-z]))""")


def shown(text: str) -> str:
    """The text with every such character as its code. A byte of a file name that is not UTF-8 appears as that byte."""
    return _UNSAFE.sub(_code, text)


def one_line(text: str) -> str:
    """As `shown`, on one line."""
    return " ".join(shown(text).split())


def file_name(text: str) -> str:
    """A name for a file or folder that every system accepts: letters, digits, spaces, dots inside and dashes, 60 at most; "drive" if nothing is left."""
    return re.sub(r"[^\w. -]+", "-", one_line(text))[:60].strip(". ") or "drive"


def checked(text: str) -> str:
    """The text unchanged. Raises InputError if it holds such a character."""
    found = _UNSAFE.search(text)
    if found is not None:
        raise InputError(f'"{one_line(text)[:60]}" holds {_code(found)}, which cannot be read: allowed is text')
    return text


def _code(found: "re.Match[str]") -> str:
    number = ord(found[0])
    if 0xDC80 <= number <= 0xDCFF:  # how Python represents a byte that it could not decode
        return f"\\x{number - 0xDC00:02x}"
    return f"\\x{number:02x}" if number < 0x100 else f"\\u{number:04x}"


def listed(names: Sequence[str]) -> str:
    """Names in a sentence. Example: listed(["a", "b", "c"]) -> "a, b and c"."""
    return " and ".join([", ".join(names[:-1]), *names[-1:]] if len(names) > 1 else names)


def counted(count: int, noun: str, nouns: str = "") -> str:
    """A count with its noun. Example: counted(1, "piece") -> "1 piece", counted(12, "reading") -> "12 readings"."""
    return f"{count} {noun if count == 1 else nouns or noun + 's'}"


def told_apart(names: Sequence[str], *more: Sequence[str]) -> list[str]:
    """The names; where some are the same, with the first of `more` that tells them apart in brackets, and the next too where needed; an
    empty one tells nothing and is not shown.

    Example: told_apart(["run", "run", "day"], ["09:12", "10:40", "11:00"]) -> ["run (09:12)", "run (10:40)", "day"].
    """
    told: list[tuple[str, ...]] = [(name,) for name in names]
    for further in more:
        told = [(*one, word) if told.count(one) > 1 else one for one, word in zip(told, further, strict=True)]
    shown_with = [(name, ", ".join(filter(None, words))) for name, *words in told]
    return [f"{name} ({words})" if words else name for name, words in shown_with]


class Size(str):
    """A number with its unit as a person reads it, "2.0 °F"; "–" for nan. `digits`: the same without the unit. `value`: the number as rounded for printing."""

    value: float
    digits: str

    def __new__(cls, value: float, decimals: int, unit: str) -> "Size":
        """The text of a value that is in this unit already. One that rounds to zero prints without a sign."""
        number = round(value, decimals) + 0.0 if value == value else math.nan
        digits = f"{number:.{decimals}f}" if number == number else "–"
        made = super().__new__(cls, f"{digits} {unit}" if number == number else digits)
        made.value, made.digits = number, digits
        return made


def directed(size: Size, word: str, none: str) -> str:
    """ "2.0 °F cooler"; `none` where the size as printed ("0.0 °F") is zero, which has no direction."""
    return none if is_nothing(size) else f"{size} {word}"


def than(size: Size, word: str) -> str:
    """ "2.0 °F cooler than"; "the same as" where the size as printed is zero."""
    return "the same as" if is_nothing(size) else f"{size} {word} than"


def is_nothing(size: Size) -> bool:
    """Whether a size as printed is zero."""
    return size.value == 0


def signed(value: float, decimals: int = 1) -> str:
    """A number with its sign; one that rounds to zero has none. Example: signed(0.04) -> "0.0"."""
    number = round(value, decimals)
    return f"{number:+.{decimals}f}" if number else f"{0:.{decimals}f}"


def minus(text: str) -> str:
    """The text with a minus sign in place of each hyphen before a number, but not in what can be typed again: what stands in quotes, an option's number, a
    path. Example: minus("-2 to 3 °C") -> "−2 to 3 °C"."""
    return _HYPHEN.sub(lambda found: found[1] or "−", text)


def first_upper(text: str) -> str:
    """The text with its first letter a capital, the rest as it is."""
    return text[:1].upper() + text[1:]


def between(low: float, high: float, size: Callable[[float], Size], sense: Callable[[float], str]) -> str:
    """ "between 6.9 and 9.8 °C cooler", the smaller first, or, where the interval holds zero, "between 1.0 °C cooler and 2.0 °C hotter"."""
    near, far = sorted((low, high), key=abs)
    if low * high > 0 or is_nothing(size(near)):  # zero has no direction
        return f"between {size(near)} and {size(far)} {sense(far)}"
    return f"between {size(low)} {sense(low)} and {size(high)} {sense(high)}"


def typed(path: str | os.PathLike[str]) -> str:
    """A path as a person types it in a command: quoted for the shell, and never taken for an option. Example: typed("-y") -> "./-y"."""
    said = os.fspath(path)
    return shlex.quote(f"./{said}" if said.startswith("-") else said)
