"""A person's long texts: cut on the customer's page, whole in the technical part."""

import textwrap
from collections.abc import Mapping
from typing import Any

# key of the metadata, label, most characters: a person's account of a repair is seldom longer
_TEXTS = (("complaint", "Complaint", 320), ("work_done", "What was done", 640))
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
