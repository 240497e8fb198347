"""Pictures as PNG bytes."""

from __future__ import annotations

import io
import zlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from PIL import Image

__all__ = ["FAST", "FASTEST", "SMALL", "png_bytes"]

#: Of 9: of pictures of flakes a higher level takes up to twice the time and saves nothing worth it; pictures of noise
#: come out smaller, too (measured).
FAST = 3
FASTEST = 1  #: for noise: a third less time than `FAST`, and larger by a hundredth
SMALL = -1  #: the level that zlib takes by itself


def png_bytes(
    picture: Image.Image, *, px_per_mm: float | None = None, level: int = FAST, flat: bool = False,
    **how: Any,  # noqa: ANN401
) -> bytes:  # fmt: skip
    """A picture as the bytes of a PNG file.

    Parameters
    ----------
    px_per_mm
        Written into the file, so that it prints at true size; left out without it.
    level
        Of compression; `SMALL` for pictures whose size counts.
    flat
        Whether few pixels differ from their neighbours: then runs of one value are all that is sought, in half the
        time of `SMALL` and to the same size (measured).
    how
        What else Pillow's PNG writer is told, such as ``bits``.
    """
    if px_per_mm is not None:
        how["dpi"] = (px_per_mm * 25.4, px_per_mm * 25.4)
    if flat:
        how["compress_type"] = zlib.Z_RLE
    out = io.BytesIO()
    picture.save(out, "PNG", compress_level=level, **how)
    return out.getvalue()
