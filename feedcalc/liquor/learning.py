"""What a pen, a strip, a vinegar bottle, kitchen scales and a clear line say about which ash it is.

Rules of this room:

* For every ash it could be, the same chemistry that gives the answer says what each instrument would show; Bayes' rule
  (`feedcalc.uncertainty.bayes`) then weighs the ashes.
* Widths stand in ``reading_widths.csv``, what is taken where nothing is told in ``reading_rules.csv``.
* A reading that no plausible ash gives is told with its likely causes and changes nothing.
* Weighings bear on density alone and a clear line on grain size alone, so neither needs samples.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from statistics import NormalDist

from feedcalc import published
from feedcalc.chemistry import Equilibrium, equilibrate
from feedcalc.contract.measures import measures
from feedcalc.contract.numbers import write_number
from feedcalc.contract.request import Request
from feedcalc.garden.ash import Ash, AshSample, ash_of
from feedcalc.garden.water import Water, water_of_report
from feedcalc.liquor import vessel as batches
from feedcalc.liquor.acid import acid_dose, acids
from feedcalc.liquor.dilution import feed_at
from feedcalc.liquor.steeping import Liquor, steep
from feedcalc.liquor.vessel import Batch
from feedcalc.physics import settling
from feedcalc.physics.water import ZERO_CELSIUS_KELVIN
from feedcalc.uncertainty.bayes import (
    Posterior,
    Prior,
    Quantiles,
    Reading,
    posterior_in_steps,
    prior_in_steps,
    variance_shares,
)
from feedcalc.uncertainty.estimates import Estimate, Steps, latin_hypercube, recalled
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.messages import listed, said

PEN_CELSIUS = 25.0
# Nearer than this in kelvin a pH read counts as read at the temperature of the steep.
_SAME_TEMPERATURE = 0.5
# What bears on the settling and pouring, but not on the liquor.
_BESIDE_THE_LIQUOR = ("particle_density", "sediment", "guard_layer", "clear_line")
# Standard deviations from the middle to a 5 % or 95 % bound of a normal distribution.
Z95 = NormalDist().inv_cdf(0.95)
# What an instrument shows and how sure that is, which what it would show does not hang on.
_READ_OFF = ("measured.ec", "measured.ph", "measured.ph_width", "measured.acid_drops")
_WORDS = {
    "measured.ec": (said("conductivity read"), "mS/cm", "ec"),
    "measured.ph": (said("pH read"), "", "ph"),
    "measured.acid_drops": (said("vinegar taken"), "mL", "acid_drops"),
}
_DIRECTIONS = {1: "high", -1: "low"}


@dataclass(frozen=True, slots=True)
class Influence:
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
class LearnedAsh:
    """What the readings leave: the middle ash, equally likely ashes around it, and how much that rests on.

    ``effective`` is the effective number of samples (None where none were drawn), ``used`` the fields of the readings
    that were taken in, ``batches`` how many earlier batches were, ``warnings`` what is to be said of those that were
    not. ``samples`` is empty where the readings were doubted or no ranges are wanted.
    """

    typical: AshSample
    samples: tuple[AshSample, ...]
    effective: float | None
    used: tuple[str, ...]
    matters: tuple[Influence, ...]
    warnings: tuple[str, ...]
    batches: int = 0


@dataclass(frozen=True, slots=True)
class LiquorBatch:
    """A batch that something was read of: its liquor for an ash after some hours, and the feed made of a liquor.

    ``basis`` tells in text all that these hang on besides the ash and the readings, to know the same batch again.
    """

    request: Request
    liquor_after: Callable[[AshSample, float], Liquor]
    fed: Callable[[Liquor], Liquor]
    kelvin: float
    basis: str


def readings_in(request: Request, model_apart: bool = False, fill: float = 0.0) -> tuple[Reading, ...]:
    """The readings of a request that bear on the ash, each with its width.

    ``model_apart`` leaves what the chemistry leaves out to be counted elsewhere; ``fill`` is the scatter, relative, of
    how much ash went in beside what was told.
    """
    found = []
    is_open = request.word("steep.air") == "open"
    conductivity = request.number("measured.ec")
    if conductivity is not None:
        widths = [_width("ec", "pen"), fill]
        if is_compensated(request):
            widths.append(_width("ec", "pen_slope") * abs(_celsius(request) - PEN_CELSIUS))
        widths += [_width("ec", "open_bucket")] if is_open else []
        widths += [] if model_apart else [_width("ec", "model")]
        found.append(Reading("measured.ec", conductivity, math.hypot(*widths), is_relative=True))
    ph = request.number("measured.ph")
    if ph is not None:
        own = request.number("measured.ph_width")
        by = "strip" if request.word("measured.ph_by") == "strip" else "meter"
        # The pH of lye rises by 1 where it is ten times as strong.
        widths = [own if own is not None else _width("ph", by), fill / math.log(10)]
        widths += [_width("ph", "open_bucket")] if is_open else []
        widths += [] if model_apart else [_width("ph", "model")]
        found.append(Reading("measured.ph", ph, math.hypot(*widths)))
    drops = request.number("measured.acid_drops")
    if drops is not None:
        widths = [_width("acid_drops", "end_point"), _width("acid_drops", "strength"), fill]
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


def learning(present: LiquorBatch, ash: Ash, count: int) -> Steps[LearnedAsh | None]:
    """What readings leave of the ashes it could be, worked out in slices; None where nothing was read.

    Those of the present batch and of earlier ones count together: each ash is run through every batch, and what no two
    batches share (instrument, temperature, how full the cups were) is as wide as it is for each by itself. ``count``
    samples are wanted, 0 for the middle alone.
    """
    request = present.request
    earlier = _earlier_batches(request)
    names = sorted(
        name for name, known in ash.unknowns.items() if known.low < known.high and name not in _BESIDE_THE_LIQUOR
    )
    observed = [seen for seen in (_Observed.of(batch, ash, bool(earlier)) for batch in (present, *earlier)) if seen]
    if not observed or not names:
        return None
    has_present = observed[0].batch is present
    drift = _Drift.between([seen.batch.request for seen in observed], request)
    shared = ["model.ec", "model.ph"] if earlier else []
    readings = tuple(reading for seen in observed for reading in seen.readings)

    def shown(shares: Quantiles) -> list[float]:
        instruments: list[float] = []
        sample = ash.sample_at(shares)
        liquors = []
        for seen, share in zip(observed, drift.free_lime(shares), strict=True):
            liquors.append(seen.liquor({**shares, "free_lime": share}))
            instruments += seen.shown(liquors[-1], shares)
        # The figures that tell a middling ash: of the liquor that was read now, else of an earlier batch made anew.
        liquor = liquors[0] if has_present else observed[0].batch.liquor_after(sample, observed[0].hours)
        potassium, ph = liquor.milligrams_per_litre("potassium"), liquor.equilibrium.ph
        # Density last: no reading may touch it, but the middle ash should have a middling one.
        return [*instruments, potassium, ph, liquor.alkalinity, sample.density]

    # Beforehand the middle is where half lie below, except for what no reading touches.
    beside = [*shared, *drift.names]
    start = {name: 0.5 if name in names else known.typical_quantile for name, known in ash.unknowns.items()}
    start |= dict.fromkeys(beside, 0.5)
    seed = round(request.known("seed"))
    unknown = [*names, *beside]
    # What may be before anything is read hangs on no value that is read: it is drawn before the first digit only. What
    # earlier batches say by themselves hangs on nothing that is planned now.
    planned = present.basis if has_present else ""
    key = repr((sorted(ash.unknowns.items()), [seen.basis for seen in observed], planned, drift, seed))
    plausible = yield from recalled(
        _PLAUSIBLE, key, _MOST_REMEMBERED, lambda: prior_in_steps(unknown, shown, start, seed)
    )
    key = repr((key, readings, count > 0))
    left = yield from recalled(
        _UPDATED, key, _MOST_REMEMBERED, lambda: posterior_in_steps(plausible, readings, shown, sampled=count > 0)
    )
    matters = influences_of(left.prior_samples, [figures[-4:-1] for figures in left.prior_figures])
    if left.rejected and has_present and earlier:
        # Which of them is to blame can't be told; what was read now is of this liquor, so that it is heard first.
        bare = replace(request, earlier=())
        alone = yield from learning(replace(present, request=bare), ash, count)
        return replace(alone, warnings=(EARLIER_DO_NOT_FIT, *alone.warnings)) if alone else None
    if left.rejected:
        told = tuple(_doubt_words(left, readings, request.locale)) if has_present else (EARLIER_DO_NOT_FIT,)
        return LearnedAsh(ash.typical(), (), None, (), matters, told)
    samples = _with_the_rest(left.resampled(count, len(readings)), names, ash, seed) if count else ()
    if count:
        # What is in doubt still, not what was before.
        places = left.resampled_indices(_RANKED, len(readings))
        still = [left.samples[place] for place in places], [left.figures[place][-4:-1] for place in places]
        matters = influences_of(*still, left.effective)
    effective = left.effective if count else None
    used = tuple(reading.name for reading in observed[0].readings) if has_present else ()
    return LearnedAsh(ash.sample_at(left.point_estimate), samples, effective, used, matters, (), len(observed) - has_present)


EARLIER_DO_NOT_FIT = said(
    "What was read of this ash in earlier batches fits no plausible ash together with the rest, so the earlier "
    "readings were left out. Likely causes: it is another ash, it was leached or got damp since, or a reading in the "
    "wrong unit."
)
# Drawings and updates done lately, by all they hang on: what is typed besides the readings need not wait for them.
_PLAUSIBLE: dict[str, Prior] = {}
_UPDATED: dict[str, Posterior] = {}
_MOST_REMEMBERED = 8
# How many samples of equal weight tell what matters.
_RANKED = 400


@dataclass(frozen=True, slots=True)
class _Observed:
    """A batch with what was read of it, ready to say what its instruments would show of an ash."""

    batch: LiquorBatch
    ash: Ash
    readings: tuple[Reading, ...]
    titration: Titration | None
    hours: float

    @classmethod
    def of(cls, batch: LiquorBatch, ash: Ash, model_apart: bool) -> _Observed | None:
        """None where nothing was read of the liquor."""
        request = batch.request
        reading = request.readings.get("ash.amount")
        is_earlier = batch.basis == ""
        fill = 0.0
        if is_earlier and reading is not None and reading.kind != "mass":
            fill = _width("weighing", "fill") / math.sqrt(_fills(request, reading.value * 1000))
        readings = readings_in(request, model_apart, fill)
        if not readings:
            return None
        if is_earlier:
            state = ash_of(request.word("ash.kind"), request.word("ash.state")).unknowns
            ash = ash.knowing(**{name: state[name] for name in ("free_lime", "reachable.calcium")})
        hours = request.number("measured.after")
        hours = request.known("steep.time") if hours is None else hours
        titration = _titration(request, batch.liquor_after(ash.typical(), hours), batch.kelvin)
        readings = tuple(reading for reading in readings if reading.name != "measured.acid_drops" or titration)
        return cls(batch, ash, readings, titration, hours) if readings else None

    @property
    def basis(self) -> str:
        """All that what is shown hangs on, in text, but the ash and the present batch's own steep."""
        request = self.batch.request
        words = {name: value for name, value in request.words.items() if name.startswith("measured.")}
        numbers: dict[str, float] = {}
        if not self.batch.basis:
            words = dict(request.words)
            numbers = {name: value for name, value in request.numbers.items() if name not in _READ_OFF}
        amounts = [str(request.readings.get(name)) for name in ("ash.amount", "water.amount")]
        instruments = [reading.name for reading in self.readings]
        dipped = (request.dilution_parts, self.titration, self.hours, _celsius(request))
        return repr((words, numbers, amounts, instruments, dipped))

    def liquor(self, shares: Quantiles) -> Liquor:
        """The liquor that was read, if the ash is the one at these shares."""
        return self.batch.liquor_after(self.ash.sample_at(shares), self.hours)

    def shown(self, liquor: Liquor, shares: Quantiles) -> list[float]:
        """What each instrument would show of a liquor, in the order of the readings."""
        request = self.batch.request
        dipped = (self.batch.fed(liquor) if request.word("measured.of") == "feed" else liquor).equilibrium
        celsius = _celsius(request)
        instruments = []
        for reading in self.readings:
            if reading.name == "measured.ec":
                left_out = math.exp(_width("ec", "model") * _score(shares.get("model.ec", 0.5)))
                instruments.append(pen_shows(dipped, celsius, is_compensated(request)) * left_out)
            elif reading.name == "measured.ph":
                left_out = _width("ph", "model") * _score(shares.get("model.ph", 0.5))
                instruments.append(ph_shows(dipped, celsius) + left_out)
            elif self.titration:
                instruments.append(self.titration.millilitres(liquor))
        return instruments


