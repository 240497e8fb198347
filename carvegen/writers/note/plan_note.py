"""What the note says of a plan: layer by layer what it asks, its length and time, its passes, cutter and cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from carvegen.toolpaths.motion import timing
from carvegen.toolpaths.router.remarks import about_feeds
from carvegen.writers.guide.guide_words import how_long
from carvegen.writers.note.findings_table import cell

if TYPE_CHECKING:
    from carvegen.facts.profiles import Material
    from carvegen.toolpaths.motion.timing import Time
    from carvegen.toolpaths.paths import Operation, Plan

__all__ = ["hand_paces", "hand_time", "layer_cautions", "order_lines", "plan_lines"]


_WORTH_MM2 = 0.1  #: less than this standing in corners is not worth a word; our own choice
_BRIEF_WORDS = 26  #: what is longer is said without what follows its colon
_LONG_WORDS, _HEAD_WORDS = 45, 2  #: longer remarks stand in the details; so many words name what one is about


def order_lines(plan: Plan) -> list[str]:
    """What the machine does one after the other, in short, with what must be known of it; empty without paths."""
    times = timing.times(plan)
    lines = [
        f"{k}. {cell(operation.name)}: {_briefly(operation.asks)}{_about(times, k)}."
        for k, operation in enumerate(plan.operations, start=1)
    ]
    if times:
        lines += ["", f"All together about {timing.spoken(sum(time.whole_s for time in times))}, without setting up."]
    remarks = [f"- {remark}" for remark in plan.remarks if not _for_details(remark)]
    heads = [remark.partition(":")[0] for remark in plan.remarks if _for_details(remark)]
    if heads:
        remarks.append(f"- {', '.join(heads)}: read first what Details, Paths, says of them.")
    return [*lines, *([""] if lines and remarks else []), *remarks]


def _briefly(asks: str) -> str:
    """What an operation asks, without how and why."""
    brief = asks.partition(";")[0]
    return brief if len(brief.split()) <= _BRIEF_WORDS else brief.partition(": ")[0]


def _common(plan: Plan) -> list[str]:
    """What at least two operations ask alike, beside what each asks by itself: said once."""
    every = [ask.strip() for operation in plan.operations for ask in operation.asks.split(";")[1:]]
    return [ask for ask in dict.fromkeys(every) if every.count(ask) > 1]


def _for_details(remark: str) -> bool:
    """Whether a remark that begins with what it is about is too long for the first page."""
    head, colon, _ = remark.partition(":")
    return bool(colon) and len(head.split()) <= _HEAD_WORDS and len(remark.split()) > _LONG_WORDS


def layer_cautions(plan: Plan) -> list[str]:
    """Cautions that belong to a layer."""
    return [f"{operation.name}: {caution}" for operation in plan.operations for caution in operation.cautions]


def plan_lines(plan: Plan) -> list[str]:
    """The note's details on paths, in Markdown; none if there are no paths and nothing to say."""
    times = timing.times(plan)
    lines, alike = list[str](), _common(plan)
    if plan.operations:
        lines += [
            "| no. | layer | asks | cutter | deepest, mm | follow, times | strokes | length, m | travel, m | about |",
            "| ---: | --- | --- | --- | ---: | ---: | ---: | ---: | ---: | ---: |",
            *(
                _row(k, operation, times[k - 1] if times else None, alike)
                for k, operation in enumerate(plan.operations, start=1)
            ),
            "",
            *(f"- Several layers: {ask}." for ask in alike),
            *_whole(plan, times),
        ]
    lines += [f"- {remark}" for remark in plan.remarks if _for_details(remark)]
    feeds = about_feeds(plan) if plan.job.machine.kind == "router" else ()
    lines += [f"- {remark}" for remark in feeds]
    missed = float(sum(shape.area for shape in plan.unreached))
    if missed >= _WORTH_MM2:
        lines.append(
            f"- {len(plan.unreached)} places, {missed:.2f} mm² together, are planned cuts that no cutter reaches: they "
            "stay standing and print. Use a finer cutter, or clear them by hand."
        )
    return ["### Paths, in working order", "", *lines] if lines else []


def _about(times: tuple[Time, ...] | None, k: int) -> str:
    return f" (about {timing.spoken(times[k - 1].whole_s)})" if times else ""


def hand_time(minutes: tuple[float, float] | None) -> list[str]:
    """A line on the time that cutting by hand takes; none where nothing is known."""
    if minutes is None:
        return []
    return [how_long(minutes)]


def hand_paces(material: Material) -> list[str]:
    """What the time by hand goes by, with the sources of its paces; none where nothing is known."""
    if timing.hand_minutes(0.0, 0.0, material) is None:
        return []
    basis = "; ".join(dict.fromkeys(source for name, source in material.sources.items() if name.startswith("hand_")))
    return [
        "Time by hand: every outline once along its length and all cut areas cleared, at this material's paces "
        f"({basis})."
    ]


def _row(k: int, operation: Operation, time: Time | None, alike: list[str]) -> str:
    paths = operation.paths
    asks = "; ".join(ask.strip() for ask in operation.asks.split(";") if ask.strip() not in alike)
    length = time.work_mm if time else operation.passes * float(paths.lengths.sum())
    strokes = time.strokes if time else operation.passes * len(paths)
    travel, about = (f"{time.travel_mm / 1000:.2f}", timing.spoken(time.whole_s)) if time else ("-", "-")
    return (
        f"| {k} | {cell(operation.name)} | {cell(asks)} | {cell(operation.cutter.name)} | "
        f"{operation.depth_mm:.2f} | "
        f"{operation.passes} | {strokes} | {length / 1000:.2f} | {travel} | {about} |"
    )


def _whole(plan: Plan, times: tuple[Time, ...] | None) -> list[str]:
    if times is None:
        return ["- No times: the machine's profile says nothing of its pace."]
    strokes = sum(time.strokes for time in times)
    shapes = any(operation.area_lines_mm is not None for operation in plan.operations)
    by_lines = (
        " Areas handed over as shapes count lines over the rectangle about all of them, as far apart as the plan "
        "says." if shapes else ""
    )  # fmt: skip
    basis = (
        "the moves that a program writes, at the feeds below, and the machine's pace above the block"
        if plan.job.machine.kind == "router" else "the pace in the machine's profile, which is no setting"
    )  # fmt: skip
    return [
        f"- {strokes} strokes. The time is an estimate from {basis}: "
        "speeding up and slowing down counted, corners rounded by "
        f"{timing.CORNER_MM:g} mm.{by_lines} Time a first piece and scale by it."
    ]
