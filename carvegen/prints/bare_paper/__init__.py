"""Bare paper over the whole print: what mending opens another block prints; what is bare unasked, or not, is told."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.colour import lightness
from carvegen.base.findings import Finding, Severity
from carvegen.blocks.from_motif import strictest
from carvegen.checks.mending.widening import weak_places
from carvegen.checks.survey import Survey
from carvegen.facts.register import SEEN_MM
from carvegen.geometry.hairs import HAIR_MM
from carvegen.motifs.shared.minimum_width import opened
from carvegen.prints.bare_paper.torn_twigs import thinned, torn_from, without_ghosts
from carvegen.prints.cut_blocks import cut_of, mended_block, separation_of, with_block
from carvegen.prints.separation import run_for
from carvegen.prints.tasks import Later

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from carvegen.blocks.block import Block
    from carvegen.blocks.job import Setup
    from carvegen.geometry import Floats, Mask, PolygonArray
    from carvegen.prints.bare_paper.torn_twigs import Torn
    from carvegen.prints.cut_blocks import Cut, Mended, Setups
    from carvegen.prints.file.print_file import Print
    from carvegen.prints.picture import Picture
    from carvegen.prints.tasks import Run, Say, Task

__all__ = [
    "FirstMending", "OwnMending", "bare_unasked", "cut_and_mended", "cut_away", "mended_print", "own_mending",
    "paper_findings",
]  # fmt: skip

_MEETS_MM = 0.01  #: land this near to a piece can take it on
_LEAST_CONTACT_MM = 0.1  #: a piece that meets a land over less would hang by a thread
_GOES_ON = 0.5  #: of the outline that is not white: an ink that meets so much of a twig goes on where that is gone; our
#: own choice
_AROUND_MM = 4.0  #: what lies this near to a piece is looked at when it is tried: more than any land must be wide
_TRIAL = 8  #: of how many parts lengths of tips are made up in a trial: right to a 24th of the land's width
_TIPS_SPARE = 0.1  #: limits: tips may come out so much longer than in a trial; our own choice, 0.06 was seen
_SPARE = 1.02  #: circles are drawn as polygons inside them
_AWAY_MM2 = 1.0  #: less of the drawing that mending takes away is not told: our own choice
_BLANK_MM2 = 1.0  #: less of a layer that is on no block is not told


@dataclass(frozen=True, kw_only=True, eq=False)
class _Taken:
    """A piece of the picture that its own block can't hold, and the block that prints it instead."""

    piece: BaseGeometry
    land: BaseGeometry  #: the piece, or part of it, as that block prints it
    taker: str


@dataclass(frozen=True, kw_only=True, eq=False)
class _Print:
    """What giving needs to know of the print."""

    print_: Print
    setups: Setups
    lights: Mapping[str, float]  #: L* of the blocks that may be given land, by name


@dataclass(frozen=True, kw_only=True, eq=False)
class OwnMending:
    """What a block's own mending makes of it."""

    mended: Mended
    gone: PolygonArray  #: of what the block draws


def own_mending(cut: Cut, setups: Sequence[Setup], say: Say) -> OwnMending:
    """A block mended by itself, whatever becomes of the others."""
    mended = mended_block(cut, setups, say)
    return OwnMending(mended=mended, gone=thinned(cut, with_block(cut, mended)))


@dataclass(frozen=True, kw_only=True, eq=False)
class FirstMending:
    """What each block's own mending makes of it, and where the print wants ink."""

    mended: Mapping[str, OwnMending]
    wanted: BaseGeometry


_WANTED = " wanted"  #: among blocks, whose names don't begin with a space
_MENDED = " mended "


