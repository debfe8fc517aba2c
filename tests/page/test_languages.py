"""The page follows the language chosen, at once and whole, and never touches what people typed."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from feedcalc.words.languages import LANGUAGES
from tests.page.conftest import PAYLOAD, wait_for_engine, wait_until

WORDS = re.compile(r'(<script type="application/json" id="page-words">)(.*?)(</script>)', re.S)
GERMAN = re.compile(r'(<script type="application/json" id="words-de">)(.*?)(</script>)', re.S)
# Visible texts with a word in them that stand outside brackets; what the engine says is its own tests' matter.
OUTSIDE = """() => {
  const found = new Set();
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const { data, parentElement } = walker.currentNode;
    if (parentElement.closest("script, style, pre, datalist, noscript, [data-part], [translate=no]")) continue;
    if (/[a-z]{3}/.test(data.replaceAll(/⟦[^⟦⟧]*⟧/g, ""))) found.add(data.trim());
  }
  for (const element of document.querySelectorAll("[aria-label]")) {
    const label = element.getAttribute("aria-label");
    if (!element.closest("[data-part]") && !label.startsWith("⟦")) found.add(label);
  }
  return [...found];
}"""
ALL_TEXT = """() => [...document.querySelectorAll("label, legend, summary, button, h2, h3")]
  .filter((element) => !element.closest("[data-part]")).map((element) => element.textContent).join("\\n")"""


@pytest.fixture(scope="module")
def bracketed(dist: Path, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Address of the one file without its Python, with a made-up German that puts each message into brackets."""
    text = (dist / "feedcalc.html").read_text("utf-16")
    carried, german = WORDS.search(text), GERMAN.search(text)
    assert carried
    assert german
    words = [f"⟦{message.rpartition(chr(4))[2]}⟧" for message in json.loads(carried[2])["messages"]]
    made_up = json.dumps(json.loads(german[2]) | {"words": words}).replace("<", "\\u003c")
    copy = tmp_path_factory.mktemp("bracketed") / "feedcalc.html"
    copy.write_text(PAYLOAD.sub(r"\1", GERMAN.sub(lambda found: found[1] + made_up + found[3], text)), "utf-16")
    return copy.as_uri()


@pytest.fixture
def opened(browser: Browser, bracketed: str) -> Iterator[Callable[..., Page]]:
    contexts = []

    def open_page(**settings: str) -> Page:
        contexts.append(browser.new_context(offline=True, **settings))
        page = contexts[-1].new_page()
        page.goto(bracketed)
        return page

    yield open_page
    for context in contexts:
        context.close()


@pytest.mark.parametrize("chosen", ["before the calculator fails", "after"])
def test_every_word_of_the_page_follows(opened: Callable[..., Page], chosen: str) -> None:
    page = opened(locale="en-GB")
    if chosen == "after":
        wait_for_engine(page, "failed")
    page.locator("#language").select_option("de")
    wait_for_engine(page, "failed")
    page.locator("#said", has_text="⟦").wait_for(state="attached")
    left = page.evaluate(OUTSIDE)
    typed_or_names = re.compile(r"feedcalc.*|Example|Batch( \d+)?")
    assert [text for text in left if not typed_or_names.fullmatch(text)] == []
    assert page.evaluate("document.documentElement.lang") == "de-DE"


def test_plants_are_offered_by_their_names_in_the_language(opened: Callable[..., Page]) -> None:
    page = opened(locale="en-GB")
    offered = "() => [...document.getElementById('plant-names').options].map((option) => option.value)"
    english = page.evaluate(offered)
    assert {"tomato", "leek"} <= set(english)
    page.locator("#language").select_option("de")
    german = page.evaluate(offered)
    assert {"Tomate", "Lauch"} <= set(german)
    assert len(german) == len(english)
    page.locator("#language").select_option("en")
    assert page.evaluate(offered) == english


