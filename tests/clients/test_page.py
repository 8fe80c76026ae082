"""The page at `/` in a real Chromium: from the questions to a printed record, by mouse and by keyboard.

Accessibility is what axe-core finds of WCAG 2.2 A and AA (W3C Recommendation, 2023): contrast in light and dark, names,
target sizes (2.5.8); reflow at 320 CSS px is criterion 1.4.10.
"""

from __future__ import annotations

import itertools
import json
import math
import re
import subprocess
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from tests.api.real import example
from tests.clients.browser import HONEY, LEMON, Opened, chromium, in_address, pages_of, violations
from tests.clients.serving import Served, needs

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Route


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as running:
        yield running


@pytest.fixture(scope="module")
def shared(browser: Browser) -> BrowserContext:
    """One context for all pages that need no other: it keeps what was loaded."""
    return browser.new_context(permissions=["clipboard-read", "clipboard-write"], reduced_motion="reduce")


@pytest.fixture
def opened(shared: BrowserContext, service: Served) -> Iterator[Opened]:
    here = Opened.at(shared, service)
    yield here
    here.page.close()


def test_from_the_demo_to_one_printed_page(opened: Opened) -> None:
    page = opened.page
    assert "Nothing is worked out yet" in opened.words("#plan-body")
    opened.demo()
    assert page.evaluate("document.activeElement.id") == "plan-title"
    parts = page.locator("#plan-body > *").evaluate_all("all => all.map(e => e.className || e.tagName)")
    assert parts.index("cautions") < parts.index("amounts") < parts.index("predicted") < parts.index("steps")
    sent = opened.copied()
    answer = opened.answer_to("/v1/blend-plans", sent)
    assert answer["outcome"] == "targets_met"
    shown = page.locator("table.amounts td:nth-child(2)").all_inner_texts()
    assert shown == [amount["amount_text"] for amount in answer["amounts"]]
    low, high = (answer["predicted"]["abv_percent"][end] for end in ("low", "high"))
    assert f"{low:.1f} to {high:.1f}" in opened.words("table.predicted")
    for text in (c["text"] for c in answer["cautions"]):
        assert text in opened.words("#plan-body")
    assert not page.locator("#record").is_visible()
    page.emulate_media(media="print")
    assert page.locator("#record").is_visible()
    assert not page.locator("main").is_visible()
    page.set_viewport_size({"width": 710, "height": 1040})  # what A4 leaves between margins of 11 mm
    cut = page.locator("#record td").evaluate_all("all => all.filter(e => e.scrollWidth > e.clientWidth).length")
    assert cut == 0
    record = opened.words("#record")
    assert record.index("Warning") < record.index("Amounts") < record.index("Steps")
    page.emulate_media(media="null")
    assert [pages_of(page.pdf(format=paper)) for paper in ("A4", "Letter")] == [1, 1]
    assert opened.elsewhere() == []
    assert opened.complaints == []
    assert page.evaluate("[document.cookie, localStorage.length, sessionStorage.length]") == ["", 0, 0]


def test_what_stops_stands_above_the_amounts_on_screen_and_paper(shared: BrowserContext, service: Served) -> None:
    loose = {**HONEY, "intended": {"container": "bottle"}}
    opened = Opened.at(shared, service, fragment=in_address(loose))
    opened.solved()
    stop = opened.page.locator("#plan-body .caution.stop")
    assert stop.count() > 0
    assert stop.first.inner_text().upper().startswith("STOP")
    first = opened.page.locator("#plan-body > *").first
    assert first.locator(".stop").count() > 0
    assert "read that first" in opened.words("#plan-status")
    record = opened.page.locator("#record > *:not([hidden])")
    assert "STOP" in record.nth(1).evaluate("e => e.textContent")
    opened.page.close()


