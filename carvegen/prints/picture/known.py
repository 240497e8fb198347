"""What was worked out of one drawing, by what else it depends on."""

from __future__ import annotations

from dataclasses import dataclass, field
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

    def once(self, key: Hashable, make: Callable[[], T]) -> T:
        """What `make` gives, or gave before under the same key."""
        made: T = self._made.pop(key) if key in self._made else make()
        self._made[key] = made
        if len(self._made) > _MOST:
            del self._made[next(iter(self._made))]
        return made
