"""A block that is cut already: nothing can be put back on it; what may still be cut."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import shapely

from carvegen import geometry
from carvegen.artwork import plain_name, read
from carvegen.artwork.bounds import MAX_KNOWN_MM
from carvegen.artwork.kinds import is_picture
from carvegen.artwork.on_plan import (
    BY_OLD_CUTS,
    LaidError,
    PoorFitError,
    board_sides,
    lay_file,
    plan_of,
    plan_of_inks,
    read_block,
    read_inks,
    shown_alone,
)
from carvegen.artwork.reading import file_and_layer
from carvegen.artwork.scan import ScanOptions, read_scan, sized_mm
from carvegen.base.errors import InputError
from carvegen.base.findings import Finding, Severity
from carvegen.base.progress import each_part, part
from carvegen.blocks.comparison import CUT_FOLDER, SCAN_TOLERANCE_MM, difference, land_in
from carvegen.blocks.from_drawing import LEFT_OUT, shows_cuts
from carvegen.marking.marks import Meaning
from carvegen.prints.layers import drawing_of
from carvegen.prints.separation import Plate, painted

if TYPE_CHECKING:
    from pathlib import Path

    from shapely.geometry.base import BaseGeometry

    from carvegen.artwork.on_plan import BoardSides, InkSeen, Laid, TonePlan
    from carvegen.blocks.comparison import Difference
    from carvegen.marking.marks import Mark
    from carvegen.prints.cut_blocks import Cut
    from carvegen.prints.file.print_file import Print, PrintBlock
    from carvegen.prints.layers import LayeredDrawing

__all__ = ["StandingBlock", "cut_further", "kept_files", "standing_lands"]

_TOLERANCE_MM = 0.02
_LANDS, _KNOWN = "lands", "known_within_mm"
_MOST = 40
_ALONE, _PRINT = "the block", "the print"  #: what a picture of a block may show
_MOSTLY = 0.5  #: of a piece lies in the snow
_LEAST_MM2 = 1.0  #: less is not worth a word
_SAME_PAGE_MM = 1.0  #: a page that differs from the face by no more shows it
_ASKED = (
    "this would have to print, but the block is cut there and nothing can be put back",
    'let the old picture be here: change the drawing back, or cut a new block: state = "open"',
)  #: why what does not stand is told, and what helps
_MARKED = (
    "asks for land here, but the block is cut there and nothing can be put back",
    'take the mark out, or leave this block out of its blocks, or cut a new block: state = "open"',
)  #: the same of what a mark asks, after its name
_HINT = (
    "give what stands in print view, its page the block's face; carvegen read PHOTO --size {0:g}x{1:g} --corners auto "
    "--out land.svg straightens a photograph of a print; add --view block if it shows the block itself"
)

_OF_A_DIE = (
    "leave cut_land out where the build of it lies in the folder that is built, or give its land: "
    'cut_land = "BUILT/lands/{}.wkb"'
)
_ON_BUILT = (
    "Is it this block? Photograph all of it, from above and sharp. A block that shows its snow and little else is laid "
    "on the build that it was cut by: carvegen read {file} --onto BUILT --block {block} --out land.svg; then "
    'cut_land = "land.svg". Else {straight}'
)


@dataclass(frozen=True, kw_only=True, eq=False)
class StandingBlock:
    """What stands of a block that is cut, as far as it is known."""

    land: BaseGeometry
    tolerance_mm: float = _TOLERANCE_MM  #: outlines that lie no farther apart are the same
    hidden: BaseGeometry = field(default_factory=shapely.Polygon)  #: of its picture what a photograph can't tell
    board: BoardSides | None = None  #: round the drawing, where a photograph shows it


def standing_lands(print_: Print, out: Path) -> dict[str, StandingBlock]:
    """What stands of the blocks that are cut, by name: by its own file, as it was kept, or as it was built last.

    Each photograph is laid on its drawing once, however many blocks it shows.

    Raises
    ------
    InputError
        If one is cut and its land is not known, or can't be that of this block.
    """
    pictures = _Pictures(print_)
    cut = [k for k, block in enumerate(print_.blocks) if block.state == "cut"]
    stands = {}
    for k, looking in zip(cut, each_part([1.0] * len(cut)), strict=True):
        with looking:
            stands[print_.blocks[k].name] = _standing(pictures, k, out)
    return stands


def _standing(pictures: _Pictures, k: int, out: Path) -> StandingBlock:
    print_ = pictures.print_
    block = print_.blocks[k]
    own = [_own_file(print_, block)] if block.cut_land else []
    kept = [out / folder / f"{block.name}.wkb" for folder in (CUT_FOLDER, _LANDS)]
    there = next((path for path in own or kept if file_and_layer(path)[0].is_file()), None)
    if there is None:
        raise InputError(
            "is not there" if own else "is cut, but what stands of it is not known", value=block.cut_land or None,
            where=print_.place(f"blocks[{k}].cut_land"),
            hint='give its land: cut_land = "scan.png", or build once with state = "open" as it was cut',
        )  # fmt: skip
    try:
        standing = pictures.standing(block, there) or _by_file(print_, there)
        land = geometry.intersection(standing.land, geometry.box(print_.width_mm, print_.height_mm))
        if shapely.is_empty(land):
            raise InputError("shows nothing that stands on the block", where=str(there), hint=_hint(print_))
    except InputError as error:
        raise error.named(str).within(print_.place(f"blocks[{k}].cut_land")) from None
    return replace(standing, land=land)


def _own_file(print_: Print, block: PrintBlock) -> Path:
    """The file that shows what stands of a block."""
    return print_.path.parent / block.cut_land


class _Pictures:
    """Photographs and scans of a print's blocks, each laid once on the drawing without the snow.

    One may show a block itself, a print of it alone, or a finished print, which is taken apart by the print's inks;
    what inks that hide leave unsure there is taken as it is drawn. One that several inked blocks name shows the print.
    """

    def __init__(self, print_: Print) -> None:
        self.print_ = print_
        self.size = (print_.width_mm, print_.height_mm)
        self.coats = {block.name: block.ink for block in print_.blocks if block.inked and block.ink is not None}
        self._laid: dict[Path, tuple[str, Laid] | None] = {}
        self._inks: dict[Path, dict[str, InkSeen]] = {}

    def standing(self, block: PrintBlock, path: Path) -> StandingBlock | None:
        """What a picture shows of a block; None if it is no picture, or too little is drawn to tell its place.

        Then the picture's page is the face.

        Raises
        ------
        InputError
            If it shows something else; a picture of the size of the face is then read as it is.
        """
        if not is_picture(path):
            return None
        if block.role == "emboss":
            raise InputError(
                "is a picture, and none tells a die's face from its wall", where=str(path),
                hint=_OF_A_DIE.format(block.name),
            )  # fmt: skip
        if block.role == "stencil":
            return self._mask(block, path)
        if path not in self._laid:
            self._laid[path] = self._lay(block, path)
        match = self._laid[path]
        if match is None:
            return None
        shows, laid = match
        if shows == _ALONE:
            return replace(_seen(read_block(laid), self._painted[block.name]), board=board_sides(laid))
        if path not in self._inks:
            self._inks[path] = read_inks(laid, self.coats, self.print_.paper)
        return _seen(self._inks[path][block.name], self._painted[block.name])

    def _mask(self, block: PrintBlock, path: Path) -> StandingBlock | None:
        """What a picture shows of a stencil, laid on its own drawing; what is behind its openings may be any tone."""
        mask = geometry.difference(geometry.box(*self.size), self._open_in(block))
        match = self._laid_on(block, path, {_ALONE: plan_of(mask, self.size)}, either_tone=True)
        return None if match is None else _seen(read_block(match[1]), mask)

    def _open_in(self, block: PrintBlock) -> BaseGeometry:
        """What a stencil is cut through by: its layers, or else the print's openings."""
        if block.layers:
            return geometry.union(self._drawing.union(block.layers))
        shapes = (self._drawing.shapes(text, f"openings[{k}].shape") for k, text in enumerate(self.print_.openings))
        return geometry.union(*shapes)

    def _lay(self, block: PrintBlock, path: Path) -> tuple[str, Laid] | None:
        cut = (each for each in self.print_.blocks if each.inked and each.state == "cut")
        naming = [each for each in cut if _own_file(self.print_, each) == path]
        inks = len(self.coats) > 1 and block.name in self.coats
        plans = {}
        if not inks or len(naming) < 2:
            plans[_ALONE] = plan_of(self._painted[block.name], self.size)
        if inks:
            plans[_PRINT] = plan_of_inks(self._painted, self.coats, self.print_.paper, self.size)
        match = self._laid_on(block, path, plans)
        inked = {name: self._painted[name] for name in self.coats if inks}
        if match is None:
            return None
        other = shown_alone(match[1], inked)
        rest = [name for name in dict.fromkeys([block.name, *(each.name for each in naming)]) if name != other]
        if other is not None and rest:
            hint = f"give a picture of {' and one of '.join(rest)}, or of the whole print"
            raise LaidError(f"shows {other} alone", match[1], path, hint=hint)
        return match

    def _laid_on(
        self, block: PrintBlock, path: Path, plans: Mapping[str, TonePlan], *, either_tone: bool = False
    ) -> tuple[str, Laid] | None:
        """The plan that a picture shows, and the picture on it; None if its page is the face."""
        try:
            return lay_file(path, plans, either_tone=either_tone)
        except PoorFitError as error:
            if error.laid.negative:
                raise
            if _is_page(self.print_, path, error.laid.pictured_px):
                return None
            error.hint = _ON_BUILT.format(block=block.name, file=path.name, straight=_hint(self.print_))
            raise

    @cached_property
    def _drawing(self) -> LayeredDrawing:
        return drawing_of(self.print_)

    @cached_property
    def _painted(self) -> dict[str, BaseGeometry]:
        """What each block that prints ink has of the drawing, without snow, by name."""
        print_ = self.print_
        layers, face = self._drawing.layers, geometry.box(print_.width_mm, print_.height_mm)
        lands = {}
        for block in print_.blocks:
            if block.inked:
                named = set(map(plain_name, block.layers))
                on = frozenset(layer.name for layer in layers if plain_name(layer.name) in named)
                plate = Plate(
                    name=block.name, layers=on, lightness=0.0, land_mm=1.0, cut_mm=1.0,
                    ground=block.role == "background", under_all=block.role == "ground",
                )  # fmt: skip
                lands[block.name] = painted(face, layers, plate)
        return lands


