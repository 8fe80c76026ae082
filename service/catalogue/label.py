"""A can known by its nutrition label: grams of sugar in a serving, percent juice, and what it is diluted to.

The label speaks of the drink as prepared: a parts of the can and b parts of water, by volume. Its sugar fixes the
solids factor f of `service.catalogue.overrides`, the Brix at which

    f s m_can/V(can + water) = sugar/serving,   m_can = a ρ_can(f),  water = b ρ_w

with V by the binary sum, so that what is poured back together has the label's figure. The split of the sugars and their
ratio to the other solids stay the row's. Percent juice on the label takes the place of the reckoning from Brix: a litre
of can stands for percent · V(can + water)/a litres of juice, that is (a + b)/a times the percentage but for the
contraction of mixing. `service.catalogue.derived.juice_equivalent_l_per_kg` remains the one place that turns a record
into litres of juice: the declared share is written into the record, restated for the record's own sample.

A label is rounded, and the food itself may differ from it by more: a fifth is a common tolerance of food control (from
memory, unverified). A Brix of the lot is the better figure.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import isfinite, sqrt
from types import MappingProxyType

from service.catalogue.derived import diluted_density_g_ml, juice_equivalent_l_per_kg
from service.catalogue.overrides import Measured, with_measured
from service.catalogue.readings import scaled_solids
from service.catalogue.records import Category, Ingredient, JuiceBasis, Provenance, Spread
from service.chemistry.acids import TABLE_END_POINT_PH
from service.errors import InconsistentError, InputError, OutOfRangeError, QuantityError, ServiceError
from service.physics import mixture
from service.physics.mixture import SOLIDS_FRACTION_MAX, WATER_G_PER_ML
from service.physics.roots import root_between
from service.physics.solutes import SUGARS, Component

AS_SOLD = (1.0, 0.0)
"""Dilution of what is drunk as it comes."""

SUCROSE_SATURATION_PERCENT = 66.7
"""Sucrose in sucrose + water that dissolves at 20 °C [% by mass] (sugar technology tables, from memory, unverified)."""

_MOST_PARTS = 1000.0
_TOP_FRACTION = SOLIDS_FRACTION_MAX - 1e-6
_SECANT_PASSES = 40
_CLOSE = 1e-12
_COARSE = 0.10
"""Rounding by more than this share of the sugar gets a caution (our default)."""

_MOST_DILUTED = 0.5
"""A concentrate below this share of the row's solids was labelled as prepared, not as sold (our default)."""

_JUICE_BELOW, _JUICE_ABOVE = 0.90, 1.50
"""Juice by the label's sugar over juice as declared: beyond these the label and the row do not match (our default)."""

_DILUTION = re.compile(r"\s*(\d+(?:\.\d+)?)\s*\+\s*(\d+(?:\.\d+)?)\s*")
_JUICY = (Category.JUICE, Category.CONCENTRATE, Category.CUSTOM)


def label_step_g(sugar_g: float) -> float:
    """To what the sugar of a label was rounded [g]: a whole number to 1 g, any other to 0.1 g (our reading of it).

    >>> label_step_g(26.0), label_step_g(8.9)
    (1.0, 0.1)
    """
    return 1.0 if sugar_g == round(sugar_g) else 0.1


@dataclass(frozen=True, slots=True)
class Label:
    """What a package declares for the drink as prepared.

    `serving_ml` [mL]; `sugar_g` in a serving, all sugars [g]; `juice_percent` of the drink [%], None where it is not
    declared; `dilution`, parts of can and parts of water by volume, None as sold.
    """

    serving_ml: float
    sugar_g: float
    juice_percent: float | None = None
    dilution: tuple[float, float] | None = None

    @property
    def parts(self) -> tuple[float, float]:
        """Parts of can and of water."""
        return AS_SOLD if self.dilution is None else self.dilution

    @property
    def rounding(self) -> float:
        """Half the step of its rounding over the sugar [-]."""
        return 0.5 * label_step_g(self.sugar_g) / self.sugar_g


