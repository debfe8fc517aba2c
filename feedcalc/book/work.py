"""Work on a season book (``"ask": "book"``): write, remove, undo, merge, read and write files, reminders.

* The whole book comes in, the records that change go out; the caller stores them.
* What a grower types is refused if it cannot be counted, so that they notice at once. What comes in a file or from
  someone else's book is accepted as it is, because refusing would lose it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from feedcalc.book.batches import AnsweredBatches
from feedcalc.book.book_file import book_text, read_book, read_document
from feedcalc.book.book_table import book_csv, read_csv
from feedcalc.book.entries import EntryRecord, entry_records
from feedcalc.book.entry_amounts import customs_bear_on
from feedcalc.book.reader import Reader
from feedcalc.book.records import (
    REMOVED,
    REQUIRED,
    Record,
    changed_records,
    later_timestamp,
    merge,
    new_record,
    remove_record,
    undo_latest,
    write_fields,
)
from feedcalc.book.reminders import Reminder, calendar_text, reminders_of
from feedcalc.contract.request import Request
from feedcalc.frozen import frozen
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.languages import language
from feedcalc.words.messages import any_of, said, said_in


@frozen
class Work:
    """The result of work on a book: records to store, what could not be read, the text of a file, reminders."""

    changed: tuple[Record, ...] = ()
    set_aside: tuple[InputError, ...] = ()
    text: str | None = None
    reminders: tuple[Reminder, ...] = ()


def book_work(request: Request) -> Work:
    """Return the result of the work that a request's ``do`` names; raises `InputErrors`."""
    works: dict[str, Callable[[Request, list[Record]], Work]] = {
        "write": _write,
        "remove": _remove,
        "undo": _undo,
        "merge": _merge,
        "read file": _read_file,
        "write file": _write_file,
        "read csv": _read_csv,
        "write csv": _write_csv,
        "reminders": _reminders,
    }
    do = request.carried.get("do")
    if not isinstance(do, str) or do not in works:
        problem, accepted = said("There is no such work on a book."), said("one of {choices}", choices=any_of(works))
        raise _refused("do", do, problem, accepted)
    try:
        records, rejected = read_document(request.carried.get("book"))
        work = works[do](request, records)
    except InputError as error:
        raise InputErrors([error]) from None
    return replace(work, set_aside=(*rejected, *work.set_aside))


def _write(request: Request, records: list[Record]) -> Work:
    identity, at, by = (_text(request, name) for name in ("id", "at", "by"))
    given = request.carried.get("record")
    fields = given.get("fields") if isinstance(given, dict) else None
    if not isinstance(given, dict) or not isinstance(fields, dict):
        raise _refused("record", "", said("This is not a record."), said("an object with kind and fields"))
    if not all(isinstance(text, str) for text in fields.values()):
        raise _refused("record.fields", "", said("A field is not text."), said("text in every field"))
    before = next((record for record in records if record.id == identity), None)
    former = before or new_record(identity, str(given.get("kind")))
    record = write_fields(former, _with_customs(request, former, fields), _timestamp(before, at, by), by)
    if not record.is_removed and set(fields) - {REMOVED, "note"}:
        _refuse_unreadable(request, record, records)
    return Work(tuple(changed_records(records, [record])))


def _with_customs(request: Request, former: Record, fields: dict[str, str]) -> dict[str, str]:
    """Return the fields of an entry with the customs it is typed in, if a newly typed amount depends on them."""
    typed = [text for name, text in fields.items() if name in ("amount", "ash_amount") and text != former.text(name)]
    if former.kind != "entry" or not any(customs_bear_on(text, request.locale) for text in typed):
        return fields
    return {"customs": request.customs} | fields


def _refuse_unreadable(request: Request, record: Record, records: Sequence[Record]) -> None:
    missing = [
        InputError(name, "", said("This is still empty."), said("a text in this field"))
        for name in REQUIRED[record.kind]
        if not record.text(name).strip()
    ]
    if missing:
        raise InputErrors(missing)
    reader = Reader(AnsweredBatches("off"), request.locale, request.customs)
    today = request.moment.date() if request.moment else None
    faults = reader.faults_of(EntryRecord(record.id, record.kind, record.texts()), entry_records(records), today)
    if faults:
        raise InputErrors(list(faults))


def _remove(request: Request, records: list[Record]) -> Work:
    identity, at, by = (_text(request, name) for name in ("id", "at", "by"))
    before = next((record for record in records if record.id == identity), None)
    if before is None:
        raise _refused("id", identity, said("There is no such record in the book."), said("the id of a record"))
    return Work(tuple(changed_records(records, [remove_record(before, _timestamp(before, at, by), by)])))


def _undo(request: Request, records: list[Record]) -> Work:
    return Work(tuple(undo_latest(records, _text(request, "at"), _text(request, "by"))))


def _merge(request: Request, records: list[Record]) -> Work:
    theirs, rejected = read_document(request.carried.get("other"))
    return Work(tuple(changed_records(records, merge(records, theirs))), tuple(rejected))


def _read_file(request: Request, records: list[Record]) -> Work:
    theirs, rejected = read_book(_text(request, "text"))
    return Work(tuple(changed_records(records, merge(records, theirs))), tuple(rejected))


def _write_file(_: Request, records: list[Record]) -> Work:
    return Work(text=book_text(records))


def _read_csv(request: Request, records: list[Record]) -> Work:
    at, by = _text(request, "at"), _text(request, "by")
    changed, rejected = read_csv(_text(request, "text"), records, at, by)
    return Work(tuple(changed_records(records, changed)), tuple(rejected))


def _write_csv(_: Request, records: list[Record]) -> Work:
    return Work(text=book_csv(records))


def _reminders(request: Request, records: list[Record]) -> Work:
    """Return the reminders, and their file if the library that writes it is installed."""
    found = tuple(reminders_of(request, records))
    try:
        text = calendar_text(found, request.moment, language(request.language).speak) if request.moment else None
    except ImportError:
        text = None
    return Work(text=text, reminders=found)


def _timestamp(before: Record | None, at: str, by: str) -> str:
    """Return ``at``, or a later timestamp if a clock behind the record was ahead; raises `InputError`."""
    write_fields(new_record("a", "bed"), {"name": "a"}, at, by)  # refuses an invalid timestamp or writer
    return later_timestamp([before], at) if before else at


def _text(request: Request, name: str) -> str:
    given = request.carried.get(name)
    if not isinstance(given, str):
        raise _refused(name, "", said("This is not text."), said_in("what is accepted", "text"))
    return given


def _refused(field: str, given: object, problem: str, accepted: str) -> InputErrors:
    return InputErrors([InputError(field, given if isinstance(given, str) else "", problem, accepted)])
