"""An open season book on the command line, and what the verbs that use it share.

A person's options become a request; words and figures come from the engine, records from the book's file. Nothing is
asked back: what is missing is refused with what would be accepted. The clock is read here and handed on.
"""

from __future__ import annotations

import json
import secrets
import sys
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Any

import click

from feedcalc.book.book_file import book_document, read_document
from feedcalc.book.records import Record, timestamp_of
from feedcalc.command_line.environment import usual_language
from feedcalc.command_line.refusals import refuse
from feedcalc.command_line.store import BookStore, open_book
from feedcalc.command_line.terminal import print_width, set_markdown
from feedcalc.contract.choice_words import CHOICE_LABELS, choice_meant
from feedcalc.contract.dates import read_date
from feedcalc.engine import calculate
from feedcalc.sheets.paper.label import has_hidden_characters
from feedcalc.sheets.paper.options import HIDDEN
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.languages import MACHINE_WORDS, USUAL_LOCALE, date_words, language
from feedcalc.words.messages import Said, any_of, listed, said, said_in

KIND_WORDS = {
    "bed": said_in("in the book", "bed"),
    "soil test": said_in("in the book", "soil test"),
    "entry": said_in("in the book", "entry"),
    "ash": said_in("in the book", "ash"),
    "metals": said_in("in the book", "metals"),
}


_TYPED = "feedcalc.typed"  # what stood in the command line


class BookSession:
    """A book, opened when it is first needed, with its owner's language and way of writing numbers.

    ``now`` is the owner's local day and time, such as 2026-05-01T09:00.
    """

    def __init__(self, context: click.Context, path: Path, customs: Mapping[str, str], now: str) -> None:
        self._context, self._path = context, path
        usual = {} if "language" in customs else usual_language()
        self.customs, self.now = {**usual, **customs}, now

    @cached_property
    def store(self) -> BookStore:
        """The book's file; raises `InputError`."""
        store = open_book(self._path)
        self._context.call_on_close(store.close)
        return store

    def speak(self, words: str) -> str:
        """Return words in the owner's language."""
        return language(self.customs.get("language", "en")).speak(words)

    def print(self, words: str, *, to_stderr: bool = False) -> None:
        """Print a line in the owner's language."""
        click.echo(self.speak(words), err=to_stderr)

    def show(self, sheet: str) -> None:
        """Print a sheet (Markdown) in the width of the terminal."""
        click.echo(set_markdown(sheet, print_width(), sys.stdout.isatty()), nl=False)

    @property
    def timestamp(self) -> str:
        """The timestamp of what is written now."""
        return timestamp_of(datetime.now(UTC))

    def request(self, records: Iterable[Record], ask: str, **asked: Any) -> str:
        """Return a request about these records, as JSON."""
        document = {"schema": 1, "ask": ask, "now": self.now, "book": book_document(records), **self.customs, **asked}
        return json.dumps(document, ensure_ascii=False)

    def work(self, records: Iterable[Record], do: str, **asked: Any) -> dict[str, Any]:
        """Return the engine's work on the book (``values.book``); raises `InputErrors`."""
        asked = {"at": self.timestamp, "by": self.store.device, **asked}
        reply = require_ok(json.loads(calculate(self.request(records, "book", do=do, **asked))))
        found: dict[str, Any] = reply["values"]["book"]
        return found

    def meant(self, typed: Mapping[str, str]) -> dict[str, str]:
        """Return fields with dates and choices as the book keeps them, whatever language they were typed in."""
        locale = self.customs.get("locale") or USUAL_LOCALE[self.customs.get("language", "en")]
        fields = {
            name: choice_meant(name, text, CHOICE_LABELS[name]) or text if name in CHOICE_LABELS else text
            for name, text in typed.items()
        }
        today = read_date(self.now[:10])
        if day := read_date(fields.get("date", ""), locale, near=today):
            fields["date"] = day.isoformat()
        return fields

    def write(self, kind: str, identity: str, fields: Mapping[str, str], what: str) -> list[Record]:
        """Write the fields of a record and return the records that changed; ``what`` names the step for `undo`."""
        for name, text in fields.items():
            require_text(name, text)
        reply = self.work(
            self.store.records(), "write", id=identity, record={"kind": kind, "fields": self.meant(fields)}
        )
        return self.store.write(records_from(reply["changed"]), self.timestamp, self.speak(what))

    def remove(self, record: Record, what: str) -> None:
        """Mark a record as removed; ``what`` names the step for `undo`."""
        reply = self.work(self.store.records(), "remove", id=record.id)
        self.store.write(records_from(reply["changed"]), self.timestamp, self.speak(what))


_ANYWHERE = frozenset({"--language", "--locale", "--customs"})


