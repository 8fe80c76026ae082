"""What is lost between the blend and the bottles, as people write it."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from service.api.numbers import PositiveNumber, RequestModel, ShortText
from service.api.requests import VolumeText

Share = Annotated[ShortText, Field(examples=["4 %"])]

Height = Annotated[PositiveNumber | ShortText, Field(examples=["35 mm", "1 3/8 in", "200 mL", 35])]


class JarTestIn(RequestModel):
    """A straight jar of the blend that stood cold for 48 to 72 h: how high the settled layer, how high the whole."""

    layer: Height = Field(description="Height or volume of the settled layer; a bare number where both are.")
    height: Height = Field(description="Height or volume of all that is in the jar, in the same unit.")


class LossesIn(RequestModel):
    """What is lost between the blend and the bottles: shares of what there is at that step, then volumes.

    What is left out counts as nothing, and the answer says so.
    """

    racking: Share | None = Field(
        None,
        description="Left in one transfer of the whole blend, of its volume. Lees come off the base before it is "
        "measured: its volume is that which was racked.",
    )
    settling: ShortText | None = Field(
        None,
        examples=["20 %", "estimate"],
        description="The settled layer, of what there is then; `estimate` reckons it from the citrus juice.",
    )
    jar_test: JarTestIn | None = Field(None, description="Instead of `settling`: the layer as it was measured.")
    dead_volume: VolumeText | None = Field(
        None, examples=["0.3 L"], description="What stays in pipes, pump, filter and the bottom of a keg."
    )
    samples: VolumeText | None = Field(None, examples=["200 mL"], description="What is drawn to measure and to taste.")


class LossesOfTheBaseIn(LossesIn):
    """What is lost of the base before the blend, its lees and its racking; and of the blend, all the rest."""

    lees: Share | None = Field(
        None, examples=["4 %"], description="Left with the yeast lees of the base, of what has fermented."
    )
    racking: Share | None = Field(
        None, description="Left in one transfer of the base, of what there is then, before the blend."
    )
