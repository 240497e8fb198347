"""The print's layers: read from its drawings and words, at true size, from the front to the back."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork import plain_name, read
from carvegen.artwork.place import place
from carvegen.artwork.shapes import is_shape
from carvegen.base.colour import lightness
from carvegen.base.errors import InputError
from carvegen.base.words import listed, nearest
from carvegen.geometry.hairs import gaps_closed
from carvegen.prints.file.key_lines import key_named
from carvegen.prints.file.print_file import all_at_once
from carvegen.prints.separation import Layer

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import Floats, Indices, Mask, PolygonArray
    from carvegen.prints.file.print_file import Print

__all__ = ["LayeredDrawing", "drawing_of", "located", "runs_across"]

_PARTED = (
    "; if layers were parted by their colours when the print was begun: begin another with the drawing as it is now "
    "(carvegen new), and take its drawing.svg"
)
_LITTLE = 0.3  #: of the face's width and height: drawings that take up less are asked about; our own choice
_ABOVE_MM = 2.0  #: so far above a thing's top, over its whole width, it is looked what stands there:
_BELOW_MM, _ON, _SLENDER = 3.0, 0.3, 1.5  #: it stands if so much of that below it is filled, or so slender in any case
_BEFORE = 0.6  #: it stands before what fills so much of that,
_UPRIGHT = 0.5  #: a thing on legs is so many times as high as broad: no rope
_OPEN_MM, _HIDDEN = 20.0, 0.05  #: if nothing nearer fills more than so much of what is so far above it
_SIDE = 0.03  #: of the width: ground comes so near to both sides; our own choice
_LEVELS, _MOST = 160, 0.6  #: level lines to a width, and how much of one ground takes up by itself; the same
_NEXT_MM, _OUTLINED = 0.1, 0.6  #: lines so near to so much of a flat's outline draw it; our own choice
_STROKE_MM = 2.0  #: what is broader is no line: what lies under it is hidden, not drawn; the same
_LEVEL = 3.0  #: a line so many times as long as high is level; our own choice
_WITHIN, _FEW = 0.98, 3  #: so much of a ripple is on its ground, and so many are there; the same
_TIED_MM = 0.4  #: so near to a wire's end a post begins: our own choice
_BROAD_MM = (1.0, 4.8)  #: and is so broad, least and most; the same
_STANDS_MM, _HELD = (0.5, 2.0), 0.4  #: from so far on above and below that end it fills so much beside it; the same
_PAST_MM, _SAME_MM = 6.0, 1.0  #: so far past a post a wire goes on, and so little higher or lower; the same
_LONGER = 2.0  #: a wire is so many times as long as strokes beside it are; the same
_DOTS = (np.arange(12) + 0.5) / 12  #: along each side of a box


class LayeredDrawing:
    """The layers by name, in order, and what was changed while they were read."""

    def __init__(
        self, print_: Print, layers: Iterable[Layer], notes: Iterable[str], *, beside: Iterable[Layer] = (),
        known_mm: float = 0.0,
    ) -> None:  # fmt: skip
        self.print_ = print_
        self.layers = tuple(layers)  #: those that print, front first
        self.notes = tuple(notes)
        self.known_mm = known_mm  #: how finely the outlines of all are known, if pictures showed some
        self._by_name = {plain_name(layer.name): layer for layer in (*self.layers, *beside)}

    def with_layers(self, layers: Iterable[Layer]) -> LayeredDrawing:
        """The same with other shapes of its layers."""
        known = {plain_name(layer.name) for layer in self.layers}
        beside = [layer for name, layer in self._by_name.items() if name not in known]
        return LayeredDrawing(self.print_, layers, self.notes, beside=beside, known_mm=self.known_mm)

    def named(self, names: Iterable[str]) -> list[Layer]:
        """The layers of these names, in the order of the drawing, front first."""
        wanted = set(map(plain_name, names))
        return [layer for layer in self.layers if plain_name(layer.name) in wanted]

    def union(self, names: Iterable[str]) -> BaseGeometry:
        """All of the layers of these names."""
        return shapely.union_all(geometry.polygon_array(layer.shape for layer in self.named(names)))

    def ripples(self, names: Iterable[str]) -> dict[str, PolygonArray]:
        """Strokes of these layers that are drawn on water, by the layer of that: no snow lies on them.

        They are thin, level, by themselves, and three or more lie on one ground from side to side. What reaches as far
        up as anything drawn is a sky. No ground on which snow lies counts, nor does a layer of nothing but such lines,
        nor wires, as `_tied` tells them.
        """
        these = self.named(names)
        parts = geometry.parts(self.union(names))
        lines = parts[_level_lines(parts)]
        if len(lines) < _FEW:
            return {}
        alone = [layer.shape for layer in these if _level_lines(geometry.parts(layer.shape)).all()]
        lines = lines[~shapely.intersects(lines, shapely.union_all(alone))]
        lain_on = [name for motif in self.print_.motifs if motif.motif == "snowload" for name in motif.on]
        known = set(map(plain_name, [*names, *lain_on]))
        bare = [layer for layer in self.layers if plain_name(layer.name) not in known]
        by_ground = {layer.name: self._untied(lines, layer) for layer in bare}
        return {name: on for name, on in by_ground.items() if len(on)}

    def _untied(self, lines: PolygonArray, ground: Layer) -> PolygonArray:
        """Which lines lie on a ground as ripples do: many, and tied to no posts before it."""
        grounds = self._ground(ground)
        on = lines[_many_on(lines, grounds)]
        if len(on) == 0:
            return on
        free = on[~_tied(on, self.in_front_of([ground.name]), self.print_.width_mm)]
        return free[_many_on(free, grounds)]

    def bearing(self, names: Iterable[str]) -> BaseGeometry:
        """All of the layers of these names but ripples."""
        ripples = [*self.ripples(names).values()]
        return shapely.difference(self.union(names), geometry.union(*ripples)) if ripples else self.union(names)

    def _ground(self, layer: Layer) -> PolygonArray:
        """What of a layer is ground from side to side, or would be but for what is before it; no sky."""
        parts = geometry.parts(layer.shape)
        _, _, _, top = shapely.total_bounds([each.shape for each in self.layers])
        before = self.union([other.name for other in self.in_front_of([layer.name])])
        low = shapely.bounds(parts)[:, 3] < top - _SIDE * self.print_.height_mm
        wide = runs_across(parts, self.print_.width_mm, before)
        return parts[np.asarray(low) & wide]

    def in_front_of(self, names: Iterable[str]) -> list[Layer]:
        """The layers that stand in front of the rearmost of these and are none of them."""
        these = self.named(names)
        if not these:
            return []
        return [layer for layer in self.layers[: self.layers.index(these[-1])] if layer not in these]

    def further_back(self, names: Iterable[str]) -> list[Layer]:
        """The layers that lie further back than all of these."""
        these = self.named(names)
        return [*self.layers[self.layers.index(these[-1]) + 1 :]] if these else []

    def fronts(self, names: Iterable[str]) -> PolygonArray:
        """Parts of these layers whose tops stand, in sight, before others of them further back: posts before boards.

        What is not slender must stand on some ink of these, or on the face's edge: a lamp hangs below its shade. No
        roof stands near above them, but a sign on legs further back may. What is lighter than what is behind is
        painted on it: bands, windows.
        """
        these, standing = self.named(names), [geometry.empty()]
        legged = [each[_on_legs(each)] for each in (geometry.parts(layer.shape) for layer in these)]
        back = geometry.filled(geometry.stack(legged))
        light = {layer.name: self._lightness(layer.name) for layer in these}
        for k, layer in enumerate(these[:-1]):
            parts = geometry.parts(layer.shape)
            left, low, right, top = shapely.bounds(parts).T
            above, on = (left, top, right, top + _ABOVE_MM), _filled(left, low - _BELOW_MM, right, low, these[k:])
            behind = [other for other in these[k + 1 :] if light[other.name] >= light[layer.name]]
            dark = _filled(*above, behind)
            hidden = _filled(left, top, right, top + _OPEN_MM, self.layers[: self.layers.index(layer) + 1])
            over = _further_back(parts, back)
            stands = (top - low > _SLENDER * (right - left)) | (on > _ON) | (low < _BELOW_MM)
            standing.append(
                geometry.filled(parts[((dark > _BEFORE) | (over > _ON)) & (hidden - over < _HIDDEN) & stands])
            )
        return geometry.stack(standing)

    def outlined(self, names: Iterable[str]) -> PolygonArray:
        """Parts of other layers, further back, whose outlines these layers draw, as lines do a jetty's flat: one thing.

        The face's edge draws none, nor does what is broad what lies under it; no ground is a part of what stands on it.
        """
        these = self.named(names)
        if not these:
            return geometry.empty()
        lines = geometry.union(geometry.polygon_array(layer.shape for layer in these))
        behind = [layer for layer in self.layers[self.layers.index(these[0]) :] if layer not in these]
        parts = [geometry.parts(layer.shape) for layer in behind]
        flats = geometry.stack(each[~runs_across(each, self.print_.width_mm, lines)] for each in parts)
        face = geometry.box(self.print_.width_mm, self.print_.height_mm)
        broad = shapely.buffer(shapely.buffer(lines, -_STROKE_MM / 2), _STROKE_MM / 2 - _NEXT_MM)
        unseen = shapely.union(shapely.buffer(shapely.boundary(face), _NEXT_MM), broad)
        rims = shapely.difference(shapely.boundary(flats), unseen)
        drawn = shapely.length(shapely.intersection(rims, shapely.buffer(lines, _NEXT_MM, quad_segs=2)))
        return flats[drawn > _OUTLINED * shapely.length(rims)]

    def _lightness(self, name: str) -> float:
        """CIELAB L* of the darkest ink that prints a layer, of which no more than the order counts; 100: none does."""
        blocks = [block for block in self.print_.blocks if plain_name(name) in map(plain_name, block.layers)]
        inks = [block.ink.colour for block in blocks if block.inked and block.ink is not None]
        return min(map(lightness, inks), default=100.0)

    def shapes(self, text: str, key: str) -> PolygonArray:
        """What a key of the print file names: a layer, a shape in words, or a file."""
        if plain_name(text) in self._by_name:
            return geometry.parts(self._by_name[plain_name(text)].shape)
        try:
            return place(
                located(self.print_, text), width_mm=self.print_.width_mm, height_mm=self.print_.height_mm
            ).shapes
        except InputError as error:
            if not is_shape(text):
                error.hint = f"{error.hint}; or name a layer: {nearest(text, self.names)}"
            raise error.named(lambda field: key_named(field, key)).within(self.print_.place(key)) from None

    @property
    def names(self) -> list[str]:
        """The layers' names, front first, then those that print nowhere."""
        return [layer.name for layer in self._by_name.values()]


