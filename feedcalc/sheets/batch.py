"""The figures of an answer as a person reads them: rounded, with their range in words, and what to do when.

Rules of this room:

* Two significant figures for what is only roughly known, a pH to one decimal, a measured-out amount as measured.
* A figure keeps the path and the number of the contract beside its words, so that a page can mark it.
* Sentences stand in the templates; here stand amounts, times, choices and conditions.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from feedcalc import published
from feedcalc.contract.cautions import Caution, Hazard, cautions_for, hazard_at
from feedcalc.contract.figures import Figure, Shown, flat_figures, shown
from feedcalc.contract.numbers import write_number
from feedcalc.contract.quantities import write_quantity
from feedcalc.garden.feed_limits import FeedLimit, practice
from feedcalc.liquor.answer import STAGES, Answer
from feedcalc.physics import settling
from feedcalc.words.languages import moment_words
from feedcalc.words.messages import said

# Assumptions about the machinery rather than the garden: in the reply, not on the sheet.
UNTOLD = {"ranges", "seed", "samples"}
# For each figure so many of the unknowns that matter most are told, if they explain this share of its spread.
MOST_HELPS = 3
SHARE_WORTH_TELLING = 0.1
_HELPED = ((said("Potassium"), "potassium"), (said("pH"), "ph"), (said("Lime value"), "lime_value"))


@dataclass(frozen=True, slots=True)
class Assumption:
    """A field nobody filled in, and what was taken for it."""

    field: str
    meaning: str
    text: str


@dataclass(frozen=True, slots=True)
class StageAdvice:
    """How far to dilute for a stage: parts by the limits (None where none would do), the limits, and habit."""

    stage: str
    parts: Shown | None
    limits: tuple[FeedLimit, ...]
    practice_parts: str


@dataclass(frozen=True, slots=True)
class Trace:
    """How deep the liquor is clear of grains of one size, hour by hour: points of (hours, metres)."""

    micrometres: float
    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Help:
    """What would make a figure surer: the figure's name, the unknown behind most of its spread, and what to do.

    ``share`` is the share (0 to 1) of the figure's spread that this unknown explains.
    """

    figure: str
    unknown: str
    share: float
    remedy: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything the templates of a batch need; ``figures`` by path, ``ladder`` a mapping of names for each rung."""

    locale: str
    figures: Mapping[str, Shown]
    ash_label: str
    ash_state: str
    ash_words: str
    ash_weighed: bool
    water_label: str
    dilution_water_label: str
    balanced_with: str
    temperature: str
    stage: str
    use: str
    ladder: tuple[Mapping[str, Any], ...]
    own_path: str
    cans: tuple[Mapping[str, Shown], ...]
    cans_asked: bool
    advice: tuple[StageAdvice, ...]
    assumed: tuple[Assumption, ...]
    cautions: tuple[Caution, ...]
    hazard: Hazard
    feed_hazard: Hazard
    calcium_is_scarce: bool
    may_be_caustic: bool
    haze_matters: bool
    steep_long_enough: bool
    wait_hours: float
    starts: datetime | None
    settled: datetime | None
    ready: datetime | None
    use_by: datetime | None
    keeps_days: int
    traces: tuple[Trace, ...]
    heights: Mapping[str, float]
    goes: int
    limit_sources: tuple[tuple[str, str, str], ...]
    warnings: tuple[str, ...]
    after: Mapping[str, Any] = field(default_factory=dict)  # what `reactions` found, by the names of the contract
    verdict: str = ""
    reasons: tuple[Mapping[str, str], ...] = ()
    helps: tuple[Help, ...] = ()
    readings_used: tuple[str, ...] = ()

    def at(self, where: str) -> tuple[Caution, ...]:
        """The cautions that belong to a step."""
        return tuple(caution for caution in self.cautions if caution.where == where)

    def time(self, moment: datetime | None) -> str:
        """Day and clock time, empty where nobody said when the steep begins."""
        return moment_words(moment) if moment else ""


