"""A laser's plan: marks scored, areas lowered in steps, cut-outs to size. Shapes and lines only."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.progress import each_part, part, reached
from carvegen.checks.depths.laser_depth import goes_through, through
from carvegen.facts import cutting, feeds
from carvegen.geometry.edges import dot
from carvegen.toolpaths import register_lines
from carvegen.toolpaths.cutter_centre_region import grown, holds_disc, least_mm
from carvegen.toolpaths.laser.beam import (
    beam_half_mm,
    fits_bed,
    lies_unturned,
    off_limits,
    room_for,
)
from carvegen.toolpaths.laser.cut_outs import block_cut, opening_cuts, tab_rule
from carvegen.toolpaths.laser.scanning import (
    contours,
    outlines,
    ringed_outlines,
    scan_lines,
)
from carvegen.toolpaths.paths import (
    Operation,
    Paths,
    Plan,
    Work,
    joined,
    no_paths,
    picked,
)
from carvegen.toolpaths.sequence.order import ordered
from carvegen.toolpaths.sequence.tours import along_curve
from carvegen.toolpaths.unmade import shortfalls

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from carvegen.base.findings import Finding
    from carvegen.blocks.block import Block
    from carvegen.blocks.job import Job
    from carvegen.geometry import Floats, Indices, Mask, PolygonArray
    from carvegen.toolpaths.settings import PathSettings

__all__ = ["laser_plan"]

_LONG = "It burns longest, and all over the face: more heat and fume than any other layer."
_SHARES = {1: "all", 2: "half", 3: "a third", 4: "a quarter", 5: "a fifth", 6: "a sixth", 7: "a seventh"}
_NEAR = 0.25  #: of the spacing: a line no further than this from the next step's first is left out; in tips, where the
# next step has no room, so little more than a spacing stays between lines from both sides; our own choice
_ALONG_MM = 0.0015  #: a line whose middle lies so near to another runs along it: coordinates lie on a grid of 1 µm
_SPECK_MM = 0.05  #: narrower places that the beam leaves in corners are not worth a word; our own choice
_SURELY = 0.94  #: of it: what buffers get wrong is less than the rest, as GEOS takes their input 1 % of the way simpler

#: Shares of the time, measured on 2,400 flakes of heavy snow: where the beam may go, its paths, what it leaves.
_SHARES_OF_TIME = (0.35, 0.45, 0.2)
_ALL_LOWERED = sum(_SHARES_OF_TIME[:2])

_TIMES = ("", "", "two", "three", "four", "five", "six")


def laser_plan(job: Job, settings: PathSettings) -> Plan:
    """What a laser does to a block: score the register marks, lower the areas, cut out from the inside outwards.

    Every line is where the middle of the beam goes, half a kerf inside what is cut, so that the land keeps its
    size at the face. How strong and how fast the beam is, is the operator's: the plan says depths, in words.
    """
    if not fits_bed(job):
        return Plan(job=job, operations=(), remarks=(_too_large(job),))
    thin = goes_through(job)
    half = beam_half_mm(job, job.depth_mm)
    cuts = geometry.free_of_grid(job.block.lowered)
    shrinking, lowering, looking = each_part(_SHARES_OF_TIME)
    with shrinking:
        steps = _steps(job, settings, cuts, half)
    with lowering:
        worked = [
            *_scored(job, settings),
            *_lowered(job, settings, steps),
        ]
    with part(_ALL_LOWERED, _ALL_LOWERED):
        worked += [
            *(opening_cuts(job, settings, beam_half_mm(job, job.thickness_mm)) if thin else ()),
            *(block_cut(job, settings, beam_half_mm(job, job.thickness_mm)) if thin else ()),
        ]
    operations = tuple(operation for operation in worked if len(operation.paths))
    clamped = shortfalls.beside(cuts, settings.no_go, half)
    with looking:
        left = _unreached(cuts, steps[0], half, clamped, _star_radii(job.block))
    under = shortfalls.beside(left, settings.no_go, 2 * half)
    plan = Plan(
        job=job,
        operations=operations,
        unreached=left[~under],
        covered=left[under],
        remarks=(*_remarks(job, settings), *_about_clamps(job, settings, left[under], operations)),
        findings=(
            *_uncut_edge(job, settings), *shortfalls.covered_cuts(job, left[under]),
            *(shortfalls.under_clamps(job, settings.no_go) if thin else ()),
        ),
    )  # fmt: skip
    return shortfalls.within_bed(plan)


def _uncut_edge(job: Job, settings: PathSettings) -> Iterator[Finding]:
    """What keeps the block from being cut out of its sheet, if that is asked for."""
    if not settings.cut_edge:
        return
    if not goes_through(job):
        why = f"the block is {next(through(job)).why}"
        yield shortfalls.uncut_edge(job, "too-thick", why, "take a thinner sheet, or cut the block out another way")
        return
    yield from through(job)
    half = beam_half_mm(job, job.thickness_mm)
    edge = job.block.board.buffer(half, join_style="mitre").exterior
    if len(settings.no_go) and (shapely.distance(edge, settings.no_go) < half).any():
        why = "a clamp lies on the block's edge: the block does not come free"
        yield shortfalls.uncut_edge(job, "clamp", why, "move the clamp, or cut what it covers afterwards")


def _about_clamps(
    job: Job, settings: PathSettings, covered: PolygonArray, operations: tuple[Operation, ...]
) -> Iterator[str]:
    """What clamps leave uncut, and where the head passes over one."""
    yield from shortfalls.about_covered(covered)
    yield from shortfalls.about_cut_outs(job.block.cut_outs, settings.no_go, beam_half_mm(job, job.thickness_mm))
    yield from shortfalls.about_travel(operations, settings.no_go)


def _scored(job: Job, settings: PathSettings) -> Iterator[Operation]:
    """Register marks, where the bed has room for them and no clamp lies on them."""
    marked = len(job.block.cut_before) > 0  # an old block carries its marks
    if not marked and fits_bed(job, register_lines.OUT_MM + register_lines.ARM_MM):
        lines = register_lines.register_lines(job.block)
        with part(0, 0):
            marks = ordered(picked(lines, np.flatnonzero(~_barred(job, settings, lines))))
        yield Operation(
            name="SCORE REGISTER", work=Work.SCORE, cutter=job.cutter, depth_mm=0.0,
            asks=_ON_WASTE if _carries_crosses(job) else _BESIDE_BLOCK,
            paths=marks,
        )  # fmt: skip


_BESIDE_BLOCK = (
    "score lightly, before the block is laid in, on waste that is fixed to the bed or on the rim of a larger sheet: "
    "the block lies with the middles of its sides against the crosses; never on the block"
)
_ON_WASTE = "score lightly, on the waste of the board, before anything is lowered; never inside the picture"


def _carries_crosses(job: Job) -> bool:
    """Whether the board's waste is wide enough for the crosses."""
    return (
        job.block.register is not None and job.block.register.waste_mm >= register_lines.OUT_MM + register_lines.ARM_MM
    )


