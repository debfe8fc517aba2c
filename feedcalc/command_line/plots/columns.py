"""The columns of a table of plots, the columns of a plan, and the reader of a table's header.

Columns that are not known are passed through. Nothing is read from files or from a clock here.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence

from feedcalc.contract.quantities import read_quantity
from feedcalc.contract.text import plain_words
from feedcalc.frozen import frozen
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.messages import all_of, any_of, said


@frozen
class Column:
    """A column of a table of plots: its usual name, its path in a request (or none) and what it means."""

    name: str
    path: str
    meaning: str
    other_names: tuple[str, ...] = ()


# Names for what was burnt: a painted wood that stands in a column passed through would be planned as clean ash.
_OF_ASH = (
    *("ash", "kind", "fuel", "wood", "Asche", "Ascheart", "Holz", "Holzart", "Brennstoff", "cendre", "cendres", "bois"),
    *("ceniza", "madera", "leña", "cinza", "madeira", "lenha", "राख", "लकड़ी", "رماد", "الرماد", "خشب", "الخشب"),
)

COLUMNS: tuple[Column, ...] = (
    Column(
        "plot",
        "",
        "what the plot is called",
        (
            *("id", "name", "bed", "field", "Parzelle", "Beet", "Schlag", "parcelle", "parcela"),
            *("talhão", "canteiro", "खेत", "قطعة", "حوض"),
        ),
    ),
    Column(
        "area",
        "soil.area",
        "its area: 4 m2, 40 sq ft, 0.1 ha",
        ("size", "Fläche", "surface", "superficie", "área", "क्षेत्रफल", "المساحة"),
    ),
    Column(
        "soil_ph",
        "soil.ph",
        "pH of its soil",
        (
            *("ph", "pH-Wert", "Boden-pH", "pH sol", "pH du sol", "pH suelo", "pH del suelo"),
            *("pH do solo", "मिट्टी pH", "pH التربة"),
        ),
    ),
    Column(
        "tested_with",
        "soil.tested_with",
        "how that was measured: laboratory, meter, kit, strip",
        (
            *("test", "method", "test method", "Methode", "Messmethode", "Testmethode", "méthode"),
            *("método", "विधि", "الطريقة"),
        ),
    ),
    Column(
        "tested_on",
        "soil.tested_on",
        "when that was measured: 2026-03-01",
        ("test date", "tested", "Testdatum", "Datum", "date", "fecha", "data", "तारीख", "التاريخ"),
    ),
    Column(
        "texture",
        "soil.texture",
        "sand, loam, clay or peat, or a class such as sandy loam",
        ("soil texture", "soil type", "Bodenart", "sol", "type de sol", "suelo", "textura", "solo", "मिट्टी", "التربة"),
    ),
    Column(
        "plant",
        "plant",
        "what grows there, by any of its names",
        ("crop", "Kultur", "Pflanze", "culture", "plante", "cultivo", "planta", "cultura", "फ़सल", "المحصول", "النبات"),
    ),
    Column("place", "place", "open ground, raised bed, pot, plug tray, near pond or drain, greenhouse ..."),
    Column("season", "season", "sowing, growing or resting"),
    Column("stage", "stage", "seedling, young or established"),
    Column(
        "use", "use", "what the plot is to have: dry ash, drench or foliar; both ways are judged where it is left out"
    ),
    Column("ash_kind", "ash.kind", "what was burnt: mixed, hardwood, softwood, bark", _OF_ASH),
    Column("ash_state", "ash.state", "fresh or aged"),
    Column("ash_in_hand", "ash.amount", "how much ash there is: 5 kg"),
    Column("water", "water.kind", "water of the feed: rain, soft, medium, hard, very_hard, softened"),
    Column("target_ph", "soil.target_ph", "pH the soil should reach", ("soil_target",)),
    Column("dug_depth", "soil.dug_depth", "how deep dry ash is dug in: 15 cm", ("dug",)),
    Column("ash_this_year", "", "dry ash it has had since the test: 200 g, or 40 g/m2", ("had_this_year",)),
    Column("lime_this_year", "", "ground limestone it has had since the test, likewise"),
    Column("last_fed", "", "when it last had liquid feed: 2026-04-20", ("last feed", "zuletzt gedüngt")),
    Column("customs", "customs", "whose cups and weights: us, metric, uk"),
    Column("locale", "locale", "how numbers are typed and written: en-GB, de-DE ..."),
)
# What a file of rejected rows has in front of the columns of the table.
REJECTED_COLUMNS = ("aside_row", "aside_line", "aside_because")


def _key(cell: str) -> str:
    return "_".join(plain_words(cell).split())


_BY_NAME: Mapping[str, Column] = {
    _key(name): column
    for column in COLUMNS
    for name in (column.name, *column.other_names, *([column.path.replace(".", "_")] if column.path else []))
}
# Columns whose bare numbers may take their unit from the header, and what kind of unit that is.
_WITH_UNITS = {
    "area": "area",
    "dug_depth": "length",
    "ash_in_hand": "mass_or_volume",
    "ash_this_year": "mass_or_volume",
    "lime_this_year": "mass",
}
COLUMN_OF_PATH: Mapping[str, str] = {column.path: column.name for column in COLUMNS if column.path}

# Figures of a plan; each has a column for its low and one for its high end.
DRY_FIGURES = (
    "dry_ash_g_per_m2",
    "dry_ash_g",
    "dry_ash_potassium_g_per_m2",
    "dry_ash_lime_value_g_per_m2",
    "expected_ph_shift",
    "lime_need_g_per_m2",
    "lime_need_as_ash_g_per_m2",
)
FEED_FIGURES = (
    "feed_parts_water",
    "feed_litres",
    "feed_liquor_litres",
    "feed_ph",
    "feed_potassium_g",
    "feed_lime_value_g",
    "next_feed",
)


def _with_ends(figures: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(f"{name}{end}" for name in figures for end in ("", "_low", "_high"))


PLAN_COLUMNS: tuple[str, ...] = (
    "verdict",
    "reasons",
    "reason_codes",
    "dry_ash_verdict",
    "dry_ash",
    "dry_ash_limited_by",
    *_with_ends(DRY_FIGURES),
    "aimed_at_ph",
    "ash_covers_m2",
    "feed_verdict",
    "feed_dilution",
    *_with_ends(FEED_FIGURES),
    "assumed",
    "left_out",
)


@frozen
class Header:
    """A table's header: for each cell its column (or none), and warnings about what may be a mistake.

    ``units`` are those that a column names for its bare numbers (``area (m2)``); ``kept`` are the indices of the cells
    that a plan repeats: all but those of an earlier plan.
    """

    cells: tuple[str, ...]
    columns: tuple[str, ...]
    units: tuple[str, ...]
    warnings: tuple[str, ...]
    kept: tuple[int, ...]

    @property
    def earlier_reasons(self) -> int:
        """Return how many columns in front say why an earlier run set the rows aside."""
        count = len(REJECTED_COLUMNS)
        return count if tuple(map(_key, self.cells[:count])) == REJECTED_COLUMNS else 0

    def plot_of(self, row: Sequence[str]) -> dict[str, str]:
        """Return the cells of a row under the usual names of their columns."""
        return {
            name: f"{text} {unit}" if unit and _BARE_NUMBER.fullmatch(text) else text
            for name, unit, text in zip(self.columns, self.units, row, strict=True)
            if name
        }

    def name_in_table(self, name: str) -> str:
        """Return the table's own name of a column; its usual name where the table lacks it."""
        return self.cells[self.columns.index(name)] if name in self.columns else name


