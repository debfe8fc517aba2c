"""The verb that opens the built page."""

from __future__ import annotations

import webbrowser
from pathlib import Path

import click

from feedcalc.command_line.environment import usual_language
from feedcalc.words.languages import LANGUAGES
from feedcalc.words.languages import language as language_of
from feedcalc.words.messages import said, said_in

# In an installed wheel the page lies beside this module, in a clone where the build puts it.
PLACES = (
    Path(__file__).resolve().with_name("feedcalc.html"),
    Path(__file__).resolve().parents[2] / "dist/feedcalc.html",
)


@click.command("page")
@click.option("--where", is_flag=True, help="Only say where the page is.")
@click.option("--language", type=click.Choice(list(LANGUAGES)), help="Words of what is shown.")
def page_verb(where: bool, language: str | None) -> None:
    """Open the page, which needs no network, in the browser."""
    speak = language_of(language or usual_language().get("language", "en")).speak
    page = next((place for place in PLACES if place.is_file()), None)
    if page is None:
        problem = said(
            "This installation has no page. Run {command} in a clone of feedcalc; the wheel in its {folder} has it.",
            command="python3 build.py",
            folder="dist/",
        )
        raise click.ClickException(speak(problem))
    click.echo(page if where else speak(said_in("progress", "Opening {file} …", file=str(page))))
    if not where and not webbrowser.open(page.as_uri()):
        raise click.ClickException(speak(said("No browser could be started. Open that file yourself.")))
