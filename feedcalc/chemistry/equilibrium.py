"""Where the elements put into water end up: in ions, in ion pairs, in minerals, in the air.

Rules of this module:

* Totals go in as neutral oxides and acids, so pH follows from charge balance and nothing has to be said
  about it.
* Only the minerals named may form; the answer is the one state in which every balance closes and none of
  them is supersaturated. It does not depend on where the search starts.
* Water open to air holds what carbon the air's carbon dioxide leaves in it. Lime (portlandite) and open air
  never coexist and are not tried together.
* The answer is accepted only when every balance closes to BALANCE_TOLERANCE relative; else `NoSolution` says
  why.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cache, cached_property

from feedcalc.chemistry.activity import HIGHEST_IONIC_STRENGTH, TRUSTED_IONIC_STRENGTH
from feedcalc.chemistry.conductivity import conductivity_millisiemens_per_cm
from feedcalc.chemistry.constants import HYDROGEN_ION, LN10, WATER, ConstantSet, Reaction, constant_set
from feedcalc.chemistry.first_guess import start_from_totals
from feedcalc.chemistry.solver import CARBONATE, Search, conditions_at
from feedcalc.chemistry.volume import solution_litres
from feedcalc.physics.water import HIGHEST_KELVIN, LOWEST_KELVIN, ZERO_CELSIUS_KELVIN
from feedcalc.words.errors import NoSolution
from feedcalc.words.messages import said

ELEMENTS: tuple[str, ...] = tuple(constant_set().elements)
MINERALS: tuple[str, ...] = tuple(constant_set().minerals)
BALANCE_TOLERANCE = 1e-9

_NEAR = 1.5  # share of each total: a liquor is near itself with as much water again, another ash is not
_NEUTRAL_PH = 7.0  # near enough at any temperature, to choose where to start from
_LOWEST_TOTAL = 1e-15  # mol/kg: below this an element is as good as absent


@dataclass(frozen=True)
class Equilibrium:
    """What came of the totals. Amounts are per kilogram of water put in unless a name says otherwise.

    ``balance_error`` is the largest relative gap of any balance (mass of each element, hydrogen ions);
    ``steps`` how many steps of the solver it took.
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
        """Element to mol dissolved, whatever species it is in; in open water carbon is what the air leaves
        in it.
        """
        amounts = dict.fromkeys(ELEMENTS, 0.0)
        holdings = _holdings(self.constants)
        for name, molality in self.molality.items():
            for element, share in holdings[name]:
                amounts[element] += share * molality
        return {element: amount * self.water_kg for element, amount in amounts.items()}

    @cached_property
    def alkalinity(self) -> float:
        """Equivalents of strong acid per kg of water left that bring the solution to the carbon dioxide
        endpoint.

        Dickson 1981: proton acceptors less donors against the level CO2, H2PO4-, NH4+, H4SiO4, acetic acid,
        H2-citrate-: [HCO3-] + 2[CO3--] + [OH-] - [H+] + [HPO4--] + 2[PO4---] + [NH3] + ... with every ion
        pair counted by what it releases.
        """
        weights = _alkalinity_weights(self.constants)
        return sum(weights[name] * molality for name, molality in self.molality.items())

    @cached_property
    def litres(self) -> float:
        """Volume of the solution made from one kilogram of water put in; see `feedcalc.chemistry.volume`."""
        return self.water_kg * solution_litres(self.molality, self.ionic_strength, self.temperature_kelvin)

    @cached_property
    def conductivity(self) -> float:
        """Electrical conductivity at 25 degC, mS/cm; see `feedcalc.chemistry.conductivity`."""
        return conductivity_millisiemens_per_cm(self.molality, self.ionic_strength, self.water_kg / self.litres)

    @cached_property
    def carbon_dioxide_atm(self) -> float:
        """Pressure of carbon dioxide, atm, with which the solution is at equilibrium; 0 where there is no
        carbon.
        """
        return self._gas_pressure("carbon dioxide")

    @cached_property
    def ammonia_atm(self) -> float:
        """Pressure of ammonia, atm, with which the solution is at equilibrium; 0 where there is none."""
        return self._gas_pressure("ammonia")

    @cached_property
    def saturation(self) -> Mapping[str, float]:
        """Saturation index (log10 of ion product over constant) of every known mineral whose elements are
        present.
        """
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
                said(
                    "This solution is too strong for the activity model: take the figures as a rough indication only."
                ),
            )
        if self.ionic_strength > TRUSTED_IONIC_STRENGTH:
            return (said("This solution is at the edge of what the activity model can do: expect larger errors."),)
        return ()

    def milligrams_per_litre(self, element: str) -> float:
        """Dissolved ``element`` in mg of the element per litre of solution (ammonia as nitrogen). `KeyError`
        if unknown.
        """
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
    """The equilibrium of ``totals`` (mol per kilogram of pure water, as neutral oxides and acids) at a
    temperature.

    ``totals``: element to mol of K2O/2, Na2O/2, CaO, MgO, CO2, H2SO4, HCl, H3PO4, NH3, SiO2 ..., dissolved
    or not; missing is 0. ``minerals``: the only ones that may form. ``carbon_dioxide_atm``: None for closed
    water, else the pressure of carbon dioxide in the air above it (1 atm in all; the carbon of ``totals`` is
    then overruled by the air). ``nearby``: an answer for similar totals, to start from; it saves time and
    does not change the answer. ``constants``: see `feedcalc.chemistry.constants`.

    Valid from 0 to 100 degC (most constants were measured up to about 50) and to an ionic strength of about
    0.5 mol/kg. Raises `NoSolution` with a plain reason where there is no balanced answer (too hot or cold
    for water, more oxide than the water can slake), and `ValueError` for unknown names or amounts that are
    not finite and non-negative.

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
                "The chemistry holds for liquid water from 0 to 100 °C, not at {temperature_kelvin} °C.",
                temperature_kelvin=f"{temperature_kelvin - ZERO_CELSIUS_KELVIN:g}",
            )
        )
    if carbon_dioxide_atm is not None and not 0.0 < carbon_dioxide_atm <= 1.0:
        raise ValueError(f"carbon dioxide pressure must be above 0 and at most 1 atm, got {carbon_dioxide_atm!r}")
    is_open = carbon_dioxide_atm is not None
    present = frozenset(
        name for name, amount in given.items() if amount > _LOWEST_TOTAL and not (is_open and name == "carbon")
    )
    conditions = conditions_at(constants, present, frozenset(allowed), is_open, temperature_kelvin)
    search = Search(conditions, given, carbon_dioxide_atm)
    if not (nearby is not None and _start_from(search, nearby) and search.run()):
        start_from_totals(search)
        if not search.run():
            search.walk()
            if not search.run():
                raise NoSolution(search.reason())
    return _answer(search, given, allowed)


@cache
def _holdings(constants: str) -> Mapping[str, tuple[tuple[str, float], ...]]:
    """Species to the elements it holds, and how many of each."""
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
    """What makes hydroxide of water."""
    return next(species.formation for species in constant_set(constants).species if species.name == "OH-")


@cache
def _alkalinity_weights(constants: str) -> Mapping[str, float]:
    """Species to the protons a mole of it takes up down to the carbon dioxide endpoint."""
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
    """Take over a neighbour's answer; False where it is too far off to be a better start than a fresh guess."""
    known = nearby.log_activity
    system = search.system
    # What was poured off its minerals starts as it was above them.
    near = any(
        all(
            abs(total - amounts.get(element.name, 0.0)) <= _NEAR * total
            for element, total in zip(system.elements, search.totals, strict=False)
        )
        for amounts in (nearby.totals, nearby.dissolved)
    )
    if not near or not all(name in known for name in system.components):
        return False
    hydrogen = known[HYDROGEN_ION]
    if nearby.ph > _NEUTRAL_PH and search.conditions.kelvin != nearby.temperature_kelvin:
        # Where hydroxide rules it stays, and hydrogen ions go with the ion product of water.
        product = _water_product(nearby.constants)
        hydrogen += product.log_k(search.conditions.kelvin) - product.log_k(nearby.temperature_kelvin)
    search.x = [LN10 * (hydrogen if name == HYDROGEN_ION else known[name]) for name in system.components]
    search.ionic_strength = nearby.ionic_strength
    search.water_kg = nearby.water_kg
    search.ln_water = LN10 * known[WATER]
    search.solids = [nearby.formed.get(name, 0.0) for name in system.minerals]
    search.active = [amount > 0.0 for amount in search.solids]
    return True


def _answer(search: Search, given: Mapping[str, float], allowed: Collection[str]) -> Equilibrium:
    """The state of a finished search as the caller sees it."""
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
