"""Cautions about sugar that yeast can use: when to sweeten, what holds it, and what bursts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from service.chemistry.sorbate import TABLE_ML_PER_L
from service.model.contents import Contents
from service.model.lot_class import DRY_EXTRACT
from service.model.properties import property_value
from service.planner.answers import OUR_DEFAULT, PRACTICE, Caution
from service.planner.asked import Circumstances, LotAsked
from service.planner.materials import Material

SEALED: Final = ("bottle", "can", "keg", "jar", "flask")

_FERMENTABLE_LIMIT_G_PER_L = 2.0
_TABLE_STARTS_ABV_PERCENT = min(TABLE_ML_PER_L)
_WARM_C = 25.0
_NOTICEABLE_SUGAR_G = 1.0


def refermentation_cautions(
    materials: Sequence[Material], masses_g: Sequence[float], contents: Contents, circumstances: Circumstances
) -> Iterator[Caution]:
    """All cautions about fermentable sugar of one blend."""
    intended = circumstances.intended
    volume_l = contents.volume_ml / 1000.0
    sugar = contents.tally("fermentable_g") / volume_l
    assumed, spread = _assumed_sugar(materials, masses_g, volume_l)
    hurdles = set(intended.hurdles)
    if _sweetens_a_ferment(materials, masses_g):
        yield Caution(
            "ferment_must_have_ended",
            "warning",
            "Sweeten only after the ferment has ended: two equal gravities days apart. Live yeast eats added sugar, "
            "in an open vessel too; stabilisers do not stop it.",
            PRACTICE,
        )
    if sugar - assumed > _FERMENTABLE_LIMIT_G_PER_L:
        yield _sugar_and_hurdles(sugar, hurdles, intended.container)
    elif not _holds(hurdles) and sugar + spread > _FERMENTABLE_LIMIT_G_PER_L:
        yield Caution(
            "residual_sugar_unknown",
            "warning",
            f"Residual sugar was not measured: up to about {sugar + spread:.0f} g/L may be left, enough to burst a "
            "sealed container. Seal only after two equal gravities days apart.",
            OUR_DEFAULT,
        )
    yield from _stabilisers(hurdles, property_value("abv_percent", contents, volume_l) or 0.0)
    if intended.storage_temperature_c is not None and intended.storage_temperature_c > _WARM_C:
        yield Caution(
            "warm_storage",
            "note",
            f"Storage at {intended.storage_temperature_c:.0f} °C raises pressure and speeds spoilage.",
            OUR_DEFAULT,
        )


def _holds(hurdles: set[str]) -> bool:
    """Whether a hurdle that can hold yeast was stated: heat, filtration, or sulfite and sorbate together."""
    return bool(hurdles & {"pasteurised", "sterile_filtered"}) or {"sulfite", "sorbate"} <= hurdles


def _assumed_sugar(materials: Sequence[Material], masses_g: Sequence[float], volume_l: float) -> tuple[float, float]:
    """Residual sugar of lots that was assumed, not measured, and its spread [g per litre of blend]."""
    sugar = spread = 0.0
    for material, mass in zip(materials, masses_g, strict=True):
        asked = material.source
        if isinstance(asked, LotAsked) and asked.lot.residual_sugar_sd_g_per_l is not None:
            # what is far above a dry ferment's is no assumption but a reading of the gravity
            per_l = asked.lot.contents.tally("fermentable_g") / asked.lot.volume_l
            share = mass / asked.lot.contents.mass_g * asked.lot.volume_l / volume_l
            sugar += min(per_l, asked.lot.residual_sugar_sd_g_per_l) * share
            spread += asked.lot.residual_sugar_sd_g_per_l * share
    return sugar, spread


def _sweetens_a_ferment(materials: Sequence[Material], masses_g: Sequence[float]) -> bool:
    poured = [(m, g) for m, g in zip(materials, masses_g, strict=True) if g > 0.0]
    ferment = any(isinstance(m.source, LotAsked) and m.source.lot.lot_class in DRY_EXTRACT for m, _ in poured)
    added = sum(g * m.per_g.tally("fermentable_g") for m, g in poured if m.kind == "addition")
    return ferment and added > _NOTICEABLE_SUGAR_G


def _sugar_and_hurdles(sugar: float, hurdles: set[str], container: str | None) -> Caution:
    """What stands between this sugar and a burst container."""
    sealed = container in SEALED
    if not hurdles:
        where = f"sealed in a {container}" if sealed else "if it is ever sealed"
        return Caution(
            "refermentable_sugar_no_hurdle",
            "stop" if sealed else "warning",
            f"{sugar:.0f} g/L of sugar that yeast can use, {where}, with no hurdle stated: it can referment "
            "and burst the container. Stabilise or pasteurise first.",
            OUR_DEFAULT,
        )
    if not _holds(hurdles):
        return Caution(
            "hurdle_does_not_hold",
            "stop" if sealed else "warning",
            f"{sugar:.0f} g/L of fermentable sugar behind {' and '.join(sorted(hurdles))} only, which does not "
            "hold yeast: a sealed container can burst. Pasteurise it, or ask for a stabilising plan.",
            PRACTICE,
        )
    return Caution(
        "hurdle_is_not_proof",
        "warning",
        f"{sugar:.0f} g/L of fermentable sugar rests on {' and '.join(sorted(hurdles))}, which this service has "
        "not checked. Watch gravity and pressure of a test sample before sharing any.",
        PRACTICE,
    )


def _stabilisers(hurdles: set[str], abv_percent: float) -> Iterator[Caution]:
    if "sulfite" in hurdles:
        yield Caution(
            "sulfite_sensitivity",
            "note",
            "Sulfite: about 5 % of people with asthma react, some severely. Say so to whoever drinks it.",
            "fda_consumer_1996",
        )
    if "sorbate" not in hurdles:
        return
    if "sulfite" not in hurdles:
        yield Caution(
            "sorbate_without_sulfite",
            "stop",
            "Sorbate without sulfite: lactic bacteria can turn it into a geranium taint that nothing removes.",
            "oxford_companion",
        )
    if abv_percent < _TABLE_STARTS_ABV_PERCENT:
        yield Caution(
            "sorbate_outside_published_table",
            "warning",
            f"Published sorbate doses start at 10 % vol; this drink has {abv_percent:.1f}. "
            "The legal maximum may not hold it: prefer pasteurising, sterile filtration or dryness.",
            "underhill",
        )
