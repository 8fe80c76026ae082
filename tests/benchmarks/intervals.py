"""Intervals: what simulating 10,000 drinks takes in solves, and what first-order intervals add to a plan.

Targets: 10,000 drinks drawn and the quantiles of their composition in no more than 20 solves of the same blend, proof
included; a plan with intervals at most twice as long as the same plan without. Composition is all but pH, whose root is
sought for each drink; pH is told beside it. The random numbers of a seed are kept for the next blend of the same kind
("warm"); "cold" draws them too. A plan without intervals is `solve_blend` with every interval replaced by its value.
The gates lie about 30 % above the targets or, where a target is missed, above what is measured.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from statistics import median
from unittest.mock import patch

from service.model.properties import PROPERTIES
from service.planner import predict
from service.planner.answers_blend import BlendPlan
from service.planner.asked import PlanAsked
from service.planner.draws import drawn_intervals, drawn_unknowns
from service.planner.intervals import Interval, Spreads, spreads_of
from service.planner.materials import Material, materials_of
from service.planner.numbers import Numbers
from service.planner.predict import value_of
from service.planner.solving import answer
from service.solver.goals import solve_goals
from tests.benchmarks.acidity import kin, solved_afresh
from tests.benchmarks.timing import Row, interleaved

DRAWS = 10_000
SOLVES, GATE_WARM, GATE_COLD = 20.0, 26.0, 26.0
TIMES_PLAN, GATE_TIMES_PLAN = 2.0, 2.6


@dataclass(frozen=True, slots=True)
class Poured:
    """A batch, its plan's masses, and its properties there."""

    asked: PlanAsked
    materials: tuple[Material, ...]
    numbers: Numbers
    masses_g: tuple[float, ...]
    values: dict[str, float]

    def solve(self) -> object:
        """One complete solve of the batch's goals, without a proof, as in the other tables."""
        numbers = self.numbers
        return solve_goals(numbers.problem, numbers.goals, numbers.start, deadline_s=5.0, prove=False)

    def draw(self, *, ph: bool, cold: bool = False) -> object:
        """Drinks and quantiles, from the materials on."""
        if cold:
            drawn_unknowns.cache_clear()
        spreads = spreads_of(self.materials, self.masses_g, self.asked.circumstances)
        names = self.values if ph else {name: value for name, value in self.values.items() if name != "ph"}
        return drawn_intervals(spreads, names, DRAWS, 1)

    def first_order(self) -> object:
        """The same intervals without drawing anything."""
        spreads = spreads_of(self.materials, self.masses_g, self.asked.circumstances)
        return [spreads.interval(name, value) for name, value in self.values.items()]


def poured_batch(asked: PlanAsked) -> Poured:
    """A batch with what drawing needs."""
    materials = materials_of(asked.lots, asked.additions)
    found = answer(asked, materials)
    masses = tuple(found.numbers.masses_g(found.result.x))
    contents = spreads_of(materials, masses, asked.circumstances).contents
    values = {name: value_of(name, materials, masses, contents) for name in PROPERTIES}
    return Poured(asked, materials, found.numbers, masses, {n: v for n, v in values.items() if v is not None})


def drawing(batches: list[Poured], rounds: int) -> Iterator[Row]:
    """P9: drinks in solves, batch by batch."""
    ratios: dict[str, list[float]] = {}
    seconds: dict[str, list[float]] = {}
    for batch in batches:
        times = interleaved(
            {
                "solve": [batch.solve],
                "warm": [partial(batch.draw, ph=False)],
                "cold": [partial(batch.draw, ph=False, cold=True)],
                "with pH": [partial(batch.draw, ph=True)],
                "first": [batch.first_order],
            },
            rounds,
        )
        for name, spent in times.items():
            ratios.setdefault(name, []).append(spent / times["solve"])
            seconds.setdefault(name, []).append(spent)
    yield Row("a solve of the batch without a proof", f"{1e3 * median(seconds['solve']):.2f} ms")
    for name, text, gate in (
        ("warm", "P9 10,000 drinks and quantiles, random numbers at hand", GATE_WARM),
        ("cold", "P9 10,000 drinks and quantiles, random numbers drawn", GATE_COLD),
    ):
        ratio = median(ratios[name])
        shown = f"{ratio:.1f} solves  ({1e3 * median(seconds[name]):.1f} ms; most {max(ratios[name]):.1f} solves)"
        yield Row(text, shown, ratio, SOLVES, gate, " solves", at_most=True)
    for name, text in (("with pH", "   the same with the pH of each"), ("first", "   first order instead, pH too")):
        yield Row(text, f"{median(ratios[name]):.1f} solves  ({1e3 * median(seconds[name]):.1f} ms)")


def _certain(self: Spreads, name: str, value: float) -> Interval:  # noqa: ARG001
    return Interval(value, 0.0, 0.0, ())


@contextmanager
def without_intervals() -> Iterator[None]:
    """While this holds, predictions are values: no unknowns are gathered, no gradients taken."""
    with patch.object(Spreads, "interval", _certain), patch.object(predict, "ph_prediction", lambda *_: None):
        yield


def _value_only(asked: PlanAsked) -> BlendPlan:
    with without_intervals():
        return solved_afresh(asked)


def plans(asked: list[PlanAsked], rounds: int) -> Iterator[Row]:
    """Whole plans with intervals against the same without."""
    ratios, seconds = [], []
    for one in asked:
        times = interleaved({"with": [partial(solved_afresh, one)], "without": [partial(_value_only, one)]}, rounds)
        ratios.append(times["with"] / times["without"])
        seconds.append(times["with"])
    ratio = median(ratios)
    shown = f"{ratio:.2f} ×  ({1e3 * median(seconds):.2f} ms; most {max(ratios):.2f} ×)"
    yield Row("P9 a plan with intervals, of one without", shown, ratio, TIMES_PLAN, GATE_TIMES_PLAN, " ×", at_most=True)


def _sized(size: int) -> list[PlanAsked]:
    return [batch.plain for batch in kin(size, acidity=True)]


def rows(*, quick: bool) -> list[Row]:
    """All lines of this module."""
    size, rounds = (6, 5) if quick else (15, 9)
    asked = _sized(size)
    return [*drawing([poured_batch(one) for one in asked], rounds), *plans(asked, rounds)]
