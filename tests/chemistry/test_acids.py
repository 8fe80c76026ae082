from __future__ import annotations

import pytest

from service.chemistry.acids import (
    EQUIVALENT_WEIGHT_G_PER_EQ,
    Acid,
    acid_equivalents_meq,
    acid_from_acid,
    acid_g_per_l_from_meq_per_l,
    citric_g_per_100g_from_meq_per_kg,
    meq_per_kg_from_citric_g_per_100g,
    meq_per_l_from_acid_g_per_l,
)
from service.errors import InputError
from service.physics.solutes import Component

CARBON, HYDROGEN, OXYGEN, SULFUR = 12.011, 1.008, 15.999, 32.06  # IUPAC standard atomic weights
FORMULAS = {
    Acid.TARTARIC: (4 * CARBON + 6 * HYDROGEN + 6 * OXYGEN, 2),
    Acid.CITRIC: (6 * CARBON + 8 * HYDROGEN + 7 * OXYGEN, 3),
    Acid.CITRIC_MONOHYDRATE: (6 * CARBON + 10 * HYDROGEN + 8 * OXYGEN, 3),
    Acid.MALIC: (4 * CARBON + 6 * HYDROGEN + 5 * OXYGEN, 2),
    Acid.LACTIC: (3 * CARBON + 6 * HYDROGEN + 3 * OXYGEN, 1),
    Acid.ACETIC: (2 * CARBON + 4 * HYDROGEN + 2 * OXYGEN, 1),
    Acid.SUCCINIC: (4 * CARBON + 6 * HYDROGEN + 4 * OXYGEN, 2),
    Acid.SULFURIC: (2 * HYDROGEN + SULFUR + 4 * OXYGEN, 2),
    Acid.GLUCONIC: (6 * CARBON + 12 * HYDROGEN + 7 * OXYGEN, 1),
    Acid.QUINIC: (7 * CARBON + 12 * HYDROGEN + 6 * OXYGEN, 1),
}


@pytest.mark.parametrize("acid", Acid)
def test_equivalent_weight_is_formula_mass_over_acid_hydrogens(acid: Acid) -> None:
    mass, hydrogens = FORMULAS[acid]
    assert EQUIVALENT_WEIGHT_G_PER_EQ[acid] == pytest.approx(mass / hydrogens, abs=0.011)


@pytest.mark.parametrize(
    ("acid", "per_tartaric"),
    [(Acid.CITRIC, 0.853), (Acid.MALIC, 0.893), (Acid.SULFURIC, 0.654), (Acid.LACTIC, 1.200), (Acid.ACETIC, 0.800)],
)
def test_one_gram_of_tartaric_in_other_acids(acid: Acid, per_tartaric: float) -> None:
    assert acid_from_acid(1.0, Acid.TARTARIC, acid) == pytest.approx(per_tartaric, abs=5.1e-4)


def test_table_unit() -> None:
    assert meq_per_kg_from_citric_g_per_100g(1.0) == pytest.approx(156.15, abs=0.005)
    assert acid_from_acid(1.0, Acid.CITRIC, Acid.TARTARIC) == pytest.approx(1.1718, abs=5e-5)
    assert acid_from_acid(1.0, Acid.CITRIC, Acid.MALIC) == pytest.approx(1.0468, abs=1e-4)


@pytest.mark.parametrize("acid", Acid)
def test_conversions_are_inverses(acid: Acid) -> None:
    assert acid_g_per_l_from_meq_per_l(meq_per_l_from_acid_g_per_l(6.3, acid), acid) == pytest.approx(6.3)
    assert acid_from_acid(acid_from_acid(6.3, acid, Acid.CITRIC), Acid.CITRIC, acid) == pytest.approx(6.3)
    assert citric_g_per_100g_from_meq_per_kg(meq_per_kg_from_citric_g_per_100g(6.3)) == pytest.approx(6.3)


def test_equivalents_of_a_composition() -> None:
    masses = {Component.CITRIC: 6.404, Component.MALIC: 6.704, Component.SUCROSE: 80.0}
    assert acid_equivalents_meq(masses) == pytest.approx(200.0)
    with pytest.raises(InputError, match="titratable acidity"):
        acid_equivalents_meq({Component.FERMENT_ACIDS: 1.0})
