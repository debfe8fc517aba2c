"""The book's file: writes are durable, older layouts are migrated, and every refusal says why."""

from __future__ import annotations

import resource
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from feedcalc.book.book_file import read_book
from feedcalc.book.records import Record, new_record, remove_record, write_fields
from feedcalc.command_line import store as book_store
from feedcalc.command_line.store import LAYOUT, BookStore, book_path, open_book, salvaged
from feedcalc.words.errors import InputError
from tests.whole.faults import killing


def day(number: int) -> str:
    return f"2026-05-{number:02d}T09:00:00.000Z"


def bed(identity: str = "south", at: str = day(1), by: str = "phone", **fields: str) -> Record:
    return write_fields(new_record(identity, "bed"), {"name": identity.title(), **fields}, at, by)


@pytest.fixture
def place(tmp_path: Path) -> Path:
    return tmp_path / "shed" / "book.sqlite"


@pytest.fixture
def store(place: Path) -> Iterator[BookStore]:
    with open_book(place) as opened:
        yield opened


def reread(place: Path) -> list[Record]:
    with open_book(place) as opened:
        return opened.records()


def refused(place: Path) -> InputError:
    with pytest.raises(InputError) as refusal:
        open_book(place)
    assert refusal.value.field == "book"
    return refusal.value


# -- keeping --------------------------------------------------------------------------------------------------


def test_a_written_record_is_there_after_closing_with_its_history(store, place):
    record = remove_record(write_fields(bed(area="6 m^2"), {"area": "7 m²\x00\n"}, day(2), "laptop"), day(3), "phone")
    assert store.write([record], day(3), "a bed") == [record]
    assert store.write([record], day(3), "a bed") == []
    store.close()
    assert reread(place) == [record]


def test_two_processes_that_write_one_record_lose_nothing(store, place):
    store.write([bed(area="6 m^2")], day(1), "a bed")
    with open_book(place) as other:
        seen = other.records()
        store.write([write_fields(seen[0], {"area": "7 m^2"}, day(2), "phone")], day(2), "area")
        other.write([write_fields(seen[0], {"note": "wet"}, day(3), "laptop")], day(3), "note")
    (record,) = store.records()
    assert (record.text("area"), record.text("note")) == ("7 m^2", "wet")
    assert [past.text for past in record.history] == ["6 m^2"]


def test_the_file_has_a_write_ahead_log_full_synchronisation_and_foreign_keys(store):
    asked = {
        name: store._connection.execute(f"PRAGMA {name}").fetchone()[0] for name in ("journal_mode", "synchronous")
    }
    assert asked == {"journal_mode": "wal", "synchronous": 2}
    with pytest.raises(sqlite3.IntegrityError):
        store._connection.execute("INSERT INTO field VALUES ('nobody', 'name', '', '', '')")


def test_a_device_keeps_its_id_and_two_books_have_two(store, place, tmp_path):
    first = store.device
    with open_book(place) as again, open_book(tmp_path / "other.sqlite") as other:
        assert again.device == first != other.device


def test_steps_are_undone_from_the_latest_and_nothing_is_lost(store):
    store.write([bed(area="6 m^2")], day(1), "a bed")
    store.write(
        [write_fields(bed(area="6 m^2"), {"area": "60 m^2"}, day(2), "phone"), bed("north")], day(2), "an import"
    )
    what, changed = store.take_back(day(3))
    assert (what, {record.id for record in changed}) == ("an import", {"south", "north"})
    north, south = store.records()
    assert north.is_removed
    assert (south.text("area"), south.fields["area"].by) == ("6 m^2", store.device)
    assert "60 m^2" in [past.text for past in south.history]
    assert store.take_back(day(4))[0] == "a bed"
    assert all(record.is_removed for record in store.records())
    assert store.take_back(day(5)) is None


def test_a_copy_has_all_records(store, tmp_path):
    store.write([bed()], day(1), "a bed")
    store.copy_to(tmp_path / "copy.sqlite")
    assert reread(tmp_path / "copy.sqlite") == [bed()]


