"""What a drink is made of, and the room each part takes in solution.

Every dissolved solid follows one of a few laws of apparent specific volume φ(w), w = solids/(solids + water):

====================  ==========================================================  =====================
law                   φ [mL/g]                                                    range of w, residual
====================  ==========================================================  =====================
sucrose               φ_s(w), ICUMSA SPS-4                                        0–0.85
glucose               φ_s + 0.004308 + 0.007754 w                                 ≤ 0.5, 0.15 kg/m³
fructose              φ_s − 0.004766 + 0.010251 w                                 ≤ 0.5, 0.15 kg/m³
citric                0.594287 + 0.019065 w                                       ≤ 0.30, 0.14 kg/m³
lactic                0.787077 − 0.022028 w + 0.059597 w²                         ≤ 0.60, 0.8 kg/m³
glycerol              0.775755 − 0.023058 w + 0.043673 w²                         ≤ 0.60, 0.21 kg/m³
fat                   1.09                                                        judged
====================  ==========================================================  =====================

The shifts are least-squares fits to the rows of the CRC Handbook of Chemistry and Physics, 102nd ed. (2021),
"Concentrative properties of aqueous solutions", 20 °C, after Wolf (1966). What stands in for what, where the
handbook has no rows, is our default; the expected error in SG per g/L is in the comments.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from service.physics.sucrose import apparent_specific_volume_ml_g


class Component(StrEnum):
    """One substance or group of substances of a drink; masses of these add up to the whole."""

    WATER = "water"
    ETHANOL = "ethanol"
    SUCROSE = "sucrose"
    GLUCOSE = "glucose"
    FRUCTOSE = "fructose"
    DISACCHARIDES = "maltose_and_other_disaccharides"
    HIGHER_SUGARS = "other_sugars"
    POLYOLS = "polyols"
    CITRIC = "citric_acid"
    MALIC = "malic_acid"
    TARTARIC = "tartaric_acid"
    LACTIC = "lactic_acid"
    QUINIC = "quinic_acid"
    GLUCONIC = "other_acids_as_gluconic"
    FERMENT_ACIDS = "ferment_acids"
    GLYCEROL = "glycerol"
    FERMENT_RESIDUE = "ferment_residue"
    PROTEIN = "protein"
    FAT = "fat"
    ASH = "ash"
    PECTIN = "pectin"
    OTHER_SOLIDS = "other_solids"


@dataclass(frozen=True, slots=True)
class VolumeLaw:
    """φ(w) = (φ_sucrose(w) if `on_sucrose` else 0) + constant + linear·w + quadratic·w² [mL/g]."""

    on_sucrose: bool
    constant: float = 0.0
    linear: float = 0.0
    quadratic: float = 0.0

    def value_ml_g(self, w: float) -> float:
        """φ at the solids fraction w [mL/g]."""
        shift = self.constant + w * (self.linear + w * self.quadratic)
        return shift + (apparent_specific_volume_ml_g(w)[0] if self.on_sucrose else 0.0)


SUCROSE_LAW = VolumeLaw(True)
GLUCOSE_LAW = VolumeLaw(True, 0.004308, 0.007754)
FRUCTOSE_LAW = VolumeLaw(True, -0.004766, 0.010251)
CITRIC_LAW = VolumeLaw(False, 0.594287, 0.019065)
LACTIC_LAW = VolumeLaw(False, 0.787077, -0.022028, 0.059597)
GLYCEROL_LAW = VolumeLaw(False, 0.775755, -0.023058, 0.043673)
FAT_LAW = VolumeLaw(False, 1.09)

SOLUTE_LAWS: dict[Component, VolumeLaw] = {
    Component.SUCROSE: SUCROSE_LAW,
    Component.GLUCOSE: GLUCOSE_LAW,
    Component.FRUCTOSE: FRUCTOSE_LAW,
    Component.DISACCHARIDES: SUCROSE_LAW,  # ±0.01e-3, inside the spread of the three sugars (judged)
    Component.HIGHER_SUGARS: SUCROSE_LAW,  # ±0.01e-3 (judged)
    Component.POLYOLS: SUCROSE_LAW,  # 0.03e-3 high; φ of sorbitol about 0.65, from memory
    Component.CITRIC: CITRIC_LAW,  # CRC rows
    Component.MALIC: CITRIC_LAW,  # ±0.03e-3 (judged)
    Component.TARTARIC: CITRIC_LAW,  # 0.04e-3 low; φ about 0.555, from memory
    Component.LACTIC: LACTIC_LAW,  # CRC rows
    Component.QUINIC: CITRIC_LAW,  # ±0.03e-3 (judged)
    Component.GLUCONIC: SUCROSE_LAW,  # ±0.03e-3 (judged)
    Component.FERMENT_ACIDS: CITRIC_LAW,  # the mixed acids of a ferment, known by titration only
    Component.GLYCEROL: GLYCEROL_LAW,  # CRC rows
    Component.FERMENT_RESIDUE: SUCROSE_LAW,  # what yeast leaves: counted as sucrose in density (our default)
    Component.PROTEIN: SUCROSE_LAW,  # 0.05e-3 to 0.1e-3 high; φ about 0.73, from memory
    Component.FAT: FAT_LAW,  # ±0.03e-3; 0.92 g/mL, from memory
    Component.ASH: SUCROSE_LAW,  # 0.3e-3 to 0.5e-3 low: the largest model error of a juice
    Component.PECTIN: SUCROSE_LAW,  # ±0.05e-3 (judged)
    Component.OTHER_SOLIDS: SUCROSE_LAW,  # ±0.05e-3 (judged)
}

ACIDS = (
    Component.CITRIC,
    Component.MALIC,
    Component.TARTARIC,
    Component.LACTIC,
    Component.QUINIC,
    Component.GLUCONIC,
    Component.FERMENT_ACIDS,
)
SUGARS = (
    Component.SUCROSE,
    Component.GLUCOSE,
    Component.FRUCTOSE,
    Component.DISACCHARIDES,
    Component.HIGHER_SUGARS,
)
