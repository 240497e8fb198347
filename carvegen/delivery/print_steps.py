"""The steps of a print's build: what each is made of, whole, and what it makes; no step knows more than its inputs."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import TYPE_CHECKING, Any

import shapely

from carvegen import geometry
from carvegen.artwork.place import place
from carvegen.base.colour import Ink, lightness, pale_ink
from carvegen.base.errors import InputError
from carvegen.base.files import write_file
from carvegen.base.findings import Finding
from carvegen.base.progress import each_stretch
from carvegen.base.words import listed
from carvegen.blocks.free_edge import with_fringe
from carvegen.blocks.from_motif import strictest
from carvegen.checks.mending import CutChange, LostPiece, mending_words
from carvegen.delivery.block_folder import deliver, style_of
from carvegen.delivery.embossing_folder import COUNTER, deliver_die
from carvegen.delivery.side_by_side import side_by_side
from carvegen.delivery.step_keys import contents_of_files, differences, digest, inputs_of
from carvegen.facts.register import RegisterPlan
from carvegen.prints.bare_paper import cut_and_mended, cut_away, mended_print, paper_findings
from carvegen.prints.bare_paper.closed_gaps import closed_gaps
from carvegen.prints.cut_blocks import finding_of, picture_of, plates_of
from carvegen.prints.layers import located
from carvegen.prints.marked.mark_findings import mark_findings, mended_beside
from carvegen.prints.separation import hidden_by
from carvegen.writers.whole_print.changed_png import Before, changed_png
from carvegen.writers.whole_print.embossed_relief import PressedFace
from carvegen.writers.whole_print.print_png import Coat, print_png, rubbing_png, turned_png
from carvegen.writers.whole_print.print_report import BlockFindings
from carvegen.writers.whole_print.print_svg import outlines_svg, print_svg

if TYPE_CHECKING:
    from pathlib import Path

    from shapely.geometry.base import BaseGeometry

    from carvegen.base.colour import Rgb
    from carvegen.base.limits import Limits
    from carvegen.blocks.block import Block
    from carvegen.blocks.embossing.pressing import Die
    from carvegen.blocks.job import Setup
    from carvegen.delivery.block_folder import Style
    from carvegen.delivery.side_by_side import Say
    from carvegen.delivery.step_keys import Recipe
    from carvegen.facts.profiles import Library
    from carvegen.prints.cut_blocks import Cut, Setups
    from carvegen.prints.file.keys import PrintMotif
    from carvegen.prints.file.print_file import Print
    from carvegen.prints.kept_motifs import Grown
    from carvegen.prints.picture import Picture, Unmarked
    from carvegen.prints.recut import StandingBlock
    from carvegen.prints.tasks import Tasks
    from carvegen.writers.whole_print.print_png import Window

__all__ = [
    "CHANGED", "BlockInputs", "CutInputs", "ProofInputs", "ReportInputs", "Shape", "ShapedPrint", "block_folder",
    "block_style", "changed_files", "cut_inputs", "cuts_of", "decided_file", "findings_in", "grown_by",
    "moved", "noted", "notes_of", "notes_on", "printed_coats", "proof_files", "rubbings", "shapes_of", "would_move",
]  # fmt: skip

CHANGED = "changed.png"
_TIMES = (0.4, 0.4, 0.2)  #: shares of the time, measured on the sample with marks: the picture, cutting, mending


# ── the blocks' shapes ───────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, kw_only=True, eq=False)
class CutInputs:
    """All that goes into the shapes of every block."""

    print_: Print  #: without what no shape depends on
    contents: Mapping[str, str]  #: of every file that it names, as a hash
    setups: Setups
    stands: Mapping[str, StandingBlock]  #: what stands of the blocks that are cut already


def cut_inputs(print_: Print, setups: Setups, stands: Mapping[str, StandingBlock]) -> CutInputs:
    """What the shapes of a print's blocks are made of."""
    hidden = hidden_by(plates_of(print_, setups), print_.paper)
    seen = replace(_without_looks(print_), hidden_by=hidden)
    return CutInputs(print_=seen, contents=contents_of_files(seen, print_.path.parent), setups=setups, stands=stands)


