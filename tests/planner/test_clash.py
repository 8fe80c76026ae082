"""Why targets clash, checked by asking again: with one thing given up, moved as far as is told, or added."""

from __future__ import annotations

import json
import random
import re
import statistics
from collections.abc import Iterator
from functools import partial
from math import inf
from time import perf_counter, process_time
from typing import Any

import numpy as np
import pytest

import service.planner.blend_plan as blend_plan
from service.catalogue.lookup import find_ingredients, get_ingredient
from service.model.properties import PROPERTIES
from service.planner.clash import explain_clash
from service.planner.plain_words import plain_names
from service.planner.steps import OURS
from tests.api.real import plan, reports
from tests.planner.acidity_cases import Rival, read
from tests.planner.clash_cases import (
    Body,
    all_limits,
    alone,
    random_request,
    with_help,
    with_mass,
    with_target,
    without,
)

CLASHES = {"targets_clash", "nearest_measurable"}
CAREFUL = {"spirit": "spirit", "salt": "carbonates", "juice": "raw_juice"}
BASE = {
    "name": "dry base",
    "volume": "24 L",
    "gravity": 0.998,
    "abv_percent": 8.1,
    "titratable_acidity": "4.6 g/L tartaric",
    "ph": 3.42,
}


def outcome(body: Body) -> str:
    """The outcome of a request, without an explanation of it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(blend_plan, "explain_clash", lambda *_, **__: None)
        return str(plan(body)["outcome"])


def clashing(seed: int, how_many: int) -> Iterator[tuple[Body, dict[str, Any]]]:
    """Random requests that clash, and their answers."""
    chance, found = random.Random(seed), 0
    while found < how_many:
        body = random_request(chance)
        answer = plan(body)
        explained = answer["clash"] is not None
        packs = any("pack" in a for a in body["additions"])
        assert explained or answer["outcome"] not in CLASHES
        assert not explained or answer["outcome"] == "targets_clash" or packs
        if explained:
            found += 1
            yield body, answer


class Examined:
    """One answer and what its words promise. The proofs of pH are not exact: beside them nothing may be found."""

    def __init__(self, body: Body, answer: dict[str, Any]) -> None:
        self.body, self.answer, self.clash = body, answer, answer["clash"]
        self.members: list[str] = self.clash["conflict"]
        asked, materials = read(body)
        self.targets = {t.name: t for t in asked.targets}
        self.materials = {m.name: m for m in materials}
        self.ph = "ph" in self.targets
        self.acids = self.ph or "titratable_acidity" in self.targets
        self.where = json.dumps([body, self.clash], ensure_ascii=False)

    def stays_a_clash(self, body: Body) -> bool:
        found = outcome(body)
        return found in CLASHES or (self.acids and found == "no_plan_found")

    def check_conflict(self) -> None:
        """The members alone clash, and none of them is there for nothing."""
        if not self.members:
            assert self.acids, self.where
            return
        found = outcome(alone(self.body, self.members))
        assert found in CLASHES or (self.ph and found == "no_plan_found"), self.where
        for member in self.members:
            found = outcome(alone(self.body, [m for m in self.members if m != member]))
            assert found == "targets_met" or self.acids, (member, self.where)

    def check_relaxed(self) -> None:
        """What is told is enough, and a hundredth less is not; what is not told would not do."""
        relaxed = {r["member"]: r for r in self.clash["relax"]}
        assert set(relaxed) <= set(self.members) or not self.members
        for member in self.members:
            if member not in relaxed:
                assert outcome(without(self.body, [member])) != "targets_met" or self.acids, (member, self.where)
        for member, told in relaxed.items():
            assert told["proved"] or self.acids, (member, self.where)
            if member.startswith("packs of"):
                assert outcome(without(self.body, [member])) == "targets_met", (member, self.where)
            elif member in self.targets:
                self._check_target(member, told["value"])
            else:
                self._check_limit(member, told["value"])

    def _check_target(self, member: str, value: float) -> None:
        target = self.targets[member]
        edge = target.low if value < target.low else target.high

        def wide(to: float) -> Body:
            low = min(target.low, to)
            return with_target(self.body, member, low if low >= 0.0 else -inf, max(target.high, to))

        assert outcome(wide(value)) == "targets_met", (member, value, self.where)
        digit = 10.0 ** -PROPERTIES[member].decimals
        less = max(0.01 * abs(value - edge), 1.0001 * digit)
        if less < abs(value - edge):
            assert self.stays_a_clash(wide(value - less if value > edge else value + less)), (member, self.where)

    def _check_limit(self, member: str, value: float) -> None:
        kind, _, name = member.partition(" of ")
        material = self.materials[name]
        most = inf if material.most_g is None else material.most_g
        litre_g = 1000.0 * material.density_g_ml if kind == "use" and material.density_g_ml else None
        edge = material.least_g if value < material.least_g else most
        assert kind != "stock" or value > most
        assert kind != "least" or value < material.least_g
        assert outcome(with_mass(self.body, member, value, litre_g)) == "targets_met", (member, value, self.where)
        less = edge + 0.99 * (value - edge)
        assert self.stays_a_clash(with_mass(self.body, member, less, litre_g)), (member, self.where)

    def check_helpful(self) -> None:
        """Each ingredient does with its mass and not with less, and needs care only where that is allowed."""
        for told in self.clash["helpful_ingredients"]:
            name, mass_g = told["ingredient"], told["mass_g"]
            careful = CAREFUL.get(get_ingredient(name).category.value)
            assert careful is None or careful in self.body.get("allow", []), (name, self.where)
            assert name not in self.materials
            assert outcome(with_help(self.body, name, 1.001 * mass_g)) == "targets_met", (told, self.where)
            assert self.stays_a_clash(with_help(self.body, name, 0.98 * mass_g)), (told, self.where)

    def check_words(self) -> None:
        """Every member is named, and no property by its id."""
        text = self.clash["text"]
        assert not re.search("|".join(n for n in PROPERTIES if "_" in n), text), text
        assert not re.search(r"\b(inf|nan)\b|\.\.|  |-", text.replace("lot-", "")), text
        assert re.fullmatch(r"[^a-z].*\.", text), text
        for member in self.members:
            if member in self.targets:
                end = next(
                    v
                    for v in (self.targets[member].value, self.targets[member].low, self.targets[member].high)
                    if v is not None and abs(v) < inf
                )
                assert f"{end:.4f}".rstrip("0").rstrip(".") in text, (member, text)
            else:
                assert self.materials[member.partition(" of ")[2]].said in text
        for told in self.clash["relax"]:
            assert told["to"] in text or told["value"] == 0.0
        helpful = self.clash["helpful_ingredients"]
        plain = plain_names([*self.materials, *(told["ingredient"] for told in helpful)])
        for told in helpful:
            assert f"{told['amount_text']} of {plain[told['ingredient']]}" in text

    def check_packs(self) -> None:
        """What only whole packs prevent is met with opened ones, and nothing else is called so."""
        opened = outcome(without(self.body, [m for m in all_limits(self.body) if m.startswith("packs of")]))
        assert (self.answer["outcome"] == "nearest_measurable") is (opened == "targets_met"), self.where

    def check(self) -> None:
        """All of it."""
        self.check_conflict()
        self.check_relaxed()
        self.check_helpful()
        self.check_words()
        self.check_packs()


@pytest.mark.parametrize("seed", [11])
def test_a_clash_keeps_its_word(seed: int) -> None:
    for body, answer in clashing(seed, 9):
        Examined(body, answer).check()


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 108))
def test_many_clashes_keep_their_word(seed: int) -> None:
    for body, answer in clashing(seed, 20):
        Examined(body, answer).check()


# The sentence on alcohol.


def _strength_and_volume(strength: Any, volume: Any, base: str = "24 L") -> str:
    body = {"lots": [{**BASE, "volume": base}], "additions": [], "targets": {"abv_percent": strength, "volume": volume}}
    return str(plan({**body, "additions": [{"ingredient": "water_deionised"}]})["clash"]["text"])


def test_too_little_alcohol_is_told_in_litres() -> None:
    """24 L of 8.1 % vol hold 24 x 0.081 = 1.944 L of alcohol, 6.5 % of 1.944/0.065 = 29.9 L."""
    text = _strength_and_volume({"min": 6.5}, {"min": "31 L"})
    assert text.startswith("At least 6.5 % vol and at least 31 L cannot both hold with all 24 L of dry base: ")
    assert ": dry base brings only 1.94 L of alcohol, enough for 29.9 L of 6.5 % vol." in text
    assert "accept 6.27 % vol; accept 29.907 L;" in text  # 1.944/31 = 6.271 %; 29.9077 L: both rounded outwards
    assert "have 24.8" in text  # 31 x 0.065/0.081 = 24.88 L of the base


def test_too_much_alcohol_is_told_in_litres() -> None:
    """The 1.944 L make at least 1.944/0.05 = 38.9 L of 5 % vol."""
    text = _strength_and_volume({"max": 5.0}, {"max": "30 L"})
    assert ": dry base brings 1.94 L of alcohol at the least, and that makes 38.9 L of 5 % vol." in text
    assert "pour only 18.5" in text  # 30 x 0.05/0.081 = 18.52 L


def test_alcohol_is_told_in_the_callers_units() -> None:
    """1 US gal is 3.785411784 L (NIST Handbook 44, Appendix C): 6 gal of 8.1 % hold 0.486 gal, 7.48 gal of 6.5 %."""
    text = _strength_and_volume({"min": 6.5}, {"min": "8 gal"}, base="6 gal")
    assert "at least 8 gal (30.28 L) cannot both hold with all 6 gal (22.71 L) of dry base" in text
    assert "enough for 7.48 gal (28.3 L) of 6.5 % vol" in text
    assert "dry base brings only 62 fl oz (1.84 L) of alcohol" in text  # 22.71 x 0.081 = 1.840 L


def test_a_clash_in_us_units_speaks_them() -> None:
    additions = [{"ingredient": "honey_acacia", "max": "2 lb"}, {"ingredient": "water_deionised", "max": "1 gal"}]
    body = {"lots": [{**BASE, "volume": "6 gal"}], "additions": additions, "targets": {"gravity": 1.03}}
    answer = plan(body)
    assert answer["units"] == "us"
    text = answer["clash"]["text"]
    assert "at most 2 lb of acacia honey" in text
    assert re.search(r"have \d lb [\d.]+ oz of acacia honey", text), text
    assert not re.search(r"\d k?g\b", text.replace("g/L", "")), text


# What is proposed.


def test_what_needs_care_is_proposed_only_where_it_is_allowed() -> None:
    body: Body = {"lots": [BASE], "additions": [], "targets": {"abv_percent": {"min": 9.0}}}
    assert plan(body)["clash"]["helpful_ingredients"] == []
    (told,) = plan({**body, "allow": ["spirit"]})["clash"]["helpful_ingredients"]
    kinds = {i.id: i.category.value for i in find_ingredients()}
    assert kinds[told["ingredient"]] == "spirit"
    sour: Body = {"lots": [BASE], "additions": [], "targets": {"titratable_acidity": {"max": "4.2 g/L tartaric"}}}
    without_salts = {kinds[h["ingredient"]] for h in plan(sour)["clash"]["helpful_ingredients"]}
    assert not without_salts & {"salt", "spirit", "juice"}
    told_kinds = {
        kinds[h["ingredient"]] for h in plan({**sour, "allow": ["carbonates"]})["clash"]["helpful_ingredients"]
    }
    assert "salt" in told_kinds
    assert not told_kinds & {"spirit", "juice"}


def test_acid_is_no_sweetener() -> None:
    """Extract could be raised by 40 g/L of acid too; nobody would."""
    body: Body = {
        "lots": [BASE],
        "additions": [{"ingredient": "honey_acacia", "max": "100 g"}],
        "targets": {"gravity": 1.012, "sugar_g_per_l": {"max": 8.0}},
        "allow": ["carbonates"],
    }
    for told in plan(body)["clash"]["helpful_ingredients"]:
        assert get_ingredient(told["ingredient"]).category.value not in ("acid", "salt")


# When nothing is explained.


def test_only_clashes_are_explained() -> None:
    met = plan({"lots": [BASE], "additions": [{"ingredient": "honey"}], "targets": {"gravity": 1.01}})
    assert (met["outcome"], met["clash"]) == ("targets_met", None)
    scale = {"rounding": "scale", "instruments": {"scale": {"step": "500 g"}}}
    body = {"lots": [BASE], "additions": [{"ingredient": "honey"}], "targets": {"gravity": 1.0125}}
    coarse = plan({**body, **scale})
    assert (coarse["outcome"], coarse["clash"]) == ("nearest_measurable", None)
    packed = plan({**body, "additions": [{"ingredient": "honey", "pack": "1 kg"}]})
    assert packed["outcome"] == "nearest_measurable"
    assert packed["clash"]["conflict"][:2] == ["gravity", "packs of honey_average"]
    assert "whole packs of average honey" in packed["clash"]["text"]


def test_none_in_stock_is_told_as_such() -> None:
    body = {"lots": [BASE], "additions": [{"ingredient": "honey", "max": "0 g"}], "targets": {"gravity": 1.0125}}
    clash = plan(body)["clash"]
    assert "stock of honey_average" in clash["conflict"]
    assert "no average honey" in clash["text"]


# The order of a request.


@pytest.mark.parametrize("seed", [21])
def test_the_order_of_a_request_does_not_matter(seed: int) -> None:
    chance = random.Random(seed)
    for body, answer in clashing(seed, 4):
        other = dict(body)
        for key in ("lots", "additions"):
            other[key] = chance.sample(body[key], len(body[key]))
        names = chance.sample(sorted(body["targets"]), len(body["targets"]))
        other["targets"] = {name: body["targets"][name] for name in names}
        assert plan(other)["clash"] == answer["clash"]


def test_ten_times_the_batch_is_ten_times_the_advice() -> None:
    targets = {"gravity": 1.03, "abv_percent": {"min": 7.2}}
    small = {"lots": [BASE], "additions": [{"ingredient": "honey", "max": "900 g"}], "targets": targets}
    large = {**small, "lots": [{**BASE, "volume": "240 L"}], "additions": [{"ingredient": "honey", "max": "9 kg"}]}
    one, ten = plan(small)["clash"], plan(large)["clash"]
    assert one["conflict"] == ten["conflict"] == ["gravity", "stock of honey_average", "use of dry base"]
    for a, b in zip(one["relax"], ten["relax"], strict=True):
        assert b["value"] == pytest.approx((10.0 if a["unit"] == "g" else 1.0) * a["value"], rel=1e-5)
    assert [h["ingredient"] for h in one["helpful_ingredients"]] == [
        h["ingredient"] for h in ten["helpful_ingredients"]
    ]
    for a, b in zip(one["helpful_ingredients"], ten["helpful_ingredients"], strict=True):
        assert b["mass_g"] == pytest.approx(10.0 * a["mass_g"], rel=1e-3)


# The nearest plan keeps the priorities, against a scan of the same limits.

_TWO = (("honey_acacia", 0.06), ("water_deionised", 0.3), ("apple_juice_concentrate_70", 0.06), ("sugar_white", 0.04))


def _two_amounts(chance: random.Random) -> Body:
    litres = round(chance.uniform(5.0, 20.0), 1)
    lot = {**BASE, "volume": f"{litres} L", "abv_percent": round(chance.uniform(6.0, 11.0), 1)}
    additions = [
        {"ingredient": name, "max": f"{share * litres * chance.uniform(0.3, 1.0):.3f} kg"}
        for name, share in chance.sample(_TWO, 2)
    ]
    low = {
        "gravity": round(chance.uniform(1.0, 1.03), 4),
        "abv_percent": round(chance.uniform(5.0, 9.0), 2),
        "volume": litres * chance.uniform(1.0, 1.3),
        "sugar_g_per_l": round(chance.uniform(0.0, 60.0), 1),
    }
    targets: Body = {}
    for name in sorted(chance.sample(sorted(low), 3)):
        end, width = low[name], {"gravity": 0.002, "abv_percent": 0.2, "volume": 0.3, "sugar_g_per_l": 4.0}[name]
        unit = " L" if name == "volume" else ""
        targets[name] = {
            "min": f"{end:.3f}{unit}" if unit else end,
            "max": f"{end + width:.3f}{unit}" if unit else round(end + width, 4),
            "priority": chance.randint(1, 2),
        }
    return {"lots": [lot], "additions": additions, "targets": targets}


def _misses(values: dict[str, float], body: Body) -> dict[int, float]:
    """Sum of misses of each priority, in noticeable steps."""
    asked, _ = read(body)
    found: dict[int, float] = {}
    for t in asked.targets:
        miss = max(t.low - values[t.name], values[t.name] - t.high, 0.0)
        found[t.priority] = found.get(t.priority, 0.0) + miss / OURS.noticeable(t.name, t.high)
    return found


@pytest.mark.parametrize("seed", [31])
def test_the_nearest_plan_keeps_the_priorities(seed: int, request: pytest.FixtureRequest) -> None:
    chance = random.Random(seed)
    left, steps = (40, 25) if request.config.getoption("--long") else (6, 12)
    while left:
        body = _two_amounts(chance)
        answer = plan(body)
        if answer["outcome"] != "targets_clash":
            continue
        left -= 1
        rival = Rival.of(body)
        masses = {a["name"]: a["mass_g"] for a in answer["amounts"]}
        at = [masses[rival.materials[i].name] / s for i, s in zip(rival.free, rival.scale_g, strict=True)]
        ours = _misses(dict(zip(rival.names, rival.values(np.array(at)), strict=True)), body)
        for i in range(steps + 1):
            for j in range(steps + 1):
                x = [i / steps, j / steps]
                theirs = _misses(dict(zip(rival.names, rival.values(np.array(x)), strict=True)), body)
                first, *then = sorted(ours)
                assert theirs[first] > ours[first] - 1e-4, (body, x)
                if then and theirs[first] <= ours[first] + 1e-9:
                    assert theirs[then[0]] > ours[then[0]] - 1e-3, (body, x)
        first = min(ours)
        rest = [t for t in body["targets"] if body["targets"][t]["priority"] != first]
        if outcome(without(body, rest)) == "targets_met":
            assert all(reports(answer)[t]["met"] for t in body["targets"] if t not in rest), body


# Hostile requests, and time.


def _hostile(chance: random.Random) -> list[Body]:
    ids = [i.id for i in find_ingredients() if i.category.value != "water"]

    def some(n: int, **more: Any) -> list[Body]:
        return [
            {"ingredient": name, "max": f"{chance.uniform(0.1, 3.0):.3f} kg", **more} for name in chance.sample(ids, n)
        ]

    many = [{**BASE, "name": f"lot {k}", "abv_percent": 5.0 + k / 5.0} for k in range(50)]
    none = [{"ingredient": a["ingredient"], "max": "0 g"} for a in some(40)]
    full = {"gravity": 1.08, "abv_percent": {"min": 7.5}, "titratable_acidity": "7 g/L tartaric", "volume": "26 L"}
    careful = {"allow": ["spirit", "carbonates", "raw_juice"]}
    return [
        {"lots": [BASE], "additions": none, "targets": full, **careful},
        {"lots": [BASE], "additions": some(40), "targets": full, **careful},
        {"lots": many, "additions": some(30), "targets": full},
        {"lots": [BASE], "additions": [], "targets": {"volume": "100000 L"}},
        {"lots": [BASE], "additions": [], "targets": {"volume": "0 L"}},
        {"lots": [BASE], "additions": some(5), "targets": {"gravity": {"min": 0.7, "max": 0.71}}},
        {"lots": [BASE], "additions": some(5), "targets": {"abv_percent": 100}},
        {"lots": [BASE], "additions": some(5), "targets": {"citrus_percent": 1000}},
        {"lots": [BASE], "additions": some(5), "targets": {"added_mass": {"max": "0 g"}, "gravity": 1.05}},
        {"lots": [], "additions": [{"ingredient": "water_deionised"}], "targets": {"volume": "2 L", "gravity": 1.05}},
        {"lots": [BASE], "additions": some(5), "targets": {"energy_kcal_per_100ml": 0}},
    ]


def test_hostile_requests_are_explained_in_time() -> None:
    for body in _hostile(random.Random(5)):
        begun = process_time()
        answer = plan(body)
        assert process_time() - begun < 4.0, body["targets"]
        assert (answer["clash"] is None) is (answer["outcome"] not in CLASHES)


def test_a_late_explanation_ends_at_once() -> None:
    late: list[float] = []

    def hurried(*given: Any, until: float) -> Any:
        assert until > 0.0
        begun = process_time()
        found = explain_clash(*given, until=perf_counter())
        late.append(process_time() - begun)
        return found

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(blend_plan, "explain_clash", hurried)
        for body in _hostile(random.Random(6))[:3]:
            clash = plan(body)["clash"]
            if clash is not None:
                assert clash["conflict"] == clash["relax"] == clash["helpful_ingredients"] == []
                assert clash["text"].endswith("drop one, or widen its range, and ask again.")
    assert late
    assert max(late) < 0.5


@pytest.mark.slow
def test_an_explanation_takes_a_few_solves() -> None:
    """Median times of the explanation and of all the rest, printed with -s."""
    spent: list[float] = []

    def timed(run: Any, *given: Any, **more: Any) -> Any:
        begun = perf_counter()
        found = run(*given, **more)
        spent.append(perf_counter() - begun)
        return found

    whole: list[float] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(blend_plan, "explain_clash", partial(timed, explain_clash))
        for body, _ in clashing(41, 30):
            begun = perf_counter()
            plan(body)
            whole.append(perf_counter() - begun)
    explained = spent[1::2]
    rest = [a - b for a, b in zip(whole, explained, strict=True)]
    print(f"explanation {1e3 * statistics.median(explained):.0f} ms, rest {1e3 * statistics.median(rest):.0f} ms")
    assert statistics.median(explained) < 0.5
