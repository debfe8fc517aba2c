"""Text that may be a JSON object, or anything else that a person put where one belongs."""

from __future__ import annotations

import json
from typing import Any


def json_object(text: str) -> dict[str, Any] | None:
    """The object that a text holds as JSON; None where it holds none.

    >>> json_object('{"schema": 1}'), json_object("[1]"), json_object("five litres")
    ({'schema': 1}, None, None)
    """
    try:
        document = json.loads(text)
    except (ValueError, RecursionError):
        return None
    return document if isinstance(document, dict) else None
