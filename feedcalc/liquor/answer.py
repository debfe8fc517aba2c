"""Answer a request: its plan, the outcome for a typical ash, and the outcomes for a sample of plausible ashes.

* The plan is made once (`feedcalc.liquor.planning`). The spread comes from running the whole chemistry on a fixed,
  stratified sample of ashes; what a grower weighed or a laboratory measured does not vary.
* Where the liquor was read, the samples come from the posterior instead (`feedcalc.liquor.learning`).
* An answer holds numbers, assumptions and warnings. Rounding for display and the reply belong to other modules.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from feedcalc.contract.quantities import write_quantity
from feedcalc.contract.request import Request
from feedcalc.frozen import frozen
from feedcalc.garden.ash import Ash, AshSample
from feedcalc.garden.circumstances import stage_of
from feedcalc.garden.feed_limits import PLANT_VOLUMES, FeedLimit, practice
from feedcalc.garden.water import Water
from feedcalc.liquor import vessel as batches
from feedcalc.liquor.air import liquor_in_equilibrium_with_air, outdoor_carbon_dioxide
from feedcalc.liquor.ash_evidence import ash_of_request
from feedcalc.liquor.delivery import Delivered, delivered_by
from feedcalc.liquor.dilution import Feed, feed_at
from feedcalc.liquor.instruments import clear_line_seen, clouding_diameter, readings_in
from feedcalc.liquor.learning import Influence, LearnedAsh, influences_of, learning
from feedcalc.liquor.observations import LiquorBatch
from feedcalc.liquor.planning import BatchInputs, Plan, Planned, plan_after_readings, plan_batch
from feedcalc.liquor.steeping import Liquor, Steep
from feedcalc.liquor.vessel import Batch, Vessel
from feedcalc.physics.water import ZERO_CELSIUS_KELVIN
from feedcalc.uncertainty.bayes import SAMPLES_EXPECTED
from feedcalc.uncertainty.estimates import (
    Estimate,
    Steps,
    estimate_of,
    followed_by,
    latin_hypercube,
    run_to_end,
    spread_out,
)
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.languages import MACHINE_WORDS
from feedcalc.words.messages import said

READ_OF_THE_PLAN = said(
    "We assume your readings are of a batch made as planned here. If you used other amounts, fill in the ash and the "
    "water you used."
)
# The states to try where readings do not fit the one that was given; unknown comprises fresh and aged.
OTHER_STATES = {
    "unknown": ("leached",),
    "fresh": ("aged", "leached"),
    "aged": ("fresh", "leached"),
    "leached": ("aged", "fresh"),
}
ASHES_A_STEP = 4  # about 10 ms in a browser
EARLY_ASHES = 12  # the first ranges rest on so many


@frozen
class Outcome:
    """What the plan gives if the ash is one given sample.

    ``cleared_metres`` is the diameter of the smallest grains that have settled by the end of the steep, and
    ``clouding_metres`` that of the grains that still cloud the liquor, where a clear line was seen.
    """

    sample: AshSample
    batch: Batch
    settle_hours: float
    cleared_metres: float
    steep: Steep
    liquor_ph_25: float
    own_ph_25: float
    in_air: Liquor | None
    ladder: tuple[Feed, ...]
    own: Feed
    per_can: Delivered
    per_plant: Delivered
    per_square_metre: Delivered
    recommended: Mapping[str, float]
    clouding_metres: float | None


@frozen
class Suggestion:
    """A field that a reading contradicts, the value that fits it, and why. The answer was computed with that value."""

    field: str
    value: str
    because: str


@frozen
class Answer:
    """An answered request: the plan, the typical outcome and those of the sample (``others``, empty without ranges).

    ``effective_samples``, ``readings_used`` and ``earlier_batches`` say what the readings contributed (`LearnedAsh`).
    ``doubts`` are those of the warnings that say which readings were left out.
    """

    request: Request
    ash: Ash
    water: Water
    dilution_water: Water
    vessel: Vessel
    plan: Plan
    typical: Outcome
    others: tuple[Outcome, ...]
    limits: Mapping[str, tuple[FeedLimit, ...]]
    assumed: Mapping[str, str]
    warnings: tuple[str, ...]
    effective_samples: float | None = None
    readings_used: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    matters: tuple[Influence, ...] = ()
    earlier_batches: int = 0
    suggestions: tuple[Suggestion, ...] = ()

    @property
    def judged_stage(self) -> str:
        """The stage by whose limits the feed is judged."""
        return stage_of(self.request)

    @property
    def kelvin(self) -> float:
        """The temperature of the steep."""
        return self.request.known("water.temperature") + ZERO_CELSIUS_KELVIN

    def spread(self, of: Callable[[Outcome], float]) -> Estimate:
        """Return a figure of the typical outcome with the bounds that hold the middle 90 % of the sample."""
        typical = of(self.typical)
        if not self.others:
            return Estimate.exactly(typical)
        return estimate_of([of(outcome) for outcome in self.others], typical, self.effective_samples)


def answer_to(request: Request) -> Answer:
    """Return the answer to a request.

    Raises `InputErrors` where the request contradicts itself, `NoSolution` where the chemistry has no solution.
    """
    return run_to_end(answer_in_steps(request))


def answer_in_steps(request: Request, early: Callable[[Answer], None] | None = None) -> Steps[Answer]:
    """Return `answer_to` in slices of a few ashes each, so that the caller can stop in between.

    ``early`` is told two answers on the way to one with ranges: that without them, and that of the first `EARLY_ASHES`.
    """
    ash = ash_of_request(request)
    _refuse_contradictions(ash)
    inputs = BatchInputs.of(request)
    planned = plan_batch(inputs, ash.typical())
    # Several fills of a measure scatter less than one, and the plan says how many there are.
    ash = ash_of_request(request, planned.plan.ash_millilitres)
    count = round(request.known("samples")) if request.word("ranges") == "on" else 0
    quick = None
    if early and count:
        quick = yield from _answered(inputs, ash, planned, 0)
        early(quick)
        yield 0, count
    return (yield from _answered(inputs, ash, planned, count, early, quick))


def _answered(
    inputs: BatchInputs,
    ash: Ash,
    planned: Planned,
    count: int,
    early: Callable[[Answer], None] | None = None,
    quick: Answer | None = None,
) -> Steps[Answer]:
    """Return the answer for a plan with the ranges of ``count`` ashes; ``early`` is told that of the first of them.

    ``quick`` is the same answer without ranges, where it is known. Readings make the typical ash of the two differ.
    """
    request = inputs.request
    warnings = [*inputs.water.doubts]
    if inputs.dilution_water is not inputs.water:
        warnings += inputs.dilution_water.doubts
    ash, learned, suggestions = yield from followed_by(_learned(inputs, ash, planned.plan, count), count)
    if learned:
        warnings += learned.warnings
        if learned.used and not {"ash.amount", "water.amount"} & request.readings.keys():
            warnings.append(READ_OF_THE_PLAN)
        if learned.used or learned.batches:
            is_rough_ph_alone = not learned.batches and {*learned.used} <= _rough_readings(request)
            planned = plan_after_readings(inputs, planned, learned.typical, is_rough_ph_alone)
    plan = planned.plan
    if quick and not learned:
        typical = quick.typical
    else:
        typical = _outcome(inputs, plan, learned.typical if learned else ash.typical())
    quantiles = latin_hypercube(sorted(ash.unknowns), count, round(request.known("seed")))
    samples = (learned.samples if learned else ()) or [ash.sample_at(row) for row in quantiles]
    before = SAMPLES_EXPECTED if learned and count else 0

    def answer(others: Sequence[Outcome], matters: tuple[Influence, ...]) -> Answer:
        return Answer(
            request=request,
            ash=ash,
            water=inputs.water,
            dilution_water=inputs.dilution_water,
            vessel=inputs.vessel,
            plan=plan,
            typical=typical,
            others=tuple(others),
            limits=inputs.limits,
            assumed={**request.assumed, **planned.assumed},
            warnings=(*warnings, *planned.warnings),
            effective_samples=learned.effective if learned else None,
            readings_used=learned.used if learned else (),
            doubts=learned.warnings if learned else (),
            earlier_batches=learned.batches if learned else 0,
            suggestions=suggestions,
            matters=matters,
        )

    outcomes: dict[int, Outcome] = {}
    for place in _order(
        ash, len(samples), round(request.known("seed")), is_stratified=not (learned and learned.samples)
    ):
        outcomes[place] = _outcome(inputs, plan, samples[place])
        if early and len(outcomes) == EARLY_ASHES < len(samples):
            early(answer(tuple(outcomes.values()), learned.matters if learned else ()))
        if len(outcomes) % ASHES_A_STEP == 0:
            yield before + len(outcomes), before + len(samples)
    others = [outcomes[place] for place in range(len(samples))]
    figures = [_ranked_figures(other) for other in others]
    return answer(others, learned.matters if learned else influences_of(quantiles, figures))


def _order(ash: Ash, count: int, seed: int, is_stratified: bool) -> Iterable[int]:
    """Return the places of the samples in the order they are worked out: first a few that stand for all.

    Samples of a posterior stand beside those that are alike, so that every so many-th is taken.
    """
    first: Sequence[int] = [place * count // EARLY_ASHES for place in range(EARLY_ASHES)]
    if is_stratified:
        unknown = frozenset(name for name, known in ash.unknowns.items() if known.low < known.high)
        first = spread_out(tuple(sorted(ash.unknowns)), count, seed, EARLY_ASHES, unknown)
    return dict.fromkeys((*first, *range(count)))


def _rough_readings(request: Request) -> set[str]:
    """Return the fields of readings that tell a pH only roughly: the colour of cabbage water, and a strip."""
    return {"measured.colour"} if request.word("measured.ph_by") == "meter" else {"measured.colour", "measured.ph"}


def _refuse_contradictions(ash: Ash) -> None:
    """Raise `InputErrors` where an analysis of the ash contradicts itself."""
    if problem := ash.contradiction():
        accepted = said(
            "g of the element in a kg of dry ash, as the laboratory wrote it. Leave out what you don't know"
        )
        raise InputErrors([InputError("ash.analysis", ", ".join(ash.analysed), problem, accepted)])


def _ranked_figures(outcome: Outcome) -> tuple[float, float, float]:
    liquor = outcome.steep.liquor
    return liquor.milligrams_per_litre("potassium"), liquor.equilibrium.ph, liquor.alkalinity


def _learned(
    inputs: BatchInputs, ash: Ash, plan: Plan, count: int
) -> Steps[tuple[Ash, LearnedAsh | None, tuple[Suggestion, ...]]]:
    """Return the ash, what the readings say of it if the plan was carried out, and what they contradict.

    ``count`` samples are wanted. Readings that fit no ash as described are tried against its other states.
    """

    def liquor_after(sample: AshSample, hours: float) -> Liquor:
        return inputs.steep(sample, plan.strength_for(sample), hours).liquor

    def fed(liquor: Liquor) -> Liquor:
        return feed_at(liquor, plan.parts_water, inputs.dilution_water, inputs.kelvin).liquor

    amounts = (plan.ash_grams, plan.ash_millilitres, plan.water_litres, plan.parts_water)
    steep = (inputs.kelvin, inputs.request.known("steep.time"), inputs.water.totals, inputs.dilution_water.totals)
    batch = LiquorBatch(
        request=inputs.request,
        liquor_after=liquor_after,
        fed=fed,
        kelvin=inputs.kelvin,
        cache_key=repr((amounts, steep)),
    )
    learned = yield from learning(batch, ash, count)
    if learned and not learned.used and readings_in(inputs.request):
        otherwise = yield from _read_otherwise(batch, ash, plan, count)
        if otherwise:
            return otherwise
    return ash, learned, ()


def _read_otherwise(
    batch: LiquorBatch, ash: Ash, plan: Plan, count: int
) -> Steps[tuple[Ash, LearnedAsh, tuple[Suggestion, ...]] | None]:
    """Return what readings teach if the ash is in another state, or the unit was another; None where nothing fits."""
    given, locale = batch.request.word("ash.state"), batch.request.locale
    for state in OTHER_STATES[given]:
        words = {**batch.request.words, "ash.state": state}
        request = replace(batch.request, words=words, earlier=())
        other = ash_of_request(request, plan.ash_millilitres)
        learned = yield from _without_progress(learning(replace(batch, request=request), other, count))
        if learned and learned.used:
            because = said(
                "Your readings do not fit ash that is “{given}”, but they fit ash that is “{state}”. The plan uses "
                "that.",
                given=MACHINE_WORDS[given],
                state=MACHINE_WORDS[state],
            )
            return other, learned, (Suggestion("ash.state", state, because),)
    conductivity = batch.request.number("measured.ec") or 0.0
    for factor in (1000.0, 0.001) if conductivity else ():
        numbers = {**batch.request.numbers, "measured.ec": conductivity * factor}
        request = replace(batch.request, numbers=numbers, earlier=())
        learned = yield from _without_progress(learning(replace(batch, request=request), ash, count))
        if learned and learned.used:
            value = write_quantity(conductivity * factor, "mS/cm", 3, locale, trim=True)
            because = said(
                "This conductivity fits if it was {value}: mS and µS are easily mixed up. The plan uses that.",
                value=value,
            )
            return ash, learned, (Suggestion("measured.ec", value, because),)
    return None


def _without_progress(steps: Steps[LearnedAsh | None]) -> Steps[LearnedAsh | None]:
    """Run a further trial in slices; its progress stays at the end of the first, since more trials may follow."""
    while True:
        try:
            next(steps)
        except StopIteration as end:
            learned: LearnedAsh | None = end.value
            return learned
        yield SAMPLES_EXPECTED, SAMPLES_EXPECTED


def _outcome(inputs: BatchInputs, plan: Plan, sample: AshSample) -> Outcome:
    """Return the outcome of the plan with one ash."""
    request, kelvin = inputs.request, inputs.kelvin
    batch = inputs.batch(plan, sample)
    clouding = clouding_diameter(clear_line_seen(request), batch, sample, kelvin)
    steep = inputs.steep(sample, batch.strength)
    in_air = None
    if request.word("steep.air") == "open":
        in_air = liquor_in_equilibrium_with_air(steep.liquor, kelvin, outdoor_carbon_dioxide())
    ladder = inputs.ladder(steep.liquor, plan.parts_water)
    own = next(feed for feed in ladder if feed.parts_water == plan.parts_water)
    feed_litres = sum(can.litres * can.count for can in plan.cans)
    if not request.cans:
        feed_litres = batch.liquor_litres * (1 + plan.parts_water)
    area = request.number("soil.area")
    return Outcome(
        sample=sample,
        batch=batch,
        settle_hours=batches.settle_hours(batch, sample, kelvin, clouding),
        cleared_metres=batches.cleared_diameter(batch, sample, kelvin, request.known("steep.time")),
        steep=steep,
        liquor_ph_25=steep.liquor.ph_25,
        own_ph_25=own.liquor.ph_25,
        in_air=in_air,
        ladder=ladder,
        own=own,
        per_can=delivered_by(own.liquor, plan.cans[0].litres),
        per_plant=delivered_by(own.liquor, practice(PLANT_VOLUMES[request.word("stage")]).typical),
        per_square_metre=delivered_by(own.liquor, feed_litres / area if area else practice("ground_volume").typical),
        recommended={stage: inputs.parts_for(stage, steep.liquor, ladder) for stage in inputs.limits},
        clouding_metres=clouding,
    )
