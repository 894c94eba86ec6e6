"""Spreadsheet files (.xlsx) as tables, one per sheet. openpyxl reads them; it is an extra, because text files need no library."""

import datetime
import struct
import zipfile
import zlib
from pathlib import Path

from hotfuel.errors import InputError
from hotfuel.files import refuse_pipe
from hotfuel.study.power import delimited
from hotfuel.study.power.delimited import Table

_MOST_ROWS = 200_000
# Raised for a damaged archive, damaged XML in it (SyntaxError), or XML that is not a spreadsheet's; RuntimeError: for one with a password.
_DAMAGE = (zipfile.BadZipFile, zlib.error, struct.error, EOFError, LookupError, ValueError, TypeError, AttributeError, SyntaxError, ArithmeticError,
           RuntimeError)  # fmt: skip


def is_workbook(path: Path) -> bool:
    """Whether the file is a spreadsheet, by its name or its first bytes (a zip archive)."""
    if path.suffix.casefold() in (".xlsx", ".xlsm"):
        return True
    refuse_pipe(path)
    try:
        with open(path, "rb") as file:
            return file.read(4) == b"PK\x03\x04"
    except OSError:
        return False


def read(path: Path) -> list[Table]:
    """The tables of a workbook's sheets, in their order; sheets without a table of numbers are left out.

    Raises InputError, one sentence that begins with the file's name: no openpyxl, no workbook, no sheet with a table.
    """
    try:
        from openpyxl import load_workbook
        from openpyxl.utils.exceptions import InvalidFileException
    except ImportError:
        raise InputError(
            f"{path.name} is a spreadsheet, and openpyxl, which reads it, is not installed: pip install 'hotfuel[spreadsheet]', or save it as CSV"
        ) from None
    try:
        if path.stat().st_size > delimited.MOST_BYTES:
            raise InputError(
                f"{path.name} has more than {delimited.MOST_BYTES // 1_000_000} MB, which is too large for a file of pulls: export the pulls alone"
            )
        book = load_workbook(path, read_only=True, data_only=True)
    except OSError as error:
        raise InputError(f"{path.name} cannot be read ({error.strerror}): give the path of a file of pulls") from None
    except (InvalidFileException, *_DAMAGE):
        raise InputError(f"{path.name} is not an .xlsx spreadsheet: save it as .xlsx or CSV") from None
    found: list[Table] = []
    problems: list[InputError] = []
    for sheet in book.worksheets:
        try:
            rows = [[_text(cell) for cell in row] for row in sheet.iter_rows(max_row=_MOST_ROWS, values_only=True)]
            table = delimited.of_rows([_cut(row) for row in rows if any(row)], f'{path.name}, sheet "{sheet.title}",')
        except InputError as error:
            problems.append(error)
            continue
        except _DAMAGE:
            problems.append(InputError(f'{path.name}, sheet "{sheet.title}", is damaged: save the file again'))
            continue
        found.append(Table(table.headers, table.units_row, table.numbers, table.remarks, table.above, sheet.title))
    book.close()
    if not found:
        raise problems[0] if problems else InputError(f"{path.name} has no sheet: give a file of pulls")
    return found


def _text(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, datetime.datetime):
        return cell.isoformat(" ", "seconds")
    return str(cell).strip()


def _cut(row: list[str]) -> list[str]:
    """The row without empty cells at its end: sheets are as wide as their widest row."""
    while row and not row[-1]:
        row = row[:-1]
    return row
