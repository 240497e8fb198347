"""The hand guide: what it shows and says, whatever it is printed on."""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.errors import InputError
from carvegen.findings import Report, Severity
from carvegen.toolpaths.timing import by_hand_min, spoken
from carvegen.writers.guide_marks import found_lines, rings
from carvegen.writers.guide_samples import Entry
from carvegen.writers.guide_zones import tool_lines, zones_of
from carvegen.writers.marks import readable
from carvegen.writers.sheet import MARGIN_MM, register_shapes
from carvegen.writers.views import View, seen

if TYPE_CHECKING:
    from collections.abc import Iterator

    from carvegen.geometry import Floats, PolygonArray
    from carvegen.job import Job
    from carvegen.writers.guide_zones import Zones
    from carvegen.writers.marks import Mark
    from carvegen.writers.views import Seen

__all__ = [
    "TEST_WORD",
    "TONES",
    "WORD_MM",
    "Guide",
    "Label",
    "Table",
    "Transfer",
    "hand_guide",
    "transfer_named",
]

#: A word in the margin that shows which way the sheet reads.
TEST_WORD = "SNOW"
WORD_MM = 4.0  #: height of its letters

#: Lightness of fine cuts, grooves along the land, and floors: prints on any black-and-white printer, lines show on it.
TONES = (0.62, 0.78, 0.9)
_PALE = (0.9, 0.94, 0.97)  #: the same to save ink
_AROUND_MM = MARGIN_MM - 2.0  #: as far as the register crosses reach: 200 x 150 mm go on one sheet of A4
_HATCH_MM = 1.6  # between hatching lines


class Transfer(enum.Enum):
    """How the guide comes onto the block; common practice."""

    CARBON = "carbon"
    GLUED = "glued"
    FACE_DOWN = "face-down"
    TRACING = "tracing"

    @property
    def view(self) -> View:
        """What the sheet must show: a sheet laid face down is turned by the transfer itself."""
        return View.PRINT if self in {Transfer.FACE_DOWN, Transfer.TRACING} else View.BLOCK

    @property
    def words(self) -> str:
        """How to lay the sheet, and which way it reads."""
        return f"{_LAID[self]} {_READS[self.view]}"


_LAID = {
    Transfer.CARBON: "Lay carbon paper on the block and this sheet face up over it; trace the edges.",
    Transfer.GLUED: "Paste this sheet face up on the block and cut through the paper.",
    Transfer.TRACING: "Trace this sheet in soft pencil on tracing paper; lay that face down on the block and rub.",
    Transfer.FACE_DOWN: "Lay this sheet face down on the block and rub it off, or transfer its toner.",
}
_READS = {
    View.BLOCK: f"The word {TEST_WORD} reads backwards here: that is right, it will read forwards in the print.",
    View.PRINT: f"The word {TEST_WORD} reads forwards here: that is right, it will read backwards on the block "
    "and forwards in the print.",
    View.PLAIN: f"The word {TEST_WORD} reads forwards here, on what is cut, and in the print.",
}


@dataclass(frozen=True, kw_only=True)
class Label:
    """Letters on the drawing; `at` is their middle, in the guide's own view, mm."""

    at: tuple[float, float]
    text: str


@dataclass(frozen=True, kw_only=True)
class Table:
    """What is to be written down, with free cells for it."""

    heading: str
    words: tuple[str, ...]  #: how it is filled in
    rows: tuple[tuple[str, ...], ...]  #: the first names the columns; an empty cell is to be filled in


@dataclass(frozen=True, kw_only=True, eq=False)
class Guide:
    """A guide before it is put on paper; mm, in its own view, origin at the block's lower left corner."""

    shown: Seen
    transfer: Transfer
    register: PolygonArray
    zones: Zones  #: what is cut first, then, and last
    tones: tuple[float, float, float]  #: how light these are drawn
    hatch: Floats  #: lines over the cut-outs, (n, 4) as x, y, x, y
    free_hatch: Floats  #: lines over the free zones, the other way round
    marks: tuple[Mark, ...]  #: numbered rings round findings
    arrow: Floats | None  #: lines of the grain's arrow, (n, 4)
    word_at: tuple[float, float]  #: where the test word begins; it runs to the left if `mirrored`
    facts: tuple[str, ...]
    shows: tuple[Entry, ...]  #: what is drawn, with samples
    tools: tuple[Entry, ...]  #: which where, in the order of cutting
    steps: tuple[str, ...]
    findings: tuple[str, ...]  #: what the rings mean
    unfinished: bool = False  #: what is white is the carver's own to cut
    labels: tuple[Label, ...] = ()
    table: Table | None = None

    @property
    def legend(self) -> tuple[str, ...]:
        """What is drawn, in words."""
        return tuple(its.words for its in self.shows)

    @property
    def mirrored(self) -> bool:
        """Whether the test word is drawn mirrored."""
        return self.shown.view is View.BLOCK

    @property
    def laid(self) -> str:
        """How to lay the sheet, and which way it reads."""
        return f"{_LAID[self.transfer]} {_READS[self.shown.view]}"

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Left, bottom, right and top of the drawing: the block with its margin."""
        out = max(_AROUND_MM, self.shown.waste_mm + 1.0)
        return (-out, -out, self.shown.width_mm + out, self.shown.height_mm + out)

    @property
    def title(self) -> str:
        """The sheet's heading."""
        return f"{self.shown.name}: carving guide, 1:1"

    @property
    def gist(self) -> str:
        """What must be known on every sheet: the way of transfer, which way it reads, what grey and white mean."""
        reads = "mirrored" if self.mirrored else "as the print reads"
        grey = "grey comes out of your drawing, white is yours" if self.unfinished else "grey = cut away, darkest first"
        return f"{self.transfer.value}, {reads}; {grey}"