@pytest.mark.parametrize(
    ("chosen", "environment", "platform", "expected"),
    [
        ("mine", {"FEEDCALC_BOOK": "/b"}, "linux", "mine"),
        (None, {"FEEDCALC_BOOK": "/b"}, "linux", "/b"),
        (None, {"XDG_DATA_HOME": "/x", "HOME": "/h"}, "linux", "/x/feedcalc/book.sqlite"),
        (None, {"XDG_DATA_HOME": "relative", "HOME": "/h"}, "linux", "/h/.local/share/feedcalc/book.sqlite"),
        (None, {"HOME": "/h"}, "darwin", "/h/Library/Application Support/feedcalc/book.sqlite"),
        (None, {"LOCALAPPDATA": "/l", "USERPROFILE": "/u"}, "win32", "/l/feedcalc/book.sqlite"),
    ],
)
def test_the_book_is_at_the_chosen_path_or_in_the_folder_for_data(chosen, environment, platform, expected):
    assert book_path(chosen, environment, platform).as_posix() == expected


# -- older and newer layouts ----------------------------------------------------------------------------------


def make_layout_1(place: Path) -> list[Record]:
    """Make a book of layout 1 with two beds and return its records."""
    south = write_fields(
        write_fields(bed(area="6 m^2"), {"area": "7 m^2"}, day(2), "a"), {"area": "8 m^2"}, day(2), "b"
    )
    records = [bed("north"), south]
    place.parent.mkdir(parents=True, exist_ok=True)
    killing.make_layout_1(place, records)
    return records


def test_a_book_of_an_older_layout_is_migrated_after_a_copy_was_saved(place):
    records = make_layout_1(place)
    with open_book(place) as opened:
        assert opened.records() == records
        assert opened.device == "old-device"
        opened.write([bed("west")], day(3), "a bed")
        assert opened.take_back(day(4))[0] == "a bed"
    copy = place.with_name("book.sqlite.before-layout-2")
    with closing(sqlite3.connect(copy)) as before:
        assert before.execute("PRAGMA user_version").fetchone() == (1,)
        assert before.execute("SELECT count(*) FROM written").fetchone() == (5,)
    assert {path.name for path in place.parent.iterdir()} <= {
        place.name,
        copy.name,
        "book.sqlite-wal",
        "book.sqlite-shm",
    }


def test_a_migration_that_fails_leaves_the_book_as_it_was(place, monkeypatch):
    make_layout_1(place)
    broken = (*book_store._TO_LAYOUT_2[:-1], "CREATE TABLE field (again TEXT)")
    monkeypatch.setattr(book_store, "_LAYOUTS", (book_store._LAYOUT_1, broken))
    refused(place)
    with closing(sqlite3.connect(place)) as after:
        assert after.execute("PRAGMA user_version").fetchone() == (1,)
        assert after.execute("SELECT count(*) FROM written").fetchone() == (5,)


def test_a_book_of_a_newer_feedcalc_is_refused_and_not_changed(store, place):
    store._connection.execute(f"PRAGMA user_version = {LAYOUT + 1}")
    store.close()
    before = place.read_bytes()
    assert "newer feedcalc" in refused(place).problem
    assert place.read_bytes() == before


# -- refusals -------------------------------------------------------------------------------------------------


def test_a_file_that_is_not_a_database_is_refused_and_not_changed(place):
    place.parent.mkdir()
    place.write_text("Dear diary, " * 200)
    assert refused(place).problem == (
        "This is not a book of feedcalc, or its beginning is destroyed. It was left as it is."
    )
    assert place.read_text() == "Dear diary, " * 200


def test_the_database_of_another_program_is_refused(place):
    place.parent.mkdir()
    with closing(sqlite3.connect(place)) as other, other:
        other.execute("CREATE TABLE songs (name TEXT)")
    assert refused(place).problem == "This file is from another program."


def test_a_folder_as_the_book_and_a_file_as_its_folder_are_refused(tmp_path):
    assert refused(tmp_path).problem == "This is a folder, not a book."
    (tmp_path / "file").write_text("")
    assert refused(tmp_path / "file" / "book.sqlite").problem == "The folder of the book can't be made."


