"""What must be said, and at which step: cautions chosen by what the liquor, the feed and the use are.

The class of a liquor follows the upper end of its pH range, not the typical value: who is hurt by it did not
have a typical ash. Class limits and wording are in ``hazard_classes.csv``, ``hazard_statements.csv`` and
``cautions.csv``. This is care for one's own use; a product for sale needs a proper classification.
"""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass, replace

from feedcalc import published


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing to say: ``where`` is the step, ``text`` the words, ``source`` and ``status`` where it is from."""

    id: str
    where: str
    when: str
    text: str
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class Hazard:
    """How a liquid of some pH is to be treated: its class, signal word and statements by code and text."""

    name: str
    signal_word: str
    hazards: tuple[tuple[str, str], ...]
    precautions: tuple[tuple[str, str], ...]


def hazard_at(ph: float) -> Hazard:
    """The class of a liquid of this pH: corrosive from 11.5, irritant from 10, mild below.

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
    """The same with its signal word and statements in the words of ``language``, where those are known.

    They come from ``ghs_statements.csv`` and not from a translator, because the regulation prints them.

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
    """Every caution that always holds or whose condition does, in the order of the table.

    Conditions: corrosive, irritant, foliar, fresh, acid, hard_water.
    """
    return tuple(
        Caution(row["id"], row["where"], row["when"], row["text"], row["source"], row["status"])
        for row in published.table("cautions")
        if row["when"] == "always" or row["when"] in conditions
    )
