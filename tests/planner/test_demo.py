"""What a plan promises is what its amounts give when they are poured on paper, by an independent calculation."""

from __future__ import annotations

import random
from typing import Any

import pytest

from tests.api.real import app, example, examples, forecast, plan, post, reports, worked
from tests.oracle.pour import Lot, Part, Poured, load_compositions, pour
from tests.planner.paper import agrees, litres, poured_on_paper


def test_the_demo_is_poured_as_promised() -> None:
    request = example("solve_blend", "01")
    answer = plan(request)
    assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_met", "proved_best")
    poured = poured_on_paper(request, answer)
    agrees(answer["predicted"], poured)
    # and it is what was asked: half a hydrometer step, the range, the tolerance, the most volume
    assert poured.specific_gravity_20_20 == pytest.approx(1.012, abs=5e-4)
    assert 6.4 - 0.03 <= poured.abv_percent <= 7.2 + 0.03
    assert poured.ta_g_per_l_tartaric == pytest.approx(7.0, abs=0.3)
    assert poured.volume_l <= 30.0


def test_more_citrus_than_the_demo_has_is_impossible() -> None:
    request = example("solve_blend", "01")
    reached = plan(request)["predicted"]["citrus_percent"]["value"]
    held = {
        **request["targets"],
        "gravity": {"value": 1.012, "tolerance": 0.00005},
        "titratable_acidity": {"value": "7 g/L tartaric", "tolerance": "0.01 g/L tartaric"},
    }
    verdicts = []
    for more in (-0.1, 0.1):
        asked = {**request, "targets": {**held, "citrus_percent": {"min": reached + more}}, "rounding": "none"}
        answer = plan(asked)
        verdicts.append((answer["outcome"], answer["proof"]["verdict"]))
    assert verdicts == [("targets_met", "proved_best"), ("targets_clash", "proved_impossible")]


@pytest.mark.parametrize("start", ["03", "04", "05", "08", "09", "10", "11", "20"])
def test_other_plans_are_poured_as_promised(start: str) -> None:
    request = example("solve_blend", start)
    answer = plan(request)
    agrees(answer["predicted"], poured_on_paper(request, answer))


def test_the_bare_honey_question_is_poured_as_promised() -> None:
    request = example("solve_blend", "02")
    answer = plan(request)
    # Balling's strength from 1.056 to 0.997 by hand: OE 13.80 °P, real extract 0.1808 OE + 0.8192 AE, 7.70 % vol.
    abv = next(float(a["value"].split()[0]) for a in answer["assumed"] if a["what"].endswith("abv_percent"))
    assert abv == pytest.approx(7.7, abs=0.15)
    poured = poured_on_paper(request, answer, {"honey": "honey_average"}, abv)
    agrees(answer["predicted"], poured)
    assert poured.specific_gravity_20_20 == pytest.approx(1.030, abs=5e-4)


def test_portions_are_poured_as_promised() -> None:
    request = example("solve_blend", "07")
    answer = plan(request)
    assert answer["outcome"] == "targets_met"
    for portion in answer["portions"]:
        agrees(portion["predicted"], poured_on_paper(request, portion), portion["name"])
    (base,) = (a for a in answer["totals"] if a["name"] == "dry base")
    assert base["volume_ml"] == pytest.approx(24_000.0, abs=0.1)


def test_every_example_of_plans_is_poured_here() -> None:
    assert [path.name[:2] for path in examples("solve_blend")] == [
        "01", "02", "03", "04", "05", "07", "08", "09", "10", "11", "20",
    ]  # fmt: skip


def test_a_sweep_is_poured_as_promised() -> None:
    (path,) = examples("solve_blends")
    sweep = worked(path)["request"]
    results = post("/v1/blend-plans:batch", sweep)["results"]
    assert [result["status"] for result in results] == [200, 200, 200, 422]
    for request, result in zip(sweep["requests"], results[:3], strict=False):
        poured = poured_on_paper(request, result["plan"])
        agrees(result["plan"]["predicted"], poured, request["note"])
        assert poured.specific_gravity_20_20 == pytest.approx(request["targets"]["gravity"], abs=5e-4)


@pytest.mark.parametrize("path", examples("forecast_blend"), ids=lambda path: path.stem)
def test_forecasts_are_poured_as_promised(path: Any) -> None:
    request = example("forecast_blend", path.stem)
    for recipe, answer in zip(request["recipes"], forecast(request)["recipes"], strict=True):
        agrees(answer["predicted"], poured_on_paper(recipe, answer), recipe["name"])


