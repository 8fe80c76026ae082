"""The cell questions about labels: energy in a serving, drinks in a container, percent juice.

Energy and drinks are those of the label facts of a drink given by its figures; percent juice that of one ingredient,
and those of several add up.
"""

from __future__ import annotations

from typing import Any, Final, Literal

from pydantic import Field

from service.api.cell_queries import CellQuery
from service.api.cell_readings import figure_words
from service.api.numbers import QueryNumber, ShortText
from service.api.question import Question
from service.api.reading import VOLUME, Reader, meq_per_l, without_error
from service.api.reading_additions import addition_from, mass_from
from service.api.requests import AdditionPoured
from service.catalogue.derived import density_g_ml, juice_equivalent_l_per_kg
from service.catalogue.lookup import get_ingredient
from service.catalogue.records import Category, Ingredient
from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l
from service.chemistry.label_rules import DRINK_SIZES, drinks_in, energy_us_kcal
from service.errors import InconsistentError, InputError, OutOfRangeError, ServiceError
from service.model.lot_class import Assumed
from service.planner.answers import ALCOHOL, Caution
from service.planner.asked import AdditionAsked, Instruments
from service.planner.drink import DrinkRead, Span, drink_from_figures
from service.planner.label.answers import DrinkSize
from service.planner.label.cautions import ESTIMATE
from service.planner.label.facts import LEAST_SERVING_ML
from service.planner.label.figures import juice_words
from service.planner.single import Answer
from service.quantities import parse_acidity

_MOST_ML: Final = 1e8
_ALL_OF_IT: Final = 1.0 + 1e-3
_LEAST_ML_PER_G: Final = 0.6
"""Room that dissolved sugar and acid take at least; sucrose takes 0.62 (apparent specific volume, computed)."""
_MOST_ACID_G_PER_L: Final = 100.0
"""More acid than any drink holds, twice that of lemon juice (our default)."""
_FAR_FROM_ROW: Final = 2.0
"""An ingredient has no acid so many times above, or below, what is usual: a slip of the unit (our default)."""
_MOST_BRIX: Final = 90.0


class EnergyPerServing(CellQuery):
    """Food energy of a serving, from strength, sugar and acid by the factors of labels."""

    abv_percent: QueryNumber = Field(ge=0, le=100, description="Strength, % vol.")
    sugar_g_per_l: QueryNumber = Field(ge=0, le=1000, description="All sugars of the drink.")
    titratable_acidity: ShortText | None = Field(
        None, description="Such as 5.5 g/L citric; default none, a few kilocalories too little."
    )
    serving: ShortText = Field(description="Such as 330mL or 12floz.")
    unit: Literal["kcal", "kJ"] = Field("kcal", description="Of the answer.")
    factors: Literal["eu", "us"] = Field(
        "eu", description="eu: carbohydrate 4, acid 3, alcohol 7 kcal/g; us: 4, 4, 7 (from memory)."
    )


class DrinksPerContainer(CellQuery):
    """How many standard drinks are in a container?"""

    abv_percent: QueryNumber = Field(ge=0, le=100, description="Strength, % vol.")
    container: ShortText = Field(description="What is in it, such as 750mL or 12floz.")
    size: DrinkSize = Field("us", description="us: 14 g of alcohol; uk: unit of 10 mL; au and who: 10 g.")
    strength_error: QueryNumber | None = Field(
        None, ge=0, le=5, description="Standard deviation of the strength, % vol, for bounds; default 0.25."
    )


class JuicePercent(CellQuery):
    """Percent juice that one juice or concentrate brings, 21 CFR 101.30; those of several add up."""

    ingredient: ShortText = Field(description="An id or short name of the catalogue, such as orange_concentrate.")
    amount: ShortText = Field(description="Of it, such as 2L or 2kg.")
    volume: ShortText = Field(description="Of the finished drink, such as 30L.")
    brix: QueryNumber | None = Field(None, gt=0, le=100, description="Measured, corrected for acid.")
    ingredient_titratable_acidity: ShortText | None = Field(None, description="Measured on it: 400 g/L citric.")


def _litres(text: str, pointer: str) -> float:
    volume_ml = Reader().quantity(text, VOLUME, pointer, liquid=True).value_base
    if not 0.0 < volume_ml <= _MOST_ML:
        raise OutOfRangeError("A volume lies above 0 and up to 100000 L: check its unit.", pointer)
    return volume_ml / 1000.0


