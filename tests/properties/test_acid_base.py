"""What must hold of any drink: acid lowers pH, cations raise it, blending conserves, inference returns its readings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import permutations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from service.chemistry.acid_state import AcidState
from service.chemistry.charge_balance import (
    buffer_capacity_meq_per_l,
    ph_of,
    residual_meq_per_l,
    titratable_meq_per_l,
)
from service.chemistry.inference import infer_state
from service.chemistry.many_states import ph_of_many
from service.chemistry.weak_acids import WeakAcid
from service.errors import InconsistentError
from tests.oracle.charge import Drink, Model, infer

IN_DRINKS = [acid for acid in WeakAcid if acid is not WeakAcid.PHTHALIC]
# Acids that a profile may hold: their last proton is off at pH 8.2, and none of them is gone with the bubbles.
TITRATED = [
    WeakAcid.CITRIC, WeakAcid.MALIC, WeakAcid.TARTARIC, WeakAcid.LACTIC, WeakAcid.GLUCONIC, WeakAcid.SUCCINIC,
    WeakAcid.ACETIC, WeakAcid.QUINIC, WeakAcid.GENERIC,
]  # fmt: skip

strengths = st.floats(0.0, 20.0)
temperatures = st.floats(5.0, 35.0)
shares = st.floats(0.0, 0.8)


def amounts(
    acids: Sequence[WeakAcid], least: float = 0.1, most: float = 30.0
) -> st.SearchStrategy[dict[WeakAcid, float]]:
    """One to five acids [mmol/L]."""
    return st.dictionaries(st.sampled_from(acids), st.floats(least, most), min_size=1, max_size=5)


@st.composite
def states(draw: st.DrawFn) -> AcidState:
    """Acids, cations for up to 80 % of their first steps, and up to 20 mmol/L of neutral salt."""
    acids = draw(amounts(IN_DRINKS))
    sid = draw(shares) * sum(acids.values())
    return AcidState.of(acids, sid, 0.5 * sid + draw(st.floats(0.0, 20.0)))


@given(states(), st.sampled_from(IN_DRINKS), st.floats(0.5, 30.0), strengths, temperatures)
def test_acid_lowers_ph(state: AcidState, acid: WeakAcid, more: float, abv: float, t: float) -> None:
    before = ph_of(state, abv_percent=abv, temperature_c=t)
    after = ph_of(state.plus(AcidState.of({acid: more})), abv_percent=abv, temperature_c=t)
    assert after < before


@given(states(), st.floats(0.5, 30.0), strengths, temperatures)
def test_cations_raise_ph(state: AcidState, more: float, abv: float, t: float) -> None:
    """Potassium hydroxide, which also raises the ionic strength."""
    before = ph_of(state, abv_percent=abv, temperature_c=t)
    after = ph_of(state.plus(AcidState.of({}, more)), abv_percent=abv, temperature_c=t)
    assert after > before


@given(states(), st.floats(6.0, 10.0), strengths, temperatures)
def test_cations_take_away_titratable_acidity(state: AcidState, end_point: float, abv: float, t: float) -> None:
    """One to one at any end point, to 1e-9 without activities."""
    more = state.plus(AcidState.of({}, 4.0))
    before, after = (
        titratable_meq_per_l(each, end_point, abv_percent=abv, temperature_c=t, ideal=True) for each in (state, more)
    )
    assert before - after == pytest.approx(4.0, abs=1e-9)


@given(states(), strengths, temperatures)
def test_residual_is_zero_at_the_ph(state: AcidState, abv: float, t: float) -> None:
    ph = ph_of(state, abv_percent=abv, temperature_c=t)
    assert residual_meq_per_l(state, ph, abv_percent=abv, temperature_c=t) == pytest.approx(0.0, abs=1e-6)
    acid = residual_meq_per_l(state, ph - 0.01, abv_percent=abv, temperature_c=t)
    base = residual_meq_per_l(state, ph + 0.01, abv_percent=abv, temperature_c=t)
    assert acid > 0.0 > base


@given(states(), st.floats(6.0, 10.0), strengths, temperatures)
def test_the_base_of_a_titration_brings_the_end_point(state: AcidState, end_point: float, abv: float, t: float) -> None:
    """As much potassium hydroxide as the titratable acidity, poured in: the pH is that of the end point."""
    still = AcidState.of(
        {acid: state.mmol(acid) for acid in WeakAcid if acid is not WeakAcid.CARBONIC}, state.sid_meq, state.ionic_mmol
    )
    base = titratable_meq_per_l(still, end_point, abv_percent=abv, temperature_c=t)
    assume(base > 0.0)
    titrated = still.plus(AcidState.of({}, base))
    assert ph_of(titrated, abv_percent=abv, temperature_c=t) == pytest.approx(end_point, abs=1e-6)


@given(states(), strengths, temperatures, st.floats(0.0, 60.0))
def test_carbonic_acid_is_not_titrated(state: AcidState, abv: float, t: float, carbonic: float) -> None:
    gassed = state.plus(AcidState.of({WeakAcid.CARBONIC: carbonic}))
    assert titratable_meq_per_l(gassed, abv_percent=abv, temperature_c=t) == titratable_meq_per_l(
        state, abv_percent=abv, temperature_c=t
    )


@settings(max_examples=200, deadline=None)
@given(amounts(TITRATED), st.floats(0.02, 0.6), st.floats(0.1, 10.0), st.floats(0.0, 6.0), strengths, temperatures)
def test_inference_returns_its_readings(
    acids: dict[WeakAcid, float], share: float, ratio: float, phosphoric: float, abv: float, t: float
) -> None:
    """Inferred from pH, acidity and the ratios of its acids, a drink comes back, and both readings to 1e-6."""
    known = {WeakAcid.PHOSPHORIC: phosphoric}
    sid = share * sum(acids.values())
    drink = AcidState.of({**acids, **known}, sid)
    ph = ph_of(drink, abv_percent=abv, temperature_c=t)
    assume(ph < 6.0)
    acidity = titratable_meq_per_l(drink, abv_percent=abv, temperature_c=t)
    profile = {acid: ratio * amount for acid, amount in acids.items()}
    found = infer_state(profile, ph, acidity, known=known, abv_percent=abv, temperature_c=t)
    assert ph_of(found.state, abv_percent=abv, temperature_c=t) == pytest.approx(ph, abs=1e-6)
    again = titratable_meq_per_l(found.state, abv_percent=abv, temperature_c=t)
    assert again == pytest.approx(acidity, rel=1e-6, abs=1e-6)
    assert found.scale * ratio == pytest.approx(1.0, rel=1e-5)
    assert found.sid_meq == found.state.sid_meq == pytest.approx(sid, rel=1e-5, abs=1e-5)
    assert found.state.mmol(WeakAcid.PHOSPHORIC) == phosphoric


@settings(deadline=None)
@given(amounts(TITRATED), st.floats(2.0, 4.3), st.floats(15.0, 200.0), st.sampled_from([7.0, 8.1, 8.2, 8.5]), strengths)
def test_inference_of_any_readings(
    profile: dict[WeakAcid, float], ph: float, acidity: float, end_point: float, abv: float
) -> None:
    """Either both readings come back to 1e-6, or, refused, they would need strong acid on paper too."""
    try:
        found = infer_state(profile, ph, acidity, end_point_ph=end_point, abv_percent=abv)
    except InconsistentError:
        paper = {acid.value: amount for acid, amount in profile.items()}
        assert infer(paper, ph, acidity, end_point_ph=end_point, abv_percent=abv).sid_meq < 1e-6
        return
    assert found.scale > 0.0
    assert found.sid_meq >= 0.0
    assert ph_of(found.state, abv_percent=abv) == pytest.approx(ph, abs=1e-6)
    assert titratable_meq_per_l(found.state, end_point, abv_percent=abv) == pytest.approx(acidity, rel=1e-6)


@settings(deadline=None)
@given(st.lists(st.tuples(states(), st.floats(0.01, 1.0)), min_size=2, max_size=4), strengths)
def test_blending_conserves_in_any_order(parts: list[tuple[AcidState, float]], abv: float) -> None:
    """Each acid, the strong ions and hence the pH do not depend on the order in which the parts are poured."""
    phs = []
    for order in permutations(parts):
        blend = AcidState.of({})
        for state, share in order:
            blend = blend.plus(state.scaled(share))
        for acid in WeakAcid:
            assert blend.mmol(acid) == pytest.approx(sum(k * s.mmol(acid) for s, k in parts), rel=1e-14)
        assert blend.sid_meq == pytest.approx(sum(k * s.sid_meq for s, k in parts), rel=1e-13, abs=1e-13)
        assert blend.ionic_mmol == pytest.approx(sum(k * s.ionic_mmol for s, k in parts), rel=1e-13, abs=1e-13)
        phs.append(ph_of(blend, abv_percent=abv))
    assert max(phs) - min(phs) < 1e-9


@given(states(), states(), st.floats(0.0, 5.0))
def test_plus_and_scaled_are_exact(a: AcidState, b: AcidState, k: float) -> None:
    assert a.plus(b).acids_mmol == tuple(x + y for x, y in zip(a.acids_mmol, b.acids_mmol, strict=True))
    assert a.plus(b) == b.plus(a)
    assert a.scaled(k).acids_mmol == tuple(k * x for x in a.acids_mmol)
    assert a.plus(b).sid_meq == a.sid_meq + b.sid_meq
    assert a.scaled(k).sid_meq == k * a.sid_meq
    assert a.plus(AcidState.of({})) == a.scaled(1.0) == a


@st.composite
def ferments(draw: st.DrawFn) -> AcidState:
    """20 to 40 mmol/L of two to five acids, 10 to 60 % of their first steps neutralised, up to 1.5 of phosphate."""
    weights = draw(st.dictionaries(st.sampled_from(TITRATED), st.floats(0.05, 1.0), min_size=2, max_size=5))
    total = draw(st.floats(20.0, 40.0))
    acids = {acid: total * weight / sum(weights.values()) for acid, weight in weights.items()}
    return AcidState.of({**acids, WeakAcid.PHOSPHORIC: draw(st.floats(0.0, 1.5))}, draw(st.floats(0.1, 0.6)) * total)


@settings(max_examples=200, deadline=None)
@given(ferments(), ferments(), st.floats(0.0, 1.0), st.floats(0.0, 15.0))
def test_titratable_acidity_blends_by_volume(a: AcidState, b: AcidState, x: float, abv: float) -> None:
    """Two ferments of the same strength: the mean by volume is within 0.1 % at 8.2 and 1 % at 7.0.

    The rest is activity: the blend has an ionic strength of its own. Of 1 500 random pairs 95 % were within 0.011
    and 0.16 %, all within 0.05 and 0.7 % (computed).
    """
    blend = a.scaled(x).plus(b.scaled(1.0 - x))
    for end_point, tolerance in ((8.2, 1e-3), (7.0, 1e-2)):
        one, two = (titratable_meq_per_l(part, end_point, abv_percent=abv) for part in (a, b))
        mean = x * one + (1.0 - x) * two
        assert titratable_meq_per_l(blend, end_point, abv_percent=abv) == pytest.approx(mean, rel=tolerance)


def slope(function: Callable[[float], float], ph: float) -> float:
    """Numeric derivative, error of the order of h⁴."""
    h = 2e-3
    return (function(ph - 2 * h) - 8 * function(ph - h) + 8 * function(ph + h) - function(ph + 2 * h)) / (12 * h)


@settings(deadline=None)
@given(states(), st.floats(2.0, 9.0), strengths, temperatures)
def test_buffer_capacity_is_the_slope_of_the_residual(state: AcidState, ph: float, abv: float, t: float) -> None:
    """In ideal mode the service's own residual; with activities the paper calculation's at a fixed ionic strength."""
    ideal = slope(lambda x: residual_meq_per_l(state, x, abv_percent=abv, temperature_c=t, ideal=True), ph)
    found = buffer_capacity_meq_per_l(state, ph, abv_percent=abv, temperature_c=t, ideal=True)
    assert found == pytest.approx(-ideal, rel=1e-7)
    acids = {acid.value: state.mmol(acid) for acid in WeakAcid}
    model = Model(Drink(acids, state.sid_meq, state.ionic_mmol, abv), t)
    strength = model.strength(ph)
    real = slope(lambda x: 1000.0 * model.residual(x, strength), ph)
    assert buffer_capacity_meq_per_l(state, ph, abv_percent=abv, temperature_c=t) == pytest.approx(-real, rel=1e-7)


@settings(deadline=None)
@given(st.lists(st.tuples(states(), strengths), min_size=1, max_size=12), temperatures)
def test_many_are_as_one(batch: list[tuple[AcidState, float]], t: float) -> None:
    found = ph_of_many(
        np.array([state.acids_mmol for state, _ in batch]),
        np.array([state.sid_meq for state, _ in batch]),
        np.array([state.ionic_mmol for state, _ in batch]),
        np.array([abv for _, abv in batch]),
        temperature_c=t,
    )
    assert found.shape == (len(batch),)
    for ph, (state, abv) in zip(found, batch, strict=True):
        assert ph == pytest.approx(ph_of(state, abv_percent=abv, temperature_c=t), abs=1e-9)
