"""Reads a drink, by its figures or by the recipe it is made of, for the questions that come after the blend."""

from __future__ import annotations

from functools import partial

from service.api.reading import VOLUME, Reader, gravity_from, meq_per_l
from service.api.reading_blend import recipe_from
from service.api.requests_drink import DrinkIn, Figure, FigureIn, HeldIn, OfADrink
from service.catalogue.lookup import get_ingredient
from service.errors import InputError, OutOfRangeError, ServiceError
from service.physics.slips import gravity_meant
from service.planner.asked import Circumstances, Instruments
from service.planner.drink import (
    Drink,
    DrinkRead,
    Held,
    Span,
    drink_from_figures,
    drink_from_recipe,
)
from service.quantities import parse_acidity, parse_trace

_MOST_MG_PER_L = 1e4
_MOST_L = 1e8
_MOST_SUGAR_G_PER_L = 1000.0


def only_what_a_drink_takes(given: OfADrink, no_price: str, reader: Reader) -> None:
    """Refuse what no answer about a drink would use; `no_price` says what a price would be good for, or not."""
    for k, addition in enumerate(given.additions):
        if addition.price is not None:
            reader.faults.append(InputError(no_price, f"/additions/{k}/price"))
    if given.titration_end_point_ph is not None:
        reader.faults.append(
            InputError(
                "No acidity is answered here: leave it out, or write it beside the lot that was titrated.",
                "/titration_end_point_ph",
            )
        )
    if given.senses.steps or given.senses.relative_sweetness:
        reader.faults.append(InputError("Nothing here is weighed by taste: leave it out.", "/senses"))
    if given.draws is not None and given.drink is not None:
        reader.faults.append(
            InputError("A drink by its figures has its intervals already: draws belong to a recipe.", "/draws")
        )


def drink_from(
    given: OfADrink, instruments: Instruments, circumstances: Circumstances, reader: Reader, *, volume_needed: bool
) -> Drink:
    """The drink of a request.

    Parameters: given; instruments; circumstances; reader, which gathers the faults; volume_needed, whether the drink
        has to say how much of it there is.
    Returns: Drink.
    Raises: ServiceError with every fault of the request.
    """
    if given.drink is not None and (given.lots or given.additions):
        reader.faults.append(InputError("Give the drink by its figures or by its recipe, not both.", "/drink"))
    if given.drink is None and not given.lots and not given.additions:
        detail = "Say which drink: its figures (“drink”), or the recipe it is made of (“lots” and “additions”)."
        reader.faults.append(InputError(detail, "/drink"))
    if given.drink is not None:
        if given.preservatives is not None:
            reader.faults.append(
                InputError("Of a drink by its figures, preservatives stand in “drink”.", "/preservatives")
            )
        read = figures_of(given.drink, instruments, reader)
        if volume_needed and given.drink.volume is None:
            reader.faults.append(InputError("Say how much of the drink there is: volume.", "/drink/volume"))
        found = reader.attempt("/drink", lambda: drink_from_figures(read)) if not reader.faults else None
    else:
        lots, additions = recipe_from(given, instruments, reader, "")
        besides = DrinkRead(None, None, None)
        if given.preservatives is not None:
            traces = {
                name: _trace(getattr(given.preservatives, name), f"/preservatives/{name}", reader)
                for name in ("free_so2", "total_so2", "sorbic_acid")
            }
            besides = DrinkRead(
                None,
                None,
                None,
                free_so2_mg_per_l=traces["free_so2"],
                total_so2_mg_per_l=traces["total_so2"],
                sorbic_acid_mg_per_l=traces["sorbic_acid"],
            )
            _so2_adds_up(besides, reader, "/preservatives/free_so2")
        found = None
        if not reader.faults:
            found = reader.attempt("", lambda: drink_from_recipe(lots, additions, circumstances, besides))
    reader.finish()
    assert found is not None
    return found