class _BookVerb(click.Command):
    """A verb whose help lists the options of writing of its group as well: they are read behind it too."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        super().format_options(ctx, formatter)
        if ctx.parent is None:
            return
        shared = [each for each in ctx.parent.command.params if _ANYWHERE & set(each.opts)]
        with formatter.section("How it is written"):
            formatter.write_dl([record for each in shared if (record := each.get_help_record(ctx.parent))])


class BookGroup(click.Group):
    """A group whose verbs end with refusals field by field and exit code 1 where the engine or the file refuses.

    Its options of writing may stand behind a verb as well, where every other verb has them.
    """

    command_class = _BookVerb

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Read the group's options wherever they stand."""
        own = _ANYWHERE & {option for parameter in self.params for option in parameter.opts}
        front: list[str] = []
        rest = list(args)
        for place in range(len(args) - 1, -1, -1):
            name, is_joined, _ = args[place].partition("=")
            if name in own and (is_joined or place + 1 < len(args)):
                end = place + (1 if is_joined else 2)
                front = args[place:end] + front
                del rest[place:end]
        ctx.meta[_TYPED] = {name.partition("=")[0] for name in args}
        return super().parse_args(ctx, front + rest)

    def invoke(self, ctx: click.Context) -> Any:
        """Run a verb."""
        try:
            return super().invoke(ctx)
        except InputErrors as refusal:
            errors = list(refusal.errors)
        except InputError as error:
            errors = [error]
        return refuse(
            [{**error.as_dict(), "field": self._typed_as(error.field, ctx)} for error in errors],
            language(ctx.params.get("language") or usual_language().get("language", "en")).speak,
        )

    def _typed_as(self, field: str, ctx: click.Context) -> str:
        """Return the option that a field was typed with; the field where it was not typed as one."""
        verb = self.get_command(ctx, ctx.invoked_subcommand or "")
        options: dict[str, str] = {
            each.name: each.opts[0] for each in (*self.params, *(verb.params if verb else ())) if each.name
        }
        group, _, name = field.rpartition(".")
        for known in (field.replace(".", "__"), group.split(".")[0], name):
            if options.get(known) in ctx.meta[_TYPED]:
                return options[known]
        return field


def require_ok(reply: dict[str, Any]) -> dict[str, Any]:
    """Return a reply that is no refusal; raises `InputErrors`, the fields of ``what_if`` under their own names."""
    if not reply["ok"]:
        errors = [error | {"field": error["field"].removeprefix("what_if.")} for error in reply["errors"]]
        raise InputErrors([InputError(**error) for error in errors])
    return reply


def records_from(rows: list[dict[str, Any]]) -> list[Record]:
    """Return the records of a reply's rows."""
    return read_document(book_document([]) | {"records": rows})[0]


def new_id() -> str:
    """Return an id that no other record has."""
    return secrets.token_hex(8)


def without_none(options: Mapping[str, str | None]) -> dict[str, str]:
    """Return the options that were given."""
    return {name: text for name, text in options.items() if text is not None}


def require_text(field: str, text: str) -> None:
    """Raise `InputError` for bytes that are no text, as a shell may hand them on, and for signs hidden in a name."""
    try:
        text.encode()
    except UnicodeEncodeError:
        raise InputError(
            field, text, said("There is a character here that can't be read."), said_in("what is accepted", "text")
        ) from None
    if field == "name" and has_hidden_characters(text):
        raise InputError(field, text, HIDDEN, said("a name in letters, numbers and signs"))


def record_named(records: Iterable[Record], kind: str, name: str) -> Record | None:
    """Return the record of that kind with this id or name, or None; raises `InputError` where several have the name."""
    of_kind = [record for record in records if record.kind == kind and not record.is_removed]
    for record in of_kind:
        if record.id == name:
            return record
    found = [record for record in of_kind if record.text("name").strip().casefold() == name.strip().casefold()]
    if len(found) > 1:
        raise InputError(kind, name, said("Several have this name."), any_of(record.id for record in found))
    return found[0] if found else None


def require_bed(records: list[Record], name: str) -> Record:
    """Return the bed with this id or name; raises `InputError`."""
    found = record_named(records, "bed", name)
    if found is None:
        raise InputError("bed", name, said("There is no such bed in the book."), names_of(records, "bed"))
    return found


def names_of(records: Iterable[Record], kind: str) -> str:
    """Return the names of all records of a kind in one line."""
    names = [record.text("name") for record in records if record.kind == kind and not record.is_removed]
    return any_of(names) if names else said("nothing yet: write one down first")


def bed_names(records: Iterable[Record]) -> dict[str, str]:
    """Return the names of the beds by their id."""
    return {each.id: each.text("name") for each in records if each.kind == "bed"}


def record_line(record: Record, beds: Mapping[str, str]) -> Said:
    """Return a record in one line: its kind and what distinguishes it from others; ``beds`` are `bed_names`."""
    name = beds.get(record.text("bed"), "") if record.kind in ("soil test", "entry") else record.text("name")
    what = record.text("what")
    parts = (
        date_words(day) if (day := read_date(record.text("date"))) else record.text("date"),
        MACHINE_WORDS.get(what, what),
        record.text("amount"),
        record.text("ph"),
        " ".join(name.split()),
    )
    return listed([KIND_WORDS[record.kind], *(part for part in parts if part)], " · ")
