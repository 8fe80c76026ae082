"""The picture of a trade-off. All figures are invented; what a file has to be is taken from the format's standard."""

from __future__ import annotations

import math
import os
import re
import struct
import subprocess
import sys
import zlib
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import combinations
from typing import Any, Literal
from xml.etree import ElementTree

import pytest
from openapi_spec_validator import validate

from service.api.pictures import LINES, trade_off_picture
from service.api.pictures.page import INK
from service.api.pictures.panels import BAND, BAND_EDGE
from service.api.problems import problem_from_error
from service.errors import MissingExtraError
from service.planner.answers import (
    AcidityPrediction,
    Amount,
    Caution,
    NextReading,
    Predicted,
    Prediction,
    Proof,
    SweetnessPrediction,
    VolumePrediction,
)
from service.planner.answers_decisions import Clash, Relaxed
from service.planner.trade_off.answers import Axis, Breakpoint, End, Mark, TradeOff, TradePoint
from tests.api.real import app

NOTE = "The figures rest on tables and readings; a tasting glass decides. They are no promise of how it will taste."


def predicted() -> Predicted:
    some = Prediction(1.0, "g/L", 0.9, 1.1)
    return Predicted(
        gravity=Prediction(1.012, "SG", 1.011, 1.013),
        abv_percent=Prediction(6.5, "% vol", 6.3, 6.7),
        titratable_acidity=AcidityPrediction(7.0, "g/L tartaric", 6.7, 7.3, 7.0, 6.0, 6.3, 8.4, 4.6, 93.3, 8.2),
        ph=None,
        volume=VolumePrediction(29.9, "L", 29.0, 30.8, 7.9),
        extract_g_per_l=some,
        sugar_g_per_l=some,
        fermentable_sugar_g_per_l=some,
        sucrose_equivalent_g_per_l=SweetnessPrediction(34.0, "g/L", 33.0, 35.0, 28.0, 45.0),
        brix=some,
        sugar_acid_ratio=None,
        juice_percent=some,
        citrus_percent=some,
        added_mass=some,
        added_volume=None,
        cost=None,
        energy_kcal_per_100ml=some,
    )


def amount(name: str, mass_g: float, kind: str = "addition") -> Amount:
    kilograms = f"{mass_g / 1000:.3g} kg" if mass_g >= 1000 else f"{mass_g:.0f} g"
    words = f"{kilograms}, about {mass_g / 1.1:.0f} mL" if mass_g > 0 else "none"
    return Amount(name, "lot" if kind == "lot" else "addition", mass_g, mass_g / 1.1, words, None, None)


def point(
    x: float,
    y: float,
    masses: Sequence[tuple[str, float]],
    marks: tuple[Mark, ...] = (),
    band: float | None = 0.15,
    also: float | None = None,
    proved: bool = True,
) -> TradePoint:
    low, high = (None, None) if band is None else (y - band, y + band)
    proof = Proof("proved_best" if proved else "best_found", 0.0 if proved else 0.02, 3.1)
    amounts = (amount("dry base", 23908.9, "lot"), *(amount(name, mass) for name, mass in masses))
    also_low, also_high = (None, None) if also is None or band is None else (also - 2.0 * band, also + band)
    x_low, x_high = (None, None) if band is None else (x - 0.5, x + 0.7)
    return TradePoint(
        x,
        x_low,
        x_high,
        y,
        low,
        high,
        also,
        also_low,
        also_high,
        None,
        marks,
        proof,
        (),
        amounts,
        predicted(),
    )


def trade(points: Sequence[TradePoint], **changes: object) -> TradeOff:
    """A trade-off whose other parts are filled with invented ones."""
    values: dict[str, object] = {
        "outcome": "curve" if len(points) > 1 else "one_point",
        "summary": "The sweeter the drink, the less citrus fits: from 4.4 % at 24 g/L to 2.1 % at 52 g/L. "
        "The curve bends most at 36.7 g/L.",
        "x": Axis(
            "sucrose_equivalent_g_per_l", "g/L", "sweetness as sucrose, by published relative sweetness", "each_level"
        ),
        "y": Axis("citrus_percent", "%", "single-strength juice equivalent of the citrus fruit, 21 CFR 101.30", "most"),
        "also": None,
        "points": tuple(points),
        "breakpoints": (),
        "knee": None,
        "best": None,
        "ends": (),
        "clash": None,
        "notes": (NOTE,),
        "currency": None,
        "units": "metric",
        "assumed": (),
        "cautions": (),
        "next_reading": (),
        "next": {},
        "sources": (),
        "model_version": "0",
        "data_version": "0",
        "batch": None,
        "date": None,
        "note": None,
    }
    return TradeOff(**{**values, **changes})  # type: ignore[arg-type]


