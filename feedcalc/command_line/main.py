"""The command line: reads options or a file into a request, asks the engine, shows the reply.

Rules of this room: no arithmetic and no rounding; words and numbers come from the engine. Exit codes: 0 for an
answer, 1 where the request was refused (every fault is named on standard error), 2 for a wrong use of the command.
On a terminal the sheet is set with rich; into a pipe or file goes the same text without colour.
"""

from __future__ import annotations

import json
import os
import re
import sys
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Any, NoReturn, TextIO

import click
from rich.console import Console
from rich.markdown import Markdown

from feedcalc.command_line.ash import ash_verb, keep, with_my_ash
from feedcalc.command_line.book import Desk, book_verb
from feedcalc.command_line.label import label_verb, text_of, wall_verb
from feedcalc.command_line.plants import plants_found
from feedcalc.command_line.plots.command import season_verb
from feedcalc.engine import calculate, calculate_markdown, demo_request
from feedcalc.words.errors import InputError, refusal_words
from feedcalc.words.json_text import json_object
from feedcalc.words.languages import LANGUAGES, language_asked

# Option, path in the request, what it says.
OPTIONS: tuple[tuple[str, str, str], ...] = (
    ("--ash", "ash.amount", "How much ash: '1 cup', '250 mL', '100 g'. Left out: as much as the cans want."),
    ("--kind", "ash.kind", "What was burnt: mixed, hardwood, softwood, bark."),
    ("--state", "ash.state", "fresh (kept dry since the fire) or aged (damp or open for weeks)."),
    ("--measure", "ash.measure", "cups or scales: how the ash is measured out."),
    ("--water", "water.amount", "How much water it steeps in: '5 L', '1 gal (UK)'."),
    ("--water-kind", "water.kind", "rain, soft, medium, hard, very_hard, softened."),
    ("--temperature", "water.temperature", "Temperature of the steep: '12 degC'."),
    ("--dilute-with", "dilution_water.kind", "Water to dilute with, where it is another one."),
    ("--time", "steep.time", "How long it stands: '24 h'."),
    ("--bucket", "vessel.capacity", "What the bucket holds, brim full: '12 L'."),
    ("--depth", "vessel.depth", "Inside height of the bucket: '30 cm'."),
    ("--dilution", "dilution", "Liquor to water: '1:10'. Left out: by published limits for the stage."),
    ("--stage", "stage", "seedling, young or established."),
    ("--use", "use", "drench or foliar."),
    ("--plant", "plant", "Which plant, by any of its names."),
    ("--place", "place", "open ground, raised bed, pot, plug tray, near pond or drain."),
    ("--season", "season", "sowing, growing or resting."),
    ("--soil-ph", "soil.ph", "pH of the soil."),
    ("--tested-with", "soil.tested_with", "How that was read: laboratory, meter, kit, strip."),
    ("--texture", "soil.texture", "sand, loam, clay or peat."),
    ("--soil-target", "soil.target_ph", "pH the soil should reach, for dry ash."),
    ("--dug", "soil.dug_depth", "How deep dry ash is dug in: '15 cm'."),
    ("--area", "soil.area", "Area that gets the feed: '4 m2'."),
    ("--acid", "acid.kind", "vinegar or 'citric acid', to bring the feed's pH down."),
    ("--acid-strength", "acid.strength", "Strength of the acid: '5 %'."),
    ("--target-ph", "acid.target_ph", "The pH the acid should bring the feed to: '7'."),
    ("--with", "mixing.with", "What else would go into the can: 'calcium nitrate', urea, soap ..."),
    ("--dose", "mixing.dose", "How much of it: '1 g/L'. Left out: a usual strength."),
    ("--air", "steep.air", "covered or open: how the bucket stands."),
    ("--weighed", "ash.weighings", "What a level measure of the ash weighed: '98 g; 104 g; 101 g'."),
    ("--weighed-measure", "ash.weighed_measure", "The measure that was weighed; a cup where left out: '250 mL'."),
    ("--ec", "measured.ec", "Conductivity read of the liquor: '7 mS/cm'. Narrows the ranges."),
    ("--ph", "measured.ph", "pH read of the liquor: '12.1'. Narrows the ranges."),
    ("--ph-by", "measured.ph_by", "meter or strip: what that pH was read with."),
    ("--ph-width", "measured.ph_width", "How far that pH may be off, either way: '0.3'."),
    ("--water-ec", "water.analysis.ec", "Conductivity read of the water alone: '0.4 mS/cm'."),
    ("--read-at", "measured.temperature", "Temperature of the readings: '18 degC'."),
    ("--compensated", "measured.compensated", "yes or no: whether the pen brings its reading to 25 degC."),
    ("--read-of", "measured.of", "liquor or feed: what was read."),
    ("--read-after", "measured.after", "Time from stirring to the reading: '2 h'."),
    ("--acid-drops", "measured.acid_drops", "Vinegar that 100 mL of liquor took to a strip's change: '3 mL'."),
    ("--acid-drops-strength", "measured.acid_strength", "Strength of that vinegar: '5 %'."),
    ("--acid-drops-end", "measured.acid_end", "pH at which that strip changes: '6'."),
    ("--clear-depth", "measured.clear_depth", "Depth down to which the liquor was seen clear: '8 cm'."),
    ("--clear-after", "measured.clear_after", "When that was seen: '2 h' after stirring."),
    ("--start", "now", "When the steep begins: 2026-05-01T09:00."),
    ("--language", "language", "Words of the sheet: en, es, fr, de, pt, hi."),
    ("--locale", "locale", "How numbers are typed and written: en-GB, en-US, de-DE ..."),
    ("--customs", "customs", "Whose cups and gallons: us, metric, uk."),
)

