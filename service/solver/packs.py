"""Whole packs: branch and bound over how many packs of each material are opened.

Every node is the continuous problem on narrower bounds, always multiples of the pack, so the kernel stays the one
without packs: a stationary point from the parent's, and fractions of a pack are branched on, the nearer count first.
A node ends when it is proved empty, when its own best does not better the plan in hand (in the order of the aims),
or when its packs come out whole.

A stationary point of a node is not yet a bound, because the volume is not linear. So the tree is proved once it is
done, from its root downwards: a node whose best loses to the final plan is shown to hold nothing better by
`service.solver.proof.search`, and only where that fails its children are. Where a proof finds a better relaxed
point instead, the tree grows on from it.

A tree that grows too large hands over to `scipy.optimize.milp` on the linearisation at the best point known; the
amounts that come in no packs are then settled by the ordinary solve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from math import ceil, floor, inf
from time import perf_counter

from service.solver.local import LocalResult, LocalStatus, is_liquid, stationary_from
from service.solver.mixed_integer import best_linearised, is_linear
from service.solver.problem import Amounts, Problem, volume_at
from service.solver.proof import SMALLEST_AIM, search
from service.solver.solve import Solution, Verdict, find, solve

_MOST_NODES = 300
"""Beyond this many nodes a general solver of mixed-integer programmes goes on."""

_LATE_NODES = 60
_LATE_S = 0.25
"""How many nodes a search past its deadline looks at for a first plan, and how long that may take [s]."""

_WHOLE = 1e-9
"""Counts and bounds are whole to within this share of a pack, or of themselves above one."""

_SAME = 1e-9
"""Aims closer than this share are the same, and the next aim decides."""

_MILP_ROUNDS = 4
_REGROWTHS = 20
_QUICK_BOXES = 4
"""What the first proof that a part is empty may look at, past the deadline too."""


@dataclass(slots=True, eq=False)
class _Node:
    """A part of the box of amounts: where its search starts, what it found, and what became of it.

    `closed` says that it is proved to hold nothing better than the plan in hand, or nothing at all.
    """

    problem: Problem
    warm: Amounts | None = None
    x: tuple[float, ...] = ()
    values: tuple[float, ...] = ()
    closed: bool = False
    children: list[_Node] = field(default_factory=list)


def rounded_inward(problem: Problem) -> Problem | None:
    """The problem with the bounds of what comes in packs moved inward to whole packs.

    Parameters: problem.
    Returns: the problem, whose bounds are a count times the pack; None if a range holds no whole number of packs. A
    bound within 1e-9 of a whole number, absolutely below one pack and relatively above, counts as that number.

    >>> nothing = (0.0,) * 7
    >>> rounded_inward(Problem((0.3,), (1.6,), nothing, (nothing,), (), (), (0.5,))).upper
    (1.5,)
    """
    lower, upper = list(problem.lower), list(problem.upper)
    for j, pack in enumerate(problem.whole):
        if pack:
            low, high = lower[j] / pack, upper[j] / pack
            least, most = ceil(low - _WHOLE * max(1.0, abs(low))), floor(high + _WHOLE * max(1.0, abs(high)))
            if least > most:
                return None
            lower[j], upper[j] = least * pack, most * pack
    return replace(problem, lower=tuple(lower), upper=tuple(upper))


def _better(new: Sequence[float], old: Sequence[float]) -> bool:
    """Whether the aims of one plan come before those of another by more than rounding."""
    for a, b in zip(new, old, strict=True):
        if abs(a - b) > _SAME * max(abs(b), SMALLEST_AIM):
            return a < b
    return False


class _Tree:
    """The nodes looked at so far and the best plan among them."""

    def __init__(self, problem: Problem, sums: Sequence[float], until: float, nodes: int) -> None:
        self.root = _Node(problem)
        self.sums = sums
        self.begun = perf_counter()
        self.until = until
        self.nodes = nodes
        self.packs = {j: pack for j, pack in enumerate(problem.whole) if pack}
        self.best: Solution | None = None
        self.values: tuple[float, ...] = ()
        self.looked = self.programmes = self.boxes = 0
        self._hint: Amounts | None = None

    def late(self) -> bool:
        """Whether the deadline has passed."""
        return perf_counter() > self.until

    def _tired(self) -> bool:
        """Whether a search past its deadline looked long enough for a first plan."""
        return self.looked >= _LATE_NODES or (
            self.looked > 0 and perf_counter() > max(self.until, self.begun + _LATE_S)
        )

    def grow(self, nodes: Sequence[_Node]) -> bool:
        """Look at these nodes and all that come of them, depth first; False if some were left."""
        stack = list(reversed(nodes))
        while stack:
            if self.looked >= _MOST_NODES:
                return False
            if self.late() and (self.best is not None or self._tired()):
                return False
            node = stack.pop()
            self.looked += 1
            local = self._relaxed(node)
            if local is not None:
                self._decide(node, local)
            elif not node.closed:
                self._without_a_point(node)
            stack.extend(reversed(node.children))
        return True

    def _relaxed(self, node: _Node) -> LocalResult | None:
        """The best of a node when packs may be opened in part; None if it is empty, or nothing was found."""
        problem, warm = node.problem, node.warm
        sums = self.sums
        if warm is not None:
            warm = [min(max(v, a), b) for v, a, b in zip(warm, problem.lower, problem.upper, strict=True)]
            inside = problem.sums_at(warm)
            sums = inside if is_liquid(inside) else sums
        local = stationary_from(problem, sums, warm)
        self.programmes += local.programmes
        if local.status is LocalStatus.STATIONARY:
            return local
        if local.status is LocalStatus.INFEASIBLE_HERE:
            if self._is_empty(node, _QUICK_BOXES, inf):
                return None
            local = self._at_hint(problem)
            if local.status is LocalStatus.STATIONARY:
                return local
        if not self.late():
            local = find(problem, sums)
            self.programmes += local.programmes
        if local.status is LocalStatus.STATIONARY:
            return local
        if local.stops:  # feasible points, between which the search goes to and fro
            node.warm = min((stop.x for stop in local.stops), key=self._values)
            return None
        if not self._is_empty(node, self.nodes, self.until):
            local = self._at_hint(problem)
        return local if local.status is LocalStatus.STATIONARY else None

    def _at_hint(self, problem: Problem) -> LocalResult:
        """A stationary point from where the last proof that failed would look."""
        hint = self._hint
        if not hint or not is_liquid(problem.sums_at(hint)):
            return LocalResult(LocalStatus.LOST)
        local = stationary_from(problem, problem.sums_at(hint), hint)
        self.programmes += local.programmes
        return local

    def _is_empty(self, node: _Node, boxes: int, until: float) -> bool:
        """Close a node that is proved to hold nothing; the hint of a proof that fails is kept."""
        proof = search(node.problem, nodes=boxes, until=until)
        self.boxes += proof.nodes
        node.closed, self._hint = proof.closed, proof.hint
        return proof.closed

    def _decide(self, node: _Node, local: LocalResult) -> None:
        """Keep a node's point as the plan, drop it, or branch."""
        node.x, node.values = local.x, self._values(local.x)
        if self.best is not None and not _better(node.values, self.values):
            return
        furthest, at, counts = _WHOLE, -1, {}
        for j, pack in self.packs.items():
            count = local.x[j] / pack
            counts[j] = round(count)
            apart = abs(count - counts[j])
            if apart > max(furthest, _WHOLE * count):
                furthest, at = apart, j
        if at >= 0:
            count = local.x[at] / self.packs[at]
            below, above = self._part(node, at, high=floor(count)), self._part(node, at, low=ceil(count))
            node.children = [below, above] if count - floor(count) <= 0.5 else [above, below]
            return
        if self.packs.keys().isdisjoint(local.basis.free):
            self._offer(Solution(Verdict.BEST_FOUND, inf, local.x, local.basis, local.multipliers))
            return
        self.settle(counts, local.x)
        if self.best is None or _better(node.values, self.values):
            self._branch_around(node, counts)

    def _without_a_point(self, node: _Node) -> None:
        """Go on where a node is neither proved empty nor has a point: part its packs, or solve it by every means."""
        problem = node.problem
        likely = node.warm or [0.5 * (a + b) for a, b in zip(problem.lower, problem.upper, strict=True)]
        counts = {
            j: round(min(max(likely[j], problem.lower[j]), problem.upper[j]) / pack) for j, pack in self.packs.items()
        }
        if all(problem.lower[j] == problem.upper[j] for j in self.packs):
            node.closed = self.settle(counts, node.warm) is Verdict.PROVED_IMPOSSIBLE
        else:
            self._branch_around(node, counts)

    def _branch_around(self, node: _Node, counts: dict[int, int]) -> None:
        """Three parts: the count itself, fewer and more, of the packs with the widest range."""
        problem = node.problem
        width = {j: (problem.upper[j] - problem.lower[j]) / pack for j, pack in self.packs.items()}
        at = max(width, key=lambda j: (width[j], -j))
        if not width[at]:
            return
        count = counts[at]
        parts = [
            self._part(node, at, count, count),
            self._part(node, at, high=count - 1),
            self._part(node, at, low=count + 1),
        ]
        node.children = [p for p in parts if p.problem.lower[at] <= p.problem.upper[at]]

    def _part(self, node: _Node, at: int, low: int | None = None, high: int | None = None) -> _Node:
        """The part of a node with at least or at most so many packs of one column."""
        problem, pack = node.problem, self.packs[at]
        lower, upper = problem.lower, problem.upper
        if low is not None:
            lower = (*lower[:at], max(lower[at], low * pack), *lower[at + 1 :])
        if high is not None:
            upper = (*upper[:at], min(upper[at], high * pack), *upper[at + 1 :])
        return _Node(replace(problem, lower=lower, upper=upper), node.x or node.warm)

    def settle(self, counts: dict[int, int], x: Amounts | None) -> Verdict:
        """Solve for the other amounts with every count of packs held, and take the plan if it is better."""
        problem = self.root.problem
        lower, upper = list(problem.lower), list(problem.upper)
        for j, count in counts.items():
            lower[j] = upper[j] = count * self.packs[j]
        held = replace(problem, lower=tuple(lower), upper=tuple(upper))
        start = [min(max(v, a), b) for v, a, b in zip(x, lower, upper, strict=True)] if x else []
        sums = held.sums_at(start) if start else self.sums
        solution = solve(held, sums if is_liquid(sums) else self.sums, until=self.until, nodes=self.nodes, prove=False)
        self.programmes += solution.programmes
        self.boxes += solution.boxes
        if solution.found:
            self._offer(solution)
        return solution.verdict

    def _values(self, x: Amounts) -> tuple[float, ...]:
        problem = self.root.problem
        volume = volume_at(problem, x)
        return tuple(aim.at(x, volume) for aim in problem.aims)

    def _offer(self, solution: Solution) -> None:
        values = self._values(solution.x)
        if self.best is None or _better(values, self.values):
            self.best, self.values = solution, values

    def prove(self) -> float:
        """Show of every part of the box that it holds nothing better; the gap that is left, nought if all is shown."""
        assert self.best is not None
        worst, regrowths, stack = 0.0, 0, [self.root]
        while stack:
            if self.late():
                return self.gap_at_once()
            node = stack.pop()
            if node.closed:
                continue
            best = self.values[0]
            loses = bool(node.x) and not node.values[0] < best - _SAME * max(abs(best), SMALLEST_AIM)
            if node.children and not loses:
                stack.extend(reversed(node.children))
                continue
            problem = node.problem
            proof = search(problem, problem.aims[0], node.x or self.best.x, best, nodes=self.nodes, until=self.until)
            self.boxes += proof.nodes
            node.closed = proof.closed
            if node.closed:
                continue
            if node.children:
                stack.extend(reversed(node.children))
            elif regrowths < _REGROWTHS and self._regrown(node, proof.hint):
                regrowths += 1
                stack.append(node)
            else:
                worst = max(worst, proof.gap)
        return worst

    def _regrown(self, node: _Node, hint: Amounts | None) -> bool:
        """Whether a leaf holds a better point after all, from which the tree grew on."""
        if not hint or not is_liquid(node.problem.sums_at(hint)):
            return False
        local = stationary_from(node.problem, node.problem.sums_at(hint), hint)
        self.programmes += local.programmes
        if local.status is not LocalStatus.STATIONARY or not _better(self._values(local.x), self.values):
            return False
        before = self.best
        self._decide(node, local)
        return self.grow(node.children) and (bool(node.children) or self.best is not before)

    def gap_at_once(self) -> float:
        """The gap of a proof for the whole box with packs opened in part; past the deadline a single bound."""
        assert self.best is not None
        problem = self.root.problem
        proof = search(problem, problem.aims[0], self.best.x, self.values[0], nodes=self.nodes, until=self.until)
        self.boxes += proof.nodes
        return proof.gap


