"""From a gesture to the change that it makes of a print: marks and kept shapes, before and after."""

from __future__ import annotations

import contextlib
import functools
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from shapely import affinity
from shapely.ops import substring

from carvegen import geometry
from carvegen.base.errors import InputError, RefusedError
from carvegen.base.words import listed, shortened
from carvegen.facts.composition import ban
from carvegen.facts.profiles import KINDS
from carvegen.interfaces.page import gestures
from carvegen.interfaces.page.print_checks import already_cut, is_cleared, is_mended, unmended
from carvegen.interfaces.page.table import own_marks
from carvegen.interfaces.page.table.locked import limits_of, locked_with, mended_shapes, noted_marks, unread
from carvegen.interfaces.page.table.strips import island_at
from carvegen.interfaces.page.wording import uncleared_words, unread_words
from carvegen.marking.applying import BESIDE_MM
from carvegen.marking.gesture_journal import Change
from carvegen.marking.marks import Mark, Meaning
from carvegen.motifs import motif as kind_of
from carvegen.prints.file.editing import (
    NO_WEATHER,
    OF_A_PIECE,
    with_cutting,
    with_grown_by,
    with_marks_file,
    with_mending,
    with_weather,
)
from carvegen.prints.file.suited import suited
from carvegen.prints.keeping import released
from carvegen.prints.marked.marked_whites import names_of

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.findings import Finding
    from carvegen.geometry import Floats
    from carvegen.interfaces.page.table.desk import Desk, Keeping, ShapeNames
    from carvegen.prints.file.keys import PrintBlock

__all__ = [
    "PlannedChange", "clearing_planned", "cut_by_text", "marks_planned", "mending_planned", "not_growing", "planned",
    "snow_helps", "strip_planned",
]  # fmt: skip

_TOUCHES_MM = 0.3  #: a tap so near to a shape is on it
_OVERLAP_MM2 = 1e-6  #: as a kept file is read: shapes that share more are one
_SAME_PLACE = 0.8  #: a lasso of which so much lies in a mark tries that one again
_AROUND_MM = (
    12.0,
    24.0,
    48.0,
)  #: a place that is to be mended is tried with so much about it, until it is seen to break
_CELL_MM = 5.0  #: squares in which shapes are looked for
_JOINS_MM = 1.5  #: a line that ends so near to an outline meets it
_CLOSED = 0.25  #: a line whose ends are nearer than this share of its length is a whole outline
_CLEARS = (1.0, 2.0, 3.5, 5.0)  #: limits: so far about what breaks a mark reaches that clears it, the first that does
_ROUND_MM = 0.1  #: so far round an island a mark reaches that takes it out
_LEAST_DISC_MM = 0.5  #: a limit that is less counts as this
_BY_ITSELF = (own_marks.BARE, own_marks.GONE)  #: marks of these keys are no pencil's: each stands alone

#: What is neither rubbed out nor taken back here.
_ELSEWHERE = (
    "marks typed in the print file, or drawn or coloured elsewhere, are taken out where they were made: neither the "
    "rubber nor Take back changes them"
)


@dataclass(frozen=True, kw_only=True)
class PlannedChange:
    """What a gesture would do."""

    change: Change
    keeping: Keeping | None = None  #: the motifs that it keeps
    notes: tuple[str, ...] = ()  #: what came otherwise than asked


@functools.singledispatch
def planned(gesture: Any, desk: Desk) -> PlannedChange:  # noqa: ANN401
    """What a gesture would change, motifs whose shapes it changes being kept first; `InputError` if it can't be done.

    Nothing is changed or written by this.
    """
    raise InputError("must be a known gesture", value=type(gesture).__name__)


# ── marks ──


