"""What yeast needs in nitrogen, and how it is fed: two portions inside the first third of the sugar."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal

from service.catalogue.records import Category
from service.chemistry.nitrogen import (
    AUTOLYSED_YEAST_NITROGEN_SHARE,
    DEMAND_MG_N_PER_G,
    EU_DIAMMONIUM_PHOSPHATE_LIMIT_G_PER_L,
    EXCESS_MG_N_PER_L,
    HONEY_MUST_YAN_MG_N_PER_L,
    MEASURED_OPTIMUM_MG_N_PER_G,
    SALTS,
    US_PHOSPHATE_LIMIT_G_PER_L,
    nitrogen_needed_mg_per_l,
    nutrient_g,
)
from service.model.lot_class import Assumed
from service.planner.asked import AdditionAsked, Circumstances
from service.planner.materials import Material
from service.planner.must.answers import Feed, Nitrogen, NutrientDose, NutrientLimit
from service.planner.must.asked import NitrogenAsked, NitrogenSource
from service.quantities import mass_text

STAGES: Final[tuple[Literal["end of lag"], Literal["before one third of the sugar is gone"]]] = (
    "end of lag",
    "before one third of the sugar is gone",
)
FINE_STEP_G: Final = 0.1
"""Small things are weighed on a small scale: a tenth of a gram unless the caller's own is finer (our default)."""

_LEAST_MG_PER_L = 0.5
_HOW = {
    "end of lag": "Once it ferments visibly, dissolved in a little of the must; never on dry yeast while it takes up "
    "water; pour slowly, it foams.",
    "before one third of the sugar is gone": "While the gravity is still above the figure; later ammonium is taken up "
    "worse, and what is left feeds a second ferment.",
}


def usual_sources() -> tuple[NitrogenSource, ...]:
    """Diammonium phosphate alone, where nobody named a source."""
    salt = SALTS["diammonium phosphate"]
    return (NitrogenSource(salt.name, salt.nitrogen_share, True, salt.mark),)


def yan_of_must(materials: Sequence[Material], masses_g: Sequence[float], volume_l: float) -> tuple[float, Assumed]:
    """Nitrogen of a must that nobody measured [mg/L]: that of juices by their rows, none of honey, the careful side."""
    held = 0.0
    for material, mass in zip(materials, masses_g, strict=True):
        assert isinstance(material.source, AdditionAsked)
        ingredient = material.source.ingredient
        if ingredient.category in (Category.JUICE, Category.CONCENTRATE):
            held += mass / 1000.0 * (ingredient.minerals.yan_mg_n_per_kg or 0.0)
    value = held / volume_l
    low, high = HONEY_MUST_YAN_MG_N_PER_L
    juice = ", juices by their rows (from memory)" if value > 0.0 else ""
    return value, Assumed(
        "nitrogen of the must",
        f"{value:.0f} mg/L",
        f"honey brings {low:g} to {high:g} mg/L that yeast can use; none counted{juice} (our default)",
        "a test of yeast assimilable nitrogen: nitrogen.must_yan_mg_n_per_l",
    )


def nitrogen_of(
    asked: NitrogenAsked, sugar_g_per_l: float, yan_mg_per_l: float, volume_l: float, circumstances: Circumstances
) -> Nitrogen:
    """What the yeast needs and how much of each source meets it.

    Sources with a given amount bring what they bring; the rest of the need is shared equally, by nitrogen, among the
    others.

    Parameters: asked; sugar_g_per_l, fermentable [g/L]; yan_mg_per_l of the must [mg N/L]; volume_l of the must [L];
        circumstances, for the scale and the units.
    Returns: Nitrogen.
    """
    need = nitrogen_needed_mg_per_l(asked.demand_mg_n_per_g, sugar_g_per_l, yan_mg_per_l)
    fixed = {s.name: 1000.0 * s.amount_g * s.nitrogen_share / volume_l for s in asked.sources if s.amount_g is not None}
    free = [s for s in asked.sources if s.amount_g is None]
    each = max(need - sum(fixed.values()), 0.0) / len(free) if free else 0.0
    each = each if each >= _LEAST_MG_PER_L else 0.0
    doses = []
    for source in asked.sources:
        brings = fixed.get(source.name, each)
        mass = nutrient_g(brings, volume_l, source.nitrogen_share) if source.amount_g is None else source.amount_g
        if mass <= 0.0:
            continue
        doses.append(
            NutrientDose(
                source.name,
                round(100.0 * source.nitrogen_share, 3),
                round(mass, 4),
                weighed(mass, circumstances),
                round(mass / volume_l, 5),
                round(brings, 2),
                source.phosphate,
                source.mark,
            )
        )
    added = sum(dose.nitrogen_mg_per_l for dose in doses)
    beyond = yan_mg_per_l + added - asked.demand_mg_n_per_g * sugar_g_per_l
    return Nitrogen(
        asked.demand,
        asked.demand_mg_n_per_g,
        round(sugar_g_per_l, 2),
        round(yan_mg_per_l, 2),
        round(need, 2),
        round(nitrogen_needed_mg_per_l(MEASURED_OPTIMUM_MG_N_PER_G[0], sugar_g_per_l, yan_mg_per_l), 2),
        round(nitrogen_needed_mg_per_l(DEMAND_MG_N_PER_G["high"], sugar_g_per_l, yan_mg_per_l), 2),
        round(need * volume_l / 1000.0, 4),
        round(added, 2),
        tuple(doses),
        _limits(doses),
        round(max(beyond, 0.0), 2) if beyond > _LEAST_MG_PER_L else 0.0,
        _text(asked, need, added, yan_mg_per_l, doses) + _instead(doses, volume_l, circumstances),
    )


