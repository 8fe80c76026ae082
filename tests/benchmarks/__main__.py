"""`python -m tests.benchmarks [--quick] [part …]`: print the table, and exit with 1 if a gate is missed.

A neighbour on a shared machine slows interpreted code more than compiled code, and so moves a ratio. What misses its
gate is therefore measured anew, with all the rivals of its module; it counts as missed if it misses every time.
"""

from __future__ import annotations

import argparse
import os
import sys

# one thread for everybody: arrays this small only lose by more
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

# after the environment, which numpy reads when imported
from tests.benchmarks import (  # noqa: E402
    acidity,
    bulk,
    conflict,
    frontier,
    growth,
    intervals,
    others,
    packs,
    serving,
    solver,
)
from tests.benchmarks.timing import table  # noqa: E402

_PARTS = {
    part.__name__.rpartition(".")[2]: part
    for part in (solver, others, packs, conflict, frontier, acidity, intervals, growth, bulk, serving)
}
_AGAIN = 2
"""How often a module is measured anew in which a gate was missed."""


def main() -> int:
    """Measure, print, judge."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="fewer instances and rounds")
    parser.add_argument("parts", nargs="*", help=f"which of them: {', '.join(_PARTS)}; default: all")
    arguments = parser.parse_args()
    quick = arguments.quick
    unknown = set(arguments.parts) - set(_PARTS)
    if unknown:
        parser.error(f"there is no part {', '.join(sorted(unknown))}")
    missed = []
    for part in (_PARTS[name] for name in arguments.parts or _PARTS):
        rows = part.rows(quick=quick)
        print(table(rows), flush=True)
        left = {row.name for row in rows if not row.passed}
        for _ in range(_AGAIN):
            if not left:
                break
            print(f"\nMeasured anew, because of {'; '.join(sorted(name.strip() for name in left))}")
            rows = part.rows(quick=quick)
            print(table(rows), flush=True)
            left &= {row.name for row in rows if not row.passed}
        missed += sorted(name.strip() for name in left)
    if missed:
        print("\nMissed: " + "; ".join(missed))
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
