"""From the readings of many lots to what is in a litre of each: `service.model.lot` on arrays, for sweeps.

The same litre as `lot_from_readings` makes of gravity and strength alone, for ferments and spirits. A row whose
readings fit no liquid gets a state that says why, where the scalar function would raise. numpy is imported when it is
needed.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from functools import cache
from typing import TYPE_CHECKING

from service.errors import InputError
from service.model.contents import weights
from service.model.lot import (
    ETHANOL_G_PER_L_PER_PERCENT,
    FULLEST_SYRUP,
    READING_SLACK,
    RESIDUAL_GLUCOSE_SHARE,
    STRONGEST_ABV_PERCENT,
)
from service.model.lot_class import DRY_EXTRACT, JUICE_ROW, LotClass
from service.physics.ethanol_water import (
    ethanol_water_density_kg_m3,
    mass_fraction_from_abv_percent,
)
from service.physics.mixture import SOLIDS_FRACTION_MAX, WATER_G_PER_ML, volume_ml, volume_sums
from service.physics.mixture_arrays import volume_of_many_ml
from service.physics.root_rows import roots_from, roots_near_or_between
from service.physics.solutes import Component

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Rows = NDArray[np.float64]
    States = NDArray[np.uint8]
    Places = NDArray[np.intp]
else:
    Rows = States = Places = object

_LEAST_GRAVITY, _MOST_GRAVITY = 0.78, 1.45
_SETTLED_G = 1e-5
"""A last step this short leaves the sugar of a litre known to the last digits [g]."""

_SAVED_ML_PER_G = 0.39
"""Room that a gram of solids saves in the place of a gram of water, nearly: where searches begin [mL/g]."""

_SUGARS = {Component.GLUCOSE: RESIDUAL_GLUCOSE_SHARE, Component.FRUCTOSE: 1.0 - RESIDUAL_GLUCOSE_SHARE}
_SOLIDS = (Component.GLYCEROL, Component.FERMENT_ACIDS, Component.FERMENT_RESIDUE)
_SUMS_PER_G = tuple(volume_sums({c: 1.0}) for c in (Component.WATER, Component.ETHANOL, *_SOLIDS))
_SUGAR_SUMS = volume_sums(_SUGARS)
_SUM_COLUMNS = tuple(zip(*_SUMS_PER_G[:2], _SUGAR_SUMS, *_SUMS_PER_G[2:], strict=True))


class LotState(IntEnum):
    """Whether the readings of a row are those of a liquid, and why not."""

    KNOWN = 0
    NOT_A_NUMBER = 1
    GRAVITY_OUT_OF_RANGE = 2
    STRENGTH_OUT_OF_RANGE = 3
    LIGHTER_THAN_ITS_ALCOHOL = 4
    NO_ROOM_FOR_WATER = 5


@dataclass(frozen=True, slots=True)
class LitreRows:
    """A litre of each of many lots, shape (N,) [g]; `state` holds LotState, and what is not KNOWN is not a number.

    `dry` are glycerol, acids and rest, `sugar_g` glucose and fructose together.
    """

    state: States
    water_g: Rows
    ethanol_g: Rows
    sugar_g: Rows
    dry_g: tuple[Rows | float, Rows | float, Rows | float]

    def form(self, row: tuple[float, ...]) -> Rows:
        """A linear form of `service.model.contents.weights` of each litre, from masses and fermentable sugar alone."""
        import numpy as np

        total: Rows = row[_WATER] * self.water_g
        of_sugar = sum(row[at] * per_g for at, per_g in _SUGAR_ROW)
        if row[_ETHANOL]:
            total += row[_ETHANOL] * self.ethanol_g
        if of_sugar:
            total += of_sugar * self.sugar_g
        dry = sum(row[at] * mass for at, mass in zip(_DRY, self.dry_g, strict=True) if row[at])
        return np.add(total, dry, out=total)

    def sums(self) -> tuple[Rows | float, ...]:
        """The seven volume sums of each litre."""
        masses = (self.water_g, self.ethanol_g, self.sugar_g, *self.dry_g)
        found: list[Rows | float] = []
        for column in _SUM_COLUMNS:
            numbers, rows = 0.0, None
            for mass, per_g in zip(masses, column, strict=True):
                if not per_g:
                    continue
                if isinstance(mass, float):
                    numbers += per_g * mass
                else:
                    part = mass if per_g == 1.0 else per_g * mass
                    rows = part if rows is None else rows + part
            found.append(numbers if rows is None else rows + numbers if numbers else rows)
        return tuple(found)


def _places(components: tuple[Component, ...]) -> list[int]:
    return [weights({c: 1.0}).index(1.0) for c in components]


_WATER, _ETHANOL = _places((Component.WATER, Component.ETHANOL))
_DRY = _places(_SOLIDS)
_SUGAR_ROW = [(at, per_g) for at, per_g in enumerate(weights(_SUGARS, {"fermentable_g": 1.0})) if per_g]


def litres_from_readings(gravity: Rows, abv_percent: Rows, lot_class: LotClass = LotClass.MEAD) -> LitreRows:
    """Masses of water, ethanol and extract in a litre of many liquids known by gravity and strength.

    m_total = SG ρ_w V,  m_ethanol = q ρ_ethanol V,  V = V(water, ethanol, extract) by the binary sum

    Parameters: gravity, SG 20/20, shape (N,) [-]; abv_percent, shape (N,) [% vol]; lot_class of all, a ferment or a
        spirit.
    Returns: LitreRows.
    Raises: InputError for the class of a juice, whose make-up is that of an ingredient.
    Validity and source: as `service.model.lot.lot_from_readings`, with which each row agrees to 1e-11.

    Example: at SG 0.9945 and 11.5 % vol the OIV rule gives 25.4 g/L extract (computed), this one 25.2.

    >>> import numpy as np
    >>> litre = litres_from_readings(np.array([0.9945]), np.array([11.5]), LotClass.GRAPE_WINE)
    >>> round(float(litre.sugar_g[0]) + DRY_EXTRACT[LotClass.GRAPE_WINE].total, 1)
    25.2
    """
    import numpy as np

    if lot_class in JUICE_ROW:
        raise InputError(
            f"A sweep takes ferments and spirits for lots, not {lot_class.value}: name the juice as the ingredient.",
            "/lot_class",
        )
    dry = DRY_EXTRACT.get(lot_class)
    usual = (dry.glycerol, dry.acids, dry.rest) if dry else (0.0, 0.0, 0.0)
    total = gravity * (1000.0 * WATER_G_PER_ML)
    ethanol = abv_percent * ETHANOL_G_PER_L_PER_PERCENT
    state = np.zeros(len(gravity), dtype=np.uint8)
    start = _likely_sugar_g(total, ethanol, usual)
    spare = _Spare(total, ethanol, usual)
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        at_start = spare(start)
        sugar, step, _ = roots_from(spare, start, at_start, start + at_start / _SAVED_ML_PER_G, evaluations=2)
        syrup = total - ethanol
        regular = (
            (step <= _SETTLED_G)
            & (sugar >= 0.0)
            & (sugar + sum(usual) <= FULLEST_SYRUP * syrup)
            & (gravity >= _LEAST_GRAVITY)
            & (gravity <= _MOST_GRAVITY)
            & (abv_percent >= 0.0)
            & (abv_percent <= STRONGEST_ABV_PERCENT)
        )
    parts: tuple[Rows | float, ...] = usual
    odd = np.flatnonzero(~regular)
    if len(odd):
        columns = [np.full(len(gravity), part) for part in usual]
        state[odd] = _ruled_out(gravity[odd], abv_percent[odd])
        _set_odd(odd[state[odd] == LotState.KNOWN], state, total, ethanol, sugar, columns)
        unknown = state != LotState.KNOWN
        for column in (total, ethanol, sugar, *columns):
            column[unknown] = np.nan
        parts = tuple(columns)
    water = total - ethanol
    np.subtract(water, sugar, out=water)
    glycerol, acids, rest = parts
    np.subtract(water, glycerol + acids + rest, out=water)
    return LitreRows(state, water, ethanol, sugar, (glycerol, acids, rest))


class _Spare:
    """What a litre's mass takes beyond a litre, by the sugar in it [mL]; the other solids given."""

    def __init__(self, total: Rows, ethanol: Rows, dry: tuple[Rows | float, ...]) -> None:
        self.ethanol, self.syrup = ethanol, total - ethanol
        self.solids = sum(dry)
        self.liquor = total - self.solids
        glycerol, acids, rest = (per_g[3:] for per_g in _SUMS_PER_G[2:])
        self.fixed = [
            a * dry[0] + b * dry[1] + c * dry[2] for a, b, c in zip(glycerol, acids, rest, strict=True)
        ]  # on_sucrose, constant, linear, quadratic

    def __call__(self, sugar: Rows) -> Rows:
        on_sucrose, constant, linear, quadratic = self.fixed
        return volume_of_many_ml(
            self.liquor - sugar,
            self.ethanol,
            self.syrup,
            self.solids + sugar,
            on_sucrose + sugar,
            (constant - 1000.0) + _SUGAR_SUMS[4] * sugar,
            linear + _SUGAR_SUMS[5] * sugar,
            quadratic,
        )


