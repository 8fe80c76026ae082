"""The cell questions about pressure, gas and heat: one number each, and a refusal where the plan would say stop."""

from __future__ import annotations

from typing import Any, Final, Literal

from pydantic import Field

from service.api.cell_queries import CellQuery
from service.api.cell_readings import NO_CHECK
from service.api.numbers import QueryInteger, QueryNumber, ShortText
from service.api.question import Question
from service.api.reading import TEMPERATURE, Reader
from service.api.validation import close_word
from service.errors import InputError, StopError
from service.model.lot_class import Assumed
from service.physics.carbon_dioxide import SHARE_OF_ERROR, psi_from_bar
from service.planner.answers import Caution
from service.planner.cautions import sorted_once
from service.planner.drink import Drink, DrinkRead, Span, drink_from_figures
from service.planner.pressure.answers import ContainerKind
from service.planner.pressure.asked import Closed, Rest
from service.planner.pressure.gas import bar_words
from service.planner.pressure.heating import heat
from service.planner.pressure.keg import keg
from service.planner.pressure.refermentation import refermentation
from service.planner.single import Answer
from service.planner.stabilising.asked import HURDLES
from service.quantities import Kind, parse_trace

PressureUnit = Literal["bar", "psi"]

_LAW: Final = "what it may be, by the 7 % that the law of solubility may be off and the kind of sugar"
_KPA_PER_BAR: Final = 100.0
_USUAL_ABV_PERCENT: Final = 7.0
_PARAMETER_OF: Final = {
    "refermentable_sugar_no_hurdle": "/hurdles",
    "hurdle_does_not_hold": "/hurdles",
    "sorbate_without_sulfite": "/hurdles",
    "sorbic_acid_over_limit": "/sorbic",
    "container_without_rating": "/container",
    "pressure_over_rating": "/container",
    "heated_pressure_over_rating": "/container",
    "container_full_when_warm": "/headspace_percent",
    "squeezed_headspace": "/headspace_percent",
    "stabilisers_on_a_moving_ferment": "/fermentation_finished",
    "yeast_still_active": "/fermentation_finished",
    "ph_above_4_6": "/ph",
    "keg_over_pressure": "/volumes",
    "container_full_when_heated": "/headspace_percent",
    "heating_carbonated": "/co2_g_per_l",
}
_NAME_IN_URL: Final = {
    "headspace": "headspace_percent",
    "storage_temperature": "temperature",
}


class PressureIfRefermented(CellQuery):
    """What pressure does a closed container reach if all the sugar in it that yeast can use ferments?"""

    sugar_g_per_l: QueryNumber = Field(ge=0, le=1000, description="Sugar that yeast can use [g/L].")
    abv_percent: QueryNumber = Field(ge=0, le=100, description="Strength [% vol].")
    total_sugar_g_per_l: QueryNumber | None = Field(
        None, ge=0, le=1000, description="All sugars, for solubility [g/L]; default the fermentable ones."
    )
    temperature: ShortText | None = Field(
        None, description="The warmest it will see, such as 30C or 86F; default 30C, and never less than 20C."
    )
    headspace_percent: QueryNumber | None = Field(
        None, ge=0, le=200, description="Headspace, of the volume of the drink [%]; default 4."
    )
    co2_g_per_l: QueryNumber | None = Field(
        None, ge=0, le=20, description="Carbon dioxide in the drink when it is closed [g/L]; default 1."
    )
    tolerance_abv_percent: QueryNumber | None = Field(
        None,
        ge=0,
        le=25,
        description="Strength that the yeast is said to stand [% vol]. Told in words only.",
    )
    container: ContainerKind = Field("bottle", description="Kind of container; bottle where it is not known.")
    rated_pressure: ShortText | None = Field(None, description="As its maker states it, such as 6bar or 90psi.")
    hurdles: ShortText | None = Field(
        None,
        description="What holds the yeast, with commas: sulfite, sorbate, pasteurised, sterile_filtered, cold. Without "
        "one that holds, sugar in a closed container is refused, the pressure in the reason.",
    )
    ph: QueryNumber | None = Field(None, gt=0, lt=14, description="Needed where sulfite and sorbate are to hold it.")
    sorbic: ShortText | None = Field(None, description="Sorbic acid in the drink, such as 120mg/L.")
    free: ShortText | None = Field(None, description="Free SO2 in the drink, such as 30mg/L.")
    fermentation_finished: QueryInteger | None = Field(
        None, ge=0, le=1, description="1 if two equal gravities days apart showed it."
    )
    unit: PressureUnit = Field("bar", description="Of the answer.")


