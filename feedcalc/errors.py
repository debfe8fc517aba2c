"""What can go wrong, as values a caller can show.

Every refusal names the field, what was given, what is wrong with it and what would be accepted,
so that the same words serve the terminal, the page and a program reading the JSON reply.
"""

from __future__ import annotations


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


class NoSolution(FeedcalcError):
    """The chemistry found no balanced answer, and says why rather than guess."""


class PublishedDataError(FeedcalcError):
    """A data table of the package is damaged or lacks its source; a fault of ours, never of the grower."""
