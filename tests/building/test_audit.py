"""What is known of faults in the locked parts: both tools' answers are read rightly, and silence is not taken for good.

The answers under tests/data/audit are those of pip-audit 2.10.1 and npm 11.19, recorded against a service on the
loopback range that told of three published advisories, of none, or could not be reached. No network is used here.
"""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest
from building import audit
from building.audit import Advisory, IngredientMissing, Told, last_line, pinned, read_npm_audit, read_pip_audit, rounds
from building.parts_list import locked

RECORDED = Path(__file__).resolve().parents[1] / "data" / "audit"
NPM_LOCK = {
    "packages": {
        "": {"name": "page"},
        "node_modules/pyodide": {"version": "0.26.0"},
        "node_modules/ws": {"version": "8.16.0"},
    }
}
OF_JINJA2 = Advisory("jinja2", "3.1.4", "CVE-2024-56326 (GHSA-q2x7-8rv6-6q7h)", "3.1.5")
OF_ECDSA = Advisory("ecdsa", "0.19.0", "CVE-2024-23342 (GHSA-wj6h-64fc-37mp)", "none told")
OF_WS = Advisory("ws", "8.16.0", "GHSA-3h5v-q93c-6h6q", "8.17.1")
# The end of what pip-audit prints, and all it prints, where its service has no address.
TRACEBACK = """Traceback (most recent call last):
  File "pip_audit/_service/osv.py", line 67, in query
    response: requests.Response = self.session.post(
requests.exceptions.ConnectionError: Failed to resolve 'faults.invalid' ([Errno -2] Name or service not known)
"""


def recorded(name: str) -> str:
    return (RECORDED / f"{name}.json").read_text(encoding="utf-8")


# -- reading ------------------------------------------------------------------------------------------------------


def test_advisories_of_pip_audit_are_read() -> None:
    assert read_pip_audit(recorded("pip_found")) == Told((OF_JINJA2, OF_ECDSA), 3)
    assert read_pip_audit(recorded("pip_none")) == Told((), 1)


def test_a_part_that_pip_audit_skips_was_not_looked_up() -> None:
    # pip-audit itself says "No known vulnerabilities found" of these, and ends with 0.
    assert read_pip_audit(recorded("pip_skipped")) == Told(unknown=("babel", "click"))


def test_advisories_of_npm_audit_are_read() -> None:
    assert read_npm_audit(recorded("npm_found"), NPM_LOCK) == Told((OF_WS,), 2)
    assert read_npm_audit(recorded("npm_none"), NPM_LOCK) == Told((), 2)


def test_a_part_that_only_uses_one_with_a_fault_has_no_advisory_of_its_own() -> None:
    answer = json.loads(recorded("npm_found"))
    answer["vulnerabilities"]["pyodide"] = {"name": "pyodide", "via": ["ws"], "nodes": ["node_modules/pyodide"]}
    assert read_npm_audit(json.dumps(answer), NPM_LOCK).advisories == (OF_WS,)


@pytest.mark.parametrize("output", ["", "[]", "{}", "no JSON"])
def test_no_answer_is_never_taken_for_no_advisory(output: str) -> None:
    assert read_pip_audit(output, TRACEBACK).unanswered.endswith(last_line(TRACEBACK))
    assert read_npm_audit(output, NPM_LOCK, "npm error audit endpoint returned an error").unanswered


@pytest.mark.parametrize(("name", "reason"), [("npm_offline", "ENOTFOUND"), ("npm_refused", "405 Method Not Allowed")])
def test_npm_audit_that_reaches_nobody_says_why(name: str, reason: str) -> None:
    told = read_npm_audit(recorded(name), NPM_LOCK)
    assert reason in told.unanswered
    assert (told.advisories, told.looked_up) == ((), 0)


# -- what is asked ------------------------------------------------------------------------------------------------


def test_every_release_of_every_lock_is_asked_for_once() -> None:
    locks = sorted(audit.ROOT.glob("requirements*.lock"))
    assert {"requirements.lock", "requirements-test.lock", "requirements-audit.lock"} <= {lock.name for lock in locks}
    pins = {pin for lock in locks for pin in pinned(lock)}
    lines = {line.split()[0] for lock in locks for line in lock.read_text().splitlines() if line[:1].strip()}
    assert {f"{name}=={version}" for name, version in pins} == lines
    heaps = rounds(pins)
    assert {pin for heap in heaps for pin in heap.items()} == pins
    assert sum(map(len, heaps)) == len(pins)


