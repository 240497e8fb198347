"""Where the middle of a laser's beam may go, so that the land keeps its size."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.facts import cutting
from carvegen.toolpaths.cutter_centre_region import (
    grown,
    over_edge,
    shrunk,
    without,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.blocks.block import Block
    from carvegen.blocks.job import Job
    from carvegen.geometry import PolygonArray

__all__ = ["beam_half_mm", "fits_bed", "lies_unturned", "off_limits", "room_for"]


def beam_half_mm(job: Job, depth_mm: float) -> float:
    """Half the widest place of the groove that the beam burns to this depth: so far it stays off the land."""
    return cutting.widest_half_mm(job.cutter, depth_mm)


def room_for(block: Block, shapes: PolygonArray, by_mm: float) -> NDArray[np.object_]:
    """Where the middle of the beam may go inside shapes: `by_mm` from the land, and up to the block's edge; aligned."""
    if not len(shapes):
        return shapes
    wide, open_ = over_edge(shapes, block, by_mm)
    room = shrunk(wide, by_mm)
    room[open_] = shapely.intersection(room[open_], block.board)
    return room


def off_limits(shapes: NDArray[np.object_], no_go: PolygonArray, by_mm: float) -> NDArray[np.object_]:
    """The shapes or lines, less all that lies within `by_mm` of where nothing may go; aligned."""
    return without(shapes, geometry.parts(grown(geometry.free_of_grid(no_go), by_mm))) if len(no_go) else shapes


def fits_bed(job: Job, around_mm: float = 0.0) -> bool:
    """Whether the block with a rim lies on the machine's bed, turned if need be."""
    width, height = job.machine.bed_width_mm, job.machine.bed_height_mm
    if width is None or height is None:
        return True
    left, bottom, right, top = job.block.board.bounds
    bed, block = sorted((width, height)), sorted((right - left, top - bottom))
    return all(side + 2 * around_mm <= room for side, room in zip(block, bed, strict=True))


def lies_unturned(job: Job) -> bool:
    """Whether the block fits the machine's bed as it is drawn, its width along the bed's."""
    width, height = job.machine.bed_width_mm, job.machine.bed_height_mm
    if width is None or height is None:
        return True
    left, bottom, right, top = job.block.board.bounds
    return right - left <= width and top - bottom <= height
