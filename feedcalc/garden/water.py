"""The composition of a grower's water, as element totals for the equilibrium chemistry.

* A preset is a row of ``water_kinds.csv``. A water report replaces it; a value that is missing and cannot be derived
  is taken as 0 or from the preset.
* Charges must balance. The missing ions are added as sodium or chloride, and the amount is reported; a report whose
  imbalance exceeds `DOUBTFUL_IMBALANCE` of its ions is doubted.
* Total carbon is the amount of CO2 that gives the stated pH at the stated alkalinity, by the same equilibrium
  chemistry that is used afterwards.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache

from feedcalc import published
from feedcalc.chemistry import equilibrate
from feedcalc.chemistry.formulas import calcium_carbonate_grams_per_mol, molar_masses
from feedcalc.chemistry.roots import falling_root
from feedcalc.contract.numbers import write_decimals
from feedcalc.frozen import frozen
from feedcalc.words.languages import MACHINE_WORDS
from feedcalc.words.messages import said

# A water analysis counts as good within 5 % and doubtful past 10 % of the sum of its ions:
# "Standard Methods for the Examination of Water and Wastewater", method 1030 E (from memory).
DOUBTFUL_IMBALANCE = 0.10
# The thresholds below are our own judgement. Waters of one kind differ by less than this factor in their salts.
MOST_SALTIER = 5.0
DOUBTFUL_CONDUCTIVITY = 0.30
DOUBTFUL_PH = 0.1
_REFERENCE_KELVIN = 298.15
_PH_TOLERANCE = 1e-9  # of the water's pH, so that the CO2 is known to seven digits


@frozen
class Ion:
    """An ion of a water report: its name there, its element, charge and molar mass in g/mol."""

    name: str
    element: str
    charge: int
    grams_per_mol: float


@frozen
class Water:
    """Element totals of a water in mol per kilogram (as oxides and acids), and doubts about its report.

    ``hardness`` and ``alkalinity`` in mg/L as CaCO3; ``ph`` is that of the totals at 25 degC, which is the stated one
    if these ions can have it; ``balanced_with`` names the ion added for charge balance and its amount in mg/L.
    """

    label: str
    totals: Mapping[str, float]
    hardness: float
    alkalinity: float
    ph: float
    balanced_with: str
    doubts: tuple[str, ...]

    def mixed_with(self, other: Water, share: float) -> Water:
        """Return this water with ``share`` (0 to 1) of it replaced by another; ``ph`` stays that of this one."""

        def mixed(own: float, others: float) -> float:
            return own * (1.0 - share) + others * share

        return replace(
            self,
            totals={
                element: mixed(self.totals.get(element, 0.0), other.totals.get(element, 0.0))
                for element in {*self.totals, *other.totals}
            },
            hardness=mixed(self.hardness, other.hardness),
            alkalinity=mixed(self.alkalinity, other.alkalinity),
        )


@lru_cache
def ions() -> tuple[Ion, ...]:
    """Return the ions of a water report, with molar masses from the published tables."""
    mass = molar_masses()
    return (
        Ion("calcium", "calcium", 2, mass["calcium"]),
        Ion("magnesium", "magnesium", 2, mass["magnesium"]),
        Ion("sodium", "sodium", 1, mass["sodium"]),
        Ion("potassium", "potassium", 1, mass["potassium"]),
        Ion("chloride", "chloride", -1, mass["chloride"]),
        Ion("sulfate", "sulfur", -2, mass["sulfur"] + 4 * mass["oxygen"]),
    )


@lru_cache
def grams_of_calcium_carbonate_per_equivalent() -> float:
    """Return the equivalent mass of CaCO3 in g, half its molar mass, the unit of alkalinity and hardness.

    >>> round(grams_of_calcium_carbonate_per_equivalent(), 2)
    50.04
    """
    return calcium_carbonate_grams_per_mol() / 2


def water_of_kind(kind: str) -> Water:
    """Return the preset ``kind`` of ``water_kinds.csv``. Raises KeyError for a kind that is not in the table."""
    return water_of_report(kind, {})


def water_of_report(kind: str, report: Mapping[str, float], locale: str = "en-GB") -> Water:
    """Return the water of a report, with the preset ``kind`` for values that are missing and needed.

    ``report`` may hold hardness and alkalinity (mg/L as CaCO3), calcium, magnesium, sodium, potassium, chloride,
    sulfate (mg/L), ph, and ec (mS/cm at 25 degC). A conductivity beside ions only serves as a check; alone, it scales
    the salts of the preset. An empty report gives the preset. Numbers in the doubts are written as in ``locale``.

    >>> [round(water_of_report("medium", report).hardness) for report in ({}, {"ec": 0.7})]
    [100, 261]
    """
    return _water(kind, tuple(sorted(report.items())), locale)


@lru_cache(maxsize=64)
def _water(kind: str, report_items: tuple[tuple[str, float], ...], locale: str) -> Water:
    preset_row = published.row("water_kinds", kind)
    names = ("hardness", "alkalinity", "ph", *(ion.name for ion in ions()))
    preset = {name: float(preset_row[name]) for name in names}
    report = dict(report_items)
    doubts: list[str] = []
    label: str
    if report.keys() == {"ec"}:
        milligrams, label = (
            _scaled_to_conductivity(kind, preset, report["ec"]),
            said("your water, from how well it conducts"),
        )
    elif report:
        milligrams, label = _completed(preset, report, doubts), said("your own water report")
    else:
        milligrams, label = preset, preset_row["label"]
    milliequivalents = {ion.name: milligrams[ion.name] / ion.grams_per_mol * ion.charge for ion in ions()}
    alkalinity = milligrams["alkalinity"] / grams_of_calcium_carbonate_per_equivalent()
    balanced_with = _balanced(milliequivalents, alkalinity, doubts if report else [], locale)
    totals = {ion.element: milliequivalents[ion.name] / ion.charge / 1000 for ion in ions()}
    totals["carbon"] = _carbon_for_ph(totals, alkalinity / 1000, milligrams["ph"])
    made_ph = equilibrate(totals, _REFERENCE_KELVIN).ph
    if "ph" in report and abs(made_ph - report["ph"]) > DOUBTFUL_PH:
        doubts.append(
            said(
                "A pH of {ph} does not fit an alkalinity of {alkalinity} mg/L. Water with these ions can come no "
                "nearer than pH {made_ph}, so we used that.",
                ph=write_decimals(report["ph"], 1, locale),
                alkalinity=f"{milligrams['alkalinity']:.0f}",
                made_ph=write_decimals(made_ph, 1, locale),
            )
        )
    water = Water(
        label=label,
        totals=totals,
        hardness=_hardness(milligrams),
        alkalinity=milligrams["alkalinity"],
        ph=made_ph,
        balanced_with=balanced_with,
        doubts=tuple(doubts),
    )
    if "ec" in report:
        water = _with_conductivity_check(water, report["ec"], locale)
    return water


def _scaled_to_conductivity(kind: str, preset: Mapping[str, float], conductivity: float) -> dict[str, float]:
    """Return the preset with its salts scaled to a measured conductivity, by at most `MOST_SALTIER` either way.

    A conductivity further off belongs to another kind of water, which the check of conductivity reports.
    """
    usual = equilibrate(water_of_kind(kind).totals, _REFERENCE_KELVIN).conductivity
    factor = min(max(conductivity / usual, 1 / MOST_SALTIER), MOST_SALTIER)
    return {name: value if name == "ph" else value * factor for name, value in preset.items()}


def _hardness(milligrams: Mapping[str, float]) -> float:
    """Return the hardness of calcium and magnesium together, in mg/L as CaCO3."""
    return sum(
        milligrams[ion.name] / ion.grams_per_mol * ion.charge * grams_of_calcium_carbonate_per_equivalent()
        for ion in ions()
        if ion.name in ("calcium", "magnesium")
    )


def _completed(preset: Mapping[str, float], report: Mapping[str, float], doubts: list[str]) -> dict[str, float]:
    """Return a complete report: hardness split as in the preset, alkalinity from charge balance; append doubts."""
    full = {ion.name: report.get(ion.name, 0.0) for ion in ions()}
    known_hardness = _hardness(full)
    hardness = report.get("hardness")
    if hardness is None and "calcium" not in report and "magnesium" not in report:
        hardness = preset["hardness"] if "alkalinity" not in report else report["alkalinity"]
    if hardness is not None:
        if "calcium" in report and "magnesium" in report:
            if abs(hardness - known_hardness) > 0.15 * max(hardness, known_hardness, 10.0):
                doubts.append(
                    said(
                        "A hardness of {hardness} mg/L does not fit calcium and magnesium, which make "
                        "{known_hardness} mg/L as CaCO3. We used calcium and magnesium.",
                        hardness=f"{hardness:.0f}",
                        known_hardness=f"{known_hardness:.0f}",
                    )
                )
        elif known_hardness > hardness * 1.15 + 5:
            doubts.append(
                said(
                    "Calcium or magnesium alone make {known_hardness} mg/L as CaCO3, more than the hardness of "
                    "{hardness} mg/L. We used the larger.",
                    known_hardness=f"{known_hardness:.0f}",
                    hardness=f"{hardness:.0f}",
                )
            )
        else:
            _share_hardness(full, report, preset, max(hardness - known_hardness, 0.0))
    full["ph"] = report.get("ph", preset["ph"])
    full["alkalinity"] = report.get("alkalinity", -1.0)
    if full["alkalinity"] < 0:
        charge = sum(full[ion.name] / ion.grams_per_mol * ion.charge for ion in ions())
        full["alkalinity"] = max(charge, 0.0) * grams_of_calcium_carbonate_per_equivalent()
    return full


def _share_hardness(
    full: dict[str, float], report: Mapping[str, float], preset: Mapping[str, float], missing: float
) -> None:
    """Add missing hardness to calcium and magnesium, in the ratio of the preset if neither is known."""
    equivalents = {ion.name: preset[ion.name] / ion.grams_per_mol * ion.charge for ion in ions()}
    both = equivalents["calcium"] + equivalents["magnesium"]
    magnesium_share = equivalents["magnesium"] / both if both > 0 else 0.0
    if "calcium" in report:
        magnesium_share = 1.0
    elif "magnesium" in report:
        magnesium_share = 0.0
    for ion in ions():
        share = {"calcium": 1.0 - magnesium_share, "magnesium": magnesium_share}.get(ion.name, 0.0)
        full[ion.name] += missing * share / grams_of_calcium_carbonate_per_equivalent() * ion.grams_per_mol / ion.charge


def _balanced(milliequivalents: dict[str, float], alkalinity: float, doubts: list[str], locale: str) -> str:
    """Balance cations and anions with sodium or chloride; return what was added if it is at least 0.5 mg/L."""
    cations = sum(value for value in milliequivalents.values() if value > 0)
    anions = alkalinity - sum(value for value in milliequivalents.values() if value < 0)
    surplus = cations - anions
    if cations + anions == 0.0 or abs(surplus) < 1e-9:
        return ""
    if abs(surplus) / (cations + anions) > DOUBTFUL_IMBALANCE:
        doubts.append(
            said(
                "This report can't be right: its positive and negative ions differ by {anions} % of their sum. Up to "
                "5 % is usual. Something is missing or misread.",
                anions=f"{abs(surplus) / (cations + anions) * 100:.0f}",
            )
        )
    ion = next(ion for ion in ions() if ion.name == ("chloride" if surplus > 0 else "sodium"))
    milliequivalents[ion.name] += abs(surplus) * (-1 if surplus > 0 else 1)
    added = abs(surplus) * ion.grams_per_mol
    return (
        said("{added} mg/L {name}", added=write_decimals(added, 1, locale), name=MACHINE_WORDS[ion.name])
        if added >= 0.5
        else ""
    )


def _carbon_for_ph(totals: Mapping[str, float], alkalinity: float, ph: float) -> float:
    """Return the mol of CO2 per kilogram that gives the stated pH at 25 degC.

    pH falls monotonically with added CO2. The result is 0 if the pH is out of reach without CO2.
    """

    def above(carbon: float) -> float:
        return equilibrate({**totals, "carbon": carbon}, _REFERENCE_KELVIN).ph - ph

    return falling_root(above, 0.0, 4.0 * alkalinity + 1e-2, _PH_TOLERANCE)


def _with_conductivity_check(water: Water, stated: float, locale: str) -> Water:
    computed = equilibrate(water.totals, _REFERENCE_KELVIN).conductivity
    if abs(computed - stated) <= DOUBTFUL_CONDUCTIVITY * max(computed, stated, 0.05):
        return water
    doubt = said(
        "The salts you listed should conduct about {computed} mS/cm, but you gave {stated} mS/cm. An ion is missing, "
        "it is another kind of water, or a unit is wrong.",
        computed=write_decimals(computed, 2, locale),
        stated=write_decimals(stated, 2, locale),
    )
    return replace(water, doubts=(*water.doubts, doubt))
