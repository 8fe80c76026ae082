"""Reads a bench trial: the glass with its stocks, the batch, and what the batch may be dosed with."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import partial
from typing import Final

from service.api.numbers import RequestModel
from service.api.reading import MASS_OR_VOLUME, VOLUME, Reader, distinct, lot_from
from service.api.reading_additions import addition_from
from service.api.reading_circumstances import circumstances_from
from service.api.requests import AdditionBase, AdditionIn
from service.api.requests_bench import BenchTrialRequest, DropsIn, DyeIn, SolutionIn, StockIn
from service.chemistry.dyes import Absorptivity, dye_named
from service.errors import InputError, ServiceError
from service.model.lot_class import Assumed
from service.planner.asked import AdditionAsked, Instruments, LotAsked
from service.planner.bench_trial.asked import (
    DROPS_PER_ML,
    ERROR_GRADUATIONS,
    SYRINGE_STEP_ML,
    BenchAsked,
    DyeAsked,
    Measure,
    Solution,
    StockAsked,
)
from service.quantities import Kind, number_text, sound_error

_PARTS: Final = re.compile(r"\s*(\d+(?:\.\d+)?)\s*[:+/]\s*(\d+(?:\.\d+)?)\s*", re.ASCII)
_LEAST_ML, _MOST_ML = 1.0, 1e5
_FINEST = 1e-6


def bench_from(given: BenchTrialRequest, deadline_s: float) -> BenchAsked:
    """A bench trial as the planner takes it.

    Parameters: given; deadline_s of a solve [s].
    Raises: ServiceError with every fault of the request.
    """
    reader = Reader()
    instruments, circumstances = circumstances_from(given, reader)
    lot = reader.attempt("/lot", lambda: _whole_lot(given, instruments, reader))
    base = reader.attempt("/glass/base", lambda: _base(given.glass.base, reader))
    step_ml = reader.attempt("/glass/graduation", lambda: _graduation_ml(given, reader)) or SYRINGE_STEP_ML
    reader.attempt("", lambda: distinct([s.name for s in given.glass.stocks], "stocks", "/glass/stocks"))
    told = _Told(step_ml, given.glass.graduation is not None, instruments, [])
    stocks = [
        reader.attempt(f"/glass/stocks/{k}", partial(_stock, stock, f"/glass/stocks/{k}", told, reader))
        for k, stock in enumerate(given.glass.stocks)
    ]
    for k, stock in enumerate(given.glass.stocks):
        if _plain(stock.name) == _plain(given.lot.name):
            reader.faults.append(
                InputError(f"“{stock.name}” is the name of the lot too: rename the stock.", f"/glass/stocks/{k}/name")
            )
    additions = [
        reader.attempt(f"/additions/{k}", partial(addition_from, addition, reader, instruments.jug_step_ml))
        for k, addition in enumerate(given.additions)
    ]
    for k, asked in enumerate(additions):
        if asked is not None and asked.ingredient.id == given.lot.name:
            reader.faults.append(InputError(f"“{given.lot.name}” is the id of an ingredient too.", f"/additions/{k}"))
    if given.additions and given.water_allowed:
        reader.faults.append(
            InputError("Name water among the additions instead: they say what the batch may get.", "/water_allowed")
        )
    reader.finish()
    assert lot is not None
    assert base is not None
    return BenchAsked(
        lot,
        base.litres,
        tuple(s for s in stocks if s is not None),
        base.sd_share,
        tuple(a for a in additions if a is not None),
        given.water_allowed,
        given.glass.haze,
        None if given.glass.depth_cm is None else float(given.glass.depth_cm),
        tuple(dict.fromkeys(told.assumed)),
        given.lot.model_dump(mode="json", by_alias=True, exclude_defaults=True),
        circumstances(),
        deadline_s,
    )


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())


@dataclass(frozen=True, slots=True)
class _Told:
    """What the stocks of one glass share: the syringe, the scale, and the defaults that were used."""

    step_ml: float
    step_given: bool
    instruments: Instruments
    assumed: list[Assumed]


@dataclass(frozen=True, slots=True)
class _Base:
    litres: float
    sd_share: float | None


def _whole_lot(given: BenchTrialRequest, instruments: Instruments, reader: Reader) -> LotAsked:
    lot = lot_from(given.lot, instruments.hydrometer_calibrated_at_c, reader)
    if not lot.fixed or lot.least_l <= 0.0:
        raise InputError("The whole batch is dosed: leave use out, or let min and max be equal.", "/use")
    return lot


def _base(text: str, reader: Reader) -> _Base:
    found = reader.quantity(text, VOLUME, liquid=True, read=True)
    if not _LEAST_ML <= found.value_base <= _MOST_ML:
        raise InputError("A glass holds between 1 mL and 100 L of the batch.")
    return _Base(found.value_base / 1000.0, None if found.error_base is None else found.error_base / found.value_base)


def _graduation_ml(given: BenchTrialRequest, reader: Reader) -> float | None:
    if given.glass.graduation is None:
        return None
    step = reader.quantity(given.glass.graduation, VOLUME, liquid=True).value_base
    if step <= _FINEST:
        raise InputError("A graduation is larger than zero.")
    return step


def _stock(given: StockIn, pointer: str, told: _Told, reader: Reader) -> StockAsked:
    pure = given.ingredient is not None or given.composition is not None
    if pure + (given.solution is not None) + (given.dye is not None) != 1:
        raise InputError(
            "Say what the stock is: an ingredient (or its composition), a solution, or a dye; one of them."
        )
    if given.solution is not None or given.dye is not None:
        for field in ("measured", "treatment", "price"):
            if getattr(given, field) is not None:
                where = "the solution" if given.solution is not None else "an ingredient"
                raise InputError(f"{field} belongs to {where}: write it there.", f"/{field}")
    measure = _measure(given, told, reader)
    if given.dye is not None:
        if not measure.by_volume:
            raise InputError(
                "A dye is dosed as a solution: make one (1 g in 100 mL is 1 % w/v) and give drops or mL.", "/amount"
            )
        return StockAsked(given.name, measure, dye=_dye(given.dye, given.name, told), pointer=pointer)
    if given.solution is None:
        return StockAsked(given.name, measure, _bare(given, reader), pointer=pointer)
    try:
        addition = _bare(given.solution, reader)
        solution = _solution(given.solution, reader)
    except ServiceError as error:
        raise error.below("/solution") from error
    return StockAsked(given.name, measure, addition, solution, pointer=pointer)


def _bare(given: AdditionBase, reader: Reader) -> AdditionAsked:
    """An ingredient without an amount."""
    fields = {name: getattr(given, name) for name in AdditionBase.model_fields}
    return addition_from(AdditionIn.model_construct(**fields), reader)


def _solution(given: SolutionIn, reader: Reader) -> Solution:
    ways = [given.by_mass is not None, given.by_volume is not None, given.percent_w_v is not None]
    if sum(ways) != 1:
        raise InputError(
            "Say how strong it is: parts by mass (by_mass), parts by volume (by_volume) or per cent (percent_w_v)."
        )
    try:
        solvent = _bare(AdditionIn(ingredient=given.solvent), reader)
    except ServiceError as error:
        error.pointer = "/with"
        raise
    return Solution(
        solvent,
        None if given.by_mass is None else _parts(given.by_mass, "/by_mass"),
        None if given.by_volume is None else _parts(given.by_volume, "/by_volume"),
        None if given.percent_w_v is None else float(given.percent_w_v),
    )


def _parts(text: str, pointer: str) -> tuple[float, float]:
    found = _PARTS.fullmatch(text)
    if found is None:
        raise InputError(f"“{text}”: write parts of the ingredient to parts of the solvent, such as “1:1”.", pointer)
    first, second = float(found.group(1)), float(found.group(2))
    if not 1e-4 <= first <= 1e4 or not 1e-4 <= second <= 1e4:
        raise InputError("Both parts are larger than zero, and at most 10,000.", pointer)
    return first, second


def _dye(given: DyeIn, stock: str, told: _Told) -> DyeAsked:
    if given.percent_w_v is None:
        for name in ("total_colour_percent", "absorptivity"):
            if getattr(given, name):
                raise InputError(
                    "That says something only of a stock of stated strength: give its per cent (percent_w_v).",
                    f"/dye/{name}",
                )
    wavelengths = [a.wavelength_nm for a in given.absorptivity]
    if len(set(wavelengths)) < len(wavelengths):
        raise InputError("One absorptivity for each wavelength.", "/dye/absorptivity")
    known = dye_named(given.name)
    if known is not None and given.percent_w_v is not None and given.total_colour_percent is None:
        told.assumed.append(
            Assumed(
                f"{stock}: total colour of the powder",
                f"100 %; a powder for sale holds {known.least_total_colour_percent:g} % or more, and less dye then",
                f"our default; {known.us_regulation}, 2015 annual edition",
                "the certificate of the lot",
            )
        )
    if known is not None and given.percent_w_v is not None and not given.absorptivity:
        told.assumed.append(
            Assumed(
                f"{stock}: absorptivity",
                ", ".join(f"{a.e_1_percent_1_cm:g} at {a.wavelength_nm:g} nm" for a in known.absorptivities)
                + " for 1 g/100 mL and 1 cm, in water",
                "JECFA and Regulation (EU) No 231/2012, from memory, unverified",
                "its certificate",
            )
        )
    return DyeAsked(
        given.name,
        known,
        None if given.percent_w_v is None else float(given.percent_w_v),
        None if given.total_colour_percent is None else float(given.total_colour_percent),
        tuple(Absorptivity(float(a.wavelength_nm), float(a.e_1_percent_1_cm)) for a in given.absorptivity),
    )


def _measure(given: RequestModel, told: _Told, reader: Reader) -> Measure:
    """How much of a stock, in grams or millilitres, with its smallest graduation and its error."""
    assert isinstance(given, StockIn)
    if isinstance(given.amount, DropsIn):
        return _drops(given.amount, given.name, told)
    quantity = reader.quantity(given.amount, MASS_OR_VOLUME, "/amount", liquid=True, read=True)
    if quantity.value_base <= 0.0:
        raise InputError("A stock's amount is larger than zero: leave the stock out.", "/amount")
    if quantity.kind is Kind.MASS:
        step_g = told.instruments.scale_step_g
        sd = quantity.error_base if quantity.error_base is not None else 0.5 * step_g
        return Measure(quantity.value_base, False, step_g, sd, given.amount, f"{step_g:g} g")
    step_text = f"{number_text(told.step_ml, 0.001)} mL"
    if not told.step_given:
        told.assumed.append(
            Assumed("syringe: smallest graduation", step_text, "common practice, no source", "read it off")
        )
    if quantity.error_base is None:
        told.assumed.append(
            Assumed(
                "syringe: standard deviation of a dose",
                f"{number_text(ERROR_GRADUATIONS * told.step_ml, 0.001)} mL, one graduation",
                "judged",
                "weigh a few doses, and write the amount as “10 mL ± 0.05 mL”",
            )
        )
    sd = ERROR_GRADUATIONS * told.step_ml if quantity.error_base is None else quantity.error_base
    return Measure(quantity.value_base, True, told.step_ml, sd, given.amount, step_text)


def _drops(given: DropsIn, stock: str, told: _Told) -> Measure:
    per_ml = DROPS_PER_ML if given.drops_per_ml is None else float(given.drops_per_ml)
    if given.drops_per_ml is None:
        told.assumed.append(
            Assumed(
                f"{stock}: size of a drop",
                f"{per_ml:g} drops in 1 mL",
                "common practice, no source",
                "count the drops of this bottle that fill 1 mL",
            )
        )
    if given.error_drops is None:
        told.assumed.append(
            Assumed(f"{stock}: standard deviation of the drops", "one drop", "judged", "weigh a few doses")
        )
    sd = ERROR_GRADUATIONS if given.error_drops is None else float(given.error_drops)
    text = "1 drop" if given.drops == 1 else f"{given.drops} drops"
    sound_error(given.drops, given.error_drops, f"{text} ± {sd:g}", "/amount/error_drops", at_most=ERROR_GRADUATIONS)
    return Measure(given.drops / per_ml, True, 1.0 / per_ml, sd / per_ml, text, "one drop", in_drops=True)
