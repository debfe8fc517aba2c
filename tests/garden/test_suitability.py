"""Verdicts on soil, plants and feeds, and the search for plants by name."""

import gettext
from dataclasses import replace

import pytest

from feedcalc import published
from feedcalc.garden.feed_limits import limits_for
from feedcalc.garden.plants import names_of, plants, plants_named, plants_spelt_like
from feedcalc.garden.suitability import DIRECTIONS, Circumstances, FeedFacts, soil_test_error, verdict_for
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.languages import LANGUAGES, Language

EXACTLY = Estimate.exactly


def feed(ph=10.0, alkalinity=100.0, conductivity=0.5, lime=0.3, stage="established", parts=10.0, within=8.0):
    return FeedFacts(
        ph=EXACTLY(ph),
        alkalinity=EXACTLY(alkalinity),
        conductivity=EXACTLY(conductivity),
        lime_per_square_metre=EXACTLY(lime),
        limits=limits_for(stage),
        parts=parts,
        parts_within_limits=within,
    )


def case(**told):
    """Return a case in which nothing speaks against a feed, apart from the given circumstances."""
    usual = {"soil_ph": 6.0, "tested_with": "meter", "texture": "loam", "plant": "tomato", "place": "open ground"}
    return Circumstances(**(usual | {"season": "growing", "feed": feed()} | told))


def ids(verdict):
    return {reason.id for reason in verdict.reasons}


def test_growing_tomatoes_on_acid_soil_may_be_fed():
    assert verdict_for(case()).word == "go"


