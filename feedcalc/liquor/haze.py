"""Lime haze: how much of it a can holds, what it clogs, and how long it takes to sink.

* The amount comes from the equilibrium of the dilution; grain sizes come from published and judged ranges
  (``haze_openings.csv``), because nobody measures the grains in a can.
* An opening can be blocked in two ways: by grains too coarse to pass, and by smaller grains that bridge it together.
* Openings are as sold; a furred one is smaller.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from feedcalc import published
from feedcalc.frozen import frozen
from feedcalc.liquor.dilution import Feed
from feedcalc.physics.settling import clearing_time_hours
from feedcalc.uncertainty.estimates import Estimate

PASSES, MAY_CLOG, HELD_BACK = "passes", "may clog", "held back"
# Depth of a watering can through which haze has to sink, metres (our own judgement).
CAN_DEPTH_M = 0.25
_MICROMETRE = 1e-6


@frozen
class OpeningRisk:
    """The effect of haze on one opening.

    ``risk`` is passes, may clog (grains bridge it) or held back (the coarsest grains can't pass). ``filter_first``
    names the coarsest standard sieve (ASTM E11) that keeps the opening safe, and ``filter_micrometres`` is its
    opening; they are empty and 0 where no filter is needed.
    """

    id: str
    words: str
    opening_micrometres: Estimate
    risk: str
    filter_first: str
    filter_micrometres: float
    source: str
    status: str


@frozen
class Haze:
    """Lime haze in one can. ``is_visible`` says whether a glass of it looks cloudy.

    ``hours_to_sink`` is the time until single crystals have sunk through the can, from coarse to fine ones.
    """

    milligrams_per_litre: float
    grams_per_can: float
    is_visible: bool
    risks: tuple[OpeningRisk, ...]
    hours_to_sink: Estimate


def haze_in_can(feed: Feed, can_litres: float, temperature_kelvin: float, depth_m: float = CAN_DEPTH_M) -> Haze:
    """Return the haze of ``feed`` in a can of ``can_litres``, and its effect on roses and strainers.

    Raises `ValueError` unless can and depth are positive.
    """
    if not (can_litres > 0.0 and depth_m > 0.0):
        raise ValueError(f"can and depth must be above zero, got {can_litres!r} L and {depth_m!r} m")
    haze = feed.lime_haze
    is_visible = haze >= _size("visible").low
    risks = tuple(_risk(row, is_visible) for row in published.table("haze_openings") if row["kind"] == "opening")
    crystal, density = _size("crystal"), _size("calcite_density").typical
    hours = [
        clearing_time_hours(depth_m, size * _MICROMETRE, density, temperature_kelvin)
        for size in (crystal.high, crystal.typical, crystal.low)
    ]
    return Haze(
        milligrams_per_litre=haze,
        grams_per_can=haze * can_litres / 1000,
        is_visible=is_visible,
        risks=risks,
        hours_to_sink=Estimate(*hours),
    )


def _risk(row: Mapping[str, str], is_visible: bool) -> OpeningRisk:
    opening, clump, bridge = published.estimate(row), _size("clump"), _size("bridge")
    if not is_visible:
        risk = PASSES
    elif opening.typical <= clump.high:
        risk = HELD_BACK
    elif opening.low <= clump.typical * bridge.high:
        risk = MAY_CLOG
    else:
        risk = PASSES
    name, micrometres = "", 0.0
    if risk != PASSES:
        name, micrometres = _sieve_below(opening.low / bridge.low)
    return OpeningRisk(
        id=row["id"],
        words=row["words"],
        opening_micrometres=opening,
        risk=risk,
        filter_first=name,
        filter_micrometres=micrometres,
        source=row["source"],
        status=row["status"],
    )


def _sieve_below(micrometres: float) -> tuple[str, float]:
    """Return name and opening of the coarsest standard sieve of at most ``micrometres``, else of the finest."""
    sieves = [
        (float(row["micrometre"]), row["name"]) for row in published.table("grain_sizes") if row["kind"] == "sieve"
    ]
    fine_enough = [sieve for sieve in sieves if sieve[0] <= micrometres]
    opening, name = max(fine_enough) if fine_enough else min(sieves)
    return name, opening


@cache
def _size(name: str) -> Estimate:
    return next(published.estimate(row) for row in published.table("haze_openings") if row["id"] == name)