# Mass of an addition in 10 L of drink, the most that a maker would think of [g].
_MOST_G_IN_10_L = {
    "honey": 900.0, "sugar": 700.0, "juice": 1500.0, "concentrate": 800.0, "acid": 20.0, "salt": 8.0,
    "water": 2500.0, "spirit": 500.0,
}  # fmt: skip
_REQUESTS = 120


def _invented(dice: random.Random) -> tuple[dict[str, Any], Poured]:
    """A request whose targets lie around a blend that the paper calculation poured."""
    rows = load_compositions()
    lots: list[dict[str, Any]] = []
    for k in range(dice.randint(1, 3)):
        abv = round(dice.uniform(4.0, 14.0), 1)
        gravity = round(dice.uniform(0.9985, 1.020) - 0.00125 * (abv - 6.0) * (abv > 6.0), 4)
        lots.append(
            {
                "name": f"lot {k}",
                "volume": f"{dice.uniform(4.0, 25.0):.2f} L",
                "gravity": gravity,
                "abv_percent": abv,
                "titratable_acidity": f"{dice.uniform(3.0, 8.0):.2f} g/L tartaric",
            }
        )
    total_l = sum(litres(lot["volume"]) for lot in lots)
    chosen = dice.sample(sorted(rows), dice.randint(1, 6))
    masses = [round(dice.uniform(0.1, 1.0) * _MOST_G_IN_10_L[rows[i].category] * total_l / 10.0, 1) for i in chosen]
    feasible = pour(
        [
            Lot(litres(a["volume"]), a["gravity"], a["abv_percent"], float(a["titratable_acidity"].split()[0]))
            for a in lots
        ],
        [Part(ingredient, mass) for ingredient, mass in zip(chosen, masses, strict=True)],
    )
    targets: dict[str, Any] = {
        "gravity": {"value": round(feasible.specific_gravity_20_20, 4), "tolerance": 0.001},
        "abv_percent": {
            "min": round(feasible.abv_percent - dice.uniform(0.05, 0.5), 3),
            "max": round(feasible.abv_percent + dice.uniform(0.05, 0.5), 3),
        },
        "titratable_acidity": {
            "value": f"{max(feasible.ta_g_per_l_tartaric, 0.0):.2f} g/L tartaric",
            "tolerance": f"{dice.uniform(0.1, 0.6):.2f} g/L tartaric",
        },
        "volume": {"max": f"{feasible.volume_l * dice.uniform(1.003, 1.1):.3f} L"},
    }
    if feasible.citrus_juice_percent > 1.0:
        targets["citrus_percent"] = {"min": round(0.8 * feasible.citrus_juice_percent, 2)}
    kept = dice.sample(sorted(targets), dice.randint(1, len(targets)))
    prefer = dice.choice([[], [{"maximise": "citrus_percent"}], [{"minimise": "added_mass"}], [{"maximise": "volume"}]])
    return {
        "lots": lots,
        "additions": [
            {"ingredient": ingredient, "max": f"{mass * dice.uniform(1.05, 2.0):.1f} g"}
            for ingredient, mass in zip(chosen, masses, strict=True)
        ],
        "targets": {name: targets[name] for name in kept},
        "prefer": prefer,
    }, feasible


def test_invented_requests_are_answered_and_poured_as_promised() -> None:
    dice = random.Random(20_240_117)
    outcomes: dict[str, int] = {}
    for number in range(_REQUESTS):
        request, feasible = _invented(dice)
        if feasible.ta_g_per_l_tartaric < 0.5:  # a carbonate took nearly all the acid: no drink
            continue
        response = app().post("/v1/blend-plans", json=request)
        assert response.status_code == 200, (number, request, response.text)
        answer = response.json()
        outcomes[answer["outcome"]] = outcomes.get(answer["outcome"], 0) + 1
        # a blend that meets every target exists, so nothing else may be said
        assert answer["outcome"] == "targets_met", (number, request, answer["summary"])
        agrees(answer["predicted"], poured_on_paper(request, answer), f"request {number}: {request}")
        assert all(report["met"] for report in reports(answer).values()), number
    assert sum(outcomes.values()) >= 100
