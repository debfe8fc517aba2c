"""A county's plots: a table of any length in, a table of plans out, in the order it came and in bounded memory.

Rules of this room:

* Every plan is `feedcalc.command_line.plots.plan.plan_of`. Here are only files and who does the work: this process,
  several, or a Dask cluster, all through the one interface of `concurrent.futures`, so the same bytes come of each.
* A bounded number of chunks is under way at once; nothing grows with the length of the table.
* A row that can't be planned is set aside with its reasons and never stops the others.
* A file under its own name is whole. Until then it is ``.part``, which is kept when the run is stopped.
* No cell that a spreadsheet would take for a formula is written as one.
"""

from __future__ import annotations

import csv
import io
import logging
import os
import re
import signal
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from importlib import import_module
from io import BufferedReader
from itertools import chain, islice
from multiprocessing import get_context, parent_process
from pathlib import Path
from threading import Thread, current_thread, main_thread
from typing import IO, Any

from feedcalc.command_line.plots.plan import PLAN_COLUMNS, Cell, Header, PlotPlan, header_of, plan_of
from feedcalc.contract.spreadsheet import guarded
from feedcalc.garden.suitability import HOLD
from feedcalc.words.errors import FeedcalcError, InputError, InputErrors, NoSolution
from feedcalc.words.messages import said

CHUNK_ROWS = 250
# Chunks under way for each worker: enough that none waits, few enough to hold in memory.
CHUNKS_FOR_EACH = 4
# A table of fewer is done before other processes have started.
FEW_CHUNKS = 4
LONGEST_CELL = 20_000
LONGEST_LINE = 1_000_000
DELIMITERS = ",;\t|"
ASIDE_COLUMNS = ("aside_row", "aside_line", "aside_because")
CLUSTER_WAIT = "15s"


class NoPlans(FeedcalcError):
    """The run can't be made or finished: a file, a worker or a package is wanting. The message is one line."""


class Stopped(FeedcalcError):
    """The run was interrupted; ``progress`` tells how far it came, ``kept`` where that lies."""

    def __init__(self, progress: Progress, kept: Path) -> None:
        self.progress, self.kept = progress, kept
        super().__init__(said("Stopped. What was planned so far is kept in {path}.", path=str(kept)))


@dataclass(frozen=True, slots=True)
class Row:
    """A row of the table: its number (the first below the header is 1), its line, its cells, or why it has none."""

    number: int
    line: int
    cells: tuple[str, ...]
    fault: str = ""


@dataclass(frozen=True, slots=True)
class Chunk:
    """Some rows and all that planning them asks for."""

    header: Header
    rows: tuple[Row, ...]
    delimiter: str
    today: str
    customs: str
    locale: str


@dataclass(frozen=True, slots=True)
class Planned:
    """A chunk's plans and the rows set aside, both as text of a table, with a count of each verdict."""

    plans: str
    aside: str
    verdicts: dict[str, int]
    set_aside: int
    rows: int


@dataclass(slots=True)
class Progress:
    """How far a run came: rows by verdict, rows set aside, and the share of the file read (None where unknown)."""

    verdicts: Counter[str] = field(default_factory=Counter)
    set_aside: int = 0
    rows: int = 0
    share: float | None = None

    @property
    def planned(self) -> int:
        """Rows with a plan."""
        return self.verdicts.total()

    @property
    def held_back(self) -> int:
        """Plans that say hold back."""
        return self.verdicts[HOLD]

    def add(self, done: Planned) -> None:
        """Count a chunk in."""
        self.verdicts.update(done.verdicts)
        self.set_aside += done.set_aside
        self.rows += done.rows


@dataclass(frozen=True, slots=True)
class Run:
    """What a run is asked to do. ``processes`` 1 works in this process; ``cluster`` is ``local`` or an address."""

    source: Path
    out: Path
    aside: Path
    today: str
    customs: str = ""
    locale: str = ""
    delimiter: str = ""
    processes: int = 1
    cluster: str = ""
    chunk_rows: int = CHUNK_ROWS


