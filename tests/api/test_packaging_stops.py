"""What forbids closing up, told once and by one rule, in figures, steps, label and verdict. Drinks are invented;
figures marked "computed" follow from the cited formulas."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

import pytest

from service.physics.carbon_dioxide import co2_g_per_l_at_gauge
from tests.api.real import PATHS, app, codes, post

PATH = PATHS["plan_packaging"]
ENDED: dict[str, Any] = {"refermentation": {"fermentation_finished": True}}
SWEET: dict[str, Any] = {"volume": "20 L", "gravity": 1.010, "abv_percent": 6.5, "sugar_g_per_l": 40, "ph": 3.2}
DRY: dict[str, Any] = {**SWEET, "gravity": 0.998, "sugar_g_per_l": 1}
RAW: dict[str, Any] = {"holds": [{"ingredient": "lemon_juice_fresh", "g_per_l": 20, "treatment": "raw"}]}
BEER = [{"kind": "beer_bottle", "fill": "330 mL"}]
RATED = [{"kind": "beer_bottle", "fill": "330 mL", "headspace": "5 %", "rated_pressure": "10 bar"}]
KEG = [{"kind": "keg", "fill": "19 L"}]
LOG = [{"minute": 0, "temperature": "65 C"}, {"minute": 5, "temperature": "65 C"}]
"""5 min at 65 °C: 26 units (Del Vecchio et al. 1951; computed)."""
KEPT_COLD = "Keep in the refrigerator"


def pack(drink: dict[str, Any], containers: Sequence[object], **more: Any) -> dict[str, Any]:
    return post(PATH, {"drink": drink, "containers": containers, **ENDED, **more})


def label(answer: dict[str, Any]) -> str:
    return " | ".join(line["text"] for line in answer["label_text"])


def said(answer: dict[str, Any]) -> list[str]:
    return [step["do"] for step in answer["steps"]]


def assumed(answer: dict[str, Any]) -> dict[str, str]:
    return {a["what"]: f"{a['value']}: {a['source']}" for a in answer["assumed"]}


@pytest.mark.parametrize("heat", [{"target_units": 1}, {"target_units": 59}, {"target_units": 60, "log": LOG}])
def test_heat_that_does_not_count_silences_nothing(heat: dict[str, Any]) -> None:
    found = pack({**SWEET, **RAW}, RATED, heat=heat)
    assert codes(found)["hurdle_does_not_hold"] == "stop"
    assert codes(found)["raw_juice"] == "warning"
    assert codes(found)["pasteurising_below_target"] == "warning"
    assert KEPT_COLD in label(found)
    assert found["sealing"] == "do_not_seal"
    salted = pack({**SWEET, **RAW}, RATED, heat=heat, intended={"hurdles": ["sulfite"]})
    assert codes(salted)["raw_juice_after_stabilising"] == "stop"
    assert "sulfites" in label(salted)  # what is in it is told, whether it holds or not
    counts = pack({**SWEET, **RAW}, RATED, heat={"target_units": 60})
    assert not {"hurdle_does_not_hold", "raw_juice", "pasteurising_below_target"} & set(codes(counts))
    assert KEPT_COLD not in label(counts)
    assert counts["sealing"] == "no_blocker_found"


def test_raw_juice_has_one_rule() -> None:
    found = pack({**DRY, **RAW}, BEER, intended={"hurdles": ["sulfite", "sorbate"]})
    assert Counter(c["code"] for c in found["cautions"])["raw_juice_after_stabilising"] == 1
    assert any("Heat-treat" in step for step in said(found))
    alone = post(PATH, {"drink": {**DRY, **RAW}, "only": ["label"]})
    assert codes(alone)["raw_juice"] == "warning"


def test_hardly_any_headspace_is_not_heated() -> None:
    """2.1 % from 20 to 65 °C: the air is squeezed to more than 80 bar (computed)."""
    tight = [{"kind": "bottle", "fill": "330 mL", "headspace": "2.1 %"}]
    found = pack(SWEET, tight, heat={"temperature": "65 C", "filled_at": "20 C"})
    assert codes(found)["heated_pressure_over_rating"] == "stop"
    assert found["sealing"] == "do_not_seal"
    assert found["fills"][0]["heated"]["gauge_bar"] > 80.0
    assert any(step.startswith("Heat no container so") for step in said(found))
    assert not any(step.startswith("Warm the water bath") for step in said(found))
    roomy = pack(SWEET, [{**tight[0], "headspace": "8 %"}], heat={"temperature": "65 C", "filled_at": "20 C"})
    assert "heated_pressure_over_rating" not in codes(roomy)


@pytest.mark.parametrize(
    ("gas", "heat", "at_c"),
    [
        ({}, {}, 4.0),
        ({}, {"filled_at": "15 C"}, 15.0),
        ({"filled_from_keg": {"temperature": "10 C", "volumes": 1.3}}, {}, 10.0),
        ({"filled_from_keg": {"temperature": "10 C", "volumes": 1.3}}, {"filled_at": "15 C"}, 15.0),
    ],
)
def test_a_container_is_closed_at_one_temperature(gas: dict[str, Any], heat: dict[str, Any], at_c: float) -> None:
    rated = [{"kind": "sparkling_bottle", "fill": "330 mL", "headspace": "6 %", "rated_pressure": "12 bar"}]
    found = pack(DRY, rated, gas=gas, heat=heat)
    (fill,) = found["fills"]
    assert {fill[part]["filled_at_c"] for part in ("thermal_room", "heated")} == {at_c}
    assert fill["pressure"]["warm_headspace"]["filled_at_c"] == at_c
    assert assumed(found)["temperature when it is closed"].startswith(f"{at_c:g} °C")


@pytest.mark.parametrize(("headspace", "code"), [("0 %", "container_full_when_warm"), ("0.7 %", "squeezed_headspace")])
def test_a_cell_refuses_the_headspace_that_its_twin_stops(headspace: str, code: str) -> None:
    found = pack(DRY, [{**BEER[0], "headspace": headspace}], storage_temperature="35 C")
    assert codes(found)[code] == "stop"
    assert codes(pack(DRY, [{**BEER[0], "headspace": "4 %"}], storage_temperature="35 C")).get(code) is None
    query: dict[str, Any] = {"sugar_g_per_l": 1, "abv_percent": 6.5, "container": "beer_bottle", "temperature": "35C"}
    ask = app().get("/v1/cell/pressure-if-refermented", params={**query, "headspace_percent": headspace.split()[0]})
    assert ask.status_code == 422
    assert app().get("/v1/cell/pressure-if-refermented", params={**query, "headspace_percent": 4}).status_code == 200


def recipe(**lot: Any) -> dict[str, Any]:
    base = {"name": "base", "volume": "20 L", "gravity": 0.998, "abv_percent": 7.5, "residual_sugar": "0.5 g/L"}
    return post(PATH, {"lots": [{**base, **lot}], "containers": BEER, **ENDED})


def test_what_a_lot_says_of_lees_and_gas() -> None:
    """Without pressure the drink holds k·1.01325 g/L at 4 °C, about 2.6 (Carroll et al. 1991; computed)."""
    assert codes(recipe(on_lees=True))["yeast_still_active"] == "stop"
    clear = recipe(on_lees=False, degassed=True)
    assert "yeast_still_active" not in codes(clear)
    assert clear["fills"][0]["pressure"]["co2_before_g_per_l"] == 1.0
    found = recipe(degassed=False)
    (fill,) = found["fills"]
    holds = co2_g_per_l_at_gauge(0.0, 4.0, found["drink"]["abv_percent"]["value"], 0.5)
    assert fill["pressure"]["co2_before_g_per_l"] == pytest.approx(holds, rel=0.01)
    assert "not degassed" in assumed(found)["carbon dioxide in the drink when it is closed"]


def test_salts_on_a_ferment_that_may_move() -> None:
    salts = {"free_so2": "30 mg/L", "sorbic_acid": "150 mg/L"}
    drink = {**SWEET, "abv_percent": 12, "gravity": 1.005, **salts}
    hurdles = {"hurdles": ["sulfite", "sorbate"]}
    moving = post(PATH, {"drink": drink, "containers": BEER, "intended": hurdles})
    assert codes(moving)["stabilisers_on_a_moving_ferment"] == "stop"
    assert any(step.startswith("Wait, then read the gravity") for step in said(moving))
    assert "stabilisers_on_a_moving_ferment" not in codes(pack(drink, BEER, intended=hurdles))
    unknown = {k: v for k, v in drink.items() if k not in salts}
    assert codes(pack(unknown, BEER, intended=hurdles))["hurdle_does_not_hold"] == "stop"


@pytest.mark.parametrize("gas", [{"volumes": 2.2}, {"still": True, "gauge": "1.2 bar"}])
@pytest.mark.parametrize("headspace", ["4 %", "12 %"])
def test_a_keg_has_one_pressure(gas: dict[str, Any], headspace: str) -> None:
    """A purged keg holds no air: its gauge shows 1 atm less than the partial pressure."""
    found = pack(DRY, [{**KEG[0], "headspace": headspace}], gas={**gas, "temperature": "4 C"})
    (fill,) = found["fills"]
    at_30 = next(row for row in found["keg"]["by_temperature"] if row["temperature_c"] == 30.0)
    assert fill["pressure"]["baseline"] == at_30
    held = next(row for row in found["keg"]["by_temperature"] if row["temperature_c"] == 4.0)
    gauge = found["keg"]["gauge_bar"] or 1.2
    assert held["pressure_bar"] == pytest.approx(gauge, abs=2e-3)
    assert fill["pressure"]["co2_before_g_per_l"] == pytest.approx(co2_g_per_l_at_gauge(gauge, 4.0, 6.5, 1.0), abs=2e-3)


def test_a_still_keg_left_under_gas() -> None:
    """3.5 bar at 4 °C dissolve 11.9 g/L, and 30 °C bring a purged keg to 8.5 bar, perhaps 9.1 (computed)."""
    gas = {"still": True, "gauge": "3.5 bar"}
    found = pack(DRY, KEG, gas=gas)
    assert found["fills"][0]["pressure"]["co2_before_g_per_l"] == pytest.approx(11.9, abs=0.05)
    assert codes(found)["keg_over_pressure_when_warm"] == "warning"
    stored = pack(DRY, KEG, gas=gas, storage_temperature="30 C")
    assert codes(stored)["keg_over_pressure_when_warm"] == "stop"
    assert codes(stored)["pressure_over_rating"] == "stop"
    assert "keg_over_pressure_when_warm" not in codes(pack(DRY, KEG, gas={"still": True, "gauge": "0.3 bar"}))


def test_a_pressure_that_nobody_stated_is_told_as_a_case() -> None:
    bare = pack(DRY, KEG)
    assert "No pressure on it was stated" in bare["keg"]["text"]
    assert "would dissolve" in next(c["text"] for c in bare["cautions"] if c["code"] == "still_keg_takes_up_gas")
    told = pack(DRY, KEG, gas={"gauge": "0.3 bar"})
    assert told["keg"]["text"].startswith("Left under carbon dioxide of 0.3 bar")


@pytest.mark.parametrize(
    ("drink", "code", "step"),
    [
        ({**DRY, "total_so2": "500 mg/L"}, "total_so2_over_limit", "Thin it"),
        ({**DRY, "sorbic_acid": "400 mg/L"}, "sorbic_acid_over_limit", "Thin it"),
        ({**DRY, "ph": 4.7}, "ph_above_4_6", "Acidify"),
    ],
)
def test_verdict_summary_and_steps_obey_every_stop(drink: dict[str, Any], code: str, step: str) -> None:
    found = pack(drink, BEER)
    assert [c["code"] for c in found["cautions"] if c["level"] == "stop"] == [code]  # and told once
    assert found["sealing"] == "do_not_seal"
    assert found["summary"].startswith("Do not close it up")
    assert any(told.startswith(step) for told in said(found))
    assert not any("Fill and close" in told for told in said(found))
    fine = pack({**DRY, "total_so2": "50 mg/L", "sorbic_acid": "150 mg/L"}, BEER)
    assert fine["sealing"] == "no_blocker_found"
    if code != "ph_above_4_6":
        assert post(PATH, {"drink": drink, "only": ["label"]})["sealing"] == "do_not_seal"


def test_a_high_ph_and_one_that_nobody_read() -> None:
    assert codes(pack({**DRY, "ph": 4.2}, BEER))["ph_high"] == "warning"
    assert "ph_high" not in codes(pack({**DRY, "ph": 3.5}, BEER))
    unread = pack({k: v for k, v in DRY.items() if k != "ph"}, BEER)
    assert "pH of the drink" in assumed(unread)
    assert any(r["instrument"].startswith("pH meter") for r in unread["next_reading"])


def test_bottles_from_a_keg_are_told_of_once() -> None:
    """The worst case holds the gas of the keg and what ferments on top: the higher figure."""
    found = pack(SWEET, BEER, gas={"filled_from_keg": {"temperature": "4 C", "volumes": 2.4}})
    stops = Counter(c["code"] for c in found["cautions"] if c["level"] == "stop")
    assert set(stops.values()) == {1}
    (over,) = (c["text"] for c in found["cautions"] if c["code"] == "pressure_over_rating")
    assert over.startswith(f"{found['fills'][0]['pressure']['worst']['high_bar']:.3g} bar")
    only_gas = post(
        PATH,
        {
            "drink": SWEET,
            "containers": BEER,
            "gas": {"filled_from_keg": {"temperature": "4 C", "volumes": 2.4}},
            "only": ["gas"],
        },
    )
    assert codes(only_gas)["pressure_over_rating"] == "stop"


def test_a_keg_stands_under_gas_before_bottles_are_filled_from_it() -> None:
    sizes = [{"kind": "sparkling_bottle", "fill": "750 mL"}, {"kind": "keg", "fill": "5 L", "count": 1}]
    source = {"temperature": "4 C", "volumes": 2.0}
    for containers, gas in ((sizes, {"volumes": 2.0}), (sizes[:1], {})):
        steps = said(pack(DRY, containers, gas={**gas, "filled_from_keg": source}))
        order = [
            next(k for k, step in enumerate(steps) if step.startswith(start))
            for start in ("Chill the closed", "Set the regulator", "Leave it on gas", "Fill and close: 750 mL")
        ]
        assert order == sorted(order)
        assert sum(step.startswith("Set the regulator") for step in steps) == 1


def test_two_kegs_that_are_said_to_be_one() -> None:
    sizes = [{"kind": "keg", "fill": "5 L", "count": 1}, {"kind": "sparkling_bottle", "fill": "750 mL"}]

    def filled(gauge: str) -> dict[str, Any]:
        return pack(DRY, sizes, gas={"volumes": 2.0, "filled_from_keg": {"temperature": "4 C", "gauge": gauge}})

    found = filled("1.2 bar")  # (1.2 + 1.013)·2.63/1.977 = 2.9 volumes (computed)
    assert codes(found)["keg_gas_disagrees"] == "warning"
    assert sum(step.startswith("Set the regulator") for step in said(found)) == 2
    assert "keg_gas_disagrees" not in codes(filled("0.5 bar"))


@pytest.mark.parametrize(
    ("abv", "sugar", "pointer"), [(25, 5, "/drink/abv_percent"), (15, 320, "/drink/sugar_g_per_l")]
)
def test_a_drink_beyond_the_law_of_gas_is_still_counted(abv: float, sugar: float, pointer: str) -> None:
    drink = {"volume": "20 L", "abv_percent": abv, "sugar_g_per_l": sugar, "ph": 3.3}
    refusal = post(PATH, {"drink": drink, "containers": BEER}, 422)
    (fault,) = refusal["errors"]
    assert fault["pointer"] == pointer
    assert "can be asked for alone" in fault["detail"]
    asked = {"drink": drink, "containers": BEER, "intended": {"hurdles": ["sulfite", "sorbate"]}}
    found = post(PATH, {**asked, "only": ["fills", "label"]})
    assert found["sealing"] == "not_judged"
    assert found["fills"][0]["count"] == 60
    assert found["label"]["label_text"]


def test_every_caution_is_short() -> None:
    tight = [{"kind": "bottle", "fill": "330 mL", "headspace": "2.1 %"}]
    wide = {**DRY, "sugar_g_per_l": {"value": 1, "low": 0, "high": 30}, "ph": 4.3}
    gas = {"volumes": 2.0, "filled_from_keg": {"temperature": "4 C", "gauge": "1.2 bar"}}
    for body in (
        pack(SWEET, tight, heat={"target_units": 1}),
        pack(wide, [*tight, *KEG], gas=gas, storage_temperature="35 C"),
        recipe(on_lees=True, degassed=False),
    ):
        for caution in body["cautions"]:
            assert len(caution["text"].split()) <= 30, caution
