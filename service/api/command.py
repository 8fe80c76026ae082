"""`python -m service ask`: one request file, answered by the same code as over HTTP, shown as a table."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterable
from pathlib import Path
from typing import Any, Literal

from pydantic import TypeAdapter, ValidationError

from service.api.answering import answer_body, refusal
from service.api.batch import BatchAnswer, answer_batch
from service.api.examples import request_in
from service.api.pictures import trade_off_picture
from service.api.problems import problem_document, problem_from_error
from service.api.reading_blend import trade_from
from service.api.requests_blend import BlendBatchRequest, TradeOffRequest
from service.api.settings import Settings
from service.api.stabilising_table import doses_and_hurdles
from service.errors import ServiceError
from service.planner.trade_off.plan import trade_off

_WIDTH = 100
_SHOWN = (
    ("gravity", "SG 20/20", 4),
    ("abv_percent", "% vol", 2),
    ("titratable_acidity", "g/L tartaric", 2),
    ("ph", "", 2),
    ("volume", "L", 2),
    ("sugar_g_per_l", "g/L", 1),
    ("fermentable_sugar_g_per_l", "g/L", 1),
    ("sucrose_equivalent_g_per_l", "g/L", 1),
    ("brix", "°Bx", 2),
    ("sugar_acid_ratio", "", 1),
    ("juice_percent", "%", 1),
    ("citrus_percent", "%", 1),
    ("energy_kcal_per_100ml", "kcal/100 mL", 0),
    ("cost", "", 2),
)


_ONLY_WITH_FRUIT = ("juice_percent", "citrus_percent")


def answer_file(path: Path, operation: str | None) -> tuple[int, dict[str, Any]]:
    """The status and body that the service would answer to a request in a file.

    Parameters: path of a JSON file with a request or a worked example; operation, `solve_blend`, `solve_blends`,
    `forecast_blend`, `trade_off` or `plan_stabilising` (told by the request if None).
    Returns: HTTP status and the answer or problem document.
    """
    scope = {"path": str(path.name), "state": {}}
    try:
        body = request_in(json.loads(path.read_text(encoding="utf-8")))
    except FileNotFoundError:
        return 404, problem_document(scope, "not-found", f"There is no file {path.name}.", status=404)
    except (OSError, UnicodeDecodeError, json.JSONDecodeError) as error:
        return 400, problem_document(scope, "json-unreadable", f"The file is not readable JSON: {error}.")
    except RecursionError:
        return 400, problem_document(scope, "nesting-too-deep", "The file is nested too deeply.")
    operation, settings = operation or _operation(body), Settings.from_environment()
    if operation == "solve_blends":
        return _answer_requests(body, settings, str(path.name))
    return answer_body(operation, body, settings, str(path.name))


def picture_file(path: Path, picture: Path, body: dict[str, Any]) -> tuple[int, dict[str, Any]]:
    """Draw the trade-off of a request file.

    Parameters: path of the request; picture, the file to write, whose name ends in .svg or .png; body, its answer.
    Returns: status 200 and the answer, or a problem document.
    """
    scope = {"path": str(picture.name), "state": {}}
    kinds: dict[str, Literal["svg", "png"]] = {".svg": "svg", ".png": "png"}
    if "points" not in body or picture.suffix.lower() not in kinds:
        detail = "Only a trade-off is drawn, into a file whose name ends in .svg or .png."
        return 422, problem_document(scope, "request-has-to-change", detail)
    request = TradeOffRequest.model_validate(request_in(json.loads(path.read_text(encoding="utf-8"))))
    try:
        trade = trade_off(trade_from(request, Settings.from_environment().deadline_s))
        picture.write_bytes(trade_off_picture(trade, kinds[picture.suffix.lower()]))
    except OSError as error:
        return 422, problem_document(
            scope, "request-has-to-change", f"The file could not be written: {error.strerror}."
        )
    except ServiceError as error:
        document = problem_from_error(scope, error)
        return int(document["status"]), document
    return 200, body


def _answer_requests(body: Any, settings: Settings, name: str) -> tuple[int, dict[str, Any]]:
    """Many requests in one file."""
    try:
        answer = answer_batch(BlendBatchRequest.model_validate(body).requests, settings)
    except ValidationError as error:
        document = refusal(error, body, _answer_requests, {"path": name, "state": {}})
        return int(document["status"]), document
    return 200, TypeAdapter(BatchAnswer).dump_python(answer, mode="json")


def _operation(body: Any) -> str:
    """Which question a request asks, by what only it has; a plan may have recipes beside its lots."""
    if not isinstance(body, dict):
        return "solve_blend"
    if not {"volume_at_dosing", "volume_at_packaging"}.isdisjoint(body):
        return "plan_stabilising"
    if not {"x", "y", "points"}.isdisjoint(body):
        return "trade_off"
    if "requests" in body:
        return "solve_blends"
    return "forecast_blend" if "recipes" in body and {"lots", "targets", "match"}.isdisjoint(body) else "solve_blend"


def table(body: dict[str, Any]) -> str:
    """An answer or a problem for people: `stop` cautions above the amounts, the rest below."""
    if "status" in body and "errors" in body:
        return _problem(body)
    if "results" in body:
        return "\n\n".join(
            f"Request {number}\n{table(result['plan'] or result['problem'])}"
            for number, result in enumerate(body["results"], start=1)
        )
    lines = [*_cautions(body, stop=True)]
    if body.get("batch"):
        lines.append(f"Batch: {body['batch']}")
    if body.get("note"):
        lines.append(f"Note: {body['note']}")
    if "outcome" in body:
        lines += _wrapped(f"{body['outcome']}: {body['summary']}")
    if "proof" in body:
        lines.append(f"Proof: {body['proof']['verdict']}, {body['proof']['milliseconds']:.1f} ms")
    lines += [*_drinks(body), "", *_cautions(body, stop=False)]
    if body["assumed"]:
        lines += ["", "Assumed, for want of a reading:"]
        for assumed in body["assumed"]:
            lines += _wrapped(
                f"- {assumed['what']} = {assumed['value']} ({assumed['source']}); measure: {assumed['measure_by']}",
                "  ",
            )
    if body["next_reading"]:
        lines += ["", "Measure next:"]
        for reading in body["next_reading"]:
            expect = "" if reading["expect"] is None else f"; expect {reading['expect']:g} {reading['unit']}"
            lines += _wrapped(f"- {reading['do']} ({reading['instrument']}){expect}", "  ")
    lines += ["", f"Model {body['model_version']}, data {body['data_version']}."]
    return "\n".join(lines)


def _drinks(body: dict[str, Any]) -> list[str]:
    """What is answered: the drink, or each of several, or the points of a trade-off, or doses."""
    if "verdict" in body:
        return doses_and_hurdles(body, _WIDTH)
    if "points" in body:
        return _points(body)
    if "portions" in body:
        lines = [
            line
            for portion in body["portions"]
            for line in ("", f"Portion: {portion['name']}", *_drink(portion, body["units"]))
        ]
        return [*lines, "", "All portions together", *_amounts(body["totals"])]
    if "recipes" not in body:
        lines = _drink(body, body["units"])
        for other in body["compared"]:
            lines += ["", f"This plan minus “{other['recipe']}”", *_differences(other["differences"])]
        return [*lines, *(_wrapped(body["compared"][0]["steps_are"]) if body["compared"] else [])]
    lines = []
    for recipe in body["recipes"]:
        scaled = "" if recipe["scaled_by"] == 1.0 else f", all amounts × {recipe['scaled_by']:g}"
        lines += ["", f"Recipe: {recipe['name']}{scaled}", *_drink(recipe, body["units"])]
        if recipe["against_readings"]:
            lines += ["", *_readings(recipe["against_readings"])]
        if recipe["differences"]:
            first = body["recipes"][0]["name"]
            lines += ["", f"This recipe minus “{first}”", *_differences(recipe["differences"])]
    return [*lines, *(_wrapped(body["steps_are"]) if len(body["recipes"]) > 1 else [])]


def _drink(drink: dict[str, Any], units: str) -> list[str]:
    lines = ["", *_amounts(drink["amounts"]), "", *_predicted(drink["predicted"], units)]
    return [*lines, "", *_targets(drink["targets"])] if drink.get("targets") else lines


def _differences(differences: list[dict[str, Any]]) -> list[str]:
    """Only what differs; steps are those of the senses."""
    rows: list[tuple[str, ...]] = [("Property", "difference", "", "steps", "told apart by instruments")]
    for found in differences:
        if found["difference"]:
            steps = "" if found["steps"] is None else f"{found['steps']:+.2f}"
            told = {True: "yes", False: "no", None: ""}[found["exceeds_instruments"]]
            rows.append((found["property"], f"{found['difference']:+g}", found["unit"], steps, told))
    return _columns(rows, (1, 3)) if len(rows) > 1 else ["(no difference)"]


def _readings(readings: list[dict[str, Any]]) -> list[str]:
    rows: list[tuple[str, ...]] = [("Reading", "predicted", "read", "", "off by", "instrument", "")]
    for found in readings:
        numbers = (f"{found['predicted']:g}", f"{found['measured']:g}")
        apart = "more than it errs" if found["exceeds_instruments"] else "within its error"
        error = f"± {found['instrument_error']:g}"
        rows.append((found["property"], *numbers, found["unit"], f"{found['difference']:+g}", error, apart))
    return _columns(rows, (1, 2, 4, 5))


def _points(body: dict[str, Any]) -> list[str]:
    """One line for each point of a trade-off, its amounts in grams."""
    if not body["points"]:
        return []
    names = [amount["name"] for amount in body["points"][0]["amounts"]]
    rows: list[tuple[str, ...]] = [("", body["x"]["property"], body["y"]["property"], *names, "")]
    for number, point in enumerate(body["points"], start=1):
        masses = [f"{amount['mass_g']:.0f}" for amount in point["amounts"]]
        rows.append((str(number), f"{point['x']:g}", f"{point['y']:g}", *masses, " ".join(point["marks"])))
    lines = ["", f"Least to most {body['x']['property']}, grams of each part", *_columns(rows, range(len(rows[0]) - 1))]
    for told in sorted((*body["ends"], *body["breakpoints"]), key=lambda told: told["x"]):
        lines += _wrapped(f"- at {told['x']:g}: {told['text']}", "  ")
    return lines


def _problem(body: dict[str, Any]) -> str:
    told = [error["detail"] for error in body["errors"]]
    lines = _wrapped(f"{body['title']}." if body["detail"] in told or told else f"{body['title']}: {body['detail']}")
    for error in body["errors"]:
        lines += _wrapped(f"- at {error['pointer'] or 'the whole'}: {error['detail']}", "  ")
    return "\n".join(lines)


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, _WIDTH, subsequent_indent=indent)


def _columns(rows: list[tuple[str, ...]], right: Iterable[int] = ()) -> list[str]:
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    right = set(right)
    return [
        "  ".join(
            c.rjust(w) if k in right else c.ljust(w) for k, (c, w) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def _amounts(amounts: list[dict[str, Any]]) -> list[str]:
    if not amounts:
        return ["(no amounts)"]
    priced = any(amount["cost"] for amount in amounts)
    rows: list[tuple[str, ...]] = [("Pour or weigh", "amount", "mass, g", "% of volume", *(["cost"] if priced else []))]
    for amount in amounts:
        share = amount["share_of_volume_percent"]
        rows.append(
            (
                amount["name"],
                amount["amount_text"],
                f"{amount['mass_g']:.1f}",
                "" if share is None else f"{share:.2f}",
                *(["" if amount["cost"] is None else f"{amount['cost']:.2f}"] if priced else []),
            )
        )
    return _columns(rows, (2, 3, 4))


def _predicted(predicted: dict[str, Any], units: str) -> list[str]:
    rows: list[tuple[str, ...]] = [("Expect", "", "")]
    for name, unit, decimals in _SHOWN:
        prediction = predicted[name]
        if prediction is None or (name in _ONLY_WITH_FRUIT and not prediction["value"]):
            continue
        if "low" in prediction:
            interval = f"{prediction['low']:.{decimals}f} to {prediction['high']:.{decimals}f}"
            unit = f"{unit} ({interval})".strip()
        rows.append((name, f"{prediction['value']:.{decimals}f}", unit))
        if name == "volume" and units == "us":
            rows.append(("", f"{prediction['us_gallons']:.2f}", "US gal"))
    return _columns(rows, (1,))


def _targets(targets: list[dict[str, Any]]) -> list[str]:
    rows: list[tuple[str, ...]] = [("Target", "asked", "reached", "met")]
    for target in targets:
        unit = "" if target["unit"] in ("", "SG", "pH") else f" {target['unit']}"
        reached = "" if target["reached"] is None else f"{target['reached']:g}{unit}"
        met = "yes" if target["met"] else f"off by {target['miss']:g}"
        rows.append((target["property"], target["asked"], reached, met))
    lines = _columns(rows, (2,))
    priced = [target for target in targets if target["marginal"]]
    if priced:
        lines += ["", "What a small change costs:"]
        for target in priced:
            lines += _wrapped(f"- {target['property']} {target['marginal']}", "  ")
    return lines


def _cautions(body: dict[str, Any], *, stop: bool) -> list[str]:
    lines = []
    for caution in body["cautions"]:
        about = f"{caution['about']}: " if caution["about"] else ""
        if (caution["level"] == "stop") is stop:
            lines += _wrapped(f"{caution['level'].upper()}: {about}{caution['text']}", "  ")
    return lines
