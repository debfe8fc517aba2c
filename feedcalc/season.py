"""The season book's arithmetic: what each bed has had, all on one scale, and what it may still get.

Rules of this room:

* Every entry becomes grams of K, Ca, Mg, of lime value (CaCO3) and of ash, each with its range. Ash is the common
  scale of the yearly cap: dry ash, sludge and ash in compost count by the ash they came from, a liquid feed by the
  ash that holds as much lime value, lime and bought things not at all (they count as lime).
* The same ash is behind most entries, so what is unsure of one is unsure of all alike: ranges are added end to end.
* What was given on a part of a bed is counted for that part. The figures of a bed are those of its most loaded part;
  entries under the same ``where`` are taken for the same part, which is the careful reading.
* An entry that can't be read is set aside with the reason. It never stops the others and is never dropped unsaid.
* No clock: the day that counts as today is handed in. What a batch gave is asked of a `Batches`, so that no
  chemistry is known here.
"""

from __future__ import annotations

import base64
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import date, datetime, timedelta
from functools import cache, lru_cache
from typing import Protocol, TypeVar

from feedcalc import published
from feedcalc.ash import Ash, AshSample, ash_of
from feedcalc.dry_uses import Advice, Cap, advised_ash, cap_for
from feedcalc.errors import InputError, InputErrors
from feedcalc.estimates import Estimate, estimate_of, stratified_shares
from feedcalc.formulas import calcium_carbonate_grams_per_mol, molar_masses
from feedcalc.liming import TABLE_DEPTH_CM, expected_shift, lime_requirement
from feedcalc.quantities import Quantity, read_quantity
from feedcalc.request import PLACES
from feedcalc.suitability import plants_named, soil_test_error, suitability_limit
from feedcalc.wording import said

LIQUID, DRY, SLUDGE, COMPOST, LIME, OTHER = KINDS = ("liquid feed", "dry ash", "sludge", "compost", "lime", "other")
TEXTURES = ("sand", "loam", "clay", "peat")
TESTERS = ("laboratory", "meter", "kit", "strip")
SAMPLES = 40
SEED = 1
# Of whatever is given at once, in g or L.
LEAST_AMOUNT, MOST_AMOUNT = 1e-3, 1e9
NOTHING = Estimate.exactly(0.0)
Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class Told:
    """A record of the book as far as it bears on the sums: id, kind and the texts in force, by field."""

    id: str
    kind: str
    texts: Mapping[str, str]

    def text(self, name: str) -> str:
        """What stands in a field, without outer spaces; empty where there is nothing."""
        return self.texts.get(name, "").strip()


@dataclass(frozen=True, slots=True)
class Worth:
    """What something brings, in grams: potassium, calcium, magnesium, lime value (CaCO3), the ash it counts for."""

    potassium: Estimate = NOTHING
    calcium: Estimate = NOTHING
    magnesium: Estimate = NOTHING
    lime_value: Estimate = NOTHING
    ash: Estimate = NOTHING

    def scaled(self, factor: float) -> Worth:
        """Everything times a non-negative factor."""
        return self._each(lambda known: known.scaled(factor))

    def times(self, factor: Estimate) -> Worth:
        """Everything times a non-negative factor that is itself known only roughly."""
        return self._each(
            lambda known: Estimate(known.low * factor.low, known.typical * factor.typical, known.high * factor.high)
        )

    def _each(self, change: Callable[[Estimate], Estimate]) -> Worth:
        return Worth(*(change(getattr(self, name)) for name in QUANTITIES))


QUANTITIES = tuple(part.name for part in fields(Worth))


def total_of(worths: Iterable[Worth]) -> Worth:
    """Worths added up, low to low and high to high."""
    worths = tuple(worths)

    def added(name: str) -> Estimate:
        found = [getattr(worth, name) for worth in worths]
        return Estimate(sum(e.low for e in found), sum(e.typical for e in found), sum(e.high for e in found))

    return Worth(*(added(name) for name in QUANTITIES))


