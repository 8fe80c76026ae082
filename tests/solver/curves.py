"""Seeded trade-off curves: a quantity that the goals leave open, against the instance's own preference."""

from __future__ import annotations

from dataclasses import dataclass, replace

from service.solver.frontier import Curve
from service.solver.problem import Form, Problem, Ratio
from tests.solver.cases import held
from tests.solver.instances import Instance, make

KINDS = ("strength", "acids", "cost", "fruit", "added", "volume")


@dataclass(frozen=True)
class Drawn:
    """One trade-off before it is solved."""

    kind: str
    instance: Instance
    problem: Problem
    ratio: Ratio
    scale: float

    def curve(self, *, whole: tuple[float, ...] = ()) -> Curve:
        """The curve; may raise SolverError with packs."""
        problem = replace(self.problem, whole=whole) if whole else self.problem
        return Curve(problem, self.ratio, scale=self.scale, sums=self.instance.start)


def draw(seed: int, size: int, kind: str = "", *, strength_bounded: bool = True) -> Drawn:
    """The trade-off of a seed: ratios to volume, a plain sum or the volume itself; a goal on the same is dropped."""
    kind = kind or KINDS[seed % len(KINDS)]
    instance = make(seed, size, strength_bounded=strength_bounded)
    problem, n = instance.problem, instance.problem.size
    volume = Form(0.0, (0.0,) * n, 1.0)
    per_ml = 100.0 / 0.78924
    ratio, scale, dropped = {
        "strength": (
            Ratio(Form(problem.fixed_sums[1] * per_ml, tuple(c[1] * per_ml for c in problem.columns)), volume),
            0.1,
            "abv_percent",
        ),
        "acids": (Ratio(Form(0.05, tuple(0.05 * ((j * 7) % 11) for j in range(n))), volume), 5.0, ""),
        "cost": (Ratio(Form(0.0, tuple(3.0 + (j * 5) % 7 for j in range(n)))), 0.5, ""),
        "fruit": (Ratio(Form(0.0, tuple(float((j * 3) % 4) for j in range(n))), volume), 1.0, ""),
        "added": (Ratio(Form(0.0, (1.0,) * n)), 1.0, ""),
        "volume": (Ratio(volume), 1.0, "volume"),
    }[kind]
    goals = [goal for goal in instance.goals if goal.name != dropped]
    return Drawn(kind, instance, held(instance, goals), ratio, scale)