def figures_of(given: DrinkIn, instruments: Instruments, reader: Reader, at: str = "/drink") -> DrinkRead:
    """The figures of a drink, which stands `at` a place; a bare reading has the error of its instrument, a bare sugar
    none."""
    volume = None
    if given.volume is not None:
        text = given.volume
        volume = reader.attempt(f"{at}/volume", lambda: _volume(text, instruments, reader))
    abv = _span(given.abv_percent, f"{at}/abv_percent", instruments.strength_error_percent, 100.0, reader)
    gravity = None
    if given.gravity is not None:
        told, strength = given.gravity, 0.0 if abv is None else abv.value
        sg = reader.attempt(
            f"{at}/gravity",
            lambda: gravity_from(
                told, strength, instruments.hydrometer_calibrated_at_c, reader, fermented=strength > 0.0
            ),
        )
        if sg is not None and not 0.9 <= sg <= 1.6:
            reader.faults.append(
                OutOfRangeError(f"SG {sg:g} is no drink.{gravity_meant(sg) or ' Read it again.'}", f"{at}/gravity")
            )
        elif sg is not None:
            gravity = Span.read(sg, instruments.hydrometer_error)
    acidity = None
    if given.titratable_acidity is not None:
        acid = given.titratable_acidity
        density = 1.0 if gravity is None else gravity.value
        acidity = reader.attempt(f"{at}/titratable_acidity", lambda: meq_per_l(parse_acidity(acid), density))
    read = DrinkRead(
        volume,
        gravity,
        abv,
        _span(given.sugar_g_per_l, f"{at}/sugar_g_per_l", 0.0, _MOST_SUGAR_G_PER_L, reader),
        _span(given.fermentable_sugar_g_per_l, f"{at}/fermentable_sugar_g_per_l", 0.0, _MOST_SUGAR_G_PER_L, reader),
        acidity,
        _span(given.ph, f"{at}/ph", instruments.ph_meter_error, 14.0, reader),
        given.juice_percent,
        given.citrus_percent,
        given.pectin_g_per_l,
        given.protein_g_per_l,
        _trace(given.free_so2, f"{at}/free_so2", reader),
        _trace(given.total_so2, f"{at}/total_so2", reader),
        _trace(given.sorbic_acid, f"{at}/sorbic_acid", reader),
        tuple(
            held
            for k, one in enumerate(given.holds)
            if (held := reader.attempt(f"{at}/holds/{k}", partial(_held, one))) is not None
        ),
    )
    juice, citrus = given.juice_percent, given.citrus_percent
    if juice is not None and citrus is not None and citrus > juice + 0.05:
        reader.faults.append(InputError("More citrus than juice of all fruit: check both.", f"{at}/citrus_percent"))
    _so2_adds_up(read, reader, f"{at}/free_so2")
    return read


def _volume(text: str, instruments: Instruments, reader: Reader) -> Span:
    found = reader.quantity(text, VOLUME, liquid=True, read=True)
    litres = found.value_base / 1000.0
    if litres <= 0.0:
        raise InputError("A volume is larger than zero.")
    if litres > _MOST_L:
        raise InputError(f"At most {_MOST_L:.0e} L can be reckoned with: check the unit.")
    sd = litres * instruments.volume_error_percent / 100.0
    if found.error_base is not None:
        sd = found.error_base / 1000.0
    return Span.read(litres, sd)


def _span(given: Figure | None, pointer: str, sd: float, most: float, reader: Reader) -> Span | None:
    """A figure with its interval: as told, or by the error of its instrument."""
    if given is None:
        return None
    if isinstance(given, FigureIn):
        low = given.value if given.low is None else given.low
        high = given.value if given.high is None else given.high
        span = Span(float(given.value), float(low), float(high))
        if not span.low <= span.value <= span.high:
            reader.faults.append(InputError("The ends of an interval lie on either side of its value.", pointer))
            return None
        if span.value < 0.0:
            reader.faults.append(OutOfRangeError(f"{span.value:g} is less than nothing: check it.", pointer))
            return None
        # an interval may reach a little below nothing, a drink cannot
        span = Span(span.value, max(span.low, 0.0), span.high)
    else:
        read = Span.read(float(given), sd)
        span = Span(read.value, read.low, max(read.value, min(read.high, most)))
    if span.high > most:
        reader.faults.append(OutOfRangeError(f"At most {most:g} can be reckoned with, not {span.high:g}.", pointer))
        return None
    return span


def _trace(text: str | None, pointer: str, reader: Reader) -> float | None:
    """A trace [mg/L]."""
    if text is None:
        return None
    told = text

    def read() -> float:
        value = parse_trace(told).mg_per_l
        if value > _MOST_MG_PER_L:
            raise InputError(
                f"{value:g} mg/L is no trace: at most {_MOST_MG_PER_L:g} can be reckoned with. Check the unit."
            )
        return value

    return reader.attempt(pointer, read)


def _so2_adds_up(read: DrinkRead, reader: Reader, pointer: str) -> None:
    free, total = read.free_so2_mg_per_l, read.total_so2_mg_per_l
    if free is not None and total is not None and free > total:
        reader.faults.append(InputError("Free SO2 is part of the total: check both.", pointer))


def _held(given: HeldIn) -> Held:
    try:
        return Held(get_ingredient(given.ingredient), given.g_per_l, given.treatment)
    except ServiceError as error:
        raise error.below("/ingredient") from error
