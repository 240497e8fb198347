"""What a material, a cutter and a machine are: their values, and the range that each may lie in."""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from carvegen.facts.profile_reader import Range, unit

__all__ = [
    "BEAM_RANGES", "BED_RANGES", "COLOUR_RANGE", "CUTTER_RANGES", "FLUTES_RANGE", "FORM_RANGES", "KERF_RANGES", "KINDS",
    "MATERIAL_RANGES", "ORIGINS", "PACE_RANGES", "PAPER_RANGES", "SLENDER_RANGES", "TURNING", "Cutter", "Figure",
    "Machine", "Material", "Paper", "Permit", "Verdict", "figures",
]  # fmt: skip

KINDS = ("laser", "router", "hand")  #: kinds of machine; "hand" is a hand with a gouge

#: The allowed range of each value of a material.
MATERIAL_RANGES: Mapping[str, Range] = MappingProxyType({
    "thickness_mm": Range(0.5, 100),
    "land_along_mm": Range(0.05, 20),
    "land_across_mm": Range(0.05, 20),
    "dot_mm": Range(0.05, 20),
    "cut_mm": Range(0.05, 20),
    "foot_mm": Range(0.05, 20),
    "wall_deg": Range(0, 60),
    "depth_usual_mm": Range(0.1, 50),
    "depth_largest_mm": Range(0.1, 50),
    "floor_mm": Range(0.1, 99),
})  # fmt: skip

#: The allowed range of each value of a paper that is embossed.
PAPER_RANGES: Mapping[str, Range] = MappingProxyType({
    "weight_g_m2": Range(20, 1200),
    "thickness_mm": Range(0.02, 3),
    "relief_largest_mm": Range(0.05, 10),
    "bevel_least_deg": Range(0, 75),
    "corner_least_mm": Range(0.05, 20),
    "gap_least_mm": Range(0.05, 20),
})  # fmt: skip

#: What a material may say of the pace of a hand, slow and quick; all four or none.
HAND_RANGES: Mapping[str, Range] = MappingProxyType({
    "hand_line_slow_mm_min": Range(0.1, 1000),
    "hand_line_fast_mm_min": Range(0.1, 1000),
    "hand_clear_slow_cm2_min": Range(0.01, 1000),
    "hand_clear_fast_cm2_min": Range(0.01, 1000),
})  # fmt: skip

#: What a material may say of how slender its lands may be: depth of the cut over the land's mean width; both or none.
SLENDER_RANGES: Mapping[str, Range] = MappingProxyType({
    "slender_along": Range(0.2, 20),
    "slender_across": Range(0.2, 20),
})  # fmt: skip

#: The allowed range of the values that every cutter has.
CUTTER_RANGES: Mapping[str, Range] = MappingProxyType({
    "smallest_cut_mm": Range(0.01, 50),
    "land_factor": Range(1, 5),
    "edge_loss_mm": Range(0, 2),
})  # fmt: skip
_ROUND = MappingProxyType({"diameter_mm": Range(0.1, 50)})
#: A laser's measured kerf; where there is one, it wins over the beam.
KERF_RANGES: Mapping[str, Range] = MappingProxyType({
    "kerf_top_mm": Range(0.01, 3),
    "kerf_bottom_mm": Range(0.01, 3),
    "kerf_thickness_mm": Range(0.5, 50),
})  # fmt: skip

#: A laser's beam, as ISO 11146-1 names its quantities.
BEAM_RANGES: Mapping[str, Range] = MappingProxyType({
    "quality": Range(1, 20),
    "wavelength_um": Range(0.2, 12),
    "focal_length_mm": Range(10, 500),
    "beam_diameter_mm": Range(0.5, 50),
    "focus_below_mm": Range(-20, 20),
})  # fmt: skip

#: The allowed range of each form's own values. A laser has its kerf, its beam, or both.
FORM_RANGES: Mapping[str, Mapping[str, Range]] = MappingProxyType({
    "laser": MappingProxyType({**KERF_RANGES, **BEAM_RANGES}),
    "v": MappingProxyType({"included_deg": Range(10, 150), "tip_mm": Range(0, 5)}),
    "u": _ROUND,
    "flat": _ROUND,
    "ball": _ROUND,
    "taper": MappingProxyType({"tip_mm": Range(0.05, 10), "taper_deg": Range(0.5, 45)}),
})  # fmt: skip
TURNING = ("v", "flat", "ball", "taper")  #: forms that a router turns
FLUTES_RANGE = Range(1, 12)  #: cutting edges of a turning cutter, which its profile may say
BED_RANGES: Mapping[str, Range] = MappingProxyType({
    "bed_width_mm": Range(20, 10000),
    "bed_height_mm": Range(20, 10000),
})  # fmt: skip
_PACES = {"travel_mm_s": Range(0.1, 5000), "acceleration_mm_s2": Range(1, 100000), "start_s": Range(0, 60)}
#: What a machine's profile may say besides its bed, by kind: most of it only for estimates of time.
PACE_RANGES: Mapping[str, Mapping[str, Range]] = MappingProxyType({
    "laser": MappingProxyType({
        **_PACES,
        "work_mm_s": Range(0.01, 5000),
        "work_depth_mm": Range(0.1, 100),
        "raster_mm_s": Range(0.1, 10000),
        "turn_s": Range(0, 60),
        "through_most_mm": Range(0.1, 100),
        "lower_most_mm": Range(0.1, 100),
        "lower_pass_mm": Range(0.01, 100),
    }),
    "router": MappingProxyType({
        **_PACES,
        "safe_height_mm": Range(0.5, 200),
        "spindle_least_rpm": Range(100, 200000),
        "spindle_most_rpm": Range(100, 200000),
        "feed_most_mm_min": Range(1, 100000),
        "plunge_most_mm_min": Range(1, 100000),
    }),
    "hand": MappingProxyType({}),
})  # fmt: skip

