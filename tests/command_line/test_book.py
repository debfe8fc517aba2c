"""``feedcalc book``: its verbs, what they print and what they store."""

from __future__ import annotations

import gettext
import io
import json
import re
import sqlite3
import sys
import threading
from collections.abc import Callable
from contextlib import closing
from datetime import datetime
from pathlib import Path

import icalendar
import pytest
from click.testing import CliRunner, Result

from feedcalc import engine
from feedcalc.book.records import Record
from feedcalc.command_line import book_files, session, working
from feedcalc.command_line.main import main
from feedcalc.command_line.store import BookStore
from feedcalc.command_line.terminal import text_width
from feedcalc.words import languages
from feedcalc.words.languages import Language

ROOT = Path(__file__).resolve().parents[2]
DEMO_BOOK = ROOT / "feedcalc" / "book" / "demo_book.json"
DEMO_BATCH = ROOT / "feedcalc" / "contract" / "demo.json"
NOW = "2026-05-10T09:00"
Run = Callable[..., Result]


def runner(place: Path) -> Run:
    def run(*words: str, code: int = 0) -> Result:
        done = CliRunner().invoke(main, ["book", "--book", str(place), "--now", NOW, *map(str, words)])
        assert done.exit_code == code, done.output + done.stderr
        assert "Traceback" not in done.output + done.stderr
        assert done.exception is None or isinstance(done.exception, SystemExit)
        return done

    return run


@pytest.fixture
def book(tmp_path: Path) -> Run:
    return runner(tmp_path / "mine.sqlite")


@pytest.fixture
def other(tmp_path: Path) -> Run:
    return runner(tmp_path / "theirs.sqlite")


def begun(run: Run) -> Run:
    run("bed", "South wall", "--area", "6 m2", "--texture", "loam", "--plant", "tomato")
    run("soil-test", "south wall", "--date", "2026-03-02", "--ph", "6.2", "--tested-with", "kit")
    return run


def exported(run: Run, file: Path) -> str:
    run("export", file)
    return file.read_text(encoding="utf-8-sig")


def shown(run: Run) -> dict[str, object]:
    reply = json.loads(run("show", "--json").output)
    beds: list[dict[str, object]] = reply["values"]["season"]["beds"]
    return {str(bed["name"]): bed for bed in beds}


def test_an_entry_is_written_confirmed_and_counted(book):
    begun(book)
    before = shown(book)["South wall"]["ash_this_year"]["value"]
    written = book("add", "South wall", "dry ash", "200 g", "--date", "2026-05-09").output
    assert "Written: entry · 9 May 2026 · dry ash · 200 g" in written
    assert "Verdict: go." in written
    # 200 g on 6 m2 is 33 g/m2.
    assert before == 0
    assert shown(book)["South wall"]["ash_this_year"]["value"] == pytest.approx(200 / 6, rel=0.02)
    assert "33\u00a0g/m²" in book("show", "South wall").output


def test_the_reading_of_a_cup_is_confirmed(tmp_path):
    words = ["book", "--book", str(tmp_path / "b"), "--now", NOW, "--customs", "us"]
    CliRunner().invoke(main, [*words, "bed", "South", "--area", "60 ft2"])
    done = CliRunner().invoke(main, [*words, "add", "South", "dry ash", "1 cup"])
    assert done.exit_code == 0
    assert "read as 236.588" in done.output


def test_what_if_shows_and_writes_nothing(book, tmp_path):
    begun(book)
    before = exported(book, tmp_path / "before.json")
    output = book("add", "South wall", "dry ash", "5 kg", "--what-if").output
    assert "hold back" in output
    assert "Nothing was written in the book." in output
    assert exported(book, tmp_path / "after.json") == before


def test_a_feed_counts_by_its_batch(book):
    begun(book)
    book("add", "South wall", "liquid feed", "9 L", "--batch", DEMO_BATCH)
    (entry,) = shown(book)["South wall"]["entries"]
    assert entry["in_all"]["potassium"]["value"] > 0


def test_a_table_of_many_faults_is_told_on_a_screen_or_two(book, tmp_path):
    table = tmp_path / "many.csv"
    table.write_text("kind,bed,what,amount\n" + "entry,Nowhere,dry ash,1 kg\n" * 300)
    told = book("import", table).stderr.splitlines()
    assert len(told) < 60
    assert told[-1] == "and 250 more"


