"""From a range in mg/L to what a maker can measure: grams, or millilitres of the agent stirred into water.

A range is what to try in glasses. Its high end stops at a limit, reckoned on the volume at the low end of its interval.
"""

from __future__ import annotations

from math import ceil
from typing import Final

from service.catalogue.fining import MOST_WATER_SHARE, US_EDITION, FiningAgent
from service.planner.asked import Circumstances
from service.planner.drink import Span
from service.planner.fining.answers import AgentDose, Dispersion, LeesLeft, LegalNote
from service.planner.fining.asked import Haze, MarketName
from service.quantities import number_text, volume_text
from service.quantities.units import GRAMS_PER_OUNCE

DIVISIONS: Final = 10.0
"""A mass of fewer divisions of the scale than this is measured as a dispersion: 5 % of error at most (our default)."""

_AS_SOLD: Final = 100.0
_HALF: Final = 0.5
_BATCH_ML: Final = 50.0
_FINEST_ML, _FINE_ML, _COARSE_ML = 0.1, 1.0, 10.0
_FINE_FROM_ML, _COARSE_FROM_ML = 20.0, 1000.0
_FLUID_OUNCE_ML: Final = 30.0
_CLOSE: Final = 1e-9


def dose_of(agent: FiningAgent, volume_l: Span, haze: Haze, circumstances: Circumstances) -> AgentDose:
    """The range of an agent for a volume.

    m = c·V, at most c_limit·V_low

    Parameters: agent; volume_l with its interval [L]; haze, whose keeping takes the light range where one is on file;
    circumstances.
    Returns: AgentDose.
    Validity: a range to try in glasses, of white drinks where the source tells colours apart.
    Source: by agent, in the table.

    Example: gelatin for 19 L, computed: 0.3 to 2.9 g.

    >>> from service.catalogue.fining import fining_agents
    >>> dose = dose_of(fining_agents()["gelatin"], Span.exact(19.0), "clear", Circumstances())
    >>> round(dose.low_g or 0.0, 1), round(dose.high_g or 0.0, 1), dose.amount_text
    (0.3, 2.9, '14 to 142 mL of a 2 % dispersion')
    """
    dose = agent.dose_mg_per_l
    if haze == "keep" and agent.light_mg_per_l is not None:
        dose = agent.light_mg_per_l
    limit_g = _limit_g(agent, volume_l)
    if dose is None:
        text = agent.dose_text
        if limit_g is not None:
            text += f": {_grams(limit_g, limit_g, circumstances)} for this volume"
        return AgentDose(None, None, None, limit_g, text, None, agent.dose_mark, agent.dose_source)
    low_g = dose.low * volume_l.value / 1000.0
    high_g = dose.high * volume_l.value / 1000.0
    if limit_g is not None and limit_g < high_g:
        low_g, high_g = min(low_g, limit_g), limit_g
    stirred = _dispersion(agent, low_g, high_g, volume_l, circumstances)
    if stirred is not None and low_g < DIVISIONS * circumstances.instruments.scale_step_g:
        text = f"{_two_volumes(stirred, circumstances)} of {_called(agent, stirred)}"
    else:
        text = _grams(low_g, high_g, circumstances)
    return AgentDose(
        dose.low,
        dose.high,
        round(low_g, 4),
        round(high_g, 4),
        text,
        stirred,
        dose.mark,
        dose.source_key,
    )


def _limit_g(agent: FiningAgent, volume_l: Span) -> float | None:
    """What a limit admits, judged by the small end of the volume [g]."""
    return None if agent.us_limit_mg_per_l is None else round(agent.us_limit_mg_per_l * volume_l.low / 1000.0, 4)


def _grams(low_g: float, high_g: float, circumstances: Circumstances) -> str:
    step = circumstances.instruments.scale_step_g
    text = f"{_two(low_g, high_g, step)} g"
    if circumstances.system != "metric":
        text += f" ({_two(low_g / GRAMS_PER_OUNCE, high_g / GRAMS_PER_OUNCE, 0.01)} oz)"
    return text


def _two(low: float, high: float, step: float) -> str:
    first, second = number_text(low, step), number_text(high, step)
    return first if first == second else f"{first} to {second}"


