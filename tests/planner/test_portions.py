"""One batch split into several drinks: what they share is never exceeded, and each is poured on paper as promised."""

from __future__ import annotations

import copy
import csv
import io
import random
from typing import Any

import pytest

from service.api.command import table
from tests.api.real import PATHS, amounts, app, codes, plan, post, reports
from tests.oracle.liquids import WATER_KG_M3
from tests.planner.paper import agrees, litres, poured_on_paper

PATH = PATHS["solve_blend"]
LOT: dict[str, Any] = {
    "name": "base",
    "volume": "24 L",
    "gravity": 0.998,
    "abv_percent": 8.0,
    "titratable_acidity": "5 g/L tartaric",
    "ph": 3.4,
}
HONEY = {"ingredient": "honey_acacia", "max": "1.5 kg"}
WATER = {"ingredient": "water_deionised", "max": "4 L"}
LEMON = {"ingredient": "lemon_juice_fresh", "max": "1 L", "treatment": "pasteurised"}
BODY: dict[str, Any] = {
    "lots": [LOT],
    "additions": [HONEY, LEMON, WATER],
    "portions": [
        {"name": "dry", "volume": "16 L", "targets": {"gravity": 1.003}},
        {"name": "sweet", "volume": {"min": "8 L", "max": "12 L"}, "targets": {"gravity": 1.014}},
    ],
}


def with_targets(*portions: tuple[str, Any, dict[str, Any]], **changes: Any) -> dict[str, Any]:
    """The body with other portions: name, volume, targets."""
    return {**BODY, **changes, "portions": [{"name": n, "volume": v, "targets": t} for n, v, t in portions]}


def lots(*uses: Any) -> list[dict[str, Any]]:
    """Lots of 10 L, 8 and 6 and 4 % vol strong, used so."""
    return [
        {**LOT, "name": f"lot {i}", "volume": "10 L", "abv_percent": 8.0 - 2.0 * i, "use": use}
        for i, use in enumerate(uses)
    ]


def check(body: dict[str, Any], answer: dict[str, Any] | None = None) -> dict[str, Any]:
    """A plan for portions: sums within the store, every portion poured on paper, every report that of the portion."""
    answer = plan(body) if answer is None else answer
    totals: dict[str, float] = {}
    for portion in answer["portions"]:
        agrees(portion["predicted"], poured_on_paper(body, portion), portion["name"])
        for name, mass_g in amounts(portion).items():
            assert mass_g >= 0.0
            totals[name] = totals.get(name, 0.0) + mass_g
        for name, report in reports(portion).items():
            assert report["reached"] == portion["predicted"][name]["value"]
    told = amounts(answer | {"amounts": answer["totals"]})
    assert told == pytest.approx(totals, abs=1e-3 * len(answer["portions"]))
    volumes = {a["name"]: a["volume_ml"] / 1000.0 for a in answer["totals"] if a["volume_ml"] is not None}
    for lot in body["lots"]:
        held, use = litres(lot["volume"]), lot.get("use", "all")
        low, high = (held, held) if use == "all" else (litres(use.get("min", "0 L")), litres(use.get("max", "999 L")))
        assert low - 1e-4 <= volumes[lot["name"]] <= min(high, held) + 1e-4, lot["name"]
    for addition in body["additions"]:
        name = addition["ingredient"]
        low, high = (addition.get(key) or addition.get("amount") for key in ("min", "max"))
        for limit, sign in ((low, 1.0), (high, -1.0)):
            if limit is not None:
                number, unit = limit.split()
                stock = volumes[name] if unit == "L" else told[name] / (1000.0 if unit == "kg" else 1.0)
                assert sign * (stock - float(number)) >= -1e-3 * float(number), (name, limit)
    assert (answer["outcome"] == "targets_met") is all(r["met"] for p in answer["portions"] for r in p["targets"])
    return answer


