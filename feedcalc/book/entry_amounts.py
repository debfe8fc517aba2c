"""The amounts that an entry of a season book brings, in grams.

* What a person typed is read in their locale and with their cups (``customs``).
* A `Batches` says what a batch of liquor gave, so no chemistry is done here. A liquid feed counts as the ash that holds
  the same lime value.
* A batch that is asked for the first time takes a while, so the work is done in slices (`Steps`).
"""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Protocol

from feedcalc import published
from feedcalc.book.amounts import (
    NOTHING,
    OWN_FIGURES,
    NutrientAmounts,
    SampledAsh,
    compost_amounts,
    dry_ash_amounts,
    lime_amounts,
    sampled_ash,
    sludge_amounts,
    total_of,
)
from feedcalc.book.entries import EntryRecord
from feedcalc.book.records import COMPOST, DRY, LIME, LIQUID, SLUDGE
from feedcalc.contract.choice_words import choice_meant, choices_listed
from feedcalc.contract.quantities import Quantity, read_quantity, read_rate
from feedcalc.contract.units import CUSTOMS
from feedcalc.frozen import frozen
from feedcalc.garden.ash import ash_of
from feedcalc.uncertainty.estimates import Estimate, Steps
from feedcalc.words.errors import InputError
from feedcalc.words.messages import said

# The range of a single amount, in g or L.
LEAST_AMOUNT, MOST_AMOUNT = 1e-3, 1e9


class Batches(Protocol):
    """What batches of liquor gave, by their requests (JSON text), each computed in slices."""

    def litre_of_feed(self, request: str, dilution: str) -> Steps[NutrientAmounts]:
        """Return a litre of feed as poured; ``dilution`` (``1:3``) replaces that of the request unless it is empty."""

    def whole_sludge(self, request: str) -> Steps[NutrientAmounts]:
        """Return all the sludge that stays in the bucket."""

    def ash_of_batch(self, request: str) -> Steps[SampledAsh]:
        """Return the ash that a batch was made of, with all that was measured of it."""

    def kept_ash(self, evidence: str) -> Steps[SampledAsh]:
        """Return a kept ash by the evidence of its record (JSON text)."""


