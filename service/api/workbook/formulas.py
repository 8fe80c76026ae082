"""The formulas of the workbook: an address of this service put together from cells, and what its answer is read into.

A question is asked once. Its twin in XML brings the number, both ends of its interval, the unit and the cautions; they
are cut out of it with MID and FIND, because FILTERXML reads 1.016 as a thousand and sixteen where a language writes
decimals with a comma. Only a question without a number is asked again, for the words that say why.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from service.api.workbook.asked import OUNCE, OUNCE_SENT

__all__ = [
    "BASE",
    "NOTHING",
    "NO_ANSWER",
    "NO_NUMBER",
    "STOP",
    "address",
    "chosen",
    "cut_out",
    "cut_out_number",
    "cut_out_unit",
    "fill_in",
    "filled",
    "form_text",
    "heed",
    "in_lines",
    "literal",
    "plain_number",
    "sent_xml",
    "told",
    "why_no_number",
    "without_cautions",
    "words_without_number",
]

BASE: Final = "base"
"""Defined name of the address that formulas begin with."""
NO_NUMBER: Final = "no number"
NO_ANSWER: Final = "No answer from the server: see the sheet Start."
NOTHING: Final = "No caution of its own; those of the sheet Notes hold."
STOP: Final = "STOP: "
"""What the gravest cautions begin with."""
_LEVELS: Final = (STOP, "WARNING: ", "NOTE: ")
_NEW_LINE: Final = "CHAR(10)"
_LONGEST_TEXT: Final = 250
"""Characters of a text inside a formula; its maker's published limit for Excel is 255."""


def _decimal_point(cell: str) -> str:
    return f'SUBSTITUTE({cell}&"",",",".")'


def literal(text: str) -> str:
    """A text as a part of a formula, in pieces that are not too long."""
    pieces = [text[k : k + _LONGEST_TEXT] for k in range(0, len(text), _LONGEST_TEXT)]
    return "&".join('"' + piece.replace('"', '""') + '"' for piece in pieces) or '""'


def chosen(value: str, choices: Sequence[str], sent: Sequence[str]) -> str:
    """The expression of what stands for a word chosen from a list; any other word stands for itself.

    >>> chosen("B7", ("kept cold", "jar"), ("cold", "jar"))
    'IFERROR(CHOOSE(MATCH(B7,{"kept cold","jar"},0),"cold","jar"),B7)'
    """
    words, meant = (",".join(f'"{word}"' for word in each) for each in (choices, sent))
    return f"IFERROR(CHOOSE(MATCH({value},{{{words}}},0),{meant}),{value})"


