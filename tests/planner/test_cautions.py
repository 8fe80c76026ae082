"""Every caution: when it is given and when not, how it is worded, and where it stands in an answer."""

from __future__ import annotations

import ast
import csv
import io
import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import service
from service.api.command import table
from tests.api.real import PATHS, app, codes, examples, forecast, plan, post, worked

LOT = {
    "name": "base",
    "volume": "10 L",
    "gravity": 0.998,
    "abv_percent": 8.0,
    "titratable_acidity": "5 g/L tartaric",
    "degassed": True,
}
DRY = {**LOT, "residual_sugar": "1 g/L"}


def _asked(*additions: dict[str, Any], lot: dict[str, Any] = LOT, **more: Any) -> dict[str, Any]:
    """A request whose every amount is given, so that it always has an answer."""
    return {"lots": [lot], "additions": list(additions), "targets": {"gravity": {"min": 0.9}}, **more}


def _some(ingredient: str, amount: str = "100 g", **more: Any) -> dict[str, Any]:
    return {"ingredient": ingredient, "amount": amount, **more}


def _own(name: str, components: dict[str, float], **more: Any) -> dict[str, Any]:
    composition = {"name": name, "components_g_per_100g": components, **more.pop("composition", {})}
    return {"composition": composition, "amount": "100 g", **more}


def _bottled(*hurdles: str, **more: Any) -> dict[str, Any]:
    return {"intended": {"container": "bottle", "hurdles": list(hurdles), **more}}


HONEY = _some("honey", "500 g")
LEMON = "lemon_juice_fresh"

