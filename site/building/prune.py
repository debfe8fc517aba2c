"""Take the exports that nothing asks for out of the Python runtime, whose start looks at each of them.

Rules: the release as it comes from npm stays as it is and is checked as it is; the snapshot and the page use the
pruned copy. An export stays if its name, as C or as the loader spells it, is a word of the loader, of the program
that starts it, of our own scripts or of the standard library. The loader computes export names only in the
places counted below, from names that are words of it. Another release that looks different is refused.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import zipfile
from collections.abc import Iterable, Iterator
from pathlib import Path

from building.ingredients import NODE_MODULES, SITE, IngredientMissing

RUNTIME = NODE_MODULES / "pyodide"
UNCHANGED = ("pyodide.mjs", "pyodide-lock.json", "python_stdlib.zip")
OUR_SCRIPTS = ("engine/worker.js", "engine/memory_image.js", "building/bake.mjs")

EXPORT_SECTION, FUNCTION, GLOBAL = 7, 0, 3
# The features that the runtime's code uses; with more, wasm-opt writes types that older browsers refuse.
FEATURES = (
    "mutable-globals", "sign-ext", "nontrapping-float-to-int", "bulk-memory", "bulk-memory-opt", "reference-types",
    "exception-handling", "multivalue",
)  # fmt: skip

WORD = re.compile(r"[\w$]+")
ASSIGNMENTS = re.compile(
    r"var (?P<declared>[\w$,]+);function assignWasmExports\(wasmExports\)\{(?P<assigned>[^{}]+)\}var wasmImports="
)
ASSIGNMENT = re.compile(
    r'(?P<local>[\w$]+)=Module\["(?P<name>[^"]+)"\]=(?:wasm\w+=(?:Module\["wasmTable"\]=)?)?'
    r'wasmExports\["(?P<export>[^"]+)"\](?:\.value>>>0)?'
)
COMPUTED_NAMES = {r'\bModule\[(?!")': 0, r'\bModule\["_"\+': 2, r'\bwasmExports\[(?!")': 0}


def prune(node: Path, target: Path) -> None:
    """Write into the new folder ``target`` what starts Python, without the exports that nothing asks for.

    Raises `IngredientMissing` where the release looks different or wasm-opt is not installed or fails.
    """
    target.mkdir()
    for name in UNCHANGED:
        shutil.copy(RUNTIME / name, target)
    loader = (RUNTIME / "pyodide.asm.mjs").read_text(encoding="utf-8")
    words = words_of(_without_assignments(loader), *_other_texts())
    whole = (RUNTIME / "pyodide.asm.wasm").read_bytes()
    target.joinpath("pyodide.asm.mjs").write_text(pruned_loader(loader, words), encoding="utf-8")
    target.joinpath("exports.wasm").write_bytes(with_exports(whole, words))
    _remove_unreachable(node, target / "exports.wasm", target / "pyodide.asm.wasm")


def words_of(*texts: str) -> frozenset[str]:
    """Return every identifier in ``texts``."""
    return frozenset(word for text in texts for word in WORD.findall(text))


def _other_texts() -> Iterator[str]:
    yield (RUNTIME / "pyodide.mjs").read_text(encoding="utf-8")
    for name in OUR_SCRIPTS:
        yield (SITE / name).read_text(encoding="utf-8")
    with zipfile.ZipFile(RUNTIME / "python_stdlib.zip") as library:
        for name in library.namelist():
            if name.endswith(".py"):
                yield library.read(name).decode("utf-8", "replace")


def _is_asked_for(export: str, words: frozenset[str]) -> bool:
    return export in words or f"_{export}" in words


def _without_assignments(loader: str) -> str:
    """Return the loader without the two lists that name every export, once it is known to look as expected."""
    rest, found = ASSIGNMENTS.subn("var wasmImports=", loader)
    if found != 1:
        raise IngredientMissing("this release of the runtime is not the one we know: its loader assigns otherwise")
    for pattern, expected in COMPUTED_NAMES.items():
        if len(re.findall(pattern, rest)) != expected:
            raise IngredientMissing(f"this release of the runtime is not the one we know: {pattern!r} in its loader")
    return rest


def pruned_loader(loader: str, words: frozenset[str]) -> str:
    """Return the loader's script without the assignments of exports that ``words`` do not hold."""
    declared, assigned = [], []
    found = ASSIGNMENTS.search(loader)
    if not found:
        raise IngredientMissing("this release of the runtime is not the one we know: its loader assigns otherwise")
    for statement in found["assigned"].split(";"):
        parts = ASSIGNMENT.fullmatch(statement)
        if not parts:
            raise IngredientMissing(f"this release of the runtime is not the one we know: {statement[:80]!r}")
        if _is_asked_for(parts["export"], words) or parts["local"] in words:
            assigned.append(statement)
            declared.append(parts["local"])
    declared += [name for name in ("wasmTable", "wasmMemory") if name in found["declared"].split(",")]
    lists = f"var {','.join(declared)};function assignWasmExports(wasmExports){{{';'.join(assigned)}}}var wasmImports="
    return loader[: found.start()] + lists + loader[found.end() :]


def with_exports(wasm: bytes, words: frozenset[str]) -> bytes:
    """Return a WebAssembly module that exports of its functions and globals only those that ``words`` hold."""
    parts = [wasm[:8]]
    at = 8
    while at < len(wasm):
        section, (size, start) = wasm[at], _number(wasm, at + 1)
        content = wasm[start : start + size]
        if section == EXPORT_SECTION:
            content = _export_section(_kept_exports(content, words))
        parts += [bytes([section]), _leb128(len(content)), content]
        at = start + size
    return b"".join(parts)


def _kept_exports(section: bytes, words: frozenset[str]) -> Iterator[bytes]:
    count, at = _number(section, 0)
    for _ in range(count):
        length, start = _number(section, at)
        kind = section[start + length]
        _, end = _number(section, start + length + 1)
        name = section[start : start + length].decode("utf-8")
        if kind not in (FUNCTION, GLOBAL) or _is_asked_for(name, words):
            yield section[at:end]
        at = end


def _export_section(exports: Iterable[bytes]) -> bytes:
    kept = list(exports)
    return _leb128(len(kept)) + b"".join(kept)


def _number(content: bytes, at: int) -> tuple[int, int]:
    """Return the unsigned LEB128 number at a place, and the place after it."""
    value = shift = 0
    while True:
        part = content[at]
        at += 1
        value |= (part & 127) << shift
        shift += 7
        if part < 128:
            return value, at


def _leb128(value: int) -> bytes:
    """Return a number as unsigned LEB128.

    >>> _leb128(624485).hex()
    'e58e26'
    """
    digits = []
    while value > 127:
        digits.append(value & 127 | 128)
        value >>= 7
    return bytes([*digits, value])


def _remove_unreachable(node: Path, source: Path, target: Path) -> None:
    """By wasm-opt, which renumbers functions; the data and the places in the table stay as they are."""
    options = ["--mvp-features", *(f"--enable-{feature}" for feature in FEATURES), "--remove-unused-module-elements"]
    program = NODE_MODULES / "binaryen" / "bin" / "wasm-opt"
    command: list[str | Path] = [node, program, source, *options, "-o", target]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode or not target.is_file():
        raise IngredientMissing(f"the runtime's unused functions could not be removed.\n{done.stderr}"[-3000:])
