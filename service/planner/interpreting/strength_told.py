"""The strength by each method in words, with what has to be true for it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, cast

from service.physics.trade_rules import abv_by_factor, abv_by_real_extract
from service.planner.interpreting.answers import AlcoholReport, Method
from service.planner.span import Span

_SOURCE: Final[Mapping[str, str]] = {
    "given": "reading",
    "two_gravities": "balling_gaehrungschemie",
    "factor_131_25": "common_practice",
    "real_extract_rule": "memory_trade",
    "hydrometer_and_refractometer": "crc_2021",
    "no_alcohol_in_juice": "our_default",
    "recipe": "our_default",
}
_HOLDS: Final[Mapping[str, str]] = {
    "given": "it is of this drink as it is now, at 20 °C",
    "two_gravities": "nothing went in after the original gravity was read; Balling's yield, with two others for the "
    "spread; glycerol and acids may move it by 0.2 % vol either way (judged)",
    "factor_131_25": "nothing went in; a rule of the trade (common practice, no source), shown beside",
    "real_extract_rule": "nothing went in; real extract = 0.1808 OE + 0.8192 AE, a rule for brewers' worts (from "
    "memory), shown beside",
    "hydrometer_and_refractometer": "both were read in one degassed, clear sample; sugars and acid as such, no "
    "measured mixtures behind it: a check, not a laboratory's strength",
    "no_alcohol_in_juice": "it has not begun to ferment",
    "recipe": "the recipe was followed; it was not measured",
}


def report_of(
    method: Method, strength: Span, error: float, yields: tuple[float, float], *, used: bool, acid_known: bool
) -> AlcoholReport:
    """A strength that a method gave.

    Parameters: method; strength, with its interval [% vol]; error, by the instruments alone [% vol]; yields, the least
    and most that other yields give [% vol]; used, whether the answer goes on with it; acid_known, by a titration.
    """
    text = f"{strength.value:.2f} % vol ({strength.low:.2f} to {strength.high:.2f})"
    if method == "two_gravities":
        text += f"; other published yields {yields[0]:.2f} to {yields[1]:.2f}, the readings ±{error:.2f}"
    elif method == "hydrometer_and_refractometer":
        known = "the acid titrated" if acid_known else "no acid titrated, so that it counts as extract"
        text += f"; ±{error:.2f} by the two instruments; {known}"
        if strength.value == 0.0:
            text += "; the two readings leave a little less than no alcohol, which counts as none"
    return AlcoholReport(
        method,
        round(strength.value, 3),
        round(strength.low, 3),
        round(strength.high, 3),
        round(error, 3),
        used,
        _HOLDS[method],
        f"{text}.",
        _SOURCE[method],
    )


def rules_of(original: float, final: float) -> list[AlcoholReport]:
    """The two rules of the trade, beside the mass balance."""
    found = []
    for method, rule in (("factor_131_25", abv_by_factor), ("real_extract_rule", abv_by_real_extract)):
        value = rule(original, final)
        text = f"{value:.2f} % vol by this rule; the mass balance is used."
        found.append(
            AlcoholReport(
                cast("Method", method), round(value, 3), None, None, None, False, _HOLDS[method], text, _SOURCE[method]
            )
        )
    return found


def no_strength(method: Method, why: str) -> AlcoholReport:
    """A method that says nothing here, and why."""
    return AlcoholReport(method, None, None, None, None, False, _HOLDS[method], why, _SOURCE[method])
