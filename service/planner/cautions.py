"""Cautions of a blend: what can hurt, spoil or mislead, from what is poured and what is intended.

Codes are words; `stop` means that the plan should not be carried out as it stands. Nothing here ever says that a
drink is harmless: where no caution is raised, this check found none.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from service.catalogue.records import Category, Ingredient
from service.model.contents import Contents
from service.model.lot_class import JUICE_ROW
from service.model.properties import property_value
from service.physics.solutes import Component
from service.physics.sucrose import SUCROSE_MASS_FRACTION_MAX
from service.planner.acidity_cautions import acidity_cautions
from service.planner.answers import ALCOHOL, OUR_DEFAULT, PRACTICE, Caution, Level, Predicted, VolumePrediction
from service.planner.asked import AdditionAsked, Circumstances, LotAsked
from service.planner.materials import Material
from service.planner.plain_words import capital, plain_figure
from service.planner.refermentation import refermentation_cautions

_STRONG_ABV_PERCENT = 25.0
_FOAM_ROOM = 0.9
_LIKE_GRAPEFRUIT: Final = ("grapefruit", "pomelo", "pummelo", "seville")

_NOTES_OF_READINGS: Final = (
    "acid_correction_from_citrus",
    "no_acids_to_scale",
    "ph_of_diluted_sample",
)

_LEVELS: Final[dict[Level, int]] = {"stop": 0, "warning": 1, "note": 2}


def cautions_for(
    materials: Sequence[Material],
    masses_g: Sequence[float],
    contents: Contents,
    predicted: Predicted,
    circumstances: Circumstances,
    *,
    acidity_asked: bool = False,
) -> tuple[Caution, ...]:
    """All cautions of one blend, `stop` first, each code and text once."""
    present = [m for m, g in zip(materials, masses_g, strict=True) if g > 0.0]
    return sorted_once(
        [
            *refermentation_cautions(materials, masses_g, contents, predicted, circumstances),
            *_ingredients(present, circumstances),
            *acidity_cautions(present, contents, predicted, corrected=acidity_asked),
            *_vessel(contents, predicted.volume, circumstances),
            *_ranges(present, contents),
            *_lots(present),
            *_always(contents),
        ]
    )


def sorted_once(cautions: Sequence[Caution]) -> tuple[Caution, ...]:
    """Cautions without repetition, the most serious first, otherwise in their order."""
    unique = list(dict.fromkeys(cautions))
    return tuple(sorted(unique, key=lambda c: _LEVELS[c.level]))


def _ingredients(present: Sequence[Material], circumstances: Circumstances) -> Iterator[Caution]:
    stabilised = {"sulfite", "sorbate"} & set(circumstances.intended.hurdles)
    for material in present:
        asked = material.source
        if not isinstance(asked, AdditionAsked):
            if asked.lot.lot_class in JUICE_ROW:
                yield raw_juice(material.said, "of unknown treatment")
            continue
        ingredient = asked.ingredient
        name = material.said
        for code, text in asked.cautions:
            yield Caution(code, "note" if code in _NOTES_OF_READINGS else "warning", text, "reading")
        yield from juice_and_spirit_cautions(ingredient, name, asked.treatment, stabilised=bool(stabilised))


def juice_and_spirit_cautions(
    ingredient: Ingredient, name: str, treatment: str | None, *, stabilised: bool
) -> Iterator[Caution]:
    """What to heed about one ingredient by its kind: raw juice, grapefruit and medicines, spirit and the law."""
    if treatment == "raw" or (_is_juice(ingredient) and treatment is None):
        said = "raw" if treatment == "raw" else "of unknown treatment"
        if treatment == "raw" and stabilised:
            yield Caution(
                "raw_juice_after_stabilising",
                "stop",
                f"Raw {name} added to a stabilised drink brings yeast and bacteria back: pasteurise the juice first.",
                "cfr21_120_24",
            )
        else:
            yield raw_juice(capital(name), said)
    if any(word in ingredient.name.lower() for word in _LIKE_GRAPEFRUIT):
        yield Caution(
            "grapefruit_and_medicines",
            "warning",
            "Grapefruit and its kin change how many medicines act. Tell whoever drinks it; ask a pharmacist.",
            "memory_handbook",
        )
    if ingredient.category is Category.SPIRIT:
        yield Caution(
            "spirit_rules",
            "note",
            "Adding spirit can change the drink's legal class and duty. Use bought spirit; follow local law.",
            PRACTICE,
        )


def _is_juice(ingredient: Ingredient) -> bool:
    """Whether it is juice as pressed; concentrates have been heated (common practice, no source)."""
    own = ingredient.category is Category.CUSTOM and ingredient.juice_share_percent > 0.0
    return own or ingredient.category is Category.JUICE


def raw_juice(name: str, said: str) -> Caution:
    """Juice that may be raw."""
    return Caution(
        "raw_juice",
        "warning",
        f"{name} is {said}: raw juice can carry harmful microbes that alcohol does not kill, worst for children, the "
        "old, pregnant or ill, and yeast. Heat-treat it.",
        "cfr21_120_24",
    )


_FULL = 1e-3
"""A drink that is larger than its vessel by no more than this share has the vessel's volume."""