def greatest_of(worths: Sequence[Worth]) -> Worth:
    """The greatest low, typical and high of each quantity."""

    def greatest(name: str) -> Estimate:
        found = [getattr(worth, name) for worth in worths]
        return Estimate(max(e.low for e in found), max(e.typical for e in found), max(e.high for e in found))

    return Worth(*(greatest(name) for name in QUANTITIES))


@dataclass(frozen=True, slots=True)
class Ashes:
    """The ash it most likely is, and the ashes it could be: draws of equal weight."""

    typical: AshSample
    others: tuple[AshSample, ...]

    def spread(self, of: Callable[[AshSample], float]) -> Estimate:
        """A figure of the ash with the bounds that hold the middle 90 % of what it could be."""
        typical = of(self.typical)
        return estimate_of([of(sample) for sample in self.others or (self.typical,)], typical)


class Batches(Protocol):
    """What batches of liquor gave, by the request that describes them (JSON text)."""

    def litre_of_feed(self, request: str, dilution: str) -> Worth:
        """A litre of feed as poured; ``dilution`` (``1:3``) instead of the request's own unless it is empty."""

    def whole_sludge(self, request: str) -> Worth:
        """All the sludge that stays in the bucket."""

    def ash_of_batch(self, request: str) -> Ashes:
        """The ash a batch was made of, by all that was read of it."""

    def kept_ash(self, evidence: str) -> Ashes:
        """A kept ash, by the evidence of its record (JSON text)."""


@dataclass(frozen=True, slots=True)
class SoilTest:
    """A soil test: day, pH as read, and by what means (empty where nobody said)."""

    id: str
    day: date
    ph: float
    tested_with: str

    def known_ph(self, moved: Estimate = NOTHING) -> Estimate:
        """The pH with the error of the reading, and moved by lime given since."""
        error = soil_test_error(self.tested_with)
        return Estimate(self.ph - error + moved.low, self.ph + moved.typical, self.ph + error + moved.high)


@dataclass(frozen=True, slots=True)
class Entry:
    """Something a bed was given: grams on the ground it covered, ``area`` of that in m2 (None where unknown).

    ``patch`` names the part of the bed it went on, empty for all of it.
    """

    id: str
    day: date
    what: str
    amount: str
    worth: Worth
    patch: str = ""
    area: float | None = None
    note: str = ""
    ash_record: str = ""
    solids: Estimate = NOTHING  # dry ash whose grains reached the ground, g: what brings metals

    def per_square_metre(self) -> Worth | None:
        """Grams to the square metre of the ground it covered."""
        return None if self.area is None else self.worth.scaled(1 / self.area)


@dataclass(frozen=True, slots=True)
class Aside:
    """A record that is not counted, and why."""

    id: str
    kind: str
    error: InputError


@dataclass(frozen=True, slots=True)
class Bed:
    """A bed: what it is, its soil tests and entries in order of date, and what of it could not be read."""

    id: str
    name: str
    area: float | None = None
    texture: str = ""
    place: str = ""
    plant: str = ""
    note: str = ""
    tests: tuple[SoilTest, ...] = ()
    entries: tuple[Entry, ...] = ()
    aside: tuple[Aside, ...] = ()

    def test_before(self, day: date) -> SoilTest | None:
        """The newest soil test up to a day; of two on one day the more alkaline, which is the careful one."""
        found = [test for test in self.tests if test.day <= day]
        return max(found, key=lambda test: (test.day, test.ph)) if found else None


