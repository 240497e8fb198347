"""The snow as shapes: columns from the lower line over the bearer to the top, smoothed together."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy import ndimage

from carvegen import geometry
from carvegen.motifs.shared.fields import waves_at
from carvegen.motifs.snowload.scene import pieces_of, spread
from carvegen.motifs.snowload.settling import crags

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
    )
    from carvegen.motifs.snowload.ledges import Ledges
    from carvegen.motifs.snowload.scene import Grid
    from carvegen.motifs.snowload.settings import Settings
    from carvegen.motifs.snowload.settling import Ends

__all__ = [
    "Canvas",
    "across_feet",
    "bare_rock",
    "contoured",
    "cornice_tips",
    "cuttable",
    "fielded",
    "lips",
    "lying_ground",
    "massive",
    "outlined",
    "patched",
    "reaching",
    "shown_bark",
    "specks",
    "summits",
    "tongues",
    "without_holes_far_from",
]

_SOFT = 1.25  #: cells: so far the columns are smoothed together
_SPECK_MM2 = 4.0  #: smaller pieces of sky that the snow shuts in are white too
_TALL, _WALLED = 1.2, 0.6  #: but not if they are as many times as tall as broad, and so much of their sides is dark,
_SHUT = 0.77  #: or so much of all that is round them: then it is the drawing that shuts them in
_LENS = (0.15, 0.6)  #: a heap thinner than so much of its depth near by, least and most, lies on top alone: no lens
_HEAP_MM = 6.0  #: so far near by
_MIRRORS = 0.5  #: of its depth the snow reaches down at the most: no heap is its own mirror image
_NO_DRIP, _NO_DRIP_MM = 1.0, 6.0  #: what stands under a bearer makes it thicker by so much a mm, so near: no white
#: runs down a pile or a trunk
_SKEW = (0.55, 0.75)  #: the power by which they lean to one side, least and most
_SWELL = 6  #: bark swells up over so many lands at least: shorter it is a knob
_HOLDS, _WHITE, _BROAD = 1.7, 0.4, 1.5  #: times a land and a cut: of so much, what bears the snow is so many times as
#: broad, and white so much deeper below the base
_RISES, _LOW = (0.55, 0.4), 0.14  #: it rises by so much of the white below the base, and up to so much further; but no
#: higher than this share of its length
_BARK_MM = 9.0  #: from one swell to the next where bark shows most: many on one board look made
_BENDS = 0.3  #: rise over run: swells end where the base turns by more
_NEAR_BY_MM = 10.0
_HEADS_MM = 9.0  #: so far about it is looked how high steep ground rises
_TIP_MM = 6.0
_UNDER_MM = 3.0  #: nor within so much of what hangs over it: that is a bough
_SNOW_LINE_MM = 0.6  #: with little snow the white begins so high over that,
_TONGUES, _STREAKS = (0.6, 0.4), 3.0  #: in tongues so long on average and uneven by so much (shares), and apart so many
#: times a land and a cut;
_STEEPEST, _SIDE_MM, _LEANS_MM = (
    1.0,
    3.0,
    1.8,
)  #: where a side is so steep (rise over run) over so much or steeper, they
#: lean away from the top by so much from their beginning to their tip
_FIELD, _BOWL, _BOWL_MM = 0.5, 0.8, 30.0  #: as little of a field is its end: from there on the white reaches down no
#: further than so many times as far, within so much: no wall of it stands beside a short field
_PATCH_MM, _UNEVEN = (12.0, 40.0), 0.65  #: a field is white in patches so large, uneven by so much,
_LEAST, _MOST = 0.3, 1.8  #: from so many times what it is on average to so many,
_SLIDES = 0.35, 0.6  #: less where its slope (rise over run) is more than this, by as much as that over it none;
_TONGUE_MM, _TONGUE = (6.0, 20.0), 0.7  #: it runs down in tongues so broad, between them by so much (share) less far
_CALMER = 0.7  #: by so much (share) its lower line has less of the small lobes that heaps have
_IS_FIELD, _FOOT_MM, _FOOT_NEAR_MM, _BURIES = 0.3, 8.0, 4.0, 0.4  #: field enough; what stands in it is no broader; the
#: white is as deep there as on average so near on either side, and buries it by so much of the snow's depth;
_ALONE, _STEM, _LOOKS_UP_MM = 8.0, 1.3, 20.0  #: what is so many times as large as the square of the smallest dot stands
#: alone, other things on stems so many times as broad as a land; so far up it is looked
_ANY_MM = 1e4  #: up to anything
_LAYERS = 10  #: of a cornice
_SAGS = 0.25  #: times the square of what hangs over its thickness: so far a cornice sags
_NARROW_MM = 0.6  #: so near to one another two heaps shut the sky in


@dataclass(frozen=True, eq=False)
class Canvas:
    """How much of each cell is covered, summed up from strokes; keeps the differences from row to row."""

    page: Grid
    edges: Floats  #: (rows + 2, columns)

    @staticmethod
    def blank(page: Grid) -> Canvas:
        """Nothing is covered."""
        return Canvas(page, np.zeros((page.high + 2, page.wide)))

    def stroke(self, column: Indices, low: Floats, high: Floats) -> None:
        """Cover columns between two heights, mm."""
        page = self.page
        ok = (high > low) & (column >= 0) & (column < page.wide)
        for height, sign in ((low[ok], 1.0), (high[ok], -1.0)):
            place = np.clip((height - page.bottom) / page.step, 0, page.high)
            row = np.floor(place).astype(int)
            np.add.at(self.edges, (row, column[ok]), sign * (1 - (place - row)))
            np.add.at(self.edges, (row + 1, column[ok]), sign * (place - row))

    @property
    def cover(self) -> Floats:
        """The share of each cell that is covered, (rows, columns)."""
        rows = np.flatnonzero(self.edges.any(axis=1))
        cover = np.zeros((len(self.edges) - 2, self.edges.shape[1]))
        if len(rows):
            here = np.s_[rows[0] : min(rows[-1] + 1, len(cover))]
            np.clip(np.cumsum(self.edges[here], axis=0), 0, 1, out=cover[here])
        return cover


def lying_ground(ledges: Ledges, ground_mm: Floats) -> Floats:
    """How much each ledge is ground, 0…1: it reaches the page's lower edge, is broad, and runs on to both sides.

    Parameters
    ----------
    ground_mm
        The least breadth of what stands there, from a little below the ledge on down.
    """
    runs_on = (ledges.free[0][ledges.first] == -2) & (ledges.free[1][ledges.last] == -2)
    return ledges.smoothed(runs_on & ledges.ground, 0.5) * np.clip((ground_mm - 10) / 10, 0, 1)


def massive(ledges: Ledges, ground_mm: Floats) -> Floats:
    """How much what bears each ledge is as broad and as thick as no timber, 0…1: a hill whose foot water hides."""
    return np.clip((ground_mm - 10) / 10, 0, 1) * np.clip((ledges.thick - 12) / 6, 0, 1)


def fielded(ledges: Ledges, ground_mm: Floats, *, far: bool = False) -> Floats:
    """How much each ledge is a field, 0…1: ground that is not steep, or far off whatever is broad: a hill, a peak."""
    cosine = 1 / np.sqrt(1 + ledges.smoothed(ledges.slope, 2.0) ** 2)
    broad = np.clip((ground_mm - 10) / 10, 0, 1)
    if far:
        return np.clip(ledges.smoothed(broad * np.clip((ledges.thick - 6) / 4, 0, 1), 2.0), 0, 1)
    level = np.clip((cosine - 0.5) / 0.2, 0, 1)
    return np.clip(ledges.smoothed(lying_ground(ledges, ground_mm) * level, 2.0), 0, 1)


def patched(ledges: Ledges, rng: Generator) -> Floats:
    """How many times as much as on average is white of a field at each place, (n,): broad here, thin or bare there.

    Least where the ground is steep: there it has slid off.
    """
    wave = waves_at(np.column_stack([ledges.x, ledges.base]), rng, patch_mm=_PATCH_MM)
    steep = np.clip((np.abs(ledges.smoothed(np.clip(ledges.slope, -2, 2), 2.0)) - _SLIDES[0]) / _SLIDES[1], 0, 1)
    return np.asarray(np.clip(1 + _UNEVEN * wave, _LEAST, _MOST) * (1 - steep))


def across_feet(
    ledges: Ledges, depth: Floats, below: Floats, field: Floats, shape: Mask, *, page: Grid, limits: Limits
) -> tuple[Indices, Floats, Floats]:
    """The white before the feet of slender things on fields: columns, and from where to where it goes there, mm.

    What stands on a field stands in its snow: the white runs on before its foot as it does beside it, or a dark root
    as broad as a collar would go down from there to what the white leaves of the ground. What is too small to stand
    alone keeps a stem as narrow as a land may be.
    """
    on, step = np.flatnonzero(field > _IS_FIELD), ledges.step
    on = on[np.argsort(ledges.column[on], kind="stable")]
    apart = np.diff(ledges.column[on])
    level = np.abs(np.diff(ledges.base[on])) < apart * step
    near = int(_FOOT_NEAR_MM / step)
    strokes = [(np.empty(0, dtype=int), np.empty(0), np.empty(0))]
    for gap in np.flatnonzero((apart > 1) & (apart * step < _FOOT_MM) & level).tolist():
        ends = ledges.column[on[gap : gap + 2]]
        left, right = on[max(gap + 1 - near, 0) : gap + 1], on[gap + 1 : gap + 1 + near]
        left, right = left[ends[0] - ledges.column[left] < near], right[ledges.column[right] - ends[1] < near]
        least, over = (min(of[left].mean(), of[right].mean()) for of in (below, depth))
        at, beside = np.arange(ends[0] - near, ends[1] + near), np.concatenate([left, right])
        base = np.interp(at, ledges.column[beside], ledges.base[beside])
        out = np.maximum(np.maximum(ends[0] - at, at - ends[1]) / near, 0)
        top = base + _BURIES * over * (out == 0)
        kept = _stems(shape, at, top, page, limits) & (out == 0)
        strokes.append(tuple(each[~kept] for each in (at, base - least * (1 - out**2), top)))
    column, low, high = (np.concatenate(each) for each in zip(*strokes, strict=True))
    return column, low, high


def _stems(shape: Mask, at: Indices, top: Floats, page: Grid, limits: Limits) -> Mask:
    """Which columns are stems of what stands over these heights, mm, and is too small to stand alone, (n,)."""
    row = np.clip(np.ceil((top - page.bottom) / page.step).astype(int) + 1, 0, page.high - 1)
    inner = np.clip(at, 0, page.wide - 1)
    group, count = ndimage.label(shape[row, inner])
    stems, wide = np.zeros(len(at), dtype=bool), int(np.ceil(_STEM * limits.land_mm / page.step))
    for k in range(1, count + 1):
        own = np.flatnonzero(group == k)
        over = shape[row[own].min() : row[own].min() + int(_LOOKS_UP_MM / page.step), inner[own]]
        tall = np.logical_and.accumulate(over, axis=0).sum(axis=0)
        if tall.sum() * page.step**2 < _ALONE * max(limits.land_mm, limits.dot_mm) ** 2:
            first = int(own[tall == tall.max()].mean()) - wide // 2
            stems[max(first, 0) : first + wide] = True
    return stems


def reaching(
    ledges: Ledges, depth: Floats, settings: Settings, ends: Ends, field: Floats, *, patches: Floats, land_mm: float,
    rng: Generator,
) -> Floats:  # fmt: skip
    """How far the white reaches down over what bears it, mm below the base; (n,).

    Parameters
    ----------
    field, patches
        As `fielded` and `patched` tell them, (n,).
    """
    deep = settings.fallen_mm
    place = np.column_stack([ledges.x, ledges.base])
    cosine = 1 / np.sqrt(1 + ledges.slope**2)
    thick = ledges.rising_gently(ledges.thick, _NO_DRIP, _NO_DRIP_MM)
    room = np.clip(thick - 1.4 * land_mm / cosine, 0, 0.6 * thick)
    coarse = waves_at(place, rng, patch_mm=(3.5 + 0.7 * deep,) * 2)
    fine = waves_at(place, rng, patch_mm=(1.2 + 0.25 * deep,) * 2)
    lobes = np.clip(0.85 + 0.7 * coarse, 0.05, 2.4) * np.clip(1 + 0.35 * settings.bark * fine, 0.1, 2)
    lobes = 1 + (lobes - 1) * (1 - _CALMER * field)
    wide = (ledges.last - ledges.first + 1) * ledges.step
    flat = np.clip((cosine - 0.25) / 0.4, 0, 1) * np.clip(wide / (2 + deep), 0.2, 1)
    flat *= np.where(np.isfinite(ends.crest), 0.3, 1)
    reach = 1.5 * settings.reaching_down * (0.45 * depth + 0.5 * np.sqrt(depth * deep)) * lobes * flat
    thins = _LENS[0] + (_LENS[1] - _LENS[0]) * np.clip(0.5 + 0.5 * coarse, 0, 1)  # where it thins out
    over = np.clip((depth / np.maximum(ledges.highest(depth, _HEAP_MM), 1e-6) - thins) / (1 - thins), 0, 1)
    reach = np.minimum(reach, _MIRRORS * depth * over**0.5)
    least = 0.6 if settings.scale == "far" else 0.1
    runs_down = 1 - _TONGUE * np.clip(np.abs(waves_at(place, rng, patch_mm=_TONGUE_MM)), 0, 1)
    far = field * settings.fields * (6 + 2.6 * deep) * np.clip(depth / deep, least, 1) ** 1.4 * patches * runs_down
    far = np.minimum(far, ledges.rising_gently(np.where(field > _FIELD, _ANY_MM, 0), _BOWL, _BOWL_MM))
    for side in (0, 1):  # a few ends wrap round what they lie on, most run out
        kind = ends.kind[side]
        runs_out = np.clip(ends.away[side] / (0.8 + 1.8 * ((kind * 3.1) % 1)), 0, 1)
        reach *= np.where(ends.free[side] & ((kind * 7.3) % 1 > 0.3), runs_out, 1)
    below = room * (1 - np.exp(-(reach + far) / np.maximum(room, 1e-6)))
    below *= np.clip(np.maximum(depth / (0.3 * deep), field * (settings.scale == "far")), 0, 1)
    below = np.minimum(ledges.smoothed(below, 0.5 + 0.08 * deep), room)
    return np.where(
        ledges.void > 0, below + np.where(ledges.void < 1.5 * settings.bridging_mm, ledges.void, 0.3), below
    )


def summits(ledges: Ledges, ground: Floats, settings: Settings) -> Floats:
    """How far the white reaches down from the heights of steep ground where it reaches furthest, mm; (n,).

    The deeper the higher a place rises over what is round about: heads are white and notches dark.
    """
    line = _SNOW_LINE_MM - settings.fields * settings.fallen_mm**0.5
    ground = ledges.highest(ground, _TIP_MM) * ledges.ground  # a tip is narrower than ground, a fir on it is none
    ground = ground * (ledges.highest(np.isfinite(ledges.ceiling).astype(np.float64), _UNDER_MM) == 0)
    rise = ledges.base - _round_about(ledges, ground)
    return np.asarray(ground * crags(ledges) * np.clip(rise - line, 0, None))


def tongues(page: Grid, limits: Limits, rng: Generator) -> Floats:
    """The share of their length that tongues of snow have along the page and a little past it; a number a column."""
    along = np.arange(-_LEANS_MM, page.wide * page.step + _LEANS_MM, page.step)
    slow, fast = (waves_at(np.column_stack([along, 0 * along]), rng, patch_mm=(of, of)) for of in (9.0, 2.5))
    turns = along / (_STREAKS * (limits.land_mm + limits.cut_mm)) + 0.24 * slow + 0.1 * fast
    pointed = np.arcsin(np.sin(2 * np.pi * turns)) * 2 / np.pi
    return np.clip(_TONGUES[0] + _TONGUES[1] * pointed + 0.18 * slow + 0.08 * fast, 0.15, 1)


def bare_rock(canvas: Canvas, ledges: Ledges, white: Floats, heads: Floats, share: Floats) -> None:
    """Draw the rock that stays bare below the heads of peaks: pointed streaks between pointed tongues of the white.

    They run down the fall line: away from the top, the more so the steeper the side.

    Parameters
    ----------
    white, heads
        How far down it is white at least, and how far the longest tongues reach, mm, (n,).
    share
        As `tongues`.
    """
    at = np.flatnonzero(heads > white)
    lean = _LEANS_MM * ledges.smoothed(np.clip(ledges.slope, -_STEEPEST, _STEEPEST), _SIDE_MM)[at]
    column, base, white, heads = ledges.column[at], ledges.base[at], white[at], heads[at]
    for down in np.arange(0, heads.max(initial=0), ledges.step):
        start = column + np.rint((lean * down / heads + _LEANS_MM) / ledges.step).astype(int)
        bare = (down >= white) & (down < heads) & (down > heads * share[np.clip(start, 0, len(share) - 1)])
        canvas.stroke(column[bare], (base - down - ledges.step)[bare], (base - down)[bare])


def _round_about(ledges: Ledges, ground: Floats) -> Floats:
    """How high the ground lies round about each place, mm: posts in it part nothing; (n,)."""
    on = ground > 0
    if not on.any():
        return ledges.base
    columns, where = np.unique(ledges.column[on], return_inverse=True)
    height = np.bincount(where, ledges.base[on]) / np.bincount(where)
    every = np.interp(np.arange(columns[0], columns[-1] + 1), columns, height)
    level = ndimage.gaussian_filter1d(every, _HEADS_MM / ledges.step, mode="nearest")
    return np.asarray(level[np.clip(ledges.column - columns[0], 0, len(level) - 1)])


def cuttable(ledges: Ledges, depth: Floats, below: Floats, cut_mm: float) -> Floats:
    """The depth, up to 2.5 times as much where the white is nowhere near by quite as thick as the smallest cut."""
    most = ledges.highest((depth + below) / np.sqrt(1 + ledges.slope**2), _NEAR_BY_MM)
    wanted = 1.4 * cut_mm
    return np.asarray(np.where(most > wanted / 3, depth * np.clip(wanted / np.maximum(most, 1e-6), 1, 2.5), depth))


def lips(canvas: Canvas, ledges: Ledges, depth: Floats, ends: Ends, *, blows: float) -> None:
    """What hangs out over free ends: a little in still air, cornices in the lee."""
    for side, sign in ((0, -1), (1, 1)):
        end = (ledges.first, ledges.last)[side]
        at = np.flatnonzero((np.arange(len(ledges)) == end) & ends.free[side] & (np.abs(ledges.slope) < 1.2))
        inner = np.clip(at - sign * 4, ledges.first[at], ledges.last[at])
        top = depth[inner]
        kind = ends.kind[side][at]
        wide = (ledges.last[at] - ledges.first[at] + 1) * ledges.step
        if blows * sign > 0:
            tips = cornice_tips(top, kind, abs(blows), np.asarray(0.3 * wide, dtype=np.float64))
            long = tips[-1]
        else:
            tips = None
            long = np.minimum(top * 0.4 * np.clip(1.2 * kind - 0.2, 0, 1), 0.15 * wide)
        for q in range(1, int(long.max(initial=0) / ledges.step) + 2):
            out = np.clip(q * ledges.step / np.maximum(long, 1e-6), 0, 1)
            on = (out < 1) & (top > 0.3)
            if tips is None:
                high = np.minimum(top, depth[at] + 0.3) * (1 - 0.7 * out**2.2)
                low = top * (0.2 * out**0.8 - 0.2 * (1 - out) * (kind < 0.3))
            else:
                sag = _SAGS * (q * ledges.step) ** 2 / np.maximum(top, 0.3)
                reached = (tips <= q * ledges.step).sum(axis=0) / len(tips)
                high, low = top * (1 - 0.15 * out**3) - 0.6 * sag, top * reached - sag
            canvas.stroke((ledges.column[at] + sign * q)[on], (ledges.base[at] + low)[on], (ledges.base[at] + high)[on])


def cornice_tips(top: Floats, kind: Floats, blows: float, most: Floats) -> Floats:
    """How far each layer of a cornice hangs out, lowest layer first, mm; (layers, n).

    Layer upon layer is laid down over the lee edge; each catches more of what is blown over it than the one below, as
    far as what hangs bears itself: no further than it is thick (common practice, no source). Sag comes on top.

    Parameters
    ----------
    top
        How deep the snow lies at the edge, mm.
    kind
        A number 0…1 of each end: how readily it grows, and how unevenly.
    most
        And no further than this, mm.
    """
    layer = np.arange(_LAYERS)[:, None]
    uneven = 0.6 + 0.8 * ((kind * (7.3 + 3.1 * layer)) % 1)
    grows = blows * (0.4 + 1.4 * kind) * top / _LAYERS * 2 * (layer + 0.5) / _LAYERS * uneven
    return np.minimum(np.cumsum(grows, axis=0), np.minimum(1.1 * top, most))


def shown_bark(
    ledges: Ledges, below: Floats, settings: Settings, field: Floats, *, limits: Limits, rng: Generator
) -> Floats:
    """How far the white reaches down, mm, with what bears it coming up in it here and there; (n,).

    Where it is broad and white it comes up in slivers out of the lower line of the white and back into it, steep on one
    side and running out thinly on the other; none on ground. So no white lies below bark: a sliver with a slit under it
    would stand loose in the snow, like a claw.
    """
    chance = ledges.chance(rng)
    land = max(limits.land_mm, limits.dot_mm)
    holds = _HOLDS * (land + limits.cut_mm)
    broad = (below > _WHITE * holds) & (ledges.breadth > _BROAD * holds) & ~ledges.bridged
    often = settings.bark * ledges.step / _BARK_MM * (1 - field) * (settings.scale == "near")
    comes_up, start = np.zeros(len(below)), 0
    for i in np.flatnonzero(broad & (chance < often)).tolist():
        own = chance[i] / often[i]
        long = int((5 + 11 * own) / ledges.step)
        run = np.arange(max(i, start), min(i + long, int(ledges.last[i]) + 1))
        goes_on = broad[run] & (np.abs(ledges.slope[run] - ledges.slope[i]) < _BENDS)
        run = run[: len(run) if goes_on.all() else int(np.argmin(goes_on))]
        if len(run) * ledges.step < _SWELL * land:
            continue
        start = int(run[-1] + (0.2 + 1.1 * ((own * 7.7) % 1)) * long)
        along = (np.arange(len(run)) + 0.5) / len(run)
        along = along if (own * 9.1) % 1 < 0.5 else 1 - along
        high = np.minimum((_RISES[0] + _RISES[1] * ((own * 5.3) % 1)) * below[run], _LOW * len(run) * ledges.step)
        comes_up[run] = high * np.sin(np.pi * along ** (_SKEW[0] + (_SKEW[1] - _SKEW[0]) * ((own * 3.7) % 1))) ** 2
    return np.asarray(below - comes_up)


def outlined(cover: Floats, solid: Mask, page: Grid, *, least_mm2: float) -> PolygonArray:
    """The white as polygons; pieces of sky that it shuts in and that are too small to carve are white too."""
    return contoured(_without_specks(cover, solid, page.step), page, least_mm2=least_mm2)


def contoured(cover: Floats, page: Grid, *, least_mm2: float) -> PolygonArray:
    """What is covered, smoothed, as polygons."""
    import contourpy

    cover = ndimage.gaussian_filter(cover, _SOFT)
    x = page.x
    y = page.bottom + (np.arange(page.high) + 0.5) * page.step
    contours = contourpy.contour_generator(x, y, cover, fill_type=contourpy.FillType.OuterOffset)
    outlines = [
        shapely.Polygon(xy[at[0] : at[1]], [xy[a:b] for a, b in pairwise(at[1:])])
        for xy, at in zip(*contours.filled(0.5, 9.0), strict=True)
    ]
    pieces = geometry.parts(shapely.make_valid(geometry.polygon_array(outlines)))
    return pieces[shapely.area(pieces) > least_mm2]


def specks(white: PolygonArray, silhouette: BaseGeometry, times: float = 1.0) -> tuple[PolygonArray, PolygonArray]:
    """The pieces of sky too small to carve that the white shuts in between itself and what it lies on.

    Those to be white too, and slots: filled they would be pillars, so the white has to draw back from them. Both up
    to so many times the size.
    """
    near = shapely.clip_by_rect(silhouette, *(shapely.total_bounds(white) + np.array([-6, -6, 6, 6])))
    near = without_holes_far_from(near, white, 0.1)
    full = geometry.parts(shapely.union(shapely.disjoint_subset_union_all(white), near))
    holes = geometry.holes(full)
    holes = holes[shapely.area(holes) < times * _SPECK_MM2]
    holes = holes[_near_any(holes, white, 0.02)]
    slots = _slots(holes, white)
    return geometry.offset(holes[~slots], 0.03, quad_segs=2), holes[slots]


def without_holes_far_from(shape: BaseGeometry, others: PolygonArray, distance: float) -> BaseGeometry:
    """The shape with those holes filled that lie further than `distance` from all of the others: less to overlay.

    A hole in which another piece of the shape stands is kept, too.
    """
    pieces = geometry.parts(shape)
    if len(pieces) == 0:
        return shape
    rings, piece = shapely.get_rings(pieces, return_index=True)
    outer = np.append(True, np.diff(piece) > 0)[: len(rings)]
    kept = outer.copy()
    kept[shapely.STRtree(others).query(rings, predicate="dwithin", distance=distance)[0]] = True
    inner = np.flatnonzero(~kept)
    within = shapely.STRtree(shapely.point_on_surface(pieces)).query(shapely.polygons(rings[inner]), "contains")[0]
    kept[inner[within]] = True
    kept = np.flatnonzero(kept)
    first = np.cumsum(np.bincount(piece[kept], minlength=len(pieces)))
    ringed = [shapely.polygons(each[0], holes=each[1:]) for each in np.split(rings[kept], first[:-1])]
    return shapely.MultiPolygon(ringed)


def _near_any(shapes: NDArray[np.object_], others: PolygonArray, distance: float) -> Mask:
    """Which shapes lie within `distance` of any of the others; (n,).

    GEOS prepares what is sought in a tree, so these are the others: they have many corners, and the shapes have few.
    """
    near = np.zeros(len(shapes), dtype=bool)
    near[shapely.STRtree(shapes).query(others, predicate="dwithin", distance=distance)[1]] = True
    return near


def _slots(holes: PolygonArray, white: PolygonArray) -> Mask:
    """Which pieces of sky are slots between twigs with snow at their foot: filled, each would be a white pillar; (n,).

    Snow that shuts a slot from above lies in a fork, and fills it.
    """
    left, low, right, high = shapely.bounds(holes).T
    tall = high - low > _TALL * (right - left)
    xy, hole = shapely.get_coordinates(shapely.segmentize(holes, 0.2), return_index=True)
    snowy = _near_any(geometry.dots(xy), white, 0.02)
    count, up = (
        np.bincount(hole, snowy, minlength=len(holes)),
        np.bincount(hole, snowy * xy[:, 1], minlength=len(holes)),
    )
    share = count / np.maximum(np.bincount(hole, minlength=len(holes)), 1)
    at_foot = up < count * (low + high) / 2
    return np.asarray((tall & (share < 1 - _WALLED) | (share < 1 - _SHUT)) & at_foot)


def _without_specks(cover: Floats, solid: Mask, step: float) -> Floats:
    white = cover > 0.5
    full = white | solid
    size = int(_NARROW_MM / step) | 1
    shut = ~spread(~spread(full, size), size) | full
    label, area = pieces_of(~shut, step)
    small = (area < _SPECK_MM2) & (np.arange(len(area)) > 0)
    near = spread(white, 7)
    if not small.any():
        return np.where(shut & ~full & near, 1.0, cover)
    small &= ~_slot_cells(np.asarray(label, dtype=np.int64), small, solid)
    small = spread(small[label], size)
    touched = np.zeros(len(area), dtype=bool)
    touched[label[spread(white, size + 2)]] = True
    filled = (small & ~solid & (touched[label] | near)) | (shut & ~full & near)
    return np.where(filled, 1.0, cover)


def _slot_cells(label: Indices, asked: Mask, solid: Mask) -> Mask:
    """As `_slots`, of labelled cells: which of the labels that are asked; no two labels touch; (labels,)."""
    at, count = np.nonzero(asked[label]), len(asked)
    own = label[at]
    low, high = np.full((2, count), label.size), np.full((2, count), -1)
    for k in (0, 1):
        np.minimum.at(low[k], own, at[k])
        np.maximum.at(high[k], own, at[k])
    long, wide = high - low + 1
    sides, dark, open_to = np.zeros((2, count)), np.zeros((2, count)), {}
    for axis in (0, 1):
        for step in (-1, 1):
            beside = list(at)
            beside[axis] = np.clip(at[axis] + step, 0, label.shape[axis] - 1)  # past the edge: the cell, its own label
            edge, stands = label[tuple(beside)] == 0, solid[tuple(beside)]
            sides[axis] += np.bincount(own, edge, minlength=count)
            dark[axis] += np.bincount(own, edge & stands, minlength=count)
            open_to[axis, step] = np.bincount(own, edge & ~stands, minlength=count)
    slots = (long > _TALL * wide) & (dark[1] > _WALLED * sides[1]) | (dark.sum(axis=0) > _SHUT * sides.sum(axis=0))
    return np.asarray(slots & (open_to[0, -1] > open_to[0, 1]))
