"""From a tasting request to the planner's terms, with the place of each fault."""

from __future__ import annotations

import re
from functools import partial
from typing import Final, Literal

from service.api.reading import MASS_OR_VOLUME, VOLUME, Reader
from service.api.reading_targets import target_value
from service.api.requests_tastings import DifferenceTestIn, ScoredDose, TastingRequest
from service.errors import InconsistentError, InputError, OutOfRangeError, SeveralErrors
from service.model.properties import PROPERTIES
from service.planner.asked import Echo
from service.planner.steps import DEFAULT_STEPS, Step
from service.planner.tasting.asked import (
    DEFAULT_ALPHA,
    DEFAULT_STEP,
    DifferenceAsked,
    DoseUnit,
    Score,
    ScoresAsked,
    TastingAsked,
)
from service.quantities import Kind, parse_acidity

_WITH_DOSES: Final = (
    "dose_unit",
    "property",
    "scale",
    "level_before",
    "glass",
    "batch_volume",
    "anonymous",
    "flat_within",
    "noticeable_step_percent",
)
_MOST_L: Final = 1e8
_LEAST_DOSE: Final = 1e-4
"""Smaller figures are not told apart where doses are written out (our default)."""
_MOST_ACID_G_PER_L: Final = 100.0
_JUST_RIGHT: Final = 2.0
_MASS_WORD: Final = r"mg|g|kg|oz|lb"
_VOLUME_WORD: Final = r"mL|L|hL|tsp|tbsp|cups?|fl\.? ?oz|pt|qt|gal|imp fl oz|imp pt|imp gal"
_UNIT: Final = re.compile(
    rf"(?P<amount>{_MASS_WORD}|{_VOLUME_WORD})\s*(?:/|\bper\b|\bin an?\b)\s*"
    rf"(?P<volume>glass|[0-9]*\.?[0-9]*\s*(?:{_VOLUME_WORD}))(?:\s+(?P<what>.*))?",
    re.ASCII | re.IGNORECASE,
)


def tasting_from(given: TastingRequest) -> TastingAsked:
    """A tasting request as the planner takes it.

    Raises: ServiceError with every fault of the request.
    """
    reader = Reader()
    if (given.doses is None) == (given.difference_test is None):
        raise InputError(
            "Give doses with their scores, or a difference_test: one of the two.",
            "/doses" if given.doses is None else "/difference_test",
        )
    difference = scores = None
    if given.doses is None:
        for name in _WITH_DOSES:
            if getattr(given, name) is not None:
                reader.faults.append(InputError("This belongs to scores at several doses: leave it out.", f"/{name}"))
        test = given.difference_test
        assert test is not None
        difference = reader.attempt("/difference_test", lambda: _difference(test))
    else:
        scores = _scores(given, given.doses, reader)
    reader.finish()
    return TastingAsked(
        scores=scores,
        difference=difference,
        blind=given.blind,
        random_order=given.random_order,
        system=reader.system(given.units),
        echo=Echo(given.batch, given.date, given.note),
    )


def _difference(given: DifferenceTestIn) -> DifferenceAsked:
    faults: list[InputError] = []
    if given.correct > given.n:
        faults.append(InconsistentError(f"{given.correct} of {given.n} answers cannot be right.", "/correct"))
    if given.sides == "two" and given.kind != "two_afc":
        faults.append(InputError("Only a two_afc test has two sides: elsewhere there is one right answer.", "/sides"))
    if given.discriminators is not None and given.d_prime is not None:
        faults.append(InputError("Plan for a share of discriminators or for a d_prime: one of the two.", "/d_prime"))
    alpha = DEFAULT_ALPHA if given.alpha is None else given.alpha
    if given.power_wanted is not None and given.power_wanted <= alpha:
        faults.append(OutOfRangeError(f"Chance alone gives a power of {alpha:g}: want more.", "/power_wanted"))
    if given.tasters is not None and given.tasters > given.n:
        faults.append(
            InconsistentError(
                f"{given.tasters} people cannot have given {given.n} answers: one each, or more.", "/tasters"
            )
        )
    if faults:
        raise faults[0] if len(faults) == 1 else SeveralErrors(faults)
    return DifferenceAsked(
        kind=given.kind,
        n=given.n,
        correct=given.correct,
        sides=given.sides or "one",
        sides_given=given.sides is not None,
        alpha=given.alpha,
        power_wanted=given.power_wanted,
        discriminators=given.discriminators,
        d_prime=given.d_prime,
        people=given.tasters,
    )


