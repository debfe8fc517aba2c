"""Languages: catalogues of messages, and the translation of a message.

* The English text in the source is the key; ``catalogues/es.mo``, compiled from ``es.po``, holds the translation.
* Only `Said` text is translated. What a person typed is the value of a placeholder.
* A message without a translation, or with wrong placeholders in it, appears in English.
* Placeholders are ``{name}``, in ``{% trans %}`` blocks of templates ``%(name)s``. Values for HTML are escaped.
"""

from __future__ import annotations

import gettext
from collections.abc import Mapping
from datetime import datetime
from functools import cache
from importlib import resources
from typing import Any

import markupsafe

from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.json_text import json_object
from feedcalc.words.messages import Said, said

# The name of each language in itself, and the locale for numbers if the request names none.
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
# Days and months; the catalogues hold CLDR's abbreviated forms for use within a date.
DAYS = (said("Mon"), said("Tue"), said("Wed"), said("Thu"), said("Fri"), said("Sat"), said("Sun"))
MONTHS = (
    *(said("Jan"), said("Feb"), said("Mar"), said("Apr"), said("May"), said("Jun")),
    *(said("Jul"), said("Aug"), said("Sep"), said("Oct"), said("Nov"), said("Dec")),
)

# Words of the contract (verdicts, stages, elements, ...) and short table headings, as a person reads them.
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
    "pH at 25 °C": said("pH at 25 °C"),
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
    "iron": said("iron"),
    "manganese": said("manganese"),
    "boron": said("boron"),
    "too strong": said("too strong"),
    "may be too strong": said("may be too strong"),
    "within the limits": said("within the limits"),
}


class Language:
    """A language with its catalogue; ``tag`` is the value of the ``lang`` attribute in HTML, such as ``de``."""

    def __init__(self, tag: str, catalogue: gettext.NullTranslations) -> None:
        self.tag = tag
        self._catalogue = catalogue

    def speak(self, text: str) -> str:
        """Return the translation of a `Said`, any other text unchanged.

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
        """Return a reply, or any part of it, with its `Said` text translated; keys, numbers and other text stay."""
        if isinstance(value, str):
            return self.speak(value)
        if isinstance(value, Mapping):
            return {key: self.reply(part) for key, part in value.items()}
        if isinstance(value, (list, tuple)):
            return [self.reply(part) for part in value]
        return value

    def fill(self, message: str, parts: Mapping[str, Any], in_html: bool) -> str:
        """Return the translation of a template's message, filled; in HTML each value is escaped unless it is markup.

        >>> language("en").fill("<b>{name}</b>, %", {"name": "<i>"}, in_html=True)
        Markup('<b>&lt;i&gt;</b>, %')
        """
        return self._filled(self._catalogue.gettext(message), message, parts, in_html)

    def fill_of(self, one: str, many: str, count: int, parts: Mapping[str, Any], in_html: bool) -> str:
        """Return the same as `fill` in singular or plural."""
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
    """Return a message with its placeholders filled, in either of the two forms; a message uses only one."""
    if "%(" in message or "%%" in message:
        return message % parts
    return message.format_map(parts) if parts else message


@cache
def language(tag: str) -> Language:
    """Return the language of a tag; English for a tag that is not in `LANGUAGES`.

    Raises `InputErrors` where the catalogue of the language is not installed, in English because no other is sure.
    """
    if tag == "en" or tag not in LANGUAGES:
        return Language("en", gettext.NullTranslations())
    file = resources.files("feedcalc.words") / "catalogues" / f"{tag}.mo"
    if not file.is_file():
        raise InputErrors([InputError("language", tag, "This installation lacks the words of this language.", "en")])
    with file.open("rb") as stream:
        return Language(tag, gettext.GNUTranslations(stream))


def language_asked(request: str) -> Language:
    """Return the language a request (JSON text) asks for; English if it names none that is installed.

    >>> language_asked('{"language": "de"}').tag, language_asked("five litres").tag
    ('de', 'en')
    """
    tag = (json_object(request) or {}).get("language", "")
    try:
        return language(str(tag).strip().casefold())
    except InputErrors:
        return language("en")


def day_words(moment: datetime) -> Said:
    """Return the day of the week and the date for a sentence.

    >>> day_words(datetime(2026, 5, 1))
    'Fri 1 May'
    """
    return said(
        "{weekday} {day} {month}", weekday=DAYS[moment.weekday()], day=moment.day, month=MONTHS[moment.month - 1]
    )


def moment_words(moment: datetime) -> Said:
    """Return the date and the time of day.

    >>> moment_words(datetime(2026, 5, 1, 9, 5))
    'Fri 1 May, 09:05'
    """
    return said("{date}, {time}", date=day_words(moment), time=f"{moment:%H:%M}")
