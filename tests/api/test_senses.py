"""A caller's own figures for the senses: relative sweetness and just-noticeable steps, in place of ours."""

from __future__ import annotations

from typing import Any

import pytest

from tests.api.real import PATHS, plan, post

LOT = {"name": "dry base", "volume": "10 L", "gravity": 0.998, "abv_percent": 8.0, "residual_sugar": "0 g/L"}
OWN = {"fructose": 1.5, "glucose": 0.5, "sucrose": 1.0}


def _asked(senses: dict[str, Any] | None, **targets: Any) -> dict[str, Any]:
    return {
        "lots": [LOT],
        "additions": [{"ingredient": "fructose_crystalline", "max": "2 kg"}],
        "targets": targets,
        **({} if senses is None else {"senses": senses}),
    }


def _fructose_g_per_l(answer: dict[str, Any]) -> float:
    mass = next(a["mass_g"] for a in answer["amounts"] if a["name"] == "fructose_crystalline")
    return float(mass / answer["predicted"]["volume"]["value"])


@pytest.mark.parametrize("own", [1.03, 1.5, 1.73])
def test_sweetness_goes_by_the_callers_figure(own: float) -> None:
    """1.03, 1.50 and 1.73: Paul, Sale and Skinner, Biester and Wood, quoted by B. Lowe, Experimental Cookery."""
    answer = plan(_asked({"relative_sweetness": {"fructose": own}}, sucrose_equivalent_g_per_l=60.0))
    assert answer["outcome"] == "targets_met"
    assert answer["predicted"]["sucrose_equivalent_g_per_l"]["value"] == pytest.approx(60.0, abs=0.05)
    assert own * _fructose_g_per_l(answer) == pytest.approx(60.0, rel=2e-3)


def test_the_published_band_stays_as_it_is() -> None:
    ours, own = plan(_asked(None, gravity=1.02)), plan(_asked({"relative_sweetness": OWN}, gravity=1.02))
    mine, yours = (a["predicted"]["sucrose_equivalent_g_per_l"] for a in (ours, own))
    assert yours["value"] == pytest.approx(mine["value"] * 1.5 / 1.2, rel=2e-3)  # our central figure is 1.20
    assert (yours["published_low"], yours["published_high"]) == (mine["published_low"], mine["published_high"])


def test_what_is_no_sugar_and_no_sweetness_is_refused() -> None:
    path = PATHS["solve_blend"]
    (fault,) = post(path, _asked({"relative_sweetness": {"honey": 1.2}}, gravity=1.02), 422)["errors"]
    assert fault["pointer"] == "/senses/relative_sweetness/honey"
    assert "fructose" in fault["detail"]
    (fault,) = post(path, _asked({"relative_sweetness": {"fructose": 11.0}}, gravity=1.02), 422)["errors"]
    assert fault["pointer"] == "/senses/relative_sweetness/fructose"


def test_the_nearest_plan_counts_in_the_callers_steps() -> None:
    """Water makes a strong lot weaker and more of it: whose step is the smaller of the two rules."""
    request = {
        "lots": [LOT],
        "additions": [{"ingredient": "water_deionised", "max": "20 L"}],
        "targets": {"abv_percent": 6.0, "volume": "10 L"},
    }
    coarse = plan({**request, "senses": {"steps": {"abv_percent": 5.0, "volume": "1 %"}}})
    fine = plan({**request, "senses": {"steps": {"abv_percent": 0.01, "volume": "50 %"}}})
    assert coarse["predicted"]["volume"]["value"] == pytest.approx(10.0, abs=0.06)
    assert fine["predicted"]["abv_percent"]["value"] == pytest.approx(6.0, abs=0.06)


def test_sucrose_is_the_unit_of_sweetness() -> None:
    path = PATHS["solve_blend"]
    (fault,) = post(path, _asked({"relative_sweetness": {"sucrose": 0.5}}, gravity=1.02), 422)["errors"]
    assert fault["pointer"] == "/senses/relative_sweetness/sucrose"
    assert plan(_asked({"relative_sweetness": {"sucrose": 1.0}}, gravity=1.02))["outcome"] == "targets_met"


def test_what_would_help_helps_by_the_callers_sweetness() -> None:
    """A clash over sweetness: what is proposed, added in that amount, meets the target as the caller counts."""
    senses = {"relative_sweetness": {"fructose": 1.5}}
    request = {
        "lots": [LOT],
        "additions": [{"ingredient": "water_deionised", "max": "1 L"}],
        "targets": {"sucrose_equivalent_g_per_l": {"min": 40.0}},
        "senses": senses,
    }
    clash = plan(request)
    assert clash["outcome"] == "targets_clash"
    assert clash["clash"]["helpful_ingredients"]
    for helpful in clash["clash"]["helpful_ingredients"]:
        more = {"ingredient": helpful["ingredient"], "max": f"{1.001 * helpful['mass_g']} g"}
        answer = plan({**request, "additions": [*request["additions"], more]})  # type: ignore[misc]
        assert answer["outcome"] == "targets_met", helpful
