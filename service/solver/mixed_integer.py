"""A linearised problem with whole packs, for a general solver of mixed-integer programmes.

scipy is imported only here and only when needed, because its import alone takes longer than thousands of solves.
"""

from __future__ import annotations

from math import inf

from service.solver.problem import Amounts, Problem, Tangent

_GAP = 1e-6
"""The solver may stop when the share of the aim that is open falls below this."""


def is_linear(problem: Problem) -> bool:
    """Whether the volume enters neither the rows nor the first aim, so that a linearisation is the problem itself."""
    terms = problem.aims[0].terms
    return all(not row.form.volume for row in problem.rows) and all(
        term.denominator is None and not term.numerator.volume for term in terms
    )


def best_linearised(problem: Problem, x: Amounts, seconds: float) -> tuple[list[float], float]:
    """The best of the linearisation at x for the first aim, in whole packs.

    Parameters: problem; x, amounts that make a liquid; seconds [s] it may take.
    Returns: amounts, empty if there are none, and a lower bound of the linearised aim (−inf if there is none).
    Source: Q. Huangfu and J. A. J. Hall, Math. Prog. Comp. 10 (2018) 119 (HiGHS), through `scipy.optimize.milp`.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    tangent = Tangent(problem, problem.sums_at(x))
    unit = [pack or 1.0 for pack in problem.whole]
    cost = tangent.cost(problem.aims[0], x, tangent.volume)
    rows = [[a * u for a, u in zip(tangent.row(row.form), unit, strict=True)] for row in problem.rows]
    offsets = [tangent.offset(row.form) for row in problem.rows]
    low = [row.lower - offset for row, offset in zip(problem.rows, offsets, strict=True)]
    high = [row.upper - offset for row, offset in zip(problem.rows, offsets, strict=True)]
    options: dict[str, float] = {"mip_rel_gap": _GAP}
    if seconds < inf:
        options["time_limit"] = max(seconds, 1e-3)
    result = milp(
        [c * u for c, u in zip(cost, unit, strict=True)],
        integrality=[1 if pack else 0 for pack in problem.whole],
        bounds=Bounds(
            [a / u for a, u in zip(problem.lower, unit, strict=True)],
            [b / u for b, u in zip(problem.upper, unit, strict=True)],
        ),
        constraints=[LinearConstraint(rows, low, high)] if rows else [],
        options=options,
    )
    if result.x is None:
        return [], -inf
    found = [
        u * (round(float(v)) if pack else float(v)) for v, u, pack in zip(result.x, unit, problem.whole, strict=True)
    ]
    value = problem.aims[0].at(x, tangent.volume) - sum(c * v for c, v in zip(cost, x, strict=True))
    dual = result.mip_dual_bound
    return found, -inf if dual is None else value + float(dual)
