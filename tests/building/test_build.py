"""build.py says in one line what is wrong, does nothing twice, and installs only what the locks name."""

from __future__ import annotations

import json
import re
import runpy
import sys
from pathlib import Path

import pytest

import build

ROOT = Path(build.__file__).parent
REQUIREMENT = re.compile(r"^([a-z0-9][a-z0-9._-]*)==(\S+)", re.MULTILINE)


def test_an_old_python_is_refused_in_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "version_info", (3, 10, 4, "final", 0))
    with pytest.raises(SystemExit) as refusal:
        runpy.run_path(str(ROOT / "build.py"), run_name="__main__")
    assert refusal.value.code == "feedcalc needs Python 3.11 or newer; this is 3.10."


def test_a_package_with_a_wrong_hash_is_not_installed(tmp_path: Path) -> None:
    wheel = tmp_path / "demo-1.0-py3-none-any.whl"
    wheel.write_bytes(b"not what was locked")
    lock = tmp_path / "requirements.lock"
    lock.write_text(f"demo @ {wheel.as_uri()} --hash=sha256:{'0' * 64}\n")
    command: list[str | Path] = [sys.executable, "-m", "pip", "install", "--no-index", "--no-deps"]
    with pytest.raises(build.BuildFailed) as failure:
        build.run_step("packages", [*command, "--require-hashes", "-r", lock])
    assert str(failure.value) == (
        "packages: a downloaded package is not the one in the lock file (wrong hash); nothing of it was used."
    )


def test_no_network_is_said_as_such(tmp_path: Path) -> None:
    nowhere = ["--index-url", "http://127.0.0.1:9/", "--retries", "1", "--isolated", "--target", str(tmp_path)]
    with pytest.raises(build.BuildFailed) as failure:
        build.run_step("packages", [sys.executable, "-m", "pip", "install", *nowhere, "feedcalc-nowhere==1"])
    assert str(failure.value) == (
        "packages: the package index can't be reached. Connect to a network once and run this again."
    )


def test_a_python_without_venv_is_told_which_package_brings_it() -> None:
    # What Debian's python3 prints where python3-venv is missing.
    printed = (
        "The virtual environment was not created successfully because ensurepip is not available.  On\n"
        "Debian/Ubuntu systems, you need to install the python3-venv package using the following command.\n"
    )
    assert build.reason_of_failure(printed) == (
        "this Python can't make environments; install the package python3-venv."
    )


def test_an_unforeseen_failure_shows_what_the_program_printed() -> None:
    with pytest.raises(build.BuildFailed, match=r"step: failed\.\n    unheard of\n"):
        build.run_step("step", [sys.executable, "-c", "print('unheard of'); raise SystemExit(3)"])


def test_nothing_is_installed_twice(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    steps: list[str] = []
    monkeypatch.setattr(build, "ENVIRONMENT", tmp_path)
    monkeypatch.setattr(build, "run_step", lambda title, command: steps.append(title))
    lock = tmp_path / "some.lock"
    lock.write_text("one")
    build.install_locked("packages", lock)
    build.install_locked("packages", lock)
    assert steps == ["packages"]
    lock.write_text("other")
    build.install_locked("packages", lock)
    assert steps == ["packages", "packages"]


def test_words_that_mean_nothing_are_refused() -> None:
    with pytest.raises(build.BuildFailed, match=r"say `python3 build\.py` to build"):
        build.main(["tset"])


def test_all_that_the_system_lacks_is_installed_in_one_go(monkeypatch: pytest.MonkeyPatch) -> None:
    steps: list[list[str]] = []
    monkeypatch.setattr(build, "browser_is_here", lambda: False)
    monkeypatch.setattr(build.shutil, "which", lambda program: "/usr/bin/apt-get" if program == "apt-get" else None)
    monkeypatch.setattr(build.os, "geteuid", lambda: 0, raising=False)
    monkeypatch.setattr(build, "run_step", lambda title, command: steps.append(command))
    build.provide_system_packages()
    update, install = steps
    assert "update" in update
    assert {"chromium", "firefox-esr", "webkit2gtk-driver", "xvfb"} <= set(install)


def test_without_the_light_browser_the_rest_is_installed(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[str, ...]] = []
    monkeypatch.setattr(build, "browser_is_here", lambda: False)
    monkeypatch.setattr(build.shutil, "which", lambda program: None)
    monkeypatch.setattr(
        build, "install_system_packages", lambda *names: asked.append(names) or build.LIGHT_BROWSER not in names
    )
    build.provide_system_packages()
    assert len(asked) == 2
    assert {"chromium", "firefox-esr"} <= set(asked[1])


def test_the_last_line_of_the_tests_is_kept_for_the_end(capfd: pytest.CaptureFixture[str]) -> None:
    program = "print('one'); print('two'); print('3 passed'); raise SystemExit(1)"
    assert build.run_holding_last_line([sys.executable, "-c", program]) == (1, "3 passed")
    assert capfd.readouterr().out == "one\ntwo\n"


@pytest.mark.parametrize("name", ["requirements.lock", "requirements-node.lock", "requirements-test.lock"])
def test_every_locked_package_has_one_version_and_a_hash(name: str) -> None:
    text = (ROOT / name).read_text()
    assert "://" not in text
    for entry in re.split(r"^(?=[a-z0-9])", text, flags=re.MULTILINE)[1:]:
        assert REQUIREMENT.match(entry)
        assert "--hash=sha256:" in entry


def test_tests_run_with_the_very_packages_that_people_get() -> None:
    run, tests = (
        {tuple(found) for found in REQUIREMENT.findall((ROOT / name).read_text())}
        for name in ("requirements.lock", "requirements-test.lock")
    )
    assert run <= tests


def test_the_browser_runtime_is_one_exact_release_with_its_hash() -> None:
    lock = json.loads((ROOT / "site" / "package-lock.json").read_text())
    wanted = json.loads((ROOT / "site" / "package.json").read_text())["dependencies"]
    for name, version in wanted.items():
        assert re.fullmatch(r"\d+\.\d+\.\d+", version)
        assert lock["packages"][f"node_modules/{name}"]["version"] == version
    for name, entry in lock["packages"].items():
        assert name == "" or entry["integrity"].startswith("sha512-")
        assert "resolved" not in entry
