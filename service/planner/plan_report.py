"""What a solved plan says about itself: outcome, proof, what became of each target, and one sentence for all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf, isinf
from typing import Literal

from service.model.contents import Contents
from service.model.lot_class import Assumed
from service.model.properties import PROPERTIES
from service.planner.acidity_cautions import WIDE_PH
from service.planner.answers import Caution, PhPrediction, Proof
from service.planner.answers_blend import TargetReport
from service.planner.answers_decisions import Clash, Marginal
from service.planner.asked import Circumstances, PlanAsked, TargetAsked
from service.planner.chances import shortfall
from service.planner.marginals import binding_targets, marginals_of
from service.planner.materials import poured
from service.planner.numbers import Numbers, scale_is_free
from service.planner.plain_words import capital, figure_in_words, plain_figure, plain_property
from service.planner.predict import Foreseen, rounded, value_of
from service.planner.ratios import GUARDS
from service.solver.goals import GoalResult, Outcome
from service.solver.solve import Verdict

OutcomeName = Literal["targets_met", "nearest_measurable", "targets_clash", "no_plan_found"]

ROUNDING_SHARE = 0.1
"""A rounded plan still meets a target when it misses it by no more than this share of what counts as exact."""

SOLVER_SHARE = 1e-4
"""The same without rounding: what the solver's own tolerance amounts to."""

_EDGE = 0.999


@dataclass(frozen=True, slots=True)
class Solved:
    """A question, its numbers and the solver's result; nothing is proved unless the chemistry has `settled`."""

    asked: PlanAsked
    numbers: Numbers
    result: GoalResult
    settled: bool = True

    @property
    def at_edge(self) -> tuple[str, ...]:
        """Additions without a limit that ended where the search for them ended: nothing is proved then."""
        upper, x = self.numbers.problem.upper, self.result.x
        return tuple(self.name(j) for j in self.numbers.boundless if x and x[j] >= _EDGE * upper[j])

    def name(self, j: int) -> str:
        """The material of a column."""
        return self.numbers.materials[self.numbers.free[j]].name

    def outcome(self, reports: Sequence[TargetReport]) -> OutcomeName:
        """The outcome in the contract's words; a clash at the edge of the search is no proof of one."""
        if all(r.met for r in reports):
            return "targets_met"
        if self.result.outcome is Outcome.MET:
            return "nearest_measurable" if self.asked.rounding != "none" else "no_plan_found"
        if self.result.outcome is Outcome.CLASH and not self.at_edge and self.settled:
            return "nearest_measurable" if self.result.packs_only else "targets_clash"
        return "no_plan_found"

    def proof(self, outcome: OutcomeName) -> Proof:
        """Verdict, open gap and time; a proof about amounts before rounding says nothing against a plan that is met."""
        verdict, gap = self.result.verdict, self.result.gap
        if outcome == "targets_met" and self.result.outcome is not Outcome.MET:
            verdict, gap = Verdict.BEST_FOUND, inf
        guarded = binding_targets(self.result) & GUARDS
        best = verdict is Verdict.PROVED_BEST
        unproved = self.at_edge or not self.settled
        if (best and guarded) or (unproved and (best or verdict is Verdict.PROVED_IMPOSSIBLE)):
            verdict, gap = Verdict.BEST_FOUND, inf
        unknown = verdict is Verdict.PROVED_IMPOSSIBLE or gap > 1.0
        return Proof(verdict.value, None if unknown else float(f"{gap:.3g}"), round(self.result.milliseconds, 3))

    def marginals(self) -> tuple[Marginal, ...]:
        """What a small change of each binding target and limit costs, where the targets are met."""
        if self.result.outcome is not Outcome.MET:
            return ()
        masses = self.numbers.masses_g(self.result.x)
        contents = poured(self.numbers.materials, masses)
        circumstances = self.asked.circumstances
        values = {}
        for target in self.asked.targets:
            value = value_of(
                target.name, self.numbers.materials, masses, contents, circumstances.end_point_ph, circumstances.senses
            )
            if value is not None:
                values[target.name] = value
        return marginals_of(self.result, self.numbers, values, circumstances, [p.name for p in self.asked.prefer])

    def reports(
        self,
        masses_g: Sequence[float],
        contents: Contents,
        marginals: Sequence[Marginal],
        told: Foreseen,
    ) -> tuple[TargetReport, ...]:
        """What became of each target with these masses; `told` says how sure it is."""
        binding = binding_targets(self.result)
        prices = {m.of: m.text for m in marginals}
        share = SOLVER_SHARE if self.asked.rounding == "none" else ROUNDING_SHARE
        found = []
        for target in self.asked.targets:
            reached = value_of(
                target.name,
                self.numbers.materials,
                masses_g,
                contents,
                self.asked.circumstances.end_point_ph,
                self.asked.circumstances.senses,
            )
            report = report_of(target, reached, share, told)
            marginal = prices.get(target.name)
            found.append(replace(report, binding=target.name in binding or marginal is not None, marginal=marginal))
        return tuple(found)

    def _proved_what(self) -> str:
        """What a proof of optimality speaks of: the first aim only."""
        if len(self.result.problem.aims) > len(self.numbers.problem.aims):
            return "no other amounts come nearer to the values asked for"
        if self.asked.prefer:
            first = self.asked.prefer[0]
            held = " at the values asked for" if any(t.value is not None for t in self.asked.targets) else ""
            return f"no other amounts give {'more' if first.maximise else 'less'} {plain_property(first.name)}{held}"
        if scale_is_free(self.numbers.materials, self.asked.targets):
            return "no other amounts make a larger batch"
        return "no smaller addition meets them"

    def summary(
        self,
        outcome: OutcomeName,
        proof: Proof,
        reports: Sequence[TargetReport],
        ph: PhPrediction | None,
        clash: Clash | None = None,
    ) -> str:
        """One sentence about the whole, and one more where the acids were not read."""
        unread = ""
        if any(r.property == "ph" for r in reports) and ph is not None and ph.high - ph.low > WIDE_PH:
            unread = (
                f" The pH rests on typical values and may be {ph.low:.1f} to {ph.high:.1f}: read pH and acidity first."
            )
        words = "; ".join(miss_words(r, self.asked.circumstances) for r in reports if not r.met)
        if outcome == "targets_met":
            if proof.verdict == "proved_best":
                before = "before rounding " if self.asked.rounding != "none" else ""
                return f"All targets are met, and {before}{self._proved_what()} (proved).{unread}"
            return f"All targets are met; better amounts may exist.{unread}"
        if outcome == "nearest_measurable":
            if self.result.packs_only:
                return f"Every target could be met with opened packs, but not with whole ones: {words}."
            shown = "the scale's step" if self.asked.rounding == "scale" else "what scale, jug and spoons show"
            return f"Every target can be met, but not after rounding the amounts to {shown}: {words}."
        if outcome == "targets_clash":
            if clash is not None and clash.conflict:
                return f"{clash.text} Proved; the nearest plan: {words}."
            if clash is not None and len(self.asked.targets) == 1:
                return f"{clash.text} The nearest plan: {words}."
            return f"No amounts within the limits meet all targets (proved). The nearest plan: {words}."
        if clash is not None:
            return f"{clash.text} The nearest found: {words}."
        return f"No plan was found, and it is not proved that there is none. The nearest found: {words}."

    def edge_cautions(self) -> list[Caution]:
        """One for each addition at the edge of the search."""
        return [
            Caution(
                "amount_without_limit",
                "warning",
                f"{capital(name)} has no limit and ended at the edge of the search: give the most there is (max), or a "
                "target for the volume.",
                "arithmetic",
            )
            for name in (m.said for m in self.numbers.materials if m.name in self.at_edge)
        ]

    def searched(self) -> list[Assumed]:
        """The limits that nobody named, and how much is made where nobody said."""
        found = []
        if scale_is_free(self.numbers.materials, self.asked.targets):
            found.append(
                Assumed("how much to make", "as much as the limits allow", "our default", "a target for the volume")
            )
        for j in self.numbers.boundless:
            most_kg = self.numbers.problem.upper[j] * self.numbers.litres
            searched = f"searched up to {plain_figure(most_kg)} kg"
            found.append(Assumed(f"{self.name(j)}: max", "none named", searched, "your stock"))
        return found


