"""The work in order as lines of text, with its days, and where each question that can follow is asked."""

from __future__ import annotations

from typing import Any

from service.api.blend_table import wrapped


def work_in_order(body: dict[str, Any]) -> list[str]:
    """The steps of an answer, each with its day where a start was given, else with its wait.

    Parameters: body, the JSON of an answer.
    Returns: lines; none without steps.
    """
    steps, days = body.get("steps") or [], {a["step"]: a for a in body.get("schedule") or []}
    if not steps:
        return []
    lines = ["", "Steps:"]
    for number, step in enumerate(steps, 1):
        wait = f"after {step['wait_min_h']:g} h: " if step["wait_min_h"] else ""
        day = f"{days[number]['date']}, day {days[number]['day']}: " if number in days else ""
        amount = f" [{step['amount_text']}]" if step["amount_text"] else ""
        lines += wrapped(f"{number}. {day}{wait}{step['do']}{amount} {step['check']}".rstrip(), "  ")
    return lines


def following(body: dict[str, Any]) -> list[str]:
    """Where each question that can follow is asked.

    Parameters: body, the JSON of an answer.
    Returns: lines; none where nothing can follow.
    """
    calls = body.get("next") or {}
    lines = [line for call in calls.values() for line in wrapped(f"Then: POST {call['path']}. {call['text']}", "  ")]
    return ["", *lines] if lines else []
