"""What a can, a plant and a square metre receive from a feed.

Clear liquor delivers potassium and alkalinity but hardly any calcium, which stays in the sludge.
"""

from __future__ import annotations

from feedcalc.frozen import frozen
from feedcalc.liquor.steeping import Liquor

DELIVERED_ELEMENTS = ("potassium", "calcium", "magnesium")


@frozen
class Delivered:
    """What some litres of a feed contain: K, Ca and Mg in mg, and lime value in g CaCO3."""

    litres: float
    potassium: float
    calcium: float
    magnesium: float
    lime_value: float


def delivered_by(feed: Liquor, litres: float) -> Delivered:
    """Return what ``litres`` of a feed deliver, without lime haze, which stays in the can or on the leaf.

    The lime value is the alkalinity in mg/L as CaCO3 times the litres.
    """
    milligrams = {element: feed.milligrams_per_litre(element) * litres for element in DELIVERED_ELEMENTS}
    return Delivered(litres, **milligrams, lime_value=feed.alkalinity * litres / 1000)
