"""The verbs that move the season book between files: export, import, merge, a calendar of reminders, a check."""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

import click

from feedcalc.book.book_file import book_document
from feedcalc.book.records import RECORD_KINDS, Record, merge
from feedcalc.book.reminders import batch_reminders, calendar_text, reminders_of
from feedcalc.command_line.files import read_text, write_file
from feedcalc.command_line.session import (
    KIND_WORDS,
    BookSession,
    bed_names,
    record_line,
    records_from,
    require_ok,
    without_none,
)
from feedcalc.command_line.store import LAYOUT, open_book
from feedcalc.command_line.working import showing_work
from feedcalc.contract.request import read_request
from feedcalc.engine import calculate
from feedcalc.words.errors import InputError
from feedcalc.words.languages import date_words
from feedcalc.words.messages import Said, listed, said, said_in

# Of an import so many records are told one by one.
MOST_TOLD = 50
_SQLITE = b"SQLite format 3\x00"


@click.command("export")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.pass_obj
def export_verb(session: BookSession, /, file: Path) -> None:
    """Write the book to FILE: .json keeps everything, .csv is a table of what is in force, .sqlite a copy.

    '-' is standard output, as JSON.
    """
    ending = file.suffix.lower()
    if str(file) == "-":
        click.echo(session.work(session.store.records(), "write file")["text"], nl=False)
        return
    if ending == ".sqlite":
        session.store.copy_to(file)
    elif ending in (".json", ".csv"):
        with showing_work(session.speak(said_in("progress", "Writing {file} …", file=file.name))):
            reply = session.work(session.store.records(), "write file" if ending == ".json" else "write csv")
            # With a mark of byte order spreadsheets read the table as UTF-8.
            write_file(file, reply["text"].encode("utf-8-sig" if ending == ".csv" else "utf-8"))
    else:
        raise InputError("file", file.name, said("The name must end in .json, .csv or .sqlite."), "book.json")
    click.echo(file)


@click.command("import")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, allow_dash=True, path_type=Path))
@click.option("--dry-run", is_flag=True, help="Only say what it would bring.")
@click.pass_obj
def import_verb(session: BookSession, /, file: Path, dry_run: bool) -> None:
    """Bring in FILE: a book (.json, .sqlite) or a table (.csv). Twice changes nothing; `undo` takes it back."""
    _import(session, file, dry_run)


@click.command("merge")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, allow_dash=True, path_type=Path))
@click.option("--dry-run", is_flag=True, help="Only say what it would bring.")
@click.pass_obj
def merge_verb(session: BookSession, /, file: Path, dry_run: bool) -> None:
    """Merge somebody else's book for the same garden: of each field the last writer's stands, the other is kept."""
    _import(session, file, dry_run)


@click.command("reminders")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), required=True, help="A name ending in .ics.")
@click.option(
    "--batch", "batches", multiple=True,
    type=click.Path(exists=True, dir_okay=False, allow_dash=True, path_type=Path),
    help="A batch that steeps now: a request as JSON. Can be given more than once.",
)  # fmt: skip
@click.option("--ash", "amount", help="A winter's ash to share out: '20 L', '8 kg'. Adds when each bed gets its share.")
@click.option("--wood", help="Or the wood that left it: '2 cords', '5 m3', '800 kg'.")
@click.pass_obj
def reminders_verb(
    session: BookSession, /, out: Path, batches: tuple[Path, ...], amount: str | None, wood: str | None
) -> None:
    """A file for your calendar: when liquor is clear or old, when to feed next, when to test the soil."""
    records = session.store.records()
    ash = without_none({"amount": amount, "wood": wood})
    request = read_request(session.request(records, "book", ash=ash))
    reminders = reminders_of(request, records)
    for batch in batches:
        reminders += batch_reminders(batch.stem, read_text(batch))
    # A batch that steeps may stand in the book already; a calendar may hold a uid once only.
    reminders = list({reminder.uid: reminder for reminder in reminders}.values())
    is_piped = str(out) == "-"
    if not is_piped and out.suffix.lower() != ".ics":
        raise InputError("--out", out.name, said("The name must end in .ics."), "garden.ics")
    if request.moment is not None:
        text = calendar_text(reminders, request.moment, session.speak)
        if is_piped:
            click.echo(text, nl=False)
        else:
            write_file(out, text.encode("utf-8"))
    for reminder in reminders:
        is_overdue = f"{reminder.start:%Y-%m-%d}" < session.now[:10]
        line = listed([date_words(reminder.start), reminder.summary], "  ")
        session.print(
            said_in("in the book", "{reminder} (overdue)", reminder=line) if is_overdue else line, to_stderr=is_piped
        )
    if not reminders:
        session.print(said("There is nothing to remind you of now."), to_stderr=is_piped)
    if not is_piped:
        click.echo(out)


