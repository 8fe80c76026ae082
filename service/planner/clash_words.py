"""A clash in plain words: what cannot hold together, why, and what would do."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf

from service.model.properties import PROPERTIES
from service.physics.ethanol_water import ETHANOL_DENSITY_20C_KG_M3
from service.physics.solutes import Component
from service.planner.answers_decisions import Helpful, Relaxed
from service.planner.asked import Circumstances, LotAsked, PlanAsked, TargetAsked
from service.planner.materials import Material
from service.quantities import Kind, mass_text, number_text, volume_text
from service.quantities.units import UNIT_BY_SPELLING

_PLAIN = {
    "gravity": "a gravity of",
    "titratable_acidity": "an acidity of",
    "ph": "a pH of",
    "extract_g_per_l": "an extract of",
    "sugar_g_per_l": "sugar of",
    "fermentable_sugar_g_per_l": "fermentable sugar of",
    "sucrose_equivalent_g_per_l": "sweetness of",
    "sugar_acid_ratio": "a sugar–acid ratio of",
    "juice_percent": "juice of",
    "citrus_percent": "citrus juice of",
    "added_mass": "an added mass of",
    "added_volume": "an added volume of",
    "cost": "a cost of",
    "energy_kcal_per_100ml": "energy of",
}
_OWN_WORDS = {"SG", "pH", ""}
_FINE_ML, _FINE_G = 10.0, 1.0


def in_words(name: str, value: float) -> str:
    """A value of a property in words: `6.5 % vol`, `a gravity of 1.012`.

    >>> in_words("abv_percent", 6.5)
    '6.5 % vol'
    """
    law = PROPERTIES[name]
    shown = number_text(value, 10.0 ** -(law.decimals + 1))
    unit = "" if law.unit in _OWN_WORDS else f" {law.unit}"
    plain = _PLAIN.get(name)
    return f"{plain} {shown}{unit}" if plain else f"{shown}{unit}"


def target_in_words(target: TargetAsked) -> str:
    """A target in words: `at least 6.4 % vol`."""
    if target.value is not None:
        return in_words(target.name, target.value)
    if target.low == -inf:
        return f"at most {in_words(target.name, target.high)}"
    if target.high == inf:
        return f"at least {in_words(target.name, target.low)}"
    low, high = in_words(target.name, target.low), PROPERTIES[target.name]
    unit = "" if high.unit in _OWN_WORDS else f" {high.unit}"
    return f"{low.removesuffix(unit)} to {number_text(target.high, 10.0 ** -(high.decimals + 1))}{unit}"


def limit_in_words(material: Material, member: str, mass_g: float, circumstances: Circumstances) -> str:
    """An amount that a limit would have to allow: `25.6 L`, `3.42 kg`, `1.5 packs`."""
    if material.whole_g and material.source is not None and member.startswith("packs of"):
        packs = mass_g / _pack_g(material)
        return f"{number_text(packs, 0.01)} packs"
    words = _amount(material, mass_g, circumstances)
    if material.whole_g:
        words += f" ({number_text(mass_g / _pack_g(material), 0.01)} packs)"
    return words


def _amount(material: Material, mass_g: float, circumstances: Circumstances) -> str:
    """An amount as the caller speaks of it: lots, and what was limited by volume, by volume."""
    unit = None if isinstance(material.source, LotAsked) else material.source.unit
    by_volume = material.kind == "lot" or (unit is not None and UNIT_BY_SPELLING[unit.lower()].kind is Kind.VOLUME)
    if by_volume and material.density_g_ml:
        return volume_text(mass_g / material.density_g_ml, circumstances.system, _FINE_ML)
    return mass_text(mass_g, circumstances.system, min(circumstances.instruments.scale_step_g, _FINE_G))


def _pack_g(material: Material) -> float:
    source = material.source
    pack = None if isinstance(source, LotAsked) else source.pack_g
    return pack or material.whole_g or 1.0


def _limit_words(material: Material, member: str, circumstances: Circumstances) -> str:
    """A limit as it stands."""
    kind, _, name = member.partition(" of ")
    most = _amount(material, material.most_g or 0.0, circumstances)
    if material.kind == "lot":
        return f"all {most} of {name}" if material.fixed else f"at most {most} of {name}"
    if kind == "packs":
        return f"whole packs of {name}"
    if kind == "least":
        return f"at least {_amount(material, material.least_g, circumstances)} of {name}"
    return f"{most} of {name}" if kind == "amount" else f"at most {most} of {name}"


def joined(words: Sequence[str], last: str = "and") -> str:
    """A list as one says it: `a, b and c`."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def clash_text(
    asked: PlanAsked,
    materials: Sequence[Material],
    members: Sequence[str],
    relaxed: Sequence[Relaxed],
    helpful: Sequence[Helpful],
    besides: Sequence[Sequence[str]] = (),
) -> str:
    """The whole clash as one would say it in the cellar.

    Parameters: asked; materials; members of the conflict; what each would have to become; what would help; other
    conflicts beside it.
    Returns: sentences.
    """
    if not members:
        return (
            "That the targets cannot all be met is proved, but not which few of them stand in each other's way: drop "
            "one, or widen its range, and ask again."
        )
    targets = {t.name: t for t in asked.targets}
    sentences = [_cannot(asked, materials, members)]
    sentences += [f"Besides: {_cannot(asked, materials, more)}" for more in besides]
    if relaxed:
        ways = [_way(r, targets) for r in relaxed]
        sentences.append(
            f"{'Any one of these alone would do' if len(ways) > 1 else 'This would do'}: {'; '.join(ways)}."
        )
    elif besides:
        sentences.append("No single change settles it all: give way on more than one.")
    if helpful:
        offers = [f"{h.amount_text} of {h.ingredient}" for h in helpful]
        sentences.append(f"{'Or add' if relaxed else 'You could add'} about {joined(offers, 'or')}.")
    return " ".join(sentences)


