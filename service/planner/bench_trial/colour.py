"""The colour of the glass and of the batch: dye by dye, and what all of them absorb where that is known."""

from __future__ import annotations

from collections.abc import Sequence

from service.catalogue.records import Category
from service.chemistry.dyes import (
    EU_GROUP_III_ALCOHOLIC_MG_PER_L,
    EU_GROUP_III_SOFT_MG_PER_L,
    Absorptivity,
    absorbance,
    dye_mg_from_stock_ml,
)
from service.model.properties import property_value
from service.planner.asked import AdditionAsked
from service.planner.bench_trial.answers import Absorbance, Colour, DyeLimit
from service.planner.bench_trial.asked import BenchAsked, DyeAsked
from service.planner.bench_trial.glass import Glass, Stock
from service.planner.bench_trial.graduation import short, volume_in_words
from service.planner.intervals import Z_90
from service.quantities import System

_ALCOHOLIC_ABV_PERCENT = 1.2
"""Above this a drink counts as alcoholic here (our default)."""

_PURE = 100.0
_HAZY = (Category.JUICE, Category.CONCENTRATE)


def is_hazy(asked: BenchAsked, glass: Glass) -> bool:
    """Whether the drink is hazy: as the request says, else if any juice, concentrate or puree was dosed."""
    if asked.haze is not None:
        return asked.haze
    return any(_clouds(m.source) for m in glass.pure)


def _clouds(source: object) -> bool:
    if not isinstance(source, AdditionAsked):
        return False
    ingredient = source.ingredient
    return ingredient.category in _HAZY or (
        ingredient.category is Category.CUSTOM and ingredient.juice_share_percent > 0.0
    )


def mg_per_ml(dye: DyeAsked) -> float | None:
    """Dye in a millilitre of stock [mg/mL]; None where its strength is not stated."""
    if dye.percent_w_v is None:
        return None
    return dye_mg_from_stock_ml(1.0, dye.percent_w_v, dye.total_colour_percent or _PURE)


def absorptivities_of(dye: DyeAsked) -> tuple[Absorptivity, ...]:
    """The caller's absorptivities, else those on file."""
    return dye.absorptivities or (dye.dye.absorptivities if dye.dye is not None else ())


def _dyes(glass: Glass) -> list[tuple[Stock, DyeAsked]]:
    return [(s, s.asked.dye) for s in glass.stocks if s.asked.dye is not None]


def colours_of(glass: Glass, ml_of: dict[str, float], batch_l: float, system: System = "metric") -> tuple[Colour, ...]:
    """Each liquid colour in the glass and in the batch.

    Parameters: glass; ml_of, stock for the batch by name [mL]; batch_l, volume of the finished batch [L]; system of the
    texts.
    Returns: one Colour for each dye stock.
    """
    dyes = _dyes(glass)
    together = _group_iii_mg_per_l(dyes, ml_of, batch_l)
    return tuple(_colour(glass, stock, dye, ml_of[stock.asked.name], batch_l, together, system) for stock, dye in dyes)


def _group_iii_mg_per_l(
    dyes: Sequence[tuple[Stock, DyeAsked]], ml_of: dict[str, float], batch_l: float
) -> float | None:
    """All dyes of the batch that are on file, together [mg/L]; None where one of unknown strength is among them."""
    total = 0.0
    for stock, dye in dyes:
        strength = mg_per_ml(dye)
        if strength is None:
            return None
        total += strength * ml_of[stock.asked.name] / batch_l if dye.dye is not None else 0.0
    return total


