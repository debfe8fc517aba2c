"""The verbs of the season book: what each bed had, kept in one file on this machine.

Rules of this room: as in `command_line`. Words, figures and readings come from the engine (``ask``: ``season`` and
``book``), records from the book's file; here a person's options become a request, and what changed is stored. Nothing
is asked back: what is missing is refused with what would be taken. The clock is read here and handed on.
"""

from __future__ import annotations

import json
import os
import secrets
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Any

import click

from feedcalc.book.book_file import book_document, read_document
from feedcalc.book.records import ENTRY_KINDS, RECORD_KINDS, Record, merge, timestamp_of
from feedcalc.book.reminders import batch_reminders, calendar_text, reminders_of
from feedcalc.command_line.store import LAYOUT, BookStore, book_path, open_book
from feedcalc.contract.request import CUSTOMS, LOCALES, read_request
from feedcalc.engine import calculate, calculate_markdown
from feedcalc.garden.metals import METALS
from feedcalc.words.errors import InputError, InputErrors, refusal_words
from feedcalc.words.languages import LANGUAGES, MACHINE_WORDS, language
from feedcalc.words.messages import Said, listed, said

EPILOG = """\b
Examples:
  feedcalc book bed "South wall" --area "6 m2" --texture loam --plant tomato
  feedcalc book soil-test "South wall" --date 2026-03-02 --ph 6.2 --tested-with kit
  feedcalc book add "South wall" "dry ash" "1 cup" --what-if
  feedcalc book add "South wall" "liquid feed" "9 L" --batch batch.json
  feedcalc book show "South wall"
  feedcalc book export book.csv

The book is one file in your folder for data; --book FILE or FEEDCALC_BOOK names another."""
_KINDS = {
    "bed": said("bed"),
    "soil test": said("soil test"),
    "entry": said("entry"),
    "ash": said("ash"),
    "metals": said("metals"),
}
_SQLITE = b"SQLite format 3\x00"


class Desk:
    """A book, opened once it is needed, its owner's language and way of writing numbers; ``now`` is the day and time of
    the shed.
    """

    def __init__(self, context: click.Context, place: Path, customs: Mapping[str, str], now: str) -> None:
        self._context, self._place = context, place
        self.customs, self.now = customs, now

    @cached_property
    def store(self) -> BookStore:
        """The book's file; raises `InputError`."""
        store = open_book(self._place)
        self._context.call_on_close(store.close)
        return store

    def speak(self, words: str) -> str:
        """Words in the owner's language."""
        return language(self.customs.get("language", "en")).speak(words)

    def tell(self, words: str, *, is_trouble: bool = False) -> None:
        """A line for the owner, among what went wrong where it is trouble."""
        click.echo(self.speak(words), err=is_trouble)

    @property
    def at(self) -> str:
        """The stamp of what is written now."""
        return timestamp_of(datetime.now(UTC))

    def request(self, records: Iterable[Record], ask: str, **asked: Any) -> str:
        """A request about these records, as JSON."""
        document = {"schema": 1, "ask": ask, "now": self.now, "book": book_document(records), **self.customs, **asked}
        return json.dumps(document, ensure_ascii=False)

    def work(self, records: Iterable[Record], do: str, **asked: Any) -> dict[str, Any]:
        """What the engine's work on the book gives (``values.book``); raises `InputErrors`."""
        asked = {"at": self.at, "by": self.store.device, **asked}
        reply = _answered(json.loads(calculate(self.request(records, "book", do=do, **asked))))
        found: dict[str, Any] = reply["values"]["book"]
        return found

    def write(self, kind: str, identity: str, fields: Mapping[str, str], what: str) -> list[Record]:
        """Write fields of a record, as the engine takes them; returns what changed."""
        reply = self.work(self.store.records(), "write", id=identity, record={"kind": kind, "fields": dict(fields)})
        return self.store.write(_records(reply["changed"]), self.at, self.speak(what))


class BookGroup(click.Group):
    """A group whose refusals are told field by field, as everywhere, with exit code 1."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run a verb; a refusal of engine or file ends it in words."""
        try:
            return super().invoke(ctx)
        except InputErrors as errors:
            _refuse(errors.errors, ctx.params.get("language"))
        except InputError as error:
            _refuse([error], ctx.params.get("language"))


