"""Types, style and direction of imports of the page's scripts: ``python -m building.check_scripts`` in the folder site.

Rules: everything is checked, whichever check fails. The compiler and the linter are installed at the first run, as
package-lock.json says; a plain build does without them.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import PurePosixPath

from building.bundle import EARLY, EARLY_NAME, ENTRY, PAGE_NAME, ROOMS, bundled
from building.ingredients import NODE_MODULES, SITE, IngredientMissing, provide_node, provide_runtime, run_npm

# A module may import from its own room and from those before it, but the two screens do not know each other.
MAY_IMPORT = {
    "common": {"common"},
    "engine": {"common", "engine"},
    "store": {"common", "engine", "store"},
    "bench": {"common", "engine", "store", "bench"},
    "book": {"common", "engine", "store", "book"},
    "offline": {"common", "offline"},
    "": set(ROOMS),
}
TOOLS = {"types": ["typescript/bin/tsc", "-p", "."], "style": ["eslint/bin/eslint.js", "--max-warnings=0", "."]}


def main() -> None:
    """Run every check; exit with the names of those that fail."""
    node = provide_node()
    provide_runtime(node)
    if not all((NODE_MODULES / command[0]).exists() for command in TOOLS.values()):
        done = run_npm(node, "install", "--include=dev", "--no-save", "--no-progress")
        if done.returncode:
            raise IngredientMissing(f"npm could not bring the checks.\n{done.stdout}{done.stderr}"[-2000:])
    failed = []
    for title, (program, *options) in TOOLS.items():
        if subprocess.run([node, NODE_MODULES / program, *options], cwd=SITE, check=False).returncode:
            failed.append(title)
    if faults := list(faults_in_imports(bundled(ENTRY, PAGE_NAME).imports | bundled(EARLY, EARLY_NAME).imports)):
        print(*faults, sep="\n")
        failed.append("imports")
    if failed:
        sys.exit(f"feedcalc: the page's scripts: not passed: {', '.join(failed)}.")


def faults_in_imports(imports: dict[str, list[str]]) -> Iterator[str]:
    """Yield a line for each import against the direction, and one where there is a cycle.

    >>> list(faults_in_imports({"common/a.js": ["store/b.js"], "store/b.js": []}))
    ['common/a.js imports store/b.js']
    >>> list(faults_in_imports({"common/a.js": ["common/b.js"], "common/b.js": ["common/a.js"]}))
    ['a cycle: common/a.js, common/b.js']
    """
    own = {
        path: [each for each in found if not each.startswith("node_modules/")]
        for path, found in imports.items()
        if not path.startswith("node_modules/")
    }
    for path, found in own.items():
        for each in found:
            if _room(each) not in MAY_IMPORT[_room(path)]:
                yield f"{path} imports {each}"
    left = dict(own)
    while ready := [path for path, found in left.items() if not any(each in left for each in found)]:
        for path in ready:
            del left[path]
    if left:
        yield f"a cycle: {', '.join(sorted(left))}"


def _room(path: str) -> str:
    return PurePosixPath(path).parts[0] if "/" in path else ""


if __name__ == "__main__":
    try:
        main()
    except IngredientMissing as missing:
        sys.exit(str(missing))
