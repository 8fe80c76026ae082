"""One unknown, very many times: how much of one ingredient brings lots to targets, for whole arrays at once.

The question is that of `service.planner.single.amount_for`, by the same formulas and to the same figure, without its
rounding, its cautions and its plan: a sweep looks for a place, and what is then poured is asked for as a plan. Every
litre of lot is one equation in one unknown,

    t·V(m) = A₀ + a·m,    V the volume of a litre of lot with m grams in it, A what the property divides by it,

and with gravity given V is the mass over the density asked for, so V(0) is known before anything is reckoned. A row
without an answer gets a state that says why. numpy is imported when a function is called.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, Any, Final

from service.catalogue.lookup import get_ingredient
from service.catalogue.records import Ingredient
from service.errors import InputError
from service.model.contents import contents_per_g
from service.model.lot_class import LotClass
from service.model.lot_rows import LitreRows, LotState, litres_from_readings
from service.model.properties import PROPERTIES, Of, Per, dot
from service.physics.mixture import SOLIDS_FRACTION_MAX, volume_and_gradient_ml, volume_sums
from service.physics.mixture_arrays import volume_of_many_ml
from service.physics.root_rows import roots_between, roots_from
from service.physics.solutes import Component

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

    Rows = NDArray[np.float64]
    Mask = NDArray[np.bool_]
    States = NDArray[np.uint8]
else:
    Rows = Mask = States = ArrayLike = object

SWEPT: Final = tuple(name for name, law in PROPERTIES.items() if law.of is Of.CONTENTS and law.per is Per.VOLUME)
"""The properties that can be aimed at: those that divide a linear form of what is in the drink by its volume."""

_CHUNK: Final = 16384
"""Rows worked on together: their arrays stay in the processor's cache."""

_MOST_G_PER_L: Final = 1e6
"""The most of anything that is looked at, a thousand times the lot."""

_SETTLED: Final = 1e-7
"""A last step this short, as a share of the amount or in grams, leaves the amount known to the last digits."""

_THERE: Final = 1e-4
"""A lot that misses a target by this share of what counts as exact is there already."""

_LEAST_L, _MOST_L = 1e-3, 1e7
_COLUMNS: Final = ("state", "mass_g", "volume_l", "gravity", "abv_percent")
_WATERY: Final = volume_sums({Component.WATER: 970.0, Component.SUCROSE: 60.0})
_STRONG: Final = volume_sums({Component.WATER: 870.0, Component.ETHANOL: 100.0, Component.SUCROSE: 60.0})
_SOME_G: Final = 40.0
"""Two likely litres and a likely amount: where the search for an amount starts."""

_GRID: Final = 64
_SEARCHED_TOGETHER: Final = 512


class RowState(IntEnum):
    """Whether a row has an answer, and why not."""

    REACHED = 0
    NOT_A_NUMBER = 1
    GRAVITY_OUT_OF_RANGE = 2
    STRENGTH_OUT_OF_RANGE = 3
    LIGHTER_THAN_ITS_ALCOHOL = 4
    NO_ROOM_FOR_WATER = 5
    VOLUME_OUT_OF_RANGE = 6
    OUT_OF_REACH = 7
    NO_LIQUID = 8
    NEGATIVE_AMOUNT = 9


REASONS: Final = {
    RowState.REACHED: "",
    RowState.NOT_A_NUMBER: "A volume, gravity, strength, target or amount is not a number: leave the row out.",
    RowState.GRAVITY_OUT_OF_RANGE: "A lot's gravity lies between 0.78 and 1.45: correct it.",
    RowState.STRENGTH_OUT_OF_RANGE: "A lot's strength lies between 0 and 99 % vol: correct it.",
    RowState.LIGHTER_THAN_ITS_ALCOHOL: "The gravity is lighter than this strength in plain water: check both readings.",
    RowState.NO_ROOM_FOR_WATER: "Gravity and strength leave no room for water: check both readings.",
    RowState.VOLUME_OUT_OF_RANGE: "A lot is between 1 mL and 10,000,000 L: correct its volume.",
    RowState.OUT_OF_REACH: "No amount of the ingredient, up to a thousand times the lot, brings it there: choose "
    "another ingredient or another target.",
    RowState.NO_LIQUID: "With so much of it this is no liquid, more than 90 % solids beside the water: add less.",
    RowState.NEGATIVE_AMOUNT: "An amount to add is not below zero: correct it.",
}
"""What to change in a row, by its state."""

