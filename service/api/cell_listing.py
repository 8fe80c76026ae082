"""The list of cell questions: as JSON for scripts, as a page for people, as flat rows for spreadsheets.

Every question comes with its parameters, the unit of its answer, a worked example with the answer it gets, and ready
formulas that ask the very service that lists them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from html import escape
from typing import Any, Final

from pydantic import BaseModel, Field

from service.api.cell_formulas import SHEETS, number_formula, words_formula
from service.api.cell_kept import KeptAnswers
from service.api.cell_queries import CellQuery
from service.api.question import Question, number_text
from service.api.tables import Row, csv_text

__all__ = ["CellList", "cell_list", "listed_csv", "listed_html"]

_ANY_CELL: Final = tuple(CellQuery.model_fields)


class CellParameter(BaseModel):
    """A parameter of a cell question, as it stands in a URL."""

    name: str = Field(description="Its name in the URL.")
    needed: bool = Field(description="Whether the question cannot be asked without it.")
    meaning: str = Field(description="What it is, with an example or its unit.")
    default: str | None = Field(description="What holds without it; null where nothing does, or another parameter.")
    choices: list[str] | None = Field(description="The only words it takes; null where it is a number or a text.")


class CellQuestion(BaseModel):
    """A question that a cell can ask."""

    question: str = Field(description="Its name in the path.")
    meaning: str = Field(description="What it answers.")
    parameters: list[str] = Field(description="Names of all its parameters.")
    needed: list[str] = Field(description="Names of those it cannot be asked without.")
    either: list[list[str]] = Field(description="Sets of parameters of which one is needed.")
    details: list[CellParameter] = Field(description="Each parameter with its meaning.")
    unit: str = Field(description="Unit of the example's answer; a question with a `unit` parameter answers in that.")
    bound: str | None = Field(description="What bound=low and bound=high give the ends of; null where it is refused.")
    example: str = Field(description="Path and query of a worked example.")
    example_answer: str = Field(description="What the example answers.")
    formulas: dict[str, str] = Field(description="The example as a formula for each spreadsheet, to paste as it is.")
    caution_formulas: dict[str, str] = Field(description="The same for the caution in the neighbouring cell.")


class CellList(BaseModel):
    """All questions that a cell can ask."""

    cells: list[CellQuestion] = Field(description="One for each question.")


def cell_list(kept: KeptAnswers, address: str) -> CellList:
    """The list.

    Parameters: kept, the questions and their answers; address of this service, for the formulas.
    Returns: the list, in the order of the questions.
    """
    return CellList(cells=[_described(question, kept, address) for question in kept.questions.values()])


def _described(question: Question, kept: KeptAnswers, address: str) -> CellQuestion:
    fields = question.query.model_fields
    answer = kept.example(question)
    example = f"/v1/cell/{question.name}?{question.example}"
    caution = f"/v1/cell/caution/{question.name}?{question.example}"
    return CellQuestion(
        question=question.name,
        meaning=question.meaning,
        parameters=question.parameters,
        needed=[field.alias or name for name, field in fields.items() if field.is_required()],
        either=[list(names) for names in question.query.EITHER],
        details=_parameters(question),
        unit=answer.unit,
        bound=question.interval or None,
        example=example,
        example_answer=number_text(answer.value),
        formulas={sheet: number_formula(sheet, address + example) for sheet in SHEETS},
        caution_formulas={sheet: words_formula(sheet, address + caution) for sheet in SHEETS},
    )


def _parameters(question: Question) -> list[CellParameter]:
    """The parameters, those that are needed first, those of every cell last."""
    found = []
    schema = question.query.model_json_schema(by_alias=True)
    for name, field in question.query.model_fields.items():
        told = field.alias or name
        if told not in question.parameters:
            continue
        default = None if field.is_required() or field.default is None else field.get_default(call_default_factory=True)
        found.append(
            CellParameter(
                name=told,
                needed=field.is_required(),
                meaning=field.description or "",
                default=None if default is None else str(getattr(default, "value", default)),
                choices=_choices(schema["properties"][told], schema),
            )
        )
    return sorted(found, key=lambda p: (not p.needed, p.name in _ANY_CELL))


def _choices(shape: Mapping[str, Any], schema: Mapping[str, Any]) -> list[str] | None:
    """The words that a parameter takes, by its JSON schema."""
    for part in (shape, *shape.get("anyOf", ()), *shape.get("allOf", ())):
        here = schema["$defs"][part["$ref"].rsplit("/", 1)[-1]] if "$ref" in part else part
        if "enum" in here:
            return [str(word) for word in here["enum"]]
    return None


def listed_csv(listed: CellList) -> str:
    """One row for each question. Its formulas are left as they are, to be pasted."""
    rows: list[Row] = []
    for cell in listed.cells:
        either = ["|".join(names) for names in cell.either]
        rows.append(
            {
                "question": cell.question,
                "meaning": cell.meaning,
                "unit": cell.unit,
                "needed": " ".join([*cell.needed, *either]),
                "optional": " ".join(p.name for p in cell.details if not p.needed),
                "bound": cell.bound,
                "example": cell.example,
                "example_answer": float(cell.example_answer),
                **cell.formulas,
                **{f"caution_{sheet}": formula for sheet, formula in cell.caution_formulas.items()},
            }
        )
    return csv_text(rows, formulas=(*SHEETS, *(f"caution_{sheet}" for sheet in SHEETS)))


_HEAD: Final = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>One number for a spreadsheet cell</title>
<link rel="icon" href="../page/icon.svg" type="image/svg+xml">
<link rel="stylesheet" href="../page/page.css">
</head>
<body class="listing">
<a class="skip" href="#questions">Skip to the questions</a>
<header>
<p><a href="../">Plan a blend</a> · <a href="../docs">All questions of the service</a> ·
<a href="workbook.xlsx">A ready workbook</a> · <a href="cell.csv">This list as CSV</a></p>
<h1>One number for a spreadsheet cell</h1>
</header>
<main id="questions">
"""
_INTRODUCTION: Final = (
    "Paste a formula into a cell, then put your own figures in place of those of the example, or join the address from "
    "other cells with & and ENCODEURL. In an address write a space as + and ± as %C2%B1; decimals take a point.",
    "Where there is no number the cell shows an error, which IFERROR catches; the caution formula in the neighbouring "
    "cell tells why, and what to heed where there is one. Every question takes explain=1 for a sentence, and has twins "
    "with everything in one row (.csv) or for FILTERXML (.xml), as in /v1/cell/sg-from-brix.xml?brix=20.",
    "Excel has WEBSERVICE on Windows only. LibreOffice asks when a saved sheet is opened again whether links may "
    "be updated: press Allow updating. Google Sheets asks from outside and cannot reach an address within your house.",
    "Estimates: verify by measurement; follow local law and licensed practice.",
)


