"""The composition of a grower's ash: element contents, the soluble share of each, and the lime value.

* An `Ash` gives every property as low, typical and high. An `AshSample` is one possible ash with exact values;
  chemistry runs on samples, so that correlated figures stay together (a denser cup holds more of every element).
* A laboratory analysis replaces the range of an element's content by an exact value.
* Soluble potassium and sodium are carbonate, sulfate and chloride (Gorecka and others 2006); carbonate follows from
  charge balance. Calcium is oxide or hydroxide (free lime), carbonate, phosphate, or inert.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

from feedcalc import published
from feedcalc.chemistry.formulas import calcium_carbonate_grams_per_mol, molar_masses
from feedcalc.frozen import frozen
from feedcalc.uncertainty.estimates import Estimate, Mixture, SkewedEstimate
from feedcalc.words.messages import said

ELEMENTS = ("potassium", "calcium", "magnesium", "sodium", "phosphorus", "sulfur", "chloride")
# Oxygen atoms and charge per atom of the element in ash: K2O, CaO, MgO, Na2O, P2O5, SO3, chloride.
OXYGEN_IN_OXIDE = dict(zip(ELEMENTS, (0.5, 1.0, 1.0, 0.5, 2.5, 3.0, 0.0), strict=True))
CHARGE_IN_OXIDE = dict(zip(ELEMENTS, (1, 2, 2, 1, -3, -2, -1), strict=True))
UNKNOWN, LEACHED = "unknown", "leached"
GRAMS_IN_A_KILOGRAM = 1000
CALCIUM_PER_PHOSPHORUS = 5 / 3  # mol in hydroxyapatite, Ca5(PO4)3OH


@frozen
class AshSample:
    """One ash that the grower's may be, every property a single number.

    ``grams_per_kilogram`` of dry ash by element; ``reachable`` the share of each element that can dissolve within a day
    or so; ``free_lime`` the share of calcium that is oxide or hydroxide; ``density`` loose, in g/mL; ``fast_share`` the
    share of soluble salts that dissolves at ``fast_rate`` (per minute), the rest at ``slow_rate`` (per hour);
    ``particle_density`` in kg/m3; ``sediment`` in mL of settled sludge per gram of ash; ``guard_layer`` in metres, the
    liquor left above the sludge; ``clear_line`` the ratio of the grain size at the clear line as observed to that at
    its true depth, 1 without an observation; ``measured`` the ash to a litre of water over what was meant, 1 unless it
    was measured by hand.
    """

    grams_per_kilogram: Mapping[str, float]
    reachable: Mapping[str, float]
    free_lime: float
    density: float
    fast_share: float
    fast_rate: float
    slow_rate: float
    particle_density: float
    sediment: float
    guard_layer: float
    clear_line: float = 1.0
    measured: float = 1.0

    def reachable_mol_per_kilogram(self) -> dict[str, float]:
        """Return the mol of each element, carbon included, that can dissolve from a kilogram of ash.

        Amounts count as oxides and acids. Carbon is the CO2 of the alkali carbonates and of the calcium that is
        neither free lime nor phosphate: combustion turns all phosphorus into calcium phosphate, which is no acid.
        """
        mol = {
            element: self.grams_per_kilogram[element] / molar_masses()[element] * self.reachable[element]
            for element in ELEMENTS
        }
        alkali_carbonate = (mol["potassium"] + mol["sodium"] - 2 * mol["sulfur"] - mol["chloride"]) / 2
        free_lime = self.grams_per_kilogram["calcium"] / molar_masses()["calcium"] * self.free_lime
        lime_phosphate = CALCIUM_PER_PHOSPHORUS * mol["phosphorus"]
        lime_carbonate = max(mol["calcium"] - free_lime - lime_phosphate, 0.0)
        # If sulfate and chloride exceed the alkalis, the surplus replaces carbonate of calcium.
        mol["carbon"] = max(alkali_carbonate + lime_carbonate, 0.0)
        return mol

    def lime_value(self) -> float:
        """Return the lime value: grams of CaCO3 that neutralise as much acid as one gram of this ash.

        This is the calcium carbonate equivalent (CCE) as a share. Bases (Ca, Mg, K, Na) less acids (S, Cl) in
        equivalents, without inert calcium. Phosphate would reduce it by another 1 to 3 % and is neglected.
        """
        mol = {element: self.grams_per_kilogram[element] / molar_masses()[element] for element in ELEMENTS}
        equivalents = (
            2 * mol["calcium"] * self.reachable["calcium"]
            + 2 * mol["magnesium"] * self.reachable["magnesium"]
            + (mol["potassium"] * self.reachable["potassium"] + mol["sodium"] * self.reachable["sodium"])
            - 2 * mol["sulfur"]
            - mol["chloride"]
        )
        return max(equivalents, 0.0) / GRAMS_IN_A_KILOGRAM * calcium_carbonate_grams_per_mol() / 2


@frozen
class Ash:
    """What is known of the grower's ash: an `Estimate` of each property by name, and the elements analysed."""

    label: str
    state: str
    unknowns: Mapping[str, Estimate]
    analysed: tuple[str, ...]

    def sample_at(self, shares: Mapping[str, float]) -> AshSample:
        """Return the ash with each unknown at the given quantile (0 to 1), see `Estimate.quantile`.

        An unknown without a quantile has its typical value.
        """
        return self._sample(
            {
                name: known.quantile(shares[name]) if name in shares else known.typical
                for name, known in self.unknowns.items()
            }
        )

    def typical(self) -> AshSample:
        """Return the ash with every unknown at its typical value."""
        return self.sample_at({})

    def contradiction(self) -> str:
        """Return a sentence that says why no ash can have this analysis, or an empty text if one can.

        The oxides of an ash cannot weigh more than the ash, and it holds more base than acid.
        """
        grams = self.typical().grams_per_kilogram
        if not self.analysed:
            return ""
        mass = molar_masses()
        oxygen = sum(grams[element] / mass[element] * OXYGEN_IN_OXIDE[element] for element in ELEMENTS) * mass["oxygen"]
        if sum(grams.values()) + oxygen > GRAMS_IN_A_KILOGRAM:
            return said(
                "Counted as oxides, these add up to {oxygen} g in a kg of ash: more than the ash itself.",
                oxygen=f"{sum(grams.values()) + oxygen:.0f}",
            )
        # The content of an acid that was not analysed is an estimate, which cannot contradict an analysis.
        counted = [element for element in ELEMENTS if CHARGE_IN_OXIDE[element] > 0 or element in self.analysed]
        if sum(grams[element] / mass[element] * CHARGE_IN_OXIDE[element] for element in counted) < 0:
            return said("With this much sulfur, chloride and phosphorus it would be an acid, but wood ash is alkaline.")
        return ""

    def knowing(self, **known: Estimate) -> Ash:
        """Return the same ash with some estimates replaced or added."""
        return replace(self, unknowns={**self.unknowns, **known})

    def _sample(self, value: Mapping[str, float]) -> AshSample:
        return AshSample(
            grams_per_kilogram={element: value[f"content.{element}"] for element in ELEMENTS},
            reachable={element: value[f"reachable.{element}"] for element in ELEMENTS},
            free_lime=value["free_lime"],
            density=value["density"],
            fast_share=value["fast_share"],
            fast_rate=value["fast_rate"],
            slow_rate=value["slow_rate"],
            particle_density=value["particle_density"],
            sediment=value["sediment"],
            guard_layer=value["guard_layer"] / 100,
            clear_line=value.get("clear_line", 1.0),
            measured=value.get("measured", 1.0),
        )


