"""What readings changed and what may be off, in figures and words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import exp, log
from typing import Final, Literal

from service.model.properties import PROPERTIES
from service.model.unknowns import Unknown
from service.planner.asked import AdditionAsked
from service.planner.beliefs import AMOUNT
from service.planner.correction.answers import Consistency, Culprit, Figure, ReadingReport, Updated
from service.planner.correction.asked import REFRACTOMETER, VESSEL
from service.planner.correction.belief import Belief, ReadingSeen
from service.planner.correction.culprit import Judgement, Suspect
from service.planner.correction.stages import LOST
from service.planner.correction.terms import VOLUME, Term, litres_term, term_of
from service.planner.intervals import Z_90
from service.planner.materials import Material
from service.planner.plain_words import plain_names

_MOVED, _NARROWED = 0.25, 0.9
"""A belief is told if it moved by this many standard deviations, or its spread fell to this share (our default)."""

_RATIOS: Final = frozenset({"acidity", "Brix", "residual sugar", "alkalinity"})
"""Figures whose difference is told as a share too."""

_INSTRUMENTS: Final = {
    "gravity": "the hydrometer",
    "abv_percent": "the reading of the strength",
    "titratable_acidity": "the titration",
    "ph": "the pH meter",
    "volume": "the volume as read",
    REFRACTOMETER: "the refractometer",
}
_MOST_GAIN: Final = log(1e6)
_Kind = Literal["amount", "volume", "composition", "loss"]
_KINDS: Final[dict[str, _Kind]] = {AMOUNT: "amount", VOLUME: "volume", LOST: "loss"}


def names_in_words(materials: Sequence[Material]) -> dict[str, str]:
    """What materials are called in the cellar; several stocks of one ingredient by whether they were measured.

    Parameters: materials, each name once.
    Returns: a plain name for each.
    """
    plain = plain_names([m.name for m in materials])
    stocks: dict[str, list[Material]] = {}
    for material in materials:
        if isinstance(material.source, AdditionAsked):
            stocks.setdefault(material.source.ingredient.id, []).append(material)
    for alike in stocks.values():
        if len(alike) < 2:
            continue
        told = [
            "as measured" if isinstance(m.source, AdditionAsked) and m.source.measured else "not measured"
            for m in alike
        ]
        first = plain[alike[0].name]
        for k, material in enumerate(alike):
            plain[material.name] = f"{first} ({told[k] if len(set(told)) == len(told) else f'stock {k + 1}'})"
    return plain


class Told:
    """A belief in a maker's terms."""

    def __init__(self, belief: Belief) -> None:
        self.belief = belief
        self.plain = names_in_words(belief.materials)
        self.by_name = {m.name: (m, g) for m, g in zip(belief.materials, belief.masses_g, strict=True)}
        self.of_a_gram = {(u.what, u.of): u for m in belief.materials for u, _ in belief.places(m)}

    def term(self, k: int) -> tuple[str, str, Term] | None:
        """The term of an unknown of the vessel, by its place, with the name of what it is of and that in words."""
        belief, unknown = self.belief, self.belief.unknowns[k]
        pour = belief.pours[k]
        if unknown.what == LOST and pour is not None:
            return VESSEL, VESSEL, litres_term(LOST, pour.lost_l, -1.0 / unknown.low, belief.circumstances)
        if pour is not None:
            material, _ = self.by_name[pour.material]
            own, mass_g = unknown, pour.mass_g
            several = sum(p is not None and p.material == pour.material for p in belief.pours) > 1
            which = f" (addition {pour.stage + 1})" if several else ""
        else:
            material, mass_g = self.by_name[unknown.of]
            own, which = self.of_a_gram[unknown.what, unknown.of], ""
        term = term_of(own, material, mass_g, belief.circumstances)
        return None if term is None else (material.name, f"{self.plain[material.name]}{which}", term)

    def updated(self) -> tuple[Updated, ...]:
        """What moved or narrowed noticeably, the largest move first."""
        found = list(self._updated())
        return tuple(sorted(found, key=lambda u: (-abs(u.moved), u.of, u.what)))

    def _updated(self) -> Iterator[Updated]:
        belief = self.belief
        for k, unknown in enumerate(belief.unknowns):
            sd = belief.before.sd(k)
            if sd <= 0.0:
                continue
            moved = (belief.after.mean[k] - belief.before.mean[k]) / sd
            if abs(moved) < _MOVED and belief.after.sd(k) > _NARROWED * sd:
                continue
            found = self.term(k)
            if found is None:
                continue
            of, name, term = found
            before = _figure(term, unknown, belief.before.mean[k], sd)
            now = _figure(term, unknown, belief.after.mean[k], belief.after.sd(k))
            told = [[term.digits(f) for f in (figure.value, figure.low, figure.high)] for figure in (now, before)]
            if told[0] == told[1]:  # nothing that could be seen, as the Brix of water
                continue
            text = (
                f"{name}: {term.what} probably {term.shown(now.value)} ({told[0][1]} to {told[0][2]}); "
                f"{told[1][0]} before, {_rests(term)}."
            )
            yield Updated(of, term.what, term.unit, before, now, round(moved, 2) + 0.0, text)

    def held(self) -> tuple[str, ...]:
        """What would have to lie beyond a limit, in words."""
        found = []
        for k in self.belief.held:
            term = self.term(k)
            if term is not None:
                found.append(f"{term[2].what} of {term[1]}")
        return tuple(found)

    def readings(self, *, earlier: bool = False) -> tuple[ReadingReport, ...]:
        """Each reading of the last stage, or of those before, beside what was expected."""
        last = len(self.belief.litres) - 1
        return tuple(_report(seen) for seen in self.belief.readings if (seen.stage < last) == earlier)

    def consistency(self, judgement: Judgement) -> Consistency:
        """Whether the readings fit, in words."""
        culprits = tuple(self._culprits(judgement))
        chance = float(f"{judgement.chance:.3g}")
        if judgement.verdict == "consistent":
            text = f"The readings fit what was poured (chance {_chance(chance)})."
        else:
            fit = "hardly fit" if judgement.verdict == "doubtful" else "do not fit"
            text = f"The readings {fit} what was poured (chance {_chance(chance)})."
            if not culprits:
                text += " No single thing explains them: check the amounts, stir, and read again."
            else:
                text += f" Likeliest: {culprits[0].text}"
        return Consistency(judgement.verdict, chance, culprits, text)

    def _culprits(self, judgement: Judgement) -> Iterator[Culprit]:
        for suspect in judgement.suspects:
            times = float(f"{exp(min(suspect.gain, _MOST_GAIN)):.2g}")
            if suspect.reading is not None:
                yield self._reading_off(suspect, suspect.reading, times)
            elif suspect.loss is not None:
                yield self._gone(suspect, suspect.loss, times)
            elif suspect.unknown is not None:
                found = self.term(suspect.unknown)
                if found is not None:
                    yield self._poured_off(suspect, suspect.unknown, *found, times)

    def _gone(self, suspect: Suspect, stage: int, times: float) -> Culprit:
        litres = self.belief.litres[stage]
        term = litres_term("volume", litres, 1.0, self.belief.circumstances)
        return Culprit(
            "loss",
            VESSEL,
            "volume",
            "L",
            round(litres, 3),
            round(litres - suspect.at, 3),
            times,
            f"about {term.shown(suspect.at)} less than was poured: lost at racking, or misread. If it was lost, say so "
            "(lost).",
        )

    def _reading_off(self, suspect: Suspect, place: int, times: float) -> Culprit:
        seen = self.belief.readings[place]
        unit, decimals = _unit_of(seen.name)
        off = f"{abs(suspect.at):.{decimals}f} {unit}".strip()
        if seen.name == "volume":
            off = litres_term("volume", seen.value, 1.0, self.belief.circumstances).shown(abs(suspect.at))
        way = "high" if suspect.at > 0.0 else "low"
        when = "" if len(self.belief.litres) == 1 else f" at measuring {seen.stage + 1}"
        return Culprit(
            "reading",
            seen.name,
            "reading",
            unit,
            round(seen.value, decimals + 1),
            round(seen.value - suspect.at, decimals + 1),
            times,
            f"{_INSTRUMENTS[seen.name]} probably reads {off} too {way}{when}.".replace(
                "as read probably reads", "was probably read"
            ),
        )

    def _poured_off(self, suspect: Suspect, place: int, of: str, name: str, term: Term, times: float) -> Culprit:
        usual = term.value_at(self.belief.before.mean[place])
        probably = max(term.value_at(suspect.at), 0.0)
        way = "more" if probably > usual else "less"
        by, shown = term.shown(abs(probably - usual)), term.shown(probably)
        what = self.belief.unknowns[place].what
        kind: _Kind = _KINDS.get(what, "composition")
        if what == AMOUNT:
            text = f"{name}: probably {shown} went in, {by} {way} than entered."
        elif what == VOLUME:
            text = f"{name}: its volume was probably {shown}, {by} {way} than entered."
        elif what == LOST:
            text = f"probably {shown} were lost, {by} {way} than entered."
        elif term.what in _RATIOS and usual > 0.0 and term.more:
            share = f"{100.0 * abs(probably / usual - 1.0):.0f} %"
            is_ = term.more if probably > usual else term.less
            text = f"{name} is probably {share} {is_} than {_than(term)}: {shown} instead of {term.digits(usual)}."
        else:
            text = f"{name}: {term.what} was probably {shown}, not {term.digits(usual)}, {_rests(term)}."
        digits = term.decimals + 1
        return Culprit(kind, of, term.what, term.unit, round(usual, digits), round(probably, digits), times, text)


