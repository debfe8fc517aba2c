"""Known faults in what the locks name: ``python -m building.audit`` in the folder site.

Rules: the lists of faults are other people's, asked through pip-audit and npm audit, of which only the JSON is read.
Every locked release is looked up, whatever machine or Python it is for. What could not be looked up is told and never
counts as free of faults. Ends with 1 where an advisory is known, else with 3 where something could not be looked up,
else with 0, which says nothing of faults that nobody has listed.

pip-audit has a lock and an environment of its own (build/audit), because nothing else here needs it.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from building.ingredients import ROOT, SITE, IngredientMissing, provide_node, run_npm
from building.parts_list import LOCKED
from feedcalc.words.json_text import json_object

ENVIRONMENT = ROOT / "build" / "audit"
LOCK_OF_PIP_AUDIT = ROOT / "requirements-audit.lock"
PACKAGE_LOCK = SITE / "package-lock.json"
HEAD = ("part", "version", "advisory", "fixed in")
KNOWN, NOT_LOOKED_UP = 1, 3


@dataclass(frozen=True, slots=True, order=True)
class Advisory:
    """A part in the version that is locked, what its fault is listed under, and the releases told to mend it."""

    part: str
    version: str
    name: str
    fixed_in: str


@dataclass(frozen=True, slots=True)
class Told:
    """What a list of faults told: advisories, how many parts it knew and which it did not; or why it told nothing."""

    advisories: tuple[Advisory, ...] = ()
    looked_up: int = 0
    unknown: tuple[str, ...] = ()
    unanswered: str = ""


def main() -> int:
    """Look everything up, print what is known, and return the number to end with."""
    told: list[Told] = []
    for look_up in (of_pypi, of_npm):
        try:
            told += look_up()
        except IngredientMissing as missing:
            told.append(Told(unanswered=str(missing)))
    known = sorted({advisory for each in told for advisory in each.advisories})
    if known:
        print("\n".join(table(known)))
    print(f"Parts looked up: {sum(each.looked_up for each in told)}. Advisories known: {len(known)}.", flush=True)
    unanswered = [each.unanswered for each in told if each.unanswered]
    if unknown := sorted({name for each in told for name in each.unknown}):
        unanswered.append(f"the list of faults told nothing of parts: {len(unknown)}, {unknown[0]} the first of them.")
    for line in dict.fromkeys(unanswered):
        print(f"feedcalc: {line}", file=sys.stderr)
    return KNOWN if known else NOT_LOOKED_UP if unanswered else 0


def table(advisories: Iterable[Advisory]) -> list[str]:
    """The advisories as lines of even columns below their heads."""
    rows = [HEAD, *((each.part, each.version, each.name, each.fixed_in) for each in advisories)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return ["  ".join(map(str.ljust, row, widths)).rstrip() for row in rows]


# -- PyPI ---------------------------------------------------------------------------------------------------------


def of_pypi() -> list[Told]:
    """What pip-audit tells of every release in the locks of pip."""
    python = provide_pip_audit()
    locks = sorted(ROOT.glob("requirements*.lock"))
    return [_asked_of_pip_audit(python, pins) for pins in rounds({pin for lock in locks for pin in pinned(lock)})]


def pinned(lock: Path) -> set[tuple[str, str]]:
    """Name and version of every release in a lock, also of those for other machines."""
    return {(found[1], found[2]) for found in LOCKED.finditer(lock.read_text(encoding="utf-8"))}


def rounds(pins: Iterable[tuple[str, str]]) -> list[dict[str, str]]:
    """The releases in as few heaps as will do, each name once in a heap: pip-audit takes no two versions of one.

    >>> rounds({("numpy", "2.3"), ("numpy", "2.4"), ("pint", "0.25")})
    [{'numpy': '2.3', 'pint': '0.25'}, {'numpy': '2.4'}]
    """
    heaps: list[dict[str, str]] = []
    for name, version in sorted(pins):
        heap = next((heap for heap in heaps if name not in heap), None)
        if heap is None:
            heaps.append(heap := {})
        heap[name] = version
    return heaps


def provide_pip_audit() -> Path:
    """The Python that has pip-audit, as its lock says; made where it isn't there yet."""
    python = ENVIRONMENT / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    stamp, wanted = ENVIRONMENT / "made-from", LOCK_OF_PIP_AUDIT.read_text(encoding="utf-8")
    if not (stamp.is_file() and stamp.read_text(encoding="utf-8") == wanted):
        make: list[str | Path] = [sys.executable, "-m", "venv", "--clear", ENVIRONMENT]
        install: list[str | Path] = [
            python,
            "-m",
            "pip",
            "install",
            "--quiet",
            "--require-hashes",
            "-r",
            LOCK_OF_PIP_AUDIT,
        ]
        for command in (make, install):
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            if done.returncode:
                raise IngredientMissing(f"pip-audit could not be installed: {last_line(done.stderr or done.stdout)}")
        stamp.write_text(wanted, encoding="utf-8")
    return python


