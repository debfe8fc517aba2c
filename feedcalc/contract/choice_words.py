"""Read a choice in the words that a person has for it: ``Lehm`` or ``silty clay`` for a texture, ``lab`` for a test.

* `choice_words.csv` lists words that people type. A word that is not known is refused, with what is spelt like it.
* Whatever a choice is called in a language (`names_of_choice`) can be typed in that language, from the same catalogue.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from functools import cache

from feedcalc import published
from feedcalc.contract.numbers import write_number
from feedcalc.contract.text import plain_words
from feedcalc.words.languages import LANGUAGES, MACHINE_WORDS, language
from feedcalc.words.messages import Said, any_of, is_short, said, said_in

# How a soil was tested if it was only called acid, neutral or alkaline.
BY_WORD = "word"
WORDS_FOR_SOIL = {
    "acid": said_in("reaction of the soil", "acid"),
    "neutral": said_in("reaction of the soil", "neutral"),
    "alkaline": said_in("reaction of the soil", "alkaline"),
}
# Fields of the season book that have the words of a field of a request.
_AS_IN_A_REQUEST = {"texture": "soil.texture", "tested_with": "soil.tested_with"}
_LABELS: Mapping[str, Mapping[str, str]] = {
    "ash.state": {
        "unknown": "Not known",
        "fresh": "Fresh, kept dry since the fire",
        "aged": "Aged in air for weeks or more",
        "leached": "Rained on, or steeped before",
    },
    "ash.measure": {"cups": "Cups and spoons", "scales": "Scales"},
    "steep.air": {"covered": "Covered", "open": "Open to the air"},
    "use": {"drench": "Poured on the soil", "foliar": "Sprayed on leaves"},
    "stage": {"seedling": "Seedlings", "young": "Young plants", "established": "Established plants"},
    "place": {
        "open ground": "Open ground",
        "raised bed": "A raised bed",
        "pot": "Pots",
        "plug tray": "Plug trays",
        "near pond or drain": "Ground near a pond or drain",
        "greenhouse": "Ground in a greenhouse",
        "hydroponics": "Hydroponics",
        "worm bin": "A worm bin",
    },
    "season": {"sowing": "Being sown or just up", "growing": "Growing", "resting": "Resting"},
    "soil.tested_with": {"laboratory": "A laboratory", "meter": "A meter", "kit": "A colour kit", "strip": "A strip"},
    "soil.texture": {"sand": "Sand", "loam": "Loam", "clay": "Clay", "peat": "Peat"},
    "what": {
        "liquid feed": "Liquid feed",
        "dry ash": "Dry ash",
        "sludge": "Sludge from the bucket",
        "compost": "Compost",
        "lime": "Lime",
        "other": "Something else",
    },
    "of": {"ash": "Ash", "soil": "Soil"},
    "measured.compensated": {"yes": "Yes", "no": "No"},
    "measured.ph_by": {"meter": "A meter", "strip": "A strip"},
    "measured.acid_by": {"turmeric": "Turmeric", "red cabbage": "Red cabbage water", "strip": "A strip"},
    "measured.colour": {
        "yellow": "Yellow",
        "green-yellow": "Greenish yellow",
        "green": "Green",
        "blue-green": "Bluish green",
        "blue": "Blue",
        "purple": "Purple",
    },
    "measured.of": {"liquor": "The clear liquor", "feed": "The diluted feed"},
    "acid.kind": {"vinegar": "Vinegar", "citric acid": "Citric acid"},
    "customs": {"us": "US cups, pints and gallons", "metric": "Metric cups", "uk": "UK cups, pints and gallons"},
}
# What the page calls a choice where its own word does not say enough, by field. The page's forms hold these messages.
CHOICE_LABELS: Mapping[str, Mapping[str, str]] = {
    **_LABELS,
    **{field: _LABELS[same] for field, same in _AS_IN_A_REQUEST.items()},
}
# Table, its column with the choice and that with what people call it, for the fields whose choices a table lists.
_TABLES_OF_CHOICES = {
    "ash.kind": ("ash_kinds", "kind", "label"),
    "water.kind": ("water_kinds", "kind", "label"),
    "dilution_water.kind": ("water_kinds", "kind", "label"),
    "mixing.with": ("second_things", "id", "words"),
    "lime": ("limes", "id", "label"),
}
_SIMILARITY = 0.75  # least ratio of `difflib.SequenceMatcher` for a word to be suggested
_MOST_SUGGESTED = 3


def choice_meant(field: str, typed: str, choices: Iterable[str]) -> str:
    """Return the choice of a field that a text means; empty if it is not known.

    >>> choice_meant("soil.texture", "Sandy Loam", ("sand", "loam")), choice_meant("soil.texture", "jelly", ("sand",))
    ('sand', '')
    """
    plain = plain_words(typed)
    known = {plain_words(choice): choice for choice in choices}
    meant = known.get(plain) or _words_of(field).get(plain)
    meant = meant or _names_in_all_languages(field, tuple(known.values())).get(plain, "")
    return meant if meant in known.values() else ""


def choice_name(choice: str) -> Said:
    """Return a choice as a message: its own word in English, and the word for it in every other language."""
    return published.message_of("choice_words", "choice", choice)


def choices_listed(choices: Iterable[str]) -> str:
    """Return choices as a list for a refusal.

    >>> choices_listed(("sand", "loam", "clay"))
    'sand, loam or clay'
    """
    return any_of(map(choice_name, choices))


def names_of_choice(field: str, choice: str) -> tuple[Said, ...]:
    """Return all that a choice of a field is called on sheets, in refusals and on the page, as messages."""
    names = [choice_name(choice)]
    if choice in MACHINE_WORDS:
        names.append(MACHINE_WORDS[choice])
    label = CHOICE_LABELS.get(field, {}).get(choice, "")
    if field in _TABLES_OF_CHOICES:
        name, key, column = _TABLES_OF_CHOICES[field]
        label = next((row[column] for row in published.table(name) if row[key] == choice), "")
        names.append(published.message_of(name, column, label))
    if label:
        names.append(said_in(f"choice: {field}", str(label)) if is_short(label) else said(str(label)))
    return tuple(names)


@cache
def _names_in_all_languages(field: str, choices: tuple[str, ...]) -> Mapping[str, str]:
    """Return the choices by each of their names in plain form."""
    found: dict[str, str] = {}
    for tag in LANGUAGES:
        for choice in choices:
            for name in names_of_choice(field, choice):
                found.setdefault(plain_words(language(tag).speak(name)), choice)
    return found


def soil_ph_meant(typed: object, locale: str = "en-GB") -> tuple[float, str] | None:
    """Return the pH that is meant where a soil is only called acid, neutral or alkaline, and how that is told back.

    >>> soil_ph_meant("Acidic"), soil_ph_meant("sauer")[0], soil_ph_meant("6.2")
    ((5.7, 'acid is read as pH 5.7, give or take 0.8'), 5.7, None)
    """
    known = {row["word"]: float(row["ph"]) for row in published.table("soil_words")}
    word = choice_meant("soil.ph", typed, known) if isinstance(typed, str) else ""
    if not word:
        return None
    error = float(published.row("suitability_limits", f"error_{BY_WORD}")["value"])
    parts = {"ph": write_number(known[word], 2, locale), "error": write_number(error, 1, locale)}
    return known[word], said("{word} is read as pH {ph}, give or take {error}", word=WORDS_FOR_SOIL[word], **parts)


def choices_spelt_like(field: str, typed: str, choices: Iterable[str]) -> list[str]:
    """Return the choices whose words are spelt much like a text, closest first."""
    known = {plain_words(choice): choice for choice in choices}
    words = {word: choice for word, choice in _words_of(field).items() if choice in known.values()} | known
    near = difflib.get_close_matches(plain_words(typed), words, _MOST_SUGGESTED, _SIMILARITY)
    return list(dict.fromkeys(words[word] for word in near))


@cache
def _words_of(field: str) -> Mapping[str, str]:
    """Return the choices of a field by each word for them in plain form."""
    found: dict[str, str] = {}
    for row in published.table("choice_words"):
        if row["field"] == _AS_IN_A_REQUEST.get(field, field):
            for word in row["words"].split("|"):
                found.setdefault(plain_words(word), str(row["choice"]))
    return found
