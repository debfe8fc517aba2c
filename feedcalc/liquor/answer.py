"""One request worked through: the plan on typical figures, then the same plan for every ash it could be.

Rules of this room:

* The plan (what to weigh, measure, pour) is made once, on typical figures, and rounded to what a shed can measure.
* The spread comes from running the whole chemistry again on a fixed, stratified sample of ashes; what a grower
  weighed or a laboratory measured does not vary.
* An answer holds numbers only; words, rounding for the eye and languages belong to the report.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import floor, inf

from feedcalc.chemistry import equilibrate
from feedcalc.contract.measures import measured_out, measures, poured, weighed
from feedcalc.contract.numbers import write_decimals, write_number
from feedcalc.contract.quantities import write_quantity
from feedcalc.contract.request import Can, Request
from feedcalc.garden.ash import Ash, AshSample
from feedcalc.garden.circumstances import circumstances_of, stage_of
from feedcalc.garden.feed_limits import PLANT_VOLUMES, FeedLimit, limits_for, practice, strongest_parts
from feedcalc.garden.suitability import calls_for_half_strength, half_strength
from feedcalc.garden.water import Water
from feedcalc.liquor import vessel as batches
from feedcalc.liquor.delivery import Delivered, delivered_by
from feedcalc.liquor.dilution import FEED_MINERALS, Feed, feed_at, is_within, ladder_rungs, parts_within, strength_of
from feedcalc.liquor.learning import (
    Influence,
    LearnedAsh,
    LiquorBatch,
    ash_told,
    influences_of,
    jar_diameter,
    learning,
    readings_in,
    waters_of,
)
from feedcalc.liquor.steeping import Liquor, Steep, standing_in_air, steep, steeped_by
from feedcalc.liquor.vessel import Batch, Vessel
from feedcalc.uncertainty.bayes import SAMPLES_EXPECTED
from feedcalc.uncertainty.estimates import Estimate, Steps, estimate_of, followed_by, latin_hypercube, run_to_end
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.languages import MACHINE_WORDS
from feedcalc.words.messages import said

# Which states are tried where readings do not fit the one that was given; unknown holds fresh and aged already.
OTHER_STATES = {
    "unknown": ("leached",),
    "fresh": ("aged", "leached"),
    "aged": ("fresh", "leached"),
    "leached": ("aged", "fresh"),
}
STAGES = ("seedling", "young", "established")
# Past this a dilution is no advice any more.
WEAKEST_SENSIBLE_PARTS = 200.0
NO_DILUTION_DOES = said(
    "No dilution with this water meets the published limits for this stage, because the "
    "water itself is already there. Use rainwater."
)
READ_OF_THE_PLAN = said(
    "The readings are taken as those of a batch made as planned here. If you used other "
    "amounts, give the ash and the water you used."
)
# A step of an answer in slices is this many ashes: some 30 ms in a browser.
ASHES_A_STEP = 4


@dataclass(frozen=True, slots=True)
class Plan:
    """What the grower is told to do: the same for every ash it might turn out to be.

    ``ash_grams`` where the ash is weighed, else None and ``ash_millilitres`` holds what is measured out;
    ``measure_parts`` says how, in cups and spoons. ``liquor_per_can`` and ``water_per_can`` in litres, a pair for
    each size of can.
    """

    ash_grams: float | None
    ash_millilitres: float
    measure_parts: tuple[tuple[float, str], ...]
    water_litres: float
    parts_water: float
    cans: tuple[Can, ...]
    liquor_per_can: tuple[float, ...]
    water_per_can: tuple[float, ...]

    def grams_for(self, sample: AshSample) -> float:
        """Grams of ash that go in if the ash is ``sample``."""
        return self.ash_grams if self.ash_grams is not None else self.ash_millilitres * sample.density


@dataclass(frozen=True, slots=True)
class Outcome:
    """What the plan gives if the ash is one given sample."""

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
    clouding_metres: float | None = None  # grains that still cloud the liquor below a clear line that was seen


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A field that a reading contradicts, the value that fits it, and why; the answer was worked out with it."""

    field: str
    value: str
    because: str


