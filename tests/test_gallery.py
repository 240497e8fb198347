"""The gallery: its smallest example built again and held against the stored picture; what each folder holds."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps

from gallery.examples import EXAMPLES, SMALLEST, rebuilt

GALLERY = Path(__file__).parent.parent / "gallery"

# One machine gives the same bytes: no difference at all. Other versions of the libraries may round the grey of an edge,
# choose other colours for the palette, or move all outlines by a hundredth of a millimetre. Tried: a palette of half
# the colours and outlines 0.02 mm aside each give 0.7 levels on average and no pixel that is far off. Snow that lies
# elsewhere gives 24 levels and a tenth of all pixels.
MEAN_LEVELS, FAR_LEVELS, FAR_SHARE = 1.0, 50, 0.002


def differences(one: Image.Image, other: Image.Image) -> tuple[float, float]:
    """Mean absolute difference in grey levels (0 to 255), and the share of pixels that differ by far."""
    assert one.size == other.size
    first, second = (np.asarray(each.convert("L"), dtype=float) for each in (one, other))
    off = np.abs(first - second)
    return float(off.mean()), float((off > FAR_LEVELS).mean())


def stored(folder: str, name: str) -> Image.Image:
    return Image.open(GALLERY / folder / f"{name}.png")


def test_the_smallest_example_is_still_what_its_picture_shows():
    made = rebuilt(*SMALLEST)
    mean, far = differences(made, stored(*SMALLEST))
    assert mean <= MEAN_LEVELS
    assert far <= FAR_SHARE


def test_the_tolerance_tells_other_snow():
    flakes = stored(*SMALLEST).convert("L").point(lambda level: 255 * (level > 128))
    mean, far = differences(flakes, ImageOps.mirror(flakes))
    assert mean > 5 * MEAN_LEVELS
    assert far > 5 * FAR_SHARE


@pytest.mark.parametrize("folder", EXAMPLES)
def test_each_example_brings_what_it_is_made_from_and_small_pictures(folder):
    for name, shot in EXAMPLES[folder].items():
        assert (GALLERY / folder / shot.given).is_file()
        assert (GALLERY / folder / f"{name}.png").stat().st_size < 200_000
    assert list((GALLERY / folder).glob("*.svg"))


def test_all_pictures_together_are_small_and_none_is_left_over():
    pictures = {path.relative_to(GALLERY).as_posix() for path in GALLERY.rglob("*.png")}
    known = {f"{folder}/{name}.png" for folder, shots in EXAMPLES.items() for name in shots}
    of_the_page = {"marking-page/marks.png", "marking-page/fingers.png", "marking-page/rubbing.png"}
    assert {name for name in pictures if not name.startswith("pictures/")} == known | of_the_page
    assert sum((GALLERY / name).stat().st_size for name in pictures) < 3_000_000
