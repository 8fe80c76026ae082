"""What it costs to be sure: a plan with confident targets beside the one without."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from service.model.properties import PROPERTIES
from service.planner.answers import Predicted
from service.planner.answers_blend import CautionPrice, ChanceWithout
from service.planner.answers_decisions import AmountChange, PropertyChange
from service.planner.asked import PlanAsked
from service.planner.chances import chance_of, confident
from service.planner.intervals import Interval
from service.planner.marginal_words import signed_in_unit
from service.planner.materials import Material
from service.planner.plain_words import amount_in_words, plain_property
from service.planner.predict import foreseen, predict
from service.planner.solving import answer
from service.planner.steps import steps_between
from service.solver.goals import Outcome

_TOLD: Final = ("gravity", "abv_percent", "titratable_acidity", "ph", "volume", "cost")
_LEAST_SHARE: Final = 1e-4
_MOST_SAID: Final = 4


def caution_price(asked: PlanAsked, materials: Sequence[Material], masses_g: Sequence[float]) -> CautionPrice | None:
    """The plan beside what the same targets would take by the plan's own figures alone.

    Parameters: asked; materials; masses_g of the plan before rounding [g].
    Returns: CautionPrice; None where no target has a confidence, where the other plan is none, or is the same.
    """
    sure = confident(asked.targets)
    if not sure:
        return None
    bold = replace(asked, targets=tuple(replace(t, confidence=None) for t in asked.targets))
    answered = answer(bold, materials)
    if answered.result.outcome is not Outcome.MET:
        return None
    masses = answered.numbers.masses_g(answered.result.x)
    told = foreseen(materials, masses, asked.circumstances)
    total = sum(masses)
    amounts = [
        AmountChange(m.name, float(f"{a - b:.4g}"))
        for m, a, b in zip(materials, masses_g, masses, strict=True)
        if abs(a - b) > _LEAST_SHARE * total
    ]
    if not amounts:
        return None
    amounts.sort(key=lambda change: (-abs(change.mass_g), change.name))
    without = tuple(ChanceWithout(t.name, round(_chance(t.name, asked, told.intervals), 3)) for t in sure)
    changes = _changes(asked, told.predicted, predict(materials, masses_g, asked.circumstances))
    return CautionPrice(
        without, tuple(amounts), changes, _text(without, amounts, changes, asked, {m.name: m.said for m in materials})
    )


def _chance(name: str, asked: PlanAsked, intervals: Mapping[str, Interval]) -> float:
    target = next(t for t in asked.targets if t.name == name)
    return chance_of(target, intervals[name]) if name in intervals else 0.0


def _changes(asked: PlanAsked, before: Predicted, after: Predicted) -> tuple[PropertyChange, ...]:
    found = []
    for name in dict.fromkeys((*(p.name for p in asked.prefer), *(t.name for t in asked.targets), *_TOLD)):
        old, new = getattr(before, name), getattr(after, name)
        if old is None or new is None:
            continue
        change = new.value - old.value
        if abs(change) <= 0.5 * 10.0 ** -PROPERTIES[name].decimals:
            continue
        steps = steps_between(name, old.value, new.value, asked.circumstances.senses)
        found.append(
            PropertyChange(
                name, float(f"{change:.3g}"), PROPERTIES[name].unit, None if steps is None else round(steps, 2)
            )
        )
    return tuple(found)


def _text(
    without: Sequence[ChanceWithout],
    amounts: Sequence[AmountChange],
    changes: Sequence[PropertyChange],
    asked: PlanAsked,
    of: Mapping[str, str],
) -> str:
    sure = {t.name: t for t in confident(asked.targets)}
    first = " and ".join(
        f"{plain_property(w.property)} {sure[w.property].asked.rsplit(',', 1)[0]} would hold with a chance of "
        f"{100.0 * w.chance:.0f} %"
        for w in without
    )
    moved = ", ".join(
        f"{plain_property(c.property)} {signed_in_unit(c.change, c.unit, 10.0 ** -PROPERTIES[c.property].decimals)}"
        for c in changes[:_MOST_SAID]
    )
    what = ", ".join(
        f"{'+' if change.mass_g > 0.0 else '−'}{amount_in_words(abs(change.mass_g), asked.circumstances)} "
        f"{of[change.name]}"
        for change in amounts[:_MOST_SAID]
    )
    return f"Without the margin, {first}. Being as sure as asked takes {what}" + (f": {moved}." if moved else ".")
