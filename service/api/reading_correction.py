"""Reads corrections: what is in the vessel, and its readings with their errors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import hypot

from service.api.reading import MASS_OR_VOLUME, VOLUME, Reader, gravity_from, meq_per_l
from service.api.reading_additions import addition_from
from service.api.reading_blend import SharedReading
from service.api.reading_targets import preference_from, target_value
from service.api.requests import AdditionIn, AdditionPoured
from service.api.requests_correction import AddedIn, CorrectionRequest
from service.catalogue.lookup import resolve_id
from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l
from service.errors import InconsistentError, InputError, QuantityError, ServiceError
from service.model.lot_class import Assumed
from service.model.properties import property_value
from service.planner.asked import AdditionAsked, Instruments, LotAsked
from service.planner.beliefs import SCALE_SD_STEPS
from service.planner.compare import LEAST_TITRATION_ERROR_G_PER_L
from service.planner.correction.asked import READ, REFRACTOMETER, VESSEL, CorrectionAsked, ReadingAsked
from service.planner.materials import materials_of, poured
from service.quantities import AcidityBasis, Kind, parse_acidity, parse_percent, parse_quantity, parse_sugar_scale

_WEIGHED_SHARE = 0.002
"""Standard deviation of a heavy mass as a share: a scale for heavy things shows 50 g in 25 kg (judged)."""

_SLACK = 1.0 + 1e-4
"""An answer's own figures, sent back rounded, do not exceed what there was."""


def correction_from(given: CorrectionRequest, deadline_s: float) -> CorrectionAsked:
    """A correction as the planner takes it.

    Raises: ServiceError with every fault of the request.
    """
    shared = SharedReading(given, targets_needed=given.fault is None)
    reader = shared.reader
    prefer = [
        reader.attempt(f"/prefer/{i}", partial(preference_from, preference))
        for i, preference in enumerate(given.prefer)
    ]
    for k, lot in enumerate(shared.lots):
        if lot.lot.name == VESSEL:
            reader.faults.append(InputError(f"“{VESSEL}” is what the mixture is called: rename.", f"/lots/{k}/name"))
    vessel = _Poured(given, shared.lots, shared.additions, shared.instruments, reader)
    readable = not reader.faults
    if readable:
        vessel.read()
    strength = _strength(vessel, reader) if readable and not reader.faults else None
    readings = _Readings(given, shared.instruments, reader, strength or 0.0)
    found = readings.found()
    shared.assumed = (*shared.assumed, *readings.assumed)
    plan = shared.plan(given, [p for p in prefer if p is not None], given.rounding, deadline_s)
    return CorrectionAsked(
        plan,
        tuple(vessel.lots),
        tuple(vessel.additions),
        tuple(vessel.besides),
        found,
        given.model_dump(mode="json", by_alias=True, exclude_unset=True),
    )


@dataclass
class _Pour:
    """Pours of one thing together: their mass [g] or volume [L], and standard deviation."""

    amount: float = 0.0
    sd: float = 0.0

    def plus(self, amount: float, sd: float) -> None:
        self.amount += amount
        self.sd = hypot(self.sd, sd)