def test_a_write_is_refused_while_another_process_holds_the_book(store, place, monkeypatch):
    store._connection.execute("PRAGMA busy_timeout = 20")
    with closing(sqlite3.connect(place, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(InputError) as refusal:
            store.write([bed()], day(1), "a bed")
    assert "Another program is using this book. Nothing was written" in refusal.value.problem
    assert store.write([bed()], day(1), "a bed") == [bed()]


def test_a_write_to_a_write_protected_book_is_refused(store):
    store._connection.execute("PRAGMA query_only = ON")
    with pytest.raises(InputError) as refusal:
        store.write([bed()], day(1), "a bed")
    assert "can only be read" in refusal.value.problem


def test_a_full_disk_is_reported_and_only_the_write_in_progress_is_lost(store, place):
    store.write([bed()], day(1), "a bed")
    pages = store._connection.execute("PRAGMA page_count").fetchone()[0]
    store._connection.execute(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(InputError) as refusal:
        store.write([bed("north", note="x" * 100_000)], day(2), "a bed")
    assert "No space is left on the disk." in refusal.value.problem
    assert store.records() == reread(place) == [bed()]


def test_at_a_limit_of_the_file_size_only_the_write_in_progress_is_lost(place):
    with open_book(place) as opened:
        opened.write([bed()], day(1), "a bed")
    code = (
        "import sys; from pathlib import Path; from feedcalc.words.errors import InputError\n"
        "from feedcalc.command_line.store import open_book; from feedcalc.book.records import *\n"
        "opened = open_book(Path(sys.argv[1]))\n"
        "big = write_fields(new_record('north', 'bed'), {'note': 'x' * 190000}, '2026-05-02T09:00:00.000Z', 'phone')\n"
        "try: opened.write([big], '2026-05-02T09:00:00.000Z', 'a bed')\n"
        "except InputError as refusal: print(refusal.problem); sys.exit(7)\n"
    )

    def bounded() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))

    done = subprocess.run(
        [sys.executable, "-c", f"import signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n{code}", str(place)],
        capture_output=True, text=True, preexec_fn=bounded, cwd=Path(__file__).parents[2], check=False,
    )  # fmt: skip
    assert done.returncode == 7, done.stderr
    assert "not written" in done.stdout
    assert reread(place) == [bed()]


# -- damage ---------------------------------------------------------------------------------------------------


PAGE = 4096


def filled(place: Path) -> list[Record]:
    beds = [bed(f"bed-{number:03d}", note=f"note {number} " * 20) for number in range(400)]
    with open_book(place) as opened:
        opened.write(beds, day(1), "beds")
    return beds


def damage(place: Path, around: bytes) -> None:
    """Overwrite the page of the file that has these bytes."""
    found = bytearray(place.read_bytes())
    page = found.index(around) // PAGE
    found[page * PAGE : (page + 1) * PAGE] = b"\xa5" * PAGE
    place.write_bytes(found)


def test_the_readable_records_of_a_damaged_book_are_saved_beside_it(place):
    beds = filled(place)
    damage(place, b"note 200 ")
    before = place.read_bytes()
    refusal = refused(place)
    saved = place.with_name("book.sqlite.salvaged-1.json")
    assert saved.name in refusal.problem
    records, aside = read_book(saved.read_text(encoding="utf-8"))
    assert not aside
    whole = {record.id for record in records if record in beds}
    assert len(beds) - 20 < len(whole) < len(beds)
    assert {"bed-000", "bed-399"} <= whole
    assert f" {len(records)}, " in refusal.problem
    assert place.read_bytes() == before


def test_opening_a_damaged_book_twice_saves_one_file(place):
    filled(place)
    damage(place, b"note 100 ")
    refused(place)
    refused(place)
    assert len(list(place.parent.glob("*.salvaged-*"))) == 1


def test_a_truncated_book_is_reported_as_damaged(place):
    filled(place)
    whole = place.read_bytes()
    place.write_bytes(whole[: len(whole) * 2 // 3])
    assert "damaged" in refused(place).problem


def test_a_row_without_its_record_is_damage(store, place):
    south = bed(area="6 m^2")
    store.write([south], day(1), "a bed")
    store._connection.execute("PRAGMA foreign_keys = OFF")
    store._connection.execute("DELETE FROM record")
    store.close()
    assert "damaged" in refused(place).problem
    assert salvaged(place) == [south]


def test_a_copy_of_an_open_book_with_its_log_has_all_writes(place, tmp_path):
    with open_book(place) as opened:
        opened.write([bed()], day(1), "a bed")
        shutil.copytree(place.parent, tmp_path / "copied")
    assert reread(tmp_path / "copied" / place.name) == [bed()]
