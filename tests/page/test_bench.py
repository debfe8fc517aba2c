"""The bench: what a person at the bucket sees first, and how few taps lead to what they came for.

The bounds are those of the measures that `tests.bench.bench` takes; it says what each of them counts.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import icalendar
import pytest
from playwright.sync_api import Browser, Page, expect

from tests.bench.bench import PHONE, measured, opened, wait_for_whole_answer
from tests.page.conftest import serious_faults, wait_for_engine, wait_until

MOST = {
    "page_height": 2600,
    "controls": 25,
    "first_screen_words": 110,
    "taps_to_answer": 4,
    "keys_to_answer": 0,
    "screens_to_answer": 0,
    "taps_to_reading": 3,
    "screens_to_reading": 0,
    "taps_to_label": 2,
    "taps_to_book_known_bed": 2,
    "taps_to_book_new_bed": 4,
    "text_200_overflow": 0,
}
STEPS = ["sift", "measure", "steep", "stir", "settle", "pour", "dilute", "feed", "keep", "sludge"]


@pytest.fixture(scope="module")
def figures(browser: Browser, quick_file: str) -> dict[str, Any]:
    return measured(browser, quick_file)


@pytest.mark.parametrize("name", MOST)
def test_little_is_asked_of_a_person_at_the_bucket(figures: dict[str, Any], name: str) -> None:
    assert figures[name] <= MOST[name]


def test_the_first_screen_has_the_whole_answer_and_dry_ash_is_told_in_cups(figures: dict[str, Any]) -> None:
    assert figures["first_screen_has_answer"]
    assert figures["cups_told"]


SHIFTS = """
window.moved = 0;
new PerformanceObserver((seen) => { for (const { value } of seen.getEntries()) window.moved += value; })
  .observe({ type: "layout-shift", buffered: true });
"""


@pytest.mark.parametrize(("width", "height"), [(390, 844), (1280, 900)])
def test_nothing_moves_under_a_finger_while_the_calculator_wakes(
    browser: Browser, one_file: str, width: int, height: int
) -> None:
    """Shifts by the measure of the W3C's Layout Instability: share of the screen that moved times how far."""
    context = browser.new_context(offline=True, viewport={"width": width, "height": height})
    page = context.new_page()
    page.add_init_script(SHIFTS)
    page.goto(one_file)
    wait_for_whole_answer(page)
    page.evaluate("new Promise((drawn) => requestAnimationFrame(() => setTimeout(drawn, 100)))")
    assert page.evaluate("moved") < 0.06  # lines of figures may wrap; what waking said moved the screen by 0.13 and 0.8
    context.close()


@pytest.fixture(scope="module")
def phone(browser: Browser, quick_file: str) -> Iterator[Page]:
    """A small phone; the tests below leave it at the feed."""
    with opened(browser, quick_file, viewport={"width": 360, "height": 640}, accept_downloads=True) as (page, _):
        yield page


def test_the_answer_fits_a_small_phone_too(phone: Page) -> None:
    last = phone.locator(".lines > li").last.bounding_box()
    assert last
    assert last["y"] + last["height"] <= 640


def test_the_first_tap_makes_the_example_the_grower_s_own(browser: Browser, quick_file: str) -> None:
    with opened(browser, quick_file) as (page, finger):
        expect(page.locator("#freshness")).to_contain_text("example")
        begins = page.evaluate("feedcalc.form.read().now")
        finger.tap('[data-steps="1"]')
        wait_until(lambda: "example" not in (page.locator("#freshness").text_content() or ""))
        wait_for_whole_answer(page)
        request = page.evaluate("feedcalc.form.read()")
        assert request["cans"][0]["count"] == "3"
        assert request["now"] > begins
        page.reload()
        wait_for_engine(page)
        expect(page.locator("#can-count")).to_have_text("3")
        expect(page.locator("#freshness")).not_to_contain_text("example")


def fill_in(page: Page, field: str, text: str) -> None:
    """Fill in a field of the whole form, and come back to the feed."""
    page.evaluate("location.hash = '#all'")
    page.locator(field).fill(text)
    page.evaluate("location.hash = '#feed'")


