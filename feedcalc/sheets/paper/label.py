"""The words of a bottle's label, for somebody who reads it months later and was not there.

* The hazard class follows the upper end of the pH range. Without a range the worst class is taken.
* A figure keeps the range it has on the sheet. An unknown date or name is a blank to fill in, never a guess.
* `Label.required` lists what no label may be printed without, whatever its size.
* `layout` puts these words on paper.
"""

from __future__ import annotations

import base64
import json
import re
import unicodedata
from collections.abc import Mapping
from datetime import datetime
from ipaddress import IPv6Address
from urllib.parse import urlsplit

from feedcalc.contract.cautions import Hazard, hazard_at, hazard_in, with_weightiest
from feedcalc.contract.figures import Shown
from feedcalc.frozen import frozen
from feedcalc.sheets.batch import Sheet
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.languages import date_words
from feedcalc.words.messages import said, said_in

# Hazard statements with the corrosion symbol: skin corrosion and serious eye damage (CLP, Annex I, tables 3.2.5 and
# 3.3.5, from memory). With it the symbol for irritation is not required (Article 26, from memory).
WITH_CORROSION_SYMBOL = {"H314", "H318"}
_WORST_PH = 14.0
FIRST_AID = ("first_aid_eyes", "first_aid_skin", "first_aid_swallowed")
LONGEST_BATCH_NAME = 80
# The format of the file of batches that the page saves.
BATCHES_FORMAT, BATCHES_VERSION = "feedcalc batches", 1
NOT_FOR_FOOD = said("Not for food containers. Not a drink.")


@frozen
class Label:
    """The words of a label. An empty date or name is a blank to fill in.

    ``strength`` and ``delivered`` are pairs of a name and a figure; ``cans`` holds size, water and liquor of each can,
    by the contract's names.
    """

    title: str
    contents: str
    batch: str
    made: str
    settled: str
    use_by: str
    hazard: Hazard
    has_corrosion_symbol: bool
    class_words: str
    rule: str
    meter: str
    first_aid: tuple[str, ...]
    ph: Shown
    dilution: Shown
    cans: tuple[Mapping[str, Shown], ...]
    strength: tuple[tuple[str, Shown], ...]
    delivered_in: Shown
    delivered: tuple[tuple[str, Shown], ...]
    keeps: str
    is_of_can: bool = False

    @property
    def is_diluted(self) -> bool:
        """Return whether the liquor is still to be diluted."""
        return self.dilution.value > 0 and not self.is_of_can

    @property
    def required(self) -> tuple[str, ...]:
        """Return every sentence that must be on the bottle: name, hazards, precautions, first aid, not for food."""
        return (
            self.title,
            *((self.hazard.signal_word,) if self.hazard.signal_word else ()),
            *(text for _, text in self.hazard.hazards),
            *(text for _, text in self.hazard.precautions),
            *self.first_aid,
            NOT_FOR_FOOD,
        )


