"""Pictures as PNG bytes."""

from __future__ import annotations

import io
import struct
import zlib
from typing import TYPE_CHECKING, Any

import numpy as np

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
        Whether few pixels differ from their neighbours: then no row is made from the one above it, which takes a third
        of the time and mostly comes out smaller; of a table of colours only runs of one are sought (both measured).
    how
        What else Pillow's PNG writer is told, such as ``bits``.
    """
    if flat and picture.mode == "RGB" and not how:
        return _as_it_is(picture, px_per_mm, level)
    if px_per_mm is not None:
        how["dpi"] = (px_per_mm * 25.4, px_per_mm * 25.4)
    if flat:
        how["compress_type"] = zlib.Z_RLE
    out = io.BytesIO()
    picture.save(out, "PNG", compress_level=level, **how)
    return out.getvalue()


def _as_it_is(picture: Image.Image, px_per_mm: float | None, level: int) -> bytes:
    """A picture in colours whose rows go through no filter, which Pillow's writer can't be told (PNG, W3C)."""
    rows = np.zeros((picture.height, 1 + 3 * picture.width), dtype=np.uint8)  # each begins with its filter: 0, none
    rows[:, 1:] = np.asarray(picture).reshape(picture.height, -1)
    chunks = {b"IHDR": struct.pack(">2I5B", *picture.size, 8, 2, 0, 0, 0)}  # eight bits each of red, green and blue
    if px_per_mm is not None:
        per_metre = round(px_per_mm * 1000)
        chunks[b"pHYs"] = struct.pack(">2IB", per_metre, per_metre, 1)
    chunks |= {b"IDAT": zlib.compress(rows.data, level), b"IEND": b""}
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in chunks.items()
    )
