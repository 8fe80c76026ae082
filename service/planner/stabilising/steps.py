"""The steps of a stabilising plan, and what to measure between them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import ceil
from typing import Final

from service.planner.answers import PRACTICE, NextReading
from service.planner.stabilising.answers import SaltDose, SulfiteReport
from service.planner.stabilising.asked import DEFAULT_BOUND_SHARE
from service.planner.stabilising.blocks import LEAST_DAYS, SLOW_DAYS
from service.planner.stabilising.choice import Choice
from service.planner.stabilising.situation import Situation
from service.planner.work import WorkStep

SETTLE_H: Final = 48.0
"""Hours between dosing and sweetening (common practice, no source)."""

_FIRST_FREE_H, _METER = 24.0, "pH meter, checked in pH 4.01 and 7.00"
_CUP_UP_TO_L: Final = 100.0
_SO2_KIT: Final = "aeration-oxidation, or an iodine or strip kit"
_FERMENT_CODES: Final = frozenset(
    {
        "yeast_still_active",
        "stabilisers_on_a_moving_ferment",
        "gravity_falling_in_hold_test",
        "readings_of_gravity_disagree",
    }
)


def steps_of(here: Situation, choice: Choice, doses: Sequence[SaltDose]) -> tuple[WorkStep, ...]:
    """What to do, in order: sorbate, then sulfite, then wait, then sweeten; or what to wait for."""
    return tuple(_dosing(here, choice, doses) if doses else _waiting(choice))


def _dosing(here: Situation, choice: Choice, doses: Sequence[SaltDose]) -> Iterator[WorkStep]:
    yield WorkStep(
        "Rack the drink off its lees into a clean vessel and mark the volume: fewer cells make every hurdle better.",
        "",
        0.0,
        f"{here.dosing.volume_l:.4g} L, clear, gravity unchanged.",
        PRACTICE,
    )
    for dose in doses:
        sorbate = dose.salt == "potassium_sorbate"
        how = "pour in the stock solution" if dose.stock else f"dissolve it in {_solvent(here, dose)}"
        name = "potassium sorbate" if sorbate else "potassium metabisulfite"
        yield WorkStep(
            f"{'First' if sorbate else 'Then' if len(doses) > 1 else 'Now'} {name}: {how}, stir it in gently and "
            f"evenly{'' if sorbate else '; ventilate, protect the eyes'}.",
            dose.amount_text,
            0.0,
            f"Expect pH {choice.ph_at_dosing:.2f} afterwards."
            if sorbate
            else "Close the vessel; leave it in the cool.",
            PRACTICE,
        )
    grows = here.growth > 1.0
    yield WorkStep(
        "Sweeten and blend with heat-treated ingredients." if grows else "Go on to sweetening or packaging.",
        "",
        SETTLE_H,
        "Gravity unchanged since dosing; free SO2 measured.",
        PRACTICE,
    )
    yield WorkStep(
        "Before packaging measure pH, free SO2 and gravity; fill one bottle of plastic too and feel it for weeks.",
        "",
        _FIRST_FREE_H,
        "A bottle that hardens says that it referments: chill, vent behind a cover, do not share.",
        PRACTICE,
    )


def _solvent(here: Situation, dose: SaltDose) -> str:
    """What to dissolve a salt in: ten times its mass, in half litres, where the batch is large (our default)."""
    if here.dosing.volume_l <= _CUP_UP_TO_L:
        return "a cup of the drink or of cool water"
    return f"{max(1, ceil(dose.mass_g / 50.0)) / 2.0:g} L of the drink or of cool water"


def _waiting(choice: Choice) -> Iterator[WorkStep]:
    codes = {block.caution.code for block in choice.blocks}
    if codes & _FERMENT_CODES:
        yield WorkStep(
            "Wait, then read the gravity of a degassed sample again.",
            "",
            24.0 * LEAST_DAYS,
            f"Two equal readings {LEAST_DAYS} days apart, none higher in the {SLOW_DAYS} days before; then rack and "
            "ask again.",
            PRACTICE,
        )
    if "raw_juice_after_stabilising" in codes:
        yield WorkStep(
            "Heat-treat the juice, blend, then ask for the doses of the whole.",
            "",
            0.0,
            "Readings of the blend: volume, pH, strength, sugar.",
            "cfr21_120_24",
        )
    if "ph_above_4_6" in codes:
        yield WorkStep(
            "Acidify in small portions and read the pH after each; then ask again.",
            "",
            0.0,
            "pH well below 4.0, better below 3.5.",
            "cfr21_114_3",
        )
    if "total_so2_over_limit" in codes:
        yield WorkStep(
            "Add no sulfite: lower the pH, aim lower, or take heat or filtration; dilute if there is too much already.",
            "",
            0.0,
            "Total SO2 measured.",
            PRACTICE,
        )


def readings_of(
    here: Situation, choice: Choice, so2: SulfiteReport, doses: Sequence[SaltDose]
) -> tuple[NextReading, ...]:
    """What to measure next, before dosing and after."""
    found: list[NextReading] = []
    if not here.asked.readings and (choice.blocks or doses):
        found.append(NextReading("read the gravity twice, three days apart: it must not fall", "hydrometer"))
    if here.asked.sulfite.total_now_mg_per_l is None and "sulfite" in here.hurdles:
        found.append(
            NextReading(
                "measure free and total SO2 before dosing: yeast makes some itself", "aeration-oxidation, a laboratory"
            )
        )
    if here.asked.dosing.titratable_meq_per_l is None and "sorbate" in here.hurdles:
        found.append(
            NextReading("titrate a degassed sample: it says how far sorbate lifts the pH", "burette or acid kit")
        )
    for dose in doses:
        if dose.salt == "potassium_sorbate":
            found.append(
                NextReading(
                    "read the pH after the sorbate, before the sulfite",
                    _METER,
                    round(choice.ph_at_dosing, 2),
                    "pH",
                    "20 °C",
                )
            )
        else:
            found.append(
                NextReading(
                    "measure free SO2, one to three days after dosing",
                    _SO2_KIT,
                    round(so2.at_dosing.free_mg_per_l, 1),
                    "mg/L",
                    wait_min_h=_FIRST_FREE_H,
                    low=round(_free_if_bound(here, choice, 0.5), 1),
                    high=round(_free_if_bound(here, choice, 0.3), 1),
                )
            )
    return tuple(found)


def _free_if_bound(here: Situation, choice: Choice, usual: float) -> float:
    """Free SO2 after dosing were another share bound: 0.3 to 0.5 is common practice, or the caller's if beyond it."""
    share = max(usual, here.bound_share) if usual > DEFAULT_BOUND_SHARE else min(usual, here.bound_share)
    return here.free_now_mg_per_l + choice.added * (1.0 - share)
