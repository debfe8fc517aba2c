"""The published plant list, and the search for a plant by the name a person types.

* A plant is found by its English, botanical or translated names, whatever the language of the page is.
* Capitals, accents, signs and plural endings are ignored on both sides of the comparison.
* A full name is preferred to part of a name, and an English name to one in another language.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable, Mapping
from functools import cache, lru_cache

from feedcalc import published
from feedcalc.frozen import frozen

# From the most tolerant of lime to the least.
PLANT_KINDS = ("lime-tolerant", "ordinary", "caution", "block", "acid-loving")
# The upper ends of soil pH ranges that differ by more than this conflict.
CONFLICTING_PH = 0.5
# Plural endings and their replacements, by language. The result need not be a word: both sides are stemmed alike.
_ENDINGS: Mapping[str, tuple[tuple[str, str], ...]] = {
    "es": (("ces", "z"), ("es", ""), ("s", ""), ("e", "")),
    "fr": (("eaux", "eau"), ("x", ""), ("s", "")),
    "de": (("isse", "i"), ("sse", "s"), ("en", ""), ("er", ""), ("n", ""), ("e", ""), ("s", "")),
    "pt": (("oes", "ao"), ("aes", "ao"), ("ns", "m"), ("es", ""), ("s", ""), ("e", "")),
    "hi": (),
    "ar": (),
}
_SIMILARITY = 0.78  # least ratio of `difflib.SequenceMatcher` for a name to be suggested

_Words = tuple[str, ...]


@frozen
class SoilRange:
    """The range of soil pH that one source gives for a plant."""

    low: float
    high: float
    source: str
    status: str


@frozen
class Plant:
    """A plant of the list.

    ``names`` are English, the usual one first (a message to translate); ``kind`` is one of `PLANT_KINDS`, and
    ``reason`` is why; ``ranges`` holds a soil pH range for each source.
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
        """Whether the plant should get no ash at all."""
        return self.kind in ("block", "acid-loving")

    @property
    def sources_conflict(self) -> bool:
        """Whether the upper ends of its soil pH ranges differ by more than `CONFLICTING_PH`."""
        highs = [given.high for given in self.ranges]
        return bool(highs) and max(highs) - min(highs) > CONFLICTING_PH


@cache
def plants() -> tuple[Plant, ...]:
    """Return every plant of the list, in the order of the table."""
    ranges: dict[str, list[SoilRange]] = {}
    for row in published.table("plant_soil_ph"):
        given = SoilRange(float(row["ph_low"]), float(row["ph_high"]), row["source"], row["status"])
        ranges.setdefault(row["plant"], []).append(given)
    return tuple(
        Plant(
            id=row["id"],
            names=(row["name"], *_split_names(row["other_names"])),
            botanical=row["botanical"],
            kind=row["kind"],
            reason=row["reason"],
            source=row["source"],
            status=row["status"],
            ranges=tuple(ranges.get(row["id"], ())),
        )
        for row in published.table("plants")
    )


def names_of(plant: Plant, language: str) -> tuple[str, ...]:
    """Return the names of a plant in a language, the usual name first.

    >>> names_of(plants_named("tomato")[0], "es")[:2]
    ('tomate', 'jitomate')
    """
    return _translated_names()[plant.id].get(language) or plant.names


@lru_cache(maxsize=1024)
def plants_named(text: str) -> tuple[Plant, ...]:
    """Return the plants that ``text`` may mean, by common name in any language or by botanical name.

    ``sweet potatoes`` is one plant, ``hydrangea`` two, ``fruit trees`` a group of several (``plant_groups.csv``). Empty
    if no name fits.

    >>> [plant.id for plant in plants_named("TOMATOES")], [plant.id for plant in plants_named("Vaccinium corymbosum")]
    (['tomato'], ['blueberry'])
    >>> [plant.id for plant in plants_named("pommes de terre")], [plant.id for plant in plants_named("टमाटर")]
    (['potato'], ['tomato'])
    >>> [plant.id for plant in plants_named("hydrangeas")]
    ['hydrangea_blue', 'hydrangea_pink']
    """
    if not text.strip():
        return ()
    groups = ("en",), tuple(_ENDINGS)
    for matches in (_full_name_matches, _group_matches, _part_of_name_matches, _name_in_text_matches):
        for languages in groups:
            found = [plant for language in languages for plant in matches(_plain_words(text, language), language)]
            if found:
                return tuple(dict.fromkeys(found))
    return ()


def plants_in(text: str) -> tuple[Plant, ...]:
    """Return the plants whose whole name stands in a text, in English or else in another language.

    >>> [plant.id for plant in plants_in("a litre for the tomatoes")], plants_in("a litre")
    (['tomato'], ())
    """
    for language in ("en", *_ENDINGS):
        if found := list(_name_in_text_matches(_plain_words(text, language), language)):
            return tuple(found)
    return ()


