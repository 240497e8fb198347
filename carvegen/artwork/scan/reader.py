"""A scan to artwork: light, tone or inks, contours, size, in that order."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from PIL import ImageOps

from carvegen import geometry
from carvegen.artwork import bounds
from carvegen.artwork.drawing import Artwork, Notes
from carvegen.artwork.kinds import picture_bytes
from carvegen.artwork.outlines.clean import SLIVER_MM2
from carvegen.artwork.scan import frame as frames
from carvegen.artwork.scan.contours import corners, smoothing, straight
from carvegen.artwork.scan.description import ScanOptions
from carvegen.artwork.scan.pixels import opened
from carvegen.artwork.scan.planes import UNSURE, own_blur, traced_planes
from carvegen.base.errors import InputError
from carvegen.base.progress import part, reached

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from PIL import Image

    from carvegen.artwork.scan.frame import Frame
    from carvegen.artwork.scan.pixels import ScanPicture
    from carvegen.geometry import Floats, PolygonArray

__all__ = ["as_artwork", "read_scan", "read_straight", "seen_scan", "sized_mm"]

_TRACED_TIME, _SMOOTHED_TIME = 0.75, 0.9  #: shares of the time at which outlines are traced, and smooth; measured
_LEAST_BLUR_PX = 0.6  # the pixels' own grain
_MOST_BLUR_PX = 20.0
_UNSIZED_SPECK_PX = 3.0
_ASKEW_DEG = 0.02  # a smaller tilt is not worth a word
_ENOUGH_PX_PER_MM, _FINE_PX_PER_MM = 12.0, 8.0  #: 300 and 200 dots per inch; our own choice
_RIM_LOOK_PX, _RIM_PX = 200, 3  #: a straightened picture's side that is looked at, and how far from it the rim
_RIM_LIGHT = 0.8  #: of what is lightest, from which on a rim may be paper; our own choice
_RIM_EVEN = 0.85  #: of a rim's median, below which its darkest is no paper; our own choice
_OF_SHEET = (
    "bare paper lies along all four sides: if these corners are the sheet's and not the picture's, the size is wrong; "
    "mark the picture's own: corners in pixels, or lay it on its plan by the drawing itself"
)
_KNOWN_PIXELS = 2.0  #: a scan's outline lies within a pixel, and so does the face's edge in it; our own choice


def read_scan(path: Path, options: ScanOptions | None = None) -> Artwork:
    """The shapes in a scan or photograph: closed, valid polygons at true size in print view.

    Parameters
    ----------
    path
        A PNG, JPEG, TIFF, WebP, GIF or BMP file; its content decides, not its name.
    options
        How it is read.

    Returns
    -------
    Artwork
        A layer for each ink, dark to light; what was assumed or changed is in its notes.

    Raises
    ------
    InputError
        If it can't be read, says no size that can be true, or shows no shape.
    """
    return _read_whole(path, options or ScanOptions())[0]


def seen_scan(path: Path, options: ScanOptions) -> tuple[Artwork, Image.Image]:
    """What `read_scan` reads, and the picture it was read from, in print view; straight where its corners are said."""
    artwork, picture = _read_whole(path, options)
    return artwork, ImageOps.mirror(picture.image) if options.view == "block" else picture.image


def _read_whole(path: Path, options: ScanOptions) -> tuple[Artwork, ScanPicture]:
    try:
        picture, frame, notes = _opened(picture_bytes(path), options)
        artwork = _read(picture, frame, options, notes)
        if not artwork.true_size:
            raise _no_size(artwork)
    except InputError as error:
        raise error.within(str(path)) from None
    return artwork, picture


def sized_mm(path: Path) -> float:
    """How large a picture's pixel is by its file's resolution, if that can be true; else 0."""
    notes = Notes()
    frame = frames.framed(opened(picture_bytes(path), notes), ScanOptions(), notes)
    return 0.0 if frame is None else frame.pitch_mm


def as_artwork(data: bytes, scale: float) -> Artwork:
    """A picture read without a word about it: dark is shape, its size is what the file says, if it does."""
    options = ScanOptions()
    picture, frame, notes = _opened(data, options)
    artwork = _read(picture, frame, options, notes, scale=scale)
    return replace(artwork, layers={name: shapes for name, shapes in artwork.layers.items() if name != UNSURE})


def _no_size(artwork: Artwork) -> InputError:
    """What to say of a scan without a size."""
    why = next((note for note in artwork.notes if "not followed" in note), "")
    return InputError(
        f"does not say how large it is{f' ({why})' if why else ''}",
        hint="say it: {dpi} 300, {width_mm} 210mm, or two points of the picture that lie a known length apart: "
        '{points} "120 80 1301 80 = 100mm"',
        names=("dpi", "width_mm", "points"),
    )


def _opened(data: bytes, options: ScanOptions) -> tuple[ScanPicture, Frame | None, Notes]:
    """The picture straightened, how large it is, and what is noted.

    Of a face of a known size a photograph is decoded with as many pixels as that needs, if the face fills enough of it.
    """
    notes = Notes()
    if options.size_mm is not None:
        picture = opened(data, notes, enough_px=math.ceil(max(options.size_mm) * _ENOUGH_PX_PER_MM))
        straight_on, frame = _framed(picture, options, notes)
        if picture.smaller == 1 or (frame is not None and frame.pitch_mm * _FINE_PX_PER_MM < 1):
            return straight_on, frame, notes
        notes = Notes()
    return *_framed(opened(data, notes), options, notes), notes


def read_straight(picture: ScanPicture, size_mm: tuple[float, float], options: ScanOptions) -> Artwork:
    """The shapes in a picture that is seen straight on, in print view, of a known width and height.

    Raises
    ------
    InputError
        If it shows no shape.
    """
    return _read(
        picture, frames.plain(picture, size_mm[0] / picture.width, size_mm[1] / picture.height), options, Notes()
    )


def _read(
    picture: ScanPicture, frame: Frame | None, options: ScanOptions, notes: Notes, *, scale: float = 1.0
) -> Artwork:
    pitch = frame.pitch_mm if frame is not None and frame.true_size else 0.0
    blur = float(np.clip(options.smooth_mm / pitch if pitch else 0.0, _LEAST_BLUR_PX, _MOST_BLUR_PX))
    with part(0, _TRACED_TIME):
        layers, colours = traced_planes(picture, options, blur, pitch, notes)
    if frame is None and options.bar_mm:
        frame, layers = _by_bar(picture, layers, options, notes)
    if frame is not None:
        _check_size(frame)
    else:
        size = frames.UNSIZED_MM / max(picture.width, picture.height)
        frame = replace(frames.plain(picture, size, size), true_size=False)
    least = options.speck_mm / frame.pitch_mm if frame.true_size else _UNSIZED_SPECK_PX
    layers = {name: _without_specks(shapes, least, name, notes) for name, shapes in layers.items()}
    for nth, (name, shapes) in enumerate(layers.items()):
        layers[name] = smoothing.smoothed(shapes, blur_px=_all_blur(picture, shapes, options, blur))
        reached(_TRACED_TIME + (_SMOOTHED_TIME - _TRACED_TIME) * (nth + 1) / len(layers))
    frame = _enlarged(_upright(frame, layers, picture, options, notes), scale)
    return _artwork(layers, frame, options, notes, colours)


def _framed(picture: ScanPicture, options: ScanOptions, notes: Notes) -> tuple[ScanPicture, Frame | None]:
    """The picture without perspective, and how large it is."""
    if picture.smaller > 1 and len(options.inks) < 2 and not options.coats:
        grey = picture.image.convert("L")  # a third of the work; tones are rounded once less
        picture = replace(picture, image=grey, hues=picture.look)
    if options.corners is not None and options.size_mm is not None:
        straight_on = frames.rectified(picture, _corners(picture, options, notes), options.size_mm, notes)
        if options.corners == "auto" and options.view == "print" and _has_bare_rim(straight_on):
            notes.add(_OF_SHEET)
        width, height = options.size_mm
        return straight_on, frames.plain(straight_on, width / straight_on.width, height / straight_on.height)
    if options.bar_mm and options.points is None:
        return picture, None
    return picture, frames.framed(picture, options, notes)


def _corners(picture: ScanPicture, options: ScanOptions, notes: Notes) -> Floats:
    if options.corners is not None and not isinstance(options.corners, str):
        return frames.upright_corners(options.corners, picture) / picture.smaller
    from carvegen.artwork.scan import quad

    corners = quad.block_corners(picture)
    listed = " ".join(f"{value:.1f}" for value in corners.ravel() * picture.smaller)
    notes.add(f"the block's corners were found, in pixels, at {listed}")
    return corners


def _has_bare_rim(picture: ScanPicture) -> bool:
    """Whether all four sides of a straightened picture are as light as its paper and even, as a sheet's margins."""
    tone = np.asarray(picture.image.convert("L").resize((_RIM_LOOK_PX, _RIM_LOOK_PX)), dtype=np.float32)
    bare = _RIM_LIGHT * np.quantile(tone, 0.95)
    rims = (side[_RIM_PX] for side in (tone, tone[::-1], tone.T, tone.T[::-1]))
    return all(np.median(rim) > bare and np.quantile(rim, 0.03) > _RIM_EVEN * np.median(rim) for rim in rims)


