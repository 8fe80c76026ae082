"""Ranges of curvatures from a table: against dense samples of the published formulas' second derivatives."""

from __future__ import annotations

import random
from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st

from service.physics.ethanol_water import specific_volume_ml_g
from service.solver import envelope as envelopes


@cache
def tables() -> tuple[tuple[envelopes._Curvature, float], ...]:
    of_v, of_psi = envelopes._curvatures()
    return ((of_v, envelopes._THIRD_V), (of_psi, envelopes._THIRD_PSI))


def second_derivatives(which: int, points: list[float]) -> list[float]:
    return [envelopes._psi_second(z) if which else specific_volume_ml_g(z)[2] for z in points]


@settings(max_examples=50, deadline=None)
@given(
    which=st.integers(0, 1),
    seed=st.integers(0, 10**6),
    width=st.sampled_from([0.0, 1e-12, 1e-6, 1e-3, 1 / 1024, 8 / 1024, 0.03, 0.3, 1.0]),
    place=st.sampled_from(["low end", "high end", "border", "anywhere"]),
)
def test_curvature_ranges_hold_what_they_should_and_little_more(
    which: int, seed: int, width: float, place: str
) -> None:
    """Dense samples lie inside; the range is no wider than the third derivative allows for a quarter of the interval.

    Its covering cells reach at most that far beyond either side, or one of the smallest, whose middle is half of one
    from what was computed.
    """
    table, third = tables()[which]
    rng, end = random.Random(seed), table.end
    low = {
        "low end": 0.0,
        "high end": end * (1.0 - width),
        "border": min(rng.randint(0, 1024) / 1024, 1.0 - width) * end,
        "anywhere": rng.uniform(0.0, end * (1.0 - width)),
    }[place]
    high = end if place == "high end" else min(low + width * end, end)
    values = second_derivatives(which, [low + (high - low) * k / 400 for k in range(400)] + [high])
    bottom, top = table.range(low, high)
    assert bottom <= min(values)
    assert top >= max(values)
    room = third * (max(0.25 * (high - low), end / 1024) + 0.5 * end / 1024 + (high - low) / 400)
    assert bottom >= min(values) - room
    assert top <= max(values) + room
