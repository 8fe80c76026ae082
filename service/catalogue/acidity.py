"""The acids and strong ions of an ingredient: what its pH and titratable acidity say about its composition.

The acid columns of a row say which acids there are; its typical pH and titratable acidity, of a sample at single
strength, say how much of them there is and how much potassium and the like have neutralised. Both unknowns, the
acid scale A and the strong ion difference S, belong to the ingredient and hold at any dilution. Phosphorus is taken
as phosphate in known amount (judged). Kinds of acid that do not fit give way: the row's own columns, then the
profile named in the row, then one generic acid.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache, partial
from math import inf

from service.catalogue.derived import (
    density_g_ml,
    diluted_density_g_ml,
    effect_on_acidity_unknown,
    titratable_meq_per_kg,
)
from service.catalogue.loader import ingredients
from service.catalogue.records import Acids, Category, Ingredient
from service.chemistry.acid_state import NO_ACID, AcidState
from service.chemistry.acids import TABLE_END_POINT_PH
from service.chemistry.charge_balance import titratable_meq_per_l
from service.chemistry.inference import PROFILES, Inferred, change_per_unit, infer_state, state_from_one_reading
from service.chemistry.weak_acids import DISSOCIATIONS, WeakAcid
from service.errors import InconsistentError
from service.physics.solutes import Component

WEAK_ACID_OF_COMPONENT: Mapping[Component, WeakAcid] = {
    Component.CITRIC: WeakAcid.CITRIC,
    Component.MALIC: WeakAcid.MALIC,
    Component.TARTARIC: WeakAcid.TARTARIC,
    Component.LACTIC: WeakAcid.LACTIC,
    Component.QUINIC: WeakAcid.QUINIC,
    Component.GLUCONIC: WeakAcid.GLUCONIC,
}

TA_RELATIVE_SD = 0.02
"""Relative standard deviation of a titration at home, judged."""

PH_SD = 0.05
"""Standard deviation of a calibrated pH meter, judged."""

_PHOSPHORUS_G_PER_MOL = 30.974
_LARGEST_SCALE = 3.0
"""More than this many times the row's own acid columns means that other acids are at work (judged)."""

_MOST_OF_MINERALS = 2.0
"""More strong ions than this many times the minerals means the same (judged)."""

_STEP_PH, _STEP_TA = 0.02, 0.02
_THIN_SAMPLE_KG = 0.05
"""Kilograms in the litre at which an ingredient without a sample of its own is titrated."""


def acids_per_kg(ingredient: Ingredient) -> Acids:
    """Acids, strong ion difference and their spread in a kilogram of ingredient.

    Parameters: ingredient of the catalogue, described by the caller, or measured.
    Returns: Acids [mmol/kg, meq/kg].
    Raises: InconsistentError where the caller's own pH and acidity cannot both be true.
    Validity: kinds of acid as the row says; honey's lactones are not counted.
    Source: the row's pH and titratable acidity; `service.chemistry.inference`.

    Example: lemon juice of 4.6 % and pH 2.3 holds 32 meq/kg of strong ions (computed; its minerals give 35).

    >>> from service.catalogue.lookup import get_ingredient
    >>> round(acids_per_kg(get_ingredient("lemon_juice")).state.sid_meq)
    32
    """
    if ingredient.acids is not None:
        return ingredient.acids
    if ingredients().get(ingredient.id) is ingredient:
        return _of_row(ingredient.id)
    return acids_from_figures(ingredient)


@cache
def _of_row(ingredient_id: str) -> Acids:
    return acids_from_figures(ingredients()[ingredient_id])


def own_acids_mmol_per_kg(ingredient: Ingredient) -> dict[WeakAcid, float]:
    """The acid columns of a row in moles.

    Parameters: ingredient.
    Returns: acid to amount [mmol/kg], all forms.
    Source: formula masses of `service.chemistry.weak_acids`.

    Example: the USDA's means for raw orange juice came with about 0.9 % citric acid.

    >>> from service.catalogue.lookup import get_ingredient
    >>> round(own_acids_mmol_per_kg(get_ingredient("orange_juice"))[WeakAcid.CITRIC])
    47
    """
    return {
        acid: 1e4 * ingredient.grams(component) / DISSOCIATIONS[acid].molar_mass_g_per_mol
        for component, acid in WEAK_ACID_OF_COMPONENT.items()
        if ingredient.grams(component) > 0.0
    }


