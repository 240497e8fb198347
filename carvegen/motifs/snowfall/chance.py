"""Numbers by chance that belong to a place: the same for a cell or a flake, whatever else is drawn."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.geometry import Floats

__all__ = ["Draws", "chance_at", "keys", "mixed"]

_GOLDEN = np.uint64(0x9E3779B97F4A7C15)
_STIRS = (np.uint64(30), np.uint64(0xBF58476D1CE4E5B9)), (np.uint64(27), np.uint64(0x94D049BB133111EB))


def mixed(state: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """The number that splitmix64 gives next at each state (source: splitmix-2014)."""
    z = state + _GOLDEN
    high = np.empty_like(z)  # room that is used again: fresh pages cost as much as the sums
    for shift, factor in _STIRS:
        z ^= np.right_shift(z, shift, out=high)
        z *= factor
    z ^= np.right_shift(z, np.uint64(31), out=high)
    return z


def keys(*parts: Any) -> NDArray[np.uint64]:  # noqa: ANN401
    """One key for each combination of whole numbers; the parts broadcast."""
    key = np.zeros(1, dtype=np.uint64)
    for part in parts:
        whole = np.asarray(part)
        number = whole if whole.dtype == np.uint64 else whole.astype(np.int64).view(np.uint64)
        key = mixed(key ^ number)
    return key


def chance_at(xy: Floats) -> Floats:
    """A number in 0…1 for each place, as told to a hundredth of a millimetre; (n,)."""
    column, row = np.floor(xy * 100).astype(np.int64).T
    return Draws(keys(0, column, row)).random()[:, 0]


@cache
def _numbered(first: int, count: int) -> NDArray[np.uint64]:
    """What the numbers of so many draws are mixed to; (1, count), not to be changed."""
    return mixed(np.arange(first, first + count, dtype=np.uint64))[None, :]


class Draws:
    """Streams of numbers, one for each key: what one draws does not depend on the others."""

    def __init__(self, key: NDArray[np.uint64], *, drawn: int = 0) -> None:
        self.key, self._drawn = key, drawn

    def __len__(self) -> int:
        return len(self.key)

    def of(self, which: Any) -> Draws:  # noqa: ANN401
        """The streams of some, from where they are."""
        return Draws(self.key[which], drawn=self._drawn)

    def random(self, columns: int = 1) -> Floats:
        """Numbers in 0…1 (neither end), the next `columns` of each stream; (n, columns)."""
        number = _numbered(self._drawn, columns)
        self._drawn += columns
        chance = (mixed(self.key[:, None] ^ number) >> np.uint64(12)).astype(np.float64)
        chance += 0.5
        return chance * 2.0**-52

    def uniform(self, low: float, high: float, columns: int = 1) -> Floats:
        """Evenly between two ends; (n, columns)."""
        return low + (high - low) * self.random(columns)

    def normal(self, columns: int = 1) -> Floats:
        """Standard normal numbers; (n, columns)."""
        from scipy.special import ndtri

        return np.asarray(ndtri(self.random(columns)))
