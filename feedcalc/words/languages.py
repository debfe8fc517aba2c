"""What can be said in which language: catalogues of messages, and the one way from a message to its words.

Rules of this room:

* English in the source is the message; a catalogue (``catalogues/es.mo``, made from ``es.po``) says the same elsewhere.
* Only `Said` text is ever looked up. What a person typed fills a place and is never a message.
* A message that a catalogue lacks, or whose places it got wrong, is said in English rather than not at all.
* Places stand as ``{name}``; in templates' ``{% trans %}`` blocks as ``%(name)s``.
* Nothing here knows where words are shown, but for escaping: parts that go into HTML are escaped one by one.
"""

from __future__ import annotations

import gettext
from collections.abc import Mapping
from datetime import datetime
from functools import cache
from importlib import resources
from typing import Any

import markupsafe

from feedcalc.words.json_text import json_object
from feedcalc.words.messages import Said, said

# Each language's own name for itself, and the country whose way of writing numbers is taken where none is named.
LANGUAGES: Mapping[str, str] = {
    "en": "English",
    "es": "Español",
    "fr": "Français",
    "de": "Deutsch",
    "pt": "Português",
    "hi": "हिन्दी",
}
USUAL_LOCALE: Mapping[str, str] = {
    "en": "en-GB",
    "es": "es-ES",
    "fr": "fr-FR",
    "de": "de-DE",
    "pt": "pt-PT",
    "hi": "hi-IN",
}
# Names of days and months: in the catalogues they are CLDR's abbreviated forms as they stand inside a date.
DAYS = (said("Mon"), said("Tue"), said("Wed"), said("Thu"), said("Fri"), said("Sat"), said("Sun"))
MONTHS = (
    *(said("Jan"), said("Feb"), said("Mar"), said("Apr"), said("May"), said("Jun")),
    *(said("Jul"), said("Aug"), said("Sep"), said("Oct"), said("Nov"), said("Dec")),
)

# The machine's words (verdicts, stages, elements, ...) and the short heads of tables, as they are said to a person.
MACHINE_WORDS: Mapping[str, Said] = {
    "unknown": said("unknown"),
    "leached": said("leached"),
    "go": said("go"),
    "go weaker": said("go weaker"),
    "hold back": said("hold back"),
    "corrosive": said("corrosive"),
    "irritant": said("irritant"),
    "mild": said("mild"),
    "seedling": said("seedling"),
    "young": said("young"),
    "established": said("established"),
    "drench": said("drench"),
    "foliar": said("foliar"),
    "potassium": said("potassium"),
    "calcium": said("calcium"),
    "magnesium": said("magnesium"),
    "sodium": said("sodium"),
    "phosphorus": said("phosphorus"),
    "sulfur": said("sulfur"),
    "chloride": said("chloride"),
    "sulfate": said("sulfate"),
    "alkalinity": said("alkalinity"),
    "conductivity": said("conductivity"),
    "lime value": said("lime value"),
    "ash": said("ash"),
    "liquid feed": said("liquid feed"),
    "dry ash": said("dry ash"),
    "sludge": said("sludge"),
    "compost": said("compost"),
    "lime": said("lime"),
    "other": said("other"),
    "above": said("above"),
    "passes": said("passes"),
    "may be above": said("may be above"),
    "within": said("within"),
    "may clog": said("may clog"),
    "held back": said("held back"),
    "never": said("never"),
    "not together": said("not together"),
    "with care": said("with care"),
    "pH": said("pH"),
    "conductivity at 25 °C": said("conductivity at 25 °C"),
    "alkalinity as CaCO₃": said("alkalinity as CaCO₃"),
    "lime value as CaCO₃": said("lime value as CaCO₃"),
    "a can": said("a can"),
    "a plant": said("a plant"),
    "a square metre": said("a square metre"),
    "5 minutes": said("5 minutes"),
    "a quarter of an hour": said("a quarter of an hour"),
    "an hour": said("an hour"),
    "4 hours": said("4 hours"),
    "12 hours": said("12 hours"),
    "a day": said("a day"),
    "cadmium": said("cadmium"),
    "lead": said("lead"),
    "zinc": said("zinc"),
    "copper": said("copper"),
    "nickel": said("nickel"),
    "chromium": said("chromium"),
    "arsenic": said("arsenic"),
    "mercury": said("mercury"),
    "mixed": said("mixed wood"),
    "fresh": said("fresh, kept dry since the fire"),
    "aged": said("aged"),
    "cups": said("cups and spoons"),
    "scales": said("scales"),
    "covered": said("covered"),
    "open": said("open to the air"),
    "rain": said("rainwater"),
    "metric": said("metric"),
    "us": said("US"),
    "uk": said("UK"),
    "ph": said("pH"),
    "ec": said("conductivity"),
}


