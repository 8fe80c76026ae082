"""One drink beside another and beside its readings: differences, steps, and what instruments can tell."""

from __future__ import annotations

from dataclasses import fields, replace
from math import log

import pytest

from service.catalogue.lookup import get_ingredient
from service.errors import InputError
from service.model.lot import LotReadings, lot_from_readings
from service.model.lot_class import LotClass
from service.model.properties import PROPERTIES
from service.planner.answers import Predicted
from service.planner.asked import AdditionAsked, Circumstances, Instruments, LotAsked
from service.planner.compare import (
    ABV_ERROR_PERCENT,
    READ,
    AgainstReading,
    Difference,
    against_readings,
    differences,
    instrument_error,
)
from service.planner.materials import materials_of
from service.planner.predict import predict
from service.planner.steps import Senses, Step

TOOLS = Instruments()


def drink(honey_g: float, lemon_g: float = 0.0) -> Predicted:
    lot = lot_from_readings("base", LotReadings(10.0, None, 0.998, 8.0, LotClass.MEAD, titratable_meq_per_l=66.7))
    additions = tuple(
        AdditionAsked(get_ingredient(name), least_g=grams, most_g=grams)
        for name, grams in (("honey", honey_g), ("lemon_juice", lemon_g))
        if grams
    )
    materials = materials_of((LotAsked(lot, 10.0, 10.0),), additions)
    return predict(materials, [m.least_g for m in materials], Circumstances())


DRY, SWEET, LEMON = drink(300.0), drink(600.0), drink(600.0, 500.0)


def by_name(found: tuple[Difference, ...]) -> dict[str, Difference]:
    return {d.property: d for d in found}


def reading(found: tuple[AgainstReading, ...], name: str) -> AgainstReading:
    (one,) = (r for r in found if r.property == name)
    return one


def test_differences_are_those_of_the_predictions() -> None:
    found = by_name(differences(DRY, SWEET, TOOLS))
    for name in ("gravity", "sugar_g_per_l", "abv_percent", "added_mass", "energy_kcal_per_100ml"):
        before, after = getattr(DRY, name), getattr(SWEET, name)
        assert found[name].difference == pytest.approx(after.value - before.value, abs=1e-9)
        assert found[name].unit == PROPERTIES[name].unit
    assert found["added_mass"].difference == 300.0


def test_steps_by_shares_and_by_differences() -> None:
    found = by_name(differences(DRY, SWEET, TOOLS))
    # Weber's law with our 12 % of sugar; strength by 1 % vol, gravity by 0.002
    by_hand = log(SWEET.sugar_g_per_l.value / DRY.sugar_g_per_l.value) / log(1.12)
    assert found["sugar_g_per_l"].steps == pytest.approx(by_hand, abs=0.005)
    assert found["abv_percent"].steps == pytest.approx(found["abv_percent"].difference, abs=0.005)
    assert found["gravity"].steps == pytest.approx(found["gravity"].difference / 0.002, abs=0.03)
    coarse = by_name(differences(DRY, SWEET, TOOLS, Senses((("sugar_g_per_l", Step(0.17, True)),))))
    assert coarse["sugar_g_per_l"].steps == pytest.approx(by_hand * log(1.12) / log(1.17), abs=0.01)


def test_the_other_way_round_everything_changes_its_sign() -> None:
    there, back = differences(DRY, LEMON, TOOLS), differences(LEMON, DRY, TOOLS)
    for a, b in zip(there, back, strict=True):
        assert a.property == b.property
        assert a.difference == -b.difference
        assert (a.steps is None and b.steps is None) or a.steps == -(b.steps or 0.0)
        assert a.exceeds_instruments == b.exceeds_instruments


def test_a_drink_does_not_differ_from_itself() -> None:
    for found in differences(SWEET, SWEET, TOOLS):
        assert found.difference == 0.0
        sensed = found.property not in ("volume", "added_mass", "added_volume", "cost", "energy_kcal_per_100ml")
        assert found.steps == (0.0 if sensed else None)
        assert found.exceeds_instruments in (False, None)


def test_from_no_juice_to_some_steps_are_no_finer_than_at_the_floor() -> None:
    found = by_name(differences(SWEET, LEMON, TOOLS))
    juice = found["juice_percent"]
    assert juice.difference > 4.0
    # 4 % at 4·ln 1.25 = 0.893 % each, then Weber's law
    by_hand = 4.0 / (4.0 * log(1.25)) + log(juice.difference / 4.0) / log(1.25)
    assert juice.steps == pytest.approx(by_hand, abs=0.02)
    assert found["titratable_acidity"].steps is not None
    assert found["titratable_acidity"].steps > 0.0