assert all(RowState[state.name].value == state.value for state in LotState if state)


@dataclass(frozen=True, slots=True)
class LotRows:
    """Many lots: numbers or arrays that broadcast [L, SG 20/20, % vol], and what kind of liquid all of them are."""

    volume_l: ArrayLike
    gravity: ArrayLike
    abv_percent: ArrayLike
    lot_class: LotClass = LotClass.MEAD


@dataclass(frozen=True, slots=True)
class SweptRows:
    """The answers, all of one shape; where `state` is not REACHED the others are not numbers.

    The amount to add [g], and the drink with it: its volume [L], SG 20/20 and strength [% vol].
    """

    state: States
    mass_g: Rows
    volume_l: Rows
    gravity: Rows
    abv_percent: Rows

    @property
    def reached(self) -> Mask:
        """Where there is an answer."""
        found: Mask = self.state == RowState.REACHED
        return found

    def reasons(self) -> dict[str, int]:
        """How many rows have no answer, by what to change in them."""
        import numpy as np

        states, counts = np.unique(self.state, return_counts=True)
        return {REASONS[RowState(int(s))]: int(n) for s, n in zip(states, counts, strict=True) if s}


def amounts_for(name: str, target: ArrayLike, lots: LotRows, ingredient: str | Ingredient) -> SweptRows:
    """The mass of one ingredient that brings each lot to its target.

    t·V(s₀ + m u) = A₀ + a·m, by inverse interpolation from a start, or in the first bracket of a scan of amounts

    Parameters: name of a property, one of SWEPT: "gravity" [SG 20/20], "abv_percent" [% vol], …; target, in the
        property's unit, and lots, all of which broadcast to one shape; ingredient, an id of the catalogue or a record.
    Returns: SweptRows of that shape: the smallest amount where several reach the target.
    Raises: InputError for a property that is not one of SWEPT or a lot of juice; UnknownIngredientError.
    Validity: as `service.physics.mixture`. No cautions are worked out: ask for the plan of what is to be poured.
    Source: OIML R 22 (1975), ICUMSA SPS-4 and the apparent volumes of `service.physics.solutes`.

    Example: water thins 40 to 20 % vol. The strength formula of OIML R 22 (1975) gives 948.05 and 973.56 kg/m³ (Table
    IVa, from memory): a litre of the one holds the ethanol of two litres of the other, 1947.12 − 948.05 = 999.07 g.

    >>> import numpy as np
    >>> spirit = LotRows(1.0, 0.94976, np.array([40.0, 10.0]), LotClass.SPIRIT)
    >>> found = amounts_for("abv_percent", 20.0, spirit, "water")
    >>> round(float(found.mass_g[0]), 0), found.state.tolist(), found.reasons()
    (999.0, [0, 4], {'The gravity is lighter than this strength in plain water: check both readings.': 1})
    """
    import numpy as np

    if name not in SWEPT:
        raise InputError(f"A sweep aims at one of {', '.join(SWEPT)}, not at {name}.", "/name")
    return _swept(lots, np.asarray(target, dtype=float), _Added(name, ingredient), _amounts, by_litre=False)


def drinks_after(mass_g: ArrayLike, lots: LotRows, ingredient: str | Ingredient) -> SweptRows:
    """What becomes of each lot with a given amount of one ingredient in it: the question the other way round.

    Parameters: mass_g, the amount in each lot [g], and lots, all of which broadcast to one shape; ingredient, an id of
        the catalogue or a record.
    Returns: SweptRows of that shape.
    Raises, validity, source: as `amounts_for`.

    Example: 998.2 g of water, a litre by OIML R 22 (1975), makes two litres of one.

    >>> found = drinks_after(998.2, LotRows(1.0, 1.0, 0.0, LotClass.SPIRIT), "water_deionised")
    >>> round(float(found.volume_l), 4), round(float(found.gravity), 4), float(found.abv_percent)
    (2.0, 1.0, 0.0)
    """
    import numpy as np

    return _swept(lots, np.asarray(mass_g, dtype=float), _Added("gravity", ingredient), _drinks, by_litre=True)


