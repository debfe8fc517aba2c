"""Runs doors against the fuzzer, each in a child process, and says what was tried and what broke.

The corpus under ``tests/data/corpus/DOOR`` is where a run starts; what a run adds to it is thrown away unless a folder
is named to keep it in. The text that broke a door comes back with the count, to be made a part of the corpus.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from tests.whole.trust.doors import DOORS, WORDS

ROOT = Path(__file__).resolve().parents[3]
CORPUS = ROOT / "tests" / "data" / "corpus"
LONGEST_WAIT = 300  # seconds after which a child is taken to hang for good; `one_door` holds answers to less


@dataclass(frozen=True, slots=True)
class Tried:
    """How many texts a door was tried with, how many of its readers' branches they reached, and what broke it."""

    door: str
    cases: int
    coverage: int
    broke: str
    culprit: str = ""


def fuzz(door: str, cases: int, seed: int = 1, keep_in: Path | None = None) -> Tried:
    """Hold one of `DOORS` against ``cases`` texts grown from the corpus; the same seed tries the same.

    Texts that reached new branches start from ``keep_in`` and are added to it, where it is given.
    """
    assert door in DOORS, f"no such door: {door}"
    with tempfile.TemporaryDirectory() as folder:
        grown, found, words = keep_in or Path(folder, "grown"), Path(folder, "found"), Path(folder, "words.txt")
        grown.mkdir(parents=True, exist_ok=True)
        found.mkdir()
        words.write_text("".join(f'"{_escaped(word)}"\n' for word in WORDS), encoding="utf-8")
        command = [sys.executable, "-m", "tests.whole.trust.one_door", door, str(grown), str(CORPUS / door)]
        options = (f"-runs={cases}", f"-seed={seed}", f"-timeout={LONGEST_WAIT}", "-max_len=1500", "-len_control=20")
        # A text is slow by this processor's time, which `one_door` counts, and not by the clock of a busy machine.
        options += (f"-report_slow_units={LONGEST_WAIT}",)
        options += (f"-dict={words}", f"-artifact_prefix={found}/", "-rss_limit_mb=2048", "-print_final_stats=1")
        ended = subprocess.run(
            [*command, *options], cwd=ROOT, capture_output=True, text=True, errors="replace", check=False
        )
        tried = re.findall(r"number_of_executed_units:\s*(\d+)", ended.stderr)
        reached = re.findall(r"cov: (\d+)", ended.stderr)
        culprits = sorted(found.iterdir())
        broke = "" if ended.returncode == 0 and not culprits else _reason(ended.stdout + ended.stderr)
        culprit = culprits[0].read_bytes().decode("utf-8", "replace") if culprits else ""
        return Tried(door, int(tried[-1]) if tried else 0, int(reached[-1]) if reached else 0, broke, culprit)


def _escaped(word: str) -> str:
    return "".join(
        chr(byte) if 32 <= byte < 127 and chr(byte) not in '"\\' else f"\\x{byte:02x}" for byte in word.encode()
    )


def _reason(output: str) -> str:
    """The line of a crash that says what broke."""
    lines = [line.strip() for line in output.splitlines() if re.match(r"\s*(\w+\.)*\w*(Error|Exception|Fault)\b", line)]
    hang = re.search(r"ALARM: working on the last Unit for (\d+) seconds", output)
    return lines[0] if lines else f"no answer in {hang.group(1)} s" if hang else output.strip()[-300:]
