"""Measured water extracts of wood ash, compared with the chemistry for the same amounts."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from feedcalc.chemistry import Equilibrium, equilibrate
from feedcalc.published import table

KELVIN = 298.15  # none of the sources gives its temperature; room temperature is taken
GRAMS_PER_MOL = {"potassium": 39.098, "sodium": 22.990, "sulfur": 32.06, "calcium": 40.078, "chloride": 35.45}


def extract(name: str) -> dict[str, dict[str, str]]:
    """Return the rows of one extract (not fractions) by quantity."""
    text = Path(__file__).with_name("ash_extracts.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    return {row["quantity"]: row for row in rows if row["extract"] == name and row["unit"] != "share"}


def stove_liquor_at(ph: float) -> Equilibrium:
    """Return a liquor with the measured K, Na and S of the tiled stove, excess calcite, and CO2 to reach this pH."""
    measured = extract("tiled_stove")
    totals = {
        element: float(measured[element]["value"]) / 1000 / GRAMS_PER_MOL[element]
        for element in ("potassium", "sodium", "sulfur")
    }
    low, high = 0.0, 0.1
    for _ in range(40):
        carbon = (low + high) / 2
        liquor = equilibrate(
            {**totals, "calcium": 0.1, "magnesium": 0.01, "carbon": 0.08 + carbon}, KELVIN, ("calcite", "brucite")
        )
        low, high = (carbon, high) if liquor.ph > ph else (low, carbon)
    return liquor


def test_a_stove_liquor_of_the_measured_ph_has_the_measured_calcium_and_magnesium() -> None:
    # Two readings of one extract, pH 12.5 (read to 0.1) and 0.69 mg/L Ca: calcite must tie them together.
    measured = extract("tiled_stove")
    ph, spread = float(measured["ph"]["value"]), float(measured["ph"]["spread"])
    weaker, stronger = stove_liquor_at(ph - spread), stove_liquor_at(ph + spread)
    calcium = float(measured["calcium"]["value"])
    assert weaker.milligrams_per_litre("calcium") < calcium < stronger.milligrams_per_litre("calcium")
    assert 0.5 < stove_liquor_at(ph).milligrams_per_litre("calcium") / calcium < 2.0
    assert stove_liquor_at(ph).milligrams_per_litre("magnesium") < float(measured["magnesium"]["value"])


@pytest.mark.parametrize("state", ["fresh", "aged"])
def test_an_extract_of_one_part_ash_in_five_has_the_conductivity_of_kitchen_ash(state: str) -> None:
    # Neina 2020, Table 1: 33 mS/cm (firewood), standard deviation 14 over all samples; 200 g to a litre.
    measured = extract("kitchen_firewood")["ec"]
    litre_grams = float(measured["ash_grams_per_litre"])
    content = {row["element"]: float(row["typical"]) for row in table("ash_composition") if row["kind"] == "mixed"}
    reachable = {row["element"]: float(row["typical"]) for row in table("ash_soluble") if row["kind"] == "any"}
    lime = {row["quantity"]: float(row["typical"]) for row in table("ash_state") if row["state"] == state}
    mol = {
        element: content[element] * litre_grams / 1000 / mass * reachable.get(element, 1 - lime["inert_share"])
        for element, mass in GRAMS_PER_MOL.items()
    }
    carbonate_of_lime = mol["calcium"] - content["calcium"] * litre_grams / 1000 / 40.078 * lime["free_lime_share"]
    alkali = mol["potassium"] + mol["sodium"] - 2 * mol["sulfur"] - mol["chloride"]
    liquor = equilibrate(
        {**mol, "carbon": alkali / 2 + carbonate_of_lime}, KELVIN, ("calcite", "portlandite", "gypsum")
    )
    assert liquor.conductivity == pytest.approx(float(measured["value"]), abs=float(measured["spread"]))
