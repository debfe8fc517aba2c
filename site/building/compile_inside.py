"""Compile the standard library and the packages to bytecode; runs in the very Python that will load it.

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

# Of the standard library: programs, servers, test and build tools, and what needs a terminal, an operating
# system or a database. Everything else stays, so that rare error paths find their imports.
LEFT_OUT = frozenset({
    "_aix_support", "_android_support", "_apple_support", "_ios_support", "_osx_support", "_pydatetime",
    "_pyio", "_pyrepl", "antigravity", "argparse", "bdb", "cProfile", "cmd", "code", "compileall",
    "configparser", "ctypes", "curses", "dbm", "doctest", "ensurepip", "filecmp", "fileinput", "ftplib",
    "getopt", "getpass", "idlelib", "imaplib", "mailbox", "modulefinder", "multiprocessing", "netrc",
    "nturl2path", "optparse", "pdb", "pickletools", "plistlib", "poplib", "profile", "pstats", "pty",
    "py_compile", "pyclbr", "pydoc", "pydoc_data", "rlcompleter", "sched", "shelve", "smtplib",
    "socketserver", "sqlite3", "ssl", "tabnanny", "tarfile", "test", "this", "timeit", "tkinter",
    "trace", "tracemalloc", "tty", "turtle", "turtledemo", "unittest", "venv", "wave", "webbrowser",
    "wsgiref", "xmlrpc", "zipapp",
})  # fmt: skip
# Of packages that stay: what serves files, programs and networks that the page has none of.
PARTS_LEFT_OUT = (
    "http/cookie", "http/server", "logging/config", "logging/handlers", "urllib/robotparser", "xml/dom", "xml/etree",
)  # fmt: skip
# The page reads and writes UTF-8; the others are those that the library itself asks for. Alphabets of old machines go.
ENCODINGS = frozenset({
    "__init__", "aliases", "ascii", "base64_codec", "charmap", "cp437", "cp1252", "hex_codec", "idna", "latin_1",
    "iso8859_1", "punycode", "raw_unicode_escape", "unicode_escape", "undefined", "utf_16", "utf_16_be", "utf_16_le",
    "utf_32", "utf_32_be", "utf_32_le", "utf_7", "utf_8", "utf_8_sig",
})  # fmt: skip


def bytecode(source: bytes, name: str) -> bytes:
    """The contents of a .pyc for ``source``; ``name`` is what tracebacks show."""
    code = compile(source, name, "exec", dont_inherit=True, optimize=OPTIMISATION)
    return bytes(_code_to_hash_pyc(code, importlib.util.source_hash(source), checked=False))


def is_carried(name: str) -> bool:
    """Whether a file of the standard library goes into the page."""
    folder, _, file = name.rpartition("/")
    if folder == "encodings":
        return file.removesuffix(".py") in ENCODINGS
    return name.split("/")[0].removesuffix(".py") not in LEFT_OUT and not name.startswith(PARTS_LEFT_OUT)


def compile_library(original: str, compiled: str) -> None:
    """Rewrite the standard library's zip with bytecode in place of source, stored rather than deflated."""
    with zipfile.ZipFile(original) as source, zipfile.ZipFile(compiled, "w", zipfile.ZIP_STORED) as target:
        for name in sorted(source.namelist()):
            if name.endswith("/") or not is_carried(name):
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
