"""Application rates of dry ash, in g per square metre: common practice, and advice from soil pH and lime requirement.

* Volumes of common practice (``dry_practices.csv``, no source) become mass by the grower's cup and ash density.
* The yearly limit (``ash_caps.csv``) is the upper end of the published range for the soil's pH.
* The advice is the least of three: the yearly limit; the ash that meets the lime requirement by typical values; and
  the most ash that keeps the soil below the pH at which ash must stop, in the worst case of reading, soil and ash.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

from feedcalc import published
from feedcalc.contract.measures import measures
from feedcalc.frozen import frozen
from feedcalc.garden.ash import Ash, AshSample
from feedcalc.garden.liming import ash_that_meets, lime_requirement, soil_buffer
from feedcalc.uncertainty.estimates import Estimate, estimate_of, latin_hypercube

SAMPLES = 40
# Least lime value, which keeps the ash that meets a requirement finite; it exceeds the yearly limit all the same.
LEAST_LIME = 0.01
# What may limit the advice. Of equal limits the last one is reported.
LIMITS = ("cap", "need", "stop", "held back")


@frozen
class AshContent:
    """Lime value (g of CaCO3) and potassium (g) per gram of an ash."""

    lime: Estimate
    potassium: Estimate


@frozen
class DryUse:
    """A common practice with the grower's ash: g of ash per square metre at a time and in a year.

    ``lime`` (g of CaCO3) and ``potassium`` (g) per square metre are those of one time.
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


@frozen
class Cap:
    """The yearly limit of ash at a soil pH, g per square metre, as the range of the sources; 0 if none is allowed."""

    id: str
    low: float
    high: float
    source: str
    status: str


@frozen
class Advice:
    """Ash for a year in g per square metre, and which of `LIMITS` determines it.

    ``need`` is the lime requirement in g of CaCO3 per square metre, ``need_in_ash`` the ash that meets it.
    """

    ash: float
    limited_by: str
    need: Estimate
    need_in_ash: Estimate


def ash_content(ash: Ash, seed: int = 1) -> AshContent:
    """Return lime value and potassium of an ash; the ranges are the central 90 % of `SAMPLES` seeded samples."""
    samples = _samples(ash, seed)
    typical = ash.typical()
    return AshContent(
        estimate_of([sample.lime_value() for sample, _ in samples], typical.lime_value()),
        estimate_of([_potassium(sample) for sample, _ in samples], _potassium(typical)),
    )


def dry_uses(ash: Ash, customs: str, seed: int = 1) -> tuple[DryUse, ...]:
    """Return every practice of ``dry_practices.csv`` with this ash and the cups of ``customs`` (us, metric, uk)."""
    samples = _samples(ash, seed)
    return tuple(_dry_use(row, ash.typical(), samples, measures(customs)) for row in published.table("dry_practices"))


@lru_cache(maxsize=256)
def cap_for(soil_ph: float | None) -> Cap:
    """Return the yearly limit at a soil pH; 0 if the pH is unknown.

    >>> cap_for(5.8).high, cap_for(6.2).high, cap_for(6.7).high, cap_for(None).high
    (98.0, 73.0, 0.0, 0.0)
    """
    if soil_ph is None:
        return Cap(id="unknown", low=0.0, high=0.0, source="sullivan_osu", status="seen")
    row = next(row for row in published.table("ash_caps") if float(row["ph_low"]) <= soil_ph < float(row["ph_high"]))
    return Cap(id=row["id"], low=float(row["low"]), high=float(row["high"]), source=row["source"], status=row["status"])


def loosest_cap() -> Cap:
    """Return the yearly limit of the most acid soil, the highest there is."""
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
    """Return the yearly ash that passes neither the lime requirement nor the limit ``cap`` nor ``stop_ph``.

    ``soil_ph`` includes the error of its reading; ``lime_value`` in g of CaCO3 per gram of ash; ``cap`` in g/m2.
    ``is_held_back`` sets the advice to 0.

    >>> ph, lime = Estimate(5.7, 6.0, 6.3), Estimate(0.3, 0.5, 0.8)
    >>> advised_ash(ph, 6.5, 7.0, "loam", 15, lime, 98.0, False).limited_by
    'cap'
    >>> advised_ash(Estimate.exactly(6.4), 6.5, 7.0, "sand", 15, lime, 98.0, False).limited_by
    'need'
    """
    lime_value = Estimate(*(max(lime, LEAST_LIME) for lime in (lime_value.low, lime_value.typical, lime_value.high)))
    need = lime_requirement(soil_ph, target_ph, texture, depth_cm)
    need_in_ash = ash_that_meets(need, lime_value)
    ash_to_stop = soil_buffer(texture, depth_cm).low * max(stop_ph - soil_ph.high, 0.0) / lime_value.high
    limits = {"cap": cap, "need": need_in_ash.typical, "stop": ash_to_stop}
    if is_held_back:
        limits["held back"] = 0.0
    least = min(limits.values())
    limited_by = next(name for name in reversed(LIMITS) if limits.get(name) == least)
    return Advice(least, limited_by, need, need_in_ash)


def _samples(ash: Ash, seed: int) -> list[tuple[AshSample, Mapping[str, float]]]:
    quantiles = latin_hypercube(sorted({*ash.unknowns, "practice.amount", "practice.area"}), SAMPLES, seed)
    return [(ash.sample_at(draw), draw) for draw in quantiles]


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
        id=row["id"],
        label=row["label"],
        ash=ash,
        ash_per_year=Estimate(ash.low * fewest, ash.typical * (fewest + most) / 2, ash.high * most),
        potassium=estimate_of([grams * _potassium(sample) for sample, grams in drawn], usual * _potassium(typical)),
        lime=estimate_of([grams * sample.lime_value() for sample, grams in drawn], usual * typical.lime_value()),
        source=row["source"],
        status=row["status"],
        note=row["note"],
    )