@dataclass(frozen=True, slots=True)
class _Drift:
    """How far the free lime of an ash may have been another when each batch was made than it is now.

    Lime turns to chalk at a pace that nobody knows but that hardly changes, so that one unknown serves all batches: the
    standard score of free lime then is ``kept`` times that of now, and for the rest another ash's. ``kept`` falls with
    the square of the days between, to e^-1/2 in ``free_lime_memory`` days; a batch of today has kept all.
    """

    kept: tuple[float, ...]

    @classmethod
    def between(cls, batches_read: Sequence[Request], present: Request) -> _Drift:
        """The drift from some batches, of which ``present`` may be one, until now."""
        memory, usual = _rule("free_lime_memory"), _rule("days_between")
        now = _day(present)
        kept = []
        for batch in batches_read:
            then = _day(batch)
            days = 0.0 if batch is present else usual
            if batch is not present and now and then:
                days = float(abs((now - then).days))
            kept.append(math.exp(-0.5 * (days / memory) ** 2))
        return cls(tuple(kept))

    @property
    def names(self) -> list[str]:
        """The unknown there is, where any batch is of another day."""
        return ["drift"] if any(kept < 1.0 for kept in self.kept) else []

    def free_lime(self, shares: Quantiles) -> list[float]:
        """The share at which the free lime of each batch stood."""
        now, other = _score(shares["free_lime"]), _score(shares.get("drift", 0.5))
        return [_NORMAL.cdf(kept * now + math.sqrt(1.0 - kept**2) * other) for kept in self.kept]


