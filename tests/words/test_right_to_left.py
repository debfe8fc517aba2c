"""A language that is written from right to left needs no more than its catalogue; shown with Arabic."""

import json
import re
import shutil
import sys
from pathlib import Path

import pytest

from feedcalc import engine
from feedcalc.contract.numbers import read_number
from feedcalc.contract.quantities import read_quantity
from feedcalc.words import languages
from feedcalc.words.messages import said

sys.path.insert(0, str(Path(__file__).parents[2] / "site"))
from building import catalogues, words

BATCH = {**json.loads(engine.demo_request()), "ranges": "off", "language": "ar", "locale": "en-GB"}
ARABIC = languages.language("ar")


def test_a_catalogue_alone_makes_a_language(tmp_path):
    for tag in ("de", "ar"):
        shutil.copy(words.CATALOGUES / f"{tag}.po", tmp_path / f"{tag}.po")
    shutil.copy(words.CATALOGUES / "ar.po", tmp_path / "fa.po")
    catalogues.compile_catalogues(tmp_path)
    listed = json.loads((tmp_path / catalogues.LISTED).read_text(encoding="utf-8"))
    assert listed["ar"] == {"name": "العربية", "locale": "ar-EG", "direction": "rtl", "decimal": "."}
    assert listed["fa"]["direction"] == "rtl"
    assert listed["de"]["direction"] == "ltr"
    assert (tmp_path / "fa.mo").is_file()


def test_values_and_ratios_keep_their_order_within_a_sentence():
    heading = said("Dilute 1:{parts} with water.", parts="6")
    message = "1:{parts} is within the limit."
    assert "\u20681:\u20686\u2069\u2069" in ARABIC.speak(heading)
    assert "\u2068&lt;2 g&gt;\u2069" in ARABIC.fill(message, {"parts": "<2 g>"}, in_html=True)
    assert "\u2068" not in languages.language("de").speak(heading)


def test_the_sheet_is_in_arabic_and_isolates_what_it_fills_in():
    parts = json.loads(engine.calculate(json.dumps(BATCH)))["html"]
    assert re.search("\u2068[^\u2069]*\\d[^\u2068\u2069]*\u2069", parts["sheet"])
    for part in parts.values():
        assert part.count("\u2068") == part.count("\u2069")


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


def test_a_number_in_a_message_keeps_its_order_with_its_unit():
    """Otherwise the sign comes before the degrees: C° 25."""
    assert "\u206825 °C\u2069" in ARABIC.speak(said("pH at 25 °C"))
