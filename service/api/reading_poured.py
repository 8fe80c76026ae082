"""Reads what is in a vessel: what went in from one measuring to the next, sorted by what it was added from."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from math import hypot, inf
from typing import Final

from service.api.reading import MASS_OR_VOLUME, VOLUME, Reader
from service.api.reading_additions import addition_from
from service.api.requests import AdditionIn, AdditionPoured
from service.api.requests_correction import AddedIn, CorrectionRequest, EarlierIn
from service.catalogue.lookup import resolve_id
from service.errors import InconsistentError, InputError, QuantityError, ServiceError
from service.model.contents import Contents
from service.planner.asked import AdditionAsked, Instruments, LotAsked
from service.planner.beliefs import SCALE_SD_STEPS
from service.planner.correction.asked import PourAsked, StageAsked
from service.planner.materials import materials_of, poured
from service.quantities import Kind, parse_quantity

_WEIGHED_SHARE: Final = 0.002
"""Standard deviation of a heavy mass as a share: a scale for heavy things shows 50 g in 25 kg (judged)."""

_SLACK: Final = 1.0 + 1e-4
"""An answer's own figures, sent back rounded, do not exceed what there was."""

_HOW_MUCH: Final = "Say how much of it went in: amount, or for juice the fruit it was pressed from."

_WHICH: Final = "Several additions are of this ingredient: repeat the measured of the one that went in."


@dataclass(frozen=True, slots=True)
class StageIn:
    """A stage of a request, with the place of its fields."""

    given: CorrectionRequest | EarlierIn
    pointer: str


def stages_of(given: CorrectionRequest) -> list[StageIn]:
    """The stages of a request, oldest first; the last is the request itself."""
    return [*(StageIn(e, f"/earlier/{i}") for i, e in enumerate(given.earlier)), StageIn(given, "")]


def with_stocks_measured(given: CorrectionRequest) -> CorrectionRequest:
    """A request whose additions are as measured when they were poured, where they had not been measured themselves.

    Only the one addition of an ingredient can be meant: of several, one that was not measured stays as it is.
    """
    additions = list(given.additions)
    for stage in stages_of(given):
        for added in stage.given.added:
            if added.measured is None or not added.measured.model_fields_set:
                continue
            same = [k for k, meant in enumerate(additions) if _readable(partial(_is_of, added, meant))]
            if len(same) != 1 or _measured(additions[same[0]]) is not None:
                continue
            # what cannot be read is refused where it stands
            if _readable(partial(_is_ingredient, added)):
                additions[same[0]] = additions[same[0]].model_copy(update={"measured": added.measured})
    return given if additions == given.additions else given.model_copy(update={"additions": additions})


def _is_ingredient(added: AddedIn) -> bool:
    given = AdditionPoured(
        ingredient=added.ingredient, composition=added.composition, measured=added.measured, amount="1 g"
    )
    return bool(addition_from(given, Reader()).ingredient.id)


def _readable(read: Callable[[], bool]) -> bool:
    try:
        return read()
    except ServiceError:
        return False


def _measured(given: AddedIn | AdditionIn) -> object:
    return given.measured if given.measured is not None and given.measured.model_fields_set else None


@dataclass(slots=True)
class _Pours:
    """What went in of one thing, by stage: mass [g] or volume [L] with its standard deviation."""

    by_stage: dict[int, PourAsked] = field(default_factory=dict)

    def add(self, stage: int, amount: float, sd: float) -> None:
        before = self.by_stage.get(stage, PourAsked(0.0, 0.0))
        self.by_stage[stage] = PourAsked(before.amount + amount, hypot(before.sd or 0.0, sd))

    @property
    def amount(self) -> float:
        return sum(pour.amount for pour in self.by_stage.values())

    @property
    def sd(self) -> float | None:
        return hypot(*(pour.sd or 0.0 for pour in self.by_stage.values())) if self.amount > 0.0 else None

    def at(self, stage: int) -> PourAsked:
        return self.by_stage.get(stage, PourAsked())


