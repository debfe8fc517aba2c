"""Mix liquor and water: the composition of each rung of the dilution ladder, and the dilution that meets a limit.

* A dilution is written liquor : water by volume, as growers say it; ``parts`` are parts of water to one of liquor.
* Every rung is equilibrated with the water it is mixed with: hard water loses calcium as lime haze, and the pH falls.
* How far to dilute follows from published limits of alkalinity and conductivity.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, inf

from feedcalc import published
from feedcalc.chemistry import Equilibrium, equilibrate
from feedcalc.chemistry.formulas import calcium_carbonate_grams_per_mol, formula_grams_per_mol
from feedcalc.garden.feed_limits import FeedLimit
from feedcalc.garden.water import Water
from feedcalc.liquor.steeping import Liquor

FEED_MINERALS = ("calcite", "portlandite", "brucite", "nesquehonite", "gypsum")


@dataclass(frozen=True, slots=True)
class Feed:
    """Liquor mixed with ``parts_water`` parts of water; ``lime_haze`` is the precipitate in mg/L."""

    parts_water: float
    liquor: Liquor
    lime_haze: float


def ladder_rungs() -> tuple[float, ...]:
    """Return the usual dilutions in parts of water, strongest first (``ladder`` rows of ``feed_practice.csv``)."""
    return tuple(float(row["typical"]) for row in published.table("feed_practice") if row["id"].startswith("ladder_"))


def feed_at(
    liquor: Liquor, parts_water: float, water: Water, temperature_kelvin: float, nearby: Equilibrium | None = None
) -> Feed:
    """Return one part of liquor mixed with ``parts_water`` of water by volume, after lime has precipitated.

    A litre of liquor counts as ``1 / litres`` kilograms of water (see `Equilibrium`) and a litre of water as one. The
    water bound in hydroxide minerals is below 0.1 % and neglected.
    """
    if parts_water == 0:
        return Feed(0.0, liquor, 0.0)
    liquor_kilograms = 1.0 / liquor.equilibrium.litres
    water_kilograms = parts_water
    both = liquor_kilograms + water_kilograms
    dissolved = liquor.equilibrium.dissolved
    totals = {
        element: (dissolved.get(element, 0.0) * liquor_kilograms + water.totals.get(element, 0.0) * water_kilograms)
        / both
        for element in {*dissolved, *water.totals}
    }
    mixed = equilibrate(totals, temperature_kelvin, FEED_MINERALS, nearby=nearby or liquor.equilibrium)
    haze = mixed.formed["calcite"] / mixed.litres * calcium_carbonate_grams_per_mol() * 1000
    return Feed(parts_water, Liquor(mixed), haze + _brucite_milligrams(mixed))


def _brucite_milligrams(mixed: Equilibrium) -> float:
    return mixed.formed["brucite"] / mixed.litres * formula_grams_per_mol("Mg(OH)2") * 1000


def parts_to_meet(limit: FeedLimit, liquor: Liquor, water: Water, water_conductivity: float) -> float:
    """Return the whole parts of water to one of liquor that bring the feed to the upper end of ``limit``.

    Alkalinity and conductivity are taken as linear in volume, which gives a weaker feed than necessary where lime
    precipitates. Infinite where the water alone reaches the limit. ``water_conductivity`` is in mS/cm.
    """
    value = {"alkalinity": liquor.alkalinity, "ec": liquor.equilibrium.conductivity}[limit.quantity]
    floor = {"alkalinity": water.alkalinity, "ec": water_conductivity}[limit.quantity]
    if value <= limit.high:
        return 0.0
    if floor >= limit.high:
        return inf
    return float(ceil((value - limit.high) / (limit.high - floor) - 1e-9))
