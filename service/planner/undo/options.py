"""From a way out to an option of the answer: amounts, the drink afterwards, what it costs, and what to heed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import hypot
from typing import Final

from service.chemistry.sulfite import SO2_PK_CONVENTION, molecular_so2_mg_per_l
from service.model.lot_class import Assumed
from service.model.properties import PROPERTIES
from service.planner.answers import Amount, Caution, Predicted
from service.planner.answers_blend import TargetReport
from service.planner.asked import AdditionAsked, Circumstances, LotAsked, TargetAsked
from service.planner.cautions import cautions_for, sorted_once
from service.planner.compare import Difference, differences
from service.planner.hand_over import Blended
from service.planner.materials import Material
from service.planner.plain_words import figure_in_words, joined, plain_property, target_in_words
from service.planner.plan_report import SOLVER_SHARE, report_of
from service.planner.predict import Foreseen, amounts_of
from service.planner.rounding import rounded_masses
from service.planner.stabilising.answers import SulfurDioxide
from service.planner.steps import Senses, steps_between
from service.planner.undo.answers import Option, Possible
from service.planner.undo.mixing import Mix, Vessel
from service.planner.undo.sulfite_found import LEAST_PH, MOST_PH
from service.quantities import System, number_text, volume_text

ROUNDED_SHARE: Final = 0.1
"""A rounded amount still meets a target when it misses it by this share of what counts as exact."""

_SHOWN: Final = (
    "volume",
    "gravity",
    "sucrose_equivalent_g_per_l",
    "sugar_g_per_l",
    "abv_percent",
    "titratable_acidity",
    "ph",
    "sugar_acid_ratio",
    "juice_percent",
    "citrus_percent",
    "cost",
)
"""What an option may cost, in the order in which it is told."""

_TOLD: Final = {
    "sucrose_equivalent_g_per_l": ("sweetness", 0.1),
    "abv_percent": ("strength", 0.05),
    "titratable_acidity": ("acidity", 0.05),
    "ph": ("pH", 0.02),
    "citrus_percent": ("citrus juice", 0.1),
}
"""What is told in words, and from which change on [its unit]."""

_FEW: Final = 0.005
"""Less growth of the volume than this share is not told."""

_FEW_STEPS: Final = 0.05
_ALIKE_STEPS, _ALIKE_SHARE = 0.1, 0.03
"""Ways whose distances differ by no more than this, or by this share of them, are no further apart than what they rest
on (our default)."""

_MOVED: Final = ("sucrose_equivalent_g_per_l", "abv_percent", "juice_percent")
_SOURNESS: Final = ("titratable_acidity", "ph")
"""What a distance is made of; of what a drink's sourness goes by, acidity and pH, the one that moves more (our default:
both tell of the same acid)."""

_PH_RISE: Final = 0.1
"""From this rise of the pH on, a noticeable step, it is told what becomes of molecular sulfite."""

_RANK: Final[dict[Possible, int]] = {"yes": 0, "partly": 1, "no": 2}


@dataclass(frozen=True, slots=True)
class Way:
    """A way out before it is reckoned, or where it cannot be; with a `mix`, `added_g` is what goes in.

    It does what is wanted if the first `judged` of `targets` are met; where `first_told`, `limit` says itself what
    becomes of the first. Amounts that are `exact` are not rounded; what is `called` something is told as one amount.
    """

    name: str
    do: str
    limit: str
    source_id: str
    possible: Possible = "partly"
    needs: tuple[str, ...] = ()
    mix: Mix | None = None
    added_g: tuple[float, ...] = ()
    cautions: tuple[Caution, ...] = ()
    so2: SulfurDioxide | None = None
    targets: tuple[TargetAsked, ...] = ()
    judged: int = 1
    first_told: bool = False
    exact: bool = False
    called: str = ""
    assumed: tuple[Assumed, ...] = ()


@dataclass(frozen=True, slots=True)
class Reckoned:
    """An option, and what else the answer has to say for it."""

    option: Option
    materials: tuple[Material, ...] = ()
    assumed: tuple[Assumed, ...] = ()
    blended: Blended | None = None


def reckoned(way: Way, vessel: Vessel | None, beside: Predicted | None = None) -> Reckoned:
    """An option of the answer.

    Parameters: way; vessel, None where nothing is known of the drink; beside, the drink that changes are told from,
        None for the drink as it is.
    Returns: Reckoned.
    """
    if vessel is None or way.mix is None:
        return Reckoned(_in_words(way), assumed=way.assumed)
    mix, circumstances = way.mix, vessel.circumstances
    masses = mix.masses_g(way.added_g)
    texts: Sequence[str | None] | None = None
    more_assumed, more_cautions = way.assumed, list(way.cautions)
    if not way.exact and vessel.asked.rounding != "none":
        keep = [k for k in range(len(masses)) if k not in mix.places]
        measured = rounded_masses(
            mix.materials, masses, way.targets, (), circumstances, vessel.asked.rounding, keep=keep
        )
        masses, texts = list(measured.masses_g), measured.texts
        more_assumed, more_cautions = (*more_assumed, *measured.assumed), [*more_cautions, *measured.cautions]
    added = tuple(masses[place] - mix.base_g[place] for place in mix.places)
    after = mix.foreseen(added)
    contents = mix.contents(added)
    litres = contents.volume_ml / 1000.0
    shown = [0.0] * len(masses)
    for place, mass_g in zip(mix.places, added, strict=True):
        shown[place] += mass_g
    if way.called:
        amounts = [_as_one(way, vessel, sum(shown), litres, circumstances)]
    else:
        each = amounts_of(mix.materials, shown, litres, circumstances, texts)
        amounts = [a for a, g in zip(each, shown, strict=True) if g > 0.0]
    asked = circumstances
    now, later = beside or vessel.now.predicted, after.predicted
    heeded = cautions_for(mix.materials, masses, contents, later, asked, acidity_asked=_touches_acid(way.targets))
    more_cautions += _weaker_sulfite(vessel, later)
    cautions = sorted_once([c for c in (*more_cautions, *heeded) if c not in vessel.cautions])
    reports = tuple(_report(target, mix, added, after, loose=texts is not None) for target in way.targets)
    changes = tuple(
        sorted(
            (d for d in differences(now, later, asked.instruments, asked.senses) if d.property in _SHOWN),
            key=lambda d: _SHOWN.index(d.property),
        )
    )
    option = Option(
        name=way.name,
        do=way.do,
        possible=_possible(way, reports),
        limit=" ".join(
            part for part in (_missed(way, reports, circumstances), way.limit, _vessel_words(vessel, litres)) if part
        ),
        needs=way.needs,
        amounts=tuple(amounts),
        predicted=later,
        so2=way.so2,
        targets=reports,
        changes=changes,
        costs=_costs(changes, now.volume.value, circumstances.system),
        distance=round(_distance(now, later, asked.senses), 3),
        cautions=cautions,
        source_id=way.source_id,
    )
    used = tuple(m for m, g in zip(mix.materials, shown, strict=True) if g > 0.0)
    return Reckoned(option, used, more_assumed, Blended(mix.materials, masses, contents, later, circumstances))


def in_order(options: Iterable[Reckoned]) -> tuple[Reckoned, ...]:
    """What reaches the aim first, the least change of the drink before others, what is only words after figures.

    What moves the drink by hardly more than the nearest keeps the order that it came in: the usual one.
    """
    usual = list(options)
    ranks: list[float] = [0.0] * len(usual)
    nearest = -_ALIKE_STEPS - 1.0
    for k in sorted(range(len(usual)), key=lambda k: usual[k].option.distance or 0.0):
        distance = usual[k].option.distance or 0.0
        if distance - nearest > max(_ALIKE_STEPS, _ALIKE_SHARE * nearest):
            nearest = distance
        ranks[k] = nearest

    def key(k: int) -> tuple[int, bool, float, int]:
        option = usual[k].option
        return (_RANK[option.possible], option.distance is None, ranks[k], k)

    return tuple(usual[k] for k in sorted(range(len(usual)), key=key))


def of_stock(vessel: Vessel, source: LotAsked | AdditionAsked, name: str, aim: float, which: Way, beyond: str) -> Way:
    """A way with so much of one thing that a property reaches a value, or all that there is of it.

    Parameters: vessel; source, what goes in; name of the property and aim, in its unit; which, the way in words;
        beyond, words for what no amount of it does.
    Returns: Way.
    """
    mix = vessel.with_((source,))
    most = mix.stock_g()
    mass_g = mix.amount_to(name, aim, most)
    if mass_g is not None:
        return replace(which, possible="yes", mix=mix, added_g=(mass_g,))
    toward = _toward(mix, name, aim, most)
    if mix.limited() and toward:
        text = f"All that there is of it does not reach {plain_property(name)} as wanted. {which.limit}"
        return replace(which, possible="partly", mix=mix, added_g=(most,), limit=text.strip(), first_told=True)
    return replace(which, possible="no", limit=f"{beyond} {which.limit}".strip())


def _toward(mix: Mix, name: str, aim: float, mass_g: float) -> bool:
    before, after = mix.value(name, [0.0]), mix.value(name, [mass_g])
    if before is None or after is None or mass_g <= 0.0:
        return False
    return abs(after - aim) < abs(before - aim)


def _in_words(way: Way) -> Option:
    return Option(
        name=way.name,
        do=way.do,
        possible=way.possible,
        limit=way.limit,
        needs=way.needs,
        amounts=(),
        predicted=None,
        so2=way.so2,
        targets=(),
        changes=(),
        costs="",
        distance=None,
        cautions=sorted_once(way.cautions),
        source_id=way.source_id,
    )


def _touches_acid(targets: Sequence[TargetAsked]) -> bool:
    return bool(targets) and targets[0].name in ("ph", "titratable_acidity")


def _report(target: TargetAsked, mix: Mix, added_g: Sequence[float], after: Foreseen, *, loose: bool) -> TargetReport:
    share = ROUNDED_SHARE if loose else SOLVER_SHARE
    return report_of(target, mix.value(target.name, added_g), share, after)


def _possible(way: Way, reports: Sequence[TargetReport]) -> Possible:
    """A way that reaches its goal, and misses another target that was stated, or does once rounded, does so in part."""
    if way.possible == "yes" and not all(report.met for report in reports[: way.judged]):
        return "partly"
    return way.possible


def _missed(way: Way, reports: Sequence[TargetReport], circumstances: Circumstances) -> str:
    """The targets that a way does not meet, in words, but for what it says itself."""
    pairs = list(zip(way.targets, reports, strict=True))[1 if way.first_told else 0 : way.judged]
    found = []
    for target, report in pairs:
        if not report.met:
            reached = None if report.reached is None else float(f"{report.reached:.5g}")
            has = "none" if reached is None else figure_in_words(target.name, reached, circumstances)
            found.append(f"{target_in_words(target, circumstances)} (it comes to {has})")
    return f"It misses {joined(found)}." if found else ""


def _as_one(way: Way, vessel: Vessel, mass_g: float, litres: float, circumstances: Circumstances) -> Amount:
    """So much of the drink in the vessel, made again, as one amount."""
    first = vessel.mix.materials[0]
    whole_g = sum(vessel.mix.base_g)
    again = replace(
        first,
        name=way.called,
        kind="lot",
        per_g=vessel.contents.scaled(1.0 / whole_g),
        density_g_ml=whole_g / (1000.0 * vessel.litres),
        price_per_g=None,
    )
    return amounts_of([again], [mass_g], litres, circumstances)[0]


def _weaker_sulfite(vessel: Vessel, later: Predicted) -> Iterator[Caution]:
    """Sulfite that a drink relies on, where its pH rises: less of the free is molecular."""
    now, then = vessel.now.predicted.ph, later.ph
    if "sulfite" not in vessel.circumstances.intended.hurdles or now is None or then is None:
        return
    if then.value - now.value < _PH_RISE:
        return
    before, after = (
        molecular_so2_mg_per_l(1.0, min(max(ph.value, LEAST_PH), MOST_PH), SO2_PK_CONVENTION) for ph in (now, then)
    )
    yield Caution(
        "higher_ph_weakens_sulfite",
        "warning",
        f"The pH rises from {now.value:.2f} to {then.value:.2f}: of the same free sulfite only "
        f"{100.0 * after / before:.0f} % as much is molecular. Reckon the sulfite again before bottling.",
        "waterhouse_2016",
    )


def _distance(now: Predicted, later: Predicted, senses: Senses) -> float:
    """How far one drink is from another in just-noticeable steps: the root of the sum of their squares."""

    def steps(name: str) -> float:
        before, after = getattr(now, name), getattr(later, name)
        if before is None or after is None:
            return 0.0
        return abs(steps_between(name, before.value, after.value, senses) or 0.0)

    return hypot(*(steps(name) for name in _MOVED), max(steps(name) for name in _SOURNESS))


def _vessel_words(vessel: Vessel, litres: float) -> str:
    """What to do where the vessel is too small for the drink afterwards: draw off first, and add less."""
    room = vessel.circumstances.intended.vessel_l
    if room is None or litres <= room:
        return ""
    keep = room / litres
    system = vessel.circumstances.system
    out = volume_text(1000.0 * vessel.litres * (1.0 - keep), system, 10.0)
    return (
        f"The vessel is too small: draw off {out} of the drink first, and add {100.0 * keep:.0f} % of the amounts "
        "told, for the same drink."
    )


def _percent(share: float) -> str:
    return f"{100.0 * share:.2g}" if share < 1.0 else f"{100.0 * share:.0f}"


def _costs(changes: Sequence[Difference], litres: float, system: System) -> str:
    """What an option costs, in words."""
    by_name = {d.property: d for d in changes}
    found = []
    volume = by_name.get("volume")
    if volume is not None and volume.difference > _FEW * litres:
        grown = volume_text(1000.0 * volume.difference, system, 10.0)
        found.append(f"{grown} more drink ({_percent(volume.difference / litres)} %)")
    for name, (word, least) in _TOLD.items():
        change = by_name.get(name)
        if change is None or abs(change.difference) < least:
            continue
        way = "more" if change.difference > 0.0 else "less"
        size = number_text(abs(change.difference), 10.0 ** -PROPERTIES[name].decimals)
        unit = "" if change.unit in ("pH", "SG", "") else f" {change.unit}"
        steps = (
            ""
            if change.steps is None or abs(change.steps) < _FEW_STEPS
            else f" ({abs(change.steps):.1f} noticeable steps)"
        )
        found.append(f"{size}{unit} {way} {word}{steps}")
    return f"{joined(found)}." if found else "Nothing that is noticed."
