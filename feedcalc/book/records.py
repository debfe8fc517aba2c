"""The season book's records: what was written when and by whom, how books merge, and the file that holds them.

Rules of this room:

* A record is the set of everything ever written in its fields. In force in a field is the version with the greatest
  ``(at, by, text)``; every other one is history. Merging is the union of those sets, which is why it doesn't matter
  who merges with whom, in which order or how often, and why nothing that was written is ever lost.
* Nothing is dropped: removing writes ``removed`` = ``yes``, undoing writes the former text anew.
* A text is what a person typed, units and all. Nothing here reads it as a quantity.
* No clock and no chance: stamps (ISO 8601, UTC, to the millisecond), writers and ids are handed in.
* The same book gives the same bytes, whatever order its records came in.
* As a table (CSV) the book is one file with a row a record and a ``kind`` column, because an entry means nothing
  without its bed. A table holds what is in force, not the history. ``at`` tells up to when the row had been written: a
  cell that is as it was then was not edited, and doesn't push out what was written in the book since.
* What can't be read of a file is set aside with its place and the reason; the rest is read. Refused whole is only what
  is no book, what a newer feedcalc wrote, and what is too large.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from feedcalc.garden.metals import METALS
from feedcalc.words.errors import InputError
from feedcalc.words.messages import said

FORMAT = "feedcalc season book"
RECORD_KINDS = ("bed", "soil test", "entry", "ash", "metals")
WHATS = ("liquid feed", "dry ash", "sludge", "compost", "lime", "other")
# The fields of each kind in the order a table shows them; a record may hold others, from a newer feedcalc.
RECORD_FIELDS: Mapping[str, tuple[str, ...]] = {
    "bed": ("name", "area", "texture", "place", "plant", "note"),
    "soil test": ("bed", "date", "ph", "tested_with", "note"),
    "entry": (
        *("bed", "date", "what", "amount", "ash", "ash_amount", "lime", "batch", "dilution", "where"),
        *("potassium", "calcium", "magnesium", "lime_value", "request", "customs", "note"),
    ),
    "ash": ("name", "date", "evidence", "note"),
    "metals": ("name", "date", "of", "ash", "bed", *METALS, "country", "note"),
}
REQUIRED: Mapping[str, tuple[str, ...]] = {
    "bed": ("name",),
    "soil test": ("bed", "date", "ph"),
    "entry": ("bed", "date", "what", "amount"),
    "ash": ("name", "date", "evidence"),
    "metals": ("name", "date"),
}
REMOVED = "removed"
LONGEST_FILE = 16_000_000
LONGEST_TEXT = 200_000
MOST_RECORDS = 100_000

# From each version of the file to the next.
UPGRADES: tuple[Callable[[dict[str, Any]], dict[str, Any]], ...] = ()
VERSION = 1 + len(UPGRADES)

_ID = re.compile(r"[A-Za-z0-9_-]{1,64}")
_FIELD = re.compile(r"[a-z][a-z0-9_]{0,39}")
_STAMP = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z")


@dataclass(frozen=True, slots=True, order=True)
class Written:
    """A text, the stamp of when it was written, and the id of the device that wrote it; the greater one is in force."""

    at: str
    by: str
    text: str


@dataclass(frozen=True, slots=True, order=True)
class Past:
    """A version of a field that is no longer in force."""

    field: str
    at: str
    by: str
    text: str

    @property
    def written(self) -> Written:
        """The same without the field's name."""
        return Written(self.at, self.by, self.text)


