"""The page for every eye, hand and size of screen: widths, contrast, keyboard, targets, paper."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.page.conftest import serious_faults, wait_until

OPEN_ALL = "document.querySelectorAll('details:not(#menu)').forEach((details) => { details.open = true; })"
TOO_WIDE = """() => [...document.querySelectorAll("body *")]
    .filter((element) => element.getBoundingClientRect().right > document.documentElement.clientWidth + 1
      && element.checkVisibility() && !element.closest("pre, svg, .visually-hidden, [hidden], .cards thead"))
    .map((element) => `${element.tagName} ${element.className} ${element.textContent.slice(0, 40)}`)"""


def wait_for_answer(page: Page) -> None:
    wait_until(
        lambda: page.evaluate("document.getElementById('freshness').dataset.freshness") == "fresh",
        what="a fresh answer",
    )


@pytest.fixture(scope="module")
def shared(browser: Browser, quick_file: str) -> Iterator[Page]:
    """One page at the full sheet with everything folded out, left by each test as it was found."""
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.goto(f"{quick_file}#all")
    wait_for_answer(page)
    page.evaluate(OPEN_ALL)
    page.locator('[name="acid.kind"]').select_option("vinegar")
    page.locator('[name="acid.target_ph"]').fill("7")
    page.locator('[name="mixing.with"]').select_option("epsom salt")
    page.locator("#add-can").click()
    wait_until(lambda: page.locator("#mixing").count(), what="the second thing in the can is judged")
    wait_for_answer(page)
    yield page
    context.close()


@pytest.mark.parametrize("width", [320, 360, 768, 1024, 1280, 1440])
def test_nothing_runs_off_the_side(shared: Page, width: int) -> None:
    shared.set_viewport_size({"width": width, "height": 800})
    shared.evaluate(OPEN_ALL)
    assert shared.evaluate(TOO_WIDE) == []
    assert shared.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") == 0


def test_nothing_runs_off_the_side_with_large_text(shared: Page) -> None:
    """Text at twice its size on a phone in portrait, as set in a browser's own settings."""
    shared.set_viewport_size({"width": 640, "height": 800})
    shared.evaluate("document.documentElement.style.setProperty('font-size', '225%')")
    assert shared.evaluate(TOO_WIDE) == []
    shared.evaluate("document.documentElement.removeAttribute('style')")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_once_ready(shared: Page, scheme: str) -> None:
    shared.emulate_media(color_scheme=scheme, reduced_motion="reduce")  # type: ignore[arg-type]
    shared.set_viewport_size({"width": 360, "height": 800})
    assert serious_faults(shared) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_while_faults_stand(shared: Page, scheme: str) -> None:
    shared.emulate_media(color_scheme=scheme, reduced_motion="reduce")  # type: ignore[arg-type]
    shared.locator('[name="water.amount"]').fill("five")
    wait_until(lambda: shared.locator("#error-summary").is_visible())
    assert serious_faults(shared) == []
    shared.locator('[name="water.amount"]').fill("")
    wait_for_answer(shared)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_at_a_preview_and_a_toast(shared: Page, scheme: str) -> None:
    shared.emulate_media(color_scheme=scheme, reduced_motion="reduce")  # type: ignore[arg-type]
    request = b'{"schema": 1, "water": {"amount": "5 L"}}'
    shared.locator("#import-file").set_input_files(
        {"name": "request.json", "mimeType": "application/json", "buffer": request}
    )
    expect(shared.locator("#preview")).to_be_visible()
    assert serious_faults(shared, "#preview") == []
    shared.locator("#preview-keep").click()
    expect(shared.locator("#toast")).to_be_visible()
    assert serious_faults(shared, "#toast") == []
    shared.locator("#toast-action").click()
    wait_for_answer(shared)


def test_axe_finds_nothing_serious_at_the_start_and_after_a_failure(browser: Browser, quick_file: str) -> None:
    for broken in (False, True):
        context = browser.new_context(offline=True, reduced_motion="reduce")
        page = context.new_page()
        stop = "throw new Error('no workers here');" if broken else "this.postMessage = this.terminate = () => {};"
        page.add_init_script(f"window.Worker = function () {{ {stop} }};")
        page.goto(quick_file)
        state = "failed" if broken else "starting"
        wait_until(lambda page=page, state=state: page.evaluate("document.documentElement.dataset.engine") == state)  # type: ignore[misc]
        assert serious_faults(page) == []
        context.close()