def _is_page(print_: Print, path: Path, size_px: tuple[int, int]) -> bool:
    """Whether a picture says that it is as large as the face, so that it may show the face alone.

    A shape alike tells nothing: many a camera's pictures are 4 to 3, as are many faces.
    """
    pitch = sized_mm(path)
    face = (print_.width_mm, print_.height_mm)
    return pitch > 0 and max(abs(px * pitch - mm) for px, mm in zip(size_px, face, strict=True)) <= _SAME_PAGE_MM


def _seen(ink: InkSeen, drawn: BaseGeometry) -> StandingBlock:
    """What a picture shows to stand; as drawn where it can't tell."""
    hidden = geometry.intersection(drawn, ink.hidden)
    return StandingBlock(land=ink.as_planned_where_hidden(drawn), tolerance_mm=SCAN_TOLERANCE_MM, hidden=hidden)


def kept_files(name: str, standing: StandingBlock) -> dict[str, bytes | str]:
    """The files in which a build keeps what stood of a block, and how finely that is known if it is by a picture.

    The block's new land has outlines of the picture, too.
    """
    files: dict[str, bytes | str] = {f"{CUT_FOLDER}/{name}.wkb": shapely.to_wkb(standing.land)}
    if standing.tolerance_mm > _TOLERANCE_MM:
        text = json.dumps({_KNOWN: standing.tolerance_mm}) + "\n"
        files |= {f"{folder}/{name}.json": text for folder in (CUT_FOLDER, _LANDS)}
    return files


