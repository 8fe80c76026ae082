"""The OpenAPI document, the offline page, the operations endpoints, and the settings."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from openapi_spec_validator import validate
from starlette.requests import Request

from service.api.app import create_app, settings_of
from service.api.cell_questions import QUESTIONS
from service.api.named_values import NAMED_VALUES
from service.api.settings import Settings
from service.errors import InputError
from tests.api import real
from tests.api.echo import client, router

app = client(data_version="2024-01")


def document() -> dict[str, Any]:
    found: dict[str, Any] = app.get("/v1/openapi.json").json()
    return found


def test_the_document_is_valid_openapi() -> None:
    validate(document())


def test_the_document_shows_the_refusals_that_are_answered() -> None:
    text = json.dumps(document())
    assert "HTTPValidationError" not in text
    assert "#/components/schemas/ValidationError" not in text
    operations = [operation for path in document()["paths"].values() for operation in path.values()]
    for operation in operations:
        expected = {"413", "414", "422", "500"} | ({"400", "415"} if "requestBody" in operation else set())
        assert expected <= set(operation["responses"])
    refusal = document()["components"]["responses"]["Problem422"]["content"]
    assert refusal == {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}
    problem = app.get("/v1/echo?x=1").json()
    assert set(document()["components"]["schemas"]["Problem"]["required"]) == set(problem)


def test_operation_ids_are_function_names_and_head_stays_out() -> None:
    paths = document()["paths"]
    assert paths["/v1/echoes"]["post"]["operationId"] == "echo_body"
    assert set(paths["/v1/echo"]) == {"get"}
    assert set(paths) == {"/v1/echoes", "/v1/echo", "/v1/empty", "/version", "/v1/limits"}


def test_the_document_is_cached_by_its_tag() -> None:
    first = app.get("/v1/openapi.json")
    again = app.get("/v1/openapi.json", headers={"If-None-Match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert first.json()["info"]["title"] == "Back-sweetening and blending solver"


def test_the_page_needs_no_other_host_and_no_inline_script() -> None:
    response = app.get("/docs")
    page = response.text
    assert response.headers["content-type"].startswith("text/html")
    assert "//" not in page
    assert re.findall(r"<script(?! src=)", page) == []
    assert re.findall(r"\son\w+=", page) == []
    policy = response.headers["content-security-policy"]
    assert "script-src 'self';" in policy
    assert "unsafe" not in policy
    assert "connect-src 'self';" in policy
    linked = re.findall(r'(?:src|href)="([^"]+)"', page)
    assert linked == [
        "data:,",
        "docs/swagger-ui.css",
        "v1/openapi.json",
        "docs/swagger-ui-bundle.js",
        "docs/docs-init.js",
    ]
    for path in linked[1:]:
        answer = app.get(f"/{path}")
        assert answer.status_code == 200
        assert answer.headers["x-content-type-options"] == "nosniff"
    start = app.get("/docs/docs-init.js").text
    assert "validatorUrl: null" in start
    assert "http" not in start
    assert not re.search(r"url\((?!['\"]?data:)", app.get("/docs/swagger-ui.css").text)


def test_the_default_documents_are_off() -> None:
    for path in ("/openapi.json", "/redoc", "/docs/oauth2-redirect"):
        assert app.get(path).status_code == 404


def test_health_version_and_limits() -> None:
    assert app.get("/healthz").json() == {"status": "alive"}
    assert app.get("/readyz").json() == {"status": "ready"}
    version = app.get("/version").json()
    assert version == {"api_version": "v1", "model_version": document()["info"]["version"], "data_version": "2024-01"}
    assert app.get("/v1/limits").json() == Settings().limits()
    assert app.get("/v1/limits?x=1").status_code == 422


def test_not_ready() -> None:
    def tables() -> str | None:
        return "The tables are not loaded."

    def broken() -> str | None:
        raise ZeroDivisionError("secret")

    response = client(readiness=[tables, broken, lambda: None]).get("/readyz")
    assert response.status_code == 503
    assert response.headers["retry-after"] == "5"
    details = [error["detail"] for error in response.json()["errors"]]
    assert details == ["The tables are not loaded.", "The check broken failed; the reason is logged."]
    assert client(readiness=[lambda: None]).get("/readyz").status_code == 200


def test_telemetry_is_off(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FASTAPI_OTEL_AUTO_CONFIGURE", "true")
    telemetry = vars(create_app(Settings()))["_telemetry"]
    for what in ("auto_configure", "tracing", "metrics", "logs", "operation_spans"):
        assert telemetry[what] is False


def test_settings_come_from_the_environment_when_the_application_is_created(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SERVICE_MAX_LIST_ITEMS", "7")
    monkeypatch.setenv("SERVICE_MAX_URL_CHARACTERS", "300")
    monkeypatch.setenv("SERVICE_DEADLINE_S", "")
    created = create_app(routers=[router])
    assert created.state.settings == Settings(max_list_items=7, max_url_characters=300)
    assert settings_of(Request({"type": "http", "app": created})) is created.state.settings


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("SERVICE_MAX_BODY_BYTES", "many", "whole number"),
        ("SERVICE_MAX_BODY_BYTES", "1.5", "whole number"),
        ("SERVICE_MAX_BODY_BYTES", "1", "between 1024 and"),
        ("SERVICE_DEADLINE_S", "nan", "has to be a number"),
        ("SERVICE_DEADLINE_S", "11", "between 0.05 and 10"),
    ],
)
def test_a_setting_that_cannot_be_used_is_refused_at_the_start(name: str, text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        Settings.from_environment({name: text})


def whole_document() -> dict[str, Any]:
    found: dict[str, Any] = real.app().get("/v1/openapi.json").json()
    return found


def test_every_operation_parameter_and_field_is_described() -> None:
    whole = whole_document()
    operations = {f"{verb} {path}": o for path, verbs in whole["paths"].items() for verb, o in verbs.items()}
    assert [name for name, operation in operations.items() if not operation.get("description")] == []
    repeated = [name for name, operation in operations.items() if operation["description"] == operation["summary"]]
    assert [name for name in repeated if not name.startswith("get /v1/cell/")] == [], "only a cell is told in one line"
    named = [(name, parameter) for name, o in operations.items() for parameter in o.get("parameters", [])]
    assert [(name, parameter["name"]) for name, parameter in named if not parameter.get("description")] == []
    schemas = whole["components"]["schemas"]
    assert [name for name, schema in schemas.items() if not schema.get("description")] == []
    fields = [(name, field, told) for name, s in schemas.items() for field, told in s.get("properties", {}).items()]
    assert [(name, field) for name, field, told in fields if not _described(told, schemas)] == []
    assert len(fields) > 1000


def _described(field: dict[str, Any], schemas: dict[str, Any]) -> bool:
    """Whether a field says what it is: itself, or by a model of its own."""
    return bool(field.get("description") or _resolved(field, schemas).get("description"))


def _resolved(schema: dict[str, Any], schemas: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = schemas[schema["$ref"].rsplit("/", 1)[1]] if "$ref" in schema else schema
    return found


def test_schemas_have_plain_names_and_lists_of_values_one_each() -> None:
    whole = whole_document()
    schemas = whole["components"]["schemas"]
    assert [name for name in schemas if not re.fullmatch(r"[A-Z][A-Za-z]*", name)] == []
    assert set(schemas) >= set(NAMED_VALUES)
    lists = [tuple(found) for found in _values_in({"paths": whole["paths"], "schemas": schemas})]
    assert [values for values in set(lists) if lists.count(values) > 1] == []


def _values_in(node: Any) -> Iterator[list[str]]:
    if isinstance(node, dict):
        if isinstance(node.get("enum"), list):
            yield node["enum"]
        for key, part in node.items():
            if key not in ("default", "examples"):
                yield from _values_in(part)
    elif isinstance(node, list):
        for part in node:
            yield from _values_in(part)


def test_the_document_names_the_server_that_sends_it() -> None:
    assert [server["url"] for server in whole_document()["servers"]] == ["/"]
    behind = client(settings=Settings(public_url="https://cellar.example.org/blend")).get("/v1/openapi.json").json()
    assert [server["url"] for server in behind["servers"]] == ["/blend"]


def test_pictures_are_octets() -> None:
    paths = whole_document()["paths"]
    for media_type, path in (("image/png", "/v1/trade-offs.png"), ("image/svg+xml", "/v1/trade-offs.svg")):
        content = paths[path]["post"]["responses"]["200"]["content"]
        assert content == {media_type: {"schema": {"type": "string", "format": "binary"}}}


@pytest.mark.parametrize("which", ["01_*.json", pytest.param("*.json", marks=pytest.mark.slow)])
def test_sending_a_default_is_the_same_as_leaving_it_out(which: str) -> None:
    """A generated client spells out what the document names as a default."""
    whole = whole_document()
    asked = 0
    for operation, path in real.PATHS.items():
        body = whole["paths"][path]["post"]["requestBody"]["content"]["application/json"]["schema"]
        for file in sorted((real.EXAMPLES / operation).glob(which)):
            example = json.loads(file.read_text(encoding="utf-8"))
            if example["response"]["status"] == 200:
                sent = _spelt_out(example["request"], body, whole["components"]["schemas"])
                answer = real.post(path, sent, client=real.patient())
                assert answer.get("summary") == example["response"]["body"].get("summary"), file.stem
                asked += 1
    assert asked >= 12


def _spelt_out(given: Any, schema: dict[str, Any], schemas: dict[str, Any]) -> Any:
    """A request with every default of the document written into it."""
    schema = _resolved(schema, schemas)
    forms = [_resolved(form, schemas) for form in (*schema.get("anyOf", ()), *schema.get("oneOf", ()))]
    if forms:
        form = next((form for form in forms if _fits(given, form)), None)
        return given if form is None else _spelt_out(given, form, schemas)
    if isinstance(given, dict) and "properties" in schema:
        return {
            name: _spelt_out(given[name], field, schemas) if name in given else field["default"]
            for name, field in schema["properties"].items()
            if name in given or field.get("default") is not None
        }
    if isinstance(given, dict) and isinstance(schema.get("additionalProperties"), dict):
        return {name: _spelt_out(part, schema["additionalProperties"], schemas) for name, part in given.items()}
    if isinstance(given, list) and "items" in schema:
        return [_spelt_out(part, schema["items"], schemas) for part in given]
    return given


def _fits(given: Any, form: dict[str, Any]) -> bool:
    if isinstance(given, list):
        return form.get("type") == "array"
    known = form.get("properties")
    return (
        isinstance(given, dict)
        and form.get("type") == "object"
        and (known is None or given.keys() <= known.keys())
        and set(form.get("required", ())) <= given.keys()
    )


def test_cells_can_be_tried_out_as_they_stand() -> None:
    paths = whole_document()["paths"]
    for question in QUESTIONS:
        parameters = paths[f"/v1/cell/{question.name}"]["get"]["parameters"]
        shown = {parameter["name"]: parameter["example"] for parameter in parameters if "example" in parameter}
        answered = real.app().get(f"/v1/cell/{question.name}", params=shown)
        assert answered.text == real.app().get(f"/v1/cell/{question.name}?{question.example}").text
        assert ("bound" in {parameter["name"] for parameter in parameters}) is bool(question.interval)
    for path, kind in (("/v1/cell/{question}.csv", "text/csv"), ("/v1/cell/{question}.xml", "application/xml")):
        example = {parameter["name"]: parameter["example"] for parameter in paths[path]["get"]["parameters"]}
        answered = real.app().get(path.format(question=example["question"]), params=example["parameters"])
        assert answered.headers["content-type"].startswith(kind)
    assert "422" not in paths["/v1/cell/caution/{question}"]["get"]["responses"]
