"""Findings: what was measured where, the limit, why it matters and what to do; and the only home of their titles."""

from __future__ import annotations

import enum
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

__all__ = ["SAYINGS", "Finding", "Report", "Saying", "Severity", "in_words", "saying_of", "spoken"]


@dataclass(frozen=True, slots=True)
class Saying:
    """The title of a kind of finding and its numbers, as a person with a ruler would put them."""

    title: str
    numbers: str = ""  #: with {measured}, {limit}, {length} and {percent}; empty: none helps


_THIN = "{measured} wide, at least {limit} needed"
_SMALL = "{measured} across, at least {limit} needed"
_TIP = "narrower than {limit} over {length}"
_FOOT = "{measured} at its foot, at least {limit} needed"
_SLENDER = "{measured} wide, {limit} needed beside so deep a cut"
_NO_DEPTH = "{length} across; it can't be kept clear by depth"
_DEEPER = "{length} across and {measured} deep, {limit} would keep it clear"
_BED = "{measured} needed, the bed has {limit}"
_AREA = "as much as {measured}"

_LEAST_MM = 0.01  #: no width below it is said: where two cuts just meet, something is drawn and nothing stands

#: By rule and kind. A kind that is not listed has the saying of its rule's empty kind.
SAYINGS: dict[tuple[str, str], Saying] = {
    ("land-width", "neck"): Saying("land too narrow", _THIN),
    ("land-width", "none"): Saying("no land left", "at least {limit} needed"),
    ("land-width", "tip"): Saying("a tip that runs out", _TIP),
    ("land-width", "island"): Saying("an island too thin", _THIN),
    ("small-island", ""): Saying("an island too small", _SMALL),
    ("cut-width", "vanishes"): Saying("a cut too fine for the tool", _THIN),
    ("cut-width", "tip"): Saying("the point of a cut too fine for the tool", _TIP),
    ("wall-angle", "leans-in"): Saying("walls that lean in under the land", "by {measured}"),
    ("wall-angle", "steep"): Saying("walls too steep", "sloped by {measured}, better {limit}"),
    ("foot-width", "neck"): Saying("land on too narrow a foot", _FOOT),
    ("foot-width", "island"): Saying("an island on too narrow a foot", _FOOT),
    ("slenderness", "neck"): Saying("land that stands like a blade", _SLENDER),
    ("slenderness", "island"): Saying("an island that stands like a blade", _SLENDER),
    ("depth", "too-deep"): Saying("cut too deep for the block", "{measured} deep, at most {limit}"),
    ("depth", "too-shallow"): Saying("a cut that stays too shallow", "{measured} deep, at least {limit} wanted"),
    ("laser-depth", "lowered"): Saying("cut too deep for this laser", "{measured} deep, at most {limit}"),
    ("laser-depth", "unknown"): Saying("nobody says how thick this laser cuts", "the block is {measured} thick"),
    ("laser-depth", "too-thick"): Saying("block too thick for this laser", "{measured} thick, at most {limit}"),
    ("clearing", "roller-falls-in"): Saying("the roller reaches the floor", _NO_DEPTH),
    ("clearing", "roller-dips"): Saying("the roller reaches the floor", _NO_DEPTH),
    ("clearing", "paper-sinks"): Saying("the paper reaches the floor", _NO_DEPTH),
    ("clearing", "roller-dips-cut-deeper"): Saying("the roller may reach the floor", _DEEPER),
    ("clearing", "paper-sinks-cut-deeper"): Saying("the paper may reach the floor", _DEEPER),
    ("moat", ""): Saying("waste that takes ink", "{measured} from the picture, at least {limit} needed"),
    ("drop-out", "severed"): Saying("a part that comes away at the edge", "a bridge {limit} wide would hold it"),
    ("drop-out", "island"): Saying("an island that falls out", "a bridge {limit} wide would hold it"),
    ("drop-out", "small-part"): Saying("a small loose part", "{measured} across"),
    ("bed-size", "block"): Saying("block too large for the machine", _BED),
    ("bed-size", "paths"): Saying("paths too large for the machine", _BED),
    ("not-cut", "no-straight-cutter"): Saying("left uncut for want of a straight cutter"),
    ("not-cut", "clamp-on-cut-out"): Saying("a cut-out left uncut under a clamp"),
    ("not-cut", "clamp-on-cut"): Saying("a cut left uncut under a clamp"),
    ("not-cut", "clamp"): Saying("the block's edge left uncut under a clamp"),
    ("not-cut", "too-thick"): Saying("the block not cut out of its sheet", "{limit} thick, more than this laser cuts"),
    ("slow-cut", ""): Saying("the router takes very long", "about {measured} without setting up"),
    ("look-spacing", "even"): Saying("shapes set out too evenly"),
    ("look-spacing", "lattice"): Saying("shapes set out on a grid"),
    ("look-sizes", ""): Saying("shapes all of one size", "their widths differ by {percent} % only"),
    ("look-twins", ""): Saying("shapes that are copies of one another", "{percent} % of them"),
    ("look-straight", ""): Saying("shapes with long straight sides", "{percent} % of them"),
    ("look-combed", ""): Saying("shapes that all point one way"),
    ("cut-back", ""): Saying("ink may show beside the snow", "{measured} of land left, at least {limit} needed"),
    ("cut-land", ""): Saying("most of what is to print is cut already", "{measured} stands, {limit} is to print"),
    ("cut-scan", ""): Saying("what stands is known by a scan", "exact to {measured}"),
    ("cut-board", ""): Saying("the drawing does not lie in the middle of its board", "up to {measured} off"),
    ("cut-already", ""): Saying("cut already, but has to print", _AREA),
    ("cut-on", ""): Saying("still to be cut away", _AREA),
    ("cut-on", "snow"): Saying("the snow takes it away", _AREA),
    ("cut-snow", ""): Saying("snow where the block is cut already", "{measured} of {limit}"),
    ("cut-hidden", ""): Saying("not seen in the picture of it", _AREA),
    ("white-line", ""): Saying("a white line may show between two inks", "at worst {measured} wide"),
    ("ink-on-snow", ""): Saying("light ink may run along the snow", "at worst {measured} wide"),
    ("kept-shape", "land"): Saying("land too narrow beside a shape you changed", _THIN),
    ("kept-shape", "cut"): Saying("a shape you changed is too fine to cut", _THIN),
    ("kept-shape", "clear"): Saying("a shape you changed lies on what is kept clear", _AREA),
    ("changed-drawing", "grown"): Saying("grown again where the drawing has changed", _AREA),
    ("changed-drawing", "left-out"): Saying("a shape left out where the drawing has changed", _AREA),
    ("marked-land", ""): Saying("land too narrow beside a mark", _THIN),
    ("marked-land", "drawn"): Saying("drawn too narrow, under a mark", _THIN),
    ("marked-mended", ""): Saying("land by a mark that mending took away", f"{_AREA}, up to {{length}} from the mark"),
    ("mended-away", ""): Saying("mending cut away a part of the drawing", _AREA),
    ("mended-joined", ""): Saying("mending closed gaps that are drawn", _AREA),
    ("mended-away", "twigs"): Saying("small parts of the drawing are gone from every block", _AREA),
    ("pale-rims", ""): Saying("narrow rims beside snow print in the ink of what bears it", _AREA),
    ("other-ink", ""): Saying("another block prints here", "{measured} wide"),
    ("two-tones", ""): Saying("one dark thing prints in two tones", _AREA),
    ("bare-paper", ""): Saying("bare paper shows", "{measured} wide, {length} long"),
    ("ink-on-bare", ""): Saying("ink where the paper must stay bare", "{measured} wide"),
    ("blank-layer", ""): Saying("a layer on no block", _AREA),
    ("blank-block", ""): Saying("a block that prints nothing", _AREA),
    ("emboss-strain", ""): Saying("the paper is stretched too far", "by {measured}, at most {limit}"),
    ("emboss-stretch", ""): Saying("the paper may tear", "up to {measured} of stretch at a corner, {limit} tears it"),
    ("emboss-depth", ""): Saying("a depth that does not suit the paper", "{measured} deep, the bound is {limit}"),
    ("emboss-bevel", ""): Saying("a wall too steep for the paper", "sloped by {measured}, at least {limit}"),
    ("emboss-corner", ""): Saying("a corner too sharp for the paper", "rounded by {measured}, at least {limit}"),
    ("emboss-paper", ""): Saying("a paper that does not suit a die", "{measured}, the bound is {limit}"),
    ("emboss-small", ""): Saying("too small to press", _THIN),
    ("emboss-gap", ""): Saying("two raised shapes run together", "{measured} apart, at least {limit} needed"),
    ("emboss-edge", ""): Saying("the wall reaches under ink", "over a patch {measured} across"),
}


