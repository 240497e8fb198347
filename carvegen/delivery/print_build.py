"""A whole print from its file: every block in register, the proofs, and one report; only what has changed."""

from __future__ import annotations

import contextlib
import json
import shutil
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

import shapely

from carvegen.base.collector import collector_at_rest
from carvegen.base.colour import MODEL
from carvegen.base.errors import InputError
from carvegen.base.files import file_hash, save_file, scratch_folder, settled, staged_folder, write_file
from carvegen.base.findings import Finding
from carvegen.base.previous_run import earlier, keep_edited
from carvegen.base.progress import each_stretch
from carvegen.blocks.comparison import print_colours
from carvegen.delivery.block_folder import load_writers
from carvegen.delivery.build_record import (
    CUTS,
    GROWN,
    RECORD,
    BuildRecord,
    StepRecord,
    hashes,
    lands_built,
    read_record,
)
from carvegen.delivery.print_steps import (
    CHANGED,
    BlockInputs,
    ProofInputs,
    ReportInputs,
    Shape,
    block_folder,
    block_style,
    changed_files,
    cut_inputs,
    decided_file,
    findings_in,
    grown_by,
    moved,
    noted,
    notes_of,
    notes_on,
    printed_coats,
    proof_files,
    rubbings,
    shapes_of,
)
from carvegen.delivery.register_folder import FIGURES, register_files, register_inputs, register_trials
from carvegen.delivery.register_folder import PURPOSE as REGISTER_PURPOSE
from carvegen.delivery.side_by_side import side_by_side
from carvegen.delivery.step_keys import differences, digest, digests
from carvegen.prints.bare_paper.two_tones import two_tones
from carvegen.prints.cut_blocks import counter_setups_of, pressing_of, setups_of
from carvegen.prints.misregister.figures import findings
from carvegen.prints.tasks import Later
from carvegen.writers.proof.proof_pages import print_sheet
from carvegen.writers.proof.proof_sheet import proof_sheet_html
from carvegen.writers.whole_print.embossed_relief import PressedFace
from carvegen.writers.whole_print.print_report import PrintReport
from carvegen.writers.whole_print.ringed_png import fit_png

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.delivery.print_steps import ShapedPrint
    from carvegen.delivery.register_folder import RegisterInputs
    from carvegen.delivery.side_by_side import Say, Task
    from carvegen.delivery.step_keys import Recipe
    from carvegen.facts.profiles import Library
    from carvegen.prints.cut_blocks import Cut, Setups
    from carvegen.prints.file.print_file import Print
    from carvegen.prints.misregister.trials import TrialOutcome
    from carvegen.prints.recut import StandingBlock
    from carvegen.writers.whole_print.print_report import BlockFindings

__all__ = ["Built", "build_print", "each_once", "marking_sheet", "outdated", "purposes"]

#: The steps besides the blocks', which have the blocks' names: none of those can begin with a space.
_CUTS, _PROOFS, _REGISTER, _REPORT = CUTS, " proofs", " register", " report"
_RUBBINGS = " rubbings"  #: files of the proofs that are drawn beside the others
_NOTES, _REGISTER_FILES = " notes", " register's files"  #: what is made beside other steps
_SHAPE = "shape"  #: the input of a block's step that comes of the cuts

_TIMES = (0.55, 0.45)  #: shares of the time, measured on the sample: the blocks are worked out, and their files made

#: What the files of the whole print are for.
_PURPOSE = {
    "print.png": "what the print will look like: all inks over one another; look at this first",
    "proof.html": "the same for the browser: take blocks away, go to the findings, settings, files, cautions",
    "print.svg": "the same as shapes, at true size",
    "rubbing.svg": "the outlines of all lands over one another, a layer for each block: what is on top of what",
    "rubbing.png": "the lands of all blocks as graphite rubbed over one after the other: darkest where they overlap",
    CHANGED: "what the drawing has changed under kept motifs: on the left as they were kept, on the right as they are",
    "report.json": "all findings of all blocks, what must be decided first on top",
}


