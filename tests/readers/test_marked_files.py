"""What is marked on one block, in the machine files of all, read back by GDAL: mirrored, and on that block only."""

from __future__ import annotations

import pyogrio.raw
import pytest
import shapely

from carvegen.interfaces.cli import main
from tests.cases import even_odd, layer, small_print

W = 60.0
#: Where each block alone is marked to come out, print view: corners in mm.
MARKED = {"key": (13.0, 5.0, 21.0, 12.0), "sky": (36.0, 18.0, 42.0, 26.0)}


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    marks = "".join(
        f'[[marked]]\nmeaning = "comes out"\nshape = "box {x} {y} {right - x} {top - y}"\nblocks = ["{name}"]\n'
        for name, (x, y, right, top) in MARKED.items()
    )
    folder = tmp_path_factory.mktemp("marked")
    text = small_print(
        layer("POST", "box 12 0 10 30"), blocks={"sky": ["*"], "key": ["POST"]}, after=marks, machine="laser"
    )
    (folder / "print.toml").write_text(text.replace("linoleum", "birch-plywood").replace("v-60", "laser-fine"))
    with pytest.raises(SystemExit) as ended:
        main(["build", str(folder / "print.toml"), "--out", str(folder / "built")])
    assert ended.value.code in (0, 1)
    return folder / "built"


def cut_on(out, name: str):
    """What is cut on a block, as its file for the laser has it."""
    _, _, shapes, (layers,) = pyogrio.raw.read(out / name / "laser" / "block.dxf", columns=["Layer"])
    rings = [ring for ring, each in zip(shapely.from_wkb(shapes), layers, strict=True) if each == "CUT AREA"]
    return even_odd([ring if ring.geom_type == "Polygon" else shapely.Polygon(ring.coords) for ring in rings])


def mirrored(x: float, y: float, right: float, top: float):
    return shapely.box(W - right, y, W - x, top)


@pytest.mark.parametrize("name", MARKED)
def test_a_mark_for_one_block_is_cut_there_as_the_block_lies(built, name) -> None:
    where = mirrored(*MARKED[name])
    assert cut_on(built, name).intersection(where).area == pytest.approx(where.area, rel=1e-3)


def test_a_mark_for_one_block_cuts_nothing_else(built) -> None:
    """The sky prints all beside the post: of that only its own mark goes, and of the post only that of the key."""
    picture, post = shapely.box(0, 0, W, 40), mirrored(12, 0, 22, 30)
    sky, key = (cut_on(built, name).intersection(picture) for name in ("sky", "key"))
    assert sky.difference(post).area == pytest.approx(6 * 8, rel=1e-3)
    assert key.intersection(post).area == pytest.approx(8 * 7, rel=1e-3)
