"""The stoichiometry of a mixture: which species and minerals it has, and where their amounts enter the equations.

* Unknowns: ln activity of each component (one ion per element, and H+), ionic strength, ln mass and ln activity of
  water, and the moles of each active mineral.
* In water open to air, carbonate follows from the pressure and pH, so carbon is eliminated in favour of H+ and water.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

from feedcalc.chemistry.activity import ActivityLaw, activity_law
from feedcalc.chemistry.constants import HYDROGEN_ION, LN10, WATER, ConstantSet, constant_set
from feedcalc.frozen import frozen

CARBONATE = "CO3-2"

_NEVER_WITH_AIR = ("portlandite",)

# Elimination plan: pivot row and column, and the rows and columns that the pivot changes.
Plan = list[tuple[int, int, list[int], list[int]]]


class System:
    """Unknowns and stoichiometry of a mixture, independent of amounts and temperature.

    Indices 0 to ``count`` - 2 are the components present, ``count`` - 1 is H+; ionic strength, water and the activity
    of water follow, ``size`` in all.
    """

    def __init__(self, chosen: ConstantSet, present: frozenset[str], allowed: frozenset[str], is_open: bool) -> None:
        self.chosen = chosen
        self.is_open = is_open
        self.elements = tuple(element for name, element in chosen.elements.items() if name in present)
        self.hydrogen_of_elements = [element.hydrogen for element in self.elements]
        self.water_of_elements = [element.water for element in self.elements]
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
        law_indices: dict[tuple[int, float | None, float | None], int] = {}
        self.law_of = [
            law_indices.setdefault((abs(one.charge), one.ion_size_angstrom, one.linear_term), len(law_indices))
            for one in species
        ]
        self.examples = [species[self.law_of.index(law)] for law in range(len(law_indices))]
        formulas = [self._folded(one.formation.components) for one in species]
        self.water = [water for _, water in formulas]
        self.hydrogen = [parts.get(self.count - 1, 0.0) for parts, _ in formulas]
        self.gross_hydrogen = [abs(amount) for amount in self.hydrogen]
        self.species_formulas = [
            (*self._places(parts), hydrogen, water, law)
            for (parts, water), hydrogen, law in zip(formulas, self.hydrogen, self.law_of, strict=True)
        ]
        made = [(parts, charge, water) for (parts, water), charge in zip(formulas, self.charge, strict=True)]
        self.sums = [self._sums(*one) for one in made]
        self.cells = [self._cells(*one) for one in made]
        self.acid_series = [
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

    def elimination_plan(self, active_minerals: tuple[int, ...]) -> Plan | None:
        """Return the cached elimination plan for these active minerals, or None if they are linearly dependent.

        The row of each mineral first eliminates one of its components, and the balance of this component the mineral;
        the remaining block is positive definite and is eliminated along its diagonal.
        """
        if active_minerals not in self._plans:
            chosen = _matching([[k for k, _ in self.mineral_parts[m]] for m in active_minerals])
            self._plans[active_minerals] = None if chosen is None else self._plan(active_minerals, chosen)
        return self._plans[active_minerals]

    def _plan(self, active_minerals: tuple[int, ...], chosen: Sequence[int]) -> Plan:
        size = self.size
        rows = self._pattern(active_minerals)
        order = []
        for place, k in enumerate(chosen, start=size):
            order += [(place, k), (k, place)]
        order += [(k, k) for k in range(size) if k not in chosen]
        waiting = set(range(len(rows)))
        plan = []
        for r, c in order:
            waiting.remove(r)
            changed_columns = sorted(rows[r] - {c})
            changed_rows = [k for k in sorted(waiting) if c in rows[k]]
            for k in changed_rows:
                rows[k] = (rows[k] | rows[r]) - {c}
            plan.append((r, c, changed_rows, changed_columns))
        return plan

    def _pattern(self, active_minerals: tuple[int, ...]) -> list[set[int]]:
        """Return the columns of each row of the Jacobian that may be nonzero, the right-hand side included."""
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
        for column, m in enumerate(active_minerals, start=size):
            rows.append({k for k, _ in self.mineral_parts[m]} | {self.at_activity})
            rows[self.at_water].add(column)
            for k, _ in self.mineral_parts[m]:
                rows[k].add(column)
        for filled in rows:
            filled.add(size + len(active_minerals))
        return rows

    def _is_acid_of(self, place: int, parts: Mapping[int, float]) -> bool:
        """Return whether a species consists of one component and hydrogen ions only."""
        return {k: v for k, v in parts.items() if k != self.count - 1} == {place: 1.0}

    def _is_air(self, species: int) -> bool:
        return self.is_open and self.carbon[species] > 0.0

    def _folded(self, components: Mapping[str, float]) -> tuple[dict[int, float], float]:
        """Return the amounts by index, and water; in open water CO3-- is replaced by CO2(g) + H2O - 2 H+."""
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
        """Return the two component indices of a species, with repeats; ``count`` fills up if it has fewer."""
        places = [place for place, amount in parts.items() if place != self.count - 1 for _ in range(int(amount))]
        first, second = (*places, self.count, self.count)[:2]
        return first, second

    def _sums(self, parts: Mapping[int, float], charge: int, water: float) -> tuple[tuple[int, float], ...]:
        """Return what a mole adds to each sum: components, half the squared charge, water."""
        sums = dict(parts)
        if charge:
            sums[self.at_strength] = 0.5 * charge * charge
        if water:
            sums[self.at_water] = water
        return tuple(sums.items())

    def _cells(self, parts: Mapping[int, float], charge: int, water: float) -> tuple[tuple[int, float], ...]:
        """Return what a mole adds to each cell of the Jacobian, at row * size + column.

        The cells are the upper triangle of the components, the ionic strength row and the water activity column.
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