def cut_and_mended(
    print_: Print, picture: Picture, setups: Setups, *, further: Callable[[Cut], Cut], say: Say, run: Run
) -> tuple[dict[str, Cut], FirstMending]:
    """The blocks as they come from the separation, by name, in printing order; and mended, each as soon as it is cut.

    Parameters
    ----------
    further
        What is still to be done to a block before it is mended.
    run
        Does what does not need one another, each told `say`.
    """
    whole = separation_of(print_, setups, picture)
    cuts: dict[str, Cut] = {}
    numbers = {block.name: k for k, block in enumerate(print_.blocks)}

    def cut(name: str, done: Mapping[str, Any]) -> Cut:
        if name not in cuts:
            cuts[name] = further(cut_of(print_, numbers[name], setups, picture, done))
        return cuts[name]

    def mending(name: str, done: Mapping[str, Any]) -> Task:
        return partial(own_mending, cut(name, done), setups[name])

    def wanting(done: Mapping[str, Any]) -> Task:
        return partial(_wanted, [cut(name, done).ink for name in numbers], picture.bare)

    tasks: dict[str, Task | Later] = {**whole.tasks}
    for name in _to_mend(print_):
        tasks[_MENDED + name] = Later(needs={name} & whole.tasks.keys(), make=partial(mending, name))
    tasks[_WANTED] = Later(needs=whole.tasks.keys(), make=wanting)
    done = run_for(whole.points, run)(tasks, say)
    mended = {name: done[_MENDED + name] for name in _to_mend(print_)}
    return {name: cut(name, done) for name in numbers}, FirstMending(mended=mended, wanted=done[_WANTED])


def _to_mend(print_: Print) -> list[str]:
    return [block.name for block in print_.blocks if block.mend and block.role != "emboss"]


def _wanted(inks: Sequence[BaseGeometry], bare: BaseGeometry, _: Say) -> BaseGeometry:
    """Where ink is wanted: all that the blocks print before they are mended, but for what stays bare."""
    wanted: BaseGeometry = shapely.difference(shapely.union_all(inks), bare)
    return wanted


def mended_print(
    print_: Print, picture: Picture, cuts: Mapping[str, Cut], setups: Setups, first: FirstMending, *, say: Say
) -> dict[str, Cut]:
    """The blocks of a print mended, those of them that ask for it, and no paper laid bare by it.

    What mending takes from one block, because it can't stand there, is given to a block whose land meets it, the one
    that it meets over the greatest length first: whole and with a trap, or whole, or as much of it as a disc as wide
    as the land reaches. It gets it only if it holds on all of that block's machines. Blocks that are cut already get
    nothing. What nobody can hold stays bare, for `paper_findings` to tell.

    Parameters
    ----------
    cuts
        The blocks by name as they come from the separation, in printing order.
    first
        What each block's own mending comes to, as `cut_and_mended` has it.

    Returns
    -------
    dict
        The same blocks, mended; a block that lost a piece to another has an advice for it in its notes.
    """
    mend = _to_mend(print_)
    lights = {
        block.name: lightness(block.ink.colour)
        for block in print_.blocks
        if block.inked and block.ink and block.state != "cut"
    }
    own = first.mended
    now = {name: with_block(cut, own[name].mended) if name in own else cut for name, cut in cuts.items()}
    torn = torn_from({name: own[name].gone for name in mend if name in lights}, setups)
    pieces = bare_unasked(first.wanted, now.values())
    if mend and len(pieces) and lights:
        taken = _handed_over(pieces, now, _Print(print_=print_, setups=setups, lights=lights))
        for name in lights:
            now[name] = _added(now[name], [piece.land for piece in taken if piece.taker == name])
        now = _with_notes(now, taken)
    now = _closed_over(now, torn, _Print(print_=print_, setups=setups, lights=lights))
    clean = without_ghosts(now, torn, picture, {name: lights[name] for name in mend if name in lights})
    return {
        name: cut if cut.block is now[name].block else _mended_again(cut, setups[name], say)
        for name, cut in clean.items()
    }


