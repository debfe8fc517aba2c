"""The pages of labels to print: one label on each page, or many in the cells of a sheet.

* Whatever is printed is a tuple of `PrintedPage`. A single label is a page of its own size.
* A sheet that was used in part can be used again: labels begin at the cell that the options name.
* A label that does not fit into a cell is refused; the error names the numbers of cells that would fit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from feedcalc.frozen import frozen
from feedcalc.sheets.paper.grid import Grid
from feedcalc.sheets.paper.label import Label
from feedcalc.sheets.paper.layout import Paper, holds, paper_in, paper_of
from feedcalc.sheets.paper.options import MAX_COLUMNS, MAX_ROWS, LabelOptions
from feedcalc.sheets.paper.typesetting import largest_that_fits
from feedcalc.words.errors import InputError
from feedcalc.words.messages import Speak, any_of, said

MAX_LABELS = 1000
_MIN_CELL = 20.0  # mm; no smaller cell holds a bottle's cautions in letters that are large enough


@frozen
class PrintedPage:
    """Labels on one page, in mm, each with its left and top; ``marks`` are cut marks as (x, y, to x, to y)."""

    width: float
    height: float
    placed: tuple[tuple[float, float, Paper], ...]
    marks: tuple[tuple[float, float, float, float], ...] = ()


def pages_of(labels: Sequence[tuple[Label, str]], options: LabelOptions, speak: Speak = str) -> tuple[PrintedPage, ...]:
    """Return the pages with every label in as many copies as asked; each label comes with its link.

    Raises `InputError` for too many labels, and for paper that cannot hold one.
    """
    if len(labels) * options.copies > MAX_LABELS:
        problem = said("This is more than {most} labels.", most=MAX_LABELS)
        raise InputError("label.copies", str(options.copies), problem, said("fewer copies, or fewer batches"))
    grid = options.grid
    fitted = [
        paper_of(label, options.size, link, speak) if grid is None else _in_cell(label, link, grid, speak)
        for label, link in labels
    ]
    papers = [paper for paper in fitted for _ in range(options.copies)]
    if grid is None:
        return tuple(PrintedPage(paper.width, paper.height, ((0.0, 0.0, paper),)) for paper in papers)
    cells = grid.columns * grid.rows
    places = list(enumerate(papers, start=options.start))
    return tuple(
        PrintedPage(
            grid.width,
            grid.height,
            placed=tuple((*grid.corner(place % cells), paper) for place, paper in places if place // cells == page),
            marks=grid.marks() if options.cut_marks else (),
        )
        for page in range(places[-1][0] // cells + 1)
    )


def _in_cell(label: Label, link: str, grid: Grid, speak: Speak) -> Paper:
    """Return the label laid out in a cell. Raises `InputError`."""
    shape = f"{grid.columns} x {grid.rows}"
    paper = paper_in(label, f"{shape}, {grid.paper}", *grid.cell, link=link, speak=speak)
    if paper is not None:
        return paper
    width, height = grid.cell
    problem = said(
        "A cell of {width} by {height} mm can't hold the cautions that the bottle must carry.",
        width=f"{width:.0f}",
        height=f"{height:.0f}",
    )
    fitting = any_of(_fitting_grids(label, grid, speak))
    raise InputError("label.grid", shape, problem, fitting or said("larger paper, a shorter name"))


def _fitting_grids(label: Label, grid: Grid, speak: Speak) -> list[str]:
    """Return the numbers of columns and rows on the same paper that fit: the most rows for each number of columns.

    Those with most cells come first.
    """
    found = []
    for columns in range(1, MAX_COLUMNS + 1):
        if replace(grid, columns=columns, rows=1).cell[0] < _MIN_CELL:
            break

        def fits(rows: int, columns: int = columns) -> bool:
            cell = replace(grid, columns=columns, rows=rows).cell
            return cell[1] > _MIN_CELL and holds(label, *cell, speak)

        rows = largest_that_fits(fits, MAX_ROWS + 1)
        if rows:
            found.append((columns * rows, f"{columns} x {rows}"))
    return [shape for _, shape in sorted(found, reverse=True)]
