"""A winter's ash shared out over the beds of a book: as dry ash, as feed, and as the sludge that feed leaves.

* A linear programme places as much as it can of the ash's potassium where a crop takes it up, and of its lime where
  soil needs it. Half the gain is for each. Nothing is placed where the book's verdict holds it back.
* A bed ends at the first of its limits: the yearly limit, the lime it needs, pH 7, the potassium its crop takes up,
  a country's yearly load of a metal, the feeds of a season. What it had in the last twelve months counts already.
* Limits that can do harm are met at the careful end of the ash's ranges; those of usefulness by typical figures.
* Of beds that would gain alike, the one whose soil is furthest from its target comes first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from feedcalc.book.amounts import NutrientAmounts
from feedcalc.book.entries import Bed
from feedcalc.frozen import frozen
from feedcalc.uncertainty.linear_programme import best_amounts

# How much more a gram counts on the bed that needs lime most, so that beds that gain alike have an order.
NEEDIEST_FIRST = 0.01
# A limit that is met to this share is one that ended the share of a bed.
MET = 1e-6
# Amounts below this share of the ash are rounding errors.
LEAST_SHARE = 1e-6


@frozen
class Materials:
    """A gram of dry ash, the sludge of a gram of ash, and a litre of feed; ``steeped`` is the ash in g for a litre.

    ``feed`` counts as ash by its lime value, ``sludge`` as the ash it came from.
    """

    dry: NutrientAmounts
    sludge: NutrientAmounts
    feed: NutrientAmounts
    steeped: float


@frozen
class BedRoom:
    """What a bed may still receive in all, in g or L; None where nothing limits it.

    ``ash`` by its yearly limit, ``lime`` (g of CaCO3) that the soil needs, ``lime_to_stop`` to pH 7 in the worst case,
    ``potassium`` that its crop takes up, ``metals`` as the ash that carries a country's yearly load, ``feed`` in L.
    ``takes_solids`` is false where dry ash and sludge are held back.
    """

    bed: Bed
    takes_solids: bool = False
    ash: float | None = None
    lime: float | None = None
    lime_to_stop: float | None = None
    potassium: float | None = None
    metals: float | None = None
    feed: float = 0.0


@frozen
class BedShare:
    """The share of a bed: g of dry ash, of sludge (as the ash it came from), litres of feed, and what ended it."""

    dry: float = 0.0
    sludge: float = 0.0
    feed: float = 0.0
    ended_by: tuple[str, ...] = ()


@dataclass(slots=True)
class _Programme:
    """Gains, rows and limits while they are collected; a column is a material on a bed."""

    columns: list[tuple[int, str]] = field(default_factory=list)
    gains: list[float] = field(default_factory=list)
    rows: list[dict[int, float]] = field(default_factory=list)
    limits: list[float] = field(default_factory=list)
    names: list[tuple[int, str]] = field(default_factory=list)

    def column(self, bed: int, material: str, gain: float) -> int:
        self.columns.append((bed, material))
        self.gains.append(gain)
        return len(self.gains) - 1

    def limit(self, bed: int, name: str, row: Mapping[int, float], most: float | None) -> None:
        if most is not None and any(value > 0 for value in row.values()):
            self.rows.append(dict(row))
            self.limits.append(max(most, 0.0))
            self.names.append((bed, name))


def share_out(ash: float, rooms: Sequence[BedRoom], materials: Materials) -> tuple[BedShare, ...]:
    """Return the share of each bed in ``ash`` grams, in the order of ``rooms``."""
    programme = _programme(ash, rooms, materials)
    width = len(programme.gains)
    rows = [[row.get(column, 0.0) for column in range(width)] for row in programme.rows]
    amounts = best_amounts(programme.gains, rows, programme.limits)
    found: list[dict[str, float]] = [{} for _ in rooms]
    for (bed, material), amount in zip(programme.columns, amounts, strict=True):
        grams = amount * (materials.steeped if material == "feed" else 1.0)
        found[bed][material] = amount if grams > LEAST_SHARE * ash else 0.0
    ended: list[list[str]] = [[] for _ in rooms]
    for (bed, name), row, limit in zip(programme.names, programme.rows, programme.limits, strict=True):
        used = sum(value * amounts[column] for column, value in row.items())
        if bed >= 0 and used >= limit * (1 - MET):
            ended[bed].append(name)
    return tuple(BedShare(**amount, ended_by=tuple(names)) for amount, names in zip(found, ended, strict=True))


def gain_of(shares: Sequence[BedShare], rooms: Sequence[BedRoom], materials: Materials) -> float:
    """Return what shares gain together, in grams of ash of which all potassium and lime are of use."""
    programme = _programme(0.0, rooms, materials)
    gains: Sequence[float] = [
        gain * getattr(shares[bed], material)
        for (bed, material), gain in zip(programme.columns, programme.gains, strict=True)
    ]
    return sum(gains)


def _programme(ash: float, rooms: Sequence[BedRoom], materials: Materials) -> _Programme:
    programme = _Programme()
    most_needed = max(((room.lime or 0.0) / (room.bed.area or 1.0) for room in rooms), default=0.0)
    for place, room in enumerate(rooms):
        need = (room.lime or 0.0) / (room.bed.area or 1.0)
        weight = 1 + (NEEDIEST_FIRST * need / most_needed if most_needed else 0.0)
        kinds = [*(("dry", "sludge") if room.takes_solids else ()), *(("feed",) if room.feed > 0 else ())]
        own = {kind: programme.column(place, kind, weight * _use(kind, room, materials)) for kind in kinds}
        _limit_bed(programme, place, room, materials, own)
    _share_one_ash(programme, ash, materials)
    return programme


def _use(kind: str, room: BedRoom, materials: Materials) -> float:
    """Return how much of a gram of ash is of use in a unit of a material on a bed, 1 for all of it."""
    unit: NutrientAmounts = getattr(materials, kind)
    potassium = unit.potassium.typical / materials.dry.potassium.typical
    lime = unit.lime_value.typical / materials.dry.lime_value.typical if room.lime else 0.0
    return potassium / 2 + lime / 2


def _limit_bed(programme: _Programme, place: int, room: BedRoom, materials: Materials, own: Mapping[str, int]) -> None:
    units: dict[str, NutrientAmounts] = {kind: getattr(materials, kind) for kind in own}

    def limit(name: str, most: float | None, of: Mapping[str, float]) -> None:
        programme.limit(place, name, {own[kind]: value for kind, value in of.items()}, most)

    limit("cap", room.ash, {kind: unit.ash.typical for kind, unit in units.items()})
    limit("need", room.lime, {kind: unit.lime_value.typical for kind, unit in units.items()})
    limit("stop", room.lime_to_stop, {kind: unit.lime_value.high for kind, unit in units.items()})
    limit("potassium", room.potassium, {kind: unit.potassium.high for kind, unit in units.items()})
    limit("metals", room.metals, {kind: units[kind].ash.typical for kind in units if kind != "feed"})
    limit("feeds", room.feed, dict.fromkeys((kind for kind in units if kind == "feed"), 1.0))


def _share_one_ash(programme: _Programme, ash: float, materials: Materials) -> None:
    """Limit all beds together: to the ash there is, and to the sludge that the feed leaves."""
    steeped = {column: materials.steeped for column, (_, kind) in enumerate(programme.columns) if kind == "feed"}
    dry = {column: 1.0 for column, (_, kind) in enumerate(programme.columns) if kind == "dry"}
    sludge = {column: 1.0 for column, (_, kind) in enumerate(programme.columns) if kind == "sludge"}
    programme.limit(-1, "all_given", {**dry, **steeped}, ash)
    programme.limit(-1, "sludge", {**sludge, **{column: -grams for column, grams in steeped.items()}}, 0.0)