EPILOG = """\b
Examples:
  feedcalc sheet                                   the demo: two 10 L cans
  feedcalc sheet --can "2 x 9 L" --kind hardwood --state aged
  feedcalc sheet --ash "1 cup" --water "1 gal (US)" --customs us
  feedcalc ladder --ash "100 g" --water "5 L" --dilute-with hard
  feedcalc sheet --ash "1 cup" --water "5 L" --ec "7 mS/cm" --ph 12.1 --read-at "18 degC"
  feedcalc sheet --from batch.json --json > reply.json

Ash liquor is caustic: goggles and gloves on, and never in a food bottle. Local rules come first."""


class _Verbs(click.Group):
    """Says in one line that nothing more can be written, such as to a full disk, and not with a traceback."""

    def main(self, *arguments: Any, **options: Any) -> Any:
        try:
            return super().main(*arguments, **options)
        except OSError as reason:
            click.echo(f"Error: {reason.filename or 'what comes out'} can't be written: {reason.strerror}.", err=True)
            os._exit(1)  # what still waits to be written out would only fail once more


@click.group(cls=_Verbs, epilog=EPILOG, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="feedcalc")
def main() -> None:
    """Liquid mineral feed from wood ash: what to weigh, pour, wait for and dilute, and what each can delivers.

    Without options each verb answers for the demo scenario.
    """


def _batch_options(command: Callable[..., None]) -> Callable[..., None]:
    """Give a verb the options that make up a request."""
    command = click.option("--json", "as_json", is_flag=True, help="Write the whole reply as JSON.")(command)
    command = click.option(
        "--from",
        "source",
        type=click.File(encoding="utf-8"),
        help="A request as JSON; '-' for standard input. Options go before it.",
    )(command)
    command = click.option("--my-ash", "my_ash", help="The ash kept under this name (see: feedcalc ash).")(command)
    command = click.option(
        "--can", "cans", multiple=True, help="A can to fill: '9 L' or '2 x 9 L'. May stand several times."
    )(command)
    for flag, path, words in reversed(OPTIONS):
        command = click.option(flag, path.replace(".", "__"), help=words)(command)
    return command


def _verb(name: str, part: str, words: str) -> None:
    @main.command(name, help=words, epilog=EPILOG)
    @_batch_options
    def verb(**options: Any) -> None:
        _show(part, options)


_verb("sheet", "sheet", "The whole batch sheet: steps, liquor, dilution, delivery, cautions.")
_verb("settle", "settle", "How long until the liquor is clear, and how much pours off.")
_verb("ladder", "ladder", "Every dilution from 1:1 to 1:20 and yours, and which plants it suits.")
_verb("delivery", "delivery", "What a can, a plant and a square metre receive.")
_verb("air", "air", "How the liquor's pH falls as it stands, and what free lime in the ash makes of it.")
_verb("mix", "mix", "Whether the feed may share a can with a second thing: --with 'epsom salt'.")
_verb("neutralise", "acid", "How much vinegar or citric acid brings the feed to a pH: --acid and --target-ph.")


@main.command("spread", epilog=EPILOG)
@_batch_options
def spread_verb(**options: Any) -> None:
    """How much dry ash or sludge a year this ground may have, beside what gardeners use.

    \b
    Example:
      feedcalc spread --soil-ph 6.0 --tested-with kit --texture loam --plant tomato
    """
    _show("spread", options, ask="spread")


@ash_verb.command("keep")
@click.argument("name")
@click.option("--date", "day", help="When the batch was made, 2026-05-01. Left out: its start, or today.")
@_batch_options
@click.pass_obj
def ash_keep_verb(desk: Desk, /, name: str, day: str | None, **options: Any) -> None:
    """Keep under NAME what this batch's readings, weighings or analysis say of the ash."""
    text = _typed_request(options, instead='{"schema": 1}')
    document = json_object(text)
    if document is None:
        _refuse(json.loads(calculate(text))["errors"], text)
    keep(desk, name, day, document)


