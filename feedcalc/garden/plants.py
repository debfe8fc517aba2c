"""The plants of the published lists: names, kind, soil pH, and the search by what a person typed."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache

from feedcalc import published

PLANT_KINDS = ("lime-tolerant", "ordinary", "caution", "block", "acid-loving")


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
    """A plant of the list: English names (the usual one first, a message), botanical name, kind (see `PLANT_KINDS`) and
    why, soil pH.
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