_NORMAL = NormalDist()


def _score(share: float) -> float:
    return _NORMAL.inv_cdf(min(max(share, 1e-6), 1.0 - 1e-6))


def _day(request: Request) -> date | None:
    return request.moment.date() if request.moment else None


def _earlier_batches(request: Request) -> tuple[LiquorBatch, ...]:
    """The earlier batches of an ash that something was read of, each with its own water, strength and wait."""
    return tuple(_earlier_batch(batch) for batch in request.earlier if readings_in(batch))


def _earlier_batch(request: Request) -> LiquorBatch:
    water, dilution_water = waters_of(request)
    kelvin = request.known("water.temperature") + ZERO_CELSIUS_KELVIN
    amount = request.readings["ash.amount"]
    litres = request.known("water.amount")

    def liquor_after(sample: AshSample, hours: float) -> Liquor:
        grams = amount.value if amount.kind == "mass" else amount.value * 1000 * sample.density
        per_kilogram = grams / batches.water_kilograms(litres, kelvin)
        return steep(sample, per_kilogram, water, kelvin, hours).liquor

    def fed(liquor: Liquor) -> Liquor:
        return feed_at(liquor, request.dilution_parts or 0.0, dilution_water, kelvin).liquor

    return LiquorBatch(request, liquor_after, fed, kelvin, "")