def joined(parts: Sequence[SweptRows]) -> SweptRows:
    """The answers of the parts of a sweep, in their order, along the first axis.

    >>> whole = drinks_after([10.0, 20.0], LotRows(1.0, 1.0, 0.0), "sugar_white")
    >>> twice = joined([whole, whole])
    >>> twice.mass_g.tolist()
    [10.0, 20.0, 10.0, 20.0]
    """
    import numpy as np

    return SweptRows(*(np.concatenate([getattr(part, column) for part in parts]) for column in _COLUMNS))


class _Added:
    """What a gram of the ingredient brings: volume sums, and the forms of what is aimed at, of mass and of alcohol."""

    def __init__(self, name: str, ingredient: str | Ingredient) -> None:
        per_g = contents_per_g(get_ingredient(ingredient) if isinstance(ingredient, str) else ingredient)
        self.name, self.sums = name, per_g.sums
        # of a litre of drink, whose volume is in millilitres here
        self.forms = {p: tuple(1000.0 * w for w in PROPERTIES[p].weights) for p in {name, "gravity", "abv_percent"}}
        self.per_g = {p: dot(form, per_g) for p, form in self.forms.items()}
        water, _, solids = self.sums[:3]
        self.stays_liquid = solids <= SOLIDS_FRACTION_MAX * (water + solids)
        self.room = tuple(self._room_ml_g(litre) for litre in (_WATERY, _STRONG))

    def _room_ml_g(self, litre: Sequence[float]) -> float:
        """What some grams take up in a litre [mL/g]: where a search starts."""
        more = [a + _SOME_G * b for a, b in zip(litre, self.sums, strict=True)]
        return (volume_and_gradient_ml(more)[0] - volume_and_gradient_ml(litre)[0]) / _SOME_G


class _Ray:
    """Litres of lot with any amount of an ingredient in them."""

    def __init__(self, litre: LitreRows, added: _Added) -> None:
        self.added = added
        water, self.ethanol, self.solids, *self.rest = litre.sums()
        self.liquor, self.syrup = water + self.ethanol, water + self.solids
        self.at_none = {p: litre.form(form) for p, form in added.forms.items()}

    def of(self, rows: Any) -> _Ray:
        """Some of the rows."""
        import numpy as np

        def some(value: Any) -> Any:
            return value[rows] if isinstance(value, np.ndarray) and len(value) > 1 else value

        part = object.__new__(_Ray)
        part.added = self.added
        part.ethanol, part.solids, part.liquor, part.syrup = map(
            some, (self.ethanol, self.solids, self.liquor, self.syrup)
        )
        part.rest = [some(value) for value in self.rest]
        part.at_none = {p: some(value) for p, value in self.at_none.items()}
        return part

    def volume_ml(self, mass_g: Rows, less: Rows | float = 0.0, less_per_g: Rows | float = 0.0) -> Rows:
        """Volume with so many grams in each [mL], less something that is linear in them."""
        water, ethanol, solids, on_sucrose, constant, linear, quadratic = self.added.sums
        found_on, found_constant, found_linear, found_quadratic = self.rest
        return volume_of_many_ml(
            mass_g * (water + ethanol) + self.liquor,
            mass_g * ethanol + self.ethanol if ethanol else self.ethanol,
            mass_g * (water + solids) + self.syrup,
            mass_g * solids + self.solids if solids else self.solids,
            mass_g * on_sucrose + found_on if on_sucrose else found_on,
            mass_g * (constant - less_per_g) + (found_constant - less),
            mass_g * linear + found_linear if linear else found_linear,
            mass_g * quadratic + found_quadratic if quadratic else found_quadratic,
        )

    def form(self, name: str, mass_g: Rows) -> Rows:
        """What a property divides by the volume."""
        per_g = self.added.per_g[name]
        return mass_g * per_g + self.at_none[name] if per_g else self.at_none[name]

    def most_g(self) -> Rows:
        """The most that is looked at: a thousand times the lot, and no more solids than a liquid takes."""
        import numpy as np

        if self.added.stays_liquid:
            return np.broadcast_to(_MOST_G_PER_L, np.shape(self.syrup))
        water, _, solids = self.added.sums[:3]
        room = SOLIDS_FRACTION_MAX * self.syrup - self.solids
        return np.minimum(_MOST_G_PER_L, room / (solids - SOLIDS_FRACTION_MAX * (water + solids)))


