"""pH and titratable acidity of blends against an independent path: readings to acids, acids mixed on paper.

The kinds of acid of a lot are the mole ratios of its class, those of an ingredient the acid columns of its row;
phosphorus counts as phosphate in known amount; pH and acidity of an ingredient hold at single strength. Those facts are
typed in below, the inference is a search for two roots, and pH and titration come from `tests.oracle.charge`. PHREEQC
and pHcalc judge the same compositions at 25 °C without alcohol, which neither library knows.
"""

from __future__ import annotations

import copy
import random
import warnings
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.optimize import root

from service.api.reading_blend import forecast_from, plan_from
from service.api.requests import BlendForecastRequest, BlendPlanRequest
from service.chemistry.charge_balance import ph_of, titratable_meq_per_l
from service.chemistry.inference import infer_state
from service.chemistry.many_states import ph_of_many
from service.chemistry.weak_acids import ACIDS as ORDER
from service.chemistry.weak_acids import WeakAcid
from service.errors import InconsistentError
from service.planner.materials import Material, materials_of, poured
from service.planner.predict import value_of
from service.planner.solving import answer as solved
from tests.acid_states import state_of
from tests.api.real import amounts, codes, example, forecast, plan, reports
from tests.conformance.test_charge_against_libraries import phreeqc_database, run
from tests.oracle import charge
from tests.oracle.charge import ACIDS, TARTARIC_G_PER_EQ, WATER, Drink, Model
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


# The demo batch, with a carbonate and a pH.


def demo() -> dict[str, Any]:
    """The invented demo batch asked for a pH too, unrounded."""
    request: dict[str, Any] = copy.deepcopy(example("solve_blend", "01"))
    request["additions"].append({"ingredient": "potassium_bicarbonate", "max": "60 g"})
    request["targets"]["ph"] = 3.3
    request["rounding"] = "none"
    return request


@pytest.fixture(scope="module")
def poured_demo() -> tuple[float, float, list[Material], list[float], Drink]:
    """pH and acidity of the demo's plan before rounding for show, its materials and masses, and the same on paper."""
    request = demo()
    asked = plan_from(BlendPlanRequest.model_validate(request), 2.0)
    materials = list(materials_of(asked.lots, asked.additions))
    answered = solved(asked, materials)
    masses = answered.numbers.masses_g(answered.result.x)
    contents = poured(materials, masses)
    by_name = {m.name: g for m, g in zip(materials, masses, strict=True)}
    lots = {lot["name"]: lot for lot in request["lots"]}
    of = mixed_on_paper(lots, request["additions"], by_name, {"dry base": 24.0})
    ph, ta = (value_of(n, materials, masses, contents) for n in ("ph", "titratable_acidity"))
    assert ph is not None
    assert ta is not None
    return ph, ta, materials, masses, of


def test_the_demo_meets_a_ph_too() -> None:
    answer = plan(demo())
    assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_met", "proved_best")
    found = reports(answer)
    assert all(report["met"] for report in found.values())
    assert found["ph"]["reached"] == pytest.approx(3.3, abs=5e-4)
    assert found["titratable_acidity"]["reached"] == pytest.approx(7.0, abs=0.3)
    assert amounts(answer)["potassium_bicarbonate"] > 1.0  # without it the pH is lower
    assert codes(answer)["carbonate_foams"] == "warning"


def test_the_demo_on_paper(poured_demo: Any) -> None:
    ph, ta, _, _, of = poured_demo
    assert ph == pytest.approx(3.3, abs=1e-5)
    assert ph == pytest.approx(charge.ph(of), abs=1e-4)
    assert ta == pytest.approx(charge.ta_meq(of) * TARTARIC_G_PER_EQ / 1000.0, rel=1e-4)


