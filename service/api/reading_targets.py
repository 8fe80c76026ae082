"""Reads targets and preferences."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import inf
from typing import Final

from service.api.numbers import number_meant
from service.api.reading import MASS, MIN_ABOVE_MAX, VOLUME, Reader, gravity_from, meq_per_l, without_error
from service.api.reading_additions import within
from service.api.requests import PreferenceIn, TargetIn, TargetNear, TargetRange, TargetSteps
from service.api.requests_blend import MatchIn
from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l
from service.errors import InconsistentError, InputError, QuantityError, ServiceError
from service.model.properties import PROPERTIES
from service.physics.slips import gravity_meant, ph_meant, strength_meant
from service.planner.asked import Circumstances, Instruments, Preference, RecipeAsked, TargetAsked
from service.planner.materials import materials_of, poured
from service.planner.plain_words import plain_property
from service.planner.predict import value_of
from service.planner.remembered import Matched, Remembered, match_of
from service.planner.steps import value_after_steps
from service.quantities import AcidityBasis, parse_acidity, parse_percent, parse_sugar_concentration

_PLAUSIBLE: Final = {
    "gravity": (0.7, 1.6),
    "abv_percent": (0.0, 100.0),
    "ph": (1.5, 10.0),
    "brix": (0.0, 100.0),
    "juice_percent": (0.0, 1000.0),
    "citrus_percent": (0.0, 1000.0),
    "energy_kcal_per_100ml": (0.0, 1000.0),
    "sugar_acid_ratio": (0.0, 1e5),
    "cost": (0.0, 1e12),
}
_MEANT: Final = {"gravity": gravity_meant, "abv_percent": strength_meant, "ph": ph_meant}
_GRAMS_PER_LITRE: Final = (0.0, 2000.0)
_MOST_L: Final = 1e8
_MOST_G: Final = 1e11


def target_value(name: str, given: float | str, pointer: str, reader: Reader) -> float:
    """One number of a target in its property's unit."""
    law = PROPERTIES[name]
    if isinstance(given, str):
        if name == "titratable_acidity":
            acidity = parse_acidity(given, pointer=pointer)
            without_error(acidity.error, given, pointer)
            if acidity.basis in (AcidityBasis.G_PER_KG, AcidityBasis.MEQ_PER_KG):
                raise InputError("Give the acidity of a drink per litre, such as “7 g/L tartaric”.", pointer)
            return acid_g_per_l_from_meq_per_l(meq_per_l(acidity, 1.0), Acid.TARTARIC)
        if name in ("volume", "added_volume"):
            litres = reader.quantity(given, VOLUME, pointer, liquid=True).value_base / 1000.0
            return within(litres, _MOST_L, "100,000,000 L", pointer)
        if name == "added_mass":
            return within(reader.quantity(given, MASS, pointer).value_base, _MOST_G, "100,000 t", pointer)
        if name.endswith("_g_per_l"):
            sugar = parse_sugar_concentration(given, pointer=pointer)
            without_error(sugar.error_g_per_l, given, pointer)
            return sugar.g_per_l
        meant = number_meant(given)
        if meant is not None:
            _in_range(name, float(meant), pointer)
        better = "" if meant is None else f": {meant}"
        raise InputError(
            f"Write the {plain_property(name)} as a number ({law.unit or 'a ratio'}), without quotes{better}.", pointer
        )
    if name in ("titratable_acidity", "volume", "added_mass", "added_volume"):
        example = {"titratable_acidity": "7 g/L tartaric", "added_mass": "2.5 kg"}.get(name, "25 L")
        raise QuantityError(f"Write the {plain_property(name)} with its unit, such as “{example}”.", pointer)
    return _in_range(name, float(given), pointer)


def _in_range(name: str, value: float, pointer: str) -> float:
    """A value that a drink can have, or a refusal with what may have been meant."""
    low, high = _PLAUSIBLE.get(name, _GRAMS_PER_LITRE)
    if not low <= value <= high:
        hint = _MEANT[name](value) if name in _MEANT else ""
        raise InputError(
            f"The {plain_property(name)} of a drink lies between {low:g} and {high:g}, not at {value:g}.{hint}", pointer
        )
    return value


