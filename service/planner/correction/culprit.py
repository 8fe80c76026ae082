"""What is most likely off where readings do not fit what was poured.

Each unknown and each reading in turn is given ten times its spread, and an amount or a volume room for a mistake of
reading or counting; and drink may be gone that nobody told of, which changes how much there is and nothing else. What
then makes the readings most likely is the likeliest culprit. It is only named where it explains them, and nobody is
accused where they fit.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import log
from operator import mul
from typing import Final, Literal

from service.model.linear_gaussian import Fit, chance_of_more, fit_of
from service.planner.beliefs import AMOUNT
from service.planner.correction.belief import Belief, bounded, moved
from service.planner.correction.terms import VOLUME

Verdict = Literal["consistent", "doubtful", "inconsistent"]

DOUBTFUL_BELOW: Final = 0.05
INCONSISTENT_BELOW: Final = 0.005
"""Chances of readings at least so far off; one in twenty is common practice, one in two hundred our default."""

_VARIANCE_TIMES: Final = 100.0
_MISTAKE: Final = {AMOUNT: 0.5, VOLUME: 0.2}
"""Standard deviation of what was weighed or poured by mistake, as a share of it (our default)."""

_LOSS: Final = 0.2
"""Standard deviation of what was lost unnoticed as a share of the drink: racking, samples, pulp (our default)."""

_LEAST_GAIN: Final = log(3.0)
"""What makes readings three times as likely is worth naming (our default)."""

_MOST_TOLD: Final = 4


@dataclass(frozen=True, slots=True)
class Suspect:
    """An unknown, a reading or a loss, by its place or its stage; `at` is the value that it then probably has, in its
    own standard deviations for an unknown, as the reading's error in its unit for a reading, in litres for a loss.
    `gain` is how much the logarithm of the readings' likelihood grows, `chance` their chance then."""

    unknown: int | None
    reading: int | None
    at: float
    gain: float
    chance: float
    loss: int | None = None


@dataclass(frozen=True, slots=True)
class Judgement:
    """Whether the readings fit, and what may be off."""

    verdict: Verdict
    chance: float
    suspects: tuple[Suspect, ...]


def judged(belief: Belief) -> Judgement:
    """Hold the readings against what was expected of them.

    Parameters: belief.
    Returns: Judgement; suspects only where the readings do not fit, the likeliest first.
    Source: chi-square of the innovations; comparison of evidence with one spread enlarged (how much is our default).
    """
    chance = chance_of_more(belief.chi_square, len(belief.linear))
    if chance >= DOUBTFUL_BELOW:
        return Judgement("consistent", chance, ())
    suspects = sorted(
        _once(list(_suspects(belief)), belief), key=lambda s: (-s.gain, s.unknown is None, s.unknown or s.reading or 0)
    )
    verdict: Verdict = "doubtful" if chance >= INCONSISTENT_BELOW else "inconsistent"
    return Judgement(verdict, chance, tuple(suspects[:_MOST_TOLD]))


def _once(suspects: list[Suspect], belief: Belief) -> list[Suspect]:
    """A volume that was read too low and drink that is gone look alike: one suspect, of both."""
    losses = [s for s in suspects if s.loss is not None]
    low = [s for s in suspects if s.reading is not None and s.at < 0.0 and belief.readings[s.reading].name == "volume"]
    if not losses:
        return suspects
    likeliest = max(losses, key=lambda s: (s.gain, s.loss or 0))
    likeliest = replace(likeliest, gain=max(s.gain for s in (likeliest, *low)))
    return [*(s for s in suspects if s not in losses and s not in low), likeliest]


