"""Molar masses of chemical formulas, from the element masses in the published table."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache

from feedcalc import published

_PART = re.compile(r"([A-Z][a-z]?|\(|\))(\d*)")


@cache
def molar_masses() -> Mapping[str, float]:
    """Grams per mol by element name (``element_masses.csv``)."""
    return {row["element"]: float(row["molar_mass_g_per_mol"]) for row in published.table("element_masses")}


@cache
def calcium_carbonate_grams_per_mol() -> float:
    """Molar mass of CaCO3, in which lime value, hardness and alkalinity are counted.

    >>> round(calcium_carbonate_grams_per_mol(), 2)
    100.09
    """
    return formula_grams_per_mol("CaCO3")


@cache
def formula_grams_per_mol(formula: str) -> float:
    """Molar mass of a formula such as ``Ca(NO3)2:4H2O``; a colon stands before bound water, a number may lead a part.

    Raises KeyError for an element that is in no table.

    >>> round(formula_grams_per_mol("Ca(NO3)2:4H2O"), 1)
    236.1
    """
    return sum(_mass_of(part) for part in formula.split(":"))


def _mass_of(part: str) -> float:
    leading = re.match(r"\d*", part)
    times = float(leading.group() or 1) if leading else 1.0
    open_groups = [0.0]
    for symbol, count in _PART.findall(part):
        if symbol == "(":
            open_groups.append(0.0)
        else:
            mass = open_groups.pop() if symbol == ")" else _masses()[symbol]
            open_groups[-1] += mass * float(count or 1)
    return times * open_groups[0]


@cache
def _masses() -> dict[str, float]:
    return {row["symbol"]: molar_masses()[row["element"]] for row in published.table("element_masses")}
