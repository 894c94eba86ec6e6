"""Several pulls in one table: side by side with a number in each heading, side by side under repeated headings, or stacked with a column of numbers."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from hotfuel.study.power.columns import score
from hotfuel.study.power.delimited import Table
from hotfuel.study.power.headings import ideas, words
from hotfuel.study.power.remarks import Kind, Remark

_LEAST_ROWS = 5
_MOST_NUMBER = 9999


@dataclass(frozen=True)
class Part:
    """The table of one pull: its running number (None unknown) and the label to add to the file's name ("" for the only one)."""

    table: Table
    number: int | None
    label: str


def parts(table: Table) -> list[Part]:
    """The pulls' tables in a file's or sheet's table, in the order they stand in."""
    found = _stacked(table) or _side_by_side(table) or _repeated(table) or [Part(table, None, "")]
    if len(found) == 1 and found[0].number is None:
        found = [replace(found[0], number=_number_in(table.label))]
    return [replace(part, label=f"{table.label} {part.label}".strip()) for part in found]


def _number_in(text: str) -> int | None:
    """The last number in a text that can be a running number."""
    numbers = [int(each) for each in re.findall(r"\d+", text) if int(each) <= _MOST_NUMBER]
    return numbers[-1] if numbers else None


def _is_curve(header: str) -> bool:
    return max(score("torque", header), score("power", header)) >= 1


def _stacked(table: Table) -> list[Part]:
    """Pulls stacked in one table, with a column of running numbers that is constant over each pull."""
    for at, header in enumerate(table.headers):
        told = set(ideas(header)) - {"no", "nr", "number", "nummer", "numero", "id", "n"}
        if told != {"run"}:
            continue
        values = table.numbers[:, at]
        known = values[np.isfinite(values)]
        if not known.size or (known != np.round(known)).any():
            continue
        numbers = list(dict.fromkeys(int(value) for value in known))
        pieces = {number: table.numbers[values == number] for number in numbers}
        usable = [number for number in numbers if len(pieces[number]) >= _LEAST_ROWS]
        short = len(numbers) - len(usable)
        remarks = (*table.remarks, *([Remark(Kind.SHORT_RUNS, short, _LEAST_ROWS)] if short else []))
        keep = [i for i in range(len(table.headers)) if i != at]
        return [
            Part(_columns(replace(table, numbers=pieces[number], remarks=remarks), keep), number, f"run {number}")
            for number in usable
        ]
    return []


def _side_by_side(table: Table) -> list[Part]:
    """Pulls side by side under headings that differ only in a number; columns without a number belong to all."""
    numbers = [_heading_number(header) for header in table.headers]
    distinct = list(dict.fromkeys(number for number in numbers if number is not None))
    with_curve = [n for n in distinct if any(m == n and _is_curve(h) for h, m in zip(table.headers, numbers, strict=True))]
    if len(with_curve) < 2:
        return []
    shared = [i for i, number in enumerate(numbers) if number is None or number not in with_curve]
    result = []
    for number in with_curve:
        own = [i for i, other in enumerate(numbers) if other == number]
        kept = [i for i in shared if _is_curve(table.headers[i]) is False]
        part = _columns(table, sorted([*own, *kept]), strip=number)
        result.append(Part(part, number, f"run {number}"))
    return result


def _heading_number(header: str) -> int | None:
    """The number at the beginning or end of a heading's words; not that of a standard or a unit."""
    pieces = [piece for piece in words(header) if piece not in ("run", "pull", "no", "nr")]
    if len(pieces) < 2:
        return None
    for piece in (pieces[-1], pieces[0]):
        if piece.isdigit() and int(piece) <= _MOST_NUMBER:
            return int(piece)
    return None


def _repeated(table: Table) -> list[Part]:
    """The same headings repeated, one block per pull; each with its own engine speed or under its own title, or they are columns of one pull."""
    first = table.headers.index(repeated[0]) if (repeated := _again(table.headers)) else -1
    if first < 0:
        return []
    starts = [i for i, header in enumerate(table.headers) if header == table.headers[first]]
    begin = min(first, *starts)
    blocks = [list(range(start, end)) for start, end in zip(starts, [*starts[1:], len(table.headers)], strict=True)]
    if not all(any(_is_curve(table.headers[i]) for i in block) for block in blocks):
        return []
    titles = [_title(table.above, block) for block in blocks]
    if "" in titles and not all(any(score("rpm", table.headers[i]) >= 2 for i in block) for block in blocks):
        return []
    numbers = [_number_in(title) for title in titles]
    told = len(set(numbers)) == len(numbers) and None not in numbers
    return [
        Part(_columns(table, [*range(begin), *block]), numbers[i] if told else None, titles[i] or f"pull {i + 1}")
        for i, block in enumerate(blocks)
    ]


def _again(headers: Sequence[str]) -> list[str]:
    """Headings that occur more than once, in the order of the first block."""
    return [header for header in dict.fromkeys(headers) if header and list(headers).count(header) > 1]


def _title(above: Sequence[Sequence[str]], block: Sequence[int]) -> str:
    """The title above a block of columns, from the nearest row with one cell over this block; "" for none."""
    for row in reversed(above):
        over = [row[i] for i in block if i < len(row) and row[i]]
        if len(over) == 1 and sum(bool(cell) for cell in row) > 1:
            return over[0]
    return ""


def _columns(table: Table, keep: Sequence[int], strip: int | None = None) -> Table:
    """The table with these columns, without rows that have fewer than two numbers in them; strip: the number to remove from the headings."""
    numbers = table.numbers[:, keep]
    numbers = numbers[np.isfinite(numbers).sum(axis=1) >= 2]
    headers = [table.headers[i] for i in keep]
    if strip is not None:
        headers = [_without(header, strip) if _heading_number(header) == strip else header for header in headers]
    return replace(
        table,
        headers=tuple(headers),
        units_row=None
        if table.units_row is None
        else tuple(table.units_row[i] if i < len(table.units_row) else "" for i in keep),
        numbers=numbers,
    )


def _without(header: str, number: int) -> str:
    """A heading without its running number and the word before it."""
    left = re.sub(rf"(?i)(?:(?:run|pull)[\s_.#:-]*)?(?<!\d){number}(?!\d)", " ", header, count=1)
    return " ".join(left.split()).strip("_-#.: ")
