"""The blocks of a print: each one's setups, what stands of it, and the block that is cut."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.colour import lightness
from carvegen.base.errors import CarvegenError, InputError
from carvegen.base.findings import Finding, Severity
from carvegen.blocks.block import Block
from carvegen.blocks.embossing import counter_setups
from carvegen.blocks.embossing.pressing import Pressing, counter_thickness_mm, die_for
from carvegen.blocks.embossing.pressing import findings as die_findings
from carvegen.blocks.from_motif import strictest
from carvegen.blocks.job import setups_for
from carvegen.blocks.register_marks import die_register, register_for, with_moat
from carvegen.checks.mending import lost_pieces, mended_for_all
from carvegen.marking.kept_file import read_kept
from carvegen.motifs.shared.minimum_width import opened
from carvegen.prints.file.print_file import in_keys
from carvegen.prints.picture import pictured, unmarked
from carvegen.prints.separation import Plate, Trapping, separation
from carvegen.prints.tasks import in_turn

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.blocks.embossing.pressing import Die
    from carvegen.blocks.job import Setup
    from carvegen.checks.mending import CutChange, LostPiece
    from carvegen.facts.profiles import Library
    from carvegen.geometry import PolygonArray
    from carvegen.prints.file.print_file import Print, PrintBlock
    from carvegen.prints.kept_motifs import KeptReader
    from carvegen.prints.picture import Growths, Picture, Unmarked
    from carvegen.prints.separation import Dropped, Separated, Separation
    from carvegen.prints.tasks import Run, Say

__all__ = [
    "Cut", "Mended", "Setups", "as_drawn", "counter_setups_of", "cut_of", "finding_of", "mended_block",
    "mended_cut", "picture_of", "plates_of", "pressing_of", "separation_of", "setups_of", "unmarked_of", "with_block",
]  # fmt: skip

Setups = Mapping[str, tuple["Setup", ...]]


@dataclass(frozen=True, kw_only=True, eq=False)
class Cut:
    """One block of a print as it comes from the separation."""

    block: Block
    land: BaseGeometry  #: what stands; of a die its face
    white: BaseGeometry  #: what must not print
    picture: BaseGeometry = field(default_factory=shapely.Polygon)  #: what of the picture is in its ink, white and all
    masks: bool = False  #: whether ink goes through it, not from its land
    dropped: tuple[Dropped, ...] = ()
    fringe: BaseGeometry = field(default_factory=shapely.Polygon)  #: where the carver may take more
    to_decide: BaseGeometry = field(default_factory=shapely.Polygon)  #: what marks leave to the carver
    given_up: BaseGeometry = field(default_factory=shapely.Polygon)  #: what of the picture no block can hold, and says
    die: Die | None = None  #: of an emboss block
    notes: tuple[Finding, ...] = ()  #: what is to be said of it before it is checked
    changes: tuple[CutChange, ...] = ()  #: what was mended
    lost: tuple[LostPiece, ...] = ()  #: the land that mending took away whole

    @property
    def ink(self) -> BaseGeometry:
        """Where it leaves ink on the paper."""
        if self.die is not None:
            return shapely.Polygon()
        return shapely.difference(self.block.face, self.land) if self.masks else self.land


@dataclass(frozen=True, kw_only=True, eq=False)
class Mended:
    """A block's cuts as they are mended for all of its machines."""

    cuts: PolygonArray
    fixed: frozenset[int]  #: which of them mending leaves alone
    changes: tuple[CutChange, ...]
    lost: tuple[LostPiece, ...]  #: the land that went whole
    land: BaseGeometry  #: what stands


def setups_of(print_: Print, shelf: Library) -> dict[str, tuple[Setup, ...]]:
    """The setups of each block, by name; an error says which block."""
    return {block.name: _setups(print_, k, block, shelf) for k, block in enumerate(print_.blocks)}


