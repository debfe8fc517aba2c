"""Water by preset or by report: its ions balance, its pH is the one stated, and what can't be right is told."""

from __future__ import annotations

import pytest

from feedcalc import published
from feedcalc.chemistry import equilibrate
from feedcalc.garden.water import Water, ions, water_of_kind, water_of_report
from tests.asking import reply_to, values_of

KINDS = [row["kind"] for row in published.table("water_kinds")]
ROOM_KELVIN = 298.15
# Half a mol of CaCO3, g (molar masses IUPAC 2021: 40.078 + 12.011 + 3 x 15.999 over 2).
EQUIVALENT = 50.04
CALCIUM, MAGNESIUM, SODIUM, CHLORIDE, SULFUR = 40.078, 24.305, 22.990, 35.45, 32.06


def alkalinity_by_charge(water: Water) -> float:
    """mg/L as CaCO3 of what the strong ions leave to be balanced by carbonate and hydroxide."""
    charge = {ion.element: ion.charge for ion in ions()}
    return sum(water.totals[element] * sign for element, sign in charge.items()) * 1000 * EQUIVALENT


@pytest.mark.parametrize("kind", KINDS)
def test_a_preset_carries_no_charge(kind):
    water = water_of_kind(kind)
    assert alkalinity_by_charge(water) == pytest.approx(water.alkalinity, rel=1e-4, abs=0.01)


@pytest.mark.parametrize("kind", KINDS)
def test_a_preset_has_the_ph_and_alkalinity_it_states(kind):
    row = next(row for row in published.table("water_kinds") if row["kind"] == kind)
    made = equilibrate(water_of_kind(kind).totals, ROOM_KELVIN)
    assert made.ph == pytest.approx(float(row["ph"]), abs=0.01)
    titrated = made.alkalinity * made.water_kg / made.litres * 1000 * EQUIVALENT
    assert titrated == pytest.approx(float(row["alkalinity"]), abs=max(0.3, 0.01 * float(row["alkalinity"])))


def test_presets_get_harder_in_the_order_of_their_names():
    hardness = [water_of_kind(kind).hardness for kind in ("rain", "soft", "medium", "hard", "very_hard")]
    assert hardness == sorted(hardness)
    assert hardness[0] < 5
    assert hardness[-1] > 180


def test_rain_holds_next_to_nothing():
    water = water_of_kind("rain")
    assert water.hardness < 5
    assert water.alkalinity < 5


@pytest.mark.parametrize("ph", [6.5, 7.0, 7.4, 8.0, 8.4])
def test_water_by_report_has_the_ph_it_states(ph):
    water = water_of_report("medium", {"hardness": 200.0, "alkalinity": 150.0, "chloride": 35.0, "ph": ph})
    assert equilibrate(water.totals, ROOM_KELVIN).ph == pytest.approx(ph, abs=0.01)


def test_carbon_comes_from_alkalinity_and_ph_together():
    # 3 meq/L at pH 7.4: total CO2 = alkalinity x (1 + 10^(pK1 - pH)), pK1 6.352 at 25 degC (Plummer and Busenberg
    # 1982), 3.27 mmol/L in dilute water; activity takes up to 2 % off.
    water = water_of_report("medium", {"alkalinity": 150.1, "hardness": 150.1, "ph": 7.4})
    assert water.totals["carbon"] * 1000 == pytest.approx(3.24, abs=0.04)


def test_hardness_alone_is_taken_as_bicarbonate_water():
    water = water_of_report("medium", {"hardness": 200.2})
    assert water.hardness == pytest.approx(200.2, rel=1e-4)
    assert water.alkalinity == pytest.approx(200.2, rel=1e-3)
    assert water.doubts == ()


def test_alkalinity_alone_is_taken_as_bicarbonate_water():
    water = water_of_report("medium", {"alkalinity": 150.0})
    assert water.alkalinity == 150.0
    assert water.hardness == pytest.approx(150.0, rel=1e-3)
    assert water.doubts == ()
    assert alkalinity_by_charge(water) == pytest.approx(150.0, rel=1e-4)


def test_ions_are_taken_as_reported():
    reported = {"calcium": 80.0, "magnesium": 12.0, "sodium": 15.0, "chloride": 25.0, "sulfate": 45.0}
    water = water_of_report("rain", reported)
    assert water.totals["calcium"] * 1000 == pytest.approx(80.0 / CALCIUM, rel=1e-4)
    assert water.totals["magnesium"] * 1000 == pytest.approx(12.0 / MAGNESIUM, rel=1e-4)
    assert water.totals["sodium"] * 1000 == pytest.approx(15.0 / SODIUM, rel=1e-4)
    assert water.totals["chloride"] * 1000 == pytest.approx(25.0 / CHLORIDE, rel=1e-4)
    assert water.totals["sulfur"] * 1000 == pytest.approx(45.0 / (SULFUR + 4 * 15.999), rel=1e-4)
    # 80 mg/L calcium and 12 mg/L magnesium: 2 x 1.996 + 2 x 0.494 = 4.980 meq/L.
    assert water.hardness == pytest.approx(4.980 * EQUIVALENT, rel=1e-3)


