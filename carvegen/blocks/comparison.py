"""What differs between two lands, as areas and places, and between a plan and a first proof; lands read from files."""

from __future__ import annotations

import enum
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork.bounds import SEEN_MM
from carvegen.artwork.kinds import is_picture
from carvegen.base.colour import Ink, hex_of, rgb
from carvegen.base.errors import InputError
from carvegen.base.progress import reached
from carvegen.blocks.from_drawing import drawn_land

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.colour import Rgb
    from carvegen.blocks.views import View
    from carvegen.geometry import Floats, PolygonArray

__all__ = [
    "CUT_FOLDER", "SCAN_TOLERANCE_MM", "Difference", "DifferenceKind", "DifferentPlace", "coats_in", "difference",
    "face_in", "in_order", "is_cut", "land_in", "lands_in", "print_colours", "spots", "stencils_in",
]  # fmt: skip

SCAN_TOLERANCE_MM = SEEN_MM
CUT_FOLDER = "cut"  #: folder of a build in which the lands of cut blocks are kept as they were
_MOST_PLACES = 12
_CRUMB_MM2 = 0.01
_INSIDE_MM = 0.05  #: how near the largest disc in a piece is found
_BESIDE_MM = 0.3  #: what is gone belongs to a planned cut that is so near
_RIM, _MOSTLY = 1.5, 0.5  #: a cut so many times as wide as the piece, over most of it, makes the piece a rim
_RIM_MM = 1.5  #: a rim is narrower; our own choice


@dataclass(frozen=True, kw_only=True, eq=False)
class Difference:
    """What has changed from one land to another."""

    name: str
    before: BaseGeometry
    after: BaseGeometry
    cut: PolygonArray  #: stood before and stands no more
    land: PolygonArray  #: stands now and did not before

    @property
    def any(self) -> bool:
        """Whether anything differs."""
        return len(self.cut) + len(self.land) > 0

    def to_dict(self) -> dict[str, Any]:
        """Plain values: areas, and the largest places first."""
        return {
            "block": self.name,
            "differs": self.any,
            "newly_cut_mm2": round(float(shapely.area(self.cut).sum()), 3),
            "newly_land_mm2": round(float(shapely.area(self.land).sum()), 3),
            "places": [*_places(self.cut, "cut"), *_places(self.land, "land")],
        }


def difference(name: str, before: BaseGeometry, after: BaseGeometry, tolerance_mm: float) -> Difference:
    """What differs by more than a tolerance: parts of the difference that are wider than twice that.

    An outline that has moved by the tolerance differs by a strip of its width; so a strip must be wider, and hold a
    disc of twice the tolerance, to be told.
    """
    gone = _wide(shapely.difference(before, after), 2 * tolerance_mm)
    reached(0.5)
    come = _wide(shapely.difference(after, before), 2 * tolerance_mm)
    return Difference(name=name, before=before, after=after, cut=gone, land=come)


class DifferenceKind(enum.Enum):
    """How a block or its proof differs from the plan, in the order of what can still be done."""

    TO_CUT = "still to cut"
    NARROWER = "cut narrower than planned"
    WIDER = "cut wider than planned"
    TOO_MUCH = "cut too much"
    UNPLANNED = "cut where the plan cuts nothing"

    @property
    def stands(self) -> bool:
        """Whether it still stands, so that it can be cut."""
        return self in (DifferenceKind.TO_CUT, DifferenceKind.NARROWER)

    @property
    def remedy(self) -> str:
        """What can be done."""
        if self.stands:
            return "it can be cut"
        return "what is gone can't be put back: let the plan follow it, or cut a new block"


@dataclass(frozen=True, kw_only=True, eq=False)
class DifferentPlace:
    """One place where a block or its proof differs from the plan; print view, mm."""

    block: str
    kind: DifferenceKind
    shape: shapely.Polygon
    width_mm: float  #: diameter of the largest disc in it
    at: tuple[float, float]  #: that disc's middle

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "kind": self.kind.value, "at_mm": [round(self.at[0], 2), round(self.at[1], 2)],
            "area_mm2": round(self.shape.area, 3), "width_mm": round(self.width_mm, 2),
        }  # fmt: skip