def _kept(path: Path) -> StandingBlock:
    """What a build has kept of a block, or a land that it has written."""
    return StandingBlock(land=land_in(path), tolerance_mm=max(_TOLERANCE_MM, _known_mm(path.with_suffix(".json"))))


def _known_mm(path: Path) -> float:
    """How finely a kept land is known, by the file beside it; 0 without one: it is a plan's, or as fine as a plan."""
    if not path.is_file():
        return 0.0
    try:
        known = json.loads(path.read_text(encoding="utf-8"))[_KNOWN]
    except (OSError, ValueError, TypeError, KeyError, RecursionError):
        known = None
    if type(known) not in (int, float) or not 0 <= known <= MAX_KNOWN_MM:  # nor what is no number
        raise InputError(
            f"must say how finely the land beside it is known, {_KNOWN}, from 0 to {MAX_KNOWN_MM:g} mm",
            value=known if isinstance(known, int | float) else None, where=str(path),
            hint=f'write {{"{_KNOWN}": 0.3}} there, or delete it: then the land counts as known as finely as a plan',
        )  # fmt: skip
    return float(known)


def _by_file(print_: Print, path: Path) -> StandingBlock:
    """What stands, in print view: by a land of a build, a drawing or scan of it, or a drawing of a block's cuts."""
    if path.suffix.lower() == ".wkb":
        return _kept(path)
    if is_picture(path):
        width_mm = 0.0 if sized_mm(path) else print_.width_mm  # without a resolution the picture is the face
        artwork = read_scan(path, ScanOptions(deskew=False, even=False, width_mm=width_mm))
    else:
        artwork = read(path, units=print_.units or None, outlines=True, without=LEFT_OUT)
        if shows_cuts(artwork):
            return StandingBlock(land=land_in(path), tolerance_mm=max(_TOLERANCE_MM, artwork.known_mm))
    if not artwork.true_size:
        raise InputError("does not say how large it is", where=str(path), hint=_hint(print_))
    page = (artwork.width_mm or print_.width_mm, artwork.height_mm or print_.height_mm)
    if max(abs(page[0] - print_.width_mm), abs(page[1] - print_.height_mm)) > _SAME_PAGE_MM:
        raise InputError(
            f"is not of the block's size: the face is {print_.width_mm:g} x {print_.height_mm:g} mm",
            value=f"{page[0]:.1f} x {page[1]:.1f} mm", where=str(path), hint=_hint(print_),
        )  # fmt: skip
    shapes = artwork.shapes
    land = geometry.solid(geometry.mirrored(shapes, print_.width_mm) if artwork.says_view == "block" else shapes)
    return StandingBlock(land=land, tolerance_mm=max(_TOLERANCE_MM, artwork.known_mm))


