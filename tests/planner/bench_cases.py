"""Glasses for the tests of bench trials, written as requests."""

from __future__ import annotations

import copy
from typing import Any

from service.api.reading_bench import bench_from
from service.api.requests_bench import BenchTrialRequest
from service.planner.bench_trial.answers import BatchDose, BenchTrial, Beside
from service.planner.bench_trial.plan import scale_bench_trial

LOT: dict[str, Any] = {
    "name": "base",
    "volume": "25 L",
    "gravity": 0.998,
    "abv_percent": 6.5,
    "titratable_acidity": "4.6 g/L tartaric",
    "ph": 3.4,
    "residual_sugar": "2 g/L",
    "degassed": True,
}
SYRUP: dict[str, Any] = {
    "name": "syrup",
    "solution": {"ingredient": "honey_average", "by_mass": "1:1"},
    "amount": "10 mL",
}
ACID: dict[str, Any] = {
    "name": "acid",
    "solution": {"ingredient": "citric_acid", "percent_w_v": 10},
    "amount": "1 mL",
}
LEMON: dict[str, Any] = {"name": "lemon", "ingredient": "lemon_juice_fresh", "amount": {"drops": 12}}
YELLOW: dict[str, Any] = {
    "name": "yellow",
    "dye": {"name": "tartrazine", "percent_w_v": 1},
    "amount": {"drops": 4, "drops_per_ml": 20},
}
BLUE: dict[str, Any] = {
    "name": "blue",
    "dye": {"name": "brilliant_blue_fcf", "percent_w_v": 0.1},
    "amount": {"drops": 10, "drops_per_ml": 20},
}
DROPS: dict[str, Any] = {"name": "green", "dye": {"name": "green drops"}, "amount": {"drops": 4}}


def body(*stocks: dict[str, Any], base: str = "100 mL", lot: dict[str, Any] = LOT, **more: Any) -> dict[str, Any]:
    """A request: a glass of the batch with these stocks; `glass` among `more` adds to the glass."""
    glass = {"base": base, "stocks": list(stocks), **more.pop("glass", {})}
    return copy.deepcopy({"lot": lot, "glass": glass, **more})


def trial(*stocks: dict[str, Any], **more: Any) -> BenchTrial:
    """Its answer."""
    return scale_bench_trial(bench_from(BenchTrialRequest.model_validate(body(*stocks, **more)), 5.0))


def masses(dose: BatchDose) -> dict[str, float]:
    """Grams by name."""
    return {a.name: a.mass_g for a in dose.amounts}


def line(answer: BenchTrial, name: str) -> Beside:
    """One property of glass and batch."""
    return next(b for b in answer.differences if b.property == name)
