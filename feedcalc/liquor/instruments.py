"""What a conductivity pen, a pH meter or strip, a vinegar titration or a clear line would show of a liquor.

* Every function is a forward model: from a liquor to the reading that an instrument would give.
* A width is one standard deviation (``reading_widths.csv``); where the request leaves a setting open, the value of
  ``reading_rules.csv`` counts.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache
from statistics import NormalDist

from feedcalc import published
from feedcalc.chemistry import Equilibrium, equilibrate
from feedcalc.contract.request import Request
from feedcalc.frozen import frozen
from feedcalc.garden.ash import AshSample
from feedcalc.liquor.acid import acid_dose, acids
from feedcalc.liquor.steeping import Liquor
from feedcalc.liquor.vessel import Batch, solids_share
from feedcalc.physics import settling
from feedcalc.physics.water import ZERO_CELSIUS_KELVIN
from feedcalc.uncertainty.bayes import Reading

PEN_CELSIUS = 25.0
# Standard deviations from the mean to the 5 % or 95 % bound of a normal distribution.
Z95 = NormalDist().inv_cdf(0.95)
_SAME_TEMPERATURE = 0.5  # K: a pH read this close to the temperature of the steep needs no second equilibrium


def readings_in(request: Request, model_apart: bool = False, amount_width: float = 0.0) -> tuple[Reading, ...]:
    """Return the readings of a request that depend on the ash, each with its width.

    With ``model_apart`` the widths leave out the error of the chemistry, because the caller models it as an unknown of
    its own. ``amount_width`` is the relative scatter of the amount of ash that went in.
    """
    found = []
    is_open = request.word("steep.air") == "open"
    conductivity = request.number("measured.ec")
    if conductivity is not None:
        widths = [reading_width("ec", "pen"), amount_width]
        if is_compensated(request):
            widths.append(reading_width("ec", "pen_slope") * abs(reading_celsius(request) - PEN_CELSIUS))
        widths += [reading_width("ec", "open_bucket")] if is_open else []
        widths += [] if model_apart else [reading_width("ec", "model")]
        found.append(Reading("measured.ec", conductivity, math.hypot(*widths), is_relative=True))
    ph = request.number("measured.ph")
    if ph is not None:
        own = request.number("measured.ph_width")
        instrument = "strip" if request.word("measured.ph_by") == "strip" else "meter"
        # The pH of lye rises by 1 where it is ten times as strong.
        widths = [own if own is not None else reading_width("ph", instrument), amount_width / math.log(10)]
        widths += [reading_width("ph", "open_bucket")] if is_open else []
        widths += [] if model_apart else [reading_width("ph", "model")]
        found.append(Reading("measured.ph", ph, math.hypot(*widths)))
    colour = request.word("measured.colour")
    if colour:
        shade = indicator_row("colour", colour=colour)
        widths = [float(shade["width"]), amount_width / math.log(10)]
        widths += [reading_width("ph", "open_bucket")] if is_open else []
        widths += [] if model_apart else [reading_width("ph", "model")]
        found.append(Reading("measured.colour", float(shade["ph"]), math.hypot(*widths)))
    vinegar = request.number("measured.acid_drops")
    if vinegar is not None:
        widths = [reading_width("acid_drops", "end_point"), reading_width("acid_drops", "strength"), amount_width]
        found.append(Reading("measured.acid_drops", vinegar * 1000, math.hypot(*widths), is_relative=True))
    return tuple(found)


def is_compensated(request: Request) -> bool:
    """Return whether the pen converts its reading to 25 degC by itself, as nearly all do."""
    return request.word("measured.compensated") != "no"


def reading_celsius(request: Request) -> float:
    """Return the temperature at which the liquor was read: that of the steep unless given."""
    given = request.number("measured.temperature")
    return request.known("water.temperature") if given is None else given


def pen_shows(equilibrium: Equilibrium, celsius: float, is_compensated: bool) -> float:
    """Return the reading of a conductivity pen in a solution at ``celsius``, in mS/cm.

    A compensating pen divides by 1 + 0.02 (t - 25), which only approximates what the solution does.
    """
    conductivity = equilibrium.conductivity_at(celsius + ZERO_CELSIUS_KELVIN)
    if not is_compensated:
        return conductivity
    return conductivity / (1.0 + reading_rule("pen_slope") * (celsius - PEN_CELSIUS))


def ph_shows(equilibrium: Equilibrium, celsius: float) -> float:
    """Return the pH of a solution brought to ``celsius`` without precipitation, as a meter or strip would show it.

    >>> lye = equilibrate({"potassium": 0.01}, 298.15)
    >>> round(ph_shows(lye, 25.0), 1), round(ph_shows(lye, 10.0), 1)  # the same lye, colder
    (11.9, 12.5)
    """
    kelvin = celsius + ZERO_CELSIUS_KELVIN
    if abs(kelvin - equilibrium.temperature_kelvin) < _SAME_TEMPERATURE:
        return equilibrium.ph
    return equilibrate(equilibrium.dissolved, kelvin, (), nearby=equilibrium).ph


@frozen
class Titration:
    """A linear model of the vinegar that a liquor takes to an end point, fitted to one full equilibrium.

    At a given pH each mol of carbon keeps ``kept_by_carbon`` equivalents of alkalinity and each mol of acetic acid
    gives ``given_by_acid``; both hardly depend on the liquor. ``strength`` is in grams of acid per mL.
    """

    kept_by_carbon: float
    given_by_acid: float
    strength: float

    @classmethod
    def of(cls, liquor: Liquor, end_ph: float, strength: float, kelvin: float) -> Titration | None:
        """Fit the model to one liquor; None where vinegar can't bring it to the end point."""
        vinegar = acids()["vinegar"]
        dose = acid_dose(liquor, vinegar, strength, target_ph=end_ph, temperature_kelvin=kelvin)
        if not dose:
            return None
        totals = liquor.mol_per_litre()
        acid = dose * strength / vinegar.grams_per_mol
        end = equilibrate({**totals, vinegar.element: acid}, kelvin)
        given = 1.0 - end.molality["CH3COOH"] * end.water_kg / acid
        carbon = totals.get("carbon", 0.0)
        kept = (end.alkalinity * end.water_kg - given * acid) / carbon if carbon > 0 else 0.0
        return cls(kept, given, strength)

    @classmethod
    def of_request(cls, request: Request, liquor: Liquor, kelvin: float) -> Titration | None:
        """Fit the model for the titration in a request; None where there is none or it never reaches its end."""
        if request.number("measured.acid_drops") is None:
            return None
        strength = request.number("measured.acid_strength") or reading_rule("vinegar_strength")
        return cls.of(liquor, end_point(request)[0], strength, kelvin)

    def millilitres(self, liquor: Liquor) -> float:
        """Return the mL of vinegar for 100 mL of a liquor."""
        chemistry = liquor.equilibrium
        equivalents = chemistry.alkalinity * chemistry.water_kg - self.kept_by_carbon * chemistry.dissolved["carbon"]
        mol_per_litre = max(equivalents, 0.0) / chemistry.litres / self.given_by_acid
        return mol_per_litre * acids()["vinegar"].grams_per_mol / self.strength / 10


