"""Random blocks for round trips: disjoint shapes, some with holes."""

import numpy as np
import shapely
from hypothesis import strategies as st

from carvegen import geometry
from carvegen.blocks.block import Block

CELL = 20.0


def _shape(rng: np.random.Generator, centre: np.ndarray, *, hole: bool) -> shapely.Polygon:
    """A star-shaped outline inside its cell, with a smaller one as its hole."""
    corners = int(rng.integers(3, 12))
    turn = (np.arange(corners) + rng.random(corners) * 0.8) * 2 * np.pi / corners
    radius = rng.uniform(3.0, 9.0, corners)
    arms = np.column_stack([np.cos(turn), np.sin(turn)])
    shell = centre + radius[:, None] * arms
    return shapely.Polygon(shell, [centre + 0.4 * radius[:, None] * arms] if hole else [])


@st.composite
def random_blocks(draw: st.DrawFn) -> Block:
    """A block of cells with a shape in some of them."""
    columns, rows = draw(st.integers(1, 4)), draw(st.integers(1, 3))
    rng = np.random.Generator(np.random.PCG64(draw(st.integers(0, 2**32 - 1))))
    holes = draw(st.lists(st.booleans(), min_size=1, max_size=columns * rows))
    shapes = [
        _shape(rng, CELL * np.array([k % columns + 0.5, k // columns + 0.5]), hole=hole) for k, hole in enumerate(holes)
    ]
    sound = [shape for shape in shapes if shape.is_valid]
    spare = shapely.box(0.5, 0.5, 1.5, 1.0)  # one shape is always there
    cuts = geometry.snapped(geometry.polygon_array([spare, *(s for s in sound if s.disjoint(spare))]))
    return Block(name="random", width_mm=columns * CELL, height_mm=rows * CELL, cuts=cuts)
