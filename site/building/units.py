"""What a unit is in base units: ``python -m building.units`` in the folder site, after a unit was added or changed.

pint reads the definitions of ``units.txt`` and fills in ``unit_scales.csv``. The package needs no more, so neither the
page nor the command line loads pint. A new row has ``unit``, our name, and ``definition``, pint's; the rest is written
here. A test holds the table to what pint makes of it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from fractions import Fraction
from typing import Any

import pint

from building.ingredients import ROOT

DEFINITIONS = ROOT / "feedcalc" / "contract" / "units.txt"
TABLE = ROOT / "feedcalc" / "contract" / "unit_scales.csv"
# The base units of units.txt, each with its column.
DIMENSIONS = {
    "metre": "[length]",
    "gram": "[mass]",
    "second": "[time]",
    "kelvin": "[temperature]",
    "siemens": "[conductance]",
    "as_caco3": "[calcium_carbonate_equivalent]",
}


def scales(written: str) -> str:
    """Return a table of units with what pint works out of ``unit`` and ``definition``, as exact fractions."""
    lines = DEFINITIONS.read_text(encoding="utf-8").splitlines()
    registry: Any = pint.UnitRegistry(lines, on_redefinition="raise", cache_folder=None, non_int_type=Fraction)
    target = io.StringIO()
    table = csv.writer(target, lineterminator="\n")
    table.writerow(("unit", "definition", "size", "zero", *DIMENSIONS))
    table.writerows(_row(registry, row) for row in csv.DictReader(written.splitlines()))
    return target.getvalue()


def _row(registry: Any, row: Mapping[str, str]) -> tuple[str, ...]:
    zero, one = (registry.Quantity(Fraction(number), row["definition"]).to_root_units() for number in (0, 1))
    exponents = (str(zero.dimensionality.get(name, "")) for name in DIMENSIONS.values())
    return (row["unit"], row["definition"], str(one.magnitude - zero.magnitude), str(zero.magnitude), *exponents)


if __name__ == "__main__":
    TABLE.write_text(scales(TABLE.read_text(encoding="utf-8")), encoding="utf-8")
