"""What a request may ask for: the one table that the request reader, the door and the page's build share.

The field ``ask`` of a request names a row; a request without it asks for a batch.
"""

from __future__ import annotations

from collections.abc import Mapping

from feedcalc.frozen import frozen

# Names of the parts of a batch in the reply's ``html``, in reading order; `bar` is the answer in one line.
PAGE_PARTS = ("bench", "reading", "sheet", "liquor", "ladder", "delivery", "label", "reactions", "trust", "bar")
# Those a grower reads first. The first reply on the way to an answer with ranges has only these.
PARTS_FIRST = frozenset({"bench", "reading", "bar"})
# Those that only all ranges fill: replies on the way to these lack them.
PARTS_WITH_RANGES = frozenset({"label", "reactions", "trust"})


@frozen
class Ask:
    """One thing to ask for: ``carries_book`` with a season book in the request, ``is_printed`` on paper."""

    name: str
    carries_book: bool = False
    is_printed: bool = False


BATCH = Ask("batch")
SPREAD = Ask("spread")
SEASON = Ask("season", carries_book=True)
BOOK = Ask("book", carries_book=True)
SHARE = Ask("share", carries_book=True)
LEARN = Ask("learn")
LABEL = Ask("label", is_printed=True)
WALL = Ask("wall", is_printed=True)
JUDGE = Ask("judge")
HAPPENED = Ask("happened")
ASKS: Mapping[str, Ask] = {
    ask.name: ask for ask in (BATCH, SPREAD, SEASON, BOOK, SHARE, LEARN, LABEL, WALL, JUDGE, HAPPENED)
}


def ask_of(document: Mapping[str, object]) -> Ask | None:
    """Return what a request document asks for, or None for an unknown ``ask``; letter case and spaces do not matter.

    >>> ask_of({"ask": " Label"}).name, ask_of({}).name, ask_of({"ask": "labels"})
    ('label', 'batch', None)
    """
    given = document.get("ask")
    name = given.strip().casefold() if isinstance(given, str) else given
    if name in (None, ""):
        return BATCH
    return ASKS.get(name) if isinstance(name, str) else None