def _level_lines(parts: PolygonArray) -> Mask:
    """Which parts are thin lines that lie level; (n,)."""
    left, low, right, top = shapely.bounds(parts).T
    level = np.asarray(right - left > _LEVEL * (top - low))
    level[level] = shapely.is_empty(geometry.offset(parts[level], -_STROKE_MM / 2))
    return level


def _many_on(lines: PolygonArray, grounds: PolygonArray) -> Mask:
    """Which lines lie on one of the grounds together with enough others to be ripples; (n,)."""
    on = shapely.area(shapely.intersection(lines[:, None], grounds)) > _WITHIN * shapely.area(lines)[:, None]
    return np.asarray(on[:, on.sum(axis=0) >= _FEW].any(axis=1))


def _tied(lines: PolygonArray, layers: Sequence[Layer], width_mm: float) -> Mask:
    """Which level lines are wires: both ends are at posts, or one is and the other at the picture's side; (n,).

    A post is narrow, and stands on above and below the end that it holds. Pieces that go on past one are one line, and
    its outermost ends count: a long ripple behind posts ends on open water, or runs from side to side. What is hardly
    longer than free strokes beside it is one of these that just meets posts.
    """
    ends = _ends(lines)
    at_post = np.stack([_posts(ends[0], -1, layers), _posts(ends[1], 1, layers)])
    at_side = np.stack([ends[0, :, 0] < _SAME_MM, ends[1, :, 0] > width_mm - _SAME_MM])
    past, higher = np.moveaxis(ends[0] - ends[1][:, None], -1, 0)  # from each line's right end to each one's left
    goes_on = at_post[1][:, None] & at_post[0] & (past > 0) & (past < _PAST_MM) & (np.abs(higher) < _SAME_MM)
    apart = np.where(goes_on, np.abs(higher), np.inf)
    last = _last(apart.T), _last(apart)
    post, side = (np.stack([held[k][last[k]] for k in (0, 1)]) for held in (at_post, at_side))
    tied = np.asarray((post | side).all(axis=0) & post.any(axis=0))
    long = ends[1, last[1], 0] - ends[0, last[0], 0]
    return tied & (long > _LONGER * np.median(long[~tied])) if not tied.all() else tied


