"""Lying snow keeps its limits: drawings by others and our own, presets, seeds, sizes, materials and blocks."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache
from itertools import pairwise
from pathlib import Path

import fontawesomefree
import numpy as np
import shapely
import shapely.affinity

from carvegen import geometry
from carvegen.artwork.place import placed
from carvegen.base.streams import stream
from carvegen.blocks.from_motif import BLOCKS, Ground, loaded_block
from carvegen.blocks.job import setups_for
from carvegen.motifs.snowload import PRESETS, Settings
from tests.cases import SHELF
from tests.motifs.test_snowload import bare_tree, spruce
from tests.robustness.snow import WAYS, limits_broken, printed

__all__ = ["MADE", "drawn", "faults", "lying"]

ICONS = Path(fontawesomefree.__file__).parent / "static/fontawesomefree/svgs/solid"
GALLERY = Path(__file__).parents[2] / "gallery"
NAMES = (
    "tree", "house-chimney", "mountain", "bridge", "sailboat", "church", "horse", "crow", "person", "bicycle", "dog",
    "tower-observation", "anchor", "wheelchair", "tractor", "mountain-sun", "house-flag", "archway", "umbrella",
    "chair",
)  # fmt: skip
SIZES = (50, 60, 60, 80, 100)


def _limb(rng: np.random.Generator, start: np.ndarray, end: np.ndarray, thick: float) -> shapely.Geometry:
    bend = (start + end) / 2 + rng.normal(0, 1.5, 2)
    return shapely.LineString([start, bend, end]).buffer(thick / 2)


def _fence(rng: np.random.Generator) -> shapely.Geometry:
    """Rails and pointed pickets, 100 x 100 mm."""
    rails = [_limb(rng, np.array([-5, y]), np.array([105, y + rng.normal(0, 2)]), rng.uniform(1, 4)) for y in (20, 45)]
    pickets = []
    for x in np.arange(4, 100, rng.uniform(6, 20)):
        half, top = rng.uniform(0.6, 3), rng.uniform(50, 70)
        corners = [(-half, -5), (-half, top), (0, top + 2 * half), (half, top), (half, -5)]
        pickets.append(shapely.Polygon([(x + dx, y) for dx, y in corners]))
    return shapely.union_all([*rails, *pickets])


def _roofs(rng: np.random.Generator) -> shapely.Geometry:
    """Gables with eaves and chimneys, side by side."""
    made = []
    for x in np.arange(0, 100, 34):
        eaves, ridge = rng.uniform(25, 50), rng.uniform(8, 30)
        made += [
            shapely.box(x + 3, -5, x + 29, eaves + 1),
            shapely.Polygon([(x, eaves), (x + 16, eaves + ridge), (x + 32, eaves), (x + 31, eaves - 1.5)]),
            shapely.box(x + 21, eaves, x + 25, eaves + ridge + rng.uniform(-2, 8)),
        ]  # fmt: skip
    return shapely.union_all(made)


def _peaks(rng: np.random.Generator) -> shapely.Geometry:
    """Peaks behind one another, and posts in front of them."""
    x = np.linspace(-5, 105, 40)
    crest = 30 + np.abs(np.cumsum(rng.normal(0, 6, len(x))))
    posts = [shapely.box(at, 0, at + rng.uniform(0.6, 3), rng.uniform(50, 90)) for at in rng.uniform(5, 95, 3)]
    hill = shapely.Polygon([(-5, -5), *zip(x, np.minimum(crest, 90), strict=True), (105, -5)])
    return shapely.union_all([hill.buffer(0), *posts])


def _fir(rng: np.random.Generator) -> shapely.Geometry:
    """Tiers of drooping boughs round a trunk."""
    tiers = [shapely.box(48, -5, 52, 90)]
    for y in np.linspace(12, 80, int(rng.integers(4, 9))):
        half = 0.45 * (98 - y) * rng.uniform(0.8, 1.1)
        edge = [
            (50 - half, y),
            (50 - half / 2, y + rng.uniform(1, 4)),
            (50, y + 3),
            (50 + half / 2, y + 2),
            (50 + half, y),
        ]
        tiers.append(shapely.Polygon([*edge, (50, y + half * rng.uniform(0.5, 0.9))]).buffer(0))
    return shapely.union_all(tiers)


def _wood(rng: np.random.Generator) -> shapely.Geometry:
    """Small firs on a hill, each a stack of jagged triangles, some before one another."""
    made = [shapely.Polygon([(-5, -5), (-5, 18), (40, 24), (105, 14), (105, -5)])]
    for x in np.cumsum(rng.uniform(4, 16, 8)):
        tall, slope, tiers = rng.uniform(1.5, 7), np.tan(np.radians(rng.uniform(45, 76))), int(rng.integers(3, 8))
        top, inner, sides = 18 + tall * tiers, np.zeros(2), [[(x, 18 + tall * tiers)], []]
        for _ in range(tiers):
            outer = inner + tall / slope * rng.uniform(0.7, 1.3, 2)
            low, inner = top - tall * rng.uniform(0.9, 1.1, 2), outer * rng.uniform(0.4, 0.7)
            notch = low + rng.uniform(-0.1, 0.4, 2) * (outer - inner)
            for k, side in enumerate((1, -1)):
                sides[k] += [(x + side * outer[k], low[k]), (x + side * inner[k], notch[k])]
            top -= tall
        made.append(shapely.Polygon([*sides[0], (x, 10), *sides[1][::-1]]).buffer(0))
    return shapely.union_all(made)


def _hanging(rng: np.random.Generator, *, fall: float, often: int) -> shapely.Geometry:
    """A trunk with arched boughs and twigs that hang from them: a birch, or with more of it a willow."""
    made = [_tapered(np.array([[50, -5], [49 + rng.normal(0, 2), 45], [52, 92]]), 6.0, 1.0)]
    for y in np.linspace(34, 86, 14):
        side, along = rng.choice([-1, 1]), np.linspace(0, 1, 8)
        long, up = rng.uniform(14, 34) * (1.25 - y / 110), rng.uniform(6, 16)
        bough = np.column_stack([50 + side * long * along, y + up * along * (1.7 - 1.9 * along)])
        made.append(_tapered(bough, 1.7, 0.7))
        for foot in bough[rng.choice(np.arange(2, 8), often, replace=False)]:
            down = np.linspace(0, 1, 5)[:, None]
            sway = rng.normal(0, 1.2) * down**2 + side * 1.5 * down
            made.append(_tapered(foot + np.hstack([sway, -fall * rng.uniform(0.4, 1) * down]), 0.7, 0.4))
    return shapely.union_all(made)


def _tapered(line: np.ndarray, thick: float, thin: float) -> shapely.Geometry:
    width = np.linspace(thick, thin, len(line)) / 2
    knots = shapely.buffer(shapely.points(line), width, quad_segs=6)
    return shapely.union_all([shapely.convex_hull(shapely.union(a, b)) for a, b in pairwise(knots)])


def _shrunk(shapes: geometry.PolygonArray) -> shapely.Geometry:
    return shapely.affinity.scale(shapely.union_all(shapes), 2 / 3, 2 / 3, origin=(0, 0))


MADE: dict[str, Callable[[np.random.Generator], shapely.Geometry]] = {
    "bare tree": lambda rng: _shrunk(bare_tree(int(rng.integers(99)))),
    "spruce": lambda rng: _shrunk(spruce(int(rng.integers(99)))),
    "fence": _fence, "roofs": _roofs, "peaks": _peaks, "fir": _fir, "wood": _wood,
    "birch": lambda rng: _hanging(rng, fall=9, often=3), "willow": lambda rng: _hanging(rng, fall=26, often=5),
}  # fmt: skip
DRAWINGS = tuple(sorted(str(it.relative_to(GALLERY)) for it in GALLERY.glob("*/*.svg")))
SUBJECTS = (*NAMES, *DRAWINGS, *(name for name in MADE for _ in range(5)))


@cache
def _read(path: Path, width: int) -> geometry.PolygonArray:
    at = round(width * 0.08)
    return placed(f"{path} at {at} {at} width {round(width * 0.84)}", width_mm=width, height_mm=width)


def drawn(name: str, width: int, rng: np.random.Generator) -> geometry.PolygonArray:
    """What the snow is to lie on: a drawing of our own by chance, or one that is read, on a square of this width."""
    if name in MADE:
        made = MADE[name](rng)
        return geometry.parts(shapely.affinity.scale(made, width / 100, width / 100, origin=(0, 0)))
    return _read(ICONS / f"{name}.svg" if name in NAMES else GALLERY / name, width)


def faults(number: int, *, sizes: tuple[int, ...] = SIZES) -> Iterator[str]:
    """What is wrong with the block of this number: a finding of land, island or cut."""
    rng = np.random.default_rng(number)
    name = SUBJECTS[number % len(SUBJECTS)]
    preset = sorted(PRESETS)[int(rng.integers(len(PRESETS)))]
    material, cutter, machine = WAYS[int(rng.integers(len(WAYS)))]
    which = sorted(BLOCKS)[int(rng.integers(len(BLOCKS)))]
    width = int(rng.choice(sizes))
    setup_ = setups_for(SHELF, material=material, cutter=cutter, kinds=[machine])[0]
    ground = Ground(name="snow", width_mm=width, height_mm=width, grow_from=drawn(name, width, rng))
    settings = Settings(**PRESETS[preset])
    block = loaded_block(ground, settings, setup_.limits, stream(number, "law"), which=which)
    label = f"{number}: {name}, {preset}, {which}, {width} mm, {material}, {cutter}, {machine}"
    yield from limits_broken(setup_.on(block), label)


def lying(blocks: int, start: int) -> int:
    """Print each fault of so many blocks of lying snow; how many there are."""
    return printed(faults, blocks, start)
