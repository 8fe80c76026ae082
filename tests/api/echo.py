"""A tiny application to test the plumbing with: a body that comes back, a query that comes back, and failures."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import AfterValidator, Field
from pydantic_core import PydanticCustomError
from starlette.exceptions import HTTPException
from starlette.testclient import TestClient

from service.api.app import create_app
from service.api.numbers import (
    FiniteNumber,
    QueryInteger,
    QueryModel,
    QueryNumber,
    RequestModel,
    ShortText,
    WholeNumber,
)
from service.api.problems import with_status
from service.api.routing import get_and_head
from service.api.settings import Settings
from service.errors import (
    InconsistentError,
    NotBuiltYetError,
    OutOfRangeError,
    ServiceError,
    SolverError,
    UnknownIngredientError,
)
from service.quantities import Kind, Quantity, parse_quantity


class Range(RequestModel):
    min: FiniteNumber | None = None
    max: FiniteNumber | None = None


def _volume(text: str) -> Quantity:
    try:
        return parse_quantity(text, {Kind.VOLUME}, liquid=True)
    except ServiceError as error:
        raise PydanticCustomError("refused", "{detail}", {"detail": error.detail}) from error


class Lot(RequestModel):
    name: ShortText
    gravity: FiniteNumber | Range = 1.0
    volume: Annotated[str, AfterValidator(_volume)] | None = None


class EchoRequest(RequestModel):
    batch: ShortText | None = None
    lots: list[Lot] = Field(default_factory=list)
    packs: WholeNumber = 0
    anything: Any = None


class EchoQuery(QueryModel):
    gravity: QueryNumber = 1.0
    steps: QueryInteger = 1
    note: ShortText = ""


class Echoed(RequestModel):
    batch: str | None
    gravities: list[float]


ERRORS: dict[str, ServiceError] = {
    "range": OutOfRangeError("Too warm.", "/lots/0/temperature"),
    "readings": InconsistentError("They contradict."),
    "later": NotBuiltYetError("Not yet."),
    "unknown": UnknownIngredientError("No honney; did you mean honey?", "/additions/0/ingredient"),
    "path": with_status(UnknownIngredientError("No honney.", "/id"), 404),
    "solver": SolverError("secret inner state"),
    "plain": ServiceError("Plain \ud800."),
}

router = APIRouter(prefix="/v1")


@router.post("/echoes")
async def echo_body(request: EchoRequest) -> Echoed:
    gravities = [lot.gravity for lot in request.lots if isinstance(lot.gravity, float)]
    return Echoed(batch=request.batch, gravities=gravities)


@get_and_head(router, "/echo")
async def echo_query(query: Annotated[EchoQuery, Query()]) -> Echoed:
    return Echoed(batch=query.note, gravities=[query.gravity] * query.steps)


@router.post("/empty")
async def take_nothing() -> Echoed:
    return Echoed(batch=None, gravities=[])


@get_and_head(router, "/failures/{name}", include_in_schema=False)
async def fail(name: str) -> Echoed:
    if name in ERRORS:
        raise ERRORS[name]
    if name.isdigit():
        raise HTTPException(int(name), headers={"Retry-After": "1"})
    raise ZeroDivisionError("secret inner state")


def client(settings: Settings | None = None, **options: Any) -> TestClient:
    return TestClient(create_app(settings or Settings(), [router], **options))