def test_a_point_of_the_curve_becomes_the_plan(shared: BrowserContext, service: Served) -> None:
    opened = Opened.at(shared, service, fragment=in_address(LEMON))
    page = opened.page
    opened.solved()
    of_form = opened.copied()
    curve = opened.answer_to("/v1/trade-offs", opened.drawn(points=12))
    assert page.locator("svg.chart .dot").count() == len(curve["points"])
    assert opened.words("#curve-status").startswith(f"The curve has {len(curve['points'])} points")
    for k, take in ((4, "mouse"), (5, "keyboard"), (6, "table")):
        with opened.planning():
            if take == "mouse":
                page.locator("svg.chart .dot").nth(k).click()
            elif take == "keyboard":
                page.locator('svg.chart .dot[tabindex="0"]').focus()
                page.keyboard.press("ArrowRight")
                page.keyboard.press("Enter")
            else:
                page.get_by_role("button", name=f"Take point {k + 1}", exact=True).click()
        page.wait_for_selector(f".dot.taken[data-point='{k}']")
        assert f"Point {k + 1}: sweetness" in opened.words("#plan-body .notice")
        sent = opened.copied()
        point = curve["points"][k]
        assert sent["targets"]["sucrose_equivalent_g_per_l"] == point["x"]
        planned = opened.answer_to("/v1/blend-plans", sent)
        masses = {a["name"]: a["mass_g"] for a in planned["amounts"]}
        for amount in point["amounts"]:  # the plan is what the scale of 5 g shows of the point
            assert masses[amount["name"]] == pytest.approx(amount["mass_g"], abs=25.0), amount["name"]
        title = f"Point {k + 1}"
        assert title in page.locator("#record").evaluate("e => e.textContent")
    page.get_by_role("button", name="Back to the plan of the form").click()
    assert opened.copied() == of_form
    assert opened.complaints == []
    page.close()


def test_a_clash_is_told_and_one_way_out_taken(shared: BrowserContext, service: Served) -> None:
    opened = Opened.at(shared, service, fragment=in_address(example("solve_blend", "03_clash")))
    page = opened.page
    opened.solved()
    assert "cannot both hold" in opened.words(".clash")
    assert opened.words("table.predicted .missed >> nth=-1").startswith("missed by")
    ways = page.locator(".clash .ways").first.locator("li")
    with opened.planning():
        ways.filter(has_text="volume: accept").get_by_role("button").click()
    page.wait_for_selector(".clash", state="detached")
    assert "All targets are met" in opened.words("#plan-status")
    assert opened.copied()["targets"]["volume"]["min"] == "29.907 L"
    page.close()


def test_a_refusal_is_told_at_the_field(opened: Opened) -> None:
    page = opened.page
    page.get_by_role("button", name="Work it out").click()
    assert page.locator("#problems-list li").count() == 5
    assert not [url for url in opened.loaded if "blend-plans" in url], "what is plainly missing needs no server"
    page.get_by_label("Volume needed").fill("24")
    page.get_by_label("Gravity needed").fill("0,998")
    page.get_by_role("textbox", name="Strength", exact=True).fill("8.1")
    page.locator('[data-name="ingredient"]').fill("hony")
    page.get_by_label("Value").fill("1.012")
    page.keyboard.press("Enter")
    opened.counted("#problems-list li", 3)  # in one round what the page sees, and what the service finds besides
    assert "Write a decimal point: 0.998." in opened.words("#problems-list")
    assert "the unit is missing" in opened.words("#problems-list")
    page.get_by_label("Gravity needed").fill("0.998")
    with opened.planning() as refused:
        page.keyboard.press("Enter")
    faults = refused.value.json()["errors"]
    opened.focused("#problems")
    volume = page.get_by_label("Volume needed")
    assert volume.get_attribute("aria-invalid") == "true"
    told = page.locator(f"#{(volume.get_attribute('aria-describedby') or '').split()[-1]}").inner_text()
    assert told in [fault["detail"] for fault in faults]
    assert {f["pointer"] for f in faults} == {"/lots/0/volume", "/additions/0/ingredient"}
    page.locator("#problems-list").get_by_role("link", name="Ingredient, name").click()
    assert page.evaluate("document.activeElement.dataset.name") == "ingredient"
    page.locator('[data-name="ingredient"]').fill("honey")
    volume.fill("24 L")
    opened.solved()
    assert page.locator("[aria-invalid]").count() == 0
    assert not page.locator("#problems").is_visible()