def end_point(request: Request) -> tuple[float, float]:
    """Return the pH at which the titration in a request ends, and its width.

    The width is 0 for a pH that the request gives, and for no indicator at all: `reading_width` covers these.
    """
    given, indicator = request.number("measured.acid_end"), request.word("measured.acid_by")
    if given is not None or not indicator:
        return given or reading_rule("end_point"), 0.0
    row = indicator_row("end_point", indicator=indicator)
    return float(row["ph"]), float(row["width"])


def end_point_width(request: Request, liquor: Liquor, kelvin: float) -> float:
    """Return the relative width of the vinegar taken that comes from the width of the end point."""
    ph, width = end_point(request)
    if width == 0.0:
        return 0.0
    strength = reading_rule("vinegar_strength")  # it cancels out of the ratio
    early, late = (Titration.of(liquor, end, strength, kelvin) for end in (ph + width, ph - width))
    if early is None or late is None:
        return 0.0
    least, most = early.millilitres(liquor), late.millilitres(liquor)
    return (most - least) / (most + least)


def indicator_row(role: str, **wanted: str) -> Mapping[str, str]:
    """Return the first row of ``indicators.csv`` of a role (``end_point`` or ``colour``) with these cells."""
    rows = published.table("indicators")
    return next(row for row in rows if row["role"] == role and wanted.items() <= row.items())


def clear_line_seen(request: Request) -> tuple[float, float] | None:
    """Return the depth in metres of the clear line that was seen, and after how many hours; None without one."""
    depth, hours = request.number("measured.clear_depth"), request.number("measured.clear_after")
    return None if depth is None or hours is None else (depth, hours)


def clouding_diameter(line: tuple[float, float] | None, batch: Batch, sample: AshSample, kelvin: float) -> float | None:
    """Return the diameter in metres of the grains that still cloud the liquor below a clear line; None without one."""
    if line is None:
        return None
    depth, hours = line
    share = solids_share(batch, sample)
    seen = settling.cleared_diameter_m(depth, hours, sample.particle_density, kelvin, volume_fraction=share)
    return seen * sample.clear_line


def reading_width(reading: str, part: str) -> float:
    """Return one part of the width of a reading (``reading_widths.csv``)."""
    return _widths()[reading, part]


@cache
def _widths() -> Mapping[tuple[str, str], float]:
    return {(row["reading"], row["part"]): float(row["width"]) for row in published.table("reading_widths")}


@cache
def reading_rule(quantity: str) -> float:
    """Return a value of ``reading_rules.csv``."""
    return next(float(row["value"]) for row in published.table("reading_rules") if row["quantity"] == quantity)
