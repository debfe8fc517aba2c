"""The figures, times and choices of a batch answer in the form that the batch templates print.

* A figure known only roughly has two significant digits, a pH one decimal; a measured amount is written as measured.
* Each figure keeps its path and number of the contract beside its text, so that a page can mark it.
* Sentences belong to the templates. This module holds amounts, times, choices and conditions.
"""

from __future__ import annotations

import math
from collections import ChainMap
from collections.abc import Mapping
from dataclasses import field
from datetime import datetime, timedelta
from typing import Any, cast

from feedcalc import published
from feedcalc.contract.cautions import Caution, Hazard, alkali_percent, cautions_for, hazard_at
from feedcalc.contract.figures import Shown, ShownFigures, flat_figures
from feedcalc.contract.measures import measure_words
from feedcalc.contract.numbers import write_number
from feedcalc.contract.own_measures import OwnUnits, is_own, on_a_square_foot, to_measure
from feedcalc.contract.quantities import write_quantity
from feedcalc.frozen import frozen
from feedcalc.garden.feed_limits import FeedLimit, practice
from feedcalc.liquor.answer import Answer
from feedcalc.liquor.instruments import ph_shows, reading_celsius
from feedcalc.liquor.planning import STAGES
from feedcalc.liquor.times import hours_until_clear, settled_at, use_by
from feedcalc.physics import settling
from feedcalc.sheets.moves import Move, countries, in_short, next_move, suggested
from feedcalc.words.languages import moment_words
from feedcalc.words.messages import said, said_in

# Settings of the calculation, not of the garden: the reply lists what was assumed for them, the sheet does not.
_CALCULATION_FIELDS = {"ranges", "seed", "samples"}
# The sheet names at most this many unknowns for each figure, and only those that explain this share of its spread.
_MAX_HELPS = 3
# A step shows this many cautions, those where people are hurt; the rest stand behind them.
_FIRST_CAUTIONS = 2
_MIN_SHARE = 0.1
_MAX_REASONS = 3  # on the short sheet
_FIGURES_WITH_HELP = (
    (said_in("element or figure", "Potassium"), "potassium"),
    (said_in("element or figure", "pH"), "ph"),
    (said_in("element or figure", "Lime value"), "lime_value"),
)


@frozen
class Assumption:
    """A request field that was left empty, its meaning in words, and the value assumed for it."""

    field: str
    meaning: str
    text: str


@frozen
class StageAdvice:
    """The dilution for a growth stage: parts of water (None if no dilution meets the limits), the limits, the habit."""

    stage: str
    parts: Shown | None
    limits: tuple[FeedLimit, ...]
    practice_parts: str


@frozen
class Trace:
    """The depth that is clear of grains of one size against time, as points of (hours, metres)."""

    micrometres: float
    points: tuple[tuple[float, float], ...]


@frozen
class Help:
    """An unknown that causes much of a figure's spread, and what to do to narrow it.

    ``share`` is the fraction (0 to 1) of the figure's spread that the unknown explains.
    """

    figure: str
    unknown: str
    share: float
    remedy: str


