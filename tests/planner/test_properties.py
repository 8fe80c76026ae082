"""What must hold of every plan: mass closes, size and order do not matter, more room never hurts.

Examples are drawn, but always the same ones, and few, so that the whole takes seconds.
"""

from __future__ import annotations

import copy
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from service.api.reading_blend import plan_from
from service.api.requests_blend import BlendPlanRequest
from service.model.contents import COMPONENTS, Contents
from service.physics.mixture import WATER_G_PER_ML
from service.planner.materials import materials_of, poured
from service.planner.solving import answer
from service.solver.goals import Outcome
from tests.api.real import amounts, forecast, plan, reports

ALWAYS = settings(derandomize=True, max_examples=25, deadline=None, database=None)

SWEET = ("honey_acacia", "honey_average", "sugar_white", "apple_juice_concentrate_70", "invert_syrup", "maple_syrup")
SOUR = ("lemon_juice_fresh", "orange_juice_concentrate_frozen", "raspberry_juice", "lime_juice_concentrate_400")
THIN = ("water_deionised", "water_tap")


def _numbers(low: float, high: float, digits: int) -> st.SearchStrategy[float]:
    return st.floats(low, high).map(lambda value: round(value, digits))


@st.composite
def requests(draw: st.DrawFn) -> dict[str, Any]:
    """Feasible requests: dry lots, one sweet, one sour and one thin addition, and acid."""
    lots = [
        {
            "name": f"lot {name}",
            "volume": f"{draw(_numbers(3.0, 30.0, 1))} L",
            "gravity": draw(_numbers(0.995, 1.002, 4)),
            "abv_percent": draw(_numbers(6.0, 11.0, 1)),
            "titratable_acidity": f"{draw(_numbers(3.0, 6.0, 1))} g/L tartaric",
        }
        for name in ("a", "b")[: draw(st.integers(1, 2))]
    ]
    return {
        "lots": lots,
        "additions": [
            {"ingredient": draw(st.sampled_from(SWEET))},
            {"ingredient": draw(st.sampled_from(SOUR))},
            {"ingredient": draw(st.sampled_from(THIN)), "max": "5 L"},
            {"ingredient": "citric_acid_anhydrous"},
        ],
        "targets": {
            "gravity": draw(_numbers(1.008, 1.025, 4)),
            "titratable_acidity": {"min": "6 g/L tartaric", "max": "8.5 g/L tartaric"},
            "abv_percent": {"min": 4.5},
        },
        "prefer": draw(
            st.sampled_from([[], [{"maximise": "citrus_percent"}], [{"maximise": "volume"}], [{"minimise": "brix"}]])
        ),
    }


def exact(request: dict[str, Any]) -> tuple[list[str], list[float], Contents, bool]:
    """Names, masses [g] and contents of a plan as solved, before anything is rounded; whether it stands on a basis."""
    asked = plan_from(BlendPlanRequest.model_validate(request), 10.0)
    materials = materials_of(asked.lots, asked.additions)
    answered = answer(asked, materials)
    numbers, result = answered.numbers, answered.result
    assert result.outcome is Outcome.MET
    masses = numbers.masses_g(result.x)
    return [m.name for m in materials], masses, poured(materials, masses), result.solution.basis is not None


def quiet(answer: dict[str, Any]) -> dict[str, Any]:
    """An answer without its time of computing."""
    result = copy.deepcopy(answer)
    del result["proof"]["milliseconds"]
    return result


@ALWAYS
@given(requests())
def test_mass_closes(request: dict[str, Any]) -> None:
    answer = plan(request)
    poured_g = sum(amounts(answer).values())
    predicted = answer["predicted"]
    drink_g = 1000.0 * predicted["gravity"]["value"] * WATER_G_PER_ML * predicted["volume"]["value"]
    assert drink_g == pytest.approx(poured_g, rel=2e-5)  # the shown gravity has five decimals
    _, masses, contents, _ = exact(request)
    assert contents.mass_g == pytest.approx(sum(masses), rel=1e-12)
    assert sum(contents.vector[: len(COMPONENTS)]) == pytest.approx(contents.mass_g, rel=1e-12)