def _setups(print_: Print, k: int, block: PrintBlock, shelf: Library) -> tuple[Setup, ...]:
    try:
        return setups_for(
            shelf, material=block.material, cutter=block.cutter, machines=block.machines, kinds=block.kinds,
            thickness_mm=block.thickness_mm, depth_mm=block.depth_mm, grain_deg=block.grain_deg,
            declared=block.declare,
        )  # fmt: skip
    except CarvegenError as error:
        raise in_keys(error, print_, f"blocks[{k}]") from None


def counter_setups_of(print_: Print, shelf: Library, setups: Setups) -> dict[str, tuple[Setup, ...]]:
    """The setups of the sheets that lie against the dies, by the die's name: own material, own thickness."""
    return {
        block.name: _counter_setups(print_, k, block, shelf, setups[block.name])
        for k, block in enumerate(print_.blocks) if block.role == "emboss"
    }  # fmt: skip


def _counter_setups(
    print_: Print, k: int, block: PrintBlock, shelf: Library, die: Sequence[Setup]
) -> tuple[Setup, ...]:
    """For the die's kinds of machine, as far as the sheet's material allows them; for the hand where it allows none."""
    how, stuff = pressing_of(print_, block, die[0]), shelf.material(block.counter_material)
    thick = block.counter_thickness_mm
    if thick is not None and thick < how.relief_mm:
        raise InputError(
            f"must be the die's relief, {how.relief_mm:g} mm, or more: what rises would meet what lies behind",
            value=thick, where=print_.place(f"blocks[{k}].counter_thickness_mm"), hint="leave it out, or take more",
        )  # fmt: skip
    thick = thick or counter_thickness_mm(how, stuff.thickness_mm)
    try:
        return counter_setups(shelf, die, material=stuff.key, thickness_mm=thick)
    except CarvegenError as error:
        raise in_keys(error, print_, f"blocks[{k}]") from None


def plates_of(print_: Print, setups: Setups) -> tuple[Plate, ...]:
    """The blocks that print ink from their lands, for the separation."""
    plates = []
    for block in print_.blocks:
        if block.inked and block.ink is not None:
            limits = strictest(setup.limits for setup in setups[block.name])
            plates.append(
                Plate(
                    name=block.name, layers=frozenset(block.layers), lightness=lightness(block.ink.colour),
                    land_mm=limits.land_mm, cut_mm=limits.cut_mm, ink=block.ink, ground=block.role == "background",
                    under_all=block.role == "ground",
                )
            )  # fmt: skip
    return tuple(plates)


def picture_of(print_: Print, setups: Setups, *, say: Callable[[str], None], run: Run = in_turn) -> Picture:
    """The picture of a print, its motifs grown or taken as they are kept; `run` as `pictured`'s."""
    limits = {name: strictest(setup.limits for setup in lot) for name, lot in setups.items()}
    return pictured(print_, plates_of(print_, setups), limits, say=say, run=run)


def unmarked_of(
    print_: Print,
    setups: Setups,
    *,
    say: Callable[[str], None],
    read: KeptReader = read_kept,
    growths: Growths | None = None,
) -> Unmarked:
    """The same before anything is marked on it; `read` reads kept files, `growths` remembers what has grown."""
    limits = {name: strictest(setup.limits for setup in lot) for name, lot in setups.items()}
    return unmarked(print_, plates_of(print_, setups), limits, say=say, read=read, growths=growths)


def separation_of(print_: Print, setups: Setups, picture: Picture) -> Separation:
    """What is to be done to know what each block prints that prints ink from its land."""
    layers, plates = picture.drawing.layers, plates_of(print_, setups)
    known = {layer.name for layer in layers}
    drawn = tuple(replace(plate, layers=as_drawn(plate.layers, known)) for plate in plates)
    ready = {
        plate.name: picture.pictures[plate.name]
        for plate, own in zip(plates, drawn, strict=True) if plate.layers & known == own.layers
    }  # fmt: skip
    return separation(
        picture.face, layers, drawn, white=lambda plate: picture.white_for(plate.name),
        stays=lambda plate: picture.stays_on(plate.name), ready=ready, paper=print_.paper,
        hidden=print_.hidden_by,
        spread=Trapping(trap_mm=print_.trap_mm, cut_back_mm=print_.register_error_mm),
    )  # fmt: skip


