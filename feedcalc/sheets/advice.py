"""A judged recipe or a mishap in words, for the templates of the same name.

Nothing is calculated here. ``words`` holds the text of each figure by its path in ``values``.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from feedcalc.contract.cautions import Caution
from feedcalc.contract.figures import Figure, figure_words, flat_figures, shown
from feedcalc.contract.own_measures import volume_on_ground
from feedcalc.frozen import frozen
from feedcalc.liquor.judging import Judgement
from feedcalc.sheets.render import render, render_text

_SOIL_UNITS = frozenset({"a", "g/m2", "g CaCO3/m2"})
_WASHED_OUT = ("happened.leach.half_of_salt", "happened.leach.most_of_salt")
_WEIGHED_OUT = ("judge.safe.ash_mass", "judge.per_square_metre.ash", "judge.per_plant.ash")


@frozen
class AdviceSheet:
    """Everything that the template ``name`` prints: the values below that name, and each figure in words by path."""

    name: str
    values: Mapping[str, Any]
    words: Mapping[str, str]
    assumed: Mapping[str, str]
    cautions: tuple[Caution, ...]
    in_feet: bool = False


def advice_sheet(name: str, judgement: Judgement, meanings: Mapping[str, str]) -> AdviceSheet:
    """Return the sheet of a judgement; ``meanings`` says in words what each assumed field is."""
    request = judgement.request

    def words(path: str, known: Figure) -> str:
        if path in _WASHED_OUT:
            return volume_on_ground(known["value"], request.own, request.locale)
        of_soil = known["unit"] in _SOIL_UNITS or (path in _WEIGHED_OUT and request.own.area == "ft^2")
        how = figure_words if of_soil else lambda *given: shown(path, *given).full
        return how(known, request.locale, request.own)

    return AdviceSheet(
        name=name,
        values=judgement.values[name],
        words={path: words(path, known) for path, known in flat_figures(judgement.values).items()},
        assumed={meanings.get(path, path): words for path, words in judgement.assumed.items()},
        cautions=judgement.cautions,
        in_feet=request.own.area == "ft^2",
    )


def advice_html(sheet: AdviceSheet, language: str = "en") -> str:
    """Return a judged recipe or a mishap as HTML."""
    return render(f"{sheet.name}.html.j2", language, sheet=sheet, v=sheet.values, w=sheet.words)


def advice_markdown(sheet: AdviceSheet, language: str = "en") -> str:
    """Return a judged recipe or a mishap as Markdown that also reads well as plain text."""
    return render_text(f"{sheet.name}.md.j2", language, sheet=sheet, v=sheet.values, w=sheet.words)
