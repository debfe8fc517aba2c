"""What the page's policy forbids stays forbidden: text from people can't become a program, nothing leaves."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from building.bundle import modules
from playwright.sync_api import Dialog, FilePayload, Page, expect

from tests.page.conftest import SiteServer, wait_for_engine, wait_until

INJECTED = {
    "handler": """document.body.insertAdjacentHTML(
                    "beforeend", '<img src="data:," onerror="window.ran = 1">')""",
    "markup": """document.body.innerHTML = '<img src="data:," onerror="window.ran = 1">'""",
    "parsed": """document.body.append(...new DOMParser().parseFromString(
                   '<img src="data:," onerror="window.ran = 1">', "text/html").body.children)""",
    "script": """{ const script = document.createElement("script"); script.textContent = "window.ran = 1";
                 document.body.append(script); }""",
    "evaluation": """setTimeout(() => {
                     try { new Function("window.ran = 1")(); } catch { /* refused */ } })""",
    "address": """{ const link = document.createElement("a"); link.href = "javascript:window.ran=1";
                  document.body.append(link); link.click(); }""",
    "worker": """new Worker(URL.createObjectURL(new Blob(["postMessage(1)"]))).onmessage = () => { window.ran = 1; }""",
    "rule of its own": """document.body.innerHTML = trustedTypes.createPolicy("another", { createHTML: (text) => text })
                            .createHTML('<img src="data:," onerror="window.ran = 1">')""",
    "rule of ours again": """document.body.innerHTML = trustedTypes.createPolicy("feedcalc", { createHTML: (t) => t })
                               .createHTML('<img src="data:," onerror="window.ran = 1">')""",
}
# Of these the browser must say no at once, by Trusted Types, and not only leave them without effect.
REFUSED_AT_ONCE = ("handler", "script", "markup", "parsed", "worker", "rule of its own", "rule of ours again")


@pytest.mark.parametrize("way", INJECTED)
def test_injected_text_does_not_run(page: Page, asleep: str, way: str) -> None:
    page.goto(asleep)
    refused = page.evaluate(
        f"() => {{ try {{ {INJECTED[way]} }} catch (error) {{ return error instanceof TypeError; }} return false; }}"
    )
    page.wait_for_timeout(200)
    assert page.evaluate("window.ran") is None
    assert refused is (way in REFUSED_AT_ONCE)


def test_no_script_of_the_page_makes_markup_of_text_but_the_one_door() -> None:
    ways = re.compile(
        r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|DOMParser|createContextualFragment|srcdoc|HTMLUnsafe"
        r"|\beval\b|new Function|new Worker|setTimeout\([\"'`]|setAttribute\([\"'`]on|createPolicy"
    )
    found = {
        (script.name, way)
        for script in modules()
        for way in ways.findall(re.sub(r"(?m)^\s*//.*|/\*\*.*?\*/", "", script.read_text(encoding="utf-8")))
    }
    assert found == {("markup.js", way) for way in ("DOMParser", "new Worker", "createPolicy")}


# Texts that become elements, attributes or programs wherever somebody forgets that they are text.
PLANTED = (
    "<x-planted data-planted>",
    '"><img data-planted src=x onerror=window.ran=1>',
    "'><svg data-planted onload=window.ran=1>",
    "</textarea></title></style></option></select><script data-planted>window.ran=1</script>",
    "--><iframe data-planted srcdoc='<script>parent.ran=1</script>'></iframe>",
    "&lt;img data-planted src=x onerror=window.ran=1&gt;",
    "&#60;img data-planted src=x onerror=window.ran=1&#62;",
    "\\u003cimg data-planted src=x onerror=window.ran=1\\u003e",
    "{{ 7*7 }}{% if 1 %}<b data-planted>{% endif %}",
    "{name}<b data-planted>%(name)s",
    '[x](javascript:window.ran=1) ![x](x"onerror="window.ran=1) `<b data-planted>`',
    "<math><mtext data-planted><mglyph><style><img src=x onerror=window.ran=1></style></mglyph></mtext></math>",
    "<base data-planted href=https://planted.invalid/><link data-planted rel=stylesheet href=https://planted.invalid/>",
    "<form data-planted action=https://planted.invalid/><input name=water.amount value=1></form>",
    "<a data-planted href=javascript:window.ran=1 autofocus onfocus=window.ran=1>x</a>",
    "\u202e\u0000<b data-planted\u00a0onclick=window.ran=1>\ud83d",
    "javascript:window.ran=1//",
    "__proto__",
)
TRACES = """() => [window.ran ?? null, document.querySelectorAll("[data-planted], x-planted").length,
  [...document.querySelectorAll("a[href]")].filter((link) => link.protocol === "javascript:").length]"""


def no_trace(page: Page) -> None:
    assert page.evaluate(TRACES) == [None, 0, 0]


def answered(page: Page, pause: float = 250) -> None:
    """Wait until whatever the page asks within ``pause`` milliseconds is answered."""
    page.wait_for_timeout(pause)
    page.evaluate("feedcalc.engine.ask({ schema: 1, ranges: 'off' }, { line: 'test' }).catch(() => null)")


@pytest.fixture
def alert_page(watched_page: Page, quick_file: str) -> Iterator[Page]:
    """The one file with Python awake; a dialog, a request or an error in the console fails the test."""
    watched_page.goto(quick_file)
    wait_for_engine(watched_page)
    dialogs: list[str] = []

    def dismiss(dialog: Dialog) -> None:
        dialogs.append(dialog.message)
        dialog.dismiss()

    watched_page.on("dialog", dismiss)
    watched_page.evaluate("document.querySelectorAll('details:not(#menu)').forEach((each) => { each.open = true; })")
    yield watched_page
    assert dialogs == []


FILL = """([text, fields]) => {
  for (const field of document.querySelectorAll(fields)) {
    if (["checkbox", "radio", "file", "datetime-local", "date"].includes(field.type)) continue;
    field.value = text;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }
}"""


def test_in_every_field_of_the_batch(alert_page: Page, record_property: Callable[[str, Any], None]) -> None:
    fields = alert_page.locator("#batch input:not([type=checkbox]):not([type=file])").count()
    for text in PLANTED:
        alert_page.evaluate(FILL, [text, "#batch input, #batch textarea"])
        answered(alert_page)
        no_trace(alert_page)
    record_property("faults", len(PLANTED) * fields)
    assert fields > 20


@pytest.mark.parametrize("first", [0, 1], ids=["half of the texts", "the others"])
def test_as_plant_name_of_a_batch_and_address_of_a_label(
    alert_page: Page, first: int, record_property: Callable[[str, Any], None]
) -> None:
    page, texts = alert_page, PLANTED[first::2]
    page.locator('[data-wish="code"]').select_option("own")
    for text in texts:
        page.evaluate(FILL, [text, "#batch-name, #plant, [data-wish=address]"])
        answered(page, 350)
        no_trace(page)
    for wanted in ("wall", "sheet"):
        page.locator('[data-wish="what"]').select_option(wanted)
        page.locator('[data-wish="whose"]').select_option("all") if wanted == "sheet" else None
        answered(page, 350)
        no_trace(page)
    record_property("faults", 3 * len(texts))


def hostile_batch(text: str) -> dict[str, Any]:
    """A batch with a text wherever one may stand, and where none may."""
    request = {"schema": 1, "plant": text, "water": {"amount": text, text: text}, text: {text: [text]}, "now": text}
    earlier = [{"ash": {"kind": text, text: text}, "measured": {"ph": text}}]
    shapes = {"cans": [{"size": text, "count": text, text: text}, text, None], "ash": {"earlier": earlier}}
    return {"id": text, "name": text, "done": [text], "changed": text, "request": request | shapes}


@pytest.mark.parametrize("way", ["file", "link"])
def test_in_batches_that_come_from_elsewhere(
    alert_page: Page, way: str, record_property: Callable[[str, Any], None]
) -> None:
    page = alert_page
    for text in PLANTED:
        sent = json.dumps({"format": "feedcalc batches", "version": 1, "batches": [hostile_batch(text)]})
        if way == "file":
            file = FilePayload(name="<img data-planted>.json", mimeType="application/json", buffer=sent.encode())
            page.locator("#import-file").set_input_files(file)
        else:
            page.evaluate(
                """(sent) => { location.hash = "batch=" + btoa(String.fromCharCode(...new TextEncoder().encode(sent)))
                     .replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", ""); }""",
                sent,
            )
        expect(page.locator("#preview")).to_be_visible()
        no_trace(page)
        page.locator("#preview-keep").click()
        answered(page)
        no_trace(page)
    page.reload()
    wait_for_engine(page)
    answered(page)
    no_trace(page)
    record_property("faults", len(PLANTED))