@pytest.mark.parametrize(
    ("told", "word", "because"),
    [
        ({"soil_ph": None}, "hold back", "soil_unknown"),
        ({"soil_ph": 7.0}, "hold back", "soil_stop"),
        ({"soil_ph": 6.6}, "go", "soil_ease_feed"),
        ({"soil_ph": 6.6, "feed": None}, "go weaker", "soil_ease"),
        ({"soil_ph": 6.8}, "hold back", "soil_in_doubt"),
        ({"tested_years_ago": 4.0}, "go weaker", "soil_test_old"),
        ({"season": "sowing"}, "hold back", "sowing"),
        ({"season": "resting"}, "hold back", "resting"),
        ({"place": "near pond or drain"}, "hold back", "near_water"),
        ({"plant": "blueberry"}, "hold back", "plant_acid-loving"),
        ({"plant": "potato"}, "hold back", "plant_block"),
        ({"plant": "blackberry", "soil_ph": 5.5}, "go weaker", "plant_caution"),
        ({"plant": "apple", "soil_ph": 6.4}, "go weaker", "plant_at_top"),
        ({"plant": "daffodil", "soil_ph": 6.9}, "hold back", "plant_above"),
        ({"plant": "wompat bush"}, "go weaker", "plant_not_listed"),
        ({"use": "foliar"}, "hold back", "foliar_off"),
        ({"use": "foliar", "feed": feed(ph=8.2)}, "hold back", "foliar_unread"),
        ({"feed": feed(alkalinity=500.0, within=30.0)}, "go weaker", "feed_alkalinity"),
        ({"feed": feed(conductivity=4.0, within=30.0)}, "go weaker", "feed_salt"),
        ({"feed": feed(within=float("inf"))}, "hold back", "feed_water"),
        ({"feed": feed(ph=11.8)}, "go", "feed_caustic"),
        ({"feed": feed(ph=11.8, alkalinity=500.0, within=30.0)}, "go weaker", "feed_caustic"),
        ({"soil_ph": 6.85, "tested_with": "laboratory", "feed": feed(lime=60.0)}, "go weaker", "lime_too_much"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_each_hazard_gives_its_reason_and_changes_the_verdict(told, word, because):
    verdict = verdict_for(case(**told))
    assert verdict.word == word
    assert because in ids(verdict)


@pytest.mark.parametrize("plant", ["Blueberries", "potato beds", "raspberry", "strawberries", "azalea"])
def test_plants_that_common_practice_excludes_are_held_back_as_practice(plant):
    verdict = verdict_for(case(plant=plant, soil_ph=5.0))
    assert verdict.word == "hold back"
    assert any(reason.status == "practice" and reason.towards == "hold back" for reason in verdict.reasons)


@pytest.mark.parametrize("plant", ["blue hydrangea", "woodland plants", "lily of the valley", "ferns"])
def test_woodland_plants_and_blue_hydrangeas_are_excluded(plant):
    assert "plant_block" in ids(verdict_for(case(plant=plant)))


@pytest.mark.parametrize(
    ("tested_with", "word"), [("laboratory", "go"), ("meter", "go"), ("kit", "hold back"), ("", "hold back")]
)
def test_an_inaccurate_reading_near_neutral_is_not_trusted(tested_with, word):
    # A kit may be off by half a unit, which reaches 7.
    verdict = verdict_for(case(soil_ph=6.5, tested_with=tested_with, plant="plum", feed=feed(lime=0.01)))
    assert verdict.word == word


def test_a_pot_of_unknown_mix_is_judged_by_its_feed():
    assert verdict_for(case(soil_ph=None, place="pot")).word == "go"


def test_dry_ash_does_not_go_into_pots():
    assert verdict_for(case(feed=None)).word == "go"
    assert verdict_for(case(feed=None, place="pot")).word == "hold back"


def test_a_foliar_trial_is_allowed_up_to_a_measured_ph_of_8_5():
    assert "foliar_test" in ids(verdict_for(case(use="foliar", read_ph=8.5)))
    assert verdict_for(case(use="foliar", read_ph=8.5)).word == "go"
    assert verdict_for(case(use="foliar", read_ph=8.6)).word == "hold back"


def test_an_implausibly_low_ph_neither_allows_foliar_use_nor_hides_a_caustic_feed():
    doubted = replace(feed(ph=11.8), fits_reading=False)
    verdict = verdict_for(case(use="foliar", feed=doubted, read_ph=7.0))
    assert verdict.word == "go weaker"
    assert {"foliar_doubted", "feed_caustic"} <= ids(verdict)
    assert "foliar_test" not in ids(verdict)


def test_very_acid_soil_is_no_reason_for_blueberries():
    assert "soil_very_acid" in ids(verdict_for(case(soil_ph=4.6)))
    assert "soil_very_acid" not in ids(verdict_for(case(soil_ph=4.6, plant="blueberry")))


def test_conflicting_sources_are_shown_with_both_ranges():
    reasons = {reason.id: reason.text for reason in verdict_for(case(plant="juniper", soil_ph=5.5)).reasons}
    assert "6.0" in reasons["plant_conflict"]
    assert "8.0" in reasons["plant_conflict"]
    barred = {reason.id: reason.text for reason in verdict_for(case(plant="raspberry")).reasons}
    assert "7.0" in barred["plant_practice_conflict"]


def test_the_more_careful_source_decides():
    # Carrot: 5.5 to 7.0 by one list, 5.0 to 6.0 by another.
    assert verdict_for(case(plant="carrot", soil_ph=6.4)).word == "go weaker"


def test_seedlings_have_stricter_limits():
    assert (
        verdict_for(case(stage="seedling", feed=feed(alkalinity=100, stage="seedling", within=20))).word == "go weaker"
    )


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("TOMATOES", {"tomato"}),
        ("cherry tomato", {"sour_cherry", "tomato"}),
        ("sweet potatoes", {"sweet_potato"}),
        ("Rhododéndron", {"rhododendron"}),
        ("hydrangeas", {"hydrangea_blue", "hydrangea_pink"}),
        ("vaccinium", {"blueberry", "cranberry", "lingonberry", "bilberry"}),
        ("Solanum lycopersicum", {"tomato"}),
        ("raspberry 'Glen Ample'", {"raspberry"}),
        ("peas", {"pea"}),
        ("Brussels sprouts", {"brussels_sprout"}),
        ("baby's-breath", {"babys_breath"}),
        ("", set()),
        ("qwerty", set()),
    ],
)
def test_a_plant_is_found_by_any_of_its_names(text, found):
    assert {plant.id for plant in plants_named(text)} == found


def test_every_name_in_the_list_finds_its_plant():
    for plant in plants():
        for name in (*plant.names, plant.names[0].upper()):
            assert plant in plants_named(name), name


@pytest.mark.parametrize("language", [tag for tag in LANGUAGES if tag != "en"])
def test_every_plant_has_a_name_in_every_language_and_is_found_by_it(language):
    for plant in plants():
        names = names_of(plant, language)
        assert names, plant.id
        assert all(name and name == name.strip() for name in names), plant.id
        for name in (*names, names[0].upper()):
            assert plant in plants_named(name), name


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("Äpfel", {"apple"}),
        ("Tomaten im Kübel", {"tomato"}),
        ("Walnüsse", {"walnut"}),
        ("Schwarze Johannisbeeren", {"blackcurrant"}),
        ("limones", {"citrus_in_pots"}),
        ("arándanos azules", {"blueberry"}),
        ("l\u2019ail", {"garlic"}),
        ("pommes de terre", {"potato"}),
        ("choux-fleurs", {"cauliflower"}),
        ("feijões", {"bean"}),
        ("टमाटर", {"tomato"}),
        ("आलू के पौधे", {"potato"}),
        ("Hortensie", {"hydrangea_blue", "hydrangea_pink"}),
        ("hortensia", {"hydrangea_blue", "hydrangea_pink"}),
    ],
)
def test_a_plant_is_found_by_its_name_in_any_language(text, found):
    assert {plant.id for plant in plants_named(text)} == found


def test_a_name_of_two_plants_in_two_languages_means_both_and_the_careful_one_decides():
    assert {plant.id for plant in plants_named("mirtilo")} == {"blueberry", "bilberry"}
    assert {"plant_several", "plant_acid-loving"} <= ids(verdict_for(case(plant="mirtilo")))