def solve_whole(
    problem: Problem, sums: Sequence[float], *, until: float = inf, nodes: int = 400, prove: bool = True
) -> Solution:
    """Find the best amounts with whole packs where `problem.whole` asks for them, and say what is proved about them.

    Parameters: problem, scaled to order one, whose `whole` is the pack of each amount (0.0: any amount will do);
    sums, a likely state of the blend, shape (7,); until, a `perf_counter` time [s] after which no step starts but
    those to a first plan; nodes, boxes of one proof; prove, False to stop at the best of the tree.
    Returns: Solution: PROVED_BEST if all parts of the box are proved to hold nothing better within `RELATIVE_GAP` of
    the first aim; PROVED_IMPOSSIBLE if all are proved empty; BEST_FOUND with the gap still open (inf if unknown);
    NOTHING_FOUND if there is neither a point nor a proof. Its x holds whole packs, each a count times its pack. Its
    basis and multipliers are those of the problem with every count held: no pack is among the free amounts, so
    moving along the basis moves the other amounts only, and a multiplier is the price of a bound as long as the
    packs stay as they are. Without packs it is the Solution of `solve`.
    """
    if not any(problem.whole):
        return solve(problem, sums, until=until, nodes=nodes, prove=prove)
    rounded = rounded_inward(problem)
    if rounded is None:
        return Solution(Verdict.PROVED_IMPOSSIBLE, 0.0)
    tree = _Tree(rounded, sums, until, nodes)
    done = tree.grow([tree.root])
    bound = -inf
    if not done and not tree.late():
        bound = _handed_over(tree)
    if tree.best is None:
        empty = done and _all_closed(tree.root)
        verdict = Verdict.PROVED_IMPOSSIBLE if empty else Verdict.NOTHING_FOUND
        return Solution(verdict, 0.0 if empty else inf, programmes=tree.programmes, boxes=tree.boxes)
    gap = inf
    if bound > -inf:
        gap = max(tree.values[0] - bound, 0.0) / max(abs(tree.values[0]), SMALLEST_AIM)
    elif prove:
        gap = tree.prove() if done else tree.gap_at_once()
    verdict = Verdict.PROVED_BEST if gap == 0.0 and bound == -inf else Verdict.BEST_FOUND
    return replace(tree.best, verdict=verdict, gap=gap, programmes=tree.programmes, boxes=tree.boxes)