@click.command("check")
@click.pass_obj
def check_verb(session: BookSession) -> None:
    """Whether the book is whole, where it is, and what in it can't be counted."""
    records = session.store.records()
    session.print(said("{path}: whole (layout {layout}).", path=session.store.path, layout=LAYOUT))
    counts = Counter(record.kind for record in records if not record.is_removed)
    for kind in RECORD_KINDS:
        session.print(listed([f"{counts[kind]:5}", KIND_WORDS[kind]], "  "))
    session.print(
        listed([f"{sum(record.is_removed for record in records):5}", said_in("in the book", "removed")], "  ")
    )
    reply = require_ok(json.loads(calculate(session.request(records, "season", ranges="off"))))
    season = reply["values"]["season"]
    for aside in [*season["set_aside"], *(each for bed in season["beds"] for each in bed["set_aside"])]:
        session.print(
            said("Not counted: {id}: {field}: {problem}", **{k: aside[k] for k in ("id", "field", "problem")})
        )


def _import(session: BookSession, file: Path, dry_run: bool) -> None:
    with showing_work(session.speak(said_in("progress", "Reading {file} …", file=file.name))):
        records = session.store.records()
        reply = _read(session, file, records)
    changed = records_from(reply["changed"])
    known = {record.id for record in records}
    beds = bed_names(merge(records, changed))
    for record in changed[:MOST_TOLD]:
        session.print(listed([_what_happened(record, record.id in known), record_line(record, beds)], ": "))
    if len(changed) > MOST_TOLD:
        session.print(said("and {count} more", count=len(changed) - MOST_TOLD))
    rejected = reply["set_aside"]
    for aside in rejected[:MOST_TOLD]:
        session.print(
            said("Left out: {field}: {problem}", field=aside["field"], problem=aside["problem"]), to_stderr=True
        )
    if len(rejected) > MOST_TOLD:
        session.print(said("and {count} more", count=len(rejected) - MOST_TOLD), to_stderr=True)
    if dry_run:
        session.print(said("Nothing was written."))
        return
    with showing_work(session.speak(said_in("progress", "Writing {file} …", file=session.store.path.name))):
        session.store.write(changed, session.timestamp, session.speak(said("bringing in {file}", file=file.name)))
    new = sum(record.id not in known for record in changed)
    gone = sum(record.is_removed for record in changed)
    counts = {"new": new, "changed": len(changed) - new, "aside": len(rejected)}
    session.print(said("New: {new}. Changed: {changed}. Left out: {aside}.", **counts))
    if gone:
        session.print(said("Of these removed: {count}. They come back with: feedcalc book restore NAME", count=gone))
    known_gone = {record.id for record in records if record.is_removed} - {record.id for record in changed}
    if known_gone and not changed:
        session.print(
            said(
                "Already removed in this book, and left so: {count}. See: feedcalc book list --removed",
                count=len(known_gone),
            )
        )


def _read(session: BookSession, file: Path, records: list[Record]) -> dict[str, Any]:
    """Return the engine's work on a file that is brought in."""
    is_piped = str(file) == "-"
    typed = sys.stdin.buffer.read().decode("utf-8-sig", "replace") if is_piped else ""
    if not is_piped and _is_book(file):
        return session.work(records, "merge", other=book_document(_records_of_copy(file)))
    text = typed if is_piped else read_text(file)
    is_table = not text.lstrip().startswith("{") if is_piped else file.suffix.lower() == ".csv"
    return session.work(records, "read csv" if is_table else "read file", text=text)


def _what_happened(record: Record, is_known: bool) -> Said:
    if record.is_removed:
        return said_in("in the book", "Removed")
    return said_in("in the book", "Changed") if is_known else said_in("in the book", "New")


def _is_book(file: Path) -> bool:
    with file.open("rb") as start:
        return start.read(len(_SQLITE)) == _SQLITE


def _records_of_copy(file: Path) -> list[Record]:
    """The records of somebody's book, read from a copy so that theirs stays as it is."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / file.name
        for ending in ("", "-wal"):
            if (part := file.with_name(file.name + ending)).exists():
                shutil.copyfile(part, copy.with_name(copy.name + ending))
        with open_book(copy) as theirs:
            return theirs.records()
