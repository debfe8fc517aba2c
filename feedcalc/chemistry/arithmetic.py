"""The solver's arithmetic for one system, written out without loops and compiled: sums, derivatives, linear equations.

* A system and its active minerals are compiled once they have been solved so often that it pays.
* Every sum has the terms of `feedcalc.chemistry.solver` in the same order, so results agree to the last bit. Terms
  that are always zero are left out.
* The solver's general methods serve what is rarely solved, and equations with a vanishing pivot.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from math import exp, isfinite, sqrt
from typing import Any

from feedcalc.chemistry.system import System

MAX_EXPONENT = 100.0
MIN_PIVOT = 1e-300
MIN_MINERAL_PIVOT = 1e-9  # stoichiometric coefficients are small integers
STEPS_BEFORE_COMPILING = 20  # compiling takes about as long as they do

Amounts = Callable[..., tuple[list[float], list[float], list[float], list[float]]]
Derivatives = Callable[..., tuple[float, ...]]
Equations = Callable[[Sequence[float], Sequence[float]], list[float] | None]
Cell = str | float  # a variable, or a number that is known beforehand


class Arithmetic:
    """The compiled functions of a system.

    ``amounts`` takes the place of `Search.amounts`; None until some equations of the system are compiled.
    """

    def __init__(self, system: System) -> None:
        self.amounts: Amounts | None = None
        self._system = system
        self._derivatives: Derivatives | None = None
        self._equations: dict[tuple[int, ...], tuple[Derivatives, Equations] | None] = {}
        self._asked = Counter[tuple[int, ...]]()

    def equations(self, active_minerals: tuple[int, ...]) -> tuple[Derivatives, Equations] | None:
        """Return the entries of the Jacobian and the equations of a Newton step, compiled if asked for often.

        None before that, and if the plan of elimination never works for these minerals.
        """
        if active_minerals in self._equations:
            return self._equations[active_minerals]
        self._asked[active_minerals] += 1
        if self._asked[active_minerals] <= STEPS_BEFORE_COMPILING:
            return None
        system = self._system
        if self.amounts is None or self._derivatives is None:
            self.amounts, self._derivatives = _compiled(_amounts(system)), _compiled(_derivatives(system))
        text = _equations(system, active_minerals)
        functions = None if text is None else (self._derivatives, _compiled(text))
        self._equations[active_minerals] = functions
        return functions


@lru_cache(maxsize=128)
def arithmetic_of(system: System) -> Arithmetic:
    """Return the cached arithmetic of a system."""
    return Arithmetic(system)


@lru_cache(maxsize=512)
def _compiled(text: str) -> Callable[..., Any]:
    """Return the function with this text, the same for systems that differ only in minerals that are not active."""
    names: dict[str, Any] = {"exp": exp, "isfinite": isfinite, "sqrt": sqrt}
    exec(text, names)
    function: Callable[..., Any] = names["written_out"]
    return function


def _amounts(system: System) -> str:
    """Return the function from the unknowns to moles, sums, residuals and scales of the balances."""
    count, hydrogen = system.count, system.count - 1
    powers = []
    for i, (first, second, protons, water, law) in enumerate(system.species_formulas):
        terms = [f"k{i}", *(f"+ x{place}" for place in (first, second) if place < count)]
        terms += [_term(protons, f"x{hydrogen}"), _term(water, "ln_water"), f"+ o{law}"]
        powers.append(" ".join(filter(None, terms)))
    gross = ", ".join(_sum([(v, f"m{i}")]) for i, v in enumerate(system.gross_hydrogen) if v)
    acid = f"abs(t{hydrogen}) + abs(s{hydrogen}) + sum(({gross}))"
    return _function(
        "ln_k, laws, totals, x, strength, ln_kg, ln_water",
        f"{_names('k', len(powers))} = ln_k",
        f"{_names('x', count)} = x",
        f"{_names('t', count)} = totals",
        "root = sqrt(strength) if strength > 1e-14 else 1e-7",
        f"{_names('o', len(system.examples))} = "
        "[ln_kg + d * root / (1.0 + c * root) - b * strength for d, c, b in laws]",
        f"powers = [{', '.join(powers)}]",
        f"if max(powers) > {MAX_EXPONENT!r}:",
        f"    powers = [min(power, {MAX_EXPONENT!r}) for power in powers]",
        "moles = list(map(exp, powers))",
        f"{_names('m', len(powers))} = moles",
        *(f"s{k} = {_sum_over_species(system, k, 'm')}" for k in range(system.size)),
        f"sums = [{_names('s', system.size)}]",
        f"balance = [{', '.join(f's{k} - t{k}' for k in range(count))}]",
        f"scales = [{', '.join([*(f't{k} + s{k}' for k in range(hydrogen)), acid])}]",
        "return moles, sums, balance, scales",
    )


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
        (near if row == strength else always)[name] = _sum(own_terms)
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
    slopes = _names("h", len(system.names))
    cells[activity, strength], near["spread"] = "spread", f"water_slope * sum(({slopes})) / water_kg"
    return always, near, cells


def _derivatives(system: System) -> str:
    """Return the function from moles to the entries of the Jacobian."""
    always, near, _ = _jacobian(system)
    diagonal = f"r{system.at_strength}"
    return _function(
        "laws, moles, sums, strength, strength_gap, water_kg, activity, water_slope, mol_water_per_kg",
        f"{_names('m', len(system.names))} = moles",
        f"{_names('s', system.size)} = sums",
        "if abs(strength_gap) < 0.5 * water_kg * strength:",
        "    root = sqrt(strength) if strength > 1e-14 else 1e-7",
        f"    {_names('g', len(system.examples))} = "
        "[0.5 * d / (root * (below := 1.0 + c * root) * below) - b for d, c, b in laws]",
        *(f"    h{i} = m{i} * g{law}" for i, law in enumerate(system.law_of)),
        *(f"    {name} = {expression}" for name, expression in near.items()),
        "else:",
        f"    {' = '.join(name for name in near if name != diagonal)} = 0.0",
        f"    {diagonal} = -water_kg",
        f"return {', '.join([*always.values(), *near])}",
    )


def _equations(system: System, active_minerals: tuple[int, ...]) -> str | None:
    """Return the function that solves the equations of a Newton step, from the entries and the right-hand side.

    None if the minerals are linearly dependent, or if a pivot always vanishes.
    """
    plan = system.elimination_plan(active_minerals)
    if plan is None:
        return None
    right = system.size + len(active_minerals)
    always, near, names = _jacobian(system)
    cells: dict[tuple[int, int], Cell] = {**names, **{(row, right): f"y{row}" for row in range(right)}}
    for place, m in enumerate(active_minerals, start=system.size):
        for k, v in (*system.mineral_parts[m], (system.at_activity, system.mineral_water[m])):
            cells[place, k] = cells[system.at_water if k == system.at_activity else k, place] = v
    lines = []
    for r, c, changed_rows, changed_columns in plan:
        pivot = cells.get((r, c), 0.0)
        least = MIN_MINERAL_PIVOT if r != c else MIN_PIVOT
        if isinstance(pivot, str):
            lines += [f"if {-least!r} < {pivot} < {least!r}:", "    return None"]
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
    return _function(
        "entries, right",
        f"{', '.join([*always, *near])} = entries",
        f"{_names('y', right)} = right",
        *lines,
        f"answer = [{_names('c', right)}]",
        "return answer if all(map(isfinite, answer)) else None",
    )


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
    return _sum((v, f"{letter}{i}") for i, own in enumerate(system.sums) for k, v in own if k == place)


def _sum(terms: Iterable[tuple[float, str]]) -> str:
    """Return a weighted sum.

    >>> _sum([(-1.0, "a"), (2.0, "b"), (1.0, "c")])
    '-a + 2.0 * b + c'
    """
    text = " ".join(_term(weight, name) for weight, name in terms)
    return text[2:] if text.startswith("+") else text.replace("- ", "-", 1) or "0.0"


def _term(weight: float, name: str) -> str:
    sign = "+" if weight > 0.0 else "-"
    return f"{sign} {name}" if abs(weight) == 1.0 else f"{sign} {abs(weight)!r} * {name}" if weight else ""


def _names(letter: str, count: int) -> str:
    return "".join(f"{letter}{k}, " for k in range(count))  # a comma after a single name too


def _function(arguments: str, *lines: str) -> str:
    return "\n    ".join([f"def written_out({arguments}):", *lines]) + "\n"