def _by_bar(
    picture: ScanPicture, layers: dict[str, PolygonArray], options: ScanOptions, notes: Notes
) -> tuple[Frame, dict[str, PolygonArray]]:
    """Size by a printed bar, which is then left out; it is looked for in the darkest ink."""
    name = next(iter(layers))
    which, length = straight.bar(layers[name], options.bar_mm)
    scale = options.bar_mm / length
    notes.add(f"size by a printed bar of {options.bar_mm:g} mm, which is left out: {25.4 / scale:.1f} dots per inch")
    return frames.plain(picture, scale, scale), {**layers, name: np.delete(layers[name], which)}


def _without_specks(shapes: PolygonArray, least_px: float, name: str, notes: Notes) -> PolygonArray:
    """Without specks and pinholes; not too many."""
    kept = smoothing.without_specks(shapes, least_px**2)
    for count, what, done in ((kept.specks, "speck", "left out"), (kept.pinholes, "pinhole", "filled")):
        if count and name != UNSURE:
            notes.add(f"{count} {what}{'s' * (count > 1)} in {name}, too small to count: {done}")
    if len(kept.shapes) > bounds.MAX_SHAPES:
        raise InputError(
            f"breaks into more than {bounds.MAX_SHAPES} shapes",
            value=len(kept.shapes),
            hint="leave smaller ones out ({speck_mm} 0.5), or smooth it more ({smooth_mm} 0.2)",
            names=("speck_mm", "smooth_mm"),
        )
    return kept.shapes


