"""A strip that measures a paper: raised pieces of growing height, steepness and sharpness, and narrowing gaps."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.blocks.block import Block
from carvegen.blocks.embossing.pressing import Pressing, edge_offset, hole_round, rounded

if TYPE_CHECKING:
    from collections.abc import Iterator

    from carvegen.blocks.job import Setup
    from carvegen.facts.profiles import Paper
    from carvegen.geometry import PolygonArray

__all__ = ["DEEPEST_MM", "LADDERS", "EmbossingStrip", "PaperLadder", "Piece", "Terrace", "embossing_strip", "on_strip"]

_USUAL_MM, _BEVEL_DEG, _CORNER_MM = 0.6, 45.0, 1.25  #: of a piece, but for what its ladder tries out
_STEP_MM = 0.05  #: from terrace to terrace: every piece's face lies on one
_PITCH_MM, _ROW_MM = 15.5, 17.0
_EDGE_MM = 8.0
_FACE_MM = 8.0  #: width of a piece's face
_BAR_MM = 3.0  #: and of each of two bars beside a gap
_ARM_MM = 3.2  #: and of a cross's arm: it has corners that point outward and inward


@dataclass(frozen=True, kw_only=True)
class PaperLadder:
    """Pieces of one row, from the gentlest at the left to the one that asks most, as the print shows them."""

    name: str
    key: str  #: the value of a paper's profile that it gives
    option: str
    about: str  #: what to look for
    sizes: tuple[float, ...]


#: What is tried out. Heights and gaps lie near the preferred numbers R10 of ISO 3; from memory.
LADDERS = (
    PaperLadder(
        name="steps of height, mm", key="relief_largest_mm", option="--relief",
        about="the highest step that is sharp and whole all round", sizes=(0.25, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.25),
    ),
    PaperLadder(
        name="slopes, degrees from the vertical", key="bevel_least_deg", option="--bevel",
        about="the steepest wall along which nothing tears or frays", sizes=(60, 45, 40, 35, 30, 25, 20, 15),
    ),
    PaperLadder(
        name="radii of corners, mm", key="corner_least_mm", option="--corner",
        about="the sharpest corners, outward and inward, at which nothing tears",
        sizes=(2.0, 1.6, 1.25, 0.8, 0.6, 0.5, 0.3, 0.2),
    ),
    PaperLadder(
        name="gaps between two walls, mm", key="gap_least_mm", option="--gap",
        about="the narrowest gap in which the paper comes down to the floor",
        sizes=(3.0, 2.5, 2.0, 1.6, 1.25, 1.0, 0.8, 0.5),
    ),
)  # fmt: skip

DEEPEST_MM = max(LADDERS[0].sizes)  #: how deep the strip's floor lies


@dataclass(frozen=True, kw_only=True, eq=False)
class Piece:
    """One raised piece, print view, mm; its face stands `how.relief_mm` above the strip's floor."""

    how: Pressing
    face: Any

    @property
    def below_mm(self) -> float:
        """How far its face lies below the block's face."""
        return round(DEEPEST_MM - self.how.relief_mm, 3)

    @property
    def flat(self) -> Any:  # noqa: ANN401
        """Its face without the rounded edge."""
        return _grown(self.face, -self.how.round_mm)

    @property
    def foot(self) -> Any:  # noqa: ANN401
        """Where its wall ends on the floor."""
        return _grown(self.face, self.how.run_mm - self.how.round_mm)

    def outline(self, depth_mm: float) -> Any:  # noqa: ANN401
        """Where it stands higher than a depth below the block's face."""
        if depth_mm >= DEEPEST_MM - 1e-9:
            return self.foot
        below = depth_mm - self.below_mm
        return _grown(self.face, edge_offset(self.how, max(0.0, below))) if below > -1e-9 else shapely.Polygon()


@dataclass(frozen=True, kw_only=True, eq=False)
class Terrace:
    """What is lowered to one depth."""

    depth_mm: float
    faces: bool  #: the faces of pieces that end here; else a step of their walls
    shapes: PolygonArray


