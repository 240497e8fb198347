"""What a print may begin with: the sample, a print file that lies there, a drawing, a scan; written into a folder."""

from __future__ import annotations

import base64
import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import shapely

from carvegen import geometry
from carvegen.artwork import bounds
from carvegen.artwork.kinds import PICTURE, kind_of
from carvegen.base.colour import alike, hex_of, rgb
from carvegen.base.errors import InputError
from carvegen.base.files import save_file
from carvegen.base.words import shortened
from carvegen.blocks.job import USUAL_MACHINES
from carvegen.facts.profiles import KINDS, Verdict
from carvegen.interfaces.page.packed import ShapeGroup, packed, step_for
from carvegen.interfaces.page.wording import explained, name_words, print_words, understood_lines, unsure_lines
from carvegen.motifs import motif, summaries
from carvegen.prints.file.new_folder import FILES, sample, write_print

if TYPE_CHECKING:
    from PIL import Image

    from carvegen.artwork import Artwork
    from carvegen.facts.profiles import Library, Material
    from carvegen.geometry import Floats, PolygonArray

__all__ = [
    "Upload",
    "begun",
    "finite",
    "first_look",
    "names_as_files",
    "offers",
    "received",
    "thin_out",
    "understood",
    "upload_of",
]

MOST_HELD = 600_000_000  #: bytes of what was handed in that are held at once
_ROUND_MM = 1.0  #: what is not sure and lies so near together, twice, is one place; our own choice
_ENDINGS = {"SVG": ".svg", "DXF": ".dxf", PICTURE: ".picture"}
#: What the page says of a block of a new print, beside whether it is cut.
_CHOSEN = ("role", "ink", "opacity", "layers", "material", "cutter", "for")
_MOST_LISTED = 50  #: blocks, motifs, names or colours in one request; nobody has more
_PRINTS = ("*.toml", "*/*.toml")  #: where print files are looked for


@dataclass(frozen=True, kw_only=True)
class Upload:
    """A file that the page has handed in, under a name of ours."""

    path: Path
    kind: str  #: "SVG", "DXF" or "a picture"


def offers(shelf: Library, folder: Path) -> dict[str, Any]:
    """All that may be chosen from, in words; `other_materials` are for no block that prints, as dies are.

    `folder` is where a new print gets a folder of its own.
    """
    materials = [shelf.material(key) for key in shelf.keys("materials")]
    cutters = [shelf.cutter(key) for key in shelf.keys("cutters")]
    return {
        "samples": [{"key": "ferry landing", "about": "a ferry landing in winter: three blocks"}],
        "folder": _short(folder), "prints": [_offered(path, folder) for path in _prints(folder)],
        "materials": [_material(one) for one in materials if one.serves == "block"],
        "other_materials": [_material(one) for one in materials if one.serves != "block"],
        "cutters": [
            {"key": cutter.key, "name": cutter.name, "words": explained(cutter.about)[0],
             "machines": list(cutter.machines)}
            for cutter in cutters
        ],
        "machines": list(KINDS),
        "usual_cutters": {
            kind: shelf.cutter(shelf.machine(key).usual_cutter).name for kind, key in USUAL_MACHINES.items()
        },
        "motifs": [
            {"key": name, "words": about, "presets": list(motif(name).PRESETS)} for name, about in summaries().items()
        ],
    }  # fmt: skip


def _material(material: Material) -> dict[str, Any]:
    """A material in words, and which machines may meet it."""
    never = {kind: permit.why for kind, permit in material.permits.items() if permit.verdict is Verdict.NEVER}
    return {
        "key": material.key, "name": material.name, "words": explained(material.about)[0],
        "machines": [kind for kind in KINDS if kind not in never], "never": never,
    }  # fmt: skip


def _prints(folder: Path) -> list[Path]:
    """The print files in a folder and the folders in it."""
    result = sorted(path for pattern in _PRINTS for path in folder.glob(pattern))
    return [path for path in result if not path.name.startswith(".") and _is_print(path)][:200]


def _name(path: Path, folder: Path) -> str:
    """What a print is called by: where it lies in the folder."""
    return path.relative_to(folder).as_posix()


def _short(folder: Path) -> str:
    """Where a folder lies, from the person's own folder on if it is in that."""
    folder, home = folder.resolve(), Path.home()
    return f"~/{folder.relative_to(home).as_posix()}" if home in folder.parents else str(folder)