@dataclass(frozen=True, slots=True)
class Book:
    """A book worked through: its beds, what belongs to none of them, and the names of the ashes in it."""

    beds: tuple[Bed, ...]
    aside: tuple[Aside, ...] = ()
    ashes: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a bed stands on a day, to the square metre of its most loaded part; None where the area is unknown.

    ``year`` the twelve months up to the day, ``calendar`` the calendar year; ``moved`` the pH units that what was given
    since the test may have moved the soil; ``advice`` what dry ash it may still get, None without a soil test.
    """

    day: date
    year: Worth | None
    calendar: Worth | None
    test: SoilTest | None
    cap: Cap
    target_ph: float
    moved: Estimate
    known_ph: Estimate | None
    advice: Advice | None


# -- reading the book -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Reader:
    """Reads what people typed in a book, by their locale and customs; ``batches`` answers for liquor and sludge."""

    batches: Batches
    locale: str = "en-GB"
    customs: str = "metric"

    def book(self, records: Iterable[Told], today: date | None = None) -> Book:
        """The book in ``records``. An entry dated after the day after ``today`` is set aside; None takes all."""
        records = tuple(records)
        gone = {record.id for record in records if record.text("removed") == "yes"}
        kept = [record for record in records if record.id not in gone]
        ashes = {record.id: record for record in kept if record.kind == "ash"}
        beds = {record.id: self._bed(record) for record in kept if record.kind == "bed"}
        tests: dict[str, list[SoilTest]] = {bed: [] for bed in beds}
        entries: dict[str, list[Entry]] = {bed: [] for bed in beds}
        aside: dict[str, list[Aside]] = {bed: list(beds[bed].aside) for bed in beds}
        lost: list[Aside] = []
        for record in kept:
            if record.kind not in ("soil test", "entry"):
                continue
            bed = record.text("bed")
            if bed in gone:
                continue
            if bed not in beds:
                problem = InputError(
                    "bed", bed, said("There is no such bed in the book."), said("the id of a bed in the book")
                )
                lost.append(Aside(record.id, record.kind, problem))
                continue
            try:
                if record.kind == "soil test":
                    tests[bed].append(self.soil_test(record, today))
                else:
                    entries[bed].append(self.entry(record, beds[bed], ashes, today))
            except InputErrors as errors:
                aside[bed] += [Aside(record.id, record.kind, error) for error in errors.errors]
            except InputError as error:
                aside[bed].append(Aside(record.id, record.kind, error))
        return Book(
            tuple(
                Bed(
                    bed.id,
                    bed.name,
                    bed.area,
                    bed.texture,
                    bed.place,
                    bed.plant,
                    bed.note,
                    tuple(sorted(tests[bed.id], key=lambda test: (test.day, test.id))),
                    tuple(sorted(entries[bed.id], key=lambda entry: (entry.day, entry.id))),
                    tuple(aside[bed.id]),
                )
                for bed in sorted(beds.values(), key=lambda bed: (bed.name.casefold(), bed.id))
            ),
            tuple(lost),
            {record.id: record.text("name") or record.id for record in ashes.values()},
        )

    def faults_of(self, record: Told, records: Iterable[Told], today: date | None = None) -> tuple[InputError, ...]:
        """Why a record would be set aside among the beds and ashes of ``records``; none where it can be counted."""
        around = [told for told in records if told.kind in ("bed", "ash") and told.id != record.id]
        book = self.book([*around, record], today)
        aside = [*book.aside, *(each for bed in book.beds for each in bed.aside)]
        return tuple(each.error for each in aside if each.id == record.id)

    def _bed(self, record: Told) -> Bed:
        aside: list[Aside] = []

        def or_aside(read: Callable[[], Result], otherwise: Result) -> Result:
            try:
                return read()
            except InputError as error:
                aside.append(Aside(record.id, "bed", error))
                return otherwise

        area = or_aside(lambda: self._area(record), None)
        texture = or_aside(lambda: _one_of(record, "texture", TEXTURES), "")
        place = or_aside(lambda: _one_of(record, "place", PLACES), "")
        name = record.text("name") or record.id
        return Bed(record.id, name, area, texture, place, record.text("plant"), record.text("note"), aside=tuple(aside))

    def _area(self, record: Told) -> float | None:
        return self._read(record, "area", "area", minimum=0.001, maximum=1e8).value if record.text("area") else None

    def soil_test(self, record: Told, today: date | None = None) -> SoilTest:
        """A soil test; raises `InputError` where it can't be read."""
        ph = self._read(record, "ph", "ph", minimum=2.5, maximum=11).value
        return SoilTest(record.id, _day(record, today), ph, _one_of(record, "tested_with", TESTERS))

    def entry(self, record: Told, bed: Bed, ashes: Mapping[str, Told], today: date | None = None) -> Entry:
        """An entry on a bed; raises `InputError` or `InputErrors` where it can't be read."""
        day = _day(record, today)
        what = _one_of(record, "what", KINDS) or ""
        if not what:
            raise InputError(
                "what", "", said("What was given is not said."), said("one of {choices}", choices=", ".join(KINDS))
            )
        patch, area = self._where(record, bed)
        worth, solids = self._given(record, what, ashes)
        return Entry(
            record.id,
            day,
            what,
            record.text("amount"),
            worth,
            patch,
            area,
            record.text("note"),
            record.text("ash"),
            solids,
        )

    def _where(self, record: Told, bed: Bed) -> tuple[str, float | None]:
        """The part of the bed that is named, and its area: an area, a share in %, or words (then all of the bed)."""
        where = record.text("where")
        if not where or not (where[0].isdigit() or where[0] in "½¼¾⅓⅔"):
            return "", bed.area
        part = where.split(";")[0].strip()
        key = " ".join(where.casefold().split())
        if part.endswith("%"):
            share = read_quantity(part, "fraction", "where", self.locale, self.customs, minimum=0.01, maximum=1.0).value
            return key, None if bed.area is None else bed.area * share
        area = read_quantity(part, "area", "where", self.locale, self.customs, minimum=0.001, maximum=1e8).value
        if bed.area is not None and area > bed.area * 1.001:
            raise InputError("where", where, said("This is larger than the bed."), said("at most the area of the bed"))
        return key, area

    # -- what was given ---------------------------------------------------------------------------------------

    def _given(self, record: Told, what: str, ashes: Mapping[str, Told]) -> tuple[Worth, Estimate]:
        if what == LIQUID:
            return self._liquid(record), NOTHING
        if what == DRY:
            grams, ash = self._amount(record, "amount"), self._ash(record, ashes)
            return dry_ash_worth(ash, grams)
        if what == SLUDGE:
            return self._sludge(record, ashes)
        if what == COMPOST:
            return self._compost(record, ashes)
        if what == LIME:
            return self._lime(record), NOTHING
        return self._own(record, required=True), NOTHING

    def _liquid(self, record: Told) -> Worth:
        litres = self._read(record, "amount", "volume", minimum=0.001, maximum=1e7).value
        request = batch_of(record)
        if request:
            return self.batches.litre_of_feed(request, record.text("dilution")).scaled(litres)
        if any(record.text(name) for name in OWN_FIGURES):
            return self._own(record, required=True)
        raise InputError(
            "request",
            record.text("batch"),
            said("What this feed was made from is not known."),
            said("the batch it came from, or its own figures of potassium and lime value"),
        )

    def _sludge(self, record: Told, ashes: Mapping[str, Told]) -> tuple[Worth, Estimate]:
        amount, request = record.text("amount"), batch_of(record)
        if amount.endswith("%"):
            if not request:
                accepted = said("a volume or a weight, or the batch that the share is of")
                raise InputError("amount", amount, said("A share of what is not said."), accepted)
            share = read_quantity(amount, "fraction", "amount", self.locale, self.customs, minimum=0.001, maximum=1)
            worth = self.batches.whole_sludge(request).scaled(share.value)
            return worth, worth.ash
        ash = self.batches.ash_of_batch(request) if request else self._ash(record, ashes)
        quantity = self._amount(record, "amount")
        return sludge_worth(ash, quantity)

    def _compost(self, record: Told, ashes: Mapping[str, Told]) -> tuple[Worth, Estimate]:
        quantity = self._amount(record, "amount")
        parts = [_instead(plain_compost_worth(quantity), self._own(record, required=False), record)]
        solids = NOTHING
        if record.text("ash_amount"):
            layered = self._amount(record, "ash_amount")
            worth, solids = dry_ash_worth(self._ash(record, ashes), layered)
            parts.append(worth)
        return total_of(parts), solids

    def _lime(self, record: Told) -> Worth:
        if record.text("lime_value"):
            return self._own(record, required=True)
        grams = self._read(record, "amount", "mass", minimum=0.001, maximum=1e9).value
        names = [row["id"] for row in published.table("limes")]
        return lime_worth(_one_of(record, "lime", names) or names[0], grams)

    def _own(self, record: Told, required: bool) -> Worth:
        """By the grower's own figures, to a kilogram where the amount is a weight, to a litre where it is a volume."""
        given = [name for name in OWN_FIGURES if record.text(name)]
        if required and not given:
            accepted = said("potassium, calcium or lime value, such as 50 g/kg or 2 g/L")
            raise InputError("lime_value", "", said("What this holds is not said."), accepted)
        quantity = self._amount(record, "amount")
        held = {}
        for name in given:
            if quantity.kind == "mass":
                share = self._read(record, name, "mass_fraction", minimum=0.0, maximum=1800.0).value
                grams = share / 1000 * quantity.value
            else:
                grams = (
                    self._read(record, name, "concentration", minimum=0.0, maximum=1e6).value / 1000 * quantity.value
                )
            held[name] = Estimate.exactly(grams)
        return Worth(**held)

    def _ash(self, record: Told, ashes: Mapping[str, Told]) -> Ashes:
        named = record.text("ash")
        if not named:
            return drawn_from(ash_of("mixed", "fresh"))
        if named not in ashes:
            raise InputError(
                "ash", named, said("There is no such ash in the book."), said("the id of an ash in the book")
            )
        evidence = ashes[named].text("evidence")
        return self.batches.kept_ash(evidence) if evidence else drawn_from(ash_of("mixed", "fresh"))

    def _amount(self, record: Told, name: str) -> Quantity:
        """A weight in g or a volume in L, above nothing and below what a garden could hold."""
        quantity = self._read(record, name, "mass_or_volume")
        if not LEAST_AMOUNT <= quantity.value <= MOST_AMOUNT:
            problem, accepted = said("This is out of range."), said("an amount such as 200 g or 2 cups")
            raise InputError(name, record.text(name), problem, accepted)
        return quantity

    def _read(self, record: Told, name: str, kind: str, **bounds: float) -> Quantity:
        return read_quantity(record.text(name), kind, name, self.locale, self.customs, **bounds)


