"""Rounding a plan as a whole: against looking through all ways to round it up and down, by the whole model."""

from __future__ import annotations

import random
import re
from dataclasses import replace

import pytest

from service.catalogue.lookup import get_ingredient
from service.planner.asked import AdditionAsked, Circumstances, Instruments, LotAsked, Preference, TargetAsked
from service.planner.materials import materials_of
from service.planner.measures import measures_for
from service.planner.rounding import Rounded, rounded_masses
from service.quantities import Kind, parse_quantity
from tests.api.real import plan
from tests.planner.rounding_cases import Case, drawn, exact, lot, no_better

SEEDS = range(120)


def _rounded(case: Case) -> Rounded:
    return rounded_masses(case.materials, case.masses_g, case.targets, case.prefer, case.circumstances, case.rounding)


def _limits_hold(case: Case, rounded: Rounded) -> bool:
    return all(
        m.least_g * (1.0 - 1e-9) <= g and (m.most_g is None or g <= m.most_g * (1.0 + 1e-9))
        for m, g in zip(case.materials, rounded.masses_g, strict=True)
    )


@pytest.mark.parametrize("acids", [False, True])
def test_no_rounding_up_or_down_misses_less(acids: bool) -> None:
    gained = 0
    for seed in SEEDS:
        case = drawn(seed, acids=acids)
        rounded = _rounded(case)
        worth = case.worth(rounded.masses_g)
        for other in case.combinations():
            assert no_better(worth, case.worth(other)), (seed, worth, case.worth(other), other)
        alone = case.worth(case.each_alone())
        assert no_better(worth, alone), seed
        gained += not no_better(alone, worth, within=1e-3)
        assert _limits_hold(case, rounded), seed
    assert gained > len(SEEDS) // 4  # rounding each alone is often worse by a thousandth of a step


@pytest.mark.parametrize("acids", [False, True])
def test_every_amount_can_be_measured_or_is_left_alone(acids: bool) -> None:
    said = 0
    for seed in SEEDS:
        case = drawn(seed, acids=acids)
        rounded = _rounded(case)
        measures = measures_for(case.materials, case.circumstances, case.rounding)
        left = {c.text.split(" of ")[-1].split(":")[0] for c in rounded.cautions}
        rows = zip(case.materials, case.masses_g, rounded.masses_g, rounded.texts, measures, strict=True)
        for material, before, after, text, measure in rows:
            unused = before == 0.0 and after == 0.0  # else a step of it saves a target
            if material.fixed or unused or material.said in left:
                assert (after, text) == (before, None)
                continue
            assert measure.below(after) == pytest.approx(after, rel=1e-12)
            assert abs(after - before) <= 2.0 * max(measure.step_g(before), measure.step_g(after)) * (1.0 + 1e-9)
            if after == 0.0:
                assert text is None
                continue
            assert text is not None
            said += 1
            quantity = parse_quantity(text, {Kind.MASS, Kind.VOLUME})
            per_unit = 1.0 if quantity.kind is Kind.MASS else material.density_g_ml
            assert per_unit is not None
            assert quantity.value_base * per_unit == pytest.approx(after, rel=1e-6, abs=1e-3)
    assert said > 200


def test_what_the_rounded_amounts_miss_is_told() -> None:
    missed = 0
    for seed in SEEDS:
        case = drawn(seed, acids=False)
        rounded = _rounded(case)
        total = sum(case.worth(rounded.masses_g)[:-1])
        assert sum(steps for _, steps in rounded.missed_by) == pytest.approx(total, abs=1e-12)
        assert all(steps > 0.0 for _, steps in rounded.missed_by)
        missed += bool(rounded.missed_by)
    assert 0 < missed < len(SEEDS)


def test_the_order_of_a_request_does_not_matter() -> None:
    for seed in range(0, 120, 4):
        case = drawn(seed, acids=seed % 8 == 0)
        mixed = list(case.materials)
        random.Random(seed).shuffle(mixed)
        lots = [m.source for m in mixed if isinstance(m.source, LotAsked)]
        materials = materials_of(lots, [m.source for m in mixed if isinstance(m.source, AdditionAsked)])
        assert [m.name for m in materials] == [m.name for m in case.materials]
        again = _rounded(replace(case, materials=materials, targets=case.targets[::-1]))
        assert again == _rounded(case)


