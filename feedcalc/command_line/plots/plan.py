"""The plan of one plot among many: a row of a table in, its plan as a row out.

* A plot is an ordinary request, read and answered by the same functions as one bed's sheet, so they cannot differ.
* What many plots share (an ash, the feed for a stage) is computed once and cached.
* A refusal names every faulty column. Nothing is read from files or from a clock here.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, timedelta
from functools import cache, lru_cache
from typing import Any

from feedcalc.command_line.plots.columns import COLUMN_OF_PATH, COLUMNS, PLAN_COLUMNS
from feedcalc.contract.ash_words import is_refused
from feedcalc.contract.choice_words import choice_meant
from feedcalc.contract.dates import read_date
from feedcalc.contract.figures import Figure, figure
from feedcalc.contract.quantities import Quantity, read_quantity, read_rate, write_quantity
from feedcalc.contract.request import Request, request_of, with_fields
from feedcalc.contract.text import plain_words
from feedcalc.contract.units import QUANTITY_KINDS, converted
from feedcalc.frozen import frozen
from feedcalc.garden.ash import ash_of
from feedcalc.garden.dry_ash import AshContent, ash_content, cap_for
from feedcalc.garden.feed_limits import practice
from feedcalc.garden.spreading import NOTHING_RECEIVED, GroundAnswer, Received, ground_answer
from feedcalc.garden.suitability import CONTAINERS, DIRECTIONS, HOLD, FeedFacts, Reason, Verdict, verdict_for
from feedcalc.liquor.answer import answer_to
from feedcalc.liquor.figures import delivered_figures, recommended
from feedcalc.liquor.verdict import feed_facts
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.messages import said

DRY_ASH = "dry ash"
REASON_SEPARATOR = " | "

Cell = str | float
PlanRow = dict[str, Cell]


def plan_of(plot: Mapping[str, str], today: str, customs: str = "", locale: str = "") -> PlanRow:
    """Return the plan of one plot: a text or number for each of `PLAN_COLUMNS`, an empty text where there is none.

    ``plot`` has the usual names of `COLUMNS` as keys; ``today`` is an ISO date; ``customs`` and ``locale`` are used
    where the plot names none. A cell that can't be read is left out and named under ``left_out``; of ash or lime that
    the plot had, this holds dry ash back. Raises `InputErrors` only for an ash that must not be used.

    >>> plan = plan_of({"soil_ph": "5.8", "tested_with": "meter", "texture": "loam", "plant": "cabbage"}, "2026-05-01")
    >>> plan["dry_ash_verdict"], plan["dry_ash_g_per_m2"], plan["dry_ash_limited_by"]
    ('go', 98.0, 'cap')
    """
    left_out: list[InputError] = []
    request = _request_of(plot, today, customs, locale, left_out)
    received = _received(plot, request, left_out)
    last_fed = _last_fed(plot, today, request.locale, left_out)
    unread = {fault.field for fault in left_out}
    content, density = _content_and_density(request.word("ash.kind"), request.word("ash.state"))
    ground = ground_answer(request, content, density, received)
    # The answer treats everything in plug trays as a seedling; no other place matters to a feed.
    place = request.word("place") if request.word("place") == "plug tray" else ""
    words = (request.word(path) for path in ("ash.kind", "ash.state", "water.kind", "stage"))
    feed = _feed_for(*words, customs=request.customs, place=place)
    use = choice_meant("use", plot.get("use", ""), _USES)
    dry = _dry_ash_verdict(ground, received, request, is_unknown=bool(unread & {"ash_this_year", "lime_this_year"}))
    feed_verdict = verdict_for(ground.circumstances._replace(feed=feed.facts))
    verdict = _more_careful(dry, feed_verdict) if not use else dry if use == DRY_ASH else feed_verdict
    plan: PlanRow = dict.fromkeys(PLAN_COLUMNS, "")
    plan |= {
        "verdict": verdict.word,
        "reasons": REASON_SEPARATOR.join(reason.text for reason in verdict.reasons),
        "reason_codes": " ".join(dict.fromkeys(reason.id for reason in verdict.reasons)),
        "dry_ash_verdict": dry.word,
        "feed_verdict": feed_verdict.word,
        "assumed": REASON_SEPARATOR.join(_assumed(ground, use)),
        "left_out": REASON_SEPARATOR.join(
            said("{column}: {problem} Given: {given!r}.", column=each.field, problem=each.problem, given=each.given)
            for each in left_out
        ),
    }
    if not unread & {"ash_this_year", "lime_this_year"}:
        _put_dry_ash(plan, ground, request)
    if feed_verdict.word != HOLD and feed.parts_water is not None:
        _put_feed(plan, feed, request)
        if "last_fed" not in unread:
            _put_next_feed(plan, last_fed, today, request.word("use"))
    return plan


# -- reading ------------------------------------------------------------------------------------------------------


def _request_of(plot: Mapping[str, str], today: str, customs: str, locale: str, left_out: list[InputError]) -> Request:
    """Return the plot as a request, and note the cells that were left out because they can't be read."""
    given = {name: _cell_meant(text) for name, text in plot.items() if name in _PATHS}
    given = {"customs": customs, "locale": locale} | {name: text for name, text in given.items() if text}
    if is_refused(given.get("ash_kind", "")):
        _read(given, today)  # raises with the reason
    if given.get("use"):
        given["use"] = choice_meant("use", given["use"], _USES) or given["use"]
    for _ in COLUMNS:
        try:
            return _read({name: text for name, text in given.items() if (name, text) != ("use", DRY_ASH)}, today)
        except InputErrors as refusal:
            for error in refusal.errors:
                column = COLUMN_OF_PATH.get(error.field, error.field)
                if not given.pop(column, ""):
                    raise
                left_out.append(InputError(column, error.given, error.problem, error.accepted))
    raise AssertionError("a request without cells is refused")


