"""What differs between two lands: newly cut and newly land, as areas and places; and lands read from files."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork.kinds import is_picture
from carvegen.base.errors import InputError
from carvegen.blocks.from_drawing import drawn_block

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.blocks.views import View
    from carvegen.geometry import PolygonArray

__all__ = ["CUT_FOLDER", "Difference", "difference", "is_cut", "land_in", "lands_in"]

CUT_FOLDER = "cut"  #: folder of a build in which the lands of cut blocks are kept as they were
_MOST_PLACES = 12
_CRUMB_MM2 = 0.01


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
    gone, come = (
        _wide(shapely.difference(one, other), 2 * tolerance_mm) for one, other in ((before, after), (after, before))
    )
    return Difference(name=name, before=before, after=after, cut=gone, land=come)


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
    found = {path.stem: land_in(path) for path in every if "." not in path.stem}  # no block's name has a dot
    if not found:
        raise InputError("holds no built print", where=str(folder), hint="give a folder that build has written")
    return found


def is_cut(path: Path, name: str) -> bool:
    """Whether a block is known to be cut: a scan shows it, or a build keeps what stood of it; any other is a plan."""
    if path.is_dir():
        return (path / CUT_FOLDER / f"{name}.wkb").is_file()
    return is_picture(path) or path.parent.name == CUT_FOLDER


def land_in(path: Path, *, view: View | None = None, scan: Mapping[str, Any] | None = None) -> BaseGeometry:
    """What stands, by a file: a land of a build, a drawing of a block's cuts, or a scan of a proof or block.

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

        side = {"view": view.value} if view is not None else {}
        said = {**(scan or {}), **side}
        photo = "corners" in said  # without corners the page is the face, laid straight and evenly lit
        artwork = read_scan(path, ScanOptions(**said, deskew=photo, even=photo))
        return geometry.union(*artwork.layers.values())
    return drawn_block(path, view=view).block.land


def _wkb(path: Path) -> BaseGeometry:
    try:
        land = shapely.from_wkb(path.read_bytes())
    except (OSError, shapely.errors.ShapelyError) as error:
        raise InputError("can't be read as a land", where=str(path), hint=f"{error}") from None
    return geometry.solid(shapely.make_valid(land))
