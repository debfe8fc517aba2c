"""A real browser for the page's tests: the network off, every stray request or console error a failure.

The page's policy forbids evaluation of text, so nothing here waits with ``wait_for_function``: `wait_until`
asks again and again instead.
"""

from __future__ import annotations

import functools
import hashlib
import http.server
import re
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect

from feedcalc.engine import answer_in_steps
from tests.page.installed_browser import light_browser

# Seconds after which something is taken never to come. Long, because a busy machine is no fault of the page.
PATIENCE = 120
expect.set_options(timeout=PATIENCE * 1000)

# Nothing stands behind it.
PAYLOAD = re.compile(r'(<script type="text/plain" data-sha256="\w+" id="engine-payload">).*(?=</script>)', re.S)
DIST = Path(__file__).resolve().parents[2] / "dist"
QUIET = [
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-quic",
    "--disable-sync",
    "--no-first-run",
    "--no-sandbox",  # Chromium refuses to run as root otherwise
]
# The runtime is compiled once, quickly: what an optimising compiler would gain is lost again with each page. A graphics
# card that is not there is not looked for, which takes a twelfth of a start.
SHORT_LIVED = ["--js-flags=--liftoff-only", "--disable-gpu"]

# Ranges come from 10 ashes in place of 40, unless a test says how many or sets `usualAshes`: here the page is tested.
FEW_ASHES = """
const withFewAshes = (message) => {
  const asked = message?.request && JSON.parse(message.request);
  const isFew = asked && !asked.ask && !window.usualAshes;
  const few = window.withoutRanges ? { ranges: "off" } : { samples: "10" };
  return isFew ? { ...message, request: JSON.stringify({ ...few, ...asked }) } : message;
};
if (window.Worker) {
  const post = Worker.prototype.postMessage;
  Worker.prototype.postMessage = function (message, ...more) {
    return post.call(this, withFewAshes(message), ...more);
  };
}
"""

# For tests of what lies around an answer: how Python starts and dies, and where the page is kept.
WITHOUT_RANGES = "window.withoutRanges = true;"

# As at an address without encryption.
NO_HASHES = "Object.defineProperty(Crypto.prototype, 'subtle', { value: undefined });"

# In a page marked so, a worker that has this process's Python answer: same engine, a fraction of the start.
OUTSIDE = """
const InPage = window.Worker;
window.Worker = !InPage ? InPage : function (address) {
  if (!document.documentElement.hasAttribute("data-python-outside")) return new InPage(address);
  const worker = new EventTarget();
  const dropped = new Set();
  const say = (data) => setTimeout(() => {
    if (worker.isEnded) return;
    worker.onmessage?.({ data });
    worker.dispatchEvent(new MessageEvent("message", { data }));
  });
  return Object.assign(worker, {
    terminate() { worker.isEnded = true; },
    async postMessage(message) {
      const { start, hashed, part, drop, id, request, early } = withFewAshes(message);
      if (part === null && worker.isHashed) return say({ payload: new Uint8Array() }); // there is nothing to unpack
      if (part !== undefined) return;
      worker.isHashed ??= hashed;
      if (start) return hashed === undefined && say({ ready: true });
      if (drop !== undefined) return dropped.add(drop);
      for (const each of await window.answerOutside(request, early)) if (!dropped.has(id)) say({ id, ...each });
      if (dropped.has(id)) say({ id, dropped: true });
    },
  });
};
"""


@functools.lru_cache(maxsize=256)
def answer_outside(request: str, early: bool) -> list[dict[str, Any]]:
    """What a worker says about a request, each message without its id."""
    said: list[dict[str, Any]] = []
    steps = answer_in_steps(request, (lambda reply: said.append({"early": reply})) if early else None)
    while True:
        try:
            done, total = next(steps)
        except StopIteration as end:
            return [*said, {"reply": end.value}]
        said.append({"done": done, "total": total})


