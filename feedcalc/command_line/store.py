"""The season book on disk: one SQLite file in which every write is atomic and durable.

* A write is one transaction with a write-ahead log and ``synchronous=FULL``, so a kill of the process loses at most the
  write in progress. It is merged with the file's present records, because another process may have written since.
* On opening, the file is checked (``integrity_check``, ``foreign_key_check``) and migrated to the newest layout in one
  transaction, after a copy was saved beside it.
* A damaged file is never changed. All that can still be read is saved as JSON beside it.
* Every refusal is an `InputError` of the field ``book`` that says what is wrong and what to do. No clock is read here.
"""

from __future__ import annotations

import os
import secrets
import shutil
import sqlite3
import sys
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from types import TracebackType

from feedcalc.book.book_file import book_document, book_text, read_document
from feedcalc.book.records import (
    RECORD_FIELDS,
    RECORD_KINDS,
    FieldVersion,
    Record,
    changed_records,
    later_timestamp,
    merge,
    record_from,
    undoing_texts,
    write_fields,
)
from feedcalc.words.errors import InputError
from feedcalc.words.messages import any_of, said

APPLICATION_ID = 0x46434253  # "FCBS", in the header of the SQLite file
LEAST_SPACE = 100_000  # bytes that a write may need beside the book
BUSY_SECONDS = 5.0  # how long to wait for another process that holds the file
MOST_PROBED = 200_000  # rows of a damaged table that are looked up one by one

_LAYOUT_1 = (
    "CREATE TABLE record (id TEXT PRIMARY KEY, kind TEXT NOT NULL)",
    """CREATE TABLE written (
        record TEXT NOT NULL REFERENCES record (id), field TEXT NOT NULL,
        at TEXT NOT NULL, by TEXT NOT NULL, text TEXT NOT NULL,
        UNIQUE (record, field, at, by, text))""",
    "CREATE TABLE device (id TEXT NOT NULL)",
)
# Layout 2 separates the current versions from history and keeps the steps that can be undone.
_TO_LAYOUT_2 = (
    """CREATE TABLE field (
        record TEXT NOT NULL REFERENCES record (id), name TEXT NOT NULL,
        at TEXT NOT NULL, by TEXT NOT NULL, text TEXT NOT NULL,
        UNIQUE (record, name))""",
    """CREATE TABLE history (
        record TEXT NOT NULL, name TEXT NOT NULL, at TEXT NOT NULL, by TEXT NOT NULL, text TEXT NOT NULL,
        UNIQUE (record, name, at, by, text),
        FOREIGN KEY (record, name) REFERENCES field (record, name))""",
    """INSERT INTO field SELECT record, field, at, by, text FROM (
        SELECT *, row_number() OVER (PARTITION BY record, field ORDER BY at DESC, by DESC, text DESC) AS place
        FROM written) WHERE place = 1""",
    """INSERT INTO history SELECT record, field, at, by, text FROM (
        SELECT *, row_number() OVER (PARTITION BY record, field ORDER BY at DESC, by DESC, text DESC) AS place
        FROM written) WHERE place > 1""",
    "DROP TABLE written",
    """CREATE TABLE step (
        number INTEGER PRIMARY KEY AUTOINCREMENT, at TEXT NOT NULL, what TEXT NOT NULL, undone TEXT)""",
    """CREATE TABLE step_back (
        step INTEGER NOT NULL REFERENCES step (number), record TEXT NOT NULL REFERENCES record (id),
        name TEXT NOT NULL, text TEXT NOT NULL, UNIQUE (step, record, name))""",
)
_LAYOUTS = (_LAYOUT_1, _TO_LAYOUT_2)
LAYOUT = len(_LAYOUTS)


