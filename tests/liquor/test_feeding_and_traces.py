"""How little a feed brings of what a crop takes up, and the boron and chromium that come along."""

from __future__ import annotations

import pytest

from feedcalc import published
from feedcalc.contract.quantities import read_quantity
from feedcalc.garden.crop_removal import crop_potassium, soil_potassium
from feedcalc.garden.plants import plants
from tests.asking import WEIGHED, faults, reply_to, values_of

# Worked by hand: 1 lb K2O/acre = 0.09305 g K/m2, 1 kg K2O/ha = 0.08302 g K/m2.
UPTAKE = [("tomato", 15.77), ("carrot", 345 * 0.09305), ("celery", 435 * 0.09305), ("lettuce", 13.96), ("beans", 3.257)]


def test_it_is_told_whether_the_feed_is_enough_and_what_a_bag_would_say():
    values = values_of(WEIGHED, plant="tomato", ash={"analysis": {"potassium": "50 g/kg", "phosphorus": "6 g/kg"}})
    feeding, drench = values["feeding"], values["delivered"]["per_square_metre"]["potassium"]["value"] / 1000
    assert feeding["feeds_needed"]["value"] == pytest.approx(15.77 / drench, rel=0.001)
    assert feeding["season_share"]["value"] == pytest.approx(3 * feeding["crop_share"]["value"], rel=1e-4)
    # By hand: 50 g/kg of K are 5 %, as K2O 5 x 94.196 / 78.196 = 6.02; 0.6 % of P is 0.6 x 141.94 / 61.95 = 1.375.
    assert feeding["ash_k2o"]["value"] == pytest.approx(6.02, abs=0.01)
    assert feeding["ash_p2o5"]["value"] == pytest.approx(1.375, abs=0.005)
    assert feeding["plant_potassium"]["value"] == pytest.approx(15_770 / 2.5, rel=0.001)  # 2.5 plants on a m2


def test_the_table_of_crops_has_twenty():
    listed = {row["plant"] for row in published.table("crop_removal")}
    assert len(listed) >= 20


@pytest.mark.parametrize(("plant", "grams"), UPTAKE)
def test_the_potassium_of_a_crop_is_the_published_one_in_grams_per_square_metre(plant, grams):
    found, named = crop_potassium(plant)
    assert found == pytest.approx(grams, rel=0.001)
    assert named is not None


def test_every_plant_of_the_tables_is_in_the_list_of_plants():
    ids = {plant.id for plant in plants()}
    for name in ("crop_removal", "plant_spacing", "boron_sensitive"):
        assert {row["plant"] for row in published.table(name)} <= ids


def test_a_drench_is_a_few_per_cent_of_what_tomatoes_take_up():
    values = values_of(WEIGHED, plant="tomato", ranges="on")
    feeding, drench = values["feeding"], values["delivered"]["per_square_metre"]["potassium"]
    assert feeding["plant"] == "tomato"
    assert feeding["crop_share"]["value"] == pytest.approx(drench["value"] / 15770, rel=0.001)
    assert 0.001 < feeding["crop_share"]["low"] < feeding["crop_share"]["high"] < 0.1


def test_a_plant_that_is_not_in_the_table_is_compared_with_the_median_crop():
    feeding = values_of(WEIGHED, plant="rose")["feeding"]
    assert feeding["plant"] == ""
    assert 3 < feeding["crop_potassium"]["value"] < 41
    assert "no figure for your plant" in reply_to(WEIGHED, plant="rose")["html"]["delivery"]


@pytest.mark.parametrize(
    ("text", "milligrams"),
    [
        ("150 mg/kg", 150),
        ("150 ppm", 150),
        ("300 lb/acre", 150),
        ("195 mg/L", 150),
        ("331.5 kg/ha", 150),
        ("15 mg/100 g", 150),
        ("20 mg K2O/100 g", 166.03),
    ],
)
def test_a_soil_test_is_read_in_the_units_that_laboratories_print(text, milligrams):
    assert read_quantity(text, "soil_content", "soil.potassium").value == pytest.approx(milligrams, rel=1e-5)


def test_the_share_of_what_the_soil_holds_is_given_where_the_soil_was_tested():
    assert soil_potassium(150) == pytest.approx(0.150 * 221)
    values = values_of(WEIGHED, soil={"potassium": "150 mg/kg"})
    drench = values["delivered"]["per_square_metre"]["potassium"]["value"]
    assert values["feeding"]["soil_share"]["value"] == pytest.approx(drench / 1000 / 33.15, rel=0.001)
    assert "soil_share" not in values_of(WEIGHED)["feeding"]
    assert "soil.potassium" in faults(soil={"potassium": "150"})


def test_the_traces_of_the_liquor_are_what_water_took_out_of_a_stoves_ash():
    values = values_of(WEIGHED, ranges="on")
    strength = 107 / 5  # g of ash per litre
    assert values["liquor"]["boron"]["value"] == pytest.approx(0.104 * strength, rel=0.01)
    assert values["liquor"]["chromium"]["value"] == pytest.approx(0.0069 * strength, rel=0.01)
    assert values["traces"]["boron"]["feed"]["value"] == pytest.approx(0.104 * strength / 11, rel=0.01)
    boron = values["liquor"]["boron"]
    assert boron["low"] < 0.5 * boron["value"] < 1.5 * boron["value"] < boron["high"]


def test_each_trace_is_named_by_the_published_effect_of_its_concentration():
    assert values_of(WEIGHED)["traces"]["boron"]["effect"] == "none"
    assert values_of(WEIGHED, dilution="1:1")["traces"]["boron"]["effect"] == "slight to moderate"
    assert values_of(WEIGHED, dilution="1:0")["traces"]["chromium"]["effect"] == "above the limit"
    above = [limit["above"] for limit in values_of(WEIGHED)["traces"]["boron"]["limits"]]
    assert above == [0.0, 0.7, 3.0]


def boron_warnings(**asked) -> list[str]:
    return [warning for warning in reply_to(WEIGHED, ranges="on", **asked)["warnings"] if "boron" in warning]


def test_boron_is_warned_of_where_the_feed_may_pass_the_limit_and_a_sensitive_plant_is_named():
    assert boron_warnings(dilution="1:10", plant="bean") == []
    assert "bean" in boron_warnings(dilution="1:3", plant="bean")[0]
    (warning,) = boron_warnings(dilution="1:3", plant="cabbage")
    assert "cabbage" not in warning
    assert "bean" not in warning


def test_traces_are_no_part_of_the_equilibrium():
    values = values_of(WEIGHED, dilution="1:3")
    for trace in ("boron", "chromium"):
        assert trace in values["liquor"]
        assert trace not in values["ladder"][0]
