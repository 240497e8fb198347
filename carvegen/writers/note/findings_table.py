"""Findings in sentences for the terminal, a few lines a block; and as a table with the checks' own names."""

from __future__ import annotations

import sys
from textwrap import fill
from typing import TYPE_CHECKING

from carvegen.base.finding_groups import KINDS, grouped, rest_in_words, sentence

if TYPE_CHECKING:
    from collections.abc import Sequence

    from carvegen.base.finding_groups import Group
    from carvegen.base.findings import Report

__all__ = [
    "EVERY_LINE", "MOST_LINES", "aligned", "cell", "findings_lines", "findings_table", "fitting", "kind_lines",
    "shortened_lines",
]  # fmt: skip

MOST_LINES = 7  #: told of one block, or of one machine's files of it

EVERY_LINE = sys.maxsize

_ALL_IN = "proof.html or report.json"  #: where every finding of what was made is listed

_HEAD = ("rule", "kind", "", "worst", "limit", "places", "worst at (print view)")
_COLUMNS = 100
_SEVERITY_WIDTH = len("breaks") + 2


def findings_lines(report: Report, *, most: int = MOST_LINES, all_in: str = _ALL_IN) -> list[str]:
    """Each kind of finding as a sentence and what to do, the most pressing first; what has no room by its count.

    `all_in`: where all of them are listed.
    """
    groups = grouped(report)
    entries = [kind_lines(group.severity.label, group.sentence, group.worst.remedy) for group in groups]
    counts = [(group.severity.label, group.count) for group in groups]
    return shortened_lines(entries, counts, most=most, all_in=all_in) or ["No findings."]


def kind_lines(severity: str, what: str, remedy: str = "", *, about: str = "", like: str = "") -> list[str]:
    """A kind of finding as lines: how bad, what is wrong and for which machines, and below it what to do.

    `like`: the block at which it was said what to do.
    """
    head, blank = severity.ljust(_SEVERITY_WIDTH), " " * _SEVERITY_WIDTH
    what = f"{what.removesuffix('.')}; for {about}." if about else what
    what += f" Do as for {like}." if like else ""
    lines = fill(what, _COLUMNS, initial_indent=head, break_on_hyphens=False, subsequent_indent=blank).split("\n")
    if remedy:
        lines += fill(sentence(remedy), _COLUMNS, initial_indent=blank, subsequent_indent=blank).split("\n")
    return lines


def shortened_lines(
    entries: Sequence[Sequence[str]], counts: Sequence[tuple[str, int]], *, most: int = MOST_LINES,
    all_in: str = _ALL_IN, each: tuple[str, str] = KINDS,
) -> list[str]:  # fmt: skip
    """As many entries as fit into so many lines, the first always, and a last line that sums up the others.

    `counts`: of each entry how bad it is, and at how many places. `each`: what one and several are called.
    """
    k = fitting(entries, most)
    lines = [line for entry in entries[:k] for line in entry]
    return [*lines, f"and {rest_in_words(counts[k:], each=each)}: see {all_in}"] if k < len(entries) else lines


def fitting(entries: Sequence[Sequence[str]], most: int) -> int:
    """How many entries, from the first on, are shown in so many lines; at least one."""
    lines = 0
    for k, entry in enumerate(entries):
        lines += len(entry)
        if k and lines + (k < len(entries) - 1) > most:
            return k
    return len(entries)


def findings_table(report: Report) -> str:
    """A line for each kind of finding: the check's name, how bad, the worst measure, its limit, how many, where.

    The most pressing first. Ends without a line feed.
    """
    groups = grouped(report)
    return aligned([_HEAD, *map(_row, groups)]) if groups else "No findings."


def aligned(rows: Sequence[Sequence[str]]) -> str:
    """Rows as lines with columns of equal width, two blanks apart."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    )


def cell(text: str) -> str:
    """A text for one cell of a table in Markdown: on one line, no upright stroke that would end the cell."""
    return " ".join(text.split()).replace("|", "\\|")


def _row(group: Group) -> tuple[str, ...]:
    worst = group.worst
    measured, limit = (f"{value:.2f} {worst.unit}" for value in (worst.measured, worst.limit))
    return (group.rule, worst.kind, group.severity.label, measured, limit, str(group.count), worst.place)
