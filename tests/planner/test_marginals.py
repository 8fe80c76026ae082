"""What a small change of a target or limit costs: told by the plan, and found by solving again with it moved.

The rates are checked against differences of plans solved anew, and prices against the multipliers of
`scipy.optimize.linprog` on the tangent of the same problem.
"""

from __future__ import annotations

import random
import re
from math import inf
from typing import Any

import numpy as np
import pytest
from scipy.optimize import linprog

from service.solver.problem import Tangent, volume_at
from tests.api.real import plan, reports
from tests.planner.marginal_cases import Case, request_of, slopes

_AGREES = 0.02


def _masses(marginal: dict[str, Any]) -> dict[str, float]:
    return {a["name"]: float(a["mass_g"]) for a in marginal["amounts"]}


def _told_off(case: Case, marginal: dict[str, Any], masses: list[float]) -> float:
    """How far the changes told are from those found, the worst as a share of itself, or of a quarter of the largest."""
    told = _masses(marginal)
    step = float(marginal["step"])
    found = {m.name: rate * step for m, rate in zip(case.materials, masses, strict=True)}
    largest = max(abs(v) for v in (*told.values(), *found.values()))
    assert set(told) <= set(found)
    return max(abs(told.get(n, 0.0) - v) / max(abs(v), 0.25 * largest) for n, v in found.items())


def _off(case: Case, marginal: dict[str, Any]) -> float:
    """The same on the side that is priced; past a hundredth of the step where something stops the amounts before it."""
    step = float(marginal["step"])
    off: list[float] = []
    for start, end in ((0.001, 0.003), (0.0101, 0.012), (1e-4, 5e-4), (1e-5, 9e-5)):
        found = slopes(case, marginal["of"], start * step, end * step)
        if found is not None:
            off.append(_told_off(case, marginal, found[0]))
        if off and off[-1] < _AGREES:
            break
    assert off, f"{marginal['of']} cannot be moved by {step} and yet has a price"
    return min(off)


def _moves(case: Case, of: str, size: float) -> bool:
    """Whether a move of a target or limit in either direction changes what the plan is best at, to first order."""
    for sign in (1.0, -1.0):
        wide, narrow = (slopes(case, of, 0.0, sign * size * share) for share in (1e-4, 1e-5))
        if wide is None or narrow is None or wide[1] is None or narrow[1] is None:
            continue
        masses, aims, nearer = wide[0], wide[1], narrow[1]
        still = max(map(abs, masses)) * size <= 1e-6 * sum(case.masses_g)
        for a, b, whole in zip(aims, nearer, case.aims(), strict=True):
            if not still and abs(a) * size > 1e-4 * max(abs(whole), 1e-3) and abs(a - b) < 0.2 * abs(a):
                return True
    return False


def _check(seed: int) -> int:
    """One random request: every marginal is right, and none is missing. How many there were."""
    request = request_of(random.Random(seed))
    case = Case.of(request)
    if case is None:
        return 0
    body = plan(request)
    listed = {m["of"]: m for m in body["marginals"]}
    for of, marginal in listed.items():
        assert _off(case, marginal) < _AGREES, (seed, of, marginal)
        assert marginal["text"], (seed, of)
    for of, size in case.at_bound(1e-8):
        if of not in listed:
            assert not _moves(case, of, size), (seed, of, "binds and has no price")
    at_bound = {of for of, _ in case.at_bound(1e-4)}  # a pH beside other values settles to that
    for of in listed:
        assert of in at_bound, (seed, of, "has a price and room")
    found = reports(body)
    for name, report in found.items():
        assert (report["marginal"] is None) is (name not in listed), (seed, name)
    return len(listed)


@pytest.mark.parametrize("first", range(0, 40, 10))
def test_every_price_is_what_solving_again_finds(first: int) -> None:
    assert sum(_check(seed) for seed in range(first, first + 10)) > 10


@pytest.mark.slow
@pytest.mark.parametrize("first", range(40, 440, 20))
def test_every_price_is_what_solving_again_finds_at_length(first: int) -> None:
    assert sum(_check(seed) for seed in range(first, first + 20)) > 20


# Prices against the duals of a linear programme.


