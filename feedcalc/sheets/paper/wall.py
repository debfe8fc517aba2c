"""The batch sheet for the wall: one page with steps to tick off, read at arm's length while the hands are wet.

Rules of this room:

* Letters are as large as fits between two heights: capitals of 16 and of 22 minutes of arc at arm's length
  (``label_rules.csv``). What goes on no page at the smaller one is refused, with the paper that would do.
* It is one page, always. Cautions that need not stand here (``label_wall.csv``) go first, from the end of that list.
* Figures, clock times and cautions are the batch sheet's own; nothing is worked out here.
* Words are spoken in the grower's language before they are measured.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta

from feedcalc import published
from feedcalc.contract.cautions import Hazard, hazard_in
from feedcalc.contract.figures import Shown
from feedcalc.contract.numbers import write_number
from feedcalc.sheets.batch import Sheet
from feedcalc.sheets.paper.label import LONGEST_BATCH_NAME, NOT_FOR_FOOD, WITH_CORROSION_SYMBOL, printable
from feedcalc.sheets.paper.typesetting import HEADING, Column, Words, rule
from feedcalc.words.errors import InputError
from feedcalc.words.messages import Speak, said

MARGIN = 8.0
_STEP = 0.1
_LEFT_SHARE = 0.62
_BETWEEN = 6.0
_VESSEL_SHARE = 0.3
_MOST_REASONS = 2  # of those that decide the verdict; the batch sheet has them all
_LADDER_HEAD = said("How far to dilute: pH, alkalinity in mg/L as CaCO₃, the weakest plants that can take it")
_FIRST_AID = ("first_aid_eyes", "first_aid_skin", "first_aid_swallowed")
_SUITS = (
    ("seedling", said("seedlings")),
    ("young", said("young plants")),
    ("established", said("established plants")),
)


@dataclass(frozen=True, slots=True)
class WallStep:
    """One step: what to do, what belongs to it, and its cautions as (id, words)."""

    id: str
    do: str
    more: tuple[str, ...]
    cautions: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Rung:
    """One dilution of the ladder, and the weakest plants it suits."""

    parts: Shown
    ph: Shown
    alkalinity: Shown
    suits: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class WallSheet:
    """A batch sheet in words. ``heights`` are metres above the bottom of the bucket, ``levels`` the same in words."""

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
        """Every sentence that must stand on the wall."""
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


@dataclass(frozen=True, slots=True)
class WallPaper:
    """A sheet for the wall ready to draw, in mm.

    ``boxes`` are squares to tick (left, top, side), ``rules`` the lines round the dilution chosen (left, y, right),
    ``bands`` what stands in the bucket (name, left, top, width, height), ``vessel`` its outline, ``leaders`` lines from
    a level to its words.
    """

    size: str
    width: float
    height: float
    title: str
    words: tuple[Words, ...]
    rules: tuple[tuple[float, float, float], ...]
    boxes: tuple[tuple[float, float, float], ...]
    symbol: tuple[float, float, float] | None
    bands: tuple[tuple[str, float, float, float, float], ...]
    vessel: tuple[float, float, float, float]
    leaders: tuple[tuple[float, float, float, float], ...]
    text_size: float
    left_out: tuple[str, ...]


def wall_sizes() -> tuple[str, ...]:
    """The papers that are large enough to hang up."""
    return tuple(row["paper"] for row in published.table("label_papers") if row["for_wall"] == "yes")


def wall_text_sizes() -> tuple[float, float]:
    """Least and largest text size in mm: by the height of a capital at arm's length.

    >>> tuple(round(size, 2) for size in wall_text_sizes())
    (4.06, 5.58)
    """

    def text_size(minutes_of_arc: float) -> float:
        return rule("arm_length") * 1000 * math.tan(math.radians(minutes_of_arc / 60)) / rule("capital_height")

    return text_size(rule("capital_least")), text_size(rule("capital_wanted"))


def wall_sheet_of(sheet: Sheet, batch: str = "", language: str = "en") -> WallSheet:
    """The sheet for the wall of a batch; ``batch`` is what the grower calls it."""
    cautions = {caution.id: caution.text for caution in sheet.cautions}
    rows = [row for row in published.table("label_wall") if row["caution"] in cautions]

    def at(step: str) -> tuple[tuple[str, str], ...]:
        return tuple((row["caution"], cautions[row["caution"]]) for row in rows if row["step"] == step)

    figures = sheet.figures
    liquor = tuple(caution.text for caution in sheet.at("liquor") if caution.id not in _FIRST_AID)
    deciding = [reason["text"] for reason in sheet.reasons if reason["towards"] == sheet.verdict][:_MOST_REASONS]
    verdict = {
        "hold back": [said("Hold back: {reason}", reason=reason) for reason in deciding],
        "go weaker": [said("Go weaker: {reason}", reason=reason) for reason in deciding],
    }.get(sheet.verdict, [])
    return WallSheet(
        title=said("Ash liquor, step by step"),
        batch=printable(batch)[:LONGEST_BATCH_NAME].strip(),
        hazard=hazard_in(sheet.hazard, language),
        has_corrosion_symbol=any(code in WITH_CORROSION_SYMBOL for code, _ in sheet.hazard.hazards),
        danger=(said("The liquor's pH is {ph}.", ph=figures["liquor.ph"].full), *liquor, *sheet.warnings, *verdict),
        steps=tuple(WallStep(id_, do, more, at(id_)) for id_, do, more in _steps(sheet)),
        heights=sheet.heights,
        levels=(
            ("surface", said("surface {height}", height=figures["batch.surface_height"].text)),
            ("pour_line", said("pour to {height}", height=figures["batch.pour_height"].text)),
            ("sludge_top", said("sludge {height}", height=figures["batch.sludge_height"].text)),
        ),
        ladder=tuple(_rung(rung) for rung in sheet.ladder),
        first_aid=tuple(cautions[id_] for id_ in _FIRST_AID),
        always=at("always"),
    )


def _steps(sheet: Sheet) -> tuple[tuple[str, str, tuple[str, ...]], ...]:
    """Id, what to do, and more about it."""
    figures = sheet.figures
    water, liquor = figures["batch.water_volume"].text, figures["batch.liquor_volume"].text
    measured = said("Sift the cold ash through about 1 mm and measure {ash}.", ash=sheet.ash_words)
    if sheet.starts:
        steep = said(
            "{time}: put {water} of water in the bucket, then sprinkle the ash in.",
            time=sheet.time(sheet.starts),
            water=water,
        )
        again = sheet.time(sheet.starts + timedelta(hours=1))
        stir = said("Stir for about five minutes, and once more at {time}.", time=again)
    else:
        steep = said("Put {water} of water in the bucket, then sprinkle the ash in.", water=water)
        stir = said("Stir for about five minutes, and once more after an hour.")
    if sheet.ready:
        settle = said("Let it settle until {time}.", time=sheet.time(sheet.ready))
    else:
        settle = said("Let it settle for {hours} h.", hours=write_number(sheet.wait_hours, 6, sheet.locale, trim=True))
    goes = (
        (said("The bucket is too small for it all: make it in {goes} goes.", goes=sheet.goes),)
        if sheet.goes > 1
        else ()
    )
    cloudy = () if sheet.steep_long_enough else (said("Your wait is too short: the liquor will still be cloudy."),)
    pour = said(
        "Pour off {liquor} of clear liquor, down to {height} above the bottom.",
        liquor=liquor,
        height=figures["batch.pour_height"].text,
    )
    parts = figures["batch.parts_water"]
    dilute = said("Dilute 1:{parts} with water.", parts=parts.text) if parts.value > 0 else said("Use it undiluted.")
    keep = (
        said("Label what is left and use it by {time}.", time=sheet.time(sheet.use_by))
        if sheet.use_by
        else said("Label what is left and use it within {days} days.", days=sheet.keeps_days)
    )
    return (
        ("sift", measured, ()),
        ("steep", steep, goes),
        ("stir", stir, ()),
        ("settle", settle, cloudy),
        ("pour", pour, ()),
        ("dilute", dilute, _cans(sheet) if parts.value > 0 else ()),
        ("feed", *_feed(sheet)),
        ("keep", keep, ()),
        ("sludge", said("Count the sludge as lime on the bed that gets it."), ()),
    )


def _cans(sheet: Sheet) -> tuple[str, ...]:
    return tuple(
        said(
            "Can of {size}: {water} of water first, then {liquor} of liquor.",
            size=can["size"].text,
            water=can["water"].text,
            liquor=can["liquor"].text,
        )
        for can in sheet.cans
    )


def _feed(sheet: Sheet) -> tuple[str, tuple[str, ...]]:
    figures, ph = sheet.figures, sheet.figures[f"{sheet.own_path}.ph"].full
    milder = {
        "corrosive": (said("Even diluted it is corrosive, pH {ph}: goggles and gloves stay on.", ph=ph),),
        "irritant": (said("Even diluted it is irritant, pH {ph}: goggles and gloves stay on.", ph=ph),),
    }.get(sheet.feed_hazard.name, ())
    if sheet.use == "foliar":
        return (
            said("Not on leaves as it is: its pH is {ph}. Bring it below 8.5 first.", ph=ph),
            milder,
        )
    feed = said(
        "Feed onto moist soil: {plant} a plant or {square} a square metre.",
        plant=figures["delivered.per_plant.volume"].text,
        square=figures["delivered.per_square_metre.volume"].text,
    )
    return feed, milder


def _rung(rung: Mapping[str, object]) -> Rung:
    within = rung["within_limits_for"]
    suits = next((words for stage, words in _SUITS if isinstance(within, list | tuple) and stage in within), None)
    shown = {name: rung[name] for name in ("parts_water", "ph", "alkalinity")}
    parts, ph, alkalinity = (figure for figure in shown.values() if isinstance(figure, Shown))
    return Rung(parts, ph, alkalinity, suits or said("too strong"), bool(rung["chosen"]))


def wall_paper_of(wall: WallSheet, size: str, speak: Speak = str) -> WallPaper:
    """``wall`` set on one page. Raises `InputError` for a paper that is not known or too small."""
    rows = {row["paper"]: row for row in published.table("label_papers") if row["for_wall"] == "yes"}
    wanted = next((name for name in rows if name.casefold() == size.strip().casefold()), None)
    if wanted is None:
        problem = said("There is no such paper for the wall.")
        raise InputError("wall.size", printable(size)[:60], problem, ", ".join(rows))

    def measures(name: str) -> tuple[float, float]:
        return float(rows[name]["width_mm"]), float(rows[name]["height_mm"])

    paper = _fitted(wall, wanted, *measures(wanted), speak)
    if paper is None:
        would = [
            name
            for name in rows
            if _WallSetter(wall, *measures(name), wall_text_sizes()[0], _optional(wall), speak).fits
        ]
        problem = said("This paper can't hold the sheet in letters that are read at arm's length.")
        raise InputError("wall.size", size, problem, ", ".join(would) or said("fewer cans, a shorter name"))
    return paper


def _optional(wall: WallSheet) -> tuple[str, ...]:
    """Ids of the cautions on this sheet that may go, first to go first."""
    there = {id_ for step in wall.steps for id_, _ in step.cautions} | {id_ for id_, _ in wall.always}
    rows = [row for row in published.table("label_wall") if row["need"] == "room" and row["caution"] in there]
    return tuple(row["caution"] for row in reversed(rows))


def _fitted(wall: WallSheet, name: str, width: float, height: float, speak: Speak) -> WallPaper | None:
    least, largest = wall_text_sizes()
    optional = _optional(wall)
    for without in range(len(optional) + 1):
        out = optional[:without]
        page = _WallSetter(wall, width, height, least, out, speak)
        if not page.fits:
            continue
        steps = int((largest - least) / _STEP)
        low, high = 0, steps + 1
        while high - low > 1:
            middle = (low + high) // 2
            larger = _WallSetter(wall, width, height, least + middle * _STEP, out, speak)
            if larger.fits:
                page, low = larger, middle
            else:
                high = middle
        return page.paper(name, out)
    return None


class _WallSetter:
    """One try at one text size: head, steps beside bucket, ladder and first aid, then what holds always."""

    def __init__(
        self, wall: WallSheet, width: float, height: float, text_size: float, out: Sequence[str], speak: Speak
    ) -> None:
        self.wall, self.width, self.height, self.text_size, self.out = wall, width, height, text_size, set(out)
        self.speak = speak
        self.boxes: list[tuple[float, float, float]] = []
        self.leaders: list[tuple[float, float, float, float]] = []
        self.bands: list[tuple[str, float, float, float, float]] = []
        self.vessel = (0.0, 0.0, 0.0, 0.0)
        self.symbol: tuple[float, float, float] | None = None
        self.columns: list[Column] = []
        self.has_first_aid = False
        head = self._head()
        split = MARGIN + (width - 2 * MARGIN) * _LEFT_SHARE
        left = self._column(MARGIN, head, split)
        self._put_steps(left)
        right = self._column(split + _BETWEEN, head, width - MARGIN)
        self._put_bucket(right)
        self._put_ladder(right)
        if right.y < left.y:
            self._put_first_aid(right)
        foot = self._column(MARGIN, max(left.y, right.y), width - MARGIN)
        if not self.has_first_aid:
            self._put_first_aid(foot)
        self._put_foot(foot)
        self.fits = foot.bottom <= height - MARGIN and not any(column.too_wide for column in self.columns)

    def paper(self, name: str, left_out: Sequence[str]) -> WallPaper:
        """What was set."""
        return WallPaper(
            name,
            self.width,
            self.height,
            self.speak(self.wall.title),
            tuple(words for column in self.columns for words in column.words),
            tuple(line for column in self.columns for line in column.rules),
            tuple(self.boxes),
            self.symbol,
            tuple(self.bands),
            self.vessel,
            tuple(self.leaders),
            self.text_size,
            tuple(left_out),
        )

    def _column(self, left: float, top: float, right: float) -> Column:
        column = Column(left, top, right, self.text_size)
        self.columns.append(column)
        return column

    def _head(self) -> float:
        """Title, name and danger; gives where the steps begin."""
        wall, speak = self.wall, self.speak
        column = self._column(MARGIN, MARGIN, self.width - MARGIN)
        if wall.has_corrosion_symbol:
            across = rule("symbol_small") * 2**0.5
            self.symbol = (self.width - MARGIN - across, MARGIN, across)
            column.stand_aside(across)
        column.paragraph([(speak(wall.title), True), (wall.batch, False)], HEADING)
        if wall.hazard.signal_word:
            column.paragraph([(speak(wall.hazard.signal_word).upper(), True)], HEADING)
        for sentence in wall.danger:
            column.paragraph([(speak(sentence), True)])
        column.go_below()
        return column.y

    def _cautions(self, cautions: Sequence[tuple[str, str]]) -> list[str]:
        return [self.speak(words) for id_, words in cautions if id_ not in self.out]

    def _put_steps(self, column: Column) -> None:
        indent = self.text_size * 1.5
        for step in self.wall.steps:
            side = self.text_size * 0.9
            self.boxes.append((column.left, column.y + self.text_size * 0.2, side))
            plain = [(self.speak(sentence), False) for sentence in step.more]
            column.paragraph([(self.speak(step.do), True), *plain], indent=indent)
            warned = self._cautions(step.cautions)
            if warned:
                column.paragraph([("!", True), (" ".join(warned), False)], indent=indent)
            column.gap(0.1)

    def _put_bucket(self, column: Column) -> None:
        """What stands in the bucket, to the scale of its height, each level with its words beside it."""
        heights = self.wall.heights
        room = column.right - column.left
        vessel_width, vessel_height = room * _VESSEL_SHARE, room * 0.62
        top, surface = column.y + self.text_size * 0.6, heights["surface"]
        bottom = top + vessel_height

        def level(metres: float) -> float:
            return bottom - metres / surface * (vessel_height - self.text_size * 0.8)

        edges = [level(heights[name]) for name in ("surface", "pour_line", "sludge_top")] + [bottom]
        self.bands = [
            (name, column.left, edges[place], vessel_width, edges[place + 1] - edges[place])
            for place, name in enumerate(("liquor", "guard", "sludge"))
        ]
        self.vessel = (column.left, top, vessel_width, bottom)
        beside = self._column(
            column.left + vessel_width + self.text_size * 1.2, top - self.text_size * 0.6, column.right
        )
        for (_, words), edge in zip(self.wall.levels, edges, strict=False):
            beside.y = max(beside.y, edge - self.text_size * 0.6)
            self.leaders.append(
                (column.left + vessel_width, edge, beside.left - self.text_size * 0.2, beside.y + self.text_size * 0.6)
            )
            beside.paragraph([(self.speak(words), False)])
        column.y = max(bottom, beside.y) + self.text_size * 0.6

    def _put_ladder(self, column: Column) -> None:
        """A row for each dilution; a cell too narrow for its words has several lines."""
        speak = self.speak
        column.paragraph([(speak(_LADDER_HEAD), True)])
        starts = (0.0, 0.24, 0.42, 0.62)
        room = column.right - column.left
        rows = [
            ((f"1:{rung.parts.text}", rung.ph.text, _bare(rung.alkalinity), speak(rung.suits)), rung.chosen)
            for rung in self.wall.ladder
        ]
        for cells, chosen in rows:
            deepest = column.y
            for place, cell in enumerate(cells):
                end = starts[place + 1] * room - self.text_size * 0.3 if place + 1 < len(starts) else room
                one = self._column(column.left + starts[place] * room, column.y, column.left + end)
                one.paragraph([(cell, chosen)])
                deepest = max(deepest, one.y)
            if chosen:
                column.rules.append((column.left, column.y, column.right))
                column.rules.append((column.left, deepest, column.right))
            column.y = deepest
        column.gap(0.3)

    def _put_first_aid(self, column: Column) -> None:
        """Beside the steps where those reach further down than the ladder, else across the foot."""
        aid = [(self.speak(sentence), False) for sentence in self.wall.first_aid]
        column.paragraph([(self.speak(said("First aid.")), True), *aid])
        self.has_first_aid = True

    def _put_foot(self, column: Column) -> None:
        speak = self.speak
        always = [(sentence, False) for sentence in self._cautions(self.wall.always)]
        column.paragraph([(speak(NOT_FOR_FOOD), True), *always])


def _bare(shown: Shown) -> str:
    """The number without its unit, which the head of the ladder says."""
    return shown.text.removesuffix(shown.unit).strip() if shown.unit else shown.text
