"""Snow on a face: what falls, what is kept of it, and as much of it as was asked."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.collector import collector_at_rest
from carvegen.base.progress import each_part, halves
from carvegen.motifs.growth import Growth, no_room
from carvegen.motifs.snowfall.chance import chance_at
from carvegen.motifs.snowfall.edge import apart, bounded, crossing
from carvegen.motifs.snowfall.land import met, parted
from carvegen.motifs.snowfall.readable import masses
from carvegen.motifs.snowfall.sky import LAYERS, Sky

if TYPE_CHECKING:
    from numpy.random import Generator
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, Indices, Mask, PolygonArray
    from carvegen.motifs.growth import Place
    from carvegen.motifs.snowfall.flakes import Flakes
    from carvegen.motifs.snowfall.settings import Settings

__all__ = ["grow"]

_NEAR = 0.05  #: the white comes so near to what is asked, as a share of it,
_NEAREST = 0.0015  #: or within so much of the face
_FEW = 3000  #: flakes: of more a part is tried first
_PART = 0.35  #: of that, in a part
_CLOSE = 0.008  #: but no further off than this,
_OPEN = 0.8  #: of what is asked, so much is white away from bars, or these are not the reason for less
_ALL = 0.98  #: of the face: of more nothing is hidden or kept clear
_REMARKED = 0.01  #: what differs by more is told
_TRIES = 6
_EDGES = 6
_LAYER_TRIES = 4
_WIDER = (1.0, 2.0, 3.0, math.inf)  #: lands: in turns, so much further from bars than masses flakes of these are loose
_TURNS = 3  #: in which loose flakes are laid side by side, the largest first
_UP = 4.0  #: times the first guess: near bars the level at most, or what is open were one white for few flakes more
_MOST = 1000.0  #: the level at most
#: Shares of the time, measured: a part is tried, the whole sky is sought, and once more edge and all,
_TIMES = (0.15, 0.7, 0.15)
_FALLS = (0.15, 0.15, 0.7)  #: and of one try: flakes meet, are drawn, and are parted


@collector_at_rest()
def grow(settings: Settings, place: Place, limits: Limits, rng: Generator) -> Growth:
    """Flakes inside the place's area, cut off by it or whole.

    What falls belongs to the weather, not to the area: where a part of it is kept clear, all else stays as it was.
    Bars change how much falls, so that the white that is asked comes; at one level they change what lies near alone.

    Parameters
    ----------
    place
        Where snow may fall, and how densely. `settings.snow` is a share of its frame.
    limits
        No land is narrower than ``limits.land_mm`` and no cut narrower than ``limits.cut_mm``.

    Returns
    -------
    Growth
        Disjoint flakes; may be empty. `Growth.kept` holds the settings with which the same snow falls through
        another window.
    """
    if shapely.area(place.area) <= 0:
        raise no_room("snow")
    key = int(rng.integers(2**62))
    frame = place.edge
    by_layer = any(settings.by_layer) and not settings.level
    if by_layer:
        settings = _in_parts(replace(settings, snow=sum(settings.by_layer)), settings.by_layer)
    if settings.snow <= 0:
        return Growth(cuts=geometry.empty())
    sky = Sky(settings, limits, key, shapely.bounds(frame), bars=place.bars)
    if settings.level:
        level, fallen, cuts = settings.level, _fallen(sky, settings.level), None
    elif by_layer:
        sky, level, fallen, cuts = _solved_by_layer(sky, frame, key)
    else:
        level, fallen, cuts = _solved(sky, frame)
    depth = _depth(sky, level, fallen) if place.hides else None
    if cuts is None or place.hides or place.density is not None or not shapely.equals(place.area, frame):
        stays = _wanted(fallen, place)
        wanted, depth = fallen[stays], None if depth is None else depth[stays]
        hides = [] if depth is None else _hidden_by(place, depth)
        cuts = bounded(wanted, place.area, frame, limits, settings, hides=hides)
    known = {"level": level, "flurry_mm": sky.flurry}
    if by_layer:
        known |= {name: getattr(sky.settings, name) for name in ("snow", *LAYERS)}
    remark = "" if settings.level else _remark(sky, level, fallen, cuts, place)
    if by_layer:
        came = _white_by_layer(sky, level, fallen, frame)
        remark = "; ".join(filter(None, [remark, *_layer_remarks(settings.by_layer, came)]))
    return Growth(cuts=cuts, kept=known, remark=remark)


def _hidden_by(place: Place, depth: Indices) -> list[tuple[BaseGeometry, Mask]]:
    """What hides some of the shapes, and which, (n,): what stands before their layer."""
    return [(what, depth == k) for k, what in enumerate(place.hides) if not shapely.is_empty(what)]


def _loosened(sky: Sky, flakes: Flakes, fallen: PolygonArray) -> PolygonArray:
    """What falls, but of masses near bars the flakes there side by side: no plate that bars cut.

    The rest of such a mass lies on a land apart from them, as its own flakes lie: its rim is no straight one.
    """
    if sky.bars.is_empty:
        return fallen
    loose, left = np.zeros(len(flakes), dtype=bool), fallen
    dots = geometry.dots(flakes.xy)
    for wider in _WIDER:  # without some flakes others may come together
        large = _near_bars(left, sky)
        if len(large) == 0:
            break
        theirs = np.unique(shapely.STRtree(dots).query(left[large], predicate="contains")[1])
        reach = sky.loose_mm + flakes.reach[theirs] + wider * sky.limits.land_mm
        loose[theirs[shapely.dwithin(dots[theirs], sky.bars, reach)]] = True
        left = parted(flakes.chosen(~loose), sky.limits, sky.clumps)
    left = np.delete(left, _near_bars(left, sky))
    rest = flakes.shape[loose & ~flakes.torn]  # a torn one is in pieces
    for _ in range(_TURNS):
        rest = rest[~_near(rest, left, sky.limits)]
        left = np.concatenate([left, apart(rest, sky.limits)])
    return left


def _near_bars(shapes: PolygonArray, sky: Sky) -> Indices:
    """The numbers of the masses near bars."""
    large = np.flatnonzero(masses(shapes, sky.settings))
    return large[shapely.dwithin(shapes[large], sky.bars, sky.loose_mm)]


def _near(shapes: PolygonArray, others: PolygonArray, limits: Limits) -> Mask:
    """Which shapes lie nearer than a land to others; (n,)."""
    near = np.zeros(len(shapes), dtype=bool)
    near[shapely.STRtree(shapes).query(others, predicate="dwithin", distance=limits.land_mm)[1]] = True
    return near


def _fallen(sky: Sky, level: float) -> PolygonArray:
    """All that lies in the sky at a level, the land kept; where the same flakes fall as before, the same array."""
    meeting, drawing, parting = each_part(_FALLS)
    with meeting:
        flakes = _met(sky, level)
    alike = flakes.mark.tobytes(), flakes.packed.tobytes()
    if alike not in sky.lain:
        with drawing:
            shown = sky.drawn(flakes)
        with parting:
            sky.lain[alike] = _loosened(sky, shown, parted(shown, sky.limits, sky.clumps))
    return sky.lain[alike]


def _met(sky: Sky, level: float) -> Flakes:
    """The flakes at a level that have met, those at the frame so that they can be cut off by it, or none that it cuts.

    The sides of a part are no ends: what falls there goes on.
    """
    flakes = sky.fallen(level)
    if not sky.is_part and sky.settings.cut_at_edge:
        flakes = crossing(flakes, sky.frame, sky.limits)
    elif not sky.is_part:
        room = shapely.bounds(sky.frame) + np.array([1, 1, -1, -1]) * flakes.reach[:, None]
        flakes = flakes.chosen(np.flatnonzero(((flakes.xy > room[:, :2]) & (flakes.xy < room[:, 2:])).all(axis=1)))
    return met(flakes, sky.limits)


def _solved(sky: Sky, frame: Polygon) -> tuple[float, PolygonArray, PolygonArray]:
    """The level at which the share that is asked turns white; what falls then, and that as it is cut off by the frame.

    Of a large sky a part is tried first, which tells how far the white stays behind the cover of discs. What the edge
    takes or adds is told where all but the edge is right, and from then on the white is sought edge and all: there it
    goes by jumps, for what reaches the edge goes on over it or is taken back whole.
    """
    snow = sky.settings.snow
    with_land = (1 + sky.limits.land_mm / np.average(sky.medians, weights=sky.weights)) ** 2
    level = sky.level_of((with_land + min(snow, 0.42 - 1.5 * snow)) * snow)  # a first guess
    most = _MOST if sky.bars.is_empty else min(_UP * level, _MOST)
    first, seeking, at_edge = each_part(_TIMES)
    with first:
        level = _by_part(sky, level)
    with seeking:
        level, shapes = _sought(sky, min(level, most), _constant(snow), most=most)
    with at_edge:
        return _sought_with_edge(sky, frame, level, shapes, most)


def _by_part(sky: Sky, level: float) -> float:
    """A better guess at the level by a part of a large sky; of a small one the same."""
    few, snow = sky.part(level, _FEW), sky.settings.snow
    if few is None:
        return level
    level, shapes = _sought(few, level, lambda level: snow * few.cover(level) / sky.cover(level), close=_PART)
    off = _height(_white(shapes, few.frame)) - _height(snow * few.cover(level) / sky.cover(level))
    return min(level * float(np.exp(-off / max(_steepness(few, level), 0.15))), _MOST)


def _sought_with_edge(
    sky: Sky, frame: Polygon, level: float, shapes: PolygonArray, most: float
) -> tuple[float, PolygonArray, PolygonArray]:
    """The level, what falls and that as the frame cuts it off, near the first ones, at which what is asked is white."""
    snow, tries = sky.settings.snow, halves()
    tried: list[tuple[float, float]] = []
    came: list[tuple[float, PolygonArray, PolygonArray]] = []
    for _ in range(_EDGES):
        if tried:
            level = min(float(np.exp(_next(tried, _steepness(sky, level)))), most)
            with next(tries):
                shapes = _fallen(sky, level)
        before = next((cuts for _, fallen, cuts in came if fallen is shapes), None)
        with next(tries):
            cuts = bounded(shapes, frame, frame, sky.limits, sky.settings) if before is None else before
        white = float(shapely.area(cuts).sum() / shapely.area(frame))
        tried.append((float(np.log(level)), _height(white) - _height(snow)))
        came.append((level, shapes, cuts))
        if abs(white - snow) <= _close(snow) or (level >= most and white < snow):
            break
    return came[int(np.argmin([abs(off) for _, off in tried]))]


def _solved_by_layer(sky: Sky, frame: Polygon, key: int) -> tuple[Sky, float, PolygonArray, PolygonArray]:
    """As `_solved`, with parts of the layers at which each turns white what is asked of it; and the sky of them."""
    asked = np.array(sky.settings.by_layer)
    tried: list[tuple[float, Sky, float, PolygonArray, PolygonArray]] = []
    each = asked / asked.sum()
    for _, trying in zip(range(_LAYER_TRIES), halves(), strict=False):
        own = Sky(_in_parts(sky.settings, each.tolist()), sky.limits, key, shapely.bounds(frame), bars=sky.bars)
        with trying:
            level, shapes, cuts = _solved(own, frame)
        came = _white_by_layer(own, level, shapes, frame)
        tried.append((float(np.abs(came - asked).max()), own, level, shapes, cuts))
        if tried[-1][0] <= _close(float(asked.sum())) or level >= 0.9 * _MOST:
            break
        each *= np.clip(asked / np.maximum(came, 1e-4), 1 / 3, 3)
        each /= each.sum()
    return min(tried, key=lambda trial: trial[0])[1:]


def _in_parts(settings: Settings, part: Sequence[float]) -> Settings:
    far, middle, near = (share / sum(part) for share in part)
    return replace(settings, far=far, middle=middle, near=near)


def _depth(sky: Sky, level: float, shapes: PolygonArray) -> Indices:
    """In which layer each shape lies, 0 far to 2 near: that of the largest flake in it; (n,)."""
    flakes = _met(sky, level)
    if len(shapes) == 0 or len(flakes) == 0:
        return np.zeros(len(shapes), dtype=np.int64)
    order = np.argsort(flakes.reach, kind="stable")
    middles = geometry.dots(flakes.xy[order])
    depth = flakes.layer[order][shapely.STRtree(middles).nearest(shapes)]
    flake, shape = shapely.STRtree(shapes).query(middles, predicate="intersects")
    depth[shape] = flakes.layer[order][flake]  # the last of those in one shape holds: the largest
    return np.asarray(depth)


def _white_by_layer(sky: Sky, level: float, shapes: PolygonArray, frame: Polygon) -> Floats:
    """The share of the frame that each layer turns white; (3,)."""
    white = shapely.area(shapely.intersection(shapes, frame)) / shapely.area(frame)
    return np.bincount(_depth(sky, level, shapes), white, minlength=len(LAYERS)).astype(np.float64)


def _layer_remarks(asked: Sequence[float], came: Floats) -> Iterator[str]:
    """What to tell of layers that turned white otherwise than was asked."""
    for name, wanted, white in zip(LAYERS, asked, came.tolist(), strict=True):
        if abs(white - wanted) > _REMARKED:
            yield f"of the {name} snow {wanted:.0%} of the face was asked, {white:.0%} came: change snow_{name}"


def _sought(
    sky: Sky, level: float, snow_at: Callable[[float], float], *, close: float = 1.0, most: float = _MOST
) -> tuple[float, PolygonArray]:
    """The level at which the share that is asked turns white; nearer to it where `close` is less than 1."""
    tried: list[tuple[float, float, PolygonArray]] = []
    for _, trying in zip(range(_TRIES), halves(), strict=False):
        with trying:
            shapes = _fallen(sky, level)
        white, snow = _white(shapes, sky.frame), snow_at(level)
        tried.append((np.log(level), _height(white) - _height(snow), shapes))
        if abs(white - snow) <= close * _close(snow) or (level >= most and white < snow):
            break
        level = float(min(np.exp(_next([trial[:2] for trial in tried], _steepness(sky, level))), most))
    log_level, _, shapes = min(tried, key=lambda trial: abs(trial[1]))
    return float(np.exp(log_level)), shapes


def _constant(share: float) -> Callable[[float], float]:
    """The same share at every level."""
    return lambda _: share


def _close(snow: float) -> float:
    """White that comes so near to what is asked is near enough."""
    return max(_NEAREST, min(_NEAR * snow, _CLOSE))


def _white(shapes: PolygonArray, frame: Polygon) -> float:
    """The share of the frame that the shapes cover."""
    inside = geometry.wholly_in(frame, shapes)
    across = shapely.intersection(shapes[~inside], frame)
    return float((shapely.area(shapes[inside]).sum() + shapely.area(across).sum()) / shapely.area(frame))


def _height(white: float) -> float:
    return float(np.log(-np.log1p(-min(max(white, 1e-4), 0.999))))


def _steepness(sky: Sky, level: float) -> float:
    """How fast the height of the white rises with the level's logarithm, as the cover of discs does."""
    return (_height(sky.cover(1.2 * level)) - _height(sky.cover(level / 1.2))) / float(2 * np.log(1.2))


