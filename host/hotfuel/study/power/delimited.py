"""A delimited text file of numbers of unknown layout: encoding, delimiter, decimal sign, header and units rows."""

import csv
import io
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from hotfuel.errors import InputError
from hotfuel.files import refuse_pipe
from hotfuel.study.power.remarks import Kind, Remark

MOST_BYTES = 20_000_000
_GROUPED_COMMA = re.compile(r"[-+]?\d{1,3}(,\d{3})+(\.\d*)?")
_GROUPED_POINT = re.compile(r"[-+]?\d{1,3}(\.\d{3})+(,\d*)?")
_COMMA = re.compile(r"[-+]?\d*,\d+(?:[eE][-+]?\d+)?")
_POINT = re.compile(r"[-+]?\d*\.\d+(?:[eE][-+]?\d+)?")


@dataclass(frozen=True)
class Table:
    """Headers (k,), units row (k,) or None, numbers (rows, k) with nan for empty cells, remarks on rows left out, and the rows of cells above the headers.

    label: the name of this table within its file (a sheet's name); "" for the only one.
    """

    headers: tuple[str, ...]
    units_row: tuple[str, ...] | None
    numbers: np.ndarray
    remarks: tuple[Remark, ...] = ()
    above: tuple[tuple[str, ...], ...] = ()
    label: str = ""


def read(path: Path) -> Table:
    """The table of a text file. Raises InputError, one sentence that begins with the file's name, if it is not a table of numbers."""
    refuse_pipe(path)
    try:
        raw = path.read_bytes()[: MOST_BYTES + 1]
    except OSError as error:
        raise InputError(f"{path.name} cannot be read ({error.strerror}): give the path of a file of pulls") from None
    if len(raw) > MOST_BYTES:
        raise InputError(
            f"{path.name} has more than {MOST_BYTES // 1_000_000} MB, which is too large for a file of pulls: export the pulls alone"
        )
    return parse(decode(raw, path.name), path.name)


def decode(raw: bytes, name: str) -> str:
    """The text of the bytes: by byte-order mark, else UTF-8, else Windows' western code page."""
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return raw.decode("utf-16", errors="replace")
    if b"\x00" in raw:
        raise InputError(f"{name} is not text: save the pull as CSV")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace")


def parse(text: str, name: str) -> Table:
    """The table in `text`; `name` begins every error."""
    lines = [line for line in text.splitlines() if line.strip()]
    if not lines:
        raise InputError(f"{name} is empty: give a file of pulls with engine speed and torque or power")
    rows = max((_split(lines, delimiter) for delimiter in ("\t", ";", ",", "|", "  ", " ")), key=_fit)
    return of_rows(rows, name, _decimal(rows))


def of_rows(rows: list[list[str]], name: str, decimal: str = ".") -> Table:
    """The table in rows of cells; `name` begins every error."""
    numbers = [[number(cell, decimal) for cell in row] for row in rows]
    good = [sum(np.isfinite(row)) >= 2 for row in numbers]
    if not any(good):
        raise InputError(f"{name} has no row with two numbers: give a file of pulls with engine speed and torque or power")
    first = _first_of_many(good)
    above = [i for i in range(first) if sum(bool(cell) for cell in rows[i]) >= 2]
    if not above:
        raise InputError(f"{name} has no header row above its numbers: add one that names the columns")
    header_at = above[-1]
    units_row = None
    if (
        len(above) > 1
        and above[-2] == header_at - 1
        and len(rows[above[-2]]) == len(rows[header_at])
        and _looks_like_units(rows[header_at])
    ):
        units_row, header_at = tuple(rows[header_at]), above[-2]
    headers = tuple(cell.strip() for cell in rows[header_at])
    width = len(headers)
    table: list[list[float]] = []
    repeated = skipped = 0
    for i in range(first, len(rows)):
        if good[i] and (len(rows[i]) == width or not "".join(rows[i][width:]).strip()):
            table.append((numbers[i] + [np.nan] * width)[:width])
        elif rows[i] == rows[header_at]:
            repeated += 1
        elif units_row is None or tuple(rows[i]) != units_row:
            skipped += 1
    if len(rows[first]) > width and not table:
        raise InputError(f"{name} names {width} columns in its header and has {len(rows[first])} in its rows: name each column")
    if skipped > len(table):
        raise InputError(f"{name} has {skipped} rows that are not numbers and only {len(table)} that are: export the pull again")
    remarks = [Remark(Kind.NO_NUMBERS, skipped)] if skipped else []
    remarks += [Remark(Kind.HEADERS_AGAIN)] if repeated else []
    return Table(headers, units_row, np.array(table), tuple(remarks), tuple(tuple(row) for row in rows[:header_at]))


