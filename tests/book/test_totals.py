"""Totals of a bed, by hand: entries to grams, running totals, days to come, rejected records."""

from __future__ import annotations

import json
from datetime import date

import pytest

from feedcalc.book.amounts import NutrientAmounts
from feedcalc.book.entries import Bed, EntryRecord
from feedcalc.book.reader import Reader
from feedcalc.book.totals import (
    interval_of,
    lime_need,
    next_ash_day,
    next_feed_day,
    retest_day,
    target_ph,
    timeline,
    total_between,
    totals_on,
)
from feedcalc.garden.ash import ash_of
from feedcalc.garden.dry_ash import ash_content, cap_for
from feedcalc.uncertainty.estimates import Estimate
from tests.book.samples import FixedBatches

LIME_OF_ASH = Estimate(0.4, 0.5, 0.6)


BATCHES = FixedBatches(
    litre=NutrientAmounts(
        potassium=Estimate(0.5, 1.0, 2.0), lime_value=Estimate(0.6, 1.2, 2.4), ash=Estimate(1.2, 2.4, 4.8)
    ),
    sludge=NutrientAmounts(
        calcium=Estimate.exactly(20.0), lime_value=Estimate.exactly(50.0), ash=Estimate.exactly(100.0)
    ),
)
READER = Reader(BATCHES, "en-GB", "metric")
BED = {"name": "South wall", "area": "4 m²", "texture": "loam", "plant": "tomato"}


def record(id_: str, kind: str, **texts: str) -> EntryRecord:
    return EntryRecord(id_, kind, texts)


def entry(id_: str, day: str, what: str, amount: str, **texts: str) -> EntryRecord:
    return record(id_, "entry", bed="south", date=day, what=what, amount=amount, **texts)


def bed_with(*records: EntryRecord, today: date | None = None, **texts: str) -> Bed:
    (bed,) = READER.book([record("south", "bed", **{**BED, **texts}), *records], today).beds
    return bed


TEST = record("test", "soil test", bed="south", date="2026-03-01", ph="6.2", tested_with="laboratory")
REQUEST = '{"schema": 1}'


# -- entries to grams -----------------------------------------------------------------------------------------


def test_a_feed_counts_by_its_litres_and_its_dilution():
    bed = bed_with(entry("a", "2026-05-01", "liquid feed", "20 L", request=REQUEST, dilution="1:4"))
    # By hand: 20 L at 1:4 hold 4 L of liquor; 4 L x 1 g = 4 g of potassium, over 4 m2 1 g/m2; lime 4 x 1.2 / 4 = 1.2.
    assert bed.entries[0].amounts.potassium.typical == pytest.approx(4.0)
    own = bed.entries[0].per_square_metre()
    assert own is not None
    assert (own.potassium.low, own.potassium.typical, own.potassium.high) == pytest.approx((0.5, 1.0, 2.0))
    assert own.lime_value.typical == pytest.approx(1.2)


def test_dry_ash_by_weight_counts_by_its_composition():
    ash = record("oak", "ash", evidence=json.dumps({"ash": {"kind": "mixed", "analysis": {"potassium": 50.0}}}))
    bed = bed_with(ash, entry("a", "2026-05-01", "dry ash", "200 g", ash="oak"))
    # By hand: 200 g over 4 m2 is 50 g/m2 of ash; at 50 g/kg that is 2.5 g/m2 of potassium, exactly, being analysed.
    own = bed.entries[0].per_square_metre()
    assert own is not None
    assert own.ash == Estimate.exactly(50.0)
    assert (own.potassium.low, own.potassium.high) == pytest.approx((2.5, 2.5))
    worth = ash_content(ash_of("mixed", "fresh"))
    assert own.lime_value.typical == pytest.approx(50 * worth.lime.typical)


def test_a_cup_of_an_ash_with_a_known_density_has_its_weight():
    evidence = json.dumps({"ash": {"kind": "hardwood", "density": 0.40}})
    bed = bed_with(record("oak", "ash", evidence=evidence), entry("a", "2026-05-01", "dry ash", "2 cups", ash="oak"))
    # By hand: 2 metric cups of 250 mL at 0.40 g/mL are 200 g, over 4 m2 50 g/m2.
    own = bed.entries[0].per_square_metre()
    assert own is not None
    assert own.ash.typical == pytest.approx(50.0)


