"""The verb that opens the built page."""

from __future__ import annotations

import webbrowser
from pathlib import Path

import click


@click.command("page")
@click.option("--where", is_flag=True, help="Only say where the page is.")
def page_verb(where: bool) -> None:
    """Open the page, which needs no network, in the browser."""
    page = Path(__file__).resolve().parents[2] / "dist" / "feedcalc.html"
    if not page.is_file():
        raise click.ClickException("The page has not been built yet. Run: python3 build.py")
    click.echo(page if where else f"Opening {page}")
    if not where and not webbrowser.open(page.as_uri()):
        raise click.ClickException("No browser could be started. Open that file yourself.")
