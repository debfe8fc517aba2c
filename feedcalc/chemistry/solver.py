"""The search for an equilibrium: which unknowns a mixture has, and the steps that find them.

Rules of this module:

* Unknowns are the natural logarithms of the activities of the components present (one ion per element, and
  H+), ionic strength, the logarithms of the mass of water and of its activity, and the moles of each mineral
  at hand. Each step solves the linearised balances of all of them at once with an exact Jacobian.
* The balance of hydrogen ions against water stands in for that of charge, because it has no large terms to
  cancel.
* For fixed activity coefficients the problem is convex, with the minerals as multipliers of "no named
  mineral is supersaturated". A mineral is taken up when it is supersaturated and dropped when its amount
  would be negative.
* Where Newton's steps run astray, an interior-point walk on the convex problem comes near first.
* Water open to air: the carbonate activity follows from pressure and pH, so carbon is folded into H+ and
  water.
* The numbers of steps are capped, so that a search always ends.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from operator import mul

from feedcalc.chemistry.activity import ActivityLaw, activity_law, water_constant
from feedcalc.chemistry.constants import HYDROGEN_ION, LN10, WATER, ConstantSet, constant_set
from feedcalc.words.messages import said

CARBONATE = "CO3-2"
MOL_WATER_PER_KG = 1000.0 / constant_set().water_gram_per_mol
MOST_STEPS = 60
WALK_STEPS = 150

_CONVERGED = 1e-10  # ten times below what an answer promises, so that rounding can't tip it over
_SHRINKS = 22  # of 0.3 each: to about a million-millionth
_NEUTRAL_LN_H = -16.0
_STRONGEST = 10.0  # mol/kg, beyond which the activity model says nothing
_LONGEST_STEP = 6.0  # natural-log units
_DRIEST = -6.0  # ln kg: less than a four-hundredth of the water is left
_LARGEST_LN = 100.0
_LEAST_PIVOT = 1e-300
_LEAST_MINERAL_PIVOT = 1e-9  # of coefficients that are small whole numbers
_NEVER_WITH_AIR = ("portlandite",)


Plan = list[tuple[int, int, list[int], list[int]]]  # pivot row and column, rows and columns it changes


class System:
    """What depends on neither amounts nor temperature: unknowns, species, and how they make each other up.

    Index 0 to ``count`` - 2 are the components present, ``count`` - 1 is H+; then come ionic strength, water
    and the activity of water, ``size`` in all.
    """

    def __init__(self, chosen: ConstantSet, present: frozenset[str], allowed: frozenset[str], is_open: bool) -> None:
        self.chosen = chosen
        self.is_open = is_open
        self.elements = tuple(element for name, element in chosen.elements.items() if name in present)
        self.components = (*(element.component for element in self.elements), HYDROGEN_ION)
        self.count = len(self.components)
        self.at_strength, self.at_water, self.at_activity = self.count, self.count + 1, self.count + 2
        self.size = self.count + 3
        self.index = {name: position for position, name in enumerate(self.components)}
        known = {*self.components, WATER, *((CARBONATE,) if is_open else ())}
        self.kept = [
            position for position, one in enumerate(chosen.species) if known.issuperset(one.formation.components)
        ]
        species = [chosen.species[position] for position in self.kept]
        self.names = tuple(one.name for one in species)
        self.position = {name: position for position, name in enumerate(self.names)}
        self.carbon = [one.formation.components.get(CARBONATE, 0.0) for one in species]
        self.charge = [one.charge for one in species]
        # Species that share an activity law share its evaluation.
        likes: dict[tuple[int, float | None, float | None], int] = {}
        self.law_of = [
            likes.setdefault((abs(one.charge), one.ion_size_angstrom, one.linear_term), len(likes)) for one in species
        ]
        self.examples = [species[self.law_of.index(law)] for law in range(len(likes))]
        formulas = [self._folded(one.formation.components) for one in species]
        self.water = [water for _, water in formulas]
        self.hydrogen = [parts.get(self.count - 1, 0.0) for parts, _ in formulas]
        self.gross_hydrogen = [abs(amount) for amount in self.hydrogen]
        self.recipes = [
            (*self._places(parts), hydrogen, water, law)
            for (parts, water), hydrogen, law in zip(formulas, self.hydrogen, self.law_of, strict=True)
        ]
        made = [(parts, charge, water) for (parts, water), charge in zip(formulas, self.charge, strict=True)]
        self.sums = [self._sums(*one) for one in made]
        self.cells = [self._cells(*one) for one in made]
        self.ladders = [
            [i for i, (parts, _) in enumerate(formulas) if self._is_acid_of(place, parts) and not self._is_air(i)]
            for place in range(self.count - 1)
        ]
        self.minerals = tuple(
            name
            for name, reaction in chosen.minerals.items()
            if name in allowed and known.issuperset(reaction.components) and not (is_open and name in _NEVER_WITH_AIR)
        )
        self.mineral_carbon = [chosen.minerals[name].components.get(CARBONATE, 0.0) for name in self.minerals]
        folded = [self._folded(chosen.minerals[name].components) for name in self.minerals]
        self.mineral_parts = [tuple(parts.items()) for parts, _ in folded]
        self.mineral_water = [water for _, water in folded]
        self._plans: dict[tuple[int, ...], Plan | None] = {}

    def plan_for(self, at_hand: tuple[int, ...]) -> Plan | None:
        """The order of elimination with these minerals at hand, remembered; None where they can't be told
        apart.

        Each mineral's short row first takes one of its components away, and that component's balance the
        mineral; the rest, whose block is positive definite, go by their diagonal.
        """
        if at_hand not in self._plans:
            chosen = _one_each([[k for k, _ in self.mineral_parts[m]] for m in at_hand])
            self._plans[at_hand] = None if chosen is None else self._plan(at_hand, chosen)
        return self._plans[at_hand]

    def _plan(self, at_hand: tuple[int, ...], chosen: Sequence[int]) -> Plan:
        size = self.size
        rows = self._pattern(at_hand)
        order = []
        for place, k in enumerate(chosen, start=size):
            order += [(place, k), (k, place)]
        order += [(k, k) for k in range(size) if k not in chosen]
        waiting = set(range(len(rows)))
        plan = []
        for r, c in order:
            waiting.remove(r)
            others = sorted(rows[r] - {c})
            touched = [k for k in sorted(waiting) if c in rows[k]]
            for k in touched:
                rows[k] = (rows[k] | rows[r]) - {c}
            plan.append((r, c, touched, others))
        return plan

    def _pattern(self, at_hand: tuple[int, ...]) -> list[set[int]]:
        """Which columns each row of the Jacobian may fill, the right-hand side included."""
        size, count = self.size, self.count
        components = set(range(count))
        rows = [{k, self.at_strength, self.at_water} for k in range(count)]
        rows.append(components | {self.at_strength, self.at_water, self.at_activity})
        rows.append({self.at_strength, self.at_water, self.at_activity})
        rows.append(components | {self.at_strength, self.at_activity})
        for cells in self.cells:
            for cell, _ in cells:
                row, column = divmod(cell, size)
                rows[row].add(column)
                if row < count:
                    rows[self.at_water if column == self.at_activity else column].add(row)
        for column, m in enumerate(at_hand, start=size):
            rows.append({k for k, _ in self.mineral_parts[m]} | {self.at_activity})
            rows[self.at_water].add(column)
            for k, _ in self.mineral_parts[m]:
                rows[k].add(column)
        for filled in rows:
            filled.add(size + len(at_hand))
        return rows

    def _is_acid_of(self, place: int, parts: Mapping[int, float]) -> bool:
        """Whether a species is made of one component and hydrogen ions only."""
        return {k: v for k, v in parts.items() if k != self.count - 1} == {place: 1.0}

    def _is_air(self, species: int) -> bool:
        return self.is_open and self.carbon[species] > 0.0

    def _folded(self, components: Mapping[str, float]) -> tuple[dict[int, float], float]:
        """Amounts by index, and water; in open water CO3-- is CO2 of the air + H2O - 2 H+."""
        hydrogen = components.get(HYDROGEN_ION, 0.0)
        water = components.get(WATER, 0.0)
        if self.is_open:
            carbon = components.get(CARBONATE, 0.0)
            hydrogen -= 2.0 * carbon
            water += carbon
        parts = {
            self.index[name]: amount
            for name, amount in components.items()
            if name in self.index and name != HYDROGEN_ION
        }
        if hydrogen:
            parts[self.count - 1] = hydrogen
        return parts, water

    def _places(self, parts: Mapping[int, float]) -> tuple[int, int]:
        """The at most two components a species holds once each; ``count`` where it holds fewer."""
        held = [place for place, amount in parts.items() if place != self.count - 1 for _ in range(int(amount))]
        first, second = (*held, self.count, self.count)[:2]
        return first, second

    def _sums(self, parts: Mapping[int, float], charge: int, water: float) -> tuple[tuple[int, float], ...]:
        """What a mole adds to each balance: components, half the squared charge, water."""
        sums = dict(parts)
        if charge:
            sums[self.at_strength] = 0.5 * charge * charge
        if water:
            sums[self.at_water] = water
        return tuple(sums.items())

    def _cells(self, parts: Mapping[int, float], charge: int, water: float) -> tuple[tuple[int, float], ...]:
        """What a mole adds to each cell of the Jacobian (row * size + column): the upper triangle of the
        components, the row of ionic strength, and the column of the activity of water.
        """
        cells = {(k, other): v * w for k, v in parts.items() for other, w in parts.items() if k <= other}
        half = 0.5 * charge * charge
        if half:
            cells.update({(self.at_strength, k): half * v for k, v in parts.items()})
        if water:
            cells.update({(k, self.at_activity): water * v for k, v in parts.items()})
            cells[self.at_water, self.at_activity] = water * water
            if half:
                cells[self.at_strength, self.at_activity] = half * water
        return tuple((row * self.size + column, value) for (row, column), value in cells.items())


@dataclass(frozen=True, slots=True)
class Conditions:
    """A system at one temperature: natural logarithms of its constants, and its activity laws."""

    system: System
    kelvin: float
    ln_k: list[float]
    mineral_ln_k: list[float]
    gas_ln_k: float
    laws: list[ActivityLaw]


@lru_cache(maxsize=128)
def system_of(constants: str, present: frozenset[str], allowed: frozenset[str], is_open: bool) -> System:
    """The system of these elements and minerals, remembered between calls."""
    return System(constant_set(constants), present, allowed, is_open)


@lru_cache(maxsize=512)
def conditions_at(
    constants: str, present: frozenset[str], allowed: frozenset[str], is_open: bool, kelvin: float
) -> Conditions:
    """The system of these elements and minerals at a temperature, remembered between calls."""
    system = system_of(constants, present, allowed, is_open)
    chosen = system.chosen
    log_k = chosen.log_k_of_species(kelvin)
    mineral_log_k = chosen.log_k_of_minerals(kelvin)
    return Conditions(
        system,
        kelvin,
        [LN10 * log_k[position] for position in system.kept],
        [LN10 * mineral_log_k[name] for name in system.minerals],
        LN10 * chosen.gases["carbon dioxide"].log_k(kelvin),
        [activity_law(one, kelvin) for one in system.examples],
    )


class Search:
    """One solve: the state of the unknowns, and the steps that improve it."""

    def __init__(self, conditions: Conditions, given: Mapping[str, float], carbon_dioxide_atm: float | None) -> None:
        self.conditions = conditions
        self.system = system = conditions.system
        elements = system.elements
        self.totals = [given[element.name] for element in elements]
        self.totals.append(sum(element.hydrogen * given[element.name] for element in elements))
        self.water_total = MOL_WATER_PER_KG + sum(element.water * given[element.name] for element in elements)
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
        """ln of ion product over constant of a mineral, by its place in ``system.minerals``."""
        gap = self.system.mineral_water[mineral] * ln_water - self.mineral_ln_k[mineral]
        for k, v in self.system.mineral_parts[mineral]:
            gap += v * x[k]
        return gap

    def run(self, most_steps: int = MOST_STEPS) -> bool:
        """Newton's steps from the present state until every balance closes; whether it did."""
        system = self.system
        count, size = system.count, system.size
        at_strength, at_water, at_activity = system.at_strength, system.at_water, system.at_activity
        mineral_parts, mineral_water = system.mineral_parts, system.mineral_water
        water_slope = water_constant("water_activity_slope")
        x, strength = list(self.x), self.ionic_strength
        ln_kg, ln_water = math.log(self.water_kg), self.ln_water
        solids, active = list(self.solids), list(self.active)
        for step in range(most_steps):
            water_kg = math.exp(ln_kg)
            activity = math.exp(ln_water)
            moles, falls = self.moles_at(x, strength, ln_kg, ln_water)
            at_hand = [m for m, on in enumerate(active) if on]
            sums = self.sums_of(moles)
            strength_gap = sums[at_strength] - water_kg * strength
            water_gap = sums[at_water] - self.water_total + MOL_WATER_PER_KG * water_kg
            activity_gap = activity - 1.0 + water_slope * sum(moles) / water_kg
            balance = [amount - total for amount, total in zip(sums, self.totals, strict=False)]
            held = [abs(total) + abs(amount) for total, amount in zip(self.totals, sums, strict=False)]
            held[-1] += sum(map(mul, system.gross_hydrogen, moles))  # their signs may cancel
            above = [self.ln_saturation(m, x, ln_water) for m in at_hand]
            for m in at_hand:
                amount = solids[m]
                for k, v in mineral_parts[m]:
                    balance[k] += v * amount
                    held[k] += abs(v * amount)
                water_gap += mineral_water[m] * amount
            error = max(abs(gap) / (whole or 1.0) for gap, whole in zip(balance, held, strict=True))
            if (
                error < _CONVERGED
                and all(abs(gap) < 1e-9 for gap in above)
                and abs(strength_gap) <= 1e-9 * strength * water_kg
                and abs(water_gap) <= 1e-9 * water_kg
                and abs(activity_gap) <= 1e-9
            ):
                wanted = self._minerals_wanted(active, solids, x, ln_water)
                if wanted == active:
                    self.x, self.ionic_strength = x, strength
                    self.water_kg, self.ln_water = water_kg, ln_water
                    self.solids, self.active, self.moles = solids, active, moles
                    self.error, self.steps = error, self.steps + step
                    return True
                active = wanted
                solids = [amount if on else 0.0 for amount, on in zip(solids, active, strict=True)]
                continue
            slopes, matrix = self._jacobian(moles, falls, len(at_hand))
            strength_row, water_row, activity_row = matrix[at_strength], matrix[at_water], matrix[at_activity]
            for place, (m, gap) in enumerate(zip(at_hand, above, strict=True), start=size):
                row = matrix[place]
                for k, v in mineral_parts[m]:
                    row[k] = matrix[k][place] = v
                row[at_activity] = water_row[place] = mineral_water[m]
                row[-1] = -gap
            near = abs(strength_gap) < 0.5 * water_kg * strength
            for k in range(count):
                row = matrix[k]
                row[-1] = -balance[k]
                row[at_water] = sums[k]
                water_row[k] = row[at_activity]
                activity_row[k] = water_slope * sums[k] / water_kg
                if near:
                    row[at_strength] = slopes[k]
            if near:
                strength_row[at_strength] = slopes[at_strength] - water_kg
                strength_row[at_water] = strength_gap
                water_row[at_strength] = slopes[at_water]
                activity_row[at_strength] = water_slope * sum(falls) / water_kg
            else:  # far off, where the slope of the activity coefficients misleads: take the sum as it is
                strength_row[:] = [0.0] * len(strength_row)
                strength_row[at_strength] = -water_kg
            strength_row[-1] = -strength_gap
            water_row[at_water] = MOL_WATER_PER_KG * water_kg + sums[at_water]
            water_row[-1] = -water_gap
            activity_row[at_activity] = activity + water_slope * sums[at_water] / water_kg
            activity_row[-1] = -activity_gap
            change = _solved(matrix, system.plan_for(tuple(at_hand)))
            if change is None:
                return False
            longest = 0.0
            for k in range(count):
                delta = min(max(change[k], -_LONGEST_STEP), _LONGEST_STEP)
                longest = max(longest, abs(delta))
                x[k] += delta
            strength = min(max(strength + change[at_strength], 0.2 * strength), 5.0 * strength + 1e-7)
            ln_kg += min(max(change[at_water], -0.7), 0.7)
            ln_water = min(max(ln_water + change[at_activity], ln_water - 0.5, -3.0), 0.0)
            if ln_kg < _DRIEST:
                self.water_kg = math.exp(ln_kg)
                return False
            for place, m in enumerate(at_hand, start=size):
                solids[m] += change[place]
            if longest < 1.0:
                wanted = self._minerals_wanted(active, solids, x, ln_water)
                if wanted != active:
                    active = wanted
                    solids = [amount if on else 0.0 for amount, on in zip(solids, active, strict=True)]
        return False

    def walk(self, most_steps: int = WALK_STEPS) -> None:
        """Come near the answer from anywhere, slowly: for guesses from which Newton's steps run astray.

        An interior-point walk on the convex problem: every mineral has an amount and a distance from
        saturation, both kept positive while their product shrinks. Ionic strength, water and its activity
        follow half-way each step.
        """
        system, count = self.system, self.system.count
        minerals = range(len(self.solids))
        x = [math.log(total) - 2.0 for total in self.totals[:-1]]
        x.append(_NEUTRAL_LN_H)
        strength, ln_kg, ln_water = 0.1, 0.0, 0.0
        slack = [max(1.0, -self.ln_saturation(m, x, ln_water)) for m in minerals]
        targets = [0.1 * min(self.totals[k] / v for k, v in parts if k != count - 1) for parts in system.mineral_parts]
        solids = [target / gap for target, gap in zip(targets, slack, strict=True)]
        shrunk = 0
        water_slope = water_constant("water_activity_slope")
        for _ in range(most_steps):
            moles, falls = self.moles_at(x, strength, ln_kg, ln_water)
            sums = self.sums_of(moles)
            _, jacobian = self._jacobian(moles, falls, 0)
            matrix = [[*row[:count], 0.0] for row in jacobian[:count]]
            right = [total - amount for total, amount in zip(self.totals, sums, strict=False)]
            for m in minerals:
                stiffness = solids[m] / slack[m]
                gap = self.ln_saturation(m, x, ln_water) + slack[m]
                push = targets[m] / slack[m] + stiffness * gap
                for k, v in system.mineral_parts[m]:
                    right[k] -= v * push
                    for other, w in system.mineral_parts[m]:
                        matrix[k][other] += stiffness * v * w
            for k in range(count):
                matrix[k][k] *= 1.0 + 1e-12
                matrix[k][-1] = right[k]
            change = _solved(matrix, None)
            if change is None:
                return
            share = min(1.0, 3.0 / max(1e-30, max(abs(delta) for delta in change)))
            moves = []
            for m in minerals:
                gap = self.ln_saturation(m, x, ln_water) + slack[m]
                closing = -gap - sum(v * change[k] for k, v in system.mineral_parts[m])
                growing = targets[m] / slack[m] - solids[m] - solids[m] / slack[m] * closing
                moves.append((closing, growing))
                for now, move in ((slack[m], closing), (solids[m], growing)):
                    if move < 0.0:
                        share = min(share, 0.9 * now / -move)
            x = [now + share * delta for now, delta in zip(x, change, strict=True)]
            for m, (closing, growing) in enumerate(moves):
                slack[m] += share * closing
                solids[m] += share * growing
            kg = math.exp(ln_kg)
            strength = math.sqrt(strength * min(max(sums[system.at_strength] / kg, 1e-9), _STRONGEST))
            left = self.water_total - sums[system.at_water]
            left -= sum(system.mineral_water[m] * solids[m] for m in minerals)
            ln_kg = 0.5 * (ln_kg + math.log(max(left / MOL_WATER_PER_KG, 0.01)))
            ln_water = 0.5 * (ln_water + math.log(max(0.1, 1.0 - water_slope * sum(moles) / kg)))
            if share > 0.5:
                if shrunk == _SHRINKS:
                    break
                shrunk += 1
                targets = [0.3 * target for target in targets]
        self.x, self.ionic_strength, self.water_kg, self.ln_water = x, strength, math.exp(ln_kg), ln_water
        self.active = [slack[m] < 1e-3 for m in minerals]
        self.solids = [amount if on else 0.0 for amount, on in zip(solids, self.active, strict=True)]
        self.steps += most_steps

    def moles_at(
        self, x: Sequence[float], strength: float, ln_kg: float, ln_water: float
    ) -> tuple[list[float], list[float]]:
        """Moles of every species, and their change per unit of ionic strength."""
        system = self.system
        root = math.sqrt(strength) if strength > 1e-14 else 1e-7
        offsets, slopes = [], []
        for d, c, b in self.conditions.laws:
            below = 1.0 + c * root
            offsets.append(ln_kg + d * root / below - b * strength)
            slopes.append(0.5 * d / (root * below * below) - b)
        padded = [*x, 0.0]
        ln_h = x[-1]
        powers = [
            k + padded[i] + padded[j] + n * ln_h + w * ln_water + offsets[law]
            for k, (i, j, n, w, law) in zip(self.ln_k, system.recipes, strict=True)
        ]
        if max(powers) > _LARGEST_LN:
            powers = [min(power, _LARGEST_LN) for power in powers]
        moles = list(map(math.exp, powers))
        return moles, list(map(mul, moles, [slopes[law] for law in system.law_of]))

    def sums_of(self, moles: Sequence[float]) -> list[float]:
        """What the species hold of each component, of half their squared charge, and of water."""
        sums = [0.0] * self.system.size
        for amount, own in zip(moles, self.system.sums, strict=True):
            for k, v in own:
                sums[k] += v * amount
        return sums

    def _jacobian(
        self, moles: Sequence[float], falls: Sequence[float], more: int
    ) -> tuple[list[float], list[list[float]]]:
        """How the sums change with ionic strength, and with the ln activities of the components and of
        water.

        The Jacobian has ``more`` rows and columns for minerals and a last column for the right-hand side,
        all zero.
        """
        system = self.system
        count, size = system.count, system.size
        slopes = [0.0] * size
        cells = [0.0] * (size * size)
        for amount, fall, own_sums, own_cells in zip(moles, falls, system.sums, system.cells, strict=True):
            for k, v in own_sums:
                slopes[k] += v * fall
            for cell, v in own_cells:
                cells[cell] += v * amount
        padding = [0.0] * (more + 1)
        matrix = [cells[start : start + size] + padding for start in range(0, size * size, size)]
        for k in range(1, count):
            row = matrix[k]
            for other in range(k):
                row[other] = matrix[other][k]
        matrix += [[0.0] * (size + more + 1) for _ in range(more)]
        return slopes, matrix

    def _minerals_wanted(
        self, active: Sequence[bool], solids: Sequence[float], x: Sequence[float], ln_water: float
    ) -> list[bool]:
        """The minerals this state calls for: those there with a positive amount, and those supersaturated."""
        return [solids[m] > 0.0 if on else self.ln_saturation(m, x, ln_water) > 1e-9 for m, on in enumerate(active)]

    def reason(self) -> str:
        """Why there is no balance, as far as the state shows."""
        if self.water_kg < 0.05:
            return said("There is not enough water: what was put in would bind nearly all of it.")
        return said(
            "No balance was found: this mixture is too concentrated for the activity model, which "
            "holds for waters and weak solutions."
        )


