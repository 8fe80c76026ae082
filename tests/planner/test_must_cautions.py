"""Each caution of a must: a request that raises it, and one like it that does not."""

from __future__ import annotations

from typing import Any

import pytest

from service.catalogue.loader import sources
from tests.planner.must_cases import ask, backwards, codes, light

YEAST_MATTER: dict[str, Any] = {"name": "autolysed yeast"}
AT_LIMIT: dict[str, Any] = {"nitrogen": {"demand": 2.0}}
CASES: list[tuple[str, dict[str, Any], dict[str, Any]]] = [
    (
        "phosphates_over_limit",
        {"nitrogen": {"sources": [{"name": "DAP", "amount": "19.3 g"}]}},
        {"nitrogen": {"sources": [{"name": "DAP", "amount": "19.1 g"}]}},
    ),
    ("phosphates_over_limit", {"nitrogen": {"sources": [{"name": "DAP", "amount": "25 g"}]}}, AT_LIMIT),
    (
        "phosphates_over_limit",
        {"nitrogen": {"sources": [{"name": "unknown salt", "nitrogen_percent": 12, "amount": "25 g"}]}},
        {"nitrogen": {"sources": [{"name": "unknown", "nitrogen_percent": 12, "organic": True, "amount": "25 g"}]}},
    ),
    (
        "honey_by_volume",
        {"sources": [{"ingredient": "honey", "amount": "2 L"}], "volume": None, "volume_is": None},
        {"sources": [{"ingredient": "honey", "amount": "2.8 kg"}], "volume": None, "volume_is": None},
    ),
    ("nitrogen_short", AT_LIMIT, {"nitrogen": {"demand": 2.0, "sources": [{"name": "DAP"}, YEAST_MATTER]}}),
    (
        "excess_nitrogen",
        {"nitrogen": {"sources": [{"name": "DAP", "amount": "15 g"}]}},
        {"nitrogen": {"sources": [{"name": "DAP", "amount": "10 g"}]}},
    ),
    ("excess_nitrogen", {"nitrogen": {"must_yan_mg_n_per_l": 160}}, {"nitrogen": {"must_yan_mg_n_per_l": 140}}),
    (
        "nitrogen_short",
        {"nitrogen": {"sources": [{"name": "DAP", "amount": "5 g"}]}},
        {"nitrogen": {"sources": [{"name": "DAP", "amount": "9.5 g"}]}},
    ),
    ("nutrients_of_food_grade", {}, {"nitrogen": {"must_yan_mg_n_per_l": 120}}),
    ("little_yeast", {"yeast": {"grams": 3}}, {"yeast": {"grams": 5}}),
    (
        "may_stop_before_dry",
        {"yeast": {"tolerance_abv_percent": 7.0}},
        {"yeast": {"tolerance_abv_percent": 7.5}},
    ),
    ("below_honey_wine_standard", {}, {"original_gravity": 1.056}),
    ("below_honey_wine_standard", {}, {"sources": [{"ingredient": "sugar_white"}]}),
    ("above_honey_wine_standard", {"original_gravity": 1.110}, {"original_gravity": 1.090}),
    ("strong_must", {"original_gravity": 1.115}, {"original_gravity": 1.100}),
    ("stronger_than_yeast_bears", {"original_gravity": 1.150}, {"original_gravity": 1.130}),
    ("carbon_dioxide_in_the_room", {}, {"volume": "3 L"}),
    ("never_seal_a_ferment", {}, {"intended": {"container": "open"}}),
    ("vessel_too_small", {"intended": {"vessel": "18 L"}}, {"intended": {"vessel": "30 L"}}),
    ("little_room_for_foam", {"intended": {"vessel": "21.5 L"}}, {"intended": {"vessel": "30 L"}}),
    (
        "raw_juice",
        {"sources": [{"ingredient": "honey"}, {"ingredient": "apple_juice_bottled", "amount": "2 L"}]},
        {
            "sources": [
                {"ingredient": "honey"},
                {"ingredient": "apple_juice_bottled", "amount": "2 L", "treatment": "pasteurised"},
            ]
        },
    ),
]


@pytest.mark.parametrize(("code", "raises", "does_not"), CASES, ids=[f"{c[0]}-{k}" for k, c in enumerate(CASES)])
def test_a_caution_is_raised_where_it_should_be(code: str, raises: dict[str, Any], does_not: dict[str, Any]) -> None:
    assert code in codes(light(**raises))
    assert code not in codes(light(**does_not))