def test_the_same_request_elsewhere(shared: BrowserContext, service: Served) -> None:
    needs(command="curl")
    opened = Opened.at(shared, service, fragment=in_address(HONEY))
    page = opened.page
    opened.solved()
    assert opened.copied() == HONEY
    page.select_option("#copy-as", "curl")
    assert "POSIX shell" in opened.words("#copy-body label")
    page.get_by_role("button", name="Copy Command").click()
    opened.told("#copy-status", "Copied.")
    command = page.evaluate("navigator.clipboard.readText()")
    ran = subprocess.run(["sh", "-c", command], capture_output=True, text=True, timeout=120, check=True)
    amount = json.loads(ran.stdout)["amounts"][1]
    assert amount["amount_text"] in opened.words("table.amounts")
    for sheet in ("excel", "libreoffice", "google_sheets"):
        page.select_option("#copy-as", sheet)
        page.wait_for_selector("#copy-body textarea >> nth=1")
        number, caution = page.locator("#copy-body textarea").evaluate_all("all => all.map(e => e.value)")
        url = re.search(r'"(http[^"]+)"', number)
        assert url is not None
        answered = page.request.get(url[1])
        assert answered.status == 200
        assert float(answered.text()) == pytest.approx(amount["mass_g"], rel=1e-4)
        assert number.startswith("=IMPORTDATA(" if sheet == "google_sheets" else "=NUMBERVALUE(WEBSERVICE(")
        assert url[1].replace("/v1/cell/", "/v1/cell/caution/") in caution
    page.close()


def test_where_no_formula_can_ask_it_says_why_and_text_is_selected_where_copying_is_refused(opened: Opened) -> None:
    page = opened.page
    opened.demo()
    page.select_option("#copy-as", "excel")
    page.wait_for_selector("#copy-body .notice")
    assert "how much of one ingredient" in opened.words("#copy-body")
    assert page.locator("#copy-body .notice a").get_attribute("href") == "v1/cell"
    page.select_option("#copy-as", "curl")
    page.evaluate("() => { navigator.clipboard.writeText = () => Promise.reject(new Error('no')); }")
    page.get_by_role("button", name="Copy Command").click()
    opened.told("#copy-status", "selected")
    chosen = page.evaluate("(e => e.value.slice(e.selectionStart, e.selectionEnd))(document.activeElement)")
    assert chosen.startswith("curl -s http")


def test_us_units(opened: Opened) -> None:
    page = opened.page
    assert "such as 24 L" in opened.words("#lots")
    page.get_by_label("US", exact=True).check()
    assert "such as 5 gal" in opened.words("#lots")
    opened.demo()
    assert opened.copied()["units"] == "us"
    assert re.search(r"\d gal", opened.words("table.amounts"))
    row = page.locator("table.predicted tr", has_text="volume").first
    assert "gal" in row.inner_text()
    litres = opened.answer_to("/v1/blend-plans", opened.copied())
    gallons = litres["predicted"]["volume"]["value"] / 3.785411784  # NIST Handbook 44, Appendix C: gal in L
    assert f"{gallons:.2f}" in row.inner_text()
    pounds = litres["predicted"]["added_mass"]["value"] / 453.59237  # the same table: lb in g
    assert f"{pounds:.2f}\tlb" in page.locator("table.predicted tr", has_text="mass of what is added").inner_text()
    assert not re.search(r"\d k?g \(", opened.words("#plan-body"))
    page.get_by_label("metric", exact=True).check()
    assert page.locator("#plan-stale").is_visible()


