"""Water chemistry: what dissolves, what falls out, how alkaline and how salty it is. Knows no ash and no
gardens.

>>> liquor = equilibrate({"potassium": 0.05, "carbon": 0.025}, 288.15)
>>> round(liquor.ph, 1)
11.4
"""

from __future__ import annotations

from feedcalc.chemistry.equilibrium import ELEMENTS, MINERALS, Equilibrium, equilibrate

__all__ = ["ELEMENTS", "MINERALS", "Equilibrium", "equilibrate"]
