"""What can go wrong with a page while somebody uses it: after each fault what was typed is there, or it is told."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from building.words import page_words
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.page.conftest import COPY_AT_REST, NO_HASHES, SPY, WITHOUT_RANGES, SiteServer, wait_for_engine, wait_until

FRESHNESS = "document.getElementById('freshness').dataset.freshness"
BATCHES = """() => Object.fromEntries(feedcalc.batches.open().map(({ name, request }) =>
  [name, request.water?.temperature ?? ""]))"""
DEAF = "window.addEventListener('storage', (event) => event.stopImmediatePropagation(), true);"


@pytest.fixture
def grower(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(accept_downloads=True)
    context.add_init_script(WITHOUT_RANGES)
    yield context
    context.close()


@pytest.fixture
def opened(grower: BrowserContext, one_file: str, quick_file: str, asleep: str) -> Callable[..., Page]:
    """Opens the one file in another tab of the same browser after running ``first``, Python only if ``awake``."""

    def open_page(first: str = "", address: str = "", awake: bool = True) -> Page:
        page = grower.new_page()
        if first:
            page.add_init_script(first)
        awake_file = one_file if SPY in first else quick_file
        page.goto(address or (awake_file if awake else asleep))
        if awake:
            wait_for_engine(page)
        page.evaluate("document.getElementById('more').open = true")
        return page

    return open_page


@pytest.fixture(autouse=True)
def one_fault(record_property: Callable[[str, Any], None]) -> None:
    record_property("faults", 1)


def temperature(page: Page, text: str) -> None:
    page.locator('[name="water.temperature"]').fill(text)


def held(page: Page) -> str:
    return page.locator('[name="water.temperature"]').input_value()


def fresh(page: Page) -> None:
    wait_until(lambda: page.evaluate(FRESHNESS) == "fresh", what="a sheet for what is typed now")


# -- the worker ---------------------------------------------------------------------------------------------------


def test_a_worker_that_dies_in_the_middle_of_an_answer_is_told_and_the_next_change_is_answered(
    opened: Callable[..., Page],
) -> None:
    page = opened(SPY)
    fresh(page)
    page.evaluate("document.documentElement.dataset.was = 'ready'")
    page.clock.install()  # patience is a quarter of a minute; nobody has to wait for it here
    page.evaluate("workers.at(-1).terminate()")
    temperature(page, "9 °C")
    page.clock.run_for(1000)
    page.clock.run_for(20_000)
    wait_until(lambda: "took too long" in page.locator("#freshness").inner_text(), what="it is told")
    assert held(page) == "9 °C"
    page.clock.resume()
    wait_for_engine(page)
    temperature(page, "10 °C")
    fresh(page)
    page.reload()
    assert held(page) == "10 °C"


# Ways in which a worker dies of a question that holds a text.
DEATHS = {
    "by a stack that overflows": "python.runPython(`import json; json.loads('[' * 200000)`)",
    "by an error outside Python": "setTimeout(() => { throw new Error('gone'); }); return",
}


def deadly(death: str, mark: str = "9 °C") -> str:
    old = "question.steps = answerInSteps(request, tell);"
    new = f"""{{ if (request.includes('"{mark}"')) {{ {death}; }} {old} }}"""
    return f"window.programEdits = [[{json.dumps(old)}, {json.dumps(new)}]];"


STATES = """() => {
  window.states = [];
  new MutationObserver(() => states.push(document.documentElement.dataset.engine))
    .observe(document.documentElement, { attributeFilter: ["data-engine"] });
}"""


@pytest.mark.parametrize("death", DEATHS.values(), ids=DEATHS)
def test_a_python_that_dies_is_started_anew_and_asked_once_more(opened: Callable[..., Page], death: str) -> None:
    page = opened(deadly(death) + SPY)
    fresh(page)
    page.evaluate(STATES)
    page.evaluate("programEdits.length = 0")  # the next worker is a sound one
    temperature(page, "9 °C")
    wait_until(lambda: page.evaluate("states") == ["starting", "ready"], what="Python started anew")
    fresh(page)
    assert held(page) == "9 °C"
    assert page.evaluate("workers.length") == 2
    assert page.locator("[data-part='sheet']").inner_text().strip()


@pytest.mark.parametrize("death", DEATHS.values(), ids=DEATHS)
def test_a_question_that_kills_python_twice_is_given_up_in_words_and_the_next_is_answered(
    opened: Callable[..., Page], death: str
) -> None:
    page = opened(deadly(death) + SPY)
    fresh(page)
    page.evaluate(STATES)
    temperature(page, "9 °C")
    expect(page.locator("#freshness")).to_contain_text("stopped twice over this and was started again")
    wait_until(lambda: page.evaluate("states") == ["starting", "ready"] * 2, what="Python started anew twice")
    assert held(page) == "9 °C"
    temperature(page, "10 °C")
    fresh(page)
    assert page.evaluate("workers.length") == 3


def test_the_record_that_kills_python_twice_is_set_aside_told_by_name_and_kept_in_the_file(
    opened: Callable[..., Page],
) -> None:
    first = deadly(DEATHS["by an error outside Python"], "KILLS") + SPY
    page = opened(first)
    fresh(page)
    page.evaluate(
        """() => {
          const written = (fields) => Object.fromEntries(Object.entries(fields).map(
            ([name, text]) => [name, { text, at: "2026-05-01T09:00:00.000Z", by: "tester" }]));
          const entry = (id, note) => ({ id, kind: "entry", history: [], fields: written(
            { bed: "bed", date: "2026-05-01", what: "dry ash", amount: "50 g", batch: note, note }) });
          const entries = ["a", "b", "c", "d"].map((id) => entry(id, id === "c" ? "KILLS" : "lives"));
          const bed = { id: "bed", kind: "bed", history: [], fields: written({ name: "South", area: "4 m2" }) };
          return feedcalc.records.put([bed, ...entries]);
        }"""
    )
    season = """async () => (await feedcalc.engine.ask({ schema: 1, ask: "season", ranges: "off", bed: "bed",
      now: "2026-06-01T09:00", book: feedcalc.records.asObject() }, { line: "book" })).ok"""
    assert page.evaluate(season), "the season of all others"
    assert page.evaluate("feedcalc.records.deadly().map(({ id }) => id)") == ["c"]
    expect(page.locator("#toast-words")).to_contain_text("“2026-05-01 dry ash KILLS”")
    saved = """async () => (await feedcalc.changes.askBook(
      { do: "write file", book: feedcalc.records.asObject() })).values.book.text"""
    assert {each["id"] for each in json.loads(page.evaluate(saved))["records"]} == {"bed", "a", "b", "c", "d"}
    page.reload()
    wait_for_engine(page)
    assert page.evaluate(season)
    assert page.evaluate("workers.length") == 1, "what is known to kill is not asked again"
    expect(page.locator("#toast-words")).to_contain_text("KILLS")


# -- storage ------------------------------------------------------------------------------------------------------


def test_a_really_full_storage_is_told_and_what_was_typed_is_kept_once_there_is_room(
    opened: Callable[..., Page],
) -> None:
    page = opened(awake=False)
    page.evaluate("""() => { for (let size = 4000000, count = 0; size >= 1; ) {
      try { localStorage.setItem(`junk${count}`, "x".repeat(size)); count += 1; } catch { size = Math.floor(size / 2); }
    } }""")
    temperature(page, "11 °C and more than there was room for before")
    expect(page.locator("#kept")).to_contain_text("Not saved")
    with page.expect_download() as download:
        page.locator("#export-now").click()
    saved = json.loads(Path(download.value.path()).read_text(encoding="utf-8"))
    assert saved["batches"][0]["request"]["water"]["temperature"].startswith("11 °C and more")
    page.evaluate(
        "for (const key of Object.keys(localStorage)) if (key.startsWith('junk')) localStorage.removeItem(key)"
    )
    page.reload()  # leaving the page tries once more
    assert held(page).startswith("11 °C and more")


def test_a_batch_that_can_no_longer_be_read_is_told_left_alone_and_can_be_saved(opened: Callable[..., Page]) -> None:
    page = opened(awake=False)
    temperature(page, "12 °C")
    spoilt = '{"id":"gone","name":"Leeks","request":{"schema":1,"water":{"temp'
    page.evaluate("text => localStorage.setItem('feedcalc.batch.gone', text)", spoilt)
    page.reload()
    expect(page.locator("#toast-words")).to_contain_text("can't be read: 1")
    with page.expect_download() as download:
        page.locator("#toast-action").click()
    assert json.loads(Path(download.value.path()).read_text(encoding="utf-8")) == {"feedcalc.batch.gone": spoilt}
    assert page.evaluate("localStorage.getItem('feedcalc.batch.gone')") == spoilt
    assert held(page) == "12 °C"


ODD_REQUESTS = {
    "nested without end": '{"a":' * 5000 + "1" + "}" * 5000,
    "lists without end": '{"cans":' + "[" * 5000 + "]" * 5000 + "}",
    "other shapes": '{"schema": "x", "water": 5, "cans": {"0": 1}, "ash": [1], "soil": null, "now": {}, "locale": []}',
    "readings of other shapes": '{"schema": 1, "ash": {"earlier": [null, 1, "x", {"ash": []}]}, "cans": [1, null, []]}',
    "no fields": "{}",
}


def test_batches_of_odd_shapes_never_stop_the_page(opened: Callable[..., Page], one_file: str) -> None:
    page = opened(address=one_file, awake=False)
    page.evaluate("localStorage.clear(); sessionStorage.clear()")
    for name, request in ODD_REQUESTS.items():
        text = f'{{"id":"{name}","name":"{name}","request":{request},"done":[],"changed":"2099-01-01T00:00:00.000Z"}}'
        page.evaluate("([name, text]) => localStorage.setItem(`feedcalc.batch.${name}`, text)", [name, text])
    page.reload()
    wait_for_engine(page)
    page.evaluate("document.getElementById('more').open = true")
    offered = page.locator("#batch-choice option").evaluate_all("options => options.map(({ value }) => value)")
    assert len(offered) >= len(ODD_REQUESTS)
    for identity in offered:
        page.locator("#batch-choice").select_option(identity)
        expect(page.locator("#batch-choice")).to_have_value(identity)
    page.locator("#new-batch").click()
    temperature(page, "13 °C")
    fresh(page)
    page.reload()
    assert held(page) == "13 °C"
    for name in ODD_REQUESTS:
        assert page.evaluate("name => localStorage.getItem(`feedcalc.batch.${name}`)", name)


# -- two windows, and clocks --------------------------------------------------------------------------------------


def test_what_stood_here_comes_back_by_undo_when_another_window_changed_the_batch(opened: Callable[..., Page]) -> None:
    mine, other = opened(awake=False), opened(awake=False)
    temperature(mine, "14 °C")
    wait_until(lambda: held(other) == "14 °C", what="the other window follows")
    temperature(other, "15 °C")
    wait_until(lambda: held(mine) == "15 °C", what="this one follows")
    expect(mine.locator("#toast-words")).to_contain_text("another window")
    mine.locator("#toast-action").click()
    assert held(mine) == "14 °C"


def test_a_window_that_was_not_told_never_writes_over_what_another_wrote(opened: Callable[..., Page]) -> None:
    mine = opened(DEAF, awake=False)
    other = opened(awake=False)
    temperature(other, "16 °C")
    other.close()
    temperature(mine, "17 °C")
    expect(mine.locator("#toast-words")).to_contain_text("Another window changed this batch too")
    temperature(mine, "18 °C")
    assert sorted(mine.evaluate(BATCHES).values()) == ["16 °C", "18 °C"]
    mine.reload()
    assert held(mine) == "18 °C"


@pytest.mark.parametrize("year", ["2001", "2099"])
def test_a_clock_that_jumps_makes_no_change_look_old(opened: Callable[..., Page], year: str) -> None:
    mine, other = opened(awake=False), opened(awake=False)
    mine.clock.set_fixed_time(f"{year}-01-01T00:00:00Z")
    temperature(mine, "19 °C")
    wait_until(lambda: held(other) == "19 °C", what="the window with the right clock follows")
    temperature(other, "20 °C")
    wait_until(lambda: held(mine) == "20 °C", what="the window with the wrong clock follows")
    mine.close()
    other.reload()
    assert held(other) == "20 °C"


# -- what a browser lacks -----------------------------------------------------------------------------------------

LACKING = {
    "WebAssembly": "has no WebAssembly",
    "Worker": "runs no programs in the background",
    "DecompressionStream": "too old to unpack",
}


@pytest.mark.parametrize("what", LACKING)
def test_what_this_browser_lacks_is_told_in_words_and_what_is_typed_is_kept(
    opened: Callable[..., Page], what: str
) -> None:
    page = opened(f"delete window.{what};", awake=False)
    wait_for_engine(page, "failed")
    expect(page.locator("#state-why")).to_contain_text(LACKING[what])
    expect(page.locator("#state-words")).to_contain_text("What you type is kept")
    assert page.locator('[data-figure="liquor.potassium"]').count() >= 1
    temperature(page, "21 °C")
    page.reload()
    assert held(page) == "21 °C"


def test_a_browser_without_service_workers_is_told_that_the_page_is_not_kept(
    opened: Callable[..., Page], site_server: SiteServer
) -> None:
    page = opened("delete Navigator.prototype.serviceWorker;", site_server.address)
    expect(page.locator("#offline-words")).to_contain_text("can't keep the page")
    temperature(page, "22 °C")
    fresh(page)


# -- a copy that is not whole -------------------------------------------------------------------------------------

PAYLOAD, PROGRAM, SCRIPT = 'id="engine-payload">', 'id="engine-program">', "var feedcalc="
MADE = 'data-sha256="'
NOT_WHOLE = "This file is incomplete or damaged."
# Where a copy ends: how many signs after the start of a mark, or before the end of the payload.
CUTS = {
    "before the payload": (PAYLOAD, -60),
    "with nothing of the payload": (PAYLOAD, len(PAYLOAD)),
    "in its lengths": (PAYLOAD, len(PAYLOAD) + 3),
    "in its second frame": (PAYLOAD, 3_500_000),
    "one sign before its end": ("", -1),
}
# Where one sign is another: so many signs after the start of a mark, or before the end of the payload.
CHANGES = {
    "in the lengths": (PAYLOAD, len(PAYLOAD) + 4),
    "in the length of the memory": (PAYLOAD, len(PAYLOAD) + 8),
    "in the first frame": (PAYLOAD, 500_000),
    "in the second frame": (PAYLOAD, 3_000_000),
    "in the last checksum": ("", -2),
    "in the program": (PROGRAM, 200_000),
}


def place_in(whole: str, mark: str, distance: int) -> int:
    start = whole.index(mark) if mark else whole.rindex("</script>")
    return start + distance


Copied = Callable[[Callable[[str], str]], str]


@pytest.fixture
def copied(dist: Path, tmp_path: Path) -> Copied:
    """Address of a copy of the one file after ``change``."""

    def copy(change: Callable[[str], str]) -> str:
        file = tmp_path / "feedcalc.html"
        file.write_text(change((dist / "feedcalc.html").read_text("utf-16")), "utf-16")
        return file.as_uri()

    return copy


def cut(mark: str, distance: int) -> Callable[[str], str]:
    return lambda whole: whole[: place_in(whole, mark, distance)]


def shifted(whole: str) -> str:
    """A sign that says what the next one stands for is another: all that follows is two bytes further on."""
    at = whole.index("=", place_in(whole, PAYLOAD, 3_000_000))
    return whole[:at] + "A" + whole[at + 1 :]


def changed(mark: str, distance: int) -> Callable[[str], str]:
    def change(whole: str) -> str:
        at = place_in(whole, mark, distance)
        return whole[:at] + ("B" if whole[at] == "A" else "A") + whole[at + 1 :]

    return change


def told_and_kept(page: Page, text: str) -> None:
    """It is said that the file is not whole, the sheet can be read, and what is typed outlives a new start."""
    wait_for_engine(page, "failed")
    expect(page.locator("#state-why")).to_contain_text(NOT_WHOLE)
    expect(page.locator("#state-why")).to_contain_text("put it in place of this one")
    assert page.locator('[data-figure="liquor.potassium"]').count() >= 1
    temperature(page, text)
    page.reload(wait_until="commit")
    wait_until(lambda: held(page) == text, what="what was typed is there again")


@pytest.mark.parametrize("where", CUTS.values(), ids=CUTS)
def test_a_file_that_was_cut_says_so_and_keeps_what_is_typed(
    opened: Callable[..., Page], copied: Copied, where: tuple[str, int]
) -> None:
    page = opened(address=copied(cut(*where)), awake=False)
    told_and_kept(page, "27 °C")


@pytest.mark.parametrize("where", CHANGES.values(), ids=CHANGES)
def test_a_file_with_a_changed_byte_says_so_and_keeps_what_is_typed(
    opened: Callable[..., Page], copied: Copied, where: tuple[str, int]
) -> None:
    page = opened(SPY, address=copied(changed(*where)), awake=False)
    told_and_kept(page, "28 °C")
    assert not page.evaluate("heard.some((message) => message.ready)")


def test_a_payload_that_unpacks_but_has_another_hash_answers_nothing(
    opened: Callable[..., Page], copied: Copied
) -> None:
    def change(whole: str) -> str:
        at = whole.rindex(MADE, 0, whole.index(PAYLOAD)) + len(MADE)
        return whole[:at] + "0" * 64 + whole[at + 64 :]

    page = opened(SPY, copied(change), awake=False)
    told_and_kept(page, "29 °C")
    assert not page.evaluate("heard.some((message) => message.failed)"), "its own checksums are right"


@pytest.mark.parametrize("where", [(SCRIPT, 100_000), (SCRIPT, 0), ('id="page-words"', 5000), ('<main id="book"', 0)])
def test_a_file_that_was_cut_before_the_end_of_its_script_says_so(
    opened: Callable[..., Page], copied: Copied, where: tuple[str, int]
) -> None:
    page = opened(address=copied(cut(*where)), awake=False)
    expect(page.locator("#cut")).to_be_visible()
    expect(page.locator("#cut")).to_contain_text("incomplete or damaged")


def test_a_file_that_was_cut_says_so_in_each_language(opened: Callable[..., Page], copied: Copied) -> None:
    page = opened(address=copied(cut(PAYLOAD, 1_000_000)), awake=False)
    words = page_words()
    place = next(place for place, message in enumerate(words["messages"]) if message.startswith(NOT_WHOLE))
    for tag in ("es", "fr", "de", "pt", "hi"):
        page.evaluate("tag => localStorage.setItem('feedcalc.language', tag)", tag)
        page.reload()
        wait_for_engine(page, "failed")
        assert words[tag][place] not in ("", words["messages"][place])
        expect(page.locator("#state-why")).to_have_text(words[tag][place])


@pytest.mark.parametrize(
    "change",
    [cut(PAYLOAD, 3_500_000), changed(PAYLOAD, 3_000_000), shifted, changed(PROGRAM, 200_000)],
    ids=["cut", "changed", "shifted", "program"],
)
def test_where_the_browser_gives_no_hashes_lengths_and_checksums_are_left(
    opened: Callable[..., Page], copied: Copied, change: Callable[[str], str]
) -> None:
    page = opened(NO_HASHES, copied(change), awake=False)
    told_and_kept(page, "30 °C")


@pytest.mark.parametrize("first", ["", NO_HASHES], ids=["hashes", "no hashes"])
def test_a_whole_file_starts_and_says_nothing_of_damage(opened: Callable[..., Page], first: str) -> None:
    page = opened(first)
    fresh(page)
    expect(page.locator("#state-why")).to_be_hidden()
    expect(page.locator("#cut")).to_have_count(0)
    assert "damaged" not in page.locator("body").inner_text()


# -- a site in pieces ---------------------------------------------------------------------------------------------

KEPT = "async () => (await caches.keys()).length && (await navigator.serviceWorker.ready).active.state"


def part_of(server: SiteServer, pattern: str) -> Path:
    return next(server.folder.glob(pattern))


def test_a_site_with_its_payload_missing_says_so_and_keeps_what_is_typed(
    opened: Callable[..., Page], site_server: SiteServer
) -> None:
    missing = part_of(site_server, "payload.*.bin")
    content = missing.read_bytes()
    missing.unlink()
    page = opened(address=site_server.address, awake=False)
    wait_for_engine(page, "failed")
    expect(page.locator("#state-why")).to_contain_text(missing.name)
    expect(page.locator("#state-why")).to_contain_text("Reload the page")
    temperature(page, "23 °C")
    missing.write_bytes(content)
    page.locator("#try-again").click()
    wait_for_engine(page)
    fresh(page)
    assert held(page) == "23 °C"


def test_what_still_comes_after_a_failure_does_not_hide_it(
    opened: Callable[..., Page], site_server: SiteServer
) -> None:
    """The program is found damaged while the payload is on its way."""
    index = part_of(site_server, "index.html")
    index.write_text(changed(PROGRAM, 200_000)(index.read_text("utf-8")), "utf-8")
    page = opened(address=site_server.address, awake=False)
    wait_for_engine(page, "failed")
    page.wait_for_timeout(300)  # for more of it to come
    expect(page.locator("#state-why")).to_be_visible()
    expect(page.locator("#try-again")).to_be_visible()


def test_a_site_with_a_file_cut_short_says_so(opened: Callable[..., Page], site_server: SiteServer) -> None:
    payload = part_of(site_server, "payload.*.bin")
    payload.write_bytes(payload.read_bytes()[:1_000_000])
    page = opened(address=site_server.address, awake=False)
    wait_for_engine(page, "failed")
    expect(page.locator("#state-why")).to_contain_text("is incomplete or damaged")
    temperature(page, "26 °C")
    page.reload()
    assert held(page) == "26 °C"


def test_a_site_with_a_changed_byte_says_so_and_keeps_what_is_typed(
    opened: Callable[..., Page], site_server: SiteServer
) -> None:
    file = part_of(site_server, "payload.*.bin")
    content = file.read_bytes()
    file.write_bytes(content[:700_000] + bytes([content[700_000] ^ 1]) + content[700_001:])
    page = opened(address=site_server.address, awake=False)
    wait_for_engine(page, "failed")
    expect(page.locator("#state-why")).to_contain_text("is incomplete or damaged")
    temperature(page, "31 °C")
    file.write_bytes(content)
    page.locator("#try-again").click()
    wait_for_engine(page)
    fresh(page)
    assert held(page) == "31 °C"


def test_half_an_update_leaves_the_version_that_is_kept(opened: Callable[..., Page], site_server: SiteServer) -> None:
    page = opened(address=site_server.address)
    wait_until(lambda: page.evaluate(KEPT) == "activated", what="the page is kept")
    temperature(page, "24 °C")
    worker = part_of(site_server, "service_worker.js")
    page_file = part_of(site_server, "index.html")
    page_file.write_text(page_file.read_text(encoding="utf-8").replace("<title>", "<title>half "), encoding="utf-8")
    worker.write_text(re.sub(r'VERSION = "\w', 'VERSION = "x', worker.read_text(encoding="utf-8"), count=1))
    fate = page.evaluate(
        """async () => {
          const registration = await navigator.serviceWorker.getRegistration();
          await registration.update().catch(() => {});
          const worker = registration.installing;
          if (!worker) return "refused";
          return new Promise((resolve) => worker.addEventListener("statechange", () => {
            if (worker.state !== "installing") resolve(worker.state);
          }));
        }"""
    )
    assert fate == "redundant"
    site_server.shut()
    page.reload()
    wait_for_engine(page)
    assert "half" not in page.title()
    assert held(page) == "24 °C"
    fresh(page)


def test_a_kept_copy_that_lost_a_file_is_told_where_there_is_no_network(
    opened: Callable[..., Page], site_server: SiteServer
) -> None:
    page = opened(address=site_server.address)
    wait_until(lambda: page.evaluate(KEPT) == "activated", what="the page is kept")
    temperature(page, "25 °C")
    assert page.evaluate(COPY_AT_REST)
    page.evaluate(
        """async () => {
          const cache = await caches.open((await caches.keys())[0]);
          for (const { url } of await cache.keys()) if (url.includes("payload.")) await cache.delete(url);
        }"""
    )
    site_server.shut()
    page.reload()
    wait_for_engine(page, "failed")
    expect(page.locator("#state-words")).to_contain_text("What you type is kept")
    lost = part_of(site_server, "payload.*.bin").name
    expect(page.locator("#toast-words")).to_contain_text(lost)
    expect(page.locator("#toast-words")).to_contain_text(f"{site_server.address}retire.html")
    assert held(page) == "25 °C"
    site_server.open()
    page.locator("#try-again").click()
    wait_for_engine(page)
    fresh(page)
    site_server.shut()
    page.reload()
    wait_for_engine(page)


def test_a_browser_without_room_for_the_copy_says_so(opened: Callable[..., Page], site_server: SiteServer) -> None:
    worker = part_of(site_server, "service_worker.js")
    full = "Cache.prototype.put = async () => { throw new DOMException('full', 'QuotaExceededError'); };\n"
    worker.write_text(full + worker.read_text(encoding="utf-8"), encoding="utf-8")
    page = opened(address=site_server.address)
    expect(page.locator("#offline-words")).to_contain_text("can't keep the page")
    assert page.evaluate("caches.keys()") == [], "a part of a version is of no use"


def test_a_copy_without_its_page_says_what_is_missing_and_the_way_out(
    opened: Callable[..., Page], site_server: SiteServer
) -> None:
    page = opened(address=site_server.address)
    wait_until(lambda: page.evaluate(KEPT) == "activated", what="the page is kept")
    assert page.evaluate(COPY_AT_REST)
    page.evaluate(
        """async () => {
          const cache = await caches.open((await caches.keys())[0]);
          await cache.put(new URL("index.html", location.href), new Response("<p>half a page"));
        }"""
    )
    site_server.shut()
    page.reload()
    expect(page.locator("p")).to_contain_text("index.html")
    expect(page.get_by_role("link")).to_have_attribute("href", "retire.html")
    site_server.open()
    page.reload()
    wait_for_engine(page)
