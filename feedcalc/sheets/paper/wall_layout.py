"""The layout of the wall sheet in millimetres.

* Letters are as large as fits, between capitals of 16 and of 22 minutes of arc at arm's length (``label_rules.csv``).
  A head that fits on no page at the smaller size is refused; the error names the papers that would fit.
* Where there is no room, cautions that need not be on the first page (``label_wall.csv``) go to a second one, from the
  end of that list; where that is not enough, the last steps go there with all of theirs. None is left out.
* Each text is translated with ``speak`` before it is measured.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import replace
from functools import partial
from typing import NamedTuple

from feedcalc import published
from feedcalc.contract.figures import Shown
from feedcalc.frozen import frozen
from feedcalc.sheets.paper.label import NOT_FOR_FOOD, printable
from feedcalc.sheets.paper.typesetting import HEADING, Column, TextRun, label_rule, largest_layout
from feedcalc.sheets.paper.wall import Rung, WallSheet, WallStep, wall_sizes
from feedcalc.words.errors import InputError
from feedcalc.words.messages import Speak, any_of, said, said_in

MARGIN = 8.0
_STEP = 0.1
_BETWEEN_COLUMNS = 6.0
# Widths as fractions: the left column of the page, the bucket of its column, and where the cells of the ladder begin.
_LEFT_SHARE = 0.66
_VESSEL_SHARE = 0.3
_CELL_STARTS = (0.0, 0.24, 0.42, 0.62)
_LADDER_HEAD = said(
    "How far to dilute. For each strength: pH, alkalinity in mg/L as CaCO₃, and the most tender plants that can take it"
)


@frozen
class WallPaper:
    """A wall sheet ready to draw, in mm.

    ``boxes`` are squares to tick (left, top, side), ``rules`` the lines above and below the chosen dilution (left, y,
    right), ``bands`` the layers in the bucket (name, left, top, width, height), ``vessel`` its outline (left, top,
    width, bottom), ``leaders`` the lines from a level to its text. ``left_out`` are cautions of this page's steps that
    are on the next page, ``steps_left`` how many steps are there.
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
    steps_left: int = 0


def wall_text_sizes() -> tuple[float, float]:
    """Return the smallest and the largest text size in mm, from the height of a capital at arm's length.

    >>> tuple(round(size, 2) for size in wall_text_sizes())
    (4.06, 5.58)
    """

    def text_size(minutes_of_arc: float) -> float:
        capital = label_rule("arm_length") * 1000 * math.tan(math.radians(minutes_of_arc / 60))
        return capital / label_rule("capital_height")

    return text_size(label_rule("capital_least")), text_size(label_rule("capital_wanted"))


def wall_pages_of(wall: WallSheet, size: str, speak: Speak = str) -> tuple[WallPaper, ...]:
    """Return ``wall`` laid out. Raises `InputError` for an unknown paper and for one that can't hold its head."""
    wanted = next((name for name in wall_sizes() if name.casefold() == size.strip().casefold()), None)
    if wanted is None:
        problem = said("There is no such paper for the wall.")
        raise InputError("wall.size", printable(size)[:60], problem, any_of(wall_sizes()))
    first = _first_page(wall, wanted, speak)
    if first is None:
        fitting = [name for name in wall_sizes() if _first_page(wall, name, speak)]
        problem = said("On this paper the letters would be too small to read at arm's length.")
        raise InputError("wall.size", size, problem, any_of(fitting) or said("fewer cans, a shorter name"))
    return (first, *_next_pages(wall, first, speak))


def _next_pages(wall: WallSheet, first: WallPaper, speak: Speak) -> list[WallPaper]:
    """Return the pages behind the first: the cautions that found no room beside their steps, then the other steps."""
    here = len(wall.steps) - first.steps_left
    left_out = [(step.do, step.cautions) for step in wall.steps[:here]] + [(NOT_FOR_FOOD, wall.always)]
    cautions = [(do, [text for id_, text in texts if id_ in first.left_out]) for do, texts in left_out]
    blocks = [WallStep("", do, (), tuple(("", text) for text in texts)) for do, texts in cautions if texts]
    pages: list[_NextPage] = []
    for step in (*blocks, *wall.steps[here:]):
        if not pages or not pages[-1].take(step):
            pages.append(_NextPage(wall, first, speak, is_of_cautions=not step.id))
            pages[-1].take(step)
    return [page.paper() for page in pages]


