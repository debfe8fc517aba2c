"""Cautions, hazard statements and first aid in other languages are those that were read and translated back.

``safety_texts.csv`` holds for each of these texts the English, the translation, and a translation back into English
that was made without sight of the original (``blind``: no where a mended text was read by whoever mended it). A changed
translation must be read again: compare severity, part of the body and direction (from, to, above, below, never), then
renew its row.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from building.words import TRANSLATED, catalogue

from feedcalc import published

TABLE = Path(__file__).with_name("safety_texts.csv")
ROWS = list(csv.DictReader(TABLE.read_text(encoding="utf-8").splitlines()))


def safety_texts() -> list[str]:
    tables = (("cautions", "text"), ("hazard_statements", "text"), ("acids", "caution"))
    hurt = published.row("mishap_causes", "person")
    first_aid = [str(hurt[column]) for column in published.TRANSLATED_COLUMNS["mishap_causes"]]
    return [str(row[column]) for name, column in tables for row in published.table(name)] + first_aid


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_safety_text_is_the_one_that_was_translated_back(language: str) -> None:
    spoken = {message.id: message.string for message in catalogue(language) if isinstance(message.id, str)}
    read = {row["english"]: row for row in ROWS if row["language"] == language}
    for english in safety_texts():
        assert english in read, f"translate back and add: {english!r}"
        assert spoken[english] == read[english]["translation"], f"changed since it was read: {english!r}"
        assert read[english]["back_translation"]
