"""The verbs that write and show the season book: what each bed got, kept in one file on this machine."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import click

from feedcalc.book.records import Record
from feedcalc.command_line.book_files import check_verb, export_verb, import_verb, merge_verb, reminders_verb
from feedcalc.command_line.files import read_text
from feedcalc.command_line.session import (
    BookGroup,
    BookSession,
    bed_names,
    names_of,
    new_id,
    record_line,
    record_named,
    require_bed,
    require_ok,
    without_none,
)
from feedcalc.command_line.store import book_path
from feedcalc.contract.units import CUSTOMS
from feedcalc.engine import calculate, calculate_markdown
from feedcalc.garden.metals import METALS
from feedcalc.words.errors import InputError
from feedcalc.words.languages import LANGUAGES, LOCALES, MACHINE_WORDS
from feedcalc.words.messages import any_of, listed, said, said_in

EPILOG = """\b
Examples:
  feedcalc book bed "South wall" --area "6 m2" --texture loam --plant tomato
  feedcalc book soil-test "South wall" --date 2026-03-02 --ph 6.2 --tested-with kit
  feedcalc book add "South wall" "dry ash" "1 cup" --what-if
  feedcalc book add "South wall" "liquid feed" "9 L" --batch batch.json
  feedcalc book show "South wall"
  feedcalc book share --ash "40 L"
  feedcalc book export book.csv

