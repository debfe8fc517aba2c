"""What a can, a plant and a square metre receive.

The headline of this room: clear liquor carries potassium and alkalinity, and hardly any calcium.
"""

from __future__ import annotations

from dataclasses import dataclass

from feedcalc.liquor.steeping import Liquor

DELIVERED_ELEMENTS = ("potassium", "calcium", "magnesium")


@dataclass(frozen=True, slots=True)
class Delivered:
    """What one pouring gives: mg of K, Ca and Mg, and lime value in g of CaCO3."""

    litres: float
    potassium: float
    calcium: float
    magnesium: float
    lime_value: float


def delivered_by(feed: Liquor, litres: float) -> Delivered:
    """What ``litres`` of a feed deliver, lime haze not counted (it stays in the can or on the leaf).

    The lime value of a feed is its alkalinity: mg/L as CaCO3 times litres.
    """
    milligrams = [feed.milligrams_per_litre(element) * litres for element in DELIVERED_ELEMENTS]
    return Delivered(litres, milligrams[0], milligrams[1], milligrams[2], feed.alkalinity * litres / 1000)
