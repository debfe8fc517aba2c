"""What people get with feedcalc that others wrote: ``python -m building.parts_list [FILE]`` in the folder site.

Rules: the list is a CycloneDX 1.6 document in JSON (ECMA-424), made from the lock files and from what the installed
packages say of themselves; nothing is asked of a network. It names what the page carries and what the command line
installs, each with version, licence, and the hashes of its release files in the lock. No times and no random ids: the
same locks give the same bytes.
"""

from __future__ import annotations

import base64
import json
import re
import sys
from collections.abc import Iterable, Iterator
from importlib import metadata
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from building.ingredients import NODE_MODULES, PACKAGES, ROOT, SITE

LOCKED = re.compile(r"^([a-z0-9][a-z0-9._-]*)==(\S+).*?(?=^\S|\Z)", re.MULTILINE | re.DOTALL)
SHA256 = re.compile(r"--hash=sha256:([0-9a-f]{64})")
# Packages of npm whose files are built into the page; what else its lock names is used by none of them there.
OF_NPM_IN_THE_PAGE = ("ical.js", "pyodide", "zstddec")
# Packages that name their licence loosely ("BSD"), and which it is by the text that comes with them (read, 2026).
READ_IN_ITS_TEXT = dict.fromkeys(("jinja2", "segno"), "BSD-3-Clause") | dict.fromkeys(
    ("markdown-it-py", "mdurl"), "MIT"
)
PAGE, COMMAND_LINE = "page", "command line"


def parts_list() -> dict[str, Any]:
    """The document, with its components in the order of their references."""
    places: dict[str, set[str]] = {}
    for name in needed_by("feedcalc"):
        places.setdefault(name, set()).add(COMMAND_LINE)
    for distribution in PACKAGES:
        if distribution != "feedcalc":
            places.setdefault(canonicalize_name(distribution), set()).add(PAGE)
    lock = locked(ROOT / "requirements.lock")
    found = [_of_pypi(name, *lock[name], places[name]) for name in sorted(places)]
    found += [_of_npm(name) for name in OF_NPM_IN_THE_PAGE]
    whole = _component("application", "feedcalc", metadata.version("feedcalc"), "pypi", "MIT")
    direct = {canonicalize_name(name) for name in _requires("feedcalc")}
    wanted = [part["bom-ref"] for part in found if part["name"] in direct or part["purl"].startswith("pkg:npm/")]
    return {
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": {"component": whole},
        "components": found,
        "dependencies": [{"ref": whole["bom-ref"], "dependsOn": sorted(wanted)}, *_dependencies(found)],
    }


def locked(lock: Path) -> dict[str, tuple[str, list[str]]]:
    """Version and SHA-256 of every release file, of each package in a lock file of pip."""
    text = lock.read_text(encoding="utf-8")
    return {found[1]: (found[2], sorted(SHA256.findall(found[0]))) for found in LOCKED.finditer(text)}


def needed_by(distribution: str) -> set[str]:
    """Names of all packages that come with ``distribution``, without itself."""
    found: set[str] = set()
    left = list(_requires(distribution))
    while left:
        name = canonicalize_name(left.pop())
        if name not in found:
            found.add(name)
            left += _requires(name)
    return found


def _requires(distribution: str) -> Iterator[str]:
    """Names a package asks for here, without extras."""
    for text in metadata.requires(distribution) or ():
        wanted = Requirement(text)
        if wanted.marker is None or wanted.marker.evaluate({"extra": ""}):
            yield wanted.name


def _dependencies(found: list[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    references = {part["name"]: part["bom-ref"] for part in found if part["purl"].startswith("pkg:pypi/")}
    for part in found:
        names = map(canonicalize_name, _requires(part["name"])) if part["name"] in references else ()
        yield {"ref": part["bom-ref"], "dependsOn": sorted({references[name] for name in names if name in references})}


def _of_pypi(name: str, version: str, hashes: list[str], places: Iterable[str]) -> dict[str, Any]:
    part = _component("library", name, version, "pypi", READ_IN_ITS_TEXT.get(name) or licence_told_by(name))
    part["hashes"] = [{"alg": "SHA-256", "content": content} for content in hashes]
    part["properties"] = [{"name": "feedcalc:place", "value": place} for place in sorted(places)]
    return part


def _of_npm(name: str) -> dict[str, Any]:
    entry = json.loads((SITE / "package-lock.json").read_text(encoding="utf-8"))["packages"][f"node_modules/{name}"]
    part = _component("library", name, entry["version"], "npm", entry["license"])
    digest = base64.b64decode(entry["integrity"].removeprefix("sha512-")).hex()
    part["hashes"] = [{"alg": "SHA-512", "content": digest}]
    part["properties"] = [{"name": "feedcalc:place", "value": PAGE}]
    if name == "pyodide":
        told = json.loads((NODE_MODULES / "pyodide" / "pyodide-lock.json").read_text(encoding="utf-8"))["info"]
        part["components"] = [_component("platform", "cpython", told["python"], "generic", "PSF-2.0")]
    return part


def _component(kind: str, name: str, version: str, registry: str, licence: str) -> dict[str, Any]:
    purl = f"pkg:{registry}/{name}@{version}"
    return {
        "type": kind,
        "bom-ref": purl,
        "name": name,
        "version": version,
        "licenses": [{"expression": licence}],
        "purl": purl,
    }


def licence_told_by(distribution: str) -> str:
    """What an installed package says its licence is, as an expression of SPDX or in its own words."""
    told = metadata.metadata(distribution)
    return next((told[name].strip() for name in ("License-Expression", "License") if name in told), "")


if __name__ == "__main__":
    if not (NODE_MODULES / "pyodide").is_dir():
        sys.exit("feedcalc: the runtime of the page is not here yet. Run: python3 build.py")
    text = json.dumps(parts_list(), indent=1) + "\n"
    if len(sys.argv) == 2:
        Path(sys.argv[1]).write_text(text, encoding="utf-8")
    else:
        sys.stdout.write(text)
