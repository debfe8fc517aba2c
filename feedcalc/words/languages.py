"""Languages: catalogues of messages, and the translation of a message.

* The English text in the source is the key; ``catalogues/es.mo``, compiled from ``es.po``, holds the translation.
* Only `Said` text is translated. What a person typed is the value of a placeholder.
* A message without a translation, or with wrong placeholders in it, appears in English.
* A language is listed because its catalogue is there; what it is called and how it runs comes from CLDR at the build.
* Placeholders are ``{name}``, in ``{% trans %}`` blocks of templates ``%(name)s``. Values for HTML are escaped.
"""

from __future__ import annotations

import gettext
import io
import json
import re
from collections.abc import Mapping
from datetime import date, datetime
from functools import cache, lru_cache
from typing import Any

import markupsafe

from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.json_text import json_object
from feedcalc.words.messages import Said, said, said_in
from feedcalc.words.package_files import package_file


def _installed(file_name: str) -> bytes | None:
    """Return a file of the catalogues, None where it is not installed."""
    try:
        return package_file("feedcalc.words", f"catalogues/{file_name}")
    except OSError:
        return None


def _listed() -> Mapping[str, Mapping[str, str]]:
    """Return what the build listed of each catalogue: ``name``, ``locale``, ``direction``, ``decimal``."""
    listed = _installed("languages.json")
    return json.loads(listed) if listed else {}


_CATALOGUES = _listed()
# The name of each language in itself, the locale for numbers if the request names none, those written from right to
# left, and those with a decimal comma.
LANGUAGES: Mapping[str, str] = {"en": "English", **{tag: about["name"] for tag, about in _CATALOGUES.items()}}
USUAL_LOCALE: Mapping[str, str] = {"en": "en-GB", **{tag: about["locale"] for tag, about in _CATALOGUES.items()}}
RIGHT_TO_LEFT = frozenset(tag for tag, about in _CATALOGUES.items() if about["direction"] == "rtl")
DECIMAL_COMMA = frozenset(tag for tag, about in _CATALOGUES.items() if about["decimal"] == ",")
# How numbers may be written: the usual locales first after those of English.
LOCALES = ("en-GB", "en-US", "en-AU", "en-IN", *(at for at in USUAL_LOCALE.values() if at != "en-GB"), "pt-BR")
# Around a value in a text from right to left, so that "2.5 g" and "1:6" keep their order (Unicode annex 9).
_ISOLATED = "\u2068{}\u2069"
_KEEPS_ITS_ORDER = re.compile(
    r"\d+(?:[:-](?:\{\w+\}|%\(\w+\)s))+"
    r"|\d[\d.,]*(?:\s|&nbsp;)*(?:°[A-Z]|[a-zA-Zµ]+(?:/[a-zA-Z]+)?)(?![\w(])"
)
_PLACE = re.compile(r"\{\w*\}|%\(\w+\)s")
# Most of what a reply holds is one of these, which no catalogue changes.
_WITHOUT_WORDS = frozenset({float, int, bool, type(None), str})
_LETTER = re.compile(r"[^\W\d_]")
_EVERY_PLURAL = (1, 2, 0, 3, 11, 100, 1_000_000)  # one number of each plural form of any language (CLDR)
# Days and months; the catalogues hold CLDR's abbreviated forms for use within a date.
DAYS = (
    said_in("short name of a day", "Mon"),
    said_in("short name of a day", "Tue"),
    said_in("short name of a day", "Wed"),
    said_in("short name of a day", "Thu"),
    said_in("short name of a day", "Fri"),
    said_in("short name of a day", "Sat"),
    said_in("short name of a day", "Sun"),
)
MONTHS = (
    *(
        said_in("short name of a month", "Jan"),
        said_in("short name of a month", "Feb"),
        said_in("short name of a month", "Mar"),
        said_in("short name of a month", "Apr"),
        said_in("short name of a month", "May"),
        said_in("short name of a month", "Jun"),
    ),
    *(
        said_in("short name of a month", "Jul"),
        said_in("short name of a month", "Aug"),
        said_in("short name of a month", "Sep"),
        said_in("short name of a month", "Oct"),
        said_in("short name of a month", "Nov"),
        said_in("short name of a month", "Dec"),
    ),
)