def listed_html(listed: CellList) -> str:
    """The list as a page for people: contents first, then each question with its parameters and formulas."""
    text: Callable[[str], str] = escape
    contents = "".join(
        f'<li><a href="#{text(cell.question)}">{text(cell.question)}</a>: {text(cell.meaning)}</li>\n'
        for cell in listed.cells
    )
    told = "".join(f"<p>{text(paragraph)}</p>\n" for paragraph in _INTRODUCTION)
    sections = "".join(_section(cell) for cell in listed.cells)
    return (
        f'{_HEAD}{told}<nav aria-label="Questions"><h2>Questions</h2>\n<ul>\n{contents}</ul>\n</nav>\n{sections}'
        "</main>\n</body>\n</html>\n"
    )


def _section(cell: CellQuestion) -> str:
    name = escape(cell.question)
    rows = "".join(
        f'<tr><th scope="row"><code>{escape(p.name)}</code></th><td>{_need(p, cell)}</td>'
        f"<td>{escape(_meaning(p))}</td></tr>\n"
        for p in cell.details
    )
    formulas = "".join(
        f"<dt>{escape(SHEETS[sheet])}</dt><dd><code>{escape(cell.formulas[sheet])}</code><br>"
        f"beside it <code>{escape(cell.caution_formulas[sheet])}</code></dd>\n"
        for sheet in SHEETS
    )
    unit = "" if cell.unit in ("", "1") else f" {escape(cell.unit)}"
    return (
        f'<section aria-labelledby="{name}">\n<h2 id="{name}">{name}</h2>\n<p>{escape(cell.meaning)}</p>\n'
        f'<p><a href="{escape(cell.example.removeprefix("/v1/"))}">{escape(cell.example)}</a> answers '
        f"{escape(cell.example_answer)}{unit}."
        f"</p>\n<dl>\n{formulas}</dl>\n"
        f'<div class="scroll" tabindex="0" role="region" aria-label="What {name} takes"><table>\n<thead><tr>'
        f'<th scope="col">Parameter</th><th scope="col">Needed</th><th scope="col">Meaning</th></tr></thead>\n'
        f"<tbody>\n{rows}</tbody>\n</table></div>\n</section>\n"
    )


def _need(parameter: CellParameter, cell: CellQuestion) -> str:
    if parameter.needed:
        return "yes"
    others = next((names for names in cell.either if parameter.name in names), None)
    if others is None:
        return "no"
    return "or " + escape(" or ".join(name for name in others if name != parameter.name))


def _meaning(parameter: CellParameter) -> str:
    told = [parameter.meaning]
    if parameter.choices:
        told.append(f"One of {', '.join(parameter.choices)}.")
    if parameter.default not in (None, "0"):
        told.append(f"Default {parameter.default}.")
    return " ".join(told)