def label_of(sheet: Sheet, batch: str = "", language: str = "en", *, is_of_can: bool = False) -> Label:
    """Return the label of the clear liquor of a batch, or of a can of its diluted feed.

    ``batch`` is the name that the grower gave it.

    Hazard statements are in ``language``, a tag such as ``de``. All other texts are messages, to be translated where
    they are shown.
    """
    figures = sheet.figures
    inside = sheet.own_path if is_of_can else "liquor"
    ph = figures[f"{inside}.ph_25"]
    hazard = (sheet.feed_hazard if is_of_can else sheet.hazard) if ph.range else hazard_at(_WORST_PH)
    hazard = with_weightiest(hazard)
    aid = {caution.id: caution.text for caution in sheet.cautions}
    return Label(
        title=said("Diluted wood-ash feed") if is_of_can else said_in("name of the product", "Wood-ash liquor"),
        contents=_contents_of_can(sheet) if is_of_can else _contents(sheet),
        is_of_can=is_of_can,
        batch=printable(batch)[:LONGEST_BATCH_NAME].strip(),
        made=_day(sheet.starts),
        settled=_day(sheet.settled),
        use_by="" if is_of_can else _day(sheet.use_by),
        hazard=hazard_in(hazard, language),
        has_corrosion_symbol=any(code in WITH_CORROSION_SYMBOL for code, _ in hazard.hazards),
        class_words=_class_words(hazard, ph, bool(sheet.readings_used)),
        rule=hazard.rule if ph.range else "",
        meter=sheet.meter_shows(inside),
        first_aid=tuple(aid[id_] for id_ in FIRST_AID),
        ph=ph,
        dilution=figures["batch.parts_water"],
        cans=sheet.cans,
        strength=(
            (said_in("element or figure", "potassium"), figures[f"{inside}.potassium"]),
            (said("alkalinity as CaCO₃"), figures[f"{inside}.alkalinity"]),
            (said("conductivity at 25\u00a0°C"), figures[f"{inside}.ec"]),
        ),
        delivered_in=figures["delivered.per_can.volume"],
        delivered=(
            (said_in("element or figure", "potassium"), figures["delivered.per_can.potassium"]),
            (said_in("element or figure", "calcium"), figures["delivered.per_can.calcium"]),
            (said_in("element or figure", "magnesium"), figures["delivered.per_can.magnesium"]),
            (said("lime value as CaCO₃"), figures["delivered.per_can.lime_value"]),
        ),
        keeps=said("Use it up on the day it is mixed.") if is_of_can else sheet.keeps,
    )


def printable(text: str) -> str:
    """Return ``text`` without characters that cannot be printed or change the direction of those around them.

    >>> printable("a\\x00b\\u202ec\\n d")
    'abc d'
    """
    gaps = re.sub(r"\s+", " ", text)
    kept = (letter for letter in gaps if unicodedata.category(letter) not in {"Cc", "Cs", "Co", "Cn"})
    # Of the invisible format characters, only the joiners belong to words (Hindi, Persian, emoji).
    return "".join(
        letter for letter in kept if unicodedata.category(letter) != "Cf" or letter in "\u200c\u200d"
    ).strip()


def has_hidden_characters(text: str) -> bool:
    """Return whether a name holds control characters or marks that change the direction of those around them.

    >>> has_hidden_characters("Oak\u202eyaM"), has_hidden_characters("राख\u200d")
    (True, False)
    """
    return any(
        unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Co") and letter not in "\u200c\u200d" for letter in text
    )


def batch_link(address: str, request_json: str) -> str:
    """Return the address of the page with the batch in its fragment; the page then opens that batch.

    ``address`` is an http or https URL with a sound host and without credentials. Raises `InputError` for another.

    >>> batch_link("https://example.org/ash/", '{"schema": 1}')
    'https://example.org/ash/#batch=eyJzY2hlbWEiOjF9'
    """
    place = address.strip().split("#")[0]
    if not _is_sound(place):
        accepted = said("https://example.org/feedcalc.html, without spaces, name or password")
        raise InputError(
            "label.address", printable(address), said("This is not the address of a page or file."), accepted
        )
    compact = json.dumps(json.loads(request_json), ensure_ascii=False, separators=(",", ":")).encode(errors="replace")
    return f"{place}#batch={base64.urlsafe_b64encode(compact).decode().rstrip('=')}"


def _is_sound(address: str) -> bool:
    """Return whether an address is http or https, with a sound host and port and without credentials."""
    if not re.fullmatch(r"https?://[!-~]+", address):
        return False
    try:
        parts = urlsplit(address)
        host, port = parts.hostname or "", parts.port
        if host.startswith("[") or ":" in host:
            IPv6Address(host)
            return "@" not in parts.netloc
    except ValueError:
        return False
    labels = host.removesuffix(".").split(".")
    is_host = len(host) <= 253 and all(re.fullmatch(r"(?!-)[a-z0-9-]{1,63}(?<!-)", label) for label in labels)
    return is_host and port != 0 and "@" not in parts.netloc


@frozen
class NamedRequest:
    """A batch: the name that the grower gave it, and its request as JSON text."""

    name: str
    request: str


