"""Mix liquor and water: the composition of each rung of the dilution ladder, and the dilution that meets a limit.

* A dilution is written liquor : water by volume, as growers say it; ``parts`` are parts of water to one of liquor.
* Every rung is equilibrated with the water it is mixed with: hard water loses calcium as lime haze, and the pH falls.
* How far to dilute follows from published limits of alkalinity and conductivity.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import chain, pairwise
from math import ceil, inf

from feedcalc import published
from feedcalc.chemistry import Equilibrium, equilibrate
from feedcalc.chemistry.formulas import calcium_carbonate_grams_per_mol, formula_grams_per_mol
from feedcalc.frozen import frozen
from feedcalc.garden.feed_limits import FeedLimit
from feedcalc.garden.water import Water
from feedcalc.liquor.steeping import Liquor

# A limit counts as met to this share of it, so that rounding never moves a plan on.
ROUNDING = 1e-6
FEED_MINERALS = ("calcite", "portlandite", "brucite", "nesquehonite", "gypsum")


@frozen
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


def strength_of(liquor: Liquor) -> dict[str, float]:
    """Return what the limits look at in a feed: alkalinity (mg/L as CaCO3), ec (mS/cm), potassium (mg/L).

    All three are of what is dissolved: lime that has fallen out as haze is no alkalinity any more.
    """
    return {
        "alkalinity": liquor.alkalinity,
        "ec": liquor.equilibrium.conductivity,
        "potassium": liquor.milligrams_per_litre("potassium"),
    }


def is_within(limits: Sequence[FeedLimit], liquor: Liquor) -> bool:
    """Return whether a feed is at or below the upper end of every limit."""
    strength = strength_of(liquor)
    return all(strength[limit.quantity] <= limit.high * (1 + ROUNDING) for limit in limits)


def parts_within(limits: Sequence[FeedLimit], ladder: Iterable[Feed], water_alone: Mapping[str, float]) -> float:
    """Return the fewest whole parts of water that bring a feed within every limit; infinite where none do.

    ``ladder`` holds feeds from the strongest on, the liquor itself first; ``water_alone`` is what the diluting water
    has by itself (see `strength_of`). Between two rungs each quantity is taken as linear in the share of liquor, which
    is exact where no lime falls out. No feed is taken from ``ladder`` that is not needed.
    """
    rungs = ((1.0 / (1.0 + feed.parts_water), strength_of(feed.liquor)) for feed in ladder)
    for (stronger, above), (weaker, below) in pairwise(chain(rungs, [(0.0, water_alone)])):
        if all(above[limit.quantity] <= limit.high * (1 + ROUNDING) for limit in limits):
            return _whole_parts(stronger)
        shares = [
            _share_that_meets(limit.high, (stronger, above[limit.quantity]), (weaker, below[limit.quantity]))
            for limit in limits
        ]
        if all(share is not None for share in shares):
            share = min(share for share in shares if share is not None)
            if share > 0.0:
                return _whole_parts(share)
    return inf


def _share_that_meets(high: float, strong: tuple[float, float], weak: tuple[float, float]) -> float | None:
    """The largest share of liquor between two rungs at which a quantity is down to ``high``; None where it is not."""
    (share, value), (least, last) = strong, weak
    if value <= high:
        return share if last <= high else None
    if last > high or (least == 0.0 and last >= high):
        return None
    return least + (share - least) * (high - last) / (value - last)


def _whole_parts(share: float) -> float:
    return float(max(ceil(1.0 / share - 1.0 - 1e-9), 0))