def test_what_one_drink_lacks_is_left_out() -> None:
    found = by_name(differences(SWEET, replace(LEMON, ph=None), TOOLS))
    assert "ph" not in found
    assert "cost" not in found  # no prices
    assert list(found) == [name for name in PROPERTIES if name in found]


def test_two_readings_have_two_errors() -> None:
    assert SWEET.gravity.value - DRY.gravity.value > 0.005
    # Readings of 0.001 each tell gravities apart from 0.00141 on.
    for difference, told in ((0.0013, False), (0.0015, True)):
        other = replace(DRY, gravity=replace(DRY.gravity, value=DRY.gravity.value + difference))
        assert by_name(differences(DRY, other, TOOLS))["gravity"].exceeds_instruments is told
    sharp = replace(TOOLS, hydrometer_error=0.0005)
    near = replace(DRY, gravity=replace(DRY.gravity, value=DRY.gravity.value + 0.0013))
    assert by_name(differences(DRY, near, sharp))["gravity"].exceeds_instruments is True
    assert by_name(differences(DRY, SWEET, TOOLS))["sugar_g_per_l"].exceeds_instruments is None


def test_errors_of_the_instruments() -> None:
    tools = Instruments(hydrometer_error=0.002, ph_meter_error=0.1, volume_error_percent=3.0)
    assert instrument_error("gravity", 1.01, tools) == 0.002
    assert instrument_error("ph", 3.4, tools) == 0.1
    assert instrument_error("volume", 20.0, tools) == pytest.approx(0.6)
    # 2 to 5 % of a titration, and no better than ±0.05 mL in 10 mL of 0.1 mol/L: 0.03 g/L as citric (computed)
    assert instrument_error("titratable_acidity", 7.0, tools) == pytest.approx(0.14)
    assert 0.03 < instrument_error("titratable_acidity", 0.0, tools) < 0.1  # type: ignore[operator]
    # hydrometer ±0.001 and refractometer ±0.2 °Bx leave ±0.48 % vol (computed)
    assert abs(ABV_ERROR_PERCENT - 0.48) <= 0.03
    assert {name for name in PROPERTIES if instrument_error(name, 1.0, tools) is not None} == set(READ)


def test_readings_beside_the_prediction() -> None:
    assert SWEET.ph is not None
    measured = {
        "gravity": SWEET.gravity.value + 0.0008,
        "ph": SWEET.ph.value - 0.12,
        "titratable_acidity": SWEET.titratable_acidity.value + 0.08,
        "volume": SWEET.volume.value * 1.05,
        "abv_percent": SWEET.abv_percent.value - 0.6,
    }
    found = against_readings(SWEET, measured, TOOLS)
    assert [r.property for r in found] == list(READ)
    exceeding = {r.property for r in found if r.exceeds_instruments}
    assert exceeding == {"ph", "volume", "abv_percent"}
    assert reading(found, "gravity").difference == pytest.approx(0.0008)
    assert reading(found, "gravity").steps == pytest.approx(0.4)
    assert reading(found, "volume").instrument_error == pytest.approx(0.02 * SWEET.volume.value * 1.05, abs=1e-4)
    assert reading(found, "ph").instrument_error == 0.05
    assert {r.property for r in found if not r.within_interval} == {"volume"}  # 5 % of a volume that is known to 2 %
    for one in found:
        assert one.difference == pytest.approx(one.measured - one.predicted, abs=1e-4)


def test_a_difference_of_just_the_error_does_not_exceed_it() -> None:
    level = replace(SWEET, gravity=replace(SWEET.gravity, value=1.013))
    (one,) = against_readings(level, {"gravity": 1.014}, TOOLS)
    assert not one.exceeds_instruments
    (one,) = against_readings(level, {"gravity": 1.0141}, TOOLS)
    assert one.exceeds_instruments


def test_only_what_is_read_is_held_against_a_prediction() -> None:
    with pytest.raises(InputError, match="not read") as caught:
        against_readings(SWEET, {"sugar_g_per_l": 50.0}, TOOLS)
    assert caught.value.pointer == "/sugar_g_per_l"
    with pytest.raises(InputError, match="could be predicted") as caught:
        against_readings(replace(SWEET, ph=None), {"ph": 3.4}, TOOLS)
    assert caught.value.pointer == "/ph"
    assert against_readings(SWEET, {}, TOOLS) == ()


def test_every_property_of_an_answer_can_be_compared() -> None:
    assert {f.name for f in fields(Predicted)} == set(PROPERTIES)