def _all_blur(picture: ScanPicture, shapes: PolygonArray, options: ScanOptions, blur: float) -> float:
    """The blur of the picture's edges and what is added to it here; pixels."""
    return float(np.hypot(corners.edge_blur(picture.tone, shapes), own_blur(options, blur)))


def _upright(
    frame: Frame, layers: Mapping[str, PolygonArray], picture: ScanPicture, options: ScanOptions, notes: Notes
) -> Frame:
    if options.tilt_deg:
        return frames.turned(frame, options.tilt_deg)
    if options.corners is not None or not options.deskew:
        return frame
    tilt = straight.tilt_deg(geometry.stack(layers.values()), picture.width, picture.height)
    if tilt is None or abs(tilt) < _ASKEW_DEG:
        return frame
    notes.add(f"turned by {tilt:+.2f} degrees, so that its long straight edges stand upright")
    return frames.turned(frame, tilt)


def _check_size(frame: Frame) -> None:
    size = max(frame.width_mm, frame.height_mm)
    if size > bounds.MAX_MM:
        raise InputError(
            f"may be at most {bounds.MAX_MM:g} mm across",
            value=round(size, 1),
            hint="check what gives its size: {dpi}",
            names=("dpi",),
        )


def _enlarged(frame: Frame, scale: float) -> Frame:
    if scale == 1:
        return frame
    return replace(
        frame,
        matrix=np.diag([scale, scale, 1.0]) @ frame.matrix,
        width_mm=frame.width_mm * scale,
        height_mm=frame.height_mm * scale,
        pitch_mm=frame.pitch_mm * scale,
    )


def _artwork(
    layers: Mapping[str, PolygonArray], frame: Frame, options: ScanOptions, notes: Notes, colours: Mapping[str, str]
) -> Artwork:
    if options.view == "block":
        frame = frames.mirrored(frame)
        notes.add("it shows the block itself: here it is mirrored, as it prints")
    tolerance = min(options.tolerance_mm, frame.pitch_mm) if frame.true_size else frame.pitch_mm / 4
    cleaned = {name: _clean(frames.placed(shapes, frame), tolerance) for name, shapes in layers.items()}
    cleaned = {name: shapes for name, shapes in cleaned.items() if len(shapes)}
    if not cleaned:
        raise InputError(
            "shows no shape", hint="set another {threshold}, or a smaller {speck_mm}", names=("threshold", "speck_mm")
        )
    width, height = (frame.width_mm, frame.height_mm) if frame.true_size else (None, None)
    known = min(_KNOWN_PIXELS * frame.pitch_mm, bounds.MAX_KNOWN_MM) if frame.true_size else 0.0
    if options.corners is not None:
        known = max(known, bounds.SEEN_MM)
    return Artwork(
        cleaned, width, height, notes.lines(), true_size=frame.true_size, tolerance_mm=tolerance, known_mm=known,
        colours=colours,
    )  # fmt: skip


def _clean(shapes: PolygonArray, tolerance: float) -> PolygonArray:
    """Simplified, on the grid, valid, disjoint.

    Coordinates are rounded one by one, for overlaying a block with its thousands of holes takes minutes; the few
    shapes that this spoils are snapped as any others.
    """
    simple = geometry.parts(smoothing.simplified(shapes, tolerance))
    rounded = np.asarray(shapely.set_precision(simple, geometry.GRID_MM, mode="pointwise"), dtype=object)
    good = shapely.is_valid(rounded)
    snapped = geometry.snapped(geometry.parts(shapely.make_valid(simple[~good])))
    joined = geometry.joined(geometry.stack([geometry.parts(rounded[good]), snapped]))
    return np.asarray(joined[shapely.area(joined) >= SLIVER_MM2], dtype=object)
