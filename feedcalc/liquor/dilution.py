"""Liquor and water mixed: what each rung of the dilution ladder is, and how far to go for whom.

Rules of this room:

* A dilution is written liquor : water by volume, as growers say it; ``parts`` is the parts of water to one of liquor.
* Every rung is put through the equilibrium again with the water it is mixed with: hard water gives its calcium up
  as lime haze and lowers the pH.
* How weak is weak enough follows from published limits of alkalinity and salt, not from habit; both are shown.
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
    """One rung: parts of water to one part of liquor, what came of it, and the lime that fell out in mg/L."""

    parts_water: float
    liquor: Liquor
    lime_haze: float


def ladder_rungs() -> tuple[float, ...]:
    """The usual rungs in parts of water, strongest first (the ``ladder`` rows of ``feed_practice.csv``)."""
    return tuple(float(row["typical"]) for row in published.table("feed_practice") if row["id"].startswith("ladder_"))


def feed_at(
    liquor: Liquor, parts_water: float, water: Water, temperature_kelvin: float, nearby: Equilibrium | None = None
) -> Feed:
    """One part of liquor in ``parts_water`` of ``water``, by volume, brought to equilibrium with lime free to form.

    A litre of liquor counts as ``1 / litres`` kilograms of water put in (see `Equilibrium`), a litre of diluting
    water likewise; what hydroxide minerals bound before is below 0.1 % and neglected.
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
    """Whole parts of water to one of liquor that bring the feed down to the upper end of ``limit``.

    Alkalinity and conductivity are taken to mix in proportion to volume, which errs to the weak side where lime
    falls out. Infinite where the diluting water alone is at or past the limit.
    """
    value = {"alkalinity": liquor.alkalinity, "ec": liquor.equilibrium.conductivity}[limit.quantity]
    floor = {"alkalinity": water.alkalinity, "ec": water_conductivity}[limit.quantity]
    if value <= limit.high:
        return 0.0
    if floor >= limit.high:
        return inf
    return float(ceil((value - limit.high) / (limit.high - floor) - 1e-9))
