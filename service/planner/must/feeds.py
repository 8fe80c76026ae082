"""What yeast needs in nitrogen, and how it is fed: in portions inside the first third of the sugar.

Phosphates are proposed up to their limit and no further; what is then lacking other sources bring, or it is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import floor, log10
from typing import Final

from service.catalogue.records import Category
from service.chemistry.nitrogen import (
    AUTOLYSED_YEAST_NITROGEN_SHARE,
    DEMAND_MG_N_PER_G,
    EU_DIAMMONIUM_PHOSPHATE_LIMIT_G_PER_L,
    EXCESS_MG_N_PER_L,
    HONEY_MUST_YAN_MG_N_PER_L,
    MEASURED_OPTIMUM_MG_N_PER_G,
    PHOSPHATE_CAP_G_PER_L,
    SALTS,
    US_PHOSPHATE_LIMIT_G_PER_L,
    nitrogen_needed_mg_per_l,
    nutrient_g,
)
from service.model.lot_class import Assumed
from service.planner.asked import AdditionAsked, Circumstances
from service.planner.materials import Material
from service.planner.must.answers import Feed, Nitrogen, NutrientDose, NutrientLimit, Stage
from service.planner.must.asked import NitrogenAsked, NitrogenSource
from service.quantities import mass_text

STAGES: Final[tuple[Stage, ...]] = ("end of lag", "before one third of the sugar is gone")
"""When a light must is fed (common practice, no source)."""

STRONG_STAGES: Final[tuple[Stage, ...]] = (
    "end of lag",
    "a day after the first feed",
    "two days after the first feed",
    "before one third of the sugar is gone",
)
"""When a strong one is: more and smaller portions (common practice, no source)."""

STRONG_GRAVITY: Final = 1.110
"""Above this sugar itself slows yeast, and two feeds are few (judged)."""

FINE_STEP_G: Final = 0.1
"""Small things are weighed on a small scale: a tenth of a gram unless the caller's own is finer (our default)."""

_LEAST_MG_PER_L = 0.5
_LITTLE_MG_PER_L = 5.0
_WHILE = "While the gravity is still above the figure; stir the gas out first and pour slowly, it foams."
_HOW: Final[dict[Stage, str]] = {
    "end of lag": "Once it ferments visibly, dissolved in a little of the must; never on dry yeast while it takes up "
    "water; pour slowly, it foams.",
    "a day after the first feed": _WHILE,
    "two days after the first feed": _WHILE,
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
        "a test of yeast assimilable nitrogen",
    )


def nitrogen_of(
    asked: NitrogenAsked, sugar_g_per_l: float, yan_mg_per_l: float, volume_l: float, circumstances: Circumstances
) -> Nitrogen:
    """What the yeast needs and how much of each source meets it.

    Sources with a given amount bring what they bring; the rest of the need is shared equally, by nitrogen, among the
    others: phosphates up to their limit, beyond it those that are none.

    Parameters: asked; sugar_g_per_l, fermentable [g/L]; yan_mg_per_l of the must [mg N/L]; volume_l of the must [L];
        circumstances, for the scale and the units.
    Returns: Nitrogen.
    """
    need = nitrogen_needed_mg_per_l(asked.demand_mg_n_per_g, sugar_g_per_l, yan_mg_per_l)
    shares, held = _shares(asked.sources, need, volume_l)
    doses, phosphates = [], 0.0
    for source, brings in zip(asked.sources, shares, strict=True):
        mass = nutrient_g(brings, volume_l, source.nitrogen_share) if source.amount_g is None else source.amount_g
        if mass <= 0.0:
            continue
        at_limit = held and source.amount_g is None and source.phosphate is not False
        phosphates += 0.0 if source.phosphate is False else mass / volume_l
        doses.append(
            NutrientDose(
                source.name,
                round(100.0 * source.nitrogen_share, 3),
                round(mass, 4),
                weighed(mass, circumstances, at_most=at_limit),
                round(mass / volume_l, 5),
                round(brings, 2),
                source.phosphate,
                source.mark,
                at_limit,
            )
        )
    added = sum(dose.nitrogen_mg_per_l for dose in doses)
    short = need - added if need - added >= _LEAST_MG_PER_L else 0.0
    limits = _limits(phosphates)
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
        round(short, 2),
        tuple(doses),
        limits,
        round(max(beyond, 0.0), 2) if beyond > _LEAST_MG_PER_L else 0.0,
        _text(asked, need, added, yan_mg_per_l, doses)
        + _of_the_limit(doses, limits, short, volume_l, circumstances, held=held),
    )


def _shares(sources: Sequence[NitrogenSource], need: float, volume_l: float) -> tuple[list[float], bool]:
    """What nitrogen each source brings [mg/L], and whether phosphates are held at their limit."""
    fixed = {s.name: 1000.0 * s.amount_g * s.nitrogen_share / volume_l for s in sources if s.amount_g is not None}
    free = [s for s in sources if s.amount_g is None]
    salts = [s for s in free if s.phosphate is not False]
    rest = max(need - sum(fixed.values()), 0.0)
    each = rest / len(free) if free and rest / len(free) >= _LEAST_MG_PER_L else 0.0
    there = sum(s.amount_g / volume_l for s in sources if s.amount_g is not None and s.phosphate is not False)
    room, would = max(PHOSPHATE_CAP_G_PER_L - there, 0.0), sum(each / (1000.0 * s.nitrogen_share) for s in salts)
    if would <= room:
        return [fixed.get(s.name, each) for s in sources], False
    salt = each * room / would
    others = len(free) - len(salts)
    other = (rest - salt * len(salts)) / others if others else 0.0
    return [fixed.get(s.name, other if s.phosphate is False else salt) for s in sources], True