def _unit_of(name: str) -> tuple[str, int]:
    if name == REFRACTOMETER:
        return "°Bx", 1
    law = PROPERTIES[name]
    return {"SG": "", "pH": ""}.get(law.unit, law.unit), 2 if name == "volume" else law.decimals


def _report(seen: ReadingSeen) -> ReadingReport:
    unit, decimals = _unit_of(seen.name)
    digits = decimals + 1
    return ReadingReport(
        seen.name,
        seen.stage + 1,
        unit,
        round(seen.value, digits + 1),
        float(f"{seen.error:.3g}"),
        round(seen.expected, digits),
        round(seen.expected - Z_90 * seen.expected_sd, digits),
        round(seen.expected + Z_90 * seen.expected_sd, digits),
        round(seen.now, digits),
        round(seen.surprise, 2) + 0.0,
    )


def _figure(term: Term, unknown: Unknown, mean: float, sd: float) -> Figure:
    """A figure with the ends of its interval, which lie within the limits of the unknown and not below nothing."""
    ends = [min(max(mean + z * sd, unknown.low), unknown.high) for z in (-Z_90, Z_90)]
    low, high = sorted(term.value_at(end) for end in ends)
    digits = term.decimals + 1
    return Figure(*(round(max(value, 0.0), digits) + 0.0 for value in (term.value_at(mean), low, high)))


def _rests(term: Term) -> str:
    return {"the table": "by the table", "its label": "by its label"}.get(term.rests_on, f"as {term.rests_on}")


def _than(term: Term) -> str:
    return {"the table": "the table says", "its label": "its label says"}.get(term.rests_on, f"was {term.rests_on}")


def _chance(chance: float) -> str:
    if chance < 0.001:
        return "below 0.1 %"
    return f"{100.0 * chance:.1f} %" if chance < 0.1 else f"{100.0 * chance:.0f} %"
