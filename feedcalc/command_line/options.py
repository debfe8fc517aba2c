"""The options that describe a batch, and the request that they make together with a file.

An option goes before what the file says in the same place. A file that holds no JSON object is handed on as it is,
because the engine refuses it in words.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from typing import Any

import click

from feedcalc.command_line.files import read_stream
from feedcalc.frozen import frozen
from feedcalc.words.json_text import json_object


@frozen
class BatchOption:
    """An option: its flag, its path in the request, the group it is listed in, and its help."""

    flag: str
    path: str
    group: str
    words: str

    @property
    def name(self) -> str:
        """The name of the parameter."""
        return self.path.replace(".", "__")


ASH, WATER, BUCKET, CANS = "Ash", "Water", "Bucket and wait", "Cans and dilution"
PLANTS, SOIL, ADDED, READ = "Plants", "Soil", "Acid, and what else goes in", "Readings"
WRITTEN, FILES = "How it is written", "Files"

OPTIONS: tuple[BatchOption, ...] = tuple(
    BatchOption(*row)
    for row in (
        ("--ash", "ash.amount", ASH, "How much: '1 cup', '250 mL', '100 g'. Left out: as much as the cans want."),
        ("--kind", "ash.kind", ASH, "mixed, hardwood, softwood, bark, or a tree: oak is a hardwood, pine a softwood."),
        ("--state", "ash.state", ASH, "unknown, fresh (kept dry), aged (damp or open for weeks), leached (rained on)."),
        ("--measure", "ash.measure", ASH, "cups or scales: how the ash is measured out."),
        ("--weighed", "ash.weighings", ASH, "What a level measure of it weighed: '98 g; 104 g; 101 g'."),
        ("--weighed-measure", "ash.weighed_measure", ASH, "The measure that was weighed; else a cup: '250 mL'."),
        ("--water", "water.amount", WATER, "How much water it steeps in: '5 L', '1 gal (UK)'."),
        ("--water-kind", "water.kind", WATER, "rain, soft, medium, hard, very_hard, softened."),
        ("--temperature", "water.temperature", WATER, "Temperature of the steep: '12 degC'."),
        ("--dilute-with", "dilution_water.kind", WATER, "Water to dilute with, where it is another one."),
        ("--water-ec", "water.analysis.ec", WATER, "Conductivity read of the water alone: '0.4 mS/cm'."),
        ("--time", "steep.time", BUCKET, "How long it steeps and settles: '24 h'."),
        ("--bucket", "vessel.capacity", BUCKET, "What the bucket holds, brim full: '12 L'."),
        ("--depth", "vessel.depth", BUCKET, "Inside height of the bucket: '30 cm'."),
        ("--air", "steep.air", BUCKET, "Whether the bucket is covered or open."),
        ("--start", "now", BUCKET, "When the steep begins: 2026-05-01T09:00."),
        ("--dilution", "dilution", CANS, "Liquor to water: '1:10'. Left out: by published limits for the stage."),
        ("--stage", "stage", PLANTS, "seedling, young or established."),
        ("--use", "use", PLANTS, "drench or foliar."),
        ("--plant", "plant", PLANTS, "Which plant, by any of its names."),
        (
            "--place",
            "place",
            PLANTS,
            "open ground, raised bed, pot, plug tray, near pond or drain, greenhouse, hydroponics, worm bin.",
        ),
        ("--season", "season", PLANTS, "sowing, growing or resting."),
        ("--soil-ph", "soil.ph", SOIL, "pH of the soil, or acid, neutral, alkaline."),
        ("--tested-with", "soil.tested_with", SOIL, "How that was read: laboratory, meter, kit, strip."),
        ("--texture", "soil.texture", SOIL, "sand, loam, clay or peat, or a class such as 'sandy loam'."),
        ("--soil-potassium", "soil.potassium", SOIL, "Potassium that a test found: '150 mg/kg', '300 lb/acre'."),
        ("--soil-target", "soil.target_ph", SOIL, "pH the soil should reach, for dry ash."),
        ("--country", "country", SOIL, "Whose limits of metals, for dry ash: EU, DE, DK, GB ..."),
        ("--dug", "soil.dug_depth", SOIL, "How deep dry ash is dug in: '15 cm'."),
        ("--area", "soil.area", SOIL, "Area that gets the feed: '4 m2'."),
        ("--acid", "acid.kind", ADDED, "vinegar or 'citric acid', to bring the feed's pH down."),
        ("--acid-strength", "acid.strength", ADDED, "Strength of the acid: '5 %'."),
        ("--target-ph", "acid.target_ph", ADDED, "The pH the acid should bring the feed to: '7'."),
        ("--with", "mixing.with", ADDED, "What else would go into the can: 'calcium nitrate', urea, soap ..."),
        ("--dose", "mixing.dose", ADDED, "How much of it: '1 g/L'. Left out: a usual strength."),
        ("--ec", "measured.ec", READ, "Conductivity of the liquor: '7 mS/cm'."),
        ("--ph", "measured.ph", READ, "pH of the liquor: '12.1'."),
        ("--ph-by", "measured.ph_by", READ, "meter or strip: what that pH was read with."),
        ("--ph-width", "measured.ph_width", READ, "How far that pH may be off, either way: '0.3'."),
        ("--read-at", "measured.temperature", READ, "Temperature of the readings: '18 degC'."),
        ("--compensated", "measured.compensated", READ, "yes or no: whether the pen shows its reading at 25 degC."),
        ("--read-of", "measured.of", READ, "liquor or feed: what was read."),
        ("--read-after", "measured.after", READ, "Time from stirring to the reading: '2 h'."),
        ("--acid-drops", "measured.acid_drops", READ, "Vinegar that 100 mL of liquor took to the change: '3 mL'."),
        ("--acid-drops-strength", "measured.acid_strength", READ, "Strength of that vinegar: '5 %'."),
        ("--acid-drops-end", "measured.acid_end", READ, "pH at which that colour changes: '6'."),
        ("--acid-by", "measured.acid_by", READ, "turmeric, 'red cabbage' or strip: what shows the change."),
        ("--cabbage", "measured.colour", READ, "Colour of red cabbage water in it: green, green-yellow, yellow ..."),
        ("--clear-depth", "measured.clear_depth", READ, "Depth down to which it was seen clear: '8 cm'."),
        ("--clear-after", "measured.clear_after", READ, "When that was seen: '2 h' after stirring."),
        ("--language", "language", WRITTEN, "ar, de, en, es, fr, hi or pt. Left out: as the system is set (LANG)."),
        ("--locale", "locale", WRITTEN, "How numbers are typed and written: en-GB, en-US, de-DE ..."),
        ("--customs", "customs", WRITTEN, "Whose cups and gallons: us, metric, uk."),
    )
)
# Options that change only how an answer is written; with these alone the demo is answered.
_OF_WRITING = {"language", "locale", "customs"}
# The groups that a verb lists in its help; it takes the other options as well.
_LISTED = {
    "sheet": (ASH, WATER, BUCKET, CANS, PLANTS, SOIL, ADDED, READ),
    "settle": (ASH, WATER, BUCKET),
    "ladder": (ASH, WATER, BUCKET, CANS, PLANTS),
    "delivery": (ASH, WATER, CANS, PLANTS, SOIL),
    "air": (ASH, WATER, BUCKET),
    "mix": (ASH, WATER, CANS, ADDED),
    "neutralise": (ASH, WATER, CANS, ADDED),
    "spread": (ASH, PLANTS, SOIL),
    "judge": (ASH, WATER, PLANTS, SOIL),
    "happened": (ASH, PLANTS, SOIL),
    "keep": (ASH, WATER, BUCKET, READ),
}
# The demo for a grower with US customs: the same amounts, written in gallons, feet and degrees Fahrenheit.
_US_DEMO: Mapping[str, Any] = {
    "water": {"kind": "rain", "temperature": "53.6 °F"},
    "vessel": {"depth": "12.205 in", "capacity": "3.6984 gal"},
    "cans": [{"size": "2.64172 gal", "count": 2}],
    "soil": {"ph": 6.2, "tested_with": "meter", "texture": "loam", "area": "64.583 sq ft"},
}

EPILOG = """\b
Examples:
  feedcalc sheet                                   the demo: two 10 L cans
  feedcalc sheet --can "2 x 9 L" --kind oak --state aged
  feedcalc sheet --can "2 x 2 gal" --customs us
  feedcalc ladder --ash "100 g" --water "5 L" --dilute-with hard
  feedcalc sheet --ash "1 cup" --water "5 L" --ec "7 mS/cm" --ph 12.1 --read-at "18 degC"
  feedcalc sheet --can "2 x 9 L" --save batch.json

