"""The note that travels with every file: what it is, what it asks, what to take care of."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.base.finding_groups import grouped, letter_of, sentence
from carvegen.base.findings import Severity
from carvegen.blocks.layer_names import (
    BLOCK_EDGE,
    BOARD_EDGE,
    CUT_AREA,
    CUT_OUT,
    FREE_FRINGE,
    REGISTER,
    REGISTER_STOP,
    palette,
)
from carvegen.blocks.views import View, seen
from carvegen.facts.cautions import parted
from carvegen.facts.profiles import Verdict
from carvegen.toolpaths.motion.timing import by_hand_min
from carvegen.writers.file_names import CUT_PICTURE
from carvegen.writers.guide.guide_words import CAUTION
from carvegen.writers.note.findings_table import cell
from carvegen.writers.note.plan_note import hand_paces, hand_time, layer_cautions, order_lines, plan_lines
from carvegen.writers.sheet import BAR_MM, layers_of, register_shapes

if TYPE_CHECKING:
    from collections.abc import Container, Iterable, Iterator, Mapping

    from carvegen.base.finding_groups import Group
    from carvegen.base.findings import Report
    from carvegen.blocks.block import Block
    from carvegen.blocks.job import Job, Setup
    from carvegen.blocks.views import Seen
    from carvegen.geometry import PolygonArray
    from carvegen.toolpaths.paths import Plan
    from carvegen.writers.guide.hand_guide import Guide

__all__ = ["cautions_of", "machine_note", "numbered_sources"]

_CLOSING = {
    "router": "What this note says of a spindle and of feeds is where to begin trying. Settings are the shop's, on a "
    "test piece first.",
}
_SIGHT_IN_MM = 1.0  #: nearer to the block's edge nothing is aimed at
_PLACES = 3  #: to look at, on the first page of a note for the hand


def machine_note(
    job: Job, report: Report | None, files: Mapping[str, str], plan: Plan | None = None, guide: Guide | None = None
) -> str:
    """The note for one job, in Markdown: what its reader needs first, then the details, then the sources.

    Parameters
    ----------
    report
        None for a block that is meant to break limits, such as a test strip.
    files
        What each file is for, by its name, as it is handed over.
    plan
        What the machine follows, if its paths are handed over too.
    guide
        What the hand follows: its tools and order stand in the place of a machine's layers.
    """
    hand = job.machine.kind == "hand"
    groups = {} if report is None else _lettered(report)
    first_look = _first(groups) if hand else {}
    parts_of = [parted(caution) for caution in cautions_of(job)]
    first = [*(says for says, _ in parts_of), *(layer_cautions(plan) if plan else ())]
    numbered, sources = numbered_sources([*first, *(behind for _, behind in parts_of if behind)])
    cautions, behind = numbered[: len(first)], numbered[len(first) :]
    parts = [
        [f"# {job.block.name}: " + ("to be cut by hand" if hand else f"for the {job.machine.kind}")],
        _question(job),
        ["## What this is", "", *_bullets(_first_facts(job, planned=plan is not None))],
        *(_by_hand(guide) if guide else [] if hand else _by_machine(job, plan)),
        ["## Where to look first", "", *_places(first_look)] if first_look else [],
        ["## Cautions", "", *_bullets(cautions)],
        ["## Details"],
        ["### The block", "", *_bullets([*_view_checks(job), *_more_facts(job, planned=plan is not None)])],
        ["### Files", "", *_bullets(f"`{name}`: {about}" for name, about in files.items())],
        ["### What the guide shows", "", *_bullets([guide.laid, *guide.legend])] if guide else [],
        [] if guide else _layers(job, "Layers" if plan is None else "Layers of block.svg and block.dxf"),
        plan_lines(plan) if plan else [],
        [] if hand else ["### For the shop", "", *_bullets(_hand_over(job))],
        [] if report is None else ["### Findings", "", *_findings(groups, first_look)],
        ["### Behind the cautions", "", *_bullets(behind)] if behind else [],
        ["### Sources of the cautions", "", *(f"{k}. {text}" for k, text in enumerate(sources, 1))] if sources else [],
    ]
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def numbered_sources(texts: Iterable[str]) -> tuple[list[str], list[str]]:
    """Texts whose sources, in brackets at their end, are numbers instead; and the sources, each once."""
    numbered, sources = [], []
    for text in texts:
        words, bracket, cited = text.removesuffix("]").rpartition(" [") if text.endswith("]") else (text, "", "")
        own = cited.split("; ") if bracket else []
        sources += [one for one in own if one not in sources]
        numbers = ", ".join(str(sources.index(one) + 1) for one in own)
        numbered.append(f"{words} [{numbers}]" if numbers else words)
    return numbered, sources


def _by_hand(guide: Guide) -> Iterator[list[str]]:
    cutting = [step for step in guide.steps if step != CAUTION]  # the sheet's; this note has its own
    steps = [f"{number}. {step}" for number, step in enumerate(cutting, start=1)]
    yield ["## Which tool where", "", *_bullets(tool.words.partition(" ")[2] for tool in guide.tools)]
    yield ["## In which order", "", *steps]


def _by_machine(job: Job, plan: Plan | None) -> Iterator[list[str]]:
    closing = ["", _CLOSING[job.machine.kind]] if job.machine.kind in _CLOSING else []
    yield ["## Before it is cut", "", *_bullets(_first_checks(job)), *closing]
    order = order_lines(plan) if plan else []
    if order:
        yield ["## In which order", "", *order]


def _places(groups: Mapping[str, Group]) -> list[str]:
    """What to look at before and while she cuts: the worst of each kind, the most pressing kinds first."""
    return [f"- {letter}: {group.sentence} {sentence(group.worst.remedy)}" for letter, group in groups.items()]


def _lettered(report: Report) -> dict[str, Group]:
    """What breaks a limit or risks to, kind by kind, by the letters that the guide and the proofs' rings have."""
    groups = grouped(finding for finding in report if finding.severity is not Severity.ADVICE)
    return {letter_of(k): group for k, group in enumerate(groups)}


