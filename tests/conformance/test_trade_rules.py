"""The trade's two rules for strength: figures worked out beside the mass balance, and published means of beers."""

from __future__ import annotations

import pytest

from service.errors import InconsistentError
from service.physics.sucrose import sg_from_brix
from service.physics.trade_rules import abv_by_factor, abv_by_real_extract, real_extract_percent_by_rule
from tests.tables import Row, label, rows

RULES = [row for row in rows("og_fg_abv") if row["abv_via_0_1808_rule_pct_vol"]]
BEERS = [row for row in rows("balling") if row["check"].startswith("beer means") and "RE = 0.1808" in row["check"]]


@pytest.mark.parametrize("row", RULES, ids=label)
def test_the_rule_of_the_real_extract(row: Row) -> None:
    """RE = 0.1808 OE + 0.8192 AE (from memory), ABV = A·FG/0.7907 (computed). The rows of four decimals rest on ICUMSA
    SPS-4 as ours do; those of two on a cubic fit of the sugar table, 0.006 % vol apart."""
    found = abv_by_real_extract(float(row["og_sg20_20"]), float(row["fg_sg20_20"]))
    wanted = row["abv_via_0_1808_rule_pct_vol"]
    short = len(wanted.split(".")[1]) <= 2
    assert found == pytest.approx(float(wanted), abs=0.011 if short else 0.0015)


@pytest.mark.parametrize("row", [r for r in RULES if r["abv_131_25_rule_pct_vol"]], ids=label)
def test_the_factor(row: Row) -> None:
    """131.25 (OG − FG), common practice, no source (computed)."""
    found = abv_by_factor(float(row["og_sg20_20"]), float(row["fg_sg20_20"]))
    assert found == pytest.approx(float(row["abv_131_25_rule_pct_vol"]), abs=0.0051)


@pytest.mark.parametrize("row", BEERS, ids=label)
def test_real_extract_of_published_beers(row: Row) -> None:
    """Cutaia, Reid and Speers, J. Inst. Brew. 115 (2009) 318, Table III: original and apparent extract of five means;
    the rule's figure (computed) to its two decimals."""
    original, apparent = float(row["original_extract_mass_pct"]), float(row["apparent_extract_degP"])
    found = real_extract_percent_by_rule(sg_from_brix(original), sg_from_brix(apparent))
    assert found == pytest.approx(float(row["real_extract_mass_pct"]), abs=0.0051)


def test_five_beers_are_there() -> None:
    assert len(BEERS) == 5


@pytest.mark.parametrize("rule", [abv_by_factor, abv_by_real_extract, real_extract_percent_by_rule])
def test_gravity_does_not_rise(rule: object) -> None:
    assert callable(rule)
    with pytest.raises(InconsistentError, match="above the original gravity"):
        rule(1.010, 1.050)
