"""How grain is drawn: the motif's grow, by its settings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.progress import each_part, reached
from carvegen.motifs.grain.boards import BoardFrame, boards
from carvegen.motifs.grain.cracks_and_rays import (
    end_checks,
    flecks,
    in_any,
    silver,
    spindles,
)
from carvegen.motifs.grain.edge_exits import squared
from carvegen.motifs.grain.knots import (
    Knot,
    Look,
    knot_strokes,
    random_knots,
)
from carvegen.motifs.grain.levels import traced
from carvegen.motifs.grain.log import Log, Saw
from carvegen.motifs.grain.spacing import FLARE, Rules, fitted
from carvegen.motifs.growth import Growth, no_room
from carvegen.motifs.shared.fields import waves_at
from carvegen.motifs.shared.strokes import (
    Strokes,
    drawn,
    gathered,
    own_noise,
)
from carvegen.motifs.shared.trimming import apart, cut_off

if TYPE_CHECKING:
    from numpy.random import Generator
    from shapely import Polygon

    from carvegen.base.limits import Limits
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
    )
    from carvegen.motifs.grain.settings import Settings
    from carvegen.motifs.growth import Place

__all__ = ["grow"]

_SLACK_MM = 0.012  #: simplifying and snapping move two outlines by less than this together
_STEP, _STEPS_MM = 6.0, (0.12, 0.5)  #: grid points over a ring, within these distances
_ROUND_ENDS = 1.006  #: makes up for half-discs at the ends that are drawn as polygons
_TAPER = 0.05  #: half-width gained for each mm along a stroke: how steeply the tool enters and leaves
_RING, _HAIR_LINE, _PORE = range(3)
_RANKS = np.array([10.0, 0.0, -10.0])  #: rings go on before hair lines, these before pores
_HAIR_PLACES = ([0.14, 0.4, 0.6, 0.74], [0.36, 0.56, 0.7, 0.86])  #: between which shares of a ring hair lines run
_HAIR_TREND = np.array([-0.35, 0.0, 0.15, 0.2])  #: how much more vigorous those towards the late wood are
_HAIR = 1.3  #: widest hair line, of the smallest cut
_FILLING = 0.9  #: how much more vigorous hair lines are where a ring shows broad
_LATE_UNEVEN = 0.5  #: of the late wood's share from ring to ring, standard deviation of its logarithm
_SWELL_MM, _PORE_MM = 26.0, 1.6  #: along a line from swell to swell, from pore to pore
_VIGOUR = 1.22  #: standard deviation of the vigour
_KNOTS_PER_MM2 = 1e4  #: knots are told for 100 cm²
_FLECKS_PER_MM2, _SILVER_PER_MM2 = 0.006, 0.017  #: at most
_SPINDLES_PER_MM2, _CHECKS_PER_MM = 0.08, 0.08  #: at most


def grow(settings: Settings, place: Place, limits: Limits, rng: Generator) -> Growth:
    """Grain on every board of the place's area; each board has its own piece of a log.

    Parameters
    ----------
    place
        Its shapes are the boards; without any, each separate polygon of the area is one.
    limits
        Any two cuts, and the parts of one, end at least ``limits.land_mm`` apart, also from the area's edge unless
        they run out over it; no cut is narrower than ``limits.cut_mm``.

    Returns
    -------
    Growth
        Disjoint strokes without holes; may be empty.
    """
    shapes = boards(place.area, place.shapes, limits.land_mm + _SLACK_MM)
    if len(shapes) == 0:
        raise no_room("grain")
    lots = []
    parts = each_part(shapely.area(shapes).tolist())
    for board, own, growing in zip(shapes, rng.spawn(len(shapes)), parts, strict=True):
        with growing:
            lots.append(_Board(settings, board, place, limits, own).strokes())
    return Growth(cuts=geometry.stack(lots))


class _Board:
    """One board: its own frame (u across the grain, v along it) and its own piece of the log."""

    def __init__(self, settings: Settings, area: Polygon, place: Place, limits: Limits, rng: Generator) -> None:
        self.settings, self.area, self.place, self.limits = settings, area, place, limits
        lot, knots, log, self.weights, self.extras = rng.spawn(5)
        self.frame = BoardFrame(area, settings.direction_deg, shift_mm=settings.arch_mm, rng=lot)
        self.window, reach = self.frame.window, self.frame.reach
        self.log = Log(_sawn(settings, lot), _knots(settings, reach, knots), half=(reach[0], reach[1]), rng=log)

    @property
    def rules(self) -> Rules:
        """What the strokes have to keep, with the slack that drawing needs."""
        land, cut = self.limits.land_mm, self.limits.cut_mm
        return Rules(
            land_mm=land + _SLACK_MM + FLARE * (land + cut + 1),  # what two cuts gain on their way over the edge
            cut_mm=_ROUND_ENDS * cut + 1.5 * _SLACK_MM,
            shortest_mm=max(5 * cut, 1.6),
            break_mm=max(land + 3 * cut, 1.2),
            taper=_TAPER,
            over_edge=self.settings.cut_at_edge,
        )

    def strokes(self) -> PolygonArray:
        """The board's cuts."""
        lots = [_grain(self)]
        reached(0.5)
        lots += [*_knot_lots(self), *_marks(self)]
        rank = np.concatenate([rank for _, rank in lots])
        wanted = gathered([lot for lot, _ in lots])
        wanted = Strokes(self.frame.placed(wanted.xy), wanted.line, wanted.half)
        wanted = wanted.with_half(_by_density(self, wanted))
        rules = self.rules
        before, beyond = rules.land_mm + rules.cut_mm / 2, rules.land_mm + self.settings.widest_mm
        wanted, source = squared(wanted, self.area, before_mm=before, beyond_mm=beyond)
        reached(0.55)
        shapes = drawn(*fitted(wanted, rank[source], self.area, rules))
        reached(0.85)
        shapes = cut_off(shapes, self.area, cut_mm=self.limits.cut_mm)
        return apart(shapes, self.area, land_mm=self.limits.land_mm)


