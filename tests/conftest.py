"""What every test may use: a book of the worst deviation of each compared quantity, printed at the end of
the run.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest

BOOK = pytest.StashKey["DeviationBook"]()


@dataclass
class DeviationBook:
    """The largest deviation seen of each quantity of each comparison, beside what is allowed."""

    worst: dict[tuple[str, str], tuple[float, float, str]] = field(default_factory=dict)
    counts: dict[tuple[str, str], int] = field(default_factory=dict)

    def record(self, comparison: str, quantity: str, deviation: float, allowed: float, case: str) -> None:
        """Note one deviation; the case is kept only while it is the worst."""
        key = (comparison, quantity)
        self.counts[key] = self.counts.get(key, 0) + 1
        if key not in self.worst or deviation > self.worst[key][0]:
            self.worst[key] = (deviation, allowed, case)


def pytest_configure(config: pytest.Config) -> None:
    config.stash[BOOK] = DeviationBook()


@pytest.fixture(scope="session")
def deviations(request: pytest.FixtureRequest) -> DeviationBook:
    return request.config.stash[BOOK]


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    book = terminalreporter.config.stash[BOOK]
    if not book.worst:
        return
    terminalreporter.write_sep("-", "worst deviations")
    for (comparison, quantity), (deviation, allowed, case) in sorted(book.worst.items()):
        count = book.counts[(comparison, quantity)]
        terminalreporter.write_line(
            f"{comparison}: {quantity}: {deviation:.2g} (allowed {allowed:.2g}, {count} cases); worst at {case}"
        )