@dataclass(frozen=True, slots=True)
class Record:
    """A bed, soil test, entry, ash or metals: the fields in force, and all that stood in them before, sorted."""

    id: str
    kind: str
    fields: Mapping[str, Written]
    history: tuple[Past, ...] = ()

    def text(self, field: str) -> str:
        """The text in force in a field, empty where there is none."""
        written = self.fields.get(field)
        return written.text if written else ""

    def texts(self) -> dict[str, str]:
        """The texts in force, by field."""
        return {field: written.text for field, written in self.fields.items()}

    @property
    def is_removed(self) -> bool:
        """Whether it was taken out of the book, where it stays to be put back."""
        return self.text(REMOVED) == "yes"

    def versions(self) -> frozenset[Past]:
        """Everything ever written in it."""
        in_force = (Past(name, w.at, w.by, w.text) for name, w in self.fields.items())
        return frozenset((*in_force, *self.history))

    def as_dict(self) -> dict[str, Any]:
        """As the file has it, every list in its fixed order."""
        return {
            "id": self.id,
            "kind": self.kind,
            "fields": {
                name: {"text": written.text, "at": written.at, "by": written.by}
                for name, written in sorted(self.fields.items())
            },
            "history": [
                {"field": past.field, "text": past.text, "at": past.at, "by": past.by} for past in self.history
            ],
        }


def record_of(identity: str, kind: str, versions: Iterable[Past]) -> Record:
    """A record from everything ever written in it, in any order."""
    fields: dict[str, Written] = {}
    ordered = sorted(set(versions))
    for past in ordered:
        fields[past.field] = max(past.written, fields.get(past.field, past.written))
    history = tuple(past for past in ordered if fields[past.field] != past.written)
    return Record(identity, kind, fields, history)


# -- writing --------------------------------------------------------------------------------------------------


def new_record(identity: str, kind: str) -> Record:
    """A record in which nothing is written yet; raises `InputError` for an id or a kind that can't be."""
    if not _ID.fullmatch(identity):
        raise _bad_id("id", identity)
    if kind not in RECORD_KINDS:
        raise _bad_kind("kind", kind)
    return Record(identity, kind, {})


def written(record: Record, fields: Mapping[str, str], at: str, by: str) -> Record:
    """The record with texts written in its fields; what stood there goes to history.

    A text that stands there already is not written again. A stamp no later than what stands in a field loses to it, so
    hand in one from `later_stamp`; the same writing done twice gives the same record. Raises `InputError`.

    >>> bed = written(new_record("a", "bed"), {"area": "6 m2"}, "2026-05-01T09:00:00.000Z", "phone")
    >>> bed = written(bed, {"area": "8 m2"}, "2026-05-02T09:00:00.000Z", "phone")
    >>> bed.text("area"), bed.history[0].text
    ('8 m2', '6 m2')
    """
    versions = set(record.versions())
    for field, text in fields.items():
        version = _read_version(field, {"text": text, "at": at, "by": by}, field)
        if record.text(field) != version.text or (field not in record.fields and version.text):
            versions.add(version)
    return record_of(record.id, record.kind, versions)


def removed(record: Record, at: str, by: str) -> Record:
    """The record taken out of the book; it can be put back by writing ``removed`` = empty."""
    return written(record, {REMOVED: "yes"}, at, by)


def undone(records: Iterable[Record], at: str, by: str) -> list[Record]:
    """The records that change where this writer takes back the latest thing they wrote; none if there is nothing.

    A record that came with it is removed, a field gets its former text, both as new writing at ``at``. What somebody
    wrote over it since stays. Undoing twice brings back what was undone.
    """
    records = list(records)
    own = [mine.at for record in records for mine in record.fields.values() if mine.by == by]
    if not own:
        return []
    latest = max(own)
    changed = []
    for record in records:
        touched = [name for name, mine in record.fields.items() if (mine.at, mine.by) == (latest, by)]
        if touched:
            before = record_of(record.id, record.kind, (past for past in record.versions() if past.at < latest))
            back = way_back(before if before.fields else None, touched)
            changed.append(written(record, back, later_stamp([record], at), by))
    return [record for record in changed if record not in records]


def way_back(before: Record | None, fields: Iterable[str]) -> dict[str, str]:
    """What has to be written to have these fields as they were; a record that was not there is removed."""
    if before is None:
        return {REMOVED: "yes"}
    return {field: before.text(field) for field in sorted(fields)}


