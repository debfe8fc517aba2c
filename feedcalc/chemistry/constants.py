"""Thermodynamic constants of dissolved species, minerals and gases as functions of temperature.

* Every number is in ``published/chem_*.csv``, with its source.
* A reaction consists of amounts of components (hydrogen ion, water and one ion per element) and six
  coefficients of log10 K(T) = a1 + a2 T + a3/T + a4 log10 T + a5/T^2 + a6 T^2. A constant at 25 degC with an
  enthalpy has the same form with a1 and a3 only (van 't Hoff), so reactions add by adding coefficients.
* Two sets exist: ``chosen``, the default, and ``database``, the public database unchanged, on which the solver is
  compared with the reference program. They differ only in rows that give the reason in the table.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from functools import cache, lru_cache

from feedcalc import published
from feedcalc.frozen import frozen
from feedcalc.words.errors import PublishedDataError

CONSTANT_SETS = ("chosen", "database")
HYDROGEN_ION = "H+"
WATER = "H2O"
GAS_CONSTANT_KJ_PER_MOL_K = 8.314462618e-3  # exact by definition of the SI (2019)
REFERENCE_KELVIN = 298.15
LN10 = math.log(10.0)

_TERM = re.compile(r"\s*(?:([+-])\s+)?(?:(\d+)\s+)?(\S+)")


@frozen
class Reaction:
    """A reaction: stoichiometric amounts of the components, and the coefficients of log10 K(T)."""

    components: Mapping[str, float]
    coefficients: tuple[float, ...]

    def log_k(self, temperature_kelvin: float) -> float:
        """Return log10 K at a temperature in kelvin."""
        a1, a2, a3, a4, a5, a6 = self.coefficients
        kelvin = temperature_kelvin
        return a1 + a2 * kelvin + a3 / kelvin + a4 * math.log10(kelvin) + a5 / kelvin**2 + a6 * kelvin**2


@frozen
class Species:
    """A dissolved species, its formation from the components, and the parameters of its activity coefficient."""

    name: str
    charge: int
    formation: Reaction
    ion_size_angstrom: float | None
    linear_term: float | None


@frozen
class Element:
    """An element: its component, and the hydrogen ions and water that its neutral oxide or acid adds with it."""

    name: str
    component: str
    hydrogen: float
    water: float
    alkalinity: float
    gram_per_mol: float


@frozen
class ConstantSet:
    """Species, minerals and gases of one set; ``minerals`` and ``gases`` hold dissolution reactions."""

    name: str
    species: tuple[Species, ...]
    minerals: Mapping[str, Reaction]
    gases: Mapping[str, Reaction]
    elements: Mapping[str, Element]
    water_gram_per_mol: float

    def log_k_of_species(self, temperature_kelvin: float) -> tuple[float, ...]:
        """Return log10 K of formation of every species, in the order of ``species``."""
        return _log_k_of_species(self.name, temperature_kelvin)

    def log_k_of_minerals(self, temperature_kelvin: float) -> Mapping[str, float]:
        """Return log10 K of dissolution of every mineral."""
        return _log_k_of_minerals(self.name, temperature_kelvin)


@cache
def constant_set(name: str = "chosen") -> ConstantSet:
    """Return the set ``chosen`` or ``database``. Raises `ValueError` for another name.

    >>> round(constant_set().minerals["calcite"].log_k(298.15), 2)
    -8.48
    """
    if name not in CONSTANT_SETS:
        raise ValueError(f"no such set of constants: {name!r}; there are {CONSTANT_SETS}")
    species: dict[str, Species] = {}
    for row in _rows("chem_species", name):
        if row["formed_from"]:
            formation = _composed(row["formed_from"], species, row)
        else:
            formation = Reaction({row["species"]: 1.0}, (0.0,) * 6)
        species[row["species"]] = Species(
            name=row["species"],
            charge=int(row["charge"]),
            formation=formation,
            ion_size_angstrom=_number_or_none(row["ion_size"]),
            linear_term=_number_or_none(row["linear_term"]),
        )
    minerals = {
        row["mineral"]: _composed(row["dissolves_to"], species, row, dissolving=True)
        for row in _rows("chem_minerals", name)
    }
    gases = {
        row["gas"]: _composed(row["dissolves_to"], species, row, dissolving=True) for row in _rows("chem_gases", name)
    }
    return ConstantSet(
        name=name,
        species=tuple(species.values()),
        minerals=minerals,
        gases=gases,
        elements=_elements(),
        water_gram_per_mol=_formula_mass("H2O", _atomic_masses()),
    )


@lru_cache(maxsize=1024)
def _log_k_of_species(name: str, temperature_kelvin: float) -> tuple[float, ...]:
    return tuple(one.formation.log_k(temperature_kelvin) for one in constant_set(name).species)


@lru_cache(maxsize=1024)
def _log_k_of_minerals(name: str, temperature_kelvin: float) -> Mapping[str, float]:
    return {key: one.log_k(temperature_kelvin) for key, one in constant_set(name).minerals.items()}


def _rows(table: str, set_name: str) -> list[Mapping[str, str]]:
    return [row for row in published.table(table) if row["used_by"] in ("all", set_name)]


def _elements() -> Mapping[str, Element]:
    masses = _atomic_masses()
    return {
        row["element"]: Element(
            name=row["element"],
            component=row["component"],
            hydrogen=float(row["hydrogen"]),
            water=float(row["water"]),
            alkalinity=float(row["alkalinity"]),
            gram_per_mol=_formula_mass(row["weighed_as"], masses),
        )
        for row in published.table("chem_elements")
    }


def _atomic_masses() -> Mapping[str, float]:
    return {row["symbol"]: float(row["molar_mass_g_per_mol"]) for row in published.table("element_masses")}


def _formula_mass(formula: str, masses: Mapping[str, float]) -> float:
    return sum(masses[symbol] * int(count or 1) for symbol, count in re.findall(r"([A-Z][a-z]?)(\d*)", formula))


def _composed(text: str, species: Mapping[str, Species], row: Mapping[str, str], dissolving: bool = False) -> Reaction:
    """Return the reaction of a row in terms of components.

    The constants of species in ``text`` that are not components are added, or subtracted for a mineral or gas, whose
    reaction is a dissolution to them.
    """
    components: dict[str, float] = {}
    coefficients = list(_own_coefficients(row))
    for sign, count, name in _TERM.findall(text):
        amount = float(count or 1) * (-1.0 if sign == "-" else 1.0)
        if name == WATER:
            components[WATER] = components.get(WATER, 0.0) + amount
            continue
        if name not in species:
            raise PublishedDataError(f"chemistry tables: {text!r} names {name!r}, which is not defined above it")
        part = species[name].formation
        for component, share in part.components.items():
            components[component] = components.get(component, 0.0) + amount * share
        direction = -amount if dissolving else amount
        coefficients = [own + direction * other for own, other in zip(coefficients, part.coefficients, strict=True)]
    return Reaction({name: amount for name, amount in components.items() if amount}, tuple(coefficients))


def _own_coefficients(row: Mapping[str, str]) -> tuple[float, ...]:
    if row["a1"]:
        return tuple(float(row[f"a{index}"] or 0.0) for index in range(1, 7))
    enthalpy_term = float(row["enthalpy_kj"] or 0.0) / (LN10 * GAS_CONSTANT_KJ_PER_MOL_K)
    return (float(row["log_k"]) + enthalpy_term / REFERENCE_KELVIN, 0.0, -enthalpy_term, 0.0, 0.0, 0.0)


def _number_or_none(text: str) -> float | None:
    return float(text) if text else None