def ash_told(request: Request, millilitres: float | None = None) -> Ash:
    """The ash of a request, with what was weighed, analysed or seen of it, now and in earlier batches.

    ``millilitres`` of it go in by the measure, where that is known already.
    """
    analysis: dict[str, float] = {}
    density = request.number("ash.density")
    for told in (*request.earlier, request):
        analysis |= told.group("ash.analysis")
    for told in request.earlier:
        density = density or told.number("ash.density")
    fills = 1.0 if millilitres is None else _fills(request, millilitres)
    ash = ash_of(
        request.word("ash.kind"), request.word("ash.state"), analysis, weighed_density(request, fills) or density
    )
    if request.number("measured.clear_depth") is None:
        return ash
    # The size of the grains goes by the square root of depth over time (Stokes).
    spread = Z95 * 0.5 * math.hypot(_width("clear_line", "depth"), _width("clear_line", "time"))
    return ash.knowing(clear_line=Estimate(1 - spread, 1.0, 1 + spread))


def waters_of(request: Request) -> tuple[Water, Water]:
    """The water a batch steeps in and the one it is diluted with, the same where no other is told."""
    water = water_of_report(request.word("water.kind"), request.group("water.analysis"), request.locale)
    report, kind = request.group("dilution_water.analysis"), request.word("dilution_water.kind")
    if not report and not kind:
        return water, water
    return water, water_of_report(kind or request.word("water.kind"), report, request.locale)