def test_by_keyboard_alone(opened: Opened) -> None:
    page = opened.page

    def tab_to(wanted: str) -> None:
        for _ in range(60):
            page.keyboard.press("Tab")
            if page.evaluate("s => document.activeElement.matches(s)", wanted):
                return
        pytest.fail(f"the Tab key does not come to {wanted}")

    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    assert page.locator(".skip").bounding_box()["y"] >= 0  # type: ignore[index]
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    for name, text in (
        ("volume", "19 L"),
        ("gravity", "0.997"),
        ("abv_percent", "7.7"),
        ("ingredient", "honey"),
        ("value", "1.03"),
    ):
        tab_to(f'[data-name="{name}"]')
        outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert outline == "solid", name
        page.keyboard.type(text)
    page.keyboard.press("Enter")
    page.wait_for_selector("table.amounts")
    assert page.evaluate("document.activeElement.id") == "plan-title"
    assert "Honey, US average" in opened.words("table.amounts")
    tab_to("#draw")
    page.keyboard.press("Enter")
    page.wait_for_selector("svg.chart")
    tab_to(".dot")
    with opened.planning():
        page.keyboard.press("End")
        page.keyboard.press("Enter")
    page.wait_for_selector("#plan-body .notice")
    assert page.evaluate("document.activeElement.id") == "plan-title"


def test_axe_finds_nothing_in_any_state_in_light_and_dark(browser: Browser, service: Served) -> None:
    where = browser.new_context(bypass_csp=True, reduced_motion="reduce")
    opened = Opened.at(where, service, fragment=in_address(LEMON))
    page = opened.page

    def looked_at(state: str) -> None:
        page.emulate_media(color_scheme="light")
        opened.look(f"{state}_light")
        assert violations(page) == [], state
        page.emulate_media(color_scheme="dark")
        opened.look(f"{state}_dark")
        assert violations(page, "color-contrast") == [], f"{state}, dark"

    page.get_by_label("Volume needed").fill("")
    page.get_by_role("button", name="Work it out").click()
    opened.focused("#problems")
    looked_at("refused")
    page.get_by_label("Volume needed").fill("10 L")
    opened.solved()
    page.locator("details").evaluate_all("all => all.forEach(e => { e.open = true })")
    opened.drawn()
    with opened.planning():
        page.locator("svg.chart .dot").nth(3).click()
    page.wait_for_selector(".dot.taken")
    page.locator("#batch").fill("changed since")
    looked_at("curve")
    page.goto("about:blank")
    loose = {**example("solve_blend", "03_clash"), "intended": {"container": "bottle"}}
    page.goto(f"{service.address}/{in_address(loose)}")
    page.wait_for_selector("#catalogue option", state="attached")
    opened.solved()
    page.wait_for_selector(".caution.stop")
    looked_at("clash")
    page.goto(f"{service.address}/v1/cell")
    looked_at("listing")
    page.goto(f"{service.address}/")
    page.evaluate("document.querySelector('label[for=batch]').remove()")  # what axe has to find
    assert [found.split(":")[0] for found in violations(page, "label")] == ["label"]
    where.close()


def test_the_policy_holds_and_a_breach_would_be_seen(opened: Opened) -> None:
    with opened.page.expect_console_message(lambda told: "Content Security Policy" in told.text):
        opened.page.evaluate("document.body.setAttribute('style', 'color: red')")
    assert any("Content Security Policy" in told for told in opened.complaints)


