"""What every test may use: the book of worst deviations, printed at the end of the run, and the order of work.

Under pytest-xdist a file is one piece of work, so that its fixtures and cached answers serve all of its tests.
Files with slow tests and those of browsers go first, so that no process is left with a long one at the end.
"""

from __future__ import annotations

import os
import random
from dataclasses import dataclass, field
from typing import Any

import pytest
from hypothesis import settings

import tests.examples  # noqa: F401 (registers the profiles)

os.environ["LC_ALL"] = "C.UTF-8"  # commands answer in the system's language
BOOK = pytest.StashKey["DeviationBook"]()
settings.load_profile("full")  # what --hypothesis-profile names is loaded after this

Worst = tuple[float, float, str]


@dataclass
class DeviationBook:
    """The largest deviation seen of each quantity of each comparison, beside what is allowed."""

    worst: dict[tuple[str, str], Worst] = field(default_factory=dict)
    counts: dict[tuple[str, str], int] = field(default_factory=dict)

    def record(self, comparison: str, quantity: str, deviation: float, allowed: float, case: str) -> None:
        """Note one deviation; the case is kept only while it is the worst."""
        self._add((comparison, quantity), (float(deviation), float(allowed), case), 1)

    def _add(self, key: tuple[str, str], seen: Worst, count: int) -> None:
        self.counts[key] = self.counts.get(key, 0) + count
        if key not in self.worst or seen[0] > self.worst[key][0]:
            self.worst[key] = seen

    def rows(self) -> list[tuple[tuple[str, str], Worst, int]]:
        """Return the book as plain data, for another process to add up."""
        return [(key, seen, self.counts[key]) for key, seen in self.worst.items()]

    def add_rows(self, rows: list[tuple[tuple[str, str], Worst, int]]) -> None:
        for key, seen, count in rows:
            self._add(key, seen, count)


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--shuffle", type=int, metavar="SEED", help="run the tests in an order drawn with this seed")


def pytest_configure(config: pytest.Config) -> None:
    config.stash[BOOK] = DeviationBook()


@pytest.fixture(scope="session")
def deviations(request: pytest.FixtureRequest) -> DeviationBook:
    return request.config.stash[BOOK]


def pytest_sessionfinish(session: pytest.Session) -> None:
    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput["deviations"] = session.config.stash[BOOK].rows()


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """Add what a worker of pytest-xdist noted; one that crashed reports nothing."""
    node.config.stash[BOOK].add_rows(getattr(node, "workeroutput", {}).get("deviations", []))


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


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    seed = config.getoption("--shuffle")
    if seed is not None:
        random.Random(seed).shuffle(items)
        return
    long = {item.path for item in items if item.get_closest_marker("slow") or "playwright" in item.fixturenames}
    items.sort(key=lambda item: item.path not in long)