class PouredReading:
    """What of a recipe went in, and besides it, in all and by stages."""

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
        self.stages: list[StageAsked] = []
        self._of_additions: dict[int, _Pours] = {}
        self._as_poured: dict[int, AdditionAsked] = {}

    def read(self) -> None:
        """Sort what was added by what it was added from."""
        of_lots: dict[str, _Pours] = {}
        besides: dict[tuple[str, str], tuple[AdditionAsked, _Pours]] = {}
        stages = stages_of(self.given)
        for s, stage in enumerate(stages):
            for i, added in enumerate(stage.given.added):
                pointer = f"{stage.pointer}/added/{i}"
                if added.lot is not None:
                    self.reader.attempt(pointer, partial(self._lot, added, s, of_lots))
                    continue
                rows = self.reader.attempt(pointer, partial(self._rows, added))
                if rows is None:
                    continue
                found = self.reader.attempt(pointer, partial(self._addition, added, rows))
                if found is None:
                    continue
                sd = found.amount_sd_g
                sd = SCALE_SD_STEPS * self.instruments.scale_step_g if sd is None else sd
                if rows:
                    self._share_out(found, sd, s, rows)
                else:
                    key = (found.ingredient.id, _without_amount(added))
                    besides.setdefault(key, (found, _Pours()))[1].add(s, found.least_g, sd)
        self._gather(of_lots, list(besides.values()), [self._lost(stage) for stage in stages])

    def _lost(self, stage: StageIn) -> tuple[float, float]:
        """What was lost in a stage, and its standard deviation [L]."""
        text = stage.given.lost
        if text is None:
            return 0.0, 0.0

        def read() -> tuple[float, float]:
            quantity = self.reader.quantity(text, VOLUME, liquid=True, read=True)
            litres = quantity.value_base / 1000.0
            if litres <= 0.0:
                raise InputError("What was lost is a volume above zero: leave it out where nothing was.")
            if quantity.error_base is not None:
                return litres, quantity.error_base / 1000.0
            return litres, self.instruments.volume_error_percent / 100.0 * litres

        return self.reader.attempt(f"{stage.pointer}/lost", read) or (0.0, 0.0)

    def _share_out(self, found: AdditionAsked, sd: float, stage: int, rows: Sequence[int]) -> None:
        """What was poured of additions that are alike: of the first until it is used up, then of the next."""
        left = found.least_g
        for k in rows:
            pours = self._of_additions.setdefault(k, _Pours())
            most = self.meant[k].most_g
            room = inf if most is None or k == rows[-1] else max(most - pours.amount, 0.0)
            part = left if left <= room * _SLACK else room
            if part > 0.0:
                pours.add(stage, part, sd * part / found.least_g)
                first = self._as_poured.setdefault(k, found)
                if found.treatment == "raw":  # a little raw juice is enough to heed
                    self._as_poured[k] = replace(first, treatment="raw")
            left -= part

    def _gather(
        self,
        of_lots: Mapping[str, _Pours],
        besides: Sequence[tuple[AdditionAsked, _Pours]],
        lost: Sequence[tuple[float, float]],
    ) -> None:
        lots = []
        for lot in self.stock:
            pours = of_lots.get(lot.lot.name)
            if pours is None:
                litres = lot.lot.volume_l if lot.least_l >= lot.lot.volume_l else 0.0
                self.lots.append(replace(lot, least_l=litres, most_l=litres))
                share = lot.volume_sd_share
                whole = PourAsked(litres, None if share is None else share * litres)
                lots.append(_Pours({0: whole} if litres > 0.0 else {}))
                continue
            if pours.amount > lot.lot.volume_l * _SLACK:
                text = f"“{lot.lot.name}” holds {lot.lot.volume_l:.4g} L, and {pours.amount:.4g} L of it were added."
                self.reader.faults.append(InconsistentError(f"{text} Check both.", "/added"))
            litres = min(pours.amount, lot.lot.volume_l)
            sd_share = (pours.sd or 0.0) / pours.amount if pours.amount > 0.0 else None
            self.lots.append(replace(lot, least_l=litres, most_l=litres, volume_sd_share=sd_share))
            lots.append(pours)
        additions = [self._of_additions.get(k, _Pours()) for k in range(len(self.meant))]
        for k, (meant, pours) in enumerate(zip(self.meant, additions, strict=True)):
            self.additions.append(_poured(meant, self._as_poured.get(k), pours))
        self.besides = [_poured(found, found, pours) for found, pours in besides]
        self.stages = [
            StageAsked(
                tuple([p.at(s) for p in lots]),
                tuple([p.at(s) for p in additions]),
                tuple([p.at(s) for _, p in besides]),
                *lost[s],
            )
            for s in range(len(lost))
        ]
        nothing = not any(lot.most_l > 0.0 for lot in self.lots)
        if nothing and not any(a.least_g > 0.0 for a in (*self.additions, *self.besides)):
            text = "Nothing is in the vessel yet: say what was added, or ask for a blend plan."
            self.reader.faults.append(InputError(text, "/added"))

    def contents(self, stage: int) -> Contents:
        """What had been poured by the end of a stage, whatever was lost of it."""
        litres = [sum(s.lots[k].amount for s in self.stages[: stage + 1]) for k in range(len(self.lots))]
        lots = [replace(lot, least_l=v, most_l=v) for lot, v in zip(self.lots, litres, strict=True)]
        masses = [
            sum(both[k].amount for both in ((*s.additions, *s.besides) for s in self.stages[: stage + 1]))
            for k in range(len(self.additions) + len(self.besides))
        ]
        both = (*self.additions, *self.besides)
        additions = [replace(a, least_g=g, most_g=g) for a, g in zip(both, masses, strict=True)]
        materials = materials_of(lots, additions)
        return poured(materials, [m.least_g for m in materials])

    def _lot(self, added: AddedIn, stage: int, of_lots: dict[str, _Pours]) -> None:
        """A part of a lot."""
        if added.ingredient is not None or added.composition is not None or added.measured is not None:
            raise InputError("Name a lot, an ingredient or a composition: one of the three.", "/lot")
        if added.fruit is not None or added.fruit_count is not None or added.pressed is not None:
            raise InputError("A lot is poured, not pressed from fruit: give its amount.", "/lot")
        if added.amount is None:
            raise InputError(_HOW_MUCH, "/amount")
        lot = next((lot for lot in self.stock if lot.lot.name == added.lot), None)
        if lot is None:
            known = ", ".join(f"“{lot.lot.name}”" for lot in self.stock) or "there are none"
            raise InputError(f"“{added.lot}” is not among the lots of the request ({known}).", "/lot")
        quantity = self.reader.quantity(added.amount, MASS_OR_VOLUME, "/amount", liquid=True, read=True)
        if quantity.kind is Kind.MASS:
            litre_g = lot.lot.contents.mass_g / lot.lot.volume_l
            own = _WEIGHED_SHARE * quantity.value_base if quantity.error_base is None else quantity.error_base
            of_lots.setdefault(lot.lot.name, _Pours()).add(stage, quantity.value_base / litre_g, own / litre_g)
            return
        litres = quantity.value_base / 1000.0
        if quantity.error_base is not None:
            sd = quantity.error_base / 1000.0
        elif litres >= lot.lot.volume_l and lot.volume_sd_share is not None:
            sd = lot.volume_sd_share * litres
        else:
            sd = self.instruments.volume_error_percent / 100.0 * litres
        of_lots.setdefault(lot.lot.name, _Pours()).add(stage, litres, sd)

    def _rows(self, added: AddedIn) -> list[int]:
        """Which additions of the recipe it may be, all of them alike; none where it is besides the recipe."""
        if (added.ingredient is None) == (added.composition is None):
            raise InputError("Name a lot, an ingredient or a composition: one of the three.", "/ingredient")
        if added.ingredient is not None:
            try:
                resolve_id(added.ingredient)
            except ServiceError as error:
                raise error.below("/ingredient") from error
        same = [k for k, meant in enumerate(self.given.additions) if _is_of(added, meant)]
        alike = [k for k in same if _measured(self.given.additions[k]) == _measured(added)]
        treated = [k for k in alike if self.given.additions[k].treatment == added.treatment]
        if alike:
            return treated or alike
        if _measured(added) is None and len(same) == 1:
            return same
        if len(same) > 1 and (
            _measured(added) is None or any(_measured(self.given.additions[k]) is None for k in same)
        ):
            raise InputError(_WHICH, "/measured")
        return []  # measured otherwise than any stock of the recipe

    def _addition(self, added: AddedIn, rows: Sequence[int]) -> AdditionAsked:
        meant = self.given.additions[rows[0]] if rows else None
        amount = added.amount
        if amount is None and added.fruit is None and added.fruit_count is None and added.pressed is None:
            raise InputError(_HOW_MUCH, "/amount")
        if amount is not None and _speaks_of_packs(amount):
            pack_g = next((self.meant[k].pack_g for k in rows if self.meant[k].pack_g is not None), None)
            if pack_g is None:
                raise InputError("Only an addition with a pack is counted in packs: give a mass or volume.", "/amount")
            amount = f"{parse_quantity(amount, {Kind.PACKS}, pointer='/amount').value_base * pack_g:.9g} g"
        poured_ = AdditionPoured(
            ingredient=added.ingredient,
            composition=added.composition,
            measured=added.measured if meant is None else meant.measured,
            price=added.price if meant is None else None,
            treatment=added.treatment,
            amount=amount,
            fruit=added.fruit,
            fruit_count=added.fruit_count,
            pressed=added.pressed,
        )
        if poured_.price is not None and _speaks_of_packs(poured_.price.per):
            poured_ = poured_.model_copy(update={"price": None})
        found = addition_from(poured_, self.reader, self.instruments.jug_step_ml)
        return replace(found, unit=None if amount is None else _unit(amount))


