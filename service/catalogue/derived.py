"""What follows from an ingredient's composition: density, fermentable sugar, acidity, single-strength juice."""

from __future__ import annotations

from service.catalogue.loader import juice_standards
from service.catalogue.records import Category, Ingredient, JuiceBasis, Spread
from service.chemistry.acids import meq_per_kg_from_citric_g_per_100g
from service.chemistry.energy import energy_kcal
from service.chemistry.sugars import DISACCHARIDES_FERMENTABLE_SHARE, HONEY_DISACCHARIDES_FERMENTABLE_SHARE
from service.errors import InputError
from service.physics import mixture
from service.physics.mixture import WATER_G_PER_ML
from service.physics.solutes import Component
from service.physics.sucrose import sg_from_brix

_ASH_THAT_MATTERS_G_PER_100G = 0.1
"""An ingredient without a titration but with more ash than this may still move pH (judged)."""


def density_g_ml(ingredient: Ingredient) -> float:
    """Density of a liquid ingredient at 20 °C: the binary sum over its composition, never a household weight.

    Parameters: ingredient.
    Returns: density [g/mL].
    Raises: InputError for a dry solid, whose bulk density no source gives; OutOfRangeError above 90 % solids.
    Source: `service.physics.mixture`.

    Example: White and Chataway's mean at 17.2 % water is 1.4225 (secondary source); this row gives 1.4213.

    >>> from service.catalogue.lookup import get_ingredient
    >>> round(density_g_ml(get_ingredient("honey")), 2)
    1.42
    """
    if ingredient.bulk_solid:
        raise InputError(
            f"{ingredient.name} is a dry solid and no sourced bulk density of it exists: "
            "weigh it and give a mass, not a volume, cups or spoons."
        )
    return mixture.density_g_ml(ingredient.composition)


def fermentable_g_per_100g(ingredient: Ingredient) -> Spread:
    """Sugar of an ingredient that yeast can use.

    sucrose + glucose + fructose + x·disaccharides; x = 0.5 (0 to 1) in honey, 1 elsewhere. Polyols, higher sugars
    and unresolved solids stay in the drink.

    Parameters: ingredient.
    Returns: typical, low and high [g/100 g]; the limits come from x alone.
    Validity: composition as it stands; inversion of sucrose (5 % gain of mass) is not counted here.
    Source: the composition's; x in honey judged.

    >>> from service.catalogue.lookup import get_ingredient
    >>> round(fermentable_g_per_100g(get_ingredient("honey_average")).typical, 2)
    74.45
    """
    simple = sum(ingredient.grams(c) for c in (Component.SUCROSE, Component.GLUCOSE, Component.FRUCTOSE))
    honey = ingredient.category is Category.HONEY
    share = HONEY_DISACCHARIDES_FERMENTABLE_SHARE if honey else DISACCHARIDES_FERMENTABLE_SHARE
    disaccharides = ingredient.grams(Component.DISACCHARIDES)
    return Spread(
        simple + share.central * disaccharides,
        simple + share.low * disaccharides,
        simple + share.high * disaccharides,
    )


def titratable_meq_per_kg(ingredient: Ingredient) -> float:
    """Titratable acidity to pH 8.2 that an ingredient brings, negative for what takes acid away.

    Parameters: ingredient.
    Returns: acidity [meq/kg]: from its titration, minus the alkalinity of a water, else 0 (see
        `effect_on_acidity_unknown`). Honey: free acid only, its lactones not counted.
    Source: the ingredient's.

    Example: the acid of lemon juice, 4.6 % as citric.

    >>> from service.catalogue.lookup import get_ingredient
    >>> round(titratable_meq_per_kg(get_ingredient("lemon_juice")))
    718
    """
    if ingredient.ta_g_citric_per_100g is not None:
        return meq_per_kg_from_citric_g_per_100g(ingredient.ta_g_citric_per_100g.typical)
    if ingredient.alkalinity_meq_per_l is not None:
        return -ingredient.alkalinity_meq_per_l.typical / density_g_ml(ingredient)
    return 0.0


def effect_on_acidity_unknown(ingredient: Ingredient) -> bool:
    """Whether an ingredient has no titration although it is not pure: it is then counted as 0, with a caution.

    >>> from service.catalogue.lookup import get_ingredient
    >>> [effect_on_acidity_unknown(get_ingredient(i)) for i in ("molasses", "sugar", "spirit", "lemon_juice")]
    [True, False, False, False]
    """
    if ingredient.ta_g_citric_per_100g is not None or ingredient.alkalinity_meq_per_l is not None:
        return False
    return ingredient.ph is not None or ingredient.grams(Component.ASH) > _ASH_THAT_MATTERS_G_PER_100G