@dataclass(kw_only=True, eq=False)
class _Marking:
    """The page's own marks while they change."""

    desk: Desk
    own: list[Mark] = field(init=False)

    def __post_init__(self) -> None:
        self.own = list(self.desk.marks.own)
        self.names = names_of(self.desk.print_)

    def read(self, mark: Mark) -> Mark:
        read = own_marks.as_read(mark, self.names, self.desk.size)
        if read is None:
            raise InputError("lies outside the print", where=str(mark), hint="draw on the print")
        return read

    def key(self, begins: str = "mark-") -> str:
        """A key that no mark has."""
        taken = {mark.key for mark in (*self.desk.marks.every, *self.own)}
        return next(key for k in range(1, 10**7) if (key := f"{begins}{k:04d}") not in taken)

    def replace(self, key: str, mark: Mark | None) -> None:
        at = next(k for k, own in enumerate(self.own) if own.key == key)
        self.own[at : at + 1] = [] if mark is None else [mark]

    def put(self, mark: Mark) -> None:
        """One more mark: what it contradicts goes from under it, and what is alike and meets it becomes one with it."""
        mark = self.read(mark)
        for key, left in own_marks.rubbed(self.own, mark, self.names, self.desk.size).items():
            self.replace(key, left)
        if not mark.meaning.graded and mark.meaning != Meaning.GROW_AGAIN and not mark.key.startswith(_BY_ITSELF):
            like = [own for own in self.own if _alike(own, mark) and shapely.intersects(own.shape, mark.shape)]
            if like:
                whole = shapely.union_all([mark.shape, *(own.shape for own in like)])
                for other in like[1:]:
                    self.replace(other.key, None)
                self.replace(like[0].key, self.read(replace(like[0], shape=whole)))
                return
        self.own.append(mark)

    def leave(self, numbers: Sequence[int], new: BaseGeometry) -> None:
        """Marks that no pencil drew where shapes lay that marks have made: they don't come there again.

        Parameters
        ----------
        new
            What of their motifs lies there now: it stays.
        """
        lots: dict[Any, list[int]] = {}
        for n in numbers:
            lots.setdefault(self.desk.seen.like(n), []).append(n)
        land = max((bed.limits.land_mm for bed in self.desk.ground.beds), default=0.0)
        for lot in lots.values():
            mark = _stays(self.desk, self, lot, own_marks.GONE)
            left = shapely.difference(mark.shape, shapely.buffer(new, land + BESIDE_MM))
            if shapely.area(left) > own_marks.LEAST_MM2:
                self.put(replace(mark, shape=geometry.solid(left)))

    def _forget(self) -> None:
        """Let go of marks that no pencil drew once no other mark comes near and nothing lies under them."""
        others = [mark for mark in (*self.desk.marks.before, *self.own, *self.desk.marks.after) if not _quiet(mark)]
        for mark in filter(_quiet, tuple(self.own)):
            near = any(shapely.dwithin(mark.shape, other.shape, self.desk.ground.reach_mm) for other in others)
            if not near and not any(self.desk.near(self.desk.motif_called(name), mark.shape) for name in mark.motifs):
                self.replace(mark.key, None)

    def change(self, what: str, notes: Iterable[str] = (), **more: Any) -> PlannedChange:  # noqa: ANN401
        """The difference between the marks as they were and as they are."""
        self._forget()
        before, after = self.desk.marks.own, self.own
        same = {id(mark) for mark in before} & {id(mark) for mark in after}
        gone = [(k, own_marks.values(mark)) for k, mark in enumerate(before) if id(mark) not in same]
        new = [(k, own_marks.values(mark)) for k, mark in enumerate(after) if id(mark) not in same]
        text, keeping, begun = more.pop("text", ()), more.pop("keeping", None), more.pop("begun", frozenset[int]())
        if new and not self.desk.marks.named and not text:
            text = _edited_text(self.desk, with_marks_file, self.desk.marks.file)
        locks = tuple(_locks(self.desk, keeping, begun)) if keeping else ()
        return PlannedChange(
            change=Change(
                what=what, marks_file=self.desk.marks.file if gone or new else "", marks_gone=gone, marks_new=new,
                text=text, **more,
            ),
            keeping=keeping, notes=(*notes, *locks),
        )  # fmt: skip


def _locks(desk: Desk, keeping: Keeping, begun: frozenset[int]) -> Iterator[str]:
    """That what was touched is locked by this with all others of its motif, and how to have it back.

    Then which motifs that nobody touched are locked with it, and why.
    """
    called = {k: desk.print_.motifs[k].called for k in sorted(keeping.own)}
    own, others = ([name for k, name in called.items() if (k in begun) is touched] for touched in (True, False))
    back = "; taking this back unlocks it"
    if own:
        yield f"all of {listed(own)} is locked now, so that the rest stays where it lies{back}"
    if others:
        why = "it is fitted to what was changed, and would move if it grew anew"
        yield f"all of {listed(others)} is locked{', too' if own else ' now'}: {why}{'' if own else back}"


def _edited_text(desk: Desk, edit: Callable[..., bytes], *values: Any) -> tuple[str, ...]:  # noqa: ANN401
    """The text of the print file, and as an edit of its path and bytes by some values has it."""
    raw = desk.print_.path.read_bytes()
    return tuple(data.decode("utf-8", "surrogateescape") for data in (raw, edit(desk.print_.path, raw, *values)))


def _quiet(mark: Mark) -> bool:
    return mark.key.startswith(own_marks.GONE)


def _alike(one: Mark, other: Mark) -> bool:
    same = (one.meaning, one.motifs, one.blocks) == (other.meaning, other.motifs, other.blocks)
    return same and not one.key.startswith(_BY_ITSELF)