@click.group("book", cls=BookGroup, epilog=EPILOG)
@click.option("--book", "place", type=click.Path(path_type=str), help="The file of the book.")
@click.option("--language", type=click.Choice(list(LANGUAGES)), help="Words of what is shown.")
@click.option("--locale", type=click.Choice(LOCALES), help="How numbers are typed and written.")
@click.option("--customs", type=click.Choice(CUSTOMS), help="Whose cups and gallons.")
@click.option("--now", help="What counts as now, to look ahead or back: 2026-05-01T09:00.")
@click.pass_context
def book_verb(context: click.Context, /, place: str | None, now: str | None, **customs: str | None) -> None:
    """The season book: what each bed had, what it may still get, and when to test again.

    Nothing that was written is ever lost: changes keep what stood there before, and what is removed can come back.
    """
    context.obj = Desk(
        context, book_path(place, os.environ), _given(customs), now or f"{datetime.now():%Y-%m-%dT%H:%M}"
    )


def _fields(*names: tuple[str, str]) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Options of these names, each a field of the record."""

    def with_options(verb: Callable[..., None]) -> Callable[..., None]:
        for name, words in reversed(names):
            verb = click.option(f"--{name.replace('_', '-')}", name, help=words)(verb)
        return verb

    return with_options


@book_verb.command("bed")
@click.argument("name")
@_fields(
    ("area", "Its area: '6 m2', '60 ft2'. Without it nothing can be added up."),
    ("texture", "sand, loam, clay or peat."),
    ("place", "open ground, raised bed, pot, plug tray, near pond or drain."),
    ("plant", "What grows there."),
    ("note", "Anything else."),
)
@click.option("--rename", help="A new name for the bed.")
@click.pass_obj
def bed_verb(desk: Desk, /, name: str, rename: str | None, **given: str | None) -> None:
    """Write down a bed, or change the one called NAME."""
    known = _named(desk.store.records(), "bed", name)
    fields = _given(given) | {"name": rename or (known.text("name") if known else name)}
    _told(desk, desk.write("bed", known.id if known else _new_id(), fields, said("bed {name}", name=name)))


@book_verb.command("soil-test")
@click.argument("bed")
@_fields(
    ("date", "When: 2026-03-02. Today where left out."),
    ("ph", "What was read: 6.2."),
    ("tested_with", "laboratory, meter, kit or strip."),
    ("note", "Anything else."),
)
@click.pass_obj
def soil_test_verb(desk: Desk, /, bed: str, **given: str | None) -> None:
    """Write down a soil test of BED."""
    fields = {"bed": _bed(desk.store.records(), bed).id, "date": desk.now[:10]} | _given(given)
    _told(desk, desk.write("soil test", _new_id(), fields, said("soil test of {bed}", bed=bed)))


@book_verb.command("add")
@click.argument("bed")
@click.argument("what", type=click.Choice(ENTRY_KINDS))
@click.argument("amount")
@click.option("--what-if", "only_look", is_flag=True, help="Show what it would come to, and write nothing.")
@click.option(
    "--batch",
    "batch_file",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="The batch: a request as JSON.",
)
@_fields(
    ("date", "When: 2026-05-01. Today where left out."),
    ("dilution", "Liquor to water: '1:10'. Left out: the batch's own."),
    ("ash", "Name of one of your ashes. Left out: an ash like any other."),
    ("ash_amount", "Ash layered into compost: '2 cups'."),
    ("lime", "Which lime, where it is lime."),
    ("where", "Which part of the bed: '2 m2', '50 %', 'north half'."),
    ("potassium", "Own figure, to the kilogram or litre: '20 g/kg'."),
    ("calcium", "Own figure."),
    ("magnesium", "Own figure."),
    ("lime_value", "Own figure, as calcium carbonate: '900 g/kg'."),
    ("note", "Anything else."),
)
@click.pass_obj
def add_verb(
    desk: Desk, /, bed: str, what: str, amount: str, only_look: bool, batch_file: Path | None, **given: str | None
) -> None:
    """Write down what BED got: WHAT, and the AMOUNT ('9 L', '1 cup', '200 g').

    \b
    WHAT is one of: liquid feed, dry ash, sludge, compost, lime, other.
    """
    records = desk.store.records()
    bed_record = _bed(records, bed)
    fields = {"bed": bed_record.id, "date": desk.now[:10], "what": what, "amount": amount} | _given(given)
    if fields.get("ash"):
        ash = _named(records, "ash", fields["ash"])
        if ash is None:
            raise InputError("ash", fields["ash"], said("There is no such ash in the book."), _names(records, "ash"))
        fields["ash"] = ash.id
    if batch_file:
        fields |= {"request": _text_of(batch_file), "batch": fields.get("batch") or batch_file.stem}
    look = {"bed": bed_record.id, "what_if": fields}
    reply, words = calculate_markdown(
        desk.request(records, "season", ranges="on" if only_look else "off", **look), "season"
    )
    _answered(reply)
    for echo in reply.get("read_as", {}).values():
        desk.tell(said("read as {reading}", reading=echo))
    if only_look:
        click.echo(words, nl=False)
        return
    sentence = said("{amount} of {what} on {bed}", amount=amount, what=MACHINE_WORDS[what], bed=bed_record.text("name"))
    _told(desk, desk.write("entry", _new_id(), fields, sentence))
    told = reply["values"]["season"]["what_if"]
    desk.tell(said("Verdict: {verdict}.", verdict=MACHINE_WORDS[told["verdict"]]))
    for reason in told["reasons"]:
        if reason["towards"] != "go":
            click.echo(f"- {reason['text']}")


@book_verb.command("ash")
@click.argument("name")
@click.option(
    "--evidence", type=click.Path(exists=True, dir_okay=False, path_type=Path), required=True,
    help="What is known of it: a request as JSON, with its ash and readings.",
)  # fmt: skip
@_fields(("date", "When it was burnt: 2026-03-02. Today where left out."), ("note", "Anything else."))
@click.pass_obj
def ash_verb(desk: Desk, /, name: str, evidence: Path, **given: str | None) -> None:
    """Write down an ash of your own under NAME, for `add --ash NAME`."""
    known = _named(desk.store.records(), "ash", name)
    fields = {"name": name, "date": desk.now[:10], "evidence": _text_of(evidence)} | _given(given)
    _told(desk, desk.write("ash", known.id if known else _new_id(), fields, said("ash {name}", name=name)))


@book_verb.command("metals")
@click.argument("name")
@_fields(
    ("date", "When: 2026-03-02. Today where left out."),
    ("of", "ash or soil: what was analysed."),
    ("ash", "Name of the ash."),
    ("bed", "Name of the bed."),
    *((metal, "mg in a kilogram, dry: '12 mg/kg'.") for metal in METALS),
    ("country", "Whose limits: EU, DE, GB ..."),
    ("note", "Anything else."),
)
@click.pass_obj
def metals_verb(desk: Desk, /, name: str, **given: str | None) -> None:
    """Write down a laboratory's metals of an ash or a soil, under NAME."""
    records = desk.store.records()
    known = _named(records, "metals", name)
    fields = {"name": name, "date": desk.now[:10], "of": "ash"} | _given(given)
    for kind in ("ash", "bed"):
        if fields.get(kind) and (meant := _named(records, kind, fields[kind])):
            fields[kind] = meant.id
    _told(desk, desk.write("metals", known.id if known else _new_id(), fields, said("metals of {name}", name=name)))


