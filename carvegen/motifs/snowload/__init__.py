"""Snow that lies on what is drawn: trees, roofs, posts, ropes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.parameters import (
    angle,
    check_all,
    length,
    share,
)
from carvegen.motifs.growth import Growth
from carvegen.motifs.shared.fields import noise_at, ranks
from carvegen.motifs.shared.minimum_width import (
    closed,
    held,
    loosened,
    opened,
    standing,
    thin_parts,
)
from carvegen.motifs.snowload.bearing import bearer
from carvegen.motifs.snowload.clumps import loads
from carvegen.motifs.snowload.heaps import (
    Heaps,
    bands,
    cuttable,
    lenses,
    strips,
)
from carvegen.motifs.snowload.open_sky import obstacles
from carvegen.motifs.snowload.sliding import come_down
from carvegen.motifs.snowload.snowpack import (
    Snow,
    cap_mm,
    caught,
    depths,
    held_share,
)
from carvegen.motifs.snowload.surfaces import contours, smoothed, upper

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.random import Generator
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
    )
    from carvegen.motifs.growth import Place
    from carvegen.motifs.snowload.clumps import Loads
    from carvegen.motifs.snowload.surfaces import Surfaces

__all__ = ["PRESETS", "Settings", "grow"]


@dataclass(frozen=True, kw_only=True)
class Settings:
    """How the snow lies."""

    fallen_mm: float = length(3.5, at_least=0.2, at_most=60, help="depth on an open, level, wide place, on the paper")
    sticky: float = share(0.45, help="0: loose and cold, slides off slopes; 1: wet, clings to steep places")
    bridging_mm: float = length(1.2, at_least=0, at_most=30, help="gaps up to this wide are bridged")
    patchy: float = share(0.3, help="share of the snow's places that stay bare or thin")
    lumpy: float = share(0.5, help="0: smooth heaps; 1: lumps upon lumps")
    wind: float = share(0.2, help="0: still air; 1: a gale")
    wind_towards_deg: float = angle(-30.0, help="direction in which the snow is driven; 0 is to the right, -90 down")
    shelter_mm: float = length(
        18.0, at_least=1, at_most=10_000, help="what stands higher above than this shelters no more"
    )
    reaching_down: float = share(0.4, help="how far the white reaches down over what it lies on")
    bark: float = share(0.5, help="how often bark, needles and ropes show dark through the snow")
    detail_mm: float = length(0.7, at_least=0, at_most=20, help="twigs and needles thinner than this carry none")
    detail_kept: float = share(0.6, help="share of such twigs and needles that stay in sight")

    def __post_init__(self) -> None:
        check_all(self)


#: Snow by name: what differs from the defaults.
PRESETS: Mapping[str, Mapping[str, float]] = {
    "fresh": {},
    "dusting": {"fallen_mm": 1.4, "patchy": 0.4, "sticky": 0.45, "bridging_mm": 0.5, "bark": 0.7, "detail_kept": 0.9},
    "deep": {"fallen_mm": 7.0, "patchy": 0.12, "bridging_mm": 3.0, "sticky": 0.68, "bark": 0.35, "detail_kept": 0.3},
    "windblown": {"fallen_mm": 3.2, "wind": 0.7, "patchy": 0.45, "sticky": 0.5, "lumpy": 0.35, "bark": 0.6},
    "wet": {"fallen_mm": 4.5, "sticky": 0.9, "bridging_mm": 3.0, "patchy": 0.2, "lumpy": 0.7, "bark": 0.4},
}

_SLACK_MM = 0.02
_FINEST_STEP_MM = 0.12
_NEAR_EDGE_MM = 1.0  #: shapes that end so near the area's edge are cut off by it
_THIN_MM = 3.0  #: what is thinner hides the sky half: snow drifts past it
_TIED, _TIED_MM = 2.0, 0.5  #: what a gap ties to others counts for twice as broad and a little more, no more
_STREAK_MM = 4.0  #: shorter streaks of driven snow are left out
_CALM = 0.3  #: of the depth fallen: notches narrower than this are filled
_CALM_MM = 0.2  #: and a little of the depth fallen: over so much the edges are smoothed
_TAPERS = 1.3  #: times the depth: where heaps run out thin, smoothing makes them no thicker
_THIN_END_MM = 1.0  #: heaps thinner than half of that reach down less
_FLOWS = 0.2  #: and this share of the depth fallen: over so much the lower line is smoothed
_SAGS = 0.06  #: how far the lower line of a cap hangs, by the cap's breadth
_NARROW = 1.5  #: of the depth fallen, and 4 mm: what is as narrow bears a cap, what is twice as broad does not
_STEEP, _STEEPEST = 0.8, 0.35  #: upward part of the normal: on steeper sides snow reaches down less, and not at all
_EASED = 0.3  #: of the depth fallen: over about so much the snow evens the slope that it lies on
_SAMPLES = 40_000  #: along all outlines, about


def grow(settings: Settings, place: Place, limits: Limits, rng: Generator) -> Growth:
    """Snow on the place's shapes.

    Parameters
    ----------
    place
        What the snow lies on, where anything may be cut, and how thick it lies where (`density`).
    limits
        Any two cuts end at least ``limits.land_mm`` apart, no part is narrower than ``limits.cut_mm``, and what is
        left of the shapes is no narrower than the land where it was not so before.

    Returns
    -------
    Growth
        Heaps; their parts on the shapes; a fringe at the ragged edges. All may be empty.
    """
    silhouette = geometry.solid(shapely.intersection(shapely.disjoint_subset_union_all(place.shapes), place.area))
    solid = bearer(silhouette, bridging_mm=settings.bridging_mm, detail_mm=settings.detail_mm)
    if len(solid) == 0:
        return Growth(cuts=geometry.empty())
    load = _Load(settings, place, limits, silhouette, solid)
    heaping, showing, fraying = rng.spawn(3)
    heaps = load.heaps(heaping)
    white = shapely.disjoint_subset_union_all(np.concatenate([load.calm(strips(heaps)), load.driven(heaping)]))
    dark = shapely.disjoint_subset_union_all(
        np.concatenate([load.bark(heaps, white, showing), load.twigs(white, showing)])
    )
    printed = standing(silhouette, limits.land_mm, near=white)
    area = _within_edge(place.area, limits.land_mm)
    cuts = held(
        _on_edges(shapely.difference(white, dark), silhouette),
        area,
        limits,
        printed=printed,
    )
    return Growth(
        cuts=cuts,
        on_shapes=geometry.parts(shapely.intersection(cuts, silhouette)),
        free=loosened(cuts, load.fringe(heaps, dark, fraying), area, limits, printed=printed),
    )


def _within_edge(area: BaseGeometry, land_mm: float) -> BaseGeometry:
    """The area but for a land along the face's edge: snow that ran out at a slant would leave a tip of land there."""
    left, bottom, right, top = shapely.bounds(area)
    by = land_mm + _SLACK_MM
    return geometry.solid(shapely.intersection(area, shapely.box(left + by, bottom + by, right - by, top - by)))


