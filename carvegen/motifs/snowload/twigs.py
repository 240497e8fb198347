"""Lines of snow along the tops of twigs that bear no heap, and what fills their forks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from carvegen.motifs.shared.fields import waves_at
from carvegen.motifs.snowload.ledges import ledges_of
from carvegen.motifs.snowload.snowpack import cap_mm, repose_deg

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.random import Generator

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, Mask
    from carvegen.motifs.snowload.drawing import Canvas
    from carvegen.motifs.snowload.ledges import Ledges
    from carvegen.motifs.snowload.scene import Columns
    from carvegen.motifs.snowload.settings import Settings

__all__ = ["on_twigs"]

_CLIFF_MM = 0.6  #: what rises by more from one column to the next is another twig
_NEEDLE_MM, _LIMB_MM = 0.25, 3.0  #: a twig is broader than that, and no broader than this;
_SHORTEST_MM, _JOINED_MM = 1.8, 0.6  #: a shorter line is a dot, but one that goes on from a heap,
_JOINS_MM = 1.2  #: under which it reaches so far
_FULL, _GROWS = 0.29, 0.6  #: a line is so thick for one mm fallen, and grows by this power
_LEAST, _NEARLY = 1.15, 0.75  #: smallest cuts: a line is no thinner; a twig that bears less than so much of it, none
_SLENDER = 0.16  #: and no thicker than so many times its length, or it is a lump
_RIDGE_MM, _RIDGE = 0.4, 1.4  #: a twig bears the cap of a thing so much, and so many times, as broad
_STEEPEST = 0.95  #: of the slope of repose: on steeper twigs lies none
_AIR_MM = 0.3  #: so much air stays over a line, but in the corner under a twig: it is filled
_CORNER_MM, _MOUTH_MM, _SHUT_MM = 2.5, 1.2, 0.8  #: from so far out, where it is so wide, if it closes to so little
_THIN_MM, _SKY_MM2 = 1.2, (2.0, 9.0)  #: in a smaller piece of sky lies none: over a twig so thin, and over others
_SEEN = 0.2  #: of the sky: what sees less stays bare
_TAPERS_MM, _TIP = (1.0, 3.5), 0.35  #: lines run out over so much, least and most, and so many times that at tips;
_TAPERED = 0.35  #: of a line's length at the most, at either end;
_FOOT, _FOOT_MM = 0.6, 0.8  #: at what stands there they are so many times thicker, over so much
_SINKS_MM = 0.06  #: their lower side lies so deep in the twig that no sky shows
_FORK_MM, _FORK_FALLEN, _FORKED = 1.2, 0.15, 0.4  #: a fork is filled from so far on either side, by so much of what has
#: fallen and so much more, mm
_HEAP_MM = 0.3  #: where there is a heap so near over the twig, it needs no line


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
    ledges = ledges_of(drawn, drawn, cliff_mm=_CLIFF_MM)
    where = np.column_stack([ledges.x, ledges.base])
    lean = np.abs(ledges.smoothed(np.clip(ledges.slope, -4, 4), 0.5))
    upright = np.hypot(1, np.minimum(lean, 2.0))
    broad = np.minimum(ledges.thick / upright, ledges.breadth)
    least = _LEAST * limits.cut_mm
    bears = cap_mm(_RIDGE_MM + _RIDGE * broad, settings.sticky)
    wave = waves_at(where, rng, patch_mm=(4.0, 1.5))
    full = _FULL * settings.fallen_mm**_GROWS * np.exp(0.5 * settings.lumpy * wave)
    steepest = np.tan(np.radians(repose_deg(settings.sticky)))
    full = np.minimum(full, bears) * np.clip(2 - 2 * lean / steepest, 0.3, 1)
    here, over = seen(ledges), -ledges.highest(-(ledges.ceiling - ledges.base), 0.3)
    heaped = _at(heaps, canvas, ledges, _HEAP_MM)
    bare = _bare(where, settings, here, rng) | (
        _at(air_mm2, canvas, ledges, _HEAP_MM) < np.where(broad < _THIN_MM, *_SKY_MM2)
    )
    on = (broad > _NEEDLE_MM) & (broad < _LIMB_MM) & (bears > _NEARLY * least) & (here > _SEEN) & ~bare
    fork = np.minimum(ledges.hollow(ledges.base, _FORK_MM), _FORKED + _FORK_FALLEN * settings.fallen_mm)
    lies = ledges.smoothed(on & (lean < _STEEPEST * steepest), 0.5) > 0.6  # more than the tip of a steep twig
    thin = _above(ledges, lies) < (limits.land_mm + _AIR_MM) * upright
    room = over - np.where(thin, np.maximum(_AIR_MM, limits.land_mm), _AIR_MM)
    fork = np.where(on & ~heaped, np.minimum(fork, room), 0)
    corner = _corners(ledges, over) & (room < least * upright) & ~thin
    on &= (lean < _STEEPEST * steepest) & (corner | (room > least * upright))
    on &= ~heaped | (ledges.highest((~heaped & on).astype(np.float64), _JOINS_MM) > 0)
    first, last = _runs(ledges, on)
    long, joins = (
        np.bincount(first, each * on, minlength=len(ledges))[first]
        for each in (upright * ledges.step * ~heaped, heaped)
    )
    on &= long > np.where(joins > 0, _JOINED_MM, _SHORTEST_MM)
    full = np.minimum(full, _SLENDER * long)
    thick = np.maximum(full, least) * _tapered(ledges, first, last, heaped, rng) * upright
    thick = np.maximum(np.where(on, np.where(corner, over, np.minimum(thick, room)), 0), fork)
    thick = ledges.smoothed(thick, 0.2)
    on = thick > 0.05
    low = ledges.base - _SINKS_MM * upright
    canvas.stroke(ledges.column[on], low[on], (ledges.base + thick)[on])


def _above(ledges: Ledges, on: Mask) -> Floats:
    """How thick what hangs over each place is, plumb, mm, where a line may lie on it; else inf."""
    thick = np.full(len(ledges), np.inf)
    over = np.flatnonzero((ledges.under >= 0) & on)
    below = ledges.under[over]
    thick[below] = ledges.base[over] - ledges.ceiling[below]
    return thick


def _corners(ledges: Ledges, gap: Floats) -> Mask:
    """Which places lie in the acute corner under a twig that rises from theirs."""
    here = np.arange(len(ledges))
    corner = np.zeros(len(ledges), dtype=bool)
    for side, end in enumerate((ledges.first, ledges.last)):
        shut = (ledges.free[side][end] == -2) & (gap[end] < _SHUT_MM)
        corner |= shut & (np.abs(here - end) * ledges.step < _CORNER_MM)
    return corner & (gap < _MOUTH_MM)


def _runs(ledges: Ledges, on: Mask) -> tuple[np.ndarray, np.ndarray]:
    """The first and the last place of the run that each place on a line belongs to."""
    goes_on = ledges.linked[:-1] & on[:-1] & on[1:]
    begins = np.append(True, ~goes_on)
    first = np.flatnonzero(begins)
    number = np.cumsum(begins) - 1
    return first[number], np.append(first[1:], len(on))[number] - 1


def _bare(where: Floats, settings: Settings, seen: Floats, rng: Generator) -> Mask:
    from scipy.special import ndtr

    wave = (waves_at(where, rng, patch_mm=(7.0, 7.0)) + 0.4 * waves_at(where, rng, patch_mm=(3.0, 3.0))) / 1.077
    return np.asarray(ndtr(wave) > settings.twigs * np.clip(1.6 * seen, 0, 1))


def _at(cells: Any, canvas: Canvas, ledges: Ledges, over_mm: float) -> Any:  # noqa: ANN401
    row = np.clip((ledges.base + over_mm - canvas.page.bottom) / canvas.page.step, 0, canvas.page.high - 1).astype(int)
    return cells[row, ledges.column]


def _tapered(ledges: Ledges, first: np.ndarray, last: np.ndarray, heaped: Mask, rng: Generator) -> Floats:
    """How much of its thickness a line has by its distance from both ends, 0…1; more at what stands there.

    Where it joins a heap it has all of it.
    """
    here, share, foot = np.arange(len(ledges)), np.ones(len(ledges)), np.ones(len(ledges))
    long = (last - first + 1) * ledges.step
    for side, end in enumerate((first, last)):
        own = ledges.chance(rng, end)
        outermost = end == (ledges.first, ledges.last)[side]
        over = _TAPERS_MM[0] + (_TAPERS_MM[1] - _TAPERS_MM[0]) * own
        over = np.minimum(np.where(outermost, _TIP, 1) * over, _TAPERED * long)
        wall = (ledges.free[side][end] == -2) & outermost
        out = (np.abs(here - end) + 0.5) * ledges.step
        share = np.where(wall | heaped[end], share, np.minimum(share, np.clip(out / over, 0, 1) ** 0.5))
        foot = np.where(wall, foot + _FOOT * own * np.exp(-out / _FOOT_MM), foot)
    return share * foot