def _asked_of_pip_audit(python: Path, pins: dict[str, str]) -> Told:
    with tempfile.TemporaryDirectory() as folder:
        wanted = Path(folder) / "requirements.txt"
        wanted.write_text("".join(f"{name}=={version}\n" for name, version in pins.items()), encoding="utf-8")
        plain = ["--format", "json", "--desc", "off", "--progress-spinner", "off"]
        done = subprocess.run(
            [python, "-m", "pip_audit", "--disable-pip", "--no-deps", *plain, "--requirement", wanted],
            capture_output=True,
            text=True,
            check=False,
        )
    return read_pip_audit(done.stdout, done.stderr)


def read_pip_audit(output: str, errors: str = "") -> Told:
    """What stands in the JSON of ``pip-audit --format json``; of a part it skips, nothing was looked up."""
    answer = json_object(output)
    if answer is None or "dependencies" not in answer:
        return Told(unanswered=f"pip-audit could not ask its list of faults: {last_line(errors)}")
    looked_up = [part for part in answer["dependencies"] if "skip_reason" not in part]
    return Told(
        tuple(
            Advisory(part["name"], part["version"], _names(fault), ", ".join(fault["fix_versions"]) or "none told")
            for part in looked_up
            for fault in part["vulns"]
        ),
        len(looked_up),
        tuple(part["name"] for part in answer["dependencies"] if "skip_reason" in part),
    )


def _names(fault: dict[str, Any]) -> str:
    others = ", ".join(fault.get("aliases", ()))
    return f"{fault['id']} ({others})" if others else str(fault["id"])


# -- npm ----------------------------------------------------------------------------------------------------------


def of_npm() -> list[Told]:
    """What npm audit tells of every release in the lock of npm."""
    asked = ["audit", "--json", "--package-lock-only", "--fetch-retries=1", "--fetch-timeout=30000"]
    done = run_npm(provide_node(), *asked)
    return [read_npm_audit(done.stdout, json.loads(PACKAGE_LOCK.read_text(encoding="utf-8")), done.stderr)]


def read_npm_audit(output: str, lock: dict[str, Any], errors: str = "") -> Told:
    """What stands in the JSON of ``npm audit --json`` (version 2 of its report) about the parts of a lock.

    A fault is listed at the part that has it, and by name alone at those that only use that part: those are no
    advisories of their own.
    """
    answer = json_object(output)
    if answer is None or answer.get("auditReportVersion") != 2:
        reason = (answer or {}).get("message") or last_line(errors)
        return Told(unanswered=f"npm audit could not ask its list of faults: {reason}")
    return Told(
        tuple(
            Advisory(part["name"], lock["packages"][node]["version"], fault["url"].rpartition("/")[2], mended(fault))
            for part in answer["vulnerabilities"].values()
            for fault in part["via"]
            if isinstance(fault, dict)
            for node in part["nodes"]
        ),
        len(lock["packages"]) - 1,  # the page itself stands in its lock as well
    )


def mended(fault: dict[str, Any]) -> str:
    """Where the releases that have a fault of npm's list end.

    >>> mended({"range": "<5.2.4 || >=6.0.0 <6.2.3"}), mended({"range": "<=1.4.0"}), mended({"range": "*"})
    ('5.2.4, 6.2.3', 'after 1.4.0', 'none told')
    """
    ends = re.findall(r"<(=?)\s*([^\s|]+)", fault["range"])
    return ", ".join(f"after {version}" if included else version for included, version in ends) or "none told"


# -- both ---------------------------------------------------------------------------------------------------------


def last_line(text: str) -> str:
    """The last line a program printed, which is where it says what went wrong."""
    return (text.strip().splitlines() or ["it said nothing."])[-1].strip()[:200]


if __name__ == "__main__":
    sys.exit(main())