class Steps:
    """What "a notch less than that recipe" is in numbers."""

    def __init__(self, recipes: Mapping[str, RecipeAsked], circumstances: Callable[[], Circumstances]) -> None:
        self.recipes = recipes
        self.circumstances = circumstances

    def value(self, name: str, given: TargetSteps) -> tuple[float, str]:
        """The value asked for and the same in words."""
        recipe = self.recipes.get(given.recipe)
        if recipe is None:
            known = ", ".join(f"“{r}”" for r in sorted(self.recipes)) or "none could be read"
            raise InputError(f"“{given.recipe}” is not among the recipes of the request ({known}).", "/from")
        circumstances = self.circumstances()
        materials = materials_of(recipe.lots, recipe.additions)
        masses = [m.least_g for m in materials]
        before = value_of(
            name, materials, masses, poured(materials, masses), circumstances.end_point_ph, circumstances.senses
        )
        if before is None:
            raise InputError(
                f"The {plain_property(name)} is not defined for “{given.recipe}”: step from another property.", "/from"
            )
        steps = float(given.steps)
        try:
            value = value_after_steps(name, before, steps, circumstances.senses)
        except ServiceError as error:
            raise error.below("/steps") from error
        digits = PROPERTIES[name].decimals
        if steps == 0.0:
            return value, f"{value:.{digits}f} (as “{given.recipe}”)"
        size = f"{steps:+g} step{'' if abs(steps) == 1.0 else 's'}".replace("-", "−")
        return value, f"{value:.{digits}f} ({size} from {before:.{digits}f} of “{given.recipe}”)"


def target_from(name: str, given: TargetIn, reader: Reader, steps: Steps | None = None) -> TargetAsked:
    """A target as the planner takes it."""
    law = PROPERTIES[name]
    if isinstance(given, TargetSteps):
        value, words = (steps or Steps({}, Circumstances)).value(name, given)
        half = law.tolerance(value) if given.tolerance is None else _tolerance(name, given.tolerance, reader)
        return TargetAsked(name, value - half, value + half, value, words, given.priority or 1)
    if isinstance(given, TargetRange):
        if given.min is None and given.max is None:
            raise InputError("Give a min, a max, or both.")
        low = -inf if given.min is None else target_value(name, given.min, "/min", reader)
        high = inf if given.max is None else target_value(name, given.max, "/max", reader)
        if low > high:
            raise InconsistentError(MIN_ABOVE_MAX, "/min")
        words = " to ".join(str(v) for v in (given.min, given.max) if v is not None)
        if given.min is None or given.max is None:
            words = f"{'at most' if given.min is None else 'at least'} {words}"
        confidence = None if given.confidence is None else _confidence(given.confidence)
        if confidence is not None:
            words += f", {100.0 * confidence:g} % sure"
        return TargetAsked(name, low, high, None, words, given.priority or 1, confidence)
    if isinstance(given, TargetNear):
        value = target_value(name, given.value, "/value", reader)
        half = law.tolerance(value)
        words = str(given.value)
        if given.tolerance is not None:
            half = _tolerance(name, given.tolerance, reader)
            words += f" ± {given.tolerance}"
        return TargetAsked(name, value - half, value + half, value, words, given.priority or 1)
    value = target_value(name, given, "", reader)
    half = law.tolerance(value)
    return TargetAsked(name, value - half, value + half, value, str(given))


_LEAST_SURE, _MOST_SURE = 0.5, 0.999


def _confidence(given: float | str) -> float:
    """How sure a range is to be met, as a share."""
    share = parse_percent(given, pointer="/confidence") / 100.0 if isinstance(given, str) else float(given)
    if not _LEAST_SURE < share <= _MOST_SURE:
        hint = f" Did you mean {share / 100.0:g}?" if share > 1.0 and share / 100.0 <= _MOST_SURE else ""
        raise InputError(f"A confidence lies above 0.5 and up to 0.999, not at {share:g}.{hint}", "/confidence")
    return share


def _tolerance(name: str, given: float | str, reader: Reader) -> float:
    if isinstance(given, str):
        half = target_value(name, given, "/tolerance", reader)
    elif name in ("titratable_acidity", "volume", "added_mass", "added_volume"):
        half = target_value(name, given, "/tolerance", reader)  # refuses the bare number in its own words
    else:
        half = float(given)
    if half < 0.0:
        raise InputError("A tolerance is zero or more.", "/tolerance")
    return half


def preference_from(given: PreferenceIn) -> Preference:
    """A preference as the planner takes it."""
    if (given.maximise is None) == (given.minimise is None):
        raise InputError("Name one property to maximise or one to minimise.")
    name = given.maximise or given.minimise or ""
    return Preference(name, given.maximise is not None)


def match_from(given: MatchIn, hydrometer_c: float, instruments: Instruments, reader: Reader) -> Matched:
    """The targets that stand for a remembered drink."""
    serving_ml = None
    if given.serving is not None:
        serving_ml = reader.quantity(given.serving, VOLUME, "/serving", liquid=True).value_base
    gravity = None
    if given.gravity is not None:
        told = given.gravity
        try:
            gravity = gravity_from(told, 0.0, hydrometer_c, reader, fermented=False)
        except ServiceError as error:
            raise error.below("/gravity") from error
    return match_of(
        Remembered(
            serving_ml,
            None if given.sugar_g is None else float(given.sugar_g),
            None if given.juice_percent is None else float(given.juice_percent),
            None if given.acid is None else parse_acidity(given.acid, pointer="/acid"),
            None if given.brix is None else float(given.brix),
            given.brix_is_refractometer_reading,
            gravity,
            None if given.ph is None else float(given.ph),
        ),
        instruments,
    )