def acids_from_figures(ingredient: Ingredient) -> Acids:
    """`acids_per_kg` from the record's figures, computed anew."""
    category = ingredient.category
    own = own_acids_mmol_per_kg(ingredient)
    if category is Category.ACID:
        return Acids(AcidState.of(own), "pure")
    if category is Category.SALT:
        sid = ingredient.minerals.sid_minerals_meq_per_kg or 0.0
        return Acids(AcidState.of({}, sid, _ionic_mmol_per_kg(ingredient, sid)), "salt")
    if ingredient.alkalinity_meq_per_l is not None:
        return _water(ingredient)
    if ingredient.ta_g_citric_per_100g is None:
        return Acids(AcidState.of(own), "none", ph_known=not (own or effect_on_acidity_unknown(ingredient)))
    if ingredient.ph is None or ingredient.ph_sample_mass_fraction is None:
        return _from_titration_alone(ingredient, own)
    return _from_ph_and_titration(ingredient, own)


def _ionic_mmol_per_kg(ingredient: Ingredient, sid_meq: float) -> float:
    """½Σz²c of a salt's cations: an earth alkali counts twice its charge."""
    earths = (ingredient.minerals.calcium_mg_per_100g or 0.0) + (ingredient.minerals.magnesium_mg_per_100g or 0.0)
    return sid_meq if earths > 0.0 else 0.5 * sid_meq


def _water(ingredient: Ingredient) -> Acids:
    alkalinity = ingredient.alkalinity_meq_per_l
    assert alkalinity is not None
    per_kg = 1.0 / density_g_ml(ingredient)
    sd = alkalinity.deviation() * per_kg
    spread = (("alkalinity", AcidState.of({}, sd)),) if sd else ()
    return Acids(AcidState.of({}, alkalinity.typical * per_kg), "water", spread)


def _known_phosphate(ingredient: Ingredient) -> dict[WeakAcid, float]:
    phosphorus = ingredient.minerals.phosphorus_mg_per_100g
    return {} if not phosphorus else {WeakAcid.PHOSPHORIC: 10.0 * phosphorus / _PHOSPHORUS_G_PER_MOL}


def _profiles(ingredient: Ingredient, own: Mapping[WeakAcid, float]) -> Iterator[tuple[str, dict[WeakAcid, float]]]:
    if own:
        yield "own", dict(own)
    for name in dict.fromkeys((ingredient.acid_profile or "generic", "generic")):
        yield name, dict(PROFILES[name])


def _from_titration_alone(ingredient: Ingredient, own: Mapping[WeakAcid, float]) -> Acids:
    """Acidity without a pH: what the acid columns hold beyond the titration is taken as neutralised."""
    per_kg = titratable_meq_per_kg(ingredient)
    if per_kg <= 0.0:
        return Acids(NO_ACID, "none", ph_known=False)
    name, profile = next(_profiles(ingredient, own))
    full = sum(amount * len(DISSOCIATIONS[acid].steps) for acid, amount in own.items())
    litre = _single_strength(ingredient)
    sid = max(full - per_kg, 0.0) if name == "own" else 0.0
    state = state_from_one_reading(profile, titratable_meq_per_l=per_kg * litre, sid_meq=sid * litre)
    return Acids(state.scaled(1.0 / litre), name, ph_known=False)


def titration_ratio(ingredient: Ingredient, end_point_ph: float) -> float:
    """What a titration to pH 8.2 takes for each unit that one to another end point takes, by the row's own acids.

    Parameters: ingredient; end_point_ph.
    Returns: ratio [-], above one for an earlier end point.
    Raises: OutOfRangeError for an end point that no titration has.
    Source: `service.chemistry.charge_balance`.

    Example: orange juice reads 3.5 to 4 % less to pH 7.0 (computed).

    >>> from service.catalogue.lookup import get_ingredient
    >>> round(titration_ratio(get_ingredient("orange_juice"), 7.0), 2)
    1.04
    """
    kg = _single_strength(ingredient)
    state = acids_per_kg(ingredient).state.scaled(kg)
    other = titratable_meq_per_l(state, end_point_ph)
    return titratable_meq_per_l(state, TABLE_END_POINT_PH) / other if other > 0.0 else 1.0