def _cannot(asked: PlanAsked, materials: Sequence[Material], members: Sequence[str]) -> str:
    """What cannot hold together, and why where that can be said."""
    targets = {t.name: t for t in asked.targets}
    by_name = {m.name: m for m in materials}
    wanted = [target_in_words(targets[m]) for m in members if m in targets]
    limits = [
        _limit_words(by_name[m.partition(" of ")[2]], m, asked.circumstances) for m in members if m not in targets
    ]
    held = f" with {joined(limits)}" if limits else ""
    if not wanted:
        head = f"{_capital(joined(limits))} cannot be used together"
    elif len(wanted) == 1:
        head = f"{_capital(wanted[0])} cannot be had{held or ' at all'}"
    else:
        head = f"{_capital(joined(wanted))} cannot {'both' if len(wanted) == 2 else 'all'} hold{held}"
    return f"{head}{_why(targets, members, materials)}."


_VERBS = {"use": "pour", "least": "take only", "packs": "open packs for", "amount": "take", "stock": "have"}


def _way(relaxed: Relaxed, targets: dict[str, TargetAsked]) -> str:
    if relaxed.member in targets:
        return f"accept {relaxed.to}"
    kind, _, name = relaxed.member.partition(" of ")
    return f"{_VERBS[kind]} {relaxed.to} of {name}"


def _why(targets: dict[str, TargetAsked], members: Sequence[str], materials: Sequence[Material]) -> str:
    """What stands behind a clash of strength and volume: so much alcohol and no more."""
    strength, volume = targets.get("abv_percent"), targets.get("volume")
    if strength is None or "abv_percent" not in members:
        return ""
    litres = 0.0
    for material in materials:
        share_g = material.per_g.masses_g.get(Component.ETHANOL, 0.0)
        if share_g <= 0.0:
            continue
        if material.most_g is None:
            return ""
        litres += share_g * material.most_g / ETHANOL_DENSITY_20C_KG_M3
    least = strength.value if strength.value is not None else strength.low
    if litres <= 0.0 or least in (-inf, 0.0) or volume is None or "volume" not in members:
        return ""
    needed = volume.value if volume.value is not None else volume.low
    if needed == -inf or litres / needed * 100.0 >= least:
        return ""
    lots = [m.name for m in materials if m.kind == "lot"]
    who = lots[0] if len(lots) == 1 else "the lots"
    bring = "brings" if len(lots) == 1 else "bring"
    return (
        f": {who} {bring} only {litres:.2f} L of alcohol, enough for {100.0 * litres / least:.1f} L of "
        f"{number_text(least, 0.01)} % vol"
    )