The book is one file in your folder for data; --book FILE or FEEDCALC_BOOK names another."""


@click.group("book", cls=BookGroup, epilog=EPILOG)
@click.option("--book", "place", type=click.Path(path_type=str), help="The file of the book.")
@click.option("--language", type=click.Choice(list(LANGUAGES)), help="Words of what is shown.")
@click.option("--locale", type=click.Choice(LOCALES), help="How numbers are typed and written.")
@click.option("--customs", type=click.Choice(tuple(CUSTOMS)), help="Whose cups and gallons.")
@click.option("--now", help="What counts as now, to look ahead or back: 2026-05-01T09:00.")
@click.pass_context
def book_verb(context: click.Context, /, place: str | None, now: str | None, **customs: str | None) -> None:
    """The season book: what each bed had, what it may still get, and when to test again.

    Nothing that was written is ever lost: changes keep what stood there before, and what is removed can come back.
    """
    context.obj = BookSession(
        context, book_path(place, os.environ), without_none(customs), now or f"{datetime.now():%Y-%m-%dT%H:%M}"
    )


_NOTHING_YET = said("Nothing is written yet. Begin with: feedcalc book bed NAME --area '6 m2'")


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
    ("place", "open ground, raised bed, pot, plug tray, near pond or drain, greenhouse, hydroponics, worm bin."),
    ("plant", "What grows there."),
    ("note", "Anything else."),
)
@click.option("--rename", help="A new name for the bed.")
@click.pass_obj
def bed_verb(session: BookSession, /, name: str, rename: str | None, **given: str | None) -> None:
    """Write down a bed, or change the one called NAME."""
    known = record_named(session.store.records(), "bed", name)
    fields = without_none(given) | {"name": rename or (known.text("name") if known else name)}
    _print_changed(
        session,
        session.write("bed", known.id if known else new_id(), fields, said_in("in the book", "bed {name}", name=name)),
    )


@book_verb.command("soil-test")
@click.argument("bed")
@_fields(
    ("date", "When: 2026-03-02. Today where left out."),
    ("ph", "What was read: 6.2."),
    ("tested_with", "laboratory, meter, kit or strip."),
    ("note", "Anything else."),
)
@click.pass_obj
def soil_test_verb(session: BookSession, /, bed: str, **given: str | None) -> None:
    """Write down a soil test of BED."""
    fields = {"bed": require_bed(session.store.records(), bed).id, "date": session.now[:10]} | without_none(given)
    _print_changed(session, session.write("soil test", new_id(), fields, said("soil test of {bed}", bed=bed)))


@book_verb.command("add")
@click.argument("bed")
@click.argument("what")
@click.argument("amount")
@click.option("--what-if", "only_look", is_flag=True, help="Show what it would come to, and write nothing.")
@click.option(
    "--batch",
    "batch_file",
    type=click.Path(exists=True, dir_okay=False, allow_dash=True, path_type=Path),
    help="The batch: a request as JSON; '-' for standard input.",
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
    session: BookSession,
    /,
    bed: str,
    what: str,
    amount: str,
    only_look: bool,
    batch_file: Path | None,
    **given: str | None,
) -> None:
    """Write down what BED got: WHAT, and the AMOUNT ('9 L', '1 cup', '200 g').

    \b
    WHAT is one of: liquid feed, dry ash, sludge, compost, lime, other.
    """
    records = session.store.records()
    bed_record = require_bed(records, bed)
    typed = {"bed": bed_record.id, "date": session.now[:10], "what": what, "amount": amount} | without_none(given)
    fields = session.meant(typed)
    if fields.get("ash"):
        ash = record_named(records, "ash", fields["ash"])
        if ash is None:
            raise InputError("ash", fields["ash"], said("There is no such ash in the book."), names_of(records, "ash"))
        fields["ash"] = ash.id
    if batch_file:
        fields |= {"request": read_text(batch_file), "batch": fields.get("batch") or batch_file.stem}
    look = {"bed": bed_record.id, "what_if": fields}
    reply, words = calculate_markdown(
        session.request(records, "season", ranges="on" if only_look else "off", **look), "season"
    )
    require_ok(reply)
    for echo in reply.get("read_as", {}).values():
        session.print(said("read as {reading}", reading=echo))
    if only_look:
        session.show(words)
        return
    sentence = said(
        "{amount} of {what} on {bed}", amount=amount, what=MACHINE_WORDS[fields["what"]], bed=bed_record.text("name")
    )
    _print_changed(session, session.write("entry", new_id(), fields, sentence))
    judged = reply["values"]["season"]["what_if"]
    session.print(said_in("verdict", "Verdict: {verdict}.", verdict=MACHINE_WORDS[judged["verdict"]]))
    for reason in judged["reasons"]:
        if reason["towards"] != "go":
            click.echo(f"- {reason['text']}")


@book_verb.command("ash")
@click.argument("name")
@click.option(
    "--evidence", required=True,
    type=click.Path(exists=True, dir_okay=False, allow_dash=True, path_type=Path),
    help="What is known of it: a request as JSON, with its ash and readings; '-' for standard input.",
)  # fmt: skip
@_fields(("date", "When it was burnt: 2026-03-02. Today where left out."), ("note", "Anything else."))
@click.pass_obj
def ash_verb(session: BookSession, /, name: str, evidence: Path, **given: str | None) -> None:
    """Write down an ash of your own under NAME, for `add --ash NAME`."""
    known = record_named(session.store.records(), "ash", name)
    fields = {"name": name, "date": session.now[:10], "evidence": read_text(evidence)} | without_none(given)
    _print_changed(
        session,
        session.write("ash", known.id if known else new_id(), fields, said_in("in the book", "ash {name}", name=name)),
    )


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
def metals_verb(session: BookSession, /, name: str, **given: str | None) -> None:
    """Write down a laboratory's metals of an ash or a soil, under NAME."""
    records = session.store.records()
    known = record_named(records, "metals", name)
    fields = {"name": name, "date": session.now[:10], "of": "ash"} | without_none(given)
    for kind in ("ash", "bed"):
        if fields.get(kind) and (meant := record_named(records, kind, fields[kind])):
            fields[kind] = meant.id
    _print_changed(
        session, session.write("metals", known.id if known else new_id(), fields, said("metals of {name}", name=name))
    )


def _write_reply(request: str) -> None:
    """Write the whole reply to a request as JSON; end with the refusal where it is refused."""
    text = calculate(request)
    require_ok(json.loads(text))
    click.echo(text)


@book_verb.command("show")
@click.argument("bed", required=False)
@click.option("--country", help="Whose limits of metals: EU, DE, GB ...")
@click.option("--json", "as_json", is_flag=True, help="Write the whole reply as JSON.")
@click.pass_obj
def show_verb(session: BookSession, /, bed: str | None, country: str | None, as_json: bool) -> None:
    """What the beds had, beside what they may have; of one BED or of all."""
    records = session.store.records()
    asked = {"bed": require_bed(records, bed).id} if bed else {}
    request = session.request(records, "season", **asked, **({"country": country} if country else {}))
    if as_json:
        _write_reply(request)
        return
    reply, words = calculate_markdown(request, "season")
    require_ok(reply)
    if words.strip():
        session.show(words)
    else:
        session.print(_NOTHING_YET)


