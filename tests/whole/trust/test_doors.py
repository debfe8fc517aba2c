"""Four thousand texts at the doors, and the corpus of all that once broke one: none may break it again."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.whole.trust.doors import DOORS
from tests.whole.trust.fuzzing import CORPUS, fuzz
from tests.whole.trust.page_files import page_files

# In every run of the tests; `python -m tests.whole.trust` tries some two hundred times as many.
CASES = {"numbers": 2500, "requests": 700, "prints": 12, "books": 250, "tables": 200, "plots": 500}
KEPT = [
    pytest.param(door, file, id=f"{door}-{file.stem}") for door in DOORS for file in sorted((CORPUS / door).glob("*"))
]


@pytest.mark.parametrize(("door", "file"), KEPT)
def test_the_corpus_is_answered_or_refused_by_field(door: str, file: Path):
    DOORS[door](file.read_text(encoding="utf-8", errors="replace"))


@pytest.mark.slow
@pytest.mark.parametrize("door", DOORS)
def test_texts_grown_from_the_corpus_never_break_a_door(door: str):
    tried = fuzz(door, CASES[door])
    assert not tried.broke, f"{tried.broke}\n{tried.culprit}"
    assert tried.cases >= CASES[door]
    assert tried.coverage > 50, "the fuzzer saw nothing of the readers"


@pytest.mark.slow
def test_files_and_links_of_the_page_are_read_or_refused_in_words():
    tried = page_files(6000)
    assert not tried.broke, f"{tried.broke}\n{tried.culprit}"
    assert tried.cases >= 6000
