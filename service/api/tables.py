"""Flat rows of answers, ready to paste into a batch record, and their CSV (RFC 4180)."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import asdict
from typing import Any

from starlette.responses import Response

from service.planner.answers import Amount, Caution, Predicted
from service.planner.answers_blend import BlendForecast, BlendPlan, PortionedPlan, RecipeForecast, TargetReport
from service.planner.bench_trial.answers import BatchDose, BenchTrial
from service.planner.correction.answers import Correction
from service.planner.fruit import FruitNeeded
from service.planner.losses import LossReport
from service.planner.stabilising.answers import StabilisingPlan
from service.planner.trade_off.answers import TradeOff
from service.planner.undo.answers import Undo

Row = dict[str, str | float | None]

_COLUMN = {
    "titratable_acidity": "titratable_acidity_g_per_l_tartaric",
    "volume": "volume_l",
    "added_mass": "added_mass_g",
    "added_volume": "added_volume_l",
    "cost": "total_cost",
}
"""Columns whose property has its unit outside its name."""

_SIGNS = "=+@\uff1d\uff0b\uff0d\uff20-"
"""What a formula begins with, in full width too."""

_BEGINS_A_FORMULA = re.compile(rf'(^\s*|[;\t\r\n][\s"]*)(?=[{_SIGNS}])')


def _cell(value: str | float | None) -> str | float:
    """A text that a spreadsheet would take for a formula is defused by an apostrophe before it.

    So is what follows a semicolon: where a comma is the decimal sign, spreadsheets take semicolons for the ends of
    cells, whatever is quoted within a row.

    >>> _cell("=1+1"), _cell("a; =1+1"), _cell("a=1"), _cell(-1.0)
    ("'=1+1", "a; '=1+1", 'a=1', -1.0)
    """
    if not isinstance(value, str):
        return "" if value is None else value
    value = _BEGINS_A_FORMULA.sub(r"\1'", value)
    return "'" + value if value.startswith(("\t", "\r", "\n")) else value


def csv_text(rows: Sequence[Row], columns: Sequence[str] = (), *, formulas: Collection[str] = ()) -> str:
    """Rows of equal columns as CSV with a header line; `columns` where there may be no row to tell them; `formulas`,
    the columns that hold formulas of our own, left as they are.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    columns = list(rows[0]) if rows else columns
    writer.writerow([_cell(column) for column in columns])
    for row in rows:
        writer.writerow([row.get(name) if name in formulas else _cell(row.get(name)) for name in columns])
    return out.getvalue()


class CsvResponse(Response):
    """A table as `text/csv`."""

    media_type = "text/csv"

    def __init__(self, content: Iterable[Row] = (), status_code: int = 200, **options: Any) -> None:
        super().__init__(csv_text(list(content)), status_code, **options)


def _predicted(predicted: Predicted) -> Row:
    """Each property with both ends of its 90 % interval beside it."""
    row: Row = {}
    for name, prediction in asdict(predicted).items():
        column = _COLUMN.get(name, name)
        for key, title in (("value", column), ("low", f"{column}_low"), ("high", f"{column}_high")):
            row[title] = None if prediction is None else prediction[key]
    return row


def _chances(targets: Sequence[TargetReport]) -> Row:
    """How likely the real drink meets each target."""
    return {f"{_COLUMN.get(target.property, target.property)}_chance": target.chance for target in targets}


def _first(plan: BlendPlan) -> Row:
    """What to add before measuring, and what is held back; nothing where that was not asked for."""
    if plan.first_addition is None:
        return {}
    held = {change.name: change.mass_g for change in plan.first_addition.held_back}
    row: Row = {f"{amount.name}_first_mass_g": amount.mass_g for amount in plan.first_addition.amounts}
    row |= {f"{amount.name}_held_back_mass_g": held.get(amount.name, 0.0) for amount in plan.first_addition.amounts}
    return row


def _amounts(amounts: Sequence[Amount], names: Sequence[str]) -> Row:
    """A column of grams for each name; empty where a recipe has none of it."""
    masses = {amount.name: amount.mass_g for amount in amounts}
    return {f"{name}_mass_g": masses.get(name) for name in names}


def _fruit(needed: Sequence[FruitNeeded]) -> Row:
    """Whole fruit of each pressed juice, with what it may take."""
    row: Row = {}
    for found in needed:
        row[f"{found.ingredient}_fruit_g"] = found.fruit_mass_g
        row[f"{found.ingredient}_fruit_g_low"] = found.low
        row[f"{found.ingredient}_fruit_g_high"] = found.high
        row[f"{found.ingredient}_fruit_count"] = found.fruit_count
    return row


def _filled(losses: LossReport | None) -> Row:
    """What losses leave to fill; nothing where none were given."""
    if losses is None:
        return {}
    return {
        "packaged_l": losses.packaged_l,
        "packaged_l_low": losses.packaged_low,
        "packaged_l_high": losses.packaged_high,
    }


