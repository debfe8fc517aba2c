"""How much potassium crops take up in a season and how much a tested soil holds, both in g per square metre.

* Crops are published as K2O at a usual yield (``crop_removal.csv``); the parts of a plant add up.
* What one plant takes up follows from how many stand on a square metre (``plant_spacing.csv``).
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

    For a plant that is not in the table it is the median vegetable, and None.

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
    return median(grams for plant_id, grams in crops.items() if plant_id in _spacing()), None


def plants_per_square_metre(plant_id: str) -> float | None:
    """Return how many of these plants usually stand on a square metre, or None for trees and plants not listed."""
    return _spacing().get(plant_id)


def soil_potassium(milligrams_per_kilogram: float) -> float:
    """Return the g of potassium per square metre in the layer that a soil test counts for.

    >>> round(soil_potassium(100.0), 1)
    22.1
    """
    litres = float(published.row("soil_layer", "depth")["value"]) * 10  # of soil below a square metre
    return milligrams_per_kilogram / 1000 * litres * float(published.row("soil_layer", "density")["value"])


@cache
def oxide_per_potassium() -> float:
    """Return the grams of K2O that hold a gram of potassium.

    >>> round(oxide_per_potassium(), 3)
    1.205
    """
    mass = molar_masses()
    return (2 * mass["potassium"] + mass["oxygen"]) / (2 * mass["potassium"])


@cache
def pentoxide_per_phosphorus() -> float:
    """Return the grams of P2O5 that hold a gram of phosphorus.

    >>> round(pentoxide_per_phosphorus(), 2)
    2.29
    """
    mass = molar_masses()
    return (2 * mass["phosphorus"] + 5 * mass["oxygen"]) / (2 * mass["phosphorus"])


@cache
def _spacing() -> Mapping[str, float]:
    return {row["plant"]: float(row["per_square_metre"]) for row in published.table("plant_spacing")}


@cache
def _crops() -> Mapping[str, float]:
    crops: dict[str, float] = {}
    for row in published.table("crop_removal"):
        grams = float(row["amount"]) * _GRAMS_PER_SQUARE_METRE[row["unit"]] / oxide_per_potassium()
        crops[row["plant"]] = crops.get(row["plant"], 0.0) + grams
    return crops
