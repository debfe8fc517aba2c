"""Fuzz for hours: ``nice -n 19 python -m tests.whole.trust.night [--minutes 480] [--folder FOLDER] [--door DOOR]``.

Round after round, each with a seed nobody chose: texts at every door, and numbers of known value in every usual
spelling. What reached new branches is kept in the folder and is where the next round, and the next night, starts; a
text that broke a door goes to ``FOLDER/broken``, from where it is made a part of ``tests/data/corpus`` by hand. The
sums of all nights stand in ``FOLDER/counts.json``.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import re
import secrets
import subprocess
import sys
import time
from collections.abc import Collection, Iterator
from pathlib import Path

from tests.whole.trust.doors import DOORS
from tests.whole.trust.fuzzing import ROOT, Tried, fuzz
from tests.whole.trust.page_files import page_files

# Texts in one round; a number takes microseconds, a print a second.
ROUND = {"numbers": 20_000, "requests": 10_000, "prints": 60, "books": 600, "tables": 600, "plots": 2000}
PAGE_FILES = 6000
SPELLINGS = "tests/contract/test_quantities_properties.py"


def rounds(folder: Path, doors: Collection[str]) -> Iterator[Tried]:
    """Each piece of work of one round after the other; of all doors, also files of the page and spelled numbers."""
    for door in doors:
        yield fuzz(door, ROUND[door], _seed(), keep_in=folder / "grown" / door)
    if set(doors) == set(DOORS):
        yield page_files(PAGE_FILES, _seed())
        yield spelled_numbers(_seed())


def _seed() -> int:
    return secrets.randbelow(2**31) + 1


def spelled_numbers(seed: int) -> Tried:
    """Numbers of known value in every usual spelling: each is read as that value or refused, never as another."""
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", SPELLINGS]
    command += ["--hypothesis-profile=night", f"--hypothesis-seed={seed}", "--hypothesis-show-statistics"]
    ended = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    passing = re.findall(r"(\d+) passing,", ended.stdout)
    return Tried("spelled numbers", sum(map(int, passing)), 0, ended.stdout[-1500:] if ended.returncode else "")


def add_up(counts: dict[str, dict[str, int]], tried: Tried) -> None:
    """Add a piece of work to the sums."""
    door = counts.setdefault(tried.door, {"tried": 0, "broke": 0})
    door["tried"] += tried.cases
    door["broke"] += bool(tried.broke)


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.whole.trust.night")
    parser.add_argument("--minutes", type=float, default=480)
    parser.add_argument("--folder", type=Path, default=ROOT / "build" / "night")
    parser.add_argument("--door", action="append", choices=tuple(DOORS), help="this one alone; may be given again")
    arguments = parser.parse_args()
    folder: Path = arguments.folder
    (folder / "broken").mkdir(parents=True, exist_ok=True)
    file = folder / "counts.json"
    counts = json.loads(file.read_text(encoding="utf-8")) if file.exists() else {}
    end, broke = time.monotonic() + 60 * arguments.minutes, False
    while time.monotonic() < end:
        for tried in rounds(folder, arguments.door or tuple(DOORS)):
            add_up(counts, tried)
            file.write_text(json.dumps(counts, indent=1) + "\n", encoding="utf-8")
            if tried.broke:
                broke = True
                name = f"{tried.door}-{hashlib.sha256(tried.culprit.encode()).hexdigest()[:12]}.txt"
                (folder / "broken" / name).write_text(tried.culprit, encoding="utf-8")
                print(f"{tried.door}: {tried.broke}\n{tried.culprit!r}", flush=True)
            if time.monotonic() > end:
                break
    for door, sums in counts.items():
        print(f"{door:<16} {sums['tried']:>10} tried {sums['broke']:>6} broke")
    sys.exit(broke)


if __name__ == "__main__":
    main()