OWN_FIGURES = ("potassium", "calcium", "magnesium", "lime_value")


def batch_of(record: Told) -> str:
    """The request of the batch that an entry is from: as kept with it, else out of a link that carries one, else empty.

    >>> batch_of(Told("a", "entry", {"batch": "https://example.org/ash/#batch=eyJzY2hlbWEiOjF9"}))
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


def _one_of(record: Told, name: str, choices: Sequence[str]) -> str:
    given = " ".join(record.text(name).casefold().split())
    if given and given not in choices:
        accepted = said("one of {choices}", choices=", ".join(choices))
        raise InputError(name, record.text(name), said("This is not one of the choices."), accepted)
    return given


def _day(record: Told, today: date | None) -> date:
    text = record.text("date")
    try:
        day = datetime.fromisoformat(text).date()
    except ValueError:
        raise InputError("date", text, said("This is not a date."), said("a date such as 2026-05-01")) from None
    if not 1970 <= day.year <= 2200:
        raise InputError("date", text, said("This is not a date of our time."), said("a date such as 2026-05-01"))
    # A day's grace, because clocks and time zones differ between devices.
    if today is not None and day > today + timedelta(days=1):
        accepted = said("a date up to {day}", day=today.isoformat())
        raise InputError("date", text, said("This day has not come yet."), accepted)
    return day


# -- what things are worth ------------------------------------------------------------------------------------


def dry_ash_worth(ash: Ashes, quantity: Quantity) -> tuple[Worth, Estimate]:
    """What a weight (g) or volume (L) of dry ash brings, and the grams of ash it is."""

    def grams(sample: AshSample) -> float:
        return quantity.value if quantity.kind == "mass" else quantity.value * 1000 * sample.density

    worth = _worth_of_ash(ash, grams)
    return worth, worth.ash


def sludge_worth(ash: Ashes, quantity: Quantity) -> tuple[Worth, Estimate]:
    """What sludge brings: by weight the dry ash it came from, by volume as much ash as settles to that volume.

    It counts as that ash but for potassium, of which what water can reach may all have been poured off (the low end) or
    may all be there (the high end).
    """

    def grams(sample: AshSample) -> float:
        return quantity.value if quantity.kind == "mass" else quantity.value * 1000 / sample.sediment

    whole = _worth_of_ash(ash, grams)
    left = ash.spread(lambda s: grams(s) * s.grams_per_kilogram["potassium"] / 1000 * (1 - s.reachable["potassium"]))
    potassium = Estimate(left.low, left.typical, max(whole.potassium.high, left.typical))
    return Worth(potassium, whole.calcium, whole.magnesium, whole.lime_value, whole.ash), whole.ash


def lime_worth(lime_id: str, grams: float) -> Worth:
    """What a weight of a lime of ``limes.csv`` brings. Raises KeyError for one that is not there.

    A mol of CaCO3 counted as lime value is a mol of calcium or, by magnesium's share, of magnesium.

    >>> round(lime_worth("hydrated_lime", 100).lime_value.high, 0)
    136.0
    """
    row = {row["id"]: row for row in published.table("limes")}[lime_id]
    lime = published.estimate(row).scaled(grams)
    magnesium = float(row["magnesium_share"])
    per_gram = 1 / calcium_carbonate_grams_per_mol()
    return Worth(
        calcium=lime.scaled((1 - magnesium) * molar_masses()["calcium"] * per_gram),
        magnesium=lime.scaled(magnesium * molar_masses()["magnesium"] * per_gram),
        lime_value=lime,
    )


def plain_compost_worth(quantity: Quantity) -> Worth:
    """What a weight (g, moist) or volume (L) of compost without ash brings by published means (``compost.csv``)."""
    known = {row["quantity"]: published.estimate(row) for row in published.table("compost")}
    dry = known["dry_matter"].scaled(quantity.value / 1000)
    if quantity.kind != "mass":
        litres, density = known["dry_matter"].scaled(quantity.value), known["density"]
        dry = Estimate(litres.low * density.low, litres.typical * density.typical, litres.high * density.high)
    per_kilogram = Worth(*(known[name] for name in OWN_FIGURES))
    return per_kilogram.times(dry)


def _instead(usual: Worth, own: Worth, record: Told) -> Worth:
    """The usual figures, each replaced by the grower's own where there is one."""
    return Worth(
        **{
            name: getattr(own if record.text(name) else usual, name) if name in OWN_FIGURES else NOTHING
            for name in QUANTITIES
        }
    )


