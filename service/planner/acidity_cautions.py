"""Cautions about acidity: how far a pH can be trusted, where it is dangerous, and what acids and carbonates do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from service.catalogue.derived import effect_on_acidity_unknown
from service.catalogue.records import Category, Ingredient
from service.chemistry.weak_acids import WeakAcid
from service.model.acidity import chemistry_of
from service.model.contents import Contents
from service.planner.answers import OUR_DEFAULT, PRACTICE, Caution, Predicted
from service.planner.asked import AdditionAsked, LotAsked
from service.planner.materials import Material
from service.planner.plain_words import capital, in_plain_words

STOP_PH: Final = 4.6
HIGH_PH: Final = 4.0
WIDE_PH: Final = 0.5
_SOUR_PH, _TOO_SOUR_PH = 2.8, 2.0
"""Wines and meads lie above 2.9 (from memory), lemon juice at 2.0 to 2.6; where to warn and to stop is our default."""

_MOST_IONIC_MOL_PER_L = 0.5
"""Where Davies' equation ends to be good (C. W. Davies, Ion Association, 1962; from memory)."""

_TARTARIC_THAT_MAY_DROP_MMOL_PER_L = 6.7
"""About 1 g/L of tartaric acid beside potassium (our default)."""


def acidity_cautions(
    present: Sequence[Material], contents: Contents, predicted: Predicted, *, corrected: bool
) -> Iterator[Caution]:
    """All cautions about the acidity of one blend; `corrected`, whether acidity or pH was asked for."""
    yield from _of_the_blend(contents, predicted, corrected)
    if corrected or any(_corrects(m) for m in present):
        yield Caution(
            "split_the_dose",
            "note",
            "A reckoned correction of acidity is good to about 0.1 for each 0.3 pH moved: add half, stir, measure, "
            "then the rest.",
            OUR_DEFAULT,
        )
    for material in present:
        if isinstance(material.source, AdditionAsked):
            yield from of_an_ingredient(material.said, material.source.ingredient)
    yield from _of_lots([m.source for m in present if isinstance(m.source, LotAsked)])


def too_little_acid(ph: float, highest: float) -> Iterator[Caution]:
    """What to heed of a pH, and of the upper end of its interval, where little acid protects the drink."""
    if ph > STOP_PH:
        yield Caution(
            "ph_above_4_6",
            "stop",
            f"pH {ph:.2f} is above 4.6, where dangerous bacteria can grow: acidify and measure before going on.",
            "cfr21_114_3",
        )
    elif highest > STOP_PH:
        yield Caution(
            "ph_may_be_above_4_6",
            "warning",
            f"pH may be as high as {highest:.1f}: above 4.6 dangerous bacteria can grow. Measure it before going on.",
            "cfr21_114_3",
        )
    elif ph > HIGH_PH:
        yield high_ph(ph)


def high_ph(ph: float) -> Caution:
    """A pH above 4.0, where spoilage is easier."""
    return Caution(
        "ph_high",
        "warning",
        f"pH {ph:.2f} is high for a drink: sulfite and sorbate work poorly, spoilage is easier. Measure the blend.",
        OUR_DEFAULT,
    )


def _corrects(material: Material) -> bool:
    asked = material.source
    return isinstance(asked, AdditionAsked) and asked.ingredient.category in (Category.ACID, Category.SALT)


def _of_the_blend(contents: Contents, predicted: Predicted, asked: bool) -> Iterator[Caution]:
    ph = predicted.ph
    if predicted.titratable_acidity.value < 0.0:
        yield Caution(
            "more_carbonate_than_acid",
            "stop",
            "More carbonate or alkalinity than acid: the drink turns alkaline, and the carbon dioxide reckoned as lost "
            "stays in part. Add less.",
            "arithmetic",
        )
    if ph is None:
        return
    if ph.value < _SOUR_PH:
        yield Caution(
            "ph_very_low",
            "stop" if ph.value < _TOO_SOUR_PH else "warning",
            f"pH {ph.value:.2f} is sourer than drinks are: it attacks teeth and metal. Check the amounts, keep it in "
            "glass.",
            OUR_DEFAULT,
        )
    if chemistry_of(contents).ionic_mol_per_l > _MOST_IONIC_MOL_PER_L:
        yield Caution(
            "beyond_the_activity_formula",
            "warning",
            "So much acid and salt lies beyond the range of the formula for pH: take the figure as rough, and measure.",
            "arithmetic",
        )
    yield from too_little_acid(ph.value, ph.high)
    if ph.high - ph.low > WIDE_PH:
        yield Caution(
            "ph_is_indicative",
            "warning" if asked else "note",
            f"This pH is indicative only, {ph.low:.1f} to {ph.high:.1f}. Measuring would narrow it most: "
            f"{in_plain_words(ph.largest_share_from)}.",
            OUR_DEFAULT,
        )
    tartaric = contents.acids.mmol(WeakAcid.TARTARIC) / (contents.volume_ml / 1000.0)
    if tartaric > _TARTARIC_THAT_MAY_DROP_MMOL_PER_L and contents.acids.sid_meq > 0.0:
        yield Caution(
            "tartrate_may_drop",
            "note",
            "Tartaric acid with potassium may crystallise in the cold, which lowers acidity and moves pH; this is not "
            "reckoned here.",
            PRACTICE,
        )


def of_an_ingredient(name: str, ingredient: Ingredient) -> Iterator[Caution]:
    """What to heed with an ingredient, whatever its amount."""
    if ingredient.category is Category.ACID:
        yield Caution(
            "acid_handling",
            "note",
            f"{capital(name)}: food grade only; protect eyes, avoid dust; acid into water; no copper, "
            "zinc, lead or unglazed vessels.",
            PRACTICE,
        )
    if ingredient.category is Category.SALT:
        yield Caution(
            "carbonate_foams",
            "warning",
            f"{capital(name)} releases carbon dioxide: add it in small portions with head room and ventilation; food "
            "grade only; protect eyes.",
            PRACTICE,
        )
    if ingredient.id == "calcium_carbonate":
        yield Caution(
            "calcium_drops_citrus_cloud",
            "warning",
            "Calcium can clot the cloud of citrus and deposit citrate; potassium bicarbonate is gentler on haze.",
            "galant_2014",
        )
    if effect_on_acidity_unknown(ingredient):
        yield Caution(
            "acidity_of_ingredient_unknown",
            "warning",
            f"No titration is known for {name}: it is counted as adding no acid. Titrate the blend and read its pH.",
            OUR_DEFAULT,
        )


def _of_lots(lots: Sequence[LotAsked]) -> Iterator[Caution]:
    titrated = [lot for lot in lots if lot.lot.titratable_known and lot.degassed is not True]
    if titrated:
        yield Caution(
            "gas_counts_as_acid",
            "warning" if any(lot.degassed is False for lot in titrated) else "note",
            "Each g/L of dissolved carbon dioxide titrates like 1.7 g/L of tartaric acid; a fresh ferment holds 1 to "
            "1.7. Degas before titrating, and say that you did.",
            "arithmetic",
        )
