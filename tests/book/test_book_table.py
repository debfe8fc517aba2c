"""The table of a season book: what it brings back, what an edited one changes, what it refuses and rejects."""

from __future__ import annotations

import csv
import io

import pytest

from feedcalc.book.book_table import book_csv, read_csv
from feedcalc.book.records import LONGEST_TEXT, Version, remove_record, write_fields
from feedcalc.words.errors import InputError
from tests.book.samples import bed, day, entry


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def table(*rows: dict[str, str], mark: str = ",") -> str:
    names = list(dict.fromkeys(name for row in rows for name in row))
    kept = io.StringIO(newline="")
    writer = csv.DictWriter(kept, names, delimiter=mark, restval="")
    writer.writeheader()
    writer.writerows(rows)
    return kept.getvalue()


def test_a_table_restores_a_whole_book_and_reading_it_twice_changes_nothing():
    book = [bed(note='two\nlines, "quoted"; ö'), entry(), remove_record(entry("e2"), day(2), "phone")]
    there, rejected = read_csv(book_csv(book), [], day(9), "laptop")
    assert not rejected
    assert {r.id: {k: v for k, v in r.texts().items() if v} for r in there} == {r.id: r.texts() for r in book}
    assert read_csv(book_csv(book), there, day(10), "laptop") == ([], [])
    assert read_csv(book_csv(book), book, day(10), "laptop") == ([], [])


def test_a_table_is_csv_by_rfc_4180():
    text = book_csv([bed(note='a "b"\r\nc')])
    assert text.startswith("kind,id,at,name,area,")
    assert '"a ""b""\r\nc"' in text
    assert text.endswith("\r\n")


@pytest.mark.parametrize(
    "risky",
    ["=1+1", "+1", "-1", "@sum", "\t=1", "\r=1", " =1", "'=1", "'", "''", "' x", "＝1", "=cmd|' /C calc'!A0", "'x"],
)
def test_no_cell_is_a_formula_and_every_text_comes_back_unchanged(risky):
    text = book_csv([bed(name=risky)])
    cell = rows_of(text)[0]["name"]
    assert cell.startswith("'")
    assert read_csv(text, [], day(2), "laptop")[0][0].text("name") == risky


@pytest.mark.parametrize("plain", ["it's", "6 m^2", "a=b", "x'", " South", "5 - 6"])
def test_an_ordinary_text_is_not_guarded(plain):
    assert rows_of(book_csv([bed(name=plain)]))[0]["name"] == plain


def test_an_id_that_starts_with_a_hyphen_is_guarded_and_comes_back():
    text = book_csv([bed("-1")])
    assert rows_of(text)[0]["id"] == "'-1"
    assert [record.id for record in read_csv(text, [], day(2), "laptop")[0]] == ["-1"]


def test_an_edited_cell_is_written_and_an_emptied_one_emptied():
    book = [bed(area="6 m^2", note="wet")]
    text = book_csv(book).replace("6 m^2", "9 m^2").replace("wet", "")
    (changed,), rejected = read_csv(text, book, day(9), "laptop")
    assert not rejected
    assert changed.texts() == {"name": "South", "area": "9 m^2", "note": ""}
    assert changed.fields["area"] == Version(day(9), "laptop", "9 m^2")


def test_an_old_table_does_not_overwrite_what_was_written_since():
    old = book_csv([bed(area="6 m^2")])
    now = [write_fields(bed(area="6 m^2"), {"area": "7 m^2"}, day(5), "phone")]
    assert read_csv(old, now, day(9), "laptop") == ([], [])


def test_rows_without_ids_get_stable_ones_and_two_equal_rows_are_two_records():
    beds = {"kind": "bed", "name": "South"}
    feed = {"kind": "entry", "bed": "south", "date": "2026-05-01", "what": "dry ash", "amount": "1 cup"}
    text = table(beds, feed, feed)
    records, rejected = read_csv(text, [], day(2), "laptop")
    assert not rejected
    assert [record.kind for record in records] == ["bed", "entry", "entry"]
    assert {record.text("bed") for record in records if record.kind == "entry"} == {records[0].id}
    assert read_csv(text, records, day(3), "laptop") == ([], [])
    assert {r.id for r in read_csv(text, [], day(3), "phone")[0]} == {r.id for r in records}


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_other_delimiters_and_a_byte_order_mark_are_read(mark):
    text = "\ufeff" + table({"Kind": "bed", "Name": "South", "Area": "6,5 m^2"}, mark=mark)
    (record,), rejected = read_csv(text, [], day(2), "laptop")
    assert not rejected
    assert record.text("area") == "6,5 m^2"


@pytest.mark.parametrize(
    ("row", "field", "problem"),
    [
        ({"kind": "shed"}, "kind", "There is no such kind of record."),
        ({"kind": "bed", "id": "a b", "name": "x"}, "id", "This can't be an id."),
        ({"kind": "bed", "id": "south", "name": "x"}, "id", "This id is already in row 2."),
        ({"kind": "bed", "name": ""}, "name", "This must not be empty."),
        ({"kind": "soil test", "bed": "south", "date": "1/5/26", "ph": "6"}, "date", "This is not a day."),
        ({"kind": "soil test", "bed": "south", "date": "2026-02-30", "ph": "6"}, "date", "This is not a day."),
        (
            {"kind": "soil test", "bed": "west", "date": "2026-02-03", "ph": "6"},
            "bed",
            "There is no such bed in the book.",
        ),
        (
            {"kind": "entry", "bed": "south", "date": "2026-02-03", "what": "soot", "amount": "1 L"},
            "what",
            "This is not one of the choices.",
        ),
        ({"kind": "bed", "name": "x" * (LONGEST_TEXT + 1)}, "name.text", "This text is longer than 200000 characters."),
    ],
)
def test_a_bad_row_is_rejected_with_its_number_field_and_reason_and_good_ones_are_read(row, field, problem):
    good, last = {"kind": "bed", "id": "south", "name": "South"}, {"kind": "bed", "id": "last", "name": "Last"}
    records, rejected = read_csv(table(good, row, last), [], day(2), "laptop")
    assert [record.id for record in records] == ["last", "south"]
    assert [(error.field, error.problem) for error in rejected] == [(f"row 3, {field}", problem)]


def test_a_row_that_names_two_beds_is_rejected():
    beds = [bed("a", "South"), bed("b", "South")]
    text = table({"kind": "soil test", "bed": "South", "date": "2026-05-01", "ph": "6"})
    _, rejected = read_csv(text, beds, day(2), "laptop")
    assert [error.problem for error in rejected] == ["More than one bed has this name."]


@pytest.mark.parametrize("text", ["", "\n\n", "a,b\n1,2\n", "\x00", "PK\x03\x04"])
def test_a_text_that_is_not_a_table_of_records_is_refused(text):
    with pytest.raises(InputError):
        read_csv(text, [], day(2), "laptop")
