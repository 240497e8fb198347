"""Ice that is cut through: what stays of it, the stubs from which it grows on, and what hangs in the air without it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import Floats, PolygonArray

__all__ = ["Bridge", "Severed", "Stub", "severed"]

_HAIR_MM = 0.003  #: what lies so near together touches
_ACROSS = 0.4  #: sine of the angle at which a stem is cut at least, to grow on from there
_FLANK = 0.3  #: of the cut along a flank: so broad is what springs there
_GRAZES = 4.0  #: of its breadth: a stem that is cut out on a shorter way stays
_HOLDS = 1.4  #: of its half-breadth: so far from the middle
_AROUND = 2.0  #: of a stub's breadth: so far about it its direction is measured
_AROUND_MM = 1.2  #: at least


@dataclass(frozen=True, kw_only=True, eq=False)
class Stub:
    """The end of a stem that has been cut through."""

    at: Floats  #: middle of the end, (2,), mm
    ahead: Floats  #: unit vector away from the stem, (2,)
    half: float  #: half the breadth, mm
    end: BaseGeometry  #: the line of the cut
    aslant: bool = False  #: the stem was cut along its flank: what grows on springs from its side

    def behind(self, reach_mm: float) -> BaseGeometry:
        """What lies on the stem's side of the cut, so far round its middle."""
        ends = shapely.get_coordinates(self.end)[[0, -1]]
        along = (ends[1] - ends[0]) / max(float(np.hypot(*(ends[1] - ends[0]))), 1e-9)
        back = np.array([along[1], -along[0]])
        back = back if back @ self.ahead < 0 else -back
        deepest = float(((ends - self.at) @ back).max()) + 20 * _HAIR_MM
        far = 2 * reach_mm * np.array([[-1, 0], [1, 0], [1, 1], [-1, 1]]) @ np.array([along, back])
        half = shapely.Polygon(self.at + max(deepest, 0.0) * back + far)
        return shapely.intersection(half, shapely.buffer(shapely.Point(self.at), reach_mm))


