"""What a pen, a strip, a vinegar bottle, kitchen scales and a clear line say about which ash it is.

Rules of this room:

* For every ash it could be, the same chemistry that gives the answer says what each instrument would show; Bayes' rule
  (`feedcalc.evidence`) then weighs the ashes.
* Widths stand in ``reading_widths.csv``, what is taken where nothing is told in ``reading_rules.csv``.
* A reading that no plausible ash gives is told with its likely causes and changes nothing.
* Weighings bear on density alone and a clear line on grain size alone, so neither needs samples.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from feedcalc import batch as batches
from feedcalc import published
from feedcalc.ash import Ash, AshSample
from feedcalc.batch import Batch
from feedcalc.chemistry import Equilibrium, equilibrate
from feedcalc.errors import InputError, InputErrors
from feedcalc.estimates import Estimate, Steps, stratified_shares
from feedcalc.evidence import Reading, Shares, Updated, shares_of_spread, updated_in_steps
from feedcalc.neutralising import acid_dose, acids
from feedcalc.physics import settling
from feedcalc.physics.water import ZERO_CELSIUS_KELVIN
from feedcalc.quantities import write_number
from feedcalc.request import Request
from feedcalc.steeping import Liquor

PEN_CELSIUS = 25.0
# Nearer than this in kelvin a pH read counts as read at the temperature of the steep.
_SAME_TEMPERATURE = 0.5
# What bears on the settling and pouring, but not on the liquor.
_BESIDE_THE_LIQUOR = ("particle_density", "sediment", "guard_layer")
_WORDS = {
    "measured.ec": ("conductivity read", "mS/cm", "ec"),
    "measured.ph": ("pH read", "", "ph"),
    "measured.acid_drops": ("vinegar taken", "mL", "acid_drops"),
}
_DIRECTIONS = {1: "high", -1: "low"}


@dataclass(frozen=True, slots=True)
class Matter:
    """An unknown of the ash, and which share (0 to 1) of the spread of three figures it explains.

    ``remedy`` would make it surer, ``field`` is where a request takes that (empty where none does).
    """

    unknown: str
    words: str
    remedy: str
    field: str
    potassium: float
    ph: float
    lime_value: float

    @property
    def most(self) -> float:
        """The largest of the three shares."""
        return max(self.potassium, self.ph, self.lime_value)


@dataclass(frozen=True, slots=True)
class Learned:
    """What the readings leave: the middle ash, equally likely ashes around it, and how much that rests on.

    ``effective`` is the effective number of samples (None where none were drawn), ``used`` the fields of the readings
    that were taken in, ``warnings`` what is to be said of those that were not. ``samples`` is empty where the readings
    were doubted or no ranges are wanted.
    """

    typical: AshSample
    samples: tuple[AshSample, ...]
    effective: float | None
    used: tuple[str, ...]
    matters: tuple[Matter, ...]
    warnings: tuple[str, ...]


def readings_in(request: Request) -> tuple[Reading, ...]:
    """The readings of a request that bear on the ash, each with its width."""
    found = []
    is_open = request.word("steep.air") == "open"
    conductivity = request.number("measured.ec")
    if conductivity is not None:
        widths = [_width("ec", "pen"), _width("ec", "model")]
        if is_compensated(request):
            widths.append(_width("ec", "pen_slope") * abs(_celsius(request) - PEN_CELSIUS))
        widths += [_width("ec", "open_bucket")] if is_open else []
        found.append(Reading("measured.ec", conductivity, math.hypot(*widths), is_relative=True))
    ph = request.number("measured.ph")
    if ph is not None:
        own = request.number("measured.ph_width")
        by = "strip" if request.word("measured.ph_by") == "strip" else "meter"
        widths = [own if own is not None else _width("ph", by), _width("ph", "model")]
        widths += [_width("ph", "open_bucket")] if is_open else []
        found.append(Reading("measured.ph", ph, math.hypot(*widths)))
    drops = request.number("measured.acid_drops")
    if drops is not None:
        widths = [_width("acid_drops", "end_point"), _width("acid_drops", "strength")]
        found.append(Reading("measured.acid_drops", drops * 1000, math.hypot(*widths), is_relative=True))
    return tuple(found)


def is_compensated(request: Request) -> bool:
    """Whether the pen brings its reading to 25 degC by itself; nearly all do."""
    return request.word("measured.compensated") != "no"


def pen_shows(equilibrium: Equilibrium, celsius: float, is_compensated: bool) -> float:
    """What a conductivity pen shows, mS/cm, in this solution at ``celsius``.

    A pen that compensates divides by 1 + 0.02 (t - 25), which is not quite what the solution does.
    """
    conductivity = equilibrium.conductivity_at(celsius + ZERO_CELSIUS_KELVIN)
    if not is_compensated:
        return conductivity
    return conductivity / (1.0 + _rule("pen_slope") * (celsius - PEN_CELSIUS))


def ph_shows(equilibrium: Equilibrium, celsius: float) -> float:
    """The pH of this solution, nothing falling out, at ``celsius``: what a meter or strip is dipped into.

    >>> lye = equilibrate({"potassium": 0.01}, 298.15)
    >>> round(ph_shows(lye, 25.0), 1), round(ph_shows(lye, 10.0), 1)  # the same lye, colder
    (11.9, 12.5)
    """
    kelvin = celsius + ZERO_CELSIUS_KELVIN
    if abs(kelvin - equilibrium.temperature_kelvin) < _SAME_TEMPERATURE:
        return equilibrium.ph
    return equilibrate(equilibrium.dissolved, kelvin, (), nearby=equilibrium).ph


@dataclass(frozen=True, slots=True)
class Titration:
    """How much vinegar a liquor takes to an end point, told from one liquor that was worked through in full.

    At a given pH each mol of carbonate keeps ``kept_by_carbon`` equivalents and each mol of acetic acid gives
    ``given_by_acid``; both hardly depend on the liquor. ``strength`` in grams of acid per mL.
    """

    kept_by_carbon: float
    given_by_acid: float
    strength: float

    @classmethod
    def of(cls, liquor: Liquor, end_ph: float, strength: float, kelvin: float) -> Titration | None:
        """Worked through on one liquor, None where that can't be brought to the end point."""
        vinegar = acids()["vinegar"]
        dose = acid_dose(liquor, vinegar, strength, end_ph, kelvin)
        if not dose:
            return None
        totals = {name: amount / liquor.equilibrium.litres for name, amount in liquor.equilibrium.dissolved.items()}
        acid = dose * strength / vinegar.grams_per_mol
        end = equilibrate({**totals, vinegar.element: acid}, kelvin)
        given = 1.0 - end.molality["CH3COOH"] * end.water_kg / acid
        carbon = totals.get("carbon", 0.0)
        kept = (end.alkalinity * end.water_kg - given * acid) / carbon if carbon > 0 else 0.0
        return cls(kept, given, strength)

    def millilitres(self, liquor: Liquor) -> float:
        """mL of vinegar for 100 mL of a liquor."""
        chemistry = liquor.equilibrium
        equivalents = chemistry.alkalinity * chemistry.water_kg - self.kept_by_carbon * chemistry.dissolved["carbon"]
        mol_per_litre = max(equivalents, 0.0) / chemistry.litres / self.given_by_acid
        return mol_per_litre * acids()["vinegar"].grams_per_mol / self.strength / 10


