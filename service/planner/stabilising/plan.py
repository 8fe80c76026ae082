"""How much sulfite and sorbate holds a drink, or why they are not enough.

The order matters: potassium sorbate lifts the pH, and with it the free SO2 that a molecular target takes, so that
sorbate is computed first. Nothing is dosed into a ferment that may still move, beyond a legal limit, or beyond the
printed table; and no verdict says that a drink will hold.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import inf

from service import MODEL_VERSION
from service.catalogue.loader import data_version, sources
from service.chemistry.sorbate import potassium_sorbate_g, undissociated_sorbic_fraction
from service.chemistry.sulfite import MOLECULAR_IRRITATION_MG_PER_L, PK_SOURCE_KEYS, metabisulfite_g
from service.planner.answers import Caution, SourceCited
from service.planner.stabilising.answers import (
    OtherPk,
    SaltDose,
    SorbicReport,
    StabilisingPlan,
    SulfiteReport,
    SulfurDioxide,
    Verdict,
)
from service.planner.stabilising.asked import StabilisingAsked
from service.planner.stabilising.blocks import BOTH
from service.planner.stabilising.cautions import DO_NOT_SEAL, cautions_of
from service.planner.stabilising.choice import Choice, choose, free_wanted_at, molecular_at
from service.planner.stabilising.doses import salt_dose
from service.planner.stabilising.handed_on import next_calls
from service.planner.stabilising.hurdles import alternatives, hurdle_reports, sorbate_holds
from service.planner.stabilising.limits import limit_of_sorbic, limit_reports, lowest_so2_limit, over
from service.planner.stabilising.situation import Situation, situation_of
from service.planner.stabilising.steps import readings_of, steps_of
from service.planner.work import schedule_of

_ALWAYS = (
    "minteq_v4",
    "iupac_pka",
    "thermochimie",
    "prenesti_2012",
    "goldberg_parker_1985",
    "waterhouse_2016",
    "oiv_potsor",
    "del_vecchio_1951",
)
"""Constants and formulas behind every answer."""


def plan_stabilising(asked: StabilisingAsked) -> StabilisingPlan:
    """Doses of metabisulfite and sorbate with what comes of them, or what forbids them and what else holds.

    Parameters: asked, in base units.
    Returns: StabilisingPlan.
    Raises: InputError, OutOfRangeError, InconsistentError as `situation_of`.

    Example: a sweet drink of 12 % vol and pH 3.5 lies inside the printed table, which asks for 112 mg/L of sorbic acid.

    >>> from service.planner.stabilising.asked import DrinkRead
    >>> drink = DrinkRead(volume_l=20.0, ph=3.5, abv_percent=12.0)
    >>> plan = plan_stabilising(StabilisingAsked(drink, sugar_g_per_l=60.0, fermentation_finished=True))
    >>> plan.verdict, [dose.salt for dose in plan.doses], round(plan.sorbic.target_mg_per_l or 0.0)
    ('dose_and_verify', ['potassium_sorbate', 'potassium_metabisulfite'], 112)
    """
    here = situation_of(asked)
    choice = choose(here)
    doses = _doses(here, choice)
    so2 = _so2_report(here, choice)
    dilute = _dilution(here, choice)
    cautions = cautions_of(here, choice, dilute)
    limits = limit_reports(here, choice.total_wanted, choice.sorbic_told, so2.at_packaging.total_mg_per_l)
    hurdles = hurdle_reports(here, choice)
    others = alternatives(here, choice)
    steps = steps_of(here, choice, doses)
    verdict = _verdict(here, choice, doses, cautions)
    ph_packaged = here.packaging.ph_with(choice.sorbic, choice.added / here.growth)
    keys = (
        *_ALWAYS,
        *(c.source_id for c in cautions),
        *(limit.source_id for limit in limits),
        *(other.source_id for other in so2.other_pk),
        *(report.source_id for report in hurdles),
        *(other.source_id for other in others),
        *(step.source_id for step in steps),
        PK_SOURCE_KEYS[choice.pk_basis],
        choice.published.source_key,
    )
    circumstances = asked.circumstances
    return StabilisingPlan(
        verdict=verdict,
        summary=_summary(here, choice, verdict, dilute),
        doses=doses,
        so2=so2,
        sorbic=_sorbic_report(here, choice),
        ph_before=here.dosing.ph,
        ph_after_sorbate=round(choice.ph_at_dosing, 3),
        ph_after_all=round(here.dosing.ph_with(choice.sorbic * here.growth, choice.added), 3),
        ph_at_packaging=round(ph_packaged, 3),
        limits=limits,
        hurdles=hurdles,
        dilute_with_l=None if dilute is None else round(dilute, 3),
        alternatives=others,
        steps=steps,
        schedule=schedule_of(steps, circumstances.start_date),
        next=next_calls(here, choice, so2, ph_packaged, verdict),
        units=circumstances.system,
        assumed=here.assumed,
        cautions=cautions,
        next_reading=readings_of(here, choice, so2, doses),
        sources=_sources(keys),
        model_version=MODEL_VERSION,
        data_version=data_version(),
        batch=circumstances.echo.batch,
        date=circumstances.echo.date,
        note=circumstances.echo.note,
    )


def _doses(here: Situation, choice: Choice) -> tuple[SaltDose, ...]:
    """Sorbate, then metabisulfite; the mass at a limit goes along so that rounding does not pass it."""
    asked, volume = here.asked, here.dosing.volume_l
    found = []
    if choice.sorbic > 0.0:
        at_dosing = choice.sorbic * here.growth
        mass = potassium_sorbate_g(at_dosing, volume, asked.sorbate.salt_purity)
        most = mass * limit_of_sorbic(here).mg_per_l / choice.sorbic
        found.append(salt_dose("potassium_sorbate", mass, at_dosing, most, asked.circumstances))
    if choice.added > 0.0:
        mass = metabisulfite_g(choice.added, volume, asked.sulfite.salt_share)
        room = lowest_so2_limit(here).mg_per_l * here.growth - here.total_now_mg_per_l
        most = mass * room / choice.added if room > 0.0 else inf
        found.append(
            salt_dose("potassium_metabisulfite", mass, choice.added, most, asked.circumstances, asked.sulfite.tablet_g)
        )
    return tuple(found)


def _so2_report(here: Situation, choice: Choice) -> SulfiteReport:
    free = here.free_now_mg_per_l + choice.added * (1.0 - here.bound_share)
    total = here.total_now_mg_per_l + choice.added

    def state(volume_l: float, ph: float, growth: float) -> SulfurDioxide:
        return SulfurDioxide(
            volume_l=round(volume_l, 4),
            ph=round(ph, 3),
            free_mg_per_l=round(free / growth, 3),
            molecular_mg_per_l=round(molecular_at(free / growth, ph, choice.pk), 4),
            bound_mg_per_l=round((total - free) / growth, 3),
            total_mg_per_l=round(total / growth, 3),
        )

    packaged = state(here.packaging.volume_l, choice.ph_at_packaging, here.growth)
    error = here.asked.circumstances.instruments.ph_meter_error
    ph = choice.ph_at_packaging
    return SulfiteReport(
        target=here.target_text,
        free_wanted_mg_per_l=round(choice.free_wanted, 2),
        low_mg_per_l=round(min(choice.free_wanted, free_wanted_at(here, ph - error, choice.pk)), 2),
        high_mg_per_l=round(max(choice.free_wanted, free_wanted_at(here, ph + error, choice.pk)), 2),
        added_mg_per_l=round(choice.added, 3),
        bound_share=here.bound_share,
        pk=round(choice.pk, 3),
        pk_basis=choice.pk_basis.value,
        other_pk=tuple(
            OtherPk(
                basis.value,
                round(pk, 3),
                round(free_wanted_at(here, ph, pk), 2),
                round(molecular_at(free / here.growth, ph, pk), 4),
                PK_SOURCE_KEYS[basis],
            )
            for basis, pk in choice.pks.items()
            if basis is not choice.pk_basis
        ),
        at_dosing=state(here.dosing.volume_l, choice.ph_at_dosing, 1.0),
        at_packaging=packaged,
    )


def _sorbic_report(here: Situation, choice: Choice) -> SorbicReport:
    published, after = choice.published, choice.published_at_final_ph.dose_mg_per_l
    printed = published.dose_mg_per_l
    share = undissociated_sorbic_fraction(choice.ph_at_packaging, here.packaging.abv_percent, here.temperature_c)
    reason = published.reason
    if printed is None:
        reason += "; no dose is published, and the legal maximum may not hold it"
    return SorbicReport(
        published_mg_per_l=None if printed is None else round(printed, 2),
        inside_table=published.inside_table,
        reason=reason,
        published_at_final_ph_mg_per_l=None if after is None else round(after, 2),
        target_mg_per_l=round(choice.sorbic, 2) if choice.sorbic else None,
        at_dosing_mg_per_l=round(choice.sorbic * here.growth, 2),
        at_packaging_mg_per_l=round(choice.sorbic, 2),
        undissociated_percent=round(100.0 * share, 1),
        mark=published.mark,
        source_id=published.source_key,
    )


def _dilution(here: Situation, choice: Choice) -> float | None:
    """Drink without sulfite [L] that brings free SO2 to its target, or total SO2 to its limit; None where neither is
    passed."""
    free, total = here.free_now_mg_per_l / here.growth, here.total_now_mg_per_l / here.growth
    times = [total / lowest_so2_limit(here).mg_per_l if over(total, lowest_so2_limit(here).mg_per_l) else 1.0]
    if choice.free_wanted > 0.0 and over(free, choice.free_wanted):
        times.append(free / choice.free_wanted)
    molecular = molecular_at(free, choice.ph_at_packaging, choice.pk)
    if molecular > MOLECULAR_IRRITATION_MG_PER_L:
        times.append(molecular / MOLECULAR_IRRITATION_MG_PER_L)
    extra = here.packaging.volume_l * (max(times) - 1.0)
    return extra if extra > 0.0 else None


def _verdict(here: Situation, choice: Choice, doses: tuple[SaltDose, ...], cautions: tuple[Caution, ...]) -> Verdict:
    salts = BOTH & set(here.hurdles)
    if not doses:
        return "do_not_dose" if choice.blocks and (salts or choice.blocked("sulfite")) else "nothing_to_dose"
    if any(c.level == "stop" and c.code in DO_NOT_SEAL for c in cautions):
        return "dose_but_do_not_seal"
    if "sorbate" in salts and not choice.sorbic:
        return "dose_sulfite_only"
    return "dose_and_verify"


def _summary(here: Situation, choice: Choice, verdict: Verdict, dilute_with_l: float | None) -> str:
    if verdict == "do_not_dose":
        return f"Do not dose: {choice.blocks[0].caution.text}"
    free = here.free_now_mg_per_l / here.growth
    above = ""
    if dilute_with_l is not None and choice.free_wanted > 0.0 and over(free, choice.free_wanted):
        above = (
            f"The drink holds {free:.0f} mg/L free SO2, more than its target of {choice.free_wanted:.0f} already: "
            f"nothing takes it out at home; {dilute_with_l:.3g} L of drink without sulfite would bring it down."
        )
    if verdict == "nothing_to_dose":
        if above:
            return f"{above} Add none, measure, and see the hurdles."
        salts = BOTH & set(here.hurdles)
        if not salts:
            return "No salt is planned; see what each hurdle is worth."
        return "Free SO2 is at its target already and no sorbate is proposed: measure, and see the hurdles."
    holds = sorbate_holds(here, choice)
    if above:
        held = f"{above} Only sorbate goes in{'' if holds else '; nothing printed says that it holds'}"
    elif "sorbate" not in here.hurdles or holds:
        held = "Doses for the targets asked for"
    elif choice.sorbic:
        held = "Doses as asked for; nothing printed says that this sorbate holds"
    else:
        held = "A dose of sulfite only; no sorbate is proposed"
    if verdict == "dose_but_do_not_seal":
        return f"{held}. The salts do not hold the sugar of this drink: do not seal it on their strength."
    return f"{held}: dose, wait, and verify by measurement."


def _sources(keys: Iterable[str]) -> tuple[SourceCited, ...]:
    table = sources()
    return tuple(SourceCited(key, table[key].title, table[key].mark) for key in sorted(set(keys)))
