"""Quantities: the exact factors of NIST Handbook 44, what is read, what is refused, and what is written back."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

import service.quantities as package
from service.errors import OutOfRangeError, QuantityError
from service.quantities import (
    ACIDS,
    AcidityBasis,
    Kind,
    System,
    mass_text,
    number_text,
    parse_acidity,
    parse_percent,
    parse_quantity,
    parse_sugar_concentration,
    parse_sugar_scale,
    units_text,
    volume_text,
)
from service.quantities.units import UNIT_BY_SPELLING, UNITS

MASS_OR_VOLUME = {Kind.MASS, Kind.VOLUME}
EVERY_KIND = frozenset(Kind)

# NIST Handbook 44, Appendix C: grams and millilitres, exact. psi: NIST SP 811, Appendix B.8 (6.894757 kPa, rounded).
NIST_FACTORS = {
    "1 lb": (453.59237, 0.0),
    "1 oz": (28.349523125, 0.0),
    "1 gal": (3785.411784, 0.0),
    "1 qt": (946.352946, 0.0),
    "1 pt": (473.176473, 0.0),
    "1 cup": (236.5882365, 0.0),
    "1 fl oz": (29.5735295625, 0.0),
    "1 tbsp": (14.78676478125, 0.0),
    "1 tsp": (4.92892159375, 0.0),
    "1 imp gal": (4546.09, 0.0),
    "1 imp pt": (568.26125, 0.0),
    "1 imp fl oz": (28.4130625, 0.0),
    "1 psi": (6.894757, 5e-7),
}


@pytest.mark.parametrize("text", NIST_FACTORS)
def test_factors_are_nist_handbook_44(text: str) -> None:
    expected, tolerance = NIST_FACTORS[text]
    assert parse_quantity(text, EVERY_KIND).value_base == pytest.approx(expected, rel=1e-15, abs=tolerance)


@pytest.mark.parametrize(
    ("text", "kind", "value_base", "system"),
    [
        ("2.5 kg", Kind.MASS, 2500.0, "metric"),
        ("7 lb 8 oz", Kind.MASS, 3401.942775, "us"),
        ("7lb8oz", Kind.MASS, 3401.942775, "us"),
        ("7 lb, 8 oz", Kind.MASS, 3401.942775, "us"),
        ("7 pounds and 8 ounces", Kind.MASS, 3401.942775, "us"),
        ("3.5 gal", Kind.VOLUME, 13248.941244, "us"),
        ("10.5 fl oz", Kind.VOLUME, 310.52206040625, "us"),
        ("10.5 Fl. Oz.", Kind.VOLUME, 310.52206040625, "us"),
        ("1/2 tsp", Kind.VOLUME, 2.464460796875, "us"),
        ("½ teaspoon", Kind.VOLUME, 2.464460796875, "us"),
        ("1 1/2 cup", Kind.VOLUME, 354.88235475, "us"),
        ("1-1/2 cups", Kind.VOLUME, 354.88235475, "us"),
        ("1½ cups", Kind.VOLUME, 354.88235475, "us"),
        ("250 mL", Kind.VOLUME, 250.0, "metric"),
        ("250ml", Kind.VOLUME, 250.0, "metric"),
        ("9.5L", Kind.VOLUME, 9500.0, "metric"),
        (".5 litre", Kind.VOLUME, 500.0, "metric"),
        ("2\u202fhectoliters", Kind.VOLUME, 200000.0, "metric"),
        ("1e3 mg", Kind.MASS, 1.0, "metric"),
        ("5 UK gallons", Kind.VOLUME, 22730.45, "imperial"),
        ("5 US gallons", Kind.VOLUME, 18927.05892, "us"),
        ("18 °C", Kind.TEMPERATURE, 18.0, "metric"),
        ("68F", Kind.TEMPERATURE, 20.0, "us"),
        ("\u22125 deg C", Kind.TEMPERATURE, -5.0, "metric"),
        ("2 bar", Kind.PRESSURE, 200.0, "metric"),
        ("1 h 30 min", Kind.TIME, 90.0, None),
        ("2 days", Kind.TIME, 2880.0, None),
        ("2 packs", Kind.PACKS, 2.0, None),
        ("-0 g", Kind.MASS, 0.0, "metric"),
    ],
)
def test_reads_quantities_as_people_write_them(text: str, kind: Kind, value_base: float, system: System | None) -> None:
    read = parse_quantity(text, EVERY_KIND, liquid=True)
    assert read.kind is kind
    assert read.value_base == pytest.approx(value_base, rel=1e-12)
    assert read.system == system
    assert read.text == text
    assert read.error_base is None


@pytest.mark.parametrize(
    ("text", "error_base"),
    [
        ("19 L ± 0.5 L", 500.0),
        ("19 ± 0.5 L", 500.0),
        ("19 L +/- 2 %", 380.0),
        ("19 L+-2%", 380.0),
        ("19 L ± 250 mL", 250.0),
        ("7 lb 8 oz ± 1 oz", 28.349523125),
        ("68 F ± 1.8 F", 1.0),
    ],
)
def test_reads_the_error(text: str, error_base: float) -> None:
    assert parse_quantity(text, EVERY_KIND, liquid=True).error_base == pytest.approx(error_base, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("24", "unit is missing"),
        ("", "empty"),
        ("   ", "empty"),
        ("five kg", "begin with a number"),
        ("5 stone", 'unit "stone" is not known'),
        ("1,5 kg", 'Use a decimal point: "1.5"'),
        ("1,000 g", "1000 for thousands"),
        ("nan kg", "not a finite number"),
        ("-Infinity L", "not a finite number"),
        ("1e999 kg", "too large"),
        ("1e308 gal", "too large"),
        ("-2 kg", "mass cannot be negative"),
        ("-2 L", "volume cannot be negative"),
        ("-300 C", "absolute zero"),
        ("5 kg \ud800", "cannot be printed"),
        ("5\x00kg", "cannot be printed"),
        ("5 kg" + " " * 300, "304 characters"),
        ("1/0 cup", "fraction"),
        ("1 3/2 cup", "fraction"),
        ("7 lb 8", "unit is missing"),
        ("7 lb and", "ends in the middle"),
        ("7 lb 2 L", "mixes a mass and a volume"),
        ("7 lb 300 g", "two systems"),
        ("8 oz 7 lb", "larger unit stands first"),
        ("7 lb -8 oz", "is not known"),
        ("5 C 3 F", "one number and one unit"),
        ("2 G", "grams or gallons"),
        ("2 T", "tablespoons"),
        ("5 °", "needs its letter"),
        ("19 L ± 0.5", "lacks its unit"),
        ("19 ± 2 %", "unit"),
        ("19 L ±", "lacks its unit"),
        ("19 L ± -1 L", "cannot be negative"),
        ("19 L ± -1 %", "cannot be read"),
        ("10 L ± 30 L", "half the value"),
        ("10 L ± 5 L", "half the value"),
        ("400 g ± 200 %", "half the value"),
        ("0 L ± 1 L", "half the value"),
        ("10 L ± 0 L", "no reading is exact"),
        ("10 L ± 0 %", "no reading is exact"),
        ("19 L ± 1 kg", "has to be a volume too"),
        ("19 L ± 1 L ± 1 L", "more than one"),
        ("± 1 L", "before"),
        ("18 C ± 2 %", "percent of a temperature"),
        ("1 L ± 1e305 kg", "volume too"),
        ("1 L ± 1e308 L", "too large"),
    ],
)
def test_refuses_and_says_what_to_change(text: str, words: str) -> None:
    with pytest.raises(QuantityError, match=re.escape(words)) as caught:
        parse_quantity(text, EVERY_KIND, pointer="/lots/0/volume")
    assert caught.value.pointer == "/lots/0/volume"
    caught.value.detail.encode("utf-8")


def test_a_refusal_lists_the_units_that_are_welcome() -> None:
    with pytest.raises(QuantityError, match=r"time min, h, d") as caught:
        parse_quantity("5 fortnights", {Kind.TIME})
    assert "kg" not in caught.value.detail
    with pytest.raises(QuantityError, match=r"this is a volume, and a mass is needed here.*mg, g, kg, oz, lb"):
        parse_quantity("3 L", {Kind.MASS})
    assert units_text({Kind.PACKS}) == "packs"


def test_a_bare_ounce_of_a_liquid_is_refused() -> None:
    with pytest.raises(QuantityError, match="fl oz, or oz by weight"):
        parse_quantity("12 oz", MASS_OR_VOLUME, liquid=True)
    with pytest.raises(QuantityError, match="fl oz, or oz by weight"):
        parse_quantity("12 oz", {Kind.VOLUME})
    assert parse_quantity("12 oz", MASS_OR_VOLUME).kind is Kind.MASS
    assert parse_quantity("12 oz", {Kind.MASS}, liquid=True).kind is Kind.MASS
    assert parse_quantity("12 oz by weight", MASS_OR_VOLUME, liquid=True).kind is Kind.MASS
    assert parse_quantity("1 lb 12 oz", MASS_OR_VOLUME, liquid=True).kind is Kind.MASS


@pytest.mark.parametrize("spelling", sorted(UNIT_BY_SPELLING))
def test_every_spelling_is_read(spelling: str) -> None:
    unit = UNIT_BY_SPELLING[spelling]
    read = parse_quantity(f"3 {spelling}", {unit.kind})
    assert read.value_base == pytest.approx(3 * unit.factor + unit.offset, rel=1e-15)
    assert parse_quantity(f"3{spelling.upper()}", {unit.kind}) if len(spelling) > 1 else True


numbers = st.floats(min_value=0.0, max_value=1e9, allow_nan=False).map(lambda x: round(x, 6))


@given(numbers, st.sampled_from(UNITS), st.sampled_from(["", " ", "\u00a0"]))
def test_round_trip_through_text(number: float, unit: package.Unit, space: str) -> None:
    read = parse_quantity(f"{number!r}{space}{unit.symbol}", {unit.kind})
    assert read.value_base == number * unit.factor + unit.offset + 0.0


@given(st.integers(0, 10**6), st.floats(0.01, 15.0).map(lambda x: round(x, 2)))
def test_pounds_and_ounces_add_up(pounds: int, ounces: float) -> None:
    read = parse_quantity(f"{pounds} lb {ounces} oz", {Kind.MASS})
    assert read.value_base == pytest.approx((pounds + ounces / 16) * 453.59237, rel=1e-12)


@given(st.floats(0.0, 5e5), st.sampled_from([0.01, 0.1, 0.5, 1.0, 5.0]))
def test_a_written_metric_mass_reads_back_within_half_a_step(mass_g: float, step_g: float) -> None:
    read = parse_quantity(mass_text(mass_g, "metric", step_g), {Kind.MASS})
    assert abs(read.value_base - mass_g) <= step_g / 2 * (1 + 1e-6)


@given(st.floats(0.0, 5e5), st.sampled_from([0.05, 0.1, 0.25, 0.5, 1.0]))
def test_a_written_us_mass_reads_back_within_half_a_step(mass_g: float, step_oz: float) -> None:
    step_g = step_oz * 28.349523125
    read = parse_quantity(mass_text(mass_g, "us", step_g), {Kind.MASS})
    assert abs(read.value_base - mass_g) <= step_g / 2 * (1 + 1e-6)


@given(st.floats(0.0, 5e5), st.sampled_from([0.5, 1.0, 10.0, 25.0, 50.0, 250.0]), st.sampled_from(["us", "imperial"]))
def test_litres_stand_beside_gallons(volume_ml: float, step_ml: float, system: System) -> None:
    text = volume_text(volume_ml, system, step_ml)
    found = re.fullmatch(r"(.+) \((.+)\)", text)
    assert found is not None
    metric = parse_quantity(found[2], {Kind.VOLUME}).value_base
    assert abs(metric - volume_ml) <= step_ml / 2 * (1 + 1e-6)
    customary = parse_quantity(found[1], {Kind.VOLUME})
    assert customary.system == system
    # The nearest decade of the step in fluid ounces; 0.01 gal at the finest in gallons.
    assert abs(customary.value_base - metric) <= max(2 * step_ml, 0.0051 * 4546.09)


def _refusal(parse: Callable[[], object]) -> str | None:
    try:
        parse()
    except QuantityError as error:
        return error.detail
    return None


@given(st.text(max_size=250) | st.from_regex(r"[+-]?[0-9., /eE]{0,8} ?(kg|oz|fl oz|gal|C|%|±|\+/-|Bx|g/L)?.{0,9}"))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    for parse in (
        lambda: parse_quantity(text, EVERY_KIND),
        lambda: parse_quantity(text, MASS_OR_VOLUME, liquid=True),
        lambda: parse_acidity(text),
        lambda: parse_sugar_concentration(text),
        lambda: parse_sugar_scale(text),
        lambda: parse_percent(text),
    ):
        refused = _refusal(parse)
        assert refused is None or refused.endswith(".")
        (refused or "").encode("utf-8")


@given(st.characters(categories=["Cs", "Cc"]).filter(lambda c: c != "\t" and not c.isspace()))
def test_surrogates_and_control_characters_are_refused(character: str) -> None:
    with pytest.raises(QuantityError):
        parse_quantity(f"5{character} kg", EVERY_KIND)


@pytest.mark.parametrize(
    ("text", "value", "basis", "acid", "error"),
    [
        ("6.5 g/L tartaric", 6.5, AcidityBasis.G_PER_L, "tartaric", None),
        ("6.5 g per litre as tartaric acid", 6.5, AcidityBasis.G_PER_L, "tartaric", None),
        ("0.55 % citric", 5.5, AcidityBasis.G_PER_L, "citric", None),
        ("0.55% citric", 5.5, AcidityBasis.G_PER_L, "citric", None),
        ("0.55 g/100 mL citric", 5.5, AcidityBasis.G_PER_L, "citric", None),
        ("0.55 % w/w citric", 5.5, AcidityBasis.G_PER_KG, "citric", None),
        ("55 g/kg citric", 55.0, AcidityBasis.G_PER_KG, "citric", None),
        ("4 g/L sulphuric", 4.0, AcidityBasis.G_PER_L, "sulfuric", None),
        ("80 meq/L", 80.0, AcidityBasis.MEQ_PER_L, None, None),
        ("800 mEq/kg", 800.0, AcidityBasis.MEQ_PER_KG, None, None),
        ("6.5 g/L tartaric ± 0.2 g/L", 6.5, AcidityBasis.G_PER_L, "tartaric", 0.2),
        ("6.5 ± 0.2 g/L tartaric", 6.5, AcidityBasis.G_PER_L, "tartaric", 0.2),
        ("6.5 g/L ± 0.2 g/L tartaric", 6.5, AcidityBasis.G_PER_L, "tartaric", 0.2),
        ("6 g/L tartaric ± 3 %", 6.0, AcidityBasis.G_PER_L, "tartaric", 0.18),
        ("6 g/L ± 3 % tartaric", 6.0, AcidityBasis.G_PER_L, "tartaric", 0.18),
        ("0.5 % citric ± 0.2 g/L", 5.0, AcidityBasis.G_PER_L, "citric", 0.2),
    ],
)
def test_reads_acidity(text: str, value: float, basis: AcidityBasis, acid: str | None, error: float | None) -> None:
    read = parse_acidity(text)
    assert read.value == pytest.approx(value, rel=1e-12)
    assert (read.basis, read.acid) == (basis, acid)
    assert read.error == (None if error is None else pytest.approx(error, rel=1e-12))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("6.5", "unit is missing"),
        ("6.5 g/L", "as which acid"),
        ("6.5 tartaric", "unit is missing"),
        ("0.5 % acetic", '"acetic" is not known'),
        ("6.5 g/pint malic", "is not known"),
        ("80 meq/L citric", "leave out the acid"),
        ("-1 g/L citric", "negative"),
        ("0,5 % citric", "decimal point"),
        ("0.5 % citric ± 0.02 %", "write the error in g/L"),
        ("6 g/L tartaric ± 1 g/kg", "write the error in g/L"),
        ("5 ± 20 g/L tartaric", "half the value"),
        ("5 g/L tartaric ± 50 %", "half the value"),
        ("5 ± 0 g/L tartaric", "no reading is exact"),
        ("6 g/L tartaric ± 1 g/L malic", "names two acids"),
        ("1e308 % citric", "too large"),
    ],
)
def test_refuses_acidity(text: str, words: str) -> None:
    with pytest.raises(QuantityError, match=re.escape(words)) as caught:
        parse_acidity(text, pointer="/targets/titratable_acidity")
    assert caught.value.pointer == "/targets/titratable_acidity"


def test_acids_are_those_of_the_contract() -> None:
    assert ACIDS == ("tartaric", "citric", "malic", "lactic", "sulfuric")
    for acid in ACIDS:
        assert parse_acidity(f"1 g/L {acid}").acid == acid


def test_reads_sugar_concentration() -> None:
    assert parse_sugar_concentration("4 g/L").g_per_l == 4.0
    assert parse_sugar_concentration("0.4 g/100mL ± 10 %").error_g_per_l == pytest.approx(0.4)
    assert parse_sugar_concentration("4 g/L ± 1 g/L").error_g_per_l == 1.0
    # a test that reads next to nothing may be off by all of it
    assert parse_sugar_concentration("0.5 g/L ± 1 g/L").error_g_per_l == 1.0
    for text in ("4", "4 %", "4 g/L ± 1", "-1 g/L", "4 oz/gal", "1e308 g/100 mL", "5 g/L ± 3 g/L", "4 g/L ± 0 g/L"):
        with pytest.raises(QuantityError):
            parse_sugar_concentration(text)


def test_reads_sugar_scales() -> None:
    assert parse_sugar_scale("7.6 Bx").scale == "brix"
    assert parse_sugar_scale("7.6 °Brix").value == 7.6
    assert parse_sugar_scale("7.6P").scale == "plato"
    assert parse_sugar_scale("-1.5 Bx ± 0.2 Bx").error == 0.2
    assert parse_sugar_scale("-1.5 degrees Plato").value == -1.5
    assert parse_sugar_scale("7.6 ± 0.2 Bx").error == 0.2
    assert parse_sugar_scale("0.1 ± 0.2 Bx").error == 0.2
    for text in ("7.6", "7.6 Oe", "101 Bx", "7 Bx ± 1 P", "7 Bx ± -1 Bx", "Bx", "7 Bx ± 4 Bx", "7 Bx ± 0 Bx"):
        with pytest.raises(QuantityError):
            parse_sugar_scale(text)


def test_reads_percent() -> None:
    assert parse_percent("2 %") == 2.0
    assert parse_percent("17.5 percent") == 17.5
    for text in ("2", "2 %%", "-2 %", "2 % acid", "1,5 %"):
        with pytest.raises(QuantityError):
            parse_percent(text)


@pytest.mark.parametrize(
    ("mass_g", "system", "step_g", "text"),
    [
        (612.0, "metric", 1.0, "612 g"),
        (1250.0, None, 1.0, "1.25 kg"),
        (999.7, "metric", 1.0, "1 kg"),
        (12.34, "metric", 0.1, "12.3 g"),
        (12.34, "metric", 5.0, "10 g"),
        (1234.0, "metric", 5.0, "1.235 kg"),
        (612.0, "us", 1.0, "1 lb 5.6 oz"),
        (453.59237, "us", 1.0, "1 lb"),
        (453.0, "us", 2.8349523125, "1 lb"),
        (100.0, "us", 0.25 * 28.349523125, "3.5 oz"),
        (0.0, "us", 1.0, "0 oz"),
        (-0.2, "metric", 1.0, "0 g"),
        (-500.0, "us", 1.0, "-1 lb 1.6 oz"),
    ],
)
def test_writes_a_mass_as_the_scale_shows_it(mass_g: float, system: System | None, step_g: float, text: str) -> None:
    assert mass_text(mass_g, system, step_g) == text


@pytest.mark.parametrize(
    ("volume_ml", "system", "step_ml", "text"),
    [
        (1210.0, "metric", 50.0, "1.2 L"),
        (430.4, "metric", 1.0, "430 mL"),
        (430.4, "metric", 50.0, "450 mL"),
        (12110.0, "us", 50.0, "3.2 gal (12.1 L)"),
        (3785.411784, "us", 1.0, "1 gal (3.785 L)"),
        (310.5, "us", 10.0, "10 fl oz (310 mL)"),
        (2.5, "us", 0.5, "0.5 tsp (2.5 mL)"),
        (5000.0, "imperial", 50.0, "1.1 imp gal (5 L)"),
        (568.0, "imperial", 1.0, "20 imp fl oz (568 mL)"),
    ],
)
def test_writes_a_volume_as_the_jug_shows_it(
    volume_ml: float, system: System | None, step_ml: float, text: str
) -> None:
    assert volume_text(volume_ml, system, step_ml) == text


@pytest.mark.parametrize(("value", "step"), [(math.nan, 1.0), (math.inf, 1.0), (1.0, 0.0), (1.0, -1.0), (1e308, 1e-9)])
def test_an_amount_without_a_finite_value_or_a_step_is_refused(value: float, step: float) -> None:
    for write in (number_text, lambda v, s: mass_text(v, "us", s), lambda v, s: volume_text(v, "us", s)):
        with pytest.raises(OutOfRangeError):
            write(value, step)


def test_every_public_name_exists() -> None:
    assert all(hasattr(package, name) for name in package.__all__)