def _named(names: Sequence[str], known: Iterable[str], what: str) -> tuple[str, ...]:
    known = list(known)
    for name in names:
        if name not in known:
            raise InputError(f"must be a {what} of this print", value=name, hint=f"one of: {', '.join(known)}")
    return tuple(names)


def _check_grows(desk: Desk, names: Iterable[str]) -> None:
    """Refuse to have more of what does not grow; of what is locked it grows where it is named."""
    named = [desk.print_.motifs[desk.motif_called(name)] for name in names]
    asked = named or desk.print_.motifs
    if asked and not any(entry.grows or (named and entry.kept) for entry in asked):
        if any(entry.kept for entry in asked):
            hint = "choose the locked snow under Meant for; or draw own snow"
        else:
            hint = "choose its weather first, on the slip Weather; or draw own snow"
        called = " and ".join(entry.called for entry in asked)
        raise InputError("does not grow: its weather is none", value=called, hint=hint)


def not_growing(desk: Desk, names: Sequence[str]) -> list[str]:
    """What those motifs, or all if none is named, are called of which no mark makes more."""
    asked = [entry for entry in desk.print_.motifs if not names or entry.name in names]
    return [entry.called for entry in asked if not (entry.grows or (names and entry.kept))]


def _drawn(desk: Desk, drawn: gestures.Stroke | gestures.Area, shape: BaseGeometry) -> PlannedChange:
    marking = _Marking(desk=desk)
    motifs = _named(drawn.motifs, (motif.name for motif in desk.print_.motifs), "motif")
    if drawn.meaning == Meaning.MORE:
        _check_grows(desk, motifs)
    blocks = _named(drawn.blocks, (block.name for block in desk.print_.blocks), "block")
    heavy = float(drawn.points[:, 2].mean()) if drawn.meaning.graded else 1.0
    strength = round(float(np.clip(drawn.strength * heavy, 0.02, 1.0)), 2) if drawn.meaning.graded else 1.0
    notes = []
    if drawn.meaning == Meaning.COMES_OUT and motifs:
        notes, motifs = ["what comes out is white whatever has grown there: the mark is for all motifs"], ()
    marking.put(
        Mark(meaning=drawn.meaning, shape=shape, key=marking.key(), strength=strength, motifs=motifs, blocks=blocks)
    )
    return marking.change(str(drawn.meaning), notes)


@planned.register(gestures.Stroke)
def _(stroke: gestures.Stroke, desk: Desk) -> PlannedChange:
    return _drawn(desk, stroke, own_marks.line_of(stroke.points, stroke.breadth_mm))


@planned.register(gestures.Area)
def _(area: gestures.Area, desk: Desk) -> PlannedChange:
    return _drawn(desk, area, own_marks.area_of(area.points))


@planned.register(gestures.Erase)
def _(erased: gestures.Erase, desk: Desk) -> PlannedChange:
    marking, rubber = _Marking(desk=desk), own_marks.line_of(erased.points, erased.breadth_mm)
    met = [mark for mark in marking.own if not _quiet(mark) and shapely.intersects(mark.shape, rubber)]
    fixed = [mark for mark in (*desk.marks.before, *desk.marks.after) if shapely.intersects(mark.shape, rubber)]
    notes = [_ELSEWHERE] if fixed else []
    if not met:
        raise InputError(
            next(iter(notes), "touches no mark"), where="the eraser", hint="rub over a mark; a pencil draws new ones"
        )
    for mark in met:
        whole = erased.whole or mark.key.startswith(own_marks.BARE)
        left = None if whole else geometry.solid(shapely.difference(mark.shape, rubber))
        marking.replace(mark.key, None if left is None else own_marks.redrawn(mark, left, marking.names, desk.size))
    return marking.change("rub out", notes)


@planned.register(gestures.Bare)
def _(gesture: gestures.Bare, desk: Desk) -> PlannedChange:
    marking, at = _Marking(desk=desk), shapely.Point(gesture.at)
    near = [n for n in desk.seen.near(shapely.buffer(at, _TOUCHES_MM)) if desk.seen.like(n)[0] == "snow"]
    snow = {n: float(shapely.distance(desk.seen.shape(n), at)) for n in near}
    tapped_before = (mark for mark in marking.own if mark.key.startswith(own_marks.BARE))
    taps = {mark.key: float(shapely.distance(mark.shape, at)) for mark in tapped_before}
    reach = min([_TOUCHES_MM, *snow.values()])
    tapped = [key for key, apart in taps.items() if apart <= reach]
    if tapped:
        for key in tapped:
            marking.replace(key, None)
        return marking.change("let snow lie again")
    if not snow:
        raise InputError("no snow lies here", where=f"{gesture.at[0]:.1f}, {gesture.at[1]:.1f} mm", hint="tap on snow")
    marking.put(_stays(desk, marking, [min(snow, key=lambda n: snow[n])], own_marks.BARE))
    return marking.change("bare")


