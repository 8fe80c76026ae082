"""How many containers of each size a volume fills: as little as possible left over, exactly.

A small integer problem: maximise Σ nᵢ·sᵢ ≤ V with 0 ≤ nᵢ ≤ uᵢ, some nᵢ given. Of equal fillings the one with the fewest
containers is taken, then the one with more of what stands earlier in the list. Sizes are whole multiples of 10⁻¹⁰ mL,
so that fluid ounces are exact; they are solved by enumeration where there are few fillings, else by a table over
multiples of their greatest common divisor. A filling that neither can prove best is refused, never guessed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import gcd, inf, prod
from typing import Any, Final

from service.errors import InputError

_UNITS_PER_ML: Final = 1e10
_EXACT: Final = 1e-9
"""Shares of a volume below this are rounding of a float, not drink."""

LEAST_PART_SHARE: Final = 0.1
"""A container is not partly filled with less than this share of its fill (our default)."""

_FEW_FILLINGS: Final = 20_000
_MOST_CELLS: Final = 2_000_000
_MOST_FILLINGS: Final = 4_000_000
_FAR: Final = 1 << 28
_MOST_OF_64_BITS: Final = 1 << 62


@dataclass(frozen=True, slots=True)
class Size:
    """Containers of one size: drink in each [mL], how many are wanted, how many there are, may one be partly filled."""

    fill_ml: float
    count: int | None = None
    most: int | None = None
    part_filled: bool = False


@dataclass(frozen=True, slots=True)
class Filling:
    """How many of each size are filled, a partly filled one among them, what is left and what the wish lacks [mL].

    `part_ml` is what the one partly filled container holds, which stands in the place `part_of` of the list.
    """

    counts: tuple[int, ...]
    left_ml: float
    missing_ml: float = 0.0
    part_of: int | None = None
    part_ml: float | None = None


@dataclass(frozen=True, slots=True)
class _Found:
    """Whole containers of the sizes that are free: total [units], number, and how many of each."""

    total: int
    number: int
    counts: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Problem:
    """Sizes [units] with the most of each, and the totals between which a filling has to lie.

    Without `fewest` the largest total is wanted, then the fewest containers; with it the fewest containers, then the
    smallest total.
    """

    sizes: tuple[int, ...]
    most: tuple[int, ...]
    low: int
    high: int
    fewest: bool


def fill(volume_ml: float, sizes: Sequence[Size]) -> Filling:
    """The filling that leaves least; of equals the one with fewest containers, then with more of the earlier sizes.

    max Σ nᵢ·sᵢ ≤ V, nᵢ ≤ uᵢ, some nᵢ given

    Parameters: volume_ml V, drink to be filled, scalar [mL]; sizes, in the order in which they are preferred.
    Returns: Filling. Where the given counts need more than there is, they are filled in the order of the list as far
    as it goes, `missing_ml` says what lacks, and no other container is filled.
    Raises: InputError where there are too many fillings to look at all of them.
    Validity: whole containers; where they leave something, one of those that may be partly filled takes the rest, if it
    is a tenth of its fill, beside as few others as possible.
    Source: arithmetic.

    Example: 25 L in bottles of 330 mL are 75, and 0.25 L is left.

    >>> found = fill(25_000.0, [Size(330.0)])
    >>> found.counts, round(found.left_ml)
    ((75,), 250)
    """
    volume = int(max(volume_ml, 0.0) * _UNITS_PER_ML)
    slack = int(_EXACT * volume)
    volume += slack
    units = [round(size.fill_ml * _UNITS_PER_ML) for size in sizes]
    wanted = sum(unit * (size.count or 0) for unit, size in zip(units, sizes, strict=True))
    if wanted > volume:
        return _too_little(volume_ml, volume, slack, units, sizes, wanted)
    given = tuple(size.count or 0 for size in sizes)
    rest = volume - wanted
    most = tuple(
        0 if size.count is not None else rest // unit if size.most is None else min(size.most, rest // unit)
        for unit, size in zip(units, sizes, strict=True)
    )
    unlimited = tuple(size.count is None and size.most is None for size in sizes)
    whole = _solve(_Problem(tuple(units), most, 0, rest, False), unlimited)
    assert whole is not None  # nothing at all is a filling too
    best, part = whole, None
    if rest - whole.total > 2 * slack:
        for place, size in enumerate(sizes):
            room = inf if size.most is None else size.most
            if not size.part_filled or size.count is not None or room < 1:
                continue
            found = _with_part(rest, units, most, unlimited, place, room)
            if found is not None and (part is None or found.number < best.number):
                best, part = found, place
    counts = tuple(n + g + (place == part) for place, (n, g) in enumerate(zip(best.counts, given, strict=True)))
    left = _left_ml(rest - best.total, slack)
    if part is None:
        return Filling(counts, left)
    return Filling(counts, 0.0, 0.0, part, left)


def _left_ml(units: int, slack: int) -> float:
    """What is left, without what the volume was rounded up by."""
    return 0.0 if units <= 2 * slack else (units - slack) / _UNITS_PER_ML


def _with_part(
    rest: int, units: Sequence[int], most: Sequence[int], unlimited: Sequence[bool], place: int, room: float
) -> _Found | None:
    """The fewest whole containers beside one of size `place` that takes what they leave."""
    fewer = tuple(min(m, int(room) - 1) if k == place and room < inf else m for k, m in enumerate(most))
    unit = units[place]
    low, high = max(rest - unit + 1, 0), rest - int(LEAST_PART_SHARE * unit)
    return None if high < low else _solve(_Problem(tuple(units), fewer, low, high, True), unlimited)


def _too_little(
    volume_ml: float, volume: int, slack: int, units: Sequence[int], sizes: Sequence[Size], wanted: int
) -> Filling:
    """The given counts as far as the drink goes, in the order of the list."""
    left, counts, part, held = volume, [], None, None
    for place, (unit, size) in enumerate(zip(units, sizes, strict=True)):
        number = min(size.count or 0, left // unit)
        left -= number * unit
        if size.part_filled and number < (size.count or 0) and left >= LEAST_PART_SHARE * unit and part is None:
            part, held, left = place, _left_ml(left, slack), 0
            number += 1
        counts.append(number)
    complete = part is not None and all(n == (s.count or 0) for n, s in zip(counts, sizes, strict=True))
    missing = 0.0 if complete else max(wanted / _UNITS_PER_ML - volume_ml, 0.0)
    return Filling(tuple(counts), _left_ml(left, slack), missing, part, held)


def _solve(problem: _Problem, unlimited: Sequence[bool]) -> _Found | None:
    """The best filling of a problem, or None where no filling lies between its totals."""
    free = [k for k, most in enumerate(problem.most) if most > 0]
    if not free:
        nothing = _Found(0, 0, (0,) * len(problem.sizes))
        return nothing if problem.low <= 0 <= problem.high else None
    step = gcd(*(problem.sizes[k] for k in free))
    large = max(free, key=lambda k: (problem.sizes[k], -k))
    ahead = _certain(problem, large, step) if unlimited[large] else 0
    taken = ahead * problem.sizes[large]
    small = _Problem(
        tuple(problem.sizes[k] for k in free),
        tuple(
            min(problem.most[k] - (ahead if k == large else 0), (problem.high - taken) // problem.sizes[k])
            for k in free
        ),
        max(problem.low - taken, 0),
        problem.high - taken,
        problem.fewest,
    )
    found = _best(small, step)
    if found is None:
        return None
    counts = [0] * len(problem.sizes)
    for k, n in zip(free, found.counts, strict=True):
        counts[k] = n
    counts[large] += ahead
    return _Found(found.total + taken, found.number + ahead, tuple(counts))


def _certain(problem: _Problem, large: int, step: int) -> int:
    """How many of the largest size a best filling holds at least, if there is no end of them.

    Among S/g smaller containers, g the common divisor, some add up to a multiple of S (prefix sums modulo S), which
    fewer of size S hold as well: a best filling has fewer smaller ones than S/g, so less than S²/g of drink in them.
    """
    size = problem.sizes[large]
    least = problem.low if problem.fewest else problem.high - size
    return max((least - size * size // step) // size, 0)


def _best(problem: _Problem, step: int) -> _Found | None:
    """Enumerate, or fill a table over multiples of the common divisor, whichever is small enough."""
    last = max(range(len(problem.sizes)), key=lambda k: problem.most[k])
    fillings = prod(most + 1 for k, most in enumerate(problem.most) if k != last)
    if fillings <= _FEW_FILLINGS:
        ranges = [range(most + 1) if k != last else range(1) for k, most in enumerate(problem.most)]
        return min(_candidates(problem, product(*ranges), last), key=_rank(problem), default=None)
    if problem.high // step <= _MOST_CELLS:
        return _tabulated(problem, step)
    if fillings <= _MOST_FILLINGS:
        return _enumerated(problem, last)
    raise InputError(
        "So many sizes for so much drink leave too many ways to fill it. Fix the count of some containers, say how "
        "many there are of each (max), or leave sizes out."
    )


def _rank(problem: _Problem) -> Callable[[_Found], tuple[int, int, tuple[int, ...]]]:
    def of(found: _Found) -> tuple[int, int, tuple[int, ...]]:
        first = (found.number, found.total) if problem.fewest else (-found.total, found.number)
        return (*first, tuple(-n for n in found.counts))

    return of


def _candidates(problem: _Problem, others: Iterator[tuple[int, ...]], last: int) -> Iterator[_Found]:
    """Fillings by how many there are of all sizes but one, of which so many follow."""
    size, most = problem.sizes[last], problem.most[last]
    for counts in others:
        total = sum(n * s for n, s in zip(counts, problem.sizes, strict=True))
        if total > problem.high:
            continue
        number = min((problem.high - total) // size, most)
        if problem.fewest:
            number = min(max(-((total - problem.low) // size), 0), number)
        total += number * size
        if problem.low <= total:
            whole = (*counts[:last], number, *counts[last + 1 :])
            yield _Found(total, sum(whole), whole)


def _enumerated(problem: _Problem, last: int) -> _Found | None:
    """As `_candidates`, with whole arrays at a time; of equal ones all are looked at."""
    import numpy as np

    # beyond what 64 bits hold, whole numbers of Python: slower, and as exact
    kind: Any = np.int64 if problem.high < _MOST_OF_64_BITS else object
    total: Any = np.zeros(1, dtype=kind)
    number: Any = np.zeros(1, dtype=kind)
    for k, (size, most) in enumerate(zip(problem.sizes, problem.most, strict=True)):
        if k != last:
            steps: Any = np.arange(most + 1, dtype=np.int64).astype(kind)
            total = (total[:, None] + steps * size).ravel()
            number = (number[:, None] + steps).ravel()
    size = problem.sizes[last]
    fits = total <= problem.high
    more = np.minimum((problem.high - total) // size, problem.most[last])
    if problem.fewest:
        more = np.minimum(np.maximum(-((total - problem.low) // size), 0), more)
    total = total + more * size
    fits &= total >= problem.low
    if not fits.any():
        return None
    number = number + more
    first, second = (number, total) if problem.fewest else (-total, number)
    at = np.flatnonzero(fits)
    at = at[first[at] == first[at].min()]
    at = at[second[at] == second[at].min()]
    lengths = [most + 1 for k, most in enumerate(problem.most) if k != last]
    found = []
    for index in at.tolist():
        digits = [int(d) for d in np.unravel_index(index, lengths)]
        counts = (*digits[:last], int(more[index]), *digits[last:])
        found.append(_Found(int(total[index]), int(number[index]), counts))
    return min(found, key=_rank(problem))


def _tabulated(problem: _Problem, step: int) -> _Found | None:
    """The fewest containers for each total, one size after the other from the last to the first."""
    import numpy as np

    cells = problem.high // step + 1
    sizes = [size // step for size in problem.sizes]
    table = np.full(cells, _FAR, dtype=np.int32)
    table[0] = 0
    tables = [table]
    for size, most in zip(reversed(sizes), reversed(problem.most), strict=True):
        table, rest, part = tables[-1].copy(), most, 1
        while rest > 0:
            part = min(part, rest)
            shift = part * size
            if shift < cells:
                table[shift:] = np.minimum(table[shift:], table[:-shift] + part)
            rest, part = rest - part, part * 2
        tables.append(table)
    tables.reverse()
    low = -(-problem.low // step)
    reached = np.flatnonzero(tables[0][low:] < _FAR) + low
    if not reached.size:
        return None
    at = int(reached[-1]) if not problem.fewest else int(reached[np.argmin(tables[0][reached])])
    total, number, counts = at * step, int(tables[0][at]), []
    for k, (size, most) in enumerate(zip(sizes, problem.most, strict=True)):
        left = int(tables[k][at])
        n = next(n for n in range(min(most, at // size), -1, -1) if int(tables[k + 1][at - n * size]) + n == left)
        counts.append(n)
        at -= n * size
    return _Found(total, number, tuple(counts))


def least_and_most(
    volume_low_ml: float, volume_high_ml: float, sizes: Sequence[Size], expected: Filling
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """How many of each size are filled at least, and how many are to be ready, by the ends of the volume.

    Parameters: volume_low_ml, volume_high_ml, ends of what is to be filled, scalar [mL]; sizes; expected, the filling
    of the volume itself.
    Returns: counts at the low end, none above the expected; counts at the high end, none below.
    Raises: as `fill`.
    Validity: the filling is carried out in its own order and ends early, or goes on.
    Source: arithmetic.

    Example: 25 L known to a litre in bottles of 330 mL.

    >>> sizes = [Size(330.0)]
    >>> least_and_most(24_000.0, 26_000.0, sizes, fill(25_000.0, sizes))
    ((72,), (78,))
    """
    fewer = [
        size if size.count is not None else replace(size, most=n)
        for size, n in zip(sizes, expected.counts, strict=True)
    ]
    least = fill(volume_low_ml, fewer).counts
    whole = [n - (place == expected.part_of) for place, n in enumerate(expected.counts)]
    more = [
        replace(size, most=0 if size.count is not None else None if size.most is None else size.most - n, count=None)
        for size, n in zip(sizes, whole, strict=True)
    ]
    held = sum(n * size.fill_ml for n, size in zip(whole, sizes, strict=True))
    further = fill(volume_high_ml - held, more).counts
    if expected.missing_ml > 0.0:
        further = tuple(0 for _ in sizes)
    most = tuple(max(n, w + f) for n, w, f in zip(expected.counts, whole, further, strict=True))
    return tuple(min(n, e) for n, e in zip(least, expected.counts, strict=True)), most