class _Poured:
    """What of a recipe is in the vessel."""

    def __init__(
        self,
        given: CorrectionRequest,
        lots: Sequence[LotAsked],
        additions: Sequence[AdditionAsked],
        instruments: Instruments,
        reader: Reader,
    ) -> None:
        self.given, self.meant, self.stock = given, additions, lots
        self.instruments, self.reader = instruments, reader
        self.lots: list[LotAsked] = []
        self.additions: list[AdditionAsked] = []
        self.besides: list[AdditionAsked] = []

    def read(self) -> None:
        """Sort what was added by what it was added from."""
        of_lots: dict[str, _Pour] = {}
        of_additions: dict[int, _Pour] = {}
        besides: dict[tuple[str, str], tuple[AdditionAsked, _Pour]] = {}
        for i, added in enumerate(self.given.added):
            pointer = f"/added/{i}"
            if added.lot is not None:
                self.reader.attempt(pointer, partial(self._lot, added, of_lots))
                continue
            place = self.reader.attempt(pointer, partial(self._place, added))
            if place is None:
                continue
            found = self.reader.attempt(pointer, partial(self._addition, added, place))
            if found is None:
                continue
            sd = found.amount_sd_g
            sd = SCALE_SD_STEPS * self.instruments.scale_step_g if sd is None else sd
            if place >= 0:
                of_additions.setdefault(place, _Pour()).plus(found.least_g, sd)
            else:
                key = (found.ingredient.id, _without_amount(added))
                besides.setdefault(key, (found, _Pour()))[1].plus(found.least_g, sd)
        self._gather(of_lots, of_additions, list(besides.values()))

    def _gather(
        self,
        of_lots: dict[str, _Pour],
        of_additions: dict[int, _Pour],
        besides: Sequence[tuple[AdditionAsked, _Pour]],
    ) -> None:
        for lot in self.stock:
            pour = of_lots.get(lot.lot.name)
            if pour is None:
                litres = lot.lot.volume_l if lot.least_l >= lot.lot.volume_l else 0.0
                self.lots.append(replace(lot, least_l=litres, most_l=litres))
                continue
            if pour.amount > lot.lot.volume_l * _SLACK:
                text = f"“{lot.lot.name}” holds {lot.lot.volume_l:.4g} L, and {pour.amount:.4g} L of it were added."
                self.reader.faults.append(InconsistentError(f"{text} Check both.", "/added"))
            litres = min(pour.amount, lot.lot.volume_l)
            share = pour.sd / pour.amount if pour.amount > 0.0 else None
            self.lots.append(replace(lot, least_l=litres, most_l=litres, volume_sd_share=share))
        for k, meant in enumerate(self.meant):
            self.additions.append(_poured(meant, of_additions.get(k, _Pour())))
        self.besides = [_poured(found, pour) for found, pour in besides]
        nothing = not any(lot.most_l > 0.0 for lot in self.lots)
        if nothing and not any(a.least_g > 0.0 for a in (*self.additions, *self.besides)):
            text = "Nothing is in the vessel yet: say what was added, or ask for a blend plan."
            self.reader.faults.append(InputError(text, "/added"))

    def _lot(self, added: AddedIn, of_lots: dict[str, _Pour]) -> None:
        """A part of a lot."""
        if added.ingredient is not None or added.composition is not None or added.measured is not None:
            raise InputError("Name a lot, an ingredient or a composition: one of the three.", "/lot")
        lot = next((lot for lot in self.stock if lot.lot.name == added.lot), None)
        if lot is None:
            known = ", ".join(f"“{lot.lot.name}”" for lot in self.stock) or "there are none"
            raise InputError(f"“{added.lot}” is not among the lots of the request ({known}).", "/lot")
        quantity = self.reader.quantity(added.amount, MASS_OR_VOLUME, "/amount", liquid=True, read=True)
        if quantity.kind is Kind.MASS:
            litre_g = lot.lot.contents.mass_g / lot.lot.volume_l
            own = _WEIGHED_SHARE * quantity.value_base if quantity.error_base is None else quantity.error_base
            of_lots.setdefault(lot.lot.name, _Pour()).plus(quantity.value_base / litre_g, own / litre_g)
            return
        litres = quantity.value_base / 1000.0
        if quantity.error_base is not None:
            sd = quantity.error_base / 1000.0
        elif litres >= lot.lot.volume_l and lot.volume_sd_share is not None:
            sd = lot.volume_sd_share * litres
        else:
            sd = self.instruments.volume_error_percent / 100.0 * litres
        of_lots.setdefault(lot.lot.name, _Pour()).plus(litres, sd)

    def _place(self, added: AddedIn) -> int:
        """Which addition of the recipe it is; −1 for none of them."""
        if (added.ingredient is None) == (added.composition is None):
            raise InputError("Name a lot, an ingredient or a composition: one of the three.", "/ingredient")
        if added.ingredient is not None:
            try:
                resolve_id(added.ingredient)
            except ServiceError as error:
                raise error.below("/ingredient") from error
        same = [k for k, meant in enumerate(self.given.additions) if _is_of(added, meant)]
        if added.measured is not None:
            return next((k for k in same if self.given.additions[k].measured == added.measured), -1)
        if len(same) > 1:
            raise InputError(
                "Several additions are of this ingredient: repeat the measured of the one that went in.", "/measured"
            )
        return same[0] if same else -1

    def _addition(self, added: AddedIn, place: int) -> AdditionAsked:
        meant = self.given.additions[place] if place >= 0 else None
        amount = added.amount
        if _speaks_of_packs(amount):
            pack_g = self.meant[place].pack_g if place >= 0 else None
            if pack_g is None:
                raise InputError("Only an addition with a pack is counted in packs: give a mass or volume.", "/amount")
            amount = f"{parse_quantity(amount, {Kind.PACKS}, pointer='/amount').value_base * pack_g:.9g} g"
        poured_ = AdditionPoured(
            ingredient=added.ingredient,
            composition=added.composition,
            measured=added.measured if meant is None else meant.measured,
            price=added.price if meant is None else meant.price,
            treatment=added.treatment if meant is None or added.treatment is not None else meant.treatment,
            amount=amount,
        )
        if poured_.price is not None and _speaks_of_packs(poured_.price.per):
            poured_ = poured_.model_copy(update={"price": None})
        return addition_from(poured_, self.reader, self.instruments.jug_step_ml)