@book_verb.command("show")
@click.argument("bed", required=False)
@click.option("--country", help="Whose limits of metals: EU, DE, GB ...")
@click.option("--json", "as_json", is_flag=True, help="Write the whole reply as JSON.")
@click.pass_obj
def show_verb(desk: Desk, /, bed: str | None, country: str | None, as_json: bool) -> None:
    """What the beds had, beside what they may have; of one BED or of all."""
    records = desk.store.records()
    asked = {"bed": _bed(records, bed).id} if bed else {}
    request = desk.request(records, "season", **asked, **({"country": country} if country else {}))
    if as_json:
        text = calculate(request)
        _answered(json.loads(text))
        click.echo(text)
        return
    reply, words = calculate_markdown(request, "season")
    _answered(reply)
    if words.strip():
        click.echo(words, nl=False)
    else:
        desk.tell(said("Nothing is written yet. Begin with: feedcalc book bed NAME --area '6 m2'"))


@book_verb.command("list")
@click.option("--removed", "gone", is_flag=True, help="What was removed, instead.")
@click.pass_obj
def list_verb(desk: Desk, /, gone: bool) -> None:
    """Everything written, a line each, with the ids that remove and restore take."""
    records = desk.store.records()
    for record in records:
        if record.is_removed == gone:
            desk.tell(listed([record.id, _line(record, records)], "  "))


@book_verb.command("remove")
@click.argument("record")
@click.pass_obj
def remove_verb(desk: Desk, /, record: str) -> None:
    """Take out RECORD (an id from `list`, or a bed's name). It stays in the file and can be put back."""
    records = desk.store.records()
    meant = _meant(records, record)
    reply = desk.work(records, "remove", id=meant.id)
    line = _line(meant, records)
    desk.store.write(_records(reply["changed"]), desk.at, desk.speak(said("removing {record}", record=line)))
    desk.tell(said("Removed: {record}. It comes back with: feedcalc book restore {id}", record=line, id=meant.id))


