"""What given recipes will be, side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from service.errors import InputError, ServiceError
from service.model.lot_class import Assumed
from service.planner.answers import Caution, NextReading, Predicted
from service.planner.answers_blend import BlendForecast, RecipeForecast
from service.planner.asked import AdditionAsked, Circumstances, ForecastAsked, RecipeAsked
from service.planner.cautions import cautions_for, sorted_once
from service.planner.compare import AgainstReading, against_readings, differences
from service.planner.evidence import (
    MODEL_VERSION,
    assumed_in,
    data_version,
    gravity_to_read,
    next_readings,
    sources_of,
)
from service.planner.fruit import fruit_needed, fruit_sources
from service.planner.hand_over import Blended
from service.planner.materials import Material, materials_of, poured
from service.planner.next_of_blend import forecast_next
from service.planner.predict import amounts_of, cross_check, foreseen, predict
from service.planner.reading_units import in_system
from service.planner.work import NextCall


def forecast_blend(asked: ForecastAsked) -> BlendForecast:
    """Predict recipes whose every amount is given.

    Parameters: asked, in base units.
    Returns: BlendForecast; assumptions, cautions and readings of all recipes together, each once.
    """
    circumstances = asked.circumstances
    several = len(asked.recipes) > 1
    recipes: list[RecipeForecast] = []
    assumed: list[tuple[str, Assumed]] = []
    cautions: list[Caution] = []
    readings: list[NextReading] = []
    everything: list[Material] = []
    following: dict[str, NextCall] = {}
    for index, recipe in enumerate(asked.recipes):
        materials = materials_of(recipe.lots, recipe.additions)
        masses, factor = _scaled(recipe, index, materials)
        if recipe.scale_to_l is not None:
            materials = tuple(map(in_other_amounts, materials))
        contents = poured(materials, masses)
        told = foreseen(materials, masses, circumstances)
        predicted = told.predicted
        recipes.append(
            RecipeForecast(
                recipe.name,
                amounts_of(materials, masses, contents.volume_ml / 1000.0, circumstances),
                predicted,
                told.least_known,
                cross_check(predicted),
                fruit_needed(materials, masses, circumstances),
                factor,
                differences(recipes[0].predicted, predicted, circumstances.instruments, circumstances.senses)
                if recipes
                else (),
                _against(recipe, index, materials, predicted, circumstances),
            )
        )
        if index == 0:
            first = Blended(materials, masses, contents, predicted, circumstances)
            following = forecast_next(asked, index, first, scaled=recipe.scale_to_l is not None)
        assumed += [(recipe.name, a) for a in assumed_in(materials, circumstances)]
        found = cautions_for(materials, masses, contents, predicted, circumstances)
        cautions += [replace(c, about=recipe.name) if _speaks_of_amounts(c) else c for c in found] if several else found
        if several:
            readings.append(gravity_to_read(predicted, circumstances.instruments, recipe.name))
        else:
            readings += next_readings(materials, masses, predicted, circumstances.instruments)
        everything += materials
    kept = sorted_once(cautions)
    return BlendForecast(
        recipes=tuple(recipes),
        steps_are=circumstances.senses.told,
        next=following,
        currency=circumstances.currency,
        units=circumstances.system,
        assumed=_told_apart(assumed),
        cautions=kept,
        next_reading=in_system(readings, circumstances.system),
        sources=sources_of(everything, kept, ("oiv_as2_03b", *fruit_sources([f for r in recipes for f in r.fruit]))),
        model_version=MODEL_VERSION,
        data_version=data_version(),
        batch=circumstances.echo.batch,
        date=circumstances.echo.date,
        note=circumstances.echo.note,
    )


def in_other_amounts(material: Material) -> Material:
    """The material without the words of the amount that was given."""
    source = material.source
    return replace(material, source=replace(source, given=None)) if isinstance(source, AdditionAsked) else material


def _scaled(recipe: RecipeAsked, index: int, materials: Sequence[Material]) -> tuple[list[float], float]:
    """The masses of a recipe [g], multiplied for the volume of drink that was asked for, and the factor.

    Contents add up, so the volume of the drink is proportional to the amounts, contraction included.
    """
    masses = [m.least_g for m in materials]
    if recipe.scale_to_l is None:
        return masses, 1.0
    volume_l = poured(materials, masses).volume_ml / 1000.0
    if volume_l <= 0.0:
        raise InputError("A recipe of nothing cannot be scaled.", f"/recipes/{index}")
    factor = recipe.scale_to_l / volume_l
    return [m * factor for m in masses], float(f"{factor:.7g}")


def _against(
    recipe: RecipeAsked,
    index: int,
    materials: Sequence[Material],
    predicted: Predicted,
    circumstances: Circumstances,
) -> tuple[AgainstReading, ...]:
    """The readings of a recipe beside what is predicted for it as it was poured, before any scaling."""
    if not recipe.measured:
        return ()
    if recipe.scale_to_l is not None:
        poured_g = [m.least_g for m in materials]
        predicted = predict(materials, poured_g, circumstances)
    try:
        return against_readings(predicted, dict(recipe.measured), circumstances.instruments, circumstances.senses)
    except ServiceError as error:
        raise error.below(f"/recipes/{index}/measured") from error


def _speaks_of_amounts(caution: Caution) -> bool:
    """Whether a caution's words hold a figure, so that they belong to one recipe of several."""
    return any(character.isdigit() for character in caution.text)


def _told_apart(found: list[tuple[str, Assumed]]) -> tuple[Assumed, ...]:
    """Assumptions of several recipes: once where they agree, with the recipe's name where they do not."""
    values: dict[str, set[Assumed]] = {}
    for _, assumed in found:
        values.setdefault(assumed.what, set()).add(assumed)
    named = [
        assumed if len(values[assumed.what]) == 1 else replace(assumed, what=f"{recipe}: {assumed.what}")
        for recipe, assumed in found
    ]
    return tuple(dict.fromkeys(named))
