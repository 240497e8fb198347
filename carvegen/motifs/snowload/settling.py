"""What has fallen spreads until it is stable: slopes at repose, ends that taper, and falls over edges."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from carvegen.motifs.shared.fields import waves_at
from carvegen.motifs.snowload.ledges import diffused
from carvegen.motifs.snowload.snowpack import USUAL_MM, cap_mm, clinging_mm, repose_deg
from carvegen.motifs.snowload.wind import lee_sides, strength

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats, Mask
    from carvegen.motifs.snowload.ledges import Ledges
    from carvegen.motifs.snowload.settings import Settings

__all__ = [
    "Ends",
    "Settled",
    "before_brinks",
    "borne",
    "crags",
    "domed",
    "ends_of",
    "heaped",
    "leant",
    "left_on_slopes",
    "limited",
    "pointed",
    "settled",
    "slumped",
]

_ROUNDS = 4  #: of spreading and falling
_STEPS = 7  #: of spreading in each
_GENTLEST, _ROUNDS_OVER = 0.6, 1.2  #: the snow right at free ends is as steep as so much of repose or more, by chance;
#: it rounds over within so many times the depth fallen
_FAST, _CALM = 300.0, 0.5  #: how fast snow moves where it is too steep, and where it only evens out
_THIN_MM = 0.3  #: a layer so thin moves a quarter as fast
_BESIDE_MM = 2.0  #: over a gap that is bridged what stands so near beside it bears the snow
_FORK_MM, _FORK_FALLEN = 1.5, 0.4  #: a fork, or a hollow of the snow, is as wide on either side, and by so much of the
#: depth fallen wider
_TIP, _BLUNT_MM = 0.4, 3.0  #: a twig's end holds so much of what the end of a thing holds that is so broad
_HAT, _HAT_FALLEN = 0.8, 0.6  #: on a pointed thing the cap sits on the tip: so many mm, and so much of what has fallen
_HEAD, _HEAD_MM = (
    0.35,
    8.0,
)  #: so much of the cap that it bears stays on a picket's head, which is no broader than this,
_HEAD_FALLS = 0.4, 0.87  #: and falls off by so many times its breadth: less is a post's, more a fir's tip
_POINT_MM = (20.0, 1.0)  #: a narrow thing that falls within so much by more than this is pointed: its cap is a dome
_POINTED = (0.6,), (1.4,)  #: and from some the snow slips: it is so many times as high as a full cap, least and most
_JOINT_MM, _JOINT = 1.2, 1.5  #: so near to a wall it is the joint that is broad: so many times the thing at the most
_HUNG_MM, _HUNG = (
    1.0,
    0.4,
)  #: what spans two twigs is no wider than a gap that is bridged and so much, and has air under
#: under so much of it: it is a stump below where they part, and bears nothing
_NET, _NET_MM = 0.3, 1.2  #: a gap that is bridged bears as a thing of the breadth of those beside it, and of so much
#: of it in a net of twigs no broader than this
_SLACK = 0.2  #: what sags by less than so many times that is a slack rope and no fork
_FORKED = 0.9  #: a fork bears so many times the breadth of its limbs more than they do
_RIDGE_MM, _RIDGE = 0.4, 1.4  #: a slender thing bears as much as the cap of one so much, and so many times, as broad
_LIMB_MM, _LIMB_OVER_MM, _BROADEST_MM = 0.6, 0.4, 3.0  #: what is broader, wholly by so much more, bears more after a
#: deep fall, but no more than what is so broad;
_HEAPED, _DEEPEST = 0.6, 2.0  #: as this power of how many times the usual depth has fallen, up to so many (our own
#: choice)
_MOST, _MOST_MM = 1.25, 0.8  #: the deepest anywhere: so many times what has fallen, and so much more
_HOLLOW_MM, _LEVELS = 0.1, 2  #: deeper hollows are levelled, in so many steps
_WALL_MM = 3.0  #: what stands at an end is as high as it is anywhere so near
_HIGH_MM, _SCATTERS = 5.0, 0.5  #: what falls from higher than that scatters by so much for each mm more,
_FLIES_MM, _SCATTERED_MM = 6.0, 12.0  #: most of it elsewhere if by more than this; it matters so far about
_HELD_MM = 0.3  #: snow below an edge that comes so near to it holds what lies on the edge
_POCKET = 0.9  #: between walls it lies so deep for the pocket's breadth, and
_DOME = 3.5  #: a thing that is free on both sides and no broader than so many times what has fallen bears a dome
_ALONE_FALLEN = 0.12  #: on a post more than its cap by so much of the depth fallen
_POCKET_FALLEN, _POCKET_MM = 0.6, 4.0  #: so much of the depth fallen more, but less in those narrower than this
_SLIT_MM = 1.4  #: none in those narrower than this, hardly any in those up to twice as wide
_NOTCH_MM, _UPRIGHT = 1.0, 3.0  #: so near it is looked how a slope leans; steeper (rise over run) is as steep as this
_SADDLE, _DEEPENS = 0.7, 0.35  #: rise over run beside a steep limb of a fork: of the snow, and of its depth along from
#: there along a limb that rises faster itself,
_ANY_MM = 1e4  #: up to anything
_BARE, _BARE_WET = 1.45, 0.4  #: it bears ever less from half this slope on, and from it on none: dry, and more if wet
_SLIDES, _SLIDES_MM, _SLIDES_FALLEN = 0.8, 5.0, 0.7  #: where the steepness leaves less, that is so many times uneven:
#: it has slid off in places, so far apart, and by so much of the depth fallen further
_BRINK_MM, _BEFORE_MM, _EDGE_MM = 1.0, 4.0, 0.25  #: a brink falls off over so much as steeply as where none stays; so
#: near to it, and by the depth fallen further, snow thins, to so much;
_ROUNDED_MM = 3.0  #: but what falls off so near to an edge is rounded there: the edge tells
_FOOT, _SINKS, _LEANS_MM = 1.0, 0.4, 2.5  #: a side so steep (rise over run) is leant on; so much lower, as near to it
_ROCK = 0.8  #: ground bears so much of what has fallen,
_UPRIGHT_MM, _RAIL_MM, _APART_MM = 3.0, 4.5, 8.0  #: between uprights so tall, on what is no broader, no further apart,
_SPAN, _SPAN_MM, _LEANS, _LEANS_OVER = 0.12, 0.1, 0.4, 0.25  #: it lies so many times as deep as they are apart, and so
#: much more; at their feet up to so many times as deep again, which runs out over so many times that width
_CRAGS_MM, _CRAGGY, _CRAGGY_OVER = 4.0, 0.6, 0.4  #: ever less where it is so steep (rise over run) so near


@dataclass(frozen=True, eq=False)
class Ends:
    """Free ends of the chains, left and right; each array (2, n)."""

    away: Floats  #: distance along x to the chain's end on that side, mm
    free: Mask  #: whether it ends there over an edge
    at_edge: Floats  #: how deep the snow may lie right at the edge, mm
    rise: Floats  #: how much more 1 mm in
    power: Floats  #: and how that grows with the distance: 0.5 blunt … 1 a wedge
    crest: Floats  #: how deep it may lie at the most; inf: as deep as it falls; (n,)
    crest_in: Floats  #: distance from the end to there, mm
    kind: Floats  #: a number 0…1 of each end
    on_tip: Floats  #: the share that stays so far below the tip of a pointed thing, (n,)
    wall: Floats  #: how high what stands at the end rises over it, mm; inf: past all snow, or nothing stands there
    steepest: Floats  #: rise over run of the snow right there, at repose or less, over what stands upright at the edge
    rounds_mm: float  #: and within so much it is half as steep

    def deepest(self, side: int) -> Floats:
        """How deep the snow may lie by its distance to the end on that side, mm, (n,)."""
        away = self.away[side]
        slope = self.at_edge[side] + np.minimum(
            self.rise[side] * away ** self.power[side],
            self.steepest[side] * self.rounds_mm * np.log1p(away / self.rounds_mm),
        )
        out = np.clip(1 - self.away[side] / self.crest_in[side], 0, 1)
        domed = np.isfinite(self.crest)
        dome = self.at_edge[side] + (np.where(domed, self.crest, 0) - self.at_edge[side]) * (1 - out**2) ** 0.75
        return np.asarray(np.where(domed, dome, slope))


@dataclass(frozen=True, eq=False)
class Settled:
    """Depth over each ledge and the account of it, mm² of the picture."""

    depth: Floats  #: plumb, mm, (n,)
    fallen: float
    lost: float  #: past the page's lower edge, and what found no room

    @property
    def lying(self) -> float:
        """What lies, as a sum of depths; times the step it is an area."""
        return float(self.depth.sum())


def ends_of(ledges: Ledges, settings: Settings, rng: Generator) -> Ends:
    """How the snow ends at each chain's free ends: blunt, tapering or broken off, each its own way."""
    here = np.arange(len(ledges))
    ends = np.stack([ledges.first, ledges.last])
    away = np.abs(here - ends) * ledges.step + ledges.step / 2
    kind = np.stack([ledges.chance(rng, end) for end in ends])
    steep = np.stack([ledges.chance(rng, end) for end in ends])
    size = 0.5 + steep
    pick = [kind < 0.4, kind < 0.8]
    wide = (ledges.last - ledges.first + 1) * ledges.step
    holds = (0.75 + 0.5 * settings.sticky) * np.clip(wide / (1.5 + 0.6 * settings.fallen_mm), 0.4, 1)
    holds = holds * np.clip(_TIP + ledges.highest(ledges.breadth, _BESIDE_MM)[ends] / _BLUNT_MM, 0, 1)
    size, deep = size * holds, settings.fallen_mm / USUAL_MM
    power = np.select(pick, [0.55, 0.95], 0.75)
    at_edge = np.select(pick, [0.3 * size, 0.05 * holds], 0.6 * size) * deep**0.5
    rise = np.select(pick, [1.5 * size, 0.45 * size], 1.0 * size) * deep ** (1 - power if deep < 1 else 0.5)
    blows = strength(settings)
    if blows:  # the wind lays it down right to the lee edge
        lee = int(blows > 0)
        at_edge[lee] += 0.5 * abs(blows) * settings.fallen_mm * (0.4 + 0.6 * kind[lee]) * np.clip(wide / 12, 0, 1)
    free = np.take_along_axis(ledges.free, ends, axis=1) > -2
    crest = _crests(ledges, settings, free[0] & free[1], rng)
    first = 0.32 + 0.36 * ledges.chance(rng, ledges.first)
    crest_in = np.stack([first, 1 - first]) * wide
    at_edge = np.where(np.isfinite(crest), (0.05 + 0.25 * kind) * crest, at_edge)
    hat = _HAT + _HAT_FALLEN * settings.fallen_mm
    on_tip = np.where(np.isfinite(crest), np.clip(1.4 - ledges.below_tip / hat, 0, 1), 1.0)
    steepest = (_GENTLEST + (1 - _GENTLEST) * steep) * np.tan(np.radians(repose_deg(settings.sticky)))
    return Ends(
        away, free, at_edge, rise, power, crest, crest_in, kind, on_tip, ledges.rises(_WALL_MM), steepest,
        _ROUNDS_OVER * settings.fallen_mm,
    )  # fmt: skip