def form_text(form: str, value: str, unit: str, choices: Sequence[str] = (), sent: Sequence[str] = ()) -> str:
    """The part of a formula that turns an input into the text of a URL, whatever the language of the sheet.

    Parameters: form, as of `Entry`; value and unit, the cells of the input; choices and sent, as of `Entry`.
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
    return f"_xlfn.ENCODEURL({chosen(value, choices, sent) if sent else value})"


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


def cut_out_unit(asked: str, sent: str) -> str:
    """The formula of the unit of the answer, the ounce of mass told from the one of volume."""
    unit = f'IFERROR({_plain(_between(sent, "unit"))},"")'
    return f'=IF({asked}="","",IF({unit}="{OUNCE_SENT}","{OUNCE}",{unit}))'


def _plain(text: str) -> str:
    for written, meant in (("&lt;", "<"), ("&gt;", ">"), ("&amp;", "&")):
        text = f'SUBSTITUTE({text},"{written}","{meant}")'
    return text


def in_lines(words: str) -> str:
    """The expression of cautions with each on a line of its own."""
    for level in _LEVELS:
        words = f'SUBSTITUTE({words}," {level}",{_NEW_LINE}&"{level}")'
    return words


def without_cautions(
    sent: str, codes: Sequence[tuple[str, str]], renewed: Sequence[tuple[str, str]] = (), by: str = ""
) -> str:
    """The expression of the cautions that an answer has, some left out; an error where it has none.

    Parameters: sent, the cell of the answer; codes, the level (such as `WARNING: `) and the code of each caution that
        is left out; renewed, the same of those that are left out only if another answer has them too; by, its cell.
    Returns: the expression; XML is not unescaped.
    """
    words = _between(sent, "heed")
    for level, code in (*codes, *renewed):
        mark = f'"code=""{code}"">"'
        begins = f"FIND({mark},{sent})+{len(code) + 8}"
        text = f'"{level}"&MID({sent},{begins},FIND("</caution>",{sent},{begins})-({begins}))'
        if (level, code) in renewed:
            text = f'IF(ISNUMBER(FIND({mark},{by})),{text},"-|-")'
        words = f'SUBSTITUTE({words},IFERROR({text},"-|-"),"")'
    return words


def told(words: str, nothing: str = NOTHING) -> str:
    """The expression of the words to heed of an answer as they are read; empty where it has none.

    Parameters: words, an expression such as that of `without_cautions`; nothing, what is said where nothing is left.
    """
    framed = f'"|"&{_plain(f"TRIM({words})")}&"|"'
    for none in ("|-|", "||"):
        framed = f'SUBSTITUTE({framed},"{none}","|{nothing}|")'
    return f'IFERROR(SUBSTITUTE({in_lines(framed)},"|",""),"")'


def words_without_number(asked: str, labels: Sequence[tuple[str, str]] = ()) -> str:
    """The expression of the words that say why a question has no number.

    Parameters: asked, the cell of its address; labels, the names of parameters and of the inputs that they come from.
    Returns: the expression.
    """
    question = f'SUBSTITUTE({asked},"/v1/cell/","/v1/cell/caution/",1)'
    words = f'IFERROR(_xlfn.WEBSERVICE({question}),"{NO_ANSWER}")'
    for name, label in ((name, label.rstrip("?")) for name, label in labels):
        words = f'SUBSTITUTE({words}," {name}: "," {label}: ")'
    return words


def why_no_number(asked: str, sent: str, labels: Sequence[tuple[str, str]]) -> str:
    """The formula of the words that say why a question has no number; empty where it has one, or is not asked."""
    return f'=IF(OR({asked}="",{sent}<>""),"",{words_without_number(asked, labels)})'


def fill_in(wanted: Sequence[tuple[str, str]]) -> str:
    """The expression of what is missing: a condition and a name for each input."""
    return '"Fill in:"&' + ("&".join(f'IF({condition}," {name};","")' for condition, name in wanted) or '""')


def heed(asked: str, sent: Sequence[str], why: Sequence[str], wanted: Sequence[tuple[str, str]]) -> str:
    """The formula of the caution cell: what to heed, or why there is no number, or which input is missing.

    Parameters: asked, the cell of the address of the first question of a block; sent and why, cells of what all its
        questions sent, and of why one has no number; wanted, a condition and what is missing then. The cautions of
        the questions of a block are the same: they are those of the first that has a number.
    Returns: the formula.
    """
    first = '""'
    for cell in reversed(sent):
        first = cell if first == '""' else f'IF({cell}<>"",{cell},{first})'
    words = told(_between(first, "heed"))
    reasons = []
    for k, cell in enumerate(why):
        known = [f'{cell}=""', *(f"{cell}={before}" for before in why[:k])]
        reasons.append(f'IF(OR({",".join(known)}),"",{_NEW_LINE}&{cell})')
    refused = "&".join(reasons)
    lines = f'SUBSTITUTE(SUBSTITUTE("|"&{words}&{refused},"|"&{_NEW_LINE},""),"|","")'
    return f'=IF({asked}="",{fill_in(wanted)},{lines})'


def plain_number(asked: str) -> str:
    """The expression of the number alone that an address answers; empty where nothing is asked."""
    return f'IF({asked}="","",IFERROR(_xlfn.NUMBERVALUE(_xlfn.WEBSERVICE({asked}),"."),"{NO_NUMBER}"))'
