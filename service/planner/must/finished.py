"""Backwards from the finished drink: how strong its base has to be, how much of it, and the must for that.

ABV_base = ABV_target·V_blend/V_base is only where the search begins: it knows neither contraction nor what the
additions displace. The true mixture is solved with the base as a dry lot of a trial strength, for every target but the
strength; the trial strength at which the blend has the strength asked for is the root of that.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import inf
from time import perf_counter
from typing import Final

from service.errors import InputError, OutOfRangeError, ServiceError
from service.model.lot import LotReadings, lot_from_readings
from service.model.lot_class import Assumed, LotClass
from service.model.properties import property_value
from service.physics.fermentation import fermented_out
from service.planner.answers_blend import BlendPlan
from service.planner.asked import AdditionAsked, LotAsked, PlanAsked, TargetAsked
from service.planner.blend_plan import solve_blend
from service.planner.losses import Losses, blended_l
from service.planner.materials import materials_of, poured
from service.planner.must.asked import BaseAsked, FinishedAsked, MustAsked
from service.planner.must.ferment import Share, ended_at, original_gravity_for, strongest
from service.planner.must.mixing import Mixed, exactly, must_plan
from service.planner.plain_words import plain_figure
from service.planner.pulp import settled
from service.planner.solving import answer
from service.solver.goals import Outcome

STRENGTH: Final = "/finished/targets/abv_percent"
_WEAKEST, _CLOSE, _ROUNDS = 0.05, 1e-7, 40
_PASSES, _SAME = 8, 1e-6
_UNMET: Final = 3
"""After so many trial bases with which the other targets cannot be met, the nearest strength is taken."""

_TRIAL_SHARE: Final = 0.1
"""The part of the time that one trial base may take, less after one that met not all targets: the drink itself is
solved with what is left."""

_NEAREST_SHARE: Final = 0.2
"""The part of the time that the drink may take of which no trial base met the other targets."""

_INSIDE: Final = 0.1
"""How far inside a range that is open to one side the strength is aimed at [% vol] (our default)."""

_ROOM: Final = 1.5
"""There is at most so much of the base as of the blend: salts and sugar take little away."""


@dataclass(frozen=True, slots=True)
class Backwards:
    """A finished drink with the base it needs: all in one."""

    blend: BlendPlan
    must: Mixed
    base: LotAsked
    base_abv_percent: float
    start_abv_percent: float
    final_gravity: float
    original_gravity: float
    base_l: float
    before_racking_l: float
    must_l: float
    containers_l: float | None
    losses: Losses
    assumed: tuple[Assumed, ...]


def backwards(asked: MustAsked) -> Backwards:
    """Find the base and the must of a finished drink.

    Parameters: asked, whose `finished` is given.
    Returns: Backwards. Targets that cannot be met are an outcome of its blend with the nearest plan.
    Raises: InputError and its kin where no base does, with what to change.
    """
    finished = asked.finished
    assert finished is not None
    until = perf_counter() + asked.deadline_s
    aim, told = _aim(finished)
    losses = finished.losses
    trial = replace(asked, rounding="none", volume_is="final", circumstances=replace(asked.circumstances, draws=None))
    mixed = must_plan(trial, 1.050, 10.0, trial.circumstances)
    for _ in range(_PASSES):
        share = mixed.share
        volume, containers = _volume(finished, losses)
        strength, start, clashes = _base_strength(asked, finished, volume, aim, share, until)
        lot, gravity, original = _lot(finished.base, strength, share, _most_l(volume))
        soon = min(until, perf_counter() + _NEAREST_SHARE * asked.deadline_s) if clashes else until
        blend = _blend(asked, finished, volume, lot, soon)
        base_l = _poured_l(blend, finished.base.name)
        before = base_l / finished.losses.before_settling
        ratio = _ratio(original, gravity, share, finished.base)
        try:
            mixed = must_plan(trial, original, before / ratio, trial.circumstances)
        except ServiceError as error:
            error.pointer = "/sources" if error.pointer in ("/original_gravity", "/volume") else error.pointer
            raise
        after = settled(losses, materials_of((lot,), _additions(finished)), [amount.mass_g for amount in blend.amounts])
        moved = abs(after.settling_share.value - losses.settling_share.value)
        losses = after
        if abs(mixed.share.value - share.value) < _SAME and moved < _SAME:
            break
    if asked.rounding != "none" or asked.circumstances.draws is not None:
        mixed = must_plan(replace(asked, volume_is="final"), original, before / ratio, asked.circumstances)
    return Backwards(
        blend,
        mixed,
        replace(lot, most_l=base_l, least_l=base_l),
        strength,
        start,
        gravity,
        original,
        base_l,
        before,
        before / ratio,
        containers,
        losses,
        (*told, *_told_losses(finished, losses)),
    )


def _additions(finished: FinishedAsked) -> tuple[AdditionAsked, ...]:
    return tuple(source.addition for source in finished.additions)


def _volume(finished: FinishedAsked, losses: Losses) -> tuple[TargetAsked, float | None]:
    """The volume of the blend: as asked for, or what fills the containers after losses; and that of the containers."""
    if finished.containers:
        litres = sum(c.count * c.fill_l for c in finished.containers)
        words = f"{plain_figure(litres, 5)} L in containers"
        return exactly("volume", blended_l(litres, of_the_blend(losses)), words), litres
    (target,) = (t for t in finished.targets if t.name == "volume")
    return target, None


def _told_losses(finished: FinishedAsked, losses: Losses) -> tuple[Assumed, ...]:
    """What the losses rest on."""
    if finished.losses_given:
        return losses.assumed
    return (
        Assumed(
            "losses",
            "none",
            "not given; lees take 3 to 6 % of a light ferment (from memory), a pulpy citrus blend may leave up to a "
            "fifth behind (common practice, no source)",
            "finished.losses, from a jar test and the last batch",
        ),
    )


def of_the_blend(losses: Losses) -> Losses:
    """What is lost after blending: lees and rackings are those of the base, before it."""
    return replace(losses, lees_share=0.0, racking_share=0.0)


def _aim(finished: FinishedAsked) -> tuple[float, tuple[Assumed, ...]]:
    """The strength to solve for: the value asked for, or the middle of a range."""
    (target,) = (t for t in finished.targets if t.name == "abv_percent")
    if target.value is not None:
        return target.value, ()
    if target.low > -inf and target.high < inf:
        aim = 0.5 * (target.low + target.high)
    else:
        aim = target.low + _INSIDE if target.low > -inf else target.high - _INSIDE
    return aim, (
        Assumed("strength aimed at", f"{aim:.2f} % vol", "inside the range asked for (our default)", "name one value"),
    )


def _most_l(volume: TargetAsked) -> float:
    return _ROOM * (volume.high if volume.high < inf else volume.low)


def _lot(base: BaseAsked, strength: float, share: Share, litres: float) -> tuple[LotAsked, float, float]:
    """The base as a dry lot of a strength; its final gravity and that of its must."""
    try:
        original = original_gravity_for(strength, share, base.final_gravity)
    except ServiceError as error:
        error.pointer = STRENGTH
        raise
    gravity = fermented_out(original, share.value).final_gravity
    if base.final_gravity is not None:
        try:
            gravity = ended_at(original, base.final_gravity, share).final_gravity
        except ServiceError as error:
            error.pointer = "/finished/base/final_gravity"
            raise
    try:
        lot = lot_from_readings(
            base.name,
            LotReadings(
                litres,
                None,
                gravity,
                strength,
                LotClass.MEAD,
                base.titratable_meq_per_l,
                None,
                base.ph,
            ),
        )
    except ServiceError as error:
        raise error.below("/finished/base") from error
    return LotAsked(lot, 0.0, litres, True, False), gravity, original


def _plan_asked(
    asked: MustAsked, finished: FinishedAsked, volume: TargetAsked, lot: LotAsked, left_s: float, *, strength: bool
) -> PlanAsked:
    targets = [t for t in finished.targets if t.name != "volume" and (strength or t.name != "abv_percent")]
    return PlanAsked(
        (lot,),
        _additions(finished),
        tuple(sorted((*targets, volume), key=lambda t: t.name)),
        finished.prefer,
        asked.rounding if strength else "none",
        asked.circumstances if strength else replace(asked.circumstances, draws=None),
        max(left_s, 0.05),
        remembered=finished.remembered,
    )


def _blend(asked: MustAsked, finished: FinishedAsked, volume: TargetAsked, lot: LotAsked, until: float) -> BlendPlan:
    try:
        return solve_blend(_plan_asked(asked, finished, volume, lot, until - perf_counter(), strength=True))
    except ServiceError as error:
        raise error.below("/finished") from error


def _poured_l(blend: BlendPlan, name: str) -> float:
    (amount,) = (a for a in blend.amounts if a.name == name and a.kind == "lot")
    litres = (amount.volume_ml or 0.0) / 1000.0
    if litres <= 0.0:
        raise InputError(
            "No base at all goes into this drink: its additions make it up alone. Check the targets and amounts.",
            "/finished/targets",
        )
    return litres


def _ratio(original: float, gravity: float, share: Share, base: BaseAsked) -> float:
    """Volume at the end over that of the must."""
    if base.final_gravity is None:
        return fermented_out(original, share.value).volume_ratio
    return ended_at(original, gravity, share).volume_ratio


def _base_strength(
    asked: MustAsked, finished: FinishedAsked, volume: TargetAsked, aim: float, share: Share, until: float
) -> tuple[float, float, bool]:
    """The strength of base with which the blend has the strength aimed at, and the one by volumes alone [% vol].

    Last, whether it was given up because other targets cannot be met.
    """
    top = strongest(share) - 1e-6
    unmet = 0

    def reached(strength: float) -> tuple[float, float]:
        """Strength of the blend with a base of this strength, and the base's part of its volume."""
        nonlocal unmet
        lot, _, _ = _lot(finished.base, strength, share, _most_l(volume))
        left = min(until - perf_counter(), _TRIAL_SHARE * asked.deadline_s / (1.0 + unmet))
        plan_asked = _plan_asked(asked, finished, volume, lot, left, strength=False)
        materials = materials_of(plan_asked.lots, plan_asked.additions)
        try:
            found = answer(plan_asked, materials)
        except ServiceError as error:
            raise error.below("/finished") from error
        if not found.result.solution.found:
            raise InputError(
                "Nothing within these limits makes such a drink. Look at the limits of the additions.",
                "/finished/additions",
            )
        unmet += found.result.outcome is not Outcome.MET
        masses = found.numbers.masses_g(found.result.x)
        contents = poured(materials, masses)
        abv = property_value("abv_percent", contents, contents.volume_ml / 1000.0) or 0.0
        base_ml = next(g / (m.density_g_ml or 1.0) for m, g in zip(materials, masses, strict=True) if m.kind == "lot")
        return abv, base_ml / contents.volume_ml

    first = min(max(1.2 * aim, _WEAKEST), top)
    abv, part = reached(first)
    if part <= 0.0:
        raise InputError("No base at all goes into this drink. Check its targets and amounts.", "/finished/targets")
    start = aim / part
    strength = _root(
        lambda trial: reached(trial)[0] - aim, first, abv - aim, start, top, enough=lambda: unmet >= _UNMET
    )
    return strength, start, unmet >= _UNMET


