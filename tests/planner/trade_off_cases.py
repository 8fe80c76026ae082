"""Trade-offs to look at, and the same questions asked in other ways: one level at a time, and of scipy on paper."""

from __future__ import annotations

import copy
import random
from collections.abc import Mapping, Sequence
from math import inf
from typing import Any, Final

import numpy as np
from scipy.optimize import minimize

from service.api.reading_blend import trade_from
from service.api.requests_blend import TradeOffRequest
from service.planner.materials import Material, materials_of, poured
from service.planner.predict import value_of
from tests.api.real import PATHS, patient, post
from tests.oracle.pour import Lot, Part, Poured, pour
from tests.planner.paper import litres, tartaric_g_per_l

LOT: dict[str, Any] = {
    "name": "dry base",
    "volume": "24 L",
    "gravity": 0.998,
    "abv_percent": 8.1,
    "titratable_acidity": "4.6 g/L tartaric",
    "ph": 3.42,
}
ORANGE: dict[str, Any] = {
    "lots": [LOT],
    "additions": [
        {"ingredient": "orange_juice_concentrate_frozen", "max": "4 kg", "price": {"amount": 6.0, "per": "1 kg"}},
        {
            "ingredient": "lemon_juice_fresh",
            "max": "1.5 L",
            "treatment": "pasteurised",
            "price": {"amount": 4.0, "per": "1 L"},
        },
        {"ingredient": "cherry_tart_juice_concentrate_68", "max": "2 kg", "price": {"amount": 11.0, "per": "1 kg"}},
        {"ingredient": "honey_acacia", "max": "3 kg", "price": {"amount": 9.0, "per": "1 kg"}},
        {"ingredient": "water_deionised", "max": "5 L", "price": {"amount": 0.1, "per": "1 L"}},
    ],
    "targets": {
        "abv_percent": {"min": 6.2, "max": 7.2},
        "titratable_acidity": {"max": "9 g/L tartaric"},
        "volume": {"max": "32 L"},
    },
}
"""The invented demo: how much citrus does sweetness cost? All figures are invented."""

UNITS = {
    "titratable_acidity": " g/L tartaric",
    "volume": " L",
    "added_mass": " g",
    "added_volume": " L",
}
LEAST = ("added_mass", "added_volume", "cost")


def trade(body: Mapping[str, Any], **changed: Any) -> dict[str, Any]:
    """The answer to a trade-off, some fields of whose body are changed."""
    return post(PATHS["trade_off"], {**body, **changed}, client=patient())


def without_acids(body: Mapping[str, Any]) -> dict[str, Any]:
    """The same request without a target on acidity or pH."""
    targets = {k: v for k, v in body["targets"].items() if k not in ("titratable_acidity", "ph", "sugar_acid_ratio")}
    return {**body, "targets": targets}


def written(name: str, value: float) -> float | str:
    """A level as a target is written."""
    return f"{value!r}{UNITS[name]}" if name in UNITS else value


def wish(body: Mapping[str, Any]) -> tuple[str, bool]:
    """The second property of a request, and whether most of it is sought."""
    y = body.get("y", "citrus_percent")
    if isinstance(y, str):
        return y, y not in LEAST
    return (y["maximise"], True) if "maximise" in y else (y["minimise"], False)


class Recount:
    """Any property of the amounts of an answer, to full precision."""

    def __init__(self, body: Mapping[str, Any]) -> None:
        asked = trade_from(TradeOffRequest.model_validate(dict(body)), 2.0)
        self.materials: Sequence[Material] = materials_of(asked.plan.lots, asked.plan.additions)
        self.end_point_ph = asked.plan.circumstances.end_point_ph

    def value(self, name: str, answer: Mapping[str, Any]) -> float:
        """A property of the amounts of a point or a plan."""
        masses = {a["name"]: a["mass_g"] for a in answer["amounts"]}
        in_order = [masses[m.name] for m in self.materials]
        value = value_of(name, self.materials, in_order, poured(self.materials, in_order), self.end_point_ph)
        assert value is not None, name
        return value


def plan_at(body: Mapping[str, Any], level: float, room: float = 2e-8) -> dict[str, Any]:
    """The plan with the first property held at a level and the best of the second, asked as a plan of its own."""
    x = body.get("x", "sucrose_equivalent_g_per_l")
    y, most = wish(body)
    width = room * max(abs(level), 1.0)
    held = {"min": written(x, max(level - width, 0.0)), "max": written(x, level + width)}
    return post(
        PATHS["solve_blend"],
        {
            **{k: v for k, v in body.items() if k not in ("x", "y", "points", "also")},
            "targets": {**ranges(body, (y,)), x: held},
            "prefer": [{"maximise" if most else "minimise": y}],
        },
    )


def end_of(body: Mapping[str, Any], *, most: bool) -> dict[str, Any]:
    """The plan with the least or the most of the first property, and the best of the second there."""
    x = body.get("x", "sucrose_equivalent_g_per_l")
    y, high = wish(body)
    return post(
        PATHS["solve_blend"],
        {
            **{k: v for k, v in body.items() if k not in ("x", "y", "points", "also")},
            "targets": ranges(body, (x, y)),
            "prefer": [{"maximise" if most else "minimise": x}, {"maximise" if high else "minimise": y}],
        },
    )


def ranges(body: Mapping[str, Any], names: Sequence[str]) -> dict[str, Any]:
    """The targets, of which those on some properties have no value to be near (only ranges are used here)."""
    for name in names:
        target = body.get("targets", {}).get(name, {})
        assert isinstance(target, dict)
        assert "value" not in target
    return dict(body.get("targets", {}))


