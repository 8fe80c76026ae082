"""Clear a drink, or keep its haze: what clouds it, which agents suit, how much to try, in what order."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import isclose
from typing import Final

from service import MODEL_VERSION
from service.catalogue.fining import AgentName, HazeKind
from service.catalogue.loader import data_version, sources
from service.errors import InputError
from service.model.lot_class import Assumed
from service.planner.answers import SourceCited
from service.planner.drink import Span
from service.planner.fining.answers import AgentDose, AgentReport, FiningPlan, HazeDropper, VolumeAfter
from service.planner.fining.asked import FiningAsked
from service.planner.fining.cautions import cautions_of
from service.planner.fining.choice import Judged, judge, proposed
from service.planner.fining.doses import dose_of, lees_of, legal_of
from service.planner.fining.dropping import calcium_of, droppers, enzyme_of
from service.planner.fining.handed_on import next_of
from service.planner.fining.haze import Part, diagnoses, haze_sources, parts_of, problems_of, suspects_of
from service.planner.fining.steps import readings_of, steps_of
from service.planner.work import schedule_of

_WORDS: Final[dict[HazeKind, str]] = {
    "yeast": "yeast",
    "pulp": "pulp",
    "pectin": "a pectin haze",
    "protein": "a chill haze of protein",
    "tannin": "tannin",
}


def plan_fining(asked: FiningAsked) -> FiningPlan:
    """Every agent with its verdict and range, what clouds the drink, what would drop a haze, and the work in order.

    Parameters: asked, in base units.
    Returns: FiningPlan.
    Raises: InputError where the volume is missing; InconsistentError where tests and problem exclude each other.

    Example: pulp in 19 L; gelatin takes it, 0.3 to 2.9 g (computed), with silica sol beside it.

    >>> from service.planner.drink import DrinkRead, drink_from_figures
    >>> one = Span.exact
    >>> drink = drink_from_figures(DrinkRead(one(19.0), None, one(6.5), one(60.0), citrus_percent=25.0))
    >>> plan = plan_fining(FiningAsked(drink, "clear", problem="pulp", avoid=("fish",), market="us"))
    >>> [(a.agent, a.dose.low_g, a.dose.high_g) for a in plan.agents if a.proposed]
    [('gelatin', 0.285, 2.85), ('silica_sol', 0.57, 5.7)]
    """
    volume_l = asked.drink.volume_l
    if volume_l is None:
        raise InputError("Say how much of the drink there is: volume.", "/drink/volume")
    circumstances, market = asked.circumstances, asked.market or "none"
    parts, problems = parts_of(asked.drink), problems_of(asked)
    found = haze_sources(asked, parts, problems)
    judged = judge(asked, problems, suspects_of(found))
    chosen = proposed(judged)
    # an unknown haze is tried in glasses only
    dosed = chosen if problems else ()
    doses = {j.agent.id: dose_of(j.agent, volume_l, asked.haze, circumstances) for j in judged}
    agents = tuple(_report(j, doses, asked, volume_l) for j in judged)
    enzyme, calcium = enzyme_of(asked.drink, parts), calcium_of(asked, parts)
    dropping = droppers(asked, enzyme, calcium, found, [j.agent.id for j in chosen])
    water = _water_percent(dosed, doses)
    after = _after(dosed, volume_l)
    cautions = cautions_of(asked, problems, judged, parts, enzyme, found, dropping, volume_l, water)
    steps = steps_of(asked, problems, chosen, doses, enzyme, volume_l, after)
    tests = diagnoses(asked.observations)
    keys = (
        *(c.source_id for c in cautions),
        *(s.source_id for s in steps),
        *(key for agent in agents for key in _keys(agent)),
        *(source.source_id for source in found),
        *(dropper.source_id for dropper in dropping),
        *(test.source_id for test in tests),
    )
    return FiningPlan(
        haze=asked.haze,
        summary=_summary(asked, problems, chosen, dropping),
        market=market,
        problems=problems,
        agents=agents,
        haze_sources=found,
        what_would_drop_the_haze=dropping,
        diagnosis=tests,
        volume_l=round(volume_l.value, 4),
        after=after,
        water_percent=round(water, 4),
        steps=steps,
        schedule=schedule_of(steps, circumstances.start_date),
        next=next_of(asked, chosen, dosed, doses, volume_l, after),
        units=circumstances.system,
        assumed=tuple(dict.fromkeys((*circumstances.assumed, *asked.drink.assumed, *_assumed(asked, parts, volume_l)))),
        cautions=cautions,
        next_reading=readings_of(asked, problems, dosed, after),
        sources=tuple(SourceCited(key, sources()[key].title, sources()[key].mark) for key in sorted(set(keys))),
        model_version=MODEL_VERSION,
        data_version=data_version(),
        batch=circumstances.echo.batch,
        date=circumstances.echo.date,
        note=circumstances.echo.note,
    )


def _report(judged: Judged, doses: dict[AgentName, AgentDose], asked: FiningAsked, volume_l: Span) -> AgentReport:
    agent = judged.agent
    return AgentReport(
        agent=agent.id,
        name=agent.name,
        verdict=judged.verdict,
        because=judged.because,
        rank=judged.rank,
        proposed=judged.proposed,
        takes=agent.takes_text,
        leaves=agent.leaves_text,
        charge=agent.charge,
        keeps_pectin_cloud=agent.pectin_cloud,
        cloud_text=agent.pectin_cloud_text,
        dose=doses[agent.id],
        legal=legal_of(agent, asked.market or "none", volume_l),
        origin=agent.origin,
        allergen=agent.allergen,
        vegetarian=agent.vegetarian,
        lees=lees_of(agent, volume_l),
        source_id=agent.takes_source,
    )


def _keys(agent: AgentReport) -> Iterator[str]:
    yield from (agent.source_id, agent.dose.source_id, agent.legal.source_id)
    if agent.lees is not None:
        yield agent.lees.source_id


def _water_percent(chosen: Sequence[Judged], doses: dict[AgentName, AgentDose]) -> float:
    """Water of everything proposed at its high dose, of the volume at the low end of its interval [%]."""
    dispersions = [doses[one.agent.id].dispersion for one in chosen]
    return sum(d.water_percent for d in dispersions if d is not None)


def _after(chosen: Sequence[Judged], volume_l: Span) -> VolumeAfter:
    """Volume after the lees of what is proposed; silica sol and gelatin make one layer together."""
    low, high = volume_l.low, volume_l.high
    counted, unknown = [], []
    for one in chosen:
        share = one.agent.lees_percent
        if share is None:
            unknown.append(one.agent.name)
        elif not (one.agent.id == "silica_sol" and any(o.agent.id == "gelatin" for o in chosen)):
            low *= 1.0 - share.high / 100.0
            high *= 1.0 - share.low / 100.0
            counted.append(f"{share.low:g} to {share.high:g} % with {one.agent.name} ({share.mark})")
    text = f"Lees take {', '.join(counted)}." if counted else "No lees are counted."
    if unknown:
        text += f" No share is on file for {', '.join(unknown)}."
    text += " What settles by itself comes on top: the jar tells."
    return VolumeAfter(round((low + high) / 2.0, 4), round(low, 4), round(high, 4), text)


def _summary(
    asked: FiningAsked, problems: Sequence[HazeKind], chosen: Sequence[Judged], dropping: Sequence[HazeDropper]
) -> str:
    names = ", then ".join(one.agent.name for one in chosen)
    what = " and ".join(_WORDS[problem] for problem in problems)
    if asked.haze == "keep":
        at_work = [d.what.replace("_", " ") for d in dropping if d.present in ("yes", "possible")]
        first = (
            f"Keep the haze: against {what} try {names} in glasses, and stop where the cloud goes."
            if chosen
            else "Keep the haze: fine with nothing."
        )
        if problems and not chosen:
            first = f"Keep the haze: nothing that is left takes {what} without taking the cloud too."
        second = f"At work, or perhaps: {', '.join(at_work)}." if at_work else "Nothing told would drop it; watch it."
        return f"{first} {second}"
    if problems:
        if not chosen:
            return f"No agent that is left takes {what}: allow more of them, or give it time and cold."
        return f"Against {what}: {names}, in glasses first and the least dose that does it; stabilise afterwards."
    tried = f"; until then glasses with {names} tell most" if chosen else ""
    return f"Find out what the haze is before dosing: the three tests below tell{tried}."


_VOLUME_ERROR_PERCENT: Final = 2.0


def _assumed(asked: FiningAsked, parts: Sequence[Part], volume_l: Span) -> Iterator[Assumed]:
    circumstances = asked.circumstances
    tools = circumstances.instruments
    if asked.market is None:
        yield Assumed(
            "market", "none", "our default: the list of the United States stands as a guide", "say whose law holds"
        )
    if not tools.scale_given:
        yield Assumed("scale", f"{tools.scale_step_g:g} g", "common practice, no source", "what your own shows")
    usual = Span.read(volume_l.value, volume_l.value * _VOLUME_ERROR_PERCENT / 100.0)
    if not asked.drink.materials and "volume" not in tools.given and isclose(volume_l.low, usual.low):
        yield Assumed(
            "error of the volume",
            f"{_VOLUME_ERROR_PERCENT:g} %",
            "common practice, no source",
            "write it beside the volume, such as “19 L ± 0.3 L”",
        )
    if asked.pectinase_used is None:
        yield Assumed("pectinase_used", "not known", "nothing was told", "ask what went into the must")
    if asked.water_calcium_mg_per_l is None and not asked.drink.lots and not parts:
        yield Assumed("water_calcium_mg_per_l", "not known", "nothing was told", "the local water report")
    for part in parts:
        if part.citrus and part.treatment is None:
            said = "of unknown treatment, perhaps raw" if part.fresh else "heated when it was made"
            yield Assumed(
                f"{part.name}: treatment",
                said,
                "common practice, no source",
                "say whether it is raw, pasteurised or filtered sterile",
            )
    if asked.agents is None or "silica_sol" in asked.agents:
        yield Assumed(
            "dose of silica sol",
            "of the 30 % sol as it is sold",
            "the source does not say; the smaller of the two readings",
            "the sheet of its maker",
        )