def pointed(ledges: Ledges) -> Mask:
    """Which places are those of a narrow thing that falls off to its sides, such as a picket, (n,)."""
    return ledges.highest(ledges.below_tip, _POINT_MM[0]) > _POINT_MM[1]


def _heads(ledges: Ledges, ends: Ends) -> Mask:
    """Which places are those of a narrow thing with a point that is not too sharp, such as a picket's head, (n,)."""
    lower = np.minimum(ledges.below_tip[ledges.first], ledges.below_tip[ledges.last])
    wide = (ledges.last - ledges.first + 1) * ledges.step
    bridged = ledges.highest(ledges.bridged.astype(np.float64), _HEAD_MM) > 0
    steep = (lower > _HEAD_FALLS[0] * wide) & (lower < _HEAD_FALLS[1] * wide)
    return np.isfinite(ends.crest) & (wide < _HEAD_MM) & steep & ~bridged


def _crests(ledges: Ledges, settings: Settings, alone: Mask, rng: Generator) -> Floats:
    """How high a cap stands on a narrow thing that is free on both sides; inf elsewhere.

    Such a cap is a dome from edge to edge, its crest off the middle; on what is broad the two ends are each for itself.
    """
    wide = ((ledges.last - ledges.first + 1) * ledges.step).astype(np.float64)
    most = np.minimum(cap_mm(wide, settings.sticky), 1.4 * settings.fallen_mm)
    least, full = np.where(pointed(ledges), _POINTED, ((0.8,), (1.1,)))
    high = most * (least + (full - least) * ledges.chance(rng, ledges.first))
    return np.where(alone & (wide < _DOME * settings.fallen_mm), high, np.inf)


