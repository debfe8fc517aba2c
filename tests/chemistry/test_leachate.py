"""A measured ash liquor: the calcium computed from its other ions and pH over calcite must agree with the measured one.

The liquor (0.5 g of tiled-stove ash in 25 mL) is in ``ash_extracts.csv``. Its temperature is not given, its pH to
0.1; databases of constants differ fourfold on calcium in such a liquor.
"""

from __future__ import annotations

import csv
import statistics
from pathlib import Path

from feedcalc.chemistry import Equilibrium, equilibrate

GRAM_PER_MOL = {"potassium": 39.098, "sodium": 22.99, "sulfur": 32.06, "silicon": 28.085}
MINERALS = ("calcite", "brucite", "gypsum", "syngenite")


def measured(quantity: str, unit: str) -> float:
    lines = (Path(__file__).parents[1] / "published" / "ash_extracts.csv").read_text(encoding="utf-8").splitlines()
    (value,) = (
        float(row["value"])
        for row in csv.DictReader(line for line in lines if not line.startswith("#"))
        if (row["extract"], row["quantity"], row["unit"]) == ("tiled_stove", quantity, unit)
    )
    return value


def liquor_at(ph: float, kelvin: float) -> Equilibrium:
    """The liquor over an excess of calcite and magnesia, with as much carbonate as brings it to this pH."""
    salts = {
        element: measured(element, "mg/L") / 1000.0 / GRAM_PER_MOL[element]
        for element in ("potassium", "sodium", "sulfur")
    }
    salts["silicon"] = 0.0165 / GRAM_PER_MOL["silicon"]  # 2.1 % of 39.4 g/kg, times 20 g/L
    low, high = 0.0, 0.06
    for _ in range(40):
        middle = 0.5 * (low + high)
        totals = {**salts, "calcium": 0.1, "magnesium": 0.02, "carbon": 0.1 + middle}
        result = equilibrate(totals, kelvin, MINERALS)
        if result.ph > ph:
            low = middle
        else:
            high = middle
    return result


def test_measured_calcium_lies_in_the_range_computed_from_the_measured_ph(deviations):
    """The pH is known to 0.1 and the room was somewhere from 20 to 25 degC; that span must hold the calcium."""
    found = measured("calcium", "mg/L")
    liquors = [
        liquor_at(measured("ph", "1") + doubt, kelvin) for doubt in (-0.1, 0.0, 0.1) for kelvin in (293.15, 298.15)
    ]
    calcium = [liquor.milligrams_per_litre("calcium") for liquor in liquors]
    assert min(calcium) <= found <= max(calcium)
    assert all(liquor.milligrams_per_litre("magnesium") <= measured("magnesium", "mg/L") for liquor in liquors)
    middle = statistics.median(calcium)
    factor = max(middle / found, found / middle)
    deviations.record("tiled stove liquor", "calcium (factor)", factor, 3.0, "pH as found")
    assert factor < 3.0
