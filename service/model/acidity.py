"""pH and titratable acidity of a blend, and the linear rows that hold them.

The balance of charges at a given pH is linear in the amounts but for strength and ionic strength. `Chemistry` gives its
tangent at one blend: there the rows are exact, and beside it wrong by the square of the distance. A search that ends
elsewhere takes the chemistry of where it ended, and goes on.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

from service.chemistry.acid_state import AcidState
from service.chemistry.charge_balance import (
    Charges,
    Liquid,
    charges_at,
    ionic_strength_mol_per_l,
    ph_of,
    titration_charges,
)
from service.chemistry.medium import LN_10, STANDARD_TEMPERATURE_C, Medium, medium_of
from service.model.contents import Contents, acid_sum, acid_weights
from service.physics.ethanol_water import ETHANOL_DENSITY_20C_KG_M3
from service.physics.solutes import Component

DEFAULT_END_POINT_PH = 8.2
"""Where a titration ends unless the caller says otherwise (US wine practice, AOAC 962.12, from memory)."""

PH_MODEL_SD = 0.02
"""Standard deviation that the model itself adds to a pH: blends of inferred lots against a reference model that counts
calcium and magnesium complexes (computed)."""

_STEP_ABV_PERCENT, _STEP_IONIC_MMOL_PER_L = 0.01, 0.1

_ETHANOL_G_PER_L_PER_PERCENT = ETHANOL_DENSITY_20C_KG_M3 / 100.0


def abv_percent_of(contents: Contents, volume_l: float) -> float:
    """Strength of a mixture [% vol]."""
    return contents.vector[_ETHANOL_AT] / (_ETHANOL_G_PER_L_PER_PERCENT * volume_l)


_ETHANOL_AT = tuple(Component).index(Component.ETHANOL)


@dataclass(frozen=True, slots=True)
class Rows:
    """A linear form for acidity: weights over the contents [meq per unit] and a share of the volume [meq/L]."""

    weights: tuple[float, ...]
    per_litre: float

    def at(self, state: AcidState, abv_percent: float) -> float:
        """The value of the form for a litre [meq]."""
        ethanol_g = abv_percent * _ETHANOL_G_PER_L_PER_PERCENT
        return acid_sum(self.weights, state) + self.weights[_ETHANOL_AT] * ethanol_g + self.per_litre


@dataclass(frozen=True)
class Chemistry:
    """The acids of one blend, and the rows that hold beside it."""

    abv_percent: float
    state: AcidState
    end_point_ph: float

    @cached_property
    def medium(self) -> Medium:
        """The constants of acids at this strength."""
        return medium_of(self.abv_percent)

    @cached_property
    def ph(self) -> float | None:
        """pH; None without any acid."""
        return ph_of(self.state, abv_percent=self.abv_percent) if any(self.state.acids_mmol) else None

    @cached_property
    def titration(self) -> Charges:
        """The charges at the end point."""
        return titration_charges(self.end_point_ph, self._ionic(self.end_point_ph, titrated=True), self.medium)

    @property
    def titratable_meq_per_l(self) -> float:
        """Titratable acidity of a degassed litre [meq/L]; 0 where there is neither acid nor base to titrate."""
        if not any(self.state.acids_mmol) and not self.state.sid_meq:
            return 0.0
        return -self.titration.residual_meq(self.state)

    def charges(self, ph: float) -> Charges:
        """The charges at a pH, with the ionic strength that this blend would have there."""
        return charges_at(ph, self._ionic(ph), self.medium)

    def balance_and_buffering(self, ph: float) -> tuple[Rows, Rows]:
        """The residual of the balance of charges at a pH, above zero where the pH lies higher, and its fall with pH."""
        ionic = self._ionic(ph)
        at = charges_at(ph, ionic, self.medium)
        return self._tangent(at, ionic, 0.0), Rows(acid_weights(at.buffer, sid=0.0), at.solvent_buffer_meq)

    @cached_property
    def titratable(self) -> Rows:
        """Titratable acidity."""
        rows = self._tangent(self.titration, self._ionic(self.end_point_ph, titrated=True), 0.5)
        return Rows(tuple(-w for w in rows.weights), -rows.per_litre)

    def ph_error_of(self, other: Chemistry) -> float:
        """How far the balance of another blend is wrong at this one, in pH."""
        if self.ph is None:
            return 0.0
        balance, buffering = other.balance_and_buffering(self.ph)
        return abs(balance.at(self.state, self.abv_percent) / buffering.at(self.state, self.abv_percent))

    def titration_error_of(self, other: Chemistry) -> float:
        """How far the titratable acidity of another blend is wrong at this one [meq/L]."""
        return abs(other.titratable.at(self.state, self.abv_percent) - self.titratable_meq_per_l)

    def _ionic(self, ph: float, *, titrated: bool = False) -> float:
        return ionic_strength_mol_per_l(self.state, ph, medium=self.medium, titrated=titrated)

    def _tangent(self, at: Charges, ionic: float, base_share: float) -> Rows:
        """The residual at some charges as a linear form, `base_share` of which in absolute value adds to the ions.

        The residual is linear in the amounts but for strength and ionic strength, which are ratios of amounts. It is
        therefore homogeneous of degree one, and its tangent has no constant: the weights carry those two slopes,
        and the share of the volume makes the sum right.
        """
        with_gas = base_share == 0.0

        def looked(abv: float, ionic_strength: float) -> tuple[float, float]:
            medium = self.medium if abv == self.abv_percent else medium_of(abv, STANDARD_TEMPERATURE_C)
            liquid = Liquid.of(self.state, medium, with_gas=with_gas)
            residual, _, ions = liquid.balance(medium.ionic_factor(ionic_strength), at.ph)
            return 1e3 * residual, 1e3 * (0.5 * ions + base_share * abs(residual))

        here, ions = looked(self.abv_percent, ionic)
        stronger, stronger_ions = looked(self.abv_percent + _STEP_ABV_PERCENT, ionic)
        denser, denser_ions = looked(self.abv_percent, ionic + 1e-3 * _STEP_IONIC_MMOL_PER_L)
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
        return Rows(tuple(row), here - acid_sum(row, self.state) - by_abv * self.abv_percent)


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
    volume_l = contents.volume_ml / 1000.0
    return Chemistry(abv_percent_of(contents, volume_l), contents.acids.scaled(1.0 / volume_l), end_point_ph)
