"""The units a maker may write, their spellings and their exact factors.

US customary and avoirdupois units: NIST Handbook 44, Appendix C (exact by definition through 1 in = 2.54 cm and
1 lb = 453.59237 g; 1 gal = 231 in³). Imperial gallon 4.54609 L: the same appendix. Pound-force per square inch:
NIST SP 811, Appendix B, from 1 lb × 9.80665 m/s² over (0.0254 m)².
"""

from __future__ import annotations

import difflib
from collections.abc import Collection
from dataclasses import dataclass
from enum import Enum
from typing import Final, Literal

__all__ = [
    "GRAMS_PER_OUNCE",
    "GRAMS_PER_POUND",
    "KPA_PER_PSI",
    "ML_PER_IMPERIAL_FLUID_OUNCE",
    "ML_PER_IMPERIAL_GALLON",
    "ML_PER_US_FLUID_OUNCE",
    "ML_PER_US_GALLON",
    "ML_PER_US_TEASPOON",
    "UNITS",
    "UNIT_BY_SPELLING",
    "Kind",
    "System",
    "Unit",
    "close_unit",
    "example_text",
    "kinds_text",
    "two_examples_text",
    "units_text",
]

System = Literal["metric", "us", "imperial"]

GRAMS_PER_POUND: Final = 453.59237
"""Avoirdupois pound [g], exact. NIST Handbook 44, Appendix C."""
GRAMS_PER_OUNCE: Final = 28.349523125
"""Avoirdupois ounce, 1/16 lb [g], exact. NIST Handbook 44, Appendix C."""
ML_PER_US_GALLON: Final = 3785.411784
"""US liquid gallon, 231 in³ [mL], exact. NIST Handbook 44, Appendix C."""
ML_PER_US_FLUID_OUNCE: Final = 29.5735295625
"""US fluid ounce, 1/128 gal [mL], exact. NIST Handbook 44, Appendix C."""
ML_PER_US_TEASPOON: Final = 4.92892159375
"""US teaspoon, 1/6 fl oz [mL], exact. NIST Handbook 44, Appendix C."""
ML_PER_IMPERIAL_GALLON: Final = 4546.09
"""Imperial gallon [mL], exact. NIST Handbook 44, Appendix C."""
ML_PER_IMPERIAL_FLUID_OUNCE: Final = 28.4130625
"""Imperial fluid ounce, 1/160 imp gal [mL], exact. NIST Handbook 44, Appendix C."""
KPA_PER_PSI: Final = 6.894757293168361
"""Pound-force per square inch [kPa]. NIST SP 811, Appendix B."""


class Kind(Enum):
    """What a quantity measures. The value is its name in a sentence."""

    MASS = "mass"
    VOLUME = "volume"
    TEMPERATURE = "temperature"
    PRESSURE = "pressure"
    TIME = "time"
    PACKS = "number of packs"

    @property
    def base_unit(self) -> str:
        """The unit in which `Quantity.value_base` stands: g, mL, °C, kPa, min or packs."""
        return _BASE_UNIT[self]