# Lets a test change the worker's program before it starts, hear what it says, and run Python in it.
SPY = """
window.heard = [];
window.workers = [];
window.programEdits = window.programEdits ?? [];
const PlainBlob = Blob, PlainWorker = Worker;
const listen = `self.addEventListener("message", (event) => {
  if (!event.data.python) return;
  event.stopImmediatePropagation();
  event.ports[0].postMessage(feedcalcWorker.python.runPython(event.data.python));
});`;
let isPython = false; // of the last program; another one unpacks
window.Blob = function (parts, options) {
  isPython = options?.type === "text/javascript" && parts[0].includes("loadPyodide");
  const edited = parts.map((part) => !isPython ? part
    : listen + window.programEdits.reduce((text, [old, replacement]) => {
      if (!text.includes(old)) throw new Error("not in the program: " + old);
      return text.replace(old, () => replacement);
    }, part));
  return new PlainBlob(edited, options);
};
window.Worker = function (address) {
  const worker = new PlainWorker(address);
  worker.addEventListener("message", ({ data }) => window.heard.push(data));
  if (isPython) window.workers.push(worker);
  return worker;
};
window.runPython = (code) => new Promise((resolve) => {
  const { port1, port2 } = new MessageChannel();
  port1.onmessage = ({ data }) => resolve(data);
  window.workers.at(-1).postMessage({ python: code }, [port2]);
});
"""


# The database is given up at once, and opens when `window.mayOpen` says so.
LATE = """
const wait = setTimeout;
window.setTimeout = (work, after, ...more) => after !== 8000 ? wait(work, after, ...more)
  : wait(() => { work(); window.isGivenUp = true; }, 1);
const takes = Object.getOwnPropertyDescriptor(IDBRequest.prototype, "onsuccess");
Object.defineProperty(IDBOpenDBRequest.prototype, "onsuccess", { set(follow) {
  takes.set.call(this, async (event) => {
    while (!window.mayOpen) await new Promise((on) => wait(on, 20));
    follow(event);
  });
} });
"""


def wait_until(claim: Callable[[], Any], seconds: float = PATIENCE, what: str = "") -> Any:
    """The first true value of ``claim``; fails after ``seconds``.

    It is asked again after pauses that grow to a quarter of a second: to ask a browser takes time from other tests.
    """
    end = time.monotonic() + seconds
    pause = 0.02
    while time.monotonic() < end:
        if value := claim():
            return value
        time.sleep(pause)
        pause = min(1.5 * pause, 0.25)
    raise AssertionError(f"not within {seconds} s: {what or claim}")


def wait_for_engine(page: Page, state: str = "ready") -> None:
    """Wait until ``<html data-engine>`` says ``state``."""
    wait_until(lambda: page.evaluate("document.documentElement?.dataset.engine") == state, what=f"engine {state}")


def watch_progress(page: Page, bar: str) -> Callable[[], bool]:
    """Watch a progress element from now on; what comes back says whether it was ever seen part of the way."""
    page.evaluate(
        """(id) => {
          const bar = document.getElementById(id);
          const isSeen = () => bar.checkVisibility({ visibilityProperty: true });
          window.far = [];
          new MutationObserver(() => window.far.push([isSeen(), bar.value / bar.max]))
            .observe(bar, { attributes: true });
        }""",
        bar,
    )
    return lambda: any(shown and 0 < share < 1 for shown, share in page.evaluate("far"))


def ask(page: Page, request: dict[str, Any]) -> Any:
    """The reply of the page's engine to ``request``."""
    return page.evaluate("request => feedcalc.engine.ask(request, { line: 'test' })", request)


def serious_faults(page: Page, within: str | None = None) -> list[str]:
    """What axe finds that keeps somebody from using the page, or what is ``within`` it; each with its element."""
    found = Axe().run(page, within).response["violations"]
    return [
        f"{fault['id']}: {node['html'][:200]}"
        for fault in found
        if fault["impact"] in ("serious", "critical")
        for node in fault["nodes"][:3]
    ]


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    return {**browser_type_launch_args, "executable_path": light_browser(), "args": [*QUIET, *SHORT_LIVED]}


@pytest.fixture(scope="session")
def browser(browser: Browser) -> Browser:
    """The browser of this process, whose pages wait as long as `wait_until` does and ask for few ashes."""
    plain = browser.new_context

    def new_context(**look: Any) -> BrowserContext:
        context = plain(**{"locale": "en-GB", **look})
        context.set_default_timeout(PATIENCE * 1000)
        context.add_init_script(FEW_ASHES + OUTSIDE)
        context.expose_function("answerOutside", answer_outside)
        return context

    browser.new_context = new_context  # type: ignore[method-assign]
    return browser


@pytest.fixture(scope="session")
def dist() -> Path:
    """The folder of both deliveries."""
    assert (DIST / "feedcalc.html").exists(), "build the page first: python3 build.py"
    return DIST


@pytest.fixture(scope="session")
def one_file(dist: Path) -> str:
    """Address of the one file."""
    return (dist / "feedcalc.html").as_uri()