def left_out(nitrogen: Nitrogen) -> tuple[NutrientDose, ...]:
    """Phosphates whose given amounts are above a limit: the feeds leave them out."""
    if not any(limit.exceeded for limit in nitrogen.limits):
        return ()
    return tuple(dose for dose in nitrogen.doses if dose.phosphate is not False)


def yeast_nutrient_g_per_l(nitrogen_mg_per_l: float) -> float:
    """Autolysed yeast that brings so much nitrogen [g/L]."""
    return nutrient_g(nitrogen_mg_per_l, 1.0, AUTOLYSED_YEAST_NITROGEN_SHARE)


def too_much(nitrogen: Nitrogen) -> bool:
    """Whether more nitrogen is there than the need by so much that it stays in the drink."""
    return nitrogen.excess_mg_per_l > EXCESS_MG_N_PER_L


def _text(asked: NitrogenAsked, need: float, added: float, yan: float, doses: Sequence[NutrientDose]) -> str:
    if need <= 0.0:
        return f"The must holds {yan:.0f} mg/L of nitrogen, no less than the yeast asks for: add none."
    said = f"The yeast lacks {need:.0f} mg/L of nitrogen ({asked.demand_mg_n_per_g:g} mg per gram of sugar)"
    if not doses:
        return f"{said}; too little to weigh." if need < _LITTLE_MG_PER_L else f"{said}, and no source brings it."
    what = " and ".join(f"{dose.amount_text} of {dose.name}" for dose in doses)
    short = f", {need - added:.0f} mg/L short of it" if added < need - 1.0 else ""
    return f"{said}: {what} bring {added:.0f} mg/L{short}. More than it needs does not end a ferment sooner."


def _of_the_limit(
    doses: Sequence[NutrientDose],
    limits: Sequence[NutrientLimit],
    short: float,
    volume_l: float,
    circumstances: Circumstances,
    *,
    held: bool,
) -> str:
    """What the limit on phosphates does to the plan, and what brings the rest."""
    text = ""
    if any(limit.exceeded for limit in limits):
        most = weighed(PHOSPHATE_CAP_G_PER_L * volume_l, circumstances, at_most=True)
        text = f" The limit of phosphates is reached with {most}: what was given is more, and no feed holds it."
    elif held:
        text = f" Phosphates stop at their limit of {PHOSPHATE_CAP_G_PER_L:.2f} g/L."
        if any(dose.phosphate is False for dose in doses) and short <= 0.0:
            text += " What they cannot bring comes from yeast matter."
    if short > 0.0:
        yeast = weighed(yeast_nutrient_g_per_l(short) * volume_l, circumstances)
        text += f" {yeast} of a yeast nutrient of 4.5 % nitrogen would bring the rest: name it as a source."
    return text


def weighed(mass_g: float, circumstances: Circumstances, *, at_most: bool = False) -> str:
    """A small mass in the caller's units, grams beside ounces; rounded down where it must not be more.

    Where the scale would show nothing it is told in two digits.
    """
    step = min(circumstances.instruments.scale_step_g, FINE_STEP_G)
    if 0.0 < mass_g < (step if at_most else 0.5 * step):
        digit = 10.0 ** (floor(log10(mass_g)) - 1)
        return f"{digit * (floor(mass_g / digit) if at_most else round(mass_g / digit)):.2g} g"
    if at_most:
        mass_g = step * floor(mass_g / step * (1.0 + 1e-9))
    words, metric = mass_text(mass_g, circumstances.system, step), mass_text(mass_g, "metric", step)
    return metric if circumstances.system == "metric" or words == "0 oz" else f"{words} ({metric})"


def _limits(ours: float) -> tuple[NutrientLimit, ...]:
    """Limits on phosphates [g/L]; of a source that nobody says the kind of, the careful side: it counts."""
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
    nitrogen: Nitrogen, sugar_break: float, original_gravity: float, circumstances: Circumstances, *, strong: bool
) -> tuple[Feed, ...]:
    """Each source in equal portions, from the end of the lag until a third of the sugar is gone (common practice).

    Parameters: nitrogen; sugar_break, the gravity when a third of the sugar is gone; original_gravity; circumstances;
        strong, whether the must is so strong that portions are more and smaller.
    Returns: feeds; none of what is above its limit.
    """
    found = []
    stages, none_of = STRONG_STAGES if strong else STAGES, left_out(nitrogen)
    for stage in stages:
        for dose in nitrogen.doses:
            if dose in none_of:
                continue
            part = dose.mass_g / len(stages)
            found.append(
                Feed(
                    stage,
                    round(min(sugar_break, original_gravity), 4),
                    dose.name,
                    round(part, 4),
                    weighed(part, circumstances, at_most=dose.at_limit),
                    round(dose.nitrogen_mg_per_l / len(stages), 2),
                    _HOW[stage],
                )
            )
    return tuple(found)
