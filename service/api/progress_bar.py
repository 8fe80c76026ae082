"""A bar in the terminal while long work goes on, gone before the answer is written."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from time import perf_counter
from typing import Final, TextIO

from service.planner.progress import Progress

__all__ = ["progress_bar"]

_AFTER_S: Final = 0.5
"""Work that lasts less has no bar [s]."""

_AGAIN_S: Final = 0.1
"""Between two drawings [s]."""

_WIDEST: Final = 40
_USUAL_COLUMNS: Final = 80


@contextmanager
def progress_bar(stream: TextIO, clock: Callable[[], float] = perf_counter) -> Iterator[Progress | None]:
    """Draw how far work is while a block runs.

    Parameters: stream, such as `sys.stderr`; clock [s].
    Yields: what the work tells its progress; None where the stream is no terminal, and nothing is written then. The bar
        appears once the work has lasted half a second, and its line is empty again when the block ends.
    """
    if not stream.isatty():
        yield None
        return
    bar = _Bar(stream, clock)
    try:
        yield bar.tell
    finally:
        bar.draw("")


class _Bar:
    """One line of a terminal."""

    def __init__(self, stream: TextIO, clock: Callable[[], float]) -> None:
        self.stream, self.clock = stream, clock
        self.next_at_s = clock() + _AFTER_S
        self.drawn = 0

    def tell(self, done: int, of: int | None) -> None:
        """So many of so many are done."""
        if self.clock() < self.next_at_s:
            return
        self.next_at_s = self.clock() + _AGAIN_S
        words = f" {done} done" if of is None else f" {done} of {of}"
        width = min(_WIDEST, self._columns() - len(words) - 3)  # the last column stays free: some terminals wrap there
        if of is None or width < 1:
            self.draw(words.strip())
        else:
            full = width * done // max(of, 1)
            self.draw(f"[{'#' * full}{'.' * (width - full)}]{words}")

    def draw(self, text: str) -> None:
        """Write over the line; nothing at all where nothing was and nothing is to be."""
        if text or self.drawn:
            with suppress(OSError, ValueError):  # a terminal that is gone is no reason to lose the answer
                self.stream.write("\r" + text.ljust(self.drawn) + ("" if text else "\r"))
                self.stream.flush()
        self.drawn = len(text)

    def _columns(self) -> int:
        with suppress(OSError, ValueError):
            return os.get_terminal_size(self.stream.fileno()).columns or _USUAL_COLUMNS
        return _USUAL_COLUMNS
