"""What drops a citrus haze, wanted or not, and whether it is at work in this drink.

The cloud of citrus is lost where the juice's own pectin methylesterase leaves pectin of low ester content, which
calcium precipitates; pasteurised concentrate has lost the enzyme, pressed juice has not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from service.catalogue.fining import AgentName
from service.planner.answers import PRACTICE
from service.planner.drink import Drink
from service.planner.fining.answers import HazeDropper, HazeSource, Presence
from service.planner.fining.asked import FiningAsked
from service.planner.fining.haze import Part
from service.planner.plain_words import capital

CALCIUM_MG_PER_L: Final = 100.0
"""Calcium at which pectin with 25 % of its groups esterified flocculated in a model system; 30 % at 200 mg/L (Galant et
al. 2014, abstract)."""

WARM_STAND_C: Final = 20.0
"""Above this a long stand counts as warm (our default)."""

STUDY_PH: Final = 4.0
_NEAR_PH: Final = 0.5
_TAP: Final = "water_tap"
_CHALK: Final = "calcium_carbonate"
_ORDER: Final[tuple[Presence, ...]] = ("yes", "possible", "unknown", "no")


@dataclass(frozen=True, slots=True)
class Enzyme:
    """Whether the enzyme of raw citrus is in the drink, and from what."""

    present: Presence
    names: tuple[str, ...]
    raw: bool


def enzyme_of(drink: Drink, parts: Sequence[Part]) -> Enzyme:
    """Whether citrus that was never heated enough is in a drink.

    Concentrates count as heated when they were made (common practice, no source). Juice that was pasteurised at home
    may keep the enzyme, which takes about 90 °C (from memory, unverified), and so may filtered juice.

    Parameters: drink; parts of it.
    Returns: Enzyme.
    """
    found: list[tuple[Presence, str]] = []
    for part in parts:
        if not part.citrus:
            continue
        if part.treatment == "raw":
            found.append(("yes", part.said))
        elif part.fresh:
            found.append(("possible", part.said))
    if not found:
        told = any(part.citrus for part in parts)
        citrus = drink.citrus_percent
        open_question = not told and ((citrus or 0.0) > 0.0 or (not parts and citrus is None))
        return Enzyme("unknown" if open_question else "no", (), raw=False)
    best = min((presence for presence, _ in found), key=_ORDER.index)
    return Enzyme(best, tuple(name for _, name in found), raw=best == "yes")


@dataclass(frozen=True, slots=True)
class Calcium:
    """Calcium of a drink [mg/L], at most, as far as it is known, and whether chalk went in."""

    mg_per_l: float | None
    chalk: bool
    of_water: bool


def calcium_of(asked: FiningAsked, parts: Sequence[Part]) -> Calcium:
    """Calcium of what is known to be in a drink; the water counts as if the whole drink were made of it.

    Parameters: asked; parts of the drink.
    Returns: Calcium.
    """
    water = asked.water_calcium_mg_per_l
    total, known, chalk = 0.0, False, False
    for part in parts:
        ingredient = part.ingredient
        if ingredient is None:
            continue
        chalk = chalk or ingredient.id == _CHALK
        calcium = ingredient.minerals.calcium_mg_per_100g
        if calcium is None or part.g_per_l is None or (ingredient.id == _TAP and water is not None):
            continue
        known = True
        total += calcium / 100.0 * part.g_per_l
    if water is not None:
        return Calcium(total + water, chalk, of_water=True)
    return Calcium(total if known else None, chalk, of_water=False)


def calcium_presence(calcium: Calcium, enzyme: Enzyme) -> Presence:
    """Whether calcium can drop the cloud: chalk does, dissolved calcium where the enzyme has been at work."""
    if calcium.chalk:
        return "yes"
    if calcium.mg_per_l is None:
        return "unknown"
    if calcium.mg_per_l < CALCIUM_MG_PER_L:
        return "no"
    return "possible" if enzyme.present != "no" else "no"


def droppers(
    asked: FiningAsked,
    enzyme: Enzyme,
    calcium: Calcium,
    sources: Sequence[HazeSource],
    proposed: Sequence[AgentName],
) -> tuple[HazeDropper, ...]:
    """What drops the haze.

    Parameters: asked; enzyme and calcium of the drink; sources of haze; proposed agents.
    Returns: one record for each.
    """
    return tuple(_droppers(asked, enzyme, calcium, sources, proposed))


def _droppers(
    asked: FiningAsked,
    enzyme: Enzyme,
    calcium: Calcium,
    sources: Sequence[HazeSource],
    proposed: Sequence[AgentName],
) -> Iterator[HazeDropper]:
    keep = asked.haze == "keep"
    used = asked.pectinase_used
    present: Presence = "unknown" if used is None else "yes" if used else "no"
    if used is None and "pectinase" in proposed:
        present = "yes"
    yield HazeDropper(
        "pectinase",
        present,
        None,
        "",
        "It breaks pectin down for good, and goes on in all juice that is added later.",
        "Use none, and ask what was in the must." if keep else "Use it against a pectin haze only; it is irreversible.",
        PRACTICE,
    )
    yield _own_enzyme(asked, enzyme, keep=keep)
    yield _calcium(calcium, enzyme, keep=keep)
    yield HazeDropper(
        "bentonite",
        "yes" if "bentonite" in proposed else "no",
        None,
        "",
        "It takes the protein that is part of the cloud; "
        f"{'it is proposed here' if 'bentonite' in proposed else 'none is proposed here'}.",
        "Use none." if keep else "Of use against a chill haze.",
        PRACTICE,
    )
    stored = asked.circumstances.intended.storage_temperature_c
    warm: Presence = "unknown" if stored is None else "yes" if stored > WARM_STAND_C else "no"
    yield HazeDropper(
        "warm_stand",
        warm,
        stored,
        "" if stored is None else "°C",
        f"Warmth speeds the enzyme and the settling; above {WARM_STAND_C:g} °C counts as warm (our default).",
        "Keep it cold." if keep else "A warm stand alone is no way to clear: it spoils and referments too.",
        "ellerbee",
    )
    hurdles = asked.circumstances.intended.hurdles
    yield HazeDropper(
        "sterile_filtration",
        "yes" if "sterile_filtered" in hurdles else "no" if hurdles else "unknown",
        None,
        "",
        "A filter that holds yeast holds the cloud too: the two wishes exclude each other.",
        "Take heat or salts as the hurdle." if keep else "It polishes what fining has cleared.",
        PRACTICE,
    )
    pulp = next(source for source in sources if source.what == "pulp")
    yield HazeDropper(
        "settling",
        pulp.present,
        None,
        "",
        "Pulp settles by itself within days, with part of what looks like haze; it is no loss of the fine cloud.",
        "Rack it off before packaging, or have whoever pours turn the bottle over once."
        if keep
        else "Let it: stand it cold for two or three days and rack, then see what is left.",
        PRACTICE,
    )


def _own_enzyme(asked: FiningAsked, enzyme: Enzyme, *, keep: bool) -> HazeDropper:
    ph = asked.drink.ph
    names = capital(", ".join(enzyme.names))
    why = {
        "yes": f"{names} is raw.",
        "possible": f"{names}: not shown to have been heated enough; home pasteurising at 60 to 70 °C does not stop it "
        "reliably, about 90 °C does (from memory, unverified).",
        "unknown": "Nothing says which citrus is in it, or how it was treated.",
        "no": "No citrus that could hold it is known to be in this drink; concentrate was heated when it was made.",
    }[enzyme.present]
    near = ""
    if ph is not None and enzyme.present != "no":
        near = (
            f" pH {ph.value:.2f} is near the 4.0 of a study in which juice cleared unless its calcium was bound."
            if ph.low - _NEAR_PH <= STUDY_PH <= ph.high + _NEAR_PH
            else f" The study that saw it clear had pH 4.0; nothing on file says what {ph.value:.2f} does."
        )
    do = "Take pasteurised concentrate instead of pressed juice, or heat the juice through."
    return HazeDropper(
        "own_enzyme_of_raw_citrus",
        enzyme.present,
        None if ph is None else round(ph.value, 2),
        "" if ph is None else "pH",
        "Pectin methylesterase of the fruit itself leaves pectin that calcium precipitates: the cloud falls by itself, "
        f"in weeks. {why}{near}",
        do if keep else "It may clear a raw citrus drink by itself; no date can be told.",
        "ellerbee",
    )


def _calcium(calcium: Calcium, enzyme: Enzyme, *, keep: bool) -> HazeDropper:
    said = "Calcium flocculates pectin of low ester content: 25 % esterified at 100 mg/L, 30 % at 200 (model system)."
    if calcium.chalk:
        said += " Chalk is in this drink: it clears or clots citrus."
    elif calcium.mg_per_l is None:
        said += " How much is in this drink is not known."
    else:
        said += f" About {calcium.mg_per_l:.0f} mg/L here, {_of(calcium)}."
        if calcium.mg_per_l >= CALCIUM_MG_PER_L and enzyme.present == "no":
            said += " Pectin as it is in heated concentrate is about 75 % esterified and stays."
    return HazeDropper(
        "calcium",
        calcium_presence(calcium, enzyme),
        None if calcium.mg_per_l is None else round(calcium.mg_per_l, 1),
        "" if calcium.mg_per_l is None else "mg/L",
        said,
        "Use soft water, and potassium bicarbonate instead of chalk against acid." if keep else "No way to clear.",
        "galant_2014",
    )


def _of(calcium: Calcium) -> str:
    if calcium.of_water:
        return "the water counted as if the whole drink were made of it"
    return "from the ingredients alone, without what the base holds"
