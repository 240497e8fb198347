"""How frost grows: the motif's grow, by its settings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.progress import each_part, halves
from carvegen.motifs.frost.branching import BranchingHabit
from carvegen.motifs.frost.contours import Contour, walked
from carvegen.motifs.frost.crystals import Thicket
from carvegen.motifs.frost.ice import IceBed, iced
from carvegen.motifs.frost.seeding import Sowing, fans, sown
from carvegen.motifs.frost.stars import stars, strewn
from carvegen.motifs.growth import Growth, no_room
from carvegen.motifs.shared.fields import noise_at, ranks

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.random import Generator
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, Mask
    from carvegen.motifs.frost.arms import Arms, Crystals
    from carvegen.motifs.frost.settings import Settings
    from carvegen.motifs.growth import Place

__all__ = ["Pane", "grow", "region_of", "with_feathers", "with_more"]

_SLACK_MM = 0.012  #: simplifying and snapping may move each of two outlines by less than half of this
_CORNER = np.cos(np.radians(10))  #: feet stand no more askew than this on the edge
_SPARSE = -0.3  #: of a noise of mean 0: needles stand where it is higher, in tufts
_EARLY = 0.2  #: share of the feathers that grow before the others
_STARS_PER_MM2, _NEAR = 0.045, 0.2  #: at most; no further from the nearest frost, of its reach
_TOO_MANY = 400_000  #: points along the edge at most


def grow(settings: Settings, place: Place, limits: Limits, rng: Generator) -> Growth:
    """Crystals that grow from the outlines of the place's shapes, or from the area's own outline.

    Parameters
    ----------
    place
        Where they may be; without shapes they grow from the outer outline of the area. The share of frost
        wanted thins the crystals, and stops arms where it falls.
    limits
        The land between any two cuts and in every inlet is at least ``limits.land_mm``; no arm is narrower
        than ``limits.cut_mm``; each ends in a round tip of that width.

    Returns
    -------
    Growth
        Disjoint crystals, each with all its arms; may be empty where there is no room.
    """
    region = region_of(settings, place)
    if shapely.area(region) <= 0:
        raise no_room("frost")
    pane = Pane(settings, place, limits, region)
    branching, icing = each_part((0.5, 0.5))
    with branching:
        thicket = _thicket(pane, *rng.spawn(4))
    with icing:
        return Growth(cuts=iced(thicket, pane.bed))


def _thicket(pane: Pane, branching: Generator, feathers: Generator, rime: Generator, loose: Generator) -> Thicket:
    """The crystals' axes: the large ones first, then short needles where they leave room."""
    grown = Thicket(pane.habit, pane.walls, branching, wall_gap=pane.wall_gap, open_feet=not pane.settings.free)
    return with_more(grown, pane, feathers, rime, loose)


def with_more(grown: Thicket, pane: Pane, feathers: Generator, rime: Generator, loose: Generator) -> Thicket:
    """The crystals, and those that still find room."""
    if len(pane.edge) > 0:
        with_feathers(grown, pane, feathers)
        grown.grow(*_rime(pane, rime))
    if pane.settings.stars > 0:
        grown.grow(*_stars(pane, grown, loose))
    return grown


def with_feathers(grown: Thicket, pane: Pane, rng: Generator) -> None:
    """Let large crystals grow from the edge."""
    for lot, growing in zip(_feathers(pane, rng), halves(), strict=False):
        with growing:
            grown.grow(*lot)


def region_of(settings: Settings, place: Place) -> BaseGeometry:
    """Where frost may be: the place's area, without its shapes or inside these."""
    if len(place.shapes) == 0:
        return place.area
    shapes = shapely.union_all(place.shapes)
    cut = shapely.intersection if settings.inward else shapely.difference
    return geometry.solid(cut(place.area, shapes))


