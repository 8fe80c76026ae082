"""A first addition that will hardly be too much: its chances by first order and by simulation, and what has to hold."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import inf
from typing import Any

import pytest

from service.planner.answers_blend import BlendPlan, FirstAddition
from service.planner.asked import AdditionAsked, PlanAsked
from service.planner.blend_plan import solve_blend
from service.planner.draws import drawn_properties
from service.planner.intervals import spreads_of
from service.planner.materials import Material, materials_of
from tests.planner.interval_cases import confident_request, plan_of, values_of


@dataclass(frozen=True)
class Held:
    """A plan, its first addition, and the masses of both."""

    asked: PlanAsked
    materials: tuple[Material, ...]
    plan: BlendPlan
    first: FirstAddition

    @property
    def masses_g(self) -> list[float]:
        now = {a.name: a.mass_g for a in self.first.amounts}
        return [now[m.name] for m in self.materials]

    @property
    def lots_g(self) -> list[float]:
        return [g if m.kind == "lot" else 0.0 for m, g in zip(self.materials, self.masses_g, strict=True)]

    def chances(self, masses_g: list[float]) -> dict[tuple[str, str], float]:
        """Chance of being beyond each end that is told, by first order."""
        spreads = spreads_of(self.materials, masses_g, self.asked.circumstances)
        values = values_of((self.materials, masses_g, self.asked.circumstances))
        found: dict[tuple[str, str], float] = {}
        for told in self.first.overshoot:
            end = told.property, told.end
            if told.property not in values:
                found[end] = 0.0
                continue
            target = next(t for t in self.asked.targets if t.name == told.property)
            above = told.end == "upper"
            below = spreads.interval(told.property, values[told.property]).chance_below(
                target.high if above else target.low
            )
            found[end] = 1.0 - below if above else below
        return found


def _body(seed: int, chance: float, **more: Any) -> dict[str, Any]:
    body = confident_request(seed, hold_back=chance, **more)
    for target in body["targets"].values():
        del target["confidence"]
    return body


@cache
def held(seed: int, chance: float = 0.05) -> Held:
    return _held(_body(seed, chance))


def _held(body: dict[str, Any]) -> Held:
    asked = plan_of(body)
    plan = solve_blend(asked)
    assert plan.first_addition is not None
    return Held(asked, materials_of(asked.lots, asked.additions), plan, plan.first_addition)


LONG = [pytest.param(range(20), id="20"), pytest.param(range(20, 150), id="130", marks=pytest.mark.slow)]


@pytest.mark.parametrize("seeds", LONG)
def test_overshooting_is_as_rare_as_asked(seeds: range) -> None:
    """Each chance is at most its equal part, and all together at most what was asked, but for what the lots alone
    overshoot: that may become likelier by a tenth of the part."""
    some_held = 0
    for seed in seeds:
        here = held(seed)
        if not here.first.overshoot:
            continue
        some_held += bool(here.first.held_back)
        part = 0.05 / len(here.first.overshoot)
        before, after = here.chances(here.lots_g), here.chances(here.masses_g)
        for told in here.first.overshoot:
            end = told.property, told.end
            assert told.chance_before == pytest.approx(before[end], abs=2e-4), (seed, told)
            assert told.chance == pytest.approx(after[end], abs=2e-4), (seed, told)
            most = part if before[end] <= part else before[end] + 0.1 * part
            assert told.chance <= most + 2e-4, (seed, told)
        counted = [o.chance for o in here.first.overshoot if before[o.property, o.end] <= part]
        assert sum(counted) <= 0.05 + 1e-3
    assert some_held >= 0.3 * len(seeds)


@pytest.mark.parametrize("seeds", LONG)
def test_overshooting_is_as_rare_by_simulation(seeds: range) -> None:
    """50,000 first additions: the chance as told, within 0.01 for simulation and the first order, 0.02 for an acidity,
    whose acids cannot be less than none (chestnut honey, nearly neutral, is the worst); pH is simulated with another
    law where it was not read, and left out."""
    for seed in seeds:
        here = held(seed)
        names = list(dict.fromkeys(o.property for o in here.first.overshoot if o.property != "ph"))
        spreads = spreads_of(here.materials, here.masses_g, here.asked.circumstances)
        drawn = drawn_properties(spreads, names, 50_000, seed)
        for told in here.first.overshoot:
            if told.property == "ph":
                continue
            target = next(t for t in here.asked.targets if t.name == told.property)
            values = drawn[told.property]
            beyond = values > target.high if told.end == "upper" else values < target.low
            share = float(beyond.mean())
            within = 0.02 if told.property == "titratable_acidity" else 0.01
            assert share == pytest.approx(told.chance, abs=within), (seed, told.property)


@pytest.mark.parametrize("rounding", ["none", "scale", "kitchen"])
def test_no_more_than_the_plan_in_steps_of_the_scale(rounding: str) -> None:
    for seed in range(10):
        here = _held(_body(seed, 0.05, rounding=rounding))
        planned = {a.name: a.mass_g for a in here.plan.amounts}
        kept = {a.name: a.mass_g for a in here.first.held_back}
        for amount in here.first.amounts:
            assert amount.mass_g <= planned[amount.name] + 1e-3
            rest = planned[amount.name] - amount.mass_g
            assert kept.get(amount.name, 0.0) == pytest.approx(rest, rel=1e-3, abs=2e-3), (seed, amount.name)
            if amount.kind == "lot":
                assert rest == pytest.approx(0.0, abs=1e-3)
            elif rest > 1e-3:
                assert amount.mass_g == pytest.approx(round(amount.mass_g), abs=1e-3)  # a scale of 1 g


def test_a_smaller_chance_never_adds_more_in_all() -> None:
    """Of one addition less is added; of several, less of what brings the risk (each is filled up by itself)."""
    for seed in range(10):
        before = inf
        for chance in (0.3, 0.1, 0.05, 0.01, 0.001):
            here = held(seed, chance)
            most = max((o.chance for o in here.first.overshoot if o.chance_at_once > chance), default=0.0)
            assert most <= before + 1e-3, (seed, chance)
            before = max(most, chance)
    lot = {"name": "base", "volume": "10 L", "gravity": 0.998, "abv_percent": 8.0}
    sizes = []
    for chance in (0.5, 0.3, 0.1, 0.05, 0.01, 0.001):
        body = {"lots": [lot], "additions": [{"ingredient": "honey_acacia", "max": "2 kg"}], "hold_back": chance}
        here = _held({**body, "targets": {"gravity": {"min": 1.0119, "max": 1.0121}}})
        sizes.append(next(a.mass_g for a in here.first.amounts if a.kind == "addition"))
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[-1] < 0.8 * sizes[0]


def test_packs_are_opened_whole() -> None:
    body: dict[str, Any] = {
        "lots": [{"name": "base", "volume": "20 L", "gravity": 0.998, "abv_percent": 8.0}],
        "additions": [
            {"ingredient": "honey_acacia", "pack": "500 g", "max_packs": 6},
            {"ingredient": "apple_juice_concentrate_70", "max": "1 kg"},
        ],
        "targets": {"gravity": {"min": 1.0195, "max": 1.0215}},
        "hold_back": 0.02,
    }
    here = _held(body)
    for material, mass in zip(here.materials, here.masses_g, strict=True):
        if isinstance(material.source, AdditionAsked) and material.whole_g:
            assert mass / 500.0 == pytest.approx(round(mass / 500.0), abs=1e-6)
    assert here.first.held_back


def test_nothing_to_hold_back() -> None:
    """Ranges without an end in the direction of the additions, and one so wide that no reading could be so wrong."""
    lot = {"name": "base", "volume": "10 L", "gravity": 0.998, "abv_percent": 8.0}
    body: dict[str, Any] = {
        "lots": [lot],
        "additions": [{"ingredient": "honey_acacia", "max": "2 kg"}],
        "targets": {"gravity": {"min": 1.01}},
        "hold_back": 0.05,
    }
    here = _held(body)
    assert (here.first.overshoot, here.first.held_back) == ((), ())
    assert "nothing has to be held back" in here.first.text
    wide = _held({**body, "targets": {"gravity": {"min": 1.01, "max": 1.04}}})
    assert wide.first.held_back == ()
    assert [round(o.chance, 6) for o in wide.first.overshoot] == [0.0]
    assert "may be added at once" in wide.first.text
    assert wide.masses_g == pytest.approx([a.mass_g for a in wide.plan.amounts])


def test_what_the_lots_alone_overshoot_hardly_becomes_likelier() -> None:
    """A base whose acidity was not read may be too sour as it is: lemon juice is then held back, and the text says
    that no first addition mends that; it never claims the chance that was asked for."""
    body: dict[str, Any] = {
        "lots": [{"name": "base", "class": "mead", "volume": "10 L", "gravity": 0.998, "abv_percent": 8.0}],
        "additions": [{"ingredient": "lemon_juice_fresh", "max": "2 kg"}],
        "targets": {"titratable_acidity": {"min": "4.6 g/L tartaric", "max": "4.8 g/L tartaric"}},
        "hold_back": 0.05,
    }
    here = _held(body)
    (told,) = here.first.overshoot
    before = here.chances(here.lots_g)["titratable_acidity", "upper"]
    assert before > 0.05
    assert told.chance <= before + 0.005 + 2e-4
    assert told.chance_at_once > 0.4
    assert "The acidity may be beyond its upper end before anything is added" in here.first.text
    assert "at most 5 %" not in here.first.text


def test_a_juice_from_the_table_is_held_back_more() -> None:
    """Lemon juice by the table varies by a tenth in acidity, one that was titrated by 2 %."""
    lot = {
        "name": "base", "volume": "20 L ± 0.1 L", "gravity": 0.998, "abv_percent": 8.0,
        "titratable_acidity": "4 g/L tartaric", "ph": 3.5,
    }  # fmt: skip
    shares = []
    for measured in (None, {"titratable_acidity": "47.5 g/L citric", "ph": 2.3}):
        lemon = {"ingredient": "lemon_juice_fresh", "max": "3 kg"} | ({"measured": measured} if measured else {})
        here = _held(
            {
                "lots": [lot],
                "additions": [lemon],
                "targets": {"titratable_acidity": {"min": "6.9 g/L tartaric", "max": "7.1 g/L tartaric"}},
                "hold_back": 0.05,
            }
        )
        planned = {a.name: a.mass_g for a in here.plan.amounts}
        now = {a.name: a.mass_g for a in here.first.amounts}
        shares.append(now["lemon_juice_fresh"] / planned["lemon_juice_fresh"])
    assert shares[0] < shares[1] - 0.02
    assert 0.5 < shares[0] < 1.0


def test_what_is_told_is_predicted_of_the_first_addition() -> None:
    for seed in range(6):
        here = held(seed)
        values = values_of((here.materials, here.masses_g, here.asked.circumstances))
        assert here.first.predicted.gravity.value == pytest.approx(values["gravity"], abs=6e-6)
        assert here.first.predicted.volume.value == pytest.approx(values["volume"], rel=1e-3)
        assert here.first.overshoot_at_most == 0.05
        at_once = here.chances([a.mass_g for a in here.plan.amounts])
        for told in here.first.overshoot:
            assert told.chance_at_once == pytest.approx(at_once[told.property, told.end], abs=1e-3)
