"""The twins of a cell: the same answer as one row of CSV, as flat XML for FILTERXML, and its cautions in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final
from xml.etree.ElementTree import Element, SubElement, tostring

from service.api.question import number_text
from service.api.tables import csv_text
from service.errors import Fault
from service.planner.answers import Caution
from service.planner.single import Answer

__all__ = ["CSV_COLUMNS", "NOTHING_TO_HEED", "answer_csv", "answer_xml", "heed_words", "refusal_words", "sentence"]

CSV_COLUMNS: Final = ("question", "value", "low", "high", "unit", "sentence", "heed")
NOTHING_TO_HEED: Final = "-"
"""What a caution cell holds where there is nothing to heed; an empty answer would be an error to some spreadsheets."""


def heed_words(cautions: Sequence[Caution]) -> str:
    """The cautions in one text, `stop` first."""
    order = ("stop", "warning", "note")
    told = sorted(cautions, key=lambda c: order.index(c.level))
    return " ".join(f"{c.level.upper()}: {c.text}" for c in told) or NOTHING_TO_HEED


def refusal_words(faults: Sequence[Fault], *, stop: bool = False) -> str:
    """Why a cell has no number, and what to change; marked where that is a `stop`."""
    told = [f"{fault.pointer.lstrip('/')}: {fault.detail}" if fault.pointer else fault.detail for fault in faults]
    return ("No number. STOP: " if stop else "No number: ") + " ".join(told)


def sentence(answer: Answer) -> str:
    """The answer in a sentence, with its cautions, `stop` first, and what was assumed."""
    heed = [] if not answer.cautions else [heed_words(answer.cautions)]
    return " ".join([answer.sentence, *heed, *(f"Assumed: {a.what} = {a.value}." for a in answer.assumed)])


def _numbers(answer: Answer) -> dict[str, str]:
    ends = {"value": answer.value, "low": answer.low, "high": answer.high}
    return {name: "" if end is None else number_text(end) for name, end in ends.items()}


def answer_csv(question: str, answer: Answer) -> str:
    """A header line and one row; an end of the interval that is not told is empty."""
    texts = {"unit": answer.unit, "sentence": answer.sentence, "heed": heed_words(answer.cautions)}
    # numbers as the cell writes them; a minus sign before one is no formula
    return csv_text([{"question": question, **_numbers(answer), **texts}], formulas=("value", "low", "high"))


def answer_xml(question: str, answer: Answer) -> str:
    """Flat XML without a namespace: a `cell` with one element for each figure, and one for each caution.

    Every element is there, empty where nothing is told, so that an XPath always finds it; `heed` has all cautions in
    one text.
    """
    root = Element("cell")
    texts = {
        "question": question,
        **_numbers(answer),
        "unit": answer.unit,
        "sentence": answer.sentence,
        "heed": heed_words(answer.cautions),
    }
    for name, text in texts.items():
        SubElement(root, name).text = text
    for caution in answer.cautions:
        SubElement(root, "caution", {"level": caution.level, "code": caution.code}).text = caution.text
    for assumed in answer.assumed:
        SubElement(root, "assumed", {"source": assumed.source}).text = f"{assumed.what} = {assumed.value}"
    # Without a declaration: the text reaches FILTERXML in another encoding than the one that it would declare.
    return tostring(root, encoding="unicode")