def _last(apart: Floats) -> Indices:
    """By line, the last of those that go on from it, each as the one that is least apart in height; (n,) of (n, n)."""
    last = np.where(np.isfinite(apart).any(axis=1), apart.argmin(axis=1), np.arange(len(apart)))
    for _ in range(len(apart).bit_length()):
        last = last[last]
    return last


def _ends(lines: PolygonArray) -> Floats:
    """The middles of the left and of the right ends of level lines; (2, n, 2)."""
    xy, line = shapely.get_coordinates(lines, return_index=True)
    left, _, right, _ = shapely.bounds(lines).T
    near = [np.abs(xy[:, 0] - x[line]) < _TIED_MM for x in (left, right)]
    count, height = (
        [np.bincount(line[own], weights, minlength=len(lines)) for own, weights in zip(near, lot, strict=True)]
        for lot in ((None, None), [xy[own, 1] for own in near])
    )
    return np.stack([np.column_stack([x, y / n]) for x, y, n in zip((left, right), height, count, strict=True)])


def _posts(ends: Floats, outward: int, layers: Sequence[Layer]) -> Mask:
    """At which ends of level lines a post stands, before the end or behind it; (n,) of (n, 2)."""
    (x, y), (near, far), (narrow, broad) = ends.T, _STANDS_MM, _BROAD_MM
    stands = np.zeros(len(ends), dtype=bool)
    for on in (outward, -outward):
        left, right = np.sort([x - on * _TIED_MM, x + on * narrow], axis=0)
        above = _filled(left, y + near, right, y + far, layers)
        below = _filled(left, y - far, right, y - near, layers)
        left, right = np.sort([x, x + on * 2 * broad], axis=0)
        half = _filled(left, y + near, right, y + far, layers)  # of twice as broad
        stands |= (above > _HELD) & (below > _HELD) & (half < 0.5)
    return stands


