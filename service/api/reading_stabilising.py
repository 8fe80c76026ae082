"""From a stabilising request's texts to the planner's terms, with the place of each fault."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Final

from service.api.reading import MASS, TEMPERATURE, VOLUME, Reader, gravity_from, meq_per_l
from service.api.reading_circumstances import circumstances_from, day_from
from service.api.reading_salts import so2_share_from, sorbate_purity_from
from service.api.requests_stabilising import GravityOnDay, StabilisingPlanRequest
from service.chemistry.sulfite import PkBasis
from service.chemistry.sulfite_limits import Market, WineColour
from service.errors import InconsistentError, InputError, ServiceError
from service.model.lot_class import LotClass
from service.physics.slips import gravity_meant
from service.planner.asked import Intended
from service.planner.stabilising.asked import DrinkRead, GravityOfDay, Sorbate, StabilisingAsked, Sulfite
from service.quantities import parse_acidity, parse_trace

_MOST_L: Final = 1e8
_MOST_MG_PER_L: Final = 1e4


def stabilising_from(given: StabilisingPlanRequest) -> StabilisingAsked:
    """A stabilising request as the planner takes it.

    Raises: ServiceError with every fault of the request.
    """
    reader = Reader()
    instruments, circumstances = circumstances_from(given, reader)
    if given.currency is not None:
        reader.faults.append(InputError("Nothing here has a price: leave the currency out.", "/currency"))

    if given.titration_end_point_ph is not None and not (
        given.titratable_acidity or given.titratable_acidity_at_packaging
    ):
        reader.faults.append(
            InputError(
                "An end point belongs to a titration: give the acidity read to it too (titratable_acidity).",
                "/titration_end_point_ph",
            )
        )
    volumes, errors = {}, []
    for name in ("volume_at_dosing", "volume_at_packaging"):
        text = getattr(given, name)
        found = None if text is None else reader.attempt(f"/{name}", partial(_volume, text, reader))
        volumes[name] = None if found is None else found[0]
        if found is not None and found[1] is not None:
            errors.append(found[1])

    def trace(name: str) -> float | None:
        text = getattr(given, name)
        return None if text is None else reader.attempt(f"/{name}", partial(_trace, text))

    def acidity(name: str) -> float | None:
        text = getattr(given, name)
        return None if text is None else reader.attempt(f"/{name}", lambda: meq_per_l(parse_acidity(text), 1.0))

    temperature = None
    if given.temperature is not None:
        temperature = reader.attempt("/temperature", _quantity(given.temperature, reader))
    tablet = None
    if given.metabisulfite.tablet_mass is not None:
        tablet = reader.attempt("/metabisulfite/tablet_mass", partial(_tablet, given.metabisulfite.tablet_mass, reader))
    readings = [
        reader.attempt(
            f"/readings/{k}",
            partial(gravity_of_day, reading, given.abv_percent, instruments.hydrometer_calibrated_at_c, reader),
        )
        for k, reading in enumerate(given.readings)
    ]
    if len(given.readings) == 1:
        reader.faults.append(InputError("One gravity shows nothing: give two, days apart.", "/readings"))
    share = reader.attempt(
        "/metabisulfite", lambda: so2_share_from(given.metabisulfite.so2_share_percent, "/so2_share_percent")
    )
    purity = reader.attempt(
        "/potassium_sorbate", lambda: sorbate_purity_from(given.potassium_sorbate.purity_percent, "/purity_percent")
    )
    sulfite = Sulfite(
        free_target_mg_per_l=trace("free_so2_target"),
        molecular_target_mg_per_l=trace("molecular_so2_target"),
        free_now_mg_per_l=trace("free_so2_now"),
        total_now_mg_per_l=trace("total_so2_now"),
        bound_share=given.bound_share,
        pk_basis=None if given.pk_basis is None else PkBasis(given.pk_basis),
        so2_share=share,
        tablet_g=tablet,
    )
    sorbate = Sorbate(trace("sorbic_acid_target"), purity)
    dosing = DrinkRead(volumes["volume_at_dosing"], given.ph, given.abv_percent, acidity("titratable_acidity"))
    packaging = DrinkRead(
        volumes["volume_at_packaging"],
        given.ph_at_packaging,
        given.abv_percent_at_packaging,
        acidity("titratable_acidity_at_packaging"),
    )
    built = circumstances()
    hurdles = reader.attempt("/hurdles", lambda: _hurdles(given, built.intended))
    reader.finish()
    return StabilisingAsked(
        dosing=dosing,
        packaging=packaging,
        lot_class=None if given.drink_class is None else LotClass(given.drink_class),
        colour=None if given.colour is None else WineColour(given.colour),
        sugar_g_per_l=given.sugar_g_per_l,
        temperature_c=temperature,
        fermentation_finished=given.fermentation_finished,
        readings=tuple(reading for reading in readings if reading is not None),
        sulfite=sulfite,
        sorbate=sorbate,
        market=None if given.market is None else Market(given.market),
        hurdles=hurdles,
        raw_juice_after=given.raw_juice_after,
        malolactic_possible=given.malolactic_possible,
        volume_error_percent=max(errors) if errors else None,
        circumstances=built,
        sent=given.model_dump(mode="json", by_alias=True, exclude_unset=True),
    )


def _volume(text: str, reader: Reader) -> tuple[float, float | None]:
    """Litres, and the error in percent where one was stated."""
    found = reader.quantity(text, VOLUME, liquid=True, read=True)
    litres = found.value_base / 1000.0
    if litres <= 0.0:
        raise InputError("A volume is larger than zero.")
    if litres > _MOST_L:
        raise InputError(f"At most {_MOST_L:.0e} L can be reckoned with: check the unit.")
    error = None if found.error_base is None else 100.0 * found.error_base / found.value_base
    return litres, error


def _trace(text: str) -> float:
    value = parse_trace(text).mg_per_l
    if value > _MOST_MG_PER_L:
        raise InputError(
            f"{value:g} mg/L is no trace: at most {_MOST_MG_PER_L:g} can be reckoned with. Check the unit."
        )
    return value


def _quantity(text: str, reader: Reader) -> Callable[[], float]:
    return lambda: reader.quantity(text, TEMPERATURE).value_base


def _tablet(text: str, reader: Reader) -> float:
    mass = reader.quantity(text, MASS).value_base
    if mass <= 0.0:
        raise InputError("A tablet weighs more than nothing.")
    return mass


def gravity_of_day(given: GravityOnDay, abv_percent: float, hydrometer_c: float, reader: Reader) -> GravityOfDay:
    """A gravity with its day, of a drink of some strength [% vol], by a hydrometer calibrated at hydrometer_c [°C]."""
    day = day_from(given.date)
    try:
        gravity = gravity_from(given.gravity, abv_percent, hydrometer_c, reader, fermented=abv_percent > 0.0)
    except ServiceError as error:
        raise error.below("/gravity") from error
    if not 0.9 <= gravity <= 1.3:
        raise InputError(
            f"SG {gravity:g} is no gravity of a ferment.{gravity_meant(gravity) or ' Read it again.'}", "/gravity"
        )
    return GravityOfDay(day, gravity)


def _hurdles(given: StabilisingPlanRequest, intended: Intended) -> tuple[str, ...] | None:
    """The hurdles planned: those of the request, or of `intended`; both only if they agree."""
    if given.hurdles is None:
        return intended.hurdles or None
    here = tuple(sorted(set(given.hurdles)))
    if intended.hurdles and intended.hurdles != here:
        raise InconsistentError(
            "What holds the yeast is told twice, and not alike (hurdles, intended.hurdles): leave one of them out."
        )
    return here