def steps_back(before: Iterable[Record], after: Iterable[Record]) -> dict[str, dict[str, str]]:
    """For each record that changed, by id, what has to be written in it to have it as it was before."""
    former = {record.id: record for record in before}
    steps = {}
    for record in changed_records(former.values(), after):
        was = former.get(record.id)
        touched = [name for name in record.fields if was is None or record.text(name) != was.text(name)]
        if touched:
            steps[record.id] = way_back(was, touched)
    return steps


def later_stamp(records: Iterable[Record], at: str) -> str:
    """``at``, or a millisecond after the latest thing written in the records where a clock of theirs runs ahead.

    >>> ahead = written(new_record("a", "bed"), {"name": "South"}, "2030-01-01T00:00:00.000Z", "phone")
    >>> later_stamp([ahead], "2026-05-01T09:00:00.000Z")
    '2030-01-01T00:00:00.001Z'
    """
    latest = max((past.at for record in records for past in record.versions()), default="")
    if at > latest:
        return at
    try:
        return stamp_of(datetime.fromisoformat(latest.replace("Z", "+00:00")) + timedelta(milliseconds=1))
    except OverflowError:
        return latest


def stamp_of(moment: datetime) -> str:
    """A moment as a stamp; one without a time zone counts as UTC.

    >>> stamp_of(datetime(2026, 5, 1, 9))
    '2026-05-01T09:00:00.000Z'
    """
    moment = moment.astimezone(UTC) if moment.tzinfo else moment.replace(tzinfo=UTC)
    return f"{moment.strftime('%Y').zfill(4)}-{moment:%m-%dT%H:%M:%S}.{moment.microsecond // 1000:03d}Z"


# -- merging --------------------------------------------------------------------------------------------------


def merged(mine: Iterable[Record], theirs: Iterable[Record]) -> list[Record]:
    """Two books as one: every record of either, and in each field the version with the greater (at, by, text).

    Commutative, associative and idempotent. Should one id stand for two kinds, the first kind in the alphabet stays.
    """
    kinds: dict[str, str] = {}
    versions: dict[str, frozenset[Past]] = {}
    untouched: dict[str, Record] = {}
    for record in (*mine, *theirs):
        if record.id not in kinds:
            untouched[record.id] = record
        elif untouched.get(record.id) != record:
            untouched.pop(record.id, None)
        kinds[record.id] = min(record.kind, kinds.get(record.id, record.kind))
        versions[record.id] = versions.get(record.id, frozenset()) | record.versions()
    return in_order(untouched.get(id_) or record_of(id_, kinds[id_], versions[id_]) for id_ in kinds)


def changed_records(before: Iterable[Record], after: Iterable[Record]) -> list[Record]:
    """The records of ``after`` that are new or differ, in order: what has to be stored."""
    former = {record.id: record for record in before}
    return in_order(record for record in after if former.get(record.id) != record)


def in_order(records: Iterable[Record]) -> list[Record]:
    """Records in the order of the file: by kind, then by id."""
    place = {kind: index for index, kind in enumerate(RECORD_KINDS)}
    return sorted(records, key=lambda record: (place.get(record.kind, len(place)), record.id))


# -- the file -------------------------------------------------------------------------------------------------


def book_document(records: Iterable[Record]) -> dict[str, Any]:
    """The book as the file's JSON object."""
    return {"format": FORMAT, "version": VERSION, "records": [record.as_dict() for record in in_order(records)]}


def book_text(records: Iterable[Record]) -> str:
    """The book as a file's text; the same records give the same bytes.

    >>> print(book_text([]), end="")
    {
     "format": "feedcalc season book",
     "version": 1,
     "records": []
    }
    """
    return json.dumps(book_document(records), ensure_ascii=False, indent=1) + "\n"