@book_verb.command("restore")
@click.argument("record")
@click.pass_obj
def restore_verb(desk: Desk, /, record: str) -> None:
    """Put back RECORD, which was removed (an id from `list --removed`)."""
    records = desk.store.records()
    meant = _meant(records, record)
    desk.write(meant.kind, meant.id, {"removed": ""}, said("putting back {record}", record=_line(meant, records)))
    desk.tell(said("Put back: {record}.", record=_line(meant, records)))


@book_verb.command("undo")
@click.pass_obj
def undo_verb(desk: Desk) -> None:
    """Take back the latest thing done in this book; again for the one before."""
    done = desk.store.take_back(desk.at)
    if done is None:
        raise InputError("undo", "", said("There is nothing to take back."), said("something written in this book"))
    desk.tell(said("Undone: {what}.", what=done[0]))


@book_verb.command("export")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.pass_obj
def export_verb(desk: Desk, /, file: Path) -> None:
    """Write the book to FILE: .json keeps everything, .csv is a table of what is in force, .sqlite a copy."""
    ending = file.suffix.lower()
    if ending == ".sqlite":
        desk.store.copy_to(file)
    elif ending in (".json", ".csv"):
        reply = desk.work(desk.store.records(), "write file" if ending == ".json" else "write csv")
        # With a mark of byte order spreadsheets read the table as UTF-8.
        _write(file, reply["text"].encode("utf-8-sig" if ending == ".csv" else "utf-8"))
    else:
        raise InputError("file", file.name, said("The name must end in .json, .csv or .sqlite."), "book.json")
    click.echo(file)


@book_verb.command("import")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--dry-run", is_flag=True, help="Only say what it would bring.")
@click.pass_obj
def import_verb(desk: Desk, /, file: Path, dry_run: bool) -> None:
    """Bring in FILE: a book (.json, .sqlite) or a table (.csv). Twice changes nothing; `undo` takes it back."""
    _take_in(desk, file, dry_run)


@book_verb.command("merge")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--dry-run", is_flag=True, help="Only say what it would bring.")
@click.pass_obj
def merge_verb(desk: Desk, /, file: Path, dry_run: bool) -> None:
    """Merge somebody else's book for the same garden: of each field the last writer's stands, the other is kept."""
    _take_in(desk, file, dry_run)


@book_verb.command("reminders")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), required=True, help="A name ending in .ics.")
@click.option(
    "--batch", "batches", multiple=True, type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="A batch that steeps now: a request as JSON. May stand several times.",
)  # fmt: skip
@click.pass_obj
def reminders_verb(desk: Desk, /, out: Path, batches: tuple[Path, ...]) -> None:
    """A file for your calendar: when liquor is clear or old, when to feed next, when to test the soil."""
    records = desk.store.records()
    request = read_request(desk.request(records, "book"))
    reminders = reminders_of(request, records)
    for batch in batches:
        reminders += batch_reminders(batch.stem, _text_of(batch))
    # A batch that steeps may stand in the book already; a calendar may hold a uid once only.
    reminders = list({reminder.uid: reminder for reminder in reminders}.values())
    if request.moment is not None:
        _write(out, calendar_text(reminders, request.moment, language(request.language).speak).encode("utf-8"))
    for reminder in reminders:
        desk.tell(listed([f"{reminder.start:%Y-%m-%d}", reminder.summary], "  "))
    click.echo(out)


@book_verb.command("check")
@click.pass_obj
def check_verb(desk: Desk) -> None:
    """Whether the book is whole, where it is, and what in it can't be counted."""
    records = desk.store.records()
    desk.tell(said("{path}: whole (layout {layout}).", path=desk.store.path, layout=LAYOUT))
    counts = Counter(record.kind for record in records if not record.is_removed)
    for kind in RECORD_KINDS:
        desk.tell(listed([f"{counts[kind]:5}", _KINDS[kind]], "  "))
    desk.tell(listed([f"{sum(record.is_removed for record in records):5}", said("removed")], "  "))
    reply = _answered(json.loads(calculate(desk.request(records, "season", ranges="off"))))
    season = reply["values"]["season"]
    for aside in [*season["set_aside"], *(each for bed in season["beds"] for each in bed["set_aside"])]:
        desk.tell(said("Not counted: {id}: {field}: {problem}", **{k: aside[k] for k in ("id", "field", "problem")}))


