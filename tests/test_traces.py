"""Small concentrations as people write them."""

from __future__ import annotations

import pytest

from service.errors import QuantityError
from service.quantities import parse_trace


@pytest.mark.parametrize(
    ("text", "mg_per_l"),
    [
        ("30 mg/L", 30.0),
        ("30mg/L", 30.0),
        ("30 ppm", 30.0),
        ("30 PPM", 30.0),
        ("0.8 mg per litre", 0.8),
        ("0.8 mg/liter", 0.8),
        ("0.2 g/L", 200.0),
        ("1/2 mg/L", 0.5),
        ("0 mg/L", 0.0),
    ],
)
def test_what_is_read(text: str, mg_per_l: float) -> None:
    assert parse_trace(text).mg_per_l == pytest.approx(mg_per_l)
    assert parse_trace(text).text == text


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("30", "the unit is missing"),
        ("30 mg", "not known"),
        ("30 mg/kg", "not known"),
        ("30 % ", "not known"),
        ("mg/L", "does not begin with a number"),
        ("-1 mg/L", "negative"),
        ("30,5 mg/L", "decimal point"),
        ("30 mg/L ± 2", "without its error"),
        ("30 mg/L +/- 2", "without its error"),
        ("", "empty"),
        ("1e308 g/L", "too large"),
        ("30 mg/L 2", "not known"),
    ],
)
def test_what_is_refused(text: str, words: str) -> None:
    with pytest.raises(QuantityError, match=words) as found:
        parse_trace(text, pointer="/free_so2_target")
    assert found.value.pointer == "/free_so2_target"