@planned.register(gestures.Try)
def _(gesture: gestures.Try, desk: Desk) -> PlannedChange:
    marking, shape = _Marking(desk=desk), own_marks.area_of(gesture.points)
    _check_grows(desk, [gesture.motif])
    again = [mark for mark in marking.own if mark.meaning == Meaning.GROW_AGAIN and mark.motifs == (gesture.motif,)]
    for mark in again:
        if shapely.area(shapely.intersection(mark.shape, shape)) >= _SAME_PLACE * shapely.area(shape):
            attempt = desk.tried.get(mark.key, mark.attempt) + 1
            desk.tried[mark.key] = attempt
            marking.replace(mark.key, marking.read(replace(mark, attempt=attempt)))
            return marking.change(f"try {attempt}")
    marking.put(Mark(meaning=Meaning.GROW_AGAIN, shape=shape, key=marking.key("try-"), motifs=(gesture.motif,)))
    return marking.change("try 1")


@planned.register(gestures.ChooseTry)
def _(gesture: gestures.ChooseTry, desk: Desk) -> PlannedChange:
    marking = _Marking(desk=desk)
    mark = desk.mark_called(gesture.mark)
    if mark.meaning != Meaning.GROW_AGAIN or mark not in marking.own:
        raise InputError("is no place that was tried again here", value=gesture.mark)
    if gesture.attempt == 0:
        marking.replace(mark.key, None)
        return marking.change("choose what was there before the tries")
    desk.tried[mark.key] = max(desk.tried.get(mark.key, 1), mark.attempt, gesture.attempt)
    marking.replace(mark.key, marking.read(replace(mark, attempt=gesture.attempt)))
    return marking.change(f"choose try {gesture.attempt}")


@planned.register(gestures.Leave)
def _(gesture: gestures.Leave, desk: Desk) -> PlannedChange:
    if gesture.finding in desk.left:
        return PlannedChange(change=Change(what="take up again", taken_up=(gesture.finding,)))
    return PlannedChange(change=Change(what="leave to the knife", left=(gesture.finding,)))


def marks_planned(marks: Iterable[Mark], desk: Desk) -> PlannedChange:
    """What would draw marks that were read of photographs, in their order."""
    marking = _Marking(desk=desk)
    for mark in marks:
        marking.put(replace(mark, key=marking.key()))
    return marking.change("marks of the photograph")


def mending_planned(block: str, finding: Finding, desk: Desk) -> PlannedChange:
    """What would have the build mend a block; `InputError` if that would not clear the finding."""
    if block not in unmended(desk.print_):
        raise InputError("is mended already, or is cut and stays as it is", value=block)
    assert finding.at is not None
    windows = (shapely.buffer(shapely.Point(finding.at), by, cap_style="square") for by in _AROUND_MM)
    tried = (is_mended(desk.scene(window), window, block, finding.at) for window in windows)
    if not next((mended for mended in tried if mended is not None), False):
        raise InputError(
            "can't be mended without laying ink on what is to be bare", where=finding.title.lower(),
            hint="move or take away the snow beside it, change the drawing, or leave it to your knife",
        )  # fmt: skip
    k = [block.name for block in desk.print_.blocks].index(block)
    text = _edited_text(desk, with_mending, k)
    notes = (f"the build now mends the {block} block wherever a limit breaks, here and elsewhere; snow stays bare",)
    return PlannedChange(change=Change(what=f"mend the {block} block", text=text), notes=notes)


def clearing_planned(block: str, findings: Sequence[Finding], meaning: Meaning, desk: Desk) -> PlannedChange:
    """The smallest mark about what would break that clears all of it; `InputError` if none does.

    One that stays takes the snow there, of every block that is not cut; one that comes out takes the land there, of
    this block alone. The first is none for a block that is cut already: nothing can be put back.
    """
    cut = already_cut(desk.print_)
    if meaning == Meaning.STAYS and block in cut:
        raise InputError(
            "is cut already, and nothing can be put back", value=block,
            hint="take the land out there, or leave it to your knife",
        )  # fmt: skip
    uncut = tuple(other.name for other in desk.print_.blocks if other.name not in cut) if cut else ()
    blocks = (block,) if meaning == Meaning.COMES_OUT else uncut
    places = shapely.union_all([shapely.Point(finding.at) for finding in findings if finding.at is not None])
    shapes = _about(desk, block, findings, meaning)
    for by in _AROUND_MM:
        window = shapely.buffer(shapely.envelope(places), by, cap_style="square", join_style="mitre")
        now = desk.scene(window)
        for shape in shapes:
            marking = _Marking(desk=desk)
            marking.put(Mark(meaning=meaning, shape=shape, key=marking.key(), blocks=blocks))
            plan = marking.change(str(meaning))
            cleared = is_cleared(now, desk.scene_after(plan.change, window), window, block, places)
            if cleared:
                return plan
            if cleared is None:
                break
    other = len(findings) == 1 and (meaning == Meaning.STAYS or snow_helps(desk, block, findings))
    raise InputError("would break all the same", where=findings[0].title.lower(), hint=uncleared_words(other=other))


