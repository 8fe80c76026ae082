"""What readings say of what was poured: against matrices, against weighted draws, and against common sense."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache
from math import sqrt
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.api.reading_correction import correction_from
from service.api.requests_correction import CorrectionRequest
from service.errors import InconsistentError
from service.model.contents import Contents
from service.model.properties import PROPERTIES, property_value
from service.physics.refraction import refractometer_brix
from service.planner.beliefs import unknowns_of
from service.planner.correction.answers import Correction
from service.planner.correction.asked import VESSEL, CorrectionAsked, ReadingAsked
from service.planner.correction.belief import Belief, believed, moved
from service.planner.correction.correct import correct_blend
from service.planner.correction.culprit import judged
from service.planner.correction.rest import Rest
from service.planner.correction.told import Told
from service.planner.draws import drawn_properties, drawn_unknowns
from service.planner.intervals import Z_90, spreads_of
from service.planner.materials import materials_of
from service.planner.predict import predict
from tests.api.real import example, plan

BASE: dict[str, Any] = {
    "lots": [
        {
            "name": "base",
            "volume": "20 L",
            "gravity": 0.999,
            "abv_percent": 8.0,
            "titratable_acidity": "5 g/L tartaric",
            "ph": 3.4,
            "degassed": True,
        }
    ],
    "additions": [
        {"ingredient": "honey_acacia", "max": "3 kg"},
        {"ingredient": "lemon_juice_fresh", "max": "2 L", "treatment": "pasteurised"},
        {"ingredient": "water_deionised", "max": "6 L"},
    ],
    "targets": {"gravity": 1.012, "titratable_acidity": {"min": "6 g/L tartaric", "max": "7.5 g/L tartaric"}},
    "added": [
        {"ingredient": "honey_acacia", "amount": "700 g"},
        {"ingredient": "lemon_juice_fresh", "amount": "900 g"},
        {"ingredient": "water_deionised", "amount": "1.5 kg"},
    ],
    "measured": {"gravity": 1.0095, "titratable_acidity": "6.9 g/L tartaric", "volume": "23 L", "ph": 3.1},
}


def asked_of(body: dict[str, Any]) -> CorrectionAsked:
    return correction_from(CorrectionRequest.model_validate(body), 5.0)


def corrected(**changes: Any) -> Correction:
    return correct_blend(asked_of({**BASE, **changes}))


@cache
def base() -> CorrectionAsked:
    return asked_of(BASE)


def with_readings(*readings: ReadingAsked) -> CorrectionAsked:
    return replace(base(), readings=readings)


ALL = (
    ReadingAsked("gravity", 1.0095, 0.0005),
    ReadingAsked("abv_percent", 7.2, 0.3),
    ReadingAsked("titratable_acidity", 6.9, 0.1),
    ReadingAsked("ph", 3.1, 0.05),
    ReadingAsked("volume", 23.0, 0.3),
    ReadingAsked("refractometer", 5.6, 0.2),
)


def value_at(belief: Belief, name: str, values: Any) -> float:
    contents = moved(belief.planned, belief.unknowns, list(values))
    if name == "refractometer":
        return refractometer_brix(contents.masses_g)
    found = property_value(PROPERTIES[name], contents, contents.volume_ml / 1000.0)
    assert found is not None
    return found


# The update itself.


def test_the_lines_of_the_readings_are_their_differences() -> None:
    """Slopes against central differences of each reading at the drink that they were taken at."""
    belief = believed(with_readings(*ALL))
    mean = np.array(belief.after.mean)
    for line, seen in zip(belief.linear, belief.readings, strict=True):
        for k in range(len(mean)):
            step = np.zeros(len(mean))
            step[k] = 0.01
            slope = (value_at(belief, seen.name, mean + step) - value_at(belief, seen.name, mean - step)) / 0.02
            scale = max(abs(s) for s in line.slopes)
            assert line.slopes[k] == pytest.approx(slope, rel=0.02, abs=0.01 * scale), (seen.name, belief.unknowns[k])


def test_the_update_is_that_of_the_joint_normal_law() -> None:
    """Mean and covariance by the matrix formula (numpy) from the same lines; no limit is in the way here."""
    belief = believed(with_readings(*ALL))
    assert belief.held == ()
    h = np.array([line.slopes for line in belief.linear])
    p, m = np.array(belief.before.covariance), np.array(belief.before.mean)
    s = h @ p @ h.T + np.diag([line.variance for line in belief.linear])
    miss = np.array([line.value for line in belief.linear]) - h @ m
    gain = p @ h.T @ np.linalg.inv(s)
    assert np.array(belief.after.mean) == pytest.approx(m + gain @ miss, abs=1e-8)
    assert np.array(belief.after.covariance) == pytest.approx(p - gain @ h @ p, abs=1e-10)
    # settled: the lines touch the readings' own surfaces at the mean
    for line, seen in zip(belief.linear, belief.readings, strict=True):
        at_mean = seen.value - line.value + float(np.dot(line.slopes, belief.after.mean))
        assert at_mean == pytest.approx(value_at(belief, seen.name, belief.after.mean), abs=1e-7)


@pytest.mark.parametrize(
    "names", [("gravity", "titratable_acidity", "volume"), ("titratable_acidity", "ph"), ("volume",)]
)
def test_the_update_is_that_of_weighted_draws(names: tuple[str, ...]) -> None:
    """40 000 drinks drawn from what was known before, each weighted by how likely it makes the readings."""
    readings = [r for r in ALL if r.name in names]
    belief = believed(with_readings(*readings))
    spreads = spreads_of(belief.materials, belief.masses_g, belief.circumstances)
    laws = tuple((u.centre, u.low, u.high) for u in belief.unknowns)
    z = drawn_unknowns(laws, 40_000, 5)
    drawn = drawn_properties(spreads, [*names, "abv_percent", "sugar_g_per_l"], 40_000, 5)
    # the readings' own noise is drawn with the model's, so that a weight knows the instrument only
    logs = sum(-0.5 * ((r.value - drawn[r.name]) / r.error) ** 2 for r in readings)
    weights = np.exp(logs - np.max(logs))
    weights /= weights.sum()
    effective = 1.0 / float((weights**2).sum())
    assert effective > 400.0, effective
    mean = weights @ z
    sd = np.sqrt(weights @ (z - mean) ** 2)
    for k, unknown in enumerate(belief.unknowns):
        before = belief.before.sd(k)
        if before == 0.0:
            continue
        assert belief.after.mean[k] == pytest.approx(mean[k], abs=0.1 * before), unknown.name
        assert belief.after.sd(k) == pytest.approx(sd[k], rel=0.05), unknown.name


def test_a_reading_as_expected_moves_nothing_and_narrows() -> None:
    expected = {seen.name: seen.expected for seen in believed(with_readings(*ALL)).readings}
    quiet = believed(with_readings(*(replace(r, value=expected[r.name]) for r in ALL)))
    assert quiet.after.mean == pytest.approx(quiet.before.mean, abs=1e-7)
    assert quiet.chi_square == pytest.approx(0.0, abs=1e-9)
    assert all(seen.surprise == pytest.approx(0.0, abs=1e-6) for seen in quiet.readings)
    narrower = [quiet.after.sd(k) < quiet.before.sd(k) for k in range(len(quiet.unknowns))]
    assert sum(narrower) > len(narrower) / 2
    told = Told(quiet).updated()
    assert all(found.moved == 0.0 for found in told)


@given(
    chosen=st.sets(st.sampled_from(range(len(ALL))), min_size=1),
    sharper=st.floats(0.2, 1.0),
    left_out=st.sampled_from(range(len(ALL))),
)
@settings(deadline=None, max_examples=25)
def test_no_width_ever_grows(chosen: set[int], sharper: float, left_out: int) -> None:
    """But for the bend of a reading's surface, which is looked at where the mean has moved to."""
    readings = [ALL[k] for k in sorted(chosen)]
    some = believed(with_readings(*readings))
    fewer = believed(with_readings(*(r for k, r in enumerate(ALL) if k in chosen - {left_out})))
    finer = believed(with_readings(*(replace(r, error=sharper * r.error) for r in readings)))
    for k in range(len(some.unknowns)):
        assert some.after.sd(k) <= some.before.sd(k)
        assert some.after.sd(k) <= fewer.after.sd(k) * 1.02 + 1e-9
        assert finer.after.sd(k) <= some.after.sd(k) * 1.02 + 1e-9