def _first(groups: Mapping[str, Group]) -> dict[str, Group]:
    return dict(list(groups.items())[:_PLACES])


def _layers(job: Job, heading: str) -> list[str]:
    return [f"### {heading}", "", *_layer_table(job)]


def _question(job: Job) -> list[str]:
    """What must be settled first, where the material's verdict is `ask`."""
    if job.permit.verdict is not Verdict.ASK:
        return []
    declared = _one_line(job.declared)
    asks = "Ask the shop" if job.machine.kind != "hand" else "Settle this"
    return [
        "## Open question: settle this first",
        "",
        f"{asks} before anything is cut: may {job.material.name} be worked here? {job.permit.why}",
        "",
        f"Composition as declared: **{declared or 'NOT DECLARED - ask before anything is cut'}**",
        "",
        "A name is no proof: show the maker's statement or the safety data sheet.",
    ]


def _meaning(job: Job) -> list[str]:
    if job.permit.verdict is not Verdict.ASK:
        return []
    return [f"What the material's name usually means: {job.material.composition}."]


def cautions_of(job: Job | Setup) -> Iterator[str]:
    """What goes before every caution, the verdict unless it is asked on top, the machine's, the material's."""
    yield from job.machine.cautions[:1]
    if job.permit.verdict is not Verdict.ASK:
        yield job.permit.why
    yield from job.machine.cautions[1:]
    yield from job.permit.cautions


def _depth(job: Job) -> str:
    if len(job.block.lowered) == 0:
        return "nothing is lowered, all cuts go through."
    return f"cut areas {job.depth_mm:g} mm deep; {job.thickness_mm - job.depth_mm:.2f} mm stay under them."