def settled(
    ledges: Ledges, depth: Floats, settings: Settings, *, sky: Floats, ends: Ends, bears: Floats, land_mm: float
) -> Settled:
    """The snow when it has come to rest.

    A height field that spreads until it is stable (source: festenberg-gumhold, fearing-2000). Changed: the field lies
    along the chains of ledges, each step is solved implicitly (so that few are enough, and what leaves one place comes
    to the next), and what an end cannot hold falls on what lies below it.

    Parameters
    ----------
    depth
        What has fallen on each ledge, mm.
    sky
        The share of the sky that broad things leave open over each ledge: what falls past a twig lands by it.
    bears
        The deepest that each ledge bears, mm.
    land_mm
        So much air stays under what hangs above.
    """
    fallen, lost = float(depth.sum()), 0.0
    hold = clinging_mm(ledges.slope, settings.sticky, settings.fallen_mm)
    stuck = np.where(_heads(ledges, ends), np.minimum(depth, _HEAD * limited(ledges, depth, ends).min(axis=0)), 0)
    depth = depth - stuck
    room = ledges.room(land_mm)
    for _ in range(_ROUNDS):
        for _ in range(_STEPS):
            depth = ledges.filled(_spread(ledges, depth, hold, settings))
        more = np.clip(depth - bears, 0, None)
        depth, gone = _past(ledges, depth - more, more, settings, sky)
        lost += gone
        depth = ledges.calmed(depth, 0.15 + 0.25 * settings.fallen_mm, _THIN_MM)
        depth = _levelled(ledges, depth, settings)
        depth, gone = _over_edges(ledges, depth, settings, ends)
        lost += gone
    depth = domed(ledges, depth + stuck, ends)
    top = np.minimum(np.minimum(bears, room), limited(ledges, depth, ends).min(axis=0))
    lost += float(np.clip(depth - top, 0, None).sum())
    return Settled(np.minimum(depth, top), fallen, lost)


