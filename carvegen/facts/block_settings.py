"""What is chosen of any block: how thick it is, how deep it is cut, how its grain runs, what of its face stays free."""

from __future__ import annotations

from dataclasses import dataclass

from carvegen.base.parameters import angle, length

__all__ = ["Cutting", "Free"]


@dataclass(frozen=True, kw_only=True)
class Cutting:
    """The board and the depth."""

    thickness_mm: float | None = length(
        None, help="thickness of the block; the material's usual one by default", at_least=0.5, at_most=100
    )
    depth_mm: float | None = length(
        None, help="depth of the cut; the material's usual one by default", at_least=0.1, at_most=50
    )
    grain_deg: float = angle(0.0, help="direction of the grain; 0 runs to the right, 90 up")


@dataclass(frozen=True, kw_only=True)
class Free:
    """What motifs keep out of."""

    margin_mm: float = length(0.0, help="strip along the edge that motifs leave free", at_least=0, at_most=200)
