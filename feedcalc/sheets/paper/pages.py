"""Labels on sheets of many: which cell of which sheet each label comes into.

Rules of this room:

* Rows, columns, margins and gaps are those of the grower's own sheets, read as text with units. Nobody's brand of
  sheet is known here.
* A sheet that was used before serves again: labels begin at the cell that is named, counted along the rows.
* A label that does not go into a cell is refused, with the numbers of cells that would do.
* Whatever is printed is a tuple of `PrintedPage`; a single label is one page of its own size.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from feedcalc import published
from feedcalc.contract.numbers import read_number
from feedcalc.contract.quantities import read_quantity
from feedcalc.sheets.paper.label import Label, printable
from feedcalc.sheets.paper.layout import Paper, holds, paper_in, paper_of
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.messages import Speak, said

MOST_COLUMNS, MOST_ROWS, MOST_COPIES, MOST_LABELS = 20, 50, 500, 1000
LEAST_MARGIN_FOR_MARKS = 2.0
_MARK = 4.0
_NARROWEST_CELL = 20.0  # mm, below which no bottle's cautions go in letters that are large enough
PRINT_FIELDS = ("size", "name", "address", "paper", "grid", "margin", "gap", "start", "copies", "cut_marks")
_YES = {"yes": True, "no": False}


@dataclass(frozen=True, slots=True)
class PrintedPage:
    """Labels on one piece of paper, in mm: each with its left and top; ``marks`` are lines to cut along, end to end."""

    width: float
    height: float
    placed: tuple[tuple[float, float, Paper], ...]
    marks: tuple[tuple[float, float, float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Grid:
    """The cells of a sheet, in mm: ``margins`` top, right, bottom, left; ``gaps`` between columns and between rows."""

    paper: str
    width: float
    height: float
    columns: int
    rows: int
    margins: tuple[float, float, float, float]
    gaps: tuple[float, float]

    @property
    def cell(self) -> tuple[float, float]:
        """Width and height of a cell; not above zero where margins and gaps leave nothing."""
        top, right, bottom, left = self.margins
        return (
            (self.width - left - right - (self.columns - 1) * self.gaps[0]) / self.columns,
            (self.height - top - bottom - (self.rows - 1) * self.gaps[1]) / self.rows,
        )

    def corner(self, place: int) -> tuple[float, float]:
        """Left and top of the cell that comes ``place`` after the first, along the rows."""
        width, height = self.cell
        row, column = divmod(place, self.columns)
        return self.margins[3] + column * (width + self.gaps[0]), self.margins[0] + row * (height + self.gaps[1])

    def marks(self) -> tuple[tuple[float, float, float, float], ...]:
        """Short lines in the margins, in the line of every edge of a cell."""
        (width, height), (top, right, bottom, left) = self.cell, self.margins
        across = sorted({x + edge for x in (self.corner(c)[0] for c in range(self.columns)) for edge in (0, width)})
        down = sorted(
            {y + edge for y in (self.corner(r * self.columns)[1] for r in range(self.rows)) for edge in (0, height)}
        )
        above, below = min(_MARK, top * 0.8), min(_MARK, bottom * 0.8)
        before, behind = min(_MARK, left * 0.8), min(_MARK, right * 0.8)
        far, low = self.width - right, self.height - bottom
        return (
            *((x, top - above, x, top - above * 0.2) for x in across),
            *((x, low + below * 0.2, x, low + below) for x in across),
            *((left - before, y, left - before * 0.2, y) for y in down),
            *((far + behind * 0.2, y, far + behind, y) for y in down),
        )


@dataclass(frozen=True, slots=True)
class Wish:
    """What is to be printed: on one label of ``size``, or on the cells of ``grid`` from ``start`` (0 is the first)."""

    size: str
    name: str
    address: str
    grid: Grid | None
    start: int
    copies: int
    cut_marks: bool


def wish_of(group: object, locale: str) -> Wish:
    """The group ``label`` of a request, read; every field may be left out. Raises `InputErrors`.

    >>> wish = wish_of({"grid": "2 x 3", "margin": "1 cm; 5 mm", "start": 4}, "en-GB")
    >>> wish.grid.paper, wish.grid.cell, wish.start
    ('A4', (100.0, 92.33333333333333), 3)
    """
    if not isinstance(group, Mapping):
        raise InputErrors([InputError("label", group, said("This is not a group of fields."), '{"size": "A6"}')])
    return _WishReader(group, locale).wish()


class _WishReader:
    """One pass over the group, gathering faults."""

    def __init__(self, group: Mapping[str, Any], locale: str) -> None:
        self.group, self.locale = group, locale
        self.errors: list[InputError] = []

    def wish(self) -> Wish:
        for name, value in self.group.items():
            if name not in PRINT_FIELDS and value not in (None, ""):
                self._fault(str(name)[:40], value, said("There is no such field."), ", ".join(PRINT_FIELDS))
        grid = self._grid() if self._given("grid") else None
        if grid is None and not self._given("grid"):
            for name in ("paper", "margin", "gap", "start", "cut_marks"):
                if self._given(name):
                    self._fault(
                        name,
                        self.group[name],
                        said("This belongs to a sheet of many labels."),
                        said("a grid such as 2 x 3"),
                    )
        cells = grid.columns * grid.rows if grid else 1
        start = self._count("start", cells)
        wish = Wish(
            self._text("size") or "A6",
            self._text("name"),
            self._text("address"),
            grid,
            start - 1,
            self._count("copies", MOST_COPIES),
            self._is_yes("cut_marks"),
        )
        if grid and wish.cut_marks and min(grid.margins) < LEAST_MARGIN_FOR_MARKS:
            self._fault(
                "cut_marks",
                self.group["cut_marks"],
                said("The margins have no room for marks to cut along."),
                said("margins of 2 mm or more"),
            )
        if self.errors:
            raise InputErrors(self.errors)
        return wish

    def _given(self, name: str) -> bool:
        return self.group.get(name) not in (None, "")

    def _fault(self, name: str, given: object, problem: str, accepted: str) -> None:
        self.errors.append(InputError(f"label.{name}", printable(str(given))[:60], problem, accepted))

    def _text(self, name: str) -> str:
        value = self.group.get(name)
        if value is None or isinstance(value, str):
            return value or ""
        self._fault(name, value, said("This is not text."), said("text in quotation marks"))
        return ""

    def _is_yes(self, name: str) -> bool:
        value = self.group.get(name)
        if value in (None, "", False):
            return False
        if value is True or (isinstance(value, str) and value.casefold() in _YES):
            return value is True or _YES[value.casefold()]
        self._fault(name, value, said("This is neither yes nor no."), "yes, no")
        return False

    def _count(self, name: str, most: int) -> int:
        if not self._given(name):
            return 1
        given = self.group[name]
        try:
            number = read_number(given, f"label.{name}", self.locale)
        except InputError as error:
            self.errors.append(error)
            return 1
        if number != int(number) or not 1 <= number <= most:
            self._fault(
                name,
                given,
                said("This is not a whole number from 1 to {most}.", most=most),
                said("1 to {most}", most=most),
            )
            return 1
        return int(number)

    def _lengths(self, name: str, usual: str, most: float) -> list[float]:
        """Millimetres of each length in a text with semicolons between."""
        text = self.group.get(name) if self._given(name) else usual
        try:
            parts = text.split(";") if isinstance(text, str) else [text]
            return [
                read_quantity(part, "length", f"label.{name}", self.locale, minimum=0.0, maximum=most / 1000).value
                * 1000
                for part in parts
            ]
        except InputError as error:
            self.errors.append(error)
            return [0.0]

    def _paper(self) -> tuple[str, float, float] | None:
        text = self._text("paper") or "A4"
        rows = published.table("label_papers")
        for row in rows:
            if row["paper"].casefold() == text.strip().casefold():
                return row["paper"], float(row["width_mm"]), float(row["height_mm"])
        sides = re.split(r"\s*[x×]\s*", text.strip(), flags=re.IGNORECASE)
        try:
            if len(sides) == 2:
                width, height = (
                    read_quantity(side, "length", "label.paper", self.locale, minimum=0.03, maximum=1.2).value * 1000
                    for side in sides
                )
                return printable(text), width, height
        except InputError as error:
            self.errors.append(error)
            return None
        names = ", ".join(row["paper"] for row in rows)
        self._fault("paper", text, said("There is no such paper."), f"{names}, 210 mm x 297 mm")
        return None

    def _grid(self) -> Grid | None:
        accepted = said("columns x rows, such as 2 x 3")
        counts = re.fullmatch(r"\s*(\d{1,3})\s*[x×*]\s*(\d{1,3})\s*", str(self.group["grid"]), re.IGNORECASE)
        if not counts:
            self._fault("grid", self.group["grid"], said("This is not so many columns by so many rows."), accepted)
            return None
        columns, rows = int(counts[1]), int(counts[2])
        if not (1 <= columns <= MOST_COLUMNS and 1 <= rows <= MOST_ROWS):
            problem = said("This is more than {columns} by {rows}, or nothing.", columns=MOST_COLUMNS, rows=MOST_ROWS)
            self._fault("grid", self.group["grid"], problem, accepted)
            return None
        paper = self._paper()
        margins = self._lengths("margin", "10 mm", 200.0)
        gaps = self._lengths("gap", "0 mm", 200.0)
        if len(margins) not in (1, 2, 4):
            self._fault(
                "margin",
                self.group["margin"],
                said("Margins are one length, two (top and sides) or four."),
                said("10 mm; 15 mm; 5 mm or 15 mm; 5 mm; 15 mm; 5 mm"),
            )
            return None
        if len(gaps) > 2:
            self._fault(
                "gap",
                self.group["gap"],
                said("Gaps are one length, or two: between columns and between rows."),
                said("3 mm or 3 mm; 0 mm"),
            )
            return None
        if paper is None:
            return None
        four = {1: (0, 0, 0, 0), 2: (0, 1, 0, 1), 4: (0, 1, 2, 3)}[len(margins)]
        top, right, bottom, left = (margins[at] for at in four)
        grid = Grid(*paper, columns, rows, (top, right, bottom, left), (gaps[0], gaps[-1]))
        if min(grid.cell) <= 0:
            self._fault("grid", self.group["grid"], said("Margins and gaps leave no room for labels."), accepted)
            return None
        return grid


def pages_of(labels: Sequence[tuple[Label, str]], wish: Wish, speak: Speak = str) -> tuple[PrintedPage, ...]:
    """The pages that hold every label, given with its link, as many times as is wished. Raises `InputError`."""
    if len(labels) * wish.copies > MOST_LABELS:
        problem = said("This is more than {most} labels.", most=MOST_LABELS)
        raise InputError("label.copies", str(wish.copies), problem, said("fewer copies, or fewer batches"))
    if wish.grid is None:
        papers = [paper_of(label, wish.size, link, speak) for label, link in labels]
        return tuple(
            PrintedPage(paper.width, paper.height, ((0.0, 0.0, paper),)) for paper in papers for _ in range(wish.copies)
        )
    grid = wish.grid
    fitted = [_in_cell(label, link, grid, speak) for label, link in labels]
    papers = [paper for paper in fitted for _ in range(wish.copies)]
    cells = grid.columns * grid.rows
    places = range(wish.start, wish.start + len(papers))
    return tuple(
        PrintedPage(
            grid.width,
            grid.height,
            tuple(
                (*grid.corner(place % cells), papers[place - wish.start]) for place in places if place // cells == sheet
            ),
            grid.marks() if wish.cut_marks else (),
        )
        for sheet in range(places[-1] // cells + 1)
    )


def _in_cell(label: Label, link: str, grid: Grid, speak: Speak) -> Paper:
    paper = paper_in(label, f"{grid.columns} x {grid.rows}, {grid.paper}", *grid.cell, link, speak)
    if paper is not None:
        return paper
    width, height = grid.cell
    problem = said(
        "A cell of {width} by {height} mm can't hold the cautions that the bottle must carry.",
        width=f"{width:.0f}",
        height=f"{height:.0f}",
    )
    fitting = _grids_that_would_do(label, grid, speak)
    raise InputError(
        "label.grid",
        f"{grid.columns} x {grid.rows}",
        problem,
        ", ".join(fitting) or said("larger paper, a shorter name"),
    )


def _grids_that_would_do(label: Label, grid: Grid, speak: Speak) -> list[str]:
    """Columns by rows on the same paper, most cells first, for each number of columns that can do at all."""
    found = []
    for columns in range(1, MOST_COLUMNS + 1):

        def cell(rows: int, columns: int = columns) -> tuple[float, float]:
            return replace(grid, columns=columns, rows=rows).cell

        if cell(1)[0] < _NARROWEST_CELL:
            break
        # What goes into a cell goes into a higher one, so halving finds the most rows.
        low, high = 0, MOST_ROWS + 1
        while high - low > 1:
            middle = (low + high) // 2
            if cell(middle)[1] > _NARROWEST_CELL and holds(label, *cell(middle), speak):
                low = middle
            else:
                high = middle
        if low:
            found.append((columns * low, f"{columns} x {low}"))
    return [words for _, words in sorted(found, reverse=True)]
