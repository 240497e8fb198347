"""Feeds: handbook formulas, and where to begin on scrap with a cutter in a material.

Speeds of the spindle in turns per minute, feeds in mm/min, chips in mm per tooth, surface speed in m/min.
Everything here is a starting point: the makers of the cutter and of the machine come first.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np

from carvegen.facts import cutting
from carvegen.facts.profile_reader import read_toml
from carvegen.facts.profiles import shipped
from carvegen.facts.sources import cited

if TYPE_CHECKING:
    from collections.abc import Mapping

    from carvegen.facts.profiles import Cutter, Machine

__all__ = [
    "CAUTION", "Start", "chip_mm", "chips", "depth_factor", "ease", "eases", "feed_mm_min", "pass_depth_mm", "passes",
    "starting_point", "surface_m_min", "through_mm_s",
]  # fmt: skip

CAUTION = (
    "Feeds are starting points to be tried on scrap of the same piece: the cutter's maker and the machine's maker "
    "come first, and so does the operator's ear. Stop at smoke, at a squeal, or when the cutter bends."
)

_SPINDLE_RPM = 18000.0  #: where to begin, if the machine allows it; common practice, no source
_PLUNGE_SHARE = 1 / 3  #: of the feed, straight down; common practice, no source
_POINTED_MM = 2.0  #: for the depth of a V-tool's pass; common practice, no source
_TAPERED_AT_MM = 1.0  #: where a tapered cutter's width is taken for the depth of its pass; our own choice
_FLUTES = 1  #: of a cutter whose profile doesn't say: the slower assumption
_LEAST_CHIP_MM = 0.01  #: an edge that takes less rubs and heats; common practice, no source


@dataclass(frozen=True, kw_only=True)
class Start:
    """Where to begin with a cutter in a material on a machine: round numbers, as the note and the program have them."""

    spindle_rpm: float
    feed_mm_min: float
    plunge_mm_min: float
    pass_mm: float  #: the depth of one pass that it holds for
    chip_mm: float  #: per tooth, at this feed
    surface_m_min: float
    flutes: int
    held_back: str  #: what holds the feed or the spindle back, in words; may be empty
    source: str  #: of the chip per tooth


@dataclass(frozen=True, kw_only=True)
class _Chips:
    least_mm: tuple[float, ...]
    most_mm: tuple[float, ...]
    pass_diameters: float


def feed_mm_min(*, spindle_rpm: float, flutes: int, chip_mm: float) -> float:
    """Feed, ``vf = n z fz``; handbook formula."""
    return spindle_rpm * flutes * chip_mm


def chip_mm(*, feed_mm_min: float, spindle_rpm: float, flutes: int) -> float:
    """Chip per tooth, ``fz = vf / (n z)``; handbook formula."""
    return feed_mm_min / (spindle_rpm * flutes)


def surface_m_min(*, diameter_mm: float, spindle_rpm: float) -> float:
    """Surface speed in m/min, ``Vc = pi D n / 1000``; handbook formula."""
    return math.pi * diameter_mm * spindle_rpm / 1000


def chips(material: str, diameter_mm: float) -> tuple[float, float]:
    """The least and the most chip per tooth in mm, cut one diameter deep.

    Straight lines between the chart's diameters, and its ends beyond them; below 1 mm the values for 1 mm. A
    material that the chart doesn't have gets the lowest values of all.
    """
    at, row = _chart()["at"], _row(material)
    return float(np.interp(diameter_mm, at, row.least_mm)), float(np.interp(diameter_mm, at, row.most_mm))


def depth_factor(depth_mm: float, diameter_mm: float) -> float:
    """What remains of the chip per tooth: 1 up to one diameter deep, 0.75 at two, 0.5 at three and deeper.

    Steps of the vendor's chart, with straight lines between them (source: chip-chart; within what others say:
    chip-rules).
    """
    return float(np.interp(depth_mm / diameter_mm, (1, 2, 3), (1, 0.75, 0.5)))


def pass_depth_mm(material: str, cutter: Cutter) -> float:
    """How deep one pass goes: half a diameter or one, by material; common practice, no source.

    A pointed cutter counts as `_POINTED_MM` wide: its cone is stronger than its point is wide.
    """
    wide = _POINTED_MM if cutter.form == "v" else cutting.groove_mm(cutter, _TAPERED_AT_MM)
    return _row(material).pass_diameters * wide


def starting_point(material: str, cutter: Cutter, machine: Machine, depth_mm: float) -> Start:
    """Where to begin: the middle of the chart, within what the machine's profile allows.

    Feed and spindle are rounded down to two figures: more would seem to be known. Where an edge would take less
    than `_LEAST_CHIP_MM`, the spindle turns slower at the same feed, as slow as the machine's profile allows.

    Parameters
    ----------
    material
        Its key.
    depth_mm
        Depth of one pass.
    """
    diameter, flutes = cutting.groove_mm(cutter, depth_mm), int(cutter.values.get("flutes", _FLUTES))
    wanted = sum(chips(material, diameter)) / 2 * depth_factor(depth_mm, diameter)
    slowest, fastest = machine.spindle_least_rpm or 0.0, machine.feed_most_mm_min or math.inf
    usual = max(min(_SPINDLE_RPM, machine.spindle_most_rpm or math.inf), slowest)
    slowed = max(slowest, min(usual, fastest / (flutes * wanted)))
    feed = _rounded(min(feed_mm_min(spindle_rpm=slowed, flutes=flutes, chip_mm=wanted), fastest))
    spindle = max(slowest, _rounded(min(slowed, feed / (flutes * _LEAST_CHIP_MM))))
    return Start(
        spindle_rpm=spindle, feed_mm_min=feed, flutes=flutes, pass_mm=depth_mm, source=_chart()["source"],
        plunge_mm_min=_rounded(min(feed * _PLUNGE_SHARE, machine.plunge_most_mm_min or math.inf)),
        chip_mm=chip_mm(feed_mm_min=feed, spindle_rpm=spindle, flutes=flutes),
        surface_m_min=surface_m_min(diameter_mm=diameter, spindle_rpm=spindle),
        held_back="the machine's fastest feed" if slowed < usual or feed >= fastest else "",
    )  # fmt: skip


def _rounded(value: float) -> float:
    """Downwards to two figures."""
    step = 10.0 ** (math.floor(math.log10(value) + 1e-12) - 1)
    return math.floor(value / step + 1e-9) * step


@cache
def _chart() -> Mapping[str, Any]:
    """The chart: its diameters, its rows by material, the row for any other material, and its source."""
    table = read_toml(shipped() / "chip-loads.toml")
    rows = {
        key: _Chips(
            least_mm=tuple(row["least_mm"]), most_mm=tuple(row["most_mm"]), pass_diameters=row["pass_diameters"]
        )
        for row in table.values()
        if isinstance(row, dict)
        for key in row["materials"]
    }
    lowest = np.min([row.least_mm for row in rows.values()], axis=0)
    other = _Chips(
        least_mm=tuple(lowest), most_mm=tuple(lowest), pass_diameters=min(row.pass_diameters for row in rows.values())
    )
    source = f"{cited(table['chart_source'])}; below 3.175 mm towards 1 mm: {cited(table['fine_source'])}"
    return MappingProxyType({"at": table["diameters_mm"], "rows": rows, "other": other, "source": source})


def _row(material: str) -> _Chips:
    chips: _Chips = _chart()["rows"].get(material, _chart()["other"])
    return chips


def through_mm_s(material: str, machine: Machine, thickness_mm: float) -> float:
    """The pace of a cut through this thickness: slower as it is thicker, and as the material is denser.

    ``v = v0 e d0 / d``, as the energy for each mm³ stays the same; v0 and d0 by the machine's profile, the ease e
    by the material; never faster than the machine travels.
    """
    usual = machine.work_mm_s or 1.0
    if machine.work_depth_mm is None:
        return usual
    return min(usual * ease(material) * machine.work_depth_mm / thickness_mm, machine.travel_mm_s or math.inf)


def passes(material: str, machine: Machine, depth_mm: float) -> int:
    """In how many passes an area is lowered by this depth."""
    if machine.lower_pass_mm is None:
        return 1
    return max(1, math.ceil(depth_mm / (machine.lower_pass_mm * ease(material)) - 1e-9))


def ease(material: str) -> float:
    """How readily a beam takes the material away, beside softwood; of an unknown one the lowest of all."""
    known = eases()
    return known.get(material, min(known.values()))


@cache
def eases() -> Mapping[str, float]:
    """The table, by the material's key."""
    table = read_toml(shipped() / "laser-paces.toml")
    rows = [row for row in table.values() if isinstance(row, dict)]
    return {key: float(row["ease"]) for row in rows for key in row["materials"]}