def _first_facts(job: Job, *, planned: bool) -> list[str]:
    """What it is, of which sheet, which side up, and how long it takes."""
    block = job.block
    return [
        f"Block: {block.width_mm:g} x {block.height_mm:g} mm, 1:1, millimetres.",
        f"Material: {job.material.name}; {_declared(job)}.",
        f"Thickness {job.thickness_mm:g} mm; {_depth(job)}",
        *_grain(job),
        *_view(job),
        *_cut_on(job),
        *([_EITHER] if planned else []),
        *(hand_time(by_hand_min(block, job.material)) if job.machine.kind == "hand" else ()),
    ]


def _cut_on(job: Job) -> Iterator[str]:
    """That the block is cut already, and what of it the machine does."""
    if len(job.block.cut_before) == 0 or job.machine.kind == "hand":
        return
    new = float(shapely.area(job.block.to_cut).sum())
    if new == 0 and len(job.block.cut_outs) == 0:
        yield "The block is cut already, and nothing new is to be cut: do not run it."
        return
    beside = {"router": "the cutter runs a little into them, so that no ridge is left"}.get(
        job.machine.kind, "where a new cut meets one a thin ridge may be left: take it off by hand"
    )
    yield (
        f"The block is cut already: these files cut {new:.1f} mm² that are new and nothing again. What was cut is in "
        f"none of them, only in the picture {CUT_PICTURE}; {beside}."
    )


def _laid_down(job: Job) -> Iterator[str]:
    """How a block that is cut already is laid down, so that what is new lies where it belongs; common practice."""
    if len(job.block.cut_before) == 0:
        return
    stops = "its stops or pins" if len(seen(job, View.BLOCK).stops) else "its lower left corner"
    yield (
        f"Lay the old block face up, square to the bed, by {stops}: the corner that BLOCK EDGE shows, not the edge of "
        "the bed. Measure its sides first: wood and linoleum move."
    )
    sights = _sights(seen(job, View.BLOCK), job.block)
    if sights:
        places = " and ".join(f"x {x:.1f}, y {y:.1f} mm" for x, y in sights)
        yield (
            f"Go with the beam's pointer, or the spindle at rest, to two corners of old cuts: {places} from the lower "
            "left corner of BLOCK EDGE. More than 0.3 mm off? Turn or move the block before anything is cut."
        )


def _sights(shown: Seen, block: Block) -> list[tuple[float, float]]:
    """Two points of old cuts, far apart on the face, that can be aimed at and are where a picture shows the block."""
    points = shapely.get_coordinates(shown.cut_before)
    size = np.array([shown.width_mm, shown.height_mm])
    far = np.linalg.norm(size) / 3
    points = points[((points > _SIGHT_IN_MM) & (points < size - _SIGHT_IN_MM)).all(axis=1)]
    if len(block.unseen):
        unseen = shapely.union_all(block.unseen)
        points = points[~shapely.dwithin(shapely.points(shown.places(points)), unseen, _SIGHT_IN_MM)]  # in print view
    for along in ((points / size).sum(axis=1), np.diff(points / size).ravel()):  # by either diagonal
        if len(points) and np.linalg.norm(np.ptp(points[[along.argmin(), along.argmax()]], axis=0)) > far:
            return [(float(x), float(y)) for x, y in points[[along.argmin(), along.argmax()]]]
    return []


def _declared(job: Job) -> str:
    """What it is by the maker's word; where that is an open question, it stands on top."""
    if job.permit.verdict is Verdict.ASK:
        return "whether it is that, see above"
    return f"as declared: {_one_line(job.declared)}" if job.declared else "its composition is not declared"


def _more_facts(job: Job, *, planned: bool) -> list[str]:
    paces = hand_paces(job.material) if job.machine.kind == "hand" else ()
    return [*_meaning(job), *_board(job), _wall(job), _white(job), _offset(job, planned=planned), *paces]