def _scores(given: TastingRequest, doses: list[ScoredDose], reader: Reader) -> ScoresAsked | None:
    scores = reader.attempt("", lambda: _by_taster(given, doses)) or ()
    scale = given.scale or "liking"
    reader.attempt("", lambda: _check_scale(given, doses, scores))
    reader.attempt("/doses", lambda: _check_doses(given, doses))
    unit = reader.attempt("", lambda: _unit(given, reader)) or DoseUnit()
    if given.property is not None and not reader.faults:
        for k, dose in enumerate(doses):
            reader.attempt(f"/doses/{k}/dose", partial(_check_level, given.property, dose.dose, unit, reader))
    volumes: dict[str, float | None] = {}
    for name in ("glass", "batch_volume"):
        text = getattr(given, name)
        volumes[name] = None if text is None else reader.attempt(f"/{name}", partial(_volume_l, text, reader))
    if given.property is None:
        if unit.kind is None and (given.glass is not None or given.batch_volume is not None):
            reader.faults.append(
                InputError(
                    "To scale a dose to a glass or a batch its unit has to be an amount per volume, such as “g/L lemon "
                    "juice”, “mL/glass syrup” or “tsp/gal”.",
                    "/dose_unit",
                )
            )
        if unit.kind is not None and unit.per_ml is None and given.glass is None and given.batch_volume is not None:
            reader.faults.append(InputError("A dose per glass needs the volume of the glass.", "/glass"))
    else:
        for name, why in (
            ("level_before", "A level holds all that is in the drink: leave this out."),
            ("glass", "A level is not scaled: leave this out; /v1/blend-plans finds the amounts for it."),
            ("batch_volume", "A level is not scaled: leave this out; /v1/blend-plans finds the amounts for it."),
        ):
            if getattr(given, name) is not None:
                reader.faults.append(InputError(why, f"/{name}"))
    step = DEFAULT_STEP if given.property is None else DEFAULT_STEPS[given.property]
    if given.noticeable_step_percent is not None:
        step = Step(given.noticeable_step_percent / 100.0, True)
    if reader.faults:
        return None
    glass_l = volumes["glass"]
    return ScoresAsked(
        scores=scores,
        scale=scale,
        scale_given=given.scale is not None,
        unit=unit,
        level=given.property,
        level_before=given.level_before,
        step=step,
        step_given=given.noticeable_step_percent is not None,
        glass_ml=None if glass_l is None else 1000.0 * glass_l,
        batch_l=volumes["batch_volume"],
        flat_within=given.flat_within,
        in_order=isinstance(doses[0].scores, list) and not given.anonymous,
    )


def _by_taster(given: TastingRequest, doses: list[ScoredDose]) -> tuple[Score, ...]:
    """Every score with its taster: by name, by place in the lists, or of nobody known."""
    lists = [isinstance(dose.scores, list) for dose in doses]
    if any(lists) and not all(lists):
        k = lists.index(not lists[0])
        raise InputError("Write all scores as lists, or all by taster.", f"/doses/{k}/scores")
    if given.anonymous and not lists[0]:
        raise InconsistentError("Scores by taster are not anonymous: write lists, or leave this out.", "/anonymous")
    found: list[Score] = []
    names: dict[str, str] = {}
    for k, dose in enumerate(doses):
        pointer = f"/doses/{k}/scores"
        if isinstance(dose.scores, list):
            if not given.anonymous and len(dose.scores) != len(doses[0].scores):
                raise InconsistentError(
                    f"This list has {len(dose.scores)} scores, the first has {len(doses[0].scores)}: write null for a "
                    "taster who missed a glass, or scores by name, or say “anonymous”.",
                    pointer,
                )
            for place, score in enumerate(dose.scores, start=1):
                if score is not None:
                    found.append(Score(None if given.anonymous else str(place), dose.dose, score))
                elif given.anonymous:
                    raise InputError("Leave a missing score out of anonymous lists.", f"{pointer}/{place - 1}")
        else:
            seen: set[str] = set()
            for name, score in dose.scores.items():
                key = " ".join(name.casefold().split())
                if not key:
                    raise InputError("A taster's name needs a letter or a digit.", pointer)
                if key in seen:
                    raise InputError(f"Two tasters are called “{name}”: give each a name of their own.", pointer)
                seen.add(key)
                found.append(Score(names.setdefault(key, name.strip()), dose.dose, score))
        if all(score.dose != dose.dose for score in found):
            raise InputError("Nobody scored this dose: leave it out.", pointer)
    return tuple(found)


