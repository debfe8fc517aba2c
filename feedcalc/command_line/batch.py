"""The verbs that answer for one batch or one patch of ground, and the verb that takes and gives JSON.

No arithmetic and no rounding happen here: words and numbers come from the engine. On a terminal the sheet is set with
rich; a pipe or a file gets the same text without colour.
"""

from __future__ import annotations

import json
import sys
from typing import Any, TextIO

import click

from feedcalc.command_line.files import read_stream
from feedcalc.command_line.options import EPILOG, batch_options, edit_request, request_from
from feedcalc.command_line.refusals import refuse
from feedcalc.engine import calculate, calculate_markdown, demo_request
from feedcalc.words.errors import InputError
from feedcalc.words.languages import language_asked


def _sheet_verb(name: str, part: str, words: str) -> click.Command:
    """Return a verb that shows one part of the batch sheet."""

    @click.command(name, help=words, epilog=EPILOG)
    @batch_options
    def verb(**options: Any) -> None:
        _show(part, _request(options), options["as_json"])

    return verb


sheet_verb = _sheet_verb("sheet", "sheet", "The whole batch sheet: steps, liquor, dilution, delivery, cautions.")
settle_verb = _sheet_verb("settle", "settle", "How long until the liquor is clear, and how much pours off.")
ladder_verb = _sheet_verb("ladder", "ladder", "Every dilution from 1:1 to 1:20 and yours, and which plants it suits.")
delivery_verb = _sheet_verb("delivery", "delivery", "What a can, a plant and a square metre receive.")
air_verb = _sheet_verb(
    "air", "air", "How the liquor's pH falls as it stands, and what free lime in the ash makes of it."
)
mix_verb = _sheet_verb("mix", "mix", "Whether the feed may share a can with a second thing: --with 'epsom salt'.")
neutralise_verb = _sheet_verb(
    "neutralise", "acid", "How much vinegar or citric acid brings the feed to a pH: --acid and --target-ph."
)


@click.command("spread", epilog=EPILOG)
@batch_options
def spread_verb(**options: Any) -> None:
    """How much dry ash or sludge a year this ground may have, beside what gardeners use.

    \b
    Example:
      feedcalc spread --soil-ph 6.0 --tested-with kit --texture loam --plant tomato
    """
    request = edit_request(_request(options), lambda document: document | {"ask": "spread"})
    _show("spread", request, options["as_json"])


@click.command("calculate")
@click.argument("source", type=click.File(encoding="utf-8"), default="-", metavar="[FILE]")
def calculate_verb(source: TextIO) -> None:
    """Read a request as JSON from FILE or standard input, write the reply as JSON.

    \b
    Example:
      echo '{"schema": 1, "cans": [{"size": "9 L", "count": 2}]}' | feedcalc calculate
    """
    _show_json(read_stream(source))


def _request(options: dict[str, Any]) -> str:
    """Return the request that the options, the file and a kept ash make together."""
    name = options["my_ash"]
    if name is None:
        return request_from(options, default=demo_request())
    from feedcalc.command_line.ash import with_my_ash  # SQLite is needed only for a kept ash

    text = request_from(options, default='{"schema": 1}')
    try:
        return edit_request(text, lambda document: with_my_ash(document, name))
    except InputError as error:
        refuse([error.as_dict()], language_asked(text).speak)


def _show(part: str, request: str, as_json: bool) -> None:
    if as_json:
        _show_json(request)
        return
    reply, words = calculate_markdown(request, part)
    if not reply["ok"]:
        refuse(reply["errors"], language_asked(request).speak)
    if sys.stdout.isatty():
        from rich.console import Console  # slow to load, and of use on a terminal only
        from rich.markdown import Markdown

        Console().print(Markdown(words))
    else:
        click.echo(words, nl=False)


def _show_json(request: str) -> None:
    reply = calculate(request)
    click.echo(reply)
    if not json.loads(reply)["ok"]:
        sys.exit(1)
