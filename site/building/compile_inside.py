"""Compile the standard library and the packages to bytecode; runs in the very Python that will load it.

The page carries none of it: what an answer needs is in the snapshot, which is taken of a Python that loaded this.

Rules: what comes out depends on what goes in alone (no times, sorted names). Bytecode is marked unchecked,
so that no source is looked for. Optimised to level 2: docstrings are of no use on the page. Directories are
those of Pyodide's file system, where bake.mjs mounts the real ones.
"""

from __future__ import annotations

import importlib.util
import zipfile
from importlib._bootstrap_external import _code_to_hash_pyc  # type: ignore[attr-defined]
from pathlib import Path

OPTIMISATION = 2
ZIP_TIME = (1980, 1, 1, 0, 0, 0)


def bytecode(source: bytes, name: str) -> bytes:
    """The contents of a .pyc for ``source``; ``name`` is what tracebacks show."""
    code = compile(source, name, "exec", dont_inherit=True, optimize=OPTIMISATION)
    return bytes(_code_to_hash_pyc(code, importlib.util.source_hash(source), checked=False))


def compile_library(original: str, compiled: str) -> None:
    """Rewrite the standard library's zip with bytecode in place of source, stored rather than deflated."""
    with zipfile.ZipFile(original) as source, zipfile.ZipFile(compiled, "w", zipfile.ZIP_STORED) as target:
        for name in sorted(source.namelist()):
            if name.endswith("/"):
                continue
            content = source.read(name)
            if name.endswith(".py"):
                name, content = name + "c", bytecode(content, name)
            target.writestr(zipfile.ZipInfo(name, ZIP_TIME), content)


def compile_packages(original: str, compiled: str) -> None:
    """Copy a tree of packages with bytecode in place of source."""
    for path in sorted(Path(original).rglob("*")):
        relative = path.relative_to(original)
        if path.is_dir():
            continue
        content = path.read_bytes()
        if path.suffix == ".py":
            content = bytecode(content, str(relative))
            relative = relative.with_suffix(".pyc")
        target = Path(compiled) / relative
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