def sheet_of(answer: Answer, values: Mapping[str, Any], meanings: Mapping[str, str]) -> Sheet:
    """The sheet of an answer; ``meanings`` says in words what each field of the request is."""
    request, typical, plan = answer.request, answer.typical, answer.plan
    locale = request.locale
    figures = {path: shown(path, figure, locale) for path, figure in flat_figures(values).items()}
    # A pH that was read warns too, even one so high that it was doubted and narrows nothing.
    read, is_feed = request.number("measured.ph") or 0.0, request.word("measured.of") == "feed"
    hazard = hazard_at(max(values["liquor"]["ph"]["high"], read))
    feed_hazard = hazard_at(max(_own_rung(values)["ph"]["high"], read if is_feed else 0.0))
    haze = typical.own.lime_haze
    conditions = {hazard.name, request.word("use"), request.word("ash.state")}
    if haze >= 1.0 or answer.dilution_water.hardness > 120:
        conditions.add("hard_water")
    if request.word("acid.kind"):
        conditions.add("acid")
    starts = request.moment
    hours = request.known("steep.time")
    keeps = practice("keeping_time").typical
    return Sheet(
        locale,
        figures,
        answer.ash.label,
        answer.ash.state,
        _ash_words(answer),
        plan.ash_grams is not None,
        answer.water.label,
        answer.dilution_water.label,
        answer.water.balanced_with,
        write_quantity(request.known("water.temperature"), "degC", 3, locale, trim=True),
        request.word("stage"),
        request.word("use"),
        tuple(_rung(figures, index, row) for index, row in enumerate(values["ladder"])),
        f"ladder.{next(index for index, row in enumerate(values['ladder']) if row['chosen'])}",
        tuple(_under(figures, f"batch.cans.{index}") for index in range(len(plan.cans))),
        bool(request.cans),
        tuple(_advice(answer, figures, stage) for stage in STAGES),
        tuple(
            Assumption(path, meanings.get(path, path), text)
            for path, text in answer.assumed.items()
            if path in meanings and path not in UNTOLD
        ),
        cautions_for(conditions),
        hazard,
        feed_hazard,
        values["liquor"]["calcium"]["value"] < 0.05 * values["liquor"]["potassium"]["value"],
        hazard.name == "corrosive",
        haze >= 1.0,
        hours >= typical.settle_hours,
        hours,
        starts,
        starts + timedelta(hours=typical.settle_hours) if starts else None,
        starts + timedelta(hours=hours) if starts else None,
        starts + timedelta(hours=hours, days=keeps) if starts else None,
        round(keeps),
        _traces(answer),
        {
            "surface": typical.batch.surface,
            "pour_line": typical.batch.pour_line,
            "sludge_top": typical.batch.sludge_top,
            "rim": answer.vessel.height,
            "width": 2 * math.sqrt(answer.vessel.area / math.pi),
        },
        typical.batch.goes,
        _limit_sources(answer),
        answer.warnings,
        verdict=values["verdict"],
        reasons=tuple(values["reasons"]),
        helps=_helps(answer),
        readings_used=tuple(meanings[path] for path in answer.readings_used),
    )


def _helps(answer: Answer) -> tuple[Help, ...]:
    """The unknowns behind most of the spread of potassium, pH and lime value, without what was done already."""
    # A reading that was not used took no doubt away, so that it may well be what would help.
    done = {*answer.readings_used, *(path for path in answer.request.readings if not path.startswith("measured."))}
    open_matters = [matter for matter in answer.matters if matter.field not in done]
    found = []
    for figure, name in _HELPED:
        shares = {matter: float(getattr(matter, name)) for matter in open_matters}
        ranked = sorted(open_matters, key=shares.__getitem__, reverse=True)[:MOST_HELPS]
        found += [
            Help(figure, matter.words, shares[matter], matter.remedy)
            for matter in ranked
            if shares[matter] >= SHARE_WORTH_TELLING
        ]
    return tuple(found)