def _times(request: dict[str, Any], k: float) -> dict[str, Any]:
    """The request for a batch k times as large."""
    larger = copy.deepcopy(request)
    for lot in larger["lots"]:
        lot["volume"] = f"{float(lot['volume'].split()[0]) * k:.12g} L"
    for addition in larger["additions"]:
        if "max" in addition:
            number, unit = addition["max"].split()
            addition["max"] = f"{float(number) * k:.12g} {unit}"
    return larger


def _scales(request: dict[str, Any], k: float) -> None:
    names, masses, _, _ = exact(request)
    same_names, k_masses, _, _ = exact(_times(request, k))
    assert same_names == names
    total = sum(masses)
    for name, mass, k_mass in zip(names, masses, k_masses, strict=True):
        assert k_mass / k == pytest.approx(mass, rel=1e-9, abs=1e-10 * total), name


@ALWAYS
@given(requests(), st.sampled_from([1e-2, 0.37, 3.0, 1e3]))
def test_k_times_in_is_k_times_out(request: dict[str, Any], k: float) -> None:
    assume(exact(request)[3])  # the others have a test of their own
    _scales(request, k)


INSIDE: dict[str, Any] = {
    "lots": [
        {
            "name": "base",
            "volume": "3 L",
            "gravity": 0.9996,
            "abv_percent": 6.0,
            "titratable_acidity": "4 g/L tartaric",
        }
    ],
    "additions": [
        {"ingredient": "orange_juice_concentrate_frozen", "max": "2 kg"},
        {"ingredient": "water_deionised", "max": "5 L"},
    ],
    "targets": {
        "gravity": 1.0156,
        "titratable_acidity": {"min": "6 g/L tartaric"},
        "abv_percent": {"min": 4.5},
    },
    "prefer": [{"maximise": "citrus_percent"}],
}
"""Concentrate and water held together by the gravity: the share of citrus is flat and curved, with its top between
4.5 % vol (or 6 g/L of acid) and the undiluted end, where no limit holds it. Read off by hand: 300 g 33.495 %, 340 g
33.527, 363 g 33.531, 380 g 33.529, 420 g 33.515."""


def test_an_optimum_that_no_limit_holds_is_found() -> None:
    answer = plan(INSIDE)
    assert answer["outcome"] == "targets_met"
    assert answer["predicted"]["citrus_percent"]["value"] == pytest.approx(33.53, abs=0.011)
    assert amounts(answer)["orange_juice_concentrate_frozen"] == pytest.approx(363.0, abs=5.0)


def test_k_times_in_is_k_times_out_where_no_limit_holds_the_optimum() -> None:
    for k in (0.01, 3.0, 7.0):
        _scales(INSIDE, k)


def test_an_exact_target_binds_where_no_limit_holds_the_optimum() -> None:
    assert reports(plan(INSIDE))["gravity"]["binding"]


@ALWAYS
@given(requests(), st.randoms(use_true_random=False))
def test_the_order_of_a_request_does_not_matter(request: dict[str, Any], dice: Any) -> None:
    other = copy.deepcopy(request)
    dice.shuffle(other["lots"])
    dice.shuffle(other["additions"])
    names = list(other["targets"])
    dice.shuffle(names)
    other["targets"] = {name: other["targets"][name] for name in names}
    assert quiet(plan(other)) == quiet(plan(request))


@ALWAYS
@given(requests())
def test_the_same_request_is_answered_alike(request: dict[str, Any]) -> None:
    assert quiet(plan(request)) == quiet(plan(request))


PREFERENCES = [("citrus_percent", 1.0), ("juice_percent", 1.0), ("volume", 1.0), ("abv_percent", -1.0)]


