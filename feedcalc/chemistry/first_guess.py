"""First guess for the equilibrium solver if there is no nearby solution to start from.

* pH by bisection on the charge balance of free ions and their acids, without ion pairs, at an approximate ionic
  strength.
* Calcite, portlandite and brucite limit their ions in this step, because they determine the pH of ash. Then every
  other supersaturated mineral reduces its scarcest component to saturation.
* The guess affects the number of solver steps and never the solution.
"""

from __future__ import annotations

import math
from operator import mul

from feedcalc.chemistry.constants import HYDROGEN_ION
from feedcalc.chemistry.solver import Search
from feedcalc.chemistry.system import CARBONATE

_BISECTIONS = 7
_LOWEST_LN_H, _HIGHEST_LN_H = -35.0, 2.0
_MAX_FIRST_STRENGTH = 0.7
_MAX_EXPONENT = 50.0
_MAX_SHIFT = 3.0
_MAX_STRENGTH = 3.0  # mol/kg

Protonation = tuple[float, float, int]  # ln of molality per activity of the free ion, hydrogen ions, charge


def start_from_totals(search: Search) -> None:
    """Set the state of ``search`` from its totals alone."""
    guess = _Guess(search)
    ln_h = guess.ln_h()
    search.x = [
        math.log(max(free, 1e-30)) - own[0][0] for free, own in zip(guess.free, guess.protonations, strict=True)
    ]
    search.x.append(ln_h)
    search.water_kg, search.ln_water = 1.0, 0.0
    search.solids = [0.0] * len(search.system.minerals)
    search.active = [_limited_by(search, m) for m in range(len(search.solids))]
    _include_ion_pairs(search, guess.strength)


def _include_ion_pairs(search: Search, strength: float) -> None:
    """Scale components without a mineral to their totals, ion pairs included, and update the ionic strength."""
    system = search.system
    limited = {k for m, on in enumerate(search.active) if on for k, _ in system.mineral_parts[m]}
    _, sums, _, _ = search.amounts(search.x, strength, 0.0, 0.0)
    for k, total in enumerate(search.totals[:-1]):
        if k not in limited and sums[k] > 0.0:
            search.x[k] += max(-_MAX_SHIFT, min(math.log(total / sums[k]), _MAX_SHIFT))
    search.ionic_strength = min(max(sums[system.at_strength], 1e-8), _MAX_STRENGTH)