def _worth_of_ash(ash: Ashes, grams: Callable[[AshSample], float]) -> Worth:
    def element(name: str) -> Estimate:
        return ash.spread(lambda sample: grams(sample) * sample.grams_per_kilogram[name] / 1000)

    return Worth(
        element("potassium"),
        element("calcium"),
        element("magnesium"),
        ash.spread(lambda sample: grams(sample) * sample.lime_value()),
        ash.spread(grams),
    )


def drawn_from(ash: Ash) -> Ashes:
    """An ash of which nothing was read: what is published of its kind."""
    return _drawn(ash.label, ash.state, tuple(sorted(ash.unknowns.items())))


@lru_cache(maxsize=64)
def _drawn(label: str, state: str, unknowns: tuple[tuple[str, Estimate], ...]) -> Ashes:
    """The fixed sample of an ash; drawn once, since a book asks for the same ash many times."""
    ash = Ash(label, state, dict(unknowns), ())
    draws = stratified_shares(sorted(ash.unknowns), SAMPLES, SEED)
    return Ashes(ash.typical(), tuple(ash.sample_at(draw) for draw in draws))


# -- sums over time -------------------------------------------------------------------------------------------


def a_year_before(day: date) -> date:
    """The same day a year earlier; the 28th for the 29th of February.

    >>> a_year_before(date(2024, 2, 29))
    datetime.date(2023, 2, 28)
    """
    return day.replace(year=day.year - 1, day=28) if (day.month, day.day) == (2, 29) else day.replace(year=day.year - 1)


