"""How the English of all messages reads: ``python -m tests.words.test_messages`` prints what is measured.

The grade is that of Flesch and Kincaid: 0.39 words per sentence + 11.8 syllables per word - 15.59.
"""

import re
import sys
from functools import cache
from pathlib import Path

from feedcalc import published
from feedcalc.words.messages import is_short

sys.path.insert(0, str(Path(__file__).parents[2] / "site"))
from building import words as catalogues

HIGHEST_GRADE = 8
# The only messages that may be above it. A label has to print these in the words of the regulation on hazardous
# mixtures (EC 1272/2008, Annex IV), so they are not ours to make simpler.
WORDS_OF_THE_LAW = frozenset(
    {
        "Avoid release to the environment.",
        "Dispose of contents and container in accordance with local regulations.",
        "If eye irritation persists: Get medical advice.",
        "If skin irritation occurs: Get medical advice.",
        "Immediately call a POISON CENTER or doctor.",
        "Wash contaminated clothing before reuse.",
        "Wear protective gloves, protective clothing and eye protection.",
    }
)
DIALECT = re.compile(
    r"\b((?<!can't )stands?|goes by|was told|is told|throws|falls out|taught|yearly cap|the cap|anew|be had)\b", re.I
)
NUMBER_AND_NOUN = re.compile(r"\{(?:count|hours|goes)\} (?!min|h\b|of\b|and\b|more\b|×)[a-z]{3,}")
GLUED = re.compile(r"^[;:.,) ]| $|[a-z]:? \(?$")


@cache
def messages():
    return tuple(message for message in catalogues.gathered() if message.id)


def english(message):
    return message.id if isinstance(message.id, str) else message.id[1]


def syllables(word):
    found = len(re.findall(r"[aeiouy]+", word.lower()))
    if word.lower().endswith("e") and not word.lower().endswith("le") and found > 1:
        found -= 1
    return max(found, 1)


def grade(text):
    """Return the grade of a text of five words or more, None for a shorter one."""
    plain = re.sub(r"<[^>]*>|[*`]|&\w+;", " ", re.sub(r"\{\w*\}", "six", text))
    found = re.findall(r"[A-Za-z]+(?:'[a-z]+)?", plain)
    if len(found) < 5:
        return None
    sentences = max(len(re.findall(r"[.!?:;](?:\s|$)", plain)), 1)
    return 0.39 * len(found) / sentences + 11.8 * sum(map(syllables, found)) / len(found) - 15.59


def measured():
    grades = {english(message): grade(english(message)) for message in messages()}
    long = {text: value for text, value in grades.items() if value is not None}
    return {
        "messages": len(messages()),
        "above grade 8": sorted((text for text, value in long.items() if value > HIGHEST_GRADE), key=long.get),
        "of five words or more": list(long),
        "glued": [english(m) for m in messages() if GLUED.search(english(m))],
        "short without context": [
            english(m) for m in messages() if isinstance(m.id, str) and is_short(m.id) and not m.context
        ],
        "number beside a noun without plural": [
            m.id for m in messages() if isinstance(m.id, str) and NUMBER_AND_NOUN.search(m.id)
        ],
        "dialect": [english(m) for m in messages() if DIALECT.search(english(m))],
    }


def test_every_message_is_of_grade_8_or_below_except_the_words_of_the_law():
    assert set(measured()["above grade 8"]) == WORDS_OF_THE_LAW
    assert {row["text"] for row in published.table("hazard_statements")} >= WORDS_OF_THE_LAW


def test_no_message_is_a_tail_or_lacks_its_context_or_plural():
    found = measured()
    for name in ("glued", "short without context", "number beside a noun without plural", "dialect"):
        assert not found[name], name


def test_the_grade_is_that_of_the_formula():
    """By hand: 6 words, 1 sentence, 6 syllables."""
    assert abs(grade("The cat sat on the mat.") - (0.39 * 6 + 11.8 - 15.59)) < 1e-9
    assert grade("Not for food.") is None


if __name__ == "__main__":
    for name, found in measured().items():
        print(f"{name}: {found if isinstance(found, int) else len(found)}")
        if not isinstance(found, int) and "words or more" not in name:
            print("".join(f"    {text}\n" for text in found[:60]), end="")
