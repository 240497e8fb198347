"""Where a motif is thick or thin: pictures and shapes as shares of it."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from PIL import Image

from carvegen.artwork.density import density_of
from carvegen.artwork.place import placed
from carvegen.base.errors import InputError
from carvegen.base.limits import Limits
from carvegen.base.streams import stream
from carvegen.motifs import motif
from carvegen.motifs.growth import Place
from tests.strategies import takes_long

SIZE = (100.0, 60.0)
LIMITS = Limits(land_along_mm=0.5, land_across_mm=0.5, cut_mm=0.4, dot_mm=0.8)


def on_face(text):
    return placed(text, width_mm=SIZE[0], height_mm=SIZE[1])


def test_a_picture_is_laid_over_the_face_upright(tmp_path):
    """White is all, black is none; the picture's top is the face's top, its left the face's left."""
    light = np.zeros((6, 10), dtype=np.uint8)
    light[:3, :5] = 255
    light[3:, 5:] = 51
    Image.fromarray(light).save(tmp_path / "mask.png")
    density = density_of(str(tmp_path / "mask.png"), on_face, SIZE)
    places = np.array([[20.0, 50.0], [80.0, 50.0], [20.0, 10.0], [80.0, 10.0]])
    assert density(places) == pytest.approx([1.0, 0.0, 0.0, 0.2], abs=1e-9)


def test_a_shape_holds_all_and_its_outside_nothing():
    density = density_of("circle 40 30 20", on_face, SIZE)
    places = np.array([[40.0, 30.0], [58.0, 30.0], [62.0, 30.0]])
    assert density(places).tolist() == [1.0, 1.0, 0.0]


def test_a_shape_that_reaches_the_edge_holds_the_edge_too():
    """Frost starts on the edge itself: a mask cut off there must not lose it."""
    density = density_of("box -10 -10 50 50", on_face, SIZE)
    assert density(np.array([[0.0, 20.0], [0.0, 0.0], [20.0, 0.0]])).tolist() == [1.0, 1.0, 1.0]


@pytest.mark.parametrize("content", [b"", b"not a picture", b"\x89PNG\r\n\x1a\n rubbish"])
def test_what_is_no_picture_is_told_by_name(content, tmp_path):
    (tmp_path / "mask.png").write_bytes(content)
    with pytest.raises(InputError, match="picture") as fault:
        density_of(str(tmp_path / "mask.png"), on_face, SIZE)
    assert "mask.png" in fault.value.where
    assert fault.value.hint


@takes_long  # tests/laws/test_ground.py says it of every motif
@pytest.mark.parametrize("name", ["frost", "grain", "snowfall"])
def test_every_motif_follows_its_mask(name):
    """All of the motif in the left half, none in the right: what reaches over is at most what grew from the left."""
    module = motif(name)
    face = shapely.box(1, 1, 99, 59)
    place = Place(area=face, density=density_of("box 0 0 50 60", on_face, SIZE))
    cuts = module.grow(module.Settings(), place, LIMITS, stream(2, name)).cuts
    left, right = (
        float(shapely.area(shapely.intersection(cuts, half)).sum())
        for half in (shapely.box(0, 0, 50, 60), shapely.box(50, 0, 100, 60))
    )
    assert left > 30
    assert right < 0.25 * left