def _read(given: Mapping[str, str], today: str) -> Request:
    """Return these cells as a request: those that many plots share are read once, and the plot's own are added."""
    own = {name: given[name] for name, plain in _OWN.items() if plain.fullmatch(given.get(name, ""))}
    shared = tuple(cell for cell in given.items() if cell[0] not in own)
    try:
        return with_fields(_shared(shared, today), {_PATHS[name]: text for name, text in own.items()})
    except (InputError, InputErrors):
        return _read_as_a_whole(given, today)  # which names every fault


@lru_cache(maxsize=2048)
def _shared(cells: tuple[tuple[str, str], ...], today: str) -> Request:
    return _read_as_a_whole(dict(cells), today)


def _read_as_a_whole(given: Mapping[str, str], today: str) -> Request:
    """Return these cells as a request. No unit is guessed: the area of a field may be in square metres or hectares."""
    bare = {name for name in _WITHOUT_GUESS if re.fullmatch(r"[\d\s.,]+", given.get(name, ""))}
    faults = [
        InputError(name, given[name], said("The unit is missing."), QUANTITY_KINDS[_WITHOUT_GUESS[name]].accepted)
        for name in sorted(bare)
    ]
    document: dict[str, Any] = {"schema": 1, "now": today}
    for name, path in _PATHS.items():
        if given.get(name) and name not in bare:
            place, (*groups, last) = document, path.split(".")
            for group in groups:
                place = place.setdefault(group, {})
            place[last] = given[name]
    try:
        request = request_of(document)
    except InputErrors as refusal:
        # An error names the column of its field.
        faults += [
            InputError(COLUMN_OF_PATH.get(error.field, error.field), error.given, error.problem, error.accepted)
            for error in refusal.errors
        ]
    if faults:
        raise InputErrors(faults)
    return request


@lru_cache(maxsize=4096)
def _cell_meant(text: str) -> str:
    """Return a cell without words such as about; empty for a dash or another sign that nothing is known.

    >>> _cell_meant(" ca. 6.2"), _cell_meant("n/a"), _cell_meant("k. A.")
    ('6.2', '', '')
    """
    typed = _ABOUT.sub("", text.strip())
    return "" if plain_words(typed) in _NOT_KNOWN else typed


_PATHS = {column.name: column.path for column in COLUMNS if column.path}  # in a request
# Cells that differ from plot to plot. Written like this, each can be read by itself and added to a shared request.
_OWN = {
    "area": re.compile(r"\d+(?:\.\d+)? ?[a-zA-Z][\w²^]*"),
    "soil_ph": re.compile(r"\d+(?:\.\d+)?"),
    "plant": re.compile(r".+"),
}
_WITHOUT_GUESS = {"area": "area", "dug_depth": "length"}
_USES = (DRY_ASH, "drench", "foliar")
_ABOUT = re.compile(
    r"^(?:~|≈|ca\.?\s|circa\s|c\.\s|about\s|approx\.?\s|etwa\s|env\.?\s|environ\s|aprox\.?\s|लगभग\s)\s*", re.I
)
_NOT_KNOWN = frozenset(
    (
        *("", "n a", "na", "none", "nil", "no", "unknown", "not known", "not tested", "tbd", "k a", "keine", "kein"),
        *("nein", "unbekannt", "aucun", "aucune", "rien", "inconnu", "non", "ninguno", "ninguna", "nada", "s d"),
        *("desconocido", "nenhum", "nenhuma", "desconhecido", "nao", "नहीं", "पता नहीं", "कुछ नहीं"),
    )
)


