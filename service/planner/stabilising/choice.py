"""How much of each salt: sorbate first, because it lifts the pH that the sulfite has to work at, then sulfite.

Targets are held at packaging. A volume that grows in between thins both, so that the dose is larger by that much; one
that shrinks takes along what is dissolved in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from service.chemistry.sorbate import SorbicDose, sorbic_dose
from service.chemistry.sulfite import (
    MOLECULAR_TARGET_DRY_MG_PER_L,
    PkBasis,
    free_so2_for_molecular_mg_per_l,
    molecular_so2_mg_per_l,
    total_addition_for_free,
)
from service.planner.acidity_cautions import STOP_PH
from service.planner.answers import Caution
from service.planner.stabilising.blocks import BOTH, SORBATE, Block, blocks_before, little_sulfite_block, ph_block
from service.planner.stabilising.limits import limit_of_sorbic, lowest_so2_limit, over
from service.planner.stabilising.situation import Situation

_LOWEST_PH, _HIGHEST_PH = 2.0, 5.0


@dataclass(frozen=True, slots=True)
class Choice:
    """What goes in and what was wanted; concentrations at packaging but for `added`, which is per litre at dosing.

    `total_wanted` and `sorbic_wanted` are what the drink would hold if nothing forbade the doses. `careful_molecular`:
    molecular SO2 by the lower pK of convention and thermo, whatever the dose was computed with.
    """

    blocks: tuple[Block, ...]
    published: SorbicDose
    published_at_final_ph: SorbicDose
    sorbic_wanted: float | None
    sorbic: float
    pk: float
    pk_basis: PkBasis
    pks: Mapping[PkBasis, float]
    free_wanted: float
    total_wanted: float
    added: float
    careful_molecular: float
    ph_at_dosing: float
    ph_at_packaging: float

    @property
    def sorbic_told(self) -> float:
        """Sorbic acid to hold against the limit: as wanted where the limit forbids it, else as it goes in [mg/L]."""
        limited = any(block.caution.code == "sorbic_acid_over_limit" for block in self.blocks)
        return self.sorbic_wanted or 0.0 if limited else self.sorbic

    def blocked(self, salt: str) -> bool:
        """Whether a `stop` keeps a salt out."""
        return any(salt in block.salts for block in self.blocks)


def choose(here: Situation) -> Choice:
    """Doses of both salts, or what forbids them.

    Parameters: here.
    Returns: Choice. Never more than a limit, never a dose of sorbate that is not printed or asked for.
    """
    blocks = blocks_before(here)
    packaged = here.packaging
    published = sorbic_dose(packaged.abv_percent, packaged.ph)
    wanted = _sorbic_wanted(here, published)
    limit = limit_of_sorbic(here)
    if wanted is not None and over(wanted, limit.mg_per_l):
        blocks.append(
            Block(
                Caution(
                    "sorbic_acid_over_limit",
                    "stop",
                    f"{wanted:.0f} mg/L sorbic acid is over {limit.mg_per_l:.0f} mg/L "
                    f"({_short(limit.regulation)}): no sorbate is dosed. Use heat or sterile filtration.",
                    limit.source_key,
                ),
                SORBATE,
            )
        )
    if wanted and not _keeps_out(blocks, "sorbate"):
        highest = max(_phs(here, wanted))
        if highest > STOP_PH:
            blocks.append(ph_block(highest))
    pk, basis, pks = _pk(here)
    if wanted and not _keeps_out(blocks, "sorbate"):
        ph = _phs(here, wanted)[1]
        free = max(free_wanted_at(here, ph, pk), here.free_now_mg_per_l / here.growth)
        molecular = molecular_at(free, ph, _careful(pks))
        if not enough_beside_sorbate(molecular):
            blocks.append(little_sulfite_block(molecular))
    sorbic = wanted if wanted is not None and not _keeps_out(blocks, "sorbate") else 0.0
    phs = _phs(here, sorbic)
    free_wanted = free_wanted_at(here, phs[1], pk)
    now = here.total_now_mg_per_l / here.growth
    added, total_wanted = 0.0, now
    if "sulfite" in here.hurdles and not _keeps_out(blocks, "sulfite"):
        added = total_addition_for_free(free_wanted * here.growth, here.free_now_mg_per_l, here.bound_share)
        total_wanted = (here.total_now_mg_per_l + added) / here.growth
    most = lowest_so2_limit(here)
    if over(total_wanted, most.mg_per_l):
        blocks.append(
            Block(
                Caution(
                    "total_so2_over_limit",
                    "stop",
                    f"The drink holds {now:.0f} mg/L total SO2, over {most.mg_per_l:.0f} "
                    f"({_short(most.regulation)}). Add none; only dilution lowers it."
                    if over(now, most.mg_per_l)
                    else f"{here.target_text} would take {total_wanted:.0f} mg/L total SO2, over {most.mg_per_l:.0f} "
                    f"({_short(most.regulation)}): the target cannot be met, nothing is dosed.",
                    most.source_key,
                ),
                BOTH,
            )
        )
        added, sorbic = 0.0, 0.0
        phs = _phs(here, sorbic)
    free = (here.free_now_mg_per_l + added * (1.0 - here.bound_share)) / here.growth
    return Choice(
        blocks=tuple(blocks),
        published=published,
        published_at_final_ph=sorbic_dose(packaged.abv_percent, phs[1]),
        sorbic_wanted=wanted,
        sorbic=sorbic,
        pk=pk,
        pk_basis=basis,
        pks=pks,
        free_wanted=free_wanted,
        total_wanted=total_wanted,
        added=added,
        careful_molecular=molecular_at(free, phs[1], _careful(pks)),
        ph_at_dosing=phs[0],
        ph_at_packaging=phs[1],
    )


def _short(regulation: str) -> str:
    """A regulation without its annex, for a caution; the whole of it stands among the limits."""
    return regulation.split(",", maxsplit=1)[0]


def _keeps_out(blocks: list[Block], salt: str) -> bool:
    return any(salt in block.salts for block in blocks)


def _sorbic_wanted(here: Situation, published: SorbicDose) -> float | None:
    if "sorbate" not in here.hurdles:
        return None
    target = here.asked.sorbate.target_mg_per_l
    return published.dose_mg_per_l if target is None else target


def _phs(here: Situation, sorbic_mg_per_l: float) -> tuple[float, float]:
    """pH at dosing and at packaging with so much sorbic acid at packaging."""
    return here.dosing.ph_with(sorbic_mg_per_l * here.growth), here.packaging.ph_with(sorbic_mg_per_l)


def _pk(here: Situation) -> tuple[float, PkBasis, Mapping[PkBasis, float]]:
    """The pK to dose by, its basis, and all that are known here.

    The trade's 1.81 is not the careful one in a weak or cold drink: there the corrected one, which is lower, is taken.
    """
    pks = {basis: pk for basis in PkBasis if (pk := here.pk(basis)) is not None}
    basis = here.pk_basis
    if basis is PkBasis.CONVENTION and pks.get(PkBasis.THERMO, pks[basis]) < pks[basis]:
        basis = PkBasis.THERMO
    return pks[basis], basis, pks


def _careful(pks: Mapping[PkBasis, float]) -> float:
    """The pK that sees least molecular SO2; the OIV's table is known to err on the other side."""
    return min(pks[PkBasis.CONVENTION], pks.get(PkBasis.THERMO, pks[PkBasis.CONVENTION]))


def enough_beside_sorbate(molecular_mg_per_l: float) -> bool:
    """Whether lactic bacteria are held off sorbate by at least the usual target of a dry drink."""
    return not over(MOLECULAR_TARGET_DRY_MG_PER_L, molecular_mg_per_l)


def free_wanted_at(here: Situation, ph: float, pk: float) -> float:
    """Free SO2 that the target asks for at packaging [mg/L]; 0 where none was asked for."""
    if here.free_target_mg_per_l is not None:
        return here.free_target_mg_per_l
    if here.molecular_target_mg_per_l is None:
        return 0.0
    return free_so2_for_molecular_mg_per_l(here.molecular_target_mg_per_l, _inside(ph), pk)


def molecular_at(free_mg_per_l: float, ph: float, pk: float) -> float:
    """Molecular SO2 of a drink [mg/L]."""
    return molecular_so2_mg_per_l(free_mg_per_l, _inside(ph), pk)


def _inside(ph: float) -> float:
    """A pH that the error of a meter or a salt took just outside the range is read at its end."""
    return min(max(ph, _LOWEST_PH), _HIGHEST_PH)