@frozen
class Sheet:
    """Everything the batch templates print.

    ``figures`` are keyed by their path in the contract; each rung of ``ladder`` is a mapping by the contract's names.
    ``heights`` are in metres, ``wait_hours`` is the steeping time, ``settle_hours`` the time until the liquor is clear,
    ``hours_to_wait`` the one that counts: until ``settled`` where the start is known.
    ``after`` holds what `reactions` found, by the contract's names.
    """

    locale: str
    own: OwnUnits
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
    haze_matters: bool
    wait_hours: float
    settle_hours: float
    hours_to_wait: float
    starts: datetime | None
    settled: datetime | None
    use_by: datetime | None
    traces: tuple[Trace, ...]
    heights: Mapping[str, float]
    goes: int
    limit_sources: tuple[tuple[str, str, str], ...]
    warnings: tuple[str, ...]
    after: Mapping[str, Any] = field(default_factory=dict)
    verdict: str = ""
    reasons: tuple[Mapping[str, str], ...] = ()
    helps: tuple[Help, ...] = ()
    readings_used: tuple[str, ...] = ()
    ways: tuple[Mapping[str, Any], ...] = ()
    gentler: tuple[Mapping[str, Any], ...] = ()
    suggestions: tuple[Move, ...] = ()
    countries: tuple[Move, ...] = ()
    read_as: tuple[str, ...] = ()
    fed_litres: float = 0.0

    @property
    def verdict_in_short(self) -> str:
        """Why the verdict is what it is, in a few words."""
        return in_short(self.weightiest_reasons)

    @property
    def next_move(self) -> Move | None:
        """What one tap can do about the verdict."""
        return next_move(self.ways)

    @property
    def ash_kept(self) -> str:
        """How the ash was kept, as the end of a sentence."""
        return _ASH_KEPT[self.ash_state]

    @property
    def gentler_if_aged(self) -> bool:
        """Whether ash that ages in damp air would give a milder feed."""
        return self.ash_state in ("fresh", "unknown")

    @property
    def leaf_limit(self) -> str:
        """The pH above which a feed can burn leaves, as written."""
        return write_number(float(published.row("feed_limits", "ph_foliar")["high"]), 2, self.locale)

    @property
    def danger_of_feed(self) -> str:
        """What the feed is: certain where its typical pH says so, possible where only the high end does."""
        name = self.feed_hazard.name
        if name == "mild":
            return ""
        if not self.figures["batch.parts_water"].value:
            return said("It is the undiluted liquor. Goggles and gloves stay on.")
        typical = hazard_at(self.figures[f"{self.own_path}.ph_25"].value).name
        words = _FEED_DANGER if typical == name else _FEED_DANGER_POSSIBLE
        return said(words[name], ph=self.figures[f"{self.own_path}.ph_25"].likely)

    def meter_shows(self, path: str) -> str:
        """Return what a meter will show in the shed; empty where the shed is about as warm as the judged pH."""
        shown_here, judged = self.figures[f"{path}.ph"], self.figures[f"{path}.ph_25"]
        if abs(shown_here.value - judged.value) < _SAME_PH:
            return ""
        return said("A meter will show about {ph} at {temperature}.", ph=shown_here.full, temperature=self.temperature)

    @property
    def calcium_is_scarce(self) -> bool:
        """Whether the liquor holds less than a twentieth as much calcium as potassium."""
        return self.figures["liquor.calcium"].value < 0.05 * self.figures["liquor.potassium"].value

    @property
    def may_be_caustic(self) -> bool:
        """Whether the liquor is classed as corrosive."""
        return self.hazard.name == "corrosive"

    @property
    def steep_long_enough(self) -> bool:
        """Whether the liquor is clear by the end of the wait."""
        return self.wait_hours >= self.settle_hours

    @property
    def weightiest_reasons(self) -> tuple[Mapping[str, str], ...]:
        """The reasons that made the verdict what it is, at most three; none where it is go."""
        deciding = (reason for reason in self.reasons if reason["towards"] == self.verdict != "go")
        return tuple(deciding)[:_MAX_REASONS]

    def at(self, *where: str) -> tuple[Caution, ...]:
        """Return the cautions that belong to a step, the heaviest first."""
        found = [caution for caution in self.cautions if caution.where in where]
        return tuple(sorted(found, key=lambda caution: -caution.weight))

    def first(self, *where: str) -> tuple[Caution, ...]:
        """Return the cautions that a step shows; what the feed itself is counts among them."""
        return self.at(*where)[: self._most_shown(where)]

    def behind(self, *where: str) -> tuple[Caution, ...]:
        """Return the cautions of a step that stand behind those it shows."""
        return self.at(*where)[self._most_shown(where) :]

    def _most_shown(self, where: tuple[str, ...]) -> int:
        return _FIRST_CAUTIONS - ("applying" in where and bool(self.danger_of_feed))

    @property
    def keeps(self) -> str:
        """How long the liquor keeps."""
        return self.at("keeping")[0].text

    @property
    def how_often(self) -> str:
        """How often the feed may be given."""
        days = practice("foliar_interval" if self.use == "foliar" else "drench_interval")
        return said(
            "Every {low} to {high} days, {most} times a season at most.",
            low=f"{days.low:g}",
            high=f"{days.high:g}",
            most=f"{practice('drenches_per_season').high:g}",
        )

    @property
    def second_steep(self) -> str:
        """What a second steep of the same ash would bring."""
        share = practice("second_steep_share").scaled(100)
        return said(
            "A second steep brings only {low} to {high} % of the first.", low=f"{share.low:g}", high=f"{share.high:g}"
        )

    @property
    def per_square_foot(self) -> str:
        """How much feed a square foot gets; empty where the grower counts in square metres."""
        return on_a_square_foot(self.figures["delivered.per_square_metre.volume"].value, self.own, self.locale)

    def time(self, moment: datetime | None) -> str:
        """Return the day and clock time in words; empty if the start of the steep is unknown."""
        return moment_words(moment) if moment else ""