def _offered(path: Path, folder: Path) -> dict[str, str]:
    """A print that can be opened: its file, and what it says of itself."""
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8-sig"))
        name, blocks = str(table["print"].get("name", "")), [str(block["name"]) for block in table.get("blocks", [])]
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):  # opening it says what is wrong
        name, blocks = "", []
    return {"file": _name(path, folder), "about": print_words(shortened(name), [*map(shortened, blocks)])}


def _is_print(path: Path) -> bool:
    try:
        if not path.is_file():  # a pipe is opened only once somebody writes into it
            return False
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


def upload_of(uploads: Sequence[Upload], number: object) -> Upload:
    """What was handed in under a number.

    Raises
    ------
    InputError
        If nothing was, or it is held no more.
    """
    if type(number) is not int or not 0 <= number < len(uploads):
        raise InputError("must be a file that was handed in", value=number, field="upload")
    if not uploads[number].path.is_file():
        raise InputError("was handed in too long ago, much has come since", hint="choose the file once more")
    return uploads[number]


def thin_out(uploads: Sequence[Upload]) -> None:
    """Take the oldest of what was handed in off the disk where all together is too much; the last stays."""
    held = 0
    for upload in reversed(uploads):
        if upload.path.is_file():
            held += upload.path.stat().st_size
            if held > MOST_HELD and upload is not uploads[-1]:
                upload.path.unlink()


@dataclass(frozen=True, kw_only=True, eq=False)
class _Unsure:
    """What is not sure of a picture, mm, print view."""

    shapes: PolygonArray
    picture: Image.Image  #: seen straight on

    def told(self, size: tuple[float, float], *, several: bool, picked: bool) -> dict[str, Any]:
        """How many places and how large, what to do, and the picture with these hatched and ringed."""
        from carvegen.writers.whole_print.ringed_png import unsure_png

        places = geometry.parts(geometry.union(shapely.buffer(self.shapes, _ROUND_MM)))
        area = float(shapely.area(self.shapes).sum())
        picture = base64.b64encode(unsure_png(self.picture, self.shapes, places, size)).decode()
        return {
            "places": len(places), "area_mm2": round(area, 1),
            "lines": unsure_lines(len(places), area, several=several, picked=picked),
            "picture": f"data:image/png;base64,{picture}",
        }  # fmt: skip


def artwork_of(upload: Upload, body: Mapping[str, Any]) -> Artwork:
    """What is understood of a drawing, or of a picture with its corners and size; each layer has a name."""
    return _seen(upload, body)[0]


def _seen(upload: Upload, body: Mapping[str, Any]) -> tuple[Artwork, _Unsure | None]:
    """`artwork_of`, and what of a picture is not sure, if anything is."""
    from carvegen.artwork import read
    from carvegen.artwork.scan.planes import UNSURE
    from carvegen.artwork.scan.reader import seen_scan
    from carvegen.writers.whole_print.new_print import begun_with

    try:
        if upload.kind != PICTURE:
            units = body.get("units")
            if not (units is None or isinstance(units, str)):
                raise InputError("must be a text", value=units, field="units")
            return begun_with(read(upload.path, units=units, by_colour=True), "drawing"), None
        options = _scan_options(body)
        scan, picture = seen_scan(upload.path, options)
        unsure = scan.layers.get(UNSURE)
        inks = [(name, shapes) for name, shapes in scan.layers.items() if name != UNSURE]
        if not options.coats:
            inks.reverse()  # they are told from dark to light
        picked = {name: hex_of(ink.colour) for name, ink in zip(options.inks, options.coats, strict=False)}
        scan = replace(scan, layers=dict(inks), colours={**scan.colours, **picked})
        return scan, None if unsure is None else _Unsure(shapes=unsure, picture=picture)
    except InputError as error:
        error.where = error.where.replace(str(upload.path), "what you handed in")
        raise