def learning(
    request: Request,
    ash: Ash,
    liquor_after: Callable[[AshSample, float], Liquor],
    fed: Callable[[Liquor], Liquor],
    kelvin: float,
    count: int,
) -> Steps[Learned | None]:
    """What the readings of a request leave of the ashes it could be, worked out in slices; None where there are none.

    ``liquor_after`` gives the liquor of an ash after some hours, ``fed`` the feed made of a liquor. ``count`` samples
    are wanted, 0 for the middle alone.
    """
    readings = readings_in(request)
    if not readings:
        return None
    names = sorted(
        name for name, known in ash.unknowns.items() if known.low < known.high and name not in _BESIDE_THE_LIQUOR
    )
    hours = request.number("measured.after")
    hours = request.known("steep.time") if hours is None else hours
    celsius = _celsius(request)
    is_feed = request.word("measured.of") == "feed"
    titration = _titration(request, liquor_after(ash.typical(), hours), kelvin)
    readings = tuple(reading for reading in readings if reading.name != "measured.acid_drops" or titration)
    if not readings or not names:
        return None

    def shown(shares: Shares) -> list[float]:
        liquor = liquor_after(ash.sample_at(shares), hours)
        dipped = (fed(liquor) if is_feed else liquor).equilibrium
        instruments = []
        for reading in readings:
            if reading.name == "measured.ec":
                instruments.append(pen_shows(dipped, celsius, is_compensated(request)))
            elif reading.name == "measured.ph":
                instruments.append(ph_shows(dipped, celsius))
            elif titration:
                instruments.append(titration.millilitres(liquor))
        told = liquor.equilibrium
        return [*instruments, liquor.milligrams_per_litre("potassium"), told.ph, liquor.alkalinity]

    # Beforehand the middle is where half lie below, except for what no reading touches.
    start = {name: 0.5 if name in names else known.typical_share for name, known in ash.unknowns.items()}
    seed = round(request.known("seed"))
    left = yield from updated_in_steps(names, readings, shown, start, seed, sampled=count > 0)
    matters = matters_of(left.plausible, [figures[-3:] for figures in left.plausible_figures])
    if left.doubted:
        told = tuple(_doubt_words(left, readings, request.locale))
        return Learned(ash.typical(), (), None, (), matters, told)
    samples = _with_the_rest(left.resampled(count, len(readings)), names, ash, seed) if count else ()
    effective = left.effective if count else None
    used = tuple(reading.name for reading in readings)
    return Learned(ash.sample_at(left.middle), samples, effective, used, matters, ())


