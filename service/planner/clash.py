"""Why targets clash, in the planner's terms: which of them and which limits, what each would have to give, what helps.

Every lot and addition is a column here, given amounts too, so that "all of the base" can be a member of a conflict.

Rows on pH and acidity are tangents at one blend (`service.model.acidity`). A conflict is looked for with rows that hold
wherever strength and ionic strength can move the constants of the acids. What a member has to give, and what helps, is
searched again with the chemistry of where the search ended until that no longer moves, and only told if the true pH and
acidity then meet what was asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import ceil, floor, inf, log10
from time import perf_counter

from service.catalogue.loader import ingredients
from service.catalogue.records import Category, Ingredient
from service.errors import InputError
from service.model.acidity import Chemistry, chemistry_of
from service.model.properties import PROPERTIES, depends_on_acids
from service.planner.answers_decisions import Clash, Helpful, Relaxed
from service.planner.asked import AdditionAsked, PlanAsked, TargetAsked
from service.planner.clash_words import Besides, clash_text, limit_in_words
from service.planner.materials import Material, materials_of, poured
from service.planner.numbers import Numbers, numbers_from
from service.planner.plain_words import amount_in_words, value_in_words
from service.planner.predict import value_of
from service.planner.solving import widened
from service.solver.conflict import Limit, Member, irreducible_conflict, members_of
from service.solver.local import LocalStatus, is_liquid
from service.solver.packs import solve_whole
from service.solver.problem import Aim, Form, Problem, Ratio
from service.solver.relaxation import Relaxation, least_relaxation
from service.solver.solve import find
from service.solver.stages import Goal, range_rows, typical_divisor

_ROOM = 10.0
"""A limit that is given up leaves room for so many times itself, or so many kilograms per litre of the lots."""

_CAREFUL = {Category.SPIRIT: "spirit", Category.SALT: "carbonates", Category.JUICE: "raw_juice"}
"""Categories that are proposed only when the request allows them."""

_CORRECTIONS = {Category.ACID, Category.SALT}

_MOST_HELPFUL = 6
_ROUNDS = 8
_FEW_BOXES = 40
_MOST_CONFLICTS = 2
_CLOSE = 1e-3
"""A target of acidity is met within this share of what counts as exact."""

_WHOLE = 1e-7
_SETTLED = 3e-4
"""An amount or value that moves by less than this share in a round has settled."""

_DIGITS, _DIGITS_OF_ACIDITY, _DIGITS_SAID = 7, 5, 4
"""Digits of an amount that is told, and said in words; a search for acidity is only so sharp."""

_MOST_CORRECTION_G_PER_L = 4.0
"""More acid or carbonate than this is no correction of a drink and is not proposed [g/L] (our default)."""


@dataclass(frozen=True, slots=True)
class Situation:
    """A question that cannot be met, as a problem over all its materials."""

    asked: PlanAsked
    numbers: Numbers
    limits: tuple[Limit, ...]

    @property
    def acids(self) -> bool:
        """Whether a target speaks of acidity or pH, whose rows are tangents."""
        return any(depends_on_acids(t.name) for t in self.asked.targets)

    @property
    def end_point_ph(self) -> float:
        """End point of the acidities asked for."""
        return self.asked.circumstances.end_point_ph

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
    if material.fixed and high > 0.0:
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
    Returns: Clash; its conflict is empty where no irreducible set could be established, and what would do is then told
    of every target.
    """
    situation = situation_of(asked, materials, masses_g)
    goals = _goals_to_prove(situation)
    members = _conflict(situation, goals, until)
    relaxed: list[Relaxed] = []
    longest = 0.0
    for member in members or members_of(situation.numbers.goals, ()):
        begun = perf_counter()
        if begun + longest > until:
            break
        relaxation = _relaxation(situation, goals, member, until)
        longest = max(longest, perf_counter() - begun)
        if relaxation is not None:
            told = _relaxed(situation, member, relaxation)
            if told.value >= 0.0:  # a drink has no property below nought, whatever the tangents say
                relaxed.append(told)
    helpful = helpful_ingredients(asked, materials, masses_g, until=until)
    names = tuple(member.name for member in members)
    besides = _besides(situation, goals, members, until) if members and not relaxed else Besides()
    text = clash_text(asked, materials, names, relaxed, helpful, besides, _nearest(asked, materials, masses_g))
    return Clash(names, tuple(relaxed), helpful, text)


