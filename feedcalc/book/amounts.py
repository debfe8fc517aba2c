"""Nutrients, lime value and equivalent ash of what a bed receives, in grams.

* The yearly cap is counted in ash. Dry ash and sludge count as the ash they came from; lime and plain compost count
  only as lime value.
* An ash is a set of equally weighted samples, so quantities that vary together (a dense cup holds more of everything)
  stay correlated.
* Ranges are added end to end: the same uncertain ash is behind most of what a bed receives, so errors are assumed to be
  fully correlated.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields
from functools import lru_cache

from feedcalc import published
from feedcalc.chemistry.formulas import calcium_carbonate_grams_per_mol, molar_masses
from feedcalc.contract.quantities import Quantity
from feedcalc.frozen import frozen
from feedcalc.garden.ash import Ash, AshSample
from feedcalc.uncertainty.estimates import Estimate, estimate_of, latin_hypercube

SAMPLES = 40
SEED = 1
NOTHING = Estimate.exactly(0.0)
# What a grower may know of a product from its bag or from a laboratory.
OWN_FIGURES = ("potassium", "calcium", "magnesium", "lime_value")


@frozen
class NutrientAmounts:
    """Potassium, calcium, magnesium and lime value (as CaCO3), and the equivalent ash, in grams."""

    potassium: Estimate = NOTHING
    calcium: Estimate = NOTHING
    magnesium: Estimate = NOTHING
    lime_value: Estimate = NOTHING
    ash: Estimate = NOTHING

    def scaled(self, factor: float) -> NutrientAmounts:
        """Return all amounts times a non-negative factor."""
        return _for_each_quantity(lambda name: getattr(self, name).scaled(factor))

    def times(self, factor: Estimate) -> NutrientAmounts:
        """Return all amounts times a non-negative factor that has a range."""
        return _for_each_quantity(lambda name: _product(getattr(self, name), factor))


QUANTITIES = tuple(part.name for part in fields(NutrientAmounts))


def total_of(amounts: Iterable[NutrientAmounts]) -> NutrientAmounts:
    """Return the sum of amounts, low to low and high to high."""
    amounts = tuple(amounts)

    def total(name: str) -> Estimate:
        found = [getattr(each, name) for each in amounts]
        return Estimate(sum(e.low for e in found), sum(e.typical for e in found), sum(e.high for e in found))

    return _for_each_quantity(total)


def difference_of(more: NutrientAmounts, less: NutrientAmounts) -> NutrientAmounts:
    """Return what a running total grew by from ``less`` to ``more``, without negative rounding errors."""

    def growth(name: str) -> Estimate:
        upper, lower = getattr(more, name), getattr(less, name)
        low = max(upper.low - lower.low, 0.0)
        typical = max(upper.typical - lower.typical, low)
        return Estimate(low, typical, max(upper.high - lower.high, typical))

    return _for_each_quantity(growth)


def greatest_of(amounts: Sequence[NutrientAmounts]) -> NutrientAmounts:
    """Return the greatest low, typical and high of each quantity."""

    def greatest(name: str) -> Estimate:
        found = [getattr(each, name) for each in amounts]
        return Estimate(max(e.low for e in found), max(e.typical for e in found), max(e.high for e in found))

    return _for_each_quantity(greatest)


def _for_each_quantity(estimate: Callable[[str], Estimate]) -> NutrientAmounts:
    return NutrientAmounts(**{name: estimate(name) for name in QUANTITIES})


def _product(one: Estimate, other: Estimate) -> Estimate:
    return Estimate(one.low * other.low, one.typical * other.typical, one.high * other.high)


@frozen
class SampledAsh:
    """An ash with its most likely composition, and equally weighted samples of what it may be."""

    typical: AshSample
    samples: tuple[AshSample, ...]

    def spread(self, value: Callable[[AshSample], float]) -> Estimate:
        """Return a value of the ash with the central 90 % of its samples."""
        typical = value(self.typical)
        return estimate_of([value(sample) for sample in self.samples or (self.typical,)], typical)


def dry_ash_amounts(ash: SampledAsh, quantity: Quantity) -> NutrientAmounts:
    """Return the amounts in a weight (g) or volume (L) of dry ash."""

    def grams(sample: AshSample) -> float:
        return quantity.value if quantity.kind == "mass" else quantity.value * 1000 * sample.density

    return _amounts_in_ash(ash, grams).times(Estimate(quantity.span[0], 1.0, quantity.span[1]))


def sludge_amounts(ash: SampledAsh, quantity: Quantity) -> NutrientAmounts:
    """Return the amounts in sludge: a weight (g) of the dry ash it came from, or the volume (L) to which that settles.

    It counts as that ash except for its potassium: at the low end all soluble potassium was poured off with the liquor,
    at the high end it is all still there.
    """

    def grams(sample: AshSample) -> float:
        return quantity.value if quantity.kind == "mass" else quantity.value * 1000 / sample.sediment

    whole = _amounts_in_ash(ash, grams)
    left = ash.spread(lambda s: grams(s) * s.grams_per_kilogram["potassium"] / 1000 * (1 - s.reachable["potassium"]))
    return NutrientAmounts(
        potassium=Estimate(left.low, left.typical, max(whole.potassium.high, left.typical)),
        calcium=whole.calcium,
        magnesium=whole.magnesium,
        lime_value=whole.lime_value,
        ash=whole.ash,
    ).times(Estimate(quantity.span[0], 1.0, quantity.span[1]))


def lime_amounts(lime_id: str, grams: float) -> NutrientAmounts:
    """Return the amounts in a weight of a lime in ``limes.csv``; raises KeyError for an unknown one.

    A mol of CaCO3 of lime value is a mol of calcium or, for the share of magnesium, of magnesium.

    >>> round(lime_amounts("hydrated_lime", 100).lime_value.high, 0)
    136.0
    """
    row = published.row("limes", lime_id)
    lime = published.estimate(row).scaled(grams)
    magnesium = float(row["magnesium_share"])
    per_gram = 1 / calcium_carbonate_grams_per_mol()
    return NutrientAmounts(
        calcium=lime.scaled((1 - magnesium) * molar_masses()["calcium"] * per_gram),
        magnesium=lime.scaled(magnesium * molar_masses()["magnesium"] * per_gram),
        lime_value=lime,
    )


def compost_amounts(quantity: Quantity) -> NutrientAmounts:
    """Return the amounts in a weight (g, moist) or volume (L) of plain compost, by the means in ``compost.csv``."""
    known = {row["quantity"]: published.estimate(row) for row in published.table("compost")}
    dry_kilograms = known["dry_matter"].scaled(quantity.value / 1000)
    if quantity.kind != "mass":
        dry_kilograms = _product(known["dry_matter"].scaled(quantity.value), known["density"])
    return NutrientAmounts(**{name: known[name] for name in OWN_FIGURES}).times(dry_kilograms)


def _amounts_in_ash(ash: SampledAsh, grams: Callable[[AshSample], float]) -> NutrientAmounts:
    def element(name: str) -> Estimate:
        return ash.spread(lambda sample: grams(sample) * sample.grams_per_kilogram[name] / 1000)

    return NutrientAmounts(
        potassium=element("potassium"),
        calcium=element("calcium"),
        magnesium=element("magnesium"),
        lime_value=ash.spread(lambda sample: grams(sample) * sample.lime_value()),
        ash=ash.spread(grams),
    )


def sampled_ash(ash: Ash) -> SampledAsh:
    """Return prior samples of an ash of which nothing was measured: what is published of its kind."""
    return _sampled(ash.label, ash.state, tuple(sorted(ash.unknowns.items())))


@lru_cache(maxsize=64)
def _sampled(label: str, state: str, unknowns: tuple[tuple[str, Estimate], ...]) -> SampledAsh:
    # Cached because a book asks for the same ash many times.
    ash = Ash(label, state, dict(unknowns), ())
    draws = latin_hypercube(sorted(ash.unknowns), SAMPLES, SEED)
    return SampledAsh(ash.typical(), tuple(ash.sample_at(draw) for draw in draws))
