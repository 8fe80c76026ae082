"""Lots: what is read comes back exactly, and readings that cannot be true are refused in words."""

from __future__ import annotations

import pytest

from service.errors import InconsistentError, InputError, OutOfRangeError, ServiceError
from service.model.acidity import chemistry_of
from service.model.lot import Lot, LotReadings, lot_from_readings
from service.model.lot_class import DRY_EXTRACT, TYPICAL_ACIDITY, LotClass
from service.model.properties import property_value
from service.physics.solutes import Component
from tests.api.real import changed, forecast, post
from tests.oracle.liquids import ETHANOL_KG_M3, WATER_KG_M3, ethanol_water_density_kg_m3
from tests.oracle.pour import Lot as PaperLot
from tests.oracle.pour import lot_contents

FERMENTS = (LotClass.MEAD, LotClass.GRAPE_WINE, LotClass.FRUIT_WINE, LotClass.CIDER_PERRY, LotClass.SPIRIT)


def lot(gravity: float, abv: float, lot_class: LotClass = LotClass.MEAD, volume_l: float = 10.0, **more: float) -> Lot:
    return lot_from_readings("base", LotReadings(volume_l, None, gravity, abv, lot_class, **more))


def read_again(found: Lot) -> tuple[float, float, float]:
    """Gravity, strength and volume of a lot's contents, by the masses and the densities of the paper calculation."""
    contents = found.contents
    volume_l = contents.volume_ml / 1000.0
    ethanol_l = contents.masses_g.get(Component.ETHANOL, 0.0) / ETHANOL_KG_M3
    return contents.mass_g / volume_l / WATER_KG_M3, 100.0 * ethanol_l / volume_l, volume_l


@pytest.mark.parametrize("lot_class", FERMENTS)
@pytest.mark.parametrize(
    ("gravity", "abv"), [(0.992, 12.0), (0.998, 8.1), (1.0, 0.0), (1.012, 6.6), (1.09, 14.0), (1.13, 0.0)]
)
def test_readings_come_back_exactly(gravity: float, abv: float, lot_class: LotClass) -> None:
    found = lot(gravity, abv, lot_class)
    assert read_again(found) == pytest.approx((gravity, abv, 10.0), abs=1e-8)
    assert property_value("gravity", found.contents, found.volume_l) == pytest.approx(gravity, abs=1e-9)
    assert property_value("abv_percent", found.contents, found.volume_l) == pytest.approx(abv, abs=1e-9)
    assert all(mass >= 0.0 for mass in found.contents.vector)


@pytest.mark.parametrize(("gravity", "abv"), [(0.9945, 11.5), (0.998, 8.1), (1.012, 6.6), (1.05, 7.0)])
def test_ethanol_and_total_mass_are_those_of_the_paper_lot(gravity: float, abv: float) -> None:
    on_paper = lot_contents(PaperLot(10.0, gravity, abv))
    masses = lot(gravity, abv).contents.masses_g
    assert sum(masses.values()) == pytest.approx(on_paper.mass_g, rel=1e-9)
    assert masses[Component.ETHANOL] == pytest.approx(on_paper.ethanol_g, rel=1e-5)
    solids = sum(masses.values()) - masses[Component.WATER] - masses[Component.ETHANOL]
    # Weighed as 0.58 for glycerol and 1.05 for acids, the parts are the sucrose that the paper lot holds.
    as_sucrose = solids - 0.42 * masses[Component.GLYCEROL] + 0.05 * masses[Component.FERMENT_ACIDS]
    assert as_sucrose == pytest.approx(on_paper.solids_binary_g, rel=2e-3, abs=1.5)  # the laws of the parts bend


def test_mass_stands_for_volume() -> None:
    by_mass = lot_from_readings("base", LotReadings(None, 9962.05, 0.998, 8.0))
    assert by_mass.volume_l == pytest.approx(9962.05 / (0.998 * WATER_KG_M3), rel=1e-6)
    assert by_mass.contents.mass_g == pytest.approx(9962.05)


def test_residual_sugar_measured_or_assumed() -> None:
    assumed = lot(0.998, 8.0)
    measured = lot(0.998, 8.0, residual_sugar_g_per_l=2.0)
    for found, sugar in ((assumed, None), (measured, 2.0)):
        grams = found.contents.masses_g
        sugars = (grams[Component.GLUCOSE] + grams[Component.FRUCTOSE]) / 10.0
        assert found.contents.tally("fermentable_g") == pytest.approx(10.0 * sugars)
        if sugar is not None:
            assert sugars == pytest.approx(sugar)
        assert ("residual_sugar" in [a.what for a in found.assumed]) == (sugar is None)
    (told,) = (a for a in assumed.assumed if a.what == "residual_sugar")
    # What the paper lot holds as sucrose, less the 15 g/L of a mead that are no sugar.
    extract_g_per_l = lot_contents(PaperLot(10.0, 0.998, 8.0)).solids_binary_g / 10.0
    assert float(told.value.split()[0]) == pytest.approx(extract_g_per_l - 15.0, abs=0.2)
    assert "mead" in told.source
    assert told.measure_by


