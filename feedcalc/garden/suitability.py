"""Can this ground and these plants take it: go, go weaker, or hold back, and why.

Rules of this room:

* Every reason pushes one way; the verdict is the most careful of them. Nothing is weighed against anything.
* What is not known is not assumed to be well: an untested bed is held back, an unlisted plant gets it weaker.
* Where sources differ, they are shown as differing and the careful one decides.
* Words and sources stand in ``suitability_reasons.csv``, limits in ``suitability_limits.csv``, plants in
  ``plants.csv`` and ``plant_soil_ph.csv``, their names elsewhere in ``plant_names.csv``; here stands only when each
  is said.
* A plant is found by its names in every language at once, whatever language is spoken. Where a word is the name of
  several plants, in one language or in two, all of them are meant and the careful one decides.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from math import ceil, isfinite, isinf

from feedcalc import published
from feedcalc.contract.numbers import write_number
from feedcalc.garden.feed_limits import FeedLimit, practice
from feedcalc.garden.liming import expected_shift
from feedcalc.garden.plants import PLANT_KINDS, Plant, plants_named, plants_spelt_like
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.messages import Sentence, listed, said

GO, WEAKER, HOLD = "go", "go weaker", "hold back"
# From the freest to the most careful.
DIRECTIONS = (GO, WEAKER, HOLD)
CONTAINERS = ("pot", "plug tray")
# A drench wets about this much soil; lime in it stays near the top.
DRENCHED_DEPTH_CM = 15.0


_NO_AMOUNT = Estimate.exactly(0.0)


@dataclass(frozen=True, slots=True)
class FeedFacts:
    """The feed as it would be poured: pH, alkalinity (mg/L as CaCO3), conductivity (mS/cm), lime value.

    The lime value is that of one drench, in g of CaCO3 to the square metre. ``limits`` are those of the stage,
    ``parts`` its dilution, ``parts_within_limits`` the one the limits call for (infinite where none would do).
    ``fits_reading`` is false where a pH was read that is lower than any plausible ash gives.
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


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What is known of ground, plant and feed; an empty word or None is what nobody said.

    ``tested_with``: laboratory, meter, kit, strip. ``place``: one of `feedcalc.contract.request.PLACES`.
    ``season``: sowing, growing, resting. ``stage``: seedling, young, established. ``use``: drench, foliar.
    ``feed`` is None for dry ash. ``read_ph`` is the pH of the liquor as read with a strip or
    meter, or that of the feed as brought about with acid (``has_acid``). ``language`` is the one in which names like
    one that is not in the list are offered.
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


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason: its id, words, the direction it pushes (`DIRECTIONS`), and where it is from."""

    id: str
    text: str
    towards: str
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """``go``, ``go weaker`` or ``hold back``, with the reasons, the weightiest first."""

    word: str
    reasons: tuple[Reason, ...]


# Reasons to go weaker that a feed of half the strength meets.
HALF_STRENGTH = frozenset({"plant_caution", "plant_not_listed", "plant_at_top", "soil_test_old"})


def half_strength(parts: float) -> float:
    """Return the parts of water of a feed half as strong as one of ``parts``, in whole parts.

    >>> half_strength(7.0)
    15.0
    """
    return float(ceil(practice("half_strength").typical * (parts + 1.0) - 1.0)) if isfinite(parts) else parts


def calls_for_half_strength(case: Circumstances) -> bool:
    """Return whether soil or plant call for a feed of half the strength."""
    return any(reason.id in HALF_STRENGTH for reason in (*_soil_reasons(case), *_plant_reasons(case)))


def verdict_for(case: Circumstances) -> Verdict:
    """The verdict on a case: the most careful direction that any reason pushes in.

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
        eased = [reason for reason in reasons if reason.id in HALF_STRENGTH and reason.towards == WEAKER]
        if eased:
            reasons = [replace(reason, towards=GO) if reason in eased else reason for reason in reasons]
            reasons.append(_reason("half_strength"))
    ordered = sorted(reasons, key=lambda reason: -DIRECTIONS.index(reason.towards))
    return Verdict(ordered[0].towards, tuple(ordered))


# -- plants ---------------------------------------------------------------------------------------------------