def book_path(chosen: str | None, environment: Mapping[str, str], platform: str = sys.platform) -> Path:
    """Return the path of the book: the chosen one, ``FEEDCALC_BOOK``, or one in the platform's folder for data.

    >>> book_path(None, {"XDG_DATA_HOME": "/data"}, "linux").as_posix()
    '/data/feedcalc/book.sqlite'
    >>> book_path(None, {"HOME": "/data/ann"}, "linux").as_posix()
    '/data/ann/.local/share/feedcalc/book.sqlite'
    >>> book_path("my.sqlite", {"FEEDCALC_BOOK": "/other"}).as_posix()
    'my.sqlite'
    """
    if chosen or environment.get("FEEDCALC_BOOK"):
        return Path(chosen or environment["FEEDCALC_BOOK"])
    home = Path(environment.get("HOME") or environment.get("USERPROFILE") or Path.home())
    folder = home / ".local" / "share"
    if platform == "win32":
        folder = Path(environment.get("LOCALAPPDATA") or home / "AppData" / "Local")
    elif platform == "darwin":
        folder = home / "Library" / "Application Support"
    data = environment.get("XDG_DATA_HOME", "")
    return (Path(data) if Path(data).is_absolute() else folder) / "feedcalc" / "book.sqlite"


class BookStore:
    """An open book, made by `open_book` and used in a ``with`` statement."""

    def __init__(self, path: Path, connection: sqlite3.Connection, refused: InputError | None = None) -> None:
        """``refused`` is why the book can only be read, if so."""
        self.path = path
        self._connection = connection
        self._refused = refused

    def __enter__(self) -> BookStore:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file. Every write is on disk already."""
        self._connection.close()

    @property
    def device(self) -> str:
        """The writer's id of what is written through this file."""
        return str(self._connection.execute("SELECT id FROM device").fetchone()[0])

    def records(self) -> list[Record]:
        """Return all records, removed ones too, sorted by kind and id; raises `InputError`."""
        with _explained(self.path):
            return self._records(None)

    def write(self, records: Iterable[Record], at: str, what: str) -> list[Record]:
        """Merge records into the book in one transaction and return those that changed; raises `InputError`.

        ``what`` describes the step in a few words for `take_back`. A write that changes nothing is not a step.
        """
        records = list(records)
        with self._transaction():
            before = self._records([record.id for record in records])
            changed = changed_records(before, merge(before, records))
            self._store(changed)
            former = undoing_texts(before, changed)
            if former:
                step = self._connection.execute("INSERT INTO step (at, what) VALUES (?, ?)", (at, what)).lastrowid
                self._connection.executemany(
                    "INSERT INTO step_back VALUES (?, ?, ?, ?)",
                    ((step, id_, name, text) for id_, texts in former.items() for name, text in texts.items()),
                )
        return changed

    def take_back(self, at: str) -> tuple[str, list[Record]] | None:
        """Undo the latest step that was not undone; return what it was and what changed, None if there is none."""
        with self._transaction():
            step = self._connection.execute(
                "SELECT number, what FROM step WHERE undone IS NULL ORDER BY number DESC LIMIT 1"
            ).fetchone()
            if step is None:
                return None
            former: dict[str, dict[str, str]] = {}
            for id_, name, text in self._connection.execute(
                "SELECT record, name, text FROM step_back WHERE step = ?", (step[0],)
            ):
                former.setdefault(id_, {})[name] = text
            device = self.device
            before = self._records(list(former))
            after = [
                write_fields(record, former[record.id], later_timestamp([record], at), device) for record in before
            ]
            self._store(changed_records(before, after))
            self._connection.execute("UPDATE step SET undone = ? WHERE number = ?", (at, step[0]))
        return str(step[1]), after

    def copy_to(self, path: Path) -> None:
        """Write a copy of the whole file to a path, replacing what is there."""
        with _explained(path):
            _copy(self._connection, path, LAYOUT)

    def _records(self, wanted: list[str] | None) -> list[Record]:
        """Return the records with these ids, or all if None."""
        select, chosen = "", []
        kinds: dict[str, str] = {}
        versions: dict[str, list[FieldVersion]] = {}
        for part in (
            [wanted[start : start + 500] for start in range(0, len(wanted), 500)] if wanted is not None else [[]]
        ):
            if wanted is not None:
                select, chosen = f"IN ({', '.join('?' * len(part))})", part
            for id_, kind in self._connection.execute(
                f"SELECT id, kind FROM record {select and 'WHERE id ' + select}", chosen
            ):
                kinds[id_], versions[id_] = kind, []
            for table in ("field", "history"):
                found = self._connection.execute(
                    f"SELECT record, name, at, by, text FROM {table} {select and 'WHERE record ' + select}", chosen
                )
                for id_, *version in found:
                    versions[id_].append(FieldVersion(*version))
        return merge((record_from(id_, kind, versions[id_]) for id_, kind in kinds.items()), [])

    def _store(self, records: Iterable[Record]) -> None:
        for record in records:
            self._connection.execute(
                "INSERT INTO record VALUES (?, ?) ON CONFLICT (id) DO UPDATE SET kind = excluded.kind",
                (record.id, record.kind),
            )
            self._connection.executemany(
                """INSERT INTO field VALUES (?, ?, ?, ?, ?) ON CONFLICT (record, name) DO UPDATE
                SET at = excluded.at, by = excluded.by, text = excluded.text""",
                ((record.id, name, version.at, version.by, version.text) for name, version in record.fields.items()),
            )
            self._connection.executemany(
                "INSERT OR IGNORE INTO history VALUES (?, ?, ?, ?, ?)",
                ((record.id, past.field, past.at, past.by, past.text) for past in record.history),
            )

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        if self._refused:
            raise self._refused
        with _explained(self.path), _transaction(self._connection):
            yield