def gas_lost_g_per_g(ingredient: Ingredient) -> float:
    """Mass of carbon dioxide that leaves a gram of carbonate once acid has taken its base.

    Parameters: ingredient.
    Returns: mass lost [g/g], 0 for everything but carbonates.
    Source: formula masses, IUPAC standard atomic weights: 44.01/100.115 for potassium bicarbonate.

    >>> from service.catalogue.lookup import get_ingredient
    >>> gas_lost_g_per_g(get_ingredient("potassium_bicarbonate"))
    0.44
    """
    return ingredient.co2_released_g_per_g


def label_energy_kcal_per_100g(ingredient: Ingredient) -> float:
    """Food energy from the components, for label facts; the row's own figure may use food-specific factors.

    Parameters: ingredient.
    Returns: energy [kcal/100 g].
    Source: Regulation (EU) No 1169/2011, Annex XIV.

    >>> from service.catalogue.lookup import get_ingredient
    >>> round(label_energy_kcal_per_100g(get_ingredient("citric_acid")))
    300
    """
    return energy_kcal(ingredient.composition)


def diluted_density_g_ml(ingredient: Ingredient, mass_fraction: float) -> float:
    """Density at 20 °C of a sample that is partly the ingredient, the rest pure water.

    Parameters: ingredient; mass_fraction of it, scalar [kg/kg].
    Returns: density [g/mL].
    Raises: InputError unless 0 < mass_fraction ≤ 1.
    Source: `service.physics.mixture`.

    Example: orange concentrate at 11.8 °Bx, as dense as sugar at 11.8 °Bx (1.0458) within 0.001.

    >>> from service.catalogue.lookup import get_ingredient
    >>> round(diluted_density_g_ml(get_ingredient("orange_concentrate"), 11.8 / 41.95), 3)
    1.046
    """
    if not 0.0 < mass_fraction <= 1.0:
        raise InputError(
            f"The share of {ingredient.name} in a sample lies above 0 and up to 1, not at {mass_fraction:g}."
        )
    masses = {component: mass_fraction * mass for component, mass in ingredient.composition.items()}
    masses[Component.WATER] = masses.get(Component.WATER, 0.0) + 100.0 * (1.0 - mass_fraction)
    return mixture.density_g_ml(masses)


def juice_equivalent_l_per_kg(ingredient: Ingredient) -> float:
    """Single-strength juice that a kilogram of ingredient stands for in the declaration of percent juice.

    expressed juice   1/ρ                                        volume over volume
    concentrate       Bx/(Bx_ss·ρ_ss),  ρ_ss = SG(Bx_ss)·ρ_w      mass of soluble solids over the minimum Brix
    lemon, lime       TA/(4.5·ρ_ss)                              mass of acid as citric over 4.5 % by weight;
                      ρ_ss of the concentrate itself, diluted with water to 4.5 % acid (1.030 g/mL)
    sweetened         share/(d·ρ_d)                              declared share of the drink diluted to its label

    Added acid never counts, nor does anything that is no juice.

    Parameters: ingredient; its `brix` or titratable acidity as measured.
    Returns: single-strength volume [L/kg].
    Raises: InputError where the row lacks the figure that its basis needs.
    Validity: a legal figure of composition, not a measure of flavour; fermented juice does not count.
    Source: 21 CFR 101.30(h) to (j), minimum Brix of (h)(1).

    Example: by 11.8 °Bx a kilogram of 41.95 °Bx orange concentrate is 3.40 L of juice.

    >>> from service.catalogue.lookup import get_ingredient
    >>> round(juice_equivalent_l_per_kg(get_ingredient("orange_concentrate")), 2)
    3.4
    """
    basis = ingredient.juice_basis
    if basis is JuiceBasis.NONE:
        return 0.0
    share = ingredient.juice_share_percent / 100.0
    if basis is JuiceBasis.DECLARED:
        dilution = ingredient.ph_sample_mass_fraction
        if dilution is None:
            raise InputError(
                f"The label dilution of {ingredient.name} is not known: take the juice share of the package."
            )
        return share / (dilution * diluted_density_g_ml(ingredient, dilution))
    if ingredient.category is Category.JUICE:
        return share / density_g_ml(ingredient)
    standard = juice_standards()[ingredient.juice_standard or ""]
    if basis is JuiceBasis.BRIX:
        if ingredient.brix is None or standard.us_min_brix is None:
            raise InputError(f"{ingredient.name} has no Brix to reckon percent juice from: measure it.")
        single_strength_g_ml = sg_from_brix(standard.us_min_brix) * WATER_G_PER_ML
        return share * ingredient.brix.typical / (standard.us_min_brix * single_strength_g_ml)
    if ingredient.ta_g_citric_per_100g is None or standard.us_min_citric_percent is None:
        raise InputError(f"{ingredient.name} has no titratable acidity to reckon percent juice from: measure it.")
    strength = ingredient.ta_g_citric_per_100g.typical / standard.us_min_citric_percent
    if strength < 1.0:
        raise InputError(
            f"{ingredient.name} with less than {standard.us_min_citric_percent:g} % acid is weaker than juice: "
            "choose the juice instead of the concentrate."
        )
    return share * strength / diluted_density_g_ml(ingredient, 1.0 / strength)