def soil_target(texture: str, plant: str) -> float:
    """The pH to aim at: the usual one for the ground, but never above what lists give the plant.

    Of lists that differ the highest counts, for plants that get no ash the lowest; of several plants the most careful.

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


# -- reasons --------------------------------------------------------------------------------------------------


@cache
def _wordings() -> Mapping[str, Mapping[str, str]]:
    return {row["id"]: row for row in published.table("suitability_reasons")}


@cache
def _limits() -> Mapping[str, float]:
    return {row["id"]: float(row["value"]) for row in published.table("suitability_limits")}


def suitability_limit(limit_id: str) -> float:
    """A limit of ``suitability_limits.csv``; raises KeyError for one that is not there.

    >>> suitability_limit("soil_stop")
    7.0
    """
    return _limits()[limit_id]


def soil_test_error(tested_with: str) -> float:
    """How far a reading of soil pH by that means can be off, plus or minus, in pH units.

    >>> soil_test_error("kit") > soil_test_error("laboratory")
    True
    """
    return _limits()[f"error_{tested_with or 'unsaid'}"]


def _reason(reason_id: str, source: tuple[str, str] | None = None, /, **words: str) -> Reason:
    row = _wordings()[reason_id]
    text = Sentence(str(row["text"]), words)
    where, status = source or (row["source"], row["status"])
    return Reason(reason_id, text, row["towards"], where, status)


def _soil_reasons(case: Circumstances) -> list[Reason]:
    if case.soil_ph is None:
        if case.feed is None:
            return [_reason("soil_unknown_dry")]
        if case.place in CONTAINERS:
            return [_reason("soil_unknown_pot")]
        return [_reason("soil_unknown", **_one_safe_feed(case.feed, case.locale))]
    ph, error, limits = case.soil_ph, soil_test_error(case.tested_with), _limits()
    told = {"ph": write_number(ph, 2, case.locale), "error": write_number(error, 1, case.locale)}
    if ph >= limits["soil_stop"]:
        return [_reason("soil_stop", **told)]
    if round(ph + error, 6) >= limits["soil_stop"]:
        return [_reason("soil_in_doubt", **told)]
    if ph >= limits["soil_ease"]:
        return [_reason("soil_ease_feed" if case.feed else "soil_ease", **told)]
    reasons = [_reason("soil_acid", **told)]
    if case.tested_years_ago is not None and case.tested_years_ago > limits["test_years"]:
        reasons.append(_reason("soil_test_old", years=write_number(case.tested_years_ago, 2, case.locale, trim=True)))
    # Lime-haters want it so.
    if ph < limits["soil_very_acid"] and not any(plant.is_barred for plant in plants_named(case.plant)):
        reasons.append(_reason("soil_very_acid", **told))
    return reasons


def _one_safe_feed(feed: FeedFacts, locale: str) -> dict[str, str]:
    """How much of a feed may go on a square metre of untested soil, once, and the lime it brings, in words."""
    litres = min(feed.litres_per_square_metre, practice("ground_volume").high)
    lime = feed.lime_per_square_metre.typical * litres / feed.litres_per_square_metre
    return {"litres": write_number(litres, 2, locale, trim=True), "lime": write_number(lime, 2, locale)}


def _plant_reasons(case: Circumstances) -> list[Reason]:
    if not case.plant:
        return [_reason("plant_unnamed")]
    found = plants_named(case.plant)
    if not found:
        near = plants_spelt_like(case.plant, case.language)
        return [
            _reason(
                "plant_not_listed",
                given=case.plant,
                near=said(" (did you mean {names}?)", names=listed(near, ", ")) if near else "",
            )
        ]
    reasons = []
    if len(found) > 1:
        names = [plant.names[0] for plant in found]
        shown = said("{names} and others", names=listed(names[:6], ", ")) if len(names) > 6 else listed(names, ", ")
        reasons.append(_reason("plant_several", given=case.plant, names=shown))
    worst = max(PLANT_KINDS.index(plant.kind) for plant in found)
    for plant in [plant for plant in found if PLANT_KINDS.index(plant.kind) == worst][:3]:
        reasons += _reasons_of(plant, case)
    return reasons


def _reasons_of(plant: Plant, case: Circumstances) -> list[Reason]:
    source = (plant.source, plant.status)
    name = plant.names[0]
    reasons = [_reason(f"plant_{plant.kind}", source, plant=name, reason=plant.reason)]
    if not plant.ranges:
        return reasons
    ranges = _written_ranges(plant, case.locale)
    tightest = min(plant.ranges, key=lambda given: given.high)
    widest = max(plant.ranges, key=lambda given: given.high)
    by = (tightest.source, tightest.status)
    if plant.is_barred:
        if widest.high >= _limits()["soil_ease"] and plant.kind == "block":
            reasons.append(_reason("plant_practice_conflict", plant=name, ranges=ranges))
        elif plant.sources_conflict:
            reasons.append(_reason("plant_conflict", by, plant=name, ranges=ranges))
        return reasons
    if plant.sources_conflict:
        reasons.append(_reason("plant_conflict", by, plant=name, ranges=ranges))
    if case.soil_ph is not None:
        ph, error = case.soil_ph, soil_test_error(case.tested_with)
        told = {
            "ph": write_number(ph, 2, case.locale),
            "error": write_number(error, 1, case.locale),
            "plant": name,
            "ranges": ranges,
        }
        if ph > widest.high:
            reasons.append(_reason("plant_above", by, **told))
        elif ph > tightest.high or ph + error > widest.high:
            reasons.append(_reason("plant_at_top", by, **told))
    if "Brassica" in plant.botanical and case.soil_ph is not None and case.soil_ph >= _limits()["soil_stop"]:
        reasons.append(_reason("soil_clubroot"))
    return reasons


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
    if case.place == "raised bed":
        reasons.append(_reason("raised_bed"))
    return reasons


def _feed_reasons(case: Circumstances, feed: FeedFacts) -> list[Reason]:
    said = (_strength_reasons, _caustic_reasons, _leaf_reasons, _lime_reasons)
    return [reason for reasons in said for reason in reasons(case, feed)]


_SOILS = {
    "": said("soil of unknown texture"),
    "sand": said("sand"),
    "loam": said("loam"),
    "clay": said("clay"),
    "peat": said("peat"),
}
_WHOM = {
    "seedling": said("seedlings"),
    "young": said("young plants"),
    "established": said("established plants"),
}


def _strength_reasons(case: Circumstances, feed: FeedFacts) -> list[Reason]:
    whom = _WHOM[case.stage]
    if isinf(feed.parts_within_limits):
        return [_reason("feed_water", whom=whom)]
    reasons = []
    cure = ""
    if feed.parts_within_limits > feed.parts:
        cure = said(
            "; 1:{parts} would meet it", parts=write_number(feed.parts_within_limits, 3, case.locale, trim=True)
        )
    values = {"alkalinity": feed.alkalinity, "ec": feed.conductivity, "potassium": feed.potassium}
    ids = {"alkalinity": "feed_alkalinity", "ec": "feed_salt", "potassium": "feed_potassium"}
    for limit in feed.limits:
        value = values[limit.quantity]
        source = (limit.row["source"], limit.row["status"])
        at_most = write_number(limit.high, 3, case.locale, trim=True)
        if value.typical > limit.high * (1 + 1e-6) and feed.parts > feed.parts_within_limits:
            return [_reason("feed_water", whom=whom)]  # more of this water only makes it worse
        if value.typical > limit.high * (1 + 1e-6):
            told = write_number(value.typical, 2, case.locale, trim=True)
            reasons.append(_reason(ids[limit.quantity], source, value=told, limit=at_most, whom=whom, cure=cure))
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
        return []  # dilution only brings it lower
    if feed.ph.typical >= caustic:
        return [_reason("feed_caustic", ph=write_number(feed.ph.typical, 3, case.locale))]
    if feed.ph.high >= caustic:
        return [_reason("feed_may_be_caustic", ph=write_number(feed.ph.high, 3, case.locale))]
    return []


def _leaf_reasons(case: Circumstances, feed: FeedFacts) -> list[Reason]:
    if case.use != "foliar":
        return []
    limit = next(float(row["high"]) for row in published.table("feed_limits") if row["id"] == "ph_foliar")
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
    shift = expected_shift(feed.lime_per_square_metre, case.texture, DRENCHED_DEPTH_CM)
    told = {
        "lime": write_number(feed.lime_per_square_metre.typical, 2, case.locale),
        "soil": _SOILS.get(case.texture, case.texture),
        "depth": write_number(DRENCHED_DEPTH_CM, 2, case.locale),
    }
    stop = _limits()["soil_stop"]
    if case.soil_ph < stop <= case.soil_ph + shift.typical:
        return [_reason("lime_too_much", **told, shift=write_number(shift.typical, 1, case.locale))]
    return [_reason("lime_added", **told, shift=write_number(shift.typical, 1, case.locale))]