def a_year_after(day: date) -> date:
    """The first day whose last twelve months no longer hold ``day``."""
    later = day.year + 1
    return date(later, 3, 1) if (day.month, day.day) == (2, 29) else day.replace(year=later)


def total_between(bed: Bed, after: date, up_to: date) -> Worth | None:
    """What the most loaded part of a bed got to the square metre after one day and up to another, both ends in order.

    None where an area is not known, so that nobody can say.
    """
    given = [entry for entry in bed.entries if after < entry.day <= up_to]
    if any(entry.area is None for entry in given) or (bed.area is None and not given):
        return None
    each = [(entry.patch, entry.per_square_metre() or Worth()) for entry in given]
    everywhere = total_of(worth for patch, worth in each if not patch)
    parts = dict.fromkeys(patch for patch, _ in each if patch)
    on_parts = [total_of([everywhere, *(worth for at, worth in each if at == patch)]) for patch in parts]
    return greatest_of([everywhere, *on_parts])


def standing_on(bed: Bed, day: date, ash_lime: Estimate) -> Standing:
    """Where a bed stands at the end of a day; ``ash_lime`` is the lime value of a gram of the ash it might get next."""
    year = total_between(bed, a_year_before(day), day)
    calendar = total_between(bed, date(day.year - 1, 12, 31), day)
    test = bed.test_before(day)
    target = target_ph(bed)
    cap = cap_for(test.ph if test else None)
    if test is None:
        return Standing(day, year, calendar, None, cap, target, NOTHING, None, None)
    # What was given on the day of a test counts as given after it: the careful reading.
    since = total_between(bed, test.day - timedelta(days=1), day)
    lime = since.lime_value if since else NOTHING
    moved = expected_shift(lime, bed.texture, TABLE_DEPTH_CM)
    known = test.known_ph(moved)
    left = max(cap.high - (year.ash.typical if year else 0.0), 0.0)
    advice = advised_ash(
        known, target, suitability_limit("soil_stop"), bed.texture, TABLE_DEPTH_CM, ash_lime, left, cap.high == 0.0
    )
    return Standing(day, year, calendar, test, cap, target, moved, known, advice)