def borne(ledges: Ledges, settings: Settings, ground: Floats) -> Floats:
    """The deepest that the thing below bears: a slender one by its own breadth, a fork more, a pocket no tower.

    Parameters
    ----------
    ground
        How much each ledge is ground, 0…1: what slides there goes down its front, and gathers in no notch.
    """
    wide = (ledges.last - ledges.first + 1) * ledges.step
    beside = ledges.highest(ledges.breadth, _BESIDE_MM)
    breadth = np.where(ledges.bridged, beside * np.clip(_NET * beside / _NET_MM, _NET, 1), _before_joints(ledges))
    cap, full = (cap_mm(_RIDGE_MM + _RIDGE * of, settings.sticky) for of in (breadth, np.array(_BROADEST_MM)))
    limb = np.clip((breadth - _LIMB_MM) / _LIMB_OVER_MM, 0, 1)
    heaped = 1 + limb * (np.clip(settings.fallen_mm / USUAL_MM, 1, _DEEPEST) ** _HEAPED - 1)
    twig = np.maximum(cap, heaped * np.minimum(cap, full))
    over_mm = _fork_mm(settings)
    fork = np.clip(ledges.hollow(ledges.base, over_mm) - _SLACK * over_mm, 0, None)
    twig += np.minimum(fork, _FORKED * breadth * heaped)
    pocket = _POCKET * wide + _POCKET_FALLEN * settings.fallen_mm * np.clip((wide - _SLIT_MM) / _POCKET_MM, 0, 1)
    pocket *= np.clip(wide / _SLIT_MM - 1, 0, 1)
    walls = ledges.free[0][ledges.first], ledges.free[1][ledges.last]
    alone = (walls[0] > -2) & (walls[1] > -2)
    air = np.bincount(ledges.first, ledges.void > _HELD_MM, minlength=len(ledges))[ledges.first] * ledges.step / wide
    across = (wide < settings.bridging_mm + _HUNG_MM) & (air > _HUNG)  # from one hanging twig to the next
    twig = np.where(across | ledges.hung, 0.0, twig)
    pocket = np.where(
        alone, cap_mm(wide.astype(np.float64), settings.sticky) + _ALONE_FALLEN * settings.fallen_mm, pocket
    )
    most = _MOST * settings.fallen_mm + _MOST_MM
    rock = _ROCK * settings.fallen_mm * (1 - crags(ledges))
    return np.asarray(np.minimum(np.minimum(twig, pocket), most - ground * (most - rock)))