def transfer_named(name: str) -> Transfer:
    """The transfer with this name.

    Raises
    ------
    InputError
        If there is none.
    """
    try:
        return Transfer(name)
    except ValueError:
        known = ", ".join(sorted(each.value for each in Transfer))
        raise InputError("must be a way of transfer", value=name, where="transfer", hint=f"known: {known}") from None


def hand_guide(job: Job, transfer: str, report: Report | None = None, *, saving: bool = False) -> Guide:
    """The guide for one block, one tool and one way of transfer.

    Parameters
    ----------
    transfer
        "carbon", "glued" (both mirrored), "face-down" or "tracing" (as the print reads).
    report
        Its findings that break or risk something are ringed and numbered.
    saving
        Draw the zones pale, to save ink.

    Raises
    ------
    InputError
        If the transfer is unknown.
    """
    way = transfer_named(transfer)
    if not job.block.turned and way.view is View.PRINT:
        way = Transfer.CARBON  # a sheet laid face down would turn what must not be turned
    shown = seen(job, way.view)
    zones = zones_of(job, shown)
    told = [its for its in report or () if its.severity is not Severity.ADVICE]
    along_grain = job.material.grain == "side"
    word_at = shown.places([(0.0, shown.height_mm + 3.0)])[0].tolist()
    return Guide(
        shown=shown,
        transfer=way,
        register=register_shapes(shown),
        zones=zones,
        tones=_PALE if saving else TONES,
        hatch=_hatching(shown.cut_outs, 1),
        free_hatch=_hatching(shown.free, -1),
        marks=tuple(rings(told, shown, most=readable(shown))),
        arrow=_arrow(shown.direction_deg(job.grain_deg)) if along_grain else None,
        word_at=(word_at[0], word_at[1]),
        facts=_facts(job, shown),
        shows=tuple(_legend(job, shown, zones)),
        tools=tuple(tool_lines(job, zones)),
        steps=_STEPS,
        findings=tuple(found_lines(told)),
        unfinished=job.block.unfinished,
    )


def _facts(job: Job, shown: Seen) -> tuple[str, ...]:
    return (
        f"{shown.view.words}",
        *((_UNFINISHED,) if job.block.unfinished else ()),
        *_time(job),
        f"Block {shown.width_mm:g} x {shown.height_mm:g} mm, {job.material.name}, {job.thickness_mm:g} mm thick.",
        f"Tool: {job.cutter.name}. Depth of the cut areas: {job.depth_mm:g} mm. {_walls(job)}",
        f"Narrowest land {job.limits.land_mm:.2f} mm, smallest free-standing dot {job.limits.dot_mm:.2f} mm.",
    )


_UNFINISHED = (
    "Not the whole block: only what the snow takes out of your own key drawing. Bring your drawing onto the block as "
    "ever, lay this guide over it so that the thin broken outlines meet your shapes, and mark the grey."
)


def _time(job: Job) -> tuple[str, ...]:
    """How long it takes, where the material's paces are known."""
    minutes = by_hand_min(job.block, job.material)
    if minutes is None:
        return ()
    quick, slow = (spoken(60 * its) for its in minutes)
    what = "The toned places take" if job.block.unfinished else "It takes"
    return (f"{what} about {quick} by hand if you are quick, about {slow} if you are slow; time yourself on a patch.",)


def _walls(job: Job) -> str:
    """What the tool's walls will be like; an upright one asks for a slope cut by hand."""
    one, other = sorted(float(side.min()) for side in (job.wall.near_deg, job.wall.far_deg))
    if one < 1:
        return "Walls: as cut they stand upright or lean in; slope them so that the land is wider at its foot."
    if job.lean_deg:
        return (
            f"Walls, the tool leaned by {abs(job.lean_deg):g} degrees: {one:.0f} degrees from the vertical on one side "
            f"of a cut, {other:.0f} on the other; the land is wider at its foot."
        )
    return f"Walls: {one:.0f} degrees from the vertical, the land wider at its foot."