def _without_looks(print_: Print) -> Print:
    """The print as its shapes may see it: of the inks which is darker, of register only what the boards carry."""
    plan = print_.register
    marks = RegisterPlan(
        method=plan.method, waste_mm=plan.waste_mm, moat_mm=plan.moat_mm, paper_margin_mm=plan.paper_margin_mm,
        pin_mm=plan.pin_mm,
    )  # fmt: skip
    tones = sorted({_tone(block.ink) for block in print_.blocks if block.inked and block.ink})
    blocks = (
        replace(
            block, ink_colour=_grey(tones.index(_tone(block.ink))) if block.inked and block.ink else None, opacity=0.0,
            more_cutters=(), no_go=(), cut_land="", counter_material="", counter_thickness_mm=None,
        )
        for block in print_.blocks
    )  # fmt: skip
    name = print_.name if print_.scans else ""  # a marking sheet is known by it
    return replace(print_, name=name, paper=(0, 0, 0), register=marks, files={}, blocks=tuple(blocks))


def _tone(ink: Ink) -> float:
    return round(lightness(ink.colour), 6)


def _grey(rank: int) -> Rgb:
    """The colour of an ink that is lighter than those of lower rank."""
    return (rank, rank, rank)


def marks_read(print_: Print, count: int) -> str:
    """What a build says of the marks that it has laid on what grew, and where they were read."""
    sources = [
        *print_.marks,
        *(["coloured sheets"] if print_.scans else []),
        *(["[[marked]]"] if print_.marked else []),
    ]
    return f"{count} mark{'s' * (count != 1)} read: {', '.join(sources)}"


@dataclass(frozen=True, kw_only=True, eq=False)
class ShapedPrint:
    """The shapes of every block, before it is told what of the paper is bare and should not be."""

    picture: Picture
    before: Mapping[str, BaseGeometry]  #: what stood of each block before it was mended
    cuts: Mapping[str, Cut]  #: the blocks as they are to be made


def cuts_of(inputs: CutInputs, *, say: Say, jobs: int = 1) -> tuple[Picture, dict[str, Cut]]:
    """The picture, and the blocks as they are to be made: mended, and with what is to be told of the paper."""
    shaped = shapes_of(inputs, say=say, jobs=jobs)
    return shaped.picture, noted(shaped.cuts, notes_on(shaped, inputs.setups))


def noted(cuts: Mapping[str, Cut], notes: Mapping[str, tuple[Finding, ...]]) -> dict[str, Cut]:
    """Blocks with more notes, by name."""
    return {name: replace(cut, notes=(*cut.notes, *notes[name])) for name, cut in cuts.items()}


def shapes_of(
    inputs: CutInputs, *, say: Say, jobs: int = 1, meanwhile: Callable[[], None] | None = None
) -> ShapedPrint:  # fmt: skip
    """The picture, and the blocks mended.

    Parameters
    ----------
    jobs
        How many processes may work on blocks at once; small ones are done in this one all the same.
    meanwhile
        Done in this process while others are at the blocks: they wait for the longest of them, and leave it time.
    """
    run = partial(_run, jobs=jobs)
    picturing, cutting, mending = each_stretch(_TIMES)
    with picturing:
        picture = picture_of(inputs.print_, inputs.setups, say=say, run=run)
    if picture.marks:
        say(marks_read(inputs.print_, len(picture.marks)))
    say("working out what each block prints")
    further = partial(_cut_on, inputs.stands, picture)
    run = partial(_run, jobs=jobs, meanwhile=meanwhile)
    with cutting:
        cuts, first = cut_and_mended(inputs.print_, picture, inputs.setups, further=further, say=say, run=run)
    before = {name: cut.land for name, cut in cuts.items()}
    with mending:
        cuts = mended_print(inputs.print_, picture, cuts, inputs.setups, first, say=say)
    return ShapedPrint(picture=picture, before=before, cuts=cuts)


def notes_on(shaped: ShapedPrint, setups: Setups) -> dict[str, tuple[Finding, ...]]:
    """What is to be told of each block besides its own notes: of marks, of mending, of the paper; by name."""
    picture, before, cuts = shaped.picture, shaped.before, shaped.cuts
    paper = paper_findings(picture, cuts)
    marks = {name: () if cut.die is not None else picture.marks for name, cut in cuts.items()}
    back_mm = picture.drawing.print_.register_error_mm
    tones = {block.name: _tone(block.ink) for block in picture.drawing.print_.blocks if block.inked and block.ink}
    darker = {
        name: [cuts[other].picture for other, tone in tones.items() if tone < tones.get(name, 0.0)] for name in cuts
    }
    beside = {
        name: (*mark_findings(cut.block, marks[name], setups[name], white=cut.white, back_mm=back_mm),
               *mended_beside(before[name], cut.block, marks[name]), *cut_away(before[name], cut),
               *closed_gaps(cut, before[name], setups[name], darker[name]))
        for name, cut in cuts.items()
    }  # fmt: skip
    return {name: (*beside[name], *picture.findings.get(name, ()), *paper[name]) for name in cuts}


