"""Pictures as PNG bytes."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from PIL import Image

__all__ = ["FAST", "SMALL", "png_bytes"]

#: Of 9: of pictures of flakes a higher level takes up to twice the time and saves nothing worth it; pictures of noise
#: come out smaller, too (measured).
FAST = 3
SMALL = -1  #: the level that zlib takes by itself


def png_bytes(picture: Image.Image, *, px_per_mm: float | None = None, level: int = FAST, **how: Any) -> bytes:  # noqa: ANN401
    """A picture as the bytes of a PNG file.

    Parameters
    ----------
    px_per_mm
        Written into the file, so that it prints at true size; left out without it.
    level
        Of compression; `SMALL` for pictures whose size counts.
    how
        What else Pillow's PNG writer is told, such as ``bits``.
    """
    if px_per_mm is not None:
        how["dpi"] = (px_per_mm * 25.4, px_per_mm * 25.4)
    out = io.BytesIO()
    picture.save(out, "PNG", compress_level=level, **how)
    return out.getvalue()