def _suspects(belief: Belief) -> Iterator[Suspect]:
    lines, before = belief.linear, belief.before
    slopes = [line.slopes for line in lines]
    misses = [line.value - sum(map(mul, line.slopes, before.mean)) for line in lines]
    sds = [before.sd(k) for k in range(len(before.mean))]
    size = len(lines)
    spread = [
        [
            sum(a * b * sd * sd for a, b, sd in zip(slopes[i], slopes[j], sds, strict=True))
            + (lines[i].variance if i == j else 0.0)
            for j in range(size)
        ]
        for i in range(size)
    ]
    usual = fit_of(misses, spread)
    for k, sd in enumerate(sds):
        column = [row[k] for row in slopes]
        if sd > 0.0 and any(column):
            suspect = _unknown(belief, k, column, misses, spread, usual)
            if suspect is not None:
                yield suspect
    yield from _losses(belief, misses, spread, usual)
    for i, line in enumerate(lines):
        more = (_VARIANCE_TIMES - 1.0) * line.variance
        wider = [list(row) for row in spread]
        wider[i][i] += more
        fit = fit_of(misses, wider)
        error = _VARIANCE_TIMES * line.variance * fit.weighted[i]
        left = [miss - (error if j == i else 0.0) for j, miss in enumerate(misses)]
        chance = chance_of_more(fit_of(left, spread).chi_square, size)
        if _explains(fit, usual, chance):
            yield Suspect(None, i, error, fit.log_density - usual.log_density, chance)


def _losses(
    belief: Belief, misses: Sequence[float], spread: Sequence[Sequence[float]], usual: Fit
) -> Iterator[Suspect]:
    """Drink that went during a stage without anyone's telling; only less, and never all of it."""
    size = len(misses)
    for stage, column in enumerate(belief.if_lost):
        if not any(column):
            continue
        more = _LOSS * _LOSS
        wider = [[spread[i][j] + more * column[i] * column[j] for j in range(size)] for i in range(size)]
        fit = fit_of(misses, wider)
        share = min(more * sum(map(mul, column, fit.weighted)), _MOST_LOST)
        if share <= 0.0:
            continue
        left = [miss - share * c for miss, c in zip(misses, column, strict=True)]
        chance = chance_of_more(fit_of(left, spread).chi_square, size)
        if _explains(fit, usual, chance):
            litres = share * belief.litres[stage]
            yield Suspect(None, None, litres, fit.log_density - usual.log_density + log(2.0), chance, stage)


_MOST_LOST: Final = 0.9


def _unknown(
    belief: Belief,
    k: int,
    column: Sequence[float],
    misses: Sequence[float],
    spread: Sequence[Sequence[float]],
    usual: Fit,
) -> Suspect | None:
    """An unknown with ten times its spread; one that would have to leave its limits explains what it can at them."""
    variance = belief.before.sd(k) ** 2
    mistake = _MISTAKE.get(belief.unknowns[k].what, 0.0) * belief.unknowns[k].low if variance else 0.0
    enlarged = max(_VARIANCE_TIMES * variance, mistake * mistake)
    more = enlarged - variance
    size = len(misses)
    wider = [[spread[i][j] + more * column[i] * column[j] for j in range(size)] for i in range(size)]
    fit = fit_of(misses, wider)
    by = enlarged * sum(map(mul, column, fit.weighted))
    mean, unknown = belief.before.mean[k], belief.unknowns[k]
    at = min(max(mean + by, unknown.low), unknown.high)
    left = [miss - c * (at - mean) for miss, c in zip(misses, column, strict=True)]
    known = [[spread[i][j] - variance * column[i] * column[j] for j in range(size)] for i in range(size)]
    there = fit_of(left, known)
    if at != mean + by:
        fit = Fit(there.chi_square, there.log_density - 0.5 * log(enlarged / variance), there.weighted)
    chance = chance_of_more(there.chi_square, size)
    whole = moved(belief.planned, [unknown], [at])
    if bounded(whole) is not whole:  # less than nothing of something explains nothing
        return None
    if not _explains(fit, usual, chance):
        return None
    return Suspect(k, None, at, fit.log_density - usual.log_density, chance)


def _explains(fit: Fit, usual: Fit, chance: float) -> bool:
    return fit.log_density - usual.log_density >= _LEAST_GAIN and chance >= DOUBTFUL_BELOW
