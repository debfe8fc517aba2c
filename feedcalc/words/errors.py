"""What can go wrong, as values a caller can show.

Every refusal names the field, what was given, what is wrong with it and what would be accepted,
so that the same words serve the terminal, the page and a program reading the JSON reply.
"""

from __future__ import annotations

from feedcalc.words.messages import said


class FeedcalcError(Exception):
    """Base of every error this package raises on purpose."""


class InputError(FeedcalcError):
    """Something a person typed can't be used.

    ``field`` is the path in the request (``water.amount``), ``given`` the text as typed,
    ``problem`` one plain sentence, ``accepted`` what would be taken instead.
    """

    def __init__(self, field: str, given: object, problem: str, accepted: str) -> None:
        self.field = field
        self.given = "" if given is None else str(given)
        self.problem = problem
        self.accepted = accepted
        super().__init__(f"{field}: {problem} Given: {self.given!r}. Accepted: {accepted}")

    def as_dict(self) -> dict[str, str]:
        """The four parts under the names of the reply's ``errors`` rows."""
        return {"field": self.field, "given": self.given, "problem": self.problem, "accepted": self.accepted}


class InputErrors(FeedcalcError):
    """Every faulty field of one request, gathered so that a person mends them in one go."""

    def __init__(self, errors: list[InputError]) -> None:
        self.errors = tuple(errors)
        super().__init__("\n".join(str(error) for error in errors))


def refusal_words(field: str, given: str, problem: str, accepted: str) -> str:
    """A refusal in a line, as a terminal shows it.

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
    """The chemistry found no balanced answer, and says why rather than guess."""


class PublishedDataError(FeedcalcError):
    """A data table of the package is damaged or lacks its source; a fault of ours, never of the grower."""