def _closed_over(cuts: dict[str, Cut], torn: Collection[Torn], whole: _Print) -> dict[str, Cut]:
    """The blocks, each printing on where a twig is gone that stood before its ink: no crumb of a paler one shows.

    The darkest that is not as dark as the twig and meets most of the outline that is not white goes on there.
    """
    now = dict(cuts)
    for twigs in torn:
        paler = [name for name in whole.lights if whole.lights[name] > whole.lights[twigs.owner] + 1e-9]
        for name in sorted(paler, key=whole.lights.__getitem__)[:-1]:  # under the palest there is no paler one
            cut = now[name]
            pieces = _wide(shapely.difference(shapely.union_all(twigs.gone), shapely.union(cut.land, cut.white)))
            stands = shapely.union_all([now[other].land for other in whole.lights if other not in paler])
            pieces = _wide(shapely.difference(pieces, stands))
            edges = shapely.boundary(geometry.offset(pieces, _MEETS_MM))
            white = shapely.buffer(cut.white, 2 * _MEETS_MM, quad_segs=1)
            free = shapely.length(shapely.difference(edges, shapely.union(white, stands)))
            pieces = pieces[_contact(pieces, cut) > _GOES_ON * np.maximum(free, _LEAST_CONTACT_MM)]
            if len(pieces):
                taken = _handed_over(pieces, {name: cut}, replace(whole, lights={name: whole.lights[name]}))
                now[name] = _added(cut, [piece.land for piece in taken])
                now = _with_notes(now, taken)
    return now


def _mended_again(cut: Cut, setups: Sequence[Setup], say: Say) -> Cut:
    """A block from which bars were taken, or on which snow was filled, mended where that left slivers."""
    done = with_block(cut, mended_block(cut, setups, say))
    changes, lost = (*cut.changes, *done.changes), (*cut.lost, *done.lost)
    return replace(done, land=geometry.solid(done.land), changes=changes, lost=lost)


def _handed_over(pieces: PolygonArray, cuts: Mapping[str, Cut], whole: _Print) -> list[_Taken]:
    """What of the pieces each block can hold; all is tried on what lies round them, not on whole blocks."""
    near = shapely.union_all(geometry.offset(pieces, _AROUND_MM, quad_segs=1))
    now, taken = {name: _clipped(cuts[name], near) for name in whole.lights}, list[_Taken]()
    for form in _FORMS:
        for rank in range(len(now) if len(pieces) else 0):
            turn = _turns(pieces, rank, now)
            got = [piece for name in now for piece in _take(name, pieces[turn == name], form, now, whole)]
            taken += got
            pieces = _wide(shapely.difference(pieces, shapely.union_all([piece.land for piece in got])))
    return taken


def _clipped(cut: Cut, window: BaseGeometry) -> Cut:
    """What of a block lies in a window; all else of it is taken to stand."""
    met = cut.block.cuts[np.unique(cut.block.cut_tree.query(window, predicate="intersects"))]
    block = replace(cut.block, cuts=geometry.parts(shapely.intersection(met, window)))
    land, white = (geometry.solid(shapely.intersection(shape, window)) for shape in (cut.land, cut.white))
    return replace(cut, block=block, land=land, white=white)


def bare_unasked(wanted: BaseGeometry, cuts: Collection[Cut]) -> PolygonArray:
    """The pieces of `wanted` where no block leaves ink, but for what is as narrow as a hair."""
    inks = shapely.union_all([cut.ink for cut in cuts])
    return _wide(geometry.gone(wanted, inks))


def _wide(shape: Any) -> PolygonArray:  # noqa: ANN401
    pieces = geometry.parts(shape)
    return pieces[~shapely.is_empty(geometry.offset(pieces, -HAIR_MM / 2))] if len(pieces) else pieces


_Form = Callable[[Any, str, Mapping[str, "Cut"], _Print], "BaseGeometry"]


def _take(name: str, asked: PolygonArray, form: _Form, now: dict[str, Cut], whole: _Print) -> Iterator[_Taken]:
    """Give block `name` those of the pieces that hold on it; `now` is brought up to date."""
    lands = geometry.polygon_array(form(piece, name, now, whole) for piece in asked)
    doubtful = np.ones(len(lands), dtype=bool)
    while doubtful.any():
        fine = np.ones(len(lands), dtype=bool)
        fine[doubtful] = _holds(now[name], lands, doubtful, whole.setups[name])
        failed, lands, asked = lands[~fine], lands[fine], asked[fine]
        doubtful = np.zeros(len(lands), dtype=bool)  # but for those that what failed may have spoiled
        doubtful[shapely.STRtree(lands).query(failed, predicate="dwithin", distance=_AROUND_MM)[1]] = True
    now[name] = _added(now[name], lands)
    for piece, land in zip(asked, lands, strict=True):
        yield _Taken(piece=piece, land=land, taker=name)