def test_lime_counts_as_lime_and_not_as_ash():
    bed = bed_with(entry("a", "2026-05-01", "lime", "1 kg", lime="hydrated_lime"))
    own = bed.entries[0].per_square_metre()
    assert own is not None
    # By hand: pure slaked lime counts 1.36: 1000 g x 1.36 / 4 m2 = 340 g/m2 at most.
    assert own.lime_value.high == pytest.approx(340.0)
    assert own.ash.high == 0.0
    assert own.potassium.high == 0.0


def test_a_lime_without_a_name_is_garden_lime():
    bed = bed_with(entry("a", "2026-05-01", "lime", "400 g"))
    own = bed.entries[0].per_square_metre()
    assert own is not None
    assert own.lime_value.high == pytest.approx(100.0)  # 400 g x 1.00 / 4 m2


def test_the_growers_own_figures_replace_the_usual_ones():
    bed = bed_with(
        entry("a", "2026-05-01", "lime", "1 kg", lime_value="90 %"),
        entry("b", "2026-05-02", "other", "2 L", potassium="40 g/L"),
        entry("c", "2026-05-03", "compost", "10 kg", potassium="5 g/kg"),
    )
    # By hand: 1000 g x 0.90 = 900 g CaCO3; 2 L x 40 g/L = 80 g K; 10 kg x 5 g/kg = 50 g K.
    assert bed.entries[0].amounts.lime_value == Estimate.exactly(900.0)
    assert bed.entries[1].amounts.potassium == Estimate.exactly(80.0)
    assert bed.entries[2].amounts.potassium.typical == pytest.approx(50.0)
    assert bed.entries[2].amounts.calcium.typical > 0, "what was not said stays at the published mean"


def test_ash_in_compost_counts_as_ash_and_the_compost_with_it():
    plain = bed_with(entry("a", "2026-05-01", "compost", "40 L")).entries[0].amounts
    mixed = bed_with(entry("a", "2026-05-01", "compost", "40 L", ash_amount="80 g")).entries[0].amounts
    assert plain.ash.high == 0.0
    assert mixed.ash == Estimate.exactly(80.0)
    assert mixed.lime_value.typical > plain.lime_value.typical > 0


def test_sludge_counts_by_share_volume_or_the_ash_it_came_from():
    share, volume, weight = (
        bed_with(entry("a", "2026-05-01", "sludge", amount, request=REQUEST)).entries[0].amounts
        for amount in ("50 %", "250 mL", "100 g")
    )
    assert share.lime_value.typical == pytest.approx(25.0)  # half of 50
    # By hand: sediment is typically 2.5 mL to a gram of ash, so 250 mL held 100 g.
    assert volume.ash.low <= 100.0 <= volume.ash.high
    assert weight.ash == Estimate.exactly(100.0)
    fresh = bed_with(entry("a", "2026-05-01", "dry ash", "100 g")).entries[0].amounts
    assert weight.calcium.typical == pytest.approx(fresh.calcium.typical), "calcium stays in the sludge"
    assert weight.potassium.typical < fresh.potassium.typical / 2, "potassium went with the liquor"


# -- where ----------------------------------------------------------------------------------------------------


def test_an_entry_on_a_part_is_counted_for_that_part():
    bed = bed_with(
        entry("a", "2026-05-01", "dry ash", "100 g", where="2 m²"),
        entry("b", "2026-05-02", "dry ash", "100 g", where="25 %; by the path"),
        entry("c", "2026-05-03", "dry ash", "40 g", where="all over"),
    )
    total = total_between(bed, date(2026, 1, 1), date(2026, 12, 31))
    assert total is not None
    # By hand: everywhere 40 / 4 = 10; on 2 m2 100 / 2 = 50 more; on a quarter (1 m2) 100 more: at most 10 + 100.
    assert total.ash.typical == pytest.approx(110.0)


def test_the_same_part_twice_adds_up():
    bed = bed_with(
        entry("a", "2026-05-01", "dry ash", "50 g", where="2 m²"),
        entry("b", "2026-05-02", "dry ash", "50 g", where=" 2  M² "),
    )
    total = total_between(bed, date(2026, 1, 1), date(2026, 12, 31))
    assert total is not None
    assert total.ash.typical == pytest.approx(50.0)  # 25 + 25


# -- running totals -------------------------------------------------------------------------------------------


