"""pH and titratable acidity as targets and preferences: met, best, priced, and never called impossible in error.

The optimiser works with tangents of the balance of charges; here the true, curved pH of the amounts judges it, with
scipy's SLSQP as the rival. The acids themselves are judged in `test_acidity_predictions`.
"""

from __future__ import annotations

import copy
import random
import re
from typing import Any

import numpy as np
import pytest

from service.planner.plain_words import plain_names
from service.planner.solving import answer as solved
from service.solver.goals import Outcome
from service.solver.solve import Verdict
from tests.api.real import PATHS, amounts, example, forecast, patient, plan, post, reports
from tests.planner.acidity_cases import Rival, around, known_blend, read, rounded_outwards


def demo(ph: Any = 3.3, **change: Any) -> dict[str, Any]:
    """The invented demo batch with a carbonate, asked for a pH, unrounded; `change` sets or drops other targets."""
    request: dict[str, Any] = copy.deepcopy(example("solve_blend", "01"))
    request["additions"].append({"ingredient": "potassium_bicarbonate", "max": "60 g"})
    targets = {**request["targets"], "ph": ph, **change}
    request["targets"] = {name: target for name, target in targets.items() if target is not None}
    request["rounding"] = "none"
    return request


RANGES = {
    "gravity": {"min": 1.0115, "max": 1.0125},
    "titratable_acidity": {"min": "6.7 g/L tartaric", "max": "7.3 g/L tartaric"},
}
"""What counts as met of the demo's gravity and acidity."""


def quiet(answer: dict[str, Any]) -> dict[str, Any]:
    """An answer without its time of computing."""
    result = copy.deepcopy(answer)
    del result["proof"]["milliseconds"]
    return result


# Forms of a target.

FORMS: dict[str, tuple[Any, float, float]] = {
    "a number": (3.32, 3.29, 3.35),
    "at least": ({"min": 3.4}, 3.4, 14.0),
    "at most": ({"max": 3.25}, 0.0, 3.25),
    "between": ({"min": 3.35, "max": 3.45}, 3.35, 3.45),
    "near": ({"value": 3.5, "tolerance": 0.05}, 3.45, 3.55),
    "with a priority": ({"value": 3.4, "priority": 2}, 3.37, 3.43),
}


@pytest.mark.parametrize("form", FORMS)
def test_each_form_of_a_ph_target_is_met(form: str) -> None:
    given, low, high = FORMS[form]
    answer = plan(demo(given))
    assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_met", "proved_best")
    report = reports(answer)["ph"]
    assert report["reached"] == answer["predicted"]["ph"]["value"]
    assert report["met"]
    assert report["miss"] == 0.0
    assert low - 5e-4 <= report["reached"] <= high + 5e-4
    if isinstance(given, float) or "value" in given:  # the value itself is within reach
        assert report["reached"] == pytest.approx(given if isinstance(given, float) else given["value"], abs=5e-4)


@pytest.mark.parametrize(("given", "binding"), [({"max": 3.5}, True), ({"max": 4.5}, False), ({"min": 2.0}, False)])
def test_only_a_bound_that_holds_the_optimum_is_binding(given: Any, binding: bool) -> None:
    """More citrus wants more carbonate beside it, up to pH 3.66: only a bound below that holds it back."""
    found = reports(plan(demo(given)))["ph"]
    assert found["binding"] is binding
    assert (found["marginal"] is not None) is binding
    if binding:
        assert found["reached"] == pytest.approx(given["max"], abs=5e-4)


_CHANGE = re.compile(r"([+−])([\d.,]+) (g|kg) ([a-z ]+)")


def priced(text: str) -> dict[str, float]:
    """Changes of mass [g] in a sentence such as `+0.01 takes +12.1 g lemon juice, −10.8 g water`, by id."""
    ids = {plain: name for name, plain in plain_names(list(amounts(plan(demo())))).items()}
    return {
        ids[name]: (1.0 if sign == "+" else -1.0) * float(number.replace(",", "")) * (1000.0 if unit == "kg" else 1.0)
        for sign, number, unit, name in _CHANGE.findall(text)
    }


