"""The cell questions about amounts: how much of an ingredient brings a lot to a target, in a unit or in whole packs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from service.api.cell_after import ph_words
from service.api.cell_lots import LOT_EXAMPLE, SOUR_EXAMPLE, circumstances_of, lot_of, to_choose_of
from service.api.cell_queries import (
    AmountForAbv,
    AmountForAcidity,
    AmountForCitrus,
    AmountForGravity,
    AmountForPh,
    AmountQuery,
)
from service.api.cell_readings import density_of, figure_words, in_unit
from service.api.question import Question
from service.api.reading import Reader
from service.api.reading_targets import target_from
from service.catalogue.records import Category
from service.errors import InputError, ServiceError, StopError
from service.model.contents import contents_per_g
from service.model.properties import PROPERTIES, depends_on_acids, property_value
from service.planner.answers import OUR_DEFAULT, Caution, Predicted
from service.planner.answers_blend import BlendPlan
from service.planner.asked import AdditionAsked, Circumstances, LotAsked, TargetAsked
from service.planner.cautions import sorted_once
from service.planner.single import Answer, amount_for, amount_interval, packs_for
from service.quantities import Kind, mass_text, volume_text
from service.quantities.units import UNIT_BY_SPELLING

ACIDITY_STOPS: Final = ("more_carbonate_than_acid", "ph_above_4_6", "ph_very_low")
"""Cautions of a plan that leave a question about acidity without a number."""

_DOSED: Final = (Category.ACID, Category.SALT)
"""What is dosed, not sweetened with: then no number stands beside such a stop."""

_AMOUNT: Final = "what the target may take, were the true drink at either end of its 90 % interval"
_MASS_STEP_G, _VOLUME_STEP_ML = 1.0, 5.0
_AmountFor = AmountForGravity | AmountForAbv | AmountForAcidity | AmountForPh | AmountForCitrus


@dataclass(frozen=True, slots=True)
class _Asked:
    """A question as the planner takes it."""

    target: TargetAsked
    lot: LotAsked
    addition: AdditionAsked
    circumstances: Circumstances


def _amount_for(name: str) -> Callable[[_AmountFor], Answer]:
    def answer(query: _AmountFor) -> Answer:
        _check_packs(query)
        lot, addition = lot_of(query), to_choose_of(query)
        asked = _Asked(target_from(name, query.target, Reader()), lot, addition, circumstances_of(query))
        _check_citrus(asked)
        mass_g, count = 0.0, 0.0
        if query.pack is None:
            mass_g, plan = amount_for(asked.target, lot, addition, asked.circumstances)
        else:
            count, plan = packs_for(asked.target, lot, addition, asked.circumstances)
        stop = next((c for c in plan.cautions if c.level == "stop" and c.code in ACIDITY_STOPS), None)
        if stop is not None and (depends_on_acids(name) or addition.ingredient.category in _DOSED):
            raise StopError(stop.text, "/target" if depends_on_acids(name) else "/ingredient")
        if query.pack is not None:
            return _answer_in_packs(query, asked, count, plan)
        return _answer_in_unit(query, asked, mass_g, plan)

    return answer


def _check_packs(query: AmountQuery) -> None:
    if query.pack is None:
        return
    if query.unit is not None:
        raise InputError("Packs are counted: leave unit out, or pack.", "/unit")
    if query.bound is not None:
        raise InputError("Packs are counted, so no interval is told for them: ask for it without pack.", "/bound")


def _check_citrus(asked: _Asked) -> None:
    """Refuse an ingredient that could only thin the citrus of a lot that wants more of it."""
    target, lot, addition = asked.target, asked.lot, asked.addition
    if target.name != "citrus_percent" or contents_per_g(addition.ingredient).tally("citrus_juice_ml") > 0.0:
        return
    held = property_value(target.name, lot.lot.contents, lot.lot.volume_l) or 0.0
    if held < target.low:
        raise InputError(
            f"{addition.ingredient.name} holds no citrus juice, so no amount of it brings the lot from {held:.3g} to "
            f"{target.asked} %: name a citrus juice or concentrate, such as lemon_juice.",
            "/ingredient",
        )


def _reached(name: str, predicted: Predicted) -> str:
    """The drink in words: gravity and strength always, and what was asked for."""
    told = [f"SG {predicted.gravity.value:.4f}", f"{predicted.abv_percent.value:.2f} % vol"]
    if depends_on_acids(name):
        told.append(f"{predicted.titratable_acidity.value:.2f} g/L tartaric")
        told += [] if predicted.ph is None else [ph_words(predicted.ph)]
    if name == "citrus_percent":
        told.append(f"{predicted.citrus_percent.value:.2f} % citrus juice")
    return f"{', '.join(told)}, {predicted.volume.value:.3f} L"


def _answer_in_unit(query: AmountQuery, asked: _Asked, mass_g: float, plan: BlendPlan) -> Answer:
    unit = query.unit or "g"
    per_g = in_unit(1.0, unit)
    if UNIT_BY_SPELLING[unit.lower()].kind is not Kind.MASS:
        per_g /= density_of(asked.addition.ingredient, "/unit")
    value, low, high, told = mass_g * per_g, None, None, ""
    if query.wants_ends:
        try:
            least_g, most_g = amount_interval(asked.target, asked.lot, asked.addition, asked.circumstances, mass_g)
        except ServiceError:  # a sentence does without
            if query.bound is not None:
                raise
        else:
            low, high = least_g * per_g, None if most_g is None else most_g * per_g
            more = f"{unit} or more" if high is None else f"to {figure_words(high)} {unit}"
            told = f" It may take {figure_words(low)} {more}, by what is not known: begin low."
    return Answer(
        value,
        f"{figure_words(value)} {unit} of {asked.addition.ingredient.name} brings {asked.lot.lot.volume_l:.4g} L to "
        f"{_reached(asked.target.name, plan.predicted)}.{told}",
        plan.cautions,
        plan.assumed,
        low,
        high,
        unit,
    )


def _answer_in_packs(query: AmountQuery, asked: _Asked, count: float, plan: BlendPlan) -> Answer:
    amount = next(a for a in plan.amounts if a.kind == "addition")
    packs = f"{count:g} {'pack' if 0.0 < count <= 1.0 else 'packs'}"
    together = mass_text(amount.mass_g, "metric", _MASS_STEP_G)
    if amount.volume_ml:
        together += f", about {volume_text(amount.volume_ml, 'metric', _VOLUME_STEP_ML)}"
    cautions = list(plan.cautions)
    if plan.outcome != "targets_met":
        report = plan.targets[0]
        decimals = PROPERTIES[report.property].decimals
        cautions.append(
            Caution(
                "nearest_measurable",
                "warning",
                f"Packs miss the target: {report.reached or 0.0:.{decimals}f} with {packs}, not {asked.target.asked}. "
                "Weigh part of one, or change the target.",
                OUR_DEFAULT,
            )
        )
    return Answer(
        count,
        f"{packs} ({query.pack} each) of {asked.addition.ingredient.name}, {together}: brings "
        f"{asked.lot.lot.volume_l:.4g} L to {_reached(asked.target.name, plan.predicted)}.",
        sorted_once(cautions),
        plan.assumed,
        unit="packs",
    )


def _question(name: str, query: type[AmountQuery], of: str, example: str) -> Question:
    return Question(name, query, _amount_for(of), example, "target", _AMOUNT)


AMOUNT_QUESTIONS: tuple[Question, ...] = (
    _question("amount-for-gravity", AmountForGravity, "gravity", f"{LOT_EXAMPLE}&target=1.016&unit=kg"),
    _question(
        "amount-for-abv",
        AmountForAbv,
        "abv_percent",
        "ingredient=water&volume=9.5L&gravity=0.9985&abv_percent=7.2&target=6.5&unit=L",
    ),
    _question(
        "amount-for-acidity",
        AmountForAcidity,
        "titratable_acidity",
        f"{SOUR_EXAMPLE}&target=6.5+g/L+tartaric&unit=mL",
    ),
    _question("amount-for-ph", AmountForPh, "ph", f"{SOUR_EXAMPLE}&target=3.3&unit=mL"),
    _question("amount-for-citrus", AmountForCitrus, "citrus_percent", f"{SOUR_EXAMPLE}&target=4&unit=mL"),
)
"""For the list of all cell questions."""
