"""Newton's method for chemical equilibrium, with an interior-point method for poor starting points.

* Unknowns: ln activity of each component (one ion per element, and H+), ionic strength, ln mass and ln activity of
  water, and the moles of each active mineral. Each step solves all linearised balances with the exact Jacobian.
* The hydrogen balance relative to water replaces the charge balance, because it has no large terms that cancel.
* With fixed activity coefficients the problem is convex, and mineral amounts are the multipliers of the saturation
  constraints (active-set method): supersaturated minerals become active, negative amounts inactive.
* What is solved often has functions without loops (`feedcalc.chemistry.arithmetic`) that return the same floats.
* Iterations are limited, so every search ends. Strong solutions may not converge; `Search.reason` says why.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from operator import mul

from feedcalc.chemistry.activity import water_constant
from feedcalc.chemistry.arithmetic import (
    CONVERGED,
    GOES_ON,
    MAX_EXPONENT,
    MAX_GAP,
    MAX_RESIDUAL,
    MAX_STEP,
    MAX_WATER_STEP,
    MIN_LN_KG,
    MIN_MINERAL_PIVOT,
    MIN_PIVOT,
    OTHER_MINERALS,
    TOO_DRY,
    UNDETERMINED,
    NewtonResult,
    arithmetic_of,
)
from feedcalc.chemistry.constants import constant_set
from feedcalc.chemistry.system import Conditions, Plan
from feedcalc.words.messages import said

MOL_WATER_PER_KG = 1000.0 / constant_set().water_gram_per_mol
MAX_STEPS = 60
MAX_INTERIOR_POINT_STEPS = 150

_BARRIER_REDUCTIONS = 22  # by a factor of 0.3 each, to about 1e-12
_NEUTRAL_LN_H = -16.0
_MAX_STRENGTH = 10.0  # mol/kg, beyond which the activity model has no meaning


class Search:
    """The current values of the unknowns, and the iterations that improve them."""

    def __init__(self, conditions: Conditions, given: Mapping[str, float], carbon_dioxide_atm: float | None) -> None:
        self.conditions = conditions
        self.system = system = conditions.system
        self.arithmetic = arithmetic_of(system)
        self.totals = [given[element.name] for element in system.elements]
        self.water_total = MOL_WATER_PER_KG + sum(map(mul, system.water_of_elements, self.totals))
        self.totals.append(sum(map(mul, system.hydrogen_of_elements, self.totals)))
        self.ln_k = conditions.ln_k
        self.mineral_ln_k = conditions.mineral_ln_k
        if carbon_dioxide_atm is not None:
            carbonate = math.log(carbon_dioxide_atm) + conditions.gas_ln_k
            self.ln_k = [k + c * carbonate for k, c in zip(self.ln_k, system.carbon, strict=True)]
            self.mineral_ln_k = [
                k - c * carbonate for k, c in zip(self.mineral_ln_k, system.mineral_carbon, strict=True)
            ]
        self.x: list[float] = []
        self.ionic_strength = 0.0
        self.water_kg = 1.0
        self.ln_water = 0.0
        self.solids = [0.0] * len(system.minerals)
        self.active = [False] * len(system.minerals)
        self.moles: list[float] = []
        self.error = math.inf
        self.steps = 0

    def ln_saturation(self, mineral: int, x: Sequence[float], ln_water: float) -> float:
        """Return ln of ion product over solubility constant of a mineral, by index in ``system.minerals``."""
        gap = self.system.mineral_water[mineral] * ln_water - self.mineral_ln_k[mineral]
        for k, v in self.system.mineral_parts[mineral]:
            gap += v * x[k]
        return gap

    def run(self, max_steps: int = MAX_STEPS) -> bool:
        """Take Newton steps from the current state until every balance closes; return whether it converged."""
        x, strength, ln_kg, ln_water = self.x, self.ionic_strength, math.log(self.water_kg), self.ln_water
        solids = {m: self.solids[m] for m, on in enumerate(self.active) if on}
        step = 0
        is_determined = True  # as far as the written-out equations go
        while step < max_steps:
            active_minerals = tuple(solids)
            newton = self.arithmetic.newton(active_minerals) if is_determined else None
            if newton is None:
                result = self._newton_step(
                    active_minerals=active_minerals,
                    x=x,
                    strength=strength,
                    ln_kg=ln_kg,
                    ln_water=ln_water,
                    solids=list(solids.values()),
                )
            else:
                result = newton(
                    self.ln_k,
                    self.conditions.laws,
                    self.totals,
                    self.water_total,
                    self.mineral_ln_k,
                    x,
                    strength,
                    ln_kg,
                    ln_water,
                    list(solids.values()),
                    max_steps - step,
                    water_constant("water_activity_slope"),
                    MOL_WATER_PER_KG,
                )
            ended, taken, x, strength, ln_kg, ln_water, amounts, moles, error = result
            step += taken
            solids = dict(zip(active_minerals, amounts, strict=True))
            if ended == CONVERGED:
                self.x, self.ionic_strength, self.water_kg, self.ln_water = x, strength, math.exp(ln_kg), ln_water
                self.solids = [solids.get(m, 0.0) for m in range(len(self.solids))]
                self.active = [m in solids for m in range(len(self.solids))]
                self.moles, self.error, self.steps = moles, error, self.steps + step
                return True
            if ended == TOO_DRY:
                self.water_kg = math.exp(ln_kg)
                return False
            if ended == UNDETERMINED and newton is None:
                return False
            is_determined = ended != UNDETERMINED
            if ended == OTHER_MINERALS:
                solids = {m: solids.get(m, 0.0) for m in self._active_set(solids, x, ln_water)}
        return False

    def _newton_step(
        self,
        *,
        active_minerals: tuple[int, ...],
        x: list[float],
        strength: float,
        ln_kg: float,
        ln_water: float,
        solids: list[float],
    ) -> NewtonResult:
        """Take one Newton step by the general methods, with the result of `feedcalc.chemistry.arithmetic.Newton`."""
        system, count = self.system, self.system.count
        water_slope = water_constant("water_activity_slope")
        water_kg, activity = math.exp(ln_kg), math.exp(ln_water)
        moles, sums, balance, scales = self.amounts(x, strength, ln_kg, ln_water)
        strength_gap = sums[system.at_strength] - water_kg * strength
        water_gap = sums[system.at_water] - self.water_total + MOL_WATER_PER_KG * water_kg
        activity_gap = activity - 1.0 + water_slope * sum(moles) / water_kg
        above = [self.ln_saturation(m, x, ln_water) for m in active_minerals]
        for m, amount in zip(active_minerals, solids, strict=True):
            for k, v in system.mineral_parts[m]:
                balance[k] += v * amount
                scales[k] += abs(v * amount)
            water_gap += system.mineral_water[m] * amount
        error = max([abs(gap) / (whole or 1.0) for gap, whole in zip(balance, scales, strict=True)])
        if (
            error < MAX_RESIDUAL
            and all(abs(gap) < MAX_GAP for gap in above)
            and abs(strength_gap) <= MAX_GAP * strength * water_kg
            and abs(water_gap) <= MAX_GAP * water_kg
            and abs(activity_gap) <= MAX_GAP
        ):
            if self._active_set(dict(zip(active_minerals, solids, strict=True)), x, ln_water) != active_minerals:
                return OTHER_MINERALS, 1, x, strength, ln_kg, ln_water, solids, moles, error
            return CONVERGED, 0, x, strength, ln_kg, ln_water, solids, moles, error
        change = self._newton_change(
            active_minerals=active_minerals,
            moles=moles,
            sums=sums,
            right=[-gap for gap in (*balance, strength_gap, water_gap, activity_gap, *above)],
            strength=strength,
            water_kg=water_kg,
            activity=activity,
        )
        if change is None:
            return UNDETERMINED, 0, x, strength, ln_kg, ln_water, solids, moles, error
        moves = change[:count]
        longest = max(max(moves), -min(moves))
        if longest > MAX_STEP:
            moves = [min(max(delta, -MAX_STEP), MAX_STEP) for delta in moves]
        x = [now + delta for now, delta in zip(x, moves, strict=True)]
        strength = min(max(strength + change[system.at_strength], 0.2 * strength), 5.0 * strength + 1e-7)
        ln_kg += min(max(change[system.at_water], -MAX_WATER_STEP), MAX_WATER_STEP)
        ln_water = min(max(ln_water + change[system.at_activity], ln_water - 0.5, -3.0), 0.0)
        ended = GOES_ON
        if ln_kg < MIN_LN_KG:
            ended = TOO_DRY
        else:
            solids = [amount + delta for amount, delta in zip(solids, change[system.size :], strict=True)]
            amounts = dict(zip(active_minerals, solids, strict=True))
            if longest < 1.0 and self._active_set(amounts, x, ln_water) != active_minerals:
                ended = OTHER_MINERALS
        return ended, 1, x, strength, ln_kg, ln_water, solids, moles, error

    def interior_point(self, max_steps: int = MAX_INTERIOR_POINT_STEPS) -> None:
        """Approach the solution from any state by a primal-dual interior-point method, if Newton's method fails.

        Amount and undersaturation (slack) of every mineral stay positive while their product decreases. Ionic
        strength, water and its activity follow by damped fixed-point iteration.
        """
        system, count = self.system, self.system.count
        minerals = range(len(self.solids))
        x = [math.log(total) - 2.0 for total in self.totals[:-1]]
        x.append(_NEUTRAL_LN_H)
        strength, ln_kg, ln_water = 0.1, 0.0, 0.0
        slack = [max(1.0, -self.ln_saturation(m, x, ln_water)) for m in minerals]
        targets = [0.1 * min(self.totals[k] / v for k, v in parts if k != count - 1) for parts in system.mineral_parts]
        solids = [target / gap for target, gap in zip(targets, slack, strict=True)]
        reductions = 0
        water_slope = water_constant("water_activity_slope")
        for _ in range(max_steps):
            moles = self.moles_at(x, strength, ln_kg, ln_water)
            sums = self.sums_of(moles)
            _, jacobian = self._jacobian(moles, [0.0] * len(moles), ())
            matrix = [[*row[:count], 0.0] for row in jacobian[:count]]
            right = [total - amount for total, amount in zip(self.totals, sums, strict=False)]
            for m in minerals:
                ratio = solids[m] / slack[m]
                gap = self.ln_saturation(m, x, ln_water) + slack[m]
                push = targets[m] / slack[m] + ratio * gap
                for k, v in system.mineral_parts[m]:
                    right[k] -= v * push
                    for other, w in system.mineral_parts[m]:
                        matrix[k][other] += ratio * v * w
            for k in range(count):
                matrix[k][k] *= 1.0 + 1e-12
                matrix[k][-1] = right[k]
            change = _solve_linear(matrix, None)
            if change is None:
                return
            share = min(1.0, 3.0 / max(1e-30, max(abs(delta) for delta in change)))
            moves = []
            for m in minerals:
                gap = self.ln_saturation(m, x, ln_water) + slack[m]
                slack_change = -gap - sum(v * change[k] for k, v in system.mineral_parts[m])
                amount_change = targets[m] / slack[m] - solids[m] - solids[m] / slack[m] * slack_change
                moves.append((slack_change, amount_change))
                for now, move in ((slack[m], slack_change), (solids[m], amount_change)):
                    if move < 0.0:
                        share = min(share, 0.9 * now / -move)
            x = [now + share * delta for now, delta in zip(x, change, strict=True)]
            for m, (slack_change, amount_change) in enumerate(moves):
                slack[m] += share * slack_change
                solids[m] += share * amount_change
            kg = math.exp(ln_kg)
            strength = math.sqrt(strength * min(max(sums[system.at_strength] / kg, 1e-9), _MAX_STRENGTH))
            left = self.water_total - sums[system.at_water]
            left -= sum(system.mineral_water[m] * solids[m] for m in minerals)
            ln_kg = 0.5 * (ln_kg + math.log(max(left / MOL_WATER_PER_KG, 0.01)))
            ln_water = 0.5 * (ln_water + math.log(max(0.1, 1.0 - water_slope * sum(moles) / kg)))
            if share > 0.5:
                if reductions == _BARRIER_REDUCTIONS:
                    break
                reductions += 1
                targets = [0.3 * target for target in targets]
        self.x, self.ionic_strength, self.water_kg, self.ln_water = x, strength, math.exp(ln_kg), ln_water
        self.active = [slack[m] < 1e-3 for m in minerals]
        self.solids = [amount if on else 0.0 for amount, on in zip(solids, self.active, strict=True)]
        self.steps += max_steps

    def amounts(
        self, x: Sequence[float], strength: float, ln_kg: float, ln_water: float
    ) -> tuple[list[float], list[float], list[float], list[float]]:
        """Return the moles of every species, their sums, and residual and scale of every balance, minerals excluded.

        Hydrogen is scaled by the sum of its absolute terms, because terms of opposite sign may cancel.
        """
        system = self.system
        if self.arithmetic.amounts is not None:
            return self.arithmetic.amounts(self.ln_k, self.conditions.laws, self.totals, x, strength, ln_kg, ln_water)
        moles = self.moles_at(x, strength, ln_kg, ln_water)
        sums = self.sums_of(moles)
        balance = [amount - total for amount, total in zip(sums, self.totals, strict=False)]
        scales = [abs(total) + abs(amount) for total, amount in zip(self.totals, sums, strict=False)]
        scales[-1] += sum(map(mul, system.gross_hydrogen, moles))
        return moles, sums, balance, scales

    def moles_at(self, x: Sequence[float], strength: float, ln_kg: float, ln_water: float) -> list[float]:
        """Return the moles of every species."""
        system = self.system
        root = math.sqrt(strength) if strength > 1e-14 else 1e-7
        offsets = [ln_kg + d * root / (1.0 + c * root) - b * strength for d, c, b in self.conditions.laws]
        padded = [*x, 0.0]
        ln_h = x[-1]
        powers = [
            k + padded[i] + padded[j] + n * ln_h + w * ln_water + offsets[law]
            for k, (i, j, n, w, law) in zip(self.ln_k, system.species_formulas, strict=True)
        ]
        if max(powers) > MAX_EXPONENT:
            powers = [min(power, MAX_EXPONENT) for power in powers]
        return list(map(math.exp, powers))

    def sums_of(self, moles: Sequence[float]) -> list[float]:
        """Return the sums over species: each component, ionic strength times water mass, and water."""
        sums = [0.0] * self.system.size
        for amount, own in zip(moles, self.system.sums, strict=True):
            for k, v in own:
                sums[k] += v * amount
        return sums

    def _newton_change(
        self,
        active_minerals: tuple[int, ...],
        moles: Sequence[float],
        sums: Sequence[float],
        right: Sequence[float],
        strength: float,
        water_kg: float,
        activity: float,
    ) -> list[float] | None:
        """Return the change of every unknown and active mineral in a Newton step, or None if it is not determined.

        ``right`` is the right-hand side: the residuals with their signs changed.
        """
        system, laws = self.system, self.conditions.laws
        water_slope = water_constant("water_activity_slope")
        strength_gap = -right[system.at_strength]
        root = math.sqrt(strength) if strength > 1e-14 else 1e-7
        by_law = [0.5 * d / (root * (below := 1.0 + c * root) * below) - b for d, c, b in laws]
        strength_slopes = list(map(mul, moles, [by_law[law] for law in system.law_of]))
        slopes, matrix = self._jacobian(moles, strength_slopes, active_minerals)
        at_strength, at_water, at_activity = system.at_strength, system.at_water, system.at_activity
        strength_row, water_row, activity_row = matrix[at_strength], matrix[at_water], matrix[at_activity]
        near = abs(strength_gap) < 0.5 * water_kg * strength
        for k in range(system.count):
            row = matrix[k]
            row[at_water] = sums[k]
            water_row[k] = row[at_activity]
            activity_row[k] = water_slope * sums[k] / water_kg
            if near:
                row[at_strength] = slopes[k]
        if near:
            strength_row[at_strength] = slopes[at_strength] - water_kg
            strength_row[at_water] = strength_gap
            water_row[at_strength] = slopes[at_water]
            activity_row[at_strength] = water_slope * sum(strength_slopes) / water_kg
        else:  # far off, where the slope of the activity coefficients misleads: use the sum itself
            strength_row[:] = [0.0] * len(strength_row)
            strength_row[at_strength] = -water_kg
        water_row[at_water] = MOL_WATER_PER_KG * water_kg + sums[at_water]
        activity_row[at_activity] = activity + water_slope * sums[at_water] / water_kg
        for row, value in zip(matrix, right, strict=True):
            row[-1] = value
        return _solve_linear(matrix, system.elimination_plan(active_minerals))

    def _jacobian(
        self, moles: Sequence[float], strength_slopes: Sequence[float], active_minerals: Sequence[int]
    ) -> tuple[list[float], list[list[float]]]:
        """Return the derivatives of the sums by ionic strength, and by ln activity of components and water.

        The Jacobian has a row and a column for each active mineral, and a last column of zeros for the right-hand side.
        """
        system = self.system
        count, size, more = system.count, system.size, len(active_minerals)
        slopes = [0.0] * size
        cells = [0.0] * (size * size)
        for amount, strength_slope, own_sums, own_cells in zip(
            moles, strength_slopes, system.sums, system.cells, strict=True
        ):
            for k, v in own_sums:
                slopes[k] += v * strength_slope
            for cell, v in own_cells:
                cells[cell] += v * amount
        padding = [0.0] * (more + 1)
        matrix = [cells[start : start + size] + padding for start in range(0, size * size, size)]
        for k in range(1, count):
            row = matrix[k]
            for other in range(k):
                row[other] = matrix[other][k]
        matrix += [[0.0] * (size + more + 1) for _ in range(more)]
        for place, m in enumerate(active_minerals, start=size):
            row = matrix[place]
            for k, v in system.mineral_parts[m]:
                row[k] = matrix[k][place] = v
            row[system.at_activity] = matrix[system.at_water][place] = system.mineral_water[m]
        return slopes, matrix

    def _active_set(self, solids: Mapping[int, float], x: Sequence[float], ln_water: float) -> tuple[int, ...]:
        """Return the active minerals of this state: those with a positive amount, and others if supersaturated."""
        return tuple(
            m
            for m in range(len(self.system.minerals))
            if (solids[m] > 0.0 if m in solids else self.ln_saturation(m, x, ln_water) > MAX_GAP)
        )

    def reason(self) -> str:
        """Return why there is no solution, as far as the state shows."""
        if self.water_kg < 0.05:
            return said("There is not enough water: what you put in would bind nearly all of it.")
        return said(
            "No result was found. This mixture is too strong for the chemistry model, which works for water and weak "
            "solutions."
        )


def _solve_linear(matrix: list[list[float]], plan: Plan | None) -> list[float] | None:
    """Return the solution of linear equations with the right-hand side as last column; None if singular.

    Sparse Gaussian elimination by the plan; without a plan, or if a mineral's pivot vanishes, with partial pivoting.
    """
    copy = [row[:] for row in matrix]
    for r, c, changed_rows, changed_columns in plan or ():
        pivot_row = matrix[r]
        pivot = pivot_row[c]
        if abs(pivot) < (MIN_MINERAL_PIVOT if r != c else MIN_PIVOT):
            plan = None
            break
        for k in changed_rows:
            row = matrix[k]
            factor = row[c] / pivot
            for column in changed_columns:
                row[column] -= factor * pivot_row[column]
    if plan is None:
        matrix = copy
        plan = _eliminate_with_pivoting(matrix)
        if plan is None:
            return None
    answer = [0.0] * len(matrix)
    answer.append(-1.0)  # for the right-hand side
    for r, c, _, changed_columns in reversed(plan):
        pivot_row = matrix[r]
        value = 0.0
        for column in changed_columns:
            value -= pivot_row[column] * answer[column]
        answer[c] = value / pivot_row[c]
    answer.pop()
    return answer if all(map(math.isfinite, answer)) else None


def _eliminate_with_pivoting(matrix: list[list[float]]) -> Plan | None:
    """Eliminate in place with scaled partial pivoting; return the plan, or None if the matrix is singular."""
    size = len(matrix)
    waiting = set(range(size))
    plan = []
    for c in range(size):
        shares = {k: abs(matrix[k][c]) / (max(map(abs, matrix[k][:size])) or 1.0) for k in waiting}
        r = max(shares, key=lambda k: shares[k])
        if shares[r] < MIN_MINERAL_PIVOT:
            return None
        waiting.remove(r)
        changed_columns = [column for column in range(c + 1, size + 1) if matrix[r][column]]
        plan.append((r, c, sorted(waiting), changed_columns))
        for k in waiting:
            factor = matrix[k][c] / matrix[r][c]
            if factor:
                matrix[k][c] = 0.0
                for column in changed_columns:
                    matrix[k][column] -= factor * matrix[r][column]
    return plan
