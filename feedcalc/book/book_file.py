"""The file of a season book: one JSON object with a format name, a version and all records with their history.

* The same records give the same bytes, in whatever order they come.
* A record or version that cannot be read is reported with its place and the reason; the rest is read. A whole file is
  refused only if it is not a book, if a newer feedcalc wrote it, or if it is too large.
* A file of an older version is upgraded by ``UPGRADES``, one function from each version to the next.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from feedcalc.book.records import (
    ID,
    RECORD_KINDS,
    Record,
    excerpt,
    in_file_order,
    invalid_id,
    merge,
    read_version,
    record_from,
    unknown_kind,
)
from feedcalc.words.errors import InputError
from feedcalc.words.json_text import NestedTooDeep, RepeatedKey, parse_json
from feedcalc.words.messages import said, said_in

FORMAT = "feedcalc season book"
WHOLE_FILE = "feedcalc"  # the page's file of batches and book
LONGEST_FILE = 16_000_000
MOST_RECORDS = 100_000
Upgrade = Callable[[dict[str, Any]], dict[str, Any]]
UPGRADES: tuple[Upgrade, ...] = ()
VERSION = 1 + len(UPGRADES)


def book_document(records: Iterable[Record]) -> dict[str, Any]:
    """Return the JSON object of a book."""
    return {"format": FORMAT, "version": VERSION, "records": [record.as_dict() for record in in_file_order(records)]}


def book_text(records: Iterable[Record]) -> str:
    """Return the text of a book's file.

    >>> print(book_text([]), end="")
    {
     "format": "feedcalc season book",
     "version": 1,
     "records": []
    }
    """
    return json.dumps(book_document(records), ensure_ascii=False, indent=1) + "\n"


def read_book(text: str) -> tuple[list[Record], list[InputError]]:
    """Return the records of a file's text and what could not be read; raises `InputError` if it is not a book."""
    if len(text) > LONGEST_FILE:
        raise _not_a_book(said("This is longer than {longest} characters.", longest=LONGEST_FILE))
    try:
        document = parse_json(text, unique_keys=True)
    except RepeatedKey as error:
        raise _not_a_book(said("The key {key} is there twice in one place.", key=error.key[:60])) from None
    except NestedTooDeep as error:
        raise _not_a_book(error.problem) from None
    except json.JSONDecodeError as error:
        raise _not_a_book(
            said("This is not JSON (line {line}, column {column}).", line=error.lineno, column=error.colno)
        ) from None
    except ValueError:
        raise _not_a_book(said("This is not JSON.")) from None
    return read_document(document)


def read_document(document: object, upgrades: Sequence[Upgrade] = UPGRADES) -> tuple[list[Record], list[InputError]]:
    """Return the same as `read_book` from parsed JSON; ``upgrades`` bring an older version to the newest."""
    if isinstance(document, dict) and document.get("format") == WHOLE_FILE:
        document = document.get("book")
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise _not_a_book(said("This is not a season book of feedcalc."))
    version = document.get("version")
    newest = 1 + len(upgrades)
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        problem = said("The version of this book is not clear.")
        raise InputError("version", excerpt(version), problem, f"1 to {newest}")
    if version > newest:
        problem = said("This book was written by a newer feedcalc. Update this one first.")
        raise InputError("version", version, problem, f"1 to {newest}")
    for upgrade in upgrades[version - 1 :]:
        document = upgrade(document)
    rows = document.get("records")
    if not isinstance(rows, list):
        raise InputError(
            "records",
            excerpt(rows),
            said("The records of this book are missing."),
            said_in("what is accepted", "a list"),
        )
    if len(rows) > MOST_RECORDS:
        raise _not_a_book(said("This book has more than {most} records.", most=MOST_RECORDS))
    rejected: list[InputError] = []
    records = []
    for number, row in enumerate(rows):
        try:
            records.append(_read_record(row, f"records[{number}]", rejected))
        except InputError as error:
            rejected.append(error)
    return merge(records, []), rejected


def _read_record(row: object, place: str, rejected: list[InputError]) -> Record:
    if not isinstance(row, dict):
        raise InputError(place, excerpt(row), said("This is not a record."), said("an object with id, kind, fields"))
    identity, kind = row.get("id"), row.get("kind")
    if not isinstance(identity, str) or not ID.fullmatch(identity):
        raise invalid_id(f"{place}.id", identity)
    if kind not in RECORD_KINDS:
        raise unknown_kind(f"{place}.kind", kind)
    fields, history = row.get("fields", {}), row.get("history", [])
    if not isinstance(fields, dict):
        raise InputError(
            f"{place}.fields",
            excerpt(fields),
            said("The fields are missing."),
            said_in("what is accepted", "an object"),
        )
    if not isinstance(history, list):
        rejected.append(
            InputError(
                f"{place}.history",
                excerpt(history),
                said("This is not a history."),
                said_in("what is accepted", "a list"),
            )
        )
        history = []
    found = [(name, version, f"{place}.fields.{name[:60]}") for name, version in fields.items()]
    for number, version in enumerate(history):
        name = version.get("field") if isinstance(version, dict) else None
        found.append((name, version, f"{place}.history[{number}]"))
    versions = []
    for name, version, where in found:
        try:
            versions.append(read_version(name, version, where))
        except InputError as error:
            rejected.append(error)
    return record_from(identity, str(kind), versions)


def _not_a_book(problem: str) -> InputError:
    return InputError("file", "", problem, said("a season book saved by feedcalc"))
