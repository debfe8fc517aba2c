"""The layout of the wall sheet in millimetres.

* Letters are as large as fits, between capitals of 16 and of 22 minutes of arc at arm's length (``label_rules.csv``).
  What fits on no page at the smaller size is refused; the error names the papers that would fit.
* Cautions that need not be on the first page (``label_wall.csv``) go to a second one where there is no room, from the
  end of that list. None is left out.
* Each text is translated with ``speak`` before it is measured.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import NamedTuple

from feedcalc import published
from feedcalc.contract.figures import Shown
from feedcalc.sheets.paper.label import NOT_FOR_FOOD, printable
from feedcalc.sheets.paper.typesetting import HEADING, Column, TextRun, label_rule, largest_layout
from feedcalc.sheets.paper.wall import Rung, WallSheet, wall_sizes
from feedcalc.words.errors import InputError
from feedcalc.words.messages import Speak, said, said_in

MARGIN = 8.0
_STEP = 0.1
_BETWEEN_COLUMNS = 6.0
# Widths as fractions: the left column of the page, the bucket of its column, and where the cells of the ladder begin.
_LEFT_SHARE = 0.66
_VESSEL_SHARE = 0.3
_CELL_STARTS = (0.0, 0.24, 0.42, 0.62)
_LADDER_HEAD = said("How far to dilute: pH, alkalinity in mg/L as CaCO₃, and the most tender plants that can take it")


@dataclass(frozen=True, slots=True)
class WallPaper:
    """A wall sheet ready to draw, in mm.

    ``boxes`` are squares to tick (left, top, side), ``rules`` the lines above and below the chosen dilution (left, y,
    right), ``bands`` the layers in the bucket (name, left, top, width, height), ``vessel`` its outline (left, top,
    width, bottom), ``leaders`` the lines from a level to its text. ``left_out`` are the cautions of the second page.
    """

    size: str
    width: float
    height: float
    title: str
    words: tuple[TextRun, ...]
    rules: tuple[tuple[float, float, float], ...]
    boxes: tuple[tuple[float, float, float], ...]
    symbol: tuple[float, float, float] | None
    bands: tuple[tuple[str, float, float, float, float], ...]
    vessel: tuple[float, float, float, float] | None
    leaders: tuple[tuple[float, float, float, float], ...]
    text_size: float
    left_out: tuple[str, ...]


def wall_text_sizes() -> tuple[float, float]:
    """Return the smallest and the largest text size in mm, from the height of a capital at arm's length.

    >>> tuple(round(size, 2) for size in wall_text_sizes())
    (4.06, 5.58)
    """

    def text_size(minutes_of_arc: float) -> float:
        capital = label_rule("arm_length") * 1000 * math.tan(math.radians(minutes_of_arc / 60))
        return capital / label_rule("capital_height")

    return text_size(label_rule("capital_least")), text_size(label_rule("capital_wanted"))


def wall_paper_of(wall: WallSheet, size: str, speak: Speak = str) -> WallPaper:
    """Return ``wall`` laid out on one page. Raises `InputError` for an unknown paper and for one that is too small."""
    wanted = next((name for name in wall_sizes() if name.casefold() == size.strip().casefold()), None)
    if wanted is None:
        problem = said("There is no such paper for the wall.")
        raise InputError("wall.size", printable(size)[:60], problem, ", ".join(wall_sizes()))
    paper = _largest_paper(wall, wanted, speak)
    if paper is None:
        smallest, optional = wall_text_sizes()[0], _optional(wall)
        fitting = [
            name
            for name in wall_sizes()
            if _WallLayout(wall, *_dimensions(name), smallest, left_out=optional, speak=speak).fits
        ]
        problem = said("On this paper the letters would be too small to read at arm's length.")
        raise InputError("wall.size", size, problem, ", ".join(fitting) or said("fewer cans, a shorter name"))
    return paper


def more_cautions_of(wall: WallSheet, paper: WallPaper, speak: Speak = str) -> WallPaper | None:
    """Return the second page, with the cautions that found no room on the first; None where all did."""
    if not paper.left_out:
        return None
    steps = [(step.do, [text for id_, text in step.cautions if id_ in paper.left_out]) for step in wall.steps]
    steps.append((NOT_FOR_FOOD, [text for id_, text in wall.always if id_ in paper.left_out]))
    column = Column(MARGIN, MARGIN, paper.width - MARGIN, paper.text_size)
    column.paragraph([(speak(wall.title), True), (wall.batch, False)], HEADING)
    if wall.hazard.signal_word:
        column.paragraph([(speak(wall.hazard.signal_word).upper(), True)], HEADING)
    column.paragraph([(speak(said_in("heading", "More cautions")), True)], HEADING)
    for do, texts in steps:
        if texts:
            column.paragraph([(speak(do), True)])
            for text in texts:
                column.paragraph([("!", True), (speak(text), False)], indent=paper.text_size * 1.5)
            column.space(0.1)
    parts = column.all_parts()
    return replace(
        paper,
        words=tuple(run for part in parts for run in part.runs),
        rules=(),
        boxes=(),
        symbol=None,
        bands=(),
        vessel=None,
        leaders=(),
        left_out=(),
    )


def _dimensions(paper: str) -> tuple[float, float]:
    row = published.row("label_papers", paper)
    return float(row["width_mm"]), float(row["height_mm"])


def _optional(wall: WallSheet) -> tuple[str, ...]:
    """Return the ids of the cautions of this sheet that may be left out, in that order."""
    present = {id_ for step in wall.steps for id_, _ in step.cautions} | {id_ for id_, _ in wall.always}
    rows = [row for row in published.table("label_wall") if row["need"] == "room" and row["caution"] in present]
    return tuple(row["caution"] for row in reversed(rows))


def _largest_paper(wall: WallSheet, size: str, speak: Speak) -> WallPaper | None:
    """Return the sheet with the fewest cautions left out, in the largest letters; None if it does not fit at all."""
    smallest, largest = wall_text_sizes()
    text_sizes = [smallest + step * _STEP for step in range(int((largest - smallest) / _STEP) + 1)]
    optional = _optional(wall)
    for count in range(len(optional) + 1):
        left_out = optional[:count]
        layout = largest_layout(
            partial(_WallLayout, wall, *_dimensions(size), left_out=left_out, speak=speak), text_sizes
        )
        if layout:
            return layout.paper(size, left_out)
    return None


class _Bucket(NamedTuple):
    """The drawing of the bucket; see `WallPaper`."""

    bands: tuple[tuple[str, float, float, float, float], ...]
    vessel: tuple[float, float, float, float]
    leaders: tuple[tuple[float, float, float, float], ...]


class _WallLayout:
    """The layout at one text size: head, steps beside bucket and ladder, foot; ``fits`` says whether it is inside."""

    def __init__(
        self, wall: WallSheet, width: float, height: float, text_size: float, *, left_out: Collection[str], speak: Speak
    ) -> None:
        self.wall, self.width, self.height, self.text_size = wall, width, height, text_size
        self.left_out, self.speak = left_out, speak
        self.boxes: list[tuple[float, float, float]] = []
        self.symbol: tuple[float, float, float] | None = None
        right_edge, split = width - MARGIN, MARGIN + (width - 2 * MARGIN) * _LEFT_SHARE
        head = Column(MARGIN, MARGIN, right_edge, text_size)
        self._set_head(head)
        left = Column(MARGIN, head.y, split, text_size)
        self._set_steps(left)
        right = Column(split + _BETWEEN_COLUMNS, head.y, right_edge, text_size)
        self.bucket = _set_bucket(right, wall, speak)
        _set_ladder(right, wall.ladder, speak)
        # First aid goes below the ladder if the steps reach further down, else across the foot.
        is_aid_beside = right.y < left.y
        if is_aid_beside:
            self._set_first_aid(right)
        foot = Column(MARGIN, max(left.y, right.y), right_edge, text_size)
        if not is_aid_beside:
            self._set_first_aid(foot)
        always = [(sentence, False) for sentence in self._cautions(wall.always)]
        foot.paragraph([(speak(NOT_FOR_FOOD), True), *always])
        self.columns = [part for column in (head, left, right, foot) for part in column.all_parts()]
        self.fits = foot.bottom <= height - MARGIN and not any(column.too_wide for column in self.columns)

    def paper(self, size: str, left_out: Sequence[str]) -> WallPaper:
        """Return the sheet to draw."""
        return WallPaper(
            size=size,
            width=self.width,
            height=self.height,
            title=self.speak(self.wall.title),
            words=tuple(run for column in self.columns for run in column.runs),
            rules=tuple(rule for column in self.columns for rule in column.rules),
            boxes=tuple(self.boxes),
            symbol=self.symbol,
            bands=self.bucket.bands,
            vessel=self.bucket.vessel,
            leaders=self.bucket.leaders,
            text_size=self.text_size,
            left_out=tuple(left_out),
        )

    def _set_head(self, column: Column) -> None:
        """Set title, name and danger beside the symbol."""
        wall, speak = self.wall, self.speak
        if wall.has_corrosion_symbol:
            # The rules give the side of the diamond; its diagonal is its width on paper.
            diagonal = label_rule("symbol_small") * 2**0.5
            self.symbol = (self.width - MARGIN - diagonal, MARGIN, diagonal)
            column.float_right(diagonal)
        column.paragraph([(speak(wall.title), True), (wall.batch, False)], HEADING)
        if wall.hazard.signal_word:
            column.paragraph([(speak(wall.hazard.signal_word).upper(), True)], HEADING)
        for sentence in wall.danger:
            column.paragraph([(speak(sentence), True)])
        column.clear()

    def _set_steps(self, column: Column) -> None:
        indent = self.text_size * 1.5
        for step in self.wall.steps:
            self.boxes.append((column.left, column.y + self.text_size * 0.2, self.text_size * 0.9))
            more = [(self.speak(sentence), False) for sentence in step.more]
            column.paragraph([(self.speak(step.do), True), *more], indent=indent)
            cautions = self._cautions(step.cautions)
            if cautions:
                column.paragraph([("!", True), (" ".join(cautions), False)], indent=indent)
            column.space(0.1)

    def _set_first_aid(self, column: Column) -> None:
        first_aid = [(self.speak(sentence), False) for sentence in self.wall.first_aid]
        column.paragraph([(self.speak(said_in("heading", "First aid.")), True), *first_aid])

    def _cautions(self, cautions: Sequence[tuple[str, str]]) -> list[str]:
        return [self.speak(text) for id_, text in cautions if id_ not in self.left_out]


def _set_bucket(column: Column, wall: WallSheet, speak: Speak) -> _Bucket:
    """Return the bucket, its heights to scale, with the text of each level set beside it."""
    half_line = column.text_size * 0.6
    width, height = column.width * _VESSEL_SHARE, column.width * 0.62
    top, bottom = column.y + half_line, column.y + half_line + height

    def level(metres: float) -> float:
        return bottom - metres / wall.heights["surface"] * (height - column.text_size * 0.8)

    edges = [level(wall.heights[name]) for name in ("surface", "pour_line", "sludge_top")] + [bottom]
    beside = column.part(column.left + width + column.text_size * 1.2, top - half_line, column.right)
    leaders = []
    for (_, text), edge in zip(wall.levels, edges, strict=False):
        beside.y = max(beside.y, edge - half_line)
        leaders.append((column.left + width, edge, beside.left - column.text_size * 0.2, beside.y + half_line))
        beside.paragraph([(speak(text), False)])
    column.y = max(bottom, beside.y) + half_line
    return _Bucket(
        bands=tuple(
            (name, column.left, edges[place], width, edges[place + 1] - edges[place])
            for place, name in enumerate(("liquor", "guard", "sludge"))
        ),
        vessel=(column.left, top, width, bottom),
        leaders=tuple(leaders),
    )


def _set_ladder(column: Column, ladder: Sequence[Rung], speak: Speak) -> None:
    """Set a row of cells for each dilution; a cell too narrow for its text has several lines."""
    column.paragraph([(speak(_LADDER_HEAD), True)])
    for rung in ladder:
        cells = (f"1:{rung.parts.text}", rung.ph.text, _without_unit(rung.alkalinity), speak(rung.suits))
        row_bottom = column.y
        for place, text in enumerate(cells):
            is_last = place + 1 == len(cells)
            right = column.width if is_last else _CELL_STARTS[place + 1] * column.width - column.text_size * 0.3
            cell = column.part(column.left + _CELL_STARTS[place] * column.width, column.y, column.left + right)
            cell.paragraph([(text, rung.chosen)])
            row_bottom = max(row_bottom, cell.y)
        if rung.chosen:
            column.rules.append((column.left, column.y, column.right))
            column.rules.append((column.left, row_bottom, column.right))
        column.y = row_bottom
    column.space(0.3)


def _without_unit(shown: Shown) -> str:
    """Return the number alone; the head of the ladder has the unit."""
    return shown.text.removesuffix(shown.unit).strip() if shown.unit else shown.text
