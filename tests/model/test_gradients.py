"""Gradients of every property against central differences of the property itself, which is solved for anew."""

from __future__ import annotations

from math import sqrt

import pytest

from service.catalogue.loader import ingredients
from service.chemistry.weak_acids import ACIDS, WeakAcid
from service.model.acidity import chemistry_of
from service.model.contents import COMPONENTS, SIZE, Contents, contents_per_g, together
from service.model.gradients import litres_gradient, property_gradient
from service.model.lot import LotReadings, lot_from_readings
from service.model.lot_class import LotClass
from service.model.properties import PROPERTIES, Of, Per, Property, property_value

_MEAD = lot_from_readings("mead", LotReadings(10.0, None, 1.002, 9.0, titratable_meq_per_l=70.0, ph=3.4)).contents
_SPIRIT = lot_from_readings("spirit", LotReadings(5.0, None, 0.99, 28.0, LotClass.SPIRIT)).contents


def _some(name: str, grams: float) -> Contents:
    return contents_per_g(ingredients()[name]).scaled(grams)


MIXTURES: dict[str, Contents] = {
    "mead": _MEAD,
    "mead, honey, lemon": together([_MEAD, _some("honey_acacia", 400.0), _some("lemon_juice_fresh", 300.0)], [1, 1, 1]),
    "mead with carbonate": together([_MEAD, _some("potassium_carbonate", 12.0)], [1, 1]),
    "spirit with honey": together(
        [_SPIRIT, _some("honey_average", 600.0), _some("neutral_spirit_95", 900.0)], [1, 1, 1]
    ),
    "pure juice": _some("orange_juice_fresh", 2000.0),
    "pure lemon concentrate": _some("lemon_juice_concentrate_400", 500.0),
    "no alcohol, two juices": together([_some("apple_juice_bottled", 900.0), _some("raspberry_juice", 300.0)], [1, 1]),
    "a small glass": _MEAD.scaled(0.01),
}
LAWS = [law for law in PROPERTIES.values() if law.of not in (Of.ADDED_MASS, Of.ADDED_VOLUME, Of.COST)]
END_POINTS = (8.2, 7.0)


def _value(law: Property, contents: Contents, end_point: float) -> float:
    value = property_value(law, contents, contents.volume_ml / 1000.0, end_point)
    assert value is not None
    return value


def _moved(contents: Contents, k: int, by: float) -> Contents:
    return Contents((*contents.vector[:k], contents.vector[k] + by, *contents.vector[k + 1 :]))


def _step(contents: Contents, k: int) -> float:
    """A small amount of a component [g], a tally or an acid [mmol]; more where there is much of it."""
    return max(1e-4 * abs(contents.vector[k]), 1e-6 * contents.mass_g)


def _difference(law: Property, contents: Contents, k: int, end_point: float) -> float:
    """The slope by two values beside it; by two above it where there is nothing to take away."""
    h = _step(contents, k)
    if contents.vector[k] >= h or k == SIZE - 2:
        up, down = (_value(law, _moved(contents, k, by), end_point) for by in (h, -h))
        return (up - down) / (2.0 * h)
    here, up, more = (_value(law, _moved(contents, k, by), end_point) for by in (0.0, h, 2.0 * h))
    return (4.0 * up - 3.0 * here - more) / (2.0 * h)


