"""`GET /v1/ingredients`, `/v1/ingredients/{id}` and `/v1/sources`, with their CSV twins."""

from __future__ import annotations

from dataclasses import asdict
from functools import cache, lru_cache
from typing import Annotated, Any, Final

from fastapi import APIRouter, Path, Query, Request
from pydantic import BaseModel, Field
from starlette.responses import Response

from service.api.numbers import NoQuery, QueryModel, ShortText
from service.api.problems import PROBLEM_MEDIA_TYPE, with_status
from service.api.routing import get_and_head
from service.api.static_files import StaticFile, kept_content, static_answer
from service.api.tables import Row, csv_text
from service.catalogue.derived import (
    density_g_ml,
    fermentable_g_per_100g,
    juice_equivalent_l_per_kg,
    titratable_meq_per_kg,
)
from service.catalogue.loader import data_version, sources
from service.catalogue.lookup import aliases_of, find_ingredients, get_ingredient
from service.catalogue.records import Category, Ingredient, Source, Spread
from service.errors import ServiceError

_KEPT: Final = 16
"""Lists that are kept as they are sent; the longest has 120 kB."""
_MAX_AGE_S: Final = 300


class SpreadOut(BaseModel):
    """A typical value with the plausible limits of a lot and its lot-to-lot standard deviation."""

    typical: float = Field(description="What is reckoned with unless it is measured.")
    low: float | None = Field(description="Lower limit of plausible lots; null where none is known.")
    high: float | None = Field(description="Upper limit of plausible lots; null where none is known.")
    sd: float | None = Field(description="Standard deviation from lot to lot; null: a quarter of the limits is taken.")


class ProvenanceOut(BaseModel):
    """Where a group of figures comes from."""

    sources: list[str] = Field(description="Keys of the bibliography.")
    mark: str = Field(description="How the figures were come by: published, derived, judged, from memory.")


class IngredientOut(BaseModel):
    """One ingredient of the catalogue; compositions add up to 100 g."""

    id: str = Field(description="What requests name it by.")
    name: str = Field(description="Its name in words.")
    category: str = Field(description="What kind of ingredient it is.")
    aliases: list[str] = Field(description="Short names that requests may use as well.")
    composition_g_per_100g: dict[str, float] = Field(description="Grams of each component that is present, in 100 g.")
    density_g_ml: float | None = Field(description="At 20 °C, from the composition; null for dry solids.")
    dose_by_mass_only: bool = Field(description="True for dry solids: no sourced bulk density exists.")
    brix: SpreadOut | None = Field(description="True soluble solids, corrected for acid.")
    ta_g_citric_per_100g: SpreadOut | None = Field(
        description="Titratable acidity to pH 8.2 as anhydrous citric acid [g/100 g]; null where nothing was titrated."
    )
    titratable_meq_per_kg: float = Field(
        description="The acidity it brings, below zero for what takes acid away; of honey its free acid."
    )
    ph: SpreadOut | None = Field(description="Of the sample that `ph_sample_mass_fraction` describes.")
    ph_sample_mass_fraction: float | None = Field(
        description="Mass of the ingredient in the sample whose pH this is, as a share; the rest is pure water."
    )
    fermentable_g_per_100g: SpreadOut = Field(description="Sugar in it that yeast can use [g/100 g].")
    juice_equivalent_l_per_kg: float = Field(description="Single-strength litres per kg, 21 CFR 101.30.")
    juice_standard: str | None = Field(
        description="Fruit whose single-strength figure counts, as 21 CFR 101.30 names it."
    )
    fruit_family: str = Field(description="Kind of fruit; citrus counts for `citrus_percent`.")
    minerals_and_vitamins: dict[str, float] = Field(description="As far as reported, each with its unit in its name.")
    energy_kcal_per_100g: float | None = Field(description="As tabulated; null where nothing is.")
    provenance: dict[str, ProvenanceOut] = Field(description="Where each group of figures comes from.")
    notes: str = Field(description="What else to know of it.")


class IngredientList(BaseModel):
    """Ingredients by id."""

    data_version: str = Field(description="Version of the catalogue.")
    ingredients: list[IngredientOut] = Field(description="Those that were asked for, by id.")


class SourceList(BaseModel):
    """The bibliography by key."""

    data_version: str = Field(description="Version of the catalogue.")
    sources: list[Source] = Field(description="Every source, by key.")


class IngredientQuery(QueryModel):
    """Which ingredients to list."""

    category: Category | None = Field(None, description="One category only.")
    text: ShortText | None = Field(None, description="A word of the id, the name or a short name.")


def _spread(spread: Spread | None) -> SpreadOut | None:
    return None if spread is None else SpreadOut(typical=spread.typical, low=spread.low, high=spread.high, sd=spread.sd)


@cache
def _out(id: str) -> IngredientOut:
    return ingredient_out(get_ingredient(id))


def ingredient_out(ingredient: Ingredient) -> IngredientOut:
    """An ingredient with what follows from its composition."""
    minerals = ingredient.minerals
    fermentable = fermentable_g_per_100g(ingredient)
    return IngredientOut(
        id=ingredient.id,
        name=ingredient.name,
        category=ingredient.category.value,
        aliases=aliases_of(ingredient.id),
        composition_g_per_100g={c.value: g for c, g in ingredient.composition.items()},
        density_g_ml=None if ingredient.bulk_solid else round(density_g_ml(ingredient), 5),
        dose_by_mass_only=ingredient.bulk_solid,
        brix=_spread(ingredient.brix),
        ta_g_citric_per_100g=_spread(ingredient.ta_g_citric_per_100g),
        titratable_meq_per_kg=round(titratable_meq_per_kg(ingredient), 3),
        ph=_spread(ingredient.ph),
        ph_sample_mass_fraction=ingredient.ph_sample_mass_fraction,
        fermentable_g_per_100g=SpreadOut(
            typical=round(fermentable.typical, 4), low=fermentable.low, high=fermentable.high, sd=fermentable.sd
        ),
        juice_equivalent_l_per_kg=round(juice_equivalent_l_per_kg(ingredient), 5),
        juice_standard=ingredient.juice_standard,
        fruit_family=ingredient.fruit_family.value,
        minerals_and_vitamins={
            name: value for name in minerals.__slots__ if (value := getattr(minerals, name)) is not None
        },
        energy_kcal_per_100g=ingredient.energy_kcal_per_100g,
        provenance={k: ProvenanceOut(sources=list(p.sources), mark=p.mark) for k, p in ingredient.provenance.items()},
        notes=ingredient.notes,
    )


