"""Paths as flat arrays against shapely's lengths and plain lists."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.toolpaths.paths import (
    Paths,
    from_rings,
    joined,
    no_paths,
    picked,
)
from carvegen.toolpaths.register_lines import OUT_MM, register_places


def _open(*lines: list[tuple[float, float, float]]) -> Paths:
    start = np.concatenate([[0], np.cumsum([len(line) for line in lines])])
    return Paths(np.array([point for line in lines for point in line]), start, np.zeros(len(lines), dtype=bool))


def test_lengths_agree_with_shapely_for_open_and_closed_paths() -> None:
    shapes = geometry.polygon_array([shapely.box(0, 0, 3, 4), shapely.Point(9, 9).buffer(2)])
    both = joined([from_rings(geometry.rings(shapes)), _open([(0, 0, 0), (3, 4, 0)], [(0, 0, 0), (0, 0, -2)])])
    assert both.lengths == pytest.approx([*shapely.length(shapes), 5, 2])


def test_a_closed_path_ends_where_it_began_and_an_open_one_at_its_last_point() -> None:
    both = joined(
        [
            from_rings(geometry.rings(geometry.polygon_array([shapely.box(0, 0, 1, 1)])), -1),
            _open([(5, 5, 0), (6, 7, -1)]),
        ]
    )
    assert both.exits[0].tolist() == both.entries[0].tolist()
    assert both.exits[1].tolist() == [6, 7, -1]
    assert set(both.xyz[:4, 2]) == {-1}


def test_picking_reorders_whole_paths() -> None:
    paths = _open([(0, 0, 0), (1, 0, 0)], [(5, 5, 0), (6, 6, 0), (7, 7, 0)], [(9, 9, 0), (8, 8, 0)])
    turned = picked(paths, np.array([2, 1]))
    assert turned.xyz[:, 0].tolist() == [9, 8, 5, 6, 7]
    assert turned.owner.tolist() == [0, 0, 1, 1, 1]


def test_nothing_has_no_length() -> None:
    assert len(no_paths()) == len(no_paths().lengths) == len(joined([])) == 0


def test_the_crosses_lie_outside_the_middle_of_each_side() -> None:
    """The middle of a side is the mean of its two corners (plane geometry)."""
    corners = np.array([(0, 0), (40, 0), (40, 30), (0, 30)], dtype=float)
    middle = (corners + np.roll(corners, -1, axis=0)) / 2
    outwards = np.array([(0, -1), (1, 0), (0, 1), (-1, 0)])
    assert np.array(register_places(40, 30)) == pytest.approx(middle + OUT_MM * outwards)
