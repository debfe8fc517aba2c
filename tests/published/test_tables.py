"""The published tables are consistent and agree with independent measurements."""

from __future__ import annotations

import csv
from itertools import pairwise
from pathlib import Path

import pytest

from feedcalc.garden.feed_limits import limits_for
from feedcalc.published import sources, table

RANGED = (
    "ash_composition",
    "ash_soluble",
    "ash_state",
    "ash_density",
    "ash_settling",
    "ash_dissolution",
    "ash_spreading",
    "feed_limits",
    "feed_practice",
)
WORDED = ("ash_kinds", "ash_refusals", "cautions", "hazard_classes", "hazard_statements")
ALL = (*RANGED, *WORDED, "water_kinds", "element_masses")
KEY_COLUMNS = ("id", "code", "kind", "state", "quantity", "condition", "element", "class", "ph_low", "percent_low")

# Milligrams per milliequivalent: molar mass over charge, IUPAC abridged atomic weights; CaCO3 is 100.087.
MILLIGRAMS_PER_MILLIEQUIVALENT = {
    "calcium": 40.078 / 2,
    "magnesium": 24.305 / 2,
    "sodium": 22.990,
    "potassium": 39.098,
    "chloride": 35.45,
    "sulfate": 96.06 / 2,
    "alkalinity": 100.087 / 2,
}
# What a gram of the element weighs as the oxide (chloride as itself), by the same weights.
GRAMS_AS_OXIDE = {
    "potassium": 94.195 / (2 * 39.098),
    "calcium": 56.077 / 40.078,
    "magnesium": 40.304 / 24.305,
    "phosphorus": 141.943 / (2 * 30.974),
    "sodium": 61.979 / (2 * 22.990),
    "sulfur": 80.06 / 32.06,
    "chloride": 1.0,
    "silicon": 60.083 / 28.085,
}
# Equivalents of base (or, with a minus, of acid) in a mol of the element, and its molar mass.
BASE_EQUIVALENTS = {
    "calcium": (2, 40.078),
    "magnesium": (2, 24.305),
    "potassium": (1, 39.098),
    "sodium": (1, 22.990),
    "sulfur": (-2, 32.06),
    "chloride": (-1, 35.45),
}