def _barred(job: Job, settings: PathSettings, lines: Paths) -> Mask:
    """Which lines belong to a cross that lies where nothing may go; two lines a cross; (lines,)."""
    arms = np.asarray(shapely.linestrings(lines.xyz[:, :2].reshape(-1, 2, 2)), dtype=object)
    crosses = np.asarray(shapely.multilinestrings(arms.reshape(-1, 2)), dtype=object)
    away = np.asarray(shapely.distance(crosses[:, None], settings.no_go))
    return np.repeat((away <= beam_half_mm(job, job.depth_mm)).any(axis=1), 2)


def _lowered(job: Job, settings: PathSettings, steps: list[NDArray[np.object_]]) -> Iterator[Operation]:
    """The floor, then the steps of the shoulder, the lowest first."""
    count = len(steps)
    for k, filling in zip(range(count, 0, -1), each_part([1.0] * count), strict=True):
        with filling:
            paths = _filled(job, settings, steps, k)
        depth = round(_floor_mm(job) * k / count, 3)
        passes = feeds.passes(job.material.key, job.machine, depth)
        yield Operation(
            name="LOWER FLOOR" if k == count else f"SHOULDER {k} OF {count - 1}",
            work=Work.LOWER if k == count else Work.SHOULDER,
            asks=f"{_depth_words(job, k, count)}{_passes_words(passes)}; {_fill_words(settings)}",
            cutter=job.cutter, paths=paths, depth_mm=depth, passes=passes,
            area_lines_mm=settings.line_spacing_mm if settings.lowered == "shapes" else None,
            cautions=(_LONG,) if k == count else (),
        )  # fmt: skip