_BASE_UNIT: Final = {
    Kind.MASS: "g",
    Kind.VOLUME: "mL",
    Kind.TEMPERATURE: "°C",
    Kind.PRESSURE: "kPa",
    Kind.TIME: "min",
    Kind.PACKS: "packs",
}
_EXAMPLE: Final = {
    Kind.MASS: "2.5 kg",
    Kind.VOLUME: "19 L",
    Kind.TEMPERATURE: "18 C",
    Kind.PRESSURE: "1.2 bar",
    Kind.TIME: "12 h",
    Kind.PACKS: "2 packs",
}


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: base value = number × factor + offset."""

    symbol: str
    kind: Kind
    factor: float
    system: System | None
    offset: float = 0.0


def _spelled(singular: str, *more: str) -> tuple[str, ...]:
    return (singular, singular + "s", *more)


_CENTI: Final = "degrees celsius|degree celsius|deg celsius|celsius|degrees c|degree c|deg c|°c|c"
_LITRE: Final = (*_spelled("liter"), *_spelled("litre"))

_TABLE: Final[tuple[tuple[Unit, tuple[str, ...]], ...]] = (
    (Unit("mg", Kind.MASS, 1e-3, "metric"), ("mg", *_spelled("milligram"), *_spelled("milligramme"))),
    (Unit("g", Kind.MASS, 1.0, "metric"), ("g", "gm", *_spelled("gram"), *_spelled("gramme"))),
    (Unit("kg", Kind.MASS, 1e3, "metric"), (*_spelled("kg"), *_spelled("kilo"), *_spelled("kilogram"))),
    (
        Unit("oz", Kind.MASS, GRAMS_PER_OUNCE, "us"),
        tuple(
            name + more
            for name in ("oz", "ozs", "ounce", "ounces")
            for more in ("", " by weight", " wt", " weight", " avoirdupois")
        ),
    ),
    (Unit("lb", Kind.MASS, GRAMS_PER_POUND, "us"), (*_spelled("lb"), *_spelled("pound"))),
    (Unit("mL", Kind.VOLUME, 1.0, "metric"), (*_spelled("ml"), *("milli" + name for name in _LITRE))),
    (Unit("L", Kind.VOLUME, 1e3, "metric"), ("l", *_spelled("ltr"), *_LITRE)),
    (Unit("hL", Kind.VOLUME, 1e5, "metric"), ("hl", *("hecto" + name for name in _LITRE))),
    (Unit("tsp", Kind.VOLUME, ML_PER_US_TEASPOON, "us"), (*_spelled("tsp"), *_spelled("teaspoon"))),
    (
        Unit("tbsp", Kind.VOLUME, ML_PER_US_FLUID_OUNCE / 2, "us"),
        (*_spelled("tbsp"), "tbs", *_spelled("tablespoon")),
    ),
    (Unit("cup", Kind.VOLUME, ML_PER_US_FLUID_OUNCE * 8, "us"), _spelled("cup")),
    (
        Unit("fl oz", Kind.VOLUME, ML_PER_US_FLUID_OUNCE, "us"),
        (*_spelled("fl oz"), "floz", "fluid oz", *_spelled("fluid ounce")),
    ),
    (Unit("pt", Kind.VOLUME, ML_PER_US_GALLON / 8, "us"), (*_spelled("pt"), *_spelled("pint"))),
    (Unit("qt", Kind.VOLUME, ML_PER_US_GALLON / 4, "us"), (*_spelled("qt"), *_spelled("quart"))),
    (Unit("gal", Kind.VOLUME, ML_PER_US_GALLON, "us"), (*_spelled("gal"), *_spelled("gallon"))),
    (
        Unit("imp fl oz", Kind.VOLUME, ML_PER_IMPERIAL_FLUID_OUNCE, "imperial"),
        ("imp fl oz", "imp floz", "imp fluid oz", *_spelled("imp fluid ounce")),
    ),
    (Unit("imp pt", Kind.VOLUME, ML_PER_IMPERIAL_GALLON / 8, "imperial"), (*_spelled("imp pt"), *_spelled("imp pint"))),
    (Unit("imp gal", Kind.VOLUME, ML_PER_IMPERIAL_GALLON, "imperial"), (*_spelled("imp gal"), *_spelled("imp gallon"))),
    (Unit("C", Kind.TEMPERATURE, 1.0, "metric"), tuple(_CENTI.split("|"))),
    (
        Unit("F", Kind.TEMPERATURE, 5.0 / 9.0, "us", offset=-160.0 / 9.0),
        tuple(_CENTI.replace("celsius", "fahrenheit").replace("c|", "f|").replace("|c", "|f").split("|")),
    ),
    (Unit("bar", Kind.PRESSURE, 100.0, "metric"), _spelled("bar")),
    (Unit("kPa", Kind.PRESSURE, 1.0, "metric"), ("kpa", *_spelled("kilopascal"))),
    (Unit("psi", Kind.PRESSURE, KPA_PER_PSI, "us"), ("psi", "pounds per square inch")),
    (Unit("min", Kind.TIME, 1.0, None), (*_spelled("min"), *_spelled("minute"))),
    (Unit("h", Kind.TIME, 60.0, None), ("h", *_spelled("hr"), *_spelled("hour"))),
    (Unit("d", Kind.TIME, 1440.0, None), ("d", *_spelled("day"))),
    (Unit("packs", Kind.PACKS, 1.0, None), _spelled("pack")),
)

UNITS: Final = tuple(unit for unit, _ in _TABLE)
"""Every unit, in the order in which a refusal lists them."""


def _spellings() -> dict[str, Unit]:
    found: dict[str, Unit] = {}
    for unit, names in _TABLE:
        for name in names:
            found[name] = unit
            if unit.kind is Kind.VOLUME and unit.system == "us":
                found["us " + name] = unit
            if unit.system == "imperial":
                found[name.replace("imp ", "imperial ")] = unit
                found[name.replace("imp ", "uk ")] = unit
    return found


UNIT_BY_SPELLING: Final = _spellings()
"""Unit by its lower-case spelling without dots."""


def units_text(kinds: Collection[Kind]) -> str:
    """List the units of some kinds for a refusal.

    Parameters: kinds, the kinds wanted.
    Returns: one clause such as `time min, h, d`.

    >>> units_text({Kind.PRESSURE})
    'pressure bar, kPa, psi'
    """
    clauses = []
    for kind in Kind:
        if kind in kinds:
            names = ", ".join(unit.symbol for unit in UNITS if unit.kind is kind)
            clauses.append(names if kind is Kind.PACKS else f"{kind.value} {names}")
    return "; ".join(clauses)


def kinds_text(kinds: Collection[Kind]) -> str:
    """Name some kinds in a sentence.

    >>> kinds_text({Kind.VOLUME, Kind.MASS})
    'a mass or a volume'
    """
    return " or ".join(f"a {kind.value}" for kind in Kind if kind in kinds)


def example_text(kinds: Collection[Kind]) -> str:
    """Give one quantity, in quotes, as an example for some kinds.

    >>> example_text({Kind.TIME})
    '"12 h"'
    """
    return next((f'"{_EXAMPLE[kind]}"' for kind in Kind if kind in kinds), '"2.5 kg"')


def two_examples_text(number: str, value: float, kinds: Collection[Kind]) -> str:
    """A number with two units that it may have been meant in, in quotes.

    Parameters: number, as it was written; value, the same [-]; kinds that are welcome.

    >>> two_examples_text("24", 24.0, {Kind.VOLUME})
    '"24 L" or "24 gal"'
    >>> two_examples_text("900", 900.0, {Kind.MASS, Kind.VOLUME})
    '"900 g" or "900 mL"'
    """
    usual = {**_USUAL, **_USUAL_OF_MANY} if abs(value) >= _MANY else _USUAL
    pairs = [usual[kind] for kind in Kind if kind in kinds]
    symbols = pairs[0] if len(pairs) == 1 else tuple(pair[0] for pair in pairs[:2])
    return " or ".join(f'"{number} {symbol}"' for symbol in symbols)


_MANY: Final = 100.0
_USUAL: Final[dict[Kind, tuple[str, ...]]] = {
    Kind.MASS: ("kg", "lb"),
    Kind.VOLUME: ("L", "gal"),
    Kind.TEMPERATURE: ("C", "F"),
    Kind.PRESSURE: ("bar", "psi"),
    Kind.TIME: ("h", "d"),
    Kind.PACKS: ("packs",),
}
_USUAL_OF_MANY: Final[dict[Kind, tuple[str, ...]]] = {Kind.MASS: ("g", "oz"), Kind.VOLUME: ("mL", "fl oz")}


def close_unit(spelling: str, kinds: Collection[Kind]) -> str | None:
    """The spelling of a unit of some kinds that a misspelt one resembles.

    >>> close_unit("litters", {Kind.VOLUME}), close_unit("galon", {Kind.VOLUME}), close_unit("firkin", {Kind.VOLUME})
    ('liters', 'gallon', None)
    """
    if len(spelling) < 3:
        return None
    known = [name for name, unit in UNIT_BY_SPELLING.items() if unit.kind in kinds]
    close = difflib.get_close_matches(spelling[:40], known, n=1, cutoff=0.7)
    return close[0] if close else None
