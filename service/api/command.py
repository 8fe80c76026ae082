"""`python -m service ask`: one request file, answered by the same code as over HTTP, shown as a table."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Literal

from pydantic import TypeAdapter, ValidationError

from service.api.answering import answer_body, refusal
from service.api.batch import BatchAnswer, answer_batch
from service.api.bench_table import glass_and_batch
from service.api.blend_table import WIDTH, amounts, columns, differences, drink, points, readings, wrapped
from service.api.corrections_table import readings_and_beliefs
from service.api.examples import request_in
from service.api.fining_table import agents_and_haze
from service.api.must_table import must_lines
from service.api.packaging_table import containers_and_label
from service.api.pictures import trade_off_picture
from service.api.problems import problem_document, problem_from_error
from service.api.readings_table import what_they_mean
from service.api.requests_blend import BlendBatchRequest
from service.api.settings import Settings
from service.api.stabilising_table import doses_and_hurdles
from service.api.steps_table import following, work_in_order
from service.api.tastings_table import doses_and_tests
from service.api.undo_table import ways_out
from service.errors import ServiceError
from service.planner.progress import Progress
from service.planner.trade_off.answers import TradeOff

PACKAGING_FIELDS = {
    "containers",
    "gas",
    "heat",
    "refermentation",
    "reserve",
    "serving",
    "colours",
    "fining_agents",
    "only",
    "storage_temperature",
}
"""What only a request about packaging has."""

MUST_FIELDS = {"potential_abv_percent", "finished", "volume_is", "nitrogen", "yeast", "sources"}
"""What only a request about a must has."""

PICTURES: dict[str, Literal["svg", "png"]] = {".svg": "svg", ".png": "png"}
"""What a picture can be, by the end of its file's name."""

READINGS_FIELDS = {"hydrometer", "refractometer", "titration", "series", "steady_days", "expected", "sweetened"}
"""What only a request about readings has."""


