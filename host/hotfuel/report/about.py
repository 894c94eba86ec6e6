"""What a session's metadata says, as rows of label and text in the reader's units."""

import datetime
from collections.abc import Mapping
from typing import Any

from hotfuel.session.metadata import KEYS, Key
from hotfuel.units import Shown


def rows(values: Mapping[str, Any], shown: Shown) -> list[tuple[str, str]]:
    """(label, readable value) in the registry's order, unknown keys last."""
    known = [(key.label, _text(key, values[name], shown)) for name, key in KEYS.items() if values.get(name) not in (None, "")]
    return known + [(name, str(value)) for name, value in values.items() if name not in KEYS]


def _text(key: Key, value: Any, shown: Shown) -> str:
    if key.kind is bool:
        return "yes" if value else "no"
    if key.moment:
        return datetime.datetime.fromisoformat(value).strftime("%Y-%m-%d %H:%M:%S UTC")
    if key.unit == "degC":
        return shown.text(float(value), "temperature")
    return f"{value:.0f} {key.unit}" if key.unit else str(value)