def _poured(asked: AdditionAsked, pour: _Pour) -> AdditionAsked:
    """An addition in the amount that is in the vessel."""
    sd = pour.sd if pour.amount > 0.0 else None
    return replace(asked, least_g=pour.amount, most_g=pour.amount, amount_sd_g=sd, whole_g=None, given=None)


def _is_of(added: AddedIn, meant: AdditionIn) -> bool:
    if added.ingredient is None or meant.ingredient is None:
        return added.composition is not None and added.composition == meant.composition
    return resolve_id(added.ingredient) == resolve_id(meant.ingredient)


def _without_amount(added: AddedIn) -> str:
    return added.model_dump_json(exclude_defaults=True, exclude={"amount"})


def _speaks_of_packs(text: str) -> bool:
    try:
        return parse_quantity(text, MASS_OR_VOLUME | {Kind.PACKS}, liquid=False).kind is Kind.PACKS
    except QuantityError:
        return False


def _strength(vessel: _Poured, reader: Reader) -> float | None:
    """Strength of what was poured, by which a hydrometer's reading is corrected [% vol]."""

    def strength() -> float:
        materials = materials_of(vessel.lots, (*vessel.additions, *vessel.besides))
        contents = poured(materials, [m.least_g for m in materials])
        return property_value("abv_percent", contents, contents.volume_ml / 1000.0) or 0.0

    return reader.attempt("/added", strength)


