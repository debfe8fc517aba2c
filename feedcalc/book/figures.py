"""The figures of a bed in ``values.season``: names, units and texts of the contract for what the other modules compute.

No totals or limits are computed here; they come from `feedcalc.book.totals` and `feedcalc.book.verdict`. The keys are
in the order of the reply.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from datetime import date
from typing import Any

from feedcalc.book.amounts import QUANTITIES, NutrientAmounts
from feedcalc.book.entries import Bed, Book, Entry, RejectedRecord
from feedcalc.book.totals import (
    BedTotals,
    TimelineStep,
    lime_need,
    next_ash_day,
    next_feed_day,
    past_year_total,
    retest_day,
    totals_on,
)
from feedcalc.book.verdict import circumstances_of_bed, need_is_met, reasons_now, verdict_of
from feedcalc.contract.figures import Figure, exact_figure, figure
from feedcalc.contract.request import Request
from feedcalc.frozen import frozen
from feedcalc.garden.suitability import HOLD, verdict_for
from feedcalc.uncertainty.estimates import Estimate

_UNITS = dict.fromkeys(QUANTITIES, "g/m2") | {"lime_value": "g CaCO3/m2"}


@frozen
class BedFigures:
    """The figures of a bed on a day; ``ash_lime`` is the lime value in g/g of the available ash."""

    request: Request
    bed: Bed
    book: Book
    today: date
    ash_lime: Estimate
    steps: tuple[TimelineStep, ...]

    def values(self) -> dict[str, Any]:
        """Return the row of the bed in ``values.season.beds``."""
        bed, today = self.bed, self.today
        totals = totals_on(bed, today, self.ash_lime)
        soil_and_plant = verdict_for(circumstances_of_bed(self.request, bed, today))
        verdict = verdict_of(soil_and_plant.reasons, reasons_now(bed, totals, self.request))
        is_barred = soil_and_plant.word == HOLD or need_is_met(totals)
        next_ash = None if is_barred else next_ash_day(bed, today)
        feed = next_feed_day(bed, today)
        room = 0.0 if totals.advice is None or verdict.word == HOLD else totals.advice.ash
        return {
            **self._ground(totals),
            "ash_this_year": ash_figure(totals),
            "cap": cap_figure(totals),
            "cap_source": totals.cap.source,
            **past_year_figures(totals),
            "calendar_year": if_known(totals.calendar_year, area_figures),
            "target_ph": exact_figure(totals.target_ph, "1"),
            "lime_need": if_known(lime_need(bed, totals), lambda lime: figure(lime, "g CaCO3/m2")),
            "shift": figure(totals.ph_shift, "1"),
            "room": exact_figure(room, "g/m2"),
            "room_for_bed": if_known(bed.area, lambda area: exact_figure(room * area, "g")),
            "limited_by": "held back" if totals.advice is None or room == 0 else totals.advice.limited_by,
            "next_earliest": if_known(feed, lambda days: days[0].isoformat()),
            "next_usual": if_known(feed, lambda days: days[1].isoformat()),
            "next_ash": if_known(next_ash, date.isoformat),
            "retest_on": if_known(retest_day(bed, today), date.isoformat),
            "verdict": verdict.word,
            "reasons": [asdict(reason) for reason in verdict.reasons],
            "entries": [self._entry(entry) for entry in bed.entries],
            "set_aside": [rejected_values(rejected) for rejected in bed.rejected],
            "timeline": [
                {
                    "date": step.day.isoformat(),
                    "ash": figure(step.ash, "g/m2"),
                    "lime_value": figure(step.lime, "g CaCO3/m2"),
                    "cap": exact_figure(step.cap, "g/m2"),
                }
                for step in self.steps
            ],
        }

    def _ground(self, totals: BedTotals) -> dict[str, Any]:
        bed = self.bed
        return {
            "id": bed.id,
            "name": bed.name,
            "area": if_known(bed.area, lambda area: exact_figure(area, "m2")),
            "texture": bed.texture,
            "place": bed.place,
            "plant": bed.plant,
            "note": bed.note,
            "soil_ph": if_known(totals.test, lambda test: figure(test.known_ph(), "1")),
            "soil_ph_now": if_known(totals.known_ph, lambda ph: figure(ph, "1")),
            "soil_tested_on": if_known(totals.test, lambda test: test.day.isoformat()),
            "soil_tests": [
                {"id": test.id, "date": test.day.isoformat(), "ph": test.ph, "tested_with": test.tested_with}
                for test in bed.tests
            ],
        }

    def _entry(self, entry: Entry) -> dict[str, Any]:
        return {
            "id": entry.id,
            "date": entry.day.isoformat(),
            "what": entry.what,
            "amount": entry.amount,
            "where": entry.patch,
            "note": entry.note,
            "ash_name": self.book.ashes.get(entry.ash_record, ""),
            "in_all": gram_figures(entry.amounts),
            "per_square_metre": if_known(entry.per_square_metre(), area_figures),
            "running": if_known(past_year_total(self.bed, entry.day), area_figures),
        }


def area_figures(amounts: NutrientAmounts) -> dict[str, Figure]:
    """Return the figures of amounts in g/m2."""
    return {name: figure(getattr(amounts, name), _UNITS[name]) for name in QUANTITIES}


def gram_figures(amounts: NutrientAmounts) -> dict[str, Figure]:
    """Return the figures of amounts in g."""
    return {name: figure(getattr(amounts, name), _UNITS[name].removesuffix("/m2")) for name in QUANTITIES}


def past_year_figures(totals: BedTotals) -> dict[str, Figure] | dict[str, None]:
    """Return the figures of the past twelve months, each None if an area is not known."""
    return area_figures(totals.past_year) if totals.past_year else dict.fromkeys(_UNITS)


def ash_figure(totals: BedTotals) -> Figure | None:
    """Return the figure of the ash of the past twelve months."""
    return figure(totals.past_year.ash, "g/m2") if totals.past_year else None


def cap_figure(totals: BedTotals) -> Figure:
    """Return the figure of the cap; its upper end counts."""
    return figure(Estimate(totals.cap.low, totals.cap.high, totals.cap.high), "g/m2")


def rejected_values(rejected: RejectedRecord) -> dict[str, str]:
    """Return a rejected record with the parts of its error."""
    return {"id": rejected.id, "kind": rejected.kind, **rejected.error.as_dict()}


def if_known(value: Any, shown: Callable[[Any], Any]) -> Any:
    """Return ``shown(value)``, or None if there is no value."""
    return None if value is None else shown(value)