class Pane:
    """The settings, the region with its edge, and what follows from both.

    Parameters
    ----------
    edges
        Lines from which frost may grow, where they lie on the region's outline; None: it follows from the place.
    """

    def __init__(
        self, settings: Settings, place: Place, limits: Limits, region: BaseGeometry, *,
        edges: BaseGeometry | None = None,
    ) -> None:  # fmt: skip
        self.settings, self.place, self.edges = settings, place, edges
        self.land = limits.land_mm + _SLACK_MM
        self.least = limits.cut_mm / 2 * 1.02 + _SLACK_MM
        self.step = (2 * self.least + self.land) / 4
        self.habit = BranchingHabit(
            land=self.land,
            least=self.least,
            step=self.step,
            branching=settings.branching,
            breadth=settings.breadth,
            plumes=settings.plumes,
            curve=settings.curve,
            flare=not settings.free,
            reach=settings.reach_mm,
            density=place.density_at,
        )
        self.sowing = Sowing(
            habit=self.habit,
            stem_mm=settings.stem_mm,
            patch_mm=1.5 * settings.front_mm,
            inset_mm=self.wall_gap if settings.free else None,
        )
        self.bed = IceBed(region=region, land=limits.land_mm, cut=limits.cut_mm, open_feet=not settings.free)
        spacing = max(self.step / 2, shapely.length(region) / _TOO_MANY)
        outline = walked(geometry.parts(region), spacing, smooth_mm=3 * (self.land + self.least))
        self.walls = outline.xy
        self.edge = outline.chosen(self._starts(outline))
        self.spacing = spacing

    @property
    def wall_gap(self) -> float:
        """The land between an arm and the region's edge, but for its foot."""
        inside = self.settings.free and len(self.place.shapes) == 0
        return 0.0 if inside else self.land

    def _starts(self, outline: Contour) -> Mask:
        """Points of the region's outline that frost may grow from: not near corners."""
        here: Mask = (outline.inward * outline.square).sum(axis=1) > _CORNER
        if self.edges is None and len(self.place.shapes) == 0:
            here &= ~outline.hole
            return here
        edges = shapely.boundary(shapely.union_all(self.place.shapes)) if self.edges is None else self.edges
        shapely.prepare(edges)
        here &= shapely.dwithin(edges, geometry.dots(outline.xy), 10 * geometry.GRID_MM)
        return here


def _feathers(pane: Pane, rng: Generator) -> Iterator[tuple[Crystals, Arms]]:
    """The first arms of the large crystals; those that came first and will be the largest before the others."""
    settings, edge = pane.settings, pane.edge
    swell = noise_at(edge.xy, rng, patch_mm=settings.front_mm, octaves=3)
    high = ranks(swell)
    apart = max(settings.stem_mm, 2 * pane.least) + pane.land
    wanted = len(edge) * pane.spacing / (apart * (1 + 6 * (1 - settings.density) ** 2))
    chance = (high > settings.gaps) * pane.place.density_at(edge.xy)
    at, out = fans(chance, wanted / 1.6, 1.1 * apart / pane.spacing, rng)
    swelling = np.clip((high[at] - settings.gaps) / (1 - settings.gaps), 0, 1)
    planned = _lengths(settings, swelling, rng) * (1 - 0.35 * np.abs(out))
    early = ranks(planned) > 1 - _EARLY
    for lot, shy in ((early, 0.6), (~early, 0.2)):
        yield sown(pane.sowing, edge, at[lot], planned[lot], rng, splay=settings.splay, shy=shy, out=out[lot])


def _lengths(settings: Settings, high: Floats, rng: Generator) -> Floats:
    """How long first arms would grow: log-normal, longer where the front swells, never beyond the reach."""
    spread = 0.15 + 0.75 * settings.variety
    front = np.exp(1.6 * settings.variety * (high - 0.6))
    planned = settings.feather_mm * front * np.exp(rng.normal(-0.1, spread, len(high)))
    return np.minimum(planned, settings.reach_mm * rng.uniform(0.75, 1.0, len(high)))


def _rime(pane: Pane, rng: Generator) -> tuple[Crystals, Arms]:
    """Short needles, close together, on stretches of the edge."""
    settings, edge = pane.settings, pane.edge
    gusts = ranks(noise_at(edge.xy, rng, patch_mm=settings.front_mm / 3, octaves=1))
    apart = (2 * pane.least + pane.land) * (1.05 + rng.gamma(0.6, 0.3, len(edge)))
    at = np.unique(np.cumsum(apart / pane.spacing).astype(int) % len(edge))
    at = at[rng.random(len(at)) < (gusts > 1 - settings.rime)[at] * pane.place.density_at(edge.xy[at])]
    tufts = noise_at(edge.xy[at], rng, patch_mm=2.0 * settings.needle_mm, octaves=1)
    tall = tufts > _SPARSE
    at, tufts = at[tall], tufts[tall]
    planned = settings.needle_mm * np.exp(rng.normal(-0.1, 0.3, len(at)) + 1.2 * tufts + 1.2 * (gusts[at] - 0.6))
    return sown(pane.sowing, edge, at, planned, rng, splay=0.8, shy=0.0)


def _stars(pane: Pane, grown: Thicket, rng: Generator) -> tuple[Crystals, Arms]:
    """Small stars in the open, in flocks, where the frost has left room."""
    settings, habit = pane.settings, pane.habit
    at = strewn(pane.bed.region, _STARS_PER_MM2 * settings.stars, 0.5 * settings.front_mm, rng)
    at = at[rng.random(len(at)) < pane.place.density_at(at)]
    span = np.minimum(settings.needle_mm * np.exp(rng.normal(0.2, 0.4, len(at))), 0.25 * settings.reach_mm)
    span = np.maximum(span, 1.5 * habit.shortest)
    room = grown.room(at)
    kept = (room > 0.45 * span + habit.apart) & (room < _NEAR * settings.reach_mm)
    return stars(pane.sowing, at[kept], span[kept], rng)
