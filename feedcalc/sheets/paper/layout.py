"""A label set on paper, line by line, in millimetres.

Rules of this room:

* Whatever is printed lies inside the margins.
* Text is as large as fits, and never smaller than `smallest_text`. What a bottle need not say goes first (code, room
  for notes, what a can delivers, strength); what it must say never goes: then the size is refused.
* Words are spoken in the label's language before they are measured: ``speak`` is asked for every one of them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from feedcalc import published
from feedcalc.contract.figures import Shown
from feedcalc.sheets.paper.label import NOT_FOR_FOOD, Label
from feedcalc.sheets.paper.typesetting import HEADING, Column, Words, rule
from feedcalc.words.errors import InputError
from feedcalc.words.messages import Speak, said

LARGEST_TEXT = 5.0
ROLL_TEXT = 2.8
LONGEST_ROLL = 1000.0
_STEP = 0.1
_QUIET_ZONE = 4  # empty squares round a code, ISO/IEC 18004
# What may be left out for want of room, first to go first, and how that is said.
OPTIONAL = {
    "code": said("No room was left on this size for the code to scan."),
    "notes": said("No room was left on this size for notes."),
    "delivers": said("No room was left on this size for what a can delivers."),
    "strength": said("No room was left on this size for the strength now."),
}


@dataclass(frozen=True, slots=True)
class Paper:
    """A label ready to draw, in mm.

    ``rules`` are lines to write on as (left, y, right); ``symbol`` is left, top and side of the hazard diamond;
    ``code`` is left, top, side of one square and the rows of squares. ``left_out`` names what found no room (see
    `OPTIONAL`); ``suits_litres`` is the largest bottle for which letters and symbol are meant to be this small.
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
    def suits_litres(self) -> float:
        """Litres, 0 where no bottle is large or small enough."""
        return max(
            (
                float(row["litres"])
                for row in published.table("label_bottles")
                if self.text_size * rule("x_height") >= float(row["x_height_mm"]) - 1e-9
                and (self.symbol is None or self.symbol[2] / 2**0.5 >= float(row["symbol_mm"]) - 1e-9)
            ),
            default=0.0,
        )

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
    return rule("smallest_x_height") / rule("x_height")


def paper_of(label: Label, size: str, link: str = "", speak: Speak = str) -> Paper:
    """``label`` set on ``size``, with a code of ``link`` where it is given and finds room.

    Raises `InputError` for a size that is not known, and for one that can't hold what the bottle must say; then the
    sizes that can are named.
    """
    wanted = next((name for name in sizes() if name.casefold() == size.strip().casefold()), None)
    if wanted is None:
        raise InputError("label.size", size, said("There is no such size of label."), ", ".join(sizes()))
    paper = paper_in(label, wanted, *_measures(wanted), link, speak)
    if paper is None:
        large_enough = [name for name in sizes() if name != wanted and holds(label, *_measures(name), speak)]
        problem = said("This size can't hold the cautions that the bottle must carry.")
        raise InputError("label.size", size, problem, ", ".join(large_enough) or said("a shorter name"))
    return paper


def paper_in(
    label: Label, name: str, width: float, height: float | None, link: str = "", speak: Speak = str
) -> Paper | None:
    """``label`` in a box of these millimetres, called ``name``; None where it can't hold what the bottle must say.

    Without a height it is a roll: the label ends where its words do.
    """
    squares = squares_of(link) if link else None
    absent = () if squares else ("code",)
    steps = _text_steps() if height is not None else (ROLL_TEXT,)
    for without in range(len(OPTIONAL) + 1):
        out = tuple(dict.fromkeys((*absent, *list(OPTIONAL)[:without])))

        def attempt(text_size: float, out: tuple[str, ...] = out) -> _LabelSetter:
            return _LabelSetter(label, width, height or LONGEST_ROLL, text_size, out, squares, speak)

        page = _largest_that_fits(attempt, steps)
        if page:
            named = tuple(each for each in OPTIONAL if each in out and (each != "code" or link))
            return page.paper(name, named, shrink=height is None)
    return None


