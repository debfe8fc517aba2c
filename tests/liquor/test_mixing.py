"""Whether a second thing may go into the can."""

from __future__ import annotations

import pytest

from feedcalc import published
from feedcalc.chemistry import equilibrate
from feedcalc.liquor.mixing import NEVER, NOT_TOGETHER, VERDICTS, WITH_CARE, mixing_check, second_things
from feedcalc.liquor.steeping import Liquor

KELVIN = 288.15


@pytest.fixture(scope="module")
def liquor() -> Liquor:
    return Liquor(equilibrate({"potassium": 0.02, "carbon": 0.0095, "sulfur": 0.001}, KELVIN))


@pytest.fixture(scope="module")
def mild() -> Liquor:
    return Liquor(equilibrate({"potassium": 0.0005, "carbon": 0.0005}, KELVIN))


@pytest.mark.parametrize("name", [thing.id for thing in second_things().values() if thing.verdict == NEVER])
@pytest.mark.parametrize("dose", [None, 0.0, 1e-6])
def test_the_verdict_never_holds_for_any_numbers(mild, name, dose):
    assert mixing_check(mild, second_things()[name], KELVIN, dose).verdict == NEVER


@pytest.mark.parametrize(
    "name",
    ["ammonium sulfate", "ammonium nitrate", "urea", "fresh manure", "urine", "pesticide", "bleach", "acid cleaner"],
)
def test_what_harms_people_is_never_combined(name):
    assert second_things()[name].verdict == NEVER


def test_every_second_thing_has_a_known_verdict_a_reason_and_a_source():
    for thing in second_things().values():
        assert thing.verdict in VERDICTS
        assert thing.reason.endswith(".")
        assert thing.source in published.sources()


def test_a_verdict_is_never_milder_than_the_table(liquor, mild):
    for thing in second_things().values():
        for kind in (liquor, mild):
            assert VERDICTS.index(mixing_check(kind, thing, KELVIN).verdict) >= VERDICTS.index(thing.verdict)


def test_calcium_nitrate_loses_calcium_and_carbonate_as_chalk(liquor):
    found = mixing_check(liquor, second_things()["calcium nitrate"], KELVIN)
    calcium = 1.0 / 236.15  # mol in a gram
    assert found.fallen_out["calcite"] == pytest.approx(calcium * 100.09 * 1000, rel=0.02)
    assert any("chalk" in remark for remark in found.remarks)


def test_epsom_salt_loses_magnesium(liquor):
    assert mixing_check(liquor, second_things()["epsom salt"], KELVIN).fallen_out["brucite"] > 30


def test_ammonium_in_caustic_liquor_is_nearly_all_gas_and_worse_when_warm():
    caustic = Liquor(equilibrate({"potassium": 0.03}, KELVIN))
    cool = mixing_check(caustic, second_things()["ammonium nitrate"], 278.15)
    warm = mixing_check(caustic, second_things()["ammonium nitrate"], 303.15)
    assert cool.ammonia_share > 0.98
    assert warm.ammonia_ppm > 2.5 * cool.ammonia_ppm
    assert any("ppm" in remark for remark in warm.remarks)


def test_a_chelate_that_is_stable_at_high_ph_is_refused_only_above_its_limit(liquor, mild):
    eddha = second_things()["iron eddha"]
    assert mixing_check(liquor, eddha, KELVIN).verdict == NOT_TOGETHER
    assert mixing_check(mild, eddha, KELVIN).verdict == WITH_CARE


def test_a_thing_without_data_changes_no_number(liquor):
    found = mixing_check(liquor, second_things()["soap"], KELVIN)
    assert found.ph_after == found.ph_before
    assert found.fallen_out_in_all == 0.0
    assert found.dose is None


def test_a_larger_dose_makes_a_verdict_stricter(mild):
    hard = second_things()["hard water"]
    little = mixing_check(mild, hard, KELVIN, 0.01)
    much = mixing_check(Liquor(equilibrate({"potassium": 0.02, "carbon": 0.01}, KELVIN)), hard, KELVIN, 0.4)
    assert (little.verdict, much.verdict) == (WITH_CARE, NOT_TOGETHER)


def test_a_mixture_too_strong_for_the_chemistry_still_gets_its_verdict(liquor):
    for name, verdict in (("urea", NEVER), ("epsom salt", NOT_TOGETHER), ("hard water", NOT_TOGETHER)):
        found = mixing_check(liquor, second_things()[name], KELVIN, 1e6)
        assert found.verdict == verdict
        assert any("too strong" in remark for remark in found.remarks)


def test_a_negative_dose_is_refused(liquor):
    with pytest.raises(ValueError, match="below nothing"):
        mixing_check(liquor, second_things()["urea"], KELVIN, -1.0)
