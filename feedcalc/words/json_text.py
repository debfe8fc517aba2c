"""JSON text from outside: parse it without trusting its size, depth or keys.

* A byte order mark at the start is ignored.
* Nesting deeper than `DEEPEST_JSON` is refused before parsing, because the parser recurses on the C stack, which is
  small in a browser.
"""

from __future__ import annotations

import json
import re
from typing import Any

from feedcalc.words.messages import Said, said

DEEPEST_JSON = 64
_BYTE_ORDER_MARK = "\ufeff"
_NOT_A_BRACKET = re.compile(r"[^\[\]{}]+")


class NestedTooDeep(ValueError):
    """A JSON text has more than `DEEPEST_JSON` objects and lists inside one another."""

    problem: Said = said("This is nested deeper than {amount} levels.", amount=DEEPEST_JSON)


class RepeatedKey(ValueError):
    """An object in a JSON text has two values under one ``key``."""

    def __init__(self, key: str) -> None:
        super().__init__(key)
        self.key = key


def parse_json(text: str, *, unique_keys: bool = False) -> Any:
    """Return the value of a JSON text.

    With ``unique_keys`` a key that occurs twice in one object raises `RepeatedKey`; otherwise the last value counts.
    Raises `NestedTooDeep`, and ``ValueError`` for text that is not JSON.

    >>> parse_json('\ufeff{"a": [1]}')
    {'a': [1]}
    """
    text = text.removeprefix(_BYTE_ORDER_MARK)
    brackets = text.count("[") + text.count("{")
    if brackets > DEEPEST_JSON and json_depth(text) > DEEPEST_JSON:
        raise NestedTooDeep
    return json.loads(text, object_pairs_hook=_unique if unique_keys else None)


def json_depth(text: str) -> int:
    """Return how many objects and lists lie inside one another in a JSON text; brackets in strings do not count.

    >>> json_depth('{"a": [1, "[[["]}')
    2
    """
    outside_strings = "".join(text.replace("\\\\", "").replace('\\"', "").split('"')[::2])
    depth = deepest = 0
    for bracket in _NOT_A_BRACKET.sub("", outside_strings):
        depth += 1 if bracket in "[{" else -1
        deepest = max(deepest, depth)
    return deepest


def json_object(text: str) -> dict[str, Any] | None:
    """Return the object in a JSON text, or None where the text holds no object.

    >>> json_object('{"schema": 1}'), json_object("[1]"), json_object("five litres")
    ({'schema': 1}, None, None)
    """
    try:
        document = parse_json(text)
    except ValueError:
        return None
    return document if isinstance(document, dict) else None


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise RepeatedKey(key)
        found[key] = value
    return found
