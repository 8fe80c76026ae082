"""Reads whole fruit as the juice that it gives."""

from __future__ import annotations

from service.api.reading import MASS, MASS_OR_VOLUME, Reader
from service.api.requests import OfFruit
from service.catalogue.derived import density_g_ml
from service.catalogue.juice_yield import JuiceYield, juice_yields
from service.catalogue.records import Category, Ingredient
from service.errors import InconsistentError, InputError, ServiceError
from service.model.lot_class import Assumed
from service.planner.asked import FruitGiven
from service.planner.fruit import ZEST, juice_of_fruit, juice_sd_g
from service.planner.plain_words import capital, in_plain_words
from service.planner.span import NORMAL_90
from service.quantities import Kind

_MOST_G = 1e11
_AMOUNTS = ("amount", "max", "pack", "max_packs")
_JUICES = (Category.JUICE, Category.CUSTOM)


def fruit_from(given: OfFruit, ingredient: Ingredient, reader: Reader, jug_sd_g: float) -> FruitGiven | None:
    """The fruit of an addition and the juice it gives, or None where no fruit was named.

    Parameters: given; ingredient, its juice; reader; jug_sd_g, the standard deviation of a juice that was measured in a
        jug and is told without an error [g].
    Returns: FruitGiven.
    Raises: ServiceError, its pointer below the addition.
    """
    by = "/fruit" if given.fruit is not None else "/fruit_count"
    if given.fruit is None and given.fruit_count is None:
        if given.pressed is not None:
            text = "Juice that is pressed already is an amount: write it as amount, or as max where some may be left."
            raise InputError(text, "/pressed")
        return None
    if given.fruit is not None and given.fruit_count is not None:
        raise InputError("Give the fruit by its mass or by its count, one of the two.", "/fruit_count")
    for name in _AMOUNTS:
        if getattr(given, name, None) is not None:
            text = f"The fruit says how much juice there is: leave {name} out, or the fruit."
            raise InputError(text, f"/{name}")
    mass_g = count = None
    if given.fruit is not None:
        mass_g = reader.quantity(given.fruit, MASS, "/fruit").value_base
        if not 0.0 < mass_g <= _MOST_G:
            raise InputError("Fruit weighs more than nothing, and no more than 100,000 t.", "/fruit")
    else:
        assert given.fruit_count is not None
        count = float(given.fruit_count)
    known = juice_yields().get(ingredient.id)
    if given.pressed is not None:
        return _pressed(given.pressed, ingredient, reader, (mass_g, count), jug_sd_g)
    if known is None:
        raise InputError(
            in_plain_words(
                f"How much juice the fruit of {ingredient.id} gives is not known here; it is for "
                f"{', '.join(juice_yields())}. Give the juice that you pressed (amount, or pressed beside the fruit)."
            ),
            by,
        )
    return juice_of_fruit(known, mass_g=mass_g, count=count)


def _pressed(
    text: str, ingredient: Ingredient, reader: Reader, fruit: tuple[float | None, float | None], jug_sd_g: float
) -> FruitGiven:
    """Fruit whose juice was measured."""
    if ingredient.category not in _JUICES:
        raise InputError(
            capital(in_plain_words(f"{ingredient.id} is not pressed from fruit: give its amount.")), "/pressed"
        )
    quantity = reader.quantity(text, MASS_OR_VOLUME, "/pressed", liquid=True, read=True)
    try:
        density = 1.0 if quantity.kind is Kind.MASS else density_g_ml(ingredient)
    except ServiceError as error:
        raise error.below("/pressed") from error
    juice_g = quantity.value_base * density
    mass_g, count = fruit
    if juice_g <= 0.0:
        raise InputError("Juice above nothing is meant.", "/pressed")
    if mass_g is not None and juice_g >= mass_g:
        raise InconsistentError("Fruit gives less juice than it weighs: were the two exchanged?", "/pressed")
    sd_g = quantity.error_base * density if quantity.error_base is not None else jug_sd_g
    spread = NORMAL_90 * sd_g
    return FruitGiven(mass_g, count, juice_g, juice_g - spread, juice_g + spread, True)


def price_per_juice_g(per_fruit_g: float, fruit: FruitGiven, ingredient: Ingredient) -> float:
    """The price of a gram of juice, by that of a gram of the fruit it is pressed from.

    price of juice = price of fruit · mass of fruit / mass of its juice

    Parameters: per_fruit_g, price of whole fruit [1/g]; fruit; ingredient, its juice.
    Returns: price [1/g].
    Raises: InputError where neither the fruit's mass nor the size of a piece is known.
    Validity: the fruit is bought for this juice alone.
    Source: arithmetic; the yield as in `fruit_assumed`.
    """
    return per_fruit_g * _fruit_per_juice(fruit, ingredient)


def _fruit_per_juice(fruit: FruitGiven, ingredient: Ingredient) -> float:
    """Whole fruit for a gram of juice [g/g], as the answer tells it."""
    known = juice_yields().get(ingredient.id)
    if fruit.mass_g is not None:
        return fruit.mass_g / fruit.juice_g
    assert fruit.count is not None
    if known is None:
        raise InputError(
            "What a piece of this fruit weighs is not known, so that a price by mass has nothing to stand on: give the "
            "fruit by its mass, or a price per volume of juice.",
            "/price/per",
        )
    return fruit.count * known.whole_fruit_g / fruit.juice_g if fruit.pressed else 1.0 / known.per_whole


def price_assumed(fruit: FruitGiven, ingredient: Ingredient, *, of_fruit: bool) -> Assumed:
    """What a price beside fruit is for: of a mass the fruit, of a volume the juice.

    Parameters: fruit; ingredient, its juice; of_fruit, whether the price is per mass.
    Returns: Assumed.
    """
    how = "price the juice by its volume, or the fruit by its mass"
    if not of_fruit:
        return Assumed("price", "per volume of juice", "a volume beside fruit is one of the juice", how)
    times = _fruit_per_juice(fruit, ingredient)
    value = f"per mass of whole fruit, of which a gram of juice takes {times:.3g} g"
    return Assumed("price", value, "a mass beside fruit is one of the fruit; all of it is paid for", how)


def fruit_assumed(fruit: FruitGiven | None, ingredient: Ingredient) -> tuple[Assumed, ...]:
    """The yield that stands in for a measured juice; nothing where it was measured."""
    if fruit is None or fruit.pressed:
        return ()
    known = juice_yields()[ingredient.id]
    value = f"{known.per_whole:g} g of juice per g of whole fruit ({known.per_whole_low:g} to {known.per_whole_high:g})"
    if fruit.count is not None:
        value = (
            f"{known.juice_g_of_one:.3g} g of juice of one {known.fruit} (± {juice_sd_g(fruit) / fruit.count:.2g} g)"
        )
    return (Assumed("juice yield", value, _ground(known, fruit), f"press it and measure the juice; {ZEST}"),)


def _ground(known: JuiceYield, fruit: FruitGiven) -> str:
    ndb = ", ".join(key.partition(":")[2] for key in known.sources)
    if fruit.count is None:
        return f"{known.mark}; USDA SR28 NDB {ndb}"
    spread = "deviation published" if known.juice_sd_g is not None else "deviation as that of limes, judged"
    return f"{'published' if known.juice_g_per_fruit is not None else known.mark}, {spread}; USDA SR28 NDB {ndb}"
