"""Where the darkest ink is printed over another and where not, and one land of it is seen to change its colour."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.colour import TWO_TONES, Ink, ciede2000, cielab, hex_of, lightness, screen, screen_rgb, solids
from carvegen.base.findings import Finding, Severity

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.colour import Rgb
    from carvegen.geometry import Floats, PolygonArray

__all__ = ["two_tones"]

_PART_MM2 = 4.0  #: of less in another tone nothing is told: our own choice
_HAIR_MM = 0.3  #: what is narrower amid land that runs on from both sides is no tone of its own
_FINE_MM = 0.05  #: outlines of what a rim is measured from are simplified so far

Inked = Mapping[str, tuple[Ink, "BaseGeometry"]]  #: of the blocks that print, in printing order: ink, and where it lies


def two_tones(inked: Inked, paper: Rgb, trap_mm: float) -> Iterator[tuple[str, Finding]]:
    """Each land of the darkest ink that another ink lies under or over in one part and not in the rest; by block.

    The rim by which an ink runs on under a darker one, `trap_mm` wide, counts for neither part. Each land is told once,
    with the other ink that changes it most.
    """
    if not inked:
        return
    dark = min(inked, key=lambda name: lightness(inked[name][0].colour))
    pieces = geometry.parts(inked[dark][1])
    worst: dict[int, tuple[float, Finding]] = {}
    for other in inked:
        if other == dark or not _may_show(inked, paper, dark, other):
            continue
        over, off = _over_and_off(inked[dark][1], inked[other][1], trap_mm)
        for k, one, rest in _in_both(pieces, over, off):
            spots = [_Spot.of(inked, paper, part) for part in (one, rest)]
            change = float(ciede2000(*(cielab(screen(spot.light)) for spot in spots)))
            if change >= TWO_TONES and change > worst.get(k, (0.0,))[0]:
                worst[k] = change, _finding(dark, other, spots, float(shapely.area(one)), change)
    yield from ((dark, finding) for _, finding in worst.values())


def _may_show(inked: Inked, paper: Rgb, dark: str, other: str) -> bool:
    """Whether the darkest ink shows if another lies under it or over it: alone on paper, or with all others."""
    for rest in ([dark], [name for name in inked if name != other]):
        one, two = (cielab(screen(_light(inked, paper, [*rest, *more]))) for more in ([], [other]))
        if ciede2000(one, two) >= TWO_TONES:
            return True
    return False


def _over_and_off(land: BaseGeometry, other: BaseGeometry, trap_mm: float) -> tuple[PolygonArray, PolygonArray]:
    """The parts of a land that lie over another ink, without the rim by which that runs on, and those that do not."""
    off = shapely.difference(land, other)
    off = shapely.intersection(off, shapely.buffer(shapely.buffer(off, -_HAIR_MM / 2, quad_segs=2), _HAIR_MM))
    rim = shapely.buffer(shapely.simplify(off, _FINE_MM), trap_mm + _FINE_MM, quad_segs=2)
    return geometry.parts(shapely.difference(shapely.intersection(land, other), rim)), geometry.parts(off)


def _in_both(
    pieces: PolygonArray, over: PolygonArray, off: PolygonArray
) -> Iterator[tuple[int, BaseGeometry, BaseGeometry]]:
    """The number of each land with enough of both parts, and the largest of either."""
    lots = [_by_piece(pieces, parts) for parts in (over, off)]
    for k in sorted(lots[0].keys() & lots[1].keys()):
        if all(shapely.area(lot[k]).sum() >= _PART_MM2 for lot in lots):
            one, rest = (lot[k][np.argmax(shapely.area(lot[k]))] for lot in lots)
            yield k, one, rest


def _by_piece(pieces: PolygonArray, parts: PolygonArray) -> dict[int, PolygonArray]:
    """Parts by the number of the land that they are of."""
    j, k = shapely.STRtree(pieces).query(shapely.point_on_surface(parts), predicate="intersects")
    return {number: parts[j[k == number]] for number in np.unique(k).tolist()}


@dataclass(frozen=True, kw_only=True, eq=False)
class _Spot:
    """A place and the light that comes back from it, by all inks that lie there."""

    at: tuple[float, float]
    light: Floats

    @classmethod
    def of(cls, inked: Inked, paper: Rgb, part: BaseGeometry) -> _Spot:
        """A place within a part."""
        point = shapely.point_on_surface(part)
        names = [name for name, (_, land) in inked.items() if shapely.intersects(land, point)]
        return cls(at=(round(point.x, 3), round(point.y, 3)), light=_light(inked, paper, names))

    @property
    def words(self) -> str:
        """The colour as "#rrggbb"."""
        return hex_of(screen_rgb(self.light))


def _light(inked: Inked, paper: Rgb, names: list[str]) -> Floats:
    """The light that comes back from some of the inks over one another, in printing order; (3,)."""
    return solids(paper, [ink for name, (ink, _) in inked.items() if name in names])


def _finding(dark: str, other: str, spots: list[_Spot], area_mm2: float, change: float) -> Finding:
    over, off = spots
    return Finding(
        rule="two-tones", severity=Severity.ADVICE, at=over.at, measured=area_mm2, limit=_PART_MM2, unit="mm²",
        why=f"{dark} lies over {other} here ({over.words}) and not at x {off.at[0]:.1f}, y {off.at[1]:.1f} mm "
        f"({off.words}): one thing in two tones, ΔE00 {change:.1f}",
        remedy=f"name the layer of this thing in layers of {other} too, so that {other} prints under all of it; "
        f"or print {dark} more opaque (its opacity)",
    )  # fmt: skip
