"""The verbs of a kept ash: what was learned of it, kept under a name in the season book's file.

Rules of this room: as in `command_line` and `book_commands`. What an ash is known to be is worked out by the engine
(``ask``: ``learn``); here a person's options become a request, and its evidence becomes a record.
"""

from __future__ import annotations

import json
import os
import secrets
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

import click

from feedcalc.book.book_file import read_document
from feedcalc.book.records import Record
from feedcalc.command_line.book import BookGroup, Desk
from feedcalc.command_line.store import book_path, open_book
from feedcalc.engine import calculate
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.languages import LANGUAGES, language_asked
from feedcalc.words.messages import said, said_of

EPILOG = """\b
Examples:
  feedcalc ash keep "oak stove" --ash "1 cup" --water "5 L" --ec "7 mS/cm" --read-at "18 degC"
  feedcalc ash keep "oak stove" --from batch.json --date 2026-05-01
  feedcalc ash show "oak stove"
  feedcalc sheet --my-ash "oak stove" --can "2 x 9 L"

Kept in the season book's file; --book FILE or FEEDCALC_BOOK names another."""


@click.group("ash", cls=BookGroup, epilog=EPILOG)
@click.option("--book", "place", type=click.Path(path_type=str), help="The file of the season book.")
@click.option("--language", type=click.Choice(list(LANGUAGES)), help="Words of what is shown.")
@click.pass_context
def ash_verb(context: click.Context, /, place: str | None, **customs: str | None) -> None:
    """Your ash by name: keep what readings of a batch taught, and start the next batch from it."""
    context.obj = Desk(
        context, book_path(place, os.environ), {name: text for name, text in customs.items() if text is not None}, ""
    )


def keep(desk: Desk, name: str, day: str | None, request: Mapping[str, Any]) -> None:
    """Keep what a request's readings teach under a name, together with what is kept there already."""
    records = desk.store.records()
    kept = _named(records, name)
    document = {**desk.customs, **request}
    ash = document.get("ash")
    given = dict(ash) if isinstance(ash, dict) else {}
    if kept is not None:
        earlier = _evidence(kept)
        usual = {key: value for key, value in _last_ash(earlier).items() if not given.get(key)}
        given |= usual | {"earlier": earlier}
    document |= {"ash": given, "ask": "learn", "name": name, "date": day or document.get("now") or f"{date.today()}"}
    values = _learned(document)
    fields = {"name": name, "date": values["date"], "evidence": values["evidence"]}
    identity = kept.id if kept else secrets.token_hex(8)
    desk.write("ash", identity, fields, said("keeping the ash {name}", name=name))
    speak = language_asked(json.dumps({"language": document.get("language")})).speak
    click.echo(speak(said("Kept: {name} ({date}).", name=name, date=values["date"])))
    for line in values["words"]:
        click.echo(f"  {line}")


@ash_verb.command("list")
@click.pass_obj
def list_verb(desk: Desk, /) -> None:
    """The kept ashes, a line each."""
    for record in _kept(desk.store.records()):
        count = len(_evidence(record))
        batches = said_of(count, "learned from {count} batch", "learned from {count} batches")
        desk.tell(
            said("{name}: {date}, {batches}", name=record.text("name"), date=record.text("date"), batches=batches)
        )


@ash_verb.command("show")
@click.argument("name")
@click.option("--json", "as_json", is_flag=True, help="Write the whole reply as JSON.")
@click.pass_obj
def show_verb(desk: Desk, /, name: str, as_json: bool) -> None:
    """What is known of the ash NAME: its weight, potassium, alkalinity and caustic share, each with its range."""
    record = _wanted(desk.store.records(), name)
    earlier = _evidence(record)
    document = {
        "schema": 1,
        **desk.customs,
        "ask": "learn",
        "name": record.text("name"),
        "date": record.text("date"),
        "ash": {**_last_ash(earlier), "earlier": earlier},
    }
    if as_json:
        click.echo(calculate(json.dumps(document)))
        return
    values = _learned(document)
    desk.tell(said("{name} ({date})", name=record.text("name"), date=record.text("date")))
    for line in values["words"]:
        click.echo(f"  {line}")


@ash_verb.command("forget")
@click.argument("name")
@click.pass_obj
def forget_verb(desk: Desk, /, name: str) -> None:
    """Take the ash NAME out of the list. It stays in the file and can be put back."""
    record = _wanted(desk.store.records(), name)
    reply = desk.work(desk.store.records(), "remove", id=record.id)
    changed, _ = read_document({"format": "feedcalc season book", "version": 1, "records": reply["changed"]})
    desk.store.write(changed, desk.at, desk.speak(said("forgetting the ash {name}", name=record.text("name"))))
    desk.tell(
        said(
            "Forgotten: {name}. It comes back with: feedcalc book restore {id}", name=record.text("name"), id=record.id
        )
    )


def with_my_ash(document: Mapping[str, Any], name: str) -> dict[str, Any]:
    """A request that starts from the ash kept under ``name``; raises `InputError` where none is."""
    with open_book(book_path(None, os.environ)) as store:
        record = _wanted(store.records(), name)
    earlier = _evidence(record)
    ash = document.get("ash")
    given = dict(ash) if isinstance(ash, dict) else {}
    return {**document, "ash": {**_last_ash(earlier), **given, "earlier": earlier}}


def _learned(document: Mapping[str, Any]) -> dict[str, Any]:
    reply = json.loads(calculate(json.dumps(document, ensure_ascii=False)))
    if not reply["ok"]:
        raise InputErrors(
            [
                InputError(error["field"], error["given"], error["problem"], error["accepted"])
                for error in reply["errors"]
            ]
        )
    values: dict[str, Any] = reply["values"]["ash"]
    return values


def _kept(records: Iterable[Record]) -> list[Record]:
    return [record for record in records if record.kind == "ash" and not record.is_removed]


def _named(records: Iterable[Record], name: str) -> Record | None:
    wanted = name.strip().casefold()
    found = (record for record in _kept(records) if wanted in (record.id, record.text("name").strip().casefold()))
    return next(found, None)


def _wanted(records: list[Record], name: str) -> Record:
    found = _named(records, name)
    if found is None:
        names = ", ".join(record.text("name") for record in _kept(records))
        accepted = names or said("nothing is kept yet: feedcalc ash keep NAME with a reading")
        raise InputError("my-ash", name, said("No ash is kept under this name."), accepted)
    return found


def _evidence(record: Record) -> list[Any]:
    """The batches a record holds; raises `InputError` where it holds something else."""
    try:
        found = json.loads(record.text("evidence"))
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, list):
        problem, accepted = said("What is kept of this ash can't be read."), said("a list of batches as JSON")
        raise InputError("evidence", record.text("name"), problem, accepted)
    return found


def _last_ash(earlier: list[Any]) -> dict[str, Any]:
    """Kind and state of the ash as last told."""
    ash = earlier[-1].get("ash") if earlier and isinstance(earlier[-1], dict) else None
    return {key: ash[key] for key in ("kind", "state") if ash.get(key)} if isinstance(ash, dict) else {}
