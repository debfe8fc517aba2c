"""Read the options for printing: the group ``label`` or ``wall`` of a request.

* Every option may be left out. All faults are reported together, each with its field.
* Rows, columns, margins and gaps are those of the grower's own sheets, as text with units. No brand of sheet is known.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from feedcalc import published
from feedcalc.contract.numbers import read_number
from feedcalc.contract.quantities import read_quantity
from feedcalc.frozen import frozen
from feedcalc.sheets.paper.grid import Grid
from feedcalc.sheets.paper.label import has_hidden_characters, printable
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.messages import any_of, said, said_in

MAX_COLUMNS, MAX_ROWS, MAX_COPIES = 20, 50, 500
LABEL_FIELDS = ("of", "size", "name", "address", "paper", "grid", "margin", "gap", "start", "copies", "cut_marks")
WALL_FIELDS = ("size", "name")
_FIELDS_OF_GRID = ("paper", "margin", "gap", "start", "cut_marks")
_MIN_MARGIN_FOR_MARKS = 2.0
HIDDEN = said("This name holds characters that can't be seen, or that turn the direction of reading.")
_YES = {"yes": True, "no": False}


@frozen
class LabelOptions:
    """Whether to print on a label of ``size``, or into the cells of ``grid`` beginning with ``start`` (from 0)."""

    size: str
    name: str
    address: str
    grid: Grid | None
    start: int
    copies: int
    cut_marks: bool
    is_of_can: bool = False


@frozen
class WallOptions:
    """The paper of the wall sheet and the name of the batch."""

    size: str
    name: str


def label_options(group: object, locale: str) -> LabelOptions:
    """Return the options for labels. Raises `InputErrors`.

    >>> options = label_options({"grid": "2 x 3", "margin": "1 cm; 5 mm", "start": 4}, "en-GB")
    >>> options.grid.paper, options.grid.cell, options.start
    ('A4', (100.0, 92.33333333333333), 3)
    """
    reader = _LabelReader("label", group, '{"size": "A6"}', locale)
    options = reader.options()
    reader.finish()
    return options


def wall_options(group: object) -> WallOptions:
    """Return the options for the wall sheet. Raises `InputErrors`."""
    reader = _GroupReader("wall", group, '{"size": "A4"}')
    for name, value in reader.group.items():
        if name not in WALL_FIELDS:
            reader.unknown(name, WALL_FIELDS, name=printable(name))
        elif not isinstance(value, str):
            reader.not_text(name)
        elif name == "name" and has_hidden_characters(value):
            reader.fault(name, HIDDEN, said("a name in letters, numbers and signs"))
    reader.finish()
    return WallOptions(reader.group.get("size") or "A4", reader.group.get("name", ""))


class _GroupReader:
    """Reads the fields of a group and collects the faults."""

    def __init__(self, name: str, group: object, example: str) -> None:
        if not isinstance(group, Mapping):
            raise InputErrors([InputError(name, group, said("This is not a group of fields."), example)])
        self.name = name
        self.group: Mapping[str, Any] = group
        self.errors: list[InputError] = []

    def fault(self, field: str, problem: str, accepted: str, *, name: str | None = None) -> None:
        """Note what is wrong with the value of a field, which the error calls ``name`` if that is given."""
        path = f"{self.name}.{(field if name is None else name)[:40]}"
        self.errors.append(InputError(path, printable(str(self.group[field]))[:60], problem, accepted))

    def unknown(self, field: str, known: tuple[str, ...], *, name: str | None = None) -> None:
        """Note that there is no such field."""
        self.fault(field, said("There is no such field."), any_of(known), name=name)

    def not_text(self, field: str) -> None:
        """Note that a field is not text."""
        self.fault(field, said("This is not text."), said("text in quotation marks"))

    def finish(self) -> None:
        """Raise `InputErrors` if there were faults."""
        if self.errors:
            raise InputErrors(self.errors)


class _LabelReader(_GroupReader):
    """Reads the options for labels."""

    def __init__(self, name: str, group: object, example: str, locale: str) -> None:
        super().__init__(name, group, example)
        self.locale = locale

    def options(self) -> LabelOptions:
        """Return the options; where there are faults, with a usual value in the place of each."""
        for field, value in self.group.items():
            if field not in LABEL_FIELDS and value not in (None, ""):
                self.unknown(field, LABEL_FIELDS)
        grid = self._grid() if self._given("grid") else None
        if not self._given("grid"):
            for field in filter(self._given, _FIELDS_OF_GRID):
                self.fault(field, said("This belongs to a sheet of many labels."), said("a grid such as 2 x 3"))
        options = LabelOptions(
            start=self._count("start", grid.columns * grid.rows if grid else 1) - 1,
            size=self._text("size") or "A6",
            name=self._name(),
            is_of_can=self._is_of_can(),
            address=self._text("address"),
            grid=grid,
            copies=self._count("copies", MAX_COPIES),
            cut_marks=self._is_yes("cut_marks"),
        )
        if grid and options.cut_marks and min(grid.margins) < _MIN_MARGIN_FOR_MARKS:
            problem = said("The margins have no room for marks to cut along.")
            self.fault("cut_marks", problem, said("margins of 2 mm or more"))
        return options

    def _given(self, field: str) -> bool:
        return self.group.get(field) not in (None, "")

    def _text(self, field: str) -> str:
        value = self.group.get(field)
        if value is None or isinstance(value, str):
            return value or ""
        self.not_text(field)
        return ""

    def _name(self) -> str:
        name = self._text("name")
        if has_hidden_characters(name):
            self.fault("name", HIDDEN, said("a name in letters, numbers and signs"))
        return name

    def _is_of_can(self) -> bool:
        """Return whether the label is for a can of diluted feed, not for the bottle of liquor."""
        value = self._text("of").strip().casefold() or "bottle"
        if value not in ("bottle", "can"):
            self.fault("of", said("This is not one of the choices."), "bottle, can")
        return value == "can"

    def _is_yes(self, field: str) -> bool:
        value = self.group.get(field)
        if value in (None, "", False):
            return False
        if value is True or (isinstance(value, str) and value.casefold() in _YES):
            return value is True or _YES[value.casefold()]
        self.fault(field, said("This is neither yes nor no."), "yes, no")
        return False

    def _count(self, field: str, most: int) -> int:
        if not self._given(field):
            return 1
        try:
            number = read_number(self.group[field], f"label.{field}", self.locale)
        except InputError as error:
            self.errors.append(error)
            return 1
        if number != int(number) or not 1 <= number <= most:
            problem = said("This is not a whole number from 1 to {most}.", most=most)
            self.fault(field, problem, said_in("range of a figure", "1 to {most}", most=most))
            return 1
        return int(number)

    def _lengths(self, field: str, usual: str) -> list[float]:
        """Return the lengths in mm of a text that holds them with semicolons between."""
        text = self.group.get(field) if self._given(field) else usual
        try:
            return [self._millimetres(part, field) for part in (text.split(";") if isinstance(text, str) else [text])]
        except InputError as error:
            self.errors.append(error)
            return [0.0]

    def _millimetres(self, text: object, field: str, minimum: float = 0.0, maximum: float = 0.2) -> float:
        """Return a length in mm; the bounds are in metres."""
        path = f"label.{field}"
        return read_quantity(text, "length", path, self.locale, minimum=minimum, maximum=maximum).value * 1000

    def _paper(self) -> tuple[str, float, float] | None:
        """Return name, width and height of the sheet's paper."""
        text = self._text("paper") or "A4"
        rows = published.table("label_papers")
        for row in rows:
            if row["paper"].casefold() == text.strip().casefold():
                return row["paper"], float(row["width_mm"]), float(row["height_mm"])
        sides = re.split(r"\s*[x×]\s*", text.strip(), flags=re.IGNORECASE)
        try:
            if len(sides) == 2:
                width, height = (self._millimetres(side, "paper", 0.03, 1.2) for side in sides)
                return printable(text), width, height
        except InputError as error:
            self.errors.append(error)
            return None
        names = any_of(row["paper"] for row in rows)
        self.fault("paper", said("There is no such paper."), f"{names}, 210 mm x 297 mm")
        return None

    def _grid(self) -> Grid | None:
        shape = self._columns_and_rows()
        if shape is None:
            return None
        paper, margins, gaps = self._paper(), self._lengths("margin", "10 mm"), self._lengths("gap", "0 mm")
        if len(margins) not in (1, 2, 4):
            problem = said("Margins are one length, two (top and sides) or four.")
            self.fault("margin", problem, said("10 mm; 15 mm; 5 mm or 15 mm; 5 mm; 15 mm; 5 mm"))
            return None
        if len(gaps) > 2:
            problem = said("Gaps are one length, or two: between columns and between rows.")
            self.fault("gap", problem, said("3 mm or 3 mm; 0 mm"))
            return None
        if paper is None:
            return None
        order = {1: (0, 0, 0, 0), 2: (0, 1, 0, 1), 4: (0, 1, 2, 3)}[len(margins)]
        top, right, bottom, left = (margins[at] for at in order)
        grid = Grid(*paper, *shape, margins=(top, right, bottom, left), gaps=(gaps[0], gaps[-1]))
        if min(grid.cell) <= 0:
            self._grid_fault(said("Margins and gaps leave no room for labels."))
            return None
        return grid

    def _columns_and_rows(self) -> tuple[int, int] | None:
        counts = re.fullmatch(r"\s*(\d{1,3})\s*[x×*]\s*(\d{1,3})\s*", str(self.group["grid"]), re.IGNORECASE)
        if not counts:
            self._grid_fault(said("This is not a number of columns by a number of rows."))
            return None
        columns, rows = int(counts[1]), int(counts[2])
        if not (1 <= columns <= MAX_COLUMNS and 1 <= rows <= MAX_ROWS):
            problem = said("This is more than {columns} by {rows}, or nothing.", columns=MAX_COLUMNS, rows=MAX_ROWS)
            self._grid_fault(problem)
            return None
        return columns, rows

    def _grid_fault(self, problem: str) -> None:
        self.fault("grid", problem, said("columns x rows, such as 2 x 3"))
