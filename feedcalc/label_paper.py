"""A label set on paper: every line of words with its place, size and width in millimetres.

Rules of this room:

* Whatever is printed lies inside the margins. Widths come from a table of letter widths, and each line is drawn to
  the width counted here, so that another font on another machine can't push it over the edge.
* Text is as large as fits, and never smaller than `smallest_text`. What a bottle need not say goes first (code, room
  for notes, what a can delivers, strength); what it must say never goes: then the size is refused.
* y grows downwards, as in SVG.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

import segno

from feedcalc import published
from feedcalc.errors import InputError
from feedcalc.label import NOT_FOR_FOOD, Label
from feedcalc.sheet import Shown

LARGEST_TEXT = 5.0
ROLL_TEXT = 2.8
LONGEST_ROLL = 1000.0
_STEP = 0.1
_PARAGRAPH_GAP = 0.22  # in text sizes, as _HEADING
_HEADING = 1.35
_QUIET_ZONE = 4  # empty squares round a code, ISO/IEC 18004
# What may be left out for want of room, first to go first, and what it is called.
OPTIONAL = {
    "code": "the code to scan",
    "notes": "room for notes",
    "delivers": "what a can delivers",
    "strength": "the strength now",
}


@dataclass(frozen=True, slots=True)
class Words:
    """Words on one line: left end, baseline, text size and drawn width in mm."""

    x: float
    y: float
    size: float
    width: float
    bold: bool
    text: str


@dataclass(frozen=True, slots=True)
class Paper:
    """A label ready to draw, in mm.

    ``rules`` are lines to write on as (left, y, right); ``symbol`` is left, top and side of the hazard diamond;
    ``code`` is left, top, side of one square and the rows of squares. ``left_out`` says what found no room.
    """

    size: str
    width: float
    height: float
    margin: float
    title: str
    words: tuple[Words, ...]
    rules: tuple[tuple[float, float, float], ...]
    symbol: tuple[float, float, float] | None
    code: tuple[float, float, float, tuple[str, ...]] | None
    text_size: float
    left_out: tuple[str, ...]

    @property
    def code_path(self) -> str:
        """The dark squares of the code as one SVG path in tenths of a millimetre, squares beside each other as one."""
        if self.code is None:
            return ""
        left, top, dot, rows = self.code
        return "".join(
            f"M{(left + run.start() * dot) * 10:.2f} {(top + place * dot) * 10:.2f}"
            f"h{len(run[0]) * dot * 10:.2f}v{dot * 10:.2f}h-{len(run[0]) * dot * 10:.2f}z"
            for place, row in enumerate(rows)
            for run in re.finditer("1+", row)
        )


def sizes() -> tuple[str, ...]:
    """The sizes there are, smallest area first."""
    return tuple(row["size"] for row in published.table("label_sizes"))


def smallest_text() -> float:
    """The least text size in mm: that whose letter x is as high as the rules for labels ask.

    >>> round(smallest_text(), 2)
    2.29
    """
    return _rule("smallest_x_height") / _rule("x_height")


def paper_of(label: Label, size: str, link: str = "") -> Paper:
    """``label`` set on ``size``, with a code of ``link`` where it is given and finds room.

    Raises `InputError` for a size that is not known, and for one that can't hold what the bottle must say; then the
    sizes that can are named.
    """
    wanted = next((name for name in sizes() if name.casefold() == size.strip().casefold()), None)
    if wanted is None:
        raise InputError("size", size, "There is no such size of label.", ", ".join(sizes()))
    paper = _fitted(label, wanted, link)
    if paper is None:
        large_enough = [name for name in sizes() if name != wanted and _fitted(label, name, "")]
        problem = "This size can't hold the cautions that the bottle must carry."
        raise InputError("size", size, problem, ", ".join(large_enough) or "a shorter name")
    return paper


def text_width(text: str, size: float, bold: bool = False) -> float:
    """Width of ``text`` at ``size``, both in the same unit.

    >>> text_width("ash", 1000)
    1612.0
    """
    return _thousandths(text, bold) * size / 1000


@lru_cache(maxsize=4096)
def _thousandths(text: str, bold: bool) -> float:
    return sum(_glyph_width(letter, bold) for letter in text)


def _fitted(label: Label, size: str, link: str) -> Paper | None:
    row = next(row for row in published.table("label_sizes") if row["size"] == size)
    width, height = float(row["width_mm"]), float(row["height_mm"]) if row["height_mm"] else None
    squares = _squares(link) if link else None
    absent = () if squares else ("code",)
    for without in range(len(OPTIONAL) + 1):
        out = tuple(dict.fromkeys((*absent, *list(OPTIONAL)[:without])))
        for text_size in [ROLL_TEXT] if height is None else _text_sizes():
            page = _Page(label, size, width, height or LONGEST_ROLL, text_size, out, squares)
            if page.fits:
                named = [OPTIONAL[name] for name in OPTIONAL if name in out and (name != "code" or link)]
                return page.paper(tuple(named), shrink=height is None)
    return None


def _text_sizes() -> Iterator[float]:
    size = LARGEST_TEXT
    while size > smallest_text():
        yield size
        size -= _STEP
    yield smallest_text()


class _Page:
    """One try at one text size: blocks are set from the top down, and ``fits`` says whether they stayed inside."""

    def __init__(
        self,
        label: Label,
        size: str,
        width: float,
        height: float,
        text_size: float,
        left_out: Sequence[str],
        squares: tuple[str, ...] | None,
    ) -> None:
        self.label, self.size, self.width, self.height, self.text_size = label, size, width, height, text_size
        self.margin = max(2.5, width * 0.03)
        self.y = self.margin
        self.words: list[Words] = []
        self.rules: list[tuple[float, float, float]] = []
        self.symbol: tuple[float, float, float] | None = None
        self.code: tuple[float, float, float, tuple[str, ...]] | None = None
        self.narrow_until = 0.0
        self.narrow_by = 0.0
        self.too_wide = False
        self._set(left_out, squares)
        self.bottom = max(self.y, self.narrow_until)
        self.fits = self.bottom <= height - self.margin and not self.too_wide

    def paper(self, left_out: tuple[str, ...], shrink: bool) -> Paper:
        """What was set; on a roll the paper ends where the words do."""
        height = self.bottom + self.margin if shrink else self.height
        return Paper(
            self.size,
            self.width,
            height,
            self.margin,
            self.label.title,
            tuple(self.words),
            tuple(self.rules),
            self.symbol,
            self.code,
            self.text_size,
            left_out,
        )

    def _set(self, left_out: Sequence[str], squares: tuple[str, ...] | None) -> None:
        label = self.label
        if label.has_corrosion_symbol:
            large = self.height < LONGEST_ROLL and self.width * self.height > _rule("area_large")
            # Width of a square that stands on its corner.
            across = _rule("symbol_large" if large else "symbol_small") * 2**0.5
            self.symbol = (self.width - self.margin - across, self.margin, across)
            self._stand_aside(across)
        self._paragraph([(label.title, True)], _HEADING)
        if label.hazard.signal_word:
            self._paragraph([(label.hazard.signal_word.upper(), True)], _HEADING)
        self._paragraph([(NOT_FOR_FOOD, True)])
        self._paragraph([(label.contents, False)])
        self._paragraph([(f"pH {label.ph.full}.", True), (label.class_words, False)])
        self.y = max(self.y, self.narrow_until)
        self._paragraph([(_stated(label.hazard.hazards), True)])
        self._paragraph([(_stated(label.hazard.precautions), False)])
        self._paragraph([("First aid.", True), (" ".join(label.first_aid), False)])
        self._gap()
        below = self._set_code_beside(squares) if squares and "code" not in left_out else None
        dated = (("Batch", label.batch), ("Made", label.made), ("Settled", label.settled), ("Use by", label.use_by))
        told = [(f"{name}:", f"{words} ") for name, words in dated if words]
        if not label.use_by:
            told.append(("Use", f"within {label.keeps_days} days of settling."))
        self._paragraph([run for name, words in told for run in ((name, True), (words, False))])
        self._to_write([name for name, words in dated if not words])
        if squares and "code" not in left_out:
            self._paragraph([("The code opens this batch in the page.", False)])
        if label.is_diluted:
            cans = _can_words(label.cans)
            self._paragraph([(f"Dilute 1:{label.dilution.text}", True), (f"with water. {cans}", False)])
        else:
            self._paragraph([("Planned for use undiluted.", True)])
        if "strength" not in left_out:
            self._paragraph([("When settled, undiluted:", True), (_listed(label.strength), False)])
        if "delivers" not in left_out:
            self._paragraph([(f"A can of {label.delivered_in.text} delivers", True), (_listed(label.delivered), False)])
        if "notes" not in left_out:
            self._to_write(["pH read", "Day"])
            self._to_write(["Notes"])
        if below:
            self.y = max(self.y, self.narrow_until)
            self._put_code(below, self.margin)
            self.y += _code_side(below)

    def _set_code_beside(self, squares: tuple[str, ...]) -> tuple[str, ...] | None:
        """Put the code at the right of the words to come; where that leaves them too little room, hand it back."""
        side = _code_side(squares)
        if side + 12 * self.text_size > self.width - 2 * self.margin:
            self.too_wide = side > self.width - 2 * self.margin
            return squares
        self._put_code(squares, self.width - self.margin - side)
        self._stand_aside(side)
        return None

    def _put_code(self, squares: tuple[str, ...], left: float) -> None:
        dot = _rule("code_dot")
        self.code = (left + dot * _QUIET_ZONE, self.y + dot * _QUIET_ZONE, dot, squares)

    def _stand_aside(self, side: float) -> None:
        """Keep the words left of something ``side`` wide and high at the right margin."""
        self.narrow_until, self.narrow_by = self.y + side, side + self.text_size * 0.6

    def _room(self, size: float) -> float:
        """Width there is for the line that comes next, at this text size."""
        room = self.width - 2 * self.margin
        return room - self.narrow_by if self.y < self.narrow_until else room

    def _gap(self) -> None:
        self.y += self.text_size * 0.5

    def _paragraph(self, runs: Sequence[tuple[str, bool]], scale: float = 1.0) -> None:
        """Words from the left margin, wrapped; a word longer than the line is broken."""
        if not runs:
            return
        size = self.text_size * scale
        pending: list[tuple[str, bool]] = [
            (word, bold) for text, bold in runs for word in _paper_text(text).split(" ") if word
        ]
        while pending:
            line, pending = _first_line(pending, self._room(size), size)
            self._line(line, size)
        self.y += self.text_size * _PARAGRAPH_GAP

    def _line(self, line: Sequence[tuple[str, bool]], size: float) -> None:
        x = self.margin
        place = 0
        while place < len(line):
            bold = line[place][1]
            end = next((at for at in range(place, len(line)) if line[at][1] != bold), len(line))
            text = " ".join(word for word, _ in line[place:end])
            width = text_width(text, size, bold)
            self.words.append(Words(x, self.y + size * 0.95, size, width, bold, text))
            x += width + text_width(" ", size)
            place = end
        self.y += size * _rule("line_spacing")

    def _to_write(self, names: Sequence[str]) -> None:
        """Lines to write on, two beside each other."""
        for first in range(0, len(names), 2):
            pair = names[first : first + 2]
            self.y += self.text_size * 0.6
            room = self._room(self.text_size)
            for place, name in enumerate(pair):
                left = self.margin + place * room / 2
                width = text_width(name, self.text_size, bold=True)
                baseline = self.y + self.text_size * 0.95
                self.words.append(Words(left, baseline, self.text_size, width, True, name))
                right = self.margin + (place + 1) * room / len(pair) - self.text_size * 0.5 * (place + 1 < len(pair))
                self.rules.append((left + width + self.text_size * 0.4, baseline, right))
            self.y += self.text_size * (_rule("line_spacing") + _PARAGRAPH_GAP)


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
            end = max(1, next((at for at in range(1, len(word)) if text_width(word[:at], size, bold) > room), 2) - 1)
            return [(word[:end], bold)], [(word[end:], bold), *pending[place + 1 :]]
    return line, []


def _stated(statements: Sequence[tuple[str, str]]) -> str:
    return " ".join(f"{text} ({code})" for code, text in statements)


def _listed(figures: Sequence[tuple[str, Shown]]) -> str:
    return "; ".join(f"{words} {shown.full}" for words, shown in figures) + "."


def _can_words(cans: Sequence[Mapping[str, Shown]]) -> str:
    return " ".join(
        f"Can of {can['size'].text}: {can['water'].text} of water first, then {can['liquor'].text} of liquor."
        for can in cans
    )


def _paper_text(text: str) -> str:
    """Subscripts as plain figures, and each gap one space, hard where it holds a number to its unit."""
    return re.sub(r"[^\S\u00a0\u202f]+", " ", text.replace("₃", "3")).replace("\u202f", "\u00a0").strip()


def _squares(link: str) -> tuple[str, ...] | None:
    """The code's rows of squares as 0 and 1, or None where the link is too long for any code."""
    try:
        code = segno.make(link, error="l", micro=False, boost_error=False)
    except segno.DataOverflowError:
        return None
    return tuple("".join("1" if square else "0" for square in row) for row in code.matrix)


def _code_side(squares: tuple[str, ...]) -> float:
    return _rule("code_dot") * (len(squares) + 2 * _QUIET_ZONE)


def _rule(name: str) -> float:
    return _rules()[name]


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
    known = _widths().get(letter)
    if known is None:
        base = unicodedata.normalize("NFKD", letter)[0]
        known = _widths().get(base)
    if known is not None:
        return known[bold]
    if unicodedata.combining(letter):
        return 0.0
    return 1000.0 if unicodedata.east_asian_width(letter) in "WF" else 680.0