def _check_scale(given: TastingRequest, doses: list[ScoredDose], scores: tuple[Score, ...]) -> None:
    values = [score.score for score in scores]
    if given.scale is None and values and min(values) < 0.0 and max(map(abs, values)) <= _JUST_RIGHT:
        raise InputError("Scores from −2 to +2: are they just_about_right, or liking? Say so in “scale”.", "/scale")
    if given.scale != "just_about_right":
        return
    for k, dose in enumerate(doses):
        for score in dose.scores.values() if isinstance(dose.scores, dict) else dose.scores:
            if score is not None and abs(score) > _JUST_RIGHT:
                raise OutOfRangeError(
                    f"just_about_right runs from −2 (far too little) to +2 (far too much); this is {score:g}.",
                    f"/doses/{k}/scores",
                )


def _check_doses(given: TastingRequest, doses: list[ScoredDose]) -> None:
    before = given.level_before or 0.0
    values = [dose.dose for dose in doses]
    for k, dose in enumerate(values):
        if 0.0 < dose < _LEAST_DOSE:
            raise OutOfRangeError(f"{dose:g} is hardly a dose: write it in a smaller unit.", f"/{k}/dose")
        if given.scale == "just_about_right" and dose + before < _LEAST_DOSE:
            raise InputError(
                "just_about_right goes by proportions, and there is none from nothing: leave this dose out, or say in "
                "“level_before” what the drink held of it already.",
                f"/{k}/dose",
            )
    # doses that differ only in their last digits are one dose
    if max(values) - min(values) <= 1e-6 * (max(values) + before):
        raise InconsistentError("All doses are the same: a best one shows only between different doses.")


def _check_level(name: str, level: float, unit: DoseUnit, reader: Reader) -> None:
    """Refuse a level that no drink has, in the words of a target."""
    if name != "titratable_acidity":
        target_value(name, level, "", reader)
    elif target_value(name, f"{level:.12g} {unit.text}", "", reader) > _MOST_ACID_G_PER_L:
        raise InputError(f"No drink has {level:g} {unit.text}: check the unit.")


def _unit(given: TastingRequest, reader: Reader) -> DoseUnit:
    if given.property == "titratable_acidity":
        if given.dose_unit is None:
            raise InputError("Say which acid: “g/L tartaric” or “g/L citric”.", "/dose_unit")
        text = given.dose_unit.strip()
        parse_acidity(f"1 {text}", pointer="/dose_unit")
        return DoseUnit(text)
    if given.property is not None:
        if given.dose_unit is not None:
            raise InputError("A property has its unit: leave this out.", "/dose_unit")
        return DoseUnit(PROPERTIES[given.property].unit)
    if given.dose_unit is None:
        return DoseUnit()
    text = " ".join(given.dose_unit.split())
    if not text:
        raise InputError("Write what a dose of 1 is, such as “g/L lemon juice”, or leave this out.", "/dose_unit")
    found = _UNIT.fullmatch(text)
    if found is None:
        return DoseUnit(text)
    amount = reader.quantity(f"1 {found['amount']}", MASS_OR_VOLUME, "/dose_unit")
    per_ml = None
    if found["volume"].lower() != "glass":
        volume = found["volume"].strip()
        written = volume if volume[0].isdigit() or volume[0] == "." else f"1 {volume}"
        per_ml = reader.quantity(written, VOLUME, "/dose_unit", liquid=True).value_base
        if per_ml <= 0.0:
            raise InputError("A dose goes into more than nothing.", "/dose_unit")
    kind: Literal["g", "mL"] = "g" if amount.kind is Kind.MASS else "mL"
    return DoseUnit(text, kind, amount.value_base, per_ml, (found["what"] or "").strip())


def _volume_l(text: str, reader: Reader) -> float:
    litres = reader.quantity(text, VOLUME, liquid=True).value_base / 1000.0
    if litres <= 0.0:
        raise InputError("A volume is larger than zero.")
    if not 1e-6 <= litres <= _MOST_L:
        raise OutOfRangeError(f"Between 1 µL and {_MOST_L:.0e} L can be reckoned with: check the unit.")
    return litres