def _first_of_many(good: list[bool]) -> int:
    """The first row of numbers that others follow: a line about the weather above the headers may also contain two numbers."""
    for i, here in enumerate(good):
        if here and sum(good[i : i + 5]) >= min(4, len(good) - i):
            return i
    return good.index(True)


def number(cell: str, decimal: str) -> float:
    """One cell as a number, nan if it is none; digits may be grouped in threes."""
    text = cell.strip().replace("\u2212", "-").replace("\u00a0", "").strip("'\"")
    if decimal == ",":
        if _GROUPED_POINT.fullmatch(text):
            text = text.replace(".", "")
        text = text.replace(",", ".")
    elif _GROUPED_COMMA.fullmatch(text):
        text = text.replace(",", "")
    try:
        value = float(text) if "_" not in text else np.nan
    except ValueError:
        return np.nan
    return value if np.isfinite(value) else np.nan


def _split(lines: list[str], delimiter: str) -> list[list[str]]:
    if not delimiter.strip(" "):  # columns separated by blanks: two or more are tried first, so that a heading may contain one
        return [re.split(rf"\s{{{len(delimiter)},}}", line.strip()) for line in lines]
    try:
        return [[cell.strip() for cell in row] for row in csv.reader(io.StringIO("\n".join(lines)), delimiter=delimiter)]
    except csv.Error:
        return [[line] for line in lines]


def _fit(rows: list[list[str]]) -> float:
    """How well this split gives a table: rows of the commonest width with at least two numbers, share of cells that are numbers; on a tie the wider wins."""
    widths = [len(row) for row in rows]
    usual = max(set(widths), key=widths.count)
    if usual < 2:
        return 0.0
    like = [row for row in rows if len(row) == usual]
    numbers = [(sum(_is_number(cell) for cell in row), sum(bool(cell.strip()) for cell in row)) for row in like]
    numeric = [(count, filled) for count, filled in numbers if count >= 2]
    share = sum(count for count, _ in numeric) / max(sum(filled for _, filled in numeric), 1)
    return len(numeric) * (0.5 + 0.5 * share) + 0.01 * min(usual, 20)


def _is_number(cell: str) -> bool:
    text = cell.strip()
    return bool(re.fullmatch(r"[-+]?[\d.,]*\d[\d.,]*(?:[eE][-+]?\d+)?", text))


def _decimal(rows: list[list[str]]) -> str:
    """ "," or ".", by the cells that can be read in only one way."""
    cells = [cell.strip() for row in rows for cell in row]
    commas = [c for c in cells if _COMMA.fullmatch(c)]
    points = [c for c in cells if _POINT.fullmatch(c)]
    sure_comma = sum(not _GROUPED_COMMA.fullmatch(c) for c in commas) + sum(
        "," in c and bool(_GROUPED_POINT.fullmatch(c)) for c in cells
    )
    sure_point = sum(not _GROUPED_POINT.fullmatch(c) for c in points) + sum(
        "." in c and bool(_GROUPED_COMMA.fullmatch(c)) for c in cells
    )
    return "," if sure_comma > sure_point else "."


def _looks_like_units(row: list[str]) -> bool:
    return all(len(cell) <= 10 and not re.search(r"[A-Za-z]{7,}", cell) for cell in row) and sum(bool(cell) for cell in row) >= 1