def saying_of(rule: str, kind: str) -> Saying:
    """The saying of a kind of finding; of one that nobody has named, the rule in plain letters and both numbers."""
    known = SAYINGS.get((rule, kind)) or SAYINGS.get((rule, ""))
    return known or Saying(rule.replace("-", " "), "{measured}, limit {limit}")


def in_words(numbers: str, measured: float, limit: float, unit: str, length_mm: float | None) -> str:
    """Numbers of a saying filled in; what falls short of a limit by a hair is not said to be as much as the limit."""
    digits = next((k for k in (2, 3) if spoken(measured, unit, digits=k) != spoken(limit, unit, digits=k)), 2)
    least = numbers == _THIN and measured < _LEAST_MM
    return numbers.format(
        measured=f"less than {_LEAST_MM:g} mm" if least else spoken(measured, unit, digits=digits),
        limit=spoken(limit, unit, digits=digits),
        length=spoken(length_mm or 0.0, "mm", digits=1),
        percent=f"{100 * measured:.0f}",
    )


def spoken(value: float, unit: str, *, digits: int = 2) -> str:
    """A number with its unit in words: an area as a square to lay a ruler on, an angle in degrees, no width below 0."""
    if unit == "mm²":
        return f"a square of {spoken(math.sqrt(max(value, 0.0)), 'mm', digits=1)}"
    if unit == "deg":
        return f"{round(abs(value), digits - 1):g} degrees"
    shown = f"{round(max(value, 0.0), digits if abs(value) < 10 else digits - 1):g}"
    return f"{shown} {unit.replace('g/m2', 'g/m²')}"


