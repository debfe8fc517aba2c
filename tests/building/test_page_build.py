"""The page's build: the same bytes from the same sources, and nothing in the page that asks for anything."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest
import zstandard
from building import __main__ as building
from building import ingredients, payload, prune

from tests.building.build_a_day_later import DAY

DIST = ingredients.ROOT / "dist"


@pytest.fixture
def elsewhere(tmp_path: Path) -> Path:
    """A copy of the sources in another folder, dated a day later."""
    made_from = (DIST / ".made-from").read_text()
    assert made_from == building.digest_of_sources(), "sources changed since: python3 build.py"
    copy = tmp_path / "another checkout of another length"
    for name in ("feedcalc", "site"):
        left_out = shutil.ignore_patterns("node_modules", "__pycache__", "*.mo")
        shutil.copytree(ingredients.ROOT / name, copy / name, ignore=left_out)
    for name in ("LICENSE", "pyproject.toml"):
        shutil.copy(ingredients.ROOT / name, copy)
    (copy / "site" / "node_modules").symlink_to(ingredients.NODE_MODULES)
    for path in copy.rglob("*"):
        if not path.is_symlink():
            os.utime(path, (path.stat().st_mtime + DAY,) * 2)
    return copy


def _build_a_day_later(elsewhere: Path, *arguments: str | Path) -> None:
    subprocess.run(
        [sys.executable, Path(__file__).with_name("build_a_day_later.py"), *arguments],
        cwd=elsewhere / "site",
        env=os.environ | {"PYTHONPATH": os.pathsep.join(map(str, (elsewhere, elsewhere / "site")))},
        check=True,
    )


@pytest.mark.slow
def test_another_folder_on_another_day_gives_the_same_runtime(elsewhere: Path, tmp_path: Path) -> None:
    _build_a_day_later(elsewhere, "runtime", tmp_path)
    assert _digests(tmp_path / "runtime") == _digests(building.WORK / "runtime")


@pytest.mark.slow
def test_another_folder_on_another_day_gives_the_same_code(elsewhere: Path, tmp_path: Path) -> None:
    shutil.copytree(building.WORK / "runtime", tmp_path / "runtime")  # the same, see above
    _build_a_day_later(elsewhere, "code", tmp_path)
    for made in ("compiled", "python_stdlib.zip"):
        assert _digests(tmp_path / made) == _digests(building.WORK / made)


@pytest.mark.slow
def test_another_folder_on_another_day_gives_the_same_bytes(elsewhere: Path, tmp_path: Path) -> None:
    packed = next((DIST / "site").glob("payload.*.bin"))
    for made in ("runtime", "compiled"):  # the same, see above
        shutil.copytree(building.WORK / made, tmp_path / made)
    shutil.copy(building.WORK / "python_stdlib.zip", tmp_path)
    _build_a_day_later(elsewhere, "page", tmp_path, packed)
    kept = packed.read_bytes()
    first_frame, second_frame, memory = (int.from_bytes(kept[at : at + 4], "little") for at in (0, 4, 8))
    assert len(kept) == 12 + first_frame + second_frame
    image = (tmp_path / "image").read_bytes()
    wasm = (tmp_path / "runtime" / "pyodide.asm.wasm").read_bytes()
    assert zstandard.decompress(kept[12 : 12 + first_frame]) == wasm
    assert zstandard.decompress(kept[12 + first_frame :]) == image
    assert f'"length":{memory},'.encode() in image
    made = tmp_path / "dist"
    assert _digests(made / "feedcalc.html", made / "site") == _digests(DIST / "feedcalc.html", DIST / "site")


def _digests(*places: Path) -> dict[str, str]:
    """SHA-256 of each file, and of each below a folder, by its path there."""
    files = [(place, file) for place in places for file in (place.rglob("*") if place.is_dir() else [place])]
    return {
        str(file.relative_to(place.parent)): hashlib.sha256(file.read_bytes()).hexdigest()
        for place, file in files
        if file.is_file()
    }


def test_another_release_of_the_runtime_is_not_adapted_blindly(tmp_path: Path) -> None:
    for name in ("pyodide.mjs", "pyodide.asm.mjs", "pyodide-lock.json"):
        content = (prune.RUNTIME / name).read_text(encoding="utf-8")
        (tmp_path / name).write_text(content.replace("export{dt as loadPyodide", "export{xy as loadPyodide"))
    with pytest.raises(ingredients.IngredientMissing, match="this release of the runtime is not the one we know"):
        payload.program(tmp_path)


class _Addresses(HTMLParser):
    """Every address that elements of a page would fetch."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        names = {"src", "srcset", "poster", "data", "background"} | ({"href"} if tag in ("link", "image") else set())
        self.found += [value for name, value in attributes if name in names and value]


@pytest.mark.slow  # needs the page built
def test_the_one_file_names_nothing_outside_itself() -> None:
    parser = _Addresses()
    parser.feed((DIST / "feedcalc.html").read_text("utf-16"))
    assert [address for address in parser.found if not address.startswith("data:")] == []


def test_the_page_carries_the_licences_of_all_it_is_made_of() -> None:
    text = ingredients.licences()
    lock = json.loads((ingredients.SITE / "package-lock.json").read_text())
    for package in ("pyodide", "zstddec"):
        assert f"{package} {lock['packages'][f'node_modules/{package}']['version']}" in text
    for words in ("Copyright 2007 Pallets", "Copyright 2010 Pallets", "segno", "MIT License"):
        assert words in text