def test_the_demo_in_ideal_mode_against_phcalc(poured_demo: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """pHcalc 0.2.0, a general library; it calls `cumproduct`, which numpy 2 no longer has."""
    monkeypatch.setattr(np, "cumproduct", np.cumprod, raising=False)
    library = pytest.importorskip("pHcalc.pHcalc")
    _, _, materials, masses, of = poured_demo
    contents = poured(materials, masses)
    acids = [library.Acid(pKa=list(ACIDS[n].pk25), charge=0, conc=c / 1000.0) for n, c in of.acids_mmol.items()]
    cations = library.Inert(charge=1, conc=of.sid_meq / 1000.0)
    system = library.System(*acids, cations, Kw=10.0 ** -WATER.pk25[0])
    system.pHsolve(guess_est=True, tol=1e-10)
    state = contents.acids.scaled(1000.0 / contents.volume_ml)
    assert ph_of(state, temperature_c=25.0, ideal=True) == pytest.approx(float(system.pH), abs=1e-4)


@pytest.fixture(scope="module")
def water_chemistry(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """PHREEQC with the acids of the paper calculation and inert ions."""
    folder: Path = tmp_path_factory.mktemp("phreeqc")
    (folder / "acids.dat").write_text(phreeqc_database(), encoding="utf-8")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        library = pytest.importorskip("phreeqpython", exc_type=ImportError)
        yield library.PhreeqPython(database="acids.dat", database_directory=folder).ip


def test_the_demo_with_activities_against_phreeqc(poured_demo: Any, water_chemistry: Any) -> None:
    """PHREEQC (phreeqpython 1.6.2), cations inert, Davies, at 25 °C without alcohol: within 0.01."""
    _, _, materials, masses, of = poured_demo
    contents = poured(materials, masses)
    state = contents.acids.scaled(1000.0 / contents.volume_ml)
    anions = of.ionic_mmol - of.sid_meq / 2
    run(water_chemistry, of.acids_mmol, "7 charge", repr(of.ionic_mmol + of.sid_meq / 2), anions)
    assert ph_of(state, temperature_c=25.0) == pytest.approx(water_chemistry.get_ph(1), abs=0.01)
    run(water_chemistry, of.acids_mmol, "8.2", "10 charge", anions)
    base = 1000.0 * water_chemistry.get_total(1, "Cation") - anions - of.sid_meq
    assert titratable_meq_per_l(state, temperature_c=25.0) == pytest.approx(base, rel=1e-3)


# Random recipes.


def random_recipe(chance: random.Random, name: str) -> dict[str, Any]:
    """One or two lots, read in full or in part, and up to four additions, one of them perhaps measured."""
    lots: list[dict[str, Any]] = []
    for i in range(chance.randint(1, 2)):
        lot: dict[str, Any] = {
            "name": f"lot {i}",
            "class": chance.choice(sorted(PROFILES)),
            "volume": f"{chance.uniform(2.0, 20.0):.1f} L",
            "gravity": round(chance.uniform(0.997, 1.006), 4),
            "abv_percent": round(chance.uniform(5.0, 13.0), 1),
        }
        if chance.random() < 0.75:
            lot["titratable_acidity"] = f"{chance.uniform(3.5, 8.5):.1f} g/L tartaric"
            if chance.random() < 0.3:
                lot["titration_end_point_ph"] = chance.choice([7.0, 8.1])
        if chance.random() < 0.75:
            lot["ph"] = round(chance.uniform(3.1, 4.0), 2)
        lots.append(lot)
    litres = sum(float(lot["volume"].split()[0]) for lot in lots)
    additions: list[dict[str, Any]] = []
    for ingredient in chance.sample([*ROWS, *SALTS, *WATERS, *PURE, *SOURLESS], chance.randint(1, 4)):
        most = 0.5 if ingredient in SALTS else 2.0 if ingredient in PURE else 60.0
        addition: dict[str, Any] = {"ingredient": ingredient, "amount": f"{litres * chance.uniform(0.0, most):.1f} g"}
        row = load_compositions()[ingredient]
        if ingredient in ROWS and ROWS[ingredient][1] == 1.0 and chance.random() < 0.5:
            ta = row.ta_g_citric_per_100g * chance.uniform(0.9, 1.15)
            addition["measured"] = {"titratable_acidity": f"{10.3 * ta:.2f} g/L citric"}
            if chance.random() < 0.5 and row.brix is not None:
                addition["measured"]["brix"] = round(row.brix * chance.uniform(0.95, 1.1), 2)
            if chance.random() < 0.5:
                addition["measured"]["ph"] = round(ROWS[ingredient][0] + chance.uniform(-0.1, 0.2), 2)
        elif ingredient.startswith("honey") and chance.random() < 0.4:
            addition["measured"] = {"moisture_percent": round(chance.uniform(16.0, 19.0), 1)}
        additions.append(addition)
    return {"name": name, "lots": lots, "additions": additions}


def _against_paper(seed: int, count: int) -> None:
    chance = random.Random(seed)
    for number in range(count):
        recipe = random_recipe(chance, f"recipe {number}")
        end_point = chance.choice([8.2, 8.2, 7.0, 8.5])
        body = {"recipes": [recipe], "titration_end_point_ph": end_point}
        asked = forecast_from(BlendForecastRequest.model_validate(body)).recipes[0]
        materials = materials_of(asked.lots, asked.additions)
        masses = [m.least_g for m in materials]
        contents = poured(materials, masses)
        volumes = {lot["name"]: float(lot["volume"].split()[0]) for lot in recipe["lots"]}
        weighed = {a["ingredient"]: float(a["amount"].split()[0]) for a in recipe["additions"]}
        of = mixed_on_paper({lot["name"]: lot for lot in recipe["lots"]}, recipe["additions"], weighed, volumes)
        ph = value_of("ph", materials, masses, contents, end_point)
        ta = value_of("titratable_acidity", materials, masses, contents, end_point)
        assert ph == pytest.approx(charge.ph(of), abs=1e-4), recipe
        assert ta == pytest.approx(charge.ta_meq(of, end_point) * TARTARIC_G_PER_EQ / 1000.0, rel=1e-4), recipe
        if number % 10 == 0:  # what is answered is that, rounded
            shown = forecast(body)["recipes"][0]["predicted"]
            assert shown["ph"]["value"] == pytest.approx(ph, abs=5.1e-4)
            assert shown["titratable_acidity"]["value"] == pytest.approx(ta, abs=5.1e-4)
            assert shown["titratable_acidity"]["end_point_ph"] == end_point


def test_random_recipes_on_paper() -> None:
    _against_paper(20_260_101, 60)


@pytest.mark.slow
def test_more_random_recipes_on_paper() -> None:
    _against_paper(20_260_102, 600)


# Intervals: first order in the readings, against draws of them.

PH_SD, TA_SD, MODEL_SD = 0.05, 0.02, 0.02
"""A calibrated meter, a titration at home (relative), the model itself: judged."""

_MEAD = {
    "name": "mead",
    "class": "mead",
    "volume": "10 L",
    "gravity": 0.999,
    "abv_percent": 8.0,
    "titratable_acidity": "5 g/L tartaric",
    "ph": 3.6,
}
_WINE = {
    **_MEAD,
    "name": "wine",
    "class": "grape_wine",
    "volume": "6 L",
    "titratable_acidity": "7 g/L tartaric",
    "ph": 3.3,
}
_ORANGE = {
    "ingredient": "orange_juice_fresh",
    "amount": "3000 g",
    "measured": {"titratable_acidity": "8.2 g/L citric", "ph": 3.75},
}
_LEMON = {
    "ingredient": "lemon_juice_fresh",
    "amount": "500 g",
    "measured": {"titratable_acidity": "48 g/L citric", "ph": 2.35},
}
_CARBONATE = {"ingredient": "potassium_bicarbonate", "amount": "12 g"}
INTERVALS: dict[str, tuple[list[dict[str, Any]], list[dict[str, Any]]]] = {
    "mead and orange": ([_MEAD], [_ORANGE]),
    "mead and wine": ([_MEAD, _WINE], []),
    "mead, lemon, carbonate": ([_MEAD], [_LEMON, _CARBONATE]),
    "mead alone": ([_MEAD], []),
}


Source = tuple[Mapping[str, float], Mapping[str, float], Drink, tuple[float, float], float]
"""Profile, acids in known amount, the drink at its readings, those readings (pH, meq/L), and the litres of it."""


def _draws(source: Source, z: Sequence[tuple[float, float]] | np.ndarray) -> np.ndarray:
    """Rows of acids, strong ions and ionic strength of a portion, one for each pair of standard normal draws."""
    profile, known, of, end, portion = source
    acids = {WeakAcid(n): c for n, c in profile.items()}
    fixed = {WeakAcid(n): c for n, c in known.items()}
    rows = []
    for z_ph, z_ta in z:
        ph, ta = end[0] + PH_SD * z_ph, end[1] * (1.0 + TA_SD * z_ta)
        try:
            state = infer_state(acids, ph, ta, known=fixed, abv_percent=of.abv_percent).state
        except InconsistentError:
            state = state_of(of)
        rows.append([*state.acids_mmol, state.sid_meq, state.ionic_mmol])
    return portion * np.array(rows)


def _parts(
    lots: list[dict[str, Any]], additions: list[dict[str, Any]]
) -> tuple[dict[str, Source | Drink], float, float]:
    """What draws each uncertain material, by name; volume and strength of the blend."""
    drawn: dict[str, Source | Drink] = {}
    vessels, parts = [], []
    for lot in lots:
        litres, acid = float(lot["volume"].split()[0]), float(lot["titratable_acidity"].split()[0])
        vessels.append(Lot(litres, lot["gravity"], lot["abv_percent"]))
        end = lot["ph"], 1000.0 * acid / TARTARIC_G_PER_EQ
        drawn[lot["name"]] = (PROFILES[lot["class"]], {}, lot_on_paper(lot), end, litres)
    for addition in additions:
        mass = float(addition["amount"].split()[0])
        part, per_kg = addition_on_paper(addition, mass)
        parts.append(part)
        if "measured" not in addition:
            drawn[addition["ingredient"]] = times(per_kg, mass / 1000.0)
            continue
        _, share, phosphorus = ROWS[addition["ingredient"]]
        row = as_measured(part)
        kg = sample_kg(row, share)
        known = {"phosphoric": 10.0 * phosphorus / charge.PHOSPHORUS_G_MOL * kg}
        end = addition["measured"]["ph"], CITRIC_MEQ_PER_KG * row.ta_g_citric_per_100g * kg
        drawn[addition["ingredient"]] = (own_mmol_per_kg(row), known, times(per_kg, kg), end, mass / 1000.0 / kg)
    blend = pour(vessels, parts)
    return drawn, blend.volume_l, blend.abv_percent


def _ph(rows: np.ndarray, abv: float) -> np.ndarray:
    return np.asarray(ph_of_many(rows[:, :-2], rows[:, -2], rows[:, -1], np.full(len(rows), abv)))


@pytest.mark.parametrize("case", INTERVALS)
def test_interval_against_draws_of_the_readings(case: str) -> None:
    """2000 seeded draws of every pH and acidity read: the 90 % half widths within 15 % (and what rounding hides)."""
    lots, additions = INTERVALS[case]
    told = forecast({"recipes": [{"name": case, "lots": lots, "additions": additions}]})["recipes"][0]["predicted"]
    drawn, volume_l, abv = _parts(lots, additions)
    dice = np.random.default_rng(20_260_130)
    count = 2000
    total, alone = np.zeros((count, len(ORDER) + 2)), {}
    for name, part in drawn.items():
        if isinstance(part, Drink):
            state = state_of(part)
            total = total + np.tile([*state.acids_mmol, state.sid_meq, state.ionic_mmol], (count, 1)) / volume_l
            continue
        total = total + _draws(part, dice.standard_normal((count, 2))) / volume_l
        one = _draws(part, [(0.0, 0.0), (1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)]) / volume_l
        alone[f"pH of {name}"] = one[1:3] - one[0]
        alone[f"acidity of {name}"] = one[3:5] - one[0]
    ph = _ph(total, abv)
    with_model = ph + MODEL_SD * dice.standard_normal(count)
    low, high = np.quantile(with_model, [0.05, 0.95])
    shown = told["ph"]
    assert 0.5 * (shown["high"] - shown["low"]) == pytest.approx(0.5 * (high - low), rel=0.15, abs=0.005)
    of = [Drink({a.value: c for a, c in zip(ORDER, row[:-2], strict=True)}, row[-2], row[-1], abv) for row in total]
    acidity = [titratable_meq_per_l(state_of(d), abv_percent=abv) * TARTARIC_G_PER_EQ / 1000.0 for d in of]
    low, high = np.quantile(acidity, [0.05, 0.95])
    shown_acidity = told["titratable_acidity"]
    half = 0.5 * (shown_acidity["high"] - shown_acidity["low"])
    assert half == pytest.approx(0.5 * (high - low), rel=0.15, abs=0.005)
    # one reading at a time: which of them leaves most of the interval open, and how much
    middle = total.mean(axis=0)
    moved = {what: _ph(np.array([middle + shift[0], middle + shift[1]]), abv) for what, shift in alone.items()}
    variances = {what: (0.5 * (up - down)) ** 2 for what, (up, down) in moved.items()} | {"the model": MODEL_SD**2}
    worst = max(variances, key=lambda what: variances[what])
    assert shown["largest_share_from"] == worst
    assert shown["largest_share"] == pytest.approx(variances[worst] / sum(variances.values()), abs=0.03)


def test_a_reading_that_is_missing_widens_the_interval() -> None:
    """Lots with both readings, one, or neither: the typical value of the class is known less well than a reading."""
    width = {}
    for name, missing in (
        ("both", ()),
        ("pH", ("titratable_acidity",)),
        ("TA", ("ph",)),
        ("none", ("ph", "titratable_acidity")),
    ):
        lot = {k: v for k, v in _MEAD.items() if k not in missing}
        told = forecast({"recipes": [{"name": name, "lots": [lot], "additions": []}]})["recipes"][0]["predicted"]
        width[name] = tuple(told[p]["high"] - told[p]["low"] for p in ("ph", "titratable_acidity"))
    assert width["both"][0] == pytest.approx(2 * 1.645 * np.hypot(PH_SD, MODEL_SD), abs=0.011)
    assert width["TA"][0] > 3.0 * width["both"][0]
    assert width["none"][0] > 3.0 * width["pH"][0]
    assert width["both"][1] == pytest.approx(2 * 1.645 * TA_SD * 5.0, abs=0.011)
    assert width["pH"][1] > 3.0 * width["TA"][1]
    assert width["none"][1] > 3.0 * width["both"][1]