def _nearest(asked: PlanAsked, materials: Sequence[Material], masses_g: Sequence[float]) -> str:
    """What the nearest plan reaches of the only target, in words; nothing where there are several."""
    if len(asked.targets) != 1:
        return ""
    name, circumstances = asked.targets[0].name, asked.circumstances
    contents = poured(materials, masses_g)
    reached = value_of(name, materials, masses_g, contents, circumstances.end_point_ph, circumstances.senses)
    return "" if reached is None else value_in_words(name, reached, circumstances)


def _goals_to_prove(situation: Situation) -> list[Goal]:
    """The targets as a conflict may use them, of any blend of the materials: see the module's text."""
    numbers = situation.numbers
    if not situation.acids:
        return list(numbers.goals)
    # a blend is no weaker than the weakest of its parts, and no stronger than the strongest
    strengths = [chemistry_of(m.per_g).abv_percent if is_liquid(m.per_g.sums) else 0.0 for m in numbers.materials]
    outer = partial(numbers.ratios.outer_ph_ratio, min(strengths), max(strengths))
    return [
        replace(goal, at=partial(outer, goal.low), value=None)
        if goal.at is not None
        else widened(goal, situation.end_point_ph)
        for goal in numbers.goals
    ]


def _conflict(situation: Situation, goals: Sequence[Goal], until: float) -> tuple[Member, ...]:
    if perf_counter() > until:
        return ()
    problem, sums = situation.numbers.problem, situation.numbers.start
    return irreducible_conflict(problem, goals, situation.limits, sums, until=until) or ()


def _besides(situation: Situation, goals: Sequence[Goal], members: Sequence[Member], until: float) -> Besides:
    """The conflicts that are left when one target of the first gives way."""
    found: list[tuple[str, ...]] = []
    always = True
    for member in members:
        if member.goal is None:
            continue
        others = _conflict(situation, [goal for goal in goals if goal.name != member.name], until)
        names = tuple(other.name for other in others)
        always = always and bool(names)
        if names and names not in found:
            found.append(names)
    return Besides(tuple(found[:_MOST_CONFLICTS]), always and bool(found))


def _relaxation(situation: Situation, outer: Sequence[Goal], member: Member, until: float) -> Relaxation | None:
    """The least that a member has to give, with the chemistry of where that leads.

    The search starts from the chemistry of the nearest plan; where that shows no way, from where the goals for `outer`
    chemistry lead.
    """
    numbers = situation.numbers
    if not situation.acids:
        return least_relaxation(numbers.problem, numbers.goals, member, numbers.start, until=until)
    for goals in (numbers.goals, outer):
        found = _least(numbers, goals, member, numbers.start, until)
        if found is not None and perf_counter() <= until:
            found = _settled(situation, member, found, until)
            if found is not None:
                return found
    return None


def _least(
    numbers: Numbers, goals: Sequence[Goal], member: Member, sums: Sequence[float], until: float
) -> Relaxation | None:
    own = next((goal for goal in goals if goal.name == member.name), None)
    return least_relaxation(numbers.problem, goals, replace(member, goal=own), sums, until=until)


