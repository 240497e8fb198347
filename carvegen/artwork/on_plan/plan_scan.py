"""A photograph or scan laid on a plan: what is drawn in it, where it lies, how well it fits, its shapes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely
from PIL import Image
from scipy import ndimage

from carvegen import geometry
from carvegen.artwork.bounds import SEEN_MM
from carvegen.artwork.on_plan.face_sides import held_by_sides
from carvegen.artwork.on_plan.lens import Lens, solved
from carvegen.artwork.on_plan.plan_fit import judged
from carvegen.artwork.on_plan.plan_place import Plan, Seen, found_place, is_mirrored, refined, resized, scale_of
from carvegen.artwork.scan.description import ScanOptions
from carvegen.artwork.scan.inks import hidden_by
from carvegen.artwork.scan.pixels import Picture
from carvegen.artwork.scan.planes import UNSURE
from carvegen.artwork.scan.quad import quads
from carvegen.artwork.scan.reader import read_straight
from carvegen.base.colour import cielab
from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from carvegen.artwork.drawing import Artwork
    from carvegen.artwork.on_plan.plan_fit import Fit
    from carvegen.artwork.on_plan.plan_place import Matrix, Tone
    from carvegen.artwork.scan.pixels import Bytes
    from carvegen.base.colour import Ink, Rgb
    from carvegen.geometry import Mask

__all__ = [
    "MOST_PX_PER_MM", "InkSeen", "Laid", "covered", "drawn_tone", "laid_on", "read_block", "read_inks",
    "read_laid", "shows_other_inks",
]  # fmt: skip

_LOOK_PX, _COLOUR_PX = 2600, 800  #: longer side of the picture that is laid, and of that which gives its inks' colour
_BUSY_PX, _BUSY, _BUSY_ROOM, _BUSY_SHARE = 400, 0.3, 0.1, 0.5  #: where in a picture something is drawn; our own choice
_NEAR_PX = 12  #: what differs within so much is drawn
_STANDS_OUT = 4.0  #: medians of how far colours lie from those around them
MOST_PX_PER_MM = 12.0  #: of the picture seen straight on: 300 dots per inch
_FINER = 1.2  #: a picture that has so many pixels more is not read between them any finer
_RANGE = (0.005, 0.995)
_LEAST_TONES = 2.0  #: of 255; what differs by less shows nothing
_MOST_PIXELS = 24_000_000
_MOST_QUADS = 3
_LENS_ROUNDS, _SAME_LENS = 3, 5e-4
_MESH_PX = 40  #: a tile of a picture that a lens bent is taken for one with straight sides
_BLURRED_MM = 0.3  #: so far beside an ink that hides another nothing is told of that: edges are blurred
_TILE_MM, _TILE_PX = 4.0, 12  #: of the picture in which land and cut are looked for
_COVER_PX_PER_MM, _COVER_BLUR_MM = 2.0, 0.5
_COVERS, _FADES = 18.0, 8.0  #: a* and b* of what lies over the face, and of its soft edge; our own choice
_LEAST_COVER_MM, _MOST_COVERED = 2.0, 0.2  #: a smaller spot may be drawn; a share of the face
_GREY, _CLEAR, _BLIND = (0.3, 0.7), 30.0, 3  #: from land to cut; L* from one to the other; cells; our own choice
_COLOURS_PX, _OTHER_INK, _MUCH = 300, 12.0, 0.05  #: pixels along a look at its colours; a* and b*; a share of it
_PURE, _ENOUGH = 0.02, 0.06
_AS_LIGHT = 5.0  #: L* by which land and cut of one lightness differ at most; our own choice
_ALIKE = 1.04  #: cut must be so much lighter than land
_NEARNESS, _CUT = 0.3, (0.4, 2.5)  #: of the step from land to cut, in logarithms
_BENT = 6
_STIFF = 1e-3  #: what holds the surface's curvature down where few tiles say it
_AROUND, _ENOUGH_TILES = 1.5, 12  #: standard deviation of a mean around a tile, in tiles; fewer make no surface
_WHITEST = 252.0  #: in glare a picture gets no lighter
_PARTING = 96.0


@dataclass(frozen=True, eq=False)
class Laid:
    """A picture on a plan."""

    place: Matrix  #: from mm on the plan, y down, to pixels of the picture's file, if its lens bent nothing
    lens: Lens  #: what it bends there
    fit: Fit
    mirrored: bool
    plan: Plan
    pictured_px: tuple[int, int]  #: width and height of the whole picture
    part: Picture  #: of it what shows the plan
    part_place: Matrix  #: to that part's pixels
    part_lens: Lens  #: of these
    px_per_mm: float  #: of `picture`
    pale: bool = False  #: whether it was laid as one whose land need not be darker than its cuts
    negative: bool = False  #: whether only its negative fits

    @property
    def fault(self) -> str:
        """What speaks against it; nothing if it is right."""
        if self.negative:
            return "it shows the plan's negative: what is to stand is the lighter"
        return self.fit.fault

    @cached_property
    def picture(self) -> Picture:
        """The plan's face as the picture shows it, unmirrored, in print view; seen only if it is asked for."""
        return self.seen_at(self.px_per_mm)

    def seen_at(self, px_per_mm: float, *, part: Picture | None = None) -> Picture:
        """The face as the picture shows it, so fine; or as another picture of the same part does, of its tone, say."""
        return _straight(part or self.part, self.plan, self.part_place, self.part_lens, px_per_mm)