class _NextPage:
    """A page that begins with the name and the signal word, and takes steps as long as they fit."""

    def __init__(self, wall: WallSheet, first: WallPaper, speak: Speak, *, is_of_cautions: bool) -> None:
        self.first, self.speak = first, speak
        self.boxes: list[tuple[float, float, float]] = []
        self.column = Column(MARGIN, MARGIN, first.width - MARGIN, first.text_size)
        self.column.paragraph([(speak(wall.title), True), (wall.batch, False)], HEADING)
        if wall.hazard.signal_word:
            self.column.paragraph([(speak(wall.hazard.signal_word).upper(), True)], HEADING)
        if is_of_cautions:
            self.column.paragraph([(speak(said_in("heading", "More cautions")), True)], HEADING)
        self.is_empty = True

    def take(self, step: WallStep) -> bool:
        """Return whether a step fits, and set it if so, with a box to tick where it has an id."""
        column, top, runs = self.column, self.column.y, len(self.column.runs)
        indent = column.text_size * 1.5
        more = [(self.speak(sentence), False) for sentence in step.more]
        column.paragraph([(self.speak(step.do), True), *more], indent=indent if step.id else 0.0)
        for _, text in step.cautions:
            column.paragraph([("!", True), (self.speak(text), False)], indent=indent)
        column.space(0.1)
        if column.bottom > self.first.height - MARGIN and not self.is_empty:
            column.y = top
            del column.runs[runs:]
            return False
        if step.id:
            self.boxes.append(_box(column, top))
        self.is_empty = False
        return True

    def paper(self) -> WallPaper:
        """Return the page to draw."""
        return replace(
            self.first,
            words=tuple(self.column.runs),
            rules=(),
            boxes=tuple(self.boxes),
            symbol=None,
            bands=(),
            vessel=None,
            leaders=(),
            left_out=(),
            steps_left=0,
        )


def _box(column: Column, top: float) -> tuple[float, float, float]:
    """Return the square to tick beside a step that begins at ``top``."""
    return column.left, top + column.text_size * 0.2, column.text_size * 0.9


def _dimensions(paper: str) -> tuple[float, float]:
    row = published.row("label_papers", paper)
    return float(row["width_mm"]), float(row["height_mm"])


def _optional(wall: WallSheet) -> tuple[str, ...]:
    """Return the ids of the cautions of this sheet that may be left out, in that order."""
    present = {id_ for step in wall.steps for id_, _ in step.cautions} | {id_ for id_, _ in wall.always}
    rows = [row for row in published.table("label_wall") if row["need"] == "room" and row["caution"] in present]
    return tuple(row["caution"] for row in reversed(rows))


def _first_page(wall: WallSheet, size: str, speak: Speak) -> WallPaper | None:
    """Return the first page with the most steps, then the most cautions, in the largest letters; None if none fits."""
    smallest, largest = wall_text_sizes()
    text_sizes = [smallest + step * _STEP for step in range(int((largest - smallest) / _STEP) + 1)]
    for steps_left in range(len(wall.steps)):
        begun = replace(wall, steps=wall.steps[: len(wall.steps) - steps_left])
        optional = _optional(begun)
        for count in range(len(optional) + 1):
            left_out = optional[:count]
            layout = largest_layout(
                partial(_WallLayout, begun, *_dimensions(size), left_out=left_out, speak=speak, goes_on=steps_left > 0),
                text_sizes,
            )
            if layout:
                return replace(layout.paper(size, left_out), steps_left=steps_left)
    return None


class _Bucket(NamedTuple):
    """The drawing of the bucket; see `WallPaper`."""

    bands: tuple[tuple[str, float, float, float, float], ...]
    vessel: tuple[float, float, float, float]
    leaders: tuple[tuple[float, float, float, float], ...]


class _WallLayout:
    """The layout at one text size: head, steps beside bucket and ladder, foot; ``fits`` says whether it is inside."""

    def __init__(
        self,
        wall: WallSheet,
        width: float,
        height: float,
        text_size: float,
        *,
        left_out: Collection[str],
        speak: Speak,
        goes_on: bool,
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
        if goes_on:
            left.paragraph([(speak(said("More steps are on the next page.")), True)])
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
        more = [(speak(said("More cautions are on the next page.")), True)] if left_out else []
        foot.paragraph([(speak(NOT_FOR_FOOD), True), *always, *more])
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
            self.boxes.append(_box(column, column.y))
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