def _hint(print_: Print) -> str:
    """What to give in place of a file that does not show the block's land."""
    return _HINT.format(print_.width_mm, print_.height_mm)


def cut_further(
    cut: Cut, stands: BaseGeometry, tolerance_mm: float = _TOLERANCE_MM, *, marks: Sequence[Mark] = (),
    hidden: BaseGeometry | None = None, board: BoardSides | None = None,
) -> Cut:  # fmt: skip
    """The block as it can still be made: what stands of it and is wanted; land that would have to come back is told.

    Nothing is put back by mending either: what does not stand counts as white. What differs by no more than the
    tolerance is not told (`Standing`) and counts as cut; of a scan it is said how much that is. Where one of the marks
    asks for that land, it is told by its name. So do openings in which nothing stands,
    and the groove round the picture.
    """
    block = cut.block
    with part(0, 0):  # it takes hardly any of the time
        change = difference(block.name, stands, cut.land, tolerance_mm)
    land = geometry.intersection(cut.land, stands)
    gone = geometry.difference(block.face, geometry.union(land, block.cut_outs))
    missing = geometry.difference(block.face, stands)
    before = geometry.parts(geometry.difference(gone, geometry.union(change.cut)))
    around = geometry.empty() if block.register is None else block.register.lowered
    through = block.cut_outs[~shapely.intersects(shapely.buffer(block.cut_outs, -tolerance_mm), stands)]
    asked = [mark for mark in marks if mark.is_for(block=block.name) and mark.meaning != Meaning.COMES_OUT]
    notes = (
        *cut.notes, *_unlike(cut.land, land), *_findings(change, asked, cut.white), *_snow(cut, missing),
        *_coarse(cut.land, tolerance_mm), *_hidden(hidden), *_askew(board),
    )  # fmt: skip
    block = replace(
        block, cuts=geometry.parts(gone), cut_before=geometry.stack([before, around, through]),
        unseen=geometry.parts(hidden),
    )  # fmt: skip
    return replace(cut, block=block, land=land, white=geometry.union(cut.white, missing), notes=notes)