def _next(tried: list[tuple[float, float]], slope: float) -> float:
    """The level's logarithm to try next, from those tried and how far each came off.

    White rises with the level nearly as ``1 - exp(-a level^b)``: the secant is drawn where that is a line, and between
    the two nearest on either side once there are such, for white rises by jumps. `slope` is what it has at first.
    """
    latest = tried[::-1]  # of those that came alike the last is nearest
    best = sorted(latest, key=lambda trial: abs(trial[1]))
    below, above = (next((trial for trial in best if side * trial[1] > 0), None) for side in (-1, 1))
    if below and above:
        again = len(tried) > 2 and tried[-1][1] * tried[-2][1] > 0  # both on one side: it comes nearer by halves
        along = 0.5 if again else float(np.clip(below[1] / (below[1] - above[1]), 0.15, 0.85))
        return below[0] + along * (above[0] - below[0])
    least = min if below is None else max  # none tried lies on the other side: on beyond them all
    outer = least(tried)
    if len(best) > 1 and best[0][0] != best[1][0]:
        slope = (best[0][1] - best[1][1]) / (best[0][0] - best[1][0])
    step = np.clip(abs(best[0][1]) / np.clip(slope, 0.15, 1.2), 0.05, 1.2)
    return outer[0] + float(-step if below is None else step)


