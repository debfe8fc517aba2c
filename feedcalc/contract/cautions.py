"""Hazard class of a liquor, and the cautions that belong to each step.

* The class follows the upper end of the ranges of pH and strength, because an accident need not happen with a typical
  ash. The pH is that at 25 degC, whatever a meter shows in the shed.
* The heavier of two cautions stands first: ``weight`` says how gravely and how surely people are hurt there.
* Limits and wording are in ``hazard_classes.csv``, ``hazard_statements.csv`` and ``cautions.csv``. They are meant for
  one's own use; a product for sale needs a proper classification.
"""

from __future__ import annotations

from collections.abc import Mapping, Set
from dataclasses import replace

from feedcalc import published
from feedcalc.chemistry.formulas import calcium_carbonate_grams_per_mol, formula_grams_per_mol
from feedcalc.frozen import frozen

MOST_PRECAUTIONS = 6  # on a label: Regulation (EC) No 1272/2008, Article 28


@frozen
class Caution:
    """One caution: ``where`` is the step it belongs to, ``when`` its condition, ``text`` its wording.

    ``weight`` (0 to 100) says how gravely and how surely people are hurt there.
    """

    id: str
    where: str
    when: str
    text: str
    source: str
    status: str
    weight: float = 0.0


@frozen
class Hazard:
    """A hazard class with its signal word, its statements as (code, text), and the rule that decided it.

    ``by`` is "pH" or "strength".
    """

    name: str
    signal_word: str
    hazards: tuple[tuple[str, str], ...]
    precautions: tuple[tuple[str, str], ...]
    rule: str = ""
    by: str = "pH"


def hazard_at(ph: float, percent: float = 0.5) -> Hazard:
    """Return the hazard class at a pH at 25 degC: corrosive from 11.5, irritant from 10, mild below.

    Between pH 10 and 11.5 the strength counts too. ``percent`` is the alkali in g per 100 mL, all of it counted
    as potassium hydroxide; without it the least strength that irritates skin is assumed.

    >>> hazard_at(12.1).name, hazard_at(11.0).name, hazard_at(8.0).name
    ('corrosive', 'irritant', 'mild')
    >>> hazard_at(11.0, 2.5).name, hazard_at(11.0).signal_word, hazard_at(11.0, 0.1).signal_word
    ('corrosive', 'Danger', 'Warning')
    """
    rows = published.table("hazard_classes")
    row = next((row for row in rows if _holds(row, "ph", ph) and _holds(row, "percent", percent)), rows[0])
    text = {statement["code"]: statement["text"] for statement in published.table("hazard_statements")}

    def stated(codes: str) -> tuple[tuple[str, str], ...]:
        return tuple((code, text[code]) for code in codes.split("|") if code)

    return Hazard(
        name=row["class"],
        signal_word=row["signal_word"],
        hazards=stated(row["h_codes"]),
        precautions=stated(row["p_codes"]),
        rule=row["rule"],
        by=row["by"],
    )


def _holds(row: Mapping[str, str], name: str, value: float) -> bool:
    return float(row[f"{name}_low"]) <= value < float(row[f"{name}_high"])


def alkali_percent(alkalinity: float) -> float:
    """Return the alkali of a liquid in g per 100 mL as potassium hydroxide, from its alkalinity in mg/L as CaCO3.

    >>> round(alkali_percent(1784.0), 2)
    0.2
    """
    equivalents = max(alkalinity, 0.0) / (calcium_carbonate_grams_per_mol() / 2)  # in mmol per litre
    return equivalents * formula_grams_per_mol("KOH") / 10_000


def with_weightiest(hazard: Hazard) -> Hazard:
    """Return the class with the six precautionary statements that a label prints, in the order of their codes."""
    weights = {row["code"]: float(row["weight"] or 0) for row in published.table("hazard_statements")}
    needed = [each for each in hazard.precautions if weights[each[0]] > 0]
    kept = sorted(needed, key=lambda each: -weights[each[0]])[:MOST_PRECAUTIONS]
    return replace(hazard, precautions=tuple(each for each in hazard.precautions if each in kept))


def hazard_in(hazard: Hazard, language: str) -> Hazard:
    """Return the class with the official wording of a language, English where there is none.

    The wording comes from ``ghs_statements.csv`` rather than from the catalogues, because the regulation prints it.

    >>> hazard_in(hazard_at(12.1), "de").signal_word, hazard_in(hazard_at(12.1), "xx").signal_word
    ('Gefahr', 'Danger')
    """
    text = {row["code"]: row["text"] for row in published.table("ghs_statements") if row["language"] == language}

    def stated(statements: tuple[tuple[str, str], ...]) -> tuple[tuple[str, str], ...]:
        return tuple((code, text.get(code, english)) for code, english in statements)

    signal_word = text.get(hazard.signal_word.lower(), hazard.signal_word)
    return replace(
        hazard, signal_word=signal_word, hazards=stated(hazard.hazards), precautions=stated(hazard.precautions)
    )


def has_official_statements(language: str) -> bool:
    """Return whether the regulation prints its statements in a language; elsewhere they are our own translation."""
    rows = published.table("ghs_statements")
    return language == "en" or any(row["language"] == language and row["status"] != "judgement" for row in rows)


def cautions_for(conditions: Set[str]) -> tuple[Caution, ...]:
    """Return the cautions that always apply or whose condition is given, in the order of the table.

    Conditions: corrosive, irritant, foliar, fresh, acid, hard_water, dry.
    """
    return tuple(
        Caution(
            id=row["id"],
            where=row["where"],
            when=row["when"],
            text=row["text"],
            source=row["source"],
            status=row["status"],
            weight=float(row["weight"]),
        )
        for row in published.table("cautions")
        if row["when"] == "always" or row["when"] in conditions
    )
