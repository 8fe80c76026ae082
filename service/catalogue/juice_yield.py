"""How much juice whole fruit gives: by the kilogram and by the piece."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Annotated, Final

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from service.catalogue.loader import ingredients, sources

SIZE_SD_SHARE: Final = 0.25
"""Standard deviation of the juice of one piece of fruit as a share: 44 ± 11.0 g a lime (USDA SR28 NDB 09160, n = 12);
for the other fruit judged alike. Fruit of one crate are alike, so that many are no surer than one."""


@dataclass(frozen=True, slots=True)
class JuiceYield:
    """Juice of one kind of fruit.

    `juice_g_per_fruit` is one piece's [g], with its number and standard deviation where they are published;
    `edible_g` and `refuse_percent` are ranges of one piece; `per_whole` and its ends grams of juice per gram of whole
    fruit. `sources` are keys, the juice's own first.
    """

    ingredient_id: str
    fruit: str
    fruit_plural: str
    juice_g_per_fruit: float | None
    juice_n: int | None
    juice_sd_g: float | None
    edible_g: tuple[float, float]
    refuse_percent: tuple[float, float]
    refuse_is: str
    per_whole: float
    per_whole_low: float
    per_whole_high: float
    sources: tuple[str, ...]
    mark: str
    note: str

    @property
    def whole_fruit_g(self) -> float:
        """Mass of one whole piece [g]: its edible part over what is not refuse, both in the middle of their ranges."""
        return 0.5 * sum(self.edible_g) / (1.0 - 0.005 * sum(self.refuse_percent))

    @property
    def juice_g_of_one(self) -> float:
        """Juice of one piece [g]: as published, or by its mass."""
        return self.whole_fruit_g * self.per_whole if self.juice_g_per_fruit is None else self.juice_g_per_fruit


def _none_from_blank(cell: object) -> object:
    return None if cell == "" else cell


def _keys_from_cell(cell: object) -> object:
    return tuple(key for key in cell.split(";") if key) if isinstance(cell, str) else cell


_Text = Annotated[str, Field(min_length=1)]
_Positive = Annotated[float, Field(gt=0.0, allow_inf_nan=False)]
_Share = Annotated[float, Field(gt=0.0, lt=1.0)]
_Percent = Annotated[float, Field(ge=0.0, lt=100.0)]
_Maybe = Annotated[_Positive | None, BeforeValidator(_none_from_blank)]


class _Row(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    ingredient_id: _Text
    fruit: _Text
    fruit_plural: _Text
    juice_g_per_fruit: _Maybe
    juice_n: Annotated[int | None, BeforeValidator(_none_from_blank)]
    juice_sd_g: _Maybe
    edible_low_g: _Positive
    edible_high_g: _Positive
    refuse_low_percent: _Percent
    refuse_high_percent: _Percent
    refuse_is: _Text
    juice_per_whole_typical: _Share
    juice_per_whole_low: _Share
    juice_per_whole_high: _Share
    source: Annotated[tuple[str, ...], BeforeValidator(_keys_from_cell)]
    mark: _Text
    note: str

    def record(self) -> JuiceYield:
        return JuiceYield(
            self.ingredient_id,
            self.fruit,
            self.fruit_plural,
            self.juice_g_per_fruit,
            self.juice_n,
            self.juice_sd_g,
            (self.edible_low_g, self.edible_high_g),
            (self.refuse_low_percent, self.refuse_high_percent),
            self.refuse_is,
            self.juice_per_whole_typical,
            self.juice_per_whole_low,
            self.juice_per_whole_high,
            self.source,
            self.mark,
            self.note,
        )


@cache
def juice_yields() -> Mapping[str, JuiceYield]:
    """Juice yields by the id of the juice.

    Raises: AssertionError where a row cites what is not there, or its figures are out of order; both are defects of the
    table.

    >>> juice_yields()["lemon_juice_fresh"].juice_g_per_fruit  # USDA SR28 NDB 09152, n = 70
    48.0
    """
    text = files("service.catalogue").joinpath("tables", "juice_yield.csv").read_text(encoding="utf-8")
    found = {}
    for row in csv.DictReader(io.StringIO(text), strict=True):
        record = _Row.model_validate(row).record()
        assert record.ingredient_id in ingredients(), f"there is no {record.ingredient_id}"
        assert record.ingredient_id not in found, f"{record.ingredient_id} stands twice"
        assert set(record.sources) <= sources().keys(), f"{record.ingredient_id}: no such source"
        assert record.per_whole_low <= record.per_whole <= record.per_whole_high, record.ingredient_id
        found[record.ingredient_id] = record
    return MappingProxyType(found)