def batches_in(document: object) -> tuple[NamedRequest, ...]:
    """Return the batches of a file that the page saved; any other document is one request without a name.

    Raises `InputErrors` for a file without a readable batch, or one that a newer feedcalc wrote.
    """
    if not isinstance(document, Mapping) or document.get("format") != BATCHES_FORMAT:
        return (NamedRequest("", json.dumps(document)),)
    if document.get("version") != BATCHES_VERSION:
        problem = said("Another version of feedcalc wrote this file. Open it with that one.")
        raise InputErrors([InputError("version", printable(str(document.get("version")))[:40], problem, "1")])
    rows = document.get("batches")
    named = tuple(
        NamedRequest(row["name"] if isinstance(row.get("name"), str) else "", json.dumps(row["request"]))
        for row in (rows if isinstance(rows, list) else [])
        if isinstance(row, Mapping) and isinstance(row.get("request"), Mapping)
    )
    if not named:
        problem = said("There is no readable batch in this file.")
        raise InputErrors([InputError("batches", "", problem, said("a file that the page saved"))])
    return named


def can_words(can: Mapping[str, Shown]) -> str:
    """Return how to fill a can."""
    return said(
        "Can of {size}: {water} of water first, then {liquor} of liquor.",
        size=can["size"].text,
        water=can["water"].text,
        liquor=can["liquor"].text,
    )


def _contents(sheet: Sheet) -> str:
    return said(_CONTENTS[sheet.ash_state], ash=sheet.ash_label, water=sheet.water_label)


def _contents_of_can(sheet: Sheet) -> str:
    parts = sheet.figures["batch.parts_water"].text
    return said(
        "Wood-ash liquor in water, 1:{parts}. Ash: {ash}. Water: {water}.",
        parts=parts,
        ash=sheet.ash_label,
        water=sheet.dilution_water_label,
    )


_CONTENTS = {
    "fresh": said("Undiluted: potassium salts and alkali in water. Ash: {ash}, fresh. Water: {water}."),
    "aged": said("Undiluted: potassium salts and alkali in water. Ash: {ash}, aged. Water: {water}."),
    "unknown": said("Undiluted: potassium salts and alkali in water. Ash: {ash}. Water: {water}."),
    "leached": said("Undiluted: potassium salts and alkali in water. Ash: {ash}, rained on. Water: {water}."),
}
# By hazard class, and by whether readings were used.
_CLASS_WORDS = {
    ("corrosive", False): said("Worked out, not tested. Treat as corrosive: the high end of its pH says so."),
    ("corrosive", True): said("Worked out with your readings. Treat as corrosive: the high end of its pH says so."),
    ("irritant", False): said("Worked out, not tested. Treat as irritant: the high end of its pH says so."),
    ("irritant", True): said("Worked out with your readings. Treat as irritant: the high end of its pH says so."),
    ("corrosive by strength", False): said(
        "Worked out, not tested. Treat as corrosive: its highest likely strength says so."
    ),
    ("corrosive by strength", True): said(
        "Worked out with your readings. Treat as corrosive: its highest likely strength says so."
    ),
    ("irritant by strength", False): said(
        "Worked out, not tested. Treat as irritant: its highest likely strength says so."
    ),
    ("irritant by strength", True): said(
        "Worked out with your readings. Treat as irritant: its highest likely strength says so."
    ),
    ("mild", False): said("Worked out, not tested. Its pH makes it mild, but do not drink it."),
    ("mild", True): said("Worked out with your readings. Its pH makes it mild, but do not drink it."),
}


def _class_words(hazard: Hazard, ph: Shown, was_read: bool) -> str:
    if not ph.range:
        return said("No range was worked out. Treat it as corrosive.")
    return _CLASS_WORDS[hazard.name + (" by strength" if hazard.by == "strength" else ""), was_read]


def _day(moment: datetime | None) -> str:
    """Return the day with its year, since a bottle may be kept for long; empty if unknown."""
    if moment is None:
        return ""
    return date_words(moment)
