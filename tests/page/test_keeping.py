"""Nothing typed is lost: kept across reloads, undone and redone, saved to a file and read back, sent in a link."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.page.conftest import LATE, SiteServer, wait_for_engine, wait_until

EMPTY_STORES = "localStorage.clear(); sessionStorage.clear(); indexedDB.deleteDatabase('feedcalc.book')"
NAMES = "[...document.querySelectorAll('#batch-choice option')].map((option) => option.textContent)"


@pytest.fixture
def context_of_grower(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(offline=True, accept_downloads=True)
    yield context
    context.close()


@pytest.fixture
def opened(context_of_grower: BrowserContext, asleep: str) -> Callable[..., Page]:
    """Opens the page, in the same browser each time."""

    def open_page(fragment: str = "", address: str = asleep) -> Page:
        page = context_of_grower.new_page()
        page.goto(address + fragment)
        page.evaluate("document.getElementById('more').open = true")
        return page

    return open_page


def typed(page: Page, path: str) -> str:
    return page.locator(f'#batch [name="{path}"]').input_value()


def type_into(page: Page, path: str, text: str) -> None:
    page.locator(f'[name="{path}"]').fill(text)


def link_to(envelope: dict[str, Any] | str) -> str:
    text = envelope if isinstance(envelope, str) else json.dumps(envelope)
    return "#batch=" + base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def envelope(*batches: dict[str, Any], version: int = 1) -> dict[str, Any]:
    return {"format": "feedcalc batches", "version": version, "batches": list(batches)}


def import_file(page: Page, path: Path) -> None:
    page.locator("#import-file").set_input_files(path)


def test_what_was_typed_is_there_after_a_reload(opened: Callable[..., Page]) -> None:
    page = opened()
    type_into(page, "water.amount", "7,5 L")
    page.locator('[name="stage"]').select_option("seedling")
    page.locator("#add-can").click()
    type_into(page, "cans.1.size", "5 L")
    page.locator("#batch-name").fill("For the tomatoes")
    page.locator('[data-step="sift"]').check()
    page.reload()
    assert (typed(page, "water.amount"), typed(page, "stage"), typed(page, "cans.1.size")) == (
        "7,5 L",
        "seedling",
        "5 L",
    )
    assert page.locator("#batch-name").input_value() == "For the tomatoes"
    assert page.locator('[data-step="sift"]').is_checked()


def test_a_half_typed_amount_survives_closing_the_page(opened: Callable[..., Page]) -> None:
    page = opened()
    page.locator('[name="ash.amount"]').focus()
    page.keyboard.type("1 1/2 cu")
    page.close(run_before_unload=False)
    assert typed(opened(), "ash.amount") == "1 1/2 cu"


def test_undo_and_redo_go_field_by_field(opened: Callable[..., Page]) -> None:
    page = opened()
    expect(page.locator("#undo")).to_be_disabled()
    page.locator('[name="water.amount"]').focus()
    page.keyboard.type("5 L")
    page.locator('#batch [name="dilution"]').focus()
    page.keyboard.type("1:12")
    page.locator("#undo").click()
    assert (typed(page, "water.amount"), typed(page, "dilution")) == ("5 L", "")
    page.locator("#undo").click()
    assert typed(page, "water.amount") == ""
    expect(page.locator("#undo")).to_be_disabled()
    page.locator("#redo").click()
    page.locator("#redo").click()
    assert (typed(page, "water.amount"), typed(page, "dilution")) == ("5 L", "1:12")


def test_batches_have_names_and_keep_apart(opened: Callable[..., Page]) -> None:
    page = opened()
    page.locator("#new-batch").click()
    page.locator("#batch-name").fill("Leeks")
    type_into(page, "water.amount", "3 L")
    page.locator("#duplicate-batch").click()
    assert page.locator("#batch-name").input_value() == "Leeks, copy"
    type_into(page, "water.amount", "4 L")
    page.locator("#batch-choice").select_option(label="Leeks")
    assert typed(page, "water.amount") == "3 L"
    assert sorted(page.evaluate(NAMES)) == ["Example", "Leeks", "Leeks, copy"]


def test_a_deleted_batch_comes_back_by_undo(opened: Callable[..., Page]) -> None:
    page = opened()
    page.locator("#batch-name").fill("Beans")
    type_into(page, "water.amount", "9 L")
    page.locator("#delete-batch").click()
    assert "Beans" not in page.evaluate(NAMES)
    page.locator("#toast-action").click()
    assert page.locator("#batch-name").input_value() == "Beans"
    page.reload()
    assert (page.locator("#batch-name").input_value(), typed(page, "water.amount")) == ("Beans", "9 L")


def test_a_file_brings_batches_to_another_browser(
    opened: Callable[..., Page], browser: Browser, asleep: str, tmp_path: Path
) -> None:
    page = opened()
    page.locator("#batch-name").fill("Chard & <b>")
    type_into(page, "water.amount", "2 gal (US)")
    with page.expect_download() as download:
        page.locator("#export").click()
    saved = tmp_path / "saved.json"
    download.value.save_as(saved)
    document = json.loads(saved.read_text(encoding="utf-8"))
    assert (document["format"], document["version"]) == ("feedcalc batches", 1)
    other = browser.new_context(offline=True).new_page()
    other.goto(asleep)
    import_file(other, saved)
    expect(other.locator("#preview-list")).to_contain_text("Chard & <b>")
    assert typed(other, "water.amount") == ""  # nothing happens before it is agreed to
    other.locator("#preview-keep").click()
    expect(other.locator("#toast-words")).to_contain_text("Added")
    assert typed(other, "water.amount") == "2 gal (US)"
    assert "Example" in other.evaluate(NAMES)
    import_file(other, saved)
    expect(other.locator("#toast-words")).to_contain_text("here already")
    other.context.close()


def test_a_clashing_batch_replaces_only_when_told_to_and_can_be_undone(
    opened: Callable[..., Page], tmp_path: Path
) -> None:
    page = opened()
    page.locator("#batch-name").fill("Mine")
    type_into(page, "water.amount", "5 L")
    key = page.evaluate("sessionStorage.getItem('feedcalc.current')")
    theirs = {"id": key, "name": "Theirs", "request": {"schema": 1, "water": {"amount": "6 L"}}}
    file = tmp_path / "theirs.json"
    file.write_text(json.dumps(envelope(theirs)), encoding="utf-8")
    import_file(page, file)
    page.locator("#preview-keep").click()
    expect(page.locator("#toast-words")).to_contain_text("Added")
    assert sorted(page.evaluate(NAMES)) == ["Mine", "Theirs"]
    page.locator("#toast-action").click()
    assert page.evaluate(NAMES) == ["Mine"]
    import_file(page, file)
    page.locator("#preview-replace").click()
    assert (page.evaluate(NAMES), typed(page, "water.amount")) == (["Theirs"], "6 L")
    page.locator("#toast-action").click()
    assert (page.evaluate(NAMES), typed(page, "water.amount")) == (["Mine"], "5 L")


def test_the_command_line_s_requests_can_be_opened(opened: Callable[..., Page], tmp_path: Path) -> None:
    file = tmp_path / "request.json"
    file.write_text(
        '{"schema": 1, "water": {"amount": "11 L"}, "cans": [{"size": "9 L", "count": 2}]}', encoding="utf-8"
    )
    page = opened()
    import_file(page, file)
    page.locator("#preview-keep").click()
    expect(page.locator("#toast-words")).to_contain_text("Added")
    assert (typed(page, "water.amount"), typed(page, "cans.0.count")) == ("11 L", "2")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("not json", "not a file of batches"),
        ("[]", "not a file of batches"),
        ('{"name": "something else"}', "not a file of batches"),
        (json.dumps(envelope({"name": "x", "request": {}}, version=99)), "newer feedcalc"),
        (json.dumps(envelope({"name": "x"}, "y")), "no readable batch"),  # type: ignore[arg-type]
    ],
)
def test_a_file_that_cannot_be_read_changes_nothing_and_says_why(
    opened: Callable[..., Page], tmp_path: Path, content: str, words: str
) -> None:
    file = tmp_path / "odd.json"
    file.write_text(content, encoding="utf-8")
    page = opened()
    import_file(page, file)
    expect(page.locator("#toast-words")).to_contain_text(words)
    assert page.evaluate(NAMES) == ["Example"]


def test_a_link_carries_a_batch_and_shows_it_first(opened: Callable[..., Page]) -> None:
    page = opened()
    page.locator("#batch-name").fill("Garlic")
    type_into(page, "water.amount", "8 L")
    expect(page.locator("#copy-link")).to_be_hidden()  # the address of a file leads nowhere on another machine
    batch = "{ name: document.getElementById('batch-name').value, request: feedcalc.form.read() }"
    link = "#" + page.evaluate(f"feedcalc.batchFiles.link({batch})") + "."  # with the full stop of a sentence
    page.evaluate(EMPTY_STORES)
    page.close()
    other = opened(link[link.index("#") :])
    expect(other.locator("#preview-list")).to_contain_text("Garlic")
    assert "#" not in other.url  # a reload does not ask again
    other.get_by_role("button", name="Not now").click()
    assert other.evaluate(NAMES) == ["Example"]
    again = opened(link[link.index("#") :])
    again.locator("#preview-keep").click()
    expect(again.locator("#toast-words")).to_contain_text("Added")
    assert (again.locator("#batch-name").input_value(), typed(again, "water.amount")) == ("Garlic", "8 L")


def test_a_hostile_link_stays_text(opened: Callable[..., Page]) -> None:
    hostile = {
        "name": "<img src=x onerror=window.ran=1>",
        "request": {"schema": 1, "plant": "<script>window.ran=1</script>"},
    }
    page = opened(link_to(envelope(hostile)))
    page.locator("#preview-keep").click()
    wait_until(lambda: page.evaluate("document.getElementById('freshness').dataset.freshness") in ("fresh", "stale"))
    assert page.evaluate("window.ran") is None
    assert page.locator("#answer script, main img, #preview img").count() == 0


def test_a_damaged_link_says_so(opened: Callable[..., Page]) -> None:
    page = opened("#batch=AAAA")
    expect(page.locator("#toast-words")).to_contain_text("can't be read")
    assert page.evaluate(NAMES) == ["Example"]


def test_full_storage_is_said_and_a_file_offered(
    context_of_grower: BrowserContext, opened: Callable[..., Page]
) -> None:
    context_of_grower.add_init_script(
        "Storage.prototype.setItem = () => { throw new DOMException('full', 'QuotaExceededError'); };"
    )
    page = opened()
    expect(page.locator("#kept")).to_contain_text("Not saved")
    type_into(page, "water.amount", "5 L")
    with page.expect_download() as download:
        page.locator("#export-now").click()
    saved = json.loads(Path(download.value.path()).read_text(encoding="utf-8"))
    assert saved["batches"][0]["request"]["water"]["amount"] == "5 L"


def test_refused_storage_leaves_the_page_working(
    context_of_grower: BrowserContext, opened: Callable[..., Page], one_file: str
) -> None:
    context_of_grower.add_init_script(
        """for (const name of ["localStorage", "sessionStorage"])
             Object.defineProperty(window, name, { get() { throw new DOMException("no", "SecurityError"); } });"""
    )
    page = opened(address=one_file)
    expect(page.locator("#kept")).to_contain_text("Not saved")
    wait_until(lambda: page.evaluate("document.getElementById('freshness').dataset.freshness") == "fresh")


def test_two_windows_do_not_overwrite_each_other(page: Page, site_server: SiteServer) -> None:
    page.goto(site_server.address)
    other = page.context.new_page()
    other.goto(site_server.address)
    other.locator("#new-batch").click()
    other.locator('[name="water.amount"]').fill("3 L")
    page.locator('[name="water.amount"]').fill("4 L")
    page.reload()
    assert page.locator('[name="water.amount"]').input_value() == "4 L"
    other.reload()
    assert other.locator('[name="water.amount"]').input_value() == "3 L"
    other.close()


def test_what_the_page_has_no_field_for_is_named_when_it_is_left_out(opened: Callable[..., Page]) -> None:
    page = opened(
        link_to(envelope({"name": "x", "request": {"schema": 1, "moon": "full", "water": {"amount": "5 L"}}}))
    )
    page.locator("#preview-keep").click()
    expect(page.locator("#toast-words")).to_contain_text("moon")
    assert "moon" not in page.evaluate("JSON.stringify(feedcalc.batches.open())")


# -- kept twice ---------------------------------------------------------------------------------------------------

IN_DATABASE = """() => new Promise((resolve) => {
  indexedDB.open("feedcalc.book").onsuccess = ({ target: { result: database } }) => {
    const asked = database.transaction("typed").objectStore("typed").getAll();
    asked.onsuccess = () => { database.close(); resolve(asked.result.join()); };
  };
})"""
# What a busy browser does now and then to a page that it opens from a file.
FORGET_ONCE = "if (!sessionStorage.getItem('forgot')) { localStorage.clear(); sessionStorage.setItem('forgot', 1); }"


def keep_leeks(page: Page) -> None:
    wait_for_engine(page, "failed")  # said before anything is pressed, it can't move the page under the pointer
    page.locator("#batch-name").fill("Leeks")
    type_into(page, "water.amount", "3 L")
    wait_until(lambda: "3 L" in page.evaluate(IN_DATABASE), what="the batch is in the database as well")


def test_a_new_window_that_finds_storage_empty_has_the_batch_again(
    opened: Callable[..., Page], context_of_grower: BrowserContext, asleep: str
) -> None:
    keep_leeks(opened())
    context_of_grower.add_init_script(FORGET_ONCE)
    page = context_of_grower.new_page()
    page.goto(asleep)  # and is loaded anew once the database has told what is missing
    expect(page.locator("#batch-choice option")).to_have_text(["Leeks"])
    expect(page.locator('[name="water.amount"]')).to_have_value("3 L")


def test_what_is_typed_before_a_lost_batch_comes_back_stays_beside_it(
    opened: Callable[..., Page], context_of_grower: BrowserContext
) -> None:
    keep_leeks(opened())
    context_of_grower.add_init_script(
        f"""{FORGET_ONCE} window.addEventListener("DOMContentLoaded", () => {{
          const field = document.querySelector('[name="water.amount"]');
          field.value = "9 L";
          field.dispatchEvent(new Event("input", {{ bubbles: true }}));
        }});"""
    )
    page = opened()
    wait_until(lambda: sorted(page.evaluate(NAMES)) == ["Batch", "Leeks"], what="both batches")
    assert typed(page, "water.amount") == "9 L"


def test_of_two_copies_of_a_batch_the_newer_is_shown(opened: Callable[..., Page]) -> None:
    page = opened()
    keep_leeks(page)
    page.evaluate(
        """() => {
          const [key] = Object.keys(localStorage).filter((each) => each.startsWith("feedcalc.batch."));
          const older = JSON.parse(localStorage[key]);
          older.request.water.amount = "2 L";
          older.changed = "2001-01-01T00:00:00.000Z";
          localStorage[key] = JSON.stringify(older);
        }"""
    )
    page.reload()
    wait_until(lambda: typed(page, "water.amount") == "3 L", what="the newer copy")


def test_a_batch_deleted_while_the_database_does_not_open_stays_deleted(
    opened: Callable[..., Page], context_of_grower: BrowserContext, asleep: str
) -> None:
    first = opened()
    first.locator("#new-batch").click()
    keep_leeks(first)
    first.close()
    page = context_of_grower.new_page()
    page.add_init_script(LATE)
    page.goto(asleep)
    wait_for_engine(page, "failed")
    page.evaluate("document.getElementById('more').open = true")
    wait_until(lambda: page.evaluate("isGivenUp"), what="the database given up")
    page.locator("#delete-batch").click()
    page.evaluate("window.mayOpen = true")
    wait_until(lambda: "3 L" not in page.evaluate(IN_DATABASE), what="gone from the database once it opens")
    assert page.evaluate(NAMES) == ["Example"]
    assert opened().evaluate(NAMES) == ["Example"]


def test_a_deleted_batch_stays_deleted_and_both_stores_emptied_begin_anew(opened: Callable[..., Page]) -> None:
    page = opened()
    page.locator("#new-batch").click()
    keep_leeks(page)
    page.locator("#delete-batch").click()
    wait_until(lambda: "3 L" not in page.evaluate(IN_DATABASE), what="gone from the database as well")
    page.reload()
    assert page.evaluate(NAMES) == ["Example"]
    type_into(page, "water.amount", "4 L")
    page.evaluate(EMPTY_STORES)
    page.close()
    again = opened()
    again.evaluate("feedcalc.records.open()")
    assert again.evaluate(NAMES) == ["Example"]
    assert typed(again, "water.amount") == ""
