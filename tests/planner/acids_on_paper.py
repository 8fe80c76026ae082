"""Acids of lots and additions found again on paper: by the oracle of `tests.oracle.charge` and the catalogue's rows.

Only what a request says and what the table holds is used, never what the service inferred from it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from scipy.optimize import root

from tests.oracle import charge
from tests.oracle.charge import ACIDS, TARTARIC_G_PER_EQ, Drink, Model
from tests.oracle.liquids import COMPONENTS
from tests.oracle.pour import Composition, Lot, Part, as_measured, density_g_per_ml, load_compositions, pour

CITRIC_MEQ_PER_KG = 1e4 / 64.04  # of 1 g/100 g, as anhydrous citric acid
PHOSPHATE_CHARGE = 0.626  # meq/kg at pH 8.2 for 1 mg/100 g phosphorus, judged

PROFILES: dict[str, dict[str, float]] = {
    "mead": {"gluconic": 3.0, "lactic": 3.0, "succinic": 3.0, "acetic": 3.0, "malic": 1.0},
    "grape_wine": {"malic": 18, "tartaric": 12, "succinic": 8, "lactic": 7, "acetic": 7, "citric": 4},
    "fruit_wine": {"citric": 4.0, "malic": 4.0, "succinic": 1.0, "lactic": 1.0, "acetic": 1.0},
    "cider_perry": {"malic": 6.0, "lactic": 3.0, "succinic": 1.0, "acetic": 1.0, "quinic": 1.0},
}
"""Mole ratios by class: mead, fruit_wine and cider_perry judged, grape_wine computed from one white wine of Prenesti et
al. 2012, table 1."""

TYPICAL = {"mead": (3.5, 3.0), "grape_wine": (3.19, 6.9), "fruit_wine": (3.4, 7.0), "cider_perry": (3.6, 5.0)}
"""pH and g/L as tartaric where nothing was read: judged, grape_wine computed from the UCI wines."""

COLUMNS = {
    "citric_acid": "citric", "malic_acid": "malic", "tartaric_acid": "tartaric", "lactic_acid": "lactic",
    "quinic_acid": "quinic", "other_acids_as_gluconic": "gluconic",
}  # fmt: skip

ROWS = {
    "honey_average": (3.91, 0.11783, 4.0), "honey_acacia": (3.9, 0.11783, 4.0),
    "honey_orange_blossom": (3.84, 0.11783, 4.0), "orange_juice_fresh": (3.7, 1.0, 17.0),
    "mandarin_juice_fresh": (3.6, 1.0, 14.0), "lemon_juice_fresh": (2.3, 1.0, 8.0),
    "grapefruit_juice_fresh": (3.2, 1.0, 15.0), "apple_juice_bottled": (3.7, 1.0, 7.0),
    "grape_juice_purple": (3.2, 1.0, 14.0), "cranberry_juice_unsweetened": (2.5, 1.0, 8.0),
    "raspberry_juice": (3.2, 1.0, 20.0), "cherry_tart_juice": (3.4, 1.0, 17.0),
    "passion_fruit_juice_purple": (3.2, 1.0, 13.0), "orange_juice_concentrate_frozen": (3.75, 0.28129, 65.0),
    "cherry_tart_juice_concentrate_68": (3.4, 0.20588, 80.3), "lemon_juice_concentrate_400": (2.3, 0.1429, 54.8),
    "blackcurrant_juice_concentrate_65": (2.9, 0.16923, 185.7), "apple_juice_concentrate_70": (3.7, 0.16429, 42.1),
}  # fmt: skip
"""Typical pH, mass fraction of the ingredient in the sample that it holds for, phosphorus [mg/100 g]."""

SALTS = {"potassium_bicarbonate": (1, 100.115), "potassium_carbonate": (2, 138.205), "calcium_carbonate": (2, 100.086)}
"""Equivalents of base and formula mass."""

WATERS = {"water_deionised": 0.0, "water_tap": 2.0}
"""Alkalinity [meq/L]."""

PURE = ("citric_acid_anhydrous", "malic_acid", "tartaric_acid", "lactic_acid_88")
SOURLESS = ("sugar_white", "neutral_spirit_40")


def times(of: Drink, factor: float) -> Drink:
    """A multiple of what a drink holds."""
    return Drink({n: factor * c for n, c in of.acids_mmol.items()}, factor * of.sid_meq, factor * of.ionic_mmol)


def inferred(
    profile: Mapping[str, float],
    known: Mapping[str, float],
    ph: float,
    ta_meq: float,
    end_point_ph: float = 8.2,
    abv_percent: float = 0.0,
) -> Drink:
    """The drink of a profile, beside acids in known amount, that has this pH and acidity: a root in two unknowns."""
    size = ta_meq / sum(profile.values())

    def at(scale: float, sid: float) -> Drink:
        acids = {n: scale * size * c for n, c in profile.items()}
        for name, amount in known.items():
            acids[name] = acids.get(name, 0.0) + amount
        return Drink(acids, sid * ta_meq, 0.5 * abs(sid * ta_meq), abv_percent)

    def misses(x: Any) -> list[float]:
        of = at(float(x[0]), float(x[1]))
        model = Model(of)
        return [1000.0 * model.residual(ph) / ta_meq, 1000.0 * model.base(end_point_ph) / ta_meq - 1.0]

    found = root(misses, [0.7, 0.2], method="hybr", options={"xtol": 1e-13})
    assert max(map(abs, misses(found.x))) < 1e-9, found
    return at(float(found.x[0]), float(found.x[1]))


def from_titration(profile: Mapping[str, float], known: Mapping[str, float], sid_meq: float, ta_meq: float) -> Drink:
    """The drink of a profile with this strong ion difference that takes this much base to pH 8.2."""
    size = ta_meq / sum(profile.values())

    def at(scale: float) -> Drink:
        acids = {n: scale * size * c for n, c in profile.items()}
        return Drink({**acids, **known}, sid_meq, 0.5 * abs(sid_meq))

    found = root(lambda x: charge.ta_meq(at(float(x[0]))) / ta_meq - 1.0, [0.7], options={"xtol": 1e-13})
    assert abs(charge.ta_meq(at(float(found.x[0]))) / ta_meq - 1.0) < 1e-9
    return at(float(found.x[0]))


def lot_on_paper(lot: Mapping[str, Any]) -> Drink:
    """A litre of a lot by what was read of it; what was not is typical of the class."""
    name = lot["class"]
    ph, acid = TYPICAL[name]
    acid = float(lot["titratable_acidity"].split()[0]) if "titratable_acidity" in lot else acid
    meq = 1000.0 * acid / TARTARIC_G_PER_EQ
    end_point = lot.get("titration_end_point_ph", 8.2)
    return inferred(PROFILES[name], {}, lot.get("ph", ph), meq, end_point, lot["abv_percent"])


def own_mmol_per_kg(row: Composition) -> dict[str, float]:
    """The acid columns of a row in moles."""
    grams = dict(zip(COMPONENTS, row.grams_per_100g, strict=True))
    return {n: 1e4 * grams[c] / ACIDS[n].molar_mass for c, n in COLUMNS.items() if grams[c] > 0.0}


def sample_kg(row: Composition, share: float) -> float:
    """Kilograms of ingredient in a litre of its single-strength sample."""
    grams = [share * g for g in row.grams_per_100g]
    grams[0] += 100.0 * (1.0 - share)
    return share * density_g_per_ml(replace(row, grams_per_100g=tuple(grams)))


def row_on_paper(ingredient: str) -> Drink:
    """A kilogram of an ingredient of the table."""
    row = load_compositions()[ingredient]
    if ingredient in SALTS:
        base, mass = SALTS[ingredient]
        sid = 1e6 * base / mass
        return Drink({}, sid, sid if ingredient == "calcium_carbonate" else 0.5 * sid)
    if ingredient in WATERS:
        sid = WATERS[ingredient] / density_g_per_ml(row)
        return Drink({}, sid, 0.5 * sid)
    if ingredient in ROWS:
        ph, share, phosphorus = ROWS[ingredient]
        kg = sample_kg(row, share)
        known = {"phosphoric": 10.0 * phosphorus / charge.PHOSPHORUS_G_MOL * kg}
        meq = CITRIC_MEQ_PER_KG * row.ta_g_citric_per_100g * kg
        return times(inferred(own_mmol_per_kg(row), known, ph, meq), 1.0 / kg)
    return Drink(own_mmol_per_kg(row))


def addition_on_paper(addition: Mapping[str, Any], mass_g: float) -> tuple[Part, Drink]:
    """An addition as weighed, and a kilogram of it: measured solids scale all, a measured acidity the acids alone."""
    name, measured = addition["ingredient"], addition.get("measured", {})
    table = row_on_paper(name)
    if not measured:
        return Part(name, mass_g), table
    _, share, phosphorus = ROWS[name]
    acid = measured.get("titratable_acidity")
    part = Part(
        name,
        mass_g,
        brix=measured.get("brix"),
        moisture_percent=measured.get("moisture_percent"),
        ta_g_per_l_citric=None if acid is None else float(acid.split()[0]),
        sid_less_phosphate_meq_per_kg=0.0 if acid is None else table.sid_meq - PHOSPHATE_CHARGE * phosphorus,
    )
    row, here = load_compositions()[name], as_measured(part)
    f = (100.0 - _water(part)) / (100.0 - row.grams_per_100g[0])
    if acid is None:
        return part, times(table, f)
    kg = sample_kg(here, share)
    meq = CITRIC_MEQ_PER_KG * here.ta_g_citric_per_100g * kg
    known = {"phosphoric": f * 10.0 * phosphorus / charge.PHOSPHORUS_G_MOL * kg}
    own = own_mmol_per_kg(here)
    if "ph" in measured:
        return part, times(inferred(own, known, measured["ph"], meq), 1.0 / kg)
    return part, times(from_titration(own, known, f * table.sid_meq * kg, meq), 1.0 / kg)


def _water(part: Part) -> float:
    """Water [g/100 g] once the solids are scaled, before any acid is."""
    return as_measured(replace(part, ta_g_per_l_citric=None, sid_less_phosphate_meq_per_kg=0.0)).grams_per_100g[0]


def mixed_on_paper(
    lots: Mapping[str, Any],
    additions: list[dict[str, Any]],
    masses_g: Mapping[str, float],
    volumes_l: Mapping[str, float],
) -> Drink:
    """A litre of the blend of lots (by volume) and additions (by mass)."""
    vessels, parts, held = [], [], []
    for lot in lots.values():
        litres = volumes_l[lot["name"]]
        vessels.append(Lot(litres, lot["gravity"], lot["abv_percent"]))
        held.append(times(lot_on_paper(lot), litres))
    for addition in additions:
        mass = masses_g[addition["ingredient"]]
        part, per_kg = addition_on_paper(addition, mass)
        parts.append(part)
        held.append(times(per_kg, mass / 1000.0))
    blend = pour(vessels, parts)
    names = sorted({n for of in held for n in of.acids_mmol})
    whole = Drink(
        {n: sum(of.acids_mmol.get(n, 0.0) for of in held) for n in names},
        sum(of.sid_meq for of in held),
        sum(of.ionic_mmol for of in held),
    )
    return replace(times(whole, 1.0 / blend.volume_l), abv_percent=blend.abv_percent)