def _full_name_matches(words: _Words, language: str) -> Iterable[Plant]:
    return [plant for plant, name in _plain_names(language) if name == words]


def _group_matches(words: _Words, _language: str) -> Iterable[Plant]:
    members = _groups().get(words, frozenset())
    return [plant for plant in plants() if plant.id in members]


def _part_of_name_matches(words: _Words, language: str) -> Iterable[Plant]:
    return [plant for plant, name in _plain_names(language) if words and set(words) <= set(name)]


def _name_in_text_matches(words: _Words, language: str) -> Iterable[Plant]:
    inside = [(plant, set(name)) for plant, name in _plain_names(language) if set(name) <= set(words)]
    # A name that is part of a longer name in the text does not count (potato in sweet potato).
    return [plant for plant, name in inside if not any(name < other for _, other in inside)]


@lru_cache(maxsize=1024)
def plants_spelt_like(text: str, language: str = "en", count: int = 3) -> tuple[str, ...]:
    """Return up to ``count`` names, in a language or botanical, that are spelt much like ``text``, closest first.

    >>> plants_spelt_like("tomatoe plnt")
    ()
    >>> plants_spelt_like("brocoli")
    ('broccoli',)
    >>> plants_spelt_like("Tohmate", "de")
    ('Tomate',)
    """
    names = [name for plant in plants() for name in (*names_of(plant, language), plant.botanical) if name]
    by_plain_name = {" ".join(_plain_words(name)): name for name in names}
    near = difflib.get_close_matches(" ".join(_plain_words(text)), list(by_plain_name), count, _SIMILARITY)
    return tuple(by_plain_name[name] for name in near)


@cache
def _groups() -> Mapping[_Words, frozenset[str]]:
    """Return the ids of the plants that are named together, by each name in plain words of each language."""
    return {
        _plain_words(words, language): frozenset(row["members"].split("|"))
        for row in published.table("plant_groups")
        for words in row["words"].split("|")
        for language in ("en", *_ENDINGS)
    }


@cache
def _translated_names() -> Mapping[str, Mapping[str, tuple[str, ...]]]:
    """Return the names by plant and language, without English."""
    return {
        row["plant"]: {language: _split_names(row[language]) for language in _ENDINGS}
        for row in published.table("plant_names")
    }


def _split_names(names: str) -> tuple[str, ...]:
    return tuple(names.split("|")) if names else ()


@cache
def _plain_names(language: str) -> tuple[tuple[Plant, _Words], ...]:
    """Return every name in a language as plain words; English includes the botanical names."""
    return tuple(
        (plant, words)
        for plant in plants()
        for name in ((*plant.names, plant.botanical) if language == "en" else names_of(plant, language))
        if (words := _plain_words(name, language))
    )


def _plain_words(text: str, language: str = "en") -> _Words:
    """Return the words of a text without accents, capitals, signs and plural endings."""
    bare = "".join(letter for letter in unicodedata.normalize("NFKD", text) if not unicodedata.combining(letter))
    bare = bare.casefold().replace("\u2019", "'")
    bare = (re.sub(r"\b[ld]'", "", bare) if language == "fr" else bare).replace("'", "")
    bare = re.sub(r"\bال(?=\w{3})", "", bare) if language == "ar" else bare
    # \w does not match the vowel signs of Devanagari.
    words = re.findall(r"(?:[^\W_]|[\u0900-\u0963])+", bare)
    return tuple(_singular(word, language) for word in words if word not in ("x", "the", "plant", "plants"))


def _singular(word: str, language: str = "en") -> str:
    """Return a word without its plural ending; in English the singular, with Latin endings kept.

    >>> _singular("berries"), _singular("tomatoes"), _singular("radishes"), _singular("asparagus"), _singular("roses")
    ('berry', 'tomato', 'radish', 'asparagus', 'rose')
    >>> _singular("tomaten", "de") == _singular("tomate", "de"), _singular("limoes", "pt") == _singular("limao", "pt")
    (True, True)
    """
    if language != "en":
        for ending, replacement in _ENDINGS[language]:
            if word.endswith(ending) and len(word) - len(ending) >= 2:
                return word[: -len(ending)] + replacement
        return word
    if len(word) < 4 or word.endswith(("ss", "us", "is")):
        return word
    for ending, replacement in (("ies", "y"), ("oes", "o"), ("shes", "sh"), ("ches", "ch"), ("xes", "x")):
        if word.endswith(ending):
            return word[: -len(ending)] + replacement
    return word[:-1] if word.endswith("s") else word
