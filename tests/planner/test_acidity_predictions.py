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
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from service.api.reading_blend import forecast_from, plan_from
from service.api.requests_blend import BlendForecastRequest, BlendPlanRequest
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
from tests.oracle.charge import ACIDS, TARTARIC_G_PER_EQ, WATER, Drink
from tests.oracle.pour import Lot, as_measured, load_compositions, pour
from tests.planner.acids_on_paper import (
    CITRIC_MEQ_PER_KG,
    PROFILES,
    PURE,
    ROWS,
    SALTS,
    SOURLESS,
    WATERS,
    addition_on_paper,
    lot_on_paper,
    mixed_on_paper,
    own_mmol_per_kg,
    sample_kg,
    times,
)

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
    asked = plan_from(BlendPlanRequest.model_validate(request), 10.0)
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
    exact = {"scale": {"step": "0.01 g"}, "volume": {"error": "0 %"}}
    request = {"instruments": exact, "recipes": [{"name": case, "lots": lots, "additions": additions}]}
    told = forecast(request)["recipes"][0]["predicted"]
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
