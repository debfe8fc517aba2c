"""Plan a batch: how much ash and water, the dilution, and what goes into each can.

* The plan is computed from typical figures and rounded to what a grower can measure; everything after it is computed
  from the rounded amounts.
* Amounts that the request gives are kept. Missing ones follow from the cans, else from common practice: one US cup of
  ash to 5 L of water.
* Without a dilution in the request, the published limits for the stage decide. A dilution changes the amount of liquor
  that the cans need and so the batch, which is therefore planned again until the dilution holds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from feedcalc.chemistry import equilibrate
from feedcalc.contract.measures import measured_out, measures, poured, weighed
from feedcalc.contract.numbers import write_decimals, write_number
from feedcalc.contract.request import Can, Request
from feedcalc.garden.ash import AshSample
from feedcalc.garden.feed_limits import FeedLimit, limits_for, practice
from feedcalc.garden.water import Water
from feedcalc.liquor import vessel as batches
from feedcalc.liquor.ash_evidence import waters_of
from feedcalc.liquor.dilution import ladder_rungs, parts_to_meet
from feedcalc.liquor.steeping import Liquor, Steep, SteepMemory
from feedcalc.liquor.vessel import Batch, Vessel
from feedcalc.physics.water import ZERO_CELSIUS_KELVIN
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.languages import MACHINE_WORDS
from feedcalc.words.messages import said

Measures = tuple[tuple[float, str], ...]  # (count, cup or spoon)

STAGES = ("seedling", "young", "established")
# A dilution weaker than this is no longer useful advice.
WEAKEST_SENSIBLE_PARTS = 200.0
NO_DILUTION_DOES = said(
    "No dilution with this water meets the published limits for this stage, because the "
    "water itself is already there. Use rainwater."
)
_MOST_ROUNDS = 4  # of planning, each for a weaker dilution
_REFERENCE_KELVIN = 298.15  # conductivities are compared at 25 degC


@dataclass(frozen=True, slots=True)
class Plan:
    """What the grower is advised to do: the same for every ash that it might turn out to be.

    ``ash_grams`` is None where the ash is measured by volume; ``ash_millilitres`` is known in both cases.
    ``measure_parts`` lists cups and spoons as (count, measure). ``liquor_per_can`` and ``water_per_can`` are in litres,
    one for each of ``cans``.
    """

    ash_grams: float | None
    ash_millilitres: float
    measure_parts: Measures
    water_litres: float
    parts_water: float
    cans: tuple[Can, ...]
    liquor_per_can: tuple[float, ...]
    water_per_can: tuple[float, ...]

    @property
    def liquor_wanted(self) -> float:
        """Litres of liquor that fill all the cans."""
        return sum(portion * can.count for portion, can in zip(self.liquor_per_can, self.cans, strict=True))

    def grams_for(self, sample: AshSample) -> float:
        """Return the grams of ash that go in if the ash is ``sample``."""
        return self.ash_grams if self.ash_grams is not None else self.ash_millilitres * sample.density

    def strength_for(self, sample: AshSample) -> float:
        """Return the grams of ash per litre of water if the ash is ``sample``."""
        return self.grams_for(sample) / self.water_litres


@dataclass(frozen=True, slots=True)
class Planned:
    """A plan, the assumptions made for it by field of the request, and the warnings to show with it."""

    plan: Plan
    assumed: Mapping[str, str]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BatchInputs:
    """Everything besides the ash that a plan and its outcomes depend on. ``kelvin`` is the temperature of the steep."""

    request: Request
    water: Water
    dilution_water: Water
    dilution_conductivity: float
    vessel: Vessel
    kelvin: float
    limits: Mapping[str, tuple[FeedLimit, ...]]
    steeps: SteepMemory

    @classmethod
    def of(cls, request: Request) -> BatchInputs:
        """Collect the inputs from a request."""
        water, dilution_water = waters_of(request)
        kelvin = request.known("water.temperature") + ZERO_CELSIUS_KELVIN
        return cls(
            request=request,
            water=water,
            dilution_water=dilution_water,
            dilution_conductivity=equilibrate(dilution_water.totals, _REFERENCE_KELVIN).conductivity,
            vessel=Vessel(request.known("vessel.depth"), request.known("vessel.capacity")),
            kelvin=kelvin,
            limits={stage: limits_for(stage) for stage in STAGES},
            steeps=SteepMemory(water, kelvin),
        )

    def steep(self, sample: AshSample, grams_per_litre: float, hours: float | None = None) -> Steep:
        """Steep an ash at a strength in grams per litre of water, for the time of the request unless given."""
        hours = self.request.known("steep.time") if hours is None else hours
        return self.steeps.steep(sample, grams_per_litre / batches.water_kilograms(1.0, self.kelvin), hours)

    def batch(self, plan: Plan, sample: AshSample) -> Batch:
        """Return the batch that the plan makes if the ash is ``sample``."""
        return batches.batch_of(plan.grams_for(sample), plan.water_litres, self.vessel, sample)

    def parts_by_stage(self, liquor: Liquor) -> dict[str, float]:
        """Return by stage the parts of water that bring a liquor within every limit; infinite where none do."""
        return {
            stage: max(
                parts_to_meet(limit, liquor, self.dilution_water, self.dilution_conductivity) for limit in limits
            )
            for stage, limits in self.limits.items()
        }


def plan_batch(inputs: BatchInputs, typical: AshSample) -> Planned:
    """Return the rounded plan for a typical ash.

    Raises `InputErrors` where the ash would settle to mud or the given amounts can't fill the cans.
    """
    request = inputs.request
    cans = request.cans or (Can(9.0, 1),)
    parts, warnings = _dilution(inputs, typical, _usual_strength(typical))
    for _ in range(_MOST_ROUNDS):
        plan, assumed = _plan_at(inputs, typical, parts, cans)
        _refuse_mud(request, plan.strength_for(typical))
        needed, more = _dilution(inputs, typical, plan.strength_for(typical))
        warnings = warnings or more
        if needed <= parts:
            break
        parts = needed
    if not request.cans:
        assumed = {"cans": said("9 L, as many as the liquor fills"), **assumed}
    if request.dilution_parts is None:
        assumed["dilution"] = said(
            "1:{parts}, from published limits for the stage ({stage})",
            parts=_plain(parts, request),
            stage=MACHINE_WORDS[request.word("stage")],
        )
    return Planned(plan, assumed, (*warnings, *_shortfall(inputs, plan, typical)))


def plan_after_readings(inputs: BatchInputs, plan: Plan, typical: AshSample) -> Planned:
    """Return the plan diluted for the liquor as it was read, ``typical`` being the ash that the readings suggest.

    The plan is unchanged where the request gives a dilution, or where the feed was read and so is already diluted.
    """
    request = inputs.request
    if request.dilution_parts is not None or request.word("measured.of") == "feed":
        return Planned(plan, {})
    parts, warnings = _dilution(inputs, typical, plan.strength_for(typical))
    liquor_per_can, water_per_can = _portions(plan.cans, parts)
    plan = replace(plan, parts_water=parts, liquor_per_can=liquor_per_can, water_per_can=water_per_can)
    made = inputs.batch(plan, typical).liquor_litres
    if request.cans and made < plan.liquor_wanted * (1 - batches.rules()["shortfall_allowed"]):
        warning = said(
            "By what was read this liquor is weaker than expected: at 1:{parts} the cans want "
            "{wanted} L of it and {made} L can be poured off. Fill fewer cans, or all of them weaker.",
            parts=_plain(parts, request),
            wanted=write_decimals(plan.liquor_wanted, 1, request.locale),
            made=write_decimals(made, 1, request.locale),
        )
        warnings = (*warnings, warning)
    assumed = said(
        "1:{parts}, from published limits for the stage ({stage}) and what was read",
        parts=_plain(parts, request),
        stage=MACHINE_WORDS[request.word("stage")],
    )
    return Planned(plan, {"dilution": assumed}, warnings)


def _dilution(inputs: BatchInputs, sample: AshSample, strength: float) -> tuple[float, tuple[str, ...]]:
    """Return the parts of water for a strength in g/L, with a warning where no dilution meets the limits."""
    if inputs.request.dilution_parts is not None:
        return inputs.request.dilution_parts, ()
    liquor = inputs.steep(sample, strength).liquor
    parts = inputs.parts_by_stage(liquor)[inputs.request.word("stage")]
    return (parts, ()) if parts <= WEAKEST_SENSIBLE_PARTS else (max(ladder_rungs()), (NO_DILUTION_DOES,))


def _plan_at(
    inputs: BatchInputs, typical: AshSample, parts: float, cans: tuple[Can, ...]
) -> tuple[Plan, dict[str, str]]:
    """Return the plan for a dilution, and what was assumed for its amounts."""
    request = inputs.request
    liquor_per_can, water_per_can = _portions(cans, parts)
    wanted = sum(portion * can.count for portion, can in zip(liquor_per_can, cans, strict=True))
    ash = request.readings.get("ash.amount")
    assumed: dict[str, str] = {}
    if ash is not None:
        grams, litres = _amounts_for_given_ash(inputs, typical, wanted)
        measured: Measures = ()
    else:
        grams, litres, measured = _usual_amounts(inputs, typical, wanted)
        assumed["ash.amount"] = said("{grams} g: one US cup to 5 L of water", grams=f"{grams:.0f}")
    if "water.amount" not in request.readings:
        text = _plain(litres, request)
        assumed["water.amount"] = (
            said("{litres} L: what the cans want", litres=text)
            if request.cans
            else said("{litres} L: 5 L to one US cup of ash", litres=text)
        )
    is_weighed = ash.kind == "mass" if ash is not None else request.word("ash.measure") == "scales"
    plan = Plan(
        ash_grams=grams if is_weighed else None,
        ash_millilitres=grams / typical.density,
        measure_parts=measured,
        water_litres=litres,
        parts_water=parts,
        cans=cans,
        liquor_per_can=liquor_per_can,
        water_per_can=water_per_can,
    )
    return plan, assumed


def _amounts_for_given_ash(inputs: BatchInputs, typical: AshSample, wanted: float) -> tuple[float, float]:
    """Return the grams of the ash that was given, and the litres of water for it."""
    request = inputs.request
    ash, litres = request.readings["ash.amount"], request.number("water.amount")
    grams = ash.value if ash.kind == "mass" else ash.value * 1000 * typical.density
    if litres is not None:
        return grams, litres
    if request.cans:
        return grams, _water_above(inputs, typical, grams, wanted)
    return grams, poured(grams / _usual_strength(typical))


def _usual_amounts(inputs: BatchInputs, typical: AshSample, wanted: float) -> tuple[float, float, Measures]:
    """Return grams of ash at the usual strength, litres of water, and the cups and spoons where no scales are used."""
    request, strength = inputs.request, _usual_strength(typical)
    litres = request.number("water.amount")
    if litres is None and request.cans:
        litres = poured(batches.water_for_liquor(wanted, strength, inputs.vessel, typical))
    elif litres is None:
        litres = practice("full_strength_cup").typical
    measured: Measures = ()
    if request.word("ash.measure") == "scales":
        grams = weighed(strength * litres)
    else:
        millilitres, measured = measured_out(strength * litres / typical.density, request.customs)
        grams = millilitres * typical.density
    if "water.amount" not in request.readings and request.cans:
        litres = _water_above(inputs, typical, grams, wanted)
    return grams, litres, measured


def _usual_strength(typical: AshSample) -> float:
    """Return the grams of ash per litre of water of common practice: a US cup to five litres."""
    return measures("us")["cup"] * typical.density / practice("full_strength_cup").typical


def _water_above(inputs: BatchInputs, typical: AshSample, grams: float, wanted: float) -> float:
    """Return the litres of water, in steps of a jug, that leave ``wanted`` litres of liquor above so much ash."""
    litres = poured(batches.water_above_ash(wanted, grams, inputs.vessel, typical))
    # A little more water can need one more bucketful, which leaves more liquor behind.
    while batches.batch_of(grams, litres, inputs.vessel, typical).liquor_litres < wanted * (1 - 1e-9):
        litres = poured(litres + 0.001)
    return litres


def _portions(cans: Sequence[Can], parts: float) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the litres of liquor and the litres of water for each can."""
    liquor = tuple(batches.liquor_for_can(can.litres, parts) for can in cans)
    water = tuple(round(can.litres - portion, 10) for can, portion in zip(cans, liquor, strict=True))
    return liquor, water


