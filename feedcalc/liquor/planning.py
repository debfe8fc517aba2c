"""Plan a batch: how much ash and water, the dilution, and what goes into each can.

* The plan is computed from typical figures and rounded to what a grower can measure; everything after it is computed
  from the rounded amounts.
* Amounts that the request gives are kept. Missing ones follow from the cans, else from common practice: one US cup of
  ash to 5 L of water.
* Without a dilution in the request, the published limits for the stage decide. A dilution changes the amount of liquor
  that the cans need and so the batch, which is therefore planned again until the dilution holds.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import field, replace
from itertools import chain
from math import ceil, floor, inf

from feedcalc.chemistry import equilibrate
from feedcalc.contract.measures import measured_out, measures, poured, weighed
from feedcalc.contract.numbers import write_decimals, write_number
from feedcalc.contract.own_measures import OwnUnits, roughly, to_measure
from feedcalc.contract.request import Can, Request
from feedcalc.frozen import frozen
from feedcalc.garden.ash import AshSample
from feedcalc.garden.circumstances import circumstances_of, stage_of
from feedcalc.garden.feed_limits import FeedLimit, limits_for, practice, strongest_parts
from feedcalc.garden.suitability import calls_for_half_strength, half_strength
from feedcalc.garden.water import Water
from feedcalc.liquor import vessel as batches
from feedcalc.liquor.ash_evidence import waters_of
from feedcalc.liquor.dilution import FEED_MINERALS, Feed, feed_at, is_within, ladder_rungs, parts_within, strength_of
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
    "No dilution with this water meets the published limits for this stage. The water alone is already over the "
    "limit. Use rainwater."
)
_USUAL_CAN_LITRES = 9.0
_MOST_ROUNDS = 4  # of planning, each for a weaker dilution


@frozen
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
        meant = self.ash_grams if self.ash_grams is not None else self.ash_millilitres * sample.density
        return meant * sample.measured

    def strength_for(self, sample: AshSample) -> float:
        """Return the grams of ash per litre of water if the ash is ``sample``."""
        return self.grams_for(sample) / self.water_litres


@frozen
class Planned:
    """A plan, the assumptions made for it by field of the request, and the warnings to show with it."""

    plan: Plan
    assumed: Mapping[str, str]
    warnings: tuple[str, ...] = ()


@frozen
class BatchInputs:
    """Everything besides the ash that a plan and its outcomes depend on. ``kelvin`` is the temperature of the steep."""

    request: Request
    water: Water
    dilution_water: Water
    water_alone: Mapping[str, float]
    vessel: Vessel
    kelvin: float
    limits: Mapping[str, tuple[FeedLimit, ...]]
    steeps: SteepMemory
    ladders: dict[int, tuple[Liquor, list[Feed]]] = field(default_factory=dict)

    @classmethod
    def of(cls, request: Request) -> BatchInputs:
        """Collect the inputs from a request."""
        water, dilution_water = waters_of(request)
        kelvin = request.known("water.temperature") + ZERO_CELSIUS_KELVIN
        return cls(
            request=request,
            water=water,
            dilution_water=dilution_water,
            water_alone=strength_of(Liquor(equilibrate(dilution_water.totals, kelvin, FEED_MINERALS))),
            vessel=Vessel(request.known("vessel.depth"), request.known("vessel.capacity")),
            kelvin=kelvin,
            limits={stage: limits_for(stage, request.word("place")) for stage in STAGES},
            steeps=SteepMemory(water, kelvin),
        )

    def steep(self, sample: AshSample, grams_per_litre: float, hours: float | None = None) -> Steep:
        """Steep an ash at a strength in grams per litre of water, for the time of the request unless given."""
        hours = self.request.known("steep.time") if hours is None else hours
        return self.steeps.steep(sample, grams_per_litre / batches.water_kilograms(1.0, self.kelvin), hours)

    def feeds(self, liquor: Liquor) -> Iterator[Feed]:
        """Yield the feed at each usual rung, strongest first; each is computed once, when it is first asked for.

        Each equilibrium starts from that of the rung before, which is the nearest.
        """
        # The liquor is kept beside its feeds, so that no other gets its identity.
        _, known = self.ladders.setdefault(id(liquor), (liquor, []))
        for place, parts in enumerate(ladder_rungs()):
            if place == len(known):
                known.append(self.feed(liquor, parts, known[-1] if known else None))
            yield known[place]

    def feed(self, liquor: Liquor, parts: float, stronger: Feed | None = None) -> Feed:
        """Return the feed at a dilution; ``stronger`` is one to start the search from."""
        nearby = stronger.liquor.equilibrium if stronger else None
        return feed_at(liquor, parts, self.dilution_water, self.kelvin, nearby)

    def ladder(self, liquor: Liquor, chosen: float) -> tuple[Feed, ...]:
        """Return the feeds at the usual rungs and at the dilution that was chosen, strongest first."""
        usual = tuple(self.feeds(liquor))
        if any(feed.parts_water == chosen for feed in usual):
            return usual
        stronger = [feed for feed in usual if feed.parts_water < chosen]
        own = self.feed(liquor, chosen, stronger[-1] if stronger else None)
        return (*stronger, own, *usual[len(stronger) :])

    def batch(self, plan: Plan, sample: AshSample) -> Batch:
        """Return the batch that the plan makes if the ash is ``sample``."""
        return batches.batch_of(plan.grams_for(sample), plan.water_litres, self.vessel, sample)

    def parts_for(self, stage: str, liquor: Liquor, ladder: Iterable[Feed]) -> float:
        """Return the parts of water that bring a liquor within every limit of a stage; infinite where none do.

        ``ladder`` holds the liquor's own feeds, strongest first.
        """
        rungs = chain((Feed(0.0, liquor, 0.0),), ladder)
        parts = parts_within(self.limits[stage], rungs, self.water_alone)
        return parts if parts <= WEAKEST_SENSIBLE_PARTS else inf

    def parts_within_limits(self, stage: str, liquor: Liquor) -> float:
        """Return `parts_for` with the usual rungs, weaker where the feed itself is not within the limits yet.

        Lime haze makes the way between two rungs a little crooked.
        """
        parts = self.parts_for(stage, liquor, self.feeds(liquor))
        while parts <= WEAKEST_SENSIBLE_PARTS and not is_within(self.limits[stage], self.feed(liquor, parts).liquor):
            parts += 1.0
        return parts


def plan_batch(inputs: BatchInputs, typical: AshSample) -> Planned:
    """Return the rounded plan for a typical ash.

    Where given amounts do not fill the cans, the plan fills those it can. Raises `InputErrors` where the ash would
    settle to mud.
    """
    request = inputs.request
    cans = _cans_of(request)
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
        assumed = {"cans": said("{size}, as many as the liquor fills", size=_usual_can(request)), **assumed}
    if request.dilution_parts is None:
        assumed["dilution"] = said(
            "1:{parts}, from published limits for the stage ({stage})",
            parts=_plain(parts, request),
            stage=MACHINE_WORDS[request.word("stage")],
        )
    plan, more = _with_cans_that_fill(inputs, plan, typical)
    return Planned(plan, assumed, (*warnings, *more))


def plan_after_readings(
    inputs: BatchInputs, planned: Planned, typical: AshSample, is_rough_ph_alone: bool = False
) -> Planned:
    """Return the plan diluted for the liquor as it was read, ``typical`` being the ash that the readings suggest.

    A strip or a colour alone is too coarse to make a plan stronger than it was without. The dilution stays where the
    request gives it, and the whole plan where the feed was read, since that is already diluted.
    """
    request, plan, assumed = inputs.request, planned.plan, dict(planned.assumed)
    if request.word("measured.of") == "feed":
        return planned
    parts, warnings = _dilution(inputs, typical, plan.strength_for(typical))
    if is_rough_ph_alone:
        parts = max(parts, plan.parts_water)
    if request.dilution_parts is None:
        assumed["dilution"] = said(
            "1:{parts}, from published limits for the stage ({stage}) and your readings",
            parts=_plain(parts, request),
            stage=MACHINE_WORDS[request.word("stage")],
        )
    plan, more = _with_cans_that_fill(inputs, _filling(plan, _cans_of(request), parts, request), typical)
    return Planned(plan, assumed, (*warnings, *more))


def _cans_of(request: Request) -> tuple[Can, ...]:
    """Return the cans that are to be filled, one of a common size where the request has none."""
    return request.cans or (Can(_USUAL_CAN_LITRES, 1),)


def _usual_can(request: Request) -> str:
    return roughly(_USUAL_CAN_LITRES, "L", request.own, request.locale, trim=True)[0]


def _filling(plan: Plan, cans: tuple[Can, ...], parts: float, request: Request) -> Plan:
    """Return the same batch poured into other cans or at another dilution."""
    liquor_per_can, water_per_can = _portions(cans, parts, request.own)
    return replace(plan, cans=cans, parts_water=parts, liquor_per_can=liquor_per_can, water_per_can=water_per_can)


def _dilution(inputs: BatchInputs, sample: AshSample, strength: float) -> tuple[float, tuple[str, ...]]:
    """Return the parts of water for a strength in g/L, with a warning where no dilution meets the limits."""
    if inputs.request.dilution_parts is not None:
        return inputs.request.dilution_parts, ()
    request, stage = inputs.request, stage_of(inputs.request)
    parts = inputs.parts_within_limits(stage, inputs.steep(sample, strength).liquor)
    if parts > WEAKEST_SENSIBLE_PARTS:
        return max(ladder_rungs()), (NO_DILUTION_DOES,)
    if calls_for_half_strength(circumstances_of(request)):
        parts = half_strength(parts)
    return max(parts, strongest_parts(stage)), ()


def _plan_at(
    inputs: BatchInputs, typical: AshSample, parts: float, cans: tuple[Can, ...]
) -> tuple[Plan, dict[str, str]]:
    """Return the plan for a dilution, and what was assumed for its amounts."""
    request = inputs.request
    liquor_per_can, water_per_can = _portions(cans, parts, request.own)
    wanted = sum(portion * can.count for portion, can in zip(liquor_per_can, cans, strict=True))
    ash = request.readings.get("ash.amount")
    assumed: dict[str, str] = {}
    if ash is not None:
        grams, litres = _amounts_for_given_ash(inputs, typical, wanted)
        measured: Measures = ()
    else:
        grams, litres, measured = _usual_amounts(inputs, typical, wanted)
        assumed["ash.amount"] = said(
            "{grams} g: one US cup for {water} of water",
            grams=f"{grams:.0f}",
            water=roughly(5.0, "L", request.own, request.locale, trim=True)[0],
        )
    if "water.amount" not in request.readings:
        water = to_measure(litres, "L", request.own, request.locale)
        assumed["water.amount"] = (
            said("{water}: what the cans need", water=water)
            if request.cans and (ash is None or litres > poured(grams / _usual_strength(typical), request.own.volume))
            else said(
                "{water}: {each} for one US cup of ash",
                water=water,
                each=roughly(5.0, "L", request.own, request.locale, trim=True)[0],
            )
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
    # Small cans don't ask for a liquor that is thicker than usual: what they leave is kept.
    usual = poured(grams / _usual_strength(typical), request.own.volume)
    return grams, max(_water_above(inputs, typical, grams, wanted), usual) if request.cans else usual


def _usual_amounts(inputs: BatchInputs, typical: AshSample, wanted: float) -> tuple[float, float, Measures]:
    """Return grams of ash at the usual strength, litres of water, and the cups and spoons where no scales are used."""
    request, strength = inputs.request, _usual_strength(typical)
    litres = request.number("water.amount")
    if litres is None and request.cans:
        litres = poured(batches.water_for_liquor(wanted, strength, inputs.vessel, typical), request.own.volume)
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
    system = inputs.request.own.volume
    litres = poured(batches.water_above_ash(wanted, grams, inputs.vessel, typical), system)
    # A little more water can need one more bucketful, which leaves more liquor behind.
    while batches.batch_of(grams, litres, inputs.vessel, typical).liquor_litres < wanted * (1 - 1e-9):
        litres = poured(litres + 0.001, system)
    return litres


def _portions(cans: Sequence[Can], parts: float, own: OwnUnits) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the litres of liquor and the litres of water for each can."""
    liquor = tuple(batches.liquor_for_can(can.litres, parts, own.volume) for can in cans)
    water = tuple(round(can.litres - portion, 10) for can, portion in zip(cans, liquor, strict=True))
    return liquor, water


