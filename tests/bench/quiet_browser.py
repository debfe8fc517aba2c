"""Chromium with nothing looking on: how long a page takes to start is measured by the page itself.

A test driver has the browser's own tools note all that is loaded. Of the one file they decode 10 MB once more at its
end, in the page's own thread: 110 of 1000 ms. So a start is driven here by the few commands of Chromium's DevTools
protocol that it needs, and nothing is asked until it is over.
"""

from __future__ import annotations

import itertools
import json
import re
import subprocess
import tempfile
from typing import Any

import websocket

from tests.page.conftest import QUIET
from tests.page.installed_browser import installed_browser

SECONDS = 60
ONCE_KNOWN = """new Promise((resolve) => {
  const look = () => { if (window.%s === undefined) setTimeout(look, 100); else resolve(window.%s); };
  look();
})"""


class QuietBrowser:
    """A Chromium without windows; shut it with `close`."""

    def __init__(self) -> None:
        self._profile = tempfile.TemporaryDirectory()
        self._process = subprocess.Popen(
            [
                str(installed_browser()),
                "--headless",
                "--remote-debugging-port=0",
                f"--user-data-dir={self._profile.name}",
                *QUIET,
                "about:blank",
            ],
            stderr=subprocess.PIPE,
            text=True,
        )
        assert self._process.stderr
        address = next(found[0] for line in self._process.stderr if (found := re.search(r"ws://\S+", line)))
        self._socket = websocket.create_connection(address, timeout=SECONDS, suppress_origin=True)
        self._numbers = itertools.count()

    def moment(self, address: str, watch: str, name: str) -> float:
        """Open an address in a context of its own; the number that the script ``watch`` leaves in ``window[name]``."""
        context = self._call("Target.createBrowserContext")["browserContextId"]
        target = self._call("Target.createTarget", url="about:blank", browserContextId=context)["targetId"]
        session = self._call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        self._call("Page.enable", session)
        self._call("Page.addScriptToEvaluateOnNewDocument", session, source=watch)
        self._call("Page.navigate", session, url=address)
        asked = {"expression": ONCE_KNOWN % (name, name), "awaitPromise": True, "returnByValue": True}
        moment = float(self._call("Runtime.evaluate", session, **asked)["result"]["value"])
        self._call("Target.disposeBrowserContext", browserContextId=context)
        return moment

    def close(self) -> None:
        """End the browser."""
        self._call("Browser.close")
        self._socket.close()
        self._process.wait(timeout=SECONDS)
        self._profile.cleanup()

    def _call(self, method: str, session: str | None = None, **parameters: Any) -> dict[str, Any]:
        number = next(self._numbers)
        about = {"sessionId": session} if session else {}
        self._socket.send(json.dumps({"id": number, "method": method, "params": parameters, **about}))
        while True:
            answer = json.loads(self._socket.recv())
            if answer.get("id") != number:
                continue
            assert "error" not in answer, answer["error"]
            return dict(answer["result"])
