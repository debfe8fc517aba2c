"""The figures of a dry-ash answer in words, for the spreading templates.

* Nothing is calculated here; verdict, reasons and cautions are those of the answer.
* ``words`` holds the text of each figure by its path in ``values``.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from feedcalc.contract.cautions import Caution
from feedcalc.contract.figures import figure_words, flat_figures
from feedcalc.contract.measures import measure_words
from feedcalc.contract.own_measures import OwnUnits
from feedcalc.frozen import frozen
from feedcalc.garden.spreading import SpreadAnswer
from feedcalc.sheets.render import render, render_text


@frozen
class SpreadSheet:
    """Everything the spreading templates print: the values of the contract and each figure in words by its path."""

    values: Mapping[str, Any]
    words: Mapping[str, str]
    verdict: str
    reasons: tuple[Mapping[str, str], ...]
    assumed: Mapping[str, str]
    cautions: tuple[Caution, ...]
    level_measures: str = ""
    in_feet: bool = False


def spread_sheet(answer: SpreadAnswer, locale: str, own: OwnUnits) -> SpreadSheet:
    """Return the sheet of a dry-ash answer with numbers written as ``locale`` writes them, in the grower's units."""
    return SpreadSheet(
        values=answer.values,
        words={path: figure_words(figure, locale, own) for path, figure in flat_figures(answer.values).items()},
        verdict=answer.verdict.word,
        reasons=tuple(answer.values["reasons"]),
        assumed=answer.assumed,
        cautions=answer.cautions,
        level_measures=measure_words(answer.level_measures, locale) if answer.level_measures else "",
        in_feet=own.area == "ft^2",
    )


def spread_html(sheet: SpreadSheet, language: str = "en") -> str:
    """Return the advice on dry ash as HTML."""
    return render("spread.html.j2", language, sheet=sheet, w=sheet.words)


def spread_markdown(sheet: SpreadSheet, language: str = "en") -> str:
    """Return the advice on dry ash as Markdown that also reads well as plain text."""
    return render_text("spread.md.j2", language, sheet=sheet, w=sheet.words)
