"""What the smallest step of the instrument means for the batch, and whether the glass was large enough for it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import log10
from typing import Final

from service.model.properties import PROPERTIES
from service.planner.answers import Amount
from service.planner.answers_decisions import PropertyChange
from service.planner.asked import Circumstances
from service.planner.bench_trial.answers import Advice, Grams, PerGraduation
from service.planner.bench_trial.glass import Glass, Stock
from service.planner.bench_trial.match import factor_of
from service.planner.materials import Material, poured
from service.planner.plain_words import in_plain_words, plain_property
from service.planner.predict import rounded, value_of
from service.planner.steps import steps_between
from service.quantities import System, mass_text, volume_text

ENOUGH_GRADUATIONS: Final = 10.0
"""A dose of ten smallest graduations is off by a tenth for one of them (common practice, no source)."""

NOTICEABLE: Final = 0.5
"""Half a just-noticeable step is the finest that is worth telling (our default)."""

MOVED: Final = (
    "gravity",
    "abv_percent",
    "titratable_acidity",
    "ph",
    "sugar_g_per_l",
    "sucrose_equivalent_g_per_l",
    "juice_percent",
    "citrus_percent",
)
"""Properties whose change is told."""

_ACIDITY: Final = "titratable_acidity"
_TASTED: Final = ("abv_percent", "titratable_acidity", "sucrose_equivalent_g_per_l", "juice_percent")
_DIGITS, _WORTH_TELLING = 3, 0.05
_LITRE_ML, _KILOGRAM_G, _SYRINGE_ML, _FINE_G = 1000.0, 1000.0, 30.0, 30.0
"""Below about an ounce a volume is measured with a syringe, a mass with a fine scale: both are metric everywhere."""


def short(value: float) -> str:
    """A figure with three digits, never in powers of ten.

    >>> short(24.9999), short(1234.5), short(0.012344)
    ('25', '1234', '0.0123')
    """
    if value == 0.0:
        return "0"
    text = f"{value:.{max(0, _DIGITS - 1 - int(log10(abs(value)) // 1))}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _three_digits(value: float) -> float:
    """A decimal step that leaves three digits."""
    return float(10.0 ** (log10(value) // 1 - _DIGITS + 1))


def volume_in_words(volume_ml: float, system: System) -> str:
    """A volume in three digits, in the caller's system.

    >>> volume_in_words(5000.0, "metric"), volume_in_words(29.2, "us"), volume_in_words(394.0, "us")
    ('5 L', '29.2 mL', '13.3 fl oz (394 mL)')
    """
    if volume_ml >= _SYRINGE_ML and system != "metric":
        return volume_text(volume_ml, system, _three_digits(volume_ml))
    return f"{short(volume_ml / _LITRE_ML)} L" if volume_ml >= _LITRE_ML else f"{short(volume_ml)} mL"


def mass_in_words(mass_g: float, system: System) -> str:
    """A mass in three digits, in the caller's system.

    >>> mass_in_words(2790.0, "metric"), mass_in_words(8.62, "us"), mass_in_words(453.6, "us")
    ('2.79 kg', '8.62 g', '1 lb')
    """
    if mass_g >= _FINE_G and system != "metric":
        return mass_text(mass_g, system, _three_digits(mass_g))
    return f"{short(mass_g / _KILOGRAM_G)} kg" if mass_g >= _KILOGRAM_G else f"{short(mass_g)} g"


def effects(glass: Glass, batch_masses_g: Sequence[float], circumstances: Circumstances) -> tuple[PerGraduation, ...]:
    """What one graduation more of each stock does.

    Parameters: glass; batch_masses_g, of the pure materials in the batch that is matched to it, in their order [g];
        circumstances.
    Returns: one PerGraduation for each stock. Changes are exact differences of two glasses, of acidity down to none;
        amounts are to first order.
    """
    materials, masses = glass.materials, [m.least_g for m in glass.materials]
    before = _values(materials, masses, circumstances)
    found = []
    for k, stock in enumerate(glass.stocks, start=1):
        more = list(masses)
        more[k] += stock.graduation_g
        after = _values(materials, more, circumstances)
        changes = list(_changes(before, after, circumstances))
        gone = before.get(_ACIDITY, 0.0) > 0.0 >= after.get(_ACIDITY, 0.0)
        words = _in_words(changes, "would move" if stock.asked.measure.graduations < 1.0 else "moves", all_of_it=gone)
        found.append(_effect(glass, stock, batch_masses_g, changes, words, circumstances.system))
    return tuple(found)


def _values(materials: Sequence[Material], masses_g: Sequence[float], circumstances: Circumstances) -> dict[str, float]:
    contents = poured(materials, masses_g)
    found = {}
    for name in MOVED:
        value = value_of(name, materials, masses_g, contents, circumstances.end_point_ph, circumstances.senses)
        if value is not None:
            found[name] = value
    return found


def _changes(
    before: dict[str, float], after: dict[str, float], circumstances: Circumstances
) -> Iterator[PropertyChange]:
    for name in MOVED:
        if name not in before or name not in after:
            continue
        # base beyond all acid takes no more of it
        later = max(after[name], min(before[name], 0.0)) if name == _ACIDITY else after[name]
        change = rounded(name, later - before[name])
        if change:
            steps = steps_between(name, before[name], later, circumstances.senses)
            yield PropertyChange(name, change, PROPERTIES[name].unit, None if steps is None else round(steps, 2) + 0.0)


def _grams(name: str, mass_g: float, density_g_ml: float | None) -> Grams:
    volume = None if density_g_ml is None else round(mass_g / density_g_ml, 4)
    return Grams(name, round(mass_g, 4), volume)


def _effect(
    glass: Glass,
    stock: Stock,
    batch_masses_g: Sequence[float],
    changes: Sequence[PropertyChange],
    moves: str,
    system: System,
) -> PerGraduation:
    share = stock.asked.measure.graduation / stock.asked.measure.amount
    in_batch = _grams(stock.asked.name, factor_of(glass) * stock.graduation_g, stock.density_g_ml)
    parts = []
    for part in stock.parts:
        if part.stock_water:
            continue
        at = glass.pure.index(part.material)
        own = part.share * stock.mass_g / glass.dosed_g[at]
        parts.append(_grams(part.material.name, share * own * batch_masses_g[at], part.material.density_g_ml))
    volume_ml = in_batch.volume_ml
    amount = mass_in_words(in_batch.mass_g, system) if volume_ml is None else volume_in_words(volume_ml, system)
    measured = f"{amount} of {stock.asked.name}"
    as_parts = " and ".join(f"{mass_in_words(p.mass_g, system)} {in_plain_words(p.ingredient)}" for p in parts)
    dissolved = f" ({as_parts})" if stock.asked.solution is not None else ""
    graduation = _upper(stock.asked.measure.graduation_text)
    if share > 1.0:
        text = (
            f"{graduation} is {short(share)} times the whole dose, which it cannot measure: one more in the glass "
            f"would be {measured}{dissolved} in the batch{moves}."
        )
    else:
        text = (
            f"{graduation} more or less in the glass is {short(100.0 * share)} % of the dose, {measured}{dissolved} in "
            f"the batch{moves}."
        )
    return PerGraduation(
        stock.asked.name,
        stock.asked.measure.graduation_text,
        round(stock.asked.measure.graduations, 4),
        round(100.0 * share, 3),
        in_batch,
        tuple(parts),
        tuple(changes),
        text,
    )


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _in_words(changes: Sequence[PropertyChange], moves: str, *, all_of_it: bool) -> str:
    """What is moved, where it is worth telling: of what is sour, the acidity in any case."""
    told = [c for c in changes if c.property in _TASTED and _worth_telling(c)]
    if not told:
        return ""
    return f", and {moves} " + ", ".join(
        f"{plain_property(c.property)} by {c.change:+g} {c.unit}"
        + (", all that there is" if all_of_it and c.property == _ACIDITY else "")
        + ("" if c.steps is None else f" ({abs(c.steps):.2g} noticeable steps)")
        for c in told
    )


def _worth_telling(change: PropertyChange) -> bool:
    sour = change.property == _ACIDITY and change.change > 0.0
    return sour or change.steps is None or abs(change.steps) >= _WORTH_TELLING


def round_up(value: float) -> float:
    """The next round figure: 1, 1.5, 2, 2.5, 3, 4, 5, 6, 8 times a power of ten, not below.

    >>> round_up(430.0), round_up(500.0), round_up(1010.0)
    (500.0, 500.0, 1500.0)
    """
    ten = 10.0 ** ((log10(value) // 1) if value > 0.0 else 0.0)
    for step in (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0):
        if step * ten >= value * (1.0 - 1e-9):
            return float(step * ten)
    return float(10.0 * ten)


def advice_of(
    glass: Glass,
    effects_: Sequence[PerGraduation],
    dilution_percent: float,
    *,
    water_copied: bool,
    system: System = "metric",
) -> tuple[Advice, ...]:
    """What would make the trial tell more.

    Parameters: glass; effects_, one for each stock; dilution_percent, strength that the stocks' water took from the
        glass [% vol]; water_copied, whether the batch takes that water too; system of the texts.
    Returns: Advice, stock by stock.
    """
    found = []
    base_ml = glass.base.least_g / (glass.base.density_g_ml or 1.0)
    for stock, effect in zip(glass.stocks, effects_, strict=True):
        measure = stock.asked.measure
        tasted = [c for c in effect.changes if c.property in _TASTED and abs(c.steps or 0.0) >= NOTICEABLE]
        if measure.graduations < ENOUGH_GRADUATIONS * (1.0 - 1e-9):
            found.append(_too_small(stock, base_ml, system))
        elif tasted:
            most = max(tasted, key=lambda c: abs(c.steps or 0.0))
            found.append(
                Advice(
                    "one_graduation_is_noticeable",
                    stock.asked.name,
                    round_up(base_ml * abs(most.steps or 0.0) / NOTICEABLE),
                    None,
                    f"{_upper(measure.graduation_text)} of {stock.asked.name} moves "
                    f"{plain_property(most.property)} by {abs(most.steps or 0.0):.2g} noticeable steps: pour a larger "
                    "glass, or thin the stock.",
                )
            )
    if not water_copied and dilution_percent >= NOTICEABLE * PROPERTIES["abv_percent"].noticeable:
        found.append(
            Advice(
                "stock_water_is_noticeable",
                None,
                None,
                None,
                f"The stocks' water took {dilution_percent:.2g} % vol off the glass, and the batch does not get it: it "
                "will taste stronger. Use stronger stocks, or allow water (water_allowed).",
            )
        )
    return tuple(found)


def fine_amounts(
    glass: Glass, amounts: Sequence[Amount], scale_step_g: float, system: System = "metric"
) -> tuple[Advice, ...]:
    """What the batch takes too little of for the caller's scale: measure the stock itself instead.

    Parameters: glass; amounts of the batch; scale_step_g, one division of the scale [g]; system of the texts.
    Returns: Advice for every solution whose ingredient is less than ten divisions.
    """
    masses = {a.name: a.mass_g for a in amounts}
    found = []
    for stock in glass.stocks:
        first = stock.parts[0].material
        grams = masses.get(first.name, 0.0)
        if stock.asked.solution is None or not 0.0 < grams < ENOUGH_GRADUATIONS * scale_step_g:
            continue
        whole = grams / stock.parts[0].share / (stock.density_g_ml or 1.0)
        found.append(
            Advice(
                "batch_dose_too_fine",
                stock.asked.name,
                None,
                None,
                f"{short(grams)} g of {first.said} is less than ten divisions of a scale that shows "
                f"{scale_step_g:.3g} g: measure out {volume_in_words(whole, system)} of {stock.asked.name} instead, or "
                "use a finer scale.",
            )
        )
    return tuple(found)


def _too_small(stock: Stock, base_ml: float, system: System) -> Advice:
    """The dose is too few graduations: a larger glass, a thinner stock, or a solution of what was weighed."""
    measure = stock.asked.measure
    times = ENOUGH_GRADUATIONS / measure.graduations
    larger = round_up(base_ml * times)
    dose = f"{measure.text} of {stock.asked.name} is {short(measure.graduations)} times {measure.graduation_text}"
    if not measure.by_volume:
        return Advice(
            "glass_too_small",
            stock.asked.name,
            larger,
            None,
            f"{dose}, and one of them more or less is {short(100.0 / measure.graduations)} % of it: weigh more of it "
            f"into a solution and dose that, or pour a glass of {volume_in_words(larger, system)}.",
        )
    thinner = _thinner(stock, times)
    return Advice(
        "glass_too_small",
        stock.asked.name,
        larger,
        round(times, 3),
        f"{dose}, and one of them more or less is {short(100.0 / measure.graduations)} % of it: pour a glass of "
        f"{volume_in_words(larger, system)}, or thin the stock to {thinner}.",
    )


def _thinner(stock: Stock, times: float) -> str:
    solution, dye = stock.asked.solution, stock.asked.dye
    strength = solution.percent_w_v if solution is not None else dye.percent_w_v if dye is not None else None
    if strength is None:
        return f"1 part and {short(times - 1.0)} parts of water"
    return f"{short(strength / times)} % w/v"
