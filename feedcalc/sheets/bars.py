"""How sure a figure is, as a bar beside its words: low, typical and high on a scale; and what most of a doubt hangs on.

Rules of this room:

* A bar shows no more than the words beside it say, and the words stand without the bar.
* Figures of one unit share one scale, so that bars may be compared.
* Places are shares of the scale's length, 0 to 1; who draws decides how long that is: pixels or characters.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby

from feedcalc.contract.figures import Shown
from feedcalc.contract.numbers import write_number
from feedcalc.sheets.batch import Help, Sheet
from feedcalc.words.messages import said

# What is shown so, by path, and the figures that share a scale. The pH scale begins at pure water.
_LIQUOR = ("liquor.potassium", "liquor.alkalinity")
_PH, _SHARE, _LIME = "liquor.ph", "caustic.hydroxide_share", "delivered.per_can.lime_value"
_PH_SCALE = (7.0, 14.0)
# Beyond the highest figure a scale ends at the next of these, in tens.
_ROUND_ENDS = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
# Characters a bar takes on a terminal, its ends included.
TEXT_WIDTH = 33


@dataclass(frozen=True, slots=True)
class RangeBar:
    """A figure with its name, and where low, value and high stand on a scale that runs from ``start`` to ``end``."""

    name: str
    shown: Shown
    low: float
    typical: float
    high: float
    start: str
    end: str

    @property
    def words(self) -> str:
        """Name and figure in a line, such as ``potassium: about 0.90 g/L, likely 0.40 to 1.7``."""
        return said("{name}: {figure}", name=self.name, figure=self.shown.likely)

    @property
    def text(self) -> str:
        """The bar in characters, for terminals.

        >>> shown = Shown("liquor.ph", 12.0, "12.0", "11.0 to 12.5", "", 11.0, 12.5)
        >>> RangeBar("pH", shown, 0.57, 0.71, 0.79, "7", "14").text
        '··················├───●─┤·······'
        """
        inner = TEXT_WIDTH - 2
        low, typical, high = (round(place * inner) for place in (self.low, self.typical, self.high))
        marks = ["·"] * (inner + 1)
        for place in range(low, high + 1):
            marks[place] = "─"
        if low < high:
            marks[low], marks[high] = "├", "┤"
        marks[typical] = "●"
        return "".join(marks)


@dataclass(frozen=True, slots=True)
class Doubt:
    """What most of the doubt about one figure hangs on, most first."""

    figure: str
    helps: tuple[Help, ...]


def range_bars(sheet: Sheet) -> tuple[RangeBar, ...]:
    """A bar for each main figure: potassium and alkalinity of the liquor, pH, caustic share, lime value of a can."""
    figures = sheet.figures
    highest = max(figures[path].high for path in _LIQUOR)
    grams = any(figures[path].unit == "g/L" for path in _LIQUOR)
    liquor_end = _round_end(highest)
    liquor_words = (
        (write_number(liquor_end / 1000, 2, sheet.locale, trim=True), "g/L")
        if grams
        else (write_number(liquor_end, 2, sheet.locale, trim=True), "mg/L")
    )
    rows: list[tuple[str, str, float, float, tuple[str, str]]] = [
        ("liquor.potassium", said("potassium"), 0.0, liquor_end, liquor_words),
        ("liquor.alkalinity", said("alkalinity as CaCO₃"), 0.0, liquor_end, liquor_words),
        (_PH, said("pH"), *_PH_SCALE, ("14", "")),
    ]
    if _SHARE in figures:
        rows.append((_SHARE, said("caustic share of the alkalinity"), 0.0, 1.0, ("100", "%")))
    lime = figures[_LIME]
    lime_end = _round_end(lime.high)
    lime_words = (write_number(lime_end, 2, sheet.locale, trim=True), "g")
    rows.append((_LIME, said("lime value of a can, as CaCO₃"), 0.0, lime_end, lime_words))
    return tuple(
        _bar(name, figures[path], start, end, f"{start:g}", "\u00a0".join(part for part in words if part))
        for path, name, start, end, words in rows
    )


def _bar(name: str, shown: Shown, start: float, end: float, start_words: str, end_words: str) -> RangeBar:
    low, typical, high = (
        min(max((value - start) / (end - start), 0.0), 1.0) for value in (shown.low, shown.value, shown.high)
    )
    return RangeBar(name, shown, low, typical, high, start_words, end_words)


def _round_end(highest: float) -> float:
    """The next round number that is not below ``highest``.

    >>> _round_end(2400.0), _round_end(0.0)
    (3000.0, 1.0)
    """
    if highest <= 0.0:
        return 1.0
    tens: float = 10.0 ** math.floor(math.log10(highest))
    return next(end * tens for end in _ROUND_ENDS if end * tens >= highest * (1 - 1e-9))


def doubts(helps: Iterable[Help]) -> tuple[Doubt, ...]:
    """The helps of a sheet, those for one figure together, in the sheet's order."""
    return tuple(Doubt(figure, tuple(rows)) for figure, rows in groupby(helps, key=lambda row: row.figure))


def best_remedy(helps: Iterable[Help]) -> str:
    """What would take away most doubt, over all figures together; empty where nothing stands out."""
    weight: dict[str, float] = {}
    for row in helps:
        weight[row.remedy] = weight.get(row.remedy, 0.0) + row.share
    return max(weight, key=weight.__getitem__, default="")


def share_bar(share: float) -> str:
    """A share as a bar of characters, for terminals.

    >>> share_bar(0.5)
    '██████████··········'
    """
    full = round(share * 20)
    return "█" * full + "·" * (20 - full)
