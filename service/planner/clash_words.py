"""A clash in plain words: what cannot hold together, why, and what would do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf

from service.physics.ethanol_water import ETHANOL_DENSITY_20C_KG_M3
from service.physics.solutes import Component
from service.planner.answers_decisions import Helpful, Relaxed
from service.planner.asked import Circumstances, LotAsked, PlanAsked, TargetAsked
from service.planner.materials import Material
from service.planner.plain_words import (
    FINE_ML,
    amount_in_words,
    between,
    capital,
    figure_in_words,
    joined,
    plain_names,
    shown_step,
    target_in_words,
)
from service.quantities import Kind, number_text, volume_text
from service.quantities.units import UNIT_BY_SPELLING


@dataclass(frozen=True, slots=True)
class Besides:
    """Conflicts that are left when one target of the first is dropped; `always`: whichever it is, one is left."""

    conflicts: tuple[tuple[str, ...], ...] = ()
    always: bool = False


_NO_OTHERS = Besides()


def limit_in_words(material: Material, member: str, mass_g: float, circumstances: Circumstances) -> str:
    """An amount that a limit would have to allow: `25.6 L`, `3.42 kg`, `9 packs (2.25 kg)`."""
    words = _amount(material, mass_g, circumstances)
    if material.whole_g and not member.startswith("packs of"):
        packs = number_text(mass_g / _pack_g(material), 0.01)
        words = f"{packs} {'pack' if packs == '1' else 'packs'} ({words})"
    return words


def _amount(material: Material, mass_g: float, circumstances: Circumstances) -> str:
    """An amount as the caller speaks of it: lots, and what was limited by volume, by volume."""
    unit = None if isinstance(material.source, LotAsked) else material.source.unit
    by_volume = material.kind == "lot" or (unit is not None and UNIT_BY_SPELLING[unit.lower()].kind is Kind.VOLUME)
    if by_volume and material.density_g_ml:
        volume_ml = mass_g / material.density_g_ml
        return volume_text(volume_ml, circumstances.system, shown_step(volume_ml, FINE_ML))
    return amount_in_words(mass_g, circumstances, liquid=material.density_g_ml is not None)


def _pack_g(material: Material) -> float:
    source = material.source
    pack = None if isinstance(source, LotAsked) else source.pack_g
    return pack or material.whole_g or 1.0


def clash_text(
    asked: PlanAsked,
    materials: Sequence[Material],
    members: Sequence[str],
    relaxed: Sequence[Relaxed],
    helpful: Sequence[Helpful],
    besides: Besides = _NO_OTHERS,
    nearest: str = "",
) -> str:
    """The whole clash as one would say it in the cellar.

    Parameters: asked; materials; members of the conflict; what each would have to become; what would help; other
    conflicts beside it; what the nearest plan reaches of an only target.
    Returns: sentences.
    """
    by_name = {m.name: m for m in materials}
    if members:
        sentences = [f"{capital(_cannot(asked, materials, members))}."]
    else:
        what = "No amounts meet all of these targets (proved); which few stand in each other's way was not found"
        if len(asked.targets) == 1:
            what = _only_one(asked, materials, "" if relaxed else nearest)
        more = ": drop one, or widen its range, and ask again" if not relaxed and len(asked.targets) > 1 else ""
        sentences = [f"{what}{more}."]
    sentences += [
        f"{'Besides' if k == 0 else 'And'}, {_cannot(asked, materials, more)}."
        for k, more in enumerate(besides.conflicts)
    ]
    if relaxed:
        ways = [_way(r, by_name) for r in relaxed]
        sentences.append(
            f"{'Any one of these alone would do' if len(ways) > 1 else 'This would do'}: {'; '.join(ways)}."
        )
    elif besides.always:
        sentences.append("Giving way on one target alone will not do.")
    if helpful:
        plain = plain_names([*by_name, *(h.ingredient for h in helpful)])
        offers = [f"{h.amount_text} of {plain[h.ingredient]}" for h in helpful]
        sentences.append(f"{'Or add' if relaxed else 'You could add'} about {joined(offers, 'or')}.")
    return " ".join(sentences)


def _only_one(asked: PlanAsked, materials: Sequence[Material], nearest: str) -> str:
    """What cannot bring the only target about, and how near it comes: `no amount of honey brings it to ...`."""
    added = [m.said for m in materials if m.kind == "addition" and not m.fixed] or [m.said for m in materials]
    wanted = target_in_words(asked.targets[0], asked.circumstances)
    what = f"No amount of {joined(added, 'or')} that may be used brings it to {wanted} (proved)"
    return f"{what}: the nearest is {nearest}" if nearest else what


def _cannot(asked: PlanAsked, materials: Sequence[Material], members: Sequence[str]) -> str:
    """What cannot hold together, and why where that can be said."""
    targets = {t.name: t for t in asked.targets}
    by_name = {m.name: m for m in materials}
    wanted = [target_in_words(targets[m], asked.circumstances) for m in members if m in targets]
    limits = _limits_in_words([m for m in members if m not in targets], by_name, asked.circumstances)
    held = f" with {limits}" if limits else " from these ingredients, in any amounts"
    if not wanted:
        head = f"{limits} cannot be used together"
    elif len(wanted) == 1:
        head = f"{wanted[0]} cannot be had{held}"
    else:
        held = held if limits else f", whatever the amounts{'' if len(by_name) < 2 else ' of these ingredients'}"
        head = f"{joined(wanted)} cannot {'both' if len(wanted) == 2 else 'all'} hold{held}"
    return f"{head}{_why(asked, targets, members, materials)}"


def _limits_in_words(members: Sequence[str], by_name: Mapping[str, Material], circumstances: Circumstances) -> str:
    """Limits as they stand, those of one kind together: `at most 3 kg of a and 1 kg of b, and all 24 L of c`."""
    groups: dict[str, list[str]] = {}
    for member in members:
        kind, _, name = member.partition(" of ")
        material = by_name[name]
        most = f"{_amount(material, material.most_g or 0.0, circumstances)} of {material.said}"
        if kind == "packs":
            head, words = "whole packs of", material.said
        elif kind == "least":
            head, words = "at least", f"{_amount(material, material.least_g, circumstances)} of {material.said}"
        elif kind == "stock" and not material.most_g:
            head, words = "no", material.said
        elif kind == "use" and material.fixed:
            head, words = "all", most
        elif kind == "use" and material.least_g > 0.0:
            low, high = (
                _amount(material, material.least_g, circumstances),
                _amount(material, material.most_g or 0.0, circumstances),
            )
            head, words = "", f"{between(low, high)} of {material.said}"
        else:
            head, words = "" if kind == "amount" else "at most", most
        groups.setdefault(head, []).append(words)
    told = [f"{head} {joined(words, 'or' if head == 'no' else 'and')}".strip() for head, words in groups.items()]
    several = any(len(words) > 1 for words in groups.values())
    return (
        ", and ".join([", ".join(told[:-1]), told[-1]]) if several and len(told) > 1 else joined(told) if told else ""
    )


def _way(relaxed: Relaxed, by_name: Mapping[str, Material]) -> str:
    """What would do, as advice."""
    kind, _, name = relaxed.member.partition(" of ")
    if not name:
        return f"accept {relaxed.to}"
    material = by_name[name]
    name = material.said
    if relaxed.value <= 0.0:
        return f"leave out {name}"
    more = material.most_g is not None and relaxed.value > material.most_g
    if kind == "packs":
        return f"open packs of {name} and take {relaxed.to}"
    if kind == "stock" or (kind == "use" and more):
        return f"have {relaxed.to} of {name}"
    verb = "pour" if kind == "use" else "take"
    return f"{verb} {relaxed.to} of {name}" if more else f"{verb} only {relaxed.to} of {name}"


def _why(
    asked: PlanAsked, targets: Mapping[str, TargetAsked], members: Sequence[str], materials: Sequence[Material]
) -> str:
    """What stands behind a clash of strength and volume: so much alcohol, and no more or no less."""
    if "abv_percent" not in members or "volume" not in members:
        return ""
    strength, volume = targets["abv_percent"], targets["volume"]
    bringing = [m for m in materials if m.per_g.masses_g.get(Component.ETHANOL, 0.0) > 0.0]
    if not bringing:
        return ""
    only = len(bringing) == 1
    who = bringing[0].said if only else "the lots" if all(m.kind == "lot" for m in bringing) else "everything together"
    bring = "bring" if who == "the lots" else "brings"

    def told(litres: float, end: float) -> tuple[str, str, str]:
        circumstances, percent = asked.circumstances, strength.value if strength.value is not None else end
        drink_l = 100.0 * litres / percent
        shown = (
            f"{drink_l:.1f} L"
            if circumstances.system == "metric"
            else figure_in_words("volume", drink_l, circumstances)
        )
        alcohol = (
            f"{litres:.2f} L" if circumstances.system == "metric" else figure_in_words("volume", litres, circumstances)
        )
        return alcohol, shown, number_text(percent, 0.01)

    most_l = sum(_alcohol_l(m, inf if m.most_g is None else m.most_g) for m in bringing)
    if strength.low > 0.0 and 0.0 < volume.low < inf and 0.0 < most_l < strength.low * volume.low / 100.0:
        alcohol, shown, percent = told(most_l, strength.low)
        return f": {who} {bring} only {alcohol} of alcohol, enough for {shown} of {percent} % vol"
    least_l = sum(_alcohol_l(m, m.least_g) for m in bringing)
    if 0.0 < strength.high < inf and volume.high < inf and least_l > strength.high * volume.high / 100.0:
        alcohol, shown, percent = told(least_l, strength.high)
        return f": {who} {bring} {alcohol} of alcohol at the least, and that makes {shown} of {percent} % vol"
    return ""


def _alcohol_l(material: Material, mass_g: float) -> float:
    return material.per_g.masses_g.get(Component.ETHANOL, 0.0) * mass_g / ETHANOL_DENSITY_20C_KG_M3
