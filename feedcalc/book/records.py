"""The records of a season book: what was written in each field, when and by whom, and how two books merge.

* A record is the set of all versions ever written in its fields. Each field shows the version with the greatest
  ``(at, by, text)``; the others are its history. Merging is the union of these sets (a grow-only set with
  last-writer-wins fields), so it is commutative, associative and idempotent, and nothing that was written is lost.
* Nothing is deleted: a removed record has ``removed`` = ``yes``, and undoing writes the former text again.
* A text is what a person typed, with its unit. It is not read as a quantity here.
* Timestamps (ISO 8601, UTC, milliseconds), writers and ids are arguments; no clock or random number is used.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from feedcalc.frozen import frozen
from feedcalc.garden.metals import METALS
from feedcalc.words.errors import InputError
from feedcalc.words.messages import any_of, said, said_in

RECORD_KINDS = ("bed", "soil test", "entry", "ash", "metals")
ENTRY_KINDS = ("liquid feed", "dry ash", "sludge", "compost", "lime", "other")
LIQUID, DRY, SLUDGE, COMPOST, LIME, OTHER = ENTRY_KINDS
# The fields of each kind in the order of a table's columns. A record from a newer feedcalc may have others.
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
LONGEST_TEXT = 200_000

ID = re.compile(r"[A-Za-z0-9_-]{1,64}")
FIELD_NAME = re.compile(r"[a-z][a-z0-9_]{0,39}")
_TIMESTAMP = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z")


@dataclass(frozen=True, slots=True, order=True)
class Version:
    """A text with the timestamp of its writing and the id of the device that wrote it; the greatest is current."""

    at: str
    by: str
    text: str


@dataclass(frozen=True, slots=True, order=True)
class FieldVersion:
    """A version with the name of its field."""

    field: str
    at: str
    by: str
    text: str

    @property
    def version(self) -> Version:
        """The version without the name of its field."""
        return Version(self.at, self.by, self.text)


@frozen
class Record:
    """A bed, soil test, entry, ash or metals: the current version of each field, and all earlier ones, sorted."""

    id: str
    kind: str
    fields: Mapping[str, Version]
    history: tuple[FieldVersion, ...] = ()

    def text(self, field: str) -> str:
        """Return the current text of a field, empty if there is none."""
        version = self.fields.get(field)
        return version.text if version else ""

    def texts(self) -> dict[str, str]:
        """Return the current texts by field."""
        return {field: version.text for field, version in self.fields.items()}

    @property
    def is_removed(self) -> bool:
        """Whether the record was removed. It stays in the book and can be restored."""
        return self.text(REMOVED) == "yes"

    def versions(self) -> frozenset[FieldVersion]:
        """Return everything ever written in the record."""
        current = (FieldVersion(name, v.at, v.by, v.text) for name, v in self.fields.items())
        return frozenset((*current, *self.history))

    def as_dict(self) -> dict[str, Any]:
        """Return the record's JSON object in the file, every list in its fixed order."""
        return {
            "id": self.id,
            "kind": self.kind,
            "fields": {
                name: {"text": version.text, "at": version.at, "by": version.by}
                for name, version in sorted(self.fields.items())
            },
            "history": [{"field": v.field, "text": v.text, "at": v.at, "by": v.by} for v in self.history],
        }


def record_from(identity: str, kind: str, versions: Iterable[FieldVersion]) -> Record:
    """Return the record with these versions, given in any order."""
    fields: dict[str, Version] = {}
    ordered = sorted(set(versions))
    for each in ordered:
        fields[each.field] = max(each.version, fields.get(each.field, each.version))
    history = tuple(each for each in ordered if fields[each.field] != each.version)
    return Record(identity, kind, fields, history)


# -- writing --------------------------------------------------------------------------------------------------


def new_record(identity: str, kind: str) -> Record:
    """Return a record without any field; raises `InputError` for an invalid id or kind."""
    if not ID.fullmatch(identity):
        raise invalid_id("id", identity)
    if kind not in RECORD_KINDS:
        raise unknown_kind("kind", kind)
    return Record(identity, kind, {})