@frozen
class Conditions:
    """A system at one temperature: ln K of its species and minerals, and its activity laws."""

    system: System
    kelvin: float
    ln_k: list[float]
    mineral_ln_k: list[float]
    gas_ln_k: float
    laws: list[ActivityLaw]


@lru_cache(maxsize=128)
def system_of(constants: str, present: frozenset[str], allowed: frozenset[str], is_open: bool) -> System:
    """Return the cached system of these elements and minerals."""
    return System(constant_set(constants), present, allowed, is_open)


@lru_cache(maxsize=512)
def conditions_at(
    constants: str, present: frozenset[str], allowed: frozenset[str], is_open: bool, kelvin: float
) -> Conditions:
    """Return the cached system of these elements and minerals at a temperature."""
    system = system_of(constants, present, allowed, is_open)
    chosen = system.chosen
    log_k = chosen.log_k_of_species(kelvin)
    mineral_log_k = chosen.log_k_of_minerals(kelvin)
    return Conditions(
        system=system,
        kelvin=kelvin,
        ln_k=[LN10 * log_k[position] for position in system.kept],
        mineral_ln_k=[LN10 * mineral_log_k[name] for name in system.minerals],
        gas_ln_k=LN10 * chosen.gases["carbon dioxide"].log_k(kelvin),
        laws=[activity_law(one, kelvin) for one in system.examples],
    )


def _matching(choices: Sequence[Sequence[int]]) -> list[int] | None:
    """Return a different member of each row of ``choices`` (bipartite matching, augmenting paths), or None.

    >>> _matching([[4, 6], [4]])
    [6, 4]
    """
    row_of: dict[int, int] = {}

    def assign(row: int, tried: set[int]) -> bool:
        for choice in choices[row]:
            if choice not in tried:
                tried.add(choice)
                if choice not in row_of or assign(row_of[choice], tried):
                    row_of[choice] = row
                    return True
        return False

    if not all(assign(row, set()) for row in range(len(choices))):
        return None
    chosen = {row: choice for choice, row in row_of.items()}
    return [chosen[row] for row in range(len(choices))]
