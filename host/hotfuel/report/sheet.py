"""The customer's one page: long texts are cut there and stand whole in the technical part, and the picture gives way to text."""

import math
import textwrap
from collections.abc import Iterable, Mapping
from typing import Any

# key of the metadata, label, most characters: a person's account of a repair is seldom longer
_TEXTS = (("complaint", "Complaint", 320), ("work_done", "What was done", 640))
LINE_PX = 17.4  # of print
_LINE_CHARACTERS = 118  # of print across A4 and Letter, with room to spare
_DENSE_GAIN_PX = 120  # what the small print of page.css saves on a full page
_MORE = " … (continued in the technical part)"


def complaint_and_work(known: Mapping[str, Any], share: float = 1.0) -> tuple[str, str]:
    """Complaint and work done, of a session's metadata, as they stand on the page: where one was cut, that is said. share: of the room they have."""
    complaint, work_done = (
        textwrap.shorten(str(known.get(key) or ""), int(most * share), placeholder=_MORE) for key, _, most in _TEXTS
    )
    return complaint, work_done


def in_full(known: Mapping[str, Any], *on_page: str) -> list[tuple[str, str]]:
    """(label, whole text) of those that were cut. on_page: as `complaint_and_work` gave them."""
    return [(label, str(known[key])) for (key, label, _), text in zip(_TEXTS, on_page, strict=True) if text.endswith(_MORE)]


def lines(texts: Iterable[str], columns: int = 1) -> int:
    """About how many lines of print the texts take, each beginning its own, in one of so many columns."""
    return sum(math.ceil(len(text) * columns / _LINE_CHARACTERS) for text in texts)


def layout(full_px: int, least_px: int, spare_px: float, line_count: int) -> tuple[int, bool]:
    """(height of the picture, whether the print must be smaller). The picture is full where the lines take no more than spare_px, then gives way."""
    left_px = full_px + spare_px - line_count * LINE_PX
    dense = left_px < least_px
    return int(min(full_px, max(least_px, left_px + (_DENSE_GAIN_PX if dense else 0)))), dense
