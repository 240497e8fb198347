"""Small whole prints as they are delivered, read by GDAL, resvg and PDFium: paper bare where it must be, ink elsewhere.

Blocks, their order, traps and mending vary. What is asked comes from the numbers that a scene is drawn by.
"""

from __future__ import annotations

import io
import json
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pyogrio.raw
import pypdfium2
import resvg_py
import shapely
from hypothesis import Phase, given, settings
from PIL import Image
from scipy import ndimage

from carvegen.base.findings import Finding
from carvegen.delivery.print_build import build_print
from carvegen.prints.file.print_file import read_print
from tests.cases import SHELF
from tests.prints.test_bare_paper import HEIGHT, ORDER, SCENES, WIDTH, Scene, dots, inside, untold_bare
from tests.strategies import examples

PX = 20  #: of the print's picture, to the millimetre
GUIDE_PX = 10  #: of a guide's page
PAPER = np.array((251, 250, 246))  #: the paper's colour where a print file names none
SIDE_MM = 0.08  #: a pixel this near to an outline holds both sides of it
RUN_THROUGH_MM = 0.5  #: beyond the trap: half of a gap too narrow to be cut, and a dot
WIDENED_MM = 1.6  #: beyond the trap: lands made wider, by no more than two least widths, and a dot
LINE_MM = 0.25  #: so near to an outline a guide draws it, and pixels hold some of it
INK = 100  #: what is darker on a guide is a line or a mark, no tone


def built(scene: Scene, folder: Path) -> Path:
    """The folder of a whole build; machine paths, which no picture is read from, are left out."""
    (folder / "print.toml").write_text(replace(scene, more="[files]\npaths = false\n").text(), encoding="utf-8")
    build_print(read_print(folder / "print.toml", SHELF), folder / "built", SHELF, say=lambda _: None, jobs=1)
    return folder / "built"


def lowered(path: Path) -> shapely.Geometry:
    """What a machine's DXF lowers or cuts out, even-odd as GDAL reads its closed lines; as the paper shows it."""
    _, _, wkb, fields = pyogrio.raw.read(path, columns=["Layer"])
    gone = shapely.Polygon()
    for shape, name in zip(shapely.from_wkb(wkb), fields[0], strict=True):
        if name in ("CUT AREA", "CUT-OUT"):
            gone = gone.symmetric_difference(shapely.Polygon(shapely.get_coordinates(shape)))
    return shapely.transform(gone, lambda xy: np.column_stack([WIDTH - xy[:, 0], xy[:, 1]]))


def drawn(svg: str) -> np.ndarray:
    """Colours as resvg draws a file of the print's size, first row lowest; (rows, columns, 3)."""
    data = resvg_py.svg_to_bytes(svg_string=svg, dpi=PX * 25.4)
    return np.asarray(Image.open(io.BytesIO(bytes(data))).convert("RGB"))[::-1].astype(int)


def page(pdf: Path) -> np.ndarray:
    """Grey values of a guide's first drawn page, as PDFium draws it, first row uppermost."""
    document = pypdfium2.PdfDocument(pdf)
    grey = np.asarray(document[1].render(scale=GUIDE_PX / 72 * 25.4, grayscale=True).to_pil().convert("L"))
    document.close()
    return grey


@dataclass(frozen=True)
class Read:
    """A delivered print as others read it, at the dots of a raster."""

    inks: dict[str, shapely.Geometry]  #: what stands of each block, by GDAL
    bare: np.ndarray  #: where the picture of the whole print shows paper, by resvg
    told: list[Finding]


def read(scene: Scene, out: Path) -> Read:
    face, (x, y) = shapely.box(0, 0, WIDTH, HEIGHT), dots()
    inks = {name: face.difference(lowered(out / name / "laser" / "block.dxf")) for name in scene.blocks}
    colours = drawn((out / "print.svg").read_text(encoding="utf-8"))
    seen = colours[(y * PX).astype(int), (x * PX).astype(int)]
    report = json.loads((out / "report.json").read_text(encoding="utf-8"))["blocks"]
    findings = [Finding.from_dict(each) for value in report.values() for each in value]
    return Read(inks=inks, bare=(np.abs(seen - PAPER) <= 2).all(axis=-1), told=findings)