def read_book(text: str) -> tuple[list[Record], list[InputError]]:
    """The records of a file's text, and what was set aside, each with its place; raises `InputError`."""
    if len(text) > LONGEST_FILE:
        raise _no_book(said("This is longer than {longest} characters.", longest=LONGEST_FILE))
    try:
        document = json.loads(text.removeprefix("\ufeff"), object_pairs_hook=_without_repeats)
    except _Repeated as key:
        raise _no_book(said("The key {key} stands twice in one place.", key=str(key))) from None
    except json.JSONDecodeError as error:
        raise _no_book(
            said("This is not JSON (line {line}, column {column}).", line=error.lineno, column=error.colno)
        ) from None
    except (ValueError, RecursionError):
        raise _no_book(said("This is not JSON.")) from None
    return read_document(document)


def read_document(
    document: object, upgrades: Sequence[Callable[[dict[str, Any]], dict[str, Any]]] = UPGRADES
) -> tuple[list[Record], list[InputError]]:
    """As `read_book`, from parsed JSON. A file of an older version goes through the ``upgrades`` first."""
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise _no_book(said("This is no season book of feedcalc."))
    version = document.get("version")
    newest = 1 + len(upgrades)
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise InputError(
            "version", _snippet(version), said("The version of this book can't be told."), f"1 to {newest}"
        )
    if version > newest:
        raise InputError(
            "version",
            version,
            said("This book was written by a newer feedcalc. Update this one first."),
            f"1 to {newest}",
        )
    for upgrade in upgrades[version - 1 :]:
        document = upgrade(document)
    rows = document.get("records")
    if not isinstance(rows, list):
        raise InputError("records", _snippet(rows), said("The records of this book are missing."), said("a list"))
    if len(rows) > MOST_RECORDS:
        raise _no_book(said("This book has more than {most} records.", most=MOST_RECORDS))
    aside: list[InputError] = []
    records = []
    for number, row in enumerate(rows):
        try:
            records.append(_read_record(row, f"records[{number}]", aside))
        except InputError as error:
            aside.append(error)
    return merged(records, []), aside


# -- the table ------------------------------------------------------------------------------------------------

_ALL_FIELDS = tuple(dict.fromkeys(field for fields in RECORD_FIELDS.values() for field in fields))
_OWN_COLUMNS = ("kind", "id", "at")
# A spreadsheet takes a cell that starts with one of these for a formula; one more apostrophe makes it text.
_RISKY = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", "'")


def book_csv(records: Iterable[Record]) -> str:
    """What is in force in the book as a table: RFC 4180, a row a record, removed ones too.

    >>> bed = written(new_record("a", "bed"), {"name": "=South"}, "2026-05-01T09:00:00.000Z", "phone")
    >>> book_csv([bed]).splitlines()[1][:45]
    "bed,a,2026-05-01T09:00:00.000Z,'=South,,,,,,,"
    """
    records = in_order(records)
    unknown = {field for record in records for field in record.fields} - {*_ALL_FIELDS, REMOVED}
    fields = (*_ALL_FIELDS, *sorted(unknown), REMOVED)
    kept = io.StringIO(newline="")
    table = csv.writer(kept, lineterminator="\r\n")
    table.writerow((*_OWN_COLUMNS, *fields))
    for record in records:
        latest = max((past.at for past in record.versions()), default="")
        table.writerow(
            (record.kind, _harmless(record.id), latest, *(_harmless(record.text(field)) for field in fields))
        )
    return kept.getvalue()


