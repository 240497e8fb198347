"""Files to artwork: what a file is, told by its first bytes, and the reader for it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from carvegen.artwork import bounds
from carvegen.artwork.drawing import Artwork, Wanted
from carvegen.errors import InputError
from carvegen.guess import meant_file
from carvegen.units import MM_PER

__all__ = ["file_and_layer", "is_picture", "is_there", "picture_bytes", "read"]

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
_DXF = re.compile(rb"\s*(999[ \t]*\r?\n[^\n]*\n\s*)*0[ \t]*\r?\n[ \t]*SECTION\b")
_ENDINGS = (".svg", ".dxf", ".png", ".jpg", ".jpeg", ".tif", ".tiff", ".webp")
_DXF_BINARY = b"AutoCAD Binary DXF"
_PICTURE = "a picture"
_MARKS = (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")


def read(
    path: Path, *, units: str | None = None, scale: float = 1.0, outlines: bool = False, without: Iterable[str] = (),
    beside: Iterable[str] = (), tolerance_mm: float = bounds.TOLERANCE_MM,
) -> Artwork:  # fmt: skip
    """The artwork in a file: closed, valid polygons at true size.

    Parameters
    ----------
    path
        An SVG or DXF file, or a picture made of dots, whose dark parts are traced; its content decides, not its name.
        ``FILE#LAYER`` picks one layer.
    units
        What a bare number in the file means: mm, cm, in or pt; by default what the file says.
    scale
        Enlarges everything, the page too, before curves are made straight pieces and points are put on the grid.
    outlines
        Whether a closed hairline without a fill stands for the shape that it encloses, as in a machine's file; in
        DXF every outline does.
    without
        Layers that are left out; names are compared by `plain_name`.
    beside
        Layers that are read along with the one that ``FILE#LAYER`` picks.
    tolerance_mm
        How far the straight pieces may lie from the curves that they stand for.

    Raises
    ------
    InputError
        If it is not there, is no drawing, is broken, or holds what can't be turned into shapes truly.
    """
    if units is not None and units not in MM_PER:
        raise InputError("is no unit", value=units, where="units", hint=f"known units: {', '.join(sorted(MM_PER))}")
    path, layer = file_and_layer(path)
    wanted = Wanted.of(outlines=outlines, without=without, asked=layer, beside=beside, tolerance_mm=tolerance_mm)
    try:
        return _read(path, units, scale, wanted)
    except InputError as error:
        raise error.within(str(path)) from None


def file_and_layer(path: Path) -> tuple[Path, str]:
    """What ``FILE#LAYER`` names; no layer if there is a file of the whole name, or nothing behind the #."""
    name, hash_, layer = str(path).rpartition("#")
    while hash_ and not is_there(path):
        if is_there(Path(name)) or "#" not in name:
            return Path(name), layer
        name, _, more = name.rpartition("#")
        layer = f"{more}#{layer}"
    return path, ""


def is_there(path: Path) -> bool:
    """Whether there is a file or folder of this name; a name that can't be one is not there."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


def _read(path: Path, units: str | None, scale: float, wanted: Wanted) -> Artwork:
    data = _bytes(path)
    kind = _kind(data)
    if kind == _PICTURE:
        from carvegen.artwork.scan.reader import as_artwork

        return as_artwork(data, scale)
    if kind == "SVG":
        from carvegen.artwork.svg import read_svg

        return _named(path, "SVG", read_svg(data, units=units, scale=scale, wanted=wanted))
    del data
    from carvegen.artwork.dxf import read_dxf

    return _named(path, "DXF", read_dxf(path, units=units, scale=scale, wanted=wanted))


def is_picture(path: Path) -> bool:
    """Whether a file is a picture made of dots, by its first bytes."""
    try:
        with path.open("rb") as file:
            return file.read(8).startswith(_PICTURES)
    except (OSError, ValueError):
        return False


def picture_bytes(path: Path) -> bytes:
    """The bytes of a picture made of dots.

    Raises
    ------
    InputError
        If it is not there, or is something else.
    """
    data = _bytes(path)
    if (kind := _kind(data)) != _PICTURE:
        raise InputError(f"is no picture but {kind}", hint="it needs no tracing: leave the options for scans out")
    return data


def _bytes(path: Path) -> bytes:
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
    most = bounds.MAX_BYTES[_kind(data)]
    if len(data) > most:
        raise _too_large(len(data), most)
    return data


def _kind(data: bytes) -> str:
    if not data.strip():
        raise InputError("is empty", hint="save the drawing again")
    if data.startswith(_DXF_BINARY) or _DXF.match(data[:4096].removeprefix(_MARKS[0])):
        return "DXF"
    for first, what, remedy in _OTHERS:
        if data.startswith(first):
            raise InputError(what, hint=remedy)
    if data.startswith(_PICTURES):
        return _PICTURE
    head = data[:4096]
    for mark in _MARKS:
        head = head.removeprefix(mark)
    if head.replace(b"\x00", b"").lstrip().startswith(b"<"):
        return "SVG"
    raise InputError(
        "is neither an SVG nor a DXF drawing, nor a picture", hint="save a drawing as SVG or DXF, a scan as PNG or TIFF"
    )


def _named(path: Path, kind: str, artwork: Artwork) -> Artwork:
    """Say so if the file's name promises something else."""
    if path.suffix.lower() == f".{kind.lower()}":
        return artwork
    note = f"the file is named {path.suffix or 'without an ending'} but holds {kind}; it is read as {kind}"
    return replace(artwork, notes=(note, *artwork.notes))


def _too_large(size: int, most: int) -> InputError:
    return InputError(
        f"may be at most {most // 1_000_000} MB", value=f"{size / 1e6:.0f} MB",
        hint="remove what is not needed, or split the drawing into several files",
    )  # fmt: skip