def _sawn(settings: Settings, lot: Generator) -> Saw:
    """How this board was sawn: as set, and a little otherwise than the last."""
    pith, arch = np.exp(lot.normal(0, [0.15, 0.12])).tolist()
    return Saw(
        ring_mm=settings.ring_mm,
        pith_mm=settings.pith_mm * pith,
        plane_deg=float(np.clip(settings.plane_deg + lot.normal(0, 3), 0, 90)),
        arch_mm=settings.arch_mm * arch,
        waviness=settings.waviness,
    )


def _knots(settings: Settings, reach: Floats, rng: Generator) -> tuple[Knot, ...]:
    return random_knots(
        settings.knots * 4 * float(reach.prod()) / _KNOTS_PER_MM2,
        (float(reach[0]), float(reach[1])),
        width_mm=settings.knot_mm,
        dead=settings.dead_knots,
        plane_deg=settings.plane_deg,
        rng=rng,
    )


def _grain(board: _Board) -> tuple[Strokes, Floats]:
    """The rings where they come to the face, pores and hair lines between them, with their rank."""
    settings, rng = board.settings, board.weights.spawn(1)[0]
    u, v = _grid(board)
    radius = board.log.radius(np.stack(np.meshgrid(u, v), axis=-1).reshape(-1, 2)).reshape(len(v), len(u))
    number = board.log.numbered(radius)
    levels, kind, lively = _levels(board, number, rng)
    lines, level = traced(u, v, radius, board.log.radius_of(levels), rng)  # smoother than ring numbers
    kind, xy = kind[level], lines.xy
    late = settings.late_wood * np.exp(rng.normal(0, _LATE_UNEVEN, len(levels)))[level]
    apparent = board.log.apparent_mm(xy, u, v, number)
    full = np.where(kind == _RING, late * apparent, _HAIR * board.limits.cut_mm)
    vigour = own_noise(lines, _SWELL_MM, rng) + lively[level]
    vigour = vigour + 0.3 * waves_at(xy, rng, patch_mm=(9.0, 60.0)) + 0.25 * waves_at(xy, rng, patch_mm=(4.0, 22.0))
    pitch = board.limits.land_mm + board.limits.cut_mm
    vigour = vigour + np.where(kind == _HAIR_LINE, np.clip(_FILLING * np.log(apparent / (5 * pitch)), 0, 0.9), 0)
    dashes = own_noise(lines, _PORE_MM, rng) + 0.5 * waves_at(xy, rng, patch_mm=(2.5, 14.0))
    vigour = np.where(kind == _PORE, dashes, vigour)
    half = _swelling(vigour - _least_vigour(settings)[kind], np.minimum(full, settings.widest_mm), board.rules.cut_mm)
    half[_bare(board, xy)] = 0
    return lines.with_half(half), vigour + _RANKS[kind]


def _grid(board: _Board) -> tuple[Floats, Floats]:
    """The grid on which the rings are told; it reaches out over the board."""
    window = board.window.grown(board.limits.land_mm)
    step = float(np.clip(board.settings.ring_mm * _stride(board) / _STEP, *_STEPS_MM))
    return np.arange(window.left, window.right + step, step), np.arange(window.bottom, window.top + step, step)


def _stride(board: _Board) -> int:
    """Only every so many-th ring is cut where rings are too narrow for all."""
    return max(1, round(0.7 * (board.limits.land_mm + board.limits.cut_mm) / board.settings.ring_mm))


