"""What can go wrong with the page's runtime while building: each time one line that says what to do."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import shutil
import tarfile
from pathlib import Path

import pytest
from building import ingredients
from building.ingredients import IngredientMissing

import build


def npm() -> list[str | Path]:
    """The npm client the build would use."""
    found = shutil.which("npm")
    if found:
        return [found]
    return [ingredients.provide_node(), *ingredients._carried(*ingredients.PLACES_OF_NPM)[:1]]


def a_package(folder: Path, integrity: str) -> None:
    """A folder whose lock names one package, with an integrity that may be wrong."""
    text = b'{"name": "demo", "version": "1.0.0"}'
    with tarfile.open(folder / "demo.tgz", "w:gz") as archive:
        entry = tarfile.TarInfo("package/package.json")
        entry.size = len(text)
        archive.addfile(entry, io.BytesIO(text))
    if not integrity:
        integrity = f"sha512-{base64.b64encode(hashlib.sha512((folder / 'demo.tgz').read_bytes()).digest()).decode()}"
    wanted = {"name": "page", "dependencies": {"demo": "file:demo.tgz"}}
    packages = {"": wanted, "node_modules/demo": {"version": "1.0.0", "resolved": "file:demo.tgz"}}
    packages["node_modules/demo"] |= {"integrity": integrity}
    (folder / "package.json").write_text(json.dumps(wanted))
    lock = {"name": "page", "lockfileVersion": 3, "requires": True, "packages": packages}
    (folder / "package-lock.json").write_text(json.dumps(lock))


def installed(folder: Path, *options: str) -> None:
    quick = ("--no-progress", "--no-audit", "--ignore-scripts", "--fetch-retries=0", f"--cache={folder / 'cache'}")
    build.run_step("the page", [*npm(), "ci", *quick, *options], cwd=folder)


def test_a_package_of_the_runtime_with_the_right_hash_is_installed(tmp_path: Path) -> None:
    a_package(tmp_path, "")
    installed(tmp_path)
    assert (tmp_path / "node_modules" / "demo" / "package.json").is_file()


def test_a_package_of_the_runtime_with_a_wrong_hash_is_not(tmp_path: Path) -> None:
    a_package(tmp_path, f"sha512-{base64.b64encode(bytes(64)).decode()}")
    with pytest.raises(build.BuildFailed) as failure:
        installed(tmp_path)
    assert str(failure.value) == (
        "the page: a downloaded package is not the one in the lock file (wrong hash); nothing of it was used."
    )
    assert not (tmp_path / "node_modules" / "demo").exists()


def test_no_network_for_the_runtime_is_said_as_such(tmp_path: Path) -> None:
    for name in ("package.json", "package-lock.json", ".npmrc"):
        shutil.copy(ingredients.SITE / name, tmp_path)
    with pytest.raises(build.BuildFailed) as failure:
        installed(tmp_path, "--registry=http://127.0.0.1:9/")
    assert (
        str(failure.value)
        == "the page: the package index can't be reached. Connect to a network once and run this again."
    )


@pytest.fixture
def no_npm(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ingredients.shutil, "which", lambda _: None)
    monkeypatch.setattr(ingredients, "_carried", lambda *_: [])


def test_no_npm_is_said_in_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, no_npm: None) -> None:
    monkeypatch.setattr(ingredients, "NODE_MODULES", tmp_path)
    with pytest.raises(IngredientMissing) as refusal:
        ingredients.provide_runtime(Path("node"))
    assert str(refusal.value) == "the page needs the npm client, which comes with Node.js; it was not found."


def test_no_node_is_said_in_one_line(no_npm: None) -> None:
    with pytest.raises(
        IngredientMissing, match=r"^the page needs Node\.js 18 or newer to be built; build\.py brings one"
    ):
        ingredients.provide_node()


def test_a_node_too_old_is_passed_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    old = tmp_path / "node"
    old.write_text("#!/bin/sh\necho v16.20.2\n")
    old.chmod(0o755)
    monkeypatch.setattr(ingredients.shutil, "which", lambda _: str(old))
    monkeypatch.setattr(ingredients, "_carried", lambda *_: [])
    with pytest.raises(IngredientMissing, match=r"Node\.js 18 or newer"):
        ingredients.provide_node()


def test_a_second_build_asks_no_network_for_the_runtime(no_npm: None) -> None:
    ingredients.provide_runtime(Path("node"))  # all is here: there is nothing to ask npm for


def test_a_full_disk_and_a_refusal_of_ours_are_one_line_each() -> None:
    for printed, line in (
        ("OSError: [Errno 28] No space left on device: 'x'", "the disk is full."),
        ("npm error code ENOTFOUND\nnpm error network request failed", build.NO_NETWORK),
    ):
        assert build.reason_of_failure(printed) == line