@book_verb.command("share")
@click.option("--ash", "amount", help="How much ash there is: '20 L', '8 kg', '3 gal (US)'.")
@click.option("--wood", help="Or the wood that left it, stacked or by weight: '2 cords', '5 m3', '800 kg'.")
@click.option("--kind", help="What was burnt: mixed, hardwood, oak ...")
@click.option("--state", help="How it was kept: unknown, fresh, aged or leached.")
@click.option("--country", help="Whose limits of metals: EU, DE, GB ...")
@click.option("--json", "as_json", is_flag=True, help="Write the whole reply as JSON.")
@click.pass_obj
def share_verb(
    session: BookSession, /, amount: str | None, wood: str | None, as_json: bool, **given: str | None
) -> None:
    """Share a winter's ash out over the beds: how much each may get, as what, from when, and why no more."""
    known = without_none(given)
    ash = without_none(
        {"amount": amount, "wood": wood, "kind": known.pop("kind", None), "state": known.pop("state", None)}
    )
    request = session.request(session.store.records(), "share", ash=ash, **known)
    if as_json:
        _write_reply(request)
        return
    reply, words = calculate_markdown(request, "share")
    for echo in require_ok(reply).get("read_as", {}).values():
        session.print(said("read as {reading}", reading=echo))
    session.show(words)


@book_verb.command("list")
@click.option("--removed", "gone", is_flag=True, help="What was removed, instead.")
@click.pass_obj
def list_verb(session: BookSession, /, gone: bool) -> None:
    """Everything written, a line each, with the ids that remove and restore take."""
    records = session.store.records()
    beds = bed_names(records)
    shown = [record for record in records if record.is_removed == gone]
    for record in shown:
        session.print(listed([record.id, record_line(record, beds)], "  "))
    if not shown:
        session.print(said("Nothing was removed.") if gone else _NOTHING_YET, to_stderr=True)


@book_verb.command("remove")
@click.argument("record")
@click.pass_obj
def remove_verb(session: BookSession, /, record: str) -> None:
    """Take out RECORD (an id from `list`, or a bed's name). It stays in the file and can be put back."""
    records = session.store.records()
    meant = _record_meant(records, record)
    line = record_line(meant, bed_names(records))
    session.remove(meant, said_in("in the book", "removing {record}", record=line))
    session.print(said("Removed: {record}. It comes back with: feedcalc book restore {id}", record=line, id=meant.id))


@book_verb.command("restore")
@click.argument("record")
@click.pass_obj
def restore_verb(session: BookSession, /, record: str) -> None:
    """Put back RECORD, which was removed (its name, or an id from `list --removed`)."""
    records = session.store.records()
    meant = _record_meant([each for each in records if each.is_removed], record)
    line = record_line(meant, bed_names(records))
    session.write(meant.kind, meant.id, {"removed": ""}, said("putting back {record}", record=line))
    session.print(said("Put back: {record}.", record=line))


@book_verb.command("undo")
@click.pass_obj
def undo_verb(session: BookSession) -> None:
    """Take back the latest thing done in this book; again for the one before."""
    done = session.store.take_back(session.timestamp)
    if done is None:
        raise InputError("undo", "", said("There is nothing to take back."), said("something written in this book"))
    session.print(said_in("said after it was done", "Undone: {what}.", what=done[0]))


for _verb in (export_verb, import_verb, merge_verb, reminders_verb, check_verb):
    book_verb.add_command(_verb)


def _record_meant(records: list[Record], given: str) -> Record:
    """Return the record with this id, or the only one with this name; raises `InputError`."""
    wanted = given.strip().casefold()
    found = [record for record in records if record.id == given]
    found = found or [record for record in records if record.text("name").strip().casefold() == wanted]
    if len(found) > 1:
        raise InputError("record", given, said("Several have this name."), any_of(record.id for record in found))
    if not found:
        raise InputError("record", given, said("There is no such record in the book."), "feedcalc book list")
    return found[0]


def _print_changed(session: BookSession, changed: list[Record]) -> None:
    for record in changed:
        session.print(said("Written: {record} ({id})", record=record_line(record, bed_names(changed)), id=record.id))
    if not changed:
        session.print(said("That is already in the book."))