@given(order=st.permutations(ALL))
@settings(deadline=None, max_examples=10)
def test_the_order_of_readings_does_not_matter(order: list[ReadingAsked]) -> None:
    assert believed(with_readings(*order)) == believed(with_readings(*ALL))


def test_the_order_of_a_request_does_not_matter() -> None:
    turned = {**BASE, "added": BASE["added"][::-1], "additions": BASE["additions"][::-1]}
    one, other = correct_blend(asked_of(BASE)), correct_blend(asked_of(turned))
    assert replace(one, next={}, plan=replace(one.plan, proof=other.plan.proof)) == replace(other, next={})


def test_two_pours_of_one_stock_are_one_stock() -> None:
    twice = [
        {"ingredient": "honey_acacia", "amount": "300 g"},
        *BASE["added"][1:],
        {"ingredient": "honey_acacia", "amount": "400 g"},
    ]
    belief = believed(asked_of({**BASE, "added": twice}))
    assert {u.name for u in belief.unknowns} == {u.name for u in believed(base()).unknowns}
    masses = dict(zip((m.name for m in belief.materials), belief.masses_g, strict=True))
    assert masses["honey_acacia"] == pytest.approx(700.0)


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """120 drinks drawn from what was known before, read with noise: nine in ten intervals hold the true drink."""
    belief = believed(with_readings(*ALL))
    laws = tuple((u.centre, u.low, u.high) for u in belief.unknowns)
    noise = random.Random(3)
    inside = []
    for values in drawn_unknowns(laws, 120, 8):
        readings = []
        for reading in (ALL[0], ALL[2], ALL[4]):
            truth = value_at(belief, reading.name, values)
            readings.append(replace(reading, value=truth + noise.gauss(0.0, reading.error)))
        rest = Rest(with_readings(*readings), believed(with_readings(*readings)))
        (vessel,) = materials_of((rest.vessel,), ())
        told = predict((vessel,), (vessel.least_g,), belief.circumstances)
        for name in ("gravity", "titratable_acidity", "abv_percent", "volume"):
            interval = getattr(told, name)
            inside.append(interval.low <= value_at(belief, name, values) <= interval.high)
    assert 0.85 <= sum(inside) / len(inside) <= 0.99


