"""Properties of merging the books of people and devices whose clocks disagree, of files and of tables."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from feedcalc.book.book_file import book_text, read_book
from feedcalc.book.book_table import book_csv, read_csv
from feedcalc.book.records import (
    RECORD_KINDS,
    FieldVersion,
    Record,
    later_timestamp,
    merge,
    new_record,
    record_from,
    timestamp_of,
    undo_latest,
    write_fields,
)
from tests.examples import examples

# Clocks disagree by years, and some stamps are the same.
STAMPS = st.sampled_from(
    [f"20{year}-05-01T09:00:00.{thousandth:03d}Z" for year in (20, 26, 31) for thousandth in (0, 1)]
)
WRITERS = st.sampled_from(["phone", "laptop", "shed"])
NAMES = st.sampled_from(["name", "area", "note", "removed"])
TEXTS = st.one_of(st.sampled_from(["", "yes", "6 m^2", "=1"]), st.text(max_size=6))
VERSIONS = st.builds(
    FieldVersion, NAMES, STAMPS, WRITERS, TEXTS.map(lambda text: text.encode("utf-8", "replace").decode())
)
# Each id has its own kind, so that two kinds never share an id by chance.
RECORDS = st.builds(
    lambda identity, versions: record_from(identity, RECORD_KINDS[int(identity)], versions),
    st.sampled_from("01234"),
    st.lists(VERSIONS, min_size=1, max_size=8),
)
BOOKS = st.lists(RECORDS, max_size=4).map(lambda records: merge(records, []))


def everything(*books: list[Record]) -> set[tuple[str, FieldVersion]]:
    return {(record.id, version) for book in books for record in book for version in record.versions()}


@given(BOOKS, BOOKS)
def test_merging_is_commutative(mine: list[Record], theirs: list[Record]) -> None:
    assert book_text(merge(mine, theirs)) == book_text(merge(theirs, mine))


@given(BOOKS, BOOKS, BOOKS)
def test_merging_is_associative(one: list[Record], two: list[Record], three: list[Record]) -> None:
    assert merge(merge(one, two), three) == merge(one, merge(two, three))


@given(BOOKS, BOOKS)
def test_merging_is_idempotent(mine: list[Record], theirs: list[Record]) -> None:
    both = merge(mine, theirs)
    assert merge(mine, mine) == mine
    assert merge(both, theirs) == merge(both, mine) == merge(both, both) == both


@given(BOOKS, BOOKS)
def test_every_version_is_current_or_in_the_history_after_merging(mine: list[Record], theirs: list[Record]) -> None:
    both = merge(mine, theirs)
    assert everything(both) == everything(mine, theirs)
    for record in both:
        for version in record.history:
            assert version.version < record.fields[version.field]


@given(RECORDS, st.sampled_from("345"))
def test_one_id_with_two_kinds_merges_alike_on_both_sides(record: Record, number: str) -> None:
    other = record_from(record.id, RECORD_KINDS[int(number) % 5], record.versions())
    assert merge([record], [other]) == merge([other], [record])


@given(BOOKS)
def test_a_file_restores_the_book_and_its_bytes(book: list[Record]) -> None:
    records, rejected = read_book(book_text(book))
    assert (records, rejected) == (book, [])
    assert book_text(records) == book_text(book)


@given(RECORDS, st.dictionaries(NAMES, TEXTS), STAMPS, WRITERS)
def test_a_write_after_reading_becomes_current_whatever_the_clocks_say(
    record: Record, fields: dict[str, str], clock: str, by: str
) -> None:
    at = later_timestamp([record], clock)
    now = write_fields(record, fields, at, by)
    for name, text in fields.items():
        assert now.text(name) == text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
    assert record.versions() <= now.versions()
    assert write_fields(now, fields, at, by) == now


@given(BOOKS, STAMPS, WRITERS)
def test_undo_loses_nothing_and_undoing_twice_restores_the_texts(book: list[Record], clock: str, by: str) -> None:
    at = later_timestamp(book, clock)
    once = merge(book, undo_latest(book, at, by))
    assert everything(book) <= everything(once)
    twice = merge(once, undo_latest(once, later_timestamp(once, at), by))
    if once != book:
        texts = [{name: text for name, text in record.texts().items() if text} for record in book]
        assert [{name: text for name, text in record.texts().items() if text} for record in twice] == texts


@examples(60)
@given(st.lists(st.text(min_size=1).filter(str.strip), min_size=1, max_size=4))
def test_any_name_comes_back_unchanged_from_a_table(names: list[str]) -> None:
    at = "2026-05-01T09:00:00.000Z"
    book = [
        write_fields(new_record(str(place), "bed"), {"name": name}, at, "phone") for place, name in enumerate(names)
    ]
    there, rejected = read_csv(book_csv(book), [], at, "phone")
    assert not rejected
    assert [record.text("name") for record in there] == [record.text("name") for record in book]
    assert read_csv(book_csv(there), there, at, "phone") == ([], [])


@given(st.datetimes())
def test_every_moment_has_a_valid_timestamp(moment) -> None:  # type: ignore[no-untyped-def]
    at = timestamp_of(moment)
    assert write_fields(new_record("a", "bed"), {"name": "x"}, at, "phone").fields["name"].at == at