@pytest.mark.parametrize("end_point", END_POINTS)
@pytest.mark.parametrize("mixture", MIXTURES)
def test_gradients_against_differences(mixture: str, end_point: float) -> None:
    """What is present in the mixture, and sugar, citric acid, water and strong ions whether they are or not.

    Central differences of ratios are right to about 1e-6 of the slope; pH and a titration, whose tangents take the
    slope with strength and ionic strength from small steps of their own, to 3e-4, and for ions alone to 2 %.
    """
    contents = MIXTURES[mixture]
    always = {COMPONENTS.index(c) for c in COMPONENTS if c.value in ("water", "sucrose")}
    always |= {SIZE - 2, SIZE - 2 - len(ACIDS) + list(WeakAcid).index(WeakAcid.CITRIC)}
    places = [k for k in range(SIZE) if contents.vector[k] > 0.0 or k in always]
    for law in LAWS:
        value = _value(law, contents, end_point)
        gradient = property_gradient(law, contents, chemistry_of(contents, end_point), value)
        loose = law.of in (Of.PH, Of.TITRATION) or law.per is Per.ACID
        found = []
        for k in places:
            found.append(_difference(law, contents, k, end_point))
        size = sqrt(sum(f * f for f in found) / len(found))
        for k, slope in zip(places, found, strict=True):
            near = (0.02 if k == SIZE - 1 else 3e-4) if loose else 1e-6
            assert gradient[k] == pytest.approx(slope, rel=near, abs=near * size), (law.name, k)


@pytest.mark.parametrize("mixture", MIXTURES)
def test_ratios_do_not_depend_on_how_much_there_is(mixture: str) -> None:
    """Euler: gradient · contents is nothing for a ratio, and the volume for the volume."""
    contents = MIXTURES[mixture]
    for law in LAWS:
        value = _value(law, contents, 8.2)
        gradient = property_gradient(law, contents, chemistry_of(contents), value)
        terms = [g * c for g, c in zip(gradient, contents.vector, strict=True)]
        if law.of is Of.VOLUME:
            assert sum(terms) == pytest.approx(value, rel=1e-12)
        else:
            assert sum(terms) == pytest.approx(0.0, abs=1e-9 * max(map(abs, terms)) + 1e-9 * abs(value)), law.name


def test_gradients_of_a_larger_batch_are_smaller() -> None:
    """Of k times as much the gradient of a ratio is 1/k of it, and that of the volume the same."""
    once, tenfold = MIXTURES["mead, honey, lemon"], MIXTURES["mead, honey, lemon"].scaled(10.0)
    assert litres_gradient(once) == pytest.approx(litres_gradient(tenfold))
    for law in LAWS:
        if law.of is Of.VOLUME:
            continue
        value = _value(law, once, 8.2)
        a = property_gradient(law, once, chemistry_of(once), value)
        b = property_gradient(law, tenfold, chemistry_of(tenfold), value)
        assert [10.0 * g for g in b] == pytest.approx(list(a), rel=1e-7, abs=1e-9 * max(map(abs, a))), law.name


def test_litres_at_hand_change_nothing() -> None:
    contents = MIXTURES["spirit with honey"]
    chemistry = chemistry_of(contents)
    for law in LAWS:
        value = _value(law, contents, 8.2)
        assert property_gradient(law, contents, chemistry, value, litres_gradient(contents)) == property_gradient(
            law, contents, chemistry, value
        )


def test_what_sugar_and_spirit_do_to_gravity() -> None:
    """Trade figures: 10 g/L of sugar are 0.0038 to 0.0039 SG (0.385 g/mL for each gram, Balling's tables); 1 % vol of
    ethanol in place of water about −0.0013 (OIML R 22: 0.99856 at 1 % vol against 1)."""
    water = Contents.of({COMPONENTS[0]: 998.2})
    law = PROPERTIES["gravity"]
    gradient = property_gradient(law, water, chemistry_of(water), 1.0)
    at = {c.value: k for k, c in enumerate(COMPONENTS)}
    litre = water.volume_ml / 1000.0
    volume = litres_gradient(water)
    per_g = gradient[at["sucrose"]] - gradient[at["water"]] * volume[at["sucrose"]] / volume[at["water"]]
    assert 10.0 * per_g * litre == pytest.approx(0.00385, abs=0.0001)
    spirit = gradient[at["ethanol"]] - gradient[at["water"]] * volume[at["ethanol"]] / volume[at["water"]]
    assert 7.8924 * spirit * litre == pytest.approx(-0.0015, abs=0.0001)
