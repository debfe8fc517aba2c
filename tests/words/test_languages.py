"""Every text for people can be translated, and typed text stays as it was typed."""

import gettext
import html
import json
import re
import string
import sys
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feedcalc import engine, published
from feedcalc.sheets import render
from feedcalc.sheets.paper import printing
from feedcalc.words import languages
from feedcalc.words.languages import LANGUAGES, LOCALES, USUAL_LOCALE, Language, day_words, moment_words
from feedcalc.words.messages import listed, said, said_of

sys.path.insert(0, str(Path(__file__).parents[2] / "site"))
from building import words as catalogues


class Bracketing(gettext.NullTranslations):
    """A language that puts every message in brackets, so that other text stands out."""

    def gettext(self, message):
        return f"⟦{message}⟧"

    def pgettext(self, context, message):
        return self.gettext(message)

    def ngettext(self, one, many, count):
        return f"⟦{one if count == 1 else many}⟧"


class Reversing(gettext.NullTranslations):
    """A language with another word order."""

    def gettext(self, message):
        return {"{a} before {b}": "{b} after {a}"}.get(message, message)


@pytest.fixture
def in_brackets(monkeypatch):
    made_up = Language("de", Bracketing())
    real = languages.language
    for room, name in ((engine, "language"), (render, "language_of"), (printing, "language")):
        monkeypatch.setattr(room, name, lambda tag: made_up if tag == "de" else real(tag))
    render._templates.cache_clear()
    yield
    render._templates.cache_clear()


def outside(text):
    """Return the text outside all brackets."""
    while (shorter := re.sub(r"⟦[^⟦⟧]*⟧", "", text)) != text:
        text = shorter
    return text


def seen_words(markup):
    """Return texts and read-aloud attributes of markup outside brackets that contain a word."""
    markup = re.sub(r"<dl class=\"sources\">.*?</dl>", "", markup, flags=re.S)
    attributes = re.findall(r'(?:aria-label|alt|title|data-label)="([^"]*)"', markup)
    texts = re.sub(r"<[^>]*>", "\n", outside_of_tags(markup)).split("\n")
    return {
        text.strip() for text in map(html.unescape, [*texts, *map(outside, attributes)]) if re.search("[a-z]{3}", text)
    }


def outside_of_tags(markup):
    """Return markup without the bracketed text; tags stay."""
    return outside(markup)


def known_outside_catalogues():
    """Return text that is not in the catalogues: citations and legal statements."""
    found = set(published.sources())
    for source in published.sources().values():
        found |= {source.citation, source.errata}
    found |= {row["text"] for row in published.table("ghs_statements")}
    return found


def reply_to(request):
    return json.loads(engine.calculate(json.dumps({"schema": 1, "language": "de", **request})))


BATCH = json.loads(engine.demo_request())
REQUESTS = {
    "demo": BATCH,
    "acid and mixing": {**BATCH, "acid": {"kind": "vinegar", "target_ph": "7"}, "mixing": {"with": "epsom salt"}},
    "dry ash": {"ask": "spread", "soil": {"ph": "6", "area": "6 m^2"}, "plant": "tomato"},
    "hardly anything": {},
}


@pytest.mark.usefixtures("in_brackets")
@pytest.mark.parametrize("name", REQUESTS)
def test_every_visible_word_is_a_message_or_was_typed(name):
    reply = reply_to(REQUESTS[name])
    assert reply["ok"]
    allowed = known_outside_catalogues()
    left = set()
    for part in reply["html"].values():
        for text in seen_words(part):
            bare = text.strip(" ().;,")
            if not any(bare in known or known in text for known in allowed if known) and bare != "Gefahr":
                left.add(text)
    assert not left
    for text in (*reply["warnings"], *(caution["text"] for caution in reply["cautions"])):
        assert not re.search("[a-z]{3}", outside(text)), text


@pytest.mark.usefixtures("in_brackets")
def test_refusals_are_messages():
    reply = reply_to(
        {
            "water": {"amount": "five buckets", "temperature": "99 degC"},
            "ash": {"kind": "coal", "amount": "3"},
            "steep": {"time": "5 m"},
            "dilution": "3",
            "cans": 3,
            "tomatoes": 2,
        }
    )
    assert len(reply["errors"]) == 8
    for error in reply["errors"]:
        assert not re.search("[a-z]{3}", outside(error["problem"])), error
        assert not re.search("[a-z]{3}", outside(error["accepted"])), error


