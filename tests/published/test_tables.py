"""The published agronomy, ash, water and safety tables hold together and name where they come from."""

from __future__ import annotations

from itertools import pairwise

import pytest

from feedcalc.published import table

RANGED = (
    "ash_composition",
    "ash_soluble",
    "ash_state",
    "ash_density",
    "ash_settling",
    "ash_dissolution",
    "feed_limits",
    "feed_practice",
)
WORDED = ("ash_kinds", "ash_refusals", "cautions", "hazard_classes", "hazard_statements")
ALL = (*RANGED, *WORDED, "water_kinds", "element_masses")

# Milligrams per milliequivalent: molar mass over charge, IUPAC abridged atomic weights; CaCO3 100.087/2.
MILLIGRAMS_PER_MILLIEQUIVALENT = {
    "calcium": 40.078 / 2,
    "magnesium": 24.305 / 2,
    "sodium": 22.990,
    "potassium": 39.098,
    "chloride": 35.45,
    "sulfate": 96.06 / 2,
    "alkalinity": 100.087 / 2,
}
# What a gram of the element weighs as the form it has in ash (oxide factors by the same weights).
GRAMS_AS_OXIDE_OR_SALT = {
    "potassium": 94.195 / (2 * 39.098),
    "calcium": 56.077 / 40.078,
    "magnesium": 40.304 / 24.305,
    "phosphorus": 141.943 / (2 * 30.974),
    "sodium": 61.979 / (2 * 22.990),
    "sulfur": 80.06 / 32.06,
    "chloride": 1.0,
    "silicon": 60.083 / 28.085,
}


def every_row(*names: str) -> list[object]:
    return [
        pytest.param(name, row, id=f"{name}-{number}-{row['source']}")
        for name in names
        for number, row in enumerate(table(name), start=1)
    ]


@pytest.mark.parametrize("name", ALL)
def test_a_table_loads_with_known_sources_and_has_no_row_twice(name: str) -> None:
    rows = table(name)
    keys = [
        tuple(
            row[column]
            for column in ("id", "code", "kind", "state", "quantity", "condition", "element", "class")
            if column in row
        )
        for row in rows
    ]
    assert len(set(keys)) == len(keys) > 0


@pytest.mark.parametrize(("name", "row"), every_row(*RANGED))
def test_a_range_is_ordered_and_not_negative(name: str, row: dict[str, str]) -> None:
    assert 0 <= float(row["low"]) <= float(row["typical"]) <= float(row["high"])


@pytest.mark.parametrize(("name", "row"), every_row(*ALL))
def test_a_row_marked_practice_or_judgement_says_so_in_its_source(name: str, row: dict[str, str]) -> None:
    assert (row["source"] == "common_practice") == (row["status"] == "practice")
    if row["source"] == "our_judgement":
        assert row["status"] != "seen"


@pytest.mark.parametrize("kind", [row["kind"] for row in table("ash_kinds")])
def test_an_ash_kind_adds_up_to_no_more_than_itself(kind: str) -> None:
    rows = [row for row in table("ash_composition") if row["kind"] == kind]
    assert {row["element"] for row in rows} == set(GRAMS_AS_OXIDE_OR_SALT)
    oxides = sum(float(row["typical"]) * GRAMS_AS_OXIDE_OR_SALT[row["element"]] for row in rows)
    assert 300 < oxides < 1000, "typical elements weighed as oxides must fit into a kilogram of ash"
    assert sum(float(row["high"]) for row in rows) < 1000


@pytest.mark.parametrize("name", ["ash_soluble", "ash_state"])
def test_a_share_is_at_most_the_whole(name: str) -> None:
    assert all(float(row["high"]) <= 1 for row in table(name))


def test_free_lime_and_inert_shares_leave_room_for_carbonate() -> None:
    shares = {
        (row["state"], row["element"], row["quantity"]): float(row["typical"]) for row in table("ash_state")
    }
    for state in ("fresh", "aged"):
        for element in ("calcium", "magnesium"):
            assert shares[state, element, "free_lime_share"] + shares[state, element, "inert_share"] < 1
    assert shares["aged", "calcium", "free_lime_share"] < shares["fresh", "calcium", "free_lime_share"]


@pytest.mark.parametrize("water", table("water_kinds"), ids=lambda row: row["kind"])
def test_a_water_carries_as_much_positive_as_negative_charge(water: dict[str, str]) -> None:
    def charge(*ions: str) -> float:
        return sum(float(water[ion]) / MILLIGRAMS_PER_MILLIEQUIVALENT[ion] for ion in ions)

    hydrogen = 10 ** (3 - float(water["ph"]))
    positive = charge("calcium", "magnesium", "sodium", "potassium") + hydrogen
    negative = charge("chloride", "sulfate", "alkalinity")
    assert positive == pytest.approx(negative, rel=0.05)


@pytest.mark.parametrize("water", table("water_kinds"), ids=lambda row: row["kind"])
def test_hardness_is_what_calcium_and_magnesium_make_it(water: dict[str, str]) -> None:
    # USGS: hardness as CaCO3 = 2.5 Ca + 4.1 Mg in mg/L.
    assert float(water["hardness"]) == pytest.approx(
        2.497 * float(water["calcium"]) + 4.118 * float(water["magnesium"]), rel=0.02, abs=0.1
    )


def test_water_names_keep_to_the_classes_of_the_us_geological_survey() -> None:
    hardness = {row["kind"]: float(row["hardness"]) for row in table("water_kinds")}
    assert (
        hardness["soft"] <= 60 < hardness["medium"] <= 120 < hardness["hard"] <= 180 < hardness["very_hard"]
    )


def test_every_statement_of_a_hazard_class_has_its_words_and_none_is_idle() -> None:
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
    classes = sorted(table("hazard_classes"), key=lambda row: float(row["ph_low"]))
    for below, above in pairwise(classes):
        assert float(below["ph_high"]) == float(above["ph_low"])
    corrosive = next(row for row in classes if row["class"] == "corrosive")
    assert float(corrosive["ph_low"]) == 11.5  # CLP Annex I, 3.2.2.2
    assert corrosive["signal_word"] == "Danger"
    assert "H314" in corrosive["h_codes"]


def test_no_word_a_person_may_type_is_refused_for_two_reasons() -> None:
    words = [word.casefold() for row in table("ash_refusals") for word in row["words"].split("|")]
    assert len(words) == len(set(words))
    assert not {"oak", "pine", "birch", "mixed", "hardwood", "softwood", "bark"} & set(words)


def test_every_refusal_gives_its_reason_and_what_to_do() -> None:
    assert all(row["reason"] and row["caution"] for row in table("ash_refusals"))
