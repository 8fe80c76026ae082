"""What a tasting took for granted, and what to say or do instead."""

from __future__ import annotations

from service.model.lot_class import Assumed
from service.planner.tasting.asked import (
    DEFAULT_ALPHA,
    DEFAULT_DISCRIMINATORS,
    DEFAULT_POWER,
    DifferenceAsked,
    ScoresAsked,
    TastingAsked,
)

_OURS, _PRACTICE = "our default", "common practice, no source"


def assumed_in_scores(asked: TastingAsked, given: ScoresAsked) -> tuple[Assumed, ...]:
    """Every default of a question about scores."""
    found = []
    if not given.scale_given:
        found.append(Assumed("scale", given.scale, _OURS, "say what the scores mean"))
    if given.in_order:
        found.append(
            Assumed(
                "tasters",
                "the places in the lists: 1, 2, …",
                "lists of one length",
                "write scores as an object of names, or say “anonymous”",
            )
        )
    if not given.unit.text and given.level is None:
        found.append(Assumed("dose_unit", "none", "not said", "say what a dose of 1 is, such as “g/L lemon juice”"))
    if not given.step_given:
        share = f"{100.0 * given.step.size:g} % of the level" if given.step.relative else f"{given.step.size:g}"
        found.append(
            Assumed(
                "just-noticeable step",
                share,
                "that of sugar: published Weber fractions, from memory, and our default"
                if given.level is None
                else f"that of {given.level}: our default",
                "a 2-AFC test of two doses, or the step that you know of",
            )
        )
    if given.level is None and given.level_before is None:
        found.append(
            Assumed("level_before", "0", _OURS, "say what the drink holds of it before the dose, in the same unit")
        )
    if given.flat_within is None:
        found.append(
            Assumed("flat_within", f"{given.flat:g} points", f"{_OURS}, for scales of about nine points", "name yours")
        )
    return (*found, *_served(asked))


def assumed_in_difference(asked: TastingAsked, given: DifferenceAsked) -> tuple[Assumed, ...]:
    """Every default of a difference test."""
    found = []
    if not given.sides_given and given.kind == "two_afc":
        found.append(Assumed("sides", "one", _OURS, "say whether the stronger one was known beforehand"))
    if given.alpha is None:
        found.append(Assumed("alpha", f"{DEFAULT_ALPHA:g}", _PRACTICE, "say which error is allowed"))
    if given.power_wanted is None:
        found.append(Assumed("power_wanted", f"{DEFAULT_POWER:g}", _PRACTICE, "name yours"))
    if given.discriminators is None and given.d_prime is None:
        found.append(
            Assumed(
                "discriminators",
                f"{DEFAULT_DISCRIMINATORS:g}",
                f"{_OURS}: half of the people truly tell the samples apart",
                "the smallest share, or d′, that you would mind missing",
            )
        )
    if given.people is None:
        found.append(Assumed("tasters", f"{given.n}", "one answer each", "say how many people answered"))
    return (*found, *_served(asked))


def _served(asked: TastingAsked) -> tuple[Assumed, ...]:
    found = []
    if asked.blind is None:
        found.append(Assumed("blind", "not said", _PRACTICE, "say whether glasses were coded"))
    if asked.random_order is None:
        found.append(Assumed("random_order", "not said", _PRACTICE, "say whether each taster had another order"))
    return tuple(found)