# code: (level, a request that raises it, the like of it that does not)
CASES: dict[str, tuple[str, dict[str, Any], dict[str, Any]]] = {
    "refermentable_sugar_no_hurdle": ("stop", _asked(HONEY, **_bottled()), _asked(lot=DRY, **_bottled())),
    "hurdle_is_not_proof": (
        "warning",
        _asked(HONEY, **_bottled("sulfite", "sorbate")),
        _asked(lot=DRY, **_bottled("sulfite", "sorbate")),
    ),
    "hurdle_does_not_hold": (
        "stop",
        _asked(HONEY, **_bottled("cold", "sulfite")),
        _asked(HONEY, **_bottled("cold", "pasteurised")),
    ),
    "ferment_must_have_ended": ("warning", _asked(HONEY), _asked(_some("water"))),
    "residual_sugar_unknown": ("warning", _asked(lot={**LOT, "gravity": 0.994}), _asked(lot=DRY)),
    "sulfite_sensitivity": ("note", _asked(**_bottled("sulfite")), _asked(**_bottled("pasteurised"))),
    "sorbate_without_sulfite": (
        "stop",
        _asked(HONEY, **_bottled("sorbate")),
        _asked(HONEY, **_bottled("sulfite", "sorbate")),
    ),
    "sorbate_outside_published_table": (
        "warning",
        _asked(HONEY, **_bottled("sulfite", "sorbate")),
        _asked(HONEY, lot={**LOT, "abv_percent": 12.0}, **_bottled("sulfite", "sorbate")),
    ),
    "warm_storage": (
        "note",
        _asked(HONEY, **_bottled("pasteurised", storage_temperature="30 C")),
        _asked(HONEY, **_bottled("pasteurised", storage_temperature="18 C")),
    ),
    "raw_juice_after_stabilising": (
        "stop",
        _asked(_some(LEMON, treatment="raw"), **_bottled("sulfite")),
        _asked(_some(LEMON, treatment="pasteurised"), **_bottled("sulfite")),
    ),
    "raw_juice": (
        "warning",
        _asked(_some(LEMON, treatment="raw")),
        _asked(_some(LEMON, treatment="sterile_filtered")),
    ),
    "grapefruit_and_medicines": ("warning", _asked(_some("grapefruit_juice_fresh")), _asked(_some(LEMON))),
    "acid_handling": ("note", _asked(_some("citric_acid", "10 g")), _asked(_some(LEMON))),
    "carbonate_foams": ("warning", _asked(_some("potassium_bicarbonate", "10 g")), _asked(_some("water"))),
    "calcium_drops_citrus_cloud": (
        "warning",
        _asked(_some("calcium_carbonate", "5 g")),
        _asked(_some("potassium_bicarbonate", "10 g")),
    ),
    "more_carbonate_than_acid": (
        "stop",
        _asked(_some("potassium_bicarbonate", "200 g")),
        _asked(_some("potassium_bicarbonate", "10 g")),
    ),
    "spirit_rules": ("note", _asked(_some("neutral_spirit_96")), _asked(HONEY)),
    "acidity_of_ingredient_unknown": ("warning", _asked(_some("molasses")), _asked(HONEY)),
    "vessel_too_small": (
        "stop",
        _asked(HONEY, intended={"vessel": "10.2 L"}),
        _asked(HONEY, intended={"vessel": "11 L"}),
    ),
    "vessel_may_be_too_small": (
        "warning",
        _asked(HONEY, intended={"vessel": "10.5 L"}),
        _asked(HONEY, intended={"vessel": "10.7 L"}),
    ),
    "sugar_may_referment": (
        "warning",
        _asked(lot={**DRY, "residual_sugar": "1.8 g/L ± 0.3 g/L"}),
        _asked(lot={**DRY, "residual_sugar": "1.8 g/L ± 0.1 g/L"}),
    ),
    "little_room_for_foam": (
        "warning",
        _asked(HONEY, intended={"vessel": "11 L"}),
        _asked(HONEY, intended={"vessel": "12 L"}),
    ),
    "volume_rule_unconfirmed": (
        "warning",
        _asked(HONEY, lot={**LOT, "gravity": 0.98, "abv_percent": 30.0}),
        _asked(HONEY, lot={**LOT, "gravity": 0.985, "abv_percent": 20.0}),
    ),
    "density_beyond_sugar_data": ("note", _asked(_some("lactic_acid_88", "10 g")), _asked(HONEY)),
    "foam_over": ("warning", _asked(HONEY, lot={**LOT, "degassed": False}), _asked(HONEY)),
    "lees_in_the_volume": ("warning", _asked(HONEY, lot={**LOT, "on_lees": True}), _asked(HONEY)),
    "ph_above_4_6": ("stop", _asked(HONEY, lot={**LOT, "ph": 4.7}), _asked(HONEY, lot={**LOT, "ph": 4.5})),
    "ph_high": ("warning", _asked(HONEY, lot={**LOT, "ph": 4.2}), _asked(HONEY, lot={**LOT, "ph": 3.9})),
    "ph_may_be_above_4_6": ("warning", _asked(HONEY, lot={**LOT, "ph": 4.56}), _asked(HONEY, lot={**LOT, "ph": 4.2})),
    "ph_very_low": (
        "warning",
        _asked(_some("citric_acid", "250 g")),
        _asked(_some("citric_acid", "25 g")),
    ),
    "beyond_the_activity_formula": (
        "warning",
        _asked(_some("citric_acid", "1.2 kg"), _some("potassium_bicarbonate", "600 g")),
        _asked(_some("citric_acid", "25 g")),
    ),
    "ph_is_indicative": (
        "note",
        _asked(lot={k: v for k, v in LOT.items() if k != "titratable_acidity"}),
        _asked(lot={**LOT, "ph": 3.5}),
    ),
    "gas_counts_as_acid": ("warning", _asked(HONEY, lot={**LOT, "degassed": False}), _asked(HONEY)),
    "split_the_dose": ("note", _asked(_some("citric_acid", "10 g")), _asked(_some(LEMON))),
    "tartrate_may_drop": ("note", _asked(_some("tartaric_acid", "20 g")), _asked(_some("malic_acid", "20 g"))),
    "alcohol": ("note", _asked(HONEY), _asked(HONEY, lot={**LOT, "gravity": 1.04, "abv_percent": 0.0})),
    "no_step_within_limits": (
        "warning",
        _asked({"ingredient": "citric_acid", "min": "3 g", "max": "7 g"}, rounding="scale",
               instruments={"scale": {"step": "10 g"}}),
        _asked({"ingredient": "citric_acid", "min": "3 g", "max": "7 g"}, rounding="scale",
               instruments={"scale": {"step": "5 g"}}),
    ),
    "amount_without_limit": (
        "warning",
        {"lots": [LOT], "additions": [{"ingredient": "honey"}], "targets": {"gravity": {"min": 1.0}},
         "prefer": [{"maximise": "added_mass"}]},
        {"lots": [LOT], "additions": [{"ingredient": "honey", "max": "1 kg"}], "targets": {"gravity": {"min": 1.0}},
         "prefer": [{"maximise": "added_mass"}]},
    ),
    "remembered_drink": ("note", _asked(HONEY, match={"serving": "330 mL", "sugar_g": 29}), _asked(HONEY)),
    "honey_moisture_above_limit": (
        "warning",
        _asked(_some("honey", measured={"moisture_percent": 21.0})),
        _asked(_some("honey", measured={"moisture_percent": 18.0})),
    ),
    "brix_outside_row": (
        "warning",
        _asked(_some(LEMON, measured={"brix": 12.0})),
        _asked(_some(LEMON, measured={"brix": 8.2})),
    ),
    "titratable_acidity_outside_row": (
        "warning",
        _asked(_some(LEMON, measured={"titratable_acidity": "90 g/L citric"})),
        _asked(_some(LEMON, measured={"titratable_acidity": "50 g/L citric"})),
    ),
    "ph_outside_row": (
        "warning",
        _asked(_some(LEMON, measured={"ph": 3.9})),
        _asked(_some(LEMON, measured={"ph": 2.4})),
    ),
}  # fmt: skip


