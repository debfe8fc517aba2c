"""What a wheel brings compiled, for a quick start: the solver's functions, the templates.

    python wheel_parts.py SOURCES TARGET

writes them into TARGET, at the places they have in the package. It runs in a process of its own: hatchling imports
nothing of the package.
"""

from __future__ import annotations

import sys
from pathlib import Path


def write_parts(target: Path) -> None:
    """Write the modules of the solver's functions and of the templates below a folder."""
    from feedcalc.chemistry.prepared import MODULE, module_text
    from feedcalc.liquor.often_solved import texts_often_needed
    from feedcalc.sheets.render import COMPILED, compile_templates

    chemistry = target / "feedcalc" / "chemistry"
    chemistry.mkdir(parents=True)
    (chemistry / f"{MODULE}.py").write_text(module_text(texts_often_needed()), encoding="utf-8")
    compile_templates(target / "feedcalc" / "sheets" / COMPILED)


if __name__ == "__main__":
    sys.path.insert(0, sys.argv[1])
    write_parts(Path(sys.argv[2]))