# From what is known to the plan for the rest.


def test_the_vessel_is_as_wide_as_the_covariance_says() -> None:
    belief = believed(base())
    rest = Rest(base(), belief)
    (vessel,) = materials_of((rest.vessel,), ())
    spreads = spreads_of((vessel,), (vessel.least_g,), belief.circumstances)
    assert vessel.per_g.scaled(vessel.least_g).vector == pytest.approx(belief.contents.vector, rel=1e-9, abs=1e-9)
    for name in ("gravity", "abv_percent", "titratable_acidity", "ph", "volume"):
        value = value_at(belief, name, belief.after.mean)
        interval = spreads.interval(name, value)
        step = 1e-3
        size = len(belief.unknowns)
        slopes = np.array(
            [
                value_at(belief, name, np.array(belief.after.mean) + step * np.eye(size)[k])
                - value_at(belief, name, np.array(belief.after.mean) - step * np.eye(size)[k])
                for k in range(size)
            ]
        ) / (2.0 * step)
        own = sum(sd**2 for _, sd in spreads.model_sd(name, value))
        sd = sqrt(float(slopes @ np.array(belief.after.covariance) @ slopes) + own)
        # the slope of a pH leaves the ionic strength where it is
        assert interval.sd == pytest.approx(sd, rel=0.02 if name == "ph" else 5e-3), name
        assert interval.mean == pytest.approx(value, rel=1e-9)


def test_stock_and_vessel_share_what_is_still_open() -> None:
    """The covariance of vessel + 500 g more lemon juice from the shared columns is that of the joint law."""
    asked = base()
    belief = believed(asked)
    rest = Rest(asked, belief)
    materials = materials_of(rest.lots, rest.additions)
    masses = [m.least_g if m.kind == "lot" else 500.0 if m.name == "lemon_juice_fresh" else 0.0 for m in materials]
    instruments = belief.circumstances.instruments
    columns = [u for u in unknowns_of(materials, masses, instruments) if u.what != "amount" or "poured" in u.of]
    shared = np.array([u.shift for u in columns])
    lemon = next(m for m in belief.materials if m.name == "lemon_juice_fresh")
    jacobian = np.array([u.shift for u in belief.unknowns])
    for unknown, k in belief.places(lemon):
        jacobian[k] += 500.0 * np.array(unknown.shift)
    joint = jacobian.T @ np.array(belief.after.covariance) @ jacobian
    assert shared.T @ shared == pytest.approx(joint, rel=1e-6, abs=1e-9 * float(np.abs(joint).max()))


def test_a_sourer_stock_is_sourer_in_the_plan() -> None:
    rest = Rest(base(), believed(with_readings(ReadingAsked("titratable_acidity", 7.6, 0.05))))
    lemon = next(a for a in rest.additions if a.ingredient.id == "lemon_juice_fresh")
    (material,) = materials_of((), (lemon,))
    meant = next(m for m in rest.belief.materials if m.name == "lemon_juice_fresh")
    assert material.per_g.acids.acids_mmol[0] > meant.per_g.acids.acids_mmol[0] * 1.02
    assert material.most_g is not None
    assert meant.most_g == pytest.approx(900.0)
    assert material.most_g == pytest.approx(2000.0 * 1.0322 - 900.0, rel=0.01)  # lemon juice of 8.2 °Bx


def test_two_rows_of_one_ingredient_are_one_stock() -> None:
    """A row of which nothing was poured yet is known as well as the other."""
    lemon = {**BASE["additions"][1], "measured": {"brix": 8.2}}
    added = {"ingredient": "lemon_juice_fresh", "measured": {"brix": 8.2}, "amount": "900 g"}
    additions = [BASE["additions"][0], lemon, {**lemon, "max": "1 L"}]
    asked = asked_of({**BASE, "additions": additions, "added": [BASE["added"][0], added]})
    rest = Rest(asked, believed(asked)).additions
    first, second = (a for a in rest if a.ingredient.id == "lemon_juice_fresh")
    assert first.per_g is not None
    assert first.per_g == second.per_g
    assert {u.name for u in first.unknowns or ()} == {u.name for u in second.unknowns or ()} != set()