@dataclass(frozen=True, kw_only=True)
class Built:
    """What a build has done."""

    files: Mapping[str, str]  #: of the whole print, relative name to what it is for
    blocks: Mapping[str, str]  #: folder of each block, in printing order, to why it was built; "" if it was not
    proofs: str  #: why the proofs were drawn; "" if they were not
    register: str  #: why register errors were tried out; "" if they were not
    report: Mapping[str, Any]
    notes: tuple[str, ...] = ()  #: what was changed while the artwork was read
    moved: tuple[str, ...] = ()  #: which motifs grew otherwise than before though their own tables are as they were
    shaped: ShapedPrint | None = None  #: the blocks as they were made; None if none was to be

    @property
    def breaks(self) -> int:
        """How many findings break a limit."""
        return int(self.report["breaks"])


@collector_at_rest()
def build_print(print_: Print, out: Path, shelf: Library, *, say: Say, jobs: int = 1) -> Built:
    """Build what has changed of a print into the folder `out`, all or nothing of it.

    `build.json` keeps what went into each step as hashes; a step is run again if they differ, or if one of its files is
    no longer as it was written. If nothing differs nothing is written.

    Parameters
    ----------
    say
        Told at the start of each stage.
    jobs
        How many processes may work at once on what does not need one another. The files are the same with any number.

    Raises
    ------
    InputError
        If something in the print file, a drawing or a profile can't be used, or the folder can't be written.
    RefusedError
        If a block would be dangerous to make.
    """
    with settled(out):
        build = _Build(print_, out, shelf, say)
    with scratch_folder() as scratch:
        build.run(scratch, jobs)
        record, old = build.record, build.old.files
        if not (build.changes or any(build.why.values())) and record.to_text() == build.old.to_text():
            return build.built()
        write_file(scratch / RECORD, record.to_text())
        made = frozenset([*record.files, RECORD])
        before = earlier(out, owned=made | frozenset(old), made=sorted(made), sign=RECORD, written=old)
        for line in (*_left_alone(out, made | frozenset(old)), *before.lines()):
            say(line)
        with staged_folder(out, owned=frozenset(old) - made) as stage:
            for folder in build.folders.values():
                shutil.copytree(folder, stage, dirs_exist_ok=True)
            shutil.copy(scratch / RECORD, stage / RECORD)
            keep_edited(before, out, stage)
    return build.built(before.kept_lines())


def _left_alone(out: Path, names: frozenset[str]) -> list[str]:
    """What stands in a folder before the first build and is none of its files, in words."""
    if (out / RECORD).exists() or not out.is_dir():
        return []
    folders = {parent.as_posix() for name in names for parent in PurePosixPath(name).parents}
    there = list(_strange(out, "", names, folders))
    if not there:
        return []
    more = f" and {len(there) - 5} more" if len(there) > 5 else ""
    return [f"The folder {out.name} holds files of your own, which stay: {', '.join(there[:5])}{more}."]


def _strange(folder: Path, within: str, files: Collection[str], folders: Collection[str]) -> Iterator[str]:
    """What of a folder is none of these files, by its path `within` the build; other folders as one, none hidden."""
    for path in sorted(folder.iterdir()):
        name = within + path.name
        if path.name.startswith("."):
            continue
        if name in folders and path.is_dir():
            yield from _strange(path, f"{name}/", files, folders)
        elif name not in files and name not in folders:
            yield f"{name}/" if path.is_dir() else name


def _stands(print_: Print, out: Path) -> dict[str, StandingBlock]:
    """What stands of the blocks that are cut; a refused photograph is drawn as it was laid, beside the build."""
    if all(block.state != "cut" for block in print_.blocks):
        return {}  # what lays photographs takes long to load
    from carvegen.artwork.on_plan import LaidError
    from carvegen.prints.recut import standing_lands

    try:
        return standing_lands(print_, out)
    except LaidError as error:
        if not error.laid.negative:
            picture = out.with_name(f"{out.name}-{error.path.stem}-on-plan.png")
            with contextlib.suppress(InputError):  # the refusal matters more than its picture
                save_file(picture, fit_png(error.laid))
                error.look_at(picture)
        raise


