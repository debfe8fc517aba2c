"""What things are worth to a bed, in grams: potassium, calcium, magnesium, lime value, and the ash they count for.

Rules of this room:

* Ash is the common scale of the yearly cap. Dry ash and sludge count by the ash they came from, lime and plain compost
  not at all: they count as lime.
* An ash is a set of draws of equal weight; what belongs together in it (a dense cup is more of everything) stays so.
* The same ash is behind most of what a bed gets, so what is unsure of one is unsure of all alike: ranges are added end
  to end.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields
from functools import lru_cache

from feedcalc import published
from feedcalc.chemistry.formulas import calcium_carbonate_grams_per_mol, molar_masses
from feedcalc.contract.quantities import Quantity
from feedcalc.garden.ash import Ash, AshSample
from feedcalc.uncertainty.estimates import Estimate, estimate_of, latin_hypercube

SAMPLES = 40
SEED = 1
NOTHING = Estimate.exactly(0.0)
# What a grower may know of a thing from its bag or a laboratory.
OWN_FIGURES = ("potassium", "calcium", "magnesium", "lime_value")


@dataclass(frozen=True, slots=True)
class NutrientAmounts:
    """What something brings, in grams: potassium, calcium, magnesium, lime value (CaCO3), the ash it counts for."""

    potassium: Estimate = NOTHING
    calcium: Estimate = NOTHING
    magnesium: Estimate = NOTHING
    lime_value: Estimate = NOTHING
    ash: Estimate = NOTHING

    def scaled(self, factor: float) -> NutrientAmounts:
        """Everything times a non-negative factor."""
        return self._each(lambda known: known.scaled(factor))

    def times(self, factor: Estimate) -> NutrientAmounts:
        """Everything times a non-negative factor that is itself known only roughly."""
        return self._each(
            lambda known: Estimate(known.low * factor.low, known.typical * factor.typical, known.high * factor.high)
        )

    def _each(self, change: Callable[[Estimate], Estimate]) -> NutrientAmounts:
        return NutrientAmounts(*(change(getattr(self, name)) for name in QUANTITIES))


QUANTITIES = tuple(part.name for part in fields(NutrientAmounts))


def total_of(worths: Iterable[NutrientAmounts]) -> NutrientAmounts:
    """Worths added up, low to low and high to high."""
    worths = tuple(worths)

    def added(name: str) -> Estimate:
        found = [getattr(worth, name) for worth in worths]
        return Estimate(sum(e.low for e in found), sum(e.typical for e in found), sum(e.high for e in found))

    return NutrientAmounts(*(added(name) for name in QUANTITIES))


def difference_of(more: NutrientAmounts, less: NutrientAmounts) -> NutrientAmounts:
    """What a running total grew by from ``less`` to ``more``; what only rounding makes of it is nothing."""

    def grown(name: str) -> Estimate:
        upper, lower = getattr(more, name), getattr(less, name)
        low = max(upper.low - lower.low, 0.0)
        typical = max(upper.typical - lower.typical, low)
        return Estimate(low, typical, max(upper.high - lower.high, typical))

    return NutrientAmounts(*(grown(name) for name in QUANTITIES))


def greatest_of(worths: Sequence[NutrientAmounts]) -> NutrientAmounts:
    """The greatest low, typical and high of each quantity."""

    def greatest(name: str) -> Estimate:
        found = [getattr(worth, name) for worth in worths]
        return Estimate(max(e.low for e in found), max(e.typical for e in found), max(e.high for e in found))

    return NutrientAmounts(*(greatest(name) for name in QUANTITIES))


@dataclass(frozen=True, slots=True)
class Ashes:
    """The ash it most likely is, and the ashes it could be: draws of equal weight."""

    typical: AshSample
    others: tuple[AshSample, ...]

    def spread(self, of: Callable[[AshSample], float]) -> Estimate:
        """A figure of the ash with the bounds that hold the middle 90 % of what it could be."""
        typical = of(self.typical)
        return estimate_of([of(sample) for sample in self.others or (self.typical,)], typical)


def dry_ash_amounts(ash: Ashes, quantity: Quantity) -> tuple[NutrientAmounts, Estimate]:
    """What a weight (g) or volume (L) of dry ash brings, and the grams of ash it is."""

    def grams(sample: AshSample) -> float:
        return quantity.value if quantity.kind == "mass" else quantity.value * 1000 * sample.density

    worth = _worth_of_ash(ash, grams)
    return worth, worth.ash


def sludge_amounts(ash: Ashes, quantity: Quantity) -> tuple[NutrientAmounts, Estimate]:
    """What sludge brings: by weight the dry ash it came from, by volume as much ash as settles to that volume.

    It counts as that ash but for potassium, of which what water can reach may all have been poured off (the low end) or
    may all be there (the high end).
    """

    def grams(sample: AshSample) -> float:
        return quantity.value if quantity.kind == "mass" else quantity.value * 1000 / sample.sediment

    whole = _worth_of_ash(ash, grams)
    left = ash.spread(lambda s: grams(s) * s.grams_per_kilogram["potassium"] / 1000 * (1 - s.reachable["potassium"]))
    potassium = Estimate(left.low, left.typical, max(whole.potassium.high, left.typical))
    return NutrientAmounts(potassium, whole.calcium, whole.magnesium, whole.lime_value, whole.ash), whole.ash


def lime_amounts(lime_id: str, grams: float) -> NutrientAmounts:
    """What a weight of a lime of ``limes.csv`` brings. Raises KeyError for one that is not there.

    A mol of CaCO3 counted as lime value is a mol of calcium or, by magnesium's share, of magnesium.

    >>> round(lime_amounts("hydrated_lime", 100).lime_value.high, 0)
    136.0
    """
    row = {row["id"]: row for row in published.table("limes")}[lime_id]
    lime = published.estimate(row).scaled(grams)
    magnesium = float(row["magnesium_share"])
    per_gram = 1 / calcium_carbonate_grams_per_mol()
    return NutrientAmounts(
        calcium=lime.scaled((1 - magnesium) * molar_masses()["calcium"] * per_gram),
        magnesium=lime.scaled(magnesium * molar_masses()["magnesium"] * per_gram),
        lime_value=lime,
    )


def compost_amounts(quantity: Quantity) -> NutrientAmounts:
    """What a weight (g, moist) or volume (L) of compost without ash brings by published means (``compost.csv``)."""
    known = {row["quantity"]: published.estimate(row) for row in published.table("compost")}
    dry = known["dry_matter"].scaled(quantity.value / 1000)
    if quantity.kind != "mass":
        litres, density = known["dry_matter"].scaled(quantity.value), known["density"]
        dry = Estimate(litres.low * density.low, litres.typical * density.typical, litres.high * density.high)
    per_kilogram = NutrientAmounts(*(known[name] for name in OWN_FIGURES))
    return per_kilogram.times(dry)


def _worth_of_ash(ash: Ashes, grams: Callable[[AshSample], float]) -> NutrientAmounts:
    def element(name: str) -> Estimate:
        return ash.spread(lambda sample: grams(sample) * sample.grams_per_kilogram[name] / 1000)

    return NutrientAmounts(
        element("potassium"),
        element("calcium"),
        element("magnesium"),
        ash.spread(lambda sample: grams(sample) * sample.lime_value()),
        ash.spread(grams),
    )


def drawn_from(ash: Ash) -> Ashes:
    """An ash of which nothing was read: what is published of its kind."""
    return _drawn(ash.label, ash.state, tuple(sorted(ash.unknowns.items())))


@lru_cache(maxsize=64)
def _drawn(label: str, state: str, unknowns: tuple[tuple[str, Estimate], ...]) -> Ashes:
    """The fixed sample of an ash; drawn once, since a book asks for the same ash many times."""
    ash = Ash(label, state, dict(unknowns), ())
    draws = latin_hypercube(sorted(ash.unknowns), SAMPLES, SEED)
    return Ashes(ash.typical(), tuple(ash.sample_at(draw) for draw in draws))