def orchard() -> TradeOff:
    """Sour cherry, lemon, honey and water along twelve levels of sweetness."""
    marks: dict[int, tuple[Mark, ...]] = {0: ("low_end",), 2: ("best",), 5: ("knee",), 11: ("high_end",)}
    curve = (4.15, 4.34, 4.42, 4.36, 4.26, 4.12, 3.82, 3.50, 3.17, 2.84, 2.50, 2.15)
    cherry = (500, 500, 500, 500, 560, 640, 900, 1180, 1460, 1740, 2020, 2300)
    lemon = (1180, 1260, 1300, 1290, 1240, 1190, 1090, 990, 890, 790, 690, 600)
    honey = (310, 420, 530, 645, 730, 800, 800, 800, 800, 800, 800, 800)
    water = (4000, 4000, 3920, 3800, 3650, 3480, 3300, 3120, 2930, 2740, 2560, 2380)
    acid = (18, 12, 6, 0, 0, 0, 0, 0, 0, 0, 0, 0)
    points = [
        point(
            24.0 + 28.0 * k / 11,
            curve[k],
            [
                ("cherry_tart_juice_concentrate_68", cherry[k]),
                ("lemon_juice_fresh", lemon[k]),
                ("honey_acacia", honey[k]),
                ("water_deionised", water[k]),
                ("citric_acid", acid[k]),
            ],
            marks.get(k, ()),
            band=0.10 + 0.012 * k,
            also=6.9 - 0.05 * k,
            proved=k != 8,
        )
        for k in range(12)
    ]
    return trade(
        points,
        also=Axis("abv_percent", "% vol", "alcoholic strength by volume at 20 °C", "shown"),
        breakpoints=(
            Breakpoint(31.6, 4.36, "no more citric acid is needed: the cherry brings enough."),
            Breakpoint(33.2, 4.30, "more cherry concentrate begins to replace lemon juice."),
            Breakpoint(36.7, 4.12, "the stock of acacia honey is used up: cherry concentrate brings the sugar."),
        ),
        knee=5,
        best=2,
        ends=(
            End("low", 24.0, 4.15, "Less sweetness would leave the gravity below 1.008."),
            End("high", 52.0, 2.15, "More sweetness would take the volume over the 30 L of the vessel."),
        ),
        cautions=(
            Caution(
                "ferment_must_have_ended",
                "stop",
                "The ferment still falls: do not sweeten. Two equal gravities, days apart, come first; live yeast "
                "turns added sugar into pressure.",
                "common_practice",
            ),
            Caution("hurdle_is_not_proof", "warning", "Sorbate and sulfite prove nothing.", "common_practice"),
            Caution("refermentation_pressure", "warning", "Pressure may burst a bottle.", "common_practice"),
        ),
        next_reading=(NextReading("titrate the lemon juice", "burette and sodium hydroxide"),),
        batch="orchard 7",
        date="2025-11-02",
    )


def many(
    count: int,
    names: Sequence[str] = ("honey", "water"),
    curve: Callable[[float], float] = lambda t: 4.0 - 3.0 * t**2,
    band: float | None = 0.15,
) -> list[TradePoint]:
    """Points along a curve, every amount changing."""
    points = []
    for k in range(count):
        t = k / max(count - 1, 1)
        masses = [
            (name, (200.0 + 1500.0 * j) * (0.4 + (t if j % 2 else 1.0 - t) ** (1.0 + j / 3.0)))
            for j, name in enumerate(names)
        ]
        marks: tuple[Mark, ...] = ("low_end",) if k == 0 else ("high_end",) if k == count - 1 else ()
        points.append(point(20.0 + 40.0 * t, curve(t), masses, marks, band))
    return points