def _one_each(choices: Sequence[Sequence[int]]) -> list[int] | None:
    """A different member of each row of ``choices``, by augmenting paths; None where there is none.

    >>> _one_each([[4, 6], [4]])
    [6, 4]
    """
    owner: dict[int, int] = {}

    def settle(row: int, tried: set[int]) -> bool:
        for choice in choices[row]:
            if choice not in tried:
                tried.add(choice)
                if choice not in owner or settle(owner[choice], tried):
                    owner[choice] = row
                    return True
        return False

    if not all(settle(row, set()) for row in range(len(choices))):
        return None
    chosen = {row: choice for choice, row in owner.items()}
    return [chosen[row] for row in range(len(choices))]


def _solved(matrix: list[list[float]], plan: Plan | None) -> list[float] | None:
    """Solve the linear equations whose rows carry their right-hand side last; None where they are singular.

    Gaussian elimination by the plan, which touches only what may be filled; without one, or where a
    mineral's pivot vanishes, with exchange of rows.
    """
    spare = [row[:] for row in matrix]
    for r, c, touched, others in plan or ():
        pivot_row = matrix[r]
        pivot = pivot_row[c]
        if abs(pivot) < (_LEAST_MINERAL_PIVOT if r != c else _LEAST_PIVOT):
            plan = None
            break
        for k in touched:
            row = matrix[k]
            factor = row[c] / pivot
            for column in others:
                row[column] -= factor * pivot_row[column]
    if plan is None:
        matrix = spare
        plan = _eliminated_with_exchange(matrix)
        if plan is None:
            return None
    answer = [0.0] * len(matrix)
    answer.append(-1.0)  # for the right-hand side
    for r, c, _, others in reversed(plan):
        pivot_row = matrix[r]
        value = 0.0
        for column in others:
            value -= pivot_row[column] * answer[column]
        answer[c] = value / pivot_row[c]
    answer.pop()
    return answer if all(map(math.isfinite, answer)) else None


def _eliminated_with_exchange(matrix: list[list[float]]) -> Plan | None:
    """Eliminate in place, taking for each column the row that is largest there for its size; the plan it
    came to.
    """
    size = len(matrix)
    waiting = set(range(size))
    plan = []
    for c in range(size):
        shares = {k: abs(matrix[k][c]) / (max(map(abs, matrix[k][:size])) or 1.0) for k in waiting}
        r = max(shares, key=lambda k: shares[k])
        if shares[r] < _LEAST_MINERAL_PIVOT:
            return None
        waiting.remove(r)
        others = [column for column in range(c + 1, size + 1) if matrix[r][column]]
        plan.append((r, c, sorted(waiting), others))
        for k in waiting:
            factor = matrix[k][c] / matrix[r][c]
            if factor:
                matrix[k][c] = 0.0
                for column in others:
                    matrix[k][column] -= factor * matrix[r][column]
    return plan
