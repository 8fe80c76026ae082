"""What can be asked after a tasting: a blend that has the best level, a glass with the best dose, or another tasting.

A tasting knows no lot and no ingredient for certain: what stands in for them is named, to be replaced.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from service.catalogue.lookup import resolve_id
from service.errors import ServiceError
from service.planner.hand_over import call, volume_in
from service.planner.tasting.answers import BestDose, DifferenceReport, TryNext
from service.planner.tasting.asked import DifferenceAsked, ScoresAsked, TastingAsked
from service.planner.tasting.shown import rounded
from service.planner.work import NextCall

_STAND_IN: Final[dict[str, Any]] = {"name": "lot", "volume": "10 L", "gravity": 1.0, "abv_percent": 8.0}
"""A dry ferment, in place of the caller's lot."""

_STAND_IN_ADDITIONS: Final = ("honey", "lemon_juice_fresh", "water_deionised")
_OF_THE_LOT: Final = tuple(_STAND_IN)
_BASE_ML: Final = 1000.0


def _shared(asked: TastingAsked) -> dict[str, Any]:
    body: dict[str, Any] = {} if asked.echo.batch is None else {"batch": asked.echo.batch}
    if asked.system != "imperial":
        body["units"] = asked.system
    return body


def next_of_scores(
    asked: TastingAsked, given: ScoresAsked, best: BestDose | None, tries: TryNext | None, mean: float
) -> dict[str, NextCall]:
    """Requests that can follow scores at several doses.

    Parameters: asked; given; best, None where no optimum was found; tries, what another tasting should hold; mean of
        the scores, which stands in for those to come.
    Returns: calls by operation.
    """
    found = {}
    if best is not None and not best.at_the_edge:
        if given.level is not None:
            found["solve_blend"] = _blend(asked, given.level, target_body(given, best))
        elif (trial := _trial(asked, given, best)) is not None:
            found["scale_bench_trial"] = trial
    doses = () if tries is None else tries.doses
    if not doses and not found and best is not None:
        around = (best.low, best.dose, best.high)
        doses = tuple(sorted({dose for dose in around if dose is not None and dose >= 0.0}))
    if len(doses) > 1:
        found["judge_tasting"] = _again(asked, given, doses, mean)
    return found


def _blend(asked: TastingAsked, level: str, target: float | str | dict[str, float | str]) -> NextCall:
    """A stand-in lot brought to the best level."""
    additions = [{"ingredient": name} for name in _STAND_IN_ADDITIONS]
    body = {**_shared(asked), "lots": [dict(_STAND_IN)], "additions": additions, "targets": {level: target}}
    return call(
        "solve_blend",
        body,
        (*(f"/lots/0/{name}" for name in _OF_THE_LOT), "/additions"),
        "Amounts that bring your lot to the best level: put in its readings and what you add; both stand in here.",
    )


def target_body(given: ScoresAsked, best: BestDose) -> float | str | dict[str, float | str]:
    """The best level as a target of a blend plan is written, hard no farther than to the nearer end of its interval."""
    ends = [abs(end - best.dose) for end in (best.low, best.high) if end is not None]
    within = rounded(min(ends, default=0.0))

    def written(level: float) -> float | str:
        return f"{level:g} {given.unit.text}" if given.level == "titratable_acidity" else level

    return {"value": written(best.dose), "tolerance": written(within)} if within > 0.0 else written(best.dose)


def _trial(asked: TastingAsked, given: ScoresAsked, best: BestDose) -> NextCall | None:
    """The glass with the best dose; None where the unit of the dose cannot be scaled, or nothing is dosed."""
    unit = given.unit
    base_ml = _BASE_ML if given.glass_ml is None else given.glass_ml
    if unit.kind is None or (unit.per_ml is None and given.glass_ml is None) or best.dose <= 0.0:
        return None
    amount = best.dose * unit.amount * base_ml / (unit.per_ml or base_ml)
    name = unit.of_what or "stock"
    stock: dict[str, Any] = {"name": name, "amount": f"{rounded(amount):g} {unit.kind}"}
    known = _ingredient(name)
    replace = [f"/lot/{field}" for field in _OF_THE_LOT]
    if known is not None:
        stock["ingredient"] = known
        replace.append("/glass/stocks/0/ingredient")
    else:
        stock["composition"] = {"name": f"{name}, as water", "components_g_per_100g": {"water": 100.0}}
        replace.append("/glass/stocks/0/composition")
    lot = dict(_STAND_IN)
    if given.batch_l is not None:
        lot["volume"] = volume_in(given.batch_l, asked.system)
        replace.remove("/lot/volume")
    body = {**_shared(asked), "glass": {"base": f"{base_ml:g} mL", "stocks": [stock]}, "lot": lot}
    return call(
        "scale_bench_trial",
        body,
        replace,
        "The glass with the best dose, scaled to the batch: put in the readings of your lot and what was dosed.",
    )


def _ingredient(name: str) -> str | None:
    """The row of the catalogue that words name, or as juice as pressed."""
    plain = "_".join(name.lower().split())
    for id_ in (plain, f"{plain}_fresh"):
        try:
            return resolve_id(id_)
        except ServiceError:
            continue
    return None


def _again(asked: TastingAsked, given: ScoresAsked, doses: Sequence[float], mean: float) -> NextCall:
    """Another tasting, whose scores are still to come."""
    body: dict[str, Any] = {**_shared(asked), "scale": given.scale}
    if given.level is not None:
        body["property"] = given.level
        if given.level == "titratable_acidity":
            body["dose_unit"] = given.unit.text
    elif given.unit.text:
        body["dose_unit"] = given.unit.text
    if given.level_before is not None:
        body["level_before"] = given.level_before
    if given.glass_ml is not None:
        body["glass"] = f"{given.glass_ml:g} mL"
    if given.batch_l is not None:
        body["batch_volume"] = volume_in(given.batch_l, asked.system)
    body["doses"] = [{"dose": dose, "scores": {"taster": rounded(mean)}} for dose in doses]
    return call(
        "judge_tasting",
        body,
        [f"/doses/{k}/scores" for k in range(len(doses))],
        "Another tasting at these doses: put in the scores of every taster.",
    )


def next_of_difference(
    asked: TastingAsked, given: DifferenceAsked, found: DifferenceReport, p_right: float
) -> dict[str, NextCall]:
    """Requests that can follow a difference test.

    Parameters: asked; given; found; p_right, chance of a right answer with the difference that was planned for.
    Returns: the test with as many answers as the power wanted takes; nothing where that is beyond 10,000.
    """
    plan = found.next_panels[0]
    n = plan.from_then_on or plan.first
    if n is None:
        return {}
    test: dict[str, Any] = {"kind": given.kind, "n": n, "correct": min(n, round(n * p_right)), "sides": given.sides}
    for name in ("alpha", "power_wanted", "discriminators", "d_prime"):
        value = getattr(given, name)
        if value is not None:
            test[name] = value
    return {
        "judge_tasting": call(
            "judge_tasting",
            {**_shared(asked), "difference_test": test},
            ("/difference_test/correct", "/difference_test/n"),
            f"The same test with {n} answers: put in how many were right.",
        )
    }