@pytest.mark.parametrize(
    ("given", "moved"),
    [(3.3, 3.31), (3.5, 3.51), ({"max": 3.4}, {"max": 3.41}), ({"max": 3.5, "min": 3.0}, {"max": 3.51, "min": 3.0})],
)
def test_the_price_of_a_hundredth_of_ph_is_what_it_costs(given: Any, moved: Any) -> None:
    before, after = plan(demo(given)), plan(demo(moved))
    report = reports(before)["ph"]
    assert report["binding"]
    changes = priced(report["marginal"])
    assert changes
    old, new = amounts(before), amounts(after)
    assert reports(after)["ph"]["reached"] - report["reached"] == pytest.approx(0.01, abs=1e-9)
    for name, change in changes.items():  # a step of 0.01 is not nothing: first order holds within a twentieth
        assert new[name] - old[name] == pytest.approx(change, rel=0.05, abs=0.15), (name, report["marginal"])
    unnamed = [abs(new[n] - old[n]) for n in old if n not in changes]
    assert max(unnamed) <= 1.05 * min(map(abs, changes.values())) + 0.15


def test_the_price_of_acidity_is_what_it_costs() -> None:
    before = plan(demo())
    marginal = next(m for m in before["marginals"] if m["of"] == "titratable_acidity")
    assert marginal["step"] == pytest.approx(1.4)  # a fifth of 7 g/L
    near = {"value": "7.1 g/L tartaric", "tolerance": "0.3 g/L tartaric"}
    old, new = amounts(before), amounts(plan(demo(titratable_acidity=near)))
    for change in marginal["amounts"]:
        tenth = change["mass_g"] * 0.1 / marginal["step"]
        assert new[change["name"]] - old[change["name"]] == pytest.approx(tenth, rel=0.05, abs=0.15), marginal
    text = reports(before)["titratable_acidity"]["marginal"]
    told = priced(text)
    held = re.match(r"\+([\d.]+) g/L tartaric takes about", text)
    assert held is not None
    share = float(held[1]) / marginal["step"]  # the words speak of no more than the rate holds for
    assert 0.0 < share <= 1.0
    for name, grams in told.items():
        whole = next(c["mass_g"] for c in marginal["amounts"] if c["name"] == name)
        assert grams == pytest.approx(share * whole, rel=0.06)


def test_more_of_the_better_preference() -> None:
    """Least and greatest pH enclose what any other preference gives with the same ranges."""
    found = {}
    for name, prefer in (
        ("least", {"minimise": "ph"}),
        ("most", {"maximise": "ph"}),
        ("other", {"maximise": "volume"}),
    ):
        answer = plan({**demo(None, **RANGES), "prefer": [prefer]})
        assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_met", "proved_best"), name
        found[name] = answer["predicted"]["ph"]["value"]
    assert found["least"] < found["other"] < found["most"]


# Against scipy, on the true pH.


PREFER = [
    {"minimise": "ph"},
    {"maximise": "ph"},
    {"maximise": "citrus_percent"},
    {"minimise": "added_mass"},
    {"maximise": "volume"},
    {"minimise": "titratable_acidity"},
    {"maximise": "titratable_acidity"},
]


def _no_better(seed: int, count: int, starts: int) -> None:
    chance = random.Random(seed)
    compared = 0
    for number in range(count):
        request, known = known_blend(chance)
        request["targets"] = rounded_outwards(around(known, chance, 3.0), known)
        request["prefer"] = [PREFER[number % len(PREFER)]]
        rival = Rival.of(request)
        answered = solved(rival.asked, rival.materials)
        assert answered.result.outcome is Outcome.MET, request
        assert answered.settled, request
        x = np.array(answered.result.x) * 1000.0 * answered.numbers.litres / rival.scale_g
        reached = rival.values(x)
        for value, target in zip(reached, rival.asked.targets, strict=False):
            slack = 5e-6 * max(1.0, abs(value))
            assert target.low - slack <= value <= target.high + slack, (target.name, request)
        ours = float(reached[rival.names.index(rival.asked.prefer[0].name)])
        theirs = rival.best(chance, starts)
        if theirs is None:
            continue
        compared += 1
        gain = ours - theirs if "minimise" in request["prefer"][0] else theirs - ours
        assert gain <= 1e-5 * max(abs(ours), 1e-3), (gain / ours, request)
    assert compared >= 0.8 * count