_BARE_NUMBER = re.compile(r"\s*[\d.,\s]*\d\s*")
_UNIT_IN_BRACKETS = re.compile(r"(.+?)\s*[(\[](.+)[)\]]\s*")


def header_of(cells: Sequence[str]) -> Header:
    """Return the columns of a table. Case, spaces and dots in names do not matter; a unit may follow the name.

    Raises `InputErrors` where a column is repeated or none is known.

    >>> header_of(["Plot", "Soil pH", "Area (m2)", "colour"]).columns
    ('plot', 'soil_ph', 'area', '')
    """
    read = [_column_and_unit(cell) for cell in cells]
    columns, units = tuple(name for name, _ in read), tuple(unit for _, unit in read)
    keys = [_key(cell) for cell in cells]
    faults = [
        InputError(
            cell,
            cell,
            said("This column means the same as the column {other}.", other=cells[columns.index(name)]),
            said("each column once"),
        )
        for index, (cell, name) in enumerate(zip(cells, columns, strict=True))
        if name and name in columns[:index]
    ]
    if not any(columns):
        known = any_of(column.name for column in COLUMNS)
        faults.append(
            InputError("header", ", ".join(cells)[:80], said("No column of this table is known here."), known)
        )
    if faults:
        raise InputErrors(faults)
    kept = tuple(
        index for index, key in enumerate(keys) if columns[index] or key not in (*PLAN_COLUMNS, *REJECTED_COLUMNS)
    )
    return Header(tuple(cells), columns, units, _warnings(cells, keys, columns), kept)


def _column_and_unit(cell: str) -> tuple[str, str]:
    """Return the column that a header's cell names and the unit of its bare numbers; empty texts where there is none.

    >>> _column_and_unit("Area (m2)"), _column_and_unit("dug_depth_cm"), _column_and_unit("area_code")
    (('area', 'm2'), ('dug_depth', 'cm'), ('', ''))
    """
    if _key(cell) in _BY_NAME:
        return _BY_NAME[_key(cell)].name, ""
    bracketed = _UNIT_IN_BRACKETS.fullmatch(cell)
    if bracketed and _key(bracketed[1]) in _BY_NAME:
        name = _BY_NAME[_key(bracketed[1])].name
        return name, bracketed[2].strip() if name in _WITH_UNITS else ""
    for name, kind in _WITH_UNITS.items():
        if not _key(cell).startswith(f"{name}_"):
            continue
        unit = _key(cell).removeprefix(f"{name}_").replace("_", " ")
        try:
            read_quantity(f"1 {unit.split(' per ')[0]}", kind, name)
        except InputError:
            continue
        return name, unit
    return "", ""


def _warnings(cells: Sequence[str], keys: Sequence[str], columns: Sequence[str]) -> tuple[str, ...]:
    """Return warnings about columns that may be misspelt or are missing."""
    warnings = []
    own = [cell for cell, key in zip(cells, keys, strict=True) if key in PLAN_COLUMNS]
    if own:
        warnings.append(said("These columns belong to the plan and are written again: {names}.", names=all_of(own)))
    for cell, key, name in zip(cells, keys, columns, strict=True):
        near = [] if name or key in PLAN_COLUMNS else difflib.get_close_matches(key, list(_BY_NAME), 1, 0.75)
        if near:
            meant = said(
                "The column {given!r} is not known and passed through; did you mean {near}?", given=cell, near=near[0]
            )
            warnings.append(meant)
    if "soil_ph" not in columns:
        warnings.append(said("No column soil_ph: without a soil test every plot is held back."))
    return tuple(warnings)
