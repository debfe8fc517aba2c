"""Steep ash in water: the liquor above and the sludge below after a given time.

* Salts dissolve at two first-order rates, most within minutes. What has dissolved by the given time enters the
  equilibrium as totals; the equilibrium decides what stays in solution and which minerals form.
* Every element is balanced: liquor and solids together hold what the ash and the water brought.
* A covered bucket counts as closed to air; for an open one see `feedcalc.liquor.air`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from math import exp

from feedcalc.chemistry import Equilibrium, equilibrate
from feedcalc.chemistry.formulas import calcium_carbonate_grams_per_mol, molar_masses
from feedcalc.frozen import frozen
from feedcalc.garden.ash import ELEMENTS, AshSample
from feedcalc.garden.water import Water

# Minerals that form in ash liquor within a day: calcite and the hydroxides at once, magnesium carbonate where there is
# much carbonate, gypsum and syngenite in a strong sulfate liquor. Apatite represents the calcium phosphates that keep
# phosphorus in the ash (`phosphorus_if_amorphous` gives the other extreme).
STEEP_MINERALS = ("calcite", "portlandite", "brucite", "nesquehonite", "gypsum", "syngenite", "hydroxyapatite")
# Every comparison with a limit of pH is made at this temperature.
JUDGED_AT_KELVIN = 298.15
# Elements of salts that take time to dissolve; minerals control the others at any time.
SALTS = ("potassium", "sodium", "sulfur", "chloride")


@frozen
class Liquor:
    """A clear liquor: an equilibrium per kilogram of water, with concentrations per litre of liquor."""

    equilibrium: Equilibrium

    def milligrams_per_litre(self, element: str) -> float:
        """Return the mg of the dissolved element per litre of liquor."""
        return self.equilibrium.milligrams_per_litre(element)

    @property
    def alkalinity(self) -> float:
        """The total alkalinity in mg/L as CaCO3, as a titration would give it."""
        equivalents_per_litre = self.equilibrium.alkalinity * self.equilibrium.water_kg / self.equilibrium.litres
        return equivalents_per_litre * calcium_carbonate_grams_per_mol() / 2 * 1000

    @property
    def ph_25(self) -> float:
        """pH of the same liquor at 25 degC, nothing precipitating. Liquor is judged by this, whatever a meter shows.

        The ion product of water changes the pH that a meter shows; the hydroxide that burns stays the same.
        """
        if abs(self.equilibrium.temperature_kelvin - JUDGED_AT_KELVIN) < 1e-6:
            return self.equilibrium.ph
        return equilibrate(self.equilibrium.dissolved, JUDGED_AT_KELVIN, (), nearby=self.equilibrium).ph

    def mol_per_litre(self) -> dict[str, float]:
        """Return the mol of each dissolved element per litre of liquor."""
        return {element: amount / self.equilibrium.litres for element, amount in self.equilibrium.dissolved.items()}


@frozen
class Sludge:
    """The solids that stay behind, per gram of ash that went in, without the liquor held between grains.

    ``grams_per_gram`` is by element; ``lime_value`` is in g CaCO3 per gram of ash.
    """

    grams_per_gram: Mapping[str, float]
    lime_value: float


@frozen
class Steep:
    """The outcome of one steep; ``dissolved_share`` is the share of the soluble salts that had time to dissolve."""

    liquor: Liquor
    sludge: Sludge
    dissolved_share: float


def dissolved_share(hours: float, sample: AshSample) -> float:
    """Return the share (0 to 1) of the soluble salts that has dissolved after ``hours`` of a stirred steep.

    The sum of two parallel first-order processes, k_fast per minute and k_slow per hour:
    f (1 - exp(-60 k_fast t)) + (1 - f) (1 - exp(-k_slow t)), with the values of ``ash_dissolution.csv``.
    """
    fast = 1.0 - exp(-sample.fast_rate * 60 * hours)
    slow = 1.0 - exp(-sample.slow_rate * hours)
    return sample.fast_share * fast + (1.0 - sample.fast_share) * slow


def steep(sample: AshSample, grams_per_kilogram: float, water: Water, temperature_kelvin: float, hours: float) -> Steep:
    """Return the steep of ``grams_per_kilogram`` of ash in each kilogram of water for ``hours`` under a cover.

    Raises `NoSolution` where the equilibrium has no solution.
    """
    share = dissolved_share(hours, sample)
    kilograms = grams_per_kilogram / 1000
    from_ash = _released(sample, share)
    totals = {element: water.totals.get(element, 0.0) + amount * kilograms for element, amount in from_ash.items()}
    equilibrium = equilibrate(totals, temperature_kelvin, STEEP_MINERALS)
    liquor = Liquor(equilibrium)
    return Steep(liquor, _sludge(sample, water, liquor, grams_per_kilogram), share)


@frozen
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
            self.known[key] = steep(sample, grams_per_kilogram, self.water, self.temperature_kelvin, hours=hours)
        return self.known[key]


def _released(sample: AshSample, share: float) -> dict[str, float]:
    """Return the mol per kg of ash in contact with the water when a share of the salts has dissolved."""
    reachable = sample.reachable_mol_per_kilogram()
    released = {element: amount * (share if element in SALTS else 1.0) for element, amount in reachable.items()}
    # Undissolved alkali salts keep their carbonate.
    held_charge = sum(
        (reachable[salt] - released[salt]) * charge
        for salt, charge in (("potassium", 1), ("sodium", 1), ("sulfur", -2), ("chloride", -1))
    )
    released["carbon"] = max(reachable["carbon"] - held_charge / 2, 0.0)
    return released


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
    """Return the equivalents of alkalinity per kilogram of the water itself."""
    return water.alkalinity / 1000 / (calcium_carbonate_grams_per_mol() / 2)


def phosphorus_if_amorphous(liquor: Liquor) -> float:
    """Return the mg/L of phosphorus if amorphous calcium phosphate forms instead of apatite.

    The amorphous phase forms sooner; apatite, the stable mineral, may take weeks. A liquor of a day lies in between.
    """
    equilibrium = liquor.equilibrium
    minerals = [mineral for mineral in STEEP_MINERALS if mineral != "hydroxyapatite"]
    # Apatite leaves so little phosphate that its equilibrium would be a poor starting point for the search.
    other = equilibrate(equilibrium.totals, equilibrium.temperature_kelvin, [*minerals, "amorphous_calcium_phosphate"])
    return other.milligrams_per_litre("phosphorus")