def _filled(job: Job, settings: PathSettings, steps: list[NDArray[np.object_]], k: int) -> Paths:
    """Step k of the shoulder, 1 beside the land, or the floor behind the last, as shapes or lines in order."""
    outer, spacing = steps[k - 1], settings.line_spacing_mm
    if settings.lowered == "contours":
        most = max(1, math.ceil(_shoulder(job, settings)[1] / spacing - _NEAR)) if k < len(steps) else 0
        return _by_owner(*contours(geometry.parts(outer), spacing, most=most))
    inner = None if k == len(steps) else steps[k]
    if settings.lowered == "shapes":
        return _areas(outer, inner, _nested(job, settings, outer))
    band = geometry.parts(outer if inner is None else geometry.without_inner(outer, inner))
    clean = _outlines(geometry.parts(outer)) if k == 1 else no_paths()
    return joined([_off_lines(scan_lines(band, spacing), clean), clean])


def _nested(job: Job, settings: PathSettings, outer: NDArray[np.object_]) -> Mask:
    """Beside which rooms the next step's surely lies properly inside, on the grid too, if it has any; (n,).

    Both are what lies so far from one outline; the second by a step more, which is far above the errors of both, but
    where a clamp or the block's edge bounds both.
    """
    count, width = _shoulder(job, settings)
    error = 2 * least_mm(beam_half_mm(job, job.depth_mm) + count * width)
    if len(settings.no_go) or width < error + 2 * geometry.GRID_MM:
        return np.zeros(len(outer), dtype=bool)
    return geometry.inside_box(outer, shapely.bounds(job.block.board), geometry.GRID_MM)


def _areas(outer: NDArray[np.object_], inner: NDArray[np.object_] | None, nested: Mask) -> Paths:
    """The outlines of areas, less the inner ones beside them: each is gone over line by line, so in any order."""
    lots, ringed = [no_paths()], np.zeros(len(outer), dtype=bool)
    if inner is not None:
        lots[0], ringed = ringed_outlines(outer, inner, nested)
    rest = outer[~ringed] if inner is None else geometry.without_inner(outer[~ringed], inner[~ringed])
    band, owner = geometry.owned_parts(rest)  # as they lie in memory: the order is the paths'
    paths, whose = outlines(band)
    areas = np.argsort(np.concatenate([np.flatnonzero(ringed), np.flatnonzero(~ringed)[owner]]), kind="stable")
    corner = shapely.bounds(np.concatenate([outer[ringed], band])).reshape(-1, 4)[:, :2]
    place = np.empty(len(areas), dtype=np.int64)
    place[areas[along_curve(corner[areas])]] = np.arange(len(areas))
    first = len(areas) - len(band)
    return picked(
        joined([*lots, paths]),
        np.argsort(place[np.concatenate([np.repeat(np.arange(first), 2), first + whose])], kind="stable"),
    )


def _off_lines(lines: Paths, others: Paths) -> Paths:
    """The lines without those that run along a closed one, which burns there already."""
    if not len(lines) or not len(others):
        return lines
    rings = np.asarray(shapely.linearrings(others.xyz[:, :2], indices=others.owner), dtype=object)
    middles = geometry.dots((lines.entries[:, :2] + lines.exits[:, :2]) / 2)
    met = shapely.STRtree(rings).query(middles, predicate="dwithin", distance=_ALONG_MM)[0]
    return picked(lines, np.setdiff1d(np.arange(len(lines)), met))


def _outlines(shapes: PolygonArray) -> Paths:
    """The outlines of shapes by a short way, each shape's holes behind it."""
    return _by_owner(*outlines(shapes))


def _by_owner(paths: Paths, owner: Indices) -> Paths:
    """Paths, given owner by owner, with the owners in a short order by where the first path of each begins."""
    first = np.flatnonzero(np.diff(owner, prepend=-1))
    at = np.column_stack([paths.entries[first, :2], np.arange(len(first))])
    heads = Paths(at, np.arange(len(first) + 1), np.ones(len(first), dtype=bool))
    order = ordered(heads).xyz[:, 2].astype(np.int64)
    count = np.diff(first, append=len(owner))[order]
    within = geometry.counted(count)
    return picked(paths, np.repeat(first[order], count) + within)


