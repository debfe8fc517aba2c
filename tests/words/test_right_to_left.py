"""A language that is written from right to left needs no more than its catalogue; shown with a made-up Arabic one."""

import gettext
import json
import re
import shutil
import sys
from pathlib import Path

import pytest

from feedcalc import engine
from feedcalc.contract.numbers import read_number
from feedcalc.contract.quantities import read_quantity
from feedcalc.sheets import render
from feedcalc.sheets.paper import printing
from feedcalc.words import languages
from feedcalc.words.languages import Language
from feedcalc.words.messages import said

sys.path.insert(0, str(Path(__file__).parents[2] / "site"))
from building import catalogues, words

BATCH = {**json.loads(engine.demo_request()), "ranges": "off", "language": "ar", "locale": "en-GB"}
LETTER = re.compile(r"[a-zA-Z]")


class MadeUp(gettext.NullTranslations):
    """Writes every letter of a message as an Arabic one, and leaves places and marks alone."""

    def gettext(self, message):
        parts = re.split(r"(\{\w*\}|%\(\w+\)s|<[^>]*>|&\w+;)", message)
        return "".join(part if place % 2 else LETTER.sub("ج", part) for place, part in enumerate(parts))

    def pgettext(self, context, message):
        return self.gettext(message)

    def ngettext(self, one, many, count):
        return self.gettext(one if count == 1 else many)


@pytest.fixture
def arabic(monkeypatch):
    monkeypatch.setattr(languages, "RIGHT_TO_LEFT", frozenset({"ar"}))
    monkeypatch.setitem(languages.LANGUAGES, "ar", "العربية")
    monkeypatch.setitem(languages.USUAL_LOCALE, "ar", "ar-EG")
    made_up, real = Language("ar", MadeUp()), languages.language
    for room, name in ((engine, "language"), (render, "language_of"), (printing, "language")):
        monkeypatch.setattr(room, name, lambda tag: made_up if tag == "ar" else real(tag))
    render._templates.cache_clear()
    yield made_up
    render._templates.cache_clear()


def test_a_catalogue_alone_makes_a_language(tmp_path):
    for tag in ("de", "ar"):
        shutil.copy(words.CATALOGUES / "de.po", tmp_path / f"{tag}.po")
    catalogues.compile_catalogues(tmp_path)
    listed = json.loads((tmp_path / catalogues.LISTED).read_text(encoding="utf-8"))
    assert listed["ar"] == {"name": "العربية", "locale": "ar-EG", "direction": "rtl", "decimal": "."}
    assert (tmp_path / "ar.mo").is_file()


def test_values_keep_their_order_within_a_sentence(arabic):
    assert arabic.speak(said("Dilute it to {ratio} now.", ratio="1:6")).split() == [
        "جججججج",
        "جج",
        "جج",
        "\u20681:6\u2069",
        "ججج.",
    ]
    assert arabic.fill("Use {amount} of it.", {"amount": "<2 g>"}, in_html=True) == "ججج \u2068&lt;2 g&gt;\u2069 جج جج."
    assert Language("de", MadeUp()).speak(said("Use {amount} of it.", amount="2 g")) == "ججج 2 g جج جج."


@pytest.mark.usefixtures("arabic")
def test_the_sheet_isolates_what_it_fills_in():
    parts = json.loads(engine.calculate(json.dumps(BATCH)))["html"]
    assert re.search("\u2068[^\u2069]*\\d[^\u2068\u2069]*\u2069", parts["sheet"])
    for part in parts.values():
        assert part.count("\u2068") == part.count("\u2069")


@pytest.mark.usefixtures("arabic")
@pytest.mark.parametrize("asked", [{"ask": "label", "label": {"size": "A6"}}, {"ask": "wall"}], ids=["label", "wall"])
def test_label_and_wall_sheet_are_set_from_the_right_and_nothing_leaves_the_paper(asked):
    _, made = engine.calculate_print(json.dumps({**BATCH, **asked}))
    assert made is not None
    for width, _, drawing in made.pages:
        assert 'direction="rtl"' in drawing
        starts = [float(x) / 10 for x in re.findall(r'<text x="([-\d.]+)"', drawing)]
        assert max(starts) > 0.85 * width
        assert 0 <= min(starts) <= max(starts) <= width
        edges = [float(x) / 10 for x in re.findall(r'<(?:rect|svg) x="([-\d.]+)"', drawing)]
        assert all(0 <= edge <= width for edge in edges)


@pytest.mark.parametrize("typed", ["٢٫٥", "۲٫۵", "\u20682.5\u2069"])
def test_arabic_digits_and_printed_isolates_are_read(typed):
    assert read_number(typed, "water.amount") == 2.5


def test_an_amount_copied_from_a_sheet_is_read():
    assert read_quantity("\u206812\u00a0L\u2069", "volume", "water.amount").value == 12.0


@pytest.mark.usefixtures("arabic")
def test_a_number_in_a_message_keeps_its_order_with_its_unit():
    """Otherwise the sign comes before the degrees: C° 25."""
    unchanged = Language("ar", gettext.NullTranslations())
    assert unchanged.speak(said("pH at 25 °C")) == "pH at \u206825 °C\u2069"
