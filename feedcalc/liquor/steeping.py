"""Ash, water and time become liquor above and sludge below.

Rules of this room:

* Salts dissolve in two steps, most within minutes; what time allows is put into the water as totals, and the
  equilibrium decides what stays dissolved and which minerals form.
* Every element is counted twice, in the liquor and in the solids, and the two make up the ash and the water.
* A covered bucket counts as closed to air. An open one takes up CO2 slowly: `standing_in_air` gives the far end.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import exp

from feedcalc.chemistry import Equilibrium, equilibrate
from feedcalc.chemistry.formulas import calcium_carbonate_grams_per_mol, molar_masses
from feedcalc.garden.ash import ELEMENTS, AshSample
from feedcalc.garden.water import Water

# What can form in ash liquor within a day: calcite and the hydroxides at once, magnesium carbonate where carbonate
# is plenty, gypsum and syngenite in a strong sulfate liquor; apatite stands for the calcium phosphates that keep
# phosphorus in the ash (`phosphorus_if_amorphous` gives the other end).
STEEP_MINERALS = ("calcite", "portlandite", "brucite", "nesquehonite", "gypsum", "syngenite", "hydroxyapatite")
# Every comparison with a limit of pH is made at this temperature.
JUDGED_AT_KELVIN = 298.15
# The salts that leave the ash by dissolving; the others are set by the minerals whatever the time.
SALTS = ("potassium", "sodium", "sulfur", "chloride")


@dataclass(frozen=True, slots=True)
class Liquor:
    """A clear liquor: the equilibrium per kilogram of water, read per litre of liquor.

    ``equilibrium`` knows pH, conductivity and every dissolved element.
    """

    equilibrium: Equilibrium

    def milligrams_per_litre(self, element: str) -> float:
        """mg of the dissolved element per litre of liquor."""
        return self.equilibrium.milligrams_per_litre(element)

    @property
    def alkalinity(self) -> float:
        """mg/L as CaCO3, as a titration would find it."""
        equivalents_per_litre = self.equilibrium.alkalinity * self.equilibrium.water_kg / self.equilibrium.litres
        return equivalents_per_litre * calcium_carbonate_grams_per_mol() / 2 * 1000

    @property
    def ph_25(self) -> float:
        """pH of the same liquor at 25 degC, nothing falling out. Liquor is judged by this, whatever a meter shows.

        The ion product of water moves the pH that a meter shows; the hydroxide that burns stays the same.
        """
        if abs(self.equilibrium.temperature_kelvin - JUDGED_AT_KELVIN) < 1e-6:
            return self.equilibrium.ph
        return equilibrate(self.equilibrium.dissolved, JUDGED_AT_KELVIN, (), nearby=self.equilibrium).ph

    def mol_per_litre(self) -> dict[str, float]:
        """Mol of each dissolved element per litre of liquor."""
        return {element: amount / self.equilibrium.litres for element, amount in self.equilibrium.dissolved.items()}


@dataclass(frozen=True, slots=True)
class Sludge:
    """What stays behind in the solids, per gram of ash that went in (not counting liquor held between grains).

    ``grams_per_gram`` by element; ``lime_value`` in g CaCO3 per gram of ash.
    """

    grams_per_gram: Mapping[str, float]
    lime_value: float


@dataclass(frozen=True, slots=True)
class Steep:
    """The outcome of one steep: liquor, sludge and the share of reachable salts that had time to dissolve."""

    liquor: Liquor
    sludge: Sludge
    dissolved_share: float


def dissolved_share(hours: float, sample: AshSample) -> float:
    """Share (0 to 1) of the reachable salts dissolved after ``hours`` of a stirred steep.

    Two first-order steps that start together, one per minute fast and one per hour slow:
    f (1 - exp(-60 k_fast t)) + (1 - f) (1 - exp(-k_slow t)), with the figures of ``ash_dissolution.csv``.
    """
    fast = 1.0 - exp(-sample.fast_rate * 60 * hours)
    slow = 1.0 - exp(-sample.slow_rate * hours)
    return sample.fast_share * fast + (1.0 - sample.fast_share) * slow


def steep(
    sample: AshSample,
    grams_per_kilogram: float,
    water: Water,
    temperature_kelvin: float,
    hours: float,
) -> Steep:
    """Steep ``grams_per_kilogram`` of ash in each kilogram of water for ``hours`` under a cover.

    Raises `NoSolution` where the chemistry finds no balanced answer.
    """
    share = dissolved_share(hours, sample)
    kilograms = grams_per_kilogram / 1000
    from_ash = _given_up(sample, share)
    totals = {element: water.totals.get(element, 0.0) + amount * kilograms for element, amount in from_ash.items()}
    equilibrium = equilibrate(totals, temperature_kelvin, STEEP_MINERALS)
    liquor = Liquor(equilibrium)
    return Steep(liquor, _sludge(sample, water, liquor, grams_per_kilogram), share)


@dataclass(frozen=True, slots=True)
class SteepMemory:
    """Steeps in one water at one temperature, each computed only once."""

    water: Water
    temperature_kelvin: float
    known: dict[tuple[float, ...], Steep] = field(default_factory=dict)

    def steep(self, sample: AshSample, grams_per_kilogram: float, hours: float) -> Steep:
        """Return `steep` of an ash, from memory where an ash with the same chemistry was steeped alike before."""
        amounts = (*sample.grams_per_kilogram.values(), *sample.reachable.values())
        rates = (sample.free_lime, sample.fast_share, sample.fast_rate, sample.slow_rate)
        key = (grams_per_kilogram, hours, *amounts, *rates)
        if key not in self.known:
            self.known[key] = steep(sample, grams_per_kilogram, self.water, self.temperature_kelvin, hours)
        return self.known[key]


def _given_up(sample: AshSample, share: float) -> dict[str, float]:
    """Mol per kilogram of ash that has met the water once a share of the salts dissolved, their carbonate with them."""
    reachable = sample.reachable_mol_per_kilogram()
    given = {element: amount * (share if element in SALTS else 1.0) for element, amount in reachable.items()}
    held_charge = sum(
        (reachable[salt] - given[salt]) * charge
        for salt, charge in (("potassium", 1), ("sodium", 1), ("sulfur", -2), ("chloride", -1))
    )
    given["carbon"] = max(reachable["carbon"] - held_charge / 2, 0.0)
    return given


def _sludge(sample: AshSample, water: Water, liquor: Liquor, grams_per_kilogram: float) -> Sludge:
    if grams_per_kilogram <= 0:
        return Sludge(dict.fromkeys(ELEMENTS, 0.0), 0.0)
    left = {}
    for element in ELEMENTS:
        from_ash = sample.grams_per_kilogram[element] / 1000
        gone = liquor.equilibrium.dissolved.get(element, 0.0) - water.totals.get(element, 0.0)
        left[element] = from_ash - gone * molar_masses()[element] / grams_per_kilogram
    equivalents = liquor.equilibrium.alkalinity * liquor.equilibrium.water_kg - _water_alkalinity(water)
    lime = sample.lime_value() - equivalents * calcium_carbonate_grams_per_mol() / 2 / grams_per_kilogram
    return Sludge(left, max(lime, 0.0))


def _water_alkalinity(water: Water) -> float:
    """Equivalents of alkalinity per kilogram that the water itself brought."""
    return water.alkalinity / 1000 / (calcium_carbonate_grams_per_mol() / 2)


def phosphorus_if_amorphous(liquor: Liquor) -> float:
    """mg/L of phosphorus if the phosphate that forms is the amorphous kind, which comes sooner than apatite.

    Apatite, the stable mineral, may take weeks to form; the two are the ends between which a liquor of a day lies.
    """
    equilibrium = liquor.equilibrium
    minerals = [mineral for mineral in STEEP_MINERALS if mineral != "hydroxyapatite"]
    # Sought afresh: above apatite so little phosphate is left that this liquor is a poor place to start from.
    other = equilibrate(equilibrium.totals, equilibrium.temperature_kelvin, [*minerals, "amorphous_calcium_phosphate"])
    return other.milligrams_per_litre("phosphorus")
