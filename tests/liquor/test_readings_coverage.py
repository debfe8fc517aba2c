"""Simulation-based coverage: an ash is drawn, its liquor is read with errors, and its range must hold the true figures.

The state of the ash is drawn as well, and the grower is taken to know it; one of the four states is that nobody does.
Ranges hold the middle 90 %. Over all 200 draws between 85 and 95 % must be held (the standard deviation of such a count
is 2 %). The draws come in parts; each part alone must hold at least as many as 999 in 1000 binomial counts do. Only the
liquor is computed, because no reading depends on anything else.
"""

from __future__ import annotations

import json
import random
from collections import Counter
from functools import cache

import pytest
from scipy.stats import binom

from feedcalc.contract.request import read_request
from feedcalc.garden.ash import ash_of
from feedcalc.garden.water import water_of_report
from feedcalc.liquor.instruments import ph_shows, readings_in
from feedcalc.liquor.learning import learning
from feedcalc.liquor.observations import LiquorBatch
from feedcalc.liquor.steeping import SteepMemory
from feedcalc.uncertainty.estimates import estimate_of, run_to_end

KELVIN = 288.15
DRAWS = 200
PARTS = 10
STATES = ("unknown", "fresh", "aged", "leached")
FIGURES = {
    "potassium": lambda liquor: liquor.milligrams_per_litre("potassium"),
    "ph": lambda liquor: liquor.equilibrium.ph,
    "alkalinity": lambda liquor: liquor.alkalinity,
}


def asked(state: str, measured: dict[str, str]):
    return read_request(json.dumps({"schema": 1, "ash": {"state": state}, "seed": 1, "measured": measured}))


@cache
def steeps() -> SteepMemory:
    """The same ashes are tried before each reading, so most of them need to be steeped only once."""
    return SteepMemory(water_of_report("rain", {}), KELVIN)


def liquor_after(sample, hours: float):
    return steeps().steep(sample, 21.0 * sample.density / 0.45, hours).liquor


def read_with_errors(truth, state: str, chance: random.Random, with_meter: bool):
    """A request with what a pen without compensation, and a meter if wanted, show in the cold liquor."""
    shown = {"ec": truth.equilibrium.conductivity_at(KELVIN), "ph": ph_shows(truth.equilibrium, KELVIN - 273.15)}
    exact = {"ec": f"{shown['ec']} mS/cm", "ph": f"{shown['ph']}", "compensated": "no"}
    pen, meter = readings_in(asked(state, exact))
    measured = {"ec": f"{shown['ec'] * (1 + chance.gauss(0, pen.standard_deviation))} mS/cm", "compensated": "no"}
    if with_meter:
        measured["ph"] = f"{min(shown['ph'] + chance.gauss(0, meter.standard_deviation), 14.0)}"
    return asked(state, measured)


def figures_held(draw: int) -> set[str] | None:
    """The names of the figures whose range holds the truth in one draw; None where its readings were rejected."""
    chance = random.Random(draw)
    ash = ash_of("mixed", chance.choice(STATES))
    truth = liquor_after(ash.sample_at({name: chance.random() for name in ash.unknowns}), 24.0)
    request = read_with_errors(truth, ash.state, chance, with_meter=draw % 4 >= 2)
    batch = LiquorBatch(request, liquor_after, lambda liquor: liquor, KELVIN, "the one strength")
    learned = run_to_end(learning(batch, ash, count=40))
    if not learned.used:
        return None
    liquors = [liquor_after(sample, 24.0) for sample in learned.samples]
    typical = liquor_after(learned.typical, 24.0)
    held = set()
    for name, of in FIGURES.items():
        bounds = estimate_of([of(liquor) for liquor in liquors], of(typical), learned.effective)
        if bounds.low <= of(truth) <= bounds.high:
            held.add(name)
    return held


@cache
def tally(part: int) -> tuple[Counter[str], int]:
    """How often each figure was held in one part of the draws, and how many draws were not rejected."""
    size = DRAWS // PARTS
    found = [held for held in map(figures_held, range(part * size, (part + 1) * size)) if held is not None]
    return Counter(name for held in found for name in held), len(found)


@pytest.mark.parametrize("part", [0, *(pytest.param(part, marks=pytest.mark.slow) for part in range(1, PARTS))])
def test_ranges_after_a_reading_hold_the_truth_in_every_part_of_the_draws(part):
    held, count = tally(part)
    for name in FIGURES:
        assert held[name] >= binom.ppf(0.001, count, 0.9), (name, held[name], count)


@pytest.mark.slow
def test_ranges_after_a_reading_hold_the_truth_as_often_as_they_say():
    tallies = [tally(part) for part in range(PARTS)]
    count = sum(count for _, count in tallies)
    assert DRAWS - count <= 0.02 * DRAWS  # a true reading is hardly ever rejected
    for name in FIGURES:
        assert 0.85 <= sum(held[name] for held, _ in tallies) / count <= 0.95, name
