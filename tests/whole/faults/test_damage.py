"""A book's file with any damage is opened or refused in words; a refused file is not changed."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from feedcalc.book.book_file import book_text, read_book
from feedcalc.book.records import new_record, write_fields
from feedcalc.command_line.store import open_book
from feedcalc.words.errors import InputError
from tests.whole.faults.killing import AT, an_entry

LATER = "2026-05-02T09:00:00.000Z"
FILES = 200


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    place = tmp_path_factory.mktemp("whole") / "book.sqlite"
    entries = [an_entry(f"entry-{number}") for number in range(60)]
    with open_book(place) as store:
        store.write(entries, AT, "entries")
        store.write([write_fields(entry, {"note": "é" * 100}, LATER, "other") for entry in entries], LATER, "notes")
    return place.read_bytes()


def damaged(whole: bytes, chance: random.Random) -> bytes:
    """Return the file with a few bytes changed, more often in its header than elsewhere, or truncated."""
    content = bytearray(whole)
    for _ in range(chance.choice([1, 3, 20])):
        place = chance.randrange(200) if chance.random() < 0.3 else chance.randrange(len(content))
        content[place] = chance.randrange(256)
    if chance.random() < 0.2:
        del content[chance.randrange(len(content)) :]
    return bytes(content)


@pytest.mark.parametrize("part", range(4))
def test_a_damaged_file_never_raises_another_error(whole: bytes, tmp_path: Path, part: int) -> None:
    chance = random.Random(part)
    for number in range(FILES // 4):
        place = tmp_path / f"{number}.sqlite"
        place.write_bytes(content := damaged(whole, chance))
        problem = ""
        try:
            with open_book(place) as store:
                book_text(store.records())
                store.write([write_fields(new_record("new", "bed"), {"name": "New"}, AT, "phone")], AT, "a bed")
                store.take_back(LATER)
        except InputError as refusal:
            problem = refusal.problem
        if "left as it was" in problem:
            assert place.read_bytes() == content
        for saved in tmp_path.glob("*.salvaged-1.json"):
            assert read_book(saved.read_text(encoding="utf-8"))[1] == []


def test_some_entries_of_a_file_cut_in_half_are_saved(whole: bytes, tmp_path: Path) -> None:
    place = tmp_path / "cut.sqlite"
    place.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputError, match=r"could still be read: [1-9]"):
        open_book(place)
