"""Liquor together with a second thing: what precipitates, what gas escapes, and a plain verdict.

* ``second_things.csv`` has the mildest verdict. Numbers can make it stricter but never milder: what must never be
  combined stays so at any dose.
* Where the chemistry covers the second thing, liquor and dose are equilibrated with the minerals that form within a
  day and with the gas still dissolved. Nitrate counts as chloride, because both are inert here.
* Ammonia is given as the partial pressure at the surface, where a face leans over the can; moving air dilutes it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

from feedcalc import published
from feedcalc.chemistry import Equilibrium, equilibrate
from feedcalc.chemistry.formulas import formula_grams_per_mol
from feedcalc.contract.numbers import write_decimals, write_number
from feedcalc.frozen import frozen
from feedcalc.liquor.steeping import Liquor
from feedcalc.words.errors import NoSolution
from feedcalc.words.messages import all_of, said, said_in

WITH_CARE, NOT_TOGETHER, NEVER = "with care", "not together", "never"
VERDICTS = (WITH_CARE, NOT_TOGETHER, NEVER)
# Minerals that form within minutes to a day; hydroxyapatite and the dense magnesium carbonates take weeks.
MIXING_MINERALS = (
    "calcite",
    "portlandite",
    "brucite",
    "gypsum",
    "syngenite",
    "nesquehonite",
    "amorphous_calcium_phosphate",
    "brushite",
    "struvite",
)
MINERAL_WORDS = {
    "calcite": said_in("mineral", "chalk"),
    "portlandite": said_in("mineral", "slaked lime"),
    "brucite": said_in("mineral", "magnesium hydroxide"),
    "gypsum": said_in("mineral", "gypsum"),
    "syngenite": said("syngenite (potassium gypsum)"),
    "nesquehonite": said_in("mineral", "magnesium carbonate"),
    "amorphous_calcium_phosphate": said_in("mineral", "calcium phosphate"),
    "brushite": said("calcium phosphate (brushite)"),
    "struvite": said("struvite (magnesium ammonium phosphate)"),
}
TOO_STRONG = said("This mixture is too strong for the chemistry model. There are no figures: keep them apart.")
# The strictest limit first.
_AMMONIA_REMARKS = {
    "ammonia_danger": said(
        "Ammonia in the air right above the can: about {ppm} ppm, and {limit} ppm is a danger to life."
    ),
    "ammonia_short": said(
        "Ammonia in the air right above the can: about {ppm} ppm, and {limit} ppm is the most for a quarter of an hour."
    ),
    "ammonia_daily": said(
        "Ammonia in the air right above the can: about {ppm} ppm, and {limit} ppm is the most for a working day."
    ),
}
_LEAST_PRECIPITATE = 0.5  # mg/L: less counts as none
_PPM_PER_ATM = 1e6


@frozen
class SecondThing:
    """A row of ``second_things.csv``. ``brings`` is mol of each element per gram, empty without data.

    ``dose`` in grams per litre is a usual strength, ``ph_limit`` the pH above which it fails; None where there is none.
    """

    id: str
    words: str
    verdict: str
    brings: Mapping[str, float]
    dose: float | None
    ph_limit: float | None
    reason: str
    source: str
    status: str
    note: str


@frozen
class MixingCheck:
    """The result of mixing liquor with a second thing.

    ``fallen_out`` is the precipitate in mg/L by mineral (see `MINERAL_WORDS`) beyond that of the liquor alone.
    ``ammonia_share`` is the share of the dissolved ammonium and ammonia that is ammonia, ``ammonia_ppm`` its level in
    the air at the surface, ``ammonia_nitrogen`` the total in mg/L of nitrogen. ``remarks`` explain the numbers.
    """

    thing: SecondThing
    verdict: str
    reason: str
    remarks: tuple[str, ...]
    dose: float | None
    ph_before: float
    ph_after: float
    fallen_out: Mapping[str, float]
    ammonia_share: float
    ammonia_ppm: float
    ammonia_nitrogen: float

    @property
    def fallen_out_in_all(self) -> float:
        """The whole precipitate in mg/L."""
        return sum(self.fallen_out.values())


@cache
def second_things() -> Mapping[str, SecondThing]:
    """Return every second thing by its id."""
    return {row["id"]: _second_thing(row) for row in published.table("second_things")}


def mixing_check(
    liquor: Liquor, thing: SecondThing, temperature_kelvin: float, dose: float | None = None, locale: str = "en-GB"
) -> MixingCheck:
    """Return the check of ``dose`` grams of ``thing`` in a litre of ``liquor`` or feed, by default a usual dose.

    Remarks write numbers as in ``locale``. A mixture too strong for the chemistry gets a verdict without numbers.
    Raises `ValueError` for a negative dose.
    """
    if dose is not None and not dose >= 0.0:
        raise ValueError(f"a dose cannot be below nothing, got {dose!r}")
    used = thing.dose if dose is None else dose
    before = liquor.equilibrium
    if not thing.brings or used is None:
        return _checked(thing, None, before, before, fallen={}, locale=locale)
    brought = {element: amount * used * before.litres for element, amount in thing.brings.items()}
    try:
        alone = _equilibrated(before, {}, temperature_kelvin)
        mixed = _equilibrated(before, brought, temperature_kelvin)
    except NoSolution:
        # There must be a verdict even without numbers.
        verdict = max(thing.verdict, NOT_TOGETHER, key=VERDICTS.index)
        unmixed = _checked(thing, None, before, before, fallen={}, locale=locale)
        return replace(unmixed, verdict=verdict, remarks=(TOO_STRONG,), dose=used)
    fallen = {
        mineral: amount
        for mineral in MIXING_MINERALS
        if (amount := _milligrams(mixed, mineral) - _milligrams(alone, mineral)) > _LEAST_PRECIPITATE
    }
    return _checked(thing, used, before, mixed, fallen=fallen, locale=locale)


def _checked(
    thing: SecondThing,
    dose: float | None,
    before: Equilibrium,
    after: Equilibrium,
    fallen: Mapping[str, float],
    locale: str,
) -> MixingCheck:
    """Return the check of a mixture against ``mixing_limits.csv``."""
    ammonium = after.dissolved["ammonia"]
    share = after.molality["NH3"] * after.water_kg / ammonium if ammonium > 0.0 else 0.0
    ppm = after.ammonia_atm * _PPM_PER_ATM
    findings = [*_on_precipitate(fallen, locale), *_on_ammonia(ppm, locale), *_on_ph(thing, before.ph, locale)]
    return MixingCheck(
        thing=thing,
        verdict=max([thing.verdict, *(verdict for verdict, _ in findings)], key=VERDICTS.index),
        reason=thing.reason,
        remarks=tuple(remark for _, remark in findings),
        dose=dose,
        ph_before=before.ph,
        ph_after=after.ph,
        fallen_out=dict(fallen),
        ammonia_share=share,
        ammonia_ppm=ppm,
        ammonia_nitrogen=after.milligrams_per_litre("ammonia"),
    )


def _on_precipitate(fallen: Mapping[str, float], locale: str) -> list[tuple[str, str]]:
    """Return verdict and remark on what precipitates, if anything does."""
    if not fallen:
        return []
    words = all_of(
        said("{amount} mg/L of {mineral}", amount=_rounded(amount, locale), mineral=MINERAL_WORDS[mineral])
        for mineral, amount in fallen.items()
    )
    limit = _limits()["sludge"]
    verdict = limit.verdict if sum(fallen.values()) >= limit.value else VERDICTS[0]
    return [(verdict, said("Forms and sinks: {words}.", words=words))]


def _on_ammonia(ppm: float, locale: str) -> list[tuple[str, str]]:
    """Return verdict and remark for the highest ammonia limit that is reached, if any is."""
    for name, words in _AMMONIA_REMARKS.items():
        limit = _limits()[name]
        if ppm >= limit.value:
            written = write_number(limit.value, 6, locale, trim=True)
            return [(limit.verdict, said(words, ppm=_rounded(ppm, locale), limit=written))]
    return []


def _on_ph(thing: SecondThing, ph: float, locale: str) -> list[tuple[str, str]]:
    """Return verdict and remark where the liquor is too alkaline for the second thing."""
    if thing.ph_limit is None or ph <= thing.ph_limit:
        return []
    remark = said(
        "This liquor has pH {before}. It stops working above pH {ph_limit}.",
        before=write_decimals(ph, 1, locale),
        ph_limit=write_number(thing.ph_limit, 6, locale, trim=True),
    )
    return [(NOT_TOGETHER, remark)]


def _equilibrated(before: Equilibrium, brought: Mapping[str, float], kelvin: float) -> Equilibrium:
    totals = dict(before.dissolved)
    for element, amount in brought.items():
        totals[element] = totals.get(element, 0.0) + amount
    return equilibrate(totals, kelvin, MIXING_MINERALS, nearby=before)


def _milligrams(state: Equilibrium, mineral: str) -> float:
    return state.formed[mineral] * _mineral_grams_per_mol()[mineral] * 1000 / state.litres


def _rounded(value: float, locale: str) -> str:
    """Write a number with two significant figures."""
    return write_decimals(float(f"{value:.2g}"), 0, locale) if value >= 1 else write_number(value, 1, locale)


@frozen
class _Limit:
    value: float
    verdict: str


@cache
def _limits() -> Mapping[str, _Limit]:
    return {row["id"]: _Limit(float(row["value"]), row["verdict"]) for row in published.table("mixing_limits")}


@cache
def _mineral_grams_per_mol() -> Mapping[str, float]:
    return {row["mineral"]: formula_grams_per_mol(row["formula"]) for row in published.table("chem_minerals")}


def _second_thing(row: Mapping[str, str]) -> SecondThing:
    brings = {}
    for part in filter(None, row["brings"].split("|")):
        element, amount = part.rsplit(" ", 1)
        brings[element] = float(amount) / formula_grams_per_mol(row["formula"])
    return SecondThing(
        **{name: row[name] for name in ("id", "words", "verdict", "reason", "source", "status", "note")},
        brings=brings,
        dose=float(row["dose"]) if row["dose"] else None,
        ph_limit=float(row["ph_limit"]) if row["ph_limit"] else None,
    )
