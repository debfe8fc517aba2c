"""What a run over a table of plots came to: in a few lines, and as a picture."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from xml.sax.saxutils import escape

from feedcalc.command_line.plots.table import Progress
from feedcalc.contract.numbers import write_number
from feedcalc.garden.suitability import GO, HOLD, WEAKER
from feedcalc.words.languages import MACHINE_WORDS
from feedcalc.words.messages import Speak, said

MOST_REASONS = 5
_COLOURS = {GO: "#2e7d32", WEAKER: "#f9a825", HOLD: "#b71c1c"}
_WIDTH, _LEFT, _BAR, _LINE = 720, 20, 26, 20


def summary_lines(done: Progress, locale: str = "en-GB") -> list[str]:
    """Return how many plots may have ash, weaker or not at all, the commonest reasons, and the dry ash for all.

    ``locale`` is how numbers are written.
    """
    lines: list[str] = [
        said(
            "Plots planned: {planned}. Go: {go}. Go weaker: {weaker}. Hold back: {held}. Rows left out: {aside}.",
            planned=done.planned,
            go=done.verdicts[GO],
            weaker=done.verdicts[WEAKER],
            held=done.verdicts[HOLD],
            aside=done.rejected,
        )
    ]
    if done.left_out:
        lines.append(said("Rows with a cell that could not be read and was left out: {count}.", count=done.left_out))
    for code, count in sorted(done.reasons.items(), key=lambda row: (-row[1], row[0]))[:MOST_REASONS]:
        lines.append(said("{count} × {code}, such as: {reason}", count=count, code=code, reason=done.examples[code]))
    if done.ash_grams:
        amount = write_number(done.ash_grams / 1000, 3, locale, trim=True)
        lines.append(said("Dry ash for all plots that may get it: {amount} kg.", amount=amount))
    return lines


def summary_svg(lines: Sequence[str], verdicts: Mapping[str, int], speak: Speak) -> str:
    """Return a picture of the summary: a bar for each verdict, then the lines in words."""
    most = max([*verdicts.values(), 1])
    parts, top = [], _LEFT
    for verdict, colour in _COLOURS.items():
        width = (_WIDTH - 300) * verdicts.get(verdict, 0) / most
        label = f"{speak(MACHINE_WORDS[verdict])}: {verdicts.get(verdict, 0)}"
        parts.append(f'<text x="{_LEFT}" y="{top + 18}">{escape(label)}</text>')
        parts.append(f'<rect x="260" y="{top}" width="{width:.1f}" height="{_BAR}" fill="{colour}"/>')
        top += _BAR + 8
    for line in (part for text in lines for part in _folded(text)):
        top += _LINE
        parts.append(f'<text x="{_LEFT}" y="{top}">{escape(line)}</text>')
    height = top + _LEFT
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {height}" width="{_WIDTH}" height="{height}" '
        'font-family="sans-serif" font-size="15"><rect width="100%" height="100%" fill="#fff"/>'
        f"{''.join(parts)}</svg>\n"
    )


def _folded(text: str, columns: int = 88) -> list[str]:
    lines = [""]
    for word in text.split(" "):
        if lines[-1] and len(lines[-1]) + len(word) >= columns:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines
