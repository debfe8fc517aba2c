"""The solver's Newton iterations for one system, written out without loops over its species, and compiled.

* A system and its active minerals are compiled once they have been solved so often that it pays. The wheel brings what
  is solved often (`feedcalc.chemistry.prepared`).
* Every sum has the terms of `feedcalc.chemistry.solver` in the same order, so results agree to the last bit. Terms
  that are always zero are left out.
* The solver's general methods serve what is rarely solved, and equations with a vanishing pivot.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from functools import lru_cache

from feedcalc.chemistry.code_text import extreme, function_text, numbered, term, unpacked, weighted_sum
from feedcalc.chemistry.machine_code import compiled, machine_newton
from feedcalc.chemistry.prepared import prepared
from feedcalc.chemistry.system import System

MAX_EXPONENT = 100.0
MIN_PIVOT = 1e-300
MIN_MINERAL_PIVOT = 1e-9  # stoichiometric coefficients are small integers
MAX_RESIDUAL = 1e-10  # a tenth of the accepted balance error, as a margin for rounding
MAX_GAP = 1e-9  # of ln saturation, and relative gap of ionic strength and water
MAX_STEP = 6.0  # natural-log units
MAX_WATER_STEP = 0.7
MIN_LN_KG = -6.0  # less than 1/400 of the water remains
STEPS_BEFORE_COMPILING = 20  # compiling takes about as long as they do

# Why Newton steps ended: `GOES_ON` where they are used up, `UNDETERMINED` where these equations have no solution.
CONVERGED, OTHER_MINERALS, TOO_DRY, UNDETERMINED, GOES_ON = range(5)

Amounts = Callable[..., tuple[list[float], list[float], list[float], list[float]]]
# Why it ended, steps taken, x, strength, ln_kg, ln_water, solids, moles, largest relative residual; the last two have a
# meaning only where it converged.
NewtonResult = tuple[int, int, list[float], float, float, float, list[float], list[float], float]
# Arguments: ln_k, laws, totals, water_total, mineral_ln_k, x, strength, ln_kg, ln_water, solids (of the active
# minerals), steps, water_slope, mol_water_per_kg.
Newton = Callable[..., NewtonResult]
Cell = str | float  # a variable, or a number that is known beforehand


class Arithmetic:
    """The compiled functions of a system.

    ``amounts`` takes the place of `Search.amounts`; None until Newton steps of the system are compiled, unless the
    wheel brought it.
    """

    def __init__(self, system: System) -> None:
        self.amounts: Amounts | None = prepared("amounts", system)
        self._system = system
        self._newton: dict[tuple[int, ...], Newton | None] = {}
        self._asked = Counter[tuple[int, ...]]()

    def newton(self, active_minerals: tuple[int, ...]) -> Newton | None:
        """Return the function that takes Newton steps with these active minerals, compiled if asked for often.

        None before that, and if the plan of elimination never works for these minerals.
        """
        if active_minerals in self._newton:
            return self._newton[active_minerals]
        system = self._system
        function: Newton | None = prepared("newton", system, active_minerals)
        if function is None:
            self._asked[active_minerals] += 1
            if self._asked[active_minerals] <= STEPS_BEFORE_COMPILING:
                return None
            text = newton_text(system, active_minerals)
            function = None if text is None else machine_newton(text) or compiled(text)
        if self.amounts is None:
            self.amounts = compiled(amounts_text(system))
        self._newton[active_minerals] = function
        return function


@lru_cache(maxsize=128)
def arithmetic_of(system: System) -> Arithmetic:
    """Return the cached arithmetic of a system."""
    return Arithmetic(system)


def amounts_text(system: System) -> str:
    """Return the function from the unknowns to moles, sums, residuals and scales of the balances."""
    count = system.count
    return function_text(
        "ln_k, laws, totals, x, strength, ln_kg, ln_water",
        *inputs(system),
        *unpacked("x", system.count, "x"),
        *_powers(system),
        f"if {extreme('max', 'p', len(system.names))} > {MAX_EXPONENT!r}:",
        f"    {numbered('p', len(system.names))} = [min(power, {MAX_EXPONENT!r}) for power in "
        f"({numbered('p', len(system.names))})]",
        *_moles_and_sums(system),
        f"balance = [{', '.join(f's{k} - t{k}' for k in range(count))}]",
        f"scales = [{', '.join(_scales(system))}]",
        f"return [{numbered('m', len(system.names))}], [{numbered('s', system.size)}], balance, scales",
    )


def inputs(system: System) -> list[str]:
    """Return the lines that name the ln K of a system's species, its activity laws and its totals: k, ld lc lb, t."""
    laws = "".join(f"(ld{i}, lc{i}, lb{i}), " for i in range(len(system.examples)))
    return [*unpacked("k", len(system.names), "ln_k"), f"{laws} = laws", *unpacked("t", system.count, "totals")]


def _powers(system: System) -> list[str]:
    """Return the lines for ln moles of each species, ``p``."""
    count, hydrogen = system.count, system.count - 1
    lines = ["root = sqrt(strength) if strength > 1e-14 else 1e-7"]
    lines += [
        f"o{i} = ln_kg + ld{i} * root / (1.0 + lc{i} * root) - lb{i} * strength" for i in range(len(system.examples))
    ]
    for i, (first, second, protons, water, law) in enumerate(system.species_formulas):
        terms = [f"k{i}", *(f"+ x{place}" for place in (first, second) if place < count)]
        terms += [term(protons, f"x{hydrogen}"), term(water, "ln_water"), f"+ o{law}"]
        lines.append(f"p{i} = {' '.join(filter(None, terms))}")
    return lines


def _moles_and_sums(system: System) -> list[str]:
    """Return the lines for the moles of each species, ``m``, and their sums, ``s``."""
    moles = [f"m{i} = exp(p{i})" for i in range(len(system.names))]
    return moles + [f"s{k} = {_sum_over_species(system, k, 'm')}" for k in range(system.size)]


def _scales(system: System) -> list[str]:
    """Return what the residual of each balance is relative to."""
    hydrogen = system.count - 1
    gross = ", ".join(weighted_sum([(v, f"m{i}")]) for i, v in enumerate(system.gross_hydrogen) if v)
    acid = f"abs(t{hydrogen}) + abs(s{hydrogen}) + sum(({gross}))"
    return [*(f"t{k} + s{k}" for k in range(hydrogen)), acid]


def newton_text(system: System, active_minerals: tuple[int, ...]) -> str | None:
    """Return the function that takes Newton steps with these active minerals; see `Newton`.

    None if the minerals are linearly dependent, or if a pivot always vanishes. The text has assignments, ``if`` and
    one loop, and of functions abs, exp, max, min, sqrt and sum only.
    """
    count, size = system.count, system.size
    strength, water, activity = system.at_strength, system.at_water, system.at_activity
    places = range(len(active_minerals))
    unknowns = f"[{numbered('x', count)}], strength, ln_kg, ln_water, [{numbered('n', len(active_minerals))}]"
    undetermined = f"return {UNDETERMINED}, step, {unknowns}, [], 0.0"
    equations = _equations(system, active_minerals, undetermined)
    if equations is None:
        return None
    balances, scales = [f"s{k} - t{k}" for k in range(count)], _scales(system)
    water_gap = f"s{water} - water_total + mol_water_per_kg * water_kg"
    for place, m in enumerate(active_minerals):
        for k, v in system.mineral_parts[m]:
            balances[k] += f" {term(v, f'n{place}')}"
            scales[k] += f" + abs({weighted_sum([(v, f'n{place}')])})"
        water_gap += f" {term(system.mineral_water[m], f'n{place}')}"
    inactive = [m for m in range(len(system.minerals)) if m not in active_minerals]
    other_minerals = [f"n{place} <= 0.0" for place in places]
    other_minerals += [f"{_ln_saturation(system, m)} > {MAX_GAP!r}" for m in inactive]
    are_others = " or ".join(other_minerals) or "0.0 > 1.0"
    with_others = f"return {OTHER_MINERALS}, step + 1, {unknowns}, [], 0.0"
    moles = numbered("m", len(system.names))
    residuals = [f"abs(y{k}) / (e{k} if e{k} != 0.0 else 1.0)" for k in range(count)]
    closed = [
        f"error < {MAX_RESIDUAL!r}",
        *(f"abs(y{size + place}) < {MAX_GAP!r}" for place in places),
        f"abs(y{strength}) <= {MAX_GAP!r} * strength * water_kg",
        f"abs(y{water}) <= {MAX_GAP!r} * water_kg",
        f"abs(y{activity}) <= {MAX_GAP!r}",
    ]
    not_finite = " + ".join(f"(c{k} - c{k})" for k in range(size + len(active_minerals)))
    body = [
        *_powers(system),
        f"if {extreme('max', 'p', len(system.names))} > {MAX_EXPONENT!r}:",
        f"    {undetermined}",
        *_moles_and_sums(system),
        "water_kg = exp(ln_kg)",
        "activity = exp(ln_water)",
        *(f"y{k} = -({balance})" for k, balance in enumerate(balances)),
        f"y{strength} = -(s{strength} - water_kg * strength)",
        f"y{water} = -({water_gap})",
        f"y{activity} = -(activity - 1.0 + water_slope * sum(({moles})) / water_kg)",
        *(f"y{size + place} = -({_ln_saturation(system, m)})" for place, m in enumerate(active_minerals)),
        *(f"e{k} = {scale}" for k, scale in enumerate(scales)),
        f"error = max({', '.join(residuals)}, 0.0)",
        f"if {' and '.join(closed)}:",
        f"    if {are_others}:",
        f"        {with_others}",
        f"    return {CONVERGED}, step, {unknowns}, [{moles}], error",
        *_derivatives(system),
        *equations,
        f"if {not_finite} != 0.0:",
        f"    {undetermined}",
        f"longest = max({extreme('max', 'c', count)}, -{extreme('min', 'c', count)})",
        f"if longest > {MAX_STEP!r}:",
        *(f"    c{k} = min(max(c{k}, {-MAX_STEP!r}), {MAX_STEP!r})" for k in range(count)),
        *(f"x{k} = x{k} + c{k}" for k in range(count)),
        f"strength = min(max(strength + c{strength}, 0.2 * strength), 5.0 * strength + 1e-7)",
        f"ln_kg = ln_kg + min(max(c{water}, {-MAX_WATER_STEP!r}), {MAX_WATER_STEP!r})",
        f"ln_water = min(max(ln_water + c{activity}, ln_water - 0.5, -3.0), 0.0)",
        f"if ln_kg < {MIN_LN_KG!r}:",
        f"    return {TOO_DRY}, step + 1, {unknowns}, [], 0.0",
        *(f"n{place} = n{place} + c{size + place}" for place in places),
        f"if longest < 1.0 and ({are_others}):",
        f"    {with_others}",
    ]
    return function_text(
        "ln_k, laws, totals, water_total, mineral_ln_k, x, strength, ln_kg, ln_water, solids, steps, water_slope, "
        "mol_water_per_kg",
        *inputs(system),
        *unpacked("x", system.count, "x"),
        *unpacked("z", len(system.minerals), "mineral_ln_k"),
        *unpacked("n", len(active_minerals), "solids"),
        "for step in range(steps):",
        *(f"    {line}" for line in body),
        f"return {GOES_ON}, steps, {unknowns}, [], 0.0",
    )


