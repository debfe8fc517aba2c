"""The answer to ``"ask": "share"``: a winter's ash shared out over the beds of a book, as ``values.share``.

* The ash is told in weight or volume (``ash.amount``), or as the wood that left it (``ash.wood``).
* What each bed may have is that of the season book: its totals, its limits and its verdict. The feed is a batch as
  planned for a can of ten litres, its verdict that on each bed.
* `feedcalc.book.sharing` decides how much each bed gets.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from datetime import date
from typing import Any

from feedcalc import published
from feedcalc.book.amounts import NutrientAmounts, dry_ash_amounts, sampled_ash
from feedcalc.book.batches import AnsweredBatches
from feedcalc.book.book_file import read_document
from feedcalc.book.entries import Bed, Book, entry_records
from feedcalc.book.figures import if_known
from feedcalc.book.metals import contents_of_ash
from feedcalc.book.reader import Reader
from feedcalc.book.sharing import LEAST_SHARE, BedRoom, BedShare, Materials, share_out
from feedcalc.book.totals import BedTotals, lime_need, next_ash_day, next_feed_day, totals_on
from feedcalc.book.verdict import OVERDONE, circumstances_of_bed, reasons_now, verdict_of
from feedcalc.contract.cautions import Caution, cautions_for
from feedcalc.contract.figures import exact_figure, figure
from feedcalc.contract.quantities import Quantity
from feedcalc.contract.request import Request
from feedcalc.frozen import frozen
from feedcalc.garden.crop_removal import crop_potassium
from feedcalc.garden.feed_limits import practice
from feedcalc.garden.liming import TABLE_DEPTH_CM, soil_buffer
from feedcalc.garden.metals import HECTARE_FACTOR, LOAD, countries, limits_of
from feedcalc.garden.spreading import asked_ash
from feedcalc.garden.suitability import GO, HOLD, WEAKER, FeedFacts, Reason, suitability_limit, verdict_for
from feedcalc.liquor.answer import Answer
from feedcalc.liquor.verdict import feed_facts
from feedcalc.uncertainty.estimates import Estimate, Steps, within_progress
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.languages import MACHINE_WORDS
from feedcalc.words.messages import said

CAN = "10 L"
TABLES_BEHIND_SHARING = ("wood_burnt", "share_limits", "crop_removal", "metal_limits", "ash_metals")


@frozen
class BedPlan:
    """The share of a bed in words: why it gets no solids or no feed, what ended it, and from when on.

    ``feeds`` counts the feeds of the season that ``share.feed`` is poured in.
    """

    bed: Bed
    share: BedShare
    reasons: tuple[Reason, ...]
    ended_by: tuple[Reason, ...]
    feeds: int
    dry_from: date | None
    feed_from: date | None

    @property
    def has_any(self) -> bool:
        """Whether the bed gets anything."""
        return self.share.dry + self.share.sludge + self.share.feed > 0


@frozen
class WinterAnswer:
    """A shared-out winter's ash: ``values`` of the reply and the plan of each bed."""

    values: Mapping[str, Any]
    plans: tuple[BedPlan, ...]
    assumed: Mapping[str, str]
    cautions: tuple[Caution, ...]


def winter_answer_in_steps(request: Request) -> Steps[WinterAnswer]:
    """Return the ash of a request shared out over the beds of its book, in slices.

    Raises `InputErrors` without an amount of ash or without ``now``.
    """
    ash = ash_in_all(request)
    if request.moment is None:
        problem, accepted = said("Sharing out needs to know what day it is."), said("a time such as 2026-05-01T09:00")
        raise InputErrors([InputError("now", "", problem, accepted)])
    today = request.moment.date()
    batches = AnsweredBatches(request.word("ranges") or "on")
    try:
        records, unread = read_document(request.carried.get("book"))
    except InputError as error:
        raise InputErrors([InputError(f"book.{error.field}", error.given, error.problem, error.accepted)]) from None
    reader = Reader(batches, request.locale, request.customs)
    told = entry_records(records)
    book = yield from within_progress(reader.book_in_steps(told, today), 0, 1, 2)
    text = _batch(request)
    answer = yield from batches.answer(text, "")
    litre = yield from batches.litre_of_feed(text, "")
    sludge = yield from batches.whole_sludge(text)
    yield 1, 2
    materials = _materials(request, answer, litre, sludge)
    metals = _ash_by_metals(request, contents_of_ash(told, request))
    beds = [_bed_room(request, bed, today, feed_facts(answer), materials, metals) for bed in book.beds]
    shares = share_out(ash.typical, [room for room, _ in beds], materials)
    plans = tuple(
        _plan(request, room, reasons, share, today, metals[1])
        for (room, reasons), share in zip(beds, shares, strict=True)
    )
    yield 2, 2
    return WinterAnswer(
        values={"share": _values(request, ash, plans, materials, answer, book, len(unread))},
        plans=plans,
        assumed={path: text for path, text in request.assumed.items() if path.startswith("ash.")},
        cautions=tuple(c for c in cautions_for({"dry"}) if c.where in ("spreading", "applying") or c.id == "ammonia"),
    )