def test_what_is_left_of_a_lot_stays_available() -> None:
    lots = [
        BASE["lots"][0],
        {"name": "wine", "volume": "5 L", "gravity": 0.995, "abv_percent": 12.0, "use": {"max": "4 L"}},
    ]
    added = [*BASE["added"], {"lot": "wine", "amount": "1 L"}]
    asked = asked_of({**BASE, "lots": lots, "added": added})
    rest = Rest(asked, believed(asked))
    vessel, wine = rest.lots
    assert vessel.lot.name == VESSEL
    assert wine.least_l == 0.0
    assert wine.most_l == pytest.approx(3.0)
    assert wine.lot.volume_l == pytest.approx(4.0)
    assert wine.unknowns is not None
    assert {"volume"} < {u.what for u in wine.unknowns}
    # a lot that is not named and need not be used whole has not been poured
    unnamed = asked_of({**BASE, "lots": lots})
    assert [lot.most_l for lot in unnamed.poured_lots] == [20.0, 0.0]
    assert Rest(unnamed, believed(unnamed)).lots[1] is unnamed.plan.lots[1]


def test_a_part_of_a_lot_that_is_meant_whole_leaves_the_rest_to_pour() -> None:
    asked = asked_of({**BASE, "added": [*BASE["added"], {"lot": "base", "amount": "15 L ± 0.1 L"}]})
    assert asked.poured_lots[0].volume_sd_share == pytest.approx(0.1 / 15.0)
    rest = Rest(asked, believed(asked))
    assert rest.lots[1].least_l == pytest.approx(5.0)
    assert rest.lots[1].most_l == pytest.approx(5.0)


def test_targets_on_what_is_added_count_what_is_in() -> None:
    found = corrected(targets={**BASE["targets"], "added_mass": {"max": "3.5 kg"}})
    (report,) = [t for t in found.plan.targets if t.property == "added_mass"]
    assert report.asked == "at most 3.5 kg in all, 3100 g of it added already"
    assert report.reached is not None
    assert report.reached <= 400.0 * 1.01
    assert found.drink.added_mass.value == pytest.approx(3100.0)


def test_four_fifths_as_planned_lead_back_to_the_plan() -> None:
    """Poured and read as forecast, the rest is what the plan still held back."""
    request = example("solve_blend", "01")
    whole = {a["name"]: a["mass_g"] for a in plan(request)["amounts"] if a["kind"] == "addition"}
    body = {
        **request,
        "rounding": "none",
        "added": [{"ingredient": n, "amount": f"{0.8 * g} g"} for n, g in whole.items()],
    }
    first = asked_of({**body, "measured": {"volume": "29 L"}})
    seen = believed(replace(first, readings=tuple(ReadingAsked(r.name, r.value, r.error) for r in ALL)))
    quiet = tuple(ReadingAsked(s.name, s.expected, s.error) for s in seen.readings)
    found = correct_blend(replace(first, readings=quiet))
    rest = {a.name: a.mass_g for a in found.plan.amounts}
    for name, mass in whole.items():
        assert rest[name] == pytest.approx(0.2 * mass, abs=0.04 * mass), name
    assert found.outcome == "targets_met"


# Whether the readings fit, and who is off.


def truth(*, base_l: float = 20.0, lemon: float = 1.0, honey_g: float = 700.0, **errors: float) -> CorrectionAsked:
    """Readings of a drink that is not as entered, each with the error given and none besides."""
    belief = believed(base())
    by_name = {m.name: m for m in belief.materials}
    masses = dict(zip((m.name for m in belief.materials), belief.masses_g, strict=True))
    contents = by_name["base"].per_g.scaled(masses["base"] * base_l / 20.0)
    contents = contents.plus(by_name["honey_acacia"].per_g.scaled(honey_g))
    contents = contents.plus(by_name["water_deionised"].per_g.scaled(masses["water_deionised"]))
    juice = by_name["lemon_juice_fresh"]
    sour = next(u for u, _ in belief.places(juice) if u.what == "acidity")
    z = (lemon - 1.0) * 4.6 / 0.4  # the table: 4.6 % as citric with a standard deviation of 0.4
    contents = contents.plus(juice.per_g.plus(Contents(sour.shift).scaled(z)).scaled(masses["lemon_juice_fresh"]))
    litres = contents.volume_ml / 1000.0
    readings = []
    for name, error in (("gravity", 0.0003), ("titratable_acidity", 0.07), ("volume", 0.1), ("abv_percent", 0.1)):
        value = property_value(name, contents, litres)
        assert value is not None
        readings.append(ReadingAsked(name, value + errors.get(name, 0.0), error))
    brix = refractometer_brix(contents.masses_g) + errors.get("refractometer", 0.0)
    readings.append(ReadingAsked("refractometer", brix, 0.1))
    return with_readings(*readings)


def test_nobody_is_accused_where_readings_fit() -> None:
    found = judged(believed(truth()))
    assert found.verdict == "consistent"
    assert found.chance > 0.9
    assert found.suspects == ()


@pytest.mark.parametrize("litres", [17.5, 18.0, 22.0])
def test_a_misread_volume_is_found(litres: float) -> None:
    found = correct_blend(truth(base_l=litres))
    first = found.consistency.culprits[0]
    assert found.consistency.verdict == "inconsistent"
    assert (first.kind, first.of) == ("volume", "base")
    assert first.probably == pytest.approx(litres, abs=0.3)
    assert f"{first.probably:.2f} L, {abs(20.0 - first.probably):.2f} L" in first.text
    assert ("less" if litres < 20.0 else "more") in first.text
    assert found.cautions[0].code == "readings_do_not_fit"
    assert found.cautions[0].level == "stop"


