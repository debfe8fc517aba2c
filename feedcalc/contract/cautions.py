"""Hazard class of a liquor, and the cautions that belong to each step.

* The class follows the upper end of the pH range, because an accident need not happen with a typical ash.
* Limits and wording are in ``hazard_classes.csv``, ``hazard_statements.csv`` and ``cautions.csv``. They are meant for
  one's own use; a product for sale needs a proper classification.
"""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass, replace

from feedcalc import published


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: ``where`` is the step it belongs to, ``when`` its condition, ``text`` its wording."""

    id: str
    where: str
    when: str
    text: str
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class Hazard:
    """A hazard class with its signal word and its statements as (code, text)."""

    name: str
    signal_word: str
    hazards: tuple[tuple[str, str], ...]
    precautions: tuple[tuple[str, str], ...]


def hazard_at(ph: float) -> Hazard:
    """Return the hazard class at a pH: corrosive from 11.5, irritant from 10, mild below.

    >>> hazard_at(12.1).name, hazard_at(11.0).name, hazard_at(8.0).name
    ('corrosive', 'irritant', 'mild')
    """
    rows = published.table("hazard_classes")
    row = next((row for row in rows if float(row["ph_low"]) <= ph < float(row["ph_high"])), rows[0])
    text = {statement["code"]: statement["text"] for statement in published.table("hazard_statements")}

    def stated(codes: str) -> tuple[tuple[str, str], ...]:
        return tuple((code, text[code]) for code in codes.split("|") if code)

    return Hazard(row["class"], row["signal_word"], stated(row["h_codes"]), stated(row["p_codes"]))


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


def cautions_for(conditions: Set[str]) -> tuple[Caution, ...]:
    """Return the cautions that always apply or whose condition is given, in the order of the table.

    Conditions: corrosive, irritant, foliar, fresh, acid, hard_water.
    """
    return tuple(
        Caution(row["id"], row["where"], row["when"], row["text"], row["source"], row["status"])
        for row in published.table("cautions")
        if row["when"] == "always" or row["when"] in conditions
    )