def _amounts(ray: _Ray, target: Rows, ruled_out: Mask) -> tuple[States, Rows, Rows]:
    """State, mass and volume of each litre [g, mL] at its target."""
    import numpy as np

    added = ray.added
    of_none, of_gram = ray.at_none[added.name], added.per_g[added.name]
    watery, strong = added.room
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        less, less_per_g = of_none / target, of_gram / target
        at_none = 1000.0 - less
        start = at_none / (less_per_g - ray.ethanol * ((strong - watery) / _STRONG[1]) - watery)
        mass, fits = _near(ray, at_none, less, less_per_g, start)
        left = np.flatnonzero(~(fits & (target > 0.0) | ruled_out))
        if len(left):
            # once more, from where the first turn ended, as far as that is an amount
            again = np.where((mass[left] > 0.0) & (mass[left] < _MOST_G_PER_L), mass[left], _SOME_G)
            parts = (at_none[left], less[left], less_per_g[left], again)
            mass[left], fits = _near(ray.of(left), *parts)
            left = left[~(fits & (target[left] > 0.0))]
        volume = mass * less_per_g + less
    state = np.zeros(len(target), dtype=np.uint8)
    for begin in range(0, len(left), _SEARCHED_TOGETHER):
        at = left[begin : begin + _SEARCHED_TOGETHER]
        state[at], mass[at], volume[at] = _searched(ray.of(at), target[at])
    return state, mass, volume


def _near(ray: _Ray, at_none: Rows, less: Rows, less_per_g: Rows, start: Rows) -> tuple[Rows, Mask]:
    """Amounts near a start [g], and where they are answers: settled, not below nothing, and the first crossing."""
    mass, step, slope = roots_from(lambda m: ray.volume_ml(m, less, less_per_g), 0.0, at_none, start)
    fits = (step <= _SETTLED * (1.0 + mass)) & (mass >= 0.0) & (slope * at_none < 0.0) & (mass <= ray.most_g())
    return mass, fits


Work = Callable[[_Ray, Rows, Mask], tuple[States, Rows, Rows]]


def _searched(ray: _Ray, target: Rows) -> tuple[States, Rows, Rows]:
    """The same by a scan of amounts, even as shares of the drink, for rows that do not settle by themselves."""
    import numpy as np

    name, count = ray.added.name, len(target)

    def missing(some: _Ray, aim: Rows, mass: Rows) -> Rows:
        found: Rows = aim * some.volume_ml(mass) - some.form(name, mass)
        return found

    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        most = np.broadcast_to(ray.most_g(), target.shape)
        share = (most / (1000.0 + most))[:, None] * (np.arange(_GRID + 1) / _GRID)
        grid = 1000.0 * share / (1.0 - share)
        every = np.repeat(np.arange(count), _GRID + 1)
        signs = missing(ray.of(every), target[every], grid.ravel()).reshape(grid.shape)
        at_none = signs[:, 0].copy()
        turned = (np.sign(signs[:, 1:]) * np.sign(at_none)[:, None] < 0.0) | (signs[:, 1:] == 0.0)
    mass = np.zeros(count)
    found = turned.any(axis=1) & (at_none != 0.0)
    rows = np.flatnonzero(found)
    if len(rows):
        first = turned[rows].argmax(axis=1)
        some, aim = ray.of(rows), target[rows]
        mass[rows] = roots_between(lambda m: missing(some, aim, m), grid[rows, first], grid[rows, first + 1])
    law = PROPERTIES[name]
    exact = law.exact_within * np.abs(target) if law.relative else law.exact_within
    there = np.abs(at_none) <= 1000.0 * _THERE * exact
    state = np.where(found | there, RowState.REACHED, RowState.OUT_OF_REACH).astype(np.uint8)
    mass[state != RowState.REACHED] = np.nan
    return state, mass, ray.volume_ml(mass)


