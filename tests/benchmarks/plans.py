"""Seeded requests for plans: what a maker asks, no two alike, so that nothing can be answered from what is kept."""

from __future__ import annotations

import random
from typing import Any

_SWEET = ("honey_acacia", "honey_average", "orange_juice_concentrate_frozen", "sugar_white")
_SHARP = ("lemon_juice_fresh", "lime_juice_fresh", "grapefruit_juice_fresh")


def bodies(count: int, seed: int = 8) -> list[dict[str, Any]]:
    """So many requests: a dry lot of some size, a sweet and a sharp addition and water, gravity, strength, acidity."""
    drawn = random.Random(seed)
    found = []
    for _ in range(count):
        found.append(
            {
                "lots": [
                    {
                        "name": "dry base",
                        "volume": f"{drawn.uniform(8.0, 40.0):.2f} L",
                        "gravity": round(drawn.uniform(0.996, 1.001), 4),
                        "abv_percent": round(drawn.uniform(7.0, 9.0), 2),
                        "titratable_acidity": f"{drawn.uniform(3.5, 5.0):.2f} g/L tartaric",
                    }
                ],
                "additions": [
                    {"ingredient": drawn.choice(_SWEET), "max": "8 kg"},
                    {"ingredient": drawn.choice(_SHARP), "max": "6 L", "treatment": "pasteurised"},
                    {"ingredient": "water_deionised", "max": "10 L"},
                ],
                "targets": {
                    "gravity": round(drawn.uniform(1.008, 1.018), 4),
                    "abv_percent": {"min": 5.5, "max": 7.5},
                    "titratable_acidity": {"min": "4 g/L tartaric", "max": "8 g/L tartaric"},
                },
            }
        )
    return found
