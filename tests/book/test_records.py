"""The season book's records: writing, undoing, merging, the file and the table, and what they refuse."""

from __future__ import annotations

import csv
import io
import json
import re
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest

from feedcalc.book.book_file import FORMAT, book_document, book_text, read_book, read_document
from feedcalc.book.book_table import book_csv, read_csv
from feedcalc.book.records import (
    LONGEST_TEXT,
    FieldVersion,
    Record,
    Version,
    changed_records,
    later_timestamp,
    merge,
    new_record,
    remove_record,
    timestamp_of,
    undo_latest,
    undoing_texts,
    write_fields,
)
from feedcalc.words.errors import InputError


def day(number: int) -> str:
    return f"2026-05-{number:02d}T09:00:00.000Z"


def bed(identity: str = "south", name: str = "South", at: str = day(1), by: str = "phone", **fields: str) -> Record:
    return write_fields(new_record(identity, "bed"), {"name": name, **fields}, at, by)


def entry(identity: str = "e1", **fields: str) -> Record:
    usual = {"bed": "south", "date": "2026-05-01", "what": "dry ash", "amount": "1 cup"}
    return write_fields(new_record(identity, "entry"), usual | fields, day(1), "phone")


def envelope(*rows: Any, version: Any = 1) -> str:
    return json.dumps({"format": FORMAT, "version": version, "records": list(rows)})


# -- writing and undoing --------------------------------------------------------------------------------------


def test_what_stood_in_a_field_goes_to_history_with_its_time_and_writer():
    changed = write_fields(bed(area="6 m^2"), {"area": "8 m^2"}, day(2), "laptop")
    assert changed.text("area") == "8 m^2"
    assert changed.history == (FieldVersion("area", day(1), "phone", "6 m^2"),)


def test_writing_what_stands_there_changes_nothing():
    assert write_fields(bed(), {"name": "South", "note": ""}, day(2), "laptop") == bed()


def test_a_write_with_an_earlier_stamp_stays_behind_what_stands_there_but_is_not_lost():
    late = write_fields(bed(at=day(5)), {"name": "Late"}, day(2), "laptop")
    assert late.text("name") == "South"
    assert [past.text for past in late.history] == ["Late"]


def test_a_clock_that_runs_behind_still_wins_with_a_stamp_from_later_stamp():
    ahead = bed(at="2031-01-01T00:00:00.000Z")
    assert write_fields(ahead, {"name": "New"}, later_timestamp([ahead], day(1)), "slow").text("name") == "New"


def test_a_stamp_at_the_end_of_time_is_no_crash():
    assert later_timestamp([bed(at="9999-12-31T23:59:59.999Z")], day(1)) == "9999-12-31T23:59:59.999Z"


def test_a_moment_elsewhere_becomes_a_stamp_in_utc():
    assert timestamp_of(datetime(2026, 5, 1, 9, tzinfo=timezone(timedelta(hours=2)))) == "2026-05-01T07:00:00.000Z"
    assert timestamp_of(datetime(2026, 5, 1, 9, 0, 0, 999999, tzinfo=UTC)) == "2026-05-01T09:00:00.999Z"


def test_a_removed_record_stays_in_the_book_and_can_be_put_back():
    gone = remove_record(bed(), day(2), "phone")
    assert gone.is_removed
    assert gone.text("name") == "South"
    back = write_fields(gone, {"removed": ""}, day(3), "phone")
    assert not back.is_removed
    assert FieldVersion("removed", day(2), "phone", "yes") in back.history


def test_undo_restores_a_field_and_a_second_undo_brings_the_change_back():
    changed = write_fields(bed(area="6 m^2"), {"area": "60 m^2"}, day(2), "phone")
    (back,) = undo_latest([changed], day(3), "phone")
    assert back.text("area") == "6 m^2"
    assert back.text("name") == "South"
    (again,) = undo_latest([back], day(4), "phone")
    assert again.text("area") == "60 m^2"


def test_undo_removes_a_record_that_came_with_the_latest_change():
    records = [bed(), write_fields(new_record("north", "bed"), {"name": "North"}, day(2), "phone")]
    (gone,) = undo_latest(records, day(3), "phone")
    assert (gone.id, gone.is_removed) == ("north", True)


