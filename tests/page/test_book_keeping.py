"""The season book in the browser: nothing written is lost, whatever is killed, full, refused or spoilt.

These tests hold site/store/records.js and journal.js alone, on a page of its own that has neither Python nor a form.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from building.bundle import bundled
from building.ingredients import SITE
from playwright.sync_api import Browser, BrowserContext, Page, Playwright

from tests.page.conftest import LATE, QUIET, wait_until
from tests.page.installed_browser import light_browser

STORE = SITE / "store"
AT = "2026-05-01T09:00:00.000Z"


def record(identity: str, name: str = "South", at: str = AT, kind: str = "bed") -> dict[str, Any]:
    return {"id": identity, "kind": kind, "fields": {"name": {"text": name, "at": at, "by": "tester"}}, "history": []}


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("book")
    entry = folder / "entry.js"
    entry.write_text("".join(f'export * from "{STORE.as_posix()}/{name}.js";\n' for name in ("records", "journal")))
    (folder / "records.js").write_text(bundled(entry, "feedcalcBookKeeping").script, encoding="utf-8")
    (folder / "page.html").write_text('<!DOCTYPE html><title>book</title><script src="records.js"></script>')
    return (folder / "page.html").as_uri()


@pytest.fixture
def window(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(offline=True)
    yield context
    context.close()


@pytest.fixture
def opened(window: BrowserContext, address: str) -> Callable[[str], Page]:
    """Opens the book in another tab of the same browser, after running ``first``."""

    def open_page(first: str = "") -> Page:
        page = window.new_page()
        if first:
            page.add_init_script(first)
        page.goto(address)
        page.evaluate("feedcalcBookKeeping.open()")
        return page

    return open_page


def put(page: Page, *records: dict[str, Any]) -> Any:
    return page.evaluate("records => feedcalcBookKeeping.put(records)", list(records))


def names(page: Page) -> list[str]:
    found: list[str] = page.evaluate("feedcalcBookKeeping.all().map(({ fields }) => fields.name.text)")
    return sorted(found)


def state(page: Page) -> dict[str, str]:
    found: dict[str, str] = page.evaluate("feedcalcBookKeeping.state()")
    return found


def lay_in_store(page: Page, value: Any) -> None:
    """Put something into the browser's database past the book."""
    page.evaluate(
        """value => new Promise((resolve) => {
          indexedDB.open("feedcalc.book").onsuccess = ({ target: { result: database } }) => {
            const transaction = database.transaction("records", "readwrite");
            transaction.objectStore("records").put(value);
            transaction.oncomplete = () => { database.close(); resolve(); };
          };
        })""",
        value,
    )


def whole_database(page: Page) -> dict[str, Any]:
    """Everything the database holds, by the name of its store."""
    found: dict[str, Any] = page.evaluate(
        """() => new Promise((resolve) => {
          indexedDB.open("feedcalc.book").onsuccess = ({ target: { result: database } }) => {
            const found = {};
            const transaction = database.transaction([...database.objectStoreNames]);
            for (const name of database.objectStoreNames) {
              transaction.objectStore(name).getAll().onsuccess = ({ target }) => { found[name] = target.result; };
            }
            transaction.oncomplete = () => { database.close(); resolve(found); };
          };
        })"""
    )
    return found


def test_what_is_put_is_there_in_the_next_tab_and_after_a_close_without_warning(opened: Callable[..., Page]) -> None:
    first = opened()
    assert put(first, record("a", "South"), record("b", "North", kind="ash")) == "kept"
    first.close(run_before_unload=False)
    second = opened()
    assert names(second) == ["North", "South"]
    assert second.evaluate("feedcalcBookKeeping.all('ash').length") == 1


def test_another_tab_hears_of_it(opened: Callable[..., Page]) -> None:
    mine, other = opened(), opened()
    other.evaluate("feedcalcBookKeeping.watch(() => { window.told = true; })")
    put(mine, record("a", "South"))
    wait_until(lambda: other.evaluate("window.told"), what="the other tab is told")
    assert names(other) == ["South"]


def test_a_tab_that_read_before_another_wrote_does_not_write_over_it(opened: Callable[..., Page]) -> None:
    mine, other = opened(), opened()
    put(mine, record("a", "South"))
    put(other, record("b", "untouched"))
    assert put(other, record("c", "new"), record("a", "overwritten")) == "stale"
    assert names(other) == ["South", "untouched"], "all of a put or none, and what is there now was read"
    assert put(other, record("a", "known")) == "kept"