def too_much(nitrogen: Nitrogen) -> bool:
    """Whether more nitrogen is there than the need by so much that it stays in the drink."""
    return nitrogen.excess_mg_per_l > EXCESS_MG_N_PER_L


def _text(asked: NitrogenAsked, need: float, added: float, yan: float, doses: Sequence[NutrientDose]) -> str:
    if need <= 0.0:
        return f"The must holds {yan:.0f} mg/L of nitrogen, as much as the yeast asks for: add none."
    said = f"The yeast lacks {need:.0f} mg/L of nitrogen ({asked.demand_mg_n_per_g:g} mg per gram of sugar)"
    if not doses:
        return f"{said}; too little to weigh."
    what = " and ".join(f"{dose.amount_text} of {dose.name}" for dose in doses)
    short = f", {need - added:.0f} mg/L short of it" if added < need - 1.0 else ""
    return f"{said}: {what} bring {added:.0f} mg/L{short}. More than it needs does not end a ferment sooner."


def _instead(doses: Sequence[NutrientDose], volume_l: float, circumstances: Circumstances) -> str:
    """What to take in the place of phosphates beyond their limit."""
    ours = sum(dose.g_per_l for dose in doses if dose.phosphate is not False)
    beyond = ours - US_PHOSPHATE_LIMIT_G_PER_L
    if beyond <= 0.0:
        return ""
    brings = sum(dose.nitrogen_mg_per_l for dose in doses if dose.phosphate is not False) * beyond / ours
    yeast = nutrient_g(brings, volume_l, AUTOLYSED_YEAST_NITROGEN_SHARE)
    return (
        f" The limit is reached with {weighed(US_PHOSPHATE_LIMIT_G_PER_L * volume_l, circumstances)} of phosphates; "
        f"{weighed(yeast, circumstances)} of autolysed yeast of 4.5 % nitrogen would bring the rest."
    )


def weighed(mass_g: float, circumstances: Circumstances) -> str:
    """A small mass in the caller's units, grams beside ounces."""
    step = min(circumstances.instruments.scale_step_g, FINE_STEP_G)
    words = mass_text(mass_g, circumstances.system, step)
    return words if circumstances.system == "metric" else f"{words} ({mass_text(mass_g, 'metric', step)})"


def _limits(doses: Sequence[NutrientDose]) -> tuple[NutrientLimit, ...]:
    """Limits on phosphates; of a source that nobody says the kind of, the careful side: it counts."""
    ours = sum(dose.g_per_l for dose in doses if dose.phosphate is not False)
    return tuple(
        NutrientLimit(what, round(limit, 4), round(ours, 5), ours > limit * (1.0 + 1e-9), text, edition, mark, key)
        for what, limit, text, edition, mark, key in (
            (
                "ammonium phosphates",
                US_PHOSPHATE_LIMIT_G_PER_L,
                "27 CFR 24.246: mono- and diammonium phosphate, 8 lb in 1000 gal",
                "2015 annual edition; check the current text",
                "published",
                "cfr27_24_246",
            ),
            (
                "diammonium phosphate, EU and OIV",
                EU_DIAMMONIUM_PHOSPHATE_LIMIT_G_PER_L,
                "EU and OIV practice: 1 g/L",
                "from memory, unverified; check the current text",
                "memory",
                "memory_handbook",
            ),
        )
    )


def feeds_of(
    nitrogen: Nitrogen, sugar_break: float, original_gravity: float, circumstances: Circumstances
) -> tuple[Feed, ...]:
    """Half of each source at the end of the lag, half before a third of the sugar is gone (common practice)."""
    found = []
    for stage in STAGES:
        for dose in nitrogen.doses:
            half = dose.mass_g / len(STAGES)
            found.append(
                Feed(
                    stage,
                    round(min(sugar_break, original_gravity), 4),
                    dose.name,
                    round(half, 4),
                    weighed(half, circumstances),
                    round(dose.nitrogen_mg_per_l / len(STAGES), 2),
                    _HOW[stage],
                )
            )
    return tuple(found)
