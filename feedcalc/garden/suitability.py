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

import difflib
import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from math import isinf

from feedcalc import published
from feedcalc.contract.quantities import write_number
from feedcalc.garden.liming import expected_shift
from feedcalc.liquor.dilution import FeedLimit
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.messages import Sentence, listed, said

GO, WEAKER, HOLD = "go", "go weaker", "hold back"
# From the freest to the most careful.
DIRECTIONS = (GO, WEAKER, HOLD)
KINDS = ("lime-tolerant", "ordinary", "caution", "block", "acid-loving")
CONTAINERS = ("pot", "plug tray")
# A drench wets about this much soil; lime in it stays near the top.
DRENCHED_DEPTH_CM = 15.0
# Other languages in which plants are found, each with its plural endings and what is left of them. What is left need
# not be a word: names and what was typed lose the same.
_ENDINGS: Mapping[str, tuple[tuple[str, str], ...]] = {
    "es": (("ces", "z"), ("es", ""), ("s", ""), ("e", "")),
    "fr": (("eaux", "eau"), ("x", ""), ("s", "")),
    "de": (("isse", "i"), ("sse", "s"), ("en", ""), ("er", ""), ("n", ""), ("e", ""), ("s", "")),
    "pt": (("oes", "ao"), ("aes", "ao"), ("ns", "m"), ("es", ""), ("s", ""), ("e", "")),
    "hi": (),
}
_Words = tuple[str, ...]
# Ranges whose upper ends differ by more than this conflict.
_SAME_RANGE = 0.5


@dataclass(frozen=True, slots=True)
class SoilRange:
    """The soil pH that one source gives for a plant."""

    low: float
    high: float
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class Plant:
    """A plant of the list: English names (the usual one first, a message), botanical name, kind (see `KINDS`) and why,
    soil pH.
    """

    id: str
    names: tuple[str, ...]
    botanical: str
    kind: str
    reason: str
    source: str
    status: str
    ranges: tuple[SoilRange, ...]

    @property
    def is_barred(self) -> bool:
        """Whether it gets no ash at all."""
        return self.kind in ("block", "acid-loving")

    @property
    def sources_conflict(self) -> bool:
        """Whether the upper ends of its soil pH differ by more than half a unit between sources."""
        highs = [given.high for given in self.ranges]
        return bool(highs) and max(highs) - min(highs) > _SAME_RANGE


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
    fits_reading: bool = True


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
    ordered = sorted(reasons, key=lambda reason: -DIRECTIONS.index(reason.towards))
    return Verdict(ordered[0].towards, tuple(ordered))


# -- plants ---------------------------------------------------------------------------------------------------


@cache
def plants() -> tuple[Plant, ...]:
    """Every plant of the list, in the order of the table."""
    ranges: dict[str, list[SoilRange]] = {}
    for row in published.table("plant_soil_ph"):
        given = SoilRange(float(row["ph_low"]), float(row["ph_high"]), row["source"], row["status"])
        ranges.setdefault(row["plant"], []).append(given)
    return tuple(
        Plant(
            row["id"],
            (row["name"], *_parted(row["other_names"])),
            row["botanical"],
            row["kind"],
            row["reason"],
            row["source"],
            row["status"],
            tuple(ranges.get(row["id"], ())),
        )
        for row in published.table("plants")
    )


def names_of(plant: Plant, language: str) -> tuple[str, ...]:
    """What a plant is called in a language, the usual name first.

    >>> names_of(plants_named("tomato")[0], "es")[:2]
    ('tomate', 'jitomate')
    """
    return _names_elsewhere()[plant.id].get(language) or plant.names


@lru_cache(maxsize=1024)
def plants_named(text: str) -> tuple[Plant, ...]:
    """The plants that ``text`` may mean, by common name in any language or botanical name; capitals, accents and
    plurals don't matter.

    A full name goes before part of one: ``sweet potatoes`` is one plant, ``hydrangea`` two. English goes before other
    languages. Empty where nothing fits.

    >>> [plant.id for plant in plants_named("TOMATOES")], [plant.id for plant in plants_named("Vaccinium corymbosum")]
    (['tomato'], ['blueberry'])
    >>> [plant.id for plant in plants_named("pommes de terre")], [plant.id for plant in plants_named("टमाटर")]
    (['potato'], ['tomato'])
    >>> [plant.id for plant in plants_named("hydrangeas")]
    ['hydrangea_blue', 'hydrangea_pink']
    """
    groups = ("en",), tuple(_ENDINGS)
    for fits in (_exactly, _as_part, _inside):
        for languages in groups:
            found = [plant for language in languages for plant in fits(_plain_words(text, language), language)]
            if found:
                return _once(found)
    return ()


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


def _exactly(words: _Words, language: str) -> Iterable[Plant]:
    return [plant for plant, name in _plain_names(language) if name == words]


def _as_part(words: _Words, language: str) -> Iterable[Plant]:
    return [plant for plant, name in _plain_names(language) if words and set(words) <= set(name)]


def _inside(words: _Words, language: str) -> Iterable[Plant]:
    inside = [(plant, set(name)) for plant, name in _plain_names(language) if set(name) <= set(words)]
    # Of names inside the text, a name within a longer one that is there too doesn't count (potato in sweet potato).
    return [plant for plant, name in inside if not any(name < other for _, other in inside)]