def laid_on(
    plan: Plan,
    picture: Picture,
    *,
    corners: Sequence[NDArray[np.float64]] = (),
    px_per_mm: float | None = None,
    pale: bool = False,
    either_tone: bool = False,
) -> Laid:
    """Where a plan lies in a picture, and what the picture shows there.

    Parameters
    ----------
    corners
        Fours that were marked by hand; (4, 2) each, pixels. They are a start only: the drawing itself decides.
    px_per_mm
        Of the picture, if it is known.
    pale
        Whether to look for an ink that differs from the paper far less than paper and table do, by colour alone
        perhaps. Where colour tells land from cut, and not how light they are, either may be the lighter.
    either_tone
        Whether land may be lighter than what is cut however light both are: a stencil's openings show what is behind.
        With `pale` only.
    """
    lens = Lens.none((picture.width, picture.height))
    whole = _laid_on(plan, picture, corners, px_per_mm, lens, pale=pale, either_tone=either_tone)
    box = _busy_box(picture) if whole.fit.fault and not whole.negative else None
    if box is None:
        return whole
    left, top = box[:2]
    part = replace(picture, image=picture.image.crop(box))
    nearer = _laid_on(
        plan,
        part,
        [np.asarray(its) - (left, top) for its in corners],
        px_per_mm,
        lens.within(1, (left, top)),
        pale=pale,
        either_tone=either_tone,
    )
    if nearer.fit.fault and not nearer.negative:
        return whole
    shift = np.array([[1, 0, left], [0, 1, top], [0, 0, 1.0]])
    lens = replace(lens, strength=nearer.lens.strength)
    return replace(nearer, place=shift @ nearer.place, lens=lens, pictured_px=whole.pictured_px)


