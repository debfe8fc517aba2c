"""Lime requirement of soils, the ash that meets it, and the change of soil pH it causes.

* All amounts are in grams of CaCO3 per square metre. Ash counts by its lime value, the grams of CaCO3 that neutralise
  as much acid as one gram of ash.
* The buffer capacity of a soil, in grams of CaCO3 per pH unit and 15 cm of depth (``soil_buffers.csv``), is taken as
  constant from pH 4.5 to 7. Published lime tables differ by a factor of two to four, and the ranges include them.
* Past pH 7 free carbonate buffers the soil, and no amount of ash lifts it above ``soil_ceiling.csv``.
* The ends of a range combine the worst cases of all factors, so a range here is wider than 90 %.
* Too much lime takes years to undo and too little only a season: advice uses the end that cannot pass the target.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache, lru_cache

from feedcalc import published
from feedcalc.contract.figures import ground_words
from feedcalc.contract.own_measures import METRIC, OwnUnits, depth_words
from feedcalc.frozen import frozen
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.messages import Sentence, said

# The depth that soil_buffers.csv refers to.
TABLE_DEPTH_CM = 15.0
# Below this range aluminium consumes lime; above it free lime buffers the soil. Neither is modelled.
LOWEST_PH, HIGHEST_PH = 4.5, 7.0


@frozen
class UndoNote:
    """A measure for ground that has received too much lime or was never tested, with its source."""

    id: str
    text: str
    source: str
    status: str


@lru_cache(maxsize=256)
def soil_buffer(texture: str, depth_cm: float) -> Estimate:
    """Return the buffer capacity of a soil, in grams of CaCO3 per square metre and pH unit.

    ``texture`` is sand, loam, clay or peat; empty means unknown: loam, with a range from sand to clay. ``depth_cm`` is
    the depth the lime is dug in to. Raises ValueError for another texture or a depth that is not above 0.

    >>> soil_buffer("loam", 15).typical, soil_buffer("loam", 30).typical
    (370.0, 740.0)
    """
    if not depth_cm > 0:
        raise ValueError(f"depth must be above 0 cm, got {depth_cm}")
    rows = {row["texture"]: published.estimate(row) for row in published.table("soil_buffers")}
    if texture and texture not in rows:
        raise ValueError(f"no such soil texture: {texture!r}")
    buffer = rows[texture] if texture else Estimate(rows["sand"].low, rows["loam"].typical, rows["clay"].high)
    return buffer.scaled(depth_cm / TABLE_DEPTH_CM)


def lime_requirement(soil_ph: Estimate, target_ph: float, texture: str, depth_cm: float) -> Estimate:
    """Return the lime requirement, in grams of CaCO3 per square metre; 0 if the soil is at ``target_ph`` or above.

    Buffer capacity times the change of pH. Valid from about pH 4.5, below which it is too small, to 7.

    >>> lime_requirement(Estimate.exactly(5.5), 6.5, "loam", 15).typical
    370.0
    """
    buffer = soil_buffer(texture, depth_cm)
    return Estimate(
        buffer.low * max(target_ph - soil_ph.high, 0.0),
        buffer.typical * max(target_ph - soil_ph.typical, 0.0),
        buffer.high * max(target_ph - soil_ph.low, 0.0),
    )


@cache
def soil_ph_ceiling() -> Estimate:
    """Return the highest pH that lime or ash can give a soil: that of free carbonate in touch with air."""
    return published.estimate(published.row("soil_ceiling", "carbonate"))


def expected_shift(lime: Estimate, texture: str, depth_cm: float, soil_ph: float = LOWEST_PH) -> Estimate:
    """Return the rise of soil pH once ``lime`` (g of CaCO3 per square metre) has reacted completely.

    It ends at `soil_ph_ceiling`, counted from ``soil_ph``; a soil above the ceiling does not rise.

    >>> round(expected_shift(Estimate.exactly(37.0), "loam", 15).typical, 3)
    0.1
    >>> round(expected_shift(Estimate.exactly(5000.0), "loam", 15, soil_ph=6.3).typical, 3)
    2.0
    """
    buffer, ceiling = soil_buffer(texture, depth_cm), soil_ph_ceiling()
    return Estimate(
        min(lime.low / buffer.high, max(ceiling.low - soil_ph, 0.0)),
        min(lime.typical / buffer.typical, max(ceiling.typical - soil_ph, 0.0)),
        min(lime.high / buffer.low, max(ceiling.high - soil_ph, 0.0)),
    )


def limed_ph(soil_ph: float, error: float, shift: Estimate) -> Estimate:
    """Return the pH of a soil that was read as ``soil_ph`` (plus or minus ``error``) after a ``shift`` by lime.

    A bound that lime has moved ends at `soil_ph_ceiling`; what was read above the ceiling stays.

    >>> limed_ph(6.0, 0.5, Estimate(1.0, 2.3, 2.5))
    Estimate(low=6.5, typical=8.3, high=8.5)
    """
    ceiling = soil_ph_ceiling()
    return Estimate(
        max(soil_ph - error, min(soil_ph - error + shift.low, ceiling.low)),
        max(soil_ph, min(soil_ph + shift.typical, ceiling.typical)),
        max(soil_ph + error, min(soil_ph + error + shift.high, ceiling.high)),
    )


def ash_that_meets(requirement: Estimate, lime_value: Estimate) -> Estimate:
    """Return the grams of ash per square metre that meet a lime requirement (g of CaCO3 per square metre).

    Requirement over ``lime_value`` (g of CaCO3 per gram of ash). Raises ValueError if the lime value may be 0.

    >>> ash_that_meets(Estimate.exactly(100.0), Estimate(0.25, 0.5, 1.0))
    Estimate(low=100.0, typical=200.0, high=400.0)
    """
    if not lime_value.low > 0:
        raise ValueError("an ash without lime value meets no requirement")
    return Estimate(
        requirement.low / lime_value.high, requirement.typical / lime_value.typical, requirement.high / lime_value.low
    )


def notes(table: str, locale: str = "en-GB", own: OwnUnits = METRIC) -> tuple[UndoNote, ...]:
    """Return the notes of a published table, in its order, with their amounts in the grower's units."""
    return tuple(
        UndoNote(row["id"], _with_amounts(row, locale, own), row["source"], row["status"])
        for row in published.table(table)
    )


def _with_amounts(row: Mapping[str, str], locale: str, own: OwnUnits) -> str:
    """Return the text of a note with its g/m2 and its depth in cm, which stand in columns of their own."""
    names = [name for name in ("ash", "sand", "loam", "clay") if row.get(name)]
    words = {name: ground_words(float(row[name]), locale, own, 3) for name in names}
    if row.get("depth"):
        words["depth"] = depth_words(float(row["depth"]), own, locale)
    if "ash" in words:
        feet = own.area == "ft^2"
        words["cup"] = (
            said("a quarter of a cup on ten square feet") if feet else said("a quarter of a cup on a square metre")
        )
    return Sentence(str(row["text"]), words) if words else row["text"]