def measured(file_name: str) -> list[dict[str, str]]:
    """Return the rows of a file of published measurements beside this test."""
    text = Path(__file__).with_name(file_name).read_text(encoding="utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


def cited(rows: list[dict[str, str]]) -> list[object]:
    """Return the rows as test parameters whose ids show the citation."""
    return [pytest.param(row, id="-".join([*list(row.values())[:2], row["source"]])) for row in rows]


def every_row(*names: str) -> list[object]:
    return [
        pytest.param(name, row, id=f"{name}-{number}-{row['source']}")
        for name in names
        for number, row in enumerate(table(name), start=1)
    ]


def of_kind(kind: str) -> dict[str, dict[str, float]]:
    """Return low, typical and high in g/kg by element of an ash kind."""
    return {
        row["element"]: {column: float(row[column]) for column in ("low", "typical", "high")}
        for row in table("ash_composition")
        if row["kind"] == kind
    }


KINDS = [row["kind"] for row in table("ash_kinds")]


# --- the tables themselves


@pytest.mark.parametrize("name", ALL)
def test_a_table_loads_with_known_sources_and_has_no_row_twice(name: str) -> None:
    keys = [tuple(row[column] for column in KEY_COLUMNS if column in row) for row in table(name)]
    assert len(set(keys)) == len(keys) > 0


@pytest.mark.parametrize(("name", "row"), every_row(*RANGED))
def test_a_range_is_ordered_and_not_negative(name: str, row: dict[str, str]) -> None:
    assert 0 <= float(row["low"]) <= float(row["typical"]) <= float(row["high"])


@pytest.mark.parametrize(("name", "row"), every_row(*ALL))
def test_practice_and_judgement_do_not_claim_a_source_that_was_read(name: str, row: dict[str, str]) -> None:
    assert (row["source"] == "common_practice") == (row["status"] == "practice")
    if row["source"] == "our_judgement":
        assert row["status"] != "seen"


@pytest.mark.parametrize("file_name", ["ash_analyses.csv", "ash_extracts.csv", "ash_lime_values.csv"])
def test_published_measurements_have_a_source_and_say_if_it_was_read(file_name: str) -> None:
    for row in measured(file_name):
        assert row["source"] in sources()
        assert row["source"] != "our_judgement"
        assert row["status"] in ("seen", "memory")


# --- ash against analyses


@pytest.mark.parametrize("kind", KINDS)
def test_the_parts_of_an_ash_add_up_to_at_most_its_weight(kind: str) -> None:
    content = of_kind(kind)
    assert set(content) == set(GRAMS_AS_OXIDE)
    oxides = sum(content[element]["typical"] * factor for element, factor in GRAMS_AS_OXIDE.items())
    assert 300 < oxides < 1000, "typical elements weighed as oxides must fit into a kilogram of ash"
    assert sum(element["high"] for element in content.values()) < 1000


def test_nine_in_ten_published_analyses_are_in_the_range_of_their_kind() -> None:
    # The ranges are meant as 5 % to 95 %, so about one in ten may lie outside; none may be far out but for
    # sulfur, which depends on how cool the ash was made.
    rows = measured("ash_analyses.csv")
    outside = [
        row
        for row in rows
        if not of_kind(row["kind"])[row["element"]]["low"]
        <= float(row["grams_per_kilogram"])
        <= of_kind(row["kind"])[row["element"]]["high"]
    ]
    assert len(outside) <= 0.1 * len(rows), outside
    for row in outside:
        if row["element"] != "sulfur":
            assert float(row["grams_per_kilogram"]) <= 1.5 * of_kind(row["kind"])[row["element"]]["high"]


@pytest.mark.parametrize("row", cited([row for row in measured("ash_extracts.csv") if row["unit"] == "share"]))
def test_measured_soluble_fractions_are_in_the_published_range(row: dict[str, str]) -> None:
    reachable = next(
        known for known in table("ash_soluble") if (known["kind"], known["element"]) == ("any", row["quantity"])
    )
    assert float(reachable["low"]) <= float(row["value"]) <= float(reachable["high"])
    if row["bound"] == "at_least":
        assert float(reachable["typical"]) >= float(row["value"])


@pytest.mark.parametrize("kind", KINDS)
def test_the_lime_value_of_the_composition_is_in_the_measured_range(kind: str) -> None:
    # Bases less acids in equivalents per kilogram, the inert calcium left out, as g CaCO3 (50.04 g/eq) per g.
    content = of_kind(kind)
    inert = next(
        float(row["typical"])
        for row in table("ash_state")
        if (row["state"], row["quantity"]) == ("fresh", "inert_share")
    )
    equivalents = sum(
        charge * content[element]["typical"] / mass for element, (charge, mass) in BASE_EQUIVALENTS.items()
    )
    equivalents -= 2 * content["calcium"]["typical"] / 40.078 * inert
    lime_value = equivalents * 50.04 / 1000
    found = measured("ash_lime_values.csv")
    assert min(float(row["low"]) for row in found) < lime_value < max(float(row["high"]) for row in found)


def test_fractions_are_between_zero_and_one() -> None:
    for name in ("ash_soluble", "ash_state"):
        assert all(float(row["high"]) <= 1 for row in table(name))


def test_free_lime_and_inert_parts_leave_room_for_carbonate_and_ageing_reduces_free_lime() -> None:
    shares = {(row["state"], row["quantity"]): row for row in table("ash_state")}
    for state in ("fresh", "aged"):
        assert sum(float(shares[state, part]["typical"]) for part in ("free_lime_share", "inert_share")) < 1
    # Ohlsson 2000: over 90 % carbonated after three weeks out of doors.
    assert float(shares["aged", "free_lime_share"]["high"]) <= 0.10
    # Ohlsson 2000: 45 % carbonated when just wetted, so 55 % was free then.
    fresh = shares["fresh", "free_lime_share"]
    assert float(fresh["low"]) < 0.55 < float(fresh["high"])


def test_a_pail_of_ash_has_the_weight_that_growers_report() -> None:
    # University of Vermont Extension: a 5 US gallon pail (18.93 L) holds 15 to 20 lb, so 0.36 to 0.48 g/mL.
    loose = next(row for row in table("ash_density") if row["condition"] == "loose")
    lightest, heaviest = 15 * 453.592 / 18927.06, 20 * 453.592 / 18927.06
    assert float(loose["low"]) < lightest < float(loose["typical"]) < heaviest < float(loose["high"])


@pytest.mark.parametrize("row", cited(list(table("ash_spreading"))))
def test_spreading_rates_are_the_quoted_rates_in_grams_per_square_metre(row: dict[str, str]) -> None:
    # By hand: 1 lb = 453.59 g and 1 ft2 = 0.092903 m2, so 1 lb/1000 ft2 = 453.59/92.903 = 4.882 g/m2 and
    # 1 lb/100 ft2 = 48.82 g/m2; 1 oz = 28.350 g; 1 t/ha = 1e6 g/1e4 m2 = 100 g/m2.
    grams = {"lb/1000 ft2": 4.882, "lb/100 ft2": 48.82, "oz/m2": 28.350, "t/ha": 100.0}[row["quoted_unit"]]
    assert float(row["low"]) == pytest.approx(float(row["quoted_low"]) * grams, abs=0.6)
    assert float(row["high"]) == pytest.approx(float(row["quoted_high"]) * grams, abs=0.6)


# --- waters


@pytest.mark.parametrize("water", table("water_kinds"), ids=lambda row: row["kind"])
def test_the_charges_of_a_water_balance(water: dict[str, str]) -> None:
    def charge(*ions: str) -> float:
        return sum(float(water[ion]) / MILLIGRAMS_PER_MILLIEQUIVALENT[ion] for ion in ions)

    hydrogen = 10 ** (3 - float(water["ph"]))
    positive = charge("calcium", "magnesium", "sodium", "potassium") + hydrogen
    negative = charge("chloride", "sulfate", "alkalinity")
    assert positive == pytest.approx(negative, rel=0.05)


@pytest.mark.parametrize("water", table("water_kinds"), ids=lambda row: row["kind"])
def test_hardness_follows_from_calcium_and_magnesium(water: dict[str, str]) -> None:
    # USGS: hardness as CaCO3 = 2.497 Ca + 4.118 Mg, all in mg/L.
    made = 2.497 * float(water["calcium"]) + 4.118 * float(water["magnesium"])
    assert float(water["hardness"]) == pytest.approx(made, rel=0.02, abs=0.1)


def test_names_of_waters_follow_the_classes_of_the_us_geological_survey() -> None:
    hardness = {row["kind"]: float(row["hardness"]) for row in table("water_kinds")}
    assert hardness["rain"] < hardness["soft"] <= 60 < hardness["medium"] <= 120
    assert 120 < hardness["hard"] <= 180 < hardness["very_hard"]


# --- limits and practice


def test_limits_get_no_stricter_as_plants_and_pots_grow() -> None:
    for stage in ("seedling", "young", "established"):
        by_place = [[limit.high for limit in limits_for(stage, place)] for place in ("plug tray", "pot", "open ground")]
        for smaller, larger in pairwise(by_place):
            assert all(tight <= loose for tight, loose in zip(smaller, larger, strict=True))
    for place in ("plug tray", "pot", "open ground"):
        by_stage = [
            [limit.high for limit in limits_for(stage, place)] for stage in ("seedling", "young", "established")
        ]
        for younger, older in pairwise(by_stage):
            assert all(tight <= loose for tight, loose in zip(younger, older, strict=True))


def test_the_alkalinity_limit_of_plugs_is_the_published_one() -> None:
    # Currey: 0.75 to 1.25 meq/L, at 50.04 mg CaCO3 a milliequivalent, printed there as about 40 to 60 mg/L.
    plug = next(row for row in table("feed_limits") if row["id"] == "alkalinity_plug")
    assert float(plug["low"]) == pytest.approx(0.75 * 50.04, abs=5)
    assert float(plug["high"]) == pytest.approx(1.25 * 50.04, abs=5)


def test_the_foliar_potassium_limit_is_that_of_the_sprays_tested() -> None:
    # 25 mmol/L KNO3 x 39.098 mg/mmol; 5 g/L KHCO3 x 39.098/100.115.
    foliar = next(row for row in table("feed_limits") if row["id"] == "potassium_foliar")
    assert float(foliar["typical"]) == pytest.approx(25 * 39.098, abs=1)
    assert float(foliar["high"]) == pytest.approx(5000 * 39.098 / 100.115, abs=5)


def test_the_dilution_table_runs_from_strong_to_weak_and_includes_the_practice_for_seedlings() -> None:
    rows = {row["id"]: float(row["typical"]) for row in table("feed_practice")}
    rungs = [parts for name, parts in rows.items() if name.startswith("ladder_")]
    assert rungs == sorted(rungs)
    assert rows["seedling_dilution"] in rungs


# --- safety


def test_every_statement_of_a_hazard_class_has_a_text() -> None:
    said = {row["code"] for row in table("hazard_statements")}
    asked = {
        code
        for row in table("hazard_classes")
        for column in ("h_codes", "p_codes")
        for code in row[column].split("|")
        if code
    }
    assert asked <= said


def test_hazard_classes_meet_without_gap_and_corrosive_begins_at_the_ph_of_the_law() -> None:
    by_ph: dict[tuple[float, float], list[tuple[float, float]]] = {}
    for row in table("hazard_classes"):
        span = (float(row["ph_low"]), float(row["ph_high"]))
        by_ph.setdefault(span, []).append((float(row["percent_low"]), float(row["percent_high"])))
    for below, above in pairwise(sorted(by_ph)):
        assert below[1] == above[0]
    for strengths in map(sorted, by_ph.values()):
        assert strengths[0][0] == 0.0
        assert strengths[-1][1] > 100.0
        assert all(below[1] == above[0] for below, above in pairwise(strengths))
    corrosive = next(row for row in table("hazard_classes") if row["class"] == "corrosive")
    assert float(corrosive["ph_low"]) == 11.5  # CLP Annex I, 3.2.2.2
    assert corrosive["signal_word"] == "Danger"
    assert "H314" in corrosive["h_codes"]


def test_a_stronger_statement_replaces_the_weaker_one_it_includes() -> None:
    # GHS: with H314 goes no H318, with P260 no P261.
    for row in table("hazard_classes"):
        codes = {*row["h_codes"].split("|"), *row["p_codes"].split("|")}
        assert not {"H314", "H318"} <= codes
        assert not {"P260", "P261"} <= codes


@pytest.mark.parametrize(
    "danger",
    [
        "goggles",
        "gloves",
        "aluminium",
        "embers",
        "dust mask",
        "ash into water",
        "food or drink",
        "ammonia",
        "children",
        "ponds",
        "rinse at once",
        "local rules",
    ],
)
def test_the_dangers_of_the_job_are_named(danger: str) -> None:
    assert any(danger in row["text"].casefold() for row in table("cautions"))


def test_cautions_are_short() -> None:
    assert all(len(row["text"]) <= 170 for row in table("cautions"))


def test_no_word_has_two_refusals_and_none_names_clean_wood() -> None:
    words = [word.casefold() for row in table("ash_refusals") for word in row["words"].split("|")]
    assert len(words) == len(set(words))
    for clean in ("oak", "paper birch", "pine", "mixed", "hardwood", "softwood", "bark", "wood pellets"):
        assert not any(f" {word} " in f" {clean} " for word in words)


def test_every_refusal_gives_its_reason_and_what_to_do() -> None:
    for row in table("ash_refusals"):
        assert row["verdict"] in ("refused", "not covered")
        assert row["reason"]
        assert row["caution"]