def test_a_little_carbonate_on_a_coarse_scale() -> None:
    """Computed: with 5 g steps, each amount rounded alone moves the pH by 0.02; rounded together, by a tenth of it."""
    masses = {"citric_acid_anhydrous": 12.3, "honey_acacia": 871.7, "lemon_juice_fresh": 212.6}
    masses["potassium_bicarbonate"] = 22.4
    materials = materials_of([lot("base", 20.0, tartaric_g_per_l=8.0, ph=3.1)], [_some(name) for name in masses])
    circumstances = Circumstances(instruments=Instruments(5.0, given=frozenset({"scale"})))
    case = Case(materials, (materials[0].least_g, *masses.values()), (), (), circumstances, "scale")
    gravity, ph = case.values(case.masses_g, ["gravity", "ph"])
    assert gravity is not None
    assert ph is not None
    case = replace(case, targets=(exact("gravity", gravity), exact("ph", ph)))
    (alone,) = case.values(case.each_alone(), ["ph"])
    (together,) = case.values(_rounded(case).masses_g, ["ph"])
    assert abs((alone or 0.0) - ph) > 0.02
    assert abs((together or 0.0) - ph) < 0.005


def _some(name: str, **limits: float) -> AdditionAsked:
    return AdditionAsked(get_ingredient(name), **limits)  # type: ignore[arg-type]


def _case(*additions: AdditionAsked, masses: tuple[float, ...], step: float = 10.0, rounding: str = "scale") -> Case:
    """A lot and these additions, with masses in the order of their names."""
    materials = materials_of([lot("base", 10.0)], additions)
    circumstances = Circumstances(instruments=Instruments(step, given=frozenset({"scale"})))
    return Case(materials, (materials[0].least_g, *masses), (), (), circumstances, rounding)


def test_many_amounts_are_no_worse_than_each_alone() -> None:
    names = [
        "apple_juice_concentrate_70",
        "citric_acid_anhydrous",
        "fructose_crystalline",
        "dextrose_monohydrate",
        "honey_acacia",
        "honey_average",
        "invert_syrup",
        "lemon_juice_fresh",
        "maple_syrup",
        "neutral_spirit_40",
        "raspberry_juice",
        "sugar_white",
        "tartaric_acid",
        "water_deionised",
    ]
    for seed in range(5):
        draw = random.Random(seed)
        masses = tuple(draw.uniform(1.0, 400.0) for _ in names)
        case = _case(*map(_some, names), masses=masses)
        gravity, acidity = case.values(case.masses_g, ["gravity", "titratable_acidity"])
        targets = (exact("gravity", gravity or 0.0), exact("titratable_acidity", acidity or 0.0))
        case = replace(case, targets=targets)
        worth = case.worth(_rounded(case).masses_g)
        assert no_better(worth, case.worth(case.each_alone()))
        assert worth[-1] < 0.02  # among thousands of combinations some are nearly exact


def test_what_does_not_have_to_be_measured_stays() -> None:
    given = AdditionAsked(get_ingredient("honey_acacia"), least_g=123.4, most_g=123.4)
    case = _case(given, _some("sugar_white"), _some("water_deionised"), masses=(123.4, 0.0, 777.7))
    case = replace(case, targets=(exact("gravity", 1.0047),))
    rounded = _rounded(case)
    assert rounded.masses_g[:2] == case.masses_g[:2]  # the lot and the given honey
    assert rounded.texts[:2] == (None, None)
    assert rounded.masses_g[3] % 10.0 == 0.0
    kept = rounded_masses(case.materials, case.masses_g, case.targets, (), case.circumstances, "scale", keep={3})
    packs = tuple(replace(m, whole_g=777.7) if m.name == "water_deionised" else m for m in case.materials)
    assert kept.masses_g == _rounded(replace(case, materials=packs)).masses_g == case.masses_g


def test_a_step_of_what_the_plan_does_not_use_may_save_a_target() -> None:
    """On a 5 g scale 40 g of sugar are too much for 1.010 in 1.2 L and 35 g too little: 5 g of another help."""
    lot = {"name": "dry base", "volume": "1.2 L", "gravity": 0.998, "abv_percent": 8.1}
    additions = [{"ingredient": name, "max": "100 g"} for name in ("cherry_tart_juice_concentrate_68", "sugar_white")]
    answer = plan(
        {
            "lots": [lot],
            "additions": additions,
            "targets": {"gravity": 1.01},
            "rounding": "scale",
            "instruments": {"scale": {"step": "5 g"}},
        }
    )
    assert answer["outcome"] == "targets_met"
    masses = {a["name"]: a["mass_g"] for a in answer["amounts"]}
    assert masses["cherry_tart_juice_concentrate_68"] > 0.0
    assert all(mass % 5.0 == 0.0 for name, mass in masses.items() if name != "dry base")