def _settled(situation: Situation, member: Member, found: Relaxation, until: float) -> Relaxation | None:
    """Search again with the chemistry of where the search ended until that no longer moves; None if it goes on."""
    numbers, asked = situation.numbers, situation.asked
    others = [t for t in asked.targets if t.name != member.name]
    with_ph = any(t.name == "ph" for t in asked.targets)
    for _ in range(_ROUNDS):
        chemistry = chemistry_of(poured(numbers.materials, numbers.masses_g(found.x)), situation.end_point_ph)
        numbers = numbers.with_chemistry(chemistry)
        again = _least(numbers, numbers.goals, member, numbers.problem.sums_at(found.x), until)
        if again is None or perf_counter() > until:
            return None
        moved = abs(again.to - found.to) > _SETTLED * abs(found.to)
        found = again
        if not moved and _met(others, numbers.materials, numbers.masses_g(found.x), situation.end_point_ph):
            return replace(found, proved=found.proved and not with_ph)
    return None


def _relaxed(situation: Situation, member: Member, relaxation: Relaxation) -> Relaxed:
    if relaxation.column is None:
        target = next(t for t in situation.asked.targets if t.name == member.name)
        value = outward(target, relaxation.to)
        return Relaxed(
            member.name,
            value_in_words(target.name, value, situation.asked.circumstances),
            value,
            PROPERTIES[target.name].unit,
            relaxation.proved,
        )
    material = situation.material(relaxation.column)
    to_g = situation.mass_g(relaxation.column, relaxation.to)
    mass_g = outward_g(material, to_g, _DIGITS_OF_ACIDITY if situation.acids else _DIGITS)
    words = limit_in_words(
        material, member.name, outward_g(material, to_g, _DIGITS_SAID), situation.asked.circumstances
    )
    return Relaxed(member.name, words, mass_g, "g", relaxation.proved)


def outward(target: TargetAsked, to: float) -> float:
    """A value that a target would have to become, rounded so that the target still can be met with it."""
    scale = 10.0 ** PROPERTIES[target.name].decimals
    if to < target.low:
        return floor(to * scale + 1e-9) / scale
    if to > target.high:
        return ceil(to * scale - 1e-9) / scale
    return to


def outward_g(material: Material, to_g: float, digits: int = _DIGITS) -> float:
    """An amount [g] that a limit would have to allow, rounded so that it allows what is needed."""
    if to_g <= 0.0:
        return 0.0
    if material.whole_g:
        packs = to_g / material.whole_g
        if abs(packs - round(packs)) <= _WHOLE * packs:
            return float(f"{round(packs) * material.whole_g:.12g}")
    scale = 10.0 ** (digits - 1 - floor(log10(to_g)))
    upwards = material.most_g is not None and to_g > material.most_g
    rounded = ceil(to_g * scale - _WHOLE) if upwards else floor(to_g * scale + _WHOLE)
    return float(f"{rounded / scale:.{digits}g}")


def helpful_ingredients(
    asked: PlanAsked, materials: Sequence[Material], masses_g: Sequence[float], *, until: float = inf
) -> tuple[Helpful, ...]:
    """Single ingredients of the catalogue that would bring every target into reach, the least mass of each category.

    Parameters: as for `explain_clash`.
    Returns: at most `_MOST_HELPFUL`, the smallest amount first.
    """
    present = {m.source.ingredient.id for m in materials if isinstance(m.source, AdditionAsked)}
    chemistry = chemistry_of(poured(materials, masses_g), asked.circumstances.end_point_ph)
    about_acid = any(t.name in ("titratable_acidity", "ph", "sugar_acid_ratio") for t in asked.targets)
    best: dict[Category, tuple[float, str]] = {}
    longest, table = 0.0, ingredients()
    for ingredient in sorted(table.values(), key=lambda i: i.id):
        careful = _CAREFUL.get(ingredient.category)
        if ingredient.id in present or (careful is not None and careful not in asked.allow):
            continue
        if not asked.lots and not about_acid and ingredient.category in _CORRECTIONS:  # no must gets its weight of acid
            continue
        if "grapefruit" in ingredient.id:  # changes how medicines act: nobody's help unasked
            continue
        begun = perf_counter()
        if begun + longest > until:
            break
        mass_g = _needed_g(asked, materials, ingredient, chemistry, until)
        longest = max(longest, perf_counter() - begun)
        known = best.get(ingredient.category)
        if mass_g is not None and (known is None or mass_g < known[0] * (1.0 - 1e-9)):
            best[ingredient.category] = (mass_g, ingredient.id)
    return tuple(
        Helpful(
            name, told_g(mass), amount_in_words(told_g(mass), asked.circumstances, liquid=not table[name].bulk_solid)
        )
        for mass, name in sorted(best.values())[:_MOST_HELPFUL]
    )