def _duals(case: Case) -> dict[str, float]:
    """Change of the cost for a unit of every target and limit by scipy's linear programme on the tangent."""
    numbers, result = case.answered.numbers, case.answered.result
    problem, x = result.problem, result.solution.x
    tangent = Tangent(problem, problem.sums_at(x))
    # x stands for kilograms a litre, the aim for the cost a litre
    lines, sides, goes = [], [], []
    for row in problem.rows:
        line, offset = np.array(tangent.row(row.form)), tangent.offset(row.form)
        goal = next((g for g in numbers.goals if g.name == row.target), None)
        divisor = 1.0
        if goal is not None and goal.ratio.denominator is not None:
            divisor = goal.ratio.denominator.at(x, tangent.volume)
        for sign, bound in ((1.0, row.upper), (-1.0, row.lower)):
            if abs(bound) < inf:
                lines.append(sign * line)
                sides.append(sign * (bound - offset))
                goes.append((row.target, sign * row.scale * divisor))
    found = linprog(
        tangent.cost(problem.aims[0], x, tangent.volume),
        A_ub=np.array(lines),
        b_ub=np.array(sides),
        bounds=list(zip(problem.lower, problem.upper, strict=True)),
        method="highs",
    )
    assert found.status == 0
    duals: dict[str, float] = {}
    for (target, scale), price in zip(goes, found.ineqlin.marginals, strict=True):
        duals[target] = duals.get(target, 0.0) + price * scale * numbers.litres
    for j, i in enumerate(numbers.free):
        material = numbers.materials[i]
        per_unit = (material.density_g_ml or 1.0) if material.kind == "lot" else 0.001
        for kind, price in (("stock", found.upper.marginals[j]), ("least", found.lower.marginals[j])):
            name = f"{'use' if material.kind == 'lot' else kind} of {material.name}"
            duals[name] = duals.get(name, 0.0) + price * per_unit
    return duals


def _is_degenerate(case: Case) -> bool:
    """Whether more bounds and rows hold the plan than it has amounts to choose."""
    problem, x = case.answered.result.problem, case.answered.result.solution.x
    volume = volume_at(problem, x)
    values = [(row.form.at(x, volume), row.lower, row.upper) for row in problem.rows]
    values += zip(x, problem.lower, problem.upper, strict=True)
    return sum(min(v - low, high - v) < 1e-6 for v, low, high in values) > problem.size


def _priced(chance: random.Random) -> dict[str, Any]:
    """A request with the least cost as its only preference, and targets in ranges, so that prices decide."""
    while True:
        request = request_of(chance)
        if all("price" in a for a in request["additions"]):
            request["prefer"] = [{"minimise": "cost"}]
            request["targets"].pop("ph", None)
            return request


def test_a_price_is_the_multiplier_of_the_linear_programme() -> None:
    checked = 0
    for seed in range(20):
        request = _priced(random.Random(seed))
        case = Case.of(request)
        if case is None or len(case.answered.result.problem.aims) != len(case.answered.numbers.problem.aims):
            continue
        if _is_degenerate(case):
            continue  # the multipliers are not unique
        duals = _duals(case)
        price = {m.name: m.price_per_g or 0.0 for m in case.materials}
        for marginal in plan(request)["marginals"]:
            if "this rate holds" in marginal["text"]:
                continue  # beside a kink the multipliers are not unique
            parts = [price[a["name"]] * a["mass_g"] for a in marginal["amounts"]]
            told = sum(parts) / marginal["step"]
            size = sum(map(abs, parts)) / abs(marginal["step"])
            assert told == pytest.approx(duals[marginal["of"]], rel=2e-3, abs=2e-3 * size), (seed, marginal)
            cost = {c["property"]: (c["change"], c["unit"]) for c in marginal["changes"]}.get("cost", (0.0, "EUR"))
            assert cost == (pytest.approx(sum(parts), rel=6e-3, abs=2e-3 * sum(map(abs, parts)) + 1e-8), "EUR")
            checked += 1
    assert checked > 15


# Cases chosen for what they show.

