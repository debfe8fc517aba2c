"""One journey in three engines and on a phone-like one, from a file and from a server, with nothing lost on the way."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Playwright

from feedcalc.engine import calculate
from tests.page.conftest import COPY_AT_REST, FEW_ASHES, SiteServer, wait_until
from tests.whole.trust.engines import ChromiumEngine, Engine, engine

pytestmark = pytest.mark.slow

DIST = Path(__file__).resolve().parents[3] / "dist"
# A third of what a phone with 2 GB has; a page that wants more is put away as soon as another is looked at (judgement).
PHONE_MEGABYTES = 660
POTASSIUM = '[data-figure="liquor.potassium"]'


@pytest.fixture
def site(tmp_path: Path) -> Iterator[SiteServer]:
    """The site, from a copy that may change."""
    shutil.copytree(DIST / "site", tmp_path / "site")
    server = SiteServer(tmp_path / "site")
    yield server
    server.shut()


# The phone has Chromium's engine: it takes the journey from the file, and Chromium without windows that on the site.
WAYS = [
    *((name, delivery) for name in ("firefox", "webkit") for delivery in ("one file", "site")),
    ("phone", "one file"),
    ("chromium", "site"),
]


@pytest.fixture(params=WAYS, ids="-".join)
def way(request: pytest.FixtureRequest) -> tuple[str, str]:
    """The name of an engine and a delivery."""
    return request.param


@contextmanager
def _opened(way: tuple[str, str], site: SiteServer, playwright: Playwright) -> Iterator[tuple[Engine, str]]:
    """An engine with the page awake in it, and the page's address; a phone has memory enough for all that is done."""
    name, delivery = way
    address = site.address if delivery == "site" else (DIST / "feedcalc.html").as_uri()
    address += "#all" if name == "phone" else ""  # where a narrow screen has every field
    with engine(name, playwright) as browser:
        browser.open(address)
        _awake(browser)
        if name != "phone":  # there memory is measured, with the usual number of ashes
            browser.ask(f"(() => {{ {FEW_ASHES} return true; }})()")
        yield browser, address
        if name == "phone":
            assert isinstance(browser, ChromiumEngine)
            assert browser.peak_megabytes() < PHONE_MEGABYTES


def test_the_journey(way: tuple[str, str], site: SiteServer, playwright: Playwright):
    with _opened(way, site, playwright) as (browser, _):
        _a_change_is_answered_as_the_command_line_answers_it(browser)
        _type(browser, '[name="soil.area"]', "7 m2")  # another field, so that what comes next is a step of its own
        _a_fault_is_named_and_what_was_typed_stays(browser)
        _undo_brings_back_what_was_there(browser)
        _text_never_becomes_a_program(browser)
        _a_label_is_laid_out(browser)
        if "phone" not in way:  # a wide screen has all of it at once; tests/page/test_bench.py does it on a phone
            _a_reading_is_answered_steps_are_ticked_and_the_sheet_is_printed(browser)


def test_nothing_is_lost_over_a_new_start(way: tuple[str, str], site: SiteServer, playwright: Playwright):
    with _opened(way, site, playwright) as (browser, address):
        _without_room_and_with_everything_cleared_what_is_typed_stays(browser)
        assert browser.ask("feedcalc.changes.write('bed', 'south', { name: 'South', area: '4 m2' })") is None
        if "site" in way:
            _kept_whole(browser)
            site.shut()
        browser.open(address)
        _awake(browser)
        assert _held(browser, "water.temperature") == "11 °C", "not kept over a new start"
        book = "feedcalc.records.all().map(({ id, fields }) => `${id}: ${fields.area.text}`)"
        wait_until(lambda: browser.ask(book) == ["south: 4 m2"], what="the book over a new start")


ON_SITE = pytest.mark.parametrize("name", [name for name, delivery in WAYS if delivery == "site"])


@ON_SITE
def test_a_bad_deployment_leaves_the_version_that_is_kept(name: str, site: SiteServer, playwright: Playwright):
    with _opened((name, "site"), site, playwright) as (browser, _):
        _kept_whole(browser)
        _a_bad_deployment_leaves_the_version_that_is_kept(browser, site)


@ON_SITE
def test_a_damaged_copy_is_made_whole(name: str, site: SiteServer, playwright: Playwright):
    """That a whole one opens with the host gone is part of what `test_nothing_is_lost_over_a_new_start` tries."""
    with _opened((name, "site"), site, playwright) as (browser, address):
        _kept_whole(browser)
        assert browser.ask(_SPOIL)
        assert len(browser.ask(_NOT_WHOLE)) == 3
        browser.open(address)
        _awake(browser)
        wait_until(lambda: not browser.ask(_NOT_WHOLE), what="the kept copy is whole again")