@pytest.mark.parametrize("grams", [300.0, 1300.0])
def test_a_misweighed_addition_is_found(grams: float) -> None:
    culprits = correct_blend(truth(honey_g=grams)).consistency.culprits
    assert (culprits[0].kind, culprits[0].of) == ("amount", "honey_acacia")
    assert culprits[0].probably == pytest.approx(grams, abs=60.0)


@pytest.mark.parametrize(
    ("name", "error", "words"),
    [
        ("refractometer", 1.6, "the refractometer probably reads {} °Bx too high."),
        ("volume", 2.5, "the volume was probably read {} L too high."),
    ],
)
def test_an_instrument_that_is_off_is_found(name: str, error: float, words: str) -> None:
    culprits = correct_blend(truth(**{name: error})).consistency.culprits
    first = next(c for c in culprits if c.kind == "reading")
    assert first.of == name
    off = first.told - first.probably
    assert first.text == words.format(f"{abs(off):.{1 if name == 'refractometer' else 2}f}")
    assert off == pytest.approx(error, abs=0.4)


@pytest.mark.parametrize("gone", [1.5, 2.5])
def test_drink_that_is_gone_is_one_suspect_with_a_volume_read_too_low(gone: float) -> None:
    """Only the volume is less than was poured, and what is in it fits: racking took it, or it was misread."""
    found = correct_blend(truth(volume=-gone)).consistency
    first = found.culprits[0]
    assert (first.kind, first.of, first.unit) == ("loss", VESSEL, "L")
    assert first.told - first.probably == pytest.approx(gone, abs=0.15)
    assert f"about {first.told - first.probably:.2f} L less than was poured: lost at racking, or misread" in first.text
    assert not any(c.kind == "reading" and c.of == "volume" for c in found.culprits)
    assert first.text in found.text


def test_a_loss_does_not_explain_a_drink_that_is_another() -> None:
    """Less of the base leaves the rest stronger in honey: that is no loss of drink."""
    assert "loss" not in {c.kind for c in correct_blend(truth(base_l=13.0)).consistency.culprits}


def test_a_loss_that_is_told_fits_and_is_taken_off() -> None:
    asked = truth(volume=-1.5)
    (stage,) = asked.stages
    told = replace(asked, stages=(replace(stage, lost_l=1.5, lost_sd_l=0.1),))
    belief, whole = believed(told), believed(asked)
    assert judged(belief).verdict == "consistent"
    assert belief.planned.volume_ml == pytest.approx(whole.planned.volume_ml - 1500.0, rel=1e-9)
    # so much of everything
    share = belief.planned.mass_g / whole.planned.mass_g
    assert belief.planned.vector == pytest.approx([share * v for v in whole.planned.vector])
    assert belief.left_g == pytest.approx([share * g for g in whole.masses_g])
    assert correct_blend(told).drink.volume.value == pytest.approx(whole.planned.volume_ml / 1000.0 - 1.5, abs=0.1)


def test_what_moves_a_drink_moves_it_after_a_loss_too() -> None:
    """Shifts after a loss against differences of contents·(1 − litres lost/volume), which is what losing does."""
    (stage,) = base().stages
    asked = replace(base(), stages=(replace(stage, lost_l=3.0, lost_sd_l=0.3),))
    before, after = believed(base()), believed(asked)
    for k, unknown in enumerate(before.unknowns):
        found = []
        for z in (0.01, -0.01):
            whole = moved(before.planned, [unknown], [z])
            found.append(np.array(whole.scaled(1.0 - 3000.0 / whole.volume_ml).vector))
        expected = (found[0] - found[1]) / 0.02
        scale = float(np.abs(expected).max())
        assert np.array(after.unknowns[k].shift) == pytest.approx(expected, abs=1e-4 * scale), unknown.name
    lost = after.unknowns[-1]
    assert lost.what == "volume lost"
    litres = before.planned.volume_ml / 1000.0
    assert lost.shift == pytest.approx([-0.3 / litres * v for v in before.planned.vector])


def test_more_than_there_is_cannot_have_been_lost() -> None:
    with pytest.raises(InconsistentError, match="cannot have been lost") as caught:
        corrected(lost="40 L")
    assert caught.value.pointer == "/lost"


# One correction after another.

SECOND = [{"ingredient": "honey_acacia", "amount": "250 g"}, {"ingredient": "water_deionised", "amount": "800 g"}]


def in_two_stages(*second: ReadingAsked, **first: Any) -> CorrectionAsked:
    """The base request poured and read as always, then more, and the second readings."""
    stage = {"added": BASE["added"], "measured": {**BASE["measured"], **first}}
    asked = asked_of({**BASE, "earlier": [stage], "added": SECOND, "measured": {"gravity": 1.0115}})
    earlier = tuple(r for r in asked.readings if r.stage == 0)
    return replace(asked, readings=(*earlier, *(replace(r, stage=1) for r in second)))