def read_csv(text: str, records: Iterable[Record], at: str, by: str) -> tuple[list[Record], list[InputError]]:
    """The records that a table adds to the book or changes in it, and what of it was set aside; raises `InputError`.

    Only cells that differ from the book are written, with the stamp and the writer handed in, so that the same table
    read twice changes nothing. A row without an id gets one made from what it says. A bed may be told by its name.
    Columns may stand in any order or be missing; semicolons or tabs may part them.
    """
    if len(text) > LONGEST_FILE:
        raise _no_table(said("This is longer than {longest} characters.", longest=LONGEST_FILE))
    text = text.removeprefix("\ufeff")
    rows, header = _rows(text)
    former = {record.id: record for record in records}
    aside: list[InputError] = []
    names = _columns(header, aside)
    found: list[tuple[int, Record, dict[str, str]]] = []
    seen: dict[str, int] = {}
    for number, row in rows:
        try:
            record, texts = _read_row(number, row, names, former, seen)
        except InputError as error:
            aside.append(error)
            continue
        found.append((number, record, texts))
    beds = _beds(former.values(), found)
    changed = []
    for number, record, texts in found:
        try:
            changed.append(_written_row(number, record, texts, beds, at, by))
        except InputError as error:
            aside.append(error)
    return changed_records(former.values(), changed), sorted(aside, key=lambda error: _row_number(error.field))


def faults(kind: str, texts: Mapping[str, str], place: str = "") -> list[InputError]:
    """What keeps these texts from being a record of that kind: what must be said, days, choices."""
    found = []
    for field in REQUIRED[kind]:
        if not texts.get(field, "").strip():
            problem = said("This must not be empty.")
            found.append(InputError(place + field, "", problem, said("what a {kind} can't do without", kind=kind)))
    day = texts.get("date", "").strip()
    if day and "date" in RECORD_FIELDS[kind] and not _is_day(day):
        found.append(InputError(place + "date", day, said("This is no day."), said("a date such as 2026-05-01")))
    for field, choices in (("what", WHATS), ("of", ("ash", "soil"))):
        if field in RECORD_FIELDS[kind] and texts.get(field, "").strip() not in ("", *choices):
            found.append(
                InputError(place + field, texts[field], said("This is none of the choices."), ", ".join(choices))
            )
    return found


def _rows(text: str) -> tuple[list[tuple[int, list[str]]], list[str]]:
    """The rows with what they are numbered in a spreadsheet, without empty ones, and the header."""
    first = text.splitlines()[0] if text.strip() else ""
    mark = next((mark for mark in ",;\t" if "kind" in [name.strip(' "').lower() for name in first.split(mark)]), "")
    if not mark:
        raise _no_table(said("The first row has no column that is called kind."))
    before = csv.field_size_limit(LONGEST_FILE)
    try:
        rows = [[_as_text(cell) for cell in row] for row in csv.reader(io.StringIO(text, newline=""), delimiter=mark)]
    except csv.Error:
        raise _no_table(said("This is no table of comma-separated values.")) from None
    finally:
        csv.field_size_limit(before)
    if len(rows) > MOST_RECORDS:
        raise _no_table(said("This table has more than {most} rows.", most=MOST_RECORDS))
    numbered = [(number, row) for number, row in enumerate(rows[1:], 2) if any(cell.strip() for cell in row)]
    return numbered, rows[0]


def _columns(header: Sequence[str], aside: list[InputError]) -> list[str]:
    """The name of each column, empty for one that is left out."""
    names: list[str] = []
    for cell in header:
        name = "_".join(cell.strip().lower().split())
        if name and not _FIELD.fullmatch(name):
            aside.append(InputError("row 1", _snippet(cell), said("No field is called that."), ", ".join(_ALL_FIELDS)))
            name = ""
        elif name and name in names:
            aside.append(InputError("row 1", _snippet(cell), said("This column stands twice."), said("one of each")))
            name = ""
        names.append(name)
    return names


