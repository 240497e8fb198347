"""All findings of a whole print: what must be decided first on top; as plain values and for the terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from carvegen.findings import Severity
from carvegen.writers.table import aligned

__all__ = ["print_report", "report_lines"]

_WORST = [severity.label for severity in Severity]
_HEAD = ("", "rule", "block", "for", "worst", "limit", "places", "worst at (print view)", "what to do")


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
        `decide_first`: questions that must be settled before anything is cut. `findings`: one entry a rule, block and
        severity, the most pressing first: what breaks, then risks, then advice; in each, what is furthest beyond its
        limit. `blocks`: every single finding.
    """
    every = {block: _findings(reports[block], notes[block]) for block in blocks}
    groups = [group for block in blocks for group in _grouped(block, every[block])]
    groups.sort(key=lambda group: (_WORST.index(group["severity"]), -group["beyond"], group["rule"], group["block"]))
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
    """The report for the terminal."""
    lines = [f"ASK FIRST: {question}" for question in report["decide_first"]]
    rows = [_row(group) for group in report["findings"]]
    if not rows:
        return [*lines, "No findings."]
    return [*lines, *([""] if lines else []), *aligned([_HEAD, *rows]).split("\n")]


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


def _grouped(block: str, findings: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    groups: dict[tuple[str, ...], list[Mapping[str, Any]]] = {}
    for finding in findings:
        groups.setdefault((finding["severity"], finding["rule"], *finding["for"]), []).append(finding)
    return [_group(block, alike) for alike in groups.values()]


def _group(block: str, alike: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    worst = max(alike, key=_beyond)
    kept = ("severity", "rule", "for", "measured", "limit", "unit", "at_mm", "why", "remedy")
    return {"block": block, "places": len(alike), "beyond": round(_beyond(worst), 3), **{k: worst[k] for k in kept}}


def _beyond(finding: Mapping[str, Any]) -> float:
    """How far beyond its limit, as a share of it."""
    limit = abs(float(finding["limit"])) or 1.0
    return abs(float(finding["measured"]) - float(finding["limit"])) / limit


def _row(its: Mapping[str, Any]) -> tuple[str, ...]:
    at = its["at_mm"]
    return (
        its["severity"], its["rule"], its["block"], ", ".join(its["for"]) or "all",
        f"{its['measured']:.2f} {its['unit']}", f"{its['limit']:.2f} {its['unit']}", str(its["places"]),
        "the whole block" if at is None else f"x {at[0]:.1f}, y {at[1]:.1f} mm", its["remedy"],
    )  # fmt: skip