Ash liquor is caustic: goggles and gloves on, and never in a food bottle. Local rules come first."""


class BatchCommand(click.Command):
    """A verb whose help lists the options that bear on it, in groups."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options in groups."""
        groups: dict[str, list[tuple[str, str]]] = {}
        listed = (*_LISTED.get(self.name or "", _LISTED["sheet"]), WRITTEN, FILES)
        for parameter in self.get_params(ctx):
            group = _GROUP_OF.get(parameter.name or "", FILES)
            record = parameter.get_help_record(ctx)
            if record and group in listed:
                groups.setdefault(group, []).append(record)
        for group in listed:
            if rows := groups.get(group):
                with formatter.section(group):
                    formatter.write_dl(rows)
        if len(listed) < len(_LISTED["sheet"]) + 2:
            formatter.write_paragraph()
            formatter.write_text("It takes the other options of feedcalc sheet as well.")


_GROUP_OF = {option.name: option.group for option in OPTIONS} | {
    "cans": CANS,
    "as_json": WRITTEN,
    "full": WRITTEN,
    "help": WRITTEN,
    "my_ash": ASH,
}


def batch_options(command: Callable[..., None]) -> Callable[..., None]:
    """Return a verb with the options that make up a request."""
    command = click.option(
        "--from",
        "source",
        type=click.File(encoding="utf-8-sig"),
        help="A request as JSON; '-' for standard input. Options go before it.",
    )(command)
    command = click.option("--my-ash", "my_ash", help="The ash kept under this name (see: feedcalc ash).")(command)
    command = click.option(
        "--can", "cans", multiple=True, help="A can to fill: '9 L' or '2 x 9 L'. Can be given more than once."
    )(command)
    for option in reversed(OPTIONS):
        command = click.option(option.flag, option.name, help=option.words)(command)
    return command


