"""The rubbing: graphite in the paper's tooth over what stands, twice where lands overlap, next to none elsewhere."""

from __future__ import annotations

import io

import numpy as np
import shapely
from PIL import Image

from carvegen.base.colour import Ink
from carvegen.writers.whole_print.print_png import Coat, paper_tooth, rubbed, rubbing_png

WINDOW = (0.0, 0.0, 60.0, 40.0)


def picture(*lands) -> np.ndarray:
    coats = [Coat(ink=Ink(colour=(90, 110, 130), opacity=0.9), land=land) for land in lands]
    with Image.open(io.BytesIO(rubbing_png(coats, WINDOW))) as shown:
        assert shown.size == (600, 400)
        return np.asarray(shown.convert("L"), dtype=float)


def test_graphite_lies_in_grains_on_land_and_twice_where_lands_overlap() -> None:
    grey = picture(shapely.box(0, 0, 40, 40), shapely.box(20, 0, 50, 40))
    once, twice, bare = grey[50:350, 20:180], grey[50:350, 220:380], grey[50:350, 520:580]
    assert twice.mean() + 12 < once.mean() < bare.mean() - 60
    assert bare.mean() > 240
    assert once.std() > 20  # grain; a flat tint would have none
    fine = once - 0.25 * (np.roll(once, 1, 0) + np.roll(once, -1, 0) + np.roll(once, 1, 1) + np.roll(once, -1, 1))
    assert fine.std() > 5  # some of it as fine as a pixel or two


def test_the_edge_of_a_land_takes_more() -> None:
    """The sheet bends over it."""
    land = np.zeros((400, 400))
    land[:, 200:] = 1.0
    lying = rubbed(land, paper_tooth(land.shape, 10.0), 10.0)
    assert lying[:, 201:203].mean() > 1.1 * lying[:, 260:380].mean()
    assert lying[:, :190].max() < 0.07


def test_the_tooth_is_the_same_each_time_and_goes_on_without_a_seam() -> None:
    one, other = (paper_tooth((900, 1700), 10.0) for _ in range(2))
    assert np.array_equal(one, other)
    steps = np.abs(np.diff(one, axis=1)).mean(axis=0)
    assert steps[[767, 1535]].max() < 1.5 * steps.mean()