def _on_edges(white: BaseGeometry, silhouette: BaseGeometry) -> BaseGeometry:
    """The white without crumbs that notches and slivers of bark have cut off from what lies on the edges."""
    pieces = geometry.parts(white)
    shapely.prepare(silhouette)
    return shapely.disjoint_subset_union_all(pieces[~shapely.contains_properly(silhouette, pieces)])


class _Load:
    """The snow's settings, what it lies on, and what follows from both."""

    def __init__(
        self, settings: Settings, place: Place, limits: Limits, silhouette: BaseGeometry, solid: PolygonArray
    ) -> None:
        self.settings, self.place, self.limits, self.silhouette = settings, place, limits, silhouette
        length_mm = float(shapely.length(solid).sum())
        step = max(_FINEST_STEP_MM, min(limits.cut_mm / 2, settings.fallen_mm / 8), length_mm / _SAMPLES)
        self.outlines = contours(solid, step_mm=step, smooth_mm=0.3)
        self.surface = upper(self.outlines)
        self.slopes = self.surface.eased(over_mm=_EASED * settings.fallen_mm)
        self.obstacles = obstacles(solid)
        self.drawn = obstacles(geometry.parts(shapely.simplify(silhouette, 0.02)))
        self.sheltering = [self.obstacles]
        broad = geometry.parts(opened(shapely.simplify(solid, 0.1), _THIN_MM, quad_segs=2))
        if len(broad):
            self.sheltering.append(obstacles(broad))
        self.snow = Snow(fallen_mm=settings.fallen_mm, sticky=settings.sticky)

    def calm(self, heaped: PolygonArray) -> PolygonArray:
        """Heaps without notches: inlets of each that are narrower than a share of the depth fallen are filled."""
        filled = closed(shapely.simplify(heaped, 0.01), _CALM * self.settings.fallen_mm, quad_segs=3)
        return geometry.parts(shapely.make_valid(filled))

    @property
    def fall(self) -> Floats:
        """The direction in which snow falls, a unit vector."""
        wind, towards = self.settings.wind, np.radians(self.settings.wind_towards_deg)
        way = np.array([wind * np.cos(towards), wind * np.sin(towards) - (1 - wind)])
        return np.asarray(way / max(np.hypot(*way), 1e-9))

    def heaps(self, rng: Generator) -> Heaps:
        """How deep it lies, and how far it reaches down, everywhere."""
        surface, slopes, settings, limits = self.surface, self.slopes, self.settings, self.limits
        outside = surface.xy + surface.normal * 2 * self.obstacles.pixel
        inside = surface.xy - surface.normal * 2 * self.obstacles.pixel
        thick = self._breadth(inside) * surface.normal[:, 1]
        arriving = caught(self._seen(outside)) * self.place.density_at(surface.xy)
        holds = held_share(slopes, self.snow) > 0
        loads = self._loads(thick, holds & (arriving > 0), rng)
        slid = come_down(slopes, arriving, holds, self.obstacles)
        goes_on = self._cut_off()
        depth = depths(
            slopes, self.snow, arriving=arriving, slid=slid, breadth=thick, goes_on=goes_on, loads=loads
        )  # fmt: skip
        up = self.obstacles.distance(outside, np.array([[0.0, 1.0]]), 2 * settings.fallen_mm + limits.land_mm)
        depth = np.clip(np.minimum(depth, up[:, 0] - limits.land_mm), 0, None)
        room = np.clip(thick - 1.2 * limits.land_mm, 0, 0.55 * thick) / np.maximum(surface.normal[:, 1], 0.2)
        reach = 0.6 * depth + 0.4 * np.sqrt(0.4 * depth * settings.fallen_mm)
        calm_mm = _CALM_MM + 0.1 * settings.fallen_mm
        reach *= np.clip(
            (np.minimum(slopes.normal[:, 1], surface.normal[:, 1]) - _STEEPEST) / (_STEEP - _STEEPEST), 0, 1
        )
        below = room * (1 - np.exp(-reach * self._ragged(loads.which, rng) / np.maximum(room, 1e-6)))
        square = slopes.normal[:, 1]
        more = cuttable(depth * square, below * square, loads.which, slopes.width, limits.cut_mm)
        thin = _TAPERS * (depth + np.clip(2 * depth - _THIN_END_MM, 0, None))
        hung = np.minimum(self._flowing(depth, below), thin)
        lean = float(np.clip(0.4 * self.fall[0], -0.3, 0.3))
        return Heaps(
            slopes,
            np.minimum(surface.softened(depth * more, over_mm=calm_mm), _TAPERS * depth * more),
            np.clip(np.where(more > 1, below * more, hung), 0, room),
            lean,
        )

    def _flowing(self, depth: Floats, below: Floats) -> Floats:
        """How far the white reaches down with its lower line drawn smoothly across each stretch, (n,)."""
        over = (_CALM_MM + _FLOWS * self.settings.fallen_mm) / self.outlines.step
        heap = self.surface.stretches(depth > 0)
        y = heap.xy[:, 1]
        narrow, hung = self._hung(heap, below)
        below = (1 - narrow) * below + narrow * hung
        low = smoothed(y - below, heap.left, heap.right, over=min(over, 9.0))
        return np.where(depth > 0, (y - low) * np.clip(heap.normal[:, 1] / _STEEPEST, 0, 1), 0.0)

    def _hung(self, heap: Surfaces, below: Floats) -> tuple[Floats, Floats]:
        """How narrow each stretch is (1: bears a cap, 0: a layer); how far down to a line hung from end to end, mm."""
        x, y = heap.xy.T
        deep = self.settings.fallen_mm
        mean = (np.bincount(heap.run, below, minlength=1) / np.maximum(np.bincount(heap.run, minlength=1), 1))[heap.run]
        first = np.flatnonzero(np.diff(heap.run, prepend=-1))
        last = np.append(first[1:], len(heap)) - 1
        start, end = first[heap.run], last[heap.run]
        wide = np.maximum(x[end] - x[start], 1e-6)
        share = (x - x[start]) / wide
        line = (
            y[start]
            + (y[end] - y[start]) * share
            - (_SAGS * wide + np.minimum(0.7 * mean, 0.12 * wide)) * 4 * share * (1 - share)
        )
        narrow = np.clip(2 - wide / (_NARROW * deep + 4), 0, 1) * min(1.0, 2.5 * self.settings.reaching_down)
        return narrow, np.clip(y - line, 0, deep)

    def _breadth(self, inside: Floats) -> Floats:
        """How broad what bears the snow is; a rope stays thin where a bridged gap ties it to what is below it."""
        bridged, own = self.obstacles.thickness(inside), self.drawn.thickness(inside)
        return np.where(own > 0, np.minimum(bridged, _TIED * own + _TIED_MM), bridged)

    def _loads(self, thick: Floats, bears: Mask, rng: Generator) -> Loads:
        """How the snow gathers: short loads on thin things, long ones on broad things."""
        settings, deep = self.settings, self.settings.fallen_mm
        size = 1.5 + 1.2 * self.limits.cut_mm + 2.6 * np.minimum(deep, cap_mm(thick, settings.sticky))
        return loads(self.slopes, bears, size, lumpy=settings.lumpy, patchy=settings.patchy, rng=rng)

    def _seen(self, outside: Floats) -> Floats:
        """The share of the sky seen, more where the surface faces the driven snow; thin things hide half as much."""
        fall, surface = self.fall, self.surface
        way = float(np.degrees(np.arctan2(fall[1], fall[0])))
        seen = [it.open_sky(outside, fall_deg=way, reach_mm=self.settings.shelter_mm) for it in self.sheltering]
        faces = -(surface.normal @ fall) / np.maximum(-surface.normal[:, 1] * min(fall[1], -0.2), 1e-3)
        return np.asarray(np.mean(seen, axis=0) * np.clip(faces, 0, 1.5))

    def _cut_off(self) -> Mask:
        """Samples where the shapes are cut off by the area's edge, and the snow runs on."""
        left, _, right, _ = self.place.area.bounds
        x = self.surface.xy[:, 0]
        return np.asarray((x < left + _NEAR_EDGE_MM) | (x > right - _NEAR_EDGE_MM))

    def _ragged(self, which: Indices, rng: Generator) -> Floats:
        """How far the white reaches down, as a share of its depth: each load its own, with narrow dark notches."""
        xy, settings, land = self.surface.xy, self.settings, self.limits.land_mm
        steep = 1 + 1.3 * np.sqrt(1 - self.slopes.normal[:, 1] ** 2)
        load = steep * rng.uniform(0.35, 1.9, int(which.max(initial=-1)) + 1)[which]
        coarse = noise_at(xy, rng, patch_mm=2 * settings.fallen_mm + 3, octaves=1)
        fine = noise_at(xy, rng, patch_mm=1.5 + 0.4 * settings.fallen_mm + 3 * land, octaves=1)
        notch = np.clip(1 - np.abs(fine) / 0.3, 0, 1) * np.clip(2.5 * coarse, 0, 1)
        teeth = (1 + settings.bark * coarse) * (1 - settings.bark * notch)
        return np.asarray(1.9 * settings.reaching_down * load * np.clip(teeth, 0.03, None))

    def driven(self, rng: Generator) -> PolygonArray:
        """Snow driven against steep sides: a few long streaks where the wind is strong enough."""
        outlines, settings = self.outlines, self.settings
        steep = outlines.normal[:, 1] < np.cos(np.radians(self.snow.repose_deg))
        faces = np.clip((-outlines.normal[:, 0] * self.fall[0] - 0.22) / 0.4, 0, 1) * steep
        faces *= (outlines.normal[:, 1] > -0.35) * self.place.density_at(outlines.xy)
        patch = 2 * settings.fallen_mm + 7
        long = noise_at(outlines.xy, rng, patch_mm=patch, octaves=1)
        ragged = noise_at(outlines.xy, rng, patch_mm=1.5 + 3 * self.limits.land_mm, octaves=1)
        inward = np.clip(0.55 - settings.patchy + 1.3 * long, 0, 1) * (1 + 0.7 * settings.bark * ragged)
        inward *= (1.2 + 0.35 * settings.fallen_mm) * faces
        behind = outlines.xy - outlines.normal * (2 * inward + 2 * self.limits.land_mm)[:, None]
        shapely.prepare(self.silhouette)
        thick = np.where(shapely.contains_xy(self.silhouette, behind[:, 0], behind[:, 1]), inward, 0)
        streaks = bands(outlines, thick)
        return streaks[shapely.length(streaks) > 2 * _STREAK_MM + 8 * self.limits.cut_mm]

    def bark(self, heaps: Heaps, white: BaseGeometry, rng: Generator) -> PolygonArray:
        """Slivers of the dark that show through as long islands, where the white is deep enough to hold them."""
        land, cut = self.limits.land_mm, self.limits.cut_mm
        deep = heaps.below > 1.8 * land + 1.2 * cut
        long_mm, run = 3 + 7 * land, self.surface.stretches(heaps.above > 0).run
        deep &= np.bincount(run, self.surface.width, minlength=1)[run] > 2.5 * long_mm
        chance = self.settings.bark * deep * self.surface.width / (2 + 5 * land)
        drawn = lenses(heaps, chance, long_mm=long_mm, thick_mm=1.15 * land, rng=rng)
        drawn = geometry.joined(geometry.parts(opened(drawn, land + 0.03)))
        shapely.prepare(white)
        return np.asarray(drawn[shapely.contains_properly(white, geometry.offset(drawn, 1.1 * cut, quad_segs=2))])

    def twigs(self, white: BaseGeometry, rng: Generator) -> PolygonArray:
        """Twigs and needles too thin to bear snow that stay in sight, with land enough to stand in.

        Those that poke out of the white do so more often than those it buries.
        """
        if self.settings.detail_mm == 0 or self.settings.detail_kept == 0:
            return geometry.empty()
        thin = thin_parts(self.silhouette, self.settings.detail_mm, near=white)
        thin = thin[shapely.area(thin) > self.settings.detail_mm**2 / 8]
        thin = thin[shapely.STRtree(thin).query(white, predicate="intersects")]
        if len(thin) == 0:
            return thin
        middle = shapely.get_coordinates(shapely.centroid(thin))
        noise = noise_at(middle, rng, patch_mm=3.0, octaves=2)
        shapely.prepare(white)
        buried = shapely.contains_properly(white, thin)
        kept = self.settings.detail_kept * np.where(buried, self.settings.detail_kept, 1.0) > ranks(noise)
        return geometry.offset(thin[kept], self.limits.land_mm / 2 + 0.02, quad_segs=2)

    def fringe(self, heaps: Heaps, dark: BaseGeometry, rng: Generator) -> BaseGeometry:
        """How far the carver may go along top and lower edge, in patches; the heaps included."""
        xy, deep = self.surface.xy, self.settings.fallen_mm
        more = [np.clip(noise_at(xy, rng, patch_mm=deep + 2, octaves=2), 0, None) * (0.3 + 0.1 * deep) for _ in "ab"]
        wide = Heaps(
            heaps.surface,
            np.where(heaps.above > 0, heaps.above + more[0], 0),
            np.where(heaps.below > 0, heaps.below + more[1], 0),
            heaps.lean,
        )
        reach = shapely.difference(shapely.disjoint_subset_union_all(strips(wide)), dark)
        return shapely.intersection(reach, self.place.area)