@pytest.mark.parametrize("code", CASES)
def test_a_caution_is_given_where_it_belongs_and_not_elsewhere(code: str) -> None:
    level, with_it, without_it = CASES[code]
    assert codes(plan(with_it))[code] == level
    assert code not in codes(plan(without_it))


def test_every_caution_of_the_planner_has_a_case() -> None:
    found = set()
    for path in (Path(service.__file__).parent / "planner").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Caution":
                code = node.args[0]
                if isinstance(code, ast.Constant):  # else a reading's own code
                    found.add(code.value)
    # an estimate is always one
    assert found - set(CASES) - {"estimate"} == set()


def test_what_could_be_sealed_later_is_a_warning() -> None:
    assert codes(plan(_asked(HONEY)))["refermentable_sugar_no_hurdle"] == "warning"
    assert codes(plan(_asked(HONEY, intended={"container": "open"})))["refermentable_sugar_no_hurdle"] == "warning"
    for container in ("can", "keg", "jar", "flask"):
        assert codes(plan(_asked(HONEY, intended={"container": container})))["refermentable_sugar_no_hurdle"] == "stop"


def test_weak_hurdles_are_a_warning_while_nothing_is_sealed() -> None:
    for hurdle in ("cold", "sulfite"):
        open_ = _asked(HONEY, intended={"container": "open", "hurdles": [hurdle]})
        assert codes(plan(open_))["hurdle_does_not_hold"] == "warning"
        assert codes(plan(_asked(HONEY, **_bottled(hurdle))))["hurdle_does_not_hold"] == "stop"


def test_gas_that_is_not_spoken_of_is_a_note() -> None:
    silent = {name: value for name, value in LOT.items() if name != "degassed"}
    assert codes(plan(_asked(HONEY, lot=silent)))["foam_over"] == "note"


def test_a_lot_of_juice_is_juice_of_unknown_treatment() -> None:
    juice = {"name": "pressed", "volume": "5 L", "gravity": 1.045, "abv_percent": 0, "class": "citrus_juice"}
    assert codes(plan(_asked(lot=juice)))["raw_juice"] == "warning"


def test_an_estimate_is_always_called_one() -> None:
    assert codes(plan(_asked(HONEY)))["estimate"] == "note"
    assert "local law" in plan(_asked(lot=DRY))["cautions"][-1]["text"]


def test_an_ingredient_that_is_not_poured_raises_nothing() -> None:
    grapefruit = {"ingredient": "grapefruit_juice_fresh", "max": "1 L"}
    answer = plan({"lots": [LOT], "additions": [grapefruit], "targets": {"gravity": {"min": 0.99}}})
    assert "grapefruit_and_medicines" not in codes(answer)


@pytest.mark.parametrize("name", ["Grapefruit juice of ours", "Pomelo juice", "Seville orange juice"])
def test_fruit_that_changes_medicines_is_known_by_its_name(name: str) -> None:
    juice = _own(
        name,
        {"sucrose": 5.0, "fructose": 4.0, "citric_acid": 1.2},
        composition={"juice_share_percent": 100.0, "fruit_family": "citrus"},
        treatment="pasteurised",
    )
    assert codes(plan(_asked(juice)))["grapefruit_and_medicines"] == "warning"


def test_raw_juice_of_ones_own_composition_is_raw_juice() -> None:
    juice = _own(
        "Pressed quince",
        {"fructose": 9.0, "malic_acid": 0.9},
        composition={"juice_share_percent": 100.0, "fruit_family": "pome"},
        treatment="raw",
    )
    assert codes(plan(_asked(juice)))["raw_juice"] == "warning"
    assert codes(plan(_asked(juice, **_bottled("sulfite", "sorbate"))))["raw_juice_after_stabilising"] == "stop"