def test_two_optima_that_send_the_search_to_each_other_meet_in_between() -> None:
    """Chalk against orange: each vertex is the best of the tangents at the other one."""
    request = {
        "lots": [
            {
                "name": "base",
                "class": "cider_perry",
                "volume": "6.5 L",
                "gravity": 0.998,
                "abv_percent": 7.8,
                "titratable_acidity": "7.5 g/L tartaric",
                "ph": 3.27,
            }
        ],
        "additions": [
            {"ingredient": "sugar_white", "max": "468.15 g"},
            {"ingredient": "orange_juice_concentrate_frozen", "max": "545.4 g"},
            {"ingredient": "orange_juice_fresh", "max": "724.5 g"},
            {"ingredient": "calcium_carbonate", "max": "9.76 g"},
        ],
        "targets": {
            "ph": {"min": 3.79753323, "max": 3.88759323},
            "titratable_acidity": {"min": "6.413201 g/L tartaric", "max": "7.013601 g/L tartaric"},
            "gravity": {"min": 1.0233289, "max": 1.0263309},
            "abv_percent": {"min": 6.4146188, "max": 7.0150188},
        },
        "prefer": [{"minimise": "added_mass"}],
    }
    rival = Rival.of(request)
    answered = solved(rival.asked, rival.materials)
    assert answered.settled
    assert answered.result.verdict is Verdict.BEST_FOUND
    ours = plan(request)
    assert ours["outcome"] == "targets_met"
    theirs = rival.best(random.Random(5), 6)
    assert ours["predicted"]["added_mass"]["value"] == pytest.approx(theirs, abs=0.06)


def test_slsqp_finds_nothing_better() -> None:
    _no_better(20_260_110, 21, 3)


@pytest.mark.slow
def test_slsqp_finds_nothing_better_in_many() -> None:
    _no_better(20_260_111, 210, 6)


def _greatest_ph(lot: dict[str, Any], additions: dict[str, str], targets: dict[str, Any]) -> dict[str, Any]:
    base = {"name": "base", "volume": "12.4 L", "abv_percent": 11.4, **lot}
    return {
        "lots": [base],
        "additions": [{"ingredient": name, "max": most} for name, most in additions.items()],
        "targets": targets,
        "prefer": [{"maximise": "ph"}],
    }


OWN_BOUND: dict[str, dict[str, Any]] = {
    "orange and tartaric acid": _greatest_ph(
        {
            "class": "grape_wine",
            "volume": "23.1 L",
            "gravity": 0.9973,
            "abv_percent": 9.0,
            "titratable_acidity": "5.5 g/L tartaric",
            "ph": 3.5,
        },
        {
            "apple_juice_concentrate_70": "1718.94 g",
            "orange_juice_concentrate_frozen": "1740.25 g",
            "orange_juice_fresh": "5895.19 g",
            "tartaric_acid": "27.04 g",
        },
        {
            "ph": {"min": 3.4435, "max": 3.5336},
            "titratable_acidity": {"min": "8.1488 g/L tartaric", "max": "8.7492 g/L tartaric"},
            "gravity": {"min": 1.01719, "max": 1.02019},
            "abv_percent": {"min": 7.188, "max": 7.788},
        },
    ),
    "raspberry and chalk": _greatest_ph(
        {"class": "cider_perry", "gravity": 1.0002, "titratable_acidity": "5.3 g/L tartaric", "ph": 3.62},
        {
            "honey_acacia": "909.58 g",
            "raspberry_juice": "1098.22 g",
            "water_tap": "840.46 g",
            "calcium_carbonate": "5 g",
        },
        {
            "ph": {"min": 3.67985, "max": 3.76991},
            "titratable_acidity": {"min": "4.4956 g/L tartaric", "max": "5.0960 g/L tartaric"},
            "gravity": {"min": 1.01257, "max": 1.01557},
            "abv_percent": {"min": 10.0813, "max": 10.6817},
        },
    ),
    "the demo": {**demo({"min": 3.0, "max": 3.24}), "prefer": [{"maximise": "ph"}]},
}
"""Each can have the upper bound of its pH, which the preference drives it to (SLSQP finds it)."""


@pytest.mark.parametrize("case", OWN_BOUND)
def test_the_end_of_its_range_is_within_reach_of_a_preferred_ph(case: str) -> None:
    rival = Rival.of(OWN_BOUND[case])
    reached = rival.best(random.Random(3), 4)
    high = next(t.high for t in rival.asked.targets if t.name == "ph")
    assert reached == pytest.approx(high, abs=1e-6)


@pytest.mark.parametrize("case", OWN_BOUND)
def test_a_preferred_ph_ends_at_the_end_of_its_range(case: str) -> None:
    answer = plan(OWN_BOUND[case])
    assert answer["outcome"] == "targets_met"
    assert all(report["met"] for report in reports(answer).values())
    assert reports(answer)["ph"]["reached"] == pytest.approx(OWN_BOUND[case]["targets"]["ph"]["max"], abs=6e-4)
    assert reports(answer)["ph"]["binding"]
    assert answer["proof"]["verdict"] == "proved_best"


