"""What a check says: findings as values, and the report that orders them."""

from __future__ import annotations

import enum
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from carvegen.base.sayings import in_words, saying_of

__all__ = ["Finding", "Report", "Severity"]


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
