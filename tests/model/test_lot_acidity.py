"""Lots give back what was read of them, say what was not, and refuse what cannot be.

pH and titratable acidity of an inferred lot are computed on paper (`tests.oracle.charge`), from its acids and strong
ions alone. The wines are those of `tests/conformance/test_white_wines.py`.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from statistics import fmean, stdev
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.catalogue.records import Acids
from service.chemistry.inference import PROFILES, infer_state
from service.errors import InconsistentError
from service.model.lot import LotReadings, lot_from_readings
from service.model.lot_acidity import AcidReadings, acids_of_lot
from service.model.lot_class import TYPICAL_ACIDITY, LotClass
from tests.api.real import forecast, plan, post
from tests.conformance.test_white_wines import ABSENT, FILES, folder
from tests.oracle import charge
from tests.oracle.charge import TARTARIC_G_PER_EQ, Drink

ALWAYS = settings(derandomize=True, max_examples=60, deadline=None, database=None)
FERMENTS = [LotClass.MEAD, LotClass.GRAPE_WINE, LotClass.FRUIT_WINE, LotClass.CIDER_PERRY]
JUICES = {LotClass.CITRUS_JUICE: (3.2, 4.2, 6.0, 20.0, 1.046), LotClass.BERRY_JUICE: (3.0, 3.7, 8.0, 24.0, 1.038)}
"""pH and g/L as tartaric that such a juice has (judged), and a gravity."""


def on_paper(acids: Acids, abv_percent: float) -> Drink:
    """The acids of a litre in the words of the paper calculation."""
    state = acids.state
    amounts = {acid.value: amount for acid, amount in state.present.items()}
    return Drink(amounts, state.sid_meq, state.ionic_mmol, abv_percent)


@ALWAYS
@given(
    st.sampled_from([*FERMENTS, LotClass.SPIRIT]),
    st.floats(3.05, 4.2),
    st.floats(3.0, 11.0),
    st.floats(0.0, 20.0),
    st.sampled_from([7.0, 8.1, 8.2, 8.5]),
)
def test_a_lot_keeps_both_readings(kind: LotClass, ph: float, acid: float, abv: float, end_point: float) -> None:
    meq = 1000.0 * acid / TARTARIC_G_PER_EQ
    acids, assumed = acids_of_lot(kind, AcidReadings(ph, meq, end_point, abv))
    of = on_paper(acids, abv)
    assert charge.ph(of) == pytest.approx(ph, abs=1e-6)
    assert charge.ta_meq(of, end_point) == pytest.approx(meq, rel=1e-6)
    assert of.sid_meq >= 0.0
    assert of.ionic_mmol == pytest.approx(0.5 * of.sid_meq)
    assert acids.ph_known
    assert [a.what for a in assumed] == ["kinds of acid"]
    assert {what for what, _ in acids.spread} == {"pH", "acidity"}


@ALWAYS
@given(st.sampled_from(sorted(JUICES)), st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.sampled_from([7.0, 8.2]))
def test_a_lot_of_juice_keeps_both_readings(kind: LotClass, sour: float, strong: float, end_point: float) -> None:
    """To any end point: the lot's own acids bring another titration to 8.2."""
    low, high, least, most, gravity = JUICES[kind]
    ph, acid = high - sour * (high - low), least + strong * (most - least)
    meq = 1000.0 * acid / TARTARIC_G_PER_EQ
    readings = LotReadings(5.0, None, gravity, 0.0, kind, meq, None, ph, end_point)
    lot = lot_from_readings("juice", readings)
    of = on_paper(lot.acids, 0.0)
    assert charge.ph(of) == pytest.approx(ph, abs=1e-6)
    assert charge.ta_meq(of, end_point) == pytest.approx(meq, rel=1e-6)
    assert lot.contents.acids.sid_meq == pytest.approx(5.0 * of.sid_meq, rel=1e-9)
    assert (lot.ph_known, lot.titratable_known) == (True, True)
    assert [a.what for a in lot.assumed] == ["composition"]