LONG = "wild blossom honey of the second extraction from the slopes behind the old mill, kept cold since the harvest "
STRANGE = "$x_1$ <b>&amp; a\x00b\ud800\ufffe\u202e \u65e5\u672c"
CHANGES = tuple(Breakpoint(30.0 + 0.6 * k, 3.7, f"one mix hands over to the next, {LONG}") for k in range(15))
CLASH = Clash(
    ("gravity", "volume"),
    (Relaxed("gravity", "at least 1.015", 1.015, "SG", True), Relaxed("volume", "at most 28 L", 28.0, "L", True)),
    (),
    "Gravity of at most 1.010 and 4 kg of honey cannot hold together in 30 L.",
)
CASES: dict[str, TradeOff] = {
    "orchard": orchard(),
    "one point": trade(many(1)),
    "two points": trade(many(2), units="us"),
    "25 points": trade(many(25), knee=12, best=0, breakpoints=CHANGES),
    "60 points": trade(many(60, [f"part_{k}" for k in range(9)], lambda t: math.sin(9.0 * t) + 2.0), best=10),
    "no points": trade((), outcome="targets_clash", summary="No plan.", clash=CLASH),
    "nothing found": trade((), outcome="no_plan_found", summary="No plan."),
    "no interval": trade(many(6, band=None)),
    "long names": trade(many(6, [LONG * 2, LONG[::-1], STRANGE, "W" * 200]), batch=LONG, summary=LONG * 9),
    "one place": trade([point(30.0, 0.0, [("honey", 1000.0)], band=None) for _ in range(5)]),
    "ends at the top": trade(
        [point(30.0 + k, 4.0 - k, [(f"part {j}", 500.0 + 100.0 * k - 2.0 * j) for j in range(6)]) for k in range(4)]
    ),
    "crowded": trade([point(30.0 + 0.02 * k**3, 4.0 - 0.001 * k, [("honey", 900.0 + 9.0 * k)]) for k in range(12)]),
}
SVG = "{http://www.w3.org/2000/svg}"


DRAWN: dict[tuple[str, str], bytes] = {}


def drawn_once(shown: TradeOff, kind: Literal["svg", "png"]) -> bytes:
    key = (repr(shown), kind)
    if key not in DRAWN:
        DRAWN[key] = trade_off_picture(shown, kind)
    return DRAWN[key]


@pytest.fixture
def draw() -> Callable[[TradeOff, Literal["svg", "png"]], bytes]:
    if os.environ.get("CI") != "true":
        pytest.importorskip("matplotlib")
    return drawn_once


Draw = Callable[[TradeOff, Literal["svg", "png"]], bytes]


def words(picture: bytes) -> str:
    return " ".join(text.text or "" for text in ElementTree.fromstring(picture).iter(f"{SVG}text"))