def open_book(path: Path) -> BookStore:
    """Return the book in a file, which is created if it does not exist; raises `InputError`.

    A file of an older layout is migrated to the newest one after a copy was saved beside it. A book in a folder that
    takes no files can be read, and refuses to be written to.
    """
    with _explained(path):
        _make_folder(path)
        address = path.absolute().as_uri() + ("?immutable=1" if _is_for_reading(path) else "")
        connection = sqlite3.connect(address, timeout=BUSY_SECONDS, isolation_level=None, uri=True)
        try:
            _prepare(path, connection)
        except sqlite3.OperationalError as error:
            connection.close()
            kept = _readable_copy(path, error)
            if kept is None:
                raise
            return BookStore(path, kept, _sqlite_refusal(path, error))
        except BaseException:
            connection.close()
            raise
    return BookStore(path, connection)


def _is_for_reading(path: Path) -> bool:
    """Return whether SQLite can't make the files it needs beside the book, and none of an unfinished write is there."""
    return path.is_file() and not os.access(path.parent, os.W_OK) and not path.with_name(f"{path.name}-wal").exists()


def _readable_copy(path: Path, error: sqlite3.OperationalError) -> sqlite3.Connection | None:
    """Return the book opened for reading alone where the disk takes no more; None where that is not what is wrong.

    SQLite needs space beside a book even to read it. It does without as long as no write is unfinished.
    """
    code = error.sqlite_errorcode & 0xFF
    log = path.with_name(f"{path.name}-wal")
    if code not in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR) or (log.exists() and log.stat().st_size):
        return None
    connection = sqlite3.connect(f"{path.absolute().as_uri()}?immutable=1", uri=True, isolation_level=None)
    try:
        if _pragma(connection, "user_version") == LAYOUT and _pragma(connection, "application_id") == APPLICATION_ID:
            return connection
    except sqlite3.DatabaseError:
        pass
    connection.close()
    return None


def _make_folder(path: Path) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _refusal(path, said("The folder of the book can't be made."), str(error.strerror)) from None
    if path.is_dir():
        raise _refusal(path, said("This is a folder, not a book."), said("the name of a file"))


