"""Which plants a name may mean, and what each list says of them: for the command line and whoever asks in JSON.

Rules of this room: it only hands on what `feedcalc.garden.suitability` found; nothing is judged here.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from feedcalc.garden.plants import plants, plants_named, plants_spelt_like
from feedcalc.sheets.render import plant_list_markdown


def plants_found(text: str, language: str = "en") -> tuple[list[dict[str, Any]], str]:
    """The plants that a name may mean, or the whole list for an empty one; as JSON would have them, and as Markdown
    in a language.

    >>> [plant["names"][0] for plant in plants_found("Vaccinium macrocarpon")[0]]
    ['cranberry']
    """
    found = plants_named(text) if text.strip() else plants()
    near = () if found else plants_spelt_like(text, language)
    words = plant_list_markdown(found, text, near, language)
    return [asdict(plant) | {"sources_conflict": plant.sources_conflict} for plant in found], words