def matters_of(samples: Sequence[Shares], figures: Sequence[Sequence[float]]) -> tuple[Matter, ...]:
    """Unknowns by how much of the spread of potassium, pH and alkalinity (a row for each sample) they explain."""
    if not samples:
        return ()
    potassium, ph, lime = (shares_of_spread(samples, column) for column in zip(*figures, strict=True))
    words = {row["unknown"]: row for row in published.table("unknown_words")}
    matters = [
        Matter(
            name,
            words[name]["words"],
            words[name]["remedy"],
            words[name]["field"],
            potassium[name],
            ph[name],
            lime[name],
        )
        for name in samples[0]
        if name in words and name not in _BESIDE_THE_LIQUOR
    ]
    return tuple(sorted(matters, key=lambda matter: matter.most, reverse=True))


def weighed_density(request: Request) -> Estimate | None:
    """Density in g/mL by repeated weighings of a level measure, for one more fill of it; None without weighings.

    Scatter is pooled from the weighings and the usual scatter, which counts for a few of them; the bounds follow
    Student's t. Raises `InputErrors` where that is no density of sifted ash.
    """
    weighings = list(request.group("ash.weighings").values())
    if not weighings:
        return None
    measure = request.number("ash.weighed_measure")
    millilitres = batches.measures(request.customs)["cup"] if measure is None else measure * 1000
    count = len(weighings)
    mean = sum(weighings) / count
    usual = _width("weighing", "fill") * mean
    freedom = _rule("fill_degrees_of_freedom")
    squares = freedom * usual**2 + sum((weight - mean) ** 2 for weight in weighings)
    scatter = math.sqrt(squares / (freedom + count - 1))
    margin = _t95(freedom + count - 1) * scatter * math.sqrt(1.0 + 1.0 / count)
    share = math.hypot(margin / mean, _width("weighing", "measure"))
    loosest, densest = 0.1, 1.5
    if not loosest <= mean / millilitres <= densest:
        problem = (
            f"A measure of {write_number(millilitres, 3, request.locale)} mL that weighs "
            f"{write_number(mean, 3, request.locale)} g holds no sifted ash."
        )
        accepted = f"{loosest * millilitres:.0f} to {densest * millilitres:.0f} g, without the weight of the cup"
        raise InputErrors([InputError("ash.weighings", f"{mean:g} g on average", problem, accepted)])
    return Estimate(mean * max(1 - share, 0.1), mean, mean * (1 + share)).scaled(1 / millilitres)


