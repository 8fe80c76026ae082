"""Cautions of a stabilising plan: what forbids it, what weakens it, and what the salts do to people.

Each at most thirty words, with the key of its source. Nothing here ever says that a drink is harmless.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from service.chemistry.sorbate import TASTE_THRESHOLD_MG_PER_L
from service.chemistry.sulfite import MOLECULAR_IRRITATION_MG_PER_L, PK_SOURCE_KEYS, PkBasis
from service.planner.acidity_cautions import HIGH_PH
from service.planner.answers import ALCOHOL, OUR_DEFAULT, PRACTICE, Caution
from service.planner.cautions import sorted_once
from service.planner.intervals import Z_90
from service.planner.refermentation import NO_HURDLE, SEALED, WARM_C, hurdles_named, strength_below, warm_storage
from service.planner.stabilising.blocks import BOTH
from service.planner.stabilising.choice import Choice, free_wanted_at, molecular_at
from service.planner.stabilising.hurdles import ACID_FIRST_PH, sorbate_holds
from service.planner.stabilising.limits import limit_of_sorbic, lowest_so2_limit, over
from service.planner.stabilising.situation import Situation

DO_NOT_SEAL: Final = frozenset({"refermentable_sugar_no_hurdle", "hurdle_does_not_hold"})
"""Stops that speak of sealing a container and not of dosing."""

WEAK_PH: Final = 3.5
"""pH above which the salts are weak hurdles (our default)."""

_TABLE_STARTS_ABV_PERCENT: Final = 10.0
_KILLS: Final = frozenset({"pasteurised", "sterile_filtered"})


def cautions_of(here: Situation, choice: Choice, dilute_with_l: float | None) -> tuple[Caution, ...]:
    """All cautions of one plan, `stop` first."""
    salts = BOTH & set(here.hurdles)
    found: list[Caution] = [
        *(block.caution for block in choice.blocks),
        *_container(here, choice),
        *(_table(here, choice) if "sorbate" in salts else ()),
        *_acidity(choice, bool(salts)),
        *_so2(here, choice, dilute_with_l),
    ]
    if salts:
        found += _near_limits(here, choice)
        found.append(
            Caution(
                "stabilisers_do_not_stop_yeast_or_bacteria",
                "warning",
                "Neither salt kills yeast or stops an active ferment, and sorbate does nothing against bacteria: they "
                "only keep a few resting cells from growing.",
                "umn_enology",
            )
        )
    if "sulfite" in salts or here.total_now_mg_per_l > 0.0:
        found.append(
            Caution(
                "sulfite_sensitivity",
                "note",
                "Sulfite: about 5 % of people with asthma react, some severely. Say so to whoever drinks it.",
                "fda_consumer_1996",
            )
        )
    if choice.added > 0.0:
        found += _about_sulfite()
    if choice.sorbic > 0.0:
        found += _about_sorbate()
    return sorted_once([*found, *_always(here)])


def _container(here: Situation, choice: Choice) -> Iterator[Caution]:
    intended = here.asked.circumstances.intended
    if intended.vessel_l is not None and here.packaging.volume_l > intended.vessel_l:
        yield Caution(
            "vessel_too_small",
            "stop",
            f"{here.packaging.volume_l:.1f} L do not fit the vessel of {intended.vessel_l:.1f} L: it would overflow. "
            "Split it.",
            "arithmetic",
        )
    elif intended.vessel_l is not None and here.packaging.volume_l * _worst(here) > intended.vessel_l:
        yield Caution(
            "vessel_may_be_too_small",
            "warning",
            f"{here.packaging.volume_l:.1f} L, perhaps {here.packaging.volume_l * _worst(here):.1f} by the error of "
            f"the volume, in a vessel of {intended.vessel_l:.1f} L: it may overflow.",
            "arithmetic",
        )
    if intended.storage_temperature_c is not None and intended.storage_temperature_c > WARM_C:
        yield warm_storage(intended.storage_temperature_c)
    if not here.refermentable:
        return
    sealed = intended.container in SEALED
    sugar = here.sugar_g_per_l
    what = "Sugar not given, taken as enough" if sugar is None else f"{sugar:.0f} g/L of sugar"
    where = f"sealed in a {intended.container}" if sealed else "if ever sealed"
    if _KILLS & set(here.hurdles) or sorbate_holds(here, choice):
        yield Caution(
            "hurdle_is_not_proof",
            "warning",
            f"{what}; all rests on {hurdles_named(here.hurdles)}. No blocker was found by this check, which proves "
            "nothing: watch a plastic test bottle.",
            PRACTICE,
        )
    elif not here.hurdles:
        yield Caution(
            "refermentable_sugar_no_hurdle",
            "stop" if sealed else "warning",
            f"{what}, {where}, {NO_HURDLE}: it can referment and burst{'' if sealed else ' the container'}. "
            "Pasteurise, filter or keep it dry.",
            OUR_DEFAULT,
        )
    else:
        yield Caution(
            "hurdle_does_not_hold",
            "stop" if sealed else "warning",
            f"{what}, {where}, behind {hurdles_named(here.hurdles)}: not shown to hold it; it can burst"
            f"{'' if sealed else ' the container'}. Pasteurise, filter or keep it dry.",
            PRACTICE,
        )


def _worst(here: Situation) -> float:
    """Upper end of the 90 % interval of a volume, over the volume itself."""
    return 1.0 + Z_90 * here.volume_error


def _table(here: Situation, choice: Choice) -> Iterator[Caution]:
    published = choice.published
    abv = here.packaging.abv_percent
    least = max(abv - Z_90 * here.asked.circumstances.instruments.strength_error_percent, 0.0)
    if published.dose_mg_per_l is None:
        why = (
            f"Published sorbate doses start at 10 % vol; this drink has {abv:.1f}."
            if abv < _TABLE_STARTS_ABV_PERCENT
            else f"Published sorbate doses end at pH 3.5; this drink has {here.packaging.ph:.2f}."
        )
        yield Caution(
            "sorbate_outside_published_table",
            "warning",
            f"{why} The legal maximum may not hold it: prefer pasteurising, sterile filtration or dryness.",
            published.source_key,
        )
    elif least < _TABLE_STARTS_ABV_PERCENT:
        yield Caution(
            "sorbate_may_be_outside_published_table",
            "warning",
            f"Published sorbate doses start at 10 % vol; {strength_below(abv, least)}: the dose may not hold it. "
            "Measure the strength, or prefer pasteurising or filtration.",
            published.source_key,
        )
    if published.dose_mg_per_l is not None and 0.0 < choice.sorbic < published.dose_mg_per_l * (1.0 - 1e-9):
        yield Caution(
            "sorbate_below_published_dose",
            "warning",
            f"{choice.sorbic:.0f} mg/L sorbic acid is less than the {published.dose_mg_per_l:.0f} printed for this "
            "strength and pH.",
            published.source_key,
        )
    after = choice.published_at_final_ph.dose_mg_per_l
    if choice.sorbic and published.dose_mg_per_l is not None and (after is None or choice.sorbic < after * 0.95):
        needs = "the table holds no dose" if after is None else f"the table asks for {after:.0f} mg/L"
        yield Caution(
            "sorbate_raises_ph",
            "warning",
            f"The salt itself lifts pH to {choice.ph_at_packaging:.2f}, where {needs}: take the dose as the least, "
            "and measure pH.",
            published.source_key,
        )


def _acidity(choice: Choice, salts: bool) -> Iterator[Caution]:
    ph = choice.ph_at_packaging
    if ph > HIGH_PH:
        yield Caution(
            "ph_high",
            "warning",
            f"pH {ph:.2f} is high for a drink: sulfite and sorbate work poorly and spoilage is easier. Acidify first.",
            OUR_DEFAULT,
        )
    if salts and ph > ACID_FIRST_PH:
        yield Caution(
            "acid_first",
            "warning",
            f"Above pH 3.8 sulfite doses grow large: acidify first, then dose. At {ph:.2f} the target takes "
            f"{choice.free_wanted:.0f} mg/L free SO2.",
            OUR_DEFAULT,
        )
    if salts and ph > WEAK_PH:
        yield weak_hurdles(ph)


def weak_hurdles(ph: float) -> Caution:
    """What a high pH takes from the salts."""
    return Caution(
        "weak_hurdles_at_this_ph",
        "warning",
        f"At pH {ph:.2f}, above 3.5, both salts are weak; acid, heat or filtration hold better.",
        OUR_DEFAULT,
    )


def _so2(here: Situation, choice: Choice, dilute_with_l: float | None) -> Iterator[Caution]:
    free = (here.free_now_mg_per_l + choice.added * (1.0 - here.bound_share)) / here.growth
    molecular = molecular_at(free, choice.ph_at_packaging, choice.pk)
    if dilute_with_l is not None:
        too_much = molecular > MOLECULAR_IRRITATION_MG_PER_L or over(
            here.total_now_mg_per_l / here.growth, lowest_so2_limit(here).mg_per_l
        )
        yield Caution(
            "over_sulfited" if too_much else "free_so2_above_target",
            "warning" if too_much else "note",
            f"More SO2 than wanted: nothing takes it out at home. {dilute_with_l:.3g} L of drink without sulfite would "
            "bring it down; or wait and measure again.",
            PRACTICE,
        )
    if molecular > MOLECULAR_IRRITATION_MG_PER_L:
        yield Caution(
            "molecular_so2_irritates",
            "warning",
            f"{molecular:.1f} mg/L molecular SO2 irritates nose and lungs, from about 2 mg/L on: aim lower.",
            "waterhouse_2016",
        )
    if "sulfite" not in here.hurdles or choice.blocked("sulfite"):
        return
    usual = here.usual_molecular_mg_per_l
    if molecular < usual * 0.95:
        yield Caution(
            "molecular_so2_below_usual",
            "warning",
            f"The target leaves {molecular:.2f} mg/L molecular SO2 at pH {choice.ph_at_packaging:.2f}; the trade aims "
            f"at {usual:g} in such a drink.",
            PRACTICE,
        )
    convention = free_wanted_at(here, choice.ph_at_packaging, choice.pks[PkBasis.CONVENTION])
    if choice.free_wanted < convention * 0.99:
        yield Caution(
            "pk_asks_for_less",
            "warning",
            f"By this pK {choice.free_wanted:.0f} mg/L free SO2 are wanted, by the trade's 1.81 {convention:.0f}; the "
            "usual targets were made with that.",
            PRACTICE,
        )
    elif choice.free_wanted > convention * 1.01:
        yield Caution(
            "convention_asks_for_less",
            "note",
            f"In so weak or cold a drink the trade's pK of 1.81 asks for too little ({convention:.0f} mg/L): "
            f"the corrected {choice.pk:.2f} is used.",
            PK_SOURCE_KEYS[choice.pk_basis],
        )


def _near_limits(here: Situation, choice: Choice) -> Iterator[Caution]:
    worst = _worst(here)
    limits: Sequence[tuple[str, float, float, str]] = (
        ("total SO2", choice.total_wanted, lowest_so2_limit(here).mg_per_l, lowest_so2_limit(here).source_key),
        ("sorbic acid", choice.sorbic, limit_of_sorbic(here).mg_per_l, limit_of_sorbic(here).source_key),
    )
    for what, value, limit, source in limits:
        if not over(value, limit) and over(value * worst, limit):
            yield Caution(
                "limit_within_volume_error",
                "warning",
                f"{value:.0f} mg/L {what} with a volume that may be off by {100.0 * (worst - 1.0):.2g} % can pass the "
                f"limit of {limit:.0f}: aim lower, or measure the volume better.",
                source,
            )


def _about_sulfite() -> Iterator[Caution]:
    yield Caution(
        "sulfite_fumes",
        "warning",
        "Metabisulfite gives off sulfur dioxide, more so with acid: ventilate, protect eyes, do not lean over it; "
        "people with asthma keep away.",
        PRACTICE,
    )
    yield Caution(
        "old_metabisulfite_is_weaker",
        "note",
        "Metabisulfite loses strength as it ages: fresh salt yields 57 % SO2, an old bag 50 or less. Measure free SO2.",
        PRACTICE,
    )
    yield Caution(
        "grams_of_another_salt_differ",
        "note",
        "These grams are of potassium metabisulfite: a bisulfite solution yields 53.3 % of its salt as SO2, tablets "
        "with filler less: enter the share of yours.",
        "oiv_potbis",
    )
    yield Caution(
        "part_of_the_sulfite_is_bound",
        "note",
        "How much gets bound is a guess, and honey or juice added later binds more: measure free SO2 after one to "
        "three days.",
        PRACTICE,
    )


def _about_sorbate() -> Iterator[Caution]:
    low, high = TASTE_THRESHOLD_MG_PER_L
    yield Caution(
        "geranium_taint_is_irreversible",
        "note",
        "If lactic bacteria meet sorbate they make a geranium taint that nothing takes out: always with sulfite, never "
        "with malolactic bacteria.",
        "oxford_companion",
    )
    yield Caution(
        "sorbate_taste",
        "note",
        f"Some taste sorbate from {low:.0f} mg/L, others only from {high:.0f}; it slowly forms ethyl sorbate, so drink "
        "it young.",
        "umn_enology",
    )
    yield Caution(
        "sorbate_sensitivity",
        "note",
        "A few people react to sorbate: name it to whoever drinks it.",
        PRACTICE,
    )


def _always(here: Situation) -> Iterator[Caution]:
    if here.packaging.abv_percent > 0.0:
        yield ALCOHOL
    yield Caution(
        "estimate",
        "note",
        "Estimates from formulas and tables: verify by measurement; follow local law and licensed practice.",
        OUR_DEFAULT,
    )
