"""Read what was burnt in the words a person has for it: a kind, a tree, a place to burn wood, or a fuel to refuse.

* A fuel of ``ash_refusals.csv`` is refused first, whatever else the text says: painted oak is paint. A phrase of
  ``ash_words.csv`` that holds such a word is no refusal: a pallet marked HT is none of the unknown pallets.
* Every word must be known (``ash_words.csv``), so that a fuel missing from both tables is never passed over.
* Words for one kind of wood decide over general ones (oak stove); words for several kinds make it mixed.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from functools import cache, lru_cache

from feedcalc import published
from feedcalc.contract.choice_words import choice_meant, choice_name, choices_listed
from feedcalc.contract.text import plain_words, snippet
from feedcalc.words.errors import InputError
from feedcalc.words.languages import MACHINE_WORDS
from feedcalc.words.messages import any_of, said

_USUAL, _FILLER, _ASH = "mixed", "filler", "ash"
_SIMILARITY = 0.75  # least ratio of `difflib.SequenceMatcher` for a word to be suggested
_MOST_SUGGESTED = 3


def read_ash_kind(path: str, given: object, kinds: tuple[str, ...]) -> tuple[str, str]:
    """Return the kind of ash that a text means, and how the text was read (empty if it names the kind itself).

    Raises `InputError` with the reason for an ash that must not be used, and for words that are not known.

    >>> kind, echo = read_ash_kind("ash.kind", "Oak logs", ("mixed", "hardwood", "softwood", "bark"))
    >>> kind, str(echo)
    ('hardwood', 'Oak logs: counted as hardwood')
    """
    typed = given if isinstance(given, str) else ""
    if plain_words(typed) in kinds:
        return plain_words(typed), ""
    _refuse_unusable(path, given, typed, kinds)
    kind = _kind_of(plain_words(typed).split()) or choice_meant(path, typed, kinds)
    if kind in kinds:
        echo = taken_as(typed, kind)
        return kind, said("{echo}. {note}", echo=echo, note=note) if (note := _note_on(plain_words(typed))) else echo
    problem = said("This is not a known ash.")
    if near := _spelt_like(plain_words(typed)):
        problem = said("This is not a known ash. Did you mean {near}?", near=any_of(near))
    raise InputError(path, snippet(given), problem, said("one of {choices}", choices=choices_listed(kinds)))


def taken_as(typed: str, choice: str) -> str:
    """Return how a word was read, for the grower to check."""
    return said(
        "{word}: counted as {kind}", word=snippet(typed.strip()), kind=MACHINE_WORDS.get(choice) or choice_name(choice)
    )


@lru_cache(maxsize=1024)
def is_refused(typed: str) -> bool:
    """Return whether a text names an ash that must not be used, or that is not covered."""
    return any(_names(typed, fuel) for fuel in _words_refused())


def _names(typed: str, fuel: str) -> bool:
    words = f" {plain_words(typed)} "
    for phrase in _accepted_phrases():
        words = words.replace(f" {phrase} ", " ")
    return any(f" {word} " in words for word in _words_refused()[fuel])


@cache
def _accepted_phrases() -> tuple[str, ...]:
    """Return the phrases for accepted ashes that hold a refused word, the longest first."""
    refused = {word for words in _words_refused().values() for word in words}
    found = [
        phrase
        for phrase in _kinds_by_words()
        if phrase not in refused and any(f" {word} " in f" {phrase} " for word in refused)
    ]
    return tuple(sorted(found, key=len, reverse=True))


def _note_on(plain: str) -> str:
    """Return what is told beside an ash that a text in plain form names; empty if nothing is."""
    for row in published.table("ash_notes"):
        if any(f" {plain_words(word)} " in f" {plain} " for word in row["words"].split("|")):
            return row["note"]
    return ""


def _refuse_unusable(path: str, given: object, typed: str, kinds: tuple[str, ...]) -> None:
    for row in published.table("ash_refusals"):
        if _names(typed, row["id"]):
            problem = (
                said("{label}: never use this ash", label=row["label"])
                if row["verdict"] == "refused"
                else said("{label} is not covered", label=row["label"])
            )
            reason = said(
                "{problem}. {reason}. {caution}", problem=problem, reason=row["reason"], caution=row["caution"]
            )
            raise InputError(
                path, snippet(given), reason, said("ash of clean, untreated wood: {kinds}", kinds=choices_listed(kinds))
            )


@cache
def _words_refused() -> Mapping[str, tuple[str, ...]]:
    """Return the words for each fuel of `ash_refusals`, in all languages and in plain form."""
    rows = published.table("ash_refusals")
    found = {row["id"]: [row["id"].replace("_", " "), *row["words"].split("|")] for row in rows}
    for row in published.table("ash_refusal_words"):
        found[row["id"]] += row["words"].split("|")
    return {name: tuple(map(plain_words, words)) for name, words in found.items()}


def _kind_of(words: list[str]) -> str:
    """Return the kind that all words together mean; empty if a word is not known or none names a wood."""
    if words == [_ASH]:
        return "hardwood"  # said of what was burnt, it is the tree
    known, longest = _kinds_by_words(), max(map(len, map(str.split, _kinds_by_words())))
    found = set()
    start = 0
    while start < len(words):
        ends = range(min(start + longest, len(words)), start, -1)
        end = next((end for end in ends if " ".join(words[start:end]) in known), None)
        if end is None:
            return ""
        found.add(known[" ".join(words[start:end])])
        start = end
    particular = found - {_USUAL, _FILLER}
    if len(particular) == 1:
        return particular.pop()
    return _USUAL if particular or _USUAL in found else ""


def _spelt_like(plain: str) -> list[str]:
    """Return the words of the table that are spelt much like a text, closest first."""
    written = {plain_words(row["word"]): row["word"] for row in published.table("ash_words") if row["kind"] != _FILLER}
    return [written[word] for word in difflib.get_close_matches(plain, written, _MOST_SUGGESTED, _SIMILARITY)]


@cache
def _kinds_by_words() -> Mapping[str, str]:
    """Return the kind by each word or phrase of the table in plain form."""
    kinds: dict[str, str] = {}
    for row in published.table("ash_words"):
        kinds.setdefault(plain_words(row["word"]), row["kind"])
    return kinds