def spots(change: Difference, face: BaseGeometry) -> list[DifferentPlace]:
    """What differs of a block or its proof (`after`) from its plan (`before`), what can still be done first.

    What stands and should not fills the cut that is planned there, or leaves it narrower than planned. What is gone
    widens a cut that is planned, or goes further than a rim, or lies where none is planned.
    """
    planned = shapely.difference(face, change.before)
    made = shapely.difference(face, change.after)
    pieces = geometry.stack([change.land, change.cut])
    if len(pieces) == 0:
        return []
    radius = shapely.maximum_inscribed_circle(pieces, _INSIDE_MM)
    middle, width = shapely.get_coordinates(shapely.get_point(radius, 0)), 2 * shapely.length(radius)
    stands = len(change.land)
    kinds = [
        *_kinds(change.land, width[:stands], planned, DifferenceKind.TO_CUT, DifferenceKind.NARROWER),
        *_kinds(change.cut, width[stands:], made, DifferenceKind.TOO_MUCH, DifferenceKind.WIDER),
    ]
    shapely.prepare(planned)
    beside = shapely.dwithin(pieces, planned, _BESIDE_MM)
    result = [
        DifferentPlace(
            block=change.name, kind=kind if kind.stands or near else DifferenceKind.UNPLANNED, shape=piece,
            width_mm=float(wide), at=(float(x), float(y)),
        )
        for kind, piece, near, wide, (x, y) in zip(kinds, pieces, beside, width, middle, strict=True)
    ]  # fmt: skip
    return in_order(result)


def in_order(places: Iterable[DifferentPlace]) -> list[DifferentPlace]:
    """What can still be done first, then the largest."""
    order = list(DifferenceKind)
    return sorted(places, key=lambda spot: (order.index(spot.kind), -spot.shape.area))


def _kinds(
    pieces: PolygonArray, width: Floats, cut: Any, whole: DifferenceKind, rim: DifferenceKind,  # noqa: ANN401
) -> Iterator[DifferenceKind]:  # fmt: skip
    """For each piece of a cut whether it is most of the cut there, or a rim of a cut that is much wider."""
    slim = np.flatnonzero(width < _RIM_MM)
    reach = _RIM * width[slim] / 2
    shapely.prepare(cut)
    near = shapely.intersection(shapely.buffer(pieces[slim], 4 * reach, quad_segs=4), cut)
    opened = shapely.buffer(shapely.buffer(near, -reach, quad_segs=8), reach * 1.05, quad_segs=8)
    share = shapely.area(shapely.intersection(pieces[slim], opened)) / shapely.area(pieces[slim])
    rims = set(slim[share > _MOSTLY].tolist())
    return (rim if k in rims else whole for k in range(len(pieces)))


def _wide(shape: Any, width: float) -> PolygonArray:  # noqa: ANN401
    """Whole pieces that hold a disc of this width somewhere."""
    pieces = geometry.parts(shape)
    if len(pieces) == 0:
        return pieces
    holds = ~shapely.is_empty(shapely.buffer(pieces, -width / 2)) & (shapely.area(pieces) > _CRUMB_MM2)
    return pieces[holds]


def _places(pieces: PolygonArray, what: str) -> Iterator[dict[str, Any]]:
    for k in np.argsort(-shapely.area(pieces), kind="stable")[:_MOST_PLACES].tolist():
        at = shapely.point_on_surface(pieces[k])
        yield {"newly": what, "at_mm": [round(at.x, 2), round(at.y, 2)], "area_mm2": round(pieces[k].area, 3)}


def lands_in(folder: Path) -> dict[str, BaseGeometry]:
    """The lands of all blocks in a folder that ``carvegen build`` has written, by name.

    Raises
    ------
    InputError
        If there are none.
    """
    every = sorted((folder / "lands").glob("*.wkb"))
    result = {path.stem: land_in(path) for path in every if "." not in path.stem}  # no block's name has a dot
    if not result:
        raise InputError("holds no built print", where=str(folder), hint=_built_hint(folder), names=("block",))
    return result