def told_g(mass_g: float) -> float:
    """A mass that helps [g], to four digits or a hundredth of a gram, rounded up."""
    scale = 10.0 ** max(2, 3 - floor(log10(mass_g)))
    return ceil(mass_g * scale - _WHOLE) / scale


def _needed_g(
    asked: PlanAsked, materials: Sequence[Material], ingredient: Ingredient, chemistry: Chemistry, until: float
) -> float | None:
    """The least mass of an ingredient [g] with which all targets can be met; None if there is none."""
    (more,) = materials_of((), (AdditionAsked(ingredient),))
    everything = (*materials, more)
    before = 0.0
    for _ in range(_ROUNDS):
        try:
            numbers = numbers_from(everything, asked.targets, (), chemistry, senses=asked.circumstances.senses)
        except InputError:  # a target on what this ingredient has not: a price, a volume of its own
            return None
        problem = numbers.problem
        references = [typical_divisor(goal.ratio, problem, numbers.start) for goal in numbers.goals]
        rows = (*range_rows(numbers.goals, references, at_value=False), *problem.rows)
        column = numbers.free.index(len(materials))
        amount = Form(0.0, tuple(float(j == column) for j in range(problem.size)))
        # the search for this column ends where the lots drown in it
        most = _MOST_CORRECTION_G_PER_L / 1000.0 if ingredient.category in _CORRECTIONS else _ROOM
        upper = tuple(min(u, most) if j == column else u for j, u in enumerate(problem.upper))
        least = replace(problem, rows=rows, upper=upper, aims=(Aim((Ratio(amount),)), *problem.aims))
        x = _found(least, numbers.start, until)
        if x is None:
            return None
        masses = numbers.masses_g(x)
        mass_g = masses[-1]
        if not any(depends_on_acids(t.name) for t in asked.targets):
            return mass_g or None
        if abs(mass_g - before) <= _SETTLED * mass_g and _met(
            asked.targets, everything, masses, asked.circumstances.end_point_ph
        ):
            return mass_g or None
        before = mass_g
        chemistry = chemistry_of(poured(everything, masses), asked.circumstances.end_point_ph)
    return None


def _found(problem: Problem, sums: Sequence[float], until: float) -> Sequence[float] | None:
    """A plan, without a proof and without a long search for one."""
    local = find(replace(problem, whole=()), sums)
    if local.status is not LocalStatus.STATIONARY or not any(problem.whole):
        return local.x if local.status is LocalStatus.STATIONARY else None
    solution = solve_whole(problem, sums, until=until, nodes=_FEW_BOXES, prove=False)
    return solution.x if solution.found else None


def _met(
    targets: Sequence[TargetAsked], materials: Sequence[Material], masses_g: Sequence[float], end_point_ph: float
) -> bool:
    """Whether targets that the chemistry moves are met where it is exact."""
    contents = poured(materials, masses_g)
    for target in targets:
        if not depends_on_acids(target.name):
            continue
        reached = value_of(target.name, materials, masses_g, contents, end_point_ph)
        if reached is None:
            return False
        room = _CLOSE * PROPERTIES[target.name].tolerance(abs(reached))
        if not target.low - room <= reached <= target.high + room:
            return False
    return True