def _ln_saturation(system: System, mineral: int) -> str:
    """Return ln of ion product over solubility constant of a mineral."""
    terms = [term(v, f"x{k}") for k, v in system.mineral_parts[mineral]]
    water = weighted_sum([(system.mineral_water[mineral], "ln_water")]) if system.mineral_water[mineral] else ""
    return " ".join([f"{water} - z{mineral}" if water else f"-z{mineral}", *terms])


def _jacobian(system: System) -> tuple[dict[str, str], dict[str, str], dict[tuple[int, int], str]]:
    """Return the entries of the Jacobian without minerals: expressions by name twice, and the name in each cell.

    Far from the ionic strength the entries of the second kind are zero, except the diagonal of the ionic strength.
    """
    size, count = system.size, system.count
    strength, water, activity = system.at_strength, system.at_water, system.at_activity
    terms: dict[tuple[int, int], list[tuple[float, str]]] = {}
    for i, own in enumerate(system.cells):
        for cell, v in own:
            terms.setdefault(divmod(cell, size), []).append((v, f"m{i}"))
    always: dict[str, str] = {}
    near: dict[str, str] = {}
    cells: dict[tuple[int, int], str] = {}
    for (row, column), own_terms in sorted(terms.items()):
        cells[row, column] = name = f"a{row}_{column}"
        (near if row == strength else always)[name] = weighted_sum(own_terms)
        if row < count:
            cells[water if column == activity else column, row] = name
    for k in range(count):
        cells[k, water], always[f"s{k}"] = f"s{k}", f"s{k}"
        cells[activity, k], always[f"w{k}"] = f"w{k}", f"water_slope * s{k} / water_kg"
    cells[water, water], always["left"] = "left", f"mol_water_per_kg * water_kg + s{water}"
    cells[activity, activity], always["dry"] = "dry", f"activity + water_slope * s{water} / water_kg"
    for k in (*range(count), strength, water):
        cells[k, strength], near[f"r{k}"] = f"r{k}", _sum_over_species(system, k, "h")
    near[f"r{strength}"] += " - water_kg"
    cells[strength, water], near["gap"] = "gap", "strength_gap"
    slopes = numbered("h", len(system.names))
    cells[activity, strength], near["spread"] = "spread", f"water_slope * sum(({slopes})) / water_kg"
    return always, near, cells