@cache
def _start_law() -> tuple[float, float, float, float, float]:
    """Where the search for sugar starts: room of a gram of alcohol, and solids by the room that is missing.

    Both are parabolas through three points of the volume rule itself; they move no answer.
    """
    water = 1.0 / WATER_G_PER_ML

    def room(ethanol: float) -> float:
        litre = 1000.0 * ethanol_water_density_kg_m3(mass_fraction_from_abv_percent(ethanol / 7.8924)) / 1000.0
        return (1000.0 - (litre - ethanol) * water) / ethanol

    e1, e2, e3 = 40.0, 80.0, 120.0
    r1, r2, r3 = room(e1), room(e2), room(e3)
    d12, d23 = (r2 - r1) / (e2 - e1), (r3 - r2) / (e3 - e2)
    quadratic = (d23 - d12) / (e3 - e1)
    linear = d12 - quadratic * (e1 + e2)
    constant = r1 - e1 * (linear + e1 * quadratic)

    def missing(sugar: float) -> float:
        parts = {Component.WATER: 1000.0 - 0.62 * sugar} | {c: s * sugar for c, s in _SUGARS.items()}
        volume = volume_ml(parts)
        return 1000.0 * ((sum(parts.values()) * water) / volume - 1.0)

    sugars = []
    for sugar in (60.0, 180.0):
        parts = {Component.WATER: 1000.0 - 0.62 * sugar} | {c: s * sugar for c, s in _SUGARS.items()}
        sugars.append((missing(sugar), 1000.0 * sugar / volume_ml(parts)))
    (x1, s1), (x2, s2) = sugars
    bend = (s2 / x2 - s1 / x1) / (x2 - x1)
    return constant, linear, quadratic, s1 / x1 - bend * x1, bend


