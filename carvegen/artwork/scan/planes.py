"""The planes of a picture that are traced: its dark parts by tone, or one for each ink."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from carvegen.artwork.scan import light, paper, tone
from carvegen.artwork.scan.contours.tracing import traced
from carvegen.base.progress import reached

if TYPE_CHECKING:
    from collections.abc import Iterator

    from carvegen.artwork.drawing import Notes
    from carvegen.artwork.scan.description import ScanOptions
    from carvegen.artwork.scan.pixels import Bytes, ScanPicture
    from carvegen.geometry import Mask, PolygonArray

__all__ = ["UNSURE", "own_blur", "traced_planes"]

UNSURE = "FINDING"  #: layer of what is not sure; readers of drawings leave it out

_INK_BLUR_PX = 1.0  # labels have no tones between: their stairs are as long as a pixel
_LOCAL_MM = 8.0  # about how far dark and light are looked for around a place
_HARSH = 0.4  #: more unevenly lit than a lamp at a table's end makes it; our own choice
_PALE = 0.75  #: of the paper's tone, from which on an ink is as pale as a shadow; our own choice
_SOFT = 0.02  #: of a pale shape's outlines, that are no edges where it was evened out wrongly; our own choice
_EVEN_LIGHT = 1.03  # light that varies less is even
_THINLY = 1e-3  # share of the picture from which on ink that fades is told of
_PLANES_TIME = 0.7  #: share of the time, measured: inks are told apart, the rest is tracing
_AT_ONCE = 2  # planes at work side by side, for memory's sake
_NO_PAPER = (
    "no bare paper is seen for sure: what is light may be an ink that prints over all; if it is, give all inks with "
    "their colours; if it is the block itself, say so"
)


@dataclass(frozen=True, eq=False)
class _Plane:
    """One picture to be traced: a layer's name and the tone that parts it."""

    name: str
    tone: Bytes
    level: float
    light: bool
    blur_px: float
    colour: str = ""  #: of the ink, as it was measured


def traced_planes(
    picture: ScanPicture, options: ScanOptions, blur: float, pitch: float, notes: Notes
) -> tuple[dict[str, PolygonArray], dict[str, str]]:
    """The outlines of each layer by its name, in pixels; and the colours of inks that were told apart by them.

    Parameters
    ----------
    blur
        Standard deviation of the blur that takes the grain, in pixels.
    pitch
        Millimetres of a pixel; 0 if not known.
    """
    planes, outlines = [], {}
    for plane in _planes(picture, options, blur, pitch, notes):
        planes.append(plane)
        reached(_PLANES_TIME * (1 - 0.5 ** len(planes)))
    with ThreadPoolExecutor(_AT_ONCE) as pool:
        for nth, shapes in enumerate(pool.map(_traced, planes)):
            outlines[planes[nth].name] = shapes
            reached(_PLANES_TIME + (1 - _PLANES_TIME) * (nth + 1) / len(planes))
    return outlines, {plane.name: plane.colour for plane in planes if plane.colour}


def own_blur(options: ScanOptions, blur: float) -> float:
    """All blur that is added to a picture here, if its grain is taken with `blur`; pixels."""
    return float(np.hypot(blur, max(blur, _INK_BLUR_PX))) if len(options.inks) > 1 or options.coats else blur


def _traced(plane: _Plane) -> PolygonArray:
    return traced(plane.tone, plane.level, blur_px=plane.blur_px, light=plane.light)


def _planes(picture: ScanPicture, options: ScanOptions, blur: float, pitch: float, notes: Notes) -> Iterator[_Plane]:
    if options.coats:
        yield from _overprints(picture, options, blur, notes)
    elif len(options.inks) > 1:
        yield from _inks(picture, options, blur, notes)
    else:
        yield from _dark(picture, options, blur, pitch, notes)


