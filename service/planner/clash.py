"""Why targets clash, in the planner's terms: which of them and which limits, what each would have to give, what helps.

Every lot and addition is a column here, given amounts too, so that "all of the base" can be a member of a conflict.
Acidity and pH stand with the chemistry of the nearest plan.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, floor, inf, log10
from time import perf_counter

from service.catalogue.loader import ingredients
from service.catalogue.records import Category, Ingredient
from service.errors import InputError
from service.model.acidity import Chemistry, chemistry_of
from service.model.properties import PROPERTIES, depends_on_acids
from service.planner.answers_decisions import Clash, Helpful, Relaxed
from service.planner.asked import AdditionAsked, PlanAsked, TargetAsked
from service.planner.clash_words import clash_text, in_words, limit_in_words
from service.planner.materials import Material, materials_of, poured
from service.planner.numbers import Numbers, numbers_from
from service.planner.predict import value_of
from service.quantities import mass_text
from service.solver.conflict import Limit, Member, irreducible_conflict
from service.solver.local import LocalStatus
from service.solver.packs import solve_whole
from service.solver.problem import Aim, Form, Problem, Ratio
from service.solver.relaxation import Relaxation, least_relaxation
from service.solver.solve import find
from service.solver.stages import range_rows, typical_divisor

_ROOM = 10.0
"""A limit that is given up leaves room for so many times itself, or so many kilograms per litre of the lots."""

_CAREFUL = {Category.SPIRIT: "spirit", Category.SALT: "carbonates", Category.JUICE: "raw_juice"}
"""Categories that are proposed only when the request allows them."""

_MOST_HELPFUL = 6
_ROUNDS = 5
_FEW_BOXES = 40
_MOST_CONFLICTS = 2
_CLOSE = 1e-3
"""A help that leaves a target of acidity within this share of what counts as exact is one."""


@dataclass(frozen=True, slots=True)
class Situation:
    """A question that cannot be met, as a problem over all its materials."""

    asked: PlanAsked
    numbers: Numbers
    limits: tuple[Limit, ...]

    def material(self, column: int) -> Material:
        """The material of a column."""
        return self.numbers.materials[self.numbers.free[column]]

    def mass_g(self, column: int, amount: float) -> float:
        """An amount of a column as a mass."""
        material = self.material(column)
        return amount * 1000.0 * self.numbers.litres if material else 0.0


def situation_of(asked: PlanAsked, materials: Sequence[Material], masses_g: Sequence[float]) -> Situation:
    """The question as conflicts see it, with the chemistry of the nearest plan."""
    end_point = asked.circumstances.end_point_ph
    chemistry = chemistry_of(poured(materials, masses_g), end_point)
    numbers = numbers_from(
        materials, asked.targets, (), chemistry, every_column=True, senses=asked.circumstances.senses
    )
    limits: list[Limit] = []
    for j, i in enumerate(numbers.free):
        limits += _limits(materials[i], j, numbers)
    return Situation(asked, numbers, tuple(limits))


def _limits(material: Material, column: int, numbers: Numbers) -> list[Limit]:
    """What may be given up about one material."""
    low, high = numbers.problem.lower[column], numbers.problem.upper[column]
    room = max(_ROOM, _ROOM * high)
    if material.kind == "lot":
        return [Limit(f"use of {material.name}", column, 0.0, room)]
    if material.fixed:
        return [Limit(f"amount of {material.name}", column, 0.0, room)]
    found = []
    if column not in numbers.boundless and material.most_g is not None:
        found.append(Limit(f"stock of {material.name}", column, low, room))
    if low > 0.0:
        found.append(Limit(f"least of {material.name}", column, 0.0, high))
    if material.whole_g:
        found.append(Limit(f"packs of {material.name}", column, low, high, whole=False))
    return found


def explain_clash(
    asked: PlanAsked, materials: Sequence[Material], masses_g: Sequence[float], *, until: float = inf
) -> Clash | None:
    """Say why the targets of a question cannot all be met, and what would settle it.

    Parameters: asked; materials, sorted; masses_g of the nearest plan; until, a `perf_counter` time [s] after which
    no new proof starts.
    Returns: Clash; its conflict is empty where no irreducible set could be established.
    """
    situation = situation_of(asked, materials, masses_g)
    numbers = situation.numbers
    members = irreducible_conflict(numbers.problem, numbers.goals, situation.limits, numbers.start, until=until) or ()
    relaxed: list[Relaxed] = []
    for member in members:
        relaxation = least_relaxation(numbers.problem, numbers.goals, member, numbers.start, until=until)
        if relaxation is not None:
            relaxed.append(_relaxed(situation, member, relaxation))
    helpful = helpful_ingredients(asked, materials, masses_g, until=until)
    names = tuple(member.name for member in members)
    besides = [] if relaxed or not members else _besides(situation, members, until)
    text = clash_text(asked, materials, names, relaxed, helpful, besides)
    return Clash(names, tuple(relaxed), helpful, text)


def _besides(situation: Situation, members: Sequence[Member], until: float) -> list[tuple[str, ...]]:
    """The conflicts that are left when one target of the first gives way: no single change settles them all."""
    numbers = situation.numbers
    found: list[tuple[str, ...]] = []
    for member in members:
        if member.goal is None or len(found) == _MOST_CONFLICTS:
            continue
        goals = [goal for goal in numbers.goals if goal.name != member.name]
        others = irreducible_conflict(numbers.problem, goals, situation.limits, numbers.start, until=until) or ()
        names = tuple(other.name for other in others)
        if names and names not in found:
            found.append(names)
    return found


def _relaxed(situation: Situation, member: Member, relaxation: Relaxation) -> Relaxed:
    if relaxation.column is None:
        target = next(t for t in situation.asked.targets if t.name == member.name)
        value = outward(target, relaxation.to)
        return Relaxed(
            member.name, in_words(target.name, value), value, PROPERTIES[target.name].unit, relaxation.proved
        )
    material = situation.material(relaxation.column)
    mass_g = outward_g(material, situation.mass_g(relaxation.column, relaxation.to))
    words = limit_in_words(material, member.name, mass_g, situation.asked.circumstances)
    return Relaxed(member.name, words, mass_g, "g", relaxation.proved)


def outward(target: TargetAsked, to: float) -> float:
    """A value that a target would have to become, rounded so that the target still can be met with it."""
    scale = 10.0 ** PROPERTIES[target.name].decimals
    if to < target.low:
        return floor(to * scale + 1e-9) / scale
    if to > target.high:
        return ceil(to * scale - 1e-9) / scale
    return to


def outward_g(material: Material, to_g: float) -> float:
    """An amount [g] that a limit would have to allow, to seven digits, rounded so that it allows what is needed."""
    if to_g <= 0.0:
        return 0.0
    scale = 10.0 ** (6 - floor(log10(to_g)))
    upwards = material.most_g is not None and to_g > material.most_g
    return float(f"{(ceil if upwards else floor)(to_g * scale) / scale:.7g}")


def helpful_ingredients(
    asked: PlanAsked, materials: Sequence[Material], masses_g: Sequence[float], *, until: float = inf
) -> tuple[Helpful, ...]:
    """Single ingredients of the catalogue that would bring every target into reach, the least mass of each category.

    Parameters: as for `explain_clash`.
    Returns: at most `_MOST_HELPFUL`, the smallest amount first.
    """
    present = {m.source.ingredient.id for m in materials if isinstance(m.source, AdditionAsked)}
    chemistry = chemistry_of(poured(materials, masses_g), asked.circumstances.end_point_ph)
    best: dict[Category, tuple[float, str]] = {}
    for ingredient in sorted(ingredients().values(), key=lambda i: i.id):
        careful = _CAREFUL.get(ingredient.category)
        if ingredient.id in present or (careful is not None and careful not in asked.allow):
            continue
        if perf_counter() > until:
            break
        mass_g = _needed_g(asked, materials, ingredient, chemistry)
        known = best.get(ingredient.category)
        if mass_g is not None and (known is None or mass_g < known[0] * (1.0 - 1e-9)):
            best[ingredient.category] = (mass_g, ingredient.id)
    circumstances = asked.circumstances
    return tuple(
        Helpful(name, round(mass, 2), mass_text(mass, circumstances.system, circumstances.instruments.scale_step_g))
        for mass, name in sorted(best.values())[:_MOST_HELPFUL]
    )


def _needed_g(
    asked: PlanAsked, materials: Sequence[Material], ingredient: Ingredient, chemistry: Chemistry
) -> float | None:
    """The least mass of an ingredient [g] with which all targets can be met; None if there is none."""
    (more,) = materials_of((), (AdditionAsked(ingredient),))
    everything = (*materials, more)
    for _ in range(_ROUNDS):
        try:
            numbers = numbers_from(everything, asked.targets, (), chemistry)
        except InputError:  # a target on what this ingredient has not: a price, a volume of its own
            return None
        problem = numbers.problem
        references = [typical_divisor(goal.ratio, problem, numbers.start) for goal in numbers.goals]
        rows = (*range_rows(numbers.goals, references, at_value=False), *problem.rows)
        column = numbers.free.index(len(materials))
        amount = Form(0.0, tuple(float(j == column) for j in range(problem.size)))
        # the search for this column ends where the lots drown in it
        upper = tuple(min(u, _ROOM) if j == column else u for j, u in enumerate(problem.upper))
        least = replace(problem, rows=rows, upper=upper, aims=(Aim((Ratio(amount),)), *problem.aims))
        x = _found(least, numbers.start)
        if x is None:
            return None
        masses = numbers.masses_g(x)
        if _met(asked, everything, masses):
            return masses[-1] or None
        chemistry = chemistry_of(poured(everything, masses), asked.circumstances.end_point_ph)
    return None


def _found(problem: Problem, sums: Sequence[float]) -> Sequence[float] | None:
    """A plan, without a proof and without a long search for one."""
    local = find(replace(problem, whole=()), sums)
    if local.status is not LocalStatus.STATIONARY or not any(problem.whole):
        return local.x if local.status is LocalStatus.STATIONARY else None
    solution = solve_whole(problem, sums, nodes=_FEW_BOXES, prove=False)
    return solution.x if solution.found else None


def _met(asked: PlanAsked, materials: Sequence[Material], masses_g: Sequence[float]) -> bool:
    """Whether targets that the chemistry moves are met where it is exact."""
    contents = poured(materials, masses_g)
    for target in asked.targets:
        if not depends_on_acids(target.name):
            continue
        reached = value_of(target.name, materials, masses_g, contents, asked.circumstances.end_point_ph)
        if reached is None:
            return False
        room = _CLOSE * PROPERTIES[target.name].tolerance(abs(reached))
        if not target.low - room <= reached <= target.high + room:
            return False
    return True
