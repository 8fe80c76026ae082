"""Reads whole blend requests: plans, portions, trade-offs and forecasts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import partial

from service.api.numbers import RequestModel
from service.api.reading import Reader, distinct, gravity_from, lot_from
from service.api.reading_additions import addition_from
from service.api.reading_circumstances import circumstances_from
from service.api.reading_losses import losses_from
from service.api.reading_targets import Steps, match_from, preference_from, target_from, target_value
from service.api.requests import (
    AdditionIn,
    AdditionPoured,
    LotIn,
    PropertyName,
    TargetIn,
    TargetRange,
    TargetSteps,
)
from service.api.requests_blend import (
    BlendForecastRequest,
    BlendPlanRequest,
    BlendRequest,
    DrinkMeasuredIn,
    PortionIn,
    RecipeForecastIn,
    RecipeIn,
    TradeOffRequest,
)
from service.api.requests_drink import OfADrink
from service.errors import InputError
from service.model.lot_class import Assumed
from service.planner.asked import (
    AdditionAsked,
    ForecastAsked,
    Instruments,
    LotAsked,
    PlanAsked,
    PortionAsked,
    PortionsAsked,
    Preference,
    RecipeAsked,
    TargetAsked,
    TradeAsked,
)
from service.planner.materials import materials_of, poured
from service.planner.packaged import PACKAGED, with_volume
from service.quantities import parse_percent


def _lots(given: Sequence[LotIn], hydrometer_c: float, reader: Reader, pointer: str) -> tuple[LotAsked, ...]:
    reader.attempt("", lambda: distinct([lot.name for lot in given], "lots", pointer))
    found = [
        reader.attempt(f"{pointer}/{i}", partial(lot_from, lot, hydrometer_c, reader)) for i, lot in enumerate(given)
    ]
    return tuple(lot for lot in found if lot is not None)


def _additions(
    given: Sequence[RequestModel], instruments: Instruments, reader: Reader, pointer: str
) -> tuple[AdditionAsked, ...]:
    found = []
    for i, addition in enumerate(given):
        assert isinstance(addition, AdditionIn | AdditionPoured)
        asked = reader.attempt(f"{pointer}/{i}", partial(addition_from, addition, reader, instruments.jug_step_ml))
        if asked is not None:
            found.append(asked)
    return tuple(found)


def _targets(
    given: Iterable[tuple[str, TargetIn]], steps: Steps, reader: Reader, pointer: str = "/targets"
) -> tuple[TargetAsked, ...]:
    found = [
        reader.attempt(f"{pointer}/{name}", partial(target_from, name, target, reader, steps))
        for name, target in sorted(given, key=lambda named: named[0])
    ]
    return tuple(t for t in found if t is not None)


def recipe_from(
    given: RecipeIn | OfADrink, instruments: Instruments, reader: Reader, pointer: str
) -> tuple[tuple[LotAsked, ...], tuple[AdditionAsked, ...]]:
    """Lots and additions of a recipe, every amount given, which make a liquid."""
    before = len(reader.faults)
    lots = _lots(given.lots, instruments.hydrometer_calibrated_at_c, reader, f"{pointer}/lots")
    for k, lot in enumerate(lots):
        if not lot.fixed:
            reader.faults.append(
                InputError("A recipe pours a given amount: let min and max be equal.", f"{pointer}/lots/{k}/use")
            )
    additions = _additions(given.additions, instruments, reader, f"{pointer}/additions")
    _no_shared_names(lots, additions, reader, f"{pointer}/lots")
    if not given.lots and not given.additions:
        reader.faults.append(InputError("A recipe needs a lot or an addition.", pointer))
    if len(reader.faults) == before:
        reader.attempt(pointer, lambda: _poured_ml(lots, additions))
    return lots, additions


def _poured_ml(lots: Sequence[LotAsked], additions: Sequence[AdditionAsked]) -> float:
    """The volume of a recipe [mL], which a heap of solids does not have."""
    materials = materials_of(lots, additions)
    return poured(materials, [m.least_g for m in materials]).volume_ml


def _no_shared_names(
    lots: Sequence[LotAsked], additions: Sequence[AdditionAsked], reader: Reader, pointer: str
) -> None:
    """A lot that is called like an ingredient could not be told from it in the answer."""
    ids = {addition.ingredient.id for addition in additions}
    for k, lot in enumerate(lots):
        if lot.lot.name in ids:
            reader.faults.append(
                InputError(f"“{lot.lot.name}” is the id of an ingredient too: rename the lot.", f"{pointer}/{k}/name")
            )


class SharedReading:
    """What every blend question reads: circumstances, lots, additions, targets, and the recipes beside them."""

    def __init__(self, given: BlendRequest, *, targets_needed: bool = True) -> None:
        self.reader = reader = Reader()
        instruments, self.circumstances = circumstances_from(given, reader)
        self.instruments = instruments
        hydrometer_c = instruments.hydrometer_calibrated_at_c
        self.lots = _lots(given.lots, hydrometer_c, reader, "/lots")
        self.additions = _additions(given.additions, instruments, reader, "/additions")
        _no_shared_names(self.lots, self.additions, reader, "/lots")
        if not given.lots and not given.additions:
            reader.faults.append(InputError("Name at least one lot or one addition.", "/lots"))
        reader.attempt("", lambda: distinct([r.name for r in given.recipes], "recipes", "/recipes"))
        self.recipes = tuple(
            RecipeAsked(recipe.name, *recipe_from(recipe, instruments, reader, f"/recipes/{i}"))
            for i, recipe in enumerate(given.recipes)
        )
        self.steps = Steps({} if reader.faults else {r.name: r for r in self.recipes}, self.circumstances)
        self.targets = _targets([(n, t) for n, t in given.targets.items() if n != PACKAGED], self.steps, reader)
        self.packaged = self._packaged(given)
        self.assumed: tuple[Assumed, ...] = ()
        self.remembered: tuple[str, ...] = ()
        if given.match is not None:
            match = given.match
            found = reader.attempt("/match", lambda: match_from(match, hydrometer_c, instruments, reader))
            if found is not None:
                self._merge(found.targets)
                self.assumed, self.remembered = found.assumed, found.warnings
        if targets_needed and not self.targets and self.packaged is None and not reader.faults:
            reader.faults.append(InputError("Give at least one target, or a drink to match.", "/targets"))

    def _packaged(self, given: BlendRequest) -> TargetAsked | None:
        """What losses are to leave, in litres of that; only a plan for one drink is made so."""
        wanted, at = given.targets.get(PACKAGED), f"/targets/{PACKAGED}"
        if wanted is None:
            return None
        if not isinstance(given, BlendPlanRequest) or given.portions:
            text = "A volume to fill is asked of /v1/blend-plans, for one drink, with losses: ask for the volume here."
        elif given.losses is None:
            text = "A volume to fill needs the losses: give losses, or ask for the volume."
        elif "volume" in given.targets:
            text = "The volume of the blend and the volume to fill say the same: ask for one of them."
        elif isinstance(wanted, TargetSteps):
            text = "A volume to fill is no step from a recipe: write it with its unit, such as “20 L”."
        elif isinstance(wanted, TargetRange) and wanted.confidence is not None:
            text = "A confidence in a volume to fill is not solved for: leave it out, and ask for your margin besides."
        else:
            found = self.reader.attempt(at, lambda: target_from("volume", wanted, self.reader))
            return None if found is None else replace(found, name=PACKAGED)
        self.reader.faults.append(InputError(text, at))
        return None

    def _merge(self, remembered: Sequence[TargetAsked]) -> None:
        named = {t.name for t in self.targets}
        for target in remembered:
            if target.name in named:
                self.reader.faults.append(
                    InputError(f"{target.name} is a target already: leave it out, or out of the match.", "/match")
                )
        self.targets = tuple(sorted((*self.targets, *remembered), key=lambda t: t.name))

    def plan(self, given: BlendRequest, prefer: Sequence[Preference], rounding: str, deadline_s: float) -> PlanAsked:
        """The whole as the planner takes it, if nothing was wrong."""
        self.reader.finish()
        circumstances = self.circumstances()
        return PlanAsked(
            self.lots,
            self.additions,
            self.targets,
            tuple(prefer),
            rounding,
            replace(circumstances, assumed=(*circumstances.assumed, *self.assumed)),
            deadline_s,
            frozenset(given.allow),
            self.recipes,
            self.remembered,
            sent=given.model_dump(mode="json", by_alias=True, exclude_unset=True),
        )


def plan_or_portions_from(given: BlendPlanRequest, deadline_s: float) -> PlanAsked | PortionsAsked:
    """A blend request as the planner takes it.

    Raises: ServiceError with every fault of the request.
    """
    shared = SharedReading(given, targets_needed=not given.portions)
    reader = shared.reader
    prefer = [
        reader.attempt(f"/prefer/{i}", partial(preference_from, preference))
        for i, preference in enumerate(given.prefer)
    ]
    losses = None
    if given.losses is not None:
        lost = given.losses
        losses = reader.attempt("/losses", lambda: losses_from(lost, reader))
        if given.portions:
            text = "Losses are reckoned for one drink: leave them out, and ask for more of each portion."
            reader.faults.append(InputError(text, "/losses"))
    portions = _portions(given.portions, shared)
    if portions and given.allow:
        reader.faults.append(InputError("Nothing is proposed for portions: leave allow out.", "/allow"))
    if portions and given.rounding != "none":
        reader.faults.append(
            InputError(
                "Portions share their stocks to the gram: leave rounding out, and round as you pour.", "/rounding"
            )
        )
    hold_back = None
    if given.hold_back is not None:
        told = given.hold_back
        hold_back = reader.attempt("/hold_back", lambda: chance_from(told))
        if portions:
            reader.faults.append(InputError("Portions are not held back: ask for one drink.", "/hold_back"))
    if portions:
        _no_confidence((*shared.targets, *(t for p in portions for t in p.targets)), "portions", shared)
    plan = shared.plan(given, [p for p in prefer if p is not None], given.rounding, deadline_s)
    if portions:
        return PortionsAsked(plan, portions)
    return with_volume(replace(plan, hold_back=hold_back, losses=losses, packaged=shared.packaged))


_LEAST_CHANCE, _MOST_CHANCE = 0.001, 0.5


def chance_from(given: float | str) -> float:
    """A chance of overshooting, as a share."""
    share = parse_percent(given) / 100.0 if isinstance(given, str) else float(given)
    if not _LEAST_CHANCE <= share <= _MOST_CHANCE:
        hint = f" Did you mean {share / 100.0:g}?" if 1.0 <= share <= 100.0 * _MOST_CHANCE else ""
        raise InputError(f"The chance of overshooting lies between 0.1 and 50 % (0.001 to 0.5), not at {given}.{hint}")
    return share


def _no_confidence(targets: Iterable[TargetAsked], what: str, shared: SharedReading) -> None:
    """Refuse chances where they are not solved for."""
    for name in sorted({t.name for t in targets if t.confidence is not None}):
        shared.reader.faults.append(
            InputError(
                f"A confidence is not solved for with {what}: leave it out, and narrow the range by your margin.",
                f"/targets/{name}/confidence",
            )
        )


def plan_from(given: BlendPlanRequest, deadline_s: float) -> PlanAsked:
    """A blend request for one drink.

    Raises: ServiceError with every fault of the request, of which portions are one.
    """
    if given.portions:
        raise InputError("Portions are asked of /v1/blend-plans itself: leave them out here.", "/portions")
    plan = plan_or_portions_from(given, deadline_s)
    assert isinstance(plan, PlanAsked)
    return plan


def _portions(given: Sequence[PortionIn], shared: SharedReading) -> tuple[PortionAsked, ...]:
    """The drinks of a request: their own targets, and those of the request for what they leave open."""
    reader = shared.reader
    reader.attempt("", lambda: distinct([p.name for p in given], "portions", "/portions"))
    if given and any(t.name == "volume" for t in shared.targets):
        reader.faults.append(InputError("Each portion names its own volume: leave this one out.", "/targets/volume"))
    found = []
    for i, portion in enumerate(given):
        pointer = f"/portions/{i}"
        if "volume" in portion.targets:
            reader.faults.append(InputError("The volume stands beside the name.", f"{pointer}/targets/volume"))
        own: dict[PropertyName, TargetIn] = {
            name: target for name, target in portion.targets.items() if name != "volume"
        }
        volume = _targets([("volume", portion.volume)], shared.steps, reader, pointer)
        if any(t.low <= 0.0 for t in volume):
            reader.faults.append(
                InputError(
                    'Say how much of this portion there has to be at least: a volume above zero, such as "5 L" or '
                    '{"min": "1 L", "max": "7 L"}.',
                    f"{pointer}/volume",
                )
            )
        targets = (*volume, *_targets(own.items(), shared.steps, reader, f"{pointer}/targets"))
        named = {t.name for t in targets}
        everywhere = [t for t in shared.targets if t.name not in named]
        found.append(PortionAsked(portion.name, tuple(sorted((*targets, *everywhere), key=lambda t: t.name))))
    return tuple(found)


_LEAST_WISHED = ("added_mass", "added_volume", "cost")


def trade_from(given: TradeOffRequest, deadline_s: float) -> TradeAsked:
    """A trade-off as the planner takes it.

    Raises: ServiceError with every fault of the request.
    """
    shared = SharedReading(given, targets_needed=False)
    reader = shared.reader
    if isinstance(given.y, str):
        y: Preference | None = Preference(given.y, given.y not in _LEAST_WISHED)
    else:
        preference = given.y
        y = reader.attempt("/y", lambda: preference_from(preference))
    if y is not None and y.name == given.x:
        reader.faults.append(InputError("Two different properties are traded: choose another x or y.", "/x"))
    if given.recipes and not any(isinstance(target, TargetSteps) for target in given.targets.values()):
        detail = "Recipes stand beside a trade-off only for targets that step from them: leave them out."
        reader.faults.append(InputError(detail, "/recipes"))
    _no_confidence(shared.targets, "trade-offs", shared)
    if given.draws is not None:
        reader.faults.append(
            InputError("The intervals along a curve are first order: simulate the plan that you choose.", "/draws")
        )
    if given.start_date is not None:
        detail = "Nothing here has steps: leave start_date out, and ask for the plan that you choose with it."
        reader.faults.append(InputError(detail, "/start_date"))
    plan = shared.plan(given, [], "none", deadline_s)
    assert y is not None
    return TradeAsked(plan, given.x, y, given.points, given.also)


def _readings(
    given: DrinkMeasuredIn, hydrometer_c: float, reader: Reader, pointer: str
) -> tuple[tuple[str, float], ...]:
    """Readings of a drink, by property in its unit."""
    found: dict[str, float | None] = {}
    if given.gravity is not None:
        gravity = given.gravity
        strength = 0.0 if given.abv_percent is None else float(given.abv_percent)

        def drinks_gravity() -> float:
            read = gravity_from(gravity, strength, hydrometer_c, reader, fermented=True)
            return target_value("gravity", read, "", reader)

        found["gravity"] = reader.attempt(f"{pointer}/gravity", drinks_gravity)
    for name in ("abv_percent", "titratable_acidity", "ph", "volume"):
        value = getattr(given, name)
        if value is not None:
            found[name] = reader.attempt(f"{pointer}/{name}", partial(target_value, name, value, "", reader))
    return tuple((name, value) for name, value in found.items() if value is not None)


def _forecast_recipe(given: RecipeForecastIn, instruments: Instruments, reader: Reader, pointer: str) -> RecipeAsked:
    lots, additions = recipe_from(given, instruments, reader, pointer)
    measured: tuple[tuple[str, float], ...] = ()
    if given.measured is not None:
        measured = _readings(given.measured, instruments.hydrometer_calibrated_at_c, reader, f"{pointer}/measured")
    scale_to = None
    if given.scale_to is not None:
        text = given.scale_to
        scale_to = reader.attempt(f"{pointer}/scale_to", lambda: target_value("volume", text, "", reader))
        if scale_to is not None and scale_to <= 0.0:
            reader.faults.append(InputError("Scale to a volume above zero.", f"{pointer}/scale_to"))
    return RecipeAsked(given.name, lots, additions, measured, scale_to)


def forecast_from(given: BlendForecastRequest) -> ForecastAsked:
    """A forecast request as the planner takes it.

    Raises: ServiceError with every fault of the request.
    """
    reader = Reader()
    instruments, circumstances = circumstances_from(given, reader)
    reader.attempt("", lambda: distinct([r.name for r in given.recipes], "recipes", "/recipes"))
    recipes = [_forecast_recipe(recipe, instruments, reader, f"/recipes/{i}") for i, recipe in enumerate(given.recipes)]
    if given.start_date is not None:
        reader.faults.append(InputError("Nothing here has steps: leave start_date out.", "/start_date"))
    reader.finish()
    return ForecastAsked(
        tuple(recipes), circumstances(), given.model_dump(mode="json", by_alias=True, exclude_unset=True)
    )
