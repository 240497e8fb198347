"""Lying snow's rasters and chains beside plain twins."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen.motifs.snowload.ledges import diffused
from carvegen.motifs.snowload.open_sky import TWIG_MM, WIDEST_DEG, sky_seen
from carvegen.motifs.snowload.scene import Grid, _boards
from carvegen.motifs.snowload.snow_shapes import Canvas, _without_specks, without_holes_far_from


def test_a_canvas_covers_what_its_strokes_say() -> None:
    """Cells by half, to the page's edges and past them; nothing beyond a stroke."""
    page = Grid(left=0.0, bottom=0.0, wide=6, high=5, step=1.0, beyond=0)
    assert not Canvas.blank(page).cover.any()
    for low, high, said in (
        (1.5, 3.0, [0, 0.5, 1, 0, 0]),
        (-2.0, 0.5, [0.5, 0, 0, 0, 0]),
        (3.5, 9.0, [0, 0, 0, 0.5, 1]),
        (-1.0, 9.0, [1, 1, 1, 1, 1]),
    ):
        canvas = Canvas.blank(page)
        canvas.stroke(np.array([2]), np.array([low]), np.array([high]))
        assert canvas.cover.shape == (5, 6)
        np.testing.assert_allclose(canvas.cover[:, 2], said, atol=1e-12)
        assert not np.delete(canvas.cover, 2, axis=1).any()


@pytest.mark.parametrize("driven", [False, True])
def test_diffusion_solves_its_equation(driven) -> None:
    """``v' + D^T k (D v' + d) = v`` by a matrix that is written out."""
    rng = np.random.default_rng(3)
    values, along = rng.random(9), rng.random(8) * (rng.random(8) < 0.7)
    drive = rng.random(8) if driven else None
    steps = np.diff(np.eye(9), axis=0)
    right = values if drive is None else values - steps.T @ (along * drive)
    report = np.linalg.solve(np.eye(9) + steps.T @ (along[:, None] * steps), right)
    before = values.copy(), along.copy()
    np.testing.assert_allclose(diffused(values, along, drive), report, atol=1e-12)
    assert np.array_equal(values, before[0])
    assert np.array_equal(along, before[1])


def test_a_straight_run_is_a_board_wherever_it_lies_on_the_page() -> None:
    """25 mm and more, level or leaning; two shorter ones with a gap between them are none."""
    page = np.zeros((60, 160), dtype=bool)
    column = np.arange(160)
    for low, left, long, slope, board in (
        (10, 20, 60, 0.0, True),
        (55, 90, 66, 0.0, True),
        (57, 2, 56, 0.0, True),
        (10, 40, 80, 0.35, True),
        (10, 40, 40, 0.0, False),
        (58, 118, 40, 0.0, False),
    ):
        mask = page.copy()
        at = column[left : left + long]
        row = low + np.rint(slope * (at - left)).astype(int)
        mask[row, at] = mask[row + 1, at] = True
        seen = _boards(mask, 0.5)
        assert not (seen & ~mask).any()
        assert seen.any() == board
        assert seen.sum() >= (0.4 if slope else 1.0) * mask.sum() * board
    two = page.copy()
    two[30, 10:50] = two[30, 56:96] = True
    assert not _boards(two, 0.5).any()


def plain_sky(broad: np.ndarray, twigs: np.ndarray, lean_deg: float) -> tuple[np.ndarray, np.ndarray]:
    """Ray by ray and row by row, with each cell's dark from the one above it along the ray; cells of 1 mm."""
    off = ((np.arange(25) + 0.5) / 25 * 2 - 1) * np.radians(WIDEST_DEG)
    weight = np.cos(off) ** 2 / (np.cos(off) ** 2).sum()
    past_broad, past_all = np.zeros(broad.shape), np.zeros(broad.shape)
    rows, columns = broad.shape
    for turn, share in zip(np.clip(off + np.radians(lean_deg), -1.4, 1.4), weight, strict=True):
        dark, gone = np.zeros(columns), 0
        for row in reversed(range(rows)):
            to = round(np.tan(turn) * (rows - row))
            dark = np.maximum(dark[np.clip(np.arange(columns) - (to - gone), 0, columns - 1)] - 1, 0)
            dark = np.maximum(dark, max(round(TWIG_MM * np.cos(turn)), 1) * twigs[row])
            dark[broad[row]] = np.inf
            gone = to
            past_broad[row] += share * (dark < np.inf)
            past_all[row] += share * (dark == 0)
    return past_broad, past_all


@pytest.mark.parametrize("lean_deg", [0.0, 25.0])
@pytest.mark.parametrize("highest", ["broad", "twig", "neither"])
def test_the_sky_that_is_seen_below_empty_rows(highest, lean_deg) -> None:
    broad, twigs = np.zeros((30, 40), dtype=bool), np.zeros((30, 40), dtype=bool)
    if highest != "neither":
        broad[12 + 4 * (highest == "broad"), 10:20] = twigs[14, 24:27] = True
    for seen, plain in zip(sky_seen(broad, twigs, lean_deg=lean_deg), plain_sky(broad, twigs, lean_deg), strict=True):
        np.testing.assert_allclose(seen, plain, atol=1e-5)
    assert np.array_equal(sky_seen(broad, None, lean_deg=lean_deg)[0], sky_seen(broad, twigs, lean_deg=lean_deg)[0])


def test_a_slit_of_sky_between_two_heaps_is_white_where_nothing_else_shuts_sky_in() -> None:
    """One no wider than 0.6 mm, open at both ends; a wider one stays."""
    cover = np.zeros((40, 60))
    cover[10:30, 5:20] = cover[10:30, 23:40] = cover[10:30, 48:55] = 1.0
    white = _without_specks(cover, np.zeros(cover.shape, dtype=bool), 0.15)
    assert (white[12:28, 20:23] == 1).all()
    assert np.array_equal(np.delete(white, np.s_[20:23], axis=1), np.delete(cover, np.s_[20:23], axis=1))


def test_holes_far_from_others_are_filled_and_those_near_or_touched_stay() -> None:
    holes = shapely.box([1, 7, 21], [1, 7, 1], [2, 8, 22], [2, 8, 2])
    plates = shapely.difference(
        shapely.union_all([shapely.box(0, 0, 10, 10), shapely.box(20, 0, 30, 10)]), shapely.union_all(holes)
    )
    others = np.array([shapely.box(0, 0, 0.95, 3), shapely.box(21.5, 1.5, 25, 5)])
    left = without_holes_far_from(plates, others, 0.1)
    assert left.equals(shapely.difference(shapely.union(plates, holes[1]), holes[0]))
    assert without_holes_far_from(shapely.Polygon(), others, 0.1).is_empty
    frame = shapely.difference(shapely.box(40, 0, 60, 20), shapely.box(42, 2, 58, 18))
    framed = shapely.union(frame, shapely.box(45, 5, 50, 10))  # a frame with a thing in it
    assert without_holes_far_from(framed, others, 0.1).equals(framed)