def _root(
    miss: Callable[[float], float],
    before: float,
    missed: float,
    x: float,
    top: float,
    *,
    enough: Callable[[], bool],
) -> float:
    """A secant held between the weakest and the strongest base, halved where it would leave what encloses the root.

    Where it is `enough`, the strength of the least miss so far, if anything between the two ends does.
    """
    low, high = _WEAKEST, top
    nearest, signs = (abs(missed), before), {missed > 0.0}
    for _ in range(_ROUNDS):
        if missed > 0.0:
            high = min(high, before)
        else:
            low = max(low, before)
        if abs(missed) < _CLOSE:
            return before
        x = min(max(x, low), high)
        found = miss(x)
        if abs(found) < _CLOSE:
            return x
        if x >= top and found < 0.0:
            raise OutOfRangeError(
                f"Even a base of {top:.1f} % vol would leave the drink {-found:.2g} % vol too weak: ask for less "
                "strength, or for less of what thins it.",
                STRENGTH,
            )
        if x <= _WEAKEST and found > 0.0:
            raise OutOfRangeError(
                "The drink is as strong as that without any alcohol in its base: ask for more strength, or for less "
                "of what is strong.",
                STRENGTH,
            )
        nearest = min(nearest, (abs(found), x))
        signs.add(found > 0.0)
        if enough():
            if len(signs) == 2:
                return nearest[1]
            before, missed, x = x, found, _WEAKEST if found > 0.0 else top  # the last that could do
            continue
        slope = (found - missed) / (x - before) if x != before else 0.0
        after = x - found / slope if slope > 0.0 else 0.5 * (low + high)
        if found > 0.0:
            high = min(high, x)
        else:
            low = max(low, x)
        if not low <= after <= high:
            after = 0.5 * (low + high)
        before, missed, x = x, found, after
        if high - low < _CLOSE:
            return x
    return x
