"""The loader refuses numbers without a source."""

from __future__ import annotations

import pytest

from feedcalc import published
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.errors import PublishedDataError

GOOD = "# a comment\nname,low,typical,high,source,status\nash,1,2,3,our_judgement,judgement\n\n"


def table_from(monkeypatch: pytest.MonkeyPatch, text: str) -> tuple:
    published.sources()  # read from the real file before it is replaced
    monkeypatch.setattr(published, "_text", lambda file_name: text)
    return published.table.__wrapped__("invented")


def test_comments_and_empty_lines_are_skipped_and_cells_trimmed(monkeypatch):
    (row,) = table_from(monkeypatch, GOOD.replace("ash,1", " ash , 1 "))
    assert row["name"] == "ash"
    assert published.estimate(row) == Estimate(1.0, 2.0, 3.0)


@pytest.mark.parametrize(
    ("damage", "words"),
    [
        (("our_judgement", "hearsay"), "unknown source 'hearsay'"),
        (("our_judgement", ""), "unknown source ''"),
        ((",judgement", ",gossip"), "unknown status 'gossip'"),
        ((",judgement", ""), "wrong number of columns"),
        ((",judgement", ",judgement,more"), "wrong number of columns"),
    ],
)
def test_a_row_without_a_known_source_and_status_is_refused(monkeypatch, damage, words):
    with pytest.raises(PublishedDataError, match=words):
        table_from(monkeypatch, GOOD.replace(*damage))


def test_a_source_without_a_citation_is_refused(monkeypatch):
    monkeypatch.setattr(published, "_text", lambda file_name: "id,citation,doi,licence,errata\nhearsay,,10.1/x,,\n")
    with pytest.raises(PublishedDataError, match="hearsay has no citation"):
        published.sources.__wrapped__()


def test_every_source_can_be_looked_up():
    for source in published.sources().values():
        assert len(source.citation) > 10
        assert not source.doi or source.doi.startswith("10.")


def test_every_status_is_described():
    assert published.STATUSES["practice"] == "often done; no source found"
    assert "memory" in published.STATUSES["memory"]


def test_a_missing_table_raises():
    with pytest.raises(FileNotFoundError):
        published.table("no_such_table")
