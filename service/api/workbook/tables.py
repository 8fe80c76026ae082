"""The sheets that are only read: the ingredients of the catalogue, and the notes with cautions, limits and sources."""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING, Any, Final

from service import MODEL_VERSION
from service.api.workbook.asked import Units
from service.api.workbook.paper import heading, merged, put, set_page, widths
from service.catalogue.derived import density_g_ml
from service.catalogue.loader import data_version, ingredients, sources
from service.catalogue.records import Ingredient, Spread
from service.planner.answers import ALCOHOL

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

__all__ = ["CAUTIONS", "draw_ingredients", "draw_notes"]

_FIRST: Final = 4
_COLUMNS: Final = (
    "id",
    "Name",
    "Category",
    "Density, g/mL",
    "Brix",
    "Brix, low",
    "Brix, high",
    "Acidity, g/100 g citric",
    "pH",
    "Composition from",
    "How known",
)
CAUTIONS: Final = (
    "Estimates from formulas and tables. Verify by measurement, and judge by the bad end of a range.",
    "Sugar that yeast can use, in a closed container without something that holds the yeast, makes pressure that can "
    "break glass and hurt people. Keep one plastic bottle of each batch to squeeze (common practice).",
    "Sulfite harms some people, asthmatics most. Weigh sulfite and sorbate on a scale fine enough, and tell on the "
    "label what is in it where the law asks for that.",
    "Raw juice brings spoilage, and may bring germs that matter to pregnant, old, young and ill people; a few percent "
    "of alcohol do not disinfect. Grapefruit, pomelo and Seville orange change the effect of many medicines.",
    "Concentrated acids and hot or pressurised containers hurt: wear glasses and gloves, heat no full sealed container "
    "that is not made for it.",
    ALCOHOL.text,
    "Follow the law where you are, and licensed practice. Nothing here replaces either.",
)
_LIMITS: Final = (
    "“from” and “to” are the two ends of the 90 % interval of a prediction: nine drinks of ten made like this should "
    "lie between. For an amount they are what it may take, were the drink at either end. A dash: none is worked out.",
    "Gravities are specific gravity 20 °C/20 °C, strengths % of volume at 20 °C, acidities titrated to pH 8.2.",
    "The batch record calls two gravities equal that differ by 0.001 at most.",
    "Test batches ask for one addition after the other, the second on what the first became, so that small errors add. "
    "Sugar is handed on with its error; where little is left it is judged anew from the gravity, which may tell too "
    "much.",
    "An address may have 2048 characters, an answer 32767. Nothing is asked while a needed input is empty.",
    "The server works out the same for the same address; a cell is asked again when an input of it changes.",
)


def _typical(spread: Spread | None) -> float | None:
    return None if spread is None else spread.typical


def _row(one: Ingredient) -> tuple[Any, ...]:
    known = one.provenance.get("composition")
    return (
        one.id,
        one.name,
        one.category.value,
        None if one.bulk_solid else round(density_g_ml(one), 4),
        _typical(one.brix),
        None if one.brix is None else one.brix.low,
        None if one.brix is None else one.brix.high,
        _typical(one.ta_g_citric_per_100g),
        _typical(one.ph),
        "" if known is None else "; ".join(known.sources),
        "" if known is None else known.mark,
    )


def draw_ingredients(sheet: Worksheet, units: Units) -> str:
    """Draw the catalogue as values, with a filter.

    Parameters: sheet, an empty one; units, for the paper.
    Returns: the area of the ids, for the list that inputs are chosen from.
    """
    told = (
        "The figures that the server assumes of each ingredient, typical ones; measure your own where you can. Write "
        "the id into an input. Dry solids have no density: weigh them. The keys of sources stand in the sheet Notes."
    )
    heading(sheet, "Ingredients", told, _COLUMNS, "K")
    widths(sheet, (34.0, 42.0, 12.0, 12.0, 7.0, 10.0, 10.0, 19.0, 7.0, 30.0, 13.0))
    rows = [_row(one) for one in ingredients().values()]
    for k, row in enumerate(rows):
        for column, value in zip("ABCDEFGHIJK", row, strict=True):
            put(sheet, f"{column}{_FIRST + k}", value, "maker label", "0.0000" if column == "D" else "")
    last = _FIRST + len(rows) - 1
    sheet.auto_filter.ref = f"A3:K{last}"
    set_page(sheet, units, f"A1:K{last}")
    return f"Ingredients!$A${_FIRST}:$A${last}"


def draw_notes(sheet: Worksheet, units: Units) -> None:
    """Draw cautions, limits, versions and the sources of the ingredients.

    Parameters: sheet, an empty one; units, for the paper.
    """
    heading(sheet, "Notes", "What to heed, what the figures mean, and where they come from.", (), "F")
    widths(sheet, (30.0, 60.0, 40.0, 8.0, 34.0, 16.0))
    row = _FIRST
    for title, lines in (("Cautions", CAUTIONS), ("What the figures mean", _LIMITS)):
        merged(sheet, f"A{row}:F{row}", title, "maker band")
        for line in lines:
            row += 1
            merged(sheet, f"A{row}:F{row}", line, "maker text")
            sheet.row_dimensions[row].height = 32 if len(line) > 150 else 17
        row += 2
    merged(sheet, f"A{row}:F{row}", "Versions", "maker band")
    put(sheet, f"A{row + 1}", "Model")
    put(sheet, f"B{row + 1}", MODEL_VERSION, "maker unit")
    put(sheet, f"A{row + 2}", "Data")
    put(sheet, f"B{row + 2}", data_version(), "maker unit")
    row += 4
    merged(sheet, f"A{row}:F{row}", "Sources of the ingredients", "maker band")
    for column, name in zip(
        "ABCDEF", ("Key", "Title", "Authors or body", "Year", "Identifier", "How read"), strict=True
    ):
        put(sheet, f"{column}{row + 1}", name, "maker heading")
    used = {key for one in ingredients().values() for part in one.provenance.values() for key in part.sources}
    listed = [source for key, source in sorted(sources().items()) if key in used]
    for k, source in enumerate(listed):
        here = row + 2 + k
        values = (source.key, source.title, source.authors_or_body, source.year, source.identifier, source.mark)
        for column, value in zip("ABCDEF", values, strict=True):
            put(sheet, f"{column}{here}", value, "maker text")
        needed = ceil(max(len(source.title) / 52, len(source.authors_or_body) / 34))
        sheet.row_dimensions[here].height = 2.0 + 15.0 * needed
    set_page(sheet, units, f"A1:F{row + 1 + len(listed)}")
