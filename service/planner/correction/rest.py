"""From what is known of the vessel to the plan for the rest: the vessel as a lot, what is left as lots and additions.

What the readings left open is written with independent unknowns that the vessel, the stocks and the unpoured lots
share, each named after the unknown that it stands for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from math import floor
from typing import Final

from service.catalogue.records import Acids
from service.errors import InputError
from service.model.contents import Contents
from service.model.lot import Lot
from service.model.lot_class import LotClass
from service.model.properties import PROPERTIES, Of
from service.model.unknowns import Unknown
from service.planner.asked import AdditionAsked, LotAsked, PlanAsked, TargetAsked
from service.planner.beliefs import AMOUNT
from service.planner.correction.asked import VESSEL, CorrectionAsked
from service.planner.correction.belief import Belief, bounded, moved
from service.planner.correction.stages import LOST
from service.planner.correction.terms import VOLUME
from service.planner.materials import Material
from service.planner.plain_words import plain_property
from service.planner.predict import value_of

POURED: Final = "already poured"
_SHARE_THAT_COUNTS: Final = 0.02
"""A material whose effect on pH nobody knows makes the vessel's unknown from this share of the mass on, as for any
blend."""

_AMOUNTS: Final = frozenset({AMOUNT, VOLUME, LOST})
_GONE: Final = 1e-9
_WHOLE: Final = 1e-6


class Rest:
    """The vessel and what is left of the recipe, as the lots and additions of a plan."""

    def __init__(self, asked: CorrectionAsked, belief: Belief) -> None:
        self.asked, self.belief = asked, belief
        self.by_source = {id(m.source): m for m in belief.materials}

    @cached_property
    def vessel(self) -> LotAsked:
        """What is in the vessel, as a lot of which everything is used."""
        belief = self.belief
        contents = belief.contents
        litres = contents.volume_ml / 1000.0
        lots = [
            (m, m.source, g)
            for m, g in zip(belief.materials, belief.left_g, strict=True)
            if isinstance(m.source, LotAsked) and g > 0.0
        ]
        largest = max(lots, key=lambda found: (found[2], found[0].name), default=None)
        read = {r.name for r in self.asked.readings}
        read_ph = "ph" in read
        sds = [
            s.lot.residual_sugar_sd_g_per_l * g / (1000.0 * (m.density_g_ml or 1.0)) / litres
            for m, s, g in lots
            if s.lot.residual_sugar_sd_g_per_l is not None
        ]
        lot = Lot(
            VESSEL,
            LotClass.MEAD if largest is None else largest[1].lot.lot_class,
            contents,
            litres,
            "titratable_acidity" in read or all(s.lot.titratable_known for _, s, _ in lots),
            read_ph or all(s.lot.ph_known for _, s, _ in lots),
            Acids(
                contents.acids.scaled(1.0 / litres),
                "what was poured",
                ph_known=read_ph or self._ph_known(contents),
            ),
            (),
            sum(sds) if sds else None,
        )
        degassed = [s.degassed for _, s, _ in lots]
        gas = False if False in degassed else True if degassed and all(degassed) else None
        shifts = self._shifts([(u.shift, k) for k, u in enumerate(belief.unknowns)], 1.0 / litres)
        return LotAsked(lot, litres, litres, gas, any(s.on_lees for _, s, _ in lots), None, shifts)

    def _ph_known(self, contents: Contents) -> bool:
        unknown = sum(
            g for m, g in zip(self.belief.materials, self.belief.left_g, strict=True) if not m.acids_per_g.ph_known
        )
        return unknown < _SHARE_THAT_COUNTS * contents.mass_g

    def _shifts(self, owned: Sequence[tuple[tuple[float, ...], int]], factor: float) -> tuple[Unknown, ...]:
        """Shifts with their places among the unknowns, as shifts of the independent variables of what is known now."""
        if not owned:  # a pure thing, of which nothing is unknown
            return ()
        after = self.belief.after
        size = len(self.belief.unknowns)
        rows: list[list[float]] = []
        for component in zip(*(shift for shift, _ in owned), strict=True):
            row = [0.0] * size
            for (_, k), part in zip(owned, component, strict=True):
                row[k] += factor * part
            rows.append(after.shared(row) if any(component) else row)
        return tuple(
            [
                Unknown(what, whole, measure_by=how, of=of)
                for (what, how, of), whole in zip(self._told, zip(*rows, strict=True), strict=True)
                if any(whole)
            ]
        )

    @cached_property
    def _told(self) -> tuple[tuple[str, str, str], ...]:
        """What each independent variable is called, how it would be measured, and of what it is."""
        left = {name for name in {u.of for u in self.belief.unknowns} if self._is_left(name)}
        return tuple(
            (u.what, u.measure_by if u.of in left and u.what not in _AMOUNTS else "", f"{u.of} {POURED}")
            for u in self.belief.unknowns
        )

    def _is_left(self, name: str) -> bool:
        """Whether there is any of a material left that could be measured."""
        material = next((m for m in self.belief.materials if m.name == name), None)
        if material is None:
            return False
        if isinstance(material.source, AdditionAsked):
            return True
        whole = next(lot for lot in self.asked.plan.lots if lot.lot.name == name)
        return whole.most_l - material.source.most_l > _GONE * whole.most_l

    def _known(self, material: Material) -> tuple[Contents, tuple[tuple[tuple[float, ...], int], ...]]:
        """A gram of a material at the mean, and the shifts of its unknowns with their places."""
        places = self.belief.places(material)
        means = [self.belief.after.mean[k] for _, k in places]
        per_g = bounded(moved(material.per_g, [u for u, _ in places], means))
        return per_g, tuple((u.shift, k) for u, k in places)

    @cached_property
    def lots(self) -> tuple[LotAsked, ...]:
        """The vessel, and what is left of the lots."""
        found = [self.vessel]
        for whole, used in zip(self.asked.plan.lots, self.asked.poured_lots, strict=True):
            left_l = whole.lot.volume_l - used.most_l
            if left_l <= _GONE * whole.lot.volume_l:
                continue
            if used.most_l <= 0.0:
                found.append(whole)
                continue
            most = min(max(whole.most_l - used.most_l, 0.0), left_l)
            least = min(max(whole.least_l - used.most_l, 0.0), most)
            if most <= _GONE * whole.lot.volume_l:
                continue
            per_g, owned = self._known(self.by_source[id(used)])
            litre = per_g.scaled(1000.0 / per_g.volume_ml)
            unknowns = [*self._shifts(owned, litre.mass_g)]
            share = whole.volume_sd_share
            share = self.belief.circumstances.instruments.volume_error_percent / 100.0 if share is None else share
            if share > 0.0:
                how = "read its volume again, or weigh it"
                unknowns.append(
                    Unknown(VOLUME, litre.scaled(share).vector, 0.0, -1.0 / share, measure_by=how, of=whole.lot.name)
                )
            lot = replace(
                whole.lot,
                contents=litre.scaled(left_l),
                volume_l=left_l,
                acids=replace(whole.lot.acids, state=litre.acids),
            )
            found.append(
                replace(whole, lot=lot, least_l=least, most_l=most, volume_sd_share=None, unknowns=tuple(unknowns))
            )
        return tuple(found)

    @cached_property
    def additions(self) -> tuple[AdditionAsked, ...]:
        """The additions of the recipe, less what was added of them, and as the readings have them now."""
        found = []
        for meant, used in zip(self.asked.plan.additions, self.asked.poured_additions, strict=True):
            per_g, owned = self._known(self.by_source[id(used)])
            if used.least_g <= 0.0 and not owned:  # nothing of it was poured
                found.append(meant)
                continue
            most = None if meant.most_g is None else _whole(max(meant.most_g - used.least_g, 0.0), meant.whole_g)
            least = max(meant.least_g - used.least_g, 0.0)
            if meant.least_g == meant.most_g and least <= _GONE * meant.least_g:
                least = most = 0.0
            found.append(
                replace(
                    meant,
                    least_g=least if most is None else min(least, most),
                    most_g=most,
                    given=None,
                    amount_sd_g=None,
                    per_g=per_g,
                    unknowns=self._shifts(owned, 1.0),
                )
            )
        return tuple(found)

    @cached_property
    def targets(self) -> tuple[TargetAsked, ...]:
        """The targets; those on what is added less what was added already."""
        return tuple(self._left_of(target) for target in self.asked.plan.targets)

    def _left_of(self, target: TargetAsked) -> TargetAsked:
        if PROPERTIES[target.name].of not in (Of.ADDED_MASS, Of.ADDED_VOLUME, Of.COST):
            return target
        belief = self.belief
        already = value_of(target.name, belief.materials, belief.masses_g, belief.planned)
        if already is None:
            raise InputError(
                f"The {plain_property(target.name)} of what was added already is not known: give it a price, or leave "
                "the target out.",
                f"/targets/{target.name}",
            )
        law = PROPERTIES[target.name]
        words = f"{target.asked} in all, {already:.{law.decimals}f} {law.unit}".rstrip() + " of it added already"
        value = None if target.value is None else max(target.value - already, 0.0)
        low, high = target.low - already, target.high - already
        return replace(target, low=low, high=high, value=value, asked=words)

    def plan(self) -> PlanAsked:
        """The question of what brings the vessel to the targets."""
        return replace(self.asked.plan, lots=self.lots, additions=self.additions, targets=self.targets, sent={})


def _whole(left_g: float, part_g: float | None) -> float:
    """What is left of a stock: whole packs only, where it comes in packs; the rest of an opened one is not counted."""
    return left_g if not part_g else floor(left_g / part_g + _WHOLE) * part_g