def _about(desk: Desk, block: str, findings: Sequence[Finding], meaning: Meaning) -> list[BaseGeometry]:
    """Shapes of marks about what would break, the smallest first; of an island all of it lies in each."""
    reach = max(_LEAST_DISC_MM, *(finding.limit for finding in findings))
    points = [shapely.Point(finding.at) for finding in findings if finding.at is not None]
    islands = [island for finding in findings if (island := _island(desk, block, finding)) is not None]
    shapes = [shapely.union_all(shapely.buffer([*points, *islands], wide * reach)) for wide in _CLEARS]
    if islands and meaning == Meaning.COMES_OUT:
        least = sorted({_ROUND_MM, _ROUND_MM + desk.print_.trap_mm})  # paler ink runs on under darker by the trap
        shapes = [*(shapely.union_all(shapely.buffer([*points, *islands], by)) for by in least), *shapes]
    return shapes


def _island(desk: Desk, block: str, finding: Finding) -> BaseGeometry | None:
    """The island that is too thin at a place; None if what breaks there is none."""
    return island_at(desk, block, finding.at) if finding.kind == "island" and finding.at is not None else None


def strip_planned(block: str, findings: Sequence[Finding], desk: Desk) -> PlannedChange:
    """The smallest mark that clears all places of one land: one that keeps snow off it, else one by which it goes."""
    plan = None
    if snow_helps(desk, block, findings):
        with contextlib.suppress(InputError):
            plan = clearing_planned(block, findings, Meaning.STAYS, desk)
    plan = plan or clearing_planned(block, findings, Meaning.COMES_OUT, desk)
    if len(findings) == 1:
        return plan
    return replace(plan, notes=(f"nothing breaks at the {len(findings)} places of the strip any more", *plan.notes))


def snow_helps(desk: Desk, block: str, findings: Sequence[Finding]) -> bool:
    """Whether keeping snow off what would break can help: snow lies beside it, and the block is not cut yet.

    An island that is as thin without snow as with it stays so: of snow that is not next to it nothing is to be hoped.
    """
    if block in already_cut(desk.print_):
        return False
    return any(_snow_beside(desk, block, finding) for finding in findings if finding.at is not None)


def _snow_beside(desk: Desk, block: str, finding: Finding) -> bool:
    """Whether snow lies so near to a place that breaks that it can be why; an island is looked for where some does."""
    assert finding.at is not None
    limit = max(_LEAST_DISC_MM, finding.limit)
    near = desk.seen.snows(block, shapely.buffer(shapely.Point(finding.at), _CLEARS[-1] * limit))
    island = _island(desk, block, finding) if near else None
    return near and (island is None or desk.seen.snows(block, shapely.buffer(island, limit)))


def _stays(desk: Desk, marking: _Marking, numbers: Sequence[int], begins: str) -> Mark:
    """A mark that takes shapes of one likeness away: what of one motif lies there prints."""
    _, name, blocks = desk.seen.like(numbers[0])
    white = next(white for white in desk.ground.whites if white.name == name)
    own = [block.name for block in desk.print_.blocks if block.name in blocks]
    return Mark(
        meaning=Meaning.STAYS, shape=shapely.union_all([desk.seen.shape(n) for n in numbers]), key=marking.key(begins),
        motifs=(name,), blocks=() if set(blocks) == set(white.leaves) else tuple(own),
    )  # fmt: skip


# ── shapes ──


