"""Figures drawn at random for requests, and how they are asked: shared by the checks of the whole job on paper."""

from __future__ import annotations

from typing import Any

import numpy as np

from tests.api.real import PATHS, patient, post
from tests.oracle.pour import Part, load_compositions
from tests.oracle.whole_job import (
    Losses,
)

HONEYS = [row.name for row in load_compositions().values() if row.category == "honey"]
JUICES = ["orange_juice_fresh", "apple_juice_bottled", "cherry_tart_juice", "pear_juice", "grape_juice_concentrate_68"]
SWEET = ["honey_acacia", "honey_average", "apple_juice_concentrate_70", "sugar_white"]
KINDS = ["still_bottle", "beer_bottle", "sparkling_bottle", "swing_top", "can", "plastic_bottle"]
FILLS_ML = [250, 330, 355, 500, 750, 1000]


class Draw:
    """Random figures as a request writes them: rounded, so that both sides take the same number."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)

    def number(self, low: float, high: float, digits: int = 3) -> float:
        return round(float(self.rng.uniform(low, high)), digits)

    def one_of(self, choices: list[Any]) -> Any:
        return choices[int(self.rng.integers(len(choices)))]

    def chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)


def ask(operation_id: str, request: dict[str, Any]) -> dict[str, Any]:
    return post(PATHS[operation_id], request, client=patient())


def parts_of(amounts: list[dict[str, Any]], honey: str | None = None, moisture: float | None = None) -> list[Part]:
    return [
        Part(a["name"], a["mass_g"], moisture_percent=moisture if a["name"] == honey else None)
        for a in amounts
        if a["kind"] == "addition"
    ]


def losses_drawn(draw: Draw, of_the_base: bool = False) -> tuple[Losses, dict[str, str]]:
    """Losses and how a request tells them; lees belong to a base that is still looked for."""
    lees, racking, settling = draw.number(0.5, 6, 1), draw.number(0.5, 2, 1), draw.number(1, 20, 1)
    dead, samples = draw.number(0.05, 0.5, 2), draw.number(50, 300, 0)
    told = {
        "racking": f"{racking} %", "settling": f"{settling} %", "dead_volume": f"{dead} L", "samples": f"{samples} mL",
    }  # fmt: skip
    if of_the_base:
        told["lees"] = f"{lees} %"
    return Losses(lees / 100 if of_the_base else 0.0, racking / 100, settling / 100, dead, samples / 1000), told