class KegPressure(CellQuery):
    """What does the gauge of a keg have to show for so many volumes of carbon dioxide?"""

    volumes: QueryNumber = Field(gt=0, le=10, description="Carbonation wanted, such as 2.0 or 2.5.")
    temperature: ShortText = Field(description="Of the keg, such as 4C or 38F.")
    abv_percent: QueryNumber = Field(ge=0, le=100, description="Strength [% vol].")
    sugar_g_per_l: QueryNumber = Field(ge=0, le=1000, description="All sugars [g/L]: they keep gas out.")
    rated_pressure: ShortText | None = Field(None, description="Stamped on the keg, such as 9bar or 130psi; default 9.")
    unit: PressureUnit = Field("bar", description="Of the answer, above the air outside.")


class PasteurisingMinutes(CellQuery):
    """How many minutes at a temperature of the coldest spot give a target of pasteurising units?"""

    temperature: ShortText = Field(description="Of the coldest spot, such as 65C or 149F; 55 to 85 °C.")
    target_units: QueryNumber | None = Field(
        None, gt=0, le=10_000, description="Minutes at 60 °C that it is to be worth; default 60."
    )
    headspace_percent: QueryNumber | None = Field(
        None, ge=0, le=200, description="Headspace, of the volume of the drink [%]; default 4."
    )
    filled_at: ShortText | None = Field(
        None, description="Temperature at which it was closed; default 4C, from where it swells most."
    )
    co2_g_per_l: QueryNumber | None = Field(None, ge=0, le=20, description="Carbon dioxide in it [g/L]; default 1.")
    abv_percent: QueryNumber | None = Field(
        None, ge=0, le=100, description="Strength [% vol], for the pressure; default 7."
    )
    sugar_g_per_l: QueryNumber | None = Field(
        None, ge=0, le=1000, description="Sugar [g/L], for the pressure; default 0."
    )
    container: ContainerKind | None = Field(
        None,
        description="Kind of container. Where anything is said of it, more than its rating (3 bar without one) is "
        "refused; else more than 6 bar.",
    )
    rated_pressure: ShortText | None = Field(None, description="As its maker states it, such as 6bar or 90psi.")


_PRESSURE: Final = frozenset({Kind.PRESSURE})


def _bar(text: str | None, name: str) -> float | None:
    return None if text is None else Reader().quantity(text, _PRESSURE, f"/{name}").value_base / _KPA_PER_BAR


def _celsius(text: str | None, name: str) -> float | None:
    return None if text is None else Reader().quantity(text, TEMPERATURE, f"/{name}").value_base


def _drink(abv_percent: float, sugar_g_per_l: float, fermentable_g_per_l: float, **more: Any) -> Drink:
    return drink_from_figures(
        DrinkRead(
            None,
            None,
            Span.exact(abv_percent),
            Span.exact(sugar_g_per_l),
            Span.exact(fermentable_g_per_l),
            **more,
        )
    )


def _told(cautions: tuple[Caution, ...]) -> tuple[Caution, ...]:
    """The cautions that go with a number; a `stop` leaves the question without one."""
    stops = [caution for caution in cautions if caution.level == "stop"]
    if stops:
        raise StopError(" ".join(stop.text for stop in stops), _PARAMETER_OF.get(stops[0].code, ""))
    return sorted_once([*cautions, NO_CHECK])


def _in(bar: float, unit: PressureUnit) -> float:
    return psi_from_bar(bar) if unit == "psi" else bar


def _words(bar: float, unit: PressureUnit) -> str:
    return f"{_in(bar, unit):.1f} psi" if unit == "psi" else f"{bar:.2f} bar"


def _pressure(query: PressureIfRefermented) -> Answer:
    total = query.sugar_g_per_l if query.total_sugar_g_per_l is None else query.total_sugar_g_per_l
    ph = None if query.ph is None else Span.exact(query.ph)
    drink = _drink(
        query.abv_percent,
        total,
        query.sugar_g_per_l,
        ph=ph,
        free_so2_mg_per_l=_trace(query.free, "free"),
        sorbic_acid_mg_per_l=_trace(query.sorbic, "sorbic"),
    )
    closed = Closed(
        query.container,
        None if query.headspace_percent is None else query.headspace_percent / 100.0,
        _bar(query.rated_pressure, "rated_pressure"),
        _celsius(query.temperature, "temperature"),
        query.co2_g_per_l,
    )
    finished = None if query.fermentation_finished is None else bool(query.fermentation_finished)
    rest = Rest(finished, tolerance_abv_percent=query.tolerance_abv_percent)
    found = refermentation(drink, closed, hurdles_from(query.hurdles), rest)
    full = found.full  # a tolerance printed on a packet is a claim, no limit: it is told in words
    low = (1.0 - SHARE_OF_ERROR) * full.pressure_bar
    return Answer(
        _in(full.pressure_bar, query.unit),
        f"{_words(full.pressure_bar, query.unit)}. {found.text} {found.alcohol_text}",
        _told(found.cautions),
        found.assumed,
        _in(low, query.unit),
        _in(full.high_bar, query.unit),
        query.unit,
    )


