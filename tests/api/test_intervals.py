"""What a request says about errors, chances and simulation: read where it belongs, refused elsewhere in words."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from tests.api.real import BASE, PATHS, app, changed, codes, forecast, patient, plan, post, reports
from tests.api.test_refusals import errors

LOT, ADDITION = ("lots", 0), ("additions", 0)
RANGE = {"min": 1.010, "max": 1.016}


def _sure(confidence: Any, **more: Any) -> dict[str, Any]:
    return changed("targets", "gravity", to={**RANGE, "confidence": confidence}) | more


def _recipe(**more: Any) -> dict[str, Any]:
    addition = {"ingredient": "honey_acacia", "amount": "400 g"}
    return {"recipes": [{"name": "one", "lots": copy.deepcopy(BASE["lots"]), "additions": [addition]}], **more}


def _told(body: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = forecast(body)["recipes"][0]["predicted"]
    return {name: value for name, value in found.items() if isinstance(value, dict)}


def _width(told: dict[str, Any], name: str) -> float:
    return float(told[name]["high"] - told[name]["low"])


# Simulation.


def test_a_seed_makes_a_simulation_reproducible() -> None:
    body = _recipe(draws=2000, seed=7)
    once, again, other = forecast(body), forecast(body), forecast(_recipe(draws=2000, seed=8))
    assert once == again
    assert once["recipes"][0]["predicted"] != other["recipes"][0]["predicted"]
    assert _told(_recipe(draws=2000)) == _told(_recipe(draws=2000, seed=0))


def test_without_draws_nothing_is_simulated() -> None:
    """The first order needs no seed, and a seed alone changes nothing."""
    assert _told(_recipe()) == _told(_recipe(seed=99))


def test_simulation_and_first_order_tell_the_same() -> None:
    told, drawn = _told(_recipe()), _told(_recipe(draws=50_000, seed=3))
    assert told.keys() == drawn.keys()
    for name in ("gravity", "abv_percent", "volume", "sugar_g_per_l", "titratable_acidity"):
        assert drawn[name]["value"] == told[name]["value"]
        for end in ("low", "high"):
            assert drawn[name][end] == pytest.approx(told[name][end], abs=0.06 * _width(told, name) + 1e-3), (name, end)


def test_simulated_plans_are_the_plans() -> None:
    """Intervals are simulated, amounts are not."""
    first, drawn = plan(BASE), plan(changed("draws", to=2000))
    assert first["amounts"] == drawn["amounts"]
    assert first["predicted"] != drawn["predicted"]


@pytest.mark.parametrize("draws", [999, 50_001, 0, -1, 1e4 + 0.5, "many", True, 10**12])
def test_draws_have_limits(draws: Any) -> None:
    found = errors(_recipe(draws=draws), PATHS["forecast_blend"])
    assert set(found) == {"/draws"}
    if draws in (999, 0, -1):
        assert "1000" in found["/draws"].replace(",", "")
    if draws in (50_001, 10**12):
        assert "50000" in found["/draws"].replace(",", "")


@pytest.mark.parametrize("draws", [1_000, 50_000])
def test_both_limits_of_draws_are_answered(draws: int) -> None:
    assert _told(_recipe(draws=draws))["gravity"]["low"] < _told(_recipe())["gravity"]["value"]


@pytest.mark.parametrize("seed", [-1, 2**31 + 1, 0.5, "one", None])
def test_seeds_have_limits(seed: Any) -> None:
    assert set(errors(_recipe(draws=1000, seed=seed), PATHS["forecast_blend"])) == {"/seed"}


# Errors of readings.


@pytest.mark.parametrize(
    ("path", "stated", "wider"),
    [
        ((*LOT, "volume"), "10 L ± 1 L", "volume"),
        ((*LOT, "volume"), "10 L ± 10 %", "volume"),
        ((*LOT, "titratable_acidity"), "5 ± 1 g/L tartaric", "titratable_acidity"),
        ((*LOT, "titratable_acidity"), "5 g/L tartaric ± 20 %", "titratable_acidity"),
    ],
)
def test_a_stated_error_is_used(path: tuple[Any, ...], stated: str, wider: str) -> None:
    body = {**_recipe()}
    lot = body["recipes"][0]["lots"][0]
    usual = _told(_recipe())
    lot[path[-1]] = stated
    told = _told(body)
    assert told[wider]["value"] == usual[wider]["value"]
    assert _width(told, wider) > 2.0 * _width(usual, wider)
    assert "errors_not_used" not in str(forecast(body))


def test_a_stated_error_of_sugar_and_amount_is_used() -> None:
    tested, vague, poured = _recipe(), _recipe(), _recipe()
    tested["recipes"][0]["lots"][0]["residual_sugar"] = "2 g/L"
    vague["recipes"][0]["lots"][0]["residual_sugar"] = "2 ± 1.5 g/L"
    poured["recipes"][0]["additions"][0]["amount"] = "400 g ± 40 g"
    assert _width(_told(vague), "sugar_g_per_l") > _width(_told(tested), "sugar_g_per_l")
    assert _width(_told(poured), "added_mass") == pytest.approx(2.0 * 1.645 * 40.0, rel=0.01)
    assert _width(_told(poured), "gravity") > _width(_told(_recipe()), "gravity")


def test_gross_and_tare_may_be_off() -> None:
    weighed, vague = _recipe(), _recipe()
    for body, off in ((weighed, ""), (vague, " ± 200 g")):
        lot = body["recipes"][0]["lots"][0]
        del lot["volume"]
        lot |= {"gross": f"14 kg{off}", "tare": f"4 kg{off}"}
    assert _width(_told(vague), "volume") > 3.0 * _width(_told(weighed), "volume")


@pytest.mark.parametrize(
    ("path", "to"),
    [
        ((*ADDITION, "max"), "2 kg ± 10 g"),
        ((*ADDITION, "min"), "1 kg ± 10 g"),
        ((*ADDITION, "pack"), "1 kg ± 10 g"),
        ((*ADDITION, "price"), {"amount": 5, "per": "1 kg ± 10 g"}),
        ((*LOT, "use"), {"max": "5 L ± 1 L"}),
        (("targets", "volume"), {"max": "12 L ± 1 L"}),
        (("targets", "added_mass"), "1 kg ± 10 g"),
        (("targets", "titratable_acidity"), "6 ± 0.5 g/L tartaric"),
        (("targets", "sugar_g_per_l"), "30 ± 2 g/L"),
        (("targets", "volume"), {"value": "11 L", "tolerance": "0.2 L ± 0.01 L"}),
        (("instruments", "scale"), {"step": "1 g ± 0.1 g"}),
    ],
)
def test_errors_are_refused_where_nothing_was_read(path: tuple[Any, ...], to: Any) -> None:
    found = errors(changed(*path, to=to))
    (pointer,) = found
    assert pointer.startswith("/" + "/".join(map(str, path)))
    assert "±" in found[pointer]
    assert "Leave it out" in found[pointer]


@pytest.mark.parametrize(
    ("path", "text", "words"),
    [
        ((*LOT, "volume"), "10 L ± 30 L", "half the value"),
        ((*LOT, "volume"), "10 L ± 0 L", "no reading is exact"),
        ((*LOT, "titratable_acidity"), "5 ± 20 g/L tartaric", "half the value"),
        ((*LOT, "residual_sugar"), "5 ± 4 g/L", "half the value"),
        ((*ADDITION, "measured"), {"titratable_acidity": "5 ± 4 % citric"}, "error in g/L"),
        ((*ADDITION, "measured"), {"titratable_acidity": "50 ± 40 g/L citric"}, "half the value"),
        ((*ADDITION, "amount"), "400 g ± 800 g", "half the value"),
        (("instruments", "volume"), {"error": "80 %"}, "half the reading"),
        (("instruments", "titration"), {"error": "50 %"}, "half the reading"),
    ],
)
def test_an_error_that_leaves_nothing_known_is_refused(path: tuple[Any, ...], text: Any, words: str) -> None:
    body = changed(*path, to=text)
    if path[-1] == "amount":
        del body["additions"][0]["max"]
    (pointer,) = found = errors(body)
    assert pointer.startswith("/" + "/".join(map(str, path)))
    assert words in found[pointer]


def test_a_net_mass_is_known_better_than_to_half() -> None:
    body = changed(*LOT, "volume")
    body["lots"][0] |= {"gross": "10 kg ± 0.3 kg", "tare": "9.5 kg ± 0.3 kg"}
    assert "half the value" in errors(body)["/lots/0/gross"]


@pytest.mark.parametrize("text", ["10 L ±", "10 L ± -1 L", "10 L ± 1 g", "10 L ± 1 L ± 2 L", "10 L ± NaN L", "± 1 L"])
def test_an_error_that_is_none_is_refused(text: str) -> None:
    assert set(errors(changed(*LOT, "volume", to=text))) == {"/lots/0/volume"}


# Instruments.


@pytest.mark.parametrize(
    ("instrument", "wider"),
    [
        ({"hydrometer": {"error": 0.004}}, "gravity"),
        ({"strength": {"error": 1.0}}, "abv_percent"),
        ({"titration": {"error": "10 %"}}, "titratable_acidity"),
        ({"volume": {"error": "8 %"}}, "volume"),
        ({"scale": {"step": "100 g"}}, "added_mass"),
    ],
)
def test_instruments_are_read(instrument: dict[str, Any], wider: str) -> None:
    assert _width(_told(_recipe(instruments=instrument)), wider) > 2.0 * _width(_told(_recipe()), wider)


def test_a_meter_and_a_refractometer_are_read() -> None:
    read = _recipe()
    read["recipes"][0]["lots"][0]["ph"] = 3.5
    vague = copy.deepcopy(read) | {"instruments": {"ph_meter": {"error": 0.2}}}
    assert _width(_told(vague), "ph") > 2.0 * _width(_told(read), "ph")
    juice = _recipe()
    juice["recipes"][0]["additions"] = [
        {"ingredient": "orange_juice_fresh", "amount": "5 L", "measured": {"brix": 11.8}}
    ]
    coarse = copy.deepcopy(juice) | {"instruments": {"refractometer": {"error": 2.0}}}
    assert _width(_told(coarse), "sugar_g_per_l") > 1.3 * _width(_told(juice), "sugar_g_per_l")


@pytest.mark.parametrize(
    ("instruments", "pointer"),
    [
        ({"hydrometer": {"error": -0.001}}, "/instruments/hydrometer/error"),
        ({"hydrometer": {"error": 0.5}}, "/instruments/hydrometer/error"),
        ({"ph_meter": {"error": "NaN"}}, "/instruments/ph_meter/error"),
        ({"volume": {"error": 2}}, "/instruments/volume/error"),
        ({"volume": {"error": "2 L"}}, "/instruments/volume/error"),
        ({"titration": {"error": "-2 %"}}, "/instruments/titration/error"),
        ({"titration": {"error": "few"}}, "/instruments/titration/error"),
        ({"strength": {"error": -1}}, "/instruments/strength/error"),
        ({"refractometer": {"error": None}}, "/instruments/refractometer/error"),
        ({"sextant": {"error": 1}}, "/instruments/sextant"),
    ],
)
def test_errors_of_instruments_that_are_none(instruments: dict[str, Any], pointer: str) -> None:
    assert set(errors(changed("instruments", to=instruments))) == {pointer}


def test_what_to_measure_first_is_told() -> None:
    """A strength known to 2 % vol leaves the strength open, and the answer says so."""
    told = forecast(_recipe(instruments={"strength": {"error": 2.0}}))["recipes"][0]
    of = {row["property"]: row for row in told["least_known"]}
    assert of["abv_percent"]["text"].startswith("Nearly all of the spread in strength is the strength of base")
    assert "measure its strength" in of["abv_percent"]["text"]
    assert 0.9 < of["abv_percent"]["largest_share"] <= 1.0


# Confidence.


def test_percent_and_share_are_the_same_confidence() -> None:
    for text in ("95 %", "95%", " 95 % "):
        assert plan(_sure(text))["amounts"] == plan(_sure(0.95))["amounts"]
    found = plan(_sure(0.95))
    assert found["outcome"] == "targets_met"
    assert reports(found)["gravity"]["asked"].endswith("95 % sure")
    assert reports(found)["gravity"]["chance"] >= 0.949
    assert found["caution_price"]["chances_without"][0]["chance"] < 0.6


def test_a_number_of_percent_is_asked_about() -> None:
    found = errors(_sure(95))
    assert set(found) == {"/targets/gravity/confidence"}
    assert "Did you mean 0.95?" in found["/targets/gravity/confidence"]


@pytest.mark.parametrize(
    "confidence", [0, 0.5, 1, 1.0, -0.95, 0.9991, 100, 5000, "sure", "", "95 L", "NaN %", "1e999 %", True, [], {}]
)
def test_a_confidence_that_is_none_is_refused(confidence: Any) -> None:
    found = post(PATHS["solve_blend"], _sure(confidence), 422)["errors"]
    assert {fault["pointer"] for fault in found} == {"/targets/gravity/confidence"}


@pytest.mark.parametrize("text", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_no_number_is_never_a_failure_of_ours(text: str) -> None:
    """JSON has no NaN; what sends it all the same is refused."""
    body = '{"lots": [], "additions": [], "targets": {"gravity": {"min": 1.0, "confidence": %s}}}' % text  # noqa: UP031
    for place in (body, body.replace('"lots": []', f'"lots": [], "hold_back": {text}')):
        response = app().post(PATHS["solve_blend"], content=place, headers={"content-type": "application/json"})
        assert 400 <= response.status_code < 500, response.text


@pytest.mark.parametrize(
    "target", [{"value": 1.012, "confidence": 0.9}, {"value": 1.012, "tolerance": 0.002, "confidence": 0.9}]
)
def test_an_exact_target_takes_no_confidence(target: dict[str, Any]) -> None:
    found = errors(changed("targets", "gravity", to=target))
    assert set(found) == {"/targets/gravity/confidence"}
    assert found["/targets/gravity/confidence"]


def test_portions_and_trade_offs_take_no_confidence() -> None:
    portions = _sure(0.9) | {"portions": [{"name": "one", "volume": "4 L"}, {"name": "two", "volume": {"min": "2 L"}}]}
    found = errors(portions)
    assert "/targets/gravity/confidence" in found
    assert "portions" in found["/targets/gravity/confidence"]
    own = changed(
        "portions", to=[{"name": "one", "volume": "4 L", "targets": {"gravity": {**RANGE, "confidence": 0.9}}}]
    )
    del own["targets"]
    assert any(pointer.endswith("gravity/confidence") for pointer in errors(own))
    trade = {**_sure(0.9), "x": "sugar_g_per_l", "y": "citrus_percent"}
    found = errors(trade, PATHS["trade_off"])
    assert "trade-offs" in found["/targets/gravity/confidence"]


def test_a_batch_answers_chances_one_by_one() -> None:
    found = post(PATHS["solve_blends"], {"requests": [_sure(0.9), _sure(95), BASE]})
    assert [set(row) & {"answer", "plan", "problem", "error"} != set() for row in found["results"]] == [True] * 3


# Holding back.


@pytest.mark.parametrize("chance", [0.05, "5 %"])
def test_a_first_addition_is_told(chance: Any) -> None:
    found = post(
        PATHS["solve_blend"],
        changed("hold_back", to=chance, body=changed("targets", "gravity", to=RANGE)),
        client=patient(),
    )
    first = found["first_addition"]
    assert first["overshoot_at_most"] == 0.05
    for told in first["overshoot"]:
        assert told["chance"] <= 0.05 + 1e-4
    assert {a["name"] for a in first["amounts"]} == {a["name"] for a in found["amounts"]}
    assert plan(BASE)["first_addition"] is None


@pytest.mark.parametrize("chance", [0, 0.0005, 0.51, 5, 50, -0.1, "much", "5 L", True, None])
def test_a_chance_that_is_none(chance: Any) -> None:
    body = copy.deepcopy(BASE) | {"hold_back": chance}
    if chance is None:
        assert plan(body)["first_addition"] is None
        return
    found = post(PATHS["solve_blend"], body, 422)["errors"]
    assert {fault["pointer"] for fault in found} == {"/hold_back"}
    if chance == 5:
        assert "Did you mean 0.05?" in found[0]["detail"]


def test_portions_are_not_held_back() -> None:
    body = copy.deepcopy(BASE) | {"hold_back": 0.05, "portions": [{"name": "one", "volume": "4 L"}]}
    assert "/hold_back" in errors(body)


def test_no_answer_says_that_errors_are_not_used() -> None:
    body = changed(*LOT, "volume", to="10 L ± 0.5 L")
    assert "errors_not_used" not in codes(plan(body))
    assert "±" not in plan(body)["summary"]