def write_fields(record: Record, fields: Mapping[str, str], at: str, by: str) -> Record:
    """Return the record with texts written in its fields at ``at`` by ``by``; the former texts become history.

    A text equal to the current one adds no version, so writing twice gives the same record. A version older than the
    current one becomes history; `later_timestamp` avoids this. Raises `InputError` for what a file could not hold.

    >>> bed = write_fields(new_record("a", "bed"), {"area": "6 m2"}, "2026-05-01T09:00:00.000Z", "phone")
    >>> bed = write_fields(bed, {"area": "8 m2"}, "2026-05-02T09:00:00.000Z", "phone")
    >>> bed.text("area"), bed.history[0].text
    ('8 m2', '6 m2')
    """
    versions = set(record.versions())
    for field, text in fields.items():
        version = read_version(field, {"text": text, "at": at, "by": by}, field)
        if record.text(field) != version.text or (field not in record.fields and version.text):
            versions.add(version)
    return record_from(record.id, record.kind, versions)


def remove_record(record: Record, at: str, by: str) -> Record:
    """Return the record marked as removed; writing an empty ``removed`` restores it."""
    return write_fields(record, {REMOVED: "yes"}, at, by)


def undo_latest(records: Iterable[Record], at: str, by: str) -> list[Record]:
    """Return the records that change if the latest write of this writer is undone; none if there is nothing to undo.

    A record created by that write is removed; a field gets its former text. Both are new versions at ``at``. What
    somebody else wrote over it since stays. Undoing twice restores what was undone.
    """
    records = list(records)
    own = [version.at for record in records for version in record.fields.values() if version.by == by]
    if not own:
        return []
    latest = max(own)
    changed = []
    for record in records:
        written = [name for name, version in record.fields.items() if (version.at, version.by) == (latest, by)]
        if written:
            before = record_from(record.id, record.kind, (each for each in record.versions() if each.at < latest))
            texts = former_texts(before if before.fields else None, written)
            changed.append(write_fields(record, texts, later_timestamp([record], at), by))
    return [record for record in changed if record not in records]


def former_texts(before: Record | None, fields: Iterable[str]) -> dict[str, str]:
    """Return the texts that restore these fields; without a record before, the one that removes the record."""
    if before is None:
        return {REMOVED: "yes"}
    return {field: before.text(field) for field in sorted(fields)}


def undoing_texts(before: Iterable[Record], after: Iterable[Record]) -> dict[str, dict[str, str]]:
    """Return, by id, the texts that restore each changed record to what it was ``before``."""
    former = {record.id: record for record in before}
    texts = {}
    for record in changed_records(former.values(), after):
        earlier = former.get(record.id)
        changed = [name for name in record.fields if earlier is None or record.text(name) != earlier.text(name)]
        if changed:
            texts[record.id] = former_texts(earlier, changed)
    return texts


def later_timestamp(records: Iterable[Record], at: str) -> str:
    """Return ``at``, or one millisecond after the latest version of the records if a clock was ahead.

    >>> ahead = write_fields(new_record("a", "bed"), {"name": "South"}, "2030-01-01T00:00:00.000Z", "phone")
    >>> later_timestamp([ahead], "2026-05-01T09:00:00.000Z")
    '2030-01-01T00:00:00.001Z'
    """
    latest = max((version.at for record in records for version in record.versions()), default="")
    if at > latest:
        return at
    try:
        return timestamp_of(datetime.fromisoformat(latest.replace("Z", "+00:00")) + timedelta(milliseconds=1))
    except OverflowError:
        return latest


def timestamp_of(moment: datetime) -> str:
    """Return the timestamp of a moment; one without a time zone counts as UTC.

    >>> timestamp_of(datetime(2026, 5, 1, 9))
    '2026-05-01T09:00:00.000Z'
    """
    moment = moment.astimezone(UTC) if moment.tzinfo else moment.replace(tzinfo=UTC)
    return f"{moment.strftime('%Y').zfill(4)}-{moment:%m-%dT%H:%M:%S}.{moment.microsecond // 1000:03d}Z"