def test_an_english_name_finds_the_english_plant_only():
    for plant in plants():
        for name in plant.names:
            english = {p.id for p in plants() if name in p.names or name.casefold() == p.botanical.casefold()}
            assert {found.id for found in plants_named(name)} == english


def test_a_reason_that_opens_with_a_plant_begins_with_a_capital_in_every_language():
    class Spanish(gettext.NullTranslations):
        def gettext(self, message):
            spanish = {"leek": "puerro", "{plant} grows well with lime.": "{plant}: soporta bien la cal."}
            return spanish.get(message, message)

        def pgettext(self, context, message):
            return self.gettext(message)

    text = next(r.text for r in verdict_for(case(plant="Lauch")).reasons if r.id == "plant_lime-tolerant")
    assert text == "Leek grows well with lime."
    assert Language("es", Spanish()).speak(text) == "Puerro: soporta bien la cal."


def test_similar_names_are_suggested_in_the_language_of_the_sheet():
    reasons = {r.id: r.text for r in verdict_for(case(plant="Tohmatee", language="de")).reasons}
    assert "Tomate" in reasons["plant_not_listed"]


def test_similar_names_are_suggested_for_a_misspelt_name():
    assert "broccoli" in plants_spelt_like("brocolli")
    reasons = {reason.id: reason.text for reason in verdict_for(case(plant="brocolli")).reasons}
    assert "broccoli" in reasons["plant_not_listed"]


def test_the_most_sensitive_of_several_plants_decides():
    verdict = verdict_for(case(plant="hydrangea"))
    assert verdict.word == "hold back"
    assert "plant_several" in ids(verdict)


def test_the_most_careful_reason_comes_first_and_gives_the_verdict():
    for plant in ("tomato", "rose", "blueberry"):
        verdict = verdict_for(case(plant=plant))
        directions = [DIRECTIONS.index(reason.towards) for reason in verdict.reasons]
        assert directions == sorted(directions, reverse=True)
        assert verdict.word == verdict.reasons[0].towards


def test_the_verdict_never_relaxes_with_rising_ph():
    words = [verdict_for(case(soil_ph=ph / 10, plant="plum")).word for ph in range(45, 85)]
    assert [DIRECTIONS.index(word) for word in words] == sorted(DIRECTIONS.index(word) for word in words)


def test_the_verdict_never_relaxes_with_a_less_accurate_reading():
    errors = [soil_test_error(means) for means in ("laboratory", "meter", "kit")]
    assert errors == sorted(errors)
    for ph in (5.9, 6.3, 6.6, 6.9):
        words = [verdict_for(case(soil_ph=ph, tested_with=means)).word for means in ("laboratory", "meter", "kit")]
        assert [DIRECTIONS.index(word) for word in words] == sorted(DIRECTIONS.index(word) for word in words)


def test_at_least_a_hundred_plants_have_a_soil_ph_with_a_source():
    with_range = [plant for plant in plants() if plant.ranges]
    assert len(with_range) >= 100
    for plant in with_range:
        assert all(3.5 <= given.low < given.high <= 8.5 for given in plant.ranges), plant.id


def test_every_barred_plant_has_its_reason():
    assert all(plant.reason for plant in plants() if plant.is_barred or plant.kind == "caution")


def test_every_list_of_soil_ph_has_a_name_to_show():
    named = {row["source"] for row in published.table("plant_lists")}
    assert {row["source"] for row in published.table("plant_soil_ph")} <= named


def test_lime_tolerant_plants_are_listed_up_to_a_high_ph_or_from_memory():
    for plant in plants():
        highs = [given.high for given in plant.ranges if given.source == plant.source]
        if plant.kind == "lime-tolerant" and highs and plant.status == "seen":
            assert max(highs) >= 7.5, plant.id


def test_acid_loving_plants_are_listed_with_a_low_ph():
    for plant in plants():
        if plant.kind == "acid-loving" and plant.ranges:
            assert min(given.low for given in plant.ranges) <= 5.5, plant.id


def test_half_strength_meets_what_calls_for_care():
    careful = feed(parts=15.0, within=7.0)
    verdict = verdict_for(case(plant="wompat bush", feed=careful))
    assert verdict.word == "go"
    assert {"plant_not_listed", "half_strength"} <= ids(verdict)
    assert verdict_for(case(plant="wompat bush", feed=feed(parts=14.0, within=7.0))).word == "go weaker"


def test_untested_soil_is_told_what_one_feed_brings_it():
    reason = next(r for r in verdict_for(case(soil_ph=None, feed=feed(lime=0.5))).reasons if r.id == "soil_unknown")
    assert "3\u00a0L" in reason.text
    assert "0.5\u00a0g/m²" in reason.text


def test_more_of_a_water_that_is_over_the_limit_is_not_advised():
    verdict = verdict_for(case(feed=feed(alkalinity=500.0, parts=20.0, within=10.0)))
    assert verdict.word == "hold back"
    assert "feed_water" in ids(verdict)
