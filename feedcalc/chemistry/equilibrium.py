"""Where the elements put into water end up: in ions, in ion pairs, in minerals, in the air.

Rules of this module:

* Totals go in as neutral oxides and acids, so charge balance is the balance of hydrogen ions against water; that balance stands
  in for it, because it has no large terms to cancel.
* Unknowns are the natural logarithms of the activities of the components present (one ion per element, and H+), the moles of
  the minerals that form, and ionic strength. Each step solves the linearised balances with an exact Jacobian. The mass of water
  and its activity, which change by about a hundredth as much, are taken from the step before.
* For fixed activity coefficients the problem is convex: minerals are the multipliers of the constraints that no named mineral be
  supersaturated, so the answer is one and does not depend on where the search starts.
* A mineral is taken up when it is supersaturated and dropped when its amount would be negative.
* Water open to air at a stated pressure of carbon dioxide: the carbonate activity follows from the pressure and pH, so carbon is no
  unknown. Lime (portlandite) and open air never coexist and are not tried together.
* The answer is accepted only when every balance closes to BALANCE_TOLERANCE relative; else `NoSolution` says why.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

from feedcalc.chemistry.activity import (
    HIGHEST_IONIC_STRENGTH,
    TRUSTED_IONIC_STRENGTH,
    ActivityLaw,
    activity_law,
    water_constant,
)
from feedcalc.chemistry.conductivity import conductivity_millisiemens_per_cm
from feedcalc.chemistry.constants import HYDROGEN_ION, LN10, WATER, ConstantSet, Reaction, constant_set
from feedcalc.chemistry.volume import solution_litres
from feedcalc.errors import NoSolution
from feedcalc.physics.water import HIGHEST_KELVIN, LOWEST_KELVIN, ZERO_CELSIUS_KELVIN

ELEMENTS: tuple[str, ...] = tuple(constant_set().elements)
MINERALS: tuple[str, ...] = tuple(constant_set().minerals)
MOL_WATER_PER_KG = 1000.0 / constant_set().water_gram_per_mol
BALANCE_TOLERANCE = 1e-9

_CONVERGED = 1e-10  # below BALANCE_TOLERANCE, so that rounding can not tip an answer over it
_MOST_STEPS = 60
_WALK_STEPS = 150
_SHRINKS = 22  # of 0.3 each: to about a million-millionth
_NEUTRAL_LN_H = -16.0
_STRONGEST = 10.0  # mol/kg, beyond which the activity model says nothing
_LONGEST_STEP = 6.0  # natural-log units
_DRIEST = -6.0  # ln kg: less than a four-hundredth of the water is left
_LARGEST_LN = 100.0
_LOWEST_TOTAL = 1e-15  # mol/kg: below this an element is as good as absent
_NEVER_WITH_AIR = ("portlandite",)


@dataclass(frozen=True)
class Equilibrium:
    """What came of the totals. Amounts are per kilogram of water put in unless a name says otherwise.

    ``balance_error`` is the largest relative gap of any balance (mass of each element, hydrogen ions); ``steps`` how many
    steps of the solver it took.
    """

    constants: str
    temperature_kelvin: float
    totals: Mapping[str, float]
    open_to_air: bool
    ph: float
    ionic_strength: float
    water_kg: float
    formed: Mapping[str, float]
    molality: Mapping[str, float]
    log_activity: Mapping[str, float]
    balance_error: float
    steps: int

    @cached_property
    def dissolved(self) -> Mapping[str, float]:
        """Element to mol dissolved, whatever species it is in; in open water carbon is what the air leaves in it."""
        chosen = constant_set(self.constants)
        amounts = dict.fromkeys((element.component for element in chosen.elements.values()), 0.0)
        for species in chosen.species:
            molality = self.molality.get(species.name, 0.0)
            if molality:
                for component, share in species.formation.components.items():
                    if component in amounts:
                        amounts[component] += share * molality
        return {name: amounts[element.component] * self.water_kg for name, element in chosen.elements.items()}

    @cached_property
    def alkalinity(self) -> float:
        """Equivalents of strong acid per kg of water left that bring the solution to the carbon dioxide endpoint.

        Dickson 1981: proton acceptors less donors against the level CO2, H2PO4-, NH4+, H4SiO4, acetic acid, H2-citrate-:
        [HCO3-] + 2[CO3--] + [OH-] - [H+] + [HPO4--] + 2[PO4---] + [NH3] + ... with every ion pair counted by what it releases.
        """
        chosen = constant_set(self.constants)
        weight = {element.component: element.alkalinity for element in chosen.elements.values()}
        weight[HYDROGEN_ION] = -1.0
        return sum(
            self.molality[species.name]
            * sum(weight.get(name, 0.0) * share for name, share in species.formation.components.items())
            for species in chosen.species
            if species.name in self.molality
        )

    @cached_property
    def litres(self) -> float:
        """Volume of the solution made from one kilogram of water put in; see `feedcalc.chemistry.volume`."""
        return self.water_kg * solution_litres(self.molality, self.ionic_strength, self.temperature_kelvin)

    @cached_property
    def conductivity(self) -> float:
        """Electrical conductivity at 25 degC, mS/cm; see `feedcalc.chemistry.conductivity`."""
        return conductivity_millisiemens_per_cm(
            self.molality, self.ionic_strength, self.water_kg / self.litres
        )

    @cached_property
    def carbon_dioxide_atm(self) -> float:
        """Pressure of carbon dioxide, atm, with which the solution is at equilibrium; 0 where there is no carbon."""
        return self._gas_pressure("carbon dioxide")

    @cached_property
    def ammonia_atm(self) -> float:
        """Pressure of ammonia, atm, with which the solution is at equilibrium; 0 where there is none."""
        return self._gas_pressure("ammonia")

    @cached_property
    def saturation(self) -> Mapping[str, float]:
        """Saturation index (log10 of ion product over constant) of every known mineral whose elements are present."""
        chosen = constant_set(self.constants)
        log_k = chosen.log_k_of_minerals(self.temperature_kelvin)
        return {
            name: product - log_k[name]
            for name, reaction in chosen.minerals.items()
            if (product := self._log_product(reaction)) is not None
        }

    @property
    def within_range(self) -> bool:
        """Whether the activity model can be trusted: ionic strength up to 0.5 mol/kg."""
        return self.ionic_strength <= TRUSTED_IONIC_STRENGTH

    @property
    def notes(self) -> tuple[str, ...]:
        """What limits the trust in these figures, in plain words; empty where nothing does."""
        if self.ionic_strength > HIGHEST_IONIC_STRENGTH:
            return (
                "This solution is too strong for the activity model: take the figures as a rough indication only.",
            )
        if self.ionic_strength > TRUSTED_IONIC_STRENGTH:
            return ("This solution is at the edge of what the activity model can do: expect larger errors.",)
        return ()

    def milligrams_per_litre(self, element: str) -> float:
        """Dissolved ``element`` in mg of the element per litre of solution (ammonia as nitrogen). `KeyError` if unknown."""
        gram_per_mol = constant_set(self.constants).elements[element].gram_per_mol
        return self.dissolved[element] * gram_per_mol * 1000.0 / self.litres

    def conductivity_at(self, temperature_kelvin: float) -> float:
        """Electrical conductivity, mS/cm, of the ions as they are, at another temperature."""
        return conductivity_millisiemens_per_cm(
            self.molality,
            self.ionic_strength,
            self.water_kg / self.litres,
            temperature_kelvin,
        )

    def _gas_pressure(self, gas: str) -> float:
        reaction = constant_set(self.constants).gases[gas]
        product = self._log_product(reaction)
        return 0.0 if product is None else 10.0 ** (product - reaction.log_k(self.temperature_kelvin))

    def _log_product(self, reaction: Reaction) -> float | None:
        product = 0.0
        for component, amount in reaction.components.items():
            if component not in self.log_activity:
                return None
            product += amount * self.log_activity[component]
        return product


def equilibrate(
    totals: Mapping[str, float],
    temperature_kelvin: float,
    minerals: Collection[str] = (),
    carbon_dioxide_atm: float | None = None,
    nearby: Equilibrium | None = None,
    constants: str = "chosen",
) -> Equilibrium:
    """The equilibrium of ``totals`` (mol per kilogram of pure water, as neutral oxides and acids) at a temperature.

    ``totals``: element to mol of K2O/2, Na2O/2, CaO, MgO, CO2, H2SO4, HCl, H3PO4, NH3, SiO2 ..., dissolved or not; missing is 0.
    ``minerals``: the only ones that may form. ``carbon_dioxide_atm``: None for closed water, else the pressure of carbon dioxide
    in the air above it (1 atm in all; the carbon of ``totals`` is then overruled by the air). ``nearby``: an answer for
    similar totals, to start from; it saves time and does not change the answer. ``constants``: see
    `feedcalc.chemistry.constants`.

    Valid from 0 to 100 degC (most constants were measured up to about 50) and to an ionic strength of about 0.5 mol/kg.
    Raises `NoSolution` with a plain reason where there is no balanced answer (too hot or cold for water, more oxide than the
    water can slake), and `ValueError` for unknown names or amounts that are not finite and non-negative.

    >>> lime_water = equilibrate({"calcium": 10.0}, 298.15, minerals=["portlandite"])
    >>> round(lime_water.ph, 1), round(lime_water.formed["portlandite"], 1)
    (12.5, 10.0)
    """
    chosen = constant_set(constants)
    given = _checked_totals(totals, chosen)
    allowed = _checked_minerals(minerals, chosen)
    if not LOWEST_KELVIN <= temperature_kelvin <= HIGHEST_KELVIN:
        raise NoSolution(
            f"The chemistry holds for liquid water from 0 to 100 °C, not at {temperature_kelvin - ZERO_CELSIUS_KELVIN:g} °C."
        )
    if carbon_dioxide_atm is not None and not 0.0 < carbon_dioxide_atm <= 1.0:
        raise ValueError(
            f"carbon dioxide pressure must be above 0 and at most 1 atm, got {carbon_dioxide_atm!r}"
        )
    is_open = carbon_dioxide_atm is not None
    present = frozenset(
        name
        for name, amount in given.items()
        if amount > _LOWEST_TOTAL and not (is_open and name == "carbon")
    )
    system = _system_at(constants, present, frozenset(allowed), is_open, temperature_kelvin)
    search = _Search(system, given, carbon_dioxide_atm)
    if not (nearby is not None and search.start_from(nearby) and search.run(_MOST_STEPS)):
        search.start_from_totals()
        if not search.run(_MOST_STEPS):
            search.walk(_WALK_STEPS)
            if not search.run(_MOST_STEPS):
                raise NoSolution(search.reason())
    return search.answer(allowed)


def _checked_totals(totals: Mapping[str, float], chosen: ConstantSet) -> dict[str, float]:
    given = {}
    for name, amount in totals.items():
        if name not in chosen.elements:
            raise ValueError(f"unknown element {name!r}; known: {', '.join(chosen.elements)}")
        if not (math.isfinite(amount) and amount >= 0.0):
            raise ValueError(f"{name} must be a finite amount of at least 0 mol, got {amount!r}")
        given[name] = float(amount)
    return given


def _checked_minerals(minerals: Collection[str], chosen: ConstantSet) -> tuple[str, ...]:
    for name in minerals:
        if name not in chosen.minerals:
            raise ValueError(f"unknown mineral {name!r}; known: {', '.join(chosen.minerals)}")
    return tuple(minerals)


class _System:
    """What does not depend on the amounts: unknowns, species, constants at one temperature.

    Index 0 to count - 2 are the components present, count - 1 is H+; in open water carbonate is folded into H+ and water.
    ``terms`` of a species: (first component or blank, second or blank, hydrogen, water); the blank index is ``count``.
    """

    def __init__(
        self,
        chosen: ConstantSet,
        present: frozenset[str],
        allowed: frozenset[str],
        is_open: bool,
        kelvin: float,
    ) -> None:
        self.chosen = chosen
        self.kelvin = kelvin
        self.is_open = is_open
        self.elements = tuple(element for name, element in chosen.elements.items() if name in present)
        self.components = (*(element.component for element in self.elements), HYDROGEN_ION)
        self.count = len(self.components)
        self._index = {name: position for position, name in enumerate(self.components)}
        known = {*self.components, WATER, *(("CO3-2",) if is_open else ())}
        log_k = chosen.log_k_of_species(kelvin)
        chosen_species = [
            (species, log_k[position])
            for position, species in enumerate(chosen.species)
            if known.issuperset(species.formation.components)
        ]
        self.names = tuple(species.name for species, _ in chosen_species)
        self.ln_k = [LN10 * value for _, value in chosen_species]
        self.carbon = [species.formation.components.get("CO3-2", 0.0) for species, _ in chosen_species]
        laws: dict[ActivityLaw, int] = {}
        self.law_of = [
            laws.setdefault(activity_law(species, kelvin), len(laws)) for species, _ in chosen_species
        ]
        self.laws = tuple(laws)
        self.charge = [species.charge for species, _ in chosen_species]
        self.half_square = [0.5 * charge * charge for charge in self.charge]
        formulas = [self._folded(species.formation.components) for species, _ in chosen_species]
        self.water = [water for _, water in formulas]
        self.parts = [tuple(parts.items()) for parts, _ in formulas]
        self.products = [
            tuple((k, l, v * w) for k, v in parts for l, w in parts if k <= l) for parts in self.parts
        ]
        self.places = []
        for parts in self.parts:
            ones = [
                position
                for position, amount in parts
                if position != self.count - 1
                for _ in range(int(amount))
            ]
            ones += [self.count] * (2 - len(ones))
            hydrogen = dict(parts).get(self.count - 1, 0.0)
            self.places.append((ones[0], ones[1], hydrogen))
        mineral_log_k = chosen.log_k_of_minerals(kelvin)
        self.minerals = tuple(
            name
            for name, reaction in chosen.minerals.items()
            if name in allowed
            and known.issuperset(reaction.components)
            and not (is_open and name in _NEVER_WITH_AIR)
        )
        self.mineral_ln_k = [LN10 * mineral_log_k[name] for name in self.minerals]
        self.mineral_carbon = [chosen.minerals[name].components.get("CO3-2", 0.0) for name in self.minerals]
        folded = [self._folded(chosen.minerals[name].components) for name in self.minerals]
        self.mineral_parts = [tuple(parts.items()) for parts, _ in folded]
        self.mineral_water = [water for _, water in folded]
        self.gas_ln_k = LN10 * chosen.gases["carbon dioxide"].log_k(kelvin)
        self.ladders = [self._ladder(position) for position in range(self.count - 1)]

    def _folded(self, components: Mapping[str, float]) -> tuple[dict[int, float], float]:
        """Amounts by index, and water; in open water CO3-- is CO2 of the air + H2O - 2 H+."""
        hydrogen = components.get(HYDROGEN_ION, 0.0)
        water = components.get(WATER, 0.0)
        if self.is_open:
            carbon = components.get("CO3-2", 0.0)
            hydrogen -= 2.0 * carbon
            water += carbon
        parts = {
            self._index[name]: amount
            for name, amount in components.items()
            if name in self._index and name != HYDROGEN_ION
        }
        if hydrogen:
            parts[self.count - 1] = hydrogen
        return parts, water

    def _ladder(self, position: int) -> list[int]:
        """Species made of one component and hydrogen ions only, in closed water."""
        return [
            index
            for index, parts in enumerate(self.parts)
            if {place for place, _ in parts} | {self.count - 1} == {position, self.count - 1}
            and dict(parts).get(position) == 1.0
            and not (self.is_open and self.carbon[index])
        ]


@lru_cache(maxsize=512)
def _system_at(
    constants: str, present: frozenset[str], allowed: frozenset[str], is_open: bool, kelvin: float
) -> _System:
    return _System(constant_set(constants), present, allowed, is_open, kelvin)


class _Search:
    """One solve: the state of the unknowns, and the steps that improve it."""

    def __init__(self, system: _System, given: Mapping[str, float], carbon_dioxide_atm: float | None) -> None:
        self.system = system
        self.given = given
        self.totals = [given[element.name] for element in system.elements]
        self.totals.append(sum(element.hydrogen * given[element.name] for element in system.elements))
        self.water_total = MOL_WATER_PER_KG + sum(
            element.water * given[element.name] for element in system.elements
        )
        self.ln_k = system.ln_k
        self.mineral_ln_k = system.mineral_ln_k
        if carbon_dioxide_atm is not None:
            carbonate = math.log(carbon_dioxide_atm) + system.gas_ln_k
            self.ln_k = [k + c * carbonate for k, c in zip(self.ln_k, system.carbon, strict=True)]
            self.mineral_ln_k = [
                k - c * carbonate for k, c in zip(self.mineral_ln_k, system.mineral_carbon, strict=True)
            ]
        self.x: list[float] = []
        self.ionic_strength = 0.0
        self.water_kg = 1.0
        self.ln_water = 0.0
        self.solids: list[float] = []
        self.active: list[bool] = []
        self.steps = 0
        self.error = math.inf
        self.moles: list[float] = []

    def start_from(self, nearby: Equilibrium) -> bool:
        """Take over a neighbour's answer; False where it lacks an element that is present here."""
        known = nearby.log_activity
        if not all(name in known for name in self.system.components):
            return False
        self.x = [LN10 * known[name] for name in self.system.components]
        self.ionic_strength = nearby.ionic_strength
        self.water_kg = nearby.water_kg
        self.ln_water = LN10 * known[WATER]
        self.solids = [nearby.formed.get(name, 0.0) for name in self.system.minerals]
        self.active = [amount > 0.0 for amount in self.solids]
        return True

    def start_from_totals(self) -> None:
        """A first guess from the totals alone: pH by bisection on a balance without ion pairs, minerals by their caps."""
        system, totals = self.system, self.totals
        last = system.count - 1
        index = {name: position for position, name in enumerate(system.components)}
        strength = 1e-7 + 0.5 * sum(
            totals[index[name]] for name in ("K+", "Na+", "Cl-", "NH4+") if name in index
        )
        strength = min(0.7, strength + 2.0 * totals[index["SO4-2"]] if "SO4-2" in index else strength)
        root = math.sqrt(strength)
        shift = [b * strength - d * root / (1.0 + c * root) for d, c, b in system.laws]
        shift = [shift[law] for law in system.law_of]  # ln gamma by species
        names = system.names
        of_name = {name: position for position, name in enumerate(names)}
        rungs = [
            [
                (self.ln_k[i] - shift[i], dict(system.parts[i]).get(last, 0.0), system.charge[i])
                for i in ladder
            ]
            for ladder in system.ladders
        ]
        hydroxide = self.ln_k[of_name["OH-"]] - shift[of_name["OH-"]]
        proton = -shift[of_name["H+"]]
        folded_carbon = [
            (self.ln_k[i] - shift[i], dict(system.parts[i])[last], system.charge[i])
            for i in range(len(names))
            if system.is_open and names[i] in ("CO3-2", "HCO3-")
        ]
        mineral_k = dict(zip(system.minerals, self.mineral_ln_k, strict=True))
        calcium, magnesium, carbon = index.get("Ca+2"), index.get("Mg+2"), index.get("CO3-2")
        double = shift[of_name["Ca+2"]] if calcium is not None else 0.0
        free = list(totals)

        def net_charge(ln_h: float) -> float:
            net = math.exp(ln_h + proton) - math.exp(hydroxide - ln_h)
            for position in range(last):
                weights = [math.exp(k + n * ln_h) for k, n, _ in rungs[position]]
                free[position] = totals[position] / sum(weights) * weights[0]
            if magnesium is not None and "brucite" in mineral_k:
                free[magnesium] = min(
                    free[magnesium], math.exp(min(50.0, mineral_k["brucite"] + 2.0 * ln_h - double))
                )
            if calcium is not None:
                if "portlandite" in mineral_k:
                    free[calcium] = min(
                        free[calcium], math.exp(min(50.0, mineral_k["portlandite"] + 2.0 * ln_h - double))
                    )
                if "calcite" in mineral_k:
                    if system.is_open:
                        free[calcium] = min(
                            free[calcium], math.exp(min(50.0, mineral_k["calcite"] + 2.0 * ln_h - double))
                        )
                    elif carbon is not None:
                        self._share_calcite(
                            free, totals, calcium, carbon, mineral_k["calcite"] - 2.0 * double
                        )
            for position in range(last):
                scale = free[position]
                lowest = rungs[position][0][0]
                for k, n, charge in rungs[position]:
                    net += charge * scale * math.exp(k + n * ln_h - lowest)
            for k, n, charge in folded_carbon:
                net += charge * math.exp(min(50.0, k + n * ln_h))
            return net

        low, high = -35.0, 2.0
        for _ in range(10):
            middle = 0.5 * (low + high)
            if net_charge(middle) > 0.0:
                high = middle
            else:
                low = middle
        ln_h = 0.5 * (low + high)
        net_charge(ln_h)
        self.x = [math.log(max(free[position], 1e-30)) - rungs[position][0][0] for position in range(last)]
        self.x.append(ln_h)
        self.ionic_strength = self._strength_of_guess(rungs, shift)
        self.water_kg = 1.0
        self.ln_water = 0.0
        self.active = [self._cap_by_mineral(m) for m in range(len(system.minerals))]
        self.solids = [0.0] * len(system.minerals)

    def _cap_by_mineral(self, mineral: int) -> bool:
        """Whether the guess is saturated with a mineral; brings down its scarcest component where it is above."""
        above = self._ln_saturation(mineral, self.x, self.ln_water)
        if above > 0.1:
            parts = [(k, v) for k, v in self.system.mineral_parts[mineral] if k != self.system.count - 1]
            place, amount = min(parts, key=lambda part: self.totals[part[0]] / part[1])
            self.x[place] -= above / amount
        return above > -0.1

    def _strength_of_guess(self, rungs: list[list[tuple[float, float, int]]], shift: list[float]) -> float:
        """Ionic strength of the guess, ion pairs left out."""
        x, last = self.x, self.system.count - 1
        position = self.system.names.index("OH-")
        strength = 0.5 * (math.exp(x[last]) + math.exp(self.ln_k[position] - shift[position] - x[last]))
        for place, own in enumerate(rungs):
            strength += 0.5 * sum(z * z * math.exp(min(50.0, k + n * x[last] + x[place])) for k, n, z in own)
        return min(strength, 3.0)

    @staticmethod
    def _share_calcite(
        free: list[float], totals: Sequence[float], calcium: int, carbon: int, ln_product: float
    ) -> None:
        """Take equal amounts out of calcium and carbon until their product is at calcite's, lime being a store."""
        share = free[carbon] / totals[carbon]  # of dissolved carbon that is bare carbonate
        store, inorganic = totals[calcium], totals[carbon]
        product = math.exp(ln_product) / share
        dissolved = free[calcium]
        if dissolved < store and store - inorganic + product / dissolved > dissolved:
            left = min(inorganic, product / dissolved)
        else:
            if store * inorganic <= product:
                free[calcium] = store
                return
            excess = store - inorganic
            half_root = 0.5 * math.sqrt(excess * excess + 4.0 * product)
            if excess > 0.0:
                dissolved = half_root + 0.5 * excess
                left = product / dissolved
            else:
                left = half_root - 0.5 * excess
                dissolved = product / left
        free[calcium] = dissolved
        free[carbon] = left * share

    def _ln_saturation(self, mineral: int, x: Sequence[float], ln_water: float) -> float:
        gap = self.system.mineral_water[mineral] * ln_water - self.mineral_ln_k[mineral]
        for k, v in self.system.mineral_parts[mineral]:
            gap += v * x[k]
        return gap

    def run(self, most_steps: int) -> bool:
        """Newton steps on all unknowns at once until every balance closes; whether it did.

        Unknowns in order: components and H+ (ln activity), ionic strength, ln of the water's mass, ln of its activity,
        then one per mineral at hand. The minerals at hand change with each step, once steps are short.
        """
        system = self.system
        count = system.count
        at_strength, at_water, at_activity, size = count, count + 1, count + 2, count + 3
        water_slope = water_constant("water_activity_slope")
        x, strength = list(self.x), self.ionic_strength
        ln_kg, ln_water = math.log(self.water_kg), self.ln_water
        solids, active = list(self.solids), list(self.active)
        every_mineral = range(len(solids))
        for step in range(most_steps):
            water_kg = math.exp(ln_kg)
            moles, slopes = self._moles(x, strength, ln_kg, ln_water)
            at_hand = [m for m in every_mineral if active[m]]
            matrix = [[0.0] * (size + len(at_hand) + 1) for _ in range(size + len(at_hand))]
            dissolved, strength_sum, water_sum, fall_sum = self._fill(matrix, moles, slopes)
            strength_row, water_row, activity_row = matrix[at_strength], matrix[at_water], matrix[at_activity]
            # Gaps of the balances, and the terms of water and minerals in them.
            balance = [amount - total for amount, total in zip(dissolved, self.totals, strict=True)]
            sum_moles = sum(moles)
            strength_gap = strength_sum - water_kg * strength
            water_gap = water_sum - self.water_total + MOL_WATER_PER_KG * water_kg
            activity = math.exp(ln_water)
            activity_gap = activity - 1.0 + water_slope * sum_moles / water_kg
            worst_mineral = 0.0
            for place, m in enumerate(at_hand, start=size):
                row = matrix[place]
                gap = self._ln_saturation(m, x, ln_water)
                for k, v in system.mineral_parts[m]:
                    row[k] = matrix[k][place] = v
                    balance[k] += v * solids[m]
                row[at_activity] = water_row[place] = system.mineral_water[m]
                water_gap += system.mineral_water[m] * solids[m]
                row[-1] = -gap
                worst_mineral = max(worst_mineral, abs(gap))
            error = self._relative_gap(balance, [matrix[k][k] for k in range(count)], solids, at_hand)
            if (
                error < _CONVERGED
                and worst_mineral < 1e-9
                and abs(strength_gap) <= 1e-9 * strength * water_kg
                and abs(water_gap) <= 1e-9 * water_kg
                and abs(activity_gap) <= 1e-9
            ):
                wanted = self._minerals_wanted(active, solids, x, ln_water)
                if wanted == active:
                    self.x, self.ionic_strength, self.water_kg, self.ln_water = (
                        x,
                        strength,
                        water_kg,
                        ln_water,
                    )
                    self.solids, self.active, self.moles = solids, active, moles
                    self.error, self.steps = error, self.steps + step
                    return True
                active = wanted
                solids = [amount if on else 0.0 for amount, on in zip(solids, active, strict=True)]
                continue
            for k in range(count):
                row = matrix[k]
                row[-1] = -balance[k]
                row[at_water] = dissolved[k]
                activity_row[k] = water_slope * dissolved[k] / water_kg
            if abs(strength_gap) < 0.5 * water_kg * strength:
                strength_row[at_strength] -= water_kg
                strength_row[at_water] = strength_gap
            else:  # far off, where the slope of the activity coefficients misleads: take the sum as it is
                for row in matrix:
                    row[at_strength] = 0.0
                strength_row[:] = [0.0] * len(strength_row)
                strength_row[at_strength] = -water_kg
            strength_row[-1] = -strength_gap
            water_row[at_water] = MOL_WATER_PER_KG * water_kg + water_sum
            water_row[-1] = -water_gap
            activity_row[at_strength] = water_slope * fall_sum / water_kg
            activity_row[at_activity] = activity + water_slope * water_sum / water_kg
            activity_row[-1] = -activity_gap
            change = _solution(matrix)
            if change is None:
                return False
            longest = 0.0
            for k in range(count):
                delta = min(max(change[k], -_LONGEST_STEP), _LONGEST_STEP)
                longest = max(longest, abs(delta))
                x[k] += delta
            strength = min(max(strength + change[at_strength], 0.2 * strength), 5.0 * strength + 1e-7)
            ln_kg = ln_kg + min(max(change[at_water], -0.7), 0.7)
            ln_water = min(max(ln_water + change[at_activity], ln_water - 0.5, -3.0), 0.0)
            if ln_kg < _DRIEST:
                return False
            for place, m in enumerate(at_hand, start=size):
                solids[m] += change[place]
            if longest < 1.0:
                wanted = self._minerals_wanted(active, solids, x, ln_water)
                if wanted != active:
                    active = wanted
                    solids = [amount if on else 0.0 for amount, on in zip(solids, active, strict=True)]
        return False

    def walk(self, most_steps: int) -> None:
        """Come near the answer from anywhere, slowly: for guesses from which Newton's steps run astray.

        An interior-point walk on the convex problem: every mineral has an amount and a distance from saturation, both
        kept positive while their product shrinks. Ionic strength, water and its activity follow half-way each step.
        """
        system, count = self.system, self.system.count
        minerals = range(len(self.solids))
        x = [math.log(total) - 2.0 for total in self.totals[:-1]]
        x.append(_NEUTRAL_LN_H)
        strength, ln_kg, ln_water = 0.1, 0.0, 0.0
        slack = [max(1.0, -self._ln_saturation(m, x, ln_water)) for m in minerals]
        targets = [
            0.1 * min(self.totals[k] / v for k, v in parts if k != count - 1)
            for parts in system.mineral_parts
        ]
        solids = [target / gap for target, gap in zip(targets, slack, strict=True)]
        shrunk = 0
        water_slope = water_constant("water_activity_slope")
        for _ in range(most_steps):
            moles, slopes = self._moles(x, strength, ln_kg, ln_water)
            matrix = [[0.0] * (count + 4) for _ in range(count + 3)]
            dissolved, strength_sum, water_sum, _ = self._fill(matrix, moles, slopes)
            matrix = [[*row[:count], 0.0] for row in matrix[:count]]
            right = [total - amount for total, amount in zip(self.totals, dissolved, strict=True)]
            for m in minerals:
                stiffness = solids[m] / slack[m]
                gap = self._ln_saturation(m, x, ln_water) + slack[m]
                push = targets[m] / slack[m] + stiffness * gap
                for k, v in system.mineral_parts[m]:
                    right[k] -= v * push
                    for l, w in system.mineral_parts[m]:
                        matrix[k][l] += stiffness * v * w
            for k in range(count):
                matrix[k][k] *= 1.0 + 1e-12
                matrix[k][-1] = right[k]
            change = _solution(matrix)
            if change is None:
                return
            share = min(1.0, 3.0 / max(1e-30, max(abs(delta) for delta in change)))
            moves = []
            for m in minerals:
                gap = self._ln_saturation(m, x, ln_water) + slack[m]
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
            strength = math.sqrt(strength * min(max(strength_sum / kg, 1e-9), _STRONGEST))
            left = self.water_total - water_sum
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

    def _moles(
        self, x: Sequence[float], strength: float, ln_kg: float, ln_water: float
    ) -> tuple[list[float], list[float]]:
        """Moles of every species, and the slope of its ln activity coefficient with ionic strength."""
        system = self.system
        root = math.sqrt(strength) if strength > 1e-14 else 1e-7
        offsets, slopes = [], []
        for d, c, b in system.laws:
            below = 1.0 + c * root
            offsets.append(ln_kg + d * root / below - b * strength)
            slopes.append(b - 0.5 * d / (root * below * below))
        padded = [*x, 0.0]
        hydrogen = x[-1]
        exp, longest = math.exp, _LARGEST_LN
        moles = []
        for k, (i, j, n), w, law in zip(self.ln_k, system.places, system.water, system.law_of, strict=True):
            power = k + padded[i] + padded[j] + n * hydrogen + w * ln_water + offsets[law]
            moles.append(exp(power if power < longest else longest))
        return moles, [slopes[law] for law in system.law_of]

    def _fill(
        self, matrix: list[list[float]], moles: Sequence[float], slopes: Sequence[float]
    ) -> tuple[list[float], float, float, float]:
        """Write the derivatives of the balances that come from the dissolved species.

        Returns what is dissolved of each component, and the sums over the species of half the squared charge, of
        bound water, and of what one unit of ionic strength would change.
        """
        system = self.system
        count = system.count
        dissolved = [0.0] * count
        strength_row, water_row = matrix[count], matrix[count + 1]
        strength_sum = strength_slope = water_sum = fall_sum = 0.0
        for amount, parts, products, half, water, slope in zip(
            moles, system.parts, system.products, system.half_square, system.water, slopes, strict=True
        ):
            fall = -amount * slope
            fall_sum += fall
            for k, v in parts:
                dissolved[k] += v * amount
                matrix[k][count] += v * fall
                if half:
                    strength_row[k] += half * v * amount
                if water:
                    water_row[k] += water * v * amount
            for k, l, v in products:
                matrix[k][l] += v * amount
            if half:
                strength_sum += half * amount
                strength_slope += half * fall
            if water:
                wet = water * amount
                water_sum += wet
                water_row[count] += water * fall
                water_row[count + 2] += water * wet
                strength_row[count + 2] += half * wet
        for k in range(count):
            row = matrix[k]
            row[count + 2] = water_row[k]
            for l in range(k):
                row[l] = matrix[l][k]
        strength_row[count] = strength_slope
        return dissolved, strength_sum, water_sum, fall_sum

    def _relative_gap(
        self,
        balance: Sequence[float],
        diagonal: Sequence[float],
        solids: Sequence[float],
        at_hand: Sequence[int],
    ) -> float:
        """The largest gap of a balance, relative to what it holds: total, dissolved and in minerals.

        ``diagonal`` of the Jacobian stands for what is dissolved, because there no signs cancel.
        """
        held = [abs(total) + amount for total, amount in zip(self.totals, diagonal, strict=True)]
        for m in at_hand:
            for k, v in self.system.mineral_parts[m]:
                held[k] += abs(v * solids[m])
        return max(abs(gap) / (size or 1.0) for gap, size in zip(balance, held, strict=True))

    def _minerals_wanted(
        self, active: Sequence[bool], solids: Sequence[float], x: Sequence[float], ln_water: float
    ) -> list[bool]:
        """The minerals this state calls for: those there with a positive amount, and those supersaturated."""
        return [
            solids[m] > 0.0 if active[m] else self._ln_saturation(m, x, ln_water) > 1e-9
            for m in range(len(solids))
        ]

    def reason(self) -> str:
        """Why there is no balance, as far as the state shows."""
        if self.water_kg < 0.05:
            return "There is not enough water: what was put in would bind nearly all of it."
        return (
            "No balance was found: this mixture is too concentrated for the activity model, which holds for waters "
            "and weak solutions."
        )

    def answer(self, allowed: Sequence[str]) -> Equilibrium:
        """The state as the caller sees it."""
        system = self.system
        formed = dict.fromkeys(allowed, 0.0)
        for name, amount in zip(system.minerals, self.solids, strict=True):
            formed[name] = amount
        log_activity = {name: value / LN10 for name, value in zip(system.components, self.x, strict=True)}
        log_activity[WATER] = self.ln_water / LN10
        molality = {
            name: amount / self.water_kg for name, amount in zip(system.names, self.moles, strict=True)
        }
        if system.is_open:
            position = system.names.index("CO3-2")
            d, c, b = system.laws[system.law_of[position]]
            root = math.sqrt(self.ionic_strength)
            ln_gamma = b * self.ionic_strength - d * root / (1.0 + c * root)
            log_activity["CO3-2"] = (math.log(molality["CO3-2"]) + ln_gamma) / LN10
        return Equilibrium(
            constants=system.chosen.name,
            temperature_kelvin=system.kelvin,
            totals=self.given,
            open_to_air=system.is_open,
            ph=-log_activity[HYDROGEN_ION],
            ionic_strength=self.ionic_strength,
            water_kg=self.water_kg,
            formed=formed,
            molality=molality,
            log_activity=log_activity,
            balance_error=self.error,
            steps=self.steps,
        )


def _solution(matrix: list[list[float]]) -> list[float] | None:
    """Solve the linear equations whose rows carry their right-hand side last; None where they are singular.

    Gaussian elimination in the given order: the leading block is positive definite and the minerals come last, so no
    exchange of rows is needed. Zeros are skipped, because most components meet only a few others.
    """
    size = len(matrix)
    for k in range(size):
        pivot_row = matrix[k]
        pivot = pivot_row[k]
        if pivot == 0.0:
            return None
        for row in matrix[k + 1 :]:
            if row[k]:
                factor = row[k] / pivot
                for l in range(k + 1, size + 1):
                    row[l] -= factor * pivot_row[l]
    answer = [0.0] * size
    for k in range(size - 1, -1, -1):
        row = matrix[k]
        value = row[size]
        for l in range(k + 1, size):
            value -= row[l] * answer[l]
        answer[k] = value / row[k]
        if not math.isfinite(answer[k]):
            return None
    return answer
