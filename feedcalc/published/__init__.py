"""Published numbers, each with its source and with how it reached us. See README.md for how to add rows.

* A table is a CSV file. Column ``source`` holds an id of ``sources.csv``, column ``status`` a key of `STATUSES`.
* Lines that start with ``#`` are comments. Numbers are written with a decimal point.
* No number comes from the package's own output.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Mapping
from functools import cache

from feedcalc.frozen import frozen
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.errors import PublishedDataError
from feedcalc.words.messages import Said, is_short, said, said_in
from feedcalc.words.package_files import package_file

STATUSES = {
    "seen": said("read in the source, or in a part of it"),
    "memory": said("from memory; we did not see the text"),
    "calc": said("we worked it out from other published values"),
    "judgement": said("our own judgement, shown as a wide range"),
    "practice": said("often done; no source found"),
    "definition": said("exact by definition"),
}
# Columns that are shown to people, by table: each cell is a message that is translated.
TRANSLATED_COLUMNS = {
    "acids": ("words", "caution"),
    "ash_notes": ("note",),
    "ash_kinds": ("label", "description"),
    "ash_refusals": ("label", "reason", "caution"),
    "ash_spreading": ("what",),
    "cautions": ("text",),
    "choice_words": ("choice",),
    "dry_practices": ("label",),
    "feed_practice": ("what",),
    "hazard_classes": ("signal_word", "rule"),
    "hazard_statements": ("text",),
    "haze_openings": ("words",),
    "limes": ("label",),
    "metal_countries": ("name", "note"),
    "metal_limits": ("note",),
    "mishap_causes": ("cause", "tell", "today", "again"),
    "mishap_signs": ("label",),
    "mixing_limits": ("what",),
    "pest_claims": ("text",),
    "plant_lists": ("name",),
    "plants": ("name", "reason"),
    "reading_causes": ("cause",),
    "recipe_notes": ("text",),
    "season_reasons": ("text",),
    "second_things": ("words", "reason"),
    "share_limits": ("text",),
    "suitability_reasons": ("short", "text"),
    "undo_notes": ("text",),
    "untested_notes": ("text",),
    "unknown_words": ("words", "remedy"),
    "water_kinds": ("label",),
}


@frozen
class Source:
    """One citation with its DOI, its licence and the errors found in it."""

    id: str
    citation: str
    doi: str
    licence: str
    errata: str


@cache
def sources() -> Mapping[str, Source]:
    """Return every source by its id; raise `PublishedDataError` for a row without a citation."""
    found: dict[str, Source] = {}
    for number, row in _rows("sources.csv"):
        if not row["citation"]:
            raise PublishedDataError(f"sources.csv, row {number}: {row['id']} has no citation")
        found[row["id"]] = Source(**row)
    return found


@cache
def table(name: str) -> tuple[Mapping[str, str], ...]:
    """Return the rows of ``name.csv`` as text by column.

    Raises `PublishedDataError` for a row without a known source or status.
    """
    rows: list[Mapping[str, str]] = []
    translated = TRANSLATED_COLUMNS.get(name, ())
    for number, row in _rows(f"{name}.csv"):
        if row.get("source") not in sources():
            raise PublishedDataError(f"{name}.csv, row {number}: unknown source {row.get('source')!r}")
        if row.get("status") not in STATUSES:
            raise PublishedDataError(f"{name}.csv, row {number}: unknown status {row.get('status')!r}")
        for column in translated:
            row[column] = message_of(name, column, row[column])
        rows.append(row)
    return tuple(rows)


def sources_behind(tables: Iterable[str]) -> list[dict[str, str]]:
    """Return the citations of the rows of some tables, each once, in the order of their ids."""
    ids = {row["source"] for name in tables for row in table(name)}
    return [
        {"id": source.id, "citation": source.citation, "doi": source.doi, "errata": source.errata}
        for source in (sources()[source_id] for source_id in sorted(ids))
    ]


def status_words(status: str) -> str:
    """Return the meaning of a status of the published tables.

    >>> status_words("practice")
    'often done; no source found'
    """
    return STATUSES[status]


def message_of(table_name: str, column: str, cell: str) -> Said:
    """Return a cell as a message; table and column are the context of one or two words."""
    return said_in(f"{table_name}: {column}", cell) if is_short(cell) else said(cell)


@cache
def _rows_by_key(name: str) -> Mapping[str, Mapping[str, str]]:
    rows: dict[str, Mapping[str, str]] = {}
    for found in table(name):
        rows.setdefault(next(iter(found.values())), found)
    return rows


def row(name: str, key: str) -> Mapping[str, str]:
    """Return the first row of ``name.csv`` whose first column holds ``key``; raise `KeyError` if there is none.

    >>> row("element_masses", "carbon")["symbol"]
    'C'
    """
    return _rows_by_key(name)[key]


def estimate(row: Mapping[str, str]) -> Estimate:
    """Return the estimate in the columns ``low``, ``typical`` and ``high`` of a row."""
    return Estimate(float(row["low"]), float(row["typical"]), float(row["high"]))


def _rows(file_name: str) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield the number of each row, that of the columns' names being 1, and its cells by column."""
    lines = [line for line in _text(file_name).splitlines() if line.strip() and not line.startswith("#")]
    columns, *rows = csv.reader(lines)
    for number, row in enumerate(rows, start=2):
        if len(row) != len(columns):
            raise PublishedDataError(f"{file_name}, row {number}: wrong number of columns")
        yield number, dict(zip(columns, map(str.strip, row), strict=True))


def _text(file_name: str) -> str:
    return package_file(__name__, file_name).decode("utf-8")
