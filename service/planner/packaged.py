"""A volume that is to be filled, as a target on the volume of the blend: what losses take is blended besides.

Where the settled layer is an estimate it depends on the juice in the plan, so that plan and layer are sought in turn
until the layer no longer moves; nothing is proved then. Without citrus juice the layer is nothing whatever the plan is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import erf, inf, isinf, sqrt
from time import perf_counter
from typing import Final

from service.errors import InconsistentError, InputError, ServiceError
from service.planner.answers_blend import TargetReport
from service.planner.answers_decisions import Clash, Relaxed
from service.planner.asked import Circumstances, PlanAsked, TargetAsked
from service.planner.losses import Losses, LossReport, blended_l, loss_report, packaged_l, packaged_span
from service.planner.materials import Material
from service.planner.plain_words import figure_in_words
from service.planner.plan_report import report_of
from service.planner.pulp import may_settle, settled
from service.planner.solving import Answered, answer
from service.planner.span import NORMAL_90, Span

PACKAGED: Final = "packaged_volume"

_SETTLED: Final = 1e-7
_ROUNDS: Final = 12


def with_volume(asked: PlanAsked) -> PlanAsked:
    """The question with what the volume to fill asks of the volume of the blend.

    Parameters: asked, in whose `targets` that volume stands already or not.
    Returns: the question; itself where nothing is to be filled.
    Raises: InputError where a volume is to be filled and no losses are known.
    """
    wanted, losses = asked.packaged, asked.losses
    if wanted is None:
        return asked
    if losses is None:
        raise InputError("A volume to fill needs the losses: give losses, or ask for the volume.", "/losses")
    ends = [v if v is None or isinf(v) else blended_l(max(v, 0.0), losses) for v in (wanted.low, wanted.high)]
    value = None if wanted.value is None else blended_l(wanted.value, losses)
    volume = TargetAsked("volume", ends[0], ends[1], value, f"{wanted.asked} to fill", wanted.priority)
    others = [t for t in asked.targets if t.name != "volume"]
    return replace(asked, targets=tuple(sorted((*others, volume), key=lambda t: t.name)))


def answer_before_losses(asked: PlanAsked, materials: Sequence[Material]) -> tuple[PlanAsked, Answered]:
    """Solve a question, with the settled layer that its own plan leaves.

    Parameters: asked; materials, sorted.
    Returns: the question with what it asks of the volume of the blend, and the answer.
    Raises: InputError where plan and layer do not settle; ServiceError as `answer`.
    """
    if asked.packaged is None or asked.losses is None or not asked.losses.estimate or not may_settle(materials):
        return asked, answer(asked, materials)
    until = perf_counter() + asked.deadline_s
    share, last = -inf, inf
    for _ in range(_ROUNDS):
        found = answer(asked, materials)
        if not found.result.solution.found:
            return asked, found
        losses = settled(asked.losses, materials, found.numbers.masses_g(found.result.x))
        share, last = losses.settling_share.value, share
        if abs(share - last) <= _SETTLED:
            return asked, replace(found, settled=False)
        left = max(until - perf_counter(), 0.1 * asked.deadline_s)
        asked = with_volume(replace(asked, losses=losses, deadline_s=left))
    raise InputError(
        "What settles and what is blended chase each other here: give the settled layer as a share, or by a jar test.",
        "/losses/settling",
    )


def losses_told(
    losses: Losses | None,
    materials: Sequence[Material],
    masses_g: Sequence[float],
    volume: Span,
    circumstances: Circumstances,
) -> tuple[Losses | None, LossReport | None]:
    """The losses of a plan with its own settled layer, and what they leave; None where none were given.

    Parameters: losses; materials; masses_g of each [g]; volume of the blend [L]; circumstances.
    Returns: losses and their report.
    Raises: ServiceError below /losses where they take more than there is.
    """
    if losses is None:
        return None, None
    losses = settled(losses, materials, masses_g)
    try:
        return losses, loss_report(volume, losses, circumstances.system)
    except InconsistentError as error:
        raise error.below("/losses") from error


def with_packaged_told(
    reports: Sequence[TargetReport], asked: PlanAsked, losses: Losses | None, volume: Span, share: float
) -> tuple[TargetReport, ...]:
    """What became of the targets, the one on the volume told as the volume to fill.

    Parameters: reports; asked; losses of the plan; volume of the blend [L]; share of what counts as
        exact within which a target is met.
    Returns: reports.
    """
    wanted = asked.packaged
    if wanted is None or losses is None:
        return tuple(reports)
    left = packaged_span(volume, losses)
    found = []
    for report in reports:
        if report.property != "volume":
            found.append(report)
            continue
        own = report_of(replace(wanted, name="volume"), left.value, share)
        chance = report.chance if losses.settling_share.low == losses.settling_share.high else _chance(left, wanted)
        marginal = None if report.marginal is None else f"of the blend, before losses: {report.marginal}"
        found.append(replace(own, property=PACKAGED, chance=chance, binding=report.binding, marginal=marginal))
    return tuple(sorted(found, key=lambda r: r.property))


def _chance(left: Span, wanted: TargetAsked) -> float:
    """The chance that what is left lies in a range, each side of it a normal law of its own."""

    def below(level: float) -> float:
        sd = ((left.high - left.value) if level > left.value else (left.value - left.low)) / NORMAL_90
        if isinf(level) or sd <= 0.0:
            return 1.0 if level > left.value else 0.0
        return 0.5 * (1.0 + erf((level - left.value) / (sd * sqrt(2.0))))

    return round(max(below(wanted.high) - below(wanted.low), 0.0), 3)


def with_losses_told(clash: Clash | None, asked: PlanAsked, losses: Losses | None) -> Clash | None:
    """A clash whose volume is told as the volume to fill.

    Parameters: clash, of the blend before losses; asked; losses of the plan.
    Returns: the clash; itself where nothing is to be filled.
    """
    if clash is None or asked.packaged is None or losses is None:
        return clash
    text = clash.text
    if "volume" in (*clash.conflict, *(r.member for r in clash.relax)):
        text += (
            f" Volumes are those of the blend, before losses: {100.0 * losses.kept_share:.3g} % of it is left to fill, "
            "less what is lost by volume."
        )
    relax = tuple([r for r in (_filled(r, asked, losses) for r in clash.relax) if r is not None])
    conflict = tuple(PACKAGED if member == "volume" else member for member in clash.conflict)
    return replace(clash, conflict=conflict, relax=relax, text=text)


def _filled(relaxed: Relaxed, asked: PlanAsked, losses: Losses) -> Relaxed | None:
    if relaxed.member != "volume":
        return relaxed
    try:
        left = packaged_l(relaxed.value, losses)
    except ServiceError:
        return None
    to = f"{figure_in_words('volume', left, asked.circumstances)} to fill"
    return replace(relaxed, member=PACKAGED, to=to, value=float(f"{left:.7g}"))
