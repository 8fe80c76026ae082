"""The glass: what each stock holds, and what was dosed, ingredient by ingredient."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf

from service.catalogue.lookup import get_ingredient
from service.catalogue.records import Category
from service.errors import InconsistentError, InputError, ServiceError
from service.model.contents import Contents, together
from service.model.unknowns import Unknown
from service.physics.mixture import SOLIDS_FRACTION_MAX
from service.physics.roots import root_between
from service.physics.solutes import Component
from service.planner.asked import AdditionAsked, Instruments, LotAsked
from service.planner.beliefs import AMOUNT, composition_unknowns, shared_names
from service.planner.bench_trial.asked import BenchAsked, DyeAsked, Solution, StockAsked
from service.planner.materials import Material, materials_of, poured
from service.quantities import volume_text

_MADE_UP_TO_ML, _FINE_ML = 100.0, 0.1
_PLENTY_G = 250.0
"""More of any solvent than 100 mL of solution can hold."""

_HOW = "a larger glass or a thinner stock, so that the dose is more graduations"


@dataclass(frozen=True, slots=True)
class Part:
    """So many grams of one pure material in a gram of stock; `stock_water` for the water a solution was made with."""

    material: Material
    share: float
    stock_water: bool


@dataclass(frozen=True, slots=True)
class Stock:
    """A stock as it was poured: its parts, its contents, and how much of it the glass holds."""

    asked: StockAsked
    parts: tuple[Part, ...]
    per_g: Contents
    density_g_ml: float | None
    mass_g: float
    unknowns: tuple[Unknown, ...]

    @property
    def volume_ml(self) -> float | None:
        """How much of it the glass holds [mL]; None for a dry solid."""
        return None if self.density_g_ml is None else self.mass_g / self.density_g_ml

    @property
    def graduation_g(self) -> float:
        """One smallest graduation of it [g]."""
        measure = self.asked.measure
        return self.mass_g * measure.graduation / measure.amount

    def poured(self, mass_g: float, sd_share: float, text: str | None) -> Material:
        """So much of the stock as a single material, whose measuring errs by a share."""
        first = self.parts[0].material
        assert isinstance(first.source, AdditionAsked)
        unknowns = self.unknowns
        if sd_share > 0.0:
            shift = self.per_g.scaled(sd_share).vector
            unknowns = (*unknowns, Unknown(AMOUNT, shift, 0.0, -1.0 / sd_share, inf, _HOW, self.asked.name))
        prices = [part.material.price_per_g for part in self.parts if not part.stock_water]
        price = None
        if all(p is not None for p in prices):
            price = sum(part.share * (part.material.price_per_g or 0.0) for part in self.parts)
        return Material(
            self.asked.name,
            "addition",
            self.per_g,
            self.density_g_ml,
            mass_g,
            mass_g,
            price,
            replace(first.source, given=text, per_g=self.per_g, unknowns=unknowns, amount_sd_g=0.0),
            next(
                (p.material.acids_per_g for p in self.parts if not p.material.acids_per_g.ph_known), first.acids_per_g
            ),
        )


@dataclass(frozen=True, slots=True)
class Glass:
    """A glass: its base, its stocks, and the pure materials they are made of.

    `pure` begins with the batch's lot; `dosed_g` and `stock_water_g` hold what the glass was given of each of them.
    """

    base: Material
    stocks: tuple[Stock, ...]
    pure: tuple[Material, ...]
    dosed_g: tuple[float, ...]
    stock_water_g: tuple[float, ...]
    contents: Contents

    @property
    def volume_l(self) -> float:
        """Volume of the glass [L]."""
        return self.contents.volume_ml / 1000.0

    @property
    def water_g(self) -> float:
        """Water that came with the stocks [g]."""
        return sum(self.stock_water_g)

    @property
    def materials(self) -> tuple[Material, ...]:
        """The base and every stock, with the errors of measuring them into the glass."""
        return (
            self.base,
            *(
                s.poured(s.mass_g, s.asked.measure.sd / s.asked.measure.amount, s.asked.measure.text)
                for s in self.stocks
            ),
        )


def glass_of(asked: BenchAsked) -> Glass:
    """What is in the glass.

    Parameters: asked, in base units.
    Returns: Glass.
    Raises: InputError where a stock cannot be made, or has no volume; InconsistentError where a stock is larger than
        the glass, or the glass than the batch.
    """
    if asked.base_l > asked.batch.least_l * (1.0 + 1e-9):
        raise InconsistentError(
            f"The glass holds {asked.base_l:.4g} L of a batch of {asked.batch.least_l:.4g} L: check the units.",
            "/glass/base",
        )
    whole = materials_of((asked.batch,), ())[0]
    base_lot = replace(asked.batch, least_l=asked.base_l, most_l=asked.base_l, volume_sd_share=asked.base_sd_share)
    base = materials_of((base_lot,), ())[0]
    pure = (whole, *materials_of((), _once(asked.stocks)))
    instruments = asked.circumstances.instruments
    names = dict(zip([m.name for m in pure], shared_names(pure), strict=True))
    stocks = []
    for stock in asked.stocks:
        try:
            stocks.append(_stock(stock, pure[1:], names, asked.base_l, instruments))
        except ServiceError as error:
            raise error.below(stock.pointer) from error
    dosed, water = [0.0] * len(pure), [0.0] * len(pure)
    for made in stocks:
        for part in made.parts:
            at = pure.index(part.material)
            (water if part.stock_water else dosed)[at] += part.share * made.mass_g
    contents = poured([base], [base.least_g])
    for made in stocks:
        contents = contents.plus(made.per_g.scaled(made.mass_g))
    return Glass(base, tuple(stocks), pure, tuple(dosed), tuple(water), contents)


def _additions(stock: StockAsked) -> tuple[AdditionAsked, ...]:
    """What a stock is made of: its ingredient or dye first, then the solvent."""
    if stock.dye is not None:
        return (dye_addition(stock.name, stock.dye),)
    assert stock.addition is not None
    return (stock.addition,) if stock.solution is None else (stock.addition, stock.solution.solvent)


def dye_addition(name: str, dye: DyeAsked) -> AdditionAsked:
    """A liquid colour counts as water in everything but its colour."""
    water = get_ingredient("water_deionised")
    return AdditionAsked(replace(water, id=name, name=f"{name} ({dye.name})"), order=name)


def _alike(a: AdditionAsked, b: AdditionAsked) -> bool:
    return (a.ingredient, a.treatment, a.price_per_g, a.measured, a.acidity_sd_share) == (
        b.ingredient,
        b.treatment,
        b.price_per_g,
        b.measured,
        b.acidity_sd_share,
    )


def _once(stocks: Sequence[StockAsked]) -> list[AdditionAsked]:
    """Everything the stocks are made of, each once."""
    found: list[AdditionAsked] = []
    for stock in stocks:
        for addition in _additions(stock):
            if not any(_alike(addition, other) for other in found):
                found.append(addition)
    return found


def _pure(addition: AdditionAsked, pure: Sequence[Material]) -> Material:
    return next(m for m in pure if isinstance(m.source, AdditionAsked) and _alike(addition, m.source))


def _stock(
    asked: StockAsked, pure: Sequence[Material], names: Mapping[str, str], base_l: float, instruments: Instruments
) -> Stock:
    """A stock in the glass; `names` say whose composition each pure material has."""
    materials = [_pure(addition, pure) for addition in _additions(asked)]
    shares = [1.0]
    if asked.solution is not None:
        try:
            shares = _shares(asked.solution, materials[0], materials[1])
        except ServiceError as error:
            raise error.below("/solution") from error
    solvent_is_water = len(materials) > 1 and _is_water(materials[1])
    parts = tuple(
        Part(material, share, solvent_is_water and k == 1)
        for k, (material, share) in enumerate(zip(materials, shares, strict=True))
    )
    per_g = together([m.per_g for m in materials], shares)
    density = None if len(materials) == 1 and materials[0].density_g_ml is None else 1.0 / per_g.volume_ml
    measure = asked.measure
    if not measure.by_volume:
        mass_g = measure.amount
    elif density is None:
        raise InputError(
            f"{asked.name} is a dry solid: weigh it, or make a solution of it and give that (“solution”).", "/amount"
        )
    else:
        mass_g = measure.amount * density
    if mass_g / (density or 1.0) > 1000.0 * base_l:
        raise InconsistentError(
            f"{measure.text} of {asked.name} is more than the {volume_text(1000.0 * base_l, 'metric', _FINE_ML)} of "
            "base that it was dosed into: check the units.",
            "/amount",
        )
    unknowns = tuple(
        unknown.scaled(part.share, names[part.material.name] if unknown.of == part.material.name else None)
        for part in parts
        for unknown in composition_unknowns(part.material, instruments)
    )
    return Stock(asked, parts, per_g, density, mass_g, unknowns)


def _is_water(material: Material) -> bool:
    return isinstance(material.source, AdditionAsked) and material.source.ingredient.category is Category.WATER


def _shares(solution: Solution, dissolved: Material, solvent: Material) -> list[float]:
    """Grams of the ingredient and of the solvent in a gram of solution."""
    if solvent.density_g_ml is None:
        raise InputError(f"{solvent.name} is a dry solid: a solution needs a liquid to be made with.", "/with")
    if solution.by_mass is not None:
        parts, rest = solution.by_mass
    elif solution.by_volume is not None:
        if dissolved.density_g_ml is None:
            raise InputError(f"{dissolved.name} is a dry solid: give by_mass or percent_w_v.", "/by_volume")
        parts = solution.by_volume[0] * dissolved.density_g_ml
        rest = solution.by_volume[1] * solvent.density_g_ml
    else:
        assert solution.percent_w_v is not None
        parts = solution.percent_w_v
        rest = _made_up(parts, dissolved, solvent)
    return [parts / (parts + rest), rest / (parts + rest)]


def _made_up(grams: float, dissolved: Material, solvent: Material) -> float:
    """Solvent that makes a mass up to 100 mL [g]."""
    masses = dissolved.per_g.scaled(grams).masses_g
    water = masses.get(Component.WATER, 0.0)
    solids = sum(masses.values()) - water - masses.get(Component.ETHANOL, 0.0)
    wanting = solids * (1.0 - SOLIDS_FRACTION_MAX) / SOLIDS_FRACTION_MAX - water
    least = max(0.0, 1.01 * wanting) / max(solvent.per_g.masses_g.get(Component.WATER, 0.0), 0.05)

    def spare_ml(rest: float) -> float:
        return together([dissolved.per_g, solvent.per_g], [grams, rest]).volume_ml - _MADE_UP_TO_ML

    if spare_ml(least) > 0.0:
        raise InputError(
            f"{grams:g} g of {dissolved.name} take more than 100 mL: give a thinner stock, or by_mass.", "/percent_w_v"
        )
    return root_between(spare_ml, least, _PLENTY_G)


def lot_of(material: Material) -> LotAsked:
    """The lot behind a material that is one."""
    assert isinstance(material.source, LotAsked)
    return material.source