def _turns(pieces: PolygonArray, rank: int, cuts: Mapping[str, Cut]) -> NDArray[np.str_]:
    """The block that each piece meets over the greatest length, or after `rank` others; "" where none does; (n,)."""
    contact = np.column_stack([_contact(pieces, cut) for cut in cuts.values()])
    nth = np.argsort(-contact, axis=1, kind="stable")[:, rank]
    meets = contact[np.arange(len(pieces)), nth] >= _LEAST_CONTACT_MM
    return np.where(meets, np.asarray(list(cuts))[nth], "")


def _contact(pieces: PolygonArray, cut: Cut) -> Floats:
    """Over which length each piece meets a block's land; 0 where it is white on the block; mm, (n,)."""
    edges = shapely.boundary(geometry.offset(pieces, _MEETS_MM))
    white = shapely.area(shapely.intersection(pieces, cut.white)) > shapely.area(pieces) / 2
    return np.where(white, 0.0, shapely.length(shapely.intersection(edges, cut.land)))


def _whole(piece: BaseGeometry, name: str, cuts: Mapping[str, Cut], _: _Print) -> BaseGeometry:
    """All of the piece."""
    return _printable(shapely.buffer(piece, _MEETS_MM, quad_segs=2), cuts[name])


def _with_trap(piece: BaseGeometry, name: str, cuts: Mapping[str, Cut], whole: _Print) -> BaseGeometry:
    """All of the piece, and on under darker inks by the trap, but not beside what stays bare."""
    trap, back, lights = whole.print_.trap_mm, whole.print_.register_error_mm, whole.lights
    around = shapely.buffer(piece, max(trap, _MEETS_MM))
    darker = [
        shapely.intersection(cuts[other].land, around) for other, light in lights.items() if light < lights[name] - 1e-9
    ]
    white = shapely.intersection(cuts[name].white, shapely.buffer(around, back))
    under = shapely.difference(geometry.solid(shapely.union_all(darker)), shapely.buffer(white, back))
    return _printable(shapely.union(shapely.buffer(piece, _MEETS_MM, quad_segs=2), geometry.solid(under)), cuts[name])


def _reached(piece: BaseGeometry, name: str, cuts: Mapping[str, Cut], whole: _Print) -> BaseGeometry:
    """As much of the piece as a disc reaches that is as wide as the block's land must be, and stays on land."""
    land_mm = strictest(setup.limits for setup in whole.setups[name]).land_mm * _SPARE
    near = shapely.intersection(cuts[name].land, shapely.buffer(piece, 2 * land_mm, quad_segs=2))
    both = shapely.union(near, shapely.buffer(piece, _MEETS_MM, quad_segs=2))
    return _printable(
        shapely.intersection(opened(both, land_mm), shapely.buffer(piece, _MEETS_MM, quad_segs=2)), cuts[name]
    )


#: The forms in which a piece is offered, in turn; the first two once more for what the third leaves.
_FORMS: tuple[_Form, ...] = (_with_trap, _whole, _reached, _with_trap, _whole, _reached)


def _printable(shape: BaseGeometry, cut: Cut) -> BaseGeometry:
    """The shape without what is white on the block, on the grid."""
    around = geometry.solid(shapely.intersection(cut.white, shapely.buffer(shape, 1.0, quad_segs=2)))
    return geometry.solid(geometry.difference(geometry.solid(shape), around))


