"""Plan a table of plots of any length in bounded memory: read rows, plan them, write plans in the same order.

* A plan is `feedcalc.command_line.plots.plan.plan_of`; here are only files and the division of work.
* A bounded number of chunks is in work at once; nothing grows with the length of the table.
* A row that can't be planned goes to a file of its own with the reasons and never stops the others.
* A file under its own name is complete. Until then it ends in ``.part``, which is kept when the run is stopped.
* No cell that a spreadsheet would take for a formula is written as one.
"""

from __future__ import annotations

import csv
import io
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import chain, islice
from pathlib import Path
from typing import IO

from feedcalc.command_line.files import is_stream
from feedcalc.command_line.plots.columns import PLAN_COLUMNS, REJECTED_COLUMNS, Header, header_of
from feedcalc.command_line.plots.failures import PlanningFailed
from feedcalc.command_line.plots.plan import REASON_SEPARATOR, Cell, PlanRow, plan_of
from feedcalc.command_line.plots.reading import (
    STANDARD,
    TableLines,
    TableRow,
    delimiter_of,
    open_table,
    size_of,
    table_rows,
)
from feedcalc.command_line.plots.workbook import is_workbook, require_workbooks, write_workbook
from feedcalc.command_line.plots.workers import hold_interrupts, map_in_order, worker_pool
from feedcalc.contract.spreadsheet import guarded
from feedcalc.frozen import frozen
from feedcalc.garden.suitability import GO, HOLD
from feedcalc.words.errors import FeedcalcError, InputError, InputErrors, NoSolution
from feedcalc.words.messages import said

CHUNK_ROWS = 250
# Chunks in work for each process: enough that none waits, few enough for memory.
CHUNKS_PER_PROCESS = 4
# A table of fewer is done before other processes have started.
FEW_CHUNKS = 4


class PlanningStopped(FeedcalcError):
    """The run was interrupted after ``progress``; ``kept`` is the file of the plans so far."""

    def __init__(self, progress: Progress, kept: Path) -> None:
        self.progress, self.kept = progress, kept
        super().__init__(said("Stopped. What was planned so far is kept in {path}.", path=str(kept)))


@frozen
class PlotChunk:
    """Some rows of a table and everything needed to plan them."""

    header: Header
    rows: tuple[TableRow, ...]
    delimiter: str
    today: str
    customs: str
    locale: str
    decimal_mark: str


@frozen
class ChunkPlans:
    """The plans of a chunk and its rejected rows, both as the text of a table, and what the summary counts.

    ``reasons`` counts the rows that are not go by their first reason, of which ``examples`` has a text; ``ash_grams``
    is the dry ash for all plots that may have it.
    """

    plans: str
    rejected: str
    verdicts: dict[str, int]
    rejected_rows: int
    rows: int
    reasons: Counter[str]
    examples: dict[str, str]
    ash_grams: float
    left_out: int


@dataclass(slots=True)
class Progress:
    """How far a run is: rows by verdict, rejected rows, and the share of the file read (None where unknown)."""

    verdicts: Counter[str] = field(default_factory=Counter)
    reasons: Counter[str] = field(default_factory=Counter)
    examples: dict[str, str] = field(default_factory=dict)
    ash_grams: float = 0.0
    left_out: int = 0
    rejected: int = 0
    rows: int = 0
    share: float | None = None

    @property
    def planned(self) -> int:
        """The number of rows with a plan."""
        return self.verdicts.total()

    @property
    def held_back(self) -> int:
        """The number of plans that say hold back."""
        return self.verdicts[HOLD]

    def add(self, done: ChunkPlans) -> None:
        """Count a chunk in."""
        self.verdicts.update(done.verdicts)
        self.reasons.update(done.reasons)
        self.examples = {**done.examples, **self.examples}
        self.ash_grams += done.ash_grams
        self.left_out += done.left_out
        self.rejected += done.rejected_rows
        self.rows += done.rows


@frozen
class PlanningJob:
    """The files and options of a run. ``processes`` 1 is this process; ``cluster`` is ``local`` or an address."""

    source: Path
    out: Path
    rejected: Path
    today: str
    customs: str = ""
    locale: str = ""
    delimiter: str = ""
    processes: int = 1
    cluster: str = ""
    chunk_rows: int = CHUNK_ROWS
    decimal_mark: str = "."