@lru_cache(maxsize=1024)
def plants_spelt_like(text: str, language: str = "en", count: int = 3) -> tuple[str, ...]:
    """Names in a language or botanical names that are spelt much like ``text``, nearest first.

    >>> plants_spelt_like("tomatoe plnt")
    ()
    >>> plants_spelt_like("brocoli")
    ('broccoli',)
    >>> plants_spelt_like("Tohmate", "de")
    ('Tomate',)
    """
    names = [name for plant in plants() for name in (*names_of(plant, language), plant.botanical) if name]
    told = {" ".join(_plain_words(name)): name for name in names}
    near = difflib.get_close_matches(" ".join(_plain_words(text)), list(told), count, 0.78)
    return tuple(told[name] for name in near)


@cache
def _names_elsewhere() -> Mapping[str, Mapping[str, tuple[str, ...]]]:
    """Names by plant and language, English left out."""
    return {
        row["plant"]: {language: _parted(row[language]) for language in _ENDINGS}
        for row in published.table("plant_names")
    }


def _parted(names: str) -> tuple[str, ...]:
    return tuple(names.split("|")) if names else ()


@cache
def _plain_names(language: str) -> tuple[tuple[Plant, _Words], ...]:
    """Every name in a language as bare words; with English stand the botanical names."""
    return tuple(
        (plant, words)
        for plant in plants()
        for name in ((*plant.names, plant.botanical) if language == "en" else names_of(plant, language))
        if (words := _plain_words(name, language))
    )


def _once(found: Iterable[Plant]) -> tuple[Plant, ...]:
    return tuple(dict.fromkeys(found))


def _plain_words(text: str, language: str = "en") -> _Words:
    """Words without accents, capitals, signs and plural endings."""
    bare = "".join(letter for letter in unicodedata.normalize("NFKD", text) if not unicodedata.combining(letter))
    bare = bare.casefold().replace("\u2019", "'")
    bare = (re.sub(r"\b[ld]'", "", bare) if language == "fr" else bare).replace("'", "")
    # Vowel signs of Devanagari are no letters to a pattern.
    words = re.findall(r"(?:[^\W_]|[\u0900-\u0963])+", bare)
    return tuple(_singular(word, language) for word in words if word not in ("x", "the", "plant", "plants"))


def _singular(word: str, language: str = "en") -> str:
    """A word without its plural ending: in English the singular (Latin endings stay), elsewhere what is left of both.

    >>> _singular("berries"), _singular("tomatoes"), _singular("radishes"), _singular("asparagus"), _singular("roses")
    ('berry', 'tomato', 'radish', 'asparagus', 'rose')
    >>> _singular("tomaten", "de") == _singular("tomate", "de"), _singular("limoes", "pt") == _singular("limao", "pt")
    (True, True)
    """
    if language != "en":
        for ending, instead in _ENDINGS[language]:
            if word.endswith(ending) and len(word) - len(ending) >= 2:
                return word[: -len(ending)] + instead
        return word
    if len(word) < 4 or word.endswith(("ss", "us", "is")):
        return word
    for ending, instead in (("ies", "y"), ("oes", "o"), ("shes", "sh"), ("ches", "ch"), ("xes", "x")):
        if word.endswith(ending):
            return word[: -len(ending)] + instead
    return word[:-1] if word.endswith("s") else word


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
        is_fed_pot = case.place in CONTAINERS and case.feed is not None
        return [_reason("soil_unknown_pot" if is_fed_pot else "soil_unknown")]
    ph, error, limits = case.soil_ph, soil_test_error(case.tested_with), _limits()
    told = {"ph": write_number(ph, 2, case.locale), "error": write_number(error, 1, case.locale)}
    if ph >= limits["soil_stop"]:
        return [_reason("soil_stop", **told)]
    if round(ph + error, 6) >= limits["soil_stop"]:
        return [_reason("soil_in_doubt", **told)]
    if ph >= limits["soil_ease"]:
        return [_reason("soil_ease", **told)]
    reasons = [_reason("soil_acid", **told)]
    if case.tested_years_ago is not None and case.tested_years_ago > limits["test_years"]:
        reasons.append(_reason("soil_test_old", years=write_number(case.tested_years_ago, 2, case.locale, trim=True)))
    # Lime-haters want it so.
    if ph < limits["soil_very_acid"] and not any(plant.is_barred for plant in plants_named(case.plant)):
        reasons.append(_reason("soil_very_acid", **told))
    return reasons


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
    worst = max(KINDS.index(plant.kind) for plant in found)
    for plant in [plant for plant in found if KINDS.index(plant.kind) == worst][:3]:
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
    values = {"alkalinity": feed.alkalinity, "ec": feed.conductivity}
    ids = {"alkalinity": "feed_alkalinity", "ec": "feed_salt"}
    for limit in feed.limits:
        value = values[limit.quantity]
        source = (limit.row["source"], limit.row["status"])
        at_most = write_number(limit.high, 3, case.locale, trim=True)
        if value.typical > limit.high:
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
    if case.read_ph is not None and case.read_ph < caustic and feed.fits_reading:
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
