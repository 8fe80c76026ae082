"""The published tables that the tests hold the formulas against: `tests/data/*.csv`, read as text."""

from __future__ import annotations

import csv
from pathlib import Path

Row = dict[str, str]

DATA = Path(__file__).parent / "data"


def rows(table: str, **where: str) -> list[Row]:
    """The rows of a table, or those of them whose columns hold exactly these texts."""
    with (DATA / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        found = [row for row in csv.DictReader(file) if all(row[k] == v for k, v in where.items())]
    assert found, f"{table}.csv holds no row with {where}"
    return found


def label(row: Row) -> str:
    """A test id: the row's figures, so that a failure names the line of the table."""
    return "-".join(v for v in row.values() if v and v[0] in "-.0123456789")[:60]
