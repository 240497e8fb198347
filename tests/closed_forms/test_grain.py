"""Grain against closed forms: the flow round a cylinder, the plane of the saw, the correlation of random waves."""

from __future__ import annotations

import contourpy
import numpy as np
import pytest

from carvegen.motifs.grain.knots import flowed, random_knots
from carvegen.motifs.grain.log import Log, Saw
from carvegen.motifs.shared.fields import waves_at

PLAIN = {"ring_mm": 2.0, "arch_mm": 1e9, "waviness": 0.0}


def test_flow_round_a_knot_is_the_doublet() -> None:
    """Flow round a cylinder, psi = x (1 - a²/r²): 0 on the rim, and lines twice as close at the shoulder."""
    a = 6.0
    angle = np.linspace(0, 2 * np.pi, 50)
    rim = flowed(a * np.cos(angle), 0.0, np.ones(50))
    np.testing.assert_allclose(rim, 0, atol=1e-12)
    x = np.array([a, a * (1 + 1e-6)])
    density = np.diff(flowed(x, 0.0, x / a))[0] / np.diff(x)[0]
    assert density == pytest.approx(2.0, abs=1e-4)
    far = np.array([[3.0 * a, 1.5 * a]])
    r2 = (far**2).sum()
    assert flowed(far[:, 0], 0.0, np.sqrt([r2]) / a)[0] == pytest.approx(far[0, 0] * (1 - a**2 / r2))


def test_every_knot_rim_is_a_level_line_of_the_log() -> None:
    """Whatever the dents: no grain line runs into a knot."""
    rng = np.random.default_rng(3)
    knots = random_knots(1.0, (20.0, 20.0), width_mm=8, dead=0.5, plane_deg=0, rng=rng)
    saw = Saw(pith_mm=15.0, plane_deg=0.0, **{**PLAIN, "waviness": 0.5})
    log = Log(saw, knots, half=(40.0, 60.0), rng=rng)
    grid = np.arange(-8, 8, 0.02)
    xy = np.stack(np.meshgrid(grid, grid), axis=-1).reshape(-1, 2) + knots[0].xy
    reach = knots[0].reach(xy).reshape(len(grid), -1)
    (rim,) = contourpy.contour_generator(grid, grid, reach).lines(1.0)
    numbers = log.numbered(log.radius(rim + knots[0].xy))
    assert np.ptp(numbers) < 0.005
    beside = log.numbered(log.radius(1.5 * rim + knots[0].xy))
    assert np.ptp(beside) > 0.05, "a little further out there is flow"


@pytest.mark.parametrize(("plane", "spacing"), [(90.0, 2.0), (45.0, 2.0 * 2**0.5), (60.0, 4.0 / 3**0.5)])
def test_rings_show_by_the_plane_of_the_saw(plane, spacing) -> None:
    """Far from the pith rings are planes: cut at an angle they show 1/sin wider; on the quarter as they are."""
    log = Log(Saw(pith_mm=900.0, plane_deg=plane, **PLAIN), (), half=(10.0, 10.0), rng=np.random.default_rng(1))
    u = np.linspace(-60, 60, 2000)
    radius = log.from_pith(np.column_stack([u, np.zeros_like(u)]))
    assert 2.0 * np.ptp(u) / np.ptp(radius) == pytest.approx(spacing, rel=0.02)


def test_arches_follow_one_another_at_the_distance_set() -> None:
    """Above the pith of a flat-sawn board the depth grows by a ring for each arch."""
    saw = Saw(ring_mm=2.0, pith_mm=50.0, plane_deg=0.0, arch_mm=17.0, waviness=0.0)
    log = Log(saw, (), half=(10.0, 90.0), rng=np.random.default_rng(1))
    radius = log.from_pith(np.array([[0.0, 0.0], [0.0, 170.0]]))
    assert np.diff(radius)[0] == pytest.approx(10 * 2.0, rel=0.01)


def test_random_waves_have_the_correlation_that_is_said() -> None:
    """exp(-d²/2p²), mean 0 and spread 1, over many draws."""
    xy = np.array([[0.0, 0.0], [3.0, 0.0], [0.0, 8.0]])
    draws = np.array([waves_at(xy, np.random.default_rng(k), patch_mm=(3.0, 8.0)) for k in range(2500)])
    assert draws.mean(axis=0) == pytest.approx(np.zeros(3), abs=0.06)
    assert draws.std(axis=0) == pytest.approx(np.ones(3), abs=0.05)
    corr = np.corrcoef(draws.T)
    assert corr[0, 1] == pytest.approx(np.exp(-0.5), abs=0.05)
    assert corr[0, 2] == pytest.approx(np.exp(-0.5), abs=0.05)