LOT: dict[str, Any] = {
    "name": "base",
    "volume": "10 L",
    "gravity": 0.998,
    "abv_percent": 8.0,
    "titratable_acidity": "5 g/L tartaric",
}
HONEY = {"ingredient": "honey_acacia"}
SUGAR = {"ingredient": "sugar_white"}


def _ask(additions: list[dict[str, Any]], targets: dict[str, Any], **more: Any) -> dict[str, dict[str, Any]]:
    answer = plan({"lots": [LOT], "additions": additions, "targets": targets, **more})
    assert answer["outcome"] == "targets_met"
    return {m["of"]: m for m in answer["marginals"]}


def test_a_limit_without_a_price_is_not_listed() -> None:
    """All the sugar there is goes in, but honey would do as well where nothing is preferred that tells them apart."""
    priced = [
        {**HONEY, "price": {"amount": 5.0, "per": "1 kg"}},
        {**SUGAR, "price": {"amount": 2.0, "per": "1 kg"}, "max": "100 g"},
    ]
    found = _ask(priced, {"gravity": 1.012}, prefer=[{"minimise": "cost"}])
    assert set(found) == {"gravity", "stock of sugar_white"}
    free = _ask(
        [{"ingredient": "water_deionised", "min": "500 g", "max": "600 g"}, {**HONEY, "max": "2 kg"}],
        {"gravity": 1.012},
        prefer=[{"maximise": "gravity"}],
    )
    assert set(free) == {"gravity", "least of water_deionised"}  # less of it saves honey: the added mass ties no more


def test_a_minimum_binds_although_nothing_limits_the_amount() -> None:
    found = _ask([{**HONEY, "min": "200 g"}, SUGAR], {"gravity": 1.012})
    marginal = found["least of honey_acacia"]
    assert (marginal["step"], marginal["unit"]) == (10.0, "g")
    masses = _masses(marginal)
    assert masses["honey_acacia"] == pytest.approx(10.0)
    # honey holds 82 to 83 % of solids: so much sugar is saved
    assert masses["sugar_white"] == pytest.approx(-8.2, abs=0.3)
    assert marginal["text"].startswith("With a minimum of acacia honey 10 g higher: −8")


def test_a_limit_of_a_lot_is_told_in_litres() -> None:
    lots = [{**LOT, "use": {"min": "2 L", "max": "6 L"}}, {**LOT, "name": "strong", "abv_percent": 12.0}]
    answer = plan(
        {
            "lots": lots,
            "additions": [],
            "targets": {"abv_percent": {"min": 9.0}, "volume": {"max": "40 L"}},
            "prefer": [{"maximise": "volume"}],
        }
    )
    found = {m["of"]: m for m in answer["marginals"]}
    use = found["use of base"]
    assert (use["step"], use["unit"]) == (0.1, "L")
    # 6 L of 8 % vol with 10 L of 12 % vol: a litre more takes (12 - 8) 10/(16 x 16) = 0.16 % vol from the strength
    assert use["text"] == "With 100 mL more of base to use: strength −0.02 % vol, volume +0.1 L"


def test_a_target_that_can_only_go_down_is_priced_downwards() -> None:
    """All the honey is in and the value is met just so: more cannot be had, and the step says so by its sign."""
    full = plan({"lots": [LOT], "additions": [HONEY], "targets": {"gravity": 1.012}})
    mass_g = next(a["mass_g"] for a in full["amounts"] if a["kind"] == "addition")
    just = [{**HONEY, "max": f"{mass_g * 1.0001:.4f} g"}]
    marginal = _ask(just, {"gravity": {"min": 1.012}})["gravity"]
    assert marginal["step"] == -0.001
    assert _masses(marginal)["honey_acacia"] == pytest.approx(-mass_g / 14.0, rel=0.1)
    assert marginal["text"].startswith("−0.001 takes about −3")


def test_a_value_that_is_missed_inside_its_tolerance_has_no_price_but_the_stock_has() -> None:
    answer = plan(
        {
            "lots": [LOT],
            "additions": [{**HONEY, "max": "400 g"}],
            "targets": {"gravity": {"value": 1.013, "tolerance": 0.004}},
        }
    )
    (marginal,) = answer["marginals"]
    assert marginal["of"] == "stock of honey_acacia"
    report = reports(answer)["gravity"]
    assert (report["binding"], report["marginal"]) == (False, None)
    assert {c["property"]: c["change"] for c in marginal["changes"]}["gravity"] == pytest.approx(3e-4, rel=0.15)
    assert marginal["text"].startswith("With 10 g more of acacia honey to use: gravity +0.0003")


