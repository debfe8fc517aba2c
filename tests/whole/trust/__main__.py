"""How far feedcalc can be trusted, in one table: ``python -m tests.whole.trust [--cases 1000000] [--seed 1]``.

Texts at every door by the fuzzers, faults injected into page, database and build, the journey in each engine.
What a test tells by ``record_property`` is added up: ``faults`` injected and things ``lost``; a test that tells
nothing is one fault, and if it fails, one loss.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

from tests.whole.trust.doors import DOORS
from tests.whole.trust.fuzzing import ROOT, Tried, fuzz
from tests.whole.trust.page_files import page_files

# Of all texts, the share that each door gets: a number takes microseconds, an answer milliseconds.
SHARES = {"numbers": 0.44, "requests": 0.14, "prints": 0.003, "page files": 0.3}
ONE_RUN = 25_000  # texts in one child process, so that the command can tell how far it is
FAULTS = {
    "faults of files and database": ["tests/whole/faults"],
    "faults of the page": ["tests/page/test_faults.py"],
    "faults of the page's book": ["tests/page/test_book_keeping.py"],
    "faults of the runtime": ["tests/page/test_runtime.py", "tests/page/test_installed_site.py"],
    "hostile text": ["tests/page/test_policy.py"],
    "faults of the build": [
        "tests/building/test_build.py",
        "tests/building/test_build_faults.py",
        "tests/building/test_parts_list.py",
    ],
    "meaning under change": [
        "tests/whole/test_meaning.py",
        "tests/liquor/test_batch_properties.py",
        "tests/book/test_season_properties.py",
        "tests/physics/test_settling_properties.py",
        "tests/book/test_records_properties.py",
    ],
    "three engines and a phone": ["tests/whole/trust/test_engines.py"],
}


@dataclass(frozen=True, slots=True)
class Row:
    """A line of the table."""

    what: str
    tried: int
    broke: int
    lost: int
    note: str = ""


def fuzzed(cases: int, seed: int) -> Iterator[Row]:
    """Every door, two at a time, in runs of at most `ONE_RUN`."""
    rest = (1 - sum(SHARES.values())) / (len(DOORS) + 1 - len(SHARES))
    jobs: list[tuple[str, int, int]] = []
    for door in (*DOORS, "page files"):
        left, number = round(cases * SHARES.get(door, rest)), 0
        while left > 0:
            jobs.append((door, min(left, ONE_RUN), seed + number))
            left -= ONE_RUN
            number += 1
    found: dict[str, list[Tried]] = {}
    with ThreadPoolExecutor(2) as pool:
        for done, tried in enumerate(pool.map(_run, jobs), 1):
            found.setdefault(tried.door, []).append(tried)
            print(f"\r{done} of {len(jobs)} runs of texts", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    for door, runs in found.items():
        broken = [tried for tried in runs if tried.broke]
        note = f"{broken[0].broke}; text: {broken[0].culprit!r}" if broken else ""
        yield Row(f"texts at the door: {door}", sum(tried.cases for tried in runs), len(broken), 0, note)


def _run(job: tuple[str, int, int]) -> Tried:
    door, cases, seed = job
    return page_files(cases, seed) if door == "page files" else fuzz(door, cases, seed)


def tested(what: str, files: Sequence[str]) -> Row:
    """The tests of some files as one line."""
    with tempfile.TemporaryDirectory() as folder:
        told = Path(folder, "told.xml")
        command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", f"--junitxml={told}", *files]
        ended = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
        if not told.exists():
            return Row(what, 0, 1, 0, ended.stdout.strip()[-200:])
        cases = list(ElementTree.parse(told).iter("testcase"))
    tried = lost = broke = 0
    note = ""
    for case in cases:
        names = {p.get("name"): int(p.get("value") or 0) for p in case.iter("property")}
        failed = case.find("failure") is not None or case.find("error") is not None
        tried += names.get("faults", 1)
        lost += names.get("lost", int(failed))
        broke += failed
        note = note or (f"first: {case.get('name')}" if failed else "")
    return Row(what, tried, broke, lost, note)


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.whole.trust", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--cases", type=int, default=1_000_000, help="texts at the doors, all together")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--doors-only", action="store_true", help="leave out the faults and the engines")
    arguments = parser.parse_args()
    rows = list(fuzzed(arguments.cases, arguments.seed))
    if not arguments.doors_only:
        for what, files in FAULTS.items():
            print(f"{what} ...", file=sys.stderr, flush=True)
            rows.append(tested(what, files))
    width = max(len(row.what) for row in rows)
    print(f"{'':<{width}}  {'tried':>9}  {'broke':>6}  {'lost':>6}")
    for row in rows:
        print(f"{row.what:<{width}}  {row.tried:>9}  {row.broke:>6}  {row.lost:>6}  {row.note}".rstrip())
    total = Row("in all", sum(r.tried for r in rows), sum(r.broke for r in rows), sum(r.lost for r in rows))
    print(f"{total.what:<{width}}  {total.tried:>9}  {total.broke:>6}  {total.lost:>6}")
    sys.exit(1 if total.broke or total.lost else 0)


if __name__ == "__main__":
    main()