def _own_rung(values: Mapping[str, Any]) -> Mapping[str, Figure]:
    own: Mapping[str, Figure] = next(row for row in values["ladder"] if row["chosen"])
    return own


def _under(figures: Mapping[str, Shown], start: str) -> dict[str, Shown]:
    return {path[len(start) + 1 :]: figure for path, figure in figures.items() if path.startswith(start + ".")}


def _rung(figures: Mapping[str, Shown], index: int, row: Mapping[str, Any]) -> dict[str, Any]:
    return {
        **_under(figures, f"ladder.{index}"),
        "chosen": row["chosen"],
        "within_limits_for": row["within_limits_for"],
    }


def _advice(answer: Answer, figures: Mapping[str, Shown], stage: str) -> StageAdvice:
    habit = f"{practice('seedling_dilution').typical:g}" if stage == "seedling" else ""
    return StageAdvice(stage, figures.get(f"recommended.{stage}.parts_water"), answer.limits[stage], habit)


def _ash_words(answer: Answer) -> str:
    """How much ash, in the measure it is taken by: as typed, as weighed, or in level cups and spoons."""
    request, plan = answer.request, answer.plan
    reading = request.readings.get("ash.amount")
    if reading is not None:
        return reading.text.strip()
    if plan.ash_grams is not None:
        return write_quantity(plan.ash_grams, "g", 4, request.locale, trim=True)
    return _measure_words(plan.measure_parts, request.locale)


def _limit_sources(answer: Answer) -> tuple[tuple[str, str, str], ...]:
    """Id, citation and status words of each limit that decides a dilution, once each."""
    found = {}
    for limits in answer.limits.values():
        for limit in limits:
            source = published.sources()[limit.row["source"]]
            found[(source.id, limit.row["status"])] = (source.id, source.citation, status_words(limit.row["status"]))
    return tuple(found.values())


_QUARTERS = {0.25: "¼", 0.5: "½", 0.75: "¾"}


_MEASURES = {
    "cup": (said("{amount} level cup"), said("{amount} level cups")),
    "tablespoon": (said("{amount} level tablespoon"), said("{amount} level tablespoons")),
    "teaspoon": (said("{amount} level teaspoon"), said("{amount} level teaspoons")),
}


def _measure_words(parts: Sequence[tuple[float, str]], locale: str) -> str:
    words = []
    for amount, name in parts:
        whole, rest = int(amount), round(amount - int(amount), 6)
        number = (
            (str(whole) if whole else "") + _QUARTERS.get(rest, "")
            if rest in (0, *_QUARTERS)
            else write_number(amount, 3, locale)
        )
        one, many = _MEASURES[name]
        words.append(said(one if amount <= 1 else many, amount=number))
    return words[0] if len(words) == 1 else said("{first} and {second}", first=words[0], second=words[1])


def _traces(answer: Answer) -> tuple[Trace, ...]:
    """The settling picture: clear depth against time for a few sizes of grain, to the end of the wait."""
    batch, sample = answer.typical.batch, answer.typical.sample
    if batch.clear_depth <= 0:
        return ()
    longest = max(answer.request.known("steep.time"), answer.typical.settle_hours)
    hours = [longest * step / 24 for step in range(25)]
    sizes = [2e-6, 5e-6, 10e-6]
    found = settling.clearing_traces(
        sizes, batch.clear_depth, hours, sample.particle_density, answer.request.known("water.temperature") + 273.15
    )
    return tuple(
        Trace(trace.diameter_m * 1e6, tuple(zip(trace.hours, trace.clear_depth_m, strict=True))) for trace in found
    )


def status_words(status: str) -> str:
    """What a status of the published tables means in words.

    >>> status_words("practice")
    'common practice, no source'
    """
    return published.STATUSES[status]
