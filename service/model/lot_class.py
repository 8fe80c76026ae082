"""The classes of liquid that a lot can be, and what is typical of each where nothing was read."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class LotClass(StrEnum):
    """Kinds of liquid, in the trade's words (Codex food classes)."""

    MEAD = "mead"
    GRAPE_WINE = "grape_wine"
    FRUIT_WINE = "fruit_wine"
    CIDER_PERRY = "cider_perry"
    CITRUS_JUICE = "citrus_juice"
    BERRY_JUICE = "berry_juice"
    SPIRIT = "spirit"


@dataclass(frozen=True, slots=True)
class DryExtract:
    """Dry extract of a ferment that is not sugar [g/L].

    `total` in grams of the sucrose that would give the same gravity, with its standard deviation; the parts in
    true grams. Their weights in `total` are 0.58 for glycerol and 1.05 for acids.
    """

    total: float
    sd: float
    glycerol: float
    acids: float
    rest: float
    mark: str


DRY_EXTRACT: dict[LotClass, DryExtract] = {
    LotClass.MEAD: DryExtract(15.0, 5.0, 5.0, 3.0, 8.9, "judged; glycerol from memory"),
    LotClass.GRAPE_WINE: DryExtract(
        19.4, 2.2, 7.0, 6.9, 8.1, "computed from 2525 white wines (UCI wine-quality data); glycerol from memory"
    ),
    LotClass.FRUIT_WINE: DryExtract(20.0, 6.0, 6.0, 7.0, 9.1, "judged"),
    LotClass.CIDER_PERRY: DryExtract(18.0, 5.0, 4.0, 5.0, 10.4, "judged"),
}


@dataclass(frozen=True, slots=True)
class TypicalAcidity:
    """pH and spread of pH and acidity where they were not read; the acidity itself is that of DRY_EXTRACT."""

    ph: float
    ph_sd: float
    acids_sd_g_per_l: float
    mark: str


TYPICAL_ACIDITY: dict[LotClass, TypicalAcidity] = {
    LotClass.MEAD: TypicalAcidity(
        3.5, 0.25, 1.4, "judged; pH 2.9 to 3.9 from memory, acidity 2.2 to 7.7 g/L in a citation extract"
    ),
    LotClass.GRAPE_WINE: TypicalAcidity(3.19, 0.15, 0.9, "computed from 2525 white wines (UCI wine-quality data)"),
    LotClass.FRUIT_WINE: TypicalAcidity(3.4, 0.25, 1.7, "judged"),
    LotClass.CIDER_PERRY: TypicalAcidity(3.6, 0.25, 1.2, "judged"),
}

JUICE_ROW = {LotClass.CITRUS_JUICE: "orange_juice_fresh", LotClass.BERRY_JUICE: "raspberry_juice"}
"""The catalogue row whose make-up a lot of juice is given (our default)."""


_SHOWN: Final = {"use_attribute_docstrings": True}
"""Makes the text below each field its description in the published document."""


@dataclass(frozen=True, slots=True)
class Assumed:
    """A value that stands in for a reading: what, how much, on what ground, and what reading would replace it."""

    __pydantic_config__ = _SHOWN

    what: str
    """What is assumed, behind the name of what it belongs to."""
    value: str
    """What is taken, with its unit."""
    source: str
    """On what ground: a publication, or whose judgement."""
    measure_by: str
    """What to read, or to ask, in its place."""