def left_on_slopes(ledges: Ledges, settings: Settings, ends: Ends, rng: Generator) -> Floats:
    """The deepest that stays where the base leans, mm: forks of steep limbs hold it, one steep side does not; (n,).

    Where hardly any stays it has slid off in places and holds in others: a strip as even as the slope looks ruled.
    From what a steep limb holds in a fork the snow rises gently: more beside it would stand as a wall. What falls off
    steeply to both sides, as the head of a picket, bears its cap.
    """
    lean = np.abs(ledges.smoothed(np.clip(ledges.slope, -_UPRIGHT, _UPRIGHT), _NOTCH_MM))
    over_mm = _fork_mm(settings)
    fork = np.clip(ledges.hollow(ledges.base, over_mm), 0, None)
    bare = np.clip(2 - 2 * lean / (_BARE + _BARE_WET * settings.sticky), 0, 1)
    deepest = _MOST * settings.fallen_mm + _MOST_MM
    limb, within_mm = (bare == 0) & (fork > 0), deepest / _DEEPENS
    level, along = (
        ledges.rising_gently(np.where(limb, start + fork, _ANY_MM), rise, within_mm) - start
        for start, rise in ((ledges.base, _SADDLE), (0, _DEEPENS))
    )
    patch_mm = _SLIDES_MM + _SLIDES_FALLEN * settings.fallen_mm
    slid = waves_at(np.column_stack([ledges.x, ledges.base]), rng, patch_mm=(patch_mm, patch_mm))
    holds = np.clip(bare + _SLIDES * slid * np.minimum(bare, 1 - bare), 0, 1)
    left = np.clip(np.maximum(level, along), 0, holds * deepest + fork)
    return np.where(_heads(ledges, ends), _ANY_MM, left)


def before_brinks(ledges: Ledges, depth: Floats, settings: Settings, ends: Ends) -> Floats:
    """The deepest before brinks where the base falls off more steeply than snow stays, mm, (n,): an end as at an edge.

    Where the snow below reaches up to the brink, there is none.
    """
    here, over = np.arange(len(ledges)), int(_BRINK_MM / ledges.step)
    steep = (_BARE + _BARE_WET * settings.sticky) * over * ledges.step
    before_mm = _BEFORE_MM + settings.fallen_mm
    most = np.full(len(ledges), np.inf)
    for side, sign in ((0, -1), (1, 1)):
        foot = np.clip(here + sign * over, ledges.first, ledges.last)
        brink = (ledges.base - (ledges.base + depth)[foot] > steep) & ~np.isfinite(ends.crest)
        brink &= ~ends.free[side] | (ends.away[side] > _ROUNDED_MM)
        away = np.minimum(ledges.away_from(brink, sign, before_mm), before_mm)
        rise = ends.steepest[side] * ends.rounds_mm * np.log1p(away / ends.rounds_mm)
        runs_out = np.maximum(1 - (away / before_mm) ** 2, 1e-9)  # further off it tells nothing, without a step
        most = np.minimum(most, _EDGE_MM + rise / runs_out)
    return most