def _refuse_mud(request: Request, strength: float) -> None:
    """Raise `InputErrors` where a strength in g/L would leave little or no clear liquor."""
    thickest = batches.rules()["thickest_slurry"]
    if strength <= thickest:
        return
    problem = said(
        "This is too much ash for the water: {strength} g to a litre settles to mud.", strength=f"{strength:.0f}"
    )
    accepted = said(
        "at most {thickest} g of ash to a litre of water; about 21 g is common practice",
        thickest=_plain(thickest, request),
    )
    raise InputErrors([InputError("ash.amount", _as_typed(request, "ash.amount"), problem, accepted)])


def _shortfall(inputs: BatchInputs, plan: Plan, typical: AshSample) -> tuple[str, ...]:
    """Return a warning where the liquor falls a little short of the cans; raise `InputErrors` where it is far short."""
    request = inputs.request
    made, wanted = inputs.batch(plan, typical).liquor_litres, plan.liquor_wanted
    if not request.cans or made >= wanted * (1 - 1e-6):
        return ()
    made_text, wanted_text = (write_decimals(litres, 1, request.locale) for litres in (made, wanted))
    if made >= wanted * (1 - batches.rules()["shortfall_allowed"]):
        return (
            said(
                "The liquor ({made} L) falls a little short of what the cans want ({wanted} L): the last "
                "can will be short, or weaker.",
                made=made_text,
                wanted=wanted_text,
            ),
        )
    problem = said(
        "This much ash and water gives about {made} L of clear liquor, but the cans at "
        "1:{parts_water} need {wanted} L.",
        made=made_text,
        parts_water=_plain(plan.parts_water, request),
        wanted=wanted_text,
    )
    field = "water.amount" if "water.amount" in request.readings else "ash.amount"
    accepted = said(
        "more water, fewer cans, or a weaker dilution; or leave out the ash and water and let the cans decide"
    )
    raise InputErrors([InputError(field, _as_typed(request, field), problem, accepted)])


def _plain(value: float, request: Request) -> str:
    return write_number(value, 6, request.locale, trim=True)


def _as_typed(request: Request, field: str) -> str:
    reading = request.readings.get(field)
    return reading.text if reading else ""
