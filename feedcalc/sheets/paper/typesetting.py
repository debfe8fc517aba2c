"""Words set on paper: every line with its place, size and width in millimetres.

Rules of this room:

* Widths come from a table of letter widths, and whoever draws a line draws it to the width counted here, so that
  another font on another machine can't push it over the edge.
* One line is one piece of text, whole words in it, so that scripts which join their letters are drawn joined.
* y grows downwards, as in SVG. Nothing is known here of labels, liquor or languages.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

from feedcalc import published

# In text sizes: from the top of a line to its baseline, between paragraphs, between a name and its line to write on.
ASCENT = 0.95
PARAGRAPH_GAP = 0.15
HEADING = 1.35
_NAME_GAP = 0.4
Runs = Sequence[tuple[str, bool]]


@dataclass(frozen=True, slots=True)
class Words:
    """Words on one line: left end, baseline, text size and drawn width in mm."""

    x: float
    y: float
    size: float
    width: float
    bold: bool
    text: str


def rule(name: str) -> float:
    """A figure of ``label_rules.csv``."""
    return _rules()[name]


def text_width(text: str, size: float, bold: bool = False) -> float:
    """Width of ``text`` at ``size``, both in the same unit.

    >>> text_width("ash", 1000)
    1612.0
    """
    return _thousandths(text, bold) * size / 1000


def line_height(text: str, size: float) -> float:
    """From one line to the next: more for Devanagari, whose signs reach further.

    >>> round(line_height("ash", 10), 1), round(line_height("राख", 10), 1)
    (12.0, 14.5)
    """
    tall = any("\u0900" <= letter <= "\u097f" for letter in text)
    return size * rule("line_spacing_devanagari" if tall else "line_spacing")


class Column:
    """Paragraphs set from the top down between two edges; ``y`` is where the next one begins.

    ``rules`` are lines to write on as (left, y, right). ``too_wide`` says that something did not go between the edges.
    """

    def __init__(self, left: float, top: float, right: float, text_size: float) -> None:
        self.left, self.right, self.y, self.text_size = left, right, top, text_size
        self.words: list[Words] = []
        self.rules: list[tuple[float, float, float]] = []
        self.too_wide = False
        self._narrow_until = top
        self._narrow_by = 0.0

    @property
    def bottom(self) -> float:
        """The lower end of what was set, and of what the words stood aside for."""
        return max(self.y, self._narrow_until)

    def stand_aside(self, side: float) -> None:
        """Keep the words left of something ``side`` wide and high that begins here at the right edge."""
        self._narrow_until, self._narrow_by = self.y + side, side + self.text_size * 0.6

    def go_below(self) -> None:
        """Go on below what the words stood aside for."""
        self.y = self.bottom

    def gap(self, text_sizes: float) -> None:
        """Leave room."""
        self.y += self.text_size * text_sizes

    def paragraph(self, runs: Runs, scale: float = 1.0, indent: float = 0.0) -> None:
        """Words from the left edge, wrapped; a word longer than the line is broken. A run is text and whether bold."""
        size = self.text_size * scale
        pending = [(word, bold) for text, bold in runs for word in paper_text(text).split(" ") if word]
        if not pending:
            return
        while pending:
            line, pending = _first_line(pending, self._room() - indent, size)
            self._line(line, size, indent)
        self.gap(PARAGRAPH_GAP)

    def to_write(self, names: Sequence[str]) -> None:
        """Lines to write on, two beside each other."""
        for first in range(0, len(names), 2):
            pair = names[first : first + 2]
            self.gap(0.45)
            room = self._room()
            baseline = self.y + self.text_size * ASCENT
            for place, name in enumerate(pair):
                left = self.left + place * room / 2
                width = text_width(name, self.text_size, bold=True)
                self.words.append(Words(left, baseline, self.text_size, width, True, name))
                right = self.left + (place + 1) * room / len(pair) - self.text_size * 0.5 * (place + 1 < len(pair))
                self.rules.append((left + width + self.text_size * _NAME_GAP, baseline, right))
                self.too_wide = self.too_wide or left + width + self.text_size > right
            self.y += max(line_height(name, self.text_size) for name in pair)
            self.gap(PARAGRAPH_GAP)

    def _room(self) -> float:
        """Width there is for the line that comes next."""
        room = self.right - self.left
        return room - self._narrow_by if self.y < self._narrow_until else room

    def _line(self, line: Runs, size: float, indent: float) -> None:
        x = self.left + indent
        place = 0
        while place < len(line):
            bold = line[place][1]
            end = next((at for at in range(place, len(line)) if line[at][1] != bold), len(line))
            text = " ".join(word for word, _ in line[place:end])
            width = text_width(text, size, bold)
            self.words.append(Words(x, self.y + size * ASCENT, size, width, bold, text))
            x += width + text_width(" ", size)
            self.too_wide = self.too_wide or x - text_width(" ", size) > self.right + 0.01
            place = end
        self.y += max(line_height(word, size) for word, _ in line)


def paper_text(text: str) -> str:
    """Subscripts as plain figures, and each gap one space, hard where it holds a number to its unit.

    >>> paper_text("CaCO₃  in\\nwater")
    'CaCO3 in water'
    """
    return re.sub(r"[^\S\u00a0\u202f]+", " ", text.replace("₃", "3")).replace("\u202f", "\u00a0").strip()


def _first_line(
    pending: list[tuple[str, bool]], room: float, size: float
) -> tuple[list[tuple[str, bool]], list[tuple[str, bool]]]:
    """As many words as the room holds, at least a piece of one, and the rest."""
    line: list[tuple[str, bool]] = []
    used = 0.0
    for place, (word, bold) in enumerate(pending):
        wide = text_width(word, size, bold)
        before = text_width(" ", size, bold) if line else 0.0
        if used + before + wide <= room:
            line.append((word, bold))
            used += before + wide
        elif line:
            return line, pending[place:]
        else:
            head, tail = _broken(word, room, size, bold)
            return [(head, bold)], [*([(tail, bold)] if tail else []), *pending[place + 1 :]]
    return line, []


def _broken(word: str, room: float, size: float, bold: bool) -> tuple[str, str]:
    """A word too long for a line, parted where the line is full but never within one drawn letter."""
    breaks = [at for at in range(1, len(word)) if _may_break(word[at - 1], word[at])]
    fitting = [at for at in breaks if text_width(word[:at], size, bold) <= room]
    end = fitting[-1] if fitting else (breaks[0] if breaks else len(word))
    return word[:end], word[end:]


def _may_break(before: str, after: str) -> bool:
    """False between a letter and a sign that is drawn on it or joined with it."""
    joins = "\u200d\u094d"  # zero width joiner, the sign that joins two Devanagari letters
    return not unicodedata.category(after).startswith("M") and before not in joins and after not in joins


@lru_cache(maxsize=8192)
def _thousandths(text: str, bold: bool) -> float:
    return sum(_glyph_width(letter, bold) for letter in text)


@cache
def _rules() -> Mapping[str, float]:
    return {row["name"]: float(row["value"]) for row in published.table("label_rules")}


@cache
def _widths() -> Mapping[str, tuple[float, float]]:
    return {
        chr(int(row["code_point"], 16)): (float(row["regular"]), float(row["bold"]))
        for row in published.table("label_glyphs")
    }


@cache
def _glyph_width(letter: str, bold: bool) -> float:
    """Thousandths of the text size; of a letter not in the table that of what it is built on, else a guess."""
    known = _widths().get(letter) or _widths().get(unicodedata.normalize("NFKD", letter)[0])
    if known is not None:
        return known[bold]
    if unicodedata.combining(letter):
        return 0.0
    return 1000.0 if unicodedata.east_asian_width(letter) in "WF" else 680.0