def ash_in_all(request: Request) -> Estimate:
    """Return the grams of ash of a request, told as ash or as the wood that left it; raises `InputErrors`."""
    told, wood = request.readings.get("ash.amount"), request.readings.get("ash.wood")
    if told and wood:
        problem, accepted = said("The ash is given twice, as ash and as wood."), said("one of the two")
        raise InputErrors([InputError("ash.wood", wood.text, problem, accepted)])
    if told:
        return dry_ash_amounts(sampled_ash(asked_ash(request)), told).ash
    if wood and wood.value > 0:
        return ash_of_wood(wood)
    accepted = said("an amount such as 20 L or 8 kg of ash, or the wood burnt, such as 2 cords or 5 m3")
    raise InputErrors([InputError("ash.amount", "", said("How much ash is there?"), accepted)])


def ash_of_wood(wood: Quantity) -> Estimate:
    """Return the grams of ash that wood leaves, from its weight in g or its stacked volume in L."""
    share = published.estimate(published.row("wood_burnt", "ash_share"))
    stacked = published.estimate(published.row("wood_burnt", "stacked_density"))  # kg/m3 is g/L
    dry = Estimate.exactly(wood.value) if wood.kind == "mass" else stacked.scaled(wood.value)
    return Estimate(dry.low * share.low, dry.typical * share.typical, dry.high * share.high)


def _batch(request: Request) -> str:
    """Return the request of the batch that feeds are taken from, as JSON."""
    analysis = {element: f"{value!r} g/kg" for element, value in request.group("ash.analysis").items()}
    ash = {"kind": request.word("ash.kind"), "state": request.word("ash.state"), "analysis": analysis}
    return json.dumps({"schema": 1, "ash": ash, "cans": [{"size": CAN}]}, sort_keys=True)


def _materials(request: Request, answer: Answer, litre: NutrientAmounts, sludge: NutrientAmounts) -> Materials:
    batch = answer.typical.batch
    ash = sampled_ash(asked_ash(request))
    return Materials(
        dry=dry_ash_amounts(ash, Quantity(1.0, "g", "mass", "1 g", "")),
        sludge=sludge.scaled(1 / batch.ash_grams),
        feed=litre,
        steeped=batch.ash_grams / (batch.liquor_litres * (1 + answer.plan.parts_water)),
    )


# -- what a bed may have ----------------------------------------------------------------------------------------


def _bed_room(
    request: Request, bed: Bed, today: date, feed: FeedFacts, materials: Materials, metals: tuple[float | None, str]
) -> tuple[BedRoom, tuple[Reason, ...]]:
    """Return what a bed may still receive, and the reasons for what it may not; ``metals`` as of `_ash_by_metals`."""
    if bed.area is None:
        return BedRoom(bed), (limit_reason("no_area"),)
    totals = totals_on(bed, today, materials.dry.lime_value)
    case = circumstances_of_bed(request, bed, today)
    book = reasons_now(bed, totals, request)
    solid = verdict_of(verdict_for(case).reasons, book)
    on_feed = [reason for reason in verdict_for(case._replace(feed=feed)).reasons if reason.id != "soil_unknown"]
    liquid = verdict_of(on_feed, [reason for reason in book if reason.id in OVERDONE])
    reasons = [reason for each in (solid, liquid) for reason in _weightiest(each.reasons)]
    year = totals.past_year
    had = year.potassium.typical if year else 0.0
    crop, _ = crop_potassium(bed.plant)
    room = BedRoom(
        bed=bed,
        potassium=max(crop - had, 0.0) * bed.area,
        metals=if_known(metals[0], lambda grams: grams * bed.area),
        feed=_feed_litres(liquid.word, has_test=totals.test is not None) * bed.area,
        lime_to_stop=if_known(_lime_to_stop(bed, totals), lambda lime: lime * bed.area),
    )
    if solid.word != HOLD and totals.advice is not None:
        cap = totals.cap.low if solid.word == WEAKER else totals.cap.high
        need = lime_need(bed, totals)
        room = replace(
            room,
            takes_solids=True,
            ash=max(cap - (year.ash.typical if year else 0.0), 0.0) * bed.area,
            lime=(need.typical if need else 0.0) * bed.area,
        )
    return room, tuple(dict.fromkeys(reasons))


def _weightiest(reasons: Sequence[Reason]) -> list[Reason]:
    """Return the reason that holds back, that of the plant before any other because no soil test changes it."""
    held = sorted((r for r in reasons if r.towards == HOLD), key=lambda reason: not reason.id.startswith("plant_"))
    return held[:1]


def _lime_to_stop(bed: Bed, totals: BedTotals) -> float | None:
    """Return the lime in g/m2 that a soil takes up to the pH at which ash stops, in the worst case of its test."""
    if totals.known_ph is None:
        return None
    return soil_buffer(bed.texture, TABLE_DEPTH_CM).low * max(
        suitability_limit("soil_stop") - totals.known_ph.high, 0.0
    )


