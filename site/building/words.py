"""The catalogues of messages: gathered from all sources, checked, and made ready for the package and the page.

    python -m building.words extract    in the folder site: messages.pot anew, and every .po file brought up to it
    python -m building.words check      what is missing, doubtful or damaged; fails with one line
    python -m building.words compile    the .mo files that the package reads

Rules: English in the source is the message. Messages of Python, of templates, of the page's scripts and of the
published tables stand in one catalogue. Names of days and months come from CLDR (Babel), here and never at run time.
A message that is only places and signs is not for translators. One or two words have a context: scripts and templates
give it, tables have their column, the page its element. Patterns of dates and lists come from CLDR too.
"""

from __future__ import annotations

import gettext
import io
import re
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, ClassVar

from babel import Locale
from babel.messages import extract as gathering
from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po, write_po

from building import catalogues
from building.bundle import modules
from building.catalogues import DATED

ROOT = Path(__file__).resolve().parents[2]
CATALOGUES = ROOT / "feedcalc" / "words" / "catalogues"
if not catalogues.are_compiled(CATALOGUES):  # before the package is imported, which reads there its languages
    catalogues.compile_catalogues(CATALOGUES)

from feedcalc import published  # noqa: E402
from feedcalc.garden.plants import names_of, plants  # noqa: E402
from feedcalc.words import languages  # noqa: E402
from feedcalc.words.messages import is_short  # noqa: E402

TEMPLATE = CATALOGUES / "messages.pot"
IN = ((1, "c"), 2)  # for Babel: the first argument is the context, the second the message
TRANSLATED = tuple(sorted(file.stem for file in CATALOGUES.glob("*.po")))
# Where messages are seen, by what they stand in: the first that fits is told to translators.
SEEN = (
    ("published/hazard", "hazard statements on label and sheet"),
    ("published/cautions", "cautions on label, sheet and wall"),
    ("published/plants", "names of plants, and why they bear lime or not"),
    ("published/", "reasons and names from the tables"),
    ("templates/label", "label"),
    ("templates/wall", "sheet for the wall"),
    ("templates/season", "season book"),
    ("templates/spread", "sheet for dry ash"),
    ("templates/ladder", "dilution table"),
    ("templates/delivery", "what it delivers"),
    ("templates/trust", "how sure this is"),
    ("templates/reactions", "acid, air, mixing"),
    ("templates/", "batch sheet"),
    ("paper/label", "label"),
    ("paper/wall", "sheet for the wall"),
    ("contract/quantities", "refusals of what was typed"),
    ("contract/request", "refusals of what was typed, names of fields"),
    ("garden/metals", "season book"),
    ("feedcalc/book", "season book"),
    ("site/", "the page"),
    ("", "sheets and replies"),
)
# What a message means where English could be read in two ways and no context says it.
NOTES = {
    "may be above": "of a value: perhaps greater than a limit",
    "within limits for": "head of a column: for which plants a dilution stays within the limits",
}
PLACE = re.compile(r"\{\w*\}|%\(\w+\)s")
TAG = re.compile(r"</?[a-zA-Z][^<>]*>|&\w+;|\*\*")
LETTERS = re.compile(r"[^\W\d_]{2,}")
# Alike in several languages: no sign that a translation was forgotten.
_NOT_WORDS = re.compile(
    r"pH|EC|K\b|mS/cm|mg/L|g/L|µm|CaCO[₃3]|cm\b|mm\b|°C|ppm|A[4-7]|doi|CSV|JSON|feedcalc|SVG|PDF|QR|µS/cm"
)


class WordsMissing(Exception):
    """The catalogues can't be used as they are; the message is the one line a person reads."""


@dataclass(frozen=True, slots=True)
class Found:
    """A message, its plural and its context or nothing, and where it stands."""

    one: str
    many: str
    file: str
    line: int
    context: str = ""


def main(arguments: list[str]) -> None:
    """Carry out one of the three verbs."""
    verbs = {"extract": extract, "check": check, "compile": compile_catalogues}
    if len(arguments) != 1 or arguments[0] not in verbs:
        raise WordsMissing("say extract, check or compile.")
    verbs[arguments[0]]()