def first_look(upload: Upload) -> dict[str, Any]:
    """What is suggested of a picture before it is read.

    Returns
    -------
    dict
        `corners`: where those of a photographed block seem to lie, clockwise from the upper left, as parts of the
        picture's width and height from its upper left corner, (4, 2); None if they don't show. `size`: how large the
        whole picture is by its file's resolution, mm; None if that says nothing that can be true. `colours`: what
        may be its inks, the one that is told easiest first.
    """
    from carvegen.artwork.drawing import Notes
    from carvegen.artwork.kinds import picture_bytes
    from carvegen.artwork.scan import ScanOptions
    from carvegen.artwork.scan.frame import framed
    from carvegen.artwork.scan.inks import colours_in
    from carvegen.artwork.scan.pixels import opened
    from carvegen.artwork.scan.quad import block_corners

    if upload.kind != PICTURE:
        return {"corners": None, "size": None, "colours": []}
    picture = opened(picture_bytes(upload.path), Notes())
    frame = framed(picture, ScanOptions(), Notes())
    size = frame and [round(frame.width_mm, 1), round(frame.height_mm, 1)]
    try:
        found: Floats | None = block_corners(picture)
    except InputError:  # she lays them by hand
        found = None
    parts = [] if found is None else [[round(x / picture.width, 5), round(y / picture.height, 5)] for x, y in found]
    return {"corners": parts or None, "size": size, "colours": colours_in(picture.image, found)}


def _scan_options(body: Mapping[str, Any]) -> Any:  # noqa: ANN401
    from carvegen.artwork.scan import ScanOptions, corners_from, ink_names, inks_of

    corners, options = body.get("corners"), dict[str, Any]()
    if isinstance(corners, list):
        options["corners"] = corners_from(" ".join(f"{finite(corner, 'corners'):.2f}" for corner in corners))
    if isinstance(body.get("size"), list):
        options["size_mm"] = tuple(finite(side, "size") for side in body["size"])
    if body.get("picked"):
        options |= inks_of(", ".join(f"INK {k}={colour}" for k, colour in enumerate(_picked(body["picked"]), start=1)))
    elif body.get("inks"):
        options["inks"] = ink_names(str(body["inks"]))
        # a pale sky in a corner, no paper round it, would be evened to paper
        options["even"] = len(options["inks"]) < 2
    plain = {"turn_deg": "tilt_deg", "dpi": "dpi", "width_mm": "width_mm"}
    options |= {name: finite(body[key], key) for key, name in plain.items() if body.get(key)}
    return ScanOptions(**options, light=body.get("light") is True, view=str(body.get("view", "print")))


def _picked(colours: Any) -> list[str]:  # noqa: ANN401
    """Colours of inks that were picked by hand, in the order in which they print."""
    if not _are(colours, str):
        raise InputError("must be a list of colours", value=colours, field="picked")
    picked = [hex_of(rgb(colour)) for colour in colours]
    if len(set(alike(picked).values())) < len(picked):
        raise InputError("two of the inks' colours hardly differ", value=", ".join(picked), field="picked",
                         hint="pick each ink where it lies alone on the paper, or count fewer inks")  # fmt: skip
    return picked


def finite(value: object, field: str) -> float:
    """A number that a request's body holds; `InputError` if it is none, or beyond all numbers."""
    try:
        number = float(value) if isinstance(value, (int, float, str)) else math.nan
    except (ValueError, OverflowError):
        number = math.nan
    if not math.isfinite(number):
        raise InputError("must be a number", value=value, field=field)
    return number


def understood(upload: Upload, body: Mapping[str, Any]) -> bytes:
    """The layers of what was handed in, packed as groups of the kind "layer"; with its size, notes and a guess."""
    from carvegen.writers.whole_print.new_print import guess

    artwork, unsure = _seen(upload, body)
    size = _size(artwork, body)
    layers = {name: geometry.parts(layer) for name, layer in artwork.layers.items() if len(layer)}
    groups, number = [], 0
    for name, shapes in layers.items():
        groups.append(
            ShapeGroup(kind="layer", name=name, blocks=(), ids=range(number, number + len(shapes)), shapes=shapes)
        )
        number += len(shapes)
    told_apart = upload.kind == PICTURE and len(layers) > 1  # a finished print: no block is added to those it has
    usual = guess(layers, size, artwork.colours, sky=not told_apart)
    description = {
        "size": list(size), "true_size": artwork.true_size,
        "lines": understood_lines(artwork.notes, why=usual["why"], several=told_apart),
        "usual": usual,
        "layers": [
            {"name": name, "shapes": len(shapes), "area_mm2": round(float(shapely.area(shapes).sum()), 1)}
            for name, shapes in layers.items()
        ],
        "unsure": unsure and unsure.told(size, several=len(layers) > 1, picked=bool(body.get("picked"))),
    }  # fmt: skip
    return packed(description, groups, step_for(size))


