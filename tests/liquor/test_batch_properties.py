"""What must hold of any batch: nothing is lost between ash, liquor and sludge, and like questions get like answers."""

from __future__ import annotations

import json
import random
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from feedcalc.chemistry.formulas import molar_masses
from feedcalc.contract.request import read_request
from feedcalc.engine import demo_request
from feedcalc.garden.ash import ELEMENTS
from feedcalc.liquor.answer import Answer, answer_to
from feedcalc.liquor.vessel import water_kilograms
from tests.asking import WEIGHED, every_figure, reply_to, reply_to_text, rung, values_of
from tests.examples import examples

# Six digits are kept of every figure of a reply, so a balance of several of them closes to a few of the sixth.
SIX_DIGITS = 2e-5
MINERAL_WATERS = st.sampled_from(["rain", "soft", "medium", "hard", "very_hard", "softened"])

some_ash = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(["mixed", "hardwood", "softwood", "bark"]),
        "state": st.sampled_from(["fresh", "aged"]),
        "analysis": st.fixed_dictionaries(
            {
                "potassium": st.floats(10, 150).map("{:.3f} g/kg".format),
                # The least that makes any of these ashes alkaline: one with more acid than base is refused.
                "calcium": st.floats(70, 380).map("{:.3f} g/kg".format),
                "magnesium": st.floats(2, 60).map("{:.3f} g/kg".format),
                "sodium": st.floats(0.3, 12).map("{:.3f} g/kg".format),
                "phosphorus": st.floats(1, 20).map("{:.3f} g/kg".format),
                "sulfur": st.floats(1, 25).map("{:.3f} g/kg".format),
                "chloride": st.floats(0.1, 6).map("{:.3f} g/kg".format),
            }
        ),
    }
)
some_batch = st.builds(
    lambda ash, strength, litres, kind, celsius, hours, capacity: {
        "ash": ash | {"amount": f"{strength * litres:.4f} g"},
        "water": {"kind": kind, "amount": f"{litres:.4f} L", "temperature": f"{celsius} degC"},
        "steep": {"time": f"{hours} h"},
        "vessel": {"capacity": f"{capacity} L"},
        "dilution": "1:9",
    },
    some_ash,
    st.floats(1, 120),
    st.floats(0.5, 60),
    MINERAL_WATERS,
    st.integers(2, 35),
    st.sampled_from([0.1, 1, 24, 72]),
    st.sampled_from([5, 12, 60]),
)


def answer(request: dict[str, Any]) -> Answer:
    return answer_to(read_request(json.dumps({"schema": 1, "ranges": "off", **request})))


def brought(found: Answer, element: str) -> float:
    """Grams of an element that ash and water brought."""
    batch, water = found.typical.batch, found.water
    kilograms = water_kilograms(batch.water_litres, found.request.known("water.temperature") + 273.15)
    from_water = water.totals.get(element, 0.0) * kilograms * molar_masses()[element]
    return batch.ash_grams * found.typical.sample.grams_per_kilogram[element] / 1000 + from_water


@examples(40)
@given(some_batch)
def test_the_mass_of_every_element_is_balanced_between_liquor_and_solids(request_parts):
    found = answer(request_parts)
    batch, steep = found.typical.batch, found.typical.steep
    kilograms = water_kilograms(batch.water_litres, found.request.known("water.temperature") + 273.15)
    for element in ELEMENTS:
        dissolved = steep.liquor.equilibrium.dissolved[element] * kilograms * molar_masses()[element]
        solids = steep.sludge.grams_per_gram[element] * batch.ash_grams
        assert solids >= -1e-9 * brought(found, element), element
        assert dissolved + solids == pytest.approx(brought(found, element), rel=1e-6), element


@examples(40)
@given(some_batch)
def test_poured_liquor_and_sludge_together_hold_what_ash_and_water_brought(request_parts):
    found, values = answer(request_parts), values_of(request_parts)
    poured = values["batch"]["liquor_volume"]["value"]
    for element in ELEMENTS:
        told = poured * values["liquor"][element]["value"] / 1000 + values["sludge"][element]["value"]
        assert told == pytest.approx(brought(found, element), rel=SIX_DIGITS), element


@examples(40)
@given(some_batch)
def test_no_lime_value_is_lost_between_liquor_and_sludge(request_parts):
    found, values = answer(request_parts), values_of(request_parts)
    batch = found.typical.batch
    kilograms = water_kilograms(batch.water_litres, found.request.known("water.temperature") + 273.15)
    had = batch.ash_grams * found.typical.sample.lime_value() + found.water.alkalinity * kilograms / 1000
    poured = values["batch"]["liquor_volume"]["value"] * values["liquor"]["alkalinity"]["value"] / 1000
    assert poured + values["sludge"]["lime_value"]["value"] == pytest.approx(had, rel=SIX_DIGITS, abs=1e-4)


