"""The picture of a trade-off: the curve, what is poured along it, and in words what is needed to choose a point.

Drawn with matplotlib (the extra `plots`), which is imported only when a picture is asked for. Both formats hold the
same page. Shapes, dashes, numbers and words carry the meaning; colour only helps, so that a print in grey says the
same.
"""

from __future__ import annotations

import io
import re
import threading
from html import escape
from typing import Any, Final, Literal

from service.api.pictures.page import (
    INSIDE,
    SMALL,
    Block,
    Lettering,
    Page,
    gap_block,
    readable,
    text_block,
)
from service.api.pictures.panels import CurvePanel, pour_panel, third_panel, x_label
from service.api.pictures.told import above_curve, below_table, table_blocks, why_no_curve
from service.api.pictures.words import between_points, cautions_of, poured_along, question_of, span, split_by_size
from service.errors import MissingExtraError
from service.planner.trade_off.answers import TradeOff

_PNG_DPI: Final = 200
_SETTINGS: Final[dict[str, Any]] = {
    "svg.fonttype": "none",  # words stay words
    "svg.hashsalt": "trade-off",  # the same picture, the same bytes
    "text.parse_math": False,  # a dollar sign in a name is a dollar sign
    "font.family": ["DejaVu Sans"],
}
_DRAWING: Final = threading.Lock()
"""matplotlib's settings are one for the whole process: they are ours while a picture is drawn, and put back."""


def _blocks(trade: TradeOff, lettering: Lettering) -> list[Block]:
    if not trade.points:
        return [*above_curve(trade, lettering), *why_no_curve(trade, lettering), *below_table(trade, lettering)]
    xs = span([*(p.x for p in trade.points), *(c.x for c in trade.breakpoints)], 0.05)
    changing, same = poured_along(trade)
    blocks = [*above_curve(trade, lettering), CurvePanel(trade, lettering, xs).block()]
    panels = split_by_size([one for one in changing if one.style is not None])
    third = trade.also is not None and any(point.also is not None for point in trade.points)
    for k, lines in enumerate(panels):
        lowest = not third and k == len(panels) - 1
        blocks.append(pour_panel(trade, lettering, xs, lines, k > 0, lowest))
    if trade.also is not None and third:
        blocks.append(third_panel(trade, trade.also, lettering, xs))
    blocks.append(x_label(trade, lettering))
    if panels and (told := between_points(trade)):
        blocks.append(text_block(lettering.wrap(told, INSIDE, SMALL), SMALL))
    one_point = len(trade.points) == 1
    blocks += table_blocks(trade, lettering, [*changing, *same] if one_point else changing)
    if same and not one_point:
        words = "; ".join(f"{one.name} {one.texts[0]}" for one in same)
        blocks += [gap_block(3.0), text_block(lettering.wrap(f"The same at every point: {words}.", INSIDE, most=4))]
    return [*blocks, *below_table(trade, lettering)]


def trade_off_picture(trade: TradeOff, kind: Literal["svg", "png"]) -> bytes:
    """Draw a trade-off so that a point can be chosen from the picture alone.

    Parameters: trade, the answer to `trade_off`; kind, `svg` (words stay words, with a title and a description for
        readers of the screen) or `png` (1800 pixels wide).
    Returns: the file; equal answers give equal bytes with one release of matplotlib.
    Raises: MissingExtraError where matplotlib is not installed.
    Validity: amounts that do not change along the curve are told in words; at most seven lines are drawn, those that
        change most. Masses, since every amount has one.
    Source: colours, M. Okabe and K. Ito (2008), "Color Universal Design" (from memory).
    """
    try:
        import matplotlib
    except ImportError as missing:
        raise MissingExtraError("Pictures", "plots") from missing
    with _DRAWING, matplotlib.rc_context():
        matplotlib.rcdefaults()
        settings: dict[Any, Any] = matplotlib.rcParams
        settings.update(_SETTINGS)
        lettering = Lettering()
        blocks = _blocks(trade, lettering)
        page = Page(sum(block.height for block in blocks), lettering)
        top = 0.0
        for block in blocks:
            block.draw(page, top)
            top += block.height
        return _svg(page, trade) if kind == "svg" else _png(page)


def _png(page: Page) -> bytes:
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    out = io.BytesIO()
    page.figure.set_dpi(_PNG_DPI)
    canvas: Any = FigureCanvasAgg(page.figure)
    canvas.print_png(out, metadata={"Software": None})
    return out.getvalue()


def _svg(page: Page, trade: TradeOff) -> bytes:
    """The page as SVG 1.1 without an outside document type and without style sheets, which a strict content policy
    would drop; `title` and `desc` say in words what is seen."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    out = io.StringIO()
    canvas: Any = FigureCanvasSVG(page.figure)
    canvas.print_svg(out, metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    drawn = re.sub(r"<!DOCTYPE[^>]*>\s*", "", out.getvalue(), count=1)
    drawn = re.sub(r"<style.*?</style>", "", drawn, count=1, flags=re.DOTALL)
    drawn = re.sub(r"<[a-z][^>]*>", lambda tag: re.sub(r' style="([^"]*)"', _as_attributes, tag[0]), drawn)
    drawn = drawn.replace("'DejaVu Sans'", "'DejaVu Sans', Verdana, sans-serif")
    told = " ".join(readable(text) for text in (*cautions_of(trade, "stop"), trade.summary, *trade.notes[:1]))
    words = (
        f'<title id="picture-title">{escape(readable(question_of(trade)))}</title>'
        f'<desc id="picture-description">{escape(told)}</desc>'
    )
    root = ' role="img" aria-labelledby="picture-title picture-description" stroke-linejoin="round"'
    return re.sub(r"<svg ([^>]*)>", lambda tag: f"<svg {tag[1]}{root}>{words}", drawn, count=1).encode("utf-8")


def _as_attributes(style: re.Match[str]) -> str:
    """Turn a style into presentation attributes, which mean the same (SVG 1.1, section 6.4)."""
    pairs = [declaration.split(":", 1) for declaration in style[1].split(";") if ":" in declaration]
    if any(name.strip() == "font" for name, _ in pairs):
        return style[0]
    return "".join(f' {name.strip()}="{value.strip()}"' for name, value in pairs)
