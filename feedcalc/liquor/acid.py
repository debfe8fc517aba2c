"""Acid in a feed: the dose that brings it to a pH, the gas that escapes, and the pH once the gas has gone.

* There are two extremes. Just after mixing all CO2 is still in the water (closed); hours to days later it has left for
  the air (gas gone) and the pH has risen. The can moves from the first to the second.
* The acid enters the equilibrium as one more element total; potassium and lime stay as they are.
* A dose is per litre of feed before the acid: mL of a liquid, g of a powder.
* A target that can't be reached has a reason instead of a dose.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from math import exp, log, nan

from feedcalc import published
from feedcalc.chemistry import Equilibrium, equilibrate
from feedcalc.chemistry.constants import HYDROGEN_ION, constant_set
from feedcalc.chemistry.formulas import formula_grams_per_mol
from feedcalc.chemistry.roots import falling_root
from feedcalc.contract.numbers import write_decimals, write_number
from feedcalc.frozen import frozen
from feedcalc.liquor.air import outdoor_carbon_dioxide
from feedcalc.liquor.steeping import Liquor
from feedcalc.physics.gas_uptake import litres_of_gas_per_mol
from feedcalc.physics.water import density_kg_per_m3
from feedcalc.words.errors import NoSolution
from feedcalc.words.messages import said

# Tolerance of the search in pH; strips and meters are ten times coarser.
PH_TOLERANCE = 0.002
# Portions in which to add the acid, stirring and measuring in between (our own judgement).
PORTIONS = (0.5, 0.25, 0.15, 0.1)
# A pH is easily overshot where this further share of the dose lowers it by half a unit (our own judgement).
EASILY_OVERSHOT = 0.1
OVERSHOOT_PH = 0.5
# Minerals that may precipitate once the gas has left and the pH has risen again.
GAS_GONE_MINERALS = ("calcite", "brucite")
TOO_STRONG = said("This mixture is too strong for the chemistry model. Dilute the feed first.")
_MOST_CURVE_POINTS = 60
_GUESS_ERROR = 0.03  # usual relative error of the first guess of a dose


@frozen
class Acid:
    """A row of ``acids.csv``; ``strengths`` are low, typical and high as sold, as shares (0.05 for 5 %)."""

    id: str
    words: str
    is_liquid: bool
    element: str
    grams_per_mol: float
    strengths: tuple[float, float, float]
    density_slope: float
    most_per_litre: float
    caution: str
    source: str
    status: str
    note: str

    @property
    def unit(self) -> str:
        """The unit of a dose."""
        return "mL/L" if self.is_liquid else "g/L"


@frozen
class Neutralisation:
    """How to bring a feed to ``target_ph``.

    ``dose`` (mL or g per litre of feed, see ``unit``) reaches it just after mixing: 0 where the feed is already there,
    None where ``reason`` says why it can't be reached. ``dose_gas_gone`` reaches it after the gas has left: 0 where air
    alone does it, None where the acid can't. ``ph_reached`` just after mixing, ``ph_gas_gone`` in the end (NaN where
    the chemistry has no solution) and ``feed`` belong to ``dose``. ``carbon_dioxide_millilitres_per_litre`` is the gas
    that escapes. ``dose_half_ph_past`` brings the pH half a unit below the target.
    """

    acid: Acid
    strength: float
    target_ph: float
    ph_before: float
    dose: float | None
    reason: str
    ph_reached: float
    ph_gas_gone: float
    dose_gas_gone: float | None
    carbon_dioxide_millilitres_per_litre: float
    dose_half_ph_past: float | None
    feed: Liquor

    @property
    def unit(self) -> str:
        """The unit of ``dose``."""
        return self.acid.unit

    @property
    def millilitres_per_litre(self) -> float | None:
        """The dose of a liquid; None for a powder or without a dose."""
        return self.dose if self.acid.is_liquid else None

    @property
    def grams_per_litre(self) -> float | None:
        """The dose of a powder; None for a liquid or without a dose."""
        return None if self.acid.is_liquid else self.dose

    @property
    def is_easily_overshot(self) -> bool:
        """Whether a little more than the dose lowers the pH by half a unit more."""
        if not self.dose or self.dose_half_ph_past is None:
            return False
        return self.dose_half_ph_past - self.dose < EASILY_OVERSHOT * self.dose

    @property
    def portions(self) -> tuple[float, ...]:
        """The amounts to add one after another, stirring and measuring in between."""
        return tuple(share * self.dose for share in PORTIONS) if self.dose else ()


@cache
def acids() -> Mapping[str, Acid]:
    """Return every acid of ``acids.csv`` by its id."""
    return {
        row["id"]: Acid(
            **{name: row[name] for name in ("id", "words", "element", "caution", "source", "status", "note")},
            is_liquid=row["form"] == "liquid",
            grams_per_mol=_grams_per_mol(row["element"]),
            strengths=(float(row["strength_low"]), float(row["strength_typical"]), float(row["strength_high"])),
            density_slope=float(row["density_slope"]),
            most_per_litre=float(row["most_per_litre"]),
        )
        for row in published.table("acids")
    }


def acid_for(
    liquor: Liquor,
    acid: Acid,
    strength: float,
    target_ph: float,
    temperature_kelvin: float,
    carbon_dioxide_atm: float | None = None,
    locale: str = "en-GB",
) -> Neutralisation:
    """Return how to bring ``liquor`` or a feed to ``target_ph`` with ``acid`` of a ``strength``.

    ``strength`` is above 0 and at most 1: g/mL for a liquid (0.05 for vinegar of 5 %), g/g for a powder.
    ``carbon_dioxide_atm`` is the partial pressure in the air, by default that outdoors. The reason writes numbers as in
    ``locale``; a mixture too strong for the chemistry has no dose for that reason. Raises `ValueError` for a strength
    outside its range.
    """
    air = outdoor_carbon_dioxide() if carbon_dioxide_atm is None else carbon_dioxide_atm
    mixing = _Mixing(liquor, acid, strength, kelvin=temperature_kelvin, carbon_dioxide_atm=air)
    before = mixing.closed(0.0)
    try:
        dose = mixing.dose_to_reach(target_ph, mixing.closed)
        gone = mixing.dose_to_reach(target_ph, mixing.gas_gone)
        used = dose or 0.0
        closed, settled = mixing.closed(used), mixing.gas_gone(used)
        past = mixing.dose_to_reach(target_ph - OVERSHOOT_PH, mixing.closed) if dose else None
        reason = mixing.why_no_acid(dose, locale)
    except NoSolution:
        return Neutralisation(
            acid=acid,
            strength=strength,
            target_ph=target_ph,
            ph_before=before.ph,
            dose=None,
            reason=TOO_STRONG,
            ph_reached=before.ph,
            ph_gas_gone=nan,
            dose_gas_gone=None,
            carbon_dioxide_millilitres_per_litre=0.0,
            dose_half_ph_past=None,
            feed=Liquor(before),
        )
    held = closed.dissolved["carbon"] - settled.dissolved["carbon"] - settled.formed["calcite"]
    per_litre = held * mixing.kilograms(used) * litres_of_gas_per_mol(temperature_kelvin) * 1000
    return Neutralisation(
        acid=acid,
        strength=strength,
        target_ph=target_ph,
        ph_before=before.ph,
        dose=dose,
        reason=reason,
        ph_reached=closed.ph,
        ph_gas_gone=settled.ph,
        dose_gas_gone=gone,
        carbon_dioxide_millilitres_per_litre=max(per_litre, 0.0) if used else 0.0,
        dose_half_ph_past=past,
        feed=Liquor(closed),
    )


def acid_dose(liquor: Liquor, acid: Acid, strength: float, target_ph: float, temperature_kelvin: float) -> float | None:
    """Return only the dose of `acid_for` just after mixing, for ranges; None where the target can't be reached."""
    air = outdoor_carbon_dioxide()
    mixing = _Mixing(liquor, acid, strength, kelvin=temperature_kelvin, carbon_dioxide_atm=air)
    try:
        return mixing.dose_to_reach(target_ph, mixing.closed)
    except NoSolution:
        return None