def _acid_meq_per_l(text: str, pointer: str) -> float:
    acidity = parse_acidity(text, pointer=pointer)
    without_error(acidity.error, text, pointer)
    return meq_per_l(acidity, 1.0)


def _check_room(abv_percent: float, sugar_g_per_l: float, acid_meq_per_l: float | None) -> None:
    """Refuse what does not fit into a litre, and more acid than any drink holds."""
    acid_g_per_l = acid_g_per_l_from_meq_per_l(acid_meq_per_l or 0.0, Acid.CITRIC)
    if acid_g_per_l > _MOST_ACID_G_PER_L:
        raise OutOfRangeError(
            f"{acid_g_per_l:.4g} g/L of acid (as citric) is no drink, lemon juice itself holds about 50: check the "
            "unit.",
            "/titratable_acidity",
        )
    filled_ml = 10.0 * abv_percent + _LEAST_ML_PER_G * (sugar_g_per_l + acid_g_per_l)
    if filled_ml > 1000.0 * (1.0 + 1e-9):
        raise InconsistentError(
            f"{abv_percent:g} % vol and {sugar_g_per_l:g} g/L of sugar do not fit into a litre: check both.",
            "/sugar_g_per_l",
        )


def _energy(query: EnergyPerServing) -> Answer:
    if query.factors == "us" and query.unit == "kJ":
        raise InputError("Kilojoules are told by the factors of EU labels: ask for kcal, or for factors=eu.", "/unit")
    litres = _litres(query.serving, "/serving")
    if litres < LEAST_SERVING_ML / 1000.0 * (1.0 - 1e-9):
        raise OutOfRangeError(f"A serving holds {LEAST_SERVING_ML:g} mL or more: check its unit.", "/serving")
    acid = None
    if query.titratable_acidity is not None:
        acid = _acid_meq_per_l(query.titratable_acidity, "/titratable_acidity")
    _check_room(query.abv_percent, query.sugar_g_per_l, acid)
    abv, sugar = Span.exact(query.abv_percent), Span.exact(query.sugar_g_per_l)
    drink = drink_from_figures(DrinkRead(None, None, abv, sugar, sugar, titratable_meq_per_l=acid))
    if query.factors == "us":
        per_l = energy_us_kcal(drink.masses_g_per_l)
    else:
        per_l = drink.energy_kcal_per_l if query.unit == "kcal" else drink.energy_kj_per_l
    value = per_l * litres
    by = "Regulation (EU) No 1169/2011, Annex XIV" if query.factors == "eu" else "general factors 4-4-9-7, from memory"
    assumed = [
        Assumed("other solids", "none: alcohol, sugar and acid only", "our default", "a recipe with its amounts")
    ]
    if acid is None:
        assumed.append(Assumed("acid of the drink", "none, for its energy", "our default", "titrate it"))
    return Answer(
        value,
        f"{figure_words(value, 2)} {query.unit} in {query.serving}: {drink.ethanol_g_per_l * litres:.1f} g alcohol, "
        f"{query.sugar_g_per_l * litres:.1f} g sugar, by {by}; an estimate, not a lab analysis.",
        _cautions(query.abv_percent),
        tuple(assumed),
        unit=query.unit,
    )


def _cautions(abv_percent: float) -> tuple[Caution, ...]:
    return (ALCOHOL, ESTIMATE) if abv_percent > 0.0 else (ESTIMATE,)


def _drinks(query: DrinksPerContainer) -> Answer:
    volume_ml = 1000.0 * _litres(query.container, "/container")
    usual = Instruments().strength_error_percent
    error = usual if query.strength_error is None else query.strength_error
    read = Span.read(query.abv_percent, error)
    abv = Span(read.value, read.low, min(read.high, 100.0))
    value, low, high = (drinks_in(volume_ml, strength, query.size) for strength in (abv.value, abv.low, abv.high))
    rule = DRINK_SIZES[query.size]
    assumed = () if query.strength_error is not None else (
        Assumed("error of the strength", f"±{usual:g} % vol", "judged", "state yours: strength_error"),
    )  # fmt: skip
    return Answer(
        value,
        f"{figure_words(value, 2)} drinks ({figure_words(low, 2)} to {figure_words(high, 2)}) in {query.container}; "
        f"one is a {rule.one_drink} ({rule.mark}).",
        _cautions(query.abv_percent),
        assumed,
        low,
        high,
        "drinks",
    )


