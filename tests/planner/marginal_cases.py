"""Random feasible requests, and the same question solved again with one target or limit moved a little."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from math import isclose
from typing import Any
from unittest.mock import patch

from service.planner import solving
from service.planner.asked import AdditionAsked, LotAsked, PlanAsked
from service.planner.materials import Material, materials_of, poured
from service.planner.numbers import scale_is_free
from service.planner.predict import value_of
from service.planner.solving import Answered
from service.solver.goals import GoalResult, Outcome, solve_goals
from service.solver.problem import volume_at
from tests.api.real import forecast
from tests.planner.acidity_cases import read

SWEET = ("honey_acacia", "honey_average", "sugar_white", "apple_juice_concentrate_70")
SOUR = ("lemon_juice_fresh", "orange_juice_concentrate_frozen", "raspberry_juice", "cherry_tart_juice_concentrate_68")
THIN = ("water_deionised", "apple_juice", "orange_juice_fresh")
PURE = ("citric_acid_anhydrous", "potassium_bicarbonate", "tartaric_acid")
_MOST_G_PER_L = {**dict.fromkeys(SWEET, 60.0), **dict.fromkeys(SOUR, 60.0), **dict.fromkeys(THIN, 200.0)}
_PRICE = {**dict.fromkeys(SWEET, 6.0), **dict.fromkeys(SOUR, 4.0), **dict.fromkeys(THIN, 1.0)}

_HALF_WIDTH = {
    "gravity": 0.002,
    "abv_percent": 0.3,
    "titratable_acidity": 0.4,
    "ph": 0.05,
    "volume": 0.5,
    "citrus_percent": 1.0,
    "sugar_g_per_l": 4.0,
}
_UNIT = {"titratable_acidity": " g/L tartaric", "volume": " L"}
_PREFERENCES: tuple[tuple[dict[str, str], ...], ...] = (
    (),
    (),
    ({"minimise": "cost"},),
    ({"minimise": "cost"},),
    ({"maximise": "citrus_percent"},),
    ({"maximise": "citrus_percent"}, {"minimise": "cost"}),
    ({"minimise": "added_mass"},),
    ({"maximise": "juice_percent"},),
    ({"minimise": "sugar_g_per_l"},),
)


def request_of(chance: random.Random) -> dict[str, Any]:
    """A request that some amounts inside its limits meet."""
    lots = []
    for k in range(chance.randint(1, 3)):
        litres = chance.uniform(5.0, 30.0)
        lot: dict[str, Any] = {
            "name": f"lot_{k}",
            "volume": f"{litres:.1f} L",
            "gravity": round(chance.uniform(0.997, 1.02 if k else 1.002), 4),
            "abv_percent": round(chance.uniform(5.0, 12.0), 1),
            "titratable_acidity": f"{chance.uniform(3.5, 7.5):.1f} g/L tartaric",
            "ph": round(chance.uniform(3.15, 3.8), 2),
        }
        if chance.random() < 0.5:
            low = 0.3 * litres if chance.random() < 0.5 else 0.0
            lot["use"] = {"min": f"{low:.2f} L", "max": f"{chance.uniform(0.7, 1.0) * litres:.2f} L"}
        lots.append(lot)
    chosen = [
        chance.choice(SWEET),
        chance.choice(THIN),
        *chance.sample(SWEET + SOUR + THIN + PURE, chance.randint(1, 4)),
    ]
    poured_lots, used = [], 0.0
    for lot in lots:
        limits = lot.get("use", {"min": lot["volume"], "max": lot["volume"]})
        low, high = (float(limits[end].split()[0]) for end in ("min", "max"))
        volume = low if low == high else chance.choice([low, high, chance.uniform(low, high)])
        used += volume
        fixed = {name: value for name, value in lot.items() if name != "use"}
        if volume > 0.0:
            poured_lots.append({**fixed, "use": {"min": f"{volume:.4f} L", "max": f"{volume:.4f} L"}})
    priced = chance.random() < 0.8
    additions, poured = [], []
    for name in dict.fromkeys(chosen):
        most = used * _MOST_G_PER_L.get(name, 1.5) * chance.uniform(0.3, 1.0)
        mass = most * chance.choice([0.0, 0.0, 0.3, 0.6, 1.0, 1.0])
        addition: dict[str, Any] = {"ingredient": name}
        if chance.random() < 0.75:
            addition["max"] = f"{max(mass, 0.2 * most):.4f} g"
        if mass > 0.0 and chance.random() < 0.3:
            addition["min"] = f"{mass * chance.choice([0.5, 1.0]):.4f} g"
        if priced:
            price = _PRICE.get(name, 12.0) * chance.uniform(0.7, 1.4)
            addition["price"] = {"amount": round(price, 2), "per": "1 kg"}
        additions.append(addition)
        poured.append({"ingredient": name, "amount": f"{mass:.6f} g"})
    told = forecast({"recipes": [{"name": "known", "lots": poured_lots, "additions": poured}]}) if poured_lots else None
    if told is None:
        return request_of(chance)
    predicted = told["recipes"][0]["predicted"]
    names = chance.sample(sorted(_HALF_WIDTH), chance.randint(1, 4))
    if "ph" in names and predicted["ph"] is None:
        return request_of(chance)
    request: dict[str, Any] = {
        "lots": lots,
        "additions": additions,
        "targets": {name: _target(name, predicted[name]["value"], chance) for name in names},
        "currency": "EUR",
    }
    prefer = chance.choice(_PREFERENCES)
    if not priced and {"minimise": "cost"} in prefer:
        prefer = ()
    if any(limits.get("use", {}).get("min", "x").startswith("0.0") for limits in lots) or "volume" not in names:
        request["targets"].setdefault("volume", _target("volume", predicted["volume"]["value"], chance))
    if prefer:
        request["prefer"] = list(prefer)
    return request


def _target(name: str, value: float, chance: random.Random) -> Any:
    half, unit = _HALF_WIDTH[name], _UNIT.get(name, "")

    def words(number: float) -> Any:
        number = max(number, 0.0)
        return f"{number:.5f}{unit}" if unit else round(number, 5)

    low, high = value - half * chance.random(), value + half * chance.random()
    form = chance.choice(["exact", "range", "range", "least", "most", "near", "near missed"])
    if form == "exact":
        return words(value)
    if form == "range":
        return {"min": words(low), "max": words(high)}
    if form == "least":
        return {"min": words(low)}
    if form == "most":
        return {"max": words(high)}
    if form == "near":
        return {"value": words(value), "tolerance": words(half)}
    return {"value": words(value + 0.8 * half), "tolerance": words(1.6 * half)}


def _without_proof(*args: Any, **more: Any) -> GoalResult:
    return solve_goals(*args, **{**more, "prove": False})


@dataclass(frozen=True)
class Case:
    """A question and its answer, before anything is moved."""

    asked: PlanAsked
    materials: tuple[Material, ...]
    answered: Answered

    @classmethod
    def of(cls, request: dict[str, Any]) -> Case | None:
        """The case of a request; None where its targets are not met."""
        asked, materials = read(request)
        answered = solving.answer(asked, materials)
        met = answered.result.outcome is Outcome.MET and answered.result.solution.found
        return cls(asked, materials, answered) if met else None

    @property
    def masses_g(self) -> list[float]:
        return self.answered.numbers.masses_g(self.answered.result.x)

    def aims(self) -> list[float]:
        """What was made least or most, in its order: distances from values, preferences, what is added."""
        problem, numbers = self.answered.result.problem, self.answered.numbers
        distances = problem.aims[: len(problem.aims) - len(numbers.problem.aims)]
        x = self.answered.result.solution.x
        volume = volume_at(problem, x)
        names = [*(p.name for p in self.asked.prefer), "added_mass"]
        if scale_is_free(self.materials, self.asked.targets):
            names.insert(-1, "volume")
        contents = poured(self.materials, self.masses_g)
        values = [value_of(name, self.materials, self.masses_g, contents) for name in names]
        return [*(aim.at(x, volume) for aim in distances), *(0.0 if v is None else v for v in values)]

    def moved(self, of: str, delta: float) -> Case | None:
        """The case solved again with one target or limit moved; None where that cannot be met."""
        asked = self._asked(of, delta)
        materials = materials_of(asked.lots, asked.additions)
        with patch.object(solving, "solve_goals", _without_proof):  # a proof moves no amount
            answered = solving.answer(asked, materials)
        met = answered.result.outcome is Outcome.MET and answered.result.solution.found
        return Case(asked, materials, answered) if met else None

    def _asked(self, of: str, delta: float) -> PlanAsked:
        kind, _, name = of.partition(" of ")
        if not name:
            targets = [
                replace(t, low=t.low + delta, high=t.high + delta, value=None if t.value is None else t.value + delta)
                if t.name == of
                else t
                for t in self.asked.targets
            ]
            return replace(self.asked, targets=tuple(targets))
        at = next(i for i, m in enumerate(self.materials) if m.name == name)
        material, mass = self.materials[at], self.masses_g[at]
        source = material.source
        if isinstance(source, LotAsked):
            assert material.density_g_ml is not None
            litres = mass / material.density_g_ml / 1000.0
            top = isclose(litres, source.most_l, rel_tol=1e-9)
            lot = (
                replace(source, most_l=source.most_l + delta)
                if top
                else replace(source, least_l=source.least_l + delta)
            )
            return replace(self.asked, lots=tuple(lot if s is source else s for s in self.asked.lots))
        assert isinstance(source, AdditionAsked)
        addition = (
            replace(source, least_g=source.least_g + delta)
            if kind == "least"
            else replace(source, most_g=(source.most_g or 0.0) + delta)
        )
        return replace(self.asked, additions=tuple(addition if s is source else s for s in self.asked.additions))

    def at_bound(self, within: float) -> list[tuple[str, float]]:
        """Every target at its value or at an end of its range, and its size; every limit that is reached.

        A value that is missed, by however little, is not one that binds: `within` is a share of the value.
        """
        found = []
        contents = poured(self.materials, self.masses_g)
        for target in self.asked.targets:
            value = value_of(target.name, self.materials, self.masses_g, contents)
            assert value is not None
            ends = (target.low, target.high) if target.value is None else (target.low, target.value, target.high)
            if any(isclose(value, end, rel_tol=within, abs_tol=within) for end in ends):
                found.append((target.name, abs(value) or 1.0))
        return [*found, *self.limits()]

    def limits(self) -> list[tuple[str, float]]:
        """Every limit that an amount has reached, and its size [L for a lot, g else]; given amounts are none."""
        found = []
        for material, mass in zip(self.materials, self.masses_g, strict=True):
            if material.fixed or material.whole_g:
                continue
            per = 1000.0 * (material.density_g_ml or 1.0) if material.kind == "lot" else 1.0
            if material.most_g and isclose(mass, material.most_g, rel_tol=1e-9):
                found.append((f"{'use' if material.kind == 'lot' else 'stock'} of {material.name}", mass / per))
            elif material.least_g and isclose(mass, material.least_g, rel_tol=1e-9):
                found.append((f"{'use' if material.kind == 'lot' else 'least'} of {material.name}", mass / per))
        return found


def slopes(case: Case, of: str, start: float, end: float) -> tuple[list[float], list[float] | None] | None:
    """Change of every mass [g] and of every aim for a unit of a target or limit, between two moves of it.

    None where there is no plan at one of them; no aims where values that were held are not, or the other way round.
    """
    first = case.moved(of, start) if start else case
    last = case.moved(of, end)
    if first is None or last is None:
        return None
    masses = [(b - a) / (end - start) for a, b in zip(first.masses_g, last.masses_g, strict=True)]
    if not len(case.aims()) == len(first.aims()) == len(last.aims()):
        return masses, None
    return masses, [(b - a) / (end - start) for a, b in zip(first.aims(), last.aims(), strict=True)]