def is_demo(options: Mapping[str, Any]) -> bool:
    """Return whether options leave everything but the writing open, so that the demo is answered."""
    given = [option.path for option in OPTIONS if options[option.name] is not None]
    asks_nothing = set(given) <= _OF_WRITING and not options["cans"]
    return asks_nothing and options["source"] is None and options.get("my_ash") is None


def request_from(options: Mapping[str, Any], default: str) -> str:
    """Return the request that options and file make; ``default``, with the options laid over it, for the demo."""
    given = {option.path: options[option.name] for option in OPTIONS if options[option.name] is not None}
    cans = [_can(text) for text in options["cans"]]
    text = '{"schema": 1}' if options["source"] is None else read_stream(options["source"])
    if is_demo(options):
        text = default
        if given.get("customs") == "us":
            text = edit_request(text, lambda document: {**document, **_US_DEMO})
    return edit_request(text, lambda document: _with_options(document, given, cans)) if given or cans else text


def option_named(field: str, options: Mapping[str, Any]) -> str:
    """Return the option that a field of the request was, or would be, typed with; the field for what a file says.

    >>> nothing = {option.name: None for option in OPTIONS} | {"cans": (), "source": None}
    >>> option_named("cans.0.size", nothing), option_named("ash.amount", nothing), option_named("solution", nothing)
    ('--can', '--ash', 'solution')
    """
    if field.split(".")[0] == "cans":
        return "--can" if options["cans"] or options["source"] is None else field
    for option in OPTIONS:
        if option.path == field and (options[option.name] is not None or options["source"] is None):
            return option.flag
    return field


def edit_request(text: str, edit: Callable[[dict[str, Any]], dict[str, Any]]) -> str:
    """Return a request after ``edit``; a text that holds no JSON object stays as it is.

    >>> edit_request('{"schema": 1}', lambda document: document | {"ask": "spread"})
    '{"schema": 1, "ask": "spread"}'
    """
    document = json_object(text)
    return text if document is None else json.dumps(edit(document), ensure_ascii=False)


def _with_options(document: dict[str, Any], given: Mapping[str, str], cans: list[dict[str, Any]]) -> dict[str, Any]:
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
    text = re.sub("[\u2066-\u2069]", "", text)  # what a sheet in Arabic has around a value
    found = re.fullmatch(r"\s*(\d+)\s*(?:[x×*]|times|mal|fois|por|vezes|veces|बार)\s*(.+?)\s*", text, re.IGNORECASE)
    return {"size": found.group(2), "count": found.group(1)} if found else {"size": text, "count": 1}