class _Build:
    """A build at work: what each step is made of, why it must be run, and what came of it."""

    def __init__(self, print_: Print, out: Path, shelf: Library, say: Say) -> None:
        self.print_, self.out, self.say = print_, out, say
        self.old = read_record(out)
        self.setups = setups_of(print_, shelf)
        counters = counter_setups_of(print_, shelf, self.setups)
        stands = _stands(print_, out)
        self.cut_inputs = cut_inputs(print_, self.setups, stands)
        self.block_inputs = {
            block.name: BlockInputs(
                setups=self.setups[block.name], counter_setups=counters.get(block.name, ()),
                style=block_style(print_, k, shelf),
                stands=stands.get(block.name),
                mend=block.mend and block.role != "emboss",
            )
            for k, block in enumerate(print_.blocks)
        }  # fmt: skip
        self.recipes: dict[str, Recipe] = {_CUTS: digests(self.cut_inputs)}
        self.why: dict[str, str] = {}
        for name, inputs in self.block_inputs.items():
            shape = self.old.step(name).inputs.get(_SHAPE, "")
            self._settle(name, {_SHAPE: shape, **digests(inputs)}, "not built before")
        self.changes = differences(self.old.step(_CUTS).inputs, self.recipes[_CUTS]) or self._lost()
        self.shaped: ShapedPrint | None = None  #: none if no block is to be built
        self.cuts: Mapping[str, Cut] = {}  #: the same blocks, once it is worked out with all that is to be told
        self.register: RegisterInputs | None = None  #: none before it is known what of the paper is bare
        self.folders: dict[str, Path] = {}  #: of the steps that were run
        self.notes: tuple[str, ...] = ()
        self.grown: Recipe = self.old.step(GROWN).inputs  #: how the motifs grew
        self.moved: tuple[str, ...] = ()
        self.report: dict[str, Any] = {}
        self.record = BuildRecord()  #: what a next build must know of this one

    def _settle(self, step: str, recipe: Recipe, never: str) -> None:
        self.recipes[step] = recipe
        self.why[step] = self.old.step(step).changes(recipe, self.out, never)

    def run(self, scratch: Path, jobs: int) -> None:
        """Run what must be run, each step in a folder of its own."""
        shaping, making = each_stretch(_TIMES)
        with shaping:
            if self.changes or any(self.why.values()):
                self._cut(scratch / _CUTS.strip(), jobs)
        proofs = self._proofs()
        self._settle(_PROOFS, digests(proofs), "not drawn before")
        self.folders |= self._folders(scratch)
        slight = [_NOTES, _PROOFS, _RUBBINGS, _REGISTER_FILES]
        with making:
            done = side_by_side(self._tasks(proofs, scratch), jobs=jobs, say=self.say, slight=slight)
        _write(done.get(_RUBBINGS, {}), self.folders.get(_PROOFS, scratch))
        made = {name: digest(recipe) for name, recipe in self.recipes.items()}
        self._settle(
            _REPORT, digests(ReportInputs(print_=self.print_, setups=self.setups, made=made)), "not reported before"
        )
        self.folders |= self._folders(scratch)
        self._report(proofs, self._figures(done), done)
        self.record = self._record()

    def _folders(self, scratch: Path) -> dict[str, Path]:
        """A folder for each step that must be run, of those settled so far."""
        return {step: scratch / str(k) for k, step in enumerate(self.why) if self.why[step]}

    def _lost(self) -> list[str]:
        """Files of the cuts that are no longer as they were written."""
        files = self.old.step(_CUTS).files
        return [f"{name} is missing or was changed" for name, key in files.items() if file_hash(self.out / name) != key]

    def _cut(self, folder: Path, jobs: int) -> None:
        kinds = sorted({setup.machine.kind for setups in self.setups.values() for setup in setups})
        loading = partial(load_writers, kinds)
        self.shaped = shapes_of(self.cut_inputs, say=self.say, jobs=jobs, meanwhile=loading)
        picture, self.cuts = self.shaped.picture, self.shaped.cuts
        folder.mkdir()
        _write(changed_files(picture), folder)
        self.folders[_CUTS] = folder
        self.notes = (*picture.drawing.notes, *picture.notes)
        self.grown = grown_by(picture, self.setups)
        inputs = self.old.step(_CUTS).inputs, self.recipes[_CUTS]
        self.moved = moved(self.print_, (self.old.step(GROWN).inputs, self.grown), inputs)
        for name, cut in self.cuts.items():
            old, shape = self.old.step(name).inputs, digest(Shape.of(cut))
            self.recipes[name] = {**self.recipes[name], _SHAPE: shape}
            if old and old.get(_SHAPE) != shape:
                self.why[name] = "; ".join(filter(None, (self.why[name], *self.changes))) or "not as it was cut"

    def _proofs(self) -> ProofInputs:
        print_, lands = self.print_, {name: self._land(name) for name in self.block_inputs}
        masks = frozenset(block.name for block in print_.blocks if block.role == "stencil")
        dies = {
            block.name: PressedFace(face=lands[block.name], how=pressing_of(print_, block, self.setups[block.name][0]))
            for block in print_.blocks if block.role == "emboss"
        }  # fmt: skip
        coats = printed_coats(print_, lands)
        return ProofInputs(
            name_of_the_print=print_.name, paper=print_.paper, window=print_.window, masks=masks, die=dies,
            ink={name: coat.ink for name, coat in coats.items()},
            land={name: coat.land for name, coat in coats.items()},
            to_decide={name: shape for name in coats if not (shape := self._to_decide(name)).is_empty},
        )  # fmt: skip

    def _land(self, name: str) -> BaseGeometry:
        """A land as its file keeps it, even if that is not written yet: freed of the grid that GEOS joins to it."""
        kept = self.out / "lands" / f"{name}.wkb"
        land: BaseGeometry = shapely.from_wkb(
            shapely.to_wkb(self.cuts[name].land) if name in self.cuts else kept.read_bytes()
        )
        return land

    def _to_decide(self, name: str) -> BaseGeometry:
        """What marks leave to the carver on a block, as its file keeps it, even if that is not written yet."""
        kept = self.out / decided_file(name)
        if name not in self.cuts and not kept.exists():
            return shapely.Polygon()
        data = shapely.to_wkb(self.cuts[name].to_decide) if name in self.cuts else kept.read_bytes()
        there: BaseGeometry = shapely.from_wkb(data)
        return there

    def _tasks(self, proofs: ProofInputs, scratch: Path) -> dict[str, Task | Later]:
        """What there is to do, the longest first; what is a reason for several blocks is told once."""
        tasks: dict[str, Task | Later] = {}
        if self.shaped is not None:
            shown = replace(self.shaped, picture=self.shaped.picture.without_motifs())
            tasks[_NOTES] = partial(_note, shown, self.setups)
            tasks[_REGISTER] = Later(needs=[_NOTES], make=partial(self._trials, proofs, scratch))
        else:
            trials = self._trials(proofs, scratch, {})
            tasks |= {_REGISTER: trials} if self.why[_REGISTER] else {}
        blocks: dict[str, Task] = {}
        for name, why in each_once({name: self.why[name] for name in self.block_inputs if self.why[name]}).items():
            shape, inputs = Shape.of(self.cuts[name]), self.block_inputs[name]
            blocks[name] = partial(_build_block, shape, inputs, self.folders[name], why)
        order = sorted(blocks, key=lambda name: -len(self.cuts[name].block.cuts))
        longest = order[:-1] or order
        tasks |= {name: blocks[name] for name in longest}
        if self.why[_PROOFS]:
            tasks[_RUBBINGS] = partial(_draw_rubbings, proofs)
            tasks[_PROOFS] = partial(_draw_proofs, proofs, self.folders[_PROOFS])
        tasks |= {name: blocks[name] for name in order if name not in longest}
        if _REGISTER in tasks:
            tasks[_REGISTER_FILES] = Later(needs={_REGISTER, _PROOFS} & tasks.keys(), make=self._register_files)
        return tasks

    def _trials(self, proofs: ProofInputs, scratch: Path, done: Mapping[str, Any]) -> Task:
        """Trying out register errors, if it must be done: that is settled once all is known that is told of blocks."""
        if self.shaped is not None:
            self.cuts = noted(self.shaped.cuts, done[_NOTES])
        lands, picture = proofs.land, digest(self.recipes[_PROOFS])
        notes = [note for name in self.block_inputs for note in self._notes(name)]
        self.register = register_inputs(self.print_, self.setups, lands, picture, notes)
        self._settle(_REGISTER, digests(self.register), "not tried before")
        self.folders |= self._folders(scratch)
        return partial(_try_out, self.register) if self.why[_REGISTER] else _nothing

    def _register_files(self, done: Mapping[str, Any]) -> Task:
        """Writing what register errors come to, if they were tried out."""
        if self.register is None or not self.why[_REGISTER]:
            return _nothing
        printed = self.folders.get(_PROOFS, self.out) / "print.png"
        return partial(_write_register, self.register, done[_REGISTER], printed, self.folders[_REGISTER])

    def _figures(self, done: Mapping[str, Any]) -> dict[str, Any]:
        """The figures of register errors, as they are now or were."""
        if self.why[_REGISTER]:
            return dict(done[_REGISTER_FILES])
        return json.loads(self._text(FIGURES)) if FIGURES in self.old.step(_REGISTER).files else {}

    def _report(self, proofs: ProofInputs, figures: dict[str, Any], done: Mapping[str, Any]) -> None:
        if not self.why[_REPORT]:
            self.report = json.loads(self._text("report.json"))
            return
        tones = list(two_tones(
            {name: (coat.ink, coat.land) for name, coat in proofs.coats.items()}, self.print_.paper,
            self.print_.trap_mm,
        ))  # fmt: skip
        blocks = {name: self._findings(name, figures, tones, done.get(name)) for name in self.block_inputs}
        report = PrintReport(name=self.print_.name, blocks=blocks)
        size = [self.print_.width_mm, self.print_.height_mm]
        self.report = {
            **report.to_dict(), "size_mm": size, "stencils": sorted(proofs.masks), "colours": MODEL,
            **print_colours(proofs.ink, self.print_.paper), "register": figures or None,
        }  # fmt: skip
        setups = [setup for block in self.print_.blocks for setup in self.setups[block.name]]
        sheet = print_sheet(self.print_, proofs.coats, report, self._purpose(), setups, to_decide=proofs.to_decide)
        files = {"report.json": json.dumps(self.report, indent=1) + "\n", "proof.html": proof_sheet_html(sheet)}
        _write(files, self.folders[_REPORT])

    def _purpose(self) -> dict[str, str]:
        """What the files of the whole print are for, without the one that is not always there."""
        there = self._files(_CUTS)
        return {name: purpose for name, purpose in _PURPOSE.items() if name != CHANGED or name in there}

    def _files(self, step: str) -> Mapping[str, str]:
        """The hash of each file that a step has made, now or before."""
        return hashes(self.folders[step]) if step in self.folders else self.old.step(step).files

    def _findings(
        self, name: str, figures: dict[str, Any], tones: Sequence[tuple[str, Finding]], built: BlockFindings | None
    ) -> BlockFindings:
        """All that is said of a block: of its cut, of register, of its ink on others, and by its checks."""
        own = findings_in(self.out / name, self.block_inputs[name]) if built is None else built
        register = [finding for block, finding in (*(findings(figures) if figures else ()), *tones) if block == name]
        return replace(own, by_kind={"": [*self._notes(name), *register], **own.by_kind})

    def _notes(self, name: str) -> list[Finding]:
        if name in self.cuts:
            return [note.rounded for note in notes_of(self.cuts[name])]
        return [Finding.from_dict(note) for note in self.old.step(_CUTS).notes[name]]

    def _text(self, name: str) -> str:
        return (self.out / name).read_text(encoding="utf-8")

    def _record(self) -> BuildRecord:
        notes = {name: [note.to_dict() for note in self._notes(name)] for name in self.block_inputs}
        steps = {}
        for step, recipe in self.recipes.items():
            steps[step] = StepRecord(inputs=recipe, files=self._files(step), notes=notes if step == _CUTS else {})
        return BuildRecord(steps=steps | ({GROWN: StepRecord(inputs=self.grown)} if self.grown else {}))

    def built(self, kept: Sequence[str] = ()) -> Built:
        """What was done."""
        return Built(
            files={**self._purpose(), **_more_purposes(self.record.files)},
            blocks={name: self.why[name] for name in self.block_inputs},
            proofs=self.why[_PROOFS],
            register=self.why[_REGISTER],
            report=self.report,
            notes=(*self.notes, *kept),
            moved=self.moved,
            shaped=self.shaped,
        )  # fmt: skip


