"""The cell questions about stabilising. Each answers the mass of a salt, and refuses where a plan would not dose it."""

from __future__ import annotations

from typing import Any, Final

from pydantic import Field

from service.api.cell_queries import CellQuery, MassUnit
from service.api.numbers import QueryInteger, QueryNumber, ShortText
from service.api.question import Question
from service.api.reading_stabilising import stabilising_from
from service.api.requests_stabilising import ColourName, DrinkClass, MarketName, PkName, StabilisingPlanRequest
from service.errors import InputError, StopError
from service.planner.single import Answer
from service.planner.stabilising.answers import StabilisingPlan
from service.planner.stabilising.cautions import DO_NOT_SEAL
from service.planner.stabilising.plan import plan_stabilising
from service.quantities.units import UNIT_BY_SPELLING

_NOT_ABOUT_DOSING: Final = DO_NOT_SEAL | {"vessel_too_small"}
_NAME_IN_URL: Final = {
    "volume_at_dosing": "volume",
    "free_so2_target": "free",
    "molecular_so2_target": "molecular",
    "sorbic_acid_target": "sorbic",
    "free_so2_now": "free_now",
    "total_so2_now": "total_now",
    "titratable_acidity_at_packaging": "titratable_acidity",
}
_CAREFUL: Final = (
    "A dose has no low or high end to choose from: it takes the careful side of what is not known already. Ask without "
    "bound."
)
_PARAMETER_OF: Final = {
    "yeast_still_active": "/fermentation_finished",
    "stabilisers_on_a_moving_ferment": "/fermentation_finished",
    "malolactic_blocks_sorbate": "/malolactic_possible",
    "sorbic_acid_over_limit": "/sorbic",
    "sorbate_without_sulfite": "/sorbic",
    "total_so2_over_limit": "/free",
    "ph_above_4_6": "/ph",
    "raw_juice_after_stabilising": "/raw_juice_after",
}


class StabilisingQuery(CellQuery):
    """A drink to be stabilised, in a URL."""

    volume: ShortText = Field(description="At dosing, such as 20L or 5gal.")
    volume_at_packaging: ShortText | None = Field(
        None, description="At packaging, after sweetening, such as 24L; default as at dosing."
    )
    ph: QueryNumber = Field(gt=0, lt=14, description="At dosing, before any salt, by a calibrated meter.")
    ph_at_packaging: QueryNumber | None = Field(
        None, gt=0, lt=14, description="At packaging, before any salt; default as at dosing."
    )
    abv_percent: QueryNumber = Field(ge=0, le=100, description="Strength at dosing [% vol].")
    abv_percent_at_packaging: QueryNumber | None = Field(
        None, ge=0, le=100, description="Strength at packaging [% vol]; default thinned with the volume."
    )
    fermentation_finished: QueryInteger | None = Field(
        None, ge=0, le=1, description="1 if two equal gravities days apart showed it; without it no dose is given."
    )
    drink_class: DrinkClass | None = Field(
        None, alias="class", description="Kind of drink, for its acids and its limits; default mead."
    )
    titratable_acidity: ShortText | None = Field(
        None, description="At dosing, with its acid, such as 4.6 g/L tartaric."
    )
    sugar_g_per_l: QueryNumber | None = Field(
        None, ge=0, le=1000, description="Fermentable sugar at packaging [g/L]; default enough to referment."
    )
    market: MarketName | None = Field(
        None, description="Where it is to be sold; default none: the lowest limits known. Check the current law."
    )
    raw_juice_after: QueryInteger | None = Field(
        None, ge=0, le=1, description="1 if juice that was not heated goes in afterwards: then no dose is given."
    )
    malolactic_possible: QueryInteger | None = Field(
        None, ge=0, le=1, description="1 if malolactic bacteria may be at work: then no sorbate is dosed."
    )
    unit: MassUnit = Field("g", description="Unit of the mass answered.")


class DoseOfSulfite(StabilisingQuery):
    """How much potassium metabisulfite brings a drink to its sulfite target?"""

    free: ShortText | None = Field(None, description="Free SO2 wanted, such as 30mg/L or 30ppm.")
    molecular: ShortText | None = Field(None, description="Molecular SO2 wanted, such as 0.8mg/L; the default.")
    free_now: ShortText | None = Field(None, description="Free SO2 in the drink already, such as 12mg/L; default 0.")
    total_now: ShortText | None = Field(
        None, description="Total SO2 in the drink already, such as 40mg/L; default as the free part."
    )
    bound_share: QueryNumber | None = Field(
        None, ge=0, lt=0.9, description="Share of the addition that gets bound; default 0.4."
    )
    so2_share_percent: QueryNumber | None = Field(
        None, gt=0, le=57.6, description="SO2 that the salt yields [% of its mass]; default 57, old salt 50."
    )
    temperature: ShortText | None = Field(
        None, description="Of the drink in store, such as 12C or 54F, for the pK; default 20C."
    )
    pk_basis: PkName | None = Field(
        None, description="pK of SO2; default the lower one of convention and thermo, which asks for more."
    )
    colour: ColourName | None = Field(None, description="Of a grape wine: its limits differ by it.")
    sorbic: ShortText | None = Field(
        None, description="Sorbic acid that goes in first, such as 120mg/L: it lifts the pH. Default none."
    )