def _read_row(
    number: int, row: Sequence[str], names: Sequence[str], former: Mapping[str, Record], seen: dict[str, int]
) -> tuple[Record, dict[str, str]]:
    """The record of a row as the book has it (or new), and the texts that were edited in the table."""
    place = f"row {number}, "
    if any(cell.strip() for cell in row[len(names) :]):
        raise InputError(f"row {number}", _snippet(row[-1]), said("The row is longer than the first one."), "")
    cells = {name: cell for name, cell in zip(names, row, strict=False) if name}
    kind = cells.pop("kind", "").strip().lower()
    if kind not in RECORD_KINDS:
        raise _bad_kind(f"{place}kind", kind)
    identity, known = _as_typed(cells.pop("id", "").strip()), cells.pop("at", "").strip()
    if known and not _is_stamp(known):
        raise InputError(f"{place}at", known, said("This is no time in UTC."), "2026-05-01T09:00:00.000Z")
    if not identity:
        content = json.dumps([kind, sorted((name, cell) for name, cell in cells.items() if cell)], ensure_ascii=False)
        nth = seen[content] = seen.get(content, 0) + 1
        identity = "row-" + hashlib.sha256(f"{content} {nth}".encode()).hexdigest()[:24]
    elif identity in seen:
        raise InputError(f"{place}id", identity, said("This id stands in row {row} already.", row=seen[identity]), "")
    else:
        seen[identity] = number
    if not _ID.fullmatch(identity):
        raise _bad_id(f"{place}id", identity)
    record = former.get(identity) or new_record(identity, kind)
    if record.kind != kind:
        problem = said("In the book this id is another kind of record: {kind}.", kind=record.kind)
        raise InputError(f"{place}kind", kind, problem, record.kind)
    texts = {name: _as_typed(cell) for name, cell in cells.items()}
    if identity not in former:
        return record, {name: text for name, text in texts.items() if text}
    if not known:  # nobody can tell an emptied cell from one that was never filled
        return record, {name: text for name, text in texts.items() if text and text != record.text(name)}
    as_it_was = record_of(record.id, record.kind, (past for past in record.versions() if past.at <= known))
    return record, {name: text for name, text in texts.items() if text != as_it_was.text(name)}


def _written_row(
    number: int, record: Record, texts: dict[str, str], beds: Mapping[str, list[str]], at: str, by: str
) -> Record:
    if not texts and record.fields:
        return record
    if texts.get("bed") and "bed" in RECORD_FIELDS[record.kind]:
        named = beds.get(texts["bed"].strip().casefold(), [])
        if texts["bed"].strip() in beds.get("", ()):
            named = [texts["bed"].strip()]
        if len(named) != 1:
            problem = said("More than one bed is called that.") if named else said("There is no such bed in the book.")
            raise InputError(f"row {number}, bed", texts["bed"], problem, said("the id or the name of a bed"))
        texts = texts | {"bed": named[0]}
    for fault in faults(record.kind, record.texts() | texts, f"row {number}, "):
        raise fault
    try:
        return written(record, texts, later_stamp([record], at), by)
    except InputError as error:
        raise InputError(f"row {number}, {error.field}", error.given, error.problem, error.accepted) from None


def _beds(known: Iterable[Record], found: Iterable[tuple[int, Record, dict[str, str]]]) -> dict[str, list[str]]:
    """The ids of the beds of each name; under the empty name all ids."""
    names = {record.id: record.text("name") for record in known if record.kind == "bed" and not record.is_removed}
    for _, record, texts in found:
        if record.kind == "bed":
            names[record.id] = texts.get("name", record.text("name"))
    beds: dict[str, list[str]] = {"": sorted(names)}
    for identity, name in sorted(names.items()):
        if name.strip():
            beds.setdefault(name.strip().casefold(), []).append(identity)
    return beds


def _row_number(place: str) -> int:
    found = re.match(r"row ([0-9]+)", place)
    return int(found[1]) if found else 0


def _harmless(text: str) -> str:
    return "'" + text if text.lstrip(" ").startswith(_RISKY) else text


def _as_typed(cell: str) -> str:
    return cell[1:] if cell.startswith("'") and cell[1:].lstrip(" ").startswith(_RISKY) else cell