def extract() -> None:
    """Write the template anew and bring every language up to it; translations stay, changed ones become doubtful."""
    template = gathered()
    CATALOGUES.mkdir(exist_ok=True)
    _write(TEMPLATE, template)
    for tag in TRANSLATED:
        held = catalogue(tag)
        fresh = Catalog(locale=tag, project="feedcalc", header_comment=_header(tag), charset="utf-8", fuzzy=False)
        held.update(template, no_fuzzy_matching=True, update_header_comment=False)
        given = names_in_dates(tag) | statements_of_law(tag) | names_of_plants(tag)
        patterns = patterns_of(tag)
        for message in held:
            if message.id:
                fresh[message.id] = message
                if listed := template.get(message.id, message.context):
                    message.auto_comments, message.locations = listed.auto_comments, listed.locations
                said = given.get(_one(message), message.string)
                message.string = patterns.get((message.context or "", _one(message)), said)
        _write(CATALOGUES / f"{tag}.po", fresh)
        left = sum(1 for message in fresh if message.id and not _is_said(message))
        print(f"{tag}: {len(fresh)} messages, {left} to translate")


def check() -> None:
    """Raise `WordsMissing` at the first language and message that can't be used."""
    template = gathered()
    for tag in TRANSLATED:
        faults = list(faults_in(tag, template))
        if faults:
            raise WordsMissing(f"{catalogues.about(tag)['name']} ({tag}.po): {faults[0]} ({len(faults)} such messages)")


def faults_in(tag: str, template: Catalog) -> Iterator[str]:
    """What is wrong with a language's catalogue, a line for each message."""
    held = catalogue(tag)
    for wanted in template:
        if not wanted.id:
            continue
        one = _one(wanted)
        message = held.get(wanted.id, wanted.context)
        if message is None or not _is_said(message):
            yield f"missing: {one!r}"
        elif message.fuzzy:
            yield f"doubtful (fuzzy): {one!r}"
        else:
            spoken = message.string if isinstance(message.string, (tuple, list)) else (message.string,)
            places = set(PLACE.findall(one)) - {"{count}"}
            # A language with a form for exactly one or two need not say the number there.
            dispensable = 1 if len(spoken) > 2 else 0
            for words in map(str, spoken):
                there = set(PLACE.findall(words)) - {"{count}"}
                if not there <= places or len(places - there) > dispensable:
                    yield f"other places than in English: {one!r}"
                elif sorted(TAG.findall(words)) != sorted(TAG.findall(one)):
                    yield f"other marks than in English: {one!r}"
                elif words == one and len(LETTERS.findall(_NOT_WORDS.sub("", PLACE.sub("", TAG.sub("", one))))) > 3:
                    yield f"still English: {one!r}"


def compile_catalogues() -> None:
    """Make the .mo file of every language; nothing is written where nothing changed."""
    catalogues.compile_catalogues(CATALOGUES)
    languages.language.cache_clear()


def page_words() -> dict[str, Any]:
    """What words.js needs: the messages that the page may replace, and for each language what they are there.

    The first ``static`` of the messages stand in the page itself, the others in its scripts; a context comes before
    its message, and what depends on a number has a list of forms, ``forms`` telling which is whose. ``plants`` are
    names to offer where one is typed.
    """
    static = sorted(set(static_messages()))
    scripts = {(found.context, found.one) for found in _of_scripts()}
    needed = [*static, *sorted(scripts - set(static))]
    words: dict[str, Any] = {"messages": ["\u0004".join(filter(None, key)) for key in needed], "static": len(static)}
    for tag in TRANSLATED:
        spoken = {(message.context or "", _one(message)): message for message in catalogue(tag) if message.id}
        held = [spoken.get(key) for key in needed]
        words[tag] = [message.string if message and _is_said(message) else "" for message in held]
    words["locales"] = dict(languages.USUAL_LOCALE)
    words["rtl"] = sorted(languages.RIGHT_TO_LEFT)
    words["forms"] = {tag: plural_forms(tag) for tag in TRANSLATED}
    words["plants"] = {tag: sorted(names_of_plants(tag).values()) for tag in TRANSLATED}
    return words