@dataclass(frozen=True, slots=True)
class Answer:
    """A request worked through: plan, typical outcome, and the outcomes of the sample (empty where not asked for)."""

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
    matters: tuple[Influence, ...] = ()
    earlier_batches: int = 0
    suggestions: tuple[Suggestion, ...] = ()

    @property
    def judged_stage(self) -> str:
        """The stage by whose limits the feed is judged."""
        return stage_of(self.request)

    def spread(self, of: Callable[[Outcome], float]) -> Estimate:
        """A figure of the outcome with the bounds that hold the middle 90 % of the sample."""
        typical = of(self.typical)
        if not self.others:
            return Estimate.exactly(typical)
        return estimate_of([of(outcome) for outcome in self.others], typical, self.effective_samples)


def answer_to(request: Request) -> Answer:
    """Work a request through.

    Raises `InputErrors` where what was asked contradicts itself, `NoSolution` where the chemistry has no answer.
    """
    return run_to_end(answer_in_steps(request))


def answer_in_steps(request: Request) -> Steps[Answer]:
    """`answer_to` in slices: a step after every few ashes, so that who asked may look up and stop in between."""
    ash = ash_told(request)
    if doubt := ash.contradiction():
        accepted = said(
            "g of the element in a kg of dry ash, as the laboratory reports it; leave out what is not known"
        )
        raise InputErrors([InputError("ash.analysis", ", ".join(ash.analysed), doubt, accepted)])
    water, dilution_water = waters_of(request)
    vessel = Vessel(request.known("vessel.depth"), request.known("vessel.capacity"))
    working = _Working(request, ash, water, dilution_water, vessel)
    plan = working.planned()
    # Several fills of a measure scatter less than one, and by the plan it is known how many there are.
    ash = working.ash = ash_told(request, plan.ash_millilitres)
    count = round(request.known("samples")) if request.word("ranges") == "on" else 0
    learned = yield from followed_by(working.learned(plan, count), count)
    ash = working.ash
    if learned and (learned.used or learned.batches):
        is_strip_alone = learned.used == ("measured.ph",) and request.word("measured.ph_by") != "meter"
        plan = working.diluted_anew(plan, learned.typical, is_strip_alone and not learned.batches)
    typical = working.outcome(plan, learned.typical if learned else ash.typical())
    shares = latin_hypercube(sorted(ash.unknowns), count, round(request.known("seed")))
    samples = (learned.samples if learned else ()) or [ash.sample_at(share) for share in shares]
    before = SAMPLES_EXPECTED if learned and count else 0
    others = []
    for sample in samples:
        others.append(working.outcome(plan, sample))
        if len(others) % ASHES_A_STEP == 0:
            yield before + len(others), before + len(samples)
    matters = learned.matters if learned else influences_of(shares, [_figures_that_matter(other) for other in others])
    return Answer(
        request,
        ash,
        water,
        dilution_water,
        vessel,
        plan,
        typical,
        tuple(others),
        working.limits,
        {**request.assumed, **working.assumed},
        tuple(working.warnings),
        effective_samples=learned.effective if learned else None,
        readings_used=learned.used if learned else (),
        earlier_batches=learned.batches if learned else 0,
        matters=matters,
        suggestions=tuple(working.suggestions),
    )


def _held(steps: Steps[LearnedAsh | None]) -> Steps[LearnedAsh | None]:
    """Work in slices whose progress stays where the first trial ended, since nobody can say how many trials follow."""
    while True:
        try:
            next(steps)
        except StopIteration as end:
            learned: LearnedAsh | None = end.value
            return learned
        yield SAMPLES_EXPECTED, SAMPLES_EXPECTED


def _figures_that_matter(outcome: Outcome) -> tuple[float, float, float]:
    liquor = outcome.steep.liquor
    return liquor.milligrams_per_litre("potassium"), liquor.equilibrium.ph, liquor.alkalinity


def _diluted(plan: Plan, parts: float, portions: tuple[float, ...]) -> Plan:
    """The plan at another dilution, with the liquor that goes into each can."""
    return replace(
        plan,
        parts_water=parts,
        liquor_per_can=portions,
        water_per_can=tuple(round(can.litres - part, 10) for can, part in zip(plan.cans, portions, strict=True)),
    )