def target_ph(bed: Bed) -> float:
    """The pH to aim at: the usual one for the ground, but never above what every list gives the plant."""
    usual = suitability_limit("target_peat" if bed.texture == "peat" else "target_usual")
    highs = [given.high for plant in plants_named(bed.plant) for given in plant.ranges]
    return min(usual, max(highs)) if highs else usual


def lime_need(bed: Bed, standing: Standing) -> Estimate | None:
    """The lime (g CaCO3/m2) that would still bring the soil to its target, what was given since the test taken off."""
    if standing.known_ph is None:
        return None
    return lime_requirement(standing.known_ph, standing.target_ph, bed.texture, TABLE_DEPTH_CM)


def with_entry(bed: Bed, entry: Entry) -> Bed:
    """The bed as it would be with one entry more; one with the same id gives way to it."""
    entries = sorted(
        [*(kept for kept in bed.entries if kept.id != entry.id), entry], key=lambda each: (each.day, each.id)
    )
    return Bed(
        bed.id, bed.name, bed.area, bed.texture, bed.place, bed.plant, bed.note, bed.tests, tuple(entries), bed.aside
    )


def heaviest_day(bed: Bed, entry: Entry) -> date:
    """The day on which the twelve months that hold an entry hold most ash: its own, or that of one noted after it.

    Whoever writes down in May what they gave in March must hear what it comes to with April's.
    """
    later = (kept.day for kept in bed.entries if entry.day < kept.day < a_year_after(entry.day))
    days = sorted({entry.day, *later})

    def ash(day: date) -> float:
        total = total_between(bed, a_year_before(day), day)
        return total.ash.typical if total else 0.0

    return max(days, key=ash)


# -- days to come ---------------------------------------------------------------------------------------------


