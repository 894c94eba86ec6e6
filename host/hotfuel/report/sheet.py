"""The customer's one page: long texts are cut there and stand whole in the technical part, and the picture gives way to text."""

import math
import textwrap
from collections.abc import Iterable

WORK_MOST, COMPLAINT_MOST = 640, 320  # characters; a person's account of a repair is seldom longer
_LINE_CHARACTERS, _LINE_PX = 118, 17.4  # of print on A4 and Letter, with room to spare
_MORE = " … (continued in the technical part)"


def cut(text: object, most: int) -> str:
    """The text as it stands on the page: at most so many characters, and where it was cut, that is said."""
    return textwrap.shorten(str(text or ""), most, placeholder=_MORE)


def in_full(texts: Iterable[tuple[str, object, int]]) -> list[tuple[str, str]]:
    """(label, whole text) of those (label, text, most) that `cut` shortens."""
    return [(label, str(text)) for label, text, most in texts if text and cut(text, most).endswith(_MORE)]


def picture_px(full_px: int, least_px: int, spare_px: float, *texts: str) -> int:
    """Height of the picture: full where the texts take no more than spare_px beyond a line each, smaller by what they take more."""
    lines = sum(math.ceil(len(text) / _LINE_CHARACTERS) for text in texts if text)
    return int(min(full_px, max(least_px, full_px + spare_px - lines * _LINE_PX)))