def _prepare(path: Path, connection: sqlite3.Connection) -> None:
    layout = _pragma(connection, "user_version")
    tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if (layout or tables) and _pragma(connection, "application_id") != APPLICATION_ID:
        raise _refusal(path, said("This file is from another program."), said("a book of feedcalc, or a new name"))
    if layout > LAYOUT:
        raise _refusal(
            path,
            said("A newer feedcalc wrote this book. Update this one first; the book was left as it is."),
            said("a layout up to {newest}, not {layout}", newest=LAYOUT, layout=layout),
        )
    if layout < 0:
        raise sqlite3.DatabaseError("malformed")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    faults = [str(row[0]) for row in connection.execute("PRAGMA integrity_check(1)")]
    if faults != ["ok"] or connection.execute("PRAGMA foreign_key_check").fetchone():
        raise sqlite3.DatabaseError("malformed")
    if 0 < layout < LAYOUT:
        _copy(connection, path.with_name(f"{path.name}.before-layout-{LAYOUT}"), layout)
    if layout < LAYOUT:
        _migrate(connection)
        for left_over in path.parent.glob(f"{path.name}.*.half-*"):
            left_over.unlink(missing_ok=True)


def _migrate(connection: sqlite3.Connection) -> None:
    with _transaction(connection):
        # Read the layout again: another process may have migrated the file while this one waited.
        for layout in range(_pragma(connection, "user_version"), LAYOUT):
            for statement in _LAYOUTS[layout]:
                connection.execute(statement)
            if layout == 0:
                connection.execute("INSERT INTO device VALUES (?)", (secrets.token_hex(8),))
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {layout + 1}")


