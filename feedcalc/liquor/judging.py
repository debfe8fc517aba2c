"""Judge a recipe as people tell it: what it makes, what a plant and a square metre get of it, and what would be safe.

* `feedcalc.garden.recipe_text` reads it. What it does not say is taken from the request, else from common practice,
  and is listed as assumed. Without ash, or without water or ground, there is a refusal that names what is missing.
* The chemistry, the limits and the verdict are those of a batch. Ranges come from the same sample of ashes.
* A recipe that is stirred and poured whole brings its ash as well: dry ash and liquor add up.
* Past `STRONGEST` grams of ash to a litre the liquor is bounded: it is computed at that strength, and potassium and
  alkalinity grow with the ash. A feed of it is computed with the water it has in the end.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, replace
from typing import Any

from feedcalc import published
from feedcalc.chemistry import equilibrate
from feedcalc.chemistry.formulas import calcium_carbonate_grams_per_mol, molar_masses
from feedcalc.contract.cautions import Caution, Hazard, alkali_percent, cautions_for, hazard_at
from feedcalc.contract.figures import Figure, exact_figure, figure, ground_words
from feedcalc.contract.numbers import write_number
from feedcalc.contract.own_measures import roughly, volume_on_ground
from feedcalc.contract.request import Request, request_of
from feedcalc.contract.units import HAND_MEASURES, WRITTEN_UNITS, converted
from feedcalc.frozen import frozen
from feedcalc.garden.ash import Ash, AshSample
from feedcalc.garden.circumstances import circumstances_of, stage_of
from feedcalc.garden.dry_ash import cap_for, loosest_cap
from feedcalc.garden.feed_limits import PLANT_VOLUMES, practice
from feedcalc.garden.liming import TABLE_DEPTH_CM
from feedcalc.garden.recipe_text import Amount, RecipeText, recipe_text
from feedcalc.garden.spreading import spread_answer
from feedcalc.garden.suitability import DIRECTIONS, HOLD, FeedFacts, Reason, Verdict, verdict_for
from feedcalc.liquor.acid import acids
from feedcalc.liquor.ash_evidence import ash_of_request
from feedcalc.liquor.planning import WEAKEST_SENSIBLE_PARTS, BatchInputs, plan_batch
from feedcalc.liquor.steeping import STEEP_MINERALS, Liquor
from feedcalc.liquor.vessel import batch_of, rules
from feedcalc.physics.gas_uptake import litres_of_gas_per_mol
from feedcalc.uncertainty.estimates import Estimate, Steps, estimate_of, latin_hypercube
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.messages import Said, Sentence, said, said_in

STRONGEST = 400.0  # g of ash to a litre: most ashes are within the activity model's ionic strength of 1 there
MOST_PH = 14.0
ASHES_A_STEP = 4
# Fields of the request that a recipe does not replace.
_KEPT = {
    *("schema", "plant", "place", "stage", "use", "season", "soil", "vessel", "country"),
    *("language", "locale", "customs", "ranges", "seed", "samples", "now", "dilution_water"),
}
_ASSUMED_DRY = frozenset({"ash.kind", "ash.state"})
_ASSUMED = _ASSUMED_DRY | {"water.kind", "water.temperature", "steep.time", "use", "stage"}
_KEPT_OF_ASH = ("kind", "state", "density", "analysis", "weighings", "weighed_measure")
_NOT_SAFE = ("dilution", "use", "ranges", "seed", "samples")  # of a recipe, left out of its safe version
_TOO_STRONG, _MAYBE, _WITHIN = "too strong", "may be too strong", "within the limits"
_PROBLEMS = frozenset({"feed_alkalinity", "feed_salt", "feed_potassium", "feed_water"})
ITEMS: Mapping[str, Said] = {
    "ash": said_in("part of a recipe", "ash"),
    "water": said_in("part of a recipe", "water"),
    "hours": said_in("part of a recipe", "wait"),
    "parts": said_in("part of a recipe", "diluted"),
    "dose": said("to a plant"),
    "rate": said("on the ground"),
    "area": said_in("part of a recipe", "ground"),
    "container": said_in("part of a recipe", "vessel"),
    "every_hours": said_in("part of a recipe", "how often"),
    "vinegar": said_in("part of a recipe", "vinegar"),
    "kind": said("what was burnt"),
    "plant": said_in("part of a recipe", "plant"),
    "soil_ph": said("pH of the soil"),
}
_DONE = said("what is done")
TABLES_BEHIND_JUDGING = ("recipe_notes", "hand_measures", "ash_caps", "ash_spreading", "dry_practices")


@frozen
class Portion:
    """What a plant or a square metre gets at once: potassium (mg), lime value (g of CaCO3), whole ash (g)."""

    potassium: float
    lime_value: float
    ash: float


@frozen
class Judged:
    """What a recipe makes if the ash is one given sample; ``strength`` in g of ash to a litre of water.

    ``liquor`` and ``feed`` are None for dry ash. ``factor`` is how much stronger the liquor is than was computed.
    """

    sample: AshSample
    strength: float
    liquor: Liquor | None
    feed: Liquor | None
    liquor_ph: float
    feed_ph: float
    plant: Portion
    ground: Portion
    factor: float = 1.0


@frozen
class Judgement:
    """An answered recipe: the values of the reply, what was assumed, and the cautions that belong to it."""

    request: Request
    values: Mapping[str, Any]
    assumed: Mapping[str, str]
    cautions: tuple[Caution, ...]


def judged_in_steps(document: Mapping[str, Any]) -> Steps[Judgement]:
    """Return the judgement of the recipe in a request document, in slices of a few ashes.

    Raises `InputErrors` with everything that the recipe leaves open and that can't be assumed.
    """
    asked = request_of(document)
    typed = asked.word("recipe")
    text = recipe_text(typed, asked.language, asked.customs)
    if {"shell", "bone"} & text.did and "ash" not in text.did:
        return _shell_answer(asked, text)
    _refuse_what_is_missing(typed, text)
    recipe = Recipe.of(document, text, asked.locale)
    typical = recipe.judged(recipe.ash.typical())
    count = round(asked.known("samples")) if asked.word("ranges") == "on" else 0
    others: list[Judged] = []
    for quantiles in latin_hypercube(sorted(recipe.ash.unknowns), count, round(asked.known("seed"))):
        others.append(recipe.judged(recipe.ash.sample_at(quantiles)))
        if len(others) % ASHES_A_STEP == 0:
            yield len(others), count
    return _Answer(recipe, typical, tuple(others)).judgement()


def _refuse_what_is_missing(typed: str, text: RecipeText) -> None:
    faults = []
    if text.ash is None and text.rate is None:
        accepted = said("such as 1 glass of ash, or 100 g of ash")
        faults.append(InputError("recipe", typed, said("This does not say how much ash."), accepted))
    has_ground = text.rate or text.area or text.container or {"plant", "fill"} & text.did
    if text.water is None and not has_ground:
        problem = said("This does not say how much water, or which ground the ash goes on.")
        faults.append(InputError("recipe", typed, problem, said("such as 10 litres of water, or 10 square metres")))
    if (text.ash and text.ash.value <= 0) or (text.water and text.water.value <= 0):
        faults.append(InputError("recipe", typed, said("There is no ash in this."), said("amounts above nothing")))
    if faults:
        raise InputErrors(faults)


@frozen
class Recipe:
    """A recipe with everything that it leaves open filled in."""

    text: RecipeText
    document: Mapping[str, Any]
    request: Request
    inputs: BatchInputs
    ash: Ash
    is_dry: bool
    parts: float
    plant_litres: float
    ground_litres: float
    ground: float
    assumed: Mapping[str, str]

    @classmethod
    def of(cls, document: Mapping[str, Any], text: RecipeText, locale: str) -> Recipe:
        """Fill in what a recipe leaves open, from the request and from common practice."""
        is_dry = text.water is None and "fill" not in text.did
        if is_dry and text.rate is not None and text.ash is None:
            text = replace(text, ash=text.rate[0])
        laid = _laid_over(document, text, is_dry, locale)
        request = request_of(laid)
        shown = _ASSUMED_DRY if is_dry else _ASSUMED
        assumed = {path: words for path, words in request.assumed.items() if path in shown}
        assumed |= _taken(request, text)
        stage = stage_of(request)
        plant_litres = practice(PLANT_VOLUMES[stage]).typical
        if text.dose and text.dose.kind == "volume":
            plant_litres = text.dose.value
        elif not is_dry:
            assumed["dose"] = said("{amount} to a plant", amount=_litres(plant_litres, request))
        ground_litres = practice("ground_volume").typical
        if text.rate and not is_dry and text.rate[0].kind == "volume":
            ground_litres = text.rate[0].value / text.rate[1]
        elif not is_dry:
            assumed["rate"] = volume_on_ground(ground_litres, request.own, request.locale)
        if text.parts is None and not is_dry:
            assumed["dilution"] = said_in("part of a recipe", "undiluted")
        if not {"settled", "unsettled", "strained"} & text.did and not is_dry:
            assumed["settled"] = said("left to settle, and only the clear liquor used")
        reading = request.readings["ash.amount"]
        litres = reading.value * 1000 if reading.kind == "volume" else None
        return cls(
            text=text,
            document=laid,
            request=request,
            inputs=BatchInputs.of(request),
            ash=ash_of_request(request, litres),
            is_dry=is_dry,
            parts=text.parts or 0.0,
            plant_litres=plant_litres,
            ground_litres=ground_litres,
            ground=_ground(text),
            assumed=assumed,
        )

    @property
    def is_whole(self) -> bool:
        """Whether the ash itself is poured out with the liquor."""
        return "unsettled" in self.text.did

    def grams(self, sample: AshSample) -> float:
        """Return the grams of ash that the recipe takes."""
        reading = self.request.readings["ash.amount"]
        meant = reading.value if reading.kind == "mass" else reading.value * 1000 * sample.density
        return meant * sample.measured

    def judged(self, sample: AshSample) -> Judged:
        """Return what the recipe makes of one ash."""
        grams = self.grams(sample)
        if self.is_dry:
            plant = Portion(*self._whole(sample, grams))
            ground = Portion(*self._whole(sample, grams / self.ground))
            return Judged(sample, 0.0, None, None, 0.0, 0.0, plant, ground)
        strength = grams / self.request.known("water.amount")
        computed = min(strength, STRONGEST)
        factor = strength / computed
        liquor = self._with_vinegar(self.inputs.steep(sample, computed).liquor, computed, strength)
        parts = max((1 + self.parts) / factor - 1, 0.0)
        feed = self.inputs.feed(liquor, parts).liquor
        rest = factor / (1 + self.parts) * (1 + parts)  # above 1 only where the feed itself is past the chemistry

        def portion(litres: float) -> Portion:
            if self.is_whole:
                return Portion(*self._whole(sample, strength / (1 + self.parts) * litres))
            potassium = feed.milligrams_per_litre("potassium") * litres * rest
            return Portion(potassium, feed.alkalinity / 1000 * litres * rest, 0.0)

        return Judged(
            sample=sample,
            strength=strength,
            liquor=liquor,
            feed=feed,
            liquor_ph=liquor.ph_25,
            feed_ph=feed.ph_25,
            plant=portion(self.plant_litres),
            ground=portion(self.ground_litres),
            factor=factor,
        )

    def _whole(self, sample: AshSample, grams: float) -> tuple[float, float, float]:
        return sample.grams_per_kilogram["potassium"] * grams, sample.lime_value() * grams, grams

    def _with_vinegar(self, liquor: Liquor, computed: float, strength: float) -> Liquor:
        """Return the liquor after vinegar went into the bucket, where what lies undissolved uses it up as well."""
        if self.text.vinegar is None:
            return liquor
        water = self.request.known("water.amount")
        mol = self.text.vinegar.value * _vinegar_mol_per_litre() / water * computed / strength
        before = liquor.equilibrium
        totals = {**before.totals, "acetate": before.totals.get("acetate", 0.0) + mol}
        return Liquor(equilibrate(totals, before.temperature_kelvin, STEEP_MINERALS))


def _taken(request: Request, text: RecipeText) -> dict[str, str]:
    """Return what the request says of ground and plants where the text does not."""
    found = {path: request.word(path) for path in ("plant", "place", "season", "soil.texture") if request.word(path)}
    if request.number("soil.ph") is not None:
        found["soil.ph"] = write_number(request.known("soil.ph"), 3, request.locale, trim=True)
    said_of = {"plant": text.plant, "place": "pot" in text.did or text.container, "soil.ph": text.soil_ph}
    return {path: words for path, words in found.items() if not said_of.get(path)}


def _laid_over(document: Mapping[str, Any], text: RecipeText, is_dry: bool, locale: str) -> dict[str, Any]:
    """Return the request document of a recipe: what it says laid over the ground, plants and kinds of the request."""
    laid = {name: value for name, value in document.items() if name in _KEPT}
    ash, water = document.get("ash") or {}, document.get("water") or {}
    laid["ash"] = {name: ash[name] for name in _KEPT_OF_ASH if ash.get(name)} if isinstance(ash, dict) else ash
    laid["water"] = {name: value for name, value in water.items() if name != "amount"} if water else {}
    assert text.ash is not None
    laid["ash"] = {**laid["ash"], "amount": _typed(text.ash, locale)} | (
        {"kind": text.ash_kind} if text.ash_kind else {}
    )
    if not is_dry:
        laid["water"]["amount"] = _typed(text.water, locale) if text.water else _typed_filling(text, locale)
        laid["dilution"] = f"1:{_number(text.parts or 0.0, locale)}"
    if text.hours:
        laid["steep"] = {"time": f"{min(max(text.hours, 0.01), 1440):g} h"}
    if text.plant:
        laid["plant"] = text.plant
    if text.soil_ph is not None:
        laid["soil"] = {**(laid.get("soil") or {}), "ph": text.soil_ph}
    if is_dry and text.container is not None:
        laid["place"] = "pot"
    for deed, name, value in (("seedling", "stage", "seedling"), ("foliar", "use", "foliar"), ("pot", "place", "pot")):
        if deed in text.did:
            laid[name] = value
    return laid


def _number(value: float, locale: str) -> str:
    return write_number(value, 6, locale, trim=True)


def _typed(amount: Amount, locale: str) -> str:
    """Return an amount as the reader of a field takes it, in the unit that was typed."""
    base = "g" if amount.kind == "mass" else "L"
    unit = amount.unit or base
    number = _number(amount.value / converted(1.0, unit, base), locale)
    return f"{number} {WRITTEN_UNITS.get(unit, unit)}"


def _typed_filling(text: RecipeText, locale: str) -> str:
    """Return the water that fills the vessel above the ash: all of it less the room that the grains take."""
    assert text.ash is not None
    density = float(published.row("ash_density", "any")["typical"])
    grain = next(row for row in published.table("ash_settling") if row["quantity"] == "particle_density")
    ash_litres = text.ash.value if text.ash.kind == "volume" else text.ash.value / 1000 / density
    room = ash_litres * density * 1000 / float(grain["typical"])
    if text.container is not None:
        return f"{_number(max(text.container.value - room, 0.01), locale)} L"
    one = converted(1.0, "bucket", "L")
    return f"{_number(max(one - room, 0.01) / one, locale)} bucket"


def _ground(text: RecipeText) -> float:
    """Return the square metres that dry ash goes on; round a plant, the usual ring."""
    if text.rate is not None:
        return text.rate[1]
    if text.area is not None:
        return text.area
    if text.container is not None:  # as deep as the layer that soil tests count
        return text.container.value / 10 / TABLE_DEPTH_CM
    return float(published.row("dry_practices", "ring")["area_typical"])


def _litres(litres: float, request: Request) -> str:
    amount, unit = (litres, "L") if litres >= 1 or not request.own.is_metric else (litres * 1000, "mL")
    return roughly(amount, unit, request.own, request.locale, trim=True)[0]


def _vinegar_mol_per_litre() -> float:
    vinegar = acids()["vinegar"]
    return vinegar.strengths[1] * 1000 / vinegar.grams_per_mol


@frozen
class _Answer:
    """A recipe with its outcomes, for the values of the reply."""

    recipe: Recipe
    typical: Judged
    others: tuple[Judged, ...]

    def spread(self, of: Callable[[Judged], float]) -> Estimate:
        typical = of(self.typical)
        return estimate_of([of(other) for other in self.others], typical) if self.others else Estimate.exactly(typical)

    def judgement(self) -> Judgement:
        recipe, request = self.recipe, self.recipe.request
        liquor = feed = None
        if not recipe.is_dry:
            liquor = self._solution(lambda one: one.liquor, lambda one: one.liquor_ph, scales=True)
            feed = self._solution(lambda one: one.feed, lambda one: one.feed_ph, scales=False)
        verdict = self._verdict(feed)
        has_plants = not recipe.is_dry or "plant" in recipe.text.did
        values: dict[str, Any] = {
            "read": items_read(recipe.text, request.customs),
            "unread": list(recipe.text.unread),
            "is_dry": recipe.is_dry,
            "is_whole": recipe.is_whole,
            "is_diluted": recipe.parts > 0,
            "strength": figure(self.spread(lambda one: one.strength), "g/L"),
            "per_plant": self._portion(lambda one: one.plant) if has_plants else None,
            "per_square_metre": self._portion(lambda one: one.ground),
            "fit": self._fit(verdict),
            "verdict": verdict.word,
            "reasons": [asdict(reason) for reason in verdict.reasons],
            "notes": self._notes(),
        }
        conditions = {"dry"} if recipe.is_dry else set()
        if liquor and feed:
            values |= {"liquor": liquor, "feed": feed}
            values["danger"] = {"liquor": _danger(liquor), "feed": _danger(feed)}
            conditions = {_hazard(liquor).name, *(("foliar",) if request.word("use") == "foliar" else ())}
        values["safe"] = self._safe(verdict)
        where = {"spreading"} if recipe.is_dry else {"liquor", "stirring", "mixing", "applying"}
        cautions = [caution for caution in cautions_for(conditions) if caution.where in where]
        ordered = sorted(cautions, key=lambda caution: -caution.weight)[:5]
        return Judgement(request, {"judge": values}, recipe.assumed, tuple(ordered))

    def _portion(self, of: Callable[[Judged], Portion]) -> dict[str, Figure]:
        found = {
            "potassium": figure(self.spread(lambda one: of(one).potassium), "mg"),
            "lime_value": figure(self.spread(lambda one: max(of(one).lime_value, 0.0)), "g CaCO3"),
        }
        if self.recipe.is_dry or self.recipe.is_whole:
            found["ash"] = figure(self.spread(lambda one: of(one).ash), "g")
        return found

    def _solution(
        self, of: Callable[[Judged], Liquor | None], ph: Callable[[Judged], float], *, scales: bool
    ) -> dict[str, Figure]:
        """Return the figures of liquor or feed; ``scales`` multiplies what grows with ash past the chemistry."""

        def spread(value: Callable[[Liquor], float]) -> Estimate:
            def one(judged: Judged) -> float:
                solution = of(judged)
                assert solution is not None
                return value(solution) * (judged.factor if scales else 1.0)

            return self.spread(one)

        ph_25 = self.spread(ph)
        if scales and self.typical.factor > 1:
            ph_25 = Estimate(ph_25.low, ph_25.typical, MOST_PH)
        return {
            "ph_25": figure(ph_25, "1"),
            "ec": figure(spread(lambda each: each.equilibrium.conductivity), "mS/cm"),
            "potassium": figure(spread(lambda each: each.milligrams_per_litre("potassium")), "mg/L"),
            "calcium": figure(spread(lambda each: each.milligrams_per_litre("calcium")), "mg/L"),
            "alkalinity": figure(spread(lambda each: each.alkalinity), "mg/L CaCO3"),
        }

    def _verdict(self, feed: Mapping[str, Figure] | None) -> Verdict:
        """Return the verdict on a feed of these figures; dry ash makes none."""
        recipe, request = self.recipe, self.recipe.request
        dry = verdict_for(circumstances_of(request))
        if feed is None or self.typical.liquor is None:
            return dry
        stage = stage_of(request)
        within = recipe.inputs.parts_within_limits(stage, self.typical.liquor)
        if within <= WEAKEST_SENSIBLE_PARTS:
            within = (1 + within) * self.typical.factor - 1
        facts = FeedFacts(
            ph=_estimate(feed["ph_25"]),
            alkalinity=_estimate(feed["alkalinity"]),
            conductivity=_estimate(feed["ec"]),
            lime_per_square_metre=self.spread(lambda one: max(one.ground.lime_value, 0.0)),
            limits=recipe.inputs.limits[stage],
            parts=recipe.parts,
            parts_within_limits=within,
            potassium=_estimate(feed["potassium"]),
            litres_per_square_metre=recipe.ground_litres,
        )
        fed = verdict_for(circumstances_of(request, facts))
        if not recipe.is_whole:
            return fed
        reasons = (*dry.reasons, *(reason for reason in fed.reasons if reason.id != "soil_unknown"))
        both: dict[str, Reason] = {reason.id: reason for reason in reasons}
        ordered = sorted(both.values(), key=lambda reason: -DIRECTIONS.index(reason.towards))
        return Verdict(ordered[0].towards, tuple(ordered))

    def _fit(self, verdict: Verdict) -> str:
        """Return how the recipe compares with the limits, whatever the ground and the plant are."""
        ids = {reason.id for reason in verdict.reasons}
        if self.recipe.is_dry or self.recipe.is_whole:
            ash = self.spread(lambda one: one.ground.ash)
            cap = cap_for(self.recipe.request.number("soil.ph"))
            limit = cap.high or loosest_cap().high
            if ash.typical > limit:
                return _TOO_STRONG
            if ash.high > limit and not ids & _PROBLEMS:
                return _MAYBE
        if ids & _PROBLEMS or "foliar_off" in ids:
            return _TOO_STRONG
        return _MAYBE if "feed_may_pass" in ids else _WITHIN

    def _notes(self) -> list[dict[str, str]]:
        text, request = self.recipe.text, self.recipe.request
        notes = []
        if self.typical.factor > 1:
            strength = write_number(self.typical.strength, 2, request.locale)
            notes.append(_note("strong", strength=strength, limit=f"{STRONGEST:.0f}"))
        if self.typical.strength > rules()["thickest_slurry"] and not self.recipe.is_whole:
            batch = batch_of(self.typical.strength, 1.0, self.recipe.inputs.vessel, self.typical.sample)
            share = write_number(max(batch.liquor_litres, 0.0) * 100, 1, request.locale)
            notes.append(_note("mud", share=share))
        if self.recipe.is_whole and not self.recipe.is_dry:
            ash = ground_words(self.typical.ground.ash, request.locale, request.own)
            old = published.row("ash_spreading", "garden_old_cap")["high"]
            notes.append(_note("slurry", ash=ash, limit=ground_words(float(old), request.locale, request.own, 3)))
        notes += [_note(deed) for deed in ("boiled", "strained", "soap") if deed in text.did]
        if "vinegar" in text.did:
            notes.append(self._vinegar_note())
        least = practice("drench_interval")
        if text.every_hours and text.every_hours / 24 < least.low:
            days = write_number(text.every_hours / 24, 2, request.locale, trim=True)
            notes.append(_note("often", days=days, low=f"{least.low:.0f}", high=f"{least.high:.0f}"))
        return notes + [self._claim(claim) for claim in text.claims]

    def _vinegar_note(self) -> dict[str, str]:
        """Return what vinegar in the bucket does: all the base of the ash counts, dissolved or not."""
        recipe, sample = self.recipe, self.typical.sample
        grams, locale = recipe.grams(sample), recipe.request.locale
        equivalents = sample.lime_value() * grams / calcium_carbonate_grams_per_mol() * 2
        need = equivalents / _vinegar_mol_per_litre()
        carbon = sample.reachable_mol_per_kilogram()["carbon"] * grams / 1000
        gas = carbon
        if recipe.text.vinegar is not None:
            gas = min(carbon, recipe.text.vinegar.value * _vinegar_mol_per_litre())
        words = {
            "need": _litres(float(f"{need:.2g}"), recipe.request),
            "gas": _litres(float(f"{gas * litres_of_gas_per_mol(recipe.inputs.kelvin):.2g}"), recipe.request),
        }
        if recipe.text.vinegar is None:
            return _note("vinegar_amount", **words)
        share = write_number(100 * recipe.text.vinegar.value / need, 2, locale, trim=True)
        return _note("vinegar", share=share, **words)

    def _claim(self, claim: str) -> dict[str, str]:
        locale, liquor = self.recipe.request.locale, self.typical.liquor
        words = {}
        if claim == "calcium":
            words["calcium"] = write_number(liquor.milligrams_per_litre("calcium") if liquor else 0.0, 2, locale)
        if claim == "neutral":
            words["ph"] = write_number(self.typical.liquor_ph, 3, locale)
        return _note(f"claim_{claim}", **words)

    def _safe(self, verdict: Verdict) -> dict[str, Any]:
        """Return the nearest version within the limits, as a request for a batch, and what a plant gets of it."""
        recipe, locale = self.recipe, self.recipe.request.locale
        if recipe.is_dry:
            return _safe_dry(_spread_document(recipe.document), verdict)
        document = {name: value for name, value in recipe.document.items() if name not in _NOT_SAFE}
        water = recipe.request.readings["water.amount"]
        if water.typed_unit in HAND_MEASURES:
            amount = write_number(water.value, 4, locale, trim=True)
            document["water"] = {**document["water"], "amount": f"{amount} L"}
        is_thick = self.typical.strength > rules()["thickest_slurry"]
        if is_thick:  # less ash in the same water
            document["ash"] = {name: value for name, value in document["ash"].items() if name != "amount"}
        request = request_of(document)
        inputs = BatchInputs.of(request)
        ash = ash_of_request(request)
        plan = plan_batch(inputs, ash.typical()).plan
        parts = max(plan.parts_water, 0.0 if is_thick else recipe.parts)
        document["dilution"] = f"1:{_number(parts, locale)}"
        feed = inputs.feed(inputs.steep(ash.typical(), plan.strength_for(ash.typical())).liquor, parts).liquor
        litres = recipe.plant_litres
        return {
            "request": document,
            "is_same": parts == recipe.parts and not is_thick and not recipe.is_whole,
            "parts_water": exact_figure(parts, "1"),
            "ash_mass": exact_figure(plan.grams_for(ash.typical()), "g"),
            "water_volume": exact_figure(plan.water_litres, "L"),
            "per_plant": {
                "volume": exact_figure(litres, "L"),
                "potassium": exact_figure(feed.milligrams_per_litre("potassium") * litres, "mg"),
                "lime_value": exact_figure(feed.alkalinity * litres / 1000, "g CaCO3"),
            },
            "stops": [reason.text for reason in verdict.reasons if _is_of_ground(reason)],
        }


def items_read(text: RecipeText, customs: str) -> list[dict[str, str]]:
    """Return what was read item by item; an amount in a measure of its own also as it is counted."""
    counted = {item: getattr(text, item) for item in ("ash", "water", "dose", "vinegar", "container")}
    counted["rate"] = text.rate[0] if text.rate else None
    # Who answers to US customs knows that gallon.
    strange = {item: amount for item, amount in counted.items() if amount and not amount.unit.startswith(f"{customs}_")}
    echoes = {item: amount.echo for item, amount in strange.items()}
    return [{"item": ITEMS.get(item, _DONE), "text": typed, "as": echoes.get(item, "")} for item, typed in text.read]


def _is_of_ground(reason: Reason) -> bool:
    """Whether a reason holds feed back that no other recipe mends: soil, plant, place or season."""
    return reason.towards == HOLD and not reason.id.startswith(("feed_", "foliar_"))


def _spread_document(document: Mapping[str, Any]) -> dict[str, Any]:
    ash = {name: value for name, value in document["ash"].items() if name != "amount"}
    kept = {name: value for name, value in document.items() if name not in ("use", "stage", "water")}
    return {**kept, "ask": "spread", "ash": ash}


def _safe_dry(document: dict[str, Any], verdict: Verdict) -> dict[str, Any]:
    """Return what this ground may have of dry ash, as far as its soil is known."""
    request = request_of(document)
    if request.number("soil.ph") is None:
        return {"request": document}
    stops = [reason.text for reason in verdict.reasons if _is_of_ground(reason)]
    advice = spread_answer(request).values["spread"]["advice"]
    return {"request": document, "stops": stops, "per_square_metre": advice["ash"]}


def _hazard(solution: Mapping[str, Figure]) -> Hazard:
    return hazard_at(min(solution["ph_25"]["high"], MOST_PH), alkali_percent(solution["alkalinity"]["high"]))


def _danger(solution: Mapping[str, Figure]) -> dict[str, Any]:
    hazard = _hazard(solution)
    return {"class": hazard.name, "rule": hazard.rule, "signal_word": hazard.signal_word}


def _estimate(found: Figure) -> Estimate:
    return Estimate(found["low"], found["value"], found["high"])


def _note(note: str, **words: str) -> dict[str, str]:
    row = published.row("recipe_notes", note)
    text = Sentence(str(row["text"]), words) if words else row["text"]
    return {"id": note, "text": text, "source": row["source"], "status": row["status"]}


def _shell_answer(request: Request, text: RecipeText) -> Judgement:
    """Return what vinegar dissolves of eggshell or bone, by mass balance: all its acid used up by it."""
    acid, mass, locale = _vinegar_mol_per_litre(), molar_masses(), request.locale
    parts = text.parts if text.parts is not None else (text.water.value if text.water else 1000.0)
    chalk = acid / 2  # CaCO3 takes two acids
    apatite = acid / 7  # Ca5(PO4)3OH takes seven, until its phosphate is H2PO4-
    calcium = mass["calcium"] * (chalk if "shell" in text.did else 5 * apatite)
    phosphorus = mass["phosphorus"] * 3 * apatite
    tap = next(row for row in published.table("water_kinds") if row["kind"] == "hard")["calcium"]

    def number(value: float) -> str:
        return write_number(value, 2, locale)

    words = {"calcium": number(calcium), "parts": f"{parts:g}", "feed": number(calcium * 1000 / (1 + parts))}
    if "shell" in text.did:
        words |= {
            "grams": number(chalk * calcium_carbonate_grams_per_mol()),
            "tap": number(float(tap)),
            "gas": _litres(chalk * litres_of_gas_per_mol(288.15), request),
        }
    else:
        words |= {"phosphorus": number(phosphorus), "phosphate": number(phosphorus * 1000 / (1 + parts))}
    note = _note("shell" if "shell" in text.did else "bone", **words)
    values = {"read": items_read(text, request.customs), "unread": list(text.unread), "notes": [note]}
    cautions = [caution for caution in cautions_for({"acid"}) if caution.when == "acid"]
    return Judgement(request, {"judge": values}, {}, tuple(cautions))
