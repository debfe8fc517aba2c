"""Every figure has a range (5, 50 and 95 %) if it depends on the ash, and none if it does not."""

from __future__ import annotations

import json

import pytest

from feedcalc.contract.figures import flat_figures
from tests.asking import reply_to_text

CUP = {"ash": {"kind": "mixed", "state": "fresh", "amount": "2 us_cup"}, "water": {"kind": "rain", "amount": "8 L"}}
WEIGHED = CUP | {"ash": CUP["ash"] | {"amount": "200 g"}}
EVERYTHING = {
    "steep": {"air": "open"},
    "acid": {"kind": "vinegar", "target_ph": "7"},
    "dilution_water": {"kind": "hard"},
    "soil": {"area": "4 m2", "ph": "6"},
}
REQUESTS = {
    "by the cup": CUP,
    "by weight": WEIGHED,
    "all there is": CUP | EVERYTHING,
    "a few ashes": CUP | {"samples": "10"},
    "read": CUP | EVERYTHING | {"measured": {"ec": "7 mS/cm", "clear_depth": "8 cm", "clear_after": "2 h"}},
}


def figures_of(request):
    reply = reply_to_text(json.dumps({"schema": 1, **request}))
    assert reply["ok"], reply["errors"]
    medians = reply["values"]["evidence"]["medians"]
    figures = flat_figures(reply["values"])
    assert medians.keys() <= figures.keys()
    return {path: figure | ({"median": medians[path]} if path in medians else {}) for path, figure in figures.items()}


@pytest.mark.parametrize("name", REQUESTS)
def test_value_and_median_lie_within_low_and_high(name):
    for path, figure in figures_of(REQUESTS[name]).items():
        assert figure["low"] <= figure["value"] <= figure["high"], path
        if "median" in figure:
            assert figure["low"] <= figure["median"] <= figure["high"], path


# Figures that an unknown ash leaves open, one of each kind: what goes in, pours off, is in it, and comes of it.
OPEN = (
    *("batch.ash_mass", "batch.liquor_volume", "batch.sludge_volume", "batch.settle_time", "batch.pour_height"),
    *("liquor.ph", "liquor.ec", "liquor.potassium", "liquor.calcium", "liquor.sodium", "liquor.alkalinity"),
    *("ladder.0.potassium", "ladder.3.ph", "delivered.per_can.lime_value", "delivered.per_plant.potassium"),
    *("sludge.calcium", "sludge.lime_value", "steeping.dissolving.2.share", "settling.dissolved_share"),
    *("recommended.established.parts_water", "caustic.hydroxide_share", "liquor_in_air.ph"),
)


@pytest.mark.parametrize("path", OPEN)
def test_figures_that_depend_on_the_ash_have_a_range_and_a_median(path):
    figure = figures_of(REQUESTS["all there is"])[path]
    assert figure["low"] < figure["high"]
    assert "median" in figure


def test_amounts_to_measure_out_have_no_range():
    figures = figures_of(WEIGHED)
    for path in ("batch.ash_mass", "batch.water_volume", "batch.parts_water"):
        assert figures[path]["low"] == figures[path]["value"] == figures[path]["high"]


def test_a_denser_ash_gives_more_of_everything_by_volume_and_the_same_by_weight():
    def potassium(request, density):
        ash = request["ash"] | {"density": density}
        return figures_of(request | {"ash": ash, "ranges": "off"})["liquor.potassium"]["value"]

    assert potassium(CUP, "0.6 g/mL") > 1.3 * potassium(CUP, "0.4 g/mL")
    assert potassium(WEIGHED, "0.6 g/mL") == pytest.approx(potassium(WEIGHED, "0.4 g/mL"), rel=1e-6)


def test_several_weighings_narrow_the_range():
    def doubt(amount, litres):
        ash = {"kind": "mixed", "amount": amount, "weighings": "98 g; 104 g; 101 g", "weighed_measure": "1 us_cup"}
        mass = figures_of({"ash": ash, "water": {"amount": litres}, "vessel": {"capacity": "60 L"}})["batch.ash_mass"]
        return (mass["high"] - mass["low"]) / mass["value"]

    assert doubt("8 us_cup", "40 L") < 0.85 * doubt("1 us_cup", "5 L")


def test_a_clear_line_judged_by_eye_leaves_about_a_tenth_of_uncertainty_either_way():
    seen = WEIGHED | {"measured": {"clear_depth": "8 cm", "clear_after": "2 h"}}
    grains = figures_of(seen)["settling.clouding_diameter"]
    # Half of 10 % of depth and 3 % of time, 1.645 standard deviations, and grains of 2.1 to 2.6 g/mL.
    assert 0.86 < grains["low"] / grains["median"] < 0.95
    assert 1.05 < grains["high"] / grains["median"] < 1.16