def _shoulder(job: Job, settings: PathSettings) -> tuple[int, float]:
    """How many steps the shoulder has, and how wide each is: together as wide as the material's wall leans out.

    Beside a wall that has files of its own there is none: it would stand round its foot as a curb.
    """
    if job.block.bevelled:
        return 0, 0.0
    width = _floor_mm(job) * math.tan(math.radians(job.material.wall_deg))
    count = min(settings.shoulder_steps, int(width / settings.line_spacing_mm))
    return count, width / max(count, 1)


def _steps(job: Job, settings: PathSettings, cuts: PolygonArray, half: float) -> list[NDArray[np.object_]]:
    """Where the beam may go for each step down: all of the room for the first, and less and less of it."""
    count, step = _shoulder(job, settings)
    steps = []
    for k in range(count + 1):
        steps.append(off_limits(room_for(job.block, cuts, half + step * k), settings.no_go, half))
        reached((k + 1) / (count + 1))
    return steps


def _star_radii(block: Block) -> tuple[Floats, Floats]:
    """`geometry.star_radii` of what is lowered; mostly that is the cuts, and the checks have asked for them."""
    if block.lowered is not block.cuts:
        return geometry.star_radii(block.lowered)
    seen, far = block.star_radii
    return seen[: len(block.cuts)], far[: len(block.cuts)]


def _unreached(
    cuts: PolygonArray, room: NDArray[np.object_], half: float, clamped: Mask,
    stars: tuple[Floats, Floats] | None = None,
) -> PolygonArray:  # fmt: skip
    """What of the cuts the beam is too wide for, or a clamp keeps it from; `clamped`: where one takes of the room."""
    if not len(cuts):
        return geometry.empty()
    some = np.flatnonzero(clamped | _doubtful(cuts, room, half, stars))
    # a disc that is worth a word has its middle well inside the cut, and well beyond what the beam reaches
    a_little = _SURELY * _SPECK_MM / 2
    deep = geometry.offset(cuts[some], -a_little)
    some = some[~shapely.covers(geometry.offset(room[some], half + a_little), deep)]
    rest = geometry.parts(shapely.difference(cuts[some], grown(room[some], half)))
    return rest[holds_disc(rest, _SPECK_MM / 2)]


def _doubtful(
    cuts: PolygonArray, room: NDArray[np.object_], half: float, stars: tuple[Floats, Floats] | None = None
) -> Mask:
    """Of which cuts the beam may leave more than a speck: a tip lies so far from the room, or the room is parted.

    From everywhere in a disc of the radius c about a cut's middle all of the cut is in sight. The cone from that disc
    to a place at d from the middle lies in the cut, so the room comes as near to that place as half d / c, half being
    what the beam keeps off the land (similar figures; own derivation). That holds where land alone limits the room.
    `stars`: `geometry.star_radii` of the cuts, if they are known.
    """
    short: Mask = shapely.is_empty(room) | (shapely.get_num_geometries(room) > 1)
    seen, far = geometry.star_radii(cuts) if stars is None else stars
    unsure = np.flatnonzero(~short & ((seen <= half) | (far * half > seen * (half + _SURELY * _SPECK_MM))))
    unsure = unsure[~_corners_near(cuts[unsure], room[unsure], half + _SURELY * _SPECK_MM)]
    large = shapely.get_num_coordinates(cuts[unsure]) > geometry.LARGE
    far = np.empty(len(unsure))
    far[~large] = shapely.hausdorff_distance(cuts[unsure[~large]], room[unsure[~large]])
    far[large] = geometry.farthest(cuts[unsure[large]], room[unsure[large]])  # that way it is far, by a tree of sides
    short[unsure] = far > half + _SPECK_MM
    return short


def _corners_near(cuts: PolygonArray, room: NDArray[np.object_], most_mm: float) -> Mask:
    """Of which plain shapes each corner surely lies no further from the room than this, and none of its from them.

    Those are told whose room has as many corners, if no two of the same number lie further apart.
    """
    near = shapely.get_num_coordinates(cuts) == shapely.get_num_coordinates(room)
    near[near] = shapely.get_type_id(room[near]) == shapely.GeometryType.POLYGON
    for each in (cuts, room):
        near[near] = shapely.get_num_interior_rings(each[near]) == 0
    if near.any():
        size = shapely.get_num_coordinates(cuts[near])
        step = shapely.get_coordinates(cuts[near]) - shapely.get_coordinates(room[near])
        near[near] = np.sqrt(np.maximum.reduceat(dot(step, step), geometry.starts(size)[:-1])) <= most_mm
    return np.asarray(near)


