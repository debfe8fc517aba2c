"""Tables of plots as spreadsheets keep them (XLSX): the first sheet read as the lines of a CSV file, plans written.

* openpyxl does the work; it is an extra of the package and loaded only for such a file.
* A line is a row of the sheet, so that what is told of a line can be found there. Formulas count by their last value.
* Nothing is written as a formula: every cell is a number or text.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator
from datetime import date, datetime, time
from importlib import import_module
from io import BufferedReader
from pathlib import Path
from typing import Any, BinaryIO

from feedcalc.command_line.plots.failures import PlanningFailed
from feedcalc.words.messages import said

ENDING = ".xlsx"
MOST_ROWS = 1_048_576  # of a sheet, by its file format (ECMA-376)
_ZIP, _OLD = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
_NUMBER = re.compile(r"-?(?:0|[1-9]\d{0,14})(?:\.\d+)?")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


def is_workbook(path: Path) -> bool:
    """Return whether a file of this name is to be written as a spreadsheet."""
    return path.suffix.lower() == ENDING


def require_workbooks() -> Any:
    """Return the package that reads and writes spreadsheets; raises `PlanningFailed` where it is not installed."""
    try:
        return import_module("openpyxl")
    except ImportError:
        raise PlanningFailed(
            said(
                "A spreadsheet file needs one more package. Install it with: pip install 'feedcalc[xlsx]', or use CSV."
            )
        ) from None


def as_csv(binary: BufferedReader, path: Path) -> BufferedReader:
    """Return an opened table as CSV: the first sheet of a spreadsheet, any other file as it is.

    Raises `PlanningFailed`, also while it is read.
    """
    start = binary.peek(4)
    if start.startswith(_OLD):
        raise PlanningFailed(
            said("{path} is a spreadsheet of an old kind. Save it as .xlsx or as CSV UTF-8.", path=str(path))
        )
    if not start.startswith(_ZIP):
        return binary
    return BufferedReader(_Lines(_csv_lines(_sheet_rows(binary, path))))


class _Lines(io.RawIOBase):
    """Lines of text as a file of bytes that is read from front to back, beginning with a byte order mark."""

    def __init__(self, lines: Iterator[str]) -> None:
        self._lines, self._ahead = lines, b"\xef\xbb\xbf"

    def readable(self) -> bool:
        """Return that this can be read."""
        return True

    def readinto(self, buffer: Any) -> int:
        """Return how many bytes were put into ``buffer``."""
        while not self._ahead:
            line = next(self._lines, None)
            if line is None:
                return 0
            self._ahead = line.encode("utf-8", "replace")
        count = min(len(buffer), len(self._ahead))
        buffer[:count] = self._ahead[:count]
        self._ahead = self._ahead[count:]
        return count


def _sheet_rows(binary: BinaryIO, path: Path) -> Iterator[tuple[object, ...]]:
    openpyxl = require_workbooks()
    try:
        sheet = openpyxl.load_workbook(binary, read_only=True, data_only=True, keep_links=False).worksheets[0]
        sheet.reset_dimensions()  # some programs write a wrong size
        yield from sheet.iter_rows(values_only=True)
    except Exception as fault:  # a damaged file fails in many ways
        name = type(fault).__name__
        problem = said(
            "{path} can't be read as a spreadsheet ({fault}). Save it as CSV UTF-8.", path=str(path), fault=name
        )
        raise PlanningFailed(problem) from None


def _csv_lines(rows: Iterable[tuple[object, ...]]) -> Iterator[str]:
    """Yield each row as a line of CSV as wide as the first, or wider where it holds more."""
    width = 0
    for row in rows:
        cells = [_text(cell) for cell in row]
        while cells and not cells[-1]:
            cells.pop()
        width = width or len(cells)
        text = io.StringIO(newline="")
        csv.writer(text, lineterminator="\n").writerow(cells + [""] * (width - len(cells)) if cells else [])
        yield text.getvalue()


def _text(cell: object) -> str:
    """Return what a cell shows, in one line.

    A number never has three decimals, which in some locales would be read as thousands.

    >>> _text(6.2), _text(1.125), _text(40.0), _text(datetime(2026, 3, 1)), _text(None), _text(True)
    ('6.2', '1.1250', '40', '2026-03-01', '', 'yes')
    """
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, int | float):
        text = f"{cell:.12g}"
        return f"{text}0" if re.fullmatch(r"-?\d+\.\d{3}", text) else text
    if isinstance(cell, datetime) and cell.time() == time():
        cell = cell.date()
    return " ".join((cell.isoformat() if isinstance(cell, date | time) else str(cell)).split())


def write_workbook(table: Path, delimiter: str, workbook: Path) -> None:
    """Write a table in CSV as a spreadsheet of one sheet; raises `PlanningFailed` and `OSError`."""
    book = require_workbooks().Workbook(write_only=True)
    sheet = book.create_sheet("plots")
    sheet.freeze_panes = "A2"
    with table.open(encoding="utf-8-sig", newline="") as text:
        for count, row in enumerate(csv.reader(text, delimiter=delimiter), start=1):
            if count > MOST_ROWS:
                raise PlanningFailed(said("A spreadsheet holds {most} rows at most. Write CSV.", most=MOST_ROWS))
            sheet.append([_cell(cell) for cell in row])
    book.save(workbook)


def _cell(text: str) -> float | str:
    """Return the value of a cell: a number where the text is one that loses nothing by it.

    >>> _cell("0.25"), _cell("12"), _cell("007"), _cell("=1+1")
    (0.25, 12.0, '007', "'=1+1")
    """
    if _NUMBER.fullmatch(text):
        return float(text)
    return _CONTROL.sub("", f"'{text}" if text.startswith("=") else text)
