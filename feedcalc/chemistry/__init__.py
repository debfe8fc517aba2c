"""Equilibrium chemistry of dilute waters: speciation, minerals, pH, alkalinity and conductivity. Independent of ash.

>>> liquor = equilibrate({"potassium": 0.05, "carbon": 0.025}, 288.15)
>>> round(liquor.ph, 1)
11.4
"""

from __future__ import annotations

from feedcalc.chemistry.equilibrium import ELEMENTS, MINERALS, Equilibrium, equilibrate

__all__ = ["ELEMENTS", "MINERALS", "Equilibrium", "equilibrate"]
