"""From typing to the answer: the page shows what the engine says, faults at their fields, old figures as old."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from feedcalc.contract.fields import REQUEST_FIELDS
from feedcalc.contract.figures import flat_figures
from feedcalc.engine import calculate
from tests.page.conftest import SPY, ask, one_page, wait_for_engine, wait_until

# Marked figures that are no `Figure` of the contract: a published limit stands there as a plain number.
PLAIN_NUMBERS = "at_most"
MARKED = """() => [...document.querySelectorAll("main [data-figure]")]
    .map(({ dataset }) => [dataset.figure, Number(dataset.value)])"""


def freshness(page: Page) -> str:
    return str(page.evaluate("document.getElementById('freshness').dataset.freshness"))


def wait_for_answer(page: Page) -> None:
    """Until what is typed is worked out, ranges included."""
    wait_until(lambda: freshness(page) == "fresh", what="a fresh answer")


@pytest.fixture(scope="module")
def shared(browser: Browser, one_file: str) -> Iterator[Page]:
    """One page for all of these tests."""
    with one_page(browser, one_file) as page:
        wait_for_answer(page)
        yield page


@pytest.fixture
def page(shared: Page) -> Page:
    """The page with a new, empty batch."""
    shared.locator("#new-batch").click()
    wait_for_answer(shared)
    return shared


def type_into(page: Page, path: str, text: str) -> None:
    field = page.locator(f'[name="{path}"]')
    if not field.is_visible():
        page.evaluate("document.querySelectorAll('details:not(#menu)').forEach((details) => { details.open = true; })")
    field.fill(text)


def test_every_field_of_a_request_can_be_filled_in(page: Page) -> None:
    names = set(page.evaluate("[...document.getElementById('batch').elements].map(({ name }) => name)"))
    kept_for_programs = {"ranges", "seed", "samples"}
    by_place = {"ask"}  # each place of the page asks for its own sheet
    by_place |= {"recipe", "happened", "ash.wood"}
    in_the_book = {"country"} if page.locator("#book-country option").count() > 1 else set()
    assert {field.path for field in REQUEST_FIELDS} - kept_for_programs - by_place - in_the_book <= names


def nested(path: str, value: str) -> dict[str, Any]:
    first, _, rest = path.partition(".")
    return {first: nested(rest, value) if rest else value}


def test_every_example_in_a_field_would_be_understood(page: Page) -> None:
    examples = page.evaluate(
        """() => [...document.querySelectorAll("#batch input[placeholder]")]
             .filter(({ name }) => !name.startsWith("cans."))
             .flatMap(({ name, placeholder }) =>
               placeholder.replace(" …", "").split(/, (?=\\d)/).map((text) => [name, text]))"""
    )
    assert len(examples) > 40
    for path, text in examples:
        reply = json.loads(calculate(json.dumps({"schema": 1, "ranges": "off", **nested(path, text)})))
        assert path not in [error["field"] for error in reply.get("errors", ())], (path, text)


def test_typing_changes_the_sheet(page: Page) -> None:
    type_into(page, "ash.amount", "200 g")
    type_into(page, "water.amount", "10 L")
    wait_for_answer(page)
    expect(page.locator('[data-line="water"] [data-figure="batch.water_volume"]')).to_have_attribute(
        "data-value", "10.0"
    )
    expect(page.locator("#bar")).to_contain_text("10 L")


def test_what_is_shown_is_what_the_engine_said(page: Page) -> None:
    type_into(page, "cans.0.size", "9 L")
    type_into(page, "cans.0.count", "2")
    wait_for_answer(page)
    reply = ask(page, page.evaluate("feedcalc.form.read()"))
    figures = flat_figures(reply["values"])
    marked = page.evaluate(MARKED)
    assert len({path for path, _ in marked}) > 100
    assert {path: value for path, value in marked if not path.endswith(PLAIN_NUMBERS)} == {
        path: pytest.approx(figures[path]["value"], rel=1e-12) for path, _ in marked if not path.endswith(PLAIN_NUMBERS)
    }


def test_a_typed_amount_is_read_back_and_an_empty_one_told_as_taken(page: Page) -> None:
    type_into(page, "water.amount", "20 cups")
    wait_for_answer(page)
    expect(page.locator('[data-echo="water.amount"]')).to_contain_text("Read as")
    expect(page.locator('[data-echo="ash.amount"]')).to_contain_text("Assumed:")


def test_every_fault_stands_at_its_field_and_in_the_summary(page: Page) -> None:
    page.evaluate("document.querySelectorAll('details:not(#menu)').forEach((details) => { details.open = true; })")
    names = page.evaluate("[...document.querySelectorAll('#batch input[type=text]')].map(({ name }) => name)")
    of_dry_ash = set(page.evaluate("[...document.querySelectorAll('[data-for=dry] input')].map(({ name }) => name)"))
    page.evaluate(
        """() => {
          for (const input of document.querySelectorAll('#batch input[type=text]')) input.value = "5 parsecs";
          document.getElementById("batch").dispatchEvent(new Event("input", { bubbles: true }));
          const first = document.querySelector('#batch input[type=text]');
          first.dispatchEvent(new Event("input", { bubbles: true }));
        }"""
    )
    wait_until(lambda: page.locator("#error-summary").is_visible(), what="the summary of errors")
    told = page.evaluate(
        """() => [...document.querySelectorAll('#batch [aria-invalid="true"]')].map((input) => [input.name,
             document.getElementById(input.getAttribute("aria-describedby").split(" ")[0]).textContent])"""
    )
    faulty = json.loads(calculate(json.dumps(page.evaluate("feedcalc.form.read()"))))["errors"]
    assert {error["field"] for error in faulty} == set(names) - {"plant"}
    faulty = [error for error in faulty if error["field"] not in of_dry_ash]  # told in the place where they are asked
    assert of_dry_ash
    assert {name for name, _ in told} == {error["field"] for error in faulty}
    for error in faulty:
        assert any(name == error["field"] and error["problem"] in words for name, words in told)
    assert page.locator("#error-list li").count() == len(faulty)
    page.locator("#error-list a").first.click()
    assert page.evaluate("document.activeElement.name") == faulty[0]["field"]


def test_a_summary_link_leads_to_the_count_of_cans_too(page: Page) -> None:
    type_into(page, "cans.0.size", "9 L")
    type_into(page, "cans.0.count", "some")
    wait_until(lambda: page.locator("#error-summary").is_visible())
    page.locator("#error-list a").click()
    assert page.evaluate("document.activeElement.name") == "cans.0.count"


def test_old_figures_are_marked_as_old_while_a_fault_stands(page: Page) -> None:
    before = page.locator('[data-figure="batch.water_volume"]').first.inner_text()
    type_into(page, "water.amount", "five")
    wait_until(lambda: page.locator("#error-summary").is_visible())
    assert freshness(page) == "stale"
    assert page.locator('[data-figure="batch.water_volume"]').first.inner_text() == before
    type_into(page, "water.amount", "")
    wait_for_answer(page)
    assert not page.locator("#error-summary").is_visible()


def test_the_newest_typing_wins(page: Page) -> None:
    field = page.locator('[name="water.amount"]')
    field.focus()
    page.keyboard.type("4 L", delay=60)
    for _ in range(3):
        page.keyboard.press("Backspace")
    page.keyboard.type("7 L", delay=200)
    wait_for_answer(page)
    expect(page.locator('[data-figure="batch.water_volume"]').first).to_have_attribute("data-value", "7.0")


STAGES = """window.stages = [];
new MutationObserver(() => {
  const now = document.getElementById("freshness")?.dataset.freshness;
  if (now && now !== stages.at(-1)) stages.push(now);
}).observe(document, { subtree: true, childList: true, attributeFilter: ["data-freshness"] });"""


def test_figures_come_first_then_first_ranges_then_all_and_the_last_answer_stands_at_the_next_visit(
    browser: Browser, one_file: str
) -> None:
    with one_page(browser, one_file, viewport={"width": 390, "height": 844}) as page:
        wait_for_answer(page)
        page.evaluate("window.usualAshes = true")  # ten ashes are fewer than the first ranges rest on
        page.context.add_init_script("window.usualAshes = true;" + STAGES)
        page.evaluate(STAGES)
        page.locator("#can-size").select_option("12 L")
        wait_for_answer(page)
        assert page.evaluate("stages.slice(stages.indexOf('stale'))") == ["stale", "quick", "early", "fresh"]
        wait_until(lambda: '"12' in page.locator('[data-part="label"]').inner_html(), what="parts out of sight")
        before = page.locator('[data-part="bench"]').inner_html()
        page.reload()
        wait_until(lambda: page.evaluate("stages.includes('last')"), what="the answer of the last visit")
        assert page.locator('[data-part="bench"]').inner_html() == before
        wait_for_answer(page)
        assert "quick" not in page.evaluate("stages")
        page.evaluate("""() => {
          const batch = Object.keys(localStorage).find((key) => key.startsWith("feedcalc.batch."));
          addEventListener("pagehide", () => {
            localStorage.setItem(batch, localStorage.getItem(batch).replace('"12 L"', '"5 L"'));
          });
        }""")
        page.reload()
        wait_for_answer(page)
        assert "last" not in page.evaluate("stages"), "it is none to what is asked now"


def test_a_can_can_be_added_and_taken_away(page: Page) -> None:
    type_into(page, "cans.0.size", "9 L")
    page.locator("#add-can").click()
    assert page.evaluate("document.activeElement.name") == "cans.1.size"
    page.keyboard.type("5 L")
    wait_until(lambda: page.locator(".cans li").count() == 2, what="both cans on the sheet")
    page.locator("[data-remove-can]").first.click()
    wait_until(lambda: page.locator(".cans li").count() == 1)
    assert page.evaluate("feedcalc.form.read().cans") == [{"size": "5 L"}]


def test_text_from_people_stays_text(page: Page) -> None:
    type_into(page, "ash.amount", "<img src=x onerror=alert(1)><b>1 cup</b>")
    wait_until(lambda: page.locator("#error-summary").is_visible())
    assert page.locator("#error-summary img, #error-summary b, main img").count() == 0
    page.locator("#batch-name").fill("<b>mine</b>")
    assert page.locator("#batch-choice option").first.text_content() == "<b>mine</b>"


def test_recalculating_leaves_ticks_and_focus_alone(page: Page) -> None:
    tick = page.locator('[data-step="measure"]')
    tick.check()
    type_into(page, "water.amount", "6 L")
    tick.focus()
    wait_for_answer(page)
    assert page.locator('[data-step="measure"]').is_checked()
    assert page.evaluate("document.activeElement.dataset.step") == "measure"


def test_what_is_said_aloud_is_one_sentence_for_one_change(page: Page) -> None:
    # What opening the batch says is said by then; the page's own clock keeps the order on a busy machine.
    page.evaluate("() => new Promise((resolve) => { setTimeout(resolve, 1000); })")
    page.evaluate(
        """() => {
          window.said = [];
          new MutationObserver(() => window.said.push(document.getElementById("said").textContent))
            .observe(document.getElementById("said"), { childList: true, characterData: true, subtree: true });
        }"""
    )
    page.locator('[name="water.amount"]').focus()
    page.keyboard.type("12 L")
    wait_until(lambda: page.evaluate("said.some((words) => words.includes('12'))"), what="the new sheet is said")
    assert len(page.evaluate("said")) == 1


def random_requests(count: int, seed: int) -> list[dict[str, Any]]:
    """Requests such as growers make, the same each time."""
    chance = random.Random(seed)
    kinds = {field.path: field.choices for field in REQUEST_FIELDS if field.choices}
    requests = []
    for _ in range(count):
        request: dict[str, Any] = {
            "schema": 1,
            "ash": {"kind": chance.choice(kinds["ash.kind"]), "state": chance.choice(kinds["ash.state"])},
            "water": {"kind": chance.choice(kinds["water.kind"]), "temperature": f"{chance.randint(4, 30)} °C"},
            "stage": chance.choice(kinds["stage"]),
            "ranges": "off",
        }
        if chance.random() < 0.5:
            request["cans"] = [{"size": f"{chance.randint(2, 15)} L", "count": str(chance.randint(1, 4))}]
        else:
            request["ash"]["amount"] = f"{chance.randint(20, 400)} g"
            request["water"]["amount"] = f"{chance.randint(2, 30)},5 L" if chance.random() < 0.3 else "8 L"
        if chance.random() < 0.5:
            request["dilution"] = f"1:{chance.randint(1, 40)}"
        if chance.random() < 0.1:
            request["water"]["amount"] = "a bucketful"
        requests.append(request)
    return requests


def test_page_and_command_line_give_the_same_numbers(shared: Page) -> None:
    requests = random_requests(24, seed=20260501)
    for request in requests[:2]:
        request |= {"ranges": "on", "samples": "40"}
    replies = shared.evaluate(
        """async (requests) => {
          const replies = [];
          for (const request of requests) {
            const reply = await feedcalc.engine.ask(request, { line: "test" });
            const marked = Object.values(reply.html ?? {}).flatMap((part) =>
              feedcalc.markup.partsOf(part)
                .flatMap((node) => [...(node.querySelectorAll?.("[data-figure]") ?? [])])
                .map(({ dataset }) => [dataset.figure, Number(dataset.value)]));
            replies.push({ ok: reply.ok, values: reply.values, errors: reply.errors, marked });
          }
          return replies;
        }""",
        requests,
    )
    for request, reply in zip(requests, replies, strict=True):
        expected = json.loads(calculate(json.dumps(request)))
        assert reply["ok"] is expected["ok"]
        if not expected["ok"]:
            assert reply["errors"] == expected["errors"]
            continue
        there, here = flat_figures(reply["values"]), flat_figures(expected["values"])
        assert there.keys() == here.keys()
        for path, figure in here.items():
            # Six digits are told; each build of CPython brings its own mathematical functions.
            for part in ("value", "low", "high"):
                assert there[path][part] == pytest.approx(figure[part], rel=1.1e-5, abs=1e-9), (request, path)
        for path, value in reply["marked"]:
            if not path.endswith(PLAIN_NUMBERS):
                assert value == there[path]["value"], path
    assert sum(not reply["ok"] for reply in replies) < 8


def test_ranges_tell_how_far_they_are_and_the_next_key_drops_them(page: Page) -> None:
    told = page.evaluate(
        """async () => {
          const far = [];
          const long = { ...feedcalc.form.read(), samples: "400", ranges: "on" };
          const dropped = feedcalc.engine.ask(long, { line: "test", onProgress: (each) => far.push(each) })
            .catch((error) => error.name);
          while (!far.length) await new Promise((resolve) => setTimeout(resolve, 5));
          const asked = performance.now();
          const next = await feedcalc.engine.ask({ ...long, ranges: "off" }, { line: "test" });
          return { far, dropped: await dropped, ok: next.ok, wait: performance.now() - asked };
        }"""
    )
    assert told["dropped"] == "Superseded"
    assert told["ok"]
    assert told["far"][0]["done"] < told["far"][0]["total"] == 400
    assert len(told["far"]) < 50, "the long answer went on although nobody waited for it"


def test_where_the_engine_fails_the_reason_and_the_sheet_can_be_read(browser: Browser, one_file: str) -> None:
    context = browser.new_context(offline=True)
    page = context.new_page()
    start = "async function start(unpacker"
    broken = 'async function start() { throw new Error("no room for Python"); }\nasync function unused(unpacker'
    page.add_init_script(f"window.programEdits = {json.dumps([[start, broken]])};{SPY}")
    page.goto(one_file)
    wait_for_engine(page, "failed")
    expect(page.locator("#state-words")).to_contain_text("can't start here")
    expect(page.locator("#state-why")).to_contain_text("no room for Python")
    expect(page.locator("#state-why")).to_contain_text("Mozilla")
    expect(page.locator("#try-again")).to_be_visible()
    expect(page.locator(".hazard")).to_contain_text("Goggles and gloves")
    page.locator('[name="water.amount"]').fill("3 L")
    wait_until(lambda: freshness(page) == "stale")
    page.reload()
    wait_until(lambda: page.locator('[name="water.amount"]').input_value() == "3 L", what="what was typed is kept")
    context.close()


def test_the_example_can_be_read_with_scripts_off(browser: Browser, one_file: str) -> None:
    context = browser.new_context(offline=True, java_script_enabled=False)
    page = context.new_page()
    page.goto(one_file)
    expect(page.locator("#what-to-do")).to_be_visible()
    expect(page.locator("#batches")).to_be_hidden()
    assert page.locator("main [data-figure]").count() > 100
    context.close()
