"""Builds the pictures that README.md shows: ``python gallery/build.py`` in the checkout.

Every picture is what the commands write for the arguments given here; nothing is retouched.
"""

from __future__ import annotations

import io
import shutil
import tempfile
from pathlib import Path

from PIL import Image

from carvegen.block import Block
from carvegen.cli import main
from carvegen.geometry import box
from carvegen.growth import Place
from carvegen.limits import Limits
from carvegen.motifs import motif
from carvegen.streams import stream
from carvegen.writers.png import proof_png

HERE = Path(__file__).parent
PICTURES = HERE / "pictures"
LINO = Limits(land_along_mm=0.7, land_across_mm=0.7, cut_mm=0.4, dot_mm=1.0)
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


def weather() -> None:
    """Every preset of the snowfall, whole and one corner."""
    snowfall = motif("snowfall")
    wholes, corners = [], []
    for name, preset in snowfall.PRESETS.items():
        place = Place(area=box(200, 150).buffer(-0.8, join_style="mitre"))
        grown = snowfall.grow(snowfall.Settings(**preset), place, LINO, stream(4, name))
        block = Block(name=name, width_mm=200, height_mm=150, cuts=grown.cuts)
        wholes.append(shown(block, px=2))
        corners.append(shown(block, px=10, corner=(90, 55, 40, 30)))
    sheet("weather", [wholes, corners])


if __name__ == "__main__":
    shutil.rmtree(PICTURES, ignore_errors=True)
    PICTURES.mkdir()
    sky()
    weather()
