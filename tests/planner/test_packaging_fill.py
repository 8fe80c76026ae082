"""Containers filled from a volume: against counts by hand, against trying everything, and against a general solver of
integer programs (scipy's `milp`, the HiGHS library)."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from service.errors import InputError
from service.planner.packaging.fill import (
    LEAST_PART_SHARE,
    Filling,
    Size,
    _best,
    _enumerated,
    _Problem,
    _tabulated,
    fill,
    least_and_most,
)
from service.quantities.units import ML_PER_US_FLUID_OUNCE, ML_PER_US_GALLON


@pytest.mark.parametrize(
    ("litres", "size_ml", "count", "left_l"),
    [  # floor of the volume over the fill: computed
        (25.0, 330.0, 75, 0.25),
        (25.0, 500.0, 50, 0.0),
        (25.0, 750.0, 33, 0.25),
        (20.0, 330.0, 60, 0.2),
        (20.0, 500.0, 40, 0.0),
        (20.0, 750.0, 26, 0.5),
        (12.0, 330.0, 36, 0.12),
        (12.0, 500.0, 24, 0.0),
        (12.0, 750.0, 16, 0.0),
        (4.5, 330.0, 13, 0.21),
        (4.5, 500.0, 9, 0.0),
        (4.5, 750.0, 6, 0.0),
    ],
)
def test_one_size(litres: float, size_ml: float, count: int, left_l: float) -> None:
    found = fill(1000.0 * litres, [Size(size_ml)])
    assert found.counts == (count,)
    assert found.left_ml == pytest.approx(1000.0 * left_l, abs=1e-6)


def test_fluid_ounces_are_exact() -> None:
    """128 fl oz to the US gallon (NIST Handbook 44, Appendix C): 5 gal are 40 × 16 fl oz with nothing left."""
    found = fill(5.0 * ML_PER_US_GALLON, [Size(16.0 * ML_PER_US_FLUID_OUNCE)])
    assert found == Filling((40,), 0.0)
    assert fill(5.0 * ML_PER_US_GALLON, [Size(12.0 * ML_PER_US_FLUID_OUNCE)]).counts == (53,)


def test_one_keg_and_the_rest_in_bottles() -> None:
    found = fill(25_000.0, [Size(10_000.0, count=1), Size(330.0)])
    assert found.counts == (1, 45)  # 15 L in bottles of 330 mL: 45, and 150 mL left
    assert found.left_ml == pytest.approx(150.0)


def test_mixed_sizes_leave_less_than_either_alone() -> None:
    found = fill(1580.0, [Size(750.0), Size(330.0), Size(500.0)])
    assert found == Filling((1, 1, 1), 0.0)


def test_of_equal_fillings_the_fewest_containers_and_then_the_earlier() -> None:
    assert fill(1500.0, [Size(500.0), Size(750.0)]).counts == (0, 2)
    assert fill(1000.0, [Size(500.0), Size(500.0)]).counts == (2, 0)
    # three containers hold 4 L as 2 + 1 + 1 or as 1.5 + 1.5 + 1
    assert fill(4000.0, [Size(1000.0), Size(1500.0), Size(2000.0, most=1)]).counts == (2, 0, 1)
    assert fill(4000.0, [Size(1500.0), Size(1000.0), Size(2000.0, most=1)]).counts == (2, 1, 0)


def test_what_there_is_not_cannot_be_filled() -> None:
    assert fill(25_000.0, [Size(500.0, most=10), Size(330.0, most=3)]).counts == (10, 3)
    assert fill(25_000.0, [Size(500.0, most=0)]).counts == (0,)
    assert fill(0.0, [Size(500.0)]).counts == (0,)
    found = fill(499.0, [Size(500.0)])
    assert found.counts == (0,)
    assert found.left_ml == pytest.approx(499.0)


def test_too_little_says_what_lacks() -> None:
    found = fill(18_000.0, [Size(330.0, count=60), Size(500.0)])
    assert found.missing_ml == pytest.approx(1800.0)  # 60 × 330 = 19.8 L
    assert found.counts == (54, 0)
    assert found.left_ml == pytest.approx(180.0)


def test_a_partly_filled_keg_takes_the_rest() -> None:
    found = fill(25_000.0, [Size(19_000.0, part_filled=True)])
    assert (found.counts, found.part_of, found.left_ml) == ((2,), 0, 0.0)
    assert found.part_ml == pytest.approx(6000.0)
    assert fill(25_000.0, [Size(19_000.0)]).counts == (1,)
    # one keg only: it is full, and the rest goes into bottles
    assert fill(25_000.0, [Size(19_000.0, most=1, part_filled=True), Size(500.0)]).counts == (1, 12)
    # a keg asked for and not full
    found = fill(15_000.0, [Size(19_000.0, count=1, part_filled=True)])
    assert (found.counts, found.missing_ml) == ((1,), 0.0)
    assert found.part_ml == pytest.approx(15_000.0)
    # hardly anything in it: no
    assert fill(19_500.0, [Size(19_000.0, part_filled=True)]).part_of is None


def test_the_ends_of_the_volume() -> None:
    sizes = [Size(330.0)]
    assert least_and_most(24_000.0, 26_000.0, sizes, fill(25_000.0, sizes)) == ((72,), (78,))
    fixed = [Size(10_000.0, count=1), Size(330.0)]
    assert least_and_most(9_000.0, 26_000.0, fixed, fill(25_000.0, fixed)) == ((0, 0), (1, 48))
    limited = [Size(500.0, most=50)]
    assert least_and_most(24_000.0, 26_000.0, limited, fill(25_000.0, limited)) == ((48,), (50,))


_SIZES = st.sampled_from([187.0, 250.0, 330.0, 355.0, 473.0, 500.0, 750.0, 1000.0, 1500.0])
_SIZE = st.builds(
    Size,
    _SIZES,
    st.one_of(st.none(), st.integers(1, 3)),
    st.none(),
    st.just(False),
)
_FREE = st.builds(Size, _SIZES, st.none(), st.one_of(st.none(), st.integers(0, 6)), st.just(False))


def _by_trying(volume_ml: float, sizes: list[Size]) -> tuple[int, ...]:
    """The best of all fillings, each tried."""
    ranges = []
    for size in sizes:
        top = int(volume_ml // size.fill_ml)
        ranges.append(range((top if size.most is None else min(top, size.most)) + 1))
    best: tuple[float, int, tuple[int, ...]] | None = None
    for counts in product(*ranges):
        total = sum(n * s.fill_ml for n, s in zip(counts, sizes, strict=True))
        rank = (-total, sum(counts), tuple(-n for n in counts))
        if total <= volume_ml and (best is None or rank < best):
            best = rank
    assert best is not None
    return tuple(-n for n in best[2])


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 7000), st.lists(_FREE, min_size=1, max_size=3))
def test_the_best_of_all_fillings(volume_ml: int, sizes: list[Size]) -> None:
    assert fill(float(volume_ml), sizes).counts == _by_trying(float(volume_ml), sizes)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 200_000), st.lists(_FREE, min_size=1, max_size=5))
def test_as_much_as_a_general_solver_packs(volume_ml: int, sizes: list[Size]) -> None:
    fills = np.array([s.fill_ml for s in sizes])
    most = np.array([volume_ml // s.fill_ml if s.most is None else s.most for s in sizes])
    solved = milp(
        -fills,
        constraints=LinearConstraint(fills[None, :], -np.inf, volume_ml),
        integrality=np.ones(len(sizes)),
        bounds=Bounds(0, most),
        options={"mip_rel_gap": 0.0},
    )
    assert solved.status == 0
    found = fill(float(volume_ml), sizes)
    assert volume_ml - found.left_ml == pytest.approx(-solved.fun, abs=0.01)


@settings(max_examples=50, deadline=None)
@given(st.floats(0.0, 5e4), st.lists(_SIZE, min_size=1, max_size=4), st.floats(0.0, 0.2))
def test_nothing_is_filled_that_is_not_there(volume_ml: float, sizes: list[Size], off: float) -> None:
    found = fill(volume_ml, sizes)
    filled = sum(n * s.fill_ml for n, s in zip(found.counts, sizes, strict=True))
    assert filled <= volume_ml * (1.0 + 1e-8) + 1e-6
    assert filled + found.left_ml == pytest.approx(volume_ml, abs=1e-4)
    least, most = least_and_most(volume_ml * (1.0 - off), volume_ml * (1.0 + off), sizes, found)
    assert all(a <= b <= c for a, b, c in zip(least, found.counts, most, strict=True))
    low = sum(n * s.fill_ml for n, s in zip(least, sizes, strict=True))
    high = sum(n * s.fill_ml for n, s in zip(most, sizes, strict=True))
    assert low <= volume_ml * (1.0 - off) * (1.0 + 1e-8) + 1e-6
    assert high <= volume_ml * (1.0 + off) * (1.0 + 1e-8) + 1e-6


@settings(max_examples=50, deadline=None)
@given(st.floats(100.0, 1e5), st.lists(_FREE, min_size=1, max_size=3), st.floats(1.0, 1.2))
def test_more_drink_leaves_no_container_out(volume_ml: float, sizes: list[Size], times: float) -> None:
    def filled(volume: float) -> float:
        found = fill(volume, sizes)
        return sum(n * s.fill_ml for n, s in zip(found.counts, sizes, strict=True))

    assert filled(volume_ml * times) >= filled(volume_ml) - 1e-6


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 20_000), st.lists(_SIZES, min_size=1, max_size=3), st.integers(0, 2))
def test_a_part_filled_container_takes_all_that_is_left(volume_ml: int, fills: list[float], place: int) -> None:
    place %= len(fills)
    sizes = [Size(f, part_filled=k == place) for k, f in enumerate(fills)]
    found = fill(float(volume_ml), sizes)
    if found.part_of is None:
        alone = fill(float(volume_ml), [Size(f) for f in fills])
        assert found == alone
        return
    assert found.part_of == place
    assert found.part_ml is not None
    assert LEAST_PART_SHARE * fills[place] - 1e-6 <= found.part_ml < fills[place]
    whole = sum((n - (k == place)) * f for k, (n, f) in enumerate(zip(found.counts, fills, strict=True)))
    assert whole + found.part_ml == pytest.approx(volume_ml, abs=1e-4)
    if volume_ml <= 5000:
        fewest = min(
            sum(counts)
            for counts in product(*(range(int(volume_ml // f) + 1) for f in fills))
            if LEAST_PART_SHARE * fills[place]
            <= volume_ml - sum(n * f for n, f in zip(counts, fills, strict=True))
            < fills[place]
        )
        assert sum(found.counts) == fewest + 1


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.integers(2, 40), min_size=1, max_size=4),
    st.lists(st.integers(0, 12), min_size=4, max_size=4),
    st.integers(0, 300),
    st.integers(0, 40),
    st.booleans(),
)
def test_every_way_of_solving_finds_the_same(
    sizes: list[int], most: list[int], high: int, width: int, fewest: bool
) -> None:
    low = max(high - width, 0) if fewest else 0
    problem = _Problem(
        tuple(sizes), tuple(min(m, high // s) for m, s in zip(most, sizes, strict=False)), low, high, fewest
    )
    if not any(problem.most):
        return
    last = max(range(len(sizes)), key=lambda k: problem.most[k])
    simple, table, arrays = _best(problem, 1), _tabulated(problem, 1), _enumerated(problem, last)
    if simple is None:
        assert table is None
        assert arrays is None
        return
    assert table is not None
    assert arrays is not None
    assert (table.total, table.number) == (simple.total, simple.number) == (arrays.total, arrays.number)
    assert table.counts == simple.counts == arrays.counts


def test_a_large_batch_of_many_sizes() -> None:
    """1000 L: 100 magnums hold 150 L, and the other 850 L need at least 850/0.75, so 1134, containers (computed)."""
    found = fill(1_000_000.0, [Size(330.0), Size(500.0), Size(750.0), Size(1500.0, most=100)])
    assert found.left_ml == 0.0
    assert sum(found.counts) == 100 + 1134
    assert fill(1_000_000.0, [Size(330.0), Size(500.0), Size(750.0)]).left_ml == 0.0


def test_what_cannot_be_proved_is_refused() -> None:
    many = [Size(100.0 + k + 0.1234567 * k, most=1000) for k in range(8)]
    with pytest.raises(InputError, match="too many ways"):
        fill(400_000.0, many)