def _two_volumes(stirred: Dispersion, circumstances: Circumstances) -> str:
    step = _FINEST_ML if stirred.high_ml < _FINE_FROM_ML else _FINE_ML
    if stirred.high_ml >= _COARSE_FROM_ML:
        return f"{_volume(stirred.low_ml, circumstances)} to {_volume(stirred.high_ml, circumstances)}"
    return f"{_two(stirred.low_ml, stirred.high_ml, step)} mL"


def _volume(ml: float, circumstances: Circumstances) -> str:
    """A volume in words; below a fluid ounce or so it is metric everywhere, as syringes are."""
    step = _FINEST_ML if ml < _FINE_FROM_ML else _FINE_ML if ml < _COARSE_FROM_ML else _COARSE_ML
    return volume_text(ml, "metric" if ml < _FLUID_OUNCE_ML else circumstances.system, step)


def _called(agent: FiningAgent, stirred: Dispersion) -> str:
    return "the sol as sold" if agent.as_sold_g_per_ml is not None else f"a {stirred.strength_percent:g} % dispersion"


def _dispersion(
    agent: FiningAgent, low_g: float, high_g: float, volume_l: Span, circumstances: Circumstances
) -> Dispersion | None:
    """What an agent is stirred into; stronger than usual where its water would pass 1 % of the drink."""
    if agent.disperse_percent is None or agent.disperse_most_percent is None:
        return None
    most_water_ml = MOST_WATER_SHARE * 1000.0 * volume_l.low
    if agent.as_sold_g_per_ml is not None:
        low, high = low_g / agent.as_sold_g_per_ml, high_g / agent.as_sold_g_per_ml
        water = 100.0 * high / (1000.0 * volume_l.low)
        return Dispersion(
            _AS_SOLD,
            None,
            None,
            round(low, 3),
            round(high, 3),
            round(water, 4),
            high <= most_water_ml * (1.0 + _CLOSE),
            f"By volume, at {agent.as_sold_g_per_ml:g} g/mL (from memory, unverified): {agent.disperse_text}.",
        )
    strength = agent.disperse_percent
    if 100.0 * high_g / strength > most_water_ml:
        needed = 100.0 * high_g / most_water_ml
        strength = min(agent.disperse_most_percent, ceil(needed / _HALF - _CLOSE) * _HALF)
    low, high = 100.0 * low_g / strength, 100.0 * high_g / strength
    weighed = max(high_g, DIVISIONS * circumstances.instruments.scale_step_g)
    made_up = _BATCH_ML * ceil(100.0 * weighed / strength / _BATCH_ML - _CLOSE)
    weigh = round(made_up * strength / 100.0, 4)
    return Dispersion(
        strength,
        weigh,
        made_up,
        round(low, 3),
        round(high, 3),
        round(100.0 * high / (1000.0 * volume_l.low), 4),
        high <= most_water_ml * (1.0 + _CLOSE),
        f"Weigh {weigh:g} g, make it up to {_volume(made_up, circumstances)} with water ({strength:g} % w/v): "
        f"{agent.disperse_text}. {_volume(low, circumstances)} holds the low dose, {_volume(high, circumstances)} the "
        "high one; discard the rest.",
    )


def legal_of(agent: FiningAgent, market: MarketName, volume_l: Span) -> LegalNote:
    """What a market's list says; without a market the list of the United States stands as a guide.

    Parameters: agent; market; volume_l with its interval [L].
    Returns: LegalNote.
    """
    if market == "eu":
        return LegalNote(
            "not_on_file",
            "No European list for drinks of honey is on file; that for wine is Delegated Regulation (EU) 2019/934: "
            "check it, and national rules.",
            None,
            None,
            "not read",
            "not on file",
            "eu_2019_934",
        )
    limit = agent.us_limit_mg_per_l
    return LegalNote(
        "listed" if agent.us_listed else "absent",
        f"27 CFR 24.246: {agent.us_text}; check the current text.",
        None if limit is None else round(limit, 1),
        _limit_g(agent, volume_l),
        US_EDITION,
        agent.us_mark,
        "cfr27_24_246",
    )


def lees_of(agent: FiningAgent, volume_l: Span) -> LeesLeft | None:
    """What stays behind with the lees of an agent, where a share is on file."""
    share = agent.lees_percent
    if share is None:
        return None
    return LeesLeft(
        share.low,
        share.high,
        round(share.low * volume_l.low / 100.0, 4),
        round(share.high * volume_l.high / 100.0, 4),
        share.mark,
        share.source_key,
    )
