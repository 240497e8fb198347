"""What a file is, told by its first bytes, and its bytes."""

from __future__ import annotations

import re
from pathlib import Path

from carvegen.artwork import bounds
from carvegen.base.errors import InputError
from carvegen.base.words import meant_file

__all__ = ["PICTURE", "drawing_bytes", "is_heic", "is_picture", "is_there", "kind_of", "picture_bytes"]

PICTURE = "a picture"  #: the kind of what is made of dots

#: First bytes of files that people hand in by mistake, and what to do with them.
_OTHERS = (
    (b"%PDF", "is a PDF", "save the drawing as SVG"),
    (b"%!PS", "is PostScript", "save the drawing as SVG"),
    (b"\x1f\x8b", "is compressed (SVGZ, perhaps)", "save the drawing as plain SVG"),
    (b"PK\x03\x04", "is a ZIP archive", "unpack it first"),
    (b"AC10", "is a DWG drawing", "save it as DXF"),
)  # fmt: skip
#: First bytes of pictures made of dots.
_PICTURES = (b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"II*\x00", b"MM\x00*", b"BM", b"RIFF")
_HEIC = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"mif1", b"msf1")  #: brands (from memory: ISO/IEC 23008-12)
_DXF = re.compile(rb"\s*(999[ \t]*\r?\n[^\n]*\n\s*)*0[ \t]*\r?\n[ \t]*SECTION\b")
_ENDINGS = (".svg", ".dxf", ".png", ".jpg", ".jpeg", ".tif", ".tiff", ".webp", ".heic")
_DXF_BINARY = b"AutoCAD Binary DXF"
_MARKS = (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")


def is_there(path: Path) -> bool:
    """Whether there is a file or folder of this name; a name that can't be one is not there."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


def is_picture(path: Path) -> bool:
    """Whether a file is a picture made of dots, by its first bytes."""
    try:
        with path.open("rb") as file:
            return _starts_like_picture(file.read(12))
    except (OSError, ValueError):
        return False


def is_heic(data: bytes) -> bool:
    """Whether it is a photograph as many phones save them, by its first bytes."""
    return data[4:8] == b"ftyp" and data[8:12] in _HEIC


def _starts_like_picture(data: bytes) -> bool:
    return data.startswith(_PICTURES) or is_heic(data)


def picture_bytes(path: Path) -> bytes:
    """The bytes of a picture made of dots.

    Raises
    ------
    InputError
        If it is not there, or is something else.
    """
    data = drawing_bytes(path)
    if (kind := kind_of(data)) != PICTURE:
        raise InputError(f"is no picture but {kind}", hint="it needs no tracing: leave the options for scans out")
    return data


def drawing_bytes(path: Path) -> bytes:
    """The bytes of a drawing or a picture.

    Raises
    ------
    InputError
        If it is not there, can't be opened, is too large, or is neither.
    """
    try:
        if not is_there(path):
            raise InputError("is not there", hint=meant_file(path, _ENDINGS))
        if not path.is_file():
            what = "a folder" if path.is_dir() else "no file"
            raise InputError(f"is {what}", hint="name an SVG or DXF file, or a scan")
        size = path.stat().st_size
        if size > max(bounds.MAX_BYTES.values()):
            raise _too_large(size, max(bounds.MAX_BYTES.values()))
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "its name is not one"
        raise InputError(f"can't be opened ({reason})", hint="check its name and permissions") from None
    most = bounds.MAX_BYTES[kind_of(data)]
    if len(data) > most:
        raise _too_large(len(data), most)
    return data


def kind_of(data: bytes) -> str:
    """Whether it is "SVG", "DXF" or `PICTURE`; `InputError` for anything else, with what to do about it."""
    if not data.strip():
        raise InputError("is empty", hint="save the drawing again")
    if data.startswith(_DXF_BINARY) or _DXF.match(data[:4096].removeprefix(_MARKS[0])):
        return "DXF"
    for first, what, remedy in _OTHERS:
        if data.startswith(first):
            raise InputError(what, hint=remedy)
    if _starts_like_picture(data):
        return PICTURE
    head = data[:4096]
    for mark in _MARKS:
        head = head.removeprefix(mark)
    if head.replace(b"\x00", b"").lstrip().startswith(b"<"):
        return "SVG"
    raise InputError(
        "is neither an SVG nor a DXF drawing, nor a picture", hint="save a drawing as SVG or DXF, a scan as PNG or TIFF"
    )


def _too_large(size: int, most: int) -> InputError:
    return InputError(
        f"may be at most {most // 1_000_000} MB", value=f"{size / 1e6:.0f} MB",
        hint="remove what is not needed, or split the drawing into several files",
    )  # fmt: skip