def test_the_verdict_offers_its_way_round_as_a_button(browser: Browser, quick_file: str) -> None:
    with opened(browser, quick_file) as (page, _):
        fill_in(page, "#dilution", "1:1")
        expect(page.locator(".verdict [data-verdict]")).to_have_text("Go weaker")
        expect(page.locator(".verdict > details > summary")).to_contain_text("Too")
        button = page.locator("[data-move]").first
        expect(button).to_have_text(re.compile(r"Go to 1:\d+"))
        button.tap()
        expect(page.locator(".verdict [data-verdict]")).to_have_text("Go")


def test_the_soil_s_ph_is_asked_for_beside_the_verdict(browser: Browser, quick_file: str) -> None:
    with opened(browser, quick_file) as (page, finger):
        fill_in(page, '[name="soil.ph"]', "")
        expect(page.locator(".verdict > details > summary")).to_contain_text("The soil pH is not known.")
        finger.tap("[data-move]")
        finger.type("many")
        expect(page.locator("#quick-told")).to_contain_text("Try")
        page.locator("#quick-input").fill("6.2")
        expect(page.locator(".verdict [data-verdict]")).to_have_text("Go")
        assert page.evaluate("feedcalc.form.read().soil.ph") == "6.2"


def test_a_swapped_unit_is_answered_at_the_field_and_taken_with_one_tap(browser: Browser, quick_file: str) -> None:
    with opened(browser, quick_file) as (page, finger):
        finger.tap("#i-measured")
        finger.type("6000 mS/cm")
        finger.tap("#reading [data-move]")
        wait_until(lambda: page.locator("#read-ec").input_value() == "6 mS/cm", what="the reading as it fits")


def test_a_number_alone_takes_the_unit_in_sight(browser: Browser, quick_file: str) -> None:
    with opened(browser, quick_file) as (page, finger):
        page.locator("#can-size").select_option("other")
        page.locator("#quick-input").fill("7")
        page.locator("#quick-input").blur()
        expect(page.locator("#quick-input")).to_have_value("7 L")
        finger.tap("#i-measured")
        finger.type("4200")
        finger.tap("#read-ph")
        expect(page.locator("#read-ec")).to_have_value("4200 µS/cm")
        expect(page.locator("#can-size")).to_have_value("7 L")
        request = page.evaluate("feedcalc.form.read()")
        assert (request["cans"][0]["size"], request["measured"]["ec"]) == ("7 L", "4200 µS/cm")


def test_whose_gallons_are_meant_is_asked_once_and_remembered(browser: Browser, quick_file: str) -> None:
    with opened(browser, quick_file) as (page, _):
        page.locator("#can-size").select_option("other")
        page.locator("#quick-input").fill("2 gal")
        page.locator("#quick-told button", has_text="US: 3.79").tap()
        expect(page.locator('[data-line="cans"]')).to_contain_text(re.compile(r"quarts?|gal"))
        page.evaluate("document.getElementById('new-batch').click()")
        assert page.evaluate("feedcalc.form.read().customs") == "us"


def test_a_grower_at_home_in_the_us_is_offered_cans_in_gallons(browser: Browser, quick_file: str) -> None:
    with opened(browser, quick_file, locale="en-US") as (page, finger):
        finger.tap('[data-steps="1"]')
        page.locator("#can-size").select_option("2 gal")
        expect(page.locator('[data-line="cans"]')).to_contain_text(re.compile(r"quarts?|gal"))
        assert page.evaluate("feedcalc.form.read().customs") == "us"


def test_each_step_fills_the_screen_with_its_drawing_and_at_most_two_cautions(phone: Page) -> None:
    phone.locator("#begin-steps").tap()
    for place, name in enumerate(STEPS, start=1):
        shown = phone.locator(".step").locator("visible=true")
        expect(shown).to_have_count(1)
        assert shown.get_attribute("id") == f"step-{name}"
        expect(phone.locator("#step-count")).to_have_text(f"Step {place} of 10")
        expect(shown.locator("svg.picture")).to_be_visible()
        assert phone.evaluate("document.activeElement.id") == f"step-{name}"  # so that it is read out
        assert shown.locator(".cautions li").locator("visible=true").count() <= 2
        assert phone.evaluate("document.documentElement.scrollWidth") <= 360
        phone.locator("#step-done").tap()
    expect(phone.locator(".ask").first).to_be_visible()
    assert phone.evaluate("feedcalc.batches.open()[0].done") == STEPS