def _stops(cautions: Sequence[Caution], recipe: str | None = None) -> str:
    """The `stop` cautions in one cell, ahead of the amounts."""
    return " | ".join(c.text for c in cautions if c.level == "stop" and c.about in (None, recipe))


def same_columns(rows: Sequence[Row]) -> list[Row]:
    """Rows that all have the columns of all, in the order in which they first appear."""
    columns = list(dict.fromkeys(column for row in rows for column in row))
    return [{column: row.get(column) for column in columns} for row in rows]


def plan_rows(plan: BlendPlan | PortionedPlan) -> list[Row]:
    """One row for a drink: outcome, `stop` cautions, grams of each lot and addition (those of a first addition before
    them), predictions with their intervals, chances of the targets, what the confidence asked for costs."""
    head: Row = {"batch": plan.batch, "date": plan.date, "outcome": plan.outcome}
    if isinstance(plan, PortionedPlan):
        return same_columns(
            [
                {
                    **head,
                    "portion": portion.name,
                    "stop": _stops(plan.cautions, portion.name),
                    **_amounts(portion.amounts, [amount.name for amount in portion.amounts]),
                    **_predicted(portion.predicted),
                    **_chances(portion.targets),
                }
                for portion in plan.portions
            ]
        )
    return [
        {
            **head,
            "stop": _stops(plan.cautions),
            **_first(plan),
            **_amounts(plan.amounts, [amount.name for amount in plan.amounts]),
            **_predicted(plan.predicted),
            **_filled(plan.losses),
            **_fruit(plan.fruit),
            **_chances(plan.targets),
            **({} if plan.caution_price is None else {"caution_price": plan.caution_price.text}),
        }
    ]


def trade_off_rows(trade: TradeOff) -> list[Row]:
    """One row for each point: its levels, marks, `stop` cautions, grams of each part, predictions."""
    names = list(dict.fromkeys(amount.name for point in trade.points for amount in point.amounts))
    return [
        {
            "batch": trade.batch,
            "date": trade.date,
            "outcome": trade.outcome,
            "point": number,
            "marks": " ".join(point.marks),
            "stop": " | ".join(point.stops),
            f"x_{trade.x.property}": point.x,
            "x_low": point.x_low,
            "x_high": point.x_high,
            f"y_{trade.y.property}": point.y,
            "y_low": point.y_low,
            "y_high": point.y_high,
            "also": point.also,
            "also_low": point.also_low,
            "also_high": point.also_high,
            "steps_from_previous": point.steps_from_previous,
            **_amounts(point.amounts, names),
            **_predicted(point.predicted),
        }
        for number, point in enumerate(trade.points, start=1)
    ] or [{"batch": trade.batch, "date": trade.date, "outcome": trade.outcome, "summary": trade.summary}]


def forecast_rows(forecast: BlendForecast) -> list[Row]:
    """One row for each recipe: its `stop` cautions, grams of everything that any recipe holds, predictions, readings,
    and just-noticeable steps from the first recipe."""
    names = list(dict.fromkeys(amount.name for recipe in forecast.recipes for amount in recipe.amounts))
    return same_columns(
        [
            {
                "batch": forecast.batch,
                "date": forecast.date,
                "recipe": recipe.name,
                "stop": _stops(forecast.cautions, recipe.name),
                "scaled_by": recipe.scaled_by,
                **_amounts(recipe.amounts, names),
                **_predicted(recipe.predicted),
                **_fruit(recipe.fruit),
                **_beside(recipe),
            }
            for recipe in forecast.recipes
        ]
    )


def _beside(recipe: RecipeForecast) -> Row:
    """A recipe beside its readings, where there are any, and beside the first recipe; lists hold what instruments can
    tell apart."""
    row: Row = {}
    for reading in recipe.against_readings:
        row[f"{_COLUMN.get(reading.property, reading.property)}_measured"] = reading.measured
    if recipe.against_readings:
        beyond = [r.property for r in recipe.against_readings if r.exceeds_instruments]
        row["readings_beyond_instruments"] = " ".join(beyond)
    for found in recipe.differences:
        row[f"{found.property}_steps_from_first"] = found.steps
    if recipe.differences:
        apart = [d.property for d in recipe.differences if d.exceeds_instruments]
        row["told_apart_from_first_by_instruments"] = " ".join(apart)
    return row


