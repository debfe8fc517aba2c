"""The verbs that answer for one batch or one patch of ground, and the verb that takes and gives JSON.

No arithmetic and no rounding happen here: words and numbers come from the engine. A sheet is set in the width of the
terminal; a pipe or a file gets plain Markdown.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TextIO

import click

from feedcalc.command_line.environment import with_usual_language
from feedcalc.command_line.files import read_stream, write_file
from feedcalc.command_line.options import (
    EPILOG,
    BatchCommand,
    batch_options,
    edit_request,
    is_demo,
    option_named,
    request_from,
)
from feedcalc.command_line.refusals import refuse
from feedcalc.command_line.terminal import print_width, set_markdown
from feedcalc.engine import calculate, calculate_markdown, demo_request
from feedcalc.words.errors import InputError
from feedcalc.words.languages import LANGUAGES, language_asked
from feedcalc.words.messages import said, said_in

LINES_OF_A_PAGE = 60
_OF_DANGER = "- **!** "
_SAVE_HELP = "Write the request to FILE, for --from, label and wall; '-' for standard output."
_DEMO_NOTE = said('This is a demo. Your own: feedcalc sheet --can "2 x 9 L" --kind oak')


def _shown(command: Any) -> Any:
    """Return a verb with the options of what is written, and where."""
    command = click.option("--json", "as_json", is_flag=True, help="Write the whole reply as JSON.")(command)
    return click.option("--save", metavar="FILE", help=_SAVE_HELP)(command)


def _part_verb(name: str, part: str, words: str) -> click.Command:
    """Return a verb that shows one part of the batch sheet."""

    @click.command(name, cls=BatchCommand, help=words, epilog=EPILOG)
    @batch_options
    @_shown
    def verb(**options: Any) -> None:
        answer(part, options, {})

    return verb


settle_verb = _part_verb("settle", "settle", "How long until the liquor is clear, and how much pours off.")
ladder_verb = _part_verb("ladder", "ladder", "Every dilution from 1:1 to 1:20 and yours, and which plants it suits.")
delivery_verb = _part_verb("delivery", "delivery", "What a can, a plant and a square metre receive.")
air_verb = _part_verb(
    "air", "air", "How the liquor's pH falls over the days, and what free lime in the ash makes of it."
)
mix_verb = _part_verb("mix", "mix", "Whether the feed may share a can with a second thing: --with 'epsom salt'.")
neutralise_verb = _part_verb(
    "neutralise", "acid", "How much vinegar or citric acid brings the feed to a pH: --acid and --target-ph."
)


@click.command("sheet", cls=BatchCommand, epilog=EPILOG)
@batch_options
@click.option("--full", is_flag=True, help="All of it: every caution, table, assumption and source.")
@_shown
def sheet_verb(full: bool, **options: Any) -> None:
    """The batch sheet on one page: danger, steps with their cautions, dilution, verdict. --full has the rest."""
    answer("sheet" if full else "short", options, {})


@click.command("spread", cls=BatchCommand, epilog=EPILOG)
@batch_options
@_shown
def spread_verb(**options: Any) -> None:
    """How much dry ash or sludge a year this ground may have, beside what gardeners use.

    \b
    Example:
      feedcalc spread --soil-ph 6.0 --tested-with kit --texture loam --plant tomato
    """
    answer("spread", options, {"ask": "spread"})


@click.command("calculate")
@click.argument("source", type=click.File(encoding="utf-8-sig"), default="-", metavar="[FILE]")
@click.option("--language", type=click.Choice(list(LANGUAGES)), help="Words of the reply, before the request's own.")
def calculate_verb(source: TextIO, language: str | None) -> None:
    """Read a request as JSON from FILE or standard input, write the reply as JSON.

    \b
    Example:
      echo '{"schema": 1, "cans": [{"size": "9 L", "count": 2}]}' | feedcalc calculate
    """
    request = read_stream(source)
    if language:
        request = edit_request(request, lambda document: document | {"language": language})
    _show_json(request)


def answer(part: str, options: Mapping[str, Any], more: dict[str, Any]) -> dict[str, Any]:
    """Show or save what options, file and kept ash ask for; ``more`` is laid over the request.

    Return the reply that was shown, empty where there was none.
    """
    request = _request(options)
    if more:
        request = edit_request(request, lambda document: document | more)
    if options["save"] and _save(request, options["save"]):
        return {}
    return _show_json(request) if options["as_json"] else _show(part, request, options)


def _request(options: Mapping[str, Any]) -> str:
    """Return the request that the options, the file and a kept ash make together."""
    name = options["my_ash"]
    text = request_from(options, default=demo_request())
    if name is None:
        return text
    from feedcalc.command_line.ash import with_my_ash  # SQLite is needed only for a kept ash

    try:
        return edit_request(text, lambda document: with_my_ash(document, name))
    except InputError as error:
        refuse([{**error.as_dict(), "field": "--my-ash"}], language_asked(with_usual_language(text)).speak)


def _save(request: str, file: str) -> bool:
    """Write a request to a file, or to standard output, which then gets nothing else (True)."""
    document = json.loads(request) if request.lstrip().startswith("{") else None
    text = request if document is None else json.dumps(document, ensure_ascii=False, indent=2)
    if file == "-":
        click.echo(text)
        return True
    write_file(Path(file), f"{text}\n".encode(), "--save")
    click.echo(
        language_asked(with_usual_language(request)).speak(
            said_in("said after it was done", "Saved: {file}", file=file)
        ),
        err=True,
    )
    return False


def _show(part: str, request: str, options: Mapping[str, Any]) -> dict[str, Any]:
    if is_demo(options) and options["locale"] is None:  # the usual one of the language, not the demo's
        request = edit_request(request, lambda document: document | {"locale": None})
    request = with_usual_language(request)
    reply, words = calculate_markdown(request, part)
    speak = language_asked(request).speak
    if not reply["ok"]:
        refuse([{**error, "field": option_named(error["field"], options)} for error in reply["errors"]], speak)
    if is_demo(options):
        words = f"{speak(_DEMO_NOTE)}\n{words}"
    click.echo(_set_sheet(words, part), nl=False)
    return reply


def _set_sheet(words: str, part: str) -> str:
    """Return a sheet set for the terminal.

    The short one has a line for each caution where it then fits a page; else at least for those of the danger.
    """
    width, is_screen = print_width(), sys.stdout.isatty()
    if part != "short":
        return set_markdown(words, width, is_screen)
    text = ""
    for with_own_lines in ("", _OF_DANGER, None):
        rows = (
            line if with_own_lines is None or not line.startswith(with_own_lines) else _cautions_apart(line)
            for line in words.splitlines()
        )
        text = set_markdown("\n".join(rows), width, is_screen)
        if text.count("\n") > LINES_OF_A_PAGE:
            text = text.replace("\n\n", "\n")
        if text.count("\n") <= LINES_OF_A_PAGE:
            break
    return text


def _cautions_apart(line: str) -> str:
    """Return a line of the short sheet with a line for each of its cautions.

    >>> _cautions_apart("4. Stir. **!** Goggles on.")
    '4. Stir.\\n   - **!** Goggles on.'
    """
    if line.startswith(_OF_DANGER):
        return line.replace(" **!** ", "\n- **!** ").replace("-\n- ", "- ", 1)
    return line.replace(" **!** ", "\n   - **!** ")


def _show_json(request: str) -> dict[str, Any]:
    text = calculate(request)
    click.echo(text)
    reply: dict[str, Any] = json.loads(text)
    if not reply["ok"]:
        sys.exit(1)
    return reply