def test_more_carbonate_than_acid_does_not_pass_in_silence() -> None:
    # 10 L at 5 g/L tartaric hold 666 meq; 200 g of KHCO3 are 1998 meq: no acid is left to drive the gas out.
    response = app().post(PATHS["solve_blend"], json=_asked(_some("potassium_bicarbonate", "200 g")))
    if response.status_code == 422:
        assert "acid" in response.json()["detail"]
        return
    usual = codes(plan(_asked(_some("potassium_bicarbonate", "10 g"))))
    new = {code: level for code, level in codes(response.json()).items() if code not in usual}
    assert set(new.values()) & {"stop", "warning"}


# How cautions are worded and where they stand.


@cache
def _answers() -> list[dict[str, Any]]:
    answers = [plan(request) for _, *pair in CASES.values() for request in pair]
    for operation, path in PATHS.items():
        for file in examples(operation):
            answer = post(path, worked(file)["request"])
            results = answer.get("results", [])
            answers += [result["plan"] for result in results if result["plan"]] if results else [answer]
    return answers


def test_cautions_are_short_and_end_as_sentences() -> None:
    cautions = [caution for answer in _answers() for caution in answer["cautions"]]
    assert [c["text"] for c in cautions if len(c["text"].split()) > 30] == []
    assert [c["text"] for c in cautions if not c["text"].endswith(".")] == []
    assert all(c["code"] == c["code"].lower() for c in cautions)


def test_every_source_of_a_caution_can_be_looked_up() -> None:
    known = {source["key"] for source in app().get("/v1/sources").json()["sources"]}
    for answer in _answers():
        for caution in answer["cautions"]:
            assert caution["source_id"] in known
        assert {caution["source_id"] for caution in answer["cautions"]} <= {s["key"] for s in answer["sources"]}


def test_stop_comes_first_and_nothing_twice() -> None:
    rank = {"stop": 0, "warning": 1, "note": 2}
    for answer in _answers():
        levels = [rank[caution["level"]] for caution in answer["cautions"]]
        assert levels == sorted(levels)
        assert len({json.dumps(caution) for caution in answer["cautions"]}) == len(answer["cautions"])


MANY = _asked(
    _some(LEMON, treatment="raw"), HONEY, intended={"container": "bottle", "hurdles": ["sorbate"], "vessel": "5 L"}
)


def test_several_stops_stand_before_everything_else() -> None:
    levels = [caution["level"] for caution in plan(MANY)["cautions"]]
    assert levels[:4] == ["stop"] * 4
    assert "stop" not in levels[4:]


def test_stop_stands_above_the_amounts_in_the_table() -> None:
    lines = table(plan(MANY)).splitlines()
    amounts_at = next(i for i, line in enumerate(lines) if line.startswith("Pour or weigh"))
    stops = [i for i, line in enumerate(lines) if line.startswith("STOP: ")]
    assert len(stops) == 4
    assert max(stops) < amounts_at
    assert all(i > amounts_at for i, line in enumerate(lines) if line.startswith(("WARNING: ", "NOTE: ")))


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/v1/blend-plans.csv", MANY),
        (
            "/v1/blend-forecasts.csv",
            {
                "recipes": [{"name": "r", "lots": MANY["lots"], "additions": MANY["additions"]}],
                "intended": MANY["intended"],
            },
        ),
    ],
)
def test_stop_stands_before_the_amounts_in_the_rows(path: str, body: Any) -> None:
    rows = list(csv.DictReader(io.StringIO(app().post(path, json=body).text)))
    assert rows
    columns = list(rows[0])
    assert columns.index("stop") < columns.index("gravity")
    if "amount_mass_g" in columns:
        assert columns.index("stop") < columns.index("amount_mass_g")
    assert all("overflow" in row["stop"] and "geranium" in row["stop"] for row in rows)


def test_cautions_of_several_recipes_say_whose_they_are() -> None:
    recipes = [
        {"name": "plain", "lots": [LOT]},
        {"name": "sweet", "lots": [LOT], "additions": [_some("honey", "1 kg")]},
    ]
    about = [caution["about"] for caution in forecast({"recipes": recipes, **_bottled()})["cautions"]]
    assert {"plain", "sweet"} < set(about)
    alcohol = [c for c in forecast({"recipes": recipes})["cautions"] if c["code"] == "alcohol"]
    assert [c["about"] for c in alcohol] == [None]