def outdated(print_: Print, out: Path, shelf: Library) -> dict[str, str]:
    """By block, why its files in the folder `out` are not what a build of the print as it is now makes; "": they are.

    Raises
    ------
    InputError
        If something that the print names can't be used.
    """
    with settled(out):
        build = _Build(print_, out, shelf, lambda _: None)
    return {name: "; ".join(filter(None, dict.fromkeys((why, *build.changes)))) for name, why in build.why.items()}


def marking_sheet(print_: Print, shelf: Library, paper: str, *, say: Say) -> tuple[bytes, int]:
    """The sheet to mark with coloured pencils, a PDF, and how many pages of that paper it has.

    What stands of each block is taken from a build in a folder beside the print file if it is still true; else the
    blocks are cut anew.
    """
    from carvegen.marking.pencil.layout import MarkingSheet
    from carvegen.writers.whole_print.marking_sheet import marking_sheet_pdf

    inputs = cut_inputs(print_, setups_of(print_, shelf), {})
    blocks, recipe = [block.name for block in print_.blocks], digests(inputs)
    for record in sorted(print_.path.parent.glob(f"*/{RECORD}")):
        if lands := lands_built(record.parent, recipe, blocks):
            say(f"taking the blocks as they were made in {record.parent.name}")
            break
    else:
        lands = {name: shapely.to_wkb(cut.land) for name, cut in shapes_of(inputs, say=say).cuts.items()}
    stands = {name: shapely.from_wkb(land) for name, land in lands.items()}  # both alike: without GEOS's grid
    sheet = MarkingSheet(name=print_.name, window=print_.window)
    data = marking_sheet_pdf(sheet, print_.paper, printed_coats(print_, stands), paper)
    return data, len(sheet.pages(sheet.best(paper)))


