"""pH and titratable acidity of a blend, and the linear rows that hold them.

The balance of charges at a given pH is linear in the amounts but for volume, strength and ionic strength. `Chemistry`
gives its tangent at one blend: there the rows are exact, and beside it wrong by the square of the distance. A search
that ends elsewhere takes the chemistry of where it ended, and goes on.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from operator import mul

from service.chemistry.acid_state import AcidState
from service.chemistry.activity import DAVIES_F_MAX
from service.chemistry.charge_balance import (
    CARBONIC_AT,
    Charges,
    Liquid,
    charges_at,
    charges_with,
    ionic_strength_of_liquid,
    ph_and_ionic_strength,
    refuse_negative_amounts,
    titration_charges,
)
from service.chemistry.medium import LN_10, Medium, medium_of
from service.model.contents import COMPONENTS, Contents, acid_sum, acid_weights
from service.model.kept import kept
from service.physics.ethanol_water import ETHANOL_DENSITY_20C_KG_M3
from service.physics.solutes import Component

DEFAULT_END_POINT_PH = 8.2
"""Where a titration ends unless the caller says otherwise (US wine practice, AOAC 962.12, from memory)."""

PH_MODEL_SD = 0.02
"""Standard deviation that the model itself adds to a pH: blends of inferred lots against a reference model that counts
calcium and magnesium complexes (computed)."""

_NEUTRAL_PH = 6.5
"""Below the neutral point at any strength: free hydrogen outweighs hydroxide."""

_STEP_ABV_PERCENT, _STEP_IONIC_MMOL_PER_L = 0.01, 0.1

_ETHANOL_G_PER_L_PER_PERCENT = ETHANOL_DENSITY_20C_KG_M3 / 100.0


_ETHANOL_AT = COMPONENTS.index(Component.ETHANOL)


def ethanol_share(contents: Contents) -> float:
    """Ethanol in a portion [g/g]."""
    return contents.vector[_ETHANOL_AT] / contents.mass_g if contents.mass_g else 0.0


Weights = tuple[float, ...]
"""A linear form over `Contents.vector` [meq]."""


@dataclass(frozen=True)
class Chemistry:
    """The acids of one blend, and the linear forms that hold beside it."""

    contents: Contents
    end_point_ph: float

    @kept
    def abv_percent(self) -> float:
        """Strength [% vol]."""
        return self.contents.vector[_ETHANOL_AT] / (_ETHANOL_G_PER_L_PER_PERCENT * self.contents.volume_ml / 1000.0)

    @kept
    def state(self) -> AcidState:
        """Acids and strong ions of a litre."""
        return self.contents.acids.scaled(1000.0 / self.contents.volume_ml)

    @kept
    def medium(self) -> Medium:
        """The constants of acids at this strength."""
        return medium_of(self.abv_percent)

    @property
    def ph(self) -> float | None:
        """pH; None without any acid."""
        return None if self._settled is None else self._settled[0]

    @kept
    def _settled(self) -> tuple[float, float] | None:
        """pH and ionic strength; None without any acid."""
        if not any(self.state.acids_mmol):
            return None
        refuse_negative_amounts(self.state)
        return ph_and_ionic_strength(self._liquid)

    @kept
    def _liquid(self) -> Liquid:
        return Liquid.of(self.state, self.medium)

    @kept
    def _degassed(self) -> Liquid:
        """The liquid as it is titrated."""
        if not self.state.acids_mmol[CARBONIC_AT]:
            return self._liquid
        return Liquid.of(self.state, self.medium, with_gas=False)

    @property
    def ionic_mol_per_l(self) -> float:
        """Ionic strength at its own pH [mol/L]."""
        return self._ionic(7.0) if self._settled is None else self._settled[1]

    @kept
    def titration(self) -> Charges:
        """The charges at the end point."""
        return titration_charges(self.end_point_ph, self._ionic_titrated, self.medium)

    @kept
    def _ionic_titrated(self) -> float:
        return ionic_strength_of_liquid(self._degassed, self.end_point_ph, titrated=True)

    @kept
    def titratable_meq_per_l(self) -> float:
        """Titratable acidity of a degassed litre [meq/L]; 0 where there is neither acid nor base to titrate."""
        if not any(self.state.acids_mmol) and not self.state.sid_meq:
            return 0.0
        return -1e3 * self._degassed.balance(self.medium.ionic_factor(self._ionic_titrated), self.end_point_ph)[0]

    def charges(self, ph: float) -> Charges:
        """The charges at a pH near its own, with the ionic strength that this blend would have there."""
        return charges_at(ph, self._ionic(ph, near=True), self.medium)

    def residual_meq_per_l(self, ph: float) -> float:
        """The balance of charges at a pH near its own, above zero where the pH lies higher [meq/L]."""
        return 1e3 * self._liquid.balance(self.medium.ionic_factor(self._ionic(ph, near=True)), ph)[0]

    def balance_and_buffering(self, ph: float) -> tuple[Weights, Weights]:
        """The residual of the balance of charges at a pH, above zero where the pH lies higher, and its fall with pH."""
        ionic = self._ionic(ph)
        at = charges_at(ph, ionic, self.medium)
        buffering = list(acid_weights(at.buffer, sid=0.0))
        return self._tangent(at, ionic, 0.0), self._with_volume(buffering, at.solvent_buffer_meq)

    @kept
    def titratable(self) -> Weights:
        """Titratable acidity."""
        row = self._tangent(self.titration, self._ionic_titrated, 0.5)
        return tuple(-w for w in row)

    def ph_error_of(self, other: Chemistry) -> float:
        """How far the balance of another blend is wrong at this one, in pH."""
        if self.ph is None:
            return 0.0
        balance, buffering = other.balance_and_buffering(self.ph)
        return abs(self._of(balance) / self._of(buffering))

    def titration_error_of(self, other: Chemistry) -> float:
        """How far the titratable acidity of another blend is wrong at this one [meq/L]."""
        return abs(self._of(other.titratable) * 1000.0 / self.contents.volume_ml - self.titratable_meq_per_l)

    def _of(self, weights: Weights) -> float:
        total: float = sum(map(mul, weights, self.contents.vector))
        return total

    def _ionic(self, ph: float, *, near: bool = False) -> float:
        """Ionic strength at a pH; `near`, whether that is close to the blend's own."""
        start = self._settled[1] if near and self._settled is not None else None
        return ionic_strength_of_liquid(self._liquid, ph, start=start)

    def _with_volume(self, row: list[float], per_litre: float) -> Weights:
        """A form with a share of the volume: the volume too is homogeneous, so its tangent is weights alone."""
        for k, litres in enumerate(self.contents.litres_per_g):
            row[k] += per_litre * litres
        return tuple(row)

    def _tangent(self, at: Charges, ionic: float, base_share: float) -> Weights:
        """The residual at some charges as a linear form, `base_share` of which in absolute value adds to the ions.

        The residual is linear in the amounts but for volume, strength and ionic strength; the last two are ratios of
        amounts. It is therefore homogeneous of degree one, and its tangent is weights without a constant.
        """
        with_gas = base_share == 0.0

        def looked(liquid: Liquid, ionic_strength: float) -> tuple[float, float]:
            residual, _, ions = liquid.balance(liquid.medium.ionic_factor(ionic_strength), at.ph)
            return 1e3 * residual, 1e3 * (0.5 * ions + base_share * abs(residual))

        this = self._liquid if with_gas else self._degassed
        more = Liquid.of(self.state, medium_of(self.abv_percent + _STEP_ABV_PERCENT), with_gas=with_gas)
        here, ions = looked(this, ionic)
        stronger, stronger_ions = looked(more, ionic)
        denser, denser_ions = looked(this, ionic + 1e-3 * _STEP_IONIC_MMOL_PER_L)
        settles = 1.0 - (denser_ions - ions) / _STEP_IONIC_MMOL_PER_L
        by_ion = (denser - here) / _STEP_IONIC_MMOL_PER_L / settles
        by_abv = (stronger - here + by_ion * (stronger_ions - ions)) / _STEP_ABV_PERCENT
        base = base_share if here > 0.0 else -base_share
        acids = [
            by_ion * 0.5 * (b / LN_10 + n * n) - (1.0 + by_ion * base) * n
            for n, b in zip(at.charge, at.buffer, strict=True)
        ]
        row = list(acid_weights(acids, sid=1.0 + by_ion * base, ions=by_ion))
        row[_ETHANOL_AT] = by_abv / _ETHANOL_G_PER_L_PER_PERCENT
        return self._with_volume(row, here - acid_sum(row, self.state) - by_abv * self.abv_percent)