def test_packs_stay_as_they_are() -> None:
    answer = plan(
        {
            "lots": [LOT],
            "additions": [{"ingredient": "orange_juice_concentrate_frozen", "pack": "341 g", "max": "3 packs"}, HONEY],
            "targets": {"gravity": 1.02},
            "prefer": [{"maximise": "citrus_percent"}],
        }
    )
    assert {a["name"]: a["mass_g"] for a in answer["amounts"]}["orange_juice_concentrate_frozen"] > 0.0
    (marginal,) = [m for m in answer["marginals"] if m["of"] == "gravity"]
    assert set(_masses(marginal)) == {"honey_acacia"}


def test_a_large_step_says_how_far_its_rate_holds() -> None:
    found = _ask(
        [{"ingredient": "lemon_juice_fresh", "max": "300 g"}, HONEY, {"ingredient": "citric_acid_anhydrous"}],
        {"gravity": 1.012, "titratable_acidity": "5.5 g/L tartaric"},
        prefer=[{"maximise": "citrus_percent"}],
    )
    text = found["titratable_acidity"]["text"]
    assert re.match(r"\+(1\.1|0\.\d+) g/L tartaric takes about ", text)
    stopped = _ask(
        [{"ingredient": "lemon_juice_fresh", "max": "300 g"}, HONEY],
        {"gravity": 1.012, "titratable_acidity": {"min": "5.5 g/L tartaric"}},
    )["titratable_acidity"]["text"]
    (held,) = re.findall(r"this rate holds to about \+([\d.]+) g/L tartaric only", stopped)
    more = {"titratable_acidity": {"min": f"{5.5 + 0.97 * float(held):.4f} g/L tartaric"}, "gravity": 1.012}
    less = {"titratable_acidity": {"min": f"{5.5 + 1.1 * float(held):.4f} g/L tartaric"}, "gravity": 1.012}
    body = {"lots": [LOT], "additions": [{"ingredient": "lemon_juice_fresh", "max": "300 g"}, HONEY]}
    assert plan({**body, "targets": more})["outcome"] == "targets_met"
    assert plan({**body, "targets": less})["outcome"] == "targets_clash"


def test_a_price_is_told_in_the_currency_and_units_of_the_request() -> None:
    additions = [{**HONEY, "price": {"amount": 12.0, "per": "1 kg"}}]
    found = _ask(additions, {"gravity": 1.012}, prefer=[{"minimise": "cost"}], currency="USD", units="us")
    text = found["gravity"]["text"]
    mass = _masses(found["gravity"])["honey_acacia"]
    assert re.match(r"\+0\.001 takes about \+1\.\d+ oz acacia honey; side effects: .*cost \+0\.\d+ USD$", text), text
    cost = {c["property"]: c for c in found["gravity"]["changes"]}["cost"]
    assert (cost["change"], cost["unit"]) == (pytest.approx(0.012 * mass, rel=6e-3), "USD")


def test_a_bottle_is_priced_as_a_barrel_is() -> None:
    per_litre, texts = [], []
    for litres in (0.01, 0.3, 300.0):
        lot = {**LOT, "volume": f"{litres} L"}
        answer = plan({"lots": [lot], "additions": [HONEY], "targets": {"gravity": 1.012}})
        (marginal,) = answer["marginals"]
        per_litre.append(_masses(marginal)["honey_acacia"] / litres)
        texts.append(marginal["text"].partition(";")[0])
    assert per_litre == pytest.approx([per_litre[0]] * 3, rel=1e-3)
    # 0.001 is 1 g in a litre and honey brings 0.3 g of that for each gram of it (0.83 g of sugar, 0.7 mL of room)
    assert per_litre[0] == pytest.approx(1.0 / 0.3, rel=0.05)
    assert texts == [f"+0.001 takes about +{mass} acacia honey" for mass in ("0.0331 g", "0.994 g", "994 g")]