def answer_file(path: Path, operation: str | None, progress: Progress | None = None) -> tuple[int, dict[str, Any]]:
    """The status and body that the service would answer to a request in a file.

    Parameters: path of a JSON file with a request or a worked example; operation, `solve_blend`, `solve_blends`,
    `forecast_blend`, `trade_off`, `plan_must`, `interpret_readings`, `plan_stabilising`, `plan_fining`,
    `plan_packaging`, `judge_tasting`, `scale_bench_trial` or `correct_blend` (told by the request if None);
    progress, told how far a trade-off or many requests are.
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
        return _answer_requests(body, settings, str(path.name), progress)
    return answer_body(operation, body, settings, str(path.name), progress)


def picture_file(picture: Path, body: dict[str, Any]) -> tuple[int, dict[str, Any]]:
    """Draw an answered trade-off.

    Parameters: picture, the file to write, whose name ends in one of PICTURES; body, the answer to draw.
    Returns: status 200 and the answer, or a problem document.
    """
    scope = {"path": str(picture.name), "state": {}}
    if "points" not in body:
        detail = "Only a trade-off is drawn."
        return 422, problem_document(scope, "request-has-to-change", detail)
    try:
        trade = TypeAdapter(TradeOff).validate_python(body)
        picture.write_bytes(trade_off_picture(trade, PICTURES[picture.suffix.lower()]))
    except OSError as error:
        return 422, problem_document(
            scope, "request-has-to-change", f"The file could not be written: {error.strerror}."
        )
    except ServiceError as error:
        document = problem_from_error(scope, error)
        return int(document["status"]), document
    return 200, body


def _answer_requests(body: Any, settings: Settings, name: str, progress: Progress | None) -> tuple[int, dict[str, Any]]:
    """Many requests in one file."""
    try:
        answer = answer_batch(BlendBatchRequest.model_validate(body).requests, settings, progress=progress)
    except ValidationError as error:
        document = refusal(error, body, _answer_requests, {"path": name, "state": {}})
        return int(document["status"]), document
    return 200, TypeAdapter(BatchAnswer).dump_python(answer, mode="json")


def _operation(body: Any) -> str:
    """Which question a request asks, by what only it has; a plan may have recipes beside its lots."""
    if not isinstance(body, dict):
        return "solve_blend"
    if not MUST_FIELDS.isdisjoint(body):
        return "plan_must"
    if not PACKAGING_FIELDS.isdisjoint(body):
        return "plan_packaging"
    if not {"volume_at_dosing", "volume_at_packaging"}.isdisjoint(body):
        return "plan_stabilising"
    if "haze" in body:
        return "plan_fining"
    if not READINGS_FIELDS.isdisjoint(body):
        return "interpret_readings"
    if not {"doses", "difference_test"}.isdisjoint(body):
        return "judge_tasting"
    if "glass" in body:
        return "scale_bench_trial"
    if not {"measured", "added", "fault"}.isdisjoint(body):
        return "correct_blend"
    if not {"x", "y", "points"}.isdisjoint(body):
        return "trade_off"
    if "requests" in body:
        return "solve_blends"
    if "drink" in body:
        return "plan_packaging"
    if "original_gravity" in body and "lots" not in body:
        return "plan_must" if "volume" in body else "interpret_readings"
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
        sealing = f", {body['sealing'].replace('_', ' ')}" if "sealing" in body else ""
        lines += wrapped(f"{body['outcome']}{sealing}: {body['summary']}")
    if "proof" in body:
        lines.append(f"Proof: {body['proof']['verdict']}, {body['proof']['milliseconds']:.1f} ms")
    lines += _drinks(body)
    lines += [] if "Steps:" in lines else work_in_order(body)
    lines += [*following(body), "", *_cautions(body, stop=False)]
    if body["assumed"]:
        lines += ["", "Assumed, for want of a reading:"]
        for assumed in body["assumed"]:
            lines += wrapped(
                f"- {assumed['what']} = {assumed['value']} ({assumed['source']}); measure: {assumed['measure_by']}",
                "  ",
            )
    if body["next_reading"]:
        lines += ["", "Measure next:"]
        for reading in body["next_reading"]:
            lines += wrapped(f"- {reading['do']} ({reading['instrument']}){_expect(reading)}", "  ")
    lines += ["", f"Model {body['model_version']}, data {body['data_version']}."]
    return "\n".join(lines)


def _expect(reading: dict[str, Any]) -> str:
    if reading["expect"] is None:
        return ""
    ends = "" if reading["low"] is None else f" ({reading['low']:g} to {reading['high']:g})"
    return f"; expect {reading['expect']:g} {reading['unit']}{ends}"


def _drinks(body: dict[str, Any]) -> list[str]:
    """What is answered: the drink, or each of several, or the points of a trade-off, or doses."""
    if "ferment" in body and "feeds" in body:
        return must_lines(body, WIDTH)
    if "fermentation" in body and "alcohol" in body:
        return what_they_mean(body, WIDTH)
    if "label_text" in body:
        return containers_and_label(body, WIDTH)
    if "haze_sources" in body:
        return agents_and_haze(body, WIDTH)
    if "verdict" in body:
        return doses_and_hurdles(body, WIDTH)
    if "try_next" in body:
        return doses_and_tests(body, WIDTH)
    if "plain_scaling" in body:
        return glass_and_batch(body, WIDTH, amounts, columns)
    if "cannot_be_undone" in body and "fault" in body:
        return ways_out(body, WIDTH, amounts)
    if "consistency" in body:
        return [*readings_and_beliefs(body, WIDTH), *drink(body["plan"], body["units"])]
    if "points" in body:
        return points(body)
    if "portions" in body:
        lines = [
            line
            for portion in body["portions"]
            for line in ("", f"Portion: {portion['name']}", *drink(portion, body["units"]))
        ]
        return [*lines, "", "All portions together", *amounts(body["totals"])]
    if "recipes" not in body:
        lines = drink(body, body["units"])
        for other in body["compared"]:
            lines += ["", f"This plan minus “{other['recipe']}”", *differences(other["differences"])]
        return [*lines, *(wrapped(body["compared"][0]["steps_are"]) if body["compared"] else [])]
    lines = []
    for recipe in body["recipes"]:
        scaled = "" if recipe["scaled_by"] == 1.0 else f", all amounts × {recipe['scaled_by']:g}"
        lines += ["", f"Recipe: {recipe['name']}{scaled}", *drink(recipe, body["units"])]
        if recipe["against_readings"]:
            lines += ["", *readings(recipe["against_readings"])]
        if recipe["differences"]:
            first = body["recipes"][0]["name"]
            lines += ["", f"This recipe minus “{first}”", *differences(recipe["differences"])]
    return [*lines, *(wrapped(body["steps_are"]) if len(body["recipes"]) > 1 else [])]


def _problem(body: dict[str, Any]) -> str:
    told = [error["detail"] for error in body["errors"]]
    lines = wrapped(f"{body['title']}." if body["detail"] in told or told else f"{body['title']}: {body['detail']}")
    for error in body["errors"]:
        lines += wrapped(f"- at {error['pointer'] or 'the whole'}: {error['detail']}", "  ")
    return "\n".join(lines)


def _cautions(body: dict[str, Any], *, stop: bool) -> list[str]:
    lines = []
    for caution in body["cautions"]:
        about = f"{caution['about']}: " if caution["about"] else ""
        if (caution["level"] == "stop") is stop:
            lines += wrapped(f"{caution['level'].upper()}: {about}{caution['text']}", "  ")
    return lines
