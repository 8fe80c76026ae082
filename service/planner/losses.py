"""What is lost between the blend and the bottles: racking, the settled layer, what stays in pipes, samples.

    V_packaged = V_blended · (1 − lees) · (1 − racking) · (1 − settling) − dead volume − samples

Lees come off a base before it is measured: only a must plan, which looks back from the drink to its base, counts them.

What is lost has the blend's own composition, so that only the volume changes. Insoluble solids are no more than about
1 % by mass, and what is dissolved stands at most so much higher in the clear part than in the whole: not counted.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot
from typing import Final, Literal

from service.errors import InconsistentError, OutOfRangeError
from service.model.lot_class import Assumed
from service.planner.answers_decisions import SHOWN
from service.planner.span import Span
from service.quantities import System, volume_text

LossName = Literal["lees", "racking", "settling", "dead_volume", "samples"]

_WORDS: Final = {
    "lees": "left with the lees",
    "racking": "left in racking",
    "settling": "below the clear part, in the settled layer",
    "dead_volume": "left in pipes and vessels",
    "samples": "taken as samples",
}
_STEP_ML: Final = 10.0
_ROUNDED: Final = 1e-12
"""Share of what is lost that rounding of a float may lack."""

NO_CITRUS: Final = "no citrus juice: pulp is reckoned of citrus only; a jar test tells"
"""What an estimate of the settled layer says where there is nothing to reckon it from."""

STATED: Final = "as_stated"
"""Source of a figure that the caller stated without saying how it was found."""


@dataclass(frozen=True, slots=True)
class Losses:
    """What is lost of a blend: shares of what there is at that step (0 to 1), then volumes [L].

    `settling` is the settled layer as a share of the whole height, with its 90 % interval; None where it counts as
    nothing. It is `measured` where a jar test told it; a share that was only stated has no interval. With `estimate` it
    is to be reckoned from the juice in the blend (`service.planner.pulp.settled`), and until then counts as nothing.
    """

    lees_share: float = 0.0
    racking_share: float = 0.0
    settling: Span | None = None
    dead_volume_l: float = 0.0
    samples_l: float = 0.0
    assumed: tuple[Assumed, ...] = ()
    measured: bool = False
    estimate: bool = False

    def __post_init__(self) -> None:
        """Refuse shares and volumes that nobody can lose."""
        for share in (self.lees_share, self.racking_share, self.settling_share.low, self.settling_share.high):
            if not 0.0 <= share < 1.0:
                raise OutOfRangeError(f"A share that is lost lies from 0 to below 100 %, not at {100.0 * share:g} %.")
        if min(self.dead_volume_l, self.samples_l) < 0.0:
            raise OutOfRangeError("What is lost is no volume below zero.")

    @property
    def settling_share(self) -> Span:
        """The settled layer; nothing where none is known."""
        return Span.exact(0.0) if self.settling is None else self.settling

    @property
    def stated(self) -> bool:
        """Whether the settled layer is a share that the caller stated, of whose error nothing is known."""
        return self.settling is not None and not self.measured and not self.estimate

    @property
    def without_citrus(self) -> bool:
        """Whether the settled layer was to be reckoned and there is no citrus juice to reckon it from."""
        return self.estimate and self.settling is not None and self.settling.high == 0.0

    @property
    def before_settling(self) -> float:
        """What lees and racking leave, as a share."""
        return (1.0 - self.lees_share) * (1.0 - self.racking_share)

    @property
    def kept_share(self) -> float:
        """What lees, racking and the settled layer leave, as a share."""
        return self.before_settling * (1.0 - self.settling_share.value)

    @property
    def volumes_l(self) -> float:
        """What is lost whatever the size of the blend [L]."""
        return self.dead_volume_l + self.samples_l


@dataclass(frozen=True, slots=True)
class LossPart:
    """One of the losses."""

    __pydantic_config__ = SHOWN

    what: LossName
    """Which: lees, racking, settling, dead_volume (pipes and vessels) or samples."""
    share_percent: float | None
    """Share of what there is at that step [%]; null for what is a volume."""
    volume_l: float
    """What it takes [L]."""
    low: float
    """Lower end of the 90 % interval [L]: by the volume, and by a settled layer that was measured or estimated; the
    error of what was only stated is not known and not in it."""
    high: float
    """Upper end [L]."""
    text: str
    """The same in words."""
    source_id: str
    """Key of /v1/sources: `as_stated` where it is the caller's bare figure."""


