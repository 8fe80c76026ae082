"""What stands on the sheets of questions: inputs, questions and blocks of both, and the two systems of units."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, TypeVar

__all__ = [
    "ACIDITY_UNITS",
    "DRINKS",
    "DRINKS_SENT",
    "INGREDIENT",
    "OUNCE",
    "OUNCE_SENT",
    "THREE_FIGURES",
    "Ask",
    "Block",
    "Entry",
    "Form",
    "System",
    "Units",
    "answer_in",
]

Form = Literal["number", "quantity", "acidity", "text", "yes_no", "ingredient"]
"""How an input becomes the text of a URL; an `ingredient` is a text chosen from the catalogue."""

System = Literal["metric", "us"]
T = TypeVar("T")

INGREDIENT: Final = "ingredient"
THREE_FIGURES: Final = "[>=100]0;[>=10]0.0;0.000"
"""A number format that shows no more of an amount than can be weighed."""
ACIDITY_UNITS: Final = ("g/L tartaric", "g/L citric", "g/L malic", "g/L lactic", "g/L sulfuric", "meq/L")
DRINKS: Final = ("mead", "fruit wine", "grape wine", "cider or perry")
"""The kinds of drink that can be chosen."""
DRINKS_SENT: Final = ("mead", "fruit_wine", "grape_wine", "cider_perry")
"""The same as questions take them."""
OUNCE: Final = "oz wt"
"""The ounce of mass wherever it is chosen or shown, so that nobody takes it for one of volume."""
OUNCE_SENT: Final = "oz"
"""The same as a question takes it for the unit of its answer."""


@dataclass(frozen=True, slots=True)
class Units:
    """The units that inputs start with; each can be changed beside its input."""

    system: System

    def pick(self, metric: T, us: T) -> T:
        """One of two values."""
        return metric if self.system == "metric" else us

    @property
    def volumes(self) -> tuple[str, ...]:
        """Of lots."""
        return self.pick(("L", "hL", "gal", "qt"), ("gal", "qt", "L", "hL"))

    @property
    def fills(self) -> tuple[str, ...]:
        """Of containers and small amounts of liquid."""
        return self.pick(("mL", "L", "fl oz", "gal"), ("fl oz", "gal", "mL", "L"))

    @property
    def temperatures(self) -> tuple[str, ...]:
        """Of samples and stores."""
        return self.pick(("C", "F"), ("F", "C"))

    @property
    def pressures(self) -> tuple[str, ...]:
        """Of a gauge."""
        return self.pick(("bar", "psi"), ("psi", "bar"))


@dataclass(frozen=True, slots=True)
class Entry:
    """An input: its label, the value that the demo starts with, its units, and what may be typed there."""

    key: str
    label: str
    value: float | str | None
    form: Form
    units: tuple[str, ...] = ()
    """One is told, several are a list to choose from."""
    choices: tuple[str, ...] = ()
    """The words that it is chosen from."""
    sent: tuple[str, ...] = ()
    """What is sent for each of them; empty where that is the word itself."""
    least: float = 0.0
    most: float = 1e6
    hint: str = ""
    shown: str = "General"
    """Number format."""


@dataclass(frozen=True, slots=True)
class Ask:
    """A question whose parameters come from inputs: pairs of a parameter and the key of an input."""

    question: str
    label: str
    needs: tuple[tuple[str, str], ...]
    may: tuple[tuple[str, str], ...] = ()
    """Those that are left out while their input is empty."""
    either: tuple[tuple[str, str], ...] = ()
    """Those of which the first filled one is sent."""
    fixed: tuple[tuple[str, str], ...] = ()
    """Parameters with the text that they always have."""
    shown: str = THREE_FIGURES
    """Number format."""


@dataclass(frozen=True, slots=True)
class Block:
    """A heading, inputs on the left, and on the right what to heed above the answers."""

    title: str
    entries: tuple[Entry, ...]
    asks: tuple[Ask, ...] = ()
    note: str = ""
    """What stands on the right where nothing is asked."""
    one_of: tuple[str, str] | None = None
    """Two inputs of which the first is used where both are filled; the note then says so."""
    lines: int = 9
    """Lines that the words to heed usually take [-]; the box is made that high at least."""


def answer_in(key: str, value: str, choices: tuple[str, ...]) -> Entry:
    """The input that chooses the unit of an answer."""
    sent = tuple(OUNCE_SENT if choice == OUNCE else choice for choice in choices)
    return Entry(key, "Answer in", value, "text", choices=choices, sent=sent, hint="The unit of the answer.")
