"""One equilibrium: ours, the reference library's own call on the same waters, and another pure-Python
library on one it can do.

Ours is timed with its answer read (pH, what is dissolved, conductivity, alkalinity), the reference with its
selected output read; both from text or dictionaries made beforehand, both on the constants of the public
database.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

from feedcalc.chemistry import Equilibrium, equilibrate
from tests.chemistry.reference import engine, input_text
from tests.chemistry.test_reference import Case, ash_grid

ROUNDS = 7


def median_ms(call: Callable[[], object], rounds: int = ROUNDS) -> float:
    """The median of some timed calls, after one that is not timed."""
    call()
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return 1000.0 * statistics.median(times)


def read(result: Equilibrium) -> tuple[float, ...]:
    """What a caller takes from an answer."""
    return result.ph, result.conductivity, result.alkalinity, *result.dissolved.values()


def chemistry() -> dict[str, float | str | None]:
    """Median milliseconds over ash-like waters, cold and from a neighbour, and ratios to the reference."""
    cases = [case for case in ash_grid() if case.constants == "database"]
    ip = engine("database").ip
    ours, solving, warm, reference, reference_bare = [], [], [], [], []
    for case in cases:
        text = input_text(case.totals, case.celsius + 273.15, case.minerals, case.carbon_dioxide_atm)
        neighbour = solve(case, 1.02)
        ours.append(median_ms(lambda case=case: read(solve(case))))
        solving.append(median_ms(lambda case=case: solve(case)))
        warm.append(median_ms(lambda case=case, neighbour=neighbour: solve(case, nearby=neighbour)))
        reference.append(median_ms(lambda text=text: (ip.run_string(text), ip.get_selected_output_array())))
        reference_bare.append(median_ms(lambda text=text: ip.run_string(text)))
    figures: dict[str, float | str | None] = {
        "ours_ms": statistics.median(ours),
        "reference_ms": statistics.median(reference),
        "ratio": statistics.median(ours) / statistics.median(reference),
        "ours_solving_ms": statistics.median(solving),
        "ours_from_neighbour_ms": statistics.median(warm),
        "reference_bare_call_ms": statistics.median(reference_bare),
        "ratio_from_neighbour": statistics.median(warm) / statistics.median(reference_bare),
        "ours_balance_tolerance": 1e-10,
        "reference_convergence_tolerance": 1e-8,
        "cases": float(len(cases)),
    }
    figures.update(against_chempy())
    return figures


def solve(case: Case, factor: float = 1.0, nearby: Equilibrium | None = None) -> Equilibrium:
    """One case, its totals scaled."""
    return equilibrate(
        {name: amount * factor for name, amount in case.totals.items()},
        case.celsius + 273.15,
        case.minerals,
        case.carbon_dioxide_atm,
        nearby,
        constants=case.constants,
    )


def against_chempy() -> dict[str, float | str | None]:
    """Ammonia in water, which chempy can do without activity coefficients; None where chempy is not
    installed.
    """
    try:
        from chempy.equilibria import EqSystem
    except ImportError:
        return {"chempy_ms": None, "ours_on_chempys_case_ms": None, "chempy_ratio": None}
    from collections import defaultdict

    system = EqSystem.from_string("H2O = H+ + OH-; 1e-14/55.4\nNH4+ = H+ + NH3; 10**-9.24")
    start = defaultdict(float, {"H2O": 55.4, "NH3": 0.1})
    theirs = median_ms(lambda: system.root(start))
    mine = median_ms(lambda: equilibrate({"ammonia": 0.1}, 298.15))
    return {"chempy_ms": theirs, "ours_on_chempys_case_ms": mine, "chempy_ratio": mine / theirs}
