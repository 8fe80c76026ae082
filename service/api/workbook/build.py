"""Puts the workbook together, the same bytes for the same address and units."""

from __future__ import annotations

import io
import re
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Final
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from service.api.workbook.asked import System, Units
from service.api.workbook.batches import draw_batches
from service.api.workbook.blend import blend_blocks
from service.api.workbook.blocks import draw_questions
from service.api.workbook.formulas import BASE
from service.api.workbook.must import must_blocks
from service.api.workbook.packaging import packaging_blocks
from service.api.workbook.paper import INGREDIENTS_RANGE, add_styles
from service.api.workbook.record import draw_record
from service.api.workbook.stabilising import stabilising_blocks
from service.api.workbook.start import BASE_CELL, SERVER, SERVER_CELL, draw_start
from service.api.workbook.tables import draw_ingredients, draw_notes
from service.errors import MissingExtraError

if TYPE_CHECKING:
    from openpyxl import Workbook

__all__ = ["workbook_bytes"]

_KEPT: Final = 8
_NEVER: Final = (1980, 1, 1, 0, 0, 0)
"""The earliest time that a ZIP archive can tell (PKWARE APPNOTE, section 4.4.6)."""
_DAY: Final = datetime(2026, 1, 1)
_CHANGED: Final = re.compile(rb"(<dcterms:modified[^>]*>)[^<]*(</dcterms:modified>)")


@lru_cache(maxsize=_KEPT)
def workbook_bytes(server: str, system: System) -> bytes:
    """The workbook as an Office Open XML file (ISO/IEC 29500).

    Parameters: server, the address of this service, without a slash at its end; system, `metric` or `us`, the units
        that its inputs start with.
    Returns: the file; equal bytes for equal parameters with one release of openpyxl.
    Raises: MissingExtraError where openpyxl is not installed.
    """
    try:
        from openpyxl import Workbook
    except ImportError as missing:
        raise MissingExtraError("The workbook", "workbook") from missing
    book = Workbook()
    _fill(book, server, Units(system))
    written = io.BytesIO()
    book.save(written)
    return _without_time(written.getvalue())


def _fill(book: Workbook, server: str, units: Units) -> None:
    from openpyxl.workbook.defined_name import DefinedName

    add_styles(book)
    start = book.worksheets[0]
    start.title = "Start"
    draw_start(start, units, server)
    lot = draw_questions(book.create_sheet("Blend"), "Sweetening and blending", blend_blocks(units), units)
    draw_questions(book.create_sheet("Must"), "Must, strength and readings", must_blocks(units), units)
    draw_questions(book.create_sheet("Stabilising"), "Sulfite and sorbate", stabilising_blocks(units), units)
    draw_questions(book.create_sheet("Packaging"), "Containers, pressure, heat, label", packaging_blocks(units), units)
    draw_batches(book.create_sheet("Test batches"), units, lot)
    draw_record(book.create_sheet("Batch record"), units)
    ids = draw_ingredients(book.create_sheet("Ingredients"), units)
    draw_notes(book.create_sheet("Notes"), units)

    def absolute(cell: str) -> str:
        return f"Start!${cell[0]}${cell[1:]}"

    for name, where in ((SERVER, absolute(SERVER_CELL)), (BASE, absolute(BASE_CELL)), (INGREDIENTS_RANGE, ids)):
        book.defined_names[name] = DefinedName(name, attr_text=where)
    book.calculation.fullCalcOnLoad = True
    book.properties.title = "Sweetening and blending workbook"
    book.properties.creator = "Back-sweetening and blending solver"
    book.properties.created = _DAY


def _without_time(content: bytes) -> bytes:
    """The archive without the time of its writing."""
    written = io.BytesIO()
    with ZipFile(io.BytesIO(content)) as before, ZipFile(written, "w", ZIP_DEFLATED) as after:
        for name in before.namelist():
            part = before.read(name)
            if name == "docProps/core.xml":
                part = _CHANGED.sub(rb"\g<1>" + f"{_DAY.isoformat()}Z".encode() + rb"\g<2>", part)
            entry = ZipInfo(name, _NEVER)
            entry.compress_type = ZIP_DEFLATED
            after.writestr(entry, part)
    return written.getvalue()
