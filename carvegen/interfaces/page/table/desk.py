"""One print on the desk: its shapes by number, its marks, and what a change does to them; it knows no server."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.files import file_hash, file_text, save_file
from carvegen.interfaces.page.packed import ShapeGroup
from carvegen.interfaces.page.print_checks import Scene
from carvegen.interfaces.page.table.kept_copy import copied, growths_beside, read_copied
from carvegen.interfaces.page.table.own_marks import free_file, marks_after, marks_named, own_file
from carvegen.interfaces.page.table.stock import Delta, Stock, StockView
from carvegen.marking.kept_file import kept_ids, kept_text_with, marks_of
from carvegen.marking.marks import check_agreement, on_face
from carvegen.marking.marks_file import marks_text, read_marks
from carvegen.prints.cut_blocks import counter_setups_of, setups_of, unmarked_of
from carvegen.prints.file.print_file import read_print
from carvegen.prints.keeping import kept_files
from carvegen.prints.marked.marked_whites import marks_of as marks_of_print
from carvegen.prints.marked.marked_whites import names_of, stays_on
from carvegen.prints.marked.patches import BeforeMarks, Lot, Patch, changed_patches, worked_otherwise

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.facts.profiles import Library
    from carvegen.interfaces.page.table.under_snow import UnderSnow
    from carvegen.marking.gesture_journal import Change
    from carvegen.marking.marks import Mark
    from carvegen.prints.cut_blocks import Setups
    from carvegen.prints.file.print_file import Print, PrintMotif
    from carvegen.prints.picture import Unmarked

__all__ = ["ChangeWriter", "Desk", "Keeping", "Outcome", "ShapeNames", "most_gone", "opened"]

Say = Callable[[str], None]

_TRIES = 6  #: so many are shown side by side


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What a change has done."""

    delta: Delta
    gone_marks: tuple[str, ...] = ()
    new_marks: tuple[str, ...] = ()
    again: bool = False  #: the print must be opened again: something else grows
    where: BaseGeometry | None = None  #: beyond it nothing has changed; None: nothing has
    went: BaseGeometry = field(default_factory=shapely.Polygon)  #: where snow lay and lies no more


@dataclass(frozen=True, kw_only=True)
class ChangeWriter:
    """How a change comes onto the disk."""

    note: Callable[[], None]  #: into the journal
    take_back: Callable[[], None]  #: out of it
    file: Callable[[str, str], None]  #: a whole file, by its name and text


@dataclass(frozen=True, kw_only=True, eq=False)
class _Marks:
    """All marks of a print in order."""

    before: tuple[Mark, ...]
    own: tuple[Mark, ...]  #: of the file that the page writes
    after: tuple[Mark, ...]
    file: str  #: the page's own
    named: bool  #: whether the print file names it

    @property
    def every(self) -> tuple[Mark, ...]:
        return (*self.before, *self.own, *self.after)


def most_gone(before: Mapping[str, BaseGeometry], after: Mapping[str, BaseGeometry]) -> float:
    """How much less there is on the block that has lost most, mm²."""
    lost = [shapely.area(shape) - shapely.area(after[block]) for block, shape in before.items()]
    return float(max(lost, default=0.0))