FIELDS_OF_A_BOOK = {
    "bed": ("name", "area", "texture", "place", "plant", "note"),
    "soil test": ("bed", "date", "ph", "tested_with", "note"),
    "entry": ("bed", "date", "what", "amount", "ash", "batch", "dilution", "request", "where", "note", "potassium"),
    "ash": ("name", "date", "evidence", "note"),
    "metals": ("name", "date", "of", "ash", "bed", "cadmium", "country", "note"),
}
SENSIBLE = {"date": "2026-05-01", "area": "6 m2", "what": "dry ash", "amount": "1 kg", "ph": "6", "cadmium": "2"}


def hostile_records(text: str, number: int) -> list[dict[str, Any]]:
    """Records that hold a text: everywhere, and only where the rest of the record can be counted with it."""
    records = []
    for kind, names in FIELDS_OF_A_BOOK.items():
        for whole in (True, False):
            identity = f"{kind.replace(' ', '-')}-{number}-{whole}"
            said = {name: text if whole else SENSIBLE.get(name, text) for name in names}
            said |= {"bed": f"bed-{number}-{whole}"} if "bed" in names else {}
            stamp = {"at": "2026-05-01T09:00:00.000Z", "by": "x"}
            fields = {name: {"text": words, **stamp} for name, words in said.items()}
            records.append({"id": identity, "kind": kind, "fields": fields, "history": []})
    return records


