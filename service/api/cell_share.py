"""The cell question about two lots: in what proportion they are mixed to reach a gravity."""

from __future__ import annotations

from typing import Any, Final

from pydantic import Field

from service.api.cell_queries import CellQuery, VolumeUnit
from service.api.numbers import QueryNumber, ShortText
from service.api.question import Question
from service.api.reading import VOLUME, Reader, lot_from
from service.api.reading_targets import target_from
from service.api.requests import LotIn
from service.errors import InputError, ServiceError
from service.model.lot_class import LotClass
from service.model.properties import property_value
from service.planner.asked import LotAsked, PlanAsked
from service.planner.blend_plan import solve_blend
from service.planner.single import Answer
from service.quantities import number_text
from service.quantities.units import UNIT_BY_SPELLING

_MIX_L: Final = 10.0
"""Volume of the mix that is solved for; its proportion is that of any other volume."""

_AT_THE_VALUE: Final = 2e-5
"""The gravity reached is the one asked for to within this."""

_SHOWN: Final = 5e-6
"""A target this near to one of the two gravities is that gravity."""

_ROOM: Final = 2.0
"""Mixing never takes away half of the volume: so much more of each lot is there to choose from."""


class ShareForGravity(CellQuery):
    """In what proportion are two lots mixed to reach a gravity: lot A in % of the volume of both before mixing?"""

    gravity_a: QueryNumber = Field(description="SG of lot A, such as 1.080.")
    abv_percent_a: QueryNumber = Field(ge=0, le=100, description="Strength of lot A, % vol; 0 for a juice or syrup.")
    gravity_b: QueryNumber = Field(description="SG of lot B, such as 0.998.")
    abv_percent_b: QueryNumber = Field(ge=0, le=100, description="Strength of lot B, % vol.")
    target: QueryNumber = Field(
        description="SG 20/20 wanted, between the two, such as 1.020. The answer is 100 A/(A + B), litres of each at "
        "20 °C before they are mixed; A + B may be a little more or less than the mix, as volumes do not quite add."
    )
    volume: ShortText | None = Field(
        None,
        description="Of the finished mix at 20 °C, such as 20L; then the answer is how much of A to pour, in `unit`.",
    )
    unit: VolumeUnit | None = Field(None, description="Of the answer where a volume is given; default L.")
    class_a: LotClass = Field(LotClass.MEAD, description="What kind of liquid lot A is.")
    class_b: LotClass = Field(LotClass.MEAD, description="What kind of liquid lot B is.")
    sample_temperature_a: ShortText | None = Field(None, description="Such as 68F; without it gravity_a is SG 20/20.")
    sample_temperature_b: ShortText | None = Field(None, description="Such as 68F; without it gravity_b is SG 20/20.")
    calibrated_at: ShortText | None = Field(None, description="Temperature on the hydrometer; default 20C.")


def _lot(query: ShareForGravity, which: str) -> LotAsked:
    """One of the two lots, more of it than the mix can take; a fault points at its own parameters."""
    given = {name: getattr(query, f"{name}_{which}") for name in ("gravity", "abv_percent", "sample_temperature")}
    gravity: Any = given["gravity"]
    if given["sample_temperature"] is not None:
        gravity = {
            "reading": gravity,
            "sample_temperature": given["sample_temperature"],
            "calibrated_at": query.calibrated_at,
        }
    lot = LotIn.model_validate(
        {
            "name": which.upper(),
            "volume": f"{_ROOM * _MIX_L} L",
            "gravity": gravity,
            "abv_percent": given["abv_percent"],
            "class": getattr(query, f"class_{which}"),
            "use": {"min": "0 L", "max": f"{_ROOM * _MIX_L} L"},
        }
    )
    try:
        return lot_from(lot, 20.0, Reader())
    except ServiceError as error:
        name = error.pointer.rsplit("/", 1)[-1]
        error.pointer = f"/{name}" if name == "calibrated_at" else f"/{name if name in given else 'gravity'}_{which}"
        raise


def _gravity_of(lot: LotAsked) -> float:
    value = property_value("gravity", lot.lot.contents, lot.lot.volume_l)
    assert value is not None
    return value


def _share(query: ShareForGravity) -> Answer:
    if query.volume is None and query.unit is not None:
        raise InputError("A share has no unit: give the volume of the mix too, or leave the unit out.", "/unit")
    if query.calibrated_at is not None and query.sample_temperature_a is None and query.sample_temperature_b is None:
        raise InputError("A hydrometer's reading needs the temperature of the sample.", "/sample_temperature_a")
    volume_l = _MIX_L
    if query.volume is not None:
        volume_l = Reader().quantity(query.volume, VOLUME, "/volume", liquid=True).value_base / 1000.0
        if volume_l <= 0.0:
            raise InputError("A mix has a volume above zero.", "/volume")
    reader = Reader()
    target = target_from("gravity", query.target, reader)
    lots = _lot(query, "a"), _lot(query, "b")
    ends = [_gravity_of(lot) for lot in lots]
    a, b, wanted = (f"{value:.4f}" for value in (*ends, query.target))
    if a == b:
        raise InputError(f"Both lots have SG {a}, so no proportion is better than another.", "/gravity_b")
    if not min(ends) - _SHOWN <= query.target <= max(ends) + _SHOWN:
        raise InputError(
            f"SG {wanted} does not lie between SG {a} of lot A and SG {b} of lot B: choose a target between the two, "
            "or another lot.",
            "/target",
        )
    plan = solve_blend(PlanAsked(lots, (), (target, target_from("volume", f"{_MIX_L} L", reader))))
    reached = plan.predicted.gravity.value
    if plan.outcome != "targets_met" or abs(reached - query.target) > _AT_THE_VALUE:
        raise InputError(f"No proportion of the two was found for SG {wanted}; the nearest is {reached:g}.", "/target")
    litres = [0.0, 0.0]
    for k, lot in enumerate(lots):
        mass_g = next(amount.mass_g for amount in plan.amounts if amount.name == lot.lot.name)
        litres[k] = mass_g * lot.lot.volume_l / lot.lot.contents.mass_g * volume_l / _MIX_L
    share = 100.0 * litres[0] / sum(litres)
    percent = f"{number_text(share, 0.01)} % of the volume"
    poured = f"{number_text(litres[0], 1e-3)} L of A (SG {a}) with {number_text(litres[1], 1e-3)} L of B (SG {b})"
    made = (
        f"{number_text(volume_l, 1e-3)} L of SG {reached:.4f} and {plan.predicted.abv_percent.value:.2f} % vol, all "
        "at 20 °C"
    )
    if query.volume is None:
        unit = "% of the volume"
        value, words = share, f"{percent} is A, measured before mixing: {poured} make {made}."
    else:
        unit = query.unit or "L"
        value = 1000.0 * litres[0] / UNIT_BY_SPELLING[unit.lower()].factor
        words = f"{number_text(value, 1e-4)} {unit} is A, {percent} before mixing: {poured} make {made}."
    return Answer(value, words, plan.cautions, plan.assumed, unit=unit)


SHARE_QUESTIONS: tuple[Question, ...] = (
    Question(
        "share-for-gravity",
        ShareForGravity,
        _share,
        "gravity_a=1.080&abv_percent_a=0&gravity_b=0.998&abv_percent_b=8.5&target=1.020",
        "target",
        no_interval="No interval is worked out for a proportion: mix most of it, read the gravity, and add the rest.",
    ),
)
"""For the list of all cell questions."""