def acids_of_measured(
    row: Ingredient, lot: Ingredient, solids_factor: float, titratable_meq_per_kg: float | None, *, ph_measured: bool
) -> Acids:
    """The acids of a measured lot.

    With pH measured, acids and strong ions are inferred afresh; with the titration alone the strong ions stay the
    row's, scaled by its solids, and the acids follow; with neither, both are scaled.

    Parameters: row of the table and the lot as measured; solids_factor f; titratable_meq_per_kg as measured, to pH 8.2;
    ph_measured.
    Returns: Acids per kilogram.
    Raises: InconsistentError where pH and acidity cannot both be true.
    Source: the balance of charges.
    """
    if row.category in (Category.ACID, Category.SALT, Category.WATER):
        return acids_from_figures(replace(lot, acids=None))
    if ph_measured:
        try:
            return acids_from_figures(replace(lot, acids=None))
        except InconsistentError as error:
            if titratable_meq_per_kg is not None:
                raise
            raise InconsistentError(
                f"This pH does not fit the table's acidity of {lot.name}: measure its titratable acidity too.",
                "/ph",
            ) from error
    base = acids_per_kg(row).scaled(solids_factor)
    if titratable_meq_per_kg is None or not base.state.present:
        return base if titratable_meq_per_kg is None else acids_from_figures(replace(lot, acids=None))
    kg = _single_strength(lot)
    known = {acid: amount * kg for acid, amount in _known_phosphate(lot).items()}
    profile = {acid: amount for acid, amount in base.state.present.items() if acid not in known} or base.state.present

    def solved(titratable: float) -> AcidState:
        litre = state_from_one_reading(
            profile, titratable_meq_per_l=titratable * kg, sid_meq=base.state.sid_meq * kg, known=known
        )
        return litre.scaled(1.0 / kg)

    here = solved(titratable_meq_per_kg)
    by_titration = solved(titratable_meq_per_kg * (1.0 + _STEP_TA)).plus(here.scaled(-1.0))
    spread = [(what, shift) for what, shift in base.spread if what != "acidity"]
    spread.append(("acidity", by_titration.scaled(TA_RELATIVE_SD / _STEP_TA)))
    return Acids(here, base.profile, tuple(spread), base.ph_known)


def _single_strength(ingredient: Ingredient) -> float:
    """Kilograms of the ingredient in a litre of the sample that its pH holds for."""
    share = ingredient.ph_sample_mass_fraction
    if share is None:
        return _THIN_SAMPLE_KG
    return share * diluted_density_g_ml(ingredient, share)


@dataclass(frozen=True, slots=True)
class _Sample:
    """A litre of the ingredient at single strength, with its typical readings."""

    kg: float
    ph: float
    titratable_meq: float
    known_mmol: Mapping[WeakAcid, float]

    def fitted(self, profile: Mapping[WeakAcid, float], shift_ph: float = 0.0, shift_ta: float = 0.0) -> Inferred:
        """The profile's scale and the state per kilogram of ingredient, with the readings shifted or not."""
        found = infer_state(profile, self.ph + shift_ph, self.titratable_meq * (1.0 + shift_ta), known=self.known_mmol)
        return Inferred(found.scale / self.kg, found.sid_meq / self.kg, found.state.scaled(1.0 / self.kg))

    def state(self, profile: Mapping[WeakAcid, float], shift_ph: float, shift_ta: float) -> AcidState:
        """The state alone."""
        return self.fitted(profile, shift_ph, shift_ta).state


def _from_ph_and_titration(ingredient: Ingredient, own: Mapping[WeakAcid, float]) -> Acids:
    ph, ta = ingredient.ph, ingredient.ta_g_citric_per_100g
    assert ph is not None
    assert ta is not None
    kg = _single_strength(ingredient)
    known = {acid: amount * kg for acid, amount in _known_phosphate(ingredient).items()}
    sample = _Sample(kg, ph.typical, titratable_meq_per_kg(ingredient) * kg, known)
    minerals = ingredient.minerals.sid_minerals_meq_per_kg
    most_ions = _MOST_OF_MINERALS * minerals if minerals else inf
    fault: InconsistentError | None = None
    for name, profile in _profiles(ingredient, own):
        if known and len(profile) > 1:
            profile.pop(WeakAcid.PHOSPHORIC, None)
        try:
            found = sample.fitted(profile)
        except InconsistentError as error:
            fault = fault or error
            continue
        misfit = found.sid_meq > most_ions or (name == "own" and found.scale > _LARGEST_SCALE)
        if misfit and name != "generic":
            continue
        fit = partial(sample.state, profile)
        spread = (
            ("pH", change_per_unit(fit, _STEP_PH, 0.0).scaled(ph.deviation())),
            ("acidity", change_per_unit(fit, 0.0, _STEP_TA).scaled(ta.deviation() / ta.typical)),
        )
        return Acids(found.state, name, tuple(s for s in spread if s[1] != NO_ACID))
    assert fault is not None
    raise fault