def purposes(files: Iterable[str]) -> dict[str, str]:
    """What the files of a whole print are for, of those that a build has made; those of blocks are told by these."""
    there = list(files)
    return {**{name: purpose for name, purpose in _PURPOSE.items() if name in there}, **_more_purposes(there)}


def _more_purposes(files: Iterable[str]) -> dict[str, str]:
    there = list(files)
    return {
        **{name: REGISTER_PURPOSE[name] for name in there if name in REGISTER_PURPOSE},
        **{name: _alone(Path(name).stem) for name in there if name.startswith("inks/")},
    }


def each_once(why: Mapping[str, str]) -> dict[str, str]:
    """Why each block is built, without the reasons that one before it has, too."""
    fresh, before = dict[str, str](), set[str]()
    for name, text in why.items():
        reasons = text.split("; ")
        fresh[name] = "; ".join(reason for reason in reasons if reason not in before)
        before.update(reasons)
    return fresh


def _try_out(inputs: RegisterInputs, say: Say) -> TrialOutcome | None:
    say("trying what shows when the blocks do not quite meet")
    return register_trials(inputs)


def _write_register(
    inputs: RegisterInputs, trials: TrialOutcome | None, printed: Path, folder: Path, _: Say
) -> dict[str, Any]:
    shutil.rmtree(folder, ignore_errors=True)  # of a process that was killed
    files, figures = register_files(inputs, trials, printed.read_bytes())
    _write(files, folder)
    return figures


