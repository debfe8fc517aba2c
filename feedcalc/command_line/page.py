"""The verb that opens the built page."""

from __future__ import annotations

import webbrowser
from pathlib import Path

import click

# In an installed wheel the page lies beside this module, in a clone where the build puts it.
PLACES = (
    Path(__file__).resolve().with_name("feedcalc.html"),
    Path(__file__).resolve().parents[2] / "dist/feedcalc.html",
)


@click.command("page")
@click.option("--where", is_flag=True, help="Only say where the page is.")
def page_verb(where: bool) -> None:
    """Open the page, which needs no network, in the browser."""
    page = next((place for place in PLACES if place.is_file()), None)
    if page is None:
        raise click.ClickException(
            "This installation has no page. Run python3 build.py in a clone of feedcalc; the wheel in its dist/ has it."
        )
    click.echo(page if where else f"Opening {page}")
    if not where and not webbrowser.open(page.as_uri()):
        raise click.ClickException("No browser could be started. Open that file yourself.")