def test_all_of_the_lot_is_used_and_every_portion_is_as_asked() -> None:
    answer = check(BODY)
    assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_met", "proved_best")
    assert [p["name"] for p in answer["portions"]] == ["dry", "sweet"]
    for portion, gravity in zip(answer["portions"], (1.003, 1.014), strict=True):
        assert portion["predicted"]["gravity"]["value"] == pytest.approx(gravity, abs=2e-5)
        assert portion["cross_check"] is not None
    assert answer["portions"][0]["predicted"]["volume"]["value"] == pytest.approx(16.0, rel=1e-4)
    assert amounts({"amounts": answer["totals"]})["base"] == pytest.approx(24.0 * 0.998 * WATER_KG_M3, abs=0.01)
    assert answer["summary"].startswith("All targets of both portions are met")


def test_shared_alcohol_is_shared_out() -> None:
    """Ethanol is made by no addition here: the litres of it in the portions are those of the lot, by arithmetic."""
    answer = check(BODY)
    litres_of_ethanol = sum(
        p["predicted"]["abv_percent"]["value"] * p["predicted"]["volume"]["value"] / 100.0 for p in answer["portions"]
    )
    assert litres_of_ethanol == pytest.approx(24.0 * 0.08, rel=1e-3)


def test_a_fixed_addition_is_poured_whole_over_all() -> None:
    body = {**BODY, "additions": [{"ingredient": "honey_acacia", "amount": "0.8 kg"}, WATER]}
    body["portions"] = [
        {"name": "dry", "volume": "16 L", "targets": {"gravity": {"min": 0.999}}},
        {"name": "sweet", "volume": {"min": "6 L", "max": "12 L"}, "targets": {"gravity": {"max": 1.02}}},
    ]
    answer = check(body)
    assert answer["outcome"] == "targets_met"
    assert amounts({"amounts": answer["totals"]})["honey_acacia"] == pytest.approx(800.0, abs=1e-3)
    for portion in answer["portions"]:  # the words are those of its own share
        (honey,) = (a for a in portion["amounts"] if a["name"] == "honey_acacia")
        assert "0.8 kg" not in honey["amount_text"]


def test_nothing_shared_is_as_separate_plans() -> None:
    """Without limits that bind together, each portion is what it would be by itself."""
    free = {
        "lots": [{**LOT, "volume": "100 L", "use": {"min": "0 L", "max": "100 L"}}],
        "additions": [{"ingredient": "honey_acacia"}, {"ingredient": "water_deionised"}],
    }
    asked: list[tuple[str, Any, dict[str, Any]]] = [
        ("a", "5 L", {"gravity": 1.004, "abv_percent": 7.0}),
        ("b", "7 L", {"gravity": 1.012, "abv_percent": {"min": 5.0, "max": 6.0}}),
        ("c", "3 L", {"gravity": 1.02, "abv_percent": 4.0}),
    ]
    answer = check(with_targets(*asked, **free))
    assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_met", "proved_best")
    for portion, (_, volume, targets) in zip(answer["portions"], asked, strict=True):
        alone = plan({**free, "targets": {**targets, "volume": volume}})
        assert amounts(portion) == pytest.approx(amounts(alone), rel=1e-6, abs=1e-3)
        assert portion["predicted"] == alone["predicted"]


def test_one_portion_is_the_plan_itself() -> None:
    targets = {"gravity": 1.012, "titratable_acidity": "6 g/L tartaric"}
    answer = check(with_targets(("only", {"min": "24 L", "max": "30 L"}, targets)))
    alone = plan({**BODY, "portions": [], "targets": {**targets, "volume": {"min": "24 L", "max": "30 L"}}})
    assert amounts(answer["portions"][0]) == pytest.approx(amounts(alone), rel=1e-4, abs=0.05)
    assert answer["summary"].startswith("All targets of the portion are met")


def test_a_stock_too_small_is_a_clash_and_what_there_is_is_used() -> None:
    """Each drink alone could be had: 300 g of honey do for one, not for both."""
    poor = [{"ingredient": "honey_acacia", "max": "300 g"}, WATER]
    portions = [("a", "12 L", {"gravity": 1.006}), ("b", {"min": "11 L", "max": "13 L"}, {"gravity": 1.006})]
    answer = check(with_targets(*portions, additions=poor))
    assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_clash", "proved_impossible")
    assert "do not serve all portions at once" in answer["summary"]
    assert amounts({"amounts": answer["totals"]})["honey_acacia"] == pytest.approx(300.0, rel=1e-3)
    for name, volume, targets in portions:
        alone = plan(with_targets((name, volume, targets), additions=poor, lots=lots({"max": "10 L"})))
        assert alone["outcome"] == "targets_met"