def test_targets_are_large_enough_for_wet_hands(shared: Page) -> None:
    shared.set_viewport_size({"width": 360, "height": 800})
    shared.evaluate(OPEN_ALL)
    small = shared.evaluate(
        """() => [...document.querySelectorAll(
             "button, input[type=text], input[type=datetime-local], select, summary, .button, .tick, .bar a, .jumps a")]
           .filter((element) => element.checkVisibility() && !element.closest("[data-part] details, .source"))
           .map((element) => [element.id || element.name || element.textContent, element.getBoundingClientRect()])
           .filter(([, box]) => box.height < 48 || box.width < 48)
           .map(([name, box]) => `${name} ${box.width} × ${box.height}`)"""
    )
    assert small == []


def test_every_field_has_a_label_of_its_own(shared: Page) -> None:
    labels = shared.evaluate(
        """() => [...document.querySelectorAll("#batch input, #batch select")].map((field) => field.labels.length)"""
    )
    assert set(labels) == {1}


def test_a_batch_can_be_made_with_the_keyboard_alone(browser: Browser, quick_file: str) -> None:
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.goto(quick_file)
    wait_for_answer(page)

    def tab_to(claim: str) -> None:
        for _ in range(80):
            page.keyboard.press("Tab")
            if page.evaluate(f"document.activeElement.matches('{claim}')"):
                return
        raise AssertionError(f"never reached {claim}")

    tab_to("#new-batch")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "batch-name"
    page.keyboard.type("By keyboard")
    tab_to('[name="ash.kind"]')
    page.keyboard.type("Soft")
    tab_to('[name="water.amount"]')
    page.keyboard.type("6 L")
    tab_to("#add-can")
    wait_until(
        lambda: page.evaluate("document.getElementById('bar').textContent.includes('6 L')".replace(" L'", "\\u00a0L'"))
    )
    tab_to('[data-step="sift"]')
    page.keyboard.press("Space")
    assert page.locator('[data-step="sift"]').is_checked()
    assert page.evaluate("feedcalc.form.read().ash.kind") == "softwood"
    context.close()


def test_where_the_focus_is_can_be_seen(shared: Page) -> None:
    shared.set_viewport_size({"width": 1280, "height": 800})
    for field in ("#undo", '[name="water.amount"]', '[data-step="sift"]', "#import-file"):
        shared.evaluate("field => document.querySelector(field).disabled = false", field)
        shared.locator("#batch-name").focus()
        shared.evaluate("field => document.querySelector(field).focus({ focusVisible: true })", field)
        target = "label[for=import-file]" if field == "#import-file" else field
        style = shared.evaluate("field => getComputedStyle(document.querySelector(field)).outlineStyle", target)
        assert style not in ("none", ""), field


def test_nothing_moves_where_less_motion_is_wanted(shared: Page) -> None:
    shared.emulate_media(reduced_motion="reduce")
    moving = shared.evaluate(
        """() => [...document.querySelectorAll("*")].filter((element) => {
             const style = getComputedStyle(element);
             return style.transitionDuration !== "0s" || style.animationName !== "none"
               || style.scrollBehavior === "smooth";
           }).map(({ tagName }) => tagName)"""
    )
    assert moving == []


def test_the_sheet_fits_two_pages_of_paper_without_the_form(browser: Browser, quick_file: str) -> None:
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.add_init_script("window.usualAshes = true;")  # ranges from ten ashes make a longer sheet
    page.goto(quick_file)
    wait_for_answer(page)
    paper = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) <= 2
    page.emulate_media(media="print")
    expect(page.locator("#batch")).to_be_hidden()
    expect(page.locator("#bar")).to_be_hidden()
    for part in (".lines", ".hazard", "#what-to-do", "#how-far-to-dilute", "#what-it-delivers"):
        expect(page.locator(part).first).to_be_visible()
    cautions = page.locator('[data-part="sheet"] .cautions li, .hazard .cautions li').all()
    assert len(cautions) > 20
    for caution in cautions:
        expect(caution).to_be_visible()
    context.close()