def plan_chunk(chunk: PlotChunk) -> ChunkPlans:
    """Return the plans of some rows. Pure: the same chunk gives the same text in every process."""
    plans: list[list[str]] = []
    rejected: list[list[str]] = []
    verdicts: Counter[str] = Counter()
    reasons: Counter[str] = Counter()
    examples: dict[str, str] = {}
    ash_grams, left_out = 0.0, 0
    for row in chunk.rows:
        plan, reason = _plan_or_reason(row, chunk)
        if reason:
            cells = row.cells[chunk.header.earlier_reasons :]
            rejected.append([str(row.number), str(row.line), *map(guarded, (reason, *cells))])
            continue
        verdicts[str(plan["verdict"])] += 1
        if plan["verdict"] != GO:
            code = str(plan["reason_codes"]).split(" ")[0]
            reasons[code] += 1
            examples.setdefault(code, str(plan["reasons"]).split(REASON_SEPARATOR)[0])
        if plan["dry_ash_verdict"] != HOLD and plan["dry_ash_g"]:
            ash_grams += float(plan["dry_ash_g"])
        left_out += bool(plan["left_out"])
        kept = [guarded(row.cells[index]) for index in chunk.header.kept]
        plans.append([*kept, *(_cell_text(plan[name], chunk.decimal_mark) for name in PLAN_COLUMNS)])
    plans_text, rejected_text = (_table_text(table, chunk.delimiter) for table in (plans, rejected))
    return ChunkPlans(
        plans=plans_text,
        rejected=rejected_text,
        verdicts=dict(verdicts),
        rejected_rows=len(rejected),
        rows=len(chunk.rows),
        reasons=reasons,
        examples=examples,
        ash_grams=ash_grams,
        left_out=left_out,
    )


def _plan_or_reason(row: TableRow, chunk: PlotChunk) -> tuple[PlanRow, str]:
    """Return the plan of a row, or the reason why there is none."""
    if row.fault:
        return {}, row.fault
    try:
        return plan_of(chunk.header.plot_of(row.cells), chunk.today, chunk.customs, chunk.locale), ""
    except InputErrors as refusal:
        return {}, " ".join(_refusal(error, chunk.header) for error in refusal.errors)
    except NoSolution as reason:
        return {}, str(reason)
    except Exception as fault:
        # A fault of ours in one row must not stop the others.
        name = type(fault).__name__
        return {}, said("feedcalc failed on this row ({fault}), so no figure was worked out.", fault=name)


def _refusal(error: InputError, header: Header) -> str:
    words = {"column": header.name_in_table(error.field), "problem": error.problem, "accepted": error.accepted}
    if error.given:
        message = "{column}: {problem} Given: {given!r}. Accepted: {accepted}."
        return said(message, **words, given=error.given)
    return said("{column}: {problem} Accepted: {accepted}.", **words)


def plan_plots(
    job: PlanningJob, on_progress: Callable[[Progress], None], on_warning: Callable[[str], None]
) -> Progress:
    """Plan every row of a table, write plans and rejected rows; ``on_progress`` is called after each chunk.

    Raises `PlanningFailed` or `InputErrors` where it can't be done, `PlanningStopped` where it was interrupted. Earlier
    results are replaced only when everything is done.
    """
    _require_different_files(job)
    progress = Progress()
    with open_table(job.source) as binary:
        size = size_of(binary)
        lines = TableLines(binary, job.source)
        delimiter = job.delimiter or delimiter_of(lines.first())
        rows = table_rows(lines, delimiter)
        header = header_of(next(rows).cells)
        for warning in header.warnings:
            on_warning(warning)
        chunks = _chunks(rows, job, header, delimiter)
        ahead = list(islice(chunks, FEW_CHUNKS))
        if not ahead:
            raise PlanningFailed(said("There is no plot in {path}, only a header.", path=str(job.source)))
        if len(ahead) < FEW_CHUNKS:
            job = replace(job, processes=1)
        results = [_ResultFile(path, lines.has_byte_order_mark, delimiter) for path in (job.out, job.rejected)]
        try:
            with (
                results[0] as plans,
                results[1] as rejected,
                worker_pool(job.processes, job.cluster) as workers,
                hold_interrupts() as raise_held,
            ):
                plans.write(_header_text([header.cells[index] for index in header.kept], PLAN_COLUMNS, delimiter))
                rejected.write(_header_text(REJECTED_COLUMNS, header.cells[header.earlier_reasons :], delimiter))
                max_pending = CHUNKS_PER_PROCESS * job.processes
                for done in map_in_order(plan_chunk, chain(ahead, chunks), workers, max_pending, raise_held=raise_held):
                    plans.write(done.plans)
                    rejected.write(done.rejected)
                    progress.add(done)
                    progress.share = min(binary.tell() / size, 1.0) if size else None
                    on_progress(progress)
            results[0].keep()
            results[1].keep(is_wanted=progress.rejected > 0)
        except KeyboardInterrupt:
            raise PlanningStopped(progress, results[0].part) from None
    return progress