# Words of the contract (verdicts, stages, elements, ...) and short table headings, as a person reads them.
MACHINE_WORDS: Mapping[str, Said] = {
    "unknown": said_in("state of the ash", "unknown"),
    "leached": said_in("state of the ash", "leached"),
    "go": said_in("verdict", "go"),
    "go weaker": said_in("verdict", "go weaker"),
    "hold back": said_in("verdict", "hold back"),
    "corrosive": said_in("hazard of the liquor", "corrosive"),
    "irritant": said_in("hazard of the liquor", "irritant"),
    "mild": said_in("hazard of the liquor", "mild"),
    "seedling": said_in("age of the plants", "seedling"),
    "young": said_in("age of the plants", "young"),
    "established": said_in("age of the plants", "established"),
    "drench": said_in("how the feed is given", "drench"),
    "foliar": said_in("how the feed is given", "foliar"),
    "potassium": said_in("element or figure", "potassium"),
    "calcium": said_in("element or figure", "calcium"),
    "magnesium": said_in("element or figure", "magnesium"),
    "sodium": said_in("element or figure", "sodium"),
    "phosphorus": said_in("element or figure", "phosphorus"),
    "sulfur": said_in("element or figure", "sulfur"),
    "chloride": said_in("element or figure", "chloride"),
    "sulfate": said_in("element or figure", "sulfate"),
    "alkalinity": said_in("element or figure", "alkalinity"),
    "conductivity": said_in("element or figure", "conductivity"),
    "lime value": said_in("element or figure", "lime value"),
    "ash": said_in("what a bed got", "ash"),
    "liquid feed": said_in("what a bed got", "liquid feed"),
    "dry ash": said_in("what a bed got", "dry ash"),
    "sludge": said_in("what a bed got", "sludge"),
    "compost": said_in("what a bed got", "compost"),
    "lime": said_in("what a bed got", "lime"),
    "other": said_in("what a bed got", "other"),
    "above": said_in("beside a limit", "above"),
    "passes": said_in("grains at a filter", "passes"),
    "may be above": said("may be above"),
    "within": said_in("beside a limit", "within"),
    "may clog": said_in("grains at a filter", "may clog"),
    "held back": said_in("grains at a filter", "held back"),
    "never": said_in("with something else in one can", "never"),
    "not together": said_in("with something else in one can", "not together"),
    "with care": said_in("with something else in one can", "with care"),
    "pH": said_in("element or figure", "pH"),
    "conductivity at 25 °C": said("conductivity at 25 °C"),
    "pH at 25 °C": said("pH at 25 °C"),
    "alkalinity as CaCO₃": said("alkalinity as CaCO₃"),
    "lime value as CaCO₃": said("lime value as CaCO₃"),
    "a can": said_in("who gets it", "a can"),
    "a plant": said_in("who gets it", "a plant"),
    "a square metre": said("a square metre"),
    "5 minutes": said_in("time", "5 minutes"),
    "a quarter of an hour": said("a quarter of an hour"),
    "an hour": said_in("time", "an hour"),
    "4 hours": said_in("time", "4 hours"),
    "12 hours": said_in("time", "12 hours"),
    "a day": said_in("time", "a day"),
    "cadmium": said_in("metal", "cadmium"),
    "lead": said_in("metal", "lead"),
    "zinc": said_in("metal", "zinc"),
    "copper": said_in("metal", "copper"),
    "nickel": said_in("metal", "nickel"),
    "chromium": said_in("metal", "chromium"),
    "arsenic": said_in("metal", "arsenic"),
    "mercury": said_in("metal", "mercury"),
    "mixed": said_in("what was burnt", "mixed wood"),
    "fresh": said("fresh, kept dry since the fire"),
    "aged": said_in("state of the ash", "aged"),
    "cups": said("cups and spoons"),
    "scales": said_in("how ash is measured", "scales"),
    "covered": said_in("the bucket", "covered"),
    "open": said("open to the air"),
    "rain": said_in("water", "rainwater"),
    "metric": said_in("measures of a country", "metric"),
    "us": said_in("measures of a country", "US"),
    "uk": said_in("measures of a country", "UK"),
    "ph": said_in("element or figure", "pH"),
    "ec": said_in("element or figure", "conductivity"),
    "iron": said_in("element", "iron"),
    "manganese": said_in("element", "manganese"),
    "boron": said_in("element", "boron"),
    "too strong": said_in("beside a limit", "too strong"),
    "may be too strong": said("may be too strong"),
    "within the limits": said("within the limits"),
}


