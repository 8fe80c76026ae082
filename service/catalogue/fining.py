"""Fining agents: what each takes out of a drink and what it leaves, usual doses, a legal limit with its edition.

Every fact carries a mark of its own: doses come from a training sheet (a weak secondary source) or from memory, limits
from 27 CFR 24.246 in the edition of 2015. A later edition changed that section: check the current text.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Annotated, Final, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from service.catalogue.loader import sources
from service.errors import OutOfRangeError
from service.quantities.units import GRAMS_PER_OUNCE, ML_PER_US_GALLON

AgentName = Literal[
    "gelatin",
    "silica_sol",
    "bentonite",
    "pvpp",
    "chitosan",
    "isinglass",
    "casein",
    "egg_white",
    "pectinase",
    "activated_carbon",
]
Origin = Literal["animal", "fish", "fungus", "mineral", "synthetic"]
Charge = Literal["positive", "negative", "neutral", "none"]
HazeKind = Literal["yeast", "pulp", "pectin", "protein", "tannin"]
Cloud = Literal["kept", "mostly", "partly", "lost"]

MOST_WATER_SHARE: Final = 0.01
"""Water that all treatments may bring along, as a share of the volume (27 CFR 24.246, 2015 edition)."""

US_EDITION: Final = "2015 annual edition"

_OUNCES_PER_POUND: Final = 16.0
_GALLONS: Final = 1000.0


@dataclass(frozen=True, slots=True)
class Marked:
    """A range of one fact, with its mark and the key of its source."""

    low: float
    high: float
    mark: str
    source_key: str


@dataclass(frozen=True, slots=True)
class FiningAgent:
    """One agent.

    Doses are mg per litre of drink, of the product as it is sold; None where none is on file. `lees_percent` is what is
    left behind [% of the volume]. A dispersion has `disperse_percent` [% w/v], `disperse_most_percent` at the most;
    `as_sold_g_per_ml` is the density of an agent that is a liquid already. `bench_component` and `bench_share_percent`
    say what a trial glass may count it as (our default).
    """

    id: AgentName
    name: str
    origin: Origin
    allergen: str | None
    powder: bool
    charge: Charge
    takes: tuple[HazeKind, ...]
    takes_some: tuple[HazeKind, ...]
    takes_text: str
    leaves_text: str
    takes_source: str
    pectin_cloud: Cloud
    pectin_cloud_text: str
    dose_mg_per_l: Marked | None
    dose_text: str
    dose_mark: str
    dose_source: str
    light_mg_per_l: Marked | None
    us_listed: bool
    us_limit_mg_per_l: float | None
    us_text: str
    us_mark: str
    us_filter_out: bool
    lees_percent: Marked | None
    disperse_percent: float | None
    disperse_most_percent: float | None
    as_sold_g_per_ml: float | None
    disperse_text: str
    settle_h: float
    bench_component: str | None
    bench_share_percent: float | None

    @property
    def of_an_animal(self) -> bool:
        """Whether it is made of an animal or its milk or eggs, so that the drink is not vegan."""
        return self.origin in ("animal", "fish")

    @property
    def vegetarian(self) -> bool:
        """Whether no animal died for it: milk and eggs are vegetarian, gelatin and isinglass are not."""
        return not self.of_an_animal or self.allergen in ("milk", "egg")


def mg_per_l_from_lb_per_1000_gal(pounds: float) -> float:
    """A dose in the unit of the United States' lists as mg/L.

    1 lb/1000 gal = 453.59237 g/3785.411784 L = 119.826 mg/L

    Parameters: pounds, scalar [lb per 1000 US gal].
    Returns: scalar [mg/L].
    Raises: OutOfRangeError if it is negative or not finite.
    Validity: exact.
    Source: NIST Handbook 44, Appendix C.

    Example: 60 lb of PVPP, in the text 7.19 g/L (27 CFR 24.246, 2015 edition).

    >>> round(mg_per_l_from_lb_per_1000_gal(60.0) / 1000.0, 2)
    7.19
    """
    if not 0.0 <= pounds < float("inf"):
        raise OutOfRangeError(f"A dose is zero or more, not {pounds:g} lb per 1000 gal.")
    return pounds * _OUNCES_PER_POUND * GRAMS_PER_OUNCE / (_GALLONS * ML_PER_US_GALLON / 1000.0) * 1000.0


def _none_from_blank(cell: object) -> object:
    return None if cell == "" else cell


def _several(cell: object) -> object:
    return tuple(part for part in cell.split(";") if part) if isinstance(cell, str) else cell


_Positive = Annotated[Annotated[float, Field(gt=0.0, allow_inf_nan=False)] | None, BeforeValidator(_none_from_blank)]
_Text = Annotated[str, Field(min_length=1)]
_Maybe = Annotated[str | None, BeforeValidator(_none_from_blank)]
_Kinds = Annotated[tuple[HazeKind, ...], BeforeValidator(_several)]
_YesNo = Literal["yes", "no"]


class _Row(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    id: AgentName
    name: _Text
    origin: Origin
    allergen: _Maybe
    powder: _YesNo
    charge: Charge
    takes: _Kinds
    takes_some: _Kinds
    takes_text: _Text
    leaves_text: _Text
    takes_source: _Text
    pectin_cloud: Cloud
    pectin_cloud_text: _Text
    dose_low_mg_per_l: _Positive
    dose_high_mg_per_l: _Positive
    dose_text: str
    dose_mark: _Text
    dose_source: _Text
    light_low_mg_per_l: _Positive
    light_high_mg_per_l: _Positive
    light_mark: str
    light_source: str
    us_status: Literal["listed", "absent"]
    us_limit_lb_per_1000_gal: _Positive
    us_text: _Text
    us_mark: _Text
    us_filter_out: _YesNo
    lees_low_percent: _Positive
    lees_high_percent: _Positive
    lees_mark: str
    lees_source: str
    disperse_percent: _Positive
    disperse_most_percent: _Positive
    as_sold_g_per_ml: _Positive
    disperse_text: _Text
    settle_h: Annotated[float, Field(gt=0.0)]
    bench_component: _Maybe
    bench_share_percent: _Positive

    def record(self) -> FiningAgent:
        pounds = self.us_limit_lb_per_1000_gal
        return FiningAgent(
            id=self.id,
            name=self.name,
            origin=self.origin,
            allergen=self.allergen,
            powder=self.powder == "yes",
            charge=self.charge,
            takes=self.takes,
            takes_some=self.takes_some,
            takes_text=self.takes_text,
            leaves_text=self.leaves_text,
            takes_source=self.takes_source,
            pectin_cloud=self.pectin_cloud,
            pectin_cloud_text=self.pectin_cloud_text,
            dose_mg_per_l=_marked(
                self.dose_low_mg_per_l, self.dose_high_mg_per_l, self.dose_mark, self.dose_source, self.id
            ),
            dose_text=self.dose_text,
            dose_mark=self.dose_mark,
            dose_source=self.dose_source,
            light_mg_per_l=_marked(
                self.light_low_mg_per_l, self.light_high_mg_per_l, self.light_mark, self.light_source, self.id
            ),
            us_listed=self.us_status == "listed",
            us_limit_mg_per_l=None if pounds is None else mg_per_l_from_lb_per_1000_gal(pounds),
            us_text=self.us_text,
            us_mark=self.us_mark,
            us_filter_out=self.us_filter_out == "yes",
            lees_percent=_marked(
                self.lees_low_percent, self.lees_high_percent, self.lees_mark, self.lees_source, self.id
            ),
            disperse_percent=self.disperse_percent,
            disperse_most_percent=self.disperse_most_percent,
            as_sold_g_per_ml=self.as_sold_g_per_ml,
            disperse_text=self.disperse_text,
            settle_h=self.settle_h,
            bench_component=self.bench_component,
            bench_share_percent=self.bench_share_percent,
        )


def _marked(low: float | None, high: float | None, mark: str, source_key: str, agent: str) -> Marked | None:
    """A range; both ends, its mark and a source that exists, or none of them."""
    if low is None or high is None:
        assert low is high, f"{agent}: a range has two ends"
        return None
    assert low < high, f"{agent}: {low} and {high} are no range"
    assert mark, f"{agent}: a range without a mark"
    return Marked(low, high, mark, source_key)


def _cited(agent: FiningAgent) -> set[str]:
    ranges = (agent.dose_mg_per_l, agent.light_mg_per_l, agent.lees_percent)
    return {agent.takes_source, agent.dose_source, *(r.source_key for r in ranges if r is not None)}


@cache
def fining_agents() -> Mapping[AgentName, FiningAgent]:
    """Every agent by its id, in the order of the table.

    Raises: AssertionError or pydantic.ValidationError where the table is malformed or cites a source that is not
    there: defects of the table, not of a request.

    >>> agent = fining_agents()["gelatin"]
    >>> agent.charge, agent.pectin_cloud, agent.vegetarian
    ('positive', 'mostly', False)
    """
    content = files("service.catalogue").joinpath("tables", "fining_agents.csv").read_text(encoding="utf-8")
    found = [_Row.model_validate(row).record() for row in csv.DictReader(io.StringIO(content), strict=True)]
    by_id = {agent.id: agent for agent in found}
    assert len(by_id) == len(found), "an agent stands twice in fining_agents.csv"
    missing = {key for agent in found for key in _cited(agent)} - sources().keys()
    assert not missing, f"fining_agents.csv cites {sorted(missing)}, which sources.csv lacks"
    return MappingProxyType(by_id)


def sources_of_agents() -> frozenset[str]:
    """Keys of every source that the table cites."""
    return frozenset(key for agent in fining_agents().values() for key in _cited(agent))
