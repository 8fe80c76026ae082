"""Food energy from components by the label factors of the European Union.

Two traps: organic acid has its own factor, 3 kcal/g, which is often mistaken for the 2.4 kcal/g of polyols; and a
food table's own energy uses food-specific factors (honey 304 against 330 kcal/100 g), so it is no check of this one.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from service.physics.solutes import Component

_CARBOHYDRATE = (4.0, 17.0)
_POLYOL = (2.4, 10.0)
_ACID = (3.0, 13.0)
_FIBRE = (2.0, 8.0)
_NONE = (0.0, 0.0)

ENERGY_KCAL_AND_KJ_PER_G: Mapping[Component, tuple[float, float]] = MappingProxyType(
    {
        Component.WATER: _NONE,
        Component.ETHANOL: (7.0, 29.0),
        Component.SUCROSE: _CARBOHYDRATE,
        Component.GLUCOSE: _CARBOHYDRATE,
        Component.FRUCTOSE: _CARBOHYDRATE,
        Component.DISACCHARIDES: _CARBOHYDRATE,
        Component.HIGHER_SUGARS: _CARBOHYDRATE,
        Component.POLYOLS: _POLYOL,
        Component.CITRIC: _ACID,
        Component.MALIC: _ACID,
        Component.TARTARIC: _ACID,
        Component.LACTIC: _ACID,
        Component.QUINIC: _ACID,
        Component.GLUCONIC: _ACID,
        Component.FERMENT_ACIDS: _ACID,
        Component.GLYCEROL: _POLYOL,  # glycerol is a polyol
        Component.FERMENT_RESIDUE: _NONE,  # what yeast leaves, its nature unknown: our default
        Component.PROTEIN: (4.0, 17.0),
        Component.FAT: (9.0, 37.0),
        Component.ASH: _NONE,
        Component.PECTIN: _FIBRE,
        Component.OTHER_SOLIDS: _CARBOHYDRATE,  # a residual counted as carbohydrate: our default
    }
)
"""kcal/g and kJ/g. Regulation (EU) No 1169/2011, Annex XIV; protein and fat in kJ/g from memory."""


def energy_kcal(masses_g: Mapping[Component, float]) -> float:
    """Food energy of a mixture.

    E = Σ e_i m_i

    Parameters: masses_g, component to mass [g].
    Returns: energy [kcal].
    Validity: label arithmetic by general factors, not calorimetry.
    Source: Regulation (EU) No 1169/2011, Annex XIV.

    Example: 14.323 g ethanol (330 mL at 5.5 % vol), 29.04 g sugar and 1.815 g acid are 222 kcal.

    >>> round(energy_kcal({Component.ETHANOL: 14.323, Component.SUCROSE: 29.04, Component.CITRIC: 1.815}))
    222
    """
    return sum(ENERGY_KCAL_AND_KJ_PER_G[component][0] * mass for component, mass in masses_g.items())


def energy_kj(masses_g: Mapping[Component, float]) -> float:
    """Food energy of a mixture in kilojoules, by the kilojoule factors, not as a multiple of the kilocalories.

    E = Σ e_i m_i

    Parameters: masses_g, component to mass [g].
    Returns: energy [kJ].
    Validity: label arithmetic by general factors, not calorimetry.
    Source: Regulation (EU) No 1169/2011, Annex XIV.

    >>> round(energy_kj({Component.ETHANOL: 14.323, Component.SUCROSE: 29.04, Component.CITRIC: 1.815}))
    933
    """
    return sum(ENERGY_KCAL_AND_KJ_PER_G[component][1] * mass for component, mass in masses_g.items())
