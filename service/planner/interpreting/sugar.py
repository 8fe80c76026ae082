"""Sugar left, and how far gravity could still fall.

A final gravity is no measure of sugar: alcohol lowers it, acids, glycerol and what does not ferment raise it. What
counts is the real extract, of which some is no sugar. Two ways lead to what may still ferment: extract less what is
no sugar in such a drink, and, for a honey must whose original gravity is known, the gravity at which it would end.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot
from typing import Final

from service.catalogue.derived import fermentable_g_per_100g
from service.catalogue.lookup import get_ingredient
from service.errors import ServiceError
from service.model.lot import Lot, LotReadings, lot_from_readings
from service.model.lot_class import DRY_EXTRACT, LotClass
from service.physics.carbon_dioxide import co2_from_sugar_g_per_l, co2_volumes_from_g_per_l
from service.physics.ethanol_water import ETHANOL_DENSITY_20C_KG_M3
from service.physics.fermentation import BALLING, fermented_out
from service.physics.solutes import Component
from service.planner.correction.answers import Figure
from service.planner.interpreting.answers import SugarReport
from service.planner.interpreting.asked import ReadingsAsked
from service.planner.interpreting.strength import ByMethod
from service.planner.span import NORMAL_90, Span

FALL_PER_HEXOSE_G_PER_L: Final = 0.00047
"""What gravity falls by for each g/L of glucose or fructose that ferments (computed)."""

FERMENTABLE_HONEY: Final = "honey_average"
"""The row whose sugars tell where a honey must ends."""

_TEST_SD_G_PER_L: Final = 1.0
"""Standard deviation of a test for sugar without a stated error (judged)."""

_ALCOHOL_PER_HEXOSE: Final = 0.47
"""g of alcohol from a gram of hexose (common practice, no source; 0.46 to 0.484)."""

_MOST_DRY: Final = 1.002
_SUGARS: Final = (
    Component.GLUCOSE,
    Component.FRUCTOSE,
    Component.SUCROSE,
    Component.DISACCHARIDES,
    Component.HIGHER_SUGARS,
)


def volumes_of_hexose(hexose_g_per_l: float) -> float:
    """Carbon dioxide from so much sugar [volumes].

    >>> round(volumes_of_hexose(4.26), 2)
    1.0
    """
    return co2_volumes_from_g_per_l(co2_from_sugar_g_per_l(hexose_g_per_l))


def honey_fermentable_share() -> Span:
    """Share of honey's solids that yeast can use: of the row, by what part of its disaccharides ferments.

    >>> share = honey_fermentable_share()
    >>> round(share.low, 3), round(share.high, 3)
    (0.855, 0.943)
    """
    honey = get_ingredient(FERMENTABLE_HONEY)
    solids = 100.0 - honey.grams(Component.WATER)
    spread = fermentable_g_per_100g(honey)
    low = spread.typical if spread.low is None else spread.low
    high = spread.typical if spread.high is None else spread.high
    return Span(spread.typical / solids, low / solids, high / solids)


@dataclass(frozen=True, slots=True)
class SugarFound:
    """The drink as a lot of a litre, its sugar that yeast can use, and how far gravity may fall."""

    lot: Lot
    sugar: Span
    drop: Span
    report: SugarReport


_POINTERS: Final[Mapping[str, str]] = {
    "/gravity": "/hydrometer",
    "/residual_sugar": "/residual_sugar",
    "/titratable_acidity": "/titratable_acidity",
    "/ph": "/ph",
    "/abv_percent": "/abv_percent",
}


def litre_of(asked: ReadingsAsked, used: ByMethod) -> Lot:
    """A litre of the drink as a lot.

    Raises: ServiceError where the readings leave no room for each other, pointing at this request's fields.
    """
    acidity = asked.acidity
    try:
        return lot_from_readings(
            "drink",
            LotReadings(
                1.0,
                None,
                used.found.gravity,
                used.found.abv_percent,
                asked.kind,
                None if acidity is None else acidity.meq_per_l,
                asked.residual_sugar_g_per_l,
                asked.ph,
                asked.circumstances.end_point_ph,
                asked.residual_sugar_error_g_per_l,
            ),
        )
    except ServiceError as error:
        error.pointer = _POINTERS.get(error.pointer, error.pointer)
        if error.pointer == "/titratable_acidity" and acidity is not None and acidity.titrated_here:
            error.pointer = "/titration"
        raise


def sugar_of(asked: ReadingsAsked, used: ByMethod) -> SugarFound:
    """Extract, sugar, and the fall that may be left.

    Parameters: asked; used, the gravity and strength to go on with.
    Returns: SugarFound.
    Raises: as `litre_of`.
    """
    lot = litre_of(asked, used)
    extract = used.extract
    sugar = _sugar(asked, lot, extract)
    ends = None if used.method != "two_gravities" else _expected_end(asked)
    drop = _drop(used.found.gravity, sugar, ends)
    report = SugarReport(
        _figure(extract, 1),
        round(used.found.extract_percent, 2) + 0.0,
        _figure(sugar, 1),
        None if ends is None else _figure(ends, 4),
        _figure(drop, 4),
        round(drop.value / FALL_PER_HEXOSE_G_PER_L * _ALCOHOL_PER_HEXOSE / (ETHANOL_DENSITY_20C_KG_M3 / 100.0), 2),
        _text(asked, used.found.gravity, extract, sugar, drop, ends),
    )
    return SugarFound(lot, sugar, drop, report)


def _sugar(asked: ReadingsAsked, lot: Lot, extract: Span) -> Span:
    contents = lot.contents
    if asked.juice:
        value = sum(contents.masses_g.get(component, 0.0) for component in _SUGARS)
        share = value / max(extract.value, 1e-9)
        return Span(value, max(extract.low * share, 0.0), extract.high * share)
    value = contents.tally("fermentable_g")
    if asked.residual_sugar_g_per_l is not None:
        error = asked.residual_sugar_error_g_per_l
        return Span.read(value, _TEST_SD_G_PER_L if error is None else error)
    sd = NORMAL_90 * DRY_EXTRACT[asked.kind].sd
    # the extract less what is no sugar, both with their spread; none of it may be below nothing
    middle = _unclipped(asked, extract)
    low = middle - hypot(extract.value - extract.low, sd)
    high = middle + hypot(extract.high - extract.value, sd)
    return Span(value, min(max(low, 0.0), value), max(high, value, 0.0))


def _unclipped(asked: ReadingsAsked, extract: Span) -> float:
    dry = DRY_EXTRACT[asked.kind]
    acids = 0.0
    if asked.acidity is not None:  # more acid than usual is more that is no sugar
        acids = 1.05 * (asked.acidity.meq_per_l * 75.04 / 1000.0 - dry.acids)
    return extract.value - dry.total - acids


def _expected_end(asked: ReadingsAsked) -> Span | None:
    """Where a honey must of this original gravity ends, by the share of honey that ferments."""
    if asked.kind is not LotClass.MEAD or asked.original is None:
        return None
    share = honey_fermentable_share()
    original = asked.original.at_20c(0.0)
    middle, high, low = (
        fermented_out(original, s, BALLING.ethanol_yield_g_per_g).final_gravity
        for s in (share.value, share.low, share.high)
    )
    return Span(middle, low, high)


def _drop(gravity: float, sugar: Span, ends: Span | None) -> Span:
    """What gravity may still fall by: by where a honey must ends if that is known, else by the sugar; the interval
    takes in both."""
    by_sugar = [FALL_PER_HEXOSE_G_PER_L * s for s in (sugar.value, sugar.low, sugar.high)]
    if ends is None:
        return Span(*by_sugar)
    value = max(gravity - ends.value, 0.0)
    low = min(max(gravity - ends.high, 0.0), by_sugar[1], value)
    return Span(value, low, max(gravity - ends.low, by_sugar[2], value))


def _text(asked: ReadingsAsked, gravity: float, extract: Span, sugar: Span, drop: Span, ends: Span | None) -> str:
    known = "by the test" if asked.residual_sugar_g_per_l is not None else "the extract less what is no sugar"
    parts = [
        f"{extract.value:.0f} g/L are dissolved; about {sugar.value:.0f} g/L of it ({sugar.low:.0f} to "
        f"{sugar.high:.0f}) is sugar ({known})."
    ]
    if asked.juice:
        return f"{parts[0]} It is juice: all of it can ferment."
    if gravity <= _MOST_DRY:
        parts.append(
            f"SG {gravity:.3f} does not mean no sugar: alcohol lowers a gravity as much as acids, glycerol and the "
            "rest raise it."
        )
    where = (
        "" if ends is None else f" A honey must of this original gravity ends at {ends.value:.3f} ({ends.low:.3f} to "
    )
    where += "" if ends is None else f"{ends.high:.3f})."
    parts.append(
        f"Were it all to ferment, gravity would fall by {drop.value:.4f} more ({drop.low:.4f} to {drop.high:.4f})."
        f"{where}"
    )
    return " ".join(parts)


def _figure(span: Span, digits: int) -> Figure:
    return Figure(*(round(value, digits) + 0.0 for value in (span.value, span.low, span.high)))