def test_without_rounding_nothing_changes() -> None:
    case = drawn(1, acids=False)
    rounded = _rounded(replace(case, rounding="none"))
    assert rounded == Rounded(case.masses_g, (None,) * len(case.masses_g))


@pytest.mark.parametrize("rounding", ["scale", "kitchen"])
def test_where_nothing_can_be_measured_the_amount_is_not_rounded(rounding: str) -> None:
    case = _case(_some("citric_acid_anhydrous", least_g=3.0, most_g=7.0), masses=(4.4,), rounding=rounding)
    rounded = _rounded(replace(case, targets=(exact("gravity", 1.0),)))
    assert rounded.masses_g == case.masses_g
    (caution,) = rounded.cautions
    assert (caution.code, caution.level) == ("no_step_within_limits", "warning")
    assert "the limits of citric acid:" in caution.text
    assert len(caution.text.split()) <= 30


def test_a_higher_priority_is_served_first() -> None:
    """Honey in 250 g steps can hold the gravity or the volume; the one with priority 1 misses less."""
    case = _case(_some("honey_acacia"), masses=(380.0,), step=250.0)
    gravity, volume = case.values(case.masses_g, ["gravity", "volume"])
    assert gravity is not None
    assert volume is not None
    down = TargetAsked("volume", 0.0, volume - 0.03, None, "", 1)
    up = TargetAsked("gravity", gravity + 0.002, 1.2, None, "", 2)
    first = replace(case, targets=(down, up))
    second = replace(case, targets=(replace(down, priority=2), replace(up, priority=1)))
    assert _rounded(first).masses_g[1] < 380.0 < _rounded(second).masses_g[1]


def test_a_preference_decides_where_ranges_leave_it_open() -> None:
    case = _case(_some("honey_acacia"), _some("lemon_juice_fresh"), masses=(404.9, 604.9))
    case = replace(case, targets=(TargetAsked("gravity", 0.99, 1.05, None, ""),))
    more = _rounded(replace(case, prefer=(Preference("citrus_percent", True),)))
    less = _rounded(replace(case, prefer=(Preference("citrus_percent", False),)))
    still = _rounded(case)
    assert more.masses_g[2] > 604.9 > less.masses_g[2]
    assert still.masses_g[1:] == (400.0, 600.0)  # nothing to gain: the least movement


def test_kitchen_measures_in_a_whole_plan() -> None:
    base = {"name": "base", "volume": "5 gal", "gravity": 0.998, "abv_percent": 8.0}
    request = {
        "lots": [{**base, "titratable_acidity": "5 g/L tartaric"}],
        "additions": [{"ingredient": i} for i in ("honey_acacia", "lemon_juice_fresh", "water_deionised")],
        "targets": {"gravity": 1.012, "titratable_acidity": "6.5 g/L tartaric", "abv_percent": {"max": 7.0}},
        "rounding": "kitchen",
    }
    answer = plan(request)
    assert answer["outcome"] == "targets_met"
    texts = {a["name"]: a["amount_text"] for a in answer["amounts"]}
    for amount in answer["amounts"][1:]:
        shown = parse_quantity(re.split(r" \(|, ", texts[amount["name"]])[0], {Kind.MASS, Kind.VOLUME})
        per_unit = 1.0 if shown.kind is Kind.MASS else amount["mass_g"] / amount["volume_ml"]
        assert shown.value_base * per_unit == pytest.approx(amount["mass_g"], rel=1e-5)
    assert texts["honey_acacia"].startswith(tuple("123456789"))
    assert " lb " in texts["honey_acacia"]
    assert "cup" in texts["lemon_juice_fresh"]
    assert {"jug and spoons", "scale step"} <= {a["what"] for a in answer["assumed"]}
    # the prediction is for the rounded amounts
    poured = [{"ingredient": a["name"], "amount": f"{a['mass_g']} g"} for a in answer["amounts"][1:]]
    again = plan({**request, "rounding": "none", "additions": poured})["predicted"]["gravity"]["value"]
    assert again == pytest.approx(answer["predicted"]["gravity"]["value"], abs=2e-5)
