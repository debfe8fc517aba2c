"""The file of a season book: what it brings back, what it refuses and what it rejects."""

from __future__ import annotations

import json
from typing import Any

import pytest

from feedcalc.book.book_file import FORMAT, book_document, book_text, read_book, read_document
from feedcalc.book.records import remove_record
from feedcalc.words.errors import InputError
from tests.book.samples import bed, day, entry


def envelope(*rows: Any, version: Any = 1) -> str:
    return json.dumps({"format": FORMAT, "version": version, "records": list(rows)})


def test_a_book_comes_back_from_its_file_as_it_was():
    book = [bed(name="Süd 🌱 \u2028 “x”"), remove_record(entry(), day(4), "laptop")]
    assert read_book(book_text(book)) == (book, [])


def test_the_same_book_gives_the_same_bytes_in_whatever_order_it_comes():
    book = [bed("a"), bed("b", area="1 m^2"), entry()]
    shuffled = json.loads(book_text(book))
    shuffled["records"].reverse()
    for row in shuffled["records"]:
        row["fields"] = dict(reversed(row["fields"].items()))
    records, _ = read_document(shuffled)
    assert book_text(records) == book_text(book)


def test_a_byte_order_mark_before_the_file_is_ignored():
    assert read_book("\ufeff" + book_text([bed()])) == ([bed()], [])


@pytest.mark.parametrize(
    ("text", "field", "problem"),
    [
        ("", "file", "This is not JSON (line 1, column 1)."),
        ("[" * 100_000, "file", "This is nested deeper than 64 levels."),
        ("[]", "file", "This is not a season book of feedcalc."),
        ('{"format": "other"}', "file", "This is not a season book of feedcalc."),
        ('{"format": 1, "format": 2}', "file", "The key format is there twice in one place."),
        (envelope(version=2), "version", "This book was written by a newer feedcalc. Update this one first."),
        (envelope(version="1"), "version", "The version of this book is not clear."),
        (envelope(version=True), "version", "The version of this book is not clear."),
        ('{"format": "feedcalc season book", "version": 1}', "records", "The records of this book are missing."),
        (" " * 16_000_001, "file", "This is longer than 16000000 characters."),
    ],
    ids=lambda value: str(value)[:30],
)
def test_a_file_that_is_not_a_book_is_refused_with_the_reason(text, field, problem):
    with pytest.raises(InputError) as refusal:
        read_book(text)
    assert (refusal.value.field, refusal.value.problem) == (field, problem)


GOOD = bed("good").as_dict()
PART = {"text": "South", "at": day(1), "by": "phone"}


@pytest.mark.parametrize(
    ("row", "place"),
    [
        ("text", "records[0]"),
        ({"kind": "bed", "fields": {}}, "records[0].id"),
        ({"id": "../x", "kind": "bed", "fields": {}}, "records[0].id"),
        ({"id": "a", "kind": ["bed"], "fields": {}}, "records[0].kind"),
        ({"id": "a", "kind": "bed", "fields": []}, "records[0].fields"),
    ],
)
def test_a_record_that_cannot_be_read_is_rejected_and_the_others_are_read(row, place):
    records, rejected = read_book(envelope(row, GOOD))
    assert [record.id for record in records] == ["good"]
    assert [error.field for error in rejected] == [place]


@pytest.mark.parametrize(
    ("version", "place"),
    [
        (PART | {"text": 5}, "records[0].fields.name.text"),
        (PART | {"at": "yesterday"}, "records[0].fields.name.at"),
        (PART | {"at": "2026-13-01T09:00:00.000Z"}, "records[0].fields.name.at"),
        (PART | {"by": None}, "records[0].fields.name.by"),
        (None, "records[0].fields.name"),
        ("South", "records[0].fields.name"),
    ],
)
def test_a_field_that_cannot_be_read_is_rejected_and_the_rest_of_its_record_is_read(version, place):
    row = {"id": "a", "kind": "bed", "fields": {"name": version, "area": PART | {"text": "6 m^2"}}}
    records, rejected = read_book(envelope(row))
    assert records[0].texts() == {"area": "6 m^2"}
    assert [error.field for error in rejected] == [place]


def test_an_unknown_field_is_kept():
    row = {"id": "a", "kind": "bed", "fields": {"slope_2": PART}, "history": []}
    records, rejected = read_book(envelope(row))
    assert not rejected
    assert read_book(book_text(records))[0][0].text("slope_2") == "South"


def test_a_lone_surrogate_is_replaced():
    records, _ = read_book(envelope({"id": "a", "kind": "bed", "fields": {"name": PART | {"text": "S\ud800"}}}))
    assert records[0].text("name") == "S\ufffd"
    assert book_text(records).encode("utf-8")


def test_a_version_in_the_history_that_is_the_greatest_becomes_current():
    row = GOOD | {"history": [{"field": "name", "text": "Later", "at": day(9), "by": "phone"}]}
    assert read_book(envelope(row))[0][0].text("name") == "Later"


def test_an_older_file_is_upgraded_first():
    def names_in_upper_case(document: dict[str, Any]) -> dict[str, Any]:
        for row in document["records"]:
            row["fields"]["name"]["text"] = row["fields"]["name"]["text"].upper()
        return document

    records, _ = read_document(book_document([bed()]), upgrades=[names_in_upper_case])
    assert records[0].text("name") == "SOUTH"
