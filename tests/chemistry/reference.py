"""The independent reference for equilibria: PHREEQC, by its Python wrapper, on its own database phreeqc.dat.

Phases and components that the database lacks are defined here from the same published table the package
uses, so that both sides solve the same problem. With ``constants="chosen"`` the rows in which the package
departs from the database are redefined too.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cache

from iapws._iapws import _Viscosity
from iapws.iapws97 import IAPWS97
from phreeqpython import PhreeqPython

from feedcalc import published

OXIDES = {
    "potassium": ("K2O", 0.5),
    "sodium": ("Na2O", 0.5),
    "calcium": ("CaO", 1.0),
    "magnesium": ("MgO", 1.0),
    "carbon": ("CO2", 1.0),
    "sulfur": ("H2SO4", 1.0),
    "chloride": ("HCl", 1.0),
    "phosphorus": ("H3PO4", 1.0),
    "silicon": ("SiO2", 1.0),
    "ammonia": ("Amm", 1.0),
    "acetate": ("HAcetate", 1.0),
    "citrate": ("H3Citrate", 1.0),
}
ELEMENTS = {
    "potassium": "K",
    "sodium": "Na",
    "calcium": "Ca",
    "magnesium": "Mg",
    "carbon": "C(4)",
    "sulfur": "S(6)",
    "chloride": "Cl",
    "phosphorus": "P",
    "silicon": "Si",
    "ammonia": "Amm",
    "acetate": "Acetate",
    "citrate": "Citrate",
}
# Nitrogen without redox, and the organic acids, are components of their own here.
MASTERS = """SOLUTION_MASTER_SPECIES
Amm AmmH+ 0.0 Amm 17.031
Acetate Acetate- 1.0 Acetate 59.045
Citrate Citrate-3 2.0 Citrate 189.102
SOLUTION_SPECIES
Acetate- = Acetate-
-log_k 0
Citrate-3 = Citrate-3
-log_k 0
AmmH+ = AmmH+
-log_k 0
-gamma 2.5 0"""
RENAMED = {"NH4": "AmmH", "NH3": "Amm", "CH3COO": "Acetate", "C6H5O7": "Citrate"}


@dataclass(frozen=True)
class ReferenceResult:
    """What PHREEQC found: amounts per kg of water put in, conductivity brought to 25 degC."""

    ph: float
    ionic_strength: float
    water_kg: float
    litres: float
    alkalinity: float
    conductivity: float
    dissolved: Mapping[str, float]
    formed: Mapping[str, float]


@cache
def engine(constants: str = "database") -> PhreeqPython:
    """A PHREEQC with the missing phases defined, and hydroxide pairs that conduct (the database lets them
    not).
    """
    phreeqc = PhreeqPython(database="phreeqc.dat")
    lines = [MASTERS, "PHASES"]
    for row in published.table("chem_minerals"):
        lines += [row["mineral"], f"{row['formula']} = {_right_side(row)}", *_constant_lines(row)]
    species = published.table("chem_species")
    diffusion = {row["species"]: row["diffusion"] for row in published.table("chem_conductivity")}
    departures = {row["species"] for row in species if row["used_by"] == "chosen"}
    lines.append("SOLUTION_SPECIES")
    for row in species:
        departs = row["used_by"] == "chosen" or (row["used_by"] == "database" and row["species"] not in departures)
        own = row["formed_from"] and any(name in row["species"] for name in RENAMED)
        hydroxide_pair = row["species"] in ("CaOH+", "MgOH+") and row["used_by"] in ("all", constants)
        if own or hydroxide_pair or (departs and constants == "chosen"):
            lines.append(f"{_left_side(row)} = {_with_products(row)}")
            lines += (
                ["-log_k -20", "-delta_h 0"]
                if row["used_by"] == "database" and departs and constants == "chosen"
                else _constant_lines(row)
            )
            if row["ion_size"]:
                lines.append(f"-gamma {row['ion_size']} {row['linear_term']}")
            if hydroxide_pair:
                lines.append(f"-dw {diffusion[row['species']]}e-9")
    lines.append("END")
    phreeqc.ip.run_string(_renamed("\n".join(lines)))
    return phreeqc


def reference_equilibrium(
    totals: Mapping[str, float],
    temperature_kelvin: float,
    minerals: Collection[str] = (),
    carbon_dioxide_atm: float | None = None,
    constants: str = "database",
) -> ReferenceResult:
    """PHREEQC's answer to the question that `feedcalc.chemistry.equilibrate` answers."""
    ip = engine(constants).ip
    ip.run_string(input_text(totals, temperature_kelvin, minerals, carbon_dioxide_atm))
    values = ip.get_selected_output_array()[-1]
    names = list(ELEMENTS)
    water = values[2]
    ph, strength, _, litres, alkalinity, conductivity = values[:6]
    dissolved = {name: values[6 + i] * water for i, name in enumerate(names)}
    formed = {name: values[6 + len(names) + i] for i, name in enumerate(minerals)}
    to_25 = _viscosity(temperature_kelvin) / _viscosity(298.15)
    return ReferenceResult(ph, strength, water, litres, alkalinity, conductivity * to_25 / 1000.0, dissolved, formed)


