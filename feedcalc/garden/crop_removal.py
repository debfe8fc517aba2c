"""How much potassium crops take up in a season and how much a tested soil holds, both in g per square metre.

* Crops are published as K2O at a usual yield (``crop_removal.csv``); the parts of a plant add up.
* A soil test counts for the layer of ``soil_layer.csv``.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from statistics import median

from feedcalc import published
from feedcalc.chemistry.formulas import molar_masses
from feedcalc.garden.plants import Plant, plants_named

_GRAMS_PER_SQUARE_METRE = {"lb K2O/acre": 453.59237 / 4046.8564224, "kg K2O/ha": 0.1}


def crop_potassium(plant_name: str) -> tuple[float, Plant | None]:
    """Return the g of potassium per square metre that a plant takes up in a season, and the plant.

    For a plant that is not in the table it is the median crop, and None.

    >>> grams, plant = crop_potassium("tomatoes")
    >>> round(grams, 1), plant.id
    (15.8, 'tomato')
    >>> crop_potassium("daffodil")[1] is None
    True
    """
    crops = _crops()
    for plant in plants_named(plant_name) if plant_name else ():
        if plant.id in crops:
            return crops[plant.id], plant
    return median(crops.values()), None


def soil_potassium(milligrams_per_kilogram: float) -> float:
    """Return the g of potassium per square metre in the layer that a soil test counts for.

    >>> round(soil_potassium(100.0), 1)
    22.1
    """
    litres = float(published.row("soil_layer", "depth")["value"]) * 10  # of soil below a square metre
    return milligrams_per_kilogram / 1000 * litres * float(published.row("soil_layer", "density")["value"])


@cache
def _crops() -> Mapping[str, float]:
    mass = molar_masses()
    potassium_in_oxide = 2 * mass["potassium"] / (2 * mass["potassium"] + mass["oxygen"])
    crops: dict[str, float] = {}
    for row in published.table("crop_removal"):
        grams = float(row["amount"]) * _GRAMS_PER_SQUARE_METRE[row["unit"]] * potassium_in_oxide
        crops[row["plant"]] = crops.get(row["plant"], 0.0) + grams
    return crops