def plural_forms(tag: str) -> dict[str, int]:
    """For each of CLDR's categories of numbers in a language, the place of its form in the catalogue."""
    place, category = gettext.c2py(catalogue(tag).plural_expr), Locale.parse(tag).plural_form
    return {category(number): place(number) for number in range(200, -1, -1)}


def gathered() -> Catalog:
    """Every message of the sources, in the order of the places where it is seen."""
    found = [*_of_python(), *_of_templates(), *_of_tables(), *_of_scripts()]
    found += [Found(message, "", "site/page.html.j2", 0, context) for context, message in static_messages()]
    bare: list[Found] = []
    catalog = Catalog(project="feedcalc", charset="utf-8", header_comment=_header(""), fuzzy=False)
    for each in sorted(found, key=lambda each: (_seen(each.file), each.file, each.line)):
        is_words = LETTERS.search(PLACE.sub("", TAG.sub("", each.one))) or each.one in names_in_dates("en")
        if not is_words and (each.context, each.one) not in patterns_of("en"):
            continue
        places = PLACE.findall(each.one)
        if is_short(each.one) and not each.context and not each.many:
            bare.append(each)
        comments = [f"seen: {_seen(each.file)}"]
        if places:
            comments.append("places: " + " ".join(dict.fromkeys(places)))
        if each.one in NOTES:
            comments.append(f"meaning: {NOTES[each.one]}")
        identity: str | tuple[str, str] = (each.one, each.many) if each.many else each.one
        context = each.context or None
        catalog.add(identity, locations=[(each.file, each.line)], auto_comments=comments, context=context)
    if bare:
        lines = "".join(f"\n  {each.file}:{each.line} {each.one!r}" for each in bare)
        raise WordsMissing(f"one or two words need a context (said_in, pgettext, sayIn):{lines}")
    return catalog


def catalogue(tag: str) -> Catalog:
    """The .po file of a language; empty where there is none yet."""
    file = CATALOGUES / f"{tag}.po"
    if not file.is_file():
        return Catalog(locale=tag, charset="utf-8")
    with file.open("rb") as stream:
        return read_po(stream, locale=tag)


def names_in_dates(tag: str) -> dict[str, str]:
    """English short names of days and months, and CLDR's in a language, as they stand inside a date."""
    english = [str(name) for name in (*languages.DAYS, *languages.MONTHS)]
    locale = Locale.parse(tag)
    days, months = locale.days["format"]["abbreviated"], locale.months["format"]["abbreviated"]
    spoken = [days[day] for day in range(7)] + [months[month] for month in range(1, 13)]
    if tag == "en":
        return {name: name for name in english}
    return dict(zip(english, spoken, strict=True))


@cache
def patterns_of(tag: str) -> dict[tuple[str, str], str]:
    """CLDR's patterns of dates and lists in a language, by context and message; every language has its own order."""
    locale = Locale.parse(tag)
    dates, lists = locale.datetime_skeletons, locale.list_patterns
    moment = str(
        Locale.parse("en-GB" if tag == "en" else catalogues.about(tag)["locale"], sep="-").datetime_formats["medium"]
    )
    return {
        ("", "{weekday} {day} {month}"): _date_pattern(dates["MMMEd"].pattern),
        ("", "{day} {month} {year}"): _date_pattern(dates["yMMMd"].pattern),
        ("date and time", "{date}, {time}"): moment.format("{time}", "{date}"),
        ("", "{first} and {second}"): lists["standard"]["2"].format("{first}", "{second}"),
        ("list", "{start}, {next}"): lists["standard"]["middle"].format("{start}", "{next}"),
        ("", "{start} and {last}"): lists["standard"]["end"].format("{start}", "{last}"),
        ("", "{first} or {second}"): lists["or"]["2"].format("{first}", "{second}"),
        ("list of alternatives", "{start}, {next}"): lists["or"]["middle"].format("{start}", "{next}"),
        ("", "{start} or {last}"): lists["or"]["end"].format("{start}", "{last}"),
    }


