"""The blending problems for cvxpy, which the project does not depend on: a process of its own solves and times them.

cvxpy is put into the user's cache by pip and is on the path of that process only. The process reads one JSON document
of problems from its standard input and writes one of times and values to its standard output. It times our own solve
too, interleaved, so that the ratio is one of the same process.

Each problem is solved by successive linear programmes, like `successive_linprog`. Costs, matrix and bounds of a
programme are parameters; what cvxpy makes of a shape (so many amounts, equalities and inequalities) is made once and
kept, as a service would do it.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import partial
from importlib import import_module
from math import inf
from pathlib import Path
from shutil import rmtree
from subprocess import SubprocessError
from tempfile import mkdtemp
from types import SimpleNamespace
from typing import Any

import numpy as np

from service.solver.problem import Aim, Form, Problem, Ratio, Row
from service.solver.solve import solve
from tests.benchmarks.rivals import Floats, successive_linprog
from tests.benchmarks.timing import Job, interleaved

RELEASE = "1.9.3"
SOLVERS: dict[str, dict[str, float]] = {
    "HIGHS": {"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    "CLARABEL": {"tol_gap_abs": 1e-11, "tol_gap_rel": 1e-11, "tol_feas": 1e-11},
}
"""What solves cvxpy's programmes, a simplex method and an interior point, with tolerances tighter than their own."""

FEASIBLE = 1e-8
_STANDS_STILL = 1e-7
"""An interior point does not come back to the same amounts more closely."""

_INSTALL_S, _RUN_S = 300.0, 300.0
_ROOT = Path(__file__).parents[2]


@dataclass(frozen=True, slots=True)
class Compared:
    """What one solver of cvxpy did: median seconds, ours beside it; its values, inf where it failed."""

    solver: str
    ours_s: float
    theirs_s: float
    values: tuple[float, ...]


# Here.


def place() -> Path:
    """Where cvxpy is kept."""
    cache = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    version = f"{sys.version_info.major}.{sys.version_info.minor}"
    return cache / "back-sweetening-solver" / f"cvxpy-{RELEASE}-python-{version}"


def at_hand(*, fetch: bool) -> str:
    """Whether cvxpy is in its place, put there if it may be fetched: empty, or why it is not."""
    there = place()
    if there.is_dir():
        return ""
    if not fetch:
        return "not at hand; the long run fetches it"
    try:
        there.parent.mkdir(parents=True, exist_ok=True)
        made = Path(mkdtemp(dir=there.parent))
        try:
            command = [sys.executable, "-m", "pip", "install", "--quiet", "--target", str(made), f"cvxpy=={RELEASE}"]
            subprocess.run(command, check=True, capture_output=True, timeout=_INSTALL_S)
            made.rename(there)
        finally:
            rmtree(made, ignore_errors=True)
    except (OSError, SubprocessError) as error:
        return f"cannot be had ({type(error).__name__})"
    return ""


def compare(problems: Sequence[tuple[Problem, Sequence[float]]], rounds: int) -> list[Compared]:
    """Solve and time problems, each with the state it starts from, with every solver; cvxpy has to be at hand."""
    document = {"rounds": rounds, "problems": [{"problem": asdict(p), "start": list(start)} for p, start in problems]}
    path = os.pathsep.join([str(place()), *filter(None, [os.environ.get("PYTHONPATH")])])
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.rivals_cvxpy"],
        input=json.dumps(document),
        env={**os.environ, "PYTHONPATH": path},
        cwd=_ROOT,
        check=True,
        capture_output=True,
        text=True,
        timeout=_RUN_S,
    )
    return [Compared(**{**found, "values": tuple(found["values"])}) for found in json.loads(done.stdout)]


# In the other process.


def _form(of: dict[str, Any]) -> Form:
    return Form(of["constant"], tuple(of["coefficients"]), of["volume"])


def _aim(of: dict[str, Any]) -> Aim:
    return Aim(tuple(Ratio(_form(t["numerator"]), t["denominator"] and _form(t["denominator"])) for t in of["terms"]))


