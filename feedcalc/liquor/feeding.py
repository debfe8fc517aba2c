"""How little one drench feeds: its potassium beside what a crop takes up in a season and what a tested soil holds."""

from __future__ import annotations

from typing import Any

from feedcalc.contract.figures import figure
from feedcalc.garden.crop_removal import crop_potassium, soil_potassium
from feedcalc.liquor.answer import Answer
from feedcalc.liquor.figures import exact_figure


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
    tested = answer.request.number("soil.potassium")
    if tested:
        held = soil_potassium(tested)
        found |= {"soil_potassium": exact_figure(held, "g/m2"), "soil_share": figure(brought.scaled(1 / held), "1")}
    return found
