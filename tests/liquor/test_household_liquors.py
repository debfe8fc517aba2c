"""Ash of unknown state against what households, dyers and potash makers report: it is not the hot end by default."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

import pytest

from feedcalc.garden.ash import ash_of
from feedcalc.garden.water import water_of_kind
from feedcalc.liquor.steeping import steep
from feedcalc.uncertainty.estimates import Estimate, estimate_of, latin_hypercube

KELVIN = 293.15
USUAL_GRAMS = 20.0  # per litre


def rows_of(name: str) -> list[dict[str, str]]:
    lines = (Path(__file__).parent / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


REPORTS, YIELDS = rows_of("household_liquors.csv"), rows_of("potash_yields.csv")
LIQUORS = [row for row in REPORTS if row["comparable"] == "yes"]


@cache
def ph_of_samples(grams_per_litre: float = USUAL_GRAMS, kind: str = "rain") -> tuple[float, ...]:
    """The pH at 25 degC of liquor of mixed ash whose state nobody knows, the typical one first."""
    ash, water = ash_of("mixed", "unknown"), water_of_kind(kind)
    samples = [ash.typical(), *(ash.sample_at(row) for row in latin_hypercube(sorted(ash.unknowns), 60, 1))]
    return tuple(steep(sample, grams_per_litre, water, KELVIN, 24.0).liquor.ph_25 for sample in samples)


def ph_range(grams_per_litre: float = USUAL_GRAMS, kind: str = "rain") -> Estimate:
    typical, *ph = ph_of_samples(grams_per_litre, kind)
    return estimate_of(ph, typical)


@pytest.mark.parametrize("row", LIQUORS, ids=[row["what"] for row in LIQUORS])
def test_the_default_range_reaches_every_reported_liquor_of_comparable_strength(row):
    width = float(row["width"])
    assert ph_range().low <= float(row["ph_high"]) + width
    assert ph_range().high >= float(row["ph_low"]) - width


@pytest.mark.parametrize("row", REPORTS, ids=[row["what"] for row in REPORTS])
def test_a_plausible_ash_gives_every_report_at_its_own_strength(row):
    # Where nobody told the ratio: from that of a bucket of liquor to a thick steep.
    strengths = [float(row["grams_per_litre"])] if row["grams_per_litre"] else [USUAL_GRAMS, 200.0]
    low, high = float(row["ph_low"]) - float(row["width"]), float(row["ph_high"]) + float(row["width"])
    assert min(ph_of_samples(strengths[0], row["water"])) <= high
    assert max(ph_of_samples(strengths[-1], row["water"])) >= low
    ranges = [ph_range(strength, row["water"]) for strength in strengths]
    is_in_range = ranges[0].low <= high and ranges[-1].high >= low
    assert is_in_range == (row["beyond"] == "no")


def test_reports_lie_on_both_sides_of_the_typical_liquor():
    lower = sum(float(row["ph_high"]) < ph_range().typical for row in LIQUORS)
    higher = sum(float(row["ph_low"]) > ph_range().typical for row in LIQUORS)
    assert lower >= 2
    assert higher >= 2


@pytest.mark.parametrize("state", ["unknown", "fresh"])
@pytest.mark.parametrize("row", YIELDS, ids=[row["what"] for row in YIELDS])
def test_soluble_potassium_is_what_potash_makers_got(row, state):
    ash = ash_of("hardwood", state)
    content, reachable = ash.unknowns["content.potassium"], ash.unknowns["reachable.potassium"]
    assert content.low * reachable.low <= float(row["low"])
    assert content.high * reachable.high >= float(row["high"])


def test_typical_soluble_potassium_lies_among_the_yields_of_potash():
    typical = ash_of("hardwood", "unknown").typical()
    soluble = typical.grams_per_kilogram["potassium"] * typical.reachable["potassium"]
    assert min(float(row["low"]) for row in YIELDS) <= soluble <= max(float(row["high"]) for row in YIELDS)
