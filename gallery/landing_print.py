"""Builds the sample print and its autumn version and keeps small pictures of both: ``pictures(folder)``."""

from __future__ import annotations

import tempfile
from pathlib import Path

from PIL import Image

from carvegen.build import build_print
from carvegen.facts.profiles import Library
from carvegen.printfile import read_print
from carvegen.samples import sample_folder

#: Each picture: from which print file, and which of the built files.
PICTURES = {
    "winter": ("print.toml", "print.png"),
    "autumn": ("autumn.toml", "print.png"),
    "embossed": ("embossed.toml", "print.png"),
    "winter-sky": ("print.toml", "inks/sky.png"),
    "winter-tone": ("print.toml", "inks/tone.png"),
    "winter-key": ("print.toml", "inks/key.png"),
}


def pictures(folder: Path, *, width: int = 1000, colours: int = 32) -> None:
    """What ``carvegen build`` draws of the sample prints, `width` pixels wide, into a folder."""
    with tempfile.TemporaryDirectory() as built:
        for name in sorted({name for name, _ in PICTURES.values()}):
            given = read_print(sample_folder() / name, Library())
            build_print(given, Path(built) / name, Library(), say=lambda _: None)
        for picture, (name, file) in PICTURES.items():
            whole = Image.open(Path(built) / name / file).convert("RGB")
            height = round(whole.height * width / whole.width)
            small = whole.resize((width, height), Image.Resampling.LANCZOS)
            small.quantize(colours).save(folder / f"{picture}.png", optimize=True)


if __name__ == "__main__":
    pictures(Path(__file__).parent / "ferry-landing")
