"""Molar masses of chemical formulas, from the element masses of ``element_masses.csv``."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache

from feedcalc import published

_PART = re.compile(r"([A-Z][a-z]?|\(|\))(\d*)")


@cache
def molar_masses() -> Mapping[str, float]:
    """Return the molar mass in g/mol by element name."""
    return {row["element"]: float(row["molar_mass_g_per_mol"]) for row in published.table("element_masses")}


@cache
def calcium_carbonate_grams_per_mol() -> float:
    """Return the molar mass of CaCO3 in g/mol, the reference for lime value, hardness and alkalinity.

    >>> round(calcium_carbonate_grams_per_mol(), 2)
    100.09
    """
    return formula_grams_per_mol("CaCO3")


@cache
def formula_grams_per_mol(formula: str) -> float:
    """Return the molar mass in g/mol of a formula such as ``Ca(NO3)2:4H2O``.

    A colon separates bound water, and a number may precede each part. Raises KeyError for an unknown element.

    >>> round(formula_grams_per_mol("Ca(NO3)2:4H2O"), 1)
    236.1
    """
    return sum(_mass_of(part) for part in formula.split(":"))


def _mass_of(part: str) -> float:
    leading = re.match(r"\d*", part)
    multiple = float(leading.group() or 1) if leading else 1.0
    open_groups = [0.0]
    for symbol, count in _PART.findall(part):
        if symbol == "(":
            open_groups.append(0.0)
        else:
            mass = open_groups.pop() if symbol == ")" else _masses()[symbol]
            open_groups[-1] += mass * float(count or 1)
    return multiple * open_groups[0]


@cache
def _masses() -> dict[str, float]:
    return {row["symbol"]: molar_masses()[row["element"]] for row in published.table("element_masses")}
