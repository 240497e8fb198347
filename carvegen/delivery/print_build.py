"""A whole print from its file: every block in register, the proofs, and one report; only what has changed."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import shapely

from carvegen import geometry
from carvegen.base.colour import MODEL
from carvegen.base.files import (
    scratch_folder,
    settled,
    staged_folder,
    write_file,
)
from carvegen.base.previous_run import Earlier, earlier, keep_edited
from carvegen.blocks.free_edge import with_fringe
from carvegen.blocks.from_motif import strictest
from carvegen.delivery.block_folder import deliver, style_of
from carvegen.delivery.die_folder import deliver_die
from carvegen.delivery.machine_setup import clamping_of
from carvegen.delivery.register_folder import PURPOSE as REGISTER_PURPOSE
from carvegen.delivery.register_folder import register_files, register_recipe
from carvegen.delivery.step_keys import (
    STATE,
    Part,
    State,
    differences,
    hashed,
    land_hash,
    picture_recipe,
    proof_recipe,
    read_state,
    setup_recipe,
)
from carvegen.prints.bare_paper import mended_print, mending_recipe, paper_findings
from carvegen.prints.cut_blocks import (
    counter_ways_of,
    cut_blocks,
    finding_of,
    pressing_of,
    ways_of,
)
from carvegen.prints.misregister.figures import findings
from carvegen.prints.recut import KEPT, cut_further, standing_land, standing_tolerance_mm
from carvegen.writers.proof.proof_pages import print_sheet
from carvegen.writers.proof.proof_sheet import proof_sheet_html
from carvegen.writers.whole_print.embossed_relief import Pressed
from carvegen.writers.whole_print.print_png import (
    Coat,
    print_png,
    rubbing_png,
    turned_png,
)
from carvegen.writers.whole_print.print_report import print_report
from carvegen.writers.whole_print.print_svg import outlines_svg, print_svg

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.facts.profiles import Library
    from carvegen.prints.cut_blocks import Cut
    from carvegen.prints.file.print_file import Print, PrintBlock
    from carvegen.prints.picture import Picture

__all__ = ["Built", "build_print"]

_PROOFS = " proofs"  #: the proofs' part; no block can have this name
_REGISTER = " register"
_REPORT = " report"

#: What the files of the whole print are for.
_PURPOSE = {
    "print.png": "what the print will look like: all inks over one another; look at this first",
    "proof.html": "the same for the browser: take blocks away, go to what was found, settings, files, cautions",
    "print.svg": "the same as shapes, at true size",
    "rubbing.svg": "the outlines of all lands over one another, a layer for each block: what is on top of what",
    "rubbing.png": "the lands of all blocks over one another: where inks meet and overlap",
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

    @property
    def breaks(self) -> int:
        """How many findings break a limit."""
        return int(self.report["breaks"])


def build_print(given: Print, out: Path, shelf: Library, *, say: Callable[[str], None]) -> Built:
    """Build what has changed of a print into the folder `out`, all or nothing of it.

    What went into each part is kept as hashes in `build.json`; a part is built again if they differ, or if one of its
    files is no longer as it was written. If nothing differs nothing is written.

    Raises
    ------
    InputError
        If something in the print file, a drawing or a profile can't be used, or the folder can't be written.
    RefusedError
        If a block would be dangerous to make.
    """
    with settled(out):
        bench = _Bench(given, out, shelf, say)
    if not bench.stale:
        return bench.built(bench.old)
    with scratch_folder() as work:
        parts = {block.name: bench.block(block, work) for block in given.blocks}
        parts[_PROOFS] = bench.proofs(State(parts=parts), work)
        parts[_REGISTER] = bench.register(State(parts=parts), work)
        parts[_REPORT] = bench.report(State(parts=parts), work)
        new = State(parts=parts)
        if new.to_text() != bench.old.to_text():
            write_file(work / STATE, new.to_text())
        old, made = _files_in(bench.old), _files_in(new).keys()
        owned, gone = frozenset([*old, *made, STATE]), frozenset(old.keys() - made)
        before = earlier(out, owned=owned, made=[*made, STATE], sign=STATE, written=old)
        for line in before.lines():
            say(line)
        with staged_folder(out, owned=gone) as stage:
            shutil.copytree(work, stage, dirs_exist_ok=True)
            keep_edited(before, out, stage)
    return bench.built(new, before)


def _files_in(state: State) -> dict[str, str]:
    return {name: digest for part in state.parts.values() for name, digest in part.files.items()}


class _Bench:
    """A build at work: what is given, what is there, and what has to be made."""

    def __init__(self, given: Print, out: Path, shelf: Library, say: Callable[[str], None]) -> None:
        self.given, self.out, self.say = given, out, say
        self.ways = ways_of(given, shelf)
        self.counters = counter_ways_of(given, shelf, self.ways)
        self.clamping = {block.name: clamping_of(given, k, shelf) for k, block in enumerate(given.blocks)}
        self.old = read_state(out)
        self.standing = {block.name: standing_land(given, k, out) for k, block in enumerate(given.blocks)}
        self.shaping = {**picture_recipe(given, self.ways), **self._mending()}
        self.reasons = {block.name: why for block in given.blocks if (why := self._reason(block))}
        self.proof_reason = self._proof_reason()
        self.register_reason = self._register_reason()
        names = {block.name for block in given.blocks} | {_PROOFS, _REGISTER, _REPORT}
        self.stale = bool(self.reasons or self.proof_reason or self.register_reason or self.old.parts.keys() - names)
        self.done: dict[str, str] = {}  #: why each block was built
        self.drawn = ""
        self.tried = ""

    def _mending(self) -> dict[str, str]:
        """What mending of one block may change on others."""
        stands = {name: land_hash(land) for name, land in self.standing.items() if land is not None}
        return {"mending": hashed((mending_recipe(self.given, self.ways), stands))}

    def _recipe(self, block: PrintBlock) -> dict[str, str]:
        return {**self.shaping, **self._own(block)}

    def _own(self, block: PrintBlock) -> dict[str, str]:
        stands = self.standing[block.name]
        cut = {} if stands is None else {"what stands of it": land_hash(stands)}
        setups = [*self.ways[block.name], *self.counters.get(block.name, ())]
        return {**setup_recipe(self.given, block, setups), **self.clamping[block.name].recipe(), **cut}

    def _reason(self, block: PrintBlock) -> str:
        """Why a block may have to be built; "" if nothing of it has changed."""
        old = self.old.part(block.name)
        if not old.files:
            return "not built before"
        lost = old.lost(self.out)
        if lost:
            return f"{lost[0]} is missing or was changed"
        return "; ".join(differences(_without_shapes(old.recipe), self._recipe(block)))

    def _proof_reason(self) -> str:
        old = self.old.part(_PROOFS)
        if not old.files:
            return "not drawn before"
        lost = [*old.lost(self.out), *self.old.part(_REPORT).lost(self.out)]
        if lost:
            return f"{lost[0]} is missing or was changed"
        return "; ".join(differences(_colours_in(old.recipe), self._colours()))

    def _register_reason(self) -> str:
        old = self.old.part(_REGISTER)
        if not old.recipe:
            return "not tried before"
        lost = old.lost(self.out)
        if lost:
            return f"{lost[0]} is missing or was changed"
        return "; ".join(differences(_settings_in(old.recipe), register_recipe(self.given, self.ways)))

    def _colours(self) -> dict[str, str]:
        given = self.given
        dies = [pressing_of(given, block, self.ways[block.name][0]) for block in given.blocks if block.role == "emboss"]
        own = {"embossing": hashed(dies)} if dies else {}
        return {**proof_recipe(given, self.ways), **own}

    @cached_property
    def _cut(self) -> tuple[Picture, dict[str, Cut]]:
        """The picture, and the blocks as they are to be made: mended, and with what is to be told of the paper."""
        picture, cuts = cut_blocks(self.given, self.ways, say=self.say)
        for name, stands in self.standing.items():
            if stands is not None:
                cuts[name] = cut_further(cuts[name], stands, standing_tolerance_mm(self.given, name))
        cuts = mended_print(self.given, picture, cuts, self.ways, say=self.say)
        paper = paper_findings(picture, cuts)
        return picture, {name: replace(cut, notes=(*cut.notes, *paper[name])) for name, cut in cuts.items()}

    def block(self, block: PrintBlock, stage: Path) -> Part:
        """The block built into the stage, or as it was if its shapes and its setup are the same."""
        old, why = self.old.part(block.name), self.reasons.get(block.name, "")
        if not why:
            return old
        cut = self._cut[1][block.name]
        shapes: list[BaseGeometry] = [cut.land, cut.fringe, shapely.union_all(cut.block.cut_outs)]
        recipe = {**self._recipe(block), "shapes": hashed([land_hash(shape) for shape in shapes])}
        own = {**self._own(block), "shapes": recipe["shapes"]}
        notes = [its.to_dict() for its in (*map(finding_of, cut.dropped), *cut.notes)]
        if all(old.recipe.get(name) == value for name, value in own.items()) and not old.lost(self.out):
            return replace(old, recipe=recipe, notes=notes)
        self.done[block.name] = why
        self.say(f"building {block.name}: {why}")
        stands = self.standing[block.name]
        limits = strictest(way.limits for way in self.ways[block.name])
        own_block = with_fringe(cut.block, cut.fringe, limits)
        jobs = [way.on(own_block) for way in self.ways[block.name]]
        style = self.clamping[block.name].styled(style_of(self.given.files))
        deliver(jobs, stage / block.name, style, say=self.say)
        if cut.die is not None:
            deliver_die(jobs[0], cut.die, self.counters[block.name], stage / block.name, style, say=self.say)
        write_file(stage / "lands" / f"{block.name}.wkb", shapely.to_wkb(cut.land))
        made = [stage / "lands" / f"{block.name}.wkb", *(stage / block.name).rglob("*")]
        if stands is not None:
            made.append(stage / KEPT / f"{block.name}.wkb")
            write_file(made[-1], shapely.to_wkb(stands))
        return Part(recipe=recipe, files=_hashes(stage, made), notes=notes)

    def proofs(self, new: State, stage: Path) -> Part:
        """The pictures of the whole print."""
        recipe = {**self._colours(), **self._shapes(new)}
        old = self.old.part(_PROOFS)
        if recipe == old.recipe and not old.lost(self.out):
            return old
        self.drawn = "; ".join(differences(old.recipe, recipe)) if old.files else "not drawn before"
        self.drawn = self.drawn or self.proof_reason
        self.say("drawing the proofs")
        given, window = self.given, self.given.window
        coats = self._coats(stage)
        inked, masks = list(coats.values()), {block.name: block.role == "stencil" for block in given.blocks}
        pressed = self._pressed(stage)
        reliefs = list(pressed.values())
        files: dict[str, bytes | str] = {
            "print.png": print_png(given.paper, inked, window, pressed=reliefs),
            "print.svg": print_svg(given.paper, inked, window, pressed=reliefs, title=given.name),
            "rubbing.png": rubbing_png(inked, window),
            "rubbing.svg": outlines_svg(coats, window, pressed=pressed),
        }
        for name, coat in coats.items():
            alone = print_png(given.paper, [coat], window)
            files[f"inks/{name}.png"] = alone
            files[f"inks/{name}-block.png"] = alone if masks[name] else turned_png(alone)
        for name, its in pressed.items():
            files[f"inks/{name}.png"] = print_png(given.paper, [], window, pressed=[its])
        made = [stage / name for name in files]
        for name, data in files.items():
            write_file(stage / name, data)
        return Part(recipe=recipe, files=_hashes(stage, made))

    def _coats(self, stage: Path) -> dict[str, Coat]:
        """What the blocks print, in printing order."""
        return {
            block.name: Coat(ink=block.ink, land=self._printed(block, stage))
            for block in self.given.blocks if block.ink is not None and block.role != "emboss"
        }  # fmt: skip

    def _pressed(self, stage: Path) -> dict[str, Pressed]:
        """What the dies press."""
        return {
            block.name: Pressed(
                face=self._land(block.name, stage), how=pressing_of(self.given, block, self.ways[block.name][0])
            )
            for block in self.given.blocks if block.role == "emboss"
        }  # fmt: skip

    def _shapes(self, new: State) -> dict[str, str]:
        names = [block.name for block in self.given.blocks]
        return {f"lands of {name}": new.part(name).files[f"lands/{name}.wkb"] for name in names}

    def register(self, new: State, stage: Path) -> Part:
        """What register errors do to the print."""
        recipe = {**register_recipe(self.given, self.ways), **self._shapes(new)}
        recipe["picture of the print"] = new.part(_PROOFS).files["print.png"]
        notes = [note for block in self.given.blocks for note in new.part(block.name).notes]
        recipe["bare paper"] = hashed([note for note in notes if note["rule"] == "bare-paper"])
        old = self.old.part(_REGISTER)
        if recipe == old.recipe and not old.lost(self.out):
            return old
        self.tried = "; ".join(differences(old.recipe, recipe)) if old.recipe else "not tried before"
        self.tried = self.tried or self.register_reason
        self.say("trying out register errors")
        inked = [block for block in self.given.blocks if block.ink is not None and block.role != "emboss"]
        lands = {block.name: self._printed(block, stage) for block in inked}
        printed = self._found("print.png", stage).read_bytes()
        files, told = register_files(self.given, self.ways, lands, printed, notes)
        for name, data in files.items():
            write_file(stage / name, data)
        made = [stage / name for name in files]
        return Part(recipe=recipe, files=_hashes(stage, made), notes=[told] if told else [])

    def _found(self, name: str, stage: Path) -> Path:
        """A file as it is made anew, or as it was."""
        return stage / name if (stage / name).is_file() else self.out / name

    def _printed(self, block: PrintBlock, stage: Path) -> BaseGeometry:
        """Where a block leaves ink: its land, or the holes of a stencil."""
        land = self._land(block.name, stage)
        face = geometry.box(self.given.width_mm, self.given.height_mm)
        return shapely.difference(face, land) if block.role == "stencil" else land

    def _land(self, name: str, stage: Path) -> BaseGeometry:
        land: BaseGeometry = shapely.from_wkb(self._found(f"lands/{name}.wkb", stage).read_bytes())
        return land

    def report(self, new: State, stage: Path) -> Part:
        """All findings of all blocks."""
        told = print_report(self.given.name, [block.name for block in self.given.blocks], *self._told(new, stage))
        told["colours"] = MODEL
        told["register"] = next(iter(new.part(_REGISTER).notes), None)
        text = json.dumps(told, indent=1) + "\n"
        old, recipe = self.old.part(_REPORT), {**self._colours(), **self._shapes(new), "findings": hashed(text)}
        if old.recipe == recipe and not old.lost(self.out):
            return old
        ways = [way for block in self.given.blocks for way in self.ways[block.name]]
        sheet = print_sheet(self.given, self._coats(stage), told, _PURPOSE, ways)
        made = {"report.json": text, "proof.html": proof_sheet_html(sheet)}
        for name, content in made.items():
            write_file(stage / name, content)
        return Part(recipe=recipe, files=_hashes(stage, [stage / name for name in made]))

    def _told(self, new: State, stage: Path) -> tuple[dict[str, Any], dict[str, Sequence[Any]]]:
        """What the blocks' own reports say, and what the separation says of each."""
        reports = {}
        for block in self.given.blocks:
            found = self._found(f"{block.name}/report.json", stage)
            reports[block.name] = json.loads(found.read_text(encoding="utf-8"))
        notes: dict[str, Sequence[Any]] = {block.name: new.part(block.name).notes for block in self.given.blocks}
        for told in new.part(_REGISTER).notes:
            for name, finding in findings(told):
                notes[name] = [*notes[name], finding.to_dict()]
        return reports, notes

    def built(self, new: State, before: Earlier | None = None) -> Built:
        """What was done, once it is published."""
        report = json.loads((self.out / "report.json").read_text(encoding="utf-8"))
        drawn = [name for name in new.part(_PROOFS).files if name.startswith("inks/")]
        proofs = {name: _alone(Path(name).stem) for name in drawn}
        notes = (*self._cut[0].drawing.notes, *self._cut[0].notes) if "_cut" in self.__dict__ else ()
        return Built(
            files={**_PURPOSE, **{name: REGISTER_PURPOSE[name] for name in new.part(_REGISTER).files}, **proofs},
            blocks={block.name: self.done.get(block.name, "") for block in self.given.blocks},
            proofs=self.drawn,
            register=self.tried,
            report=report,
            notes=(*notes, *(before.kept_lines() if before else ())),
        )


def _alone(name: str) -> str:
    block = name.removesuffix("-block")
    return f"the block {block} alone, " + ("as it prints" if block == name else "as it lies")


def _hashes(stage: Path, made: Sequence[Path]) -> dict[str, str]:
    return {path.relative_to(stage).as_posix(): hashed(path.read_bytes()) for path in sorted(made) if path.is_file()}


def _without_shapes(recipe: Mapping[str, str]) -> dict[str, str]:
    return {name: value for name, value in recipe.items() if name != "shapes"}


def _settings_in(recipe: Mapping[str, str]) -> dict[str, str]:
    return {name: its for name, its in _colours_in(recipe).items() if name != "picture of the print"}


def _colours_in(recipe: Mapping[str, str]) -> dict[str, str]:
    return {name: value for name, value in recipe.items() if not name.startswith("lands of ")}
