"""Numbers from outside, each with where it came from.

Rules of this room:

* A table is a CSV file with a ``source`` column (an id in ``sources.toml``) and a ``status`` column.
* ``status`` says how the number reached us: ``seen`` (read in the source or an excerpt of it), ``memory``
  (recalled, text not seen), ``calc`` (computed from rows named in the note), ``judgement`` (our own estimate,
  shown wide), ``practice`` (a trade rule: common practice, no source), ``definition`` (exact by definition).
* Lines that start with ``#`` are comments. Numbers are written with a decimal point.
* Nothing here is filled from the package's own output.
"""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources

from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.errors import PublishedDataError
from feedcalc.words.messages import said

STATUSES = {
    "seen": said("read in the source or an excerpt of it"),
    "memory": said("from memory, the text was not seen"),
    "calc": said("computed from other published values"),
    "judgement": said("our own judgement, shown as a wide range"),
    "practice": said("common practice, no source"),
    "definition": said("exact by definition"),
}
# Columns that a grower reads, by table: each cell is a message of its own, to be said in the sheet's language.
TRANSLATED_COLUMNS = {
    "acids": ("words", "caution"),
    "ash_kinds": ("label", "description"),
    "ash_refusals": ("label", "reason", "caution"),
    "ash_spreading": ("what",),
    "cautions": ("text",),
    "dry_practices": ("label",),
    "feed_practice": ("what",),
    "hazard_classes": ("signal_word",),
    "hazard_statements": ("text",),
    "haze_openings": ("words",),
    "limes": ("label",),
    "metal_countries": ("name", "note"),
    "metal_limits": ("note",),
    "mixing_limits": ("what",),
    "plant_lists": ("name",),
    "plants": ("name", "reason"),
    "reading_causes": ("cause",),
    "season_reasons": ("text",),
    "second_things": ("words", "reason"),
    "suitability_reasons": ("text",),
    "undo_notes": ("text",),
    "unknown_words": ("words", "remedy"),
    "water_kinds": ("label",),
}


@dataclass(frozen=True, slots=True)
class Source:
    """One citation: where it was published, its DOI, its licence, and faults found in it."""

    id: str
    citation: str
    doi: str
    licence: str
    errata: str


@cache
def sources() -> Mapping[str, Source]:
    """Every source by its id, from ``sources.toml``. Raises `PublishedDataError` on an entry without a citation."""
    found: dict[str, Source] = {}
    for key, entry in tomllib.loads(_text("sources.toml")).items():
        if not entry.get("citation"):
            raise PublishedDataError(f"sources.toml: {key} has no citation")
        found[key] = Source(
            key, entry["citation"], entry.get("doi", ""), entry.get("licence", ""), entry.get("errata", "")
        )
    return found


@cache
def table(name: str) -> tuple[Mapping[str, str], ...]:
    """The rows of ``name.csv`` as text by column.

    Raises `PublishedDataError` where a row lacks a known source or status.
    """
    lines = [line for line in _text(f"{name}.csv").splitlines() if line.strip() and not line.startswith("#")]
    rows: list[Mapping[str, str]] = []
    for number, row in enumerate(csv.DictReader(lines), start=2):
        if None in row or None in row.values():
            raise PublishedDataError(f"{name}.csv, row {number}: wrong number of columns")
        cells = {column: cell.strip() for column, cell in row.items()}
        if cells.get("source") not in sources():
            raise PublishedDataError(f"{name}.csv, row {number}: unknown source {cells.get('source')!r}")
        if cells.get("status") not in STATUSES:
            raise PublishedDataError(f"{name}.csv, row {number}: unknown status {cells.get('status')!r}")
        for column in TRANSLATED_COLUMNS.get(name, ()):
            cells[column] = said(cells[column])
        rows.append(cells)
    return tuple(rows)


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
    """The ``low``, ``typical`` and ``high`` columns of a row."""
    return Estimate(float(row["low"]), float(row["typical"]), float(row["high"]))


def _text(file_name: str) -> str:
    return (resources.files(__package__) / file_name).read_text(encoding="utf-8")