def must_be_as_asked(scene: Scene, print_: Read) -> None:
    """Bare exactly where it must be, and each ink where the picture asks it; what differs is told with its place."""
    x, y = dots()
    owner, deep = scene.at(x, y)
    prints = {name: inside(ink, x, y) for name, ink in print_.inks.items()}
    for name, printed in prints.items():
        assert not (printed & (deep > 0.02)).any(), f"{name} prints where paper must be bare"
    bare = [each for each in print_.told if each.rule == "bare-paper"]
    assert untold_bare(scene, print_.inks, bare) == 0
    kept = [(prints[name] | (owner != name) | (deep > -1.0)).mean() for name in prints]
    assert min(kept) > 0.97
    for name, printed in prints.items():
        own, away = owned(scene, name), np.zeros(x.shape)
        away[printed] = np.inf if own.is_empty else shapely.distance(shapely.points(x[printed], y[printed]), own)
        astray = (
            printed & (away > scene.trap + (WIDENED_MM if scene.mend else RUN_THROUGH_MM)) & ~told_near(print_, x, y)
        )
        assert not astray.any(), f"{name} prints where nobody asks it"
    edges = shapely.union_all([shapely.boundary(ink) for ink in print_.inks.values()])
    far = shapely.distance(shapely.points(x, y), edges) > SIDE_MM
    assert (print_.bare == ~np.any(list(prints.values()), axis=0))[far].all()  # the picture shows what blocks print


def owned(scene: Scene, name: str) -> shapely.Geometry:
    """Where the picture asks a block's ink: its layers where no others stand in front; the sky's all else."""
    face = shapely.box(0, 0, WIDTH, HEIGHT)
    area = face if name == "sky" else shapely.Polygon()
    for layer, whose in reversed(list(zip(ORDER, scene.owners, strict=True))):
        left, bottom, width, height = scene.layers[layer]
        shape = shapely.box(left, bottom, left + width, bottom + height).intersection(face)
        area = area.union(shape) if whose == name else area.difference(shape)
    return area


def told_near(print_: Read, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """The dots near places at which it is told that one block prints in another's stead."""
    near = np.zeros(x.shape, dtype=bool)
    for each in print_.told:
        if each.rule == "other-ink":
            near |= np.hypot(x - each.at[0], y - each.at[1]) < 3.0
    return near


def must_be_guided_alike(scene: Scene, print_: Read, out: Path) -> None:
    """Each guide is toned where the machine's file lowers, and white where land stands; it lies as the block does."""
    x, y = dots()
    opened = np.any([np.hypot(x - cx, y - cy) < radius + 0.5 for cx, cy, radius in scene.openings], axis=0)
    for name in scene.blocks:
        grey = page(out / name / "hand" / "guide.pdf")
        left, top = face_on(grey)
        face = grey[top : top + HEIGHT * GUIDE_PX, left : left + WIDTH * GUIDE_PX]
        at = ((HEIGHT - y) * GUIDE_PX).astype(int), ((WIDTH - x) * GUIDE_PX).astype(int)
        tone, darkest = face[at], ndimage.minimum_filter(face, 3)[at]
        near = (
            shapely.distance(shapely.points(x, y), shapely.boundary(print_.inks[name])) <= LINE_MM
        )  # of no land, none
        clear = ~opened & (darkest > INK) & ~near
        assert clear.mean() > 0.5
        assert ((tone == 255) == inside(print_.inks[name], x, y))[clear].all(), name


def face_on(grey: np.ndarray) -> tuple[int, int]:
    """Where the block's face begins on a page, pixels from the left and the top: inside the frame of its edges."""
    upright = np.flatnonzero((grey < INK).sum(axis=0) >= HEIGHT * GUIDE_PX)
    left = round(upright[upright < upright[0] + GUIDE_PX / 2].mean())
    level = np.flatnonzero((grey[:, left : left + WIDTH * GUIDE_PX] < INK).mean(axis=1) > 0.99)
    top = round(level[level < level[0] + GUIDE_PX / 2].mean())
    assert abs(upright - left).min() <= 3 and abs(upright - left - WIDTH * GUIDE_PX).min() <= 3
    assert abs(level - top - HEIGHT * GUIDE_PX).min() <= 3
    return left, top


@settings(examples(1), phases=[Phase.explicit, Phase.generate])  # a smaller print takes as long to build
@given(SCENES)
def test_any_small_print(tmp_path_factory, scene):
    out = built(scene, tmp_path_factory.mktemp("print"))
    print_ = read(scene, out)
    must_be_as_asked(scene, print_)
    must_be_guided_alike(scene, print_, out)
