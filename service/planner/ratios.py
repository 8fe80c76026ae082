"""Properties of a blend as ratios of linear forms in the solver's amounts."""

from __future__ import annotations

from collections.abc import Sequence
from math import log

from service.errors import InputError
from service.model.acidity import Chemistry, outer_balance
from service.model.contents import together
from service.model.properties import (
    CITRIC_G_PER_MEQ,
    PROPERTIES,
    TARTARIC_G_PER_MEQ,
    TOTAL_MASS,
    Of,
    Per,
    Property,
    dot,
)
from service.planner.asked import Preference
from service.planner.materials import Material
from service.planner.plain_words import capital
from service.planner.steps import OURS, Senses
from service.solver.problem import Aim, Form, Ratio, Row

_SOME_DRINK, _LIQUID, _SOME_ACID = "some drink", "a liquid", "some acid"
GUARDS = {_SOME_DRINK, _SOME_ACID}
"""Rows of our own that keep divisors above zero; an optimum that rests on one proves nothing."""

_MOST_SOLIDS = 0.899
"""Share of solids in solids + water, a little inside the range of the volume rule."""

_NEUTRAL_PH = 7.0

_SOME_VOLUME = 1e-3
_SOME_ACID_G = 1e-6


class Ratios:
    """Ratios of properties over the free materials; those of acidity with the chemistry of some blend."""

    def __init__(
        self, materials: Sequence[Material], free: Sequence[int], litres: float, senses: Senses = OURS
    ) -> None:
        self.materials = materials
        self.free = free
        self.litres = litres
        self.senses = senses
        held = [m for i, m in enumerate(materials) if i not in free]
        self.fixed = together([m.per_g for m in held], [m.least_g / (1000.0 * litres) for m in held])
        self.columns = [materials[i].per_g for i in free]
        self.volume = Form(0.0, (0.0,) * len(free), 1.0)
        self.mass = self._form(TOTAL_MASS)

    def _form(self, weights: tuple[float, ...]) -> Form:
        return Form(dot(weights, self.fixed), tuple(dot(weights, column) for column in self.columns))

    def acid(self, chemistry: Chemistry) -> Form:
        """Grams of acid as citric."""
        return self._form(chemistry.titratable).scaled(CITRIC_G_PER_MEQ)

    def _over_added(self, per_kg: Sequence[float | None], what: str, pointer: str) -> Form:
        """A sum over what is added, from a figure for each kilogram of every material; `what` says one is missing."""
        constant, coefficients = 0.0, []
        for i, (material, share) in enumerate(zip(self.materials, per_kg, strict=True)):
            counts = material.kind == "addition"
            if counts and share is None and (material.most_g is None or material.most_g > 0.0):
                raise InputError(what.format(capital(material.said)), pointer)
            value = (share or 0.0) if counts else 0.0
            if i in self.free:
                coefficients.append(value)
            else:
                constant += value * material.least_g / (1000.0 * self.litres)
        return Form(constant, tuple(coefficients))

    def refuse_without_acid(self, pointer: str, what: str = "pH to aim at") -> None:
        """Refuse a question about acid where no material has any."""
        if not any(any(c.acids.acids_mmol) for c in (self.fixed, *self.columns)):
            raise InputError(f"Nothing in this blend brings acid, so it has no {what}.", pointer)

    def ph_ratio(self, chemistry: Chemistry, bound: float) -> Ratio:
        """A ratio that has the value of the pH where that is the bound, and its slope beside it: a step of Newton's."""
        balance, buffering = chemistry.balance_and_buffering(bound)
        slope = self._form(buffering).scaled(1000.0)
        return Ratio(self._form(balance).scaled(1000.0).minus(-bound, slope), slope)

    def outer_ph_ratio(self, weakest: float, strongest: float, low: float, bound: float) -> Ratio:
        """`ph_ratio` at a bound, with the constants of the acids wherever they serve the bound best.

        Parameters: weakest and strongest blend [% vol]; low, the lower bound of the target; bound, either bound.
        """
        least = bound == low
        outer = outer_balance(bound, strongest if least else weakest, least_charge=least)
        slope = self._form(outer.buffering).scaled(1000.0)
        slope = Form(slope.constant, slope.coefficients, outer.solvent_buffer_meq)
        balance = self._form(outer.weights).scaled(1000.0)
        return Ratio(
            Form(balance.constant, balance.coefficients, outer.solvent_meq).minus(-bound, slope),
            slope,
        )

    def ratio(self, law: Property, pointer: str, chemistry: Chemistry, ph: float | None = None) -> Ratio:
        """The ratio whose value is the property, in its unit; `pointer` is where it was asked for.

        A pH is a ratio beside some pH only: beside `ph`, or that of the chemistry's own blend.
        """
        if law.of is Of.VOLUME:
            return Ratio(self.volume.scaled(self.litres))
        if law.of is Of.ADDED_MASS:
            return Ratio(self._over_added([1000.0] * len(self.materials), "", pointer).scaled(self.litres))
        if law.of is Of.ADDED_VOLUME:
            per_kg = [None if m.density_g_ml is None else 1.0 / m.density_g_ml for m in self.materials]
            dry = "{} is a dry solid without a volume of its own: ask about the mass added (added_mass) instead."
            return Ratio(self._over_added(per_kg, dry, pointer).scaled(self.litres))
        if law.of is Of.COST:
            prices = [None if m.price_per_g is None else 1000.0 * m.price_per_g for m in self.materials]
            unpriced = "{} has no price: give one, or leave the cost out of the question."
            return Ratio(self._over_added(prices, unpriced, pointer).scaled(self.litres))
        if law.of is Of.PH:
            self.refuse_without_acid(pointer)
            beside = ph if ph is not None else chemistry.ph
            return self.ph_ratio(chemistry, _NEUTRAL_PH if beside is None else beside)
        if law.of is Of.TITRATION:
            return Ratio(self._form(chemistry.titratable).scaled(1000.0 * TARTARIC_G_PER_MEQ), self.volume)
        top = self._form(self.senses.law(law.name).weights)
        if law.per is Per.VOLUME:
            return Ratio(top.scaled(1000.0), self.volume)
        if law.per is Per.MASS:
            return Ratio(top, self.mass)
        self.refuse_without_acid(pointer, "ratio of sugar to acid")
        return Ratio(top, self.acid(chemistry))

    def guards(self) -> tuple[Row, ...]:
        """Rows that always hold: some drink, and a liquid (solids dissolve)."""
        sums, columns = self.fixed.sums, [c.sums for c in self.columns]
        liquid = Form(
            _MOST_SOLIDS * sums[0] - (1.0 - _MOST_SOLIDS) * sums[2],
            tuple(_MOST_SOLIDS * c[0] - (1.0 - _MOST_SOLIDS) * c[2] for c in columns),
        )
        return Row(_SOME_DRINK, self.volume, lower=_SOME_VOLUME), Row(_LIQUID, liquid, lower=0.0)

    def some_acid(self, chemistry: Chemistry) -> Row:
        """The row that keeps a ratio to acid from dividing by nothing."""
        return Row(_SOME_ACID, self.acid(chemistry), lower=_SOME_ACID_G)

    def aim(self, preference: Preference, pointer: str, chemistry: Chemistry, ph: float | None) -> Aim:
        """A preference as something to minimise, scaled to the reference volume."""
        law = PROPERTIES[preference.name]
        ratio = self.ratio(law, pointer, chemistry, ph)
        factor = -1.0 if preference.maximise else 1.0
        if law.per is Per.ONE:
            factor /= self.litres * (1000.0 if law.of is Of.ADDED_MASS else 1.0)
        return Aim((Ratio(ratio.numerator.scaled(factor), ratio.denominator),))

    def tie_breakers(self) -> tuple[Aim, Aim]:
        """Least added mass, then the names: an earlier one is preferred to a later one."""
        added = tuple(float(self.materials[i].kind == "addition") for i in self.free)
        order = sorted(range(len(self.free)), key=lambda j: self.materials[self.free[j]].name)
        rank = [0.0] * len(self.free)
        for k, j in enumerate(order):
            rank[j] = log(2.0 + k)  # increasing, and no two sums of them are equal by chance
        return Aim((Ratio(Form(0.0, added)),)), Aim((Ratio(Form(0.0, tuple(rank))),))
