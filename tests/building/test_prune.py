"""The exports that are taken out of the runtime: what stays, and what is refused."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from building import ingredients, prune

LOADER = """async function _createPyodideModule(){var wasmTable;var _used,_unused,__kept,memory,wasmTable,wasmMemory;\
function assignWasmExports(wasmExports){_used=Module["_used"]=wasmExports["used"];\
_unused=Module["_unused"]=wasmExports["unused"];__kept=Module["__kept"]=wasmExports["_kept"].value>>>0;\
memory=Module["memory"]=wasmMemory=wasmExports["memory"]}var wasmImports={};_used();\
getCFunc=name=>Module["_"+name];ccall("_kept");draw=name=>Module["_"+name]}"""
EXPORTS = [(b"used", 0, 7), (b"unused", 0, 300), (b"_kept", 3, 1), (b"memory", 2, 0), (b"unused_value", 3, 2)]


def module(*exports: tuple[bytes, int, int]) -> bytes:
    """A WebAssembly module with an empty section, these exports and a custom section."""
    parts = [bytes([len(name)]) + name + bytes([kind]) + prune._leb128(index) for name, kind, index in exports]
    content = bytes([len(parts)]) + b"".join(parts)
    return b"\0asm\1\0\0\0" + b"\1\1\0" + bytes([7, len(content)]) + content + b"\0\2\1x"


def test_only_functions_and_values_that_no_word_names_leave_the_module() -> None:
    words = prune.words_of('_used(); ccall("_kept")')
    assert prune.with_exports(module(*EXPORTS), words) == module(EXPORTS[0], *EXPORTS[2:4])


def test_what_leaves_the_module_leaves_the_loader() -> None:
    words = prune.words_of(prune._without_assignments(LOADER))
    pruned = prune.pruned_loader(LOADER, words | {"memory"})
    assert re.findall(r'wasmExports\["(\w+)"\]', pruned) == ["used", "_kept", "memory"]
    assert "var _used,__kept,memory,wasmTable,wasmMemory;function assignWasmExports" in pruned
    assert "unused" not in pruned


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("function assignWasmExports", "function receiveExports"),
        ('Module["_unused"]=wasmExports', 'Module["_unused"]=other'),
        ("_used();", "_used();Module[name]();"),
        ("_used();", "_used();wasmExports[name]();"),
        ("_used();", 'Module["_"+name]();'),
    ],
)
def test_a_loader_that_looks_different_is_refused(old: str, new: str) -> None:
    other = LOADER.replace(old, new)
    assert other != LOADER
    with pytest.raises(ingredients.IngredientMissing, match="this release of the runtime is not the one we know"):
        prune.pruned_loader(other, prune.words_of(prune._without_assignments(other)))


def test_without_the_program_that_removes_functions_the_build_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(prune, "NODE_MODULES", tmp_path)
    with pytest.raises(ingredients.IngredientMissing, match="unused functions could not be removed"):
        prune._remove_unreachable(ingredients.provide_node(), tmp_path / "in.wasm", tmp_path / "out.wasm")


def test_every_export_that_the_known_loader_computes_or_converts_stays() -> None:
    loader = (prune.RUNTIME / "pyodide.asm.mjs").read_text(encoding="utf-8")
    rest = prune._without_assignments(loader)
    pruned = prune.pruned_loader(loader, prune.words_of(rest, *prune._other_texts()))
    assigned = set(re.findall(r'=wasmExports\["(\w+)"\]', prune.ASSIGNMENTS.search(pruned)["assigned"]))  # type: ignore[index]
    everything = set(re.findall(r'=wasmExports\["(\w+)"\]', prune.ASSIGNMENTS.search(loader)["assigned"]))  # type: ignore[index]
    converted = set(re.findall(r'wasmExports\["(\w+)"\]', rest))
    called = set(re.findall(r'\bc(?:call|wrap)\("(\w+)"', rest))
    assert converted & everything <= assigned
    assert called & everything <= assigned
    assert {"_PyRuntime", "_PyEM_EMSCRIPTEN_TRAMPOLINE_OFFSET", "emscripten_stack_get_current"} <= assigned
    assert len(assigned) < len(everything) / 5