class DoseOfSorbate(StabilisingQuery):
    """How much potassium sorbate does the published table ask for, beside sulfite?"""

    sorbic: ShortText | None = Field(None, description="Sorbic acid wanted instead of the table's, such as 150mg/L.")
    purity_percent: QueryNumber | None = Field(
        None, gt=0, le=100, description="Potassium sorbate in the product [% of its mass]; default 100."
    )


def _plan(query: StabilisingQuery, **more: Any) -> StabilisingPlan:
    def flag(value: int | None) -> bool | None:
        return None if value is None else bool(value)

    given = StabilisingPlanRequest.model_validate(
        {
            "volume_at_dosing": query.volume,
            "volume_at_packaging": query.volume_at_packaging,
            "ph": query.ph,
            "ph_at_packaging": query.ph_at_packaging,
            "abv_percent": query.abv_percent,
            "abv_percent_at_packaging": query.abv_percent_at_packaging,
            "fermentation_finished": flag(query.fermentation_finished),
            "class": query.drink_class,
            "titratable_acidity": query.titratable_acidity,
            "sugar_g_per_l": query.sugar_g_per_l,
            "market": query.market,
            "raw_juice_after": flag(query.raw_juice_after),
            "malolactic_possible": flag(query.malolactic_possible),
            **more,
        }
    )
    return plan_stabilising(stabilising_from(given))


def _dose_of(plan: StabilisingPlan, salt: str, unit: str) -> float:
    """The mass of one salt in the unit asked for; 0 where none is needed, refused where none may go in."""
    for caution in plan.cautions:
        if caution.level == "stop" and caution.code not in _NOT_ABOUT_DOSING:
            raise StopError(caution.text, _PARAMETER_OF.get(caution.code, ""))
    grams = next((dose.mass_g for dose in plan.doses if dose.salt == salt), 0.0)
    return grams / UNIT_BY_SPELLING[unit.lower()].factor


def _words(value: float) -> str:
    return f"{value:.4g}"


def _sulfite(query: DoseOfSulfite) -> Answer:
    plan = _plan(
        query,
        hurdles=["sulfite"] if query.sorbic is None else ["sulfite", "sorbate"],
        free_so2_target=query.free,
        molecular_so2_target=query.molecular,
        free_so2_now=query.free_now,
        total_so2_now=query.total_now,
        bound_share=query.bound_share,
        metabisulfite={"so2_share_percent": query.so2_share_percent},
        temperature=query.temperature,
        pk_basis=query.pk_basis,
        colour=query.colour,
        sorbic_acid_target=query.sorbic,
    )
    value = _dose_of(plan, "potassium_metabisulfite", query.unit)
    packaged = plan.so2.at_packaging
    return Answer(
        value,
        f"{_words(value)} {query.unit} of potassium metabisulfite: {packaged.free_mg_per_l:.0f} mg/L free, "
        f"{packaged.molecular_mg_per_l:.2f} molecular, {packaged.total_mg_per_l:.0f} total SO2 at packaging, pH "
        f"{packaged.ph:.2f}, pK {plan.so2.pk:.2f} ({plan.so2.pk_basis}).",
        plan.cautions,
        plan.assumed,
        unit=query.unit,
    )


def _sorbate(query: DoseOfSorbate) -> Answer:
    plan = _plan(
        query,
        hurdles=["sulfite", "sorbate"],
        potassium_sorbate={"purity_percent": query.purity_percent},
        sorbic_acid_target=query.sorbic,
    )
    value = _dose_of(plan, "potassium_sorbate", query.unit)
    if query.sorbic is None and plan.sorbic.target_mg_per_l is None:
        reason = plan.sorbic.reason
        raise InputError(
            f"{reason[0].upper()}{reason[1:]}. Pasteurise, filter sterile or keep it dry.",
            "/abv_percent" if "% vol" in reason else "/ph",
        )
    return Answer(
        value,
        f"{_words(value)} {query.unit} of potassium sorbate: {plan.sorbic.at_packaging_mg_per_l:.0f} mg/L sorbic acid "
        f"at packaging ({plan.sorbic.reason}); pH {plan.ph_before:.2f} becomes {plan.ph_after_sorbate:.2f}. Only with "
        "sulfite.",
        plan.cautions,
        plan.assumed,
        unit=query.unit,
    )


STABILISING_QUESTIONS: tuple[Question, ...] = (
    Question(
        "dose-of-sulfite",
        DoseOfSulfite,
        _sulfite,
        "volume=20L&ph=3.4&abv_percent=12&free=30mg/L&fermentation_finished=1&unit=g",
        "volume",
        no_interval=_CAREFUL,
        inner=_NAME_IN_URL,
    ),
    Question(
        "dose-of-sorbate",
        DoseOfSorbate,
        _sorbate,
        "volume=20L&ph=3.4&abv_percent=12&fermentation_finished=1&unit=g",
        "volume",
        no_interval=_CAREFUL,
        inner=_NAME_IN_URL,
    ),
)
"""For the list of all cell questions."""
