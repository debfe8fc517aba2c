"""Beds, entries and days for tests of records, and batches with fixed amounts for tests of totals."""

from __future__ import annotations

import json
from dataclasses import dataclass

from feedcalc.book.amounts import NutrientAmounts, SampledAsh, sampled_ash
from feedcalc.book.records import Record, new_record, write_fields
from feedcalc.garden.ash import ash_of
from feedcalc.uncertainty.estimates import Steps


@dataclass(frozen=True)
class FixedBatches:
    """Batches with fixed amounts: a litre of undiluted feed, and all the sludge."""

    litre: NutrientAmounts
    sludge: NutrientAmounts

    def litre_of_feed(self, request: str, dilution: str) -> Steps[NutrientAmounts]:
        yield 1, 1
        parts = float(dilution.split(":")[1]) if dilution else 0.0
        return self.litre.scaled(1 / (1 + parts))

    def ash_of_batch(self, request: str) -> Steps[SampledAsh]:
        yield 1, 1
        return sampled_ash(ash_of("mixed", "fresh"))

    def kept_ash(self, evidence: str) -> Steps[SampledAsh]:
        yield 1, 1
        ash = json.loads(evidence)["ash"]
        return sampled_ash(ash_of(ash["kind"], "fresh", ash.get("analysis"), ash.get("density")))

    def whole_sludge(self, request: str) -> Steps[NutrientAmounts]:
        yield 1, 1
        return self.sludge


def day(number: int) -> str:
    return f"2026-05-{number:02d}T09:00:00.000Z"


def bed(identity: str = "south", name: str = "South", at: str = day(1), by: str = "phone", **fields: str) -> Record:
    return write_fields(new_record(identity, "bed"), {"name": name, **fields}, at, by)


def entry(identity: str = "e1", **fields: str) -> Record:
    usual = {"bed": "south", "date": "2026-05-01", "what": "dry ash", "amount": "1 cup"}
    return write_fields(new_record(identity, "entry"), usual | fields, day(1), "phone")
