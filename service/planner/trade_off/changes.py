"""Where the mix of a curve changes, each change once.

Beside an optimum that lies inside an edge, or where the solver's general fallback found a point, a change of mix comes
as several breakpoints at nearly one level; between two curves that hold near their own blends each, a change may be
seen twice or fall between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.planner.numbers import Numbers
from service.solver.breakpoints import Breakpoint
from service.solver.frontier import CurvePoint

_ONE_LEVEL = 1e-4
"""Changes nearer to each other than this share of the range are one."""


@dataclass(frozen=True, slots=True)
class Change:
    """A change of mix at a level of the first property; its breakpoint, the target of each row, and their numbers."""

    found: Breakpoint
    x: float
    y: float
    rows: tuple[str, ...]
    numbers: Numbers


Mix = tuple[object, ...]


def mix_of(point: CurvePoint) -> Mix | None:
    """What is the same along one mix: the free amounts, the rows that hold, and where the others stand.

    None where the point has no basis.
    """
    if point.basis is None:
        return None
    free = set(point.basis.free)
    return (point.basis, *(value for j, value in enumerate(point.x) if j not in free))


def reduced(found: Sequence[Breakpoint], span: float) -> list[Breakpoint]:
    """Breakpoints without those that lead from a mix back to it, and those at nearly one level as one.

    Parameters: found, in the order of their levels; span, the range of levels.
    Returns: breakpoints, each from one mix that is known to another.
    """
    kept: list[Breakpoint] = []
    for one in found:
        if kept and (mix_of(kept[-1].right) is None or one.level - kept[-1].level <= _ONE_LEVEL * span):
            before = kept.pop()
            one = Breakpoint(0.5 * (before.level + one.level), before.left, one.right)
        after = mix_of(one.right)
        known = [mix_of(earlier.left) for earlier in (*kept, one)]
        if after is not None and after in known:
            del kept[known.index(after) :]
        else:
            kept.append(one)
    return [one for one in kept if mix_of(one.left) is not None and mix_of(one.right) is not None]
