"""Published limits for feeds and the amounts growers usually give.

Both are tables: ``feed_limits.csv`` and ``feed_practice.csv``. Where sources differ, the strictest limit counts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from feedcalc import published
from feedcalc.uncertainty.estimates import Estimate

# The row of feed_practice.csv with the volume that one plant of a stage is given at a time.
PLANT_VOLUMES = {"seedling": "seedling_volume", "young": "pot_small_volume", "established": "plant_volume"}

_LITRES_PER_UNIT = {"mL": 0.001, "L": 1.0, "L/m2": 1.0}


@dataclass(frozen=True, slots=True)
class FeedLimit:
    """An upper limit of one quantity in feeds for plants of a stage: the span of its source, and its table row."""

    id: str
    stage: str
    quantity: str
    low: float
    high: float
    unit: str
    row: Mapping[str, str]


def limits_for(stage: str) -> tuple[FeedLimit, ...]:
    """Return the strictest limits of alkalinity and of conductivity for a stage."""
    return tuple(_strictest(stage, quantity) for quantity in ("alkalinity", "ec"))


def _strictest(stage: str, quantity: str) -> FeedLimit:
    rows = [row for row in published.table("feed_limits") if (row["stage"], row["quantity"]) == (stage, quantity)]
    row = min(rows, key=lambda row: float(row["high"]))
    return FeedLimit(
        id=row["id"],
        stage=stage,
        quantity=quantity,
        low=float(row["low"]),
        high=float(row["high"]),
        unit=row["unit"],
        row=row,
    )


def practice(row_id: str) -> Estimate:
    """Return the estimate of a row of ``feed_practice.csv``, volumes in litres. Raises KeyError for an unknown id."""
    row = published.row("feed_practice", row_id)
    return published.estimate(row).scaled(_LITRES_PER_UNIT.get(row["unit"], 1.0))