@pytest.mark.usefixtures("in_brackets")
@pytest.mark.parametrize("hostile", ["<script>alert(1)</script>", "{day} %(day)s %s", "⟦", "'\"&<b>", "{0.__class__}"])
def test_typed_text_is_escaped_everywhere(hostile):
    reply = reply_to({**BATCH, "plant": hostile, "ranges": "off"})
    assert reply["ok"]
    together = "".join(reply["html"].values())
    assert "<script" not in together
    assert "<b>'" not in together
    assert (
        html.escape(hostile) in together
        or str(html.escape(hostile)).replace("&#x27;", "&#39;").replace("&quot;", "&#34;") in together
    )


@given(st.text(alphabet=string.printable + "é€⟦‮", max_size=30))
def test_any_value_in_a_template_is_escaped(typed):
    made = languages.language("en").fill("<strong>{typed}</strong>", {"typed": typed}, in_html=True)
    inside = made.removeprefix("<strong>").removesuffix("</strong>")
    assert not set("<>\"'") & set(inside)
    assert html.unescape(inside) == typed


@given(st.text(max_size=30))
def test_any_value_in_a_message_is_unchanged(typed):
    assert Language("xx", Reversing()).speak(said("{a} before {b}", a=typed, b="x")) == f"x after {typed}"


def test_values_of_a_message_are_translated_separately():
    brackets = Language("xx", Bracketing())
    assert brackets.speak(said("{a} before {b}", a=said("one"), b="two")) == "⟦⟦one⟧ before two⟧"
    assert outside(brackets.speak(listed([said("one"), said("two")]))) == ""
    assert brackets.speak(said_of(2, "{count} can", "{count} cans")) == "⟦2 cans⟧"
    assert brackets.speak("typed by hand") == "typed by hand"


def test_a_damaged_translation_falls_back_to_english():
    class Damaged(gettext.NullTranslations):
        def gettext(self, message):
            return "{nobody} and {0}"

    damaged = Language("xx", Damaged())
    assert damaged.speak(said("Use by {day}.", day="Monday")) == "Use by Monday."
    assert damaged.fill("Use by {day}.", {"day": "<Monday>"}, in_html=True) == "Use by &lt;Monday&gt;."


def test_a_request_without_a_language_is_answered_in_english():
    plain = json.loads(engine.calculate(json.dumps({**BATCH, "ranges": "off"})))
    english = json.loads(engine.calculate(json.dumps({**BATCH, "ranges": "off", "language": "en"})))
    assert plain == english
    assert "language" not in plain["assumed"]


@pytest.mark.parametrize("tag", LANGUAGES)
def test_figures_and_words_of_the_contract_are_the_same_in_every_language(tag):
    asked = {**BATCH, "ranges": "off", "locale": "en-GB"}
    english = json.loads(engine.calculate(json.dumps(asked)))["values"]
    spoken = json.loads(engine.calculate(json.dumps({**asked, "language": tag})))["values"]
    assert without_words(spoken) == without_words(english)


def without_words(values):
    """Return values without text for people."""
    if isinstance(values, dict):
        return {name: without_words(part) for name, part in values.items() if name not in ("words", "text")}
    return [without_words(part) for part in values] if isinstance(values, list) else values


def test_numbers_follow_the_language_unless_a_locale_is_given():
    request = {**BATCH, "ranges": "off"}
    del request["locale"]
    assert set(USUAL_LOCALE.values()) <= set(LOCALES)
    assert reply_to(request)["assumed"]["locale"] == "de-DE"
    assert "locale" not in reply_to({**request, "locale": "en-US"})["assumed"]


