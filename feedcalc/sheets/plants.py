"""The list of plants as Markdown."""

from __future__ import annotations

from collections.abc import Sequence

from feedcalc.contract.numbers import write_number
from feedcalc.garden.plants import Plant, names_of
from feedcalc.sheets.render import render_text
from feedcalc.words.languages import USUAL_LOCALE


def plant_list_markdown(found: Sequence[Plant], asked: str, near: Sequence[str], language: str = "en") -> str:
    """Return plants with what each source says of their soil; ``near`` are similar names if none was found."""
    return render_text(
        "plants.md.j2",
        language,
        plants=[(plant, names_of(plant, language)) for plant in found],
        asked=asked,
        near=near,
        number=lambda ph: write_number(ph, 2, USUAL_LOCALE[language]),
    )