@ALWAYS
@given(requests(), st.sampled_from(PREFERENCES), _numbers(0.02, 0.2, 3), _numbers(1.05, 3.0, 2))
def test_more_of_a_limit_never_makes_the_preferred_property_worse(
    request: dict[str, Any], preference: tuple[str, float], limit_kg_per_l: float, factor: float
) -> None:
    name, sign = preference
    litres = sum(float(lot["volume"].split()[0]) for lot in request["lots"])
    reached = []
    for times in (1.0, factor):
        asked = copy.deepcopy(request)
        asked["prefer"] = [{"maximise" if sign > 0.0 else "minimise": name}]
        asked["additions"][1] = {
            "ingredient": "lemon_juice_fresh",
            "max": f"{limit_kg_per_l * litres * times:.6f} kg",
        }
        asked["targets"]["titratable_acidity"] = {"max": "9 g/L tartaric"}
        answer = plan(asked)
        assert answer["outcome"] == "targets_met"
        reached.append(sign * answer["predicted"][name]["value"])
    shown = {"volume": 1e-4, "abv_percent": 1e-3}.get(name, 1e-2)  # one digit of the answer
    assert reached[1] >= reached[0] - shown


@ALWAYS
@given(_numbers(0.995, 1.002, 4), _numbers(6.0, 13.0, 1), _numbers(50.0, 900.0, 0), _numbers(50.0, 900.0, 0))
def test_more_honey_is_denser_and_weaker(gravity: float, abv: float, some_g: float, more_g: float) -> None:
    lot = {"name": "base", "volume": "10 L", "gravity": gravity, "abv_percent": abv}
    recipes = [
        {"name": name, "lots": [lot], "additions": [{"ingredient": "honey", "amount": f"{mass} g"}]}
        for name, mass in (("less", some_g), ("more", some_g + more_g))
    ]
    less, more = (recipe["predicted"] for recipe in forecast({"recipes": recipes})["recipes"])
    assert more["gravity"]["value"] > less["gravity"]["value"] > gravity
    assert more["abv_percent"]["value"] < less["abv_percent"]["value"] < abv
    assert more["volume"]["value"] > less["volume"]["value"] > 10.0
    assert more["sugar_g_per_l"]["value"] > less["sugar_g_per_l"]["value"]


def test_without_rounding_nothing_is_missed_by_rounding() -> None:
    request = copy.deepcopy(INSIDE)
    request["lots"][0].update(volume="29.3 L", gravity=1.001, abv_percent=6.4, titratable_acidity="4.2 g/L tartaric")
    request["additions"] = [
        {"ingredient": "honey_average"},
        {"ingredient": "orange_juice_concentrate_frozen"},
        {"ingredient": "water_deionised", "max": "5 L"},
        {"ingredient": "citric_acid_anhydrous"},
    ]
    request["targets"]["gravity"] = 1.0134
    request["targets"]["titratable_acidity"]["max"] = "8.5 g/L tartaric"
    assert plan(request)["outcome"] == "targets_met"


def _tied(*additions: dict[str, Any]) -> dict[str, float]:
    return amounts(
        plan(
            {
                "lots": [{"name": "base", "volume": "10 L", "gravity": 0.998, "abv_percent": 8.0}],
                "additions": list(additions),
                "targets": {"gravity": 1.012},
                "prefer": [{"maximise": "citrus_percent"}],
            }
        )
    )


def test_a_tie_goes_to_the_least_added_mass() -> None:
    # Neither is citrus. A gram of dry sugar raises the gravity more than a gram of honey.
    found = _tied({"ingredient": "honey_acacia"}, {"ingredient": "sugar_white"})
    assert found["honey_acacia"] == 0.0
    assert 300.0 < found["sugar_white"] < 420.0


def test_a_full_tie_goes_to_the_earlier_id() -> None:
    same = {"water": 20.0, "glucose": 40.0, "fructose": 40.0}
    twins = [{"composition": {"name": name, "components_g_per_100g": same}} for name in ("syrup_b", "syrup_a")]
    found = _tied(*twins)
    assert found["custom_syrup_b"] == 0.0
    assert found["custom_syrup_a"] > 300.0
    half = _tied({**twins[1], "max": "200 g"}, twins[0])
    assert half["custom_syrup_a"] == pytest.approx(200.0)
    assert half["custom_syrup_b"] == pytest.approx(found["custom_syrup_a"] - 200.0, abs=0.01)