def _dark(picture: ScanPicture, options: ScanOptions, blur: float, pitch: float, notes: Notes) -> Iterator[_Plane]:
    """Shapes by tone alone; without those where it glares, which is a plane of its own."""
    seen, unsure = picture.tone, None
    lit = light.paper_light(seen) if options.even else None
    if lit is not None and lit.max() > _EVEN_LIGHT * lit.min():
        rest = float(1 - lit.min() / lit.max())
        harsh = "; so much is glare or a shadow: look closely, or lay it on its plan" * (rest > _HARSH)
        notes.add(f"uneven light, by {rest:.0%}, is taken out{harsh}")
        if rest > _HARSH and not options.light:
            beside, tiles = light.beside_glare(seen)
            if beside is not None and tiles.any():
                lit, unsure = beside, _glaring(tiles, seen.shape, notes)
        seen = light.evened(seen, lit)
    if options.threshold:
        level = options.threshold * 255
    else:
        parting = tone.parting(tone.counted(seen))
        if lit is not None and lit.max() > _EVEN_LIGHT * lit.min() and parting.dark > _PALE * parting.light:
            seen, parting, running = _of_pale(picture.tone, seen, parting, notes)
            unsure = running if unsure is None or running is None else np.maximum(unsure, running)
        level = parting.level
        if options.local:
            seen = tone.centred(seen, parting, _LOCAL_MM / pitch if pitch else min(seen.shape) / 20)
            level = 128.0
        prints, bare = ("light", "dark") if options.light else ("dark", "light")
        notes.add(
            f"what is {prints} prints, what is {bare} is bare paper; they are told apart at {parting.level / 255:.0%} "
            f"of white{', place by place' if options.local else ''}"
        )
    if unsure is not None:
        seen = np.maximum(seen, unsure)
    lighter = seen > level
    if options.corners is not None and (over := _lying_over(picture, lighter, notes)) is not None:
        unsure = over if unsure is None else np.maximum(unsure, over)
        seen = np.maximum(seen, over)
    if not _shows_paper(picture, lighter, options):
        notes.add(_NO_PAPER)
        unsure = lighter.view(np.uint8) * np.uint8(255)
    if unsure is not None:
        yield _Plane(UNSURE, unsure, 127.5, light=True, blur_px=blur)
    yield _Plane(options.inks[0], seen, level, options.light, blur)


def _of_pale(seen: Bytes, even: Bytes, parting: tone.Parting, notes: Notes) -> tuple[Bytes, tone.Parting, Bytes | None]:
    """A pale shape's evened picture, what parts it there, and 255 where that is not sure; None if it is.

    Light that bends follows a pale shape that is wide and near the rim. Then plainer light, if by it shapes end at
    edges; else what runs out is not sure.
    """
    places, share = light.softly_parted(seen, even, parting.level, 1 - parting.dark / parting.light)
    if share <= _SOFT:
        notes.add(
            "so pale in uneven light a shape at the rim may be taken for shadow: look closely, or lay it on a plan"
        )
        return even, parting, None
    plain = light.paper_light(seen, bent=False)
    if plain is not None:
        plainer = light.evened(seen, plain)
        parts = tone.otsu(tone.counted(plainer))
        if light.softly_parted(seen, plainer, parts.level, 1 - parts.dark / parts.light)[1] <= _SOFT:
            notes.add("a pale shape that looked like a shadow ends at edges, as ink does, and is kept")
            return plainer, parts, None
    notes.add(
        f"not sure on {places.mean():.0%} of it: so pale, shapes can't be told from the light there: photograph it "
        "again in even light, or lay it on its plan"
    )
    return even, parting, _as_fine(places, seen)


def _shows_paper(picture: ScanPicture, bare: Mask, options: ScanOptions) -> bool:
    """Whether what is bare in a print may be paper, by its colour: grey pictures tell nothing, nor do blocks."""
    look = picture.look
    if look.mode == "L" or options.view != "print" or options.light:
        return True
    return paper.paper_seen(*_coarse(look, bare), creamy=True)


def _lying_over(picture: ScanPicture, bare: Mask, notes: Notes) -> Bytes | None:
    """255 where a face shows what is neither ink nor ground; None if it shows only these, as far as can be told."""
    look = picture.look
    over = None if look.mode == "L" else paper.neither(*_coarse(look, bare))
    if over is None:
        return None
    notes.add(
        f"not sure on {over.mean():.1%} of it: the colour there is neither ink nor what is bare: a hand or a glove, "
        "or one more ink; of a colour near to these it could not be told"
    )
    return _as_fine(over, picture.tone)


def _coarse(look: Image.Image, bare: Mask) -> tuple[tuple[Bytes, ...], Mask]:
    """Red, green and blue of a coarse picture, and what is bare in it."""
    there = Image.fromarray(bare).resize(look.size, Image.Resampling.NEAREST)
    return tuple(np.moveaxis(np.asarray(look), -1, 0)), np.asarray(there)


