"""Random streams keyed by name, so that adding one does not change the others."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from numpy.random import Generator

__all__ = ["stream"]


def stream(seed: int, *path: str) -> Generator:
    """The generator that belongs to `path` under `seed`, such as ``stream(7, "sky", "snowfall")``.

    PCG64 is named because numpy's default may change. The same seed and path give the same numbers on
    one build of numpy; numpy promises no more (NEP 19).
    """
    import numpy as np

    digest = hashlib.sha256("\x1f".join(path).encode()).digest()
    key = np.frombuffer(digest[:16], dtype="<u4").tolist()
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=key)))