@cache
def interval_of(what: str) -> Estimate:
    """Days to leave between two of a kind: liquid feeds by ``drench_interval``, ash by ``dry_interval``; else none."""
    if what == LIQUID:
        rows = (row for row in published.table("feed_practice") if row["id"] == "drench_interval")
    elif what in (DRY, SLUDGE):
        rows = (row for row in published.table("season_rules") if row["id"] == "dry_interval")
    else:
        return NOTHING
    return published.estimate(next(rows))


def season_rule(rule_id: str) -> Estimate:
    """A row of ``season_rules.csv``; raises KeyError for one that is not there."""
    return {row["id"]: published.estimate(row) for row in published.table("season_rules")}[rule_id]


def last_of(bed: Bed, what: str, up_to: date, without: str = "") -> date | None:
    """The last day up to ``up_to`` on which a bed got ``what``, ash in any dry form counting alike."""
    alike = (DRY, SLUDGE) if what in (DRY, SLUDGE) else (what,)
    days = [entry.day for entry in bed.entries if entry.what in alike and entry.day <= up_to and entry.id != without]
    return max(days, default=None)


def next_feed_day(bed: Bed, today: date) -> tuple[date, date, date] | None:
    """Earliest, usual and latest day for the next liquid feed after the last; None where there was none."""
    last = last_of(bed, LIQUID, today)
    if last is None:
        return None
    interval = interval_of(LIQUID)
    earliest, usual, latest = (last + timedelta(days=round(d)) for d in (interval.low, interval.typical, interval.high))
    return earliest, usual, latest


def next_ash_day(bed: Bed, today: date) -> date | None:
    """The first day on which there is room for dry ash under the cap, not before its interval; None where never.

    Room comes back as what was given leaves the twelve months.
    """
    test = bed.test_before(today)
    cap = cap_for(test.ph if test else None).high
    if cap == 0.0 or total_between(bed, a_year_before(today), today) is None:
        return None
    last = last_of(bed, DRY, today)
    first = today if last is None else max(today, last + timedelta(days=round(interval_of(DRY).typical)))
    leaving = sorted({a_year_after(entry.day) for entry in bed.entries if a_year_after(entry.day) > first})
    for day in (first, *leaving):
        total = total_between(bed, a_year_before(day), day)
        if total is not None and total.ash.typical < cap * (1 - 1e-9):
            return day
    return None


def retest_day(bed: Bed, today: date) -> date | None:
    """When the soil should be tested again; None where it never was (then at once).

    Some years after the test (``test_years``), or on the day when what was given since may have moved the pH by as much
    as makes the reading useless (``retest_shift``), whichever comes first.
    """
    test = bed.test_before(today)
    if test is None:
        return None
    due = test.day + timedelta(days=round(suitability_limit("test_years") * 365.25))
    limit = season_rule("retest_shift").typical
    for entry in bed.entries:
        if entry.day >= due or entry.day > today:
            break
        if entry.day < test.day:
            continue
        since = total_between(bed, test.day - timedelta(days=1), entry.day)
        if since and expected_shift(since.lime_value, bed.texture, TABLE_DEPTH_CM).typical >= limit:
            return entry.day
    return due


@dataclass(frozen=True, slots=True)
class Step:
    """The twelve months' ash and lime value (g/m2) from a day on, and the cap that holds from there."""

    day: date
    ash: Estimate
    lime: Estimate
    cap: float


def timeline(bed: Bed, first: date, last: date) -> tuple[Step, ...]:
    """The running totals as steps from ``first`` to ``last``: a step wherever something is given, leaves, or is tested.

    Empty where the area is not known.
    """
    days = {first, last, *(test.day for test in bed.tests)}
    days |= {entry.day for entry in bed.entries} | {a_year_after(entry.day) for entry in bed.entries}
    steps = []
    for day in sorted(day for day in days if first <= day <= last):
        total = total_between(bed, a_year_before(day), day)
        if total is None:
            return ()
        test = bed.test_before(day)
        steps.append(Step(day, total.ash, total.lime_value, cap_for(test.ph if test else None).high))
    return tuple(steps)
