"""What was worked out of one drawing, by what else it depends on."""

from __future__ import annotations

from dataclasses import dataclass, field
from threading import Lock
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable

__all__ = ["Known"]

T = TypeVar("T")

_MOST = 48  #: things that are remembered: for a dozen sizes of flakes each


@dataclass(frozen=True)
class Known:
    """The last that was asked for is the last to go; nothing here is ever out of date, as long as a key says all."""

    _made: dict[Hashable, Any] = field(default_factory=dict)
    _alone: Lock = field(default_factory=Lock)  #: several threads of the page ask, each for what it lets grow

    def once(self, key: Hashable, make: Callable[[], T]) -> T:
        """What `make` gives, or gave before under the same key."""
        made: T
        with self._alone:
            known = key in self._made
            if known:
                made = self._made[key] = self._made.pop(key)
        if known:
            return made
        made = make()  # it may ask for more that is known
        with self._alone:
            self._made[key] = made
            if len(self._made) > _MOST:
                del self._made[next(iter(self._made))]
        return made