def test_a_batch_is_read_from_standard_input(book, tmp_path):
    begun(book)
    place = ["book", "--book", str(tmp_path / "mine.sqlite"), "--now", NOW]
    words = ["add", "South wall", "liquid feed", "9 L", "--batch", "-"]
    assert CliRunner().invoke(main, [*place, *words], input=DEMO_BATCH.read_text()).exit_code == 0
    (entry,) = shown(book)["South wall"]["entries"]
    assert entry["in_all"]["potassium"]["value"] > 0


@pytest.mark.parametrize("width", ["40", "80"])
@pytest.mark.parametrize("words", ["show", "share --ash 20L"])
def test_what_the_book_shows_fits_the_terminal(book, monkeypatch, words, width):
    begun(book)
    book("add", "South wall", "dry ash", "200 g", "--date", "2026-05-09")
    monkeypatch.setenv("COLUMNS", width)
    lines = book(*words.split()).output.splitlines()
    assert max(map(text_width, lines)) <= int(width)


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["add", "Soth wall", "dry ash", "1 L"], "bed: There is no such bed in the book."),
        (["add", "South wall", "dry ash", "five"], "amount: There is no number here."),
        (["add", "South wall", "dry ash", "5 bags"], "amount: "),
        (["add", "South wall", "dry ash", "5 L", "--date", "2027-05-05"], "--date: "),
        (["add", "South wall", "dry ash", "5 L", "--ash", "oak"], "--ash: There is no such ash in the book."),
        (["soil-test", "South wall", "--ph", "lovely"], "--ph: "),
        (["soil-test", "South wall"], "ph: "),
        (["bed", "North", "--area", "big"], "--area: "),
        (["bed", "No\u202erth"], "name: This name holds characters that can't be seen"),
        (["share", "--ash", "5 bags"], "--ash: "),
        (["share", "--wood", "5 bags"], "--wood: "),
        (["remove", "nothing"], "record: There is no such record in the book."),
        (["show", "nowhere"], "bed: There is no such bed in the book."),
        (["export", "book.doc"], "file: The name must end in .json, .csv or .sqlite."),
        (["export", "/nowhere/book.json"], "file: This can't be written"),
        (["import", str(DEMO_BATCH)], "file: This is not a season book of feedcalc."),
        (["import", str(ROOT / "site" / "icon-192.png")], "file: This is not text in UTF-8."),
    ],
    ids=lambda value: " ".join(value)[-40:] if isinstance(value, list) else "",
)
def test_a_refusal_names_the_field_and_writes_nothing(book, tmp_path, words, expected):
    begun(book)
    before = exported(book, tmp_path / "before.json")
    refused = book(*words, code=1)
    assert refused.stderr.startswith(expected)
    assert exported(book, tmp_path / "after.json") == before


def test_undo_goes_back_step_by_step_to_the_empty_book(book):
    begun(book)
    book("bed", "South wall", "--area", "60 m2")
    assert "Undone: bed South wall." in book("undo").output
    assert shown(book)["South wall"]["area"]["value"] == 6
    book("undo")
    book("undo")
    assert book("list").stdout == ""
    assert book("undo", code=1).stderr.startswith("undo: There is nothing to take back.")
    assert "South wall" in book("list", "--removed").output


def test_a_clock_that_was_set_back_changes_takes_back_and_merges_nothing_wrongly(book, other, tmp_path, monkeypatch):
    class SetBack(datetime):
        @classmethod
        def now(cls, tz=None):
            return datetime(2019, 1, 1, tzinfo=tz)

    begun(book)
    exported(book, tmp_path / "before.json")
    monkeypatch.setattr(session, "datetime", SetBack)
    book("bed", "South wall", "--area", "60 m2")
    assert shown(book)["South wall"]["area"]["value"] == 60
    exported(book, tmp_path / "after.json")
    for file in ("after", "before"):
        other("merge", tmp_path / f"{file}.json")
    assert shown(other)["South wall"]["area"]["value"] == 60
    book("undo")
    assert shown(book)["South wall"]["area"]["value"] == 6