# An interval that crosses a line is judged by its bad end.


def _told(answer: dict[str, Any], code: str) -> str:
    (text,) = (caution["text"] for caution in answer["cautions"] if caution["code"] == code)
    return str(text)


def test_a_vessel_is_judged_by_the_most_that_the_drink_may_be() -> None:
    """10 L known to 2 % (the default: common practice, no source) and 500 g of honey: at most 10.67 L at 90 %."""
    answers = {v: plan(_asked(HONEY, intended={"vessel": f"{v} L"})) for v in (10.3, 10.4, 10.6, 10.7, 12.0)}
    levels = {v: codes(a).get("vessel_too_small", codes(a).get("vessel_may_be_too_small")) for v, a in answers.items()}
    assert levels == {10.3: "stop", 10.4: "warning", 10.6: "warning", 10.7: None, 12.0: None}
    volume = answers[10.6]["predicted"]["volume"]
    assert f"{volume['value']:.4g} L, perhaps {volume['high']:.4g}" in _told(answers[10.6], "vessel_may_be_too_small")
    better = _asked(HONEY, lot={**LOT, "volume": "10 L ± 0.05 L"}, intended={"vessel": "10.6 L"})
    assert "vessel_may_be_too_small" not in codes(plan(better))


def test_sorbate_is_judged_by_the_least_that_the_strength_may_be() -> None:
    """T. Underhill, Making Better Wines: its table of sorbate doses runs from 10 to 14 % vol."""
    for strength, words in ((9.5, "has 9.5."), (10.2, "has 10.2, perhaps only 9.8."), (10.6, None)):
        answer = plan(_asked(lot={**DRY, "abv_percent": strength}, **_bottled("sulfite", "sorbate")))
        told = codes(answer).get("sorbate_outside_published_table")
        assert told == (None if words is None else "warning"), strength
        if words is not None:
            assert words in _told(answer, "sorbate_outside_published_table")


def test_sugar_is_told_with_the_most_that_it_may_be() -> None:
    answer = plan(_asked(HONEY, **_bottled()))
    sugar = answer["predicted"]["fermentable_sugar_g_per_l"]
    words = f"{sugar['value']:.0f} g/L of fermentable sugar (perhaps {sugar['high']:.0f})"
    assert _told(answer, "refermentable_sugar_no_hurdle").startswith(words)
    # unread residual sugar counts with all of its spread, and as no more than a warning
    dry = plan(_asked(lot={**LOT, "gravity": 0.994}, **_bottled()))
    most = dry["predicted"]["fermentable_sugar_g_per_l"]["high"]
    assert codes(dry)["residual_sugar_unknown"] == "warning"
    figure = int(_told(dry, "residual_sugar_unknown").split("up to about ")[1].split()[0])
    assert figure >= most - 0.5


def test_the_acidity_that_bacteria_need_is_judged_by_the_highest_ph() -> None:
    """21 CFR 114.3: foods above a finished equilibrium pH of 4.6 are low-acid."""
    for ph, code in ((4.7, "ph_above_4_6"), (4.56, "ph_may_be_above_4_6"), (4.2, "ph_high")):
        answer = plan(_asked(lot={**LOT, "ph": ph}))
        found = {"ph_above_4_6", "ph_may_be_above_4_6", "ph_high"} & set(codes(answer))
        assert found == {code}, (ph, answer["predicted"]["ph"])


def _texts_of_the_service() -> list[tuple[str, str]]:
    root = Path(service.__file__).parent
    found = []
    for path in sorted(root.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                found.append((path.name, node.value))
    for path in sorted(root.rglob("*.csv")):
        found.append((path.name, path.read_text(encoding="utf-8")))
    return found


def test_nothing_is_ever_called_safe() -> None:
    for name, text in _texts_of_the_service():
        assert "is safe" not in " ".join(text.split()).lower(), name
    for answer in _answers():
        assert "is safe" not in json.dumps(answer).lower()
        assert "is safe" not in table(answer).lower()


def test_a_drink_that_just_fills_its_vessel_does_not_overflow() -> None:
    base = {"lots": [{**LOT, "use": {"max": LOT["volume"]}}], "additions": [{"ingredient": "honey"}]}
    for litres, stop in (("9 L", False), ("9.2 L", True)):
        found = codes(plan({**base, "targets": {"gravity": 1.012, "volume": litres}, "intended": {"vessel": "9 L"}}))
        assert ("vessel_too_small" in found) is stop, litres