@ON_SITE
def test_a_first_visit_during_a_deployment_is_told_in_words(name: str, site: SiteServer, playwright: Playwright):
    """The page is of one version and the host has the payload of another."""
    payload = next(site.folder.glob("payload.*.bin"))
    away = payload.rename(payload.with_name("away.bin"))
    with engine(name, playwright) as browser:
        browser.open(site.address)
        failed = "document.documentElement.dataset.engine"
        wait_until(lambda: browser.ask(failed) == "failed", what="the failure is told")
        why = browser.ask("document.getElementById('state-why').textContent")
        assert payload.name in why
        assert "Reload the page" in why
        # WebKitGTK takes a service worker whose first page is left before that for one that still installs, for ever.
        told = "document.getElementById('offline-words').textContent"
        wait_until(lambda: "can't keep the page" in browser.ask(told), what="that nothing is kept is told")
        away.rename(payload)
        browser.open(site.address)
        _awake(browser)
        _kept_whole(browser)


# Which parts of the kept copy are not those that the service worker names.
_NOT_WHOLE = """(async () => {
  const [name] = await caches.keys();
  if (!name || !navigator.serviceWorker.controller) return ["nothing is kept"];
  const cache = await caches.open(name);
  const text = await (await fetch("service_worker.js")).text();
  const files = JSON.parse(/const FILES = ([{][^}]*[}])/.exec(text)[1]);
  const faults = [];
  for (const [path, expected] of Object.entries(files)) {
    const part = await cache.match(new URL(path, location.href));
    const digest = part && new Uint8Array(await crypto.subtle.digest("SHA-256", await part.arrayBuffer()));
    const digits = digest && [...digest].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    if (digits !== expected) faults.push(path);
  }
  return faults;
})()"""
_SPOIL = """(async () => {
  const cache = await caches.open((await caches.keys())[0]);
  for (const { url } of await cache.keys()) {
    if (url.includes("icon.svg")) await cache.delete(url);
    if (url.includes("index.html")) await cache.put(url, new Response("<p>half a page"));
    if (!url.includes("payload.")) continue;
    const bytes = new Uint8Array(await (await cache.match(url)).arrayBuffer());
    bytes[5_000_000] ^= 1;
    await cache.put(url, new Response(bytes));
  }
  return true;
})()"""


def _kept_whole(browser: Engine) -> None:
    """Wait until all of the page is kept, and nothing is at work on what is kept."""
    browser.ask("feedcalc.offline.watch().then(() => true)")  # looks after the copy, as every opening does
    wait_until(lambda: not browser.ask(_NOT_WHOLE), what="the page is kept")
    assert browser.ask(COPY_AT_REST)


_UPDATE = """(async () => {
  const registration = await navigator.serviceWorker.getRegistration();
  await registration.update().catch(() => {});
  const worker = registration.installing;
  if (!worker) return registration.waiting ? "waits" : "refused";
  return new Promise((resolve) => worker.addEventListener("statechange", () => resolve(worker.state)));
})()"""


def _a_bad_deployment_leaves_the_version_that_is_kept(browser: Engine, site: SiteServer) -> None:
    """A new service worker, and a page that is not the one it names."""
    texts = {
        site.folder / name: (site.folder / name).read_text("utf-8") for name in ("index.html", "service_worker.js")
    }
    page, worker = texts
    page.write_text(texts[page].replace("<title>", "<title>half "), "utf-8")
    worker.write_text(re.sub(r'VERSION = "\w', 'VERSION = "x', texts[worker], count=1), "utf-8")
    assert browser.ask(_UPDATE) in ("redundant", "refused")
    for path, text in texts.items():
        path.write_text(text, "utf-8")
    assert len(browser.ask("caches.keys()")) == 1
    assert browser.ask(_NOT_WHOLE) == []


_CLEAR = """(async () => {
  Storage.prototype.setItem = window.plainSetItem;
  localStorage.clear();
  sessionStorage.clear();
  if (window.caches) for (const name of await caches.keys()) await caches.delete(name);
  return true;
})()"""
_FILL = """((plain) => {
  window.plainSetItem = plain;
  Storage.prototype.setItem = () => { throw new DOMException("full", "QuotaExceededError"); };
  return true;
})(Storage.prototype.setItem)"""


def _without_room_and_with_everything_cleared_what_is_typed_stays(browser: Engine) -> None:
    assert browser.ask(_FILL)
    _type(browser, '[name="water.temperature"]', "10 °C")
    wait_until(
        lambda: "Not saved" in browser.ask("document.getElementById('kept').textContent"), what="no room is told"
    )
    assert _held(browser, "water.temperature") == "10 °C"
    assert browser.ask(_CLEAR)
    _type(browser, '[name="water.temperature"]', "11 °C")
    wait_until(lambda: "Not saved" not in browser.ask("document.getElementById('kept').textContent"), what="kept again")
    _fresh(browser)