def test_what_is_removed_can_be_put_back_by_its_id(book):
    begun(book)
    output = book("remove", "South wall").output
    assert book("list").output.count("bed ·") == 0
    book("restore", output.split()[-1])
    assert "bed · South wall" in book("list").output


@pytest.mark.parametrize("ending", ["json", "csv", "sqlite"])
def test_importing_an_exported_book_twice_changes_nothing(book, other, tmp_path, ending):
    begun(book)
    book("add", "South wall", "dry ash", "200 g", "--note", "=1+1")
    file = tmp_path / f"book.{ending}"
    book("export", file)
    assert "New: 3. Changed: 0. Left out: 0." in other("import", file).output
    mine, theirs = (run("list").output for run in (book, other))
    assert theirs == mine
    before = exported(other, tmp_path / "once.json")
    assert "New: 0. Changed: 0. Left out: 0." in other("import", file).output
    assert exported(other, tmp_path / "twice.json") == before
    assert f"Undone: bringing in {file.name}." in other("undo").output
    assert other("list").stdout == ""


def test_a_table_edited_in_a_spreadsheet_changes_what_was_edited(book, tmp_path):
    begun(book)
    text = exported(book, tmp_path / "book.csv")
    (tmp_path / "edited.csv").write_text(text.replace("6 m2", "8 m2"), encoding="utf-8")
    assert "New: 0. Changed: 1. Left out: 0." in book("import", tmp_path / "edited.csv").output
    assert shown(book)["South wall"]["area"]["value"] == 8


def test_bad_rows_are_reported_with_row_field_and_reason(book, tmp_path):
    rows = "kind;name;bed;date;ph\nbed;South;;;\nsoil test;;South;2026-03-02;6,2\nsoil test;;North;2026-03-02;6\n"
    (tmp_path / "rows.csv").write_text(rows, encoding="utf-8")
    done = book("import", tmp_path / "rows.csv")
    assert "New: 2. Changed: 0. Left out: 1." in done.output
    assert "Left out: row 4, bed: There is no such bed in the book." in done.stderr


def test_a_dry_run_writes_nothing(book):
    output = book("import", DEMO_BOOK, "--dry-run").output
    assert "New: bed · Cabbages" in output
    assert book("list").stdout == ""


def test_merging_two_books_gives_the_same_book_in_either_order(book, other, tmp_path):
    begun(book)
    book("export", tmp_path / "start.json")
    other("import", tmp_path / "start.json")
    book("bed", "South wall", "--plant", "leek")
    other("bed", "South wall", "--plant", "onion", "--note", "theirs")
    book("add", "South wall", "dry ash", "100 g")
    book("export", tmp_path / "mine.json")
    other("export", tmp_path / "theirs.sqlite.copy.sqlite")
    book("merge", tmp_path / "theirs.sqlite.copy.sqlite")
    other("merge", tmp_path / "mine.json")
    both = exported(book, tmp_path / "both.json")
    assert exported(other, tmp_path / "both-there.json") == both
    bed = next(row for row in json.loads(both)["records"] if row["kind"] == "bed")
    assert bed["fields"]["plant"]["text"] == "onion"
    assert "leek" in [past["text"] for past in bed["history"]]


def test_merging_does_not_change_the_other_file(book, other, tmp_path):
    begun(other)
    theirs = tmp_path / "theirs.sqlite"
    before = theirs.read_bytes()
    book("merge", theirs)
    assert theirs.read_bytes() == before


def test_the_example_book_of_the_page_is_shown_and_checked(book):
    book("import", DEMO_BOOK)
    assert "# Cabbages" in book("show", "Cabbages").output
    output = book("check").output
    assert "whole (layout 2)" in output
    assert "    3  bed" in output


def test_an_empty_book_says_how_to_begin(book):
    assert "feedcalc book bed" in book("show").output


def test_metals_and_an_own_ash_are_kept(book, tmp_path):
    begun(book)
    book("ash", "Oak stove", "--evidence", DEMO_BATCH)
    book("metals", "Oak, lab", "--ash", "Oak stove", "--cadmium", "2 mg/kg")
    book("add", "South wall", "dry ash", "200 g", "--ash", "Oak stove")
    rows = json.loads(exported(book, tmp_path / "book.json"))["records"]
    (ash,) = [row["id"] for row in rows if row["kind"] == "ash"]
    for kind in ("metals", "entry"):
        assert [row["fields"]["ash"]["text"] for row in rows if row["kind"] == kind] == [ash]