@dataclass(frozen=True, slots=True)
class OuterBalance:
    """The balance of charges at a pH where the constants of the acids serve one side of it best.

    The residual is weights·contents + `solvent_meq`·litres; `buffering` and `solvent_buffer_meq` are its fall with pH.
    """

    weights: Weights
    solvent_meq: float
    buffering: Weights
    solvent_buffer_meq: float


def outer_balance(ph: float, abv_percent: float, *, least_charge: bool) -> OuterBalance:
    """An upper bound (`least_charge`) or a lower one of the residual at a pH, for any ionic strength.

    Acids carry the less charge the stronger and the thinner the liquid is. With the strength at the end that serves the
    side, and Davies' factor at one end for the acids and at the other for the water, no blend has more (or less).

    Parameters: ph; abv_percent, the highest strength for an upper bound, the lowest for a lower one; least_charge.
    Returns: OuterBalance.
    Source: the balance of charges is monotone in each of its constants.
    """
    medium = medium_of(abv_percent)
    dense = float(10.0 ** (medium.davies * DAVIES_F_MAX))
    for_acids, for_water = (1.0, dense) if least_charge else (dense, 1.0)
    at = charges_with(ph, for_acids, medium)
    water = charges_with(ph, for_water if ph < _NEUTRAL_PH else for_acids, medium)
    return OuterBalance(
        acid_weights([-n for n in at.charge], sid=1.0),
        water.solvent_meq,
        acid_weights(at.buffer, sid=0.0),
        at.solvent_buffer_meq,
    )


@lru_cache(maxsize=64)
def chemistry_of(contents: Contents, end_point_ph: float = DEFAULT_END_POINT_PH) -> Chemistry:
    """The chemistry of a blend at 20 °C; that of the last few blends is kept, because a plan asks for it often.

    Parameters: contents; end_point_ph of titrations.
    Returns: Chemistry.

    Example: the row of lemon juice has 4.6 % acid in 1.032 g/mL and a typical pH of 2.3.

    >>> from service.catalogue.lookup import get_ingredient
    >>> from service.model.contents import contents_per_g
    >>> juice = chemistry_of(contents_per_g(get_ingredient("lemon_juice")))
    >>> round(juice.titratable_meq_per_l), round(juice.ph, 2)
    (741, 2.3)
    """
    return Chemistry(contents, end_point_ph)
