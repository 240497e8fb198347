"""Builds every picture of the gallery: ``python gallery/build.py`` in the checkout; with names of folders, only those.

Every picture is what the commands write for the arguments and print files given here; nothing is retouched.
"""

from __future__ import annotations

import io
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import click
import examples
import numpy as np
import shapely
from PIL import Image

from carvegen import geometry
from carvegen.artwork.place import placed
from carvegen.base.limits import Limits
from carvegen.base.streams import stream
from carvegen.blocks.block import Block
from carvegen.blocks.from_motif import Ground, grown_block
from carvegen.geometry import PolygonArray, box
from carvegen.interfaces.cli import main
from carvegen.motifs import motif
from carvegen.motifs.growth import Place
from carvegen.prints.file.schema import reference
from carvegen.writers.block.block_png import proof_png

HERE = Path(__file__).parent
PICTURES = HERE / "pictures"
LINO = Limits(land_along_mm=0.7, land_across_mm=0.7, cut_mm=0.4, dot_mm=1.0)
HAND = Limits(land_along_mm=0.5, land_across_mm=0.5, cut_mm=0.4, dot_mm=0.8)
GAP = 8


def command(*words: str) -> None:
    """Run a command as a printmaker would."""
    try:
        main(words)
    except SystemExit as done:
        if done.code:
            raise


def sky() -> None:
    """The first command of README.md."""
    with tempfile.TemporaryDirectory() as folder:
        command(
            *("snowfall", "--size", "200x150", "--material", "linoleum", "--cutter", "laser-fine", "--seed", "7"),
            *("--keep-clear", str(HERE / "ferry-landing" / "landing.svg"), "--opening", "circle 152 88 16"),
            *("--out", folder),
        )
        small(Path(folder) / "proof.png", PICTURES / "sky.png", width=1200)


def small(source: Path, target: Path, *, width: int) -> None:
    """A picture of a given width in few colours, for the repository's sake."""
    picture = Image.open(source).convert("RGB")
    height = round(picture.height * width / picture.width)
    picture.resize((width, height), Image.Resampling.LANCZOS).quantize(48).save(target, optimize=True)


def sheet(name: str, rows: list[list[Image.Image]]) -> None:
    """Pictures of one size in rows, with gaps."""
    wide, high = rows[0][0].size
    whole = Image.new("RGB", (len(rows[0]) * (wide + GAP) - GAP, len(rows) * (high + GAP) - GAP), "white")
    for y, row in enumerate(rows):
        for x, picture in enumerate(row):
            whole.paste(picture, (x * (wide + GAP), y * (high + GAP)))
    whole.quantize(16).save(PICTURES / f"{name}.png", optimize=True)


def shown(block: Block, *, px: float, corner: tuple[float, float, float, float] | None = None) -> Image.Image:
    """A block's proof as a picture."""
    return Image.open(io.BytesIO(proof_png(block, px_per_mm=px, corner=corner))).convert("RGB")


def grown(
    name: str, preset: str, limits: Limits, *, seed: int, kept: PolygonArray | None = None, **more: float
) -> Block:
    """A block of 200 × 150 mm with a motif on it."""
    module = motif(name)
    kept = geometry.empty() if kept is None else kept
    place = Place(area=box(200, 150), shapes=kept)
    settings = module.Settings(**module.PRESETS[preset])
    growth = module.grow(settings, place, limits, stream(seed, name, preset))
    return Block(name=preset, width_mm=200, height_mm=150, cuts=growth.cuts, kept=kept)


def fallen(preset: str, *, seed: int) -> Block:
    """A block of 200 × 150 mm as the command lets it snow on one: flakes run out over the edge of the face."""
    module = motif("snowfall")
    ground = Ground(name=preset, width_mm=200, height_mm=150)
    return grown_block(
        ground, module.Settings(**module.PRESETS[preset]), LINO, stream(seed, "snowfall", preset), by="snowfall"
    )


def densest(block: Block, size: tuple[float, float] = (40, 30)) -> tuple[float, float, float, float]:
    """The piece of the block with the most white in it, by the shapes that have their middles there."""
    middles = shapely.get_coordinates(shapely.centroid(block.cuts))
    columns, rows = int(block.width_mm // size[0]), int(block.height_mm // size[1])
    face = ((0, block.width_mm), (0, block.height_mm))
    white, *_ = np.histogram2d(*middles.T, bins=(columns, rows), range=face, weights=shapely.area(block.cuts))
    column, row = np.unravel_index(white.argmax(), white.shape)
    return float(column * size[0]), float(row * size[1]), *size


def weather() -> None:
    """Every preset of the snowfall, whole and one corner."""
    blocks = [fallen(preset, seed=4) for preset in motif("snowfall").PRESETS]
    corners = [shown(block, px=10, corner=densest(block)) for block in blocks]
    sheet("weather", [[shown(block, px=2) for block in blocks], corners])


def motifs() -> None:
    """The other motifs: snow that lies, frost, grain; whole and one corner."""
    landing = placed(str(HERE / "ferry-landing" / "landing.svg"), width_mm=200, height_mm=150)
    blocks = [
        grown("snowload", "deep", HAND, seed=3, kept=landing),
        grown("frost", "ferns", HAND, seed=3),
        grown("grain", "flat-sawn", HAND, seed=5),
        grown("grain", "knotty", HAND, seed=8),
    ]
    corners = [(25, 20, 40, 30), (70, 0, 40, 30), (80, 60, 40, 30), (60, 60, 40, 30)]
    enlarged = [shown(block, px=12.5, corner=corner) for block, corner in zip(blocks, corners, strict=True)]
    sheet("motifs", [[shown(block, px=2.5) for block in blocks], enlarged])


def sampler() -> None:
    """The first command of README.md, and every motif."""
    PICTURES.mkdir(exist_ok=True)
    sky()
    weather()
    motifs()


def print_file() -> None:
    """The page of all that a print file may hold."""
    (HERE / "print-file.md").write_text(f"# What a print file may hold\n\n{reference()}", encoding="utf-8")


def build(names: Sequence[str]) -> None:
    """The folders that are named, or all of them; `print-file` is the page of the print file's keys."""
    known = ["print-file", PICTURES.name, *examples.EXAMPLES]
    unknown = sorted(set(names) - set(known))
    if unknown:
        raise SystemExit(f"no such part of the gallery: {', '.join(unknown)}; there are {', '.join(known)}")
    for name in names or known:
        click.echo(name)
        if name == PICTURES.name:
            sampler()
        elif name == "print-file":
            print_file()
        else:
            examples.build(name, say=click.echo)


if __name__ == "__main__":
    build(sys.argv[1:])
