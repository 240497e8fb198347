"""The narrowest land and the smallest cut that a material and a cutter allow, as plain numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["Limits"]


@dataclass(frozen=True, kw_only=True)
class Limits:
    """Minimum land along and across the grain, smallest cut, smallest free-standing island; mm at the face."""

    land_along_mm: float
    land_across_mm: float
    cut_mm: float
    dot_mm: float
    grain_deg: float = 0.0  #: direction of the grain from the x axis, print view

    @property
    def land_mm(self) -> float:
        """The width that is enough in every direction."""
        return max(self.land_along_mm, self.land_across_mm)

    @property
    def land_words(self) -> str:
        """How wide land must be, mm; two widths where the grain asks for them."""
        widths = sorted({f"{land:.2g}" for land in (self.land_along_mm, self.land_across_mm)}, key=float)
        return f"{' to '.join(widths)} mm{', by the grain' * (len(widths) > 1)}"

    def land_at(self, direction_deg: NDArray[np.float64]) -> NDArray[np.float64]:
        """Minimum width in mm of lands that run at `direction_deg` from the x axis; same shape.

        With t the angle between land and grain, ``w = along cos²t + across sin²t``: Hankinson's formula
        (source: wood-handbook-2021; strength at an angle N = P Q / (P sin²t + Q cos²t)) with the width taken inversely
        to the strength, which is our own step.
        """
        import numpy as np

        turned = np.radians(direction_deg - self.grain_deg)
        return self.land_along_mm * np.cos(turned) ** 2 + self.land_across_mm * np.sin(turned) ** 2
