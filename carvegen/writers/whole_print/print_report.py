"""All findings of a whole print: what must be decided first on top; as plain values and for the terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from carvegen.base.finding_groups import grouped, without_numbers
from carvegen.base.findings import Finding, Severity
from carvegen.writers.note.findings_table import with_remedies

if TYPE_CHECKING:
    from carvegen.base.finding_groups import Group

__all__ = ["print_report", "report_lines"]

_WORST = [severity.label for severity in Severity]
_HEAD = ("", "rule", "block", "for", "worst", "limit", "places", "worst at (print view)")


def print_report(
    name: str, blocks: Sequence[str], reports: Mapping[str, Any], notes: Mapping[str, Sequence[Any]]
) -> dict[str, Any]:
    """The report of a print as plain values.

    Parameters
    ----------
    reports
        What `delivery.Delivery.to_dict` said of each block.
    notes
        Findings about each block that came before its checks, as `Finding.to_dict` says them.

    Returns
    -------
    dict
        `decide_first`: questions that must be settled before anything is cut. `findings`: one entry a block and kind
        of finding (`carvegen.base.finding_groups`), the most pressing first: what breaks, then risks, then advice; in
        each, what is furthest beyond its limit. `blocks`: every single finding.
    """
    every = {block: _findings(reports[block], notes[block]) for block in blocks}
    groups = _grouped(every)
    count = {label: sum(its["places"] for its in groups if its["severity"] == label) for label in _WORST}
    return {
        "print": name,
        "breaks": count["breaks"],
        "risks": count["risk"],
        "advice": count["advice"],
        "decide_first": _questions({block: reports[block]["open_questions"] for block in blocks}),
        "findings": groups,
        "blocks": every,
    }


def report_lines(report: Mapping[str, Any]) -> list[str]:
    """The report for the terminal: what is to be done the same way on several blocks is said once, under all."""
    lines = [f"ASK FIRST: {question}" for question in report["decide_first"]]
    sections = _sections(report["findings"])
    if not sections:
        return [*lines, "No findings."]
    rows = [_row(its) for section in sections for its in section]
    remedies = [text for section in sections for text in [*[""] * (len(section) - 1), section[0]["remedy"]]]
    return [*lines, *([""] if lines else []), *with_remedies([_HEAD, *rows], remedies).split("\n")]


def _sections(groups: Sequence[Mapping[str, Any]]) -> list[list[Mapping[str, Any]]]:
    """The groups that differ in their block, machine and measures only, each such section in the place of its worst."""
    sections: dict[tuple[str, ...], list[Mapping[str, Any]]] = {}
    for its in groups:
        kind = (its["severity"], its["rule"], *(without_numbers(its[text]) for text in ("why", "remedy")))
        sections.setdefault(kind, []).append(its)
    return list(sections.values())


def _questions(asked: Mapping[str, Sequence[str]]) -> list[str]:
    """Every question once, with the blocks that it is about."""
    about: dict[str, list[str]] = {}
    for block, questions in asked.items():
        for question in questions:
            about.setdefault(question, []).append(block)
    return [f"{', '.join(blocks)}: {question}" for question, blocks in about.items()]


def _findings(report: Mapping[str, Any], notes: Sequence[Any]) -> list[dict[str, Any]]:
    """Every finding of a block, each once, with the kinds of machine that it holds for."""
    found: dict[str, dict[str, Any]] = {}
    for kind, its in [("", {"findings": notes}), *report["reports"].items()]:
        for finding in its["findings"]:
            entry = found.setdefault(repr(finding), {**finding, "for": []})
            entry["for"] += [kind] if kind else []
    return list(found.values())


def _grouped(every: Mapping[str, Sequence[Mapping[str, Any]]]) -> list[dict[str, Any]]:
    told = [(block, its) for block, found in every.items() for its in found]
    groups = grouped(
        [Finding.from_dict(its) for _, its in told], apart=[(block, tuple(its["for"])) for block, its in told]
    )
    return [_group(group, *told[group.places[0].number - 1]) for group in groups]


def _group(group: Group, block: str, worst: Mapping[str, Any]) -> dict[str, Any]:
    kept = ("severity", "rule", "for", "measured", "limit", "unit", "at_mm", "why", "remedy")
    return {"block": block, "places": group.count, "beyond": round(group.beyond, 3), **{k: worst[k] for k in kept}}


def _row(its: Mapping[str, Any]) -> tuple[str, ...]:
    at = its["at_mm"]
    return (
        its["severity"], its["rule"], its["block"], ", ".join(its["for"]) or "all",
        f"{its['measured']:.2f} {its['unit']}", f"{its['limit']:.2f} {its['unit']}", str(its["places"]),
        "the whole block" if at is None else f"x {at[0]:.1f}, y {at[1]:.1f} mm",
    )  # fmt: skip
