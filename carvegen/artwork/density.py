"""Where a motif is thick or thin: a greyscale picture or shapes, as a share at each point of the face."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from carvegen.geometry import Floats, PolygonArray

__all__ = ["density_of"]

_PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".webp")
_MOST_PIXELS = 40_000_000


def density_of(
    text: str, placed: Callable[[str], PolygonArray], size_mm: tuple[float, float]
) -> Callable[[Floats], Floats]:
    """The share of the motif at points of the face, from what `text` names.

    A picture is stretched over the face: white is all of the motif, black none. Shapes, in words or from a
    drawing, hold all of it, and there is none outside them.

    Parameters
    ----------
    placed
        Gives the shapes that a text names, on the face.
    size_mm
        Width and height of the face.

    Returns
    -------
    Callable
        Points (n, 2) in mm to shares 0…1, (n,).
    """
    if text.lower().endswith(_PICTURES):
        return _from_picture(Path(text), *size_mm)
    shapes = shapely.union_all(placed(text))
    shapely.prepare(shapes)
    alone = threading.Lock()  # GEOS builds a prepared shape's index as it is asked, and not for two threads at once

    def density(xy: Floats) -> Floats:
        with alone:
            return np.asarray(shapely.intersects_xy(shapes, xy[:, 0], xy[:, 1]), dtype=np.float64)

    return density


def _from_picture(path: Path, width_mm: float, height_mm: float) -> Callable[[Floats], Floats]:
    light = _light(path)

    def density(xy: Floats) -> Floats:
        from scipy.ndimage import map_coordinates

        rows = (1 - xy[:, 1] / height_mm) * light.shape[0] - 0.5
        columns = xy[:, 0] / width_mm * light.shape[1] - 0.5
        return np.asarray(map_coordinates(light, [rows, columns], order=1, mode="nearest"))

    return density


def _light(path: Path) -> Floats:
    """How light each pixel is, 0…1; row 0 on top."""
    from PIL import Image

    try:
        with Image.open(path) as picture:
            if picture.width * picture.height > _MOST_PIXELS:
                raise InputError(
                    f"has more than {_MOST_PIXELS:,} pixels", where=str(path), hint="make the picture smaller"
                )
            return np.asarray(picture.convert("L"), dtype=np.float64) / 255
    except InputError:
        raise
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise InputError(
            f"can't be read as a picture ({type(error).__name__})",
            where=str(path),
            hint="give a PNG, JPEG, TIFF or WebP",
        ) from None