def test_earlier_readings_speak_of_what_was_there_then() -> None:
    """Their lines in two stages are those of the first correction alone: pours since then have no part in them."""
    alone, both = believed(base()), believed(in_two_stages(*ALL))
    names = [(u.what, u.of) for u in both.unknowns]
    places = [names.index((u.what, u.of)) for u in alone.unknowns]
    assert len(both.unknowns) == len(alone.unknowns) + 2  # how much honey and water went in the second time
    prior = believed(replace(in_two_stages(), readings=base().readings))
    for one, two in zip(alone.linear, prior.linear, strict=True):
        assert [two.slopes[k] for k in places] == pytest.approx(one.slopes, rel=1e-9, abs=1e-15)
        assert sum(map(abs, two.slopes)) == pytest.approx(sum(map(abs, one.slopes)))
        assert two.value == pytest.approx(one.value)
        assert two.variance == pytest.approx(one.variance)


@given(
    gravity=st.floats(1.008, 1.0115),
    acidity=st.floats(6.2, 7.3),
    chosen=st.sets(st.sampled_from(range(len(ALL))), min_size=1),
)
@settings(deadline=None, max_examples=15)
def test_a_second_correction_that_reads_what_was_expected_changes_nothing(
    gravity: float, acidity: float, chosen: set[int]
) -> None:
    readings = [ALL[k] for k in sorted(chosen)]
    first = {"gravity": gravity, "titratable_acidity": f"{acidity:.4f} g/L tartaric"}
    poured = believed(in_two_stages(**first))
    seen = [s for s in believed(in_two_stages(*readings, **first)).readings if s.stage == 1]
    quiet = [ReadingAsked(s.name, s.expected, s.error) for s in seen]
    again = believed(in_two_stages(*quiet, **first))
    sds = np.array(poured.before.sds)
    moved_by = (np.array(again.after.mean) - np.array(poured.after.mean)) / np.where(sds > 0.0, sds, 1.0)
    assert np.abs(moved_by).max() < 1e-4
    assert again.contents.vector == pytest.approx(poured.contents.vector, rel=1e-5, abs=1e-4)
    assert all(a <= b + 1e-9 for a, b in zip(again.after.sds, poured.after.sds, strict=True))
    assert all(abs(s.surprise) < 1e-3 for s in again.readings if s.stage == 1)


def test_a_second_correction_agrees_with_the_first() -> None:
    """What the first promised is poured and its gravity read: the second promises the same acidity, and adds nothing.

    Without the first readings the acidity would be what the request has entered, some half gram lower.
    """
    body = {**BASE, "targets": {"gravity": 1.012, "titratable_acidity": "7.2 g/L tartaric"}}
    first = correct_blend(asked_of(body))
    following = first.next["correct_blend"].request
    again = correct_blend(asked_of({**following, "measured": {"gravity": 1.012}}))
    promised, kept = first.plan.predicted.titratable_acidity, again.drink.titratable_acidity
    assert promised is not None
    assert kept is not None
    assert kept.value == pytest.approx(promised.value, abs=0.01)
    assert again.outcome == "nothing_to_add"
    assert kept.high - kept.low <= (promised.high - promised.low) * 1.01
    assert [r.property for r in again.earlier_readings] == [r.property for r in first.readings]
    assert {r.stage for r in again.readings} == {2}
    forgotten = correct_blend(
        asked_of({**following, "earlier": [{"added": BASE["added"]}], "measured": {"gravity": 1.012}})
    )
    other = forgotten.drink.titratable_acidity
    assert other is not None
    assert other.value < promised.value - 0.2


def test_two_stages_without_a_reading_between_are_one() -> None:
    """But for weighing twice."""
    twice = asked_of({**BASE, "earlier": [{"added": BASE["added"][:2]}], "added": BASE["added"][2:]})
    one, two = believed(base()), believed(twice)
    assert two.after.mean == pytest.approx(one.after.mean, abs=1e-9)
    assert two.chi_square == pytest.approx(one.chi_square)


def test_a_large_correction_writes_no_covariance() -> None:
    belief = believed(base())
    Rest(base(), belief).plan()
    Told(belief).updated()
    judged(belief)
    assert "covariance" not in belief.after.__dict__


def test_a_sour_lemon_juice_is_believed_and_if_too_sour_accused() -> None:
    mild = correct_blend(truth(lemon=1.15))
    (update,) = [u for u in mild.updated if (u.of, u.what) == ("lemon_juice_fresh", "acidity")]
    assert mild.consistency.verdict == "consistent"
    assert update.before.value < update.now.value
    assert update.now.low <= 1.15 * 4.6 <= update.now.high
    assert "% as citric" in update.text
    readings = truth(lemon=1.3).readings[:2]
    sour = correct_blend(with_readings(*readings))
    (lemon,) = [c for c in sour.consistency.culprits if (c.of, c.what) == ("lemon_juice_fresh", "acidity")]
    assert lemon.probably == pytest.approx(1.3 * 4.6, abs=0.15)
    assert "more acid than the table says" in lemon.text


def test_a_belief_does_not_leave_the_limits_of_its_table() -> None:
    """Fresh lemon juice holds 4 to 6 % acid in the table: readings that ask for more hold it there and move others."""
    found = correct_blend(truth(lemon=1.6))
    (update,) = [u for u in found.updated if (u.of, u.what) == ("lemon_juice_fresh", "acidity")]
    assert update.now.value == pytest.approx(6.0)
    assert "belief_at_a_limit" in {c.code for c in found.cautions}
    assert "belief_at_a_limit" not in {c.code for c in corrected().cautions}


