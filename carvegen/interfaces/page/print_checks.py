"""What would break of a print, without a file written: the whole of it, or what lies about one place."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Report, Severity
from carvegen.base.progress import each_stretch
from carvegen.blocks.block import Block
from carvegen.blocks.free_edge import with_fringe
from carvegen.blocks.from_motif import strictest
from carvegen.checks import CHECKS, bed, checked, cut_width, drop_outs, look
from carvegen.checks.depths import clearing, depth, laser_depth, moat
from carvegen.checks.mending import left_over, mended_for_all
from carvegen.checks.survey import Survey
from carvegen.delivery.print_steps import cut_inputs, cuts_of, notes_of
from carvegen.prints.cut_blocks import as_drawn, finding_of, plates_of, setups_of
from carvegen.prints.picture.loose_bits import OVER
from carvegen.prints.recut import standing_lands
from carvegen.prints.separation import Layer, Trapping, separated

if TYPE_CHECKING:
    from pathlib import Path

    from shapely.geometry.base import BaseGeometry

    from carvegen.blocks.job import Setup
    from carvegen.delivery.side_by_side import Say
    from carvegen.facts.profiles import Library
    from carvegen.geometry import PolygonArray
    from carvegen.prints.cut_blocks import Cut, Setups
    from carvegen.prints.file.print_file import Print
    from carvegen.prints.marked.marked_whites import White
    from carvegen.prints.picture import Picture

__all__ = [
    "Scene", "TakenApart", "already_cut", "built_findings", "inner_of", "is_cleared", "is_mended", "mended",
    "nearby_findings", "print_findings", "taken_apart", "unmended",
]  # fmt: skip

#: What is told of a whole block; about one place it can't be.
_OF_THE_WHOLE = {check.RULE for check in (depth, laser_depth, clearing, moat, drop_outs, bed, look)}
_OF_CUTS = {cut_width.RULE}  #: what is told of a whole cut: one that ends at the rim of what is looked at goes on
_EDGE_MM = 4.0  #: so near to the rim of what is looked at nothing is told: it ends there only for the check
_TIMES = (0.9, 0.1)  #: shares of the time, measured on the sample: the blocks are worked out, and checked
_SAME_MM = 0.2  #: what breaks so near to a place is what is meant there; our own choice
_CRUMB_MM2 = 0.01  #: what the rim of a window leaves of a cut may be less

PrintFindings = dict[str, tuple[Finding, ...]]
_Spot = tuple[str, str, tuple[float, float] | None]


def print_findings(print_: Print, shelf: Library, out: Path, *, say: Say) -> PrintFindings:
    """All findings of a print, by block, as its build would tell them of the shapes; each once for all machines.

    Parameters
    ----------
    out
        Folder of an earlier build, for the lands of blocks that are cut.
    """
    return taken_apart(print_, shelf, out, say=say)[0]


def built_findings(print_: Print, out: Path) -> PrintFindings:
    """The findings that a build has written into its folder, by block: of its shapes, of register and of its paths.

    Call it only where that build is of the print as it is now.
    """
    record = json.loads((out / "report.json").read_text(encoding="utf-8"))["blocks"]
    return {block.name: _once(map(Finding.from_dict, record[block.name])) for block in print_.blocks}


@dataclass(frozen=True, kw_only=True, eq=False)
class TakenApart:
    """A print as its build would make it: inks taken apart, with traps, mended, loose bits under the snow."""

    prints: Mapping[str, BaseGeometry]  #: by block, what it would print if nothing were white
    layers: tuple[Layer, ...]  #: of the drawing, without loose bits
    over: tuple[White, ...]  #: what is white besides, over these

    @classmethod
    def of(cls, picture: Picture, cuts: Mapping[str, Cut]) -> TakenApart:
        """Of blocks as they are to be made."""
        bare = {name: shapely.intersection(cut.white, cut.picture) for name, cut in cuts.items() if cut.die is None}
        return cls(
            prints={name: geometry.solid(shapely.union(cuts[name].land, outline)) for name, outline in bare.items()},
            layers=picture.drawing.layers, over=tuple(white for white in picture.whites if white.name == OVER),
        )  # fmt: skip


def taken_apart(print_: Print, shelf: Library, out: Path, *, say: Say) -> tuple[PrintFindings, TakenApart]:
    """What would break of a print, as `print_findings` has it, and how the blocks come out."""
    setups = setups_of(print_, shelf)
    shaping, checking = each_stretch(_TIMES)
    with shaping:
        picture, cuts = cuts_of(cut_inputs(print_, setups, standing_lands(print_, out)), say=say)
    result = PrintFindings()
    with checking:
        for (name, cut), stretch in zip(cuts.items(), each_stretch([1.0] * len(cuts)), strict=True):
            say(f"checking {name}")
            with stretch:
                result[name] = _checked(cut, setups[name], mend=_mends(print_, name))
    return result, TakenApart.of(picture, cuts)


def _checked(cut: Cut, setups: Sequence[Setup], *, mend: bool) -> tuple[Finding, ...]:
    """What is to be said of a block, and what its checks find for each machine."""
    limits = strictest(setup.limits for setup in setups)
    block = with_fringe(cut.block, cut.fringe, limits, to_decide=cut.to_decide)
    reports = (_for(setup.machine.kind, checked(setup.on(block)), mend=mend) for setup in setups)
    return _once([*notes_of(cut), *chain.from_iterable(reports)])


@dataclass(frozen=True, kw_only=True, eq=False)
class Scene:
    """A print about one place."""

    print_: Print
    setups: Setups
    layers: tuple[Layer, ...]
    openings: PolygonArray
    white: Mapping[str, PolygonArray]  #: of each block, what must not print there
    stays: Mapping[str, BaseGeometry]  #: of each block, what is marked to stay


def inner_of(window: BaseGeometry, face: BaseGeometry) -> BaseGeometry:
    """The part of a window in which findings are told: not near its rim, but for the rim of the face."""
    rim = shapely.difference(shapely.boundary(window), shapely.buffer(shapely.boundary(face), geometry.GRID_MM))
    inner: BaseGeometry = shapely.difference(window, shapely.buffer(rim, _EDGE_MM, quad_segs=2))
    return inner


def nearby_findings(scene: Scene, window: BaseGeometry) -> PrintFindings:
    """The findings in a window, by block: its part of the print is taken apart, mended and checked by itself.

    Parameters
    ----------
    window
        Rectangle, mm; what lies beyond it is taken to stand.
    """
    print_, face = scene.print_, geometry.box(scene.print_.width_mm, scene.print_.height_mm)
    window = shapely.intersection(window, face)
    inner = inner_of(window, face)
    layers = [Layer(layer.name, geometry.solid(shapely.intersection(layer.shape, window))) for layer in scene.layers]
    known = {layer.name for layer in layers}
    plates = [replace(plate, layers=as_drawn(plate.layers, known)) for plate in plates_of(print_, scene.setups)]
    white = {plate.name: shapely.union_all(shapely.intersection(scene.white[plate.name], window)) for plate in plates}
    parts = separated(
        window, layers, plates, white=lambda plate: white[plate.name], stays=lambda plate: scene.stays[plate.name],
        spread=Trapping(trap_mm=print_.trap_mm, cut_back_mm=print_.register_error_mm), paper=print_.paper,
    )  # fmt: skip
    result = PrintFindings()
    for name, part in parts.items():
        gone = geometry.difference(window, shapely.union(part.land, shapely.union_all(scene.openings)))
        cuts = geometry.parts(gone)
        block = Block(
            name=name, width_mm=print_.width_mm, height_mm=print_.height_mm, cuts=cuts[shapely.area(cuts) > _CRUMB_MM2],
            cut_outs=scene.openings, stays=geometry.parts(scene.stays[name]),
        )  # fmt: skip
        every = [*map(finding_of, part.dropped), *_of_block(block, scene.setups[name], white[name], print_, window)]
        result[name] = _once(
            finding for finding in every if finding.at is not None and shapely.covers(inner, shapely.Point(finding.at))
        )
    return result


def already_cut(print_: Print) -> frozenset[str]:
    """The blocks that are cut already: nothing can be put back."""
    return frozenset(block.name for block in print_.blocks if block.state == "cut")


def mended(print_: Print) -> frozenset[str]:
    """The blocks that print ink and are mended when they are built."""
    return frozenset(block.name for block in print_.blocks if block.mend and block.inked and block.state != "cut")


def unmended(print_: Print) -> frozenset[str]:
    """The blocks that could be mended when they are built, and are not."""
    return frozenset(block.name for block in print_.blocks if not block.mend and block.inked and block.state != "cut")


def is_mended(scene: Scene, window: BaseGeometry, block: str, place: tuple[float, float]) -> bool | None:
    """Whether nothing breaks at a place any more once the block is mended; None if in this window nothing does now."""
    blocks = tuple(replace(other, mend=other.mend or other.name == block) for other in scene.print_.blocks)
    if not _breaks(scene, window, block, place):
        return None
    return not _breaks(replace(scene, print_=replace(scene.print_, blocks=blocks)), window, block, place)


def is_cleared(now: Scene, then: Scene, window: BaseGeometry, block: str, places: BaseGeometry) -> bool | None:
    """Whether nothing of a block breaks at any place then, and of others no more than now; None if nothing does now.

    What breaks beside the places now, as what is left to the knife there, may break then as it does now.

    Parameters
    ----------
    places
        One point, or several.
    """
    before, after = (_broken_near(scene, window, places) for scene in (now, then))
    there = before.pop(block, [])
    if not there:
        return None
    beside = {_spot(one) for one in there} - {_spot(one) for one in _at(places, there)}
    own = [one for one in after.pop(block, []) if _spot(one) not in beside]
    return not own and all(len(lot) <= len(before.get(name, ())) for name, lot in after.items())


def _at(places: BaseGeometry, near: Sequence[Finding]) -> list[Finding]:
    """Those findings that are of the places: what lies at one, and of each what is nearest to it."""
    at = shapely.points([finding.at for finding in near if finding.at is not None])
    far = shapely.distance(shapely.get_parts(places)[:, None], at[None])
    own = (far <= np.maximum(far.min(axis=1, keepdims=True), _SAME_MM)).any(axis=0)
    return [one for one, is_own in zip(near, own, strict=True) if is_own]


def _broken_near(scene: Scene, window: BaseGeometry, places: BaseGeometry) -> dict[str, list[Finding]]:
    """What breaks near places, by block."""
    return {
        name: [
            each for each in findings
            if each.severity is Severity.BREAKS and each.at is not None
            and shapely.distance(places, shapely.Point(each.at)) < _EDGE_MM
        ] for name, findings in nearby_findings(scene, window).items()
    }  # fmt: skip


def _breaks(scene: Scene, window: BaseGeometry, block: str, place: tuple[float, float]) -> bool:
    at, result = shapely.Point(place), nearby_findings(scene, window).get(block, ())
    near = (finding for finding in result if finding.at and shapely.distance(at, shapely.Point(finding.at)) < _EDGE_MM)
    return any(finding.severity is Severity.BREAKS for finding in near)


def _mends(print_: Print, name: str) -> bool:
    """Whether the block of that name is mended."""
    return next(block.mend for block in print_.blocks if block.name == name)


def _of_block(
    block: Block, setups: Iterable[Setup], white: BaseGeometry, print_: Print, window: BaseGeometry
) -> Iterable[Finding]:
    jobs = [setup.on(block) for setup in setups]
    mend = _mends(print_, block.name)
    if mend:
        jobs = list(mended_for_all(jobs, say=_quiet, white=white)[0])
    for job in jobs:
        survey, further = Survey(job), Survey(replace(job, block=_with_cuts_beyond(job.block, window)))
        rules = {rule: find for rule, find in CHECKS.items() if rule not in _OF_THE_WHOLE}
        every = [each for rule, find in rules.items() for each in find(further if rule in _OF_CUTS else survey)]
        yield from _for(job.machine.kind, Report.of(every), mend=mend)


def _for(machine: str, report: Report, *, mend: bool) -> Iterable[Finding]:
    """What was found for a machine, with its name; what is left after mending with the words that say so."""
    return (replace(each, machines=(machine,)) for each in (left_over(report) if mend else report))


def _with_cuts_beyond(block: Block, window: BaseGeometry) -> Block:
    """The block with the cuts that reach the rim of a window going on beyond it, as one: no cut ends there."""
    around = shapely.difference(shapely.buffer(window, _EDGE_MM, join_style="mitre"), window)
    around = shapely.intersection(around, block.face)
    meets = shapely.intersects(block.cuts, shapely.intersection(around, shapely.buffer(window, geometry.GRID_MM)))
    if not meets.any():
        return block
    beyond = geometry.parts(shapely.union_all([*block.cuts[meets], around]))
    return replace(block, cuts=np.concatenate([block.cuts[~meets], beyond]), fixed=frozenset())


def _once(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Each place once, by the strictest limit and with the machines whose limit that is; the worst first."""
    first: dict[_Spot, Finding] = {}
    for finding in sorted(findings, key=lambda finding: (finding.severity, -abs(finding.limit - finding.measured))):
        kept = first.setdefault(key := _spot(finding), finding)
        if kept is not finding and (kept.severity, kept.limit) == (finding.severity, finding.limit):
            machines = tuple(dict.fromkeys((*kept.machines, *finding.machines)))
            first[key] = replace(kept, machines=machines)
    return tuple(sorted(first.values(), key=lambda finding: (finding.severity, finding.rule, finding.at or (0.0, 0.0))))


def _spot(finding: Finding) -> _Spot:
    """What a finding is the same by: its rule, its kind and where it lies, to a tenth of a millimetre."""
    return finding.rule, finding.kind, finding.at and (round(finding.at[0], 1), round(finding.at[1], 1))


def _quiet(_: str) -> None:
    """Nothing is told of the stages."""
