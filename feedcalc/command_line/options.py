"""The options that describe a batch, and the request that they make together with a file.

An option goes before what the file says in the same place. A file that holds no JSON object is handed on as it is,
because the engine refuses it in words.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any

import click

from feedcalc.command_line.files import read_stream
from feedcalc.words.json_text import json_object

# Option, path in the request, help.
OPTIONS: tuple[tuple[str, str, str], ...] = (
    ("--ash", "ash.amount", "How much ash: '1 cup', '250 mL', '100 g'. Left out: as much as the cans want."),
    ("--kind", "ash.kind", "What was burnt: mixed, hardwood, softwood, bark."),
    (
        "--state",
        "ash.state",
        "unknown, fresh (kept dry since the fire), aged (damp or open for weeks) or leached (rained on, or steeped "
        "before).",
    ),
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
    ("--soil-potassium", "soil.potassium", "Potassium that a test found in the soil: '150 mg/kg', '300 lb/acre'."),
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
    ("--acid-by", "measured.acid_by", "turmeric, 'red cabbage' or strip: what shows the change."),
    ("--cabbage", "measured.colour", "Colour of red cabbage water in the liquor: green, green-yellow, yellow ..."),
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


def batch_options(command: Callable[..., None]) -> Callable[..., None]:
    """Return a verb with the options that make up a request."""
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


# Options that say how a batch is told, not what it is.
_HOW_IT_IS_TOLD = {"language", "locale", "customs"}


def request_from(options: dict[str, Any], default: str) -> str:
    """Return the request that options and file make; that of ``default`` where neither says anything of the batch."""
    given = {path: options[path.replace(".", "__")] for _, path, _ in OPTIONS}
    given = {path: text for path, text in given.items() if text is not None}
    cans = [_can(text) for text in options["cans"]]
    if options["source"] is not None:
        text = read_stream(options["source"])
    elif cans or given.keys() - _HOW_IT_IS_TOLD:
        text = '{"schema": 1}'
    else:
        # A language brings its own way of writing numbers.
        text = edit_request(default, lambda document: document | {"locale": None}) if "language" in given else default
    return edit_request(text, lambda document: _with_options(document, given, cans)) if given or cans else text


def edit_request(text: str, edit: Callable[[dict[str, Any]], dict[str, Any]]) -> str:
    """Return a request after ``edit``; a text that holds no JSON object stays as it is.

    >>> edit_request('{"schema": 1}', lambda document: document | {"ask": "spread"})
    '{"schema": 1, "ask": "spread"}'
    """
    document = json_object(text)
    return text if document is None else json.dumps(edit(document))


def _with_options(document: dict[str, Any], given: dict[str, str], cans: list[dict[str, Any]]) -> dict[str, Any]:
    for path, value in given.items():
        *groups, name = path.split(".")
        place = document
        for group in groups:
            inner = place.get(group)
            if not isinstance(inner, dict):
                inner = place[group] = {}
            place = inner
        place[name] = value
    return document | {"cans": cans} if cans else document


def _can(text: str) -> dict[str, Any]:
    """Return ``2 x 9 L`` as a row of the request's cans.

    >>> _can("2 x 9 L"), _can("1,5 L")
    ({'size': '9 L', 'count': '2'}, {'size': '1,5 L', 'count': 1})
    """
    found = re.fullmatch(r"\s*(\d+)\s*[x×*]\s*(.+?)\s*", text)
    return {"size": found.group(2), "count": found.group(1)} if found else {"size": text, "count": 1}
