"""Liquor together with a second thing: what falls out, what gas comes off, and a plain verdict.

Rules of this room:

* The verdict of ``second_things.csv`` is the least strict one given. Numbers can make it stricter, never milder:
  what is never to be combined stays so, whatever the dose.
* What the chemistry can follow is worked out as an equilibrium of liquor and dose, minerals that form within a day
  free to fall out, the gas still in the water. Nitrate counts as chloride: both take no part.
* Ammonia's pressure is that right above the surface, where a face leans over the can; a breeze thins it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache

from feedcalc import published
from feedcalc.chemistry import Equilibrium, equilibrate
from feedcalc.chemistry.formulas import formula_grams_per_mol
from feedcalc.contract.numbers import write_decimals, write_number
from feedcalc.liquor.steeping import Liquor
from feedcalc.words.errors import NoSolution
from feedcalc.words.messages import listed, said

WITH_CARE, NOT_TOGETHER, NEVER = "with care", "not together", "never"
VERDICTS = (WITH_CARE, NOT_TOGETHER, NEVER)
# What falls out within minutes to a day; hydroxyapatite and the dense magnesium carbonates take weeks.
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
    "calcite": said("chalk"),
    "portlandite": said("slaked lime"),
    "brucite": said("magnesium hydroxide"),
    "gypsum": said("gypsum"),
    "syngenite": said("syngenite (potassium gypsum)"),
    "nesquehonite": said("magnesium carbonate"),
    "amorphous_calcium_phosphate": said("calcium phosphate"),
    "brushite": said("calcium phosphate (brushite)"),
    "struvite": said("struvite (magnesium ammonium phosphate)"),
}
TOO_STRONG = said("This mixture is too strong for the chemistry to follow: no figures, keep them apart.")
_LEAST_TOLD = 0.5  # mg/L: less than this is told as nothing
_PPM_PER_ATM = 1e6


@dataclass(frozen=True, slots=True)
class SecondThing:
    """One row of ``second_things.csv``. ``brings`` is mol of each element per gram, empty where chemistry can't follow.

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