def plan_chunk(chunk: Chunk) -> Planned:
    """The plans of some rows. Pure: the same chunk gives the same text wherever it is worked on."""
    plans: list[list[str]] = []
    aside: list[list[str]] = []
    verdicts: Counter[str] = Counter()
    for row in chunk.rows:
        plan, because = _plan_or_reason(row, chunk)
        if because:
            aside.append([str(row.number), str(row.line), because, *row.cells])
            continue
        verdicts[str(plan["verdict"])] += 1
        told = [row.cells[index] for index in chunk.header.kept]
        plans.append([*told, *(_written(plan[name]) for name in PLAN_COLUMNS)])
    plans_text, aside_text = (_table_text(table, chunk.delimiter) for table in (plans, aside))
    return Planned(plans_text, aside_text, dict(verdicts), len(aside), len(chunk.rows))


def _plan_or_reason(row: Row, chunk: Chunk) -> tuple[PlotPlan, str]:
    """A row's plan, or why there is none."""
    if row.fault:
        return {}, row.fault
    try:
        return plan_of(chunk.header.plot_of(row.cells), chunk.today, chunk.customs, chunk.locale), ""
    except InputErrors as refusal:
        return {}, " ".join(_refusal(error, chunk.header) for error in refusal.errors)
    except NoSolution as reason:
        return {}, str(reason)
    except Exception as fault:
        # One row we fail on must not cost the other ninety-nine thousand.
        name = type(fault).__name__
        return {}, said("feedcalc failed on this row ({fault}); no figure was computed.", fault=name)


def _refusal(error: InputError, header: Header) -> str:
    words = {"column": header.shown(error.field), "problem": error.problem, "accepted": error.accepted}
    if error.given:
        message = "{column}: {problem} Given: {given!r}. Accepted: {accepted}."
        return said(message, **words, given=error.given)
    return said("{column}: {problem} Accepted: {accepted}.", **words)


def plan_plots(run: Run, told: Callable[[Progress], None], warned: Callable[[str], None]) -> Progress:
    """Read the table, plan every row, write plans and rows set aside; ``told`` hears how far it is after each chunk.

    Raises `NoPlans` or `InputErrors` where it can't be done, `Stopped` where it was interrupted. Nothing under the
    names of the results is touched before all of it is done.
    """
    _require_apart(run)
    progress = Progress()
    with _opened(run.source) as binary:
        size = os.fstat(binary.fileno()).st_size
        lines = _Lines(binary, run.source)
        delimiter = run.delimiter or delimiter_of(lines.first())
        rows = _rows(lines, delimiter)
        header = header_of(next(rows).cells)
        for warning in header.warnings:
            warned(warning)
        chunks = _chunks(rows, run, header, delimiter)
        ahead = list(islice(chunks, FEW_CHUNKS))
        if not ahead:
            raise NoPlans(said("There is no plot in {path}, only a header.", path=str(run.source)))
        if len(ahead) < FEW_CHUNKS:
            run = replace(run, processes=1)
        results = [_Result(run.out, lines.has_mark), _Result(run.aside, lines.has_mark)]
        try:
            with results[0] as plans, results[1] as aside, _workers(run) as workers:
                plans.write(_header_text([header.cells[index] for index in header.kept], PLAN_COLUMNS, delimiter))
                aside.write(_header_text(ASIDE_COLUMNS, header.cells, delimiter))
                for done in in_order(chain(ahead, chunks), workers, CHUNKS_FOR_EACH * run.processes):
                    plans.write(done.plans)
                    aside.write(done.aside)
                    progress.add(done)
                    progress.share = min(binary.tell() / size, 1.0) if size else None
                    told(progress)
        except KeyboardInterrupt:
            raise Stopped(progress, results[0].part) from None
    results[0].keep()
    results[1].keep(is_wanted=progress.set_aside > 0)
    return progress


# -- reading ------------------------------------------------------------------------------------------------------


def delimiter_of(line: str) -> str:
    """What parts the cells of a header line: the commonest of comma, semicolon, tab and bar outside quotes.

    >>> delimiter_of('plot;"area, as told";soil_ph'), delimiter_of("plot")
    (';', ',')
    """
    bare = re.sub(r'"[^"]*"', "", line)
    return max(DELIMITERS, key=bare.count)


def _opened(path: Path) -> BufferedReader:
    try:
        return path.open("rb")
    except OSError as reason:
        raise NoPlans(said("{path} can't be read: {reason}.", path=str(path), reason=reason.strerror or "")) from None


