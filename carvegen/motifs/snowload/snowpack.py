"""What snow stands: angles of repose, what clings to steep places, the deepest cap on a narrow thing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from carvegen.geometry import Floats

__all__ = ["USUAL_MM", "cap_mm", "clinging_mm", "repose_deg"]

USUAL_MM = 3.5  #: depth fallen: where more has, ends taper over less of it, boughs bear more often, and thicker pads
#: Stickiness 0, 0.3, 1: coarse grains 39°, fluffy 50° (measured, see `repose_deg`), wet snow 68°.
_STICKY, _REPOSE = (0.0, 0.3, 1.0), (39.0, 50.0, 68.0)
_STANDS = 0.42  #: of the depth fallen: so thick a layer stands upright (common practice, no source)


def repose_deg(sticky: float) -> float:
    """Angle of repose for a stickiness 0…1.

    Coarse snow 39°, fluffy snow 50°: means of the table of measured angles that the project keeps in its
    tests (tests/published). Wet snow clings to far steeper places; the 68° is common practice, no source.
    """
    return float(np.interp(sticky, _STICKY, _REPOSE))


def cap_mm(breadth: Floats, sticky: float) -> Floats:
    """The deepest cap that a level branch or post of this breadth carries, mm; same shape.

    ``(b / 2) tan A``: two slopes at the angle of repose A that meet over the middle (own derivation). Wet snow
    clings: a quarter more at stickiness 1.
    """
    return np.asarray(breadth / 2 * np.tan(np.radians(min(repose_deg(sticky), 60.0))) * (1 + 0.25 * sticky))


def clinging_mm(slope: Floats, sticky: float, fallen_mm: float) -> Floats:
    """The depth that does not slide on a base of this slope (rise over run), measured plumb, mm; same shape.

    On an endless slope at the angle a, snow of cohesion c and weight w stays to the depth ``c / (w cos²a (tan a - tan
    A))`` (infinite slope, from memory); c / w here 0.02…0.57 mm of the paper by stickiness.
    """
    steep = np.abs(slope)
    over = np.maximum(steep - np.tan(np.radians(repose_deg(sticky))), 1e-3)
    cohesion = 0.02 + 0.55 * sticky**2.5
    return np.asarray(np.minimum(cohesion * (1 + steep**2) / over, _STANDS * fallen_mm * (0.7 + 0.6 * sticky)))
