"""Range bars: the low, typical and high value of a figure on a scale, and what would narrow the range.

* A bar shows nothing that the text beside it does not say, so the text is complete without the bar.
* Figures with the same unit share one scale, so their bars can be compared.
* Positions are fractions of the scale's length, 0 to 1. The length itself is chosen where the bar is drawn.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import groupby

from feedcalc.contract.figures import Shown
from feedcalc.contract.numbers import write_number
from feedcalc.frozen import frozen
from feedcalc.sheets.batch import Help, Sheet
from feedcalc.words.messages import said, said_in

# Paths of the figures with a bar; those of `_ON_ONE_SCALE` share a scale. The pH scale begins at pure water.
_ON_ONE_SCALE = ("liquor.potassium", "liquor.alkalinity")
_PH, _SHARE, _LIME = "liquor.ph_25", "caustic.hydroxide_share", "delivered.per_can.lime_value"
_PH_SCALE = (7.0, 14.0)
# A scale ends at the first of these, times a power of ten, that is not below the highest value.
_ROUND_ENDS = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
# Width of a bar on a terminal in characters, with both ends.
TEXT_WIDTH = 33


@frozen
class RangeBar:
    """A named figure, and the positions of its low, typical and high value on a scale from ``start`` to ``end``."""

    name: str
    shown: Shown
    low: float
    typical: float
    high: float
    start: str
    end: str

    @property
    def words(self) -> str:
        """Return name and figure in one line, such as ``potassium: about 0.90 g/L, likely 0.40 to 1.7``."""
        return said("{name}: {figure}", name=self.name, figure=self.shown.likely)

    @property
    def text(self) -> str:
        """Return the bar in characters, for terminals.

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


@frozen
class Doubt:
    """The unknowns that cause most of one figure's spread, largest share first."""

    figure: str
    helps: tuple[Help, ...]


def range_bars(sheet: Sheet) -> tuple[RangeBar, ...]:
    """Return the bars of potassium and alkalinity of the liquor, pH, caustic share and lime value of a can."""
    figures = sheet.figures

    def amount(value: float, unit: str) -> str:
        return f"{write_number(value, 2, sheet.locale, trim=True)}\u00a0{unit}"

    end = _round_end(max(figures[path].high for path in _ON_ONE_SCALE))
    in_grams = any(figures[path].unit == "g/L" for path in _ON_ONE_SCALE)
    end_words = amount(end / 1000, "g/L") if in_grams else amount(end, "mg/L")
    lime_end = _round_end(figures[_LIME].high)
    rows: list[tuple[str, str, float, float, str]] = [
        ("liquor.potassium", said_in("element or figure", "potassium"), 0.0, end, end_words),
        ("liquor.alkalinity", said("alkalinity as CaCO₃"), 0.0, end, end_words),
        (_PH, said("pH at 25 °C"), *_PH_SCALE, "14"),
        (_SHARE, said("how much of the alkalinity is caustic"), 0.0, 1.0, "100\u00a0%"),
        (_LIME, said("lime value of a can, as CaCO₃"), 0.0, lime_end, amount(lime_end, "g")),
    ]
    return tuple(
        _bar(name, figures[path], start, end, words) for path, name, start, end, words in rows if path in figures
    )


def _bar(name: str, shown: Shown, start: float, end: float, end_words: str) -> RangeBar:
    low, typical, high = (
        min(max((value - start) / (end - start), 0.0), 1.0) for value in (shown.low, shown.value, shown.high)
    )
    return RangeBar(name=name, shown=shown, low=low, typical=typical, high=high, start=f"{start:g}", end=end_words)


def _round_end(highest: float) -> float:
    """Return the next round number that is not below ``highest``.

    >>> _round_end(2400.0), _round_end(0.0)
    (3000.0, 1.0)
    """
    if highest <= 0.0:
        return 1.0
    tens: float = 10.0 ** math.floor(math.log10(highest))
    return next(end * tens for end in _ROUND_ENDS if end * tens >= highest * (1 - 1e-9))


def doubts(helps: Iterable[Help]) -> tuple[Doubt, ...]:
    """Return the helps grouped by figure, in their order."""
    return tuple(Doubt(figure, tuple(rows)) for figure, rows in groupby(helps, key=lambda row: row.figure))


def best_remedy(helps: Iterable[Help]) -> str:
    """Return the remedy with the largest share summed over all figures; empty if there are no helps."""
    weight: dict[str, float] = {}
    for row in helps:
        weight[row.remedy] = weight.get(row.remedy, 0.0) + row.share
    return max(weight, key=weight.__getitem__, default="")


def share_bar(share: float) -> str:
    """Return a fraction as a bar of characters, for terminals.

    >>> share_bar(0.5)
    '██████████··········'
    """
    full = round(share * 20)
    return "█" * full + "·" * (20 - full)
