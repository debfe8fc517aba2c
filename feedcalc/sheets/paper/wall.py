"""The words of the wall sheet: one page with the steps of a batch to tick off, read at arm's length.

* Figures, clock times and cautions are those of the batch sheet; nothing is calculated here.
* `WallSheet.required` lists what no wall sheet may be printed without.
* `wall_layout` puts these words on paper.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from feedcalc import published
from feedcalc.contract.cautions import Hazard, hazard_in
from feedcalc.contract.figures import Shown
from feedcalc.contract.numbers import write_number
from feedcalc.frozen import frozen
from feedcalc.sheets.batch import Sheet
from feedcalc.sheets.paper.label import (
    FIRST_AID,
    LONGEST_BATCH_NAME,
    NOT_FOR_FOOD,
    WITH_CORROSION_SYMBOL,
    can_words,
    printable,
)
from feedcalc.words.messages import said, said_in, said_of

_MAX_REASONS = 2  # of those that decide the verdict; the batch sheet has them all
_STAGES = (
    ("seedling", said_in("age of the plants", "seedlings")),
    ("young", said_in("age of the plants", "young plants")),
    ("established", said_in("age of the plants", "established plants")),
)


@frozen
class WallStep:
    """One step: what to do, more about it, and its cautions as pairs of id and text."""

    id: str
    do: str
    more: tuple[str, ...]
    cautions: tuple[tuple[str, str], ...]


@frozen
class Rung:
    """One dilution, and the most sensitive plants that it suits."""

    parts: Shown
    ph: Shown
    alkalinity: Shown
    suits: str
    chosen: bool


@frozen
class WallSheet:
    """A wall sheet in words. ``heights`` are in metres above the bottom of the bucket, ``levels`` the same in words."""

    title: str
    batch: str
    hazard: Hazard
    has_corrosion_symbol: bool
    danger: tuple[str, ...]
    steps: tuple[WallStep, ...]
    heights: Mapping[str, float]
    levels: tuple[tuple[str, str], ...]
    ladder: tuple[Rung, ...]
    first_aid: tuple[str, ...]
    always: tuple[tuple[str, str], ...]

    @property
    def required(self) -> tuple[str, ...]:
        """Return every sentence that the wall sheet must show."""
        must = {row["caution"] for row in published.table("label_wall") if row["need"] == "must"}
        cautions = [caution for step in self.steps for caution in step.cautions] + list(self.always)
        return (
            *((self.hazard.signal_word,) if self.hazard.signal_word else ()),
            *self.danger,
            *(step.do for step in self.steps),
            *(words for id_, words in cautions if id_ in must),
            *self.first_aid,
            NOT_FOR_FOOD,
        )


def wall_sizes() -> tuple[str, ...]:
    """Return the names of the papers that are large enough for the wall."""
    return tuple(row["paper"] for row in published.table("label_papers") if row["for_wall"] == "yes")


def wall_sheet_of(sheet: Sheet, batch: str = "", language: str = "en") -> WallSheet:
    """Return the wall sheet of a batch; ``batch`` is the name that the grower gave it."""
    cautions = {caution.id: caution.text for caution in sheet.cautions}
    rows = [row for row in published.table("label_wall") if row["caution"] in cautions]

    def at(step: str) -> tuple[tuple[str, str], ...]:
        return tuple((row["caution"], cautions[row["caution"]]) for row in rows if row["step"] == step)

    figures = sheet.figures
    liquor = tuple(caution.text for caution in sheet.at("liquor") if caution.id not in FIRST_AID)
    deciding = [reason["text"] for reason in sheet.reasons if reason["towards"] == sheet.verdict][:_MAX_REASONS]
    verdict = {
        "hold back": [said("Hold back: {reason}", reason=reason) for reason in deciding],
        "go weaker": [said("Go weaker: {reason}", reason=reason) for reason in deciding],
    }.get(sheet.verdict, [])
    return WallSheet(
        title=said("Ash liquor, step by step"),
        batch=printable(batch)[:LONGEST_BATCH_NAME].strip(),
        hazard=hazard_in(sheet.hazard, language),
        has_corrosion_symbol=any(code in WITH_CORROSION_SYMBOL for code, _ in sheet.hazard.hazards),
        danger=(
            said("The liquor's pH at 25\u00a0°C is {ph}.", ph=figures["liquor.ph_25"].full),
            *liquor,
            *sheet.warnings,
            *verdict,
        ),
        steps=tuple(WallStep(id_, do, more, at(id_)) for id_, do, more in _steps(sheet)),
        heights=sheet.heights,
        levels=(
            (
                "surface",
                said_in(
                    "in the drawing of the bucket", "surface {height}", height=figures["batch.surface_height"].text
                ),
            ),
            ("pour_line", said("pour to {height}", height=figures["batch.pour_height"].text)),
            (
                "sludge_top",
                said_in("in the drawing of the bucket", "sludge {height}", height=figures["batch.sludge_height"].text),
            ),
        ),
        ladder=tuple(_rung(rung) for rung in sheet.ladder),
        first_aid=tuple(cautions[id_] for id_ in FIRST_AID),
        always=at("always"),
    )


def _steps(sheet: Sheet) -> tuple[tuple[str, str, tuple[str, ...]], ...]:
    """Return id, what to do, and more about it, of each step."""
    figures = sheet.figures
    parts = figures["batch.parts_water"]
    goes = said_of(
        sheet.goes,
        "The bucket is too small for it all: make it in {count} round.",
        "The bucket is too small for it all: make it in {count} rounds.",
    )
    cloudy = said("It needs longer to clear than the wait you chose, so the time here is longer.")
    pour = said(
        "Pour off {liquor} of clear liquor, down to {height} above the bottom.",
        liquor=figures["batch.liquor_volume"].text,
        height=figures["batch.pour_height"].text,
    )
    dilute = said("Dilute 1:{parts} with water.", parts=parts.text) if parts.value > 0 else said("Use it undiluted.")
    sift = said("Sift the cold ash through about 1 mm and measure {ash}.", ash=sheet.ash_words)
    steep, stir, settle, keep = _timed_steps(sheet)
    return (
        ("sift", sift, ()),
        ("steep", steep, (goes,) if sheet.goes > 1 else ()),
        ("stir", stir, ()),
        ("settle", settle, () if sheet.steep_long_enough else (cloudy,)),
        ("pour", pour, ()),
        ("dilute", dilute, tuple(can_words(can) for can in sheet.cans) if parts.value > 0 else ()),
        ("feed", *_feed(sheet)),
        ("keep", keep, ()),
        ("sludge", said("Write the sludge down as lime for the bed you put it on."), ()),
    )


def _timed_steps(sheet: Sheet) -> tuple[str, str, str, str]:
    """Return how to steep, stir, settle and keep: with clock times if the start is known, else with durations."""
    water = sheet.figures["batch.water_volume"].text
    if not (sheet.starts and sheet.settled):
        hours = write_number(sheet.hours_to_wait, 6, sheet.locale, trim=True)
        return (
            said("Put {water} of water in the bucket, then sprinkle the ash in.", water=water),
            said("Stir for about five minutes, and once more after an hour."),
            said("Let it settle for {hours} h.", hours=hours),
            said("Label what is left. Check with a pH strip before use."),
        )
    again = sheet.time(sheet.starts + timedelta(hours=1))
    start = sheet.time(sheet.starts)
    return (
        said("{time}: put {water} of water in the bucket, then sprinkle the ash in.", time=start, water=water),
        said("Stir for about five minutes, and once more at {time}.", time=again),
        said("Let it settle until {time}.", time=sheet.time(sheet.settled)),
        said("Label what is left. After {time}, check its pH again.", time=sheet.time(sheet.use_by)),
    )


def _feed(sheet: Sheet) -> tuple[str, tuple[str, ...]]:
    """Return how to feed, and the hazard of the diluted feed."""
    figures, ph = sheet.figures, sheet.figures[f"{sheet.own_path}.ph_25"].full
    hazard = (sheet.danger_of_feed,) if sheet.danger_of_feed else ()
    if sheet.use == "foliar":
        unfit = said(
            "Not on leaves as it is: its pH is {ph}. Bring it below {limit} first.", ph=ph, limit=sheet.leaf_limit
        )
        return unfit, hazard
    plant = figures["delivered.per_plant.volume"].text
    if sheet.per_square_foot:
        feed = said(
            "Pour {plant} for each plant, or {square} for each square foot, on moist soil.",
            plant=plant,
            square=sheet.per_square_foot,
        )
    else:
        square = figures["delivered.per_square_metre.volume"].text
        feed = said(
            "Pour {plant} for each plant, or {square} for each square metre, on moist soil.", plant=plant, square=square
        )
    return feed, hazard


def _rung(rung: Mapping[str, Any]) -> Rung:
    suits = next(
        (words for stage, words in _STAGES if stage in rung["within_limits_for"]),
        said_in("beside a limit", "too strong"),
    )
    return Rung(
        parts=rung["parts_water"], ph=rung["ph_25"], alkalinity=rung["alkalinity"], suits=suits, chosen=rung["chosen"]
    )