def _refuse_mud(request: Request, strength: float) -> None:
    """Raise `InputErrors` where a strength in g/L would leave little or no clear liquor."""
    thickest = batches.rules()["thickest_slurry"]
    if strength <= thickest:
        return
    problem = said(
        "This is too much ash for the water: {strength} g in a litre turns to mud.", strength=f"{strength:.0f}"
    )
    accepted = said(
        "at most {thickest} g of ash in a litre of water; about 21 g is usual", thickest=_plain(thickest, request)
    )
    raise InputErrors([InputError("ash.amount", _as_typed(request, "ash.amount"), problem, accepted)])


def _with_cans_that_fill(inputs: BatchInputs, plan: Plan, typical: AshSample) -> tuple[Plan, tuple[str, ...]]:
    """Return the plan with the cans that its liquor fills, and a note where those are not all that were asked for.

    A dilution of our own goes up to half the strength so that all the cans fill; else whole cans are filled, and with
    the rest one in part. No plan pours more than pours off.
    """
    request = inputs.request
    made = inputs.batch(plan, typical).liquor_litres
    if made >= plan.liquor_wanted * (1 - 1e-6):
        return plan, _note_of_much_left(request, plan, made)
    weaker = _weaker_until_full(inputs, plan, made)
    plan, note = weaker or _fewer_cans(plan, made, request)
    return plan, (note,) if request.cans else ()