def _wanted(shapes: PolygonArray, place: Place) -> Mask:
    """The shapes that a place's density doesn't thin out, each by its own chance."""
    if place.density is None or len(shapes) == 0:
        return np.ones(len(shapes), dtype=bool)
    middle = shapely.get_coordinates(shapely.point_on_surface(shapes))
    return np.asarray(chance_at(middle) < place.density_at(middle))


def _remark(sky: Sky, level: float, fallen: PolygonArray, cuts: PolygonArray, place: Place) -> str:
    """What to tell if the white that came isn't what was asked; else nothing."""
    asked, frame = sky.settings.snow, place.edge
    whole, size = float(shapely.area(frame)), shapely.area(cuts)
    came, one = float(size.sum()) / whole, float(size.max(initial=0)) / whole
    if abs(came - asked) <= _REMARKED:
        return ""
    free = float(shapely.area(shapely.difference(place.area, shapely.union_all(place.hides)))) / whole
    reasons: list[tuple[str, str]] = []
    if not sky.bars.is_empty and _white(fallen, frame) < asked - _REMARKED:
        reasons += _barred(sky, fallen, frame)
    if free < _ALL or place.density is not None or place.hides:
        less = "let less stand before it or be kept clear"
        thinned = " or thinned out" if place.density is not None else ""
        why = f"{free:.0%} of the face is open to snow, the rest is hidden by what is drawn or kept clear{thinned}"
        reasons.append((why, less if reasons else f"raise snow, or {less}"))
    if not reasons and came < asked and (level >= 0.9 * _MOST or asked - came > one):
        reasons.append(("the land that must stay leaves no room for more", "take a finer cutter or larger flakes"))
    elif not reasons:
        reasons.append((
            f"flakes and masses of them come whole, and the largest makes {one:.1%} of this face",
            "make the largest flakes smaller, or try another seed",
        ))  # fmt: skip
    why, help_ = (", and ".join(parts) for parts in zip(*reasons, strict=True))
    return f"asked for {asked:.0%} white (snow = {asked:.3g} in its settings), {came:.0%} came: {why}; {help_}"


def _barred(sky: Sky, fallen: PolygonArray, frame: Polygon) -> Iterator[tuple[str, str]]:
    """Why less is white near bars, and the remedy; nothing where away from them as little is."""
    away = shapely.difference(frame, shapely.buffer(sky.bars, sky.loose_mm))
    white = shapely.area(shapely.intersection(fallen, away)).sum()
    if white >= _OPEN * sky.settings.snow * shapely.area(away):
        yield (
            "near bars of the drawing, as posts are, snow falls in single flakes, which bring less white than masses, "
            f"and masses fall only away from bars, on {shapely.area(away) / shapely.area(frame):.0%} of the face",
            "ask for less snow, or make the largest flakes smaller: masses then come nearer to bars",
        )
