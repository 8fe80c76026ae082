"""What decides the pH of a liquid, as one vector that adds up: the weak acids and the strong ions.

Amounts of acid count all forms, free and bound. The strong ion difference (K + Na + 2 Ca + 2 Mg − Cl − 2 SO₄ …) is the
charge that the strong ions leave for the acids to balance. Where it was inferred from readings it also stands for
what the model does not know (amino acids, calcium bound by citrate): do not read it as potassium.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from operator import add

from service.chemistry.weak_acids import ACIDS, WeakAcid

_AT = {acid: k for k, acid in enumerate(ACIDS)}


@dataclass(frozen=True, slots=True)
class AcidState:
    """Acids [mmol] in the order of ACIDS, strong ion difference [meq], and ½Σz²c of the strong ions [mmol].

    Per litre of a liquid, per kilogram of an ingredient, or for a whole portion: the vector adds up either way.
    """

    acids_mmol: tuple[float, ...]
    sid_meq: float = 0.0
    ionic_mmol: float = 0.0

    @classmethod
    def of(
        cls, acids_mmol: Mapping[WeakAcid, float], sid_meq: float = 0.0, ionic_mmol: float | None = None
    ) -> AcidState:
        """A state from named acids; the strong ions are monovalent unless `ionic_mmol` says otherwise.

        >>> AcidState.of({WeakAcid.CITRIC: 5.0}, 2.0).ionic_mmol
        1.0
        """
        row = [0.0] * len(ACIDS)
        for acid, amount in acids_mmol.items():
            row[_AT[acid]] += amount
        return cls(tuple(row), sid_meq, 0.5 * abs(sid_meq) if ionic_mmol is None else ionic_mmol)

    def mmol(self, acid: WeakAcid) -> float:
        """Amount of one acid, all its forms [mmol]."""
        return self.acids_mmol[_AT[acid]]

    @property
    def present(self) -> dict[WeakAcid, float]:
        """The acids that are there [mmol]."""
        return {acid: c for acid, c in zip(ACIDS, self.acids_mmol, strict=True) if c}

    def plus(self, other: AcidState) -> AcidState:
        """This portion and another together."""
        return AcidState(
            tuple(map(add, self.acids_mmol, other.acids_mmol)),
            self.sid_meq + other.sid_meq,
            self.ionic_mmol + other.ionic_mmol,
        )

    def scaled(self, factor: float) -> AcidState:
        """A multiple of this portion."""
        return AcidState(tuple([factor * c for c in self.acids_mmol]), factor * self.sid_meq, factor * self.ionic_mmol)


NO_ACID = AcidState((0.0,) * len(ACIDS))
