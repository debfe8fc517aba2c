"""Kill processes that write in a book, hundreds of times, and check the book after each kill.

``python -m tests.whole.faults.killing FOLDER`` prints the results as JSON. Each victim is a fork of this process, so
hundreds of them take seconds. A victim reports through a pipe what it has committed. It is killed with SIGKILL, either
by this process at a random moment or, inside one transaction, by itself at a chosen step of SQLite.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import sqlite3
import sys
import time
from collections.abc import Callable, Iterable
from contextlib import closing
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from feedcalc.book.records import Record, new_record, write_fields
from feedcalc.command_line.store import LAYOUT, open_book

AT = "2026-05-01T09:00:00.000Z"
WRITING_BOOKS = 11
KILLS_A_BOOK = 20
STEP_KILLS = 40  # during an import, and as many during a migration
MANY = 150
STEP = 50  # instructions of SQLite


@dataclass
class Found:
    """The number of kills, the states of the book after them, and whatever was wrong."""

    kills: int = 0
    entries: int = 0
    unreported: int = 0
    imports_whole: int = 0
    imports_absent: int = 0
    layouts_old: int = 0
    layouts_new: int = 0
    faults: list[str] = field(default_factory=list)


def an_entry(identity: str) -> Record:
    fields = {"bed": "south", "date": "2026-05-01", "what": "dry ash", "amount": "1 cup", "note": identity}
    return write_fields(new_record(identity, "entry"), fields, AT, "victim")


def faults_in(place: Path, reported: Iterable[str]) -> tuple[list[str], int]:
    """Return what is wrong with a book in which these entries were reported, and how many were committed unreported."""
    reported = set(reported)
    with open_book(place) as store:  # refuses a file whose integrity or foreign keys are broken
        kept = {record.id: record for record in store.records()}
    faults = [f"{lost} was reported and is missing" for lost in sorted(reported - kept.keys())]
    faults += [f"{id_} is incomplete" for id_, record in kept.items() if record != an_entry(id_)]
    unreported = len(kept.keys() - reported)
    return faults, unreported


def write_until_killed(place: Path, name: str, report: Callable[[str], None]) -> None:
    with open_book(place) as store:
        for number in range(10_000):
            record = an_entry(f"{name}-{number}")
            store.write([record], AT, "an entry")
            report(record.id)


def killed(work: Callable[[Callable[[str], None]], None], reports: int, pause: float) -> list[str]:
    """Return what a victim reported until it was killed, ``pause`` seconds after this number of reports."""
    reading, writing = os.pipe()
    victim = os.fork()
    if victim == 0:
        os.close(reading)
        try:
            os.write(writing, b"started\n")
            work(lambda id_: os.write(writing, f"{id_}\n".encode()) and None)
        finally:
            os._exit(0)
    os.close(writing)
    output = b""
    while output.count(b"\n") <= reports and (part := os.read(reading, 65536)):
        output += part
    time.sleep(pause)
    os.kill(victim, signal.SIGKILL)
    os.waitpid(victim, 0)
    while part := os.read(reading, 65536):
        output += part
    os.close(reading)
    return output.decode().splitlines()[1:]


def kill_while_writing(folder: Path, found: Found, chance: random.Random) -> None:
    """Kill processes that write entry after entry, at random moments, many times for each book."""
    for book in range(WRITING_BOOKS):
        place = folder / f"writing-{book}.sqlite"
        reported: set[str] = set()
        before = 0
        for number in range(KILLS_A_BOOK):
            reported.update(
                killed(
                    lambda report, at=place, name=f"v{number}": write_until_killed(at, name, report),
                    chance.randrange(5),  # 0 kills it while it opens the book
                    chance.uniform(0, 0.003),
                )
            )
            faults, unreported = faults_in(place, reported)
            if unreported - before > 1:
                faults.append(f"{unreported - before} entries were kept and not reported")
            found.unreported += unreported - before
            before = unreported
            found.kills += 1
            found.faults += faults
        found.entries += len(reported) + before


def steps_taken(work: Callable[[], object], last: int = 0) -> int | None:
    """Do the work in a fork that counts the steps of SQLite and kills itself at the ``last`` one.

    Return the number of steps, None if it was killed.
    """
    reading, writing = os.pipe()
    victim = os.fork()
    if victim == 0:
        counted = 0
        connect = sqlite3.connect

        def count() -> int:
            nonlocal counted
            counted += 1
            if counted == last:
                os.kill(os.getpid(), signal.SIGKILL)
            return 0

        def connect_counting(*places: Any, **options: Any) -> sqlite3.Connection:
            connection: sqlite3.Connection = connect(*places, **options)
            connection.set_progress_handler(count, STEP)
            return connection

        sqlite3.connect = connect_counting  # type: ignore[assignment]
        try:
            work()
            os.write(writing, str(counted).encode())
        finally:
            os._exit(0)
    os.close(writing)
    output = os.read(reading, 100)
    os.close(reading)
    _, status = os.waitpid(victim, 0)
    if not output and not os.WIFSIGNALED(status):
        raise RuntimeError("the work failed by itself")
    return int(output) if output else None


def kill_during_imports(folder: Path, found: Found) -> None:
    """Kill an import of many entries at steps spread over it: all of it is there or nothing."""
    entries = [an_entry(f"import-{number}") for number in range(MANY)]

    def bring_in(place: Path) -> None:
        with open_book(place) as store:
            store.write(entries, AT, "an import")

    first = folder / "import.sqlite"
    with open_book(first) as store:
        store.write([an_entry("before")], AT, "an entry")
    for number, last in enumerate(_spread(first, folder, bring_in)):
        place = _copied(first, folder / f"import-{number}.sqlite")
        finished = steps_taken(lambda place=place: bring_in(place), last) is not None
        faults, _ = faults_in(place, ["before", *([entry.id for entry in entries] if finished else [])])
        with open_book(place) as store:
            kept = len(store.records()) - 1
        if kept not in (0, MANY):
            faults.append(f"{kept} of {MANY} entries of an import are there")
        found.imports_whole += kept == MANY
        found.imports_absent += kept == 0
        found.kills += not finished
        found.faults += faults


def kill_during_migrations(folder: Path, found: Found) -> None:
    """Kill migrations at steps spread over them: the layout is old or new, with all records either way."""
    first = folder / "older.sqlite"
    records = [
        write_fields(an_entry(f"entry-{number}"), {"note": "changed"}, "2026-05-02T09:00:00.000Z", "other")
        for number in range(MANY)
    ]
    make_layout_1(first, records)

    def open_once(place: Path) -> None:
        open_book(place).close()

    for number, last in enumerate(_spread(first, folder, open_once)):
        place = _copied(first, folder / f"older-{number}.sqlite")
        found.kills += steps_taken(lambda place=place: open_once(place), last) is None
        with closing(sqlite3.connect(place)) as looked:
            layout = looked.execute("PRAGMA user_version").fetchone()[0]
        found.layouts_old += layout == 1
        found.layouts_new += layout == LAYOUT
        with open_book(place) as store:
            if store.records() != sorted(records, key=lambda record: record.id):
                found.faults.append(f"a book killed at step {last} of its migration has changed")
        copy = place.with_name(f"{place.name}.before-layout-{LAYOUT}")
        with closing(sqlite3.connect(copy)) as kept:
            if kept.execute("SELECT count(*) FROM written").fetchone()[0] != 6 * MANY:
                found.faults.append(f"the copy before a migration killed at step {last} is incomplete")


def make_layout_1(place: Path, records: list[Record]) -> None:
    """Make a book of layout 1, with all versions in one table."""
    with closing(sqlite3.connect(place)) as old, old:
        old.executescript(f"""
            CREATE TABLE record (id TEXT PRIMARY KEY, kind TEXT NOT NULL);
            CREATE TABLE written (record TEXT NOT NULL REFERENCES record (id), field TEXT NOT NULL, at TEXT NOT NULL,
                by TEXT NOT NULL, text TEXT NOT NULL, UNIQUE (record, field, at, by, text));
            CREATE TABLE device (id TEXT NOT NULL);
            INSERT INTO device VALUES ('old-device');
            PRAGMA application_id = {0x46434253};
            PRAGMA user_version = 1;
        """)
        old.executemany("INSERT INTO record VALUES (?, ?)", ((record.id, record.kind) for record in records))
        old.executemany(
            "INSERT INTO written VALUES (?, ?, ?, ?, ?)",
            (
                (record.id, past.field, past.at, past.by, past.text)
                for record in records
                for past in sorted(record.versions())
            ),
        )


def _spread(first: Path, folder: Path, work: Callable[[Path], None]) -> list[int]:
    """Return steps at equal distances over all the work, and one that is never reached."""
    whole = steps_taken(lambda: work(_copied(first, folder / "counted.sqlite")))
    assert whole
    return [1 + whole * number // STEP_KILLS for number in range(STEP_KILLS)] + [10 * whole]


def _copied(place: Path, to: Path) -> Path:
    shutil.copyfile(place, to)
    return to


def main() -> None:
    folder = Path(sys.argv[1])
    found = Found()
    kill_while_writing(folder, found, random.Random(6))
    kill_during_imports(folder, found)
    kill_during_migrations(folder, found)
    print(json.dumps(asdict(found)))


if __name__ == "__main__":
    main()
