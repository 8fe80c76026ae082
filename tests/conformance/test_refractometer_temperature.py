"""Refractometers without compensation: OIV-MA-AS2-02, Table I, figure by figure, and nothing beyond it."""

from __future__ import annotations

import pytest

from service.errors import OutOfRangeError
from service.physics.refractometer_temperature import CORRECTION_BRIX, brix_at_20c
from tests.tables import Row, label, rows

TABLE = rows("refractometer_temperature")


def test_the_whole_table_is_there() -> None:
    printed = {(float(r["temp_degC"]), float(r["reading_degBx"])): float(r["correction_degBx"]) for r in TABLE}
    ours = {(t, 10.0 + 5.0 * k): c for t, row in CORRECTION_BRIX.items() if t < 20.0 for k, c in enumerate(row)}
    assert ours == printed


@pytest.mark.parametrize("row", TABLE, ids=label)
def test_every_printed_correction(row: Row) -> None:
    """OIV-MA-AS2-02, Table I: to be added to the reading."""
    shown = float(row["reading_degBx"])
    corrected = brix_at_20c(shown, float(row["temp_degC"]))
    assert corrected == pytest.approx(shown + float(row["correction_degBx"]), abs=1e-12)


def test_between_the_figures_lies_their_mean() -> None:
    """OIV-MA-AS2-02, Table I, 10 and 11 °C, 10 and 15 °Bx: −0.59, −0.62, −0.54, −0.57."""
    assert brix_at_20c(12.5, 10.0) == pytest.approx(12.5 - 0.605)
    assert brix_at_20c(12.5, 10.5) == pytest.approx(12.5 - 0.58)
    assert brix_at_20c(10.0, 9.5) == pytest.approx(10.0 - 0.615)


def test_from_the_last_row_to_none_at_20_c() -> None:
    """A straight line from 16 °C, −0.26 at 10 °Bx, to zero at 20 °C by definition; the rows before it fall by 0.05 to
    0.06 for each degree."""
    assert brix_at_20c(10.0, 18.0) == pytest.approx(10.0 - 0.13)
    assert brix_at_20c(3.1, 20.0) == 3.1
    assert brix_at_20c(60.0, 20.0) == 60.0


@pytest.mark.parametrize(
    ("shown", "sample_c", "words"),
    [
        (10.0, 4.9, "from 5 to 20 °C"),
        (10.0, 25.0, "let|Let"),
        (9.9, 12.0, "from 10 to 75 °Bx"),
        (75.1, 12.0, "from 10 to 75 °Bx"),
        (30.1, 9.5, "from 10 to 30 °Bx"),
        (7.0, 18.0, "again at 20 °C"),
    ],
)
def test_nothing_is_told_beyond_the_table(shown: float, sample_c: float, words: str) -> None:
    with pytest.raises(OutOfRangeError, match=words):
        brix_at_20c(shown, sample_c)
