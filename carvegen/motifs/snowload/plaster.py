"""Snow that a gale drives against what stands upright: long strips down the side that faces it."""

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

    from carvegen.geometry import Floats, Indices, Mask
    from carvegen.motifs.snowload.settings import Settings

__all__ = ["plastered"]

_FACE_MM = 0.8  #: which way a side faces is seen over so much
_FACES = 0.75  #: cosine between the wind and a side that it plasters
_BROAD_MM = 3.6  #: thinner things bear none
_MOST = 0.4  #: of a thing's breadth
_FAINT_MM = 0.1  #: thinner is none
_SHORTEST_MM, _SLIMMEST_MM = 11.0, 0.9  #: shorter strips, and those that are slimmer all over, are left out
_KNOBS_MM = 0.35  #: and those whose side strays so far from a straight line, on average
_SKEW = 0.65  #: thickest a little below the middle
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
    thick = 0.55 * settings.fallen_mm * abs(blows) * (0.3 + settings.sticky) * np.clip(0.35 + 0.7 * wave, 0, 1.5)
    thick *= np.clip((faces - _FACES) / 0.1, 0, 1) * np.clip(2 * free - 0.6, 0, 1) * (wide >= _BROAD_MM)
    thick = np.minimum(thick, _MOST * wide)
    edge = x - way * page.step / 2
    strip, along = _strips(row, edge, thick > _FAINT_MM, page.step)
    thick = _tapered(thick, strip, along, edge, page.step)
    ends = np.sort([edge - way * _PROUD * thick, edge + way * (1 - _PROUD) * thick], axis=0)
    turned = Canvas.blank(Page(page.bottom, page.left, page.high, page.wide, page.step, 0))
    turned.stroke(row, *ends)
    return turned.cover.T


def _strips(row: Indices, edge: Floats, lies: Mask, step: float) -> tuple[Indices, Floats]:
    """The strip that each place of a side belongs to, 0 for none, and how far along it lies, 0…1; (n,) each."""
    column = np.rint((edge - edge.min(initial=0)) / step).astype(int)
    cells = np.zeros((int(row.max(initial=0)) + 1, int(column.max(initial=0)) + 1), dtype=bool)
    cells[row[lies], column[lies]] = True
    label, _ = ndimage.label(ndimage.maximum_filter1d(cells, 5, axis=1), structure=np.ones((3, 3)))
    strip = np.where(lies, label[row, column], 0)
    low, high = (np.full(label.max() + 1, each) for each in (row.max(initial=0), 0))
    np.minimum.at(low, strip, row)
    np.maximum.at(high, strip, row)
    return strip, (row - low[strip] + 0.5) / (high - low + 1)[strip]


def _tapered(thick: Floats, strip: Indices, along: Floats, edge: Floats, step: float) -> Floats:
    """The thickness, running out to both ends of each strip; nothing of those that nobody would cut.

    These are short ones and slim ones, and those on a side with knobs: they would follow each like a worm.
    """
    count = np.bincount(strip)
    mean = [np.bincount(strip, each) / np.maximum(count, 1) for each in (edge, along, edge * along, along**2, edge**2)]
    slant = (mean[2] - mean[0] * mean[1]) / np.maximum(mean[3] - mean[1] ** 2, 1e-9)
    knobs = np.sqrt(np.clip(mean[4] - mean[0] ** 2 - slant**2 * (mean[3] - mean[1] ** 2), 0, None))
    thick = thick * np.sin(np.pi * along**_SKEW) ** 0.7
    most = np.zeros(len(count))
    np.maximum.at(most, strip, thick)
    kept = (count * step >= _SHORTEST_MM) & (most >= _SLIMMEST_MM) & (knobs < _KNOBS_MM)
    kept[0] = False
    return np.asarray(np.where(kept[strip], thick, 0.0))