def test_undo_takes_back_only_what_this_writer_wrote_and_nobody_wrote_over():
    mine = write_fields(bed(), {"area": "6 m^2", "note": "mine"}, day(2), "phone")
    theirs = write_fields(mine, {"area": "7 m^2"}, day(3), "laptop")
    (back,) = undo_latest([theirs], day(4), "phone")
    assert back.text("area") == "7 m^2"
    assert back.text("note") == ""
    assert undo_latest([bed()], day(4), "stranger") == []


def test_undo_counts_a_change_of_many_records_as_one():
    records = [write_fields(bed(name), {"note": "wet"}, day(2), "phone") for name in ("a", "b")]
    assert [record.text("note") for record in undo_latest(records, day(3), "phone")] == ["", ""]


def test_the_way_back_from_a_merge_is_the_former_texts_and_removal_of_what_is_new():
    before = [bed(area="6 m^2")]
    after = merge(before, [bed("north", "North"), write_fields(before[0], {"area": "9 m^2"}, day(3), "laptop")])
    assert undoing_texts(before, after) == {"south": {"area": "6 m^2"}, "north": {"removed": "yes"}}


@pytest.mark.parametrize(
    ("identity", "kind", "field"),
    [("", "bed", "id"), ("a b", "bed", "id"), ("x" * 65, "bed", "id"), ("a\n", "bed", "id"), ("a", "beds", "kind")],
)
def test_a_record_needs_an_id_and_a_known_kind(identity, kind, field):
    with pytest.raises(InputError) as refusal:
        new_record(identity, kind)
    assert refusal.value.field == field


@pytest.mark.parametrize(
    ("fields", "at", "by", "place"),
    [
        ({"Name": "x"}, day(1), "phone", "Name"),
        ({"name": "x" * (LONGEST_TEXT + 1)}, day(1), "phone", "name.text"),
        ({"name": "x"}, "2026-05-01", "phone", "name.at"),
        ({"name": "x"}, "2026-02-30T09:00:00.000Z", "phone", "name.at"),
        ({"name": "x"}, day(1), "my phone", "name.by"),
    ],
)
def test_a_write_that_no_file_could_hold_is_refused(fields, at, by, place):
    with pytest.raises(InputError) as refusal:
        write_fields(new_record("a", "bed"), fields, at, by)
    assert refusal.value.field == place


# -- merging --------------------------------------------------------------------------------------------------


def test_of_two_people_the_last_writer_of_each_field_wins_and_the_other_goes_to_history():
    start = bed(area="6 m^2")
    mine = write_fields(start, {"area": "7 m^2", "note": "mine"}, day(2), "phone")
    theirs = write_fields(start, {"area": "8 m^2"}, day(3), "laptop")
    (both,) = merge([mine], [theirs])
    assert both.texts() == {"name": "South", "area": "8 m^2", "note": "mine"}
    assert [past.text for past in both.history if past.field == "area"] == ["6 m^2", "7 m^2"]


def test_records_of_either_book_are_in_the_merged_one():
    assert [record.id for record in merge([bed("a")], [bed("b")])] == ["a", "b"]


def test_equal_times_are_settled_alike_on_both_sides():
    one, other = bed(by="a", area="1 m^2"), bed(by="b", area="2 m^2")
    assert merge([one], [other]) == merge([other], [one])
    assert merge([one], [other])[0].text("area") == "2 m^2"


# -- the file -------------------------------------------------------------------------------------------------


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


def test_a_mark_of_byte_order_before_the_file_is_no_fault():
    assert read_book("\ufeff" + book_text([bed()])) == ([bed()], [])


@pytest.mark.parametrize(
    ("text", "field", "problem"),
    [
        ("", "file", "This is not JSON (line 1, column 1)."),
        ("[" * 100_000, "file", "This is nested deeper than 64 levels."),
        ("[]", "file", "This is no season book of feedcalc."),
        ('{"format": "other"}', "file", "This is no season book of feedcalc."),
        ('{"format": 1, "format": 2}', "file", "The key format stands twice in one place."),
        (envelope(version=2), "version", "This book was written by a newer feedcalc. Update this one first."),
        (envelope(version="1"), "version", "The version of this book can't be told."),
        (envelope(version=True), "version", "The version of this book can't be told."),
        ('{"format": "feedcalc season book", "version": 1}', "records", "The records of this book are missing."),
        (" " * 16_000_001, "file", "This is longer than 16000000 characters."),
    ],
    ids=lambda value: str(value)[:30],
)
def test_what_is_no_book_is_refused_with_the_reason(text, field, problem):
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
def test_a_record_that_cannot_be_read_is_set_aside_and_the_others_are_read(row, place):
    records, aside = read_book(envelope(row, GOOD))
    assert [record.id for record in records] == ["good"]
    assert [error.field for error in aside] == [place]


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
def test_a_field_that_cannot_be_read_is_set_aside_and_the_rest_of_its_record_is_read(version, place):
    row = {"id": "a", "kind": "bed", "fields": {"name": version, "area": PART | {"text": "6 m^2"}}}
    records, aside = read_book(envelope(row))
    assert records[0].texts() == {"area": "6 m^2"}
    assert [error.field for error in aside] == [place]


