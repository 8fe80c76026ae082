"""What an answer rests on: assumptions, sources, and the readings that would replace the weakest of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import cache

from service import MODEL_VERSION
from service.catalogue.loader import data_version, sources
from service.catalogue.records import Category
from service.model.lot_class import DRY_EXTRACT, Assumed, LotClass
from service.model.properties import PROPERTIES
from service.planner.answers import Caution, NextReading, Predicted, SourceCited
from service.planner.asked import AdditionAsked, Circumstances, Instruments, LotAsked, RecipeAsked
from service.planner.compare import instrument_error, readings_expected
from service.planner.materials import Material, materials_of

MODEL_SOURCES = (
    "oiml_r22",
    "icumsa_sps4",
    "crc_2021",
    "lowe_cookery",
    "schutz_pilgrim_1957",
    "minteq_v4",
    "iupac_pka",
    "thermochimie",
    "prenesti_2012",
)
"""Every blend answer stands on these: volumes, sweetness, noticeable steps, dissociation constants; the others are
added where used."""

_DIGITS_READ = {"volume": 2}
"""Where a reading is told with other digits than a prediction."""

USUAL_INSTRUMENTS = Instruments()
"""What a reading may err by where nothing was stated."""

_WEAK = ("memory", "judged", "estimate")
_MEASURABLE = {
    Category.HONEY: "its moisture (a honey refractometer)",
    Category.JUICE: "its Brix and titratable acidity",
    Category.CONCENTRATE: "its Brix and titratable acidity, diluted to single strength",
}

__all__ = ["MODEL_VERSION", "assumed_in", "data_version", "gravity_to_read", "next_readings", "sources_of"]


def assumed_in(materials: Iterable[Material], circumstances: Circumstances) -> tuple[Assumed, ...]:
    """Every default used, each once: of the request, of the lots, and of the ingredients that were not measured."""
    found: list[Assumed] = list(circumstances.assumed)
    materials = tuple(materials)
    found += _instruments(materials, circumstances)
    for material in materials:
        asked = material.source
        if isinstance(asked, LotAsked):
            found += [Assumed(f"{material.name}: {a.what}", a.value, a.source, a.measure_by) for a in asked.lot.assumed]
            continue
        if asked.alias is not None:
            found.append(
                Assumed(
                    f"{asked.alias}: ingredient",
                    asked.ingredient.id,
                    "the short name stands for this row",
                    "name another ingredient of the catalogue",
                )
            )
        found += [replace(a, what=f"{material.name}: {a.what}") for a in asked.assumed]
        alkalinity = asked.ingredient.alkalinity_meq_per_l
        if alkalinity is not None and alkalinity.typical > 0.0:
            found.append(
                Assumed(
                    f"{material.name}: alkalinity",
                    f"{alkalinity.typical:g} meq/L ({alkalinity.low:g} to {alkalinity.high:g})",
                    "judged",
                    "the local water report",
                )
            )
        if asked.ingredient.category is Category.CUSTOM:
            found.append(
                Assumed(f"{material.name}: composition", "exact", "as given, without any spread", "measure it as a lot")
            )
        provenance = asked.ingredient.provenance.get("composition")
        how = _MEASURABLE.get(asked.ingredient.category)
        if provenance is not None and how is not None and not asked.measured:
            weak = any(word in provenance.mark for word in _WEAK)
            found.append(
                Assumed(
                    f"{material.name}: composition",
                    "typical of the table",
                    f"{provenance.mark}{' (weak)' if weak else ''}: {', '.join(provenance.sources)}",
                    how,
                )
            )
    return tuple(dict.fromkeys(found))


def _instruments(materials: Sequence[Material], circumstances: Circumstances) -> list[Assumed]:
    """The errors of instruments that nobody stated and that intervals count with, in one line."""
    tools = circumstances.instruments
    lots = [m.source for m in materials if isinstance(m.source, LotAsked) and m.source.unknowns is None]
    errors = []
    if lots:
        errors += [
            ("hydrometer", f"hydrometer ±{tools.hydrometer_error:g} SG"),
            ("strength", f"strength ±{tools.strength_error_percent:g} % vol"),
        ]
        if any(lot.volume_sd_share is None for lot in lots):
            errors.append(("volume", f"volume ±{tools.volume_error_percent:g} %"))
        if any(lot.lot.titratable_known and lot.lot.titratable_sd_share is None for lot in lots):
            errors.append(("titration", f"titration ±{tools.titration_error_percent:g} %"))
        if any(lot.lot.ph_known for lot in lots):
            errors.append(("ph_meter", f"pH meter ±{tools.ph_meter_error:g}"))
    if any(m.kind == "addition" for m in materials):
        errors.append(("scale", f"scale that shows {tools.scale_step_g:g} g"))
    told = [text for name, text in errors if name not in tools.given]
    if not told:
        return []
    what = "errors of readings, each a standard deviation"
    return [
        Assumed(
            what, ", ".join(told), "common practice, no source; strength judged", "what your own instruments err by"
        )
    ]


def assumed_beside(recipes: Sequence[RecipeAsked], known: Iterable[Material]) -> tuple[Assumed, ...]:
    """What recipes beside a plan rest on, but for what the plan's own materials say already."""
    if not recipes:
        return ()
    told = set(assumed_in(known, Circumstances()))
    return tuple(
        replace(assumed, what=f"{recipe.name}: {assumed.what}")
        for recipe in recipes
        for assumed in assumed_in(materials_of(recipe.lots, recipe.additions), Circumstances())
        if assumed not in told
    )


