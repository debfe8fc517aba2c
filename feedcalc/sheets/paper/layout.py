"""The layout of one label in millimetres, line by line.

* Everything lies inside the margins.
* Text is as large as fits and never smaller than `smallest_text`. If there is too little space, the blocks of
  `OPTIONAL` are left out in their order. What the bottle must say is never left out: then the size is refused.
* Each text is translated with ``speak`` before it is measured.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from functools import lru_cache, partial

from feedcalc import published
from feedcalc.contract.figures import Shown
from feedcalc.frozen import frozen
from feedcalc.sheets.paper.label import NOT_FOR_FOOD, Label, can_words
from feedcalc.sheets.paper.typesetting import HEADING, Column, StyledText, TextRun, label_rule, largest_layout
from feedcalc.words.errors import InputError
from feedcalc.words.messages import Speak, any_of, said, said_in

LARGEST_TEXT = 5.0
ROLL_TEXT = 2.8
LONGEST_ROLL = 1000.0
_STEP = 0.1
_QUIET_ZONE = 4  # empty modules around a QR code, ISO/IEC 18004
# Blocks that may be left out, in this order, and the sentence that says so.
OPTIONAL = {
    "code": said("No room was left on this size for the code to scan."),
    "notes": said("No room was left on this size for notes."),
    "delivers": said("No room was left on this size for what a can delivers."),
    "strength": said("No room was left on this size for the strength now."),
}


@frozen
class Paper:
    """A label ready to draw, in mm.

    ``rules`` are blanks to write on as (left, y, right); ``symbol`` is left, top and side of the hazard diamond;
    ``code`` is left, top, side of one module and the rows of modules of the QR code. ``left_out`` names the blocks of
    `OPTIONAL` that found no space.
    """

    size: str
    width: float
    height: float
    margin: float
    title: str
    words: tuple[TextRun, ...]
    rules: tuple[tuple[float, float, float], ...]
    symbol: tuple[float, float, float] | None
    code: tuple[float, float, float, tuple[str, ...]] | None
    text_size: float
    left_out: tuple[str, ...]

    @property
    def suits_litres(self) -> float:
        """Return the largest bottle, in litres, for which letters and symbol are large enough; 0 if there is none."""
        return max(
            (
                float(row["litres"])
                for row in published.table("label_bottles")
                if self.text_size * label_rule("x_height") >= float(row["x_height_mm"]) - 1e-9
                and (self.symbol is None or self.symbol[2] / 2**0.5 >= float(row["symbol_mm"]) - 1e-9)
            ),
            default=0.0,
        )

    @property
    def code_path(self) -> str:
        """Return the dark modules of the code as one SVG path in tenths of a millimetre, neighbours in a row joined."""
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
    """Return the names of the label sizes, smallest area first."""
    return tuple(row["size"] for row in published.table("label_sizes"))


def smallest_text() -> float:
    """Return the smallest text size in mm: the one at which the letter x has the height that the rules require.

    >>> round(smallest_text(), 2)
    2.29
    """
    return label_rule("smallest_x_height") / label_rule("x_height")


def paper_of(label: Label, size: str, link: str = "", speak: Speak = str) -> Paper:
    """Return ``label`` laid out on ``size``, with a QR code of ``link`` if one is given and fits.

    Raises `InputError` for an unknown size, and for one that cannot hold what the bottle must say; the error names the
    sizes that can.
    """
    wanted = next((name for name in sizes() if name.casefold() == size.strip().casefold()), None)
    if wanted is None:
        raise InputError("label.size", size, said("There is no such size of label."), any_of(sizes()))
    paper = paper_in(label, wanted, *_dimensions(wanted), link=link, speak=speak)
    if paper is None:
        large_enough = [name for name in sizes() if name != wanted and holds(label, *_dimensions(name), speak)]
        problem = said("This size can't hold the cautions that the bottle must carry.")
        raise InputError("label.size", size, problem, any_of(large_enough) or said("a shorter name"))
    return paper


def paper_in(
    label: Label, name: str, width: float, height: float | None, link: str = "", speak: Speak = str
) -> Paper | None:
    """Return ``label`` laid out in a box of ``width`` by ``height`` mm; None if it is too small for what must be said.

    Without a height it is a roll: the label ends below its last line. ``name`` is the name of the size.
    """
    squares = squares_of(link) if link else None
    text_sizes = _text_sizes() if height is not None else (ROLL_TEXT,)
    optional = list(OPTIONAL)
    for count in range(len(optional) + 1):
        left_out = {*optional[:count], *(() if squares else ("code",))}
        layout = partial(
            _LabelLayout,
            label,
            width,
            height or LONGEST_ROLL,
            squares=None if "code" in left_out else squares,
            left_out=left_out,
            speak=speak,
        )
        largest = largest_layout(layout, text_sizes)
        if largest:
            missing = tuple(block for block in optional if block in left_out and (block != "code" or link))
            return largest.paper(name, missing, shrink=height is None)
    return None


def holds(label: Label, width: float, height: float | None, speak: Speak = str) -> bool:
    """Return whether a box of ``width`` by ``height`` mm holds what the bottle must say."""
    return _LabelLayout(
        label,
        width,
        height or LONGEST_ROLL,
        smallest_text() if height is not None else ROLL_TEXT,
        squares=None,
        left_out=OPTIONAL.keys(),
        speak=speak,
    ).fits


def _dimensions(size: str) -> tuple[float, float | None]:
    row = published.row("label_sizes", size)
    return float(row["width_mm"]), float(row["height_mm"]) if row["height_mm"] else None


@lru_cache(maxsize=1)
def _text_sizes() -> tuple[float, ...]:
    """Return the text sizes to try in mm, smallest first."""
    count = int((LARGEST_TEXT - smallest_text()) / _STEP)
    return tuple(smallest_text() + step * _STEP for step in range(count + 1))


@frozen
class _LabelText:
    """The paragraphs of a label in its language."""

    label: Label
    speak: Speak

    def hazard(self) -> list[StyledText]:
        """Return what stands beside the symbol: contents and class."""
        label, speak = self.label, self.speak
        return [
            [(speak(NOT_FOR_FOOD), True)],
            [(speak(label.contents), False)],
            [
                (speak(said("pH {ph} at 25\u00a0°C.", ph=label.ph.full)), True),
                *((speak(words), False) for words in (label.class_words, label.meter) if words),
            ],
        ]

    def statements(self) -> list[StyledText]:
        """Return hazard statements, precautions and first aid."""
        label, speak = self.label, self.speak
        first_aid = [(speak(sentence), False) for sentence in label.first_aid]
        return [
            *([(f"{speak(text)} ({code})", True)] for code, text in label.hazard.hazards),
            *([(f"{speak(text)} ({code})", False)] for code, text in label.hazard.precautions),
            [(speak(said_in("heading", "First aid.")), True), *first_aid],
        ]

    def dates(self) -> tuple[StyledText, list[str]]:
        """Return the batch and its known dates as a paragraph, and the names of those to write in by hand."""
        label, speak = self.label, self.speak
        dated = (
            (said_in("on the label", "Batch"), label.batch),
            (said_in("on the label", "Made"), _unbroken(speak(label.made))),
            (said_in("on the label", "Settled"), _unbroken(speak(label.settled))),
        )
        known = [run for name, text in dated if text for run in ((f"{_unbroken(speak(name))}:", True), (text, False))]
        if label.is_of_can:
            known.append((speak(label.keeps), False))
        elif not label.use_by:
            known.append((speak(said("Check with a pH strip before use.")), False))
        blanks = [*(name for name, text in dated if not text)]
        if not label.use_by and not label.is_of_can:
            blanks.append(said("Check pH again"))
        return known, [speak(name) for name in blanks]

    def largest(self) -> list[StyledText]:
        """Return how to dilute and until when the label holds, which stand in the largest letters after the danger."""
        label, speak = self.label, self.speak
        if label.is_of_can:
            dilute = said("Ready to use. Do not dilute again.")
        elif label.is_diluted:
            dilute = said("Dilute 1:{parts} with water.", parts=label.dilution.text)
        else:
            dilute = said("For use undiluted.")
        again = said("Check pH again: {day}", day=label.use_by)
        return [[(speak(dilute), True)], *([[(speak(again), True)]] if label.use_by else [])]

    def dilution(self) -> StyledText:
        """Return how to fill each can."""
        return [(self.speak(can_words(can)), False) for can in self.label.cans] if self.label.is_diluted else []

    def strength(self) -> StyledText:
        """Return the figures of the undiluted liquor, the first as at the head of the sheet."""
        (name, first), *rest = self.label.strength
        figures = "; ".join([self.speak(first.headline(name)), *self._figures(rest)]) + "."
        heading = said_in("heading", "In it:") if self.label.is_of_can else said("When settled, undiluted:")
        return [(self.speak(heading), True), (figures, False)]

    def delivers(self) -> StyledText:
        """Return the nutrients in a can."""
        heading = said("A can of {size} delivers:", size=self.label.delivered_in.text)
        return [(self.speak(heading), True), ("; ".join(self._figures(self.label.delivered)) + ".", False)]

    def _figures(self, figures: Sequence[tuple[str, Shown]]) -> list[str]:
        return [self.speak(said("{name} {figure}", name=name, figure=shown.full)) for name, shown in figures]


class _LabelLayout:
    """The layout at one text size, with a QR code if ``squares`` are given; ``fits`` says whether it stays inside."""

    def __init__(
        self,
        label: Label,
        width: float,
        height: float,
        text_size: float,
        *,
        squares: tuple[str, ...] | None,
        left_out: Collection[str],
        speak: Speak,
    ) -> None:
        self.label, self.width, self.height, self.speak = label, width, height, speak
        self.margin = max(2.5, width * 0.03)
        self.column = Column(self.margin, self.margin, width - self.margin, text_size)
        self.symbol: tuple[float, float, float] | None = None
        self.code: tuple[float, float, float, tuple[str, ...]] | None = None
        self._set(squares, left_out)
        self.fits = self.column.bottom <= height - self.margin and not self.column.too_wide

    def paper(self, name: str, left_out: tuple[str, ...], shrink: bool) -> Paper:
        """Return the label to draw; with ``shrink`` it ends below its last line."""
        return Paper(
            size=name,
            width=self.width,
            height=self.column.bottom + self.margin if shrink else self.height,
            margin=self.margin,
            title=self.speak(self.label.title),
            words=tuple(self.column.runs),
            rules=tuple(self.column.rules),
            symbol=self.symbol,
            code=self.code,
            text_size=self.column.text_size,
            left_out=left_out,
        )

    def _set(self, squares: tuple[str, ...] | None, left_out: Collection[str]) -> None:
        column, speak, text = self.column, self.speak, _LabelText(self.label, self.speak)
        self._put_symbol()
        column.paragraph([(speak(self.label.title), True)], HEADING)
        if self.label.hazard.signal_word:
            column.paragraph([(speak(self.label.hazard.signal_word).upper(), True)], HEADING)
        for paragraph in text.hazard():
            column.paragraph(paragraph)
        column.clear()
        for paragraph in text.statements():
            column.paragraph(paragraph)
        column.space(0.3)
        is_beside = squares is not None and self._put_code_beside(squares)
        for paragraph in text.largest():
            column.paragraph(paragraph, HEADING)
        dates, unknown = text.dates()
        column.paragraph(dates)
        column.blanks(unknown)
        if squares:
            column.paragraph([(speak(said("The code opens this batch in the page.")), False)])
        if cans := text.dilution():
            column.paragraph(cans)
        if "strength" not in left_out:
            column.paragraph(text.strength())
        if "delivers" not in left_out:
            column.paragraph(text.delivers())
        if "notes" not in left_out:
            column.blanks([speak(said_in("on the label", "pH read")), speak(said_in("on the label", "Day"))])
            column.blanks([speak(said_in("on the label", "Notes"))])
        if squares and not is_beside:
            column.clear()
            self._put_code(squares, self.margin)
            column.y += _code_side(squares)

    def _put_symbol(self) -> None:
        if not self.label.has_corrosion_symbol:
            return
        is_large = self.height < LONGEST_ROLL and self.width * self.height > label_rule("area_large")
        # The rules give the side of the diamond; its diagonal is its width on paper.
        diagonal = label_rule("symbol_large" if is_large else "symbol_small") * 2**0.5
        self.symbol = (self.width - self.margin - diagonal, self.margin, diagonal)
        self.column.float_right(diagonal)

    def _put_code_beside(self, squares: tuple[str, ...]) -> bool:
        """Put the code to the right of the text that follows; return False if that leaves the text too little width."""
        side = _code_side(squares)
        if side + 12 * self.column.text_size > self.column.width:
            self.column.too_wide = self.column.too_wide or side > self.column.width
            return False
        self._put_code(squares, self.width - self.margin - side)
        self.column.float_right(side)
        return True

    def _put_code(self, squares: tuple[str, ...], left: float) -> None:
        dot = label_rule("code_dot")
        self.code = (left + dot * _QUIET_ZONE, self.column.y + dot * _QUIET_ZONE, dot, squares)


def _unbroken(text: str) -> str:
    """Return ``text`` with spaces at which no line breaks."""
    return text.replace(" ", "\u00a0")


@lru_cache(maxsize=64)
def squares_of(link: str) -> tuple[str, ...] | None:
    """Return the rows of the QR code as 0 and 1; None if the link is too long for any code."""
    import segno  # slow to load, and needed only for a label with an address

    try:
        code = segno.make(link, error="l", micro=False, boost_error=False)
    except segno.DataOverflowError:
        return None
    return tuple("".join("1" if square else "0" for square in row) for row in code.matrix)


def _code_side(squares: tuple[str, ...]) -> float:
    return label_rule("code_dot") * (len(squares) + 2 * _QUIET_ZONE)