def _cut_on(standing: Mapping[str, StandingBlock], picture: Picture, cut: Cut) -> Cut:
    """A block, as it can be cut further if it is cut already."""
    stands = standing.get(cut.block.name)
    if stands is None:
        return cut
    from carvegen.prints.recut import cut_further  # late: with it comes what lays photographs

    return cut_further(
        cut, stands.land, stands.tolerance_mm, marks=picture.marks, hidden=stands.hidden, board=stands.board
    )


def _run(
    tasks: Tasks, say: Say, *, jobs: int, meanwhile: Callable[[], None] | None = None
) -> dict[str, Any]:  # fmt: skip
    return side_by_side(tasks, jobs=jobs, say=say, meanwhile=meanwhile)


def grown_by(picture: Picture | Unmarked, setups: Setups) -> dict[str, str]:
    """How each motif that is not kept has grown: by its name a hash of its shapes, and by what limits, in words."""
    grown: dict[str, str] = {}
    for each, limits in _grow_by(picture, setups):
        grown[each.motif.called] = digest(shapely.to_wkb(shapely.multipolygons(each.growth.cuts)))
        grown[_BY + each.motif.called] = limits
    return grown


_BY = "limits of "


def _grow_by(picture: Picture | Unmarked, setups: Setups) -> Iterator[tuple[Grown, str]]:
    """Each motif that is not kept, and by what limits it grows, in words."""
    asked = {name: strictest(setup.limits for setup in lot) for name, lot in setups.items() if name in picture.pictures}
    for each in picture.motifs:
        if each.motif.is_new:
            yield each, _asked({name: limits for name, limits in asked.items() if each.motif.leaves(name)})


def _asked(left: Mapping[str, Limits]) -> str:
    """What the strictest of blocks ask for, and which these are if not all ask for it."""
    every = strictest(left.values())
    first = [name for name, limits in left.items() if strictest([limits]) == every]
    by = f" for {listed(first)}" if 0 < len(first) < len(left) else ""
    return f"land of {every.land_words} and cuts of {every.cut_mm:.2g} mm{by}"


def moved(print_: Print, grown: tuple[Recipe, Recipe], inputs: tuple[Recipe, Recipe]) -> tuple[str, ...]:
    """Which motifs grew otherwise than before, though nothing was changed in their own tables, and why; in sentences.

    Another seed is asked for so that all of them do: nothing is said of it.

    Parameters
    ----------
    grown
        How the motifs had grown, and how they have now, as `grown_by` has it.
    inputs
        What went into the cuts then and now, by name.
    """
    old, new = grown
    names = [name for name in new if not name.startswith(_BY) and old.get(name, new[name]) != new[name]]
    own = {motif.called for motif in print_.motifs if _is_changed(motif, *inputs)}
    names = [name for name in names if name not in own]
    if not names or _differ("seed", *inputs):
        return ()
    changed = f"Changed: {'; '.join(differences(*inputs))}."
    why = {
        name: _limits_words(new[_BY + name], was) if (was := old.get(_BY + name, "")) != new[_BY + name] else changed
        for name in names
    }
    return tuple(f"Moved: {line}" for line in _together_by(why))


def would_move(picture: Picture | Unmarked, setups: Setups, others: Setups) -> tuple[str, ...]:
    """Which motifs would grow by other limits if `others` cut the print that `setups` cut now; in sentences."""
    now = {each.motif.called: limits for each, limits in _grow_by(picture, others)}
    was = {each.motif.called: limits for each, limits in _grow_by(picture, setups)}
    why = {name: _limits_words(limits, was[name]) for name, limits in now.items() if limits != was[name]}
    return tuple(f"May move: {line}" for line in _together_by(why))


def _is_changed(motif: PrintMotif, was: Recipe, now: Recipe) -> bool:
    """Whether anything differs in a motif's own table."""
    return any(_differ(name, was, now) for name, _ in inputs_of(motif))


def _differ(name: str, was: Recipe, now: Recipe) -> bool:
    return was.get(name) != now.get(name)


def _limits_words(now: str, was: str) -> str:
    return f"It grows by the strictest limits of the blocks that it is cut from: {now}. Before: {was}."


def _together_by(why: Mapping[str, str]) -> list[str]:
    """Names and what is said of each, those of which the same is said together."""
    alike: dict[str, list[str]] = {}
    for name, words in why.items():
        alike.setdefault(words, []).append(name)
    return [f"{listed(names)}. {words}" for words, names in alike.items()]