def test_a_field_of_a_newer_feedcalc_is_carried_along():
    row = {"id": "a", "kind": "bed", "fields": {"slope_2": PART}, "history": []}
    records, aside = read_book(envelope(row))
    assert not aside
    assert read_book(book_text(records))[0][0].text("slope_2") == "South"


def test_half_a_character_becomes_one_that_a_file_can_hold():
    records, _ = read_book(envelope({"id": "a", "kind": "bed", "fields": {"name": PART | {"text": "S\ud800"}}}))
    assert records[0].text("name") == "S\ufffd"
    assert book_text(records).encode("utf-8")


def test_history_that_is_greater_than_what_is_in_force_comes_into_force():
    row = GOOD | {"history": [{"field": "name", "text": "Later", "at": day(9), "by": "phone"}]}
    assert read_book(envelope(row))[0][0].text("name") == "Later"


def test_an_older_file_goes_through_the_upgrades_first():
    def names_in_upper_case(document: dict[str, Any]) -> dict[str, Any]:
        for row in document["records"]:
            row["fields"]["name"]["text"] = row["fields"]["name"]["text"].upper()
        return document

    records, _ = read_document(book_document([bed()]), upgrades=[names_in_upper_case])
    assert records[0].text("name") == "SOUTH"


# -- the table ------------------------------------------------------------------------------------------------


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def table(*rows: dict[str, str], mark: str = ",") -> str:
    names = list(dict.fromkeys(name for row in rows for name in row))
    kept = io.StringIO(newline="")
    writer = csv.DictWriter(kept, names, delimiter=mark, restval="")
    writer.writeheader()
    writer.writerows(rows)
    return kept.getvalue()


def test_a_table_brings_a_whole_book_to_another_place_and_reading_it_twice_changes_nothing():
    book = [bed(note='two\nlines, "quoted"; ö'), entry(), remove_record(entry("e2"), day(2), "phone")]
    there, aside = read_csv(book_csv(book), [], day(9), "laptop")
    assert not aside
    assert {r.id: {k: v for k, v in r.texts().items() if v} for r in there} == {r.id: r.texts() for r in book}
    assert read_csv(book_csv(book), there, day(10), "laptop") == ([], [])
    assert read_csv(book_csv(book), book, day(10), "laptop") == ([], [])


def test_a_table_is_what_rfc_4180_says():
    text = book_csv([bed(note='a "b"\r\nc')])
    assert text.startswith("kind,id,at,name,area,")
    assert '"a ""b""\r\nc"' in text
    assert text.endswith("\r\n")


@pytest.mark.parametrize(
    "risky",
    ["=1+1", "+1", "-1", "@sum", "\t=1", "\r=1", " =1", "'=1", "'", "''", "' x", "＝1", "=cmd|' /C calc'!A0", "'x"],
)
def test_no_cell_is_a_formula_and_every_text_comes_back_the_same(risky):
    text = book_csv([bed(name=risky)])
    cell = rows_of(text)[0]["name"]
    assert cell.startswith("'")
    assert read_csv(text, [], day(2), "laptop")[0][0].text("name") == risky


@pytest.mark.parametrize("plain", ["it's", "6 m^2", "a=b", "x'", " South", "5 - 6"])
def test_an_ordinary_text_stands_in_its_cell_as_it_is(plain):
    assert rows_of(book_csv([bed(name=plain)]))[0]["name"] == plain


def test_an_id_that_starts_with_a_hyphen_is_kept_and_is_no_formula():
    text = book_csv([bed("-1")])
    assert rows_of(text)[0]["id"] == "'-1"
    assert [record.id for record in read_csv(text, [], day(2), "laptop")[0]] == ["-1"]