def ash_of(
    kind: str, state: str, analysis: Mapping[str, float] | None = None, density: float | Estimate | None = None
) -> Ash:
    """Return the ash of a kind and state, with a laboratory analysis (g/kg by element) and a density (g/mL) if known.

    Raises KeyError for a kind or state that is in no table.
    """
    analysis = analysis or {}
    unknowns: dict[str, Estimate] = {}
    for element in ELEMENTS:
        known = analysis.get(element)
        row = _row("ash_composition", kind=kind, element=element)
        unknowns[f"content.{element}"] = Estimate.exactly(known) if known is not None else published.estimate(row)
        if element != "calcium":
            unknowns[f"reachable.{element}"] = published.estimate(_row("ash_soluble", kind=kind, element=element))
    inert = _of_state("inert_share", "calcium", state)
    unknowns["reachable.calcium"] = Estimate(1 - inert.high, 1 - inert.typical, 1 - inert.low)
    unknowns["free_lime"] = _of_state("free_lime_share", "calcium", state)
    if state == LEACHED:
        for element in ("potassium", "sodium", "sulfur", "chloride"):
            kept, reachable = _of_state("kept_share", element, state), unknowns[f"reachable.{element}"]
            unknowns[f"reachable.{element}"] = Estimate(
                reachable.low * kept.low, reachable.typical * kept.typical, reachable.high * kept.high
            )
    if density is None:
        density = published.estimate(_row("ash_density", kind=kind, condition="loose"))
    unknowns["density"] = density if isinstance(density, Estimate) else Estimate.exactly(density)
    for quantity in ("fast_share", "fast_rate", "slow_rate"):
        unknowns[quantity] = published.estimate(_row("ash_dissolution", quantity=quantity))
    unknowns["particle_density"] = published.estimate(_row("ash_settling", quantity="particle_density"))
    unknowns["sediment"] = published.estimate(_row("ash_settling", quantity="sediment_volume"))
    unknowns["guard_layer"] = published.estimate(_row("ash_settling", quantity="guard_layer"))
    label = _row("ash_kinds", kind=kind)["label"]
    return Ash(label, state, unknowns, tuple(analysis))


@cache
def _of_state(quantity: str, element: str, state: str) -> Estimate:
    """A row of ``ash_state.csv``; for ash of unknown state the mixture of the states it may be in."""
    if state != UNKNOWN:
        known = published.estimate(_row("ash_state", state=state, quantity=quantity, element=element))
        return SkewedEstimate(known.low, known.typical, known.high) if quantity == "free_lime_share" else known
    return Mixture.of(
        [
            (float(row["weight"]), _of_state(quantity, element, row["state"]))
            for row in published.table("ash_state_prior")
        ]
    )


@cache
def _row(table: str, **wanted: str) -> Mapping[str, str]:
    """Return the row with these cells. A row of the kind itself is preferred to one of kind ``any``."""
    matches = [
        row
        for row in published.table(table)
        if all(row[column] == value or (column == "kind" and row[column] == "any") for column, value in wanted.items())
    ]
    if not matches:
        raise KeyError(f"{table}: no row for {wanted}")
    return min(matches, key=lambda row: row.get("kind") == "any")