def test_a_spoilt_record_is_told_and_left_where_it_is(opened: Callable[..., Page]) -> None:
    page = opened()
    put(page, record("good", "South"))
    spoilt = [
        {"id": "one", "kind": "bed", "fields": {"name": "no stamp"}, "history": []},
        {"id": "two", "kind": "unheard of", "fields": {}, "history": []},
        {"id": "three"},
        {"id": "four", "kind": "bed", "fields": {"name": {"text": "x", "at": "yesterday", "by": "y"}}, "history": []},
    ]
    for value in spoilt:
        lay_in_store(page, value)
    again = opened()
    assert names(again) == ["South"]
    assert sorted(raw["id"] for raw in again.evaluate("feedcalcBookKeeping.broken().map(({ raw }) => raw)")) == [
        "four",
        "one",
        "three",
        "two",
    ]
    put(again, record("good", "South wall"))
    assert [value for value in whole_database(again)["records"] if value["id"] == "one"] == [spoilt[0]]


def test_a_spoilt_record_is_mended_by_a_good_one_and_still_not_thrown_away(opened: Callable[..., Page]) -> None:
    page = opened()
    spoilt = {"id": "one", "kind": 42}
    lay_in_store(page, spoilt)
    again = opened()
    assert put(again, record("one", "from a file")) == "kept"
    assert again.evaluate("feedcalcBookKeeping.broken()") == []
    found = whole_database(again)
    assert (found["records"], found["set aside"]) == ([record("one", "from a file")], [spoilt])


OF_A_NEWER_PAGE = """
const plain = IDBFactory.prototype.open;
IDBFactory.prototype.open = function (name) { return plain.call(this, name, 99); };
"""
REFUSING = {
    "no database at all": "Object.defineProperty(window, 'indexedDB', { value: undefined });",
    "refused outright": "IDBFactory.prototype.open = () => { throw new DOMException('no', 'SecurityError'); };",
    "refused later": """IDBFactory.prototype.open = () => {
      const request = new EventTarget();
      setTimeout(() => request.onerror?.(new Event("error", { cancelable: true })));
      return request; };""",
}


@pytest.mark.parametrize("way", REFUSING)
def test_where_the_database_is_refused_the_book_is_in_memory_and_says_so(opened: Callable[..., Page], way: str) -> None:
    page = opened(REFUSING[way])
    assert state(page) == {"place": "memory", "why": "refused"}
    assert put(page, record("a", "South")) == "memory"
    assert names(page) == ["South"]
    assert '"South"' in page.evaluate("feedcalcBookKeeping.envelope()")


def test_where_everything_is_refused_nothing_breaks(opened: Callable[..., Page]) -> None:
    page = opened(
        REFUSING["no database at all"]
        + "for (const name of ['localStorage', 'BroadcastChannel']) "
        + "Object.defineProperty(window, name, { get() { throw new DOMException('no', 'SecurityError'); } });"
    )
    assert put(page, record("a", "South")) == "memory"
    assert page.evaluate("feedcalcBookKeeping.keepDraft('bed', { kind: 'bed' })") is False
    assert page.evaluate("feedcalcBookKeeping.device()") == page.evaluate("feedcalcBookKeeping.device()")
    assert page.evaluate("feedcalcBookKeeping.stamp() < feedcalcBookKeeping.stamp()")


def test_a_database_that_opens_after_it_was_given_up_is_taken_and_shown(opened: Callable[..., Page]) -> None:
    put(opened(), record("a", "South"))
    page = opened(LATE)
    assert state(page) == {"place": "memory", "why": "refused"}
    assert put(page, record("b", "North")) == "memory"
    page.evaluate("feedcalcBookKeeping.watch(() => { window.told = true; })")
    page.evaluate("window.mayOpen = true")
    wait_until(lambda: page.evaluate("window.told === true"), what="the tab is told")
    assert (names(page), state(page)["place"]) == (["North", "South"], "browser")


def test_a_full_browser_keeps_it_in_memory_and_writes_it_when_there_is_room(opened: Callable[..., Page]) -> None:
    page = opened()
    quota = page.context.new_cdp_session(page)
    quota.send("Storage.overrideQuotaForOrigin", {"origin": "file://", "quotaSize": 1000})
    assert put(page, record("b", "North" + "!" * 4_000_000)) == "memory"
    assert state(page) == {"place": "memory", "why": "full"}
    quota.send("Storage.overrideQuotaForOrigin", {"origin": "file://"})
    assert put(page, record("c", "East")) == "kept"
    assert state(page) == {"place": "browser", "why": ""}
    assert [name.strip("!") for name in names(opened())] == ["East", "North"]


def test_a_book_of_a_newer_page_is_left_alone(
    opened: Callable[..., Page], window: BrowserContext, address: str
) -> None:
    page = window.new_page()
    page.goto(address)
    page.evaluate("""() => new Promise((resolve) => {
      indexedDB.open("feedcalc.book", 99).onsuccess = ({ target }) => { target.result.close(); resolve(); };
    })""")
    assert state(opened()) == {"place": "memory", "why": "newer"}


def test_a_newer_page_in_another_tab_is_let_through(opened: Callable[..., Page]) -> None:
    old = opened()
    put(old, record("a", "South"))
    newer = opened(OF_A_NEWER_PAGE)
    assert names(newer) == ["South"]
    wait_until(lambda: state(old)["why"] == "newer", what="the old tab lets go")
    assert put(old, record("b", "North")) == "memory"


