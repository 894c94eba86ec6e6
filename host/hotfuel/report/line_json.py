"""What studies of the line hold as kinds, in the words that JSON has always had for them."""

from typing import Any

from hotfuel.report.unknown_words import named


def in_words(plain: Any) -> Any:
    """Plain fields of a study, with every `carried_by` as a phrase, "" where nothing carries the range."""
    if isinstance(plain, dict):
        return {key: named(value) if key == "carried_by" else in_words(value) for key, value in plain.items()}
    return [in_words(one) for one in plain] if isinstance(plain, list | tuple) else plain