# -- merging --------------------------------------------------------------------------------------------------


def merge(mine: Iterable[Record], theirs: Iterable[Record]) -> list[Record]:
    """Return the union of two books: every record of either, each with the versions of both.

    Commutative, associative and idempotent. If one id has two kinds, the first in the alphabet stays.
    """
    kinds: dict[str, str] = {}
    versions: dict[str, frozenset[FieldVersion]] = {}
    unchanged: dict[str, Record] = {}
    for record in (*mine, *theirs):
        if record.id not in kinds:
            unchanged[record.id] = record
        elif unchanged.get(record.id) != record:
            unchanged.pop(record.id, None)
        kinds[record.id] = min(record.kind, kinds.get(record.id, record.kind))
        versions[record.id] = versions.get(record.id, frozenset()) | record.versions()
    return in_file_order(unchanged.get(id_) or record_from(id_, kinds[id_], versions[id_]) for id_ in kinds)


def changed_records(before: Iterable[Record], after: Iterable[Record]) -> list[Record]:
    """Return the records of ``after`` that are new or differ, in the order of the file."""
    former = {record.id: record for record in before}
    return in_file_order(record for record in after if former.get(record.id) != record)


def in_file_order(records: Iterable[Record]) -> list[Record]:
    """Return the records sorted by kind, then by id."""
    order = {kind: index for index, kind in enumerate(RECORD_KINDS)}
    return sorted(records, key=lambda record: (order.get(record.kind, len(order)), record.id))


# -- validation -----------------------------------------------------------------------------------------------


def read_version(name: object, version: object, place: str) -> FieldVersion:
    """Return the version of a field from JSON; raises `InputError` at ``place`` if any part of it is invalid."""
    if not isinstance(name, str) or not FIELD_NAME.fullmatch(name):
        raise InputError(
            place, excerpt(name), said("There is no field of this name."), said("lower-case letters, digits, _")
        )
    if not isinstance(version, dict):
        raise InputError(place, excerpt(version), said("This is not a text with a time."), said("text, at, by"))
    text, at, by = version.get("text"), version.get("at"), version.get("by")
    if not isinstance(text, str):
        raise InputError(f"{place}.text", excerpt(text), said("This is not text."), said_in("what is accepted", "text"))
    if len(text) > LONGEST_TEXT:
        problem = said("This text is longer than {longest} characters.", longest=LONGEST_TEXT)
        raise InputError(f"{place}.text", excerpt(text), problem, said("a shorter text"))
    if not isinstance(at, str) or not is_timestamp(at):
        raise invalid_timestamp(f"{place}.at", at)
    if not isinstance(by, str) or not ID.fullmatch(by):
        raise invalid_id(f"{place}.by", by)
    return FieldVersion(name, at, by, replace_surrogates(text))


def replace_surrogates(text: str) -> str:
    """Return the text with lone UTF-16 surrogates replaced, which no file or database could hold."""
    return text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")


def is_timestamp(text: str) -> bool:
    """Return whether a text is a timestamp of the file."""
    if not _TIMESTAMP.fullmatch(text):
        return False
    try:
        datetime.fromisoformat(text.replace("Z", "+00:00"))
    except ValueError:
        return False
    return True


def excerpt(value: object) -> str:
    """Return the first 60 characters of a text or number for a message, empty for anything else."""
    return str(value)[:60] if isinstance(value, str | int | float) else ""


def invalid_timestamp(place: str, given: object) -> InputError:
    """Return the refusal of a timestamp."""
    return InputError(place, excerpt(given), said("This is not a time in UTC."), "2026-05-01T09:00:00.000Z")


def invalid_id(place: str, given: object) -> InputError:
    """Return the refusal of an id."""
    return InputError(
        place, excerpt(given), said("This can't be an id."), said("1 to 64 letters, digits and the marks - and _")
    )


def unknown_kind(place: str, given: object) -> InputError:
    """Return the refusal of a kind of record."""
    return InputError(place, excerpt(given), said("There is no such kind of record."), any_of(RECORD_KINDS))