def test_reminders_are_written_as_a_calendar(book, tmp_path):
    begun(book)
    batch = tmp_path / "Oak.json"
    batch.write_text(json.dumps(json.loads(DEMO_BATCH.read_text(encoding="utf-8")) | {"now": "2026-05-10T07:00"}))
    output = book("reminders", "--out", tmp_path / "r.ics", "--batch", batch).output
    assert "Test the soil of South wall" in output
    found = icalendar.Calendar.from_ical((tmp_path / "r.ics").read_bytes()).walk("VEVENT")
    assert {str(event["summary"]) for event in found} == {
        "The liquor should be clear: Oak",
        "Check the pH of the liquor again: Oak",
        "Test the soil of South wall",
    }


def test_a_batch_that_is_already_in_the_book_gives_one_event(book, tmp_path):
    begun(book)
    batch = tmp_path / "Oak.json"
    batch.write_text(json.dumps(json.loads(DEMO_BATCH.read_text(encoding="utf-8")) | {"now": "2026-05-10T07:00"}))
    book("add", "South wall", "liquid feed", "2 L", "--batch", batch)
    book("reminders", "--out", tmp_path / "r.ics", "--batch", batch)
    found = icalendar.Calendar.from_ical((tmp_path / "r.ics").read_bytes()).walk("VEVENT")
    uids = [str(event["uid"]) for event in found]
    assert len(uids) == len(set(uids)) > 2


def test_the_sources_of_a_reason_are_cited(book):
    begun(book)
    assert "sullivan_osu: P. Herring and D. Sullivan" in book("show", "South wall").output


def test_a_damaged_book_is_reported_without_a_traceback(book, tmp_path):
    begun(book)
    place = tmp_path / "mine.sqlite"
    with closing(sqlite3.connect(place)) as spoilt, spoilt:
        spoilt.execute("DELETE FROM record")
    refused = book("list", code=1)
    assert refused.stderr.startswith(
        "book: This book is damaged and was left as it is. Records that could still be read: 2"
    )
    found = json.loads((tmp_path / "mine.sqlite.salvaged-1.json").read_text(encoding="utf-8"))
    assert len(found["records"]) == 2


def test_help_opens_no_book(tmp_path):
    place = tmp_path / "none.sqlite"
    done = CliRunner().invoke(main, ["book", "--book", str(place), "add", "--help"])
    assert done.exit_code == 0
    assert "--what-if" in done.output
    assert not place.exists()


class Bracketing(gettext.NullTranslations):
    """A made-up language in which every message stands in brackets, so that what was no message is seen."""

    def gettext(self, message: str) -> str:
        return f"⟦{message}⟧"

    def pgettext(self, context: str, message: str) -> str:
        return self.gettext(message)


def outside(text: str) -> str:
    """What of a text stands outside all brackets."""
    while (shorter := re.sub(r"⟦[^⟦⟧]*⟧", "", text)) != text:
        text = shorter
    return text


@pytest.fixture
def in_brackets(monkeypatch: pytest.MonkeyPatch) -> None:
    made_up, real = Language("de", Bracketing()), languages.language
    for room in (session, engine, languages):
        monkeypatch.setattr(room, "language", lambda tag: made_up if tag == "de" else real(tag))


def test_every_message_about_the_book_is_in_the_chosen_language(book: Run, in_brackets: None) -> None:
    def run(*words: str, code: int = 0) -> str:
        done = book("--language", "de", *words, code=code)
        output = outside(done.stdout + done.stderr)
        assert not re.search(r"[a-z]{4,}", output.replace("sqlite", "")), output
        return done.stdout + done.stderr

    assert "⟦Written: " in run("bed", "Süd", "--area", "6 m2", "--plant", "LAUCH")
    run("soil-test", "Süd", "--date", "2026-03-02", "--ph", "6,2", "--tested-with", "kit")
    run("add", "Süd", "dry ash", "1 cup", "--date", "2026-05-01")
    run("list")
    assert "⟦removed⟧" in run("check")
    assert "⟦Undone: " in run("undo")
    assert "⟦There is no such bed in the book.⟧" in run("show", "XY", code=1)


