"""What a print may begin with: the sample, a print file that lies there, a drawing, a scan; written into a folder."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import shapely

from carvegen import geometry
from carvegen.artwork import bounds
from carvegen.artwork.kinds import PICTURE, kind_of
from carvegen.base.errors import InputError
from carvegen.base.files import save_file
from carvegen.facts.profiles import KINDS
from carvegen.motifs import motif, summaries
from carvegen.page.packed import Group, packed, step_for
from carvegen.page.words import explained
from carvegen.prints.file.new_folder import FILES, sample, write_print

if TYPE_CHECKING:
    from carvegen.artwork import Artwork
    from carvegen.facts.profiles import Library

__all__ = ["Upload", "begun", "offers", "received", "thin_out", "understood"]

MOST_HELD = 600_000_000  #: bytes of what was handed in that are held at once
_ENDINGS = {"SVG": ".svg", "DXF": ".dxf", PICTURE: ".picture"}
_PRINTS = ("*.toml", "*/*.toml")  #: where print files are looked for
_PLAIN = re.compile("[^a-z0-9]+")


@dataclass(frozen=True, kw_only=True)
class Upload:
    """A file that the page has handed in, under a name of ours."""

    path: Path
    kind: str  #: "SVG", "DXF" or "a picture"


def offers(shelf: Library, folder: Path) -> dict[str, Any]:
    """All that may be chosen from, in words."""
    materials = [shelf.material(key) for key in shelf.keys("materials")]
    cutters = [shelf.cutter(key) for key in shelf.keys("cutters")]
    return {
        "samples": [{"key": "ferry landing", "about": "a ferry landing in winter: three blocks"}],
        "prints": [{"n": n, "name": str(path.relative_to(folder))} for n, path in enumerate(_prints(folder))],
        "materials": [
            {"key": its.key, "name": its.name, "words": explained(its.about)[0],
             "machines": [kind for kind in KINDS if its.permits[kind].verdict.value != "never"]} for its in materials
        ],
        "cutters": [
            {"key": its.key, "name": its.name, "words": explained(its.about)[0], "machines": list(its.machines)}
            for its in cutters
        ],
        "machines": list(KINDS),
        "motifs": [
            {"key": name, "words": about, "presets": list(motif(name).PRESETS)} for name, about in summaries().items()
        ],
    }  # fmt: skip


def _prints(folder: Path) -> list[Path]:
    """The print files in a folder and the folders in it."""
    found = sorted(path for pattern in _PRINTS for path in folder.glob(pattern))
    return [path for path in found if not path.name.startswith(".") and _is_print(path)][:200]


def _is_print(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return b"[print]" in file.read(20_000)
    except OSError:
        return False


def received(data: bytes, scratch: Path, number: int) -> Upload:
    """Keep what the page hands in, if it is a drawing or a picture and no larger than these may be.

    Raises
    ------
    InputError
        If it is something else, or too large.
    """
    kind = kind_of(data)
    if kind not in _ENDINGS:
        raise InputError("is no drawing and no picture", value=kind, hint="hand in an SVG, a DXF or a photograph")
    if len(data) > bounds.MAX_BYTES[kind]:
        raise InputError(f"must be no larger than {bounds.MAX_BYTES[kind] / 1e6:g} MB", hint="save it smaller")
    path = scratch / f"upload-{number}{_ENDINGS[kind]}"
    save_file(path, data)
    return Upload(path=path, kind=kind)


def thin_out(uploads: Sequence[Upload]) -> None:
    """Take the oldest of what was handed in off the disk where all together is too much; the last stays."""
    held = 0
    for its in reversed(uploads):
        if its.path.is_file():
            held += its.path.stat().st_size
            if held > MOST_HELD and its is not uploads[-1]:
                its.path.unlink()


def artwork_of(upload: Upload, said: Mapping[str, Any]) -> Artwork:
    """What is understood of a drawing, or of a picture with its corners and size."""
    from carvegen.artwork import read
    from carvegen.artwork.scan import read_scan

    try:
        if upload.kind != PICTURE:
            units = said.get("units")
            if not (units is None or isinstance(units, str)):
                raise InputError("must be a text", value=units, field="units")
            return read(upload.path, units=units)
        return read_scan(upload.path, _scan_options(said))
    except InputError as error:
        error.where = error.where.replace(str(upload.path), "what you handed in")
        raise


def _scan_options(said: Mapping[str, Any]) -> Any:  # noqa: ANN401
    from carvegen.artwork.scan import ScanOptions, corners_from, ink_names

    corners, given = said.get("corners"), dict[str, Any]()
    if isinstance(corners, list):
        given["corners"] = corners_from(" ".join(f"{_float(its, 'corners'):.2f}" for its in corners))
    if isinstance(said.get("size"), list):
        given["size_mm"] = tuple(_float(its, "size") for its in said["size"])
    if said.get("inks"):
        given["inks"] = ink_names(str(said["inks"]))
    plain = {"turn_deg": "tilt_deg", "dpi": "dpi", "width_mm": "width_mm"}
    given |= {name: _float(said[key], key) for key, name in plain.items() if said.get(key)}
    return ScanOptions(**given, light=said.get("light") is True, view=str(said.get("view", "print")))


def _float(value: object, field: str) -> float:
    try:
        number = float(value) if isinstance(value, (int, float, str)) else math.nan
    except (ValueError, OverflowError):
        number = math.nan
    if not math.isfinite(number):
        raise InputError("must be a number", value=value, field=field)
    return number


def understood(upload: Upload, said: Mapping[str, Any]) -> bytes:
    """The layers of what was handed in, packed as groups of the kind "layer"; with its size, notes and a guess."""
    from carvegen.writers.whole_print.new_print import guess

    art = artwork_of(upload, said)
    size = _size(art, said)
    shapes = {name: geometry.parts(its) for name, its in art.layers.items() if len(its)}
    groups, number = [], 0
    for name, its in shapes.items():
        groups.append(Group(kind="layer", name=name, blocks=(), ids=range(number, number + len(its)), shapes=its))
        number += len(its)
    told = {
        "size": list(size), "true_size": art.true_size, "notes": list(art.notes),
        "usual": guess(list(shapes)),
        "layers": [
            {"name": name, "shapes": len(its), "area_mm2": round(float(shapely.area(its).sum()), 1)}
            for name, its in shapes.items()
        ],
    }  # fmt: skip
    return packed(told, groups, step_for(size))


def _size(art: Artwork, said: Mapping[str, Any]) -> tuple[float, float]:
    from carvegen.writers.whole_print.new_print import face_of

    if isinstance(said.get("size"), list) and len(said["size"]) == 2:
        width, height = (_float(its, "size") for its in said["size"])
        if min(width, height) <= 0:
            raise InputError("must be more than 0", value=said["size"], field="size")
        return width, height
    return face_of([art])


def begun(said: Mapping[str, Any], uploads: Sequence[Upload], shelf: Library, folder: Path) -> Path:
    """The print file of a new print, or of one that lies there; whatever is written is written whole.

    Parameters
    ----------
    said
        What the page chose: `with` "sample", "print" (its number `n`), "drawing" or "scan" (its `upload`, `blocks`,
        `motifs`).
    folder
        In which the print gets a folder of its own.

    Raises
    ------
    InputError
        If something chosen can't be used; nothing is written then.
    """
    kind = said.get("with")
    if kind == "print":
        prints, n = _prints(folder), said.get("n")
        if not isinstance(n, int) or not 0 <= n < len(prints):
            raise InputError("must be one of the prints that lie here", value=n)
        return prints[n]
    if kind == "sample":
        return _written(_free(folder, "landing"), {name: sample(name) for name in FILES}, shelf)
    if kind in ("drawing", "scan"):
        number = said.get("upload")
        if not isinstance(number, int) or not 0 <= number < len(uploads):
            raise InputError("must be a file that was handed in", value=number)
        return _of_drawing(said, uploads[number], shelf, folder)
    raise InputError("must be sample, print, drawing or scan", value=kind)


def _of_drawing(said: Mapping[str, Any], upload: Upload, shelf: Library, folder: Path) -> Path:
    from carvegen.writers.whole_print.new_print import print_files

    art = artwork_of(upload, said)
    if not art.true_size:
        raise InputError("does not say how large it is", hint="say its size, or what its numbers mean")
    size = _size(art, said)
    name = str(said.get("name") or "print")[:80]
    blocks, motifs = _tables(said, "blocks"), _tables(said, "motifs")
    files = print_files(name, {"drawing.svg": art.layers}, size, blocks=blocks, motifs=motifs)
    stem = _PLAIN.sub("-", name.lower()).strip("-") or "print"
    return _written(_free(folder, stem), files, shelf)


def _tables(said: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
    found = said.get(key) or []
    if not isinstance(found, list) or len(found) > 50 or not all(isinstance(its, dict) for its in found):
        raise InputError("must be a list of objects", field=key)
    return found


def _free(folder: Path, stem: str) -> Path:
    names = (stem, *(f"{stem}-{k}" for k in range(2, 10_000)))
    return next(folder / name for name in names if not (folder / name).exists())


def _written(folder: Path, files: Mapping[str, bytes] | Mapping[str, str], shelf: Library) -> Path:
    write_print(folder, files, shelf)
    return folder / "print.toml"
