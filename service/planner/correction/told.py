"""What readings changed and what may be off, in figures and words."""

from __future__ import annotations

from collections.abc import Iterator
from math import exp, log
from typing import Final

from service.model.properties import PROPERTIES
from service.model.unknowns import Unknown
from service.planner.beliefs import AMOUNT
from service.planner.correction.answers import Consistency, Culprit, Figure, ReadingReport, Updated
from service.planner.correction.asked import REFRACTOMETER
from service.planner.correction.belief import Belief, ReadingSeen
from service.planner.correction.culprit import Judgement, Suspect
from service.planner.correction.terms import VOLUME, Term, term_of
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


class Told:
    """A belief in a maker's terms."""

    def __init__(self, belief: Belief) -> None:
        self.belief = belief
        self.plain = plain_names([m.name for m in belief.materials])
        self.by_name = {m.name: (m, g) for m, g in zip(belief.materials, belief.masses_g, strict=True)}
        self.of_a_gram = {(u.what, u.of): u for m in belief.materials for u, _ in belief.places(m)}

    def term(self, unknown: Unknown) -> tuple[Material, Term] | None:
        """The term of an unknown of the vessel, with its material."""
        material, mass_g = self.by_name[unknown.of]
        whole = unknown.what in (AMOUNT, VOLUME)
        own = unknown if whole else self.of_a_gram[unknown.what, unknown.of]
        term = term_of(own, material, mass_g, self.belief.circumstances)
        return None if term is None else (material, term)

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
            found = self.term(unknown)
            if found is None:
                continue
            material, term = found
            before = _figure(term, unknown, belief.before.mean[k], sd)
            now = _figure(term, unknown, belief.after.mean[k], belief.after.sd(k))
            shown = _shown(term, now.value)
            text = (
                f"{self.plain[material.name]}: {term.what} probably {shown} "
                f"({_digits(term, now.low)} to {_digits(term, now.high)}); "
                f"{_digits(term, before.value)} before, {_rests(term)}."
            )
            yield Updated(material.name, term.what, term.unit, before, now, round(moved, 2) + 0.0, text)

    def held(self) -> tuple[str, ...]:
        """What would have to lie beyond a limit, in words."""
        found = []
        for k in self.belief.held:
            term = self.term(self.belief.unknowns[k])
            if term is not None:
                found.append(f"{term[1].what} of {self.plain[term[0].name]}")
        return tuple(found)

    def readings(self) -> tuple[ReadingReport, ...]:
        """Each reading beside what was expected."""
        return tuple(_report(seen) for seen in self.belief.readings)

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
            elif suspect.unknown is not None:
                found = self.term(self.belief.unknowns[suspect.unknown])
                if found is not None:
                    yield self._poured_off(suspect, suspect.unknown, *found, times)

    def _reading_off(self, suspect: Suspect, place: int, times: float) -> Culprit:
        seen = self.belief.readings[place]
        unit, decimals = _unit_of(seen.name)
        off = f"{abs(suspect.at):.{decimals}f}"
        way = "high" if suspect.at > 0.0 else "low"
        return Culprit(
            "reading",
            seen.name,
            "reading",
            unit,
            round(seen.value, decimals + 1),
            round(seen.value - suspect.at, decimals + 1),
            times,
            f"{_INSTRUMENTS[seen.name]} probably reads {f'{off} {unit}'.strip()} too {way}.".replace(
                "as read probably reads", "was probably read"
            ),
        )

    def _poured_off(self, suspect: Suspect, place: int, material: Material, term: Term, times: float) -> Culprit:
        usual = term.value_at(self.belief.before.mean[place])
        probably = term.value_at(suspect.at)
        name = self.plain[material.name]
        way = "more" if probably > usual else "less"
        by = _shown(term, abs(probably - usual))
        kind = self.belief.unknowns[place].what
        if kind == AMOUNT:
            text = f"{name}: probably {_shown(term, probably)} went in, {by} {way} than entered."
        elif kind == VOLUME:
            text = f"{name}: its volume was probably {_shown(term, probably)}, {by} {way} than entered."
        elif term.what in _RATIOS and usual > 0.0 and term.more:
            share = f"{100.0 * abs(probably / usual - 1.0):.0f} %"
            is_ = term.more if probably > usual else term.less
            text = (
                f"{name} is probably {share} {is_} than {_than(term)}: {_shown(term, probably)} instead of "
                f"{_digits(term, usual)}."
            )
        else:
            text = (
                f"{name}: {term.what} was probably {_shown(term, probably)}, not {_digits(term, usual)}, "
                f"{_rests(term)}."
            )
        return Culprit(
            "amount" if kind == AMOUNT else "volume" if kind == VOLUME else "composition",
            material.name,
            term.what,
            term.unit,
            round(usual, term.decimals + 1),
            round(probably, term.decimals + 1),
            times,
            text,
        )


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
    """A figure with the ends of its interval, which lie within the limits of the unknown."""
    ends = [min(max(mean + z * sd, unknown.low), unknown.high) for z in (-Z_90, Z_90)]
    low, high = sorted(term.value_at(end) for end in ends)
    digits = term.decimals + 1
    return Figure(round(term.value_at(mean), digits), round(low, digits), round(high, digits))


def _digits(term: Term, value: float) -> str:
    return f"{value:.{term.decimals}f}"


def _shown(term: Term, value: float) -> str:
    return f"{_digits(term, value)} {term.unit}".strip()


def _rests(term: Term) -> str:
    return {"the table": "by the table", "its label": "by its label"}.get(term.rests_on, f"as {term.rests_on}")


def _than(term: Term) -> str:
    return {"the table": "the table says", "its label": "its label says"}.get(term.rests_on, f"was {term.rests_on}")


def _chance(chance: float) -> str:
    if chance < 0.001:
        return "below 0.1 %"
    return f"{100.0 * chance:.1f} %" if chance < 0.1 else f"{100.0 * chance:.0f} %"