def dilution_from_text(text: str, pointer: str = "/label/diluted") -> tuple[float, float]:
    """Parts of can and parts of water, written as the trade does.

    Parameters: text, like "1+3"; pointer, where it stands.
    Returns: parts of can, parts of water, by volume.
    Raises: QuantityError for anything else, "1:3" included: it is read as one in three or as one to three.

    >>> dilution_from_text("1 + 4.33")
    (1.0, 4.33)
    """
    found = _DILUTION.fullmatch(text)
    if found is None:
        raise QuantityError(
            f"“{text[:40]}” is no dilution: write parts of can and parts of water by volume, like 1+3 (1+0 as sold).",
            pointer,
        )
    parts = float(found[1]), float(found[2])
    _check_parts(parts, pointer)
    return parts


def label_assumptions(label: Label) -> tuple[tuple[str, str, str, str], ...]:
    """What reading a label takes for granted: what, value, on what ground, and the reading that would replace it.

    Source: sugars are declared to the nearest gram, 21 CFR 101.9(c); in the EU to 1 g from 10 g in 100 mL upwards, else
        to 0.1 g, guidance to Regulation (EU) No 1169/2011 (both from memory, unverified).

    >>> label_assumptions(Label(250.0, 26.0))[0][1]
    'label sugar is rounded to 1 g: ± 2 %'
    """
    percent = 100.0 * label.rounding
    shown = f"{percent:.0f}" if percent >= 1.0 else f"{percent:.1f}"
    return (
        (
            "sugar of the label",
            f"label sugar is rounded to {label_step_g(label.sugar_g):g} g: ± {shown} %",
            "21 CFR 101.9(c) and guidance to Regulation (EU) No 1169/2011, from memory",
            "the Brix of the can",
        ),
        (
            "kinds of sugar and other solids of the label",
            "in the ratio of the table's row",
            "our default: a label gives one sum of sugars",
            "the maker's sheet, or Brix and titratable acidity of the can",
        ),
    )


def with_label(
    ingredient: Ingredient,
    label: Label,
    *,
    titratable_acidity_meq_per_kg: float | None = None,
    titratable_acidity_meq_per_l: float | None = None,
    ph: float | None = None,
    end_point_ph: float = TABLE_END_POINT_PH,
) -> Measured:
    """An ingredient as its nutrition label describes it; acidity and pH may be measured besides.

    Parameters: ingredient, a row of the table or described by the caller; label, of the drink as prepared;
        titratable_acidity_meq_per_kg [meq/kg] or titratable_acidity_meq_per_l [meq/L], ph and end_point_ph, of the can,
        as `with_measured` takes them.
    Returns: as `with_measured`; `changed` begins with "label" and holds "juice_share" where juice is declared.
    Raises: OutOfRangeError, InputError, InconsistentError where no such can exists; pointers begin with /label.
    Validity: a can of the row's make-up; the rounding of the label (`Label.rounding`) is the spread of its Brix.
    Source: mass balance and the binary sum of `service.physics.mixture`; percent juice as declared, 21 CFR 101.30.

    Example: 26 g in 250 mL of 1+3 is a can of 45.6 °Bx (computed); the trade's 3-plus-1 has 41.8 to 47 °Bx.

    >>> from service.catalogue.lookup import get_ingredient
    >>> can = with_label(get_ingredient("orange_concentrate"), Label(250.0, 26.0, 100.0, (1.0, 3.0)))
    >>> 41.8 < can.ingredient.brix.typical < 47.0
    True
    """
    _check(ingredient, label)
    wanted_g_per_ml = label.sugar_g / label.serving_ml

    def measured(brix: float) -> Measured:
        return with_measured(
            ingredient,
            brix=brix,
            titratable_acidity_meq_per_kg=titratable_acidity_meq_per_kg,
            titratable_acidity_meq_per_l=titratable_acidity_meq_per_l,
            ph=ph,
            end_point_ph=end_point_ph,
        )

    try:
        lot = _with_sugar(measured, _brix_of(ingredient, label), wanted_g_per_ml, label)
    except ServiceError as error:
        if error.pointer in ("", "/brix"):
            error.pointer = "/label/sugar_g"
        raise
    return _as_labelled(ingredient, label, lot)


def _check_parts(parts: tuple[float, float], pointer: str = "/label/diluted") -> None:
    can, water = parts
    if not (0.0 < can <= _MOST_PARTS and 0.0 <= water <= _MOST_PARTS):
        raise OutOfRangeError(
            f"A dilution is a part of can above 0 and a part of water from 0, up to {_MOST_PARTS:g}, like 1+3; "
            f"not {can:g}+{water:g}.",
            pointer,
        )