def _addition(query: JuicePercent) -> AdditionAsked:
    if query.brix is not None and query.brix > _MOST_BRIX:
        raise OutOfRangeError(
            f"{query.brix:g} °Bx is no liquid: juice and concentrate are known up to {_MOST_BRIX:g}.", "/brix"
        )
    if query.ingredient_titratable_acidity is not None:
        at, text = "/ingredient_titratable_acidity", query.ingredient_titratable_acidity
        without_error(parse_acidity(text, pointer=at).error, text, at)
    measured: dict[str, Any] = {
        name: value
        for name, value in (("brix", query.brix), ("titratable_acidity", query.ingredient_titratable_acidity))
        if value is not None
    }
    given = {"ingredient": query.ingredient, "measured": measured or None, "amount": query.amount}
    try:
        addition = addition_from(AdditionPoured.model_validate(given), Reader())
        mass_from(query.amount, addition.ingredient, Reader(), "/amount")  # of an amount no error (±) is taken
    except ServiceError as error:
        for part in (error, *getattr(error, "parts", ())):
            too_thick = part.pointer == "/amount" and isinstance(part, OutOfRangeError)
            if part.pointer == "/measured" or (too_thick and query.brix is not None):
                part.pointer = "/ingredient_titratable_acidity" if query.brix is None else "/brix"
            part.pointer = part.pointer.replace("/titratable_acidity", "/ingredient_titratable_acidity")
        raise
    if query.ingredient_titratable_acidity is not None:
        _check_acid(query.ingredient, addition.ingredient)
    return addition


def _check_acid(name: str, measured: Ingredient) -> None:
    """Refuse an acid that the ingredient cannot have: a plain number carries no caution."""
    usual, found = get_ingredient(name).ta_g_citric_per_100g, measured.ta_g_citric_per_100g
    if usual is None or found is None or usual.low is None or usual.high is None:
        return
    if not usual.low / _FAR_FROM_ROW <= found.typical <= usual.high * _FAR_FROM_ROW:
        raise InconsistentError(
            f"{found.typical:.3g} % acid (as citric) is far from the {usual.low:g} to {usual.high:g} % of "
            f"{measured.name}: check the unit, or name the ingredient that was titrated.",
            "/ingredient_titratable_acidity",
        )


def _own_litres(ingredient: Ingredient, mass_g: float) -> float:
    try:
        return mass_g / density_g_ml(ingredient) / 1000.0
    except ServiceError:  # a dry solid takes hardly any
        return 0.0


def _juice(query: JuicePercent) -> Answer:
    addition = _addition(query)
    ingredient, mass_g = addition.ingredient, addition.least_g
    litres = _litres(query.volume, "/volume")
    if _own_litres(ingredient, mass_g) > litres * _ALL_OF_IT:
        raise InputError("The drink is smaller than what goes into it: check both volumes.", "/volume")
    try:
        single_l = mass_g / 1000.0 * juice_equivalent_l_per_kg(ingredient)
    except ServiceError as error:
        raise error.below("/ingredient") from error
    value = 100.0 * single_l / litres
    counts = f"{single_l:.2f} L of single strength in {query.volume}"
    if single_l == 0.0:
        counts = "acid and sugar beside juice, honey, water and ferments do not count"
    assumed = list(addition.assumed)
    if ingredient.category is Category.CONCENTRATE and not addition.measured:
        assumed.append(
            Assumed(
                f"{ingredient.id}: composition", "typical of the table", "composition table", "its Brix, or its acid"
            )
        )
    warned = tuple(Caution(code, "warning", text, "reading") for code, text in addition.cautions)
    return Answer(
        value,
        f"{figure_words(value, 2)} % juice from {ingredient.name}: {counts}; alone it would be declared as "
        f"{juice_words(value)} (21 CFR 101.30, 2015 edition).",
        (*warned, ESTIMATE),
        tuple(assumed),
        unit="%",
    )


LABEL_QUESTIONS: tuple[Question, ...] = (
    Question(
        "energy-per-serving",
        EnergyPerServing,
        _energy,
        "abv_percent=5.5&sugar_g_per_l=88&titratable_acidity=5.5+g/L+citric&serving=330mL",
        "serving",
        light=True,
    ),
    Question(
        "drinks-per-container",
        DrinksPerContainer,
        _drinks,
        "abv_percent=5.5&container=330mL",
        "container",
        "the drinks, by the error of the strength",
        light=True,
    ),
    Question(
        "juice-percent",
        JuicePercent,
        _juice,
        "ingredient=orange_concentrate&amount=2L&volume=30L&brix=41.8",
        "ingredient",
    ),
)
"""For the list of all cell questions."""