def _white(job: Job) -> str:
    share = f"{100 * job.block.white_share:.1f} % of the face"
    if len(job.block.cut_before) and job.machine.kind != "hand":
        new = float(shapely.area(job.block.to_cut).sum()) / job.block.face.area
        return f"New cuts: {100 * new:.1f} % of the face."
    if job.block.unfinished:
        return f"Not the whole block: the snow takes {share} out of your own key drawing; all else is yours to cut."
    return f"White: {share} does not print."


def _wall(job: Job) -> str:
    wall = job.wall
    lean = f"{abs(wall.steepest_deg):.1f} degrees from the vertical where it is steepest"
    if wall.steepest_deg < 0:
        lean = f"UNDERCUT by {abs(wall.steepest_deg):.1f} degrees at its worst"
    foot = f"{2 * abs(wall.foot_gain_mm):.2f} mm {'wider' if wall.foot_gain_mm >= 0 else 'NARROWER'}"
    return (
        f"Cutter: {job.cutter.name}{_whose(job)}. The wall it leaves is {lean}; the land is {foot} at its foot "
        f"than at the face. Basis: {wall.basis}."
    )


def _whose(job: Job) -> str:
    """Why this cutter, where the machine's profile may have chosen it."""
    if job.machine.kind == "hand" or job.cutter.key != job.machine.usual_cutter:
        return ""
    return ", the usual one of the machine's profile (another is named by --cutter, or by cutter in a print file)"


_EITHER = "Cut paths.svg or paths.dxf, the width of the cut allowed for, or block.svg or block.dxf: never both."


def _offset(job: Job, *, planned: bool) -> str:
    width = {"laser": ", not offset for kerf", "router": ", not offset for the cutter"}.get(job.machine.kind, "")
    where = " in block.svg and block.dxf" if planned else ""
    return f"Outlines{where} are as drawn{width}: the edge of a shape is the edge of the land."


def _grain(job: Job) -> list[str]:
    if job.material.grain != "side":
        return []
    block_deg = seen(job, View.BLOCK).direction_deg(job.grain_deg) % 180
    return [f"Grain: {block_deg:g} degrees from the lower edge, block face up ({job.grain_deg % 180:g} in the print)."]


def _view(job: Job) -> list[str]:
    if job.machine.kind == "hand" and job.block.turned:
        return [
            "The guide says how it goes on the block. To check: on the block the arrow above it points to the left; if "
            "it points to the right, the guide was flipped: stop before you cut."
        ]
    if not job.block.turned:
        return [f"{View.PLAIN.words} To check: compare with the proof; what is left there is left here."]
    return [f"{View.BLOCK.words} Do not mirror it again.{_ARROW if len(seen(job, View.BLOCK).mark) else ''}"]


_ARROW = " To check: in this file the arrow above the block points to the left."


def _view_checks(job: Job) -> list[str]:
    """More on how to tell that nothing was flipped."""
    if job.machine.kind == "hand" or not job.block.turned:
        return []
    return ["The proof shows the print: what is left there is right in these files, and an arrow points the other way."]


def _board(job: Job) -> list[str]:
    register = job.block.register
    if register is None or not register.waste_mm:
        return []
    left, bottom, right, top = seen(job, View.BLOCK).board.bounds
    size = (
        f"Board {right - left:g} x {top - bottom:g} mm: {register.waste_mm:g} mm of waste on every side of the picture."
    )
    return [size, *register.words]