def cut_of(print_: Print, k: int, setups: Setups, picture: Picture, by_block: Mapping[str, Separated]) -> Cut:
    """Block `k`, 0 for the first, as it comes from the separation; `by_block` has at least its own."""
    setup = setups[print_.blocks[k].name][0]
    return _on_board(print_, k, _cut(print_, k, setup, picture, by_block), setups)


def _on_board(print_: Print, k: int, cut: Cut, setups: Setups) -> Cut:
    """The block with what its board carries for register: alike on all, but for its own number and name.

    Round the picture of a block that is inked runs a groove; through the waste of a die its floor.
    """
    size = (print_.width_mm, print_.height_mm)
    try:
        register = register_for(print_.register, size, f"{k + 1} {cut.block.name}")
    except InputError as error:
        error.where = print_.place(error.where)
        raise
    if cut.die is not None:
        register = die_register(register, print_.register, size)
    elif cut.block.inked:
        asked = max(setup.printing.moat_mm for setup in setups[cut.block.name])
        register = with_moat(register, size, asked if print_.register.moat_mm is None else print_.register.moat_mm)
    return replace(cut, block=replace(cut.block, register=register))


def as_drawn(names: frozenset[str], known: set[str]) -> frozenset[str]:
    """Names of layers as they are drawn, of names that may be written otherwise."""
    from carvegen.artwork import plain_name

    wanted = set(map(plain_name, names))
    return frozenset(name for name in known if plain_name(name) in wanted)


def _cut(print_: Print, k: int, setup: Setup, picture: Picture, by_block: Mapping[str, Separated]) -> Cut:
    block = print_.blocks[k]
    if block.name in by_block:
        separated = by_block[block.name]
        white = picture.white_for(block.name)
        return Cut(
            block=_block(print_, block, separated.land, picture), land=separated.land, white=white,
            picture=separated.picture, dropped=separated.dropped, fringe=picture.free_for(block.name),
            to_decide=picture.to_decide_for(block.name),
        )  # fmt: skip
    shapes = picture.openings
    if block.layers:
        shapes = geometry.snapped(geometry.parts(picture.drawing.union(block.layers)))
    if len(shapes) == 0:
        raise InputError(
            f"has nothing to {'press' if block.role == 'emboss' else 'mask'}", where=print_.place(f"blocks[{k}]"),
            hint='write an [[openings]] with a shape, or name layers: layers = ["MOON"]',
        )  # fmt: skip
    return _stencil(print_, k, setup, shapes, picture) if block.role == "stencil" else _die(print_, k, setup, shapes)


def _stencil(print_: Print, k: int, setup: Setup, shapes: PolygonArray, picture: Picture) -> Cut:
    """The mask of a stencil: open where its shapes are, but not where the paper stays bare."""
    name = print_.blocks[k].name
    white = picture.left_bare(name)
    asked = geometry.union(shapes)
    openings = shapes
    if shapely.intersects(asked, white):
        holes = geometry.difference(asked, white)
        made = shapely.intersection(opened(holes, setup.limits.cut_mm), holes)
        openings = geometry.snapped(geometry.parts(made))
    if len(openings) == 0:
        raise InputError(
            "leaves nothing open: all of its shapes stays bare paper", where=print_.place(f"blocks[{k}]"),
            hint="draw them larger, or leave the block out of the motifs' blocks",
        )  # fmt: skip
    block = Block(name=name, width_mm=print_.width_mm, height_mm=print_.height_mm, cuts=geometry.empty(),
                  cut_outs=openings, turned=False, inked=False)  # fmt: skip
    stays = shapely.difference(picture.face, shapely.union_all(openings))
    return Cut(block=block, land=stays, white=white, picture=asked, masks=True)


