"""How the properties of a mixture change with its contents: first derivatives, exact.

Volume, acidity and the balance of charges are homogeneous of degree one in the contents, so that their tangents have
no constant term; every property is a ratio of such forms, or one of them.
"""

from __future__ import annotations

from collections.abc import Sequence

from service.model.acidity import Chemistry
from service.model.contents import COMPONENTS, SIZE, Contents
from service.model.properties import CITRIC_G_PER_MEQ, TARTARIC_G_PER_MEQ, TOTAL_MASS, Of, Per, Property, dot
from service.physics.mixture import partial_volumes_ml_g

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
    return (*(v / 1000.0 for v in partial_volumes_ml_g(contents.sums)), *_NO_MASS)


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
    litres = litres_gradient(contents) if litres is None else litres
    if law.of is Of.VOLUME:
        return litres
    volume_l = contents.volume_ml / 1000.0
    if law.of is Of.PH:
        balance, _ = chemistry.balance_and_buffering(value)
        slope = _fall_with_ph(chemistry, value) * volume_l
        return tuple([b / slope for b in balance])
    if law.of is Of.TITRATION:
        top = [TARTARIC_G_PER_MEQ * t for t in chemistry.titratable]
        return _ratio(top, litres, value, volume_l)
    if law.per is Per.VOLUME:
        return _ratio(law.weights, litres, value, volume_l)
    if law.per is Per.MASS:
        return _ratio(law.weights, TOTAL_MASS, value, contents.mass_g)
    if law.per is Per.ACID:
        acid = tuple(CITRIC_G_PER_MEQ * t for t in chemistry.titratable)
        return _ratio(law.weights, acid, value, dot(acid, contents))
    return law.weights


def _fall_with_ph(chemistry: Chemistry, ph: float) -> float:
    """How fast the balance of a litre falls with pH, the ionic strength going along [meq/L for each unit]."""
    return (chemistry.residual_meq_per_l(ph - _STEP_PH) - chemistry.residual_meq_per_l(ph + _STEP_PH)) / (
        2.0 * _STEP_PH
    )


def _ratio(top: Sequence[float], bottom: Sequence[float], value: float, divisor: float) -> Gradient:
    return tuple([(t - value * b) / divisor for t, b in zip(top, bottom, strict=True)])
