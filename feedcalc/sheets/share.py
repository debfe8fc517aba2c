"""The figures of a shared-out winter's ash in words, and a bar for each bed, for the sharing templates.

Nothing is calculated here but the places on a bar: dry ash, sludge and feed beside each other, each as the ash it came
from, on one scale for all beds.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from feedcalc.book.winter import WinterAnswer
from feedcalc.contract.cautions import Caution
from feedcalc.contract.figures import Figure, figure_words, flat_figures
from feedcalc.contract.own_measures import OwnUnits
from feedcalc.frozen import frozen
from feedcalc.sheets.render import render, render_text


@frozen
class ShareSheet:
    """Everything the sharing templates print: ``words`` by figure path, ``bars`` a bar of parts for each bed.

    A part is (kind, start, length) as fractions of the longest bar.
    """

    values: Mapping[str, Any]
    words: Mapping[str, str]
    bars: tuple[tuple[tuple[str, float, float], ...], ...]
    assumed: Mapping[str, str]
    cautions: tuple[Caution, ...]


def share_sheet(answer: WinterAnswer, locale: str, own: OwnUnits) -> ShareSheet:
    """Return the sheet of a sharing answer with numbers written as ``locale`` writes them, in the grower's units."""
    figures = flat_figures(answer.values)
    beds = [
        {kind: bed[path]["value"] for kind, path in (("dry", "dry"), ("sludge", "sludge"), ("feed", "feed_ash"))}
        for bed in answer.values["share"]["beds"]
    ]
    longest = max((sum(bed.values()) for bed in beds), default=0.0) or 1.0
    return ShareSheet(
        values=answer.values,
        words={path: figure_words(_in_kilograms(figure, own), locale, own) for path, figure in figures.items()},
        bars=tuple(_bar(bed, longest) for bed in beds),
        assumed=answer.assumed,
        cautions=answer.cautions,
    )


def _in_kilograms(figure: Figure, own: OwnUnits) -> Figure:
    """Return a figure of a kilogram or more in kilograms, unless the grower reads pounds."""
    if figure["unit"] != "g" or figure["value"] < 1000 or own.area == "ft^2":
        return figure
    return {**figure, "unit": "kg", **{name: figure[name] / 1000 for name in ("value", "low", "high")}}


def _bar(bed: Mapping[str, float], longest: float) -> tuple[tuple[str, float, float], ...]:
    parts, start = [], 0.0
    for kind, grams in bed.items():
        if grams > 0:
            parts.append((kind, start, grams / longest))
            start += grams / longest
    return tuple(parts)


def share_html(sheet: ShareSheet, language: str = "en") -> str:
    """Return a winter's ash shared out over the beds as HTML."""
    return render("share.html.j2", language, sheet=sheet, w=sheet.words)


def share_markdown(sheet: ShareSheet, language: str = "en") -> str:
    """Return a winter's ash shared out over the beds as Markdown that also reads well as plain text."""
    return render_text("share.md.j2", language, sheet=sheet, w=sheet.words)