def _likely_sugar_g(total: Rows, ethanol: Rows, dry: tuple[float, ...]) -> Rows:
    """Sugar of a litre within about a gram at the strengths of ferments."""
    constant, linear, quadratic, straight, bend = _start_law()
    x: Rows = ethanol * quadratic
    x += linear
    x *= ethanol
    x += constant - 1.0 / WATER_G_PER_ML
    x *= ethanol
    x += total * (1.0 / WATER_G_PER_ML)
    x -= 1000.0
    y: Rows = x * bend
    y += straight
    y *= x
    glycerol, acids, rest = dry
    y -= 0.58 * glycerol + 1.05 * acids + rest
    return y


def _ruled_out(gravity: Rows, abv_percent: Rows) -> States:
    """The state of readings that no formula is asked about."""
    import numpy as np

    state = np.zeros(len(gravity), dtype=np.uint8)
    with np.errstate(invalid="ignore"):
        state[~((abv_percent >= 0.0) & (abv_percent <= STRONGEST_ABV_PERCENT))] = LotState.STRENGTH_OUT_OF_RANGE
        state[~((gravity >= _LEAST_GRAVITY) & (gravity <= _MOST_GRAVITY))] = LotState.GRAVITY_OUT_OF_RANGE
    state[np.isnan(gravity) | np.isnan(abv_percent)] = LotState.NOT_A_NUMBER
    return state


