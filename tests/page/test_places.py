"""The page's places: moved between by link, Back and keyboard; dry ash worked out as typed; an ash kept and taken;
ranges that tell how far they are and give way to the next key."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from feedcalc.engine import calculate
from tests.page.conftest import one_page, serious_faults, wait_for_engine, wait_until, watch_progress

PLACES = ("batch", "steps", "all", "dry", "recipe", "book")
SHOWN = "[...document.querySelectorAll('main')].filter((each) => each.getClientRects().length).map(({ id }) => id)"
MAIN = {"batch": "answer", "steps": "answer", "all": "answer", "dry": "dry", "recipe": "recipe", "book": "book"}
WAYS = {"steps": "#begin-steps", "all": "#full-sheet"}  # from the feed
READINGS = {"measured.ec": "6 mS/cm", "measured.temperature": "18 °C"}


@pytest.fixture(scope="module")
def shared(browser: Browser, quick_file: str) -> Iterator[Page]:
    """One page for all of these tests."""
    with one_page(browser, quick_file, viewport={"width": 360, "height": 800}) as page:
        wait_for_engine(page)
        wait_for_answer(page)
        yield page


@pytest.fixture
def page(shared: Page) -> Page:
    """The page at the full sheet and the whole form, with a new and empty batch."""
    place(shared, "all")
    shared.locator("#new-batch").click()
    wait_for_answer(shared)
    return shared


def place(page: Page, name: str) -> None:
    if page.evaluate("document.documentElement.dataset.place") == "steps":
        page.locator(".steps-head a").click()
    if name == "recipe":
        page.locator("#menu > summary").click()
        page.locator("#menu [data-place=recipe]").click()
        assert page.evaluate(SHOWN) == ["recipe"]
        return
    page.locator(f".places [data-place={'batch' if name in WAYS else name}]").click()
    if name in WAYS:
        page.locator(WAYS[name]).click()
    assert page.evaluate(SHOWN) == [MAIN[name]]


def freshness(page: Page, sheet: str = "freshness") -> str:
    return str(page.evaluate(f"document.getElementById('{sheet}').dataset.freshness"))


def wait_for_answer(page: Page, sheet: str = "freshness") -> None:
    wait_until(lambda: freshness(page, sheet) == "fresh", what="a fresh answer")


def type_into(page: Page, path: str, text: str) -> None:
    page.evaluate("document.querySelectorAll('#batch details').forEach((details) => { details.open = true; })")
    page.locator(f'[name="{path}"]').fill(text)


def test_each_place_has_an_address_a_title_and_a_way_back(page: Page) -> None:
    titles = set()
    for name in ("dry", "book"):
        place(page, name)
        assert page.url.endswith(f"#{name}")
        assert page.locator(".places [aria-current=page]").get_attribute("data-place") == name
        titles.add(page.title())
    assert len(titles) == 2
    page.go_back()
    assert page.evaluate(SHOWN) == ["dry"]
    page.go_back()
    assert page.evaluate(SHOWN) == ["answer"]
    page.go_forward()
    assert page.evaluate(SHOWN) == ["dry"]


def test_a_place_is_reached_by_keyboard_and_keeps_how_far_it_was_scrolled(page: Page) -> None:
    # A focus that scrolled would do so smoothly, and go on after the page was put where it shall be.
    focus = "name => document.querySelector(`.places [data-place=${name}]`).focus({ preventScroll: true })"
    page.evaluate("window.scrollTo({ top: 900, behavior: 'instant' })")
    page.evaluate(focus, "book")
    assert page.evaluate("scrollY") == 900
    page.keyboard.press("Enter")
    assert page.evaluate(SHOWN) == ["book"]
    assert page.evaluate("scrollY") < 100
    page.go_back()
    wait_until(lambda: page.evaluate("scrollY") == pytest.approx(900, abs=5), what="scrolled as before")


def test_what_is_typed_stays_while_one_moves_between_places(page: Page) -> None:
    type_into(page, "soil.area", "7 m^2")
    place(page, "dry")
    assert page.locator('[name="soil.area"]').input_value() == "7 m^2"
    place(page, "book")
    place(page, "all")
    assert page.locator('[name="soil.area"]').input_value() == "7 m^2"


def test_the_current_place_outlives_a_reload(browser: Browser, quick_file: str) -> None:
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.goto(quick_file)
    place(page, "dry")
    page.goto(quick_file)
    expect(page.locator("#dry")).to_be_visible()
    assert page.url.endswith("#dry")
    page.goto(f"{quick_file}#book")
    expect(page.locator("#book-title")).to_be_visible()
    context.close()


def test_dry_ash_is_worked_out_as_typed_and_as_the_engine_says(page: Page) -> None:
    type_into(page, "soil.ph", "5.8")
    type_into(page, "soil.area", "6 m^2")
    place(page, "dry")
    wait_for_answer(page, "dry-freshness")
    expect(page.locator('[name="water.amount"]')).to_be_hidden()
    need = page.locator('[data-part="spread"] [data-figure="spread.need.lime"]').first
    before = need.get_attribute("data-value")
    page.locator('[name="soil.target_ph"]').fill("6.2")
    page.locator('[name="soil.dug_depth"]').fill("8 in")
    wait_for_answer(page, "dry-freshness")
    after = need.get_attribute("data-value")
    assert after != before
    request = page.evaluate("feedcalc.form.askedAt('dry', feedcalc.form.read())")
    assert "water" not in request
    reply = json.loads(calculate(json.dumps({**request, "ask": "spread"})))
    assert float(after or "nan") == pytest.approx(reply["values"]["spread"]["need"]["lime"]["value"], rel=1e-5)


def test_a_fault_belongs_to_the_place_that_asks_for_the_field(page: Page) -> None:
    type_into(page, "water.amount", "five")
    wait_until(lambda: page.locator("#error-summary").is_visible())
    place(page, "dry")
    wait_for_answer(page, "dry-freshness")
    expect(page.locator("#error-summary")).to_be_hidden()
    page.locator('[name="soil.dug_depth"]').fill("deep")
    wait_until(lambda: page.locator("#error-summary").is_visible())
    assert freshness(page, "dry-freshness") == "stale"
    place(page, "all")
    wait_until(lambda: page.locator("#error-list li").count() == 1)
    expect(page.locator("#error-list")).to_contain_text("five")


def test_dry_ash_prints_on_one_sheet_of_paper(page: Page, tmp_path: Path) -> None:
    type_into(page, "soil.ph", "5.8")
    place(page, "dry")
    wait_for_answer(page, "dry-freshness")
    page.pdf(path=tmp_path / "dry.pdf", prefer_css_page_size=True)
    printed = (tmp_path / "dry.pdf").read_bytes()
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", PLACES)
def test_axe_finds_nothing_serious_and_nothing_runs_off_the_side(page: Page, name: str, scheme: str) -> None:
    page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    place(page, name)
    page.evaluate("document.querySelectorAll('details:not(#menu)').forEach((details) => { details.open = true; })")
    if name == "recipe":
        judge(page, "1 glass of ash to 10 litres, a litre a bush")
    elif name != "book":
        wait_for_answer(page, "dry-freshness" if name == "dry" else "freshness")
    assert serious_faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    small = page.evaluate(
        """() => [...document.querySelectorAll(".places a, :is(#my-ash, #keep-ash, #recipe) button, #print-dry")]
             .filter((each) => each.getClientRects().length)
             .map((each) => [each.textContent, each.getBoundingClientRect()])
             .filter(([, { width, height }]) => width < 44 || height < 44).map(([words]) => words)"""
    )
    assert small == []


def judge(page: Page, text: str, button: str = "judge") -> None:
    page.fill("#recipe-text", text)
    page.locator(f"#recipe-form [value={button}]").click()
    expect(page.locator("#recipe-state")).to_have_text("For what is typed now.")


def test_a_recipe_is_judged_and_its_safe_version_becomes_the_batch(page: Page) -> None:
    place(page, "recipe")
    judge(page, "1 glass of ash to 10 litres, undiluted")
    answer = page.locator("[data-part=recipe]")
    expect(answer.locator(".headline")).to_contain_text("too strong")
    expect(answer).to_contain_text("anything from")  # how a glass was read
    parts = answer.locator("[data-figure='judge.safe.parts_water']").get_attribute("data-value") or ""
    page.locator("#take-safe").click()
    assert page.evaluate(SHOWN) == ["answer"]
    wait_for_answer(page)
    place(page, "all")
    assert page.locator("[name='ash.amount']").input_value() == "1 glass"
    assert page.locator('#batch [name="dilution"]').input_value() == f"1:{float(parts):g}"
    page.locator("#delete-batch").click()


def test_what_a_recipe_leaves_open_is_asked_for_beside_the_box_and_a_mishap_is_answered(page: Page) -> None:
    place(page, "recipe")
    judge(page, "a bit of ash they said")
    expect(page.locator("#recipe-told")).to_contain_text("how much ash")
    expect(page.locator("#recipe-text")).to_be_focused()
    expect(page.locator("#take-safe")).to_be_hidden()
    judge(page, "2 buckets of ash on 10 square metres, young leaves are pale", button="happened")
    expect(page.locator("#recipe-told")).to_be_hidden()
    expect(page.locator("[data-cause]").first).to_have_attribute("data-cause", "lime")


def test_an_ash_is_kept_taken_for_the_next_batch_and_forgotten_with_undo(page: Page) -> None:
    for path, text in READINGS.items():
        type_into(page, path, text)
    page.locator("#ash-name").fill("Stove <b>oak</b>")
    seen_under_way = watch_progress(page, "ash-bar")
    page.locator("#keep-ash button").click()
    expect(page.locator("#toast-words")).to_contain_text("Stove <b>oak</b>")
    assert seen_under_way(), "nobody was told how far it was"
    expect(page.locator("#ash-bar")).to_be_hidden()
    page.locator("#new-batch").click()
    wait_for_answer(page)
    before = page.evaluate("feedcalc.engine.ask(feedcalc.form.read(), { line: 'test' })")["values"]["liquor"]
    page.evaluate("document.getElementById('my-ash').open = true")
    line = page.locator("#my-ash-list li").first
    expect(line).to_contain_text("Learned from 1 batch.")
    expect(line).to_contain_text("potassium")
    assert page.locator("#my-ash-list b").count() == 0
    line.get_by_role("button", name=re.compile("^Use it")).click()
    expect(page.locator("#my-ash-used")).to_have_text(": Stove <b>oak</b>")
    wait_for_answer(page)
    request = page.evaluate("feedcalc.form.read()")
    assert request["ash"]["earlier"][0]["measured"]["ec"] == "6 mS/cm"
    after = page.evaluate("request => feedcalc.engine.ask(request, { line: 'test' })", request)["values"]["liquor"]

    def doubt(of: dict[str, dict[str, float]]) -> float:
        return of["ec"]["high"] / of["ec"]["low"]

    assert doubt(after) < 0.8 * doubt(before)
    page.locator("#undo").click()
    expect(page.locator("#my-ash-used")).to_have_text("")
    page.locator("#redo").click()
    expect(page.locator("#my-ash-used")).to_contain_text("Stove")
    line.get_by_role("button", name=re.compile("^Forget")).click()
    expect(page.locator("#my-ash-empty")).to_be_visible()
    page.locator("#toast-action").click()
    expect(page.locator("#my-ash-list > li")).to_have_count(1)
    kept = page.evaluate("feedcalc.records.all('ash')")
    assert [record["fields"]["name"]["text"] for record in kept] == ["Stove <b>oak</b>"]


def test_nothing_is_kept_where_nothing_was_read(page: Page) -> None:
    before = page.evaluate("feedcalc.records.all('ash').length")
    page.locator("#ash-name").fill("Guess")
    page.locator("#keep-ash button").click()
    expect(page.locator("#ash-told")).to_contain_text("No test, weight or reading")
    assert page.evaluate("feedcalc.records.all('ash').length") == before


def test_a_link_carries_what_is_known_of_the_ash(page: Page) -> None:
    earlier = [{"ash": {"amount": "100 g"}, "water": {"amount": "5 L"}, "measured": {"ec": "6 mS/cm"}}]
    batch = {"name": "Known", "request": {"schema": 1, "ash": {"kind": "hardwood", "earlier": earlier}}}
    address = page.evaluate("batch => feedcalc.batchFiles.link(batch)", batch)
    place(page, "dry")
    page.evaluate("address => { location.hash = address; }", address)
    page.locator("#preview-keep").click()
    expect(page.locator("#batch-name")).to_have_value("Known")  # a dialog says after the click that it was closed
    assert page.evaluate(SHOWN) == ["answer"]
    assert page.evaluate("feedcalc.form.read().ash.earlier") == earlier
    page.evaluate("document.getElementById('my-ash').open = true")
    expect(page.locator("#my-ash")).to_contain_text("not saved in this browser")


def test_progress_of_the_ranges_is_seen_and_gone_when_they_are_there(page: Page) -> None:
    seen_under_way = watch_progress(page, "ranges-bar")
    type_into(page, "water.amount", "6 L")
    wait_for_answer(page)
    assert seen_under_way()
    assert page.locator("#ranges-bar").evaluate("bar => getComputedStyle(bar).visibility") == "hidden"