def bench_rows(trial: BenchTrial) -> list[Row]:
    """One row for the glass and one for each way to make the batch: `stop` cautions, grams of each part, milligrams of
    each dye in a litre, predictions."""
    ways: list[tuple[str, BatchDose | None]] = [
        ("batch_plan", trial.batch_plan),
        ("plain_scaling", trial.plain_scaling),
        ("without_stock_water", trial.without_stock_water),
    ]
    names = list(dict.fromkeys(a.name for _, way in ways if way is not None for a in way.amounts))
    head: Row = {"batch": trial.batch, "date": trial.date, "outcome": trial.outcome}
    dyes: Row = {f"{colour.stock}_dye_mg_per_l": colour.glass_mg_per_l for colour in trial.colour}
    stop = _stops(trial.cautions)
    rows: list[Row] = [
        {**head, "drink": "glass", "stop": stop, **_amounts((), names), **dyes, **_predicted(trial.glass.predicted)}
    ]
    for name, way in ways:
        if way is not None:
            amounts = _amounts(way.amounts, names)
            rows.append({**head, "drink": name, "stop": stop, **amounts, **dyes, **_predicted(way.predicted)})
    return rows


def stabilising_rows(plan: StabilisingPlan) -> list[Row]:
    """One row for a stabilising plan: verdict, `stop` cautions, grams of each salt, what the drink then holds."""
    doses = {dose.salt: dose for dose in plan.doses}
    row: Row = {"batch": plan.batch, "date": plan.date, "verdict": plan.verdict, "stop": _stops(plan.cautions)}
    for salt in ("potassium_sorbate", "potassium_metabisulfite"):
        dose = doses.get(salt)
        row[f"{salt}_mass_g"] = None if dose is None else dose.mass_g
        row[f"{salt}_amount"] = None if dose is None else dose.amount_text
    packaged = plan.so2.at_packaging
    return [
        {
            **row,
            "ph_before": plan.ph_before,
            "ph_after_sorbate": plan.ph_after_sorbate,
            "ph_at_packaging": plan.ph_at_packaging,
            "volume_l": packaged.volume_l,
            "free_so2_mg_per_l": packaged.free_mg_per_l,
            "molecular_so2_mg_per_l": packaged.molecular_mg_per_l,
            "bound_so2_mg_per_l": packaged.bound_mg_per_l,
            "total_so2_mg_per_l": packaged.total_mg_per_l,
            "pk": plan.so2.pk,
            "sorbic_acid_mg_per_l": plan.sorbic.at_packaging_mg_per_l,
            "published_sorbic_acid_mg_per_l": plan.sorbic.published_mg_per_l,
            "limits_exceeded": " | ".join(
                f"{limit.what}: {limit.regulation}"
                for limit in plan.limits
                if limit.exceeded and limit.what != "declaration_contains_sulfites"
            ),
            "contains_sulfites": next(
                "declare" if limit.exceeded else "below the threshold"
                for limit in plan.limits
                if limit.what == "declaration_contains_sulfites"
            ),
        }
    ]


def correction_rows(correction: Correction | Undo) -> list[Row]:
    """The rows of a correction, or of the undo table."""
    return undo_rows(correction) if isinstance(correction, Undo) else _correction_rows(correction)


def undo_rows(undo: Undo) -> list[Row]:
    """One row for each way out: what it is worth, its `stop` cautions, grams of what goes in, the drink afterwards."""
    names = sorted({amount.name for option in undo.options for amount in option.amounts})
    any_drink = next((o.predicted for o in undo.options if o.predicted is not None), None)
    blank: Row = {} if any_drink is None else dict.fromkeys(_predicted(any_drink))
    rows: list[Row] = []
    for option in undo.options:
        masses = {amount.name: amount.mass_g for amount in option.amounts}
        row: Row = {
            "batch": undo.batch,
            "date": undo.date,
            "fault": undo.fault,
            "option": option.name,
            "possible": option.possible,
            "stop": _stops([*(c for c in undo.cautions if c.about is None), *option.cautions]),
            "do": option.do,
            "limit": option.limit,
            **{f"{name}_mass_g": masses.get(name) for name in names},
            "distance": option.distance,
            "costs": option.costs,
            **(blank if option.predicted is None else _predicted(option.predicted)),
            "free_so2_mg_per_l": None if option.so2 is None else option.so2.free_mg_per_l,
        }
        rows.append(row)
    return rows


def _correction_rows(correction: Correction) -> list[Row]:
    """One row: verdict and likeliest culprit, each reading beside what was expected, the drink now (`now_…`), and what
    to add with the drink that it makes."""
    consistency = correction.consistency
    row: Row = {
        "batch": correction.batch,
        "date": correction.date,
        "outcome": correction.outcome,
        "stop": _stops(correction.cautions),
        "readings_fit": consistency.verdict,
        "probability": consistency.probability,
        "likeliest_culprit": consistency.culprits[0].text if consistency.culprits else None,
    }
    for reading in correction.readings:
        row[f"{reading.property}_measured"] = reading.measured
        row[f"{reading.property}_expected"] = reading.expected
    now = {f"now_{name}": value for name, value in _predicted(correction.drink).items()}
    (plan,) = plan_rows(correction.plan)
    del plan["batch"], plan["date"], plan["outcome"], plan["stop"]
    return [{**row, **now, "cannot_be_undone": " | ".join(u.text for u in correction.cannot_be_undone), **plan}]