def _legend(job: Job, shown: Seen, zones: Zones) -> Iterator[Entry]:
    if job.block.unfinished:
        yield Entry(
            words="Grey: the snow that comes out of your key drawing. Cut it away, the darkest first, the lightest "
            "last; a line of your drawing that runs into the grey ends there.",
            shows="tones",
        )
        yield Entry(words="White: yours. It does not all stay: cut your own drawing there, as ever.")
    else:
        yield Entry(
            words="Grey: cut away, the darkest first, the lightest last. White: leave standing, it prints.",
            shows="tones",
        )
    if len(shown.cut_outs):
        yield Entry(words="Coarse hatching: goes through the whole thickness.", shows="through")
    if len(shown.free):
        yield Entry(words="Fine hatching: yours to decide, gouge in hand; it may go or stay.", shows="free")
    if len(zones.stands):
        yield Entry(words="Heavy outline: small land inside a cut. Leave it standing, do not cut.", shows="stands")
    if len(zones.thin):
        yield Entry(
            words="Short strokes into the grey: the land beside them is thin. Slope its wall that way, wide at the "
            "foot.",
            shows="thin",
        )
    if len(shown.kept):
        yield Entry(words=f"Thin broken outline: {_kept(job)}", shows="kept")
    yield from (Entry(words=words) for words in _around(job, shown))


def _kept(job: Job) -> str:
    if job.block.unfinished:
        return "the shapes of your drawing that the snow lies on. Lay them over your own to find your way."
    return "artwork that is kept clear, to find your way by."


def _around(job: Job, shown: Seen) -> Iterator[str]:
    """What stands outside the block."""
    yield "Frame: the block's edge. Crosses outside it: register, the same on every block of this size."
    if len(shown.stops):
        yield "Outlines in the waste: stops for the sheet, or pin holes. Outer frame: the board; leave the waste on."
    way = "left" if shown.view is not View.PLAIN else "right"
    yield f"Arrow with the name: on the block it points to the {way}. If it does not, the guide was flipped."
    if job.material.grain == "side":
        yield "Double arrow under the block: the grain."


# Order of cutting: Fletcher, Wood-Block Printing (1916), and Phillips, The Technique of the Color Wood-cut
# (1926), both from memory; the rest is common practice, no source.
_STEPS = (
    "Measure the bar on the print. If it is not 100 mm, print again at 100 %.",
    "Lay the guide to the block's edges; look at the test word before anything is traced or pasted.",
    "Cut the fine cuts first, from the middle of the block outwards; then a groove along the land of each wide cut. "
    "Each wall slopes out from under the land, never in under it.",
    "Clear the floors last, towards waste and away from the land, deeper towards their middle.",
    "Openings that go through: bore or stab a hole in the waste, then cut from the hole towards the outline, from both "
    "faces if the block is thick; pare to the line at the very end.",
    "Block against a stop, both hands behind the edge, cut away from yourself, tools sharp. The tool maker's "
    "instructions and your workshop's rules go before this sheet.",
)


def _hatching(shapes: PolygonArray, way: int) -> Floats:
    """Slanting lines over `shapes`: rising (1), or falling and twice as close (-1); (n, 4)."""
    if len(shapes) == 0:
        return np.empty((0, 4))
    left, bottom, right, top = shapely.total_bounds(shapes).tolist()
    height = top - bottom
    foot = np.arange(left - height, right, _HATCH_MM * math.sqrt(2) * (1 if way > 0 else 0.5))
    begin, end = (bottom, top) if way > 0 else (top, bottom)
    ends = np.column_stack([foot, np.full_like(foot, begin), foot + height, np.full_like(foot, end)])
    lines = shapely.linestrings(ends.reshape(-1, 2, 2))
    cut = shapely.get_parts(shapely.intersection(lines, shapely.multipolygons(shapes)))
    straight = cut[(shapely.get_type_id(cut) == 1) & ~shapely.is_empty(cut)]
    first, last = shapely.get_point(straight, 0), shapely.get_point(straight, -1)
    xy = [shapely.get_x(first), shapely.get_y(first), shapely.get_x(last), shapely.get_y(last)]
    return np.asarray(np.round(np.column_stack(xy), 3), dtype=np.float64)


def _arrow(direction_deg: float) -> Floats:
    """A double arrow in the lower left margin; (n, 4)."""
    turn = math.radians(direction_deg)
    along = np.array([math.cos(turn), math.sin(turn)])
    across = np.array([-along[1], along[0]])
    middle = np.array([7.0, -MARGIN_MM / 2])
    tips = [middle - 6 * along, middle + 6 * along]
    lines = [(tips[0], tips[1])]
    for tip, inward in zip(tips, (along, -along), strict=True):
        lines += [(tip, tip + 2 * inward + side * across) for side in (1.0, -1.0)]
    return np.asarray(np.round(np.array(lines).reshape(-1, 4), 3), dtype=np.float64)
