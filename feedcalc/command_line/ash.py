"""The verbs of a kept ash: what its batches taught, kept under a name in the season book's file.

The engine works out what is known of an ash (``ask``: ``learn``). Here a person's options become a request, and the
evidence in the reply becomes a record.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

import click

from feedcalc.book.records import Record
from feedcalc.command_line.options import batch_options, request_from
from feedcalc.command_line.refusals import refuse
from feedcalc.command_line.session import BookGroup, BookSession, new_id, require_ok, without_none
from feedcalc.command_line.store import book_path, open_book
from feedcalc.engine import calculate
from feedcalc.words.errors import InputError
from feedcalc.words.json_text import json_object
from feedcalc.words.languages import LANGUAGES, language_asked
from feedcalc.words.messages import any_of, said, said_of

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
    context.obj = BookSession(context, book_path(place, os.environ), without_none(customs), now="")


@ash_verb.command("keep")
@click.argument("name")
@click.option("--date", "day", help="When the batch was made, 2026-05-01. Left out: its start, or today.")
@batch_options
@click.pass_obj
def keep_verb(session: BookSession, /, name: str, day: str | None, **options: Any) -> None:
    """Keep under NAME what this batch's readings, weighings or analysis say of the ash."""
    text = request_from(options, default='{"schema": 1}')
    request = json_object(text)
    if request is None:
        refuse(json.loads(calculate(text))["errors"], language_asked(text).speak)
    kept = _ash_named(session.store.records(), name)
    document = {**session.customs, **request}
    ash = _ash_of(document)
    if kept is not None:
        earlier = _evidence(kept)
        usual = {key: value for key, value in _latest_ash(earlier).items() if not ash.get(key)}
        ash |= usual | {"earlier": earlier}
    document |= {"ash": ash, "ask": "learn", "name": name, "date": day or document.get("now") or f"{date.today()}"}
    learned = _learn(document)
    fields = {"name": name, "date": learned["date"], "evidence": learned["evidence"]}
    session.write("ash", kept.id if kept else new_id(), fields, said("keeping the ash {name}", name=name))
    speak = language_asked(json.dumps({"language": document.get("language")})).speak
    click.echo(speak(said("Saved: {name} ({date}).", name=name, date=learned["date"])))
    for line in learned["words"]:
        click.echo(f"  {line}")


@ash_verb.command("list")
@click.pass_obj
def list_verb(session: BookSession, /) -> None:
    """The kept ashes, a line each."""
    kept = _kept_ashes(session.store.records())
    if not kept:
        nothing = said("No ash is kept yet. Begin with: feedcalc ash keep NAME and a reading of its liquor")
        session.print(nothing, to_stderr=True)
    for record in kept:
        count = len(_evidence(record))
        batches = said_of(count, "learned from {count} batch", "learned from {count} batches")
        session.print(
            said("{name}: {date}, {batches}", name=record.text("name"), date=record.text("date"), batches=batches)
        )


@ash_verb.command("show")
@click.argument("name")
@click.option("--json", "as_json", is_flag=True, help="Write the whole reply as JSON.")
@click.pass_obj
def show_verb(session: BookSession, /, name: str, as_json: bool) -> None:
    """What is known of the ash NAME: its weight, potassium, alkalinity and caustic share, each with its range."""
    record = _require_ash(session.store.records(), name)
    earlier = _evidence(record)
    document = {
        "schema": 1,
        **session.customs,
        "ask": "learn",
        "name": record.text("name"),
        "date": record.text("date"),
        "ash": {**_latest_ash(earlier), "earlier": earlier},
    }
    if as_json:
        click.echo(calculate(json.dumps(document)))
        return
    learned = _learn(document)
    session.print(said("{name} ({date})", name=record.text("name"), date=record.text("date")))
    for line in learned["words"]:
        click.echo(f"  {line}")


@ash_verb.command("forget")
@click.argument("name")
@click.pass_obj
def forget_verb(session: BookSession, /, name: str) -> None:
    """Take the ash NAME out of the list. It stays in the file and can be put back."""
    record = _require_ash(session.store.records(), name)
    session.remove(record, said("forgetting the ash {name}", name=record.text("name")))
    session.print(
        said(
            "Forgotten: {name}. It comes back with: feedcalc book restore {id}", name=record.text("name"), id=record.id
        )
    )


def with_my_ash(document: Mapping[str, Any], name: str) -> dict[str, Any]:
    """Return a request that starts from the ash kept under ``name``; raises `InputError` where there is none."""
    with open_book(book_path(None, os.environ)) as store:
        record = _require_ash(store.records(), name)
    earlier = _evidence(record)
    return {**document, "ash": {**_latest_ash(earlier), **_ash_of(document), "earlier": earlier}}


def _ash_of(document: Mapping[str, Any]) -> dict[str, Any]:
    """Return a copy of what a request says of its ash."""
    ash = document.get("ash")
    return dict(ash) if isinstance(ash, dict) else {}


def _learn(document: Mapping[str, Any]) -> dict[str, Any]:
    """Return what the engine learns from a request; raises `InputErrors`."""
    reply = require_ok(json.loads(calculate(json.dumps(document, ensure_ascii=False))))
    learned: dict[str, Any] = reply["values"]["ash"]
    return learned


def _kept_ashes(records: Iterable[Record]) -> list[Record]:
    return [record for record in records if record.kind == "ash" and not record.is_removed]


def _ash_named(records: Iterable[Record], name: str) -> Record | None:
    wanted = name.strip().casefold()
    found = (record for record in _kept_ashes(records) if wanted in (record.id, record.text("name").strip().casefold()))
    return next(found, None)


def _require_ash(records: list[Record], name: str) -> Record:
    found = _ash_named(records, name)
    if found is None:
        names = any_of(record.text("name") for record in _kept_ashes(records))
        accepted = names or said("nothing is kept yet: feedcalc ash keep NAME with a reading")
        raise InputError("name", name, said("No ash is kept under this name."), accepted)
    return found


def _evidence(record: Record) -> list[Any]:
    """Return the batches that a record holds; raises `InputError` where it holds something else."""
    try:
        found = json.loads(record.text("evidence"))
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, list):
        problem, accepted = said("What is kept of this ash can't be read."), said("a list of batches as JSON")
        raise InputError("evidence", record.text("name"), problem, accepted)
    return found


def _latest_ash(earlier: list[Any]) -> dict[str, Any]:
    """Return kind and state of the ash in the latest batch that names them."""
    ash = earlier[-1].get("ash") if earlier and isinstance(earlier[-1], dict) else None
    return {key: ash[key] for key in ("kind", "state") if ash.get(key)} if isinstance(ash, dict) else {}