def test_an_entry_leaves_the_past_year_after_a_year():
    bed = bed_with(TEST, entry("a", "2025-05-02", "dry ash", "100 g"), entry("b", "2026-05-01", "dry ash", "100 g"))
    on_the_day = totals_on(bed, date(2026, 5, 1), LIME_OF_ASH)
    day_after = totals_on(bed, date(2026, 5, 2), LIME_OF_ASH)
    assert on_the_day.past_year is not None
    assert day_after.past_year is not None
    assert on_the_day.past_year.ash.typical == pytest.approx(50.0)  # 25 + 25
    assert day_after.past_year.ash.typical == pytest.approx(25.0)
    assert on_the_day.calendar_year is not None
    assert on_the_day.calendar_year.ash.typical == pytest.approx(25.0), "the calendar year knows only this year's"


def test_the_cap_is_that_of_the_newest_test_before_the_day():
    newer = record("later", "soil test", bed="south", date="2026-06-01", ph="5.5")
    bed = bed_with(TEST, newer)
    assert totals_on(bed, date(2026, 5, 1), LIME_OF_ASH).cap == cap_for(6.2)
    assert totals_on(bed, date(2026, 6, 1), LIME_OF_ASH).cap == cap_for(5.5)
    assert totals_on(bed, date(2026, 2, 1), LIME_OF_ASH).cap.high == 0.0, "nobody knew the pH then"


def test_lime_since_the_test_is_subtracted_from_the_need():
    before = bed_with(TEST)
    after = bed_with(TEST, entry("a", "2026-04-01", "lime", "400 g", lime_value="925 g/kg"))
    # By hand: loam gives way by a pH unit for 370 g/m2. 400 g x 0.925 / 4 m2 = 92.5 g/m2 lift it by 0.25 to pH 6.45;
    # the need to 6.5 falls from 0.3 x 370 = 111 to 0.05 x 370 = 18.5 g/m2.
    day = date(2026, 5, 1)
    need_before = lime_need(before, totals_on(before, day, LIME_OF_ASH))
    totals = totals_on(after, day, LIME_OF_ASH)
    need_after = lime_need(after, totals)
    assert need_before is not None
    assert need_after is not None
    assert need_before.typical == pytest.approx(111.0)
    assert totals.ph_shift.typical == pytest.approx(0.25)
    assert need_after.typical == pytest.approx(18.5)


def test_the_advised_ash_is_the_cap_less_the_ash_of_the_past_year():
    soil = record("acid", "soil test", bed="south", date="2026-03-01", ph="5.5", tested_with="laboratory")
    bed = bed_with(soil, entry("a", "2026-04-01", "dry ash", "200 g"))
    advice = totals_on(bed, date(2026, 5, 1), LIME_OF_ASH).advice
    assert advice is not None
    # By hand: the cap at pH 5.5 is 98 g/m2; 200 g over 4 m2 is 50; 48 are left, and the soil would take more.
    assert advice.limited_by == "cap"
    assert advice.ash == pytest.approx(48.0)


def test_the_target_ph_is_at_most_the_highest_that_suits_the_plant():
    assert target_ph(bed_with(plant="tomato")) == 6.5
    assert target_ph(bed_with(texture="peat")) == 5.8
    # Of three lists the careful one, 4.5 to 5.0, counts for a plant that hates lime.
    assert target_ph(bed_with(plant="blueberry", texture="peat")) == 5.0


# -- days to come ---------------------------------------------------------------------------------------------


def test_the_next_feed_waits_for_the_interval():
    bed = bed_with(entry("a", "2026-05-01", "liquid feed", "9 L", request=REQUEST))
    assert (interval_of("liquid feed").low, interval_of("liquid feed").typical) == (21, 28)
    assert next_feed_day(bed, date(2026, 5, 2)) == (date(2026, 5, 22), date(2026, 5, 29), date(2026, 6, 12))
    assert next_feed_day(bed_with(), date(2026, 5, 2)) is None


def test_dry_ash_waits_until_the_past_year_is_below_the_cap():
    bed = bed_with(TEST, entry("a", "2026-04-01", "dry ash", "292 g"))  # 73 g/m2, all of the cap at pH 6.2
    assert next_ash_day(bed, date(2026, 5, 1)) == date(2027, 4, 1)
    roomy = bed_with(TEST, entry("a", "2026-04-20", "dry ash", "100 g"))
    assert next_ash_day(roomy, date(2026, 5, 1)) == date(2026, 5, 18), "28 days after the last"
    assert next_ash_day(bed_with(entry("a", "2026-04-20", "dry ash", "100 g")), date(2026, 5, 1)) is None