@dataclass(frozen=True, kw_only=True, eq=False)
class Bridge:
    """A stub, and those beyond the gap that hung on it, the broadest first."""

    root: Stub
    tips: tuple[Stub, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Severed:
    """What is left of crystals out of which a region is taken."""

    ice: PolygonArray  #: what stays
    open: tuple[Stub, ...] = ()  #: stubs behind which nothing is left
    bridges: tuple[Bridge, ...] = ()

    @property
    def spoilt(self) -> float:
        """Length of the cuts along flanks, mm."""
        return sum(float(shapely.length(stub.end)) for stub in self.stubs if stub.aslant)

    @property
    def stubs(self) -> tuple[Stub, ...]:
        """All from which something may grow on, or to which it may."""
        return (*self.open, *(stub for bridge in self.bridges for stub in (bridge.root, *bridge.tips)))


def severed(
    crystals: PolygonArray, region: BaseGeometry, zone: BaseGeometry, edges: BaseGeometry, *, depth_mm: float,
    least_mm: float,
) -> Severed:  # fmt: skip
    """The crystals with the region taken out of each.

    What reaches less than `depth_mm` into the region stays whole; a crystal that would be cut aslant at the region's
    rim is cut by as much, or twice as much, further in. Pieces that have lost their root go, if they lie in the zone;
    if they reach beyond it they stay, to be bridged to.

    Parameters
    ----------
    edges
        Lines on which the crystals' feet stand.
    least_mm
        Pieces in the zone that are nowhere so broad go.
    """
    depths = [(shapely.buffer(region, -k * depth_mm), shapely.buffer(region, -(k + 1) * depth_mm)) for k in range(3)]
    all_of_them = [
        min((_cut(shape, *at, zone, edges, least_mm) for at in depths), key=lambda cut: cut.spoilt)
        for shape in crystals
    ]  # fmt: skip
    return Severed(
        ice=geometry.stack(cut.ice for cut in all_of_them),
        open=tuple(stub for cut in all_of_them for stub in cut.open),
        bridges=tuple(bridge for cut in all_of_them for bridge in cut.bridges),
    )


def _cut(shape: BaseGeometry, region: BaseGeometry, *rest: Any) -> Severed:  # noqa: ANN401
    """One crystal with the region taken out, but not of stems that only graze it."""
    cut = _Crystal(shape, region, *rest).done()
    short = [
        shapely.buffer(geometry.lines(bridge.root.at[None], tip.at[None])[0], _HOLDS * max(bridge.root.half, tip.half))
        for bridge in cut.bridges for tip in bridge.tips
        if np.hypot(*(tip.at - bridge.root.at)) < _GRAZES * (bridge.root.half + tip.half)
    ]  # fmt: skip
    if not short:
        return cut
    return _Crystal(shape, geometry.solid(shapely.difference(region, shapely.union_all(short))), *rest).done()


@dataclass(eq=False)
class _Crystal:
    """One crystal: a tree of pieces that go and pieces that stay."""

    shape: BaseGeometry
    region: BaseGeometry
    inner: BaseGeometry
    zone: BaseGeometry
    edges: BaseGeometry
    least_mm: float
    open: list[Stub] = field(default_factory=list)
    bridges: list[Bridge] = field(default_factory=list)

    def done(self) -> Severed:
        pieces = geometry.parts(shapely.intersection(self.shape, self.region))
        self.gone = pieces[shapely.intersects(pieces, self.inner)]
        self.left = geometry.parts(shapely.difference(self.shape, shapely.union_all(self.gone)))
        self.ends = [[(k, stub) for k, left in enumerate(self.left) for stub in _stubs(left, gone)]
                     for gone in self.gone]  # fmt: skip
        counts = np.bincount([k for ends in self.ends for k, _ in ends], minlength=len(self.left))
        beyond = ~np.asarray(shapely.within(self.left, self.zone))
        self.matters = beyond | (counts > 1)
        self.held = np.asarray(shapely.dwithin(self.left, self.edges, _HAIR_MM))
        own_feet = np.asarray(shapely.dwithin(self.gone, self.edges, _HAIR_MM))
        if not (self.held.any() or own_feet.any()) and len(self.left):
            self.held[int(np.argmax(shapely.area(self.left)))] = True
        self._walk(set(np.flatnonzero(own_feet).tolist()))
        stays = self.held & ~shapely.is_empty(geometry.offset(self.left, -self.least_mm / 2)) | beyond
        return Severed(ice=self.left[stays], open=tuple(self.open), bridges=tuple(self.bridges))

    def _walk(self, own_feet: set[int]) -> None:
        """From the pieces that hold through those that go to what hung on them."""
        todo = set(range(len(self.gone)))
        while todo:
            at = next((j for j in sorted(todo) if any(self.held[k] for k, _ in self.ends[j])),
                      next((j for j in sorted(todo) if j in own_feet), None))  # fmt: skip
            if at is None:
                break
            todo.discard(at)
            roots = [stub for k, stub in self.ends[at] if self.held[k]]
            tips = [stub for k, stub in self.ends[at] if not self.held[k] and self.matters[k]]
            if not roots:
                roots = [stub for stub in _feet(self.gone[at], self.edges) if tips]
            self._tell(roots, tips)
            for k, _ in self.ends[at]:
                self.held[k] |= self.matters[k]

    def _tell(self, roots: list[Stub], tips: list[Stub]) -> None:
        broad = sorted(roots, key=lambda stub: (stub.aslant, -stub.half))
        ends = sorted(tips, key=lambda stub: (stub.aslant, -stub.half))
        if broad and ends:
            self.bridges.append(Bridge(root=broad[0], tips=tuple(ends)))
            broad, ends = broad[1:], []
        self.open += [*broad, *ends]


def _stubs(left: Any, gone: Any) -> list[Stub]:  # noqa: ANN401
    """Where one piece was cut off the other."""
    return _ends(geometry.union(left), shapely.intersection(shapely.boundary(gone), shapely.buffer(left, _HAIR_MM)))


def _ends(stem: BaseGeometry, line: BaseGeometry) -> list[Stub]:
    stubs = []
    for end in shapely.get_parts(shapely.line_merge(line) if line.geom_type == "MultiLineString" else line):
        length = float(shapely.length(end))
        if end.geom_type != "LineString" or length < 4 * _HAIR_MM:
            continue
        at = shapely.get_coordinates(shapely.line_interpolate_point(end, 0.5, normalized=True))[0]
        about = shapely.buffer(shapely.Point(at), max(_AROUND * length, _AROUND_MM))
        own = geometry.parts(shapely.intersection(stem, about))
        own = own[shapely.dwithin(own, end, _HAIR_MM)]
        if len(own) == 0:
            continue
        ahead = at - shapely.get_coordinates(shapely.centroid(shapely.union_all(own)))[0]
        ahead = ahead / max(float(np.hypot(*ahead)), 1e-9)
        chord = np.subtract(*shapely.get_coordinates(end)[[-1, 0]])
        long = max(float(np.hypot(*chord)), 1e-9)
        square = np.array([-chord[1], chord[0]]) / long
        sine = float(ahead @ square)
        if aslant := abs(sine) < _ACROSS:
            ahead = square * (1 if sine > 0 else -1)
        half = (_FLANK if aslant else abs(sine)) * long / 2
        stubs.append(Stub(at=at, ahead=ahead, half=half, end=end, aslant=aslant))
    return stubs


def _feet(gone: Any, edges: BaseGeometry) -> list[Stub]:  # noqa: ANN401
    """Where a piece that goes stands on an edge: as stubs that lead into it."""
    line = shapely.intersection(shapely.boundary(gone), shapely.buffer(edges, _HAIR_MM))
    return [replace(stub, ahead=-stub.ahead) for stub in _ends(gone, line)]