@frozen
class EntryAmounts:
    """Computes the amounts of entries; ``ashes`` are the ash records of the book by id, ``area`` the m2 covered."""

    batches: Batches
    ashes: Mapping[str, EntryRecord]
    locale: str
    customs: str
    area: float | None = None

    def of(self, record: EntryRecord, what: str) -> Steps[tuple[NutrientAmounts, Estimate]]:
        """Return the amounts of an entry and its dry ash in solid grains, in grams; raises `InputError`."""
        if what == LIQUID:
            return (yield from self._liquid(record)), NOTHING
        if what == DRY:
            quantity = self._amount(record, "amount")
            amounts = dry_ash_amounts((yield from self._ash(record)), quantity)
            return amounts, amounts.ash
        if what == SLUDGE:
            amounts = yield from self._sludge(record)
            return amounts, amounts.ash
        if what == COMPOST:
            return (yield from self._compost(record))
        if what == LIME:
            return self._lime(record), NOTHING
        return self._own_figures(record, required=True), NOTHING

    def _liquid(self, record: EntryRecord) -> Steps[NutrientAmounts]:
        litres = self._read(record, "amount", "volume", minimum=0.001, maximum=1e7).value
        request = batch_of(record)
        if request:
            litre = yield from self.batches.litre_of_feed(request, record.text("dilution"))
            return litre.scaled(litres)
        if any(record.text(name) for name in OWN_FIGURES):
            return self._own_figures(record, required=True)
        raise InputError(
            "request",
            record.text("batch"),
            said("Say which batch this feed was made from."),
            said("the batch it came from, or its own figures of potassium and lime value"),
        )

    def _sludge(self, record: EntryRecord) -> Steps[NutrientAmounts]:
        amount, request = record.text("amount"), batch_of(record)
        if amount.endswith("%"):
            if not request:
                accepted = said("a volume or a weight, or the batch that the share is of")
                raise InputError("amount", amount, said("Say what this is a share of."), accepted)
            share = self._read(record, "amount", "fraction", minimum=0.001, maximum=1)
            return (yield from self.batches.whole_sludge(request)).scaled(share.value)
        ash = yield from self.batches.ash_of_batch(request) if request else self._ash(record)
        return sludge_amounts(ash, self._amount(record, "amount"))

    def _compost(self, record: EntryRecord) -> Steps[tuple[NutrientAmounts, Estimate]]:
        """Return compost by published means, each replaced by the grower's own figure if there is one, and its ash."""
        usual = compost_amounts(self._amount(record, "amount"))
        own = self._own_figures(record, required=False)
        compost = NutrientAmounts(**{name: getattr(own if record.text(name) else usual, name) for name in OWN_FIGURES})
        if not record.text("ash_amount"):
            return compost, NOTHING
        quantity = self._amount(record, "ash_amount")
        layered = dry_ash_amounts((yield from self._ash(record)), quantity)
        return total_of([compost, layered]), layered.ash

    def _lime(self, record: EntryRecord) -> NutrientAmounts:
        if record.text("lime_value"):
            return self._own_figures(record, required=True)
        grams = self._read(record, "amount", "mass", minimum=0.001, maximum=1e9).value
        names = [row["id"] for row in published.table("limes")]
        return lime_amounts(one_of(record, "lime", names) or names[0], grams)

    def _own_figures(self, record: EntryRecord, required: bool) -> NutrientAmounts:
        """Return the amounts by the grower's own figures, per kg if the amount is a weight, per L if it is a volume."""
        given = [name for name in OWN_FIGURES if record.text(name)]
        if required and not given:
            accepted = said("potassium, calcium or lime value, such as 50 g/kg or 2 g/L")
            raise InputError("lime_value", "", said("Say what this contains."), accepted)
        quantity = self._amount(record, "amount")
        kind, most = ("mass_fraction", 1800.0) if quantity.kind == "mass" else ("concentration", 1e6)
        amounts = {}
        for name in given:
            thousandths = self._read(record, name, kind, minimum=0.0, maximum=most).value
            amounts[name] = Estimate.exactly(thousandths / 1000 * quantity.value)
        return NutrientAmounts(**amounts)

    def _ash(self, record: EntryRecord) -> Steps[SampledAsh]:
        named = record.text("ash")
        if named and named not in self.ashes:
            raise InputError(
                "ash", named, said("There is no such ash in the book."), said("the id of an ash in the book")
            )
        evidence = self.ashes[named].text("evidence") if named else ""
        if not evidence:
            return sampled_ash(ash_of("mixed", "fresh"))
        return (yield from self.batches.kept_ash(evidence))

    def _amount(self, record: EntryRecord, name: str) -> Quantity:
        """Return a weight in g or a volume in L that a garden could hold."""
        rate = read_rate(record.text(name), name, self.locale, self.customs)
        if rate and self.area is None:
            problem = said("Without an area this does not say how much a square metre got.")
            raise InputError(name, record.text(name), problem, said("an amount such as 200 g or 2 cups"))
        quantity = self._read(record, name, "mass_or_volume") if not rate else _over(*rate, self.area or 0.0)
        if not LEAST_AMOUNT <= quantity.value <= MOST_AMOUNT:
            problem, accepted = said("This is out of range."), said("an amount such as 200 g or 2 cups")
            raise InputError(name, record.text(name), problem, accepted)
        return quantity

    def _read(self, record: EntryRecord, name: str, kind: str, **bounds: float) -> Quantity:
        return read_quantity(record.text(name), kind, name, locale=self.locale, customs=self.customs, **bounds)


def _over(amount: Quantity, square_metres: float, area: float) -> Quantity:
    """Return the whole amount on an area in m2 of what so many square metres get."""
    return replace(amount, value=amount.value / square_metres * area)


def customs_bear_on(amount: str, locale: str) -> bool:
    """Return whether an amount depends on the customs it is read in, as a cup does.

    >>> customs_bear_on("1 cup", "en-GB"), customs_bear_on("1 us_cup", "en-GB"), customs_bear_on("9 L", "en-GB")
    (True, False, False)
    """

    def read(customs: str) -> float | None:
        try:
            rate = read_rate(amount, "amount", locale, customs)
            return (rate[0] if rate else read_quantity(amount, "mass_or_volume", "amount", locale, customs)).value
        except InputError:
            return None

    return len({read(customs) for customs in CUSTOMS}) > 1


def batch_of(record: EntryRecord) -> str:
    """Return the request of an entry's batch, its own or that in a link in ``batch``; empty if there is none.

    >>> batch_of(EntryRecord("a", "entry", {"batch": "https://example.org/ash/#batch=eyJzY2hlbWEiOjF9"}))
    '{"schema":1}'
    """
    if record.text("request"):
        return record.text("request")
    _, mark, carried = record.text("batch").partition("#batch=")
    if not mark:
        return ""
    try:
        return base64.urlsafe_b64decode(carried + "=" * (-len(carried) % 4)).decode("utf-8")
    except ValueError:
        problem = said("This link holds no batch.")
        raise InputError("batch", record.text("batch")[:60], problem, said("a link from a batch's label")) from None


def one_of(record: EntryRecord, name: str, choices: Sequence[str]) -> str:
    """Return the choice that a field means in any language, empty if there is none; raise `InputError` for others."""
    given = record.text(name).strip()
    meant = choice_meant(name, given, choices)
    if given and not meant:
        accepted = said("one of {choices}", choices=choices_listed(choices))
        raise InputError(name, record.text(name), said("This is not one of the choices."), accepted)
    return meant