@dataclass(kw_only=True, eq=False)
class Desk:
    """A print that is being marked."""

    print_: Print
    shelf: Library
    setups: Setups
    bare: Unmarked
    ground: BeforeMarks
    stock: Stock
    seen: StockView
    marks: _Marks
    patches: list[Patch]
    left: frozenset[str] = frozenset()  #: findings that are left to the carver
    hashes: dict[str, str] = field(default_factory=dict)  #: of each file of marks and shapes, when it was read
    tried: dict[str, int] = field(default_factory=dict)  #: by key of a mark that grows again, its highest try
    bits: UnderSnow | None = None  #: as the last look at the whole print has them
    version: int = 1
    _names: dict[int, ShapeNames] = field(default_factory=dict)  #: by motif, the ids of kept shapes
    _grown: dict[int, list[str]] = field(default_factory=dict)  #: by motif, its shapes as they grew, if they did
    _edited_numbers: set[int] = field(default_factory=set)
    _files: dict[int, str] = field(default_factory=dict)  #: the kept file of each motif that has been edited

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the face, mm."""
        return self.print_.width_mm, self.print_.height_mm

    @property
    def folder(self) -> Path:
        """The print's own folder."""
        return self.print_.path.parent

    def motif_of(self, number: int) -> int | None:
        """Which motif an unmarked shape is of; None if it is of none."""
        k = self.stock.white[number] - self._lights
        return k if k >= 0 else None

    def motif_called(self, name: str) -> int:
        """The place of a motif, by its name."""
        names = [motif.name for motif in self.print_.motifs]
        if name not in names:
            raise InputError("must be a motif of this print", value=name, hint=f"one of: {', '.join(names)}")
        return names.index(name)

    def mark_called(self, key: str) -> Mark:
        """The mark of that key."""
        result = next((mark for mark in self.marks.every if mark.key == key), None)
        if result is None:
            raise InputError("is no mark of this print", value=key)
        return result

    def attempts(self, key: str) -> dict[int, list[ShapeGroup]]:
        """The snow in a place that grows again, by try: 0 is as it was before, then the last six, as each would be."""
        mark = self.mark_called(key)
        patch = next(patch for patch in self.patches if any(own.key == key for own in patch.marks))
        window = shapely.box(*shapely.bounds(mark.shape))
        last = max(self.tried.get(key, 1), mark.attempt)
        before = worked_otherwise(patch, replace(mark, shape=shapely.Polygon()), self.ground, self.stock.near)
        result = {0: [self._group(lot, window) for lot in before]}
        for attempt in range(max(1, last - _TRIES + 1), last + 1):
            lots = worked_otherwise(patch, replace(mark, attempt=attempt), self.ground, self.stock.near)
            result[attempt] = [self._group(lot, window) for lot in lots]
        return result

    def _group(self, lot: Lot, window: BaseGeometry) -> ShapeGroup:
        """What a lot shows in a window, under numbers that nothing else has."""
        met = lot.shapes[shapely.intersects(lot.shapes, window)]
        ids = [self.stock.taken() for _ in met]
        return ShapeGroup(kind="snow", name=lot.name, blocks=tuple(sorted(lot.blocks)), ids=ids, shapes=met)

    def leaves(self, motif: int) -> frozenset[str]:
        """The blocks that a motif leaves."""
        return self.ground.whites[motif + self._lights].leaves

    def shapes_of(self, motif: int) -> list[int]:
        """The numbers of a motif's unmarked shapes."""
        return self.stock.of(motif + self._lights)

    def near(self, motif: int, area: BaseGeometry) -> list[int]:
        """Those that meet an area."""
        result: list[int] = self.stock.near(motif + self._lights, area)[0].tolist()
        return result

    def white_in(self, area: BaseGeometry) -> float:
        """How much of an area is snow, 0…1."""
        return self.snow_mm2(area) / max(float(shapely.area(area)), geometry.GRID_MM)

    def snow_on(self, area: BaseGeometry) -> dict[str, BaseGeometry]:
        """The snow in an area, on each block that it leaves."""
        numbers = [n for n in self.seen.near(area) if self.seen.like(n)[0] == "snow"]
        return self._on_blocks([(self.seen.like(n)[2], [self.seen.shape(n)]) for n in numbers], area)

    def _on_blocks(self, lots: Sequence[tuple[Collection[str], Any]], area: BaseGeometry) -> dict[str, BaseGeometry]:
        """By block what of shapes lies in an area, of lots that each leave some blocks; alike blocks joined once."""
        joined: dict[tuple[int, ...], BaseGeometry] = {}
        result: dict[str, BaseGeometry] = {}
        for block in (each.name for each in self.print_.blocks):
            own = tuple(k for k, (blocks, _) in enumerate(lots) if block in blocks)
            if own not in joined:
                shapes = geometry.polygon_array(shape for k in own for shape in lots[k][1])
                joined[own] = shapely.intersection(shapely.union_all(shapes), area)
            result[block] = joined[own]
        return result

    def snow_mm2(self, area: BaseGeometry) -> float:
        """How much snow lies in an area, mm²."""
        snow = [self.seen.shape(n) for n in self.seen.near(area) if self.seen.like(n)[0] == "snow"]
        return float(shapely.area(shapely.intersection(geometry.polygon_array(snow), area)).sum()) if snow else 0.0

    def lies(self, name: str) -> bool:
        """Whether a motif is snow that lies on things."""
        return self.print_.motifs[self.motif_called(name)].motif == "snowload"

    def scene(self, window: BaseGeometry) -> Scene:
        """What lies in a window, for its checks."""
        white: dict[str, list[Any]] = {block.name: [self.bare.openings] for block in self.print_.blocks}
        for number in self.seen.near(window):
            kind, _, blocks = self.seen.like(number)
            if kind != "fringe":
                for name in blocks:
                    white[name].append(geometry.polygon_array([self.seen.shape(number)]))
        if self.bits is not None:
            for name, lots in white.items():
                lots.extend(shapes[shapely.intersects(shapes, window)] for shapes in self.bits.white(name))
        stays = {name: stays_on(self.marks.every, name) for name in white}
        layers = self.bare.drawing.layers if self.bits is None else self.bits.layers
        return Scene(
            print_=self.print_, setups=self.setups, layers=layers, openings=self.bare.openings,
            white={name: geometry.stack(shapes) for name, shapes in white.items()}, stays=stays,
        )  # fmt: skip

    @property
    def _lights(self) -> int:
        """How many whites there are before the motifs."""
        return len(self.ground.whites) - len(self.print_.motifs)

    # ── kept files ──

    def kept_file(self, motif: int) -> str:
        """The file in which a motif is kept, or will be once the print file is written."""
        return self._files.get(motif) or self.print_.motifs[motif].kept

    def names(self, motif: int) -> ShapeNames | None:
        """The shapes of a kept motif by their ids in its file; None if it must be kept first to have them."""
        if motif not in self._names and (names := self._read_names(motif)) is not None:
            self._names[motif] = names
        return self._names.get(motif)

    def _read_names(self, motif: int) -> ShapeNames | None:
        """The ids of a motif's shapes, as its file has them; None if it does not hold just these, each on a line."""
        path, grown, numbers = self.folder / self.kept_file(motif), self.bare.motifs[motif], self.shapes_of(motif)
        if not self.kept_file(motif) or not path.is_file() or grown.changed:
            return None
        if grown.kept is not None and self.print_.motifs[motif].kept == self.bare.motifs[motif].motif.kept:
            named = dict(zip(grown.kept.ids, numbers, strict=True))
        else:  # it was kept and let go again
            kept = read_copied(path, motif=self.print_.motifs[motif].motif, size=self.size)
            marks = marks_of(geometry.polygon_array(self.stock.shapes[n] for n in numbers))
            named = {kept.names.get(mark, ""): n for mark, n in zip(marks, numbers, strict=True)}
            if len(kept.ids) != len(numbers):
                return None
        text = path.read_text(encoding="utf-8", errors="replace")
        if len(named) < len(numbers) or kept_text_with(text, list(named), {}, self.size) is None:
            return None
        return ShapeNames.of(named)

    def kept(self, motifs: list[int]) -> Keeping | None:
        """How motifs are kept that are not, or whose file can't be edited shape by shape; nothing is written yet."""
        wanted = [k for k in motifs if not self.print_.motifs[k].kept or self.names(k) is None]
        if not wanted:
            return None
        grown = [
            replace(motif, motif=self._motif(k), growth=replace(motif.growth, cuts=self._cuts(k)))
            for k, motif in enumerate(self.bare.motifs)
        ]
        kept, files = kept_files(self.print_, grown, [self.print_.motifs[k].name for k in wanted])
        before = self.print_.path.read_bytes().decode("utf-8", "surrogateescape")
        after = (files.pop(self.print_.path.name) or b"").decode("utf-8", "surrogateescape")
        texts = {name: (data or b"").decode() for name, data in files.items()}
        own = {k: kept[self.print_.motifs[k].name] for k in wanted}
        names = {
            k: ShapeNames.of(dict(zip(kept_ids(texts[file]), self.shapes_of(k), strict=True)))
            for k, file in own.items()
        }
        was = {name: file_text(self.folder / name) if (self.folder / name).is_file() else None for name in texts}
        return Keeping(
            text=(before, after), files={name: (was[name], text) for name, text in texts.items()}, own=own, names=names
        )  # fmt: skip

    def _motif(self, k: int) -> PrintMotif:
        """A motif that is kept where it was kept before, if it was."""
        return replace(self.print_.motifs[k], kept=self.kept_file(k))

    def copy_edited(self, holds: Callable[[str], bool]) -> None:
        """Make large kept files that were edited here open at once the next time, if they hold what is here."""
        for k, names in self._names.items():
            if not holds(self.kept_file(k)):
                continue
            was, numbers = self.bare.motifs[k].kept, self.shapes_of(k)
            ids = [names.name[n] for n in numbers]
            if was is not None and tuple(ids) != was.ids:
                motif = self.print_.motifs[k].motif
                copied(self.folder / self.kept_file(k), self._cuts(k), ids, was, motif=motif, size=self.size)

    def _cuts(self, motif: int) -> Any:  # noqa: ANN401
        return geometry.polygon_array(self.stock.shapes[n] for n in self.shapes_of(motif))

    # ── changes ──

    def apply(self, change: Change, put: ChangeWriter, keeping: Keeping | None = None) -> Outcome:
        """Do a change, or what of it is not done yet; nothing is changed if that fails.

        Parameters
        ----------
        put
            Notes it once all is worked out, and writes what must be there at once.
        keeping
            The motifs that it keeps, if they are not kept yet.

        Raises
        ------
        InputError
            If the marks contradict one another, or a file can't be written.
        """
        if change.text and self.print_.path.read_bytes() != change.text[0].encode("utf-8", "surrogateescape"):
            hint = "open the print again; what was done before can't be undone over that"
            raise InputError("was changed by another program meanwhile", where=str(self.print_.path), hint=hint)
        before = dict(self._files), dict(self._names)
        if keeping is not None:
            self._files |= keeping.own
            self._names |= keeping.names
        undo: Callable[[], None] = _no_more
        try:
            gone_keys, marks = self._marks_after(change)
            shapes = self._shapes_after(change)
            edited = self._edited(shapes)
            new = [mark for mark in marks.own if mark.key in {record["key"] for _, record in change.marks_new}]
            check_agreement(marks.every, openings=geometry.union(self.bare.openings))
            undo = self._exchange(shapes)
            order = {mark.key: k for k, mark in enumerate(marks.every)}
            ended, come = changed_patches(
                self.patches, self.ground, self.stock.near, gone=gone_keys, new=new, order=order, edited=edited
            )
            now = self.read_otherwise(change.text[1]) if change.text else self.print_
            self._written(change, marks, put)
        except BaseException:
            undo()
            self._files, self._names = before
            raise
        was, self.print_ = self.print_, now
        again = was is not now and self._grows_otherwise(was, now)
        old = [mark for mark in self.marks.own if mark.key in set(gone_keys)]
        self.patches = [patch for patch in self.patches if not any(patch is other for other in ended)] + come
        self.marks = replace(marks, named=marks.file in self.print_.marks)
        self.left = (self.left | set(change.left)) - set(change.taken_up)
        self.version += 1
        removed = [n for lot in shapes.values() for n in lot.removed]
        added = [n for lot in shapes.values() for n in lot.added]
        lay = {n: extra.shape for n, extra in self.seen.extras.items() if extra.like[0] == "snow"}
        left, where = {mark.key for mark in marks.own}, self._where(old, new, edited)
        delta = self._without_bits(self.seen.change(ended, come, removed, added), where)
        return Outcome(
            delta=delta, gone_marks=tuple(key for key in gone_keys if key not in left),
            new_marks=tuple(mark.key for mark in new), again=again, where=where, went=self._went(delta, lay),
        )  # fmt: skip

    def _without_bits(self, delta: Delta, where: BaseGeometry | None) -> Delta:
        """The same, without bits under the snow if a change may show among them: they are known no more then."""
        if self.bits is None or where is None or not shapely.intersects(where, self.bits.zone):
            return delta
        gone = (n for group in self.bits.groups for n in group.ids)
        self.bits = None
        return replace(delta, gone=(*delta.gone, *gone))

    def _went(self, delta: Delta, made: Mapping[int, BaseGeometry]) -> BaseGeometry:
        """Where snow lay before a change and lies no more; `made` by marks before it, by number."""
        hidden = (n for n in delta.gone if n in self.stock.shapes and self.motif_of(n) is not None)
        lay = [*(made[n] for n in delta.gone if n in made), *map(self.stock.shapes.__getitem__, hidden)]
        lies = [self.seen.shape(n) for n in delta.new if self.seen.like(n)[0] == "snow"]
        return shapely.difference(shapely.union_all(lay), shapely.union_all(lies))

    def _tried(self, change: Change) -> tuple[_Marks, list[Patch], BaseGeometry]:
        """All marks as they would be after a change, what these would make, and where; nothing is changed by it."""
        gone_keys, marks = self._marks_after(change)
        check_agreement(marks.every, openings=geometry.union(self.bare.openings))
        keys = {record["key"] for _, record in change.marks_new}
        _, come = changed_patches(
            self.patches, self.ground, self.stock.near, gone=gone_keys,
            new=[mark for mark in marks.own if mark.key in keys],
            order={mark.key: k for k, mark in enumerate(marks.every)},
        )  # fmt: skip
        return marks, come, geometry.solid(shapely.union_all([patch.zone for patch in come]))

    def scene_after(self, change: Change, window: BaseGeometry) -> Scene:
        """What would lie in a window after the marks of a change, for its checks."""
        marks, come, zone = self._tried(change)
        now, white = self.scene(window), dict[str, Any]()
        for name, shapes in now.white.items():
            own = [lot.shapes for patch in come for lot in patch.lots if name in lot.blocks]
            then = shapely.intersection(shapely.union_all(geometry.stack(own)), zone)
            left = shapely.difference(shapely.union_all(shapes), zone)
            white[name] = geometry.parts(shapely.union_all([left, then, *self.bare.openings]))
        return replace(now, white=white, stays={name: stays_on(marks.every, name) for name in white})

    def taken_by(self, change: Change, mark: BaseGeometry) -> tuple[BaseGeometry, float]:
        """The snow that would go by a mark of a change, within its reach; nothing is changed by asking.

        Returns
        -------
        tuple
            Its outline, and how much less there would be, mm²: where snow only moves, as under a mark that asks for
            more, what goes farther off is made up for by what comes, and only the nearest is outlined, up to that.
        """
        around = self.reach_of(mark)
        now, (_, come, _) = self.snow_on(around), self._tried(change)
        motifs = {motif.name for motif in self.print_.motifs}
        lots = [(lot.blocks, lot.shapes) for patch in come for lot in patch.lots if lot.name in motifs]
        then = self._on_blocks(lots, around)
        parts = geometry.parts(shapely.union_all([shapely.difference(now[block], then[block]) for block in now]))
        parts = parts[np.argsort(shapely.distance(parts, mark), kind="stable")]
        less, areas = most_gone(now, then), shapely.area(parts)
        half = np.cumsum(areas) - areas / 2
        return geometry.solid(shapely.union_all(parts[half < less])), max(less, 0.0)

    def reach_of(self, mark: BaseGeometry) -> BaseGeometry:
        """Where a mark may change anything."""
        return shapely.buffer(mark, self.ground.reach_mm, quad_segs=4)

    def _written(self, change: Change, marks: _Marks, put: ChangeWriter) -> None:
        """Note a change; then write files that it makes whole, and last the print file, which names them."""
        put.note()
        try:
            for name, (_, text) in change.files.items():
                put.file(name, text or "")
            if not change.text:
                return
            if f'"{marks.file}"' in change.text[1] and not (self.folder / marks.file).exists():
                put.file(marks.file, marks_text(marks.own, self.size, title=self.print_.name))
            save_file(self.print_.path, change.text[1].encode("utf-8", "surrogateescape"))
        except BaseException:
            put.take_back()
            raise

    def _where(self, old: list[Mark], new: list[Mark], edited: BaseGeometry | None) -> BaseGeometry | None:
        """Where a change may show."""
        shapes = [mark.shape for mark in (*old, *new)] + ([] if edited is None else [edited])
        if not shapes:
            return None
        by = self.ground.reach_mm * np.array([-1, -1, 1, 1])
        return shapely.union_all(shapely.box(*(shapely.bounds(geometry.polygon_array(shapes)) + by).T))

    def is_edited(self, number: int) -> bool:
        """Whether a hand has made or changed an unmarked shape since it was kept."""
        return number in self._edited_numbers

    def _marks_after(self, change: Change) -> tuple[list[str], _Marks]:
        """The keys of own marks that go or change, and all marks after a change."""
        there = {mark.key for mark in self.marks.own}
        return sorted(marks_named(change) & there), replace(self.marks, own=marks_after(self.marks.own, change))

    def _shapes_after(self, change: Change) -> dict[int, _Exchanged]:
        """What a change takes from each kept motif and gives to it."""
        result = dict[int, _Exchanged]()
        for file in {*change.shapes_gone, *change.shapes_new}:
            motif = self._kept_in(file, change)
            known = self.names(motif)
            if known is None:
                hint = "put it back as it was, or keep the motif anew"
                raise InputError("holds other shapes than it did", where=str(self.folder / file), hint=hint)
            names = known.number
            gone, new = change.shapes_gone.get(file, {}), change.shapes_new.get(file, {})
            there = [name for name in dict.fromkeys([*gone, *new]) if name in names]
            result[motif] = _Exchanged(
                removed=[names[name] for name in there], names=there,
                new={name: shapely.from_wkt(text) for name, text in new.items()},
            )  # fmt: skip
        return result

    def _kept_in(self, file: str, change: Change) -> int:
        """Which motif a kept file is of, before a change or after it."""
        for k in range(len(self.print_.motifs)):
            if file == self.kept_file(k):
                return k
        for text in change.text:
            for k, motif in enumerate(tomllib.loads(text.removeprefix("\ufeff"))["motifs"]):
                if motif.get("kept") == file:
                    self._files[k] = file
                    return k
        raise InputError("belongs to no motif", value=file, where=str(self.print_.path))

    def _edited(self, shapes: Mapping[int, _Exchanged]) -> BaseGeometry | None:
        every = [
            *(self.stock.shapes[n] for lot in shapes.values() for n in lot.removed),
            *(shape for lot in shapes.values() for shape in lot.new.values()),
        ]
        return shapely.union_all(every) if every else None

    def _exchange(self, shapes: Mapping[int, _Exchanged]) -> Callable[[], None]:
        """Exchange unmarked shapes; what takes it back."""
        put_away = [
            (n, motif + self._lights, self.stock.remove(n)) for motif, lot in shapes.items() for n in lot.removed
        ]
        for motif, lot in shapes.items():
            names = self._names.setdefault(motif, ShapeNames())
            for name in lot.names:
                names.drop(name)
            for name, shape in lot.new.items():
                lot.added.append(self.stock.add(motif + self._lights, shape))
                names.put(name, lot.added[-1])
                self._edited_numbers.add(lot.added[-1])

        def back() -> None:
            for motif, lot in shapes.items():
                for name, number in zip(lot.new, lot.added, strict=True):
                    self.stock.remove(number)
                    self._names[motif].drop(name)
                for name, number in zip(lot.names, lot.removed, strict=True):
                    self._names[motif].put(name, number)
            if put_away:
                self.stock.put_back(put_away)

        return back

    def read_otherwise(self, text: str) -> Print:
        """The print by another text of its file, which is not written there; refused if its blocks can't be cut so."""
        path = self.print_.path
        beside = path.with_name(f".{path.name}.next")
        save_file(beside, text.encode("utf-8", "surrogateescape"))
        try:
            now = replace(read_print(beside, self.shelf), path=path)
        except InputError as error:
            raise InputError(str(error).replace(beside.name, path.name), hint=error.hint) from None
        finally:
            beside.unlink(missing_ok=True)
        counter_setups_of(now, self.shelf, setups_of(now, self.shelf))
        return now

    def _grows_otherwise(self, was: Print, now: Print) -> bool:
        before, after = ([replace(block, mend=False) for block in print_.blocks] for print_ in (was, now))
        if before != after:  # snow grows by what those can cut that cut it
            return True
        for k, (one, other) in enumerate(zip(was.motifs, now.motifs, strict=True)):
            if not other.grows and bool(one.kept) != bool(other.kept):  # marks that name it make it grow, or no more
                return True
            if other.kept and other.kept in (one.kept, self._files.get(k)):
                continue
            if replace(one, kept="") != replace(other, kept="") or other.kept:
                return True
            if one.kept and sorted(marks_of(self._cuts(k))) != self._grown.get(k):
                return True
        return False


