"""Cautions of a correction: readings that do not fit, and what was poured before the plan.

Each at most thirty words, with the key of its source. Nothing here ever says that a drink is harmless.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from service.planner.answers import OUR_DEFAULT, PRACTICE, Caution, Predicted
from service.planner.answers_blend import BlendPlan
from service.planner.cautions import cautions_for, sorted_once
from service.planner.correction.answers import Consistency
from service.planner.correction.asked import CorrectionAsked
from service.planner.correction.belief import Belief
from service.planner.correction.told import Told

_OVER: Final = 1e-6


def cautions_of(
    asked: CorrectionAsked, belief: Belief, told: Told, consistency: Consistency, drink: Predicted, plan: BlendPlan
) -> tuple[Caution, ...]:
    """All cautions of a correction, the gravest first; what is in the vessel counts beside what the plan adds."""
    return sorted_once(
        [
            *_readings(consistency),
            *_limits(belief, told),
            *_more_than_meant(asked, told),
            Caution(
                "mixed_before_reading",
                "note",
                "Honey and concentrate settle: stir well, wait, degas the sample, and take every reading from the same "
                "one.",
                PRACTICE,
            ),
            *plan.cautions,
            *_of_what_is_in(belief, drink, plan.cautions),
        ]
    )


def _readings(consistency: Consistency) -> Iterator[Caution]:
    if consistency.verdict == "inconsistent":
        yield Caution(
            "readings_do_not_fit",
            "stop",
            "The readings do not fit what was poured. What is poured cannot be taken out: find out what is off and "
            "read again before adding anything.",
            OUR_DEFAULT,
        )
    elif consistency.verdict == "doubtful":
        yield Caution(
            "readings_hardly_fit",
            "warning",
            "The readings hardly fit what was poured: read again before adding, and add in parts.",
            OUR_DEFAULT,
        )


def _limits(belief: Belief, told: Told) -> Iterator[Caution]:
    for what in told.held():
        yield Caution(
            "belief_at_a_limit",
            "note",
            f"The readings ask for more than is plausible of the {what}: it is held at its limit.",
            OUR_DEFAULT,
        )
    if belief.clipped:
        yield Caution(
            "belief_below_nothing",
            "note",
            "The readings would leave less than nothing of a part of the drink: it counts as none.",
            "arithmetic",
        )


def _more_than_meant(asked: CorrectionAsked, told: Told) -> Iterator[Caution]:
    for meant, used in zip(asked.plan.additions, asked.poured_additions, strict=True):
        if meant.most_g is not None and used.least_g > meant.most_g * (1.0 + _OVER):
            name = next(m.name for m, _ in told.by_name.values() if m.source is used)
            yield Caution(
                "more_than_meant",
                "note",
                f"More {told.plain[name]} was added than its limit: no more of it is proposed.",
                "arithmetic",
            )


def _of_what_is_in(belief: Belief, drink: Predicted, known: Sequence[Caution]) -> Iterator[Caution]:
    """Cautions of what was poured; of the whole drink only what the plan's cautions do not say."""
    codes = {caution.code for caution in known}
    names = [m.said for m, g in zip(belief.materials, belief.masses_g, strict=True) if g > 0.0]
    for caution in cautions_for(belief.materials, belief.left_g, belief.contents, drink, belief.circumstances):
        if caution.code not in codes or any(name.lower() in caution.text.lower() for name in names):
            yield caution