class OnPaper:
    """A request in the words of the paper calculation, for an optimiser that knows nothing of the service.

    What a limit or the level is, is read off the point that is looked at wherever that stands beyond it on paper: the
    two models differ by less than an instrument shows, and only the optimum is compared.
    """

    OF: Final = {
        "gravity": "specific_gravity_20_20",
        "abv_percent": "abv_percent",
        "titratable_acidity": "ta_g_per_l_tartaric",
        "volume": "volume_l",
        "citrus_percent": "citrus_juice_percent",
        "brix": "brix",
    }

    def __init__(self, body: Mapping[str, Any], most_g: Sequence[float]) -> None:
        (lot,) = body["lots"]
        self.body, self.most_g = body, np.array(most_g, dtype=np.float64)
        self.lot = Lot(
            litres(lot["volume"]), lot["gravity"], lot["abv_percent"], tartaric_g_per_l(lot["titratable_acidity"])
        )
        self.names = [a["ingredient"] for a in body["additions"]]

    def poured(self, shares: Any) -> Poured:
        """The blend of some shares of the most of each addition."""
        masses = np.clip(shares, 0.0, 1.0) * self.most_g
        return pour([self.lot], [Part(n, float(m)) for n, m in zip(self.names, masses, strict=True) if m > 0.0])

    def value(self, name: str, shares: Any) -> float:
        """A property on paper."""
        if name == "added_mass":
            return float(np.asarray(shares) @ self.most_g)
        return float(getattr(self.poured(shares), self.OF[name]))

    def better_by(self, point: Mapping[str, Any], starts: int, dice: random.Random) -> float:
        """By how much scipy's SLSQP betters the second property at a point's own level, relative above one."""
        x, (y, most) = self.body["x"], wish(self.body)
        masses = {a["name"]: a["mass_g"] for a in point["amounts"]}
        own = np.array([masses[n] for n in self.names]) / self.most_g
        level, reached = self.value(x, own), self.value(y, own)
        rules: list[dict[str, Any]] = [
            {"type": "eq", "fun": lambda s: (self.value(x, s) - level) / max(abs(level), 1.0)}
        ]
        for name, target in self.body["targets"].items():
            here = self.value(name, own)
            for key, sign in (("min", 1.0), ("max", -1.0)):
                if key in target:
                    bound = float(str(target[key]).split()[0])
                    bound = min(bound, here) if key == "min" else max(bound, here)
                    rules.append(
                        {
                            "type": "ineq",
                            "fun": lambda s, n=name, b=bound, g=sign: g * (self.value(n, s) - b) / max(abs(b), 1.0),
                        }
                    )
        best = -inf
        size = max(abs(reached), 1.0)
        for k in range(starts):
            start = own if k == 0 else np.clip(own + np.array([dice.uniform(-0.3, 0.3) for _ in own]), 0.0, 1.0)
            found = minimize(
                lambda s: (-1.0 if most else 1.0) * self.value(y, s) / size,
                start,
                bounds=[(0.0, 1.0)] * len(own),
                constraints=rules,
                method="SLSQP",
                options={"maxiter": 200, "ftol": 1e-12},
            )
            broken = max(
                [abs(rules[0]["fun"](found.x)), *(-min(float(rule["fun"](found.x)), 0.0) for rule in rules[1:])]
            )
            if found.success and broken < 1e-8:
                gain = self.value(y, found.x) - reached
                best = max(best, (gain if most else -gain) / size)
        return best


_CHOICE = (
    ("honey_acacia", 3.0), ("honey_average", 3.0), ("orange_juice_concentrate_frozen", 4.0), ("lemon_juice_fresh", 1.5),
    ("cherry_tart_juice_concentrate_68", 2.0), ("apple_juice_concentrate_70", 3.0), ("sugar_white", 1.5),
    ("orange_juice_fresh", 6.0), ("lime_juice_fresh", 1.0), ("grape_juice_concentrate_68", 3.0),
    ("water_deionised", 5.0),
)  # fmt: skip


def invented(seed: int, *, acids: bool = True) -> dict[str, Any]:
    """A request with citrus, sweetness and water in it, of other lots, limits and prices."""
    dice = random.Random(seed)
    body = copy.deepcopy(ORANGE)
    strength = round(dice.uniform(6.5, 12.0), 1)
    body["lots"][0] |= {
        "volume": f"{dice.choice([5, 10, 24, 60])} L",
        "gravity": round(dice.uniform(0.995, 1.004), 4),
        "abv_percent": strength,
        "titratable_acidity": f"{dice.uniform(3.5, 6.5):.1f} g/L tartaric",
        "ph": round(dice.uniform(3.2, 3.7), 2),
    }
    base_l = litres(body["lots"][0]["volume"])
    chosen = [("water_deionised", 5.0), *dice.sample(_CHOICE[:-1], dice.randint(2, 6))]
    body["additions"] = [
        {
            "ingredient": name,
            "max": f"{most * base_l / 24.0 * dice.uniform(0.4, 1.5):.3f} kg",
            "price": {"amount": round(dice.uniform(0.2, 12.0), 2), "per": "1 kg"},
            **({"treatment": "pasteurised"} if "juice" in name else {}),
        }
        for name, most in sorted(chosen)
    ]
    body["targets"] = {"abv_percent": {"min": round(0.75 * strength, 2)}, "volume": {"max": f"{1.35 * base_l:.2f} L"}}
    if acids:
        body["targets"]["titratable_acidity"] = {"max": f"{dice.uniform(6.0, 10.0):.1f} g/L tartaric"}
    return body