def _note(shaped: ShapedPrint, setups: Setups, _: Say) -> dict[str, tuple[Finding, ...]]:
    return notes_on(shaped, setups)


def _nothing(_: Say) -> None:
    """What is left of a task that need not be done."""


def _build_block(shape: Shape, inputs: BlockInputs, folder: Path, why: str, say: Say) -> BlockFindings:
    name = shape.block.name
    shutil.rmtree(folder, ignore_errors=True)  # of a process that was killed
    say(f"making the files of the {name} block" + (f": {why}" if why else ""))
    return block_folder(shape, inputs, folder, lambda stage: say(f"{name}: {stage}"))


def _draw_rubbings(inputs: ProofInputs, _: Say) -> dict[str, bytes | str]:
    return rubbings(inputs)


def _draw_proofs(inputs: ProofInputs, folder: Path, say: Say) -> None:
    say("drawing the proofs")
    shutil.rmtree(folder, ignore_errors=True)
    _write(proof_files(inputs), folder)


def _write(files: Mapping[str, bytes | str], folder: Path) -> None:
    for name, data in files.items():
        write_file(folder / name, data)


def _alone(name: str) -> str:
    block = name.removesuffix("-block")
    return f"the block {block} alone, " + ("as it prints" if block == name else "as it lies")