def _set_odd(at: Places, state: States, total: Rows, ethanol: Rows, sugar: Rows, dry: list[Rows]) -> None:
    """Set the rows whose extract is less than usual, and those that only a search in a bracket finds."""
    import numpy as np

    if not len(at):
        return
    _raise_lightest(at, state, total, ethanol)
    full = sum(column[at] for column in dry) > SOLIDS_FRACTION_MAX * (total[at] - ethanol[at])
    state[at[full & (state[at] == LotState.KNOWN)]] = LotState.NO_ROOM_FOR_WATER
    left = at[state[at] == LotState.KNOWN]

    def settle(column: Rows, rows: Places, most: Rows) -> Places:
        """Take as much of one part as there is room for; the rows that have no room even without it are left over."""

        def spare(rows: Places, value: Rows | float) -> Rows:
            column[rows] = value
            parts = tuple(other[rows] for other in dry)
            return _Spare(total[rows], ethanol[rows], parts)(sugar[rows])

        at_none = spare(rows, 0.0)
        some = at_none > 0.0
        too_full = some & (spare(rows, most) > 0.0)
        state[rows[too_full]] = LotState.NO_ROOM_FOR_WATER
        column[rows] = 0.0
        inside = np.flatnonzero(some & ~too_full)
        if len(inside):
            seek, none, lacks = rows[inside], np.zeros(len(inside)), at_none[inside]
            column[seek] = roots_near_or_between(
                lambda places, value: spare(seek[places], value),
                (none, lacks, np.minimum(lacks / _SAVED_ML_PER_G, most[inside])),
                none,
                most[inside],
                _SETTLED_G,
            )
        return rows[~some]

    glycerol, acids, rest = dry
    sugar[left] = 0.0
    room = FULLEST_SYRUP * (total[left] - ethanol[left]) - sum(column[left] for column in dry)
    left = settle(sugar, left, room)
    # less than the usual dry extract fits: take it from the rest first, then from glycerol, then from the acids
    for column in (rest, glycerol, acids):
        left = settle(column, left, column[left])


def _raise_lightest(at: Places, state: States, total: Rows, ethanol: Rows) -> None:
    """Make a litre that reads lighter than its alcohol in water as heavy as that, or rule it out."""
    import numpy as np

    def excess(mass: Rows, alcohol: Rows) -> Rows:
        return volume_of_many_ml(mass, alcohol, mass - alcohol, 0.0, 0.0, 0.0, 0.0, 0.0) - 1000.0

    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        missing = excess(total[at], ethanol[at])
    light = np.flatnonzero(~(missing >= 0.0))
    if not len(light):
        return
    at, missing = at[light], missing[light]
    read, alcohol = total[at], ethanol[at]
    water = np.full(len(at), 1000.0 * WATER_G_PER_ML)
    # brackets: a trace of water and, so that the two ends differ even without any alcohol, a trace more than a litre
    lightest = roots_near_or_between(
        lambda places, mass: excess(mass, alcohol[places]),
        (read, missing, read - missing * WATER_G_PER_ML),
        np.maximum(alcohol, 1.0) * (1.0 + 1e-9),
        water * (1.0 + 1e-9),
        _SETTLED_G,
    )
    np.minimum(lightest, water, out=lightest)
    state[at[read < lightest - 1000.0 * WATER_G_PER_ML * READING_SLACK]] = LotState.LIGHTER_THAN_ITS_ALCOHOL
    total[at] = np.maximum(read, lightest)