def _on_legs(parts: PolygonArray) -> Mask:
    """Which parts stand on legs or a stem, as a sign or a tree does: upright, and narrow at the foot; (n,)."""
    left, low, right, top = shapely.bounds(parts).T
    foot = shapely.area(shapely.intersection(parts, shapely.box(left, low, right, low + _BELOW_MM)))
    return np.asarray((top - low > _UPRIGHT * (right - left)) & (foot < _ON * _BELOW_MM * (right - left)))


def _further_back(parts: PolygonArray, things: PolygonArray) -> Floats:
    """The share of what is close above each part that things take up whose feet are higher in the picture; (n,).

    What stands higher up on the ground stands further back (perspective, common practice, no source): it roofs nothing.
    """
    left, low, right, top = shapely.bounds(parts).T
    above = shapely.box(left, top, right, top + _OPEN_MM)
    thing, which = shapely.STRtree(above).query(things, predicate="intersects")
    behind = shapely.bounds(things[thing])[:, 1] > low[which] + _BELOW_MM
    which, thing = which[behind], thing[behind]
    taken = shapely.area(shapely.intersection(above[which], things[thing]))
    share = np.zeros(len(parts))
    np.maximum.at(share, which, taken / shapely.area(above[which]))
    return share


def _filled(left: Floats, low: Floats, right: Floats, top: Floats, layers: Iterable[Layer]) -> Floats:
    """The share of each box that layers fill, by some dots in it; (n,)."""
    x = left[:, None] + np.repeat(_DOTS, len(_DOTS)) * (right - left)[:, None]
    y = low[:, None] + np.tile(_DOTS, len(_DOTS)) * (top - low)[:, None]
    ink = np.zeros(x.shape, dtype=bool)
    for layer in layers:
        ink |= shapely.contains_xy(geometry.prepared(layer.shape), x, y)
    return np.asarray(ink.mean(axis=1))


