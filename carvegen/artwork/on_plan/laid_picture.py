"""A picture on a plan, and the face as it shows it: straight on, unmirrored."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from carvegen.artwork.on_plan.plan import scale_of
from carvegen.artwork.scan.pixels import ScanPicture

if TYPE_CHECKING:
    from carvegen.artwork.on_plan.lens import Lens
    from carvegen.artwork.on_plan.plan import Matrix, TonePlan
    from carvegen.artwork.on_plan.plan_fit import PlanFit

__all__ = ["MOST_PX_PER_MM", "Laid", "scale_in"]

MOST_PX_PER_MM = 12.0  #: of the picture seen straight on: 300 dots per inch
_FINER = 1.2  #: a picture that has so many pixels more is not read between them any finer
_MOST_PIXELS = 24_000_000
_MESH_PX = 40  #: a tile of a picture that a lens bent is taken for one with straight sides


@dataclass(frozen=True, eq=False)
class Laid:
    """A picture on a plan."""

    place: Matrix  #: from mm on the plan, y down, to pixels of the picture's file, if its lens bent nothing
    lens: Lens  #: what it bends there
    fit: PlanFit
    mirrored: bool
    plan: TonePlan
    pictured_px: tuple[int, int]  #: width and height of the whole picture
    part: ScanPicture  #: of it what shows the plan
    part_place: Matrix  #: to that part's pixels
    part_lens: Lens  #: of these
    px_per_mm: float  #: of `picture`
    pale: bool = False  #: whether it was laid as one whose land need not be darker than its cuts
    negative: bool = False  #: whether only its negative fits

    @property
    def fault(self) -> str:
        """What speaks against it; nothing if it is right."""
        if self.negative:
            return "it shows the plan's negative: what is to stand is the lighter"
        if self.plan.is_print and self.mirrored and not self.fit.fault:
            return "it is mirrored, as a block is and no print"
        return self.fit.fault

    @cached_property
    def picture(self) -> ScanPicture:
        """The plan's face as the picture shows it, unmirrored, in print view; seen only if it is asked for."""
        return self.seen_at(self.px_per_mm)

    def seen_at(self, px_per_mm: float, *, part: ScanPicture | None = None) -> ScanPicture:
        """The face as the picture shows it, so fine; or as another picture of the same part does, of its tone, say."""
        return straight_on(part or self.part, self.plan, self.part_place, self.part_lens, px_per_mm)


def scale_in(plan: TonePlan, place: Matrix) -> float:
    """Pixels a millimetre of the picture seen straight on: as many as it has, and no more than are of use."""
    width, height = plan.size_mm
    return min(scale_of(place, (width / 2, height / 2)), MOST_PX_PER_MM, float(np.sqrt(_MOST_PIXELS / width / height)))


def straight_on(picture: ScanPicture, plan: TonePlan, place: Matrix, lens: Lens, scale: float) -> ScanPicture:
    width, height = (max(round(side * scale), 8) for side in plan.size_mm)
    across, down = plan.size_mm
    finer = scale_of(place, (across / 2, down / 2)) / scale
    factor = max(1, int(finer))
    image = picture.image.reduce(factor) if factor > 1 else picture.image
    smaller = np.diag([image.width / picture.width, image.height / picture.height, 1.0])
    matrix = smaller @ place @ np.diag([across / width, down / height, 1.0])
    between = Image.Resampling.BILINEAR if finer > _FINER * factor else Image.Resampling.BICUBIC
    if lens.strength:
        tiles = _bent_tiles(matrix, lens.within(factor), (width, height))
        seen = image.transform((width, height), Image.Transform.MESH, tiles, between)
    else:
        coefficients = tuple((matrix / matrix[2, 2]).ravel()[:8])
        seen = image.transform((width, height), Image.Transform.PERSPECTIVE, coefficients, between)
    return replace(picture, image=seen, dpi=None)


def _bent_tiles(
    matrix: Matrix, lens: Lens, size: tuple[int, int]
) -> list[tuple[tuple[int, int, int, int], tuple[float, ...]]]:  # fmt: skip
    """Small rectangles of a picture, and where a lens shows the corners of each, for Pillow's mesh."""
    columns, rows = (np.unique(np.append(np.arange(0, side, _MESH_PX), side)) for side in size)
    x, y = np.meshgrid(columns, rows)
    there = np.column_stack([x.ravel(), y.ravel(), np.ones(x.size)]) @ matrix.T
    at = lens.bent(there[:, :2] / there[:, 2:]).reshape(*x.shape, 2)
    return [
        (
            (int(columns[i]), int(rows[j]), int(columns[i + 1]), int(rows[j + 1])),
            tuple(np.concatenate([at[j, i], at[j + 1, i], at[j + 1, i + 1], at[j, i + 1]]).tolist()),
        )
        for j in range(len(rows) - 1) for i in range(len(columns) - 1)
    ]  # fmt: skip
