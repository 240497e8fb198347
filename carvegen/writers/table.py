"""Findings as a short plain table for the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from carvegen.findings import Finding, Report

__all__ = ["aligned", "cell", "findings_table", "place"]

_HEAD = ("rule", "", "worst", "limit", "places", "worst at (print view)", "what to do")


def findings_table(report: Report) -> str:
    """One line a rule: how bad, the worst measure against its limit, how many, where, what to do.

    A rule with both breaks and risks has a line for each. Ends without a line feed.
    """
    if not len(report):
        return "No findings."
    rows: list[tuple[str, ...]] = [_HEAD]
    for rule, found in report.by_rule().items():
        for severity in sorted({finding.severity for finding in found}):
            alike = [finding for finding in found if finding.severity is severity]
            rows.append(_row(rule, alike))
    return aligned(rows)


def aligned(rows: Sequence[Sequence[str]]) -> str:
    """Rows as lines with columns of equal width, two blanks apart."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    )


def cell(text: str) -> str:
    """A text for one cell of a table in Markdown: on one line, no upright stroke that would end the cell."""
    return " ".join(text.split()).replace("|", "\\|")


def place(finding: Finding) -> str:
    """Where a finding is, to a tenth of a millimetre."""
    if finding.at is None:
        return "the whole block"
    return f"x {finding.at[0]:.1f}, y {finding.at[1]:.1f} mm"


def _row(rule: str, found: Sequence[Finding]) -> tuple[str, ...]:
    worst = max(found, key=lambda finding: abs(finding.limit - finding.measured))
    unit = worst.unit
    return (
        rule,
        worst.severity.label,
        f"{worst.measured:.2f} {unit}",
        f"{worst.limit:.2f} {unit}",
        str(len(found)),
        place(worst),
        worst.remedy,
    )
