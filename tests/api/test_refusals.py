"""Refusals: what this version does not answer, by name; and what cannot be understood, with its place."""

from __future__ import annotations

from typing import Any

import pytest

from service.api.later import NOT_ANSWERED_YET
from tests.api.real import BASE, PATHS, app, changed, forecast, plan, post

LOT, ADDITION = ("lots", 0), ("additions", 0)


def errors(body: Any, path: str = PATHS["solve_blend"]) -> dict[str, str]:
    """The faults of a refused request by pointer; no pointer twice."""
    found = post(path, body, 422)["errors"]
    assert len({error["pointer"] for error in found}) == len(found), found
    return {error["pointer"]: error["detail"] for error in found}


def refused(*path: str | int, to: Any) -> tuple[str, str]:
    """The one fault of the base request with a change."""
    ((pointer, detail),) = errors(changed(*path, to=to)).items()
    return pointer, detail


# Parts of the contract that are not built: refused by name wherever they stand, never ignored.

_PLACES: dict[str, tuple[tuple[str | int, ...], Any]] = {
    "lees": (("losses", "lees"), "5 %"),
    "losses": ((*ADDITION, "losses"), {"samples": "0.2 L"}),
    "scores": (("scores",), [1, 2]),
}


def test_every_row_has_a_place() -> None:
    assert set(_PLACES) == set(NOT_ANSWERED_YET)


@pytest.mark.parametrize("name", NOT_ANSWERED_YET)
def test_what_is_not_answered_yet_is_refused_by_name(name: str) -> None:
    path, value = _PLACES[name]
    found = errors(changed(*path, to=value))
    pointer = "/" + "/".join(map(str, path)) + ("" if path[-1] == name else f"/{name}")
    assert found[pointer] == NOT_ANSWERED_YET[name]


def test_scores_of_a_recipe_are_not_judged_yet() -> None:
    recipe = {"name": "r", "lots": BASE["lots"], "scores": [1]}
    assert errors({"recipes": [recipe]}, PATHS["forecast_blend"]) == {"/recipes/0/scores": NOT_ANSWERED_YET["scores"]}


@pytest.mark.parametrize(
    ("value", "pointers"),
    [
        ({"value": 1.012, "confidence": 0.9}, {"/targets/gravity/confidence"}),
        ({"from": "other", "steps": -1}, {"/targets/gravity/from"}),
        ({"from": "other", "steps": "one"}, {"/targets/gravity/steps"}),
    ],
)
def test_a_target_is_blamed_only_for_what_is_wrong_in_it(value: Any, pointers: set[str]) -> None:
    assert set(errors(changed("targets", "gravity", to=value))) == pointers


@pytest.mark.parametrize(
    ("target", "pointer"),
    [
        (0.4, "/targets/ph"),
        ({"min": 12.0}, "/targets/ph/min"),
        ("3.4", "/targets/ph"),
        ({"max": "3.4"}, "/targets/ph/max"),
    ],
)
def test_a_ph_that_no_drink_has_is_refused(target: Any, pointer: str) -> None:
    assert refused("targets", "ph", to=target)[0] == pointer


def test_end_points_and_prices_of_packs_that_nobody_described() -> None:
    price = {"amount": 6.5, "per": "1 pack"}
    pointer, detail = refused(*ADDITION, "price", to=price)
    assert (pointer, "Say what a pack holds" in detail) == ("/additions/0/price/per", True)
    assert refused(*LOT, "titration_end_point_ph", to=3.0)[0] == "/lots/0/titration_end_point_ph"
    assert refused("titration_end_point_ph", to=3.0)[0] == "/titration_end_point_ph"
    assert plan(changed(*LOT, "titration_end_point_ph", to=8.2))["outcome"] == "targets_met"


