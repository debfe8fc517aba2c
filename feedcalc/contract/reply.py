"""Replies of the door: one class for answers, one for refusals; `as_dict` gives the JSON object of contract 1."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field
from typing import Any

from feedcalc.contract.fields import SCHEMA
from feedcalc.frozen import frozen
from feedcalc.words.errors import InputError


@frozen
class Reply:
    """An answer. ``read_as``, ``print`` and ``more`` are left out of the JSON object where they are None.

    ``more`` is true where the next reply to the same request brings parts of its HTML that this one lacks.
    """

    values: Mapping[str, Any]
    assumed: Mapping[str, str] = field(default_factory=dict)
    read_as: Mapping[str, str] | None = None
    cautions: Sequence[Mapping[str, Any]] = ()
    warnings: Sequence[str] = ()
    sources: Sequence[Mapping[str, Any]] = ()
    html: Mapping[str, str] = field(default_factory=dict)
    print: Mapping[str, Any] | None = None
    more: bool | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the reply with the keys of the contract, in their order."""
        parts: dict[str, Any] = {
            "schema": SCHEMA,
            "ok": True,
            "values": dict(self.values),
            "assumed": dict(self.assumed),
            "read_as": self.read_as,
            "cautions": list(self.cautions),
            "warnings": list(self.warnings),
            "sources": list(self.sources),
            "html": dict(self.html),
            "print": self.print,
            "more": self.more,
        }
        return {name: part for name, part in parts.items() if part is not None}


@frozen
class Refusal:
    """A refusal with every fault of the request."""

    errors: Iterable[InputError]

    def as_dict(self) -> dict[str, Any]:
        """Return the refusal with the keys of the contract, in their order."""
        return {"schema": SCHEMA, "ok": False, "errors": [error.as_dict() for error in self.errors]}