def test_an_edited_cell_is_written_and_an_emptied_one_emptied():
    book = [bed(area="6 m^2", note="wet")]
    text = book_csv(book).replace("6 m^2", "9 m^2").replace("wet", "")
    (changed,), aside = read_csv(text, book, day(9), "laptop")
    assert not aside
    assert changed.texts() == {"name": "South", "area": "9 m^2", "note": ""}
    assert changed.fields["area"] == Version(day(9), "laptop", "9 m^2")


def test_an_old_table_does_not_push_out_what_was_written_since():
    old = book_csv([bed(area="6 m^2")])
    now = [write_fields(bed(area="6 m^2"), {"area": "7 m^2"}, day(5), "phone")]
    assert read_csv(old, now, day(9), "laptop") == ([], [])


def test_rows_without_ids_get_lasting_ones_and_two_alike_are_two():
    beds = {"kind": "bed", "name": "South"}
    feed = {"kind": "entry", "bed": "south", "date": "2026-05-01", "what": "dry ash", "amount": "1 cup"}
    text = table(beds, feed, feed)
    records, aside = read_csv(text, [], day(2), "laptop")
    assert not aside
    assert [record.kind for record in records] == ["bed", "entry", "entry"]
    assert {record.text("bed") for record in records if record.kind == "entry"} == {records[0].id}
    assert read_csv(text, records, day(3), "laptop") == ([], [])
    assert {r.id for r in read_csv(text, [], day(3), "phone")[0]} == {r.id for r in records}


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_other_marks_between_cells_and_a_mark_of_byte_order_are_read(mark):
    text = "\ufeff" + table({"Kind": "bed", "Name": "South", "Area": "6,5 m^2"}, mark=mark)
    (record,), aside = read_csv(text, [], day(2), "laptop")
    assert not aside
    assert record.text("area") == "6,5 m^2"


@pytest.mark.parametrize(
    ("row", "field", "problem"),
    [
        ({"kind": "shed"}, "kind", "There is no such kind of record."),
        ({"kind": "bed", "id": "a b", "name": "x"}, "id", "This can't be an id."),
        ({"kind": "bed", "id": "south", "name": "x"}, "id", "This id stands in row 2 already."),
        ({"kind": "bed", "name": ""}, "name", "This must not be empty."),
        ({"kind": "soil test", "bed": "south", "date": "1/5/26", "ph": "6"}, "date", "This is no day."),
        ({"kind": "soil test", "bed": "south", "date": "2026-02-30", "ph": "6"}, "date", "This is no day."),
        (
            {"kind": "soil test", "bed": "west", "date": "2026-02-03", "ph": "6"},
            "bed",
            "There is no such bed in the book.",
        ),
        (
            {"kind": "entry", "bed": "south", "date": "2026-02-03", "what": "soot", "amount": "1 L"},
            "what",
            "This is none of the choices.",
        ),
        ({"kind": "bed", "name": "x" * (LONGEST_TEXT + 1)}, "name.text", "This text is longer than 200000 characters."),
    ],
)
def test_a_bad_row_is_set_aside_with_its_number_field_and_reason_and_good_ones_are_read(row, field, problem):
    good, last = {"kind": "bed", "id": "south", "name": "South"}, {"kind": "bed", "id": "last", "name": "Last"}
    records, aside = read_csv(table(good, row, last), [], day(2), "laptop")
    assert [record.id for record in records] == ["last", "south"]
    assert [(error.field, error.problem) for error in aside] == [(f"row 3, {field}", problem)]


def test_a_name_that_two_beds_bear_is_asked_back():
    beds = [bed("a", "South"), bed("b", "South")]
    text = table({"kind": "soil test", "bed": "South", "date": "2026-05-01", "ph": "6"})
    _, aside = read_csv(text, beds, day(2), "laptop")
    assert [error.problem for error in aside] == ["More than one bed is called that."]


@pytest.mark.parametrize("text", ["", "\n\n", "a,b\n1,2\n", "\x00", "PK\x03\x04"])
def test_what_is_no_table_is_refused(text):
    with pytest.raises(InputError):
        read_csv(text, [], day(2), "laptop")


def test_only_what_changed_is_told_for_storing():
    before = [bed("a"), bed("b")]
    after = merge(before, [write_fields(bed("b"), {"note": "x"}, day(2), "laptop"), bed("c")])
    assert [record.id for record in changed_records(before, after)] == ["b", "c"]
    assert re.fullmatch("[a-z]", after[0].id)