class Language:
    """A language with its catalogue; ``tag`` is the value of the ``lang`` attribute in HTML, such as ``de``."""

    def __init__(self, tag: str, catalogue: gettext.NullTranslations) -> None:
        self.tag = tag
        self._catalogue = catalogue
        self._is_rtl = tag in RIGHT_TO_LEFT

    @property
    def direction(self) -> str:
        """Return ``rtl`` or ``ltr``, as the ``dir`` attribute of HTML has it."""
        return "rtl" if self._is_rtl else "ltr"

    def _parts(self, message: str, parts: Mapping[str, Any]) -> dict[str, Any]:
        """Return the values of placeholders, translated; each isolated in a sentence from right to left."""
        spoken = {name: self.speak(part) if isinstance(part, Said) else part for name, part in parts.items()}
        if not (self._is_rtl and _LETTER.search(_PLACE.sub("", message))):
            return spoken
        isolated = {name: _ISOLATED.format(part) for name, part in spoken.items()}
        return {
            name: markupsafe.Markup(text) if hasattr(spoken[name], "__html__") else text
            for name, text in isolated.items()
        }

    def _directed(self, message: str) -> str:
        """Return a message with each ratio such as ``1:{parts}`` and each number with its unit isolated as a whole."""
        return _KEEPS_ITS_ORDER.sub(lambda found: _ISOLATED.format(found[0]), message) if self._is_rtl else message

    def speak(self, text: str) -> str:
        """Return the translation of a `Said`, any other text unchanged.

        >>> language("en").speak(said("Use by {day}.", day=said_in("short name of a day", "Mon")))
        'Use by Mon.'
        """
        if not isinstance(text, Said):
            return text
        parts = self._parts(text.message, text.parts)
        if text.number is None:
            found = self._found(text.context, text.message)
        else:
            found = self._catalogue.ngettext(text.message, text.plural, text.number)
        try:
            directed = self._directed(found)
            return text.written(directed.format_map(parts) if parts else directed)
        except (KeyError, ValueError, IndexError, AttributeError):
            return str(text)

    def forms(self, text: Said) -> tuple[str, ...]:
        """Return the translation of a message in all its plural forms, with its placeholders unfilled.

        >>> language("en").forms(said("{date}, {time}"))
        ('{date}, {time}',)
        """
        if text.number is None:
            return (self._found(text.context, text.message),)
        forms = (self._catalogue.ngettext(text.message, text.plural, number) for number in _EVERY_PLURAL)
        return tuple(dict.fromkeys(forms))

    def reply(self, value: Any) -> Any:
        """Return a reply, or any part of it, with its `Said` text translated; keys, numbers and other text stay."""
        if isinstance(value, str):
            return self.speak(value)
        if isinstance(value, Mapping):
            return {key: part if type(part) in _WITHOUT_WORDS else self.reply(part) for key, part in value.items()}
        if isinstance(value, (list, tuple)):
            return [part if type(part) in _WITHOUT_WORDS else self.reply(part) for part in value]
        return value

    def _found(self, context: str, message: str) -> str:
        if not message:
            return ""
        return self._catalogue.pgettext(context, message) if context else self._catalogue.gettext(message)

    def fill(self, message: str, parts: Mapping[str, Any], in_html: bool, context: str = "") -> str:
        """Return the translation of a template's message, filled; in HTML each value is escaped unless it is markup.

        >>> language("en").fill("<b>{name}</b>, %", {"name": "<i>"}, in_html=True)
        Markup('<b>&lt;i&gt;</b>, %')
        """
        return self._filled(self._found(context, message), message, parts, in_html)

    def fill_of(self, one: str, many: str, count: int, parts: Mapping[str, Any], in_html: bool) -> str:
        """Return the same as `fill` in singular or plural."""
        english = one if count == 1 else many
        return self._filled(self._catalogue.ngettext(one, many, count), english, parts, in_html)

    def _filled(self, found: str, english: str, parts: Mapping[str, Any], in_html: bool) -> str:
        spoken = self._parts(english, parts)
        if in_html:
            spoken = {name: as_html(part) for name, part in spoken.items()}
        try:
            text = _with_places(self._directed(found), spoken)
        except (KeyError, ValueError, IndexError, AttributeError, TypeError):
            text = _with_places(english, spoken)
        return markupsafe.Markup(text) if in_html else text


def as_html(value: Any) -> str:
    """Return a value as text for HTML: escaped, unless it is markup already.

    >>> as_html("<i>"), as_html(markupsafe.Markup("<i>")), as_html(2.5)
    ('&lt;i&gt;', Markup('<i>'), '2.5')
    """
    return value if isinstance(value, markupsafe.Markup) else _escaped(value if type(value) is str else str(value))


@lru_cache(maxsize=4096)
def _escaped(text: str) -> str:
    """Return a text without signs that HTML would read as markup; most texts of a sheet are those of the last one."""
    return str(markupsafe.escape(text))


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
    catalogue = _installed(f"{tag}.mo")
    if catalogue is None:
        raise InputErrors([InputError("language", tag, "This installation lacks the words of this language.", "en")])
    return Language(tag, gettext.GNUTranslations(io.BytesIO(catalogue)))


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


def date_words(day: date) -> Said:
    """Return the date with its year.

    >>> date_words(date(2026, 5, 1))
    '1 May 2026'
    """
    return said("{day} {month} {year}", day=day.day, month=MONTHS[day.month - 1], year=day.year)


def moment_words(moment: datetime) -> Said:
    """Return the date and the time of day.

    >>> moment_words(datetime(2026, 5, 1, 9, 5))
    'Fri 1 May, 09:05'
    """
    return said_in("date and time", "{date}, {time}", date=day_words(moment), time=f"{moment:%H:%M}")