@dataclass(frozen=True, slots=True)
class LossReport:
    """What is blended, what is lost on the way, and what is left to fill."""

    __pydantic_config__ = SHOWN

    blended_l: float
    """Volume of the blend at 20 °C [L]."""
    blended_low: float
    """Lower end of its 90 % interval [L]."""
    blended_high: float
    """Upper end [L]."""
    packaged_l: float
    """Volume that is left to fill [L]."""
    packaged_low: float
    """Lower end of its 90 % interval [L]: by the volume, and by a settled layer that was measured or estimated; the
    error of what was only stated is not known and not in it."""
    packaged_high: float
    """Upper end [L]."""
    lost_l: float
    """What is lost in all [L]."""
    lost_percent: float
    """The same of the blend [%]."""
    parts: tuple[LossPart, ...]
    """Each loss that is not nothing, in the order in which it comes; and a settled layer that was to be reckoned, where
    there is no citrus juice to reckon it from."""
    measured: bool
    """Whether a jar test told the settled layer; not where it is a stated share, our estimate or left out."""
    text: str
    """The whole in words."""


def packaged_l(blended_l: float, losses: Losses) -> float:
    """What is left to fill of a blend.

    V_packaged = V_blended·(1−lees)(1−racking)(1−settling) − dead volume − samples

    Parameters: blended_l [L]; losses.
    Returns: volume [L].
    Raises: InconsistentError where nothing would be left.
    Validity: what is lost has the composition of the blend.
    Source: arithmetic.

    >>> round(packaged_l(30.0, Losses(settling=Span.exact(0.2), dead_volume_l=0.3)), 3)  # 30 L × 0.8 − 0.3 L
    23.7
    """
    left = blended_l * losses.kept_share - losses.volumes_l
    if left < -_ROUNDED * losses.volumes_l:
        raise InconsistentError(
            f"The losses take more than the {blended_l:.3g} L there are: check dead_volume, samples and shares."
        )
    return max(left, 0.0)


def blended_l(packaged_l: float, losses: Losses) -> float:
    """How much to blend so that so much is left to fill; the inverse of `packaged_l`.

    V_blended = (V_packaged + dead volume + samples) / ((1−lees)(1−racking)(1−settling))

    Parameters: packaged_l [L]; losses.
    Returns: volume [L].
    Raises: OutOfRangeError below zero.
    Validity: as packaged_l.
    Source: arithmetic.

    >>> round(blended_l(23.7, Losses(settling=Span.exact(0.2), dead_volume_l=0.3)), 3)  # (23.7 L + 0.3 L) / 0.8
    30.0
    """
    if not packaged_l >= 0.0:
        raise OutOfRangeError(f"What is to be filled is a volume from zero, not {packaged_l:g} L.")
    return (packaged_l + losses.volumes_l) / losses.kept_share


def packaged_span(blended: Span, losses: Losses) -> Span:
    """What is left to fill, with its 90 % interval: that of the blend and that of the settled layer, as independent.

    Parameters: blended [L]; losses.
    Returns: volumes [L], none below zero.
    Raises: InconsistentError where nothing would be left.
    Validity: first order on each side.
    Source: arithmetic.
    """
    value = packaged_l(blended.value, losses)
    layer, before = losses.settling_share, losses.before_settling
    down = hypot(losses.kept_share * (blended.value - blended.low), blended.value * before * (layer.high - layer.value))
    up = hypot(losses.kept_share * (blended.high - blended.value), blended.value * before * (layer.value - layer.low))
    return Span(value, max(value - down, 0.0), value + up)