class _Guess:
    """A simplified solution: free ions, their acids, and the three minerals that determine pH."""

    def __init__(self, search: Search) -> None:
        system = search.system
        self.totals = search.totals
        self.last = system.count - 1
        self.is_open = system.is_open
        self.strength = self._approximate_strength(search)
        root = math.sqrt(self.strength)
        by_law = [b * self.strength - d * root / (1.0 + c * root) for d, c, b in search.conditions.laws]
        ln_gamma = [by_law[law] for law in system.law_of]
        ln_free = [k - g for k, g in zip(search.ln_k, ln_gamma, strict=True)]
        self.protonations: list[list[Protonation]] = [
            [(ln_free[i], system.hydrogen[i], system.charge[i]) for i in series] for series in system.acid_series
        ]
        self.hydroxide = ln_free[system.position["OH-"]]
        self.proton = ln_free[system.position[HYDROGEN_ION]]
        self.carbonates_of_air: list[Protonation] = [
            (ln_free[i], system.hydrogen[i], system.charge[i])
            for name, i in system.position.items()
            if self.is_open and name in (CARBONATE, "HCO3-")
        ]
        # Only ions with acids change their charge with pH.
        self.with_acids = [
            (place, [(k, n) for k, n, _ in own], [z for _, _, z in own])
            for place, own in enumerate(self.protonations)
            if len(own) > 1
        ]
        self.free = list(self.totals[: self.last])
        self.calcium = system.index.get("Ca+2")
        self.magnesium = system.index.get("Mg+2")
        self.carbon = None if self.is_open else system.index.get(CARBONATE)
        ln_k = dict(zip(system.minerals, search.mineral_ln_k, strict=True))
        ln_double = 0.0 if self.calcium is None else ln_gamma[system.position["Ca+2"]]
        self.brucite, self.lime = (
            ln_k[name] - ln_double if name in ln_k else None for name in ("brucite", "portlandite")
        )
        self.calcite = ln_k.get("calcite")
        if self.calcite is not None:
            self.calcite -= ln_double if self.is_open else 2.0 * ln_double
        self.fixed_charge = sum(
            own[0][2] * self.totals[place]
            for place, own in enumerate(self.protonations)
            if len(own) == 1 and place not in (self.calcium, self.magnesium)
        )

    def ln_h(self) -> float:
        """Return ln of the hydrogen ion activity at charge balance; ``free`` then holds the free amounts."""
        low, high = _LOWEST_LN_H, _HIGHEST_LN_H
        for _ in range(_BISECTIONS):
            middle = 0.5 * (low + high)
            if self._net_charge(middle) > 0.0:
                high = middle
            else:
                low = middle
        middle = 0.5 * (low + high)
        self._net_charge(middle)
        return middle

    def _approximate_strength(self, search: Search) -> float:
        index = search.system.index
        singles = [self.totals[index[name]] for name in ("K+", "Na+", "NH4+", "Cl-") if name in index]
        return min(_MAX_FIRST_STRENGTH, 1e-7 + sum(singles))

    def _net_charge(self, ln_h: float) -> float:
        totals, free, exp = self.totals, self.free, math.exp
        net = self.fixed_charge + exp(ln_h + self.proton) - exp(self.hydroxide - ln_h)
        charge_of = {}
        for place, species, charges in self.with_acids:
            weights = [exp(k + n * ln_h) for k, n in species]
            free[place] = totals[place] * weights[0] / sum(weights)
            charge_of[place] = sum(map(mul, charges, weights)) / weights[0]
        if self.magnesium is not None:
            free[self.magnesium] = totals[self.magnesium]
            if self.brucite is not None:
                free[self.magnesium] = min(free[self.magnesium], _exp(self.brucite + 2.0 * ln_h))
            net += 2.0 * free[self.magnesium]
        if self.calcium is not None:
            self._limit_calcium(ln_h)
            net += 2.0 * free[self.calcium]
        for place, charge in charge_of.items():
            net += charge * free[place]
        for k, n, z in self.carbonates_of_air:
            net += z * _exp(k + n * ln_h)
        return net

    def _limit_calcium(self, ln_h: float) -> None:
        """Limit calcium by portlandite, a reservoir of it, and by calcite, which binds equal amounts of Ca and C."""
        assert self.calcium is not None
        free, store = self.free, self.totals[self.calcium]
        dissolved = store
        if self.lime is not None:
            dissolved = min(dissolved, _exp(self.lime + 2.0 * ln_h))
        free[self.calcium] = dissolved
        if self.calcite is None:
            return
        if self.is_open:
            free[self.calcium] = min(dissolved, _exp(self.calcite + 2.0 * ln_h))
            return
        if self.carbon is None:
            return
        inorganic = self.totals[self.carbon]
        share = free[self.carbon] / inorganic  # of dissolved carbon that is free carbonate
        product = _exp(self.calcite) / share
        if dissolved < store and store - inorganic + product / dissolved > dissolved:
            left = min(inorganic, product / dissolved)
        elif store * inorganic <= product:
            dissolved, left = store, inorganic
        else:
            excess = store - inorganic
            half_root = 0.5 * math.sqrt(excess * excess + 4.0 * product)
            if excess > 0.0:
                dissolved = half_root + 0.5 * excess
                left = product / dissolved
            else:
                left = half_root - 0.5 * excess
                dissolved = product / left
        free[self.calcium] = dissolved
        free[self.carbon] = left * share


def _limited_by(search: Search, mineral: int) -> bool:
    """Return whether the guess is saturated with a mineral; reduce its scarcest component if supersaturated."""
    above = search.ln_saturation(mineral, search.x, search.ln_water)
    if above > 0.1:
        parts = [part for part in search.system.mineral_parts[mineral] if part[0] != search.system.count - 1]
        place, amount = min(parts, key=lambda part: search.totals[part[0]] / part[1])
        search.x[place] -= above / amount
    return above > -0.1


def _exp(power: float) -> float:
    return math.exp(min(power, _MAX_EXPONENT))