# Size, order, repetition.


def _blend_with_ph(seed: int) -> dict[str, Any]:
    chance = random.Random(seed)
    request, known = known_blend(chance)
    request["targets"] = rounded_outwards(around(known, chance), known)
    request["prefer"] = [PREFER[seed % len(PREFER)]]
    return request


def _times(request: dict[str, Any], k: float) -> dict[str, Any]:
    larger = copy.deepcopy(request)

    def scaled(text: str) -> str:
        number, unit = text.split()
        return f"{float(number) * k:.12g} {unit}"

    for lot in larger["lots"]:
        lot["volume"] = scaled(lot["volume"])
    for addition in larger["additions"]:
        addition.update({end: scaled(addition[end]) for end in ("min", "max") if end in addition})
    if "volume" in larger["targets"]:
        larger["targets"]["volume"] = {end: scaled(text) for end, text in larger["targets"]["volume"].items()}
    return larger


def _masses(request: dict[str, Any]) -> dict[str, float]:
    asked, materials = read(request)
    answered = solved(asked, materials)
    return dict(zip([m.name for m in materials], answered.numbers.masses_g(answered.result.x), strict=True))


@pytest.mark.parametrize("k", [0.01, 3.7, 1000.0])
def test_k_times_the_batch_takes_k_times_as_much(k: float) -> None:
    for request in (demo(), demo({"min": 3.4}), *(_blend_with_ph(seed) for seed in (*range(6), 8, 21, 29, 36))):
        if "instruments" in request:
            del request["instruments"], request["intended"]
        one, many = _masses(request), _masses(_times(request, k))
        total = sum(one.values())
        for name, mass in one.items():
            assert many[name] / k == pytest.approx(mass, rel=1e-6, abs=1e-8 * total), name


def test_order_does_not_matter_and_the_same_question_has_one_answer() -> None:
    dice = random.Random(7)
    for request in (demo(), demo(2.5), *(_blend_with_ph(seed) for seed in range(6))):
        other = copy.deepcopy(request)
        for part in ("lots", "additions"):
            dice.shuffle(other[part])
        names = list(other["targets"])
        dice.shuffle(names)
        other["targets"] = {name: other["targets"][name] for name in names}
        first = quiet(plan(request))
        assert quiet(plan(other)) == first
        assert quiet(plan(request)) == first


# Clashes.


@pytest.fixture(scope="module")
def least_ph() -> float:
    """The least pH that the demo's materials reach inside its ranges, by SLSQP."""
    found = Rival.of({**demo(None, **RANGES), "prefer": [{"minimise": "ph"}]}).best(random.Random(5), 6)
    assert found is not None
    return found


def test_the_nearest_plan_of_a_clash_has_the_least_ph(least_ph: float) -> None:
    answer = plan(demo({"value": 2.5, "priority": 2}))  # a fifth of the acidity is a coarse step: it rules here
    assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_clash", "proved_impossible")
    reached = reports(answer)["ph"]["reached"]
    assert reached == pytest.approx(least_ph, abs=6e-4)
    assert reports(answer)["ph"]["miss"] == pytest.approx(reached - 2.5, abs=1e-3)
    assert all(report["met"] for name, report in reports(answer).items() if name != "ph")
    # no amounts of a random scan beside it that keep the other ranges come lower
    rival, chance = Rival.of(demo(2.5)), random.Random(11)
    names = [rival.materials[i].name for i in rival.free]
    here = np.array([amounts(answer)[name] for name in names]) / rival.scale_g
    least = np.array([rival.materials[i].least_g for i in rival.free]) / rival.scale_g
    inside = 0
    for _ in range(1500):
        x = np.clip(here + np.array([chance.gauss(0.0, 0.02) for _ in names]), least, 1.0)
        values = dict(zip(rival.names, rival.values(x), strict=True))
        if all(t.low <= values[t.name] <= t.high for t in rival.asked.targets if t.name != "ph"):
            inside += 1
            assert values["ph"] > least_ph - 1e-6
    assert inside >= 30


def test_a_miss_narrower_than_the_margin_is_no_proof(least_ph: float) -> None:
    outcomes = [plan(demo({"max": round(least_ph + by, 4)}))["outcome"] for by in (0.002, -0.01, -0.03, -0.2)]
    assert outcomes == ["targets_met", "no_plan_found", "no_plan_found", "targets_clash"]


