"""The OpenAPI document, the offline page, the operations endpoints, and the settings."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from openapi_spec_validator import validate
from pydantic import BaseModel
from starlette.requests import Request

from service.api import (
    requests_drink,
    requests_fining,
    requests_losses,
    requests_must,
    requests_packaging,
    requests_readings,
)
from service.api.app import create_app, settings_of
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


def test_every_field_of_the_requests_about_a_drink_is_described() -> None:
    schemas = real.app().get("/v1/openapi.json").json()["components"]["schemas"]
    assert [name for name in schemas if "__" in name or "." in name] == []
    own = [
        model
        for module in (
            requests_drink,
            requests_fining,
            requests_losses,
            requests_must,
            requests_packaging,
            requests_readings,
        )
        for model in vars(module).values()
        if isinstance(model, type) and model.__module__ == module.__name__
    ]
    assert {"BottlesWantedIn", "ContainerIn", "DrinkIn", "JarTestIn", "ReadingsRequest"} <= {m.__name__ for m in own}
    silent = [
        (model.__name__, name)
        for model in own
        for name in model.__annotations__
        if model.__name__ in schemas  # else its fields are those of the requests that take it over
        and not schemas[model.__name__]["properties"][_sent_as(model, name)].get("description")
    ]
    assert silent == []
    fields = [*requests_drink.OfADrink.__annotations__]
    assert [f for f in fields if "description" not in schemas["FiningPlanRequest"]["properties"][f]] == []


def _sent_as(model: type, name: str) -> str:
    assert issubclass(model, BaseModel)
    return model.model_fields[name].alias or name
