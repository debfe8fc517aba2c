"""The systems of elements and minerals in which nearly all of the solver's steps are taken.

The page's machine code and the wheel's compiled functions are made of these when they are built.
"""

from __future__ import annotations

from collections.abc import Iterator

from feedcalc.chemistry.arithmetic import amounts_text, newton_text
from feedcalc.chemistry.first_guess import guess_text
from feedcalc.chemistry.system import System, system_of
from feedcalc.liquor.air import AIR_MINERALS
from feedcalc.liquor.dilution import FEED_MINERALS
from feedcalc.liquor.steeping import STEEP_MINERALS

_LIQUOR = ("potassium", "sodium", "chloride", "magnesium", "calcium", "sulfur", "phosphorus", "carbon")
_YOUNG = tuple("amorphous_calcium_phosphate" if name == "hydroxyapatite" else name for name in STEEP_MINERALS)
# Elements, minerals that may form, sets of those that do.
_OFTEN: tuple[tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]], ...] = (
    (_LIQUOR, (), ("",)),
    (tuple(name for name in _LIQUOR if name != "phosphorus"), (), ("",)),
    ((*_LIQUOR, "acetate"), (), ("",)),
    ((*_LIQUOR, "citrate"), (), ("",)),
    (_LIQUOR, AIR_MINERALS, ("", "calcite")),
    (_LIQUOR, FEED_MINERALS, ("", "calcite", "brucite", "calcite brucite")),
    (_LIQUOR, STEEP_MINERALS, ("calcite brucite hydroxyapatite", "calcite portlandite brucite hydroxyapatite")),
    (
        _LIQUOR,
        _YOUNG,
        (
            "calcite brucite",
            "calcite brucite amorphous_calcium_phosphate",
            "calcite portlandite brucite amorphous_calcium_phosphate",
        ),
    ),
)


def texts_often_needed() -> Iterator[tuple[str, System, tuple[int, ...], str]]:
    """Yield kind, system, active minerals and text of each function that the solver often needs."""
    for system, sets in often_solved():
        yield "guess", system, (), guess_text(system)
        yield "amounts", system, (), amounts_text(system)
        for active in sets:
            text = newton_text(system, active)
            assert text is not None, active
            yield "newton", system, active, text


def often_solved() -> list[tuple[System, list[tuple[int, ...]]]]:
    """Return each system with sets of active minerals, by their indices in it."""
    found = []
    for elements, allowed, sets in _OFTEN:
        system = system_of("chosen", frozenset(elements), frozenset(allowed), is_open=False)
        active = [tuple(sorted(system.minerals.index(name) for name in names.split())) for names in sets]
        found.append((system, active))
    return found