def sheet_of(answer: Answer, values: Mapping[str, Any], meanings: Mapping[str, str]) -> Sheet:
    """Return the batch sheet of ``answer``.

    ``values`` are the figures of the contract; ``meanings`` gives each request field in words, by its path.
    """
    request, typical, plan = answer.request, answer.typical, answer.plan
    locale = request.locale
    figures = ShownFigures(flat_figures(values), locale, request.own)
    hazard, feed_hazard = _hazards(answer, values)
    starts, settled = request.moment, settled_at(answer)
    return Sheet(
        locale=locale,
        own=request.own,
        figures=figures,
        ash_label=answer.ash.label,
        ash_state=answer.ash.state,
        ash_words=_ash_words(answer),
        ash_weighed=plan.ash_grams is not None,
        water_label=answer.water.label,
        dilution_water_label=answer.dilution_water.label,
        balanced_with=answer.water.balanced_with,
        temperature=to_measure(request.known("water.temperature"), "degC", request.own, locale),
        stage=request.word("stage"),
        use=request.word("use"),
        ladder=tuple(_rung(figures, index, row) for index, row in enumerate(values["ladder"])),
        own_path=f"ladder.{next(index for index, row in enumerate(values['ladder']) if row['chosen'])}",
        cans=tuple(figures.below(f"batch.cans.{index}") for index in range(len(plan.cans))),
        cans_asked=bool(request.cans),
        advice=tuple(_advice(answer, figures, stage) for stage in STAGES),
        assumed=_assumptions(answer, meanings),
        cautions=cautions_for(_caution_conditions(answer, hazard)),
        hazard=hazard,
        feed_hazard=feed_hazard,
        haze_matters=typical.own.lime_haze >= 1.0,
        wait_hours=request.known("steep.time"),
        settle_hours=typical.settle_hours,
        hours_to_wait=(settled - starts) / timedelta(hours=1) if starts and settled else hours_until_clear(answer),
        starts=starts,
        settled=settled,
        use_by=use_by(settled),
        traces=_traces(answer),
        heights={
            "surface": typical.batch.surface,
            "pour_line": typical.batch.pour_line,
            "sludge_top": typical.batch.sludge_top,
            "rim": answer.vessel.height,
            "width": 2 * math.sqrt(answer.vessel.area / math.pi),
        },
        goes=typical.batch.goes,
        limit_sources=_limit_sources(answer),
        warnings=answer.warnings,
        verdict=values["verdict"],
        reasons=tuple(values["reasons"]),
        helps=_helps(answer),
        readings_used=tuple(meanings[path] for path in answer.readings_used),
        ways=tuple(values["ways"]),
        gentler=tuple(values["gentler"]),
        suggestions=suggested(values["suggestions"]),
        countries=countries(values["whose_measures"]),
        fed_litres=round(sum(can.litres * can.count for can in plan.cans), 3),
    )


def _hazards(answer: Answer, values: Mapping[str, Any]) -> tuple[Hazard, Hazard]:
    """Return the hazard classes of the liquor and of the feed, each by its highest pH at 25 degC and its strength."""
    own = next(row for row in values["ladder"] if row["chosen"])
    read, is_feed = _ph_read_at_25(answer), answer.request.word("measured.of") == "feed"
    return (_hazard_of(values["liquor"], read), _hazard_of(own, read if is_feed else 0.0))


def _hazard_of(solution: Mapping[str, Any], read: float) -> Hazard:
    return hazard_at(max(solution["ph_25"]["high"], read), alkali_percent(solution["alkalinity"]["high"]))


def _ph_read_at_25(answer: Answer) -> float:
    """Return the pH that was read, brought to 25 degC; 0 without one.

    It counts for the class even if it was rejected as implausible and narrows no range.
    """
    read = answer.request.number("measured.ph")
    if read is None:
        return 0.0
    outcome, is_feed = answer.typical, answer.request.word("measured.of") == "feed"
    liquor = outcome.own.liquor if is_feed else outcome.steep.liquor
    judged = outcome.own_ph_25 if is_feed else outcome.liquor_ph_25
    return read + judged - ph_shows(liquor.equilibrium, reading_celsius(answer.request))


def _caution_conditions(answer: Answer, hazard: Hazard) -> set[str]:
    """Return the names of the conditions that `cautions_for` selects by."""
    request = answer.request
    conditions = {hazard.name, request.word("use"), answer.ash.state}
    if answer.ash.state == "unknown":
        conditions.add("fresh")
    if answer.typical.own.lime_haze >= 1.0 or answer.dilution_water.hardness > 120:
        conditions.add("hard_water")
    if request.word("acid.kind"):
        conditions.add("acid")
    return conditions


