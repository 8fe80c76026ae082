"""How far long work is: told to whoever waits, who may end it by raising."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["Counted", "Progress"]

Progress = Callable[[int, int | None], None]
"""Is told how many are done, and of how many, or None where that is not known.

What it raises ends the work and reaches the caller; answers do not depend on whether anybody is told.
"""


class Counted:
    """Tells how many of so many are done: never fewer than before, and all of them only at the end.

    Parameters: progress, or None where nobody waits; of, how many there are to do, at least 1.

    >>> told = []
    >>> counted = Counted(lambda done, of: told.append((done, of)), 3)
    >>> for done in (0, 2, 1, 7):
    ...     counted.at(done)
    >>> counted.finish()
    >>> told
    [(0, 3), (2, 3), (2, 3), (2, 3), (3, 3)]
    """

    def __init__(self, progress: Progress | None, of: int) -> None:
        self.progress, self.of, self.done = progress, of, 0

    def at(self, done: int) -> None:
        """So many are done now."""
        self.done = max(self.done, min(done, self.of - 1))
        self.still()

    def still(self) -> None:
        """No more are done than before: a place where the work may end."""
        if self.progress is not None:
            self.progress(self.done, self.of)

    def finish(self) -> None:
        """All is done, also where fewer were found than were wanted."""
        self.done = self.of
        self.still()
