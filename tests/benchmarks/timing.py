"""Times that can be compared: everything interleaved in one run, medians over rounds, ratios only.

Times are those of the processor, so that waiting for a neighbour does not count.
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from time import process_time

Job = Callable[[], object]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the report: a measured figure against its target and its gate.

    `figure` None marks a line that only informs. The gate, which fails the run, leaves about 30 % of slack below
    the target or, where the target is not reached, below what was measured when the gate was set. `at_most` says
    that smaller is better.
    """

    name: str
    measured: str
    figure: float | None = None
    target: float = 0.0
    gate: float = 0.0
    unit: str = ""
    at_most: bool = False

    def _keeps(self, limit: float) -> bool:
        if self.figure is None:
            return True
        return self.figure <= limit if self.at_most else self.figure >= limit

    @property
    def passed(self) -> bool:
        """Whether the gate is kept."""
        return self._keeps(self.gate)

    def cells(self) -> tuple[str, str, str, str]:
        """The line of the table."""
        if self.figure is None:
            return "·", self.name, "", self.measured
        mark = "ok" if self._keeps(self.target) else "below" if self.passed else "MISSED"
        return mark, self.name, f"{'≤' if self.at_most else '≥'} {self.target:g}{self.unit}", self.measured


def interleaved(contenders: Mapping[str, Sequence[Job]], rounds: int) -> dict[str, float]:
    """Median over the instances of each contender's median time over the rounds [s].

    In every round every contender does all its jobs in a row, so that each runs with warm caches and all share
    whatever else the machine is doing. One round goes first, unmeasured.
    """
    times: dict[str, list[list[float]]] = {name: [[] for _ in jobs] for name, jobs in contenders.items()}
    gc.collect()
    gc.disable()
    try:
        for turn in range(rounds + 1):
            for name, jobs in contenders.items():
                for job, seen in zip(jobs, times[name], strict=True):
                    begun = process_time()
                    job()
                    spent = process_time() - begun
                    if turn:
                        seen.append(spent)
            gc.collect()
    finally:
        gc.enable()
    return {name: median(median(seen) for seen in columns) for name, columns in times.items()}


def table(rows: Sequence[Row]) -> str:
    """The report as text."""
    cells = [("", "figure", "target", "measured")]
    cells.extend(row.cells() for row in rows)
    widths = [max(len(line[k]) for line in cells) for k in range(4)]
    return "\n".join(
        "  ".join(text.ljust(width) for text, width in zip(line, widths, strict=True)).rstrip() for line in cells
    )
