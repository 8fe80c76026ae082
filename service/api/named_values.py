"""Names for the lists of values that several fields of the OpenAPI document share.

Pydantic writes a choice of texts into every field that has it. A client generated from such a document has one type
for each field, none of which fits another. Here every list that occurs more than once is a schema of its own. That
changes the document only: what is sent and what is answered stays the same.
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple, get_args

from service.api.cell_pressure import PressureUnit
from service.api.cell_queries import AcidityUnit, AnyUnit, MassUnit, VolumeUnit
from service.api.cell_questions import QUESTIONS
from service.api.requests import PropertyName, TargetName
from service.api.requests_blend import Careful
from service.api.requests_fining import ProblemIn
from service.api.requests_packaging import KindIn, PartIn
from service.api.requests_readings import LiquidClass
from service.api.requests_stabilising import ColourName, DrinkClass, HurdleIn, MarketName, PkName
from service.api.requests_tastings import LevelName
from service.api.requests_undo import FaultName
from service.catalogue.fining import AgentName
from service.planner.fining.answers import Presence
from service.planner.fining.asked import Haze
from service.planner.label.answers import DrinkSize
from service.planner.must.asked import VolumeIs
from service.planner.plan_report import OutcomeName
from service.planner.tasting.asked import Kind, Scale, Sides

__all__ = ["NAMED_VALUES", "NamedValues", "name_shared_values"]


class NamedValues(NamedTuple):
    """A list of values and what it is."""

    values: tuple[str, ...]
    description: str


NAMED_VALUES: Final = {
    "AcidityUnit": NamedValues(get_args(AcidityUnit), "The acid that an acidity is expressed as; meq is meq/L."),
    "AmountUnit": NamedValues(get_args(AnyUnit), "A unit of mass or volume, US customary."),
    "Careful": NamedValues(get_args(Careful), "A kind of ingredient that is proposed only where it is allowed."),
    "CellName": NamedValues(tuple(question.name for question in QUESTIONS), "A question that a cell can ask."),
    "Comparison": NamedValues(("above", "at or above"), "From where on a limit is passed."),
    "ContainerKind": NamedValues(get_args(KindIn), "What a drink is filled into."),
    "DifferenceTestKind": NamedValues(get_args(Kind), "Which of three is odd, of two stronger, or like a reference."),
    "DrinkSize": NamedValues(get_args(DrinkSize), "Whose standard drink."),
    "FaultName": NamedValues(get_args(FaultName), "What is wrong with a drink."),
    "FermentClass": NamedValues(get_args(DrinkClass), "Kinds of fermented drink, in the trade's words."),
    "FiningAgent": NamedValues(get_args(AgentName), "What clears a drink."),
    "FruitFamily": NamedValues(
        ("citrus", "pome", "grape", "berry", "stone", "tropical", "none"), "Which fruit a juice is of."
    ),
    "HazeCause": NamedValues(("yeast", "pulp", "pectin", "protein", "tannin"), "What makes a drink hazy."),
    "HazeProblem": NamedValues(get_args(ProblemIn), "What probably makes a drink hazy."),
    "HazeWish": NamedValues(get_args(Haze), "Whether the haze is to stay."),
    "Hurdle": NamedValues(get_args(HurdleIn), "What is to hold yeast back."),
    "IntervalEnd": NamedValues(("low", "high"), "The lower or the upper end."),
    "KeptIn": NamedValues(("bottle", "can", "keg", "jar", "flask", "open"), "What a drink is kept in."),
    "LevelName": NamedValues(get_args(LevelName), "A property of a drink that a tasting can walk through."),
    "Market": NamedValues(get_args(MarketName), "Whose rules."),
    "MassUnit": NamedValues(get_args(MassUnit), "A unit of mass."),
    "NitrogenDemand": NamedValues(("low", "medium", "high"), "How much nitrogen a yeast needs."),
    "Outcome": NamedValues(get_args(OutcomeName), "What became of a plan."),
    "PackagingPart": NamedValues(get_args(PartIn), "A part of a packaging plan."),
    "PkBasis": NamedValues(get_args(PkName), "Which constant molecular SO2 is reckoned with."),
    "Presence": NamedValues(get_args(Presence), "Whether something is in the drink."),
    "PressureUnit": NamedValues(get_args(PressureUnit), "A unit of pressure."),
    "PropertyName": NamedValues(get_args(PropertyName), "A property of a drink."),
    "ReadableClass": NamedValues(get_args(LiquidClass), "Kinds of liquid that readings are interpreted for."),
    "Rounding": NamedValues(("none", "scale", "kitchen"), "To what amounts are rounded."),
    "TargetName": NamedValues(get_args(TargetName), "A property of a drink, or the volume that losses leave."),
    "TastingScale": NamedValues(get_args(Scale), "What scores say."),
    "TestSides": NamedValues(get_args(Sides), "Whether the right answer of a test is known beforehand."),
    "Treatment": NamedValues(("raw", "pasteurised", "sterile_filtered"), "How a juice was treated."),
    "UnitSystem": NamedValues(("metric", "us"), "The units that texts of an answer are written in."),
    "VolumeMeaning": NamedValues(get_args(VolumeIs), "Whether a volume is the must's, or that of the water added."),
    "VolumeUnit": NamedValues(get_args(VolumeUnit), "A unit of volume, US customary."),
    "WineColour": NamedValues(get_args(ColourName), "Colour of a grape wine, for European limits."),
}
"""By the name of the schema."""

_BY_VALUES: Final = {named.values: name for name, named in NAMED_VALUES.items()}
_NO_SCHEMA: Final = ("default", "example", "examples")


def name_shared_values(document: dict[str, Any]) -> None:
    """Replace each list of NAMED_VALUES by a reference to a schema of its own.

    Parameters: document, an OpenAPI document; changed in place.
    """
    schemas = document["components"]["schemas"]
    used: set[str] = set()
    for part in (document.get("paths", {}), schemas):
        _replace(part, used)
    for name in used:
        named = NAMED_VALUES[name]
        schemas[name] = {"type": "string", "enum": list(named.values), "title": name, "description": named.description}


def _replace(node: Any, used: set[str]) -> None:
    if isinstance(node, list):
        for item in node:
            _replace(item, used)
    elif isinstance(node, dict):
        values = node.get("enum")
        name = _BY_VALUES.get(tuple(values)) if isinstance(values, list) else None
        if name is not None:
            used.add(name)
            del node["enum"]
            node.pop("type", None)
            node["$ref"] = f"#/components/schemas/{name}"
        for key, item in node.items():
            if key not in _NO_SCHEMA:
                _replace(item, used)