def _received(plot: Mapping[str, str], request: Request, left_out: list[InputError]) -> Received:
    """Return what a plot has received per square metre."""
    return Received(
        _grams_per_square_metre("ash_this_year", "mass_or_volume", plot, request, left_out),
        _grams_per_square_metre("lime_this_year", "mass", plot, request, left_out),
    )


def _grams_per_square_metre(
    name: str, kind: str, plot: Mapping[str, str], request: Request, left_out: list[InputError]
) -> float:
    """Return ``200 g`` over the plot's area, or ``40 g/m2``, in g/m²; a volume of ash is converted by its density."""
    text = _cell_meant(plot.get(name, ""))
    if not text or re.fullmatch(r"0+(?:[.,]0+)?", text):
        return 0.0
    try:
        read, square_metres = _amount_and_ground(text, name, kind, request.locale, request.customs)
        square_metres = square_metres or request.number("soil.area") or 0.0
        if not square_metres:
            problem = said("Without an area we can't say how much a square metre got.")
            raise InputError(name, text, problem, said("an area in its column, or an amount such as 40 g/m2"))
    except InputError as error:
        left_out.append(InputError(name, text, error.problem, error.accepted))
        return 0.0
    most = read.value * read.span[1]  # of a measure by hand the careful end
    if read.kind == "mass":
        return most / square_metres
    _, density = _content_and_density(request.word("ash.kind"), request.word("ash.state"))
    return most * 1000 * density / square_metres


@lru_cache(maxsize=1024)
def _amount_and_ground(text: str, name: str, kind: str, locale: str, customs: str) -> tuple[Quantity, float]:
    """Return an amount and the square metres it is for, 0 where the text names none."""
    rate = read_rate(text, name, locale, customs, kind)
    return rate or (read_quantity(text, kind, name, locale, customs), 0.0)


def _last_fed(plot: Mapping[str, str], today: str, locale: str, left_out: list[InputError]) -> date | None:
    text = _cell_meant(plot.get("last_fed", ""))
    if text in ("", "0"):
        return None
    day = read_date(text, locale, latest=True)
    if day is None:
        left_out.append(InputError("last_fed", text, said("This is not a date."), said("one such as 2026-04-20")))
    elif day > date.fromisoformat(today):
        accepted = said("a day up to {today}", today=today)
        left_out.append(InputError("last_fed", text, said("This day has not come yet."), accepted))
    return day


# -- what many plots share ----------------------------------------------------------------------------------------


@frozen
class StageFeed:
    """The feed for a stage, as on its own sheet: the facts that are judged, its dilution and what 1 m² receives."""

    facts: FeedFacts
    dilution: float
    parts_water: Estimate | None
    ph: Estimate
    potassium: Estimate
    lime_value: Estimate


@lru_cache(maxsize=64)
def _content_and_density(kind: str, state: str) -> tuple[AshContent, float]:
    """Return the content of an ash and its density in g/mL."""
    ash = ash_of(kind, state)
    return ash_content(ash), ash.typical().density


@lru_cache(maxsize=256)
def _feed_for(kind: str, state: str, water: str, stage: str, *, customs: str, place: str) -> StageFeed:
    """Return the feed of a plot: the batch of its sheet, whatever the area."""
    ash = {"kind": kind, "state": state}
    document = {"ash": ash, "water": {"kind": water}, "stage": stage, "customs": customs, "place": place}
    answer = answer_to(request_of({"schema": 1, **document}))
    known = recommended(answer, answer.request.word("stage"))
    square_metre = delivered_figures(answer, lambda outcome: outcome.per_square_metre)
    return StageFeed(
        facts=feed_facts(answer),
        dilution=answer.plan.parts_water,
        parts_water=None if known is None else _estimate(known["parts_water"]),
        ph=answer.spread(lambda outcome: outcome.own.liquor.equilibrium.ph),
        potassium=_estimate(square_metre["potassium"]),
        lime_value=_estimate(square_metre["lime_value"]),
    )


def _estimate(shown: Figure) -> Estimate:
    return Estimate(shown["low"], shown["value"], shown["high"])


# -- judging ------------------------------------------------------------------------------------------------------


def _dry_ash_verdict(ground: GroundAnswer, received: Received, request: Request, is_unknown: bool) -> Verdict:
    """Return the verdict on dry ash: hold back, too, where this year's ash and lime leave no room for more.

    ``is_unknown`` says that the plot had ash or lime, but how much can't be read.
    """
    if is_unknown:
        text = said("This plot got ash or lime this year, but the amount can't be read. No dry ash until you know it.")
        return Verdict(HOLD, (Reason("had_unknown", text, HOLD, "our_judgement", "judgement"), *ground.verdict.reasons))
    if ground.verdict.word != HOLD and ground.advice["ash"]["value"] == 0 and received == NOTHING_RECEIVED:
        text = said("This soil needs no lime now, so the amount of dry ash is 0.")
        reason = Reason("nothing_needed", text, ground.verdict.word, "our_judgement", "judgement")
        return Verdict(ground.verdict.word, (reason, *ground.verdict.reasons))
    if received == NOTHING_RECEIVED or ground.verdict.word == HOLD or ground.advice["ash"]["value"] > 0:
        return ground.verdict
    text = said("Ash and lime since its soil test together are already all that this plot should get this year.")
    cap = cap_for(request.number("soil.ph"))
    return Verdict(HOLD, (Reason("had_enough", text, HOLD, cap.source, cap.status), *ground.verdict.reasons))