def _never_a_false_clash(seed: int, count: int) -> None:
    chance = random.Random(seed)
    met = 0
    for _ in range(count):
        request, known = known_blend(chance)
        request["targets"] = rounded_outwards(around(known, chance, chance.choice([0.0, 0.3, 1.0])), known)
        request["prefer"] = chance.choice([[], *([p] for p in PREFER)])
        answer = plan(request)
        assert answer["outcome"] != "targets_clash", request
        met += answer["outcome"] == "targets_met"
    assert met >= 0.97 * count


def test_no_false_clash_around_a_blend_that_is_known() -> None:
    _never_a_false_clash(20_260_120, 150)


@pytest.mark.slow
def test_no_false_clash_around_many_blends() -> None:
    _never_a_false_clash(20_260_121, 1500)


PRIORITIES: list[tuple[int, int, str]] = [(1, 2, "ph"), (2, 1, "titratable_acidity")]


@pytest.mark.parametrize(("of_ph", "of_acidity", "kept"), PRIORITIES)
def test_the_first_priority_is_kept(of_ph: int, of_acidity: int, kept: str) -> None:
    """pH 2.9 at 6 g/L of acid is out of reach, each alone is not."""
    acidity = {"max": "6 g/L tartaric", "priority": of_acidity}
    request = demo({"max": 2.9, "priority": of_ph}, titratable_acidity=acidity, volume=None, abv_percent=None)
    request["additions"].append({"ingredient": "citric_acid_anhydrous", "max": "300 g"})
    for addition in request["additions"]:
        addition.pop("min", None)
    answer = post(PATHS["solve_blend"], request, client=patient())  # a proof that takes long
    assert answer["outcome"] == "targets_clash"
    assert {name for name, report in reports(answer).items() if report["met"]} >= {kept}
    assert not all(report["met"] for report in reports(answer).values())


# End points.


def _citrus(end_point: float | None) -> dict[str, Any]:
    request = demo(None)
    if end_point is not None:
        request["titration_end_point_ph"] = end_point
    return request


def test_an_acidity_is_met_at_the_end_point_of_the_request() -> None:
    answer = plan(_citrus(7.0))
    shown = answer["predicted"]["titratable_acidity"]
    assert (answer["outcome"], shown["end_point_ph"]) == ("targets_met", 7.0)
    assert shown["value"] == pytest.approx(7.0, abs=5e-4)
    poured_again = _forecast_of(answer, 7.0), _forecast_of(answer, 8.2)
    assert poured_again[0] == pytest.approx(7.0, abs=2e-3)
    assert 1.01 < poured_again[1] / poured_again[0] < 1.03
    assert amounts(answer) != amounts(plan(_citrus(8.2)))
    assert amounts(plan(_citrus(None))) == amounts(plan(_citrus(8.2)))


def test_citrus_takes_less_base_to_an_earlier_end_point() -> None:
    """2 to 5 % less to pH 7.0 than to 8.2 (computed)."""
    juice = {"name": "juice", "class": "citrus_juice", "volume": "5 L", "gravity": 1.046, "abv_percent": 0}
    recipe = {
        "name": "lemon and orange",
        "lots": [{**juice, "titratable_acidity": "8 g/L citric", "ph": 3.7}],
        "additions": [{"ingredient": "lemon_juice_fresh", "amount": "300 g"}],
    }
    by_end_point = {
        end: forecast({"recipes": [recipe], "titration_end_point_ph": end})["recipes"][0]["predicted"]
        for end in (7.0, 8.2)
    }
    short, full = (by_end_point[end]["titratable_acidity"] for end in (7.0, 8.2))
    assert 0.95 < short["value"] / full["value"] < 0.98
    assert short["meq_per_l"] / full["meq_per_l"] == pytest.approx(short["value"] / full["value"], rel=1e-3)
    assert by_end_point[7.0]["ph"] == by_end_point[8.2]["ph"]


def _forecast_of(answer: dict[str, Any], end_point: float) -> float:
    request = demo(None)
    weighed = amounts(answer)
    additions = [
        {**{k: v for k, v in a.items() if k not in ("min", "max")}, "amount": f"{weighed[a['ingredient']]:.4f} g"}
        for a in request["additions"]
    ]
    recipe = {"name": "again", "lots": request["lots"], "additions": additions}
    told = forecast({"recipes": [recipe], "titration_end_point_ph": end_point})
    value: float = told["recipes"][0]["predicted"]["titratable_acidity"]["value"]
    return value


def test_the_reading_to_take_names_the_end_point() -> None:
    told = [r["do"] for r in plan(_citrus(7.0))["next_reading"]]
    assert "titrate a degassed sample to pH 7" in told
