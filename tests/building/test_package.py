"""The wheel and the source archive, built from sources that no build has touched."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import feedcalc
from feedcalc.words.languages import LANGUAGES

ROOT = Path(__file__).resolve().parents[2]
MADE = shutil.ignore_patterns("__pycache__", "*.mo", "languages.json")


def test_wheel_and_source_archive_hold_every_catalogue_and_all_data(tmp_path: Path) -> None:
    sources, out = tmp_path / "sources", tmp_path / "out"
    shutil.copytree(ROOT / "feedcalc", sources / "feedcalc", ignore=MADE)
    for name in ("pyproject.toml", "README.md", "LICENSE", "site/building/catalogues.py"):
        (sources / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / name, sources / name)
    subprocess.run([sys.executable, "-m", "hatchling", "build", "-d", out], cwd=sources, check=True)
    name = f"feedcalc-{feedcalc.__version__}"
    wheel = set(zipfile.ZipFile(out / f"{name}-py3-none-any.whl").namelist())
    with tarfile.open(out / f"{name}.tar.gz") as archive:
        sdist = {path.removeprefix(f"{name}/") for path in archive.getnames()}
    expected = {path.relative_to(sources).as_posix() for path in (sources / "feedcalc").rglob("*") if path.is_file()}
    expected |= {f"feedcalc/words/catalogues/{tag}.mo" for tag in LANGUAGES if tag != "en"}
    expected.add("feedcalc/words/catalogues/languages.json")
    assert "feedcalc/py.typed" in expected
    assert {path for path in wheel if path.startswith("feedcalc/")} == expected
    assert {path for path in sdist if path.startswith("feedcalc/")} == expected
    assert {"pyproject.toml", "site/building/catalogues.py"} <= sdist
