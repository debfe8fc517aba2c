"""A planned entry of a season book (``what_if``): the same bed with one entry more, and whether it may have it.

* The plan is judged as what it is: a liquid feed by its own batch, lime by its lime value. Soil, plant and place are
  those of the bed, not of the batch's request.
* Nothing is written. An entry with the id of an existing one replaces it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from datetime import date
from typing import Any

from feedcalc.book.batches import AnsweredBatches
from feedcalc.book.entries import Bed, Book, Entry, EntryRecord
from feedcalc.book.entry_amounts import batch_of
from feedcalc.book.figures import area_figures, ash_figure, cap_figure, gram_figures, if_known, past_year_figures
from feedcalc.book.metals import metal_reasons
from feedcalc.book.reader import Reader
from feedcalc.book.records import LIME, LIQUID
from feedcalc.book.totals import BedTotals, heaviest_day, totals_on, with_entry
from feedcalc.book.verdict import circumstances_of_bed, reasons_with, suitability_reasons, verdict_of
from feedcalc.contract.figures import figure
from feedcalc.contract.quantities import read_quantity
from feedcalc.contract.request import Request
from feedcalc.frozen import frozen
from feedcalc.garden.circumstances import circumstances_of
from feedcalc.garden.suitability import Circumstances, Verdict
from feedcalc.liquor.verdict import feed_facts
from feedcalc.uncertainty.estimates import Estimate, Steps
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.messages import said

SEASONS = ("sowing", "growing", "resting")
WHAT_IF_ID = "what-if"
# The circumstances that come from the bed rather than from the request of a batch.
_OF_THE_BED = ("soil_ph", "tested_with", "tested_years_ago", "texture", "plant", "place", "season", "locale", "own")


@frozen
class WhatIf:
    """A book on a day in which an entry is planned; ``ash_lime`` is the lime value in g/g of the available ash."""

    request: Request
    batches: AnsweredBatches
    reader: Reader
    records: Sequence[EntryRecord]
    book: Book
    today: date
    ash_lime: Estimate

    def values(self, fields: Mapping[str, str], chosen: str) -> Steps[dict[str, Any]]:
        """Return ``values.season.what_if`` for the fields of a plan, on the bed ``chosen`` if they name none.

        Raises `InputErrors` for a plan that cannot be read.
        """
        texts = {"date": self.today.isoformat(), "bed": chosen} | {
            name: text for name, text in fields.items() if text.strip()
        }
        bed = next((bed for bed in self.book.beds if bed.id == texts["bed"]), None)
        if bed is None:
            problem, accepted = said("There is no such bed in the book."), said("a bed's id")
            raise InputErrors([InputError("what_if.bed", texts["bed"], problem, accepted)])
        existing = next((record for record in self.records if record.id == texts.get("id")), None)
        if existing and existing.text("amount") == texts.get("amount"):
            # An amount that stays the same keeps the customs it was written in.
            texts = {"customs": existing.text("customs")} | texts
        record = EntryRecord(texts.get("id") or WHAT_IF_ID, "entry", texts)
        entry = yield from self._entry(record, bed)
        without = replace(bed, entries=tuple(each for each in bed.entries if each.id != entry.id))
        planned = with_entry(without, entry)
        day = heaviest_day(planned, entry)
        before, after = (totals_on(each, day, self.ash_lime) for each in (without, planned))
        case = yield from self._circumstances(record, bed, entry)
        reasons = reasons_with(without, entry, before=before, after=after, request=self.request)
        reasons += metal_reasons(self.records, self.book, planned, entry, day, self.request)
        return _values(bed, entry, after, verdict_of(suitability_reasons(case, entry), reasons))

    def _entry(self, record: EntryRecord, bed: Bed) -> Steps[Entry]:
        ashes = {each.id: each for each in self.records if each.kind == "ash" and not each.is_removed}
        try:
            return (yield from self.reader.entry_in_steps(record, bed, ashes))  # a plan may be on a later day
        except InputErrors as errors:
            raise InputErrors([error_under("what_if", error) for error in errors.errors]) from None
        except InputError as error:
            raise InputErrors([error_under("what_if", error)]) from None

    def _circumstances(self, record: EntryRecord, bed: Bed, entry: Entry) -> Steps[Circumstances]:
        """Return the circumstances of the bed, with the feed of its batch for a liquid feed."""
        case = circumstances_of_bed(self.request, bed, entry.day)
        if record.texts.get("season", "") in SEASONS:
            case = case._replace(season=record.texts["season"])
        batch = batch_of(record)
        if entry.what != LIQUID or not batch:
            return case
        answer = yield from self.batches.answer(batch, record.text("dilution"))
        of_bed = {name: getattr(case, name) for name in _OF_THE_BED if name != "season" or case.season}
        return circumstances_of(answer.request, feed_facts(answer))._replace(**of_bed)


def _values(bed: Bed, entry: Entry, after: BedTotals, verdict: Verdict) -> dict[str, Any]:
    return {
        "bed": bed.id,
        "date": entry.day.isoformat(),
        "what": entry.what,
        "amount": entry.amount,
        "in_all": gram_figures(entry.amounts),
        "per_square_metre": if_known(entry.per_square_metre(), area_figures),
        "ash_this_year": ash_figure(after),
        "cap": cap_figure(after),
        **past_year_figures(after),
        "shift": figure(after.ph_shift, "1"),
        "soil_ph_after": if_known(after.known_ph, lambda ph: figure(ph, "1")),
        "verdict": verdict.word,
        "reasons": [asdict(reason) for reason in verdict.reasons],
    }


def amount_read_as(fields: Mapping[str, str], request: Request) -> dict[str, str]:
    """Return how the amount of a plan was read, if it could have been read in another way."""
    kind = {LIQUID: "volume", LIME: "mass"}.get(fields.get("what", "").strip(), "mass_or_volume")
    amount = fields.get("amount", "")
    try:
        echo = read_quantity(amount, kind, "amount", locale=request.locale, customs=request.customs).echo
    except InputError:
        return {}  # a share in %, which can be read in one way only
    return {"what_if.amount": echo} if echo else {}


def error_under(place: str, error: InputError) -> InputError:
    """Return the error with ``place`` before its field."""
    return InputError(f"{place}.{error.field}", error.given, error.problem, error.accepted)
