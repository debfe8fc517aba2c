"""Dry ash as gardeners use it, in grams to the square metre, beside what evidence allows.

Rules of this room:

* A practice (``dry_practices.csv``: common practice, no source) is turned into mass by the grower's cup and the
  density of the grower's ash, never by a cup of ours.
* A cap (``ash_caps.csv``) is the upper end of the published span for the soil's pH; what is above it is said to be.
* The advice is the least of three: the cap, the ash that brings the soil to its target by typical figures, and the ash
  that could not bring it past the stop even if the reading is low, the soil weak and the ash strong.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from feedcalc import published
from feedcalc.contract.measures import measures
from feedcalc.garden.ash import Ash, AshSample
from feedcalc.garden.liming import ash_that_meets, lime_requirement, soil_buffer
from feedcalc.uncertainty.estimates import Estimate, estimate_of, latin_hypercube

SAMPLES = 40
# An ash weaker than this, in g of CaCO3 to a gram, counts as this weak: what it needs is past any cap either way.
LEAST_LIME = 0.01
# Why the advice is not more, the usual reasons first.
LIMITS = ("cap", "need", "stop", "held back")


@dataclass(frozen=True, slots=True)
class AshContent:
    """What a gram of an ash brings: g of CaCO3 it counts for as lime, and g of potassium."""

    lime: Estimate
    potassium: Estimate


@dataclass(frozen=True, slots=True)
class DryUse:
    """A practice in the grower's ash: g of ash to the square metre each time and in a year, and what one time brings.

    ``lime`` in g of CaCO3 and ``potassium`` in g to the square metre. Source and status are the practice's own.
    """

    id: str
    label: str
    ash: Estimate
    ash_per_year: Estimate
    potassium: Estimate
    lime: Estimate
    source: str
    status: str
    note: str


@dataclass(frozen=True, slots=True)
class Cap:
    """Most ash in a year, g to the square metre: the span of the sources for a soil's pH. 0 where none is allowed."""

    id: str
    low: float
    high: float
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class Advice:
    """Ash for a year in g to the square metre, and which of `LIMITS` keeps it from being more.

    ``need`` is the lime in g of CaCO3 to the square metre that brings the soil to target, ``need_in_ash`` the ash that
    holds it.
    """

    ash: float
    limited_by: str
    need: Estimate
    need_in_ash: Estimate


def ash_content(ash: Ash, seed: int = 1) -> AshContent:
    """What a gram of ``ash`` brings; the ranges hold the middle 90 % of a fixed sample of ashes."""
    samples = _samples(ash, seed)
    typical = ash.typical()
    return AshContent(
        estimate_of([sample.lime_value() for sample, _ in samples], typical.lime_value()),
        estimate_of([_potassium(sample) for sample, _ in samples], _potassium(typical)),
    )


def dry_uses(ash: Ash, customs: str, seed: int = 1) -> tuple[DryUse, ...]:
    """Every practice of ``dry_practices.csv`` with the grower's ash and the cups of ``customs`` (us, metric, uk)."""
    samples = _samples(ash, seed)
    return tuple(_dry_use(row, ash.typical(), samples, measures(customs)) for row in published.table("dry_practices"))


def cap_for(soil_ph: float | None) -> Cap:
    """The cap at a soil pH; where nobody knows the pH there is none to give, and the cap is 0.

    >>> cap_for(5.8).high, cap_for(6.2).high, cap_for(6.7).high, cap_for(None).high
    (98.0, 73.0, 0.0, 0.0)
    """
    if soil_ph is None:
        return Cap("unknown", 0.0, 0.0, "sullivan_osu", "seen")
    row = next(row for row in published.table("ash_caps") if float(row["ph_low"]) <= soil_ph < float(row["ph_high"]))
    return Cap(row["id"], float(row["low"]), float(row["high"]), row["source"], row["status"])


def loosest_cap() -> Cap:
    """The cap of the most acid soil, which no ground should get more than."""
    return max((cap_for(float(row["ph_low"])) for row in published.table("ash_caps")), key=lambda cap: cap.high)


def advised_ash(
    soil_ph: Estimate,
    target_ph: float,
    stop_ph: float,
    texture: str,
    depth_cm: float,
    lime_value: Estimate,
    cap: float,
    is_held_back: bool,
) -> Advice:
    """How much ash a year meets the need of a soil and passes neither need, cap nor ``stop_ph``.

    ``soil_ph`` with the error of its reading; ``lime_value`` in g of CaCO3 to a gram of ash; ``cap`` in g/m2 a year.

    >>> ph, lime = Estimate(5.7, 6.0, 6.3), Estimate(0.3, 0.5, 0.8)
    >>> advised_ash(ph, 6.5, 7.0, "loam", 15, lime, 98.0, False).limited_by
    'cap'
    >>> advised_ash(Estimate.exactly(6.4), 6.5, 7.0, "sand", 15, lime, 98.0, False).limited_by
    'need'
    """
    lime_value = Estimate(*(max(lime, LEAST_LIME) for lime in (lime_value.low, lime_value.typical, lime_value.high)))
    need = lime_requirement(soil_ph, target_ph, texture, depth_cm)
    need_in_ash = ash_that_meets(need, lime_value)
    room = soil_buffer(texture, depth_cm).low * max(stop_ph - soil_ph.high, 0.0) / lime_value.high
    limits = {"cap": cap, "need": need_in_ash.typical, "stop": room}
    if is_held_back:
        limits["held back"] = 0.0
    least = min(limits.values())
    # Of equal limits, being held back explains best.
    limited_by = next(name for name in reversed(LIMITS) if limits.get(name) == least)
    return Advice(least, limited_by, need, need_in_ash)


def _samples(ash: Ash, seed: int) -> list[tuple[AshSample, Mapping[str, float]]]:
    shares = latin_hypercube(sorted({*ash.unknowns, "practice.amount", "practice.area"}), SAMPLES, seed)
    return [(ash.sample_at(draw), draw) for draw in shares]


def _potassium(sample: AshSample) -> float:
    return sample.grams_per_kilogram["potassium"] / 1000


def _dry_use(
    row: Mapping[str, str],
    typical: AshSample,
    samples: list[tuple[AshSample, Mapping[str, float]]],
    millilitres: Mapping[str, float],
) -> DryUse:
    lowest, highest = float(row["amount_low"]), float(row["amount_high"])
    amount = Estimate(lowest, (lowest + highest) / 2, highest)
    area = Estimate(float(row["area_low"]), float(row["area_typical"]), float(row["area_high"]))
    measure = millilitres[row["measure"]]
    usual = amount.typical * measure * typical.density / area.typical
    drawn = [
        (
            sample,
            amount.quantile(draw["practice.amount"]) * measure * sample.density / area.quantile(draw["practice.area"]),
        )
        for sample, draw in samples
    ]
    ash = estimate_of([grams for _, grams in drawn], usual)
    fewest, most = float(row["times_low"]), float(row["times_high"])
    return DryUse(
        row["id"],
        row["label"],
        ash,
        Estimate(ash.low * fewest, ash.typical * (fewest + most) / 2, ash.high * most),
        estimate_of([grams * _potassium(sample) for sample, grams in drawn], usual * _potassium(typical)),
        estimate_of([grams * sample.lime_value() for sample, grams in drawn], usual * typical.lime_value()),
        row["source"],
        row["status"],
        row["note"],
    )
