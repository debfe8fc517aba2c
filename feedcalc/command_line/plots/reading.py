"""Read a table of plots row by row: its delimiter, its header and its rows, whatever spreadsheet wrote it.

A spreadsheet file is read as the CSV that it would be saved as (`workbook`).

A row that cannot be read or does not fit the header becomes a row with a fault and never stops the others.
"""

from __future__ import annotations

import csv
import io
import re
import sys
from collections.abc import Iterator
from io import BufferedReader
from pathlib import Path

from feedcalc.command_line.plots.failures import PlanningFailed
from feedcalc.command_line.plots.workbook import as_csv
from feedcalc.frozen import frozen
from feedcalc.words.messages import said

LONGEST_CELL = 20_000
LONGEST_LINE = 1_000_000
STANDARD = Path("-")  # standard input or output
DELIMITERS = ",;\t|"


@frozen
class TableRow:
    """A row of a table: its number (1 below the header), its first line, its cells and why it can't be used, if so."""

    number: int
    line: int
    cells: tuple[str, ...]
    fault: str = ""


def delimiter_of(line: str) -> str:
    """Return the commonest of comma, semicolon, tab and bar outside the quotes of a header line.

    >>> delimiter_of('plot;"area, as told";soil_ph'), delimiter_of("plot")
    (';', ',')
    """
    bare = re.sub(r'"[^"]*"', "", line)
    return max(DELIMITERS, key=bare.count)


def size_of(binary: BufferedReader) -> int:
    """Return the number of bytes of an open table, 0 where that is not known."""
    if not binary.seekable():
        return 0
    size = binary.seek(0, io.SEEK_END)
    binary.seek(0)
    return size


def open_table(path: Path) -> BufferedReader:
    """Open a file of bytes, or read standard input; a spreadsheet opens as CSV. Raises `PlanningFailed`."""
    if path == STANDARD:
        return as_csv(BufferedReader(io.BytesIO(sys.stdin.buffer.read())), path)
    try:
        return as_csv(path.open("rb"), path)
    except OSError as reason:
        raise PlanningFailed(
            said("{path} can't be read: {reason}.", path=str(path), reason=reason.strerror or "")
        ) from None


class TableLines:
    """The lines of a file as text; ``current`` are those of the row that is being read."""

    def __init__(self, binary: BufferedReader, path: Path) -> None:
        start = binary.peek(4)
        self.has_byte_order_mark = start.startswith((b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff"))
        encoding = "utf-16" if start.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
        self._text = io.TextIOWrapper(binary, encoding, newline="")
        self._path = path
        self._peeked: str | None = None
        self.number = 0
        self.current: list[str] = []

    def first(self) -> str:
        """Return the first line, which is still returned by iteration; raises `PlanningFailed` where there is none."""
        self._peeked = self._read()
        if not self._peeked.strip():
            raise PlanningFailed(said("{path} is empty or begins with an empty line.", path=str(self._path)))
        return self._peeked

    def __iter__(self) -> TableLines:
        return self

    def __next__(self) -> str:
        line = self._peeked if self._peeked is not None else self._read()
        self._peeked = None
        if not line:
            raise StopIteration
        self.number += 1
        self.current.append(line)
        return line

    def _read(self) -> str:
        where = {"path": str(self._path), "line": self.number + 1}
        try:
            line = self._text.readline(LONGEST_LINE)
        except UnicodeDecodeError:
            problem = said("{path} is not text in UTF-8 from about line {line} on. Save it as CSV UTF-8.", **where)
            raise PlanningFailed(problem) from None
        except OSError as reason:
            raise PlanningFailed(
                said("{path} can't be read on: {reason}.", **where, reason=reason.strerror or "")
            ) from None
        if len(line) == LONGEST_LINE:
            raise PlanningFailed(said("Line {line} of {path} never ends: this is not a table.", **where))
        return line


def table_rows(lines: TableLines, delimiter: str) -> Iterator[TableRow]:
    """Yield the header as row 0, then every row; raises `PlanningFailed` where the header can't be read."""
    csv.field_size_limit(LONGEST_CELL)
    table = csv.reader(lines, delimiter=delimiter, strict=True)
    number, width = 0, None
    while True:
        lines.current.clear()
        first_line = lines.number + 1
        fault = ""
        try:
            cells = next(table)
        except StopIteration:
            return
        except csv.Error as reason:
            if width is None:
                raise PlanningFailed(said("The header can't be read: {reason}.", reason=str(reason))) from None
            fault = said("The quotation marks in this row don't match: {reason}.", reason=str(reason))
            cells = ["".join(lines.current)[:LONGEST_CELL]]
        if not any(cells):
            continue
        if width is None:
            width = len(cells)
        elif not fault and len(cells) != width:
            fault = said(
                "This row has not as many cells as the header: {count} and {width}.", count=len(cells), width=width
            )
        yield TableRow(number, first_line, tuple(cells), fault)
        number += 1
