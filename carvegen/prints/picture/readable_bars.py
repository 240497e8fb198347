"""What stays readable where snow falls: bars, near which it falls in single flakes, and lines and darks."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.prints.layers import runs_across
from carvegen.prints.picture.known import Known

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Mask, PolygonArray
    from carvegen.prints.file.print_file import PrintMotif
    from carvegen.prints.layers import LayeredDrawing
    from carvegen.prints.separation import Plate

__all__ = ["ReadableBars", "rims_along"]

_MOSTLY = 0.5  #: of a shape that is painted on another lies there
_BROAD = 4.0  #: of the largest flakes: what is so wide is no bar, and snow falls on it in masses, too; our own choice
_GROUND = 2.0  #: or so wide, if it runs from side to side: behind a hill they would end straight along its foot
_LINE = 2.0  #: of the smallest flakes: what is narrower in a paler ink is a line, and snow falls over it,
_LINE_LARGE = 1 / 3  #: or so much of the largest: a streak on water ends no mass straight; the same
_THICK = 0.8  #: of its area, or it is a line even so
_ALONG = 0.3  #: of its rim lies along what is dark, or it is no line by itself,
_BESIDE_MM = 0.3  #: so near: the same
_GAP = 5.0  #: lands: paper no wider is a line in a thing, as between boards, and a flake goes on across it
_PLAIN = 0.02  #: of a width, how near to an outline is near enough to tell so
_NOTHING = shapely.Polygon()


@dataclass(frozen=True, kw_only=True, eq=False)
class ReadableBars:
    """What of a drawing stays readable where snow falls."""

    drawing: LayeredDrawing
    plates: Sequence[Plate]  #: the blocks that print ink
    pictures: Mapping[str, BaseGeometry]  #: what of the picture is in the ink of each
    _known: Known = field(default_factory=Known, init=False, repr=False)  #: of names of blocks or layers

    def bars_and_figures(
        self, motif: PrintMotif, leaves: frozenset[str]
    ) -> tuple[BaseGeometry, tuple[BaseGeometry, BaseGeometry]]:
        """Bars, near which snow falls in single flakes, not in masses, and figures that these flakes must not harm.

        Bars are what of the darkest ink is no broad ground, and boards and posts of paler ones but the palest. Figures
        are lines and darks by themselves, and as things with all that is on them. Of inks no more counts than their
        order: another colour changes no shape.
        """
        dark, names = self.dark(leaves)
        whole = self.drawing.union(names)  # what stands before parts none
        things = self._known.once(("things", leaves), lambda: shapely.union(dark, self._painted_on(whole, names)))
        largest, ground = motif.settings.largest_mm, self._ground_of(names)
        broad = shapely.union(_broad(whole, _BROAD * largest), _broad(ground, _GROUND * largest))
        pale = [self._pale_bars(plate, motif, self._beside(leaves)) for plate in self._pale(leaves)]
        bars, all_ = (
            geometry.union(geometry.parts(each), *pale) for each in (shapely.difference(things, broad), things)
        )
        return bars, (dark, all_)

    def dark(self, leaves: frozenset[str]) -> tuple[BaseGeometry, frozenset[str]]:
        """What the darkest of several inks shows, but where it is the ground; and the layers that it prints."""
        return self._known.once(("dark", leaves), lambda: self._darkest(leaves))

    def paper(self, limits: Limits) -> BaseGeometry:
        """What of the face no block prints, where that is no gap between things."""
        return self._known.once(("paper", limits), lambda: self._bare(_GAP * limits.land_mm))

    def _bare(self, width: float) -> BaseGeometry:
        print_ = self.drawing.print_
        dabbed = [self.drawing.union(block.layers) for block in print_.blocks if block.role == "stencil"]
        ink = shapely.union_all([*self.pictures.values(), *dabbed])
        face = geometry.box(print_.width_mm, print_.height_mm)
        sheet = shapely.difference(shapely.buffer(face, width), ink)  # beside the face the paper goes on
        pieces = geometry.parts(shapely.intersection(shapely.difference(face, ink), _broad(sheet, width)))
        return geometry.union(pieces[shapely.area(pieces) > width**2 / 2])  # not where a gap meets the face's edge

    def _darkest(self, leaves: frozenset[str]) -> tuple[BaseGeometry, frozenset[str]]:
        least, *lighter = sorted({plate.lightness for plate in self.plates})
        dark = [
            plate for plate in self.plates
            if lighter and plate.lightness == least and plate.name in leaves and not (plate.ground or plate.under_all)
        ]  # fmt: skip
        shown = geometry.union(geometry.polygon_array(self.pictures[plate.name] for plate in dark))
        return shown, frozenset(name for plate in dark for name in plate.layers)

    def _beside(self, leaves: frozenset[str]) -> BaseGeometry:
        """What is dark, and a little round it."""
        return self._known.once(
            ("beside", leaves), lambda: shapely.buffer(self.dark(leaves)[0], _BESIDE_MM, quad_segs=2)
        )

    def _pale(self, leaves: frozenset[str]) -> list[Plate]:
        """The plates of all inks but the darkest and the palest."""
        between = sorted({plate.lightness for plate in self.plates})[1:-1]
        return [plate for plate in self.plates if plate.name in leaves and plate.lightness in between]

    def _pale_bars(self, plate: Plate, motif: PrintMotif, beside: BaseGeometry = _NOTHING) -> PolygonArray:
        """What a paler ink shows that is all bars: of things with a broad part none, and no lines, as waves are."""
        if plate.ground or plate.under_all:
            return geometry.empty()
        wide, parts = _BROAD * motif.settings.largest_mm, geometry.parts([self.pictures[plate.name]])
        lines = _lines(parts, motif, beside)
        ground = shapely.intersects(parts, self._ground_of(plate.layers))
        broad = np.where(ground, _GROUND * motif.settings.largest_mm, wide)
        return parts[~lines & shapely.is_empty(shapely.buffer(parts, -broad / 2, quad_segs=4))]

    def hiding(self, motif: PrintMotif, names: Collection[str], leaves: frozenset[str]) -> BaseGeometry:
        """What of these layers hides the snow behind it: all but lines of inks that are not the darkest."""
        _, darkest = self.dark(leaves)
        if not darkest:
            return self.drawing.union(names)
        pale = geometry.parts(self.drawing.union([name for name in names if name not in darkest]))
        darks = geometry.parts(self.drawing.union([name for name in names if name in darkest]))
        return geometry.union(darks, pale[~_lines(pale, motif, self._beside(leaves))])

    def _ground_of(self, names: frozenset[str]) -> BaseGeometry:
        """What of these layers is drawn from one side of the face to the other, whatever stands before it."""

        def made() -> BaseGeometry:
            parts = geometry.parts(self.drawing.union(names))
            before = self.drawing.union([layer.name for layer in self.drawing.in_front_of(names)])
            return geometry.union(parts[runs_across(parts, self.drawing.print_.width_mm, before)])

        return self._known.once(("ground", names), made)

    def _painted_on(self, things: BaseGeometry, names: frozenset[str]) -> BaseGeometry:
        """What other layers show in front of things and mostly on them or in their holes, as bands on posts."""
        others = [layer for layer in self.drawing.in_front_of(names) if layer.name not in names]
        parts = geometry.stack(geometry.parts(layer.shape) for layer in others)
        things = geometry.union(geometry.filled(geometry.parts(things)))  # a band may be left out of what it is on
        shapely.prepare(things)
        parts = parts[shapely.intersects(things, parts)]
        on = shapely.area(shapely.intersection(parts, things)) > _MOSTLY * shapely.area(parts)
        return geometry.union(parts[on])


def _lines(parts: PolygonArray, motif: PrintMotif, beside: BaseGeometry) -> Mask:
    """Which parts of a picture are so narrow beside flakes that these fall over them; none along what is dark; (n,).

    That is a part of the dark thing, as the shaded side of a deck is.
    """
    line = max(_LINE * motif.settings.smallest_mm, _LINE_LARGE * motif.settings.largest_mm)
    thick = shapely.buffer(shapely.buffer(parts, -line / 2, quad_segs=4), line / 2, quad_segs=4)
    rims = shapely.boundary(parts)
    along = shapely.length(shapely.intersection(rims, beside))
    thin = shapely.area(thick) < _THICK * shapely.area(parts)
    return np.asarray(thin & (along < _ALONG * shapely.length(rims)))


def rims_along(paper: BaseGeometry, things: BaseGeometry) -> BaseGeometry:
    """The rims of things along bare paper, which are bars however broad the things are: a mass would only bite."""
    return geometry.solid(shapely.intersection(things, shapely.buffer(paper, _BESIDE_MM, quad_segs=2)))


def _broad(shape: BaseGeometry, width: float) -> BaseGeometry:
    """Where a shape is so wide, and a little round that."""
    plain = shapely.simplify(shape, _PLAIN * width)
    return shapely.buffer(shapely.buffer(plain, -width / 2, quad_segs=4), 0.75 * width, quad_segs=4)