def _date_pattern(pattern: str) -> str:
    """A pattern of CLDR such as ``E, d 'de' MMM`` with our places."""
    places = {"E": "{weekday}", "ccc": "{weekday}", "d": "{day}", "MMM": "{month}", "LLL": "{month}", "y": "{year}"}
    parts = re.findall(r"'([^']*)'|([A-Za-z]+)|([^A-Za-z']+)", pattern)
    return "".join(quoted or places.get(field, field) + signs for quoted, field, signs in parts)


def statements_of_law(tag: str) -> dict[str, str]:
    """English hazard statements, and those of the regulation in a language where the table has them."""
    official = {row["code"]: row["text"] for row in published.table("ghs_statements") if row["language"] == tag}
    english = {row["code"]: str(row["text"]) for row in published.table("hazard_statements")}
    return {english[code]: text for code, text in official.items() if code in english}


def names_of_plants(tag: str) -> dict[str, str]:
    """English usual names of plants, and the usual ones in a language, as the table has them."""
    return {str(plant.names[0]): names_of(plant, tag)[0] for plant in plants()}


def _of_python() -> Iterator[Found]:
    for file in sorted((ROOT / "feedcalc").rglob("*.py")):
        name = file.relative_to(ROOT).as_posix()
        if file.name == "messages.py" or file.name == "languages.py":
            text = re.sub(r'"""[^"]*>>>.*?"""', '""', file.read_text(encoding="utf-8"), flags=re.S)
        else:
            text = file.read_text(encoding="utf-8")
        yield from _extracted("python", text, name, {"said": None, "said_of": (2, 3), "said_in": IN})


def _of_templates() -> Iterator[Found]:
    for file in sorted((ROOT / "feedcalc" / "sheets" / "templates").glob("*.j2")):
        name = file.relative_to(ROOT).as_posix()
        options = {"trim_blocks": "true", "lstrip_blocks": "true", "newstyle_gettext": "true", "silent": "false"}
        for line, function, message, _ in _jinja(file.read_bytes(), options):
            one, many = message if isinstance(message, tuple) else (message, "")
            if function == "pgettext":
                yield Found(many, "", name, line, one)
            elif function is not None and one:
                yield Found(one, many or "", name, line)


def _jinja(content: bytes, options: dict[str, str]) -> Iterator[tuple[int, str, Any, list[str]]]:
    from jinja2.ext import babel_extract

    for line, function, message, comments in babel_extract(
        io.BytesIO(content), ("_", "gettext", "ngettext", "pgettext"), (), options
    ):
        if isinstance(message, tuple):
            message = tuple(part for part in message if isinstance(part, str))
            message = (
                message if function in ("ngettext", "pgettext") and len(message) == 2 else message[0] if message else ""
            )
        yield line, function, message, comments


def _of_tables() -> Iterator[Found]:
    for name, columns in sorted(published.TRANSLATED_COLUMNS.items()):
        for number, row in enumerate(published.table(name), start=1):
            for column in columns:
                if cell := published.message_of(name, column, str(row[column])):
                    yield Found(cell.message, "", f"feedcalc/published/{name}.csv", number, cell.context)


def _of_scripts() -> Iterator[Found]:
    for file in modules():
        name = file.relative_to(ROOT).as_posix()
        yield from _extracted(
            "javascript", file.read_text(encoding="utf-8"), name, {"say": None, "sayOf": (2, 3), "sayIn": IN}
        )


def _extracted(method: str, text: str, name: str, keywords: dict[str, Any]) -> Iterator[Found]:
    stream = io.BytesIO(text.encode())
    for line, message, _, context in gathering.extract(
        method, stream, keywords=keywords, options={"encoding": "utf-8", "parse_template_string": True}
    ):
        one, many = message if isinstance(message, tuple) else (message, "")
        if one:
            yield Found(one, many, name, line, context or "")