# -- large tables, empty lists, names -----------------------------------------------------------------------------


def test_a_long_table_is_brought_in_with_work_that_grows_as_its_rows(book, tmp_path, monkeypatch):
    """Names of beds are collected once for an import, not once for each of its lines."""
    table = tmp_path / "book.csv"
    table.write_text("kind,name,area\n" + "".join(f"bed,Bed {number},4 m2\n" for number in range(400)))
    collected = []
    monkeypatch.setattr(book_files, "bed_names", lambda records: collected.append(1) or session.bed_names(records))
    told = book("import", str(table)).stdout
    assert "New: 400." in told
    assert "and 350 more" in told
    assert len(collected) == 1


def test_an_empty_list_says_that_it_is_empty(book):
    assert "Nothing is written yet" in book("list").stderr
    assert "Nothing was removed." in book("list", "--removed").stderr


def test_what_was_removed_comes_back_by_its_name(book):
    book("bed", "South wall", "--area", "6 m2")
    book("remove", "South wall")
    assert "Put back" in book("restore", "south wall").stdout
    assert "South wall" in book("list").stdout


def test_an_import_says_what_stays_removed(book, tmp_path):
    book("bed", "South wall", "--area", "6 m2")
    book("export", str(tmp_path / "book.json"))
    book("remove", "South wall")
    told = book("import", str(tmp_path / "book.json")).stdout
    assert "Already removed in this book, and left so: 1. " in told


def test_a_name_that_is_no_text_is_refused_in_words(book):
    refused = book("bed", "\udcff", code=1)
    assert "can't be read" in refused.stderr


def test_the_language_may_stand_behind_the_verb(book):
    assert "--language" in book("list", "--help").output
    assert book("list", "--language", "de").stderr == book("--language", "de", "list").stderr != book("list").stderr


def test_the_calendar_must_be_one_and_goes_through_a_pipe(book):
    assert ".ics" in book("reminders", "--out", "garden.txt", code=1).stderr
    assert book("reminders", "--out", "-").stdout.startswith("BEGIN:VCALENDAR")


# -- work that takes a while, and is stopped ----------------------------------------------------------------------


@pytest.mark.parametrize("verb", ["import", "merge"])
def test_an_import_that_is_stopped_while_it_writes_leaves_the_book_as_it_was(book, other, tmp_path, monkeypatch, verb):
    begun(book)
    before = exported(book, tmp_path / "before.json")
    begun(other)("bed", "North wall", "--area", "2 m2")
    exported(other, tmp_path / "theirs.json")
    whole = BookStore._store

    def stopped(store: BookStore, records: list[Record]) -> None:
        whole(store, records[:1])
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(BookStore, "_store", stopped)
        assert "Stopped." in book(verb, tmp_path / "theirs.json", code=130).stderr
    assert exported(book, tmp_path / "after.json") == before
    assert "North wall" in book(verb, tmp_path / "theirs.json").stdout


def test_an_export_that_is_stopped_leaves_the_former_file(book, tmp_path, monkeypatch):
    begun(book)
    file = tmp_path / "book.json"
    former = exported(book, file)
    book("bed", "North wall", "--area", "2 m2")

    def stopped(path: Path, target: Path) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(Path, "replace", stopped)
        book("export", file, code=130)
    assert file.read_text(encoding="utf-8") == former
    assert not list(tmp_path.glob("*.half"))


class Terminal(io.StringIO):
    """A standard error that is a terminal."""

    def isatty(self) -> bool:
        return True


def test_work_that_takes_a_while_says_on_a_terminal_that_it_goes_on_and_leaves_a_clean_line(monkeypatch):
    screen = Terminal()
    monkeypatch.setattr(sys, "stderr", screen)
    monkeypatch.setattr(working, "SECONDS_BETWEEN", 0.001)
    with working.showing_work("Reading book.csv …"):
        while "Reading book.csv … 0 s" not in screen.getvalue():
            threading.Event().wait(0.001)
    assert screen.getvalue().endswith("\r\x1b[K")
    monkeypatch.setattr(sys, "stderr", silent := io.StringIO())
    with working.showing_work("Reading book.csv …"):
        pass
    assert not silent.getvalue()