@pytest.fixture(scope="session")
def quick_file(dist: Path, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Address of the one file with its Python in this process, for tests that don't ask how a browser runs it."""
    copy = tmp_path_factory.mktemp("quick") / "feedcalc.html"
    text = PAYLOAD.sub(
        rf'<script type="text/plain" data-sha256="{hashlib.sha256(b"").hexdigest()}" id="engine-payload">',
        (dist / "feedcalc.html").read_text("utf-16"),
        count=1,
    )
    copy.write_text(text.replace("<html ", "<html data-python-outside ", 1), "utf-16")
    return copy.as_uri()


@contextmanager
def one_page(browser: Browser, address: str, **look: Any) -> Iterator[Page]:
    """A page that several tests share; the network is off, and an error in its console fails them in the end."""
    context = browser.new_context(offline=True, **look)
    page = context.new_page()
    faults: list[str] = []
    page.on("console", lambda said: said.type == "error" and faults.append(said.text))
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.goto(address)
    yield page
    context.close()
    assert not faults


@pytest.fixture(scope="session")
def asleep(dist: Path, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Address of the one file without its Python: what is typed must be kept whether that wakes or not."""
    copy = tmp_path_factory.mktemp("asleep") / "feedcalc.html"
    text, found = PAYLOAD.subn(r"\1", (dist / "feedcalc.html").read_text("utf-16"))
    assert found == 1
    copy.write_text(text, "utf-16")
    return copy.as_uri()


@pytest.fixture
def watched_page(page: Page, context: BrowserContext) -> Iterator[Page]:
    """A page with the network off; a request that leaves it, or an error in its console, fails the test."""
    faults: list[str] = []
    page.on("request", lambda asked: _is_local(asked.url) or faults.append(f"request: {asked.url[:200]}"))
    page.on("console", lambda said: said.type == "error" and faults.append(f"console: {said.text[:500]}"))
    page.on("pageerror", lambda error: faults.append(f"error: {error}"))
    context.set_offline(True)
    yield page
    assert not faults


def _is_local(address: str) -> bool:
    return address.startswith(("file:", "data:", "blob:"))


@pytest.fixture
def ready_page(watched_page: Page, one_file: str) -> Page:
    """The one file, opened as by double-click, with Python awake."""
    watched_page.goto(one_file)
    wait_for_engine(watched_page)
    return watched_page


class _QuietHandler(http.server.SimpleHTTPRequestHandler):
    def __init__(self, *arguments: Any, asked: list[str], **options: Any) -> None:
        self._asked = asked
        super().__init__(*arguments, **options)

    def log_request(self, *arguments: object) -> None:
        self._asked.append(self.path)

    def log_error(self, *arguments: object) -> None:
        pass

    def end_headers(self) -> None:
        self.send_header("Cache-Control", "no-store")
        super().end_headers()


class _QuietServer(http.server.ThreadingHTTPServer):
    def handle_error(self, request: object, client_address: object) -> None:
        pass  # a browser that was closed in the middle of an answer


class SiteServer:
    """A static host on the loopback range that can be shut and opened again at the same address.

    ``asked`` holds the paths it was asked for, in order.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.asked: list[str] = []
        self._server: _QuietServer | None = None
        self._port = 0
        self.open()

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self._port}/"

    def open(self) -> None:
        handler = functools.partial(_QuietHandler, directory=str(self.folder), asked=self.asked)
        self._server = _QuietServer(("127.0.0.1", self._port), handler)
        self._port = self._server.server_address[1]
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    def shut(self) -> None:
        if self._server:
            self._server.shutdown()
            self._server.server_close()
            self._server = None


# All checks of the kept copy that were asked for before this one are done: they are made one after another. What is
# spoilt after that stays spoilt until the page is opened anew.
COPY_AT_REST = """navigator.serviceWorker.ready.then(({ active }) => new Promise((resolve) => {
  const { port1, port2 } = new MessageChannel();
  port1.onmessage = ({ data }) => resolve(data.complete);
  active.postMessage("check", [port2]);
}))"""


@pytest.fixture
def site_server(dist: Path, tmp_path: Path) -> Iterator[SiteServer]:
    """The installable site, from a copy that a test may change."""
    shutil.copytree(dist / "site", tmp_path / "site")
    server = SiteServer(tmp_path / "site")
    yield server
    server.shut()


@pytest.fixture
def without_ranges(page: Page) -> None:
    """The page asks for no ranges: these take as long as all the rest of a start."""
    page.add_init_script(WITHOUT_RANGES)