def test_a_must_is_no_drink_to_be_sealed() -> None:
    """Cautions on sealed sugar and on stabilisers speak of the drink, not of its must."""
    plan = light(intended={"container": "bottle", "hurdles": ["sorbate"], "storage_temperature": "30 C"})
    spoken = {"refermentable_sugar_no_hurdle", "hurdle_does_not_hold", "sorbate_without_sulfite", "warm_storage"}
    assert spoken.isdisjoint(codes(plan))
    drink = backwards(intended={"container": "bottle", "hurdles": ["sorbate"], "storage_temperature": "30 C"})
    assert {"hurdle_does_not_hold", "sorbate_without_sulfite", "warm_storage"} <= codes(drink)


def test_words_are_few_and_sources_exist() -> None:
    plans = [light(**raises) for _, raises, _ in CASES] + [backwards()]
    for caution in {c for plan in plans for c in plan.cautions}:
        assert len(caution.text.split()) <= 30, caution
        assert caution.source_id in sources()
        assert "safe" not in caution.text.lower().split()
    for plan in plans:
        cited = {source.key for source in plan.sources}
        assert {c.source_id for c in plan.cautions} <= cited
        assert {limit.source_id for limit in plan.nitrogen.limits} <= cited
        levels = [c.level for c in plan.cautions]
        assert levels == sorted(levels, key=["stop", "warning", "note"].index)


def test_gas_of_a_whole_batch() -> None:
    """Computed: 19 L at 125 g/L of extract give about 570 L of carbon dioxide."""
    plan = ask(original_gravity=1.0481, volume="19 L", volume_is="final")
    (gas,) = (c for c in plan.cautions if c.code == "carbon_dioxide_in_the_room")
    litres = float(gas.text.split()[4])
    assert litres == pytest.approx(570.0, rel=0.02)


LIMIT_G_PER_L = 8.0 * 453.59237 / 3785.411784
"""27 CFR 24.246, 2015 edition: 8 lb of mono- and diammonium phosphate in 1000 gal; NIST Handbook 44, Appendix C."""

STRONG: dict[str, Any] = {"potential_abv_percent": 16, "volume": "20 L", "volume_is": "final"}


@pytest.mark.parametrize(
    "nitrogen",
    [
        {"demand": 2.0},
        {"demand": "high"},
        {"demand": 2.9, "sources": [{"name": "DAP"}, {"name": "MAP"}]},
        {"demand": 2.9, "sources": [{"name": "DAP"}, {"name": "MAP", "amount": "12 g"}]},
        {"demand": 2.9, "sources": [{"name": "salt", "nitrogen_percent": 11}, {"name": "autolysed yeast"}]},
    ],
)
@pytest.mark.parametrize("strong", [False, True])
def test_nothing_proposes_phosphates_beyond_their_limit(nitrogen: dict[str, Any], strong: bool) -> None:
    """Doses, feeds, steps and shopping, by the figures and by the words."""
    plan = ask(**STRONG, nitrogen=nitrogen) if strong else light(nitrogen=nitrogen)
    litres = plan.predicted.volume.value
    salts = {d.name for d in plan.nitrogen.doses if d.phosphate is not False}
    assert not any(limit.exceeded for limit in plan.nitrogen.limits)
    assert "phosphates_over_limit" not in codes(plan)
    for fed in (
        sum(d.mass_g for d in plan.nitrogen.doses if d.name in salts),
        sum(f.mass_g for f in plan.feeds if f.source in salts),
        sum(float(f.amount_text.removesuffix(" g")) for f in plan.feeds if f.source in salts),
        sum(line.mass_g or 0.0 for line in plan.shopping if line.what in salts),
        sum(float(line.amount_text.removesuffix(" g")) for line in plan.shopping if line.what in salts),
    ):
        assert 0.0 < fed <= LIMIT_G_PER_L * litres
    lacking = plan.nitrogen.need_mg_per_l - plan.nitrogen.added_mg_per_l
    assert plan.nitrogen.short_mg_per_l == pytest.approx(lacking if lacking >= 0.5 else 0.0, abs=0.02)
    assert ("nitrogen_short" in codes(plan)) is (lacking > 1.0)


@pytest.mark.parametrize("volume", ["60 mL", "80 mL", "150 mL", "1 L"])
def test_small_feeds_at_the_limit_are_rounded_down(volume: str) -> None:
    plan = light(volume=volume, nitrogen={"demand": 2.9})
    fed = sum(float(feed.amount_text.removesuffix(" g")) for feed in plan.feeds)
    assert 0.0 < fed <= LIMIT_G_PER_L * plan.predicted.volume.value


