"""The geometry of a sheet of labels: its cells and cut marks, in millimetres."""

from __future__ import annotations

from feedcalc.frozen import frozen

_MARK_LENGTH = 4.0


@frozen
class Grid:
    """The cells of a sheet: ``margins`` top, right, bottom, left; ``gaps`` between columns and between rows."""

    paper: str
    width: float
    height: float
    columns: int
    rows: int
    margins: tuple[float, float, float, float]
    gaps: tuple[float, float]

    @property
    def cell(self) -> tuple[float, float]:
        """Return width and height of a cell; zero or less if margins and gaps leave no space."""
        top, right, bottom, left = self.margins
        return (
            (self.width - left - right - (self.columns - 1) * self.gaps[0]) / self.columns,
            (self.height - top - bottom - (self.rows - 1) * self.gaps[1]) / self.rows,
        )

    def corner(self, place: int) -> tuple[float, float]:
        """Return left and top of a cell, counted along the rows from 0."""
        width, height = self.cell
        row, column = divmod(place, self.columns)
        return self.margins[3] + column * (width + self.gaps[0]), self.margins[0] + row * (height + self.gaps[1])

    def marks(self) -> tuple[tuple[float, float, float, float], ...]:
        """Return the cut marks: short lines in the margins, one at both ends of every edge of a cell."""
        (width, height), (top, right, bottom, left) = self.cell, self.margins
        across = sorted({x + edge for x in (self.corner(c)[0] for c in range(self.columns)) for edge in (0, width)})
        down = sorted(
            {y + edge for y in (self.corner(r * self.columns)[1] for r in range(self.rows)) for edge in (0, height)}
        )
        above, below = min(_MARK_LENGTH, top * 0.8), min(_MARK_LENGTH, bottom * 0.8)
        before, behind = min(_MARK_LENGTH, left * 0.8), min(_MARK_LENGTH, right * 0.8)
        far, low = self.width - right, self.height - bottom
        return (
            *((x, top - above, x, top - above * 0.2) for x in across),
            *((x, low + below * 0.2, x, low + below) for x in across),
            *((left - before, y, left - before * 0.2, y) for y in down),
            *((far + behind * 0.2, y, far + behind, y) for y in down),
        )