@pytest.mark.parametrize("kind", FERMENTS)
def test_two_end_points_of_one_lot_are_one_lot(kind: LotClass) -> None:
    """Titrated to 7.0 or to 8.2, by what each takes on paper, a lot is the same."""
    found, _ = acids_of_lot(kind, AcidReadings(3.5, 75.0, 8.2, 9.0))
    of = on_paper(found, 9.0)
    to_seven = charge.ta_meq(of, 7.0)
    assert 0.95 * 75.0 < to_seven < 0.997 * 75.0
    again, _ = acids_of_lot(kind, AcidReadings(3.5, to_seven, 7.0, 9.0))
    for acid, amount in found.state.present.items():
        assert again.state.mmol(acid) == pytest.approx(amount, rel=1e-6)
    assert again.state.sid_meq == pytest.approx(found.state.sid_meq, rel=1e-6)
    # taken for a titration to 8.2, the same figure is another lot
    wrong, _ = acids_of_lot(kind, AcidReadings(3.5, to_seven, 8.2, 9.0))
    assert sum(wrong.state.acids_mmol) < 0.998 * sum(found.state.acids_mmol)


# What was not read.

LOT: dict[str, Any] = {
    "name": "base",
    "volume": "10 L",
    "gravity": 0.998,
    "abv_percent": 8.0,
    "class": "mead",
    "titratable_acidity": "5 g/L tartaric",
    "ph": 3.5,
}
TYPICAL = {
    "mead": ("3.5", "3 g/L tartaric"),
    "grape_wine": ("3.19", "6.9 g/L tartaric"),
    "fruit_wine": ("3.4", "7 g/L tartaric"),
    "cider_perry": ("3.6", "5 g/L tartaric"),
}


def without(*missing: str, **change: Any) -> dict[str, Any]:
    """The lot without some readings."""
    return {**{name: value for name, value in LOT.items() if name not in missing}, **change}


def told(lot: Mapping[str, Any]) -> dict[str, Any]:
    """The forecast of a lot alone."""
    return forecast({"recipes": [{"name": "as it is", "lots": [lot], "additions": []}]})


@pytest.mark.parametrize("kind", TYPICAL)
@pytest.mark.parametrize("missing", [(), ("ph",), ("titratable_acidity",), ("ph", "titratable_acidity")])
def test_what_was_not_read_is_typical_of_the_class_and_asked_for(kind: str, missing: tuple[str, ...]) -> None:
    answer = told(without(*missing, **{"class": kind}))
    assumed = {a["what"].removeprefix("base: "): a["value"] for a in answer["assumed"]}
    ph, acidity = TYPICAL[kind]
    assert ("ph" in assumed) is ("ph" in missing)
    assert float(assumed.get("ph", ph)) == float(ph)
    assert assumed.get("titratable_acidity") == (acidity if "titratable_acidity" in missing else None)
    asked = [r["do"] for r in answer["next_reading"]]
    assert ("read the pH of base, degassed" in asked) is ("ph" in missing)
    assert any(a.startswith("titrate base") for a in asked) is ("titratable_acidity" in missing)
    predicted = answer["recipes"][0]["predicted"]
    if "ph" in missing:
        assert predicted["ph"]["value"] == pytest.approx(float(ph), abs=1e-3)
    else:
        assert predicted["ph"]["value"] == pytest.approx(3.5, abs=1e-3)
    expected = float(acidity.split()[0]) if "titratable_acidity" in missing else 5.0
    assert predicted["titratable_acidity"]["value"] == pytest.approx(expected, abs=2e-3)


def test_a_spirit_without_acid_has_no_ph_of_its_own() -> None:
    spirit = without("ph", "titratable_acidity", **{"class": "spirit", "abv_percent": 40.0, "gravity": 0.949})
    answer = told(spirit)
    predicted = answer["recipes"][0]["predicted"]
    assert predicted["ph"] is None
    assert predicted["titratable_acidity"]["value"] == 0.0
    assert not any("pH of" in r["do"] or r["do"].startswith("titrate base") for r in answer["next_reading"])
    assert not any("acid" in a["what"] or a["what"].endswith(": ph") for a in answer["assumed"])
    beside = {"ingredient": "lemon_juice_fresh", "amount": "200 g"}
    mixed = forecast({"recipes": [{"name": "sour", "lots": [spirit], "additions": [beside]}]})["recipes"][0][
        "predicted"
    ]
    assert 2.3 < mixed["ph"]["value"] < 3.5  # the lemon's own, thinned and in stronger alcohol


# What cannot be.