def jar_diameter(request: Request, batch: Batch, sample: AshSample, kelvin: float) -> float | None:
    """Diameter in metres of the grains that still cloud the liquor below the clear line seen; None without one."""
    depth, hours = request.number("measured.clear_depth"), request.number("measured.clear_after")
    if depth is None or hours is None:
        return None
    share = batches.solids_share(batch, sample)
    return settling.cleared_diameter_m(depth, hours, sample.particle_density, kelvin, volume_fraction=share)


def _titration(request: Request, liquor: Liquor, kelvin: float) -> Titration | None:
    if request.number("measured.acid_drops") is None:
        return None
    end, strength = request.number("measured.acid_end"), request.number("measured.acid_strength")
    return Titration.of(liquor, end or _rule("end_point"), strength or _rule("vinegar_strength"), kelvin)


def _with_the_rest(samples: Sequence[Shares], names: Sequence[str], ash: Ash, seed: int) -> tuple[AshSample, ...]:
    """Each sample with a draw of what no reading touches."""
    rest = sorted(set(ash.unknowns) - set(names))
    draws = stratified_shares(rest, len(samples), seed)
    return tuple(ash.sample_at({**sample, **draw}) for sample, draw in zip(samples, draws, strict=True))


def _doubt_words(left: Updated, readings: Sequence[Reading], locale: str) -> list[str]:
    """One sentence or two for each doubted reading, one for all where only together they do not fit."""
    if all(direction == 0 for _, direction in left.doubted):
        told = " and the ".join(_WORDS[name][0] for name, _ in left.doubted)
        return [
            f"No plausible ash gives the {told} together, so they were not used and the ranges stay as they were. "
            f"Likely causes: {'; '.join(_causes('any', 'together'))}."
        ]
    said = []
    places = {reading.name: place for place, reading in enumerate(readings)}
    for name, direction in left.doubted:
        place = places[name]
        reading = readings[place]
        words, unit, short = _WORDS[name]
        causes = _causes(short, _DIRECTIONS[direction])
        between = ""
        if left.plausible_figures:
            plausible = sorted(figures[place] for figures in left.plausible_figures)
            between = f" ({_number(plausible[0], locale)} to {_number(plausible[-1], locale)})"
            scaled = {1: reading.value / 1000, -1: reading.value * 1000}.get(direction, 0.0)
            if reading.name == "measured.ec" and plausible[0] <= scaled <= plausible[-1]:
                causes = ["the unit: a thousandfold off, it would fit (µS/cm against mS/cm)", *causes]
        said.append(
            f"The {words} ({_number(reading.value, locale)}{' ' + unit if unit else ''}) is none that a plausible "
            f"ash gives here{between}, so it was not used and the ranges stay as they were. "
            f"Likely causes: {'; '.join(causes)}."
        )
    return said


def _number(value: float, locale: str) -> str:
    return write_number(value, 3 if value >= 9.95 else 2, locale)


def _causes(reading: str, direction: str) -> list[str]:
    return [
        row["cause"]
        for row in published.table("reading_causes")
        if row["reading"] == reading and row["direction"] == direction
    ]


def _celsius(request: Request) -> float:
    """Temperature of the reading: as told, else that of the steep."""
    told = request.number("measured.temperature")
    return request.known("water.temperature") if told is None else told


@cache
def _widths() -> Mapping[tuple[str, str], float]:
    return {(row["reading"], row["part"]): float(row["width"]) for row in published.table("reading_widths")}


def _width(reading: str, part: str) -> float:
    return _widths()[reading, part]


@cache
def _rule(quantity: str) -> float:
    return next(float(row["value"]) for row in published.table("reading_rules") if row["quantity"] == quantity)


def _t95(degrees_of_freedom: float) -> float:
    """Student's t at 95 %; between rows of the table the lower, wider one counts."""
    rows = [row for row in published.table("student_t") if float(row["degrees_of_freedom"]) <= degrees_of_freedom]
    return float(rows[-1]["t95"])
