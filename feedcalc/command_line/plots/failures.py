"""Why the plans of a table can't be made or finished."""

from __future__ import annotations

from feedcalc.words.errors import FeedcalcError


class PlanningFailed(FeedcalcError):
    """A file, a worker or a package is missing or fails. The message is one line."""