def _flat(ingredient: IngredientOut) -> Row:
    row: Row = {"id": ingredient.id, "name": ingredient.name, "category": ingredient.category}
    for name in ("density_g_ml", "titratable_meq_per_kg", "juice_equivalent_l_per_kg", "energy_kcal_per_100g"):
        row[name] = getattr(ingredient, name)
    for name in ("brix", "ta_g_citric_per_100g", "ph", "fermentable_g_per_100g"):
        spread = getattr(ingredient, name)
        for part in ("typical", "low", "high", "sd"):
            row[f"{name}_{part}"] = None if spread is None else getattr(spread, part)
    composition = ingredient.composition_g_per_100g
    for component in _COMPONENT_NAMES:
        row[f"{component}_g_per_100g"] = composition.get(component, 0.0)
    row["composition_mark"] = (
        ingredient.provenance["composition"].mark if "composition" in ingredient.provenance else ""
    )
    return row


_COMPONENT_NAMES = sorted({c.value for i in find_ingredients() for c in i.composition})
_COLUMNS = tuple(_flat(ingredient_out(find_ingredients()[0])))


def _listed(query: IngredientQuery) -> list[IngredientOut]:
    return [_out(i.id) for i in find_ingredients(query.category, query.text)]


@lru_cache(maxsize=_KEPT)
def _list_json(query: IngredientQuery) -> StaticFile:
    return _json(IngredientList(data_version=data_version(), ingredients=_listed(query)))


@lru_cache(maxsize=_KEPT)
def _list_csv(query: IngredientQuery) -> StaticFile:
    return _csv([_flat(i) for i in _listed(query)], _COLUMNS)


@cache
def _ingredient_json(id: str) -> StaticFile:
    return _json(_out(id))


@cache
def _sources_json() -> StaticFile:
    found = [source for _, source in sorted(sources().items())]
    return _json(SourceList(data_version=data_version(), sources=found))


@cache
def _sources_csv() -> StaticFile:
    return _csv([asdict(source) for _, source in sorted(sources().items())])


def _json(model: BaseModel) -> StaticFile:
    return kept_content(model.model_dump_json().encode(), "application/json")


def _csv(rows: list[Row], columns: tuple[str, ...] = ()) -> StaticFile:
    return kept_content(csv_text(rows, columns).encode(), "text/csv")


def _sent(request: Request, content: StaticFile) -> Response:
    return static_answer(request, content, _MAX_AGE_S)


def catalogue_router() -> APIRouter:
    """The catalogue's routes; their answers change with the data version only, so they carry an ETag."""
    router = APIRouter(prefix="/v1", tags=["catalogue"])
    csv_answer: dict[int | str, dict[str, Any]] = {
        200: {"content": {"text/csv": {"schema": {"type": "string"}}}, "description": "A table."}
    }

    @get_and_head(router, "/ingredients", summary="The catalogue of ingredients", response_model=IngredientList)
    async def list_ingredients(request: Request, query: Annotated[IngredientQuery, Query()]) -> Response:
        """Every ingredient with its composition, its spread from lot to lot, and where each figure comes from."""
        return _sent(request, _list_json(query))

    @get_and_head(
        router, "/ingredients.csv", summary="The catalogue as a table", response_class=Response, responses=csv_answer
    )
    async def list_ingredients_csv(request: Request, query: Annotated[IngredientQuery, Query()]) -> Response:
        """One row for each ingredient, components in columns of their own; for a spreadsheet that loads a table."""
        return _sent(request, _list_csv(query))

    @get_and_head(
        router,
        "/ingredients/{id}",
        summary="One ingredient",
        response_model=IngredientOut,
        operation_id="get_ingredient",
        responses={
            404: {
                "description": "No such ingredient; close matches are named.",
                "content": {PROBLEM_MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
            }
        },
    )
    async def get_ingredient_by_id(
        request: Request,
        id: Annotated[str, Path(description="Its id in the catalogue, or a short name.", examples=["honey_acacia"])],
        query: Annotated[NoQuery, Query()],
    ) -> Response:
        """An ingredient by its id or a short name, as GET /v1/ingredients lists it."""
        del query
        try:
            known = get_ingredient(id).id
        except ServiceError as error:
            raise with_status(error, 404) from error
        return _sent(request, _ingredient_json(known))

    @get_and_head(router, "/sources", summary="The bibliography", response_model=SourceList)
    async def list_sources(request: Request, query: Annotated[NoQuery, Query()]) -> Response:
        """Every publication that a figure or a rule is taken from, and how it was come by."""
        del query
        return _sent(request, _sources_json())

    @get_and_head(
        router, "/sources.csv", summary="The bibliography as a table", response_class=Response, responses=csv_answer
    )
    async def list_sources_csv(request: Request, query: Annotated[NoQuery, Query()]) -> Response:
        """One row for each source."""
        del query
        return _sent(request, _sources_csv())

    return router