#: The corner of the block, as it lies face up, where a machine's coordinates begin.
ORIGINS = ("lower-left", "lower-right", "upper-left", "upper-right", "middle")
#: What a material is for: a block that prints, the die of an embossing, the sheet that lies on the paper against it.
SERVES = ("block", "die", "counter-sheet")
COLOUR_RANGE = Range(1, 255)  #: DXF colour index


class Verdict(enum.Enum):
    """Whether a machine may touch a material."""

    NEVER = "never"  #: refused, and no option changes that
    ASK = "ask"  #: the shop decides, on a proof of what it is made of
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
    """What blocks are made of, and how fine it can be cut."""

    key: str  #: its file's name without ``.toml``
    name: str
    about: str
    grain: str  #: "none" or "side"
    composition: str
    thickness_mm: float
    land_along_mm: float  #: narrowest land that runs along the grain
    land_across_mm: float  #: and across it; the same without grain
    dot_mm: float  #: smallest free-standing island of land
    cut_mm: float  #: narrowest cut worth making
    foot_mm: float  #: narrowest foot of a land, at the floor of the cut
    wall_deg: float  #: smallest wall angle wanted, from the vertical
    depth_usual_mm: float
    depth_largest_mm: float
    floor_mm: float  #: what must be left under a cut
    permits: Mapping[str, Permit]  #: by kind of machine
    sources: Mapping[str, str]  #: by value, and by kind of machine for the verdicts
    serves: str = "block"  #: one of `SERVES`
    slender_along: float | None = None  #: depth over mean width that a land along the grain bears
    slender_across: float | None = None  #: and across it
    hand_line_slow_mm_min: float | None = None  #: along an outline, by hand
    hand_line_fast_mm_min: float | None = None
    hand_clear_slow_cm2_min: float | None = None  #: clearing an area, by hand
    hand_clear_fast_cm2_min: float | None = None


@dataclass(frozen=True, kw_only=True)
class Paper:
    """What is embossed, and what it bears: beyond these it tears, or does not come down."""

    key: str
    name: str
    about: str
    weight_g_m2: float
    thickness_mm: float
    relief_largest_mm: float  #: highest step that it bears
    bevel_least_deg: float  #: steepest wall, from the vertical
    corner_least_mm: float  #: sharpest corner of the die, seen from above
    gap_least_mm: float  #: narrowest floor between two walls that it comes down to
    sources: Mapping[str, str]  #: by value


@dataclass(frozen=True, kw_only=True)
class Cutter:
    """What removes the material: a beam, a gouge or a router's cutter."""

    key: str
    name: str
    about: str
    form: str  #: "laser", "v", "u", "flat", "ball" or "taper"
    machines: tuple[str, ...]  #: kinds of machine that hold it
    smallest_cut_mm: float
    land_factor: float  #: a land must be this many times the material's minimum (1 = as it is)
    edge_loss_mm: float  #: burnt or torn off each side of a land
    values: Mapping[str, float]  #: the form's own, as in `FORM_RANGES`
    sources: Mapping[str, str]  #: by value


@dataclass(frozen=True, kw_only=True)
class Machine:
    """Who or what holds the cutter, and what its files may hold."""

    key: str
    name: str
    about: str
    kind: str  #: "laser", "router" or "hand"
    units: str  #: "mm" or "in"
    curves: bool  #: may its files hold curves? If not: short straight lines
    usual_cutter: str
    usual_straight_cutter: str  #: of a router: cuts through where no cutter of it was chosen; "": none
    bed_width_mm: float | None  #: None: no bed
    bed_height_mm: float | None
    layer_colours: Mapping[str, int]  #: the shop's own, by layer: DXF colour index; may be empty
    cautions: tuple[str, ...]
    sources: Mapping[str, str]  #: by value
    origin: str = "lower-left"  #: one of `ORIGINS`
    travel_mm_s: float | None = None  #: between cuts; this and the next six only for estimates of time
    acceleration_mm_s2: float | None = None
    start_s: float | None = None  #: before each cut
    work_mm_s: float | None = None  #: laser: along a line that it scores, and that it cuts through `work_depth_mm`
    work_depth_mm: float | None = None  #: laser: of softwood; None: at every depth alike
    raster_mm_s: float | None = None  #: laser: along the lines of an area that is lowered
    turn_s: float | None = None  #: laser: from one such line to the next
    through_most_mm: float | None = None  #: laser: the thickest that it cuts through; None: not known
    lower_most_mm: float | None = None  #: laser: the deepest that it lowers an area, in however many passes
    lower_pass_mm: float | None = None  #: laser: how deep it lowers softwood in one pass; None: any depth
    safe_height_mm: float | None = None  #: router: above the face, clear of everything
    spindle_least_rpm: float | None = None
    spindle_most_rpm: float | None = None
    feed_most_mm_min: float | None = None  #: router: the fastest that it cuts
    plunge_most_mm_min: float | None = None  #: router: the fastest that it goes down


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One value of a profile, with its unit and its source."""

    name: str
    value: float
    unit: str
    source: str


def figures(profile: Material | Cutter | Machine | Paper) -> tuple[Figure, ...]:
    """Every number of a profile with its unit and source, in the order of its file's declaration."""
    own = profile.values if isinstance(profile, Cutter) else {}
    return tuple(
        Figure(name=name, value=own.get(name, getattr(profile, name, 0.0)), unit=unit(name), source=source)
        for name, source in profile.sources.items()
        if name not in KINDS
    )
