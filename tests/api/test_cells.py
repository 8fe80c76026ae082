"""One number for a spreadsheet cell: nothing but the number, and a status that IFERROR understands."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

import pytest

from service.api.cell_questions import QUESTIONS
from service.api.question import number_text
from tests.api.real import app, forecast, plan

EXAMPLES = [f"/v1/cell/{question.name}?{question.example}" for question in QUESTIONS]
HONEY: dict[str, Any] = {
    "ingredient": "honey",
    "volume": "9.5L",
    "gravity": 0.9985,
    "abv_percent": 7.2,
    "target": 1.016,
    "unit": "kg",
}


def cell(question: str, **query: Any) -> float:
    response = app().get(f"/v1/cell/{question}", params=query)
    assert response.status_code == 200, response.text
    return float(response.text)


def refused(question: str, **query: Any) -> dict[str, str]:
    response = app().get(f"/v1/cell/{question}", params=query)
    assert response.status_code == 422, response.text
    assert response.headers["content-type"] == "application/problem+json"
    return {error["pointer"]: error["detail"] for error in response.json()["errors"]}


def honey(**change: Any) -> dict[str, Any]:
    return {name: value for name, value in {**HONEY, **change}.items() if value is not None}


@pytest.mark.parametrize("path", EXAMPLES)
def test_a_cell_holds_the_number_and_nothing_else(path: str) -> None:
    response = app().get(path)
    assert response.status_code == 200
    assert response.headers["content-type"].startswith("text/plain")
    assert response.text == response.text.strip()
    assert float(response.text) > 0.0
    assert set(response.text) <= set("0123456789.-")
    assert int(response.headers["content-length"]) == len(response.content)


@pytest.mark.parametrize(
    "path",
    [
        *EXAMPLES,
        f"{EXAMPLES[0]}&explain=1",
        f"/v1/cell/amount-for-gravity?{urlencode({**HONEY, 'target': '1,016'})}",
        "/v1/cell/nothing",
    ],
)
def test_head_is_answered_as_get(path: str) -> None:
    get, head = app().get(path), app().head(path)
    assert head.status_code == get.status_code
    assert head.content == b""
    for response in (get, head):
        del response.headers["x-request-id"]
    if get.status_code == 200:
        assert dict(head.headers) == dict(get.headers)
    else:  # a refusal holds the id of its request, which has the same length
        assert head.headers["content-type"] == get.headers["content-type"]


@pytest.mark.parametrize("path", EXAMPLES)
def test_a_cell_is_kept_by_its_tag(path: str) -> None:
    first = app().get(path)
    again = app().get(path, headers={"If-None-Match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert "max-age" in first.headers["cache-control"]


@pytest.mark.parametrize("path", EXAMPLES)
def test_explained_it_is_a_sentence_with_cautions(path: str) -> None:
    text = app().get(f"{path}&explain=1").text
    assert any(f". {level}: " in text for level in ("STOP", "WARNING", "NOTE"))
    assert "follow local law and licensed practice." in text
    assert "\n" not in text
    number = float(app().get(path).text)
    first = next(float(word) for word in text.split() if word.replace(".", "", 1).isdigit())
    assert first == pytest.approx(number, abs=0.06)


@pytest.mark.parametrize("query", [honey(target="1,016"), honey(gravity="0,9985"), honey(abv_percent="7,2")])
def test_a_decimal_comma_is_refused_with_the_point(query: dict[str, Any]) -> None:
    ((pointer, detail),) = refused("amount-for-gravity", **query).items()
    name = pointer.removeprefix("/")
    assert detail == f"Use a decimal point: {query[name].replace(',', '.')}."


REFUSED: list[tuple[str, dict[str, Any], str, str]] = [
    ("amount-for-gravity", honey(ingredient="honney"), "/ingredient", "honey_average"),
    ("amount-for-gravity", honey(target=0.99), "/target", "the nearest is 0.9985"),
    ("amount-for-gravity", honey(target=1016), "/target", "Did you mean"),
    ("amount-for-gravity", honey(target=None), "/target", "needed"),
    ("amount-for-gravity", honey(gravity=998.5), "/gravity", "Did you mean"),
    ("amount-for-gravity", honey(volume="9.5"), "/volume", "the unit is missing"),
    ("amount-for-gravity", honey(volume="9,5L"), "/volume", "decimal point"),
    ("amount-for-gravity", honey(abv_percent=None), "/abv_percent", "original_gravity"),
    ("amount-for-gravity", honey(ingredient="sugar_white", unit="mL"), "/unit", "weigh it"),
    ("amount-for-gravity", honey(calibrated_at="60F"), "/sample_temperature", "temperature of the sample"),
    ("amount-for-gravity", honey(moisture_percent=17, brix=80), "/moisture_percent", "give one"),
    ("amount-for-gravity", honey(colour="gold"), "/colour", "There is no query parameter"),
    ("amount-for-gravity", honey(explain=2), "/explain", "1 or less"),
    ("gravity-after", honey(target=None, unit=None, amount="500"), "/amount", "unit is missing"),
    ("brix-from-sg", {"sg": 1048}, "/sg", "points"),
    ("sg-from-brix", {"brix": 120}, "/brix", "0 to 85"),
    ("extract-from-gravity-and-abv", {"gravity": 0.95, "abv_percent": 8}, "/gravity", "too low"),
    ("gravity-from-reading", {"reading": 1.01, "sample_temperature": "75"}, "/sample_temperature", "unit is missing"),
    ("gravity-from-reading", {"reading": 1.01, "sample_temperature": "90C"}, "/sample_temperature", "0–40 °C"),
    ("abv-from-gravities", {"original_gravity": 0.99, "final_gravity": 1.0}, "/original_gravity", "between 1.000"),
    ("volume-from-mass", {"ingredient": "sugar_white", "mass": "1kg"}, "/ingredient", "weigh it"),
    ("mass-from-volume", {"ingredient": "honey", "volume": "1kg"}, "/volume", "a volume is needed"),
    ("mass-from-volume", {"ingredient": "honey", "volume": "8oz"}, "/volume", "fl oz"),
]  # fmt: skip


@pytest.mark.parametrize(("question", "query", "pointer", "words"), REFUSED)
def test_what_is_no_number_has_a_status_of_400_or_more(
    question: str, query: dict[str, Any], pointer: str, words: str
) -> None:
    (detail,) = refused(question, **query).values()
    assert words in detail, pointer


@pytest.mark.parametrize(("question", "query", "pointer", "words"), REFUSED)
def test_a_refusal_points_at_the_parameter(question: str, query: dict[str, Any], pointer: str, words: str) -> None:
    assert list(refused(question, **query)) == [pointer], words


def test_an_unknown_unit_is_refused_once() -> None:
    response = app().get("/v1/cell/amount-for-gravity", params=honey(unit="stone"))
    (error,) = response.json()["errors"]
    assert " kg," in error["detail"]
    assert " mL," in error["detail"]


def test_an_unknown_question_is_not_found() -> None:
    assert app().get("/v1/cell/meaning-of-life").status_code == 404


def test_the_list_tells_every_question() -> None:
    listed = app().get("/v1/cell").json()["cells"]
    assert [c["question"] for c in listed] == [q.name for q in QUESTIONS]
    for question in listed:
        assert set(question["needed"]) <= set(question["parameters"])
        assert question["meaning"].endswith((".", "?"))
        assert app().get(question["example"]).status_code == 200


# Ends of intervals.

AFTER = honey(target=None, unit=None, amount="500g")
SOUR = {**AFTER, "ingredient": "lemon_juice", "amount": "300mL", "titratable_acidity": "4.8 g/L tartaric", "ph": 3.5}


@pytest.mark.parametrize(
    ("question", "query", "property"),
    [("gravity-after", AFTER, "gravity"), ("abv-after", AFTER, "abv_percent"), ("ph-after", SOUR, "ph")],
)
def test_a_bound_is_the_end_of_the_forecast(question: str, query: dict[str, Any], property: str) -> None:
    extra = {name: query[name] for name in ("titratable_acidity", "ph") if name in query}
    amount = query["amount"].replace("mL", " mL").replace("0g", "0 g")
    recipe = {
        "name": "r",
        "lots": [_lot(**extra)],
        "additions": [{"ingredient": query["ingredient"], "amount": amount}],
    }
    predicted = forecast({"recipes": [recipe]})["recipes"][0]["predicted"][property]
    assert cell(question, **query) == predicted["value"]
    assert cell(question, **query, bound="low") == predicted["low"] < predicted["value"]
    assert cell(question, **query, bound="high") == predicted["high"] > predicted["value"]


@pytest.mark.parametrize("acid", ["tartaric", "citric", "meq"])
def test_the_bounds_of_an_acidity_are_in_the_unit_asked_for(acid: str) -> None:
    """By formula mass (IUPAC atomic masses): 75.04 g/eq of tartaric acid, 64.04 of citric."""
    per_tartaric = {"tartaric": 1.0, "citric": 64.04 / 75.04, "meq": 1000.0 / 75.04}[acid]
    for bound in ("low", "high"):
        plain = cell("acidity-after", **SOUR, bound=bound)
        assert cell("acidity-after", **SOUR, acid=acid, bound=bound) == pytest.approx(plain * per_tartaric, rel=2e-4)
    low, value, high = (
        cell("acidity-after", **SOUR, acid=acid, **b) for b in ({"bound": "low"}, {}, {"bound": "high"})
    )
    assert low < value < high


TARGETS: list[tuple[str, str, dict[str, Any], float]] = [
    ("gravity", "honey", {}, 1.016),
    ("gravity", "water", {"gravity": 1.020}, 1.012),
    ("ph", "lemon_juice", {"titratable_acidity": "4.8 g/L tartaric", "ph": 3.5}, 3.2),
    ("ph", "potassium_bicarbonate", {"titratable_acidity": "4.8 g/L tartaric", "ph": 3.2}, 3.6),
]


@pytest.mark.parametrize(("name", "ingredient", "lot", "target"), TARGETS)
def test_the_bounds_of_an_amount_put_the_target_at_the_ends_of_the_drink(
    name: str, ingredient: str, lot: dict[str, Any], target: float
) -> None:
    query = honey(target=None, unit=None, ingredient=ingredient, **lot)
    few, usual, many = (
        cell(f"amount-for-{name}", **query, target=target, **bound)
        for bound in ({"bound": "low"}, {}, {"bound": "high"})
    )
    assert few < usual < many
    rises = cell(f"{name}-after", **query, amount=f"{many} g") > cell(f"{name}-after", **query, amount=f"{few} g")
    # with the less of it only the farther end of the drink is at the target, with the more only the nearer one
    ends = ("high", "low") if rises else ("low", "high")
    for grams, bound in zip((few, many), ends, strict=True):
        at_end = cell(f"{name}-after", **query, amount=f"{grams} g", bound=bound)
        assert at_end == pytest.approx(target, abs=0.0051 if name == "ph" else 2e-5)


def test_an_amount_may_be_nothing_or_without_end() -> None:
    close = honey(target=0.9990, unit="g")
    assert cell("amount-for-gravity", **close) > 0.0
    assert cell("amount-for-gravity", **close, bound="low") == 0.0
    # honey has a gravity of its own, which no amount of it surpasses
    thick = honey(ingredient="orange_juice_fresh", target=1.0432, unit="g")
    assert cell("amount-for-gravity", **thick) > 0.0
    words = refused("amount-for-gravity", **thick, bound="high")
    assert list(words) == ["/bound"]
    assert "no high end" in words["/bound"]
    assert " or more" in app().get("/v1/cell/amount-for-gravity", params={**thick, "explain": 1}).text


def test_better_readings_make_narrower_bounds() -> None:
    def width(**more: Any) -> float:
        return cell("gravity-after", **AFTER, bound="high", **more) - cell(
            "gravity-after", **AFTER, bound="low", **more
        )

    assert width(hydrometer_error=0.0) < width() < width(hydrometer_error=0.003)
    # 90 % of a normal law lie within 1.645 standard deviations of 0.003, thinned by the honey
    assert width(hydrometer_error=0.003) == pytest.approx(2.0 * 1.645 * 0.003, rel=0.1)
    assert cell("gravity-after", **AFTER) == cell("gravity-after", **AFTER, hydrometer_error=0.003)
    change = {**AFTER, "volume": "9.5 L ± 0.01 L"}
    assert cell("gravity-after", **change) == cell("gravity-after", **AFTER)


def test_a_strength_has_the_spread_of_published_yields_and_of_both_readings() -> None:
    """A point of gravity is about 0.13 % vol (the usual factor of 131.25: common practice, no source), and 1.645
    standard deviations of two readings good to 0.001 are 0.30 % vol."""
    query = {"original_gravity": 1.054, "final_gravity": 0.998}
    low, value, high = (cell("abv-from-gravities", **query, **b) for b in ({"bound": "low"}, {}, {"bound": "high"}))
    assert value - low == pytest.approx(1.645 * 2.0**0.5 * 0.001 * 131.25, rel=0.1)
    assert high - value >= value - low
    text = app().get("/v1/cell/abv-from-gravities", params={**query, "bound": "low", "explain": 1}).text
    assert text.startswith(f"{number_text(low)} is the lower end of what the strength may be, by published yields and ")
    assert f" may be {low:.2f} to {high:.2f}." in text


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.name)
def test_a_bound_is_given_or_refused_with_words(question: Any) -> None:
    (listed,) = (c for c in app().get("/v1/cell").json()["cells"] if c["question"] == question.name)
    path = f"/v1/cell/{question.name}?{question.example}"
    numbers = []
    for bound in ("low", "high"):
        response = app().get(f"{path}&bound={bound}")
        if listed["bound"] is None:
            assert response.status_code == 422
            ((pointer, detail),) = [(e["pointer"], e["detail"]) for e in response.json()["errors"]]
            assert pointer == "/bound"
            assert "interval" in detail or "careful side" in detail
        else:
            numbers.append(float(response.text))
            text = app().get(f"{path}&bound={bound}&explain=1").text
            assert text.startswith(f"{response.text} is the {'lower' if bound == 'low' else 'upper'} end of ")
    assert ("bound" in listed["parameters"]) is (listed["bound"] is not None) is bool(numbers)
    if numbers:
        assert numbers[0] < float(app().get(path).text) < numbers[1]
    (error,) = app().get(f"{path}&bound=middle").json()["errors"]
    assert error["pointer"] == "/bound"
    assert "low or high" in error["detail"]


def test_explained_an_amount_tells_what_it_may_take() -> None:
    text = app().get("/v1/cell/amount-for-gravity", params={**HONEY, "explain": 1}).text
    low, high = (cell("amount-for-gravity", **HONEY, bound=bound) for bound in ("low", "high"))
    assert f"It may take {low:.4f}".rstrip("0") in text
    assert f"to {high:.4f}".rstrip("0") in text


# The same numbers as over JSON.


def _lot(**change: Any) -> dict[str, Any]:
    return {"name": "lot", "volume": "9.5 L", "gravity": 0.9985, "abv_percent": 7.2, **change}


def test_the_amount_is_that_of_the_plan() -> None:
    answer = plan({"lots": [_lot()], "additions": [{"ingredient": "honey"}], "targets": {"gravity": 1.016}})
    (mass_g,) = (a["mass_g"] for a in answer["amounts"] if a["kind"] == "addition")
    assert cell("amount-for-gravity", **HONEY) == pytest.approx(mass_g / 1000.0, rel=2e-6)
    assert cell("amount-for-gravity", **honey(unit=None)) == pytest.approx(mass_g, rel=2e-6)
    assert cell("amount-for-gravity", **honey(unit="lb")) == pytest.approx(mass_g / 453.59237, rel=2e-6)
    (volume_ml,) = (a["volume_ml"] for a in answer["amounts"] if a["kind"] == "addition")
    assert cell("amount-for-gravity", **honey(unit="mL")) == pytest.approx(volume_ml, rel=1e-5)
    assert cell("amount-for-gravity", **honey(unit="fl oz")) == cell("amount-for-gravity", **honey(unit="floz"))


def test_the_blend_is_that_of_the_forecast() -> None:
    recipe = {"name": "r", "lots": [_lot()], "additions": [{"ingredient": "honey", "amount": "500 g"}]}
    predicted = forecast({"recipes": [recipe]})["recipes"][0]["predicted"]
    query = honey(target=None, unit=None, amount="500g")
    assert cell("gravity-after", **query) == predicted["gravity"]["value"]
    assert cell("abv-after", **query) == predicted["abv_percent"]["value"]


def test_a_lot_in_a_url_takes_what_a_lot_takes() -> None:
    lot = _lot(original_gravity=1.054, titratable_acidity="5 g/L tartaric", residual_sugar="3 g/L")
    del lot["abv_percent"]
    lot["class"] = "cider_perry"
    answer = plan({"lots": [lot], "additions": [{"ingredient": "sugar"}], "targets": {"gravity": 1.01}})
    (mass_g,) = (a["mass_g"] for a in answer["amounts"] if a["kind"] == "addition")
    query = {name: lot[name] for name in ("original_gravity", "titratable_acidity", "residual_sugar", "class")}
    found = cell("amount-for-gravity", **honey(ingredient="sugar", abv_percent=None, target=1.01, unit="g"), **query)
    assert found == pytest.approx(mass_g, rel=2e-6)


def test_readings_are_corrected_as_in_a_lot() -> None:
    reading = {"reading": 1.012, "sample_temperature": "75 F", "calibrated_at": "60 F"}
    recipe = {"name": "r", "lots": [{"name": "l", "volume": "1 L", "gravity": reading, "abv_percent": 7.0}]}
    value = forecast({"recipes": [recipe]})["recipes"][0]["predicted"]["gravity"]["value"]
    query = {"reading": 1.012, "sample_temperature": "75F", "calibrated_at": "60F", "abv_percent": 7}
    assert cell("gravity-from-reading", **query) == pytest.approx(value, abs=1e-5)
    recipe["lots"] = [{"name": "l", "volume": "1 L", "gravity": 1.0, "original_gravity": 1.054}]
    strength = forecast({"recipes": [recipe]})["recipes"][0]["predicted"]["abv_percent"]["value"]
    assert cell("abv-from-gravities", original_gravity=1.054, final_gravity=1.0) == pytest.approx(strength, abs=1e-3)


def test_scales_against_their_tables() -> None:
    # ICUMSA SPS-4: 11.8 °Bx is SG 1.04749; and there and back
    assert cell("sg-from-brix", brix=11.8) == pytest.approx(1.04749, abs=2e-5)
    assert cell("brix-from-sg", sg=cell("sg-from-brix", brix=20)) == pytest.approx(20.0, abs=1e-4)
    # OIV-MA-AS2-03B: 0.9945 at 11.5 % vol holds 25.4 g/L
    assert cell("extract-from-gravity-and-abv", gravity=0.9945, abv_percent=11.5) == pytest.approx(25.36, abs=0.01)
    grams = cell("mass-from-volume", ingredient="honey", volume="1L")
    assert cell("volume-from-mass", ingredient="honey", mass=f"{grams}g") == pytest.approx(1000.0, rel=1e-6)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.5, "0.5"),
        (1.0, "1"),
        (1234567.8, "1234568"),
        (1.2e-7, "0.00000012"),
        (0.0, "0"),
        (12345678.0, "12345678"),
        (1e7, "10000000"),
    ],
)
def test_numbers_have_no_exponent(value: float, text: str) -> None:
    assert number_text(value) == text
