"""Batches whose liquor was read: what the instruments would show of each if the ash were a given sample.

* The present batch and earlier batches of the same ash share the ash and the errors of the chemistry. Each has its own
  water, strength, time and instruments.
* Free lime turns to chalk while ash is stored, so it may have been different when an earlier batch was made.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from statistics import NormalDist

from feedcalc.contract.request import Request
from feedcalc.frozen import frozen
from feedcalc.garden.ash import Ash, AshSample, ash_of
from feedcalc.liquor.ash_evidence import fills_of_measure, waters_of
from feedcalc.liquor.dilution import feed_at
from feedcalc.liquor.instruments import (
    Titration,
    end_point_width,
    is_compensated,
    pen_shows,
    ph_shows,
    reading_celsius,
    reading_rule,
    reading_width,
    readings_in,
)
from feedcalc.liquor.steeping import Liquor, steep
from feedcalc.liquor.vessel import water_kilograms
from feedcalc.physics.water import ZERO_CELSIUS_KELVIN
from feedcalc.uncertainty.bayes import Quantiles, Reading

MODEL_ERRORS = ("model.ec", "model.ph")  # unknowns that all batches share
# Fields that change what was read or how certain it is, but not what an instrument would show of a given ash.
_READ_VALUES = ("measured.ec", "measured.ph", "measured.ph_width", "measured.acid_drops", "measured.colour")
_NORMAL = NormalDist()


@frozen
class LiquorBatch:
    """A batch that may have been read: its liquor for an ash after some hours, and the feed made of a liquor.

    ``cache_key`` is text that identifies everything these depend on besides the ash and the readings; empty for an
    earlier batch, which depends on its request alone.
    """

    request: Request
    liquor_after: Callable[[AshSample, float], Liquor]
    fed: Callable[[Liquor], Liquor]
    kelvin: float
    cache_key: str


def earlier_batches(request: Request) -> tuple[LiquorBatch, ...]:
    """Return the earlier batches of the ash that have readings."""
    return tuple(_earlier_batch(batch) for batch in request.earlier if readings_in(batch))


def _earlier_batch(request: Request) -> LiquorBatch:
    water, dilution_water = waters_of(request)
    kelvin = request.known("water.temperature") + ZERO_CELSIUS_KELVIN
    amount = request.readings["ash.amount"]
    litres = request.known("water.amount")

    def liquor_after(sample: AshSample, hours: float) -> Liquor:
        grams = amount.value if amount.kind == "mass" else amount.value * 1000 * sample.density
        return steep(sample, grams / water_kilograms(litres, kelvin), water, kelvin, hours=hours).liquor

    def fed(liquor: Liquor) -> Liquor:
        return feed_at(liquor, request.dilution_parts or 0.0, dilution_water, kelvin).liquor

    return LiquorBatch(request=request, liquor_after=liquor_after, fed=fed, kelvin=kelvin, cache_key="")


@frozen
class Observation:
    """A batch with its readings, read ``hours`` after the start of the steep. ``ash`` is the ash as it was then."""

    batch: LiquorBatch
    ash: Ash
    readings: tuple[Reading, ...]
    titration: Titration | None
    hours: float

    @classmethod
    def of(cls, batch: LiquorBatch, ash: Ash, model_apart: bool) -> Observation | None:
        """Return the observation of a batch, None where nothing was read. For ``model_apart`` see `readings_in`."""
        request = batch.request
        amount = request.readings.get("ash.amount")
        is_earlier = batch.cache_key == ""
        amount_width = 0.0
        if is_earlier and amount is not None and amount.kind != "mass":
            amount_width = reading_width("weighing", "fill") / math.sqrt(fills_of_measure(request, amount.value * 1000))
        readings = readings_in(request, model_apart, amount_width)
        if not readings:
            return None
        if is_earlier:
            state = ash_of(request.word("ash.kind"), request.word("ash.state")).unknowns
            ash = ash.knowing(**{name: state[name] for name in ("free_lime", "reachable.calcium")})
        hours = request.number("measured.after")
        hours = request.known("steep.time") if hours is None else hours
        titration = None
        if request.number("measured.acid_drops") is not None:
            liquor = batch.liquor_after(ash.typical(), hours)
            titration = Titration.of_request(request, liquor, batch.kelvin)
            readings = _with_width(readings, end_point_width(request, liquor, batch.kelvin))
        readings = tuple(reading for reading in readings if reading.name != "measured.acid_drops" or titration)
        if not readings:
            return None
        return cls(batch=batch, ash=ash, readings=readings, titration=titration, hours=hours)

    @property
    def cache_key(self) -> str:
        """Text that identifies everything `predicted` depends on but the ash and the steep of the present batch."""
        request = self.batch.request
        words = {
            name: value
            for name, value in request.words.items()
            if name.startswith("measured.") and name not in _READ_VALUES
        }
        numbers: dict[str, float] = {}
        if not self.batch.cache_key:
            words = {name: value for name, value in request.words.items() if name not in _READ_VALUES}
            numbers = {name: value for name, value in request.numbers.items() if name not in _READ_VALUES}
        amounts = [str(request.readings.get(name)) for name in ("ash.amount", "water.amount")]
        instruments = [reading.name for reading in self.readings]
        settings = (request.dilution_parts, self.titration, self.hours, reading_celsius(request))
        return repr((words, numbers, amounts, instruments, settings))

    def liquor(self, quantiles: Quantiles) -> Liquor:
        """Return the liquor that was read if the ash is the one at these quantiles."""
        return self.batch.liquor_after(self.ash.sample_at(quantiles), self.hours)

    def predicted(self, liquor: Liquor, quantiles: Quantiles) -> list[float]:
        """Return what each instrument would show of a liquor, in the order of the readings."""
        request = self.batch.request
        read = (self.batch.fed(liquor) if request.word("measured.of") == "feed" else liquor).equilibrium
        celsius = reading_celsius(request)
        predicted = []
        for reading in self.readings:
            if reading.name == "measured.ec":
                error = reading_width("ec", "model") * _score(quantiles.get("model.ec", 0.5))
                predicted.append(pen_shows(read, celsius, is_compensated(request)) * math.exp(error))
            elif reading.name in ("measured.ph", "measured.colour"):
                error = reading_width("ph", "model") * _score(quantiles.get("model.ph", 0.5))
                predicted.append(ph_shows(read, celsius) + error)
            elif self.titration:
                predicted.append(self.titration.millilitres(liquor))
        return predicted


def _with_width(readings: Sequence[Reading], width: float) -> tuple[Reading, ...]:
    """Return the readings with a relative width added to that of the titration."""
    return tuple(
        replace(reading, standard_deviation=math.hypot(reading.standard_deviation, width))
        if reading.name == "measured.acid_drops"
        else reading
        for reading in readings
    )


@frozen
class FreeLimeDrift:
    """How the free lime of an ash may have differed when each of several batches was made.

    The standard score of free lime at a batch is ``kept`` times the score of now plus sqrt(1 - kept^2) times one
    further unknown, which all batches share because the pace of carbonation hardly changes. ``kept`` is
    exp(-(days / memory)^2 / 2) with the ``free_lime_memory`` of ``reading_rules.csv``; it is 1 for a batch of today.
    """

    kept: tuple[float, ...]

    @classmethod
    def between(cls, read: Sequence[Request], present: Request) -> FreeLimeDrift:
        """Return the drift from each batch that was read, of which ``present`` may be one, until now."""
        memory, usual = reading_rule("free_lime_memory"), reading_rule("days_between")
        now = _day(present)
        kept = []
        for batch in read:
            then = _day(batch)
            days = 0.0 if batch is present else usual
            if batch is not present and now and then:
                days = float(abs((now - then).days))
            kept.append(math.exp(-0.5 * (days / memory) ** 2))
        return cls(tuple(kept))

    @property
    def names(self) -> list[str]:
        """The additional unknown, where any batch was made on another day."""
        return ["drift"] if any(kept < 1.0 for kept in self.kept) else []

    def free_lime(self, quantiles: Quantiles) -> list[float]:
        """Return the prior quantile of the free lime at each batch."""
        now, other = _score(quantiles["free_lime"]), _score(quantiles.get("drift", 0.5))
        return [_NORMAL.cdf(kept * now + math.sqrt(1.0 - kept**2) * other) for kept in self.kept]


def _score(quantile: float) -> float:
    """Return the standard normal score of a quantile."""
    return _NORMAL.inv_cdf(min(max(quantile, 1e-6), 1.0 - 1e-6))


def _day(request: Request) -> date | None:
    return request.moment.date() if request.moment else None