def _derivatives(system: System) -> list[str]:
    """Return the lines for the entries of the Jacobian."""
    always, near, _ = _jacobian(system)
    diagonal = f"r{system.at_strength}"
    return [
        f"strength_gap = -y{system.at_strength}",
        "if abs(strength_gap) < 0.5 * water_kg * strength:",
        *(
            f"    g{i} = 0.5 * ld{i} / (root * (1.0 + lc{i} * root) * (1.0 + lc{i} * root)) - lb{i}"
            for i in range(len(system.examples))
        ),
        *(f"    h{i} = m{i} * g{law}" for i, law in enumerate(system.law_of)),
        *(f"    {name} = {expression}" for name, expression in near.items()),
        "else:",
        *(f"    {name} = 0.0" for name in near if name != diagonal),
        f"    {diagonal} = -water_kg",
        *(f"{name} = {expression}" for name, expression in always.items() if name != expression),
    ]


def _equations(system: System, active_minerals: tuple[int, ...], undetermined: str) -> list[str] | None:
    """Return the lines that solve the equations of a Newton step for its changes, ``c``.

    ``undetermined`` is the line for a pivot that vanishes. None if one always does, or the minerals are dependent.
    """
    plan = system.elimination_plan(active_minerals)
    if plan is None:
        return None
    right = system.size + len(active_minerals)
    _, _, entries = _jacobian(system)
    cells: dict[tuple[int, int], Cell] = {**entries, **{(row, right): f"y{row}" for row in range(right)}}
    for place, m in enumerate(active_minerals, start=system.size):
        for k, v in (*system.mineral_parts[m], (system.at_activity, system.mineral_water[m])):
            cells[place, k] = cells[system.at_water if k == system.at_activity else k, place] = v
    lines = []
    for r, c, changed_rows, changed_columns in plan:
        pivot = cells.get((r, c), 0.0)
        least = MIN_MINERAL_PIVOT if r != c else MIN_PIVOT
        if isinstance(pivot, str):
            lines += [f"if {-least!r} < {pivot} < {least!r}:", f"    {undetermined}"]
        elif abs(pivot) < least:
            return None
        for k in changed_rows:
            factor = cells.get((k, c), 0.0)
            if isinstance(factor, float) and isinstance(pivot, float) and (factor / pivot).is_integer():
                factor /= pivot
            elif pivot != 1.0:
                lines.append(f"f = {factor} / {pivot}")
                factor = "f"
            for column in changed_columns:
                above, old = cells.get((r, column), 0.0), cells.get((k, column), 0.0)
                if factor == 0.0 or above == 0.0:
                    continue
                if isinstance(factor, float) and isinstance(above, float) and isinstance(old, float):
                    cells[k, column] = old - factor * above
                else:
                    cells[k, column] = f"b{k}_{column}"
                    lines.append(f"b{k}_{column} = {_difference(old, (factor, above))}")
    for r, c, _, changed_columns in reversed(plan):
        products = [(cells.get((r, column), 0.0), f"c{column}") for column in changed_columns if column != right]
        value = _difference(0.0, *(product for product in products if product[0] != 0.0))
        value = f"{value} + {cells[r, right]}" if value != "0.0" else f"{cells[r, right]}"
        lines.append(f"c{c} = {value}" if cells[r, c] == 1.0 else f"c{c} = ({value}) / {cells[r, c]}")
    return lines


def _difference(start: Cell, *products: tuple[Cell, Cell]) -> str:
    """Return ``start`` minus the products, without factors of 1 and a leading zero.

    >>> _difference("a", ("f", 2.0), ("g", "h"), (-1.0, "d"))
    'a - f * 2.0 - g * h + d'
    >>> _difference(0.0, ("f", "g"))
    '-f * g'
    """
    text = ""
    for one, other in products:
        factor, rest = (one, other) if isinstance(one, float) else (other, one)
        unit = isinstance(factor, float) and abs(factor) == 1.0
        text += f" {'+' if unit and factor == -1.0 else '-'} {rest if unit else f'{one} * {other}'}"
    return f"{start}{text}" if start != 0.0 or not text else text[3:] if text.startswith(" + ") else f"-{text[3:]}"


def _sum_over_species(system: System, place: int, letter: str) -> str:
    return weighted_sum((v, f"{letter}{i}") for i, own in enumerate(system.sums) for k, v in own if k == place)