def test_time_never_runs_back(opened: Callable[..., Page]) -> None:
    page = opened()
    told = page.evaluate("""() => {
      const plain = Date.now, first = feedcalcBookKeeping.stamp();
      Date.now = () => plain() - 86400000;
      return [first, feedcalcBookKeeping.stamp()];
    }""")
    assert told[0] < told[1]
    assert all(re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", at) for at in told)
    after_reload = opened("const plain = Date.now; Date.now = () => plain() - 86400000;")
    assert after_reload.evaluate("feedcalcBookKeeping.stamp()") > told[1]


def test_a_change_is_later_than_what_it_changes_even_where_the_other_clock_runs_ahead(
    opened: Callable[..., Page],
) -> None:
    ahead = "2031-01-01T00:00:00.000Z"
    assert opened().evaluate("record => feedcalcBookKeeping.stamp([record])", record("a", at=ahead)) > ahead


def test_drafts_and_the_journal_outlive_the_tab(opened: Callable[..., Page]) -> None:
    page = opened()
    change = {"key": "k1", "kind": "bed", "id": "a", "fields": {"name": "South"}, "at": AT, "by": "tester"}
    page.evaluate("change => feedcalcBookKeeping.addToJournal(change)", change)
    page.evaluate("feedcalcBookKeeping.keepDraft('entry', { kind: 'entry', fields: { amount: '1 1/2 cu' } })")
    page.evaluate("localStorage.setItem('feedcalc.book.journal.spoilt', '{')")
    page.evaluate("localStorage.setItem('feedcalc.book.journal.odd', '{\"key\": 1}')")
    page.close(run_before_unload=False)
    again = opened()
    assert again.evaluate("feedcalcBookKeeping.journal()") == [change]
    assert again.evaluate("feedcalcBookKeeping.draft('entry').fields.amount") == "1 1/2 cu"
    again.evaluate("feedcalcBookKeeping.takeFromJournal('k1'), feedcalcBookKeeping.keepDraft('entry', null)")
    assert opened().evaluate("[feedcalcBookKeeping.journal(), feedcalcBookKeeping.drafts()]") == [[], {}]


class KillableBrowser:
    """A browser of our own process, so that it can be killed like by a phone that runs out of memory."""

    def __init__(self, playwright: Playwright, profile: Path, address: str) -> None:
        executable = light_browser()
        assert executable
        self._process = subprocess.Popen(
            [
                executable,
                "--headless=new",
                *QUIET,
                f"--user-data-dir={profile}",
                "--remote-debugging-port=0",
                "about:blank",
            ],
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        assert self._process.stderr
        line = next(line for line in self._process.stderr if "DevTools listening on" in line)
        self._browser = playwright.chromium.connect_over_cdp(line.split()[-1])
        self.page = self._browser.contexts[0].new_page()
        self.page.goto(address)
        # The database may be in the hands of a process of the killed browser for a while; the book is in memory then.
        wait_until(
            lambda: self.page.evaluate("feedcalcBookKeeping.open()")["place"] == "browser", what="the database opens"
        )

    def kill(self) -> None:
        os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait()
        if self._process.stderr:
            self._process.stderr.close()


def test_killing_the_browser_loses_at_most_what_was_being_written(
    playwright: Playwright, address: str, tmp_path: Path
) -> None:
    """Killed while it writes one record after the other, again and again: all that was said to be kept is there."""
    said_kept: list[str] = []
    for turn in range(4):
        browser = KillableBrowser(playwright, tmp_path / "profile", address)
        try:
            assert set(said_kept) <= set(names(browser.page))
            browser.page.expose_function("tell", lambda name: said_kept.append(name))
            browser.page.evaluate(
                """([turn, record]) => {
                  feedcalcBookKeeping.keepDraft("entry", { kind: "entry", fields: { amount: `${turn} cups` } });
                  (async () => {
                    for (let count = 0; ; count++) {
                      const next = structuredClone(record);
                      next.id = `t${turn}-${count}`;
                      next.fields.name.text = next.id;
                      if (await feedcalcBookKeeping.put([next]) === "kept") await tell(next.id);
                    }
                  })();
                }""",
                [turn, record("x")],
            )
            browser.page.wait_for_timeout(150 + 90 * turn)
        finally:
            browser.kill()
    browser = KillableBrowser(playwright, tmp_path / "profile", address)
    try:
        found = names(browser.page)
        assert len(said_kept) > 10
        assert set(said_kept) <= set(found)
        assert len(found) - len(said_kept) <= 4, "each kill leaves at most one record that was not yet told"
        assert browser.page.evaluate("feedcalcBookKeeping.broken()") == []
        assert browser.page.evaluate("feedcalcBookKeeping.draft('entry').fields.amount") == "3 cups"
    finally:
        browser.kill()
