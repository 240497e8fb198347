"""What is chosen of any block: how it is cut, inked and printed, what of its face stays free."""

from __future__ import annotations

from dataclasses import dataclass

from carvegen.base.parameters import angle, choice, flag, length, text, whole

__all__ = ["FEELS", "Chance", "Cutting", "Free", "Inking", "Mending"]

#: Depth that keeps the paper off the floor, by feel: at least so much, and so much of the gap's width.
#: "firm" is the usual rule, the two others bracket it; all common practice, no source.
FEELS = {"light": (0.8, 0.08), "firm": (1.0, 0.12), "hard": (1.3, 0.16)}


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
    lean_deg: float = angle(0.0, help="how far a hand tool is leaned sideways", at_least=-60, at_most=60)
    declared: str = text("", help="what it is made of, for the shop; a laser takes only the material's own substance")


@dataclass(frozen=True, kw_only=True)
class Inking:
    """Roller, and how hard the paper is pressed; defaults: common practice, no source."""

    roller_radius_mm: float = length(25.0, help="radius of the ink roller", at_least=3, at_most=200)
    feel: str = choice(
        "firm", among=tuple(FEELS),
        help="how the paper is pressed: light (by hand, dry), firm, hard (in a press, or damp)",
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Chance:
    """Where all random numbers come from."""

    seed: int = whole(1, help="another seed, another pattern of the same kind", at_least=0, at_most=2**63 - 1)


@dataclass(frozen=True, kw_only=True)
class Free:
    """What motifs keep out of."""

    margin_mm: float = length(0.0, help="strip along the edge that motifs leave free", at_least=0, at_most=200)
    clearance_mm: float = length(1.0, help="how far motifs stay from what is kept clear", at_least=0, at_most=100)


@dataclass(frozen=True, kw_only=True)
class Mending:
    """Whether what breaks a limit is mended."""

    mend: bool = flag(False, help="mend the cuts where a limit breaks, as far as the snow allows it; changes are shown")
