"""Two people's books, and any number of devices with clocks that disagree: merging loses nothing and always agrees."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from feedcalc.book.records import (
    RECORD_KINDS,
    Past,
    Record,
    book_csv,
    book_text,
    later_stamp,
    merged,
    new_record,
    read_book,
    read_csv,
    record_of,
    stamp_of,
    undone,
    written,
)
from tests.examples import examples

# Clocks disagree by years, and some stamps are the same.
STAMPS = st.sampled_from(
    [f"20{year}-05-01T09:00:00.{thousandth:03d}Z" for year in (20, 26, 31) for thousandth in (0, 1)]
)
WRITERS = st.sampled_from(["phone", "laptop", "shed"])
NAMES = st.sampled_from(["name", "area", "note", "removed"])
TEXTS = st.one_of(st.sampled_from(["", "yes", "6 m^2", "=1"]), st.text(max_size=6))
PASTS = st.builds(Past, NAMES, STAMPS, WRITERS, TEXTS.map(lambda text: text.encode("utf-8", "replace").decode()))
# Ids of other kinds never meet by chance: each id has its kind.
RECORDS = st.builds(
    lambda identity, pasts: record_of(identity, RECORD_KINDS[int(identity)], pasts),
    st.sampled_from("01234"),
    st.lists(PASTS, min_size=1, max_size=8),
)
BOOKS = st.lists(RECORDS, max_size=4).map(lambda records: merged(records, []))


def everything(*books: list[Record]) -> set[tuple[str, Past]]:
    return {(record.id, past) for book in books for record in book for past in record.versions()}


@given(BOOKS, BOOKS)
def test_it_does_not_matter_who_merges_with_whom(mine: list[Record], theirs: list[Record]) -> None:
    assert book_text(merged(mine, theirs)) == book_text(merged(theirs, mine))


@given(BOOKS, BOOKS, BOOKS)
def test_nor_in_which_order(one: list[Record], two: list[Record], three: list[Record]) -> None:
    assert merged(merged(one, two), three) == merged(one, merged(two, three))


@given(BOOKS, BOOKS)
def test_nor_how_often(mine: list[Record], theirs: list[Record]) -> None:
    both = merged(mine, theirs)
    assert merged(mine, mine) == mine
    assert merged(both, theirs) == merged(both, mine) == merged(both, both) == both


@given(BOOKS, BOOKS)
def test_everything_ever_written_stands_in_a_field_or_in_history(mine: list[Record], theirs: list[Record]) -> None:
    both = merged(mine, theirs)
    assert everything(both) == everything(mine, theirs)
    for record in both:
        for past in record.history:
            assert past.written < record.fields[past.field]


@given(RECORDS, st.sampled_from("345"))
def test_one_id_for_two_kinds_is_settled_alike_on_both_sides(record: Record, number: str) -> None:
    other = record_of(record.id, RECORD_KINDS[int(number) % 5], record.versions())
    assert merged([record], [other]) == merged([other], [record])


@given(BOOKS)
def test_a_file_brings_the_book_back_to_the_byte(book: list[Record]) -> None:
    records, aside = read_book(book_text(book))
    assert (records, aside) == (book, [])
    assert book_text(records) == book_text(book)


@given(RECORDS, st.dictionaries(NAMES, TEXTS), STAMPS, WRITERS)
def test_whoever_sees_a_record_and_writes_is_in_force_whatever_the_clocks_say(
    record: Record, fields: dict[str, str], clock: str, by: str
) -> None:
    at = later_stamp([record], clock)
    now = written(record, fields, at, by)
    for name, text in fields.items():
        assert now.text(name) == text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
    assert record.versions() <= now.versions()
    assert written(now, fields, at, by) == now


@given(BOOKS, STAMPS, WRITERS)
def test_undo_loses_nothing_and_twice_is_as_before(book: list[Record], clock: str, by: str) -> None:
    at = later_stamp(book, clock)
    once = merged(book, undone(book, at, by))
    assert everything(book) <= everything(once)
    twice = merged(once, undone(once, later_stamp(once, at), by))
    if once != book:
        texts = [{name: text for name, text in record.texts().items() if text} for record in book]
        assert [{name: text for name, text in record.texts().items() if text} for record in twice] == texts


@examples(60)
@given(st.lists(st.text(min_size=1).filter(str.strip), min_size=1, max_size=4))
def test_any_name_comes_back_the_same_from_a_table(names: list[str]) -> None:
    at = "2026-05-01T09:00:00.000Z"
    book = [written(new_record(str(place), "bed"), {"name": name}, at, "phone") for place, name in enumerate(names)]
    there, aside = read_csv(book_csv(book), [], at, "phone")
    assert not aside
    assert [record.text("name") for record in there] == [record.text("name") for record in book]
    assert read_csv(book_csv(there), there, at, "phone") == ([], [])


@given(st.datetimes())
def test_every_moment_has_a_stamp_that_the_file_takes(moment) -> None:  # type: ignore[no-untyped-def]
    at = stamp_of(moment)
    assert written(new_record("a", "bed"), {"name": "x"}, at, "phone").fields["name"].at == at
