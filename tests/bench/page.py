"""How soon the page is ready, beside a bare start of the same runtime in the same browser in the same run.

Rules: everything is served from this machine; each start is in a fresh browser context (nothing cached), in
turn, so that a busy moment falls on all alike. First starts are driven by `QuietBrowser`, all else by Playwright.
Medians in milliseconds since navigation, but for

* ``first_answer_ms``: the sheet rendered at build time is on screen (first contentful paint, one file);
* ``first_computed_ms``: a sheet computed here and now is on the page (one file);
* ``first_ranges_ms``: the first sheet with ranges is on the page (one file);
* ``served_second_ms``: the site is ready again in a browser that keeps it;
* ``second_visit_ms``: the answer of the last visit is on the page (one file), before the engine is awake;
* ``keystroke_ms``: from a key in the field of the can's size to its figures on the page; ``keystroke_p95_ms`` is the
  95th percentile; ``early_ranges_ms``, ``all_ranges_ms``: from the same key to the ranges of twelve ashes, of all;
* ``typing_ms``, ``typing_p95_ms``: the first two at ten keys a second on a phone, its page four times slower;
* ``quick_answer_ms``, ``whole_answer_ms``: the engine's part of it, without and with the ranges;
* ``hundred_sample_ms``: the same with a hundred ashes behind the ranges;
* ``read_quick_ms``, ``read_whole_ms``: the same with a conductivity and a pH read, another digit each time.
"""

from __future__ import annotations

import statistics
import tempfile
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from tests.bench.quiet_browser import QuietBrowser
from tests.page.conftest import DIST, QUIET, SiteServer, wait_until
from tests.page.installed_browser import installed_browser

RUNTIME = DIST.parent / "site" / "node_modules" / "pyodide"
RUNS = 9

BARE_PAGE = """<!DOCTYPE html><script>
new Worker("worker.mjs", { type: "module" }).onmessage = () => { window.readyAt = performance.now(); };
</script>"""
BARE_WORKER = """import { loadPyodide } from "./runtime/pyodide.mjs";
await loadPyodide();
postMessage("ready");"""
WATCH = """new MutationObserver(() => {
  if (document.documentElement?.dataset.engine === "ready") window.readyAt ??= performance.now();
  if (document.querySelector("[data-freshness=quick]")) window.computedAt ??= performance.now();
  if (document.querySelector("[data-freshness=last]")) window.lastAt ??= performance.now();
  if (document.querySelector("[data-freshness=early], [data-freshness=fresh]")) window.rangesAt ??= performance.now();
}).observe(document, { subtree: true, childList: true, attributeFilter: ["data-engine", "data-freshness"] });"""
KEPT = "async () => (await caches.keys()).length && (await navigator.serviceWorker.ready).active.state"
FIRST_PAINT = "performance.getEntriesByName('first-contentful-paint')[0]?.startTime"
# For each key the milliseconds to its figures, or to those of a later one; and to the first and to all ranges.
KEYSTROKES = """async ([count, every]) => {
  const field = document.querySelector("[name='cans.0.size']");
  const line = document.getElementById("freshness");
  const keys = [];
  const observer = new MutationObserver(() => {
    const fed = parseFloat(document.querySelector(".lines").dataset.fed);
    const reached = Math.round((fed / 2 - 7) * 10);
    for (const [place, key] of keys.entries()) if (place <= reached) key.figures ??= performance.now() - key.begun;
    const newest = keys.at(-1);
    if (newest.figures !== undefined) newest[line.dataset.freshness] ??= performance.now() - newest.begun;
  });
  const watched = { subtree: true, childList: true, attributeFilter: ["data-freshness"] };
  observer.observe(document.getElementById("answer"), watched);
  const pause = (milliseconds) => new Promise((resolve) => { setTimeout(resolve, milliseconds); });
  for (let i = 0; i < count; i++) {
    const begun = performance.now();
    keys.push({ begun });
    field.value = `${(7 + i / 10).toFixed(1)} L`;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    await pause(every);
    while (every > 100 && keys.at(-1).fresh === undefined) await pause(20);
  }
  while (keys.at(-1).fresh === undefined) await pause(20);
  observer.disconnect();
  return keys;
}"""
QUESTIONS = """async ([ranges, samples, count]) => {
  const times = [];
  for (let i = 0; i < count; i++) {
    const before = performance.now();
    const cans = [{ size: `${7 + i / 10} L`, count: 2 }];
    await feedcalc.engine.ask({ schema: 1, ranges, samples, cans }, { line: "bench" });
    times.push(performance.now() - before);
  }
  return times;
}"""
# As the page asks: the quick answer, then the whole one, for each digit anew.
READINGS = """async (count) => {
  const times = [];
  for (let i = 0; i < count; i++) {
    const measured = { ec: `${6 + i / 10} mS/cm`, ph: "12.3", temperature: "18 °C" };
    const pair = [];
    for (const ranges of ["off", "on"]) {
      const before = performance.now();
      await feedcalc.engine.ask({ schema: 1, ranges, measured }, { line: "bench" });
      pair.push(performance.now() - before);
    }
    times.push(pair);
  }
  return times;
}"""


