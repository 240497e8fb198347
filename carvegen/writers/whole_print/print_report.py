"""All findings of a whole print: what must be decided first on top; as plain values and for the terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from carvegen.base.finding_groups import DECIDES, ENTRIES, grouped, rest_in_words
from carvegen.base.findings import Finding, Severity
from carvegen.writers.note.findings_table import MOST_LINES, aligned, fitting, kind_lines, shortened_lines

if TYPE_CHECKING:
    from carvegen.base.finding_groups import Group

__all__ = ["BlockFindings", "PrintReport", "report_lines", "report_table"]

_HEAD = ("", "rule", "kind", "block", "for", "worst", "limit", "places", "worst at (print view)")


@dataclass(frozen=True, kw_only=True)
class BlockFindings:
    """What is said of one block."""

    by_kind: Mapping[str, Sequence[Finding]]  #: by kind of machine; "": before it was checked for any
    questions: Sequence[str] = ()  #: what the shop must be asked
    mended: str = ""  #: what was mended, in words

    @property
    def kinds(self) -> dict[Finding, tuple[str, ...]]:
        """Every finding once, as exact as a report tells it, with the kinds of machine that it holds for."""
        kinds_of: dict[Finding, tuple[str, ...]] = {}
        for kind, findings in self.by_kind.items():
            for finding in (exact.rounded for exact in findings):
                kinds_of[finding] = (*kinds_of.get(finding, ()), *([kind] if kind else []))
        return kinds_of


@dataclass(frozen=True, kw_only=True, eq=False)
class PrintReport:
    """All findings of a whole print, by block in printing order."""

    name: str
    blocks: Mapping[str, BlockFindings]

    @cached_property
    def groups(self) -> list[tuple[Group, str, tuple[str, ...]]]:
        """The findings of one kind gathered, with their block and the kinds of machine, the most pressing first."""
        every = [
            (finding, (name, kinds)) for name, block in self.blocks.items() for finding, kinds in block.kinds.items()
        ]
        apart = [own for _, own in every]
        groups = grouped([finding for finding, _ in every], apart=apart)
        return [(group, *apart[group.places[0].number - 1]) for group in groups]

    @property
    def questions(self) -> list[str]:
        """Every question once, with the blocks that it is about."""
        about: dict[str, list[str]] = {}
        for name, block in self.blocks.items():
            for question in block.questions:
                about.setdefault(question, []).append(name)
        return [f"{', '.join(names)}: {question}" for question, names in about.items()]

    def to_dict(self) -> dict[str, Any]:
        """The report as plain values.

        Returns
        -------
        dict
            `decide_first`: questions that must be settled before anything is cut. `findings`: one entry a block and
            kind of finding (`carvegen.base.finding_groups`), the most pressing first: what breaks, then risks, then
            advice; in each, what is furthest beyond its limit. `mended`: by block, in words. `blocks`: every finding.
        """
        count = {level: sum(group.count for group, *_ in self.groups if group.severity is level) for level in Severity}
        return {
            "print": self.name,
            "breaks": count[Severity.BREAKS],
            "risks": count[Severity.RISK],
            "advice": count[Severity.ADVICE],
            "decide_first": self.questions,
            "mended": {name: block.mended for name, block in self.blocks.items() if block.mended},
            "findings": [_group(*entry) for entry in self.groups],
            "blocks": {
                name: [{**finding.to_dict(), "for": list(kinds)} for finding, kinds in block.kinds.items()]
                for name, block in self.blocks.items()
            },
        }


def report_lines(report: Mapping[str, Any], *, most: int = MOST_LINES) -> list[str]:
    """The report for the terminal: what decides, then block by block a few sentences; what to do is said once."""
    lines = [f"ASK FIRST: {question}" for question in report["decide_first"]]
    lines += _deciding(report["findings"])
    lines += ["", "Places are x and y from the lower left corner of the print."] if report["findings"] else []
    first_block: dict[tuple[str, ...], str] = {}
    for block in dict.fromkeys(finding["block"] for finding in report["findings"]):
        entries, counts, kinds = [], list[tuple[str, int]](), list[tuple[str, ...]]()
        for finding in (finding for finding in report["findings"] if finding["block"] == block):
            kind = (finding["severity"], finding["rule"], finding["kind"], finding["remedy"])
            remedy, like = "" if kind in first_block or kind in kinds else finding["remedy"], first_block.get(kind, "")
            about = " and ".join(finding["for"])
            entries.append(kind_lines(finding["severity"], finding["sentence"], remedy, about=about, like=like))
            counts.append((finding["severity"], finding["places"]))
            kinds.append(kind)
        first_block = dict.fromkeys(kinds[: fitting(entries, most)], block) | first_block
        lines += ["", f"{block}:", *(f"  {line}" for line in shortened_lines(entries, counts, most=most, each=ENTRIES))]
    return [*lines, *([] if report["findings"] else ["No findings."])]


def _deciding(entries: Sequence[Mapping[str, Any]]) -> list[str]:
    """The gravest kinds of the whole print, each in a line, and the rest as a sum; nothing where there are few.

    A kind is gathered over blocks and machines: by its rule, kind and how bad it is.
    """
    alike: dict[tuple[str, ...], list[Mapping[str, Any]]] = {}
    for entry in entries:
        alike.setdefault((entry["severity"], entry["rule"], entry["kind"]), []).append(entry)
    if len(alike) <= DECIDES + 1:
        return []
    kinds = [(kind[0], own, sum(entry["places"] for entry in own)) for kind, own in alike.items()]
    every = sum(places for *_, places in kinds)
    lines = ["", f"What decides, of {len(kinds)} kinds of findings, at {every} places in all:"]
    for k, (_, own, places) in enumerate(kinds[:DECIDES], start=1):
        blocks, worst = list(dict.fromkeys(entry["block"] for entry in own)), own[0]
        where = f"on {worst['block']}, " if len(blocks) > 1 else ""
        many = f"{places} places, the worst {where}" if places > 1 else ""
        lines.append(f"  {k}. {', '.join(blocks)}: {worst['title']}, {many}{_place(worst['at_mm'], 'at ')}")
    return [*lines, f"  and {rest_in_words([(severity, places) for severity, _, places in kinds[DECIDES:]])}"]


def _place(at: Sequence[float] | None, before: str = "") -> str:
    return "the whole block" if at is None else f"{before}x {at[0]:.1f}, y {at[1]:.1f} mm"


def report_table(report: Mapping[str, Any]) -> str:
    """Every kind of finding by the check's own name, with what was measured and the limit."""
    return aligned([_HEAD, *map(_row, report["findings"])])


def _group(group: Group, block: str, kinds: Sequence[str]) -> dict[str, Any]:
    worst = {**group.worst.to_dict(), "for": list(kinds)}
    kept = ("severity", "rule", "kind", "title", "for", "measured", "limit", "unit", "at_mm", "why", "remedy")
    counts = {"places": group.count, "beyond": round(group.beyond, 3), "sentence": group.sentence}
    return {"block": block, **counts, **{k: worst[k] for k in kept}}


def _row(entry: Mapping[str, Any]) -> tuple[str, ...]:
    return (
        entry["severity"], entry["rule"], entry["kind"], entry["block"], ", ".join(entry["for"]) or "all",
        f"{entry['measured']:.2f} {entry['unit']}", f"{entry['limit']:.2f} {entry['unit']}", str(entry["places"]),
        _place(entry["at_mm"]),
    )  # fmt: skip