def _floor_mm(job: Job) -> float:
    """How deep the floor may be: the material keeps what it needs under it."""
    return max(0.0, min(job.depth_mm, job.thickness_mm - job.material.floor_mm))


def _depth_words(job: Job, k: int, count: int) -> str:
    depth = _floor_mm(job)
    if k == count:
        return f"lower to the full depth, {depth:.2f} mm"
    times = "" if k == 1 else f"{_TIMES[k]} times "
    share = "two thirds" if (k, count) == (2, 3) else f"{times}{_SHARES[count]}"
    place = "beside the land" if k == 1 else f"the step below SHOULDER {k - 1} OF {count - 1}"
    return f"{place}: weaker, to about {share} of the depth, {depth * k / count:.2f} mm"


def _passes_words(passes: int) -> str:
    """How many passes to try; power and pace are the operator's."""
    return "" if passes == 1 else f", in about {passes} passes, to be tried"


def _fill_words(settings: PathSettings) -> str:
    lines = f"{settings.line_spacing_mm:g} mm apart"
    return {
        "shapes": "fill the closed shapes, the middle of the beam up to their outlines; where they hold holes, these "
        f"stay; the time counts lines {lines}",
        "lines": f"follow the lines in their order; they lie {lines} and go there and back in turn; beside the land "
        "a closed line follows them, for a clean edge",
        "contours": f"follow the closed lines in their order; they lie {lines}, the inner before the outer",
    }[settings.lowered]


def _too_large(job: Job) -> str:
    bed = f"{job.machine.bed_width_mm:g} x {job.machine.bed_height_mm:g} mm"
    return f"No paths: the block is larger than the bed of {bed}. Use another machine, or part the block."


def _remarks(job: Job, settings: PathSettings) -> Iterator[str]:
    half = beam_half_mm(job, job.depth_mm)
    yield (
        f"Lines are the middle of the beam, {half:.3f} mm inside the outline of what is lowered: switch any other "
        "allowance for the kerf off, and ask for the shop's own kerf."
    )
    if _shoulder(job, settings)[0]:
        yield "The layers SHOULDER slope the wall: block.svg and block.dxf hold none."
    if len(job.block.cut_outs) or settings.cut_edge:
        yield from _about_through(job, settings)
    if not fits_bed(job, register_lines.OUT_MM + register_lines.ARM_MM):
        yield "No register marks: the bed has no room for them beside the block."
    elif _barred(job, settings, register_lines.register_lines(job.block)).any():
        yield "Register marks under a clamp are left out: see that two are left, or move the clamp."
    if not lies_unturned(job):
        yield "The block lies on the bed only a quarter turned: turn the block and the file alike, the same way."
    if _floor_mm(job) < job.depth_mm:
        yield (
            f"The floor is {_floor_mm(job):.2f} mm deep and not {job.depth_mm:.2f} mm: {job.material.name} must keep "
            f"{job.material.floor_mm:g} mm under it."
        )


def _about_through(job: Job, settings: PathSettings) -> Iterator[str]:
    """Where the line of a cut-out lies, and how wide the kerf is as far down as it is known."""
    if not goes_through(job):
        most = job.machine.through_most_mm
        yield f"NOTHING IS CUT THROUGH: by its profile this laser cuts through {most:g} mm and no more."
        return
    known = min(job.cutter.values.get("kerf_thickness_mm", job.thickness_mm), job.thickness_mm)
    at_top, at_foot = (
        2 * float(width) for width in cutting.half_width_mm(job.cutter, np.array([0.0, known]), job.thickness_mm)
    )
    whole = known > 0.9 * job.thickness_mm
    foot = "at the back" if whole else f"{known:g} mm below it"
    deeper = "" if whole else "; deeper it is not known: ask for the kerf at this thickness"
    wide, where = max((at_top, "face"), (at_foot, "back" if whole else f"depth of {known:g} mm"))
    line = beam_half_mm(job, job.thickness_mm)
    yield (
        f"Cut-outs: kerf {at_top:.2f} mm at the face and {at_foot:.2f} mm {foot} ({job.wall.basis}{deeper}); "
        f"the line lies {line:.3f} mm inside an opening and outside a part that is kept, so that both come to "
        f"size at the {where}, where the kerf is {wide:.2f} mm."
    )
    if settings.tabs:
        yield tab_rule(job, line)
