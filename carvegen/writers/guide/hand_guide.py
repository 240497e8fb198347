"""The hand guide: what it shows and says, whatever it is printed on."""

from __future__ import annotations

import enum
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.collector import collector_at_rest
from carvegen.base.errors import InputError
from carvegen.base.findings import Report, Severity
from carvegen.base.progress import each_part
from carvegen.blocks.views import View, seen
from carvegen.writers.block.ring_places import readable
from carvegen.writers.guide.guide_marks import arrow, hatching, letter_lines, level_lines, rings
from carvegen.writers.guide.guide_patches import PATCH_MM, border_strokes, patch_rows, patches_of
from carvegen.writers.guide.guide_samples import Entry
from carvegen.writers.guide.guide_words import (
    UNFINISHED,
    facts,
    legend,
    steps,
)
from carvegen.writers.guide.guide_zones import tool_lines, zones_of
from carvegen.writers.guide.ring_room import RingRoom, drawn_bounds, word_at
from carvegen.writers.sheet import register_shapes

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from carvegen.blocks.job import Job
    from carvegen.blocks.views import Seen
    from carvegen.geometry import Floats, PolygonArray
    from carvegen.writers.guide.guide_marks import GuideMark
    from carvegen.writers.guide.guide_patches import GuideZone
    from carvegen.writers.guide.guide_zones import Zones

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
_NUMBER_MM = 3.0  #: room that a zone's number needs round its middle
_DECIDED_MM = 0.4  #: what is narrower nobody decides, gouge in hand; our own choice

#: Lightness of fine cuts, grooves along the land, and floors: prints on any black-and-white printer, lines show on it.
TONES = (0.62, 0.78, 0.9)
#: The same to save ink: none so light that an office printer leaves it out, as it does with tints of a few per cent.
_PALE = (0.82, 0.88, 0.94)

_TIMES = (0.6, 0.2, 0.2)  #: shares of the time, measured on 50,000 flakes: zones, patches, rings


_BORDERS = Entry(
    words="Grey strokes outside the outermost frame, or a cross's arm in line: where the table's zones meet. "
    "A number stands in its zone.",
    shows="borders",
)


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
    ticked: bool = False  #: the last cell of each row is a box to tick


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
    before_lines: Floats  #: level lines over what is cut already
    marks: tuple[GuideMark, ...]  #: lettered rings round findings
    arrow: Floats | None  #: lines of the grain's arrow, (n, 4)
    word_at: tuple[float, float]  #: where the test word begins; it runs to the left if `mirrored`
    facts: tuple[str, ...]
    shows: tuple[Entry, ...]  #: what is drawn, with samples
    tools: tuple[Entry, ...]  #: which where, in the order of cutting
    steps: tuple[str, ...]
    findings: tuple[str, ...]  #: what the rings mean
    pale: bool = False  #: to save ink; lines divide the zones then
    unfinished: bool = False  #: what is white is the carver's own to cut
    labels: tuple[Label, ...] = ()
    borders: Floats = field(default_factory=lambda: np.empty((0, 4)))  #: strokes in the margin where zones meet
    tables: tuple[Table, ...] = ()

    def parts(self, joining: Sequence[str] = ()) -> tuple[tuple[str, tuple[Entry, ...]], ...]:
        """Everything to be read, with its headings; `joining`: how the sheets go together."""
        steps = (f"{number}. {step}" for number, step in enumerate(self.steps, start=1))
        own = (UNFINISHED,) if self.unfinished else ()
        every = (
            ("How it comes onto the block", _plain((self.laid, self.shown.view.words, *own))),
            ("The block", _plain(self.facts)),
            ("What the drawing shows", self.shows),
            ("How the sheets go together", _plain(joining)),
            ("Which tool where", self.tools),
            ("In which order", _plain(steps)),
            ("Rings", _plain(self.findings)),
        )
        return tuple((heading, entries) for heading, entries in every if entries)

    @property
    def legend(self) -> tuple[str, ...]:
        """What is drawn, in words."""
        return tuple(entry.words for entry in self.shows)

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
        return drawn_bounds(self.shown)

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