def test_a_lot_too_small_for_the_volumes_is_a_clash() -> None:
    answer = check(with_targets(("a", "20 L", {}), ("b", "20 L", {}), additions=[WATER]))
    assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_clash", "proved_impossible")
    too_much = check(with_targets(("a", "10 L", {}), ("b", "10 L", {}), additions=[WATER]))
    assert too_much["outcome"] == "targets_clash"  # all of it is to be used


def test_acidity_and_ph_hold_in_each_portion() -> None:
    """On paper too: `agrees` titrates every portion by adding up the acids of what is poured."""
    body = with_targets(
        ("sour", "10 L", {"titratable_acidity": "7 g/L tartaric", "gravity": 1.01}),
        ("flat", {"min": "12 L", "max": "16 L"}, {"ph": 3.45, "gravity": 1.004}),
        additions=[HONEY, {**LEMON, "max": "2 L"}, WATER, {"ingredient": "potassium_bicarbonate", "max": "60 g"}],
    )
    answer = check(body)
    assert answer["outcome"] == "targets_met"
    assert answer["proof"]["verdict"] in ("best_found", "nothing_found")
    sour, flat = answer["portions"]
    assert sour["predicted"]["titratable_acidity"]["value"] == pytest.approx(7.0, abs=0.01)
    assert flat["predicted"]["ph"]["value"] == pytest.approx(3.45, abs=0.003)


def test_targets_of_the_request_hold_in_every_portion_unless_it_has_its_own() -> None:
    body = {**BODY, "targets": {"abv_percent": {"min": 7.0}, "gravity": 1.005}}
    body["portions"] = [
        {"name": "as all", "volume": "12 L"},
        {"name": "own", "volume": {"min": "10 L", "max": "14 L"}, "targets": {"gravity": 1.012}},
    ]
    answer = check(body)
    for portion, gravity in zip(answer["portions"], (1.005, 1.012), strict=True):
        assert set(reports(portion)) == {"abv_percent", "gravity", "volume"}
        assert portion["predicted"]["gravity"]["value"] == pytest.approx(gravity, abs=2e-5)
        assert portion["predicted"]["abv_percent"]["value"] >= 7.0 - 1e-3


def test_preferences_are_those_of_all_together() -> None:
    body = {**BODY, "prefer": [{"maximise": "volume"}]}
    body["portions"] = [
        {"name": "a", "volume": {"min": "5 L", "max": "30 L"}, "targets": {"gravity": 1.004}},
        {"name": "b", "volume": {"min": "5 L", "max": "30 L"}, "targets": {"gravity": 1.008}},
    ]
    answer = check(body)
    assert answer["outcome"] == "targets_met"
    stretched = amounts({"amounts": answer["totals"]})["water_deionised"]
    assert stretched == pytest.approx(4.0 * WATER_KG_M3, rel=1e-3)


def test_a_remembered_drink_is_matched_in_every_portion() -> None:
    body = with_targets(("a", "10 L", {}), ("b", {"min": "12 L", "max": "18 L"}, {}), additions=[HONEY, LEMON, WATER])
    body["match"] = {"serving": "330 mL", "sugar_g": 15, "ph": 3.2}
    answer = check(body)
    for portion in answer["portions"]:
        assert portion["predicted"]["sugar_g_per_l"]["value"] == pytest.approx(15.0 / 0.33, abs=0.5 / 0.33)
    assert "remembered_drink" in codes(answer)
    assert any(a["what"] == "match: sugar of the label" for a in answer["assumed"])


def test_every_portion_has_its_reading_and_its_cautions() -> None:
    answer = plan(BODY)
    told = [(r["do"].split(":")[0], r["expect"]) for r in answer["next_reading"]]
    assert [pair for pair in told if pair[1] is not None] == [("dry", 1.003), ("sweet", 1.014)]
    assert told[0] == ("read the gravity of the ferment twice, days apart", None)  # before anything is poured, once
    assert len(told) == len(set(told))
    about = {c["about"] for c in answer["cautions"] if c["code"] == "refermentable_sugar_no_hurdle"}
    assert about == {"dry", "sweet"}
    assert sum(c["code"] == "alcohol" for c in answer["cautions"]) == 1


