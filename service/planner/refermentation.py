"""Cautions about sugar that yeast can use: when to sweeten, what holds it, and what bursts.

Where an interval crosses a line that matters for pressure, its bad end is told: more sugar, less strength.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from typing import Final

from service.chemistry.sorbate import TABLE_ML_PER_L
from service.model.contents import Contents
from service.model.lot_class import DRY_EXTRACT
from service.model.properties import property_value
from service.planner.answers import OUR_DEFAULT, PRACTICE, Caution, Predicted
from service.planner.asked import Circumstances, LotAsked
from service.planner.materials import Material
from service.planner.plain_words import joined

SEALED: Final = ("bottle", "can", "keg", "jar", "flask")

WARM_C: Final = 25.0
"""Storage above this is named warm (our default)."""

FERMENTABLE_LIMIT_G_PER_L: Final = 2.0
"""Fermentable sugar above which a sealed drink needs a hurdle (our default)."""

_TABLE_STARTS_ABV_PERCENT = min(TABLE_ML_PER_L)
_NOTICEABLE_SUGAR_G = 1.0
NO_HURDLE: Final = "nothing named that holds yeast (no hurdle)"
"""The trade's word for what holds yeast back, beside what it means."""

_MOST_NAMED = 2
_NOUNS = {"pasteurised": "pasteurising", "sterile_filtered": "sterile filtration"}
_NAMED_FIRST = {"pasteurised": 0, "sterile_filtered": 1, "sorbate": 2, "sulfite": 3}


def refermentation_cautions(
    materials: Sequence[Material],
    masses_g: Sequence[float],
    contents: Contents,
    predicted: Predicted,
    circumstances: Circumstances,
) -> Iterator[Caution]:
    """All cautions about fermentable sugar of one blend."""
    intended = circumstances.intended
    volume_l = contents.volume_ml / 1000.0
    sugar = contents.tally("fermentable_g") / volume_l
    assumed, spread = _assumed_sugar(materials, masses_g, volume_l)
    most = max(sugar + spread, predicted.fermentable_sugar_g_per_l.high)
    hurdles = set(intended.hurdles)
    if _sweetens_a_ferment(materials, masses_g):
        yield Caution(
            "ferment_must_have_ended",
            "warning",
            "Sweeten only after the ferment has ended: two equal gravities days apart. Live yeast eats added sugar, "
            "in an open vessel too; stabilisers do not stop it.",
            PRACTICE,
        )
    if sugar - assumed > FERMENTABLE_LIMIT_G_PER_L:
        yield _sugar_and_hurdles(sugar, most, hurdles, intended.container)
    elif not _holds(hurdles) and most > FERMENTABLE_LIMIT_G_PER_L:
        if spread > 0.0:
            yield Caution(
                "residual_sugar_unknown",
                "warning",
                f"Residual sugar was not measured: up to about {most:.0f} g/L may be left, enough to burst a "
                "sealed container. Seal only after two equal gravities days apart.",
                OUR_DEFAULT,
            )
        else:
            yield may_referment(most)
    abv = property_value("abv_percent", contents, volume_l) or 0.0
    yield from stabiliser_cautions(hurdles, abv, min(abv, predicted.abv_percent.low))
    if intended.storage_temperature_c is not None and intended.storage_temperature_c > WARM_C:
        yield warm_storage(intended.storage_temperature_c)


def warm_storage(temperature_c: float) -> Caution:
    """What a warm store does [°C]."""
    return Caution(
        "warm_storage",
        "note",
        f"Storage at {temperature_c:.0f} °C raises pressure and speeds spoilage.",
        OUR_DEFAULT,
    )


def may_referment(most_g_per_l: float) -> Caution:
    """What the errors of readings leave of sugar, at most [g/L]."""
    return Caution(
        "sugar_may_referment",
        "warning",
        f"By the errors of readings up to {most_g_per_l:.1f} g/L of fermentable sugar may be left, enough to "
        "burst a sealed container. Seal only after two equal gravities days apart.",
        OUR_DEFAULT,
    )


def _holds(hurdles: set[str]) -> bool:
    """Whether a hurdle that can hold yeast was stated: heat, filtration, or sulfite and sorbate together."""
    return bool(hurdles & {"pasteurised", "sterile_filtered"}) or {"sulfite", "sorbate"} <= hurdles


def _assumed_sugar(materials: Sequence[Material], masses_g: Sequence[float], volume_l: float) -> tuple[float, float]:
    """Residual sugar of lots that was assumed, not measured, and its spread [g per litre of blend]."""
    sugar = spread = 0.0
    for material, mass in zip(materials, masses_g, strict=True):
        asked = material.source
        if (
            isinstance(asked, LotAsked)
            and asked.lot.residual_sugar_sd_g_per_l is not None
            and not asked.lot.sugar_known
        ):
            # what is far above a dry ferment's is no assumption but a reading of the gravity
            per_l = asked.lot.contents.tally("fermentable_g") / asked.lot.volume_l
            share = mass / asked.lot.contents.mass_g * asked.lot.volume_l / volume_l
            sugar += min(per_l, asked.lot.residual_sugar_sd_g_per_l) * share
            spread += asked.lot.residual_sugar_sd_g_per_l * share
    return sugar, spread


