"""What the next question takes: bodies of requests, filled in with what an answer knows.

A body is complete, so that it can be sent as it stands; what in it is only expected so far is named, to be replaced by
what was read. What a request says of its circumstances goes along: units, instruments, container, currency, batch.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final, Protocol

from service.catalogue.loader import ingredients
from service.chemistry.acids import acid_g_per_l_from_meq_per_l
from service.model.acidity import DEFAULT_END_POINT_PH
from service.model.contents import Contents
from service.model.lot_class import DRY_EXTRACT, JUICE_ROW, LotClass
from service.physics.solutes import Component
from service.planner.answers import Predicted
from service.planner.asked import AdditionAsked, Circumstances, Instruments, Intended, LotAsked
from service.planner.drink import NORMAL_90, DrinkRead, Held, Span, held_sugars_g_per_l, too_much_held
from service.planner.drink import unexplained_extract_g_per_l as unexplained
from service.planner.materials import Material
from service.planner.work import NextCall
from service.quantities import System
from service.quantities.units import GRAMS_PER_OUNCE, ML_PER_IMPERIAL_FLUID_OUNCE, ML_PER_IMPERIAL_GALLON

PATHS: Final[Mapping[str, str]] = {
    "solve_blend": "/v1/blend-plans",
    "forecast_blend": "/v1/blend-forecasts",
    "correct_blend": "/v1/corrections",
    "plan_must": "/v1/must-plans",
    "interpret_readings": "/v1/readings",
    "plan_stabilising": "/v1/stabilising-plans",
    "plan_fining": "/v1/fining-plans",
    "scale_bench_trial": "/v1/bench-trials",
    "judge_tasting": "/v1/tastings",
    "plan_packaging": "/v1/packaging-plans",
}
"""Where each question is asked, by operation."""

_LEAST_SD_SHARE: Final = 1e-4
"""Of a volume: a smaller error is not told (our default)."""

_MOST_SD_SHARE: Final = 0.45
"""A reading with half of itself for an error is none: a larger one is told as this (our default)."""

_MOST_POLYMER_G_PER_L: Final = 50.0
_MOST_HELD: Final = 50
_SURELY_G_PER_L: Final = 1.0
"""So much extract may lie between a drink and the same drink with its figures rounded."""
_LEAST_ACIDITY_G_PER_L: Final = 1.0
_READ_PH: Final = (1.5, 10.0)
"""With less acid, or beyond these, nobody reads the pH of a drink (our default)."""

_FIGURES: Final = ("abv_percent", "sugar_g_per_l", "fermentable_sugar_g_per_l", "ph")
OF_AN_INGREDIENT: Final = ("ingredient", "composition", "measured", "treatment")
"""Fields of an addition that say which it is, wherever one is named."""


class _Spanned(Protocol):
    """A figure with its interval."""

    @property
    def value(self) -> float: ...
    @property
    def low(self) -> float: ...
    @property
    def high(self) -> float: ...


def call(operation: str, request: dict[str, Any], replace: Iterable[str], text: str) -> NextCall:
    """A request of an operation.

    >>> call("judge_tasting", {}, (), "Taste it.").path
    '/v1/tastings'
    """
    return NextCall(PATHS[operation], request, tuple(replace), text)


def circumstances_body(circumstances: Circumstances, *, priced: bool = False) -> dict[str, Any]:
    """What a request says of its circumstances, as far as it is no default.

    Parameters: circumstances; priced, whether the next question deals in prices.
    Returns: fields of a body.

    >>> circumstances_body(Circumstances(system="us", intended=Intended("keg", hurdles=("cold",))))
    {'units': 'us', 'intended': {'container': 'keg', 'hurdles': ['cold']}}
    """
    body: dict[str, Any] = {}
    if circumstances.echo.batch is not None:
        body["batch"] = circumstances.echo.batch
    system = circumstances.system
    if system != "imperial":  # which a request speaks, and does not name
        body["units"] = system
    if priced and circumstances.currency is not None:
        body["currency"] = circumstances.currency
    instruments = _instruments(circumstances.instruments, system)
    if instruments:
        body["instruments"] = instruments
    intended = _intended(circumstances.intended, system)
    if intended:
        body["intended"] = intended
    return body


def _instruments(told: Instruments, system: System) -> dict[str, Any]:
    found: dict[str, Any] = {}
    hydrometer: dict[str, Any] = {}
    if "hydrometer" in told.given:
        hydrometer["error"] = told.hydrometer_error
    if told.hydrometer_calibrated_at_c != Instruments().hydrometer_calibrated_at_c:
        hydrometer["calibrated_at"] = f"{told.hydrometer_calibrated_at_c:.6g} C"
    if hydrometer:
        found["hydrometer"] = hydrometer
    if not told.given:
        return found
    errors: dict[str, dict[str, Any]] = {
        "ph_meter": {"error": told.ph_meter_error},
        "scale": {"step": mass_in(told.scale_step_g, system)},
        "jug": {"step": _small_volume(told.jug_step_ml, system)},
        "volume": {"error": f"{told.volume_error_percent:.6g} %"},
        "titration": {"error": f"{told.titration_error_percent:.6g} %"},
        "refractometer": {"error": told.refractometer_error_brix},
        "strength": {"error": told.strength_error_percent},
    }
    return {**found, **{name: error for name, error in errors.items() if name in told.given}}


def _intended(told: Intended, system: System) -> dict[str, Any]:
    found: dict[str, Any] = {}
    if told.container is not None:
        found["container"] = told.container
    if told.storage_temperature_c is not None:
        found["storage_temperature"] = f"{told.storage_temperature_c:.6g} C"
    if told.hurdles:
        found["hurdles"] = list(told.hurdles)
    if told.vessel_l is not None:
        found["vessel"] = volume_in(told.vessel_l, system)
    return found


def canonical(body: Mapping[str, Any], system: System) -> dict[str, Any]:
    """A body of a blend question that does not depend on the order of the request it comes from, its units named.

    What is put into a body would else change which system it seems to speak.

    >>> canonical({"lots": [{"name": "b"}, {"name": "a"}]}, "us")
    {'lots': [{'name': 'a'}, {'name': 'b'}], 'units': 'us'}
    """
    found = dict(body)
    if len(found.get("lots", ())) > 1:
        found["lots"] = sorted(found["lots"], key=lambda lot: str(lot.get("name")))
    if len(found.get("additions", ())) > 1:
        found["additions"] = sorted(found["additions"], key=_by_what_it_is)
    return found if system == "imperial" else {**found, "units": system}


def _by_what_it_is(addition: Mapping[str, Any]) -> tuple[str, str]:
    named = addition.get("ingredient") or (addition.get("composition") or {}).get("name", "")
    return str(named), str(sorted(addition.items(), key=lambda item: item[0]))


def volume_in(litres: float, system: System) -> str:
    """A volume as a request writes it: litres, or gallons where only they say that a request is imperial.

    >>> volume_in(20.0, "us"), volume_in(45.4609, "imperial")
    ('20 L', '10 imp gal')
    """
    if system == "imperial":
        return f"{1000.0 * litres / ML_PER_IMPERIAL_GALLON:.6g} imp gal"
    return f"{litres:.6g} L"


def acidity_in(meq_per_l: float) -> str:
    """An acidity as a request takes it."""
    return f"{acid_g_per_l_from_meq_per_l(meq_per_l):.5g} g/L tartaric"


def mass_in(mass_g: float, system: System) -> str:
    """A mass as a request writes it."""
    return f"{mass_g / GRAMS_PER_OUNCE:.7g} oz" if system == "imperial" else f"{mass_g:.7g} g"


def _small_volume(volume_ml: float, system: System) -> str:
    if system == "imperial":
        return f"{volume_ml / ML_PER_IMPERIAL_FLUID_OUNCE:.7g} imp fl oz"
    return f"{volume_ml:.7g} mL"


def expected_readings(predicted: Predicted, circumstances: Circumstances) -> dict[str, Any]:
    """What the readings of a drink are expected to be, as `measured` of /v1/corrections takes them."""
    found: dict[str, Any] = {"gravity": round(predicted.gravity.value, 4)}
    acidity = predicted.titratable_acidity.value
    if acidity > 0.0:
        found["titratable_acidity"] = f"{acidity:.4g} g/L tartaric"
    if predicted.ph is not None and acidity > _LEAST_ACIDITY_G_PER_L and _READ_PH[0] < predicted.ph.value < _READ_PH[1]:
        found["ph"] = round(predicted.ph.value, 2)
    found["volume"] = volume_in(predicted.volume.value, circumstances.system)
    return found


def lot_body(predicted: Predicted, circumstances: Circumstances, name: str, lot_class: LotClass) -> dict[str, Any]:
    """A drink as a lot of /v1/blend-plans: its readings as expected."""
    body: dict[str, Any] = {
        "name": name,
        "volume": volume_told(predicted.volume, circumstances.system),
        "gravity": round(predicted.gravity.value, 4),
        "abv_percent": max(round(predicted.abv_percent.value, 3), 0.0),
        "class": lot_class.value,
    }
    acidity = predicted.titratable_acidity.value
    if acidity > 0.0:
        body["titratable_acidity"] = f"{acidity:.4g} g/L tartaric"
        if circumstances.end_point_ph != DEFAULT_END_POINT_PH:
            body["titration_end_point_ph"] = circumstances.end_point_ph
    if predicted.ph is not None:
        body["ph"] = round(predicted.ph.value, 2)
    return body


def volume_told(told: _Spanned, system: System) -> str:
    """A volume with its error, where that is worth telling."""
    sd = (told.high - told.low) / (2.0 * NORMAL_90)
    if not sd > _LEAST_SD_SHARE * told.value:
        return volume_in(told.value, system)
    text = f"{told.value:.6g} L ± {min(sd, _MOST_SD_SHARE * told.value):.3g} L"
    if system == "imperial":
        gallon_l = ML_PER_IMPERIAL_GALLON / 1000.0
        text = f"{told.value / gallon_l:.6g} imp gal ± {min(sd, _MOST_SD_SHARE * told.value) / gallon_l:.3g} imp gal"
    return text


@dataclass(frozen=True)
class Blended:
    """A drink as it is reckoned: what is poured of each material [g], what that holds, and what it will be.

    `already` is what one of its lots was made of [g], where that was told.
    """

    materials: Sequence[Material]
    masses_g: Sequence[float]
    contents: Contents
    predicted: Predicted
    circumstances: Circumstances
    already: Sequence[tuple[Material, float]] = ()

    @cached_property
    def poured(self) -> list[tuple[Material, float]]:
        """What is poured, with its mass [g]."""
        return [(m, g) for m, g in zip(self.materials, self.masses_g, strict=True) if g > 0.0]

    @cached_property
    def ferments(self) -> list[tuple[Material, LotAsked, float]]:
        """The fermented lots that are poured, the largest first."""
        found = [
            (m, m.source, g)
            for m, g in self.poured
            if isinstance(m.source, LotAsked) and m.source.lot.lot_class in DRY_EXTRACT
        ]
        return sorted(found, key=lambda f: (-f[2], f[0].name))

    @property
    def lot_class(self) -> LotClass:
        """What kind of liquid it is: as the largest ferment in it, else our default."""
        ferments = self.ferments
        return ferments[0][1].lot.lot_class if ferments else LotClass.MEAD


def drink_body(blended: Blended) -> dict[str, Any]:
    """A drink by its figures, as the questions after the blend take it.

    Parameters: blended.
    Returns: `drink` of a body, intervals kept.
    """
    predicted, circumstances = blended.predicted, blended.circumstances
    litres = blended.contents.volume_ml / 1000.0
    body: dict[str, Any] = {
        "volume": volume_told(predicted.volume, circumstances.system),
        "gravity": round(predicted.gravity.value, 4),
    }
    for name in _FIGURES:
        told = getattr(predicted, name)
        if told is not None:
            body[name] = _span(told)
    if predicted.titratable_acidity.value > 0.0:
        body["titratable_acidity"] = f"{predicted.titratable_acidity.value:.4g} g/L tartaric"
    juice = max(predicted.juice_percent.value, 0.0)
    if juice <= 100.0:
        body["juice_percent"] = juice
        body["citrus_percent"] = min(max(predicted.citrus_percent.value, 0.0), juice)
    masses = blended.contents.masses_g
    for name, component in (("pectin_g_per_l", Component.PECTIN), ("protein_g_per_l", Component.PROTEIN)):
        held = max(masses.get(component, 0.0), 0.0) / litres
        if held <= _MOST_POLYMER_G_PER_L:
            body[name] = round(held, 4)
    holds = [*_held(blended, litres)]
    if holds:
        body["holds"] = holds[:_MOST_HELD]
    return _agreeing(body, blended)


def _agreeing(body: dict[str, Any], blended: Blended) -> dict[str, Any]:
    """The drink without what its reader could not bring together: rows stand for ingredients that were measured or were
    the caller's own, whose solids may be others than the row's, and a gravity may stand on solids that no row tells."""
    predicted = blended.predicted
    sugar, usable, abv = (
        Span(told.value, told.low, told.high)
        for told in (predicted.sugar_g_per_l, predicted.fermentable_sugar_g_per_l, predicted.abv_percent)
    )
    holds = tuple(Held(ingredients()[one["ingredient"]], one["g_per_l"], None) for one in body.get("holds", ()))
    brought, brought_usable = held_sugars_g_per_l(holds)
    if too_much_held(brought, sugar) or too_much_held(brought_usable, usable):
        for one in body["holds"]:
            del one["g_per_l"]
        holds = ()
    gravity = Span.read(body["gravity"], blended.circumstances.instruments.hydrometer_error)
    meq = max(predicted.titratable_acidity.meq_per_l, 0.0)
    if unexplained(DrinkRead(None, gravity, abv, titratable_meq_per_l=meq, holds=holds), sugar) > -_SURELY_G_PER_L:
        del body["gravity"]
    return body


def _span(told: _Spanned) -> dict[str, float]:
    value = max(told.value, 0.0)
    return {"value": value, "low": max(min(told.low, value), 0.0), "high": max(told.high, value)}


def _held(blended: Blended, litres: float) -> Iterable[dict[str, Any]]:
    """The ingredients of the catalogue that are in it, and the juices that stand for lots of juice."""
    for material, mass_g in (*((m, g) for m, g in blended.already if g > 0.0), *blended.poured):
        source = material.source
        if isinstance(source, AdditionAsked):
            if source.ingredient.id not in ingredients():
                continue
            held: dict[str, Any] = {"ingredient": source.ingredient.id, "g_per_l": round(mass_g / litres, 4)}
            if source.treatment is not None:
                held["treatment"] = source.treatment
            yield held
        elif source.lot.lot_class in JUICE_ROW:
            yield {"ingredient": JUICE_ROW[source.lot.lot_class], "g_per_l": round(mass_g / litres, 4)}