def _take_in(desk: Desk, file: Path, dry_run: bool) -> None:
    records = desk.store.records()
    with file.open("rb") as start:
        is_book = start.read(len(_SQLITE)) == _SQLITE
    if is_book:
        reply = desk.work(records, "merge", other=book_document(_records_of_copy(file)))
    else:
        do = "read csv" if file.suffix.lower() == ".csv" else "read file"
        reply = desk.work(records, do, text=_text_of(file))
    changed = _records(reply["changed"])
    known = {record.id for record in records}
    after = merge(records, changed)
    for record in changed:
        word = said("Changed") if record.id in known else said("New")
        desk.tell(listed([word, _line(record, after)], ": "))
    for aside in reply["set_aside"]:
        desk.tell(
            said("Set aside: {field}: {problem}", field=aside["field"], problem=aside["problem"]), is_trouble=True
        )
    if dry_run:
        desk.tell(said("Nothing was written."))
        return
    desk.store.write(changed, desk.at, desk.speak(said("bringing in {file}", file=file.name)))
    counts = {"new": sum(record.id not in known for record in changed), "aside": len(reply["set_aside"])}
    desk.tell(
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


def _answered(reply: dict[str, Any]) -> dict[str, Any]:
    """The reply, or its refusal raised; what was planned is named by its own field."""
    if not reply["ok"]:
        raise InputErrors(
            [
                InputError(error["field"].removeprefix("what_if."), error["given"], error["problem"], error["accepted"])
                for error in reply["errors"]
            ]
        )
    return reply


def _records(rows: list[dict[str, Any]]) -> list[Record]:
    return read_document(book_document([]) | {"records": rows})[0]


def _new_id() -> str:
    return secrets.token_hex(8)


def _given(options: Mapping[str, str | None]) -> dict[str, str]:
    return {name: text for name, text in options.items() if text is not None}


def _named(records: Iterable[Record], kind: str, name: str) -> Record | None:
    """The record of that kind with this id or name; raises `InputError` where several bear the name."""
    those = [record for record in records if record.kind == kind and not record.is_removed]
    for record in those:
        if record.id == name:
            return record
    found = [record for record in those if record.text("name").strip().casefold() == name.strip().casefold()]
    if len(found) > 1:
        raise InputError(kind, name, said("Several are called that."), ", ".join(record.id for record in found))
    return found[0] if found else None


def _bed(records: list[Record], name: str) -> Record:
    found = _named(records, "bed", name)
    if found is None:
        raise InputError("bed", name, said("There is no such bed in the book."), _names(records, "bed"))
    return found


def _names(records: Iterable[Record], kind: str) -> str:
    names = [record.text("name") for record in records if record.kind == kind and not record.is_removed]
    return ", ".join(names) or said("nothing yet: write one down first")


def _meant(records: list[Record], given: str) -> Record:
    found = next((record for record in records if record.id == given), None) or _named(records, "bed", given)
    if found is None:
        raise InputError("record", given, said("There is no such record in the book."), "feedcalc book list")
    return found


def _line(record: Record, records: Iterable[Record]) -> Said:
    """A record in a line: its kind and what tells it from others."""
    beds = {each.id: each.text("name") for each in records if each.kind == "bed"}
    named = beds.get(record.text("bed"), "") if record.kind in ("soil test", "entry") else record.text("name")
    what = record.text("what")
    parts = (
        record.text("date"),
        MACHINE_WORDS.get(what, what),
        record.text("amount"),
        record.text("ph"),
        " ".join(named.split()),
    )
    return listed([_KINDS[record.kind], *(part for part in parts if part)], " · ")


def _told(desk: Desk, changed: list[Record]) -> None:
    for record in changed:
        desk.tell(said("Written: {record} ({id})", record=_line(record, changed), id=record.id))
    if not changed:
        desk.tell(said("That stands in the book already."))


def _text_of(file: Path) -> str:
    try:
        return file.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("file", file.name, said("This is not text in UTF-8."), said("a file saved as UTF-8")) from None
    except OSError as error:
        raise InputError("file", file.name, said("This can't be read: {reason}.", reason=error.strerror), "") from None


def write_whole(file: Path, content: bytes) -> None:
    """Write a file whole or not at all, whatever stood there before; raises `OSError`."""
    half = file.with_name(f"{file.name}.half")
    try:
        half.write_bytes(content)
        half.replace(file)
    except OSError:
        half.unlink(missing_ok=True)
        raise


def _write(file: Path, content: bytes) -> None:
    """Write a file whole or not at all."""
    try:
        write_whole(file, content)
    except OSError as error:
        raise InputError(
            "file", file.name, said("This can't be written: {reason}.", reason=error.strerror), ""
        ) from None


def _refuse(errors: Iterable[InputError], tongue: str | None) -> None:
    for error in errors:
        words = refusal_words(error.field, error.given, error.problem, error.accepted)
        click.echo(language(tongue or "en").speak(words), err=True)
    sys.exit(1)
