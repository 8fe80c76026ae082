"""The documentation page in a real browser: a worked example is tried out, and nothing leaves the machine."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from tests.clients.serving import Served, needs

if TYPE_CHECKING:
    from playwright.sync_api import Page

CHROMIUM = "/usr/bin/chromium"
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
WAITS_MS = 180_000
"""Longer than anything takes on a busy machine."""
EXAMPLE = "02_how_much_honey_to_1030"


class Opened:
    """The page with all it asked for and complained of."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.asked: list[str] = []
        self.complaints: list[str] = []
        page.on("request", lambda request: self.asked.append(request.url))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on(
            "console",
            lambda said: self.complaints.append(said.text) if said.type in ("error", "warning") else None,
        )


@pytest.fixture(scope="module")
def opened(service: Served) -> Iterator[Opened]:
    """`/docs` in Chromium, its operations listed."""
    needs(package="playwright", get="pip install playwright")
    needs(file=CHROMIUM, get="apt-get install chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=QUIET, timeout=180_000)
        found = Opened(browser.new_page())
        found.page.set_default_timeout(WAITS_MS)
        found.page.goto(f"{service.address}/docs")
        found.page.wait_for_selector("#operations-blends-solve_blend")
        yield found
        browser.close()


def test_a_worked_example_is_tried_out(service: Served, opened: Opened) -> None:
    """How much honey brings five gallons to SG 1.030: the answer stands on the page, with status 200."""
    from playwright.sync_api import expect

    page = opened.page
    operation = page.locator("#operations-blends-solve_blend")
    operation.locator(".opblock-summary-control").click()
    operation.get_by_role("button", name="Try it out").click()
    operation.locator(".examples-select-element").first.select_option(EXAMPLE)
    expect(operation.locator("textarea.body-param__text")).to_have_value(re.compile("carboy"), timeout=WAITS_MS)
    before = len(service.saw)
    operation.get_by_role("button", name="Execute").click()
    status = operation.locator(".live-responses-table tbody .response-col_status")
    status.first.wait_for()
    assert status.first.inner_text().split()[0] == "200"
    body = operation.locator(".live-responses-table .highlight-code code").first.inner_text()
    assert "targets_met" in body
    assert service.saw[before:] == [("POST", "/v1/blend-plans", 200)]
    address = operation.locator(".request-url").inner_text()
    assert f"{service.address}/v1/blend-plans" in address


def test_a_cell_is_tried_out(service: Served, opened: Opened) -> None:
    operation = opened.page.locator("#operations-cells-cell_sg_from_brix")
    operation.locator(".opblock-summary-control").click()
    operation.get_by_role("button", name="Try it out").click()
    operation.locator("tr[data-param-name=brix] input").fill("20")
    operation.get_by_role("button", name="Execute").click()
    answer = operation.locator(".live-responses-table .highlight-code code").first
    answer.wait_for()
    assert answer.inner_text().strip().startswith("1.0829")
    assert service.saw[-1][0] == "GET"


def test_nothing_leaves_the_machine_and_nothing_complains(service: Served, opened: Opened) -> None:
    assert [url for url in opened.asked if not url.startswith((f"{service.address}/", "data:", "blob:"))] == []
    assert opened.complaints == []
    assert {path.split("?")[0] for _, path, status in service.saw if status >= 400} == set()
