"""PDF at 1:1: what of a block is still to cut, as the block lies."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from carvegen import geometry
from carvegen.blocks.layer_names import BLOCK_EDGE, CUT_AREA
from carvegen.blocks.views import View
from carvegen.writers.whole_print.templates import Part, Template
from carvegen.writers.whole_print.templates_pdf import template_pdf

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.blocks.comparison import Spot

__all__ = ["carving_sheet"]


def carving_sheet(name: str, land: BaseGeometry, spots: Sequence[Spot], size: tuple[float, float]) -> bytes:
    """What is still to cut filled, what is to stand in outline; block view, to be traced down or laid beside the block.

    Parameters
    ----------
    land
        What is to stand; print view, mm.
    size
        Width and height of the face.
    """
    left = [its for its in spots if its.kind.stands]
    filled = geometry.polygon_array(its.shape for its in left)
    parts = (
        Part(name=BLOCK_EDGE, about="the face", shapes=geometry.polygon_array([geometry.box(*size)])),
        Part(name="LAND", about="what is to stand", shapes=geometry.parts(land), broken=True),
        Part(name=CUT_AREA, about="still to cut", shapes=filled, filled=True),
    )
    mirrored = tuple(
        Part(name=its.name, about=its.about, shapes=geometry.mirrored(its.shapes, size[0]), filled=its.filled,
             broken=its.broken)
        for its in parts if len(its.shapes)
    )  # fmt: skip
    area = sum(its.shape.area for its in left)
    places = f"{len(left)} place" + "s" * (len(left) != 1)
    words = (
        f"{name}: still to cut, block view: as the block lies face up, mirrored. Do not mirror it again.",
        f"Black is to be cut away: {places}, {area:.1f} mm². Broken lines: the edge of what is to stand.",
        "By a scan or photograph of a proof or of the block: look at the block before each cut. "
        "Cut away from your hand, the block against a stop.",
    )
    return template_pdf(Template(title=f"{name}: still to cut", view=View.BLOCK, parts=mirrored, words=words))