class _Lines:
    """The lines of a file as text, with what the row under way was made of at hand."""

    def __init__(self, binary: BufferedReader, path: Path) -> None:
        start = binary.peek(4)
        self.has_mark = start.startswith((b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff"))
        encoding = "utf-16" if start.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
        self._text = io.TextIOWrapper(binary, encoding, newline="")
        self._path = path
        self._ahead: str | None = None
        self.number = 0
        self.current: list[str] = []

    def first(self) -> str:
        """The first line, which stays to be read."""
        self._ahead = self._read()
        if not self._ahead.strip():
            raise NoPlans(said("{path} is empty or begins with an empty line.", path=str(self._path)))
        return self._ahead

    def __iter__(self) -> _Lines:
        return self

    def __next__(self) -> str:
        line = self._ahead if self._ahead is not None else self._read()
        self._ahead = None
        if not line:
            raise StopIteration
        self.number += 1
        self.current.append(line)
        return line

    def _read(self) -> str:
        where = {"path": str(self._path), "line": self.number + 1}
        try:
            line = self._text.readline(LONGEST_LINE)
        except UnicodeDecodeError:
            problem = said("{path} is not text in UTF-8 from about line {line} on. Save it as CSV UTF-8.", **where)
            raise NoPlans(problem) from None
        except OSError as reason:
            raise NoPlans(said("{path} can't be read on: {reason}.", **where, reason=reason.strerror or "")) from None
        if len(line) == LONGEST_LINE:
            raise NoPlans(said("Line {line} of {path} never ends: this is no table.", **where))
        return line


def _rows(lines: _Lines, delimiter: str) -> Iterator[Row]:
    """The header as row 0, then every row; one that can't be read or does not fit the header says so."""
    csv.field_size_limit(LONGEST_CELL)
    table = csv.reader(lines, delimiter=delimiter, strict=True)
    number, width = 0, None
    while True:
        lines.current.clear()
        first_line = lines.number + 1
        fault = ""
        try:
            cells = next(table)
        except StopIteration:
            return
        except csv.Error as reason:
            if width is None:
                raise NoPlans(said("The header can't be read: {reason}.", reason=str(reason))) from None
            fault = said("The quotes of this row don't fit: {reason}.", reason=str(reason))
            cells = ["".join(lines.current)[:LONGEST_CELL]]
        if not any(cells):
            continue
        if width is None:
            width = len(cells)
        elif not fault and len(cells) != width:
            fault = said("This row has {count} cells and the header {width}.", count=len(cells), width=width)
        yield Row(number, first_line, tuple(cells), fault)
        number += 1


def _chunks(rows: Iterator[Row], run: Run, header: Header, delimiter: str) -> Iterator[Chunk]:
    while some := tuple(islice(rows, run.chunk_rows)):
        yield Chunk(header, some, delimiter, run.today, run.customs, run.locale)


# -- who does the work --------------------------------------------------------------------------------------------


@contextmanager
def _workers(run: Run) -> Iterator[Executor | None]:
    """Where chunks are handed to; None is this process."""
    if run.cluster:
        with _cluster(run) as executor:
            yield executor
        return
    if run.processes == 1:
        yield None
        return
    # Started anew rather than copied: a copy of a process with threads (a progress bar has one) can hang.
    executor = ProcessPoolExecutor(run.processes, get_context("spawn"), initializer=_serve_parent)
    try:
        yield executor
    except BrokenProcessPool:
        raise NoPlans(
            said("A worker process ended before its work was done, perhaps for want of memory. Try fewer --processes.")
        ) from None
    finally:
        executor.shutdown(wait=True, cancel_futures=True)


def _serve_parent() -> None:
    """In a worker: leave interrupts to the parent, and do not outlive it if it is killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


@contextmanager
def _cluster(run: Run) -> Iterator[Executor]:
    """A Dask cluster, one started here for ``local``, as an executor."""
    try:
        distributed: Any = import_module("distributed")
    except ImportError:
        raise NoPlans(
            said("A cluster needs two more packages. Install them with: pip install 'feedcalc[cluster]'")
        ) from None
    # What goes wrong is told by us in one line, not by its log.
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    cluster: Any = None
    try:
        if run.cluster == "local":
            with _children_deaf_to_interrupts():
                cluster = distributed.LocalCluster(
                    n_workers=run.processes,
                    threads_per_worker=1,
                    dashboard_address=None,
                    silence_logs=logging.CRITICAL,
                )
        client: Any = distributed.Client(cluster or run.cluster, timeout=CLUSTER_WAIT)
    except (OSError, ValueError) as reason:
        where = {"address": run.cluster, "reason": " ".join(str(reason).split())[:200]}
        raise NoPlans(said("No cluster answers at {address}: {reason}", **where)) from None
    try:
        yield client.get_executor(pure=False)
    except (FeedcalcError, KeyboardInterrupt):
        raise
    except Exception as reason:
        told = " ".join(f"{type(reason).__name__}: {reason}".split())[:300]
        raise NoPlans(said("The cluster gave up: {reason}", reason=told)) from None
    finally:
        client.close()
        if cluster is not None:
            cluster.close()


@contextmanager
def _children_deaf_to_interrupts() -> Iterator[None]:
    """Processes that are started here leave interrupts to this one: a new program inherits what is ignored."""
    if current_thread() is not main_thread():
        yield
        return
    usual = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, usual)


def in_order(chunks: Iterator[Chunk], workers: Executor | None, most: int) -> Iterator[Planned]:
    """What comes of the chunks, in their order, with at most ``most`` of them under way."""
    if workers is None:
        yield from map(plan_chunk, chunks)
        return
    under_way: deque[Future[Planned]] = deque()
    for chunk in chunks:
        under_way.append(workers.submit(plan_chunk, chunk))
        if len(under_way) == most:
            yield under_way.popleft().result()
    while under_way:
        yield under_way.popleft().result()


# -- writing ------------------------------------------------------------------------------------------------------


class _Result:
    """A file that bears its own name only once it is whole."""

    def __init__(self, path: Path, has_mark: bool) -> None:
        self.path = path
        self.part = path.with_name(path.name + ".part")
        self._encoding = "utf-8-sig" if has_mark else "utf-8"
        self._file: IO[str] | None = None

    def __enter__(self) -> _Result:
        with self._saying_why():
            self._file = self.part.open("w", encoding=self._encoding, newline="")
        return self

    def __exit__(self, *_: object) -> None:
        with self._saying_why():
            assert self._file is not None
            self._file.close()

    def write(self, text: str) -> None:
        """Add text, and see that it reaches the disk's queue: what was done must outlive this process."""
        with self._saying_why():
            assert self._file is not None
            self._file.write(text)
            self._file.flush()

    def keep(self, is_wanted: bool = True) -> None:
        """Give the file its name, or drop it and what an earlier run left under that name."""
        with self._saying_why():
            if is_wanted:
                self.part.replace(self.path)
            else:
                self.part.unlink(missing_ok=True)
                self.path.unlink(missing_ok=True)

    @contextmanager
    def _saying_why(self) -> Iterator[None]:
        try:
            yield
        except OSError as reason:
            where = {"path": str(self.path), "reason": reason.strerror or str(reason)}
            raise NoPlans(
                said("{path} can't be written: {reason}. What was written so far is in {path}.part.", **where)
                if self.part.is_file()
                else said("{path} can't be written: {reason}.", **where)
            ) from None


def _require_apart(run: Run) -> None:
    """Results must not fall on what they are made of, or on each other."""
    results = [_Result(path, False) for path in (run.out, run.aside)]
    paths = [run.source, *(path for result in results for path in (result.path, result.part))]
    places = [path.resolve() for path in paths]
    if len(set(places)) < len(places):
        raise NoPlans(said("The table of plots, the plans and the rows set aside must be three different files."))


def _table_text(rows: Iterable[Iterable[str]], delimiter: str) -> str:
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=delimiter, lineterminator="\n").writerows(map(guarded, row) for row in rows)
    return text.getvalue()


def _header_text(before: Sequence[str], after: Sequence[str], delimiter: str) -> str:
    return _table_text([(*before, *after)], delimiter)


def _written(cell: Cell) -> str:
    """A cell as text; numbers as machines read them, whatever the country.

    >>> _written(4.0), _written(0.25)
    ('4', '0.25')
    """
    if isinstance(cell, str):
        return cell
    return str(int(cell)) if cell.is_integer() else repr(cell)