@examples(40)
@given(some_batch)
def test_volumes_add_up_and_the_sludge_is_under_water(request_parts):
    found = answer(request_parts)
    batch = found.typical.batch
    assert batch.liquor_litres + batch.sludge_litres + batch.guard_litres == pytest.approx(batch.mixture_litres)
    assert 0 <= batch.sludge_top <= batch.pour_line <= batch.surface
    assert batch.surface <= found.vessel.height
    assert batch.mixture_litres / batch.goes <= found.vessel.usable * (1 + 1e-9)
    assert found.typical.steep.liquor.equilibrium.balance_error <= 1e-9


@examples(40)
@given(some_batch)
def test_a_can_delivers_its_volume_times_the_concentration(request_parts):
    values = values_of(request_parts)
    feed = rung(values, 9)
    for where, litres in (
        ("per_can", values["batch"]["cans"][0]["size"]["value"]),
        ("per_plant", values["delivered"]["per_plant"]["volume"]["value"]),
        ("per_square_metre", values["delivered"]["per_square_metre"]["volume"]["value"]),
    ):
        given_out = values["delivered"][where]
        for element in ("potassium", "calcium", "magnesium"):
            expected = feed[element]["value"] * litres
            assert given_out[element]["value"] == pytest.approx(expected, rel=SIX_DIGITS), element
        expected = feed["alkalinity"]["value"] * litres / 1000
        assert given_out["lime_value"]["value"] == pytest.approx(expected, rel=SIX_DIGITS)


@examples(40)
@given(some_batch, st.floats(1.05, 4))
def test_more_ash_never_gives_less_potassium_or_lime(request_parts, factor):
    grams = float(request_parts["ash"]["amount"].removesuffix(" g"))
    litres = float(request_parts["water"]["amount"].removesuffix(" L"))
    assume(grams * factor / litres < 150)
    more = request_parts | {"ash": request_parts["ash"] | {"amount": f"{grams * factor} g"}}
    less_ash, more_ash = values_of(request_parts), values_of(more)
    for name in ("potassium", "sodium"):
        assert more_ash["liquor"][name]["value"] >= less_ash["liquor"][name]["value"] * (1 - 1e-5), name
    assert more_ash["sludge"]["lime_value"]["value"] > less_ash["sludge"]["lime_value"]["value"]


@examples(40)
@given(some_batch)
def test_more_dilution_with_plain_water_never_gives_more_of_anything(request_parts):
    plain = {"analysis": {"hardness": "0 mg/L", "alkalinity": "0 mg/L", "ph": 6.0}}
    ladder = values_of(request_parts, dilution_water=plain)["ladder"]
    names = [name for name, figure in ladder[0].items() if isinstance(figure, dict) and name not in NOT_OF_THE_FEED]
    assert {"potassium", "calcium", "magnesium", "alkalinity", "ec", "ph"} <= set(names)
    for stronger, weaker in pairwise(ladder):
        for name in names:
            if name in ("ph", "ph_25") and stronger["ph"]["value"] < 11.2:
                continue  # a carbonate buffer, which rises a little as it is diluted (Bates, from memory)
            assert weaker[name]["value"] <= stronger[name]["value"] * (1 + 1e-5) + 1e-12, name


NOT_OF_THE_FEED = {"parts_liquor", "parts_water", "liquor_per_can", "water_per_can", "lime_haze"}


@examples(30)
@given(some_batch, st.integers(1, 10))
def test_warmer_water_never_settles_slower(request_parts, warmer):
    celsius = int(request_parts["water"]["temperature"].removesuffix(" degC"))
    warm = request_parts | {"water": request_parts["water"] | {"temperature": f"{celsius + warmer} degC"}}
    assert values_of(warm)["batch"]["settle_time"]["value"] < values_of(request_parts)["batch"]["settle_time"]["value"]


@examples(30)
@given(some_batch, st.floats(1.1, 10))
def test_a_bigger_bucket_never_needs_more_goes(request_parts, factor):
    capacity = float(request_parts["vessel"]["capacity"].removesuffix(" L"))
    bigger = request_parts | {"vessel": {"capacity": f"{capacity * factor} L"}}
    assert values_of(bigger)["batch"]["goes"]["value"] <= values_of(request_parts)["batch"]["goes"]["value"]


