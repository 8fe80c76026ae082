"""pH of many liquids at once, for draws and batches: `charge_balance.ph_of` on arrays.

numpy is imported when the function is called, because a single question does without it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from service.chemistry.activity import DAVIES_IONIC_MAX_MOL_PER_L, relative_permittivity
from service.chemistry.medium import LN_10, STANDARD_TEMPERATURE_C, medium_of
from service.chemistry.weak_acids import ACIDS, DISSOCIATIONS, WATER
from service.errors import OutOfRangeError, SolverError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Rows = NDArray[np.float64]

_CHUNK = 1024
"""Rows worked on together: their arrays stay in the processor's cache."""

_ROUNDS = 60
_TOLERANCE = 1e-11
_LONGEST_STEP = 1.0


def ph_of_many(
    acids_mmol: Rows,
    sid_meq: Rows,
    ionic_mmol: Rows,
    abv_percent: Rows,
    *,
    temperature_c: float = STANDARD_TEMPERATURE_C,
) -> Rows:
    """pH of many liquids.

    Parameters: acids_mmol, shape (N, number of ACIDS) [mmol/L]; sid_meq, ionic_mmol and abv_percent, shape (N,)
    [meq/L, mmol/L, % vol]; temperature_c, scalar [°C].
    Returns: pH, shape (N,).
    Raises: OutOfRangeError for negative amounts; SolverError if a row does not settle.
    Validity and source: as `charge_balance.ph_of`, with which it agrees to 1e-9.

    Example: 0.05 mol/L potassium dihydrogen citrate (3.776 in J. Res. NBS 73A:37), in water and in 12 % vol.

    >>> import numpy as np
    >>> acids = np.zeros((2, len(ACIDS)))
    >>> acids[:, 0] = 50.0
    >>> [round(float(ph), 1) for ph in ph_of_many(acids, np.full(2, 50.0), np.full(2, 25.0), np.array([0.0, 12.0]))]
    [3.8, 3.9]
    """
    import numpy as np

    count = len(sid_meq)
    if count and (acids_mmol.min() < 0.0 or ionic_mmol.min() < 0.0):
        raise OutOfRangeError("An acid cannot be present in a negative amount.")
    if count and not (abv_percent.min() >= 0.0 and abv_percent.max() <= 100.0):
        raise OutOfRangeError("Strength lies between 0 and 100 % vol.")
    ph = np.empty(count)
    for at in range(0, count, _CHUNK):
        part = slice(at, at + _CHUNK)
        ph[part] = _chunk(acids_mmol[part], sid_meq[part], ionic_mmol[part], abv_percent[part], temperature_c)
    return ph


def _chunk(acids_mmol: Rows, sid_meq: Rows, ionic_mmol: Rows, abv_percent: Rows, temperature_c: float) -> Rows:
    import numpy as np

    pure = medium_of(0.0, temperature_c)
    any_strength: Any = abv_percent
    permittivity = relative_permittivity(temperature_c, any_strength) / relative_permittivity(temperature_c)
    davies = LN_10 * pure.davies * permittivity**-1.5
    sid, strong = 1e-3 * sid_meq, 1e-3 * ionic_mmol
    water = pure.water * np.exp(-WATER.pk_per_abv_percent * LN_10 * abv_percent)
    by_slope = {s: np.exp(-s * LN_10 * abv_percent) for s in {DISSOCIATIONS[acid].pk_per_abv_percent for acid in ACIDS}}
    acids = []
    for k, (acid, constants) in enumerate(zip(ACIDS, pure.products, strict=True)):
        amount = acids_mmol[:, k]
        if amount.any():
            move = by_slope[DISSOCIATIONS[acid].pk_per_abv_percent]
            moved = [k_n * move**n for n, k_n in enumerate(constants, 1)]
            acids.append((1e-3 * amount, moved))
    ph, ionic = np.full(len(sid), 3.5), strong.copy()
    for _ in range(_ROUNDS):
        limited = np.minimum(ionic, DAVIES_IONIC_MAX_MOL_PER_L)
        root = np.sqrt(limited)
        factor = np.exp(davies * (root / (1.0 + root) - 0.3 * limited))
        h = np.exp(-LN_10 * ph)
        hydrogen, hydroxide = h * factor, water / h * factor
        residual = sid + hydrogen - hydroxide
        buffer = hydrogen + hydroxide
        ions = buffer.copy()
        ratio = factor / h
        squared = factor * factor
        for amount, moved in acids:
            power, boost = ratio, squared
            share = moved[0] * power
            whole, mean, square = 1.0 + share, share, share
            for n in range(2, len(moved) + 1):
                power = power * ratio * boost
                boost = boost * squared
                share = moved[n - 1] * power
                whole = whole + share
                mean = mean + n * share
                square = square + n * n * share
            mean = mean / whole
            square = square / whole
            residual -= amount * mean
            buffer += amount * (square - mean * mean)
            ions += amount * square
        step = np.clip(residual / (LN_10 * buffer), -_LONGEST_STEP, _LONGEST_STEP)
        ph += step
        new = strong + 0.5 * ions
        settled = np.abs(step).max() < _TOLERANCE and np.abs(new - ionic).max() < _TOLERANCE
        ionic = new
        if settled:
            return ph
    raise SolverError("The balance of charges did not settle for every row.")
