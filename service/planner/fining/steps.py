"""The steps of a fining plan, and what to measure between them. A wait is the least; the check decides."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from service.catalogue.fining import AgentName, HazeKind
from service.planner.answers import PRACTICE, NextReading
from service.planner.asked import Circumstances
from service.planner.drink import Span, fermented
from service.planner.fining.answers import AgentDose, VolumeAfter
from service.planner.fining.asked import FiningAsked
from service.planner.fining.choice import Judged
from service.planner.fining.dropping import Enzyme
from service.planner.work import WorkStep
from service.quantities import volume_text

COLD_STAND_H: Final = 48.0
"""Hours in the cold after which pulp and most yeast lie at the bottom (common practice, no source: two to three
days)."""

_OVERNIGHT_H: Final = 24.0
_AFTER_SOL_H: Final = 1.0
_WEEKS_H: Final = 336.0
"""Two weeks of watching a haze that may drop by itself (our default)."""


def steps_of(
    asked: FiningAsked,
    problems: Sequence[HazeKind],
    chosen: Sequence[Judged],
    doses: dict[AgentName, AgentDose],
    enzyme: Enzyme,
    volume_l: Span,
    after: VolumeAfter,
) -> tuple[WorkStep, ...]:
    """What to do, in order.

    Parameters: asked; problems; chosen agents in the order in which they go in; doses by agent; enzyme; volume_l;
    after, the volume that is left.
    Returns: steps.
    """
    steps = list(_before(asked, problems, volume_l))
    if asked.haze == "keep":
        steps += _for_keeping(enzyme, fined=bool(chosen))
    if chosen:
        steps += _fining(asked, problems, chosen, doses, after)
    if problems or asked.haze == "keep" or not chosen:
        steps += _afterwards(asked, enzyme)
    elif asked.colour_wanted:
        steps.append(
            WorkStep(
                "Leave the colour until the drink is fined and clear: it goes in after fining, before packaging.",
                "",
                0.0,
                "The next plan has the step; an agent that is put in later takes some of the colour.",
                PRACTICE,
            )
        )
    return tuple(steps)


def _litres(litres: float, circumstances: Circumstances) -> str:
    return volume_text(1000.0 * litres, circumstances.system, circumstances.instruments.jug_step_ml)


def _before(asked: FiningAsked, problems: Sequence[HazeKind], volume_l: Span) -> Iterator[WorkStep]:
    ferment = "Let the ferment end, then rack" if fermented(asked.drink) else "Rack"
    yield WorkStep(
        f"{ferment} the drink off what has settled into a clean vessel, and read the volume: every dose goes by it.",
        "",
        0.0,
        f"Expected {_litres(volume_l.value, asked.circumstances)}; "
        f"{'gravity the same on two days, no gas rising' if fermented(asked.drink) else 'no bubbles'}.",
        PRACTICE,
    )
    if not problems and asked.haze == "clear":
        yield WorkStep(
            "Find out what the haze is: warm a cold glass, do the spirit test, stand a glass in the cold.",
            "",
            0.0,
            "One test says yes; then ask again with what was seen.",
            PRACTICE,
        )
    yield WorkStep(
        "Stand it as cold as can be, and a jar of 1 L beside it to see how thick the layer gets.",
        "",
        0.0,
        "The layer does not grow any more; what settles by itself needs no agent.",
        PRACTICE,
    )
    yield WorkStep(
        "Rack off the layer.",
        "",
        COLD_STAND_H,
        "Is it as wanted already? Then stop here: the least fining is none.",
        PRACTICE,
    )


def _for_keeping(enzyme: Enzyme, *, fined: bool) -> Iterator[WorkStep]:
    if enzyme.present in ("yes", "possible"):
        names = " and ".join(enzyme.names)
        yield WorkStep(
            f"If {names} has still to go in, take pasteurised concentrate for it, or heat it through first.",
            "",
            0.0,
            "About 90 °C stops the enzyme of orange (from memory, unverified); 60 to 70 °C does not reliably.",
            "ellerbee",
        )
    yield WorkStep(
        "Use soft water for whatever is diluted; lower acid with potassium bicarbonate, never with chalk.",
        "",
        0.0,
        "Calcium on the water report: well below 100 mg/L.",
        "galant_2014",
    )
    if not fined:
        yield WorkStep(
            "Add no fining agent, no pectinase and no bentonite.",
            "",
            0.0,
            "The haze is even, from top to bottom.",
            PRACTICE,
        )


def _fining(
    asked: FiningAsked,
    problems: Sequence[HazeKind],
    chosen: Sequence[Judged],
    doses: dict[AgentName, AgentDose],
    after: VolumeAfter,
) -> Iterator[WorkStep]:
    names = ", ".join(one.agent.name for one in chosen)
    yield WorkStep(
        f"Bench trial: glasses with none, the low, a middle and the high dose of {names}, stirred alike.",
        "",
        0.0,
        "After a day, cold and warm: the least dose that "
        + (
            "takes the fault and leaves the haze."
            if asked.haze == "keep"
            else "clears; taste it beside the glass with none."
        ),
        PRACTICE,
    )
    if not problems:
        yield WorkStep(
            "Ask again with what the tests showed and which glass helped; put nothing into the whole before.",
            "",
            _OVERNIGHT_H,
            "It is known what the haze is.",
            PRACTICE,
        )
        return
    wait = _OVERNIGHT_H
    for one in chosen:
        agent, dose = one.agent, doses[one.agent.id]
        yield WorkStep(
            f"{agent.name}: {agent.disperse_text}; stir it through the whole drink, the least dose that did it in the "
            "glasses.",
            dose.amount_text,
            wait,
            "Evenly spread, without whipping in air.",
            dose.source_id,
        )
        wait = _AFTER_SOL_H if agent.id == "silica_sol" else agent.settle_h if agent.id == "pectinase" else _OVERNIGHT_H
    settled = max(one.agent.settle_h for one in chosen)
    yield WorkStep(
        "Rack off the lees and read the volume again.",
        "",
        settled,
        f"Layer compact, liquid {'hazy and even' if asked.haze == 'keep' else 'bright against print'}; expect "
        f"{_litres(after.low_l, asked.circumstances)} to {_litres(after.high_l, asked.circumstances)}. If it is not, "
        "go back to the tests: no second dose.",
        PRACTICE,
    )
    filtered = [one.agent.name for one in chosen if one.agent.us_filter_out]
    if filtered and asked.market != "eu" and asked.haze == "clear":
        yield WorkStep(
            f"Filter, so that {' and '.join(filtered)} is taken out again.",
            "",
            0.0,
            "Nothing swirls up in the light of a torch.",
            "cfr27_24_246",
        )


def _afterwards(asked: FiningAsked, enzyme: Enzyme) -> Iterator[WorkStep]:
    keep = asked.haze == "keep"
    yield WorkStep(
        "Stabilise with salts or heat; no sterile filtration."
        if keep
        else "Stabilise now, not before: agents take some of what was dosed, and racking takes yeast.",
        "",
        0.0,
        "Ask for the doses of the volume as it is now, with its pH.",
        PRACTICE,
    )
    if asked.colour_wanted:
        yield WorkStep(
            "Colour now: after fining, before packaging.",
            "",
            0.0,
            "In the same glass and depth as the trial; a hazy drink can only be matched by eye.",
            PRACTICE,
        )
        yield WorkStep("Look at the colour again, then package.", "", _OVERNIGHT_H, "Still the same shade.", PRACTICE)
    if keep and enzyme.present != "no":
        yield WorkStep(
            "Fill two small bottles of plastic, one for the refrigerator and one for the store, and look each week.",
            "",
            0.0,
            "A bottle that hardens says that it referments: chill it and vent it behind a cover.",
            PRACTICE,
        )
        yield WorkStep(
            "Compare the two before the rest is shared out.",
            "",
            _WEEKS_H,
            "The haze still stands in both: no proof that it stays.",
            "ellerbee",
        )


def readings_of(
    asked: FiningAsked, problems: Sequence[HazeKind], chosen: Sequence[Judged], after: VolumeAfter
) -> tuple[NextReading, ...]:
    """What to measure next."""
    found: list[NextReading] = []
    if fermented(asked.drink):
        found.append(
            NextReading("read the gravity of a degassed sample twice, days apart: it must not fall", "hydrometer")
        )
    if asked.observations.spirit_test_strings is None and not problems:
        found.append(NextReading("spirit test: are there strings?", "a glass, 95 % spirit"))
    if asked.observations.clears_when_warm is None and not problems:
        found.append(
            NextReading("warm a cold, hazy glass: does it clear?", "two glasses, a water bath", wait_min_h=_OVERNIGHT_H)
        )
    found.append(
        NextReading(
            "height of the settled layer over the whole height, in a straight jar stood cold",
            "ruler and jar of 1 L",
            unit="%",
            wait_min_h=COLD_STAND_H,
        )
    )
    if chosen:
        found.append(
            NextReading(
                "volume after racking off the lees",
                "marks of the vessel",
                after.value_l,
                "L",
                "20 °C",
                max(one.agent.settle_h for one in chosen),
                after.low_l,
                after.high_l,
            )
        )
    return tuple(found)
