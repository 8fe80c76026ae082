"""What cannot be undone: only additions follow, so what was overshot stays in, and is at most diluted or bound."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from operator import mul
from typing import Final

from service.catalogue.lookup import get_ingredient
from service.model.acidity import chemistry_of
from service.model.gradients import property_gradient
from service.model.properties import PROPERTIES, Of
from service.planner.answers_blend import BlendPlan
from service.planner.asked import AdditionAsked, Circumstances, TargetAsked
from service.planner.correction.answers import NotUndone
from service.planner.correction.rest import Rest
from service.planner.correction.told import names_in_words
from service.planner.materials import Material, materials_of
from service.planner.plain_words import figure_in_words, joined, plain_names, plain_property
from service.planner.plan_report import ROUNDING_SHARE
from service.planner.predict import rounded, value_of

_SUGAR: Final = ("Sugar cannot be taken out again: only dilution lowers it, with water or a drier lot.", "")
_JUICE: Final = ("Juice cannot be taken out again: only dilution lowers its share.", "")
_WORDS: Final[dict[str, tuple[str, str]]] = {
    "gravity": _SUGAR,
    "brix": _SUGAR,
    "extract_g_per_l": _SUGAR,
    "sugar_g_per_l": _SUGAR,
    "fermentable_sugar_g_per_l": _SUGAR,
    "sucrose_equivalent_g_per_l": _SUGAR,
    "energy_kcal_per_100ml": _SUGAR,
    "juice_percent": _JUICE,
    "citrus_percent": _JUICE,
    "abv_percent": (
        "Alcohol cannot be taken out again: only dilution lowers it.",
        "Strength comes only with something stronger: a stronger lot, or bought spirit.",
    ),
    "titratable_acidity": (
        "Acid cannot be taken out again: dilution lowers it, and a carbonate binds some of it.",
        "Only acid raises it, or something sourer.",
    ),
    "ph": ("Only acid lowers a pH, or something sourer.", "Only a carbonate raises a pH, or dilution by a little."),
    "sugar_acid_ratio": ("Only acid lowers this ratio.", "Only sugar raises this ratio, or a carbonate."),
    "volume": ("What is in the vessel stays in: only pouring away would make it less.", ""),
}
"""What is said where a property is too high, and where it is too low and nothing at hand raises it."""

_MOVES: Final = 1e-12
_TENTH: Final = 0.1


def not_undone(rest: Rest, plan: BlendPlan) -> tuple[NotUndone, ...]:
    """The targets that the vessel has passed, and those that the plan does not reach.

    Parameters: rest; plan, of what to add.
    Returns: one NotUndone for each, in the order of the targets.
    """
    met = {report.property: report.met for report in plan.targets}
    materials = materials_of(rest.lots, rest.additions)
    circumstances = rest.belief.circumstances
    vessel = next(m for m in materials if m.source is rest.vessel)
    masses = [m.most_g or 0.0 if m is vessel else 0.0 for m in materials]
    found = []
    for target in rest.targets:
        law = PROPERTIES[target.name]
        if law.of in (Of.ADDED_MASS, Of.ADDED_VOLUME, Of.COST):
            continue
        now = value_of(
            target.name,
            materials,
            masses,
            rest.vessel.lot.contents,
            circumstances.end_point_ph,
            circumstances.senses,
        )
        if now is None:
            continue
        settled = met.get(target.name, True)
        slack = ROUNDING_SHARE * law.tolerance(now)
        if now > target.high + slack:
            way = -1.0
        elif now < target.low - slack and not settled:
            way = 1.0
        else:
            continue
        measured_out = plan.outcome == "nearest_measurable"
        if measured_out and way > 0.0:  # within reach, but for what scale, jug and packs can measure out
            continue
        helpers = _helpers(target.name, way, now, vessel, materials, circumstances)
        proposed = {} if measured_out else _proposed(target.name, way, now, vessel, plan, circumstances)
        names = {**plain_names([*proposed]), **names_in_words(materials)}
        found.append(_told(target, now, way, settled, helpers, proposed, names, plan, circumstances))
    return tuple(found)


def _helpers(
    name: str, way: float, now: float, vessel: Material, materials: Sequence[Material], circumstances: Circumstances
) -> dict[str, float]:
    """What of some materials moves a property of the vessel the wanted way, and how far a gram does; the best first."""
    contents = vessel.per_g
    law = circumstances.senses.law(name)
    others = [m for m in materials if m is not vessel and m.most_g != 0.0]
    if law.of is Of.VOLUME:
        return {m.name: 1.0 for m in others if way > 0.0}
    gradient = property_gradient(law, contents, chemistry_of(contents, circumstances.end_point_ph), now)
    moves = {m.name: sum(map(mul, gradient, m.per_g.vector)) for m in others}
    found = {n: way * by for n, by in moves.items() if way * by > _MOVES}
    return dict(sorted(found.items(), key=lambda f: (-f[1], f[0])))


def _proposed(
    name: str, way: float, now: float, vessel: Material, plan: BlendPlan, circumstances: Circumstances
) -> dict[str, str]:
    """Ingredients besides the request's with which every target is met, and that move this one the wanted way."""
    amounts = {} if plan.clash is None else {h.ingredient: h.amount_text for h in plan.clash.helpful_ingredients}
    offered = materials_of((), [AdditionAsked(get_ingredient(n)) for n in amounts])
    helping = _helpers(name, way, now, vessel, offered, circumstances)
    return {n: text for n, text in amounts.items() if n in helping}


def _of_weight(effects: Mapping[str, float]) -> list[str]:
    """What does a tenth of the whole effect at least, the largest first."""
    whole = sum(effects.values())
    return sorted((n for n, by in effects.items() if by > _TENTH * whole), key=lambda n: (-effects[n], n))


def _told(
    target: TargetAsked,
    now: float,
    way: float,
    settled: bool,
    helpers: Mapping[str, float],
    proposed: Mapping[str, str],
    plain: Mapping[str, str],
    plan: BlendPlan,
    circumstances: Circumstances,
) -> NotUndone:
    high, low = _WORDS.get(target.name, ("It cannot be taken out again.", ""))
    reason = high if way < 0.0 else low
    used = _of_weight({a.name: a.mass_g * helpers.get(a.name, 0.0) for a in plan.amounts})
    everything = (*helpers, *(p for p in proposed if p not in helpers))
    shown, name = figure_in_words(target.name, now, circumstances), plain_property(target.name)
    head = f"{name[:1].upper() if name != 'pH' else name[:1]}{name[1:]} is {shown}, asked for {target.asked}."
    if settled and used:
        tail = f"The plan brings it back with {joined([plain[n] for n in used])}."
    elif settled:
        tail = "The plan brings it back."
    elif plan.outcome == "nearest_measurable":
        tail = "The plan brings it back as near as packs, scale and jug allow."
    elif proposed:
        words = joined([f"{amount} of {plain[p]}" for p, amount in proposed.items()], "or")
        tail = f"Nothing that may be added reaches every target; {words} would."
    elif helpers:
        words = joined([plain[n] for n in helpers], "or")
        tail = f"Of what may be added only {words} would move it so, and not far enough: the plan is the nearest."
    else:
        tail = f"Nothing that may be added brings it {'back' if way < 0.0 else 'there'}: the plan is the nearest."
    return NotUndone(
        target.name,
        PROPERTIES[target.name].unit,
        rounded(target.name, now),
        target.asked,
        way < 0.0,
        settled,
        everything,
        " ".join(part for part in (head, reason, tail) if part),
    )
