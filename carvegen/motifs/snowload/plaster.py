"""Snow that a gale drives against what stands upright: broken strips down the side that faces it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from carvegen.motifs.shared.fields import waves_at
from carvegen.motifs.snowload.drawing import Canvas
from carvegen.motifs.snowload.scene import Page, run_lengths
from carvegen.motifs.snowload.wind import exposed, strength

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats, Mask
    from carvegen.motifs.snowload.settings import Settings

__all__ = ["plastered"]

_FACE_MM = 0.8  #: which way a side faces is seen over so much
_FACES = 0.75  #: cosine between the wind and a side that it plasters
_BROAD_MM = 2.2  #: thinner things bear none
_MOST = 0.4  #: of a thing's breadth
_SHORTEST_MM, _SLIMMEST_MM = 6.0, 0.55  #: shorter strips, and those slimmer on average, are left out
_PROUD = 0.2  #: of the strip stands out from what it clings to


def plastered(solid: Mask, clear: Floats, settings: Settings, page: Page, rng: Generator) -> Floats:
    """The share of each cell that is plastered, (rows, columns).

    Parameters
    ----------
    clear
        The clear distance upwind, mm, for each low ray and every other cell of every other row.
    """
    blows = strength(settings)
    way = 1 if blows > 0 else -1
    before = np.roll(solid, way, axis=1)
    before[:, 0 if way > 0 else -1] = True
    row, column = np.nonzero(solid & ~before)
    lies = np.pad(solid, 8, mode="edge").astype(np.float32)
    across, up = (ndimage.gaussian_filter(lies, _FACE_MM / page.step, order=o)[8:-8, 8:-8] for o in ((0, 1), (1, 0)))
    across, up = across[row, column], up[row, column]
    faces = way * across / np.maximum(np.hypot(across, up), 1e-9)
    wide = run_lengths(solid)[row, column] * page.step
    upwind = np.clip(column - 4 * way, 0, page.wide - 1)
    free = exposed(clear[:, row // 2, upwind // 2], settings)
    x, y = page.x[column], page.bottom + (row + 0.5) * page.step
    place = np.column_stack([x, y])
    wave = waves_at(place, rng, patch_mm=(5.0, 20.0)) + 0.12 * waves_at(place, rng, patch_mm=(2.0, 4.0))
    thick = 0.45 * settings.fallen_mm * abs(blows) * (0.3 + settings.sticky) * np.clip(0.35 + 0.7 * wave, 0, 1.5)
    thick *= np.clip((faces - _FACES) / 0.1, 0, 1) * np.clip(2 * free - 0.6, 0, 1) * (wide >= _BROAD_MM)
    thick = np.minimum(thick, _MOST * wide)
    edge = x - way * page.step / 2
    ends = np.sort([edge - way * _PROUD * thick, edge + way * (1 - _PROUD) * thick], axis=0)
    turned = Canvas.blank(Page(page.bottom, page.left, page.high, page.wide, page.step, 0))
    turned.stroke(row, *ends)
    return _without_scraps(turned.cover.T, page.step)


def _without_scraps(cover: Floats, step: float) -> Floats:
    """The strips without those that are short or slim: nobody cuts a row of lozenges down a post."""
    label, count = ndimage.label(cover > 0)
    area = np.bincount(label.ravel(), cover.ravel(), minlength=count + 1) * step**2
    long = np.array([0.0, *((rows.stop - rows.start) * step for rows, _ in ndimage.find_objects(label))])
    kept = (long >= _SHORTEST_MM) & (area >= _SLIMMEST_MM * long)
    return np.asarray(np.where(kept[label], cover, 0.0))
