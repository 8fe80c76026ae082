"""Where a stabilised drink stands before limits and declarations, each with its regulation and its mark."""

from __future__ import annotations

from typing import Final

from service.chemistry.sorbate import SorbicLimit, sorbic_limit
from service.chemistry.sulfite_limits import Market, SulfiteLimit, sulfite_limits
from service.planner.stabilising.answers import LimitReport
from service.planner.stabilising.situation import Situation

_US_WINE_FROM_ABV_PERCENT: Final = 7.0
_TOLERANCE: Final = 1e-9
_YEAST: Final = "Total SO2 before dosing was not measured, and yeast makes some itself."


def so2_limits(here: Situation) -> tuple[SulfiteLimit, ...]:
    """Limits of total SO2 for this drink, the lowest first; all fermentable sugar counts as glucose and fructose."""
    return sulfite_limits(here.market, here.legal_class, here.sugar_g_per_l, here.asked.colour)


def limit_reports(here: Situation, total_so2: float, sorbic: float, so2_in_drink: float) -> tuple[LimitReport, ...]:
    """Limits and the declaration, with what the drink would hold at packaging.

    Parameters: here; total_so2 and sorbic, as wanted [mg/L]; so2_in_drink, as this plan leaves it [mg/L].
    Returns: LimitReport for each limit of SO2, for sorbic acid, and for each declaration.
    """
    found = so2_limits(here)
    unmeasured = _YEAST if here.asked.sulfite.total_now_mg_per_l is None else ""
    reports = [
        LimitReport(
            what="total_so2",
            category=limit.category,
            limit_mg_per_l=limit.mg_per_l,
            comparison="above",
            ours_mg_per_l=round(total_so2, 2),
            exceeded=over(total_so2, limit.mg_per_l),
            regulation=limit.regulation,
            edition=limit.edition,
            mark=limit.mark,
            source_id=limit.source_key,
            note=f"{limit.note} {unmeasured}".strip(),
        )
        for limit in found
    ]
    sorbate = sorbic_limit(here.market)
    reports.append(
        LimitReport(
            what="sorbic_acid",
            category=here.lot_class.value,
            limit_mg_per_l=sorbate.mg_per_l,
            comparison="above",
            ours_mg_per_l=round(sorbic, 2),
            exceeded=over(sorbic, sorbate.mg_per_l),
            regulation=sorbate.regulation,
            edition=sorbate.edition,
            mark=sorbate.mark,
            source_id=sorbate.source_key,
            note=sorbate.note,
        )
    )
    declaration = found[0].declaration
    weak_us = here.market is Market.US and here.packaging.abv_percent < _US_WINE_FROM_ABV_PERCENT
    reports.append(
        LimitReport(
            what="declaration_contains_sulfites",
            category=found[0].category,
            limit_mg_per_l=declaration.threshold_mg_per_l,
            comparison="at or above" if declaration.at_threshold else "above",
            ours_mg_per_l=round(so2_in_drink, 2),
            exceeded=declaration.is_due(round(so2_in_drink, 6)),
            regulation="21 CFR 101.100(a)(4) and 130.9" if weak_us else declaration.regulation,
            edition=declaration.edition,
            mark="published; that it rules below 7 % vol is from memory, unverified" if weak_us else declaration.mark,
            source_id="cfr21_101_100" if weak_us else declaration.source_key,
            note=unmeasured,
        )
    )
    return tuple(reports)


def over(value: float, limit: float) -> bool:
    """Whether a content lies above a limit, rounding of the arithmetic aside."""
    return value > limit * (1.0 + _TOLERANCE)


def lowest_so2_limit(here: Situation) -> SulfiteLimit:
    """The limit of total SO2 that binds first."""
    return so2_limits(here)[0]


def limit_of_sorbic(here: Situation) -> SorbicLimit:
    """The limit of sorbic acid."""
    return sorbic_limit(here.market)
