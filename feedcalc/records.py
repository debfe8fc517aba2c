"""The season book's records: what was written when and by whom, how books merge, and the file that holds them.

Rules of this room:

* A record is the set of everything ever written in its fields. In force in a field is the version with the greatest
  ``(at, by, text)``; every other one is history. Merging is the union of those sets, which is why it doesn't matter
  who merges with whom, in which order or how often, and why nothing that was written is ever lost.
* Nothing is dropped: removing writes ``removed`` = ``yes``, undoing writes the former text anew.
* A text is what a person typed, units and all. Nothing here reads it as a quantity.
* No clock and no chance: stamps (ISO 8601, UTC, to the millisecond), writers and ids are handed in.
* The same book gives the same bytes, whatever order its records came in.
* What can't be read of a file is set aside with its place and the reason; the rest is read. Refused whole is only what
  is no book, what a newer feedcalc wrote, and what is too large.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from feedcalc.errors import InputError
from feedcalc.wording import said

FORMAT = "feedcalc season book"
KINDS = ("bed", "soil test", "entry", "ash", "metals")
WHATS = ("liquid feed", "dry ash", "sludge", "compost", "lime", "other")
METALS = ("cadmium", "lead", "zinc", "copper", "nickel", "chromium", "arsenic", "mercury")
# The fields of each kind in the order a table shows them; a record may hold others, from a newer feedcalc.
FIELDS: Mapping[str, tuple[str, ...]] = {
    "bed": ("name", "area", "texture", "place", "plant", "note"),
    "soil test": ("bed", "date", "ph", "tested_with", "note"),
    "entry": (
        *("bed", "date", "what", "amount", "ash", "ash_amount", "lime", "batch", "dilution", "where"),
        *("potassium", "calcium", "magnesium", "lime_value", "request", "note"),
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
    if kind not in KINDS:
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
    place = {kind: index for index, kind in enumerate(KINDS)}
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


def _read_record(row: object, place: str, aside: list[InputError]) -> Record:
    if not isinstance(row, dict):
        raise InputError(place, _snippet(row), said("This is no record."), said("an object with id, kind, fields"))
    identity, kind = row.get("id"), row.get("kind")
    if not isinstance(identity, str) or not _ID.fullmatch(identity):
        raise _bad_id(f"{place}.id", identity)
    if kind not in KINDS:
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
    # Half a character of UTF-16 is no text that a file or a database could hold.
    return Past(name, at, by, text.encode("utf-16", "surrogatepass").decode("utf-16", "replace"))


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
    return InputError(place, _snippet(given), said("There is no such kind of record."), ", ".join(KINDS))