def test_yeast_matter_brings_what_phosphates_may_not() -> None:
    both = light(original_gravity=1.09, nitrogen={"demand": 2.9, "sources": [{"name": "DAP"}, YEAST_MATTER]})
    doses = {dose.name: dose for dose in both.nitrogen.doses}
    assert doses["DAP"].at_limit
    assert doses["DAP"].g_per_l == pytest.approx(LIMIT_G_PER_L, abs=1e-4)
    assert both.nitrogen.added_mg_per_l == pytest.approx(both.nitrogen.need_mg_per_l, abs=0.02)
    assert "comes from yeast matter" in both.nitrogen.text
    even = light(nitrogen={"demand": 1.25, "sources": [{"name": "DAP"}, YEAST_MATTER]})
    assert [dose.at_limit for dose in even.nitrogen.doses] == [False, False]
    assert even.nitrogen.doses[0].nitrogen_mg_per_l == pytest.approx(even.nitrogen.doses[1].nitrogen_mg_per_l, abs=0.01)


def test_what_is_missing_at_the_limit_is_told() -> None:
    """Computed: 0.9586 g/L of the diammonium salt bring 203.4 mg/L (28.014/132.06)."""
    plan = light(**AT_LIMIT)
    missing = plan.nitrogen.need_mg_per_l - 1000.0 * 0.9586 * 28.014 / 132.06
    assert plan.nitrogen.short_mg_per_l == pytest.approx(missing, abs=0.05)
    (short,) = (c for c in plan.cautions if c.code == "nitrogen_short")
    assert short.text.startswith(f"{missing:.0f} of {plan.nitrogen.need_mg_per_l:.0f} mg/L")
    assert f"{missing / 45.0:.2g} g/L of yeast nutrient (4.5 % nitrogen)" in short.text
    assert "Phosphates stop at their limit of 0.96 g/L" in plan.nitrogen.text
    assert f"{20.0 * missing / 45.0:.1f} g of a yeast nutrient" in plan.nitrogen.text
    assert "Phosphates stop" not in light().nitrogen.text


def test_an_amount_above_the_limit_stops_and_is_fed_to_nobody() -> None:
    sources = [{"name": "DAP", "amount": "25 g"}, {"name": "autolysed yeast", "amount": "20 g"}]
    plan = light(nitrogen={"sources": sources})
    (over,) = (c for c in plan.cautions if c.code == "phosphates_over_limit")
    assert over.level == "stop"
    assert {feed.source for feed in plan.feeds} == {"autolysed yeast"}
    assert "DAP" not in {line.what for line in plan.shopping}
    assert [step.do.split(":")[0] for step in plan.steps if "DAP" in step.do] == ["Do not add the DAP"]
    assert not any("DAP" in step.amount_text for step in plan.steps)
    assert "no feed holds it" in plan.nitrogen.text
    less = light(nitrogen={"sources": [{"name": "DAP", "amount": "9 g"}]})
    assert {feed.source for feed in less.feeds} == {"DAP"}
    assert not any("Do not add" in step.do for step in less.steps)


def test_a_strong_must_has_the_feeds_that_its_caution_names() -> None:
    """Common practice, no source: more and smaller portions, all of them inside the first third of the sugar."""
    strong, plain = (ask(original_gravity=g, volume="20 L", volume_is="final") for g in (1.115, 1.100))
    assert len({feed.stage for feed in strong.feeds}) == 4
    assert len({feed.stage for feed in plain.feeds}) == 2
    assert {feed.not_below_gravity for feed in strong.feeds} == {strong.ferment.sugar_break_gravity}
    assert sum(feed.mass_g for feed in strong.feeds) == pytest.approx(strong.nitrogen.doses[0].mass_g, abs=1e-3)
    assert [s.wait_min_h for s in strong.steps if s.do.startswith("Feed")] == [12.0, 24.0, 24.0, 12.0]
    (caution,) = (c for c in strong.cautions if c.code == "strong_must")
    assert "four small feeds" in caution.text


def test_a_source_of_unknown_kind_is_told_to_count_as_phosphate() -> None:
    for organic, told in ((None, True), (True, False), (False, True)):
        source = {"name": "meadow mix", "nitrogen_percent": 8}
        source |= {} if organic is None else {"organic": organic}
        assert ("meadow mix: kind" in {a.what for a in light(nitrogen={"sources": [source]}).assumed}) is told


def test_a_base_that_would_have_to_be_stopped() -> None:
    def dry_at(gravity: float) -> set[str]:
        return codes(backwards({"base": {"name": "base", "final_gravity": gravity}}))

    assert "base_would_ferment_on" in dry_at(1.008)
    assert "base_would_ferment_on" not in dry_at(0.997)
    assert "base_would_ferment_on" not in codes(backwards())