@dataclass(frozen=True, slots=True)
class MixingCheck:
    """What comes of liquor and a second thing.

    ``fallen_out`` is mg per litre by mineral (see `MINERAL_WORDS`), beyond what the liquor alone would drop.
    ``ammonia_share`` is the share of the ammonium and ammonia in the water that is ammonia, ``ammonia_ppm`` its
    level in the air right above, ``ammonia_nitrogen`` its amount in mg/L of nitrogen. ``remarks`` say what the
    numbers add to ``reason``.
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
        """mg of solids per litre."""
        return sum(self.fallen_out.values())


@cache
def second_things() -> Mapping[str, SecondThing]:
    """Every second thing by its id."""
    return {row["id"]: _second_thing(row) for row in published.table("second_things")}


def mixing_check(
    liquor: Liquor, thing: SecondThing, temperature_kelvin: float, dose: float | None = None, locale: str = "en-GB"
) -> MixingCheck:
    """What comes of ``dose`` grams of ``thing`` in a litre of ``liquor`` (or of a feed), by default a usual strength.

    Numbers in its remarks are written as in ``locale``. A mixture too strong for the chemistry gets its verdict without
    numbers. Raises `ValueError` for a negative dose.
    """
    if dose is not None and not dose >= 0.0:
        raise ValueError(f"a dose cannot be below nothing, got {dose!r}")
    used = thing.dose if dose is None else dose
    before = liquor.equilibrium
    if not thing.brings or used is None:
        return _checked(thing, None, before, before, {}, locale)
    brought = {element: amount * used * before.litres for element, amount in thing.brings.items()}
    try:
        alone = _mixed(before, {}, temperature_kelvin)
        mixed = _mixed(before, brought, temperature_kelvin)
    except NoSolution:
        # A verdict must stand even where there is no number to put beside it.
        verdict = max(thing.verdict, NOT_TOGETHER, key=VERDICTS.index)
        return replace(
            _checked(thing, None, before, before, {}, locale), verdict=verdict, remarks=(TOO_STRONG,), dose=used
        )
    fallen = {
        mineral: amount
        for mineral in MIXING_MINERALS
        if (amount := _milligrams(mixed, mineral) - _milligrams(alone, mineral)) > _LEAST_TOLD
    }
    return _checked(thing, used, before, mixed, fallen, locale)


def _checked(
    thing: SecondThing,
    dose: float | None,
    before: Equilibrium,
    after: Equilibrium,
    fallen: Mapping[str, float],
    locale: str,
) -> MixingCheck:
    """The numbers weighed against ``mixing_limits.csv``."""
    ammonium = after.dissolved["ammonia"]
    share = after.molality["NH3"] * after.water_kg / ammonium if ammonium > 0.0 else 0.0
    ppm = after.ammonia_atm * _PPM_PER_ATM
    verdicts, remarks = [thing.verdict], []
    if fallen:
        words = listed(
            (
                said("{amount} mg/L of {mineral}", amount=_rounded(amount, locale), mineral=MINERAL_WORDS[mineral])
                for mineral, amount in fallen.items()
            ),
            ", ",
        )
        remarks.append(said("Falls out: {words}.", words=words))
        limit = _limits()["sludge"]
        if sum(fallen.values()) >= limit.value:
            verdicts.append(limit.verdict)
    for name, words in (
        (
            "ammonia_danger",
            said("Ammonia in the air right above the can: about {ppm} ppm, and {limit} ppm is a danger to life."),
        ),
        (
            "ammonia_short",
            said(
                "Ammonia in the air right above the can: about {ppm} ppm, and {limit} ppm is the most "
                "for a quarter of an hour."
            ),
        ),
        (
            "ammonia_daily",
            said(
                "Ammonia in the air right above the can: about {ppm} ppm, and {limit} ppm is the most "
                "for a working day."
            ),
        ),
    ):
        limit = _limits()[name]
        if ppm >= limit.value:
            verdicts.append(limit.verdict)
            remarks.append(
                said(words, ppm=_rounded(ppm, locale), limit=write_number(limit.value, 6, locale, trim=True))
            )
            break
    if thing.ph_limit is not None and before.ph > thing.ph_limit:
        verdicts.append(NOT_TOGETHER)
        remarks.append(
            said(
                "This liquor has pH {before}; it fails above pH {ph_limit}.",
                before=write_decimals(before.ph, 1, locale),
                ph_limit=write_number(thing.ph_limit, 6, locale, trim=True),
            )
        )
    return MixingCheck(
        thing=thing,
        verdict=max(verdicts, key=VERDICTS.index),
        reason=thing.reason,
        remarks=tuple(remarks),
        dose=dose,
        ph_before=before.ph,
        ph_after=after.ph,
        fallen_out=dict(fallen),
        ammonia_share=share,
        ammonia_ppm=ppm,
        ammonia_nitrogen=after.milligrams_per_litre("ammonia"),
    )


def _mixed(before: Equilibrium, brought: Mapping[str, float], kelvin: float) -> Equilibrium:
    totals = dict(before.dissolved)
    for element, amount in brought.items():
        totals[element] = totals.get(element, 0.0) + amount
    return equilibrate(totals, kelvin, MIXING_MINERALS, nearby=before)


def _milligrams(state: Equilibrium, mineral: str) -> float:
    return state.formed[mineral] * _mineral_grams_per_mol()[mineral] * 1000 / state.litres


def _rounded(value: float, locale: str) -> str:
    """Two figures are all that is known."""
    return write_decimals(float(f"{value:.2g}"), 0, locale) if value >= 1 else write_number(value, 1, locale)


@dataclass(frozen=True, slots=True)
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
        row["id"],
        row["words"],
        row["verdict"],
        brings,
        float(row["dose"]) if row["dose"] else None,
        float(row["ph_limit"]) if row["ph_limit"] else None,
        row["reason"],
        row["source"],
        row["status"],
        row["note"],
    )
