"""One plot of many: a row of a table in, its plan as a row out, or a refusal that names every faulty column.

Rules of this room:

* A plot is an ordinary request. What its cells say is read by the same reader and answered by the same functions as
  one bed's sheet (`feedcalc.garden.spreading`, `feedcalc.liquor.verdict`, `feedcalc.liquor.answer`), so a plan
  can't differ from it.
* What many plots share (an ash, a feed for a stage) is worked out once and kept; a plot alone costs well below a
  millisecond.
* Columns this room doesn't know are none of its business. Nothing is read, written or asked of a clock here.
"""

from __future__ import annotations

import difflib
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import Any

from feedcalc.contract.figures import Figure, figure
from feedcalc.contract.quantities import read_quantity, write_quantity
from feedcalc.contract.request import Request, read_request
from feedcalc.contract.units import converted
from feedcalc.garden.ash import ash_of
from feedcalc.garden.circumstances import circumstances_of
from feedcalc.garden.dry_ash import AshContent, ash_content, cap_for
from feedcalc.garden.feed_limits import practice
from feedcalc.garden.spreading import NOTHING_RECEIVED, GroundAnswer, Received, ground_answer
from feedcalc.garden.suitability import CONTAINERS, DIRECTIONS, HOLD, FeedFacts, Reason, Verdict, verdict_for
from feedcalc.liquor.answer import answer_to
from feedcalc.liquor.figures import values_of
from feedcalc.liquor.verdict import feed_facts
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.messages import said

DRY_ASH = "dry ash"
# What stands between two reasons in one cell.
BETWEEN_REASONS = " | "


@dataclass(frozen=True, slots=True)
class Column:
    """One thing a row may say: its usual name, the path in a request it stands for (or none), what it means."""

    name: str
    path: str
    meaning: str
    other_names: tuple[str, ...] = ()


COLUMNS: tuple[Column, ...] = (
    Column("plot", "", "what the plot is called", ("id", "name", "bed")),
    Column("area", "soil.area", "its area: 4 m2, 40 sq ft, 0.1 ha"),
    Column("soil_ph", "soil.ph", "pH of its soil", ("ph",)),
    Column("tested_with", "soil.tested_with", "how that was read: laboratory, meter, kit, strip"),
    Column("tested_on", "soil.tested_on", "when that was read: 2026-03-01"),
    Column("texture", "soil.texture", "sand, loam, clay or peat"),
    Column("plant", "plant", "what grows there, by any of its names"),
    Column("place", "place", "open ground, raised bed, pot, plug tray, near pond or drain"),
    Column("season", "season", "sowing, growing or resting"),
    Column("stage", "stage", "seedling, young or established"),
    Column(
        "use", "use", "what the plot is to have: dry ash, drench or foliar; both ways are judged where it is left out"
    ),
    Column("ash_kind", "ash.kind", "what was burnt: mixed, hardwood, softwood, bark", ("ash",)),
    Column("ash_state", "ash.state", "fresh or aged"),
    Column("ash_in_hand", "ash.amount", "how much ash there is: 5 kg"),
    Column("water", "water.kind", "water of the feed: rain, soft, medium, hard, very_hard, softened"),
    Column("target_ph", "soil.target_ph", "pH the soil should reach", ("soil_target",)),
    Column("dug_depth", "soil.dug_depth", "how deep dry ash is dug in: 15 cm", ("dug",)),
    Column("ash_this_year", "", "dry ash it has had since the test: 200 g, or 40 g/m2", ("had_this_year",)),
    Column("lime_this_year", "", "ground limestone it has had since the test, likewise"),
    Column("last_fed", "", "when it last had liquid feed: 2026-04-20"),
    Column("customs", "customs", "whose cups and weights: us, metric, uk"),
    Column("locale", "locale", "how numbers are typed and written: en-GB, de-DE ..."),
)
_BY_NAME: Mapping[str, Column] = {
    name: column
    for column in COLUMNS
    for name in (column.name, *column.other_names, *([column.path.replace(".", "_")] if column.path else []))
}
# Columns whose bare numbers may take their unit from the header, and what kind of unit that is.
_WITH_UNITS = {
    "area": "area",
    "dug_depth": "length",
    "ash_in_hand": "mass_or_volume",
    "ash_this_year": "mass_or_volume",
    "lime_this_year": "mass",
}
_PATHS: Mapping[str, str] = {column.path: column.name for column in COLUMNS if column.path}

