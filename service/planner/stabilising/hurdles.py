"""What each hurdle is worth for one drink, and what else could be done. No verdict is a promise."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from service.physics.pasteurising import DEFAULT_MINIMUM_UNITS, minutes_for_units
from service.physics.pasteurising import SOURCE_KEY as HEAT_SOURCE
from service.planner.answers import OUR_DEFAULT, PRACTICE
from service.planner.stabilising.answers import Alternative, HeatMinutes, HurdleReport
from service.planner.stabilising.choice import Choice, enough_beside_sorbate
from service.planner.stabilising.situation import Situation

HIGHER_UNITS: Final = 100.0
"""Units for sweet, acid drinks of low strength: 50 to 100 and more, from memory, unverified."""

HEAT_TEMPERATURES_C: Final = (60.0, 63.0, 65.0, 68.0, 70.0)
ACID_FIRST_PH: Final = 3.8
"""pH above which acid comes first: free SO2 for a molecular target rises tenfold for each unit of pH (our default)."""

_LOW_ABV_PERCENT: Final = 10.0


def sorbate_holds(here: Situation, choice: Choice) -> bool:
    """Whether the pair of salts rests on a printed dose: sorbate at least as printed, and enough sulfite beside it."""
    printed = choice.published.dose_mg_per_l
    enough = printed is not None and choice.sorbic >= printed * (1.0 - 1e-9) and choice.sorbic > 0.0
    return enough and "sulfite" in here.hurdles and enough_beside_sorbate(choice.careful_molecular)


def hurdle_reports(here: Situation, choice: Choice) -> tuple[HurdleReport, ...]:
    """A verdict on every hurdle, planned or not."""
    return (_sulfite(here, choice), _sorbate(here, choice), _heat(here), _filtration(here), _cold(here))


def _sulfite(here: Situation, choice: Choice) -> HurdleReport:
    planned = "sulfite" in here.hurdles
    held = sorbate_holds(here, choice)
    if not planned:
        text = "Not planned. Alone it does not hold yeast that has sugar; it helps against bacteria and oxygen."
    elif choice.blocked("sulfite"):
        text = "No sulfite is dosed: see the stop above."
    elif held:
        text = (
            f"Aims at {here.target_text} at pH {choice.ph_at_packaging:.2f}. With the sorbate it slows a few cells; it "
            "is worth what free SO2 measures at packaging."
        )
    else:
        text = (
            f"Aims at {here.target_text} at pH {choice.ph_at_packaging:.2f}: against bacteria and oxygen. Alone it "
            "does not hold yeast that has sugar."
        )
    return HurdleReport(
        "sulfite", planned, "no_blocker_found" if held else "does_not_hold", text, (), "waterhouse_2016"
    )


def _sorbate(here: Situation, choice: Choice) -> HurdleReport:
    planned, published = "sorbate" in here.hurdles, choice.published
    source = published.source_key
    if planned and choice.blocked("sorbate"):
        return HurdleReport(
            "sorbate", True, "does_not_hold", "No sorbate is dosed: see the stop above.", (), OUR_DEFAULT
        )
    if published.dose_mg_per_l is None:
        given = f" {choice.sorbic:.0f} mg/L was asked for; nothing printed says that it holds." if choice.sorbic else ""
        text = f"{published.reason}; no dose is published, and the legal maximum may not hold it.{given}"
        return HurdleReport("sorbate", planned, "not_shown_to_hold", text[0].upper() + text[1:], (), source)
    printed = f"{published.dose_mg_per_l:.0f} mg/L sorbic acid"
    if not planned:
        text = f"Not planned. Printed for this drink: {printed}, with sulfite ({published.reason})."
        return HurdleReport("sorbate", False, "not_shown_to_hold", text, (), source)
    if sorbate_holds(here, choice):
        text = (
            f"{choice.sorbic:.0f} mg/L sorbic acid, of which the table asks for {published.dose_mg_per_l:.0f} "
            f"({published.reason}). It keeps a few cells from growing; it kills none."
        )
        return HurdleReport("sorbate", True, "no_blocker_found", text, (), source)
    text = f"{choice.sorbic:.0f} mg/L is less than the {printed} of the table."
    return HurdleReport("sorbate", True, "not_shown_to_hold", text, (), source)


def _heat(here: Situation) -> HurdleReport:
    weak_and_sweet = here.refermentable and here.packaging.abv_percent < _LOW_ABV_PERCENT
    rows = tuple(
        HeatMinutes(temperature, units, round(minutes_for_units(units, temperature), 1))
        for units in (DEFAULT_MINIMUM_UNITS, HIGHER_UNITS)
        for temperature in HEAT_TEMPERATURES_C
    )
    aim = HIGHER_UNITS if weak_and_sweet else DEFAULT_MINIMUM_UNITS
    text = (
        f"{minutes_for_units(aim, 65.0):.0f} min at 65 °C, or {minutes_for_units(aim, 60.0):.0f} at 60, are {aim:g} "
        f"units, {'the higher aim of a sweet, weak drink' if weak_and_sweet else 'our default'}. Count at the coldest "
        "spot; still drink or pressure-rated containers only."
    )
    return HurdleReport("pasteurised", "pasteurised" in here.hurdles, "may_hold_if_done_right", text, rows, HEAT_SOURCE)


def _filtration(here: Situation) -> HurdleReport:
    return HurdleReport(
        "sterile_filtered",
        "sterile_filtered" in here.hurdles,
        "may_hold_if_done_right",
        "A filter of 0.45 µm absolute holds yeast back (from memory, unverified) if all behind it is sterile; it also "
        "takes out pulp and haze.",
        (),
        "memory_trade",
    )


def _cold(here: Situation) -> HurdleReport:
    return HurdleReport(
        "cold",
        "cold" in here.hurdles,
        "slows_only",
        "At 4 °C or colder yeast slows and does not stop; a power cut makes it warm sugar with yeast. A keg with "
        "a relief valve forgives most.",
        (),
        PRACTICE,
    )


def alternatives(here: Situation, choice: Choice) -> tuple[Alternative, ...]:
    """Other ways, the ones that do not lean on salts first."""
    return tuple(_alternatives(here, choice))


def _alternatives(here: Situation, choice: Choice) -> Iterator[Alternative]:
    if choice.ph_at_packaging > ACID_FIRST_PH:
        yield Alternative(
            "Bring the pH to 3.8 or below with acid, then ask again.",
            f"At pH {choice.ph_at_packaging:.2f} the target takes {choice.free_wanted:.0f} mg/L free SO2; each 0.3 "
            "less halves it.",
            "arithmetic",
        )
    if not sorbate_holds(here, choice):
        if "pasteurised" not in here.hurdles:
            yield Alternative(
                "Pasteurise the still drink in its containers.",
                "Heat kills yeast whatever the strength; taste and haze change a little, and hot glass can break.",
                HEAT_SOURCE,
            )
        if "sterile_filtered" not in here.hurdles:
            yield Alternative(
                "Filter sterile, 0.45 µm absolute.",
                "It takes yeast out, and pulp and haze with it.",
                "memory_trade",
            )
        yield Alternative(
            "Leave no sugar that yeast can use: keep it dry, or sweeten in the glass.",
            "Nothing referments where there is nothing to ferment; bacteria remain a matter of acid and sulfite.",
            PRACTICE,
        )
        yield Alternative(
            "Keep it cold in a keg with a relief valve, and drink it soon.",
            "Pressure has a way out; cold slows yeast and does not stop it.",
            PRACTICE,
        )
    if here.growth > 1.0:
        yield Alternative(
            "Blend first, then dose the whole.",
            "What is blended in binds sulfite too and thins both salts; dosing last spares that guess.",
            PRACTICE,
        )