def test_readings_that_nothing_explains_accuse_nobody() -> None:
    found = correct_blend(truth(gravity=0.02, volume=6.0, abv_percent=-4.0, titratable_acidity=4.0))
    assert found.consistency.verdict == "inconsistent"
    assert found.consistency.culprits == ()
    assert "No single thing explains them" in found.consistency.text


def test_nothing_is_proved_of_readings_that_do_not_fit() -> None:
    found = correct_blend(truth(honey_g=300.0))
    assert found.outcome == "targets_met"
    assert found.summary.startswith("Do not add yet: the readings do not fit")
    assert "Only if every reading were true" in found.summary
    assert "proved" not in found.summary + found.plan.summary
    assert "Add " not in found.summary
    assert "(proved)" in correct_blend(truth()).summary


def test_hardly_fitting_readings_are_a_warning() -> None:
    off = next(
        found
        for error in np.arange(0.3, 2.0, 0.05)
        if (found := correct_blend(truth(volume=float(error)))).consistency.verdict != "consistent"
    )
    assert off.consistency.verdict == "doubtful"
    assert {c.code: c.level for c in off.cautions}["readings_hardly_fit"] == "warning"


# What cannot be undone.


def test_a_drink_on_target_needs_nothing() -> None:
    found = corrected(targets={"gravity": {"min": 1.0, "max": 1.03}})
    assert found.outcome == "nothing_to_add"
    assert found.cannot_be_undone == ()
    assert "nothing has to be added" in found.summary


def test_too_sweet_is_only_diluted() -> None:
    stuck = corrected(
        additions=BASE["additions"][:2], targets={"gravity": {"max": 1.007}}, measured={"gravity": 1.0095}
    )
    (found,) = stuck.cannot_be_undone
    assert (stuck.outcome, found.property, found.settled) == ("targets_clash", "gravity", False)
    assert "Sugar cannot be taken out again" in found.text
    assert any("water" in name for name in found.would_help)
    diluted = corrected(targets={"gravity": {"max": 1.0085}}, measured={"gravity": 1.0095})
    (found,) = diluted.cannot_be_undone
    assert (diluted.outcome, found.settled) == ("targets_met", True)
    assert found.would_help[0] == "water_deionised"
    assert "The plan brings it back with water" in found.text


@pytest.mark.parametrize(("allow", "helps"), [([], False), (["carbonates"], True)])
def test_a_carbonate_is_only_proposed_where_allowed(allow: list[str], helps: bool) -> None:
    targets = {
        "titratable_acidity": {"max": "6.3 g/L tartaric"},
        "abv_percent": {"min": 6.9},
        "gravity": {"min": 1.0085, "max": 1.013},
    }
    found = corrected(allow=allow, targets=targets, additions=BASE["additions"][:2])
    (acid,) = [u for u in found.cannot_be_undone if u.property == "titratable_acidity"]
    assert any("carbonate" in name for name in acid.would_help) is helps
    assert "Acid cannot be taken out again" in acid.text


def test_what_only_whole_packs_miss_is_not_beyond_undoing() -> None:
    additions = [BASE["additions"][0], {"ingredient": "lemon_juice_fresh", "pack": "800 mL", "max_packs": 2}]
    found = corrected(
        additions=additions,
        added=BASE["added"][:1],
        measured={"gravity": 1.0105},
        targets={"gravity": 1.012, "titratable_acidity": "6.5 g/L tartaric"},
    )
    assert found.outcome == "nearest_measurable"
    assert found.cannot_be_undone == ()
    assert "Cannot be undone" not in found.summary


def test_only_what_moves_a_target_the_right_way_is_proposed_for_it() -> None:
    """The conflict is that of a gravity and an acidity; water helps the one against the other."""
    targets = {"gravity": {"max": 1.0085}, "titratable_acidity": {"min": "6.85 g/L tartaric"}}
    found = corrected(additions=BASE["additions"][:1], targets=targets)
    (sweet,) = [u for u in found.cannot_be_undone if u.property == "gravity"]
    assert sweet.passed
    assert found.plan.clash is not None
    for name in sweet.would_help:
        assert "honey" not in name
        assert "acid" not in name


def test_what_is_poured_is_never_to_be_poured_less() -> None:
    additions = [BASE["additions"][0], {"ingredient": "water_deionised", "max": "5 L"}]
    found = corrected(additions=additions, targets={"gravity": {"max": 1.004}})
    clash = found.plan.clash
    assert clash is not None
    assert f"all {found.drink.volume.value:.4g} L of {VESSEL}" in clash.text  # the fact stays
    assert not any(VESSEL in relaxed.member for relaxed in clash.relax)
    assert clash.text.count(VESSEL) == 1
    assert "pour only" not in clash.text
    assert clash.text in found.plan.summary
    assert "accept a gravity of" in clash.text