def _snow(cut: Cut, missing: BaseGeometry) -> Iterator[Finding]:
    """How much of what the snow would take of the block's picture is gone already."""
    taken = geometry.intersection(cut.white, cut.picture)
    gone = geometry.intersection(taken, missing)
    if gone.area >= _LEAST_MM2:
        yield Finding(
            rule="cut-snow", severity=Severity.ADVICE, at=None, measured=gone.area, limit=taken.area, unit="mm²",
            why="so much of what the snow covers of this block's picture is cut already: there it takes nothing away",
            remedy="nothing is to be cut there; where what was cut shows beside the snow, let the old picture be",
        )  # fmt: skip


def _hidden(hidden: BaseGeometry | None) -> Iterator[Finding]:
    """That part of the block could not be seen in a print."""
    if hidden is not None and hidden.area >= _LEAST_MM2:
        at = shapely.point_on_surface(hidden)
        yield Finding(
            rule="cut-hidden", severity=Severity.ADVICE, at=(at.x, at.y), measured=hidden.area, limit=0.0, unit="mm²",
            why="in the picture other inks hide what this block prints there, or something lies over it or glares: it "
            "is taken as it is drawn",
            remedy="look at the block there, or give a photograph of the block itself, with nothing on it",
        )  # fmt: skip


def _askew(board: BoardSides | None) -> Iterator[Finding]:
    """That a block laid down by its corner gets new cuts out of register with its old ones."""
    if board is not None and board.words:
        yield Finding(
            rule="cut-board", severity=Severity.RISK, at=None, measured=board.off_mm, limit=board.LEAST_MM, unit="mm",
            why=f"{board.words}. Laid by that corner, the block gets new cuts beside the old ones", remedy=BY_OLD_CUTS,
        )  # fmt: skip


def _unlike(wanted: BaseGeometry, left: BaseGeometry) -> Iterator[Finding]:
    """That most of what is to print is cut already: the file may show something else."""
    if left.area < wanted.area / 2:
        at = shapely.point_on_surface(wanted)
        yield Finding(
            rule="cut-land", severity=Severity.RISK, at=(at.x, at.y), measured=left.area, limit=wanted.area, unit="mm²",
            why="by what is given as the land of this block, most of what is to print does not stand any more",
            remedy="look whether cut_land shows what stands, in print view and at true size, and not what is cut",
        )  # fmt: skip


def _coarse(wanted: BaseGeometry, tolerance_mm: float) -> Iterator[Finding]:
    """That what stands is known by a scan, and how finely."""
    if tolerance_mm > _TOLERANCE_MM and not shapely.is_empty(wanted):
        yield Finding(
            rule="cut-scan", severity=Severity.ADVICE, at=None, measured=tolerance_mm, limit=_TOLERANCE_MM, unit="mm",
            why=f"differences below {tolerance_mm:.2f} mm, what the picture can tell, are taken for noise",
            remedy="scan the block finer where fine lines count, 600 dots per inch or more",
        )  # fmt: skip


def _findings(change: Difference, marks: Sequence[Mark], white: BaseGeometry) -> Iterator[Finding]:
    for piece in sorted(change.land, key=lambda piece: -piece.area)[:_MOST]:
        mark = max(marks, key=lambda mark: piece.intersection(mark.shape).area, default=None)
        own = piece if mark is None else geometry.solid(piece.intersection(mark.shape))
        at = shapely.point_on_surface(piece if shapely.is_empty(own) else own)
        asked = mark is not None and not shapely.is_empty(own)
        why, remedy = (f"{mark} {_MARKED[0]}", _MARKED[1]) if asked else _ASKED
        yield Finding(
            rule="cut-already", kind=mark.key if mark is not None and asked else "", severity=Severity.BREAKS,
            at=(at.x, at.y), measured=piece.area, limit=0.0, unit="mm²", why=why, remedy=remedy,
        )  # fmt: skip
    for piece in sorted(change.cut, key=lambda piece: -piece.area)[:_MOST]:
        at = shapely.point_on_surface(piece)
        snow = geometry.intersection(piece, white).area > _MOSTLY * piece.area
        why = "the snow takes this away, and it still stands" if snow else "this still stands and is to be cut away"
        yield Finding(
            rule="cut-on", kind="snow" if snow else "", severity=Severity.ADVICE, at=(at.x, at.y), measured=piece.area,
            limit=0.0, unit="mm²", why=why, remedy="cut it, by hand or with the files of this block: they cut it alone",
        )  # fmt: skip
