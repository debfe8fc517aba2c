"""What a pouring gives: per can, per plant, per square metre, and hardly any calcium."""

from __future__ import annotations

import pytest

from feedcalc.chemistry import equilibrate
from feedcalc.liquor.delivery import delivered_by
from feedcalc.liquor.steeping import Liquor
from tests.asking import WEIGHED, values_of

POTASH = Liquor(equilibrate({"potassium": 0.01, "carbon": 0.005}, 298.15))


def test_a_litre_of_known_potash_delivers_its_potassium_and_its_lime_value():
    # 10 mmol/L of potassium as carbonate: 391 mg of potassium and 10 meq of alkalinity, 0.500 g of CaCO3.
    given = delivered_by(POTASH, 1.0)
    assert given.potassium == pytest.approx(391, rel=5e-3)
    assert given.lime_value == pytest.approx(0.500, rel=5e-3)
    assert given.calcium == given.magnesium == 0.0


def test_twice_the_volume_delivers_twice_as_much():
    one, two = delivered_by(POTASH, 0.75), delivered_by(POTASH, 1.5)
    assert two.potassium == pytest.approx(2 * one.potassium)
    assert two.lime_value == pytest.approx(2 * one.lime_value)


def test_delivery_per_square_metre_spreads_all_cans_on_the_given_area():
    cans, area = [{"size": "9 L", "count": 2}, {"size": "5 L", "count": 1}], 4.6
    values = values_of(cans=cans, dilution="1:10", soil={"area": f"{area} m^2"})
    assert values["delivered"]["per_square_metre"]["volume"]["value"] == pytest.approx((2 * 9 + 5) / area, rel=1e-5)


def test_a_plant_gets_less_the_smaller_it_is():
    volumes = [
        values_of(WEIGHED, stage=stage)["delivered"]["per_plant"]["volume"]["value"]
        for stage in ("seedling", "young", "established")
    ]
    assert volumes == sorted(volumes)
    assert volumes[0] < 0.05


@pytest.mark.parametrize("kind", ["mixed", "hardwood", "softwood", "bark"])
def test_aged_ash_delivers_potassium_and_hardly_any_calcium(kind):
    can = values_of(WEIGHED, ash={"kind": kind})["delivered"]["per_can"]
    assert can["potassium"]["value"] > 20 * can["calcium"]["value"]
    assert can["potassium"]["value"] > 100