def test_calcium_known_gives_the_rest_of_the_hardness_to_magnesium():
    water = water_of_report("medium", {"hardness": 250.2, "calcium": 80.0, "alkalinity": 200.0})
    # 5.000 meq/L less 3.992 meq/L of calcium.
    assert water.totals["magnesium"] * 2000 == pytest.approx(1.008, abs=0.005)


def test_what_is_added_for_balance_is_told_with_its_amount():
    # 3 meq/L hardness over 1 meq/L alkalinity: 2 meq/L of chloride are missing, 70.9 mg/L.
    water = water_of_report("medium", {"hardness": 150.1, "alkalinity": 50.04})
    assert water.balanced_with == "70.9 mg/L chloride"
    assert alkalinity_by_charge(water) == pytest.approx(50.04, rel=1e-4)


def test_too_little_positive_charge_is_made_good_as_sodium():
    water = water_of_report("medium", {"hardness": 50.04, "alkalinity": 150.1})
    assert water.balanced_with == "46.0 mg/L sodium"


@pytest.mark.parametrize(
    ("report", "words"),
    [
        ({"hardness": 400.0, "alkalinity": 20.0}, "can't be right"),
        ({"hardness": 100.0, "calcium": 120.0, "alkalinity": 250.0}, "We used the larger"),
        ({"hardness": 400.0, "calcium": 40.0, "magnesium": 5.0, "alkalinity": 100.0}, "does not fit"),
        ({"calcium": 80.0, "alkalinity": 200.0, "ec": 3.0}, "a unit is wrong"),
        ({"hardness": 20.0, "alkalinity": 20.0, "ph": 11.0}, "pH"),
        ({"hardness": 200.0, "alkalinity": 200.0, "ph": 4.0}, "pH"),
    ],
    ids=["charge", "calcium over hardness", "hardness over ions", "conductivity", "too high a pH", "too low a pH"],
)
def test_a_report_that_cannot_be_right_is_doubted(report, words):
    assert any(words in doubt for doubt in water_of_report("medium", report).doubts)


def test_a_good_report_is_not_doubted():
    # The ions of a hard chalk water, in balance within 2 %.
    report = {
        "calcium": 104.0,
        "magnesium": 5.0,
        "sodium": 12.0,
        "chloride": 22.0,
        "sulfate": 32.0,
        "alkalinity": 235.0,
        "ph": 7.3,
        "ec": 0.56,
    }
    assert water_of_report("hard", report).doubts == ()


def test_doubts_reach_the_grower_as_warnings():
    warnings = reply_to(water={"amount": "5 L", "analysis": {"hardness": "400 mg/L", "alkalinity": "20 mg/L"}})[
        "warnings"
    ]
    assert any("can't be right" in warning for warning in warnings)


@pytest.mark.parametrize(
    ("written", "milligrams"),
    [("10 °dH", 178.5), ("17.85 °fH", 178.5), ("3.57 mmol/L", 357.3), ("12 gpg", 205.4), ("14 °e", 199.5)],
)
def test_hardness_may_be_told_in_any_of_the_trades_degrees(written, milligrams):
    # Degrees by definition: 1 °dH 17.85, 1 °fH 10.0, 1 °e 14.25, 1 gpg 17.12 mg/L as CaCO3.
    asked = {"amount": "5 L", "kind": "medium"}
    by_degrees = values_of(water=asked | {"analysis": {"hardness": written}})["liquor"]
    by_milligrams = values_of(water=asked | {"analysis": {"hardness": f"{milligrams} mg/L"}})["liquor"]
    for name in ("ph", "potassium", "calcium", "alkalinity", "chloride"):
        assert by_degrees[name]["value"] == pytest.approx(by_milligrams[name]["value"], rel=2e-3)


def test_an_unknown_kind_of_water_is_no_water():
    with pytest.raises(KeyError):
        water_of_kind("holy")


@pytest.mark.parametrize(("kind", "conductivity"), [("rain", 0.04), ("soft", 0.2), ("medium", 0.5), ("hard", 0.9)])
def test_a_conductivity_alone_says_how_much_of_the_kind_s_salts_there_is(kind, conductivity):
    water = water_of_report(kind, {"ec": conductivity})
    assert water.doubts == ()
    assert equilibrate(water.totals, 298.15).conductivity == pytest.approx(conductivity, rel=0.3)
    more = water_of_report(kind, {"ec": 1.3 * conductivity})
    assert more.hardness > water.hardness


def test_a_conductivity_far_from_the_kind_is_doubted():
    assert "another kind of water" in water_of_report("rain", {"ec": 2.0}).doubts[0]
