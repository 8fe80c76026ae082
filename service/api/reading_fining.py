"""From a fining request's texts to the planner's terms, with the place of each fault."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from service.api.reading import Reader
from service.api.reading_circumstances import circumstances_from
from service.api.reading_drink import drink_from, only_what_a_drink_takes
from service.api.requests_fining import FiningPlanRequest
from service.errors import InputError
from service.model.lot_class import Assumed
from service.planner.fining.asked import FiningAsked, Observations

_NO_PRICE: Final = "Nothing here has a price: leave it out."


def fining_from(given: FiningPlanRequest) -> FiningAsked:
    """A fining request as the planner takes it.

    Raises: ServiceError with every fault of the request.
    """
    reader = Reader()
    instruments, circumstances = circumstances_from(given, reader)
    _only_what_applies(given, reader)
    drink = drink_from(given, instruments, circumstances(), reader, volume_needed=True)
    built = circumstances()
    if "haze" not in given.model_fields_set:
        wish = Assumed("haze", "clear", "our default", "say keep, or clear")
        built = replace(built, assumed=(*built.assumed, wish))
    seen = given.observations
    return FiningAsked(
        drink=drink,
        haze=given.haze,
        agents=None if given.agents is None else tuple(dict.fromkeys(given.agents)),
        avoid=tuple(dict.fromkeys(given.avoid)),
        market=given.market,
        problem=None if given.problem == "unknown" else given.problem,
        observations=Observations(seen.clears_when_warm, seen.spirit_test_strings, seen.cloudy_with_yeast),
        water_calcium_mg_per_l=None if given.water_calcium_mg_per_l is None else float(given.water_calcium_mg_per_l),
        pectinase_used=given.pectinase_used,
        colour_wanted=given.colour_wanted,
        sent=given.model_dump(mode="json", by_alias=True, exclude_defaults=True),
        circumstances=built,
    )


def _only_what_applies(given: FiningPlanRequest, reader: Reader) -> None:
    """Refuse what no part of the answer would use."""
    if given.currency is not None:
        reader.faults.append(InputError(_NO_PRICE, "/currency"))
    only_what_a_drink_takes(given, _NO_PRICE, reader)
