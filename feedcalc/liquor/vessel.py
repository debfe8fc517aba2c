"""The batch in its bucket: volumes, heights, the water that a wanted amount of liquor needs, and settling.

* The bucket counts as straight-sided: its area is capacity over inside height.
* Sediment takes up several times the volume of its solids and holds liquor; a guard layer above it is not poured.
* Practice says a day in the bucket; the settling time here is that of grains of a stated size by Stokes' law.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import lru_cache
from math import ceil

from feedcalc import published
from feedcalc.contract.measures import jugged
from feedcalc.frozen import frozen
from feedcalc.garden.ash import AshSample
from feedcalc.physics import settling, water


@lru_cache
def rules() -> Mapping[str, float]:
    """Return the values of ``batch_rules.csv`` by name, in the units of the table."""
    return {row["quantity"]: float(row["value"]) for row in published.table("batch_rules")}


@lru_cache
def _headroom_share() -> float:
    """Return the share of a bucket that stays empty, so that it can be stirred."""
    return next(float(row["typical"]) for row in published.table("ash_settling") if row["quantity"] == "headroom_share")


@frozen
class Vessel:
    """A bucket: inside height in metres and capacity in litres to the brim."""

    height: float
    capacity: float

    @property
    def area(self) -> float:
        """The cross-section in square metres."""
        return self.capacity / 1000 / self.height

    @property
    def usable(self) -> float:
        """The litres that can be stirred without spilling."""
        return self.capacity * (1.0 - _headroom_share())


@frozen
class Batch:
    """One batch, made in ``goes`` equal bucketfuls.

    Masses and volumes are for all goes together: ``sludge_litres`` include the liquor that the sludge holds, and
    ``liquor_litres`` can be poured off. The heights ``surface``, ``pour_line`` and ``sludge_top`` are in metres above
    the bottom in each go.
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
        """The metres from the surface to the pour-off line, through which grains have to fall."""
        return self.surface - self.pour_line

    @property
    def strength(self) -> float:
        """The grams of ash per litre of water."""
        return self.ash_grams / self.water_litres


def batch_of(ash_grams: float, water_litres: float, vessel: Vessel, sample: AshSample) -> Batch:
    """Return the batch of ``ash_grams`` in ``water_litres``, in as many equal goes as the vessel needs."""
    mixture = water_litres + ash_grams / sample.particle_density
    goes = max(1, ceil(mixture / vessel.usable - 1e-9))
    sludge = min(ash_grams * sample.sediment / 1000, mixture)
    litres_per_metre = vessel.area * 1000
    surface = mixture / goes / litres_per_metre
    sludge_top = sludge / goes / litres_per_metre
    guard = min(sample.guard_layer, rules()["guard_share_at_most"] * (surface - sludge_top))
    guard_litres = guard * litres_per_metre * goes
    return Batch(
        ash_grams=ash_grams,
        water_litres=water_litres,
        mixture_litres=mixture,
        sludge_litres=sludge,
        guard_litres=guard_litres,
        liquor_litres=mixture - sludge - guard_litres,
        goes=goes,
        surface=surface,
        pour_line=sludge_top + guard,
        sludge_top=sludge_top,
    )


def water_for_liquor(liquor_litres: float, grams_per_litre: float, vessel: Vessel, sample: AshSample) -> float:
    """Return the litres of water that, at ``grams_per_litre`` of ash, give ``liquor_litres`` to pour off.

    Raises `ValueError` where so thick a slurry would leave no clear liquor.
    """
    if batch_of(grams_per_litre, 1.0, vessel, sample).liquor_litres <= 1e-3:
        raise ValueError("this much ash leaves no clear liquor")
    return _least_water(
        liquor_litres, lambda litres: batch_of(litres * grams_per_litre, litres, vessel, sample).liquor_litres
    )


def water_above_ash(liquor_litres: float, ash_grams: float, vessel: Vessel, sample: AshSample) -> float:
    """Return the litres of water that give ``liquor_litres`` to pour off above ``ash_grams`` of ash."""
    return _least_water(liquor_litres, lambda litres: batch_of(ash_grams, litres, vessel, sample).liquor_litres)


def _least_water(wanted: float, liquor_from: Callable[[float], float]) -> float:
    """Return by bisection the water that gives ``wanted`` litres of liquor and little more.

    Liquor falls where a further go becomes necessary, so the upper end of the bracket, always enough, is returned.
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
    """Return the hours until grains of ``diameter`` have left the depth that is poured off.

    ``diameter`` is in metres, by default the clay limit. Stokes' law with hindered settling after Richardson and Zaki,
    see `feedcalc.physics.settling`.
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
    """Return the volume fraction of solids in the stirred mixture."""
    return batch.ash_grams / sample.particle_density / batch.mixture_litres


def cleared_diameter(batch: Batch, sample: AshSample, temperature_kelvin: float, hours: float) -> float:
    """Return the diameter in metres of the smallest grains that have left the poured depth; 0 without a depth."""
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
    """Return the mass in kg of ``litres`` of fresh water."""
    return litres * water.density_kg_per_m3(temperature_kelvin) / 1000


def liquor_for_can(can_litres: float, parts_water: float, system: str = "metric") -> float:
    """Return the litres of liquor for one can at 1 to ``parts_water``, in steps of a jug; undiluted, the whole can.

    >>> liquor_for_can(9.0, 3.0), liquor_for_can(15.25, 0.0)
    (2.25, 15.25)
    """
    return min(jugged(can_litres / (1 + parts_water), system), can_litres) if parts_water else can_litres