def runs_across(shapes: PolygonArray, width_mm: float, before: BaseGeometry) -> Mask:
    """Which shapes come near both sides of a face so wide, as ground does, or would but for what is before them; (n,).

    These lie on a level line of which they take up most, and they and what is before them nearly all.
    """
    if len(shapes) == 0:
        return np.zeros(0, dtype=bool)
    left, _, right, _ = shapely.bounds(shapes).T
    whole = (left < _SIDE * width_mm) & (right > (1 - _SIDE) * width_mm)
    _, low, _, top = shapely.total_bounds(shapes)
    step = width_mm / _LEVELS
    y = (np.arange(math.floor(low / step), math.ceil(top / step)) + 0.5) * step
    levels = geometry.lines(np.stack([0 * y, y], axis=1), np.stack([0 * y + width_mm, y], axis=1))
    ground = geometry.union(shapes)
    own = shapely.length(shapely.intersection(levels, ground))
    both = shapely.length(shapely.intersection(levels, shapely.union(ground, before)))
    across = levels[(own > _MOST * width_mm) & (both > (1 - 2 * _SIDE) * width_mm)]
    return np.asarray(whole | shapely.intersects(shapes, shapely.multilinestrings(across)))


def located(print_: Print, text: str) -> str:
    """Words as they are; a file's name from the print file's folder."""
    return text if is_shape(text) else str(print_.path.parent / text)


def drawing_of(print_: Print) -> LayeredDrawing:
    """The print's layers, from the front to the back.

    Raises
    ------
    InputError
        If a drawing can't be read or has no true size, or a name is no layer's: all such names at once.
    """
    face = geometry.box(print_.width_mm, print_.height_mm)
    by_name: dict[str, tuple[str, list[BaseGeometry]]] = {}
    notes: list[str] = []
    known = [0.0]
    homes: dict[str, list[str]] = {}
    for k, text in enumerate(print_.artwork):
        for name, shapes in _layers_in(print_, k, text, notes, known).items():
            by_name.setdefault(plain_name(name), (name, []))[1].append(shapely.union_all(shapes))
            homes.setdefault(by_name[plain_name(name)][0], []).append(text)
    shared = {name: files for name, files in homes.items() if len(files) > 1}
    notes += [f"{_as_one(name, files)}; {_apart(files[-1])}" for name, files in shared.items()]
    notes += _small(print_, [shape for _, shapes in by_name.values() for shape in shapes])
    words = LayeredDrawing(print_, [], [])
    for k, layer in enumerate(print_.layers):
        if layer.shape == "":
            continue
        shape = shapely.union_all(words.shapes(layer.shape, f"layers[{k}].shape"))
        by_name.setdefault(plain_name(layer.name), (layer.name, []))[1].append(shape)
    gaps = {plain_name(layer.name): layer.gaps for layer in print_.layers if layer.gaps}
    layers = [Layer(name, _on(face, shapes), gaps.get(plain, "")) for plain, (name, shapes) in by_name.items()]
    order = list(map(plain_name, print_.in_front)) or [plain_name(layer.name) for layer in reversed(layers)]
    _check_names(print_, [layer.name for layer in layers], order, shared)
    placed = [layer for layer in layers if plain_name(layer.name) in order]
    placed.sort(key=lambda layer: order.index(plain_name(layer.name)))
    return LayeredDrawing(
        print_, placed, notes, beside=[layer for layer in layers if layer not in placed], known_mm=max(known)
    )


