"""What was burnt is read in the words that growers have for it, in six languages."""

from __future__ import annotations

import pytest

from feedcalc import published
from feedcalc.contract.ash_words import read_ash_kind
from feedcalc.contract.fields import names_in
from feedcalc.words.errors import InputError
from tests.asking import WEIGHED, faults, reply_to

KINDS = names_in("ash_kinds", "kind")
FILLER = "filler"


def kind_of(text: str) -> str:
    return read_ash_kind("ash.kind", text, KINDS)[0]


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("mixed household", "mixed"),
        ("oak", "hardwood"),
        ("Ash tree", "hardwood"),
        ("Larch", "softwood"),
        ("olive wood", "hardwood"),
        ("log burner", "mixed"),
        ("wood ash", "mixed"),
        ("softwood pellets", "softwood"),
        ("a bonfire of branches", "bark"),
        ("ash of clean dry oak logs from my stove", "hardwood"),
        ("Laubholz", "hardwood"),
        ("Eiche", "hardwood"),
        ("Fichtenholz", "softwood"),
        ("chêne", "hardwood"),
        ("feuillus", "hardwood"),
        ("cendre de chêne", "hardwood"),
        ("roble", "hardwood"),
        ("frondosas", "hardwood"),
        ("pino", "softwood"),
        ("carvalho", "hardwood"),
        ("folhosas", "hardwood"),
        ("casca", "bark"),
        ("ओक", "hardwood"),
        ("चौड़ी पत्ती", "hardwood"),
        ("चीड़", "softwood"),
    ],
)
def test_the_words_of_growers_are_read_as_a_kind(text, kind):
    assert kind_of(text) == kind


def test_several_kinds_of_wood_are_mixed_wood():
    assert kind_of("oak and pine") == "mixed"
    assert kind_of("birch, beech and ash logs") == "hardwood"


@pytest.mark.parametrize("row", published.table("ash_words"), ids=lambda row: f"{row['language']}-{row['word']}")
def test_every_word_of_the_table_is_read_as_its_kind_unless_it_says_nothing(row):
    assert row["kind"] in (*KINDS, FILLER)
    if row["kind"] != FILLER and row["word"] != "ash":
        assert kind_of(row["word"]) == row["kind"]


def test_ash_alone_is_the_tree_and_beside_a_tree_what_is_left_of_it():
    assert kind_of("ash") == "hardwood"
    assert kind_of("pine ash") == "softwood"
    assert kind_of("stove ash") == "mixed"


def test_the_ash_was_read_as_is_part_of_the_reply():
    reply = reply_to(WEIGHED, ash={"kind": "oak"})
    assert reply["read_as"]["ash.kind"] == "oak: counted as hardwood"
    same = reply_to(WEIGHED, ash={"kind": "hardwood"})
    assert "ash.kind" not in same["read_as"]
    assert reply["values"] == same["values"]


@pytest.mark.parametrize(
    "text", ["painted oak", "Eiche lackiert", "bois peint", "treated pine", "oak pallets", "driftwood oak", "peat"]
)
def test_an_ash_to_refuse_is_refused_whatever_wood_it_was(text):
    problem = faults(ash={"kind": text})["ash.kind"]["problem"]
    assert "never use this ash" in problem or "not covered" in problem


@pytest.mark.parametrize("text", ["oak and moon dust", "wood and leather", "bois peint", "and", ""])
def test_a_text_with_a_word_that_is_not_known_is_refused(text):
    with pytest.raises(InputError):
        kind_of(text)


@pytest.mark.parametrize(
    ("text", "near"), [("hardwod", "hardwood"), ("sprcue", "spruce"), ("Eichenhloz", "Eichenholz")]
)
def test_a_near_miss_gets_a_hint(text, near):
    found = faults(ash={"kind": text})["ash.kind"]
    assert f"Did you mean {near}" in found["problem"]
    assert found["accepted"] == "one of mixed, hardwood, softwood or bark"


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("heat-treated pallets", "mixed"),
        ("HT-Paletten", "mixed"),
        ("wood briquettes", "mixed"),
        ("lump charcoal", "hardwood"),
        ("bonfire", "mixed"),
        ("pellets", "mixed"),
    ],
)
def test_fuel_that_is_right_under_a_condition_is_taken_with_the_condition(text, kind):
    read, echo = read_ash_kind("ash.kind", text, KINDS)
    assert read == kind
    assert ". Only " in echo


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("painted heat-treated pallets", "Old paint"),
        ("pallets", "gassed or sprayed"),
        ("MB pallet", "gassed or sprayed"),
        ("charcoal briquettes", "coal dust"),
        ("BBQ", "say so: lump charcoal"),
        ("newspaper", "hardly any potassium"),
        ("banana peel", "several times too strong"),
        ("coconut husk", "chloride"),
        ("dry leaves", "Compost leaves"),
        ("bamboo", "a grass"),
        ("rice husk", "silica"),
        ("bone", "phosphate"),
        ("eggshells", "quicklime"),
        ("Bananenschalen", "several times too strong"),
        ("noix de coco", "chloride"),
    ],
)
def test_other_fuel_is_answered_with_an_honest_reason(text, part):
    with pytest.raises(InputError) as refused:
        kind_of(text)
    assert part in refused.value.problem


@pytest.mark.parametrize("text", ["hedge cuttings", "oak lit with newspaper", "vine prunings", "bois non traité"])
def test_wood_by_other_names_is_wood(text):
    assert kind_of(text) in KINDS
