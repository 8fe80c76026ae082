"""From materials and targets to the solver's problem, and back.

Everything is divided by a reference volume, the lots' or the target's, so that the solver sees numbers of order one
and a batch k times as large is the same problem.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, partial
from math import inf

from service.errors import InputError
from service.model.acidity import Chemistry, chemistry_of, ethanol_share
from service.model.contents import Contents
from service.model.properties import PROPERTIES, Of, Per, depends_on_acids
from service.physics.ethanol_water import (
    ETHANOL_DENSITY_20C_KG_M3,
    ethanol_water_density_kg_m3,
    mass_fraction_from_abv_percent,
)
from service.physics.mixture import WATER_G_PER_ML
from service.planner.asked import Preference, TargetAsked
from service.planner.chances import Margins
from service.planner.materials import Material, poured
from service.planner.ratios import Ratios
from service.planner.steps import OURS, Senses
from service.solver.local import is_liquid
from service.solver.problem import Aim, Problem, Ratio, volume_at
from service.solver.stages import Goal

_DENSEST_KG_PER_L = 1.75
"""No solid takes less room in solution than 1/1.75 L per kg (citric acid, 0.594 mL/g): bounds amounts by volume."""

_DUST = 1e-9
"""An amount this little below nought is nought [kg/L]."""

_NEAR_PH = 1e-3
"""A search that ends this near to a pH asked for ended at it; our default."""

_BOUNDLESS = 1000.0
"""An addition without any limit is searched up to this many kilograms per litre of reference volume."""

_LIKELY_KG_PER_L = 0.05
"""A likely amount of anything that is added."""


@dataclass(frozen=True, slots=True)
class Numbers:
    """A problem in the solver's terms; column j is the mass of `free[j]` in kilograms per litre of `litres`.

    Goals and preferences that speak of acidity hold with the chemistry that they were made with.
    """

    problem: Problem
    goals: tuple[Goal, ...]
    start: tuple[float, ...]
    ratios: Ratios
    targets: tuple[TargetAsked, ...]
    prefer: tuple[Preference, ...]
    boundless: tuple[int, ...]
    ph_beside: float | None
    senses: Senses = OURS
    margins: Mapping[str, Margins] = field(default_factory=dict)

    @property
    def materials(self) -> Sequence[Material]:
        """All materials, sorted."""
        return self.ratios.materials

    @property
    def free(self) -> Sequence[int]:
        """The material of each column."""
        return self.ratios.free

    @property
    def litres(self) -> float:
        """The volume that amounts are divided by [L]."""
        return self.ratios.litres

    def with_chemistry(self, chemistry: Chemistry) -> Numbers:
        """The same problem with the acids of another blend."""
        rows, aims, names = self.problem.rows, list(self.problem.aims), _names(self.targets, self.prefer)
        beside = ph_counted_from(self.targets, chemistry.ph) if "ph" in names else None
        if any(PROPERTIES[name].per is Per.ACID for name in names):
            rows = (*rows[:-1], self.ratios.some_acid(chemistry))
        for i, preference in enumerate(self.prefer):
            if depends_on_acids(preference.name):
                aims[i] = self.ratios.aim(preference, f"/prefer/{i}", chemistry, beside)
        by_name = {target.name: target for target in self.targets}
        goals = tuple(
            _goal(by_name[goal.name], self.ratios, chemistry, beside, self.senses)
            if depends_on_acids(goal.name)
            else goal
            for goal in self.goals
        )
        problem = replace(self.problem, rows=rows, aims=tuple(aims))
        return replace(self, problem=problem, goals=goals, ph_beside=beside, margins={})

    def with_margins(self, margins: Mapping[str, Margins], chemistry: Chemistry, x: Sequence[float]) -> Numbers:
        """The same problem with targets that keep their margins, which were taken at the amounts x.

        Parameters: margins by target, taken anew; chemistry of the blend at x.
        """
        by_name = {target.name: target for target in self.targets}
        volume = volume_at(self.problem, x)
        goals = []
        for goal in self.goals:
            if goal.name not in margins:
                goals.append(goal)
                continue
            plain = _goal(by_name[goal.name], self.ratios, chemistry, self.ph_beside, self.senses)
            goals.append(_with_margins(plain, margins[goal.name], x, volume))
        return replace(self, goals=tuple(goals), margins=margins)

    def masses_g(self, x: Sequence[float]) -> list[float]:
        """The mass of every material at a point of the solver, without the dust of its tolerance below nought."""
        masses = [m.least_g for m in self.materials]
        for value, at in zip(x, self.free, strict=True):
            masses[at] = 0.0 if -_DUST < value < 0.0 else value * 1000.0 * self.litres
        return masses


def _names(targets: Sequence[TargetAsked], prefer: Sequence[Preference]) -> list[str]:
    return [*(t.name for t in targets), *(p.name for p in prefer)]


def reference_litres(materials: Sequence[Material], targets: Sequence[TargetAsked]) -> float:
    """The volume that amounts are divided by: that of the lots, or that of the targets where there are none [L]."""
    lots = [m for m in materials if m.kind == "lot" and m.density_g_ml]
    poured = sum((m.most_g or 0.0) / (m.density_g_ml or 1.0) for m in lots) / 1000.0
    if poured > 0.0:
        return poured
    if lots:
        raise InputError("None of the lots may be used: raise a lot's use.max above zero.", "/lots")
    for target in targets:
        if target.name == "volume":
            litres = target.high if target.high < inf else target.low
            if litres > 0.0:
                return litres
            raise InputError("A drink has a volume above zero.", "/targets/volume")
    raise InputError("Without a lot, a target for the volume has to say how much to make.", "/targets/volume")


def scale_is_free(materials: Sequence[Material], targets: Sequence[TargetAsked]) -> bool:
    """Whether nothing says how much to make: lots could shrink towards nothing without missing a target."""
    if any(m.least_g > 0.0 for m in materials if m.kind == "lot"):
        return False
    return not any(PROPERTIES[t.name].per is Per.ONE and t.low > 0.0 for t in targets)


def _likely_state(targets: Sequence[TargetAsked], fallback: tuple[float, ...]) -> tuple[float, ...]:
    """Volume sums of a litre at the middle of the gravity and strength asked for.

    A place to start the search: the round figures in it (a dry drink four fifths liquor, solids like sugar with a
    little acid) move no answer.
    """
    middle = {}
    for target in targets:
        if target.name in ("gravity", "abv_percent"):
            ends = [v for v in (target.low, target.high) if abs(v) < inf]
            middle[target.name] = target.value if target.value is not None else sum(ends) / len(ends)
    if "gravity" not in middle or not 0.0 <= middle.get("abv_percent", 0.0) <= 100.0:
        return fallback
    if "abv_percent" not in middle:
        whole = fallback[0] + fallback[1]
        abv = 100.0 * fallback[1] / whole / 0.8 if whole else 0.0
    else:
        abv = middle["abv_percent"]
    abv = min(abv, 96.0)
    mass = middle["gravity"] * WATER_G_PER_ML
    liquor = ethanol_water_density_kg_m3(mass_fraction_from_abv_percent(abv)) / 1000.0
    solids = max((mass - liquor) / 0.385, 1e-4)
    ethanol = abv * ETHANOL_DENSITY_20C_KG_M3 / 1e5
    water = mass - ethanol - solids
    if water <= 0.2 * solids:
        return fallback
    return (water, ethanol, solids, 0.95 * solids, 0.03 * solids, 0.006 * solids, 0.0)


def likely_blend(materials: Sequence[Material], targets: Sequence[TargetAsked]) -> Contents:
    """Some blend of the materials inside their limits: where a search may take its first chemistry from."""
    litres = reference_litres(materials, targets)
    likely = 1000.0 * litres * _LIKELY_KG_PER_L
    masses = [
        m.least_g
        if m.fixed
        else m.least_g + likely
        if m.most_g is None
        else min(0.5 * (m.least_g + m.most_g), m.least_g + likely)
        for m in materials
    ]
    return poured(materials, masses)


@dataclass(frozen=True, slots=True)
class Strengths:
    """Blends at both ends of what the limits allow, where they are liquids, and their strengths [% vol]."""

    ends: tuple[Contents, ...]
    weakest: float
    strongest: float


def strengths_of(materials: Sequence[Material], targets: Sequence[TargetAsked]) -> Strengths:
    """What strengths a question can end at.

    The weakest blend takes the most of what is weaker than itself and the least of everything else, the strongest the
    other way round: found by taking that of a blend until it no longer changes. An addition without a limit counts with
    a kilogram a litre for the blend, and with its own strength for the range.
    """
    some = 1000.0 * reference_litres(materials, targets)
    most = [m.least_g + some if m.most_g is None else m.most_g for m in materials]
    least = [m.least_g for m in materials]
    shares = [ethanol_share(m.per_g) for m in materials]
    found, strengths = [], []
    for weaker in (True, False):
        blend = _outermost(materials, least, most, shares, weaker=weaker)
        boundless = [
            m.per_g
            for m, share in zip(materials, shares, strict=True)
            if m.most_g is None and (share < ethanol_share(blend)) is weaker
        ]
        if is_liquid(blend.sums):
            found.append(blend)
        if not is_liquid(blend.sums) or boundless:
            strengths.append(0.0 if weaker else max([_abv_percent(c) for c in (*boundless, blend)]))
        else:
            strengths.append(_abv_percent(blend))
    asked = next((t for t in targets if t.name == "abv_percent"), None)
    if asked is not None:
        strengths = [min(max(q, asked.low), asked.high) for q in strengths]
    return Strengths(tuple(found), max(strengths[0], 0.0), min(strengths[1], 100.0))


def _outermost(
    materials: Sequence[Material],
    least: Sequence[float],
    most: Sequence[float],
    shares: Sequence[float],
    *,
    weaker: bool,
) -> Contents:
    """The blend with the least (or the most) ethanol for its liquid that the limits allow."""
    masses = list(least) if any(least) else list(most)
    for _ in range(len(materials) + 1):
        middle = ethanol_share(poured(materials, masses))
        moved = [
            b if (share < middle if weaker else share > middle) else a
            for share, a, b in zip(shares, least, most, strict=True)
        ]
        if moved == masses or not any(moved):
            break
        masses = moved
    if not any(least):  # nothing has to be in it: one material alone is the outermost
        at = (min if weaker else max)(
            (i for i, m in enumerate(most) if m > 0.0 and is_liquid(materials[i].per_g.sums)),
            key=lambda i: shares[i],
            default=None,
        )
        if at is not None:
            masses = [m if i == at else 0.0 for i, m in enumerate(most)]
    return poured(materials, masses)


def _abv_percent(contents: Contents) -> float:
    return chemistry_of(contents).abv_percent if is_liquid(contents.sums) else 0.0


def numbers_from(
    materials: Sequence[Material],
    targets: Sequence[TargetAsked],
    prefer: Sequence[Preference],
    chemistry: Chemistry,
    *,
    every_column: bool = False,
    senses: Senses = OURS,
    litres: float | None = None,
) -> Numbers:
    """The solver's problem for some materials, targets and preferences.

    Parameters: materials, sorted; targets; prefer, in order; chemistry, the constants of acids at some blend;
    every_column, True to make columns of given amounts too, held between equal bounds; senses, the steps that distances
    are counted in; litres, what amounts are divided by [L], else the lots' volume or that of the targets.
    Returns: Numbers.
    Raises: InputError where a preference needs a price or a volume that a material lacks.
    """
    litres = litres or reference_litres(materials, targets)
    unscaled = scale_is_free(materials, targets)
    shrinking = next((p.name for p in prefer if PROPERTIES[p.name].per is Per.ONE and not p.maximise), None)
    if unscaled and shrinking is not None:
        raise InputError(
            f"Least {shrinking} of nothing is nothing: say how much to make by a target for the volume.",
            "/targets/volume",
        )
    free = tuple(i for i, m in enumerate(materials) if every_column or not m.fixed)
    ratios = Ratios(materials, free, litres, senses)
    floor_l = max((t.low for t in targets if t.name == "volume"), default=0.0)
    lower, upper, boundless = [], [], []
    for j, i in enumerate(free):
        material = materials[i]
        least = material.least_g / (1000.0 * litres)
        most = inf if material.most_g is None else material.most_g / (1000.0 * litres)
        searched = max(_BOUNDLESS, 2.0 * _DENSEST_KG_PER_L * floor_l / litres, least)
        if most > searched:
            most = searched
            boundless.append(j)
        lower.append(least)
        upper.append(most)
    uses_acid = any(PROPERTIES[name].per is Per.ACID for name in _names(targets, prefer))
    beside = ph_counted_from(targets)
    problem = Problem(
        tuple(lower),
        tuple(upper),
        ratios.fixed.sums,
        tuple(c.sums for c in ratios.columns),
        (*ratios.guards(), *((ratios.some_acid(chemistry),) if uses_acid else ())),
        (
            *(ratios.aim(p, f"/prefer/{i}", chemistry, beside) for i, p in enumerate(prefer)),
            *((Aim((Ratio(ratios.volume.scaled(-1.0)),)),) if unscaled else ()),
            *ratios.tie_breakers(),
        ),
        tuple((materials[i].whole_g or 0.0) / (1000.0 * litres) for i in free)
        if any(materials[i].whole_g for i in free)
        else (),
    )
    fallback = ratios.fixed.sums if ratios.fixed.sums[0] > 0.0 else (0.9, 0.05, 0.08, 0.08, 0.0, 0.0005, 0.0)
    return Numbers(
        problem,
        tuple(sorted((_goal(t, ratios, chemistry, beside, senses) for t in targets), key=lambda g: g.name)),
        _likely_state(targets, fallback),
        ratios,
        tuple(targets),
        tuple(prefer),
        tuple(boundless),
        beside,
        senses,
    )


def _goal(target: TargetAsked, ratios: Ratios, chemistry: Chemistry, ph: float | None, senses: Senses) -> Goal:
    """A target in numbers; distances from a pH are counted beside `ph`."""
    law = PROPERTIES[target.name]
    pointer = f"/targets/{target.name}"
    ph_ratio = None
    if law.of is Of.PH:
        ratios.refuse_without_acid(pointer)
        ph_ratio = cache(partial(ratios.ph_ratio, chemistry))
    ends = [abs(v) for v in (target.low, target.high) if abs(v) < inf]
    size = abs(target.value) if target.value is not None else max(ends)
    return Goal(
        target.name,
        ratios.ratio(law, pointer, chemistry) if ph_ratio is None or ph is None else ph_ratio(ph),
        target.low,
        target.high,
        target.value,
        senses.noticeable(target.name, size),
        target.priority,
        ph_ratio,
    )


def _with_margins(goal: Goal, margins: Margins, x: Sequence[float], volume: float) -> Goal:
    """A goal whose range is narrower by the margins, each bound with a ratio that carries its own."""
    low, high = goal.low + margins.low.size, goal.high - margins.high.size

    def at(bound: float) -> Ratio:
        above = bound == high
        ratio = goal.ratio_at(bound)
        margin = margins.high if above else margins.low
        return margin.kept_by(ratio, ratio.divisor(x, volume), above=above)

    return replace(goal, low=low, high=high, at=cache(at), chance=True)


def ph_counted_from(targets: Sequence[TargetAsked], ph: float | None = None) -> float | None:
    """The pH beside which distances from a pH and preferences for one are counted.

    `ph` is that of the blend where a search ended; exactly the value or bound asked for stands for it where it ended
    at one, so that a preference for the pH and the row that holds it are parallel, and where there is none yet.
    """
    target = next((t for t in targets if t.name == "ph"), None)
    if target is None:
        return ph
    ends = [end for end in (target.value, target.low, target.high) if end is not None and abs(end) < inf]
    if target.value is not None:
        ends = ends[:1]
    return ends[0] if ph is None else next((end for end in ends if abs(end - ph) < _NEAR_PH), ph)
