"""Too much sulfite: how far thinning brings it down, and what is left to time and to others."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from service.chemistry.sulfite import MOLECULAR_IRRITATION_MG_PER_L, PkBasis, molecular_so2_mg_per_l
from service.chemistry.sulfite_limits import Market
from service.model.lot_class import Assumed
from service.physics.roots import root_between
from service.planner.answers import OUR_DEFAULT, PRACTICE, Caution
from service.planner.asked import LotAsked
from service.planner.stabilising.answers import LimitReport
from service.planner.undo.answers import Irreversible, SulfiteLevel, SulfiteNow
from service.planner.undo.mixing import Mix, Vessel, lots_at_hand
from service.planner.undo.options import Way
from service.planner.undo.sulfite_found import LEAST_PH, MOST_PH, SLACK, Level, Sulfited
from service.planner.undo.thinning import ARITHMETIC

_US_WINE_FROM_ABV_PERCENT: Final = 7.0

ASTHMA: Final = Caution(
    "sulfite_sensitivity",
    "warning",
    "Sulfite: about 1 in 100 people and 1 in 20 with asthma react to it, some severely. Tell everyone who drinks it, "
    "and label it.",
    "fda_consumer_1996",
)
FUMES: Final = Caution(
    "sulfite_fumes",
    "warning",
    "Splashing drives sulfur dioxide into the air, which hurts eyes and lungs: work outdoors or with a draught, and "
    "keep your face away.",
    PRACTICE,
)
NO_PEROXIDE: Final = Caution(
    "no_peroxide_at_home",
    "warning",
    "Hydrogen peroxide burns, spoils a drink by a drop too much, and is not permitted in many places: leave it to "
    "licensed practice.",
    PRACTICE,
)

WITHOUT_SULFITE: Final = "the same drink, without sulfite"

UNSULFITED: Final = Way(
    "unsulfited_drink",
    "Blend it with {}, which holds no sulfite.",
    "Thinning is the way that is sure: free and total sulfite fall by the volume. Measure free sulfite after a day, "
    "because some of the bound lets go.",
    ARITHMETIC,
    "yes",
    ("the same drink without sulfite", "room in the vessel"),
)

WAIT: Final = Way(
    "wait_and_air",
    "Rack it with splashing, keep it cool and covered, and wait.",
    "Free sulfite falls by itself in days to weeks, by how much nobody knows beforehand: no figure is given. Measure "
    "it weekly. Air takes aroma too, and total sulfite hardly falls.",
    PRACTICE,
    "partly",
    ("a sulfite test", "a draught of air", "patience"),
    cautions=(FUMES,),
)

PEROXIDE: Final = Way(
    "hydrogen_peroxide",
    "Hydrogen peroxide is not offered here.",
    "It destroys sulfite at once and cannot be measured out well enough in a small vessel; what is left of it oxidises "
    "the drink. Licensed practice decides, where it is permitted at all.",
    PRACTICE,
    "no",
    cautions=(NO_PEROXIDE,),
)

HEAT: Final = Way(
    "heat",
    "Sulfite is not boiled out.",
    "Heat drives the gas into the room and the alcohol and aroma with it, and what is bound stays.",
    PRACTICE,
    "no",
)

IRREVERSIBLE: Final = (
    Irreversible(
        "Bound sulfite stays: it counts in the total, and only the weakly bound part is ever let go.", "waterhouse_2016"
    ),
    Irreversible("Nothing takes sulfite away so far that it need not be declared: yeast makes some itself.", PRACTICE),
)


def report(vessel: Vessel, here: Sulfited) -> SulfiteNow:
    """Sulfite as it is, beside what is wanted and the limits."""
    return SulfiteNow(
        so2=here.at(vessel.litres, 1.0, here.ph),
        pk=round(here.pk, 3),
        pk_basis="thermo" if here.basis is PkBasis.THERMO else "convention",
        molecular_other_mg_per_l=round(molecular_so2_mg_per_l(here.free, here.ph, here.pk_other), 3),
        levels=tuple(
            SulfiteLevel(level.text, round(level.molecular, 3), round(here.times(level), 4), level.source_id)
            for level in here.levels
        ),
        limits=_limit_reports(vessel, here),
    )


def _limit_reports(vessel: Vessel, here: Sulfited) -> tuple[LimitReport, ...]:
    found = [
        LimitReport(
            what="total_so2",
            category=limit.category,
            limit_mg_per_l=limit.mg_per_l,
            comparison="above",
            ours_mg_per_l=round(here.total, 2),
            exceeded=here.total > limit.mg_per_l * (1.0 + SLACK),
            regulation=limit.regulation,
            edition=limit.edition,
            mark=limit.mark,
            source_id=limit.source_key,
            note=limit.note,
        )
        for limit in here.limits
    ]
    declaration = here.limits[0].declaration
    weak_us = vessel.asked.market is Market.US and vessel.now.predicted.abv_percent.value < _US_WINE_FROM_ABV_PERCENT
    found.append(
        LimitReport(
            what="declaration_contains_sulfites",
            category=here.limits[0].category,
            limit_mg_per_l=declaration.threshold_mg_per_l,
            comparison="at or above" if declaration.at_threshold else "above",
            ours_mg_per_l=round(here.total, 2),
            exceeded=declaration.is_due(round(here.total, 6)),
            regulation="21 CFR 101.100(a)(4) and 130.9" if weak_us else declaration.regulation,
            edition=declaration.edition,
            mark="published; that it rules below 7 % vol is from memory, unverified" if weak_us else declaration.mark,
            source_id="cfr21_101_100" if weak_us else declaration.source_key,
            note="",
        )
    )
    return tuple(found)


def ways(vessel: Vessel | None, here: Sulfited | None) -> Iterator[Way]:
    """Every way for a drink with too much sulfite."""
    yield from _thinned(vessel, here)
    yield WAIT
    yield HEAT
    yield PEROXIDE


def _thinned(vessel: Vessel | None, here: Sulfited | None) -> Iterator[Way]:
    plain = replace(UNSULFITED, do=UNSULFITED.do.format("the same drink"))
    if vessel is None or here is None:
        yield plain
        return
    above = [level for level in here.levels if here.times(level) > 1.0]
    if not above:
        text = "By these readings nothing has to be thinned. If it smells of sulfite all the same, test it again."
        yield replace(plain, limit=text)
        return
    lots = lots_at_hand(vessel.asked.lots)
    for level in above:
        aimed = f"Down to {level.text}, and the limit in all. {UNSULFITED.limit}"
        which = replace(plain, name=f"{UNSULFITED.name}: {level.name}", limit=aimed)
        if not lots:
            yield _with_itself(vessel, here, level, which)
        for lot in lots:
            said = f"“{lot.lot.name}”"
            told = replace(
                which,
                name=f"{which.name}: {lot.lot.name}" if len(lots) > 1 else which.name,
                do=UNSULFITED.do.format(said),
                needs=(said, "a sulfite test"),
            )
            yield _with_lot(vessel, here, level, lot, told)


def _with_itself(vessel: Vessel, here: Sulfited, level: Level, which: Way) -> Way:
    """Thinning with the same drink made without sulfite: everything else stays."""
    places = tuple(k for k, mass_g in enumerate(vessel.mix.base_g) if mass_g > 0.0)
    mix = replace(vessel.mix, places=places)
    times = here.times(level)
    added = tuple((times - 1.0) * vessel.mix.base_g[k] for k in places)
    assumed = Assumed(
        "drink to thin with",
        "the same, without sulfite",
        "our default: no lot at hand was named",
        "name a lot without sulfite with its readings",
    )
    so2 = here.at(vessel.litres * times, times, here.ph)
    targets = vessel.asked.targets
    return replace(
        which,
        mix=mix,
        added_g=added,
        so2=so2,
        assumed=(assumed,),
        targets=targets,
        judged=len(targets),
        called=WITHOUT_SULFITE,
    )


def _with_lot(vessel: Vessel, here: Sulfited, level: Level, lot: LotAsked, which: Way) -> Way:
    """Thinning with a lot at hand, whose acids move the pH as well."""
    mix = vessel.with_((lot,))
    most = mix.stock_g()

    def excess(mass_g: float) -> float:
        times, ph = _thinned_to(mix, mass_g, vessel)
        return here.excess(level, times, ph)

    possible, mass, limit = which.possible, most, which.limit
    if excess(most) <= 0.0:
        mass = root_between(excess, 0.0, most)
    else:
        possible, limit = "partly", f"There is not enough of it. {limit}"
    times, ph = _thinned_to(mix, mass, vessel)
    so2 = here.at(vessel.litres * times, times, ph)
    return replace(
        which,
        possible=possible,
        mix=mix,
        added_g=(mass,),
        so2=so2,
        limit=limit,
        exact=True,
        targets=vessel.asked.targets,
        judged=len(vessel.asked.targets),
    )


def _thinned_to(mix: Mix, mass_g: float, vessel: Vessel) -> tuple[float, float]:
    """Volume afterwards over volume now, and the pH, held to where molecular SO2 is reckoned."""
    times = mix.contents((mass_g,)).volume_ml / (1000.0 * vessel.litres)
    ph = mix.value("ph", (mass_g,))
    return times, MOST_PH if ph is None else min(max(ph, LEAST_PH), MOST_PH)


def cautions(here: Sulfited | None) -> Sequence[Caution]:
    """What to heed with too much sulfite, whatever is done about it."""
    found = [ASTHMA]
    if here is None:
        return found
    if here.total > here.lowest_limit * (1.0 + SLACK):
        limit = here.limits[0]
        found.append(
            Caution(
                "total_so2_over_limit",
                "stop",
                f"{here.total:.0f} mg/L of SO2 in all is above {limit.mg_per_l:g} ({limit.regulation}; {limit.mark}): "
                "not to be served or sold as it is.",
                limit.source_key,
            )
        )
    molecular = molecular_so2_mg_per_l(here.free, here.ph, here.pk)
    if molecular >= MOLECULAR_IRRITATION_MG_PER_L:
        found.append(
            Caution(
                "molecular_so2_irritates",
                "warning",
                f"{molecular:.1f} mg/L of molecular SO2 stings in the nose, from {MOLECULAR_IRRITATION_MG_PER_L:g} "
                "mg/L on: do not sniff or drink it as it is.",
                "waterhouse_2016",
            )
        )
    found.append(
        Caution(
            "less_sulfite_holds_less",
            "note",
            "Thinned sulfite holds yeast and bacteria less: a drink that relied on it needs its hurdles reckoned "
            "again.",
            OUR_DEFAULT,
        )
    )
    return found
