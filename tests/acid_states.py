"""The drinks of the paper calculation as states of the service."""

from __future__ import annotations

from service.chemistry.acid_state import AcidState
from service.chemistry.weak_acids import WeakAcid
from tests.oracle.charge import Drink


def state_of(drink: Drink) -> AcidState:
    """The same acids, strong-ion difference and strong ions; the strength in alcohol is passed beside a state."""
    acids = {WeakAcid(name): amount for name, amount in drink.acids_mmol.items()}
    return AcidState.of(acids, drink.sid_meq, drink.ionic_mmol)