# Quantities.


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        ((*LOT, "volume"), "10", "the unit is missing"),
        ((*LOT, "volume"), "10 firkins", 'the unit "firkins" is not known'),
        ((*LOT, "volume"), "1,5 L", 'Use a decimal point: "1.5"'),
        ((*LOT, "volume"), "10 oz", "fl oz, or oz by weight?"),
        ((*LOT, "volume"), "0 L", "between 1 mL"),
        ((*LOT, "volume"), "10 kg", "this is a mass, and a volume is needed here"),
        ((*ADDITION, "max"), "10 oz", "fl oz, or oz by weight?"),
        ((*ADDITION, "max"), "-2 kg", "cannot be negative"),
        ((*ADDITION, "max"), "12 C", "mass"),
        ((*LOT, "titratable_acidity"), "4.6", "the unit is missing"),
        ((*LOT, "titratable_acidity"), "4.6 g/L", "say as which acid"),
        (("targets", "titratable_acidity"), "7 g/L", "say as which acid"),
        (("targets", "titratable_acidity"), 7.0, "with its unit"),
        (("targets", "volume"), 20, "with its unit"),
        (("targets", "gravity"), "1.012", "without quotes"),
        (("targets", "gravity"), "3 Bx", "without quotes"),
        (("targets", "gravity"), 1012, "Did you mean"),
        (("targets", "brix"), 140, "between 0 and 100"),
        ((*LOT, "gravity"), 1012, "Did you mean 1.012"),
        ((*LOT, "gravity"), 1.5, "not a drink's"),
        ((*LOT, "gravity"), "7.6 Bx", "a refractometer reads alcohol too"),
        ((*LOT, "ph"), 15, "less than 14"),
        ((*LOT, "abv_percent"), 140, "100"),
        ((*LOT, "class"), "orange", '"mead"'),
        ((*LOT, "original_gravity"), 1.05, "one of the two"),
        ((*LOT, "residual_sugar"), "100 g/L", "does not fit SG 0.998"),
        (("rounding",), "spoons", '"scale"'),
        (("targets",), {"gravity": {"min": 1.02, "max": 1.01}}, "The min is above the max"),
        (("targets",), {"gravity": {}}, "a min, a max, or both"),
        (("targets",), {"gravity": {"value": 1.01, "tolerance": -0.1}}, "zero or more"),
        (("prefer",), [{"maximise": "volume", "minimise": "cost"}], "one property"),
    ],
)
def test_what_cannot_be_understood_is_refused_in_words(path: tuple[str | int, ...], value: Any, words: str) -> None:
    pointer, detail = refused(*path, to=value)
    assert pointer.startswith("/" + "/".join(map(str, path)).removesuffix("/original_gravity"))
    assert words in detail


def test_a_bare_number_is_refused_with_the_units_there_are() -> None:
    pointer, detail = refused(*LOT, "volume", to="10")
    assert (pointer, "mL, L, hL, tsp, tbsp, cup, fl oz" in detail) == ("/lots/0/volume", True)
    pointer, detail = refused(*LOT, "volume", to=10)
    assert pointer == "/lots/0/volume"
    assert "unit" in detail


def test_several_things_about_the_use_of_a_lot() -> None:
    assert refused(*LOT, "use", to={"max": "12 L"})[0] == "/lots/0/use/max"
    assert refused(*LOT, "use", to={"min": "6 L", "max": "5 L"})[0] == "/lots/0/use/min"
    assert refused(*LOT, "use", to="some")[0] == "/lots/0/use"


def test_volume_and_mass_are_one_of_the_two() -> None:
    assert "one of the three" in refused(*LOT, "mass", to="10 kg")[1]
    ((pointer, detail),) = errors(changed(*LOT, "volume")).items()
    assert (pointer, "one of the three" in detail) == ("/lots/0/volume", True)


def test_strength_is_needed() -> None:
    ((pointer, detail),) = errors(changed(*LOT, "abv_percent")).items()
    assert pointer == "/lots/0/abv_percent"
    assert "original_gravity" in detail


def test_an_unknown_ingredient_is_refused_with_what_is_close() -> None:
    response = app().post(PATHS["solve_blend"], json=changed(*ADDITION, "ingredient", to="honney"))
    assert response.status_code == 422
    assert response.json()["type"] == "/problems/unknown-ingredient"
    (error,) = response.json()["errors"]
    assert error["pointer"] == "/additions/0/ingredient"
    assert "honey_average" in error["detail"]
    assert "citrus" not in error["detail"]


@pytest.mark.parametrize("amount", ["1 cup", "2 tsp", "100 mL", "3 fl oz"])
@pytest.mark.parametrize("powder", ["sugar_white", "citric_acid_anhydrous", "potassium_bicarbonate"])
def test_a_powder_is_not_measured_by_volume(powder: str, amount: str) -> None:
    pointer, detail = refused("additions", to=[{"ingredient": powder, "max": amount}])
    assert pointer == "/additions/0/max"
    assert "weigh it" in detail


def test_a_sugar_scale_needs_its_instrument_only_with_alcohol() -> None:
    hydrometer = {"reading": "2 Bx", "scale": "hydrometer"}
    assert plan(changed(*LOT, "gravity", to=hydrometer))["outcome"] == "targets_met"
    assert refused(*LOT, "gravity", to={"reading": "2 Bx"})[0] == "/lots/0/gravity/scale"
    juice = changed("lots", to=[{"name": "j", "volume": "5 L", "gravity": "11.8 Bx", "abv_percent": 0}])
    body = changed("targets", to={"volume": {"min": "5 L"}}, body=juice)
    assert plan(body)["predicted"]["gravity"]["value"] == pytest.approx(1.0475, abs=1e-4)


