"""The catalogues of messages: every text of the page's scripts is in them, and they carry no time of a build."""

from __future__ import annotations

import datetime
import re
from pathlib import Path

import pytest
from babel.messages import catalog
from building import words
from building.bundle import modules

SAID = re.compile(r'(?<![\w.])say\(\s*"((?:[^"\\]|\\.)*)"')


def test_every_message_that_a_script_says_is_in_the_catalogue() -> None:
    said = {message for file in modules() for message in SAID.findall(file.read_text(encoding="utf-8"))}
    said = {message for message in said if words.LETTERS.search(words.PLACE.sub("", message))}
    known = {words._one(message) for message in words.gathered() if message.id}
    assert len(said) > 100
    assert said <= known


def test_catalogues_are_the_same_bytes_whenever_they_are_compiled(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def compile_at(moment: datetime.datetime) -> dict[str, bytes]:
        class Clock(datetime.datetime):
            @classmethod
            def now(cls, tz: datetime.tzinfo | None = None) -> datetime.datetime:  # type: ignore[override]
                return moment.astimezone(tz)

        monkeypatch.setattr(catalog.datetime, "datetime", Clock)
        for tag in words.TRANSLATED:
            (tmp_path / f"{tag}.mo").unlink(missing_ok=True)
        words.compile_catalogues()
        return {file.name: file.read_bytes() for file in sorted(tmp_path.glob("*.mo"))}

    for tag in words.TRANSLATED:
        (tmp_path / f"{tag}.po").write_bytes((words.CATALOGUES / f"{tag}.po").read_bytes())
    monkeypatch.setattr(words, "CATALOGUES", tmp_path)
    once = compile_at(datetime.datetime(2026, 1, 1, tzinfo=datetime.UTC))
    again = compile_at(datetime.datetime(2031, 7, 2, 3, 4, tzinfo=datetime.UTC))
    assert len(once) == len(words.TRANSLATED)
    assert once == again
    assert not any(b"-Date" in content or b"2031" in content for content in again.values())