def hostile_book(first: int) -> str:
    """A book with the records of every third text."""
    records = [each for at in range(first, len(PLANTED), 3) for each in hostile_records(PLANTED[at], at)]
    return json.dumps({"format": "feedcalc season book", "version": 1, "records": records})


def hostile_table(text: str) -> str:
    cell = '"' + text.replace('"', '""') + '"'
    return f"kind,name,area,note,{cell}\r\nbed,{cell},6 m2,{cell},{cell}\r\n{cell},x,{cell},x,x\r\n"


@pytest.mark.parametrize("way", ["file", "table"])
def test_in_books_that_come_from_elsewhere(
    alert_page: Page, way: str, record_property: Callable[[str, Any], None]
) -> None:
    page = alert_page
    page.evaluate("location.hash = 'book'")
    for content in map(hostile_book, range(3)) if way == "file" else map(hostile_table, PLANTED):
        name = "<img data-planted>." + ("json" if way == "file" else "csv")
        page.locator("#book-open").set_input_files(
            {"name": name, "mimeType": "text/plain", "buffer": content.encode("utf-8", "replace")}
        )
        wait_until(lambda: page.evaluate("document.getElementById('book-preview').open || toast.hidden === false"))
        no_trace(page)
        if page.locator("#book-preview").is_visible():
            page.locator("#book-preview [value=yes]").click()
        answered(page)
        page.evaluate("document.querySelectorAll('#book details').forEach((each) => { each.open = true; })")
        no_trace(page)
    beds = page.locator("#book-bed-list button")
    for place in range(0, beds.count(), 5):
        beds.nth(place).click()
        answered(page)
        no_trace(page)
    record_property("faults", len(PLANTED))


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
          feedcalc.markup.worker(program).onmessage = ({ data }) => resolve(data);
        })""",
        elsewhere.address,
    )
    elsewhere.shut()
    assert outcome == "refused"