@dataclass(frozen=True, eq=False)
class ShapeNames:
    """The ids of a motif's kept shapes, both ways."""

    number: dict[str, int] = field(default_factory=dict)
    name: dict[int, str] = field(default_factory=dict)

    @classmethod
    def of(cls, numbers: dict[str, int]) -> ShapeNames:
        """From the numbers by id."""
        return cls(numbers, {number: name for name, number in numbers.items()})

    def put(self, name: str, number: int) -> None:
        """One more."""
        self.number[name], self.name[number] = number, name

    def drop(self, name: str) -> None:
        """One less."""
        del self.name[self.number.pop(name)]


@dataclass(frozen=True, kw_only=True, eq=False)
class Keeping:
    """How motifs are kept; nothing of it is written yet."""

    text: tuple[str, str]  #: of the print file, before and after
    files: dict[str, tuple[str | None, str]]  #: the text of each kept file, before and after
    own: dict[int, str]  #: by motif, its file
    names: dict[int, ShapeNames]


def _no_more() -> None:
    """Nothing is to be taken back."""


@dataclass(kw_only=True, eq=False)
class _Exchanged:
    """Unmarked shapes of a motif that go, and that come."""

    removed: list[int]
    names: list[str]
    new: dict[str, Any]
    added: list[int] = field(default_factory=list)


