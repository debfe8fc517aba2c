"""The chosen constants against published standards: pH buffers, conductivity standards, solubilities."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from pathlib import Path

import pytest

from feedcalc.chemistry import Equilibrium, equilibrate


def published_rows() -> list[dict[str, str]]:
    lines = Path(__file__).with_name("chemistry_standards.csv").read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def solved(row: Mapping[str, str], celsius: float) -> Equilibrium:
    totals = {name: float(amount) for name, amount in (term.split("=") for term in row["totals"].split())}
    pressure = float(row["carbon_dioxide_atm"]) if row["carbon_dioxide_atm"] else None
    return equilibrate(totals, celsius + 273.15, row["minerals"].split(), pressure)


def ours(row: Mapping[str, str]) -> float:
    celsius = float(row["celsius"])
    if row["quantity"] == "conductivity_microsiemens":
        return 1000.0 * solved(row, celsius).conductivity_at(celsius + 273.15)
    result = solved(row, celsius)
    if row["quantity"] == "ph":
        return result.ph
    element = row["quantity"].removesuffix("_millimolal")
    return 1000.0 * result.dissolved[element]


@pytest.mark.parametrize(
    "row", published_rows(), ids=lambda row: f"{row['citation']}: {row['quantity']} at {row['celsius']} degC"
)
def test_meets_published_value(row, deviations):
    deviation = abs(ours(row) - float(row["value"]))
    relative = deviation if row["quantity"] == "ph" else deviation / float(row["value"])
    allowed = float(row["tolerance"])
    shown = allowed if row["quantity"] == "ph" else allowed / float(row["value"])
    deviations.record(row["citation"].split(":")[0], row["quantity"], relative, shown, f"{row['celsius']} degC")
    assert deviation <= allowed