def test_what_was_typed_stays_even_where_it_is_word_for_word_a_message(opened: Callable[..., Page]) -> None:
    page = opened(locale="en-GB")
    page.locator("#batch-name").fill("Amount of ash")
    page.locator("#plant").fill("Dilution")
    page.locator("#language").select_option("de")
    expect(page.locator("#batch-name")).to_have_value("Amount of ash")
    expect(page.locator("#plant")).to_have_value("Dilution")
    assert "⟦Amount of ash⟧" in page.evaluate(ALL_TEXT)
    assert page.locator("#batch-choice option").all_text_contents() == ["Amount of ash"]


def test_a_notice_follows_the_language_each_time_it_changes(opened: Callable[..., Page]) -> None:
    page = opened(locale="en-GB")
    page.evaluate("document.getElementById('delete-batch').click()")
    said = page.locator("#toast-words")
    expect(said).to_contain_text("Deleted")
    for language, deleted, undo in (
        ("de", "⟦Deleted", "⟦Undo⟧"),
        ("en", "Deleted", "Undo"),
        ("de", "⟦Deleted", "⟦Undo⟧"),
    ):
        page.locator("#language").select_option(language)
        expect(said).to_have_text(re.compile(f"^{re.escape(deleted)}"))
        expect(page.locator("#toast-action")).to_have_text(undo)


def test_what_is_wrong_with_a_file_is_said_in_the_language_chosen_later(opened: Callable[..., Page]) -> None:
    page = opened(locale="en-GB")
    page.locator("#import-file").set_input_files({"name": "a.json", "mimeType": "", "buffer": b'{"kind": 1}'})
    expect(page.locator("#toast-words")).to_contain_text("This is JSON")
    page.locator("#language").select_option("de")
    expect(page.locator("#toast-words")).to_contain_text("⟦This is JSON")


def test_english_comes_back_as_it_was(opened: Callable[..., Page]) -> None:
    page = opened(locale="en-GB")
    before = page.evaluate(ALL_TEXT)
    page.locator("#language").select_option("de")
    assert page.evaluate(ALL_TEXT) != before
    page.locator("#language").select_option("en")
    assert page.evaluate(ALL_TEXT) == before
    assert page.evaluate("document.documentElement.lang") == "en-GB"


def test_the_choice_is_kept_and_a_new_row_of_cans_follows(opened: Callable[..., Page]) -> None:
    page = opened(locale="en-GB")
    page.locator("#language").select_option("de")
    page.reload()
    expect(page.locator("#language")).to_have_value("de")
    page.locator("#add-can").click()
    expect(page.locator(".can").last).to_contain_text("⟦Size⟧")


def test_the_first_guess_is_the_browsers_language(opened: Callable[..., Page]) -> None:
    expect(opened(locale="de-AT").locator("#language")).to_have_value("de")
    expect(opened(locale="nl-NL").locator("#language")).to_have_value("en")


def test_numbers_go_with_the_words_unless_chosen_apart(opened: Callable[..., Page]) -> None:
    page = opened(locale="en-GB")
    page.locator("#language").select_option("de")
    expect(page.locator("#locale")).to_have_value("de-DE")
    page.locator("details", has=page.locator("#locale")).last.locator("summary").click()
    page.locator("#locale").select_option("en-US")
    page.locator("#language").select_option("fr")
    expect(page.locator("#locale")).to_have_value("en-US")


def test_each_language_names_itself(opened: Callable[..., Page]) -> None:
    names = opened(locale="en-GB").locator("#language option").all_inner_texts()
    assert names == list(LANGUAGES.values())


def test_the_engine_answers_in_the_language_chosen(browser: Browser, dist: Path) -> None:
    context = browser.new_context(offline=True, locale="en-GB")
    page = context.new_page()
    page.goto((dist / "feedcalc.html").as_uri())
    page.locator('[data-freshness="fresh"]').first.wait_for()
    assert page.locator('[data-part="sheet"]').get_attribute("lang") == "en-GB"
    page.locator("#language").select_option("de")
    wait_until(lambda: page.locator('[data-part="sheet"]').get_attribute("lang") == "de-DE", what="a German sheet")
    # The statements of the law are German whatever the catalogue holds.
    expect(page.locator('[data-part="label"]')).to_contain_text("Schutzhandschuhe")
    context.close()