def _colour(
    glass: Glass,
    stock: Stock,
    dye: DyeAsked,
    batch_ml: float,
    batch_l: float,
    group_iii_mg_per_l: float | None,
    system: System,
) -> Colour:
    glass_ml = stock.volume_ml or 0.0
    strength = mg_per_ml(dye)
    name = dye.name if dye.dye is None else dye.dye.name
    ratio = f"{short(glass_ml / glass.volume_l)} mL a litre, {volume_in_words(batch_ml, system)} for the batch"
    if strength is None:
        text = f"{name}: {ratio}. The strength of this colour is not stated, so only the ratio is scaled, not mg/L."
        return Colour(
            stock.asked.name,
            name,
            round(glass_ml, 4),
            round(batch_ml, 3),
            round(glass_ml / glass.volume_l, 5),
            None,
            None,
            None,
            None,
            _limits(glass, dye, None, None),
            text,
        )
    in_glass = strength * glass_ml / glass.volume_l
    spread = Z_90 * stock.asked.measure.sd / stock.asked.measure.amount
    in_batch = strength * batch_ml / batch_l
    return Colour(
        stock.asked.name,
        name,
        round(glass_ml, 4),
        round(batch_ml, 3),
        round(glass_ml / glass.volume_l, 5),
        round(in_glass, 3),
        round(max(in_glass * (1.0 - spread), 0.0), 3),
        round(in_glass * (1.0 + spread), 3),
        round(in_batch, 3),
        _limits(glass, dye, in_batch, group_iii_mg_per_l),
        f"{name}: {ratio}, {short(in_batch)} mg/L of dye.",
    )


def _limits(
    glass: Glass, dye: DyeAsked, in_batch_mg_per_l: float | None, group_iii_mg_per_l: float | None
) -> tuple[DyeLimit, ...]:
    """What the laws of two markets say about a dye that is on file."""
    known = dye.dye
    if known is None:
        return ()
    declared = f", and {known.us_name} is declared by name" if known.us_declared_by_name else ""
    alcoholic = _abv_percent(glass) > _ALCOHOLIC_ABV_PERCENT
    most = EU_GROUP_III_ALCOHOLIC_MG_PER_L if alcoholic else EU_GROUP_III_SOFT_MG_PER_L
    drinks = "alcoholic drinks" if alcoholic else "soft drinks"
    return (
        DyeLimit(
            "us",
            f"{known.us_regulation}, 2015 annual edition",
            None,
            in_batch_mg_per_l if in_batch_mg_per_l is None else round(in_batch_mg_per_l, 3),
            None,
            f"By good manufacturing practice, without a figure; not in foods with a standard of identity unless it "
            f"allows colour{declared}. Only certified batches of the dye (the powder holds {known.us_name} at "
            f"{known.least_total_colour_percent:g} % or more). Check the current text.",
            "published",
            known.us_source_id,
        ),
        DyeLimit(
            "eu",
            "Regulation (EC) No 1333/2008, Annex II",
            most,
            group_iii_mg_per_l if group_iii_mg_per_l is None else round(group_iii_mg_per_l, 3),
            None if group_iii_mg_per_l is None else group_iii_mg_per_l > most,
            f"{known.e_number}: all colours of its group together in {drinks}, where such a drink may be coloured at "
            f"all; also {known.intake_text}. From memory, unverified: check the current text.",
            "memory",
            "eu_1333_2008",
        ),
    )


def _abv_percent(glass: Glass) -> float:
    return property_value("abv_percent", glass.contents, glass.volume_l) or 0.0


def absorbances_of(asked: BenchAsked, glass: Glass) -> tuple[Absorbance, ...]:
    """What the dyes absorb together, wavelength by wavelength: A = Σ E·c·l.

    Parameters: asked; glass, which is clear.
    Returns: one Absorbance for each wavelength at which a dye of known strength is on file, in order.
    """
    dyes = _dyes(glass)
    known = [(s, d) for s, d in dyes if mg_per_ml(d) is not None]
    found = []
    for wavelength in sorted({a.wavelength_nm for _, d in known for a in absorptivities_of(d)}):
        value, variance, counted = 0.0, 0.0, []
        for stock, dye in known:
            at = next((a for a in absorptivities_of(dye) if a.wavelength_nm == wavelength), None)
            if at is None:
                continue
            own = absorbance((mg_per_ml(dye) or 0.0) * (stock.volume_ml or 0.0) / glass.volume_l, at)
            value += own
            variance += (own * stock.asked.measure.sd / stock.asked.measure.amount) ** 2
            counted.append(stock.asked.name)
        spread = Z_90 * variance**0.5
        found.append(
            Absorbance(
                wavelength,
                round(value, 4),
                round(max(value - spread, 0.0), 4),
                round(value + spread, 4),
                asked.depth_cm,
                None if asked.depth_cm is None else round(value * asked.depth_cm, 4),
                tuple(counted),
                tuple(s.asked.name for s, _ in dyes if s.asked.name not in counted),
            )
        )
    return tuple(found)
