"""The plan for the rest as a correction shows it: without remedies that are none once everything is poured, and with
no claim where the readings do not fit."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from service.planner.answers import Caution
from service.planner.answers_blend import BlendPlan
from service.planner.answers_decisions import Clash, Relaxed
from service.planner.correction.asked import VESSEL
from service.planner.correction.culprit import Verdict

_OF_VESSEL: Final = f" of {VESSEL}"
_SEVERAL, _ONE = "Any one of these alone would do: ", "This would do: "
_IF_TRUE: Final = {
    "targets_met": "every target would be met with these amounts",
    "nearest_measurable": "these amounts would come nearest to what can be measured out",
    "targets_clash": "the targets would clash, and these amounts would come nearest",
    "no_plan_found": "these amounts would be the nearest found",
}


def shown(plan: BlendPlan, verdict: Verdict) -> BlendPlan:
    """A plan for what is left to add, in words that hold of a vessel that is full.

    Parameters: plan, with the vessel as a lot; verdict on the readings.
    Returns: the plan, whose clash proposes no other amount of what is poured; where the readings do not fit, its
        summary claims nothing but what would follow from them.
    """
    clash = None if plan.clash is None else _without_the_vessel(plan.clash)
    summary = plan.summary
    if plan.clash is not None and clash is not None:
        summary = summary.replace(plan.clash.text, clash.text)
    if verdict == "inconsistent":
        summary = f"Not yet: find out what is off first. If every reading were true, {_IF_TRUE[plan.outcome]}."
    return replace(plan, clash=clash, summary=summary, cautions=tuple(_short(c) for c in plan.cautions))


def _short(caution: Caution) -> Caution:
    """A caution that names the vessel, in no more words than one of an ingredient."""
    if not caution.text.startswith(f"{VESSEL} "):
        return caution
    return replace(caution, text=caution.text.replace(VESSEL, "The drink", 1))


def _without_the_vessel(clash: Clash) -> Clash:
    left = tuple(r for r in clash.relax if not _of_the_vessel(r))
    text = clash.text
    for relaxed in clash.relax:
        if _of_the_vessel(relaxed):
            text = _without(text, relaxed)
    if len(left) == 1:
        text = text.replace(_SEVERAL, _ONE)
    return replace(clash, relax=left, text=text)


def _of_the_vessel(relaxed: Relaxed) -> bool:
    return relaxed.member.endswith(_OF_VESSEL)


def _without(text: str, relaxed: Relaxed) -> str:
    """The words of a clash without one way out."""
    for way in (
        *(f"{verb} {relaxed.to}{_OF_VESSEL}" for verb in ("pour only", "pour", "have", "take only", "take")),
        f"leave out {VESSEL}",
    ):
        if way not in text:
            continue
        for with_it, instead in (
            (f" {_ONE}{way}. Or add about ", " You could add about "),
            (f" {_ONE}{way}.", ""),
            (f" {_SEVERAL}{way}.", ""),
            (f"; {way}", ""),
            (f"{way}; ", ""),
        ):
            if with_it in text:
                return text.replace(with_it, instead)
    return text