def report_of(target: TargetAsked, reached: float | None, share: float, told: Foreseen | None = None) -> TargetReport:
    """What became of one target; it counts as met within `share` of what counts as exact, as surely as was asked."""
    law = PROPERTIES[target.name]
    miss = inf if reached is None else max(target.low - reached, reached - target.high, 0.0)
    short = 0.0
    if target.confidence is not None and told is not None and target.name in told.intervals:
        short = shortfall(target, told.intervals[target.name])
        miss = max(miss, short)
    chance = None if told is None else told.chance(target.name, target.low, target.high)
    size = abs(reached) if reached is not None else 0.0
    met = miss <= share * law.tolerance(size) + 1e-12 * size
    return TargetReport(
        property=target.name,
        asked=target.asked,
        reached=None if reached is None else rounded(target.name, reached),
        unit=law.unit,
        miss=0.0 if met or isinf(miss) else float(f"{max(_distance(target, reached or 0.0), short):.3g}"),
        met=met,
        chance=None if chance is None else round(chance, 3),
        binding=False,
        marginal=None,
    )


def _distance(target: TargetAsked, reached: float) -> float:
    """Distance from the value asked for, or outside the range."""
    if target.value is not None:
        return abs(reached - target.value)
    return max(target.low - reached, reached - target.high, 0.0)


def miss_words(report: TargetReport, circumstances: Circumstances) -> str:
    """What a target reaches instead, in words."""
    if report.reached is None:
        return f"{plain_property(report.property)} is not defined for this blend"
    shown = figure_in_words(report.property, report.reached, circumstances)
    return f"{plain_property(report.property)} reaches {shown}, asked for {report.asked}"
