"""Picture files to pixels: upright, on white, eight bits a channel, and the resolution that the file says."""

from __future__ import annotations

import io
import math
import warnings
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeAlias, cast

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from carvegen.artwork.kinds import is_heic
from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from carvegen.artwork.drawing import Notes

__all__ = ["MAX_PIXELS", "Bytes", "ScanPicture", "opened"]

Bytes: TypeAlias = NDArray[np.uint8]

MAX_PIXELS = 120_000_000  #: our own choice: an A3 sheet at 700 dots per inch, and what a small machine can hold
_FORMATS = ("PNG", "JPEG", "TIFF", "WEBP", "GIF", "BMP", "HEIF")  # JPEG opens MPO, too
_SMALLEST = 8
_LOOK_PX = 250  #: longer side, or up to twice that, of a picture that is looked at for its colours
_ORIENTATION = 0x0112
_UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}


@dataclass(frozen=True, eq=False)
class ScanPicture:
    """An upright picture of one channel (L) or three (RGB)."""

    image: Image.Image
    dpi: tuple[float, float] | None  #: dots per inch across and down, if the file says; of the pixels here
    smaller: float = 1.0  #: how many times fewer pixels it has across than its file
    hues: Image.Image | None = None  #: the same small and in colour, where the image was made grey

    @property
    def width(self) -> int:
        """In pixels."""
        return self.image.width

    @property
    def height(self) -> int:
        """In pixels."""
        return self.image.height

    @property
    def file_px(self) -> tuple[int, int]:
        """Width and height of the picture in the file, in pixels."""
        return round(self.width * self.smaller), round(self.height * self.smaller)

    @cached_property
    def tone(self) -> Bytes:
        """How light each pixel is, 0 black to 255 white; (height, width)."""
        return np.asarray(self.image if self.image.mode == "L" else self.image.convert("L"))

    @property
    def look(self) -> Image.Image:
        """The same with fewer pixels, in colour if it has any."""
        return self.hues or self.image.reduce(max(1, max(self.image.size) // _LOOK_PX))

    @property
    def colour(self) -> tuple[Bytes, ...]:
        """Red, green and blue; (height, width) each."""
        return tuple(np.asarray(channel) for channel in self.image.convert("RGB").split())


def opened(data: bytes, notes: Notes, *, enough_px: int = 0) -> ScanPicture:
    """The first page of a picture file.

    Parameters
    ----------
    enough_px
        If the longer side has at least twice as many pixels, it is made a whole number of times smaller, but not below
        that: a JPEG two, four or eight times while it is decoded, as its transform allows; 0: as it is.

    Raises
    ------
    InputError
        If it is broken, cut short, or larger than `MAX_PIXELS`.
    """
    kind = "dots"
    if is_heic(data):
        _read_heic_too()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # its size is checked here; other complaints don't change the pixels
            image = Image.open(io.BytesIO(data), formats=_FORMATS)
            kind = str(image.format)
            _check_size(image)
            smaller = _drafted(image, enough_px) if enough_px else 1.0
            frames = int(getattr(image, "n_frames", 1)) if kind != "MPO" else 1
            image.load()
            return _reduced(_prepared(image, frames, notes, smaller), enough_px)
    except InputError:
        raise
    except Image.DecompressionBombError:
        raise _too_large("more than twice as much") from None
    except MemoryError:
        raise InputError("needs more memory than this machine has", hint="save it at a lower resolution") from None
    except Exception as error:  # a decoder of foreign bytes raises whatever comes to its mind
        short = "truncated" in str(error).lower() or isinstance(error, EOFError)
        what = "cut short" if short else "broken"
        raise InputError(
            f"can't be read: it is a picture made of dots ({kind}), but {what}"
            if kind != "dots"
            else "can't be read: it starts like a picture made of dots, but is broken",
            hint="save or scan it again",
        ) from None


def _read_heic_too() -> None:
    """Have Pillow read HEIC; the package that does is an extra, for it brings coders under licences of their own."""
    try:
        from pillow_heif import register_heif_opener
    except ImportError:
        raise InputError(
            "is a HEIC photograph, which needs one more package",
            hint='install it: pip install "carvegen[heic]"; or have the phone save or send it as JPEG',
        ) from None
    register_heif_opener()


def _drafted(image: Image.Image, enough_px: int) -> float:
    """Have the decoder make a smaller picture; how many times fewer pixels across that has."""
    before = max(image.size)
    if image.format in ("JPEG", "MPO"):
        share = enough_px / before
        image.draft(None, (math.ceil(image.width * share), math.ceil(image.height * share)))
    return before / max(image.size)


def _reduced(picture: ScanPicture, enough_px: int) -> ScanPicture:
    times = max(picture.image.size) // enough_px if enough_px else 1
    if times < 2:
        return picture
    dpi = picture.dpi and (picture.dpi[0] / times, picture.dpi[1] / times)
    return ScanPicture(picture.image.reduce(times), dpi, picture.smaller * times)


def _check_size(image: Image.Image) -> None:
    if image.width * image.height > MAX_PIXELS:
        raise _too_large(f"{image.width} x {image.height}")
    if min(image.size) < _SMALLEST:
        raise InputError(
            f"must be at least {_SMALLEST} pixels wide and high",
            value=f"{image.width} x {image.height}",
            hint="scan it at 300 dots per inch or more",
        )


def _too_large(value: str) -> InputError:
    return InputError(
        f"may hold at most {MAX_PIXELS // 1_000_000} million pixels",
        value=value,
        hint="save it at a lower resolution: 300 to 600 dots per inch are enough",
    )


def _prepared(image: Image.Image, frames: int, notes: Notes, smaller: float) -> ScanPicture:
    if frames > 1:
        notes.add(f"the file holds {frames} pictures; the first is read")
    dpi = _resolution(image)
    turn = _UPRIGHT.get(_orientation(image))
    flat = _plain(image, notes)
    if turn is not None:
        flat = flat.transpose(turn)
        dpi = dpi[::-1] if dpi and turn >= Image.Transpose.ROTATE_90 and turn != Image.Transpose.ROTATE_180 else dpi
        notes.add("the camera's note on which side is up is followed")
    return ScanPicture(flat, dpi and (dpi[0] / smaller, dpi[1] / smaller), smaller)


def _orientation(image: Image.Image) -> int:
    try:
        return int(image.getexif().get(_ORIENTATION, 1))
    except Exception:  # broken notes of a camera are no reason to refuse its picture
        return 1


def _resolution(image: Image.Image) -> tuple[float, float] | None:
    """What the file says: from the format's own field, or else from a camera's notes."""
    try:
        dots = image.info.get("dpi") or _from_exif(image)
        across, down = (float(value) for value in dots)
    except Exception:  # nonsense is as good as nothing
        return None
    return (across, down) if 0 < across < 1e7 and 0 < down < 1e7 else None


def _from_exif(image: Image.Image) -> tuple[float, float]:
    exif = image.getexif()
    per_inch = {2: 1.0, 3: 2.54}[exif.get(0x0128, 2)]
    return float(exif[0x011A]) * per_inch, float(exif[0x011B]) * per_inch


def _plain(image: Image.Image, notes: Notes) -> Image.Image:
    """As L or RGB, what is see-through laid on white."""
    if image.mode in ("L", "RGB"):
        return image
    if image.mode == "1":
        return image.convert("L")
    if image.mode.startswith(("I", "F")):
        notes.add("its deep tones are read as 256 steps")
        return Image.fromarray(_eight_bits(np.asarray(image)))
    if image.mode in ("RGBA", "LA", "PA", "La", "RGBa") or "transparency" in image.info:
        return _on_white(image.convert("RGBA"), notes)
    if image.mode == "LAB":
        notes.add("of its Lab colours only the lightness is read")
        return image.getchannel(0)
    if image.mode == "CMYK":
        notes.add("its CMYK colours are read as red, green and blue, without a colour profile")
    return image.convert("RGB")


def _on_white(image: Image.Image, notes: Notes) -> Image.Image:
    if cast("Any", image.getextrema())[3][0] < 255:
        notes.add("what is see-through is laid on white")
    ground = Image.new("RGBA", image.size, "white")
    ground.alpha_composite(image)
    return ground.convert("RGB")


def _eight_bits(values: NDArray[Any]) -> Bytes:
    """Deep tones as 0…255: 16 bits by their range, others by the range that they use."""
    if values.dtype == np.uint16:
        return np.asarray((values + np.uint16(128) * (values < 65407)) // 257, dtype=np.uint8)
    finite = np.nan_to_num(values.astype(np.float32), nan=0.0, posinf=0.0, neginf=0.0)
    top = float(finite.max(initial=0.0))
    full = next((full for full in (1.0, 255.0, 65535.0) if top <= full), top)
    return np.asarray(np.clip(finite * np.float32(255 / full) + 0.5, 0, 255), dtype=np.uint8)