def leant(ledges: Ledges, depth: Floats) -> Floats:
    """How deep snow at the foot of a steep side lies on that side, mm, (n,): it leans there, and ends on no wall."""
    surface, leans = ledges.base + depth, np.zeros(len(ledges))
    for side in (-1, 1):  # where the foot is
        up = side * ledges.slope < -_FOOT
        over = ledges.highest_to(np.where(depth > 0, surface - _SINKS * side * ledges.x, -_ANY_MM), side, _LEANS_MM)
        leans = np.maximum(leans, np.where(up, over + _SINKS * side * ledges.x - ledges.base, 0))
    return leans


def slumped(ledges: Ledges, ends: Ends, settings: Settings) -> Floats:
    """The deepest on a rail between uprights, mm; inf elsewhere; (n,).

    What has slipped down an upright leans against its foot, in the wind in its lee alone; between the two it is thin:
    across a span as narrow as it is deep it would stand as a block.
    """
    wide = (ledges.last - ledges.first + 1) * ledges.step
    lean = (
        _LEANS * lee_sides(settings) * np.clip(1.6 * ends.kind - 0.4, 0, 1) * np.exp(-ends.away / (_LEANS_OVER * wide))
    )
    most = (_SPAN_MM + wide * (_SPAN + lean.sum(axis=0))) * (settings.fallen_mm / USUAL_MM) ** 0.5
    between = (~ends.free & (ends.wall > _UPRIGHT_MM)).all(axis=0) & (wide < _APART_MM)
    return np.where(between & (ledges.highest(ledges.breadth, _BESIDE_MM) < _RAIL_MM), most, np.inf)


def _fork_mm(settings: Settings) -> float:
    """How wide a fork is on either side, mm."""
    return _FORK_MM + _FORK_FALLEN * settings.fallen_mm


def crags(ledges: Ledges) -> Floats:
    """How steep it is round about each place, up or down, 0…1: on ground from 1 on nothing gathers."""
    steep = ledges.smoothed(np.clip(np.abs(ledges.slope), 0, _UPRIGHT), _CRAGS_MM)
    return np.asarray(np.clip((steep - _CRAGGY) / _CRAGGY_OVER, 0, 1))


def _before_joints(ledges: Ledges) -> Floats:
    """The breadth of each thing; right at what it joins no more than a little further out, mm, (n,)."""
    here, breadth = np.arange(len(ledges)), ledges.breadth
    for end, walled, sign in zip((ledges.first, ledges.last), ledges.free, (1, -1), strict=True):
        outer = np.clip(end + sign * int(_JOINT_MM / ledges.step), ledges.first, ledges.last)
        joint = (np.abs(here - end) * ledges.step < _JOINT_MM) & (walled[end] == -2)
        breadth = np.where(joint, np.minimum(breadth, _JOINT * breadth[outer] + 1), breadth)
    return breadth


def _spread(ledges: Ledges, depth: Floats, hold: Floats, settings: Settings) -> Floats:
    """One step: down where it is steeper than repose, and a little wherever it is uneven; the sum is kept."""
    surface = ledges.base + depth
    fall = surface[:-1] - surface[1:]
    steepest = np.tan(np.radians(repose_deg(settings.sticky))) * ledges.step
    upper = np.where(fall > 0, depth[:-1], depth[1:])
    loose = np.clip(upper - np.where(fall > 0, hold[:-1], hold[1:]), 0, None)
    slides = np.abs(fall) > steepest
    both = np.minimum(depth[:-1], depth[1:]) > _THIN_MM
    along = np.where(slides, _FAST * (loose / (loose + _THIN_MM)) ** 2, _CALM * both) * ledges.linked[:-1]
    rest = np.where(slides, np.sign(fall) * steepest, 0.0) - (ledges.base[:-1] - ledges.base[1:])
    return diffused(depth, along, rest)


