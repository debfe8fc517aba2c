"""What the installed page says of itself: ready offline only when it is, a new version only when it is wanted."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.page.conftest import SiteServer, wait_for_engine, wait_until
from tests.page.test_installed_site import publish_another_version

pytestmark = pytest.mark.usefixtures("without_ranges")


def test_ready_offline_is_said_once_it_is_so(page: Page, site_server: SiteServer) -> None:
    page.goto(site_server.address)
    expect(page.locator("#offline-words")).to_be_hidden()
    wait_for_engine(page)
    expect(page.locator("#offline-words")).to_have_text("Ready offline.")
    site_server.shut()
    page.reload()
    wait_for_engine(page)
    wait_until(lambda: page.evaluate("document.getElementById('freshness').dataset.freshness") == "fresh")


def test_nothing_of_it_is_said_where_a_byte_is_wrong(page: Page, site_server: SiteServer) -> None:
    icon = site_server.folder / "icon.svg"
    icon.write_bytes(icon.read_bytes() + b" ")
    page.goto(site_server.address)
    wait_for_engine(page)
    page.wait_for_timeout(1500)
    expect(page.locator("#offline-words")).not_to_have_text("Ready offline.")


def test_a_new_version_is_offered_and_taking_it_keeps_what_was_typed(page: Page, site_server: SiteServer) -> None:
    page.goto(site_server.address)
    expect(page.locator("#offline-words")).to_have_text("Ready offline.")
    page.locator('[name="water.amount"]').fill("4,5 L")
    publish_another_version(site_server.folder)
    page.reload()
    expect(page.locator("#take-update")).to_be_visible()
    assert page.title() == "feedcalc"
    page.locator("#take-update").click()
    wait_until(lambda: page.title() == "another version", what="the new version")
    typed = page.locator('[name="water.amount"]')
    wait_until(lambda: typed.input_value() == "4,5 L", what="what was typed before")
