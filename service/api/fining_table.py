"""A fining plan as flat rows, one for each agent, and as lines of text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import Any

from service.api.tables import Row
from service.planner.fining.answers import FiningPlan


def fining_rows(plan: FiningPlan) -> list[Row]:
    """One row for each agent: the wish, `stop` cautions, its verdict, range, limit, lees and what it is made of.

    Parameters: plan.
    Returns: rows of equal columns.
    """
    stop = " | ".join(c.text for c in plan.cautions if c.level == "stop")
    rows: list[Row] = []
    for agent in plan.agents:
        dose, stirred = agent.dose, agent.dose.dispersion
        rows.append(
            {
                "batch": plan.batch,
                "date": plan.date,
                "haze": plan.haze,
                "problems": " ".join(plan.problems),
                "volume_l": plan.volume_l,
                "stop": stop,
                "agent": agent.agent,
                "verdict": agent.verdict,
                "rank": agent.rank,
                "proposed": "yes" if agent.proposed else "no",
                "because": agent.because,
                "keeps_pectin_cloud": agent.keeps_pectin_cloud,
                "low_mg_per_l": dose.low_mg_per_l,
                "high_mg_per_l": dose.high_mg_per_l,
                "low_g": dose.low_g,
                "high_g": dose.high_g,
                "amount": dose.amount_text,
                "dispersion_percent": None if stirred is None else stirred.strength_percent,
                "dispersion_low_ml": None if stirred is None else stirred.low_ml,
                "dispersion_high_ml": None if stirred is None else stirred.high_ml,
                "water_percent": None if stirred is None else stirred.water_percent,
                "legal_status": agent.legal.status,
                "limit_mg_per_l": agent.legal.limit_mg_per_l,
                "limit_edition": agent.legal.edition,
                "lees_low_percent": None if agent.lees is None else agent.lees.low_percent,
                "lees_high_percent": None if agent.lees is None else agent.lees.high_percent,
                "allergen": agent.allergen,
                "vegetarian": "yes" if agent.vegetarian else "no",
                "mark": dose.mark,
            }
        )
    return rows


def agents_and_haze(body: dict[str, Any], width: int) -> list[str]:
    """The middle of the table; cautions stand around it.

    Parameters: body, the JSON of a plan; width of a line [characters].
    Returns: lines.
    """
    return [part for line in _lines(body) for part in textwrap.wrap(line, width, subsequent_indent="  ") or [""]]


def _lines(body: dict[str, Any]) -> Iterator[str]:
    yield f"{body['haze']}: {body['summary']}"
    yield ""
    yield f"Agents for {body['volume_l']:g} L, ranges to try in glasses:"
    for agent in body["agents"]:
        rank = "-" if agent["rank"] is None else str(agent["rank"])
        marked = " (proposed)" if agent["proposed"] else ""
        yield f"{rank}. {agent['name']}, {agent['verdict'].replace('_', ' ')}{marked}: {agent['because']}"
        if agent["rank"] is None:
            continue
        yield f"   dose {agent['dose']['amount_text']} ({agent['dose']['mark']})"
        if agent["proposed"]:
            yield f"   takes {agent['takes']}; leaves {agent['leaves']}"
            if agent["dose"]["dispersion"]:
                yield f"   {agent['dose']['dispersion']['text']}"
            yield f"   {agent['legal']['text']}"
    yield ""
    yield (
        f"Left after the lees: {body['after']['low_l']:.4g} to {body['after']['high_l']:.4g} L. {body['after']['text']}"
    )
    yield ""
    yield "What clouds it, or could:"
    for source in body["haze_sources"]:
        much = "" if source["g_per_l"] is None else f", {source['g_per_l']:.3g} g/L"
        made = ", ".join(part["name"] for part in source["parts"])
        came = f" (from {made})" if made else ""
        yield f"- {source['what']}, {source['present']}{much}{came}: {source['text']}"
    yield ""
    yield "What drops a citrus haze:"
    for dropper in body["what_would_drop_the_haze"]:
        yield f"- {dropper['what'].replace('_', ' ')}, {dropper['present']}: {dropper['text']} {dropper['do']}"
    yield ""
    yield "Tests of a glass:"
    for test in body["diagnosis"]:
        yield f"- {test['how']} Yes: {test['if_yes']} No: {test['if_no']} ({test['told'].replace('_', ' ')})"
    yield ""
    yield "Steps:"
    days = {appointment["step"]: appointment["date"] for appointment in body["schedule"]}
    for number, step in enumerate(body["steps"], 1):
        wait = f"after {step['wait_min_h']:g} h: " if step["wait_min_h"] else ""
        amount = f" [{step['amount_text']}]" if step["amount_text"] else ""
        day = f"{days[number]} " if number in days else ""
        yield f"{number}. {day}{wait}{step['do']}{amount} {step['check']}"