def boxes(picture: bytes) -> Iterator[tuple[str, float, float, float, float]]:
    """Each text of an SVG with the place it takes, measured by matplotlib: left, top, right, bottom."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    for text in ElementTree.fromstring(picture).iter(f"{SVG}text"):
        size = float(text.attrib["font-size"].removesuffix("px"))
        weight = "bold" if text.get("font-weight") == "700" else "normal"
        face = FontProperties(family=["DejaVu Sans"], weight=weight, size=size)
        width = text_to_path.get_text_width_height_descent(text.text or "", face, False)[0]
        left = float(text.attrib["x"]) - width * {"start": 0.0, "middle": 0.5, "end": 1.0}[text.attrib["text-anchor"]]
        base = float(text.attrib["y"])
        yield text.text or "", left, base - 0.73 * size, left + width, base


@pytest.mark.parametrize("case", CASES)
def test_a_png_is_one(case: str, draw: Draw) -> None:
    """W3C Portable Network Graphics (2003), sections 5.2, 5.3 and 11.2.2: signature, chunks with CRC-32, header."""
    data = draw(CASES[case], "png")
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    place, kinds = 8, []
    while place < len(data):
        (length,) = struct.unpack(">I", data[place : place + 4])
        kinds.append(data[place + 4 : place + 8])
        (crc,) = struct.unpack(">I", data[place + 8 + length : place + 12 + length])
        assert crc == zlib.crc32(data[place + 4 : place + 8 + length])
        place += 12 + length
    assert (kinds[0], kinds[-1]) == (b"IHDR", b"IEND")
    assert b"tEXt" not in kinds
    assert struct.unpack(">I", data[16:20]) == (1800,)


@pytest.mark.parametrize("case", CASES)
def test_an_svg_says_what_it_shows(case: str, draw: Draw) -> None:
    """SVG 1.1, sections 5.4 (title, desc) and 6.4 (presentation attributes); no script, style or outside reference."""
    data = draw(CASES[case], "svg")
    root = ElementTree.fromstring(data)
    assert (root.tag, root.get("role")) == (f"{SVG}svg", "img")
    title, desc = root[0], root[1]
    assert (title.tag, desc.tag) == (f"{SVG}title", f"{SVG}desc")
    assert root.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"
    assert title.text == "What is the most citrus juice at each level of sweetness?"
    assert " ".join(CASES[case].summary.split()) in (desc.text or "")
    assert NOTE in (desc.text or "")
    assert not re.search(rb"<style|<script|style=|<!DOCTYPE|<!ENTITY|<image", data)
    assert all(value.startswith("#") for e in root.iter() for name, value in e.attrib.items() if name.endswith("href"))


@pytest.mark.parametrize("case", CASES)
def test_no_words_are_cut_off_small_or_covered(case: str, draw: Draw) -> None:
    data = draw(CASES[case], "svg")
    root = ElementTree.fromstring(data)
    width, height = (float(number) for number in root.attrib["viewBox"].split()[2:])
    assert all(float(text.attrib["font-size"][:-2]) >= 9.0 for text in root.iter(f"{SVG}text"))
    placed = list(boxes(data))
    assert len(placed) > 3
    for text, left, top, right, bottom in placed:
        assert left >= 5.0, text
        assert right <= width - 5.0, text
        assert top >= 5.0, text
        assert bottom <= height - 5.0, text
    for (one, *a), (other, *b) in combinations(placed, 2):
        assert not (a[0] < b[2] and a[2] > b[0] and a[1] < b[3] and a[3] > b[1]), (one, other)


@pytest.mark.parametrize("kind", ["svg", "png"])
def test_the_same_answer_gives_the_same_bytes_from_any_thread(kind: Literal["svg", "png"], draw: Draw) -> None:
    first = draw(CASES["orchard"], kind)
    with ThreadPoolExecutor(3) as pool:
        names = ["orchard", "one point", "orchard"]
        drawn = list(pool.map(lambda name: trade_off_picture(CASES[name], kind), names))
    assert (drawn[0], drawn[2]) == (first, first)
    assert drawn[1] != first


def test_the_settings_of_others_are_left_alone_and_not_used(draw: Draw) -> None:
    first = draw(CASES["two points"], "svg")
    import matplotlib

    with matplotlib.rc_context({"svg.hashsalt": "theirs", "lines.linewidth": 9.0}):
        assert trade_off_picture(CASES["two points"], "svg") == first
        assert matplotlib.rcParams["svg.hashsalt"] == "theirs"


def test_axes_are_labelled_in_words_with_units(draw: Draw) -> None:
    text = words(draw(CASES["orchard"], "svg"))
    assert "Single-strength juice equivalent of the citrus fruit, 21 CFR 101.30, %" in text
    assert "Sweetness as sucrose, by published relative sweetness, g/L" in text
    assert "Alcoholic strength by volume at 20 °C, % vol" in text
    assert "What is poured, kg" in text
    assert "What is poured in small amounts, g" in text
    assert "What is poured, lb" in words(draw(CASES["two points"], "svg"))


def test_what_is_special_is_told_in_words(draw: Draw) -> None:
    texts = [text for text, *_ in boxes(draw(CASES["orchard"], "svg"))]
    assert {"1 low end", "3 best", "6 knee", "12 high end", "9", "a", "b", "c"} <= set(texts)
    assert "36.7 g/L: the stock of acacia honey is used up: cherry concentrate brings the sugar." in texts
    assert "More sweetness would take the volume over the 30 L of the vessel." in texts
    assert any("titrate the lemon juice" in text.lower() for text in texts)
    assert NOTE in texts
    assert "The same at every point: dry base 23.9 kg, about 21735 mL." in texts


def test_a_price_carries_its_currency(draw: Draw) -> None:
    price = Axis("cost", "", "price of everything added, in the currency of the request", "least")
    text = words(draw(trade(many(3), y=price, currency="crowns"), "svg"))
    assert "What is the least cost at each level of sweetness?" in text
    assert "Price of everything added, in the currency of the request, crowns" in text
    assert "4.00 crowns" in text


def test_a_stop_stands_above_every_amount(draw: Draw) -> None:
    placed = list(boxes(draw(CASES["orchard"], "svg")))
    stop = next(bottom for text, _, _, _, bottom in placed if text.startswith("The ferment still falls"))
    assert any(text == "STOP" for text, *_ in placed)
    amounts = [top for text, _, top, _, _ in placed if re.search(r"poured|concentrate|\d+ mL|\d k?g\b", text)]
    assert len(amounts) > 10
    assert stop < min(amounts)
    assert "2 warnings, below:" in [text for text, *_ in placed]


def test_warnings_are_told_once_below_the_table(draw: Draw) -> None:
    placed = [(text, top) for text, _, top, *_ in boxes(draw(CASES["orchard"], "svg"))]
    told = [top for text, top in placed if text == "Pressure may burst a bottle."]
    table = next(top for text, top in placed if text == "Point")
    assert len(told) == 1
    assert told[0] > table


def test_a_warning_names_its_points(draw: Draw) -> None:
    sugar = Caution("sugar", "warning", "9.5 to 104 g/L of sugar may referment.", "reading", "points 2 and 3")
    cautions = (sugar, Caution("sugar", "warning", "Seal nothing.", "reading"))
    texts = [text for text, *_ in boxes(draw(trade(many(3), cautions=cautions), "svg"))]
    assert "Points 2 and 3: 9.5 to 104 g/L of sugar may referment." in texts
    assert "Seal nothing." in texts
    assert not any("more in the answer" in text for text in texts)


def test_more_warnings_than_have_room_are_counted(draw: Draw) -> None:
    long = "what may go wrong is told at such length that it takes two lines of the page, as most warnings do, since "
    cautions = [Caution(f"c{k}", "warning", f"{'abcdefg'[k]} {long}{long}", "reading") for k in range(7)]
    texts = [text for text, *_ in boxes(draw(trade(many(3), cautions=tuple(cautions)), "svg"))]
    after = texts[texts.index("Warnings") + 1 : texts.index("and 3 more in the answer")]
    assert [text for text in after if text != "–"][::2] == [text for text in texts if re.match("[a-d] what may", text)]
    assert len([text for text in after if text != "–"]) == 8


def test_ingredients_have_plain_names_and_the_table_tells_their_kind(draw: Draw) -> None:
    texts = {text for text, *_ in boxes(draw(CASES["orchard"], "svg"))}
    assert {"tart cherry concentrate", "acacia honey", "lemon juice (fresh)", "citric acid"} <= texts
    assert "concentrate (68)" in " ".join(texts)
    both = [point(20.0 + k, 4.0, [("water_tap", 100.0 + k), ("water_deionised", 200.0 - k)]) for k in range(3)]
    assert {"water tap", "water deionised"} <= {text for text, *_ in boxes(draw(trade(both), "svg"))}
    assert "_" not in " ".join(texts)


def test_the_table_shows_points_between_the_marked_ones(draw: Draw) -> None:
    texts = [text for text, *_ in boxes(draw(CASES["25 points"], "svg"))]
    assert "At the marked points, and at some between" in texts
    columns = " ".join(texts[texts.index("Point") + 1 : texts.index("Sweetness")])
    assert columns == "1 low end, best 7 13 knee 19 22 25 high end"
    assert "Amounts are worked out at the points; lines join them." in texts


@pytest.mark.parametrize(
    ("case", "said"),
    [
        ("no points", "the targets cannot all be met together"),
        ("no points", "Gravity of at most 1.010 and 4 kg of honey cannot hold together in 30 L."),
        ("no points", "volume: at most 28 L"),
        ("nothing found", "no plan was found, and it is not proved that there is none"),
    ],
)
def test_without_points_the_picture_says_why(case: str, said: str, draw: Draw) -> None:
    data = draw(CASES[case], "svg")
    assert said in words(data)
    assert b'id="axes_1"' not in data


def test_one_point_is_a_mark_with_its_amounts(draw: Draw) -> None:
    data = draw(CASES["one point"], "svg")
    assert {"1 low end", "At the point", "honey", "dry base"} <= {text for text, *_ in boxes(data)}
    assert b"axes_2" not in data


def test_what_is_not_proved_best_is_hollow(draw: Draw) -> None:
    def hollow(data: bytes) -> int:
        return sum(use.get("fill") == "#ffffff" for use in ElementTree.fromstring(data).iter(f"{SVG}use"))

    some, none = draw(CASES["orchard"], "svg"), draw(CASES["two points"], "svg")
    assert ("hollow: best found" in words(some), hollow(some)) == (True, 2)  # the ninth point, and the key
    assert ("hollow" in words(none), hollow(none)) == (False, 0)


def test_the_interval_is_drawn_only_where_it_is_known(draw: Draw) -> None:
    assert "90 % interval" not in words(draw(CASES["no interval"], "svg"))
    points = [*many(6)[:3], *many(6, band=None)[3:]]
    assert "grey: 90 % interval" in words(draw(trade(points), "svg"))
    assert len(bands(draw(trade(points), "svg"))["interval"]) == 1
    assert bands(draw(CASES["no interval"], "svg")) == {}
    apart = [p for k, p in enumerate(many(7)) if k != 3]
    apart.insert(3, many(7, band=None)[3])
    assert len(bands(draw(trade(apart), "svg"))["interval"]) == 2


def bands(picture: bytes) -> dict[str, list[list[tuple[float, float]]]]:
    """The corners of each band of intervals, by the panel that it stands in."""
    found: dict[str, list[list[tuple[float, float]]]] = {}
    for group in ElementTree.fromstring(picture).iter(f"{SVG}g"):
        if group.get("id") in ("interval", "also-interval"):
            for path, use in zip(group.iter(f"{SVG}path"), group.iter(f"{SVG}use"), strict=True):
                corners = re.findall(r"([-\d.]+) ([-\d.]+)", path.get("d") or "")
                x0, y0 = float(use.get("x", 0.0)), float(use.get("y", 0.0))
                found.setdefault(str(group.get("id")), []).append([(x0 + float(x), y0 + float(y)) for x, y in corners])
    return found


def test_the_band_follows_the_curve_where_it_bends_between_two_points(draw: Draw) -> None:
    pair = [point(20.0, 1.0, [("honey", 900.0)], band=0.1), point(40.0, 3.0, [("honey", 990.0)], band=0.3)]
    bent = trade(pair, breakpoints=(Breakpoint(30.0, 4.0, "From here honey replaces water."),))
    ((plain,), (corners,)) = (bands(draw(shown, "svg"))["interval"] for shown in (trade(pair), bent))
    across = {round(x, 1) for x, _ in corners}
    assert (len({round(x, 1) for x, _ in plain}), len(across)) == (2, 3)
    middle = sorted(across)[1]
    upper, lower = sorted({y for x, y in corners if round(x, 1) == middle})
    left_upper, left_lower = sorted({y for x, y in corners if round(x, 1) == min(across)})
    # half way between half widths of 0.1 and 0.3: twice as wide as the first
    assert lower - upper == pytest.approx(2.0 * (left_lower - left_upper), rel=1e-3)


def test_every_band_is_inside_its_panel(draw: Draw) -> None:
    picture = draw(CASES["orchard"], "svg")
    panels = [next(clip.iter(f"{SVG}rect")) for clip in ElementTree.fromstring(picture).iter(f"{SVG}clipPath")]
    found = bands(picture)
    assert set(found) == {"interval", "also-interval"}
    for corners in (corners for every in found.values() for corners in every):
        ys = [y for _, y in corners]
        inside = [
            float(p.attrib["y"]) < min(ys) and max(ys) < float(p.attrib["y"]) + float(p.attrib["height"])
            for p in panels
        ]
        assert any(inside)


def test_a_band_that_hides_behind_its_line_is_told_so(draw: Draw) -> None:
    narrow = words(draw(trade(many(6, band=0.001)), "svg"))
    assert "90 % interval: no wider than the line" in narrow
    assert "grey: 90 % interval" not in narrow


def test_the_edge_of_a_band_is_seen_on_white() -> None:
    """W3C, Web Content Accessibility Guidelines 2.1 (2018), 1.4.11: parts of graphics have a contrast of 3:1 at least;
    relative luminance as defined there."""

    def luminance(colour: str) -> float:
        parts = [int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
        r, g, b = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    assert 1.05 / (luminance(BAND_EDGE) + 0.05) >= 3.0
    # the curve, too, on the band
    assert (luminance(BAND) + 0.05) / (luminance(INK) + 0.05) >= 3.0


def test_the_table_tells_intervals_in_brackets(draw: Draw) -> None:
    texts = [text for text, *_ in boxes(draw(CASES["orchard"], "svg"))]
    start = texts.index("Sweetness")
    assert texts[start + 1 : start + 3] == ["24.0 g/L", "(23.5 to 24.7)"]
    start = texts.index("Citrus juice")
    assert texts[start + 1 : start + 3] == ["4.2 %", "(4.1 to 4.2)"]
    start = texts.index("Strength")
    assert texts[start + 1 : start + 3] == ["6.90 % vol", "(6.70 to 7.00)"]
    assert any(text.startswith("In brackets the 90 % interval") for text in texts)
    assert not any("In brackets" in text for text, *_ in boxes(draw(CASES["no interval"], "svg")))


def test_odd_names_stay_words(draw: Draw) -> None:
    text = words(draw(CASES["long names"], "svg"))
    assert "$x 1$ <b>&amp; a b" in text
    assert "…" in text


def drawn_lines(data: bytes) -> list[tuple[str | None, str | None]]:
    """Dashes and colour of each line of amounts."""
    root = ElementTree.fromstring(data)
    groups = [group for group in root.iter(f"{SVG}g") if (group.get("id") or "").startswith("poured-")]
    paths = [next(group.iter(f"{SVG}path")) for group in groups]
    return [(path.get("stroke-dasharray"), path.get("stroke")) for path in paths]


def test_a_print_in_grey_tells_the_lines_apart(draw: Draw) -> None:
    lines = drawn_lines(draw(CASES["60 points"], "svg"))
    assert len(lines) == 7
    assert len({dashes for dashes, _ in lines}) == 7
    assert len({marker for _, _, marker in LINES}) == 7


def test_the_lines_have_the_colours_that_colour_blind_people_tell_apart() -> None:
    """M. Okabe and K. Ito (2008), "Color Universal Design": the eight colours as RGB (from memory, unverified)."""
    published = {
        (0, 0, 0),
        (230, 159, 0),
        (86, 180, 233),
        (0, 158, 115),
        (240, 228, 66),
        (0, 114, 178),
        (213, 94, 0),
        (204, 121, 167),
    }
    ours = {tuple(bytes.fromhex(colour[1:])) for colour, _, _ in LINES}
    assert ours == published - {(240, 228, 66)}


def test_a_server_starts_without_the_drawing_library() -> None:
    code = "import sys, service.api.main, service.api.pictures; print({'matplotlib', 'numpy'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"


def test_pyplot_is_never_used(draw: Draw) -> None:
    draw(CASES["one point"], "png")
    assert "matplotlib.pyplot" not in sys.modules


def test_without_the_library_the_refusal_names_the_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    """RFC 9110, section 15.6.2: 501, the server lacks what the request needs."""
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    with pytest.raises(MissingExtraError, match=r"back-sweetening-solver\[plots\]") as refused:
        trade_off_picture(CASES["two points"], "svg")
    scope: dict[str, Any] = {"type": "http", "path": "/v1/trade-offs.svg"}
    problem = problem_from_error(scope, refused.value)
    assert (problem["status"], problem["type"]) == (501, "/problems/not-installed")
    assert "[plots]" in problem["detail"]


def test_names_at_the_ends_of_lines_stay_beside_their_panel(draw: Draw) -> None:
    placed = list(boxes(draw(CASES["ends at the top"], "svg")))
    header = next(bottom for text, _, _, _, bottom in placed if text == "What is poured, g")
    below = next(top for text, _, top, _, _ in placed if text.startswith("At the first"))
    names = [(top, bottom) for text, left, top, _, bottom in placed if text.startswith("part") and left > 400.0]
    assert len(names) == 6
    assert all(header < top and bottom < below for top, bottom in names)


def test_the_document_says_that_a_server_may_be_unable_to_draw() -> None:
    """RFC 9457, section 3: a problem is `application/problem+json`; of all paths only those of an extra answer 501."""
    document = app().get("/v1/openapi.json").json()
    named = {path for path, item in document["paths"].items() if any("501" in o["responses"] for o in item.values())}
    assert named == {"/v1/trade-offs.svg", "/v1/trade-offs.png", "/v1/workbook.xlsx"}
    reference = document["paths"]["/v1/trade-offs.svg"]["post"]["responses"]["501"]["$ref"]
    assert "application/problem+json" in document["components"]["responses"][reference.rsplit("/", 1)[1]]["content"]
    validate(document)
