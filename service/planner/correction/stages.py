"""What was in the vessel at each measuring: contents, and how each unknown of what was poured moves them.

Pours add up. What is lost takes of everything in proportion; as so many litres were lost, a drink of which there was
more has lost a smaller share. So with the contents C and the volume V before, L lost and an unknown that moves them
by c and v,

    C (1 − L/V),  and each unknown moves them by  c (1 − L/V) + C (L/V) v/V
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import inf
from operator import mul
from typing import Final

from service.errors import InconsistentError
from service.model.contents import SIZE, Contents
from service.model.gradients import litres_gradient
from service.model.unknowns import Unknown
from service.planner.asked import AdditionAsked, Instruments, LotAsked
from service.planner.beliefs import amount_unknown, composition_unknowns, shared_names
from service.planner.correction.asked import NO_POUR, VESSEL, CorrectionAsked, PourAsked, StageAsked
from service.planner.materials import Material, materials_of

LOST: Final = "volume lost"
"""Name of the unknown that is how much was lost."""

Vector = tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Pour:
    """How much of a material [g] went in during a stage, or of the vessel [L] was lost."""

    material: str
    stage: int
    mass_g: float = 0.0
    lost_l: float = 0.0


@dataclass(frozen=True, slots=True)
class AtStage:
    """The vessel at the end of a stage, as the figures of the request have it.

    `left_g` is how much of each material is in it, `shifts` what a unit of each unknown adds to `contents`. `if_lost`
    is what they would gain, for each stage up to this one, if all that was in the vessel then had been lost.
    """

    contents: Contents
    left_g: Vector
    shifts: tuple[Vector, ...]
    if_lost: tuple[Vector, ...]


@dataclass(frozen=True, slots=True)
class Poured:
    """Everything poured: materials with all that went in of each [g], the unknowns and the vessel after each stage.

    `unknowns` have the shifts of the last stage; `pours` stand beside them: which pour an unknown amount is of, or
    None.
    """

    materials: tuple[Material, ...]
    masses_g: Vector
    unknowns: tuple[Unknown, ...]
    pours: tuple[Pour | None, ...]
    stages: tuple[AtStage, ...]


def poured_by_stage(asked: CorrectionAsked) -> Poured:
    """Everything that was poured, stage by stage.

    Parameters: asked.
    Returns: Poured.
    Raises: InconsistentError where more was lost than there was.
    """
    materials = materials_of(asked.poured_lots, (*asked.poured_additions, *asked.poured_besides))
    instruments = asked.plan.circumstances.instruments
    pours = [[_pour_of(asked, stage, m) for m in materials] for stage in asked.stages]
    masses = [[_mass_g(m, pour) for m, pour in zip(materials, row, strict=True)] for row in pours]
    found: list[tuple[Unknown, Pour | None, list[Vector]]] = []
    places: dict[tuple[str, str], int] = {}
    for k, (material, name) in enumerate(zip(materials, shared_names(materials), strict=True)):
        own = [row[k] for row in masses]
        if not any(own):
            continue
        for unknown in composition_unknowns(material, instruments):
            named = unknown.scaled(1.0, name if unknown.of == material.name else None)
            shifts = [unknown.scaled(mass_g).shift for mass_g in own]
            place = places.setdefault((named.what, named.of), len(found))
            if place == len(found):
                found.append((named, None, shifts))
            else:
                earlier = found[place][2]
                found[place] = (named, None, [_sum(a, b) for a, b in zip(earlier, shifts, strict=True)])
        found += _amounts(material, [row[k] for row in pours], own, instruments)
    lost = [s for s, stage in enumerate(asked.stages) if stage.lost_sd_l > 0.0]
    unknowns = [u for u, _, _ in found]
    unknowns += [_loss(asked.stages[s], s, len(lost)) for s in lost]
    stages = tuple(_stages(asked, materials, masses, [shifts for _, _, shifts in found], lost))
    return Poured(
        materials,
        tuple([sum(row[k] for row in masses) for k in range(len(materials))]),
        tuple(replace(u, shift=shift) for u, shift in zip(unknowns, stages[-1].shifts, strict=True)),
        (*(pour for _, pour, _ in found), *(Pour(VESSEL, s, lost_l=asked.stages[s].lost_l) for s in lost)),
        stages,
    )


def _pour_of(asked: CorrectionAsked, stage: StageAsked, material: Material) -> PourAsked:
    """What went in of a material during a stage."""
    for sources, pours in (
        (asked.poured_lots, stage.lots),
        (asked.poured_additions, stage.additions),
        (asked.poured_besides, stage.besides),
    ):
        for source, pour in zip(sources, pours, strict=True):
            if source is material.source:
                return pour
    return NO_POUR


def _mass_g(material: Material, pour: PourAsked) -> float:
    if isinstance(material.source, LotAsked):
        return pour.amount * 1000.0 * (material.density_g_ml or 1.0)
    return pour.amount


def _amounts(
    material: Material, pours: Sequence[PourAsked], masses_g: Sequence[float], instruments: Instruments
) -> Iterator[tuple[Unknown, Pour, list[Vector]]]:
    """One unknown for each pour of a material: how much it really was."""
    number = 0
    for stage, (pour, mass_g) in enumerate(zip(pours, masses_g, strict=True)):
        if mass_g <= 0.0:
            continue
        number += 1
        source = material.source
        if isinstance(source, AdditionAsked):
            source = replace(source, amount_sd_g=pour.sd)
        else:
            source = replace(source, volume_sd_share=None if pour.sd is None else pour.sd / pour.amount)
        unknown = amount_unknown(replace(material, source=source), mass_g, instruments)
        if unknown is None:
            continue
        of = material.name if number == 1 else f"{material.name} (pour {number})"
        shifts = [unknown.shift if s == stage else (0.0,) * SIZE for s in range(len(pours))]
        yield replace(unknown, of=of), Pour(material.name, stage, mass_g), shifts


def _loss(stage: StageAsked, place: int, losses: int) -> Unknown:
    of = VESSEL if losses == 1 else f"{VESSEL} (stage {place + 1})"
    return Unknown(LOST, (0.0,) * SIZE, 0.0, -stage.lost_l / stage.lost_sd_l, inf, "", of)


def _stages(
    asked: CorrectionAsked,
    materials: Sequence[Material],
    masses_g: Sequence[Sequence[float]],
    shifts_of: Sequence[Sequence[Vector]],
    lost: Sequence[int],
) -> Iterator[AtStage]:
    contents = Contents((0.0,) * SIZE)
    left = [0.0] * len(materials)
    shifts: list[Vector] = [(0.0,) * SIZE] * (len(shifts_of) + len(lost))
    if_lost: list[Vector] = []
    for s, stage in enumerate(asked.stages):
        for k, (material, mass_g) in enumerate(zip(materials, masses_g[s], strict=True)):
            if mass_g:
                left[k] += mass_g
                contents = contents.plus(material.per_g.scaled(mass_g))
        shifts[: len(shifts_of)] = [_sum(a, own[s]) for a, own in zip(shifts, shifts_of, strict=False)]
        if_lost.append(tuple([-v for v in contents.vector]))
        if stage.lost_l > 0.0:
            litres = contents.volume_ml / 1000.0
            if stage.lost_l >= litres:
                text = f"{stage.lost_l:.4g} L cannot have been lost of {litres:.4g} L: check both."
                raise InconsistentError(text, "/lost" if s == len(asked.stages) - 1 else f"/earlier/{s}/lost")
            share, gradient = stage.lost_l / litres, litres_gradient(contents)
            before = (contents.vector, litres, gradient)
            shifts = [_less(shift, share, *before) for shift in shifts]
            if_lost = [_less(shift, share, *before) for shift in if_lost]
            if s in lost:
                by = stage.lost_sd_l / litres
                shifts[len(shifts_of) + lost.index(s)] = tuple([-by * v for v in contents.vector])
            contents = contents.scaled(1.0 - share)
            left = [(1.0 - share) * g for g in left]
        yield AtStage(contents, tuple(left), tuple(shifts), tuple(if_lost))


def _less(shift: Vector, share: float, whole: Vector, litres: float, gradient: Vector) -> Vector:
    """A shift of the whole once so many litres, a `share` of the usual volume, are gone: see the module's text."""
    own = share * sum(map(mul, gradient, shift)) / litres
    return tuple([(1.0 - share) * a + own * b for a, b in zip(shift, whole, strict=True)])


def _sum(a: Vector, b: Vector) -> Vector:
    return tuple([x + y for x, y in zip(a, b, strict=True)])
