"""The table of fining agents against 27 CFR 24.246, 27 CFR 4.32a and the trade's doses.

Limits: 27 CFR 24.246 in its edition of 2015. Doses come from a training sheet on fining materials (author not recorded,
a weak secondary source) or from memory, and the table says which.
"""

from __future__ import annotations

import pytest

from service.catalogue.fining import AgentName, fining_agents, mg_per_l_from_lb_per_1000_gal, sources_of_agents
from service.catalogue.loader import sources
from service.errors import OutOfRangeError

AGENTS = fining_agents()
MARKS = {
    "weak secondary source",
    "weak secondary source; upper end from memory, unverified",
    "from memory, unverified",
    "common practice, no source",
    "not on file",
}


def test_a_pound_per_1000_gallons() -> None:
    # NIST Handbook 44, Appendix C: 453.59237 g/lb and 3.785411784 L/gal
    assert mg_per_l_from_lb_per_1000_gal(1.0) == pytest.approx(119.826, abs=5e-4)
    assert mg_per_l_from_lb_per_1000_gal(8.0) == pytest.approx(958.61, abs=5e-3)  # computed
    assert mg_per_l_from_lb_per_1000_gal(0.0) == 0.0
    for wrong in (-1.0, float("nan"), float("inf")):
        with pytest.raises(OutOfRangeError):
            mg_per_l_from_lb_per_1000_gal(wrong)


@pytest.mark.parametrize(
    ("agent", "g_per_l", "places"),
    [("silica_sol", 2.4, 1), ("pvpp", 7.19, 2), ("activated_carbon", 3.0, 1)],
)
def test_limits_of_the_united_states(agent: AgentName, g_per_l: float, places: int) -> None:
    # 27 CFR 24.246, 2015 edition: 20 lb of a 30 % sol, 60 lb of PVPP, 25 lb of carbon in 1000 gal
    limit = AGENTS[agent].us_limit_mg_per_l
    assert limit is not None
    assert round(limit / 1000.0, places) == g_per_l


def test_what_that_edition_does_not_list() -> None:
    # 27 CFR 24.246, 2015 edition, has no chitosan
    assert [agent.id for agent in AGENTS.values() if not agent.us_listed] == ["chitosan"]
    assert "from memory" in AGENTS["chitosan"].us_text


def test_what_is_filtered_out_again() -> None:
    # 27 CFR 24.246, 2015 edition: silicon dioxide and PVPP
    assert {agent.id for agent in AGENTS.values() if agent.us_filter_out} == {"silica_sol", "pvpp"}


def test_allergens() -> None:
    # 27 CFR 4.32a names milk, egg and fish
    found = {agent.id: agent.allergen for agent in AGENTS.values() if agent.allergen is not None}
    assert found == {"isinglass": "fish", "casein": "milk", "egg_white": "egg"}
    # gelatin and isinglass take an animal's life, milk and eggs do not
    assert {agent.id for agent in AGENTS.values() if not agent.vegetarian} == {"gelatin", "isinglass"}
    assert {agent.id for agent in AGENTS.values() if agent.of_an_animal} == {
        "gelatin",
        "isinglass",
        "casein",
        "egg_white",
    }


@pytest.mark.parametrize(
    ("agent", "low", "high"),
    [
        # training sheet on fining materials (weak secondary source)
        ("gelatin", 15, 150),
        ("silica_sol", 30, 300),
        ("pvpp", 200, 600),
        ("isinglass", 10, 100),
        ("casein", 50, 500),
        # the same to 500 mg/L, from memory to 1000
        ("bentonite", 250, 1000),
        # from memory, unverified
        ("chitosan", 100, 1000),
    ],
)
def test_doses_of_the_trade(agent: AgentName, low: float, high: float) -> None:
    dose = AGENTS[agent].dose_mg_per_l
    assert dose is not None
    assert (dose.low, dose.high) == (low, high)


def test_a_light_touch_of_gelatin_is_from_memory() -> None:
    light = AGENTS["gelatin"].light_mg_per_l
    assert light is not None
    assert (light.low, light.high, light.mark) == (5, 20, "from memory, unverified")


def test_lees() -> None:
    # gelatin 1 to 3 % (common practice, no source), bentonite 3 to 10 % (from memory, unverified)
    gelatin, bentonite = AGENTS["gelatin"].lees_percent, AGENTS["bentonite"].lees_percent
    assert gelatin is not None
    assert bentonite is not None
    assert (gelatin.low, gelatin.high, gelatin.mark) == (1, 3, "common practice, no source")
    assert (bentonite.low, bentonite.high, bentonite.mark) == (3, 10, "from memory, unverified")


def test_what_becomes_of_a_cloud_of_pectin() -> None:
    found = {agent.id: agent.pectin_cloud for agent in AGENTS.values()}
    assert found["pvpp"] == "kept"
    assert found["gelatin"] == "mostly"
    assert {found["silica_sol"], found["isinglass"]} == {"partly"}
    lost = {"bentonite", "chitosan", "casein", "pectinase"}
    assert {found[agent] for agent in AGENTS if agent in lost} == {"lost"}


@pytest.mark.parametrize("agent", AGENTS.values(), ids=lambda agent: agent.id)
def test_every_fact_has_its_mark_and_source(agent: object) -> None:
    found = next(a for a in AGENTS.values() if a is agent)
    assert found.dose_mark in MARKS
    assert found.us_mark in {"published", "from memory, unverified"}
    for marked in (found.dose_mg_per_l, found.light_mg_per_l, found.lees_percent):
        assert marked is None or (marked.mark in MARKS and marked.source_key in sources())
    assert found.takes or found.takes_some
    if found.us_limit_mg_per_l is not None and found.dose_mg_per_l is not None:
        assert found.dose_mg_per_l.high < found.us_limit_mg_per_l


def test_every_source_is_on_file() -> None:
    assert sources_of_agents() <= sources().keys()