def opened(path: Path, shelf: Library, *, say: Say) -> Desk:
    """A print, taken from its files.

    Raises
    ------
    InputError
        If a file can't be used.
    """
    print_ = read_print(path, shelf)
    named = (own_file(print_), *print_.marks, *(motif.kept for motif in print_.motifs if motif.kept))
    hashes = {name: file_hash(path.parent / name) for name in named}
    setups = setups_of(print_, shelf)
    bare = unmarked_of(print_, setups, say=say, read=read_copied, growths=growths_beside(path))
    marks = _read_marks(print_, bare)
    check_agreement(marks.every, openings=geometry.union(bare.openings))
    ground = BeforeMarks(whites=bare.whites, inked=bare.inked, beds=bare.beds)
    stock = Stock(bare.whites)
    seen = StockView(stock, bare.whites, len(print_.motifs))
    if marks.every:
        say("doing what is marked")
    order = {mark.key: k for k, mark in enumerate(marks.every)}
    _, patches = changed_patches([], ground, stock.near, new=marks.every, order=order)
    seen.change([], patches, (), ())
    desk = Desk(
        print_=print_, shelf=shelf, setups=setups, bare=bare, ground=ground, stock=stock, seen=seen, marks=marks,
        patches=patches, hashes=hashes,
    )  # fmt: skip
    for k, grown in enumerate(bare.motifs):
        if grown.kept is None:
            desk._grown[k] = sorted(marks_of(grown.growth.cuts))
        elif len(grown.kept.edited):
            hers = set(map(id, grown.kept.edited))
            desk._edited_numbers |= {n for n in desk.shapes_of(k) if id(stock.shapes[n]) in hers}
    return desk


def _read_marks(print_: Print, bare: Unmarked) -> _Marks:
    """The marks of the page's own file, and those before and after it."""
    name = own_file(print_)
    own = print_.marks.index(name) if name in print_.marks else None
    openings = geometry.union(bare.openings)

    def read(files: tuple[str, ...], **more: Any) -> tuple[Mark, ...]:  # noqa: ANN401
        return marks_of_print(replace(print_, marks=files, **more), bare.drawing, openings).marks

    if own is None:
        return _Marks(before=read(print_.marks), own=(), after=(), file=free_file(print_), named=False)
    there = read_marks(print_.path.parent / print_.marks[own], names_of(print_), (print_.width_mm, print_.height_mm))
    marks, _ = on_face(there.marks, bare.face)
    before, after = read(print_.marks[:own], scans=(), marked=()), read(print_.marks[own + 1 :])
    keys = [mark.key for mark in (*before, *marks, *after)]
    if len(set(keys)) < len(keys):
        return _Marks(before=read(print_.marks), own=(), after=(), file=free_file(print_), named=False)
    return _Marks(before=before, own=marks, after=after, file=print_.marks[own], named=True)
