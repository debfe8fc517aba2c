"""What feedcalc is made of: every part is listed with its licence and hashes, and a changed part is noticed."""

from __future__ import annotations

import json
import re
import shutil
from importlib import metadata
from pathlib import Path

import pytest
from building import ingredients
from building.ingredients import NODE_MODULES, RECORDED, IngredientMissing, files_not_as_recorded
from building.parts_list import OF_NPM_IN_THE_PAGE, locked, needed_by, parts_list

LIST = parts_list()
PARTS = {part["purl"]: part for part in LIST["components"]}


def places(purl: str) -> set[str]:
    return {each["value"] for each in PARTS[purl]["properties"]}


# -- the list -----------------------------------------------------------------------------------------------------


def test_the_list_has_the_shape_that_cyclonedx_asks_for() -> None:
    # After ECMA-424 (CycloneDX 1.6), whose schema the list was held to by cyclonedx-python-lib 11.
    assert (LIST["bomFormat"], LIST["specVersion"], LIST["version"]) == ("CycloneDX", "1.6", 1)
    parts = [LIST["metadata"]["component"], *LIST["components"]]
    references = [part["bom-ref"] for part in parts]
    assert len(set(references)) == len(references)
    for part in parts:
        assert part["type"] in ("application", "library", "platform")
        assert part["name"]
        assert part["version"]
        assert [[*licence] for licence in part["licenses"]] == [["expression"]]
        for digest in part.get("hashes", ()):
            digits = {"SHA-256": 64, "SHA-512": 128}[digest["alg"]]
            assert re.fullmatch(rf"[0-9a-f]{{{digits}}}", digest["content"])
    for each in LIST["dependencies"]:
        assert {each["ref"], *each["dependsOn"]} <= set(references)


# Names of the SPDX licence list (from memory) that let feedcalc be passed on as it is (judgement).
SPDX = {"MIT", "BSD-2-Clause", "BSD-3-Clause", "PSF-2.0", "Apache-2.0", "MPL-2.0", "0BSD", "Zlib"}


def test_every_part_has_a_known_licence_of_spdx_and_the_hashes_of_its_lock() -> None:
    for part in [part for outer in PARTS.values() for part in (outer, *outer.get("components", ()))]:
        (licence,) = part["licenses"]
        assert set(re.split(r" AND | OR ", licence["expression"])) <= SPDX, part["name"]
    assert all(part["hashes"] for part in PARTS.values())
    lock = locked(ingredients.ROOT / "requirements.lock")
    version, hashes = lock["jinja2"]
    assert version == metadata.version("jinja2")
    assert {each["content"] for each in PARTS[f"pkg:pypi/jinja2@{version}"]["hashes"]} == set(hashes)


def test_what_is_installed_is_what_the_lock_and_the_list_say() -> None:
    for purl, part in PARTS.items():
        if purl.startswith("pkg:pypi/"):
            assert metadata.version(part["name"]) == part["version"]


def test_page_and_command_line_are_told_apart() -> None:
    at = {part["name"]: places(purl) for purl, part in PARTS.items()}
    assert at["jinja2"] == {"page", "command line"}
    assert at["rich"] == {"command line"}
    assert at["pyodide"] == {"page"}
    assert not {"hatchling", "pytest", "zstandard"} & at.keys(), "tools of the build reach nobody"
    assert needed_by("feedcalc") <= at.keys()


def test_every_package_whose_files_the_build_reads_is_listed() -> None:
    recorded = {line.split("  ")[1].split("/")[0] for line in RECORDED.read_text(encoding="utf-8").splitlines()}
    assert recorded == set(OF_NPM_IN_THE_PAGE)
    lock = json.loads((ingredients.SITE / "package.json").read_text(encoding="utf-8"))
    assert set(lock["dependencies"]) == recorded


# -- the runtime as it lies there ---------------------------------------------------------------------------------


@pytest.fixture
def runtime(tmp_path: Path) -> Path:
    """A copy of the files that the page is made from."""
    for line in RECORDED.read_text(encoding="utf-8").splitlines():
        name = line.split("  ")[1]
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(NODE_MODULES / name, tmp_path / name)
    return tmp_path


def test_the_runtime_is_as_recorded(runtime: Path) -> None:
    assert files_not_as_recorded(runtime, RECORDED) == []


@pytest.mark.parametrize("name", ["pyodide/pyodide.asm.wasm", "zstddec/dist/zstddec.mjs", "ical.js/dist/ical.min.js"])
def test_one_changed_byte_or_a_missing_file_is_noticed(runtime: Path, name: str) -> None:
    file = runtime / name
    content = bytearray(file.read_bytes())
    content[len(content) // 2] ^= 1
    file.write_bytes(content)
    assert files_not_as_recorded(runtime, RECORDED) == [name]
    file.unlink()
    assert files_not_as_recorded(runtime, RECORDED) == [name]


def test_a_build_on_a_changed_runtime_ends_in_one_line(runtime: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (runtime / ".package-lock.json").write_text("{}")  # as the npm client leaves it: everything seems installed
    (runtime / "pyodide" / "pyodide.mjs").write_text("// another program")
    monkeypatch.setattr(ingredients, "NODE_MODULES", runtime)
    with pytest.raises(IngredientMissing) as refusal:
        ingredients.provide_runtime(Path("node"))
    assert str(refusal.value) == (
        "site/node_modules/pyodide/pyodide.mjs is not the file recorded for it; "
        "remove site/node_modules and build again."
    )
