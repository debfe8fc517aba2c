"""What a wheel brings compiled, for a quick start: the solver's functions, the templates.

    python wheel_parts.py SOURCES TARGET

writes them below TARGET as they stand in the package. It runs beside hatchling, which has none of the package imported.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from feedcalc.chemistry.system import System


def write_parts(target: Path) -> None:
    """Write the modules of the solver's functions and of the templates below a folder."""
    from feedcalc.chemistry.prepared import MODULE, module_text
    from feedcalc.sheets.render import COMPILED, compile_templates

    chemistry = target / "feedcalc" / "chemistry"
    chemistry.mkdir(parents=True)
    (chemistry / f"{MODULE}.py").write_text(module_text(solver_texts()), encoding="utf-8")
    compile_templates(target / "feedcalc" / "sheets" / COMPILED)


def solver_texts() -> Iterator[tuple[str, System, tuple[int, ...], str]]:
    """Kind, system, active minerals and text of each function that is often needed."""
    from feedcalc.chemistry.arithmetic import amounts_text, newton_text
    from feedcalc.chemistry.first_guess import guess_text
    from feedcalc.liquor.often_solved import often_solved

    for system, sets in often_solved():
        yield "guess", system, (), guess_text(system)
        yield "amounts", system, (), amounts_text(system)
        for active in sets:
            text = newton_text(system, active)
            assert text is not None, active
            yield "newton", system, active, text


if __name__ == "__main__":
    sys.path.insert(0, sys.argv[1])
    write_parts(Path(sys.argv[2]))