def page() -> dict[str, float]:
    """Medians over `RUNS` starts of each kind, and the size of the one file in bytes."""
    one_file = DIST / "feedcalc.html"
    times: dict[str, list[float]] = {}

    def note(name: str, *milliseconds: float) -> None:
        times.setdefault(name, []).extend(milliseconds)

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        bare, site = SiteServer(_bare_site(Path(folder))), SiteServer(DIST / "site")
        browser = playwright.chromium.launch(executable_path=installed_browser(), args=QUIET)
        starts = QuietBrowser()
        for _ in range(RUNS):
            note("bare_start_ms", starts.moment(bare.address, WATCH, "readyAt"))
            note("served_start_ms", starts.moment(site.address, WATCH, "readyAt"))
            note("one_file_start_ms", starts.moment(one_file.as_uri(), WATCH, "readyAt"))
            note("first_computed_ms", starts.moment(one_file.as_uri(), WATCH, "computedAt"))
            note("first_ranges_ms", starts.moment(one_file.as_uri(), WATCH, "rangesAt"))
            _visit(browser, site.address, lambda there: note("served_second_ms", _moment(_again(there), "readyAt")))
            _visit(browser, one_file.as_uri(), lambda there: note("second_visit_ms", _moment(_own(there), "lastAt")))
            _visit(browser, one_file.as_uri(), lambda there: note("first_answer_ms", _first_paint(there)))
        starts.close()
        _visit(browser, one_file.as_uri(), lambda there: _type_and_ask(_at_rest(there), note))
        _visit(browser, one_file.as_uri(), lambda there: _type_on_a_phone(_at_rest(there), note))
        browser.close()
        bare.shut()
        site.shut()
    medians = {name: round(statistics.median(measured), 1) for name, measured in times.items()}
    return {
        **medians,
        "keystroke_p95_ms": round(statistics.quantiles(times["keystroke_ms"], n=20)[-1], 1),
        "typing_p95_ms": round(statistics.quantiles(times["typing_ms"], n=20)[-1], 1),
        "served_ratio": round(medians["served_start_ms"] / medians["bare_start_ms"], 3),
        "one_file_ratio": round(medians["one_file_start_ms"] / medians["bare_start_ms"], 3),
        "one_file_bytes": one_file.stat().st_size,
        "site_bytes": sum(path.stat().st_size for path in (DIST / "site").iterdir()),
    }


def _bare_site(folder: Path) -> Path:
    (folder / "index.html").write_text(BARE_PAGE)
    (folder / "worker.mjs").write_text(BARE_WORKER)
    (folder / "runtime").symlink_to(RUNTIME)
    return folder


def _visit(browser: Browser, address: str, measure: Callable[[Page], None]) -> None:
    context = browser.new_context()
    there = context.new_page()
    there.add_init_script(WATCH)
    there.goto(address)
    measure(there)
    context.close()


def _moment(there: Page, name: str) -> float:
    return float(wait_until(lambda: there.evaluate(f"window.{name}"), 60, name))


def _again(there: Page) -> Page:
    """The page opened once more, after the browser has kept it."""
    wait_until(lambda: there.evaluate(KEPT) == "activated", 60, "the page is kept")
    there.reload()
    return there


def _own(there: Page) -> Page:
    """The page opened once more, after a batch of one's own was answered."""
    _at_rest(there).evaluate(KEYSTROKES, [1, 100])
    there.reload()
    return there


def _at_rest(there: Page) -> Page:
    """The page once its first whole answer is shown, so that nothing is still being worked out."""
    wait_until(lambda: there.evaluate("document.getElementById('freshness').dataset.freshness") == "fresh", 60)
    return there


def _type_and_ask(there: Page, note: Callable[..., None]) -> None:
    note("quick_answer_ms", *there.evaluate(QUESTIONS, ["off", 40, 15]))
    note("whole_answer_ms", *there.evaluate(QUESTIONS, ["on", 40, 15]))
    note("hundred_sample_ms", *there.evaluate(QUESTIONS, ["on", 100, 9]))
    for quick, whole in there.evaluate(READINGS, 9):
        note("read_quick_ms", quick)
        note("read_whole_ms", whole)
    keys = there.evaluate(KEYSTROKES, [40, 250])
    note("keystroke_ms", *(key["figures"] for key in keys))
    note("early_ranges_ms", *(key["early"] for key in keys if "early" in key))
    note("all_ranges_ms", *(key["fresh"] for key in keys))


def _type_on_a_phone(there: Page, note: Callable[..., None]) -> None:
    there.set_viewport_size({"width": 390, "height": 844})
    there.context.new_cdp_session(there).send("Emulation.setCPUThrottlingRate", {"rate": 4})
    note("typing_ms", *(key["figures"] for key in there.evaluate(KEYSTROKES, [40, 100])))


def _first_paint(there: Page) -> float:
    return float(wait_until(lambda: there.evaluate(FIRST_PAINT), 60, "something is on screen"))