def _drinks(ray: _Ray, mass_g: Rows, _: Mask) -> tuple[States, Rows, Rows]:
    """State, mass and volume of each litre [g, mL] with so much in it."""
    import numpy as np

    state = np.zeros(len(mass_g), dtype=np.uint8)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        state[~(mass_g <= ray.most_g() * (1.0 + 1e-12))] = RowState.NO_LIQUID
        state[mass_g < 0.0] = RowState.NEGATIVE_AMOUNT
        return state, mass_g, ray.volume_ml(mass_g)


def _swept(lots: LotRows, asked: Rows, added: _Added, work: Work, *, by_litre: bool) -> SweptRows:
    """Broadcast, work on some rows after the others, and give the answers the shape of the question.

    With `by_litre` what is asked is an amount in each lot, else the same for a lot of any volume.
    """
    import numpy as np

    readings = [np.asarray(r, dtype=float) for r in (lots.volume_l, lots.gravity, lots.abv_percent)]
    shape = np.broadcast_shapes(asked.shape, *(r.shape for r in readings))
    flat = [r.ravel() if r.size == 1 else np.broadcast_to(r, shape).ravel() for r in (asked, *readings)]
    count = int(np.prod(shape))
    answers = SweptRows(np.zeros(count, dtype=np.uint8), *(np.empty(count) for _ in range(4)))
    ray = None
    for begin in range(0, count, _CHUNK):
        part = slice(begin, min(begin + _CHUNK, count))
        asked_of, volume, gravity, abv = (values if len(values) == 1 else values[part] for values in flat)
        if ray is None or len(gravity) > 1 or len(abv) > 1:
            gravity, abv = np.broadcast_arrays(gravity, abv)
            litre = litres_from_readings(gravity, abv, lots.lot_class)
            ray = _Ray(litre, added)
        into = SweptRows(*(getattr(answers, column)[part] for column in _COLUMNS))
        _fill(into, ray, litre.state, asked_of, volume, work, by_litre=by_litre)
    return SweptRows(*(getattr(answers, column).reshape(shape) for column in _COLUMNS))


def _fill(
    into: SweptRows, ray: _Ray, known: States, asked: Rows, volume_l: Rows, work: Work, *, by_litre: bool
) -> None:
    """Answer some rows into their place."""
    import numpy as np

    state = into.state
    state[:] = known
    sized, numbers = (volume_l >= _LEAST_L) & (volume_l <= _MOST_L), np.isfinite(asked) & ~np.isnan(volume_l)
    if not (sized.all() and numbers.all()):
        state[~sized & (state == RowState.REACHED)] = RowState.VOLUME_OUT_OF_RANGE
        state[np.broadcast_to(~numbers, state.shape)] = RowState.NOT_A_NUMBER
    ruled_out = state != RowState.REACHED
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        wanted = np.broadcast_to(asked / volume_l if by_litre else asked, state.shape)
        found, mass, volume_ml = work(ray, wanted, ruled_out)
        np.copyto(state, found, where=~ruled_out)
        np.multiply(mass, volume_l, out=into.mass_g)
        np.multiply(volume_ml, 1e-3 * volume_l, out=into.volume_l)
        np.divide(ray.form("gravity", mass), volume_ml, out=into.gravity)
        np.divide(ray.form("abv_percent", mass), volume_ml, out=into.abv_percent)
    unknown = state != RowState.REACHED
    if unknown.any():
        for column in _COLUMNS[1:]:
            getattr(into, column)[unknown] = np.nan