@main.command("plants")
@click.argument("name", nargs=-1)
@click.option("--language", type=click.Choice(list(LANGUAGES)), default="en", help="Words of what is shown.")
@click.option("--json", "as_json", is_flag=True, help="Write the plants as JSON.")
def plants_verb(name: tuple[str, ...], language: str, as_json: bool) -> None:
    """Whether a plant bears ash and which soil pH it likes, by common or botanical NAME; all without one.

    \b
    Examples:
      feedcalc plants hydrangea
      feedcalc plants "Vaccinium corymbosum" --json
    """
    found, words = plants_found(" ".join(name), language)
    if as_json:
        click.echo(json.dumps(found, ensure_ascii=False))
    else:
        click.echo(words, nl=False, err=not found)
    if not found:
        sys.exit(1)


@main.command("calculate")
@click.argument("source", type=click.File(encoding="utf-8"), default="-", metavar="[FILE]")
def calculate_verb(source: TextIO) -> None:
    """Read a request as JSON from FILE or standard input, write the reply as JSON.

    \b
    Example:
      echo '{"schema": 1, "cans": [{"size": "9 L", "count": 2}]}' | feedcalc calculate
    """
    reply = calculate(text_of(source))
    click.echo(reply)
    if not json.loads(reply)["ok"]:
        sys.exit(1)


main.add_command(label_verb)
main.add_command(ash_verb)
main.add_command(book_verb)
main.add_command(wall_verb)
main.add_command(season_verb)


@main.command("page")
@click.option("--where", is_flag=True, help="Only say where the page is.")
def page_verb(where: bool) -> None:
    """Open the page, which needs no network, in the browser."""
    page = Path(__file__).resolve().parents[2] / "dist" / "feedcalc.html"
    if not page.is_file():
        raise click.ClickException("The page has not been built yet. Run: python3 build.py")
    click.echo(page if where else f"Opening {page}")
    if not where and not webbrowser.open(page.as_uri()):
        raise click.ClickException("No browser could be started. Open that file yourself.")


def _show(part: str, options: dict[str, Any], ask: str | None = None) -> None:
    request = _request(options)
    if ask is not None:
        request = _asking(request, ask)
    if options["as_json"]:
        text = calculate(request)
        click.echo(text)
        if not json.loads(text)["ok"]:
            sys.exit(1)
        return
    reply, words = calculate_markdown(request, part)
    if not reply["ok"]:
        _refuse(reply["errors"], request)
    if sys.stdout.isatty():
        Console().print(Markdown(words))
    else:
        click.echo(words, nl=False)


def _request(options: dict[str, Any]) -> str:
    """The request that the options, the file and a kept ash make together, options going first."""
    if options["my_ash"] is None:
        return _typed_request(options)
    text = _typed_request(options, instead='{"schema": 1}')
    document = json_object(text)
    try:
        return text if document is None else json.dumps(with_my_ash(document, options["my_ash"]))
    except InputError as error:
        _refuse([error.as_dict()], text)


def _typed_request(options: dict[str, Any], instead: str | None = None) -> str:
    """What options and file say; where neither says anything ``instead``, or the demo."""
    given = {path: options[path.replace(".", "__")] for _, path, _ in OPTIONS}
    given = {path: text for path, text in given.items() if text is not None}
    if options["source"] is None and not given and not options["cans"]:
        return instead or demo_request()
    document: dict[str, Any] = {"schema": 1}
    if options["source"] is not None:
        text = text_of(options["source"])
        told = json_object(text)
        if told is None or (not given and not options["cans"]):
            return text
        document = told
    for path, value in given.items():
        *groups, name = path.split(".")
        place = document
        for group in groups:
            inner = place.get(group)
            if not isinstance(inner, dict):
                inner = place[group] = {}
            place = inner
        place[name] = value
    if options["cans"]:
        document["cans"] = [_can(text) for text in options["cans"]]
    return json.dumps(document)


def _asking(request: str, ask: str) -> str:
    """The same request for another answer; what is no request stays as it is, to be refused by the engine.

    >>> _asking('{"schema": 1}', "spread")
    '{"schema": 1, "ask": "spread"}'
    """
    document = json_object(request)
    return request if document is None else json.dumps(document | {"ask": ask})


def _can(text: str) -> dict[str, Any]:
    """``2 x 9 L`` as a row of the request's cans.

    >>> _can("2 x 9 L"), _can("1,5 L")
    ({'size': '9 L', 'count': '2'}, {'size': '1,5 L', 'count': 1})
    """
    found = re.fullmatch(r"\s*(\d+)\s*[x×*]\s*(.+?)\s*", text)
    return {"size": found.group(2), "count": found.group(1)} if found else {"size": text, "count": 1}


def _refuse(errors: list[dict[str, str]], request: str) -> NoReturn:
    """Tell what was refused, in the language of the request, and end."""
    speak = language_asked(request).speak
    for error in errors:
        click.echo(speak(refusal_words(**error)), err=True)
    sys.exit(1)
