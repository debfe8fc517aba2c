"""Synthetic truth: an ash is drawn, read as badly as instruments read, and must lie in its range as often as told.

Ranges hold the middle 90 %, so that of 200 draws between 85 and 95 % must be held (a count like this has a standard
deviation is 2 %). The liquor alone is worked through, as what readings bear on.
"""

from __future__ import annotations

import json
import random

from feedcalc.contract.request import read_request
from feedcalc.garden.ash import ash_of
from feedcalc.garden.water import water_of_report
from feedcalc.liquor.instruments import ph_shows, readings_in
from feedcalc.liquor.learning import learning
from feedcalc.liquor.observations import LiquorBatch
from feedcalc.liquor.steeping import steep
from feedcalc.uncertainty.estimates import estimate_of, run_to_end

KELVIN = 288.15
DRAWS = 200
FIGURES = {
    "potassium": lambda liquor: liquor.milligrams_per_litre("potassium"),
    "ph": lambda liquor: liquor.equilibrium.ph,
    "alkalinity": lambda liquor: liquor.alkalinity,
}


def asked(state: str, seed: int, measured: dict[str, str]):
    return read_request(json.dumps({"schema": 1, "ash": {"state": state}, "seed": seed, "measured": measured}))


def test_ranges_after_a_reading_hold_the_truth_as_often_as_they_say():
    rain = water_of_report("rain", {})

    known = {}

    def liquor_after(sample, hours):
        # The same ashes are tried before each reading, so that most of them need steeping but once.
        told = (sample.grams_per_kilogram, sample.reachable, sample.free_lime, sample.density, sample.fast_share)
        key = repr((told, sample.fast_rate, sample.slow_rate, hours))
        if key not in known:
            known[key] = steep(sample, 21.0 * sample.density / 0.45, rain, KELVIN, hours).liquor
        return known[key]

    held = dict.fromkeys(FIGURES, 0)
    doubted = 0
    for draw in range(DRAWS):
        chance = random.Random(draw)
        ash = ash_of("mixed", ("fresh", "aged")[draw % 2])
        truth = liquor_after(ash.sample_at({name: chance.random() for name in ash.unknowns}), 24.0)
        # What a pen that does not compensate, and on every other pair of draws a meter too, show in the cold liquor.
        shown = {"ec": truth.equilibrium.conductivity_at(KELVIN), "ph": ph_shows(truth.equilibrium, KELVIN - 273.15)}
        exact = {"ec": f"{shown['ec']} mS/cm", "ph": f"{shown['ph']}", "compensated": "no"}
        pen, meter = readings_in(asked(ash.state, 1, exact))
        measured = {"ec": f"{shown['ec'] * (1 + chance.gauss(0, pen.standard_deviation))} mS/cm", "compensated": "no"}
        if draw % 4 >= 2:
            measured["ph"] = f"{min(shown['ph'] + chance.gauss(0, meter.standard_deviation), 14.0)}"
        request = asked(ash.state, 1, measured)
        batch = LiquorBatch(request, liquor_after, lambda liquor: liquor, KELVIN, "the one strength")
        learned = run_to_end(learning(batch, ash, count=40))
        if not learned.used:
            doubted += 1
            continue
        liquors = [liquor_after(sample, 24.0) for sample in learned.samples]
        middle = liquor_after(learned.typical, 24.0)
        for name, of in FIGURES.items():
            bounds = estimate_of([of(liquor) for liquor in liquors], of(middle), learned.effective)
            held[name] += bounds.low <= of(truth) <= bounds.high
    assert doubted <= 0.02 * DRAWS  # a true reading is hardly ever called impossible
    for name, count in held.items():
        assert 0.85 <= count / (DRAWS - doubted) <= 0.95, (name, count)
