"""Properties of any book: the order of entries does not matter, parts add up to the whole, more is never less."""

from __future__ import annotations

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from feedcalc.book.amounts import QUANTITIES, NutrientAmounts
from feedcalc.book.entries import Bed, EntryRecord
from feedcalc.book.reader import Reader
from feedcalc.book.totals import total_between, totals_on
from feedcalc.uncertainty.estimates import Estimate
from tests.book.samples import FixedBatches
from tests.examples import examples

LIME_OF_ASH = Estimate(0.4, 0.5, 0.6)
TODAY = date(2026, 5, 1)
BATCHES = FixedBatches(
    litre=NutrientAmounts(
        potassium=Estimate(0.05, 0.1, 0.2), lime_value=Estimate(0.1, 0.2, 0.3), ash=Estimate(0.2, 0.4, 0.6)
    ),
    sludge=NutrientAmounts(lime_value=Estimate(30.0, 50.0, 80.0), ash=Estimate.exactly(100.0)),
)
READER = Reader(BATCHES)
BED = EntryRecord("bed", "bed", {"name": "Bed", "area": "4 m2", "texture": "loam", "plant": "tomato"})
TEST = EntryRecord("test", "soil test", {"bed": "bed", "date": "2025-01-01", "ph": "5.6", "tested_with": "laboratory"})
GIVEN = st.sampled_from([("dry ash", "g"), ("lime", "g"), ("liquid feed", "mL"), ("sludge", "g"), ("compost", "g")])


@st.composite
def entries(draw, id_: str) -> EntryRecord:
    what, unit = draw(GIVEN)
    day = TODAY - timedelta(days=draw(st.integers(0, 800)))
    where = draw(st.sampled_from(["", "", "50 %", "1 m2", "by the path"]))
    texts = {"bed": "bed", "date": day.isoformat(), "what": what, "where": where, "request": '{"schema": 1}'}
    return EntryRecord(id_, "entry", {**texts, "amount": f"{draw(st.integers(1, 4000))} {unit}"})


books = st.integers(1, 8).flatmap(lambda n: st.tuples(*(entries(f"e{i}") for i in range(n))))


def bed_of(records) -> Bed:
    (bed,) = READER.book([BED, TEST, *records], TODAY).beds
    assert not bed.rejected
    return bed


def ends(amounts: NutrientAmounts | None) -> list[float]:
    assert amounts is not None
    return [end for name in QUANTITIES for e in [getattr(amounts, name)] for end in (e.low, e.typical, e.high)]


def close(one: list[float], other: list[float]) -> bool:
    return all(abs(a - b) <= 1e-9 * max(abs(a), abs(b), 1.0) for a, b in zip(one, other, strict=True))


@examples(60)
@given(books, st.randoms(use_true_random=False))
def test_the_order_of_records_changes_nothing(records, order):
    shuffled = list(records)
    order.shuffle(shuffled)
    one, other = bed_of(records), bed_of(shuffled)
    assert totals_on(one, TODAY, LIME_OF_ASH) == totals_on(other, TODAY, LIME_OF_ASH)


@examples(60)
@given(books, st.integers(1, 3999))
def test_an_entry_split_in_two_changes_no_total(records, at):
    first = records[0]
    number, unit = first.text("amount").split()
    part = min(at, int(number) - 1)
    if part < 1:
        return
    halves = [
        EntryRecord(f"{first.id}-{name}", "entry", {**first.texts, "amount": f"{amount} {unit}"})
        for name, amount in (("a", part), ("b", int(number) - part))
    ]
    whole, split = bed_of(records), bed_of([*halves, *records[1:]])
    for after in (date(2020, 1, 1), TODAY - timedelta(days=365)):
        assert close(ends(total_between(whole, after, TODAY)), ends(total_between(split, after, TODAY)))


@examples(80)
@given(books, entries("more"))
def test_one_more_entry_never_lowers_a_total_or_raises_the_advised_ash(records, more):
    before, after = (
        totals_on(bed_of(records), TODAY, LIME_OF_ASH),
        totals_on(bed_of([*records, more]), TODAY, LIME_OF_ASH),
    )
    assert all(b <= a + 1e-9 for b, a in zip(ends(before.past_year), ends(after.past_year), strict=True))
    assert all(b <= a + 1e-9 for b, a in zip(ends(before.calendar_year), ends(after.calendar_year), strict=True))
    assert before.advice is not None
    assert after.advice is not None
    assert after.advice.ash <= before.advice.ash + 1e-9
    assert before.ph_shift.typical <= after.ph_shift.typical + 1e-12


@examples(60)
@given(books)
def test_the_total_of_the_most_loaded_part_is_at_least_the_mean_of_the_bed(records):
    bed = bed_of(records)
    total = total_between(bed, TODAY - timedelta(days=900), TODAY)
    assert total is not None
    mean = sum(entry.amounts.ash.typical for entry in bed.entries) / 4.0
    assert total.ash.typical >= mean - 1e-9 or len({entry.patch for entry in bed.entries if entry.patch}) > 1