def _check(ingredient: Ingredient, label: Label) -> None:
    if not isfinite(label.serving_ml) or label.serving_ml <= 0.0:
        raise OutOfRangeError(
            f"A serving is a volume above 0 mL, not {label.serving_ml:g} mL: take it from the label.", "/label/serving"
        )
    if not isfinite(label.sugar_g) or label.sugar_g < 0.0:
        raise OutOfRangeError(
            f"Sugar in a serving is not negative, but {label.sugar_g:g} g was given.", "/label/sugar_g"
        )
    _check_parts(label.parts)
    if label.sugar_g == 0.0:
        raise InputError(
            f"0 g of sugar does not say how strong {ingredient.name} is: give its Brix or titratable acidity instead.",
            "/label/sugar_g",
        )
    if label.juice_percent is not None:
        if not 0.0 <= label.juice_percent <= 100.0:
            raise OutOfRangeError(
                f"A drink is 0 to 100 % juice, not {label.juice_percent:g} %: take the figure for the prepared drink.",
                "/label/juice_percent",
            )
        if label.juice_percent > 0.0 and ingredient.category not in _JUICY:
            raise InputError(f"{ingredient.name} is no juice: leave its juice share out.", "/label/juice_percent")
    if ingredient.bulk_solid:
        raise InputError(f"{ingredient.name} is a dry solid: weigh it; no label of a drink describes it.", "/label")
    if ingredient.brix is None or not any(ingredient.grams(sugar) for sugar in SUGARS):
        raise InputError(
            f"{ingredient.name} has no sugar, or no Brix, that a label could scale: leave the label out.",
            "/label/sugar_g",
        )


def _prepared(masses_g: Mapping[Component, float], label: Label) -> tuple[float, float]:
    """Sugar in a millilitre of the prepared drink, and its volume, from 100 g of can [g/mL, mL]."""
    can, water = label.parts
    drink = dict(masses_g)
    water_g = water / can * mixture.volume_ml(masses_g) * WATER_G_PER_ML
    drink[Component.WATER] = drink.get(Component.WATER, 0.0) + water_g
    volume_ml = mixture.volume_ml(drink)
    return sum(drink.get(sugar, 0.0) for sugar in SUGARS) / volume_ml, volume_ml


def _brix_of(ingredient: Ingredient, label: Label) -> float:
    """The Brix of the can whose scaled solids give the label's sugar."""
    assert ingredient.brix is not None
    wanted = label.sugar_g / label.serving_ml

    def sugar_at(factor: float) -> float:
        return _prepared(scaled_solids(ingredient.composition, factor), label)[0]

    top = 100.0 * _TOP_FRACTION / (100.0 - ingredient.grams(Component.WATER))
    most = sugar_at(top)
    if wanted >= most:
        can, water = label.parts
        raise OutOfRangeError(
            f"{label.sugar_g:g} g of sugar in {label.serving_ml:g} mL at {can:g}+{water:g} is more than any syrup "
            f"brings ({most * label.serving_ml:.0f} g, at {100.0 * SOLIDS_FRACTION_MAX:g} % solids). Check the "
            "serving, and whether the figures are those of the can or of the prepared drink.",
            "/label/sugar_g",
        )
    factor = root_between(lambda f: sugar_at(f) - wanted, 0.0, top, tolerance=1e-14)
    if label.dilution is None and ingredient.category is Category.CONCENTRATE and factor < _MOST_DILUTED:
        raise InconsistentError(
            f"By this label {ingredient.name} would have {100.0 * factor:.0f} % of its usual strength. If the figures "
            "are those of the prepared drink, give the dilution, like 1+3; if those of the can itself, write 1+0.",
            "/label/diluted",
        )
    _check_saturation(ingredient, scaled_solids(ingredient.composition, factor * (1.0 - label.rounding)))
    return factor * ingredient.brix.typical