def titration_curve(
    liquor: Liquor,
    acid: Acid,
    strength: float,
    temperature_kelvin: float,
    lowest_ph: float = 4.5,
    carbon_dioxide_atm: float | None = None,
) -> tuple[tuple[float, float], ...]:
    """Return (dose per litre of feed, pH) from no acid to ``lowest_ph``, at most 60 points, most where it falls fast.

    Without ``carbon_dioxide_atm`` the curve is for just after mixing, with it for equilibrium with air of that partial
    pressure. Empty where the mixture is too strong for the chemistry.
    """
    air = outdoor_carbon_dioxide() if carbon_dioxide_atm is None else carbon_dioxide_atm
    mixing = _Mixing(liquor, acid, strength, kelvin=temperature_kelvin, carbon_dioxide_atm=air)
    state = mixing.closed if carbon_dioxide_atm is None else mixing.gas_gone
    try:
        return _curve_of(state, mixing.dose_to_reach(lowest_ph, state), acid.most_per_litre)
    except NoSolution:
        return ()


def _curve_of(
    state: Callable[[float], Equilibrium], last_dose: float | None, most: float
) -> tuple[tuple[float, float], ...]:
    last = most if last_dose is None else last_dose
    if last == 0.0:
        return ((0.0, state(0.0).ph),)
    even = _MOST_CURVE_POINTS // 2
    points = [(last * i / even, state(last * i / even).ph) for i in range(even + 1)]
    while len(points) < _MOST_CURVE_POINTS:
        i = max(range(len(points) - 1), key=lambda i: points[i][1] - points[i + 1][1])
        middle = (points[i][0] + points[i + 1][0]) / 2
        points.insert(i + 1, (middle, state(middle).ph))
    return tuple(points)


