"""The lime arithmetic against lime tables that others printed, and against a buffer capacity worked out by hand."""

from __future__ import annotations

import csv
from pathlib import Path
from statistics import median

import pytest

from feedcalc import published
from feedcalc.garden.liming import expected_shift, lime_requirement, soil_buffer
from feedcalc.uncertainty.estimates import Estimate

# NIST Handbook 44: pound and ounce avoirdupois, foot and yard. CaCO3 100.087, Ca(OH)2 74.093 g/mol (IUPAC).
POUND, OUNCE, FOOT, YARD = 453.59237, 28.349523125, 0.3048, 0.9144
GRAMS_PER_SQUARE_METRE = {
    "lb/100 ft2": POUND / (100 * FOOT**2),
    "lb/1000 ft2": POUND / (1000 * FOOT**2),
    "oz/yd2 hydrated": OUNCE / YARD**2 * 100.087 / 74.093,
    "g/m2": 1.0,
}


def rows() -> list[dict[str, str]]:
    text = (Path(__file__).parent / "lime_requirements.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


def name(row: dict[str, str]) -> str:
    return f"{row['source']}, {row['texture']} {row['ph_from']} to {row['ph_to']}"


@pytest.mark.parametrize("row", rows(), ids=name)
def test_the_printed_figure_stands_inside_the_range(row):
    need = lime_requirement(
        Estimate.exactly(float(row["ph_from"])), float(row["ph_to"]), row["texture"], float(row["depth_cm"])
    )
    assert need.low <= float(row["grams_per_m2"]) * 1.005, "printed figures are rounded"
    assert need.high >= float(row["grams_per_m2"]) * 0.995


@pytest.mark.parametrize("texture", ["sand", "loam", "clay", "peat"])
def test_the_typical_figure_stands_in_the_middle_of_the_tables(texture):
    per_unit = [
        float(row["grams_per_m2"]) / (float(row["ph_to"]) - float(row["ph_from"])) / float(row["depth_cm"]) * 15
        for row in rows()
        if row["texture"] == texture
    ]
    assert median(per_unit) / 1.5 <= soil_buffer(texture, 15).typical <= median(per_unit) * 1.5


@pytest.mark.parametrize("row", rows(), ids=name)
def test_the_check_itself_is_turned_into_grams_rightly(row):
    assert float(row["grams_per_m2"]) == pytest.approx(
        float(row["quoted"]) * GRAMS_PER_SQUARE_METRE[row["unit"]], rel=0.002
    )


def test_every_table_is_a_known_source():
    assert {row["source"] for row in rows()} <= set(published.sources())


@pytest.mark.parametrize(("texture", "lowest", "highest"), [("sand", 1, 2), ("loam", 2, 4), ("clay", 4, 8)])
def test_buffer_capacities_of_soil_science_stand_inside_the_range(texture, lowest, highest):
    # cmol of charge for each kg of soil and pH unit, from memory of soil science texts.
    # By hand: 1 cmol(c)/kg takes 0.01 x 100.087 / 2 = 0.500 g CaCO3 a kg. 15 cm at 1.3 kg/L is 195 kg to the square
    # metre, so 97.6 g CaCO3 per square metre for each cmol(c)/kg.
    buffer = soil_buffer(texture, 15)
    assert buffer.low <= highest * 97.6
    assert buffer.high >= lowest * 97.6
    assert lowest * 97.6 / 1.2 <= buffer.typical <= highest * 97.6 * 1.2


def test_ash_at_the_vermont_rate_moves_a_loam_by_about_an_eighth_of_a_unit():
    # By hand: 20 lb/1000 ft2 is 20 x 4.882 = 97.6 g/m2; at half strength of lime 48.8 g CaCO3 per square metre;
    # a loam of 370 g for each unit and 15 cm: 48.8 / 370 = 0.132.
    assert expected_shift(Estimate.exactly(48.8), "loam", 15).typical == pytest.approx(0.132, abs=0.001)
