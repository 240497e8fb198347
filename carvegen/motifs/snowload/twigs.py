"""Lines of snow along the tops of twigs that bear no heap, and what fills their forks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from carvegen.motifs.shared.fields import waves_at
from carvegen.motifs.snowload.ledges import ledges_of
from carvegen.motifs.snowload.snowpack import cap_mm, repose_deg

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.random import Generator
    from numpy.typing import NDArray

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, Indices, Mask
    from carvegen.motifs.snowload.ledges import Ledges
    from carvegen.motifs.snowload.scene import Columns
    from carvegen.motifs.snowload.settings import Settings
    from carvegen.motifs.snowload.snow_shapes import Canvas

__all__ = ["on_twigs"]

_CLIFF_MM = 0.6  #: what rises by more from one column to the next is another twig
_LEAST_STEPS = 4.0  #: steps: a smaller breadth is not told from none by a grid of every other cell: its height tells it
_NEEDLE_MM, _LIMB_MM = 0.25, 3.0  #: a twig is broader than that, and no broader than this;
_SHORTEST_MM, _JOINED_MM = 1.8, 0.6  #: a shorter line is a dot, but one that goes on from a heap,
_JOINS_MM = 1.2  #: under which it reaches so far
_FULL, _GROWS = 0.29, 0.6  #: a line is so thick for one mm fallen, and grows by this power
_LEAST, _NEARLY = 1.15, 0.75  #: smallest cuts: a line is no thinner; a twig that bears less than so much of it, none
_SLENDER = 0.26  #: and no thicker at its foot than so many times its length, or it is a lump
_RIDGE_MM, _RIDGE = 0.4, 1.4  #: a twig bears the cap of a thing so much, and so many times, as broad
_STEEPEST = 0.95  #: of the slope of repose: on steeper twigs lies none
_AIR_MM = 0.3  #: so much air stays over a line, but in the corner under a twig: it is filled
_CORNER_MM, _MOUTH_MM, _SHUT_MM = 2.5, 1.2, 0.8  #: from so far out, where it is so wide, if it closes to so little
_THIN_MM, _SKY_MM2 = 1.2, (2.0, 9.0)  #: in a smaller piece of sky lies none: over a twig so thin, and over others
_SEEN = 0.2  #: of the sky: what sees less stays bare
_SEES = 3.5  #: what sees the inverse of it bears as often as what sees all of it,
_LEVEL = 0.35  #: and what is level so often as the share of twigs to this power tells; our own choice, as are
_GAPS_MM = (2.6, 7.0)  #: the lengths of lines and gaps
_ROUNDS_MM = (0.3, 0.9)  #: lines end over so much, least and most;
_RUNS_OUT, _THINNEST = (0.45, 1.1), (0.3, 0.65)  #: and thin out to their upper end, or either if level, over so many
#: times their length, to so many times their thickness, least and most
_LEVEL_MM = 0.5  #: a line whose ends differ by no more in height is level
_FOOT, _FOOT_MM = 0.6, 0.8  #: at what stands there they are so many times thicker, over so much
_SINKS_MM = 0.06  #: their lower side lies so deep in the twig that no sky shows
_FORK_MM, _FORK_FALLEN, _FORKED = 1.2, 0.15, 0.4  #: a fork is filled from so far on either side, by so much of what has
#: fallen and so much more, mm
_HEAP_MM = 0.3  #: where there is a heap so near over the twig, it needs no line
_DRAWN_MM = 0.05  #: thinner snow is not drawn

_Cell = TypeVar("_Cell", bound=np.generic)


def on_twigs(
    canvas: Canvas, drawn: Columns, settings: Settings, limits: Limits, *, heaps: Mask, air_mm2: Floats,
    seen: Callable[[Ledges], Floats], rng: Generator,
) -> None:  # fmt: skip
    """Draw lines on the drawn twigs wherever no heap lies, as thick as a cut and as thin as a twig bears.

    Parameters
    ----------
    heaps
        Where heaps lie, as the canvas.
    air_mm2
        How large the piece of sky is to which each cell belongs, as the canvas.
    seen
        How much of what falls comes to each ledge, 0…1.
    """
    if not np.isfinite(drawn.high).any():  # there is no air over it
        return
    twigs = _twigs_of(drawn, settings, limits)
    heaped = _at(heaps, canvas, twigs.ledges, _HEAP_MM)
    full = _full(twigs, settings, rng)
    bearing = _bearing(twigs, settings, _at(air_mm2, canvas, twigs.ledges, _HEAP_MM), seen(twigs.ledges), rng)
    air = _air_over(twigs, bearing, limits)
    lines = _lines(twigs, bearing, air, heaped)
    thick = _thickness(twigs, lines, air, full, _tapered(twigs.ledges, lines, heaped, rng))
    fork = np.where(bearing & ~heaped, np.minimum(_forks(twigs.ledges, settings), air.room), 0)
    _draw(canvas, twigs, np.maximum(thick, fork))


@dataclass(frozen=True, eq=False)
class _Twigs:
    """The ledges of what is drawn, and what they bear by shape and slope; arrays (n,)."""

    ledges: Ledges
    lean: Floats  #: rise over run, upwards or downwards
    upright: Floats  #: how many times as thick a line is plumb as across
    broad: Floats  #: how broad the twig is, mm across
    bears: Floats  #: how thick a line stays on it, mm across
    least: float  #: how thick a line is at least, mm across
    repose: float  #: slope of repose, rise over run

    @property
    def gentle(self) -> Mask:
        """Which places are not too steep for a line, (n,)."""
        return np.asarray(self.lean < _STEEPEST * self.repose)


@dataclass(frozen=True, eq=False)
class _Air:
    """What is over each place; arrays (n,)."""

    over: Floats  #: how high the air is, mm plumb; may be inf
    room: Floats  #: how thick a line has room there, mm plumb; may be inf
    corner: Mask  #: whether it is a corner under a twig, too small for a line with air over it


@dataclass(frozen=True, eq=False)
class _Lines:
    """Where lines lie; arrays (n,)."""

    on: Mask
    first: Indices  #: the first place of each place's line,
    last: Indices  #: and the last
    long: Floats  #: how long that is along the twig where no heap lies, mm


def _twigs_of(drawn: Columns, settings: Settings, limits: Limits) -> _Twigs:
    ledges = ledges_of(drawn, drawn, cliff_mm=_CLIFF_MM)
    lean = np.abs(ledges.smoothed(np.clip(ledges.slope, -4, 4), 0.5))
    upright = np.hypot(1, np.minimum(lean, 2.0))
    plumb = ledges.thick / upright
    broad = np.where(ledges.breadth < _LEAST_STEPS * ledges.step, plumb, np.minimum(plumb, ledges.breadth))
    bears = cap_mm(_RIDGE_MM + _RIDGE * broad, settings.sticky)
    repose = float(np.tan(np.radians(repose_deg(settings.sticky))))
    return _Twigs(ledges, lean, upright, broad, bears, _LEAST * limits.cut_mm, repose)


def _full(twigs: _Twigs, settings: Settings, rng: Generator) -> Floats:
    """How thick a line is that is long enough, has room and does not run out, mm across; (n,)."""
    wave = waves_at(_places(twigs.ledges), rng, patch_mm=(4.0, 1.5))
    full = _FULL * settings.fallen_mm**_GROWS * np.exp(0.5 * settings.lumpy * wave)
    return np.asarray(np.minimum(full, twigs.bears) * np.clip(2 - 2 * twigs.lean / twigs.repose, 0.3, 1))


def _bearing(twigs: _Twigs, settings: Settings, sky_mm2: Floats, seen: Floats, rng: Generator) -> Mask:
    """Which places bear snow, as lines or in forks, by their breadth and by how much falls there; (n,).

    Parameters
    ----------
    sky_mm2
        How large the piece of sky over each place is, (n,).
    seen
        How much of what falls comes there, 0…1, (n,).
    """
    sky = sky_mm2 >= np.where(twigs.broad < _THIN_MM, *_SKY_MM2)
    twig = (twigs.broad > _NEEDLE_MM) & (twigs.broad < _LIMB_MM) & (twigs.bears > _NEARLY * twigs.least)
    return np.asarray(twig & (seen > _SEEN) & sky & ~_bare(twigs, settings, seen, rng))


def _air_over(twigs: _Twigs, bearing: Mask, limits: Limits) -> _Air:
    """What is over each place; under thin twigs that bear a line more of it is kept free."""
    ledges = twigs.ledges
    over = -ledges.highest(-(ledges.ceiling - ledges.base), 0.3)
    lies = ledges.smoothed((bearing & twigs.gentle).astype(np.float64), 0.5) > 0.6  # more than the tip of a steep twig
    thin = _above(ledges, lies) < (limits.land_mm + _AIR_MM) * twigs.upright
    room = over - np.where(thin, np.maximum(_AIR_MM, limits.land_mm), _AIR_MM)
    return _Air(over, room, _corners(ledges, over) & (room < twigs.least * twigs.upright) & ~thin)


def _lines(twigs: _Twigs, bearing: Mask, air: _Air, heaped: Mask) -> _Lines:
    """Where lines lie: on gentle twigs with room, outside heaps and a little way under them, where long enough."""
    ledges = twigs.ledges
    fits = bearing & twigs.gentle & (air.corner | (air.room > twigs.least * twigs.upright))
    near = fits & (~heaped | (ledges.highest((~heaped & fits).astype(np.float64), _JOINS_MM) > 0))
    first, last = _runs(ledges, near)
    long, joins = (
        np.asarray(np.bincount(first, each * near, minlength=len(ledges))[first], dtype=np.float64)
        for each in (twigs.upright * ledges.step * ~heaped, heaped)
    )
    return _Lines(near & (long > np.where(joins > 0, _JOINED_MM, _SHORTEST_MM)), first, last, long)


def _thickness(twigs: _Twigs, lines: _Lines, air: _Air, full: Floats, tapered: tuple[Floats, Floats]) -> Floats:
    """How thick the lines are, mm plumb, 0 where none lies; (n,).

    Parameters
    ----------
    full, tapered
        As `_full` and `_tapered`.
    """
    wedge, ends = tapered
    across = np.maximum(np.minimum(full, _SLENDER * lines.long) * wedge, twigs.least)
    plumb = across * ends * twigs.upright
    return np.where(lines.on, np.where(air.corner, air.over, np.minimum(plumb, air.room)), 0)


def _forks(ledges: Ledges, settings: Settings) -> Floats:
    """How thick it lies in forks, mm plumb, 0 outside; (n,): no higher at their limbs than in their middle."""
    level = _FORKED + _FORK_FALLEN * settings.fallen_mm - ledges.highest(-ledges.base, _FORK_MM)
    return np.clip(np.minimum(ledges.hollow(ledges.base, _FORK_MM), level - ledges.base), 0, None)


def _draw(canvas: Canvas, twigs: _Twigs, thick: Floats) -> None:
    """Draw what lies so thick, mm plumb, (n,); with soft steps, and sunk into the twigs a little."""
    ledges = twigs.ledges
    soft = ledges.smoothed(thick, 0.2)
    on = soft > _DRAWN_MM
    low = ledges.base - _SINKS_MM * twigs.upright
    canvas.stroke(ledges.column[on], low[on], (ledges.base + soft)[on])


def _places(ledges: Ledges) -> Floats:
    """Where the ledges lie, mm, (n, 2)."""
    return np.column_stack([ledges.x, ledges.base])


def _above(ledges: Ledges, on: Mask) -> Floats:
    """How thick what hangs over each place is, plumb, mm, where a line may lie on it; else inf; (n,)."""
    thick = np.full(len(ledges), np.inf)
    over = np.flatnonzero((ledges.under >= 0) & on)
    below = ledges.under[over]
    thick[below] = ledges.base[over] - ledges.ceiling[below]
    return thick


def _corners(ledges: Ledges, gap: Floats) -> Mask:
    """Which places lie in the acute corner under a twig that rises from theirs; (n,)."""
    here = np.arange(len(ledges))
    corner = np.zeros(len(ledges), dtype=bool)
    for side, end in enumerate((ledges.first, ledges.last)):
        shut = (ledges.free[side][end] == -2) & (gap[end] < _SHUT_MM)
        corner |= shut & (np.abs(here - end) * ledges.step < _CORNER_MM)
    return corner & (gap < _MOUTH_MM)


def _runs(ledges: Ledges, on: Mask) -> tuple[Indices, Indices]:
    """The first and the last place of the run that each place on a line belongs to; (n,) each."""
    goes_on = ledges.linked[:-1] & on[:-1] & on[1:]
    begins = np.append(True, ~goes_on)
    first = np.flatnonzero(begins)
    number = np.cumsum(begins) - 1
    return first[number], np.append(first[1:], len(on))[number] - 1


def _bare(twigs: _Twigs, settings: Settings, seen: Floats, rng: Generator) -> Mask:
    """Which places stay bare by chance, (n,): short gaps, the more the fewer lines are wanted and the less comes there.

    Level twigs stay bare less often than leaning ones: a twig bears a broken line, and seldom nothing.

    Parameters
    ----------
    seen
        How much of what falls comes there, 0…1, (n,).
    """
    from scipy.special import ndtr

    where = _places(twigs.ledges)
    wave = waves_at(where, rng, patch_mm=(_GAPS_MM[0],) * 2) + 0.5 * waves_at(where, rng, patch_mm=(_GAPS_MM[1],) * 2)
    bears = settings.twigs * np.clip(_SEES * seen, 0, 1)
    leans = np.clip(twigs.lean / (_STEEPEST * twigs.repose), 0, 1) ** 2
    return np.asarray(ndtr(wave / np.hypot(1, 0.5)) > bears ** (_LEVEL + (1 - _LEVEL) * leans))


def _at(cells: NDArray[_Cell], canvas: Canvas, ledges: Ledges, over_mm: float) -> NDArray[_Cell]:
    """The values of the cells (rows, columns) so many mm over each ledge; (n,)."""
    row = np.clip((ledges.base + over_mm - canvas.page.bottom) / canvas.page.step, 0, canvas.page.high - 1).astype(int)
    return np.asarray(cells[row, ledges.column])


def _tapered(ledges: Ledges, lines: _Lines, heaped: Mask, rng: Generator) -> tuple[Floats, Floats]:
    """The share of its thickness that a line has as it thins out, and that by its very ends, 0…1; (n,) each.

    A line is a wedge: what slips down a leaning twig lodges at its foot. On a level one it thins out to both ends. It
    is thicker at what stands there; where it joins a heap it has all of its thickness.
    """
    here, wedge, round_off = np.arange(len(ledges)), np.ones(len(ledges)), np.ones(len(ledges))
    long = (lines.last - lines.first + 1) * ledges.step
    rises = ledges.base[lines.last] - ledges.base[lines.first]
    for side, end in enumerate((lines.first, lines.last)):
        own, other = (ledges.chance(each, end) for each in rng.spawn(2))
        wall = (ledges.free[side][end] == -2) & (end == (ledges.first, ledges.last)[side])
        out = (np.abs(here - end) + 0.5) * ledges.step
        thins = ((1, -1)[side] * rises < _LEVEL_MM) & ~wall & ~heaped[end]
        over, least = (low + (high - low) * by for (low, high), by in ((_RUNS_OUT, own), (_THINNEST, other)))
        thinner = least + (1 - least) * np.clip(out / (over * long), 0, 1)
        wedge = np.where(thins, np.minimum(wedge, thinner), wedge)
        over = _ROUNDS_MM[0] + (_ROUNDS_MM[1] - _ROUNDS_MM[0]) * other
        ends = np.clip(out / over, 0, 1) ** 0.5
        round_off = np.where(wall | heaped[end], round_off, np.minimum(round_off, ends))
        wedge = np.where(wall, wedge * (1 + _FOOT * own * np.exp(-out / _FOOT_MM)), wedge)
    return wedge, round_off