def _built_hint(folder: Path) -> str:
    """What to give in place of a folder without lands: of a block's own folder the build's, with its block."""
    name = folder.resolve().name
    if (folder.resolve().parent / "lands" / f"{name}.wkb").is_file():
        return f"give the folder of the whole build, {folder.parent}, with {{block}} {name}"
    return "give a folder that build has written"


def face_in(folder: Path, lands: Iterable[BaseGeometry]) -> tuple[float, float]:
    """Width and height of the face of a print that is built in the folder, mm.

    Its report says it; of a build that is older than that, what the lands reach over.
    """
    try:
        width, height = _reported(folder, "size_mm")
        return float(width), float(height)
    except (ValueError, TypeError):
        _, _, right, top = shapely.total_bounds(list(lands)).tolist()
        return right, top


def stencils_in(folder: Path) -> frozenset[str] | None:
    """Names of the blocks of a print that is built in the folder that are stencils; None if its report is older."""
    names = _reported(folder, "stencils")
    return frozenset(name for name in names if isinstance(name, str)) if isinstance(names, list) else None


def print_colours(coats: Mapping[str, Ink], paper: Rgb) -> dict[str, Any]:
    """What a build's report says of its inks, in printing order, and its paper: `coats_in` reads it."""
    inks = [{"block": name, "colour": hex_of(ink.colour), "opacity": ink.opacity} for name, ink in coats.items()]
    return {"paper": hex_of(paper), "inks": inks}


def coats_in(folder: Path) -> tuple[dict[str, Ink], Rgb] | None:
    """Inks by block, in printing order, and paper of a print that is built in the folder; None if no report tells."""
    try:
        inks = {
            str(ink["block"]): Ink(colour=rgb(ink["colour"]), opacity=float(ink["opacity"]))
            for ink in _reported(folder, "inks")
        }
        return inks, rgb(_reported(folder, "paper"))
    except (InputError, ValueError, TypeError, KeyError):
        return None


def _reported(folder: Path, key: str) -> Any:  # noqa: ANN401
    """What the report of a build says under a key; None if it doesn't."""
    try:
        return json.loads((folder / "report.json").read_text(encoding="utf-8"))[key]
    except (OSError, ValueError, TypeError, KeyError, RecursionError):
        return None


def is_cut(path: Path, name: str) -> bool:
    """Whether a block is known to be cut: a scan shows it, or a build keeps what stood of it; any other is a plan."""
    if path.is_dir():
        return (path / CUT_FOLDER / f"{name}.wkb").is_file()
    return is_picture(path) or path.parent.name == CUT_FOLDER


def land_in(path: Path, *, view: View | None = None, scan: Mapping[str, Any] | None = None) -> BaseGeometry:
    """What stands, by a file: a land of a build, a drawing (`drawn_land`), or a scan of a proof or block.

    Parameters
    ----------
    view
        From which side it shows the block.
    scan
        Settings of `carvegen.artwork.scan.ScanOptions`; what is dark in a scan stands.
    """
    if path.suffix.lower() == ".wkb":
        return _wkb(path)
    if is_picture(path):
        from carvegen.artwork.scan import ScanOptions, read_scan
        from carvegen.artwork.scan.planes import UNSURE

        side = {"view": view.value} if view is not None else {}
        scale = {**(scan or {}), **side}
        photo = "corners" in scale  # without corners the page is the face, laid straight and evenly lit
        artwork = read_scan(path, ScanOptions(**scale, deskew=photo, even=photo))
        return geometry.union(*(shapes for name, shapes in artwork.layers.items() if name != UNSURE))
    return drawn_land(path, view=view)[0]


def _wkb(path: Path) -> BaseGeometry:
    try:
        land = shapely.from_wkb(path.read_bytes())
    except (OSError, shapely.errors.ShapelyError) as error:
        raise InputError("can't be read as a land", where=str(path), hint=f"{error}") from None
    return geometry.solid(shapely.make_valid(land))