@dataclass(frozen=True)
class _Mixing:
    """A litre of feed with a dose of acid; each equilibrium is the starting point for those of nearby doses."""

    liquor: Liquor
    acid: Acid
    strength: float
    kelvin: float
    carbon_dioxide_atm: float

    def __post_init__(self) -> None:
        if not 0.0 < self.strength <= 1.0:
            raise ValueError(f"strength is a share above 0 and up to 1, got {self.strength!r}")

    @cached_property
    def _known(self) -> dict[bool, dict[float, Equilibrium]]:
        """The equilibria found, by whether the state is open and by dose."""
        return {False: {}, True: {}}

    @cached_property
    def _water_per_dose(self) -> float:
        """The kilograms of water in a unit of dose."""
        if not self.acid.is_liquid:
            return (1.0 - self.strength) / 1000
        density = density_kg_per_m3(self.kelvin) / 1000 + self.acid.density_slope * self.strength
        return (density - self.strength) / 1000

    def kilograms(self, dose: float) -> float:
        """Return the kilograms of water per litre of feed."""
        return 1.0 / self.liquor.equilibrium.litres + dose * self._water_per_dose

    def closed(self, dose: float) -> Equilibrium:
        """Return the equilibrium just after mixing, with all CO2 still in the water."""
        return self._state(dose, False)

    def gas_gone(self, dose: float) -> Equilibrium:
        """Return the equilibrium with the air, after the gas has left."""
        return self._state(dose, True)

    def _state(self, dose: float, is_open: bool) -> Equilibrium:
        known = self._known[is_open]
        if dose not in known:
            litre = 1.0 / self.liquor.equilibrium.litres
            kilograms = self.kilograms(dose)
            totals = {name: amount * litre / kilograms for name, amount in self.liquor.equilibrium.dissolved.items()}
            acid = dose * self.strength / self.acid.grams_per_mol
            totals[self.acid.element] = totals.get(self.acid.element, 0.0) + acid / kilograms
            nearest = min(known, key=lambda other: abs(other - dose), default=None)
            known[dose] = equilibrate(
                totals,
                self.kelvin,
                GAS_GONE_MINERALS if is_open else (),
                carbon_dioxide_atm=self.carbon_dioxide_atm if is_open else None,
                nearby=self.liquor.equilibrium if nearest is None else known[nearest],
            )
        return known[dose]

    def dose_to_reach(self, target_ph: float, state: Callable[[float], Equilibrium]) -> float | None:
        """Return the dose at which ``state`` has ``target_ph``: 0 if it needs no acid, None if out of reach.

        The pH falls monotonically with the dose, so a bracket around a guess is closed on the root.
        """
        if state(0.0).ph <= target_ph + PH_TOLERANCE:
            return 0.0
        is_open = state == self.gas_gone
        tried = self._known[is_open]
        most = self.acid.most_per_litre
        low = max(dose for dose, found in tried.items() if found.ph > target_ph)
        high = min((dose for dose, found in tried.items() if found.ph <= target_ph), default=None)
        guess = self._guess(target_ph, is_open)
        for step in (1.0 - _GUESS_ERROR, 1.0 + _GUESS_ERROR, 1.0 + 5 * _GUESS_ERROR):
            dose = guess * step
            if low < dose < (most if high is None else high):
                if state(dose).ph > target_ph:
                    low = dose
                else:
                    high = dose
                    break
        if high is None:
            high = min(max(2 * low, guess), most)
            while state(high).ph > target_ph:
                if high >= most:
                    return None
                low, high = high, min(high * 2, most)
        return falling_root(lambda dose: state(dose).ph - target_ph, low, high, PH_TOLERANCE)

    def why_no_acid(self, dose: float | None, locale: str) -> str:
        """Return why there is nothing to add, empty where there is something."""
        if dose == 0.0:
            return said("The feed is already at or below this pH. It needs no acid.")
        if dose is not None:
            return ""
        most, unit = self.acid.most_per_litre, self.acid.unit.removesuffix("/L")
        return said(
            "Even {most} {unit} of this acid in a litre lowers the pH of the feed only to {ph}. Dilute the feed "
            "first, or choose a higher pH.",
            most=write_number(most, 6, locale, trim=True),
            unit=unit,
            ph=write_decimals(self.closed(most).ph, 1, locale),
        )

    def _guess(self, target_ph: float, is_open: bool) -> float:
        """Return a first guess: the alkalinity to remove over the protons that a mol of acid releases at the target.

        Carbonate and water are speciated at the target with the activity coefficients of the feed.
        """
        feed = self.liquor.equilibrium
        here, there = exp(-feed.ph * log(10.0)), exp(-target_ph * log(10.0))
        left = feed.molality["OH-"] * here / there - there
        dissolved, once, twice = (feed.molality.get(name, 0.0) for name in ("CO2", "HCO3-", "CO3-2"))
        if dissolved > 0.0:
            ratio_once, ratio_twice = once / dissolved * here / there, twice / dissolved * (here / there) ** 2
            free = (dissolved + once + twice) / (1.0 + ratio_once + ratio_twice)
            if is_open:
                free = dissolved / feed.carbon_dioxide_atm * self.carbon_dioxide_atm
            left += free * (ratio_once + 2 * ratio_twice)
        equivalents = max(feed.alkalinity - left, 1e-6) * feed.water_kg / feed.litres
        mol = equivalents / _protons_released(self.acid.element, target_ph, self.kelvin)
        return min(mol * self.acid.grams_per_mol / self.strength, self.acid.most_per_litre)


def _protons_released(element: str, ph: float, kelvin: float) -> float:
    """Return the mean number of protons that a molecule of the acid has released at a pH, in ideal solution."""
    component = constant_set().elements[element].component
    held, weight, most = 0.0, 1.0, 0.0
    for species in constant_set().species:
        parts = species.formation.components
        if set(parts) == {component, HYDROGEN_ION}:
            protons = parts[HYDROGEN_ION]
            share = exp((species.formation.log_k(kelvin) - protons * ph) * log(10.0))
            held, weight, most = held + protons * share, weight + share, max(most, protons)
    return float(max(most - held / weight, 0.01))


def _grams_per_mol(element: str) -> float:
    """Return the molar mass of the acid itself, from ``chem_elements.csv`` (acetate enters as CH3COOH)."""
    formula = next(row["weighed_as"] for row in published.table("chem_elements") if row["element"] == element)
    return formula_grams_per_mol(formula)
