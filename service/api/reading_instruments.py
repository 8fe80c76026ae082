"""From a readings request's texts to the planner's terms, with the place of each fault; impossible readings refused."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from math import hypot
from typing import Final

from service.api.reading import (
    VOLUME,
    Reader,
    end_point_from,
    meq_per_l,
    share_of_error,
)
from service.api.reading_blend import recipe_from
from service.api.reading_circumstances import circumstances_from
from service.api.reading_drink import figures_of
from service.api.reading_shown import (
    MOST_FERMENT_MEQ,
    MOST_JUICE_MEQ,
    hydrometer_from,
    now_from,
    on_day_from,
    one_gravity_a_day,
    refractometer_from,
    too_sour,
)
from service.api.requests import GravityIn
from service.api.requests_blend import RecipeIn
from service.api.requests_readings import (
    ExpectedIn,
    ReadingsRequest,
    TitrationIn,
)
from service.errors import InconsistentError, InputError, OutOfRangeError, ServiceError
from service.model.acidity import DEFAULT_END_POINT_PH
from service.model.lot_class import JUICE_ROW, Assumed, LotClass
from service.physics.slips import ph_meant, strength_meant
from service.planner.asked import Instruments
from service.planner.correction.asked import VESSEL
from service.planner.drink import Span
from service.planner.interpreting.asked import (
    BURETTE_ERROR_ML,
    AcidityRead,
    Expected,
    HydrometerRead,
    ReadingsAsked,
)
from service.quantities import parse_acidity, parse_sugar_concentration

_PH: Final = (2.0, 7.0)
_MOST_ABV_PERCENT = 25.0
_MOST_L = 1e8
_MOST_SUGAR_G_PER_L = 500.0
_READ: Final = (
    "hydrometer",
    "original_gravity",
    "refractometer",
    "titration",
    "titratable_acidity",
    "ph",
    "abv_percent",
)
"""What can be read; a volume or a sugar test says nothing alone."""


def readings_from(given: ReadingsRequest) -> ReadingsAsked:
    """A readings request as the planner takes it.

    Raises: ServiceError with every fault of the request.
    """
    reader = Reader()
    instruments, circumstances = circumstances_from(given, reader)
    _does_not_apply(given, reader)
    kind = LotClass.MEAD if given.drink_class is None else LotClass(given.drink_class)
    juice = kind in JUICE_ROW
    told = [name for name in _READ if getattr(given, name) is not None]
    if not given.series and not told:
        reader.faults.append(InputError(f"Give at least one reading: {', '.join(_READ)}, or a series.", "/hydrometer"))
    assumed: list[Assumed] = []

    def gravity(told: GravityIn | None, name: str) -> HydrometerRead | None:
        if told is None:
            return None
        return reader.attempt(f"/{name}", lambda: hydrometer_from(told, instruments, reader, assumed, name))

    now, original = gravity(given.hydrometer, "hydrometer"), gravity(given.original_gravity, "original_gravity")
    if original is not None and juice:
        reader.faults.append(
            InputError(
                "A juice has not fermented: leave the original gravity out, or name its class.", "/original_gravity"
            )
        )
    series = tuple(
        one
        for k, told in enumerate(given.series)
        if (one := reader.attempt(f"/series/{k}", partial(on_day_from, told, instruments, reader, assumed))) is not None
    )
    one_gravity_a_day(series, instruments, reader)
    now = now_from(now, series, instruments, reader)
    if given.steady_days is not None and given.series:
        reader.faults.append(InputError("The series tells for how long: leave steady_days out.", "/steady_days"))
    elif given.steady_days is not None and given.hydrometer is None:
        reader.faults.append(InputError("Say at which gravity it stood still: hydrometer.", "/hydrometer"))
    refractometer = None
    if given.refractometer is not None:
        shown = given.refractometer
        refractometer = reader.attempt(
            "/refractometer", lambda: refractometer_from(shown, reader, assumed, juice=juice)
        )
    acidity = _acidity(given, instruments, kind, reader)
    if refractometer is not None and refractometer.acid_meq_per_l is not None and acidity is not None:
        reader.faults.append(
            InputError("The acid of the sample is titrated in this request: leave this out.", "/refractometer/acid")
        )
    volume = None
    if given.volume is not None:
        text = given.volume
        volume = reader.attempt("/volume", lambda: _volume(text, instruments, reader))
    sugar = sugar_error = None
    if given.residual_sugar is not None:
        text_of_sugar = given.residual_sugar
        tested = reader.attempt("/residual_sugar", lambda: parse_sugar_concentration(text_of_sugar))
        if tested is not None:
            sugar, sugar_error = tested.g_per_l, tested.error_g_per_l
            if sugar > _MOST_SUGAR_G_PER_L:
                reader.faults.append(
                    OutOfRangeError(f"{sugar:g} g/L is no test of a drink: check the unit.", "/residual_sugar")
                )
        if juice:
            reader.faults.append(
                InputError("Of juice the gravity tells the sugar: leave the sugar test out.", "/residual_sugar")
            )
    _plausible(given, juice, reader)
    expected = None
    if given.expected is not None:
        told_recipe = given.expected
        expected = _expected(told_recipe, instruments, reader)
    if given.titration_end_point_ph is not None and acidity is None:
        reader.faults.append(
            InputError(
                "An end point belongs to a titration: give the acidity too (titratable_acidity).",
                "/titration_end_point_ph",
            )
        )
    built = circumstances()
    reader.finish()
    if acidity is not None:
        built = replace(built, end_point_ph=acidity.end_point_ph)
    return ReadingsAsked(
        now,
        original,
        refractometer,
        acidity,
        given.ph,
        given.abv_percent,
        sugar,
        sugar_error,
        volume,
        series,
        given.steady_days,
        given.sweetened,
        expected,
        None if given.drink_class is None else kind,
        tuple(dict.fromkeys(assumed)),
        built,
        given.model_dump(mode="json", by_alias=True, exclude_unset=True),
    )


def _does_not_apply(given: ReadingsRequest, reader: Reader) -> None:
    """Refuse what every request may carry and this one has no use for."""
    if given.currency is not None:
        reader.faults.append(InputError("Nothing here has a price: leave the currency out.", "/currency"))
    if given.draws is not None:
        reader.faults.append(InputError("Intervals of readings are first order: leave draws out.", "/draws"))
    if given.seed and given.draws is None:
        reader.faults.append(InputError("Nothing is drawn at random here: leave the seed out.", "/seed"))
    if given.senses.steps or given.senses.relative_sweetness:
        reader.faults.append(InputError("Nothing is tasted here: leave senses out.", "/senses"))


def _acidity(given: ReadingsRequest, instruments: Instruments, kind: LotClass, reader: Reader) -> AcidityRead | None:
    if given.titration is not None and given.titratable_acidity is not None:
        reader.faults.append(InputError("Give the titration or its result, not both.", "/titratable_acidity"))
        return None
    if given.titration is not None:
        told, beside = given.titration, given.titration_end_point_ph
        return reader.attempt("/titration", lambda: _titration(told, beside, instruments, kind))
    if given.titratable_acidity is None:
        return None
    text = given.titratable_acidity

    def read() -> AcidityRead:
        parsed = parse_acidity(text)
        if parsed.basis.value.endswith("/kg"):
            raise InputError("Give the acidity of a drink per litre, such as “6.2 g/L citric”.")
        meq = meq_per_l(parsed, 1.0)
        share = share_of_error(parsed)
        sd = meq * (instruments.titration_error_percent / 100.0 if share is None else share)
        _plausible_acidity(meq, kind, "", titrated=False)
        end_point = DEFAULT_END_POINT_PH if given.titration_end_point_ph is None else given.titration_end_point_ph
        return AcidityRead(meq, sd, end_point, None, "As given", titrated_here=False)

    return reader.attempt("/titratable_acidity", read)


def _titration(given: TitrationIn, beside: float | None, instruments: Instruments, kind: LotClass) -> AcidityRead:
    """Equivalents of base over the sample; the errors of the reading and of base and sample together."""
    if beside is not None and given.end_point_ph is not None and abs(beside - given.end_point_ph) > 1e-9:
        raise InconsistentError("Two end points of one titration: leave titration_end_point_ph out.", "/end_point_ph")
    told = beside if given.end_point_ph is None else given.end_point_ph
    try:
        end_point = end_point_from(told)
    except ServiceError as error:
        error.pointer = "/end_point_ph"
        raise
    meq = given.naoh_ml * given.naoh_mol_per_l / given.sample_ml * 1000.0
    burette = BURETTE_ERROR_ML if given.burette_error_ml is None else given.burette_error_ml
    sd = hypot(meq * instruments.titration_error_percent / 100.0, meq * burette / given.naoh_ml)
    _plausible_acidity(meq, kind, "/naoh_ml", titrated=True)
    text = f"{given.naoh_ml:g} mL of {given.naoh_mol_per_l:g} mol/L base for {given.sample_ml:g} mL"
    return AcidityRead(meq, sd, end_point, given.degassed, text, titrated_here=True)


def _plausible_acidity(meq: float, kind: LotClass, pointer: str, *, titrated: bool) -> None:
    if meq <= 0.0:
        raise InputError("Every drink of honey or juice takes some base: titrate again, or leave this out.", pointer)
    if meq > (MOST_JUICE_MEQ if kind in JUICE_ROW else MOST_FERMENT_MEQ):
        raise OutOfRangeError(too_sour(meq, titrated=titrated), pointer)


def _volume(text: str, instruments: Instruments, reader: Reader) -> Span:
    found = reader.quantity(text, VOLUME, liquid=True, read=True)
    litres = found.value_base / 1000.0
    if not 0.0 < litres <= _MOST_L:
        raise InputError("A volume is larger than zero, and no sea: check the unit.")
    sd = litres * instruments.volume_error_percent / 100.0
    if found.error_base is not None:
        sd = found.error_base / 1000.0
    return Span.read(litres, sd)


def _plausible(given: ReadingsRequest, juice: bool, reader: Reader) -> None:
    low, high = _PH
    if given.ph is not None and not low <= given.ph <= high:
        reader.faults.append(
            OutOfRangeError(
                f"No must or drink has pH {given.ph:g}; they lie between {low:g} and {high:g}."
                + (ph_meant(given.ph) or " Check the meter in buffers of pH 4.01 and 7.00."),
                "/ph",
            )
        )
    abv = given.abv_percent
    if abv is not None and abv > _MOST_ABV_PERCENT:
        reader.faults.append(
            OutOfRangeError(
                f"No ferment reaches {abv:g} % vol; up to {_MOST_ABV_PERCENT:g} is read here.{strength_meant(abv)} "
                f"If it is US proof, write half of it.",
                "/abv_percent",
            )
        )
    elif abv is not None and juice and abv > 0.0:
        reader.faults.append(
            InconsistentError("A juice has no alcohol: name the class of the ferment that it is.", "/abv_percent")
        )
    if given.sweetened is not None and given.original_gravity is None:
        reader.faults.append(
            InputError("This only matters beside an original gravity: give that, or leave this out.", "/sweetened")
        )


class _Recipe(RecipeIn):
    """The expected recipe, without a name of its own."""

    name: str = "expected"


def _expected(given: ExpectedIn, instruments: Instruments, reader: Reader) -> Expected | None:
    body = given.model_dump(mode="json", by_alias=True, exclude_unset=True)
    if given.drink is not None:
        if given.lots or given.additions:
            reader.faults.append(
                InputError("Give the expected drink by its figures or by its recipe, not both.", "/expected/drink")
            )
            return None
        drink = given.drink
        before = len(reader.faults)
        figures = figures_of(drink, instruments, reader, "/expected/drink")
        if len(reader.faults) > before:
            return None
        return Expected(figures=figures, body=body)
    recipe = _Recipe(lots=given.lots, additions=given.additions)
    before = len(reader.faults)
    lots, additions = recipe_from(recipe, instruments, reader, "/expected")
    for k, lot in enumerate(lots):
        if lot.lot.name == VESSEL:
            reader.faults.append(
                InputError(f"“{VESSEL}” is what the mixture is called: rename.", f"/expected/lots/{k}/name")
            )
    return Expected(lots, additions, body=body) if len(reader.faults) == before else None
