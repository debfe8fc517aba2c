"""How far a feed goes: its potassium beside what a crop takes up in a season and what a tested soil holds.

The ash and the feed are also told as a fertiliser bag is: per cent of N, P2O5 and K2O. Ash holds no nitrogen.
"""

from __future__ import annotations

from typing import Any

from feedcalc.contract.figures import exact_figure, figure
from feedcalc.garden.crop_removal import (
    crop_potassium,
    oxide_per_potassium,
    pentoxide_per_phosphorus,
    plants_per_square_metre,
    soil_potassium,
)
from feedcalc.garden.feed_limits import practice
from feedcalc.liquor.answer import Answer
from feedcalc.liquor.traces import boron_sensitive_plant
from feedcalc.uncertainty.estimates import Estimate


def feeding(answer: Answer) -> dict[str, Any]:
    """Return ``values.feeding``: shares (0 to 1) of one drench, and the amounts in g per square metre they are of."""
    crop, plant = crop_potassium(answer.request.word("plant"))
    brought = answer.spread(lambda outcome: outcome.per_square_metre.potassium / 1000)
    found: dict[str, Any] = {
        "plant": plant.id if plant else "",
        "words": plant.names[0] if plant else "",
        "crop_potassium": exact_figure(crop, "g/m2"),
        "crop_share": figure(brought.scaled(1 / crop), "1"),
    }
    feeds = practice("drenches_per_season").typical
    found |= {
        "feeds_needed": figure(_needed(brought, crop), "1"),
        "season_feeds": exact_figure(feeds, "1"),
        "season_share": figure(brought.scaled(feeds / crop), "1"),
        "ash_k2o": figure(_percent(answer, "potassium").scaled(oxide_per_potassium()), "%"),
        "ash_p2o5": figure(_percent(answer, "phosphorus").scaled(pentoxide_per_phosphorus()), "%"),
        "feed_k2o": figure(
            answer.spread(lambda outcome: outcome.own.liquor.milligrams_per_litre("potassium")).scaled(
                oxide_per_potassium()
            ),
            "mg/L",
        ),
    }
    if plant and (standing := plants_per_square_metre(plant.id)):
        found["plant_potassium"] = exact_figure(crop / standing * 1000, "mg")
    sensitive = boron_sensitive_plant(answer.request.word("plant"))
    found["boron_sensitive"] = sensitive.names[0] if sensitive else ""
    tested = answer.request.number("soil.potassium")
    if tested:
        held = soil_potassium(tested)
        found |= {"soil_potassium": exact_figure(held, "g/m2"), "soil_share": figure(brought.scaled(1 / held), "1")}
    return found


def _percent(answer: Answer, element: str) -> Estimate:
    """Return the per cent by weight of an element in the dry ash."""
    return answer.spread(lambda outcome: outcome.sample.grams_per_kilogram[element] / 10)


def _needed(brought: Estimate, crop: float) -> Estimate:
    """Return how many feeds bring what a crop takes up; ``brought`` is one feed, both in g per square metre."""
    least = 1e-6  # an ash without potassium needs more feeds than anybody counts
    low, typical, high = (crop / max(grams, least) for grams in (brought.high, brought.typical, brought.low))
    return Estimate(low, typical, high)