def _check_saturation(ingredient: Ingredient, masses_g: Mapping[Component, float]) -> None:
    sucrose, water = masses_g.get(Component.SUCROSE, 0.0), masses_g.get(Component.WATER, 0.0)
    percent = 100.0 * sucrose / (sucrose + water)
    if percent > SUCROSE_SATURATION_PERCENT:
        raise OutOfRangeError(
            f"By this label {ingredient.name} would hold {percent:.0f} % sucrose in its water, which dissolves at most "
            f"{SUCROSE_SATURATION_PERCENT:g} % at 20 °C. Check the serving, the sugar and the dilution.",
            "/label/sugar_g",
        )


def _with_sugar(measured: Callable[[float], Measured], brix: float, wanted_g_per_ml: float, label: Label) -> Measured:
    """The lot with the label's sugar: a measured acidity takes sugar's place within the solids, so aim again."""

    def miss(lot: Measured) -> float:
        return _prepared(lot.ingredient.composition, label)[0] / wanted_g_per_ml - 1.0

    lot = measured(brix)
    found = miss(lot)
    last, last_found = 1.001 * brix, None
    for _ in range(_SECANT_PASSES):
        if abs(found) < _CLOSE:
            return lot
        if last_found is None:
            last_found = miss(measured(last))
        slope = (last_found - found) / (last - brix)
        if slope <= 0.0:
            break
        last, last_found = brix, found
        brix -= found / slope
        lot = measured(brix)
        found = miss(lot)
        if abs(brix - last) <= _CLOSE * brix:
            return lot
    raise InconsistentError(
        "No strength of the can has both this sugar and this acidity. Check the unit of the titratable acidity, and "
        "whether both belong to the same can.",
        "/label/sugar_g",
    )


def _as_labelled(ingredient: Ingredient, label: Label, lot: Measured) -> Measured:
    found = lot.ingredient
    assert found.brix is not None
    sd = found.brix.typical * label.rounding / sqrt(3.0)  # a rounded figure is as likely anywhere within its step
    found = replace(
        found, brix=Spread(found.brix.typical, found.brix.typical - 2.0 * sd, found.brix.typical + 2.0 * sd, sd)
    )
    cautions = list(lot.cautions)
    changed = tuple("label" if what == "brix" else what for what in lot.changed)
    if label.rounding > _COARSE:
        text = (
            f"{label.sugar_g:g} g in a serving is rounded by up to {100.0 * label.rounding:.0f} %: too coarse for "
            f"{ingredient.name}. Measure its Brix."
        )
        cautions.append(("label_sugar_coarse", text))
    if label.juice_percent is not None:
        found, more = _with_declared_juice(found, label)
        cautions += more
        changed = (*changed, "juice_share")
    provenance = {
        **found.provenance,
        "measured": Provenance((), f"nutrition label of the package: {', '.join(changed)}"),
    }
    return replace(
        lot,
        ingredient=replace(found, provenance=MappingProxyType(provenance)),
        cautions=tuple(cautions),
        changed=changed,
    )


def _with_declared_juice(found: Ingredient, label: Label) -> tuple[Ingredient, list[tuple[str, str]]]:
    """The record with the declared juice; its share is stated for the sample that the record describes."""
    assert label.juice_percent is not None
    volume_ml = _prepared(found.composition, label)[1]
    litres_per_kg = label.juice_percent / 100.0 * volume_ml / 100.0
    cautions = []
    if label.juice_percent > 0.0 and found.juice_basis is JuiceBasis.BRIX:
        ratio = juice_equivalent_l_per_kg(found) / litres_per_kg
        if not _JUICE_BELOW <= ratio <= _JUICE_ABOVE:
            advice = (
                "check the dilution"
                if ratio < 1.0
                else "sugar was probably added; choose a sweetened row or give its composition"
            )
            text = (
                f"By its sugar this drink is {ratio * label.juice_percent:.0f} % juice, by its label "
                f"{label.juice_percent:g} %, which is used: {advice}."
            )
            cautions.append(("label_juice_and_sugar_differ", text))
    sample = found.ph_sample_mass_fraction or 1.0
    share_percent = 100.0 * litres_per_kg * sample * diluted_density_g_ml(found, sample)
    basis = JuiceBasis.DECLARED if share_percent > 0.0 else JuiceBasis.NONE
    labelled = replace(
        found,
        juice_basis=basis,
        juice_share_percent=share_percent,
        ph_sample_mass_fraction=sample,
        provenance=MappingProxyType({**found.provenance, "juice_share": Provenance((), "declared on the label")}),
    )
    return labelled, cautions
