"""`GET /v1/workbook.xlsx`: a spreadsheet whose formulas ask this very server."""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import APIRouter, Query, Request
from pydantic import Field
from starlette.responses import Response

from service.api.addresses import address_of
from service.api.cached import cached
from service.api.documents import problem_reference
from service.api.numbers import QueryModel
from service.api.routing import get_and_head
from service.api.workbook.asked import System
from service.api.workbook.build import workbook_bytes

__all__ = ["MEDIA_TYPE", "workbook_router"]

MEDIA_TYPE: Final = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_FILE_NAME: Final = "sweetening-workbook.xlsx"
_RESPONSES: Final[dict[int | str, dict[str, Any]]] = {
    200: {
        "description": "The workbook, Office Open XML.",
        "content": {MEDIA_TYPE: {"schema": {"type": "string", "format": "binary"}}},
    },
    501: problem_reference(501),
}


class WorkbookQuery(QueryModel):
    """Which workbook."""

    units: System = Field("metric", description="The units that inputs start with; each can be changed in its cell.")


def workbook_router() -> APIRouter:
    """The workbook; it changes with the address of the service, the units and the data only, so it carries an ETag."""
    router = APIRouter(prefix="/v1", tags=["cells"])

    @get_and_head(
        router,
        "/workbook.xlsx",
        summary="A ready spreadsheet whose formulas ask this server",
        response_class=Response,
        responses=_RESPONSES,
    )
    def get_workbook(request: Request, query: Annotated[WorkbookQuery, Query()]) -> Response:
        """Sheets for a blend, a must, stabilising, packaging, trial batches and a record, to fill in and print.

        The server's address stands in one cell; the formulas are for LibreOffice and for Excel on Windows.
        """
        content = workbook_bytes(address_of(request), query.units)
        headers = {"Content-Disposition": f'attachment; filename="{_FILE_NAME}"', "Vary": "Host"}
        return cached(request, content, MEDIA_TYPE, headers=headers)

    return router
