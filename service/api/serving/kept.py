"""What GETs were answered with: as much as fits, the least recently asked for given up first."""

from __future__ import annotations

from collections import OrderedDict
from typing import Final

from starlette.datastructures import Headers
from starlette.types import Scope

from service.api.serving.worker import Answered

__all__ = ["Kept", "Key", "key_of", "may_be_kept"]

_BYTES: Final = 32 * 1024 * 1024
_LARGEST_BYTES: Final = 4 * 1024 * 1024
_OVERHEAD_BYTES: Final = 1024
"""About what the headers of an answer take."""

Key = tuple[str | bytes, ...]
"""What of a request an answer depends on."""


def key_of(scope: Scope) -> Key:
    """Path, query, Accept, and what formulas with the service's own address are written from; nothing else counts."""
    headers = Headers(scope=scope)
    accepted = ",".join(headers.getlist("accept"))
    return (
        scope["path"],
        scope["query_string"],
        accepted,
        scope["scheme"],
        headers.get("host", ""),
        str(scope.get("server")),
    )


def may_be_kept(answer: Answered) -> bool:
    """Whether an answer is that of every request with the same key; a refusal may be one for now."""
    return answer.status == 200


class Kept:
    """Answers by their requests, up to a size of all together [B]."""

    def __init__(self, most_bytes: int = _BYTES) -> None:
        self.most_bytes, self.bytes = most_bytes, 0
        self._answers: OrderedDict[Key, Answered] = OrderedDict()

    def get(self, key: Key) -> Answered | None:
        """The answer to a request, if it is kept."""
        answer = self._answers.get(key)
        if answer is not None:
            self._answers.move_to_end(key)
        return answer

    def keep(self, key: Key, answer: Answered) -> None:
        """Keep an answer, unless it is very large."""
        if len(answer.body) > min(_LARGEST_BYTES, self.most_bytes) or key in self._answers:
            return
        self._answers[key] = answer
        self.bytes += _size(key, answer)
        while self.bytes > self.most_bytes:
            self.bytes -= _size(*self._answers.popitem(last=False))


def _size(key: Key, answer: Answered) -> int:
    return sum(map(len, key)) + len(answer.body) + _OVERHEAD_BYTES