def _more_careful(one: Verdict, other: Verdict) -> Verdict:
    """Return two verdicts as one: the more careful word, and every reason once, the most careful first."""
    texts = {reason.text: reason for reason in (*one.reasons, *other.reasons)}
    reasons = sorted(texts.values(), key=lambda reason: -DIRECTIONS.index(reason.towards))
    return Verdict(max(one.word, other.word, key=DIRECTIONS.index), tuple(reasons))


# -- writing ------------------------------------------------------------------------------------------------------


def _put(plan: PlanRow, name: str, shown: Figure) -> None:
    low, high = _names_of_ends(name)
    plan[name], plan[low], plan[high] = shown["value"], shown["low"], shown["high"]


@cache
def _names_of_ends(name: str) -> tuple[str, str]:
    return f"{name}_low", f"{name}_high"


def _put_dry_ash(plan: PlanRow, ground: GroundAnswer, request: Request) -> None:
    advice = ground.advice
    plan["dry_ash_limited_by"] = advice["limited_by"]
    _put(plan, "dry_ash_g_per_m2", advice["ash"])
    if ground.need is None:
        return
    plan["aimed_at_ph"] = ground.need["target_ph"]["value"]
    _put(plan, "lime_need_g_per_m2", ground.need["lime"])
    _put(plan, "lime_need_as_ash_g_per_m2", ground.need["ash"])
    _put(plan, "dry_ash_potassium_g_per_m2", advice["potassium"])
    _put(plan, "dry_ash_lime_value_g_per_m2", advice["lime_value"])
    _put(plan, "expected_ph_shift", advice["shift"])
    if advice["ash_for_area"] is not None:
        _put(plan, "dry_ash_g", advice["ash_for_area"])
        plan["dry_ash"] = _mass_text(advice["ash_for_area"]["value"], request)
    if advice["covers"] is not None:
        plan["ash_covers_m2"] = advice["covers"]["value"]


def _mass_text(grams: float, request: Request) -> str:
    """Return grams in the units of the plot's customs: g and kg, or oz and lb."""
    small, large, step = ("g", "kg", 1000.0) if request.customs == "metric" else ("oz", "lb", converted(1.0, "lb", "g"))
    unit = small if grams < step else large
    return write_quantity(converted(grams, "g", unit), unit, 2, request.locale, trim=True)


def _put_feed(plan: PlanRow, feed: StageFeed, request: Request) -> None:
    """Put in the dilution and, for open ground of a known area, the amounts and what they supply."""
    assert feed.parts_water is not None
    plan["feed_dilution"] = f"1:{feed.dilution:g}"
    _put(plan, "feed_parts_water", figure(feed.parts_water, "1"))
    _put(plan, "feed_ph", figure(feed.ph, "1"))
    area = request.number("soil.area")
    if area is None or request.word("place") in CONTAINERS:
        return
    litres = practice("ground_volume").scaled(area)
    _put(plan, "feed_litres", figure(litres, "L"))
    _put(plan, "feed_liquor_litres", figure(litres.scaled(1 / (1 + feed.dilution)), "L"))
    _put(plan, "feed_potassium_g", figure(feed.potassium.scaled(area / 1000), "g"))
    _put(plan, "feed_lime_value_g", figure(feed.lime_value.scaled(area), "g CaCO3"))


def _put_next_feed(plan: PlanRow, last_fed: date | None, today: str, use: str) -> None:
    """Put in the earliest next day by the usual interval; today where none is known or the interval is over."""
    days = practice("foliar_interval" if use == "foliar" else "drench_interval")
    for end, interval in (("", days.typical), ("_low", days.low), ("_high", days.high)):
        earliest = today if last_fed is None else (last_fed + timedelta(days=interval)).isoformat()
        plan[f"next_feed{end}"] = max(today, earliest)


def _assumed(ground: GroundAnswer, use: str) -> list[str]:
    """Return what was assumed for this plot, by column."""
    left_out = {"locale", "use"} | ({"stage", "water.kind"} if use == DRY_ASH else set())
    return [
        f"{COLUMN_OF_PATH[path]}: {text}"
        for path, text in ground.assumed.items()
        if path in COLUMN_OF_PATH and path not in left_out
    ]