def holds(label: Label, width: float, height: float | None, speak: Speak = str) -> bool:
    """Whether a box of these millimetres holds what the bottle must say."""
    least = smallest_text() if height is not None else ROLL_TEXT
    return _LabelSetter(label, width, height or LONGEST_ROLL, least, tuple(OPTIONAL), None, speak).fits


def _measures(size: str) -> tuple[float, float | None]:
    row = next(row for row in published.table("label_sizes") if row["size"] == size)
    return float(row["width_mm"]), float(row["height_mm"]) if row["height_mm"] else None


@lru_cache(maxsize=1)
def _text_steps() -> tuple[float, ...]:
    """Text sizes from the smallest to the largest."""
    count = int((LARGEST_TEXT - smallest_text()) / _STEP)
    return tuple(smallest_text() + step * _STEP for step in range(count + 1))


def _largest_that_fits(attempt: Callable[[float], _LabelSetter], steps: Sequence[float]) -> _LabelSetter | None:
    """The page with the largest text that fits, found by halving: what fits at a size fits at every smaller one."""
    best = attempt(steps[0])
    if not best.fits:
        return None
    low, high = 0, len(steps)
    while high - low > 1:
        middle = (low + high) // 2
        page = attempt(steps[middle])
        if page.fits:
            best, low = page, middle
        else:
            high = middle
    return best