def _levels(board: _Board, number: Floats, rng: Generator) -> tuple[Floats, Indices, Floats]:
    """The ring numbers at which lines run, of what kind each is, and how vigorous beside the others.

    From year to year the early wood is fuller or emptier of hair lines; they crowd towards the late wood, which
    comes by and by and ends at once.
    """
    stride = _stride(board)
    rings = np.arange(np.floor(number.min()), np.ceil(number.max()) + 1, stride)
    hairs = rings[:, None] + stride * rng.uniform(*_HAIR_PLACES, (len(rings), len(_HAIR_PLACES[0])))
    pores = rings + stride * rng.uniform(0.1, 0.22, len(rings))
    full = 0.55 * rng.normal(size=(len(rings), 1)) + 0.35 * rng.normal(size=(len(rings), len(_HAIR_TREND)))
    lively = [0.45 * rng.normal(size=len(rings)), (full + _HAIR_TREND).ravel(), np.zeros(len(rings))]
    none = rings[:0]
    lots = [rings, hairs.ravel() if board.settings.hair_lines else none, pores if board.settings.pores else none]
    chosen = [vigour[: len(lot)] for vigour, lot in zip(lively, lots, strict=True)]
    kind = np.repeat([_RING, _HAIR_LINE, _PORE], [len(lot) for lot in lots])
    return np.concatenate(lots), kind, np.concatenate(chosen)


def _least_vigour(settings: Settings) -> Floats:
    """From which vigour on each kind of line is cut, so that about the share that is set stays uncut."""
    from scipy.special import ndtri

    uncut = np.array([settings.faded, 1 - 0.55 * settings.hair_lines, 1 - 0.5 * settings.pores])
    return np.asarray(_VIGOUR * ndtri(np.clip(uncut, 1e-3, 1 - 1e-3)))


def _swelling(above: Floats, full: Floats, least: float) -> Floats:
    """Half-widths: the smallest cut where the vigour just suffices, the full line where it is strong, else 0."""
    strength = np.clip(above / 1.9, 0, 1) ** 1.1
    return np.where(above > 0, least + np.maximum(full - least, 0) * strength, 0.0) / 2


def _bare(board: _Board, xy: Floats) -> Mask:
    """Where no grain is cut: inside knots and rays."""
    quarter = np.sin(np.radians(board.settings.plane_deg)) ** 2
    rate = _FLECKS_PER_MM2 * board.settings.rays * quarter
    rays = flecks(board.window, rate, board.extras.spawn(1)[0], least_mm=board.limits.land_mm)
    bare = in_any(rays, xy)
    for knot in board.log.knots:
        bare |= knot.holds(xy)
    return bare


def _knot_lots(board: _Board) -> list[tuple[Strokes, Floats]]:
    settings, rules = board.settings, board.rules
    pitch = max(0.4 * settings.ring_mm, 1.1 * (rules.land_mm + rules.cut_mm))
    line = min(1.3 * settings.late_wood * pitch, settings.widest_mm)
    lots: list[tuple[Strokes, Floats]] = []
    for knot, rng in zip(board.log.knots, board.weights.spawn(len(board.log.knots)), strict=True):
        rim = (1.2 if knot.dead else 0.7) * settings.widest_mm
        lots.append(knot_strokes(knot, Look(pitch_mm=pitch, line_mm=line, rim_mm=rim, least_mm=rules.cut_mm), rng))
    return lots


def _marks(board: _Board) -> list[tuple[Strokes, Floats]]:
    """Cracks and silver rays, which go before all else, and spindles, which take what room is left; with their rank."""
    settings, rules = board.settings, board.rules
    rays, cracks, shine = board.extras.spawn(3)
    rate = _SPINDLES_PER_MM2 * settings.rays * np.cos(np.radians(settings.plane_deg)) ** 2
    short = spindles(board.window, rate, rays, shortest_mm=rules.shortest_mm, least_mm=rules.cut_mm)
    rate = _CHECKS_PER_MM * settings.end_checks
    long = end_checks(board.window, rate, cracks, widest_mm=settings.widest_mm, least_mm=rules.cut_mm)
    rate = _SILVER_PER_MM2 * settings.rays * np.sin(np.radians(settings.plane_deg)) ** 2
    bright = silver(board.window, rate, shine, widest_mm=settings.widest_mm, least_mm=rules.cut_mm)
    return [(short, np.full(len(short), -4.0)), (bright, np.full(len(bright), 45.0)), (long, 50.0 + long.line)]


def _by_density(board: _Board, wanted: Strokes) -> Floats:
    """The wanted half-widths, smaller where the place wants less, 0 where it wants the line left out."""
    if board.place.density is None:
        return wanted.half
    from scipy.special import ndtr

    chance = ndtr(own_noise(wanted, _SWELL_MM / 2, board.weights.spawn(1)[0]))
    wants = board.place.density_at(wanted.xy)
    cut = ((chance < wants) | (wants >= 1)) & (wanted.half > 0)
    return np.where(cut, np.maximum(wanted.half * np.sqrt(wants), board.rules.cut_mm / 2), 0.0)
