"""A process that does one piece of work and ends: it tidies up less, as all is gone soon."""

from __future__ import annotations

import atexit
import contextlib
import gc
import sys
from collections.abc import Iterator

from carvegen.base.collector import collector_at_rest

__all__ = ["keep_memory", "single_run"]

#: Of glibc's malloc.h: when free memory is handed back, how much is asked for at once, and from which size on an array
#: has memory of its own; to how many bytes each is set: our own choice, the large arrays of a build have up to 32 MB.
_TRIM, _PAD, _MAP = -1, -2, -3
_SIZES = {_TRIM: 1 << 29, _PAD: 1 << 26, _MAP: 1 << 25}


@contextlib.contextmanager
def single_run() -> Iterator[None]:
    """While it lasts, and until the process ends, nothing is looked through or handed back that ends with it anyway.

    Python's collector rests, also while modules load, and does not look through all of them once more at the end: a
    quarter of what a command takes to begin. Not for a server, which goes on.
    """
    keep_memory()
    atexit.unregister(gc.freeze)  # once is enough, however many runs a process has
    atexit.register(gc.freeze)
    with collector_at_rest():
        yield


def keep_memory() -> bool:
    """Let this process and its children keep the memory of arrays that are gone; whether the C library lets them.

    glibc hands large arrays back to the system and asks for the next one anew, each page of which is first cleared:
    that took a twentieth of a build. Other C libraries are left as they are.

    Notes
    -----
    `mallopt`: The GNU C Library Reference Manual, Malloc Tunable Parameters; the numbers as in its malloc.h.
    """
    if sys.platform != "linux":
        return False
    import ctypes

    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    return mallopt is not None and all(mallopt(which, size) for which, size in _SIZES.items())
