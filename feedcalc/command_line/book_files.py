"""The verbs that move the season book between files: export, import, merge, a calendar of reminders, a check."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections import Counter
from pathlib import Path

import click

from feedcalc.book.book_file import book_document
from feedcalc.book.records import RECORD_KINDS, Record, merge
from feedcalc.book.reminders import batch_reminders, calendar_text, reminders_of
from feedcalc.command_line.files import read_text, write_file
from feedcalc.command_line.session import KIND_WORDS, BookSession, bed_names, record_line, records_from, require_ok
from feedcalc.command_line.store import LAYOUT, open_book
from feedcalc.contract.request import read_request
from feedcalc.engine import calculate
from feedcalc.words.errors import InputError
from feedcalc.words.messages import listed, said

_SQLITE = b"SQLite format 3\x00"


@click.command("export")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.pass_obj
def export_verb(session: BookSession, /, file: Path) -> None:
    """Write the book to FILE: .json keeps everything, .csv is a table of what is in force, .sqlite a copy."""
    ending = file.suffix.lower()
    if ending == ".sqlite":
        session.store.copy_to(file)
    elif ending in (".json", ".csv"):
        reply = session.work(session.store.records(), "write file" if ending == ".json" else "write csv")
        # With a mark of byte order spreadsheets read the table as UTF-8.
        write_file(file, reply["text"].encode("utf-8-sig" if ending == ".csv" else "utf-8"))
    else:
        raise InputError("file", file.name, said("The name must end in .json, .csv or .sqlite."), "book.json")
    click.echo(file)


@click.command("import")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--dry-run", is_flag=True, help="Only say what it would bring.")
@click.pass_obj
def import_verb(session: BookSession, /, file: Path, dry_run: bool) -> None:
    """Bring in FILE: a book (.json, .sqlite) or a table (.csv). Twice changes nothing; `undo` takes it back."""
    _import(session, file, dry_run)


@click.command("merge")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--dry-run", is_flag=True, help="Only say what it would bring.")
@click.pass_obj
def merge_verb(session: BookSession, /, file: Path, dry_run: bool) -> None:
    """Merge somebody else's book for the same garden: of each field the last writer's stands, the other is kept."""
    _import(session, file, dry_run)


@click.command("reminders")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), required=True, help="A name ending in .ics.")
@click.option(
    "--batch", "batches", multiple=True, type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="A batch that steeps now: a request as JSON. May stand several times.",
)  # fmt: skip
@click.pass_obj
def reminders_verb(session: BookSession, /, out: Path, batches: tuple[Path, ...]) -> None:
    """A file for your calendar: when liquor is clear or old, when to feed next, when to test the soil."""
    records = session.store.records()
    request = read_request(session.request(records, "book"))
    reminders = reminders_of(request, records)
    for batch in batches:
        reminders += batch_reminders(batch.stem, read_text(batch))
    # A batch that steeps may stand in the book already; a calendar may hold a uid once only.
    reminders = list({reminder.uid: reminder for reminder in reminders}.values())
    if request.moment is not None:
        write_file(out, calendar_text(reminders, request.moment, session.speak).encode("utf-8"))
    for reminder in reminders:
        session.print(listed([f"{reminder.start:%Y-%m-%d}", reminder.summary], "  "))
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
    session.print(listed([f"{sum(record.is_removed for record in records):5}", said("removed")], "  "))
    reply = require_ok(json.loads(calculate(session.request(records, "season", ranges="off"))))
    season = reply["values"]["season"]
    for aside in [*season["set_aside"], *(each for bed in season["beds"] for each in bed["set_aside"])]:
        session.print(
            said("Not counted: {id}: {field}: {problem}", **{k: aside[k] for k in ("id", "field", "problem")})
        )


def _import(session: BookSession, file: Path, dry_run: bool) -> None:
    records = session.store.records()
    with file.open("rb") as start:
        is_book = start.read(len(_SQLITE)) == _SQLITE
    if is_book:
        reply = session.work(records, "merge", other=book_document(_records_of_copy(file)))
    else:
        do = "read csv" if file.suffix.lower() == ".csv" else "read file"
        reply = session.work(records, do, text=read_text(file))
    changed = records_from(reply["changed"])
    known = {record.id for record in records}
    beds = bed_names(merge(records, changed))
    for record in changed:
        word = said("Changed") if record.id in known else said("New")
        session.print(listed([word, record_line(record, beds)], ": "))
    for aside in reply["set_aside"]:
        session.print(
            said("Set aside: {field}: {problem}", field=aside["field"], problem=aside["problem"]), to_stderr=True
        )
    if dry_run:
        session.print(said("Nothing was written."))
        return
    session.store.write(changed, session.timestamp, session.speak(said("bringing in {file}", file=file.name)))
    counts = {"new": sum(record.id not in known for record in changed), "aside": len(reply["set_aside"])}
    session.print(
        said("New: {new}. Changed: {changed}. Set aside: {aside}.", **counts, changed=len(changed) - counts["new"])
    )


def _records_of_copy(file: Path) -> list[Record]:
    """The records of somebody's book, read from a copy so that theirs stays as it is."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / file.name
        for ending in ("", "-wal"):
            if (part := file.with_name(file.name + ending)).exists():
                shutil.copyfile(part, copy.with_name(copy.name + ending))
        with open_book(copy) as theirs:
            return theirs.records()
