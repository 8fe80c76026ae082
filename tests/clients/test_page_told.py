"""What the page at `/` has to tell: what a formula, the form or a point of the curve does not carry, and what the
record on paper is a record of.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import pytest

from tests.api.real import example
from tests.clients.browser import HONEY, LEMON, Opened, chromium, in_address, pages_of
from tests.clients.serving import Served

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext, Route


@pytest.fixture(scope="module")
def shared() -> Iterator[BrowserContext]:
    with chromium() as running:
        yield running.new_context(reduced_motion="reduce")  # a click waits for what moves


@pytest.fixture
def opened(shared: BrowserContext, service: Served) -> Iterator[Opened]:
    here = Opened.at(shared, service)
    yield here
    assert [told for told in here.complaints if "status of 422" not in told] == []
    here.page.close()


def asked(opened: Opened, request: Any, *, work_out: bool = True) -> Opened:
    """The same page with another request in its address."""
    # whatever was told before is taken away first, so that it is not taken for what is told of this request
    told = "hash => { document.getElementById('plan-status').textContent = ''; location.hash = hash }"
    opened.page.evaluate(told, in_address(request))
    opened.told("#plan-status", "filled from the address")
    if work_out:
        opened.solved()
    return opened


def test_what_a_formula_leaves_out_is_named_and_so_is_what_stops_the_plan(opened: Opened) -> None:
    told = {
        **HONEY,
        "lots": [{**HONEY["lots"][0], "degassed": True, "on_lees": False, "use": {"max": "9 L"}}],
        "additions": [{"ingredient": "honey_average", "max_packs": 9, "pack": "500 g"}],
        "targets": {"gravity": {"value": 1.012, "tolerance": 0.002, "priority": 2}},
        "prefer": [{"maximise": "abv_percent"}],
        "rounding": "kitchen",
        "instruments": {"scale": {"step": "5 g"}, "hydrometer": {"error": 0.0005}},
        "intended": {"container": "bottle", "hurdles": ["cold"], "storage_temperature": "18 C"},
    }
    asked(opened, told).page.select_option("#copy-as", "excel")
    opened.told("#copy-body", "Not in the formula")
    left = opened.words("#copy-body p.quiet")
    for words in (
        "degassed: yes",
        "on its lees: no",
        "use, at most: 9 L",
        "packs, at most: 9",
        "give or take: 0.002",
        "rank: 2",
        "maximise strength",
        "rounding to what is shown by: kitchen",
        "steps of the scale: 5 g",
        "container: bottle",
        "hurdles: cold",
        "warmest storage: 18 C",
    ):
        assert words in left
    for carried in ("8", "500 g", "0.0005", "0.998", "1.012"):
        assert f": {carried};" not in left
    number = opened.page.locator("#copy-body textarea").first.input_value()
    assert "hydrometer_error=0.0005" in number
    stop = opened.words("#plan-body .caution.stop").split(". ", 1)[1].split(".")[0]
    said = opened.words("#copy-body .stops")
    assert said.startswith(f"The plan stops: {stop}")
    assert said.endswith("the formula alone would not say so.")
    asked(opened, HONEY)
    opened.told("#copy-body", "The amount, in")
    assert opened.page.locator("#copy-body .stops").count() == 0
    assert "Not in the formula" not in opened.words("#copy-body")


def test_a_curve_of_an_earlier_form_is_marked_and_so_is_the_plan_of_its_point(opened: Opened) -> None:
    page = asked(opened, {**LEMON, "intended": {"container": "bottle"}}).page
    opened.drawn(points=6)
    assert not page.locator("#curve-stale").is_visible()
    names = page.locator(".dot").evaluate_all("all => all.map(e => e.getAttribute('aria-label'))")
    assert all("Stopped: see the plan." in name for name in names)
    page.get_by_label("Volume needed").fill("12 L")
    assert page.locator("#curve-stale").is_visible()
    kept = page.url
    with opened.planning():
        page.locator(".dot").nth(2).click()
    page.wait_for_selector("#plan-body .notice")
    assert opened.copied()["lots"][0]["volume"] == "10 L"
    assert "form as it was" in opened.words("#plan-stale")
    assert "earlier form" in opened.words("#plan-status")
    assert page.url == kept
    assert page.get_by_label("Volume needed").input_value() == "12 L"
    stale = page.locator("#record-stale")
    page.emulate_media(media="print")
    assert stale.is_visible()
    page.emulate_media(media="null")
    page.get_by_label("Volume needed").fill("10 L")  # the form as it was
    assert not page.locator("#curve-stale").is_visible()
    assert not page.locator("#plan-stale").is_visible()
    page.set_viewport_size({"width": 320, "height": 900})
    assert page.locator("table.points td", has_text="stopped: see the plan").first.is_visible()
    page.set_viewport_size({"width": 1000, "height": 900})


def test_the_record_of_a_clash_is_no_record_to_pour_by(opened: Opened) -> None:
    page = asked(opened, {**example("solve_blend", "03_clash"), "batch": "pear 4"}).page
    page.emulate_media(media="print")
    record = opened.words("#record")
    assert (
        record.index("cannot all be met")
        < record.index("cannot both hold")
        < record.index("nearest plan, which misses")
    )
    assert "Poured" not in record
    assert page.locator("#record .blank").count() == 0
    assert page.locator("#record .record-columns").count() == 0
    page.emulate_media(media="null")
    us = {**example("solve_blend", "03_clash"), "units": "us"}
    asked(opened, us)
    ways = page.locator(".clash .ways").first.locator("li")
    for way in ("volume: accept", "dry base: "):  # as a field takes it, although the words name two units
        asked(opened, us)
        with opened.planning() as answered:
            ways.filter(has_text=way).get_by_role("button").click()
        assert answered.value.json()["outcome"] == "targets_met", way


def test_a_long_record_takes_two_pages_and_names_what_it_began_with(opened: Opened) -> None:
    some = ["honey_acacia", "honey_average", "honey_alfalfa", "cherry_tart_juice_concentrate_68", "lemon_juice_fresh"]
    more = ["orange_juice_concentrate_frozen", "apple_juice_concentrate_70", "lime_juice_fresh", "orange_juice_fresh"]
    second = {"name": "second", "volume": "8 L", "gravity": 1.001, "original_gravity": 1.06, "ph": 3.4}
    big = {
        **HONEY,
        "lots": [*HONEY["lots"], second],
        "additions": [{"ingredient": name, "amount": "120 g"} for name in (*some, *more, "water_deionised")],
        "targets": {"gravity": {"min": 1.0, "max": 1.1}},
        "intended": {"container": "keg", "hurdles": ["sulfite", "sorbate"]},
    }
    page = asked(opened, big).page
    for paper in ("A4", "Letter"):
        assert pages_of(page.pdf(format=paper)) == 2
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 710, "height": 1040})
    assert page.locator("#record td").evaluate_all("all => all.filter(e => e.scrollWidth > e.clientWidth).length") == 0
    sizes = page.locator("#record.long > table, #record.long li").evaluate_all(
        "all => all.map(e => parseFloat(getComputedStyle(e).fontSize))"
    )
    assert min(sizes) >= 12.0  # 9 pt
    record = opened.words("#record")
    assert page.locator("#record h2 .blank").count() == 1
    for words in ("base: volume 10 L; gravity 0.998; strength 8 % vol.", "original gravity 1.06; pH 3.4.", "keg"):
        assert words in record
    assert record.index("Warning") < record.index("Meant for") < record.index("Amounts")
    assert page.locator("#record li", has_text="Potassium metabisulfite").locator(".blank").count() == 2
    assert "instrument’s error included" in record


def test_a_volume_left_to_fill_asks_for_the_losses(opened: Opened) -> None:
    page = asked(opened, {**HONEY, "targets": {"packaged_volume": "10 L", "gravity": 1.012}}, work_out=False).page
    page.get_by_role("button", name="Work it out").click()
    opened.counted("#problems-list li", 1)
    assert "what is lost before filling" in opened.words("#problems-list")
    page.get_by_label("Settles to the bottom").fill("5 %")
    page.get_by_label("Taken as samples").fill("200 mL")
    page.locator("[data-name='use.max']").evaluate("e => { e.closest('details').open = true }")
    opened.solved()
    sent = opened.copied()
    assert sent["losses"] == {"settling": "5 %", "samples": "200 mL"}
    answer = opened.answer_to("/v1/blend-plans", sent)
    row = page.locator("table.predicted tr", has_text="volume left to fill").inner_text()
    assert f"{answer['losses']['packaged_l']:.2f}" in row
    assert answer["losses"]["text"] in opened.words("#plan-body")


def test_what_the_form_has_no_field_for_is_named(opened: Opened) -> None:
    request = {
        **HONEY,
        "lots": [{**HONEY["lots"][0], "use": "all", "gravity": {"reading": 0.998}}],
        "targets": {"gravity": {"min": 1.01, "max": 1.02, "confidence": "90 %"}},
        "prefer": [{"maximise": "volume"}, {"minimise": "cost"}],
        "losses": {"jar_test": {"layer": "35 mm", "height": "180 mm"}, "samples": "1 L"},
        "senses": {"steps": {"sugar_g_per_l": "15 %"}},
        "additions": [{"ingredient": "lemon_juice_fresh", "fruit": "3 kg", "half_packs": False}],
    }
    asked(opened, request, work_out=False)
    said = opened.words("#left-out").removeprefix("Left out, because this page has no field for it: ")
    assert said.removesuffix(". A script can ask with it.").split("; ") == [
        "fruit: 3 kg",
        "gravity, confidence: 90 %",
        "preferred (2): minimise cost of what is added",
        "losses, jar test, layer: 35 mm",
        "losses, jar test, height: 180 mm",
        "senses, steps, sugar: 15 %",
    ]
    asked(opened, HONEY, work_out=False)
    assert not opened.page.locator("#left-out").is_visible()


def test_refusals_and_what_was_assumed_are_told_in_the_words_of_the_page(opened: Opened) -> None:
    page = asked(opened, {**HONEY, "targets": {"cost": 5}}, work_out=False).page
    with opened.planning():
        page.get_by_role("button", name="Work it out").click()
    opened.told("#problems-list", "has no price")
    assert "honey_average" not in opened.words("#problems-list")
    page.get_by_label("Points, at most").fill("abc")
    page.get_by_role("button", name="Draw the curve").click()
    opened.told("#problems-list", "Points, at most: Write a whole number, such as 25.")
    texts = {
        "Give the strength (abv_percent) or the original gravity (original_gravity).": "the strength or the original",
        "Close to it: honey_average, honey_table.": "Honey, US average, Honey",
        "Write a whole number without quotes, for example 4.": "Write a whole number, for example 4.",
        "base: titratable_acidity": "base: acidity",
        "say what kind of liquid it is (“class”)": "(“Kind”, under “More readings”)",
        "what your own shows": "“How well I measure”",
        "published: usda_sr28:09128, crane_1980": "published: USDA SR28 (09128), Crane 1980",
        "our defaults, replaceable by yours: arithmetic": "which a script can replace by its own: arithmetic",
        "ended at the edge of the search: give the most there is (max), or a": "say at most how much, or a",
    }
    said = page.evaluate(
        "async texts => { const { inNames } = await import('./page/names.js'); return texts.map(inNames) }", [*texts]
    )
    for got, words in zip(said, texts.values(), strict=True):
        assert words in got
        assert "_" not in got
    demo = opened.answer_to("/v1/blend-plans", example("solve_blend", "01_sour_cherry_and_lemon"))
    whole = [text for one in demo["assumed"] for text in one.values()]
    assert (
        page.evaluate(
            "async texts => (await import('./page/names.js')).inNames(texts.join('\\n'))", [t for t in whole if t]
        ).count("_")
        == 0
    )


def test_half_said_and_twice_said(opened: Opened) -> None:
    near = {"gravity": {"value": 1.012, "tolerance": 0.001}}
    page = asked(opened, {**HONEY, "targets": near}, work_out=False).page
    page.get_by_label("give or take").fill("")
    page.get_by_role("button", name="Add another ingredient").click()
    page.locator("[data-name='ingredient']").nth(1).fill("honey_average")
    page.get_by_role("button", name="Work it out").click()
    opened.counted("#problems-list li", 2)
    assert "how far off it may be" in opened.words("#problems-list")
    assert "has a line already" in opened.words("#problems-list")
    page.get_by_label("give or take").fill("0.001")
    page.locator("[data-name='pack']").nth(1).evaluate("e => { e.closest('details').open = true; e.value = '500 g' }")
    opened.solved()  # another pack of the same is another line
    gravity = page.locator("table.predicted tr", has_text="gravity").first.inner_text()
    assert "the real drink lies in the range with" in gravity
    asked(opened, HONEY)
    assert "range with" not in opened.words("table.predicted")


def test_the_address_holds_the_request(opened: Opened, shared: BrowserContext, service: Served) -> None:
    opened.demo()
    sent = opened.copied()
    again = Opened.at(shared, service, fragment="#" + opened.page.url.split("#", 1)[1])
    assert "filled from the address" in again.words("#plan-status")
    again.solved()
    assert again.copied() == sent
    again.page.get_by_role("button", name="Start again").click()
    assert "#request" not in again.page.url
    assert again.page.get_by_label("Volume needed").input_value() == ""
    again.page.close()
    broken = Opened.at(shared, service, fragment="#request=%%%")
    assert "cannot be read" in broken.words("#plan-status")
    assert broken.complaints == []
    broken.page.close()


def test_a_formula_that_answers_another_amount_than_the_plan_says_so_first(opened: Opened) -> None:
    """The plan takes half of the lot, a formula all of it: twice the honey."""
    half = {**HONEY, "lots": [{**HONEY["lots"][0], "volume": "10 L", "use": {"max": "5 L"}}]}
    page = asked(opened, {**half, "additions": [{"ingredient": "honey_average"}]}).page
    page.select_option("#copy-as", "libreoffice")
    opened.told("#copy-body .stops", "Not the amount of the plan")
    first, *_ = page.locator("#copy-body > *").all()
    assert "answers" in (first.text_content() or "")
    page.get_by_label("Value", exact=True).first.fill("1.02")
    opened.told("#copy-stale", "The form has changed since")
    asked(opened, {**HONEY, "additions": [{"ingredient": "honey_average"}]}).page.select_option("#copy-as", "excel")
    opened.told("#copy-body", "The amount, in")  # nothing of the plan before is left by then
    assert "Not the amount of the plan" not in opened.words("#copy-body")


def test_a_formula_that_comes_late_is_not_shown_under_another_plan(opened: Opened) -> None:
    page = asked(opened, HONEY).page
    held: list[Route] = []
    page.route("**/v1/cell/amount-for-gravity?**", lambda route: held.append(route))
    with page.expect_request("**/v1/cell/amount-for-gravity?**"):
        page.select_option("#copy-as", "excel")
    opened.told("#copy-body", "Asking for the formula")
    page.get_by_role("button", name="Start again").click()
    for _ in range(3000):  # the page has asked, but perhaps has not been stopped at it yet
        if held:
            break
        page.wait_for_timeout(20)
    with page.expect_response("**/v1/cell/amount-for-gravity?**") as late:
        held.pop().continue_()
    late.value.finished()
    page.wait_for_timeout(100)
    assert opened.words("#copy-body") == "First work out a plan."
    page.unroute("**/v1/cell/amount-for-gravity?**")


CANS = {
    "units": "us",
    "lots": [{"name": "base", "volume": "5 gal", "gravity": 0.998, "abv_percent": 8.1}],
    "additions": [
        {
            "ingredient": "orange_juice_concentrate_frozen",
            "pack": "12 fl oz",
            "max_packs": 4,
            "price": {"amount": 3.29, "per": "1 pack"},
        },
        {"ingredient": "honey_average", "max": "6 lb", "price": {"amount": 5, "per": "1 lb"}},
    ],
    "targets": {"volume": {"max": "6 gal"}},
}


def test_a_point_keeps_its_packs_and_what_they_cost(opened: Opened) -> None:
    page = asked(opened, CANS).page
    page.get_by_label("Points, at most").fill("5")
    page.get_by_role("button", name="Draw the curve").click()
    opened.told("#curve-body", "Alcohol: adults of legal age only")
    with opened.planning() as answered:
        page.get_by_role("button", name="Take point 3").click()
    amounts = {amount["name"]: amount for amount in answered.value.json()["amounts"]}
    cans = amounts["orange_juice_concentrate_frozen"]
    assert cans["packs"] == 4.0
    assert cans["cost"] == pytest.approx(4 * 3.29)
    opened.told("#plan-body", "4 packs")


def test_whole_packs_are_given_up_where_that_is_the_way_out(opened: Opened) -> None:
    cans = [{"ingredient": "orange_juice_concentrate_frozen", "pack": "12 fl oz", "max_packs": 6}]
    page = asked(opened, {**CANS, "additions": cans, "targets": {"citrus_percent": 30}}).page
    way = page.locator(".ways li", has_text="not in whole packs")
    with opened.planning() as answered:
        way.get_by_role("button").click()
    assert answered.value.json()["outcome"] == "targets_met"
    assert "pack" not in str(answered.value.request.post_data)


def test_a_clash_about_what_is_left_to_fill_says_whose_volumes_it_tells(opened: Opened) -> None:
    sweet = {
        **CANS,
        "losses": {"settling": "4 %", "dead_volume": "10 fl oz"},
        "targets": {"gravity": 1.018, "packaged_volume": {"min": "6.5 gal"}},
    }
    asked(opened, sweet)
    opened.told(".clash", "Volumes are those of the blend, before losses: 96 % of it is left to fill")