def loss_report(blended: Span, losses: Losses, system: System = "metric") -> LossReport:
    """What of a blend is lost where, and what is left to fill.

    Parameters: blended, the volume of the blend [L]; losses; system, in which the texts are written.
    Returns: LossReport; its parts and what is left make up the blend.
    Raises: InconsistentError where nothing would be left.
    Validity, source: as packaged_l.

    >>> report = loss_report(Span.exact(25.0), Losses(lees_share=0.04, samples_l=0.2))
    >>> [(part.what, round(part.volume_l, 3)) for part in report.parts], round(report.packaged_l, 3)
    ([('lees', 1.0), ('samples', 0.2)], 23.8)
    """
    left = packaged_span(blended, losses)
    parts, there = [], blended
    layer = losses.settling_share
    steps: tuple[tuple[LossName, Span], ...] = (
        ("lees", Span.exact(losses.lees_share)),
        ("racking", Span.exact(losses.racking_share)),
        ("settling", layer),
    )
    for what, share in steps:
        taken = _times(there, share)
        kept = Span(1.0 - share.value, 1.0 - share.high, 1.0 - share.low)
        if what == "settling" and losses.without_citrus:
            parts.append(LossPart(what, 0.0, 0.0, 0.0, 0.0, NO_CITRUS, _source_of_layer(losses)))
        elif share.high > 0.0:
            source = _source_of_layer(losses) if what == "settling" else STATED
            parts.append(_part(what, 100.0 * share.value, taken, source, system))
        there = _times(there, kept)
    volumes: tuple[tuple[LossName, float], ...] = (
        ("dead_volume", losses.dead_volume_l),
        ("samples", losses.samples_l),
    )
    parts += [_part(what, None, Span.exact(v), STATED, system) for what, v in volumes if v > 0.0]
    lost = blended.value - left.value
    percent = 100.0 * lost / blended.value if blended.value > 0.0 else 0.0
    return LossReport(
        round(blended.value, 4),
        round(blended.low, 4),
        round(blended.high, 4),
        round(left.value, 4),
        round(left.low, 4),
        round(left.high, 4),
        round(lost, 4),
        round(percent, 2),
        tuple(parts),
        losses.measured,
        _told(blended, left, losses, system),
    )


def _source_of_layer(losses: Losses) -> str:
    return "reading" if losses.measured else STATED if losses.stated else "common_practice"


def _times(volume: Span, share: Span) -> Span:
    """A share of a volume, both with their intervals, as independent."""
    value = volume.value * share.value
    down = hypot(share.value * (volume.value - volume.low), volume.value * (share.value - share.low))
    up = hypot(share.value * (volume.high - volume.value), volume.value * (share.high - share.value))
    return Span(value, max(value - down, 0.0), value + up)


def _part(what: LossName, share_percent: float | None, taken: Span, source_id: str, system: System) -> LossPart:
    shown = volume_text(1000.0 * taken.value, system, _STEP_ML)
    return LossPart(
        what,
        None if share_percent is None else round(share_percent, 2),
        round(taken.value, 4),
        round(taken.low, 4),
        round(taken.high, 4),
        f"{shown} {_WORDS[what]}",
        source_id,
    )


def _told(blended: Span, left: Span, losses: Losses, system: System) -> str:
    def shown(litres: float) -> str:
        return volume_text(1000.0 * litres, system, _STEP_ML)

    text = f"Of {shown(blended.value)} blended {shown(left.value)} are left to fill"
    if left.low < left.high:
        text += f" ({shown(left.low)} to {shown(left.high)})"
    if losses.stated:
        return f"{text}; the settled layer is as stated, and no error of it is counted."
    if losses.without_citrus:
        return f"{text}; no settled layer is counted, {NO_CITRUS}."
    if losses.estimate:
        return f"{text}; the settled layer is an estimate: stand a jar of the blend cold for 48 to 72 h and measure it."
    return f"{text}."