@pytest.mark.parametrize(("locale", "mark"), [("de-DE", ","), ("pt-BR", ","), ("en-GB", "."), ("hi-IN", ".")])
def test_numbers_in_sentences_follow_the_locale(locale, mark):
    asked = {"schema": 1, "ranges": "off", "locale": locale, "ash": {"amount": "100 g"}}
    amounts = {"amount": "4 L"}
    cans = {"cans": [{"size": "9 L", "count": 2}], "dilution": "1:3"}
    refused = json.loads(engine.calculate(json.dumps({**asked, "water": amounts, **cans})))
    analysis = {"ph": "6", "alkalinity": "200 mg/L", "ec": "2 mS/cm"}
    mixed = {"water": {"amount": "5 L", "analysis": analysis}, "mixing": {"with": "ammonium nitrate"}}
    doubted = json.loads(engine.calculate(json.dumps({**asked, **mixed})))
    told = " ".join([*refused["warnings"], *doubted["warnings"]])
    for pattern in (
        r"about \d+MARK\d\sL of",
        r"need \d+MARK\d\sL",
        r"conduct about \d+MARK\d\d mS/cm, but you gave 2MARK00",
    ):
        assert re.search(pattern.replace("MARK", re.escape(mark)), told), pattern


@pytest.mark.usefixtures("in_brackets")
def test_reminders_are_in_the_requested_language():
    book = json.loads((Path(engine.__file__).parent / "book" / "demo_book.json").read_text(encoding="utf-8"))
    reply = reply_to({"ask": "book", "do": "reminders", "book": book, "now": "2026-05-02T09:00"})
    reminders = reply["values"]["book"]["reminders"]
    assert reminders
    for reminder in reminders:
        assert all(text.startswith("⟦") for text in (reminder["summary"], *reminder["description"]))


def test_an_unknown_language_is_refused_with_the_choices():
    [error] = reply_to({**BATCH, "language": "tlh"})["errors"]
    assert (error["field"], error["given"]) == ("language", "tlh")
    assert "hi" in error["accepted"]


def test_days_and_months_are_messages():
    brackets = Language("xx", Bracketing())
    when = datetime(2026, 5, 1, 9, 5)
    assert (day_words(when), moment_words(when)) == ("Fri 1 May", "Fri 1 May, 09:05")
    assert "⟦Fri⟧" in brackets.speak(moment_words(when))
    assert "⟦May⟧" in brackets.speak(moment_words(when))


@pytest.fixture(scope="module")
def gathered():
    return catalogues.gathered()


@pytest.mark.parametrize("tag", catalogues.TRANSLATED)
def test_catalogues_contain_every_message_and_the_day_names_of_cldr(tag, gathered):
    """Babel's names are those of Unicode CLDR."""
    held = catalogues.catalogue(tag)
    lacking = [message.id for message in gathered if message.id and held.get(message.id, message.context) is None]
    assert not lacking, "run `python -m building.words extract` in the folder site"
    names = {message.id: message.string for message in held if (message.context or "").startswith("short name of a")}
    assert names == catalogues.names_in_dates(tag)


@pytest.mark.parametrize("tag", catalogues.TRANSLATED)
def test_no_translation_is_damaged(tag, gathered):
    damaged = [fault for fault in catalogues.faults_in(tag, gathered) if not fault.startswith("missing")]
    assert not damaged


def test_the_check_of_catalogues_finds_each_kind_of_fault(tmp_path, monkeypatch):
    monkeypatch.setattr(catalogues, "CATALOGUES", tmp_path)
    monkeypatch.setattr(catalogues, "TRANSLATED", ("es",))
    wanted = catalogues.Catalog()
    for message in ("Use by {day}.", "<strong>Stir</strong> well now please.", "Never mix it with other things."):
        wanted.add(message)
    faults = {
        "missing": 'msgid "Use by {day}."\nmsgstr ""\n',
        "doubtful (fuzzy)": '#, fuzzy\nmsgid "Use by {day}."\nmsgstr "Hasta {day}."\n',
        "other places than in English": 'msgid "Use by {day}."\nmsgstr "Hasta {dia}."\n',
        "other marks than in English": 'msgid "<strong>Stir</strong> well now please."\nmsgstr "<strong>bien."\n',
        "still English": 'msgid "Never mix it with other things."\nmsgstr "Never mix it with other things."\n',
    }
    for fault, entry in faults.items():
        (tmp_path / "es.po").write_text(
            f'msgid ""\nmsgstr "Content-Type: text/plain; charset=utf-8\\n"\n\n{entry}', "utf-8"
        )
        assert any(line.startswith(fault) for line in catalogues.faults_in("es", wanted)), fault
    with pytest.raises(catalogues.WordsMissing, match=r"^Español \(es.po\): missing: .* \(\d+ such messages\)$"):
        catalogues.check()