def _feed_litres(verdict: str, *, has_test: bool) -> float:
    """Return the litres of feed that a square metre may have in a season, half where it should be weaker."""
    if verdict == HOLD:
        return 0.0
    litres = practice("ground_volume").typical * (practice("drenches_per_season").typical if has_test else 1.0)
    return litres if verdict == GO else litres / 2


def _ash_by_metals(request: Request, contents: Mapping[str, float]) -> tuple[float | None, str]:
    """Return the ash in g/m2 that carries a country's yearly load of a metal, and the metal; None without a limit.

    A metal that the book's analyses do not give counts at the upper end of what household ash holds.
    """
    found: list[tuple[float, str]] = []
    for limit in limits_of(request.word("country") or "EU"):
        if limit.kind != LOAD:
            continue
        held = contents.get(limit.metal, float(published.row("ash_metals", limit.metal)["high"]))
        if held > 0:
            found.append((limit.high / (held * HECTARE_FACTOR), limit.metal))
    return min(found, default=(None, ""))


# -- the answer -------------------------------------------------------------------------------------------------


def limit_reason(limit_id: str, **parts: str) -> Reason:
    """Return a row of ``share_limits.csv`` as a reason."""
    row = published.row("share_limits", limit_id)
    return Reason(limit_id, said(str(row["text"]), **parts), GO, row["source"], row["status"])


def _plan(
    request: Request, room: BedRoom, reasons: tuple[Reason, ...], share: BedShare, today: date, metal: str
) -> BedPlan:
    per_square_metre = practice("ground_volume").typical
    ended = [_ended_by(request, room, name, today, metal) for name in share.ended_by]
    if not ended and not reasons:
        ended.append(limit_reason("all_given"))
    area = room.bed.area or 1.0
    feed_days = next_feed_day(room.bed, today)
    return BedPlan(
        bed=room.bed,
        share=share,
        reasons=reasons,
        ended_by=tuple(ended),
        feeds=max(round(share.feed / area / per_square_metre), 1) if share.feed > 0 else 0,
        dry_from=next_ash_day(room.bed, today) if share.dry + share.sludge > 0 else None,
        feed_from=(max(feed_days[1], today) if feed_days else today) if share.feed > 0 else None,
    )


def _ended_by(request: Request, room: BedRoom, name: str, today: date, metal: str) -> Reason:
    if name == "metals":
        country = countries()[request.word("country") or "EU"]["name"]
        return limit_reason(name, metal=MACHINE_WORDS[metal], country=said(country))
    if name == "feeds" and room.bed.test_before(today) is None:
        return limit_reason("once")
    if name == "feeds":
        return limit_reason(name, count=f"{practice('drenches_per_season').typical:g}")
    return limit_reason(name)


def _values(
    request: Request,
    ash: Estimate,
    plans: Sequence[BedPlan],
    materials: Materials,
    answer: Answer,
    book: Book,
    unread: int,
) -> dict[str, Any]:
    def grams(value: float) -> dict[str, Any]:
        return exact_figure(value if value > LEAST_SHARE * ash.typical else 0.0, "g")

    dry, sludge = (sum(getattr(plan.share, kind) for plan in plans) for kind in ("dry", "sludge"))
    litres = sum(plan.share.feed for plan in plans)
    steeped = litres * materials.steeped
    return {
        "ash": figure(ash, "g"),
        "is_from_wood": "ash.wood" in request.readings,
        "dry": grams(dry),
        "steeped": grams(steeped),
        "feed": exact_figure(litres, "L"),
        "left": grams(ash.typical - dry - steeped),
        "sludge_left": grams(steeped - sludge),
        "parts_water": exact_figure(answer.plan.parts_water, "1"),
        "set_aside": len(book.rejected) + sum(len(bed.rejected) for bed in book.beds) + unread,
        "beds": [_bed_values(plan, materials) for plan in plans],
    }


def _bed_values(plan: BedPlan, materials: Materials) -> dict[str, Any]:
    bed, share = plan.bed, plan.share
    area = bed.area or 1.0
    return {
        "id": bed.id,
        "name": bed.name,
        "area": if_known(bed.area, lambda value: exact_figure(value, "m2")),
        "plant": bed.plant,
        "dry": exact_figure(share.dry, "g"),
        "dry_per_square_metre": exact_figure(share.dry / area, "g/m2"),
        "sludge": exact_figure(share.sludge, "g"),
        "feed": exact_figure(share.feed, "L"),
        "feed_ash": exact_figure(share.feed * materials.steeped, "g"),
        "feeds": plan.feeds,
        "dry_from": if_known(plan.dry_from, date.isoformat),
        "feed_from": if_known(plan.feed_from, date.isoformat),
        "reasons": [asdict(reason) for reason in plan.reasons],
        "ended_by": [asdict(reason) for reason in plan.ended_by],
    }