class Severity(enum.IntEnum):
    """How bad a finding is; the worst comes first."""

    BREAKS = 0
    RISK = 1
    ADVICE = 2  #: nothing fails; the eye may mind

    @property
    def label(self) -> str:
        """The word shown to people."""
        return self.name.lower()


@dataclass(frozen=True, kw_only=True, slots=True)
class Finding:
    """One place where a block breaks a limit."""

    rule: str  #: the check's name, such as "land-width"
    severity: Severity
    at: tuple[float, float] | None  #: print view, mm; None: the whole block
    measured: float
    limit: float
    unit: str  #: "mm" or "deg"; advice may count in shares and other plain numbers
    why: str  #: why it matters
    remedy: str  #: what to do
    kind: str = ""  #: which of the things that the rule tells, where it tells several: "neck", "tip"
    to: tuple[float, float] | None = None  #: the other end of a width, print view, mm
    length_mm: float | None = None  #: how far along the fault goes; of a cleared area, how wide it is
    direction_deg: float | None = None  #: in which a narrow piece runs, from the x axis
    between: tuple[str, ...] = ()  #: the walls on both sides
    machines: tuple[str, ...] = ()  #: the kinds of machine whose limit it is, where several cut and that is told

    @property
    def title(self) -> str:
        """What a printmaker calls it, such as `land too narrow`."""
        return saying_of(self.rule, self.kind).title

    @property
    def numbers(self) -> str:
        """What a ruler would show and what is needed, in words; empty where no number helps."""
        numbers = saying_of(self.rule, self.kind).numbers
        return in_words(numbers, self.measured, self.limit, self.unit, self.length_mm)

    @property
    def place(self) -> str:
        """Where it is, to a tenth of a millimetre from the print's lower left corner."""
        return "the whole block" if self.at is None else f"x {self.at[0]:.1f}, y {self.at[1]:.1f} mm"

    def to_dict(self) -> dict[str, Any]:
        """The finding as plain values, for JSON."""
        return {
            "rule": self.rule,
            "kind": self.kind,
            "title": self.title,
            "severity": self.severity.label,
            "at_mm": None if self.at is None else _rounded(self.at),
            "to_mm": None if self.to is None else _rounded(self.to),
            "measured": round(self.measured, 4),
            "limit": round(self.limit, 4),
            "unit": self.unit,
            "length_mm": None if self.length_mm is None else round(self.length_mm, 3),
            "direction_deg": None if self.direction_deg is None else round(self.direction_deg, 1),
            "between": list(self.between),
            "why": self.why,
            "remedy": self.remedy,
            **({"for": list(self.machines)} if self.machines else {}),
        }

    @property
    def rounded(self) -> Finding:
        """The finding as exact as it is told: what is read back from a report is equal to it."""
        return Finding.from_dict(self.to_dict())

    @classmethod
    def from_dict(cls, record: Mapping[str, Any]) -> Finding:
        """The finding that `to_dict` told, as exact as it was told."""
        at, to = record["at_mm"], record["to_mm"]
        return cls(
            rule=record["rule"],
            severity=Severity[record["severity"].upper()],
            at=None if at is None else (at[0], at[1]),
            to=None if to is None else (to[0], to[1]),
            between=tuple(record["between"]),
            machines=tuple(record.get("for", ())),
            **{
                name: record[name]
                for name in ("kind", "measured", "limit", "unit", "length_mm", "direction_deg", "why", "remedy")
            },
        )


@dataclass(frozen=True)
class Report:
    """Findings in a fixed order: severity, rule, how far beyond the limit, place."""

    findings: tuple[Finding, ...]

    @classmethod
    def of(cls, findings: Iterable[Finding]) -> Report:
        """Order `findings`."""
        return cls(tuple(sorted(findings, key=_order)))

    def __iter__(self) -> Iterator[Finding]:
        return iter(self.findings)

    def __len__(self) -> int:
        return len(self.findings)

    @property
    def breaks(self) -> int:
        """How many findings break a limit."""
        return sum(finding.severity is Severity.BREAKS for finding in self.findings)

    @property
    def risks(self) -> int:
        """How many findings are risks."""
        return sum(finding.severity is Severity.RISK for finding in self.findings)

    def to_dict(self) -> dict[str, Any]:
        """The report as plain values, for JSON."""
        return {
            "breaks": self.breaks,
            "risks": self.risks,
            "advice": len(self) - self.breaks - self.risks,
            "findings": [finding.to_dict() for finding in self.findings],
        }


def _order(finding: Finding) -> tuple[int, str, float, tuple[float, float]]:
    return (finding.severity, finding.rule, -abs(finding.limit - finding.measured), finding.at or (0.0, 0.0))


def _rounded(at: tuple[float, float]) -> list[float]:
    return [round(at[0], 3), round(at[1], 3)]
