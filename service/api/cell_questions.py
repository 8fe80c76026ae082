"""The questions that a spreadsheet cell can ask, and how each becomes one number."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from service.api.cell_label import LABEL_QUESTIONS
from service.api.cell_must import MUST_QUESTIONS
from service.api.cell_packaging import PACKAGING_QUESTIONS
from service.api.cell_pressure import PRESSURE_QUESTIONS
from service.api.cell_queries import (
    AcidityAfter,
    AfterAddition,
    AmountForAcidity,
    AmountForGravity,
    AmountForPh,
    IngredientQuery,
    LotQuery,
)
from service.api.cell_readings import READING_QUESTIONS, density_of, figure_words, from_meq, in_unit
from service.api.cell_share import SHARE_QUESTIONS
from service.api.cell_stabilising import STABILISING_QUESTIONS
from service.api.cell_sugar import SUGAR_QUESTIONS
from service.api.question import Question
from service.api.reading import Reader, end_point_from, lot_from
from service.api.reading_additions import addition_from
from service.api.reading_targets import target_from
from service.api.requests import AdditionPoured, LotIn
from service.chemistry.acids import Acid, meq_per_l_from_acid_g_per_l
from service.errors import InputError, ServiceError
from service.model.properties import depends_on_acids
from service.planner.answers import PhPrediction
from service.planner.asked import AdditionAsked, Circumstances, Instruments, LotAsked
from service.planner.single import Answer, amount_for, amount_interval, property_after
from service.quantities import Kind
from service.quantities.units import UNIT_BY_SPELLING

ACIDITY_STOPS = ("more_carbonate_than_acid", "ph_above_4_6", "ph_very_low")
"""Cautions of a plan that leave a question about acidity without a number."""


def _lot(query: LotQuery) -> LotAsked:
    reader = Reader()
    gravity: Any = query.gravity
    if query.sample_temperature is not None or query.calibrated_at is not None:
        gravity = {
            "reading": query.gravity,
            "sample_temperature": query.sample_temperature,
            "calibrated_at": query.calibrated_at,
        }
    given = LotIn.model_validate(
        {
            "name": "lot",
            "volume": query.volume,
            "gravity": gravity,
            "abv_percent": query.abv_percent,
            "original_gravity": query.original_gravity,
            "class": query.lot_class,
            "titratable_acidity": query.titratable_acidity,
            "ph": query.ph,
            "titration_end_point_ph": None if query.titratable_acidity is None else query.titration_end_point_ph,
            "residual_sugar": query.residual_sugar,
        }
    )
    return lot_from(given, 20.0, reader)


def _addition(query: IngredientQuery, amount: str) -> AdditionAsked:
    measured = {
        name: value
        for name, value in (
            ("brix", query.brix),
            ("moisture_percent", query.moisture_percent),
            ("titratable_acidity", query.ingredient_titratable_acidity),
            ("ph", query.ingredient_ph),
        )
        if value is not None
    }
    given = AdditionPoured.model_validate(
        {"ingredient": query.ingredient, "measured": measured or None, "amount": amount}
    )
    return addition_from(given, Reader())


def _circumstances(query: LotQuery) -> Circumstances:
    usual = Instruments()
    error = usual.hydrometer_error if query.hydrometer_error is None else query.hydrometer_error
    return Circumstances(
        instruments=replace(usual, hydrometer_error=error), end_point_ph=end_point_from(query.titration_end_point_ph)
    )


_DRINK = "the 90 % interval of what the drink will be"
_AMOUNT = "what the target may take, were the true drink at either end of its 90 % interval"


def _amount_for(name: str) -> Callable[[AmountForGravity | AmountForAcidity | AmountForPh], Answer]:
    def answer(query: AmountForGravity | AmountForAcidity | AmountForPh) -> Answer:
        lot = _lot(query)
        asked = replace(_addition(query, "0 g"), most_g=None, given=None)
        target, circumstances = target_from(name, query.target, Reader()), _circumstances(query)
        mass_g, plan = amount_for(target, lot, asked, circumstances)
        stop = next((c for c in plan.cautions if c.level == "stop" and c.code in ACIDITY_STOPS), None)
        if depends_on_acids(name) and stop is not None:
            raise InputError(stop.text, "/target")
        per_g = in_unit(1.0, query.unit)
        if UNIT_BY_SPELLING[query.unit.lower()].kind is not Kind.MASS:
            per_g /= density_of(asked.ingredient, "/unit")
        value, low, high, told = mass_g * per_g, None, None, ""
        if query.wants_ends:
            try:
                least_g, most_g = amount_interval(target, lot, asked, circumstances, mass_g)
            except ServiceError:  # a sentence does without
                if query.bound is not None:
                    raise
            else:
                low, high = least_g * per_g, None if most_g is None else most_g * per_g
                told = (
                    f" It may take {figure_words(low)} {_or_more(high, query.unit)}, by what is not known: begin low."
                )
        predicted = plan.predicted
        reached = [f"SG {predicted.gravity.value:.4f}", f"{predicted.abv_percent.value:.2f} % vol"]
        if depends_on_acids(name):
            reached.append(f"{predicted.titratable_acidity.value:.2f} g/L tartaric")
            reached += [] if predicted.ph is None else [_ph_words(predicted.ph)]
        return Answer(
            value,
            f"{figure_words(value)} {query.unit} of {asked.ingredient.name} brings {lot.lot.volume_l:.4g} L to "
            f"{', '.join(reached)}, {predicted.volume.value:.3f} L.{told}",
            plan.cautions,
            plan.assumed,
            low,
            high,
        )

    return answer


def _or_more(high: float | None, unit: str) -> str:
    return f"{unit} or more" if high is None else f"to {figure_words(high)} {unit}"


def _ph_words(prediction: PhPrediction) -> str:
    return f"pH {prediction.value:.2f} ({prediction.low:.2f} to {prediction.high:.2f})"


def _after(name: str) -> Callable[[AfterAddition], Answer]:
    unit = {"gravity": "SG 20/20", "abv_percent": "% vol", "ph": "pH"}[name]

    def answer(query: AfterAddition) -> Answer:
        lot, addition = _lot(query), _addition(query, query.amount)
        value, forecast = property_after(name, lot, addition, _circumstances(query))
        prediction = getattr(forecast.recipes[0].predicted, name)
        low, high = prediction.low, prediction.high
        shown = f"{figure_words(value)} {unit} ({figure_words(low)} to {figure_words(high)})"
        if name == "ph":
            shown = _ph_words(prediction)
        return Answer(
            value,
            f"{shown} after {query.amount} of {addition.ingredient.name} in {lot.lot.volume_l:.4g} L.",
            forecast.cautions,
            forecast.assumed,
            low,
            high,
        )

    return answer


def _acidity_after(query: AcidityAfter) -> Answer:
    lot, addition = _lot(query), _addition(query, query.amount)
    _, forecast = property_after("titratable_acidity", lot, addition, _circumstances(query))
    acidity = forecast.recipes[0].predicted.titratable_acidity
    value = from_meq(acidity.meq_per_l, query.acid)
    low, high = (
        from_meq(meq_per_l_from_acid_g_per_l(end, Acid.TARTARIC), query.acid) for end in (acidity.low, acidity.high)
    )
    unit = "meq/L" if query.acid == "meq" else f"g/L {query.acid}"
    return Answer(
        value,
        f"{figure_words(value, 2)} {unit} ({figure_words(low, 2)} to {figure_words(high, 2)}) to pH "
        f"{acidity.end_point_ph:g} after {query.amount} of {addition.ingredient.name} in {lot.lot.volume_l:.4g} L.",
        forecast.cautions,
        forecast.assumed,
        low,
        high,
    )


_LOT_EXAMPLE = "ingredient=honey&volume=9.5L&gravity=0.9985&abv_percent=7.2"
_SOUR_EXAMPLE = (
    "ingredient=lemon_juice&volume=9.5L&gravity=0.9985&abv_percent=7.2&titratable_acidity=4.8+g/L+tartaric&ph=3.5"
)
QUESTIONS: tuple[Question, ...] = (
    Question(
        "amount-for-gravity",
        AmountForGravity,
        _amount_for("gravity"),
        f"{_LOT_EXAMPLE}&target=1.016&unit=kg",
        "target",
        _AMOUNT,
    ),
    Question(
        "amount-for-acidity",
        AmountForAcidity,
        _amount_for("titratable_acidity"),
        f"{_SOUR_EXAMPLE}&target=6.5+g/L+tartaric&unit=mL",
        "target",
        _AMOUNT,
    ),
    Question("amount-for-ph", AmountForPh, _amount_for("ph"), f"{_SOUR_EXAMPLE}&target=3.3&unit=mL", "target", _AMOUNT),
    Question("gravity-after", AfterAddition, _after("gravity"), f"{_LOT_EXAMPLE}&amount=500g", "amount", _DRINK),
    Question("abv-after", AfterAddition, _after("abv_percent"), f"{_LOT_EXAMPLE}&amount=500g", "amount", _DRINK),
    Question("acidity-after", AcidityAfter, _acidity_after, f"{_SOUR_EXAMPLE}&amount=300mL", "amount", _DRINK),
    Question("ph-after", AfterAddition, _after("ph"), f"{_SOUR_EXAMPLE}&amount=300mL", "amount", _DRINK),
    *READING_QUESTIONS,
    *SUGAR_QUESTIONS,
    *SHARE_QUESTIONS,
    *STABILISING_QUESTIONS,
    *PACKAGING_QUESTIONS,
    *PRESSURE_QUESTIONS,
    *LABEL_QUESTIONS,
    *MUST_QUESTIONS,
)
