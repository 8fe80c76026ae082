"""A glass that tasted or looked right, and the batch that is to be like it.

A glass is dosed with stocks: syrup instead of honey, a solution instead of a pinch of acid. Their water dilutes it. The
batch is matched to what the glass was dosed with, litre for litre, and not to the stock's water, unless that is wanted
too; plain scaling of the stocks stands beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from service import MODEL_VERSION
from service.catalogue.loader import data_version
from service.model.lot_class import Assumed
from service.model.properties import PROPERTIES
from service.planner.answers import Caution, NextReading, Predicted
from service.planner.asked import AdditionAsked, Circumstances
from service.planner.bench_trial.answers import (
    BatchDose,
    BenchTrial,
    Beside,
    GlassDosed,
    Held,
    Outcome,
    StockPoured,
)
from service.planner.bench_trial.asked import BenchAsked
from service.planner.bench_trial.colour import absorbances_of, colours_of, is_hazy
from service.planner.bench_trial.glass import Glass, glass_of
from service.planner.bench_trial.graduation import advice_of, effects, fine_amounts
from service.planner.bench_trial.handed_on import next_calls
from service.planner.bench_trial.match import (
    Batch,
    kept,
    other_ingredients,
    plain_scaling,
    poured_sd_ml,
    same_ingredients_g,
    targets_from,
    without_stock_water,
)
from service.planner.bench_trial.words import COLOUR_SOURCES, bench_cautions, steps_of, summary_of
from service.planner.cautions import cautions_for, sorted_once
from service.planner.compare import Difference, differences
from service.planner.evidence import assumed_in, next_readings, sources_of
from service.planner.materials import Material, materials_of, poured
from service.planner.predict import amounts_of, predict
from service.planner.reading_units import in_system
from service.planner.work import schedule_of
from service.quantities import volume_text

_NOT_COMPARED = ("volume", "added_mass", "added_volume", "cost")
_THREE_DIGITS, _COARSEST_ML, _FINEST_ML, _FLUID_OUNCE_ML, _LITRE_ML = 0.01, 1e6, 0.01, 30.0, 1000.0
"""Volumes in words have three digits, but no finer ones than a small syringe shows; below a fluid ounce or so they are
metric everywhere, as syringes are."""


def scale_bench_trial(asked: BenchAsked) -> BenchTrial:
    """The composition of a glass, and the batch that is like it.

    Parameters: asked, in base units.
    Returns: BenchTrial.
    Raises: InputError, InconsistentError as `service.planner.bench_trial.glass.glass_of`.
    """
    circumstances = asked.circumstances
    glass = glass_of(asked)
    in_glass = predict(glass.materials, [m.least_g for m in glass.materials], circumstances)
    plain = _dose(plain_scaling(glass, circumstances.instruments.jug_step_ml), "the stocks themselves", circumstances)
    dry = None
    if glass.water_g > 0.0 and not asked.water_allowed:
        dry = _dose(
            _measured(without_stock_water(glass), asked), "what the stocks hold, without their water", circumstances
        )
    masses = same_ingredients_g(glass, water_allowed=asked.water_allowed)
    matched, cautions, assumed, readings, used = _matched(asked, glass, in_glass, masses)
    beside = _beside(in_glass, matched.predicted, plain.predicted, dry, circumstances)
    outcome = _outcome(asked, glass, in_glass, matched.predicted)
    batch_l = matched.predicted.volume.value
    ml_of = {a.name: a.volume_ml or 0.0 for a in matched.amounts}
    system = circumstances.system
    colours = colours_of(glass, ml_of, batch_l, system)
    moved = effects(glass, masses, circumstances)
    thinned = matched.predicted.abv_percent.value - in_glass.abv_percent.value
    found = sorted_once([*cautions, *bench_cautions(asked, glass, colours, plain.predicted)])
    steps = steps_of(asked, matched.amounts, colours)
    return BenchTrial(
        outcome=outcome,
        summary=summary_of(outcome, glass, in_glass, matched.predicted, system),
        glass=_glass(asked, glass, in_glass),
        batch_plan=matched,
        plain_scaling=plain,
        without_stock_water=dry,
        differences=beside,
        steps_are=circumstances.senses.told,
        per_graduation=moved,
        advice=(
            *advice_of(glass, moved, thinned, water_copied=asked.water_allowed or glass.water_g == 0.0, system=system),
            *fine_amounts(glass, matched.amounts, circumstances.instruments.scale_step_g, system),
        ),
        colour=colours,
        absorbance=() if is_hazy(asked, glass) else absorbances_of(asked, glass),
        steps=steps,
        schedule=schedule_of(steps, circumstances.start_date),
        next=next_calls(asked, glass, used, matched),
        currency=circumstances.currency,
        units=system,
        assumed=tuple(dict.fromkeys((*asked.assumed, *assumed))),
        cautions=found,
        next_reading=in_system(readings, system),
        sources=sources_of((*glass.pure, *used), found, COLOUR_SOURCES if colours else ()),
        model_version=MODEL_VERSION,
        data_version=data_version(),
        batch=circumstances.echo.batch,
        date=circumstances.echo.date,
        note=circumstances.echo.note,
    )


def _matched(
    asked: BenchAsked, glass: Glass, in_glass: Predicted, masses_g: Sequence[float]
) -> tuple[BatchDose, tuple[Caution, ...], tuple[Assumed, ...], tuple[NextReading, ...], tuple[Material, ...]]:
    """The batch that is like the glass, with what to heed, what was assumed, what to read, and what it is made of."""
    if asked.additions:
        plan = other_ingredients(asked, glass, in_glass)
        chosen = materials_of((asked.batch,), asked.additions)
        dose = BatchDose(
            "the ingredients named for the batch, as near to the glass as they come", plan.amounts, plan.predicted
        )
        return dose, plan.cautions, plan.assumed, plan.next_reading, chosen
    batch = _measured(kept(glass, masses_g), asked)
    text = "the same ingredients, undiluted, litre for litre as in the glass"
    if asked.water_allowed and glass.water_g > 0.0:
        text = "the same ingredients and the stocks' water, as in the glass"
    dose = _dose(batch, text, asked.circumstances)
    contents = poured(batch.materials, batch.masses_g)
    cautions = cautions_for(batch.materials, batch.masses_g, contents, dose.predicted, asked.circumstances)
    return (
        dose,
        cautions,
        assumed_in(batch.materials, asked.circumstances),
        next_readings(batch.materials, batch.masses_g, dose.predicted, asked.circumstances.instruments),
        batch.materials,
    )


def _measured(batch: Batch, asked: BenchAsked) -> Batch:
    """Liquid colours are measured out by volume: with the error of that."""
    dyes = {s.name for s in asked.stocks if s.dye is not None}
    jug_ml = asked.circumstances.instruments.jug_step_ml

    def by_volume(material: Material, mass_g: float) -> Material:
        if material.name not in dyes or not isinstance(material.source, AdditionAsked) or mass_g <= 0.0:
            return material
        density = material.density_g_ml or 1.0
        return replace(
            material, source=replace(material.source, amount_sd_g=density * poured_sd_ml(mass_g / density, jug_ml))
        )

    return Batch(tuple(by_volume(m, g) for m, g in zip(batch.materials, batch.masses_g, strict=True)), batch.masses_g)


def _dose(batch: Batch, text: str, circumstances: Circumstances) -> BatchDose:
    """Amounts in words of three digits, and the drink that they make."""
    predicted = predict(batch.materials, batch.masses_g, circumstances)
    texts = [
        None if m.kind == "lot" else _text(m, g, circumstances)
        for m, g in zip(batch.materials, batch.masses_g, strict=True)
    ]
    litres = poured(batch.materials, batch.masses_g).volume_ml / 1000.0
    return BatchDose(text, amounts_of(batch.materials, batch.masses_g, litres, circumstances, texts), predicted)


def _text(material: Material, mass_g: float, circumstances: Circumstances) -> str | None:
    """Stocks and liquid colours are measured out by volume, in three digits; None where a scale and a jug decide."""
    source = material.source
    if not isinstance(source, AdditionAsked) or (source.per_g is None and source.order != material.name):
        return None
    if mass_g <= 0.0 or material.density_g_ml is None:
        return None
    volume_ml = mass_g / material.density_g_ml
    if circumstances.system == "metric" or volume_ml < _FLUID_OUNCE_ML:
        return volume_text(volume_ml, "metric", _step(volume_ml))
    if volume_ml >= _LITRE_ML:
        return None
    return volume_text(volume_ml, circumstances.system, _step(volume_ml)).partition(" (")[0]


def _step(value: float) -> float:
    """A decimal step that leaves three digits, but no finer one than a syringe shows."""
    step = _COARSEST_ML
    while step > value * _THREE_DIGITS and step > _FINEST_ML * (1.0 + 1e-9):
        step /= 10.0
    return step


def _beside(
    glass: Predicted, matched: Predicted, plain: Predicted, dry: BatchDose | None, circumstances: Circumstances
) -> tuple[Beside, ...]:
    """Property by property, what the glass and each batch have."""

    def against(other: Predicted | None) -> dict[str, Difference]:
        if other is None:
            return {}
        return {d.property: d for d in differences(glass, other, circumstances.instruments, circumstances.senses)}

    by_plan = against(matched), against(plain), against(dry.predicted if dry is not None else None)
    found = []
    for name in PROPERTIES:
        value = getattr(glass, name)
        if name in _NOT_COMPARED or value is None:
            continue
        figures: list[float | None] = []
        for plan, predicted in zip(by_plan, (matched, plain, dry.predicted if dry else None), strict=True):
            other = None if predicted is None else getattr(predicted, name)
            difference = plan.get(name)
            figures += [
                None if other is None else other.value,
                None if difference is None else difference.difference,
                None if difference is None else difference.steps,
            ]
        found.append(Beside(name, value.unit, value.value, *figures))
    return tuple(found)


def _outcome(asked: BenchAsked, glass: Glass, in_glass: Predicted, batch: Predicted) -> Outcome:
    if not glass.stocks:
        return "nothing_to_add"
    if not asked.additions:
        return (
            "matched_but_for_stock_water" if glass.water_g > 0.0 and not asked.water_allowed else "composition_matched"
        )
    met = all(
        abs(getattr(batch, t.name).value - (t.value or 0.0)) <= PROPERTIES[t.name].tolerance(t.value or 0.0)
        for t in targets_from(in_glass)
    )
    return "properties_matched" if met else "nearest_match"


def _glass(asked: BenchAsked, glass: Glass, predicted: Predicted) -> GlassDosed:
    litres = glass.volume_l
    stocks = tuple(
        StockPoured(
            s.asked.name,
            s.asked.measure.text,
            round(s.mass_g, 4),
            None if s.volume_ml is None else round(s.volume_ml, 4),
            None if s.density_g_ml is None else round(s.density_g_ml, 4),
            tuple(
                Held(
                    p.material.name, round(p.share * s.mass_g, 4), round(p.share * s.mass_g / litres, 4), p.stock_water
                )
                for p in s.parts
            ),
        )
        for s in glass.stocks
    )
    water_ml = sum(g / (m.density_g_ml or 1.0) for m, g in zip(glass.pure, glass.stock_water_g, strict=True))
    return GlassDosed(round(1000.0 * asked.base_l, 4), round(1000.0 * litres, 3), stocks, round(water_ml, 3), predicted)
