"""Must planning: how much honey and water to a gravity or a strength, forward from amounts, or backwards from a drink.

All amounts come from the general mixture and its solver; where the must ends, from Balling's balance and the
fermentable share of what goes in.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

from service import MODEL_VERSION
from service.catalogue.loader import data_version, sources
from service.catalogue.records import Category
from service.errors import OutOfRangeError, ServiceError
from service.model.lot_class import Assumed
from service.planner.answers import Caution, SourceCited
from service.planner.answers_blend import BlendPlan
from service.planner.losses import packaged_span
from service.planner.must.answers import MustPlan, Outcome
from service.planner.must.answers_finished import BaseNeeded, FinishedDrink
from service.planner.must.asked import MustAsked
from service.planner.must.cautions import Brew, cautions_of
from service.planner.must.feeds import STRONG_GRAVITY, feeds_of, left_out, nitrogen_of, usual_sources, yan_of_must
from service.planner.must.ferment import ferment_of, original_gravity_for
from service.planner.must.finished import Backwards, backwards, of_the_blend
from service.planner.must.handed_on import next_calls
from service.planner.must.mixing import Mixed, by_cost, must_plan, without_searched
from service.planner.must.pitch import doubt_of, pitch_of
from service.planner.must.rule import honey_alone, moisture_effect, rule_of_thumb
from service.planner.must.shopping import bill_of, cost_per_container
from service.planner.must.steps import readings_of, steps_of
from service.planner.must.words import litres_words
from service.planner.plain_words import capital, joined, plain_names
from service.planner.pulp import jar_test_to_read
from service.planner.reading_units import in_system
from service.planner.span import Span
from service.planner.work import schedule_of

_ALWAYS: Final = (
    "balling_gaehrungschemie",
    "nielsen_balling",
    "taillandier_2007",
    "julien_2000",
    "cfr27_24_246",
    "memory_handbook",
    "common_practice",
)
"""Behind every answer: the balance of masses, the demand of yeast, practice."""

_PASSES: Final = 6

LEAST_MUST_L: Final = 0.05
"""No smaller must is planned [L]: its nutrients and yeast are milligrams."""

_TOO_SMALL: Final = "A must of less than 50 mL cannot be weighed out: check the unit, or plan more of it."


@dataclass(frozen=True, slots=True)
class _Made:
    """A must, and where it is for a finished drink, that drink."""

    must: Mixed
    original_gravity: float
    back: Backwards | None = None


def plan_must(asked: MustAsked) -> MustPlan:
    """The plan for a must.

    Parameters: asked, in base units.
    Returns: MustPlan. What cannot be reached is an outcome with the nearest must, never an error.
    Raises: InputError, OutOfRangeError, InconsistentError where no must can be made of what is asked.

    Example: 20 L of 1.048 take 3.01 kg of honey of 17.2 % water by sugar's own density (computed), 3.02 by honey's.

    >>> from service.catalogue.lookup import get_ingredient
    >>> from service.planner.asked import AdditionAsked
    >>> from service.planner.must.asked import SourceAsked
    >>> honey, water = (AdditionAsked(get_ingredient(i)) for i in ("honey", "water_deionised"))
    >>> plan = plan_must(MustAsked((SourceAsked(honey),), water, 1.048, volume_l=20.0, volume_is="final"))
    >>> round(plan.amounts[0].mass_g / 1000.0, 2), plan.brix.value
    (3.02, 11.933)
    """
    made = _made(asked)
    plan = without_searched(made.must.plan)
    predicted, circumstances = plan.predicted, asked.circumstances
    materials, masses = made.must.materials, made.must.masses_g
    gravity, volume = predicted.gravity.value, predicted.volume.value
    if volume < LEAST_MUST_L:
        raise OutOfRangeError(_TOO_SMALL, _where_of_volume(asked))
    base_given = None if asked.finished is None else asked.finished.base.final_gravity
    try:
        ferment = ferment_of(gravity, made.must.share, volume, base_given)
    except ServiceError as error:
        error.pointer = "/finished/base/final_gravity" if base_given is not None else "/sources"
        raise
    nitrogen_asked = asked.nitrogen
    if not nitrogen_asked.sources:
        nitrogen_asked = replace(nitrogen_asked, sources=usual_sources())
        asked = replace(asked, nitrogen=nitrogen_asked)
    yan, yan_assumed = yan_of_must(materials, masses, volume)
    if nitrogen_asked.must_yan_mg_n_per_l is not None:
        yan = nitrogen_asked.must_yan_mg_n_per_l
    try:
        nitrogen = nitrogen_of(nitrogen_asked, predicted.fermentable_sugar_g_per_l.value, yan, volume, circumstances)
    except ServiceError as error:
        raise error.below("/nitrogen/demand") from error
    strong = predicted.gravity.high > STRONG_GRAVITY
    feeds = feeds_of(nitrogen, ferment.sugar_break_gravity, gravity, circumstances, strong=strong)
    none_of = left_out(nitrogen)
    blend = None if made.back is None else without_searched(made.back.blend)
    sweet_abv = ferment.abv_percent.low if blend is None else blend.predicted.abv_percent.low
    try:
        pitch = pitch_of(asked.yeast, volume, predicted.brix.value, ferment, max(sweet_abv, 0.0), circumstances)
    except ServiceError as error:
        raise error.below("/yeast") from error
    doubt = doubt_of(pitch.can_it_finish, pitch.tolerance_abv_percent, ferment)
    if doubt:
        ferment = replace(ferment, text=f"{doubt} Only if it ferments through: {ferment.text}")
    base, drink = (None, None) if made.back is None else _finished(asked, made.back)
    alone = honey_alone(materials, masses)
    open_vessel = circumstances.intended.container == "open"
    cautions = cautions_of(Brew(plan, ferment, nitrogen, pitch, alone, blend, circumstances, open_vessel=open_vessel))
    steps = steps_of(plan.amounts, gravity, ferment, feeds, pitch, base, none_of, circumstances.system)
    fed = tuple(dose for dose in nitrogen.doses if dose not in none_of)
    bill = bill_of(asked, plan.amounts, () if blend is None else blend.amounts, fed, pitch)
    outcome: Outcome = plan.outcome
    if outcome == "targets_met" and asked.finished is None and not _aimed(asked):
        outcome = "as_given"
    if drink is not None and drink.outcome != "targets_met":
        outcome = drink.outcome
    echo = circumstances.echo
    return MustPlan(
        outcome=outcome,
        proof=plan.proof,
        summary=_summary(asked, plan, ferment.text, base, drink, doubt),
        amounts=plan.amounts,
        original_gravity=predicted.gravity,
        brix=predicted.brix,
        predicted=predicted,
        ferment=ferment,
        rule_of_thumb=rule_of_thumb(materials, masses, volume, asked.volume_is, asked.volume_l, circumstances.system),
        moisture=moisture_effect(materials, masses),
        nitrogen=nitrogen,
        feeds=feeds,
        yeast=pitch,
        targets=plan.targets,
        clash=plan.clash,
        base=base,
        finished=drink,
        shopping=bill.lines,
        cost=bill.cost,
        cost_without=bill.without,
        cost_per_container=cost_per_container(bill, asked.finished),
        currency=circumstances.currency,
        steps=steps,
        schedule=schedule_of(steps, circumstances.start_date),
        next=next_calls(
            asked,
            gravity,
            ferment,
            _racked_l(made, ferment.volume_after_l),
            None if drink is None else drink.blended_l,
            dry=not doubt,
        ),
        units=circumstances.system,
        assumed=_assumed(asked, plan, blend, made.back, yan_assumed),
        cautions=cautions,
        next_reading=in_system(
            readings_of(
                gravity,
                predicted.gravity.low,
                predicted.gravity.high,
                volume,
                ferment,
                circumstances,
                measure_honey=_unread_honey(asked),
            )
            + (() if made.back is None else jar_test_to_read(made.back.losses)),
            circumstances.system,
        ),
        sources=_sources(plan, blend, cautions),
        model_version=MODEL_VERSION,
        data_version=data_version(),
        batch=echo.batch,
        date=echo.date,
        note=echo.note,
    )


def _where_of_volume(asked: MustAsked) -> str:
    """Where the request says how much."""
    if asked.finished is not None:
        return "/finished/containers" if asked.finished.containers else "/finished/targets/volume"
    return "/sources" if asked.volume_l is None else "/volume"


def _aimed(asked: MustAsked) -> bool:
    return asked.original_gravity is not None or asked.potential_abv_percent is not None


def _made(asked: MustAsked) -> _Made:
    """The must by whichever way it was asked for."""
    if asked.finished is not None:
        back = backwards(asked)
        return _Made(back.must, back.original_gravity, back)
    if asked.potential_abv_percent is None:
        must = must_plan(asked, asked.original_gravity, asked.volume_l, asked.circumstances)
        return _Made(must, must.gravity)
    trial = replace(asked, rounding="none", circumstances=replace(asked.circumstances, draws=None))
    gravity, found = 1.050, None
    for _ in range(_PASSES):
        mixed = must_plan(trial, gravity, asked.volume_l, trial.circumstances)
        try:
            found = original_gravity_for(asked.potential_abv_percent, mixed.share)
        except ServiceError as error:
            error.pointer = "/potential_abv_percent"
            raise
        if abs(found - gravity) < 1e-7:
            break
        gravity = found
    must = must_plan(asked, gravity, asked.volume_l, asked.circumstances)
    return _Made(must, gravity)


def _racked_l(made: _Made, volume_after_l: float) -> float:
    """What will stand racked: of a finished drink its base, else all that has fermented [L]."""
    return volume_after_l if made.back is None else made.back.base_l


def _finished(asked: MustAsked, back: Backwards) -> tuple[BaseNeeded, FinishedDrink]:
    assert asked.finished is not None
    blend, name, system = back.blend, asked.finished.base.name, asked.circumstances.system
    volume = blend.predicted.volume
    packaged = packaged_span(Span(volume.value, volume.low, volume.high), of_the_blend(back.losses))
    base = BaseNeeded(
        name=name,
        abv_percent=round(back.base_abv_percent, 3),
        start_value_abv_percent=round(back.start_abv_percent, 3),
        final_gravity=round(back.final_gravity, 5),
        original_gravity=round(back.original_gravity, 5),
        volume_l=round(back.base_l, 4),
        before_racking_l=round(back.before_racking_l, 4),
        must_l=round(back.must_l, 4),
        text=f"{litres_words(back.base_l, system)} of {name} at {back.base_abv_percent:.2f} % vol, so "
        f"{litres_words(back.must_l, system)} of must of {back.original_gravity:.4f}; by volumes alone it would be "
        f"{back.start_abv_percent:.2f} % vol.",
    )
    drink = FinishedDrink(
        outcome=blend.outcome,
        proof=blend.proof,
        summary=blend.summary,
        amounts=blend.amounts,
        predicted=blend.predicted,
        targets=blend.targets,
        clash=blend.clash,
        blended_l=round(volume.value, 4),
        packaged_l=round(packaged.value, 4),
        packaged_low_l=round(packaged.low, 4),
        containers_l=None if back.containers_l is None else round(back.containers_l, 4),
    )
    return base, drink


def _summary(
    asked: MustAsked, plan: BlendPlan, ends: str, base: BaseNeeded | None, drink: FinishedDrink | None, doubt: str
) -> str:
    plain = plain_names([a.name for a in plan.amounts])
    what = [f"{plain[a.name]} ({a.amount_text})" for a in plan.amounts if a.mass_g > 0.0]
    predicted = plan.predicted
    told = capital(joined(what))
    made = (
        f"{told} {'makes' if len(what) == 1 else 'make'} "
        f"{litres_words(predicted.volume.value, asked.circumstances.system)} of must of "
        f"{predicted.gravity.value:.4f} ({predicted.brix.value:.1f} °Bx)."
    )
    failed = "" if plan.outcome == "targets_met" else f" {plan.summary}"
    if base is None or drink is None:
        meant = ""
        if asked.volume_l is not None:
            meant = " The volume named is that of the water." if asked.volume_is == "water_added" else ""
        return f"{made}{meant}{failed} {ends}"
    blended = "" if drink.outcome == "targets_met" else f" The drink: {drink.summary}"
    return f"{base.text} {made}{failed}{blended}{doubt and ' '}{doubt}"


def _unread_honey(asked: MustAsked) -> bool:
    return any(s.addition.ingredient.category is Category.HONEY and not s.addition.measured for s in asked.sources)


def _assumed(
    asked: MustAsked, plan: BlendPlan, blend: BlendPlan | None, back: Backwards | None, yan: Assumed
) -> tuple[Assumed, ...]:
    found: list[Assumed] = []
    if not asked.sources_given:
        found.append(Assumed("sources", "honey_average", "our default", "name yours"))
    if not asked.water_given:
        found.append(
            Assumed(
                "water", asked.water.ingredient.id, "our default: nothing dissolved in it", "name tap water, or yours"
            )
        )
    if asked.water.price_per_g is None and by_cost(asked):
        found.append(Assumed("price of the water", "0", "our default: water has no price here", "what yours costs"))
    found += plan.assumed
    if blend is not None:
        found += [a for a in blend.assumed if a not in plan.assumed]
    if back is not None:
        found += back.assumed
    nitrogen, yeast = asked.nitrogen, asked.yeast
    if not nitrogen.demand_given:
        found.append(
            Assumed(
                "nitrogen demand of the yeast",
                f"{nitrogen.demand}, {nitrogen.demand_mg_n_per_g:g} mg per gram of sugar",
                "our default; the class from memory, unverified; measured optimum 0.62 to 0.91",
                "what the strain's maker says",
            )
        )
    if not nitrogen.sources_given:
        found.append(Assumed("source of nitrogen", "diammonium phosphate", "our default", "name yours"))
    found += [
        Assumed(
            f"{source.name}: kind",
            "counts as an ammonium phosphate",
            "nothing says what it is: the careful side",
            "its label: whether it is yeast matter",
        )
        for source in nitrogen.sources
        if source.phosphate is None
    ]
    if nitrogen.must_yan_mg_n_per_l is None:
        found.append(yan)
    if yeast.viable_cells_per_g is None:
        found.append(
            Assumed(
                "living cells in a gram of yeast",
                "1e10",
                "from memory, unverified",
                "a count of living cells",
            )
        )
    if yeast.tolerance_abv_percent is None:
        found.append(Assumed("tolerance of the yeast", "unknown", "not stated", "what its maker says"))
    found.append(
        Assumed(
            "share of honey's reducing disaccharides that ferments",
            "0.5 (0 to 1)",
            "judged; no published mean was found",
            "the final gravity of a must of this honey",
        )
    )
    return tuple(dict.fromkeys(found))


def _sources(plan: BlendPlan, blend: BlendPlan | None, cautions: Iterable[Caution]) -> tuple[SourceCited, ...]:
    table = sources()
    keys = {s.key for s in plan.sources} | {c.source_id for c in cautions} | set(_ALWAYS)
    if blend is not None:
        keys |= {s.key for s in blend.sources}
    return tuple(SourceCited(key, table[key].title, table[key].mark) for key in sorted(keys))
