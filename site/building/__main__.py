"""Build the page: ``python -m building`` in the folder site, with the project's own environment.

Nothing is done when nothing changed. What is in dist/ afterwards: feedcalc.html and site/.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from building import ingredients, words
from building.assemble import Parts, assemble
from building.bundle import page_scripts
from building.payload import compile_code, compressed, payload, program, take_snapshot
from building.prune import prune
from feedcalc import engine

TARGET = ingredients.ROOT / "dist"
WORK = ingredients.ROOT / "build" / "page"
STAMP = TARGET / ".made-from"


def digest_of_sources() -> str:
    """One hash over everything the page is made from."""
    root = ingredients.ROOT
    files = [root / "requirements.lock", root / "pyproject.toml", root / "LICENSE"]
    files += [path for path in (root / "feedcalc").rglob("*") if path.is_file()]
    files += [path for path in ingredients.SITE.rglob("*") if path.is_file()]
    digest = hashlib.sha256()
    for path in sorted(files):
        if {"node_modules", "pictures", "__pycache__"}.isdisjoint(path.parts):
            digest.update(f"{path.relative_to(root)}\0{hashlib.sha256(path.read_bytes()).hexdigest()}\n".encode())
    return digest.hexdigest()


def main() -> None:
    """Build both deliveries, saying what is being done."""
    words.check()
    words.compile_catalogues()
    wanted = digest_of_sources()
    if STAMP.is_file() and STAMP.read_text() == wanted and (TARGET / "feedcalc.html").exists():
        return
    STAMP.unlink(missing_ok=True)
    print("the browser runtime", flush=True)
    node = ingredients.provide_node()
    ingredients.provide_runtime(node)
    print("pruning the runtime, compiling, answering the demo once, taking the snapshot", flush=True)
    shutil.rmtree(WORK, ignore_errors=True)
    WORK.mkdir(parents=True)
    request = demo_request()
    prune(node, WORK / "runtime")
    with ThreadPoolExecutor() as beside:
        module = beside.submit(compressed, (WORK / "runtime" / "pyodide.asm.wasm").read_bytes())
        compile_code(node, WORK)
        replies = take_snapshot(node, WORK, [request, *other_warm_up_requests()])
        print("compressing", flush=True)
        packed = payload(module.result(), WORK)
    worker = program(WORK / "runtime")
    parts = Parts(scripts=page_scripts(), program=worker, payload=packed, request=request, reply=json.loads(replies[0]))
    assemble(parts, TARGET)
    STAMP.write_text(wanted)
    for path in (TARGET / "feedcalc.html", TARGET / "site"):
        print(f"{path.relative_to(ingredients.ROOT)}: {size_of(path) / 1e6:.1f} MB")


def demo_request() -> dict[str, object]:
    """The batch that the page shows before Python is awake."""
    request: dict[str, object] = json.loads(engine.demo_request())
    return request


def other_warm_up_requests() -> list[dict[str, object]]:
    """Requests that wake what the demo leaves asleep: a refusal, chemistry alone."""
    totals = {"potassium": 10, "calcium": 5, "carbon": 10}
    return [
        {"schema": 1, "water": {"amount": "five buckets"}},
        {"schema": 1, "solution": {"totals": totals, "minerals": ["calcite"]}},
    ]


def size_of(path: Path) -> int:
    """Bytes of a file, or of all files in a folder."""
    return (
        path.stat().st_size
        if path.is_file()
        else sum(part.stat().st_size for part in path.rglob("*") if part.is_file())
    )


if __name__ == "__main__":
    try:
        main()
    except (ingredients.IngredientMissing, words.WordsMissing) as missing:
        sys.exit(str(missing))
