"""Mistakes in a car file as sentences: the key, what was seen, what is allowed."""

import contextlib
import difflib
import re
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from pydantic import BaseModel

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails


_UNITS = re.compile(r'^\s*units\s*=\s*"(us|si)"', re.MULTILINE)
_LOOKED_AT = 100_000


def units_of(path: Path) -> str:
    """The units that a car file with a mistake elsewhere names, "us" or "si"; "" where it names none."""
    with contextlib.suppress(OSError), path.open(encoding="utf-8", errors="replace") as file:
        found = _UNITS.search(file.read(_LOOKED_AT))
        return found[1] if found else ""
    return ""


def remedy(text: str) -> str:
    """The most likely remedy for text that is not TOML."""
    if any(mark in text for mark in "“”„"):
        return 'its quotation marks are a word processor\'s: write straight ones, "6 psi"'
    if "\\" in text:
        with contextlib.suppress(ValueError, RecursionError):
            tomllib.loads(text.replace("\\", "/"))
            return "write / where \\ stands"
    return 'write key = "value" lines under [tables]'


def sentence(item: "ErrorDetails", model: type[BaseModel]) -> str:
    """One pydantic error as a sentence: the key, what was seen, what is allowed. model: that of the whole file."""
    path = [part for part in item["loc"] if part not in ("function-before", "float")]
    key = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in path).lstrip(".") or "the file"
    seen = "" if isinstance(item["input"], dict | list | tuple) else f" is {_shown(item['input'])}"
    kind, context = item["type"], item.get("ctx", {})
    if kind == "extra_forbidden":
        known = _keys_at(path[:-1], model)
        near = difflib.get_close_matches(str(path[-1]), known, n=1, cutoff=0.5)
        return f"{key} is not a known key" + (f', did you mean "{near[0]}"?' if near else f"; known here are {', '.join(known)}")
    if kind == "missing":
        return f"{key} is missing and has no default"
    if kind == "value_error":
        return f"{key}{seen}: {context['error']}"
    if kind in ("model_type", "model_attributes_type"):
        return f"{key}{seen}: it is a table; write [{key}] and key = value lines under it"
    if kind == "tuple_type":
        return f"{key}{seen}: it is written once for each place as a table [[{key}]]"
    if kind == "string_type":
        return f"{key}{seen}: a text is written in quotes"
    if kind == "literal_error":
        return f"{key}{seen}: allowed are {context['expected']}"
    return f"{key}{seen}: {item['msg'][0].lower()}{item['msg'][1:]}"


def _shown(value: object) -> str:
    text = f'"{value}"' if isinstance(value, str) else str(value).lower() if isinstance(value, bool) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _keys_at(path: list[int | str], model: type[BaseModel]) -> list[str]:
    """The keys of the table at that path, as written in the file."""
    for part in path:
        if isinstance(part, str):
            field = next((f for name, f in model.model_fields.items() if (f.alias or name) == part), None)
            kinds = [field.annotation, *get_args(field.annotation)] if field else []
            model = next((kind for kind in kinds if isinstance(kind, type) and issubclass(kind, BaseModel)), model)
    return [field.alias or name for name, field in model.model_fields.items()]
