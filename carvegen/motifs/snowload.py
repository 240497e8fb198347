"""Snow that lies on what is drawn: trees, roofs, posts, ropes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.growth import Growth
from carvegen.nature.fields import noise_at, ranks
from carvegen.nature.heaps import Heaps, bands, lenses, strips
from carvegen.nature.holding import closed, held, opened, standing, thin_parts, tiled
from carvegen.nature.sky import obstacles
from carvegen.nature.snowpack import Snow, depths
from carvegen.nature.surfaces import contours, upper
from carvegen.parameters import angle, check_all, length, share

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.random import Generator
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import Floats, Mask, PolygonArray
    from carvegen.growth import Place
    from carvegen.limits import Limits

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
    "dusting": {"fallen_mm": 1.4, "patchy": 0.5, "sticky": 0.3, "bridging_mm": 0.5, "bark": 0.7, "detail_kept": 0.9},
    "deep": {"fallen_mm": 7.0, "patchy": 0.12, "bridging_mm": 3.0, "sticky": 0.5, "bark": 0.35, "detail_kept": 0.3},
    "windblown": {"fallen_mm": 3.2, "wind": 0.7, "patchy": 0.45, "sticky": 0.5, "lumpy": 0.35, "bark": 0.6},
    "wet": {"fallen_mm": 4.5, "sticky": 0.9, "bridging_mm": 3.0, "patchy": 0.2, "lumpy": 0.7, "bark": 0.4},
}

_FINEST_STEP_MM = 0.12
_NEAR_EDGE_MM = 1.0  #: shapes that end so near the area's edge are cut off by it
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
    silhouette = shapely.intersection(shapely.union_all(place.shapes), place.area)
    bearer = _bearer(silhouette, settings)
    if len(bearer) == 0:
        return Growth(cuts=geometry.empty())
    load = _Load(settings, place, limits, silhouette, bearer)
    heaping, showing, fraying = rng.spawn(3)
    heaps = load.heaps(heaping)
    white = shapely.union_all(np.concatenate([strips(heaps), load.driven(heaping)]))
    dark = shapely.union_all(np.concatenate([load.bark(heaps, showing), load.twigs(white, showing)]))
    cuts = held(
        shapely.difference(white, dark), place.area, limits, printed=standing(silhouette, limits.land_mm, near=white)
    )
    return Growth(
        cuts=cuts,
        on_shapes=geometry.parts(shapely.intersection(cuts, silhouette)),
        free=load.fringe(heaps, cuts, dark, fraying),
    )


def _bearer(silhouette: BaseGeometry, settings: Settings) -> PolygonArray:
    """What bears snow: the shapes with small gaps bridged and without what is too thin."""
    bridge, detail = settings.bridging_mm, settings.detail_mm
    pieces = tiled(
        shapely.simplify(silhouette, 0.02),
        lambda tile: opened(closed(tile, bridge, quad_segs=2), detail, quad_segs=2),
        reach_mm=bridge + detail,
    )
    return geometry.parts(shapely.union_all(pieces, grid_size=geometry.GRID_MM))


class _Load:
    """The snow's settings, what it lies on, and what follows from both."""

    def __init__(
        self, settings: Settings, place: Place, limits: Limits, silhouette: BaseGeometry, bearer: PolygonArray
    ) -> None:
        self.settings, self.place, self.limits, self.silhouette = settings, place, limits, silhouette
        length_mm = float(shapely.length(bearer).sum())
        step = max(_FINEST_STEP_MM, min(limits.cut_mm / 2, settings.fallen_mm / 8), length_mm / _SAMPLES)
        self.outlines = contours(bearer, step_mm=step, smooth_mm=0.3)
        self.surface = upper(self.outlines)
        self.obstacles = obstacles(bearer)
        self.snow = Snow(fallen_mm=settings.fallen_mm, sticky=settings.sticky)

    @property
    def fall(self) -> Floats:
        """The direction in which snow falls, a unit vector."""
        wind, towards = self.settings.wind, np.radians(self.settings.wind_towards_deg)
        way = np.array([wind * np.cos(towards), wind * np.sin(towards) - (1 - wind)])
        return np.asarray(way / max(np.hypot(*way), 1e-9))

    def heaps(self, rng: Generator) -> Heaps:
        """How deep it lies, and how far it reaches down, everywhere."""
        surface, settings = self.surface, self.settings
        outside = surface.xy + surface.normal * 2 * self.obstacles.pixel
        inside = surface.xy - surface.normal * 2 * self.obstacles.pixel
        thick = self.obstacles.thickness(inside) * surface.normal[:, 1]
        depth = depths(
            surface,
            self.snow,
            sky=self._caught(outside),
            breadth=thick,
            goes_on=self._cut_off(),
            lumps=self._lumps(rng),
            bare=self._bare(rng),
        )
        depth = depth * self.place.density_at(surface.xy)
        up = self.obstacles.distance(outside, np.array([[0.0, 1.0]]), 2 * settings.fallen_mm + self.limits.land_mm)
        depth = np.clip(np.minimum(depth, up[:, 0] - self.limits.land_mm), 0, None)
        room = np.clip(thick - 1.2 * self.limits.land_mm, 0, 0.55 * thick) / np.maximum(surface.normal[:, 1], 0.2)
        lean = float(np.clip(0.4 * self.fall[0], -0.3, 0.3))
        below = room * (1 - np.exp(-depth * self._ragged(rng) / np.maximum(room, 1e-6)))
        return Heaps(surface, surface.softened(depth, over_mm=0.35), surface.softened(below, over_mm=0.2), lean)

    def _caught(self, outside: Floats) -> Floats:
        """The share of the sky seen, more where the surface faces the driven snow."""
        fall = self.fall
        open_sky = self.obstacles.open_sky(
            outside, fall_deg=float(np.degrees(np.arctan2(fall[1], fall[0]))), reach_mm=self.settings.shelter_mm
        )
        faces = -(self.surface.normal @ fall) / np.maximum(-self.surface.normal[:, 1] * min(fall[1], -0.2), 1e-3)
        return np.asarray(open_sky * np.clip(faces, 0, 1.5))

    def _cut_off(self) -> Mask:
        """Samples where the shapes are cut off by the area's edge, and the snow runs on."""
        left, _, right, _ = self.place.area.bounds
        x = self.surface.xy[:, 0]
        return np.asarray((x < left + _NEAR_EDGE_MM) | (x > right - _NEAR_EDGE_MM))

    def _lumps(self, rng: Generator) -> Floats:
        """Lumps of three sizes as factors of the depth: round tops, narrow dips."""
        xy, deep = self.surface.xy, self.settings.fallen_mm
        lumps = [
            weight * (0.45 - np.abs(noise_at(xy, rng, patch_mm=patch, octaves=1)))
            for weight, patch in ((1.1, 2.6 * deep + 4), (0.75, 1.1 * deep + 1.5), (0.25, 0.5 * deep + 1))
        ]
        return np.asarray(np.clip(1 + 1.4 * self.settings.lumpy * sum(lumps), 0.1, None))

    def _bare(self, rng: Generator) -> Mask:
        """Patches left bare."""
        xy, deep = self.surface.xy, self.settings.fallen_mm
        noise = noise_at(xy, rng, patch_mm=4 * deep + 7, octaves=1)
        return np.asarray(ranks(noise) < 0.7 * self.settings.patchy)

    def _ragged(self, rng: Generator) -> Floats:
        """How far the white reaches down, as a share of its depth."""
        xy, settings = self.surface.xy, self.settings
        coarse = noise_at(xy, rng, patch_mm=settings.fallen_mm + 1.5, octaves=1)
        fine = noise_at(xy, rng, patch_mm=1.2 + 2 * self.limits.land_mm, octaves=1)
        rough = np.clip(0.5 + noise_at(xy, rng, patch_mm=9.0, octaves=1), 0, 1)
        teeth = 1 + settings.bark * (1.1 * coarse + 1.3 * rough * fine)
        return np.asarray(1.5 * settings.reaching_down * np.clip(teeth, 0.05, None))

    def driven(self, rng: Generator) -> PolygonArray:
        """Thin lines of snow driven against steep sides."""
        outlines, settings = self.outlines, self.settings
        steep = outlines.normal[:, 1] < np.cos(np.radians(self.snow.repose_deg))
        faces = np.clip((-outlines.normal[:, 0] * self.fall[0] - 0.05) / 0.4, 0, 1) * steep
        faces *= outlines.normal[:, 1] > -0.35
        noise = noise_at(outlines.xy, rng, patch_mm=settings.fallen_mm + 5, octaves=2)
        faces *= self.place.density_at(outlines.xy)
        inward = (0.6 + 0.12 * settings.fallen_mm) * faces * np.clip(0.75 - settings.patchy + 1.6 * noise, 0, 1.6)
        behind = outlines.xy - outlines.normal * (2 * inward + 2 * self.limits.land_mm)[:, None]
        shapely.prepare(self.silhouette)
        return bands(outlines, np.where(shapely.contains_xy(self.silhouette, behind[:, 0], behind[:, 1]), inward, 0))

    def bark(self, heaps: Heaps, rng: Generator) -> PolygonArray:
        """Slivers of the dark that show through, no narrower than the land."""
        land = self.limits.land_mm
        chance = self.settings.bark * np.clip(heaps.below / land - 0.6, 0, 1) * self.surface.width / (2 + 8 * land)
        drawn = lenses(heaps, chance, long_mm=3 + 6 * land, thick_mm=land + 0.05, rng=rng)
        return geometry.parts(opened(shapely.intersection(shapely.union_all(drawn), self.silhouette), land + 0.03))

    def twigs(self, white: BaseGeometry, rng: Generator) -> PolygonArray:
        """Twigs and needles too thin to bear snow that stay in sight, with land enough to stand in."""
        if self.settings.detail_mm == 0 or self.settings.detail_kept == 0:
            return geometry.empty()
        thin = thin_parts(self.silhouette, self.settings.detail_mm, near=white)
        thin = thin[shapely.area(thin) > self.settings.detail_mm**2 / 8]
        thin = thin[shapely.STRtree(thin).query(white, predicate="intersects")]
        if len(thin) == 0:
            return thin
        middle = shapely.get_coordinates(shapely.centroid(thin))
        kept = ranks(noise_at(middle, rng, patch_mm=6.0, octaves=2)) < self.settings.detail_kept
        return geometry.offset(thin[kept], self.limits.land_mm / 2 + 0.02)

    def fringe(self, heaps: Heaps, cuts: PolygonArray, dark: BaseGeometry, rng: Generator) -> PolygonArray:
        """Patches along top and lower edge where the carver may take more or less."""
        xy, deep = self.surface.xy, self.settings.fallen_mm
        more = [np.clip(noise_at(xy, rng, patch_mm=deep + 2, octaves=2), 0, None) * (0.3 + 0.1 * deep) for _ in "ab"]
        wide = Heaps(
            self.surface,
            np.where(heaps.above > 0, heaps.above + more[0], 0),
            np.where(heaps.below > 0, heaps.below + more[1], 0),
            heaps.lean,
        )
        reach = shapely.difference(shapely.union_all(strips(wide)), dark)
        band = shapely.difference(shapely.intersection(reach, self.place.area), shapely.union_all(cuts))
        return geometry.snapped(geometry.parts(opened(band, 0.1)))