def _holds(cut: Cut, lands: PolygonArray, doubtful: Mask, setups: Sequence[Setup]) -> Mask:
    """Whether the block would hold each of the doubtful ones of these lands, if it had all of them; (doubtful,)."""
    block, land = cut.block, geometry.union(lands)
    if not shapely.is_empty(land):
        block = replace(block, cuts=np.concatenate(_cuts_less(block, land)))
    lands = lands[doubtful]
    near = np.unique(block.cut_tree.query(lands, predicate="dwithin", distance=_AROUND_MM)[1])
    block = replace(block, cuts=block.cuts[near])
    fine = ~shapely.is_empty(lands)
    for setup in sorted(setups, key=lambda setup: -setup.limits.land_mm):  # what asks most leaves least for the others
        if fine.any():
            weak = shapely.STRtree(weak_places(Survey(setup.on(block), slender=False, fine=_TRIAL), spare=_TIPS_SPARE))
            fine[weak.query(lands, predicate="dwithin", distance=setup.limits.land_mm / 2)[0]] = False
    return np.asarray(fine, dtype=bool)


def _added(cut: Cut, lands: Sequence[BaseGeometry] | PolygonArray) -> Cut:
    """The block with more land; its cut-outs stay."""
    land = geometry.union(geometry.polygon_array(lands))
    if shapely.is_empty(land):
        return cut
    kept, less = _cuts_less(cut.block, land)
    gone = geometry.union(np.concatenate([less, cut.block.cut_outs]))
    stands = shapely.union(cut.land, geometry.difference(land, gone))
    return replace(cut, block=replace(cut.block, cuts=np.concatenate([kept, less])), land=geometry.solid(stands))


def _cuts_less(block: Block, land: BaseGeometry) -> tuple[PolygonArray, PolygonArray]:
    """The cuts that more land does not meet, and what it leaves of the others."""
    met = np.unique(block.cut_tree.query(land, predicate="intersects"))
    return np.delete(block.cuts, met), geometry.parts(geometry.difference(block.cuts[met], land))


def _with_notes(cuts: dict[str, Cut], taken: Sequence[_Taken]) -> dict[str, Cut]:
    """The blocks with a note for each place at which another prints instead."""
    for one in taken:
        piece = shapely.intersection(one.piece, one.land)
        for at, width, place in _places(_wide(piece)):
            owner = _owner(place, {name: cut for name, cut in cuts.items() if name != one.taker})
            if not owner:  # the only block takes back its own
                continue
            note = Finding(
                rule="other-ink", kind=one.taker, severity=Severity.ADVICE, at=at, measured=width, limit=SEEN_MM,
                unit="mm", length_mm=_length(place, width),
                why=f"this can't stand on the block {owner}; the block {one.taker} prints here instead",
                remedy=f"draw it wider, or take it out of {owner}",
            )  # fmt: skip
            cuts[owner] = replace(cuts[owner], notes=(*cuts[owner].notes, note))
    return cuts


def _owner(piece: BaseGeometry, cuts: Mapping[str, Cut]) -> str:
    """The block in whose ink most of a piece is asked for; empty if there is none."""
    shares = {name: float(shapely.area(shapely.intersection(piece, cut.picture))) for name, cut in cuts.items()}
    return max(shares, key=lambda name: shares[name], default="")


def _places(pieces: PolygonArray) -> Iterator[tuple[tuple[float, float], float, BaseGeometry]]:
    """The middle of each piece's widest place, how wide it is there, and the piece."""
    for piece in pieces:
        widest = shapely.maximum_inscribed_circle(piece, tolerance=HAIR_MM / 4)
        x, y = shapely.get_coordinates(widest)[0].tolist()
        yield (round(x, 3), round(y, 3)), 2 * float(shapely.length(widest)), piece


def cut_away(before: BaseGeometry, cut: Cut) -> Iterator[Finding]:
    """Where mending took away what of the drawing is in the block's own ink, unless a note says so already.

    Parameters
    ----------
    before
        What stood of the block before it was mended: no snow.
    """
    if not cut.changes:
        return
    lost = geometry.parts(shapely.intersection(geometry.gone(before, cut.land), cut.picture))
    lost = lost[shapely.area(lost) > _AWAY_MM2]
    places = [note.at for note in cut.notes if note.rule == "other-ink" or note.kind == "twigs"]
    noted = shapely.union_all(geometry.dots(np.array(places).reshape(-1, 2)))
    for at, _, piece in _places(lost[~shapely.intersects(lost, noted)]):
        yield Finding(
            rule="mended-away", severity=Severity.ADVICE, at=at, measured=float(shapely.area(piece)), limit=_AWAY_MM2,
            unit="mm²", why="a part of your drawing can't stand here and can't be widened: mending cut it away",
            remedy="draw it wider, or keep the snow off it",
        )  # fmt: skip