# Figures of a plan; each has a column for its low and one for its high end.
DRY_FIGURES = (
    "dry_ash_g_per_m2",
    "dry_ash_g",
    "dry_ash_potassium_g_per_m2",
    "dry_ash_lime_value_g_per_m2",
    "expected_ph_shift",
    "lime_need_g_per_m2",
    "lime_need_as_ash_g_per_m2",
)
FEED_FIGURES = (
    "feed_parts_water",
    "feed_litres",
    "feed_liquor_litres",
    "feed_ph",
    "feed_potassium_g",
    "feed_lime_value_g",
    "next_feed",
)


def _with_ends(figures: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(f"{name}{end}" for name in figures for end in ("", "_low", "_high"))


PLAN_COLUMNS: tuple[str, ...] = (
    "verdict",
    "reasons",
    "dry_ash_verdict",
    "dry_ash",
    "dry_ash_limited_by",
    *_with_ends(DRY_FIGURES),
    "aimed_at_ph",
    "ash_covers_m2",
    "feed_verdict",
    "feed_dilution",
    *_with_ends(FEED_FIGURES),
    "assumed",
)

Cell = str | float
PlotPlan = dict[str, Cell]


@dataclass(frozen=True, slots=True)
class Header:
    """A table's header read: for each cell the column it is (or none), and what is odd about it in words.

    ``units`` are those a column names for its bare numbers (``area (m2)``); ``kept`` are the places of the cells that
    a plan repeats: all but those of an earlier plan.
    """

    cells: tuple[str, ...]
    columns: tuple[str, ...]
    units: tuple[str, ...]
    warnings: tuple[str, ...]
    kept: tuple[int, ...]

    def plot_of(self, row: Sequence[str]) -> dict[str, str]:
        """What a row says, by the usual names of the columns."""
        return {
            name: f"{text} {unit}" if unit and _BARE_NUMBER.fullmatch(text) else text
            for name, unit, text in zip(self.columns, self.units, row, strict=True)
            if name
        }

    def shown(self, name: str) -> str:
        """How the table itself calls a column; its usual name where the table has none."""
        return self.cells[self.columns.index(name)] if name in self.columns else name


_BARE_NUMBER = re.compile(r"\s*[\d.,\s]*\d\s*")
_UNIT_IN_BRACKETS = re.compile(r"(.+?)\s*[(\[](.+)[)\]]\s*")


def header_of(cells: Sequence[str]) -> Header:
    """The columns of a table. Capitals, spaces and dots in their names don't matter; a unit may stand behind them.

    Raises `InputErrors` where a column stands twice or none is known.

    >>> header_of(["Plot", "Soil pH", "Area (m2)", "colour"]).columns
    ('plot', 'soil_ph', 'area', '')
    """
    read = [_column_and_unit(cell) for cell in cells]
    columns, units = tuple(name for name, _ in read), tuple(unit for _, unit in read)
    keys = [_key(cell) for cell in cells]
    faults = [
        InputError(cell, cell, said("This column stands twice."), said("each column once"))
        for index, (cell, name) in enumerate(zip(cells, columns, strict=True))
        if name and name in columns[:index]
    ]
    if not any(columns):
        known = ", ".join(column.name for column in COLUMNS)
        faults.append(
            InputError("header", ", ".join(cells)[:80], said("No column of this table is known here."), known)
        )
    if faults:
        raise InputErrors(faults)
    kept = tuple(index for index, key in enumerate(keys) if columns[index] or key not in PLAN_COLUMNS)
    return Header(tuple(cells), columns, units, _oddities(cells, keys, columns), kept)


def _key(cell: str) -> str:
    return "_".join(re.findall(r"[^\W_]+", cell.casefold()))


def _column_and_unit(cell: str) -> tuple[str, str]:
    """The column a header's cell names and the unit of its bare numbers, each empty where there is none.

    >>> _column_and_unit("Area (m2)"), _column_and_unit("dug_depth_cm"), _column_and_unit("area_code")
    (('area', 'm2'), ('dug_depth', 'cm'), ('', ''))
    """
    if _key(cell) in _BY_NAME:
        return _BY_NAME[_key(cell)].name, ""
    bracketed = _UNIT_IN_BRACKETS.fullmatch(cell)
    if bracketed and _key(bracketed[1]) in _BY_NAME:
        name = _BY_NAME[_key(bracketed[1])].name
        return name, bracketed[2].strip() if name in _WITH_UNITS else ""
    for name, kind in _WITH_UNITS.items():
        if not _key(cell).startswith(f"{name}_"):
            continue
        unit = _key(cell).removeprefix(f"{name}_").replace("_", " ")
        try:
            read_quantity(f"1 {unit.split(' per ')[0]}", kind, name)
        except InputError:
            continue
        return name, unit
    return "", ""


def _oddities(cells: Sequence[str], keys: Sequence[str], columns: Sequence[str]) -> tuple[str, ...]:
    """What a header may not have meant, in words."""
    warnings = []
    for cell, key, name in zip(cells, keys, columns, strict=True):
        near = [] if name else difflib.get_close_matches(key, list(_BY_NAME), 1, 0.75)
        if near:
            meant = said(
                "The column {given!r} is not known and passed through; did you mean {near}?", given=cell, near=near[0]
            )
            warnings.append(meant)
        elif key in PLAN_COLUMNS:
            warnings.append(said("The column {given!r} is one of the plan and written anew.", given=cell))
    if "soil_ph" not in columns:
        warnings.append(said("No column soil_ph: without a soil test every plot is held back."))
    return tuple(warnings)


def plan_of(plot: Mapping[str, str], today: str, customs: str = "", locale: str = "") -> PlotPlan:
    """The plan of one plot: a text or number for each of `PLAN_COLUMNS`, empty text where there is nothing to tell.

    ``plot`` by the usual names of `COLUMNS`; ``today`` an ISO date; ``customs`` and ``locale`` hold where the plot
    says none. Raises `InputErrors`, their fields named by column.

    >>> plan = plan_of({"soil_ph": "5.8", "tested_with": "meter", "texture": "loam", "plant": "cabbage"}, "2026-05-01")
    >>> plan["dry_ash_verdict"], plan["dry_ash_g_per_m2"], plan["dry_ash_limited_by"]
    ('go', 98.0, 'cap')
    """
    faults: list[InputError] = []
    request = _request_of(plot, today, customs, locale, faults)
    had = _had(plot, request, faults)
    last_fed = _last_fed(plot, today, faults)
    if request is None or faults:
        raise InputErrors(faults)
    worth, density = _worth_of(request.word("ash.kind"), request.word("ash.state"))
    ground = ground_answer(request, worth, density, had)
    feed = _feed_for(_feed_request(request))
    wanted = plot.get("use", "").strip().casefold()
    dry = _with_what_it_had(ground, had, request)
    wet = verdict_for(circumstances_of(request, feed.facts))
    judged = _both(dry, wet) if not wanted else dry if wanted == DRY_ASH else wet
    plan: PlotPlan = dict.fromkeys(PLAN_COLUMNS, "")
    plan |= {
        "verdict": judged.word,
        "reasons": BETWEEN_REASONS.join(reason.text for reason in judged.reasons),
        "dry_ash_verdict": dry.word,
        "feed_verdict": wet.word,
        "assumed": BETWEEN_REASONS.join(_assumed(ground, wanted)),
    }
    _tell_dry_ash(plan, ground, request)
    if wet.word != HOLD and feed.parts_water is not None:
        _tell_feed(plan, feed, request)
        _tell_next_feed(plan, last_fed, today, request.word("use"))
    return plan


# -- reading ------------------------------------------------------------------------------------------------------


def _request_of(
    plot: Mapping[str, str], today: str, customs: str, locale: str, faults: list[InputError]
) -> Request | None:
    """The plot as a request, or None with its faults noted under the columns' names."""
    document: dict[str, Any] = {"schema": 1, "now": today}
    said_here = {"customs": customs, "locale": locale} | {name: text for name, text in plot.items() if text.strip()}
    for column in COLUMNS:
        text = said_here.get(column.name)
        if column.path and text:
            *groups, last = column.path.split(".")
            place = document
            for group in groups:
                place = place.setdefault(group, {})
            place[last] = text
    if document.get("use", "").strip().casefold() == DRY_ASH:
        del document["use"]
    try:
        return read_request(json.dumps(document))
    except InputErrors as refusal:
        for error in refusal.errors:
            accepted = f"{DRY_ASH}, drench, foliar" if error.field == "use" else error.accepted
            faults.append(InputError(_PATHS.get(error.field, error.field), error.given, error.problem, accepted))
        return None


def _had(plot: Mapping[str, str], request: Request | None, faults: list[InputError]) -> Received:
    """What a plot has had to the square metre; where there is no ``request`` only its faults are of use."""
    return Received(
        _grams_per_square_metre("ash_this_year", "mass_or_volume", plot, request, faults),
        _grams_per_square_metre("lime_this_year", "mass", plot, request, faults),
    )


def _grams_per_square_metre(
    name: str, kind: str, plot: Mapping[str, str], request: Request | None, faults: list[InputError]
) -> float:
    """``200 g`` over the plot's area, or ``40 g/m2``; a volume counts by the density of the plot's ash."""
    text = plot.get(name, "").strip()
    if not text:
        return 0.0
    locale, customs = (request.locale, request.customs) if request else ("en-GB", "metric")
    over = re.fullmatch(r"(.*[^\W\d_].*?)\s*(?:/|\bper\b)\s*(.+)", text)
    try:
        read = read_quantity(over[1] if over else text, kind, name, locale, customs)
        square_metres = request.number("soil.area") if request else 1.0
        if over:
            area = over[2] if over[2][0].isdigit() else f"1 {over[2]}"
            square_metres = read_quantity(area, "area", name, locale, minimum=0.001).value
        if square_metres is None:
            problem = said("Without an area this does not say how much a square metre had.")
            raise InputError(name, text, problem, said("an area in its column, or an amount such as 40 g/m2"))
    except InputError as error:
        faults.append(InputError(name, text, error.problem, error.accepted))
        return 0.0
    if request is None or read.kind == "mass":
        return read.value / square_metres
    _, density = _worth_of(request.word("ash.kind"), request.word("ash.state"))
    return read.value * 1000 * density / square_metres


def _last_fed(plot: Mapping[str, str], today: str, faults: list[InputError]) -> date | None:
    text = plot.get("last_fed", "").strip()
    if not text:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        faults.append(InputError("last_fed", text, said("This is not a date."), said("one such as 2026-04-20")))
        return None
    if day > date.fromisoformat(today):
        faults.append(
            InputError("last_fed", text, said("This day is yet to come."), said("a day up to {today}", today=today))
        )
    return day


# -- what many plots share ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _FeedPlan:
    """The feed for a stage as its own sheet tells it: what is judged, its dilution, what a square metre gets of it."""

    facts: FeedFacts
    dilution: float
    parts_water: Estimate | None
    ph: Estimate
    potassium: Estimate
    lime_value: Estimate


@lru_cache(maxsize=64)
def _worth_of(kind: str, state: str) -> tuple[AshContent, float]:
    """What a gram of an ash is worth, and its density in g/mL."""
    ash = ash_of(kind, state)
    return ash_content(ash), ash.typical().density


def _feed_request(request: Request) -> str:
    """Of a plot's request what bears on its feed: the batch that its sheet would tell of, whatever the area."""
    document = {
        "schema": 1,
        "ash": {"kind": request.word("ash.kind"), "state": request.word("ash.state")},
        "water": {"kind": request.word("water.kind")},
        "stage": request.word("stage"),
        "customs": request.customs,
        # In plug trays everything is judged as a seedling.
        "place": request.word("place") if request.word("place") == "plug tray" else "",
    }
    return json.dumps(document)


@lru_cache(maxsize=256)
def _feed_for(request_json: str) -> _FeedPlan:
    answer = answer_to(read_request(request_json))
    values = values_of(answer)
    recommended = values["recommended"][answer.request.word("stage")]
    square_metre = values["delivered"]["per_square_metre"]
    return _FeedPlan(
        feed_facts(answer),
        answer.plan.parts_water,
        None if recommended is None else _estimate(recommended["parts_water"]),
        answer.spread(lambda outcome: outcome.own.liquor.equilibrium.ph),
        _estimate(square_metre["potassium"]),
        _estimate(square_metre["lime_value"]),
    )


def _estimate(told: Figure) -> Estimate:
    return Estimate(told["low"], told["value"], told["high"])


# -- judging ------------------------------------------------------------------------------------------------------


def _with_what_it_had(ground: GroundAnswer, had: Received, request: Request) -> Verdict:
    """The verdict on dry ash, held back too where what the plot had this year leaves no room for more."""
    if had == NOTHING_RECEIVED or ground.verdict.word == HOLD or ground.advice["ash"]["value"] > 0:
        return ground.verdict
    text = said("What this ground has had since its soil test, ash and lime together, is all it should have this year.")
    cap = cap_for(request.number("soil.ph"))
    return Verdict(HOLD, (Reason("had_enough", text, HOLD, cap.source, cap.status), *ground.verdict.reasons))


def _both(dry: Verdict, wet: Verdict) -> Verdict:
    """Two verdicts as one: the more careful word, every reason once, the weightiest first."""
    texts = {reason.text: reason for reason in (*dry.reasons, *wet.reasons)}
    reasons = sorted(texts.values(), key=lambda reason: -DIRECTIONS.index(reason.towards))
    return Verdict(max(dry.word, wet.word, key=DIRECTIONS.index), tuple(reasons))


# -- telling ------------------------------------------------------------------------------------------------------


def _tell(plan: PlotPlan, name: str, told: Figure) -> None:
    plan |= {name: told["value"], f"{name}_low": told["low"], f"{name}_high": told["high"]}


def _tell_dry_ash(plan: PlotPlan, ground: GroundAnswer, request: Request) -> None:
    advice = ground.advice
    plan["dry_ash_limited_by"] = advice["limited_by"]
    _tell(plan, "dry_ash_g_per_m2", advice["ash"])
    if ground.need is None:
        return
    plan["aimed_at_ph"] = ground.need["target_ph"]["value"]
    _tell(plan, "lime_need_g_per_m2", ground.need["lime"])
    _tell(plan, "lime_need_as_ash_g_per_m2", ground.need["ash"])
    _tell(plan, "dry_ash_potassium_g_per_m2", advice["potassium"])
    _tell(plan, "dry_ash_lime_value_g_per_m2", advice["lime_value"])
    _tell(plan, "expected_ph_shift", advice["shift"])
    if advice["ash_for_area"] is not None:
        _tell(plan, "dry_ash_g", advice["ash_for_area"])
        plan["dry_ash"] = _weighed(advice["ash_for_area"]["value"], request)
    if advice["covers"] is not None:
        plan["ash_covers_m2"] = advice["covers"]["value"]


def _weighed(grams: float, request: Request) -> str:
    """Grams as the plot's country weighs: g and kg, or oz and lb."""
    small, large, step = ("g", "kg", 1000.0) if request.customs == "metric" else ("oz", "lb", converted(1.0, "lb", "g"))
    unit = small if grams < step else large
    return write_quantity(converted(grams, "g", unit), unit, 2, request.locale, trim=True)


def _tell_feed(plan: PlotPlan, feed: _FeedPlan, request: Request) -> None:
    """The feed of a plot: how weak, and where it is open ground of a known area, how much and what that brings."""
    assert feed.parts_water is not None
    plan["feed_dilution"] = f"1:{feed.dilution:g}"
    _tell(plan, "feed_parts_water", figure(feed.parts_water, "1"))
    _tell(plan, "feed_ph", figure(feed.ph, "1"))
    area = request.number("soil.area")
    if area is None or request.word("place") in CONTAINERS:
        return
    litres = practice("ground_volume").scaled(area)
    _tell(plan, "feed_litres", figure(litres, "L"))
    _tell(plan, "feed_liquor_litres", figure(litres.scaled(1 / (1 + feed.dilution)), "L"))
    _tell(plan, "feed_potassium_g", figure(feed.potassium.scaled(area / 1000), "g"))
    _tell(plan, "feed_lime_value_g", figure(feed.lime_value.scaled(area), "g CaCO3"))


def _tell_next_feed(plan: PlotPlan, last_fed: date | None, today: str, use: str) -> None:
    """The next earliest day by the usual interval; today where nothing was told or the interval is over."""
    days = practice("foliar_interval" if use == "foliar" else "drench_interval")
    for end, interval in (("", days.typical), ("_low", days.low), ("_high", days.high)):
        earliest = today if last_fed is None else (last_fed + timedelta(days=interval)).isoformat()
        plan[f"next_feed{end}"] = max(today, earliest)


def _assumed(ground: GroundAnswer, wanted: str) -> list[str]:
    """What bears on this plot and nobody said, by column."""
    beside = {"locale", "use"} | ({"stage", "water.kind"} if wanted == DRY_ASH else set())
    return [f"{_PATHS[path]}: {text}" for path, text in ground.assumed.items() if path in _PATHS and path not in beside]