@dataclass(kw_only=True, eq=False)
class _Editing:
    """Kept shapes while they change."""

    desk: Desk
    keeping: Keeping | None = None
    begun: frozenset[int] = frozenset()  #: the motifs whose shapes are changed
    gone: dict[int, dict[str, Any]] = field(default_factory=dict)
    new: dict[int, dict[str, Any]] = field(default_factory=dict)
    _about: dict[tuple[int, int, int], set[str]] = field(default_factory=dict)  #: by motif and place, what came there

    def begin(self, motifs: Iterable[int]) -> None:
        """Keep motifs, and those that grow after them, which would grow otherwise."""
        self.begun = frozenset(motifs)
        if self.begun:
            self.keeping = self.desk.kept(locked_with(self.desk.print_, self.begun))

    def take(self, number: int) -> str:
        """A shape goes; the id that it had."""
        motif = self.desk.motif_of(number)
        assert motif is not None
        name = self._ids(motif)[number]
        self.gone.setdefault(motif, {})[name] = self.desk.stock.shapes[number]
        return name

    def put(self, motif: int, shape: BaseGeometry, name: str = "") -> None:
        """A shape comes, one with those that it lies over, as its file will be read."""
        ids = self._ids(motif)
        over = [
            n for n in self.desk.near(motif, shape)
            if ids[n] not in self.gone.get(motif, {})
            and shapely.area(shapely.intersection(self.desk.stock.shapes[n], shape)) > _OVERLAP_MM2
        ]  # fmt: skip
        near, new = set[str]().union(*(self._about.get(cell, ()) for cell in _cells(motif, shape))), self.new.get(motif)
        mates = [key for key in sorted(near) if new and key in new and shapely.intersects(new[key], shape)]
        parts = [shape, *(self.desk.stock.shapes[n] for n in over), *(self.new[motif].pop(key) for key in mates)]
        names = [*filter(None, [name]), *map(self.take, over), *mates]
        joined = geometry.parts(geometry.on_grid(shapely.union_all(parts)))
        for k, part in enumerate(joined):
            own = names[k] if k < len(names) else self._fresh(motif)
            self.new.setdefault(motif, {})[own] = part
            for cell in _cells(motif, part):
                self._about.setdefault(cell, set()).add(own)

    def _names(self, motif: int) -> ShapeNames | None:
        own = self.keeping.names.get(motif) if self.keeping else None
        return own or self.desk.names(motif)

    def _ids(self, motif: int) -> dict[int, str]:
        names = self._names(motif)
        return names.name if names else {}

    def _fresh(self, motif: int) -> str:
        names, new = self._names(motif), self.new.get(motif, {})
        kind = self.desk.print_.motifs[motif].motif
        free = (f"{kind}-hers-{k:04d}" for k in range(1, 10**7))
        return next(name for name in free if name not in new and (names is None or name not in names.number))

    @property
    def changes(self) -> dict[str, Any]:
        """As a change has it."""
        return {
            "shapes_gone": {self._file(k): _texts(shapes) for k, shapes in self.gone.items()},
            "shapes_new": {self._file(k): _texts(shapes) for k, shapes in self.new.items()},
            "text": self.keeping.text if self.keeping else (), "files": self.keeping.files if self.keeping else {},
            "keeping": self.keeping, "begun": self.begun,
        }  # fmt: skip

    def _file(self, motif: int) -> str:
        own = self.keeping.own.get(motif) if self.keeping else None
        return own or self.desk.kept_file(motif)