def changed_files(picture: Picture) -> dict[str, bytes | str]:
    """What the drawing has changed under kept motifs, before and after; nothing where it has not."""
    shown = [
        Before(
            bears=(grown.kept.memory.surroundings.bears, grown.surroundings().bears),
            cuts=(grown.kept.growth.cuts, grown.growth.cuts), gone=grown.gone, come=grown.come,
        )
        for grown in picture.motifs if grown.changed and grown.kept is not None and grown.kept.memory is not None
    ]  # fmt: skip
    drawn = shapely.union_all(geometry.polygon_array(layer.shape for layer in picture.drawing.layers))
    return {CHANGED: changed_png(shown, drawn)} if shown else {}


def notes_of(cut: Cut) -> tuple[Finding, ...]:
    """What is to be said of a block before it is checked."""
    return (*map(finding_of, cut.dropped), *cut.notes)


# ── a block's folder ─────────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, kw_only=True, eq=False)
class Shape:
    """What a block's files show."""

    block: Block
    land: BaseGeometry
    fringe: BaseGeometry
    to_decide: BaseGeometry
    die: Die | None
    changes: tuple[CutChange, ...]  #: what was mended
    lost: tuple[LostPiece, ...]  #: the land that mending took away whole

    @classmethod
    def of(cls, cut: Cut) -> Shape:
        """The shape of a block as it was cut."""
        return cls(
            block=cut.block, land=cut.land, fringe=cut.fringe, to_decide=cut.to_decide, die=cut.die,
            changes=cut.changes, lost=cut.lost,
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class BlockInputs:
    """All that goes into a block's folder besides its shape."""

    setups: tuple[Setup, ...]
    counter_setups: tuple[Setup, ...]
    style: Style
    stands: StandingBlock | None  #: what stands of it, if it is cut already
    mend: bool  #: whether the shape was to be mended


def block_style(print_: Print, number: int, shelf: Library) -> Style:
    """How the files of block `number`, 0 for the first, are written, its further cutters and clamps among it.

    Raises
    ------
    InputError
        If the shape of a clamp can't be read.
    """
    block, style = print_.blocks[number], style_of(print_.files)
    clamps = []
    for k, text in enumerate(block.no_go):
        try:
            clamps.append(place(located(print_, text), width_mm=print_.width_mm, height_mm=print_.height_mm).shapes)
        except InputError as error:
            raise error.named(str).within(print_.place(f"blocks[{number}].no_go[{k}]")) from None
    if style.paths is None:
        return style
    cutters = tuple(map(shelf.cutter, block.more_cutters))
    return replace(style, paths=replace(style.paths, also_cutters=cutters, no_go=geometry.stack(clamps)))


def block_folder(shape: Shape, inputs: BlockInputs, folder: Path, say: Say) -> BlockFindings:
    """Write a block's folder, and its land for the steps after; what was found on it, and on its counter-sheet."""
    name = shape.block.name
    limits = strictest(setup.limits for setup in inputs.setups)
    block = with_fringe(shape.block, shape.fringe, limits, to_decide=shape.to_decide)
    jobs = [setup.on(block) for setup in inputs.setups]
    mended = shape.changes if inputs.mend else None
    made = {"": deliver(jobs, folder / name, inputs.style, say=say, mended=mended, lost=shape.lost)}
    if shape.die is not None:
        made[COUNTER] = deliver_die(jobs[0], shape.die, inputs.counter_setups, folder / name, inputs.style, say=say)
    write_file(folder / "lands" / f"{name}.wkb", shapely.to_wkb(shape.land))
    if not shapely.is_empty(shape.to_decide):
        write_file(folder / decided_file(name), shapely.to_wkb(shape.to_decide))
    if inputs.stands is not None:
        from carvegen.prints.recut import kept_files

        for file, data in kept_files(name, inputs.stands).items():
            write_file(folder / file, data)
    return _together({
        sheet: BlockFindings(
            by_kind={kind: report.findings for kind, report in done.reports.items()}, questions=done.open_questions,
            mended=mending_words(done.changes, done.lost, limits),
        )
        for sheet, done in made.items()
    })  # fmt: skip


def findings_in(folder: Path, inputs: BlockInputs) -> BlockFindings:
    """What the reports in a block's folder tell, as `block_folder` returned it."""
    sheets, limits = {}, strictest(setup.limits for setup in inputs.setups)
    for sheet in ("", COUNTER):
        if (report := folder / sheet / "report.json").is_file():
            record = json.loads(report.read_text(encoding="utf-8"))
            reports = {
                kind: tuple(map(Finding.from_dict, checked["findings"])) for kind, checked in record["reports"].items()
            }
            changes = [CutChange(**{**change, "at": tuple(change["at"])}) for change in record["changes"]]
            lost = [LostPiece(**{**piece, "at": tuple(piece["at"])}) for piece in record["lost"]]
            sheets[sheet] = BlockFindings(
                by_kind=reports, questions=tuple(record["open_questions"]), mended=mending_words(changes, lost, limits)
            )
    return _together(sheets)


def _together(sheets: Mapping[str, BlockFindings]) -> BlockFindings:
    """What is said of a block and of the sheets that belong to it, "" the block itself."""
    of = {sheet: f"{sheet}-sheet, " if sheet else "" for sheet in sheets}
    return BlockFindings(
        by_kind={
            of[sheet] + kind: findings for sheet, block in sheets.items() for kind, findings in block.by_kind.items()
        },
        questions=tuple(of[sheet] + question for sheet, block in sheets.items() for question in block.questions),
        mended=sheets[""].mended if "" in sheets else "",
    )


def decided_file(name: str) -> str:
    """The file of what marks leave to the carver on a block, if they do."""
    return f"lands/{name}-to-decide.wkb"


# ── the proofs ───────────────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, kw_only=True, eq=False)
class ProofInputs:
    """All that goes into the pictures of the whole print."""

    name_of_the_print: str
    paper: Rgb
    window: Window
    ink: Mapping[str, Ink]  #: of the blocks that print, in printing order
    land: Mapping[str, BaseGeometry]  #: where each of them leaves ink
    to_decide: Mapping[str, BaseGeometry]  #: what of it the carver may take away: it is drawn pale
    masks: frozenset[str]  #: those through which it goes
    die: Mapping[str, PressedFace]

    @cached_property
    def coats(self) -> dict[str, Coat]:
        """What the blocks print, in printing order."""
        return {name: Coat(ink=ink, land=self.land[name]) for name, ink in self.ink.items()}

    @cached_property
    def seen(self) -> dict[str, list[Coat]]:
        """The same as it is drawn: what the carver may take away lies pale beside what will print."""
        return {name: self._seen(name, k + 1) for k, name in enumerate(self.coats)}

    def _seen(self, name: str, number: int) -> list[Coat]:
        coat = replace(self.coats[name], number=number)
        open_ = geometry.solid(shapely.intersection(coat.land, self.to_decide.get(name, shapely.Polygon())))
        if shapely.is_empty(open_):
            return [coat]
        pale = replace(coat, ink=pale_ink(coat.ink, self.paper), land=open_)
        return [replace(coat, land=shapely.difference(coat.land, open_)), pale]


def printed_coats(print_: Print, lands: Mapping[str, BaseGeometry]) -> dict[str, Coat]:
    """What the blocks print, in printing order, of their lands; a stencil prints where it is open."""
    face = geometry.box(print_.width_mm, print_.height_mm)
    return {
        block.name: Coat(
            ink=block.ink,
            land=shapely.difference(face, lands[block.name]) if block.role == "stencil" else lands[block.name],
        )
        for block in print_.blocks if block.ink is not None and block.role != "emboss"
    }  # fmt: skip


def rubbings(inputs: ProofInputs) -> dict[str, bytes | str]:
    """The lands of all blocks over one another, by name: they take as long as all other pictures."""
    coats, seen = inputs.coats, inputs.seen
    inked = [coat if len(seen[name]) > 1 else seen[name][0] for name, coat in coats.items()]
    return {
        "rubbing.png": rubbing_png(inked, inputs.window),
        "rubbing.svg": outlines_svg(coats, inputs.window, pressed=inputs.die),
    }


def proof_files(inputs: ProofInputs) -> dict[str, bytes | str]:
    """The other pictures of the whole print, and of each block alone, by name."""
    coats, seen, pressed = inputs.coats, inputs.seen, list(inputs.die.values())
    shown = [coat for every in seen.values() for coat in every]
    files: dict[str, bytes | str] = {
        "print.png": print_png(inputs.paper, shown, inputs.window, pressed=pressed),
        "print.svg": print_svg(inputs.paper, shown, inputs.window, pressed=pressed, title=inputs.name_of_the_print),
    }
    for name in coats:
        alone = print_png(inputs.paper, seen[name], inputs.window)
        files[f"inks/{name}.png"] = alone
        files[f"inks/{name}-block.png"] = alone if name in inputs.masks else turned_png(alone)
    for name, die in inputs.die.items():
        files[f"inks/{name}.png"] = print_png(inputs.paper, [], inputs.window, pressed=[die])
    return files


# ── the report ───────────────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, kw_only=True, eq=False)
class ReportInputs:
    """All that goes into the report and its sheet; what other steps have made stands for itself by its key."""

    print_: Print
    setups: Setups
    made: Mapping[str, str]  #: the key of every other step, by name
