"""From cans back to ash and water, or from ash and water forwards: what to weigh, pour, wait for and leave.

Rules of this room:

* The bucket counts as straight-sided: its area is capacity over inside height.
* What settles takes up several times its own volume and holds liquor; above it a guard layer is left unpoured.
* A batch is first computed, then rounded to measures a shed has, then computed again from the rounded measures,
  so that the sheet and its numbers agree.
* Practice says a day in a bucket; the time given here is for grains of a stated size by Stokes' law.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from math import ceil

from feedcalc import published
from feedcalc.contract.measures import jugged
from feedcalc.garden.ash import AshSample
from feedcalc.physics import settling, water


@lru_cache
def rules() -> Mapping[str, float]:
    """The rules of thumb of ``batch_rules.csv`` by name, in the unit the table states."""
    return {row["quantity"]: float(row["value"]) for row in published.table("batch_rules")}


@dataclass(frozen=True, slots=True)
class Vessel:
    """A bucket by its inside height in metres and what it holds in litres, brim full."""

    height: float
    capacity: float

    @property
    def area(self) -> float:
        """Square metres of surface."""
        return self.capacity / 1000 / self.height

    @property
    def usable(self) -> float:
        """Litres that can be stirred without slopping."""
        headroom = next(row for row in published.table("ash_settling") if row["quantity"] == "headroom_share")
        return self.capacity * (1.0 - float(headroom["typical"]))


@dataclass(frozen=True, slots=True)
class Batch:
    """One batch, for all goes together unless a name says ``each``.

    Grams of ash, litres of water, of mixture, of sludge (with the liquor it holds), of guard layer and of liquor
    that pours off. Heights in metres above the bottom in each go: ``surface``, ``pour_line``, ``sludge_top``.
    """

    ash_grams: float
    water_litres: float
    mixture_litres: float
    sludge_litres: float
    guard_litres: float
    liquor_litres: float
    goes: int
    surface: float
    pour_line: float
    sludge_top: float

    @property
    def clear_depth(self) -> float:
        """Metres from the surface down to the pour-off line: what grains have to fall through."""
        return self.surface - self.pour_line

    @property
    def strength(self) -> float:
        """Grams of ash per litre of water."""
        return self.ash_grams / self.water_litres


def batch_of(ash_grams: float, water_litres: float, vessel: Vessel, sample: AshSample) -> Batch:
    """The batch that ``ash_grams`` in ``water_litres`` makes, in as many equal goes as the vessel needs."""
    mixture = water_litres + ash_grams / sample.particle_density
    goes = max(1, ceil(mixture / vessel.usable - 1e-9))
    sludge = min(ash_grams * sample.sediment / 1000, mixture)
    litres_per_metre = vessel.area * 1000
    surface = mixture / goes / litres_per_metre
    sludge_top = sludge / goes / litres_per_metre
    guard = min(sample.guard_layer, rules()["guard_share_at_most"] * (surface - sludge_top))
    guard_litres = guard * litres_per_metre * goes
    return Batch(
        ash_grams,
        water_litres,
        mixture,
        sludge,
        guard_litres,
        mixture - sludge - guard_litres,
        goes,
        surface,
        sludge_top + guard,
        sludge_top,
    )


def water_for_liquor(liquor_litres: float, grams_per_litre: float, vessel: Vessel, sample: AshSample) -> float:
    """Litres of water that, at ``grams_per_litre`` of ash, let ``liquor_litres`` be poured off.

    Raises ValueError where so thick a slurry would leave no clear liquor.
    """
    if batch_of(grams_per_litre, 1.0, vessel, sample).liquor_litres <= 1e-3:
        raise ValueError("this much ash leaves no clear liquor")
    return _least_water(
        liquor_litres, lambda litres: batch_of(litres * grams_per_litre, litres, vessel, sample).liquor_litres
    )


def water_above_ash(liquor_litres: float, ash_grams: float, vessel: Vessel, sample: AshSample) -> float:
    """Litres of water that let ``liquor_litres`` be poured off above ``ash_grams`` of ash."""
    return _least_water(liquor_litres, lambda litres: batch_of(ash_grams, litres, vessel, sample).liquor_litres)


def _least_water(wanted: float, liquor_from: Callable[[float], float]) -> float:
    """Water that gives ``wanted`` litres of liquor and not much more, by bisection.

    Where one go more begins, a little more water gives less liquor: what is kept on the upper side is always enough.
    """
    too_little, enough = wanted, 2 * wanted
    while liquor_from(enough) < wanted:
        too_little, enough = enough, 2 * enough
    while enough - too_little > 1e-7 * enough:
        middle = (too_little + enough) / 2
        if liquor_from(middle) < wanted:
            too_little = middle
        else:
            enough = middle
    return enough


def settle_hours(batch: Batch, sample: AshSample, temperature_kelvin: float, diameter: float | None = None) -> float:
    """Hours until grains of ``diameter`` (metres; the clay limit unless given) have left the depth that is poured off.

    Stokes' law with the crowding of the slurry taken into account (Richardson and Zaki), see `physics.settling`.
    """
    if batch.clear_depth <= 0:
        return 0.0
    return settling.clearing_time_hours(
        batch.clear_depth,
        diameter if diameter is not None else rules()["clear_diameter"],
        sample.particle_density,
        temperature_kelvin,
        volume_fraction=solids_share(batch, sample),
    )


def solids_share(batch: Batch, sample: AshSample) -> float:
    """Volume of solid ash in the stirred mixture as a share of it."""
    return batch.ash_grams / sample.particle_density / batch.mixture_litres


def cleared_diameter(batch: Batch, sample: AshSample, temperature_kelvin: float, hours: float) -> float:
    """Diameter in metres of the smallest grains that have left the poured depth after ``hours``, 0 with no depth."""
    if batch.clear_depth <= 0:
        return 0.0
    return settling.cleared_diameter_m(
        batch.clear_depth,
        hours,
        sample.particle_density,
        temperature_kelvin,
        volume_fraction=solids_share(batch, sample),
    )


def water_kilograms(litres: float, temperature_kelvin: float) -> float:
    """Mass of ``litres`` of fresh water."""
    return litres * water.density_kg_per_m3(temperature_kelvin) / 1000


def liquor_for_can(can_litres: float, parts_water: float) -> float:
    """Litres of liquor for one can at 1 to ``parts_water``, as a jug shows them and never more than the can holds.

    >>> liquor_for_can(9.0, 3.0), liquor_for_can(15.25, 0.0)
    (2.25, 15.25)
    """
    return min(jugged(can_litres / (1 + parts_water)), can_litres)
