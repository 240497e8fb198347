"""Findings as a short plain table for the terminal."""

from __future__ import annotations

from textwrap import fill
from typing import TYPE_CHECKING

from carvegen.base.finding_groups import grouped

if TYPE_CHECKING:
    from collections.abc import Sequence

    from carvegen.base.finding_groups import Group
    from carvegen.base.findings import Finding, Report

__all__ = ["aligned", "cell", "findings_table", "place", "with_remedies"]

_HEAD = ("rule", "", "worst", "limit", "places", "worst at (print view)")
_INDENT, _COLUMNS = "    ", 96


def findings_table(report: Report) -> str:
    """A line for each kind of finding: how bad, the worst measure, its limit, how many, where; under it what to do.

    The most pressing first. Ends without a line feed.
    """
    groups = grouped(report)
    if not groups:
        return "No findings."
    return with_remedies([_HEAD, *map(_row, groups)], [group.worst.remedy for group in groups])


def with_remedies(rows: Sequence[Sequence[str]], remedies: Sequence[str]) -> str:
    """Rows, the first a heading, as lines with columns of equal width; under each what to do, folded and indented.

    Rows with the same remedy may share it: the last of them has it, the others an empty one.
    """
    head, *lines = aligned(rows).split("\n")
    folded = [fill(text, _COLUMNS, initial_indent=_INDENT, subsequent_indent=_INDENT) for text in remedies]
    return "\n".join([head, *(part for pair in zip(lines, folded, strict=True) for part in pair if part)])


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


def _row(group: Group) -> tuple[str, ...]:
    worst = group.worst
    measured, limit = (f"{value:.2f} {worst.unit}" for value in (worst.measured, worst.limit))
    return (group.rule, group.severity.label, measured, limit, str(group.count), place(worst))