def test_ten_portions_are_answered() -> None:
    names = [(f"p{k}", "2.5 L", {"gravity": round(1.002 + 0.001 * k, 4)}) for k in range(9)]
    answer = check(with_targets(*names, ("rest", {"min": "1 L", "max": "9 L"}, {"gravity": 1.012})))
    assert answer["outcome"] == "targets_met"
    body = with_targets(*names, *names)
    assert post(PATH, body, 422)["errors"][0]["detail"].startswith("Give at most 10 items")


@pytest.mark.parametrize(
    ("changes", "pointer", "words"),
    [
        ({"portions": [{"name": "a"}]}, "/portions/0/volume", "needed"),
        ({"portions": [{"name": "", "volume": "2 L"}]}, "/portions/0/name", "This text is empty"),
        ({"portions": [{"name": "a", "volume": 2}]}, "/portions/0/volume", "with its unit"),
        ({"portions": [{"name": "a", "volume": "0 L"}]}, "/portions/0/volume", "a volume above zero"),
        ({"portions": [{"name": "a", "volume": {"max": "9 L"}}]}, "/portions/0/volume", "at least"),
        ({"portions": [{"name": "a", "volume": {"min": "0 L"}}]}, "/portions/0/volume", "at least"),
        (
            {"portions": [{"name": "a", "volume": "1 L", "targets": {"volume": "2 L"}}]},
            "/portions/0/targets/volume",
            "beside the name",
        ),
        (
            {"portions": [{"name": "a", "volume": "1 L", "targets": {"ph": 34}}]},
            "/portions/0/targets/ph",
            "between 1.5 and 10",
        ),
        (
            {"portions": [{"name": "a", "volume": "1 L"}, {"name": "a", "volume": "2 L"}]},
            "/portions/1/name",
            "give each its own",
        ),
        ({"targets": {"volume": "9 L"}}, "/targets/volume", "names its own volume"),
        ({"rounding": "kitchen"}, "/rounding", "Portions share their stocks"),
        (
            {"additions": [{"ingredient": "honey", "pack": "500 g", "max_packs": 3}]},
            "/additions/0/pack",
            "Whole packs are not split",
        ),
        (
            {
                "lots": [],
                "additions": [{"ingredient": "sugar_white"}, {"ingredient": "water_deionised"}],
                "portions": [{"name": "a", "volume": "1 L", "targets": {"ph": 3.2}}],
            },
            "/portions/0/targets/ph",
            "brings acid",
        ),
        (
            {
                "lots": [],
                "additions": [{"ingredient": "sugar_white"}, {"ingredient": "water_deionised"}],
                "portions": [{"name": "a", "volume": "1 L"}],
                "targets": {"ph": 3.2},
            },
            "/targets/ph",
            "brings acid",
        ),
    ],
)
def test_refusals_point_into_the_portions(changes: dict[str, Any], pointer: str, words: str) -> None:
    (told,) = post(PATH, {**BODY, **changes}, 422)["errors"]
    assert told["pointer"] == pointer
    assert words in told["detail"]


def test_packs_in_a_given_number_are_shared_like_any_amount() -> None:
    body = with_targets(
        ("a", "10 L", {}),
        ("b", {"min": "10 L", "max": "18 L"}, {}),
        additions=[{"ingredient": "honey_acacia", "pack": "250 g", "amount": "2 packs"}],
    )
    answer = plan(body)
    assert answer["outcome"] == "targets_met"
    (honey,) = (a for a in answer["totals"] if a["name"] == "honey_acacia")
    assert (honey["mass_g"], honey["packs"]) == (pytest.approx(500.0, abs=1e-3), pytest.approx(2.0))