def test_the_tool_is_locked_with_hashes() -> None:
    held = locked(audit.LOCK_OF_PIP_AUDIT)
    assert "pip-audit" in held
    assert all(hashes for _, hashes in held.values())


# -- the command --------------------------------------------------------------------------------------------------


@pytest.fixture
def answers(monkeypatch: pytest.MonkeyPatch) -> dict[str, tuple[str, str]]:
    """Output and errors of both tools, to be changed; nothing is installed or asked."""
    said = {"pip": (recorded("pip_none"), ""), "npm": (recorded("npm_none"), "")}

    def run(command: list[str], **_: object) -> subprocess.CompletedProcess[str]:
        assert "pip_audit" in command
        return subprocess.CompletedProcess(command, 0, *said["pip"])

    def run_npm(node: Path, *words: str) -> subprocess.CompletedProcess[str]:
        assert words[:2] == ("audit", "--json")
        return subprocess.CompletedProcess(words, 0, *said["npm"])

    monkeypatch.setattr(audit, "provide_pip_audit", lambda: Path("python"))
    monkeypatch.setattr(audit, "provide_node", lambda: Path("node"))
    monkeypatch.setattr(audit, "pinned", lambda lock: {("click", "8.1.7")})
    monkeypatch.setattr(audit.subprocess, "run", run)
    monkeypatch.setattr(audit, "run_npm", run_npm)
    return said


Answers = dict[str, tuple[str, str]]


def test_nothing_known_ends_well(answers: Answers, capsys: pytest.CaptureFixture[str]) -> None:
    assert audit.main() == 0
    printed = capsys.readouterr()
    assert printed.out.endswith("Advisories known: 0.\n")
    assert printed.err == ""


def test_advisories_are_printed_as_one_table(
    answers: Answers, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    lock = tmp_path / "package-lock.json"
    lock.write_text(json.dumps(NPM_LOCK))
    monkeypatch.setattr(audit, "PACKAGE_LOCK", lock)
    answers.update(pip=(recorded("pip_found"), "Found 2 known vulnerabilities"), npm=(recorded("npm_found"), ""))
    assert audit.main() == 1
    printed = capsys.readouterr()
    assert printed.out.splitlines() == [
        "part    version  advisory                              fixed in",
        "ecdsa   0.19.0   CVE-2024-23342 (GHSA-wj6h-64fc-37mp)  none told",
        "jinja2  3.1.4    CVE-2024-56326 (GHSA-q2x7-8rv6-6q7h)  3.1.5",
        "ws      8.16.0   GHSA-3h5v-q93c-6h6q                   8.17.1",
        "Parts looked up: 5. Advisories known: 3.",
    ]
    assert printed.err == ""


def test_a_list_that_cant_be_reached_is_one_plain_line(answers: Answers, capsys: pytest.CaptureFixture[str]) -> None:
    answers.update(pip=("", TRACEBACK), npm=(recorded("npm_none"), ""))
    assert audit.main() == 3
    assert capsys.readouterr().err.splitlines() == [
        "feedcalc: pip-audit could not ask its list of faults: requests.exceptions.ConnectionError: "
        "Failed to resolve 'faults.invalid' ([Errno -2] Name or service not known)"
    ]


def test_parts_the_list_does_not_know_end_the_same_way(answers: Answers, capsys: pytest.CaptureFixture[str]) -> None:
    answers.update(pip=(recorded("pip_skipped"), "No known vulnerabilities found"))
    assert audit.main() == 3
    assert capsys.readouterr().err == (
        "feedcalc: the list of faults told nothing of parts: 2, babel the first of them.\n"
    )


def test_an_advisory_counts_more_than_a_list_that_cant_be_reached(
    answers: Answers, capsys: pytest.CaptureFixture[str]
) -> None:
    answers.update(pip=(recorded("pip_found"), ""), npm=(recorded("npm_refused"), ""))
    assert audit.main() == 1
    assert "405 Method Not Allowed" in capsys.readouterr().err


def test_a_tool_that_cant_be_had_is_one_plain_line(
    answers: Answers, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse() -> Path:
        raise IngredientMissing("pip-audit could not be installed: ERROR: No matching distribution found")

    monkeypatch.setattr(audit, "provide_pip_audit", refuse)
    assert audit.main() == 3
    assert capsys.readouterr().err == (
        "feedcalc: pip-audit could not be installed: ERROR: No matching distribution found\n"
    )
