"""A stabilising question with every default filled in, each named; and the acids that decide where its pH goes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from service.chemistry.acid_state import AcidState
from service.chemistry.charge_balance import ph_of
from service.chemistry.sulfite import (
    DEFAULT_SO2_SHARE,
    MOLECULAR_TARGET_DRY_MG_PER_L,
    MOLECULAR_TARGET_SWEET_MG_PER_L,
    SO2_MOLAR_MASS_G_PER_MOL,
    PkBasis,
    so2_pk,
)
from service.chemistry.sulfite_limits import LegalClass, Market
from service.chemistry.weak_acids import DISSOCIATIONS, WeakAcid
from service.errors import InconsistentError, InputError, OutOfRangeError, ServiceError
from service.model.lot_acidity import AcidReadings, acids_of_lot
from service.model.lot_class import Assumed, LotClass
from service.planner.stabilising.asked import DEFAULT_BOUND_SHARE, HURDLES, MOST_GROWTH, StabilisingAsked

SWEET_FROM_G_PER_L: Final = 2.0
"""Fermentable sugar from which a drink counts as sweet here: what can referment (our default)."""

LOWEST_PH, HIGHEST_PH = 2.0, 5.0
"""Between these molecular SO2 is reckoned."""

STRONGEST_ABV_PERCENT = 20.0
"""The strongest drink whose sulfite is reckoned [% vol]."""

_COLDEST_C, _WARMEST_C = 0.0, 40.0
_ROOM_C = 20.0
_SORBIC_G_PER_MOL = DISSOCIATIONS[WeakAcid.SORBIC].molar_mass_g_per_mol


@dataclass(frozen=True, slots=True)
class Drink:
    """The drink at one moment, before any salt of the plan goes in."""

    volume_l: float
    ph: float
    abv_percent: float
    acids: AcidState

    def ph_with(self, sorbic_mg_per_l: float = 0.0, so2_mg_per_l: float = 0.0) -> float:
        """pH with so much sorbic acid and SO2 in it, each as its potassium salt (one potassium for each of them)."""
        if not sorbic_mg_per_l and not so2_mg_per_l:
            return self.ph
        sorbic, so2 = sorbic_mg_per_l / _SORBIC_G_PER_MOL, so2_mg_per_l / SO2_MOLAR_MASS_G_PER_MOL
        salts = AcidState.of({WeakAcid.SORBIC: sorbic, WeakAcid.SULFUROUS: so2}, sorbic + so2)
        return ph_of(self.acids.plus(salts), abv_percent=self.abv_percent)


@dataclass(frozen=True, slots=True)
class Situation:
    """Everything a plan is computed from. `growth` is the volume at packaging over that at dosing, at least 1."""

    asked: StabilisingAsked
    dosing: Drink
    packaging: Drink
    growth: float
    lot_class: LotClass
    legal_class: LegalClass
    sugar_g_per_l: float | None
    temperature_c: float
    free_target_mg_per_l: float | None
    molecular_target_mg_per_l: float | None
    usual_molecular_mg_per_l: float
    free_now_mg_per_l: float
    total_now_mg_per_l: float
    bound_share: float
    pk_basis: PkBasis
    market: Market
    hurdles: tuple[str, ...]
    malolactic_possible: bool
    volume_error: float
    assumed: tuple[Assumed, ...]

    @property
    def target_text(self) -> str:
        """The target of sulfite in words."""
        if self.free_target_mg_per_l is not None:
            return f"{self.free_target_mg_per_l:g} mg/L free SO2"
        if self.molecular_target_mg_per_l is None:
            return "none: sulfite is not planned"
        return f"{self.molecular_target_mg_per_l:g} mg/L molecular SO2"

    @property
    def refermentable(self) -> bool:
        """Whether there is sugar enough to referment; so it is taken where nothing was said."""
        return self.sugar_g_per_l is None or self.sugar_g_per_l > SWEET_FROM_G_PER_L

    def pk(self, basis: PkBasis) -> float | None:
        """The pK of one basis in the drink at packaging; None outside the range of its source."""
        try:
            return so2_pk(basis, self.temperature_c, self.packaging.abv_percent)
        except OutOfRangeError:
            return None


def situation_of(asked: StabilisingAsked) -> Situation:
    """Fill in what was not said, and name it.

    Parameters: asked, with at least one volume, the pH and the strength at dosing.
    Returns: Situation.
    Raises: InputError for a reading that is missing; OutOfRangeError outside pH 2–5, 20 % vol, 0–40 °C, or of the pK
    asked for; InconsistentError for figures that contradict each other.
    """
    assumed: list[Assumed] = []
    lot_class = asked.lot_class or LotClass.MEAD
    if asked.lot_class is None:
        assumed.append(Assumed("class", "mead", "our default", "say what kind of drink it is"))
    temperature = _temperature(asked, assumed)
    dosing, packaging, growth = _drinks(asked, lot_class, assumed)
    hurdles = _hurdles(asked, assumed)
    sugar = asked.sugar_g_per_l
    if sugar is None:
        assumed.append(
            Assumed(
                "sugar_g_per_l",
                "enough to referment",
                "the careful side of what was not given",
                "the forecast of the blend, or a sugar test",
            )
        )
    sweet = sugar is None or sugar > SWEET_FROM_G_PER_L
    usual = MOLECULAR_TARGET_SWEET_MG_PER_L if sweet else MOLECULAR_TARGET_DRY_MG_PER_L
    free, molecular = _targets(asked, hurdles, usual, sweet, assumed)
    free_now, total_now = _so2_now(asked, assumed)
    basis = asked.sulfite.pk_basis or PkBasis.CONVENTION
    if basis is not PkBasis.CONVENTION:
        _check_pk(basis, temperature, packaging.abv_percent)
    if "sulfite" in hurdles:
        assumed += _sulfite_defaults(asked)
    if "sorbate" in hurdles:
        assumed += _sorbate_defaults(asked)
    if asked.market is None:
        assumed.append(Assumed("market", "none", "our default: the lowest limits known", "say where it is to be sold"))
    if asked.fermentation_finished and not asked.readings:
        assumed.append(
            Assumed("fermentation_finished", "yes", "the caller's word", "two equal gravities, three days apart")
        )
    if not asked.circumstances.instruments.scale_given:
        step = asked.circumstances.instruments.scale_step_g
        assumed.append(Assumed("scale", f"shows {step:g} g", "common practice, no source", "read it off the scale"))
    error = asked.volume_error_percent
    return Situation(
        asked=asked,
        dosing=dosing,
        packaging=packaging,
        growth=growth,
        lot_class=lot_class,
        legal_class=LegalClass(lot_class.value),
        sugar_g_per_l=sugar,
        temperature_c=temperature,
        free_target_mg_per_l=free,
        molecular_target_mg_per_l=molecular,
        usual_molecular_mg_per_l=usual,
        free_now_mg_per_l=free_now,
        total_now_mg_per_l=total_now,
        bound_share=DEFAULT_BOUND_SHARE if asked.sulfite.bound_share is None else asked.sulfite.bound_share,
        pk_basis=basis,
        market=asked.market or Market.NONE,
        hurdles=hurdles,
        malolactic_possible=bool(asked.malolactic_possible),
        volume_error=(asked.circumstances.instruments.volume_error_percent if error is None else error) / 100.0,
        assumed=tuple(dict.fromkeys((*asked.circumstances.assumed, *assumed))),
    )


def _temperature(asked: StabilisingAsked, assumed: list[Assumed]) -> float:
    if asked.temperature_c is None:
        assumed.append(Assumed("temperature", f"{_ROOM_C:g} °C", "our default", "a thermometer"))
        return _ROOM_C
    if not _COLDEST_C <= asked.temperature_c <= _WARMEST_C:
        raise OutOfRangeError(
            f"The pK of SO2 is known from {_COLDEST_C:g} to {_WARMEST_C:g} °C, not at {asked.temperature_c:g} °C.",
            "/temperature",
        )
    return asked.temperature_c


def _sulfite_defaults(asked: StabilisingAsked) -> list[Assumed]:
    found = []
    if asked.sulfite.bound_share is None:
        found.append(
            Assumed(
                "bound_share",
                f"{DEFAULT_BOUND_SHARE:g}",
                "common practice 0.3 to 0.5, no source",
                "free SO2 before and after",
            )
        )
    if asked.sulfite.pk_basis is None:
        found.append(
            Assumed(
                "pk_basis",
                "convention, or thermo where that asks for more",
                "common practice, no source",
                "no reading: a choice",
            )
        )
    if asked.sulfite.so2_share is None:
        found.append(
            Assumed(
                "so2_share_percent",
                f"{100.0 * DEFAULT_SO2_SHARE:g}",
                "fresh salt; 50 as it ages: common practice, no source",
                "the maker's sheet, or free SO2 after dosing",
            )
        )
    return found


def _sorbate_defaults(asked: StabilisingAsked) -> list[Assumed]:
    found = []
    if asked.sorbate.purity is None:
        found.append(Assumed("purity_percent", "100", "our default", "the maker's sheet of the sorbate"))
    if asked.malolactic_possible is None:
        found.append(
            Assumed("malolactic_possible", "no", "our default", "paper chromatography; say yes if it may be under way")
        )
    return found


def _check_pk(basis: PkBasis, temperature_c: float, abv_percent: float) -> None:
    try:
        so2_pk(basis, temperature_c, abv_percent)
    except ServiceError as error:
        raise error.below("/pk_basis") from error


def _drinks(asked: StabilisingAsked, lot_class: LotClass, assumed: list[Assumed]) -> tuple[Drink, Drink, float]:
    """The drink at dosing and at packaging, and the growth of its volume."""
    before, after = asked.dosing, asked.packaging
    if before.ph is None:
        raise InputError("A dose of sulfite rests on the pH: read it with a meter.", "/ph")
    if before.abv_percent is None:
        raise InputError("Give the strength, as read or computed.", "/abv_percent")
    at_dosing, at_packaging = before.volume_l, after.volume_l
    if at_dosing is None and at_packaging is None:
        raise InputError("Give the volume at dosing, at packaging, or both.", "/volume_at_dosing")
    if at_dosing is None or at_packaging is None:
        which = "volume_at_dosing" if at_dosing is None else "volume_at_packaging"
        other = at_packaging if at_dosing is None else at_dosing
        assumed.append(
            Assumed(which, f"{other:g} L, as the other volume", "our default", "the forecast of the blend, or a mark")
        )
        at_dosing = at_packaging = other
    assert at_dosing is not None
    assert at_packaging is not None
    for value, pointer in ((at_dosing, "/volume_at_dosing"), (at_packaging, "/volume_at_packaging")):
        if value <= 0.0:
            raise InputError("A volume is larger than zero.", pointer)
    growth = at_packaging / at_dosing
    if growth > MOST_GROWTH:
        raise InconsistentError(
            f"The volume grows {growth:.1f}-fold after dosing: at first the dose would be as much too strong. Blend "
            "first, then dose, and give that volume.",
            "/volume_at_packaging",
        )
    if growth < 1.0:
        assumed.append(
            Assumed(
                "volume lost after dosing",
                f"{at_dosing - at_packaging:g} L with what is dissolved in it",
                "a loss concentrates nothing",
                "the mark of the vessel",
            )
        )
    growth = max(growth, 1.0)
    blended = growth > 1.0
    ph_after, abv_after, titratable_after = after.ph, after.abv_percent, after.titratable_meq_per_l
    if ph_after is None:
        ph_after = before.ph
        if blended:
            assumed.append(
                Assumed("ph_at_packaging", f"{ph_after:g}", "as at dosing", "the forecast of the blend, or a pH meter")
            )
    if abv_after is None:
        abv_after = before.abv_percent / growth
        if blended:
            assumed.append(
                Assumed(
                    "abv_percent_at_packaging",
                    f"{abv_after:.2f}",
                    "what is added holds no alcohol",
                    "the forecast of the blend",
                )
            )
    if titratable_after is None:
        titratable_after = before.titratable_meq_per_l
        if blended and titratable_after is not None:
            assumed.append(
                Assumed(
                    "titratable_acidity_at_packaging", "as at dosing", "our default", "the forecast, or a titration"
                )
            )
    first = _drink(asked, lot_class, (at_dosing, before.ph, before.abv_percent, before.titratable_meq_per_l), "")
    last = _drink(asked, lot_class, (at_packaging, ph_after, abv_after, titratable_after), "_at_packaging")
    assumed += [*first[1], *last[1]]
    return first[0], last[0], growth


def _drink(
    asked: StabilisingAsked,
    lot_class: LotClass,
    read: tuple[float, float, float, float | None],
    suffix: str,
) -> tuple[Drink, list[Assumed]]:
    volume_l, ph, abv_percent, titratable = read
    if not LOWEST_PH <= ph <= HIGHEST_PH:
        raise OutOfRangeError(
            f"Molecular SO2 is reckoned from pH {LOWEST_PH:g} to {HIGHEST_PH:g}, not at {ph:g}: was the meter "
            "calibrated?",
            f"/ph{suffix}",
        )
    if not 0.0 <= abv_percent <= STRONGEST_ABV_PERCENT:
        raise OutOfRangeError(
            f"The constants end at {STRONGEST_ABV_PERCENT:g} % vol; {abv_percent:g} % vol lies beyond.",
            f"/abv_percent{suffix}",
        )
    readings = AcidReadings(ph, titratable, asked.circumstances.end_point_ph, abv_percent)
    try:
        acids, assumed = acids_of_lot(lot_class, readings, with_spread=False)
    except InconsistentError as error:
        error.pointer = f"{error.pointer}{suffix}"
        raise
    return Drink(volume_l, ph, abv_percent, acids.state), assumed


def _hurdles(asked: StabilisingAsked, assumed: list[Assumed]) -> tuple[str, ...]:
    given = asked.hurdles
    if given is None:
        assumed.append(Assumed("hurdles", "sulfite, sorbate", "our default", "say what is planned"))
        given = ("sulfite", "sorbate")
    return tuple(hurdle for hurdle in HURDLES if hurdle in given)


def _targets(
    asked: StabilisingAsked, hurdles: tuple[str, ...], usual: float, sweet: bool, assumed: list[Assumed]
) -> tuple[float | None, float | None]:
    sulfite = asked.sulfite
    free, molecular = sulfite.free_target_mg_per_l, sulfite.molecular_target_mg_per_l
    if free is not None and molecular is not None:
        raise InconsistentError(
            "Free and molecular SO2 cannot both be aimed at: leave one out.", "/molecular_so2_target"
        )
    if "sulfite" not in hurdles and (free, molecular) != (None, None):
        pointer = "/free_so2_target" if molecular is None else "/molecular_so2_target"
        raise InconsistentError("A target of SO2 needs sulfite among the hurdles: add it, or leave this out.", pointer)
    if "sorbate" not in hurdles and asked.sorbate.target_mg_per_l is not None:
        raise InconsistentError(
            "A target of sorbic acid needs sorbate among the hurdles: add it, or leave this out.", "/sorbic_acid_target"
        )
    if free is None and molecular is None and "sulfite" in hurdles:
        molecular = usual
        assumed.append(
            Assumed(
                "molecular_so2_target",
                f"{usual:g} mg/L",
                f"usual for a {'sweet' if sweet else 'dry'} drink: common practice, no source",
                "no reading: a choice",
            )
        )
    return free, molecular


def _so2_now(asked: StabilisingAsked, assumed: list[Assumed]) -> tuple[float, float]:
    free, total = asked.sulfite.free_now_mg_per_l, asked.sulfite.total_now_mg_per_l
    if free is None:
        free = 0.0
        assumed.append(Assumed("free_so2_now", "0 mg/L", "our default", "measure free SO2 (aeration or titration)"))
    if total is None:
        total = free
        assumed.append(
            Assumed(
                "total_so2_now",
                f"{total:g} mg/L",
                "the least it can be; yeast itself makes SO2, so that it is not zero",
                "measure total SO2",
            )
        )
    if total < free:
        raise InconsistentError("Total SO2 holds the free part and cannot be less.", "/total_so2_now")
    return free, total
