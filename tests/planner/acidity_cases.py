"""Random blends around known ones, and scipy's SLSQP on the true, curved pH as the optimiser's rival."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import minimize

from service.api.reading_blend import plan_from
from service.api.requests_blend import BlendPlanRequest
from service.model.acidity import chemistry_of
from service.planner.asked import PlanAsked
from service.planner.materials import Material, materials_of, poured
from service.planner.predict import value_of
from tests.api.real import forecast


def read(request: dict[str, Any]) -> tuple[PlanAsked, tuple[Material, ...]]:
    """A request as the planner takes it, and its materials."""
    asked = plan_from(BlendPlanRequest.model_validate(request), 10.0)
    return asked, materials_of(asked.lots, asked.additions)


@dataclass(frozen=True)
class Rival:
    """The same question for SLSQP: shares of a scale for each free material, true properties, central differences."""

    asked: PlanAsked
    materials: Sequence[Material]
    scale_g: np.ndarray
    free: Sequence[int]
    names: Sequence[str]

    @classmethod
    def of(cls, request: dict[str, Any]) -> Rival:
        asked, materials = read(request)
        free = [i for i, m in enumerate(materials) if not m.fixed]
        scale = np.array([materials[i].most_g for i in free], dtype=np.float64)
        names = [t.name for t in asked.targets]
        return cls(asked, materials, scale, free, [*names, *(p.name for p in asked.prefer if p.name not in names)])

    def values(self, x: np.ndarray) -> np.ndarray:
        """Every property named, in hundredths of a unit of pH, gravity … so that all slopes are of order one."""
        masses = [m.least_g for m in self.materials]
        for share, at, scale in zip(x, self.free, self.scale_g, strict=True):
            masses[at] = float(share * scale)
        contents = poured(self.materials, masses)
        # the rival may look at drinks with more carbonate than acid, of which the service tells no pH
        found = [
            chemistry_of(contents).ph if name == "ph" else value_of(name, self.materials, masses, contents)
            for name in self.names
        ]
        assert all(value is not None for value in found)
        return np.array(found, dtype=np.float64)

    def slopes(self, x: np.ndarray) -> np.ndarray:
        """Jacobian by central differences."""
        step = 1e-5
        columns = []
        for j in range(len(x)):
            there, back = x.copy(), x.copy()
            there[j] += step
            back[j] = max(back[j] - step, 0.0)
            columns.append((self.values(there) - self.values(back)) / (there[j] - back[j]))
        return np.array(columns).T

    def best(self, chance: random.Random, starts: int) -> float | None:
        """The best value of the first preference that SLSQP finds from several starts, inside all ranges."""
        preference = self.asked.prefer[0]
        at = self.names.index(preference.name)
        sign = -1.0 if preference.maximise else 1.0
        rows = [
            (k, s, bound)
            for k, t in enumerate(self.asked.targets)
            for s, bound in ((1.0, t.low), (-1.0, t.high))
            if abs(bound) < 1e6
        ]
        weight = np.array([{"gravity": 100.0, "volume": 0.1}.get(self.names[k], 1.0) for k, _, _ in rows])
        which, side = [k for k, _, _ in rows], np.array([s for _, s, _ in rows])
        bounds = np.array([b for _, _, b in rows])
        memory: dict[bytes, tuple[np.ndarray, np.ndarray]] = {}

        def both(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            key = x.tobytes()
            if key not in memory:
                memory[key] = self.values(x), self.slopes(x)
            return memory[key]

        def room(x: np.ndarray) -> np.ndarray:
            return np.asarray(weight * side * (both(x)[0][which] - bounds))

        size = abs(both(np.full(len(self.free), 0.5))[0][at]) or 1.0
        low = np.array([self.materials[i].least_g for i in self.free]) / self.scale_g
        best = None
        for _ in range(starts):
            found = minimize(
                lambda x: sign * both(x)[0][at] / size,
                low + (1.0 - low) * np.array([chance.random() for _ in self.free]),
                jac=lambda x: sign * both(x)[1][at] / size,
                bounds=[(float(b), 1.0) for b in low],
                constraints={
                    "type": "ineq",
                    "fun": room,
                    "jac": lambda x: (weight * side)[:, None] * both(x)[1][which],
                },
                method="SLSQP",
                options={"ftol": 1e-11, "maxiter": 80},
            )
            if room(found.x).min() < -1e-7:
                continue
            value = float(both(found.x)[0][at])
            if best is None or sign * value < sign * best:
                best = value
        return best


SWEET = ("honey_acacia", "honey_average", "sugar_white", "apple_juice_concentrate_70")
SOUR = ("lemon_juice_fresh", "orange_juice_concentrate_frozen", "raspberry_juice", "cherry_tart_juice_concentrate_68")
THIN = ("water_deionised", "water_tap", "orange_juice_fresh")
PURE = ("citric_acid_anhydrous", "potassium_bicarbonate", "tartaric_acid", "calcium_carbonate")
_MOST_G_PER_L = {**dict.fromkeys(SWEET, 70.0), **dict.fromkeys(SOUR, 60.0), **dict.fromkeys(THIN, 200.0)}


def known_blend(chance: random.Random) -> tuple[dict[str, Any], dict[str, Any]]:
    """A request without targets, and the prediction of some amounts inside its limits."""
    lots = [
        {
            "name": f"lot {i}",
            "class": chance.choice(["mead", "grape_wine", "cider_perry", "fruit_wine"]),
            "volume": f"{chance.uniform(4.0, 25.0):.1f} L",
            "gravity": round(chance.uniform(0.997, 1.003), 4),
            "abv_percent": round(chance.uniform(6.0, 12.0), 1),
            "titratable_acidity": f"{chance.uniform(3.5, 7.5):.1f} g/L tartaric",
            "ph": round(chance.uniform(3.15, 3.8), 2),
        }
        for i in range(chance.randint(1, 2))
    ]
    litres = sum(float(str(lot["volume"]).split()[0]) for lot in lots)
    names = [chance.choice(SWEET), chance.choice(SOUR), chance.choice(THIN), *chance.sample(PURE, 1)]
    poured_in, limits = [], []
    for name in names:
        most = _MOST_G_PER_L.get(name, 1.5)
        mass = litres * chance.uniform(0.1, 1.0) * most
        poured_in.append({"ingredient": name, "amount": f"{mass:.2f} g"})
        limits.append({"ingredient": name, "max": f"{mass * chance.uniform(1.05, 2.5):.2f} g"})
    told = forecast({"recipes": [{"name": "known", "lots": lots, "additions": poured_in}]})
    return {"lots": lots, "additions": limits}, told["recipes"][0]["predicted"]


def around(known: dict[str, Any], chance: random.Random, width: float = 1.0) -> dict[str, Any]:
    """Small ranges that hold a prediction."""

    def ends(name: str, half: float, unit: str = "") -> dict[str, Any]:
        share, value = chance.random(), known[name]["value"]
        low, high = value - width * half * share - 1e-3 * half, value + width * half * (1.0 - share) + 1e-3 * half
        return {"min": f"{low:.6f}{unit}" if unit else low, "max": f"{high:.6f}{unit}" if unit else high}

    return {
        "ph": ends("ph", 0.03),
        "titratable_acidity": ends("titratable_acidity", 0.2, " g/L tartaric"),
        "gravity": ends("gravity", 0.001),
        "abv_percent": ends("abv_percent", 0.2),
    }


def rounded_outwards(targets: dict[str, Any], known: dict[str, Any]) -> dict[str, Any]:
    """The ranges, wide enough for what a prediction loses when it is shown."""
    lost = {"ph": 6e-4, "titratable_acidity": 6e-4, "gravity": 6e-6, "abv_percent": 6e-4}
    for name, by in lost.items():
        unit = " g/L tartaric" if name == "titratable_acidity" else ""
        for end, sign in (("min", -1.0), ("max", 1.0)):
            value = float(str(targets[name][end]).split()[0])
            outside = known[name]["value"] + sign * by
            value = min(value, outside) if sign < 0.0 else max(value, outside)
            targets[name][end] = f"{value:.6f}{unit}" if unit else value
    return targets