@examples(30)
@given(some_batch, st.sampled_from([0.5, 2, 5]))
def test_half_or_twice_the_batch_in_half_or_twice_the_bucket_is_the_same_liquor(request_parts, factor):
    scaled = json.loads(json.dumps(request_parts))
    for group, name, unit in (("ash", "amount", " g"), ("water", "amount", " L"), ("vessel", "capacity", " L")):
        scaled[group][name] = f"{float(scaled[group][name].removesuffix(unit)) * factor:.6f}{unit}"
    first, second = values_of(request_parts), values_of(scaled)
    for path, figure in every_figure(first["liquor"]):
        assert second["liquor"][path]["value"] == pytest.approx(figure["value"], rel=SIX_DIGITS), path
    for name in ("settle_time", "goes"):
        assert second["batch"][name]["value"] == pytest.approx(first["batch"][name]["value"], rel=1e-4), name
    for name in ("liquor_volume", "sludge_volume", "ash_mass"):
        assert second["batch"][name]["value"] == pytest.approx(factor * first["batch"][name]["value"], rel=1e-4), name


def same_figures(first: dict[str, Any], second: dict[str, Any], rel: float) -> None:
    others = dict(every_figure(second))
    for path, figure in every_figure(first):
        assert others[path]["value"] == pytest.approx(figure["value"], rel=rel), path
        assert others[path]["unit"] == figure["unit"]


@pytest.mark.parametrize(
    ("path", "written"),
    [
        ("water.amount", ["5 L", "5000 ml", "500 cl", "0.005 m3"]),
        ("ash.amount", ["107 g", "0.107 kg", "3.77431394 oz", "0.235894621 lb", "107000 mg"]),
        ("water.temperature", ["20 degC", "68 °F", "293.15 K", "20 °C"]),
        ("steep.time", ["24 h", "1 day", "1440 min", "86400 s"]),
        ("vessel.depth", ["30 cm", "0.3 m", "300 mm", "11.81102362 in"]),
        ("soil.area", ["4 m^2", "43.0556417 sq ft", "0.0004 ha", "4 m²"]),
        ("ash.analysis.potassium", ["50 g/kg", "5 %", "50000 mg/kg", "5 g/100 g"]),
        ("ash.density", ["0.45 g/mL", "450 g/L", "0.45 kg/L"]),
        ("water.analysis.hardness", ["178.48 mg/L", "10 °dH", "17.848 °fH", "178.48 ppm"]),
        ("water.analysis.alkalinity", ["150.13 mg/L", "3 meq/L", "183.05 mg/L HCO3"]),
        ("dilution", ["1:10", "1 : 10", "1 to 10", "2:20", "0.5:5"]),
    ],
    ids=lambda part: part if isinstance(part, str) else "",
)
def test_the_unit_of_an_amount_changes_no_figure(path, written):
    def asked(text: str) -> dict[str, Any]:
        nested: Any = text
        for name in reversed(path.split(".")):
            nested = {name: nested}
        return values_of(WEIGHED, nested)

    first = asked(written[0])
    for text in written[1:]:
        # 10 °dH is 178.48 mg/L as CaCO3 only to four or five figures.
        same_figures(first, asked(text), rel=1e-3 if "analysis" in path else 1e-5)


@pytest.mark.parametrize("gallons", ["1.32086026 gal (US)", "1.09984619 gal (UK)"])
def test_gallons_change_nothing_but_the_marks_that_a_can_is_filled_to(gallons):
    first, second = (values_of(WEIGHED, {"water": {"amount": amount}}) for amount in ("5 L", gallons))
    same_figures(first["liquor"], second["liquor"], rel=1e-5)
    same_figures({"ladder": first["ladder"][0]["ph"]}, {"ladder": second["ladder"][0]["ph"]}, rel=1e-5)
    portions = (values["batch"]["liquor_per_can"]["value"] for values in (first, second))
    assert next(portions) == pytest.approx(next(portions), rel=0.06)


@pytest.mark.parametrize(
    ("locale", "litres", "kilograms"),
    [("en-GB", "2.5 L", "0.05 kg"), ("de-DE", "2,5 L", "0,05 kg"), ("fr-FR", "2,5 l", "0,05 kg")],
)
def test_the_number_format_of_a_country_changes_no_figure(locale, litres, kilograms):
    plain = values_of(WEIGHED, ash={"amount": "50 g"}, water={"amount": "2500 ml"}, customs="metric")
    own = values_of(WEIGHED, ash={"amount": kilograms}, water={"amount": litres}, customs="metric", locale=locale)
    # Numbers in sentences are written as the country writes them.
    for values in (plain, own):
        values["reasons"] = [reason["id"] for reason in values["reasons"]]
        values["ways"] = [{**way, "text": ""} for way in values["ways"]]
    assert own == plain