class Language:
    """One language: says messages by its catalogue, or as they stand where it has none.

    ``tag`` is what the ``lang`` attribute of HTML takes, such as ``de``.
    """

    def __init__(self, tag: str, catalogue: gettext.NullTranslations) -> None:
        self.tag = tag
        self._catalogue = catalogue

    def speak(self, text: str) -> str:
        """``text`` in this language, if it remembers its message; any other text as it is.

        >>> language("en").speak(said("Use by {day}.", day=said("Mon")))
        'Use by Mon.'
        """
        if not isinstance(text, Said):
            return text
        parts = {name: self.speak(part) if isinstance(part, Said) else part for name, part in text.parts.items()}
        if text.number is None:
            found = self._catalogue.gettext(text.message) if text.message else ""
        else:
            found = self._catalogue.ngettext(text.message, text.plural, text.number)
        try:
            return text.written(found.format_map(parts) if parts else found)
        except (KeyError, ValueError, IndexError, AttributeError):
            return str(text)

    def reply(self, value: Any) -> Any:
        """A reply, or any part of it, with all its `Said` text spoken; keys, numbers and other text stay."""
        if isinstance(value, str):
            return self.speak(value)
        if isinstance(value, Mapping):
            return {key: self.reply(part) for key, part in value.items()}
        if isinstance(value, (list, tuple)):
            return [self.reply(part) for part in value]
        return value

    def fill(self, message: str, parts: Mapping[str, Any], in_html: bool) -> str:
        """A template's message with its places filled; in HTML every part is escaped unless it is markup already.

        >>> language("en").fill("<b>{name}</b>, %", {"name": "<i>"}, in_html=True)
        Markup('<b>&lt;i&gt;</b>, %')
        """
        return self._filled(self._catalogue.gettext(message), message, parts, in_html)

    def fill_of(self, one: str, many: str, count: int, parts: Mapping[str, Any], in_html: bool) -> str:
        """As `fill`, where the wording hangs on a whole number."""
        english = one if count == 1 else many
        return self._filled(self._catalogue.ngettext(one, many, count), english, parts, in_html)

    def _filled(self, found: str, english: str, parts: Mapping[str, Any], in_html: bool) -> str:
        spoken = {name: self.speak(part) if isinstance(part, str) else part for name, part in parts.items()}
        if in_html:
            spoken = {name: markupsafe.escape(part) for name, part in spoken.items()}
        try:
            text = _with_places(found, spoken)
        except (KeyError, ValueError, IndexError, AttributeError, TypeError):
            text = _with_places(english, spoken)
        return markupsafe.Markup(text) if in_html else text


def _with_places(message: str, parts: Mapping[str, Any]) -> str:
    """Places by either of the two signs; the two never stand in one message."""
    if "%(" in message or "%%" in message:
        return message % parts
    return message.format_map(parts) if parts else message


@cache
def language(tag: str) -> Language:
    """The language of a tag of `LANGUAGES`; without a catalogue on this machine it speaks English."""
    file = resources.files("feedcalc.words") / "catalogues" / f"{tag}.mo"
    if tag == "en" or tag not in LANGUAGES or not file.is_file():
        return Language(tag if tag in LANGUAGES else "en", gettext.NullTranslations())
    with file.open("rb") as stream:
        return Language(tag, gettext.GNUTranslations(stream))


def language_asked(request: str) -> Language:
    """The language that a request (as JSON text) asks for; English where it names none or is no request.

    >>> language_asked('{"language": "de"}').tag, language_asked("five litres").tag
    ('de', 'en')
    """
    tag = (json_object(request) or {}).get("language", "")
    return language(str(tag).strip().casefold())


def day_words(moment: datetime) -> Said:
    """A day of the week and the date, as they stand in a sentence.

    >>> day_words(datetime(2026, 5, 1))
    'Fri 1 May'
    """
    return said(
        "{weekday} {day} {month}",
        weekday=DAYS[moment.weekday()],
        day=moment.day,
        month=MONTHS[moment.month - 1],
    )


def moment_words(moment: datetime) -> Said:
    """A day and clock time.

    >>> moment_words(datetime(2026, 5, 1, 9, 5))
    'Fri 1 May, 09:05'
    """
    return said("{date}, {time}", date=day_words(moment), time=f"{moment:%H:%M}")
