"""The season book as a table (CSV, RFC 4180): one row for each record, and back.

* One file holds all kinds of records, with a column ``kind``, because an entry means nothing without its bed. It holds
  the current texts, not the history.
* ``at`` is the latest timestamp of the record when the row was written. A cell with the text of that time is unedited,
  so it does not overwrite what was written in the book since.
* A row that cannot be read is reported with its number and the reason; the others are read.
* Cells are guarded by `feedcalc.contract.spreadsheet`, so that no spreadsheet calculates them.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from feedcalc.book.book_file import LONGEST_FILE, MOST_RECORDS
from feedcalc.book.records import (
    ENTRY_KINDS,
    FIELD_NAME,
    ID,
    RECORD_FIELDS,
    RECORD_KINDS,
    REMOVED,
    REQUIRED,
    Record,
    changed_records,
    excerpt,
    in_file_order,
    invalid_id,
    invalid_timestamp,
    is_timestamp,
    later_timestamp,
    new_record,
    record_from,
    replace_surrogates,
    unknown_kind,
    write_fields,
)
from feedcalc.contract.spreadsheet import guarded, unguarded
from feedcalc.words.errors import InputError
from feedcalc.words.messages import any_of, said

_ALL_FIELDS = tuple(dict.fromkeys(field for fields in RECORD_FIELDS.values() for field in fields))
# A row as it was read: its number, the record as the book has it (or new), and the texts that were edited.
_EditedRow = tuple[int, Record, dict[str, str]]


def book_csv(records: Iterable[Record]) -> str:
    """Return the current texts of all records, removed ones too, as CSV.

    >>> bed = write_fields(new_record("a", "bed"), {"name": "=South"}, "2026-05-01T09:00:00.000Z", "phone")
    >>> book_csv([bed]).splitlines()[1][:45]
    "bed,a,2026-05-01T09:00:00.000Z,'=South,,,,,,,"
    """
    records = in_file_order(records)
    unknown = {field for record in records for field in record.fields} - {*_ALL_FIELDS, REMOVED}
    fields = (*_ALL_FIELDS, *sorted(unknown), REMOVED)
    text = io.StringIO(newline="")
    table = csv.writer(text, lineterminator="\r\n")
    table.writerow(("kind", "id", "at", *fields))
    for record in records:
        latest = max((version.at for version in record.versions()), default="")
        texts = (guarded(record.text(field), reversible=True) for field in fields)
        table.writerow((record.kind, guarded(record.id, reversible=True), latest, *texts))
    return text.getvalue()


def read_csv(text: str, records: Iterable[Record], at: str, by: str) -> tuple[list[Record], list[InputError]]:
    """Return the records of the book that a table adds or changes, and what could not be read; raises `InputError`.

    Only cells that differ from the book are written, at ``at`` by ``by``, so reading a table twice changes nothing. A
    row without an id gets one made from its content. A bed may be given by its name. Columns may be missing or in any
    order, separated by commas, semicolons or tabs.
    """
    if len(text) > LONGEST_FILE:
        raise _not_a_table(said("This is longer than {longest} characters.", longest=LONGEST_FILE))
    rows, header = _rows(text.removeprefix("\ufeff"))
    former = {record.id: record for record in records}
    rejected: list[InputError] = []
    columns = _columns(header, rejected)
    edited: list[_EditedRow] = []
    seen: dict[str, int] = {}
    for number, row in rows:
        try:
            edited.append((number, *_edited_row(number, row, columns=columns, former=former, seen=seen)))
        except InputError as error:
            rejected.append(error)
    beds = _bed_ids(former.values(), edited)
    changed = []
    for edited_row in edited:
        try:
            changed.append(_changed_record(edited_row, beds, at, by))
        except InputError as error:
            rejected.append(error)
    return changed_records(former.values(), changed), sorted(rejected, key=lambda error: _row_number(error.field))


def _rows(text: str) -> tuple[list[tuple[int, list[str]]], list[str]]:
    """Return the rows that are not empty, with their number in a spreadsheet, and the header."""
    first = text.splitlines()[0] if text.strip() else ""
    mark = next((mark for mark in ",;\t" if "kind" in [name.strip(' "').lower() for name in first.split(mark)]), "")
    if not mark:
        raise _not_a_table(said("The first row has no column named kind."))
    before = csv.field_size_limit(LONGEST_FILE)
    try:
        table = csv.reader(io.StringIO(text, newline=""), delimiter=mark)
        rows = [[replace_surrogates(cell) for cell in row] for row in table]
    except csv.Error:
        raise _not_a_table(said("This is not a table of comma-separated values.")) from None
    finally:
        csv.field_size_limit(before)
    if len(rows) > MOST_RECORDS:
        raise _not_a_table(said("This table has more than {most} rows.", most=MOST_RECORDS))
    numbered = [(number, row) for number, row in enumerate(rows[1:], 2) if any(cell.strip() for cell in row)]
    return numbered, rows[0]


def _columns(header: Sequence[str], rejected: list[InputError]) -> list[str]:
    """Return the field of each column, empty for a column that is ignored."""
    names: list[str] = []
    for cell in header:
        name = "_".join(cell.strip().lower().split())
        if name and not FIELD_NAME.fullmatch(name):
            problem, accepted = said("There is no field of this name."), any_of(_ALL_FIELDS)
            rejected.append(InputError("row 1", excerpt(cell), problem, accepted))
            name = ""
        elif name and name in names:
            rejected.append(
                InputError("row 1", excerpt(cell), said("This column is there twice."), said("one of each"))
            )
            name = ""
        names.append(name)
    return names


def _edited_row(
    number: int, row: Sequence[str], *, columns: Sequence[str], former: Mapping[str, Record], seen: dict[str, int]
) -> tuple[Record, dict[str, str]]:
    """Return the record of a row as the book has it (or new), and the texts that were edited in the table."""
    place = f"row {number}, "
    if any(cell.strip() for cell in row[len(columns) :]):
        raise InputError(f"row {number}", excerpt(row[-1]), said("The row is longer than the first one."), "")
    cells = {name: cell for name, cell in zip(columns, row, strict=False) if name}
    kind = cells.pop("kind", "").strip().lower()
    if kind not in RECORD_KINDS:
        raise unknown_kind(f"{place}kind", kind)
    identity, written_at = unguarded(cells.pop("id", "").strip()), cells.pop("at", "").strip()
    if written_at and not is_timestamp(written_at):
        raise invalid_timestamp(f"{place}at", written_at)
    identity = _unique_id(number, identity, {"kind": kind, **cells}, seen)
    record = former.get(identity) or new_record(identity, kind)
    if record.kind != kind:
        problem = said("In the book this id is another kind of record: {kind}.", kind=record.kind)
        raise InputError(f"{place}kind", kind, problem, record.kind)
    texts = {name: unguarded(cell) for name, cell in cells.items()}
    if identity not in former:
        return record, {name: text for name, text in texts.items() if text}
    if not written_at:  # an emptied cell looks like one that was never filled
        return record, {name: text for name, text in texts.items() if text and text != record.text(name)}
    versions = (version for version in record.versions() if version.at <= written_at)
    as_exported = record_from(record.id, record.kind, versions)
    return record, {name: text for name, text in texts.items() if text != as_exported.text(name)}


def _unique_id(number: int, identity: str, cells: Mapping[str, str], seen: dict[str, int]) -> str:
    """Return the id of a row, made from its content if it has none; raises `InputError` if it is taken or invalid."""
    place = f"row {number}, id"
    if not identity:
        filled = sorted((name, cell) for name, cell in cells.items() if cell and name != "kind")
        content = json.dumps([cells["kind"], filled], ensure_ascii=False)
        nth = seen[content] = seen.get(content, 0) + 1
        identity = "row-" + hashlib.sha256(f"{content} {nth}".encode()).hexdigest()[:24]
    elif identity in seen:
        raise InputError(place, identity, said("This id is already in row {row}.", row=seen[identity]), "")
    else:
        seen[identity] = number
    if not ID.fullmatch(identity):
        raise invalid_id(place, identity)
    return identity


def _changed_record(row: _EditedRow, beds: Mapping[str, list[str]], at: str, by: str) -> Record:
    """Return the record of a row with its edited texts written."""
    number, record, texts = row
    if not texts and record.fields:
        return record
    if texts.get("bed") and "bed" in RECORD_FIELDS[record.kind]:
        given = texts["bed"].strip()
        found = beds.get(f"id {given}") or beds.get(f"name {given.casefold()}", [])
        if len(found) != 1:
            problem = said("More than one bed has this name.") if found else said("There is no such bed in the book.")
            raise InputError(f"row {number}, bed", texts["bed"], problem, said("the id or the name of a bed"))
        texts = texts | {"bed": found[0]}
    for error in _errors_in(record.kind, record.texts() | texts, f"row {number}, "):
        raise error
    try:
        return write_fields(record, texts, later_timestamp([record], at), by)
    except InputError as error:
        raise InputError(f"row {number}, {error.field}", error.given, error.problem, error.accepted) from None


def _bed_ids(known: Iterable[Record], edited: Iterable[_EditedRow]) -> dict[str, list[str]]:
    """Return the ids of the beds by ``id`` and their id, and by ``name`` and their name in lower case."""
    names = {record.id: record.text("name") for record in known if record.kind == "bed" and not record.is_removed}
    for _, record, texts in edited:
        if record.kind == "bed":
            names[record.id] = texts.get("name", record.text("name"))
    beds: dict[str, list[str]] = {f"id {identity}": [identity] for identity in names}
    for identity, name in sorted(names.items()):
        if name.strip():
            beds.setdefault(f"name {name.strip().casefold()}", []).append(identity)
    return beds


def _errors_in(kind: str, texts: Mapping[str, str], place: str) -> list[InputError]:
    """Return what keeps these texts from being a record: missing fields, days that are none, unknown choices."""
    found = []
    for field in REQUIRED[kind]:
        if not texts.get(field, "").strip():
            problem = said("This must not be empty.")
            found.append(InputError(place + field, "", problem, said("what a {kind} needs", kind=kind)))
    day = texts.get("date", "").strip()
    if day and "date" in RECORD_FIELDS[kind] and not _is_day(day):
        found.append(InputError(place + "date", day, said("This is not a day."), said("a date such as 2026-05-01")))
    for field, choices in (("what", ENTRY_KINDS), ("of", ("ash", "soil"))):
        if field in RECORD_FIELDS[kind] and texts.get(field, "").strip() not in ("", *choices):
            problem = said("This is not one of the choices.")
            found.append(InputError(place + field, texts[field], problem, any_of(choices)))
    return found


def _row_number(place: str) -> int:
    found = re.match(r"row ([0-9]+)", place)
    return int(found[1]) if found else 0


def _is_day(text: str) -> bool:
    try:
        return re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text) is not None and bool(date.fromisoformat(text))
    except ValueError:
        return False


def _not_a_table(problem: str) -> InputError:
    return InputError(
        "file", "", problem, said("a table saved by feedcalc, or one with the columns kind, bed, date ...")
    )