def _a_reading_is_answered_steps_are_ticked_and_the_sheet_is_printed(browser: Engine) -> None:
    browser.press("#i-measured")
    _type(browser, "#read-ec", "8 mS/cm")
    wait_until(lambda: browser.ask("feedcalc.form.read().measured?.ec") == "8 mS/cm", what="the reading in the form")
    _fresh(browser)
    assert browser.ask("feedcalc.form.read().measured.ec") == "8 mS/cm"
    browser.press("#begin-steps")
    for count in range(1, 3):
        wait_until(
            lambda count=count: f"Step {count} of" in browser.ask("document.getElementById('step-count').textContent"),
            what="the step",
        )
        browser.press("#step-done")
    assert len(browser.ask("feedcalc.batches.open()[0].done")) == 2
    browser.ask("void (location.hash = '')")
    wait_until(lambda: browser.ask("document.getElementById('step-count').checkVisibility()") is False, what="back")
    printed = "(window.print = () => { window.printed = document.documentElement.dataset.print; }, true)"
    assert browser.ask(printed)
    browser.press("#print-label")
    assert browser.ask("window.printed") == "label"
    browser.ask("void window.dispatchEvent(new Event('afterprint'))")


def _awake(browser: Engine) -> None:
    wait_until(lambda: browser.ask("document.documentElement.dataset.engine") == "ready", what="calculator awake")


def _type(browser: Engine, selector: str, text: str) -> None:
    """Replace what a field holds, and wait until the page has it: Firefox reports keys as pressed before that."""
    browser.type(selector, text)
    field = f"document.querySelector({json.dumps(selector)})"
    wait_until(lambda: browser.ask(f"{field}.value") == text, what=f"{text} in the field")


def _held(browser: Engine, name: str) -> str:
    held: str = browser.ask(f"document.getElementsByName({json.dumps(name)})[0].value")
    return held


def _fresh(browser: Engine) -> None:
    wait_until(
        lambda: browser.ask("document.getElementById('freshness').dataset.freshness") == "fresh", what="fresh sheet"
    )


def _a_change_is_answered_as_the_command_line_answers_it(browser: Engine) -> None:
    _type(browser, '[name="water.temperature"]', "9 °C")
    _fresh(browser)
    asked = browser.ask("feedcalc.form.read()")
    expected = json.loads(calculate(json.dumps({**asked, "ranges": "on"})))["values"]["liquor"]["potassium"]["value"]
    shown = browser.ask(f"document.querySelector({json.dumps(POTASSIUM)}).dataset.value")
    assert float(shown) == pytest.approx(expected, rel=1e-6)


def _a_fault_is_named_and_what_was_typed_stays(browser: Engine) -> None:
    _type(browser, '[name="water.temperature"]', "warm <b>")
    fault = wait_until(
        lambda: browser.ask(
            "((place) => !place.hidden && place.textContent.trim())(document.getElementById('error-water.temperature'))"
        ),
        what="the fault beside its field",
    )
    assert fault
    assert _held(browser, "water.temperature") == "warm <b>"


def _undo_brings_back_what_was_there(browser: Engine) -> None:
    browser.press("#undo")
    wait_until(lambda: _held(browser, "water.temperature") == "9 °C", what="undo")
    _fresh(browser)


def _a_label_is_laid_out(browser: Engine) -> None:
    label = "feedcalc.engine.ask({ ...feedcalc.form.read(), ask: 'label' }, { line: 'test' })"
    words, pages = browser.ask(f"{label}.then(({{ print }}) => [print.text, print.pages.length])")
    assert pages == 1
    assert "wood ash" in words.lower(), words


# Each way refused at once where the engine knows Trusted Types, and without effect where only the policy's hashes hold.
_WAYS_IN = """(async () => {
  const hostile = '<img src="data:," onerror="window.ran = 1">';
  const ways = [
    () => { document.body.appendChild(document.createElement("p")).innerHTML = hostile; },
    () => { document.body.insertAdjacentHTML("beforeend", hostile); },
    () => { document.body.appendChild(document.createElement("script")).textContent = "window.ran = 1"; },
    () => { document.body.appendChild(document.createElement("a")).setAttribute("onclick", "window.ran = 1");
            document.body.lastChild.click(); },
    () => { setTimeout("window.ran = 1"); },
    () => { new Function("window.ran = 1")(); },
  ];
  // Later, and not at once: what a driver itself evaluates may do what the page may not.
  for (const way of ways) setTimeout(() => { try { way(); } catch { /* refused */ } });
  await new Promise((resolve) => { setTimeout(resolve, 300); });
  return [window.ran ?? null, Boolean(window.trustedTypes), document.querySelectorAll("img[onerror]").length];
})()"""


def _text_never_becomes_a_program(browser: Engine) -> None:
    ran, knows_trusted_types, made = browser.ask(_WAYS_IN)
    assert ran is None
    assert not (knows_trusted_types and made), "Trusted Types are known and let markup through"
