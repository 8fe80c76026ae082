"""One batch split into several drinks that share lots and stocks, solved together.

Each drink is a problem with goals of its own; linking rows hold what all of them together take of a lot or a stock.
The aims rule in the order of `service.solver.goals`, each of them summed over the drinks:

1. feasibility by priority, the least sum of misses in noticeable steps,
2. nearness to the values, the least sum of distances in noticeable steps,
3. the preferences in their order,
4. the tie-breakers.

The drinks are first solved each by itself: where the links hold there, that is the answer, with its proofs; where one
of them clashes, so does the whole. Else the stages of all drinks are stacked (`service.solver.stack`) and what is said
about the answer is proved on the stack (`service.solver.stack_proof`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf
from time import perf_counter

from service.errors import InputError, SolverError
from service.solver.goals import GoalResult, Outcome, solve_goals
from service.solver.local import TOLERANCE, is_liquid
from service.solver.problem import Aim, Form, Problem, Ratio, Row, volume_at
from service.solver.proof import RELATIVE_GAP, SMALLEST_AIM
from service.solver.solve import Verdict, states_across
from service.solver.stack import Link, Stack, search, search_favouring_each, stacked
from service.solver.stack_proof import prove_stack
from service.solver.stages import Goal, least_misses, near_values, range_rows, typical_divisor

_NOTHING = 1e-7
"""A sum of misses or distances below this, in noticeable steps, is none."""

_PARALLEL = 1e-12
_HELD, _NEAR, _LOOSE = range(3)


@dataclass(frozen=True, slots=True)
class Part:
    """A drink by itself: its problem, whose rows always hold, its goals, and a likely state, shape (7,).

    All parts of a batch carry equally many aims, the k-th of each of one meaning and unit, for they are summed.
    """

    problem: Problem
    goals: tuple[Goal, ...]
    sums: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class PortionsResult:
    """Amounts for every drink, in the order of the parts; `xs` is empty where nothing was found.

    PROVED_IMPOSSIBLE belongs to a clash, whose amounts are the nearest plan; `gap` is the share of the first aim of
    the stage still open, inf where nothing bounds it.
    """

    outcome: Outcome
    verdict: Verdict
    gap: float
    xs: tuple[tuple[float, ...], ...]
    milliseconds: float


@dataclass(frozen=True, slots=True)
class Found:
    """A result without its time."""

    outcome: Outcome
    verdict: Verdict
    gap: float
    xs: tuple[tuple[float, ...], ...]


def solve_portions(
    parts: Sequence[Part], links: Sequence[Link], *, deadline_s: float = 2.0, prove: bool = True
) -> PortionsResult:
    """Amounts of all drinks that meet their goals and what they share, in the order of the module's text.

    Parameters: parts; links, sums over (part, column, factor); deadline_s [s] after which proofs stop; prove, False to
    skip the proofs of optimality.
    Returns: PortionsResult. CLASH only with a proof that no amounts meet ranges and links.
    Raises: InputError for packs, which cannot be shared out; SolverError where parts and links do not fit together.
    """
    begun = perf_counter()
    until = begun + deadline_s
    _check(parts, links)
    order = sorted(range(len(parts)), key=lambda k: _content(parts[k]))
    place = {k: at for at, k in enumerate(order)}
    parts = [parts[k] for k in order]
    links = sorted(
        (
            Link(link.name, tuple(sorted((place[k], j, a) for k, j, a in link.terms)), link.lower, link.upper)
            for link in links
        ),
        key=lambda link: (link.name, link.terms, link.lower, link.upper),
    )
    share_s = 0.5 * deadline_s / len(parts)
    alone = [solve_goals(p.problem, p.goals, p.sums, deadline_s=share_s, prove=False) for p in parts]
    if prove and _fit(links, alone) and all(r.outcome is Outcome.MET for r in alone):
        alone = [solve_goals(p.problem, p.goals, p.sums, deadline_s=share_s) for p in parts]
    found = _side_by_side(alone) if _fit(links, alone) else solve_together(parts, links, alone, until, prove=prove)
    xs = tuple(found.xs[place[k]] for k in range(len(parts))) if found.xs else ()
    return PortionsResult(found.outcome, found.verdict, found.gap, xs, 1000.0 * (perf_counter() - begun))


def _check(parts: Sequence[Part], links: Sequence[Link]) -> None:
    if not parts:
        raise InputError("A batch that is split needs at least one drink.", "/portions")
    if any(any(p.problem.whole) for p in parts):
        raise InputError(
            "Whole packs cannot be shared out over several drinks: give the addition without a pack.", "/portions"
        )
    if len({len(p.problem.aims) for p in parts}) > 1:
        raise SolverError("Drinks that are solved together need the same aims.")
    if any(not (0 <= k < len(parts) and 0 <= j < parts[k].problem.size) for link in links for k, j, _ in link.terms):
        raise SolverError("A link names a drink or an amount that does not exist.")


def _content(part: Part) -> tuple[object, ...]:
    """What a drink is sorted by, so that the order of a request does not matter."""
    problem = part.problem
    goals = sorted((g.name, g.low, g.high, g.priority, g.value is not None, g.value or 0.0) for g in part.goals)
    return (goals, problem.lower, problem.upper, problem.fixed_sums, problem.columns)


def _fit(links: Sequence[Link], alone: Sequence[GoalResult]) -> bool:
    """Whether every drink was found and what they take together keeps to the links."""
    if not all(r.solution.found for r in alone):
        return False
    for link in links:
        size = max((abs(a) for _, _, a in link.terms), default=1.0) or 1.0
        value = link.at([r.x for r in alone])
        if max(link.lower - value, value - link.upper) > TOLERANCE * size:
            return False
    return True


def _side_by_side(alone: Sequence[GoalResult]) -> Found:
    """The answers of the drinks by themselves as one answer."""
    outcomes, verdicts = [r.outcome for r in alone], [r.verdict for r in alone]
    xs = tuple(r.x for r in alone)
    if len(alone) == 1:
        return Found(outcomes[0], verdicts[0], alone[0].gap, xs)
    if Outcome.CLASH in outcomes:
        return Found(Outcome.CLASH, Verdict.PROVED_IMPOSSIBLE, inf, xs)
    if Outcome.NOT_FOUND in outcomes:
        return Found(Outcome.NOT_FOUND, Verdict.BEST_FOUND, inf, xs)
    if all(v is Verdict.PROVED_BEST for v in verdicts):
        return Found(Outcome.MET, Verdict.PROVED_BEST, max(r.gap for r in alone), xs)
    return Found(Outcome.MET, Verdict.BEST_FOUND, inf, xs)


def _parallel(denominator: Form, row: Row) -> float | None:
    """The value of a denominator that a row with equality holds, or None."""
    if row.lower != row.upper:
        return None
    ours, theirs = (*denominator.coefficients, denominator.volume), (*row.form.coefficients, row.form.volume)
    largest = max(range(len(theirs)), key=lambda j: abs(theirs[j]))
    if not theirs[largest]:
        return None
    factor = ours[largest] / theirs[largest]
    most = max(map(abs, ours))
    if any(abs(a - factor * b) > _PARALLEL * most for a, b in zip(ours, theirs, strict=True)):
        return None
    return denominator.constant + factor * (row.lower - row.form.constant)


def _pinned(problem: Problem) -> Problem:
    """The same problem with denominators that its rows hold at a value divided out: a ratio to a given volume."""

    def pin(term: Ratio) -> Ratio:
        if term.denominator is not None:
            for row in problem.rows:
                value = _parallel(term.denominator, row)
                if value is not None and value > 0.0:
                    return Ratio(term.numerator.scaled(1.0 / value))
        return term

    return replace(problem, aims=tuple(Aim(tuple(map(pin, aim.terms))) for aim in problem.aims))


class _Together:
    """The stages of all drinks, stacked with their links."""

    def __init__(self, parts: Sequence[Part], links: Sequence[Link]) -> None:
        self.parts, self.links = parts, links
        self.references = [[typical_divisor(g.ratio, p.problem, p.sums) for g in p.goals] for p in parts]
        self.valued = any(g.value is not None for p in parts for g in p.goals)
        self.priorities = sorted({g.priority for p in parts for g in p.goals})

    def _with(self, part: Part, references: Sequence[float], *, at_value: bool) -> Problem:
        rows = range_rows(part.goals, references, at_value=at_value)
        return replace(part.problem, rows=(*rows, *part.problem.rows))

    def _loose(self, part: Part, references: Sequence[float]) -> Problem:
        """Misses as columns, with an aim for every priority and for nearness, where other drinks have one."""
        loose = least_misses(part.problem, part.goals, references)
        own = sorted({g.priority for g in part.goals})
        misses = [loose.aims[own.index(p)] if p in own else Aim(()) for p in self.priorities]
        rest = loose.aims[len(own) :]
        if self.valued and all(g.value is None for g in part.goals):
            rest = (Aim(()), *rest)
        return replace(loose, aims=(*misses, *rest))

    def stage(self, which: int) -> Stack:
        """The stack of a stage."""
        pairs = list(zip(self.parts, self.references, strict=True))
        if which == _HELD:
            problems = [self._with(p, r, at_value=True) for p, r in pairs]
        elif which == _NEAR:
            problems = [near_values(p.problem, p.goals, r) for p, r in pairs]
        else:
            problems = [self._loose(p, r) for p, r in pairs]
        return stacked(list(map(_pinned, problems)), self.links)

    def ranged(self) -> Stack:
        """The stack of the ranges alone, whose emptiness is a clash."""
        pairs = zip(self.parts, self.references, strict=True)
        return stacked([self._with(p, r, at_value=False) for p, r in pairs], self.links)

    def bare(self) -> Stack:
        """The stack without any goal."""
        return stacked([_pinned(p.problem) for p in self.parts], self.links)

    def amounts(self, stack: Stack, x: Sequence[float]) -> tuple[tuple[float, ...], ...]:
        """The amounts of every drink, without the columns of a stage."""
        return tuple(tuple(own[: part.problem.size]) for part, own in zip(self.parts, stack.split(x), strict=True))


def _from(stack: Stack, starts: Sequence[Sequence[Sequence[float]]], until: float) -> tuple[float, ...]:
    """The first point that a search from some states of the drinks ends at; empty if none does."""
    middle = [0.5 * (a + b) for a, b in zip(stack.flat.lower, stack.flat.upper, strict=True)]
    for states in starts:
        found = search(stack, states, middle, until=until)
        if found.x:
            return found.x
    return ()


def solve_together(
    parts: Sequence[Part],
    links: Sequence[Link],
    alone: Sequence[GoalResult],
    until: float = inf,
    *,
    prove: bool = True,
) -> Found:
    """The stages one after the other on the stack of all drinks; `alone` are the answers of each by itself."""
    together = _Together(parts, links)
    first = max(map(_stage_of, parts, alone))
    starts = _starts(parts, alone)
    found = _in_reach(together, first, starts, until, prove=prove)
    if found is not None:
        return found
    impossible = any(r.outcome is Outcome.CLASH for r in alone)
    impossible = impossible or prove_stack(together.ranged(), until=until).closed
    loose = together.stage(_LOOSE)
    x = _from(loose, starts, until)
    if not x:  # any drinks at all within the limits, by the preferences
        bare = together.bare()
        x = _from(bare, starts, until)
        if x:
            return Found(Outcome.NOT_FOUND, Verdict.BEST_FOUND, inf, together.amounts(bare, x))
        if impossible:
            return Found(Outcome.CLASH, Verdict.PROVED_IMPOSSIBLE, inf, ())
        return Found(Outcome.NOT_FOUND, Verdict.NOTHING_FOUND, inf, ())
    x = search_favouring_each(loose, x, until=until)
    xs = together.amounts(loose, x)
    if impossible:
        return Found(Outcome.CLASH, Verdict.PROVED_IMPOSSIBLE, inf, xs)
    if all(loose.aim(k, x) <= _NOTHING for k in range(len(together.priorities))):
        found = _in_reach(together, _HELD, [loose.states(x)], until, prove=prove)
        return found or Found(Outcome.MET, Verdict.BEST_FOUND, inf, xs)
    return Found(Outcome.NOT_FOUND, Verdict.BEST_FOUND, inf, xs)


def _stage_of(part: Part, alone: GoalResult) -> int:
    """The first stage that a drink may need: with links it cannot come to an earlier one."""
    if alone.outcome is not Outcome.MET:
        return _LOOSE
    return _HELD if alone.problem.size == part.problem.size else _NEAR


def _starts(parts: Sequence[Part], alone: Sequence[GoalResult]) -> list[list[Sequence[float]]]:
    """States to begin at: those of each drink by itself, the likely ones, and from the weakest to the strongest."""
    found: list[Sequence[float]] = []
    for part, result in zip(parts, alone, strict=True):
        state = part.problem.sums_at(result.x) if result.solution.found else part.sums
        found.append(state if is_liquid(state) else part.sums)
    starts: list[list[Sequence[float]]] = [found, [p.sums for p in parts]]
    across = [states_across(p.problem) for p in parts]
    for k in range(max(map(len, across))):
        starts.append([own[min(k, len(own) - 1)] if own else p.sums for own, p in zip(across, parts, strict=True)])
    return starts


def _in_reach(
    together: _Together,
    first: int,
    starts: Sequence[Sequence[Sequence[float]]],
    until: float,
    *,
    prove: bool,
) -> Found | None:
    """The values held, or ranges held and the values as near as can be; None if no such amounts were found."""
    if first <= _HELD:
        held = together.stage(_HELD)
        x = _from(held, starts, until)
        if x:
            return _judged(together, held, x, _HELD, until, prove=prove)
    if first > _NEAR or not together.valued:
        return None
    near = together.stage(_NEAR)
    x = _from(near, starts, until)
    if x and first <= _HELD and near.aim(0, x) <= _NOTHING:  # the values can be held after all
        again = _from(held, [near.states(x)], until)
        if again:
            return _judged(together, held, again, _HELD, until, prove=prove)
    return _judged(together, near, x, _NEAR, until, prove=prove) if x else None


def _judged(together: _Together, stack: Stack, x: tuple[float, ...], which: int, until: float, *, prove: bool) -> Found:
    """A point of a stage with what is proved of it, or a better one that other starts give."""
    gap = prove_stack(stack, x, until=until).gap if prove else inf
    if gap > RELATIVE_GAP and (prove or not stack.is_linear(0)):
        best = search_favouring_each(stack, x, until=until)
        if prove and best != x and stack.is_linear(0):
            gap = prove_stack(stack, best, until=until).gap
        x = best
    if prove and gap == inf:
        gap = _gap_by_parts(together.parts, stack.aim(0, x), which, until)
    verdict = Verdict.PROVED_BEST if gap <= RELATIVE_GAP else Verdict.BEST_FOUND
    return Found(Outcome.MET, verdict, gap, together.amounts(stack, x))


def _gap_by_parts(parts: Sequence[Part], value: float, which: int, until: float) -> float:
    """The share by which all drinks would better the first aim of a stage if each had the stocks for itself."""
    least = 0.0
    for i, part in enumerate(parts):
        share_s = max(until - perf_counter(), 0.0) / (len(parts) - i)
        best = solve_goals(part.problem, part.goals, part.sums, deadline_s=share_s)
        stage = _stage_of(part, best)
        if best.verdict is not Verdict.PROVED_BEST or stage > which:
            return inf
        if stage == which:
            x = best.solution.x
            least += best.problem.aims[0].at(x, volume_at(best.problem, x))
    return max((value - least) / max(abs(value), SMALLEST_AIM), 0.0)
