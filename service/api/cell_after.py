"""The cell questions about what a lot will be after an addition: the forecast of one recipe, one figure of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from service.api.cell_lots import LOT_EXAMPLE, SOUR_EXAMPLE, circumstances_of, lot_of, poured_of
from service.api.cell_queries import (
    AbvAfter,
    AcidityAfter,
    AfterAddition,
    CitrusAfter,
    GravityAfter,
    PhAfter,
    SugarAfter,
    SweetnessAfter,
    VolumeAfter,
)
from service.api.cell_readings import SG, acidity_unit, figure_words, from_meq, in_unit
from service.api.question import Question
from service.chemistry.acids import Acid, meq_per_l_from_acid_g_per_l
from service.planner.answers import PhPrediction, Predicted
from service.planner.answers_blend import BlendForecast
from service.planner.single import Answer, property_after

_DRINK: Final = "the 90 % interval of what the drink will be"


def ph_words(prediction: PhPrediction) -> str:
    """A pH with its interval."""
    return f"pH {prediction.value:.2f} ({prediction.low:.2f} to {prediction.high:.2f})"


def _forecast(name: str, query: AfterAddition) -> tuple[BlendForecast, Predicted, str]:
    """The forecast, its only drink, and after what that is."""
    lot, addition = lot_of(query), poured_of(query)
    _, forecast = property_after(name, lot, addition, circumstances_of(query))
    after = f"after {query.amount} of {addition.ingredient.name} in {lot.lot.volume_l:.4g} L."
    return forecast, forecast.recipes[0].predicted, after


def _told(forecast: BlendForecast, words: str, unit: str, value: float, low: float, high: float) -> Answer:
    return Answer(value, words, forecast.cautions, forecast.assumed, low, high, unit)


def _figure(
    name: str, query: AfterAddition, unit: str, words: str, per: float = 1.0, decimals: int = 4, more: str = ""
) -> Answer:
    """A property of the drink times a factor, in a unit, in words."""
    forecast, predicted, after = _forecast(name, query)
    prediction = getattr(predicted, name)
    value, low, high = (per * end for end in (prediction.value, prediction.low, prediction.high))
    shown, least, most = (figure_words(end, decimals) for end in (value, low, high))
    return _told(forecast, f"{shown} {words} ({least} to {most}) {after}{more}", unit, value, low, high)


def _gravity(query: GravityAfter) -> Answer:
    return _figure("gravity", query, SG, SG)


def _abv(query: AbvAfter) -> Answer:
    return _figure("abv_percent", query, "% vol", "% vol")


def _acidity(query: AcidityAfter) -> Answer:
    forecast, predicted, after = _forecast("titratable_acidity", query)
    acidity = predicted.titratable_acidity
    value: float = acidity.meq_per_l if query.acid == "meq" else getattr(acidity, f"g_per_l_{query.acid}")
    low, high = (
        from_meq(meq_per_l_from_acid_g_per_l(end, Acid.TARTARIC), query.acid) for end in (acidity.low, acidity.high)
    )
    unit = acidity_unit(query.acid)
    shown = f"{figure_words(value, 2)} {unit} ({figure_words(low, 2)} to {figure_words(high, 2)})"
    return _told(forecast, f"{shown} to pH {acidity.end_point_ph:g} {after}", unit, value, low, high)


def _ph(query: PhAfter) -> Answer:
    forecast, predicted, after = _forecast("ph", query)
    ph = predicted.ph
    assert ph is not None  # property_after refuses a drink without one
    return _told(forecast, f"{ph_words(ph)} {after}", "pH", ph.value, ph.low, ph.high)


def _volume(query: VolumeAfter) -> Answer:
    return _figure("volume", query, query.unit, f"{query.unit} at 20 °C", in_unit(1000.0, query.unit))


def _sugar(query: SugarAfter) -> Answer:
    if query.sugar == "fermentable":
        return _figure("fermentable_sugar_g_per_l", query, "g/L", "g/L of sugar that yeast can use", decimals=1)
    return _figure("sugar_g_per_l", query, "g/L", "g/L of all sugars", decimals=1)


def _sweetness(query: SweetnessAfter) -> Answer:
    forecast, predicted, after = _forecast("sucrose_equivalent_g_per_l", query)
    sweet = predicted.sucrose_equivalent_g_per_l
    return _told(
        forecast,
        f"{sweet.value:.1f} g/L of sucrose would be as sweet ({sweet.low:.1f} to {sweet.high:.1f}) {after} Published "
        f"relative sweetness spans {sweet.published_low:.1f} to {sweet.published_high:.1f}; acid hides some of it.",
        "g/L sucrose",
        sweet.value,
        sweet.low,
        sweet.high,
    )


def _citrus(query: CitrusAfter) -> Answer:
    rule = " By 21 CFR 101.30; acid and sugar beside the juice do not count."
    return _figure("citrus_percent", query, "%", "% single-strength citrus juice", decimals=1, more=rule)


def _question(
    name: str,
    query: type[AfterAddition],
    answer: Callable[..., Answer],
    example: str,
) -> Question:
    return Question(name, query, answer, example, "amount", _DRINK)


AFTER_QUESTIONS: tuple[Question, ...] = (
    _question("gravity-after", GravityAfter, _gravity, f"{LOT_EXAMPLE}&amount=500g"),
    _question("abv-after", AbvAfter, _abv, f"{LOT_EXAMPLE}&amount=500g"),
    _question("acidity-after", AcidityAfter, _acidity, f"{SOUR_EXAMPLE}&amount=300mL"),
    _question("ph-after", PhAfter, _ph, f"{SOUR_EXAMPLE}&amount=300mL"),
    _question("volume-after", VolumeAfter, _volume, f"{LOT_EXAMPLE}&amount=500g&unit=gal"),
    _question("sugar-after", SugarAfter, _sugar, f"{LOT_EXAMPLE}&amount=500g"),
    _question("sweetness-after", SweetnessAfter, _sweetness, f"{LOT_EXAMPLE}&amount=500g"),
    _question("citrus-after", CitrusAfter, _citrus, f"{SOUR_EXAMPLE}&amount=300mL"),
)
"""For the list of all cell questions."""