def _trace(text: str | None, name: str) -> float | None:
    return None if text is None else parse_trace(text, pointer=f"/{name}").mg_per_l


def hurdles_from(text: str | None) -> tuple[str, ...]:
    """What holds the yeast back, as named with commas; each once.

    Raises: InputError for a word that is none of them.
    """
    if text is None:
        return ()
    if not text.strip():
        raise InputError(f"Nothing stands here: name some of {', '.join(HURDLES)}, or leave it out.", "/hurdles")
    names = [name.strip() for name in text.split(",")]
    unknown = next((name for name in names if name not in HURDLES), None)
    if unknown is not None:
        close = close_word(unknown.lower(), HURDLES)
        meant = "" if close is None else f" Did you mean “{close}”?"
        raise InputError(
            f"“{unknown[:30]}” is nothing known here that holds yeast back.{meant} Write some of "
            f"{', '.join(HURDLES)}, with commas.",
            "/hurdles",
        )
    return tuple(dict.fromkeys(names))


def _keg(query: KegPressure) -> Answer:
    found = keg(
        _drink(query.abv_percent, query.sugar_g_per_l, query.sugar_g_per_l),
        _celsius(query.temperature, "temperature") or 0.0,
        volumes=query.volumes,
        rated_bar=_bar(query.rated_pressure, "rated_pressure"),
    )
    bar, low, high = found.gauge_bar, found.low_bar, found.high_bar
    assert bar is not None  # volumes were given
    assert low is not None
    assert high is not None
    return Answer(
        _in(bar, query.unit),
        f"{_words(bar, query.unit)} on the gauge. {found.text}",
        _told(found.cautions),
        found.assumed,
        _in(low, query.unit),
        _in(high, query.unit),
        query.unit,
    )


def _minutes(query: PasteurisingMinutes) -> Answer:
    closed = Closed(
        query.container or "bottle",
        None if query.headspace_percent is None else query.headspace_percent / 100.0,
        _bar(query.rated_pressure, "rated_pressure"),
        co2_g_per_l=query.co2_g_per_l,
        filled_at_c=_celsius(query.filled_at, "filled_at"),
    )
    of_container = (query.container, query.headspace_percent, query.rated_pressure, query.co2_g_per_l, query.filled_at)
    abv = _USUAL_ABV_PERCENT if query.abv_percent is None else query.abv_percent
    sugar = 0.0 if query.sugar_g_per_l is None else query.sugar_g_per_l
    found = heat(
        _drink(abv, sugar, sugar),
        closed,
        temperature_c=_celsius(query.temperature, "temperature"),
        target_units=query.target_units,
        container_told=any(said is not None for said in of_container),
    )
    assumed = list(found.assumed)
    if query.abv_percent is None or query.sugar_g_per_l is None:
        drink = f"{abv:g} % vol, {sugar:g} g/L sugar"
        assumed.append(Assumed("the drink, for the pressure", drink, "our default", "state its strength and sugar"))
    gauge = found.headspace.gauge_bar
    room = "" if gauge is None else f" The headspace then holds {bar_words(gauge)} above the air outside."
    return Answer(found.minutes, f"{found.text}{room}", _told(found.cautions), tuple(assumed), unit="min")


PRESSURE_QUESTIONS: tuple[Question, ...] = (
    Question(
        "pressure-if-refermented",
        PressureIfRefermented,
        _pressure,
        "sugar_g_per_l=8&abv_percent=6.5&total_sugar_g_per_l=30&container=sparkling_bottle&hurdles=pasteurised",
        "sugar_g_per_l",
        _LAW,
        inner=_NAME_IN_URL,
    ),
    Question(
        "keg-pressure",
        KegPressure,
        _keg,
        "volumes=2.0&temperature=38F&abv_percent=6.5&sugar_g_per_l=90&unit=psi",
        "volumes",
        "what it may be, by the 7 % that the law of solubility may be off",
        inner=_NAME_IN_URL,
        light=True,
    ),
    Question(
        "pasteurising-minutes",
        PasteurisingMinutes,
        _minutes,
        "temperature=65C&target_units=60",
        "temperature",
        inner=_NAME_IN_URL,
        light=True,
    ),
)
"""For the list of all cell questions."""
