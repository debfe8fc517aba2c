"""First guess for the equilibrium solver if there is no nearby solution to start from.

* pH by bisection on the charge balance of free ions, their acids and hydroxides, without other ion pairs, at an
  approximate ionic strength.
* Calcite, portlandite and brucite limit their ions in this step, because they determine the pH of ash. Then every
  other supersaturated mineral reduces its scarcest component to saturation.
* The bisection is written out for each system, as the solver's steps are (`feedcalc.chemistry.arithmetic`).
* The guess affects the number of solver steps and never the solution.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from itertools import chain

from feedcalc.chemistry.arithmetic import inputs
from feedcalc.chemistry.code_text import function_text, numbered, term, unpacked, weighted_sum
from feedcalc.chemistry.constants import HYDROGEN_ION
from feedcalc.chemistry.machine_code import machine_guess
from feedcalc.chemistry.prepared import prepared
from feedcalc.chemistry.solver import Search
from feedcalc.chemistry.system import CARBONATE, System

_BISECTIONS = 8
_LOWEST_LN_H, _HIGHEST_LN_H = -35.0, 2.0
_MAX_FIRST_STRENGTH = 0.7
_MAX_EXPONENT = 50.0
_MAX_SHIFT = 3.0
_MAX_STRENGTH = 3.0  # mol/kg

Simplified = Callable[..., tuple[list[float], list[float], float, float]]  # see `guess_text`


def start_from_totals(search: Search) -> None:
    """Set the state of ``search`` from its totals alone."""
    system = search.system
    free, ln_free, ln_h, strength = _simplified(system)(
        search.ln_k, search.conditions.laws, search.totals, search.mineral_ln_k
    )
    search.x = [math.log(max(amount, 1e-30)) - own for amount, own in zip(free, ln_free, strict=True)]
    search.x.append(ln_h)
    search.water_kg, search.ln_water = 1.0, 0.0
    search.solids = [0.0] * len(system.minerals)
    search.active = [_limited_by(search, m) for m in range(len(search.solids))]
    _include_ion_pairs(search, strength)


def _include_ion_pairs(search: Search, strength: float) -> None:
    """Scale components without a mineral to their totals, ion pairs included, and update the ionic strength."""
    system = search.system
    limited = {k for m, on in enumerate(search.active) if on for k, _ in system.mineral_parts[m]}
    _, sums, _, _ = search.amounts(search.x, strength, 0.0, 0.0)
    for k, total in enumerate(search.totals[:-1]):
        if k not in limited and sums[k] > 0.0:
            search.x[k] += max(-_MAX_SHIFT, min(math.log(total / sums[k]), _MAX_SHIFT))
    search.ionic_strength = min(max(sums[system.at_strength], 1e-8), _MAX_STRENGTH)


def _limited_by(search: Search, mineral: int) -> bool:
    """Return whether the guess is saturated with a mineral; reduce its scarcest component if supersaturated."""
    above = search.ln_saturation(mineral, search.x, search.ln_water)
    if above > 0.1:
        parts = [part for part in search.system.mineral_parts[mineral] if part[0] != search.system.count - 1]
        place, amount = min(parts, key=lambda part: search.totals[part[0]] / part[1])
        search.x[place] -= above / amount
    return above > -0.1


@lru_cache(maxsize=128)
def _simplified(system: System) -> Simplified:
    """Return the function with `guess_text`, compiled."""
    return prepared("guess", system) or machine_guess(guess_text(system))


def guess_text(system: System) -> str:
    """Return the function that solves a simplified system: free ions, their acids, minerals that determine pH.

    It takes ln_k, laws, totals and mineral_ln_k, and returns the free amounts, ln of molality per activity of the free
    ions, ln of the hydrogen ion activity, and the approximate ionic strength. Names in the text, by species i or
    component k: k ln K, g ln gamma, f ln of molality per activity, w molality relative to that of the free ion's
    activity, t total, u free amount, q charge per free ion with its acids; z ln K of a mineral.
    """
    ions = range(system.count - 1)
    series = system.acid_series
    with_acids = [k for k in ions if len(series[k]) > 1]
    limits = [_magnesium_limit(system), _calcium_limit(system)]
    hydrogen, hydroxide = system.position[HYDROGEN_ION], system.position["OH-"]
    carbonates = _carbonates_of_air(system)
    needed = {hydrogen, hydroxide, *carbonates, *chain.from_iterable(series)}
    singles = "".join(f" + t{system.index[name]}" for name in ("K+", "Na+", "NH4+", "Cl-") if name in system.index)
    powers = [f"f{i} {term(amount, 'middle')}".rstrip() for i, amount in enumerate(system.hydrogen)]
    charges = [(1.0, f"exp(middle + f{hydrogen})"), (-1.0, f"exp(f{hydroxide} - middle)")]
    charges += [(1.0, f"q{k} * u{k}") if k in with_acids else (system.charge[series[k][0]], f"u{k}") for k in ions]
    charges += [(system.charge[i], _exp(powers[i])) for i in carbonates]
    body = ["middle = 0.5 * (low + high)"]
    for k in with_acids:
        first = f"w{series[k][0]}"
        body += [f"w{i} = exp({powers[i]})" for i in series[k]]
        body += [f"u{k} = t{k} * {first} / ({' + '.join(f'w{i}' for i in series[k])})"]
        body += [f"q{k} = ({weighted_sum((system.charge[i], f'w{i}') for i in series[k])}) / {first}"]
    body += [line for lines in limits for line in lines]
    body += [f"if {weighted_sum(charges)} > 0.0:", "    high = middle", "else:", "    low = middle"]
    return function_text(
        "ln_k, laws, totals, mineral_ln_k",
        *inputs(system),
        *unpacked("z", len(system.minerals), "mineral_ln_k"),
        f"strength = min(1e-7{singles}, {_MAX_FIRST_STRENGTH!r})",
        "root = sqrt(strength)",
        *(f"g{i} = lb{i} * strength - ld{i} * root / (1.0 + lc{i} * root)" for i in range(len(system.examples))),
        *(f"f{i} = k{i} - g{law}" for i, law in enumerate(system.law_of) if i in needed),
        *(f"u{k} = t{k}" for k in ions),
        f"low = {_LOWEST_LN_H!r}",
        f"high = {_HIGHEST_LN_H!r}",
        f"bisections = {_BISECTIONS}",
        "for bisection in range(bisections):",
        *(f"    {line}" for line in body),
        f"return [{numbered('u', len(ions))}], [{''.join(f'f{own[0]}, ' for own in series)}], middle, strength",
    )


def _carbonates_of_air(system: System) -> list[int]:
    return [system.position[name] for name in (CARBONATE, "HCO3-") if system.is_open and name in system.position]


def _exp(power: str) -> str:
    return f"exp(min({power}, {_MAX_EXPONENT!r}))"


def _product(system: System, mineral: str, *ions: str, hydrogen: float = 0.0) -> str:
    """Return the product of the molalities of some ions that a mineral allows, with hydrogen ions on their side."""
    gammas = "".join(f" - g{system.law_of[system.position[name]]}" for name in ions)
    return _exp(f"z{system.minerals.index(mineral)}{gammas} {term(hydrogen, 'middle')}".rstrip())


def _magnesium_limit(system: System) -> list[str]:
    """Return the line that limits magnesium by brucite."""
    if "brucite" not in system.minerals:
        return []
    free = f"u{system.index['Mg+2']}"
    return [f"{free} = min({free}, {_product(system, 'brucite', 'Mg+2', hydrogen=2.0)})"]


def _calcium_limit(system: System) -> list[str]:
    """Return the lines that limit calcium by portlandite, a reservoir, and by calcite, which binds as much carbon."""
    if "Ca+2" not in system.index:
        return []
    place = system.index["Ca+2"]
    free, store = f"u{place}", f"t{place}"
    lines = []
    if "portlandite" in system.minerals:
        lines += [f"{free} = min({free}, {_product(system, 'portlandite', 'Ca+2', hydrogen=2.0)})"]
    if "calcite" not in system.minerals:
        return lines
    if system.is_open:
        return [*lines, f"{free} = min({free}, {_product(system, 'calcite', 'Ca+2', hydrogen=2.0)})"]
    carbonate, carbon = (f"{letter}{system.index[CARBONATE]}" for letter in "ut")
    return [
        *lines,
        f"share = {carbonate} / {carbon}",  # of dissolved carbon that is free carbonate
        f"product = {_product(system, 'calcite', 'Ca+2', CARBONATE)} / share",
        f"excess = {store} - {carbon}",
        f"if {free} < {store} and excess + product / {free} > {free}:",
        f"    left = min({carbon}, product / {free})",
        "else:",
        f"    if {free} * {carbon} <= product:",
        f"        left = {carbon}",
        "    else:",
        "        half_root = 0.5 * sqrt(excess * excess + 4.0 * product)",
        "        if excess > 0.0:",
        f"            {free} = half_root + 0.5 * excess",
        f"            left = product / {free}",
        "        else:",
        "            left = half_root - 0.5 * excess",
        f"            {free} = product / left",
        f"{carbonate} = left * share",
    ]
