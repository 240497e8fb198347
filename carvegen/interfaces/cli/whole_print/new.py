"""``carvegen new``: a print file to start from, with a drawing to build it from: the sample's, or her own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from carvegen.base.errors import InputError
from carvegen.interfaces.cli import options
from carvegen.interfaces.cli.options.option_values import BLOCK_SIZE

if TYPE_CHECKING:
    from carvegen.artwork import Artwork
    from carvegen.geometry import PolygonArray

__all__ = ["command"]


@dataclass(frozen=True, kw_only=True)
class _Own:
    """Drawings of hers, and what they don't say of themselves."""

    drawings: Sequence[Path]
    size_mm: tuple[float, float] | None
    units: str | None
    cut: bool  #: whether the blocks that it shows are cut already
    corners: Any  #: of a photograph's block, in its pixels, or "auto"


@click.command(name="new")
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.option(
    "--drawing",
    "drawings",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Begin with this drawing (SVG, DXF, a photograph) in place of the sample's; may be given more than once.",
)
@click.option(
    "--size",
    "size_mm",
    type=BLOCK_SIZE,
    help="Width x height of the face, such as 200x150 or 8x6in.  [default: the drawing's page, or its shapes]",
)
@options.units
@options.corners
@click.option("--cut", is_flag=True, help="The blocks that the drawings show are cut already: only snow is still cut.")
@click.option("--schema", is_flag=True, help="Write only the JSON schema of print files, for editors, to the output.")
@click.option("--keys", is_flag=True, help="Write only the list of all that a print file may hold, to the output.")
def command(folder: Path | None, drawings: tuple[Path, ...], *, schema: bool, keys: bool, **says: Any) -> None:  # noqa: ANN401
    """Put a new print into a folder: a print file with comments, its drawing, and the schema for editors.

    Without --drawing it is the sample. With it, blocks and snow are guessed from the layers that are found, and
    comments say what to change.

    \b
    carvegen new landing
    carvegen new mine --drawing mine.svg
    carvegen build mine/print.toml --out mine/built
    """
    from carvegen.prints.file import schema as of_files

    if keys:
        click.echo(of_files.reference(), nl=False)
        return
    if schema:
        click.echo(of_files.schema_text(), nl=False)
        return
    if folder is None:
        raise InputError("names no folder", where="FOLDER", hint="carvegen new landing, or carvegen new --schema")
    if drawings:
        _write(folder, *_of_drawings(folder, _Own(drawings=drawings, **says)))
        return
    if any(says.values()):
        raise InputError(
            "says of a drawing, but none is named", where="--size, --units, --corners, --cut", hint="--drawing FILE"
        )
    from carvegen.prints.file.new_folder import FILES, sample

    _write(folder, {name: sample(name) for name in FILES}, "landing-in-colours.svg")


def _write(folder: Path, files: dict[str, bytes] | dict[str, str], first: str) -> None:
    from carvegen.prints.file.new_folder import write_print
    from carvegen.writers.whole_print.cut_already import cut_lands

    names = write_print(folder, files, options.library(), also=cut_lands)
    click.echo(f"Written to {folder}: {', '.join(names)}")
    click.echo(f"Next: carvegen build {folder / 'print.toml'} --out {folder / 'built'}")
    options.look_first(folder / first)


def _of_drawings(folder: Path, own: _Own) -> tuple[dict[str, str], str]:
    """The files of a print of her drawings, and the drawing to look at."""
    from carvegen import geometry
    from carvegen.writers.whole_print.cut_already import as_cut
    from carvegen.writers.whole_print.new_print import face_of, guess, in_order, print_files

    artworks = [_drawn(path, own) for path in own.drawings]
    for path, artwork in zip(own.drawings, artworks, strict=True):
        options.tell_notes([f"{path.name}: {note}" for note in artwork.notes])
    named = dict(in_order(list(zip(_names(own.drawings), artworks, strict=True))))
    size = own.size_mm or face_of(artworks)
    layers: dict[str, list[PolygonArray]] = {}
    for artwork in named.values():
        for name, shapes in artwork.layers.items():
            if len(shapes):
                layers.setdefault(name, []).append(shapes)
    drawn = {name: artwork.layers for name, artwork in named.items()}
    colours = {layer: colour for artwork in artworks for layer, colour in artwork.colours.items()}
    usual = guess({name: geometry.stack(every) for name, every in layers.items()}, size, colours)
    how = {key: usual[key] for key in ("material", "cutter", "for")}
    blocks = [{**block, **how} for block in usual["blocks"]]
    if own.cut:
        blocks = [block if block["layers"] == ["*"] else as_cut(block) for block in blocks]
    name = folder.resolve().name or "print"
    click.echo(f"Layers found: {', '.join(layers)}. Face: {size[0]:g} x {size[1]:g} mm. {' '.join(usual['why'])}")
    known = max(artwork.known_mm for artwork in artworks)
    files = print_files(name, drawn, size, blocks=blocks, motifs=usual["motifs"], known_mm=known)
    return files, next(iter(drawn))


def _drawn(path: Path, own: _Own) -> Artwork:
    """A drawing at true size, with at least one shape, each in a layer with a name."""
    from carvegen.artwork import read
    from carvegen.artwork.kinds import is_picture
    from carvegen.writers.whole_print.new_print import begun_with, face_of

    if own.corners and not is_picture(path):
        raise InputError("needs no corners: it is no photograph", where=str(path), hint="leave --corners out")
    if is_picture(path) and (own.size_mm or own.corners):
        return begun_with(_by_corners(path, own), path.stem)
    artwork = read(path, units=own.units, by_colour=True)
    if not artwork.true_size:
        if own.size_mm is None:
            hint = "say the face's, --size 200x150, or what the drawing's numbers mean, --units mm"
            raise InputError("does not say how large it is", where=str(path), hint=hint)
        artwork = read(
            path, units="mm", by_colour=True, scale=max(own.size_mm) / max(face_of([read(path, units="mm")]))
        )
    if not any(map(len, artwork.layers.values())):
        raise InputError(
            "holds no shape that prints", where=str(path), hint="fill what is to print, or close its lines"
        )
    return begun_with(artwork, path.stem)


def _by_corners(path: Path, own: _Own) -> Artwork:
    """A photograph by its block's corners, as `carvegen read` takes it."""
    from dataclasses import replace

    from carvegen.artwork.scan.planes import UNSURE

    known = {"size_mm": own.size_mm, "corners": own.corners}
    scan = options.by_corners(path, {name: value for name, value in known.items() if value is not None})
    return replace(scan, layers={name: shapes for name, shapes in scan.layers.items() if name != UNSURE})


def _names(paths: Sequence[Path]) -> list[str]:
    """A plain file name for each drawing, no two alike."""
    from carvegen.writers.whole_print.new_print import plain_file_name

    if len(paths) == 1:
        return ["drawing.svg"]
    result: list[str] = []
    for path in paths:
        stem = plain_file_name(path.stem, "drawing")
        result.append(next(n for n in (f"{stem}{k}.svg" for k in ("", *range(2, len(paths) + 2))) if n not in result))
    return result