def problem_from(of: dict[str, Any]) -> Problem:
    """A problem from what `asdict` made of it."""
    rows = tuple(Row(r["target"], _form(r["form"]), r["lower"], r["upper"], r["scale"]) for r in of["rows"])
    return Problem(
        tuple(of["lower"]),
        tuple(of["upper"]),
        tuple(of["fixed_sums"]),
        tuple(map(tuple, of["columns"])),
        rows,
        tuple(map(_aim, of["aims"])),
    )


class Parametrised:
    """Linear programmes of cvxpy, one for each shape, with the interface of `linprog_once`."""

    def __init__(self, solver: str) -> None:
        self._cvxpy: Any = import_module("cvxpy")
        self._solver = solver
        self._kept: dict[tuple[int, int, int], SimpleNamespace] = {}

    def _made(self, amounts: int, equalities: int, sides: int) -> SimpleNamespace:
        cp = self._cvxpy
        x, cost = cp.Variable(amounts), cp.Parameter(amounts)
        made = SimpleNamespace(x=x, cost=cost, lower=cp.Parameter(amounts), upper=cp.Parameter(amounts), parts=[])
        constraints = [x >= made.lower, x <= made.upper]
        for count, equal in ((equalities, True), (sides, False)):
            matrix = cp.Parameter((count, amounts)) if count else None
            bound = cp.Parameter(count) if count else None
            if count:
                constraints.append(matrix @ x == bound if equal else matrix @ x <= bound)
            made.parts.append((matrix, bound))
        made.problem = cp.Problem(cp.Minimize(cost @ x), constraints)
        return made

    def __call__(
        self, cost: Floats, lower: Floats, upper: Floats, matrix: Floats, low: Floats, high: Floats
    ) -> SimpleNamespace:
        """Solve one boxed programme; status 0 if it is optimal."""
        equal = low == high
        from_low, from_high = (low > -inf) & ~equal, (high < inf) & ~equal
        shape = (len(cost), int(equal.sum()), int(from_low.sum() + from_high.sum()))
        made = self._kept.get(shape)
        if made is None:
            made = self._kept[shape] = self._made(*shape)
        made.cost.value, made.lower.value, made.upper.value = cost, lower, upper
        sides = (
            (matrix[equal], low[equal]),
            (np.concatenate([-matrix[from_low], matrix[from_high]]), np.concatenate([-low[from_low], high[from_high]])),
        )
        for (parameter, bound), (rows, values) in zip(made.parts, sides, strict=True):
            if parameter is not None:
                parameter.value, bound.value = rows, values
        try:
            made.problem.solve(solver=self._solver, **SOLVERS[self._solver])
        except self._cvxpy.error.SolverError:
            return SimpleNamespace(status=1, x=None)
        optimal = made.problem.status == self._cvxpy.OPTIMAL
        return SimpleNamespace(status=0 if optimal else 2, x=made.x.value)


def _one(problem: Problem, start: Sequence[float], programme: Parametrised) -> float:
    answer = successive_linprog(problem, start, programme=programme, stands_still=_STANDS_STILL)
    return answer.value if answer is not None and answer.violation <= FEASIBLE else inf


def _compared(problems: Sequence[tuple[Problem, Sequence[float]]], rounds: int, solver: str) -> Compared:
    programme = Parametrised(solver)
    jobs: list[Job] = [partial(_one, p, s, programme) for p, s in problems]
    ours: list[Job] = [partial(solve, p, s, prove=False) for p, s in problems]
    times = interleaved({"ours": ours, "theirs": jobs}, rounds)
    values = tuple(_one(p, s, programme) for p, s in problems)
    return Compared(solver, times["ours"], times["theirs"], values)


def main() -> None:
    """One document in, one out; whatever solvers print goes to the standard error."""
    answer = os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)
    asked = json.load(sys.stdin)
    problems = [(problem_from(one["problem"]), one["start"]) for one in asked["problems"]]
    _one(*problems[0], Parametrised("HIGHS"))  # what is imported late is imported now
    json.dump([asdict(_compared(problems, asked["rounds"], solver)) for solver in SOLVERS], answer)
    answer.close()


if __name__ == "__main__":
    main()
