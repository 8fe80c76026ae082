"""Flat rows of answers, ready to paste into a batch record, and their CSV (RFC 4180)."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

from starlette.responses import Response

from service.planner.answers import Amount, BlendForecast, BlendPlan, Predicted

Row = dict[str, str | float | None]

_COLUMN = {
    "titratable_acidity": "titratable_acidity_g_per_l_tartaric",
    "volume": "volume_l",
    "added_mass": "added_mass_g",
    "added_volume": "added_volume_l",
    "cost": "total_cost",
}
"""Columns whose property has its unit outside its name."""

_DANGEROUS = ("=", "+", "-", "@", "\t", "\r")


def _cell(value: str | float | None) -> str | float:
    """A text that a spreadsheet would take for a formula is defused by a leading apostrophe."""
    if value is None:
        return ""
    if isinstance(value, str) and value.startswith(_DANGEROUS):
        return "'" + value
    return value


def csv_text(rows: Sequence[Row], columns: Sequence[str] = ()) -> str:
    """Rows of equal columns as CSV with a header line; `columns` where there may be no row to tell them."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    columns = list(rows[0]) if rows else columns
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_cell(row.get(column)) for column in columns])
    return out.getvalue()


class CsvResponse(Response):
    """A table as `text/csv`."""

    media_type = "text/csv"

    def __init__(self, content: Iterable[Row] = (), status_code: int = 200, **options: Any) -> None:
        super().__init__(csv_text(list(content)), status_code, **options)


def _predicted(predicted: Predicted) -> Row:
    return {
        _COLUMN.get(name, name): None if prediction is None else prediction["value"]
        for name, prediction in asdict(predicted).items()
    }


def _amount(amount: Amount) -> Row:
    return {
        "name": amount.name,
        "kind": amount.kind,
        "amount_mass_g": amount.mass_g,
        "amount_volume_ml": amount.volume_ml,
        "amount_text": amount.amount_text,
        "share_of_volume_percent": amount.share_of_volume_percent,
        "cost": amount.cost,
    }


def plan_rows(plan: BlendPlan) -> list[Row]:
    """One row for each amount of a plan, with the whole's outcome, predictions and `stop` cautions beside it."""
    stop = " | ".join(c.text for c in plan.cautions if c.level == "stop")
    head: Row = {"batch": plan.batch, "date": plan.date, "outcome": plan.outcome, "stop": stop}
    return [{**head, **_amount(amount), **_predicted(plan.predicted)} for amount in plan.amounts]


def forecast_rows(forecast: BlendForecast) -> list[Row]:
    """One row for each recipe of a forecast, with the `stop` cautions of all of them."""
    stop = " | ".join(c.text for c in forecast.cautions if c.level == "stop")
    return [
        {
            "batch": forecast.batch,
            "date": forecast.date,
            "recipe": recipe.name,
            "stop": stop,
            **_predicted(recipe.predicted),
        }
        for recipe in forecast.recipes
    ]