@contextmanager
def _transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """Run the body as a transaction that holds the write lock."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        with suppress(sqlite3.Error):
            connection.execute("ROLLBACK")
        raise


def _pragma(connection: sqlite3.Connection, name: str) -> int:
    return int(connection.execute(f"PRAGMA {name}").fetchone()[0])


def _copy(connection: sqlite3.Connection, path: Path, layout: int) -> None:
    """Save a copy under a name that appears only when it is complete, unless the layout has changed since."""
    half = path.with_name(f"{path.name}.half-{os.getpid()}")
    try:
        with closing(sqlite3.connect(half, isolation_level=None)) as copy:
            connection.backup(copy)
            has_layout = _pragma(copy, "user_version") == layout
        if has_layout:  # otherwise another process has migrated the file and made the copy itself
            half.replace(path)
    finally:
        half.unlink(missing_ok=True)


# -- failures -------------------------------------------------------------------------------------------------


@contextmanager
def _explained(path: Path) -> Iterator[None]:
    """Turn errors of SQLite and the disk into `InputError`, and save what can be read of a damaged file."""
    try:
        yield
    except (sqlite3.ProgrammingError, sqlite3.IntegrityError):
        raise  # an error of this program, not of the file
    except sqlite3.DatabaseError as error:
        raise _sqlite_refusal(path, error) from None
    except UnicodeDecodeError:
        raise _damaged(path) from None
    except OSError as error:
        raise _refusal(path, said("The disk refuses: {reason}.", reason=error.strerror or str(error)), "") from None


def _sqlite_refusal(path: Path, error: sqlite3.DatabaseError) -> InputError:
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT) & 0xFF
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        problem = said("Another program is using this book. Nothing was written. Try again when it is done.")
        return _refusal(path, problem, said("a book that nobody else is writing in"))
    if code == sqlite3.SQLITE_READONLY:
        problem = said("This book can only be read: the file or its disk is write-protected. Nothing was written.")
        return _refusal(path, problem, said("a place that can be written to (--book FILE)"))
    if code == sqlite3.SQLITE_FULL or (code == sqlite3.SQLITE_IOERR and _is_full(path)):
        problem = said("No space is left on the disk. Nothing was written; the book is as it was.")
        return _refusal(path, problem, said("a disk with room"))
    if code == sqlite3.SQLITE_NOTADB:
        problem = said("This is not a book of feedcalc, or its beginning is destroyed. It was left as it is.")
        return _refusal(path, problem, _named_copies(path))
    if code == sqlite3.SQLITE_CANTOPEN:
        return _refusal(path, said("The file can't be opened."), said("a file in a folder that may be written to"))
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_FORMAT, sqlite3.SQLITE_ERROR):
        return _damaged(path)
    problem = said("The disk failed ({reason}). This was not written.", reason=str(error))
    return _refusal(path, problem, said("a disk that works"))


def _is_full(path: Path) -> bool:
    with suppress(OSError):
        return shutil.disk_usage(path.parent).free < LEAST_SPACE
    return False


def _named_copies(path: Path) -> str:
    copies = sorted(copy.name for copy in path.parent.glob(f"{path.name}.before-layout-*") if "half" not in copy.name)
    return said("a copy of it, such as {copies}", copies=any_of(copies)) if copies else said("a copy of it")


def _damaged(path: Path) -> InputError:
    records = salvaged(path)
    if not records:
        problem = said("This book is damaged, and nothing of it could be read. It was left as it is.")
        return _refusal(path, problem, _named_copies(path))
    saved = _saved_beside(path, book_text(records))
    problem = said(
        "This book is damaged and was left as it is. Records that could still be read: {count}, saved in {file}.",
        count=len(records),
        file=saved.name,
    )
    return _refusal(path, problem, said("a new book, into which that file is read (feedcalc book import)"))


def _saved_beside(path: Path, text: str) -> Path:
    """Write a text beside the book under the first free name and return its path; do not write the same text twice."""
    for number in range(1, 1000):
        place = path.with_name(f"{path.name}.salvaged-{number}.json")
        try:
            with place.open("x", encoding="utf-8") as file:
                file.write(text)
            return place
        except FileExistsError:
            if place.read_text(encoding="utf-8", errors="replace") == text:
                return place
    return place


def salvaged(path: Path) -> list[Record]:
    """Return all records of which anything can still be read in a damaged file, opened read-only."""
    kinds: dict[str, str] = {}
    versions: dict[str, set[FieldVersion]] = {}
    with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=BUSY_SECONDS)) as connection:
        # Makes SQLite read on in a file that was cut short or has a damaged schema.
        connection.execute("PRAGMA writable_schema = ON")
        for id_, kind in _readable(connection, "record", "id, kind"):
            kinds[id_] = kind
        for columns, table in (("name", "field"), ("name", "history"), ("field", "written")):
            for id_, *version in _readable(connection, table, f"record, {columns}, at, by, text"):
                if all(isinstance(part, str) for part in (id_, *version)):
                    versions.setdefault(id_, set()).add(FieldVersion(*version))
    rows = [
        {
            "id": id_,
            "kind": kinds[id_] if kinds.get(id_) in RECORD_KINDS else _kind_of({past.field for past in known}),
            "history": [{"field": past.field, "text": past.text, "at": past.at, "by": past.by} for past in known],
        }
        for id_, known in versions.items()
    ]
    return read_document(book_document([]) | {"records": rows})[0]


def _kind_of(names: set[str]) -> str:
    """Return the kind of record that these fields fit best, for a record whose own row is lost."""
    return max(RECORD_KINDS, key=lambda kind: (len(names & set(RECORD_FIELDS[kind])), -len(RECORD_FIELDS[kind])))


def _readable(connection: sqlite3.Connection, table: str, columns: str) -> list[tuple[str, ...]]:
    """Return every row of a table that can be read: from the front, from the back, and between them one by one."""

    def run(order: str) -> tuple[list[tuple[str, ...]], int | None]:
        """Return the rows up to the first unreadable one and the number of the last row read, None at the end."""
        rows: list[tuple[str, ...]] = []
        last = 0
        try:
            for row in connection.execute(f"SELECT rowid, {columns} FROM {table} NOT INDEXED ORDER BY rowid {order}"):
                rows.append(row[1:])
                last = row[0]
        except (sqlite3.DatabaseError, UnicodeDecodeError):
            return rows, last
        return rows, None

    front, stopped = run("ASC")
    if stopped is None:
        return front
    back, until = run("DESC")
    between = []
    for number in range(stopped + 1, min(until or 0, stopped + MOST_PROBED)):
        with suppress(sqlite3.DatabaseError, UnicodeDecodeError):
            between += connection.execute(
                f"SELECT {columns} FROM {table} NOT INDEXED WHERE rowid = ?", (number,)
            ).fetchall()
    return [*front, *between, *back]


def _refusal(path: Path, problem: str, accepted: str) -> InputError:
    return InputError("book", path.name, problem, accepted)
