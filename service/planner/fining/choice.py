"""Which agents suit the wish, which work against it, which may not go in, and in what order to try the rest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from service.catalogue.fining import AgentName, FiningAgent, HazeKind, fining_agents
from service.planner.fining.answers import AgentVerdict
from service.planner.fining.asked import Avoided, FiningAsked

_MAY_BE_TRIED: Final[tuple[AgentVerdict, ...]] = ("suits", "needs_bench_test", "of_little_use")
_MADE_FROM: Final[dict[Avoided, str]] = {
    "egg": "egg",
    "milk": "milk",
    "fish": "fish",
    "shellfish": "crustaceans",
}
_TRIED_IN_ORDER: Final[tuple[HazeKind, ...]] = ("pulp", "protein", "yeast", "tannin")
_MOST_TO_TRY: Final = 2
"""Agents to try in glasses where the haze is not known."""


@dataclass(frozen=True, slots=True)
class Judged:
    """An agent with its verdict; `strength` is 2 where it takes the problem, 1 where it takes some of it."""

    agent: FiningAgent
    verdict: AgentVerdict
    because: str
    strength: int
    rank: int | None = None
    proposed: bool = False


def judge(asked: FiningAsked, problems: Sequence[HazeKind], suspects: Sequence[HazeKind]) -> tuple[Judged, ...]:
    """Every agent, those that may be tried first.

    What must not go in comes before what would not help. Among equals an agent that the list on file names comes first,
    then one without allergen, then one that is not made of animals, then the order of the table (our default).

    Parameters: asked; problems, what the haze is; suspects, what it may be where that is not known.
    Returns: agents in the order of their rank, then the others.

    >>> from service.planner.drink import DrinkRead, Span, drink_from_figures
    >>> one = Span.exact
    >>> drink = drink_from_figures(DrinkRead(one(19.0), None, one(6.5), one(60.0)))
    >>> [judged.agent.id for judged in judge(FiningAsked(drink, "clear"), ("pectin",), ()) if judged.proposed]
    ['pectinase']
    """
    found = [_judged(agent, asked, problems, suspects) for agent in fining_agents().values()]
    ordered = sorted(
        found,
        key=lambda j: (
            _MAY_BE_TRIED.index(j.verdict) if j.verdict in _MAY_BE_TRIED else len(_MAY_BE_TRIED),
            -j.strength,
            not j.agent.us_listed,
            j.agent.allergen is not None,
            j.agent.of_an_animal,
        ),
    )
    proposed = _proposed(asked, ordered, problems, suspects)
    result, rank = [], 0
    for judged in ordered:
        number = None
        if judged.verdict in _MAY_BE_TRIED:
            rank += 1
            number = rank
        result.append(
            Judged(
                judged.agent,
                judged.verdict,
                judged.because,
                judged.strength,
                number,
                judged.agent.id in proposed,
            )
        )
    return tuple(result)


def usable(judged: Sequence[Judged]) -> tuple[Judged, ...]:
    """Those that may be tried."""
    return tuple(j for j in judged if j.rank is not None)


def proposed(judged: Sequence[Judged]) -> tuple[Judged, ...]:
    """Those that the steps use, in the order in which they go in: enzymes, then clay, then what takes the rest."""
    order = list(_ORDER_OF_WORK)
    return tuple(sorted((j for j in judged if j.proposed), key=lambda j: order.index(j.agent.id)))


_ORDER_OF_WORK: Final[tuple[AgentName, ...]] = (
    "pectinase",
    "bentonite",
    "pvpp",
    "casein",
    "silica_sol",
    "gelatin",
    "egg_white",
    "isinglass",
    "chitosan",
    "activated_carbon",
)
"""Common practice, no source: bentonite would take an enzyme out, and gelatin packs what came before it."""


def _strength(agent: FiningAgent, kinds: Sequence[HazeKind]) -> int:
    return max((2 if kind in agent.takes else 1 if kind in agent.takes_some else 0 for kind in kinds), default=0)


def _judged(
    agent: FiningAgent, asked: FiningAsked, problems: Sequence[HazeKind], suspects: Sequence[HazeKind]
) -> Judged:
    strength = _strength(agent, problems or suspects)
    refused = _refused(agent, asked)
    if refused is not None:
        return Judged(agent, refused[0], refused[1], strength)
    if asked.haze == "keep":
        return _for_a_haze(agent, problems, strength)
    if agent.id == "activated_carbon":
        return Judged(agent, "of_little_use", "It strips colour and flavour and is no way to clear a haze.", 0)
    if problems:
        told = " and ".join(problems)
        if strength == 2:
            return Judged(
                agent, "suits", f"It takes {told if len(problems) == 1 else _taken(agent, problems)}.", strength
            )
        if strength == 1:
            return Judged(agent, "needs_bench_test", f"It takes some {_taken(agent, problems)}.", strength)
        return Judged(agent, "of_little_use", f"It is not made for {told}: it takes {agent.takes_text}.", strength)
    if strength:
        kinds = _taken(agent, suspects)
        return Judged(
            agent, "needs_bench_test", f"What the haze is was not told: it would help if it is {kinds}.", strength
        )
    return Judged(agent, "of_little_use", "Nothing that it takes is likely in this drink.", strength)


def _taken(agent: FiningAgent, kinds: Sequence[HazeKind]) -> str:
    best = [kind for kind in kinds if kind in agent.takes]
    return " or ".join(best or [kind for kind in kinds if kind in agent.takes_some])


def _refused(agent: FiningAgent, asked: FiningAsked) -> tuple[AgentVerdict, str] | None:
    for avoided in asked.avoid:
        if avoided == "animal":
            if agent.of_an_animal:
                return "avoid", f"It is made of {_made_of(agent)}."
        elif agent.allergen == _MADE_FROM[avoided]:
            return "avoid", f"It is made of {_made_of(agent)}."
    if asked.agents is not None and agent.id not in asked.agents:
        return "not_allowed", "It is not among the agents of the request."
    if asked.market == "us" and not agent.us_listed:
        return "not_allowed", f"27 CFR 24.246, 2015 edition: {agent.us_text}. Check the current text."
    if agent.id == "pectinase" and asked.pectinase_used and asked.haze == "clear":
        return "of_little_use", "A pectinase was used already: give it time, and test for pectin again."
    return None


def _made_of(agent: FiningAgent) -> str:
    return agent.allergen or "animals"


def _for_a_haze(agent: FiningAgent, problems: Sequence[HazeKind], strength: int) -> Judged:
    cloud = f"Cloud of pectin: {agent.pectin_cloud_text}."
    if agent.pectin_cloud == "lost":
        return Judged(agent, "works_against_haze", cloud, strength)
    if problems and not strength:
        return Judged(agent, "of_little_use", f"It is not made for {' and '.join(problems)}.", strength)
    return Judged(agent, "suits" if agent.pectin_cloud == "kept" else "needs_bench_test", cloud, strength)


def _proposed(
    asked: FiningAsked, ordered: Sequence[Judged], problems: Sequence[HazeKind], suspects: Sequence[HazeKind]
) -> frozenset[AgentName]:
    """For each problem the first that takes it; gelatin with silica sol where nothing has to stay cloudy."""
    may = [j for j in ordered if j.verdict in ("suits", "needs_bench_test") and j.strength]
    if not problems:
        return frozenset() if asked.haze == "keep" else _to_try(may, suspects)
    found: set[AgentName] = set()
    for problem in problems:
        best = _best(may, problem)
        if best is not None:
            found.add(best)
    if asked.haze == "clear" and "gelatin" in found and any(j.agent.id == "silica_sol" for j in _may_enter(ordered)):
        found.add("silica_sol")
    return frozenset(found)


def _best(may: Sequence[Judged], kind: HazeKind) -> AgentName | None:
    """The first of those that take most of one kind of haze."""
    able = [j for j in may if _strength(j.agent, (kind,))]
    return max(able, key=lambda j: _strength(j.agent, (kind,))).agent.id if able else None


def _to_try(may: Sequence[Judged], suspects: Sequence[HazeKind]) -> frozenset[AgentName]:
    """What tells most in glasses where the haze is not known; never a pectinase, which cannot be undone."""
    open_to = [j for j in may if j.agent.id != "pectinase"]
    found: list[AgentName] = []
    for kind in _TRIED_IN_ORDER:
        best = _best(open_to, kind) if kind in suspects else None
        if best is not None and best not in found:
            found.append(best)
    return frozenset(found[:_MOST_TO_TRY])


def _may_enter(ordered: Sequence[Judged]) -> tuple[Judged, ...]:
    return tuple(j for j in ordered if j.verdict in _MAY_BE_TRIED)