def _chunks(rows: Iterator[TableRow], job: PlanningJob, header: Header, delimiter: str) -> Iterator[PlotChunk]:
    while some := tuple(islice(rows, job.chunk_rows)):
        yield PlotChunk(
            header=header,
            rows=some,
            delimiter=delimiter,
            today=job.today,
            customs=job.customs,
            locale=job.locale,
            decimal_mark=job.decimal_mark,
        )


# -- writing ------------------------------------------------------------------------------------------------------


class _ResultFile:
    """A file that gets its own name only when it is complete. A spreadsheet is made of the complete CSV."""

    def __init__(self, path: Path, has_byte_order_mark: bool, delimiter: str = ",") -> None:
        if is_workbook(path):
            require_workbooks()
        self.path = path
        self._delimiter = delimiter
        self.is_output = path == STANDARD or is_stream(path)
        self.part = path.with_name(path.name + ".part")
        self._encoding = "utf-8-sig" if has_byte_order_mark else "utf-8"
        self._file: IO[str] | None = None

    def __enter__(self) -> _ResultFile:
        with self._failing_in_words():
            file = self.path if self.is_output else self.part
            self._file = sys.stdout if file == STANDARD else file.open("w", encoding=self._encoding, newline="")
        return self

    def __exit__(self, *_: object) -> None:
        with self._failing_in_words():
            assert self._file is not None
            if self.path != STANDARD:
                self._file.close()

    def write(self, text: str) -> None:
        """Add text and flush it: what was planned must survive this process."""
        with self._failing_in_words():
            assert self._file is not None
            self._file.write(text)
            self._file.flush()

    def keep(self, is_wanted: bool = True) -> None:
        """Give the file its name, or remove it and the result of an earlier run."""
        if self.is_output:
            return
        with self._failing_in_words():
            if is_wanted and is_workbook(self.path):
                half = self.path.with_name(self.path.name + ".half")
                try:
                    write_workbook(self.part, self._delimiter, half)
                    half.replace(self.path)
                finally:
                    half.unlink(missing_ok=True)
                self.part.unlink()
            elif is_wanted:
                self.part.replace(self.path)
            else:
                self.part.unlink(missing_ok=True)
                self.path.unlink(missing_ok=True)

    @contextmanager
    def _failing_in_words(self) -> Iterator[None]:
        try:
            yield
        except OSError as reason:
            where = {"path": str(self.path), "reason": reason.strerror or str(reason)}
            raise PlanningFailed(
                said("{path} can't be written: {reason}. What was written so far is in {path}.part.", **where)
                if self.part.is_file()
                else said("{path} can't be written: {reason}.", **where)
            ) from None


def _require_different_files(job: PlanningJob) -> None:
    """Raise `PlanningFailed` where a result would overwrite the table of plots or the other result."""
    results = [_ResultFile(path, False) for path in (job.out, job.rejected)]
    results = [result for result in results if not result.is_output]
    paths = [job.source, *(path for result in results for path in (result.path, result.part))]
    places = [path.resolve() for path in paths]
    if len(set(places)) < len(places):
        raise PlanningFailed(said("The table of plots, the plans and the rows left out must be three different files."))


def _table_text(rows: Iterable[Iterable[str]], delimiter: str) -> str:
    """Return rows of cells, of which none may be a formula, as the text of a table."""
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=delimiter, lineterminator="\n").writerows(rows)
    return text.getvalue()


def _header_text(before: Sequence[str], after: Sequence[str], delimiter: str) -> str:
    return _table_text([map(guarded, (*before, *after))], delimiter)


_guarded = lru_cache(maxsize=4096)(guarded)  # verdicts, reasons and amounts come again and again


def _cell_text(cell: Cell, decimal_mark: str = ".") -> str:
    """Return a cell as text that is no formula; numbers with a decimal point unless another mark is asked for.

    >>> _cell_text(4.0), _cell_text(0.25, ",")
    ('4', '0,25')
    """
    if isinstance(cell, str):
        return _guarded(cell) if cell else cell
    written = repr(cell).removesuffix(".0")
    return written if decimal_mark == "." else written.replace(".", decimal_mark)
