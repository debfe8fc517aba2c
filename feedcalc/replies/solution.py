"""The reply on the chemistry of a solution alone."""

from __future__ import annotations

from feedcalc import published
from feedcalc.chemistry import equilibrate
from feedcalc.contract.reply import Reply
from feedcalc.contract.request import Request, SolutionRequest
from feedcalc.liquor.figures import TABLES_BEHIND_CHEMISTRY, values_of_solution
from feedcalc.physics.water import ZERO_CELSIUS_KELVIN
from feedcalc.replies.answered import Answered


def answered(asked: SolutionRequest, request: Request) -> Answered:
    """Return the equilibrium of the solution of a request, which has no sheet; raises `NoSolution`."""
    equilibrium = equilibrate(
        asked.totals, asked.temperature_celsius + ZERO_CELSIUS_KELVIN, asked.minerals, asked.carbon_dioxide_atm
    )
    return Answered(
        Reply(
            values=values_of_solution(equilibrium),
            assumed={"locale": request.locale},
            warnings=equilibrium.notes,
            sources=published.sources_behind(TABLES_BEHIND_CHEMISTRY),
        )
    )