def _cells(motif: int, shape: BaseGeometry) -> list[tuple[int, int, int]]:
    """The squares of the face that a shape may meet."""
    left, bottom, right, top = (int(value // _CELL_MM) for value in shapely.bounds(shape))
    return [(motif, i, j) for i in range(left, right + 1) for j in range(bottom, top + 1)]


def _texts(shapes: Mapping[str, Any]) -> dict[str, str]:
    return {name: shapely.to_wkt(shape, rounding_precision=3) for name, shape in shapes.items()}


def _seen(desk: Desk, numbers: Iterable[int], where: str, problem: str = "names no snow that is there") -> list[int]:
    """Those of the numbers that are seen and can be touched, each once; `InputError` if all are gone already."""
    seen = [n for n in dict.fromkeys(numbers) if desk.seen.has(n) and desk.seen.like(n)[0] == "snow"]
    if not seen:
        raise InputError(problem, where=where, hint="choose a flake or a heap")
    return seen


def _edit(
    desk: Desk, numbers: Sequence[int], what: str, then: Callable[[_Editing, int, Any, str], None]
) -> PlannedChange:
    """Take shapes away; `then` puts others in their place, by motif, shape and id."""
    marking, editing = _Marking(desk=desk), _Editing(desk=desk)
    plain = {n for n in numbers if desk.seen.plain(n)}
    made = [n for n in numbers if not desk.seen.plain(n)]
    names = {n: desk.seen.like(n)[1] for n in numbers}
    editing.begin({desk.motif_called(name) for n, name in names.items() if n in plain or then is not _nothing})
    taken = [(n, desk.seen.shape(n), editing.take(n) if n in plain else "") for n in numbers]
    for n, shape, name in taken:
        then(editing, desk.motif_called(names[n]), shape, name)
    marking.leave(made, shapely.union_all([shape for new in editing.new.values() for shape in new.values()]))
    return marking.change(what, **editing.changes)


def _nothing(_: _Editing, __: int, ___: object, ____: str) -> None:
    """Nothing comes."""


@planned.register(gestures.TakeAway)
def _(gesture: gestures.TakeAway, desk: Desk) -> PlannedChange:
    numbers = list(gesture.ids)
    if gesture.points is not None:
        numbers += desk.seen.near(own_marks.line_of(gesture.points, gesture.breadth_mm))
    return _edit(desk, _seen(desk, numbers, "take away", "touches no snow"), "take away", _nothing)


@planned.register(gestures.Move)
def _(gesture: gestures.Move, desk: Desk) -> PlannedChange:
    numbers = _seen(desk, gesture.ids, "move")

    def moved(editing: _Editing, motif: int, shape: BaseGeometry, name: str) -> None:
        turned = affinity.rotate(shape, gesture.turn_deg, origin=gesture.about)
        scaled = affinity.scale(turned, gesture.scale, gesture.scale, origin=gesture.about)
        editing.put(motif, _on_face(desk, affinity.translate(scaled, *gesture.by)), name)

    if not gesture.copied:
        return _edit(desk, numbers, _what_moves(gesture), moved)
    editing = _Editing(desk=desk)
    motifs = {n: desk.motif_called(desk.seen.like(n)[1]) for n in numbers}
    editing.begin(motifs.values())
    for n, motif in motifs.items():
        moved(editing, motif, desk.seen.shape(n), "")
    return _Marking(desk=desk).change("copy", **editing.changes)


def _what_moves(gesture: gestures.Move) -> str:
    """What is done to shapes in the fingers, all of it: they are moved, turned, made larger or smaller."""
    done = {
        "move": gesture.by != (0, 0), "turn": gesture.turn_deg != 0,
        "make larger": gesture.scale > 1, "make smaller": gesture.scale < 1,
    }  # fmt: skip
    return listed([word for word, so in done.items() if so] or ["move"])


@planned.register(gestures.Redraw)
def _(gesture: gestures.Redraw, desk: Desk) -> PlannedChange:
    numbers = _seen(desk, [gesture.shape], "redraw")
    shape = _on_face(desk, _outline(desk.seen.shape(gesture.shape), gesture.points))

    def redrawn(editing: _Editing, motif: int, _: object, name: str) -> None:
        editing.put(motif, shape, name)

    return _edit(desk, numbers, "redraw", redrawn)


def _outline(shape: Any, points: Floats) -> BaseGeometry:  # noqa: ANN401
    """The outline that a line draws; if it leaves the shape's own and comes back to it elsewhere, that edge anew."""
    line = shapely.LineString(points[:, :2])
    ring = shapely.get_exterior_ring(shape)
    ends = [shapely.Point(*points[k, :2]) for k in (0, -1)]
    apart = shapely.distance(*ends)
    if (
        ring is None
        or apart < _CLOSED * shapely.length(line)
        or any(shapely.distance(ring, end) > _JOINS_MM for end in ends)
    ):
        return own_marks.area_of(points)
    begin, end = sorted(shapely.line_locate_point(ring, ends))
    back = shapely.line_locate_point(ring, ends[0]) > shapely.line_locate_point(ring, ends[1])
    drawn = shapely.reverse(line) if back else line
    inner = substring(ring, begin, end)
    outer = shapely.union_all([substring(ring, end, shapely.length(ring)), substring(ring, 0, begin)])
    near = [shapely.hausdorff_distance(ring, line, densify=0.1) for ring in (inner, outer)]
    if near[0] <= near[1]:  # what lies nearer to the line is what it takes the place of
        xy = [*substring(ring, 0, begin).coords, *drawn.coords, *substring(ring, end, shapely.length(ring)).coords]
    else:
        xy = [*inner.coords, *shapely.reverse(drawn).coords]
    edged = shapely.Polygon(xy, [ring.coords for ring in shape.interiors])
    return geometry.solid(shapely.make_valid(edged))


@planned.register(gestures.Draw)
def _(gesture: gestures.Draw, desk: Desk) -> PlannedChange:
    motif, editing = desk.motif_called(gesture.motif), _Editing(desk=desk)
    shape = _on_face(desk, own_marks.area_of(gesture.points))
    editing.begin({motif})
    editing.put(motif, shape)
    return _Marking(desk=desk).change("draw", **editing.changes)


def _on_face(desk: Desk, shape: BaseGeometry) -> BaseGeometry:
    result = geometry.on_grid(geometry.solid(shapely.intersection(geometry.on_grid(shape), geometry.box(*desk.size))))
    if shapely.area(result) <= 0.01:
        raise InputError("lies outside the print", where="a shape", hint="leave it on the print")
    return result


@planned.register(gestures.Keep)
def _(gesture: gestures.Keep, desk: Desk) -> PlannedChange:
    motif = desk.motif_called(gesture.motif)
    called = desk.print_.motifs[motif].called
    if gesture.kept:
        kept = desk.kept([motif])
        if kept is None:
            raise InputError("is locked already", value=called)
        return PlannedChange(change=Change(what=f"lock {called}", text=kept.text, files=kept.files), keeping=kept)
    if not desk.print_.motifs[motif].kept:
        raise InputError("is not locked", value=called)
    text = _edited_text(desk, lambda _, __: released(desk.print_, [gesture.motif]))
    return PlannedChange(change=Change(what=f"let {called} grow again", text=text))


@planned.register(gestures.Weather)
def _(gesture: gestures.Weather, desk: Desk) -> PlannedChange:
    motif = desk.motif_called(gesture.motif)
    if desk.print_.motifs[motif].kept:
        raise InputError(
            "is locked as it is",
            value=desk.print_.motifs[motif].called,
            hint="let it grow again first: then it grows by other weather",
        )
    entry, own = desk.print_.motifs[motif], gesture.settings
    if gesture.preset == NO_WEATHER and not entry.grows:
        raise InputError("grows no more already", value=entry.called, hint="choose a weather, and it grows")
    if gesture.preset in kind_of(entry.motif).PRESETS:
        own = {**suited(entry, gesture.preset, desk.size), **own}
    text = _edited_text(desk, with_weather, motif, gesture.preset, own)
    return PlannedChange(change=Change(what=f"weather of {entry.called}", text=text))


@planned.register(gestures.CutBy)
def _(gesture: gestures.CutBy, desk: Desk) -> PlannedChange:
    text = cut_by_text(desk, gesture)
    if text[0] == text[1]:
        raise InputError("is cut so already", where="the print", hint="choose another machine, tool or material")
    other = [block for block in desk.print_.blocks if gesture.material not in ("", block.material)]
    for block in other:
        _check_former(block)
    editing, text, left = _with_locked(desk, text)
    now = ", ".join(filter(None, [*gesture.kinds, gesture.cutter, gesture.material]))
    changes = {**editing.changes, "text": text}
    return _Marking(desk=desk).change(f"cut by {now}", [*_gone_with_former(other), *map(unread_words, left)], **changes)


def cut_by_text(desk: Desk, wish: gestures.CutBy) -> tuple[str, ...]:
    """The text of the print file, and as it is where others cut the print."""
    before = [[setup.machine.kind for setup in desk.setups[block.name]] for block in desk.print_.blocks]
    cut = functools.partial(with_cutting, before=before)
    return _edited_text(desk, cut, wish.kinds, wish.material, wish.cutter)


def _with_locked(desk: Desk, text: tuple[str, ...]) -> tuple[_Editing, tuple[str, ...], list[str]]:
    """What of locked snow would not hold where others cut it, mended; the print file also says what marks grew by.

    Last, the motifs that were not looked at.
    """
    editing, limits = _Editing(desk=desk), limits_of(desk, desk.read_otherwise(text[1]))
    for k, gone, come in mended_shapes(desk, limits):
        names = {n: editing.take(n) for n in gone}
        was = geometry.polygon_array(desk.stock.shapes[n] for n in gone)
        for shape in come:  # it is called as what it was most of
            shared = shapely.area(shapely.intersection(was, shape))
            name = names.pop(gone[int(np.argmax(shared))], "")
            editing.put(k, shape, name)
    data = with_grown_by(desk.print_.path, text[1].encode("utf-8", "surrogateescape"), noted_marks(desk, [*limits]))
    return editing, (text[0], data.decode("utf-8", "surrogateescape")), unread(desk, limits)


def _check_former(block: PrintBlock) -> None:
    """Refuse to let go, by a choice from a list, of a declared composition that a machine must not meet."""
    if any(ban(block.declare, kind) for kind in KINDS):
        raise RefusedError(
            f'is declared "{shortened(block.declare)}", which a machine must not meet',
            where=f"the {block.name} block",
            hint="if another piece is cut, take that out of the print file first",
        )


def _gone_with_former(blocks: Iterable[PrintBlock]) -> Iterator[str]:
    """That what was said of pieces of another material went with these; blocks of which the same was said together."""
    names: dict[str, list[str]] = {}
    for block in blocks:
        if gone := ", ".join(words for key, words in OF_A_PIECE.items() if getattr(block, key)):
            names.setdefault(gone, []).append(block.name)
    for gone, alike in names.items():
        yield f"{', '.join(alike)}: {gone} went with the former material; the print file may say those of the new one"
