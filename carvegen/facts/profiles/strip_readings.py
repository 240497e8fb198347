"""What readings of a test strip say: kerf, edge loss, angle of the wall, narrowest land and cut."""

from __future__ import annotations

import math
from dataclasses import dataclass

from carvegen.base.errors import InputError

__all__ = [
    "Bar", "cut_mm", "edge_loss_mm", "included_deg", "kerf_mm", "land_mm", "wall_deg", "wall_from_floor_deg",
]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Bar:
    """The strip's bar of land as the callipers find it."""

    drawn_mm: float
    face_mm: float  #: across, at the face
    foot_mm: float  #: across, at the floor of the cut
    depth_mm: float  #: of the cut beside it


def kerf_mm(drawn_mm: float, pieces: int, together_mm: float) -> float:
    """The kerf, from pieces cut along their outlines and pushed together: each is one kerf narrower than drawn.

    ``k = drawn - together / pieces``: plane geometry.

    Raises
    ------
    InputError
        If the pieces are as wide as drawn, or half of it or less: then something else was measured.
    """
    kerf = drawn_mm - together_mm / pieces
    if not 0 < kerf < drawn_mm / 2:
        raise InputError(
            f"must be less than {drawn_mm * pieces:g} mm and more than half of it",
            value=together_mm,
            hint=f"push all {pieces} pieces together, side to side, and measure across them",
        )
    return kerf


def edge_loss_mm(bar: Bar, kerf_mm: float = 0.0) -> float:
    """What is burnt or torn off each side of a land at the face, ``(drawn - kerf - face) / 2``; nothing if it is wider.

    Parameters
    ----------
    kerf_mm
        A laser follows the strip's outlines, so half of its kerf goes off each side: that is no loss, for the paths
        of a block allow for it.
    """
    return max(0.0, (bar.drawn_mm - kerf_mm - bar.face_mm) / 2)


def cut_mm(narrowest_mm: float, *, kerf_mm: float = 0.0) -> float:
    """The narrowest cut itself, from the narrowest drawn that was open: a laser along its outlines adds its kerf."""
    return narrowest_mm + kerf_mm


def wall_deg(bar: Bar) -> float:
    """The wall's angle from the vertical, ``atan((foot - face) / 2 d)``; positive where the foot is wider."""
    return math.degrees(math.atan2(bar.foot_mm - bar.face_mm, 2 * bar.depth_mm))


def wall_from_floor_deg(widest_mm: float, length_mm: float, floor_ends_mm: float, depth_mm: float) -> float:
    """The wall's angle from a cut that tapers to nothing, by where its flat floor ends.

    There both walls meet at the depth: ``tan(angle) = w / 2 d`` with w the cut's width there.

    Parameters
    ----------
    floor_ends_mm
        Measured from the narrow end.
    """
    return math.degrees(math.atan2(widest_mm * floor_ends_mm / length_mm, 2 * depth_mm))


def included_deg(bar: Bar) -> float:
    """The angle that a V-tool encloses: both its walls."""
    return 2 * wall_deg(bar)


def land_mm(narrowest_mm: float, *, factor: float, loss_mm: float, kerf_mm: float = 0.0) -> float:
    """The material's own narrowest land, from the narrowest drawn that held under a cutter.

    A cutter's limit is ``land × factor + 2 loss`` (`job.Setup.face_limits`); this undoes it, and takes off the kerf of
    a laser, which followed the strip's outlines.
    """
    land = (narrowest_mm - kerf_mm - 2 * loss_mm) / factor
    if not land > 0:
        raise InputError(
            f"must be more than what the cutter takes off both sides, {kerf_mm + 2 * loss_mm:g} mm",
            value=narrowest_mm,
            hint="name the cutter that cut the strip with {cutter}",
            names=("cutter",),
        )
    return land