@given(st.randoms(use_true_random=False))
@examples(10)
def test_the_order_of_the_keys_changes_nothing(order: random.Random):
    def shuffled(value: Any) -> Any:
        if isinstance(value, dict):
            keys = list(value)
            order.shuffle(keys)
            return {key: shuffled(value[key]) for key in keys}
        return value

    request = json.loads(demo_request()) | {"ranges": "off"}
    assert reply_to_text(json.dumps(shuffled(request))) == reply_to_text(json.dumps(request))


def test_an_element_of_zero_equals_one_that_is_not_named():
    totals = {"potassium": 10, "carbon": 5}
    assert (
        values_of(solution={"totals": totals | {"phosphorus": 0, "calcium": 0}})["solution"]
        == values_of(solution={"totals": totals})["solution"]
    )


# -- from the cans backwards ------------------------------------------------------------------------------------

some_cans = st.fixed_dictionaries(
    {
        "cans": st.lists(
            st.builds(
                lambda size, count: {"size": f"{size} L", "count": count},
                st.sampled_from([1, 1.5, 2, 5, 7, 9, 10, 12]),
                st.integers(1, 4),
            ),
            min_size=1,
            max_size=3,
        ),
        "dilution": st.sampled_from(["1:1", "1:3", "1:7", "1:10", "1:20", "1:40"]),
        "vessel": st.builds(
            lambda depth, capacity: {"depth": f"{depth} cm", "capacity": f"{capacity} L"},
            st.integers(15, 60),
            st.sampled_from([2, 5, 10, 12, 20, 60]),
        ),
        "ash": st.builds(
            lambda measure, state: {"measure": measure, "state": state},
            st.sampled_from(["cups", "scales"]),
            st.sampled_from(["fresh", "aged"]),
        ),
        "customs": st.sampled_from(["us", "metric", "uk"]),
    }
)


@examples(50)
@given(some_cans)
def test_the_amounts_planned_for_cans_fill_them(request_parts):
    batch = values_of(request_parts)["batch"]
    wanted = sum(can["liquor"]["value"] * can["count"]["value"] for can in batch["cans"])
    assert batch["liquor_volume"]["value"] >= wanted * (1 - 1e-4)

    again = values_of(
        {name: request_parts[name] for name in ("cans", "dilution", "vessel")},
        ash={"state": request_parts["ash"]["state"], "amount": f"{batch['ash_mass']['value']} g"},
        water={"amount": f"{batch['water_volume']['value']} L"},
    )["batch"]
    assert again["liquor_volume"]["value"] == pytest.approx(batch["liquor_volume"]["value"], rel=1e-5)
    assert again["goes"] == batch["goes"]


def jug_mark(litres: float) -> float:
    """The distance of two marks: of a spoon of 5 mL, or of a jug that is marked every 10, 50 or 100 mL."""
    return 0.005 if litres < 0.1 else 0.01 if litres < 0.5 else 0.05 if litres < 5 else 0.1


@examples(50)
@given(some_cans)
def test_liquor_and_water_fill_each_can_at_the_dilution_asked_for(request_parts):
    parts = float(request_parts["dilution"].split(":")[1])
    for can in values_of(request_parts)["batch"]["cans"]:
        size, liquor, water = (can[name]["value"] for name in ("size", "liquor", "water"))
        assert liquor + water == pytest.approx(size, rel=1e-9)
        share = size / (1 + parts)
        assert share - jug_mark(share) <= liquor <= share * (1 + 1e-9)


@examples(40)
@given(some_cans)
def test_a_plan_for_cans_makes_little_more_than_they_need(request_parts):
    batch = values_of(request_parts)["batch"]
    wanted = sum(can["liquor"]["value"] * can["count"]["value"] for can in batch["cans"])
    spare = batch["liquor_volume"]["value"] - wanted
    # One mark of the jug or bucket, and the ash rounded to what a spoon holds.
    assert spare <= 0.1 + 0.03 * batch["water_volume"]["value"]


def test_the_reply_for_a_small_bucket_says_how_many_goes_it_takes():
    asked = {"cans": [{"size": "10 L", "count": 4}], "dilution": "1:3", "vessel": {"capacity": "5 L"}}
    reply = reply_to(asked)
    goes = reply["values"]["batch"]["goes"]["value"]
    assert goes >= 3
    mixture = reply["values"]["batch"]["water_volume"]["value"]
    assert mixture / goes < 5
    one = values_of(asked, vessel={"capacity": "60 L"})["batch"]["goes"]["value"]
    assert one == 1