def _assumptions(answer: Answer, meanings: Mapping[str, str]) -> tuple[Assumption, ...]:
    request = answer.request

    def in_own_measure(path: str, text: str) -> str:
        read = request.readings.get(path)
        unit = {"L": "L", "m": "m", "degC": "degC"}.get(read.unit, "") if read else ""
        return to_measure(read.value, unit, request.own, request.locale) if read and is_own(unit, request.own) else text

    return tuple(
        Assumption(path, meanings[path], in_own_measure(path, text))
        for path, text in answer.assumed.items()
        if path in meanings and path not in _CALCULATION_FIELDS
    )


def _helps(answer: Answer) -> tuple[Help, ...]:
    """Return the unknowns that cause most of the spread of potassium, pH and lime value and are still open."""
    # A reading that was rejected narrowed nothing, so what it would tell is still open.
    done = {*answer.readings_used, *(path for path in answer.request.readings if not path.startswith("measured."))}
    open_matters = [matter for matter in answer.matters if matter.field not in done]
    found = []
    for figure, name in _FIGURES_WITH_HELP:
        shares = {matter: float(getattr(matter, name)) for matter in open_matters}
        ranked = sorted(open_matters, key=shares.__getitem__, reverse=True)[:_MAX_HELPS]
        found += [
            Help(figure, matter.words, shares[matter], matter.remedy)
            for matter in ranked
            if shares[matter] >= _MIN_SHARE
        ]
    return tuple(found)


def _rung(figures: ShownFigures, index: int, row: Mapping[str, Any]) -> Mapping[str, Any]:
    chosen = {"chosen": row["chosen"], "within_limits_for": row["within_limits_for"]}
    return ChainMap(chosen, cast(Any, figures.below(f"ladder.{index}")))  # which writes nothing into its maps


def _advice(answer: Answer, figures: Mapping[str, Shown], stage: str) -> StageAdvice:
    habit = f"{practice('seedling_dilution').typical:g}" if stage == "seedling" else ""
    return StageAdvice(stage, figures.get(f"recommended.{stage}.parts_water"), answer.limits[stage], habit)


def _ash_words(answer: Answer) -> str:
    """Return the amount of ash as typed, as weighed, or in level cups and spoons."""
    request, plan = answer.request, answer.plan
    reading = request.readings.get("ash.amount")
    if reading is not None:
        return reading.text.strip()
    if plan.ash_grams is not None:
        return write_quantity(plan.ash_grams, "g", 4, request.locale, trim=True)
    return measure_words(plan.measure_parts, request.locale)


def _limit_sources(answer: Answer) -> tuple[tuple[str, str, str], ...]:
    """Return id, citation and status of the source of each limit on dilution, without repeats."""
    found = {}
    for limits in answer.limits.values():
        for limit in limits:
            source = published.sources()[limit.row["source"]]
            found[(source.id, limit.row["status"])] = (
                source.id,
                source.citation,
                published.status_words(limit.row["status"]),
            )
    return tuple(found.values())


# Below this difference a meter in the shed shows the pH that the liquor is judged by.
_SAME_PH = 0.05
_ASH_KEPT = {
    "fresh": said("kept dry since the fire"),
    "aged": said_in("state of the ash", "aged"),
    "unknown": said("fresh or aged, not known which"),
    "leached": said_in("state of the ash", "rained on"),
}
_FEED_DANGER = {
    "corrosive": said("Even diluted it is corrosive: pH {ph}. Goggles and gloves stay on."),
    "irritant": said("Even diluted it irritates: pH {ph}. Goggles and gloves stay on."),
}
_FEED_DANGER_POSSIBLE = {
    "corrosive": said("Even diluted it may be corrosive: pH {ph}. Goggles and gloves stay on."),
    "irritant": said("Even diluted it may irritate: pH {ph}. Goggles and gloves stay on."),
}


def _traces(answer: Answer) -> tuple[Trace, ...]:
    """Return the clear depth against time for three grain sizes, until the wait and the settling are both over."""
    batch, sample = answer.typical.batch, answer.typical.sample
    if batch.clear_depth <= 0:
        return ()
    longest = max(answer.request.known("steep.time"), answer.typical.settle_hours)
    hours = [longest * step / 24 for step in range(25)]
    found = settling.clearing_traces(
        diameters_m=[2e-6, 5e-6, 10e-6],
        depth_m=batch.clear_depth,
        hours=hours,
        particle_density_kg_per_m3=sample.particle_density,
        temperature_kelvin=answer.request.known("water.temperature") + 273.15,
    )
    return tuple(
        Trace(trace.diameter_m * 1e6, tuple(zip(trace.hours, trace.clear_depth_m, strict=True))) for trace in found
    )
