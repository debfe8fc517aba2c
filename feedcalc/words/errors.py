"""Errors that a caller can show.

Every refusal names the field, what was given, what is wrong and what would be accepted, so that the terminal, the page
and programs that read the JSON reply use the same words.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from feedcalc.words.messages import said


class FeedcalcError(Exception):
    """Base of every error this package raises on purpose."""


class InputError(FeedcalcError):
    """One field of a request can't be used.

    ``field`` is the path in the request (``water.amount``), ``given`` the text as typed,
    ``problem`` one plain sentence, ``accepted`` what is possible instead. ``choices`` are answers that would settle it,
    each a value of another field and what it would mean: ``{"field": "customs", "value": "us", "text": "US: 3.79 L"}``.
    """

    choices: tuple[Mapping[str, str], ...] = ()

    def __init__(self, field: str, given: object, problem: str, accepted: str) -> None:
        self.field = field
        self.given = "" if given is None else str(given)
        self.problem = problem
        self.accepted = accepted
        super().__init__(f"{field}: {problem} Given: {self.given!r}. Accepted: {accepted}")

    def as_dict(self) -> dict[str, Any]:
        """Return the refusal as a row of ``errors`` in a reply; ``choices`` only where there are any."""
        row = {"field": self.field, "given": self.given, "problem": self.problem, "accepted": self.accepted}
        return {**row, "choices": [dict(choice) for choice in self.choices]} if self.choices else row


class InputErrors(FeedcalcError):
    """All faulty fields of a request at once."""

    def __init__(self, errors: list[InputError]) -> None:
        self.errors = tuple(errors)
        super().__init__("\n".join(str(error) for error in errors))


def refusal_words(field: str, given: str, problem: str, accepted: str) -> str:
    """Return a refusal as one line for a terminal.

    >>> refusal_words("water.amount", "five", "This is no amount.", "5 L")
    "water.amount: This is no amount. You gave: 'five'. Accepted: 5 L."
    """
    parts = {"field": field, "given": repr(given), "problem": problem, "accepted": accepted}
    if given and accepted:
        return said("{field}: {problem} You gave: {given}. Accepted: {accepted}.", **parts)
    if given:
        return said("{field}: {problem} You gave: {given}.", **parts)
    if accepted:
        return said("{field}: {problem} Accepted: {accepted}.", **parts)
    return said("{field}: {problem}", **parts)


class NoSolution(FeedcalcError):
    """The chemistry found no equilibrium; the message says why."""


class PublishedDataError(FeedcalcError):
    """A table of the package is damaged or lacks a source; never the fault of what a person typed."""