class _LabelSetter:
    """One try at one text size: blocks are set from the top down, and ``fits`` says whether they stayed inside."""

    def __init__(
        self,
        label: Label,
        width: float,
        height: float,
        text_size: float,
        left_out: Sequence[str],
        squares: tuple[str, ...] | None,
        speak: Speak,
    ) -> None:
        self.label, self.width, self.height, self.speak = label, width, height, speak
        self.margin = max(2.5, width * 0.03)
        self.column = Column(self.margin, self.margin, width - self.margin, text_size)
        self.symbol: tuple[float, float, float] | None = None
        self.code: tuple[float, float, float, tuple[str, ...]] | None = None
        self._set(left_out, squares)
        self.fits = self.column.bottom <= height - self.margin and not self.column.too_wide

    def paper(self, name: str, left_out: tuple[str, ...], shrink: bool) -> Paper:
        """What was set; on a roll the paper ends where the words do."""
        return Paper(
            name,
            self.width,
            self.column.bottom + self.margin if shrink else self.height,
            self.margin,
            self.speak(self.label.title),
            tuple(self.column.words),
            tuple(self.column.rules),
            self.symbol,
            self.code,
            self.column.text_size,
            left_out,
        )

    def _set(self, left_out: Sequence[str], squares: tuple[str, ...] | None) -> None:
        label, column, speak = self.label, self.column, self.speak
        self._put_symbol()
        column.paragraph([(speak(label.title), True)], HEADING)
        if label.hazard.signal_word:
            column.paragraph([(speak(label.hazard.signal_word).upper(), True)], HEADING)
        column.paragraph([(speak(NOT_FOR_FOOD), True)])
        column.paragraph([(speak(label.contents), False)])
        column.paragraph([(speak(said("pH {ph}.", ph=label.ph.full)), True), (speak(label.class_words), False)])
        column.go_below()
        column.paragraph([(self._stated(label.hazard.hazards), True)])
        column.paragraph([(self._stated(label.hazard.precautions), False)])
        column.paragraph(
            [(speak(said("First aid.")), True), *((speak(sentence), False) for sentence in label.first_aid)]
        )
        column.gap(0.3)
        below = self._set_code_beside(squares) if squares and "code" not in left_out else None
        self._set_dates()
        if squares and "code" not in left_out:
            column.paragraph([(speak(said("The code opens this batch in the page.")), False)])
        self._set_dilution()
        if "strength" not in left_out:
            strength = self._listed(label.strength, headline=True)
            column.paragraph([(speak(said("When settled, undiluted:")), True), (strength, False)])
        if "delivers" not in left_out:
            delivers = said("A can of {size} delivers:", size=label.delivered_in.text)
            column.paragraph([(speak(delivers), True), (self._listed(label.delivered), False)])
        if "notes" not in left_out:
            column.to_write([speak(said("pH read")), speak(said("Day"))])
            column.to_write([speak(said("Notes"))])
        if below:
            column.go_below()
            self._put_code(below, self.margin)
            column.y += _code_side(below)

    def _put_symbol(self) -> None:
        if not self.label.has_corrosion_symbol:
            return
        large = self.height < LONGEST_ROLL and self.width * self.height > rule("area_large")
        # Width of a square that stands on its corner.
        across = rule("symbol_large" if large else "symbol_small") * 2**0.5
        self.symbol = (self.width - self.margin - across, self.margin, across)
        self.column.stand_aside(across)

    def _set_dates(self) -> None:
        label, column, speak = self.label, self.column, self.speak
        dated = (
            (said("Batch"), label.batch),
            (said("Made"), _unbroken(speak(label.made))),
            (said("Settled"), _unbroken(speak(label.settled))),
            (said("Use by"), _unbroken(speak(label.use_by))),
        )
        told = [(f"{_unbroken(speak(name))}:", words) for name, words in dated if words]
        if not label.use_by:
            told.append(("", speak(said("Use within {days} days of settling.", days=label.keeps_days))))
        column.paragraph([run for name, words in told for run in ((name, True), (words, False))])
        column.to_write([speak(name) for name, words in dated if not words])

    def _set_dilution(self) -> None:
        label, column, speak = self.label, self.column, self.speak
        if not label.is_diluted:
            column.paragraph([(speak(said("Planned for use undiluted.")), True)])
            return
        told = [(speak(said("Dilute 1:{parts} with water.", parts=label.dilution.text)), True)]
        for can in label.cans:
            sentence = said(
                "Can of {size}: {water} of water first, then {liquor} of liquor.",
                size=can["size"].text,
                water=can["water"].text,
                liquor=can["liquor"].text,
            )
            told.append((speak(sentence), False))
        column.paragraph(told)

    def _stated(self, statements: Sequence[tuple[str, str]]) -> str:
        return " ".join(f"{self.speak(text)} ({code})" for code, text in statements)

    def _listed(self, figures: Sequence[tuple[str, Shown]], *, headline: bool = False) -> str:
        """Figures in a line; with ``headline`` the first is told as at the head of the sheet."""
        told: list[str] = [said("{name} {figure}", name=words, figure=shown.full) for words, shown in figures]
        if headline:
            words, shown = figures[0]
            told[0] = shown.headline(words)
        return "; ".join(map(self.speak, told)) + "."

    def _set_code_beside(self, squares: tuple[str, ...]) -> tuple[str, ...] | None:
        """Put the code at the right of the words to come; where that leaves them too little room, hand it back."""
        side, room = _code_side(squares), self.width - 2 * self.margin
        if side + 12 * self.column.text_size > room:
            self.column.too_wide = self.column.too_wide or side > room
            return squares
        self._put_code(squares, self.width - self.margin - side)
        self.column.stand_aside(side)
        return None

    def _put_code(self, squares: tuple[str, ...], left: float) -> None:
        dot = rule("code_dot")
        self.code = (left + dot * _QUIET_ZONE, self.column.y + dot * _QUIET_ZONE, dot, squares)


def _unbroken(text: str) -> str:
    """Kept on one line, as a date and a name of two words are."""
    return text.replace(" ", "\u00a0")


@lru_cache(maxsize=64)
def squares_of(link: str) -> tuple[str, ...] | None:
    """The code's rows of squares as 0 and 1, or None where the link is too long for any code."""
    import segno  # slow to load, and needed only for a label with an address

    try:
        code = segno.make(link, error="l", micro=False, boost_error=False)
    except segno.DataOverflowError:
        return None
    return tuple("".join("1" if square else "0" for square in row) for row in code.matrix)


def _code_side(squares: tuple[str, ...]) -> float:
    return rule("code_dot") * (len(squares) + 2 * _QUIET_ZONE)
