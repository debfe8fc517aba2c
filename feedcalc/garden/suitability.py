"""Verdict rules: whether soil and plants suit a feed or dry ash (go, go weaker or hold back), with the reasons.

* Each reason points one way, and the verdict is the most careful of them. Reasons are never weighed against each other.
* Missing information never counts as favourable: an untested bed is held back, an unlisted plant gets a weaker feed.
* If sources differ, the difference is shown and the more careful source decides.
* If a name fits several plants, in one language or in several, the most sensitive one decides.
* Texts and sources are in ``suitability_reasons.csv``, limits in ``suitability_limits.csv``; this module decides which
  reasons apply.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache, lru_cache
from math import ceil, isfinite, isinf
from typing import NamedTuple

from feedcalc import published
from feedcalc.contract.figures import ground_words
from feedcalc.contract.numbers import write_number
from feedcalc.contract.own_measures import METRIC, OwnUnits, depth_words, volume_on_ground
from feedcalc.frozen import frozen
from feedcalc.garden.feed_limits import FeedLimit, practice
from feedcalc.garden.liming import expected_shift
from feedcalc.garden.plants import PLANT_KINDS, Plant, plants_named, plants_spelt_like
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.messages import Sentence, all_of, any_of, listed, said, said_in, said_of

GO, WEAKER, HOLD = "go", "go weaker", "hold back"
# From the least careful to the most.
DIRECTIONS = (GO, WEAKER, HOLD)
CONTAINERS = ("pot", "plug tray")
# The depth of soil that a drench wets, to which its lime is confined.
DRENCHED_DEPTH_CM = 15.0

_SOILS = {
    "": said("soil of unknown texture"),
    "sand": said_in("texture of the soil", "sand"),
    "loam": said_in("texture of the soil", "loam"),
    "clay": said_in("texture of the soil", "clay"),
    "peat": said_in("texture of the soil", "peat"),
}
_WHOM = {
    "seedling": said_in("age of the plants", "seedlings"),
    "young": said_in("age of the plants", "young plants"),
    "established": said_in("age of the plants", "established plants"),
}


_PLACES_WITH_A_LINE = ("raised bed", "greenhouse", "hydroponics", "worm bin")
# Reasons to go weaker that a feed of half the strength meets.
HALF_STRENGTH = frozenset({"plant_caution", "plant_not_listed", "plant_at_top", "soil_test_old", "greenhouse"})
_NO_AMOUNT = Estimate.exactly(0.0)


@frozen
class FeedFacts:
    """The diluted feed: pH at 25 degC, alkalinity (mg/L as CaCO3), conductivity (mS/cm) and potassium (mg/L).

    ``lime_per_square_metre`` is the lime of one drench in g of CaCO3. ``limits`` are those of the plants' stage,
    ``parts`` is the dilution (parts of water to one of liquor) and ``parts_within_limits`` the least dilution that
    meets the limits, infinite if none does. A drench is ``litres_per_square_metre``. ``read_shift`` brings a pH
    that was read to 25 degC. ``fits_reading`` is false if the pH that was read is below that of any plausible ash.
    """

    ph: Estimate
    alkalinity: Estimate
    conductivity: Estimate
    lime_per_square_metre: Estimate
    limits: tuple[FeedLimit, ...]
    parts: float
    parts_within_limits: float
    potassium: Estimate = _NO_AMOUNT
    litres_per_square_metre: float = 3.0
    read_shift: float = 0.0
    fits_reading: bool = True

    @property
    def half_strength_parts(self) -> float:
        """Parts of water at which the feed is half as strong as the limits would allow."""
        return half_strength(self.parts_within_limits)


class Circumstances(NamedTuple):
    """Soil, plant, place and feed that a verdict is about; an empty text or None means unknown.

    ``tested_with``: laboratory, meter, kit, strip. ``place``: one of `feedcalc.contract.request.PLACES`.
    ``season``: sowing, growing, resting. ``stage``: seedling, young, established. ``use``: drench, foliar.
    ``feed`` is None for dry ash. ``read_ph`` is the pH of the liquor by strip or meter, or that of the feed after
    acid was added (``has_acid``). Similar names for an unlisted plant are suggested in ``language``. ``own`` are the
    grower's units.
    """

    soil_ph: float | None = None
    tested_with: str = ""
    tested_years_ago: float | None = None
    texture: str = ""
    plant: str = ""
    stage: str = "established"
    use: str = "drench"
    season: str = ""
    place: str = ""
    feed: FeedFacts | None = None
    read_ph: float | None = None
    has_acid: bool = False
    locale: str = "en-GB"
    language: str = "en"
    own: OwnUnits = METRIC


@frozen
class Reason:
    """A reason: its id, its text, the verdict it calls for (one of `DIRECTIONS`), and its source."""

    id: str
    text: str
    towards: str
    source: str
    status: str


@frozen
class Verdict:
    """``go``, ``go weaker`` or ``hold back``, with the reasons, the most careful first."""

    word: str
    reasons: tuple[Reason, ...]


def half_strength(parts: float) -> float:
    """Return the whole parts of water of a feed half as strong as one of ``parts``.

    >>> half_strength(7.0)
    15.0
    """
    return float(ceil(practice("half_strength").typical * (parts + 1.0) - 1.0)) if isfinite(parts) else parts


def calls_for_half_strength(case: Circumstances) -> bool:
    """Return whether soil or plant call for a feed of half the strength."""
    return any(
        reason.id in HALF_STRENGTH for reason in (*_soil_reasons(case), *_plant_reasons(case), *_place_reasons(case))
    )


def verdict_for(case: Circumstances) -> Verdict:
    """Return the most careful verdict that any reason calls for.

    >>> verdict_for(Circumstances(soil_ph=6.0, tested_with="meter", plant="tomato", feed=None)).word
    'go'
    >>> verdict_for(Circumstances(soil_ph=5.0, plant="Blueberries")).word
    'hold back'
    """
    reasons = [
        *_soil_reasons(case),
        *_plant_reasons(case),
        *_place_reasons(case),
        *(_feed_reasons(case, case.feed) if case.feed else ()),
    ]
    if case.feed and case.feed.parts >= case.feed.half_strength_parts:
        eased = {reason.id for reason in reasons if reason.id in HALF_STRENGTH and reason.towards == WEAKER}
        if eased:
            reasons = [replace(reason, towards=GO) if reason.id in eased else reason for reason in reasons]
            reasons.append(_reason("half_strength"))
    ordered = sorted(reasons, key=lambda reason: -DIRECTIONS.index(reason.towards))
    return Verdict(ordered[0].towards, tuple(ordered))


def soil_target(texture: str, plant: str) -> float:
    """Return the target pH: the usual one for the soil, but never above the range of the plant.

    If sources differ, the highest upper end counts, or the lowest for plants that get no ash; of several plants the
    one with the lowest counts.

    >>> soil_target("loam", "tomato"), soil_target("loam", "blueberry")
    (6.5, 5.0)
    """
    usual = suitability_limit("target_peat" if texture == "peat" else "target_usual")
    highs = [
        (min if found.is_barred else max)(given.high for given in found.ranges)
        for found in plants_named(plant)
        if found.ranges
    ]
    return min([usual, *highs])


@cache
def _limits() -> Mapping[str, float]:
    return {row["id"]: float(row["value"]) for row in published.table("suitability_limits")}


def suitability_limit(limit_id: str) -> float:
    """Return a limit of ``suitability_limits.csv``. Raises KeyError for an unknown id.

    >>> suitability_limit("soil_stop")
    7.0
    """
    return _limits()[limit_id]


def soil_test_error(tested_with: str) -> float:
    """Return the error of a soil pH measured with these means, plus or minus, in pH units.

    >>> soil_test_error("kit") > soil_test_error("laboratory")
    True
    """
    return _limits()[f"error_{tested_with or 'unsaid'}"]


def _reason(reason_id: str, source: tuple[str, str] | None = None, /, **words: str) -> Reason:
    row = published.row("suitability_reasons", reason_id)
    text = Sentence(str(row["text"]), words)
    source_id, status = source or (row["source"], row["status"])
    return Reason(id=reason_id, text=text, towards=row["towards"], source=source_id, status=status)


def _and(reason: Reason, sentence: str) -> Reason:
    """Return a reason with one more sentence at its end."""
    return replace(reason, text=listed([reason.text, sentence], " ")) if sentence else reason


def _soil_reasons(case: Circumstances) -> list[Reason]:
    if case.soil_ph is None:
        if case.feed is None:
            return [_reason("soil_unknown_dry")]
        if case.place in CONTAINERS:
            return [_reason("soil_unknown_pot")]
        if case.feed.parts < case.feed.parts_within_limits:  # then not even one feed is safe
            return [_reason("soil_unknown_dry")]
        return [_reason("soil_unknown", **_one_safe_feed(case.feed, case))]
    limits = _limits()
    reasons = [_reason_of_soil(case.soil_ph, case.tested_with, case.locale, is_of_feed=case.feed is not None)]
    if reasons[0].id != "soil_acid":
        return reasons
    if case.tested_years_ago is not None and case.tested_years_ago > limits["test_years"]:
        reasons.append(_reason("soil_test_old", years=_years(case.tested_years_ago, case.locale)))
    # Very acid soil suits plants that get no ash.
    if case.soil_ph < limits["soil_very_acid"] and not any(plant.is_barred for plant in plants_named(case.plant)):
        reasons.append(_reason("soil_very_acid", **_words_of_soil(case.soil_ph, case.tested_with, case.locale)))
    return reasons


@lru_cache(maxsize=2048)  # many rows of a table of plots have the same soil
def _reason_of_soil(ph: float, tested_with: str, locale: str, *, is_of_feed: bool) -> Reason:
    error, limits = soil_test_error(tested_with), _limits()
    words = _words_of_soil(ph, tested_with, locale)
    if ph >= limits["soil_stop"]:
        return _reason("soil_stop", **words)
    if round(ph + error, 6) >= limits["soil_stop"]:
        return _reason("soil_in_doubt", **words)
    if ph >= limits["soil_ease"]:
        return _reason("soil_ease_feed" if is_of_feed else "soil_ease", **words)
    return _reason("soil_acid", **words)


def _words_of_soil(ph: float, tested_with: str, locale: str) -> dict[str, str]:
    return {"ph": write_number(ph, 2, locale), "error": write_number(soil_test_error(tested_with), 1, locale)}


def _one_safe_feed(feed: FeedFacts, case: Circumstances) -> dict[str, str]:
    """Return how much of a feed may go on a square metre of untested soil, once, and the lime it brings, in words."""
    litres = min(feed.litres_per_square_metre, practice("ground_volume").high)
    lime = feed.lime_per_square_metre.typical * litres / feed.litres_per_square_metre
    return {"feed": volume_on_ground(litres, case.own, case.locale), "lime": ground_words(lime, case.locale, case.own)}


def _plant_reasons(case: Circumstances) -> list[Reason]:
    if not case.plant:
        return [_reason("plant_unnamed")]
    found = plants_named(case.plant)
    if not found:
        near = plants_spelt_like(case.plant, case.language)
        return [
            _and(
                _reason("plant_not_listed", given=case.plant),
                said("Did you mean {near}?", near=any_of(near)) if near else "",
            )
        ]
    return [*_reasons_of_named(case.plant, case.soil_ph, case.tested_with, case.locale)]


@lru_cache(maxsize=2048)  # many rows have the same plant
def _reasons_of_named(text: str, soil_ph: float | None, tested_with: str, locale: str) -> tuple[Reason, ...]:
    found = plants_named(text)
    reasons = []
    if len(found) > 1:
        names = [plant.names[0] for plant in found]
        more = [said_in("plants", "others")] if len(names) > 6 else []
        reasons.append(_reason("plant_several", given=text, names=all_of([*names[:6], *more])))
    worst = max(PLANT_KINDS.index(plant.kind) for plant in found)
    for plant in [plant for plant in found if PLANT_KINDS.index(plant.kind) == worst][:3]:
        reasons += _reasons_of(plant, soil_ph, tested_with, locale)
    return tuple(reasons)


def _reasons_of(plant: Plant, soil_ph: float | None, tested_with: str, locale: str) -> list[Reason]:
    source = (plant.source, plant.status)
    name = plant.names[0]
    reasons = [_reason(f"plant_{plant.kind}", source, plant=name, reason=plant.reason)]
    if not plant.ranges:
        return reasons
    ranges = _written_ranges(plant, locale)
    tightest = min(plant.ranges, key=lambda given: given.high)
    widest = max(plant.ranges, key=lambda given: given.high)
    tightest_source = (tightest.source, tightest.status)
    if plant.is_barred:
        if widest.high >= _limits()["soil_ease"] and plant.kind == "block":
            reasons.append(_reason("plant_practice_conflict", plant=name, ranges=ranges))
        elif plant.sources_conflict:
            reasons.append(_reason("plant_conflict", tightest_source, plant=name, ranges=ranges))
        return reasons
    if plant.sources_conflict:
        reasons.append(_reason("plant_conflict", tightest_source, plant=name, ranges=ranges))
    if soil_ph is not None:
        words = {**_words_of_soil(soil_ph, tested_with, locale), "plant": name, "ranges": ranges}
        if soil_ph > widest.high:
            reasons.append(_reason("plant_above", tightest_source, **words))
        elif soil_ph > tightest.high or soil_ph + soil_test_error(tested_with) > widest.high:
            reasons.append(_reason("plant_at_top", tightest_source, **words))
        if "Brassica" in plant.botanical and soil_ph >= _limits()["soil_stop"]:
            reasons.append(_reason("soil_clubroot"))
    return reasons


def _years(count: float, locale: str) -> str:
    return said_of(count, "{years} year", "{years} years", years=write_number(count, 2, locale, trim=True))


@lru_cache(maxsize=1024)
def _written_ranges(plant: Plant, locale: str) -> str:
    def number(ph: float) -> str:
        return write_number(ph, 2, locale)

    lists = {row["source"]: row["name"] for row in published.table("plant_lists")}
    return listed(
        said("pH {low} to {high} by {source}", low=number(r.low), high=number(r.high), source=lists[r.source])
        for r in plant.ranges
    )


def _place_reasons(case: Circumstances) -> list[Reason]:
    reasons = []
    if case.season == "sowing":
        reasons += [_reason("sowing"), _reason("sowing_conflict")]
    if case.season == "resting":
        reasons.append(_reason("resting"))
    if case.place == "near pond or drain":
        reasons.append(_reason("near_water"))
    if case.place in CONTAINERS and case.feed is None:
        reasons.append(_reason("dry_in_pot"))
    if case.place in _PLACES_WITH_A_LINE:
        reasons.append(_reason(case.place.replace(" ", "_")))
    return reasons


def _feed_reasons(case: Circumstances, feed: FeedFacts) -> list[Reason]:
    alone = _reasons_of_feed_alone(feed, case.stage, case.use, case.read_ph, case.has_acid, case.locale)
    return [*alone, *_lime_reasons(case, feed)]


@lru_cache(maxsize=256)  # many rows of a table of plots get the same feed
def _reasons_of_feed_alone(
    feed: FeedFacts, stage: str, use: str, read_ph: float | None, has_acid: bool, locale: str
) -> tuple[Reason, ...]:
    """Return the reasons that depend neither on the soil nor on the plant."""
    case = Circumstances(stage=stage, use=use, read_ph=read_ph, has_acid=has_acid, locale=locale)
    rules = (_strength_reasons, _caustic_reasons, _leaf_reasons)
    return tuple(reason for rule in rules for reason in rule(case, feed))


def _strength_reasons(case: Circumstances, feed: FeedFacts) -> list[Reason]:
    whom = _WHOM[case.stage]
    if isinf(feed.parts_within_limits):
        return [_reason("feed_water", whom=whom)]
    reasons = []
    cure = ""
    if feed.parts_within_limits > feed.parts:
        parts = write_number(feed.parts_within_limits, 3, case.locale, trim=True)
        cure = said("1:{parts} is within the limit.", parts=parts)
    values = {"alkalinity": feed.alkalinity, "ec": feed.conductivity, "potassium": feed.potassium}
    ids = {"alkalinity": "feed_alkalinity", "ec": "feed_salt", "potassium": "feed_potassium"}
    for limit in feed.limits:
        value = values[limit.quantity]
        source = (limit.row["source"], limit.row["status"])
        at_most = write_number(limit.high, 3, case.locale, trim=True)
        is_over = value.typical > limit.high * (1 + 1e-6)
        if is_over and feed.parts > feed.parts_within_limits:
            return [_reason("feed_water", whom=whom)]  # more of this water makes it worse
        if is_over:
            written = write_number(value.typical, 2, case.locale, trim=True)
            reason = _reason(ids[limit.quantity], source, value=written, limit=at_most, whom=whom)
            reasons.append(_and(reason, cure))
        elif value.high > limit.high:
            reasons.append(_reason("feed_may_pass", limit=at_most, unit=limit.unit, whom=whom))
    if all(reason.towards == GO for reason in reasons):
        reasons.insert(0, _reason("feed_within", whom=whom))
    return reasons


def _caustic_reasons(case: Circumstances, feed: FeedFacts) -> list[Reason]:
    if case.has_acid:
        return [_reason("feed_acid_unread")]
    caustic = _limits()["feed_corrosive"]
    if case.read_ph is not None and case.read_ph + feed.read_shift < caustic and feed.fits_reading:
        return []  # dilution only lowers the pH
    if feed.ph.typical >= caustic:
        return [_reason("feed_caustic", ph=write_number(feed.ph.typical, 3, case.locale))]
    if feed.ph.high >= caustic:
        return [_reason("feed_may_be_caustic", ph=write_number(feed.ph.high, 3, case.locale))]
    return []


def _leaf_reasons(case: Circumstances, feed: FeedFacts) -> list[Reason]:
    if case.use != "foliar":
        return []
    limit = float(published.row("feed_limits", "ph_foliar")["high"])
    at_most = write_number(limit, 2, case.locale)
    if case.read_ph is not None:
        ph = write_number(case.read_ph, 3 if case.read_ph >= 9.95 else 2, case.locale)
        if case.read_ph > limit:
            return [_reason("foliar_off", ph=ph, limit=at_most)]
        return [_reason("foliar_test" if feed.fits_reading else "foliar_doubted", ph=ph)]
    if feed.ph.typical <= limit:
        return [_reason("foliar_unread", limit=at_most)]
    return [_reason("foliar_off", ph=write_number(feed.ph.typical, 3, case.locale), limit=at_most)]


def _lime_reasons(case: Circumstances, feed: FeedFacts) -> list[Reason]:
    if case.place in CONTAINERS or case.soil_ph is None:
        return []
    return [_reason_of_lime(feed.lime_per_square_metre, case.texture, case.soil_ph, case.own, case.locale)]


@lru_cache(maxsize=2048)
def _reason_of_lime(lime: Estimate, texture: str, soil_ph: float, own: OwnUnits, locale: str) -> Reason:
    shift = expected_shift(lime, texture, DRENCHED_DEPTH_CM, soil_ph).typical
    return _reason(
        "lime_too_much" if soil_ph < _limits()["soil_stop"] <= soil_ph + shift else "lime_added",
        lime=ground_words(lime.typical, locale, own),
        soil=_SOILS.get(texture, texture),
        depth=depth_words(DRENCHED_DEPTH_CM, own, locale),
        shift=write_number(shift, 1, locale),
    )
