"""Translations call ash, liquor, feed and other things what growers of the country call them: growers_words.csv."""

import csv
import html
import json
import re
import sys
from functools import cache
from pathlib import Path

import pytest

from feedcalc import published
from feedcalc.contract.cautions import has_official_statements
from feedcalc.engine import demo_request
from feedcalc.words.languages import language
from feedcalc.words.messages import said
from tests.asking import reply_to

sys.path.insert(0, str(Path(__file__).parents[2] / "site"))
from building import words as catalogues

# What names a thing in English; places and commands within a message name nothing.
THINGS = {
    "ash": r"\bash(?:es)?\b(?! tree)(?<!beech, ash)",
    "liquor": r"\bliquors?\b",
    "feed": r"\b(?:the|liquid|diluted|of|both) feeds?\b",
    "drench": r"\bdrench",
    "can": r"\b(?:a|the|your|each|per|one|same) can\b(?! be\b)|\bcans\b|\bcan's\b|watering can",
    "sludge": r"\bsludge\b",
    "seedling": r"\bseedlings?\b",
    "lime": r"\blim(?:e|es|ed|ing)\b(?! (?:value|cloud))",
    "caustic lime": r"\bfree lime\b|\bquicklime\b|\bslaked lime\b|\bburnt lime\b|\bsludge\b.*\blime\b(?! value)",
    "limestone": r"\blimestones?\b",
    "hardwood": r"\bhardwoods?\b|broad-?leaved",
    "softwood": r"\bsoftwoods?\b|\bconifers?\b",
}
_NAMES_NOTHING = re.compile(r"\{\w*\}|%\(\w+\)s|`[^`]*`|feedcalc [a-z]+ [a-z]+|\(CaCO3\)|<[^>]*>")
LINES = (Path(__file__).parent / "growers_words.csv").read_text(encoding="utf-8").splitlines()
ROWS = list(csv.DictReader(line for line in LINES if not line.startswith("#")))
# The table may be ahead of the catalogues.
HERE = [row for row in ROWS if row["language"] in catalogues.TRANSLATED]


@cache
def messages(tag):
    """Return English without places, and each form of the translation, of every message of a catalogue."""
    found = []
    for message in catalogues.catalogue(tag):
        if message.id:
            english = message.id if isinstance(message.id, str) else message.id[1]
            forms = (message.string,) if isinstance(message.string, str) else tuple(message.string)
            found.append((_NAMES_NOTHING.sub(" ", english), english, forms))
    return tuple(found)


def test_every_language_has_a_word_for_every_thing():
    named = {(row["thing"], row["language"]) for row in ROWS}
    assert {(thing, tag) for thing in THINGS for tag in catalogues.TRANSLATED} <= named


@pytest.mark.parametrize("row", HERE, ids=lambda row: f"{row['thing']}-{row['language']}")
def test_a_thing_is_called_what_growers_call_it(row):
    names = re.compile(THINGS[row["thing"]], re.IGNORECASE)
    of_others = [THINGS[thing] for thing in row["beside"].split("|") if thing]
    left_out = re.compile(row["except"], re.IGNORECASE) if row["except"] else None
    wrong = []
    for english, message, forms in messages(row["language"]):
        if names.search(english) and not (left_out and left_out.search(message)):
            is_alone = not any(re.search(other, english, re.IGNORECASE) for other in of_others)
            for form in forms:
                if not re.search(row["use"], form, re.IGNORECASE):
                    wrong.append(("no such word", message, form))
                elif row["not"] and is_alone and re.search(row["not"], form, re.IGNORECASE):
                    wrong.append(("another thing's word", message, form))
    assert not wrong


@pytest.mark.parametrize("tag", catalogues.TRANSLATED)
def test_hazard_statements_are_the_laws_words_or_said_to_be_ours(tag):
    label = reply_to(json.loads(demo_request()), language=tag)["html"]["label"]
    official = {row["code"]: row["text"] for row in published.table("ghs_statements") if row["language"] == tag}
    ours = language(tag).speak(
        said("We found no official text of the H and P statements in this language. This is our own translation.")
    )
    printed = html.unescape(label)
    if has_official_statements(tag):
        assert ours not in printed
        assert official["P102"] in printed
        assert official["P280"] in printed
    else:
        assert ours in printed
