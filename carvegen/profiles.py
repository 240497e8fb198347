"""Materials, cutters and machines: facts read from TOML, checked, frozen, each with its source.

STUB OF THE INTERFACE: fields below are settled; reading, checking and listing follow.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass

KINDS = ("laser", "router", "hand")  # kinds of machine; "hand" is a hand with a gouge


class Verdict(enum.Enum):
    """May this machine touch this material?"""

    NEVER = "never"
    ASK = "ask"
    YES = "yes"


@dataclass(frozen=True, kw_only=True)
class Permit:
    """What is known about a material on one kind of machine."""

    verdict: Verdict
    why: str
    source: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Material:
    key: str
    name: str
    about: str
    grain: str  # "none" or "side"
    composition: str
    thickness_mm: float
    land_along_mm: float
    land_across_mm: float
    dot_mm: float  # smallest free-standing island of land
    cut_mm: float  # narrowest cut worth making
    foot_mm: float  # minimum foot width
    wall_deg: float  # minimum wall angle from the vertical
    depth_usual_mm: float
    depth_largest_mm: float
    floor_mm: float  # what must be left under a cut
    permits: Mapping[str, Permit]  # by kind of machine
    sources: Mapping[str, str]  # by field


@dataclass(frozen=True, kw_only=True)
class Cutter:
    key: str
    name: str
    about: str
    form: str  # "laser", "v", "u", "flat", "ball", "taper"
    machines: tuple[str, ...]  # kinds of machine that hold it
    smallest_cut_mm: float
    land_factor: float  # land must be this many times the material's minimum (1 = as it is)
    edge_loss_mm: float  # burnt or torn off each side of a land
    values: Mapping[str, float]  # the form's own: included_deg, tip_mm, diameter_mm, kerf_top_mm …
    sources: Mapping[str, str]


@dataclass(frozen=True, kw_only=True)
class Machine:
    key: str
    name: str
    about: str
    kind: str  # "laser", "router", "hand"
    units: str  # "mm" or "in"
    curves: bool
    usual_cutter: str
    bed_width_mm: float | None  # None: no bed
    bed_height_mm: float | None
    layer_colours: Mapping[str, int]  # the shop's own, by layer name: DXF colour index 1…255; may be empty
    cautions: tuple[str, ...]
    sources: Mapping[str, str]
