"""Cautions of a fining plan: what works against the wish, what people must know, what can hurt.

Each at most thirty words, with the key of its source. Nothing here ever says that a drink is harmless.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from service.catalogue.fining import US_EDITION, HazeKind
from service.model.lot_class import JUICE_ROW
from service.planner.answers import ALCOHOL, OUR_DEFAULT, PRACTICE, Caution
from service.planner.cautions import juice_and_spirit_cautions, raw_juice, sorted_once
from service.planner.drink import Span, fermented
from service.planner.fining.answers import HazeDropper, HazeSource
from service.planner.fining.asked import FiningAsked
from service.planner.fining.choice import Judged, proposed, usable
from service.planner.fining.dropping import WARM_STAND_C, Enzyme
from service.planner.fining.haze import Part
from service.planner.plain_words import capital
from service.planner.refermentation import FERMENTABLE_LIMIT_G_PER_L, SEALED

_PERCENT: Final = 100.0
_AT_WORK: Final = ("yes", "possible")


def cautions_of(
    asked: FiningAsked,
    problems: Sequence[HazeKind],
    judged: Sequence[Judged],
    parts: Sequence[Part],
    enzyme: Enzyme,
    sources: Sequence[HazeSource],
    dropping: Sequence[HazeDropper],
    volume_l: Span,
    water_percent: float,
) -> tuple[Caution, ...]:
    """All cautions of one plan, `stop` first."""
    chosen = proposed(judged)
    found: list[Caution] = [
        *(_keeping(asked, enzyme, dropping) if asked.haze == "keep" else _clearing(asked, problems, chosen, sources)),
        *_vessel(asked, volume_l),
        *_sugar(asked),
        *_of_agents(asked, problems, judged, chosen, water_percent),
        *_of_parts(asked, parts),
    ]
    if chosen:
        found.append(
            Caution(
                "bench_trial_first",
                "note",
                "The ranges are for trying in glasses: take the least that does it. Too much strips flavour, or leaves "
                "the agent itself as haze.",
                PRACTICE,
            )
        )
    if not problems and asked.observations.spirit_test_strings is None:
        found.append(
            Caution(
                "spirit_burns",
                "warning",
                "Spirit of 95 % burns: no flame near the test for pectin. Do not drink what was tested.",
                PRACTICE,
            )
        )
    if asked.drink.abv_percent.high > 0.0:
        found.append(ALCOHOL)
    found.append(
        Caution(
            "estimate",
            "note",
            "Estimates from tables of composition and of the trade: verify in glasses; follow local law and licensed "
            "practice.",
            OUR_DEFAULT,
        )
    )
    return sorted_once(found)


def _keeping(asked: FiningAsked, enzyme: Enzyme, dropping: Sequence[HazeDropper]) -> Iterator[Caution]:
    present = {dropper.what: dropper.present for dropper in dropping}
    if present["sterile_filtration"] == "yes":
        yield Caution(
            "filtration_takes_the_haze",
            "stop",
            "A haze is to stay and sterile filtration is planned: a filter that holds yeast holds the cloud. Give one "
            "of them up.",
            PRACTICE,
        )
    if enzyme.present in _AT_WORK:
        names = " and ".join(enzyme.names[:2])
        yield Caution(
            "raw_citrus_may_lose_its_haze",
            "warning",
            f"{capital(names)}: {'raw' if enzyme.raw else 'perhaps not heated enough'}; its own enzyme can drop the "
            "haze within weeks. Pasteurised concentrate keeps it better.",
            "ellerbee",
        )
    if present["calcium"] in _AT_WORK:
        yield Caution(
            "calcium_drops_citrus_haze",
            "warning",
            "Calcium precipitates citrus pectin that its enzyme has worked on: use soft water, and potassium "
            "bicarbonate instead of chalk.",
            "galant_2014",
        )
    if asked.pectinase_used:
        yield Caution(
            "pectinase_clears_for_good",
            "warning",
            "A pectinase was used: what is left of it clears juice added later too; nothing brings the haze back.",
            PRACTICE,
        )
    if present["warm_stand"] == "yes":
        yield Caution(
            "warm_stand_drops_haze",
            "note",
            f"Kept above {WARM_STAND_C:g} °C a citrus haze drops sooner: store it cold.",
            OUR_DEFAULT,
        )


def _clearing(
    asked: FiningAsked, problems: Sequence[HazeKind], chosen: Sequence[Judged], sources: Sequence[HazeSource]
) -> Iterator[Caution]:
    ids = {j.agent.id for j in chosen}
    if "pectinase" in ids:
        yield Caution(
            "pectinase_is_irreversible",
            "warning",
            "Pectinase destroys pectin for good, and that of juice added later: use it only if this drink may never be "
            "hazy again.",
            PRACTICE,
        )
    pectin = next(source for source in sources if source.what == "pectin")
    if "gelatin" in ids and "pectinase" not in ids and pectin.present in _AT_WORK and not asked.pectinase_used:
        yield Caution(
            "gelatin_leaves_pectin_haze",
            "note",
            "Gelatin takes pulp down and leaves a pectin haze: if it stays cloudy, do the spirit test before dosing "
            "again.",
            PRACTICE,
        )
    if "protein" in problems:
        yield Caution(
            "chill_haze_shows_only_cold",
            "note",
            "A protein haze shows only in the cold: judge glasses and batch cold, or it comes back there.",
            PRACTICE,
        )
    if "yeast" in problems and fermented(asked.drink):
        yield Caution(
            "let_the_ferment_end_first",
            "warning",
            "Yeast that still works stays up, and gas lifts what was fined: two equal gravities days apart first.",
            PRACTICE,
        )


def _vessel(asked: FiningAsked, volume_l: Span) -> Iterator[Caution]:
    vessel = asked.circumstances.intended.vessel_l
    if vessel is None:
        return
    if volume_l.value > vessel:
        yield Caution(
            "vessel_too_small",
            "stop",
            f"{volume_l.value:.4g} L do not fit into a vessel of {vessel:.4g} L: check both.",
            "arithmetic",
        )
    elif volume_l.high > vessel:
        yield Caution(
            "vessel_may_be_too_small",
            "warning",
            f"By the error of the volume it may be {volume_l.high:.4g} L, and the vessel holds {vessel:.4g} L.",
            "arithmetic",
        )


def _sugar(asked: FiningAsked) -> Iterator[Caution]:
    """Whether sugar is left to ferment, by the upper end of its interval."""
    most = asked.drink.fermentable_sugar_g_per_l.high
    intended = asked.circumstances.intended
    hurdles = set(intended.hurdles)
    held = bool(hurdles & {"pasteurised", "sterile_filtered"}) or {"sulfite", "sorbate"} <= hurdles
    if most <= FERMENTABLE_LIMIT_G_PER_L or not fermented(asked.drink):
        return
    sealed = intended.container in SEALED and not held
    yield Caution(
        "fining_is_no_hurdle",
        "stop" if sealed else "warning",
        f"Clear is not stable: fining leaves yeast, and up to {most:.0f} g/L of fermentable sugar can burst a sealed "
        f"{intended.container if intended.container in SEALED else 'container'}. "
        f"{'Stabilise or pasteurise first.' if not held else 'What is to hold the yeast has not been checked.'}",
        OUR_DEFAULT,
    )


def _of_agents(
    asked: FiningAsked,
    problems: Sequence[HazeKind],
    judged: Sequence[Judged],
    chosen: Sequence[Judged],
    water_percent: float,
) -> Iterator[Caution]:
    for one in usable(judged):
        agent = one.agent
        if agent.allergen is not None and one.verdict != "of_little_use" and (problems or asked.haze == "clear"):
            yield Caution(
                "allergen_from_fining",
                "warning",
                f"{agent.name} is made of {agent.allergen}, a major allergen, and traces stay: tell whoever drinks it, "
                "and name it where labels must.",
                "cfr27_4_32a",
            )
    if any(one.agent.id == "chitosan" and one.proposed for one in judged):
        yield Caution(
            "chitosan_may_be_of_shellfish",
            "warning",
            "Chitosan is made of shellfish too, a major allergen: take one whose package says that fungi made it.",
            "cfr27_4_32a",
        )
    animal = [one.agent.name for one in chosen if not one.agent.vegetarian]
    if animal:
        yield Caution(
            "not_vegetarian",
            "note",
            f"{' and '.join(animal)} {'come' if len(animal) > 1 else 'comes'} from animals: the drink is not "
            "vegetarian.",
            PRACTICE,
        )
    absent = [one.agent.name for one in judged if not one.agent.us_listed and _wanted(asked, one)]
    if absent and asked.market != "eu":
        yield Caution(
            "not_on_the_list_of_2015",
            "warning" if asked.market == "us" else "note",
            f"{' and '.join(absent)}: absent from 27 CFR 24.246 in its {US_EDITION}; a later one is said to admit it. "
            "Check the current text.",
            "cfr27_24_246",
        )
    filtered = [one.agent.name for one in chosen if one.agent.us_filter_out]
    if filtered and asked.market != "eu":
        yield Caution(
            "remove_by_filtration",
            "note",
            f"{' and '.join(filtered)}: to be taken out by filtration (27 CFR 24.246, {US_EDITION}).",
            "cfr27_24_246",
        )
    if water_percent > _PERCENT * 0.01:
        yield Caution(
            "water_over_one_percent",
            "warning",
            f"At the high doses the agents' water is {water_percent:.1f} % of the volume; 27 CFR 24.246 (2015) "
            "stops at 1 %. Use less, or stir them into the drink.",
            "cfr27_24_246",
        )
    if any(one.agent.powder for one in chosen):
        yield Caution(
            "fine_powder",
            "note",
            "Fine powders harm lungs and eyes: pour low, wet them first, keep the dust down. Food grade only.",
            PRACTICE,
        )


def _wanted(asked: FiningAsked, one: Judged) -> bool:
    """Whether an agent would be open to this maker but for the list."""
    return one.verdict not in ("avoid", "works_against_haze") and (asked.agents is None or one.agent.id in asked.agents)


def _of_parts(asked: FiningAsked, parts: Sequence[Part]) -> Iterator[Caution]:
    stabilised = bool({"sulfite", "sorbate"} & set(asked.circumstances.intended.hurdles))
    for part in parts:
        if part.ingredient is not None:
            yield from juice_and_spirit_cautions(part.ingredient, part.said, part.treatment, stabilised=stabilised)
        elif part.lot_class in JUICE_ROW:
            yield raw_juice(part.name, "of unknown treatment")
    if any(lot.on_lees for lot in asked.drink.lots):
        yield Caution(
            "lees_in_the_volume",
            "warning",
            "A lot still stands on its lees: rack it and measure again, or the lees are dosed as drink.",
            PRACTICE,
        )