def test_rows_hold_one_line_for_each_portion() -> None:
    response = app().post(f"{PATH}.csv", json={**BODY, "batch": "7"})
    assert response.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(response.text)))
    answer = plan(BODY)
    assert [row["portion"] for row in rows] == ["dry", "sweet"]
    for row, portion in zip(rows, answer["portions"], strict=True):
        assert (row["batch"], row["outcome"]) == ("7", "targets_met")
        assert float(row["gravity"]) == portion["predicted"]["gravity"]["value"]
        for name, mass_g in amounts(portion).items():
            assert float(row[f"{name}_mass_g"]) == mass_g


def test_portions_are_told_as_a_table() -> None:
    answer = plan(BODY)
    text = table(answer)
    assert text.index("Portion: dry") < text.index("Portion: sweet") < text.index("All portions together")
    assert text.count("Pour or weigh") == 3
    assert text.count("Target  ") == 2
    lines = text.splitlines()
    for portion in (*answer["portions"], {"amounts": answer["totals"]}):
        for amount in portion["amounts"]:
            assert any(line.startswith(f"{amount['name']} ") and amount["amount_text"] in line for line in lines)
    assert max(map(len, lines)) <= 120


_CASES = 8


def _invented(dice: random.Random) -> dict[str, Any]:
    """Portions that can be had: drinks that are poured on paper first, and stocks a little larger than they take."""
    store = lots(*(["all", {"min": "1 L", "max": "10 L"}, {"max": "10 L"}][: dice.randint(1, 3)]))
    count = dice.randint(2, 4)
    shares = [dice.uniform(0.5, 2.0) for _ in range(count)]
    portions, taken = [], {"honey_acacia": 0.0, "lemon_juice_fresh": 0.0, "water_deionised": 0.0}
    for k, share in enumerate(shares):
        part = share / sum(shares)
        recipe: dict[str, Any] = {"name": f"portion {k}", "lots": [], "additions": []}
        for lot in store:
            volume = part * (10.0 if lot["use"] == "all" else 4.0)
            recipe["lots"].append({**lot, "use": {"min": f"{volume:.6f} L", "max": f"{volume:.6f} L"}})
        for name in taken:
            mass = dice.uniform(0.0, 60.0) * part * 10.0
            taken[name] += mass
            recipe["additions"].append({"ingredient": name, "amount": f"{mass:.4f} g"})
        (drink,) = post(PATHS["forecast_blend"], {"recipes": [recipe]})["recipes"]
        found = {name: value["value"] for name, value in drink["predicted"].items() if value is not None}
        targets: dict[str, Any] = {"gravity": {"value": round(found["gravity"], 4), "tolerance": 0.0004}}
        if dice.random() < 0.5:
            targets["abv_percent"] = {"min": found["abv_percent"] - 0.1, "max": found["abv_percent"] + 0.1}
        if dice.random() < 0.3:
            targets["titratable_acidity"] = {
                "value": f"{found['titratable_acidity']:.2f} g/L tartaric",
                "tolerance": "0.2 g/L tartaric",
            }
        low, high = 0.97 * found["volume"], 1.03 * found["volume"]
        portions.append(
            {"name": f"portion {k}", "volume": {"min": f"{low:.5f} L", "max": f"{high:.5f} L"}, "targets": targets}
        )
    additions = [{"ingredient": name, "max": f"{1.001 * mass + 0.5:.4f} g"} for name, mass in taken.items()]
    return {"lots": copy.deepcopy(store), "additions": additions, "portions": portions}


def test_invented_portions_that_can_be_had_are_had() -> None:
    dice = random.Random(20_260_301)
    for number in range(_CASES):
        body = _invented(dice)
        answer = check(body)
        assert answer["outcome"] == "targets_met", (number, body, answer["summary"])


def test_a_portion_that_cannot_be_had_alone_is_a_proved_clash_though_acids_are_asked_for() -> None:
    """Water and honey bring no citrus to a drink, whatever the tangents of its acids are."""
    acid = {"titratable_acidity": {"max": "12 g/L tartaric"}}
    body = with_targets(("plain", "4 L", acid), ("citrus", "4 L", {**acid, "citrus_percent": {"min": 900}}))
    answer = plan(body)
    assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_clash", "proved_impossible")
    assert "citrus: " in answer["summary"]
    assert "plain: " not in answer["summary"].partition("nearest plan")[0]