def test_too_weak_needs_something_stronger() -> None:
    found = corrected(targets={"abv_percent": {"min": 9.0}})
    (weak,) = found.cannot_be_undone
    assert weak.passed is False
    assert "Out of reach: Strength" in found.summary
    assert "something stronger" in weak.text
    assert weak.settled is False


def test_too_much_volume_stays() -> None:
    found = corrected(targets={"volume": {"max": "20 L"}})
    assert "What is in the vessel stays in" in found.cannot_be_undone[0].text


def test_more_than_its_limit_was_added() -> None:
    additions = [{**BASE["additions"][0], "max": "500 g"}, *BASE["additions"][1:]]
    found = corrected(additions=additions)
    assert "more_than_meant" in {c.code for c in found.cautions}
    assert {a.name: a.mass_g for a in found.plan.amounts}["honey_acacia"] == 0.0
    assert "more_than_meant" not in {c.code for c in corrected().cautions}


def test_what_is_in_the_vessel_still_raises_its_cautions() -> None:
    raw = [
        {"ingredient": "honey_acacia", "max": "3 kg"},
        {"ingredient": "lemon_juice_fresh", "max": "2 L", "treatment": "raw"},
    ]
    found = corrected(additions=raw, added=BASE["added"][:2], targets={"gravity": {"min": 1.0, "max": 1.03}})
    assert found.outcome == "nothing_to_add"
    assert "raw_juice" in {c.code for c in found.cautions}
    assert all(len(c.text.split()) <= 30 for c in found.cautions)
    keys = {s.key for s in found.sources}
    assert {c.source_id for c in found.cautions} <= keys


def test_what_is_least_known_is_named_after_what_was_poured() -> None:
    told = corrected().least_known
    assert told
    assert all("belief" not in known.text for known in told)
    assert any(
        "already poured" in known.largest_share_from or known.largest_share_from == "the model" for known in told
    )


def test_a_90_percent_interval_is_z_90_wide() -> None:
    seen = believed(base()).readings[0]
    report = corrected().readings[0]
    assert report.expected_high - report.expected_low == pytest.approx(2.0 * Z_90 * seen.expected_sd, abs=2e-5)


# In the caller's words.


def test_amounts_are_told_as_they_were_entered() -> None:
    water = [{"ingredient": "water_deionised", "amount": "3 L"}, BASE["added"][0]]
    found = corrected(added=water, measured={"gravity": 1.0098, "volume": "21.4 L", "abv_percent": 7.8})
    (culprit,) = [c for c in found.consistency.culprits if c.of == "water_deionised"]
    assert culprit.unit == "L"
    assert culprit.told == pytest.approx(3.0, abs=0.01)
    assert " L went in, " in culprit.text
    assert " g " not in culprit.text


def test_us_requests_are_answered_in_us_units() -> None:
    added = [{"ingredient": "honey_acacia", "amount": "1 lb 9 oz"}]
    heavy = corrected(units="us", added=added, measured={"gravity": 1.020, "volume": "5.6 gal"})
    (honey,) = [c for c in heavy.consistency.culprits if c.kind == "amount"]
    assert " lb " in honey.text
    assert " g went" not in honey.text
    gone = corrected(units="us", added=added, measured={"gravity": 1.0095, "volume": "4.7 gal"})
    assert " gal (" in gone.consistency.culprits[0].text or " fl oz (" in gone.consistency.culprits[0].text
    (volume,) = [u for u in gone.updated if u.what == "volume"]
    assert " gal (" in volume.text


def test_no_figure_lies_below_nothing_and_none_is_told_that_did_not_change() -> None:
    lots = [{"name": "base", "volume": "20 L", "gravity": 0.998, "abv_percent": 8.0, "ph": 3.4}]
    for gravity in (1.0065, 1.0075, 1.0085):
        found = corrected(lots=lots, measured={"gravity": gravity, "abv_percent": 7.6, "volume": "22.4 L"})
        for update in found.updated:
            assert update.now.low >= 0.0
            assert "-0" not in update.text
            assert not (update.of == "water_deionised" and update.what == "Brix")


def test_stocks_of_one_ingredient_are_told_apart_in_words() -> None:
    honey = BASE["additions"][0]
    additions = [{**honey, "max": "200 g", "measured": {"moisture_percent": 16}}, honey]
    found = corrected(
        additions=additions,
        added=[{"ingredient": "lemon_juice_fresh", "amount": "900 g"}],
        measured={"gravity": 1.0005},
        targets={"gravity": 1.012},
    )
    assert "acacia honey (as measured)" in found.summary
    assert "acacia honey (not measured)" in found.summary
    assert "honey 2" not in found.summary


def test_cautions_of_a_vessel_of_juice_are_no_longer_than_others() -> None:
    lots = [{"name": "must", "volume": "20 L", "gravity": 1.045, "abv_percent": 0.0, "class": "citrus_juice"}]
    found = corrected(lots=lots, added=[], measured={"gravity": 1.045}, targets={"gravity": {"max": 1.04}})
    raw = [c.text for c in (*found.cautions, *found.plan.cautions) if c.code == "raw_juice"]
    assert any(text.startswith("The drink is") for text in raw)
    assert all(len(text.split()) <= 30 for text in raw)