def _all_closed(root: _Node) -> bool:
    """Whether every leaf below a node is proved empty."""
    stack = [root]
    while stack:
        node = stack.pop()
        if not node.closed:
            if not node.children:
                return False
            stack.extend(node.children)
    return True


def _handed_over(tree: _Tree) -> float:
    """Go on by mixed-integer programmes, each linearised at the best plan or at the last programme's optimum.

    Parameters: tree, whose best plan may be bettered.
    Returns: a lower bound of the first aim where rows and aim are linear as they are; else −inf.
    """
    problem = tree.root.problem
    middle = [0.5 * (a + b) for a, b in zip(problem.lower, problem.upper, strict=True)]
    x: Amounts = tree.best.x if tree.best is not None else tree.root.x or middle
    tried: set[tuple[int, ...]] = set()
    for _ in range(_MILP_ROUNDS):
        if tree.late() or not is_liquid(problem.sums_at(x)):
            break
        left = tree.until - perf_counter()
        found, bound = best_linearised(problem, x, 0.5 * left)  # the other half is for what comes after
        if is_linear(problem) and (found or bound > -inf):
            if found:
                tree.settle({j: round(found[j] / pack) for j, pack in tree.packs.items()}, found)
            return bound
        if not found:
            break
        counts = {j: round(found[j] / pack) for j, pack in tree.packs.items()}
        if tuple(counts.values()) in tried:
            break
        tried.add(tuple(counts.values()))
        before = tree.best
        tree.settle(counts, found)
        x = tree.best.x if tree.best is not None and tree.best is not before else found
    return -inf