def test_a_very_dry_lot_has_less_of_everything_rather_than_a_negative_sugar() -> None:
    for gravity in (0.9945, 0.992, 0.9905, 0.9892):
        found = lot(gravity, 8.0)
        assert read_again(found) == pytest.approx((gravity, 8.0, 10.0), abs=1e-8)
        assert all(mass >= 0.0 for mass in found.contents.vector)
    assert lot(0.992, 8.0).contents.masses_g.get(Component.FRUCTOSE, 0.0) == 0.0


def test_acidity_known_or_typical_of_the_class() -> None:
    known = lot(0.998, 8.0, titratable_meq_per_l=60.0)
    assert known.titratable_known
    assert titrated(known) == pytest.approx(600.0)
    for lot_class in FERMENTS[:4]:
        typical = lot(0.998, 8.0, lot_class)
        assert not typical.titratable_known
        grams_per_l = DRY_EXTRACT[lot_class].acids
        assert titrated(typical) == pytest.approx(10.0 * grams_per_l / 0.07504, rel=1e-3)
        assert chemistry_of(typical.contents).ph == pytest.approx(TYPICAL_ACIDITY[lot_class].ph, abs=1e-6)
        assert {"titratable_acidity", "ph"} <= {a.what for a in typical.assumed}


def titrated(found: Lot) -> float:
    """Base that the whole lot takes to its end point [meq]."""
    return chemistry_of(found.contents).titratable_meq_per_l * found.volume_l


# What cannot be.


@pytest.mark.parametrize(
    ("gravity", "abv", "error", "words"),
    [
        (1012.0, 8.0, OutOfRangeError, "Did you mean"),
        (0.5, 8.0, OutOfRangeError, "not a drink's"),
        (1.5, 8.0, OutOfRangeError, "not a drink's"),
        (0.998, 101.0, OutOfRangeError, "between 0 and 99"),
        (0.998, -1.0, OutOfRangeError, "between 0 and 99"),
        (0.79, 100.0, OutOfRangeError, "between 0 and 99"),
        (0.985, 8.0, InconsistentError, "no extract fits"),
        (0.99, 0.0, InconsistentError, "lighter than 0 % vol"),
        (1.4, 60.0, InconsistentError, "no room for water"),
    ],
)
def test_readings_that_cannot_be_true_are_refused(
    gravity: float, abv: float, error: type[ServiceError], words: str
) -> None:
    with pytest.raises(error, match=words) as caught:
        lot(gravity, abv)
    assert caught.value.pointer in ("/gravity", "/abv_percent")


def test_a_gravity_a_hair_too_light_is_taken_as_no_extract_and_said() -> None:
    alone = ethanol_water_density_kg_m3(0.0644) / WATER_KG_M3  # about 8.07 % vol
    abv = 100.0 * 0.0644 * ethanol_water_density_kg_m3(0.0644) / ETHANOL_KG_M3
    found = lot(alone - 5e-4, abv)
    assert "gravity" in [a.what for a in found.assumed]
    dry = found.contents.mass_g - sum(found.contents.masses_g.get(c, 0.0) for c in (Component.WATER, Component.ETHANOL))
    assert dry == pytest.approx(0.0, abs=0.5)
    with pytest.raises(InconsistentError, match="lighter"):
        lot(alone - 1.5e-3, abv)


def test_more_sugar_than_the_gravity_allows_is_refused() -> None:
    with pytest.raises(InconsistentError, match="100 g/L of sugar does not fit") as caught:
        lot(0.998, 8.0, residual_sugar_g_per_l=100.0)
    assert caught.value.pointer == "/residual_sugar"


def test_more_acid_than_the_gravity_allows_is_refused() -> None:
    # SG 0.9895 at 8 % vol leaves room for about 2 g/L of extract
    with pytest.raises(InconsistentError, match=r"does not fit SG 0\.9895") as caught:
        lot(0.9895, 8.0, titratable_meq_per_l=15.0 / 0.07504)
    assert caught.value.pointer == "/titratable_acidity"
    assert titrated(lot(0.9895, 8.0, titratable_meq_per_l=5.0 / 0.07504)) == pytest.approx(666.3, abs=0.1)


@pytest.mark.parametrize(("volume_l", "mass_g"), [(None, None), (1.0, 1.0), (0.0, None), (-1.0, None)])
def test_a_lot_has_one_size_that_can_be(volume_l: float | None, mass_g: float | None) -> None:
    with pytest.raises(InputError, match=r"volume or its mass|between 1 mL"):
        lot_from_readings("base", LotReadings(volume_l, mass_g, 0.998, 8.0))


# Juice and spirit.


