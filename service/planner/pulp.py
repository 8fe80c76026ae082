"""How much of a blend settles out: an estimate from the citrus juice in it, until a jar shows it.

    settled layer / volume = Σ (single-strength citrus juice / volume · spun pulp · bulk of the layer)

Spun pulp is wet pulp, packed by a centrifuge; what settles by itself is two to three times as bulky.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from service.catalogue.records import Category
from service.errors import OutOfRangeError
from service.model.lot_class import Assumed
from service.planner.answers import NextReading
from service.planner.asked import AdditionAsked
from service.planner.losses import NO_CITRUS, Losses
from service.planner.materials import Material, poured
from service.planner.span import Span

PULP_SOURCE: Final = "pulp_product_sheets"

SPUN_OF_CONCENTRATE: Final = Span(0.10, 0.08, 0.12)
"""Spun pulp of single-strength orange juice made of concentrate, by volume (trade product sheets, a weak secondary
source)."""

SPUN_OF_PRESSED: Final = Span(0.175, 0.10, 0.25)
"""The same of hand-pressed, strained juice (common practice, no source; wide)."""

BULK: Final = Span(2.5, 2.0, 3.0)
"""A layer that settled by itself over one that was spun, by volume (common practice, no source)."""

_MOST_SHARE: Final = 0.9
_JAR_TEST: Final = "stand 1 L of the blend cold for 48 to 72 h in a straight jar and measure the settled layer"


def settled_share(from_concentrate: float, pressed: float) -> Span:
    """The settled layer of a blend by the citrus juice in it.

    layer = 2.5 · (0.10 · juice of concentrate + 0.175 · pressed juice), at its ends 2·(0.08, 0.10) and 3·(0.12, 0.25)

    Parameters: from_concentrate and pressed, single-strength citrus juice over the volume of the blend [1], of
        concentrate and pressed from fruit.
    Returns: the share of the height, low and high where both figures are at their ends.
    Raises: OutOfRangeError where that is most of the blend.
    Validity: an estimate; pectin that breaks and fining agents change it.
    Source: trade product sheets of concentrates (weak secondary source); common practice, no source.

    Example: 3 L of juice with 10 % of spun pulp leave 0.6 to 0.9 L (computed from the bulk alone).

    >>> layer = settled_share(3.0 / 20.0, 0.0)
    >>> [round(20.0 * v, 2) for v in (layer.low, layer.value, layer.high)]
    [0.48, 0.75, 1.08]
    """
    ends = [
        bulk * (spun * from_concentrate + other * pressed)
        for bulk, spun, other in zip(_ends(BULK), _ends(SPUN_OF_CONCENTRATE), _ends(SPUN_OF_PRESSED), strict=True)
    ]
    if ends[2] > _MOST_SHARE:
        raise OutOfRangeError(
            "So much citrus juice has no estimate of what settles: measure it in a jar (jar_test), or give a share.",
            "/losses/settling",
        )
    return Span(*ends)


def _ends(span: Span) -> tuple[float, float, float]:
    return span.value, span.low, span.high


def settled(losses: Losses, materials: Sequence[Material], masses_g: Sequence[float]) -> Losses:
    """Losses whose settled layer is reckoned from what a blend is made of, where an estimate was asked for.

    Juice of the catalogue that is no concentrate, and a lot of citrus juice, count as pressed.

    Parameters: losses; materials; masses_g of each [g].
    Returns: Losses with the layer and what it rests on in `assumed`; the same where none was asked for.
    Raises: OutOfRangeError as settled_share.
    """
    if not losses.estimate:
        return losses
    contents = poured(materials, masses_g)
    concentrate = pressed = 0.0
    for material, mass_g in zip(materials, masses_g, strict=True):
        share = material.per_g.tally("citrus_juice_ml") * mass_g / contents.volume_ml if mass_g > 0.0 else 0.0
        if _of_concentrate(material):
            concentrate += share
        else:
            pressed += share
    other = (contents.tally("juice_ml") - contents.tally("citrus_juice_ml")) / contents.volume_ml
    return _estimated(losses, settled_share(concentrate, pressed), other)


def settled_by_figures(losses: Losses, citrus_percent: float | None, juice_percent: float | None) -> Losses:
    """The same for a drink that is known by its figures: how its juice was made is not known, so that both count.

    Parameters: losses; citrus_percent and juice_percent, single-strength juice of citrus fruit and of all fruit [%], or
        None.
    Returns: Losses.
    Raises: OutOfRangeError where the citrus juice is not known, or as settled_share.
    """
    if not losses.estimate:
        return losses
    if citrus_percent is None and juice_percent == 0.0:
        citrus_percent = 0.0
    if citrus_percent is None:
        raise OutOfRangeError(
            "An estimate of what settles needs the citrus juice in the drink: give it (citrus_percent), 0 where there "
            "is none; or a share.",
            "/losses/settling",
        )
    citrus = citrus_percent / 100.0
    least, most = settled_share(citrus, 0.0), settled_share(0.0, citrus)
    other = 0.0 if juice_percent is None else max(juice_percent / 100.0 - citrus, 0.0)
    return _estimated(losses, Span(0.5 * (least.value + most.value), least.low, most.high), other)


def may_settle(materials: Sequence[Material]) -> bool:
    """Whether any of these brings citrus juice, of which alone pulp is reckoned."""
    return any(material.per_g.tally("citrus_juice_ml") > 0.0 for material in materials)


def _of_concentrate(material: Material) -> bool:
    asked = material.source
    return isinstance(asked, AdditionAsked) and asked.ingredient.category is not Category.JUICE


def _estimated(losses: Losses, layer: Span, other: float) -> Losses:
    told = f"{100.0 * layer.value:.1f} % ({100.0 * layer.low:.1f} to {100.0 * layer.high:.1f}) of the height"
    source = (
        "spun pulp 8 to 12 % of citrus juice from concentrate (trade product sheets, weak) and 10 to 25 % of pressed "
        "juice, settled 2 to 3 times as bulky (common practice, no source)"
    )
    if layer.high == 0.0:
        told, source = "nothing", NO_CITRUS
    if other > 0.0:
        source += "; no figure for the pulp of other fruit, none is counted"
    line = Assumed("losses: settling", told, source, _JAR_TEST)
    kept = tuple(a for a in losses.assumed if a.what != line.what)
    return replace(losses, settling=layer, measured=False, assumed=(*kept, line))


def jar_test_to_read(losses: Losses) -> tuple[NextReading, ...]:
    """The reading that replaces an estimate of the settled layer; none where it was measured or left out."""
    if not losses.estimate or losses.settling is None:
        return ()
    layer = losses.settling
    return (
        NextReading(
            _JAR_TEST,
            "straight jar and ruler",
            round(100.0 * layer.value, 1) if layer.high > 0.0 else None,
            "% of the height",
            "cold",
            48.0,
            round(100.0 * layer.low, 1) if layer.high > 0.0 else None,
            round(100.0 * layer.high, 1) if layer.high > 0.0 else None,
        ),
    )
