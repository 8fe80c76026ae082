"""What a maker asks of the undo table, in base units."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal

from service.chemistry.sulfite_limits import Market, WineColour
from service.planner.asked import AdditionAsked, Circumstances, LotAsked, TargetAsked
from service.planner.correction.answers import Consistency
from service.planner.materials import Material

Fault = Literal["too_sweet", "too_sour", "too_strong", "too_weak", "over_sulfited", "haze_lost", "wrong_amount"]

FAULTS: Final[tuple[Fault, ...]] = (
    "too_sweet",
    "too_sour",
    "too_strong",
    "too_weak",
    "over_sulfited",
    "haze_lost",
    "wrong_amount",
)

TEMPERATURE_C: Final = 20.0
"""Where nobody says how warm the drink is."""


@dataclass(frozen=True, slots=True)
class SulfiteFound:
    """Sulfur dioxide in the drink [mg/L] and what of it is wanted; None wherever nothing was said.

    `salt_g` of potassium metabisulfite went in, `salt_share` of it SO2; it stands in for a total that nobody read.
    """

    free_mg_per_l: float | None = None
    total_mg_per_l: float | None = None
    free_wanted_mg_per_l: float | None = None
    molecular_wanted_mg_per_l: float | None = None
    salt_g: float | None = None
    salt_share: float | None = None
    bound_share: float | None = None
    temperature_c: float | None = None


@dataclass(frozen=True, slots=True)
class Mistake:
    """An amount that was not the one meant: `added_g` of a lot or an ingredient that is in the vessel with it [g].

    `name` is the lot's, or the id of the ingredient. `told` is false where nobody named it: it was found by comparing
    what went in with the recipe.
    """

    name: str
    meant_g: float
    added_g: float
    told: bool = True

    def place(self, field: str) -> str:
        """Where a field of it stands in the request; of one that is not told, where it belongs."""
        return f"/mistake/{field}" if self.told else "/mistake"


@dataclass(frozen=True, slots=True)
class UndoAsked:
    """A drink with a fault, what is at hand, and what is wanted.

    `in_vessel` and `added` are what the drink was poured of, each between two equal amounts; both empty where nothing
    is known of it, and the table is then told in words. `lots` and `additions` are at hand, within their limits.
    Without `targets` a noticeable step is taken. `consistency` says whether readings of the vessel fit what was poured;
    `held` is what a vessel that was measured was poured of [g].
    """

    fault: Fault
    in_vessel: tuple[LotAsked, ...] = ()
    added: tuple[AdditionAsked, ...] = ()
    lots: tuple[LotAsked, ...] = ()
    additions: tuple[AdditionAsked, ...] = ()
    targets: tuple[TargetAsked, ...] = ()
    market: Market | None = None
    colour: WineColour | None = None
    sulfite: SulfiteFound = SulfiteFound()
    mistake: Mistake | None = None
    rounding: str = "none"
    consistency: Consistency | None = None
    held: tuple[tuple[Material, float], ...] = ()
    circumstances: Circumstances = field(default_factory=Circumstances)