def _note_of_much_left(request: Request, plan: Plan, made: float) -> tuple[str, ...]:
    """Return a note where the ash that was given makes more than twice the liquor that the cans take."""
    ash = request.readings.get("ash.amount")
    if ash is None or not request.cans or made <= 2 * plan.liquor_wanted:
        return ()
    note = said(
        "All of this ash makes {made} of clear liquor, and the cans need {wanted}. About {share} % of the ash is "
        "enough.",
        made=_litres(made, request),
        wanted=_litres(plan.liquor_wanted, request),
        share=write_decimals(ceil(100 * plan.liquor_wanted / made), 0, request.locale),
    )
    return (note,)


def _weaker_until_full(inputs: BatchInputs, plan: Plan, made: float) -> tuple[Plan, str] | None:
    """Return the plan diluted until ``made`` litres of liquor fill every can; None where that takes too much water."""
    request = inputs.request
    if request.dilution_parts is not None or not request.cans:
        return None
    weakest = half_strength(plan.parts_water)
    parts = plan.parts_water
    while parts < weakest:
        parts += 1.0
        weaker = _filling(plan, plan.cans, parts, request)
        if weaker.liquor_wanted <= made:
            note = said(
                "The limits would allow 1:{limit}. The plan uses 1:{parts}, so that {made} of clear liquor fill all "
                "the cans.",
                limit=_plain(plan.parts_water, request),
                parts=_plain(parts, request),
                made=_litres(made, request),
            )
            return weaker, note
    return None