class _Texts(HTMLParser):
    """Texts and spoken attributes of a page, without what scripts, the engine and people put there."""

    LEFT_ALONE = frozenset({"script", "style", "pre", "datalist"})
    EMPTY = frozenset({"input", "meta", "link", "br", "img", "hr"})
    # What a short text is, by the element that it stands in; words.js has the same. A choice has its field's name too.
    CONTEXTS: ClassVar[Mapping[str, str]] = {
        "option": "choice",
        "button": "button",
        "a": "button",
        "label": "field",
        "legend": "heading",
        "summary": "heading",
        **{f"h{level}": "heading" for level in range(1, 7)},
    }

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[tuple[str, str]] = []
        self.open: list[tuple[str, bool, str]] = []
        self.text = ""
        self.field = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.finish()
        given = dict(attrs)
        alone = tag in self.LEFT_ALONE or "data-part" in given or given.get("translate") == "no" or self.alone
        if not alone:
            for name in ("aria-label", "title", "alt"):
                self.add("read aloud", given.get(name) or "")
            example = given.get("placeholder") or ""
            if re.search(r"[^\W\d_]{3}", example) and "://" not in example:  # nor a number with its unit
                self.add("example in a field", example)
        if tag == "select":
            self.field = given.get("name") or given.get("id") or ""
        if tag not in self.EMPTY:
            kind = self.CONTEXTS.get(tag) or (self.open[-1][2] if self.open else "page")
            self.open.append((tag, alone, f"choice: {self.field}" if tag == "option" else kind))

    def handle_endtag(self, tag: str) -> None:
        self.finish()
        while self.open and self.open.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        self.text += data

    @property
    def alone(self) -> bool:
        return bool(self.open) and self.open[-1][1]

    def finish(self) -> None:
        if not self.alone:
            self.add(self.open[-1][2] if self.open else "page", re.sub(r"\s+", " ", self.text.strip()))
        self.text = ""

    def add(self, kind: str, text: str) -> None:
        if text:
            self.texts.append((kind if is_short(text) else "", text))


@cache
def static_messages() -> tuple[tuple[str, str], ...]:
    """The words that stand in the page itself, as words.js finds them, each after its context or nothing."""
    from building.assemble import page_without_engine

    reader = _Texts()
    reader.feed(page_without_engine())
    reader.close()
    texts = (found for found in reader.texts if LETTERS.search(found[1]) and found[1] != "feedcalc")
    return tuple(dict.fromkeys(texts))


def _seen(file: str) -> str:
    return next(words for part, words in SEEN if part in file)


def _one(message: Message) -> str:
    return message.id if isinstance(message.id, str) else message.id[0]


def _is_said(message: Message) -> bool:
    spoken = message.string if isinstance(message.string, (tuple, list)) else (message.string,)
    return bool(spoken) and all(spoken)


def _header(tag: str) -> str:
    own = catalogues.about(tag)["name"] if tag else ""
    return (
        f"# Words of feedcalc{f' in {own} ({tag})' if own else ''}.\n"
        "# {name} and %(name)s are places that are filled: keep each of them, in whatever order the language wants.\n"
        "# Keep marks such as <strong>, ** and &nbsp; too. Beside each message stands where it is seen.\n"
        "# How sure figures are, and cautions, must be said as strongly as in English: neither more nor less.\n"
        "# After a change run, in the folder site: python -m building.words check"
    )


def _write(file: Path, catalog: Catalog) -> None:
    stream = io.BytesIO()
    write_po(
        stream, catalog, width=116, omit_header=False, sort_by_file=False, ignore_obsolete=True, include_lineno=False
    )
    text = stream.getvalue().decode()
    file.write_text(DATED.sub("", text), encoding="utf-8")


if __name__ == "__main__":
    try:
        main(sys.argv[1:])
    except WordsMissing as missing:
        sys.exit(f"feedcalc: {missing}")
