"""The wheel and the source archive, built from sources that no build has touched."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

import feedcalc
from feedcalc.chemistry.prepared import MODULE
from feedcalc.engine import calculate_markdown
from feedcalc.sheets.render import COMPILED
from feedcalc.words.languages import LANGUAGES

ROOT = Path(__file__).resolve().parents[2]
MADE = shutil.ignore_patterns("__pycache__", "*.mo", "languages.json")
HOOKS = ("site/building/catalogues.py", "site/building/wheel_parts.py")
NAME = f"feedcalc-{feedcalc.__version__}"
# Answers a request and tells the sheet, and how many functions and templates were compiled for it.
ANSWER = """
import json, sys
import jinja2
from feedcalc.chemistry import machine_code
from feedcalc.engine import calculate_markdown
compiled, compile = [], jinja2.Environment.compile
jinja2.Environment.compile = lambda *given, **more: compiled.append(given[2]) or compile(*given, **more)
sheets = [calculate_markdown(json.dumps(request), part)[1] for request, part in json.load(sys.stdin)]
functions = machine_code.compiled.cache_info().misses
print(json.dumps([sheets, functions, compiled, machine_code.__file__]))
"""
ASKED: list[tuple[dict[str, object], str]] = [
    ({"schema": 1, "ranges": "off"}, "short"),
    ({"schema": 1, "samples": "10", "plant": "tomato", "soil": {"ph": "6.1"}}, "sheet"),
    ({"schema": 1, "ranges": "off", "language": "de", "acid": {"kind": "vinegar", "target_ph": "7"}}, "acid"),
    ({"schema": 1, "ask": "spread", "soil": {"ph": "6.0"}, "language": "ar"}, "short"),
]


@pytest.fixture(scope="module")
def sources(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sources, with the wheel and the archive made of them in ``out`` beside them."""
    sources = tmp_path_factory.mktemp("package") / "sources"
    shutil.copytree(ROOT / "feedcalc", sources / "feedcalc", ignore=MADE)
    for name in ("pyproject.toml", "README.md", "LICENSE", *HOOKS):
        (sources / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / name, sources / name)
    subprocess.run([sys.executable, "-m", "hatchling", "build", "-d", sources.parent / "out"], cwd=sources, check=True)
    return sources


def test_wheel_and_source_archive_hold_every_catalogue_and_all_data(sources: Path) -> None:
    out = sources.parent / "out"
    wheel = set(zipfile.ZipFile(out / f"{NAME}-py3-none-any.whl").namelist())
    with tarfile.open(out / f"{NAME}.tar.gz") as archive:
        sdist = {path.removeprefix(f"{NAME}/") for path in archive.getnames()}
    expected = {path.relative_to(sources).as_posix() for path in (sources / "feedcalc").rglob("*") if path.is_file()}
    expected |= {f"feedcalc/words/catalogues/{tag}.mo" for tag in LANGUAGES if tag != "en"}
    expected.add("feedcalc/words/catalogues/languages.json")
    assert "feedcalc/py.typed" in expected
    assert {path for path in sdist if path.startswith("feedcalc/")} == expected
    assert {"pyproject.toml", *HOOKS} <= sdist
    brought = {path for path in wheel if path.startswith("feedcalc/")} - expected
    templates = list((sources / "feedcalc" / "sheets" / "templates").iterdir())
    assert len(brought) == 1 + len(templates)
    assert f"feedcalc/chemistry/{MODULE}.py" in brought
    assert sum(path.startswith(f"feedcalc/sheets/{COMPILED}/tmpl_") for path in brought) == len(templates)
    assert expected <= wheel


def test_a_wheel_answers_as_the_sources_do_and_compiles_next_to_nothing(sources: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(sources.parent / "out" / f"{NAME}-py3-none-any.whl") as wheel:
        wheel.extractall(tmp_path)
    done = subprocess.run(
        [sys.executable, "-c", ANSWER],
        input=json.dumps(ASKED),
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    sheets, functions, templates, place = json.loads(done.stdout)
    assert Path(place).is_relative_to(tmp_path), "the wheel has answered, not the sources"
    assert sheets == [calculate_markdown(json.dumps(request), part)[1] for request, part in ASKED]
    assert all(sheets)
    assert templates == []
    assert functions < 10, "the sources compile over twenty"
