"""What a cutter leaves: its half-width at each depth, the wall's angle, the depth that a width asks for.

Depths are measured from the block's face downwards in mm; wall angles from the vertical in degrees,
positive where the land is wider at its foot.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from carvegen.facts.profiles import Cutter
    from carvegen.geometry import Floats

__all__ = [
    "Wall", "beam_diameter_mm", "beam_waist_mm", "groove_mm", "half_width_mm", "rayleigh_mm", "v_depth_mm",
    "v_width_mm", "wall", "widest_half_mm",
]  # fmt: skip

_STEPS = 64  #: depths at which a curved wall is sampled


@dataclass(frozen=True, kw_only=True, eq=False)
class Wall:
    """The sides of a land that a cutter leaves, from the face down to the floor of the cut.

    Angles at each depth for both sides of the cut: they differ where the tool is leaned.
    """

    depth_mm: Floats  #: (n,), middles of equal steps from the face down
    near_deg: Floats  #: wall angle on the side that the tool leans away from, (n,)
    far_deg: Floats  #: on the other side, (n,)
    step_mm: float
    basis: str  #: what the figures rest on

    @property
    def steepest_deg(self) -> float:
        """The smallest wall angle at any depth on any side; negative = undercut."""
        return float(min(self.near_deg.min(), self.far_deg.min()))

    @property
    def foot_gain_mm(self) -> float:
        """How much wider the land is at its foot than at its face, on the side where it gains least."""
        gains = [np.tan(np.radians(angle)).sum() * self.step_mm for angle in (self.near_deg, self.far_deg)]
        return float(min(gains))


def wall(cutter: Cutter, depth_mm: float, *, lean_deg: float = 0.0) -> Wall:
    """The walls that `cutter` leaves along a cut of `depth_mm` that is wider than the cutter.

    A tool leaned by `lean_deg` turns its profile: one wall is that much flatter, the other that much steeper.
    """
    below = np.linspace(0, depth_mm, _STEPS + 1)
    half = half_width_mm(cutter, below, depth_mm)
    step = depth_mm / _STEPS
    angles = np.degrees(np.arctan2(-np.diff(half), step))
    return Wall(
        depth_mm=(below[1:] + below[:-1]) / 2,
        near_deg=angles + lean_deg,
        far_deg=angles - lean_deg,
        step_mm=step,
        basis=_laser_basis(cutter) if cutter.form == "laser" else _BASIS[cutter.form],
    )


def half_width_mm(cutter: Cutter, below_mm: Floats, depth_mm: float) -> Floats:
    """Half the width of the cutter's groove at depths `below_mm` under the face, its tip at `depth_mm`.

    Same shape as `below_mm`. Plane geometry for tools; for a laser the measured kerf, else the Gaussian
    beam. Deeper than it was measured, a kerf stays as it was there: nothing is known of it.
    """
    above_tip = np.clip(depth_mm - below_mm, 0, None)
    return _PROFILES[cutter.form](cutter, above_tip, depth_mm)


def widest_half_mm(cutter: Cutter, depth_mm: float) -> float:
    """Half the widest place of the cutter's groove, its tip at `depth_mm`.

    It is widest at an end: a beam is narrowest at its waist, a kerf's walls are straight, a tool's widen upwards.
    """
    return max(0.0, float(half_width_mm(cutter, np.array([0.0, depth_mm]), depth_mm).max()))


def groove_mm(cutter: Cutter, depth_mm: float, *, lean_deg: float = 0.0) -> float:
    """How wide the cutter's groove is at the face, its tip at `depth_mm`: its diameter there.

    A leaned V opens by the tangents of both its walls. A gouge's round sweep is as wide however it is leaned.
    """
    if cutter.form == "v" and lean_deg:
        return v_width_mm(cutter.values["included_deg"], cutter.values["tip_mm"], depth_mm, lean_deg=lean_deg)
    return 2 * float(half_width_mm(cutter, np.zeros(1), depth_mm)[0])


def v_width_mm(included_deg: float, tip_mm: float, depth_mm: float, *, lean_deg: float = 0.0) -> float:
    """Width at the face of a V-groove: ``w = t + 2 d tan(a/2)``.

    Of a tool leaned by l ``w = t + d (tan(a/2 + l) + tan(a/2 - l))``.
    """
    return tip_mm + depth_mm * _opening(included_deg, lean_deg)


def v_depth_mm(included_deg: float, tip_mm: float, width_mm: float, *, lean_deg: float = 0.0) -> float:
    """Depth at which a V-tool just fills `width_mm`, the other way round; 0 if narrower than its tip."""
    return max(0.0, width_mm - tip_mm) / _opening(included_deg, lean_deg)


def _opening(included_deg: float, lean_deg: float) -> float:
    """By how much a V-groove opens for each mm of depth; a wall that is all but level counts as `_FLATTEST_DEG`."""
    half = included_deg / 2
    if not lean_deg:
        return 2 * math.tan(math.radians(half))
    walls = (max(half, min(half + abs(lean_deg), _FLATTEST_DEG)), half - abs(lean_deg))
    return sum(math.tan(math.radians(wall)) for wall in walls)


_FLATTEST_DEG = 85.0  #: a wall flatter than this shaves the face; our own choice


def beam_waist_mm(*, quality: float, wavelength_um: float, focal_length_mm: float, beam_diameter_mm: float) -> float:
    """Waist diameter of a focused Gaussian beam, ``d0 = 4 M² L f / (pi D)`` (source: iso-11146-1)."""
    return 4 * quality * wavelength_um * 1e-3 * focal_length_mm / (math.pi * beam_diameter_mm)


def rayleigh_mm(*, quality: float, wavelength_um: float, waist_mm: float) -> float:
    """Rayleigh length, ``zR = pi w0² / (M² L)`` with w0 half the waist diameter (source: iso-11146-1)."""
    return math.pi * (waist_mm / 2) ** 2 / (quality * wavelength_um * 1e-3)


def beam_diameter_mm(waist_mm: float, rayleigh: float, from_focus_mm: Floats) -> Floats:
    """Beam diameter at distances from the focus, ``d(z) = d0 sqrt(1 + (z/zR)²)`` (source: iso-11146-1)."""
    return waist_mm * np.sqrt(1 + (from_focus_mm / rayleigh) ** 2)


def _v(cutter: Cutter, above: Floats, _depth: float) -> Floats:
    slope = math.tan(math.radians(cutter.values["included_deg"]) / 2)
    return cutter.values["tip_mm"] / 2 + above * slope


def _flat(cutter: Cutter, above: Floats, _depth: float) -> Floats:
    return np.full_like(above, cutter.values["diameter_mm"] / 2)


def _ball(cutter: Cutter, above: Floats, _depth: float) -> Floats:
    radius = cutter.values["diameter_mm"] / 2
    rise = np.minimum(above, radius)
    return np.sqrt(rise * (2 * radius - rise))


def _taper(cutter: Cutter, above: Floats, _depth: float) -> Floats:
    """A ball tip that passes smoothly into a cone of `taper_deg` a side."""
    radius, side = cutter.values["tip_mm"] / 2, math.radians(cutter.values["taper_deg"])
    meets = radius * (1 - math.sin(side))
    ball = np.sqrt(np.clip(above * (2 * radius - above), 0, None))
    cone = radius * math.cos(side) + (above - meets) * math.tan(side)
    return np.where(above < meets, ball, cone)


def _laser(cutter: Cutter, above: Floats, depth: float) -> Floats:
    """The kerf as it was measured, and below that no narrower; or the computed beam."""
    values = cutter.values
    if "kerf_top_mm" in values:
        slope = (values["kerf_top_mm"] - values["kerf_bottom_mm"]) / (2 * values["kerf_thickness_mm"])
        return values["kerf_top_mm"] / 2 - np.minimum(depth - above, values["kerf_thickness_mm"]) * slope
    waist = beam_waist_mm(
        quality=values["quality"],
        wavelength_um=values["wavelength_um"],
        focal_length_mm=values["focal_length_mm"],
        beam_diameter_mm=values["beam_diameter_mm"],
    )
    rayleigh = rayleigh_mm(quality=values["quality"], wavelength_um=values["wavelength_um"], waist_mm=waist)
    return beam_diameter_mm(waist, rayleigh, (depth - above) - values["focus_below_mm"]) / 2


_PROFILES = {"v": _v, "u": _ball, "flat": _flat, "ball": _ball, "taper": _taper, "laser": _laser}

_BASIS = {
    "v": "half the tool's included angle",
    "u": "the gouge's round sweep",
    "flat": "a straight cutter's upright side",
    "ball": "the cutter's ball",
    "taper": "the cutter's ball tip and cone",
}


def _laser_basis(cutter: Cutter) -> str:
    if "kerf_top_mm" in cutter.values:
        return "the kerf measured at top and bottom"
    return "the beam computed from lens and quality"