def _layer_table(job: Job) -> list[str]:
    """Layers with what they ask, how many closed shapes, and the length of their outlines."""
    shown, layers = seen(job, View.BLOCK), palette(job.machine.layer_colours)
    edge = np.array([shown.face], dtype=object)
    shapes = {
        CUT_AREA: shown.lowered,
        CUT_OUT: shown.cut_outs,
        FREE_FRINGE: shown.free,
        REGISTER_STOP: shown.stops,
        REGISTER: register_shapes(shown),
        BLOCK_EDGE: edge,
        BOARD_EDGE: np.array([shown.board], dtype=object),
    }
    rows = [
        "| layer | asks | closed shapes | outlines, mm | area, mm² |",
        "| --- | --- | ---: | ---: | ---: |",
    ]
    rows += [
        _layer_row(layers[name].name, layers[name].asks, shapes[name]) for name in layers_of(shown) if name in shapes
    ]
    return [
        *rows,
        "",
        "All contours are closed; none is drawn twice, but where a cut reaches the block's edge BLOCK EDGE runs along "
        "it too. Words and the check bar are on NOTES: not to be cut.",
    ]


def _layer_row(name: str, asks: str, shapes: PolygonArray) -> str:
    length, area = float(shapely.length(shapes).sum()), float(shapely.area(shapes).sum())
    return f"| {cell(name)} | {cell(asks)} | {len(shapes)} | {length:.1f} | {area:.1f} |"


def _first_checks(job: Job) -> Iterator[str]:
    """What goes wrong without a look: unit, thickness, a test piece; common practice where no source is cited."""
    yield f"Measure the check bar after opening the file: {BAR_MM:g} mm. If it is not, stop: the unit was misread."
    statement = "" if job.permit.verdict is Verdict.ASK else "; hand over the maker's statement with it"
    yield f"Measure the block's thickness in three places or more{statement}."
    yield from _laid_down(job)
    width = "the kerf" if job.machine.kind == "laser" else "how wide the cutter cuts"
    yield f"Cut a test piece of the same sheet first: a line, a dot, a narrow land, the depth, {width}."
    if job.machine.kind == "router":
        yield "Settle with the shop: stock zero, safe height, clamps outside the block, where tabs are wanted."


def _hand_over(job: Job) -> Iterator[str]:
    """What public workshops' file guidelines ask for; common practice where no source is cited."""
    colours = "its colours are the shop's own" if job.machine.layer_colours else "colours carry no meaning"
    yield f"Go by the names of the layers; {colours}. Give each layer the shop's own setting."
    yield "Order: cut areas first, then cut-outs from the inside outwards."
    limits, known = job.limits, job.material.sources
    basis = "; ".join(dict.fromkeys(known[name] for name in ("land_along_mm", "dot_mm", "cut_mm") if name in known))
    yield (
        f"Narrowest land {limits.land_mm:.2f} mm, smallest island {limits.dot_mm:.2f} mm, smallest cut "
        f"{limits.cut_mm:.2f} mm are what the checks went by{f' ({basis})' * bool(basis)}; say if the shop needs more."
    )
    if job.machine.bed_width_mm is not None and job.machine.bed_height_mm is not None:
        yield f"Bed as the profile has it: {job.machine.bed_width_mm:g} x {job.machine.bed_height_mm:g} mm."


def _findings(groups: Mapping[str, Group], first: Mapping[str, Group]) -> list[str]:
    """What breaks a limit or risks to, kind by kind; how it looks is no matter for whoever cuts it.

    What is to be done with those of the first page is said there.
    """
    shown = {group.worst.remedy for group in first.values()}
    if not groups:
        return ["None: every check that was made is kept."]
    return [
        "Every place on its own, ringed: proof.html.",
        "",
        "| letter | what | | where (print view) | what to do |",
        "| --- | --- | --- | --- | --- |",
        *(f"| {letter} | {_finding_row(group, shown)} |" for letter, group in groups.items()),
    ]


def _finding_row(group: Group, shown: Container[str]) -> str:
    remedy = "see the first page" if group.worst.remedy in shown else cell(group.worst.remedy)
    numbers = f": {group.worst.numbers}" if group.worst.numbers else ""
    return " | ".join((f"{group.title}{numbers}", group.severity.label, group.where, remedy))


def _bullets(texts: Iterable[str]) -> list[str]:
    return [f"- {text}" for text in texts]


def _one_line(text: str) -> str:
    return " ".join(text.split())