def sources_of(
    materials: Iterable[Material], cautions: Iterable[Caution], extra: Sequence[str] = ()
) -> tuple[SourceCited, ...]:
    """The documents behind an answer, by key."""
    keys = {*MODEL_SOURCES, *extra, *(c.source_id for c in cautions)}
    for material in materials:
        if isinstance(material.source, LotAsked) and material.source.lot.lot_class is LotClass.GRAPE_WINE:
            keys.add("uci_wine_quality")
        if isinstance(material.source, AdditionAsked):
            for group in ("composition", "acid"):
                provenance = material.source.ingredient.provenance.get(group)
                keys.update(provenance.sources if provenance else ())
    return tuple([_cited(key) for key in sorted(keys)])


@cache
def _cited(key: str) -> SourceCited:
    source = sources()[key]
    return SourceCited(key, source.title, source.mark)


def to_read(
    name: str,
    predicted: Predicted,
    instruments: Instruments,
    do: str,
    instrument: str,
    unit: str,
    at_temperature: str | None = None,
) -> NextReading:
    """A reading of a blend, with what to expect of it: a property's value, and its interval widened by the error of
    the instrument itself."""
    value = getattr(predicted, name).value
    error = instrument_error(name, value, instruments)
    low, high = readings_expected(predicted, name, 0.0 if error is None else error)
    digits = _DIGITS_READ.get(name, PROPERTIES[name].decimals)
    return NextReading(
        do,
        instrument,
        round(value, digits),
        unit,
        at_temperature,
        low=round(low, digits),
        high=round(high, digits),
    )


def gravity_to_read(predicted: Predicted, instruments: Instruments, of: str) -> NextReading:
    """The reading that shows best whether one of several blends came out."""
    do = f"{of}: stir, degas a sample and read the gravity"
    return to_read("gravity", predicted, instruments, do, "hydrometer", "SG 20/20")


def next_readings(
    materials: Sequence[Material],
    masses_g: Sequence[float],
    predicted: Predicted,
    instruments: Instruments = USUAL_INSTRUMENTS,
) -> tuple[NextReading, ...]:
    """What to measure: before pouring, what was assumed; after it, what shows whether the blend came out."""
    before: list[NextReading] = []
    if any(isinstance(m.source, LotAsked) and m.source.lot.lot_class in DRY_EXTRACT for m in materials):
        before.append(NextReading("read the gravity of the ferment twice, days apart: it must not fall", "hydrometer"))
    for material, mass in zip(materials, masses_g, strict=True):
        asked = material.source
        if mass <= 0.0:
            continue
        if isinstance(asked, LotAsked):
            if not asked.lot.titratable_known and asked.lot.acids.state.present:
                before.append(NextReading(f"titrate {material.said}, degassed, to pH 8.2", "burette or acid kit"))
            if not asked.lot.ph_known and asked.lot.acids.state.present:
                before.append(
                    NextReading(f"read the pH of {material.said}, degassed", "pH meter, checked in pH 4.01 and 7.00")
                )
        elif asked.ingredient.category is Category.JUICE and not asked.measured:
            before.append(
                NextReading(
                    f"read Brix, titratable acidity and pH of {material.said}", "refractometer, acid kit and pH meter"
                )
            )
    after = [
        to_read(
            "gravity",
            predicted,
            instruments,
            "stir, degas a sample and read the gravity",
            "hydrometer",
            "SG 20/20",
            "20 °C, or enter the sample's temperature",
        ),
        to_read("volume", predicted, instruments, "read the volume in the vessel", "marks of the vessel", "L", "20 °C"),
        to_read(
            "titratable_acidity",
            predicted,
            instruments,
            f"titrate a degassed sample to pH {predicted.titratable_acidity.end_point_ph:g}",
            "burette or acid kit",
            "g/L tartaric",
        ),
    ]
    if predicted.ph is not None:
        ph_meter = "pH meter, checked in pH 4.01 and 7.00"
        after.append(to_read("ph", predicted, instruments, "read the pH of a degassed sample", ph_meter, "pH", "20 °C"))
    return (*before, *after)
