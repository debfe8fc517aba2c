"""The season book on the page: written, shown, undone, saved and merged, and never lost on the way."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import icalendar
import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.page.conftest import serious_faults, wait_for_engine, wait_until, watch_progress

OPEN_ALL = "document.querySelectorAll('#book details').forEach((details) => { details.open = true; })"
BEDS = "[...document.querySelectorAll('#book-bed-list button')].map((each) => each.textContent)"
RECORDS = "feedcalc.records.all()"


@pytest.fixture
def grower(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(offline=True, accept_downloads=True, viewport={"width": 360, "height": 800})
    yield context
    context.close()


@pytest.fixture
def opened(grower: BrowserContext, quick_file: str) -> Callable[..., Page]:
    """Opens the book in another tab of the same browser, with Python awake unless another ``address`` is given."""

    def open_page(address: str = quick_file, first: str = "") -> Page:
        page = grower.new_page()
        if first:
            page.add_init_script(first)
        page.goto(address + "#book")
        if address == quick_file:
            wait_for_engine(page)
        expect(page.locator("#book-kept")).not_to_have_text("Nothing is written yet.")
        page.evaluate(OPEN_ALL)
        return page

    return open_page


def write(page: Page, kind: str, *, done: bool = True, **fields: str) -> None:
    """Fill in a new record by hand and keep it."""
    page.locator(f'#book [data-write="{kind}"]').click()
    fill(page, kind, **fields)
    page.locator(f'form[data-kind="{kind}"] [type=submit]').click()
    if done:
        expect(page.locator("#book-told")).to_contain_text("Written in the book.")


def fill(page: Page, kind: str, **fields: str) -> None:
    for name, text in fields.items():
        field = page.locator(f'form[data-kind="{kind}"] [name="{name}"]')
        if field.evaluate("field => field.tagName") == "SELECT":
            if text not in field.locator("option").evaluate_all("options => options.map(({ value }) => value)"):
                field.select_option(label=text)
            else:
                field.select_option(text)
        else:
            field.fill(text)


def act(page: Page, on: str, words: str) -> None:
    """Press the button that says ``words`` on the line of the record that says ``on``."""
    line = page.locator(".written > li").filter(has_text=on).first
    line.get_by_role("button", name=re.compile(f"^{words}")).first.click()


def texts(page: Page, kind: str) -> list[dict[str, str]]:
    """The fields of each record of a kind, those removed too."""
    found = page.evaluate(f"{RECORDS}.filter(({{ kind }}) => kind === '{kind}')")
    return [{name: written["text"] for name, written in record["fields"].items()} for record in found]


def saved(page: Page, button: str, path: Path) -> Path:
    with page.expect_download() as download:
        page.locator(button).click()
    download.value.save_as(path)
    return path


def book(*records: dict[str, Any]) -> dict[str, Any]:
    return {"format": "feedcalc season book", "version": 1, "records": list(records)}


def record(identity: str, kind: str, at: str = "2026-05-01T09:00:00.000Z", by: str = "other", **fields: str) -> Any:
    held = {name: {"text": text, "at": at, "by": by} for name, text in fields.items()}
    return {"id": identity, "kind": kind, "fields": held, "history": []}


def open_file(page: Page, name: str, content: str | bytes) -> None:
    buffer = content.encode() if isinstance(content, str) else content
    page.locator("#book-open").set_input_files({"name": name, "mimeType": "text/plain", "buffer": buffer})


def in_book(folder: Path, *arguments: str) -> None:
    """Run ``feedcalc book`` on a book of its own in ``folder``."""
    command = [sys.executable, "-m", "feedcalc", "book", "--book", str(folder / "book.sqlite"), *arguments]
    subprocess.run(command, check=True, capture_output=True, text=True)


def test_an_empty_book_says_what_to_do_and_a_bed_its_test_and_entry_outlive_the_tab(
    opened: Callable[..., Page],
) -> None:
    page = opened()
    expect(page.locator("#book-empty")).to_be_visible()
    expect(page.locator('#book [data-write="entry"]')).to_be_hidden()
    write(page, "bed", name="South", area="6 m²", texture="loam", plant="tomato")
    expect(page.locator("#book-empty")).to_be_hidden()
    write(page, "soil test", date="2026-04-01", ph="6,2", tested_with="kit")
    write(page, "entry", date="2026-05-01", what="dry ash", amount="1 1/2 cups")
    page.close(run_before_unload=False)
    again = opened()
    assert again.evaluate(BEDS) == ["South"]
    assert texts(again, "soil test")[0]["ph"] == "6,2"
    assert texts(again, "entry")[0]["amount"] == "1 1/2 cups"
    expect(again.locator('[data-book-part="season_bed"]')).to_contain_text("South")
    expect(again.locator('[data-book-part="season_bed"] svg').first).to_be_visible()


def test_what_an_entry_would_come_to_is_told_as_it_is_typed(opened: Callable[..., Page]) -> None:
    page = opened()
    write(page, "bed", name="South", area="6 m²", texture="loam")
    write(page, "soil test", date="2026-04-01", ph="6.2", tested_with="laboratory")
    page.locator('#book [data-write="entry"]').click()
    fill(page, "entry", what="dry ash", amount="200 g")
    expect(page.locator("#book-what-if")).to_contain_text("g/m²")
    little = page.locator("#book-what-if").text_content()
    fill(page, "entry", amount="3 kg")
    expect(page.locator("#book-what-if")).not_to_have_text(little or "")
    fill(page, "entry", amount="3 heaps")
    expect(page.locator('#book-entry [data-written-error="amount"]')).to_be_visible()
    assert texts(page, "entry") == [], "nothing is written before it is asked for"


def test_what_was_being_typed_is_offered_again(opened: Callable[..., Page], asleep: str) -> None:
    page = opened(asleep)
    page.locator('#book [data-write="bed"]').click()
    page.locator("#bed-name").focus()
    page.keyboard.type("By the wa")
    page.close(run_before_unload=False)
    again = opened(asleep)
    again.get_by_role("button", name="Continue with it").click()
    assert again.locator("#bed-name").input_value() == "By the wa"
    again.locator("#book-bed [data-give-up]").click()
    again.locator("#book-told").get_by_role("button", name="Undo").click()
    assert again.locator("#bed-name").input_value() == "By the wa"
    again.locator("#book-bed [data-give-up]").click()
    again.reload()
    expect(again.locator("#book-drafts")).to_be_hidden()


def test_what_is_kept_while_the_calculator_sleeps_is_written_when_it_wakes(
    opened: Callable[..., Page], asleep: str
) -> None:
    page = opened(asleep)
    write(page, "bed", done=False, name="South", area="6 m²")
    expect(page.locator("#book-kept")).to_contain_text("once the calculator has loaded")
    page.close(run_before_unload=False)
    awake = opened()
    wait_until(lambda: awake.evaluate(BEDS) == ["South"], what="the bed is in the book")
    assert awake.evaluate("feedcalc.journal.journal()") == []
    expect(awake.locator("#book-drafts")).to_be_hidden()


def test_every_change_can_be_undone_and_done_again(opened: Callable[..., Page]) -> None:
    page = opened()
    write(page, "bed", name="South", area="6 m²")
    act(page, "South", "Change")
    fill(page, "bed", name="North", area="8 m²")
    page.locator("#book-bed [type=submit]").click()
    wait_until(lambda: page.evaluate(BEDS) == ["North"])
    expect(page.locator("#book-written-list")).to_contain_text(re.compile("was “6 m²”, changed"))
    act(page, "North", "Remove")
    expect(page.locator("#book-removed-list")).to_contain_text("North")
    assert page.evaluate(BEDS) == []
    for expected in (["North"], ["South"], []):
        page.locator("#book-undo").click()
        wait_until(lambda expected=expected: page.evaluate(BEDS) == expected, what=f"undone to {expected}")  # type: ignore[misc]
    expect(page.locator("#book-undo")).to_be_disabled()
    for expected in (["South"], ["North"], []):
        page.locator("#book-redo").click()
        wait_until(lambda expected=expected: page.evaluate(BEDS) == expected, what=f"redone to {expected}")  # type: ignore[misc]
    page.reload()
    wait_for_engine(page)
    page.evaluate(OPEN_ALL)
    act(page, "North", "Put back")
    wait_until(lambda: page.evaluate(BEDS) == ["North"], what="put back after a reload")
    assert texts(page, "bed")[0]["area"] == "8 m²"


def test_two_tabs_write_different_fields_of_one_bed_and_both_stay(opened: Callable[..., Page]) -> None:
    mine = opened()
    write(mine, "bed", name="South", area="6 m²")
    other = opened()
    act(mine, "South", "Change")
    act(other, "South", "Change")
    fill(mine, "bed", area="7 m²")
    fill(other, "bed", note="stony")
    mine.locator("#book-bed [type=submit]").click()
    expect(mine.locator("#book-told")).to_contain_text("Written")
    other.locator("#book-bed [type=submit]").click()
    expect(other.locator("#book-told")).to_contain_text("Written")
    for page in (mine, other):
        wait_until(
            lambda page=page: (texts(page, "bed")[0]["area"], texts(page, "bed")[0]["note"]) == ("7 m²", "stony"),  # type: ignore[misc]
            what="both changes in both tabs",
        )


def test_a_book_goes_to_the_command_line_and_back_unchanged(opened: Callable[..., Page], tmp_path: Path) -> None:
    page = opened()
    write(page, "bed", name="Süd & <b>", area="6 m²", texture="loam")
    write(page, "soil test", date="2026-04-01", ph="6.2")
    write(page, "entry", date="2026-05-01", what="dry ash", amount="1 cup", note="=1+1")
    from_page = saved(page, "#book-save", tmp_path / "page.json")
    in_book(tmp_path, "import", str(from_page))
    in_book(tmp_path, "export", str(tmp_path / "line.json"))
    assert (tmp_path / "line.json").read_bytes() == from_page.read_bytes()
    open_file(page, "line.json", (tmp_path / "line.json").read_bytes())
    expect(page.locator("#book-told")).to_contain_text("in the book already")


def test_a_table_brings_the_book_to_another_browser_and_twice_changes_nothing(
    opened: Callable[..., Page], browser: Browser, quick_file: str, tmp_path: Path
) -> None:
    page = opened()
    write(page, "bed", name='Süd; "quoted"', area="6 m²")
    write(page, "entry", date="2026-05-01", what="dry ash", amount="1 cup", note="=1+1")
    table = saved(page, "#book-save-csv", tmp_path / "book.csv").read_bytes()
    context = browser.new_context(offline=True)
    other = context.new_page()
    other.goto(quick_file + "#book")
    wait_for_engine(other)
    other.evaluate(OPEN_ALL)
    open_file(other, "book.csv", table)
    expect(other.locator("#book-preview-list")).to_contain_text("1 cup")
    assert other.evaluate(RECORDS) == [], "nothing happens before it is agreed to"
    other.locator("#book-preview [value=yes]").click()
    wait_until(lambda: other.evaluate(BEDS) == ['Süd; "quoted"'])
    assert texts(other, "entry") == texts(page, "entry")
    open_file(other, "book.csv", table)
    expect(other.locator("#book-told")).to_contain_text("in the book already")
    context.close()


def test_another_person_s_book_is_shown_first_then_merged_and_can_be_undone(opened: Callable[..., Page]) -> None:
    page = opened()
    write(page, "bed", name="South", area="6 m²")
    identity = page.evaluate(RECORDS)[0]["id"]
    late = "2199-01-01T00:00:00.000Z"
    theirs = book(
        record(identity, "bed", late, name="South", area="5 m²"),
        record("theirs", "bed", name="North"),
        {"id": "spoilt", "kind": "unheard of"},
    )
    open_file(page, "theirs.json", json.dumps(theirs))
    preview = page.locator("#book-preview")
    expect(preview).to_contain_text("North")
    expect(preview).to_contain_text("“6 m²” becomes “5 m²”")
    expect(preview).to_contain_text("Left out")
    page.locator("#book-preview [value=yes]").click()
    wait_until(lambda: page.evaluate(BEDS) == ["North", "South"])
    own = next(each for each in page.evaluate(RECORDS) if each["id"] == identity)
    assert own["fields"]["area"]["text"] == "5 m²"
    assert "6 m²" in [past["text"] for past in own["history"]], "what lost stays in the history"
    page.locator("#book-told").get_by_role("button", name="Undo").click()
    wait_until(lambda: page.evaluate(BEDS) == ["South"])
    assert next(each for each in texts(page, "bed") if each["name"] == "South")["area"] == "6 m²"


@pytest.mark.parametrize(
    "content",
    [
        "not a book",
        "[]",
        '{"format": "something else"}',
        '{"format": "feedcalc season book", "version": 99, "records": []}',
    ],
)
def test_a_file_that_is_no_book_is_refused_in_words(shown: Page, content: str) -> None:
    open_file(shown, "odd.json", content)
    wait_until(lambda: shown.locator("#book-told").text_content(), what="words about the file")
    expect(shown.locator("#book-preview")).to_be_hidden()
    shown.evaluate("document.getElementById('book-told').replaceChildren()")


@pytest.fixture(scope="module")
def shown(browser: Browser, quick_file: str) -> Iterator[Page]:
    """One page with the example book in it for looking; each test leaves it so."""
    context = browser.new_context(offline=True, viewport={"width": 360, "height": 800}, reduced_motion="reduce")
    page = context.new_page()
    page.goto(quick_file + "#book")
    wait_for_engine(page)
    page.locator("#book-show-example").click()
    expect(page.locator('[data-book-part="season_bed"] svg').first).to_be_visible()
    page.evaluate(OPEN_ALL)
    yield page
    context.close()


def test_the_example_is_for_looking_only(shown: Page) -> None:
    assert len(shown.evaluate(BEDS)) >= 2
    assert shown.evaluate(RECORDS) == []
    expect(shown.locator('#book [data-write="entry"]')).to_be_hidden()
    expect(shown.locator("#book-written-list")).not_to_contain_text("Remove")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_axe_finds_nothing_serious_and_nothing_runs_off_the_side(shown: Page, width: int, scheme: str) -> None:
    shown.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    shown.set_viewport_size({"width": width, "height": 800})
    assert serious_faults(shown) == []
    assert shown.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") == 0


def test_a_winter_s_ash_is_shared_out_over_the_beds_of_the_book(shown: Page) -> None:
    form = shown.locator("#share-form")
    form.locator("[type=submit]").click()
    expect(shown.locator("#share-told")).to_contain_text("How much ash is there?")
    form.locator('[name="amount"]').fill("20 kg")
    form.locator("[type=submit]").click()
    expect(shown.locator("#shared-out")).to_be_focused()
    assert shown.locator("#share-sheet [data-share]").count() == shown.locator("#book-bed-list button").count()
    assert shown.locator("#share-sheet svg[aria-label]").count() >= 1
    assert serious_faults(shown) == []


def test_a_bed_s_year_fits_one_page_of_paper(shown: Page) -> None:
    shown.evaluate("document.documentElement.dataset.print = 'bed'")
    paper = shown.pdf(prefer_css_page_size=True)
    shown.evaluate("delete document.documentElement.dataset.print")
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 1


def test_every_form_is_for_every_eye_and_hand(opened: Callable[..., Page]) -> None:
    page = opened()
    write(page, "bed", name="South", area="6 m²")
    for kind in ("bed", "soil test", "entry", "metals"):
        page.locator(f'#book [data-write="{kind}"]').click()
        page.evaluate(OPEN_ALL)
        assert page.evaluate("document.activeElement.tagName") == "H3"
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
            assert serious_faults(page, f"#book-{kind.replace(' ', '-')}") == []
        small = page.evaluate(
            """() => [...document.querySelectorAll(
                 "#book :is(button, input:not([type=file]), select, textarea, summary, .button)")]
               .filter((element) => element.checkVisibility())
               .map((element) => [element.id || element.textContent, element.getBoundingClientRect()])
               .filter(([, box]) => box.height < 44 || box.width < 44).map(([name]) => name)"""
        )
        assert small == []
        assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") == 0
        page.locator(f'form[data-kind="{kind}"] [data-give-up]').click()


def test_what_the_engine_would_not_take_after_a_sleep_is_offered_for_mending(
    opened: Callable[..., Page], asleep: str
) -> None:
    page = opened(asleep)
    write(page, "bed", done=False, name="South", area="six steps by two")
    page.close(run_before_unload=False)
    awake = opened()
    expect(awake.locator("#book-told")).to_contain_text("could not go into the book")
    awake.get_by_role("button", name="Continue with it").click()
    assert awake.locator("#bed-area").input_value() == "six steps by two"
    fill(awake, "bed", area="12 m²")
    awake.locator("#book-bed [type=submit]").click()
    wait_until(lambda: awake.evaluate(BEDS) == ["South"])
    expect(awake.locator("#book-drafts")).to_be_hidden()


def test_typed_text_is_only_text(opened: Callable[..., Page]) -> None:
    hostile = "<img src=data:, onerror=window.ran=1><script>window.ran=1</script>{{7*7}}"
    page = opened()
    write(page, "bed", name=hostile[:80], area="6 m²", note=hostile, plant=hostile)
    write(page, "soil test", date="2026-04-01", ph="6.2", note=hostile)
    write(page, "entry", date="2026-05-01", what="dry ash", amount="1 cup", note=hostile, where=hostile)
    act(page, "1 cup", "Change")
    fill(page, "entry", amount=hostile)
    page.locator("#book-entry [type=submit]").click()
    expect(page.locator('#book-entry [data-written-error="amount"]')).to_be_visible()
    page.locator("#book-entry [data-give-up]").click()
    other = record("x", "bed", name=hostile, area=hostile, plant=hostile, note=hostile)
    open_file(page, f"{hostile}.json", json.dumps(book(other)))
    expect(page.locator("#book-preview-list")).to_contain_text("<img")
    page.locator("#book-preview [value=yes]").click()
    wait_until(lambda: len(page.evaluate(BEDS)) == 2)
    expect(page.locator('[data-book-part="season_bed"]')).to_contain_text("<img")
    assert page.locator("#book img").count() == 0
    assert page.evaluate("window.ran") is None


def test_a_refused_database_is_told_and_a_file_still_saves_the_book(
    opened: Callable[..., Page], tmp_path: Path
) -> None:
    refused = "IDBFactory.prototype.open = () => { throw new DOMException('no', 'SecurityError'); };"
    page = opened(first=refused)
    expect(page.locator("#book-kept")).to_contain_text("refuses to keep the book")
    write(page, "bed", name="South", area="6 m²")
    file = saved(page, "#book-kept button", tmp_path / "book.json")
    assert [each["fields"]["name"]["text"] for each in json.loads(file.read_text(encoding="utf-8"))["records"]] == [
        "South"
    ]
    page.reload()
    wait_for_engine(page)
    wait_until(lambda: page.evaluate(BEDS) == ["South"], what="the small copy beside it brings the bed back")


def test_a_spoilt_record_is_told_and_can_be_saved(opened: Callable[..., Page], tmp_path: Path) -> None:
    page = opened()
    page.evaluate(
        """() => new Promise((resolve) => {
          indexedDB.open("feedcalc.book").onsuccess = ({ target: { result: database } }) => {
            const transaction = database.transaction("records", "readwrite");
            transaction.objectStore("records").put({ id: "one", kind: 42 });
            transaction.oncomplete = () => { database.close(); resolve(); };
          };
        })"""
    )
    page.reload()
    wait_for_engine(page)
    expect(page.locator("#book-troubles")).to_contain_text("can't be read")
    file = saved(page, "#book-troubles button", tmp_path / "odd.json")
    assert json.loads(file.read_text(encoding="utf-8")) == [{"id": "one", "kind": 42}]


def test_a_batch_goes_into_the_book_from_its_sheet(opened: Callable[..., Page]) -> None:
    page = opened()
    write(page, "bed", name="South", area="6 m²")
    page.evaluate("location.hash = '#all'")
    page.locator("#batch-name").fill("May feed")
    page.locator("#batch-to-book").click()
    expect(page.locator("#book-entry")).to_be_visible()
    fill(page, "entry", amount="9 L")
    expect(page.locator("#book-what-if")).to_contain_text("g/m²")
    seen_under_way = watch_progress(page, "book-ranges-bar")
    fill(page, "entry", dilution="1:7")  # of which the ranges are not known yet
    expect(page.locator("#book-freshness")).to_have_attribute("data-freshness", "fresh")
    assert seen_under_way(), "nobody was told how far it was"
    expect(page.locator("#book-ranges-bar")).to_have_css("visibility", "hidden")
    page.locator("#book-entry [type=submit]").click()
    expect(page.locator("#book-told")).to_contain_text("Written in the book.")
    [entry] = texts(page, "entry")
    assert (entry["batch"], entry["what"], entry["amount"]) == ("May feed", "liquid feed", "9 L")
    assert json.loads(entry["request"])["ash"]


def test_reminders_are_the_command_line_s_as_a_calendar_file(opened: Callable[..., Page], tmp_path: Path) -> None:
    page = opened()
    write(page, "bed", name="Süd, am Zaun; " + "lang " * 12, area="6 m²")
    write(page, "soil test", date="2026-04-01", ph="6.2")
    write(page, "entry", date="2026-05-01", what="dry ash", amount="1 cup")
    raw = saved(page, "#book-calendar", tmp_path / "page.ics").read_bytes()
    lines = raw.split(b"\r\n")
    assert not [line for line in lines if len(line) > 75 or b"\n" in line], "RFC 5545, 3.1: folded, ended by CR LF"
    book_file = saved(page, "#book-save", tmp_path / "book.json")
    in_book(tmp_path, "import", str(book_file))
    in_book(tmp_path, "reminders", "--out", str(tmp_path / "line.ics"))
    of_page, of_line = (
        {event_of(each) for each in read_calendar(text)} for text in (raw, (tmp_path / "line.ics").read_bytes())
    )
    assert of_page
    assert of_page == of_line


def test_liquor_that_steeps_is_in_the_calendar_before_it_is_in_the_book(
    opened: Callable[..., Page], tmp_path: Path
) -> None:
    page = opened()
    page.evaluate("location.hash = '#all'")
    page.locator("#batch-name").fill("June feed")
    page.locator('[name="now"]').fill("2099-06-01T07:00")
    page.evaluate("location.hash = '#book'")
    events = read_calendar(saved(page, "#book-calendar", tmp_path / "page.ics").read_bytes())
    assert {str(event["SUMMARY"]) for event in events} == {
        "The liquor should be clear: June feed",
        "Check the pH of the liquor again: June feed",
    }
    assert not texts(page, "entry")


def read_calendar(text: bytes) -> list[Any]:
    return list(icalendar.Calendar.from_ical(text).walk("VEVENT"))


def event_of(event: Any) -> tuple[str, ...]:
    """What a calendar shows of an event, and when it rings."""
    [alarm] = event.walk("VALARM")
    told = (str(event[name]) for name in ("UID", "SUMMARY", "DESCRIPTION"))
    return (*told, str(event["DTSTART"].dt), str(alarm["TRIGGER"].dt), str(alarm["ACTION"]))
