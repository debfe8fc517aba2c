"""The verb that says what each list says of a plant. `feedcalc.garden.plants` decides; nothing is judged here."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from typing import Any

import click

from feedcalc.command_line.environment import usual_language
from feedcalc.command_line.terminal import print_width, set_markdown
from feedcalc.garden.plants import plants, plants_named, plants_spelt_like
from feedcalc.sheets.plants import plant_list_markdown
from feedcalc.words.languages import LANGUAGES


@click.command("plants")
@click.argument("name", nargs=-1)
@click.option("--language", type=click.Choice(list(LANGUAGES)), help="Words of what is shown.")
@click.option("--json", "as_json", is_flag=True, help="Write the plants as JSON.")
def plants_verb(name: tuple[str, ...], language: str | None, as_json: bool) -> None:
    """Whether a plant bears ash and which soil pH it likes, by common or botanical NAME; all without one.

    \b
    Examples:
      feedcalc plants hydrangea
      feedcalc plants "Vaccinium corymbosum" --json
    """
    found, words = find_plants(" ".join(name), language or usual_language().get("language", "en"))
    if as_json:
        click.echo(json.dumps(found, ensure_ascii=False))
    else:
        click.echo(set_markdown(words, print_width(), sys.stdout.isatty()), nl=False, err=not found)
    if not found:
        sys.exit(1)


def find_plants(text: str, language: str = "en") -> tuple[list[dict[str, Any]], str]:
    """Return the plants that a name may mean (all for an empty name) as JSON rows, and as Markdown in a language.

    >>> [plant["names"][0] for plant in find_plants("Vaccinium macrocarpon")[0]]
    ['cranberry']
    """
    found = plants_named(text) if text.strip() else plants()
    near = () if found else plants_spelt_like(text, language)
    words = plant_list_markdown(found, text, near, language)
    return [asdict(plant) | {"sources_conflict": plant.sources_conflict} for plant in found], words
