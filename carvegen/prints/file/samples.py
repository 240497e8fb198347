"""The sample print: inside the wheel, or in the gallery of a checkout."""

from __future__ import annotations

from pathlib import Path

from carvegen.base.errors import CarvegenError

__all__ = ["FILES", "sample", "sample_folder"]

#: What a new folder gets: the print, the same print without snow, one that is embossed, and the drawing of all.
FILES = ("print.toml", "autumn.toml", "embossed.toml", "landing-in-colours.svg")


def sample_folder() -> Path:
    """Where the sample lies."""
    here = Path(__file__).parents[2]
    inside = here / "_samples"
    return inside if inside.is_dir() else here.parent / "gallery" / "ferry-landing"


def sample(name: str) -> bytes:
    """One file of the sample."""
    try:
        return (sample_folder() / name).read_bytes()
    except OSError:
        raise CarvegenError("the sample print is missing", value=name, hint="install carvegen again") from None