def _is_day(text: str) -> bool:
    try:
        return re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text) is not None and bool(date.fromisoformat(text))
    except ValueError:
        return False


def _no_table(problem: str) -> InputError:
    return InputError(
        "file", "", problem, said("a table saved by feedcalc, or one with the columns kind, bed, date ...")
    )


# -- reading, part by part ------------------------------------------------------------------------------------


def _read_record(row: object, place: str, aside: list[InputError]) -> Record:
    if not isinstance(row, dict):
        raise InputError(place, _snippet(row), said("This is no record."), said("an object with id, kind, fields"))
    identity, kind = row.get("id"), row.get("kind")
    if not isinstance(identity, str) or not _ID.fullmatch(identity):
        raise _bad_id(f"{place}.id", identity)
    if kind not in RECORD_KINDS:
        raise _bad_kind(f"{place}.kind", kind)
    fields, history = row.get("fields", {}), row.get("history", [])
    if not isinstance(fields, dict):
        raise InputError(f"{place}.fields", _snippet(fields), said("The fields are missing."), said("an object"))
    if not isinstance(history, list):
        aside.append(InputError(f"{place}.history", _snippet(history), said("This is no history."), said("a list")))
        history = []
    told = [(name, version, f"{place}.fields.{name[:60]}") for name, version in fields.items()]
    for number, past in enumerate(history):
        name = past.get("field") if isinstance(past, dict) else None
        told.append((name, past, f"{place}.history[{number}]"))
    versions = []
    for name, version, where in told:
        try:
            versions.append(_read_version(name, version, where))
        except InputError as error:
            aside.append(error)
    return record_of(identity, str(kind), versions)


def _read_version(name: object, version: object, place: str) -> Past:
    if not isinstance(name, str) or not _FIELD.fullmatch(name):
        raise InputError(place, _snippet(name), said("No field is called that."), said("lower-case letters, digits, _"))
    if not isinstance(version, dict):
        raise InputError(place, _snippet(version), said("This is no text with a time."), said("text, at, by"))
    text, at, by = version.get("text"), version.get("at"), version.get("by")
    if not isinstance(text, str):
        raise InputError(f"{place}.text", _snippet(text), said("This is not text."), said("text"))
    if len(text) > LONGEST_TEXT:
        problem = said("This text is longer than {longest} characters.", longest=LONGEST_TEXT)
        raise InputError(f"{place}.text", _snippet(text), problem, said("a shorter text"))
    if not isinstance(at, str) or not _is_stamp(at):
        raise InputError(f"{place}.at", _snippet(at), said("This is no time in UTC."), "2026-05-01T09:00:00.000Z")
    if not isinstance(by, str) or not _ID.fullmatch(by):
        raise _bad_id(f"{place}.by", by)
    return Past(name, at, by, _as_text(text))


def _as_text(text: str) -> str:
    """Text without halves of UTF-16 characters, which no file and no database could hold."""
    return text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")


def _is_stamp(text: str) -> bool:
    if not _STAMP.fullmatch(text):
        return False
    try:
        datetime.fromisoformat(text.replace("Z", "+00:00"))
    except ValueError:
        return False
    return True


class _Repeated(ValueError):
    pass


def _without_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        raise _Repeated(next(name for name in names if names.count(name) > 1)[:60])
    return found


def _snippet(value: object) -> str:
    """The start of what stood there, short enough to be shown; nothing of what is no text and no number."""
    return str(value)[:60] if isinstance(value, str | int | float) else ""


def _no_book(problem: str) -> InputError:
    return InputError("file", "", problem, said("a season book saved by feedcalc"))


def _bad_id(place: str, given: object) -> InputError:
    return InputError(
        place, _snippet(given), said("This can't be an id."), said("1 to 64 letters, digits, hyphens and underscores")
    )


def _bad_kind(place: str, given: object) -> InputError:
    return InputError(place, _snippet(given), said("There is no such kind of record."), ", ".join(RECORD_KINDS))