def test_a_test_is_valid_for_three_years_or_until_lime_moved_the_ph():
    assert retest_day(bed_with(TEST), date(2026, 5, 1)) == date(2029, 3, 1)
    # By hand: half a pH unit of loam is 185 g/m2; over 4 m2 740 g of pure chalk on 1 June reach it.
    limed = bed_with(TEST, entry("a", "2026-06-01", "lime", "740 g", lime_value="1000 g/kg"))
    assert retest_day(limed, date(2026, 7, 1)) == date(2026, 6, 1)
    assert retest_day(bed_with(), date(2026, 5, 1)) is None


def test_the_timeline_rises_with_an_entry_and_falls_a_year_later():
    bed = bed_with(TEST, entry("a", "2025-04-01", "dry ash", "100 g"))
    steps = {step.day: step for step in timeline(bed, date(2025, 3, 1), date(2026, 5, 1))}
    assert steps[date(2025, 3, 1)].ash.typical == 0.0
    assert steps[date(2025, 4, 1)].ash.typical == pytest.approx(25.0)
    assert steps[date(2026, 4, 1)].ash.typical == 0.0
    assert steps[date(2025, 4, 1)].cap == 0.0, "no test yet"
    assert steps[date(2026, 3, 1)].cap == 73.0


# -- rejected -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("texts", "field"),
    [
        ({"amount": "some"}, "amount"),
        ({"amount": "0 g"}, "amount"),
        ({"date": "first of May"}, "date"),
        ({"date": "2026-09-01"}, "date"),
        ({"what": "potion"}, "what"),
        ({"what": ""}, "what"),
        ({"ash": "nobody"}, "ash"),
        ({"where": "9 m²"}, "where"),
        ({"where": "2 paces"}, "where"),
        ({"what": "liquid feed", "amount": "9 L"}, "request"),
        ({"what": "other"}, "lime_value"),
        ({"what": "lime", "lime": "quark"}, "lime"),
        ({"what": "sludge", "amount": "50 %"}, "amount"),
    ],
)
def test_an_entry_that_cannot_be_read_is_rejected_and_stops_no_other(texts, field):
    good = entry("good", "2026-04-01", "dry ash", "100 g")
    bad = EntryRecord("bad", "entry", {**entry("bad", "2026-04-02", "dry ash", "100 g").texts, **texts})
    bed = bed_with(good, bad, today=date(2026, 5, 1))
    assert [kept.id for kept in bed.entries] == ["good"]
    assert [(rejected.id, rejected.error.field) for rejected in bed.rejected] == [("bad", field)]
    assert bed.rejected[0].error.accepted


def test_records_without_a_bed_are_rejected_and_those_of_a_removed_bed_are_ignored():
    lost = record("lost", "entry", bed="elsewhere", date="2026-04-01", what="lime", amount="1 kg")
    book = READER.book([record("south", "bed", **BED), lost])
    assert [rejected.id for rejected in book.rejected] == ["lost"]
    gone = READER.book([record("south", "bed", removed="yes", **BED), entry("a", "2026-04-01", "lime", "1 kg")])
    assert (gone.beds, gone.rejected) == ((), ())


def test_a_removed_entry_is_not_counted():
    bed = bed_with(entry("a", "2026-04-01", "dry ash", "100 g", removed="yes"))
    assert (bed.entries, bed.rejected) == ((), ())


def test_a_bed_without_an_area_has_grams_but_no_total_per_square_metre():
    bed = bed_with(entry("a", "2026-04-01", "dry ash", "100 g"), area="")
    assert bed.entries[0].amounts.ash == Estimate.exactly(100.0)
    assert total_between(bed, date(2026, 1, 1), date(2026, 5, 1)) is None


def test_a_bed_is_kept_without_the_fields_that_cannot_be_read():
    bed = bed_with(area="wide", texture="mud")
    assert bed.name == "South wall"
    assert {rejected.error.field for rejected in bed.rejected} == {"area", "texture"}


def test_numbers_are_read_as_the_grower_writes_them():
    german = Reader(BATCHES, "de-DE", "metric")
    (bed,) = german.book([record("south", "bed", name="Beet", area="2,5 m²")]).beds
    assert bed.area == 2.5