def _as_fine(mask: Mask, seen: Bytes) -> Bytes:
    """255 where a coarse mask is, else 0, with as many pixels as a picture."""
    coarse = Image.fromarray(mask.view(np.uint8) * np.uint8(255))
    return np.asarray(coarse.resize(seen.shape[::-1], Image.Resampling.NEAREST))


def _glaring(tiles: Mask, shape: tuple[int, ...], notes: Notes) -> Bytes:
    """255 where a picture glares, else 0."""
    notes.add(f"not sure on {tiles.mean():.0%} of it: it glares there, and nothing is read")
    notes.add(
        "corners that were found may be wrong, too: photograph it again, lit from the side, or lay it on its plan"
    )
    rows, columns = (light.spread(size, count) for size, count in zip(shape, tiles.shape, strict=True))
    across = tiles.astype(np.float32) @ columns.T
    return np.where(rows @ across > 1 / 2, np.uint8(255), np.uint8(0))


def _inks(picture: ScanPicture, options: ScanOptions, blur: float, notes: Notes) -> Iterator[_Plane]:
    """Shapes by the colours of the inks."""
    from scipy.ndimage import gaussian_filter

    from carvegen.artwork.scan import inks

    seen = np.empty((3, picture.height, picture.width), dtype=np.uint8)

    def smooth(channel: Bytes, out: Bytes) -> None:
        lit = light.paper_light(channel) if options.even else None
        even = light.evened(channel, lit) if lit is not None and lit.max() > _EVEN_LIGHT * lit.min() else channel
        gaussian_filter(even, blur, output=out)

    with ThreadPoolExecutor(_AT_ONCE) as pool:
        list(pool.map(smooth, picture.colour, seen))
    parted = inks.separated(seen, len(options.inks), reach=max(1, round(blur)))
    del seen
    bare = parted.labels == 0
    paper_seen = paper.paper_seen(picture.colour, bare)
    unsure = parted.unsure if paper_seen else parted.unsure | bare
    notes.add(
        "the lightest colour counts as bare paper, or as an ink that prints over all"
        if paper_seen
        else f"no bare paper is seen for sure: the lightest colour, on {bare.mean():.0%} of it, may be an ink that "
        "prints over all; if it is, give all inks with their colours"
    )
    notes.add("what a light ink prints under a darker one can't be seen")
    for k, name in enumerate(options.inks, start=1):
        plane = np.where(parted.labels == k, np.uint8(255), np.uint8(0))
        yield _Plane(name, plane, 127.5, light=True, blur_px=max(blur, _INK_BLUR_PX), colour=parted.colours[k])
    if parted.unsure.any():
        notes.add(
            f"not sure on {parted.unsure.mean():.1%} of it: the colour there is no ink's own; the ink that looks "
            "nearest is taken"
        )
    if unsure.any():
        plane = np.where(unsure, np.uint8(255), np.uint8(0))
        yield _Plane(UNSURE, plane, 127.5, light=True, blur_px=max(blur, _INK_BLUR_PX))


def _overprints(picture: ScanPicture, options: ScanOptions, blur: float, notes: Notes) -> Iterator[_Plane]:
    """Shapes of each ink by the inks' own model, under others too; and where that is not sure."""
    from scipy.ndimage import gaussian_filter

    from carvegen.artwork.scan import inks

    seen = np.stack([gaussian_filter(channel, blur) for channel in picture.colour])
    parted = inks.by_model(seen, options.coats, options.paper, reach=max(1, round(blur)))
    bare = f"bare paper is {parted.paper_share:.0%} of it" if parted.paper_share > 1e-3 else "no bare paper is seen"
    notes.add(f"inks are told apart by their own colours and overprints; {bare}")
    if parted.unsure.any():
        notes.add(
            f"not sure on {parted.unsure.mean():.1%} of it: an ink that hides, or one that is not named, lies there; "
            "what is under it is guessed"
        )
    for name, share in zip(options.inks, parted.thin_share, strict=True):
        if share > _THINLY:
            notes.add(
                f"{name} lies thinly or not at all on {share:.1%} of it: ink that fades out can't be told from bare "
                "paper there; if it is only the light, photograph it again in even light"
            )
    masks = [*zip(options.inks, parted.on, strict=True), *([(UNSURE, parted.unsure)] if parted.unsure.any() else [])]
    for name, mask in masks:
        yield _Plane(
            name, np.where(mask, np.uint8(255), np.uint8(0)), 127.5, light=True, blur_px=max(blur, _INK_BLUR_PX)
        )