def test_an_ingredient_is_named_or_given_but_not_both() -> None:
    both = {"ingredient": "honey", "composition": {"name": "h", "components_g_per_100g": {"sucrose": 50}}}
    assert "one of the two" in refused("additions", to=[both])[1]
    assert "one of the two" in refused("additions", to=[{"max": "1 kg"}])[1]
    fixed = {"ingredient": "honey", "amount": "1 kg", "max": "2 kg"}
    assert refused("additions", to=[fixed]) == ("/additions/0/amount", "Give a fixed amount or limits, not both.")
    assert refused("additions", to=[{"ingredient": "honey", "min": "3 kg", "max": "2 kg"}])[0] == "/additions/0/min"


@pytest.mark.parametrize(
    ("components", "words"),
    [({"sugar": 50}, "no component"), ({"sucrose": 120}, "cannot exceed 100"), ({"sucrose": 50, "water": 20}, "30.0")],
)
def test_a_composition_has_to_add_up(components: dict[str, float], words: str) -> None:
    own = {"composition": {"name": "h", "components_g_per_100g": components}}
    pointer, detail = refused("additions", to=[own])
    assert pointer.startswith("/additions/0/composition")
    assert words in detail


def test_all_faults_are_gathered_with_their_places() -> None:
    body = {
        "lots": [
            {"name": "a", "volume": "10", "gravity": 0.998, "abv_percent": 8.0},
            {"name": "a", "volume": "5 L", "gravity": 1012, "abv_percent": 8.0},
        ],
        "additions": [{"ingredient": "honney"}, {"ingredient": "sugar", "max": "1 cup"}],
        "targets": {"ph": 34.0, "titratable_acidity": "7 g/L", "gravity": 1.012},
        "prefer": [{"maximise": "volume", "minimise": "cost"}],
        "instruments": {"scale": {"step": "1 L"}},
        "intended": {"vessel": "30"},
    }
    found = errors(body)
    assert set(found) == {
        "/lots/1/name",
        "/lots/0/volume",
        "/lots/1/gravity",
        "/additions/0/ingredient",
        "/additions/1/max",
        "/targets/ph",
        "/targets/titratable_acidity",
        "/prefer/0",
        "/instruments/scale/step",
        "/intended/vessel",
    }
    assert "10 things" in post(PATHS["solve_blend"], body, 422)["detail"]


def test_shapes_are_gathered_too() -> None:
    body = changed(*LOT, "abv_percent", to="8")
    body["lots"][0]["colour"] = "gold"
    body["additions"][0]["maximum"] = "1 kg"
    body["target"] = 1
    found = errors(body)
    assert set(found) == {"/lots/0/abv_percent", "/lots/0/colour", "/additions/0/maximum", "/target"}
    assert 'Did you mean "targets"?' in found["/target"]


@pytest.mark.parametrize("path", [(*LOT, "gravity"), ("targets", "gravity")])
def test_a_place_that_takes_several_shapes_is_blamed_once(path: tuple[str | int, ...]) -> None:
    pointer, detail = refused(*path, to=True)  # one fault, not one for each shape
    assert pointer == "/" + "/".join(map(str, path))
    assert "number" in detail


def test_nothing_to_blend_and_nothing_to_aim_at() -> None:
    assert errors({"lots": [], "additions": [], "targets": {"gravity": 1.01}}).keys() == {"/lots"}
    assert errors(changed("targets", to={})).keys() == {"/targets"}
    assert errors(changed("targets")).keys() == {"/targets"}


def test_forecasts_pour_given_amounts() -> None:
    recipe = {"name": "r", "lots": [{**BASE["lots"][0], "use": {"max": "5 L"}}]}
    found = errors({"recipes": [recipe]}, PATHS["forecast_blend"])
    assert list(found) == ["/recipes/0/lots/0/use"]
    given = {**recipe, "lots": [{**BASE["lots"][0], "use": {"min": "5 L", "max": "5 L"}}]}
    assert forecast({"recipes": [given]})["recipes"][0]["predicted"]["volume"]["value"] == pytest.approx(5.0)
    free = {**given, "additions": [{"ingredient": "honey"}]}
    assert list(errors({"recipes": [free]}, PATHS["forecast_blend"])) == ["/recipes/0/additions/0/amount"]
    assert list(errors({"recipes": []}, PATHS["forecast_blend"])) == ["/recipes"]
    assert list(errors({"recipes": [{"name": "r", "lots": []}]}, PATHS["forecast_blend"])) == ["/recipes/0"]
    twice = errors({"recipes": [given, given]}, PATHS["forecast_blend"])
    assert list(twice) == ["/recipes/1/name"]
