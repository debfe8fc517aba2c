"""Unit conversions against the definitions and tables of handbooks."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from feedcalc.contract.quantities import read_quantity
from feedcalc.contract.units import QUANTITY_KINDS, converted

LINES = Path(__file__).with_name("unit_conversions.csv").read_text(encoding="utf-8").splitlines()
ROWS = list(csv.DictReader(line for line in LINES if not line.startswith("#")))


@pytest.mark.parametrize(
    "row", ROWS, ids=[f"{row['value']} {row['unit']} in {row['expected_unit']}: {row['citation']}" for row in ROWS]
)
def test_a_unit_converts_by_its_definition(row):
    typed = read_quantity(f"{row['value']} {row['unit']}", row["kind"], "unit")
    worth = converted(typed.value, QUANTITY_KINDS[row["kind"]].base_unit, row["expected_unit"])
    assert worth == pytest.approx(float(row["expected"]), rel=1e-12, abs=float(row["tolerance"]) or 1e-9)
