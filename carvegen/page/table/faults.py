"""A fault of our own, in words that can be shown."""

from __future__ import annotations

from carvegen.base.errors import CarvegenError
from carvegen.base.words import shortened

__all__ = ["own_fault"]


def own_fault(error: BaseException) -> CarvegenError:
    """A fault of ours in words, or the error itself if it is one that can be shown."""
    if isinstance(error, CarvegenError):
        return error
    said = shortened(f"{type(error).__name__}: {error}")
    hint = "nothing was changed by this; open the print again, and send us this line"
    return CarvegenError(f"a fault of its own, not yours: {said}", hint=hint)
