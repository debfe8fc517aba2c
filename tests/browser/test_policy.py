"""What the page's policy forbids stays forbidden: text from people can't become a program, nothing leaves."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from tests.browser.conftest import SiteServer, wait_for_engine

INJECTED = {
    "handler": """document.body.insertAdjacentHTML(
                    "beforeend", '<img src="data:," onerror="window.ran = 1">')""",
    "script": """{ const script = document.createElement("script"); script.textContent = "window.ran = 1";
                 document.body.append(script); }""",
    "evaluation": """setTimeout(() => {
                     try { new Function("window.ran = 1")(); } catch { /* refused */ } })""",
    "address": """{ const link = document.createElement("a"); link.href = "javascript:window.ran=1";
                  document.body.append(link); link.click(); }""",
}


@pytest.mark.parametrize("way", INJECTED)
def test_injected_text_does_not_run(page: Page, one_file: str, way: str) -> None:
    page.goto(one_file)
    page.evaluate(f"() => {{ {INJECTED[way]} }}")
    page.wait_for_timeout(200)
    assert page.evaluate("window.ran") is None


@pytest.mark.parametrize("delivery", ["one file", "site"])
def test_nothing_can_be_sent_elsewhere(page: Page, one_file: str, site_server: SiteServer, delivery: str) -> None:
    elsewhere = SiteServer(site_server.folder)
    page.goto(one_file if delivery == "one file" else site_server.address)
    wait_for_engine(page)
    outcomes = page.evaluate(
        """async (address) => {
          const image = new Promise((resolve) => {
            const element = new Image();
            element.onload = () => resolve("sent");
            element.onerror = () => resolve("refused");
            element.src = address + "icon.svg";
          });
          const fetched = fetch(address, { mode: "no-cors" }).then(() => "sent", () => "refused");
          return Promise.all([image, fetched]);
        }""",
        elsewhere.address,
    )
    elsewhere.shut()
    assert outcomes == ["refused", "refused"]


def test_the_worker_can_send_nothing_either(page: Page, site_server: SiteServer) -> None:
    elsewhere = SiteServer(site_server.folder)
    page.goto(site_server.address)
    outcome = page.evaluate(
        """(address) => new Promise((resolve) => {
          const program = `fetch("${address}", { mode: "no-cors" })
            .then(() => postMessage("sent"), () => postMessage("refused"))`;
          new Worker(URL.createObjectURL(new Blob([program]))).onmessage = ({ data }) => resolve(data);
        })""",
        elsewhere.address,
    )
    elsewhere.shut()
    assert outcome == "refused"