def _levelled(ledges: Ledges, depth: Floats, settings: Settings) -> Floats:
    """The depth with hollows of the surface filled from their own flanks, as snow that sags fills a fork; sum kept."""
    over_mm = _fork_mm(settings)
    for _ in range(_LEVELS):
        hollow = ledges.hollow(ledges.base + depth, over_mm) > _HOLLOW_MM
        deep = depth + ledges.hollow(depth, _FORK_MM / 2) > _THIN_MM / 2  # a slit is filled from both its sides
        links = ledges.linked[:-1] & (hollow[:-1] | hollow[1:]) & (deep[:-1] | deep[1:])
        depth = ledges.filled(diffused(depth, links * (over_mm / ledges.step) ** 2 / 2, np.diff(ledges.base)))
    return depth


def limited(ledges: Ledges, depth: Floats, ends: Ends) -> Floats:
    """How deep it can lie by its distance to each end, free ones that nothing below holds up and low walls; (2, n)."""
    limits = []
    for side, end in enumerate((ledges.first, ledges.last)):
        below = ledges.free[side][end]
        under = np.where(below >= 0, ledges.base[below] + depth[below] - ledges.base[end], -np.inf)
        held = np.where(under > -_HELD_MM, np.clip(under, 0, None) + _HELD_MM, 0)
        leans = ends.wall[side] + np.clip(ledges.base[end] - ledges.base, 0, None)
        held = np.where(ends.free[side], held, leans)
        limits.append((ends.deepest(side) + held) * ends.on_tip)
    return np.stack(limits)


def domed(ledges: Ledges, depth: Floats, ends: Ends) -> Floats:
    """The snow on narrow things rounded off to a dome of as much snow, or as much as one holds."""
    return heaped(ledges, depth, np.where(np.isfinite(ends.crest), limited(ledges, depth, ends).min(axis=0), np.inf))


def heaped(ledges: Ledges, depth: Floats, limit: Floats) -> Floats:
    """The snow in the shape of its limit where that is finite: as much of it on each chain, or as much as one holds."""
    shaped = np.isfinite(limit)
    lies, holds = (np.bincount(ledges.first[shaped], each[shaped], minlength=len(depth)) for each in (depth, limit))
    share = np.clip(lies / np.maximum(holds, 1e-9), 0, 1)[ledges.first]
    return np.where(shaped, np.where(shaped, limit, 0) * share, depth)


def _over_edges(ledges: Ledges, depth: Floats, settings: Settings, ends: Ends) -> tuple[Floats, float]:
    """What the ends cannot hold falls on what lies below them, spread a little; and the sum that meets nothing.

    From high up it scatters, and part of it falls before or behind what is drawn there.
    """
    limits = limited(ledges, depth, ends)
    more = np.clip(depth - limits.min(axis=0), 0, None)
    side = limits.argmin(axis=0)
    end = np.where(side == 0, ledges.first, ledges.last)
    below = ledges.free[side, end]
    lands = (below >= 0) & (more > 0)
    scatters = np.zeros(len(ledges))
    falls = (ledges.base[end] - ledges.base[below])[lands]
    np.maximum.at(scatters, below[lands], _SCATTERS * np.clip(falls - _HIGH_MM, 0, None))
    scatters = ledges.highest(scatters, _SCATTERED_MM)
    came = np.bincount(below[lands], more[lands], minlength=len(ledges)) / (1 + scatters / _FLIES_MM)
    lost = float(more.sum() - came.sum())
    return depth - more + ledges.smoothed(came, 0.4 + 0.35 * settings.fallen_mm + scatters[:-1]), lost


def _past(ledges: Ledges, depth: Floats, more: Floats, settings: Settings, sky: Floats) -> tuple[Floats, float]:
    """What is too much for a twig falls before or behind it on the ledge below, as far as that lies open."""
    below = np.maximum(ledges.under, 0)
    lands = more * np.clip(sky[below], 0, 1) * (ledges.under >= 0)
    came = np.bincount(below, lands, minlength=len(depth)).astype(np.float64)
    came = ledges.smoothed(came, 0.4 + 0.35 * settings.fallen_mm)
    return depth + came, float((more - lands).sum())
