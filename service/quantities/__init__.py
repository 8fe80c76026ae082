"""Quantities as people write them: read into base units, and written back as a scale or a jug shows them.

Outside the layers: every room may import it, and it knows no chemistry. `units` holds the factors, `lexer` the
characters and numbers, `reading` masses to packs, `concentrations` acidity, sugar and percent, `traces` mg/L,
`writing` the way back.
"""

from service.quantities.concentrations import (
    ACIDS,
    Acidity,
    AcidityBasis,
    SugarConcentration,
    SugarScaleReading,
    parse_acidity,
    parse_percent,
    parse_sugar_concentration,
    parse_sugar_scale,
)
from service.quantities.lexer import MAXIMUM_TEXT_CHARACTERS, plain_digits, sound_error
from service.quantities.reading import Quantity, parse_quantity
from service.quantities.traces import TraceConcentration, parse_trace
from service.quantities.units import Kind, System, Unit, units_text
from service.quantities.writing import mass_text, number_text, volume_text

__all__ = [
    "ACIDS",
    "MAXIMUM_TEXT_CHARACTERS",
    "Acidity",
    "AcidityBasis",
    "Kind",
    "Quantity",
    "SugarConcentration",
    "SugarScaleReading",
    "System",
    "TraceConcentration",
    "Unit",
    "mass_text",
    "number_text",
    "parse_acidity",
    "parse_percent",
    "parse_quantity",
    "parse_sugar_concentration",
    "parse_sugar_scale",
    "parse_trace",
    "plain_digits",
    "sound_error",
    "units_text",
    "volume_text",
]
