"""`python -m tests.benchmarks [--quick]`: print the table, and exit with 1 if a gate is missed."""

from __future__ import annotations

import argparse
import os
import sys

# one thread for everybody: arrays this small only lose by more
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

# after the environment, which numpy reads when imported
from tests.benchmarks import acidity, conflict, frontier, intervals, packs, solver  # noqa: E402
from tests.benchmarks.timing import table  # noqa: E402


def main() -> int:
    """Measure, print, judge."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer instances and rounds")
    quick = parser.parse_args().quick
    parts = (solver, packs, conflict, frontier, acidity, intervals)
    rows = [row for part in parts for row in part.rows(quick=quick)]
    print(table(rows))
    missed = [row.name.strip() for row in rows if not row.passed]
    if missed:
        print("\nMissed: " + "; ".join(missed))
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
