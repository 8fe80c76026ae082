"""The formulas of the workbook: an address of this service put together from cells, and what its answer is read into.

A question is asked once. Its twin in XML brings the number, both ends of its interval, the unit and the cautions; they
are cut out of it with MID and FIND, because FILTERXML reads 1.016 as a thousand and sixteen where a language writes
decimals with a comma. Only a question without a number is asked again, for the words that say why.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

__all__ = [
    "BASE",
    "NO_ANSWER",
    "NO_NUMBER",
    "address",
    "cut_out",
    "cut_out_number",
    "filled",
    "form_text",
    "heed",
    "plain_number",
    "sent_xml",
    "words_without_number",
]

BASE: Final = "base"
"""Defined name of the address that formulas begin with."""
NO_NUMBER: Final = "no number"
NO_ANSWER: Final = "No answer from the server: see the sheet Start."
_NOTHING: Final = "No caution of its own; those of the sheet Notes hold."


def _decimal_point(cell: str) -> str:
    return f'SUBSTITUTE({cell}&"",",",".")'


def form_text(form: str, value: str, unit: str) -> str:
    """The part of a formula that turns an input into the text of a URL, whatever the language of the sheet.

    Parameters: form, as of `Entry`; value and unit, the cells of the input.
    Returns: an expression.

    >>> form_text("quantity", "B7", "C7")
    'SUBSTITUTE(B7&"",",",".")&_xlfn.ENCODEURL(C7)'
    """
    if form == "number":
        return _decimal_point(value)
    if form == "quantity":
        return f"{_decimal_point(value)}&_xlfn.ENCODEURL({unit})"
    if form == "acidity":
        return f'{_decimal_point(value)}&"%20"&_xlfn.ENCODEURL({unit})'
    if form == "yes_no":
        return f'IF({value}="yes","1","0")'
    if form == "words":
        return f'_xlfn.ENCODEURL(SUBSTITUTE({value},"+",","))'
    return f"_xlfn.ENCODEURL({value})"


def filled(cells: Sequence[str], either: Sequence[str] = ()) -> str:
    """Whether an input is missing: one of the cells, or all of those of which one is enough."""
    missing = [f'{cell}=""' for cell in cells]
    if either:
        missing.append("AND(" + ",".join(f'{cell}=""' for cell in either) + ")")
    return f"OR({','.join(missing)})"


def address(
    question: str,
    missing: str,
    needs: Sequence[tuple[str, str]],
    may: Sequence[tuple[str, str, str]] = (),
    either: Sequence[tuple[str, str, str]] = (),
) -> str:
    """The formula of the address that is asked; it is empty while an input is missing.

    Parameters: question, its name; missing, an expression that is true while it cannot be asked; needs, the name and
        the text of each parameter that always stands there; may, the name, the cell and the text of those that stand
        there if their cell is filled; either, the same of those of which the first filled one stands there.
    Returns: the formula.

    >>> address("sg-from-brix", 'OR(B4="")', [("brix", 'SUBSTITUTE(B4&"",",",".")')])
    '=IF(OR(B4=""),"",base&"/v1/cell/sg-from-brix?brix="&SUBSTITUTE(B4&"",",","."))'
    """
    parts = [f'"{"&" if k else ""}{name}="&{text}' for k, (name, text) in enumerate(needs)]
    if either:
        chosen = '""'
        for name, cell, text in reversed(either):
            chosen = f'IF({cell}="",{chosen},"&{name}="&{text})'
        parts.append(chosen)
    parts += [f'IF({cell}="","","&{name}="&{text})' for name, cell, text in may]
    asked = f'"/v1/cell/{question}?' + "&".join(parts)[1:]
    return f'=IF({missing},"",{BASE}&{asked})'


def sent_xml(asked: str) -> str:
    """The formula of what the twin in XML sends; empty where nothing is asked, and where it is refused."""
    return f'=IF({asked}="","",IFERROR(_xlfn.WEBSERVICE(SUBSTITUTE({asked},"?",".xml?",1)),""))'


def _between(sent: str, name: str) -> str:
    """What stands in an element; an error where the element is empty or not there."""
    begins = f'FIND("<{name}>",{sent})+{len(name) + 2}'
    ends = f'FIND("</{name}>",{sent},{begins}+1)'
    return f"MID({sent},{begins},{ends}-({begins}))"


def cut_out_number(asked: str, sent: str, name: str, otherwise: str) -> str:
    """The formula of a number of the answer, another text where there is none."""
    return f'=IF({asked}="","",IFERROR(_xlfn.NUMBERVALUE({_between(sent, name)},"."),"{otherwise}"))'


def cut_out(asked: str, sent: str, name: str) -> str:
    """The formula of a text of the answer."""
    return f'=IF({asked}="","",IFERROR({_plain(_between(sent, name))},""))'


def _plain(text: str) -> str:
    for written, meant in (("&lt;", "<"), ("&gt;", ">"), ("&amp;", "&")):
        text = f'SUBSTITUTE({text},"{written}","{meant}")'
    return text


def words_without_number(asked: str) -> str:
    """The expression of the words that say why a question has no number."""
    question = f'SUBSTITUTE({asked},"/v1/cell/","/v1/cell/caution/",1)'
    return f'IFERROR(_xlfn.WEBSERVICE({question}),"{NO_ANSWER}")'


def heed(asked: str, sent: str, wanted: Sequence[tuple[str, str]], others: Sequence[tuple[str, str]] = ()) -> str:
    """The formula of the caution cell: what to heed, or why there is no number, or which input is missing.

    Parameters: asked and sent, cells of the first question of a block; wanted, a condition and what is missing then;
        others, asked and sent of its further questions, whose cautions are the same unless they are refused.
    Returns: the formula.
    """
    told = f'SUBSTITUTE({_plain(_between(sent, "heed"))}&"|","-|","{_NOTHING}|")'
    told = f'IFERROR(SUBSTITUTE({told},"|",""),"")'
    missing = "&".join(f'IF({condition}," {name};","")' for condition, name in wanted) or '""'
    more = "".join(f'&IF(OR({one}="",{answer}<>""),"",CHAR(10)&{words_without_number(one)})' for one, answer in others)
    refused = words_without_number(asked)
    return f'=IF({asked}="","Fill in:"&{missing},IF({sent}="",{refused},{told}{more}))'


def plain_number(asked: str) -> str:
    """The expression of the number alone that an address answers; empty where nothing is asked."""
    return f'IF({asked}="","",IFERROR(_xlfn.NUMBERVALUE(_xlfn.WEBSERVICE({asked}),"."),"{NO_NUMBER}"))'