@dataclass(frozen=True, kw_only=True, eq=False)
class EmbossingStrip:
    """A die to be cut once and pressed into one paper."""

    block: Block  #: its floor up to the feet
    pieces: tuple[Piece, ...]  #: row by row
    paper: Paper

    @property
    def faces(self) -> PolygonArray:
        """The faces that stay as high as the block."""
        return geometry.snapped(geometry.polygon_array(piece.flat for piece in self.pieces if piece.below_mm <= 0))

    def terraces(self) -> Iterator[Terrace]:
        """All that is lowered besides the floor, from the face down: faces to their height, walls in steps.

        A step of a wall lies as deep as its middle.
        """
        depths, above = np.round(np.arange(0, DEEPEST_MM + _STEP_MM / 2, _STEP_MM), 3), dict[Piece, Any]()
        for low, high in zip(depths[:-1].tolist(), depths[1:].tolist(), strict=True):
            flat = [piece.flat for piece in self.pieces if low > 0 and abs(piece.below_mm - low) < 1e-6]
            if flat:
                yield Terrace(depth_mm=low, faces=True, shapes=geometry.snapped(geometry.polygon_array(flat)))
            here = {piece: piece.outline(high) for piece in self.pieces if piece.below_mm < high - 1e-9}
            rings = [shapely.difference(shape, above.get(piece) or piece.outline(low)) for piece, shape in here.items()]
            shapes, above = geometry.snapped(geometry.parts(shapely.union_all(rings))), here
            yield Terrace(depth_mm=round((low + high) / 2, 4), faces=False, shapes=shapes)

    def holes(self) -> PolygonArray:
        """Holes of its counter-sheet round the feet (`pressing.hole_round`); those that meet are one."""
        holes = [hole_round(piece.foot, piece.how) for piece in self.pieces]
        return geometry.snapped(geometry.parts(shapely.union_all(holes)))


def embossing_strip(paper: Paper) -> EmbossingStrip:
    """The strip for a paper: alike for all, but that a heavier paper has wider holes in its counter-sheet."""
    usual = Pressing(
        relief_mm=_USUAL_MM, bevel_deg=_BEVEL_DEG, corner_mm=_CORNER_MM, paper_g_m2=paper.weight_g_m2,
        paper_mm=paper.thickness_mm,
    )  # fmt: skip
    width = 2 * _EDGE_MM + 8 * _PITCH_MM
    height = 2 * _EDGE_MM + 4 * _ROW_MM
    pieces = []
    for row, ladder in enumerate(LADDERS):
        y = height - _EDGE_MM - (row + 0.5) * _ROW_MM
        for column, size in enumerate(ladder.sizes):
            x = _EDGE_MM + (column + 0.5) * _PITCH_MM
            pieces += _pieces(ladder.key, size, usual, (x, y))
    feet = shapely.union_all([piece.foot for piece in pieces])
    floor = geometry.snapped(geometry.parts(shapely.difference(geometry.box(width, height), feet)))
    block = Block(
        name=f"embossing strip {paper.key}", width_mm=width, height_mm=height, cuts=floor, turned=False, bevelled=True,
        inked=False,
    )  # fmt: skip
    return EmbossingStrip(block=block, pieces=tuple(pieces), paper=paper)


def on_strip(setup: Setup) -> Setup:
    """The setup with which the strip is cut: as deep as its highest step.

    Raises
    ------
    InputError
        If the material does not allow that depth.
    """
    material = setup.material
    deepest = min(material.depth_largest_mm, setup.thickness_mm - material.floor_mm)
    if deepest < DEEPEST_MM:
        raise InputError(
            f"must be one that may be cut {DEEPEST_MM:g} mm deep, as deep as the highest step", value=material.key,
            field="material", hint=f"{deepest:.2f} mm is the most here: take a thicker plate ({{thickness_mm}}), or "
            "embossing-acrylic", names=("thickness_mm",),
        )  # fmt: skip
    return replace(setup, depth_mm=DEEPEST_MM)


def _pieces(key: str, size: float, usual: Pressing, at: tuple[float, float]) -> list[Piece]:
    x, y = at
    if key == "relief_largest_mm":
        how = replace(usual, relief_mm=size)
    elif key == "bevel_least_deg":
        how = replace(usual, bevel_deg=size)
    elif key == "corner_least_mm":
        return [_cross(replace(usual, corner_mm=size), at)]
    else:
        reach = usual.run_mm - usual.round_mm
        off = size / 2 + reach + _BAR_MM / 2
        bars = [_box(x + side * off, y, _BAR_MM, _FACE_MM) for side in (-1, 1)]
        return [Piece(how=usual, face=rounded(bar, _CORNER_MM, _CORNER_MM)) for bar in bars]
    return [Piece(how=how, face=rounded(_box(x, y, _FACE_MM, _FACE_MM), _CORNER_MM, _CORNER_MM))]


def _cross(how: Pressing, at: tuple[float, float]) -> Piece:
    """A cross whose corners are rounded to the radius at the face where they point outward, at the foot inward."""
    x, y = at
    long = _FACE_MM + 2 * how.corner_mm / 2
    plus = shapely.union(_box(x, y, long, _ARM_MM + how.corner_mm), _box(x, y, _ARM_MM + how.corner_mm, long))
    return Piece(how=how, face=rounded(plus, how.corner_mm, how.corner_mm + how.run_mm - how.round_mm))


def _box(x: float, y: float, width: float, height: float) -> Any:  # noqa: ANN401
    return shapely.box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)


def _grown(shape: Any, by: float) -> Any:  # noqa: ANN401
    return shapely.buffer(shape, by, quad_segs=32)