def test_nothing_is_wider_than_the_window(shared: BrowserContext, service: Served) -> None:
    opened = Opened.at(shared, service, width=320, fragment=in_address(LEMON))
    page = opened.page
    assert opened.overflow_px() == 0
    opened.solved()
    points = len(opened.answer_to("/v1/trade-offs", opened.drawn(points=25))["points"])
    centres = page.locator(".dot .reach").evaluate_all(
        "all => all.map(e => [+e.getAttribute('cx'), +e.getAttribute('cy')])"
    )
    assert len(centres) < points == page.locator("table.points tbody tr").count(), "thinned, but for the table"
    assert min(math.dist(a, b) for a, b in itertools.combinations(centres, 2)) >= 24.0  # WCAG 2.2, 2.5.8
    page.locator("details").evaluate_all("all => all.forEach(e => { e.open = true })")
    page.select_option("#copy-as", "curl")
    for width in (320, 360, 768, 1280):
        page.set_viewport_size({"width": width, "height": 900})
        drawn = page.locator(".chart-frame").evaluate("e => e.clientWidth")
        page.wait_for_selector(f'svg.chart[width="{drawn}"]')
        assert opened.overflow_px() == 0, width
        opened.look(f"width_{width}")
    page.close()


def test_progress_is_read_line_by_line_and_a_plain_answer_as_well(shared: BrowserContext, service: Served) -> None:
    opened = Opened.at(shared, service, fragment=in_address(LEMON))
    page = opened.page
    plainly = opened.answer_to("/v1/trade-offs", opened.drawn())
    lines = [
        {"progress": {"done": 0, "of": 3, "what": "points"}},
        {"progress": {"done": 2, "of": 3, "what": "points"}},
        {"result": {**plainly, "points": plainly["points"][:3], "breakpoints": []}},
    ]
    page.evaluate(
        "window.seen = [];"
        "new MutationObserver(() => seen.push(document.getElementById('curve-bar-label').textContent))"
        ".observe(document.getElementById('curve-bar-label'), {childList: true})"
    )

    def answered(route: Route, body: str, kind: str) -> None:
        assert "application/x-ndjson" in route.request.headers["accept"]
        route.fulfill(status=200, body=body, content_type=kind)

    def ask_again(body: str, kind: str) -> None:
        page.unroute("**/v1/trade-offs")
        page.route("**/v1/trade-offs", lambda route: answered(route, body, kind))
        page.get_by_role("button", name="Draw the curve").click()

    ask_again("\n".join(map(json.dumps, lines)) + "\n", "application/x-ndjson")
    opened.counted("svg.chart .dot", 3)
    page.wait_for_selector("#curve-progress", state="hidden")
    assert "2 of 3 points" in page.evaluate("window.seen")
    ask_again(json.dumps({**plainly, "points": plainly["points"][:4]}), "application/json")
    opened.counted("svg.chart .dot", 4)
    refused = {"problem": {"detail": "Too wide.", "errors": [{"pointer": "/points", "detail": "Ask for fewer."}]}}
    ask_again(json.dumps(refused), "application/x-ndjson")
    opened.focused("#problems")
    assert opened.words("#problems-list") == "Points, at most: Ask for fewer."
    ask_again(json.dumps(lines[0]) + "\n", "application/x-ndjson")
    opened.told("#problems", "ended before the answer")
    page.unroute("**/v1/trade-offs")
    page.route("**/v1/trade-offs", lambda _: None)  # an answer that never comes
    page.get_by_role("button", name="Draw the curve").click()
    page.get_by_role("button", name="Stop", exact=True).click()
    opened.told("#curve-status", "Stopped.")
    page.wait_for_selector("#curve-progress", state="hidden")
    page.close()


def test_a_silent_network_is_told_in_words(opened: Opened) -> None:
    page = opened.page
    page.route("**/v1/blend-plans", lambda route: route.abort())
    page.get_by_role("button", name="Try the demo batch").click()
    opened.focused("#problems")
    assert "The server did not answer" in opened.words("#problems-list")
    page.unroute("**/v1/blend-plans")
    page.route("**/v1/blend-plans", lambda route: route.fulfill(status=502, body="<html>", content_type="text/html"))
    page.get_by_role("button", name="Work it out").click()
    opened.told("#problems", "502")
