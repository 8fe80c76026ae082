"""What a rounded blend is worth: misses, distances, preferences and movement, to be compared in this order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf
from operator import add

from service.model.properties import PROPERTIES
from service.planner.asked import Preference, TargetAsked
from service.planner.plan_report import ROUNDING_SHARE
from service.planner.steps import OURS, Senses

_UNDEFINED = 1e9
"""A property that a blend does not have misses by so many steps."""

_SAME, _SAME_PREFERENCE, _SAME_MOVE = 1e-9, 1e-3, 1e-6
"""Differences below these, in noticeable steps (of a target, a preference) and in steps of an amount, do not decide."""

Score = tuple[float, ...]
"""Misses by priority, distance, preferences, movement: each the better the smaller."""


def noticeable_step(target: TargetAsked, senses: Senses = OURS) -> float:
    """The noticeable step of a target, at its value or its larger end."""
    ends = [abs(v) for v in (target.low, target.high) if abs(v) < inf]
    return senses.noticeable(target.name, target.value if target.value is not None else max(ends, default=0.0))


def miss_steps(target: TargetAsked, value: float | None, step: float | None = None) -> float:
    """How far a value lies outside a target's range, beyond what counts as met after rounding [noticeable steps].

    Parameters: target; value, None where the blend has none; step, the noticeable one if it is at hand.

    >>> gravity = TargetAsked("gravity", 1.0115, 1.0125, 1.012, "1.012")
    >>> round(miss_steps(gravity, 1.0146), 3), miss_steps(gravity, 1.01254)  # a step is 0.002, 0.00005 are forgiven
    (1.025, 0.0)
    """
    if value is None:
        return _UNDEFINED
    law, size = PROPERTIES[target.name], abs(value)
    miss = max(target.low - value, value - target.high, 0.0)
    beyond = miss - ROUNDING_SHARE * law.tolerance(size) - 1e-12 * size
    return beyond / (noticeable_step(target) if step is None else step) if beyond > 0.0 else 0.0


@dataclass(frozen=True)
class Judge:
    """What the values of a blend are worth."""

    targets: tuple[TargetAsked, ...]
    prefer: tuple[Preference, ...]
    prefer_steps: tuple[float, ...]
    senses: Senses = OURS

    @cached_property
    def _priorities(self) -> tuple[int, ...]:
        return tuple(sorted({t.priority for t in self.targets}))

    @cached_property
    def _terms(self) -> tuple[tuple[TargetAsked, float], ...]:
        return tuple((t, noticeable_step(t, self.senses)) for t in self.targets)

    def scores(self, columns: Sequence[Sequence[float | None]], moved: Sequence[float]) -> list[Score]:
        """The scores of several blends: a column of values for each target and preference, and the steps moved."""
        nothing = [0.0] * len(moved)
        misses = dict.fromkeys(self._priorities, nothing)
        distance = nothing
        for (target, step), column in zip(self._terms, columns, strict=False):
            low, high, aim = target.low, target.high, target.value
            missed = [0.0 if v is not None and low <= v <= high else miss_steps(target, v, step) for v in column]
            misses[target.priority] = list(map(add, misses[target.priority], missed))
            if aim is not None:
                distance = [
                    d + (0.0 if v is None else abs(v - aim) / step) for d, v in zip(distance, column, strict=True)
                ]
        wishes = [
            [_UNDEFINED if v is None else (-v if wish.maximise else v) / step for v in column]
            for wish, step, column in zip(self.prefer, self.prefer_steps, columns[len(self.targets) :], strict=True)
        ]
        return list(zip(*misses.values(), distance, *wishes, moved, strict=True))

    def spread(self, errors: Sequence[float]) -> Score:
        """How far scores can be off when the values of the targets and preferences are off by so much."""
        misses = dict.fromkeys(self._priorities, 0.0)
        distance = 0.0
        for (target, step), error in zip(self._terms, errors, strict=False):
            misses[target.priority] += error / step
            distance += error / step if target.value is not None else 0.0
        wishes = (e / step for e, step in zip(errors[len(self.targets) :], self.prefer_steps, strict=True))
        return (*misses.values(), distance, *wishes, 0.0)

    @cached_property
    def grain(self) -> Score:
        """What differences do not decide."""
        return (*(_SAME,) * (len(self._priorities) + 1), *(_SAME_PREFERENCE,) * len(self.prefer), _SAME_MOVE)

    def key(self, score: Sequence[float]) -> tuple[int, ...]:
        """A score without noise, to compare."""
        return tuple([round(s / grain) for s, grain in zip(score, self.grain, strict=True)])