def pressing_of(print_: Print, block: PrintBlock, setup: Setup) -> Pressing:
    """How the die of an emboss block presses."""
    return Pressing(
        relief_mm=setup.depth_mm, bevel_deg=block.bevel_deg, edge_mm=block.edge_mm, corner_mm=block.corner_mm,
        paper_g_m2=print_.paper_g_m2, paper_mm=print_.paper_mm or 0.0, back=block.side == "back",
        bears=print_.stock,
    )  # fmt: skip


def _die(print_: Print, k: int, setup: Setup, shapes: PolygonArray) -> Cut:
    """The die of an emboss block: its floor is cut up to the foot of the wall, the wall has files of its own."""
    block = print_.blocks[k]
    how = pressing_of(print_, block, setup)
    die = die_for(shapes, how, clear_mm=print_.register_error_mm, least_mm=setup.limits.land_mm)
    if shapely.is_empty(die.face):
        raise InputError(
            "leaves nothing to press: walls, rounded corners and room for register take up its shapes",
            where=print_.place(f"blocks[{k}]"), hint="draw them larger, set a smaller depth_mm, or a smaller corner_mm",
        )  # fmt: skip
    own = replace(_block(print_, block, die.foot, None), turned=not how.back, bevelled=True, inked=False)
    return Cut(block=own, land=die.face, white=shapely.Polygon(), die=die, notes=tuple(die_findings(die, shapes)))


def _block(print_: Print, block: PrintBlock, land: BaseGeometry, picture: Picture | None) -> Block:
    """The block on which `land` stands; openings go right through it."""
    face = geometry.box(print_.width_mm, print_.height_mm)
    openings = picture.openings if picture is not None else geometry.empty()
    gone = geometry.difference(face, shapely.union(land, shapely.union_all(openings)))
    return Block(
        name=block.name, width_mm=print_.width_mm, height_mm=print_.height_mm, cuts=geometry.parts(gone),
        cut_outs=openings, stays=geometry.parts(picture.stays_on(block.name)) if picture else geometry.empty(),
        drawn=geometry.parts([layer.shape for layer in picture.drawing.layers]) if picture else geometry.empty(),
    )  # fmt: skip


def mended_cut(cut: Cut, setups: Sequence[Setup], *, say: Say) -> Cut:
    """The block mended for all its machines, but nothing is put into what must be white.

    What is too narrow to stand and could only be widened into the white is cut away; nothing that is marked to stay is.
    """
    return with_block(cut, mended_block(cut, setups, say))


def mended_block(cut: Cut, setups: Sequence[Setup], say: Say) -> Mended:
    """What `mended_cut` makes of the block's cuts."""
    jobs = [setup.on(cut.block) for setup in setups]
    done, changes = mended_for_all(jobs, say=lambda stage: say(f"{cut.block.name}: {stage}"), white=cut.white)
    block = done[0].block
    lost = lost_pieces(cut.block, block, changes)
    return Mended(cuts=block.cuts, fixed=block.fixed, changes=changes, lost=lost, land=_standing(block))


def with_block(cut: Cut, mended: Mended) -> Cut:
    """What comes from the separation, with the block's cuts as they are mended."""
    block = replace(cut.block, cuts=mended.cuts, fixed=mended.fixed)
    return replace(cut, block=block, land=mended.land, changes=mended.changes, lost=mended.lost)


def _standing(block: Block) -> BaseGeometry:
    return geometry.difference(block.face, np.concatenate([block.cuts, block.cut_outs]))


def finding_of(dropped: Dropped) -> Finding:
    """A place where a block can't stay back from the white, as a finding."""
    return Finding(
        rule="cut-back", severity=Severity.RISK, at=dropped.at, measured=dropped.width_mm, limit=dropped.land_mm,
        unit="mm",
        why="cut back from the white here, the land would be too narrow to stand: its ink may show beside the snow",
        remedy="print this place in close register, or draw it wider",
    )  # fmt: skip
