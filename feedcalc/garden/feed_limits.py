"""Published limits for what is poured on plants, and what growers usually give.

* Limits of alkalinity are published for plants in containers. They bind pots and trays; open ground is judged by the
  base that hard tap water brings, by salt and by potassium (rows with the place ``ground``).
* Seedlings are taken to stand in trays unless the request says that they stand in the ground.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from functools import cache

from feedcalc import published
from feedcalc.frozen import frozen
from feedcalc.uncertainty.estimates import Estimate

LIMITED_QUANTITIES = ("alkalinity", "ec", "potassium")
# Which rows of feed_practice.csv say how much a plant of the stage is given at once, and how strong a plan may be.
PLANT_VOLUMES = {"seedling": "seedling_volume", "young": "pot_small_volume", "established": "plant_volume"}
_FLOORS = {"seedling": "floor_seedling", "young": "floor_young", "established": "floor_established"}
_LITRES_PER_UNIT = {"mL": 0.001, "L": 1.0, "L/m2": 1.0}
_IN_THE_GROUND = ("open ground", "raised bed", "near pond or drain", "greenhouse")


@frozen
class FeedLimit:
    """A published upper limit for what is poured on plants of a stage: quantity, unit, low to high, and its row."""

    id: str
    stage: str
    quantity: str
    low: float
    high: float
    unit: str
    row: Mapping[str, str] = field(compare=False)


def limits_for(stage: str, place: str = "") -> tuple[FeedLimit, ...]:
    """Return the strictest limit of alkalinity, conductivity and potassium for a stage and a place.

    ``place`` is one of `feedcalc.contract.request.PLACES` or empty.

    >>> [limit.high for limit in limits_for("established", "open ground")]
    [200.0, 3.0, 400.0]
    >>> [limit.high for limit in limits_for("seedling")]
    [60.0, 0.75, 100.0]
    """
    if place == "plug tray":
        stage = "seedling"
    setting = "plug" if _in_tray(stage, place) else "pot" if place == "pot" else "ground"
    found = []
    for quantity in LIMITED_QUANTITIES:
        rows = [
            row
            for row in published.table("feed_limits")
            if row["quantity"] == quantity and row["stage"] in (stage, "any") and row["place"] in (setting, "any")
        ]
        row = min(rows, key=lambda row: float(row["high"]))
        found.append(
            FeedLimit(
                id=row["id"],
                stage=stage,
                quantity=quantity,
                low=float(row["low"]),
                high=float(row["high"]),
                unit=row["unit"],
                row=row,
            )
        )
    return tuple(found)


def _in_tray(stage: str, place: str) -> bool:
    return place == "plug tray" or (stage == "seedling" and place not in _IN_THE_GROUND)


def strongest_parts(stage: str) -> float:
    """Return the parts of water below which no plan goes for a stage, whatever the limits or a reading allow."""
    return practice(_FLOORS[stage]).typical


@cache
def practice(row_id: str) -> Estimate:
    """Return a row of ``feed_practice.csv``, volumes in litres. Raises KeyError for an unknown id."""
    row = published.row("feed_practice", row_id)
    return published.estimate(row).scaled(_LITRES_PER_UNIT.get(row["unit"], 1.0))
