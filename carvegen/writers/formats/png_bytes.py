"""Pictures as PNG bytes."""

from __future__ import annotations

import io
import struct
import zlib
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from PIL import Image

__all__ = ["FAST", "FASTEST", "SMALL", "flat_png", "png_bytes"]

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
        return flat_png([np.asarray(picture)], px_per_mm=px_per_mm, level=level)
    if px_per_mm is not None:
        how["dpi"] = (px_per_mm * 25.4, px_per_mm * 25.4)
    if flat:
        how["compress_type"] = zlib.Z_RLE
    out = io.BytesIO()
    picture.save(out, "PNG", compress_level=level, **how)
    return out.getvalue()


def flat_png(pictures: Sequence[NDArray[np.uint8]], *, px_per_mm: float | None = None, level: int = FAST) -> bytes:
    """Pictures in colours, one below the other, whose rows go through no filter, as the bytes of a PNG file (W3C).

    Parameters
    ----------
    pictures
        (rows, columns, 3) each: red, green and blue.
    px_per_mm, level
        As in `png_bytes`.
    """
    height, width = sum(map(len, pictures)), pictures[0].shape[1]
    rows = np.empty((height, 1 + 3 * width), dtype=np.uint8)
    rows[:, 0] = 0  # each begins with its filter: none
    pixels, done = rows[:, 1:].reshape(height, width, 3), 0
    for picture in pictures:
        part = pixels[done : done + len(picture)]
        if picture.flags.c_contiguous:
            part[:] = picture
        else:  # four bytes a pixel: three at once take three times as long
            for colour in range(3):
                part[..., colour] = picture[..., colour]
        done += len(picture)
    chunks = {b"IHDR": struct.pack(">2I5B", width, height, 8, 2, 0, 0, 0)}  # eight bits each of red, green and blue
    if px_per_mm is not None:
        per_metre = round(px_per_mm * 1000)
        chunks[b"pHYs"] = struct.pack(">2IB", per_metre, per_metre, 1)
    chunks |= {b"IDAT": zlib.compress(rows.data, level), b"IEND": b""}
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in chunks.items()
    )
