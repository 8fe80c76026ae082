"""Amounts and predictions of a blend whose masses are known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf

from service.errors import ServiceError
from service.model.acidity import DEFAULT_END_POINT_PH
from service.model.contents import Contents
from service.model.properties import OF_WHAT_IS_ADDED, PROPERTIES, SWEETNESS_HIGH, SWEETNESS_LOW, dot, property_value
from service.physics.extract import extract_g_per_l_from_sg_and_abv, litre_from_sg_and_abv
from service.physics.solutes import Component
from service.planner.acidity import acidity_prediction, ph_prediction
from service.planner.answers import (
    Amount,
    CrossCheck,
    LeastKnown,
    Predicted,
    Prediction,
    SweetnessPrediction,
    VolumePrediction,
)
from service.planner.asked import AdditionAsked, Circumstances, Instruments
from service.planner.draws import Values, drinks, quantiles, share_between
from service.planner.intervals import Interval, spreads_of
from service.planner.least_known import least_known
from service.planner.materials import Material
from service.planner.steps import OURS, Senses
from service.quantities import Kind, System, mass_text, parse_quantity, volume_text
from service.quantities.units import ML_PER_US_GALLON

_CROSS_CHECK_TOP_ABV_PERCENT = 20.0
_GIVEN_STEP_ML = 10.0
_FINE_STEP_ML = 5.0
_FEW_GRAMS, _FINE_STEP_G = 57.0, 0.1
"""Below two ounces a tenth of an ounce is a large step: grams stand beside it."""


def rounded(name: str, value: float) -> float:
    """A predicted value with one digit more than the property is shown with, so that noise does not show."""
    return round(value, PROPERTIES[name].decimals + 1)


def value_of(
    name: str,
    materials: Sequence[Material],
    masses_g: Sequence[float],
    contents: Contents,
    end_point_ph: float = DEFAULT_END_POINT_PH,
    senses: Senses = OURS,
) -> float | None:
    """Any property of a blend; None where it is not defined (no acid, a missing price, a dry solid's volume)."""
    law = senses.law(name)
    if law.of not in OF_WHAT_IS_ADDED:
        return property_value(law, contents, contents.volume_ml / 1000.0, end_point_ph)
    added = [(m, g) for m, g in zip(materials, masses_g, strict=True) if m.kind == "addition"]
    if name == "added_mass":
        return sum(g for _, g in added)
    if name == "added_volume":
        if any(m.density_g_ml is None for m, g in added if g > 0.0):
            return None
        return sum(g / m.density_g_ml for m, g in added if m.density_g_ml) / 1000.0
    if any(m.price_per_g is None for m, g in added if g > 0.0) or all(m.price_per_g is None for m, _ in added):
        return None
    return sum(g * (m.price_per_g or 0.0) for m, g in added)


def predict(materials: Sequence[Material], masses_g: Sequence[float], circumstances: Circumstances) -> Predicted:
    """All properties of the blend of these masses, each with its 90 % interval.

    Parameters and returns: `foreseen`, without what is least known.
    """
    return foreseen(materials, masses_g, circumstances).predicted


@dataclass(frozen=True, slots=True)
class Foreseen:
    """The properties of a blend, what leaves most of their intervals open, the first-order intervals, and the drinks
    that were simulated, if any were."""

    predicted: Predicted
    least_known: tuple[LeastKnown, ...]
    intervals: Mapping[str, Interval]
    drawn: Mapping[str, Values]

    def chance(self, name: str, low: float, high: float) -> float | None:
        """The chance that a property lies between two values; None where it is not defined."""
        if name in self.drawn:
            return share_between(self.drawn[name], low, high)
        if name not in self.intervals:
            return None
        interval = self.intervals[name]
        above = interval.chance_below(high) if high < inf else 1.0
        below = interval.chance_below(low) if low > -inf else 0.0
        return max(above - below, 0.0)


def foreseen(materials: Sequence[Material], masses_g: Sequence[float], circumstances: Circumstances) -> Foreseen:
    """All properties of the blend of these masses, each with its 90 % interval, and what to measure first.

    Parameters: materials; masses_g of each [g]; circumstances, whose instruments, end point and senses count, and
        which say whether intervals are first order or simulated.
    Returns: Foreseen.
    """
    spreads = spreads_of(materials, masses_g, circumstances)
    contents, end_point_ph, senses = spreads.contents, circumstances.end_point_ph, circumstances.senses
    volume_l = contents.volume_ml / 1000.0
    values = {name: value_of(name, materials, masses_g, contents, end_point_ph, senses) for name in PROPERTIES}
    known = {name: value for name, value in values.items() if value is not None}
    intervals = {name: spreads.interval(name, value) for name, value in known.items()}
    drawn: dict[str, Values] = {}
    ends = {name: (interval.low, interval.high) for name, interval in intervals.items()}
    if circumstances.draws is not None:
        drawn = drinks(spreads, known, circumstances.draws, circumstances.seed)
        ends = {name: quantiles(values) for name, values in drawn.items()}
    # the value told is never outside what is told of it
    ends = {name: (min(low, known[name]), max(high, known[name])) for name, (low, high) in ends.items()}

    def maybe(name: str) -> Prediction | None:
        if name not in known:
            return None
        low, high = ends[name]
        return Prediction(rounded(name, known[name]), PROPERTIES[name].unit, rounded(name, low), rounded(name, high))

    def plain(name: str) -> Prediction:
        prediction = maybe(name)
        assert prediction is not None, name
        return prediction

    sweetness, volume = plain("sucrose_equivalent_g_per_l"), plain("volume")
    predicted = Predicted(
        gravity=plain("gravity"),
        abv_percent=plain("abv_percent"),
        titratable_acidity=acidity_prediction(spreads, *ends["titratable_acidity"]),
        ph=ph_prediction(spreads, known["ph"], intervals["ph"], *ends["ph"]) if "ph" in known else None,
        volume=VolumePrediction(
            volume.value, "L", volume.low, volume.high, round(volume_l * 1000.0 / ML_PER_US_GALLON, 4)
        ),
        extract_g_per_l=plain("extract_g_per_l"),
        sugar_g_per_l=plain("sugar_g_per_l"),
        fermentable_sugar_g_per_l=plain("fermentable_sugar_g_per_l"),
        sucrose_equivalent_g_per_l=SweetnessPrediction(
            sweetness.value,
            sweetness.unit,
            sweetness.low,
            sweetness.high,
            rounded("sucrose_equivalent_g_per_l", dot(SWEETNESS_LOW, contents) / volume_l),
            rounded("sucrose_equivalent_g_per_l", dot(SWEETNESS_HIGH, contents) / volume_l),
        ),
        brix=plain("brix"),
        sugar_acid_ratio=maybe("sugar_acid_ratio"),
        juice_percent=plain("juice_percent"),
        citrus_percent=plain("citrus_percent"),
        added_mass=plain("added_mass"),
        added_volume=maybe("added_volume"),
        cost=maybe("cost"),
        energy_kcal_per_100ml=plain("energy_kcal_per_100ml"),
    )
    return Foreseen(predicted, least_known(intervals), intervals, drawn)


def cross_check(predicted: Predicted) -> CrossCheck | None:
    """The OIV densimetric rule beside the binary sum; None where either ends (above 20 % vol, no extract)."""
    gravity, abv = predicted.gravity.value, predicted.abv_percent.value
    if abv > _CROSS_CHECK_TOP_ABV_PERCENT:
        return None
    try:
        by_rule = extract_g_per_l_from_sg_and_abv(gravity, abv)
        by_density = litre_from_sg_and_abv(gravity, abv).get(Component.SUCROSE, 0.0)
    except ServiceError:
        return None
    return CrossCheck(
        round(by_rule, 1),
        round(by_density, 1),
        f"Two rules read {by_rule:.1f} (OIV) and {by_density:.1f} g/L of sucrose from this gravity and strength; "
        "a wider gap than 1 g/L means that one of them is out of its range.",
    )


def _amount_text(
    material: Material, mass_g: float, volume_ml: float | None, system: System, instruments: Instruments
) -> str:
    """What scale and jug show; a volume that the caller gave is repeated, not rounded to the jug."""
    by_mass = mass_text(mass_g, system, instruments.scale_step_g)
    if system != "metric" and mass_g < _FEW_GRAMS:
        by_mass += f" ({mass_text(mass_g, 'metric', min(instruments.scale_step_g, _FINE_STEP_G))})"
    given = material.source.given if isinstance(material.source, AdditionAsked) else None
    if given is not None:
        return by_mass if given == by_mass else f"{given}, or {by_mass}"
    packs = _packs(material, mass_g)
    if packs is not None:
        return f"{packs:g} {'pack' if packs <= 1.0 else 'packs'}, or {by_mass}"
    if volume_ml is None:
        return by_mass
    if material.kind == "lot":
        step_ml = _GIVEN_STEP_ML if material.fixed else instruments.jug_step_ml
        return f"{volume_text(volume_ml, system, step_ml)}, or {by_mass}"
    return f"{by_mass}, about {volume_text(volume_ml, system, min(instruments.jug_step_ml, _FINE_STEP_ML))}"


def _measured_text(
    measured: str, mass_g: float, volume_ml: float | None, system: System, instruments: Instruments
) -> str:
    """What was measured, in its own words, with grams or litres beside other units and about the other quantity.

    Outside the metric system pounds and ounces stand first, and what a scale in grams shows stands beside them: the
    ounces are those nearest to it, and the mass is the scale's.
    """
    by_mass = mass_text(mass_g, system, instruments.scale_step_g)
    if parse_quantity(measured, {Kind.MASS, Kind.VOLUME}).kind is Kind.MASS:
        if measured.endswith("g") and system != "metric":
            measured = f"{by_mass} ({measured})"
        elif not measured.endswith("g") and mass_g < _FEW_GRAMS:
            measured += f" ({mass_text(mass_g, 'metric', min(instruments.scale_step_g, _FINE_STEP_G))})"
        if volume_ml is None:
            return measured
        return f"{measured}, about {volume_text(volume_ml, system, min(instruments.jug_step_ml, _FINE_STEP_ML))}"
    if not measured.endswith("L"):
        measured += f" ({volume_text(volume_ml or 0.0, 'metric', _FINE_STEP_ML)})"
    return f"{measured}, or {by_mass}"


def _packs(material: Material, mass_g: float) -> float | None:
    pack_g = material.source.pack_g if isinstance(material.source, AdditionAsked) else None
    return None if pack_g is None else round(mass_g / pack_g, 4)


def amounts_of(
    materials: Sequence[Material],
    masses_g: Sequence[float],
    volume_l: float,
    circumstances: Circumstances,
    texts: Sequence[str | None] | None = None,
) -> tuple[Amount, ...]:
    """How much of each material, in the caller's system; `texts` are the words of amounts that were rounded."""
    instruments, system = circumstances.instruments, circumstances.system
    result = []
    measured = [None] * len(materials) if texts is None else texts
    for material, mass_g, text in zip(materials, masses_g, measured, strict=True):
        volume_ml = None if material.density_g_ml is None else mass_g / material.density_g_ml
        words = "none"
        if mass_g > 0.0 and text is not None:
            words = _measured_text(text, mass_g, volume_ml, system, instruments)
        elif mass_g > 0.0:
            words = _amount_text(material, mass_g, volume_ml, system, instruments)
        result.append(
            Amount(
                material.name,
                material.kind,
                round(mass_g, 4),
                None if volume_ml is None else round(volume_ml, 3),
                words,
                None if volume_ml is None else round(volume_ml / (10.0 * volume_l), 3),
                None if material.price_per_g is None else round(mass_g * material.price_per_g, 4),
                _packs(material, mass_g),
            )
        )
    return tuple(result)
