"""Chemical equilibrium of elements in water: the amounts in ions, ion pairs, minerals and air.

* Totals are neutral oxides and acids, so pH follows from charge balance.
* Only the allowed minerals may form. The solution is the unique state in which every balance closes and none of them
  is supersaturated; it does not depend on the starting point.
* In water open to air the carbon dioxide pressure determines carbon. Portlandite does not coexist with open air and
  never forms there.
* A solution is accepted only if every balance closes to a relative `BALANCE_TOLERANCE`; otherwise `NoSolution` gives
  the reason.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from operator import mul

from feedcalc.chemistry.activity import HIGHEST_IONIC_STRENGTH, TRUSTED_IONIC_STRENGTH
from feedcalc.chemistry.conductivity import conductivity_millisiemens_per_cm
from feedcalc.chemistry.constants import HYDROGEN_ION, LN10, WATER, ConstantSet, Reaction, constant_set
from feedcalc.chemistry.first_guess import start_from_totals
from feedcalc.chemistry.solver import Search
from feedcalc.chemistry.system import CARBONATE, conditions_at
from feedcalc.chemistry.volume import solution_litres
from feedcalc.physics.water import HIGHEST_KELVIN, LOWEST_KELVIN, ZERO_CELSIUS_KELVIN
from feedcalc.words.errors import NoSolution
from feedcalc.words.messages import said

ELEMENTS: tuple[str, ...] = tuple(constant_set().elements)
MINERALS: tuple[str, ...] = tuple(constant_set().minerals)
BALANCE_TOLERANCE = 1e-9

_MAX_RELATIVE_DISTANCE = 1.5  # of totals, for a start from a nearby solution: twofold dilution is near, another ash not
_NEUTRAL_PH = 7.0  # accurate enough at any temperature to choose a starting point
_MIN_TOTAL = 1e-15  # mol/kg, below which an element counts as absent


@dataclass(frozen=True)
class Equilibrium:
    """An equilibrium state. Amounts are in mol per kilogram of initial water unless a name says otherwise.

    ``balance_error`` is the largest relative residual of a balance (each element, hydrogen ions); ``steps`` is the
    number of solver steps.
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

    def __hash__(self) -> int:
        """Return a hash of four numbers that tell states apart, since mappings have none."""
        return hash((self.temperature_kelvin, self.ph, self.ionic_strength, self.water_kg))

    @cached_property
    def dissolved(self) -> Mapping[str, float]:
        """Dissolved mol by element, over all its species."""
        amounts = dict.fromkeys(ELEMENTS, 0.0)
        numbers = _element_numbers(self.constants)
        for name, molality in self.molality.items():
            for element, share in numbers[name]:
                amounts[element] += share * molality
        return {element: amount * self.water_kg for element, amount in amounts.items()}

    @cached_property
    def alkalinity(self) -> float:
        """Equivalents of strong acid per kg of remaining water that titrate it to the carbon dioxide endpoint.

        Dickson 1981: proton acceptors less donors relative to the level CO2, H2PO4-, NH4+, H4SiO4, acetic acid,
        H2-citrate-: [HCO3-] + 2[CO3--] + [OH-] - [H+] + [HPO4--] + 2[PO4---] + [NH3] + ... with every ion
        pair counted by the ions it releases.
        """
        weights = _alkalinity_weights(self.constants)
        return float(sum(map(mul, map(weights.__getitem__, self.molality), self.molality.values())))

    @cached_property
    def litres(self) -> float:
        """Volume of the solution of one kilogram of initial water in litres; see `feedcalc.chemistry.volume`."""
        return self.water_kg * solution_litres(self.molality, self.ionic_strength, self.temperature_kelvin)

    @cached_property
    def conductivity(self) -> float:
        """Electrical conductivity at 25 degC, mS/cm; see `feedcalc.chemistry.conductivity`."""
        return conductivity_millisiemens_per_cm(self.molality, self.ionic_strength, self.water_kg / self.litres)

    @cached_property
    def carbon_dioxide_atm(self) -> float:
        """Equilibrium pressure of carbon dioxide in atm; 0 without carbon."""
        return self._gas_pressure("carbon dioxide")

    @cached_property
    def ammonia_atm(self) -> float:
        """Equilibrium pressure of ammonia in atm; 0 without ammonia."""
        return self._gas_pressure("ammonia")

    @cached_property
    def saturation(self) -> Mapping[str, float]:
        """Saturation index, log10 of ion product over solubility constant, of minerals whose elements are present."""
        chosen = constant_set(self.constants)
        log_k = chosen.log_k_of_minerals(self.temperature_kelvin)
        return {
            name: product - log_k[name]
            for name, reaction in chosen.minerals.items()
            if (product := self._log_product(reaction)) is not None
        }

    @property
    def within_range(self) -> bool:
        """Whether the activity model is reliable: ionic strength up to 0.5 mol/kg."""
        return self.ionic_strength <= TRUSTED_IONIC_STRENGTH

    @property
    def notes(self) -> tuple[str, ...]:
        """Warnings about reliability in plain words; empty if there are none."""
        if self.ionic_strength > HIGHEST_IONIC_STRENGTH:
            return (said("This solution is too strong for the chemistry model. The figures are only a rough guide."),)
        if self.ionic_strength > TRUSTED_IONIC_STRENGTH:
            return (said("This solution is at the edge of what the chemistry model can do. Expect larger errors."),)
        return ()

    def milligrams_per_litre(self, element: str) -> float:
        """Return the dissolved element in mg per litre of solution (ammonia as nitrogen).

        Raises `KeyError` for an unknown element.
        """
        gram_per_mol = constant_set(self.constants).elements[element].gram_per_mol
        return self.dissolved[element] * gram_per_mol * 1000.0 / self.litres

    def conductivity_at(self, temperature_kelvin: float) -> float:
        """Return the conductivity in mS/cm at another temperature, with the speciation unchanged."""
        return conductivity_millisiemens_per_cm(
            self.molality, self.ionic_strength, self.water_kg / self.litres, temperature_kelvin
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
    """Return the equilibrium of ``totals``, in mol per kilogram of pure water, at a temperature.

    ``totals``: by element, mol of the neutral oxide or acid K2O/2, Na2O/2, CaO, MgO, CO2, H2SO4, HCl, H3PO4, NH3, SiO2
    ..., dissolved or not; a missing element is 0. ``minerals``: the only ones that may form. ``carbon_dioxide_atm``:
    None for closed water, or else the partial pressure of carbon dioxide in the air above it at 1 atm, which then
    determines carbon in place of ``totals``. ``nearby``: a solution for similar totals to start from; it saves time and
    does not change the result. ``constants``: see `feedcalc.chemistry.constants`.

    Valid from 0 to 100 degC (most constants were measured up to about 50) and to an ionic strength of about 0.5 mol/kg.
    Raises `NoSolution` with a reason in plain words if there is no solution (too hot or cold for water, more oxide than
    the water can slake), and `ValueError` for unknown names or amounts that are not finite and non-negative.

    >>> lime_water = equilibrate({"calcium": 10.0}, 298.15, minerals=["portlandite"])
    >>> round(lime_water.ph, 1), round(lime_water.formed["portlandite"], 1)
    (12.5, 10.0)
    """
    chosen = constant_set(constants)
    given = _checked_totals(totals, chosen)
    allowed = _checked_minerals(minerals, chosen)
    if not LOWEST_KELVIN <= temperature_kelvin <= HIGHEST_KELVIN:
        raise NoSolution(
            said(
                "The chemistry works for liquid water from 0 to 100 °C, not at {temperature_kelvin} °C.",
                temperature_kelvin=f"{temperature_kelvin - ZERO_CELSIUS_KELVIN:g}",
            )
        )
    if carbon_dioxide_atm is not None and not 0.0 < carbon_dioxide_atm <= 1.0:
        raise ValueError(f"carbon dioxide pressure must be above 0 and at most 1 atm, got {carbon_dioxide_atm!r}")
    is_open = carbon_dioxide_atm is not None
    present = frozenset(
        name for name, amount in given.items() if amount > _MIN_TOTAL and not (is_open and name == "carbon")
    )
    conditions = conditions_at(constants, present, frozenset(allowed), is_open, temperature_kelvin)
    search = Search(conditions, given, carbon_dioxide_atm)
    if not (nearby is not None and _start_from(search, nearby) and search.run()):
        start_from_totals(search)
        if not search.run():
            search.interior_point()
            if not search.run():
                raise NoSolution(search.reason())
    return _equilibrium(search, given, allowed)


@cache
def _element_numbers(constants: str) -> Mapping[str, tuple[tuple[str, float], ...]]:
    """Return the elements in each species and their numbers."""
    chosen = constant_set(constants)
    element_of = {element.component: name for name, element in chosen.elements.items()}
    return {
        species.name: tuple(
            (element_of[component], share)
            for component, share in species.formation.components.items()
            if component in element_of
        )
        for species in chosen.species
    }


@cache
def _water_product(constants: str) -> Reaction:
    """Return the formation of hydroxide from water."""
    return next(species.formation for species in constant_set(constants).species if species.name == "OH-")


@cache
def _alkalinity_weights(constants: str) -> Mapping[str, float]:
    """Return the protons that a mole of each species accepts down to the carbon dioxide endpoint."""
    chosen = constant_set(constants)
    weight = {element.component: element.alkalinity for element in chosen.elements.values()}
    weight[HYDROGEN_ION] = -1.0
    return {
        species.name: sum(weight.get(name, 0.0) * share for name, share in species.formation.components.items())
        for species in chosen.species
    }


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


def _start_from(search: Search, nearby: Equilibrium) -> bool:
    """Start from a nearby solution; return False if it is too different to be better than a first guess."""
    known = nearby.log_activity
    system = search.system
    # A liquor decanted from its minerals is compared by its dissolved amounts.
    totals = {element.name: total for element, total in zip(system.elements, search.totals, strict=False)}
    if not (_are_near(totals, nearby.totals) or _are_near(totals, nearby.dissolved)):
        return False
    if not known.keys() >= set(system.components):
        return False
    hydrogen = known[HYDROGEN_ION]
    if nearby.ph > _NEUTRAL_PH and search.conditions.kelvin != nearby.temperature_kelvin:
        # In alkaline water hydroxide is conserved, and H+ changes with the ion product of water.
        product = _water_product(nearby.constants)
        hydrogen += product.log_k(search.conditions.kelvin) - product.log_k(nearby.temperature_kelvin)
    search.x = [LN10 * (hydrogen if name == HYDROGEN_ION else known[name]) for name in system.components]
    search.ionic_strength = nearby.ionic_strength
    search.water_kg = nearby.water_kg
    search.ln_water = LN10 * known[WATER]
    search.solids = [nearby.formed.get(name, 0.0) for name in system.minerals]
    search.active = [amount > 0.0 for amount in search.solids]
    return True


def _are_near(totals: Mapping[str, float], others: Mapping[str, float]) -> bool:
    """Return whether no total is further from the other than a solution for it would be of use."""
    return all(abs(total - others.get(name, 0.0)) <= _MAX_RELATIVE_DISTANCE * total for name, total in totals.items())


def _equilibrium(search: Search, given: Mapping[str, float], allowed: Collection[str]) -> Equilibrium:
    """Return the state of a converged search as an `Equilibrium`."""
    system = search.system
    formed = dict.fromkeys(allowed, 0.0)
    formed.update(zip(system.minerals, search.solids, strict=True))
    log_activity = {name: value / LN10 for name, value in zip(system.components, search.x, strict=True)}
    log_activity[WATER] = search.ln_water / LN10
    water_kg = search.water_kg
    molality = {name: amount / water_kg for name, amount in zip(system.names, search.moles, strict=True)}
    if system.is_open:
        log_activity[CARBONATE] = _log_activity(search, CARBONATE, molality)
    return Equilibrium(
        constants=system.chosen.name,
        temperature_kelvin=search.conditions.kelvin,
        totals=given,
        open_to_air=system.is_open,
        ph=-log_activity[HYDROGEN_ION],
        ionic_strength=search.ionic_strength,
        water_kg=water_kg,
        formed=formed,
        molality=molality,
        log_activity=log_activity,
        balance_error=search.error,
        steps=search.steps,
    )


def _log_activity(search: Search, name: str, molality: Mapping[str, float]) -> float:
    system, strength = search.system, search.ionic_strength
    d, c, b = search.conditions.laws[system.law_of[system.position[name]]]
    root = math.sqrt(strength)
    return (math.log(molality[name]) + b * strength - d * root / (1.0 + c * root)) / LN10
