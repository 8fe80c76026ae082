"""Cautions of a must: what can hurt, spoil, stick or break a limit. Nothing here says that a drink is harmless."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Final

from service.physics.ethanol_water import ETHANOL_DENSITY_20C_KG_M3
from service.physics.fermentation import BALLING_CO2_G_PER_G
from service.planner.answers import ALCOHOL, PRACTICE, Caution
from service.planner.answers_blend import BlendPlan
from service.planner.asked import Circumstances
from service.planner.cautions import sorted_once
from service.planner.must.answers import Ferment, Nitrogen, Pitch
from service.planner.must.feeds import STRONG_GRAVITY, left_out, too_much, weighed, yeast_nutrient_g_per_l
from service.planner.must.words import gas_words

HONEY_WINE_BRIX: Final = (13.0, 35.0)
"""A must of honey wine is not thinned below 13 °Bx nor holds more than 35: 27 CFR 24.203, 2015 edition."""

HONEY_WINE_ABV_PERCENT: Final = 14.0
"""Honey wine of 27 CFR 24.203, 2015 edition, holds at most 14 % vol."""

STRONGEST_YEAST_ABV_PERCENT: Final = 18.0
"""About the most that a strong yeast reaches [% vol] (common practice, no source)."""

_CO2_G_PER_L: Final = 44.0095 / 24.055
"""Carbon dioxide gas at 20 °C and 1 atm [g/L], as an ideal gas."""

_MUCH_GAS_L: Final = 100.0

_NOT_OF_A_MUST: Final = frozenset(
    {
        "refermentable_sugar_no_hurdle",
        "hurdle_does_not_hold",
        "hurdle_is_not_proof",
        "sugar_may_referment",
        "warm_storage",
        "sulfite_sensitivity",
        "sorbate_without_sulfite",
        "sorbate_outside_published_table",
        "raw_juice_after_stabilising",
    }
)
"""Cautions of a blend that speak of a drink to be sealed, which a must is not."""


@dataclass(frozen=True, slots=True)
class Brew:
    """What the cautions look at."""

    must: BlendPlan
    ferment: Ferment
    nitrogen: Nitrogen
    pitch: Pitch
    honey_alone: bool
    blend: BlendPlan | None = None
    circumstances: Circumstances = field(default_factory=Circumstances)
    name: str = "finished drink"
    open_vessel: bool = False


def cautions_of(brew: Brew) -> tuple[Caution, ...]:
    """All cautions of a must, and those of the drink that it is for; `stop` first."""
    own = [
        replace(c, text=c.text.replace("The blend ", "The must "))
        for c in brew.must.cautions
        if c.code not in _NOT_OF_A_MUST
    ]
    found = [*own, *_nutrients(brew), *_yeast(brew), *_strength(brew), *_beyond_yeast(brew), *_gas(brew), ALCOHOL]
    if brew.blend is not None:
        known = {(c.code, c.text) for c in found}
        found += [
            replace(c, about=brew.name) for c in brew.blend.cautions if (c.code, c.text) not in known and c != ALCOHOL
        ]
    return sorted_once(found)


def _nutrients(brew: Brew) -> Iterator[Caution]:
    nitrogen = brew.nitrogen
    limit = next((one for one in nitrogen.limits if one.exceeded), None)
    if limit is not None:
        yield Caution(
            "phosphates_over_limit",
            "stop",
            f"{limit.ours_g_per_l:.3g} g/L of ammonium phosphates were given, above {limit.limit_g_per_l:.2f} "
            f"({limit.regulation.split(':')[0]}): no feed holds them. Lower their amount; check the current text.",
            limit.source_id,
        )
    if too_much(nitrogen):
        yield Caution(
            "excess_nitrogen",
            "warning",
            f"About {nitrogen.excess_mg_per_l:.0f} mg/L more nitrogen than the yeast needs: what is left in a sweet "
            "drink feeds a second ferment and bacteria.",
            "our_default",
        )
    short = nitrogen.short_mg_per_l
    at_limit = any(dose.at_limit for dose in nitrogen.doses)
    if short > 0.1 * max(nitrogen.need_mg_per_l, 10.0) or (at_limit and short >= 1.0):
        yield Caution(
            "nitrogen_short",
            "warning",
            f"{short:.0f} of {nitrogen.need_mg_per_l:.0f} mg/L of nitrogen are missing: such a must slows, sticks, "
            f"smells of sulfur. {yeast_nutrient_g_per_l(short):.2g} g/L of yeast nutrient (4.5 % nitrogen) bring it.",
            "mendes_ferreira_2010",
        )
    if len(nitrogen.doses) > len(left_out(nitrogen)):
        yield Caution(
            "nutrients_of_food_grade",
            "note",
            "Food-grade nutrients only, never garden or lawn fertiliser; keep salts from eyes and away from children.",
            PRACTICE,
        )


def _yeast(brew: Brew) -> Iterator[Caution]:
    pitch = brew.pitch
    if not brew.ferment.ends_by_itself:
        yield Caution(
            "base_would_ferment_on",
            "warning",
            f"Such a must ends drier than {brew.ferment.final_gravity.value:.3f}: no yeast stops when told, and what "
            "stopped may start again. Plan a dry base and sweeten it.",
            PRACTICE,
        )
    if pitch.verdict == "below_both":
        yield Caution(
            "little_yeast",
            "warning",
            f"{pitch.amount_text} of yeast are less than either practice asks for "
            f"({weighed(pitch.wine_low_g, brew.circumstances)} by volume, "
            f"{weighed(pitch.brewing_g, brew.circumstances)} by cells): a slow start lets others in.",
            "memory_handbook",
        )
    if pitch.can_it_finish in ("in_doubt", "no_by_the_stated_tolerance"):
        strength = brew.ferment.abv_percent
        yield Caution(
            "may_stop_before_dry",
            "warning",
            f"The must can become {strength.low:.1f} to {strength.high:.1f} % vol, the yeast is said to bear "
            f"{pitch.tolerance_abv_percent:g}: it may stop sweet, and start again later. Never seal it on that.",
            PRACTICE,
        )


def _strength(brew: Brew) -> Iterator[Caution]:
    brix, abv = brew.must.predicted.brix, brew.ferment.abv_percent
    least, most = HONEY_WINE_BRIX
    if brew.honey_alone and brix.low < least:
        yield Caution(
            "below_honey_wine_standard",
            "note",
            f"A honey must below {least:g} °Bx (about 1.0526) is no standard honey wine where sold in the US "
            "(27 CFR 24.203, 2015 edition; check it). Home making is another rule.",
            "cfr27_24_203",
        )
    if brew.honey_alone and (brix.high > most or abv.high > HONEY_WINE_ABV_PERCENT):
        yield Caution(
            "above_honey_wine_standard",
            "note",
            f"Above {most:g} °Bx or {HONEY_WINE_ABV_PERCENT:g} % vol it is no standard honey wine where sold in the US "
            "(27 CFR 24.203, 2015 edition; check it).",
            "cfr27_24_203",
        )
    if brew.must.predicted.gravity.high > STRONG_GRAVITY:
        yield Caution(
            "strong_must",
            "warning",
            "So much sugar slows yeast by itself: rather more yeast than less, four small feeds instead of two where "
            "nitrogen is lacking, and patience; it may stop early.",
            PRACTICE,
        )


def _beyond_yeast(brew: Brew) -> Iterator[Caution]:
    if brew.ferment.abv_percent.low > STRONGEST_YEAST_ABV_PERCENT:
        yield Caution(
            "stronger_than_yeast_bears",
            "warning",
            f"{brew.ferment.abv_percent.value:.1f} % vol is what the sugar could give: hardly any yeast gets beyond "
            f"{STRONGEST_YEAST_ABV_PERCENT:g} %. It will stop sweet; plan a lighter must.",
            PRACTICE,
        )


def _gas(brew: Brew) -> Iterator[Caution]:
    litres = gas_l(brew.ferment, brew.must.predicted.volume.value)
    if litres > _MUCH_GAS_L:
        yield Caution(
            "carbon_dioxide_in_the_room",
            "warning" if litres > 10.0 * _MUCH_GAS_L else "note",
            f"It gives off about {gas_words(litres, brew.circumstances.system)} of carbon dioxide, heavier "
            "than air, suffocating in cellars and cupboards: ventilate; enter no pit of it.",
            "memory_handbook",
        )
    if not brew.open_vessel:
        yield Caution(
            "never_seal_a_ferment",
            "warning",
            "Ferment under an airlock or a loose lid with room for foam, never sealed: the gas bursts any vessel.",
            PRACTICE,
        )


def gas_l(ferment: Ferment, volume_l: float) -> float:
    """Carbon dioxide that leaves while a must ferments, as gas at 20 °C [L]."""
    ethanol_g = ferment.abv_per_litre_of_must.high / 100.0 * ETHANOL_DENSITY_20C_KG_M3 * volume_l
    return ethanol_g * BALLING_CO2_G_PER_G / _CO2_G_PER_L