def _small(print_: Print, shapes: list[BaseGeometry]) -> Iterator[str]:
    """A warning where all drawings together take up little of the face: they may be in another unit."""
    if not shapes:
        return
    left, bottom, right, top = shapely.total_bounds(shapes)
    if max((right - left) / print_.width_mm, (top - bottom) / print_.height_mm) < _LITTLE:
        yield (
            f"WARNING: all drawings together are {right - left:.1f} x {top - bottom:.1f} mm on a face of "
            f"{print_.width_mm:g} x {print_.height_mm:g} mm: if that is not meant, check their size or [artwork] units"
        )


def _on(face: BaseGeometry, shapes: list[BaseGeometry]) -> BaseGeometry:
    """Shapes joined, as far as they lie on the face."""
    whole = gaps_closed(shapely.union_all(geometry.polygon_array(shapes)))
    on_face: BaseGeometry = shapely.union_all(geometry.parts(geometry.intersection(whole, face)))
    return on_face


def _layers_in(
    print_: Print, k: int, text: str, notes: list[str], known: list[float]
) -> dict[str, PolygonArray]:  # fmt: skip
    """The layers of a drawing; what was changed is added to `notes`, how finely it is known to `known`."""
    key = print_.place(f"artwork.files[{k}]")
    try:
        artwork = read(Path(located(print_, text)), units=print_.units or None)
        if not artwork.true_size:
            raise InputError(
                "does not say how large it is", value=text, hint='say what its numbers mean: [artwork] units = "mm"'
            )
    except InputError as error:
        raise error.named(lambda field: key_named(field, "artwork")).within(key) from None
    notes += [f"{text}: {note}" for note in artwork.notes]
    known.append(artwork.known_mm)
    stem = Path(text.partition("#")[0]).stem.upper()
    return {name or stem: shapes for name, shapes in artwork.layers.items() if len(shapes)}


def _as_one(name: str, files: list[str]) -> str:
    """That drawings have a layer of one name."""
    return f"{listed(files)} each have a layer {name!r}: they are taken as one"


def _apart(file: str) -> str:
    """How layers of one name are told apart."""
    name = Path(file.partition("#")[0]).stem
    return (
        "to have one of each, take the files out of [artwork] files and name each layer: "
        f'[[layers]] name = "{name}", shape = "{file}"'
    )


def _check_names(print_: Print, layers: list[str], order: list[str], shared: dict[str, list[str]]) -> None:
    """Refuse names of layers that are not there, and layers that print but have no place in the order.

    Parameters
    ----------
    shared
        The files of each layer that several drawings have by one name.
    """
    faults = []
    known = set(map(plain_name, layers))
    for key, name in _asked(print_):
        where = print_.place(key)
        if plain_name(name) not in known:
            hint = nearest(name, layers)
            if any(plain_name(name).startswith(plain_name(layer)) for layer in layers):
                hint += _PARTED
            for layer, files in shared.items():
                own = next((file for file in files if plain_name(Path(file).stem) == plain_name(name)), files[-1])
                hint += f"; {_as_one(layer, files)}; {_apart(own)}"
            faults.append(InputError("must be a layer of the artwork", value=name, where=where, hint=hint))
        elif plain_name(name) not in order:
            hint = "put it where it stands in artwork.in_front, from the front to the back"
            faults.append(InputError("must stand in artwork.in_front", value=name, where=where, hint=hint))
    all_at_once(faults, str(print_.path))


def _asked(print_: Print) -> Iterable[tuple[str, str]]:
    """Every name of a layer in the print file, with its key."""
    yield from ((f"layers[{k}].name", layer.name) for k, layer in enumerate(print_.layers) if layer.shape == "")
    for j, name in enumerate(print_.in_front):
        yield f"artwork.in_front[{j}]", name
    for k, block in enumerate(print_.blocks):
        yield from ((f"blocks[{k}].layers[{j}]", name) for j, name in enumerate(block.layers) if name != "*")
    for k, motif in enumerate(print_.motifs):
        yield from ((f"motifs[{k}].on[{j}]", name) for j, name in enumerate(motif.on))
        for key in ("behind", "far_behind", "middle_behind"):
            names = enumerate(getattr(motif, key))
            yield from ((f"motifs[{k}].{key}[{j}]", name) for j, name in names if name != "*" or key == "behind")
