"""How the properties of a mixture change with its contents: first derivatives, exact.

Volume, acidity and the balance of charges are homogeneous of degree one in the contents, so that their tangents have
no constant term; every property is a ratio of such forms, or one of them.
"""

from __future__ import annotations

from typing import NamedTuple

from service.model.acidity import Chemistry
from service.model.contents import COMPONENTS, SIZE, Contents
from service.model.properties import CITRIC_G_PER_MEQ, TARTARIC_G_PER_MEQ, TOTAL_MASS, Of, Per, Property, dot

Gradient = tuple[float, ...]
"""Change of a property for each unit of `Contents.vector`."""

_STEP_PH = 1e-3
_NO_MASS = (0.0,) * (SIZE - len(COMPONENTS))


def litres_gradient(contents: Contents) -> Gradient:
    """Litres for each unit of the contents.

    >>> from service.physics.solutes import Component
    >>> water = Contents.of({Component.WATER: 1000.0})
    >>> round(1000 * litres_gradient(water)[0], 4)  # 1/0.9982, water at 20 °C (OIML R 22)
    1.0018
    """
    return (*contents.litres_per_g, *_NO_MASS)


def property_gradient(
    law: Property, contents: Contents, chemistry: Chemistry, value: float, litres: Gradient | None = None
) -> Gradient:
    """Change of a property for each unit of the contents.

    Parameters: law, taken from the contents, the titration, the pH or the volume; contents; chemistry of the same
        contents; value of the property there; litres, the `litres_gradient` of the contents, if at hand.
    Returns: gradient, shape (SIZE,) [unit of the property per g, mL, mmol or meq].
    Source: quotient rule; partial volumes of `service.physics.mixture`, tangents of `service.model.acidity`.

    Example: 10 g of sugar in a litre more is about 0.0038 SG more (0.385 g/mL for each gram, Balling's tables).

    >>> from service.model.acidity import chemistry_of
    >>> from service.model.properties import PROPERTIES, property_value
    >>> from service.physics.solutes import Component
    >>> drink = Contents.of({Component.WATER: 930.0, Component.ETHANOL: 50.0, Component.SUCROSE: 30.0})
    >>> law = PROPERTIES["gravity"]
    >>> here = property_value(law, drink, drink.volume_ml / 1000)
    >>> gradient = property_gradient(law, drink, chemistry_of(drink), here)
    >>> round(10 * gradient[list(Component).index(Component.SUCROSE)] * drink.volume_ml / 1000, 3)
    0.004
    """
    top, factor, bottom, share, divisor = quotient_of(law, contents, chemistry, value, litres)
    if bottom is None:
        return tuple([factor * t / divisor for t in top])
    return tuple([(factor * t - value * (share * b)) / divisor for t, b in zip(top, bottom, strict=True)])


class Quotient(NamedTuple):
    """A gradient as (factor·top − value·share·bottom)/divisor, or factor·top/divisor where there is no bottom."""

    top: Gradient
    factor: float
    bottom: Gradient | None
    share: float
    divisor: float


def quotient_of(
    law: Property, contents: Contents, chemistry: Chemistry, value: float, litres: Gradient | None = None
) -> Quotient:
    """The `property_gradient` in the forms that it is made of, which several properties share.

    Parameters and source: as `property_gradient`.
    """
    litres = litres_gradient(contents) if litres is None else litres
    if law.of is Of.VOLUME:
        return Quotient(litres, 1.0, None, 0.0, 1.0)
    volume_l = contents.volume_ml / 1000.0
    if law.of is Of.PH:
        balance, _ = chemistry.balance_and_buffering(value)
        return Quotient(balance, 1.0, None, 0.0, _fall_with_ph(chemistry, value) * volume_l)
    if law.of is Of.TITRATION:
        return Quotient(chemistry.titratable, TARTARIC_G_PER_MEQ, litres, 1.0, volume_l)
    if law.per is Per.VOLUME:
        return Quotient(law.weights, 1.0, litres, 1.0, volume_l)
    if law.per is Per.MASS:
        return Quotient(law.weights, 1.0, TOTAL_MASS, 1.0, contents.mass_g)
    if law.per is Per.ACID:
        acid_g = CITRIC_G_PER_MEQ * dot(chemistry.titratable, contents)
        return Quotient(law.weights, 1.0, chemistry.titratable, CITRIC_G_PER_MEQ, acid_g)
    return Quotient(law.weights, 1.0, None, 0.0, 1.0)


def _fall_with_ph(chemistry: Chemistry, ph: float) -> float:
    """How fast the balance of a litre falls with pH, the ionic strength going along [meq/L for each unit]."""
    return (chemistry.residual_meq_per_l(ph - _STEP_PH) - chemistry.residual_meq_per_l(ph + _STEP_PH)) / (
        2.0 * _STEP_PH
    )