class _Readings:
    """The readings of the vessel, each with its standard deviation."""

    def __init__(self, given: CorrectionRequest, instruments: Instruments, reader: Reader, abv_percent: float) -> None:
        self.given, self.instruments, self.reader, self.abv_percent = given, instruments, reader, abv_percent
        self.assumed: list[Assumed] = []

    def found(self) -> tuple[ReadingAsked, ...]:
        """All readings that could be read; a missing one is a fault of the request."""
        measured = self.given.measured
        names = [name for name in READ if measured is not None and getattr(measured, name) is not None]
        for name in self.given.errors.model_fields_set - set(names):
            if getattr(self.given.errors, name) is not None:
                self.reader.faults.append(InputError("There is no such reading in measured.", f"/errors/{name}"))
        if not names and self.given.fault is None:
            self.reader.faults.append(
                InputError(
                    "Measure what is in the vessel: gravity, abv_percent, titratable_acidity, ph, volume or "
                    "refractometer, one at least.",
                    "/measured",
                )
            )
        found = [self.reader.attempt(f"/measured/{name}", partial(self._reading, name)) for name in names]
        return tuple(r for r in found if r is not None)

    def _reading(self, name: str) -> ReadingAsked:
        value, stated = self._value(name)
        try:
            separate = self._stated(name, value)
        except ServiceError as fault:
            fault.pointer = f"/errors/{name}"
            self.reader.faults.append(fault)
            separate = None
        if stated is not None and separate is not None:
            raise InputError("The error stands behind ± and in errors: give it once.")
        error = stated if separate is None else separate
        return ReadingAsked(name, value, self._usual(name, value) if error is None else error)

    def _value(self, name: str) -> tuple[float, float | None]:
        """A reading in its property's unit, and its error where that stands behind it."""
        measured, reader = self.given.measured, self.reader
        assert measured is not None
        if name == "gravity":
            assert measured.gravity is not None
            hydrometer_c = self.instruments.hydrometer_calibrated_at_c
            fermented = self.abv_percent > 0.0
            read = gravity_from(measured.gravity, self.abv_percent, hydrometer_c, reader, fermented=fermented)
            return target_value(name, read, "", reader), None
        text = getattr(measured, name)
        if name == "titratable_acidity":
            return _acidity(text)
        if name == "volume":
            quantity = reader.quantity(text, VOLUME, liquid=True, read=True)
            litres = quantity.value_base / 1000.0
            if litres <= 0.0:
                raise InputError("A volume in the vessel is above zero.")
            return litres, None if quantity.error_base is None else quantity.error_base / 1000.0
        if name == REFRACTOMETER:
            scale = parse_sugar_scale(text)
            return scale.value, scale.error
        return target_value(name, text, "", reader), None

    def _stated(self, name: str, value: float) -> float | None:
        """The error of a reading in `errors`, in its property's unit."""
        told = getattr(self.given.errors, name)
        if not isinstance(told, str):
            return None if told is None else float(told)
        if told.rstrip().endswith(("%", "percent")):
            error = parse_percent(told) / 100.0 * abs(value)
        elif name == "volume":
            error = self.reader.quantity(told, VOLUME, liquid=True).value_base / 1000.0
        else:
            error = _acidity(told)[0]
        if error <= 0.0:
            raise InputError("An error is above zero: no reading is exact.")
        return error

    def _usual(self, name: str, value: float) -> float:
        """The error of the instrument, with what was assumed about it."""
        told = self.instruments
        field, error, words = {
            "gravity": ("hydrometer", told.hydrometer_error, f"{told.hydrometer_error:g}"),
            "abv_percent": ("strength", told.strength_error_percent, f"{told.strength_error_percent:g} % vol"),
            "titratable_acidity": (
                "titration",
                max(told.titration_error_percent / 100.0 * abs(value), LEAST_TITRATION_ERROR_G_PER_L),
                f"{told.titration_error_percent:g} %",
            ),
            "ph": ("ph_meter", told.ph_meter_error, f"{told.ph_meter_error:g}"),
            "volume": ("volume", told.volume_error_percent / 100.0 * value, f"{told.volume_error_percent:g} %"),
            REFRACTOMETER: ("refractometer", told.refractometer_error_brix, f"{told.refractometer_error_brix:g} °Bx"),
        }[name]
        if field not in told.given:
            how = f"state it: errors.{name}, or instruments.{field}"
            self.assumed.append(Assumed(f"error of the {name} read", words, "trade default", how))
        return error


def _acidity(text: str) -> tuple[float, float | None]:
    """An acidity of a drink and its error [g/L tartaric]."""
    acidity = parse_acidity(text)
    if acidity.basis in (AcidityBasis.G_PER_KG, AcidityBasis.MEQ_PER_KG):
        raise InputError("Give the acidity of a drink per litre, such as “7 g/L tartaric”.")
    value = acid_g_per_l_from_meq_per_l(meq_per_l(acidity, 1.0), Acid.TARTARIC)
    error = None if acidity.error is None else value * acidity.error / acidity.value if acidity.value > 0.0 else None
    return value, error