def test_the_wait_begins_with_the_ash_in_the_water_and_outlives_a_closed_page(
    browser: Browser, quick_file: str, tmp_path: Path
) -> None:
    context = browser.new_context(offline=True, accept_downloads=True, **PHONE)
    page = context.new_page()
    page.clock.install(time="2026-06-01T08:00:00")
    page.goto(f"{quick_file}#steps")
    wait_for_engine(page)
    wait_for_whole_answer(page)
    for _ in STEPS[:4]:
        page.locator("#step-done").tap()
    assert page.evaluate("feedcalc.form.read().now") == "2026-06-01T08:00"
    wait_until(lambda: "2026-06-02" in (page.locator("time").get_attribute("datetime") or ""), what="the new hour")
    expect(page.locator("#time-left")).to_contain_text(re.compile(r"\d+ h \d+ min left"))
    with page.expect_download() as download:
        page.locator("#wait-calendar").tap()
    download.value.save_as(tmp_path / "pour.ics")
    [event] = icalendar.Calendar.from_ical((tmp_path / "pour.ics").read_bytes()).walk("VEVENT")
    assert event.decoded("dtstart").isoformat() >= "2026-06-02T08:00"
    assert str(event["SUMMARY"]) == "Pour off the clear liquor"
    page.close()
    again = context.new_page()
    again.clock.install(time="2026-06-04T08:00:00")
    again.goto(quick_file)
    wait_for_engine(again)
    wait_until(lambda: again.title().startswith("●"), what="the title tells that it is clear")
    expect(again.locator("#step-settle")).to_be_visible()
    expect(again.locator("#time-left")).to_contain_text("The time is up")
    context.close()


def test_one_file_carries_batches_and_book_to_another_browser(
    browser: Browser, quick_file: str, tmp_path: Path
) -> None:
    with opened(browser, quick_file, accept_downloads=True) as (page, finger):
        finger.tap('[data-steps="1"]')
        finger.tap("#write-in-book")
        finger.type("South wall")
        finger.tap('#to-book [type="submit"]')
        expect(page.locator("#to-book")).to_be_hidden()
        page.locator("#menu > summary").tap()
        with page.expect_download() as download:
            page.locator("#save-everything").tap()
        download.value.save_as(tmp_path / "all.json")
    with opened(browser, quick_file) as (page, finger):
        page.locator("#everything-file").set_input_files(tmp_path / "all.json")
        page.locator("#preview-keep").tap()
        page.locator('#book-preview [value="yes"]').tap()
        wait_until(lambda: page.evaluate("feedcalc.records.all().length") == 2, what="bed and entry")
        assert any(each["request"]["cans"][0]["count"] == "3" for each in page.evaluate("feedcalc.batches.open()"))


@pytest.mark.parametrize("look", [{"color_scheme": "light"}, {"color_scheme": "dark"}])
def test_the_bench_and_its_steps_are_for_every_eye(phone: Page, look: dict[str, Any]) -> None:
    phone.emulate_media(**look)
    for way in ("#feed", "#steps"):
        phone.evaluate("way => { location.hash = way; }", way)
        assert serious_faults(phone) == []
    phone.evaluate("location.hash = '#feed'")


@pytest.mark.parametrize("language", ["de", "hi"])
def test_long_words_and_other_scripts_fit_the_first_screen(phone: Page, language: str) -> None:
    phone.locator("#language").select_option(language)
    wait_until(lambda: phone.locator('[data-part="bench"]').get_attribute("lang").startswith(language))  # type: ignore[union-attr]
    wait_for_whole_answer(phone)
    assert phone.evaluate("document.documentElement.scrollWidth") <= 360
    phone.locator("#language").select_option("en")