def _measure(request: Request) -> float:
    """The measure that ash is taken by, mL: the one that was weighed, or a cup."""
    measure = request.number("ash.weighed_measure")
    return measures(request.customs)["cup"] if measure is None else measure * 1000


def _fills(request: Request, millilitres: float) -> float:
    """How many fills of the measure make up a volume, at least one."""
    return max(millilitres / _measure(request), 1.0)


def influences_of(
    samples: Sequence[Quantiles], figures: Sequence[Sequence[float]], effective: float | None = None
) -> tuple[Influence, ...]:
    """Unknowns by how much of the spread of potassium, pH and alkalinity (a row for each sample) they explain.

    ``effective`` is how many samples they are worth, where some stand for others.
    """
    if not samples:
        return ()
    potassium, ph, lime = (variance_shares(samples, column, effective) for column in zip(*figures, strict=True))
    words = {row["unknown"]: row for row in published.table("unknown_words")}
    matters = [
        Influence(
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


def weighed_density(request: Request, fills: float = 1.0) -> Estimate | None:
    """Density in g/mL by repeated weighings of a level measure, for so many more fills of it; None without weighings.

    Scatter is pooled from the weighings, those of earlier batches with them, and the usual scatter, which counts for a
    few of them; the bounds follow Student's t. Several fills scatter less than one by the root of their number.
    Raises `InputErrors` where that is no density of sifted ash.
    """
    densities = [
        weight / _measure(told)
        for told in (*request.earlier, request)
        for weight in told.group("ash.weighings").values()
    ]
    if not densities:
        return None
    count = len(densities)
    mean = math.fsum(densities) / count
    usual = _width("weighing", "fill") * mean
    freedom = _rule("fill_degrees_of_freedom")
    squares = freedom * usual**2 + sum((density - mean) ** 2 for density in densities)
    scatter = math.sqrt(squares / (freedom + count - 1))
    margin = _t95(freedom + count - 1) * scatter * math.sqrt(1.0 / fills + 1.0 / count)
    share = math.hypot(margin / mean, _width("weighing", "measure"))
    loosest, densest = 0.1, 1.5
    if not loosest <= mean <= densest:
        millilitres = _measure(request)
        problem = said(
            "A measure of {millilitres} mL that weighs {mean} g holds no sifted ash.",
            millilitres=write_number(millilitres, 3, request.locale),
            mean=write_number(mean * millilitres, 3, request.locale),
        )
        accepted = said(
            "{least} to {most} g, without the weight of the cup",
            least=f"{loosest * millilitres:.0f}",
            most=f"{densest * millilitres:.0f}",
        )
        raise InputErrors(
            [
                InputError(
                    "ash.weighings",
                    said("{grams} g on average", grams=write_number(mean * millilitres, 6, request.locale, trim=True)),
                    problem,
                    accepted,
                )
            ]
        )
    return Estimate(mean * max(1 - share, 0.1), mean, mean * (1 + share))


def jar_diameter(request: Request, batch: Batch, sample: AshSample, kelvin: float) -> float | None:
    """Diameter in metres of the grains that still cloud the liquor below the clear line seen; None without one."""
    depth, hours = request.number("measured.clear_depth"), request.number("measured.clear_after")
    if depth is None or hours is None:
        return None
    share = batches.solids_share(batch, sample)
    seen = settling.cleared_diameter_m(depth, hours, sample.particle_density, kelvin, volume_fraction=share)
    return seen * sample.clear_line


def _titration(request: Request, liquor: Liquor, kelvin: float) -> Titration | None:
    if request.number("measured.acid_drops") is None:
        return None
    end, strength = request.number("measured.acid_end"), request.number("measured.acid_strength")
    return Titration.of(liquor, end or _rule("end_point"), strength or _rule("vinegar_strength"), kelvin)


def _with_the_rest(samples: Sequence[Quantiles], names: Sequence[str], ash: Ash, seed: int) -> tuple[AshSample, ...]:
    """Each sample with a draw of what no reading touches."""
    rest = sorted(set(ash.unknowns) - set(names))
    draws = latin_hypercube(rest, len(samples), seed)
    return tuple(ash.sample_at({**sample, **draw}) for sample, draw in zip(samples, draws, strict=True))


def _doubt_words(left: Posterior, readings: Sequence[Reading], locale: str) -> list[str]:
    """One sentence or two for each doubted reading, one for all where only together they do not fit."""
    if all(direction == 0 for _, direction in left.rejected):
        told = listed((_WORDS[name][0] for name, _ in left.rejected), ", ")
        return [
            said(
                "No plausible ash gives the {told} together, so they were not used and the ranges stay "
                "as they were. Likely causes: {together}.",
                told=told,
                together=listed(_causes("any", "together")),
            )
        ]
    sentences: list[str] = []
    places = {reading.name: place for place, reading in enumerate(readings)}
    for name, direction in left.rejected:
        place = places[name]
        reading = readings[place]
        words, unit, short = _WORDS[name]
        causes = _causes(short, _DIRECTIONS[direction])
        between = ""
        if left.prior_figures:
            plausible = sorted(figures[place] for figures in left.prior_figures)
            between = said(
                " ({lowest} to {highest})", lowest=_number(plausible[0], locale), highest=_number(plausible[-1], locale)
            )
            scaled = {1: reading.value / 1000, -1: reading.value * 1000}.get(direction, 0.0)
            if reading.name == "measured.ec" and plausible[0] <= scaled <= plausible[-1]:
                causes = [said("the unit: a thousandfold off, it would fit (µS/cm against mS/cm)"), *causes]
        sentences.append(
            said(
                "The {words} ({reading}{unit}) is none that a plausible ash gives here{between}, so it "
                "was not used and the ranges stay as they were. Likely causes: {causes}.",
                words=words,
                reading=_number(reading.value, locale),
                unit=" " + unit if unit else "",
                between=between,
                causes=listed(causes),
            )
        )
    return sentences


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
