"""The installable site: complete before it says so, there without a network, new versions on consent only."""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path

import pytest
from playwright.sync_api import Page

from tests.page.conftest import COPY_AT_REST, SiteServer, ask, wait_for_engine, wait_until

pytestmark = pytest.mark.usefixtures("without_ranges")

WATCH = """() => new Promise((resolve) => feedcalc.offline.watch({
  onReady: ({ version }) => resolve(version), onUnavailable: resolve }))"""
FATE = """async () => {
  const registration = await navigator.serviceWorker.register(feedcalc.markup.keeper());
  const worker = registration.installing ?? registration.waiting ?? registration.active;
  return new Promise((resolve) => {
    const look = () => { if (["activated", "redundant"].includes(worker.state)) resolve(worker.state); };
    worker.addEventListener("statechange", look);
    look();
  });
}"""
STORED = """async () => {
  const names = await caches.keys();
  const count = async (name) => (await (await caches.open(name)).keys()).length;
  return { names, files: await Promise.all(names.map(count)) };
}"""


def visit(page: Page, server: SiteServer) -> str:
    """Open the site; the version that is stored as a whole."""
    page.goto(server.address)
    wait_for_engine(page)
    return str(page.evaluate(WATCH))


def files_named_by(folder: Path) -> dict[str, str]:
    text = (folder / "service_worker.js").read_text(encoding="utf-8")
    found = re.search(r"const FILES = (\{.*?\});", text, re.DOTALL)
    assert found
    return dict(json.loads(found.group(1)))


def publish_another_version(folder: Path) -> None:
    """What a new build does: other contents, their digests and another version in the service worker."""
    page = folder / "index.html"
    old_text = page.read_text(encoding="utf-8")
    page.write_text(re.sub(r"<title>.*?</title>", "<title>another version</title>", old_text), encoding="utf-8")
    worker = folder / "service_worker.js"
    old = files_named_by(folder)["index.html"]
    new = hashlib.sha256(page.read_bytes()).hexdigest()
    text = worker.read_text().replace(old, new)
    worker.write_text(re.sub(r'const VERSION = "\w+"', f'const VERSION = "{new[:16]}"', text))


def test_every_byte_of_the_version_is_named_and_stored(page: Page, site_server: SiteServer) -> None:
    named = files_named_by(site_server.folder)
    for name, digest in named.items():
        assert hashlib.sha256((site_server.folder / name).read_bytes()).hexdigest() == digest
    left_out = {path.name for path in site_server.folder.iterdir()} - set(named)
    assert left_out == {"service_worker.js", "retire.html", "retire.js"}
    version = visit(page, site_server)
    stored = page.evaluate(STORED)
    assert stored["files"] == [len(named)]
    assert stored["names"][0].endswith(version)


def test_opens_again_with_the_host_gone(page: Page, site_server: SiteServer) -> None:
    visit(page, site_server)
    site_server.shut()
    page.reload()
    wait_for_engine(page)
    assert ask(page, {"schema": 1})["ok"] is True


def test_checks_at_the_same_time_fetch_a_missing_part_once(page: Page, site_server: SiteServer) -> None:
    visit(page, site_server)
    assert page.evaluate(COPY_AT_REST)
    page.evaluate("caches.keys().then(([name]) => caches.open(name)).then((cache) => cache.delete('icon.svg'))")
    before = site_server.asked.count("/icon.svg")
    assert page.evaluate(f"Promise.all([{COPY_AT_REST}, {COPY_AT_REST}])") == [True, True]
    assert site_server.asked.count("/icon.svg") == before + 1


def test_is_not_ready_offline_where_a_byte_is_wrong(page: Page, site_server: SiteServer) -> None:
    icon = site_server.folder / "icon.svg"
    icon.write_bytes(icon.read_bytes() + b" ")
    page.goto(site_server.address)
    wait_for_engine(page)
    assert page.evaluate(FATE) == "redundant"
    assert page.evaluate("caches.keys()") == []


def test_a_new_version_waits_for_consent_and_replaces_the_old_one_whole(page: Page, site_server: SiteServer) -> None:
    first = visit(page, site_server)
    title = page.title()
    publish_another_version(site_server.folder)
    page.reload()
    wait_for_engine(page)
    assert page.title() == title
    page.evaluate("() => { window.updates = 0; feedcalc.offline.watch({ onUpdate: () => { window.updates++; } }); }")
    wait_until(lambda: page.evaluate("window.updates"), what="the new version is stored")
    assert page.title() == title
    page.evaluate("feedcalc.offline.takeUpdate()")
    wait_until(lambda: page.title() == "another version", what="the new version is used")
    wait_for_engine(page)
    second = page.evaluate(WATCH)
    assert second != first
    assert [name.endswith(second) for name in page.evaluate(STORED)["names"]] == [True]


def test_a_kept_copy_can_be_thrown_away(page: Page, site_server: SiteServer) -> None:
    visit(page, site_server)
    publish_another_version(site_server.folder)
    page.goto(site_server.address + "retire.html")
    page.get_by_role("button").click()
    wait_until(lambda: page.title() == "another version", what="the page comes from the host again")
