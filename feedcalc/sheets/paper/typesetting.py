"""Typesetting in millimetres: break text into lines, and give each piece of a line its place, size and width.

* Widths come from a table of glyph widths (``label_glyphs.csv``). The templates draw each run of text to exactly the
  width calculated here, so another font on another machine cannot push it over the edge.
* A run is whole words in one style. Scripts whose letters join are therefore drawn joined.
* y grows downwards, as in SVG. This module knows nothing of labels, liquor or languages.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cache, lru_cache
from typing import Protocol, TypeVar

from feedcalc import published
from feedcalc.frozen import frozen

# Distances in text sizes: from the top of a line to its baseline, between paragraphs, and from a name to its blank.
ASCENT = 0.95
PARAGRAPH_GAP = 0.15
HEADING = 1.35  # size of a heading, in text sizes
_NAME_GAP = 0.4
StyledText = Sequence[tuple[str, bool]]  # pairs of text and whether it is bold


@frozen
class TextRun:
    """Text on one line in one style: left end, baseline, text size and width in mm."""

    x: float
    y: float
    size: float
    width: float
    bold: bool
    text: str


@cache
def label_rule(name: str) -> float:
    """Return a value of ``label_rules.csv``."""
    return float(published.row("label_rules", name)["value"])


def text_width(text: str, size: float, bold: bool = False) -> float:
    """Return the width of ``text``, in the unit of ``size``.

    >>> text_width("ash", 1000)
    1612.0
    """
    return _thousandths(text, bold) * size / 1000


def leading(text: str, size: float) -> float:
    """Return the distance to the next baseline. It is larger for Devanagari, whose marks reach further.

    >>> round(leading("ash", 10), 1), round(leading("राख", 10), 1)
    (12.0, 14.5)
    """
    is_devanagari = any("\u0900" <= letter <= "\u097f" for letter in text)
    return size * label_rule("line_spacing_devanagari" if is_devanagari else "line_spacing")


def largest_that_fits(fits: Callable[[int], bool], count: int) -> int:
    """Return the largest number below ``count`` that fits, by bisection; 0 if no larger one does.

    What fits at one number must fit at every smaller one.

    >>> largest_that_fits(lambda number: number <= 6, 10)
    6
    """
    low, high = 0, count
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low


class Layout(Protocol):
    """Something laid out; ``fits`` says whether it stays inside its paper."""

    fits: bool


AnyLayout = TypeVar("AnyLayout", bound=Layout)


def largest_layout(layout: Callable[[float], AnyLayout], text_sizes: Sequence[float]) -> AnyLayout | None:
    """Return the layout with the largest of the ascending text sizes that fits; None if the smallest does not."""
    if not layout(text_sizes[0]).fits:
        return None
    return layout(text_sizes[largest_that_fits(lambda step: layout(text_sizes[step]).fits, len(text_sizes))])


class Column:
    """Paragraphs between a left and a right edge, set from the top down; ``y`` is the top of the next one.

    ``rules`` are horizontal lines as (left, y, right). ``too_wide`` says that something is wider than the column.
    """

    def __init__(self, left: float, top: float, right: float, text_size: float) -> None:
        self.left, self.right, self.y, self.text_size = left, right, top, text_size
        self.runs: list[TextRun] = []
        self.rules: list[tuple[float, float, float]] = []
        self.parts: list[Column] = []
        self.too_wide = False
        self._float_bottom = top
        self._float_width = 0.0

    @property
    def width(self) -> float:
        """Return the distance between the edges in mm."""
        return self.right - self.left

    @property
    def bottom(self) -> float:
        """Return the lower end of the text and of what floats beside it."""
        return max(self.y, self._float_bottom)

    def part(self, left: float, top: float, right: float) -> Column:
        """Return a new column that belongs to this one."""
        self.parts.append(Column(left, top, right, self.text_size))
        return self.parts[-1]

    def all_parts(self) -> Iterator[Column]:
        """Yield this column and the columns that belong to it."""
        yield self
        for part in self.parts:
            yield from part.all_parts()

    def float_right(self, side: float) -> None:
        """Keep the text to the left of a square that begins here at the right edge."""
        self._float_bottom, self._float_width = self.y + side, side + self.text_size * 0.6

    def clear(self) -> None:
        """Continue below what floats at the right edge."""
        self.y = self.bottom

    def space(self, text_sizes: float) -> None:
        """Leave vertical space."""
        self.y += self.text_size * text_sizes

    def paragraph(self, text: StyledText, scale: float = 1.0, indent: float = 0.0) -> None:
        """Set a paragraph at ``scale`` text sizes. A word longer than a line is broken."""
        size = self.text_size * scale
        pending = [(word, bold) for words, bold in text for word in _single_spaced(words).split(" ") if word]
        if not pending:
            return
        while pending:
            line, pending = _first_line(pending, self._line_width() - indent, size)
            self._line(line, size, indent)
        self.space(PARAGRAPH_GAP)

    def blanks(self, names: Sequence[str]) -> None:
        """Set blanks to fill in by hand, each after its name, two on a line."""
        for first in range(0, len(names), 2):
            pair = names[first : first + 2]
            self.space(0.45)
            available = self._line_width()
            baseline = self.y + self.text_size * ASCENT
            for place, name in enumerate(pair):
                left = self.left + place * available / 2
                width = text_width(name, self.text_size, bold=True)
                self.runs.append(TextRun(x=left, y=baseline, size=self.text_size, width=width, bold=True, text=name))
                gap = self.text_size * 0.5 * (place + 1 < len(pair))
                right = self.left + (place + 1) * available / len(pair) - gap
                self.rules.append((left + width + self.text_size * _NAME_GAP, baseline, right))
                self.too_wide = self.too_wide or left + width + self.text_size > right
            self.y += max(leading(name, self.text_size) for name in pair)
            self.space(PARAGRAPH_GAP)

    def _line_width(self) -> float:
        return self.width - self._float_width if self.y < self._float_bottom else self.width

    def _line(self, line: StyledText, size: float, indent: float) -> None:
        x = self.left + indent
        place = 0
        while place < len(line):
            bold = line[place][1]
            end = next((at for at in range(place, len(line)) if line[at][1] != bold), len(line))
            text = " ".join(word for word, _ in line[place:end])
            width = text_width(text, size, bold)
            self.runs.append(TextRun(x=x, y=self.y + size * ASCENT, size=size, width=width, bold=bold, text=text))
            x += width + text_width(" ", size)
            self.too_wide = self.too_wide or x - text_width(" ", size) > self.right + 0.01
            place = end
        self.y += max(leading(word, size) for word, _ in line)


def _single_spaced(text: str) -> str:
    """Return ``text`` with each gap as one space and subscripts as digits. A space before a unit does not break.

    >>> _single_spaced("CaCO₃  in\\nwater")
    'CaCO3 in water'
    """
    return re.sub(r"[^\S\u00a0\u202f]+", " ", text.replace("₃", "3")).replace("\u202f", "\u00a0").strip()


def _first_line(
    pending: list[tuple[str, bool]], available: float, size: float
) -> tuple[list[tuple[str, bool]], list[tuple[str, bool]]]:
    """Return the words that fit into the available width, at least a piece of one, and the rest."""
    line: list[tuple[str, bool]] = []
    used = 0.0
    for place, (word, bold) in enumerate(pending):
        width = text_width(word, size, bold)
        before = text_width(" ", size, bold) if line else 0.0
        if used + before + width <= available:
            line.append((word, bold))
            used += before + width
        elif line:
            return line, pending[place:]
        else:
            head, tail = _break_word(word, available, size, bold)
            return [(head, bold)], [*([(tail, bold)] if tail else []), *pending[place + 1 :]]
    return line, []


def _break_word(word: str, available: float, size: float, bold: bool) -> tuple[str, str]:
    """Return the two parts of a word that is longer than a line, never broken inside a combined letter."""
    breaks = [at for at in range(1, len(word)) if _may_break(word[at - 1], word[at])]
    fitting = [at for at in breaks if text_width(word[:at], size, bold) <= available]
    end = fitting[-1] if fitting else (breaks[0] if breaks else len(word))
    return word[:end], word[end:]


def _may_break(before: str, after: str) -> bool:
    """Return False between a letter and a mark that is drawn on it or joined to it."""
    joiners = "\u200d\u094d"  # zero width joiner, and the virama that joins two Devanagari letters
    return not unicodedata.category(after).startswith("M") and before not in joiners and after not in joiners


@lru_cache(maxsize=8192)
def _thousandths(text: str, bold: bool) -> float:
    return sum(_glyph_width(letter, bold) for letter in text)


@cache
def _widths() -> Mapping[str, tuple[float, float]]:
    return {
        chr(int(row["code_point"], 16)): (float(row["regular"]), float(row["bold"]))
        for row in published.table("label_glyphs")
    }


@cache
def _glyph_width(letter: str, bold: bool) -> float:
    """Return the width in thousandths of the text size; of the base letter, or a guess, if the table lacks it."""
    known = _widths().get(letter) or _widths().get(unicodedata.normalize("NFKD", letter)[0])
    if known is not None:
        return known[bold]
    if unicodedata.combining(letter) or unicodedata.category(letter) == "Cf":
        return 0.0
    if unicodedata.bidirectional(letter) in ("R", "AL"):
        return 560.0  # letters that are joined take less room
    return 1000.0 if unicodedata.east_asian_width(letter) in "WF" else 680.0