def _plain(texts: Iterable[str]) -> tuple[Entry, ...]:
    return tuple(Entry(words=text) for text in texts)


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
        raise InputError("must be one of the transfers", value=name, where="transfer", hint=f"known: {known}") from None


@collector_at_rest()
def hand_guide(job: Job, transfer: str, report: Report | None = None, *, saving: bool = False) -> Guide:
    """The guide for one block, one tool and one way of transfer.

    Parameters
    ----------
    transfer
        "carbon", "glued" (both mirrored), "face-down" or "tracing" (as the print reads).
    report
        Its findings that break or risk something are ringed and lettered.
    saving
        Draw the zones pale, to save ink.

    Raises
    ------
    InputError
        If the transfer is unknown.
    """
    method = transfer_named(transfer)
    if not job.block.turned and method.view is View.PRINT:
        method = Transfer.CARBON  # a sheet laid face down would turn what must not be turned
    shown = seen(job, method.view)
    shown = replace(shown, free=shown.free[~shapely.is_empty(geometry.offset(shown.free, -_DECIDED_MM / 2))])
    dividing, numbering, ringing = each_part(_TIMES)
    with dividing:
        zones = zones_of(job, shown)
    with numbering:
        patches = patches_of(job, shown, zones.floors)
    serious = [finding for finding in report or () if finding.severity is not Severity.ADVICE]
    borders = border_strokes(shown) if len(patches) > 1 else np.empty((0, 4))
    with ringing:
        room = RingRoom(shown, zones, borders) if serious else None  # costly to look for
        drawn = rings(serious, room, shown, most=readable(shown)) if room else []
    along_grain = job.material.grain == "side"
    return Guide(
        shown=shown,
        transfer=method,
        register=register_shapes(shown),
        zones=zones,
        tones=_PALE if saving else TONES,
        hatch=hatching(shown.cut_outs, 1),
        free_hatch=hatching(shown.free, -1),
        before_lines=level_lines(shown.cut_before),
        marks=tuple(drawn),
        arrow=arrow(shown.direction_deg(job.grain_deg)) if along_grain else None,
        word_at=word_at(shown),
        facts=facts(job, shown),
        shows=(*legend(job, shown, zones), *([_BORDERS] if len(patches) > 1 else [])),
        tools=tuple(tool_lines(job, zones)),
        steps=tuple(steps(shown, zones)),
        findings=tuple(letter_lines(serious, drawn)),
        pale=saving,
        unfinished=job.block.unfinished,
        labels=tuple(_zone_numbers(patches, drawn)),
        borders=borders,
        tables=(_patch_table(patches),) if len(patches) > 1 else (),
    )


def _zone_numbers(patches: Sequence[GuideZone], drawn: Sequence[GuideMark]) -> Iterator[Label]:
    """The zones' numbers where they meet no ring and no ring's letter."""
    lines = [shapely.LineString([line[:2], line[2:]]) for mark in drawn for line in mark.lines.tolist()]
    boxes = [shapely.box(x, y, x + wide, y + high) for mark in drawn for x, y, wide, high in [mark.box]]
    taken = shapely.STRtree([*lines, *boxes])
    for patch in patches:
        met = (len(taken.query(shapely.Point(at), predicate="dwithin", distance=_NUMBER_MM)) > 0 for at in patch.rooms)
        at = next((at for at, hidden in zip(patch.rooms, met, strict=True) if not hidden), None)
        if at is not None:
            yield Label(at=at, text=str(patch.number))


def _patch_table(patches: Sequence[GuideZone]) -> Table:
    return Table(
        heading="Zones, in the order of the hand",
        words=(
            f"Zones of about {PATCH_MM:g} x {PATCH_MM:g} mm, from the top row down, to and fro, as this sheet lies. "
            "The number stands on the drawing where there is room for it. A cut that lies in several zones counts in "
            "one of them, whole; the places named with the tools are its parts, by width. The minutes are for what "
            "lies in each zone.",
        ),
        rows=patch_rows(patches),
        ticked=True,
    )
