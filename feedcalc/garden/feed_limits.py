"""Published limits for what is poured on plants, and what growers usually give."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from feedcalc import published
from feedcalc.uncertainty.estimates import Estimate


@dataclass(frozen=True, slots=True)
class FeedLimit:
    """A published upper limit for what is poured on plants of a stage: quantity, unit, low to high, and its row."""

    id: str
    stage: str
    quantity: str
    low: float
    high: float
    unit: str
    row: Mapping[str, str]


def limits_for(stage: str) -> tuple[FeedLimit, ...]:
    """The strictest limit of alkalinity and of conductivity in ``feed_limits.csv`` for a stage."""
    found = []
    for quantity in ("alkalinity", "ec"):
        rows = [row for row in published.table("feed_limits") if (row["stage"], row["quantity"]) == (stage, quantity)]
        row = min(rows, key=lambda row: float(row["high"]))
        found.append(FeedLimit(row["id"], stage, quantity, float(row["low"]), float(row["high"]), row["unit"], row))
    return tuple(found)


# Which row of feed_practice.csv says how much a plant of the stage is given at once.
PLANT_VOLUMES = {"seedling": "seedling_volume", "young": "pot_small_volume", "established": "plant_volume"}


_LITRES_PER = {"mL": 0.001, "L": 1.0, "L/m2": 1.0}


def practice(row_id: str) -> Estimate:
    """A row of ``feed_practice.csv``, volumes in litres."""
    row = next(row for row in published.table("feed_practice") if row["id"] == row_id)
    return published.estimate(row).scaled(_LITRES_PER.get(row["unit"], 1.0))