def _sweetens_a_ferment(materials: Sequence[Material], masses_g: Sequence[float]) -> bool:
    poured = [(m, g) for m, g in zip(materials, masses_g, strict=True) if g > 0.0]
    ferment = any(isinstance(m.source, LotAsked) and m.source.lot.lot_class in DRY_EXTRACT for m, _ in poured)
    added = sum(g * m.per_g.tally("fermentable_g") for m, g in poured if m.kind == "addition")
    return ferment and added > _NOTICEABLE_SUGAR_G


def _sugar_and_hurdles(sugar: float, most: float, hurdles: set[str], container: str | None) -> Caution:
    """What stands between this sugar, or the most that it may be, and a burst container [g/L]."""
    much = f"{sugar:.0f} g/L of fermentable sugar"
    if f"{most:.0f}" != f"{sugar:.0f}":
        much += f" (perhaps {most:.0f})"
    sealed = container in SEALED
    if not hurdles:
        where = f"sealed in a {container}" if sealed else "if ever sealed"
        return Caution(
            "refermentable_sugar_no_hurdle",
            "stop" if sealed else "warning",
            f"{much}, {where}, {NO_HURDLE}: it can referment and burst{'' if sealed else ' the container'}. Stabilise "
            "or pasteurise.",
            OUR_DEFAULT,
        )
    if not _holds(hurdles):
        return Caution(
            "hurdle_does_not_hold",
            "stop" if sealed else "warning",
            f"{much} behind {hurdles_named(hurdles)} only, which does not hold yeast: a sealed container can burst. "
            "Pasteurise, or plan stabilising.",
            PRACTICE,
        )
    return Caution(
        "hurdle_is_not_proof",
        "warning",
        f"{much} rests on {hurdles_named(hurdles)}, which this service has not checked. Watch gravity and pressure of "
        "a test sample.",
        PRACTICE,
    )


def hurdles_named(hurdles: Collection[str]) -> str:
    """At most two of the hurdles by name, those that kill or hold out yeast first.

    >>> hurdles_named({"sulfite", "sorbate"}), hurdles_named({"cold", "sulfite", "sorbate", "pasteurised"})
    ('sorbate and sulfite', 'pasteurising, sorbate and others')
    """
    ordered = sorted(hurdles, key=lambda hurdle: (_NAMED_FIRST.get(hurdle, len(_NAMED_FIRST)), hurdle))
    named = [hurdle_in_words(hurdle) for hurdle in ordered[:_MOST_NAMED]]
    return joined(named if len(ordered) <= _MOST_NAMED else [*named, "others"])


def hurdle_in_words(hurdle: str) -> str:
    """What holds yeast back, as a noun.

    >>> hurdle_in_words("sterile_filtered"), hurdle_in_words("cold")
    ('sterile filtration', 'cold')
    """
    return _NOUNS.get(hurdle, hurdle)


def strength_below(abv_percent: float, least_percent: float) -> str:
    """How a strength, or only the lower end of its interval, lies below where the published table starts.

    >>> strength_below(7.4, 7.0), strength_below(10.2, 9.8)
    ('this drink has 7.4', 'this drink has 10.2, perhaps only 9.8')
    """
    told = f"this drink has {abv_percent:.1f}"
    return told if abv_percent < _TABLE_STARTS_ABV_PERCENT else f"{told}, perhaps only {least_percent:.1f}"


def stabiliser_cautions(hurdles: set[str], abv_percent: float, least_percent: float) -> Iterator[Caution]:
    """What goes with the salts, in a drink of a strength that may be as low as `least_percent` [% vol]."""
    if "sulfite" in hurdles:
        yield Caution(
            "sulfite_sensitivity",
            "note",
            "Sulfite: about 5 % of people with asthma react, some severely. Say so to whoever drinks it.",
            "fda_consumer_1996",
        )
    if "sorbate" not in hurdles:
        return
    if "sulfite" not in hurdles:
        yield Caution(
            "sorbate_without_sulfite",
            "stop",
            "Sorbate without sulfite: lactic bacteria can turn it into a geranium taint that nothing removes.",
            "oxford_companion",
        )
    if least_percent < _TABLE_STARTS_ABV_PERCENT:
        yield Caution(
            "sorbate_outside_published_table",
            "warning",
            f"Published sorbate doses start at 10 % vol; {strength_below(abv_percent, least_percent)}. "
            "The legal maximum may not hold it: prefer pasteurising, sterile filtration or dryness.",
            "underhill",
        )