class _Working:
    """What stays the same through one answer, and what is noticed on the way."""

    def __init__(self, request: Request, ash: Ash, water: Water, dilution_water: Water, vessel: Vessel) -> None:
        self.request = request
        self.ash = ash
        self.water = water
        self.dilution_water = dilution_water
        self.vessel = vessel
        self.kelvin = request.known("water.temperature") + 273.15
        self.hours = request.known("steep.time")
        self.limits = {stage: limits_for(stage, request.word("place")) for stage in STAGES}
        self.water_alone = strength_of(Liquor(equilibrate(dilution_water.totals, self.kelvin, FEED_MINERALS)))
        self.is_careful = calls_for_half_strength(circumstances_of(request))
        self.steeps: dict[tuple[float, ...], Steep] = {}
        self.assumed: dict[str, str] = {}
        self.suggestions: list[Suggestion] = []
        self.warnings: list[str] = [*water.doubts]
        if dilution_water is not water:
            self.warnings += dilution_water.doubts

    # -- the plan ---------------------------------------------------------------------------------------------

    def planned(self) -> Plan:
        """The plan on typical figures, rounded; where the dilution is ours to choose, chosen for the rounded batch."""
        request = self.request
        cans = self._cans()
        parts = request.dilution_parts
        if parts is None:
            parts = self._parts_by_limits(self._usual_strength())
        for _ in range(4):
            plan = self._planned_at(parts, cans)
            strength = plan.grams_for(self.ash.typical()) / plan.water_litres
            self._refuse_mud(strength)
            again = self._parts_by_limits(strength)
            if request.dilution_parts is not None or again == parts:
                break
            parts = max(again, parts)
        if request.dilution_parts is None:
            stage = request.word("stage")
            self.assumed["dilution"] = said(
                "1:{parts}, from published limits for the stage ({stage})",
                parts=write_number(parts, 6, self.request.locale, trim=True),
                stage=MACHINE_WORDS[stage],
            )
        return self._with_cans_that_fill(plan, self.ash.typical())

    def _planned_at(self, parts: float, cans: tuple[Can, ...]) -> Plan:
        request, sample = self.request, self.ash.typical()
        ash_reading = request.readings.get("ash.amount")
        water_litres = request.number("water.amount")
        liquor_per_can = tuple(batches.liquor_for_can(can.litres, parts) for can in cans)
        wanted = sum(portion * can.count for portion, can in zip(liquor_per_can, cans, strict=True))
        measured: tuple[tuple[float, str], ...] = ()
        if ash_reading is not None:
            grams = ash_reading.value if ash_reading.kind == "mass" else ash_reading.value * 1000 * sample.density
            if water_litres is None:
                water_litres = (
                    self._water_around(grams, wanted) if request.cans else poured(grams / self._usual_strength())
                )
        else:
            if water_litres is None and request.cans:
                strength = self._usual_strength()
                water_litres = poured(batches.water_for_liquor(wanted, strength, self.vessel, sample))
            elif water_litres is None:
                water_litres = practice("full_strength_cup").typical
            grams, measured = self._rounded_ash(self._usual_strength() * water_litres)
            if "water.amount" not in request.readings and request.cans:
                water_litres = self._water_around(grams, wanted)
            self.assumed["ash.amount"] = said("{grams} g: one US cup to 5 L of water", grams=f"{grams:.0f}")
        if "water.amount" not in request.readings:
            litres = write_number(water_litres, 6, self.request.locale, trim=True)
            self.assumed["water.amount"] = (
                said("{litres} L: what the cans want", litres=litres)
                if request.cans
                else said("{litres} L: 5 L to one US cup of ash", litres=litres)
            )
        weighed = ash_reading.kind == "mass" if ash_reading is not None else request.word("ash.measure") == "scales"
        return Plan(
            grams if weighed else None,
            grams / sample.density,
            measured,
            water_litres,
            parts,
            cans,
            liquor_per_can,
            tuple(round(can.litres - portion, 10) for can, portion in zip(cans, liquor_per_can, strict=True)),
        )

    def _usual_strength(self) -> float:
        """Grams of ash per litre of water by common practice: a US cup to five litres."""
        return measures("us")["cup"] * self.ash.typical().density / practice("full_strength_cup").typical

    def _rounded_ash(self, grams: float) -> tuple[float, tuple[tuple[float, str], ...]]:
        """Grams as the grower can measure them out, and in which cups and spoons where there are no scales."""
        if self.request.word("ash.measure") == "scales":
            return weighed(grams), ()
        density = self.ash.typical().density
        millilitres, measured = measured_out(grams / density, self.request.customs)
        return millilitres * density, measured

    def _water_around(self, grams: float, wanted: float) -> float:
        """Litres of water, as a jug shows them, that leave ``wanted`` litres of liquor above this much ash."""
        sample = self.ash.typical()
        litres = poured(batches.water_above_ash(wanted, grams, self.vessel, sample))
        # A little more water can mean one go more, which leaves more behind: on to the next mark until it is enough.
        while batches.batch_of(grams, litres, self.vessel, sample).liquor_litres < wanted * (1 - 1e-9):
            litres = poured(litres + 0.001)
        return litres

    def _cans(self) -> tuple[Can, ...]:
        if self.request.cans:
            return self.request.cans
        self.assumed["cans"] = said("9 L, as many as the liquor fills")
        return (Can(9.0, 1),)

    def _parts_by_limits(self, strength: float, sample: AshSample | None = None) -> float:
        """Parts of water that the limits for the stage call for at ``strength``; the weakest rung if none would do."""
        if self.request.dilution_parts is not None:
            return self.request.dilution_parts
        liquor = self._steep(sample or self.ash.typical(), strength).liquor
        stage = stage_of(self.request)
        limits = self.limits[stage]
        parts = self._recommended(stage, liquor, self._ladder(liquor, (0.0, *ladder_rungs())))
        while parts <= WEAKEST_SENSIBLE_PARTS and not is_within(limits, self._fed(liquor, parts)):
            parts += 1.0  # lime haze makes the way between two rungs a little crooked
        if parts <= WEAKEST_SENSIBLE_PARTS:
            return max(half_strength(parts) if self.is_careful else parts, strongest_parts(stage))
        self.warnings = [warning for warning in self.warnings if warning != NO_DILUTION_DOES] + [NO_DILUTION_DOES]
        return max(ladder_rungs())

    def _fed(self, liquor: Liquor, parts: float) -> Liquor:
        return feed_at(liquor, parts, self.dilution_water, self.kelvin).liquor

    def _recommended(self, stage: str, liquor: Liquor, ladder: Sequence[Feed]) -> float:
        """Parts of water that bring this liquor within every limit for a stage; infinite where no dilution would."""
        whole = ladder if ladder and ladder[0].parts_water == 0 else (Feed(0.0, liquor, 0.0), *ladder)
        parts = parts_within(self.limits[stage], whole, self.water_alone)
        return parts if parts <= WEAKEST_SENSIBLE_PARTS else inf

    def _refuse_mud(self, strength: float) -> None:
        """More ash than `thickest_slurry` would leave little or no clear liquor."""
        thickest = batches.rules()["thickest_slurry"]
        if strength > thickest:
            reading = self.request.readings.get("ash.amount")
            problem = said(
                "This is too much ash for the water: {strength} g to a litre settles to mud.",
                strength=f"{strength:.0f}",
            )
            accepted = said(
                "at most {thickest} g of ash to a litre of water; about 21 g is common practice",
                thickest=write_number(thickest, 6, self.request.locale, trim=True),
            )
            raise InputErrors([InputError("ash.amount", reading.text if reading else "", problem, accepted)])

    def _with_cans_that_fill(self, plan: Plan, sample: AshSample) -> Plan:
        """The plan with as many of the cans as its liquor fills if the ash is ``sample``, and a note where not all."""
        if not self.request.cans:
            return plan
        made = batches.batch_of(plan.grams_for(sample), plan.water_litres, self.vessel, sample).liquor_litres
        wanted = sum(portion * can.count for portion, can in zip(plan.liquor_per_can, plan.cans, strict=True))
        if made >= wanted * (1 - 1e-6):
            return plan
        told = {
            "made": write_decimals(made, 1, self.request.locale),
            "wanted": write_decimals(wanted, 1, self.request.locale),
            "parts": write_number(plan.parts_water, 6, self.request.locale, trim=True),
        }
        if made >= wanted * (1 - batches.rules()["shortfall_allowed"]):
            self.warnings.append(
                said(
                    "The liquor ({made} L) falls a little short of what the cans want ({wanted} L): the last "
                    "can will be short, or weaker.",
                    **told,
                )
            )
            return plan
        weaker = self._weaker_until_full(plan, made)
        if weaker:
            return weaker
        left, filled = made, []
        for can, portion in zip(plan.cans, plan.liquor_per_can, strict=True):
            count = min(can.count, int(left / portion + 1e-9))
            left -= count * portion
            if count:
                filled.append((Can(can.litres, count), portion))
        if filled:
            self.warnings.append(
                said(
                    "This much ash and water gives about {made} L of clear liquor. At 1:{parts} that fills {filled} of "
                    "the {asked} cans; all of them need {wanted} L.",
                    filled=sum(can.count for can, _ in filled),
                    asked=sum(can.count for can in plan.cans),
                    **told,
                )
            )
        else:
            liquor = floor(made * 100 + 1e-9) / 100
            size = round(liquor * (1 + plan.parts_water), 2)
            filled = [(Can(size, 1), liquor)]
            self.warnings.append(
                said(
                    "This much ash and water gives about {made} L of clear liquor. At 1:{parts} that makes {feed} L of "
                    "feed, less than one can.",
                    feed=write_number(size, 3, self.request.locale, trim=True),
                    **told,
                )
            )
        return replace(
            plan,
            cans=tuple(can for can, _ in filled),
            liquor_per_can=tuple(portion for _, portion in filled),
            water_per_can=tuple(round(can.litres - portion, 10) for can, portion in filled),
        )

    def _weaker_until_full(self, plan: Plan, made: float) -> Plan | None:
        """The plan diluted until its liquor fills every can; None where that takes more than half strength.

        None too where the grower chose the dilution.
        """
        if self.request.dilution_parts is not None or made <= 0.0:
            return None
        parts = plan.parts_water
        while parts < half_strength(plan.parts_water):
            parts += 1.0
            portions = tuple(batches.liquor_for_can(can.litres, parts) for can in plan.cans)
            if sum(portion * can.count for portion, can in zip(portions, plan.cans, strict=True)) <= made:
                self.warnings.append(
                    said(
                        "The limits would allow 1:{limit}. Your cans are filled at 1:{parts}, because this much ash and "
                        "water gives about {made} L of clear liquor.",
                        limit=write_number(plan.parts_water, 6, self.request.locale, trim=True),
                        parts=write_number(parts, 6, self.request.locale, trim=True),
                        made=write_decimals(made, 1, self.request.locale),
                    )
                )
                return _diluted(plan, parts, portions)
        return None

    # -- what was read off ----------------------------------------------------------------------------------------

    def learned(self, plan: Plan, count: int) -> Steps[LearnedAsh | None]:
        """What the readings say of the ash, the plan having been carried out; ``count`` samples are wanted."""

        def liquor_after(sample: AshSample, hours: float) -> Liquor:
            return self._steep(sample, plan.grams_for(sample) / plan.water_litres, hours).liquor

        def fed(liquor: Liquor) -> Liquor:
            return feed_at(liquor, plan.parts_water, self.dilution_water, self.kelvin).liquor

        basis = (plan.ash_grams, plan.ash_millilitres, plan.water_litres, plan.parts_water, self.kelvin, self.hours)
        waters = (self.water.totals, self.dilution_water.totals)
        batch = LiquorBatch(self.request, liquor_after, fed, self.kelvin, repr((basis, waters)))
        learned = yield from learning(batch, self.ash, count)
        if learned and not learned.used and readings_in(self.request):
            learned = (yield from self._read_otherwise(batch, plan, count)) or learned
        if learned:
            self.warnings += learned.warnings
            if learned.used and not {"ash.amount", "water.amount"} & self.request.readings.keys():
                self.warnings.append(READ_OF_THE_PLAN)
        return learned

    def _read_otherwise(self, batch: LiquorBatch, plan: Plan, count: int) -> Steps[LearnedAsh | None]:
        """Readings that fit no ash as it was described are tried against other states of it, then in another unit.

        Returns what the first that fits teaches, and takes the ash so from then on; None where nothing fits.
        """
        told = self.request.word("ash.state")
        for state in OTHER_STATES[told]:
            request = replace(self.request, words={**self.request.words, "ash.state": state}, earlier=())
            ash = ash_told(request, plan.ash_millilitres)
            learned = yield from _held(learning(replace(batch, request=request), ash, count))
            if learned and learned.used:
                self.ash = ash
                because = said(
                    "Your readings do not fit ash described as “{told}”, but they fit ash that is “{state}”. It is "
                    "taken so.",
                    told=MACHINE_WORDS[told],
                    state=MACHINE_WORDS[state],
                )
                self.suggestions.append(Suggestion("ash.state", state, because))
                return learned
        conductivity = self.request.number("measured.ec")
        for factor in (1000.0, 0.001) if conductivity is not None else ():
            numbers = {**self.request.numbers, "measured.ec": (conductivity or 0.0) * factor}
            request = replace(self.request, numbers=numbers, earlier=())
            learned = yield from _held(learning(replace(batch, request=request), self.ash, count))
            if learned and learned.used:
                value = write_quantity(numbers["measured.ec"], "mS/cm", 3, self.request.locale, trim=True)
                because = said(
                    "This conductivity fits if it was {value}: mS and µS are easily swapped. It is taken so.",
                    value=value,
                )
                self.suggestions.append(Suggestion("measured.ec", value, because))
                return learned
        return None

    def diluted_anew(self, plan: Plan, typical: AshSample, is_strip_alone: bool) -> Plan:
        """The plan diluted as the limits call for now that the liquor was read; unchanged where a dilution was given.

        A strip alone is too coarse to make a plan stronger than it was without.
        """
        if self.request.dilution_parts is not None or self.request.word("measured.of") == "feed":
            return plan
        parts = self._parts_by_limits(plan.grams_for(typical) / plan.water_litres, typical)
        if is_strip_alone:
            parts = max(parts, plan.parts_water)
        plan = _diluted(plan, parts, tuple(batches.liquor_for_can(can.litres, parts) for can in plan.cans))
        stage = self.request.word("stage")
        self.assumed["dilution"] = said(
            "1:{parts}, from published limits for the stage ({stage}) and what was read",
            parts=write_number(parts, 6, self.request.locale, trim=True),
            stage=MACHINE_WORDS[stage],
        )
        return self._with_cans_that_fill(plan, typical)

    # -- one outcome ------------------------------------------------------------------------------------------

    def _steep(self, sample: AshSample, grams_per_litre: float, hours: float | None = None) -> Steep:
        """The steep of one ash; one that was tried against the readings is not worked out again."""
        hours = self.hours if hours is None else hours
        per_kilogram = grams_per_litre / batches.water_kilograms(1.0, self.kelvin)
        known = (per_kilogram, hours, *steeped_by(sample))
        if known not in self.steeps:
            self.steeps[known] = steep(sample, per_kilogram, self.water, self.kelvin, hours)
        return self.steeps[known]

    def _ladder(self, liquor: Liquor, rungs: Sequence[float]) -> tuple[Feed, ...]:
        """The liquor at each rung, every rung sought from the one before, which is the nearest thing to it."""
        ladder: list[Feed] = []
        for parts in rungs:
            nearby = ladder[-1].liquor.equilibrium if ladder else None
            ladder.append(feed_at(liquor, parts, self.dilution_water, self.kelvin, nearby))
        return tuple(ladder)

    def outcome(self, plan: Plan, sample: AshSample) -> Outcome:
        """The plan carried out with one ash."""
        batch = batches.batch_of(plan.grams_for(sample), plan.water_litres, self.vessel, sample)
        clouding = jar_diameter(self.request, batch, sample, self.kelvin)
        settle_hours = batches.settle_hours(batch, sample, self.kelvin, clouding)
        cleared = batches.cleared_diameter(batch, sample, self.kelvin, self.hours)
        steeped = self._steep(sample, batch.strength)
        in_air = None
        if self.request.word("steep.air") == "open":
            in_air = standing_in_air(steeped.liquor, self.kelvin, batches.rules()["outdoor_carbon_dioxide"])
        rungs = sorted({*ladder_rungs(), plan.parts_water})
        ladder = self._ladder(steeped.liquor, rungs)
        own = ladder[rungs.index(plan.parts_water)]
        feed_litres = sum(can.litres * can.count for can in plan.cans)
        if not self.request.cans:
            feed_litres = batch.liquor_litres * (1 + plan.parts_water)
        area = self.request.number("soil.area")
        per_area = feed_litres / area if area else practice("ground_volume").typical
        return Outcome(
            sample=sample,
            batch=batch,
            settle_hours=settle_hours,
            cleared_metres=cleared,
            steep=steeped,
            liquor_ph_25=steeped.liquor.ph_25,
            own_ph_25=own.liquor.ph_25,
            in_air=in_air,
            ladder=ladder,
            own=own,
            per_can=delivered_by(own.liquor, plan.cans[0].litres),
            per_plant=delivered_by(own.liquor, practice(PLANT_VOLUMES[self.request.word("stage")]).typical),
            per_square_metre=delivered_by(own.liquor, per_area),
            recommended={stage: self._recommended(stage, steeped.liquor, ladder) for stage in STAGES},
            clouding_metres=clouding,
        )