@pytest.mark.parametrize(
    ("change", "pointer", "causes"),
    [
        ({"ph": 2.2, "titratable_acidity": "2 g/L tartaric"}, "/lots/0/ph", ("meter", "unit", "degassed")),
        ({"ph": 3.4, "titratable_acidity": "0 g/L tartaric"}, "/lots/0/titratable_acidity", ("pH", "titrate again")),
        ({"titration_end_point_ph": 5.9}, "/lots/0/titration_end_point_ph", ("6", "10", "8.2")),
        ({"titration_end_point_ph": 10.1}, "/lots/0/titration_end_point_ph", ("6", "10", "8.2")),
        (
            {"titratable_acidity": None, "titration_end_point_ph": 8.1},
            "/lots/0/titration_end_point_ph",
            ("titratable",),
        ),
    ],
)
def test_readings_that_cannot_be_are_refused_with_likely_causes(
    change: dict[str, Any], pointer: str, causes: tuple[str, ...]
) -> None:
    lot = {name: value for name, value in {**LOT, **change}.items() if value is not None}
    body = {"lots": [lot], "additions": [{"ingredient": "honey"}], "targets": {"gravity": 1.012}}
    ((where, words),) = [(e["pointer"], e["detail"]) for e in post("/v1/blend-plans", body, 422)["errors"]]
    assert where == pointer
    assert all(cause in words for cause in causes), words


@pytest.mark.parametrize("end_point", [5.9, 10.1])
def test_an_end_point_that_no_titration_has_is_refused(end_point: float) -> None:
    base = {"lots": [LOT], "additions": [{"ingredient": "honey"}], "targets": {"gravity": 1.012}}
    measured = {"titratable_acidity": "8 g/L citric", "titration_end_point_ph": end_point}
    juice = {**base, "additions": [{"ingredient": "orange_juice_fresh", "measured": measured}]}
    alone = {**base, "additions": [{"ingredient": "orange_juice_fresh", "measured": {"titration_end_point_ph": 8.1}}]}
    for body, pointer in (
        ({**base, "titration_end_point_ph": end_point}, "/titration_end_point_ph"),
        (juice, "/additions/0/measured/titration_end_point_ph"),
        (alone, "/additions/0/measured/titration_end_point_ph"),
    ):
        assert [e["pointer"] for e in post("/v1/blend-plans", body, 422)["errors"]] == [pointer]


@pytest.mark.parametrize("end_point", [6.0, 10.0])
def test_the_ends_of_the_range_of_end_points_are_allowed(end_point: float) -> None:
    body = {"lots": [LOT], "additions": [{"ingredient": "honey"}], "targets": {"gravity": 1.012}}
    shown = plan({**body, "titration_end_point_ph": end_point})["predicted"]["titratable_acidity"]
    assert shown["end_point_ph"] == end_point


# Real wines.


@pytest.fixture(scope="module")
def wines() -> list[tuple[float, float, float]]:
    """pH, titratable acidity [meq/L] (fixed as tartaric and volatile as acetic) and % vol of 2525 white wines."""
    where = folder()
    if where is None:
        if os.environ.get("CI") == "true":
            pytest.fail(f"In continuous integration these measurements are required, but {ABSENT}.")
        pytest.skip(ABSENT)
    found = []
    for position, name in enumerate(FILES):
        for line in (where / name).read_text(encoding="utf-8").splitlines():
            cells = [cell.strip() for cell in line.split(",")]
            if len(cells) != 12 or (position > 0 and cells[-1] == "positive"):
                continue
            fixed, volatile, ph, abv = (float(cells[k]) for k in (0, 1, 8, 10))
            found.append((ph, 1000.0 * (fixed / TARTARIC_G_PER_EQ + volatile / 60.052), abv))
    assert len(found) == 2525
    return found


def test_the_typical_ph_of_wine_is_that_of_2525_wines(wines: list[tuple[float, float, float]]) -> None:
    """UCI wine-quality data (Cortez et al. 2009, from memory)."""
    typical = TYPICAL_ACIDITY[LotClass.GRAPE_WINE]
    assert typical.ph == pytest.approx(fmean(ph for ph, _, _ in wines), abs=0.005)
    assert typical.ph_sd == pytest.approx(stdev(ph for ph, _, _ in wines), abs=0.005)


def test_every_wine_has_acids_that_fit(wines: list[tuple[float, float, float]]) -> None:
    """A positive scale of the profile and no strong acid needed, for each of 2525 measured wines."""
    refused, scales, sids = [], [], []
    for ph, meq, abv in wines:
        try:
            found = infer_state(PROFILES["grape_wine"], ph, meq, abv_percent=abv)
        except InconsistentError as error:
            refused.append((ph, meq, abv, str(error)))
            continue
        scales.append(found.scale)
        sids.append(found.sid_meq)
    assert refused == []
    assert min(scales) > 0.0
    assert min(sids) >= 0.0
    # potassium and sodium less chloride of white wine: some 10 to 40 meq/L (common practice, no source)
    assert 10.0 < fmean(sids) < 40.0
