"""How much yeast, by two practices that differ fourfold, and what its tolerance says, which protects nothing."""

from __future__ import annotations

from typing import Literal

from service.chemistry.yeast import (
    DRY_YEAST_G_PER_L,
    PITCH_MILLION_PER_ML_PER_PLATO,
    USUAL_VIABLE_CELLS_PER_G,
    cells_to_pitch,
    sugar_until_tolerance_g_per_l,
    yeast_g,
)
from service.errors import OutOfRangeError, ServiceError
from service.planner.asked import Circumstances
from service.planner.must.answers import Ferment, Pitch
from service.planner.must.asked import YeastAsked
from service.planner.must.feeds import weighed
from service.planner.must.words import litres_words
from service.planner.plain_words import plain_figure

CanItFinish = Literal["yes_by_the_stated_tolerance", "in_doubt", "no_by_the_stated_tolerance", "unknown"]
Verdict = Literal["not_given", "below_both", "between_the_two", "as_both_or_more"]

_NO: CanItFinish = "no_by_the_stated_tolerance"
_UNPROTECTED = "Whatever its strength, alcohol does not protect this batch."

MOST_G_PER_L = 50.0
"""More yeast than that in a litre is a slip of the unit [g/L] (our default)."""


def pitch_of(
    asked: YeastAsked,
    volume_l: float,
    extract_percent: float,
    ferment: Ferment,
    drink_abv_low_percent: float,
    circumstances: Circumstances,
) -> Pitch:
    """How much yeast, and what its tolerance says.

    Parameters: asked; volume_l of the must [L]; extract_percent [°P]; ferment, where it ends;
        drink_abv_low_percent, the lower end of the strength of the drink that will be sweet [% vol]; circumstances.
    Returns: Pitch.
    Raises: OutOfRangeError for more yeast than anybody pitches.
    """
    if asked.grams is not None and asked.grams > MOST_G_PER_L * volume_l:
        raise OutOfRangeError(
            f"{plain_figure(asked.grams)} g of yeast in {litres_words(volume_l, circumstances.system)} are more than "
            f"{MOST_G_PER_L:g} g/L: check the unit, grams are meant.",
            "/grams",
        )
    low, usual, high = (cells_to_pitch(volume_l, extract_percent, rate) for rate in PITCH_MILLION_PER_ML_PER_PLATO)
    viable = USUAL_VIABLE_CELLS_PER_G if asked.viable_cells_per_g is None else asked.viable_cells_per_g
    least_g, most_g = (volume_l * rate for rate in DRY_YEAST_G_PER_L)
    try:
        brewing = yeast_g(usual, viable)
    except ServiceError as error:
        raise error.below("/viable_cells_per_g") from error
    told = most_g if asked.grams is None else asked.grams
    rate = None
    if asked.grams is not None and extract_percent > 0.0:
        rate = asked.grams * viable / (1e6 * volume_l * 1000.0 * extract_percent)
    finish, left = _can_it_finish(asked.tolerance_abv_percent, ferment)
    doubt = doubt_of(finish, asked.tolerance_abv_percent, ferment)
    burns = None
    if asked.tolerance_abv_percent is not None:
        burns = sugar_until_tolerance_g_per_l(asked.tolerance_abv_percent, drink_abv_low_percent)
    return Pitch(
        cells=float(f"{usual:.4g}"),
        cells_low=float(f"{low:.4g}"),
        cells_high=float(f"{high:.4g}"),
        viable_cells_per_g=viable,
        brewing_g=round(brewing, 3),
        wine_low_g=round(least_g, 3),
        wine_high_g=round(most_g, 3),
        amount_text=weighed(told, circumstances),
        given_g=asked.grams,
        million_per_ml_per_plato=None if rate is None else round(rate, 4),
        verdict=_verdict(asked.grams, least_g, yeast_g(low, viable)),
        can_it_finish=finish,
        tolerance_abv_percent=asked.tolerance_abv_percent,
        sugar_left_g_per_l=None if left is None else round(left, 2),
        could_still_burn_g_per_l=None if burns is None else round(burns, 1),
        text=_text(asked, (brewing, least_g, most_g), burns, drink_abv_low_percent, circumstances, doubt),
    )


def _verdict(grams: float | None, wine_g: float, brewing_g: float) -> Verdict:
    if grams is None:
        return "not_given"
    least, most = sorted((wine_g, brewing_g))
    return "below_both" if grams < least else "between_the_two" if grams < most else "as_both_or_more"


def _can_it_finish(tolerance: float | None, ferment: Ferment) -> tuple[CanItFinish, float | None]:
    """Judged by the strongest that the must can become; the sugar that would stay, by the same end [g/L]."""
    if tolerance is None:
        return "unknown", None
    strength = ferment.abv_percent
    left = sugar_until_tolerance_g_per_l(min(strength.high, 25.0), tolerance)
    if tolerance >= strength.high:
        return "yes_by_the_stated_tolerance", left
    return ("no_by_the_stated_tolerance" if tolerance < strength.low else "in_doubt"), left


def doubt_of(can_it_finish: str, tolerance_abv_percent: float | None, ferment: Ferment) -> str:
    """What is said wherever an end of the ferment is told that the yeast is not said to reach.

    Parameters: can_it_finish, the verdict of a Pitch; tolerance_abv_percent, as stated [% vol]; ferment, where it ends.
    Returns: sentences; empty where the verdict is any other.
    """
    if can_it_finish != _NO or tolerance_abv_percent is None:
        return ""
    strength = ferment.abv_percent
    return (
        f"It may never get dry: the sugar is enough for {strength.low:.1f} to {strength.high:.1f} % vol, and the yeast "
        f"is said to bear {tolerance_abv_percent:g} % vol. If it stops there, sugar is left that may ferment later."
    )


def _text(
    asked: YeastAsked,
    practices_g: tuple[float, float, float],
    burns: float | None,
    abv_percent: float,
    circumstances: Circumstances,
    doubt: str,
) -> str:
    brewing, least, most = (weighed(float(f"{g:.3g}"), circumstances) for g in practices_g)
    said = (
        f"Brewers' practice counts cells and comes to {brewing}, winemakers' weighs {least} to {most} (both from "
        "memory): they differ, and more nitrogen goes with fewer cells."
    )
    if burns is None:
        return f"{said} No tolerance was stated: alcohol does not protect this batch."
    tolerance = asked.tolerance_abv_percent
    if doubt:
        said = f"{said} {doubt}"
    if burns > 0.0:
        return (
            f"{said} At {abv_percent:.1f} % vol a yeast that bears {tolerance:g} % could still burn {burns:.0f} g/L of "
            "added sugar: alcohol does not protect this batch."
        )
    return f"{said} A stated tolerance is no wall: yeast may get beyond {tolerance:g} %. " + _UNPROTECTED
