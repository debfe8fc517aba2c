"""Three browser engines behind one small face: open an address, ask a script, press, type.

Chromium is driven by Playwright, WebKit (WebKitGTK) by Selenium and Debian's WebKitWebDriver, Firefox by the
W3C's WebDriver BiDi, which it speaks itself once asked: the bridge that Selenium wants for it stands in no registry
this project installs from. Scripts are expressions whose value can be written as JSON.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Protocol

import websocket
from playwright.sync_api import Playwright

from build import OTHER_ENGINES
from tests.page.conftest import PATIENCE, QUIET
from tests.page.installed_browser import installed_browser, light_browser


class Engine(Protocol):
    """A browser window of one engine."""

    def open(self, address: str) -> None:
        """Go to an address, past what is loaded there now."""

    def ask(self, script: str) -> Any:
        """The value of a JavaScript expression in the page."""

    def press(self, selector: str) -> None:
        """Click or tap what the selector finds first."""

    def type(self, selector: str, text: str) -> None:
        """Replace what a field holds, key by key."""


class ChromiumEngine:
    """Debian's Chromium by Playwright, without windows; ``phone`` is the full browser, with a narrow touch screen and
    a processor four times slower.

    Its scripts may hold 256 MB; what a page takes beside them (Python's memory among it) no flag of a browser limits,
    so that it is read off the processes: see `peak_megabytes`.
    """

    def __init__(self, playwright: Playwright, phone: bool = False) -> None:
        self._browser = playwright.chromium.launch(
            executable_path=installed_browser() if phone else light_browser(),
            args=[*QUIET, *(["--js-flags=--max-old-space-size=256"] if phone else [])],
        )
        look = {"viewport": {"width": 360, "height": 640}, "has_touch": True, "is_mobile": True} if phone else {}
        self._page = self._browser.new_context(**look).new_page()
        self._phone = phone
        if phone:
            tools = self._page.context.new_cdp_session(self._page)
            tools.send("Emulation.setCPUThrottlingRate", {"rate": 4})

    def peak_megabytes(self) -> float:
        """The most memory that any process drawing a page ever held, the browser's own program included."""
        told = self._browser.new_browser_cdp_session().send("SystemInfo.getProcessInfo")["processInfo"]
        pages = [Path("/proc", str(process["id"]), "status") for process in told if process["type"] == "renderer"]
        lines = [line for page in pages for line in page.read_text().splitlines() if line.startswith("VmHWM:")]
        return max(int(line.split()[1]) for line in lines) / 1024

    def open(self, address: str) -> None:
        self._page.goto("about:blank")
        self._page.goto(address)

    def ask(self, script: str) -> Any:
        return self._page.evaluate(script)

    def press(self, selector: str) -> None:
        place = self._page.locator(selector).first
        place.tap() if self._phone else place.click()

    def type(self, selector: str, text: str) -> None:
        place = self._page.locator(selector).first
        place.fill("")
        place.press_sequentially(text)

    def close(self) -> None:
        self._browser.close()


class WebKitEngine:
    """Debian's WebKitGTK by its own driver."""

    def __init__(self) -> None:
        self._screen, display = _screen()
        from selenium import webdriver
        from selenium.webdriver.webkitgtk.options import Options
        from selenium.webdriver.webkitgtk.service import Service

        # A machine without a graphics card draws composited layers in software: a third of the time a start takes here.
        environment = {**os.environ, "DISPLAY": display, "WEBKIT_DISABLE_COMPOSITING_MODE": "1"}
        options = Options()
        options.binary_location = next(Path("/usr/lib").glob("*/webkit2gtk-4.?/MiniBrowser")).as_posix()
        options.add_argument("--automation")
        service = Service(shutil.which("WebKitWebDriver"), env=environment)
        self._driver = webdriver.WebKitGTK(options=options, service=service)
        self._driver.set_window_size(1000, 900)
        self._driver.set_script_timeout(PATIENCE)

    def open(self, address: str) -> None:
        self._driver.get("about:blank")
        self._driver.get(address)

    def ask(self, script: str) -> Any:
        return self._driver.execute_script(f"return ({script});")

    def press(self, selector: str) -> None:
        self._driver.execute_script(_IN_SIGHT.format(json.dumps(selector)))
        self._driver.find_element("css selector", selector).click()

    def type(self, selector: str, text: str) -> None:
        place = self._driver.find_element("css selector", selector)
        self._driver.execute_script(_IN_SIGHT.format(json.dumps(selector)))
        place.clear()
        place.send_keys(text)

    def close(self) -> None:
        self._driver.quit()
        self._screen.terminate()


def _screen() -> tuple[subprocess.Popen[str], str]:
    """A screen that nobody sees, for the engine that has no headless way, and its name."""
    screen = subprocess.Popen(
        ["Xvfb", "-displayfd", "1", "-screen", "0", "1100x1000x24"],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert screen.stdout is not None
    return screen, f":{screen.stdout.readline().strip()}"


_IN_SIGHT = "document.querySelector({}).scrollIntoView({{block: 'center', behavior: 'instant'}});"

# The next click reaches the element or nothing; ``window.hit`` comes to tell which, false too where none comes at all.
_HITS_OR_NOTHING = """((element) => {{
  window.hit = new Promise((resolve) => {{
    window.addEventListener("click", (event) => {{
      const isHit = element.contains(event.target);
      if (!isHit) {{ event.stopImmediatePropagation(); event.preventDefault(); }}
      resolve(isHit);
    }}, {{ capture: true, once: true }});
    setTimeout(resolve, 1000, false);
  }});
}})(document.querySelector({}))"""


# Python's program is compiled once, quickly, as in Chromium; no news is fetched, no processes kept for later.
FIREFOX_SETTINGS = """
user_pref("javascript.options.wasm_optimizingjit", false);
user_pref("dom.ipc.processPrelaunch.enabled", false);
user_pref("browser.newtabpage.enabled", false);
user_pref("app.normandy.enabled", false);
"""


class FirefoxEngine:
    """Debian's Firefox by the W3C's WebDriver BiDi."""

    def __init__(self) -> None:
        self._folder = tempfile.mkdtemp()
        Path(self._folder, "user.js").write_text(FIREFOX_SETTINGS)
        self._process = subprocess.Popen(
            ["firefox-esr", "--headless", "--no-remote", "--profile", self._folder, "--remote-debugging-port", "0"],
            stderr=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            text=True,
        )
        assert self._process.stderr is not None
        heard = next((line for line in self._process.stderr if "WebDriver BiDi listening on" in line), "")
        address = heard.rpartition(" ")[2].strip()
        assert address, "Firefox did not open its driver"
        self._socket = websocket.create_connection(f"{address}/session", timeout=PATIENCE, suppress_origin=True)
        self._sent = 0
        self._send("session.new", capabilities={})
        self._window = self._send("browsingContext.getTree")["contexts"][0]["context"]

    def _send(self, method: str, **parameters: Any) -> Any:
        self._sent += 1
        self._socket.send(json.dumps({"id": self._sent, "method": method, "params": parameters}))
        while True:
            heard = json.loads(self._socket.recv())
            if heard.get("id") == self._sent:
                assert heard["type"] == "success", heard
                return heard["result"]

    def open(self, address: str) -> None:
        self._send("browsingContext.navigate", context=self._window, url="about:blank", wait="complete")
        self._send("browsingContext.navigate", context=self._window, url=address, wait="complete")

    def ask(self, script: str) -> Any:
        found = self._send(
            "script.evaluate",
            expression=f"(async () => JSON.stringify((await ({script})) ?? null))()",
            target={"context": self._window},
            awaitPromise=True,
        )
        assert found["type"] == "success", found
        return json.loads(found["result"]["value"])

    def _act(self, *sources: dict[str, Any]) -> None:
        self._send("input.performActions", context=self._window, actions=list(sources))

    def press(self, selector: str) -> None:
        """Click; again where the page moved away under the pointer, for an answer or back to the field typed in."""
        for _ in range(50):
            try:
                if self._press(selector):
                    return
            except AssertionError as refused:
                if "out of bounds" not in str(refused):
                    raise
        raise AssertionError(f"never holds still: {selector}")

    def _press(self, selector: str) -> bool:
        """Click, and return whether it hit; a click that misses does nothing."""
        self.ask(f"void {_IN_SIGHT.format(json.dumps(selector)).rstrip(';')}")
        self.ask(f"void {_HITS_OR_NOTHING.format(json.dumps(selector))}")
        x, y = self.ask(
            f"(({{x, y, width, height}}) => [Math.round(x + width / 2), Math.round(y + height / 2)])"
            f"(document.querySelector({json.dumps(selector)}).getBoundingClientRect())"
        )
        moves = [
            {"type": "pointerMove", "x": x, "y": y},
            {"type": "pointerDown", "button": 0},
            {"type": "pointerUp", "button": 0},
        ]
        self._act({"type": "pointer", "id": "mouse", "actions": moves})
        return bool(self.ask("window.hit"))

    def type(self, selector: str, text: str) -> None:
        self.ask(f"((field) => (field.focus(), field.select(), true))(document.querySelector({json.dumps(selector)}))")
        keys = [{"type": way, "value": key} for key in ("\ue017", *text) for way in ("keyDown", "keyUp")]
        self._act({"type": "key", "id": "keys", "actions": keys})

    def close(self) -> None:
        with contextlib.suppress(Exception):
            self._send("browser.close")
        self._socket.close()
        try:
            self._process.wait(timeout=30)
        except subprocess.TimeoutExpired:
            self._process.kill()
        shutil.rmtree(self._folder, ignore_errors=True)


@contextlib.contextmanager
def engine(name: str, playwright: Playwright) -> Iterator[Engine]:
    """``chromium``, ``firefox``, ``webkit`` or ``phone``, closed at the end; ``playwright`` drives what it can.

    Fails in a line without the programs.
    """
    for program in PROGRAMS.get(name, ()):
        assert shutil.which(program), f"{name}: {program} is not here; install Debian's {OTHER_ENGINES[program]}"
    with contextlib.ExitStack() as stack:
        if name in ("chromium", "phone"):
            opened: Any = ChromiumEngine(playwright, phone=name == "phone")
        else:
            opened = {"firefox": FirefoxEngine, "webkit": WebKitEngine}[name]()
        stack.callback(opened.close)
        yield opened


PROGRAMS = {"firefox": ("firefox-esr",), "webkit": ("WebKitWebDriver", "Xvfb")}
