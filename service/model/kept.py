"""A value that is computed when it is first asked for, and kept with its object."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Generic, Self, TypeVar, overload

T = TypeVar("T")


class kept(Generic[T]):  # noqa: N801, used like a property
    """`functools.cached_property` without the lock that it takes at every first use before Python 3.12.

    Two threads may compute a value twice, which is the same value.

    >>> class Square:
    ...     side = 3.0
    ...     @kept
    ...     def area(self) -> float:
    ...         return self.side * self.side
    >>> square = Square()
    >>> square.area, vars(square)
    (9.0, {'area': 9.0})
    """

    def __init__(self, compute: Callable[[Any], T]) -> None:
        self._compute = compute
        self.__doc__ = compute.__doc__

    def __set_name__(self, owner: type, name: str) -> None:
        """Where the value is kept: under the name that it is asked for by."""
        self._name = name

    @overload
    def __get__(self, of: None, owner: type) -> Self: ...

    @overload
    def __get__(self, of: object, owner: type) -> T: ...

    def __get__(self, of: object | None, owner: type) -> Self | T:
        """The value, computed; the next time it is found with the object itself."""
        if of is None:
            return self
        value = of.__dict__[self._name] = self._compute(of)
        return value