def paper_findings(picture: Picture, cuts: Mapping[str, Cut]) -> dict[str, list[Finding]]:
    """What of the paper is bare and should not be, or has ink and should be bare; by the block that it is about."""
    notes: dict[str, list[Finding]] = {name: [] for name in cuts}
    asked = shapely.union_all([cut.picture for cut in cuts.values()])
    noted = shapely.union_all([cut.given_up for cut in cuts.values()])
    bare = bare_unasked(shapely.difference(shapely.difference(asked, picture.bare), noted), cuts.values())
    for at, width, piece in _places(bare):
        notes[_owner(piece, cuts)].append(_bare_finding(at, width, _length(piece, width)))
    for name, cut in cuts.items():
        for at, width, _ in _places(_wide(shapely.intersection(cut.ink, cut.white))):
            notes[name].append(
                Finding(
                    rule="ink-on-bare",
                    severity=Severity.BREAKS,
                    at=at,
                    measured=width,
                    limit=0.0,
                    unit="mm",
                    why="ink prints here, where the paper must stay bare",
                    remedy="cut it away by hand",
                )
            )
    for name, shape in _blank_layers(picture, asked).items():
        at, _, _ = max(_places(geometry.parts(shape)), key=lambda place: place[1])
        notes[next(iter(cuts))].append(
            Finding(
                rule="blank-layer",
                kind=name,
                severity=Severity.ADVICE,
                at=at,
                measured=float(shapely.area(shape)),
                limit=_BLANK_MM2,
                unit="mm²",
                why=f"the layer {name} is on no block: so much paper stays bare",
                remedy=f'name it on a block, or among the highlights: shape = "{name}"',
            )
        )
    for name, cut in cuts.items():
        if cut.die is None and not shapely.area(cut.ink) > _BLANK_MM2:
            notes[name].append(_blank_block(cut))
    return notes


def _blank_block(cut: Cut) -> Finding:
    return Finding(
        rule="blank-block", severity=Severity.RISK, at=(cut.block.width_mm / 2, cut.block.height_mm / 2),
        measured=float(shapely.area(cut.ink)), limit=_BLANK_MM2, unit="mm²",
        why="nothing of this block is left to print: its layers are empty, or white or what is in front covers all",
        remedy="put what it prints in front of what covers it ([artwork] in_front says so), or leave it out",
    )  # fmt: skip


def _length(piece: BaseGeometry, width: float) -> float:
    """How long a piece is along its middle: half of the way round it, less its ends; however thin it gets between."""
    return max(width, float(shapely.length(piece)) / 2 - width)


def _bare_finding(at: tuple[float, float], width: float, length: float) -> Finding:
    return Finding(
        rule="bare-paper", severity=Severity.RISK if width >= SEEN_MM else Severity.ADVICE, at=at, measured=width,
        limit=SEEN_MM, unit="mm", length_mm=length,
        why="bare paper shows that is neither snow, highlight nor opening: no block's land can stand there",
        remedy="draw it wider there, or lay snow or a highlight over it",
    )  # fmt: skip


def _blank_layers(picture: Picture, asked: BaseGeometry) -> dict[str, BaseGeometry]:
    """What shows of layers that are on no block, where bare paper is not asked for in another way."""
    blank = {}
    seen: BaseGeometry = shapely.difference(picture.face, shapely.union(asked, picture.bare))
    for layer in picture.drawing.layers:
        shape = shapely.intersection(layer.shape, seen)
        pieces = geometry.parts(shape)
        wide = pieces[~shapely.is_empty(geometry.offset(pieces, -SEEN_MM / 2))] if len(pieces) else pieces
        if shapely.area(wide).sum() > _BLANK_MM2:
            blank[layer.name] = shapely.union_all(wide)
        seen = shapely.difference(seen, layer.shape)
    return blank