def _busy_box(picture: Picture) -> tuple[int, int, int, int] | None:
    """Left, top, right and bottom of what is drawn in a picture, with room about it; None if that is most of it.

    What is small in a picture is looked for in vain in the whole of it: all else counts there, too.
    """
    step = max(1, max(picture.width, picture.height) // _BUSY_PX)
    tone = np.asarray(picture.image.convert("L").reduce(step), dtype=np.float32)
    steep = ndimage.gaussian_filter(np.hypot(*np.gradient(ndimage.gaussian_filter(tone, 1))), max(tone.shape) / 40)
    blobs, count = ndimage.label(steep > _BUSY * np.quantile(steep, 0.99))
    if count == 0:
        return None
    largest = 1 + int(np.argmax(ndimage.sum_labels(np.ones_like(tone), blobs, np.arange(1, count + 1))))
    rows, columns = ndimage.find_objects(blobs)[largest - 1]
    room = _BUSY_ROOM * max(rows.stop - rows.start, columns.stop - columns.start)
    left, top = (max(int((its.start - room) * step), 0) for its in (columns, rows))
    right, bottom = (min(int((columns.stop + room) * step), picture.width),
                     min(int((rows.stop + room) * step), picture.height))  # fmt: skip
    small = (right - left) * (bottom - top) < _BUSY_SHARE * picture.width * picture.height
    return (left, top, right, bottom) if small else None


def _laid_on(
    plan: Plan, picture: Picture, corners: Sequence[NDArray[np.float64]], px_per_mm: float | None, lens: Lens, *,
    pale: bool, either_tone: bool,
) -> Laid:  # fmt: skip
    step = max(1, -(-max(picture.width, picture.height) // _LOOK_PX))
    small = picture.image.reduce(step) if step > 1 else picture.image
    tone = drawn_tone(small)
    if np.ptp(tone) < _LEAST_TONES:
        raise InputError("shows one even tone: nothing is drawn in it", hint="photograph it again, in good light")
    shrink = np.diag([small.width / picture.width, small.height / picture.height, 1.0])
    four = [np.asarray(its) * np.diag(shrink)[:2] for its in corners]
    four += sorted(quads(np.asarray(small.convert("L"))), key=lambda its: -float(np.ptp(its, axis=0).prod()))[
        :_MOST_QUADS
    ]
    shrunk = None if px_per_mm is None else px_per_mm * shrink[0, 0]
    tones = [tone]
    if pale:
        tone = np.asarray(_toned(small, small, evenly=True), dtype=np.float32)
        tones = [tone, 255 - tone]  # an ink no darker than the paper is darker in one channel, lighter in another
    each: list[Laid] = []
    for tone in tones:
        seen = Seen(_ranged(tone))
        place = found_place(plan, seen, corners=four, px_per_mm=shrunk)
        fit, place, found = _through_lens(plan, seen, place, lens.within(1 / shrink[0, 0]))
        lens_there, whole = found.within(shrink[0, 0]), np.linalg.inv(shrink) @ place
        each.append(Laid(
            place=whole, lens=lens_there, fit=fit, mirrored=is_mirrored(place, plan), plan=plan,
            pictured_px=(picture.width, picture.height), part=picture, part_place=whole, part_lens=lens_there,
            px_per_mm=_scale(plan, whole), pale=pale,
        ))  # fmt: skip
        if not fit.fault:
            break
    if len(each) == 1 or each[-1].fit.fault:
        return each[0]
    return each[-1] if either_tone or _colour_tells(each[-1]) else replace(each[0], negative=True)


def _colour_tells(laid: Laid) -> bool:
    """Whether land and cut differ in colour more than in how light they are, and hardly in that."""
    lab = cielab(np.asarray(laid.seen_at(_TILE_PX / _TILE_MM).image.convert("RGB"), dtype=np.float64))
    light, a, b = (_above_cut(np.asarray(its, dtype=np.float32), laid.plan) for its in np.moveaxis(lab, -1, 0))
    return abs(light) < min(_AS_LIGHT, float(np.hypot(a, b)))


def _through_lens(plan: Plan, seen: Seen, place: Matrix, lens: Lens) -> tuple[Fit, Matrix, Lens]:
    """How well the picture fits the plan, with the lens straightened that the offsets tell of, if they tell of one."""
    fit, seen_straight = judged(plan, seen, place), seen
    for _ in range(_LENS_ROUNDS):
        cells = fit.alike_there
        found = solved(fit.middle[cells], fit.move[cells], place, lens, plan.size_mm)
        if found is None:
            break
        straight = Seen(found[1].straightened(seen.steps[0]))
        nearer = refined(plan, straight, found[0])
        better = judged(plan, straight, nearer)
        if better.weight <= fit.weight and better.off_mm >= fit.off_mm:
            break
        change, fit, place, lens = abs(found[1].strength - lens.strength), better, nearer, found[1]
        seen_straight = straight
        if change < _SAME_LENS:
            break
    return *held_by_sides(plan, seen_straight, place, fit), lens


def read_laid(laid: Laid, options: ScanOptions) -> Artwork:
    """The shapes in a picture that lies on a plan, in print view, light and perspective taken out.

    Raises
    ------
    InputError
        If it shows no shape.
    """
    options = replace(options, deskew=False, corners=None, size_mm=None, view="print")
    if len(options.inks) == 1 and not options.coats:
        scale = min(laid.px_per_mm, _COLOUR_PX / max(laid.plan.size_mm))
        toned = _toned(laid.part.image, laid.seen_at(scale).image)  # one channel: a third of the time
        picture = laid.seen_at(laid.px_per_mm, part=replace(laid.part, image=toned))
        seen = np.asarray(picture.image, dtype=np.float32)
        either = laid.pale or _colour_tells(laid)
        tone = _parted(255 - seen if either and _above_cut(seen, laid.plan) > 0 else seen, laid.plan)
        picture = replace(picture, image=Image.fromarray(tone))
        options = replace(options, even=False, threshold=options.threshold or _PARTING / 255)
    else:
        picture = laid.picture
    return replace(read_straight(picture, laid.plan.size_mm, options), known_mm=SEEN_MM)


@dataclass(frozen=True, kw_only=True, eq=False)
class InkSeen:
    """One ink of a print, or a block alone, as a picture shows it; print view, mm."""

    land: BaseGeometry  #: where it lies
    hidden: BaseGeometry  #: where that can't be told: another ink hides it, the colour is unsure, something lies there

    def as_planned_where_hidden(self, planned: BaseGeometry) -> BaseGeometry:
        """The land, and where that can't be told what is planned there."""
        return geometry.union(geometry.difference(self.land, self.hidden), geometry.intersection(planned, self.hidden))


def read_block(laid: Laid) -> InkSeen:
    """What stands of a block that lies on its plan, and what something lies over, or glares."""
    return InkSeen(land=geometry.union(*read_laid(laid, ScanOptions()).layers.values()), hidden=covered(laid))


def read_inks(laid: Laid, coats: Mapping[str, Ink], paper: Rgb) -> dict[str, InkSeen]:
    """The inks of a print that lies on its plan, taken apart by their own model; `coats` in printing order."""
    said = ScanOptions(inks=tuple(coats), coats=tuple(coats.values()), paper=paper)
    layers = read_laid(laid, said).layers
    lands = [geometry.union(layers.get(name, geometry.empty())) for name in coats]
    unsure = geometry.union(layers.get(UNSURE, geometry.empty()))
    hiding, wide = hidden_by(said.coats, paper), [shapely.buffer(land, _BLURRED_MM) for land in lands]
    found = {}
    for k, (name, land) in enumerate(zip(coats, lands, strict=True)):
        # where an ink hides others these are what is unsure, not the ink itself
        doubt = geometry.difference(unsure, wide[k]) if any(k in by for by in hiding) else unsure
        found[name] = InkSeen(land=land, hidden=geometry.union(doubt, *(wide[other] for other in hiding[k])))
    return found


def shows_other_inks(laid: Laid) -> bool:
    """Whether much of a picture has a colour that is no blend of what the plan has as land and as cut."""
    wide, high = (max(round(side * _COLOURS_PX / max(laid.plan.size_mm)), 8) for side in laid.plan.size_mm)
    seen = laid.seen_at(2 * _COLOURS_PX / max(laid.plan.size_mm)).image.convert("RGB")
    seen = seen.resize((wide, high), Image.Resampling.BOX)
    drawn, aside = resized(laid.plan.tone, (wide, high)), _aside(seen, laid.plan)
    pure = (drawn < _PURE) | (drawn > 1 - _PURE)
    return bool(pure.any() and (aside[pure] > _OTHER_INK).mean() > _MUCH)


def covered(laid: Laid) -> BaseGeometry:
    """Where something else lies over the face, or glares; print view, mm.

    Its colour is no blend of land's and cut's; where that is much of the face and the drawing shows there, it is
    another ink. Or it is as grey as neither, where these differ much, and hides the drawing: in a shadow that shows.
    """
    size = laid.plan.size_mm
    scale = min(laid.px_per_mm, _COVER_PX_PER_MM)
    picture = laid.seen_at(scale)
    seen = _blots(laid.fit.locked, laid, scale, (picture.width, picture.height))
    aside, along, steps = _from_line(picture.image, laid.plan, blur_px=_COVER_BLUR_MM * scale, where=seen)
    least = max(round(_LEAST_COVER_MM * scale), 1)
    over = ndimage.binary_opening(aside > _COVERS, iterations=max(least // 2, 1))
    if over.any():
        over = ndimage.binary_propagation(over, mask=aside > _FADES)  # glare ends softly
    if over.mean() > _MOST_COVERED:
        over = _hiding(over, laid, scale)
    if abs(steps) > _CLEAR:
        grey = ndimage.binary_opening((along > _GREY[0]) & (along < _GREY[1]), iterations=max(least // 2, 1))
        over |= _hiding(grey, laid, scale, fewest=_BLIND)
    if not over.any():
        return geometry.union(geometry.empty())
    over = ndimage.binary_dilation(over, iterations=least)
    dark = replace(picture, image=Image.fromarray(np.where(over, np.uint8(0), np.uint8(255))), dpi=None)
    plain = ScanOptions(deskew=False, even=False, threshold=0.5)
    return geometry.union(*read_straight(dark, size, plain).layers.values())


def _blots(which: Mask, laid: Laid, scale: float, size: tuple[int, int]) -> Mask:
    """The pixels of some of a fit's cells."""
    found, half = np.zeros(size[::-1], dtype=bool), laid.fit.cell_mm / 2
    middle = laid.fit.middle[which]
    for left, top, right, bottom in np.round(np.hstack([middle - half, middle + half]) * scale).astype(int):
        found[top:bottom, left:right] = True
    return found


def _hiding(over: Mask, laid: Laid, scale: float, *, fewest: int = 0) -> Mask:
    """Of what may lie over the face the parts in which most cells, and no fewer than so many, show no drawing."""
    blobs, count = ndimage.label(over)
    wide = ndimage.maximum_filter(blobs, max(round(laid.fit.cell_mm * scale / 2), 1))  # a drawn line is no part of it
    x, y = np.clip((laid.fit.middle * scale).astype(int), 0, np.array(over.shape)[::-1] - 1).T
    within = wide[y, x]
    shown, blind = (np.bincount(within[its], minlength=count + 1) for its in (laid.fit.locked, ~laid.fit.locked))
    kept = (blind >= np.maximum(shown, fewest)) & (np.arange(count + 1) > 0)
    return np.asarray(kept[blobs])


def _aside(image: Image.Image, plan: Plan) -> NDArray[np.float64]:
    """How far each pixel's colour lies aside of the line from land's colour to cut's, in a* and b*; see below."""
    return _from_line(image, plan)[0]


def _from_line(
    image: Image.Image, plan: Plan, *, blur_px: float = 0.0, where: Mask | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """How far each pixel's colour lies aside of the line from land's colour to cut's, in a* and b*, and how far along.

    And how much lighter cut is, L*. Land's colour and cut's are those `where` the drawing shows, if it shows both. Not
    numbers if the plan has no land or no cut.
    """
    lab = cielab(np.asarray(image.convert("RGB"), dtype=np.float64))
    if blur_px:
        lab = ndimage.gaussian_filter(lab, (blur_px, blur_px, 0))
    drawn = resized(plan.tone, (image.width, image.height))
    on, off = drawn < _PURE, drawn > 1 - _PURE
    if where is not None and (on & where).any() and (off & where).any():
        on, off = on & where, off & where
    if not (on.any() and off.any()):
        return np.full(drawn.shape, np.nan), np.full(drawn.shape, np.nan), 0.0
    ink, paper = (np.median(lab[its], axis=0) for its in (on, off))
    way = paper - ink
    along = np.clip((lab - ink) @ way / max(float(way @ way), 1e-9), 0, 1)
    aside = np.linalg.norm((lab - ink - along[..., None] * way)[..., 1:], axis=-1)
    return np.asarray(aside), np.asarray(along), float(way[0])


def _above_cut(values: Tone, plan: Plan) -> float:
    """By how much a picture's values are higher on land than on the cuts beside it, in the mean of its tiles."""
    rows, columns = (max(round(side / _TILE_MM), 2) for side in plan.size_mm[::-1])
    small, drawn = (resized(its, (columns * _TILE_PX, rows * _TILE_PX)) for its in (values, plan.tone))
    on, known = _tiles(small, drawn < _PURE, (rows, columns))
    beside, some = _tiles(small, drawn > 1 - _PURE, (rows, columns))
    both = known & some
    return float((on - beside)[both].mean()) if both.any() else 0.0


def _parted(tone: Tone, plan: Plan) -> Bytes:
    """The picture over the tone midway between land and cut there, so that `_PARTING` parts them; 0…255.

    What land looks like is taken from where the plan has land, place by place, as a smooth surface: light falls off, a
    shadow lies over it, wet ink glares. What stands out from the surface is not followed: there it may be cut. The
    surface begins where the picture shows land and cut side by side: where a large area is all cut, or not cut at all,
    nothing tells the one from the other but the light around it.
    """
    high, wide = tone.shape
    rows, columns = (max(round(side / _TILE_MM), 2) for side in plan.size_mm[::-1])
    small = resized(tone, (columns * _TILE_PX, rows * _TILE_PX)) + 1
    drawn = resized(plan.tone, (columns * _TILE_PX, rows * _TILE_PX))
    land, cut = ndimage.maximum_filter(drawn, 3) < _PURE, ndimage.minimum_filter(drawn, 3) > 1 - _PURE
    ratio = float(np.median(small[cut]) / np.median(small[land])) if land.any() and cut.any() else 1.0
    if ratio <= _ALIKE:
        return np.asarray(np.clip(tone, 0, 255), dtype=np.uint8)
    near = _NEARNESS * np.log(ratio)
    on, known = _tiles(np.log(small), land, (rows, columns))
    beside, some = _tiles(np.log(small), cut, (rows, columns))
    steps = _spread(beside, some) - _spread(on, known)
    of_land = _surface(on, known, near, first=known & (steps > np.log(ratio) * _CUT[0]))
    rest = beside - of_land
    clear = some & (rest > np.log(ratio) * _CUT[0]) & (rest < np.log(ratio) * _CUT[1])
    of_cut = of_land + _surface(np.where(clear, rest, 0), clear, near)
    middle = (np.exp(of_land) + np.minimum(np.exp(of_cut), _WHITEST)) / 2 - 1
    level = np.asarray(Image.fromarray(middle.astype(np.float32)).resize((wide, high), Image.Resampling.BICUBIC))
    return np.asarray(np.clip(tone * (_PARTING / np.maximum(level, 1)), 0, 255), dtype=np.uint8)


def _tiles(values: Tone, mask: Mask, shape: tuple[int, int]) -> tuple[NDArray[np.float64], Mask]:
    """Means of what is in a mask in each tile, and in which tiles there is enough."""
    weight = mask.reshape(shape[0], _TILE_PX, shape[1], _TILE_PX).sum(axis=(1, 3))
    total = np.where(mask, values, 0).reshape(shape[0], _TILE_PX, shape[1], _TILE_PX).sum(axis=(1, 3))
    return total / np.maximum(weight, 1), weight >= _ENOUGH * _TILE_PX**2


def _spread(values: NDArray[np.float64], known: Mask) -> NDArray[np.float64]:
    """Means of what is known around each tile; not a number where nothing is."""
    share = ndimage.gaussian_filter(known.astype(float), _AROUND)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(share > 1e-3, ndimage.gaussian_filter(values * known, _AROUND) / share, np.nan))


def _surface(
    values: NDArray[np.float64], known: Mask, near: float, *, first: Mask | None = None
) -> NDArray[np.float64]:
    """A smooth surface through the tiles that are known: of second degree, then bent to those that lie near it.

    The former by the tiles of `first` alone, if these are enough.
    """
    if known.sum() < _ENOUGH_TILES:
        return np.full(values.shape, float(np.median(values[known])) if known.any() else 0.0)
    y, x = np.mgrid[-1 : 1 : values.shape[0] * 1j, -1 : 1 : values.shape[1] * 1j]
    basis = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    plain = first if first is not None and first.sum() >= _ENOUGH_TILES else known
    weight, stiff = plain.astype(float), np.diag([0.0, 0, 0, 1, 1, 1]) * _STIFF * plain.sum()
    for _ in range(12):
        normal = (basis[plain] * weight[plain][:, None]).T
        plane = basis @ np.linalg.solve(normal @ basis[plain] + stiff, normal @ values[plain])
        weight = plain / (1 + ((values - plane) / (near / 2)) ** 2)
    bent = plane
    for _ in range(_BENT):
        close = known & (np.abs(values - bent) < near)
        share = ndimage.gaussian_filter(close.astype(float), 1.5)
        bent = plane + ndimage.gaussian_filter(np.where(close, values - plane, 0), 1.5) / (share + 0.02)
    return np.asarray(bent)


def drawn_tone(image: Image.Image) -> Tone:
    """How light a picture is along the colour in which its drawing differs most from what is around; 0…255.

    Pale yellow hardly differs from paper in lightness: by the first principal component of what is left of the
    colours when their surroundings are taken away.
    """
    return np.asarray(_toned(image, image), dtype=np.float32)


def _toned(image: Image.Image, look: Image.Image, *, evenly: bool = False) -> Image.Image:
    """A picture in that one channel, by the colours of `look`: the picture or what counts of it, smaller perhaps.

    With `evenly` all that stands out counts alike: what is drawn all over, more than the sheet's edge on a dark table.
    """
    if image.mode == "L":
        return image
    step = max(1, max(look.size) // _COLOUR_PX)
    small = np.asarray(look.reduce(step), dtype=np.float32)
    rest = (small - ndimage.uniform_filter(small, (_NEAR_PX, _NEAR_PX, 0))).reshape(-1, 3)
    if evenly:
        far = np.linalg.norm(rest, axis=1, keepdims=True)
        rest = rest * np.minimum(1, _STANDS_OUT * np.median(far) / np.maximum(far, 1e-6))
    weight = np.linalg.eigh(np.cov(rest.T))[1][:, -1]
    weight = np.clip(weight * np.sign(weight.sum()), 0, None)
    if not weight.any():  # an even colour
        weight = np.ones(3)
    red, green, blue = (float(value) for value in weight / weight.sum())
    return image.convert("L", (red, green, blue, 0))


def _ranged(tone: Tone) -> Tone:
    low, high = np.quantile(tone[::4, ::4], _RANGE)
    return np.asarray(np.clip((tone - low) / max(high - low, 1.0), 0, 1), dtype=np.float32)


def _scale(plan: Plan, place: Matrix) -> float:
    """Pixels a millimetre of the picture seen straight on: as many as it has, and no more than are of use."""
    width, height = plan.size_mm
    return min(scale_of(place, (width / 2, height / 2)), MOST_PX_PER_MM, float(np.sqrt(_MOST_PIXELS / width / height)))


def _straight(picture: Picture, plan: Plan, place: Matrix, lens: Lens, scale: float) -> Picture:
    width, height = (max(round(side * scale), 8) for side in plan.size_mm)
    across, down = plan.size_mm
    finer = scale_of(place, (across / 2, down / 2)) / scale
    factor = max(1, int(finer))
    image = picture.image.reduce(factor) if factor > 1 else picture.image
    smaller = np.diag([image.width / picture.width, image.height / picture.height, 1.0])
    matrix = smaller @ place @ np.diag([across / width, down / height, 1.0])
    between = Image.Resampling.BILINEAR if finer > _FINER * factor else Image.Resampling.BICUBIC
    if lens.strength:
        tiles = _bent_tiles(matrix, lens.within(factor), (width, height))
        seen = image.transform((width, height), Image.Transform.MESH, tiles, between)
    else:
        coefficients = tuple((matrix / matrix[2, 2]).ravel()[:8])
        seen = image.transform((width, height), Image.Transform.PERSPECTIVE, coefficients, between)
    return replace(picture, image=seen, dpi=None)


def _bent_tiles(
    matrix: Matrix, lens: Lens, size: tuple[int, int]
) -> list[tuple[tuple[int, int, int, int], tuple[float, ...]]]:  # fmt: skip
    """Small rectangles of a picture, and where a lens shows the corners of each, for Pillow's mesh."""
    columns, rows = (np.unique(np.append(np.arange(0, side, _MESH_PX), side)) for side in size)
    x, y = np.meshgrid(columns, rows)
    there = np.column_stack([x.ravel(), y.ravel(), np.ones(x.size)]) @ matrix.T
    at = lens.bent(there[:, :2] / there[:, 2:]).reshape(*x.shape, 2)
    return [
        (
            (int(columns[i]), int(rows[j]), int(columns[i + 1]), int(rows[j + 1])),
            tuple(np.concatenate([at[j, i], at[j + 1, i], at[j + 1, i + 1], at[j, i + 1]]).tolist()),
        )
        for j in range(len(rows) - 1) for i in range(len(columns) - 1)
    ]  # fmt: skip