def _unit(text: str) -> str | None:
    try:
        return parse_quantity(text, MASS_OR_VOLUME).unit
    except QuantityError:
        return None


def _poured(asked: AdditionAsked, found: AdditionAsked | None, pours: _Pours) -> AdditionAsked:
    """An addition in the amount that went in, told in the unit and treated as it was then."""
    told = asked if found is None else replace(asked, treatment=found.treatment or asked.treatment, unit=found.unit)
    amount = pours.amount
    told = replace(told, least_g=amount, most_g=amount, amount_sd_g=pours.sd, whole_g=None, given=None, fruit=None)
    if found is None or found.fruit is None:
        return told
    return replace(told, fruit=found.fruit, assumed=tuple(dict.fromkeys((*told.assumed, *found.assumed))))


def _is_of(added: AddedIn, meant: AdditionIn) -> bool:
    if added.ingredient is None or meant.ingredient is None:
        return added.composition is not None and added.composition == meant.composition
    return resolve_id(added.ingredient) == resolve_id(meant.ingredient)


def _without_amount(added: AddedIn) -> str:
    return added.model_dump_json(exclude_defaults=True, exclude={"amount", "fruit", "fruit_count", "pressed"})


def _speaks_of_packs(text: str) -> bool:
    try:
        return parse_quantity(text, MASS_OR_VOLUME | {Kind.PACKS}, liquid=False).kind is Kind.PACKS
    except QuantityError:
        return False