def input_text(
    totals: Mapping[str, float], temperature_kelvin: float, minerals: Collection[str], carbon_dioxide_atm: float | None
) -> str:
    """PHREEQC's input for one case."""
    lines = ["SOLUTION 1", f"temp {temperature_kelvin - 273.15:.10g}", "pH 7 charge", "water 1"]
    given = {name: amount for name, amount in totals.items() if amount > 0.0}
    if given:
        lines.append("REACTION 1")
        lines += [f"{OXIDES[name][0]} {amount * OXIDES[name][1]:.15g}" for name, amount in given.items()]
        lines.append("1 moles")
    if minerals or carbon_dioxide_atm is not None:
        lines.append("EQUILIBRIUM_PHASES 1")
        lines += [f"{name} 0 0" for name in minerals]
        if carbon_dioxide_atm is not None:
            lines.append(f"CO2(g) {math.log10(carbon_dioxide_atm):.12g} 1000")
    punch = ['-LA("H+")', "MU", 'TOT("water")', "SOLN_VOL", "ALK", "SC"]
    punch += [f'TOT("{symbol}")' for symbol in ELEMENTS.values()]
    punch += [f'EQUI("{name}")' for name in minerals]
    lines += ["SELECTED_OUTPUT 1", "-reset false", "-high_precision true", "USER_PUNCH 1"]
    lines += [f"{10 * (i + 1)} PUNCH {what}" for i, what in enumerate(punch)]
    lines.append("END")
    return "\n".join(lines)


def _renamed(text: str) -> str:
    for ours, theirs in RENAMED.items():
        text = text.replace(ours, theirs)
    return text


def _viscosity(kelvin: float) -> float:
    return float(_Viscosity(IAPWS97(T=kelvin, P=0.101325).rho, kelvin))


def _constant_lines(row: Mapping[str, str]) -> list[str]:
    lines = [f"-log_k {row['log_k']}"]
    if row["a1"]:
        lines.append("-analytic " + " ".join(row[f"a{i}"] or "0" for i in range(1, 7)))
    elif row["enthalpy_kj"]:
        lines.append(f"-delta_h {row['enthalpy_kj']} kJ/mol")
    return lines


def _split(text: str) -> tuple[list[str], list[str]]:
    plus, minus, sign = [], [], "+"
    term = ""
    for word in [*text.split(), "+"]:
        if word in "+-":
            (plus if sign == "+" else minus).append(term.strip())
            sign, term = word, ""
        else:
            term += " " + word
    return plus, minus


def _right_side(row: Mapping[str, str]) -> str:
    plus, minus = _split(row["dissolves_to"])
    return " + ".join(plus) + "".join(f" - {term}" for term in minus)


def _left_side(row: Mapping[str, str]) -> str:
    return " + ".join(_split(row["formed_from"])[0])


def _with_products(row: Mapping[str, str]) -> str:
    return " + ".join([row["species"], *_split(row["formed_from"])[1]])