def _vessel(contents: Contents, predicted: VolumePrediction, circumstances: Circumstances) -> Iterator[Caution]:
    """Whether the drink fits; an overflow that only the upper end of its interval would make is a warning."""
    vessel_l = circumstances.intended.vessel_l
    if vessel_l is None:
        return
    volume_l = contents.volume_ml / 1000.0
    if volume_l > vessel_l * (1.0 + _FULL):
        yield Caution(
            "vessel_too_small",
            "stop",
            f"The blend makes {plain_figure(volume_l)} L and the vessel holds {plain_figure(vessel_l)} L: it would "
            "overflow. Split it, or make less.",
            "arithmetic",
        )
    elif predicted.high > vessel_l * (1.0 + _FULL):
        yield Caution(
            "vessel_may_be_too_small",
            "warning",
            f"The blend makes {plain_figure(volume_l)} L, perhaps {plain_figure(predicted.high)} by the errors of "
            f"measuring; the vessel holds {plain_figure(vessel_l)} L: it may overflow. Add the last of it slowly.",
            "arithmetic",
        )
    elif volume_l > _FOAM_ROOM * vessel_l:
        yield Caution(
            "little_room_for_foam",
            "warning",
            f"{volume_l:.1f} L in a {vessel_l:.1f} L vessel leaves less than a tenth for foam.",
            PRACTICE,
        )


def _ranges(present: Sequence[Material], contents: Contents) -> Iterator[Caution]:
    masses = contents.masses_g
    volume_l = contents.volume_ml / 1000.0
    abv = property_value("abv_percent", contents, volume_l) or 0.0
    water = masses.get(Component.WATER, 0.0)
    solids = contents.mass_g - water - masses.get(Component.ETHANOL, 0.0)
    if abv > _STRONG_ABV_PERCENT and solids > 25.0 * volume_l:
        yield Caution(
            "volume_rule_unconfirmed",
            "warning",
            f"Above 25 % vol with sugar the volume rule has no measured check; at {abv:.0f} % vol treat gravity and "
            "volume as rough.",
            "hackbarth_2011",
        )
    for material in present:
        parts = material.per_g.masses_g
        dry = 1.0 - parts.get(Component.WATER, 0.0) - parts.get(Component.ETHANOL, 0.0)
        if material.density_g_ml is not None and dry > SUCROSE_MASS_FRACTION_MAX:
            yield Caution(
                "density_beyond_sugar_data",
                "note",
                f"{capital(material.said)} holds {100 * dry:.0f} % solids; density data end at 85 %. Weigh it instead "
                "of measuring its volume.",
                "icumsa_sps4",
            )


def _lots(present: Sequence[Material]) -> Iterator[Caution]:
    lots = [m.source for m in present if isinstance(m.source, LotAsked)]
    if any(lot.degassed is not True for lot in lots):
        yield Caution(
            "foam_over",
            "warning" if any(lot.degassed is False for lot in lots) else "note",
            "Dissolved gas foams when sugar, acid or juice goes in, lifts a hydrometer and counts as acid: degas "
            "first, then add slowly.",
            PRACTICE,
        )
    if any(lot.on_lees for lot in lots):
        yield Caution(
            "lees_in_the_volume",
            "warning",
            "A lot still stands on its lees: rack it and measure again, or the lees count as drink.",
            PRACTICE,
        )


def _always(contents: Contents) -> Iterator[Caution]:
    if contents.masses_g.get(Component.ETHANOL, 0.0) > 0.0:
        yield ALCOHOL
    yield Caution(
        "estimate",
        "note",
        "Estimates from composition tables: verify by measurement; follow local law and licensed practice.",
        OUR_DEFAULT,
    )
