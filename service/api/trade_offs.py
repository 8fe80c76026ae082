"""`POST /v1/trade-offs`, its table and its pictures."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.api.blends import with_examples
from service.api.documents import problem_reference
from service.api.pictures import trade_off_picture
from service.api.reading_blend import trade_from
from service.api.requests_blend import TradeOffRequest
from service.api.settings import Settings
from service.api.streaming import Work, answer_or_stream, stream_documented
from service.api.tables import CsvResponse, trade_off_rows
from service.planner.progress import Progress
from service.planner.trade_off.answers import TradeOff
from service.planner.trade_off.plan import trade_off as trade


class SvgResponse(Response):
    """A picture as `image/svg+xml`."""

    media_type = "image/svg+xml"


class PngResponse(Response):
    """A picture as `image/png`."""

    media_type = "image/png"


def _as_picture() -> dict[str, Any]:
    """What stands in the document about a picture: the examples, and the refusal where nothing can draw."""
    return {**with_examples("trade_off"), "responses": {"501": problem_reference(501)}}


def trade_offs_router(settings: Settings) -> APIRouter:
    """What one property costs in another.

    Parameters: settings, whose deadline bounds a curve.
    Returns: the router.
    """
    router = APIRouter(prefix="/v1", tags=["blends"])

    @router.post(
        "/trade-offs",
        summary="The best of one property for each level of another, every point a plan",
        response_model=TradeOff,
        responses=stream_documented("TradeOff", "points"),
        openapi_extra=with_examples("trade_off"),
    )
    def trade_off(request: TradeOffRequest, sent: Request, response: Response) -> Any:
        """The most or least of one property at levels of another about a noticeable step apart, each with its amounts.

        It is told where the mix changes, where the curve bends most, and what holds it at its ends. How far the work is
        comes before the answer where the Accept header prefers application/x-ndjson or text/event-stream to
        application/json; ending the connection then ends the work.
        """
        asked = trade_from(request, settings.deadline_s)

        def run(progress: Progress | None) -> TradeOff:
            return trade(asked, progress)

        return answer_or_stream(sent, response, Work(run, asked.points, "points", TradeOff))

    @router.post(
        "/trade-offs.csv",
        summary="The same as flat rows: one for each point",
        response_class=CsvResponse,
        openapi_extra=with_examples("trade_off"),
    )
    def trade_off_csv(request: TradeOffRequest) -> CsvResponse:
        """Level, best, amounts and predictions of each point. The request is the same."""
        return CsvResponse(trade_off_rows(trade(trade_from(request, settings.deadline_s))))

    @router.post(
        "/trade-offs.svg",
        summary="The same as a picture that scales",
        response_class=SvgResponse,
        openapi_extra=_as_picture(),
    )
    def trade_off_svg(request: TradeOffRequest) -> SvgResponse:
        """The curve with its marks and its bends, for a page or a print. The request is the same."""
        return SvgResponse(trade_off_picture(trade(trade_from(request, settings.deadline_s)), "svg"))

    @router.post(
        "/trade-offs.png",
        summary="The same as a picture in pixels",
        response_class=PngResponse,
        openapi_extra=_as_picture(),
    )
    def trade_off_png(request: TradeOffRequest) -> PngResponse:
        """The curve with its marks and its bends, for where no SVG is shown. The request is the same."""
        return PngResponse(trade_off_picture(trade(trade_from(request, settings.deadline_s)), "png"))

    return router
