"""Shapes, cutters and beams against closed forms and worked values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import gamma

from carvegen.base.limits import Limits
from carvegen.facts import cutting
from carvegen.motifs.snowfall.outlines import superellipse
from tests.cases import SHELF, setup


@pytest.mark.parametrize(("exponent", "area"), [(2, math.pi), (4, 3.70815), (6, 3.85524), (3.3, None), (1.8, None)])
def test_superellipse_area(exponent, area) -> None:
    """4 Γ(1 + 1/n)² / Γ(1 + 2/n) (closed form of the Lamé curve's area; NIST DLMF 5.12 for the integral)."""
    angle = np.linspace(0, 2 * np.pi, 20000, endpoint=False)
    measured = float((superellipse(np.exp(1j * angle), np.float64(exponent)) ** 2).mean() * np.pi)
    assert measured == pytest.approx(4 * gamma(1 + 1 / exponent) ** 2 / gamma(1 + 2 / exponent), rel=1e-6)
    if area is not None:
        assert measured == pytest.approx(area, abs=5e-6)


# Included angle, depth, width at the face with a sharp tip and with a tip of 0.2 mm: w = t + 2 d tan(a/2), plane
# geometry, recomputed by hand.
V_TABLE = [
    (30, 1.0, 0.5359, 0.7359), (45, 1.0, 0.8284, 1.0284), (60, 0.5, 0.5774, 0.7774), (60, 1.0, 1.1547, 1.3547),
    (60, 2.0, 2.3094, 2.5094), (90, 1.0, 2.0, 2.2), (90, 1.5, 3.0, 3.2), (120, 1.0, 3.4641, 3.6641),
]  # fmt: skip


@pytest.mark.parametrize(("included", "depth", "sharp", "blunt"), V_TABLE)
def test_v_tool(included, depth, sharp, blunt) -> None:
    assert cutting.v_width_mm(included, 0.0, depth) == pytest.approx(sharp, abs=5e-5)
    assert cutting.v_width_mm(included, 0.2, depth) == pytest.approx(blunt, abs=5e-5)
    assert cutting.v_depth_mm(included, 0.2, blunt) == pytest.approx(depth, abs=2e-4)
    tool = setup(cutter="v-60", cutter_values={"values": {"included_deg": included, "tip_mm": 0.2}}).cutter
    assert 2 * cutting.half_width_mm(tool, np.zeros(1), depth)[0] == pytest.approx(blunt, abs=5e-5)
    assert cutting.wall(tool, depth).steepest_deg == pytest.approx(included / 2)


@pytest.mark.parametrize(("included", "depth"), [(30, 1.8660), (45, 1.2071), (60, 0.8660), (90, 0.5)])
def test_v_depth_that_fills_a_millimetre(included, depth) -> None:
    assert cutting.v_depth_mm(included, 0.0, 1.0) == pytest.approx(depth, abs=5e-5)


@pytest.mark.parametrize(("top", "bottom", "thickness"), [(0.30, 0.20, 3.0), (0.45, 0.25, 6.0)])
def test_kerf_taper(top, bottom, thickness) -> None:
    """atan((top - bottom) / 2T): 0.9548 degrees in both worked cases (plane geometry)."""
    kerf = {"kerf_top_mm": top, "kerf_bottom_mm": bottom, "kerf_thickness_mm": thickness}
    laser = setup(material="basswood", cutter="laser-fine", cutter_values={"values": kerf}).cutter
    assert cutting.wall(laser, 1.0).steepest_deg == pytest.approx(0.9548, abs=5e-5)
    assert 2 * cutting.half_width_mm(laser, np.array([0.0, thickness]), thickness) == pytest.approx([top, bottom])


# Quality, focal length, beam, waist, Rayleigh length, diameters 1, 1.5 and 3 mm from the focus: mm, carbon dioxide
# 10.6 µm, by the quantities of ISO 11146-1; recomputed by hand.
BEAMS = [
    (1.0, 50.8, 6, 0.1143, 0.9675, 0.1643, 0.2108, 0.3723),
    (1.2, 38.1, 6, 0.1028, 0.6530, 0.1881, 0.2576, 0.4835),
    (1.2, 50.8, 6, 0.1371, 1.1610, 0.1810, 0.2240, 0.3799),
    (1.2, 50.8, 4, 0.2057, 2.6122, 0.2202, 0.2372, 0.3132),
    (1.2, 63.5, 6, 0.1714, 1.8140, 0.1957, 0.2224, 0.3313),
    (1.2, 101.6, 6, 0.2742, 4.6439, 0.2805, 0.2882, 0.3265),
]


@pytest.mark.parametrize(("quality", "focal", "beam", "waist", "rayleigh", "one", "half_more", "three"), BEAMS)
def test_gaussian_beam(quality, focal, beam, waist, rayleigh, one, half_more, three) -> None:
    d0 = cutting.beam_waist_mm(quality=quality, wavelength_um=10.6, focal_length_mm=focal, beam_diameter_mm=beam)
    zr = cutting.rayleigh_mm(quality=quality, wavelength_um=10.6, waist_mm=d0)
    assert (d0, zr) == (pytest.approx(waist, abs=6e-5), pytest.approx(rayleigh, abs=6e-5))
    diameters = cutting.beam_diameter_mm(d0, zr, np.array([1.0, -1.5, 3.0]))
    assert diameters == pytest.approx([one, half_more, three], abs=6e-5)
    # Beam parameter product: quality = pi d0 T / (4 L) with the full divergence T = d0 / zR (ISO 11146-1).
    assert math.pi * d0 * (d0 / zr) / (4 * 10.6e-3) == pytest.approx(quality)


@pytest.mark.parametrize(("angle", "foot"), [(30.0, 2.2321), (-10.0, -0.0290)])
def test_foot_width(angle, foot) -> None:
    """B = w + 2 d tan t with w 0.5, d 1.5 (plane geometry): a land undercut by 10 degrees is severed."""
    drop = 1.5 * math.tan(math.radians(angle))
    if angle > 0:
        tool = setup(cutter_values={"values": {"included_deg": 2 * angle, "tip_mm": 0.1}}).cutter
    else:  # a kerf that widens towards its bottom
        kerf = {"kerf_top_mm": 0.2, "kerf_bottom_mm": 0.2 - 2 * drop, "kerf_thickness_mm": 1.5}
        tool = setup(material="basswood", cutter="laser-fine", cutter_values={"values": kerf}).cutter
    wall = cutting.wall(tool, 1.5)
    assert 0.5 + 2 * wall.foot_gain_mm == pytest.approx(foot, abs=5e-5)
    assert wall.steepest_deg == pytest.approx(angle, abs=1e-6)


@pytest.mark.parametrize("cutter", ["ball-3", "u-2"])
def test_ball_wall_at_the_face(cutter) -> None:
    """A circle of radius r, tip at depth d: half-width sqrt(2 r d - d²), slope (r - d) / sqrt(2 r d - d²)."""
    tool = SHELF.cutter(cutter)
    radius = tool.values["diameter_mm"] / 2
    for share in (0.2, 0.5, 0.9):
        depth = share * radius
        half = math.sqrt(2 * radius * depth - depth**2)
        below = np.array([0.0, 1e-6])
        widths = cutting.half_width_mm(tool, below, depth)
        assert widths[0] == pytest.approx(half)
        assert -np.diff(widths)[0] / 1e-6 == pytest.approx((radius - depth) / half, rel=1e-4)
        # The steepest stretch is the uppermost of 64: its chord lies between the slopes at its two ends.
        step = depth / 64
        lower = math.sqrt(2 * radius * (depth - step) - (depth - step) ** 2)
        assert math.tan(math.radians(cutting.wall(tool, depth).steepest_deg)) == pytest.approx((half - lower) / step)
        assert cutting.wall(tool, depth).foot_gain_mm == pytest.approx(half)


def test_ball_is_upright_above_its_middle() -> None:
    assert cutting.wall(SHELF.cutter("ball-1"), 1.5).steepest_deg == pytest.approx(0, abs=1e-9)


def test_taper_is_a_ball_that_passes_smoothly_into_a_cone() -> None:
    """Tangent ball and cone: they meet r (1 - sin t) over the tip, where the half-width is r cos t (plane geometry)."""
    tool = SHELF.cutter("taper-0.5")
    radius, side = tool.values["tip_mm"] / 2, math.radians(tool.values["taper_deg"])
    meets = radius * (1 - math.sin(side))
    depth = 1.5
    above = np.array([meets - 1e-7, meets + 1e-7, depth])
    half = cutting.half_width_mm(tool, depth - above, depth)
    assert half[:2] == pytest.approx(radius * math.cos(side), abs=1e-6)
    assert np.diff(half)[0] / 2e-7 == pytest.approx(math.tan(side), rel=1e-3)
    # Cone seen from its tip on the axis: (depth - r + r / sin t) tan t.
    assert half[2] == pytest.approx((depth - radius + radius / math.sin(side)) * math.tan(side))
    assert cutting.wall(tool, depth).steepest_deg == pytest.approx(tool.values["taper_deg"], abs=1e-9)


@pytest.mark.parametrize("turned", [0.0, 17.0, 45.0, 60.0, 90.0, 133.0])
def test_hankinson(turned) -> None:
    """N = P Q / (P sin²t + Q cos²t) (Hankinson's formula; source: wood-handbook-2021), width ~ 1/strength.

    The formula is from memory. The strengths are taken as the inverse of the widths; so is the answer.
    """
    each = Limits(land_along_mm=0.4, land_across_mm=0.9, cut_mm=0.5, dot_mm=1.0, grain_deg=12.0)
    along, across, t = 1 / 0.4, 1 / 0.9, math.radians(turned)
    strength = along * across / (along * math.sin(t) ** 2 + across * math.cos(t) ** 2)
    assert each.land_at(np.array([12.0 + turned, 192.0 + turned])) == pytest.approx([1 / strength] * 2)
