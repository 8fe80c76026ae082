"""A real Chromium for the page: one browser for a module, pages that record what they load and complain of, and axe.

A page made by `Opened` runs under the policy that the service sends; only where axe has to be put into it is that
policy lifted.
"""

from __future__ import annotations

import base64
import json
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from tests.clients.serving import Served, needs

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

__all__ = ["HONEY", "LEMON", "Opened", "chromium", "in_address", "pages_of", "violations"]

_CHROMIUM: Final = "/usr/bin/chromium"
_ARGUMENTS: Final = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--disable-quic",
]
_WAITS_MS: Final = 180_000
"""Longer than anything on a page takes on a busy machine."""
_STARTS_WITHIN_MS: Final = 180_000
_RULES: Final = {"target-size": {"enabled": True}}
_SHOWN_IN: Final = os.environ.get("PAGE_SCREENSHOTS", "")


@contextmanager
def chromium() -> Iterator[Browser]:
    """Debian's Chromium, without a window."""
    needs(package="playwright", get="pip install playwright")
    needs(file=_CHROMIUM, get="apt-get install chromium")
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=_WAITS_MS)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=_CHROMIUM, args=_ARGUMENTS, timeout=_STARTS_WITHIN_MS)
        try:
            yield browser
        finally:
            browser.close()


@dataclass
class Opened:
    """The page of a running service, with what it loaded and what it complained of."""

    page: Page
    service: Served
    loaded: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    @classmethod
    def at(cls, where: BrowserContext, service: Served, *, fragment: str = "", width: int = 1000) -> Opened:
        """Open the page.

        Parameters: where, a context, whose pages share what was loaded; service; fragment, what follows the address;
        width of the window [px].
        """
        page = where.new_page()
        page.set_viewport_size({"width": width, "height": 900})
        page.set_default_timeout(_WAITS_MS)
        opened = cls(page, service)
        page.on("request", lambda request: opened.loaded.append(request.url))
        page.on("console", lambda told: opened.complaints.append(f"{told.type}: {told.text}"))
        page.on("pageerror", lambda error: opened.complaints.append(f"error: {error}"))
        page.goto(f"{service.address}/{fragment}")
        page.wait_for_selector("#catalogue option", state="attached")
        return opened

    def elsewhere(self) -> list[str]:
        """What was loaded from anywhere but the service."""
        return [url for url in self.loaded if not url.startswith((f"{self.service.address}/", "data:"))]

    def overflow_px(self) -> int:
        """How much wider than the window the page is [px]."""
        width: int = self.page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        return width

    def demo(self) -> None:
        """Have the demo batch worked out."""
        self.page.get_by_role("button", name="Try the demo batch").click()
        self.page.wait_for_selector("table.amounts")

    def solved(self) -> None:
        """Press the button, and wait for a plan."""
        with self.planning():
            self.page.get_by_role("button", name="Work it out").click()
        self.page.wait_for_selector("table.amounts")

    @contextmanager
    def planning(self) -> Iterator[Any]:
        """What is done within asks for a plan, which stands on the page afterwards; gives the response."""
        with self.page.expect_response("**/v1/blend-plans") as answered:
            yield answered
        self.untold("#plan-status", "Working it out")  # until then an earlier plan stands there

    def copied(self) -> Any:
        """The request of the plan, as the page hands it on."""
        self.page.select_option("#copy-as", "json")
        return json.loads(self.page.locator("#copy-body textarea").input_value())

    def words(self, selector: str) -> str:
        """What can be read in an element."""
        return self.page.locator(selector).inner_text()

    def drawn(self, points: int = 8) -> Any:
        """Have a curve of so many points drawn; the question that it answers."""
        self.page.get_by_label("Points, at most").fill(str(points))
        with self.page.expect_request("**/v1/trade-offs") as asked:
            self.page.get_by_role("button", name="Draw the curve").click()
        self.untold("#curve-status", "Working out the curve")  # until then an earlier one stands there
        self.page.wait_for_selector("svg.chart")
        return asked.value.post_data_json

    def answer_to(self, path: str, request: Any) -> Any:
        """What the service answers a script that sends the same."""
        return self.page.request.post(f"{self.service.address}{path}", data=request, timeout=_WAITS_MS).json()

    def told(self, selector: str, text: str) -> None:
        """Wait until an element holds a text."""
        from playwright.sync_api import expect

        expect(self.page.locator(selector)).to_contain_text(text)

    def untold(self, selector: str, text: str) -> None:
        """Wait until an element no longer holds a text."""
        from playwright.sync_api import expect

        expect(self.page.locator(selector)).not_to_contain_text(text)

    def counted(self, selector: str, count: int) -> None:
        """Wait until there are so many elements."""
        from playwright.sync_api import expect

        expect(self.page.locator(selector)).to_have_count(count)

    def focused(self, selector: str) -> None:
        """Wait until an element has the focus."""
        from playwright.sync_api import expect

        expect(self.page.locator(selector)).to_be_focused()

    def look(self, name: str) -> None:
        """Keep a picture of the whole page where the environment variable PAGE_SCREENSHOTS names a folder."""
        if _SHOWN_IN:
            self.page.screenshot(path=str(Path(_SHOWN_IN) / f"{name}.png"), full_page=True)


HONEY: Final[dict[str, Any]] = {
    "units": "metric",
    "lots": [{"name": "base", "volume": "10 L", "gravity": 0.998, "abv_percent": 8}],
    "additions": [{"ingredient": "honey_average"}],
    "targets": {"gravity": 1.012},
    "rounding": "none",
}
"""A request that a cell can ask too."""

LEMON: Final[dict[str, Any]] = {
    **HONEY,
    "additions": [{"ingredient": "honey_average", "max": "1 kg"}, {"ingredient": "lemon_juice_fresh", "max": "1 L"}],
    "rounding": "scale",
}
"""A request whose curve of citrus juice against sweetness is soon drawn."""


def pages_of(pdf: bytes) -> int:
    """How many pages a printed document has."""
    return len(re.findall(rb"/Type\s*/Page(?![a-zA-Z])", pdf))


def in_address(request: Any) -> str:
    """A request as the address of the page holds it."""
    return "#request=" + base64.urlsafe_b64encode(json.dumps(request).encode()).decode().rstrip("=")


def violations(page: Page, *only: str) -> list[str]:
    """What axe finds on a page that was opened with `bypass_csp=True`: rule and place of every violation.

    Parameters: page; only, the rules to look at, all of them if none is named.
    """
    if not page.evaluate("'axe' in window"):
        needs(package="axe_playwright_python", get="pip install axe-playwright-python")
        found = find_spec("axe_playwright_python")
        assert found is not None
        assert found.origin is not None
        page.add_script_tag(content=(Path(found.origin).parent / "axe.min.js").read_text(encoding="utf-8"))
    options: dict[str, Any] = {"resultTypes": ["violations"], "rules": _RULES}
    if only:
        options = {"resultTypes": ["violations"], "runOnly": list(only)}
    ran = page.evaluate("options => axe.run(document, options)", options)
    return [
        f"{one['id']}: {node['target']} {node['failureSummary']}" for one in ran["violations"] for node in one["nodes"]
    ]
