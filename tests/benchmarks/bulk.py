"""Ten thousand questions of one unknown at once, in evaluations of the density of as many drinks.

Target: no more than 10, with an error of 1e-10 of the amount at most. The floor is one evaluation of the same density
formulas for an array of the same size, value only, every polynomial in place (`density_of_many_g_ml`); a question is
two equations, the extract of the lot from its readings and then the amount. One question after another by the planner,
which proves and reports each, is timed for a few and counted up.

Times are those of the thread alone, because numpy has no threads here and a neighbour would interrupt a long call of
ten thousand rows more often than a short one. One large array is made and let go before, as any sweep of a million rows
does: after that the allocator keeps the memory of small ones instead of giving it back each time.
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator, Mapping
from statistics import median
from time import thread_time

import numpy as np
from numpy.typing import NDArray

from service.catalogue.lookup import get_ingredient
from service.model.contents import contents_per_g
from service.model.lot import LotReadings, lot_from_readings
from service.model.lot_rows import litres_from_readings
from service.physics.mixture import WATER_G_PER_ML, volume_ml
from service.physics.mixture_arrays import density_of_many_g_ml
from service.physics.roots import root_between
from service.planner.asked import AdditionAsked, Circumstances, LotAsked, TargetAsked
from service.planner.single import amount_for
from service.planner.sweep import LotRows, SweptRows, amounts_for
from tests.benchmarks.timing import Row

ROWS = 10_000
EVALUATIONS, GATE = 10.0, 16.0
ERROR, GATE_ERROR = 1e-10, 1e-10
INGREDIENT = "honey_average"


def drawn(seed: int) -> tuple[LotRows, NDArray[np.float64]]:
    """Lots with the extract of a ferment and more, and targets above each."""
    dice = np.random.default_rng(seed)
    abv = dice.uniform(4.0, 16.0, ROWS)
    gravity = 1.0 - 0.0011 * abv + dice.uniform(0.009, 0.03, ROWS)
    return LotRows(dice.uniform(5.0, 500.0, ROWS), gravity, abv), gravity + dice.uniform(0.002, 0.05, ROWS)


def _column(lots: LotRows, name: str) -> list[float]:
    return [float(value) for value in np.asarray(getattr(lots, name))]


def largest_error(lots: LotRows, target: list[float], found: SweptRows, rows: range) -> float:
    """Of the amounts of some rows, against the root of the scalar volume, as a share of the amount."""
    per_g = contents_per_g(get_ingredient(INGREDIENT))
    readings = list(zip(*(_column(lots, name) for name in ("volume_l", "gravity", "abv_percent")), strict=True))
    worst = 0.0
    for row in rows:
        volume_l, gravity, abv = readings[row]
        contents = lot_from_readings("lot", LotReadings(volume_l, None, gravity, abv)).contents
        density = target[row] * WATER_G_PER_ML

        def too_large_ml(mass_g: float) -> float:
            whole = contents.plus(per_g.scaled(mass_g))  # noqa: B023
            return volume_ml(whole.masses_g) - whole.mass_g / density  # noqa: B023

        exact = root_between(too_large_ml, 0.0, 400.0 * volume_l, tolerance=1e-15)
        worst = max(worst, abs(float(found.mass_g[row]) / exact - 1.0))
    return worst


def in_turn(jobs: Mapping[str, Callable[[], object]], rounds: int) -> dict[str, list[float]]:
    """Times of each job in each round, all jobs in every round [s of the thread]; the first round is not counted."""
    times: dict[str, list[float]] = {name: [] for name in jobs}
    gc.collect()
    gc.disable()
    try:
        for turn in range(rounds + 1):
            for name, job in jobs.items():
                begun = thread_time()
                job()
                if turn:
                    times[name].append(thread_time() - begun)
    finally:
        gc.enable()
    return times


def _one_by_one(lots: LotRows, target: list[float], rows: range) -> float:
    """Seconds of a single question to the planner."""
    readings = list(zip(*(_column(lots, name) for name in ("volume_l", "gravity", "abv_percent")), strict=True))
    addition, times = AdditionAsked(get_ingredient(INGREDIENT)), []
    for row in rows:
        volume_l, gravity, abv = readings[row]
        lot = lot_from_readings("lot", LotReadings(volume_l, None, gravity, abv))
        aim = TargetAsked("gravity", target[row], target[row], target[row], "so much")
        begun = thread_time()
        amount_for(aim, LotAsked(lot, volume_l, volume_l), addition, Circumstances())
        times.append(thread_time() - begun)
    return median(times)


def measured(*, quick: bool) -> Iterator[Row]:
    """The lines of this module."""
    np.empty(1 << 21)
    lots, target = drawn(1)
    gravity, abv = np.asarray(lots.gravity), np.asarray(lots.abv_percent)
    sums = [np.array(np.broadcast_to(column, ROWS)) for column in litres_from_readings(gravity, abv).sums()]
    found = amounts_for("gravity", target, lots, INGREDIENT)
    times = in_turn(
        {
            "floor": lambda: density_of_many_g_ml(sums),
            "sweep": lambda: amounts_for("gravity", target, lots, INGREDIENT),
            "lots": lambda: litres_from_readings(gravity, abv),
            "one lot": lambda: amounts_for("gravity", target, LotRows(24.0, 0.998, 8.1), INGREDIENT),
        },
        60 if quick else 300,
    )
    ratio = {name: median(a / b for a, b in zip(spent, times["floor"], strict=True)) for name, spent in times.items()}
    seconds = {name: median(spent) for name, spent in times.items()}
    yield Row("one density of 10,000 drinks", f"{1e6 * seconds['floor']:.0f} µs")
    shown = f"{ratio['sweep']:.1f} densities  ({1e3 * seconds['sweep']:.2f} ms; {found.reached.sum()} reached)"
    yield Row("P8 10,000 amounts for a gravity", shown, ratio["sweep"], EVALUATIONS, GATE, " densities", at_most=True)
    yield Row("   of it the lots from their readings", f"{ratio['lots']:.1f} densities")
    yield Row("   10,000 targets for one lot", f"{ratio['one lot']:.1f} densities")
    error = largest_error(lots, target.tolist(), found, range(0, ROWS, 100 if quick else 5))
    yield Row("P8 largest error of an amount", f"{error:.1e}", error, ERROR, GATE_ERROR, "", at_most=True)
    single = _one_by_one(lots, target.tolist(), range(8 if quick else 40))
    each = seconds["sweep"] / ROWS
    yield Row(
        "   one by one by the planner, a plan each",
        f"{1e3 * single:.1f} ms a question, {single / each:,.0f} × as long  (10,000: {ROWS * single:.0f} s)",
    )


def rows(*, quick: bool) -> list[Row]:
    """All lines of this module."""
    return list(measured(quick=quick))