def _size(artwork: Artwork, body: Mapping[str, Any]) -> tuple[float, float]:
    from carvegen.writers.whole_print.new_print import face_of

    if isinstance(body.get("size"), list) and len(body["size"]) == 2:
        width, height = (finite(side, "size") for side in body["size"])
        if min(width, height) <= 0:
            raise InputError("must be more than 0", value=body["size"], field="size")
        return width, height
    return face_of([artwork])


def begun(body: Mapping[str, Any], uploads: Sequence[Upload], shelf: Library, folder: Path) -> Path:
    """The print file of a new print, or of one that lies there; whatever is written is written whole.

    Parameters
    ----------
    body
        What the page chose: `with` "sample", "print" (its name `print`), "drawing" or "scan" (its `upload`, `blocks`,
        `motifs`).
    folder
        In which the print gets a folder of its own.

    Raises
    ------
    InputError
        If something chosen can't be used; nothing is written then.
    """
    kind = body.get("with")
    if kind == "print":
        for path in _prints(folder):
            if _name(path, folder) == body.get("print"):
                return path
        raise InputError("must be one of the prints that lie here", value=body.get("print"), field="print")
    if kind == "sample":
        return _written(_free(folder, "landing"), {name: sample(name) for name in FILES}, shelf)
    if kind in ("drawing", "scan"):
        return _of_drawing(body, upload_of(uploads, body.get("upload")), shelf, folder)
    raise InputError("must be sample, print, drawing or scan", value=kind)


def _of_drawing(body: Mapping[str, Any], upload: Upload, shelf: Library, folder: Path) -> Path:
    from carvegen.writers.whole_print.new_print import plain_file_name, print_files

    artwork = artwork_of(upload, body)
    if not artwork.true_size:
        raise InputError("does not say how large it is", hint="say its size, or what its numbers mean")
    size = _size(artwork, body)
    name = str(body.get("name") or "print")[:80]
    blocks = [_block(table) for table in _tables(body, "blocks")]
    motifs = _tables(body, "motifs")
    drawings, known = {"drawing.svg": artwork.layers}, artwork.known_mm
    files = print_files(name, drawings, size, blocks=blocks, motifs=motifs, known_mm=known)
    return _written(_free(folder, plain_file_name(name, "print")), files, shelf)


def _block(table: Mapping[str, Any]) -> dict[str, Any]:
    """A block as the page chose it; its name is one that a file may have, and no file is named by the page."""
    from carvegen.writers.whole_print.cut_already import as_cut
    from carvegen.writers.whole_print.new_print import plain_file_name

    block = {key: table[key] for key in _CHOSEN if key in table}
    block["name"] = plain_file_name(str(table.get("name")), "")
    return as_cut(block) if table.get("cut") is True else block


def _are(values: object, kind: type) -> bool:
    """Whether a request's body holds a list, not too long, of values of one kind."""
    return isinstance(values, list) and len(values) <= _MOST_LISTED and all(isinstance(value, kind) for value in values)


def names_as_files(names: Any) -> list[dict[str, str]]:  # noqa: ANN401
    """What blocks of these names are called in the files, and why one can't be; "" where it can."""
    from carvegen.prints.file.print_file import block_name_fault
    from carvegen.writers.whole_print.new_print import plain_file_name

    if not _are(names, str):
        raise InputError("must be a list of names", field="names")
    plain = [plain_file_name(name, "") for name in names]
    return [
        {"plain": name, "fault": name_words(block_name_fault(name, plain[:k])) if name else name_words("is empty")}
        for k, name in enumerate(plain)
    ]


def _tables(body: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
    tables: list[Mapping[str, Any]] = body.get(key) or []
    if not _are(tables, dict):
        raise InputError("must be a list of objects", field=key)
    return tables


def _free(folder: Path, stem: str) -> Path:
    names = (stem, *(f"{stem}-{k}" for k in range(2, 10_000)))
    return next(folder / name for name in names if not (folder / name).exists())


def _written(folder: Path, files: Mapping[str, bytes] | Mapping[str, str], shelf: Library) -> Path:
    from carvegen.writers.whole_print.cut_already import cut_lands

    write_print(folder, files, shelf, also=cut_lands)
    return folder / "print.toml"