def _fewer_cans(plan: Plan, made: float, request: Request) -> tuple[Plan, str]:
    """Return the plan for as many cans as ``made`` litres of liquor fill, and one more in part."""
    left, filled = made, []
    for can, portion in zip(plan.cans, plan.liquor_per_can, strict=True):
        count = min(can.count, int(left / portion + 1e-9))
        left -= count * portion
        if count:
            filled.append((Can(can.litres, count), portion))
    whole = sum(can.count for can, _ in filled)
    step = 0.01 if left >= 0.1 else 0.001
    liquor = round(floor(left / step + 1e-9) * step, 10)
    feed = round(liquor * (1 + plan.parts_water), 3)
    if liquor > 0.0:
        filled.append((Can(feed, 1), liquor))
    words = {
        "made": _litres(made, request),
        "wanted": _litres(plan.liquor_wanted, request),
        "parts": _plain(plan.parts_water, request),
        "feed": to_measure(feed, "L", request.own, request.locale),
        "filled": whole,
        "asked": sum(can.count for can in plan.cans),
    }
    if not whole:
        note = said(
            "This much ash and water gives about {made} of clear liquor. At 1:{parts} that makes {feed} of feed, "
            "less than one can.",
            **words,
        )
    elif liquor > 0.0:
        note = said(
            "This much ash and water gives about {made} of clear liquor. At 1:{parts} that fills {filled} of the "
            "{asked} cans and makes {feed} for one more. All of them need {wanted}.",
            **words,
        )
    else:
        note = said(
            "This much ash and water gives about {made} of clear liquor. At 1:{parts} that fills {filled} of the "
            "{asked} cans. All of them need {wanted}.",
            **words,
        )
    plan = replace(
        plan,
        cans=tuple(can for can, _ in filled),
        liquor_per_can=tuple(portion for _, portion in filled),
        water_per_can=tuple(round(can.litres - portion, 10) for can, portion in filled),
    )
    return plan, note


def _litres(value: float, request: Request) -> str:
    """Return litres in the grower's own units, as an amount known only roughly."""
    if request.own.is_metric:
        return said("{number}\u00a0{unit}", number=write_decimals(value, 1, request.locale), unit="L")
    return roughly(value, "L", request.own, request.locale)[0]


def _plain(value: float, request: Request) -> str:
    return write_number(value, 6, request.locale, trim=True)


def _as_typed(request: Request, field: str) -> str:
    reading = request.readings.get(field)
    return reading.text if reading else ""