@pytest.mark.parametrize("lot_class", [LotClass.CITRUS_JUICE, LotClass.BERRY_JUICE])
def test_juice_is_made_up_like_its_row(lot_class: LotClass) -> None:
    juice = lot(1.0455, 0.0, lot_class, titratable_meq_per_l=120.0)
    assert read_again(juice) == pytest.approx((1.0455, 0.0, 10.0), abs=2e-5)
    assert titrated(juice) == pytest.approx(1200.0, rel=1e-6)
    assert juice.contents.masses_g[Component.CITRIC] > 0.0
    # pressed juice counts by its own volume
    assert juice.contents.tally("juice_ml") == pytest.approx(10_000.0, rel=1e-3)
    citrus = juice.contents.tally("citrus_juice_ml")
    assert citrus == (juice.contents.tally("juice_ml") if lot_class is LotClass.CITRUS_JUICE else 0.0)
    assert "composition" in [a.what for a in juice.assumed]
    with pytest.raises(InconsistentError, match="no alcohol"):
        lot(1.04, 3.0, lot_class)


def test_juice_without_a_titration_says_what_it_took() -> None:
    juice = lot(1.045, 0.0, LotClass.CITRUS_JUICE)
    assert not juice.titratable_known
    assert {"composition", "titratable_acidity"} <= {a.what for a in juice.assumed}


def test_spirit_is_alcohol_water_and_little_else() -> None:
    # OIML R 22, Table: 40 % vol is 948.05 kg/m³
    gravity = 948.05 / WATER_KG_M3
    spirit = lot(gravity, 40.0, LotClass.SPIRIT)
    masses = spirit.contents.masses_g
    assert masses[Component.ETHANOL] == pytest.approx(10.0 * 0.4 * ETHANOL_KG_M3, rel=1e-4)
    assert spirit.contents.mass_g - masses[Component.WATER] - masses[Component.ETHANOL] < 1.0
    assert titrated(spirit) == 0.0
    assert chemistry_of(spirit.contents).ph is None
    liqueur = lot(1.05, 25.0, LotClass.SPIRIT)
    assert liqueur.contents.tally("fermentable_g") > 1500.0


# Through the request: buckets, original gravity, sample temperature.


def _recipe(**lot: object) -> dict[str, object]:
    return {"recipes": [{"name": "r", "lots": [{"name": "base", "gravity": 0.998, "abv_percent": 8.0, **lot}]}]}


def test_a_full_bucket_less_an_empty_one() -> None:
    weighed = forecast(_recipe(gross="25 kg", tare="2.5 kg"))["recipes"][0]
    assert weighed["amounts"][0]["mass_g"] == pytest.approx(22_500.0)
    assert weighed["predicted"]["volume"]["value"] == pytest.approx(22.5 / (0.998 * 0.9982), rel=1e-4)
    exchanged = post("/v1/blend-forecasts", _recipe(gross="2 kg", tare="2.5 kg"), 422)["errors"]
    assert exchanged[0]["pointer"] == "/recipes/0/lots/0/gross"
    assert "exchanged" in exchanged[0]["detail"]
    alone = post("/v1/blend-forecasts", _recipe(gross="2 kg"), 422)["errors"]
    assert alone[0]["pointer"] == "/recipes/0/lots/0/tare"
    both = post("/v1/blend-forecasts", _recipe(gross="25 kg", tare="2 kg", volume="10 L"), 422)["errors"]
    assert "one of the three" in both[0]["detail"]


def test_original_gravity_instead_of_strength() -> None:
    body = changed("lots", 0, "original_gravity", to=1.060, body=changed("lots", 0, "abv_percent"))
    answer = post("/v1/blend-plans", body)
    (told,) = (a for a in answer["assumed"] if a["what"] == "base: abv_percent")
    # Balling by hand: OE 14.74 °P, AE -0.51 °P, RE 0.1808 OE + 0.8192 AE = 2.25 °P;
    # A = (OE - RE)/(2.0665 - 0.010665 OE) = 6.54 % by mass, times SG 0.998 over 0.7907: 8.25 % vol
    assert float(told["value"].split()[0]) == pytest.approx(8.25, abs=0.1)
    low, high = (float(v) for v in told["value"].split("(")[1].rstrip(")").split(" to "))
    assert low <= float(told["value"].split()[0]) <= high


def test_a_warm_sample_reads_low_and_is_corrected() -> None:
    reading = {"reading": 1.010, "sample_temperature": "30 C", "calibrated_at": "20 C"}
    warm = forecast(_recipe(volume="10 L", gravity=reading))["recipes"][0]["predicted"]["gravity"]["value"]
    cool = forecast(_recipe(volume="10 L", gravity={**reading, "sample_temperature": "20 C"}))
    assert cool["recipes"][0]["predicted"]["gravity"]["value"] == pytest.approx(1.010, abs=1e-5)
    assert 1.0115 < warm < 1.0135
